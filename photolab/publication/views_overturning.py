"""What notebook 13 shows: leave one out, tipping points, somebody else's number."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.overturning import leave_one_out, somebody_elses, tipping_points, what_if_seating
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import statements
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figure_tables import all_lamps
from photolab.publication.findings import joined
from photolab.publication.front_page import is_invented
from photolab.publication.views_lamp import NO_LAMP, housings_of, lamp_of

EXAMPLE_FIGURE = (1.20, 6.0)
"""A ratio to the baseline and its expanded uncertainty [%], invented: it is shown on an invented bench only."""


@dataclass(frozen=True, eq=False)
class LeftOutEach:
    """A comparison with each part of the readings left out in turn.

    Attributes
    ----------
    name : str
        The comparison in words; blank where there is none.
    ratio : float
        With everything in. [1]
    verdict : str
        Its verdict in words.
    tables : dict
        Level to the table of `overturning.leave_one_out`.
    """

    name: str
    ratio: float
    verdict: str
    tables: dict[str, pd.DataFrame]


def leave_each_out(campaign: Campaign, a: str | None, b: str | None) -> LeftOutEach:
    """Repeat the joint evaluation without each mounting, specimen and day.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; where not given, the lamp that notebook 10 is about against the next lower one that it is clear of.

    Returns
    -------
    LeftOutEach
        One table a level; none where there is no comparison.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return LeftOutEach("", math.nan, "", {})
    first, second, where = pair
    before = campaign.ratio(first, second, housing=where)
    found = {
        level: leave_one_out(campaign, first, second, housing=where, level=level)
        for level in ("mounting", "specimen", "day")
    }
    name = f"{first} against {second}" + (f" in {where}" if where else "")
    return LeftOutEach(name, before.ratio, statements.verdict_words(before), found)


def one_out(each: LeftOutEach, level: str) -> Table | Words:
    """Return the rows whose absence moves a ratio most.

    Parameters
    ----------
    each : LeftOutEach
        From `leave_each_out`.
    level : {"mounting", "specimen", "day"}
        What is left out.

    Returns
    -------
    Table or Words
        The most telling rows first.
    """
    if not each.tables:
        return say(NO_LAMP)
    found = each.tables[level]
    found = found.assign(
        **{c: 100.0 * (found[c] - 1.0) for c in ("ratio", "low", "high")},
        # the last bits of a float must not decide the order
        moves=[float(f"{abs(ratio / each.ratio - 1.0):.9e}") for ratio in found["ratio"]],
        verdict=found["verdict"].str.replace("_", " "),
    ).sort_values("moves", ascending=False, kind="stable")
    heads = {
        "left_out": f"{level} left out",
        "ratio": f"{each.name} (%)",
        "low": "low (%)",
        "high": "high (%)",
    }
    return table(
        found.head(6), columns=["left_out", "ratio", "low", "high", "verdict"], heads=heads, places=1
    )


def one_out_words(each: LeftOutEach) -> Words:
    """Return whether any single mounting, specimen or day decides a verdict.

    Parameters
    ----------
    each : LeftOutEach
        From `leave_each_out`.

    Returns
    -------
    Words
        One sentence a level.
    """
    if not each.tables:
        return say(NO_LAMP)
    said = [f"{each.name}: {each.verdict}."]
    for level, found in each.tables.items():
        changing = list(found.loc[found["changes"], "left_out"])
        if changing:
            shown = joined(changing[:4]) + (f" and {len(changing) - 4} more" if len(changing) > 4 else "")
            said.append(f"Leaving out one {level} changes the verdict for: {shown}.")
        else:
            said.append(
                f"No single {level} decides it: leaving out any one of {len(found)} keeps the verdict."
            )
    return say(*said)


def _pair(campaign: Campaign, a: str | None, b: str | None) -> tuple[str, str, str] | None:
    first = lamp_of(campaign, a)
    if not first:
        return None
    for where in housings_of(campaign, first):
        second = b or _next_below(campaign, first, where)
        try:
            pair = campaign.ratio(first, second, housing=where)
        except MethodError:
            continue  # not read together there: the next housing
        if pair.result is not None:
            return first, second, where
    return None


def _next_below(campaign: Campaign, lamp: str, housing: str) -> str:
    """Return the lamp with the next lower figure that a lamp is clear of; the baseline where there is none."""
    rows = all_lamps(campaign)
    here = rows[rows["housing"] == housing].set_index("lamp")["percent"].sort_values(ascending=False)
    for other in here.index[here < here.get(lamp, math.nan)]:
        if campaign.ratio(lamp, str(other), housing=housing).verdict == "clear":
            return str(other)
    return campaign.baseline


