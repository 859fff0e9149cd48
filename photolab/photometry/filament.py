r"""A filament lamp against its supply: powers of voltage or current.

The exponents are empirical. They hold within some 10 % of the design voltage of a gas-filled tungsten lamp;
a halogen lamp far below it stops its halogen cycle and leaves the law.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.photometry.arguments import as_given, finite, not_negative, positive

FLUX_EXPONENT = 3.421
"""Luminous flux against voltage: 6.5 / 1.9 of the exponents per current of Arecchi, Messadi and Koshel 2007. [1]"""

FLUX_EXPONENT_UNCERTAINTY = 0.25
"""Standard uncertainty of the flux exponent of one lamp: published lamps scatter from 2.6 to 3.6. [1]"""


def value_at_voltage(
    value: ArrayLike, measured_voltage: ArrayLike, reference_voltage: ArrayLike, *, exponent: ArrayLike
) -> Any:
    r"""Return what a filament lamp's quantity would be at the protocol's voltage.

    .. math:: x_\mathrm{ref} = x \, (U_\mathrm{ref} / U)^n

    Parameters
    ----------
    value : array_like
        The quantity at the measured voltage, such as illuminance. [any unit]
    measured_voltage : array_like
        Voltage at the socket. [V]
    reference_voltage : array_like
        Voltage of the protocol. [V]
    exponent : array_like
        Exponent of the quantity per voltage; of light `FLUX_EXPONENT`, the beam keeping its shape. [1]

    Returns
    -------
    float or ndarray
        The quantity at the reference voltage. [any unit]

    Raises
    ------
    ValueError
        If a voltage is not positive.

    Notes
    -----
    The same law holds per current with the exponents per current. An LED lamp with a regulating driver has
    exponent 0 inside its input range: do not correct it.
    """
    reading = finite("value", value, "(its unit)")
    measured = positive("measured_voltage", measured_voltage, "V")
    reference = positive("reference_voltage", reference_voltage, "V")
    return as_given(reading * (reference / measured) ** finite("exponent", exponent, "(1)"))


def voltage_correction_uncertainty(
    measured_voltage: ArrayLike,
    reference_voltage: ArrayLike,
    *,
    exponent: ArrayLike = FLUX_EXPONENT,
    exponent_uncertainty: ArrayLike = FLUX_EXPONENT_UNCERTAINTY,
    voltage_uncertainty: ArrayLike = 0.0,
) -> Any:
    r"""Return the relative standard uncertainty a voltage correction leaves behind.

    .. math:: u^2 = \left(\ln(U_\mathrm{ref}/U) \, u(n)\right)^2 + \left(n \, u(U)/U\right)^2

    Parameters
    ----------
    measured_voltage : array_like
        Voltage at the socket. [V]
    reference_voltage : array_like
        Voltage of the protocol. [V]
    exponent : array_like, default 3.421
        Exponent of the quantity per voltage. [1]
    exponent_uncertainty : array_like, default 0.25
        Its standard uncertainty. [1]
    voltage_uncertainty : array_like, default 0
        Standard uncertainty of the measured voltage. [V]

    Returns
    -------
    float or ndarray
        Relative standard uncertainty of the corrected value. [1]

    Raises
    ------
    ValueError
        If a voltage is not positive or an uncertainty is negative.
    """
    measured = positive("measured_voltage", measured_voltage, "V")
    reference = positive("reference_voltage", reference_voltage, "V")
    from_exponent = np.log(reference / measured) * not_negative(
        "exponent_uncertainty", exponent_uncertainty, "(1)"
    )
    relative_voltage = not_negative("voltage_uncertainty", voltage_uncertainty, "V") / measured
    return as_given(np.hypot(from_exponent, finite("exponent", exponent, "(1)") * relative_voltage))


def implied_exponent(
    value: ArrayLike, voltage: ArrayLike, other_value: ArrayLike, other_voltage: ArrayLike
) -> Any:
    r"""Return the exponent two points of one lamp imply.

    .. math:: n = \ln(x_2 / x_1) / \ln(U_2 / U_1)

    Parameters
    ----------
    value : array_like
        The quantity at one voltage. [any unit]
    voltage : array_like
        That voltage. [V]
    other_value : array_like
        The quantity at another voltage. [any unit]
    other_voltage : array_like
        That voltage, different from the first. [V]

    Returns
    -------
    float or ndarray
        Exponent per voltage. [1]

    Raises
    ------
    ValueError
        If a value or voltage is not positive, or the voltages are equal.
    """
    first, second = positive("voltage", voltage, "V"), positive("other_voltage", other_voltage, "V")
    if np.any(first == second):
        message = f"other_voltage must differ from voltage; got {np.ravel(second)[0]:g} V for both"
        raise ValueError(message)
    x, y = positive("value", value, "(its unit)"), positive("other_value", other_value, "(its unit)")
    return as_given(np.log(y / x) / np.log(second / first))


def supply_current(power: ArrayLike, voltage: ArrayLike, *, lamps: int = 1) -> Any:
    """Return the current the supply must give, for choosing fuse and leads.

    Parameters
    ----------
    power : array_like
        Power of one lamp at that voltage. [W]
    voltage : array_like
        Voltage. [V]
    lamps : int, default 1
        Lamps on the supply. [1]

    Returns
    -------
    float or ndarray
        Current, without inrush: a cold filament draws several times as much for some tens of milliseconds.
        [A]

    Raises
    ------
    ValueError
        If a power is negative, a voltage is not positive or there is no lamp.
    """
    count = positive("lamps", lamps, "lamps")
    return as_given(count * not_negative("power", power, "W") / positive("voltage", voltage, "V"))
