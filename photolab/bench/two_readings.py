"""Compare two readings without a folder: the straight answer to "is that within meter error?"."""

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from photolab.bench import instruments
from photolab.bench.assumptions import Assumption
from photolab.bench.columns import Columns
from photolab.bench.model import PRIOR_DOF, Meter
from photolab.bench.pairs import ReadingComparison, compare_pair
from photolab.bench.shared_inputs import Loadings, add_meter, spread_input
from photolab.bench.verdicts import ALIKE_PERCENT
from photolab.errors import demand
from photolab.metrology.quantity import COVERAGE

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
    factors = [instruments.stated_factor(m, t) for m, t in zip(meters, technologies, strict=True)]
    tops = [
        float((m.ranges_lx[0] if len(m.ranges_lx) == 1 else math.nan) if top is None else top)
        for m, top in zip(meters, ranges, strict=True)
    ]
    several = meters[0].id == meters[1].id and tops[0] != tops[1]  # an unknown range is none other's
    alike = {
        "housing": "", "link_u": 0.0, "link_dof": math.inf, "several": several, "n": 1, "one_figure": False,
        "own_spectrum": False, "likeness": "like",
    }  # fmt: skip
    own = {
        "lamp": ["A", "B"],
        "number": [0, 1],
        "meter": [m.id for m in meters],
        "onto": [m.id for m in meters],
        "range_lx": tops,
        "inverse": [1.0 / a, 1.0 / b],
        "technology": [t or "other" for t in technologies],
        "spectral_u": [stated[1] if stated else math.nan for stated in factors],
    }
    loads = Loadings(Columns({column: np.array(cells) for column, cells in own.items()}))
    for column, cell in alike.items():
        loads.seats[column] = np.full(2, cell)
    add_meter(loads, {m.id: m for m in meters})
    sd = (MOUNTING_SD_PERCENT if mounting_sd_percent is None else mounting_sd_percent) / 100.0
    loads.add(("lamp",), 1.0, [spread_input("mounting", (), sd / math.sqrt(mountings), mounting_dof)])
    if specimen_sd_percent is not None:
        piece = (specimen_sd_percent / 100.0, PRIOR_DOF)
        inputs = [spread_input("specimen", (), *piece, pool=lamp) for lamp in "AB"]
        loads.add(("lamp",), 1.0, inputs, np.arange(2))
    logs = [
        math.log(x)
        + math.log(m.certificate.correction if m.certificate else 1.0)
        + math.log(stated[0] if stated else 1.0)
        for x, m, stated in zip((a, b), meters, factors, strict=True)
    ]
    joint = loads.joint("ab", np.array(logs))
    return compare_pair(
        joint["b"],
        joint["a"],
        mounting_sd=sd,
        scope="specimens" if specimen_sd_percent is None else "models",
        coverage=coverage,
        alike_percent=alike_percent,
        assumed=_assumed(meters, technologies, mounting_sd_percent),
        missing=() if all(technologies) else ("technology",),
    )


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
