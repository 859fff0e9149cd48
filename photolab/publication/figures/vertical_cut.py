"""One vertical cut through beams, with the height of each cut-off marked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import LogFormatter
from numpy.typing import NDArray

from photolab.publication.figures.common import COLOURS, shown_name, styled

Floats = NDArray[np.float64]


@styled
def draw(axes: Axes, cuts: Mapping[str, tuple[Floats, Floats, float]], title: str) -> None:
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
    axes.yaxis.set_major_formatter(_plain)
    axes.yaxis.set_minor_formatter(
        LogFormatter()
    )  # names a few ticks where the axis spans less than a decade
    axes.xaxis.set_major_formatter(_unsigned)
    axes.grid(axis="both")
    axes.set_title(shown_name(title, 60))
    axes.set_xlabel("down   ←   degrees   →   up")
    axes.legend(loc="upper right")
    place = axes.get_subplotspec()
    if place is None or place.is_first_col():
        axes.set_ylabel("intensity (kcd)")


def _plain(value: float, _position: object = None) -> str:
    """Return a tick of the logarithmic axis as a plain number."""
    return f"{value:g}"


def _unsigned(value: float, _position: object = None) -> str:
    """Return a tick without its sign: the words at the axis carry it."""
    return f"{abs(value):g}"
