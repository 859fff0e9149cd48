"""What a campaign found, lamp by lamp in words, lamps together that the readings do not tell apart."""

import contextlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from photolab.bench.results.campaign import Campaign, without_technology
from photolab.errors import MethodError
from photolab.metrology.reporting import shortened
from photolab.publication.sentences.display import one_line
from photolab.publication.sentences.figure_tables import all_lamps

WAYS = {"bought", "borrowed", "donated", "found", "gift", "given", "hired", "lent", "own", "supplied"}
"""A source that begins with one of them says how a lamp was obtained: nothing is put before it."""


def in_depth(campaign: Campaign, lamp: str | None = None) -> tuple[str, list[str]]:
    """Return the lamp that a page looks at in depth, and the housings in which it was compared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        As written in the settings; where not given, the lamp on which two housings differ most, the first one
        where there is one housing.

    Returns
    -------
    str, list of str
        The lamp, blank where none was compared with the baseline, and its housings.

    Raises
    ------
    MethodError
        If the lamp named was not compared with the baseline (code ``no_reading``).
    """
    rows = all_lamps(campaign)
    light = 1.0 + rows["percent"] / 100.0
    by_lamp = light.groupby(rows["lamp"], sort=False)
    spans = by_lamp.max() / by_lamp.min()
    if lamp is None:
        lamp = max(spans.index, key=lambda name: shortened(spans[name]), default="")
    elif lamp not in spans:
        were = ", ".join(spans.index)
        message = f"lamp {lamp} was not compared with {campaign.baseline}; compared were {were}"
        raise MethodError(message, code="no_reading", known={"names": tuple(spans.index)})
    return str(lamp), [str(one) for one in rows.loc[rows["lamp"] == lamp, "housing"]]


def next_below(
    campaign: Campaign, lamp: str, housings: Iterable[str], against: str | None = None
) -> tuple[str, str] | None:
    """Return where a lamp can be compared, and with which: the next lower one that it is clear of.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.
    housings : iterable of str
        Where to look.
    against : str, optional
        The other lamp, where it is named in the settings.

    Returns
    -------
    tuple of (str, str) or None
        Housing and lamp, the baseline where it is clear of none; None where no pair has an interval.
    """
    rows = all_lamps(campaign)
    for housing in housings:
        here = rows[rows["housing"] == housing].set_index("lamp")["percent"].sort_values(ascending=False)
        below = [str(other) for other in here.index[here < here[lamp]]]
        for other in [*below, campaign.baseline] if against is None else [against]:
            with contextlib.suppress(MethodError):  # not read together there
                pair = campaign.ratio(lamp, other, housing=housing)
                will_do = pair.verdict == "clear" or other in (against, campaign.baseline)
                if pair.result is not None and will_do:
                    return housing, other
    return None


@dataclass(frozen=True)
class NotToldApart:
    """The lamps of a housing that these readings do not tell apart, all pairs counted together.

    Attributes
    ----------
    housing, instant : str
        Where and when.
    sets : tuple of tuple of str
        Each set as large as it can be, of two lamps or more, the baseline among them, most light first.
    lamps : tuple of str
        All that were compared, most light first.
    complete : bool
        Whether every lamp of the pairs has an interval.
    """

    housing: str
    instant: str
    sets: tuple[tuple[str, ...], ...]
    lamps: tuple[str, ...]
    complete: bool


