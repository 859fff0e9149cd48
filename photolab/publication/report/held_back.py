"""What a report holds back: every refusal of every part, with its code and its reason."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from photolab.bench.inputs.surface import surfaces
from photolab.bench.questions import meter_change
from photolab.bench.results.beams import evaluate_beams
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.distances import evaluate_distances
from photolab.bench.results.heat import warm_up_runs
from photolab.bench.terms.contents import absent
from photolab.publication.report import readiness
from photolab.publication.report.lamp_parts import price_words
from photolab.publication.sentences import statements
from photolab.publication.sentences.statements import count, in_housing
from photolab.publication.sentences.words_heat import why
from photolab.publication.sentences.words_lamp import CLAIMS, WATTS_CLAIMED, claim_judgement, claimed_power
from photolab.publication.sentences.words_light import law_words
from photolab.publication.sentences.words_surface import surface_sentence


@dataclass(frozen=True)
class HeldBack:
    """One thing that a report does not say.

    Attributes
    ----------
    part : str
        Of which part of the report.
    code : str
        Code of the refusal.
    words : str
        What, and why not.
    """

    part: str
    code: str
    words: str


def held_back(campaign: Campaign) -> tuple[HeldBack, ...]:
    """Return what a report leaves out although the folder holds readings of it, each with its reason.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of HeldBack
        Comparisons, records, distances, beams, surfaces, claims and prices, links, readings.
    """
    parts = (_comparisons, _measured, _value, _readings)
    return tuple(one for part in parts for one in part(campaign))


def overview_sentences(campaign: Campaign, rows: pd.DataFrame, held: Sequence[HeldBack]) -> tuple[str, str]:
    """Return how much a report says and how much it holds back.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        The results table.
    held : sequence of HeldBack
        What is held back.

    Returns
    -------
    tuple of str
        Two sentences.
    """
    ratios = rows[(rows["measurand"] == "illuminance ratio") & (rows["point"] == "hot_spot")]
    mine = ratios[(ratios["scope"] == "specimens") & ratios["low"].notna()]
    counts = mine["family_verdict"].value_counts()
    words = [f"{counts[code]} {code}" for code in ("clear", "alike", "inside") if code in counts]
    given = f"{count(len(mine), 'statement')} on {count(mine['lamp'].nunique(), 'lamp')}"
    out = count(len(campaign.selection.left_out), "reading")
    parts = Counter(one.part for one in held if one.code != "left_out")
    what = ", ".join(count(n, part) for part, n in parts.items())
    return (
        f"{given} against {campaign.baseline}" + (f": {', '.join(words)}." if words else "."),
        f"Held back: {what or 'nothing'}; {out} left out of the evaluation.",
    )


def absent_rows(campaign: Campaign) -> tuple[tuple[str, str], ...]:
    """Return what a folder does not say yet, and what would bring it.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of (str, str)
        What no file feeds, then what the readings are too few for.
    """
    asked = readiness.list_abilities(campaign.bench, campaign)
    few = ((one.what, one.answer) for one in asked if not one.able and one.notebook in {"", "02"})
    silent = (row for row in left_out(campaign).values() if row[0])
    working = "laws, second ways and sensitivities, in folds of appendix.html and in the notebooks"
    folds = [("the working on paper", working)] if folded(campaign) else []
    return (*((one.what, one.bring) for one in absent(campaign.bench)), *few, *silent, *folds)


def _comparisons(campaign: Campaign) -> Iterator[HeldBack]:
    compared = {campaign.baseline}
    for instant in ("initial", "hold"):
        for lamp, housing, point, _ in campaign.compared(instant):
            compared.add(lamp)
            pair = campaign.ratio(lamp, campaign.baseline, housing=housing, point=point, instant=instant)
            if pair.missing:
                where = f"{lamp} against {campaign.baseline}{in_housing(housing)}"
                words = f"{where}: {statements.verdict_words(pair)}."
                yield HeldBack("comparison", f"{pair.missing[0]}_missing", words)
    tables = campaign.bench.tables
    for lamp in dict.fromkeys([*tables["lamps"]["lamp"], *tables["readings"]["lamp"]]):
        if lamp not in compared:
            enters = f"no reading of it enters in a housing where {campaign.baseline} was read"
            yield HeldBack("comparison", "not_compared", f"{lamp}: no comparison; {enters}.")


def _measured(campaign: Campaign) -> Iterator[HeldBack]:
    bench = campaign.bench
    for kept in (run for run in warm_up_runs(bench) if run.remaining is None):
        where = f"{kept.lamp}{in_housing(kept.housing)}, record {kept.run}"
        for refused in kept.refusals[:1]:
            words = f"Remaining light of {where}: not given, because {why(refused)}."
            yield HeldBack("remaining light", refused.code, words)
    for run in evaluate_distances(bench, corrections=campaign.enabled):
        if not run.law:
            yield HeldBack("candela", next(iter(run.codes), "no_law_holds"), law_words(run))
    beams = evaluate_beams(bench, corrections=campaign.enabled, baseline=campaign.baseline)
    for one in (*beams.refusals, *(one for result in beams.results for one in result.refusals)):
        words = f"Beam of {one.lamp} in {one.housing}, run {one.run}: {one.message}."
        yield HeldBack("beam", one.code, words)
    for at in (one for one in surfaces(bench) if one.temperature is None):
        yield HeldBack("surface temperature", next(iter(at.codes), "no_temperature"), surface_sentence(at))


def _value(campaign: Campaign) -> Iterator[HeldBack]:
    bench = campaign.bench
    for lamp in bench.tables["lamps"]["lamp"]:
        code, texts = claim_judgement(bench, lamp).code, CLAIMS
        if code == "no_claim":
            code, texts = claimed_power(bench, lamp).code, WATTS_CLAIMED
        if code in {"claim_without_per", "no_power"}:
            yield HeldBack("claim", code, f"{lamp}: {texts[code]}.")
    for lamp, housing, point, _ in campaign.compared():
        code, words = price_words(campaign, lamp, housing) if point == "hot_spot" else ("", "")
        if code not in {"", "given"}:
            yield HeldBack("price", code, words)


def _readings(campaign: Campaign) -> Iterator[HeldBack]:
    if len(campaign.bench.tables["links"]) and (refused := meter_change.refusal(campaign)):
        yield HeldBack("change of meter", "no_change_of_meter", f"Change of the meter: {refused}.")
    for said in readiness.left_out_words(campaign):
        yield HeldBack("readings", "left_out", f"Left out: {said}")


def folded(campaign: Campaign) -> bool:
    """Return whether the working stands in a fold and not on paper, as of a bench of one housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    bool
        False where several housings were read.
    """
    return bool(campaign.seats["housing"].nunique() < 2)


def left_out(campaign: Campaign) -> dict[str, tuple[str, str]]:
    """Return the notebooks that say nothing of this bench, although they run on it.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    dict
        Number of the notebook to what is not said and what would bring it; what another table names already is blank.
    """
    seats, bench = campaign.seats, campaign.bench
    seated = seats[["lamp", "specimen", "housing", "point", "instant"]].value_counts()
    compared = {(n[0], n[1]) for n in campaign.compared()}
    most = max(Counter(place for _, place in compared).values(), default=0)
    told = {"mismatch_index_percent", "spectral_factor"}
    colour = bench.spectra or any(told & meter.declared for meter in bench.meters.values())
    found = {}
    if seated.max() < 2:
        found["02"] = ("", "")
        found["12"] = ("what the next protocol should change", "seat lamps again; every scatter is assumed")
    if most < 2:
        found["11"] = ("which lamps are told apart from one another", "read two lamps beside the baseline")
    if not colour:
        found["05"] = ("", "")
    return found
