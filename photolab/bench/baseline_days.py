"""Did the bench hold: the baseline lamp over the days, and readings over the baselines around them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench.campaign import Campaign
from photolab.bench.supply_and_time import clock_hours
from photolab.errors import MethodError
from photolab.metrology.control import ControlChart, bracketing_weights, control_chart

__all__ = ["BaselineChart", "baseline_charts", "bracketed", "without"]

FEWEST_DAYS = 3
SEAT = ["lamp", "specimen", "housing", "day", "mounting"]


@dataclass(frozen=True, eq=False)
class BaselineChart:
    """The baseline of one housing over the days.

    Attributes
    ----------
    housing, specimen : str
        Which; one specimen, the one that was read on most days.
    chart : ControlChart
        In ln lx.
    """

    housing: str
    specimen: str
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
    campaign: Campaign, *, corrections: Iterable[str] | None = None, false_alarm: float | None = None
) -> tuple[BaselineChart, ...]:
    """Return the control chart of the baseline lamp, housing by housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign; its spreads of mounting and reading, and the declared spread of days, are the
        chart's prior ones.
    corrections : iterable of str, optional
        Corrections of the readings; the campaign's own if not given.
    false_alarm : float, optional
        Chance of any signal on the chart of one housing that is steady; what the declared coverage leaves if not
        given. [1]

    Returns
    -------
    tuple of BaselineChart
        Housings in which the baseline was read on three days or more.

    Raises
    ------
    MethodError
        If no housing holds the baseline on three days (code ``few_days``).
    """
    chance = 1.0 - campaign.bench.settings.coverage if false_alarm is None else false_alarm
    enabled = campaign.enabled if corrections is None else corrections
    readings = steps.apply(campaign.selection.readings, campaign.bench, enabled).readings
    mine = readings[
        (readings["lamp"] == campaign.baseline)
        & (readings["instant"] == "initial")
        & (readings["point"] == "hot_spot")
    ]
    charts = []
    for housing, block in mine.groupby("housing", sort=False):
        days = block.groupby("specimen", sort=False)["day"].nunique()
        if days.max() >= FEWEST_DAYS:
            specimen = str(days.index[int(np.argmax(days.to_numpy()))])
            rows = block[block["specimen"] == specimen]
            charts.append(BaselineChart(str(housing), specimen, _chart(rows, campaign, chance)))
    if not charts:
        most = int(mine["day"].nunique())
        message = (
            f"the baseline {campaign.baseline} must be read on {FEWEST_DAYS} days in one housing; got {most}"
        )
        raise MethodError(message, code="few_days", known={"days": most})
    return tuple(charts)


def _chart(rows: pd.DataFrame, campaign: Campaign, false_alarm: float) -> ControlChart:
    """Return the chart of one specimen in one housing."""
    spreads = campaign.spreads
    seating = spreads.seating_in(rows["housing"].iloc[0])
    linked = {
        f"link {meter}": rows["link_u"].where(rows["meter"] == meter, 0.0)
        for meter in rows.loc[rows["link_u"] > 0.0, "meter"].unique()
    }
    return control_chart(
        rows.assign(**linked),
        "ln_value",
        "day",
        # not the spread of these same days: a step would hide itself in it
        day_sd=campaign.bench.settings.day_sd_percent / 100.0,
        mounting_sd=seating.sd,
        mounting="mounting",
        reading_sd=spreads.reading[campaign.baseline].sd,
        shared=tuple(linked),  # days of one second meter err together
        dof=seating.dof,
        false_alarm=false_alarm,
    )


def bracketed(readings: pd.DataFrame, *, baseline: str) -> pd.DataFrame:
    """Return each seating over the baseline at its instant, and over either baseline beside it.

    Parameters
    ----------
    readings : DataFrame
        Rows with lamp, specimen, housing, day, mounting, clock and ln_value. [ln lx]
    baseline : str
        The baseline lamp.

    Returns
    -------
    DataFrame
        lamp, specimen, housing, day, mounting, clock, baseline_lx (at that instant), ratio, ratio_low,
        ratio_high (with either of the baselines beside it), bracketed; seatings of days without a baseline
        or without clocks are absent.
    """
    timed = readings.assign(hours=clock_hours(readings["clock"]))
    timed = timed[timed["hours"].notna()]
    if timed.empty:
        return pd.DataFrame(
            columns=[*SEAT, "clock", "baseline_lx", "ratio", "ratio_low", "ratio_high", "bracketed"]
        )
    grouped = timed.groupby(SEAT, sort=False, dropna=False)
    seats = grouped.agg(
        ln_value=("ln_value", "mean"), hours=("hours", "mean"), clock=("clock", "first")
    ).reset_index()
    blocks = []
    for _, block in seats.groupby(["housing", "day"], sort=False):
        base = block[block["lamp"] == baseline]
        others = block[block["lamp"] != baseline]
        # one specimen, so that a change from one baseline to the next is the bench's and not the lamp's
        base = base[base["specimen"] == base["specimen"].mode().iloc[0]] if len(base) else base
        if len(base) and len(others):
            blocks.append(_over_baseline(others, base))
    return pd.concat(blocks, ignore_index=True) if blocks else bracketed(readings.iloc[:0], baseline=baseline)


def _over_baseline(others: pd.DataFrame, base: pd.DataFrame) -> pd.DataFrame:
    """Return the seatings of one day and housing over its baselines."""
    weights, inside = bracketing_weights(others["hours"], base["hours"])
    ln_base = base["ln_value"].to_numpy(float)
    at = weights @ ln_base
    beside = np.where(weights > 0.0, ln_base, math.nan)
    value = others["ln_value"].to_numpy(float)
    return others[[*SEAT, "clock"]].assign(
        baseline_lx=np.exp(at),
        ratio=np.exp(value - at),
        ratio_low=np.exp(value - np.nanmax(beside, axis=1)),
        ratio_high=np.exp(value - np.nanmin(beside, axis=1)),
        bracketed=inside,
    )
