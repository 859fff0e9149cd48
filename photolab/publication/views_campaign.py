"""What notebooks 10, 11 and 13 show: one lamp, all lamps together, what would overturn a result."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from photolab.bench import value
from photolab.bench.campaign import Campaign
from photolab.bench.derived import housing_difference
from photolab.bench.electrical import settled_power
from photolab.bench.heat import remaining_of, warm_up_runs
from photolab.bench.overturning import leave_one_out, somebody_elses, tipping_points
from photolab.errors import MethodError
from photolab.metrology.ranking import rank_intervals, record_claim
from photolab.metrology.reporting import decimal
from photolab.publication import statements, tables
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figure_tables import all_lamps, all_lamps_words
from photolab.publication.figures import all_lamps as drawing
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.findings import groups, joined, lamp_sentence
from photolab.publication.front_page import is_invented

CLAIM_WORDS = {
    "no_claim": "No flux is claimed for it.",
    "claim_without_per": "The claim does not say whether it is for one lamp or a pair, so nothing is said of it.",
    "no_power": "A flux is claimed, but its watts were not measured: add electrical.csv.",
    "power_without_per": "The watts do not say whether they are for one lamp or a pair.",
    "beyond_white_light": "no white source could give this at the measured power",
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
RECORD_WORDS = {
    "highest": "may be called the highest so far: it is clear of every other lamp, with all pairs counted together",
    "not_separated": "gives the highest figure but may not be called the highest: it is not clear of {others}",
    "below": "does not give the highest figure; {record} does",
}
NO_LAMP = "No verdict: no lamp other than the baseline was read in a housing with it."


def lamp_of(campaign: Campaign, lamp: str | None) -> str:
    """Return the lamp a notebook is about.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        As written in the settings; the first candidate where not given.

    Returns
    -------
    str
        The lamp; blank where there is none.
    """
    rows = campaign.table
    names = list(dict.fromkeys(rows["lamp"])) if len(rows) else []
    if lamp is None:
        return str(names[0]) if names else ""
    return lamp if lamp in names else ""


def _housings(campaign: Campaign, lamp: str) -> list[str]:
    rows = campaign.table
    return list(dict.fromkeys(rows[rows["lamp"] == lamp]["housing"])) if lamp else []


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
    places = _housings(campaign, name)
    said = [f"In {h or 'the housing'}: {lamp_sentence(campaign, name, h)}" for h in places]
    if len(places) > 1:
        said.append(_between_housings(campaign, name, places[0], places[1]))
    return say(*said)


def _between_housings(campaign: Campaign, lamp: str, first: str, second: str) -> str:
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
            why = next(
                (str(e) for r in mine if r.housing == housing for e in r.refusals), "the record is too short"
            )
            said.append(f"Remaining light in {housing}: not given, because {why}.")
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
    row = bench.tables["lamps"].set_index("lamp").loc[lamp]
    power = settled_power(bench, lamp)
    found = value.judge_claim(
        float(row["claimed_flux_lm"]),
        None if power is None else power.watts,
        claimed_per=str(row["claimed_per"]),
        power_per="" if power is None else "lamp",
        power_uncertainty=0.0 if power is None else power.standard_uncertainty,
    )
    if found.claim is None or power is None:
        return CLAIM_WORDS[found.code]
    efficacy = f"{decimal(found.claim.implied_efficacy, 0)} lm/W"
    what = f"The claim of {row['claimed_flux_lm']:g} lm per {row['claimed_per']} at {decimal(power.watts, 1)} W a lamp means"
    return f"{what} {efficacy} (limit for white light {decimal(found.claim.limit, 0)} lm/W): {CLAIM_WORDS[found.code]}."


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
    row = bench.tables["lamps"].set_index("lamp").loc[lamp]
    dates = [d for d in bench.tables["days"]["date"] if d]
    said = []
    for housing in _housings(campaign, lamp):
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
    heads = {"n_mountings": "seatings"}
    return table(rows.fillna({"verdict": ""}), columns=kept, heads=heads, places=3)


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
    words = all_lamps_words(rows, campaign.baseline)
    return picture(figure, alt=words, invented=is_invented(campaign.bench))


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


@dataclass(frozen=True, eq=False)
class LeftOutEach:
    """A comparison with each part of the readings left out in turn.

    Attributes
    ----------
    name : str
        The comparison in words; blank where there is none.
    ratio : float
        With everything in. [1]
    verdict : str
        Its verdict in words.
    tables : dict
        Level to the table of `overturning.leave_one_out`.
    """

    name: str
    ratio: float
    verdict: str
    tables: dict[str, pd.DataFrame]


def leave_each_out(campaign: Campaign, a: str | None, b: str | None) -> LeftOutEach:
    """Repeat the joint evaluation without each mounting, specimen and day.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; the first candidate against the baseline where not given.

    Returns
    -------
    LeftOutEach
        One table a level; none where there is no comparison.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return LeftOutEach("", math.nan, "", {})
    first, second, where = pair
    before = campaign.ratio(first, second, housing=where)
    found = {
        level: leave_one_out(campaign, first, second, housing=where, level=level)
        for level in ("mounting", "specimen", "day")
    }
    name = f"{first} against {second}" + (f" in {where}" if where else "")
    return LeftOutEach(name, before.ratio, statements.verdict_words(before), found)


