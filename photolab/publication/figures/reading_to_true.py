"""From the displayed to the surface temperature: a curve with its band for each kind of surface."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, INK, shown_name, styled

__all__ = ["draw"]

_LOOKS = (("blue", "-", "o"), ("green", "--", "s"), ("vermilion", "-.", "^"), ("purple", ":", "D"))


@styled
def draw(axes: Axes, curves: pd.DataFrame, points: pd.DataFrame) -> None:
    """Draw the curves.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    curves : DataFrame
        ``surface`` (label), ``displayed``, ``true``, ``low``, ``high``: ends from the half-width of the
        emissivity. [degC]
    points : DataFrame
        Readings: ``surface``, ``displayed``, ``true``, ``label`` (printed beside it). [degC]
    """
    for (surface, rows), (colour, line, marker) in zip(
        curves.groupby("surface", sort=False), _LOOKS, strict=False
    ):
        axes.fill_between(
            rows["displayed"], rows["low"], rows["high"], color=COLOURS[colour], alpha=0.22, linewidth=0
        )
        axes.plot(
            rows["displayed"],
            rows["true"],
            color=COLOURS[colour],
            linewidth=1.8,
            linestyle=line,
            label=shown_name(str(surface), 50),
        )
        mine = points[points["surface"] == surface]
        axes.plot(
            mine["displayed"], mine["true"], marker=marker, markersize=8, color=COLOURS[colour],
            markeredgecolor=INK, linestyle="none", zorder=4,
        )  # fmt: skip
        for x, y, label in zip(mine["displayed"], mine["true"], mine["label"], strict=True):
            left = 1.08 * x < y < 1.6 * x
            axes.annotate(
                shown_name(str(label), 40), (x, y), xytext=(-9, 5) if left else (9, -3), textcoords="offset points",
                ha="right" if left else "left", va="bottom" if left else "top",
            )  # fmt: skip
    low, high = float(curves["displayed"].min()), float(curves["displayed"].max())
    axes.plot([low, high], [low, high], color=GREY, linewidth=0.9, label="surface = displayed", zorder=1)
    axes.set_xlim(low, high)
    axes.set_ylim(low, 1.12 * float(max(points["true"].max(), high)))
    axes.grid()
    axes.set_xlabel("displayed by the camera (°C)")
    axes.set_ylabel("surface (°C)")
    axes.legend(loc="lower right")
