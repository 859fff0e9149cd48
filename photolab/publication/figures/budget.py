"""What blurs a result: bars, longest first, hatched where the input is assumed and not measured."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from photolab.publication.figures.common import COLOURS, INK, Look, name_rows, styled


@styled
def draw(axes: Axes, table: pd.DataFrame, *, unit: str = "± %") -> None:
    """Draw how far each input moves the result.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row an input: ``what`` (text), ``moves`` (how far it moves the result, in `unit`), ``assumed``
        (bool), ``label`` (``moves`` as printed). Drawn longest first.
    unit : str, default "± %"
        Unit of ``moves``.
    """
    rows = table.sort_values("moves", ascending=False, kind="stable")
    known: Look = {"facecolor": COLOURS["blue"], "edgecolor": COLOURS["blue"]}
    assumed = known | {"facecolor": "white", "hatch": "////"}
    for place, row in enumerate(rows.to_dict("records")):
        moves, look = row["moves"], assumed if row["assumed"] else known
        axes.barh(place, moves, height=0.62, linewidth=1.0, **look)
        axes.annotate(row["label"], (moves, place), xytext=(5, 0), textcoords="offset points", va="center")
    name_rows(axes, [str(what) for what in rows["what"]])
    axes.margins(x=0.14)
    axes.set_xlabel(f"moves the result by ({unit})")
    keys = [
        Patch(label="known: manual, certificate or own readings", **known),
        Patch(label="assumed", **assumed),
    ]
    axes.legend(handles=keys, loc="lower right", labelcolor=INK)


def words(table: pd.DataFrame) -> str:
    """Return the bars in words.

    Parameters
    ----------
    table : DataFrame
        As for `draw`.

    Returns
    -------
    str
        "seating 1.9, range term of the meter 1.7 (assumed)".
    """
    return ", ".join(
        f"{row['what']} {row['label']}{' (assumed)' if row['assumed'] else ''}"
        for row in table.to_dict("records")
    )
