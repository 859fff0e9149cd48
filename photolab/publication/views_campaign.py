"""What notebook 11 shows: all lamps together, groups, ranks, and whether one may be called the highest."""

from __future__ import annotations

import math

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.metrology.ranking import rank_intervals, record_claim
from photolab.publication.display import Table, Words, say, table
from photolab.publication.findings import groups, joined

RECORD_WORDS = {
    "highest": "may be called the highest so far: it is clear of every other lamp, with all pairs counted together",
    "not_separated": "gives the highest figure but may not be called the highest: it is not clear of {others}",
    "below": "does not give the highest figure; {record} does",
}


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
        found = [joined(g) for g in groups(campaign, housing) if len(g) > 1]
        where = f"In {housing}" if housing else "In the housing"
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
    found = rank_intervals(joint)
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


def _comparable(campaign: Campaign, housing: str) -> bool:
    rows = campaign.table
    here = rows[(rows["housing"] == housing) & (rows["scope"] == "specimens")] if len(rows) else rows
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
        One sentence, and the advice to measure the winner again.
    """
    where = _first_housing(campaign) if housing is None else housing
    if not _comparable(campaign, where):
        return say("No record claim: fewer than two lamps with a technology were read in one housing.")
    joint = campaign.in_housing(where)
    best = joint.names[int(joint.values.argmax())]
    found = record_claim(joint, candidate=best)
    words = RECORD_WORDS[found.code].format(others=joined(map(str, found.not_clear_of)), record=found.record)
    return say(
        f"In {where}, {best} {words} (95 %, for the specimens on the bench).",
        "The highest of several figures is overstated, because it was chosen for being highest; measure it again.",
    )


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
    rows = campaign.selection.left_out
    if rows.empty:
        return say("No reading was left out.")
    said = []
    for reason, block in rows.groupby("reason", sort=False):
        lamps = joined(dict.fromkeys(block["lamp"]))
        said.append(f"{len(block)} of {lamps}: {reason}.")
    return say(*said, bullets=True)
