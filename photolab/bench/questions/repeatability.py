"""How repeatable the bench is: the spread of each level of its own corrected readings, and the baseline over the days.

All in ln, so 0.02 is 2 %. A level counts once: a specimen that was read in two housings is one specimen, a
day of a housing is one day however many lamps shared it; their degrees of freedom say so.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench.inputs import corrections as steps
from photolab.bench.results.campaign import Campaign
from photolab.errors import MethodError
from photolab.metrology.components import component_limits, nested_components
from photolab.metrology.control import ControlChart, control_chart
from photolab.metrology.precision import pooled_sd
from photolab.metrology.quantity import COVERAGE

FEWEST_DAYS = 3
"""A chart needs so many. [1]"""
LEVELS = ("specimen", "day", "mounting")
CHOSEN = ["lamp", "housing"]
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
    return _initial(steps.apply(campaign.selection.readings, campaign.bench, campaign.enabled))


def _initial(corrected: steps.Corrected) -> pd.DataFrame:
    """Return the corrected readings of the hot spot at the initial time."""
    readings = corrected.readings
    kept = (readings["instant"] == "initial") & (readings["point"] == "hot_spot")
    return readings[kept].reset_index(drop=True)


def level_spreads(
    readings: pd.DataFrame, *, levels: Sequence[str] = LEVELS, coverage: float = COVERAGE
) -> Levels:
    """Return how far readings spread from level to level, from the outermost one that repeats.

    Lamps and housings were chosen and not drawn: their means are removed first.

    Parameters
    ----------
    readings : DataFrame
        One row a reading: ln_value [ln lx], and the columns of identity.
    levels : sequence of str
        Columns of the levels, outermost first.
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
    inner = _repeating(readings, levels)
    found = _nested(readings, inner, coverage) if inner else _readings_only(readings, coverage)
    counts = {one: readings[one].nunique() for one in ("lamp", "housing")}
    counts["day"] = len({*readings["day"]} - {""})
    counts |= {"mounting": len(readings[SEAT].drop_duplicates()), "reading": len(readings)}
    return Levels(found, coverage, counts)


def _nested(readings: pd.DataFrame, levels: list[str], coverage: float) -> pd.DataFrame:
    """Return the components of levels that repeat."""
    found = nested_components(readings, "ln_value", levels, fixed=CHOSEN, coverage=coverage)
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


def _repeating(readings: pd.DataFrame, levels: Sequence[str]) -> list[str]:
    """Return the levels from the outermost one that repeats in some cell."""
    cells = readings.groupby(CHOSEN, sort=False, dropna=False).ngroups
    for place in range(len(levels)):
        path = [*CHOSEN, *levels[: place + 1]]
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


def _readings_only(readings: pd.DataFrame, coverage: float) -> pd.DataFrame:
    """Return the spread of repeated readings where nothing else repeats."""
    groups = readings.groupby(CHOSEN, sort=False, dropna=False)["ln_value"]
    repeats = {str(key): values.to_numpy(float) for key, values in groups}
    if not any(len(values) > 1 for values in repeats.values()):
        message = f"nothing was repeated: {len(readings)} readings of {len(repeats)} lamps in their housings"
        raise MethodError(message, code="no_repeats", known={"readings": len(readings)})
    sd, dof = pooled_sd(repeats)
    tail = (1.0 - coverage) / 2.0
    low, high = (sd * math.sqrt(dof / float(stats.chi2.ppf(q, dof))) for q in (1.0 - tail, tail))
    row = {"level": "reading", "variance": sd**2, "sd": sd, "low": low, "high": high, "dof": dof, "part": 1.0}
    return pd.DataFrame([row])


@dataclass(frozen=True, eq=False)
class BaselineChart:
    """The baseline of one housing over the days.

    Attributes
    ----------
    lamp, housing, specimen : str
        Which; one specimen, the one that was read on most days.
    volts_corrected : bool
        Whether its readings were brought to the reference voltage.
    chart : ControlChart
        In ln lx.
    """

    lamp: str
    housing: str
    specimen: str
    volts_corrected: bool
    chart: ControlChart


def without(campaign: Campaign, *names: str) -> tuple[str, ...]:
    """Return a campaign's corrections without some of them.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    *names : str
        Corrections to switch off.

    Returns
    -------
    tuple of str
        The others.
    """
    return tuple(name for name in campaign.enabled if name not in names)


def baseline_charts(
    campaign: Campaign, *, corrections: Iterable[str] | None = None
) -> tuple[BaselineChart, ...]:
    """Return the control chart of the baseline lamp, housing by housing.

    On a steady bench the chart of one housing shows any signal with the chance that the declared coverage leaves.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign; its spreads of mounting and reading, and the declared spread of days, are the
        chart's prior ones.
    corrections : iterable of str, optional
        Corrections of the readings; the campaign's own if not given.

    Returns
    -------
    tuple of BaselineChart
        Housings in which the baseline was read on `FEWEST_DAYS` days or more.
    """
    enabled = campaign.enabled if corrections is None else corrections
    corrected = steps.apply(campaign.selection.readings, campaign.bench, enabled)
    mine = _initial(corrected)
    mine = mine[mine["lamp"] == campaign.baseline]
    order = _in_order(campaign.bench.tables["days"], mine["day"])
    mine = mine.assign(day=pd.Categorical(mine["day"], order))
    charts = []
    for housing, block in mine.groupby("housing", sort=False):
        days = block.groupby("specimen", sort=False)["day"].nunique()
        if days.max() >= FEWEST_DAYS:
            specimen = str(days.index[int(np.argmax(days.to_numpy()))])
            chart = _chart(block[block["specimen"] == specimen], campaign)
            volts = "voltage" in corrected.applied
            charts.append(BaselineChart(campaign.baseline, str(housing), specimen, volts, chart))
    return tuple(charts)


def _in_order(known: pd.DataFrame, days: "pd.Series[str]") -> list[str]:
    """Return the days of some readings by their dates where each has one, else as their file has them."""
    dates, read = dict(zip(known["day"], known["date"], strict=True)), list(dict.fromkeys(days))
    return sorted(read, key=dates.__getitem__) if dates.keys() >= set(read) else read


def _chart(rows: pd.DataFrame, campaign: Campaign) -> ControlChart:
    """Return the chart of one specimen in one housing."""
    spreads, settings = campaign.spreads, campaign.bench.settings
    seating = spreads.seating_in(rows["housing"].iloc[0])
    linked = {
        f"link {meter}": rows["link_u"].where(rows["meter"] == meter, 0.0)
        for meter in rows.loc[rows["link_u"] > 0.0, "meter"].unique()
    }
    chart = control_chart(
        rows.assign(**linked),
        "ln_value",
        "day",
        # not the spread of these same days: a step would hide itself in it
        day_sd=settings.day_sd_percent / 100.0,
        mounting_sd=seating.sd,
        mounting="mounting",
        reading_sd=spreads.reading[campaign.baseline].sd,
        shared=tuple(linked),  # days of one second meter err together
        dof=seating.dof,
        false_alarm=1.0 - settings.coverage,
    )
    return replace(chart, table=chart.table.astype({"day": "str"}))
