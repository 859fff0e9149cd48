"""`photolab compare`: two readings typed by a person, answered in words or as JSON."""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.results.two_readings import compare
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.cells import check_number, parse_code, parse_number
from photolab.bench.terms.faults import hint, shown
from photolab.bench.terms.model import Meter
from photolab.bench.terms.schema import FOOTCANDLE_LX, SECTIONS, TABLES
from photolab.metrology.reporting import END_DIGITS, VALUE_DIGITS, published_ends, significant
from photolab.publication.sentences import statements
from photolab.publication.sentences.statements import in_housing

if TYPE_CHECKING:
    from photolab.bench.results.campaign import Campaign

METER = "--reading-percent 4 --range-percent 0.5 --range 4000 --resolution 1 --technology led"
ACCURACY = ("reading_percent", "range_percent", "digits")
TYPED = (*ACCURACY, "mismatch_percent", "mounting_sd_percent", "specimen_sd_percent", "coverage", "mountings")
"""Numbers that may be typed once; each may be what the key of bench.toml may be."""
KEYS = {key.name.replace("_index", ""): key for part in ("bench", "meter") for key in SECTIONS[part]}
NEEDED = {
    "the meter's accuracy (--reading-percent, or --bench FOLDER)": ("unit", ("bench", "reading_percent")),
    "--range, the top of the range that --range-percent speaks of": ("range_percent", ("bench", "range")),
    "--resolution, what one of the --digits is worth": ("digits", ("bench", "resolution")),
}
"""What is missing where one option is given, as the unit always is, and none of some others."""
AS_READ = ("range", "technology", "mountings", "mounting_sd_percent", "mismatch_percent")


def run(args: argparse.Namespace) -> list[str]:
    """Answer a compare command.

    Parameters
    ----------
    args : Namespace
        As parsed by the command line.

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    ValueError
        If an argument cannot be read as it is; the text says what to type.
    """
    _complete(args)
    campaign = None
    if args.bench is not None:
        from photolab.bench.folder.records import read_bench
        from photolab.bench.results.evaluation import evaluate

        campaign = evaluate(read_bench(Path(args.bench)))
    read = [] if campaign is None else [name[0] for name in campaign.weights.names]
    strange = [text for text in (args.a, args.b) if text not in read]
    if campaign is not None and not strange:
        return _lamps(args, campaign)
    named = [text for text in strange if text[:1].isalpha() or len(strange) == 1]
    if campaign is not None and named:
        who = f'"{shown(named[0])}" is no lamp with a reading on this bench{hint(named[0], read)}'
        _refuse(f"{who}; name two of its lamps, or type two readings")
    unit = FOOTCANDLE_LX if args.unit == "fc" else 1.0
    a, b = (_more_than_0(_parsed(x, n), f"{n}: a reading", x) for x, n in ((args.a, "A"), (args.b, "B")))
    ranges, typed = [unit * r for r in _numbers(args.range, "range")], _typed(args)
    technologies, taken = _technologies(args.technology), tuple[Assumption, ...]()
    options: dict[str, Any] = {}
    if campaign is None:
        stated: dict[str, Any] = {name: (typed[name],) for name in ACCURACY if name in typed}
        steps = [unit * s for s in _numbers(args.resolution, "resolution")]
        meter = Meter(id="meter", **stated | _display(ranges, steps))
    else:
        settings, spread = campaign.bench.settings, campaign.spreads.mounting
        meter = campaign.bench.meters[campaign.selection.meter]
        options = {"coverage": settings.coverage, "alike_percent": settings.alike_percent}
        if not spread.assumed or "mounting_sd_percent" in settings.declared:
            options |= {
                "mounting_sd_percent": 100.0 * campaign.spreads.seated_once,
                "mounting_dof": spread.dof,
            }
        ranges, technologies, taken = _from_readings(campaign, (a * unit, b * unit), ranges, technologies)
    if "mismatch_percent" in typed:
        declared = meter.declared | {"mismatch_index_percent"}
        meter = replace(meter, mismatch_index_percent=typed["mismatch_percent"], declared=declared)
    spreads = ("mounting_sd_percent", "specimen_sd_percent", "coverage")
    seatings, known = int(typed.get("mountings", 1)), (ranges[0], ranges[-1]) if ranges else None
    options |= {name: typed[name] for name in spreads if name in typed}
    options |= {"mountings": seatings, "technology": (technologies[0], technologies[-1]), "range_lx": known}
    pair = compare(a * unit, b * unit, meter, **options)
    pair = replace(pair, assumed=(*taken, *pair.assumed))
    head = statements.against_words(a, b, args.unit)
    if args.json:
        said = statements.answer_lines(head, pair)
        return [json.dumps(as_json(pair, args.unit, " ".join(said)), indent=2)]
    used = {*(ranges or meter.ranges_lx[:1] * (len(meter.ranges_lx) == 1))}
    report = statements.compare_report(head, pair, ranges=len(used), seatings=seatings)
    if pair.verdict == "no_answer":
        first, second = f"{a:g} {args.unit}", f"{b:g} {args.unit}"
        two = f"--technology filament,led where {first} is of a filament lamp and {second} of an LED"
        report.append(f"Write --technology led where both are LED, or {two}.")
        if len(read) > 1:
            from photolab.bench.folder.cautions import listed

            report.append(
                f"Or name two of the folder's lamps in place of the readings: {listed(dict.fromkeys(read))}."
            )
    return report


