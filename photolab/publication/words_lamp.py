"""One lamp in words: its gain, the difference between housings, what is left, its claim and its price."""

from __future__ import annotations

import math

from photolab.bench import value
from photolab.bench.campaign import Campaign
from photolab.bench.derived import Gain, HousingDifference, judge_gain
from photolab.bench.electrical import highest_power
from photolab.bench.model import Bench
from photolab.metrology.reporting import decimal
from photolab.publication import statements

__all__ = ["claim_sentence", "gain_sentence", "housings_sentence", "lamp_sentence", "light_words", "price_sentences"]

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
    verdict = VERDICTS[gain.verdict].format(margin=decimal(gain.alike_percent, 0))
    pieces = "the one specimen" if gain.specimens == 1 else f"the {gain.specimens} specimens"
    whose = {
        "readings": "for these readings alone",
        "specimens": f"for {pieces} on the bench",
        "models": "for the model as sold",
    }[gain.scope]
    return f"{head} ({statements.interval_words(gain)}), {verdict} {whose}."


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
    if model.verdict == gain.verdict:
        return said
    shown = "For" if model.verdict == "clear" else "Not shown for"
    single = "; a single piece says nothing of its model, so the declared spread of pieces stands in"
    tail = single if gain.specimens == 1 else ""
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
    places = statements.limit_places(math.log(found.high / found.low) / 2.0)
    low, high = (decimal(100.0 * (end - 1.0), places) for end in (found.low, found.high))
    if found.verdict.code != "clear":
        return (
            f"Between {found.first} and {found.second} the gain of {found.lamp} does not differ beyond the bench "
            f"uncertainty ({low} to {high} %)."
        )
    if found.value < 1.0:
        low, high = (decimal(100.0 * (1.0 - end), places) for end in (found.high, found.low))
    more = "more" if found.value > 1.0 else "less"
    return (
        f"{found.lamp} against {found.baseline} is {low} to {high} % {more} in {found.first} than in {found.second}; "
        "quote each housing."
    )


def claim_sentence(bench: Bench, lamp: str) -> str:
    """Return what is said of a claimed flux.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    str
        One sentence in neutral words; blank where no flux is claimed.
    """
    row, power = bench.tables["lamps"].set_index("lamp").loc[lamp], highest_power(bench, lamp)
    watts, per = (math.nan, "") if power is None else (power.upper, "lamp")
    found = value.judge_claim(
        float(row["claimed_flux_lm"]), watts, claimed_per=str(row["claimed_per"]), power_per=per
    )
    if found.code == "no_claim":
        return ""
    if found.claim is None or power is None:
        return f"{lamp}: {CLAIMS[found.code]}."
    limit = "limit" if power.assumed == "nothing" else "assumed limit"
    words = CLAIMS[found.code].format(limit=decimal(found.claim.limit, 0))
    return (
        f"{lamp}: the claim of {row['claimed_flux_lm']:g} lm per {row['claimed_per']} at the highest watts measured "
        f"({decimal(power.watts.value, 1)} W a lamp, {limit} {decimal(power.upper, 1)} W) would be at least "
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
    row, dates = bench.tables["lamps"].set_index("lamp").loc[gain.lamp], [d for d in bench.tables["days"]["date"] if d]
    if gain.missing:
        return ()
    found = value.price_of_gain(
        float(row["price"]),
        ratio=gain.ratio,
        low=gain.low,
        high=gain.high,
        price_per=str(row["price_per"]),
        price_date=str(row["price_date"]),
        last_day=max(dates, default=""),
        currency=bench.settings.currency,
    )
    if found.code == "no_price":
        return ()
    where = f"{gain.lamp} in {gain.housing}" if gain.housing else gain.lamp
    cautions = "; ".join(PRICE_CAUTIONS[code] for code in found.cautions)
    tail = f" Caution: {cautions}." if cautions else ""
    if found.per_percent is None or found.low is None or found.high is None:
        return (f"{where}: {PRICES[found.code].format(baseline=gain.baseline)}.{tail}",)
    middle, low, high = (decimal(x, 2) for x in (found.per_percent, found.low, found.high))
    money = bench.settings.currency
    pieces = statements.SCOPE_WORDS[gain.scope]
    return (f"{where}: a gained percent costs {middle} {money} a pair ({low} to {high}), {pieces}.{tail}",)
