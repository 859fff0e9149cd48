"""`photolab plan`: what fits an evening, as plan.csv and one A4 page with boxes to write in."""

import argparse
import datetime
import math
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pandas as pd

from photolab.bench.drawn import plan
from photolab.bench.drawn.plan import DIFFERENCES, Evening
from photolab.bench.folder.cautions import SHORT_REST_MIN
from photolab.bench.folder.files import WORKBOOK
from photolab.bench.folder.records import read_bench
from photolab.bench.folder.write import add_plan
from photolab.bench.terms.cells import parse_date
from photolab.bench.terms.faults import Problem, shown
from photolab.bench.terms.model import Bench, Question
from photolab.bench.terms.verdicts import EVEN_CHANCE, FOUR_IN_FIVE
from photolab.errors import MethodError, RecordError, demand
from photolab.metrology.reporting import decimal
from photolab.publication.figures.chances import draw
from photolab.publication.figures.common import new_figure, stored
from photolab.publication.report.front_page import invented_words
from photolab.publication.report.paper import as_pdf, quoted, typst_date
from photolab.publication.report.readiness import by_housing
from photolab.publication.sentences.cautions import AT_THE_BENCH, CAUTIONS, DISCHARGE, assumed_words
from photolab.publication.sentences.statements import KIND_WORDS, advice, in_housing, time_of
from photolab.publication.sentences.words_protocol import change_sentences

ROW_MM = (9.0, 8.0, 7.0, 6.0, 5.0)
"""Heights of a row to write in, tried in turn until the page holds all. [mm]"""
LITTLE = 0.02
"""One more seating that takes less than this share off a half-width narrows it little. [1]"""
HEADS: dict[str | float, str] = {
    "now": "now",
    "after": "after this evening",
    "even_chance": "shown, even chance",
    "four_in_five": "shown, four in five",
    "one_more": "with one more seating of the lamp",
}
REHEARSED_HEADS = {"half_width": "rehearsed half-width"} | {d: f"{d:g} % shown" for d in DIFFERENCES}
CHANCES = ("even_chance", "four_in_five", *DIFFERENCES)
"""Columns that are no half-widths."""
BENCHES = 60
"""Benches drawn where it is not said how many. [1]"""
PICTURE = "shown.svg"
PICTURE_MM = 72.0
"""Width of the picture. [mm]"""
STYLE = """
#set page(paper: "a4", margin: (x: 12mm, y: 10mm))
#set text(font: "Libertinus Serif", size: 8.5pt, lang: "en")
#set par(spacing: 0.6em, leading: 0.5em)
#set list(spacing: 0.45em)
#show heading: set block(above: 0.9em, below: 0.5em)
#let blank(width) = box(width: width, height: 1em, stroke: (bottom: 0.5pt))
#let none-here = text(fill: luma(110))[–]
#context assert(counter(page).final().first() <= 1, message: "more than one page")
"""


def run(args: argparse.Namespace) -> list[str]:
    """Plan an evening, write plan.csv and the page, and return what to print.

    Parameters
    ----------
    args : Namespace
        folder, hours, lamps, housings, date, seed, benches; all text, None where not given.

    Returns
    -------
    list of str
        Lines.

    Raises
    ------
    RecordError
        If the folder is refused, or has a plan for that day.
    MethodError
        If nothing fits the time or the page.
    ValueError
        If an option is none.
    """
    folder, day = Path(args.folder), _day(args.date)
    hours = _number(args.hours, "--hours", plan.HOURS)
    seed = int(_number(args.seed, "--seed", 1, whole=True))
    drawn = int(_number(args.benches, "--benches", BENCHES, whole=True))
    bench = read_bench(folder, before_readings=True)
    sheet, planned = f"plan-{day}.pdf", bench.tables["plan"][bench.tables["plan"]["date"] == day]
    if WORKBOOK in bench.files:
        words = "a plan stands in plan.csv, and that beside CSV files, not beside a workbook; save each "
        words += "sheet as a CSV file of its name (the sheet bench as bench.toml, from: photolab new)."
        raise RecordError([Problem("fault 25", WORKBOOK, None, "", words)])
    if len(planned):
        words = f"{day} is planned already; give another --date, or delete its rows and {sheet}."
        raise RecordError([Problem("fault 17", "plan.csv", int(planned["line"].iloc[0]), "date", words)])
    named = {"lamps": _codes(args.lamps), "housings": _codes(args.housings)}
    evening = plan.plan_evening(bench, date=day, hours=hours, seed=seed, drawn=drawn, **named)
    add_plan(folder, bench, evening.table, sheet, page(evening))
    written = f"{folder}: plan.csv and {sheet} written; print the page."
    return [*_lines(evening, folder), written, *_day_to_add(bench, day)]


