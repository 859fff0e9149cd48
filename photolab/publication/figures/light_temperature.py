"""Light against case temperature of one record, with the straight line of %/K."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, styled

__all__ = ["draw"]


@styled
def draw(axes: Axes, table: pd.DataFrame, line: pd.DataFrame, *, initial_s: float = 60.0) -> None:
    """Draw one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        ``case`` temperature, ``percent`` of the initial light, ``used`` (bool: entered the line). [degC], [%]
    line : DataFrame
        ``case``, ``percent`` along the line; empty where there is none.
    initial_s : float, default 60
        Instant that the light is given in per cent of. [s]
    """
    for used, colour, marker, words in (
        (True, COLOURS["blue"], "o", "readings"),
        (False, GREY, "x", "after the step"),
    ):
        rows = table[table["used"].astype(bool) == used]
        if len(rows):
            axes.plot(
                rows["case"], rows["percent"], linestyle="none", marker=marker, markersize=4, color=colour,
                markerfacecolor="none", label=words,
            )  # fmt: skip
    if len(line):
        axes.plot(
            line["case"],
            line["percent"],
            color=COLOURS["vermilion"],
            linewidth=1.6,
            label="straight in ln(light)",
        )
    axes.grid()
    axes.set_xlabel("case (°C)")
    axes.set_ylabel(f"light (% of {initial_s:g} s)")
    axes.legend(loc="upper right")
