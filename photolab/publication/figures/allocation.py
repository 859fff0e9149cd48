"""Plans: the half-width each would give, for the specimens on the bench and for the models."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, styled


@styled
def draw(axes: Axes, table: pd.DataFrame, *, floor: float) -> None:
    """Draw the forecast half-width of plans.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a plan, from top to bottom: ``label`` (text), ``specimens``, ``models`` (half-widths of the
        interval of a ratio [%]).
    floor : float
        Half-width that no number of seatings and readings goes below. [%]
    """
    axes.axvline(
        floor,
        color=COLOURS["vermilion"],
        linewidth=1.4,
        linestyle=(0, (4, 3)),
        label="floor",
    )
    for place, row in enumerate(table.to_dict("records")):
        axes.plot([row["specimens"], row["models"]], [place, place], color=COLOURS["blue"], linewidth=1.0)
    looks = (
        ("specimens", "o", COLOURS["blue"], "for the specimens on the bench"),
        ("models", "s", "white", "for the models"),
    )
    for column, marker, filling, words in looks:
        axes.plot(
            table[column], range(len(table)), linestyle="none", marker=marker, markersize=7,
            color=COLOURS["blue"], markerfacecolor=filling, markeredgewidth=1.5, label=words,
        )  # fmt: skip
    axes.set_yticks(range(len(table)), [str(label) for label in table["label"]])
    axes.set_ylim(len(table) - 0.5, -0.5)
    axes.set_xlim(left=0.0)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.set_xlabel("forecast half-width of a ratio of two lamps (± %)")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.1)
