"""All lamps: a dot with its interval for each, a panel a housing, a line at the baseline."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, INK, shown_name, styled


@styled
def draw(panels: Sequence[Axes], table: pd.DataFrame, *, baseline: str) -> None:
    """Draw every lamp against the baseline.

    Parameters
    ----------
    panels : sequence of Axes
        One for each housing, in the order in which housings first stand in the table.
    table : DataFrame
        One row a lamp and housing: ``lamp``, ``housing``, ``percent``, ``low``, ``high`` (more light than the
        baseline, and its interval [%]; NaN where there is no answer), ``specimens`` (count).
    baseline : str
        Name of the baseline lamp.
    """
    lamps = list(dict.fromkeys(str(lamp) for lamp in table["lamp"]))
    housings = list(dict.fromkeys(str(housing) for housing in table["housing"]))
    for number, (axes, housing) in enumerate(zip(panels, housings, strict=True)):
        axes.axvline(0.0, color=INK, linewidth=1.0)
        rows = table[table["housing"].astype(str) == housing]
        for lamp, percent, low, high, count in zip(
            rows["lamp"], rows["percent"], rows["low"], rows["high"], rows["specimens"], strict=True
        ):
            place = lamps.index(str(lamp))
            axes.plot([low, high], [place, place], color=COLOURS["blue"], linewidth=2.0)
            filling = COLOURS["blue"] if count > 1 else "white"
            axes.plot(
                percent, place, marker="o", markersize=7, color=COLOURS["blue"], markerfacecolor=filling,
                markeredgewidth=1.6,
            )  # fmt: skip
        axes.set_ylim(len(lamps) - 0.4, -0.6)
        axes.set_yticks(range(len(lamps)), [shown_name(one) if number == 0 else "" for one in lamps])
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x")
        axes.margins(x=0.08)
        axes.set_title(shown_name(f"housing {housing}") if housing else "one housing")
        axes.set_xlabel(f"more light than {shown_name(baseline)} (%)")
    limits = [axes.get_xlim() for axes in panels]
    for axes in panels:
        axes.set_xlim(min(low for low, _ in limits), max(high for _, high in limits))
