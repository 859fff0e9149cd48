"""Illuminance times distance squared against distance, with the law that explains it and what it leaves."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, INK, shown_name, styled

__all__ = ["draw"]


@styled
def draw(
    panels: Sequence[Axes],
    points: pd.DataFrame,
    curve: pd.DataFrame,
    *,
    title: str,
    bench_distance: float,
    intensity: tuple[float, float, float] | None,
) -> None:
    """Draw one run: products above, residuals below.

    Parameters
    ----------
    panels : sequence of two Axes
        Above and below.
    points : DataFrame
        One row a distance: ``distance_m`` [m], ``product_kcd`` and ``product_u_kcd`` (with its bar [kcd]),
        ``residual_percent`` and ``residual_u_percent`` [%].
    curve : DataFrame
        The law: ``distance_m`` [m], ``product_kcd`` [kcd].
    title : str
        Above the upper panel.
    bench_distance : float
        Where the bench reads; NaN draws no line. [m]
    intensity : tuple of three floats or None
        Intensity with its interval [kcd]; None where none may be quoted.
    """
    above, below = panels
    if intensity is not None:
        above.axhspan(intensity[1], intensity[2], color=COLOURS["sky"], alpha=0.25, linewidth=0)
        above.axhline(intensity[0], color=COLOURS["blue"], linewidth=1.2, linestyle=(0, (5, 3)))
    above.plot(curve["distance_m"], curve["product_kcd"], color=COLOURS["orange"], linewidth=1.6)
    above.errorbar(
        points["distance_m"], points["product_kcd"], yerr=points["product_u_kcd"],
        fmt="o", color=INK, markersize=4.5, elinewidth=1.2, capsize=2.5,
    )  # fmt: skip
    below.axhline(0.0, color=COLOURS["orange"], linewidth=1.6)
    below.errorbar(
        points["distance_m"], points["residual_percent"], yerr=points["residual_u_percent"],
        fmt="o", color=INK, markersize=4.5, elinewidth=1.2, capsize=2.5,
    )  # fmt: skip
    for axes in panels:
        axes.axvline(bench_distance, color=GREY, linewidth=1.0, linestyle=":")
        axes.grid(axis="y")
        axes.margins(x=0.06)
    above.set_title(shown_name(title, 90))
    above.set_ylabel("E d² (kcd)")
    below.set_ylabel("left over (%)")
    below.set_xlabel("distance from the reference face (m)")
    below.margins(y=0.15)
