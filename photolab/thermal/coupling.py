"""Light against temperature: light per kelvin, one settling or two, light and heat at another ambient.

All of this describes what happened together on the bench. The temperature is that of the case, where it can
be measured; of the junction inside nothing is said.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import Floats, as_given, finite, must_hold, not_negative, positive, require
from photolab.metrology.quantity import COVERAGE, Input, Measured, measured
from photolab.thermal.exponentials import fit_exponentials
from photolab.thermal.residuals import ResidualModel

LEAST_READINGS = 5


LEAST_EFFECTIVE = 6.0
"""Least number of independent readings that the correlated ones are worth. [1]"""


LEAST_SPAN = 4.0
"""Least span of the temperatures over their standard uncertainty: common practice, no source. [1]"""


LARGEST_COEFFICIENT = 0.05
"""Above it a relative change for each kelvin is taken for a percentage. [1/K]"""


@dataclass(frozen=True)
class Slope:
    """Relative change of the light for each kelvin.

    Attributes
    ----------
    percent_per_kelvin : float
        100 times the slope of ln(light). [%/K]
    standard_uncertainty : float
        Its standard uncertainty. [%/K]
    low, high : float
        Coverage interval. [%/K]
    dof : float
        Degrees of freedom; infinite where the stated uncertainties are larger than the scatter. [1]
    coverage : float
        Coverage probability. [1]
    span : float
        Range of the temperatures. [K]
    """

    percent_per_kelvin: float
    standard_uncertainty: float
    low: float
    high: float
    dof: float
    coverage: float
    span: float


class ExpectedLight(NamedTuple):
    """Light expected at another ambient: an extrapolation, never a measurement.

    Attributes
    ----------
    value, low, high : float
        Light at hold in the other ambient over the initial light on the bench. [1]
    ln_standard_uncertainty : float
        Standard uncertainty of its logarithm. [1]
    extrapolated : bool
        Always true: it was not measured there. [bool]
    beyond_record : bool
        Whether the case would leave the temperatures the slope was found on. [bool]
    """

    value: float
    low: float
    high: float
    ln_standard_uncertainty: float
    extrapolated: bool
    beyond_record: bool


class TimeConstants(NamedTuple):
    """Whether light and temperature settle with one time constant.

    Attributes
    ----------
    light_s, temperature_s : float
        Time constant of each. [s]
    ratio, low, high : float
        Light over temperature with its coverage interval. [1]
    code : str
        `shared` (alike to within the margin), `different` (the interval excludes 1), `not_resolved`. [text]
    """

    light_s: float
    temperature_s: float
    ratio: float
    low: float
    high: float
    code: str


def light_per_kelvin(
    light: ArrayLike,
    temperature: ArrayLike,
    *,
    light_uncertainty: ArrayLike,
    temperature_uncertainty: ArrayLike,
    time_s: ArrayLike | None = None,
    coverage: float = COVERAGE,
) -> Slope:
    r"""Return the relative change of the light for each kelvin, errors in both allowed for.

    .. math:: \ln E = a + b\,T

    Parameters
    ----------
    light : array_like, shape (n,)
        Light, in any unit, in the order read. [any]
    temperature : array_like, shape (n,)
        Case temperature at the same instants. [degC]
    light_uncertainty : array_like, shape (n,) or ()
        Standard uncertainty of one reading of the light, what is shared by all left out. [as light]
    temperature_uncertainty : array_like, shape (n,) or ()
        Standard uncertainty of one temperature, what is shared by all left out. [K]
    time_s : array_like, shape (n,), optional
        Instants, ascending; evenly spaced if not given. [s]
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    Slope
        Slope in percent for each kelvin with its interval. [%/K]

    Raises
    ------
    ValueError
        If shapes differ, a light is not positive, or an uncertainty is negative or all are zero.
    MethodError
        If there are too few readings, the temperatures hardly differ, or the residuals drift as a whole.

    Notes
    -----
    The uncertainty is the larger of what the stated uncertainties give and what the residuals show, their
    correlation (one warm-up drifts as a whole) included. With fewer than 15 effective readings the interval
    is a little short (90 % at 7). An offset of all temperatures leaves the slope alone; a wrong emissivity
    stretches them and does not. Light and temperature moving together does not show that one causes the
    other.

    References
    ----------
    .. [1] D. York et al., "Unified equations for the slope, intercept, and standard errors of the best
       straight line", Am. J. Phys. 72 (2004) 367-375.
    """
    x, y, ux, uy = _checked_pair(light, temperature, light_uncertainty, temperature_uncertainty)
    span = float(np.ptp(x))
    message = (
        f"temperature must span more than {LEAST_SPAN:g} of its standard uncertainties; got {span:.3g} K"
    )
    must_hold(span > LEAST_SPAN * float(ux.max()), message, code="span_too_small", known={"span": span})
    slope, weight = _york(x, y, ux, uy)
    mean, intercept = (float(np.average(of, weights=weight)) for of in (x, y))
    residual = y - intercept - slope * (x - mean)
    adjusted = mean + weight * ((x - mean) * uy**2 + slope * (y - intercept) * ux**2)
    stated = 1.0 / float(np.sum(weight * (adjusted - np.average(adjusted, weights=weight)) ** 2))
    times = np.arange(x.size, dtype=float) if time_s is None else np.asarray(time_s, dtype=float)
    ascending = times.shape == x.shape and not np.any(np.diff(times) <= 0.0)
    demand(ascending, f"time_s must be {x.size} ascending instants", f"shape {times.shape}")
    root = np.sqrt(weight / weight.mean())
    design = np.column_stack([np.ones(x.size), adjusted - mean]) * root[:, None]
    noise = ResidualModel(times, residual * root, design)
    worth = noise.effective_readings
    message = f"readings must be worth {LEAST_EFFECTIVE:g} independent ones; got {worth:.2g}"
    known = {"percent_per_kelvin": 100.0 * slope}
    must_hold(worth >= LEAST_EFFECTIVE, message, code="correlated_residuals", known=known)
    shown = noise.variance(np.array([0.0, 1.0]))
    variance, dof = (shown, noise.dof) if shown > stated else (stated, np.inf)
    percent = measured(100.0 * slope, Input("line", 100.0 * float(np.sqrt(variance)), dof=dof))
    return Slope(percent.value, percent.u, *percent.interval(coverage), dof, coverage, span)


def shared_time_constants(
    time_s: ArrayLike,
    light: ArrayLike,
    temperature: ArrayLike,
    *,
    margin: float = 0.25,
    coverage: float = COVERAGE,
) -> TimeConstants:
    """Return whether light and case temperature settle with one time constant.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Instants, ascending. [s]
    light, temperature : array_like, shape (n,)
        Light and case temperature at those instants. [any, degC]
    margin : float, default 0.25
        Relative difference that counts as alike, symmetric in ln. [1]
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    TimeConstants
        Both time constants, their ratio with its interval, and a code. [s]

    Raises
    ------
    ValueError
        If the margin is not positive, or an argument does not fit the exponential.
    MethodError
        If a record does not bend within its length: no time constant.

    Notes
    -----
    One exponential each. A fast part of the light with no part in the case (the junction warms within
    seconds) makes the constants differ although the slow part is heat. A shared time constant speaks for
    heat and does not prove it.
    """
    demand(margin > 0.0, "margin must be more than 0", margin)
    times = np.asarray(time_s, dtype=float)
    ln_light = _log_time_constant("light", times, light)
    ln_case = _log_time_constant("temperature", times, temperature)
    difference = ln_light - ln_case
    low, high = difference.interval(coverage)
    alike = max(-low, high) <= np.log1p(margin)
    code = "shared" if alike else "not_resolved" if low <= 0.0 <= high else "different"
    logs = ln_light.value, ln_case.value, difference.value, low, high
    tau_light, tau_case, ratio, low, high = np.exp(logs).tolist()
    return TimeConstants(tau_light, tau_case, ratio, low, high, code)


def to_ambient(
    light: ArrayLike, ambient: ArrayLike, reference_ambient: ArrayLike, *, coefficient: ArrayLike
) -> Any:
    r"""Return the light at a reference ambient temperature.

    .. math:: E_0 = E\, e^{c\,(T_0 - T)}

    Parameters
    ----------
    light : array_like
        Light at the ambient temperature of the reading. [any]
    ambient, reference_ambient : array_like
        Ambient temperature of the reading, and the reference. [degC]
    coefficient : array_like
        Relative change of the light for each kelvin of ambient :math:`c`: -0.0025 for -0.25 %/K. [1/K]

    Returns
    -------
    float, ndarray or Measured
        Light at the reference ambient. [as light]

    Raises
    ------
    ValueError
        If a coefficient is beyond ±0.05 1/K, which is a percentage by mistake, or a value is not finite.

    Notes
    -----
    For a settled lamp and some 15 K. Where foldback may set in between, no coefficient holds.
    """
    wanted = f"within ±{LARGEST_COEFFICIENT} 1/K (a percentage?)"
    per_kelvin = require(
        "coefficient", coefficient, lambda v: np.abs(v) <= LARGEST_COEFFICIENT, wanted, "1/K", missing=False
    )
    factor = np.exp(per_kelvin * _step(ambient, reference_ambient))
    return as_given(finite("light", light) * factor, getattr(light, "unit", ""))


def thermal_resistance(rise: ArrayLike, power: ArrayLike, *, radiant_fraction: ArrayLike) -> Any:
    r"""Return the thermal resistance from the case to the ambient.

    .. math:: R = \Delta T / \bigl(P (1 - \eta)\bigr)

    Parameters
    ----------
    rise : array_like
        Case temperature over ambient, settled. [K]
    power : array_like
        Electrical power at the lamp's input. [W]
    radiant_fraction : array_like
        Part of the power that leaves as light :math:`\eta`, 0 to below 1; some 0.2 to 0.4 for white LEDs. [1]

    Returns
    -------
    float, ndarray or Measured
        Thermal resistance, case to ambient; never that of the junction. [K/W]

    Raises
    ------
    ValueError
        If a rise is negative, a power not positive or a fraction outside 0 to 1.
    """
    rising = not_negative("rise", rise, "K", missing=False)
    watts = positive("power", power, "W", missing=False)
    within = "from 0 to below 1"
    fraction = require(
        "radiant_fraction", radiant_fraction, lambda v: (v >= 0) & (v < 1), within, missing=False
    )
    return as_given(rising / (watts * (1.0 - fraction)), "K/W")


def light_at_ambient(
    remaining: float,
    *,
    ln_standard_uncertainty: float,
    slope: Slope,
    ambient: float,
    other_ambient: float,
    coverage: float = COVERAGE,
) -> ExpectedLight:
    """Return the light expected at hold in another ambient, relative to the initial light on the bench.

    Parameters
    ----------
    remaining : float
        Remaining light at hold on the bench. [1]
    ln_standard_uncertainty : float
        Standard uncertainty of its logarithm. [1]
    slope : Slope
        Light for each kelvin of the case. [%/K]
    ambient, other_ambient : float
        Ambient temperature on the bench, and the other one. [degC]
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    ExpectedLight
        Expected light with its interval, marked as extrapolation. [1]

    Raises
    ------
    ValueError
        If the remaining light is not positive or an ambient not finite.

    Notes
    -----
    The case is taken to rise as far above its ambient as it did on the bench (no fan speed, no foldback
    that depends on temperature), and the slope to hold there. A closed housing is warmer than its
    surroundings.
    """
    positive("remaining", remaining, missing=False)
    step = float(_step(ambient, other_ambient))
    percent = Input("light per kelvin", slope.standard_uncertainty)
    left = measured(float(np.log(remaining)), Input("remaining light", ln_standard_uncertainty))
    ln = left + measured(slope.percent_per_kelvin, percent) * (step / 100.0)
    value, low, high = np.exp((ln.value, *ln.interval(coverage)))
    return ExpectedLight(float(value), float(low), float(high), ln.u, True, abs(step) > slope.span / 2.0)


def _step(ambient: ArrayLike, reference: ArrayLike) -> Floats:
    to = finite("reference ambient", reference, "degC", missing=False)
    return to - finite("ambient", ambient, "degC", missing=False)


def _york(x: Floats, y: Floats, ux: Floats, uy: Floats) -> tuple[float, Floats]:
    """Return slope and weights of the straight line with independent errors in both coordinates."""
    before, slope = np.inf, float(np.polyfit(x, y, 1)[0])
    weight = 1.0 / (uy**2 + slope**2 * ux**2)
    for _ in range(100):
        if abs(slope - before) <= 1e-13 * abs(slope):
            break
        dx, dy = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
        beta = weight * (dx * uy**2 + slope * dy * ux**2)
        before, slope = slope, float(np.sum(weight * beta * dy) / np.sum(weight * beta * dx))
        weight = 1.0 / (uy**2 + slope**2 * ux**2)
    return slope, np.asarray(weight)


def _checked_pair(
    light: ArrayLike, temperature: ArrayLike, light_uncertainty: ArrayLike, temperature_uncertainty: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return temperature, ln light and their standard uncertainties."""
    lit = positive("light", light, missing=False)
    x = finite("temperature", temperature, "degC", missing=False)
    alike, got = lit.ndim == 1 and lit.shape == x.shape, f"shapes {lit.shape} and {x.shape}"
    demand(alike, "light and temperature must be lists of one length", got)
    ul = positive("light_uncertainty", np.broadcast_to(light_uncertainty, lit.shape), missing=False)
    each = np.broadcast_to(temperature_uncertainty, lit.shape)
    ux = not_negative("temperature_uncertainty", each, "K", missing=False)
    message = f"a slope needs {LEAST_READINGS} readings or more; got {lit.size}"
    must_hold(lit.size >= LEAST_READINGS, message, code="too_few_readings", known={"readings": lit.size})
    return x, np.log(lit), np.array(ux), np.array(ul / lit)


def _log_time_constant(name: str, times: Floats, response: ArrayLike) -> Measured:
    """Return ln of the time constant, correlated residuals allowed for."""
    y = np.asarray(response, dtype=float)
    fit = fit_exponentials(times, y, terms=1)
    tau, amplitude = float(fit.time_constants[0]), float(fit.amplitudes[0])
    decay = np.exp(-times / tau)
    design = np.column_stack([np.ones(times.size), decay, amplitude * (times / tau) * decay])
    noise = ResidualModel(times, y - fit.evaluate(times), design)
    u = float(np.sqrt(noise.variance(np.array([0.0, 0.0, 1.0]))))
    message = f"{name} must bend within its record to have a time constant; got none between the bounds"
    known = {"record_s": float(np.ptp(times))}
    must_hold(u < 1.0 and not fit.at_bound, message, code="no_time_constant", known=known)
    return measured(float(np.log(tau)), Input(f"time constant of {name}", u, dof=noise.dof, kind="fit"))
