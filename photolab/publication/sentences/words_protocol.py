"""The change log of a protocol: what moved, which verdicts changed, what was declared differently."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from photolab.bench.inputs.corrections import SPECTRAL_FLOOR
from photolab.bench.questions.protocols import ProtocolComparison
from photolab.bench.questions.review import Forecast
from photolab.metrology.planning import bench_hours, improvements
from photolab.metrology.reporting import decimal
from photolab.publication.sentences.statements import KIND_WORDS, SCOPE_WORDS, capital, count, in_housing
from photolab.publication.sentences.words_bench import VERDICT_NAMES, counted
from photolab.publication.sentences.words_heat import between

EXAMPLE_CHANGES = {"protocol_revision": "invented", "hold_minutes": 30.0, "alike_percent": 5.0}
"""Another protocol, invented: it is shown on an invented bench only."""
EXAMPLE_MINUTES = {"specimen": 10.0, "seating": 45.0, "reading": 0.5}
"""What one more of each takes, invented: it is used on an invented bench only. [min]"""


def causes_sentences(causes: pd.DataFrame) -> tuple[str, ...]:
    """Return what blurs the comparisons of a campaign, and the next best step.

    Parameters
    ----------
    causes : DataFrame
        kind, variance_fraction, comparisons; the largest first.

    Returns
    -------
    tuple of str
        Two sentences; parts of the variance under 5 % are not named.
    """
    named, *more = (
        f"{KIND_WORDS[str(row['kind'])]} {decimal(100.0 * row['variance_fraction'], 0)} %"
        for row in causes[causes["variance_fraction"] >= 0.05].to_dict("records")
    )
    best, then = improvements(causes).iloc[0], f"; then {', '.join(more)}" if more else ""
    return (
        f"Over all {int(causes['comparisons'].iloc[0])} comparisons with the baseline, for the specimens on the bench, "
        f"the largest part of the variance is {named} on the average{then}.",
        f"Next best step: halve what {KIND_WORDS[str(best['kind'])]} adds, and intervals become "
        f"{decimal(100.0 * (1.0 - best['uncertainty_factor']), 0)} % narrower.",
    )


def forecast_sentence(plan: Forecast) -> str:
    """Return what a plan would show.

    Parameters
    ----------
    plan : Forecast
        The plan.

    Returns
    -------
    str
        One sentence.
    """
    pieces = f"{counted(plan.mountings, 'seating')} of {counted(plan.specimens, 'specimen')} of each lamp"
    return (
        f"{capital(pieces)} would show a difference of {decimal(100.0 * (plan.resolvable - 1.0), 1)} % between "
        f"the specimens with a chance of {100.0 * plan.power:g} %, with intervals of ± "
        f"{decimal(100.0 * plan.half_width_specimens, 1)} %, ± {decimal(100.0 * plan.half_width_models, 1)} % for the "
        "model as sold."
    )


def hold_sentence(choices: pd.DataFrame, *, within_percent: float) -> str:
    """Return the shortest hold time after which no lamp changes by more than a stated amount.

    Parameters
    ----------
    choices : DataFrame
        As `review.hold_choices`; the last row is what the others are held against.
    within_percent : float
        Change that may be missed. [%]

    Returns
    -------
    str
        One sentence.
    """
    last = decimal(choices["hold_s"].iloc[-1] / 60.0, 0)
    enough = choices[:-1][100.0 * choices["still_to_come"][:-1] <= within_percent]
    if enough.empty:
        return f"No hold time below {last} min keeps every lamp within {decimal(within_percent, 0)} %."
    return (
        f"From {decimal(enough['hold_s'].iloc[0] / 60.0, 0)} min to {last} min no lamp recorded here changes by more "
        f"than {decimal(100.0 * enough['still_to_come'].iloc[0], 1)} %; a lamp that steps down later than {last} min "
        "would be missed by any of these."
    )


def change_log(comparison: ProtocolComparison) -> tuple[str, ...]:
    """Return the change log of a protocol, the numbers that moved first.

    Parameters
    ----------
    comparison : ProtocolComparison
        Two protocols over the same readings.

    Returns
    -------
    tuple of str
        One paragraph each; of the moves the three largest are named.
    """
    moved, both = comparison.moved, (comparison.before, comparison.after)
    revisions = " to ".join(one.bench.settings.protocol_revision or "(none)" for one in both)
    # a ratio is named once, for the specimens; remaining light of its record where the specimens have none
    place = ["measurand", "lamp", "housing", "point", "instant"]
    ours = moved["scope"] == "specimens"
    beside = ours.groupby([moved[name] for name in place]).transform("any")
    rows = moved[ours | ((moved["measurand"] != "illuminance ratio") & ~beside)]
    named = ", ".join(
        f"{row['measurand']} of {row['lamp']}{in_housing(row['housing'])}, {row['instant']}, "
        f"{between(row['value_before'], row['value_after'], 3)} "
        f"(± {between(100.0 * row['half_before'], 100.0 * row['half_after'], 1)} %)"
        for row in rows.head(3).to_dict("records")
    )
    changes = "; ".join(
        f"{row['lamp']}{in_housing(row['housing'])} ({row['instant']}, {SCOPE_WORDS[row['scope']]}) from "
        f"{VERDICT_NAMES[row['before']]} to {VERDICT_NAMES[row['after']]}"
        for row in comparison.verdicts.to_dict("records")
    )
    keys = "; ".join(
        f"{row['key']} {row['before'] or '(blank)'} to {row['after'] or '(blank)'}"
        for row in comparison.settings.to_dict("records")
    )
    lines = (
        f"Protocol revision {revisions}, over the same {len(comparison.before.selection.readings)} readings.",
        f"Numbers that moved: {count(len(moved), 'result')}; the largest: {named}."
        if named
        else "No number moved.",
        f"Verdicts that changed: {changes}." if changes else "No verdict changed.",
        f"What was changed: {keys}." if keys else "The two protocols declare the same.",
    )
    traded = f"Results gained: {comparison.gained}; lost: {comparison.lost}."
    return (*lines, traded) if comparison.gained or comparison.lost else lines


PLAN_HEADS = {
    "plan": "plan for each lamp",
    "specimens": "for the specimens (± %)",
    "models": "for the models (± %)",
    "hours": "bench time of all lamps (h)",
}
"""Heads of the table of plans."""


def plan_row(
    plan: Forecast, *, lamps: int = 1, minutes: Mapping[str, float] | None = None
) -> dict[str, str | float]:
    """Return a plan as a row of a table.

    Parameters
    ----------
    plan : Forecast
        The plan.
    lamps : int, default 1
        Lamps, the baseline counted. [1]
    minutes : mapping, optional
        What one more specimen, seating and reading takes. [min]

    Returns
    -------
    dict
        label and plan in words; specimens, models: half-widths [%]; hours where minutes are stated.
    """
    levels = {"specimen": plan.specimens, "seating": plan.mountings, "reading": plan.readings}
    row: dict[str, str | float] = {
        "label": " × ".join(map(str, levels.values())),
        "plan": ", ".join(counted(number, noun) for noun, number in levels.items()),
        "specimens": 100.0 * plan.half_width_specimens,
        "models": 100.0 * plan.half_width_models,
    }
    if minutes is not None:
        row["hours"] = bench_hours({"lamp": lamps} | levels, {"lamp": 0.0} | dict(minutes))
    return row


def plans_alt(plans: Sequence[Forecast], *, floor: float, coverage: float) -> str:
    """Return what the picture of plans shows, in words.

    Parameters
    ----------
    plans : sequence of Forecast
        The plans.
    floor : float
        Half-width that seatings and readings do not lower. [1]
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    str
        Two sentences with every number of the figure.
    """
    said = _halves([plan_row(plan) for plan in plans], "models")
    return (
        f"Forecast half-width of a ratio in % at {100.0 * coverage:g} %, for the specimens and for the models, by "
        f"specimens × seatings × readings of each lamp: {said}. Seatings cannot go below ± {decimal(100.0 * floor, 1)}."
    )


def _halves(rows: Sequence[Mapping[Any, Any]], other: str) -> str:
    """Return the half-widths for the specimens beside others, row by row."""
    return "; ".join(
        f"{row['label']} ± {decimal(row['specimens'], 1)} and {decimal(row[other], 1)}" for row in rows
    )


CHANGE_WORDS = {
    "": "as it is",
    "mounting": "one more seating",
    "specimen": "one more specimen",
    "day": "one more day",
    "range": "one locked range",
    "spectrum": f"spectra of the lamps (factors within {100.0 * SPECTRAL_FLOOR:g} %, assumed)",
}
"""The single changes of a protocol, by what `one_more.one_more` calls them."""
_SURE = 2.0  # standard errors of the drawing from which on one figure is below another


def change_sentences(bought: pd.DataFrame, *, percent: float, drawn: int, coverage: float) -> tuple[str, ...]:
    """Return what a protocol would show, which single change buys most, and what the formula says of it.

    Parameters
    ----------
    bought : DataFrame
        As `one_more.what_changes_buy`.
    percent : float
        True difference that it was rehearsed with. [%]
    drawn : int
        Benches drawn for each change. [1]
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    tuple of str
        Three sentences.
    """
    plain, *changes = bought.to_dict("records")
    best, *others = sorted(changes, key=lambda row: float(row["specimens"]))
    for_models, by_formula = (min(changes, key=lambda row: float(row[c])) for c in ("models", "formula"))
    said = (
        f"By {drawn} benches drawn, the protocol as it is gives intervals of {_half(plain['specimens'])} for the "
        f"specimens on the bench and of {_half(plain['models'])} for the models, at {100.0 * coverage:g} %, and shows "
        f"a difference of {percent:g} % between specimens with a chance of {decimal(plain['shown'], 0)} % "
        f"(± {decimal(plain['shown_error'], 0)} % from the drawing), on the average over all comparisons."
    )
    name = CHANGE_WORDS[best["change"]]
    buys, beside = "no single change narrows these by more than so few draws leave open", ""
    most = f"by it the largest gain comes from {CHANGE_WORDS[by_formula['change']]}, {_half(by_formula['formula'])}"
    if _below(best, plain):
        beside = f", and {name} {_half(best['formula'])}"
        most = "that is the largest gain by it too" if by_formula is best else most
        alike = [CHANGE_WORDS[row["change"]] for row in others if not _below(best, row)]
        buys = f"the largest gain comes from {name}, {_half(best['specimens'])} for the specimens"
        buys += f", though so few draws do not tell it from {' and '.join(alike)}" if alike else ""
        if _below(for_models, best, "models"):
            buys += f"; for the models {CHANGE_WORDS[for_models['change']]}, {_half(for_models['models'])}"
    return (
        said,
        f"By rehearsal {buys}.",
        f"By the formula the protocol as it is gives {_half(plain['formula'])} for the specimens{beside}; {most}.",
    )


def _half(percent: float) -> str:
    return f"± {decimal(percent, 1)} %"


def _below(one: Mapping[Any, Any], other: Mapping[Any, Any], scope: str = "specimens") -> bool:
    """Return whether a half-width lies below another by more than the drawing leaves open."""
    error = math.hypot(one[f"{scope}_error"], other[f"{scope}_error"])
    return bool(other[scope] - one[scope] > _SURE * error)


def changes_alt(rows: pd.DataFrame, coverage: float) -> str:
    """Return what the picture of single changes shows, in words.

    Parameters
    ----------
    rows : DataFrame
        As `one_more.what_changes_buy`, with label.
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    str
        One sentence with every number of the figure.
    """
    said = _halves(rows.to_dict("records"), "formula")
    return (
        f"Expected half-width of a ratio in % at {100.0 * coverage:g} %, for the specimens, by rehearsal and by "
        f"formula: {said}."
    )


def needed_words(percent: float, power: float, seatings: int | None) -> str:
    """Return how many seatings show a difference.

    Parameters
    ----------
    percent : float
        The difference. [%]
    power : float
        Chance of showing it. [1]
    seatings : int or None
        Of each lamp; None where no number does.

    Returns
    -------
    str
        One sentence.
    """
    chance = f"a chance of {100.0 * power:g} %"
    if seatings is None:
        return f"No number of seatings shows {percent:g} % with {chance}: what seatings do not lower must shrink first."
    return f"To show {percent:g} % with {chance}, seat each lamp {counted(seatings, 'time')}."
