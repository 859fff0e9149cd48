"""Compare two readings without a folder: the straight answer to "is that within meter error?"."""

import math
from collections.abc import Sequence
from typing import TypeVar

from photolab.bench.inputs.shared_inputs import spread_input
from photolab.bench.results.pairs import ReadingComparison, compare_pair
from photolab.bench.terms import instruments
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.model import PRIOR_DOF, Meter
from photolab.bench.terms.verdicts import ALIKE_PERCENT
from photolab.errors import demand
from photolab.metrology.quantity import COVERAGE, Input, Measured

T = TypeVar("T")

TECHNOLOGIES = ("filament", "led", "discharge", "other")
MOUNTING_SD_PERCENT = 3.0
"""Assumed SD of seating a lamp once, until measured; common practice, no source. [%]"""


def compare(
    a: float,
    b: float,
    meter: Meter | tuple[Meter, Meter],
    *,
    technology: str | tuple[str | None, str | None] | None = None,
    range_lx: float | tuple[float | None, float | None] | None = None,
    mounting_sd_percent: float | None = None,
    mounting_dof: float = math.inf,
    mountings: int = 1,
    specimen_sd_percent: float | None = None,
    coverage: float = COVERAGE,
    alike_percent: float = ALIKE_PERCENT,
) -> ReadingComparison:
    """Compare two readings: how much more light is b than a, and is that within the uncertainty of the bench.

    Parameters
    ----------
    a, b : float
        Readings, dark reading removed. [lx]
    meter : Meter or tuple of Meter
        The meter of both, or that of a and that of b.
    technology : str or tuple of str, optional
        "filament", "led", "discharge" or "other", of both lamps or of a and of b. Without any there is no answer, only
        the ratio.
    range_lx : float or tuple of float, optional
        Top of the range in use, of both readings or of a and of b. Unknown ranges share no range term. [lx]
    mounting_sd_percent : float, optional
        SD of seating a lamp once; 3 % assumed. [%]
    mounting_dof : float, default inf
        Degrees of freedom of that SD, where it was estimated. [1]
    mountings : int, default 1
        How often each lamp was seated; the readings are then means. [1]
    specimen_sd_percent : float, optional
        SD between specimens: given, the answer is for the models, from one specimen each. [%]
    coverage : float, default COVERAGE
        Coverage probability. [1]
    alike_percent : float, default ALIKE_PERCENT
        Margin within which two lamps count as alike. [%]

    Returns
    -------
    ReadingComparison
        Ratio b/a with its interval, lines, verdict; swapping a and b gives exactly the reciprocal.

    Raises
    ------
    ValueError
        If a reading is not positive and finite or lies above its range, `mountings` is less than 1, or a technology is
        not one of the four.
    """
    meters, ranges, technologies = _both(meter), _both(range_lx), _both(technology)
    _check(a, b, ranges, technologies, mountings)
    tops = [
        float((m.ranges_lx[0] if len(m.ranges_lx) == 1 else math.nan) if top is None else top)
        for m, top in zip(meters, ranges, strict=True)
    ]
    several = meters[0].id == meters[1].id and tops[0] != tops[1]  # an unknown range is none other's
    sd = (MOUNTING_SD_PERCENT if mounting_sd_percent is None else mounting_sd_percent) / 100.0
    light = []
    for number, (lux, m, top, kind) in enumerate(zip((a, b), meters, tops, technologies, strict=True)):
        lamp = "AB"[number]
        own = [spread_input("mounting", (lamp,), sd / math.sqrt(mountings), mounting_dof)]
        if specimen_sd_percent is not None:
            own.append(spread_input("specimen", (lamp,), specimen_sd_percent / 100.0, PRIOR_DOF, pool=lamp))
        light.append(_reading(number, lux, m, top, kind, several, own))
    return compare_pair(
        light[1],
        light[0],
        mounting_sd=sd,
        scope="specimens" if specimen_sd_percent is None else "models",
        coverage=coverage,
        alike_percent=alike_percent,
        assumed=_assumed(meters, technologies, mounting_sd_percent),
        missing=() if all(technologies) else ("technology",),
    )


def _reading(
    number: int,
    lux: float,
    meter: Meter,
    top: float,
    technology: str | None,
    several: bool,
    own: Sequence[Input],
) -> Measured:
    """Return ln of a reading with what may be off, each by its name and loading of `shared_inputs`."""
    lamp, kind = "AB"[number], technology or "other"
    place = f"range unknown {number}" if math.isnan(top) else f"{top:g} lx"
    additive = instruments.range_input(meter, top, (place,))
    rounding = instruments.resolution_input(instruments.resolution_lx(meter, top), ("reading", str(number)))
    coloured, stated = float(kind != "filament"), instruments.stated_factor(meter, technology)
    if stated is None:
        colour = instruments.colour_input(meter, kind)
    else:
        colour = Input(("colour", meter.id, kind, "corrected"), stated[1], kind="colour", source="manual")
    loads = {
        instruments.scale_inputs(meter)[0]: instruments.scale_loading(meter, top),
        instruments.gain_input(meter, (place,)): float(several),
        additive: (additive.u > 0.0) / lux,
        instruments.linearity_input(meter, (place, lamp, "")): 1.0,
        rounding: (rounding.u > 0.0) / lux,
        colour: coloured,
        instruments.own_colour_input(meter, lamp, "like"): coloured,
        **dict.fromkeys(own, 1.0),
    }
    ln = math.log(lux) + math.log(meter.certificate.correction if meter.certificate else 1.0)
    ln += math.log(stated[0] if stated else 1.0)
    return Measured(ln, {q: load for q, load in loads.items() if load})


def _both(given: T | tuple[T, T]) -> tuple[T, T]:
    """Return what belongs to a and to b; one serves both."""
    first, second = given if isinstance(given, tuple) else (given, given)
    return first, second


def _check(
    a: float, b: float, ranges: Sequence[float | None], technologies: Sequence[str | None], mountings: int
) -> None:
    for name, value, top, technology in zip("ab", (a, b), ranges, technologies, strict=True):
        full, known = math.nan if top is None else top, ", ".join(TECHNOLOGIES)
        finite = "must be more than 0 and finite"
        demand(0.0 < value < math.inf, f"reading {name} {finite}", f"{value:g} lx")
        demand(top is None or 0.0 < top < math.inf, f"range_lx of {name} {finite}", f"{full:g} lx")
        if value > full:
            beyond = f"{value:g} lx cannot be read on the {full:g} lx range"
            message = f"reading {name} must lie within its range; {beyond}"
            raise ValueError(message)
        spelt = technology in (None, *TECHNOLOGIES)
        demand(spelt, f"technology of {name} must be one of {known}", repr(technology))
    demand(mountings >= 1, "mountings must be 1 or more", mountings)


def _assumed(
    meters: Sequence[Meter], technologies: Sequence[str | None], mounting_sd_percent: float | None
) -> tuple[Assumption, ...]:
    """Return the defaults that enter, most worth measuring first."""
    notes = []
    if mounting_sd_percent is None:
        notes.append(Assumption("seating", MOUNTING_SD_PERCENT, "%", "measure this first"))
    for meter in dict.fromkeys(meters):
        if not meter.states_linearity:
            notes.append(Assumption("linearity", instruments.linearity_percent(meter), "%", ""))
        coloured = [t for t in technologies if t not in (None, "filament")]
        if coloured and "mismatch_index_percent" not in meter.declared:
            notes.append(Assumption("colour f1'", meter.mismatch_index_percent, "%", ""))
    notes.append(Assumption("supply", "not considered", "", ""))
    return tuple(dict.fromkeys(notes))
