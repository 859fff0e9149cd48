"""Beams side by side on white ground: one palette from little to much light, contours in per cent of the own peak."""

from __future__ import annotations

import seaborn
from matplotlib.axes import Axes
from matplotlib.colors import PowerNorm

from photolab.metrology.reporting import decimal
from photolab.photometry.beam import BeamGrid
from photolab.publication.figures.common import COLOURS, GREY, INK, shown_name, styled

LEVELS = (1.0, 5.0, 20.0, 50.0, 80.0)
"""Contours. [% of own peak]"""


@styled
def draw(axes: Axes, grid: BeamGrid, title: str) -> None:
    """Draw one beam as the lamp sees the wall.

    Parameters
    ----------
    axes : Axes
        Where to draw; labelled where it stands at the left or below.
    grid : BeamGrid
        The beam.
    title : str
        Above the panel, followed by the peak.
    """
    peak = float(grid.intensity.max())
    h, v, percent = grid.horizontal, grid.vertical, 100.0 * grid.intensity / (peak or 1.0)
    axes.pcolormesh(
        h,
        v,
        percent,
        cmap=seaborn.light_palette(COLOURS["blue"], as_cmap=True),
        norm=PowerNorm(0.5, 0.0, 100.0),
        shading="nearest",
        rasterized=True,
    )
    dark = [level for level in LEVELS if percent.min() < level < percent.max()]
    if dark:
        lines = axes.contour(h, v, percent, levels=dark, colors=INK, linewidths=0.7)
        axes.clabel(lines, fmt=lambda level: f"{level:g} %", fontsize=7.0, inline_spacing=2)
    axes.axhline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    axes.axvline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    axes.set_title(shown_name(f"{title}, peak {decimal(peak / 1000.0, 1)} kcd", 60))
    label_directions(axes)


def label_directions(axes: Axes) -> None:
    """Label the axes left, right, down and up, where a panel stands below or at the left.

    Parameters
    ----------
    axes : Axes
        Where to label.
    """
    axes.xaxis.set_major_formatter(_unsigned)
    axes.yaxis.set_major_formatter(_unsigned)
    place = axes.get_subplotspec()
    if place is None or place.is_last_row():
        axes.set_xlabel("left   ←   degrees   →   right")
    if place is None or place.is_first_col():
        axes.set_ylabel("down  ←  degrees  →  up")
    axes.spines["left"].set_visible(True)


def _unsigned(value: float, _position: object = None) -> str:
    """Return a tick without its sign: the words at the axis carry it."""
    return f"{abs(value):g}"
