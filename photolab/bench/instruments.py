"""From a meter's specification or certificate to input quantities.

Every input here is a deviation whose best estimate is zero: a relative one (unit "1", loads on a ln reading with
sensitivity 1) or an additive one in lux (loads with 1/reading). Two readings share an input when they share its key,
and only then; so a common scale error cancels from their ratio while an autorange step does not (the range trap).
"""

import math

from photolab.bench.model import Meter
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.quantity import Input

RANGE_GAIN_NAME = "step between two ranges"
RANGE_GAIN_PERCENT = 1.0
"""Assumed limit of the gain between two ranges of one meter, common practice, no source. [%]"""
OWN_COLOUR_SHARE = {"like": 0.2, "unlike": 0.5, "far": 1.0}
"""Share of f1' that a pair of lamps of one technology carries, by how far their colour temperatures lie apart.

Computed on published LED illuminants (LED-B5 against B4, B3, B2): 0.20, 0.44 and 0.70 of f1'; rounded up."""


def as_input(quantity: InputQuantity, kind: str, *, source: str = "manual") -> Input:
    """Return an input of the joint evaluation as one that measured quantities share.

    Parameters
    ----------
    quantity : InputQuantity
        Its name is its identity.
    kind, source : str
        Line of the budget, and where the uncertainty comes from.

    Returns
    -------
    Input
        The same.
    """
    return Input(
        quantity.name,
        quantity.standard_uncertainty,
        dof=quantity.dof,
        law=quantity.distribution,
        kind=kind,
        source=source,
        variance=quantity.variance_from,
    )


def kind_of(quantity: InputQuantity) -> str:
    """Return the kind of an input of the joint evaluation.

    Parameters
    ----------
    quantity : InputQuantity
        An input whose name is a tuple: kind, then identity.

    Returns
    -------
    str
        Its kind.
    """
    return str(quantity.name[0]) if isinstance(quantity.name, tuple) else str(quantity.name)


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
    if not values:
        return 0.0
    if len(values) == 1:
        return float(values[0])
    if range_lx in meter.ranges_lx:
        return float(values[meter.ranges_lx.index(range_lx)])
    return float(max(values))


def _limit(
    meter: Meter, name: tuple[str, ...], half_width: float, unit: str, shared_by: str
) -> InputQuantity:
    """Return a Type B input from a specification figure read as the meter's manual means it."""
    shared_with = " ".join(name[1:])
    if meter.limit_kind == "limit":
        return InputQuantity.from_limits(
            name, 0.0, half_width, unit=unit, shared_by=shared_by, shared_with=shared_with
        )
    factor = 2.0 if meter.limit_kind == "expanded_k2" else 1.0
    return InputQuantity(
        name, 0.0, half_width / factor, unit=unit, shared_by=shared_by, shared_with=shared_with
    )


def scale_inputs(meter: Meter, *, years_since_certificate: float = 0.0) -> list[InputQuantity]:
    """Return the scale error that every reading of a meter shares.

    Parameters
    ----------
    meter : Meter
        The meter; a certificate replaces the percent of reading.
    years_since_certificate : float, default 0
        Age of the certificate when the readings were taken. [a]

    Returns
    -------
    list of InputQuantity
        The scale error and, with a certificate, its drift. [1]
    """
    if meter.certificate is None:
        half_width = max(meter.reading_percent) / 100.0
        return [_limit(meter, ("scale", meter.id), half_width, "1", "meter")]
    certificate = meter.certificate
    scale = InputQuantity.from_certificate(
        ("scale", meter.id),
        0.0,
        certificate.expanded_uncertainty_percent / 100.0,
        coverage_factor=certificate.coverage_factor,
        shared_by="meter",
        shared_with=meter.id,
    )
    drift = meter.drift_percent_per_year / 100.0 * max(years_since_certificate, 0.0)
    if drift == 0.0:
        return [scale]
    name = ("scale drift", meter.id)
    return [scale, InputQuantity.from_limits(name, 0.0, drift, shared_by="meter", shared_with=meter.id)]


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