def _day_to_add(bench: Bench, date: str) -> list[str]:
    """Return what to type into days.csv for `photolab take`; nothing where days have no codes, or that one is there."""
    days = bench.tables["days"]
    if (days["day"] == days["date"]).all() or (days["date"] == date).any():
        return []
    code = re.sub("[0-9]+$", lambda n: f"{int(n[0]) + 1:0{len(n[0])}d}", str(days["day"].iloc[-1]))
    like = f", such as {shown(code)}," if code not in set(days["day"]) else ""
    meter = f", and {' or '.join(map(shown, bench.meters))} under meter" if len(bench.meters) > 1 else ""
    row = f"a row with a code of its own{like} under day, {date} under date{meter}"
    return [f"days.csv has no day of {date}, and photolab take wants one: add {row}."]


def refuse_only_planned(folder: Path) -> None:
    """Refuse a folder that has a plan and no reading, and say what rehearses a plan.

    Parameters
    ----------
    folder : Path
        A folder that could not be read.

    Raises
    ------
    MethodError
        If it has a plan and no reading (code ``only_planned``).
    """
    with suppress(RecordError):
        tables = read_bench(folder, before_readings=True).tables
        if len(tables["plan"]) and tables["readings"].empty:
            words = f"{folder.name} has a plan and no reading yet: photolab plan rehearses it with --benches"
            message = f"{words}, for a --date that is not planned yet; photolab rehearse draws readings again"
            raise MethodError(message, code="only_planned")


def _day(text: str | None) -> str:
    """Return the day of the evening; today where none is given."""
    try:
        return datetime.date.today().isoformat() if text is None else parse_date(text)
    except ValueError as refused:
        message = f"--date: {refused}"
        raise ValueError(message) from None


def _number(text: str | None, option: str, usual: float, *, whole: bool = False) -> float:
    """Return the number of an option."""
    try:
        number = float(usual if text is None else text)
    except ValueError:
        message = f"{option} must be a number; got {shown(str(text))}"
        raise ValueError(message) from None
    counts = number >= 0.0 and number.is_integer()
    demand(counts or not whole, f"{option} must be a whole number, zero or more", text)
    return number


def _codes(text: str | None) -> list[str]:
    """Return the codes of an option, separated by commas."""
    return [code for part in (text or "").split(",") if (code := part.strip())]


