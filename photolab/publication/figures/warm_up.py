"""Warm-up: readings and curve, two marked instants, and what lies beyond the record."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from photolab.errors import MethodError, attempt
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, GREY, INK, PALE, styled
from photolab.thermal.warm_up_result import Remaining, WarmUp


def percent_of_initial(
    illuminance: NDArray[np.float64], fit: WarmUp | MethodError | None
) -> NDArray[np.float64]:
    """Return light in per cent of the fitted light at the initial time; of the first reading without a curve there."""
    level = fit.initial_illuminance if isinstance(fit, WarmUp) else float("nan")
    return 100.0 * illuminance / (illuminance[0] if np.isnan(level) else level)


@styled
def draw(
    axes: Axes,
    time_s: NDArray[np.float64],
    illuminance: NDArray[np.float64],
    fit: WarmUp | MethodError,
    *,
    at_s: float,
) -> str:
    """Draw one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    time_s, illuminance : ndarray, shape (n,)
        The readings. [s], [lx]
    fit : WarmUp or MethodError
        Their curve, or why there is none.
    at_s : float
        Hold time; what lies between the end of the record and it is shaded. [s]

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    minutes, percent = time_s / 60.0, percent_of_initial(illuminance, fit)
    axes.plot(
        minutes, percent, linestyle="none", marker="o", markersize=3, color=GREY, markerfacecolor="none",
        markeredgewidth=0.7, label="readings", zorder=2,
    )  # fmt: skip
    span = float(np.ptp(percent)) or 1.0
    bottom, top = float(percent.min()) - 0.12 * span, float(percent.max()) + 0.16 * span
    end, until = float(time_s[-1]), max(at_s, float(time_s[-1]))
    said = [f"{decimal(end / 60.0, 0)} min of readings"]
    if not isinstance(fit, MethodError):
        said += _curve(axes, fit, top, at_s)
    if until > end:
        axes.axvspan(
            end / 60.0, until / 60.0, facecolor=PALE, linewidth=0, hatch="//", edgecolor="white", zorder=0
        )
        box = {"facecolor": PALE, "edgecolor": "none", "pad": 3.0}
        middle = ((end + until) / 120.0, (bottom + top) / 2.0)
        axes.text(*middle, "beyond\nthe record", ha="center", va="center", bbox=box)
        said.append(f"from {decimal(end / 60.0, 0)} min on it is shaded: beyond the record")
    axes.set_xlim(-0.01 * until / 60.0, 1.01 * until / 60.0)
    axes.set_ylim(bottom, top)
    axes.grid(axis="y")
    axes.set_xlabel("since switch-on (min)")
    axes.set_ylabel(
        "light (% of the first reading)"
        if isinstance(fit, MethodError)
        else f"light (% of {fit.initial_s:g} s)"
    )
    return "; ".join(said) + "."


def _curve(axes: Axes, fit: WarmUp, top: float, at_s: float) -> list[str]:
    """Draw the curve of a record, its step and the two instants compared, and return them in words."""
    grid = np.linspace(fit.time_s[0], fit.time_s[-1], 400)
    level = 100.0 / percent_of_initial(fit.illuminance, fit)[0] * fit.illuminance[0]
    curve = 100.0 * fit.illuminance_at(grid) / level
    axes.plot(grid / 60.0, curve, color=COLOURS["blue"], linewidth=1.8, label="curve", zorder=3)
    marks = [] if np.isnan(fit.initial_illuminance) else [(fit.initial_s, 100.0, f"{fit.initial_s:g} s")]
    left = attempt(fit.remaining, min(at_s, float(fit.time_s[-1])))
    if isinstance(left, Remaining):
        marks.append((left.at_s, 100.0 * left.value, f"{decimal(left.at_s / 60.0, 0)} min"))
    for number, (time_s, percent, name) in enumerate(marks):
        axes.plot(
            time_s / 60.0, percent, marker="D", markersize=8, color=COLOURS["orange"], markeredgecolor=INK,
            markeredgewidth=0.9, linestyle="none", zorder=4,
        )  # fmt: skip
        right = number == 0 or time_s < 0.85 * at_s
        axes.annotate(
            f"{name}: {decimal(percent, 1)} %", (time_s / 60.0, percent), xytext=(10, 8) if right else (-6, 14),
            textcoords="offset points", ha="left" if right else "right", va="bottom", zorder=5,
        )  # fmt: skip
    said = [f"{name}: {decimal(percent, 1)} %" for _, percent, name in marks]
    if fit.step is not None:
        step, look = fit.step.time_s / 60.0, COLOURS["vermilion"]
        axes.axvline(step, color=look, linewidth=1.2, linestyle="--", zorder=1)
        axes.annotate("step", (step, top), xytext=(5, -4), textcoords="offset points", va="top", color=look)
        said.append(f"a step at {decimal(step, 1)} min")
    return said
