"""What the notebook on the baseline shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.baseline_days import BaselineChart, baseline_charts, bracketed, without
from photolab.bench.campaign import Campaign
from photolab.bench.corrections import FILAMENT_FLUX_EXPONENT
from photolab.bench.repeatability import initial_readings
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import words_bench
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import control_chart as chart_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.findings import joined
from photolab.publication.front_page import is_invented

__all__ = [
    "Held",
    "answer",
    "beside_by_clock",
    "brackets",
    "chart_pictures",
    "charts_said",
    "check_by_day_means",
    "hold",
]

NOTHING = "Not from this folder: "
SHOWN = 8
"""So many rows of long tables are shown."""


@dataclass(frozen=True, eq=False)
class Held:
    """The baseline over the days, without and with the voltage correction, or why that cannot be said.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    before, after : tuple of BaselineChart
        Without and with the voltage correction; `before` is empty where no correction was made.
    why : str
        Reason where there is no chart.
    """

    campaign: Campaign
    before: tuple[BaselineChart, ...]
    after: tuple[BaselineChart, ...]
    why: str


def hold(campaign: Campaign) -> Held:
    """Return the control charts of the baseline for the views below.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Held
        With the reason where there is none.
    """
    try:
        after = baseline_charts(campaign)
    except MethodError as refused:
        return Held(campaign, (), (), str(refused))
    before: tuple[BaselineChart, ...] = ()
    if "voltage" in campaign.corrections:
        before = baseline_charts(campaign, corrections=without(campaign, "voltage"))
    return Held(campaign, before, after, "")


def answer(held: Held) -> Words:
    """Return whether the bench held.

    Parameters
    ----------
    held : Held
        From `hold`.

    Returns
    -------
    Words
        Two or three sentences.
    """
    if held.why:
        return say(
            f"{NOTHING}{held.why}. Seat the baseline at the start and at the end of every day, and the "
            "next campaign can say."
        )
    found = [s for one in held.after for s in one.chart.signals]
    lost = [one for one in held.before if one.chart.signals]
    first = (
        "Yes: with its corrections the baseline shows no day, no group of days, no step and no drift beyond what "
        "seatings and days scatter."
        if not found
        else "No: even with its corrections the baseline shows something that chance seldom makes; see below."
    )
    share = f"{100.0 * held.after[0].chart.false_alarm:g}"
    settings = held.campaign.bench.settings
    origin = "declared" if "day_sd_percent" in settings.declared else "assumed"
    end = (
        f"Days may scatter by {decimal(settings.day_sd_percent, 1)} % ({origin}). In a housing where nothing "
        f"happened, such a sign turns up in {share} of 100 campaigns."
    )
    if lost and not found:
        middle = "Without the voltage correction it does not hold: the supply moved, and the correction takes it off."
        return say(first, middle, end)
    ask = (
        "Write the volts at the lamp socket beside each reading (socket_V): the supply is the first thing to suspect."
        if found and held.campaign.selection.readings["socket_V"].isna().any()
        else ""
    )
    return say(first, ask, end)


def charts_said(held: Held, *, corrected: bool) -> Words:
    """Return what the charts show in words.

    Parameters
    ----------
    held : Held
        From `hold`.
    corrected : bool
        With the voltage correction, or without.

    Returns
    -------
    Words
        One sentence a housing.
    """
    if held.why:
        return say(f"{NOTHING}{held.why}.")
    if not corrected and not held.before:
        return say(
            "No reading states volts that differ from the reference: there is no voltage correction to take off."
        )
    charts = held.after if corrected else held.before
    when = "with the voltage correction" if corrected and held.before else "as corrected" if corrected else ""
    said = words_bench.charts_words(
        charts, baseline=held.campaign.baseline, when=when or "without the voltage correction"
    )
    notes = _linked(held.campaign) if corrected else _notes(held)
    return say(*said, *notes)


def _linked(campaign: Campaign) -> list[str]:
    """Return which days of the baseline were read with another meter."""
    rows = campaign.selection.readings
    rows = rows[(rows["lamp"] == campaign.baseline) & (rows["onto"] != rows["meter"])]
    return [
        f"On {joined(dict.fromkeys(block['day']))} it was read with {meter} and brought to {campaign.selection.meter} "
        f"by their link; these days share its doubt, {decimal(100.0 * float(block['link_u'].iloc[0]), 1)} %."
        for meter, block in rows.groupby("meter", sort=False)
    ]


def _notes(held: Held) -> list[str]:
    """Return what days.csv says about the first day of a group or step."""
    days = held.campaign.bench.tables["days"]
    first = dict.fromkeys(
        str(s.first) for one in held.before for s in one.chart.signals if s.kind in {"group", "step"}
    )
    known = dict(zip(days["day"].astype(str), days["note"].astype(str), strict=True)) if len(days) else {}
    return [f"Noted in days.csv for {day}: {known[day]}." for day in first if known.get(day)]


def chart_pictures(held: Held) -> Picture | Words:
    """Return the control charts, a column a housing, without and with the voltage correction.

    Parameters
    ----------
    held : Held
        From `hold`.

    Returns
    -------
    Picture or Words
        The charts.
    """
    if held.why:
        return say(f"No picture: {held.why}.")
    sets = [(words, charts) for words, charts in _sets(held) if charts]
    columns = len(held.after)
    figure, panels = new_figure(len(sets), columns, height=0.5 + 2.4 * len(sets), share_y=True)
    said: list[str] = []
    for row, (words, charts) in enumerate(sets):
        for column, one in enumerate(charts):
            rows = _chart_rows(one)
            place = f"housing {one.housing}, " if one.housing else ""
            axes = panels[row * columns + column]
            chart_figure.draw(axes, rows, title=f"{place}{words}")
            if column == 0:
                axes.set_ylabel("from the mean (%)")
            days = ", ".join(
                f"{d} {decimal(p, 1)}" for d, p in zip(rows["day"], rows["percent"], strict=True)
            )
            said.append(f"{place}{words}: {days}")
    limit = decimal(_chart_rows(held.after[0])["high"].max(), 1)
    alt = (
        f"Baseline {held.campaign.baseline}, mean of each day in % from the mean of all days, limits of a single day "
        f"± {limit} %. {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(held.campaign.bench))


def _sets(held: Held) -> tuple[tuple[str, tuple[BaselineChart, ...]], ...]:
    words = "voltage corrected" if held.before else "as corrected"
    return (("volts not corrected", held.before), (words, held.after))


def _chart_rows(one: BaselineChart) -> pd.DataFrame:
    """Return a chart as rows in percent."""
    chart, days = one.chart, one.chart.table
    group = np.zeros(len(days), dtype=bool)
    order = {str(day): place for place, day in enumerate(days["day"])}
    for signal in chart.signals:
        if signal.kind == "group" or (signal.kind == "step" and not group.any()):
            group[order[str(signal.first)] : order[str(signal.last)] + 1] = True
            break
    percent = {name: 100.0 * np.expm1(days[name] - chart.centre) for name in ("mean", "low", "high")}
    return pd.DataFrame(
        {
            "day": days["day"].astype(str),
            "percent": percent["mean"],
            "low": percent["low"],
            "high": percent["high"],
            "out": days["out"],
            "group": group,
        }
    )


def check_by_day_means(held: Held) -> Words:
    """Return a second way to the step: two plain means with their scatter.

    Parameters
    ----------
    held : Held
        From `hold`.

    Returns
    -------
    Words
        One sentence a housing.
    """
    said = []
    for one in held.before:
        steps = [s for s in one.chart.signals if s.kind in {"step", "group"}]
        if not steps:
            continue
        days = one.chart.table
        inside = np.zeros(len(days), dtype=bool)
        order = {str(day): place for place, day in enumerate(days["day"])}
        inside[order[str(steps[0].first)] : order[str(steps[0].last)] + 1] = True
        late, early = (days.loc[chosen, "mean"].to_numpy(float) for chosen in (inside, ~inside))
        size = float(late.mean() - early.mean())
        u = (
            math.sqrt(late.var(ddof=1) / len(late) + early.var(ddof=1) / len(early))
            if len(late) > 1
            else math.nan
        )
        said.append(
            f"{one.housing or 'One housing'}: the plain means of the {len(late)} days and of the other "
            f"{len(early)} differ by "
            f"{decimal(100.0 * math.expm1(size), 1)} %, standard uncertainty {decimal(100.0 * u, 1)} % "
            "from their own scatter."
            f"{_by_volts(held, one, days.loc[inside, 'day'], size)}"
        )
    return say(*said) if said else say("There is no step to check.")


def _by_volts(held: Held, one: BaselineChart, late: pd.Series[Any], size: float) -> str:
    """Return what the volts beside the readings and the law of filament lamps say about a step."""
    rows = initial_readings(held.campaign)
    mine = rows[(rows["lamp"] == held.campaign.baseline) & (rows["housing"] == one.housing)]
    inside = mine["day"].isin(late)
    volts = [float(mine.loc[chosen, "socket_V"].median()) for chosen in (~inside, inside)]
    if not all(v > 0.0 for v in volts):
        return ""
    expected = FILAMENT_FLUX_EXPONENT * math.log(volts[1] / volts[0])
    return (
        f" The volts written beside the readings went from {decimal(volts[0], 2)} to "
        f"{decimal(volts[1], 2)} V, which by the law "
        f"of filament lamps is {decimal(100.0 * math.expm1(expected), 1)} %; the two ways lie "
        f"{decimal(100.0 * abs(expected - size), 1)} % apart."
    )


def brackets(held: Held) -> Table | Words:
    """Return the first lamps over the baseline at their own clock time.

    Parameters
    ----------
    held : Held
        From `hold`.

    Returns
    -------
    Table or Words
        One row a seating of the last day that has both.
    """
    rows = _by_clock(held)
    if rows.empty:
        return say(f"{NOTHING}no day holds clocks, the baseline and another lamp in one housing.")
    shown = rows[rows["day"] == rows["day"].iloc[-1]].head(SHOWN)
    heads = {
        "day": "day",
        "clock": "clock",
        "lamp": "lamp",
        "specimen": "specimen",
        "housing": "housing",
        "baseline_lx": "baseline then (lx)",
        "ratio": "ratio then",
        "ratio_low": "with either baseline: from",
        "ratio_high": "to",
    }
    return table(
        shown,
        columns=list(heads),
        heads=heads,
        places={"baseline_lx": 1, "ratio": 3, "ratio_low": 3, "ratio_high": 3},
    )


def _by_clock(held: Held) -> pd.DataFrame:
    return bracketed(initial_readings(held.campaign), baseline=held.campaign.baseline)


def beside_by_clock(held: Held) -> Words:
    """Return how many seatings stand between two baselines, and how much either end would change.

    Parameters
    ----------
    held : Held
        From `hold`.

    Returns
    -------
    Words
        One or two sentences.
    """
    rows = _by_clock(held)
    if rows.empty:
        return say(
            "No seating has a baseline on either side of it: read the baseline first and last on every day."
        )
    inside = int(rows["bracketed"].sum())
    half = 50.0 * float(np.median(np.log(rows["ratio_high"] / rows["ratio_low"])))
    volts = held.campaign.selection.readings["socket_V"].notna().all()
    ask = (
        ""
        if volts
        else " Write the volts at the lamp socket beside each reading: they say whether the supply moved."
    )
    sd = decimal(100.0 * held.campaign.spreads.mounting.sd, 1)
    return say(
        f"{inside} of {len(rows)} seatings stand between two baselines of their day and housing. Taking "
        "either of the two "
        f"instead of the value in between would move a ratio by ± {decimal(half, 1)} % (median); one seating of a lamp "
        f"scatters with a standard deviation of {sd} %, so this much is no sign of drift within the days.{ask}"
        if half <= 100.0 * held.campaign.spreads.mounting.sd
        else f"{inside} of {len(rows)} seatings stand between two baselines of their day and housing. "
        "Taking either of the two "
        f"instead of the value in between would move a ratio by ± {decimal(half, 1)} % (median), more "
        f"than the {sd} % that one "
        f"seating scatters: the bench drifts within a day, and only ratios by clock hold.{ask}"
    )
