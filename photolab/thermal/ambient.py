"""Light and heat at another ambient temperature than that of the bench."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from photolab.metrology.quantity import COVERAGE

Array = NDArray[np.float64]

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
    residual_correlation : float
        Correlation of neighbouring residuals. [1]
    effective_readings : float
        As many independent readings would carry as much. [1]
    mean_temperature, span : float
        Weighted mean and range of the temperatures. [degC, K]
    """

    percent_per_kelvin: float
    standard_uncertainty: float
    low: float
    high: float
    dof: float
    coverage: float
    residual_correlation: float
    effective_readings: float
    mean_temperature: float
    span: float


@dataclass(frozen=True)
class ExpectedLight:
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


def to_ambient(
    light: ArrayLike, ambient: ArrayLike, reference_ambient: ArrayLike, *, coefficient: ArrayLike
) -> Array:
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
    ndarray
        Light at the reference ambient. [as light]

    Raises
    ------
    ValueError
        If a coefficient is beyond ±0.05 1/K, which is a percentage by mistake, or a value is not finite.

    Notes
    -----
    For a settled lamp and some 15 K. Where foldback may set in between, no coefficient holds.
    """
    factor = np.exp(_coefficient(coefficient) * _step(ambient, reference_ambient))
    return np.asarray(np.asarray(light, dtype=float) * factor)[()]


def to_ambient_uncertainty(
    ambient: ArrayLike,
    reference_ambient: ArrayLike,
    *,
    coefficient: ArrayLike,
    coefficient_uncertainty: ArrayLike,
    ambient_uncertainty: ArrayLike = 0.0,
) -> Array:
    r"""Return the standard uncertainty that the correction to a reference ambient brings.

    .. math:: u(\ln E_0)^2 = (T_0 - T)^2 u(c)^2 + c^2 u(T)^2

    Parameters
    ----------
    ambient, reference_ambient : array_like
        Ambient temperature of the reading, and the reference. [degC]
    coefficient, coefficient_uncertainty : array_like
        Relative change of the light for each kelvin, and its standard uncertainty. [1/K]
    ambient_uncertainty : array_like, default 0
        Standard uncertainty of the ambient temperature. [K]

    Returns
    -------
    ndarray
        Relative standard uncertainty of the corrected light from the correction alone. [1]

    Raises
    ------
    ValueError
        As in `to_ambient`.
    """
    step, c = _step(ambient, reference_ambient), _coefficient(coefficient)
    own = np.asarray(coefficient_uncertainty, dtype=float)
    return np.asarray(np.hypot(step * own, c * np.asarray(ambient_uncertainty, dtype=float)))[()]


def thermal_resistance(rise: ArrayLike, power: ArrayLike, *, radiant_fraction: ArrayLike) -> Array:
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
    ndarray
        Thermal resistance, case to ambient; never that of the junction. [K/W]

    Raises
    ------
    ValueError
        If a rise is negative, a power not positive or a fraction outside 0 to 1.
    """
    rising, watts = np.asarray(rise, dtype=float), np.asarray(power, dtype=float)
    fraction = np.asarray(radiant_fraction, dtype=float)
    for name, values, good, wanted in (
        ("rise", rising, np.isfinite(rising) & (rising >= 0.0), "zero or more"),
        ("power", watts, np.isfinite(watts) & (watts > 0.0), "more than 0"),
        ("radiant_fraction", fraction, (fraction >= 0.0) & (fraction < 1.0), "from 0 to below 1"),
    ):
        if not np.all(good):
            message = (
                f"{name} must be {wanted}; got {np.atleast_1d(values)[np.argmin(np.atleast_1d(good))]:g}"
            )
            raise ValueError(message)
    return np.asarray(rising / (watts * (1.0 - fraction)))[()]


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
    if not (np.isfinite(remaining) and remaining > 0.0):
        message = f"remaining must be more than 0; got {remaining}"
        raise ValueError(message)
    step = float(_step(ambient, other_ambient))
    u = float(np.hypot(ln_standard_uncertainty, step * slope.standard_uncertainty / 100.0))
    middle = np.log(remaining) + slope.percent_per_kelvin / 100.0 * step
    half = float(stats.norm.isf((1.0 - coverage) / 2.0)) * u
    value, low, high = np.exp(middle + half * np.array([0.0, -1.0, 1.0]))
    return ExpectedLight(float(value), float(low), float(high), u, True, abs(step) > slope.span / 2.0)


def _coefficient(coefficient: ArrayLike) -> Array:
    value = np.asarray(coefficient, dtype=float)
    if not np.all(np.abs(value) <= LARGEST_COEFFICIENT):
        worst = np.atleast_1d(value)[np.argmin(np.atleast_1d(np.abs(value) <= LARGEST_COEFFICIENT))]
        message = f"coefficient must be within ±{LARGEST_COEFFICIENT} 1/K; got {worst:g} 1/K (a percentage?)"
        raise ValueError(message)
    return value


def _step(ambient: ArrayLike, reference: ArrayLike) -> Array:
    step = np.asarray(reference, dtype=float) - np.asarray(ambient, dtype=float)
    if not np.all(np.isfinite(step)):
        message = f"ambient and its reference must be finite; got a difference of {np.atleast_1d(step)[0]} K"
        raise ValueError(message)
    return np.asarray(step)
