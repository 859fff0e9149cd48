"""What notebook 10 shows: one lamp, in each housing, cold and warm, its claim and its price."""

from __future__ import annotations

import math

import pandas as pd

from photolab.bench import value
from photolab.bench.campaign import Campaign
from photolab.bench.derived import housing_difference
from photolab.bench.electrical import highest_power
from photolab.bench.heat import remaining_of, warm_up_runs
from photolab.metrology.reporting import decimal
from photolab.publication import statements, tables
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figure_tables import all_lamps, all_lamps_words
from photolab.publication.figures import all_lamps as drawing
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.findings import lamp_sentence
from photolab.publication.front_page import is_invented
from photolab.publication.words_heat import known_sentence, why

NO_LAMP = (
    "No verdict: no lamp has an interval against the baseline, both read in one housing at the initial time."
)


CLAIM_WORDS = {
    "no_claim": "No flux is claimed for it.",
    "claim_without_per": "The claim does not say whether it is for one lamp or a pair, so nothing is said of it.",
    "no_power": "A flux is claimed, but its watts were not measured: add electrical.csv.",
    "power_without_per": "The watts do not say whether they are for one lamp or a pair.",
    "beyond_white_light": "white light of good colour carries at most about {limit} lm/W without losses (Murphy "
    "2012); the lamp's light was not measured in lumens",
    "above_current_devices": "within the physical limit, above what current parts usually give",
    "plausible": "plausible at the measured power, not verified here",
}
PRICE_WORDS = {
    "no_price": "No price is on file.",
    "no_currency": "bench.toml names no currency, so prices are not used.",
    "price_without_per": "The price does not say whether it is for one lamp or a pair.",
    "gain_not_resolved": "No price per gained percent: the gain is not resolved, its interval includes zero.",
    "less_light": "No price per gained percent: it gives less light than the baseline.",
}
PRICE_CAUTIONS = {
    "price_without_date": "the price has no date",
    "old_price": "the price is older than 180 days",
    "price_after_bench": "the price is younger than the bench",
    "bench_without_date": "the bench has no date",
}


def lamp_of(campaign: Campaign, lamp: str | None) -> str:
    """Return the lamp a notebook is about.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        As written in the settings; where not given, the lamp on which two housings differ most, the first one
        where there is one housing.

    Returns
    -------
    str
        The lamp; blank where there is none.
    """
    rows = campaign.table
    names = list(dict.fromkeys(rows["lamp"])) if len(rows) else []
    if lamp is not None:
        return lamp if lamp in names else ""
    at = _at_first(campaign)
    spans = {name: block.max() / block.min() for name, block in at.groupby("lamp", sort=False)["value"]}
    return max(names, key=lambda name: spans.get(name, 0.0), default="")


def housings_of(campaign: Campaign, lamp: str) -> list[str]:
    """Return the housings in which a lamp was compared with the baseline at the initial time.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.

    Returns
    -------
    list of str
        In the order of the results.
    """
    rows = _at_first(campaign)
    return list(dict.fromkeys(rows[rows["lamp"] == lamp]["housing"]))


def _at_first(campaign: Campaign) -> pd.DataFrame:
    """Return the results for the specimens, at the hot spot and the initial time."""
    rows = campaign.table
    return rows[
        (rows["point"] == "hot_spot") & (rows["instant"] == "initial") & (rows["scope"] == "specimens")
    ]


def lamp_picture(campaign: Campaign, lamp: str | None) -> Picture | Words:
    """Return the lamp among all lamps as a figure.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        The lamp; every lamp where it is "all".

    Returns
    -------
    Picture or Words
        A panel a housing.
    """
    rows = all_lamps(campaign)
    name = "all" if lamp == "all" else lamp_of(campaign, lamp)
    rows = rows if name == "all" else rows[rows["lamp"] == name].reset_index(drop=True)
    if rows.empty or rows["low"].isna().all():
        return say("No picture: there is no interval yet.")
    housings = rows["housing"].nunique()
    height = 1.4 + 0.26 * rows["lamp"].nunique()
    figure, panels = new_figure(1, housings, width=7.2, height=height)
    drawing.draw(panels, rows, baseline=campaign.baseline)
    words = all_lamps_words(rows, campaign.baseline, coverage=campaign.bench.settings.coverage)
    return picture(figure, alt=words, invented=is_invented(campaign.bench))


def verdict(campaign: Campaign, lamp: str | None) -> Words:
    """Return one sentence a housing, and the sentence on the difference between housings.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        The lamp.

    Returns
    -------
    Words
        Sentences to be read aloud.
    """
    name = lamp_of(campaign, lamp)
    if not name:
        return say(NO_LAMP)
    places = housings_of(campaign, name)
    if not places:
        return say(NO_LAMP)
    said = [f"In {h or 'the housing'}: {lamp_sentence(campaign, name, h)}" for h in places]
    if len(places) > 1:
        said.append(_betweenhousings_of(campaign, name, places[0], places[1]))
    return say(*said)


def _betweenhousings_of(campaign: Campaign, lamp: str, first: str, second: str) -> str:
    found = housing_difference(campaign, lamp, first, second)
    half = math.log(found.high / found.low) / 2.0
    places = statements.limit_places(half)
    if found.verdict.code == "clear":
        low, high = (100.0 * (x - 1.0) for x in (found.low, found.high))
        return (
            f"The two housings do not agree on it: its light relative to {found.baseline} is {decimal(low, places)} to "
            f"{decimal(high, places)} % more in {first} than in {second}, so no one figure stands for both."
        ).replace("--", "-")
    return (
        f"Between {first} and {second} the gain does not differ beyond the bench uncertainty "
        f"({decimal(100 * (found.low - 1), places)} to {decimal(100 * (found.high - 1), places)} %)."
    )


