"""What a curve leaves over of a warm-up record, reading by reading."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, INK, PALE, styled

__all__ = ["draw"]


@styled
def draw(axes: Axes, table: pd.DataFrame, *, sd: float) -> None:
    """Draw the residuals of one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        ``minutes`` since switch-on, ``percent`` (reading less curve, of the curve). [min], [%]
    sd : float
        Half-width of the pale band: one standard deviation of a reading. [%]
    """
    axes.axhspan(-sd, sd, color=PALE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    axes.vlines(table["minutes"], 0.0, table["percent"], color=COLOURS["sky"], linewidth=0.9, zorder=2)
    axes.plot(
        table["minutes"], table["percent"], linestyle="none", marker="o", markersize=3.5, color=COLOURS["blue"],
        zorder=3,
    )  # fmt: skip
    limit = 1.15 * float(table["percent"].abs().max() or 1.0)
    axes.set_ylim(-limit, limit)
    axes.grid(axis="y")
    axes.set_xlabel("since switch-on (min)")
    axes.set_ylabel("reading less curve (%)")
