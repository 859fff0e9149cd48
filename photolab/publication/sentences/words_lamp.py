"""One lamp in words: its gain, the difference between housings, what is left, its claim and its price."""

import math
from collections.abc import Hashable, Iterable
from dataclasses import replace
from typing import Any, Unpack

from photolab.bench.folder.earlier import Beside
from photolab.bench.inputs.electrical import highest_power
from photolab.bench.questions.overturning import LeftOut
from photolab.bench.results.campaign import Campaign, Place
from photolab.bench.results.derived import Gain, HousingDifference, judge_gain
from photolab.bench.results.heat import WarmUpRun
from photolab.bench.results.pairs import JudgedRatio, ReadingComparison, variance_by_term
from photolab.bench.terms import value
from photolab.bench.terms.model import Bench, Settings, TheirFigure
from photolab.metrology.comparison import Equivalence
from photolab.metrology.ranking import RecordClaim
from photolab.metrology.reporting import decimal
from photolab.publication.sentences import statements
from photolab.publication.sentences.display import one_line
from photolab.publication.sentences.findings import day_words, joined
from photolab.publication.sentences.statements import count, in_housing
from photolab.publication.sentences.words_heat import between, known_sentence, why
from photolab.thermal.warm_up_result import Remaining

VERDICTS = statements.VERDICTS | {
    "alike": "alike within {margin:g} %",
    "inside": "inside the bench uncertainty, so which gives more is not shown",
}
WHOSE = statements.SCOPE_WORDS | {"specimens": "for {pieces} on the bench"}
CLAIMS = {
    "claim_without_per": "its box does not say whether the claimed flux is for one lamp or a pair",
    "no_power": "a flux is claimed, but its watts were not measured: add electrical.csv",
    "beyond_white_light": "white light of good colour carries at most about {limit} lm/W without losses (Murphy "
    "2012); the lamp's light was not measured in lumens",
    "above_current_devices": "within the physical limit, above what current parts usually give",
    "plausible": "not ruled out by the measured power; not measured here",
}
WATTS_CLAIMED = {
    "claim_without_per": "its box does not say whether the claimed watts are for one lamp or a pair",
    "no_power": "watts are claimed, but were not measured: add electrical.csv",
}
PRICES = {
    "no_currency": "bench.toml names no currency, so prices are not used",
    "price_without_per": "its price does not say whether it is for one lamp or a pair",
    "gain_not_resolved": "no price per gained percent: the gain is not resolved, its interval includes zero",
    "open_among_all": "no price per gained percent: as one of all lamps, more light is not shown",
    "less_among_all": "no price per gained percent: by itself less light than {baseline}, and as one of all lamps it "
    "is not shown which gives more",
    "less_light": "no price per gained percent: it gives less light than {baseline}",
    "price_without_date": "the price has no date",
    "old_price": "the price is older than 180 days",
    "price_after_bench": "the price is younger than the bench",
    "bench_without_date": "the bench has no date",
}

AN_EXAMPLE = TheirFigure("An invented figure to show the test", "", ratio=1.20, expanded_percent=6.0)
"""Shown on an invented bench only, where no figure of others is given."""
_MOST_NAMED = 4  # seatings, pieces or days
ONE_BENCH = (
    "Both were read on one bench, so agreement is not independent: what the meter, its colour and the way of seating "
    "do alike in both cannot show. It says that the bench repeats, not that it is right."
)


def light_words(pair: ReadingComparison | JudgedRatio) -> str:
    """Return a ratio of light in words, to the places that its interval allows.

    Parameters
    ----------
    pair : ReadingComparison or JudgedRatio
        The ratio.

    Returns
    -------
    str
        "5.0 % more light", "5.0 % less light" or "no difference in light".
    """
    words = percent_words(pair)
    return f"{words} in light" if words == "no difference" else f"{words} light"


