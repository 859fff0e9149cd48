"""The answer to somebody who doubts a figure: a paragraph to paste, what it cannot exclude, what would turn it."""

import math
import re
from collections.abc import Iterator

import pandas as pd

from photolab.bench.folder.earlier import set_beside
from photolab.bench.questions.overturning import LEVELS, LeftOut, Off, turning, without_each
from photolab.bench.results.campaign import Campaign
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.faults import hint, shown
from photolab.metrology.reporting import decimal, places_for, shortened
from photolab.publication.report.front_page import how_measured
from photolab.publication.report.held_back import held_back
from photolab.publication.report.in_words import bench_and_days, lamp_line
from photolab.publication.report.page_one import KEYS, Line, PageOne, Row
from photolab.publication.sentences.cautions import NOT_CLAIMED
from photolab.publication.sentences.statements import KIND_WORDS, capital, count, finding_words, in_housing
from photolab.publication.sentences.words_lamp import beside_sentences, claim_sentence, left_out_sentence

MOST = 700
"""Longest paragraph to paste. [characters]"""
_MOST_SEATINGS = 400
"""With more, leaving out each in turn would take minutes. [1]"""
_CAUSES = {
    "colour": "the reading of the lamp, by the colour of its light (f1'),",
    "own colour": "the reading of each lamp, by its own colour (f1'),",
    "distance": "the meter head nearer for one lamp than for the other",
    "remaining light": "what the record says is left",
}


def answer(campaign: Campaign, rows: pd.DataFrame, lamp: str) -> dict[str, tuple[str, ...]]:
    """Return what is said to somebody who doubts the figures of a lamp.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows of results.csv.
    lamp : str
        The lamp.

    Returns
    -------
    dict of str to tuple of str
        Heading to lines; the first heading has one line, a paragraph of at most `MOST` characters.

    Raises
    ------
    ValueError
        If the bench has no such lamp; the nearest one is named.
    """
    bench = campaign.bench
    lamps = list(dict.fromkeys([*bench.tables["lamps"]["lamp"], *bench.tables["readings"]["lamp"]]))
    if lamp not in lamps:
        message = f'lamp "{shown(lamp)}" is not on this bench{hint(lamp, lamps)}; there are: '
        raise ValueError(message + ", ".join(shown(one) for one in lamps[:30]) + ".")
    found = PageOne(campaign, rows)
    told = found.first(lamp)
    others = [one for one in set_beside(campaign, rows) if lamp in (one.lamp, one.baseline)]
    parts = {
        "What these readings cannot exclude": _cannot_exclude(found, lamp, told),
        "What it rests on": _rests_on(found, lamp, told),
        "What would have to be off to change it, on top of what each range allows for": _turned(found, told),
        "Figures of others, and earlier ones": beside_sentences(others),
        "Claim and reply": filter(None, [claim_sentence(bench, lamp)]),
        "Rows of results.csv that say so": _rows(rows, lamp),
    }
    text = _fitted(campaign, lamp, _text(lamp_line(found, lamp)) if told else _no_figure(found, lamp))
    more = _as_sold(found, told) if told else ()
    for one in more or (_held(campaign, lamp) if told else ()):
        text = f"{text} {one}" if len(text) + len(one) < MOST else text
    pasted = {f"To paste ({len(text)} characters)": (text,)}
    return pasted | {head: said for head, lines in parts.items() if (said := tuple(lines))}


def _as_sold(found: PageOne, told: list[Row]) -> tuple[str, ...]:
    """Return what is shown for the model as sold, so that nobody takes the specimens for it, and what a range is."""
    words = []
    late = [row for row in told if row["instant"] == "hold"]
    for row in late or told:  # the instant that the paragraph begins with
        if sold := found.sold(row):
            words.append(f"{found.word(sold)} ({_text(found.range(sold))}){in_housing(sold['housing'])}")
    more = "Each range allows for all lamps of its housing being compared at once."
    return (f"For the model as sold: {'; '.join(words)}.", more) if words else ()


