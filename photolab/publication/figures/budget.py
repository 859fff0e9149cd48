"""What blurs a result: bars, longest first, hatched where the input is assumed and not measured."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from photolab.publication.figures.common import COLOURS, INK, styled


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
    for place, (moves, assumed, label) in enumerate(
        zip(rows["moves"], rows["assumed"], rows["label"], strict=True)
    ):
        axes.barh(
            place,
            moves,
            height=0.62,
            facecolor="white" if assumed else COLOURS["blue"],
            edgecolor=COLOURS["blue"],
            hatch="////" if assumed else None,
            linewidth=1.0,
        )
        axes.annotate(str(label), (moves, place), xytext=(5, 0), textcoords="offset points", va="center")
    axes.set_yticks(range(len(rows)), [str(what) for what in rows["what"]])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.margins(x=0.14)
    axes.grid(axis="x")
    axes.set_xlabel(f"moves the result by ({unit})")
    keys = [
        Patch(
            facecolor=COLOURS["blue"],
            edgecolor=COLOURS["blue"],
            label="known: manual, certificate or own readings",
        ),
        Patch(facecolor="white", edgecolor=COLOURS["blue"], hatch="////", label="assumed"),
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
