"""Illuminance times distance squared against distance, with the law that explains it and what it leaves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from photolab.bench.distances import DistanceResult
from photolab.publication.figures.common import COLOURS, GREY, INK, Look, shown_name, styled

Floats = NDArray[np.float64]


@styled
def draw(
    panels: Sequence[Axes],
    run: DistanceResult,
    curve: tuple[Floats, Floats],
    intensity: tuple[float, float, float],
    k: float,
) -> None:
    """Draw one run: products above, residuals below.

    Parameters
    ----------
    panels : sequence of two Axes
        Above and below.
    run : DistanceResult
        Its points, its name and where the bench reads.
    curve : tuple of two ndarray, shape (n,)
        The law: distances [m] and products [cd].
    intensity : tuple of three floats
        Intensity with its interval; NaN where none may be quoted. [cd]
    k : float
        Length of a bar in standard uncertainties. [1]
    """
    (above, below), points = panels, run.points
    value, low, high = (x / 1000.0 for x in intensity)
    if value == value:
        above.axhspan(low, high, color=COLOURS["sky"], alpha=0.25, linewidth=0)
        above.axhline(value, color=COLOURS["blue"], linewidth=1.2, linestyle=(0, (5, 3)))
    above.plot(curve[0], curve[1] / 1000.0, color=COLOURS["orange"], linewidth=1.6)
    below.axhline(0.0, color=COLOURS["orange"], linewidth=1.6)
    for axes, y, u in (
        (above, points["product_cd"] / 1000.0, points["product_u_cd"] / 1000.0),
        (below, points["residual_percent"], points["own_percent"]),
    ):
        look: Look = {"fmt": "o", "color": INK, "markersize": 4.5, "elinewidth": 1.2, "capsize": 2.5}
        axes.errorbar(points["distance_m"], y, yerr=k * u, **look)
        axes.axvline(run.place.distance_m, color=GREY, linewidth=1.0, linestyle=":")
        axes.grid(axis="y")
        axes.margins(x=0.06)
    above.set_title(shown_name(f"{run.lamp} in housing {run.housing}", 90))
    above.set_ylabel("E d² (kcd)")
    below.set_ylabel("left over (%)")
    below.set_xlabel("distance from the reference face (m)")
    below.margins(y=0.15)
