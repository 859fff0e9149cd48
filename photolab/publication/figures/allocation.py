"""Plans: the half-width each would give, for the specimens and for the models, or by two ways to foresee it."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, styled

SCOPES = {"specimens": "for the specimens on the bench", "models": "for the models"}
WAYS = {"specimens": "by rehearsal", "formula": "by formula"}


@styled
def draw(
    axes: Axes, table: pd.DataFrame, *, floor: float | None = None, columns: Mapping[str, str] = SCOPES
) -> None:
    """Draw the forecast half-width of plans.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a plan, from top to bottom: ``label`` (text), two half-widths of the interval of a ratio [%].
    floor : float, optional
        Half-width that no number of seatings and readings goes below. [%]
    columns : mapping, default `SCOPES`
        The two columns of half-widths, and what each is, `SCOPES` or `WAYS`; the first is drawn filled.
    """
    if floor is not None:
        axes.axvline(floor, color=COLOURS["vermilion"], linewidth=1.4, linestyle=(0, (4, 3)), label="floor")
    for place, row in enumerate(table.to_dict("records")):
        axes.plot([row[name] for name in columns], [place, place], color=COLOURS["blue"], linewidth=1.0)
    looks = zip(columns.items(), "os", (COLOURS["blue"], "white"), strict=True)
    for (column, words), marker, filling in looks:
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
