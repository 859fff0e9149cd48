"""What varies: a dot and its interval for each level, and beside it the figure the campaign uses."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, styled


@styled
def draw(axes: Axes, table: pd.DataFrame) -> None:
    """Draw the standard deviation of each level.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a level, from top to bottom: ``label`` (text), ``sd``, ``low``, ``high`` (standard deviation
        and its interval), ``used`` (the figure the campaign's results rest on; NaN for none), ``assumed``
        (bool, of ``used``). [%]
    """
    for place, row in enumerate(table.to_dict("records")):
        axes.plot([row["low"], row["high"]], [place, place], color=COLOURS["blue"], linewidth=2.2)
        axes.plot(row["sd"], place, marker="o", markersize=8, color=COLOURS["blue"])
        axes.plot(
            row["used"], place + 0.27, marker="D", markersize=6, color=COLOURS["vermilion"],
            markeredgewidth=1.4,
            markerfacecolor="white" if row["assumed"] else COLOURS["vermilion"],
        )  # fmt: skip
    axes.plot(
        [],
        [],
        color=COLOURS["blue"],
        marker="o",
        markersize=8,
        linewidth=2.2,
        label="component with its interval",
    )
    for assumed, words in ((False, "used in the results"), (True, "used, assumed")):
        if (table["assumed"].astype(bool) == assumed).any():
            axes.plot(
                [], [], linestyle="none", marker="D", markersize=6, color=COLOURS["vermilion"], label=words,
                markerfacecolor="white" if assumed else COLOURS["vermilion"],
            )  # fmt: skip
    axes.set_yticks(range(len(table)), [str(label) for label in table["label"]])
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.set_xlim(left=0.0)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.set_xlabel("standard deviation (%)")
    axes.legend(loc="lower left", bbox_to_anchor=(-0.1, 1.0), ncols=3, borderaxespad=0.1, columnspacing=1.2)


def words(table: pd.DataFrame, *, coverage: float) -> str:
    """Return what the figure shows.

    Parameters
    ----------
    table : DataFrame
        As for `draw`.
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    str
        One sentence with its key numbers.
    """
    said = "; ".join(
        f"{row['label']} {decimal(row['sd'], 2)} ({decimal(row['low'], 2)} to {decimal(row['high'], 2)})"
        for row in table.to_dict("records")
    )
    return f"Standard deviations in % as dots with their intervals at {100.0 * coverage:g} %: {said}."