def not_told_apart(
    campaign: Campaign, pairs: pd.DataFrame, housing: str, *, instant: str = "initial"
) -> NotToldApart:
    """Return the sets of lamps of a housing that these readings do not tell apart.

    Sets overlap where the first and the last of three are told apart and the middle one from neither.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    pairs : DataFrame
        a, b, ratio, resolved of every pair of the housing, as `Campaign.pairs`.
    housing, instant : str
        Where and when.

    Returns
    -------
    NotToldApart
        Lamps without an interval are left out.
    """
    unknown, light = without_technology(campaign.bench), dict[str, float]()
    for a, b, ratio in zip(pairs["a"], pairs["b"], pairs["ratio"], strict=True):
        light[str(a)] = light.get(str(a), 0.0) + math.log(ratio)
        light[str(b)] = light.get(str(b), 0.0) - math.log(ratio)
    # the last bits of a float decide no order
    ordered = sorted(light, key=lambda lamp: (-shortened(light[lamp]), lamp))
    lamps = tuple(lamp for lamp in ordered if not unknown & {lamp, campaign.baseline})
    alike = {
        frozenset((str(a), str(b)))
        for a, b, apart in zip(pairs["a"], pairs["b"], pairs["resolved"], strict=True)
        if not apart and a in lamps and b in lamps
    }
    sets: set[frozenset[str]] = set()
    for lamp in lamps:  # the largest sets of lamps looked at so far, and what this one adds to each
        near = frozenset(other for other in lamps if frozenset((lamp, other)) in alike)
        sets |= {frozenset([lamp]), *(one & near | {lamp} for one in sets)}
        sets = {one for one in sets if not any(one < other for other in sets)}
    named = (tuple(lamp for lamp in lamps if lamp in one) for one in sets if len(one) > 1)
    ordered_sets = tuple(sorted(named, key=lambda one: [*map(lamps.index, one)]))
    return NotToldApart(housing, instant, ordered_sets, lamps, len(lamps) == len(light))


def held_families(campaign: Campaign) -> dict[str, pd.DataFrame]:
    """Return all pairs of each housing at the hold time, as far as lamps can be compared then.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    dict of str to DataFrame
        Housing to `Campaign.pairs`.
    """
    housings = dict.fromkeys(name[1] for name in campaign.compared("hold") if name[2] == "hot_spot")
    return {housing: campaign.pairs(housing, instant="hold") for housing in housings}


def apart_sentence(found: NotToldApart) -> str:
    """Return which lamps are not told apart as one sentence.

    Parameters
    ----------
    found : NotToldApart
        The sets.

    Returns
    -------
    str
        Blank where fewer than two lamps were compared.
    """
    if len(found.lamps) < 2:
        return ""
    when = ", at the hold time," if found.instant == "hold" else ""
    where = f"In {found.housing or 'the one housing'}{when}"
    if not found.sets:
        return f"{where} every pair of lamps is told apart, all pairs counted together."
    together = "; ".join(map(joined, found.sets))
    return f"{where} these are not told apart, all pairs counted together: {together}."


def joined(words: Iterable[str]) -> str:
    """Return words joined as in a sentence.

    Parameters
    ----------
    words : iterable of str
        Words.

    Returns
    -------
    str
        "a", "a and b", "a, b and c"; blank for none.
    """
    *first, last = [*words] or [""]
    return f"{', '.join(first)} and {last}" if first else last


def day_words(text: str) -> str:
    """Return an ISO date as a sentence has it; files, columns and what repeats a cell have the ISO date.

    Parameters
    ----------
    text : str
        ISO 8601.

    Returns
    -------
    str
        "13 April 2026".
    """
    day = pd.Timestamp(text)
    return f"{day.day} {day.month_name()} {day.year}"


def how_obtained(lamp: Mapping[Any, Any], *, by: str = "from") -> tuple[str, str]:
    """Return how a lamp came to the bench, and what is known beside it.

    Parameters
    ----------
    lamp : mapping
        Its row of lamps.csv.
    by : str, default "from"
        What stands before who supplied or lent it.

    Returns
    -------
    tuple of str
        "bought" and "from a car shop"; of ``obtained_from = "borrowed from a club"`` alone that, and nothing.
    """
    how, whence = str(lamp["obtained"]), one_line(lamp["obtained_from"])
    first, _, rest = whence.partition(" ")
    if first.casefold() in WAYS:
        return (how, rest if first.casefold() == how else whence) if how else (whence, "")
    way = "from" if how in {"bought", ""} else by
    return how, f"{way} {whence}" if whence else ""


def obtained_words(lamp: Mapping[Any, Any]) -> str:
    """Return how a lamp came to the bench, and from where.

    Parameters
    ----------
    lamp : mapping
        Its row of lamps.csv.

    Returns
    -------
    str
        "bought from a car shop", "supplied by its maker"; blank where neither is stated.
    """
    how, whence = how_obtained(lamp, by="by")
    apart = ", " if whence.partition(" ")[0].casefold() in WAYS else " "
    return apart.join(filter(None, (how, whence)))
