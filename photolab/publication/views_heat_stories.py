"""What the warm-up notebook shows beside the curve: re-basing, settling, steps, refusals, panels, a second way."""

from __future__ import annotations

import math

import pandas as pd

from photolab.bench.heat import WarmUpRun
from photolab.bench.heat_and_light import plain_ways
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import words_heat as words
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import three_panels as panels_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.publication.views_heat import (
    NO_SECTION,
    Heat,
    intervals_sentence,
    percent_of_initial,
    refusal_line,
    warm_up_picture,
)
from photolab.thermal.stabilization import PRACTICE, stabilized_at

SETTLED_PERCENT = (5.0, 2.0, 1.0)
WAYS = {
    "one_exponential": "one exponential by plain least squares",
    "near_readings": "the mean of the readings next to both instants, no curve at all",
}


def rebased(heat: Heat) -> Table | Words:
    """Return the same remaining light referred to other initial instants.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Table or Words
        One row an initial instant.
    """
    if heat.run is None or heat.run.fit is None:
        return say("No curve, so nothing can be referred to another instant.")
    fit = heat.run.fit
    at = heat.hold_s if heat.run.remaining is not None else float(fit.time_s[-1])
    rows = fit.rebase(at_s=at)
    first = f"the record begins at {fit.time_s[0]:g} s"
    if fit.initial_window_s:
        first += f", and {fit.initial_window_s:g} s are averaged"
    shown = pd.DataFrame(
        {
            "initial": [f"{x:g}" for x in rows["initial_s"]],
            "left": ["" if math.isnan(x) else words.percent(x) for x in rows["remaining"]],
            "ends": [
                "" if math.isnan(a) else f"{words.percent(a)} to {words.percent(b)}"
                for a, b in zip(rows["low"], rows["high"], strict=True)
            ],
            "why": [
                f"not given: {first if c == 'initial_outside_record' else words.REFUSAL_WORDS[c]}"
                if c
                else ""
                for c in rows["code"]
            ],
        }
    )
    heads = {
        "initial": "initial time (s)",
        "left": f"remaining light after {words.minutes(at)} min (%)",
        "ends": "from-to (%)",
        "why": "note",
    }
    return table(shown, heads=heads)


def settling(heat: Heat) -> Words:
    """Return when the chosen record settles, by its curve and by a declared criterion.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        Three or four sentences.
    """
    if heat.run is None or heat.run.fit is None:
        return say("No curve, so nothing is said of settling.")
    fit = heat.run.fit
    try:
        times = [f"{p:g} % from {words.settled_phrase(fit.settled(p))}" for p in SETTLED_PERCENT]
        curve = (
            f"On the curve the light stays within {', '.join(times)} after switch-on, counted from the final level. "
            f"{intervals_sentence(heat, heat.run)}"
        )
    except MethodError as refused:
        curve = f"No final level is given, because {words.why(refused)}; so no time of settling either."
    try:
        parts = words.fading_sentence(fit.fading(), initial_s=fit.initial_s)
    except MethodError as refused:
        parts = f"No time constant is given, because {words.why(refused)}."
    named = f"{PRACTICE.readings} readings {PRACTICE.spacing_s / 60.0:g} min apart within {PRACTICE.spread_percent:g} %"
    try:
        when = words.minutes(stabilized_at(fit.time_s, fit.illuminance))
        met = f"first met {when} min after switch-on"
    except MethodError as refused:
        spread = words.known_sentence(refused.known, initial_s=fit.initial_s)
        reason = "" if refused.code == "not_stabilized" else f", because {words.why(refused)}"
        met = f"not met within the record{reason}. {spread}".strip().rstrip(".")
    return say(curve, parts, f"Declared criterion of stabilization ({named}; {PRACTICE.source}): {met}.")


def three_panels(heat: Heat, run: WarmUpRun | None = None) -> Picture | Words:
    """Return light, case temperature and watts of a record on one time axis.

    Parameters
    ----------
    heat : Heat
        The records.
    run : WarmUpRun, optional
        Another record than the chosen one.

    Returns
    -------
    Picture or Words
        Three stacked panels.
    """
    mine = run or heat.run
    if mine is None:
        return say(NO_SECTION)
    record, level = mine.record, percent_of_initial(mine)
    shown = pd.DataFrame(
        {
            "minutes": record["elapsed_s"] / 60.0,
            "percent": 100.0 * record["illuminance_lx"] / level,
            "case": record["case_C"],
            "watts": record["socket_V"] * record["current_A"],
        }
    )
    step = mine.fit.step if mine.fit is not None else None
    figure, panels = new_figure(rows=3, height=5.2, share_x=True)
    panels_figure.draw(
        panels,
        shown,
        initial_s=heat.bench.settings.initial_s,
        step=None if step is None else step.time_s / 60.0,
    )
    said = ", ".join(
        f"{name} {_from_to(shown[column], unit)}"
        for name, column, unit in (("light", "percent", "%"), ("case", "case", "°C"), ("power", "watts", "W"))
    )
    cut = "" if step is None else f"; a step in all three at {decimal(step.time_s / 60.0, 1)} min"
    alt = f"Three panels on one time axis for {words.run_name(mine)}: {said}{cut}."
    return picture(figure, alt=alt, invented=is_invented(heat.bench))


