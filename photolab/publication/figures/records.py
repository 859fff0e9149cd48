"""Warm-up records: readings and curve, what the curve leaves over, beside case and watts, against the case."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.bench.results.heat import WarmUpRun
from photolab.errors import MethodError, attempt
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import BLUE, COLOURS, GREY, INK, PALE, RED, SKY, Floats, Look, styled
from photolab.publication.sentences.words_heat import run_name
from photolab.thermal.coupling import Slope
from photolab.thermal.warm_up_result import Remaining, WarmUp

_ROWS = (
    ("light", "blue", "o", "light (% of initial)", "%"),
    ("case", "vermilion", "s", "case (°C)", "°C"),
    ("power", "green", "^", "power (W)", "W"),
)


_TIME = "since switch-on (min)"


def _initial_light(illuminance: Floats, fit: WarmUp | MethodError | None) -> float:
    """Return what is 100 %: the fitted light at the initial time; the first reading without a curve there [lx]."""
    level = fit.initial_illuminance if isinstance(fit, WarmUp) else float("nan")
    return float(illuminance[0]) if np.isnan(level) else level


@styled
def draw_curve(
    axes: Axes, time_s: Floats, illuminance: Floats, fit: WarmUp | MethodError, *, at_s: float
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
    level = _initial_light(illuminance, fit)
    minutes, percent = time_s / 60.0, 100.0 * illuminance / level
    look: Look = {"markersize": 3, "color": GREY, "markerfacecolor": "none", "markeredgewidth": 0.7}
    axes.plot(minutes, percent, linestyle="none", marker="o", label="readings", zorder=2, **look)
    span = float(np.ptp(percent)) or 1.0
    bottom, top = float(percent.min()) - 0.12 * span, float(percent.max()) + 0.16 * span
    end, until = float(time_s[-1]), max(at_s, float(time_s[-1]))
    said = [f"{decimal(end / 60.0, 0)} min of readings"]
    if not isinstance(fit, MethodError):
        said += _curve(axes, fit, level, top, at_s)
    if until > end:
        hatched: Look = {"facecolor": PALE, "linewidth": 0, "hatch": "//", "edgecolor": "white"}
        axes.axvspan(end / 60.0, until / 60.0, zorder=0, **hatched)
        box = {"facecolor": PALE, "edgecolor": "none", "pad": 3.0}
        middle = ((end + until) / 120.0, (bottom + top) / 2.0)
        axes.text(*middle, "beyond\nthe record", ha="center", va="center", bbox=box)
        said.append(f"from {decimal(end / 60.0, 0)} min on it is shaded: beyond the record")
    whole = "the first reading" if isinstance(fit, MethodError) else f"{fit.initial_s:g} s"
    axes.set(xlim=(-0.01 * until / 60.0, 1.01 * until / 60.0), ylim=(bottom, top))
    axes.set(xlabel=_TIME, ylabel=f"light (% of {whole})")
    axes.grid(axis="y")
    return "; ".join(said) + "."


def _curve(axes: Axes, fit: WarmUp, level: float, top: float, at_s: float) -> list[str]:
    """Draw the curve of a record, its step and the two instants compared, and return them in words."""
    grid = np.linspace(fit.time_s[0], fit.time_s[-1], 400)
    curve = 100.0 * fit.curve.light(grid) / level
    axes.plot(grid / 60.0, curve, color=BLUE, linewidth=1.8, label="curve", zorder=3)
    said: list[str] = []
    marks = [] if np.isnan(fit.initial_illuminance) else [(fit.initial_s, 100.0, f"{fit.initial_s:g} s")]
    left = attempt(fit.remaining, min(at_s, float(fit.time_s[-1])))
    if isinstance(left, Remaining):
        marks.append((left.at_s, 100.0 * left.value, f"{decimal(left.at_s / 60.0, 0)} min"))
    for number, (time_s, percent, name) in enumerate(marks):
        point, text = (time_s / 60.0, percent), f"{name}: {decimal(percent, 1)} %"
        look: Look = {"color": COLOURS["orange"], "markeredgecolor": INK, "markeredgewidth": 0.9}
        axes.plot(*point, marker="D", markersize=8, linestyle="none", zorder=4, **look)
        right = number == 0 or time_s < 0.85 * at_s
        where: Look = {"xytext": (10, 8) if right else (-6, 14), "ha": "left" if right else "right"}
        axes.annotate(text, point, textcoords="offset points", va="bottom", zorder=5, **where)
        said.append(text)
    if fit.step is not None:
        step, colour = fit.step.time_s / 60.0, RED
        axes.axvline(step, color=colour, linewidth=1.2, linestyle="--", zorder=1)
        axes.annotate("step", (step, top), xytext=(5, -4), textcoords="offset points", va="top", color=colour)
        said.append(f"a step at {decimal(step, 1)} min")
    return said


@styled
def draw_residuals(axes: Axes, time_s: Floats, percent: Floats, *, curve: str = "one exponential") -> str:
    """Draw the residuals of one record; the band is one standard deviation either way.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    time_s : ndarray, shape (n,)
        Time since switch-on. [s]
    percent : ndarray, shape (n,)
        Reading less curve, of the curve. [%]
    curve : str, default "one exponential"
        Which curve.

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    minutes, sd = time_s / 60.0, float(np.sqrt(np.mean(percent**2)))
    axes.axhspan(-sd, sd, color=PALE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    axes.vlines(minutes, 0.0, percent, color=SKY, linewidth=0.9, zorder=2)
    axes.plot(minutes, percent, linestyle="none", marker="o", markersize=3.5, color=BLUE, zorder=3)
    largest = float(np.abs(percent).max())
    far = 1.15 * (largest or 1.0)
    axes.set(ylim=(-far, far), xlabel=_TIME, ylabel="reading less curve (%)")
    axes.grid(axis="y")
    squares, most = decimal(sd, 2), decimal(largest, 2)
    return f"What {curve} leaves over: {squares} % root mean square, the largest {most} %."


@styled
def draw_panels(panels: Sequence[Axes], run: WarmUpRun) -> str:
    """Draw one record.

    Parameters
    ----------
    panels : sequence of Axes
        Three, from the top, on one time axis.
    run : WarmUpRun
        The record; its curve gives the initial light and the step.

    Returns
    -------
    str
        What it shows, with the first and the last value of each panel.
    """
    record, lux = run.record, run.record["illuminance_lx"]
    minutes = record["elapsed_s"] / 60.0
    step = None if run.fit is None or run.fit.step is None else run.fit.step.time_s / 60.0
    light = 100.0 * lux / _initial_light(lux.to_numpy(float), run.fit)
    columns = (light, record["case_C"], record["socket_V"] * record["current_A"])
    said = []
    for axes, values, (name, colour, marker, label, unit) in zip(panels, columns, _ROWS, strict=True):
        known = values.notna()
        look: Look = {"marker": marker, "markersize": 3.2, "color": COLOURS[colour], "markeredgewidth": 0.9}
        axes.plot(minutes[known], values[known], linestyle="none", markerfacecolor="none", **look)
        if known.any():
            first, last = (decimal(float(values[known].iloc[i]), 1) for i in (0, -1))
            said.append(f"{name} from {first} to {last} {unit}")
        else:
            axes.text(0.5, 0.5, "not logged", transform=axes.transAxes, ha="center", va="center", color=GREY)
            axes.set_yticks([])
            said.append(f"{name} not logged")
        if step is not None:
            axes.axvline(step, color=GREY, linewidth=1.1, linestyle="--", zorder=0)
        axes.grid(axis="y")
        axes.margins(y=0.12)
        axes.set_ylabel(label)
    if step is not None:
        where: Look = {"xycoords": ("data", "axes fraction"), "textcoords": "offset points"}
        panels[0].annotate("step", (step, 1.0), xytext=(4, -4), va="top", **where)
        said.append(f"a step at {decimal(step, 1)} min")
    panels[-1].set_xlabel(_TIME)
    return f"Three panels of {run_name(run)}: {', '.join(said)}."


@styled
def draw_against_case(axes: Axes, record: pd.DataFrame, run: WarmUpRun, slope: Slope | MethodError) -> str:
    """Draw one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    record : DataFrame
        Rows of warm_up.csv that state a case: elapsed_s, illuminance_lx, case_C. [s], [lx], [degC]
    run : WarmUpRun
        Whose; its curve gives the initial light and the step, and what follows a step did not enter the line.
    slope : Slope or MethodError
        The line, or why there is none.

    Returns
    -------
    str
        What it shows, with its key numbers.
    """
    case = record["case_C"].to_numpy(float)
    lux = record["illuminance_lx"].to_numpy(float)
    percent = 100.0 * lux / _initial_light(lux, run.fit)
    until = np.inf if run.fit is None or run.fit.step is None else run.fit.step.time_s
    used = record["elapsed_s"].to_numpy(float) < until
    look: Look = {"linestyle": "none", "markersize": 4, "markerfacecolor": "none"}
    kinds = (used, BLUE, "o", "readings"), (~used, GREY, "x", "after the step")
    for rows, colour, marker, label in kinds:
        if rows.any():
            axes.plot(case[rows], percent[rows], color=colour, marker=marker, label=label, **look)
    said = "no line"
    if isinstance(slope, Slope):
        mine, light, tilt = case[used], percent[used], slope.percent_per_kelvin / 100.0
        ends = np.array([mine.min(), mine.max()])
        line = np.exp(np.log(light).mean() + tilt * (ends - float(mine.mean())))
        axes.plot(ends, line, color=RED, linewidth=1.6, label="straight in ln(light)")
        said = f"the line falls by {decimal(-slope.percent_per_kelvin, 3)} % a kelvin"
    axes.set(xlabel="case (°C)", ylabel="light (% of the initial light)")
    axes.grid()
    axes.legend(loc="upper right")
    span = f"{decimal(float(case.min()), 0)} to {decimal(float(case.max()), 0)} °C"
    return f"Light of {run_name(run)} against its case, {span}; {said}."