def percent_words(pair: ReadingComparison | JudgedRatio) -> str:
    """Return a ratio as "5.0 % more", to the places that its interval allows.

    Parameters
    ----------
    pair : ReadingComparison or JudgedRatio
        The ratio.

    Returns
    -------
    str
        The words; "no difference" where the figure is zero.
    """
    half = pair.ln_expanded_uncertainty
    return statements.percent_of(pair.ratio, 1 if math.isnan(half) else statements.limit_places(half))


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
    words = light_words(gain)
    head = f"{gain.lamp}: {words} {'to' if words.startswith('no difference') else 'than'} {gain.baseline}"
    if gain.verdict == "no_answer":
        return f"{head}; {statements.verdict_words(gain)}."
    pieces = "the one specimen" if gain.specimens == 1 else f"the {gain.specimens} specimens"
    whose = WHOSE[gain.scope].format(pieces=pieces)
    codes = (gain.family_verdict, gain.verdict)
    family, alone = (VERDICTS[code].format(margin=gain.alike_percent) for code in codes)
    said = f"{family} {whose}"
    if family != alone:
        alone = alone.split(",")[0]
        said = f"{alone} by itself {whose}, but not as one of the {gain.pairs} pairs of lamps compared here"
    return f"{head} ({statements.interval_words(gain)}), {said}."


def family_sentence(
    campaign: Campaign,
    lamp: str,
    against: str,
    *,
    housing: str,
    scope: str = "specimens",
    **where: Unpack[Place],
) -> str:
    """Return the verdict on two lamps as one of all pairs of lamps read at that place and instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, against : str
        The two lamps.
    housing : str
        Where both were read.
    scope : {"readings", "specimens", "models"}
        Which inputs count.
    **where : str
        Point and instant, as `Campaign.family` takes them.

    Returns
    -------
    str
        One sentence; empty where the two are the only lamps there, or there is no interval.
    """
    family = campaign.family(housing, scope=scope, against=against, **where)
    one = family.loc[lamp].to_dict()
    if len(family) < 2 or one["verdict"] == "no_answer":
        return ""
    ends = statements.ends_words(one["low"], one["high"], math.log(one["high"] / one["low"]) / 2.0)
    said = VERDICTS[one["verdict"]].format(margin=campaign.bench.settings.alike_percent)
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
    lamp, one, two = found.first.lamp, found.first.housing, found.second.housing
    if found.verdict == "clear":
        head = f"{lamp} against {found.first.baseline} is {statements.interval_words(found)}"
        return f"{head} in {one} than in {two}; quote each housing."
    head = f"Between {one} and {two} the gain of {lamp} does not differ beyond the bench uncertainty"
    return f"{head} ({_more(found.low, found.high, found.ln_expanded_uncertainty)} %)."


def _more(low: float, high: float, ln_half_width: float) -> str:
    """Return the ends of a ratio in per cent more."""
    return between(100.0 * (low - 1.0), 100.0 * (high - 1.0), statements.limit_places(ln_half_width))


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
    return value.judge_claim(row["claimed_flux_lm"], watts, claimed_per=row["claimed_per"], power_per=per)