def _clock(minutes: int) -> str:
    """Return minutes as hours and minutes."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def _lines(evening: Evening, folder: Path) -> list[str]:
    """Return the plan as it is printed on the terminal."""
    much = f"{len(evening.seatings)} seatings in {_clock(evening.minutes)} h of {evening.hours:g} h"
    lines = [f"{folder.resolve().name}: {evening.date}, {much}, seed {evening.seed}."]
    wide = max(len(one.piece) for one in evening.seatings)
    for one in evening.seatings:
        place = f"  in {one.housing}" if one.housing else ""
        lines.append(f"  {_clock(one.start)}  {one.piece:<{wide}}{place}  {', '.join(one.instants)}")
    lines.append(f"What the evening will be able to show. {_shows_head(evening)}")
    for lamp, housing, at, *figures in _figures(evening):
        told = "; ".join(map(" ".join, zip(_heads(evening).values(), figures, strict=True)))
        lines.append(f"  {lamp}{in_housing(housing)} at {at}: {told}")
    return [*lines, *_answers(evening)]


def _heads(evening: Evening) -> dict[str | float, str]:
    """Return the columns that say what the evening will show, and what stands above each."""
    return HEADS | (REHEARSED_HEADS if evening.drawn else {})


def _figures(evening: Evening) -> list[list[str]]:
    """Return what the evening will show as text: lamp, housing, when, then the columns of `_heads`."""
    rows = []
    for row in evening.shows.to_dict("records"):
        rows.append([row["lamp"], row["housing"], time_of(evening.bench, row["instant"])])
        for name in _heads(evening):
            none, sign = "not yet" if name == "now" else "–", "" if name in CHANCES else "±"
            figure = decimal(100.0 * row[name], 0 if name in DIFFERENCES else 1)
            rows[-1].append(none if math.isnan(row[name]) else f"{sign}{figure} %")
    return rows


def _shows_head(evening: Evening) -> str:
    """Return what the figures of the evening are, with their coverage and scope, and how sure the rehearsed ones."""
    said = (
        f"Half-widths of the {100.0 * evening.bench.settings.coverage:g} % interval of a lamp's light over that of"
        f" {evening.baseline}, for the specimens on the bench, each comparison by itself; then the difference that is"
        " shown with an even chance and four times in five, by formula."
    )
    if evening.drawn:
        said += (
            f" Rehearsed: with these readings in place the bench was drawn {evening.drawn} times, its truth known, and"
            " evaluated; mean half-width, and the share of benches in which a true difference of"
            f" {' and of '.join(f'{d:g} %' for d in DIFFERENCES)} is shown,"
            f" ± {decimal(50.0 / math.sqrt(evening.drawn), 0)} % at most from the drawing."
        )
    return said


def _chances(evening: Evening) -> tuple[bytes, str]:
    """Return the picture of how often a difference is shown, mean over the comparisons, as SVG, and its words."""
    mean = 100.0 * evening.shows.mean(numeric_only=True)
    formula = [(mean["even_chance"], 100.0 * EVEN_CHANCE), (mean["four_in_five"], 100.0 * FOUR_IN_FIVE)]
    shares = {apart: share for apart, share in mean.items() if isinstance(apart, float)}
    figure, (axes,) = new_figure(width=3.3, height=1.85)
    draw(axes, shares, formula, drawn=evening.drawn)
    mark = "Invented data. " * evening.bench.invented
    foot = f"{mark}{evening.drawn} benches drawn; mean of the comparisons above"
    told = ", ".join(f"{decimal(shares[apart], 0)} % at {apart:g} %" for apart in DIFFERENCES)
    marks = ", ".join(f"{chance:g} % at {decimal(apart, 1)} %" for apart, chance in formula)
    words = f"{mark}How often a true difference is shown: by rehearsal {told}; by formula {marks}."
    return stored(figure, foot, size=7.0)["svg"], words


def _question_sentence(evening: Evening, question: Question) -> str:
    """Return what a lamp must give for a question to be answered with yes after the evening."""
    said = question.words or f"more than {question.more_than_percent:g} % at the {question.instant} time?"
    rows = evening.shows[evening.shows["instant"] == question.instant]
    rows = rows[(rows["lamp"] == question.lamp) | (question.lamp == "any")]
    rows = rows[(rows["housing"] == question.housing) | (question.housing in {"each", "any"})]
    if rows.empty:
        known = question in evening.answered
        return f"Asked: {said} {'Already answered by the readings' if known else 'This evening reads no lamp for it'}."
    asked = set(evening.bench.housings) if question.housing == "each" else set()
    read = rows.groupby("lamp")["housing"].agg(set)
    rows = rows[rows["lamp"].isin(read.index[[asked <= places for places in read]])]
    if rows.empty:
        return f"Asked: {said} This evening reads no lamp for it in every housing."
    apart = rows[["even_chance", "four_in_five"]].max()
    need = (1.0 + question.more_than_percent / 100.0) * (1.0 + apart) - 1.0
    even, most = (f"{decimal(100.0 * x, 1)} %" for x in need)
    who = "A lamp of this evening" if question.lamp == "any" else question.lamp
    much = f"over {question.more_than_percent:g} % more" if question.more_than_percent else "more light"
    each, there = (" in each housing", " there") if len(asked) > 1 else ("", "")
    chances = f"with an even chance{each} if it gives {even} more{there}, four times in five if {most}"
    return f"Asked: {said} {who} is shown to give {much} {chances}."


def _unheld_sentence(evening: Evening) -> str:
    """Return which pieces have no reading at the hold time after the evening either, and why; blank where none."""
    named = by_housing((f"{lamp} {specimen}".strip(), housing) for lamp, specimen, housing in evening.unheld)
    late, first = time_of(evening.bench, "hold"), " and what is asked comes first" * bool(evening.questions)
    said = f"Without a reading at {late} stay: {named}; the time is too short for all{first}."
    return said if named else ""


def _time_left_sentence(evening: Evening) -> str:
    """Return why time is left; blank where no seating would have fitted into it."""
    left = math.floor(60.0 * evening.hours) - evening.minutes
    least = plan.SEAT_MINUTES + plan.READ_MINUTES + plan.COOL_MINUTES[False]
    worth = f"no further seating narrows the intervals by {100.0 * plan.WORTH:g} % in sum"
    return "" if evening.spent or left < least else f"{_clock(left)} h are left: {worth}."


def _answers(evening: Evening) -> list[str]:
    """Return what becomes of the questions, what would narrow the figures where seatings hardly do, what is assumed."""
    said = [_question_sentence(evening, question) for question in evening.questions]
    said += filter(None, [_unheld_sentence(evening), _time_left_sentence(evening)])
    shows = evening.shows
    held = shows[shows["one_more"] > (1.0 - LITTLE) * shows["after"]]
    if len(held) == len(shows) and len(held):
        term = str(held["largest"].mode().iloc[0])
        meter = f"meter {plan.meter_of(evening.bench)}"
        do = advice(term, "look at its budget in notebook 04", baseline=evening.baseline, meter=meter)
        what = KIND_WORDS.get(term, term)
        said.append(f"More seatings narrow these little: the largest other input is {what}; {do}.")
    if len(evening.bought) > 1:
        each = evening.drawn // plan.CHANGES_EVERY
        coverage, least = evening.bench.settings.coverage, DIFFERENCES[0]
        _, buys, told = change_sentences(evening.bought, percent=least, drawn=each, coverage=coverage)
        more = f"One single change more, at the initial time, {each} benches drawn for each:"
        said.append(f"{more} {buys} {told}")
    table = assumed_words(evening.assumed, {})
    assumed = ", ".join(dict.fromkeys(f"{row.input} {row.value}".strip() for row in table.itertuples()))
    off = f"{plan.COOL_MINUTES[False]} min ({plan.COOL_MINUTES[True]} after a hold)"
    taken = f"{plan.SEAT_MINUTES} min to seat a lamp, {off} before it is taken out"
    return [*said, f"Assumed: {', '.join(filter(None, (assumed, taken)))}."]


def page(evening: Evening) -> bytes:
    """Return the page to print.

    Parameters
    ----------
    evening : Evening
        The plan.

    Returns
    -------
    bytes
        One A4 page as PDF; a plan that is too long with its picture goes without, or by formula alone.

    Raises
    ------
    MethodError
        If the page cannot hold the plan (code ``too_long``).
    """
    rehearsed = evening.drawn and evening.shows["half_width"].notna().any()
    svg, words = _chances(evening) if rehearsed else (b"", "")
    by_formula = replace(evening, drawn=0, bought=pd.DataFrame())
    ways = [(evening, height, words) for height in ROW_MM]
    for one, height, told in [*ways, (evening, ROW_MM[-1], ""), (by_formula, ROW_MM[-1], "")]:
        try:
            return as_pdf(_source(one, height, told), {PICTURE: svg})
        except MethodError as refused:
            if "more than one page" not in str(refused):
                raise
    words = f"{len(evening.seatings)} seatings do not fit one page"
    message = f"{words}: plan two evenings, each with fewer --hours, --lamps or --housings"
    raise MethodError(message, code="too_long")


def _text(text: str) -> str:
    """Return text as a cell of typst."""
    return f"[#{quoted(text)}]"


def _grid(widths: str, head: Iterable[str], rows: Iterable[Iterable[str]], height: str = "auto") -> str:
    """Return a ruled table; cells are typst already."""
    top = ", ".join(f"[#strong{_text(cell)}]" for cell in head)
    body = "".join(", " + ", ".join(row) for row in rows)
    rules = f"columns: ({widths}), rows: (auto, {height}), inset: 2.5pt, align: left + horizon, stroke: 0.4pt"
    return f"#block(text(size: 7.5pt, table({rules}, table.header({top}){body})))\n"


def _source(evening: Evening, height: float, words: str) -> str:
    """Return the page as typst; with the picture where it has words."""
    title = f"Plan for {evening.date}: {shown(evening.bench.settings.name)}"
    mark = invented_words(evening.bench, "plan")
    heads = ["lamp", "housing", "at", *_heads(evening).values()]
    shows = [map(_text, row) for row in _figures(evening)]
    strikes = any(evening.bench.technologies[one.lamp] == "discharge" for one in evening.seatings)
    said = [*CAUTIONS, *(c for c in AT_THE_BENCH if strikes or c != DISCHARGE)]
    lists = (f"list({', '.join(map(_text, half))})" for half in (said[::2], said[1::2]))
    beside = "\n\n".join(f"#{quoted(text)};" for text in _answers(evening))
    if words:
        image = f'image("{PICTURE}", alt: {quoted(words)}, width: {PICTURE_MM}mm)'
        beside = f"#grid(columns: (1fr, auto), gutter: 5mm, [{beside}], {image})"
    parts = [
        f"#set document(title: {quoted(title)}, date: {typst_date(evening.date)})",
        STYLE,
        f"#heading(level: 1)[#{quoted(title)}]",
        *([f"#strong[#{quoted(mark)}]", ""] if mark else []),
        "Begun at (clock) #blank(18mm) · room °C, start and end #blank(12mm) #blank(12mm) · meter, range #blank(28mm)"
        " · supply V #blank(12mm)",
        "",
        *(f"#{quoted(sentence)};" for sentence in _how(evening)),
        _grid(*_seatings(evening), height=f"{height}mm"),
        "#heading(level: 2)[What the evening will be able to show]",
        f"#{quoted(_shows_head(evening))};",
        _grid(", ".join(["auto"] * 4 + ["1fr"] * (len(heads) - 4)), heads, shows),
        beside,
        "#heading(level: 2)[Cautions]",
        f"#text(size: 7pt, grid(columns: 2, gutter: 6mm, {', '.join(lists)}))",
    ]
    return "\n".join(parts)


def _how(evening: Evening) -> list[str]:
    """Return how the page is used, in sentences."""
    settings, times = evening.bench.settings, f"{evening.readings} times"
    looked = any(one.camera for one in evening.seatings)
    early, late = (time_of(evening.bench, instant) for instant in ("initial", "hold"))
    ends = [settings.initial_s + sign * settings.initial_window_s for sign in (-1.0, 1.0)]
    return [
        "Times are from the beginning of the evening. Dark: the figure with the lamp covered. Before each switch-on"
        f" the lamp has been off for {SHORT_REST_MIN:g} min at least (the first time too); one housing is powered at a"
        f" time. Read {times} at {early} after switch-on ({ends[0]:g} to {ends[1]:g} s) and, where there is a box,"
        f" {times} at {late}; volts at the socket. A seating without boxes at {late} ends after the first figures.",
        " A box stays empty where something went wrong: say what. No figure here is a reading until it stands in"
        " readings.csv.",
        *[" Camera last: when the light at the hold time has been read, open the cover and look."] * looked,
    ]


def _seatings(evening: Evening) -> tuple[str, Sequence[str], list[list[str]]]:
    """Return widths, heads and rows of the table to write in."""
    n = evening.readings
    early, late = (time_of(evening.bench, instant) for instant in ("initial", "hold"))
    looked = any(one.camera for one in evening.seatings)
    heads = ["step", "on at", "lamp", "housing", "seating", *[f"lx {early}"] * n, *[f"lx {late}"] * n]
    heads += ["dark lx", "volts", *["camera °C"] * looked, "what went wrong"]
    rows, step = [], 0
    for one in evening.seatings:
        first, step = step + 1, step + len(one.instants)
        steps = f"{first}–{step}" if step > first else f"{step}"
        cells = [_text(cell) for cell in (steps, _clock(one.start), one.piece, one.housing, one.mounting)]
        cells += ["[]"] * n + ["[]" if one.held else "none-here"] * n + ["[]", "[]"]
        rows.append([*cells, *["[]" if one.camera else "none-here"] * looked, "[]"])
    widths = ["auto"] * 5 + ["1fr"] * (2 * n + 2 + looked) + [f"{1.6 + n / 2:g}fr"]
    return ", ".join(widths), heads, rows