def after_heat(campaign: Campaign, lamp: str | None) -> Words:
    """Return what is left after the hold time, or why that is not known.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        The lamp.

    Returns
    -------
    Words
        One sentence a record.
    """
    name, settings = lamp_of(campaign, lamp), campaign.bench.settings
    runs = warm_up_runs(campaign.bench)
    mine = [r for r in runs if r.lamp == name]
    if not mine:
        return say("Remaining light: no warm-up record of this lamp; add it to warm_up.csv.")
    said = []
    for housing in dict.fromkeys(r.housing for r in mine):
        found = remaining_of(runs, name, housing)
        if found is None:
            refused = next((e for r in mine if r.housing == housing for e in r.refusals), None)
            reason = "the record is too short" if refused is None else why(refused)
            known = "" if refused is None else known_sentence(refused.known, initial_s=settings.initial_s)
            said.append(f"Remaining light in {housing}: not given, because {reason}. {known}".rstrip())
            continue
        x = found[0]
        low, high, mid = (decimal(100.0 * v, 1) for v in (x.low, x.high, x.value))
        said.append(
            f"Remaining light: {mid} % ({low} to {high}) of the {settings.initial_s:g} s value after "
            f"{settings.hold_minutes:g} minutes, in {housing}, for this specimen."
        )
    return say(*said)


def claim_and_price(campaign: Campaign, lamp: str | None) -> Words:
    """Return the claim on the box against the watts, and what a gained percent costs.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        The lamp.

    Returns
    -------
    Words
        Two or more sentences.
    """
    name = lamp_of(campaign, lamp)
    if not name:
        return say(NO_LAMP)
    return say(claim_sentence(campaign, name), *price_sentences(campaign, name))


def claim_sentence(campaign: Campaign, lamp: str) -> str:
    """Return what is said of a claimed flux.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.

    Returns
    -------
    str
        One sentence in neutral words.
    """
    bench = campaign.bench
    row = next(r for r in bench.tables["lamps"].to_dict("records") if r["lamp"] == lamp)
    power = highest_power(bench, lamp)
    found = value.judge_claim(
        float(row["claimed_flux_lm"]),
        None if power is None else power.upper,
        claimed_per=str(row["claimed_per"]),
        power_per="" if power is None else "lamp",
    )
    if found.claim is None or power is None:
        return CLAIM_WORDS[found.code]
    box = f"{row['claimed_flux_lm']:g} lm per {row['claimed_per']}"
    limit = "limit" if power.assumed == "nothing" else "assumed limit"
    watts = f"{decimal(power.watts.value, 1)} W a lamp, {limit} {decimal(power.upper, 1)} W"
    least = f"at least {decimal(found.claim.implied_efficacy, 0)} lm/W"
    words = CLAIM_WORDS[found.code].format(limit=decimal(found.claim.limit, 0))
    return f"The claim of {box} at the highest watts measured ({watts}) would be {least}: {words}."


def price_sentences(campaign: Campaign, lamp: str) -> list[str]:
    """Return what a gained percent costs in each housing, or why that is not said.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.

    Returns
    -------
    list of str
        One sentence a housing.
    """
    bench = campaign.bench
    row = next(r for r in bench.tables["lamps"].to_dict("records") if r["lamp"] == lamp)
    dates = [d for d in bench.tables["days"]["date"] if d]
    said = []
    for housing in housings_of(campaign, lamp):
        pair = campaign.ratio(lamp, campaign.baseline, housing=housing)
        if math.isnan(pair.low):
            continue
        found = value.price_of_gain(
            float(row["price"]),
            ratio=pair.ratio,
            low=pair.low,
            high=pair.high,
            price_per=str(row["price_per"]),
            price_date=str(row["price_date"]),
            last_day=max(dates) if dates else "",
            currency=bench.settings.currency,
        )
        said.append(f"In {housing}: {_price(found, bench.settings.currency)}")
    return said


def _price(found: value.PriceJudgement, currency: str) -> str:
    cautions = "; ".join(PRICE_CAUTIONS[c] for c in found.cautions)
    tail = f" Caution: {cautions}." if cautions else ""
    if found.per_percent is None or found.low is None or found.high is None:
        return PRICE_WORDS[found.code] + tail
    middle, low, high = (decimal(x, 2) for x in (found.per_percent, found.low, found.high))
    return f"a gained percent costs {middle} {currency} a pair ({low} to {high}), for these specimens.{tail}"


def results_of(campaign: Campaign, lamp: str | None) -> Table | Words:
    """Return every result of one lamp as a table.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        The lamp.

    Returns
    -------
    Table or Words
        One row a measurand, housing, instant and scope.
    """
    name = lamp_of(campaign, lamp)
    if not name:
        return say(NO_LAMP)
    whole = tables.results(campaign)
    rows = whole[whole["lamp"] == name]
    among = rows["family_verdict"]
    rows = rows.assign(verdict=among.where(among != "", rows["verdict"]))
    kept = [
        "measurand",
        "housing",
        "instant",
        "scope",
        "value",
        "low",
        "high",
        "unit",
        "verdict",
        "n_mountings",
    ]
    heads = {"n_mountings": "seatings", "verdict": "verdict, all pairs counted together"}
    return table(rows.fillna({"verdict": ""}), columns=kept, heads=heads, places=3)