def tipping(campaign: Campaign, a: str | None, b: str | None, *, scope: str = "specimens") -> Table | Words:
    """Return how many times larger or smaller each doubt would have to be.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; where not given, the lamp that notebook 10 is about against the next lower one that it is clear of.
    scope : str
        Whose interval.

    Returns
    -------
    Table or Words
        Largest part first.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return say(NO_LAMP)
    first, second, where = pair
    found = tipping_points(campaign, first, second, housing=where, scope=scope)
    clear = campaign.ratio(first, second, housing=where, scope=scope).verdict == "clear"
    said = [
        "no factor of it alone"
        if math.isnan(f)
        else f"{'more' if f > 1 else 'less'} than {decimal(f, 1)} times as large"
        for f in found["factor"]
    ]
    rows = pd.DataFrame(
        {
            "what may be off": [statements.KIND_WORDS.get(k, k) for k in found["kind"]],
            "moves the result by (± %)": found["half_width_percent"],
            "to be no longer clear" if clear else "to become clear": said,
        }
    )
    return table(rows.head(8), places=1)


def other_number(
    campaign: Campaign, a: str | None, *, ratio: float | None = None, expanded_percent: float | None = None
) -> Words:
    """Return whether somebody else's ratio agrees, with nothing shared and with half of it shared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a : str, optional
        The lamp; against the baseline.
    ratio : float, optional
        The other ratio; where not given there is nothing to compare with, but on an invented bench an invented
        one shows the test. [1]
    expanded_percent : float, optional
        Its expanded uncertainty. [%]

    Returns
    -------
    Words
        Two sentences.
    """
    pair = _pair(campaign, a, campaign.baseline)
    if pair is None:
        return say(NO_LAMP)
    whose = "Somebody else's"
    if ratio is None or expanded_percent is None:
        if not is_invented(campaign.bench):
            return say(
                "No figure of somebody else's was given; with one in the settings it is put to the test here."
            )
        (ratio, expanded_percent), whose = EXAMPLE_FIGURE, "An invented figure to show the test,"
    first, second, where = pair
    said = []
    for correlation, shared in (
        (0.0, "nothing shared"),
        (0.5, "half of the doubt shared, as with one kind of meter"),
    ):
        found = somebody_elses(
            campaign,
            first,
            second,
            housing=where,
            ratio=ratio,
            expanded_percent=expanded_percent,
            correlation=correlation,
        )
        agrees = "agree" if found.agrees else "do not agree"
        said.append(
            f"With {shared}: E_n = {decimal(found.normalized_error, 2)}, so the two {agrees} within their "
            f"uncertainties (within ±1 they do; ISO 13528)."
        )
    return say(f"{whose} {decimal(ratio, 3)} ± {decimal(expanded_percent, 1)} % for {first}/{second}:", *said)


SEATINGS = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0)
"""Seating SDs of the static what-if. [%]"""


def seating_table(campaign: Campaign, a: str | None, b: str | None) -> Table | Words:
    """Return what a ratio would be worth with another seating SD.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; where not given, the lamp that notebook 10 is about against the next lower one that it is clear of.

    Returns
    -------
    Table or Words
        One row a seating SD, the campaign's own among them.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return say(NO_LAMP)
    own = 100.0 * campaign.spreads.seating_in(pair[2]).sd
    rows = []
    for sd in sorted({*SEATINGS, own}):
        half, verdict = what_if_seating(campaign, *pair[:2], housing=pair[2], seating_percent=sd)
        name = "this campaign" if sd == own else "what if"
        rows.append((name, sd, 100.0 * half, verdict.replace("_", " ")))
    heads = ["", "seating SD (%)", "moves the result by (± %)", "verdict"]
    return table(pd.DataFrame(rows, columns=heads), places=1)


def seating_slider(campaign: Campaign, a: str | None, b: str | None) -> object:
    """Return the same what-if with a slider, where ipywidgets is installed.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; where not given, the lamp that notebook 10 is about against the next lower one that it is clear of.

    Returns
    -------
    object
        A widget, or a sentence.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return say(NO_LAMP)
    try:
        import ipywidgets
    except ImportError:
        return say("No slider: ipywidgets is not installed; the table above shows the same what-if.")

    def show(seating_percent: float) -> Words:
        half, verdict = what_if_seating(campaign, *pair[:2], housing=pair[2], seating_percent=seating_percent)
        return say(f"± {decimal(100.0 * half, 1)} %: {verdict.replace('_', ' ')}")

    slider = ipywidgets.FloatSlider(
        value=100.0 * campaign.spreads.seating_in(pair[2]).sd, min=0.0, max=8.0, step=0.1
    )
    return ipywidgets.interactive(show, seating_percent=slider)