def _from_to(column: pd.Series[float], unit: str) -> str:
    """Return the first and the last value of a column."""
    known = column.dropna()
    if known.empty:
        return "not logged"
    return f"from {decimal(float(known.iloc[0]), 1)} to {decimal(float(known.iloc[-1]), 1)} {unit}"


def _stepped(heat: Heat) -> list[WarmUpRun]:
    """Return the records with a step."""
    return [r for r in heat.runs if r.fit is not None and r.fit.step is not None]


def steps_found(heat: Heat) -> Words:
    """Return every step that was found, with its size.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        One item a record.
    """
    if not heat.runs:
        return say(NO_SECTION)
    said = []
    for run in _stepped(heat):
        fit = run.fit
        if fit is None or fit.step is None:
            continue
        near = float(
            min(b - a for a, b in zip(fit.time_s[:-1], fit.time_s[1:], strict=True) if b > fit.step.time_s)
        )
        sentence = words.step_sentence(fit.step, spacing_s=near, coverage=heat.bench.settings.coverage)
        said.append(f"{words.run_name(run)}: {sentence} {_watts(run, fit.step.time_s)}".strip())
    return say(*said, bullets=True) if said else say("No step was found in any record.")


def _watts(run: WarmUpRun, step_s: float) -> str:
    """Return what the watts did at a step."""
    watts = run.record["socket_V"] * run.record["current_A"]
    after = run.record["elapsed_s"] > step_s
    before, behind = float(watts[~after].tail(4).mean()), float(watts[after].head(6).tail(4).mean())
    if not before > 0.0 or behind != behind:
        return ""
    return f"The power went from {decimal(before, 1)} W to {decimal(behind, 1)} W."


def step_picture(heat: Heat) -> Picture | Words:
    """Return the first record with a step.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Picture or Words
        Curve and step.
    """
    found = _stepped(heat)
    return warm_up_picture(heat, found[0]) if found else say("No step, so no picture of one.")


def step_panels(heat: Heat) -> Picture | Words:
    """Return light, case and watts of the first record with a step.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Picture or Words
        Three stacked panels.
    """
    found = _stepped(heat)
    return three_panels(heat, found[0]) if found else say("No step, so no panels of one.")


def refusals(heat: Heat) -> Words:
    """Return what was refused, and what is known all the same.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        One item a record and refusal.
    """
    if not heat.runs:
        return say(NO_SECTION)
    said = []
    for run in heat.runs:
        said += [refusal_line(heat, run, refused) for refused in run.refusals]
        blocked = [f for f in (run.fit.findings if run.fit else ()) if "final_level" in f.blocks]
        why = ", and ".join(words.REFUSAL_WORDS[f.code] for f in blocked)
        if why:
            said.append(f"{words.run_name(run)}: no final level is given, because {why}.")
    return say(*said, bullets=True) if said else say("Nothing was refused: every record carries its answer.")


def refused_picture(heat: Heat) -> Picture | Words:
    """Return the first record that was refused, with what lies beyond it shaded.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Picture or Words
        The record.
    """
    found = [r for r in heat.runs if r.refusals and r.fit is not None]
    return warm_up_picture(heat, found[0]) if found else say("No record was refused, so no picture of one.")


def second_way(heat: Heat) -> Words:
    """Return remaining light in two plain ways beside the method, judged.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        For the chosen record, and for the first with a step.
    """
    if heat.run is None:
        return say(NO_SECTION)
    said = []
    for run in dict.fromkeys([heat.run, *_stepped(heat)[:1]]):
        said += _judged(heat, run)
    return say(*said)


def _judged(heat: Heat, run: WarmUpRun) -> list[str]:
    """Return the plain ways of one record beside its interval."""
    r, initial = run.remaining, heat.bench.settings.initial_s
    if r is None:
        return [f"{words.run_name(run)}: no remaining light was given, so there is nothing to check."]
    said = [
        f"{words.run_name(run)}: the method gives {words.percent(r.value)} % ({words.ends(r.low, r.high)})."
    ]
    for row in plain_ways(run, heat.hold_s, initial_s=initial).itertuples(index=False):
        value = float(str(row.value))
        away = decimal(100.0 * abs(value - r.value), 1)
        inside = r.low <= value <= r.high
        verdict = "inside the interval" if inside else "outside the interval"
        said.append(f"{words.percent(value)} % by {WAYS[str(row.way)]}: {away} points away, {verdict}.")
    if run.fit is not None and run.fit.step is not None:
        said.append(
            "A curve without a step cannot follow this record; the readings themselves decide between the two."
        )
    return [" ".join(said)]