def range_input(meter: Meter, range_lx: float, key: tuple[str, ...]) -> InputQuantity:
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
    InputQuantity
        Deviation of every reading on that range. [lx]
    """
    half_width = range_half_width(meter, range_lx)
    half_width = 0.0 if math.isnan(half_width) else half_width
    return _limit(meter, ("range term", meter.id, *key), half_width, "lx", "meter and range")


def gain_input(meter: Meter, key: tuple[str, ...]) -> InputQuantity:
    """Return the gain error of a range against the meter's other ranges.

    Parameters
    ----------
    meter : Meter
        The meter.
    key : tuple of str
        Identity of the range.

    Returns
    -------
    InputQuantity
        Relative deviation, assumed. [1]
    """
    shared_with = " ".join((meter.id, *key))
    return InputQuantity.from_limits(
        ("range gain", meter.id, *key),
        0.0,
        RANGE_GAIN_PERCENT / 100.0,
        shared_by="meter and range",
        shared_with=shared_with,
    )


def linearity_percent(meter: Meter) -> float:
    """Return the limit of the linearity deviation.

    Parameters
    ----------
    meter : Meter
        The meter.

    Returns
    -------
    float
        Declared, else the smaller of 1 % and a third of the smallest percent of reading. [%]
    """
    if "linearity_percent" in meter.declared:
        return float(meter.linearity_percent)
    return min(1.0, min(meter.reading_percent) / 3.0)


def linearity_input(meter: Meter, key: tuple[str, ...]) -> InputQuantity:
    """Return the linearity deviation at one lamp's level.

    Parameters
    ----------
    meter : Meter
        The meter.
    key : tuple of str
        Range, lamp and housing.

    Returns
    -------
    InputQuantity
        Relative deviation. [1]
    """
    return InputQuantity.from_limits(
        ("linearity", meter.id, *key),
        0.0,
        linearity_percent(meter) / 100.0,
        shared_by="lamp and housing",
        shared_with=" ".join(key[1:]),
    )


def resolution_input(step_lx: float, key: tuple[str, ...]) -> InputQuantity:
    """Return the rounding of one displayed reading.

    Parameters
    ----------
    step_lx : float
        Display step. [lx]
    key : tuple of str
        Identity of the reading, or of the mounting whose readings all show one figure.

    Returns
    -------
    InputQuantity
        Deviation. [lx]
    """
    name = ("resolution", *key)
    return InputQuantity.from_limits(name, 0.0, step_lx / 2.0, unit="lx", shared_by="reading")


def colour_input(meter: Meter, technology: str) -> InputQuantity:
    """Return the spectral mismatch that lamps of one technology share on a meter.

    Parameters
    ----------
    meter : Meter
        The meter, with its spectral mismatch index f1'.
    technology : str
        Technology of the lamps; a filament lamp is what the meter was calibrated with.

    Returns
    -------
    InputQuantity
        Relative deviation of readings, rectangular within ± f1'. [1]
    """
    half_width = 0.0 if technology == "filament" else meter.mismatch_index_percent / 100.0
    return InputQuantity.from_limits(
        ("colour", meter.id, technology),
        0.0,
        half_width,
        shared_by="meter and technology",
        shared_with=f"{meter.id} {technology}",
    )


def own_colour_input(meter: Meter, lamp: str, likeness: str) -> InputQuantity:
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
    InputQuantity
        Relative deviation; two such lamps together carry the share of `OWN_COLOUR_SHARE`. [1]

    Notes
    -----
    A like pair carries f1'/5, so each lamp f1'/(5 sqrt 2). An unlike lamp makes up the rest of the pair's share against
    a like one.
    """
    like = OWN_COLOUR_SHARE["like"] ** 2 / 2.0
    share = math.sqrt(like if likeness == "like" else OWN_COLOUR_SHARE[likeness] ** 2 - like)
    return InputQuantity.from_limits(
        ("own colour", meter.id, lamp),
        0.0,
        share * meter.mismatch_index_percent / 100.0,
        shared_by="meter and lamp",
        shared_with=f"{meter.id} {lamp}",
    )


def meter_temperature_input(meter: Meter, day: str) -> InputQuantity:
    """Return the temperature coefficient of a meter on one day.

    Parameters
    ----------
    meter : Meter
        The meter.
    day : str
        The day.

    Returns
    -------
    InputQuantity
        Relative deviation a kelvin. [1/K]
    """
    return InputQuantity.from_limits(
        ("meter temperature", meter.id, day),
        0.0,
        meter.temperature_percent_per_K / 100.0,
        unit="1/K",
        shared_by="meter and day",
        shared_with=f"{meter.id} {day}",
    )
