"""What notebook 11 shows: all lamps together, groups, ranks, and whether one may be called the highest."""

from __future__ import annotations

import math

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.metrology.ranking import rank_intervals, record_claim
from photolab.metrology.reporting import decimal
from photolab.publication.display import Table, Words, say, table
from photolab.publication.findings import groups, joined
from photolab.publication.readiness import count, left_out_words
from photolab.publication.statements import limit_places

HIGHEST = "may be called the highest so far: it is clear of every other lamp"
NOT_SEPARATED = "gives the highest figure but may not be called the highest: it is not clear of {}"


def _first_housing(campaign: Campaign) -> str:
    return campaign.weights.names[0][1]


def group_words(campaign: Campaign) -> Words:
    """Return which lamps the readings do not tell apart.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Words
        One sentence a housing.
    """
    said = []
    for housing in dict.fromkeys(n[1] for n in campaign.weights.names):
        where = _where(housing)
        if len(_compared(campaign, housing)) < 2:
            said.append(
                f"{where} fewer than two lamps were compared with the baseline: there is no pair of them."
            )
            continue
        found = [joined(g) for g in groups(campaign, housing) if len(g) > 1]
        if found:
            said.append(f"{where} these are not told apart, all pairs counted together: {'; '.join(found)}.")
        else:
            said.append(f"{where} every pair of lamps is told apart, all pairs counted together.")
    return say(*said)


def ranks(campaign: Campaign, housing: str | None = None) -> Table | Words:
    """Return rank from-to, chance of being best, and the shrunken beside the raw figure.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    housing : str, optional
        The first one where not given.

    Returns
    -------
    Table or Words
        One row a lamp, highest figure first.
    """
    where = _first_housing(campaign) if housing is None else housing
    if not _comparable(campaign, where):
        return say("No ranks: fewer than two lamps with a technology were read in one housing.")
    joint = campaign.in_housing(where)
    found = rank_intervals(joint, coverage=campaign.bench.settings.coverage)
    base = joint.position(campaign.baseline)
    rows = pd.DataFrame(
        {
            "lamp": list(joint.names),
            "raw": [100.0 * math.expm1(v - joint.values[base]) for v in joint.values],
            "shrunken": [100.0 * math.expm1(v - found["shrunken"].iloc[base]) for v in found["shrunken"]],
            "rank": [
                f"{low} to {high}" if low != high else f"{low}"
                for low, high in zip(found["rank_low"], found["rank_high"], strict=True)
            ],
            "best": 100.0 * found["probability_best"].to_numpy(),
        }
    ).sort_values("raw", ascending=False, kind="stable")
    heads = {
        "raw": f"more light than {campaign.baseline} (%)",
        "shrunken": "shrunken (%)",
        "rank": "rank, from-to",
        "best": "chance of being best (%)",
    }
    return table(rows, heads=heads, places={"raw": 1, "shrunken": 1, "best": 0})


def _where(housing: str) -> str:
    """Return a housing as a sentence begins with it."""
    return f"In {housing}" if housing else "In the housing"


def _compared(campaign: Campaign, housing: str) -> pd.DataFrame:
    """Return the rows of the lamps compared with the baseline in a housing, at the initial time."""
    rows = campaign.table
    at = (rows["point"] == "hot_spot") & (rows["instant"] == "initial") & (rows["scope"] == "specimens")
    return rows[at & (rows["housing"] == housing)]


def _comparable(campaign: Campaign, housing: str) -> bool:
    here = _compared(campaign, housing)
    return len(here) > 0 and bool(here["low"].notna().all())


def record_words(campaign: Campaign, housing: str | None = None) -> Words:
    """Return whether the lamp with the highest figure may be called the highest so far.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    housing : str, optional
        The first one where not given.

    Returns
    -------
    Words
        What may be said and what it rests on, and the advice to measure the winner again.
    """
    where = _first_housing(campaign) if housing is None else housing
    if not _comparable(campaign, where):
        return say("No record claim: fewer than two lamps with a technology were read in one housing.")
    joint = campaign.in_housing(where)
    best = str(joint.names[int(joint.values.argmax())])
    found = record_claim(joint, candidate=best, coverage=campaign.bench.settings.coverage)
    luck = "The highest of several figures is overstated, because it was chosen for being highest; measure it again."
    family = "" if found.comparisons == 1 else f", all {found.comparisons} pairs counted together"
    how = f"({100.0 * campaign.bench.settings.coverage:g} %{family}, for the specimens on the bench)"
    if found.code != "highest":
        held = NOT_SEPARATED.format(joined(map(str, found.not_clear_of)))
        return say(f"{_where(where)}, {best} {held} {how}.", luck)
    places = limit_places(math.log(found.high / found.low) / 2.0)
    low, high = (decimal(100.0 * (end - 1.0), places) for end in (found.low, found.high))
    return say(
        f"{_where(where)}, {best} {HIGHEST}. It gives {low} to {high} % more than {found.record}, which comes next "
        f"{how}.",
        f"This rests on {_rests_on(campaign, best, where)}, on {_rests_on(campaign, str(found.record), where)}, and on "
        f"{count(len(campaign.assumed), 'assumed figure')}, listed where it is said what was assumed.",
        luck,
    )


def _rests_on(campaign: Campaign, lamp: str, housing: str) -> str:
    """Return how often a lamp was seated in a housing, and how many of its specimens."""
    at = campaign.weights.names.index(campaign.name(lamp, housing=housing))
    counts = campaign.weights.counts.iloc[at]
    seatings = count(int(counts["n_mountings"]), "seating")
    return f"{seatings} of {count(int(counts['n_specimens']), 'specimen')} of {lamp}"


def left_out(campaign: Campaign) -> Words:
    """Return which readings were measured and left out, with the reason.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Words
        One line a reason.
    """
    said = left_out_words(campaign)
    return say(*said, bullets=True) if said else say("No reading was left out.")
