"""Beams: side by side on white ground, one over the other, and cut from below to above the cut-off."""

from collections.abc import Mapping

import numpy as np
import seaborn
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import Normalize, PowerNorm
from matplotlib.ticker import LogFormatter

from photolab.metrology.reporting import decimal
from photolab.photometry.beam import BeamGrid, RatioMap
from photolab.publication.figures.common import BLUE, COLOURS, GREY, INK, Floats, shown_name, styled

LEVELS = (1.0, 5.0, 20.0, 50.0, 80.0)
"""Contours. [% of own peak]"""
_NAMES = {-2.0: "¼", -1.0: "½", 0.0: "same", 1.0: "2 x", 2.0: "4 x"}
"""Contours and ticks: the binary logarithm of a ratio, and the ratio."""


@styled
def draw_beam(axes: Axes, grid: BeamGrid, title: str) -> None:
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
    shades, norm = seaborn.light_palette(BLUE, as_cmap=True), PowerNorm(0.5, 0.0, 100.0)
    axes.pcolormesh(h, v, percent, cmap=shades, norm=norm, shading="nearest", rasterized=True)
    dark = [level for level in LEVELS if percent.min() < level < percent.max()]
    if dark:
        lines = axes.contour(h, v, percent, levels=dark, colors=INK, linewidths=0.7)
        axes.clabel(lines, fmt=lambda level: f"{level:g} %", fontsize=7.0, inline_spacing=2)
    axes.axhline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    axes.axvline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    _label_directions(axes, f"{title}, peak {decimal(peak / 1000.0, 1)} kcd")


@styled
def draw_ratio(axes: Axes, found: RatioMap, title: str) -> None:
    """Draw the ratio of two beams.

    Parameters
    ----------
    axes : Axes
        Where to draw; the scale of the shades stands beside the last panel of a row.
    found : RatioMap
        The ratio, NaN where it cannot be told, and where it differs from 1 by more than its own uncertainty.
    title : str
        Above the panel.
    """
    h, v, steps = found.horizontal, found.vertical, np.log2(found.ratio)
    shown, norm = np.where(found.resolved, steps, np.nan), Normalize(-2.0, 2.0)
    mesh = axes.pcolormesh(h, v, shown, cmap=colormaps["PuOr"], norm=norm, shading="nearest", rasterized=True)
    levels = [level for level in _NAMES if np.nanmin(steps) < level < np.nanmax(steps)]
    if levels:
        lines = axes.contour(h, v, steps, levels=levels, colors=INK, linewidths=0.7, linestyles="solid")
        axes.clabel(lines, fmt=_NAMES, fontsize=7.5, inline_spacing=2)
    place = axes.get_subplotspec()
    if place is None or place.is_last_col():
        scale = axes.figure.colorbar(mesh, ax=axes, ticks=list(_NAMES), fraction=0.06, pad=0.02)
        scale.set_ticklabels(list(_NAMES.values()))
        scale.outline.set_visible(False)
    _label_directions(axes, title)


def _label_directions(axes: Axes, title: str) -> None:
    """Name a panel, and label its axes left, right, down and up where it stands below or at the left."""
    axes.xaxis.set_major_formatter(_unsigned)
    axes.yaxis.set_major_formatter(_unsigned)
    axes.set(title=shown_name(title, 60), xlabel="left   ←   degrees   →   right")
    axes.set_ylabel("down  ←  degrees  →  up")
    axes.label_outer()


@styled
def draw_cuts(axes: Axes, cuts: Mapping[str, tuple[Floats, Floats, float]], title: str) -> None:
    """Draw intensity over height on a logarithmic scale.

    Parameters
    ----------
    axes : Axes
        Where to draw; labelled where it stands at the left.
    cuts : mapping of str to tuple
        By lamp: heights [deg], intensities [cd], and the height of the cut-off, NaN where there is none [deg].
    title : str
        Above the panel.
    """
    looks = (("black", "-", "o"), ("vermilion", (0, (5, 2)), "s"), ("blue", ":", "^"), ("green", "-.", "v"))
    for (lamp, (v, light, height)), (colour, line, marker) in zip(cuts.items(), looks, strict=False):
        label = shown_name(lamp)
        axes.plot(v, light / 1000.0, color=COLOURS[colour], linewidth=1.6, linestyle=line, label=label)
        if height == height:
            at = abs(v - height).argmin()
            axes.axvline(height, color=COLOURS[colour], linewidth=0.9, linestyle=line)
            point = ([v[at]], [light[at] / 1000.0])
            axes.plot(*point, marker=marker, color=COLOURS[colour], markersize=7, linestyle="none")
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_minor_formatter(LogFormatter())  # names ticks where the axis spans less than a decade
    axes.xaxis.set_major_formatter(_unsigned)
    axes.grid(axis="both")
    axes.set(title=shown_name(title, 60), xlabel="down   ←   degrees   →   up", ylabel="intensity (kcd)")
    axes.legend(loc="upper right")
    axes.label_outer()


def _unsigned(value: float, _position: object = None) -> str:
    """Return a tick without its sign: the words at the axis carry it."""
    return f"{abs(value):g}"
