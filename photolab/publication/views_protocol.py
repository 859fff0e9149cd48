"""What the notebook on the next protocol shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.review import causes, forecast, shared_floor
from photolab.errors import MethodError
from photolab.metrology.planning import improvements
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal
from photolab.publication.display import Table, Words, say, table
from photolab.publication.statements import KIND_WORDS, capital

__all__ = [
    "Reviewed",
    "answer",
    "causes_table",
    "next_best",
    "review",
]

NOTHING = "Not from this folder: "


@dataclass(frozen=True, eq=False)
class Reviewed:
    """What a next protocol is planned from, or why that cannot be said.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    causes : DataFrame
        From `review.causes`.
    floor : float
        Standard uncertainty of a ratio that seatings and readings do not lower; NaN where there is none. [1]
    why : str
        Reason where there is nothing to plan from.
    """

    campaign: Campaign
    causes: pd.DataFrame
    floor: float
    why: str


def review(campaign: Campaign) -> Reviewed:
    """Return what the views below are made from.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Reviewed
        With the reason where no comparison has an interval.
    """
    try:
        return Reviewed(campaign, causes(campaign), shared_floor(campaign), "")
    except MethodError as refused:
        return Reviewed(campaign, pd.DataFrame(), math.nan, str(refused))


def _kind(kind: str) -> str:
    return KIND_WORDS.get(kind, kind)


def answer(reviewed: Reviewed, *, resolve: float = 0.05) -> Words:
    """Return the next best improvement and what the bench resolves now.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    resolve : float, default 0.05
        Least part of the doubt that is named. [1]

    Returns
    -------
    Words
        Three sentences.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    rows = reviewed.causes
    first = rows.iloc[0]
    named = ", ".join(
        f"{_kind(str(row['kind']))} {decimal(100.0 * row['variance_fraction'], 0)} %"
        for row in rows[rows["variance_fraction"] >= resolve].to_dict("records")[1:]
    )
    best = improvements(rows).iloc[0]
    three = forecast(reviewed.campaign, specimens=1, mountings=3, readings=3, floor=reviewed.floor)
    many = decimal(
        100.0
        * math.expm1(coverage_factor(reviewed.campaign.bench.settings.coverage, math.inf) * reviewed.floor),
        1,
    )
    percent = f"{100.0 * reviewed.campaign.bench.settings.coverage:g}"
    return say(
        f"Over all {int(first['comparisons'])} comparisons with the baseline, for the specimens on the "
        "bench, the largest part "
        f"of the doubt is {_kind(str(first['kind']))}: {decimal(100.0 * first['variance_fraction'], 0)} "
        "% on the average" + (f"; then {named}." if named else "."),
        f"Next best step: halve what the {_kind(str(best['kind']))} adds, and intervals become "
        f"{decimal(100.0 * (1.0 - best['uncertainty_factor']), 0)} % narrower.",
        "Three seatings of one specimen of each lamp will resolve a ratio of "
        f"{decimal(three.resolvable, 3)} in four cases of "
        f"five; no number of seatings brings the interval below ± {many} % at {percent} %.",
    )


def causes_table(reviewed: Reviewed, *, smallest: float = 0.005) -> Table | Words:
    """Return which part of the doubt each cause has.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    smallest : float, default 0.005
        Causes with a smaller part are put together. [1]

    Returns
    -------
    Table or Words
        One row a cause.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    rows = reviewed.causes
    shown = rows[rows["variance_fraction"] >= smallest]
    rest = rows[rows["variance_fraction"] < smallest]
    cells = pd.DataFrame(
        {
            "what": [*(capital(_kind(kind)) for kind in shown["kind"]), f"{len(rest)} smaller ones together"],
            "part": 100.0 * np.append(shown["variance_fraction"], rest["variance_fraction"].sum()),
            "largest": 100.0 * np.append(shown["largest"], rest["largest"].max() if len(rest) else 0.0),
        }
    )
    heads = {
        "what": "cause",
        "part": "part of the doubt, mean (%)",
        "largest": "largest in any comparison (%)",
    }
    return table(cells, heads=heads, places=1)


def next_best(reviewed: Reviewed, *, largest: int = 5) -> Table | Words:
    """Return what halving each cause, or removing it, would do to every interval.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    largest : int, default 5
        So many causes. [1]

    Returns
    -------
    Table or Words
        The best step first.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    rows = improvements(reviewed.causes).head(largest)
    shown = pd.DataFrame(
        {
            "what": [_kind(kind) for kind in rows["kind"]],
            "half": 100.0 * (1.0 - rows["uncertainty_factor"]),
            "gone": 100.0 * (1.0 - rows["floor_factor"]),
        }
    )
    heads = {
        "what": "make this smaller",
        "half": "halved: intervals narrower by (%)",
        "gone": "gone: narrower by (%)",
    }
    return table(shown, heads=heads, places=1)
