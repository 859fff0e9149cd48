r"""What a lamp does with its supply: the light of a filament against voltage, and a claimed flux against the watts.

The exponents of a filament are empirical. They hold within some 10 % of the design voltage of a gas-filled
tungsten lamp; a halogen lamp far below it stops its halogen cycle and leaves the law.

The comparison of a claim needs no photometer: it divides a claim by a wattmeter reading. It can show that a claim
cannot be true; it cannot show that one is.
"""

from typing import Any, NamedTuple

from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import as_given, finite, not_negative, positive

FLUX_EXPONENT = 3.421
"""Luminous flux against voltage: 6.5 / 1.9 of the exponents per current of Arecchi, Messadi and Koshel 2007. [1]"""


FLUX_EXPONENT_UNCERTAINTY = 0.25
"""Standard uncertainty of the flux exponent of one lamp: published lamps scatter from 2.6 to 3.6. [1]"""


WHITE_LIGHT_LIMIT = 370.0
"""Largest luminous efficacy of white light of useful colour, no losses: T. W. Murphy 2012. [lm/W]"""


DEVICE_LIMIT = 199.0
"""Phosphor-converted LED packages, inherent package losses included, driver not: US DOE 2012. [lm/W]"""


_LAMPS = {"lamp": 1.0, "pair": 2.0}


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
    corrected = reading * (reference / measured) ** finite("exponent", exponent, "(1)")
    return as_given(corrected, getattr(value, "unit", ""))


class Claim(NamedTuple):
    """A claimed flux judged by the power drawn.

    Attributes
    ----------
    implied_efficacy : float
        Claimed flux over measured power, both for one lamp. [lm/W]
    implied_low, implied_high : float
        The same with the power two standard uncertainties higher and lower. [lm/W]
    limit : float
        Largest luminous efficacy of white light of useful colour. [lm/W]
    device_limit : float
        What current LED packages can give. [lm/W]
    flux_at_limit : float
        Flux that light at the limit would carry with this power and no losses. [lm]
    code : str
        ``beyond_white_light``, ``above_current_devices`` or ``plausible`` (not verified).
    """

    implied_efficacy: float
    implied_low: float
    implied_high: float
    limit: float
    device_limit: float
    flux_at_limit: float
    code: str


def claim_against_power(
    claimed_flux: float,
    power: float,
    *,
    power_uncertainty: float = 0.0,
    claimed_per: str = "lamp",
    power_per: str = "lamp",
    limit: float = WHITE_LIGHT_LIMIT,
    device_limit: float = DEVICE_LIMIT,
) -> Claim:
    r"""Return what luminous efficacy a claim implies, and whether white light can have it.

    .. math:: \eta = \Phi_\mathrm{claimed} / P

    Parameters
    ----------
    claimed_flux : float
        Luminous flux on the box. [lm]
    power : float
        Measured electrical power at the lamp's input, at hold. [W]
    power_uncertainty : float, default 0
        Standard uncertainty of the power. [W]
    claimed_per, power_per : str, default "lamp"
        ``lamp`` or ``pair``: what the claim and the power are for.
    limit : float, default 370
        Largest luminous efficacy of the light. [lm/W]
    device_limit : float, default 199
        Largest luminous efficacy of current devices. [lm/W]

    Returns
    -------
    Claim
        Implied luminous efficacy, limits and a code.

    Raises
    ------
    ValueError
        If flux or power is not positive, an uncertainty is negative, or `claimed_per` or `power_per` is
        neither lamp nor pair.

    Notes
    -----
    The code is given by the low end of the implied luminous efficacy, so that a doubtful wattmeter accuses
    nobody. The light of a filament carries 14-29 lm/W of its power. Two spectral lines of a
    daylight colour could carry some 420 lm/W and would render no colours.
    """
    flux = float(positive("claimed_flux", claimed_flux, "lm")) / _lamps("claimed_per", claimed_per)
    lamps = _lamps("power_per", power_per)
    watts = float(positive("power", power, "W")) / lamps
    doubt = float(not_negative("power_uncertainty", power_uncertainty, "W")) / lamps
    low = flux / (watts + 2.0 * doubt)
    high = flux / (watts - 2.0 * doubt) if watts > 2.0 * doubt else float("inf")
    reached = {"beyond_white_light": limit, "above_current_devices": device_limit}
    code = next((code for code, most in reached.items() if low > most), "plausible")
    return Claim(flux / watts, low, high, limit, device_limit, limit * watts, code)


def _lamps(name: str, per: str) -> float:
    demand(per in _LAMPS, f"{name} must be lamp or pair, so that claim and power match", repr(per))
    return _LAMPS[per]
