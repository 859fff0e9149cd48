"""From the displayed to the surface temperature: a curve with its band for each kind of surface."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from photolab.bench.inputs.surface import Surface
from photolab.errors import MethodError, attempt
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, GREY, INK, Floats, Look, shown_name, styled
from photolab.thermal.thermography import surface_temperature

_LOOKS = (("blue", "-", "o"), ("green", "--", "s"), ("vermilion", "-.", "^"), ("purple", ":", "D"))
_ABOVE_K = 0.5
"""A curve begins so far above the reflected temperature. [K]"""


def chosen(found: Sequence[Surface]) -> list[Surface]:
    """Return a patch and up to three bare surfaces, the shiniest first: one for each emissivity."""
    known = [one for one in found if not np.isnan(one.emissivity + one.value)]
    bare = sorted((one for one in known if one.method == "bare"), key=lambda one: one.emissivity)
    patch = [one for one in known if one.method != "bare"]
    own = [one for one in patch if bare and one.lamp == bare[0].lamp]
    kept = {one.emissivity: one for one in reversed([*(own or patch)[:1], *bare[:3]])}
    return sorted(kept.values(), key=lambda one: -one.emissivity)[:4]


def _curves(one: Surface, grid: Floats) -> Floats:
    """Return the surface temperature at the emissivity of a reading and at both ends of it [degC]."""
    ends = np.array([[0.0], [1.0], [-1.0]]) * one.emissivity_half_width + one.emissivity
    true = surface_temperature(
        grid, emissivity=np.clip(ends, 0.01, 1.0), set_emissivity=one.set_emissivity, reflected=one.reflected
    )
    return np.round(true, 6)  # one picture on every processor


@styled
def draw(axes: Axes, shown: Sequence[Surface]) -> str:
    """Draw the curves, each with the band that the half-width of its emissivity allows, and the readings on them.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    shown : sequence of Surface
        One reading a curve.

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    left, right = min(one.reflected for one in shown), max(one.displayed for one in shown) + 15.0
    top = 1.3 * max(one.value for one in shown)
    for one, (colour, line, marker) in zip(shown, _LOOKS, strict=False):
        grid = np.linspace(one.reflected + _ABOVE_K, right, 120)
        curves = attempt(_curves, one, grid)  # where there is none, the reading's own row says why
        if not isinstance(curves, MethodError):
            true, low, high = curves
            low_enough = true <= top
            label = f"{one.method}, emissivity {decimal(one.emissivity, 2)} ± {decimal(one.emissivity_half_width, 2)}"
            along, band = grid[low_enough], (low[low_enough], high[low_enough])
            axes.fill_between(along, *band, color=COLOURS[colour], alpha=0.22, linewidth=0)
            look: Look = {"color": COLOURS[colour], "linewidth": 1.8, "linestyle": line}
            axes.plot(along, true[low_enough], label=shown_name(label, 50), **look)
        x, y = one.displayed, float(np.round(one.value, 6))
        dot: Look = {"marker": marker, "markersize": 8, "color": COLOURS[colour], "markeredgecolor": INK}
        axes.plot(x, y, linestyle="none", zorder=4, **dot)
        beside = 1.08 * x < y < 1.6 * x
        side, place = ("right", "bottom") if beside else ("left", "top")
        where: Look = {"xytext": (-9, 5) if beside else (9, -3), "textcoords": "offset points"}
        axes.annotate(shown_name(f"{one.lamp} {one.method}", 40), (x, y), ha=side, va=place, **where)
    axes.plot([left, right], [left, right], color=GREY, linewidth=0.9, label="surface = displayed", zorder=1)
    axes.axis((left, right, left, top))
    axes.set(xlabel="displayed by the camera (°C)", ylabel="surface (°C)")
    axes.grid()
    axes.legend(loc="lower right")
    said = "; ".join(
        f"{one.lamp} {one.method} displays {decimal(one.displayed, 1)} °C, surface {decimal(one.value, 0)} °C "
        f"({decimal(one.low, 0)} to {decimal(one.high, 0)})"
        for one in shown
    )
    return f"Surface against displayed temperature, a curve with its band for each emissivity. {said}."
