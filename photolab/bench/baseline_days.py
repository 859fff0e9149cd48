"""Did the bench hold: the baseline lamp over the days."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench.campaign import Campaign
from photolab.metrology.control import ControlChart, control_chart

FEWEST_DAYS = 3
"""A chart needs so many. [1]"""


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
        Housings in which the baseline was read on `FEWEST_DAYS` days or more.
    """
    chance = 1.0 - campaign.bench.settings.coverage if false_alarm is None else false_alarm
    enabled = campaign.enabled if corrections is None else corrections
    corrected = steps.apply(campaign.selection.readings, campaign.bench, enabled)
    readings, volts = corrected.readings, "voltage" in corrected.applied
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
            chart = _chart(rows, campaign, chance)
            charts.append(BaselineChart(campaign.baseline, str(housing), specimen, volts, chart))
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
