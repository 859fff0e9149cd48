"""From a meter's specification or certificate to inputs.

Every input here is a deviation whose best estimate is zero: a relative one (loads on a ln reading with
sensitivity 1) or an additive one in lux (loads with 1/reading). Two readings share an input when they share its name,
and only then; so a common scale error cancels from their ratio while an autorange step does not (the range trap).
"""

import math

from photolab.bench.terms.model import Meter, default_linearity
from photolab.metrology.quantity import Input, from_certificate, limits

RANGE_GAIN_NAME = "step between two ranges"
RANGE_GAIN_PERCENT = 1.0
"""Assumed limit of the gain between two ranges of one meter, common practice, no source. [%]"""
OWN_COLOUR_SHARE = {"like": 0.2, "unlike": 0.5, "far": 1.0}
"""Share of f1' that a pair of lamps of one technology carries, by how far their colour temperatures lie apart.

Computed on published LED illuminants (LED-B5 against B4, B3, B2): 0.20, 0.44 and 0.70 of f1'; rounded up."""


def per_range(values: tuple[float, ...], meter: Meter, range_lx: float) -> float:
    """Return the entry of a specification list that holds on a range.

    Parameters
    ----------
    values : tuple of float
        One number, or one for each range of the meter. [as given]
    meter : Meter
        The meter whose ranges order the list.
    range_lx : float
        Top of the range in use; NaN where unknown. [lx]

    Returns
    -------
    float
        The entry; the largest one where the range is unknown, 0 for an empty list. [as values]
    """
    if len(values) > 1 and range_lx in meter.ranges_lx:
        return float(values[meter.ranges_lx.index(range_lx)])
    return float(max(values, default=0.0))


def _limit(
    name: tuple[str, ...], half_width: float, *, source: str = "manual", limit_kind: str = "limit"
) -> Input:
    """Return a Type B input whose name begins with its kind, its figure read as the meter's manual means it."""
    if limit_kind == "limit":
        return limits(name, half_width, kind=name[0], source=source)
    factor = 2.0 if limit_kind == "expanded_k2" else 1.0
    return Input(name, half_width / factor, kind=name[0], source=source)


def scale_inputs(meter: Meter, *, years_since_certificate: float = 0.0) -> list[Input]:
    """Return the scale error that every reading of a meter shares.

    Parameters
    ----------
    meter : Meter
        The meter; a certificate replaces the percent of reading.
    years_since_certificate : float, default 0
        Age of the certificate when the readings were taken. [a]

    Returns
    -------
    list of Input
        The scale error and, with a certificate, its drift. [1]
    """
    if meter.certificate is None:
        largest = max(meter.reading_percent) / 100.0
        return [_limit(("scale", meter.id), largest, limit_kind=meter.limit_kind)]
    certificate = meter.certificate
    expanded = certificate.expanded_uncertainty_percent / 100.0
    scale = from_certificate(("scale", meter.id), expanded, k=certificate.coverage_factor, kind="scale")
    drift = meter.drift_percent_per_year / 100.0 * max(years_since_certificate, 0.0)
    if drift == 0.0:
        return [scale]
    return [scale, limits(("scale drift", meter.id), drift, kind="scale", source="assumed")]


def scale_loading(meter: Meter, range_lx: float) -> float:
    """Return how strongly the scale error acts on a range, relative to the largest percent of reading.

    Parameters
    ----------
    meter : Meter
        The meter.
    range_lx : float
        Top of the range in use. [lx]

    Returns
    -------
    float
        1 with a certificate or one figure for all ranges. [1]
    """
    if meter.certificate is not None:
        return 1.0
    largest = max(meter.reading_percent)
    return per_range(meter.reading_percent, meter, range_lx) / largest if largest else 1.0


def range_half_width(meter: Meter, range_lx: float) -> float:
    """Return the limit of the additive term of a range: percent of range plus digits.

    Parameters
    ----------
    meter : Meter
        The meter.
    range_lx : float
        Top of the range in use; NaN where unknown. [lx]

    Returns
    -------
    float
        Half-width; NaN where the range is unknown and the term depends on it. [lx]
    """
    digits = per_range(meter.digits, meter, range_lx)
    percent = per_range(meter.range_percent, meter, range_lx)
    counts = digits * resolution_lx(meter, range_lx) if digits else 0.0
    return (percent / 100.0 * range_lx if percent else 0.0) + counts


def resolution_lx(meter: Meter, range_lx: float) -> float:
    """Return the last figure that can change on a range.

    Parameters
    ----------
    meter : Meter
        The meter.
    range_lx : float
        Top of the range in use; NaN where unknown. [lx]

    Returns
    -------
    float
        Display step; 0 where the meter declares none. [lx]
    """
    return per_range(meter.resolution_lx, meter, range_lx)