def _no_figure(found: PageOne, lamp: str) -> str:
    """Return why a lamp has no figure: it is the measure of the others, or it was not compared."""
    campaign = found.campaign
    where, base = bench_and_days(campaign), campaign.baseline
    if lamp != base:
        return f"{where}: there is no figure on {lamp} against {base} yet. {' '.join(_held(campaign, lamp))}".rstrip()
    declared = campaign.selection.baseline_declared
    chosen = "" if declared else " (no baseline was declared: it is the first read)"
    said = [
        f"{where}: {lamp} is what the other lamps are measured against{chosen}, so it has no figure of its own here.",
        _text(how_measured(found)[1]),
    ]
    if not found.every(lamp, "remaining light"):
        said.append("What it loses itself with heat was not read.")
    return " ".join(said)


def _held(campaign: Campaign, lamp: str) -> list[str]:
    """Return what a report holds back about a lamp."""
    named = re.compile(rf"(?<!\w){re.escape(lamp)}(?!\w)")
    told = (one.words for one in held_back(campaign) if one.part not in {"price", "claim"})
    return [words for words in told if named.search(words)]


def _text(line: Line) -> str:
    """Return a line as it may be pasted anywhere."""
    told = "".join(part if isinstance(part, str) else part.text for part in line)
    return told.replace("\N{NO-BREAK SPACE}", " ")


def _fitted(campaign: Campaign, lamp: str, text: str) -> str:
    """Return a paragraph of at most `MOST` characters: long names lose their ends, then the last words go."""
    names = {campaign.bench.settings.name, lamp, campaign.baseline, *campaign.bench.housings}
    for limit in (30, 12):
        for name in sorted(names, key=len, reverse=True):
            if len(text) > MOST and len(name) > limit:
                text = text.replace(name, shown(name, limit=limit))
    rest = "; more stands in results.csv."
    if len(text) > MOST:
        kept = text[: MOST - len(rest)]
        text = kept[: max(kept.rfind(mark) for mark in (", ", "; ", ". "))].rstrip(" ;,.") + rest
    return text


def _place(found: PageOne, row: Row) -> str:
    """Return where and when a row was read, as the beginning of a sentence."""
    return capital(f"{in_housing(row['housing'])} {found.when(row['instant'])}".strip())


def _cannot_exclude(found: PageOne, lamp: str, told: list[Row]) -> Iterator[str]:
    """Yield what is left open about a lamp."""
    campaign = found.campaign
    for row in told:
        place = _place(found, row)
        for one, whose in ((row, "the specimens tested"), (found.sold(row), "the model as sold")):
            if one is not None and found.word(one) not in {"more", "less", "no answer yet"}:
                yield f"{place}: no figure from {_text(found.range(one))} is excluded for {whose}."
        if found.bounded(row):
            yield f"{place}: not read then, a record ends before; the range takes in all that the record leaves open."
        few, held = int(row["n_specimens"]), float(row["n_held"])
        if few == 1:
            yield f"{place}: one specimen was tested; how others of its kind differ is assumed."
        if row["instant"] == "hold" and held < few:
            yield f"{place}: {held:g} of {few} specimens {'was' if held == 1 else 'were'} held so long."
        if row["instant"] == "hold" and not campaign.spreads.knows_heatings(
            campaign.bench.technologies.get(lamp, "")
        ):
            yield f"{place}: how what is left differs from one heating to the next was not measured."
        if int(row["n_mountings"]) == 1:
            yield f"{place}: it was seated once."
        yield from _left_out(found, row, place)
    for finding in campaign.noticed:
        if {lamp, campaign.baseline} & {*finding.subject}:
            yield finding_words(finding)
    if told:
        yield from _held(campaign, lamp)
    yield NOT_CLAIMED[0]


def _left_out(found: PageOne, row: Row, place: str) -> Iterator[str]:
    """Yield whether one seating, piece or day decides a verdict, where it is quick to try."""
    campaign = found.campaign
    lamp, housing, instant = (str(row[c]) for c in ("lamp", "housing", "instant"))
    if math.isnan(row["family_low"]):
        return
    if len(campaign.seats) > _MOST_SEATINGS:
        yield f"{place}: whether one seating decides it was not tried, as there are many; notebook 13 does."
        return

    def verdict(one: Campaign) -> str:  # against the same lamp, whichever is read first without that part
        among = one.family(housing, instant=instant, against=campaign.baseline)
        return str(among.loc[lamp, "verdict"])

    said = []
    for level in LEVELS:
        again = without_each(campaign, lamp, campaign.baseline, housing=housing, level=level, instant=instant)
        each = {part: None if one is None else verdict(one) for part, one in again}
        if any(each.values()):  # else each part is all there is
            said.append(left_out_sentence(LeftOut(level, verdict(campaign), each)))
    if told := " ".join(said):
        yield f"{place}: {told[:1].lower()}{told[1:]}"


