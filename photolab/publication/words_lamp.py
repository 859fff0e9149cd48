"""One lamp in words: its gain, the difference between housings, what is left, its claim and its price."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable
from typing import Any

from photolab.bench import value
from photolab.bench.campaign import Campaign
from photolab.bench.derived import Gain, HousingDifference, judge_gain
from photolab.bench.earlier import Beside
from photolab.bench.electrical import highest_power
from photolab.bench.heat import WarmUpRun
from photolab.bench.model import Bench, Settings, TheirFigure
from photolab.bench.overturning import LeftOut
from photolab.bench.pairs import variance_by_term
from photolab.metrology.comparison import Equivalence
from photolab.metrology.ranking import RecordClaim
from photolab.metrology.reporting import decimal
from photolab.publication import statements
from photolab.publication.display import one_line
from photolab.publication.findings import day_words
from photolab.publication.statements import in_housing
from photolab.publication.words_heat import between, known_sentence, why
from photolab.thermal.warm_up_result import Remaining

VERDICTS = {
    "clear": "clear of the bench uncertainty",
    "alike": "alike to within {margin} %",
    "inside": "inside the bench uncertainty, so which gives more is not shown",
}
CLAIMS = {
    "claim_without_per": "its box does not say whether the claimed flux is for one lamp or a pair",
    "no_power": "a flux is claimed, but its watts were not measured: add electrical.csv",
    "beyond_white_light": "white light of good colour carries at most about {limit} lm/W without losses (Murphy "
    "2012); the lamp's light was not measured in lumens",
    "above_current_devices": "within the physical limit, above what current parts usually give",
    "plausible": "not ruled out by the measured power; not measured here",
}
PRICES = {
    "no_currency": "bench.toml names no currency, so prices are not used",
    "price_without_per": "its price does not say whether it is for one lamp or a pair",
    "gain_not_resolved": "no price per gained percent: the gain is not resolved, its interval includes zero",
    "less_light": "no price per gained percent: it gives less light than {baseline}",
}
PRICE_CAUTIONS = {
    "price_without_date": "the price has no date",
    "old_price": "the price is older than 180 days",
    "price_after_bench": "the price is younger than the bench",
    "bench_without_date": "the bench has no date",
}

AN_EXAMPLE = TheirFigure("An invented figure to show the test", "", ratio=1.20, expanded_percent=6.0)
"""Shown on an invented bench only, where no figure of others is given."""
ONE_BENCH = (
    "Both were read on one bench, so agreement is not independent: what the meter, its colour and the way of seating "
    "do alike in both cannot show. It says that the bench repeats, not that it is right."
)


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


def gain_sentence(gain: Gain) -> str:
    """Return a gain with its interval, verdict and scope as one sentence.

    Parameters
    ----------
    gain : Gain
        The gain.

    Returns
    -------
    str
        "In H: A: 5.0 % more light than B (1 to 9 % more), clear of the bench uncertainty for the …".
    """
    return f"In {gain.housing}: {_gain(gain)}" if gain.housing else _gain(gain)


def _gain(gain: Gain) -> str:
    half = gain.ln_expanded_uncertainty
    words = light_words(gain.ratio, 1 if math.isnan(half) else statements.limit_places(half))
    link = "to" if words.startswith("no difference") else "than"
    head = f"{gain.lamp}: {words} {link} {gain.baseline}"
    if gain.verdict == "no_answer":
        return f"{head}; {statements.verdict_words(gain)}."
    known = {code: words.format(margin=decimal(gain.alike_percent, 0)) for code, words in VERDICTS.items()}
    pieces = "the one specimen" if gain.specimens == 1 else f"the {gain.specimens} specimens"
    whose = {
        "readings": "for these readings alone",
        "specimens": f"for {pieces} on the bench",
        "models": "for the model as sold",
    }[gain.scope]
    said = f"{known[gain.family_verdict]} {whose}"
    if gain.family_verdict != gain.verdict:
        alone = known[gain.verdict].split(",")[0]
        said = f"{alone} by itself {whose}, but not as one of the {gain.pairs} pairs of lamps compared here"
    return f"{head} ({statements.interval_words(gain)}), {said}."


def family_sentence(
    campaign: Campaign,
    lamp: str,
    against: str,
    *,
    housing: str,
    point: str = "hot_spot",
    instant: str = "initial",
    scope: str = "specimens",
) -> str:
    """Return the verdict on two lamps as one of all pairs of lamps read at that place and instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, against : str
        The two lamps.
    housing, point, instant : str
        Where in the beam and when.
    scope : {"specimens", "readings", "models"}
        Which inputs count.

    Returns
    -------
    str
        One sentence; empty where the two are the only lamps there, or there is no interval.
    """
    family = campaign.family(housing, scope=scope, point=point, instant=instant, against=against)
    one = family.loc[lamp].to_dict()
    if len(family) < 2 or one["verdict"] == "no_answer":
        return ""
    ends = statements.ends_words(one["low"], one["high"], math.log(one["high"] / one["low"]) / 2.0)
    said = VERDICTS[one["verdict"]].format(margin=decimal(campaign.bench.settings.alike_percent, 0))
    pairs = math.comb(len(family) + 1, 2)
    return f"As one of the {pairs} pairs of lamps compared{in_housing(housing)}: {ends} light, {said}."


def lamp_sentence(campaign: Campaign, lamp: str, housing: str) -> str:
    """Return what was found about one lamp in one housing, for its specimens and, where that differs, its model.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, housing : str
        Which.

    Returns
    -------
    str
        One sentence or two, with the figure, its interval and its scope.
    """
    difference = campaign[lamp, housing] - campaign[campaign.baseline, housing]
    gain, model = (
        judge_gain(campaign, difference, lamp, campaign.baseline, housing=housing, scope=scope)
        for scope in ("specimens", "models")
    )
    said = _gain(gain)
    if model.family_verdict == gain.family_verdict:
        return said
    shown, tail = "For" if "clear" in (model.verdict, model.family_verdict) else "Not shown for", ""
    if model.verdict == "clear" != model.family_verdict:
        tail = " by itself, not shown among all pairs"
    if gain.specimens == 1:
        tail += "; a single piece says nothing of its model, so the declared spread of pieces stands in"
    return f"{said} {shown} the model as sold: {statements.interval_words(model)}{tail}."


def housings_sentence(found: HousingDifference) -> str:
    """Return whether two housings agree on a lamp.

    Parameters
    ----------
    found : HousingDifference
        Gain in one housing over gain in the other.

    Returns
    -------
    str
        One sentence.
    """
    if found.missing:
        return ""
    lamp, (one, two) = found.first.lamp, (found.first.housing, found.second.housing)
    places = statements.limit_places(found.ln_expanded_uncertainty)
    low, high = (decimal(100.0 * (end - 1.0), places) for end in (found.low, found.high))
    if found.verdict == "clear":
        head = f"{lamp} against {found.first.baseline} is {statements.interval_words(found)}"
        return f"{head} in {one} than in {two}; quote each housing."
    head = f"Between {one} and {two} the gain of {lamp}"
    return f"{head} does not differ beyond the bench uncertainty ({low} to {high} %)."


def _lamp(bench: Bench, lamp: str) -> dict[Hashable, Any]:
    """Return the row of a lamp in lamps.csv."""
    return next(row for row in bench.tables["lamps"].to_dict("records") if row["lamp"] == lamp)


def claim_judgement(bench: Bench, lamp: str) -> value.ClaimJudgement:
    """Return the flux claimed for a lamp against the highest watts measured.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    ClaimJudgement
        With its code.
    """
    row, power = _lamp(bench, lamp), highest_power(bench, lamp)
    watts, per = (math.nan, "") if power is None else (power.upper, "lamp")
    return value.judge_claim(
        float(row["claimed_flux_lm"]), watts, claimed_per=str(row["claimed_per"]), power_per=per
    )


def price_judgement(bench: Bench, gain: Gain) -> value.PriceJudgement:
    """Return what each percent of a gain costs, or why that is not said.

    Parameters
    ----------
    bench : Bench
        The bench.
    gain : Gain
        A lamp in a housing, with an interval.

    Returns
    -------
    PriceJudgement
        With its code.
    """
    row, dates = _lamp(bench, gain.lamp), [d for d in bench.tables["days"]["date"] if d]
    return value.price_of_gain(
        float(row["price"]),
        ratio=gain.ratio,
        low=gain.low,
        high=gain.high,
        price_per=str(row["price_per"]),
        price_date=str(row["price_date"]),
        last_day=max(dates, default=""),
        currency=bench.settings.currency,
    )


def claim_sentence(bench: Bench, lamp: str) -> str:
    """Return what is said of a claimed flux, and what its maker replied.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    str
        Neutral words; blank where no flux is claimed and nobody replied.
    """
    return " ".join(filter(None, [_claim(bench, lamp), *reply_sentences(bench, lamp)]))


def _claim(bench: Bench, lamp: str) -> str:
    """Return what is said of a claimed flux; blank where none is claimed."""
    row, power, found = _lamp(bench, lamp), highest_power(bench, lamp), claim_judgement(bench, lamp)
    if found.code == "no_claim":
        return ""
    printed = f" (where claimed: {one_line(str(row['claimed_where'])) or 'not stated'})"
    if found.claim is None or power is None:
        return f"{lamp}: {CLAIMS[found.code]}{printed}."
    limit = "limit" if power.assumed == "nothing" else "assumed limit"
    words = CLAIMS[found.code].format(limit=decimal(found.claim.limit, 0))
    return (
        f"{lamp}: the claim of {row['claimed_flux_lm']:g} lm per {row['claimed_per']}{printed} at the highest watts "
        f"measured ({decimal(power.watts.value, 1)} W a lamp, {limit} {decimal(power.upper, 1)} W) would be at least "
        f"{decimal(found.claim.implied_efficacy, 0)} lm/W: {words}."
    )


def price_sentences(bench: Bench, gain: Gain) -> tuple[str, ...]:
    """Return what a gained percent costs, or why that is not said.

    Parameters
    ----------
    bench : Bench
        The bench.
    gain : Gain
        A lamp in a housing.

    Returns
    -------
    tuple of str
        One sentence; none without a price or without an interval.
    """
    if gain.missing:
        return ()
    found = price_judgement(bench, gain)
    if found.code == "no_price":
        return ()
    where = f"{gain.lamp}{in_housing(gain.housing)}"
    cautions = "; ".join(PRICE_CAUTIONS[code] for code in found.cautions)
    tail = f" Caution: {cautions}." if cautions else ""
    if found.per_percent is None or found.low is None or found.high is None:
        return (f"{where}: {PRICES[found.code].format(baseline=gain.baseline)}.{tail}",)
    costs = f"{decimal(found.per_percent, 2)} {bench.settings.currency} a pair"
    doubt = f"({between(found.low, found.high, 2)}), {statements.SCOPE_WORDS[gain.scope]}"
    return (f"{where}: a gained percent costs {costs} {doubt}.{tail}",)


def left_sentence(settings: Settings, run: WarmUpRun) -> str:
    """Return what is left at the hold time in one record, or why that is not given and what is known.

    Parameters
    ----------
    settings : Settings
        With the initial and the hold time.
    run : WarmUpRun
        A warm-up record.

    Returns
    -------
    str
        One sentence or two.
    """
    where = f"{run.lamp}{in_housing(run.housing)}"
    if run.remaining is None:
        refused = run.refusals[0]
        known = known_sentence(refused.known)
        return f"Remaining light of {where}, record {run.run}: not given, because {why(refused)}. {known}".rstrip()
    return (
        f"Remaining light of {where}, record {run.run}: {_left(run.remaining, ' %')} of the {settings.initial_s:g} s "
        f"value after {settings.hold_minutes:g} minutes."
    )


def _left(remaining: Remaining, unit: str = "") -> str:
    """Return remaining light with its interval."""
    low, high = 100.0 * remaining.low, 100.0 * remaining.high
    return f"{decimal(100.0 * remaining.value, 1)}{unit} ({between(low, high, 1)})"


def lamp_row(gain: Gain, model: Gain, left: tuple[Remaining, WarmUpRun] | None) -> dict[str, str]:
    """Return one lamp in one housing as a row of the table of all lamps.

    Parameters
    ----------
    gain, model : Gain
        For the specimens on the bench and for the model as sold.
    left : tuple of (Remaining, WarmUpRun) or None
        Remaining light, from the lamp's longest record.

    Returns
    -------
    dict
        Column head to text.
    """
    places = 1 if gain.missing else statements.limit_places(gain.ln_expanded_uncertainty)
    parts = variance_by_term(gain.ln_ratio)
    largest = max(parts, key=lambda term: parts[term], default="")
    share = 100.0 * parts[largest] / gain.ln_ratio.u**2 if gain.ln_ratio.u else math.nan
    blurs = f"{statements.KIND_WORDS[largest]} {decimal(share, 0)} %" if share > 0.0 else ""
    return {
        "lamp": gain.lamp,
        "housing": gain.housing,
        "light": statements.percent_of(gain.ratio, places),
        "for the specimens": "no interval" if gain.missing else statements.interval_words(gain),
        "verdict, all pairs counted": gain.family_verdict.replace("_", " "),
        "for the model as sold": "no interval" if gain.missing else statements.interval_words(model),
        "most of the uncertainty": blurs,
        "left (%)": "" if left is None else _left(left[0]),
    }


def equivalence_sentence(found: Equivalence) -> str:
    """Return whether two sets of readings are alike, by two one-sided tests.

    Parameters
    ----------
    found : Equivalence
        Of readings compared as ratios.

    Returns
    -------
    str
        One sentence.
    """
    low, high = (100.0 * math.expm1(end) for end in found.interval)
    word = "alike" if found.equivalent else "not shown to be alike"
    chance = f"the larger of the two chances of an error: {decimal(100.0 * found.p, 1)} %"
    return f"{between(low, high, 1)} %, {word} within the margin ({chance})."


def record_sentences(
    campaign: Campaign, claim: RecordClaim, housing: str, *, instant: str = "initial"
) -> tuple[str, ...]:
    """Return whether the lamp with the highest figure may be called the highest so far, and what that rests on.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    claim : RecordClaim
        Of the lamps of one housing.
    housing, instant : str
        Where and when.

    Returns
    -------
    tuple of str
        One sentence or two.
    """
    best, coverage = str(claim.candidate), 100.0 * campaign.bench.settings.coverage
    where = f"In {housing}" if housing else "In the one housing"
    family = "" if claim.comparisons == 1 else f", all {claim.comparisons} pairs counted together"
    how = f"({coverage:g} %{family}, for the specimens on the bench)"
    if claim.code != "highest":
        others = [str(lamp) for lamp in claim.not_clear_of]
        return (
            f"{where}, {best} gives the highest figure but may not be called the highest: it is not clear of "
            f"{' and '.join([', '.join(others[:-1]), others[-1]] if others[1:] else others)} {how}.",
        )
    places = statements.limit_places(math.log(claim.high / claim.low) / 2.0)
    low, high = (decimal(100.0 * (end - 1.0), places) for end in (claim.low, claim.high))
    rests = ", on ".join(_rests_on(campaign, lamp, housing, instant) for lamp in (best, str(claim.record)))
    assumed = len(campaign.assumed)
    return (
        f"{where}, {best} may be called the highest so far: it is clear of every other lamp. It gives {low} to "
        f"{high} % more than {claim.record}, which comes next {how}.",
        f"This rests on {rests}, and on {assumed} assumed {'figure' if assumed == 1 else 'figures'}.",
    )


def _rests_on(campaign: Campaign, lamp: str, housing: str, instant: str) -> str:
    """Return how often a lamp was seated in a housing, and how many of its specimens."""
    at = campaign.weights.names.index(campaign.name(lamp, housing=housing, instant=instant))
    n = campaign.weights.counts.iloc[at]
    seatings = f"{n['n_mountings']} seating{'' if n['n_mountings'] == 1 else 's'}"
    return f"{seatings} of {n['n_specimens']} specimen{'' if n['n_specimens'] == 1 else 's'} of {lamp}"


def left_out_sentence(found: LeftOut, *, most: int = 4) -> str:
    """Return whether any single part of the readings decides a verdict.

    Parameters
    ----------
    found : LeftOut
        A gain with each part left out in turn.
    most : int, default 4
        So many are named. [1]

    Returns
    -------
    str
        One sentence.
    """
    noun = {"mounting": "seating"}.get(found.level, found.level)
    only = [part for part, verdict in found.each.items() if verdict is None]
    changing = [part for part in found.changing if part not in only]
    more = f" and {len(changing) - most} more" if len(changing) > most else ""
    nothing = f" Nothing is left to compare without {'; '.join(only[:most])}." if only else ""
    if len(only) == len(found.each):
        return nothing.strip()
    if not changing:
        kept = len(found.each) - len(only)
        return f"No single {noun} decides it: leaving out any one of {kept} keeps the verdict.{nothing}"
    return f"Leaving out one {noun} changes the verdict, for {'; '.join(changing[:most])}{more}.{nothing}"


def figure_words(one: Beside) -> str:
    """Return what a figure is of.

    Parameters
    ----------
    one : Beside
        Two figures side by side.

    Returns
    -------
    str
        "K3/B0 in HP at the hold time"; the measurand before it where it is not light against another lamp.
    """
    known = {"illuminance ratio": "", "illuminance per watt ratio": "light per watt of "}
    what = known.get(one.measurand, f"{one.measurand} of ")
    lamps = f"{one.lamp}/{one.baseline}" if one.baseline else one.lamp
    when = {"hold": " at the hold time", "initial": " at the initial time"}.get(one.instant, "")
    return f"{what}{lamps}{in_housing(one.housing)}{when}"


def beside_sentences(others: Iterable[Beside]) -> tuple[str, ...]:
    """Return whether the figures of others, and those of earlier reports, agree with this bench.

    Parameters
    ----------
    others : iterable of Beside
        Figures side by side.

    Returns
    -------
    tuple of str
        One sentence for each figure of others; for each earlier report a count, what differs, and what it cannot show.
    """
    every = tuple(others)
    said = [_theirs(one) for one in every if not one.own]
    for label in dict.fromkeys(one.whose for one in every if one.own):
        mine = [one for one in every if one.own and one.whose == label]
        apart = [one for one in mine if abs(one.score) > 1.0]
        named = "; ".join(
            f"{figure_words(one)}, {_plus_minus(one.theirs)} then and {_plus_minus(one.ours)} now ({_score(one)})"
            for one in apart
        )
        scope = "the same pieces" if mine[0].scope != "models" else "other pieces, so for the models"
        said.append(
            f"{label}, {scope}: {len(mine) - len(apart)} of {len(mine)} figures agree within both uncertainties"
            f"{f'; these differ by more than both: {named}' if named else ''}. {ONE_BENCH}"
        )
    return tuple(said)


def _theirs(one: Beside) -> str:
    """Return whether somebody else's figure agrees with ours, for the models."""
    head = f"{one.whose}, {_plus_minus(one.theirs)} for {figure_words(one)}"
    if math.isnan(one.score):
        return f"{head}: this bench has no figure with an interval to set beside it."
    agree = ("agree within" if abs(one.score) <= 1.0 else "differ by more than") + " both uncertainties"
    return (
        f"{head}: this bench has {_plus_minus(one.ours)} for the model as sold; they {agree} ({_score(one)})."
    )


def _plus_minus(figure: tuple[float, float]) -> str:
    """Return a ratio, given in ln, with its expanded uncertainty."""
    value, half = math.exp(figure[0]), 100.0 * math.expm1(figure[1])
    return f"{decimal(value, 3)} ± {decimal(half, 1)} %"


def _score(one: Beside) -> str:
    """Return E_n, ours less theirs, and the coverage of the two intervals."""
    return (
        f"E_n {decimal(one.score, 2 if abs(one.score) < 10.0 else 0)}, both ± of {100.0 * one.coverage:g} %"
    )


def reply_sentences(bench: Bench, lamp: str) -> tuple[str, ...]:
    """Return what makers replied about a lamp, as they wrote it.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    tuple of str
        One sentence each.
    """
    replies = [one for one in bench.their_figures if one.lamp == lamp and one.text]
    return tuple(
        f"On {lamp}, {one.source} replied on {day_words(one.date)}: “{one_line(one.text)}”" for one in replies
    )
