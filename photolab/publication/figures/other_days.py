"""What each day showed against what the other days predict of it."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, INK, shown_name, styled

_APART = 0.7  # of the width of a day that its figures fill


@styled
def draw(axes: Axes, table: pd.DataFrame, *, title: str = "") -> None:
    """Draw the figures of one housing, day by day.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a figure: ``day`` (text, in order), ``percent`` (seen from predicted), ``low``, ``high`` (the interval
        of what was predicted, from it), ``inside`` (bool). [%]
    title : str, default ""
        What the panel is of.
    """
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    days = list(dict.fromkeys(table["day"]))
    for place, day in enumerate(days):
        rows = table[table["day"] == day].to_dict("records")
        for number, row in enumerate(rows):
            at = place + _APART * ((number + 0.5) / len(rows) - 0.5)
            colour, mark = (COLOURS["blue"], "o") if row["inside"] else (COLOURS["vermilion"], "x")
            axes.plot([at, at], [row["low"], row["high"]], color=COLOURS["sky"], linewidth=1.4, zorder=2)
            axes.plot(at, row["percent"], color=colour, marker=mark, markersize=5, zorder=3)
    axes.set_xticks(range(len(days)), [shown_name(str(day), 12) for day in days])
    axes.grid(axis="y")
    axes.set_xlim(-0.6, len(days) - 0.4)
    axes.set_title(shown_name(title, 90))
