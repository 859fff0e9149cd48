"""What a curve leaves over of a warm-up record, reading by reading."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, INK, PALE, styled


@styled
def draw(axes: Axes, time_s: NDArray[np.float64], percent: NDArray[np.float64], *, curve: str) -> str:
    """Draw the residuals of one record; the band is one standard deviation either way.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    time_s : ndarray, shape (n,)
        Time since switch-on. [s]
    percent : ndarray, shape (n,)
        Reading less curve, of the curve. [%]
    curve : str
        Which curve.

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    minutes, sd = time_s / 60.0, float(np.sqrt(np.mean(percent**2)))
    axes.axhspan(-sd, sd, color=PALE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    axes.vlines(minutes, 0.0, percent, color=COLOURS["sky"], linewidth=0.9, zorder=2)
    axes.plot(minutes, percent, linestyle="none", marker="o", markersize=3.5, color=COLOURS["blue"], zorder=3)
    largest = float(np.abs(percent).max())
    axes.set_ylim(-1.15 * (largest or 1.0), 1.15 * (largest or 1.0))
    axes.grid(axis="y")
    axes.set_xlabel("since switch-on (min)")
    axes.set_ylabel("reading less curve (%)")
    return (
        f"What {curve} leaves over: {decimal(sd, 2)} % root mean square, the largest {decimal(largest, 2)} %."
    )