def range_input(meter: Meter, range_lx: float, key: tuple[str, ...]) -> Input:
    """Return the additive range term, one for each key.

    Parameters
    ----------
    meter : Meter
        The meter.
    range_lx : float
        Top of the range in use. [lx]
    key : tuple of str
        Identity: the range where it is known, else the reading, so that an unknown range is never shared.

    Returns
    -------
    Input
        Deviation of every reading on that range. [lx]
    """
    half_width = range_half_width(meter, range_lx)
    known = 0.0 if math.isnan(half_width) else half_width
    return _limit(("range term", meter.id, *key), known, limit_kind=meter.limit_kind)


def gain_input(meter: Meter, key: tuple[str, ...]) -> Input:
    """Return the gain error of a range against the meter's other ranges.

    Parameters
    ----------
    meter : Meter
        The meter.
    key : tuple of str
        Identity of the range.

    Returns
    -------
    Input
        Relative deviation, assumed. [1]
    """
    return _limit(("range gain", meter.id, *key), RANGE_GAIN_PERCENT / 100.0, source="assumed")


def linearity_percent(meter: Meter) -> float:
    """Return the limit of the linearity deviation.

    Parameters
    ----------
    meter : Meter
        The meter.

    Returns
    -------
    float
        Stated, else the smaller of 1 % and a third of the smallest percent of reading. [%]
    """
    stated = meter.linearity_percent
    return default_linearity(meter.reading_percent) if stated is None else stated


def linearity_input(meter: Meter, key: tuple[str, ...]) -> Input:
    """Return the linearity deviation at one lamp's level.

    Parameters
    ----------
    meter : Meter
        The meter.
    key : tuple of str
        Range, lamp and housing.

    Returns
    -------
    Input
        Relative deviation. [1]
    """
    return _limit(("linearity", meter.id, *key), linearity_percent(meter) / 100.0)


def resolution_input(step_lx: float, key: tuple[str, ...]) -> Input:
    """Return the rounding of one displayed reading.

    Parameters
    ----------
    step_lx : float
        Display step. [lx]
    key : tuple of str
        Identity of the reading, or of the mounting whose readings all show one figure.

    Returns
    -------
    Input
        Deviation. [lx]
    """
    return _limit(("resolution", *key), step_lx / 2.0)


def colour_input(meter: Meter, technology: str) -> Input:
    """Return the spectral mismatch that lamps of one technology share on a meter.

    Parameters
    ----------
    meter : Meter
        The meter, with its spectral mismatch index f1'.
    technology : str
        Technology of the lamps; a filament lamp is what the meter was calibrated with.

    Returns
    -------
    Input
        Relative deviation of readings, rectangular within ± f1'. [1]
    """
    half_width = 0.0 if technology == "filament" else meter.mismatch_index_percent / 100.0
    return _limit(("colour", meter.id, technology), half_width)


def own_colour_input(meter: Meter, lamp: str, likeness: str) -> Input:
    """Return the part of the spectral mismatch that one lamp has for itself.

    Parameters
    ----------
    meter : Meter
        The meter.
    lamp : str
        The lamp.
    likeness : {"like", "unlike", "far"}
        How far its colour temperature lies from the others of its technology.

    Returns
    -------
    Input
        Relative deviation; two such lamps together carry the share of `OWN_COLOUR_SHARE`. [1]

    Notes
    -----
    A like pair carries f1'/5, so each lamp f1'/(5 sqrt 2). An unlike lamp makes up the rest of the pair's share against
    a like one.
    """
    like = OWN_COLOUR_SHARE["like"] ** 2 / 2.0
    share = math.sqrt(like if likeness == "like" else OWN_COLOUR_SHARE[likeness] ** 2 - like)
    return _limit(("own colour", meter.id, lamp), share * meter.mismatch_index_percent / 100.0)


def stated_factor(meter: Meter, technology: str | None) -> tuple[float, float] | None:
    """Return the spectral factor that is stated for a technology.

    Parameters
    ----------
    meter : Meter
        The meter.
    technology : str or None
        Technology of the lamps.

    Returns
    -------
    tuple of float or None
        Factor (true over displayed reading) and its relative standard uncertainty; None where none is stated. [1]
    """
    for stated in meter.spectral_factors:
        if stated.technology == technology:
            return stated.factor, stated.expanded_uncertainty / stated.coverage_factor / stated.factor
    return None


def corrected_colour_input(meter: Meter, technology: str, u: float) -> Input:
    """Return what is left of the colour of a technology once it was corrected, with this uncertainty. [1]."""
    return Input(("colour", meter.id, technology, f"corrected {u:.15g}"), u, kind="colour")


def meter_temperature_input(meter: Meter, day: str) -> Input:
    """Return the temperature coefficient of a meter on one day.

    Parameters
    ----------
    meter : Meter
        The meter.
    day : str
        The day.

    Returns
    -------
    Input
        Relative deviation a kelvin. [1/K]
    """
    return _limit(
        ("meter temperature", meter.id, day), meter.temperature_percent_per_K / 100.0, source="assumed"
    )