def claimed_power(bench: Bench, lamp: str) -> value.PowerJudgement:
    """Return the watts claimed for a lamp over the highest that were measured, as of its flux.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    PowerJudgement
        With its code.
    """
    row, power = _lamp(bench, lamp), highest_power(bench, lamp)
    ends = (math.nan, math.nan) if power is None else power.watts.interval(bench.settings.coverage)
    watts = math.nan if power is None else power.watts.value
    return value.judge_claimed_power(row["claimed_power_W"], watts, *ends, claimed_per=row["claimed_per"])


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
        With its code; its range is that of the gain as one of all pairs.
    """
    row = _lamp(bench, gain.lamp)
    priced = {name: row[name] for name in ("price_per", "price_date")}
    days = {"last_day": max(bench.tables["days"]["date"], default=""), "currency": bench.settings.currency}
    low, high = gain.family_low, gain.family_high
    found = value.price_of_gain(row["price"], ratio=gain.ratio, low=low, high=high, **priced, **days)
    if found.code == "gain_not_resolved" and not gain.low <= 1.0 <= gain.high:
        return replace(found, code="open_among_all" if gain.low > 1.0 else "less_among_all", cautions=())
    return found


def claim_sentence(bench: Bench, lamp: str) -> str:
    """Return what is said of a claimed flux and of claimed watts, and what its maker replied.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    str
        Neutral words; blank where nothing is claimed that the bench measured and nobody replied.
    """
    row, power, found = _lamp(bench, lamp), highest_power(bench, lamp), claim_judgement(bench, lamp)
    printed = f" (where claimed: {one_line(str(row['claimed_where'])) or 'not stated'})"
    said = [] if found.code == "no_claim" else [f"{lamp}: {CLAIMS[found.code]}{printed}."]
    if found.claim is not None and power is not None:
        limit = "limit" if power.assumed == "nothing" else "assumed limit"
        words = CLAIMS[found.code].format(limit=decimal(found.claim.limit, 0))
        said = [
            f"{lamp}: the claim of {row['claimed_flux_lm']:g} lm per {row['claimed_per']}{printed} at the highest "
            f"watts measured ({decimal(power.watts.value, 1)} W a lamp, {limit} {decimal(power.upper, 1)} W) would be "
            f"at least {math.floor(found.claim.implied_efficacy)} lm/W: {words}."
        ]
    over = claimed_power(bench, lamp)
    if over.code == "given" and power is not None:
        each = f" ({row['claimed_power_W'] / 2.0:g} W a lamp)" if row["claimed_per"] == "pair" else ""
        percent = f"{100.0 * bench.settings.coverage:g} %"
        said.append(
            f"{lamp}: {row['claimed_power_W']:g} W per {row['claimed_per']}{each} are claimed; the highest "
            f"measured were {decimal(power.watts.value, 1)} W a lamp, {power.elapsed_s:g} s after switch-on: the claim "
            f"is {decimal(over.times, 2)} times that ({between(over.low, over.high, 2)} at {percent})."
        )
    replies = (one for one in bench.their_figures if one.lamp == lamp and one.text)
    said += [
        f"On {lamp}, {one.source} replied on {day_words(one.date)}: “{one_line(one.text)}”" for one in replies
    ]
    return " ".join(said)


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
    if gain.missing or (found := price_judgement(bench, gain)).code == "no_price":
        return ()
    cautions = "; ".join(PRICES[code] for code in found.cautions)
    tail = f" Caution: {cautions}." if cautions else ""
    if found.per_percent is None or found.low is None or found.high is None:
        said = PRICES[found.code].format(baseline=gain.baseline)
    else:
        costs = f"{decimal(found.per_percent, 2)} {bench.settings.currency} a pair"
        among = ", all lamps compared at once" if gain.pairs > 1 else ""
        source = f"by the range of the gain then{among}, {100.0 * gain.coverage:g} %"
        doubt = f"({between(found.low, found.high, 2)}, {source}), {statements.SCOPE_WORDS[gain.scope]}"
        said = f"a gained percent costs {costs} {doubt}; {_price_of_baseline(bench, gain.baseline)}"
    when = f"{statements.time_of(bench, gain.instant)} after switch-on"
    return (f"{when}, {gain.lamp}{in_housing(gain.housing)}: {said}.{tail}",)


def _price_of_baseline(bench: Bench, baseline: str) -> str:
    """Return what becomes of the price of the baseline in that of a gain."""
    row = _lamp(bench, baseline)
    each = f" a {row['price_per']}" if row["price_per"] else ""
    if math.isnan(row["price"]):
        return f"the price of {baseline} is not known"
    return f"the price of {baseline}, {row['price']:g} {bench.settings.currency}{each}, is not subtracted"


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
    head = f"Remaining light of {run.lamp}{in_housing(run.housing)}, record {run.run}"
    if run.remaining is None:
        refused = run.refusals[0]
        return f"{head}: not given, because {why(refused)}. {known_sentence(refused.known)}".rstrip()
    of = f"of the {settings.initial_s:g} s value after {settings.hold_minutes:g} minutes"
    return f"{head}: {_left(run.remaining, ' %')} {of}."


def _left(remaining: Remaining, unit: str = "") -> str:
    """Return remaining light with its interval."""
    ends = between(100.0 * remaining.low, 100.0 * remaining.high, 1)
    return f"{decimal(100.0 * remaining.value, 1)}{unit} ({ends})"


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
    parts = variance_by_term(gain.ln_ratio)
    largest = max(parts, key=lambda term: parts[term], default="")
    share = 100.0 * parts[largest] / gain.ln_ratio.u**2 if gain.ln_ratio.u else math.nan
    most = f"{statements.KIND_WORDS[largest]} {decimal(share, 0)} %" if share > 0.0 else ""
    ends = ["no interval" if gain.missing else statements.interval_words(one) for one in (gain, model)]
    return {
        "lamp": gain.lamp,
        "housing": gain.housing,
        "light": percent_words(gain),
        "for the specimens": ends[0],
        "verdict, all pairs counted": gain.family_verdict.replace("_", " "),
        "for the model as sold": ends[1],
        "most of the uncertainty": most,
        "left, by its longest record (%)": "" if left is None else _left(left[0]),
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
    head = f"In {housing or 'the one housing'}, {best}"
    family = "" if claim.comparisons == 1 else f", all {claim.comparisons} pairs counted together"
    how = f"({coverage:g} %{family}, for the specimens on the bench)"
    if claim.code != "highest":
        others = joined(map(str, claim.not_clear_of))
        but = "gives the highest figure but may not be called the highest: it is not clear of"
        return (f"{head} {but} {others} {how}.",)
    rests = []
    for lamp in (best, str(claim.record)):
        at = campaign.weights.names.index(campaign.name(lamp, housing=housing, instant=instant))
        n = campaign.weights.counts.iloc[at]
        pieces = count(int(n["n_specimens"]), "specimen")
        rests.append(f"{count(int(n['n_mountings']), 'seating')} of {pieces} of {lamp}")
    ends = _more(claim.low, claim.high, math.log(claim.high / claim.low) / 2.0)
    pair = campaign.ratio(best, str(claim.record), housing=housing, instant=instant)
    return (
        f"{head} may be called the highest so far: it is clear of every other lamp. It gives {ends} % more than "
        f"{claim.record}, which comes next {how}.",
        f"This rests on {', on '.join(rests)}, and on {count(len(pair.assumed), 'assumed figure')}.",
    )


def left_out_sentence(found: LeftOut) -> str:
    """Return whether any single part of the readings decides a verdict.

    Parameters
    ----------
    found : LeftOut
        A gain with each part left out in turn.

    Returns
    -------
    str
        One sentence.
    """
    noun = {"mounting": "seating"}.get(found.level, found.level)
    only = [part for part, verdict in found.each.items() if verdict is None]
    changing, kept = [part for part in found.changing if part not in only], len(found.each) - len(only)
    more = f" and {len(changing) - _MOST_NAMED} more" if len(changing) > _MOST_NAMED else ""
    said = f"No single {noun} decides it: leaving out any one of {kept} keeps the verdict." if kept else ""
    if kept == 1:
        (one,) = (part for part in found.each if part not in only)
        said = f"Leaving out the one {noun} that can be left out, {one}, keeps the verdict."
    if changing:
        said = f"Leaving out one {noun} changes the verdict: {'; '.join(changing[:_MOST_NAMED])}{more}."
    lost = f" Nothing is left to compare without {'; '.join(only[:_MOST_NAMED])}." if only else ""
    return f"{said}{lost}".strip()


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
    said, earlier = [], dict[str, list[Beside]]()
    for one in others:
        if one.own:
            earlier.setdefault(one.whose, []).append(one)
        else:
            said.append(_theirs(one))
    for label, mine in earlier.items():
        apart = [
            f"{figure_words(one)}, {_plus_minus(one.theirs)} then and {_plus_minus(one.ours)} now ({_score(one)})"
            for one in mine
            if abs(one.score) > 1.0
        ]
        scope = "the same pieces" if mine[0].scope != "models" else "other pieces, so for the models"
        more = f"; these differ by more than both: {'; '.join(apart)}" if apart else ""
        agree = f"{len(mine) - len(apart)} of {len(mine)} figures agree within both uncertainties"
        said.append(f"{label}, {scope}: {agree}{more}. {ONE_BENCH}")
    return tuple(said)


def _theirs(one: Beside) -> str:
    """Return whether somebody else's figure agrees with ours, for the models."""
    head = f"{one.whose}, {_plus_minus(one.theirs)} for {figure_words(one)}"
    if math.isnan(one.score):
        return f"{head}: this bench has no figure with an interval to set beside it."
    agree = f"they {'agree within' if abs(one.score) <= 1.0 else 'differ by more than'} both uncertainties"
    return f"{head}: this bench has {_plus_minus(one.ours)} for the model as sold; {agree} ({_score(one)})."


def _plus_minus(figure: tuple[float, float]) -> str:
    """Return a ratio, given in ln, with its expanded uncertainty."""
    value, half = math.exp(figure[0]), 100.0 * math.expm1(figure[1])
    return f"{decimal(value, 3)} ± {decimal(half, 1)} %"


def _score(one: Beside) -> str:
    """Return E_n, ours less theirs, and the coverage of the two intervals."""
    score = decimal(one.score, 2 if abs(one.score) < 10.0 else 0)
    return f"E_n {score}, both ± of {100.0 * one.coverage:g} %"
