"""What the warm-up notebook shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.heat import UNLOGGED_DRIFT, WarmUpRun, warm_up_runs
from photolab.bench.heat_and_light import reading_sd
from photolab.bench.model import Bench
from photolab.bench.supply_and_time import ELAPSED_U_S
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import words_heat as words
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import residuals as residuals_figure
from photolab.publication.figures import warm_up as warm_up_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.thermal.warm_up_model import window
from photolab.thermal.warm_up_result import WarmUp

NO_RECORD = (
    "This folder holds no warm-up record: add warm_up.csv (run, lamp, elapsed_s, illuminance_lx), a reading every "
    "30 s from switch-on to the hold time."
)
NO_SECTION = "No warm-up record in this folder, so this section has nothing to show."


@dataclass(frozen=True, eq=False)
class Heat:
    """The warm-up records of a bench, and the one a notebook is about.

    Attributes
    ----------
    bench : Bench
        The bench.
    runs : tuple of WarmUpRun
        Every record, fitted or refused.
    run : WarmUpRun or None
        The chosen one; None where there is none.
    """

    bench: Bench
    runs: tuple[WarmUpRun, ...]
    run: WarmUpRun | None

    @property
    def hold_s(self) -> float:
        """The hold time [s]."""
        return 60.0 * self.bench.settings.hold_minutes


def choose(bench: Bench, *, run: str | None = None, lamp: str | None = None) -> Heat:
    """Return the records of a bench and the one a notebook is about.

    Parameters
    ----------
    bench : Bench
        The bench.
    run, lamp : str, optional
        Which; by default the first record of the first lamp of lamps.csv that is not the baseline.

    Returns
    -------
    Heat
        With run None where no record is meant.
    """
    runs = warm_up_runs(bench)
    lamps = bench.tables["lamps"]
    order = [str(name) for name in lamps["lamp"]]
    first = set(lamps.loc[lamps["role"] == "baseline", "lamp"])
    mine = [r for r in runs if (run is None or r.run == run) and (lamp is None or r.lamp == lamp)]
    mine.sort(key=lambda r: (r.lamp in first, order.index(r.lamp) if r.lamp in order else len(order)))
    return Heat(bench, runs, mine[0] if mine else None)


def answer(heat: Heat) -> Words:
    """Return the answer for the chosen record.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        Remaining light, whether it settles, scope and assumption; or the refusal and what is known.
    """
    if heat.run is None:
        return say(NO_RECORD)
    return say(*_answer_lines(heat, heat.run))


def _answer_lines(heat: Heat, run: WarmUpRun) -> list[str]:
    """Return the sentences on one record."""
    initial = heat.bench.settings.initial_s
    said = []
    if run.remaining is not None:
        given = words.remaining_sentence(
            run.remaining, initial_s=initial, at_s=heat.hold_s, housing=run.housing
        )
        beyond = " That instant lies beyond the record." if run.remaining.extrapolated else ""
        said.append(given + beyond)
    else:
        said += [refusal_line(heat, run, refused) for refused in run.refusals]
    if run.fit is not None:
        said.append(_settles(run.fit))
    if run.remaining is None and not any("remaining_at_end" in refused.known for refused in run.refusals):
        return said
    said.append(f"{intervals_sentence(heat, run)} The meter's scale cancels.")
    return said


def intervals_sentence(heat: Heat, run: WarmUpRun) -> str:
    """Return what the intervals of a record cover, for what they hold, and what was assumed for them.

    Parameters
    ----------
    heat : Heat
        The records.
    run : WarmUpRun
        The record.

    Returns
    -------
    str
        One sentence.
    """
    drift = (
        f"the drift that the logged ambient and volts allow for ({words.percent(run.drift, 2)} % over the record)"
        if run.drift_logged
        else f"a drift of {words.percent(UNLOGGED_DRIFT)} % over the record (assumed)"
    )
    coverage = f"{100.0 * heat.bench.settings.coverage:g}"
    slow = run.fit is not None and any(f.code == "slow_correlated_noise" for f in run.fit.findings)
    short = " The interval may be too short: the readings drift slowly about the curve." if slow else ""
    return (
        f"Intervals cover {coverage} %, for this record ({words.run_name(run)}) and this specimen; they count the "
        f"scatter of the readings, {drift} and a clock {decimal(ELAPSED_U_S, 0)} s off (standard uncertainty, assumed)."
        f"{short}"
    )


def refusal_line(heat: Heat, run: WarmUpRun, refused: MethodError) -> str:
    """Return a refusal with what is known.

    Parameters
    ----------
    heat : Heat
        The records.
    run : WarmUpRun
        The record.
    refused : MethodError
        The refusal.

    Returns
    -------
    str
        One or more sentences.
    """
    hold = decimal(heat.bench.settings.hold_minutes, 0)
    known = words.known_sentence(refused.known, initial_s=heat.bench.settings.initial_s)
    head = f"{words.run_name(run)}: no remaining light after {hold} minutes is given, because {words.why(refused)}."
    return f"{head} What is known all the same. {known}" if known else head


def _settles(fit: WarmUp) -> str:
    """Return whether a record settles, as one sentence."""
    try:
        final = fit.final()
        when = words.settled_phrase(fit.settled(1.0))
    except MethodError as refused:
        return f"No final level is given: {words.why(refused)}."
    ends = words.ends(final.low, final.high)
    return (
        f"It settles: within 1 % of its final level {when} after switch-on. The final level itself is "
        f"{words.percent(final.value)} % of the {fit.initial_s:g} s value ({ends}, slow parts that the "
        f"record cannot exclude "
        "counted in)."
    )


def records(heat: Heat) -> Table | Words:
    """Return every record with its remaining light.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Table or Words
        One row a record.
    """
    if not heat.runs:
        return say(NO_SECTION)
    rows = []
    for run in heat.runs:
        r = run.remaining
        left = "" if r is None else words.percent(r.value)
        ends = "" if r is None else words.ends(r.low, r.high)
        last = decimal(float(run.record["elapsed_s"].iloc[-1]) / 60.0, 0)
        rows.append((run.run, run.lamp, run.housing, len(run.record), last, left, ends, _note(run)))
    names = ["run", "lamp", "housing", "readings", "length", "left", "ends", "note"]
    heads = {
        "length": "length (min)",
        "left": "remaining light (%)",
        "ends": "from-to (%)",
        "note": "what to know",
    }
    return table(pd.DataFrame(rows, columns=names), heads=heads)


def _note(run: WarmUpRun) -> str:
    """Return what a reader must know of a record, in short."""
    if run.fit is None:
        return "; ".join(words.why(refused) for refused in run.refusals)
    said = [words.REFUSAL_WORDS[f.code] for f in run.fit.findings if f.code in words.REFUSAL_WORDS]
    said += [words.why(refused) for refused in run.refusals]
    return "; ".join(dict.fromkeys(said))


def percent_of_initial(run: WarmUpRun) -> float:
    """Return the light that 100 % stands for.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    float
        Fitted light at the initial time; the first reading where there is no curve there. [lx]
    """
    fit = run.fit
    if fit is None or any(f.code == "initial_outside_record" for f in fit.findings):
        return float(run.record["illuminance_lx"].iloc[0])
    return fit.curve.at(window(fit.initial_s, fit.initial_window_s))[0]


def warm_up_picture(heat: Heat, run: WarmUpRun | None = None) -> Picture | Words:
    """Return a record with its curve, both instants, and what lies beyond it.

    Parameters
    ----------
    heat : Heat
        The records.
    run : WarmUpRun, optional
        Another record than the chosen one.

    Returns
    -------
    Picture or Words
        The picture.
    """
    mine = run or heat.run
    if mine is None or mine.fit is None:
        return say(NO_SECTION if mine is None else f"No curve: {_note(mine)}.")
    fit, level = mine.fit, percent_of_initial(mine)
    end = float(fit.time_s[-1])
    grid = np.linspace(float(fit.time_s[0]), end, 400)
    shown = pd.DataFrame({"minutes": fit.time_s / 60.0, "percent": 100.0 * fit.illuminance / level})
    curve = [100.0 * fit.curve.at(np.array([t]))[0] / level for t in grid]
    marks = _marks(heat, mine)
    figure, (axes,) = new_figure(height=3.3)
    warm_up_figure.draw(
        axes,
        shown,
        pd.DataFrame({"minutes": grid / 60.0, "percent": curve}),
        marks=marks,
        end=end / 60.0,
        until=max(heat.hold_s, end) / 60.0,
        step=None if fit.step is None else fit.step.time_s / 60.0,
        initial_s=fit.initial_s,
    )
    said = ", ".join(label.replace("\n", " ") for _, _, label in marks)
    shaded = (
        f"; from {words.minutes(end)} min on it is shaded: beyond the record" if heat.hold_s > end else ""
    )
    step = "" if fit.step is None else f"; a step at {decimal(fit.step.time_s / 60.0, 1)} min"
    alt = f"Light of {words.run_name(mine)} over {words.minutes(end)} min with its curve; marked: {said}{step}{shaded}."
    return picture(figure, alt=alt, invented=is_invented(heat.bench))


def _marks(heat: Heat, run: WarmUpRun) -> list[tuple[float, float, str]]:
    """Return the marked instants of a record: the initial time, and the hold time or the end."""
    fit = run.fit
    if fit is None or any(f.code == "initial_outside_record" for f in fit.findings):
        return []
    marks = [(fit.initial_s / 60.0, 100.0, f"{fit.initial_s:g} s: 100 %")]
    end = float(fit.time_s[-1])
    if run.remaining is not None and not run.remaining.extrapolated:
        value, at = run.remaining.value, heat.hold_s
    else:
        value, at = fit.curve.at(np.array([end]))[0] / percent_of_initial(run), end
    marks.append((at / 60.0, 100.0 * value, f"{words.minutes(at)} min: {words.percent(value)} %"))
    return marks


def residuals(heat: Heat) -> Picture | Words:
    """Return what the curve of the chosen record leaves over.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Picture or Words
        The picture.
    """
    if heat.run is None or heat.run.fit is None:
        return say("No curve, so nothing is left over.")
    fit = heat.run.fit
    shown = pd.DataFrame({"minutes": fit.time_s / 60.0, "percent": 100.0 * fit.residuals / fit.fitted})
    sd = 100.0 * reading_sd(heat.run) / float(fit.fitted.mean())
    figure, (axes,) = new_figure(height=2.4)
    residuals_figure.draw(axes, shown, sd=sd)
    largest = float(shown["percent"].abs().max())
    alt = (
        f"What the curve of {words.run_name(heat.run)} leaves over: one SD is {decimal(sd, 2)} %, the largest "
        f"{decimal(largest, 2)} %."
    )
    return picture(figure, alt=alt, invented=is_invented(heat.bench))


def residual_words(heat: Heat) -> Words:
    """Return how the readings scatter about the curve.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        Scatter, correlation and how many independent readings are left.
    """
    if heat.run is None or heat.run.fit is None:
        return say("No curve, so nothing is left over.")
    fit = heat.run.fit
    sd = 100.0 * reading_sd(heat.run) / float(fit.fitted.mean())
    quiet = words.stable_sentence(heat.run.stable_runs)
    return say(
        f"One reading scatters by {decimal(sd, 2)} % about the curve. Neighbouring readings are correlated by "
        f"{decimal(fit.residual_correlation, 2)}, so the {fit.time_s.size} readings are worth "
        f"{decimal(fit.effective_readings, 0)} independent ones, and the interval allows for that.{quiet}"
    )


def findings(heat: Heat) -> Words:
    """Return what a reader must know of the chosen record.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        One item a finding.
    """
    if heat.run is None:
        return say(NO_SECTION)
    if heat.run.fit is None:
        return say(*(f"No curve: {words.why(refused)}." for refused in heat.run.refusals))
    said = [words.finding_sentence(f) for f in heat.run.fit.findings]
    nothing = (
        "Nothing in this record asks for caution: no step, no ripple, no gap, no reading far off the curve."
    )
    return say(*said, bullets=True) if said else say(nothing)