def _lamps(args: argparse.Namespace, campaign: Campaign) -> list[str]:
    """Answer with two lamps of a folder, by name, in each housing that both were read in."""
    _leave_out(args, AS_READ, "two lamps of a folder are compared as they were read")
    if args.a == args.b:
        _refuse(f"{args.a} against itself; name two lamps")
    scope = "specimens" if args.specimen_sd_percent is None else "models"
    if figures := _typed(args):  # the spread of specimens or the coverage: all others were refused
        from photolab.bench.results.evaluation import evaluate

        campaign = evaluate(campaign.bench.changed(**figures))
    read = [(n[0], n[1]) for n in campaign.weights.names if n[2:] == ("hot_spot", "initial")]
    first, second = ({housing for one, housing in read if one == lamp} for lamp in (args.a, args.b))
    housings = sorted(first & second)
    if not housings:
        _refuse(f"{args.a} and {args.b} were not read in one housing; read both in one")
    from photolab.publication.sentences.words_lamp import family_sentence

    lines, answers = [], []
    for housing in housings:
        pair = campaign.ratio(args.b, args.a, housing=housing, scope=scope)
        head = f"{args.b} against {args.a}" + in_housing(housing)
        among = family_sentence(campaign, args.b, args.a, housing=housing, scope=scope)
        said = [*statements.answer_lines(head, pair), *filter(None, [among])]
        one = campaign.family(housing, scope=scope, against=args.a).loc[args.b]
        low, high = map(_figure, published_ends(one["low"], one["high"]))
        of_all = {"family_low": low, "family_high": high, "family_verdict": one["verdict"]}
        answers.append({"housing": housing} | as_json(pair, "lx", " ".join(said)) | of_all)
        if pair.verdict != "no_answer":
            said += ["", *statements.blurs(pair, "the meter", "the meter, seating, days and supply")]
        more = [statements.separate_words(pair), statements.assumed_words(pair.assumed)]
        lines += [*said, *filter(None, more), ""]
    if args.json:
        return [json.dumps(answers[0] if len(answers) == 1 else {"schema": 1, "housings": answers}, indent=2)]
    who = "the models as sold" if scope == "models" else "the specimens on this bench, seated again"
    return [*lines, f"Applies to {who}, at the initial time."]


def _from_readings(
    campaign: Campaign, lux: tuple[float, float], ranges: list[float], technologies: list[str | None]
) -> tuple[list[float], list[str | None], tuple[Assumption, ...]]:
    """Return ranges and technologies as most readings of a folder have them, where the command names none."""
    taken = []
    used = campaign.selection.readings["range_lx"].dropna()
    holding = used[used >= max(lux)]
    if not ranges and len(holding):
        ranges = [float(holding.mode().iloc[0])]
        taken.append(Assumption("range", ranges[0], "lx", "as most readings of the folder"))
    kinds = {t for t in campaign.bench.tables["lamps"]["technology"] if t}
    if technologies == [None] and len(kinds) == 1:
        technologies = [*kinds]
        taken.append(Assumption("technology", technologies[0] or "", "", "that of every lamp of the folder"))
    return ranges, technologies, tuple(taken)


def as_json(pair: ReadingComparison, unit: str, said: str) -> dict[str, Any]:
    """Return a comparison as plain data.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.
    unit : str
        Unit of the readings.
    said : str
        The answer as it is printed in words.

    Returns
    -------
    dict
        The keys that other programs rely on; figures that do not exist are None.
    """
    need, (low, high) = pair.mountings_to_separate, published_ends(pair.low, pair.high)
    names, chances = ("meter_only", "this_bench", "nothing_in_common"), ("even_chance", "four_in_five")
    return {
        "schema": 1,
        "unit": unit,
        "ratio": _figure(pair.ratio),
        "low": _figure(low),
        "high": _figure(high),
        "coverage": pair.coverage,
        "verdict": pair.verdict,
        "half_width_percent": {name: _figure(getattr(pair.lines, name), END_DIGITS) for name in names},
        "assumed": [statements.assumed_words([one])[len("Assumed: ") : -1] for one in pair.assumed],
        "missing": list(pair.missing),
        "sentence": said,
        "scope": statements.SCOPE_WORDS[pair.scope],
        "mountings_to_separate": {name: getattr(need, name) if need else None for name in chances},
        "resolvable_percent": _figure(100.0 * (pair.resolvable_ratio - 1.0)),
    }


