"""Light after the hold time beside the light at the initial time, a panel a housing, one scale for all."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import GREY, INK, PALE, Look, shown_name, styled

SIZE = 15.2
"""Of every letter: 48 of 1600 pixels on a figure seven inches wide, readable where it is shown small. [pt]"""
_LONGEST = 14


def lines(table: pd.DataFrame) -> int:
    """Return how many lines a panel has: a lamp each, and one above the lamps that were not held.

    Parameters
    ----------
    table : DataFrame
        Rows of one housing, see `draw`.

    Returns
    -------
    int
        Lines. [1]
    """
    not_held = int(table["low"].isna().sum())
    return len(table) + (1 if 0 < not_held < len(table) else 0)


@styled
def draw(
    panels: Sequence[Axes], table: pd.DataFrame, *, baseline: str, not_held: str, size: float = SIZE
) -> None:
    """Draw every lamp against the baseline.

    Parameters
    ----------
    panels : sequence of Axes
        One for each housing, in the order in which housings first stand in the table.
    table : DataFrame
        One row a lamp and housing, in the order to be drawn: ``lamp``, ``housing``, ``specimens`` (count), ``earlier``
        (light at the initial time, NaN where the main figure is that), ``percent``, ``low``, ``high``, ``model_low``,
        ``model_high`` (more light than the baseline with its intervals [%], NaN where a lamp was not held), ``title``
        and ``word`` (what stands above the panel and at the right).
    baseline : str
        Name of the baseline lamp.
    not_held : str
        What stands above the lamps that were not held.
    size : float, default SIZE
        Of every letter. [pt]
    """
    for axes, (_, rows) in zip(panels, table.groupby("housing", sort=False), strict=True):
        held = rows[rows["low"].notna()].to_dict("records")
        rest = rows[rows["low"].isna()].to_dict("records")
        gap = len(held) + (1 if held and rest else 0)
        places = [*range(len(held)), *range(gap, gap + len(rest))]
        axes.axvline(0.0, color=INK, linewidth=1.4)
        for place, row in zip(places, [*held, *rest], strict=True):
            _lamp(axes, place, row, size)
        names = [f"{shown_name(str(row['lamp']), _LONGEST)} ({row['specimens']})" for row in [*held, *rest]]
        axes.set_yticks(places, names, fontsize=size)
        if held and rest:
            look: Look = {"fontsize": size, "color": GREY, "style": "italic", "backgroundcolor": "white"}
            axes.text(0.0, len(held), not_held, transform=axes.get_yaxis_transform(), va="center", **look)
        axes.set_ylim(lines(rows) - 0.4, -0.6)
        axes.margins(x=0.06)
        axes.tick_params(axis="y", length=0)
        axes.tick_params(axis="x", labelsize=size, labelbottom=True)
        axes.grid(axis="x", color=PALE)
        axes.set_title(str(rows["title"].iloc[0]), fontsize=size, fontweight="bold")
    panels[-1].set_xlabel(f"more light than {shown_name(baseline)} (%)", fontsize=size)


def _lamp(axes: Axes, place: int, row: dict[Any, Any], size: float) -> None:
    """Draw one lamp: where it began, where it is, for the specimens and for the model, and its word."""
    level = [place, place]
    axes.plot([row["percent"], row["earlier"]], level, color=GREY, linewidth=1.6, linestyle=":")
    axes.plot(row["earlier"], place, marker="o", markersize=8, color=GREY, markerfacecolor="white")
    model = [row["model_low"], row["model_high"]]
    axes.plot(model, level, color=INK, linewidth=1.2, marker="|", markersize=9)
    axes.plot([row["low"], row["high"]], level, color=INK, linewidth=5.0, solid_capstyle="butt")
    axes.plot(row["percent"], place, marker="o", markersize=9, color=INK)
    axes.text(1.02, place, row["word"], transform=axes.get_yaxis_transform(), va="center", fontsize=size)