def one_out(each: LeftOutEach, level: str) -> Table | Words:
    """Return the rows whose absence moves a ratio most.

    Parameters
    ----------
    each : LeftOutEach
        From `leave_each_out`.
    level : {"mounting", "specimen", "day"}
        What is left out.

    Returns
    -------
    Table or Words
        The most telling rows first.
    """
    if not each.tables:
        return say(NO_LAMP)
    found = each.tables[level]
    found = found.assign(
        **{c: 100.0 * (found[c] - 1.0) for c in ("ratio", "low", "high")},
        moves=(found["ratio"] / each.ratio - 1.0).abs(),
        verdict=found["verdict"].str.replace("_", " "),
    ).sort_values("moves", ascending=False, kind="stable")
    heads = {
        "left_out": f"{level} left out",
        "ratio": f"{each.name} (%)",
        "low": "low (%)",
        "high": "high (%)",
    }
    return table(
        found.head(6), columns=["left_out", "ratio", "low", "high", "verdict"], heads=heads, places=1
    )


def one_out_words(each: LeftOutEach) -> Words:
    """Return whether any single mounting, specimen or day decides a verdict.

    Parameters
    ----------
    each : LeftOutEach
        From `leave_each_out`.

    Returns
    -------
    Words
        One sentence a level.
    """
    if not each.tables:
        return say(NO_LAMP)
    said = [f"{each.name}: {each.verdict}."]
    for level, found in each.tables.items():
        changing = list(found.loc[found["changes"], "left_out"])
        if changing:
            shown = joined(changing[:4]) + (f" and {len(changing) - 4} more" if len(changing) > 4 else "")
            said.append(f"Leaving out one {level} changes the verdict for: {shown}.")
        else:
            said.append(
                f"No single {level} decides it: leaving out any one of {len(found)} keeps the verdict."
            )
    return say(*said)


def _pair(campaign: Campaign, a: str | None, b: str | None) -> tuple[str, str, str] | None:
    first = lamp_of(campaign, a)
    if not first:
        return None
    second = b or campaign.baseline
    for where in _housings(campaign, first):
        try:
            pair = campaign.ratio(first, second, housing=where)
        except MethodError:
            continue
        if pair.result is not None:
            return first, second, where
    return None


def tipping(campaign: Campaign, a: str | None, b: str | None, *, scope: str = "specimens") -> Table | Words:
    """Return how many times larger or smaller each doubt would have to be.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a, b : str, optional
        Lamps; the first candidate against the baseline where not given.
    scope : str
        Whose interval.

    Returns
    -------
    Table or Words
        Largest part first.
    """
    pair = _pair(campaign, a, b)
    if pair is None:
        return say(NO_LAMP)
    first, second, where = pair
    found = tipping_points(campaign, first, second, housing=where, scope=scope)
    clear = campaign.ratio(first, second, housing=where, scope=scope).verdict == "clear"
    said = [
        "no factor of it alone"
        if math.isnan(f)
        else f"{'more' if f > 1 else 'less'} than {decimal(f, 1)} times as large"
        for f in found["factor"]
    ]
    rows = pd.DataFrame(
        {
            "what may be off": [statements.KIND_WORDS.get(k, k) for k in found["kind"]],
            "moves the result by (± %)": found["half_width_percent"],
            "to be no longer clear" if clear else "to become clear": said,
        }
    )
    return table(rows.head(8), places=1)


def other_number(campaign: Campaign, a: str | None, *, ratio: float, expanded_percent: float) -> Words:
    """Return whether somebody else's ratio agrees, with nothing shared and with half of it shared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    a : str, optional
        The lamp; against the baseline.
    ratio : float
        The other ratio. [1]
    expanded_percent : float
        Its expanded uncertainty. [%]

    Returns
    -------
    Words
        Two sentences.
    """
    pair = _pair(campaign, a, None)
    if pair is None:
        return say(NO_LAMP)
    first, second, where = pair
    said = []
    for correlation, shared in (
        (0.0, "nothing shared"),
        (0.5, "half of the doubt shared, as with one kind of meter"),
    ):
        found = somebody_elses(
            campaign,
            first,
            second,
            housing=where,
            ratio=ratio,
            expanded_percent=expanded_percent,
            correlation=correlation,
        )
        agrees = "agree" if found.agrees else "do not agree"
        said.append(
            f"With {shared}: E_n = {decimal(found.normalized_error, 2)}, so the two {agrees} within their uncertainties "
            f"(within ±1 they do; ISO 13528)."
        )
    return say(
        f"Somebody else's {decimal(ratio, 3)} ± {decimal(expanded_percent, 1)} % for {first}/{second}:", *said
    )