def _option(name: str) -> str:
    """Return an option as it is typed."""
    return f"--{name.replace('_', '-')}"


def _figure(x: float, digits: int = VALUE_DIGITS) -> float | None:
    return significant(x, digits) if math.isfinite(x) else None


def _refuse(words: str) -> NoReturn:
    raise ValueError(words) from None


def _complete(args: argparse.Namespace) -> None:
    """Refuse a command that lacks readings or a meter, with a line to copy."""
    typed = {name for name, value in vars(args).items() if value is not None}
    missing = [] if {"a", "b"} <= typed else ["two readings"]
    missing += [what for what, (given, of) in NEEDED.items() if given in typed and not typed.intersection(of)]
    if missing:
        line = f"photolab compare 318 334 {METER}"
        _refuse(f"missing: {'; '.join(missing)}. A complete line to copy:\n  {line}")
    if "bench" in typed:
        _leave_out(args, (*ACCURACY, "resolution"), "--bench gives the meter's accuracy")


def _leave_out(args: argparse.Namespace, names: tuple[str, ...], why: str) -> None:
    """Refuse options that were typed."""
    if given := [_option(name) for name in names if getattr(args, name) is not None]:
        _refuse(f"{why}; leave out {', '.join(given)}")


def _parsed(text: str, name: str) -> float:
    """Return a number, or refuse it under the name of what was typed."""
    try:
        return parse_number(text)
    except ValueError as fault:
        _refuse(f"{name}: {fault}")


def _more_than_0(value: float, what: str, text: str) -> float:
    return value if value > 0.0 else _refuse(f"{what} must be more than 0; got {text}")


def _numbers(text: str | None, name: str) -> list[float]:
    """Return one or two numbers, more than 0, separated by a comma."""
    parts, option = text.split(",") if text is not None else [], _option(name)
    if len(parts) > 2:
        _refuse(f"{option}: one value, or one for A and one for B; got {text!r}")
    return [_more_than_0(x, f"{option}:", text or "") for x in [_number(part, name) for part in parts]]


def _number(text: str, name: str) -> float:
    """Return the number of an option within its limits; a percentage that looks like a fraction is refused."""
    option, key = _option(name), KEYS.get(name)
    bare = text.rstrip("% ") if key is not None and key.unit == "1" else text
    value = _parsed(bare, option)
    if name == "mountings" and not (value >= 1 and value == int(value)):
        _refuse(f"{option}: {text}; wanted a whole number from 1")
    try:
        value = value if key is None else check_number(value, bare, key)
    except ValueError as fault:
        _refuse(f"{option}: {str(fault).rstrip('.')}")
    return value if bare == text else _refuse(f"{option}: {text}; write the bare number, a fraction of 1")


def _technologies(text: str | None) -> list[str | None]:
    if text is None:
        return [None]
    say, field = "write one, or A's first and then B's: filament,led", TABLES["lamps"].column("technology")
    try:
        parts: list[str | None] = [parse_code(part, field) for part in text.split(",")]
    except ValueError as fault:
        _refuse(f"--technology: {fault} {statements.capital(say)}")
    return parts if len(parts) < 3 else _refuse(f"--technology: {text!r}; {say}")


def _typed(args: argparse.Namespace) -> dict[str, float]:
    """Return the numbers that were typed, by the names of their options."""
    texts = {name: getattr(args, name) for name in TYPED}
    return {name: _number(text, name) for name, text in texts.items() if text is not None}


def _display(ranges: list[float], steps: list[float]) -> dict[str, tuple[float, ...]]:
    """Return the ranges of a meter in their order, each with its last figure."""
    if len(ranges) == 2 and ranges[0] == ranges[1]:
        steps = steps[:1]
    by_range = dict(zip(ranges, steps, strict=False)) if len(steps) == len(ranges) else {}
    order = sorted(set(ranges))
    last = tuple(by_range[r] for r in order) if by_range else tuple(steps[:1])
    return {"ranges_lx": tuple(order), "resolution_lx": last}
