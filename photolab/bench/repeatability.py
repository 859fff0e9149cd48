"""How repeatable the bench is: the spread of each level of the campaign's own corrected readings.

All in ln, so 0.02 is 2 %. A level counts once: a specimen that was read in two housings is one specimen, a
day of a housing is one day however many lamps shared it; their degrees of freedom say so.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench import corrections as steps
from photolab.bench.campaign import Campaign
from photolab.errors import MethodError
from photolab.metrology.components import component_limits, nested_components
from photolab.metrology.precision import pooled_sd
from photolab.metrology.quantity import COVERAGE

LEVELS = ("specimen", "day", "mounting")
SEAT = ["lamp", "specimen", "housing", "day", "mounting"]


@dataclass(frozen=True, eq=False)
class Levels:
    """What varies on a bench, level by level.

    Attributes
    ----------
    table : DataFrame
        level, variance, sd, low, high (they bound the sd), dof, part (of the variance), outermost first. [1]
    coverage : float
        Of the intervals. [1]
    counts : mapping of str to int
        How many lamps, housings, days and mountings (seatings) stand behind it, and readings.
    """

    table: pd.DataFrame
    coverage: float
    counts: dict[str, int]


def initial_readings(campaign: Campaign) -> pd.DataFrame:
    """Return the campaign's corrected readings of the hot spot at the initial time.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        Rows with identity and ln_value. [ln lx]
    """
    readings = steps.apply(campaign.selection.readings, campaign.bench, campaign.enabled).readings
    kept = (readings["instant"] == "initial") & (readings["point"] == "hot_spot")
    return readings[kept].reset_index(drop=True)


def level_spreads(
    readings: pd.DataFrame,
    *,
    levels: Sequence[str] = LEVELS,
    fixed: Sequence[str] = ("lamp", "housing"),
    coverage: float = COVERAGE,
) -> Levels:
    """Return how far readings spread from level to level, from the outermost one that repeats.

    Parameters
    ----------
    readings : DataFrame
        One row a reading: ln_value [ln lx], and the columns of identity.
    levels : sequence of str
        Columns of the levels, outermost first.
    fixed : sequence of str
        Columns that were chosen and not drawn: their means are removed first.
    coverage : float, default COVERAGE
        Of the intervals. [1]

    Returns
    -------
    Levels
        One row a level.

    Raises
    ------
    MethodError
        If nothing was repeated (code ``no_repeats``), or every repeat shows one figure (``all_equal``).
    """
    columns, inner = list(fixed), _repeating(readings, list(fixed), levels)
    found = (
        _nested(readings, columns, inner, coverage) if inner else _readings_only(readings, columns, coverage)
    )
    counts = {one: readings[one].nunique() for one in ("lamp", "housing", "day")}
    counts |= {"mounting": len(readings[SEAT].drop_duplicates()), "reading": len(readings)}
    return Levels(found, coverage, counts)


def _nested(readings: pd.DataFrame, fixed: list[str], levels: list[str], coverage: float) -> pd.DataFrame:
    """Return the components of levels that repeat."""
    found = nested_components(readings, "ln_value", levels, fixed=fixed, coverage=coverage)
    if not found.variances.any():
        message = "every repeat shows the same figure: the display is coarser than what varies"
        raise MethodError(message, code="all_equal", known={"readings": len(readings)})
    dof = np.minimum(found.dof, [_distinct(readings, level) for level in found.levels])
    low, high = component_limits(replace(found.squares, dof=dof), coverage=coverage)
    return found.table.assign(
        low=np.minimum(low, found.sds),
        high=np.maximum(high, found.sds),
        dof=dof,
        part=found.variances / found.variances.sum(),
    )


def _repeating(readings: pd.DataFrame, fixed: list[str], levels: Sequence[str]) -> list[str]:
    """Return the levels from the outermost one that repeats in some cell."""
    cells = readings.groupby(fixed, sort=False, dropna=False).ngroups
    for place in range(len(levels)):
        path = [*fixed, *levels[: place + 1]]
        if readings.groupby(path, sort=False, dropna=False).ngroups > cells:
            return list(levels[place:])
    return []


def _distinct(readings: pd.DataFrame, level: str) -> float:
    """Return the degrees of freedom of a level, what is shared counted once; infinite where nothing is."""
    owner = {"specimen": "lamp", "day": "housing"}.get(level)
    if owner is None:
        return math.inf
    each = readings[[owner, level]].drop_duplicates()
    return max(1.0, float(len(each) - each[owner].nunique()))


def _readings_only(readings: pd.DataFrame, fixed: list[str], coverage: float) -> pd.DataFrame:
    """Return the spread of repeated readings where nothing else repeats."""
    groups = readings.groupby(fixed, sort=False, dropna=False)["ln_value"]
    repeats = {str(key): values.to_numpy(float) for key, values in groups}
    if not any(len(values) > 1 for values in repeats.values()):
        message = f"nothing was repeated: {len(readings)} readings of {len(repeats)} lamps in their housings"
        raise MethodError(message, code="no_repeats", known={"readings": len(readings)})
    sd, dof = pooled_sd(repeats)
    tail = (1.0 - coverage) / 2.0
    low, high = (sd * math.sqrt(dof / float(stats.chi2.ppf(q, dof))) for q in (1.0 - tail, tail))
    row = {"level": "reading", "variance": sd**2, "sd": sd, "low": low, "high": high, "dof": dof, "part": 1.0}
    return pd.DataFrame([row])
