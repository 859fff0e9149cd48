"""What the notebook on the next protocol shows of time and of two protocols over one set of readings.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from photolab.bench.campaign import Campaign
from photolab.bench.heat import WarmUpRun, warm_up_runs
from photolab.bench.protocols import ProtocolComparison, changed, compare_protocols, protocol_text
from photolab.bench.review import hold_choices, initial_choices
from photolab.errors import RecordError
from photolab.metrology.reporting import decimal
from photolab.publication import words_bench
from photolab.publication.display import Table, Words, say, table
from photolab.publication.front_page import is_invented
from photolab.publication.statements import SCOPE_WORDS
from photolab.publication.words_protocol import change_log

__all__ = [
    "Revised",
    "Warming",
    "changed_settings",
    "changed_verdicts",
    "hold",
    "hold_said",
    "initial",
    "log",
    "revise",
    "warming",
]

NOTHING = "Not from this folder: "
EXAMPLE_CHANGES = {"bench": {"protocol_revision": "invented", "hold_minutes": 30, "alike_percent": 5}}
"""Another protocol, invented: it is shown on an invented bench only."""
HOLDS, FIRSTS = (0.25, 0.5, 0.75, 1.0), (0.75, 1.0, 2.0, 5.0)
"""Instants that are looked at, as shares of the protocol's own hold and initial time. [1]"""


@dataclass(frozen=True, eq=False)
class Warming:
    """The warm-up records of a campaign.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    runs : tuple of WarmUpRun
        The fitted records.
    filament : tuple of str
        Lamps that do not warm up.
    """

    campaign: Campaign
    runs: tuple[WarmUpRun, ...]
    filament: tuple[str, ...]


def warming(campaign: Campaign) -> Warming:
    """Return the warm-up records for the views below.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Warming
        Empty where there are none.
    """
    lamps = campaign.bench.tables["lamps"]
    filament = tuple(str(one) for one in lamps.loc[lamps["technology"] == "filament", "lamp"])
    return Warming(campaign, warm_up_runs(campaign.bench), filament)


def _instants(given: Sequence[float] | None, own: float, shares: Sequence[float]) -> list[float]:
    """Return the instants to look at; shares of the protocol's own where none are given."""
    return list(given) if given is not None else [own * share for share in shares]


def hold(warm: Warming, minutes: Sequence[float] | None = None) -> Table | Words:
    """Return what each hold time would still miss.

    Parameters
    ----------
    warm : Warming
        From `warming`.
    minutes : sequence of float, optional
        Hold times, increasing; the last is what the others are held against. Shares of the protocol's own where not
        given. [min]

    Returns
    -------
    Table or Words
        One row a hold time.
    """
    if not warm.runs:
        return say(
            f"{NOTHING}there is no warm_up.csv, so the hold time cannot be chosen from your own lamps."
        )
    minutes = _instants(minutes, warm.campaign.bench.settings.hold_minutes, HOLDS)
    rows = hold_choices(warm.runs, [60.0 * one for one in minutes], filament=warm.filament)
    shown = rows.assign(minutes=rows["hold_s"] / 60.0, percent=100.0 * rows["still_to_come"])
    last = decimal(minutes[-1], 0)
    heads = {
        "minutes": "hold (min)",
        "percent": f"largest change from then to {last} min (%)",
        "lamp": "of lamp",
        "runs": "records that say so",
    }
    return table(shown[:-1], columns=list(heads), heads=heads, places={"minutes": 0, "percent": 1})


def hold_said(warm: Warming, minutes: Sequence[float] | None = None, *, within_percent: float = 2.0) -> Words:
    """Return the shortest hold time after which no lamp changes by more than a stated amount.

    Parameters
    ----------
    warm : Warming
        From `warming`.
    minutes : sequence of float, optional
        Hold times, increasing; shares of the protocol's own where not given. [min]
    within_percent : float, default 2
        Change that may be missed. [%]

    Returns
    -------
    Words
        One or two sentences.
    """
    if not warm.runs:
        return say("Without a record, hold as long as the lamps are used; a lamp may step down late.")
    minutes = _instants(minutes, warm.campaign.bench.settings.hold_minutes, HOLDS)
    rows = hold_choices(warm.runs, [60.0 * one for one in minutes], filament=warm.filament)[:-1]
    enough = rows[100.0 * rows["still_to_come"] <= within_percent]
    refused = sorted({run.lamp for run in warm.runs if run.remaining is None})
    short = f" No record of {', '.join(refused)} reaches the hold time: let it run longer." if refused else ""
    last = decimal(minutes[-1], 0)
    if enough.empty:
        return say(
            f"No hold time below {last} min keeps every lamp within {decimal(within_percent, 0)} %.{short}"
        )
    return say(
        f"{decimal(enough['hold_s'].iloc[0] / 60.0, 0)} min would do: from then to {last} min no lamp "
        "changes by more than "
        f"{decimal(100.0 * enough['still_to_come'].iloc[0], 1)} %. It holds for the lamps recorded here "
        "and for no other: a "
        f"lamp that steps down later than {last} min would be missed by any of these.{short}"
    )


