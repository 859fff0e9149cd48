"""The baseline over the days: the means of the days within their limits, and groups that stand apart."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, INK, PALE, styled

__all__ = ["draw"]


@styled
def draw(axes: Axes, table: pd.DataFrame, *, title: str = "") -> None:
    """Draw one chart.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a day in order: ``day`` (text), ``percent`` (mean of the day from the centre), ``low``,
        ``high`` (limits of it), ``out`` (bool: the day by itself), ``group`` (bool: one of the days that
        stand apart together). [%]
    title : str, default ""
        What the chart is of.
    """
    places = range(len(table))
    axes.fill_between(places, table["low"], table["high"], color=PALE, linewidth=0, step="mid", zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    axes.plot(places, table["percent"], color=GREY, linewidth=1.0, zorder=2)
    looks = (
        (~table["group"].astype(bool) & ~table["out"].astype(bool), "o", "blue", "white", "a day"),
        (table["group"].astype(bool) & ~table["out"].astype(bool), "s", "vermilion", COLOURS["vermilion"],
         "days that stand apart together"),
        (table["out"].astype(bool), "X", "vermilion", COLOURS["vermilion"], "a day beyond its limits"),
    )  # fmt: skip
    for chosen, marker, colour, filling, words in looks:
        if chosen.any():
            at = [place for place, yes in zip(places, chosen, strict=True) if yes]
            axes.plot(
                at, table.loc[chosen.to_numpy(), "percent"], linestyle="none", marker=marker, markersize=7,
                color=COLOURS[colour], markerfacecolor=filling, markeredgewidth=1.4, label=words, zorder=3,
            )  # fmt: skip
    axes.set_xticks(list(places), [str(day) for day in table["day"]])
    axes.grid(axis="y")
    axes.margins(x=0.06)
    top = float(max(table["high"].max(), table["percent"].max()))
    axes.set_ylim(1.15 * float(min(table["low"].min(), table["percent"].min())), 1.75 * top)
    if table["group"].any() or table["out"].any():
        axes.legend(loc="upper right", borderaxespad=0.2)
    axes.set_title(title)
