"""What a campaign found, lamp by lamp in words, lamps together that the readings do not tell apart."""

from __future__ import annotations

import math
from collections.abc import Iterable

from photolab.bench.campaign import Campaign
from photolab.metrology.reporting import decimal
from photolab.publication import statements
from photolab.publication.figure_tables import all_lamps

__all__ = ["groups", "joined", "lamp_sentence", "light_words"]


def light_words(ratio: float, places: int) -> str:
    """Return a ratio of light in words.

    Parameters
    ----------
    ratio : float
        The ratio. [1]
    places : int
        Decimal places of the percentage. [1]

    Returns
    -------
    str
        "5.0 % more light", "5.0 % less light" or "no difference in light".
    """
    words = statements.percent_of(ratio, places)
    return f"{words} in light" if words == "no difference" else f"{words} light"


def lamp_sentence(campaign: Campaign, lamp: str, housing: str) -> str:
    """Return what was found about one lamp in one housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, housing : str
        Which.

    Returns
    -------
    str
        One sentence with the figure, its interval and its scope.
    """
    settings = campaign.bench.settings
    pair = campaign.ratio(lamp, campaign.baseline, housing=housing)
    half = pair.ln_expanded_uncertainty
    places = 1 if math.isnan(half) else statements.limit_places(half)
    words = light_words(pair.ratio, places)
    link = "to" if words.startswith("no difference") else "than"
    head = f"{lamp}: {words} {link} {campaign.baseline}"
    if pair.verdict == "no_answer":
        return f"{head}; {statements.verdict_words(pair)}."
    interval = statements.interval_words(pair)
    count = _specimens(campaign, lamp, housing)
    which = "for the one specimen on the bench" if count == 1 else f"for the {count} specimens on the bench"
    verdict, model = (
        str(campaign.family(housing, scope=scope).loc[lamp, "verdict"]) for scope in ("specimens", "models")
    )
    known = {
        "clear": "clear of the bench uncertainty",
        "alike": f"alike to within {decimal(settings.alike_percent, 0)} %",
        "inside": "inside the bench uncertainty, so which gives more is not shown",
    }
    said = f"{known[verdict]} {which}"
    if verdict != pair.verdict:
        alone, pairs = known[pair.verdict].split(",")[0], math.comb(len(campaign.family(housing)) + 1, 2)
        said = f"{alone} by itself {which}, but not as one of the {pairs} pairs of lamps compared here"
    whole = campaign.ratio(lamp, campaign.baseline, housing=housing, scope="models")
    wider = ""
    if model != verdict:
        shown = "For" if model == "clear" else "Not shown for"
        alone = " by itself, not shown among all pairs" if whole.verdict == "clear" != model else ""
        wider = f" {'For' if alone else shown} the model as sold: {statements.interval_words(whole)}{alone}."
    if wider and count == 1:
        wider = f"{wider[:-1]}; a single piece says nothing of its model, so the declared spread of pieces stands in."
    return f"{head} ({interval}), {said}.{wider}"


def _specimens(campaign: Campaign, lamp: str, housing: str) -> int:
    """Return how many specimens of a lamp were read in a housing."""
    name = campaign.name(lamp, housing=housing)
    return int(campaign.weights.counts["n_specimens"].iloc[campaign.weights.names.index(name)])


def groups(campaign: Campaign, housing: str) -> tuple[tuple[str, ...], ...]:
    """Return the sets of lamps of a housing that these readings do not tell apart.

    Within a set, no two lamps are told apart by intervals that allow for all pairs of the housing at once.
    Sets overlap where the first and the last of three are told apart and the middle one from neither.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    housing : str
        The housing.

    Returns
    -------
    tuple of tuple of str
        Each set as large as it can be, of two lamps or more, the baseline among them, most light first.
    """
    lamps = _ordered(campaign, housing)
    pairs = campaign.pairs(housing)
    alike = {
        frozenset((str(a), str(b)))
        for a, b, apart in zip(pairs["a"], pairs["b"], pairs["resolved"], strict=True)
        if not apart and a in lamps and b in lamps
    }
    sets: list[tuple[str, ...]] = []
    _grow((), lamps, (), alike, sets)
    return tuple(sorted(sets, key=lambda one: [lamps.index(lamp) for lamp in one]))


def _ordered(campaign: Campaign, housing: str) -> tuple[str, ...]:
    """Return the baseline and the lamps of a housing that have an answer, most light first."""
    rows = all_lamps(campaign)
    here = rows[(rows["housing"] == housing) & rows["low"].notna()][["percent", "lamp"]]
    here.loc[-1] = (0.0, campaign.baseline)
    return (
        tuple(here.sort_values(["percent", "lamp"], ascending=[False, True])["lamp"]) if len(here) > 1 else ()
    )


def _grow(
    chosen: tuple[str, ...],
    may: tuple[str, ...],
    seen: tuple[str, ...],
    alike: set[frozenset[str]],
    sets: list[tuple[str, ...]],
) -> None:
    """Collect the largest sets in which all pairs are alike (Bron and Kerbosch 1973, without a pivot)."""
    if not may and not seen:
        if len(chosen) > 1:
            sets.append(chosen)
        return
    for lamp in may:
        near = {other for other in (*may, *seen) if frozenset((lamp, other)) in alike}
        rest = tuple(other for other in may if other in near)
        _grow((*chosen, lamp), rest, tuple(other for other in seen if other in near), alike, sets)
        may = tuple(other for other in may if other != lamp)
        seen = (*seen, lamp)


def joined(words: Iterable[str]) -> str:
    """Return words joined as in a sentence.

    Parameters
    ----------
    words : iterable of str
        One word or more.

    Returns
    -------
    str
        "a", "a and b", "a, b and c".
    """
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