def initial(warm: Warming, seconds: Sequence[float] | None = None, *, late_s: float) -> Table | Words:
    """Return what a late reading costs at each initial time.

    Parameters
    ----------
    warm : Warming
        From `warming`.
    seconds : sequence of float, optional
        Times of the first reading after switch-on; around the protocol's own where not given. [s]
    late_s : float
        How late a reading may be. [s]

    Returns
    -------
    Table or Words
        One row a time.
    """
    if not warm.runs:
        return say(
            f"{NOTHING}there is no warm_up.csv, so the initial time cannot be chosen from your own lamps."
        )
    seconds = _instants(seconds, warm.campaign.bench.settings.initial_s, FIRSTS)
    rows = initial_choices(warm.runs, seconds, late_s=late_s, filament=warm.filament)
    shown = rows.assign(percent=100.0 * rows["lost"])[~rows["lost"].isna()]
    heads = {
        "initial_s": "initial time (s)",
        "percent": f"a reading {decimal(late_s, 0)} s late is off by up to (%)",
        "lamp": "of lamp",
        "runs": "records that say so",
    }
    return table(shown, columns=list(heads), heads=heads, places={"initial_s": 0, "percent": 2})


@dataclass(frozen=True, eq=False)
class Revised:
    """Two protocols over the same readings, or why they cannot be compared.

    Parameters
    ----------
    comparison : ProtocolComparison or None
        What differs.
    why : tuple of str
        Faults of the other protocol where it cannot be used.
    """

    comparison: ProtocolComparison | None
    why: tuple[str, ...]


def revise(
    campaign: Campaign,
    folder: str | os.PathLike[str],
    other: str | os.PathLike[str] | None,
    changes: Mapping[str, Mapping[str, Any]] | None,
) -> Revised:
    """Evaluate a campaign's readings under another protocol as well.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    folder : path
        Its bench folder.
    other : str or path, optional
        Another bench.toml (text, file or folder); the folder's own with `changes` where not given.
    changes : mapping, optional
        Section to key to value; without it and without `other` there is nothing to compare, but on an invented
        bench invented changes show the use of it.

    Returns
    -------
    Revised
        With the faults where the other protocol cannot be used.
    """
    if other is None and changes is None:
        if not is_invented(campaign.bench):
            return Revised(None, ())
        changes = EXAMPLE_CHANGES
    try:
        after = changed(protocol_text(folder), changes or {}) if other is None else protocol_text(other)
        return Revised(compare_protocols(campaign.bench, after), ())
    except RecordError as refused:
        return Revised(None, tuple(str(problem) for problem in refused.problems))
    except ValueError as refused:
        return Revised(None, (str(refused),))


def _refused(revised: Revised) -> Words:
    if not revised.why:
        return say("No other protocol was given: name it in the settings as other, or write what it changes.")
    return say("The other protocol cannot be used with these readings:", *revised.why)


def log(revised: Revised) -> Words:
    """Return the change log, the numbers that moved first.

    Parameters
    ----------
    revised : Revised
        From `revise`.

    Returns
    -------
    Words
        One paragraph each.
    """
    if revised.comparison is None:
        return _refused(revised)
    return say(*change_log(revised.comparison))


def changed_settings(revised: Revised) -> Table | Words:
    """Return what the two protocols declare differently.

    Parameters
    ----------
    revised : Revised
        From `revise`.

    Returns
    -------
    Table or Words
        One row a key.
    """
    if revised.comparison is None:
        return _refused(revised)
    if revised.comparison.settings.empty:
        return say("The two protocols declare the same.")
    heads = {"key": "key of bench.toml", "before": "old", "after": "new"}
    return table(revised.comparison.settings, heads=heads)


def changed_verdicts(revised: Revised) -> Table | Words:
    """Return which verdicts change with the protocol.

    Parameters
    ----------
    revised : Revised
        From `revise`.

    Returns
    -------
    Table or Words
        One row a changed verdict.
    """
    if revised.comparison is None:
        return _refused(revised)
    rows = revised.comparison.verdicts
    if rows.empty:
        return say("No verdict changes with the protocol.")
    shown = rows.assign(
        scope=[SCOPE_WORDS[scope] for scope in rows["scope"]],
        before=[words_bench.verdict_name(code) for code in rows["before"]],
        after=[words_bench.verdict_name(code) for code in rows["after"]],
    )
    heads = {
        "lamp": "lamp",
        "housing": "housing",
        "instant": "instant",
        "scope": "scope",
        "ratio_before": "ratio, old",
        "before": "verdict, old",
        "ratio_after": "ratio, new",
        "after": "verdict, new",
    }
    return table(shown, columns=list(heads), heads=heads, places=3)