def _rests_on(found: PageOne, lamp: str, told: list[Row]) -> Iterator[str]:
    """Yield how a bench was measured, then what was assumed, the heaviest first."""
    campaign = found.campaign
    yield from (_text(line) for line in how_measured(found)[:2])
    known: dict[str, tuple[float, Assumption]] = {}
    for row in told:
        pair = campaign.ratio(lamp, campaign.baseline, housing=row["housing"], instant=row["instant"])
        if pair.result is None or pair.result.u == 0.0:
            continue
        for one in pair.assumed:
            share = one.share(pair.result)
            known[one.name] = max(share, known.get(one.name, (0.0,))[0]), one
    heavy = [(share, one) for share, one in known.values() if share >= 0.01]
    for share, one in sorted(heavy, key=lambda found: (-shortened(found[0]), found[1].name)):
        what = f"{one.name.replace('_', ' ')} {one.figure} ({one.words})"
        if one.told:
            what = f"{one.told}: {one.figure}" + (f" ({one.section} {one.id})" if one.id else "")
        yield f"Assumed: {what}. Up to {decimal(100.0 * share, 0)} % of the variance comes from it."
    if len(known) > len(heavy):
        rest = count(len(known) - len(heavy), "further assumed input")
        yield f"{rest}, each less than 1 % of the variance: see assumed in results.csv."


def _turned(found: PageOne, told: list[Row]) -> Iterator[str]:
    """Yield, for each figure, how far one input, and two together, would have to be off to change its verdict."""
    for row in told:
        lamp, housing, instant = (str(row[key]) for key in ("lamp", "housing", "instant"))
        turned, word = turning(found.campaign, lamp, housing=housing, instant=instant), found.word(row)
        if turned is None:
            continue
        side = {"more": f"in favour of {lamp}", "less": f"against {lamp}"}.get(word, "one way or the other")
        alone = "; ".join(_off_words(one, allowed=True) for one in turned.alone)
        both = f" Two at once: {' and '.join(map(_off_words, turned.together))}." if turned.together else ""
        yield f"{_place(found, row)}, for another word than “{word}”, any one of these, {side}: {alone}.{both}"


def _off_words(one: Off, *, allowed: bool = False) -> str:
    """Return how far an input would have to be off."""
    known = not math.isnan(one.of)
    of = f" of {decimal(one.of, max(places_for(one.of, digits=3), 0))} {one.unit}" if known else ""
    cause = _CAUSES.get(one.term, KIND_WORDS.get(one.term, one.term))
    stated = f" (allowed for: ± {_two(one.stated)} {one.unit})" if allowed and one.stated else ""
    return f"{cause} by {_two(one.needed)} {one.unit}{of}{stated}"


def _two(x: float) -> str:
    """Return a size with two significant digits."""
    return "over a million" if x >= 1e6 else decimal(x, places_for(x)) if x > 0.0 else "0"


def _rows(rows: pd.DataFrame, lamp: str) -> Iterator[str]:
    """Yield the rows of a lamp that the answer uses, as results.csv numbers its lines."""
    mine = rows[(rows["lamp"] == lamp) & (rows["point"] == "hot_spot")]
    light = (mine["measurand"] == "illuminance ratio") & (mine["scope"] != "readings")
    for place, row in mine[light | (mine["measurand"] == "remaining light")].iterrows():
        names = ", ".join(str(row[key]) for key in KEYS if row[key] and key not in {"lamp", "point"})
        ends = ("low", "high") if math.isnan(row["family_low"]) else ("family_low", "family_high")
        figures = ", ".join(f"{key} {row[key]:.6g}" for key in ("value", *ends) if not math.isnan(row[key]))
        yield f"line {int(str(place)) + 2}: {names}: {figures}"
