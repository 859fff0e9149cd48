"""Sentences on the bench itself: how repeatable it is, whether it held, what a new meter or protocol does."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.inputs.spreads import FLAG_LEVEL
from photolab.bench.questions.meter_change import MeterChange
from photolab.bench.questions.repeatability import BaselineChart, Levels
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.terms.schema import technology_name
from photolab.metrology.control import Signal
from photolab.metrology.monte_carlo import Validation
from photolab.metrology.precision import Homogeneity, limits_by_pairs, pooled_sd
from photolab.metrology.quantity import COVERAGE, coverage_factor
from photolab.metrology.reporting import decimal, places_for
from photolab.publication.sentences import statements
from photolab.publication.sentences.findings import joined
from photolab.publication.sentences.statements import SCOPE_WORDS, VERDICTS, capital, in_housing
from photolab.publication.sentences.words_heat import between
from photolab.publication.sentences.words_lamp import light_words

LEVEL_WORDS = {
    "specimen": "specimen to specimen",
    "day": "day to day",
    "mounting": "seating to seating",
    "reading": "reading to reading",
    "part": "lamp to lamp",
    "appraiser": "person to person",
    "gauge": "person and seating together",
}
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
VERDICT_NAMES = VERDICTS | {"clear": "clear", "alike": "alike"}


def level_words(level: str) -> str:
    """Return what varies in words.

    Parameters
    ----------
    level : str
        Level of a component; several joined by ``+`` where they cannot be told apart.

    Returns
    -------
    str
        "seating to seating"; "seating and reading together".
    """
    if "+" not in level:
        return LEVEL_WORDS.get(level, level)
    names = level.replace("mounting", "seating").replace("interaction", "seating").split("+")
    return f"{' and '.join(names)} together"


def pairs_words(by_pairs: float, groups: Iterable[tuple[Any, pd.DataFrame]], *, coverage: float) -> str:
    """Return whether a standard deviation by pairs is what normal scatter gives beside the pooled one.

    Parameters
    ----------
    by_pairs : float
        From the first and second value of each group, the third and fourth, and so on. [1]
    groups : iterable of (key, DataFrame)
        The same values, in a column ln_value, as a groupby gives them. [1]
    coverage : float
        Part of benches of normal scatter of which that is said. [1]

    Returns
    -------
    str
        The words.
    """
    values = [rows["ln_value"].to_numpy(float) for _, rows in groups]
    if not any(np.ptp(x) > 0.0 for x in values):
        return "nothing scatters"
    sd, dof = pooled_sd(values)
    low, high = limits_by_pairs(sd, pairs=sum(len(x) // 2 for x in values), dof=dof, coverage=coverage)
    if low <= by_pairs <= high:
        return "as near as normal scatter gives"
    return "further apart: the scatter may not be normal"


def counted(number: int, noun: str) -> str:
    """Return a small number in letters with its noun.

    Parameters
    ----------
    number : int
        How many. [1]
    noun : str
        Singular.

    Returns
    -------
    str
        "three specimens".
    """
    figure = COUNTS[number] if 0 <= number < len(COUNTS) else str(number)
    return f"{figure} {noun}{'' if number == 1 else 's'}"


def in_campaigns(p: float) -> str:
    """Return how often chance alone makes something.

    Parameters
    ----------
    p : float
        Probability. [1]

    Returns
    -------
    str
        "in 14 of 100 campaigns".
    """
    often = "fewer than 1 of 1000" if p < 0.001 else f"{_hundredths(p).removesuffix('.0')} of 100"
    return f"in {often} campaigns"


def ratio_words(name: str, pair: ReadingComparison) -> str:
    """Return a ratio with its interval, verdict and scope.

    Parameters
    ----------
    name : str
        What is compared: "K2 against K1 in housing HP".
    pair : ReadingComparison
        The comparison.

    Returns
    -------
    str
        One sentence.
    """
    head = f"{name}: {light_words(pair)}"
    if pair.verdict == "no_answer":
        return f"{head}; {statements.verdict_words(pair)}."
    interval = f"{statements.interval_words(pair)}, {100.0 * pair.coverage:g} %"
    return f"{head} ({interval}), {VERDICTS[pair.verdict]}, {SCOPE_WORDS[pair.scope]}."


def dominant_words(budget: pd.DataFrame) -> tuple[str, ...]:
    """Return what dominates the uncertainty of a result.

    Parameters
    ----------
    budget : DataFrame
        As `figure_tables.budget` returns it.

    Returns
    -------
    tuple of str
        One sentence; none where there is no interval.
    """
    return tuple(
        f"What blurs it most is the {row['what']}: {decimal(row['part'], 0)} % of the uncertainty, and alone it moves "
        f"the result by ± {row['label']} % ({row['known_from']})."
        for row in budget.head(1).to_dict("records")
    )


def validation_words(found: Validation) -> str:
    """Return whether draws and the law of propagation agree, by JCGM 101, clause 8.

    Parameters
    ----------
    found : Validation
        Of the two intervals.

    Returns
    -------
    str
        One sentence.
    """
    share, head = max(found.d_low, found.d_high) / found.tolerance, "The ends of the two intervals differ by"
    if found.validated:
        percent = decimal(100.0 * share, 0)
        return f"{head} at most {percent} % of half the last digit given: the law of propagation stands."
    times = decimal(share, max(places_for(share), 0))
    far = f"{head} up to {times} times half the last digit given, so it shows in the digits"
    return f"{far}: where a verdict hangs on so little, use the interval of the draws; the report gives the law's."


def chance(p: float) -> str:
    """Return a small probability in words.

    Parameters
    ----------
    p : float
        Probability. [1]

    Returns
    -------
    str
        "0.6 %", or "under 0.1 %".
    """
    return "under 0.1 %" if p < 0.001 else f"{_hundredths(p)} %"


def _hundredths(p: float) -> str:
    return decimal(100.0 * p, 1 if p < 0.1 else 0)


def levels_words(found: Levels) -> tuple[str, ...]:
    """Return how repeatable a bench is.

    Parameters
    ----------
    found : Levels
        The spread of each level.

    Returns
    -------
    tuple of str
        Sentences.
    """
    rows, counts = {str(row["level"]): row for row in found.table.to_dict("records")}, found.counts
    said, percent = [], f"{100.0 * found.coverage:g}"
    if row := rows.get("mounting"):
        reading = rows["reading"]["variance"] if "reading" in rows else 0.0
        seat = math.sqrt(row["variance"] + reading * counts["mounting"] / counts["reading"])
        limit = decimal(100.0 * coverage_factor(found.coverage) * math.sqrt(2.0) * seat, 1)
        places = 2 if 100.0 * row["sd"] < 1.0 else 1
        over = f"over {counted(counts['day'], 'day')}" if counts["day"] else "no day stated"
        sd, low = (decimal(100.0 * row[key], places) for key in ("sd", "low"))
        high = decimal(100.0 * row["high"], 0 if row["high"] >= 0.1 else places)
        said.append(
            "Seat a lamp again on the same day and its reading changes: the standard deviation from seating to seating "
            f"is {sd} % ({low} to {high} % at {percent} %), in {counted(counts['housing'], 'housing')}, {over}. "
            f"If that figure is the true one, two seatings of one lamp differ by less than {limit} % in {percent} of "
            "100 cases."
        )
    for level, row in ((level, row) for level, row in rows.items() if "+" in level and "mounting" in level):
        low, sd, high = (decimal(100.0 * row[end], 1) for end in ("low", "sd", "high"))
        told = f"{capital(level_words(level))} scatter by {sd} % ({low} to {high} % at {percent} %)"
        said.append(f"{told}: these readings do not tell them apart.")
    ordered = sorted(rows.values(), key=lambda row: -row["part"])
    parts = [f"{level_words(row['level'])} {decimal(100.0 * row['part'], 0)} %" for row in ordered]
    then = f"; then {', '.join(parts[1:])}" if parts[1:] else ""
    seatings = f"{counted(counts['mounting'], 'seating')} of {counted(counts['lamp'], 'lamp')}"
    return (
        *said,
        f"The largest part of the variance is {parts[0]}{then}.",
        f"It holds for this bench, these housings and hands, from {seatings}.",
    )


def homogeneity_words(found: Homogeneity) -> tuple[str, ...]:
    """Return whether groups scatter alike.

    Parameters
    ----------
    found : Homogeneity
        The test of the groups.

    Returns
    -------
    tuple of str
        Sentences.
    """
    judged = "Nothing speaks against one pooled standard deviation for all."
    if found.widest_p < FLAG_LEVEL:
        judged = "One pooled standard deviation does not serve them all: look at that one by itself."
    elif found.p < FLAG_LEVEL:
        judged = (
            "They do not scatter alike, and the widest alone does not explain it: look at the quietest too."
        )
    wide, large = in_campaigns(found.widest_p), in_campaigns(found.p)
    head = f"{found.widest} scatters most. If all scattered alike, one as wide would still appear {wide}"
    return f"{head}, and differences as large among all of them {large}.", judged


def signal_words(signal: Signal, *, coverage: float = COVERAGE) -> str:
    """Return a sign on a control chart as a sentence without its full stop.

    Parameters
    ----------
    signal : Signal
        What was found, in ln.
    coverage : float, default COVERAGE
        Of its interval. [1]

    Returns
    -------
    str
        The sentence.
    """
    down, slope = signal.size < 0, signal.kind == "drift"
    sizes = (abs(signal.size), *sorted((abs(signal.low), abs(signal.high))))
    far, low, high = (
        decimal(100.0 * (x if slope else abs(math.expm1(math.copysign(x, signal.size)))), 1) for x in sizes
    )
    if slope:
        way = "down" if down else "up"
        return (
            f"a slope of {far} % {way} from one day to the next ({low} to {high} %), which a step also makes"
        )
    lie = f"{signal.first} to {signal.last} together lie"
    who = f"{signal.first} lies" if signal.first == signal.last else lie
    versus = f"{'below' if down else 'above'} the {'days before' if signal.kind == 'step' else 'other days'}"
    chance = f"a steady bench shows such a sign {in_campaigns(signal.p)}"
    return f"{who} {far} % {versus} ({low} to {high} % at {100.0 * coverage:g} %; {chance})"


def chart_words(one: BaselineChart) -> str:
    """Return what the control chart of one housing shows.

    Parameters
    ----------
    one : BaselineChart
        The chart.

    Returns
    -------
    str
        One sentence.
    """
    head = f"{one.lamp}{in_housing(one.housing)} {'with' if one.volts_corrected else 'without'} the voltage correction"
    strongest = {signal.kind: signal for signal in reversed(one.chart.signals)}
    kept = [strongest[kind] for kind in ("group", "step", "drift") if kind in strongest]
    if [signal.kind for signal in kept[:2]] == ["group", "step"] and kept[0].first == kept[1].first:
        del kept[1]
    days = [signal for signal in one.chart.signals if signal.kind == "day"]
    together, alone = (
        "; ".join(signal_words(signal, coverage=1.0 - one.chart.false_alarm) for signal in some)
        for some in (kept, days)
    )
    said = (
        "no day, no group of days, no step and no drift beyond its limit; the bench held within what seatings and "
        "days scatter"
    )
    if days:
        said = f"{together}; and by {'itself' if len(days) == 1 else 'themselves'} {alone}" if kept else alone
    elif kept:
        said = f"no single day is beyond its limits, but {together}"
    return f"{head}: {said}."


def held_words(
    campaign: Campaign, before: Sequence[BaselineChart], after: Sequence[BaselineChart]
) -> tuple[str, ...]:
    """Return whether the bench held, what the voltage correction took off, and how often a sign comes by chance.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    before, after : sequence of BaselineChart
        Without and with the voltage correction; `before` is empty where no reading states other volts.

    Returns
    -------
    tuple of str
        Sentences.
    """
    settings = campaign.bench.settings
    found, lost = ([s for one in charts for s in one.chart.signals] for charts in (after, before))
    said = [
        "No: even with its corrections the baseline shows something that chance seldom makes; see below."
        if found
        else "Yes: with its corrections the baseline shows no day, no group of days, no step and no drift beyond what "
        "seatings and days scatter."
    ]
    if lost and not found:
        said.append(
            "Without the voltage correction it does not hold: the supply moved, and the correction takes it off."
        )
    if found and campaign.selection.readings["socket_V"].isna().any():
        said.append(
            "Write the volts at the lamp socket beside each reading (socket_V): the supply is the first thing to "
            "suspect."
        )
    notes = campaign.bench.tables["days"].set_index("day")["note"].astype(str)
    first = dict.fromkeys(str(s.first) for s in (lost or found) if s.kind in {"group", "step"})
    said += [f"Noted in days.csv for {day}: {notes[day]}." for day in first if notes.get(day)]
    origin = "declared" if "day_sd_percent" in settings.declared else "assumed"
    chance_of = in_campaigns(after[0].chart.false_alarm)
    said.append(
        f"Days may scatter by {decimal(settings.day_sd_percent, 1)} % ({origin}). In a housing where nothing happened, "
        f"such a sign turns up {chance_of}."
    )
    return tuple(said)


def linked_words(campaign: Campaign) -> tuple[str, ...]:
    """Return which days of the baseline were read with another meter.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of str
        One sentence a meter.
    """
    rows = campaign.selection.readings
    rows = rows[(rows["lamp"] == campaign.baseline) & (rows["onto"] != rows["meter"])]
    return tuple(
        f"On {joined(dict.fromkeys(block['day']))} it was read with {meter} and brought to {campaign.selection.meter} "
        f"by their link, {decimal(math.exp(float(block['link_ln'].iloc[0])), 4)} times; these days share its "
        f"uncertainty, {decimal(100.0 * float(block['link_u'].iloc[0]), 1)} %."
        for meter, block in rows.groupby("meter", sort=False)
    )


def bracketed_words(campaign: Campaign, over: pd.DataFrame) -> tuple[str, ...]:
    """Return how many seatings stand between two baselines, and how much either of them would change.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    over : DataFrame
        One row a seating: inside (bool), and the lower and upper of the baselines beside it, least and most. [ln lx]

    Returns
    -------
    tuple of str
        Sentences.
    """
    between_two = over[over["inside"].astype(bool)]
    head = f"{len(between_two)} of {len(over)} seatings stand between two baselines of their day and housing."
    if between_two.empty:
        return (
            f"{head} How far the bench drifts within a day is not seen: read the baseline first and last.",
        )
    half = 50.0 * float(np.median(between_two["most"] - between_two["least"]))
    seating = 100.0 * campaign.spreads.mounting.sd
    judged = (
        f"one seating of a lamp scatters with a standard deviation of {decimal(seating, 1)} %, so this much is no sign "
        "of drift within the days."
        if half <= seating
        else f"that is more than the {decimal(seating, 1)} % that one seating scatters: the bench drifts within a day, "
        "and only ratios by clock hold."
    )
    said = (
        f"{head} Taking either of the two instead of the value in between would move a ratio by "
        f"± {decimal(half, 1)} % (median); {judged}"
    )
    if campaign.selection.readings["socket_V"].notna().all():
        return (said,)
    return said, "Write the volts at the lamp socket beside each reading: they say whether the supply moved."


def colour_words(row: Mapping[Any, Any]) -> str:
    """Return whether two links differ as the colour responses of the meters say they should.

    Parameters
    ----------
    row : mapping
        One row of `meter_change.colour_prediction`.

    Returns
    -------
    str
        One sentence.
    """
    inside = row["low"] <= row["predicted"] <= row["high"]
    end = "the meters' colours explain it" if inside else "something else differs between the meters as well"
    return (
        f"The link of {row['technology']} lamps over that of {row['against']} lamps is {decimal(row['observed'], 4)} "
        f"({between(row['low'], row['high'], 4)}); from the spectra and the responsivities of both "
        f"meters it should be {decimal(row['predicted'], 4)}: {end}."
    )


def refused_words(refused: str, technologies: Sequence[str]) -> list[str]:
    """Return what keeps readings on the old meter.

    Parameters
    ----------
    refused : str
        Why none can be brought to the new one; empty where nothing stands against it.
    technologies : sequence of str
        Those without a link.

    Returns
    -------
    list of str
        One sentence each.
    """
    if refused:
        return [f"{capital(refused)}."]
    return [f"{technology_words(kind)}: no link; they stay on the old meter." for kind in technologies]


def moved_words(how: str, change: MeterChange) -> str:
    """Return how many verdicts change with the meter.

    Parameters
    ----------
    how : str
        What is done about the colour: "corrected", "not corrected", "as read".
    change : MeterChange
        Both results.

    Returns
    -------
    str
        One sentence.
    """
    if change.after.empty:
        return f"Colour {how}: no verdict on {change.new}, for the baseline has no link."
    moved = f"{len(change.changed)} of {len(change.after)} verdicts change"
    return f"Colour {how}: {moved} from {change.old} to {change.new}."


def other_days_words(table: pd.DataFrame, scatter: Sequence[float], *, coverage: float) -> tuple[str, ...]:
    """Return whether the days foretell one another, and what that says about the spreads that were used.

    Parameters
    ----------
    table : DataFrame
        One row a figure: lamp, specimen, housing, day, percent (seen from predicted), low and high (of
        what was to be expected) and inside (bool). [%]
    scatter : sequence of float, length 3
        How far the figures lie from their predictions over what the spreads let expect, and its interval. [1]
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    tuple of str
        How many, which did not, what it says.
    """
    hits, share, (ratio, low, high) = int(table["inside"].sum()), 100.0 * coverage, scatter
    missed = [
        f"Missed: {' '.join(filter(None, [row['lamp'], row['specimen']]))}{in_housing(row['housing'])} on "
        f"{row['day']}, {decimal(abs(row['percent']), 1)} % {'more' if row['percent'] > 0 else 'less'} than predicted "
        f"({decimal(-row['low'], 1)} % less to {decimal(row['high'], 1)} % more was to be expected)."
        for row in table[~table["inside"].astype(bool)].to_dict("records")
    ]
    word = "nothing speaks against them"
    if low > 1.0:
        word = "days and seatings scatter more than was put in: raise day_sd_percent, or find what moved"
    elif high < 1.0:
        word = "days scatter less than was put in: a smaller day_sd_percent could be declared"
    return (
        f"{hits} of {len(table)} figures lie where the other days put them; intervals at {share:g} % would hold "
        f"{decimal(coverage * len(table), 0)} of them in the mean.",
        *missed,
        f"The figures lie {decimal(ratio, 2)} times as far from their predictions as the spreads of seating and day "
        f"let expect ({between(low, high, 2)} at {share:g} %): {word}.",
    )


def technology_words(technology: str) -> str:
    """Return the lamps of a technology, as the start of a sentence.

    Parameters
    ----------
    technology : str
        Code of lamps.csv.

    Returns
    -------
    str
        "LED lamps".
    """
    return f"{capital(technology_name(technology) or 'unknown')} lamps"


def link_words(link: Mapping[Any, Any], *, coverage: float = COVERAGE) -> str:
    """Return a link between two meters as a sentence.

    Parameters
    ----------
    link : mapping
        One row of `linking.technology_links`.
    coverage : float, default COVERAGE
        Of its interval. [1]

    Returns
    -------
    str
        The sentence.
    """
    ends = f"{between(link['low'], link['high'], 4)} at {100.0 * coverage:g} %"
    known = "without an interval, from one reading" if math.isnan(link["low"]) else ends
    needs = "an established link needs three lamps of the technology (specimens of one lamp share its colour)"
    status = "established" if link["established"] else f"provisional, for {needs}"
    p = chance(float(link["level_p"]))
    level = f" It does not depend on the level of light, as far as these readings show (chance {p})."
    if not link["level_constant"]:
        seems = f" It seems to change with the level of light (chance {p} if it did not)"
        level = f"{seems}: read the next link at low and at high level."
    return (
        f"{technology_words(str(link['technology']))}: {link['new_meter']} shows {decimal(link['factor'], 4)} of what "
        f"{link['old_meter']} shows ({known}), from {counted(int(link['n']), 'lamp')} and "
        f"{int(link['readings'])} pairs of readings; {status}.{'' if math.isnan(link['level_p']) else level}"
    )
