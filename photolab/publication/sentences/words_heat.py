"""Warm-up and heat in words: what is left, whether it settles, what a record cannot carry."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.results.heat import WarmUpRun
from photolab.bench.results.heat_and_light import RADIANT_HIGH, RADIANT_LOW
from photolab.bench.terms.model import Bench
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import Measured, coverage_factor
from photolab.metrology.reporting import decimal, published_ends
from photolab.publication.sentences.statements import capital, in_housing
from photolab.thermal.coupling import ExpectedLight, Slope, TimeConstants
from photolab.thermal.stabilization import PRACTICE
from photolab.thermal.warm_up_result import Remaining, Settled, WarmUp

_LEFT = ("remaining light (%)", "from-to (%)")
_HELD = 0.01
"""Volts that move by less across a step have held. [1]"""
REFUSAL_WORDS = {
    "no_light_left": "the light falls to nothing",
    "reading_without_light": "the record holds readings of 0 lx, and what is left is a share of light",
    "too_few_readings": "too few readings for a curve",
    "constant_record": "every reading is the same figure, so that nothing was seen to change",
    "too_far_beyond_record": "the hold time lies beyond twice the length of the record",
    "initial_outside_record": "the initial time, its window included, lies outside the record",
    "second_step": "the light stepped more than once",
    "step": "the light stepped, and may step again",
    "ripple": "the light swings with a steady period",
    "no_change_resolved": "the light does not fall by more than its readings scatter",
    "record_too_short": "the record is too short for a final level",
    "rising_light": "the light rises over the record",
    "outliers": "single readings lie far off the curve",
    "fitted_light_not_positive": "the curve falls to no light at all",
    "not_one_settling_curve": "the light does not settle by falling alone",
    "too_few_independent_readings": "too few independent readings are left",
    "slow_correlated_noise": "the readings drift slowly about the curve: the interval may be too short",
    "span_too_small": "the case temperature hardly changed",
    "correlated_residuals": "light and temperature do not follow one straight line",
    "no_time_constant": "the light or the temperature does not bend within the record",
    "no_case_temperature": "the record states no case temperature",
    "no_expectation": (
        "remaining light and ambient are not both known, the lamp has a filament, or it cut its own power"
    ),
    "no_resistance": "case, ambient and watts are not all known at the hold time, or the lamp has a filament",
    "not_stabilized": "the declared criterion is not met within the record",
    "no_real_temperature": "what is reflected alone is more than what the camera saw",
    "patch_too_cool": "the patch is hardly warmer than what is reflected",
    "no_emissivity": "no emissivity from 0 to 1 fits both readings",
}
"""Why there is no answer, by the code of the refusal."""
_INSIDE = "What lies inside the record stands; beyond it nothing is said"
_STILL = "of a lamp that no longer changes, read by the same meter"
_MORE_OF_REFUSALS = {
    "second_step": ". One curve with one step does not describe that: no remaining light is given.",
    "ripple": f", as a supply, a fan or the room may do. {_INSIDE}.",
    "no_change_resolved": (
        ": the lamp is settled as far as this record shows, and a final level apart from it has no meaning."
    ),
    "record_too_short": ": it spans less than two of the slowest time constant it allows for.",
    "rising_light": ". The method beyond the record takes it to fall only, so nothing is said there.",
    "not_one_settling_curve": ": it dips, overshoots or was disturbed. Nothing is said beyond the record.",
    "outliers": ": look at them. They were not left out, and nothing is said beyond the record.",
    "fitted_light_not_positive": " within the record: it does not describe this lamp, and nothing is given.",
}
FINDING_WORDS = {
    code: f"{capital(REFUSAL_WORDS[code])}{more}" for code, more in _MORE_OF_REFUSALS.items()
} | {
    "step": (
        f"The light stepped: the lamp or the supply changed by itself. {_INSIDE}, because the lamp may step again."
    ),
    "too_few_independent_readings": (
        "Neighbouring readings repeat one another so much that fewer than 6 independent ones are left: no interval is "
        "given."
    ),
    "few_independent_readings": (
        "Neighbouring readings may repeat one another: fewer than 15 independent ones are left. The interval rests on "
        f"few and may be too narrow; a record {_STILL}, would tell more."
    ),
    "correlated_residual_or_event": (
        "What the curve leaves over goes up and down slowly: a drift of the room or the supply, or an event. The "
        f"interval allows for it. A record {_STILL}, would tell more; every such record in warm_up.csv is used."
    ),
    "slow_correlated_noise": (
        "What the curve leaves over goes up and down as slowly as a tenth of the record, or nearly: such a drift looks "
        f"like the curve, so the interval may be too short. A longer record would tell more, or one {_STILL}."
    ),
    "coarse_display": (
        "The display's last figure is coarser than the scatter: half a figure is counted in, and more readings do not "
        "help."
    ),
    "gap": "The record has a long gap: the curve bridges it, and what happened in it was not seen.",
    "readings_set_aside": "Single readings far off the curve were left out, as asked for.",
    "more_than_two_rates": (
        "The light settles at more than two rates: the interval inside the record was widened by what slower parts "
        "allow."
    ),
    "drift_assumed": (
        "Ambient and volts were not both logged: a drift of 0.3 % over the record is assumed, which light readings "
        "cannot show."
    ),
    "initial_outside_record": "The initial time lies outside the record, so nothing is referred to it.",
}
"""What a finding of `photolab.thermal.warm_up` means; of some, why it refuses an answer and what follows."""
CONSTANT_WORDS = {
    "shared": "light and case settle together",
    "different": "light and case do not settle with one time constant",
    "not_resolved": "the record does not show whether light and case settle together",
}

NO_PAIR = (
    "No lamp was read at the initial and at the hold time in one seating, so nothing is said of what is left."
)
RADIANT_ASSUMED = f"Assumed: {RADIANT_LOW:g} to {RADIANT_HIGH:g} of the power leaves as light."
MEANING_WORDS = {
    "shared": "Heat of the case can explain the loss; that does not prove that it does.",
    "different": (
        "Heat of the case alone does not explain the course of the light: the light source itself warms faster than "
        "the case, or slower parts of the lamp count too."
    ),
    "not_resolved": "Heat may explain the loss.",
}
"""What one time constant or two mean."""


def why(refused: MethodError) -> str:
    """Return why there is no answer, as a clause."""
    return REFUSAL_WORDS.get(refused.code, str(refused))


def refusal_sentences(refused: MethodError) -> str:
    """Return that there is no answer, why, and what is known."""
    return f"No answer, because {why(refused)}. {known_sentence(refused.known)}".strip()


def percent(x: float, places: int = 1) -> str:
    """Return a fraction in percent, without the sign."""
    return decimal(100.0 * x, places)


def ends(low: float, high: float, places: int = 1) -> str:
    """Return the ends of an interval of a fraction in percent, as the table of results has them."""
    return " to ".join(percent(end, places) for end in published_ends(low, high))


def between(low: float, high: float, places: int) -> str:
    """Return the ends of any other interval."""
    return f"{decimal(low, places)} to {decimal(high, places)}"


def minutes(seconds: float) -> str:
    """Return a time in minutes to the tenth; whole minutes without it."""
    return decimal(seconds / 60.0, 1).removesuffix(".0")


def remaining_sentence(remaining: Remaining) -> str:
    """Return remaining light as the sentence that is published, or the final level."""
    (value, from_to), initial = _cells(remaining), f"{remaining.initial_s:g} s"
    if math.isinf(remaining.at_s):
        slow = "wider below, because a slow further fall cannot be excluded"
        return f"The final level is {value} % ({from_to}; {slow}) of the {initial} value."
    later = (
        " That instant lies beyond the record; a cut that the lamp makes after its end is not in this range."
    )
    beyond = later if remaining.extrapolated else ""
    after = f"after {minutes(remaining.at_s)} minutes"
    return f"Remaining light: {value} % ({from_to}) of the {initial} value {after}.{beyond}"


def _cells(one: Remaining | ExpectedLight) -> tuple[str, str]:
    """Return what is left, and its interval."""
    return percent(one.value), ends(one.low, one.high)


def _cells_of_ln(ln_left: Measured, coverage: float) -> tuple[str, str]:
    """Return what is left, known by its logarithm, and its interval."""
    low, high = map(math.exp, ln_left.interval(coverage))
    return percent(math.exp(ln_left.value)), ends(low, high)


def pair_sentence(name: tuple[str, ...], ln_left: Measured, bench: Bench) -> str:
    """Return what readings of one seating at both instants say is left of a piece, without a record."""
    settings, piece = bench.settings, f", specimen {name[3]}" if name[3] else ""
    value, from_to = _cells_of_ln(ln_left, settings.coverage)
    return (
        f"Read at both instants in one seating{piece}: {value} % ({from_to}) of the {settings.initial_s:g} s value "
        f"after {settings.hold_minutes:g} minutes ({100.0 * settings.coverage:g} %)."
    )


def settled_sentence(settled: Settled) -> str:
    """Return a time of settling with its interval; a lamp that is near from the first reading has none."""
    ends_min = f" ({between(settled.low_s / 60.0, settled.high_s / 60.0, 1)})"
    from_to = "" if settled.low_s == settled.high_s else ends_min
    value = decimal(settled.value_s / 60.0, 1)
    return f"Within {settled.percent:g} % of its final level from {value} min{from_to} after switch-on."


def stabilized_sentence(when_s: float | MethodError) -> str:
    """Return whether a declared criterion of stability is met; the scatter of single readings counts as change."""
    apart = f"{PRACTICE.readings} readings {PRACTICE.spacing_s / 60.0:g} min apart"
    within = f"within {PRACTICE.spread_percent:g} %; {PRACTICE.source}"
    head = f"Declared criterion of stabilization ({apart} {within})"
    if not isinstance(when_s, MethodError):
        return f"{head}: first met {minutes(when_s)} min after switch-on."
    spans = minutes((PRACTICE.readings - 1) * PRACTICE.spacing_s)
    reasons = {
        "not_stabilized": "",
        "record_too_short": f", which is shorter than the {spans} min that it asks for",
    }
    reason = reasons.get(when_s.code, f", because {why(when_s)}")
    return f"{head}: not met within the record{reason}. {known_sentence(when_s.known)}".strip()


def warm_up_sentences(fit: WarmUp) -> tuple[str, ...]:
    """Return whether a record settles and to what, what a reader must know of it, and what its intervals count."""
    try:
        settles = f"It settles. {settled_sentence(fit.settled(1.0))} {remaining_sentence(fit.final())}"
    except MethodError as refused:
        settles = f"No final level is given, because {why(refused)}."
    codes = [finding.code for finding in fit.findings]
    how = "assumed" if "drift_assumed" in codes else "logged or declared"
    slow = " The interval may be too short: the readings drift slowly about the curve."
    lux = fit.additive_uncertainty
    added = f", and {decimal(lux, 1)} lx more or less on every reading (the meter's range)" if lux else ""
    counted = (
        f"Intervals cover {100.0 * fit.coverage:g} %, for this record and this specimen; they count the scatter of "
        f"the readings, a drift of {percent(fit.drift_relative_sd, 2)} % over the record ({how}) and a clock "
        f"{decimal(fit.elapsed_uncertainty_s, 0)} s off (standard uncertainty, assumed){added}. "
        f"The meter's scale cancels.{slow if 'slow_correlated_noise' in codes else ''}"
    )
    return (settles, *step_sentences(fit), *(FINDING_WORDS[code] for code in codes), counted)


def step_sentences(fit: WarmUp) -> tuple[str, ...]:
    """Return the step of a record with its instant, between two readings, and its size; nothing without one."""
    if fit.step is None:
        return ()
    step, times = fit.step, fit.time_s
    after = int(np.searchsorted(times, step.time_s, side="right"))
    half = decimal((times[after] - times[after - 1]) / 120.0, 2)
    doubt = percent(coverage_factor(fit.coverage) * step.size_uncertainty)
    verb, size = ("lost" if step.size < 0 else "gained"), percent(abs(step.size))
    when = decimal(step.time_s / 60.0, 2)
    return (f"At {when} ± {half} min the light {verb} {size} ± {doubt} % of what it was just before.",)


def inside_sentences(fit: WarmUp, quiet: tuple[str, ...] = ()) -> tuple[str, str]:
    """Return what fades how fast in a record, what its readings are worth, and whose scatter counted beside theirs."""
    sd = decimal(100.0 * fit.residual_sd / float(fit.illuminance.mean()), 2)
    beside = f" Counted in: {', '.join(quiet)}, without a change and read by the same meter." if quiet else ""
    worth = (
        f"One reading scatters by {sd} % about the curve. Neighbouring readings are correlated by "
        f"{decimal(fit.residual_correlation, 2)}, so the {fit.time_s.size} readings are worth "
        f"{decimal(fit.effective_readings, 0)} independent ones, and the interval allows for that.{beside}"
    )
    return _fading(fit), worth


def _fading(fit: WarmUp) -> str:
    """Return what fades how fast, each part with its share and its time constant; or why that is not said."""
    parts = attempt(fit.fading)
    if isinstance(parts, MethodError):
        return f"No time constant is given, because {why(parts)}."
    said = "; ".join(
        f"{percent(one.share.value)} % ({ends(*one.share.interval(fit.coverage))}) with a time constant of "
        f"{decimal(one.time_constant.value / 60.0, 1)} min "
        f"({between(low / 60.0, high / 60.0, 1)})"
        for one in parts
        for low, high in [one.time_constant.interval(fit.coverage)]
    )
    alone = "" if parts[1:] else " A second rate is not told apart from it."
    return f"Of the {fit.initial_s:g} s value fade: {said}.{alone}"


def known_sentence(known: Mapping[str, Any]) -> str:
    """Return what is still known where a record cannot carry an answer; empty where nothing is."""
    if "remaining_at_end" in known:
        left = remaining_sentence(known["remaining_at_end"])
        return f"What is known: {left} That is the end of the record."
    if "fitted_ratio_at_end" in known:
        left, last = percent(known["fitted_ratio_at_end"]), minutes(known["last_s"])
        where = f"at {left} % of the initial light at the end of the record ({last} min)"
        return f"The curve stands {where}; no interval is given."
    if "last_over_first" in known:
        return (
            f"The last reading is {percent(known['last_over_first'])} % of the first; no interval is given."
        )
    if "remaining_low" in known:
        left = ends(known["remaining_low"], known["remaining_high"], 2)
        return f"All readings agree within one last figure: {left} % is left."
    if "smallest_spread_percent" in known:
        return f"The smallest spread seen is {decimal(known['smallest_spread_percent'], 1)} %."
    return ""


def run_name(run: WarmUpRun) -> str:
    """Return which record is meant: run, lamp, specimen and housing."""
    specimen = f" specimen {run.specimen}" if run.specimen else ""
    return f"{run.run}, {run.lamp}{specimen}" + in_housing(run.housing)


def _which(run: WarmUpRun) -> dict[str, str]:
    """Return which record is meant as the first cells of a row."""
    return {"run": run.run, "lamp": run.lamp, "housing": run.housing}


def record_row(run: WarmUpRun) -> dict[str, object]:
    """Return one record as a row of a table: what is left at the hold time, and what to know."""
    found = run.remaining
    codes = [f.code for f in (run.fit.findings if run.fit else ()) if f.code in REFUSAL_WORDS]
    notes = [REFUSAL_WORDS[code] for code in codes] + [why(refused) for refused in run.refusals]
    return _which(run) | {
        "readings": len(run.record),
        "length (min)": decimal(float(run.record["elapsed_s"].iloc[-1]) / 60.0, 0),
        **dict(zip(_LEFT, _cells(found) if found else ("", ""), strict=True)),
        "what to know": "; ".join(dict.fromkeys(notes)),
    }


def remaining_table(answers: Mapping[str, Remaining | MethodError], head: str) -> pd.DataFrame:
    """Return answers to one question asked in several ways, each with its interval or why there is none."""
    rows: list[tuple[str, ...]] = []
    for name, one in answers.items():
        if isinstance(one, MethodError):
            rows.append((name, "", "", "", why(one)))
        else:
            half = percent((one.high - one.low) / 2.0, 2)
            rows.append((name, *_cells(one), half, "beyond the record" if one.extrapolated else ""))
    return pd.DataFrame(rows, columns=[head, *_LEFT, "half the interval (%)", "note"])


def ways_table(ways: Mapping[str, float], answer: Remaining) -> pd.DataFrame:
    """Return plain figures beside the answer, each judged by its interval."""
    rows = []
    for name, x in ways.items():
        where = "inside" if answer.low <= x <= answer.high else "outside"
        rows.append((name, percent(x), percent(x - answer.value), where))
    return pd.DataFrame(rows, columns=["way", "remaining light (%)", "away (points)", "the interval"])


def pairs_table(ln_left: Mapping[tuple[str, ...], Measured], bench: Bench) -> pd.DataFrame:
    """Return what readings at both instants say is left of each lamp in each housing."""
    rows = [(*name, *_cells_of_ln(one, bench.settings.coverage)) for name, one in ln_left.items()]
    return pd.DataFrame(rows, columns=["lamp", "housing", "point", "specimen", *_LEFT])


def run_refusals(run: WarmUpRun) -> tuple[str, ...]:
    """Return what a record cannot carry, one sentence each, and what is known all the same."""
    head = "no remaining light at the hold time"
    said = [f"{head}: {why(one)}. {known_sentence(one.known)}" for one in run.refusals]
    blocked = [f.code for f in (run.fit.findings if run.fit else ()) if "final_level" in f.blocks]
    if blocked:
        said.append(f"no final level: {', and '.join(REFUSAL_WORDS[code] for code in blocked)}.")
    return tuple(f"{run_name(run)}: {one}".strip() for one in said)


def run_steps(run: WarmUpRun) -> tuple[str, ...]:
    """Return the step of a record and what its watts did; nothing without one."""
    if run.fit is None or run.fit.step is None:
        return ()
    before, behind = _across(run, run.record["socket_V"] * run.record["current_A"])
    power = f" The power went from {decimal(before, 1)} W to {decimal(behind, 1)} W."
    volts = f" Meanwhile{moved}." if (moved := _volts_moved(run)) else ""
    return (f"{run_name(run)}: {step_sentences(run.fit)[0]}{power if before * behind > 0.0 else ''}{volts}",)


def _volts_moved(run: WarmUpRun) -> str:
    """Return how the volts of a record moved across its step; blank where they held, or were not logged."""
    before, behind = _across(run, run.record["socket_V"])
    held = math.isnan(before * behind) or abs(behind / before - 1.0) < _HELD
    return "" if held else f" its volts went from {decimal(before, 1)} to {decimal(behind, 1)} V"


def _across(run: WarmUpRun, values: "pd.Series[float]") -> tuple[float, float]:
    """Return the mean of a few logged values before the step of a record, and after it."""
    after = run.record["elapsed_s"] > run.fit.step.time_s  # type: ignore[union-attr]
    return float(values[~after].tail(4).mean()), float(values[after].head(6).tail(4).mean())


def step_words(run: WarmUpRun) -> str:
    """Return the step of a record in a few words; that the lamp did it only where watts fell and volts held.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    str
        "lowers its own power at 18.8 min", "its light rises by 4.1 % at 12.0 min"; blank without a step.
    """
    if run.fit is None or run.fit.step is None:
        return ""
    size, moved = run.fit.step.size, _volts_moved(run)
    watts, fewer = _across(run, run.record["socket_V"] * run.record["current_A"])
    itself = not moved and size < 0.0 and fewer - watts < watts * size / 2.0
    way = "falls" if size < 0.0 else "rises"
    what = "lowers its own power" if itself else f"its light {way} by {percent(abs(size))} %"
    return f"{what} at {decimal(run.fit.step.time_s / 60.0, 1)} min" + (f" while{moved}" if moved else "")


def slope_sentences(slope: Slope) -> str:
    """Return the light for each kelvin of the case, and whether that is a change at all."""
    known = f"{between(slope.low, slope.high, 3)} at {100.0 * slope.coverage:g} %"
    none = (
        " No change of the light with the temperature is told from the scatter: heat explains nothing here."
    )
    return (
        f"Light against case temperature: {decimal(slope.percent_per_kelvin, 3)} %/K ({known}), over "
        f"{decimal(slope.span, 0)} K of the case.{none if slope.low <= 0.0 <= slope.high else ''}"
    )


def constants_sentences(constants: TimeConstants) -> str:
    """Return whether light and case settle together, and what that does and does not show."""
    light, case = (f"{decimal(s / 60.0, 1)} min" for s in (constants.light_s, constants.temperature_s))
    ratio = f"{decimal(constants.ratio, 2)} ({between(constants.low, constants.high, 2)})"
    head = f"Time constants: {light} for the light, {case} for the case; their ratio is {ratio}"
    return f"{head}: {CONSTANT_WORDS[constants.code]}. {MEANING_WORDS[constants.code]}"


def coupling_row(
    run: WarmUpRun, slope: Slope | MethodError, constants: TimeConstants | MethodError
) -> dict[str, str]:
    """Return how light and case of a record went together as a row of a table."""
    cells, notes = ["", "", "", ""], [why(one) for one in (slope, constants) if isinstance(one, MethodError)]
    if isinstance(slope, Slope):
        cells[:2] = decimal(slope.percent_per_kelvin, 3), between(slope.low, slope.high, 3)
    if isinstance(constants, TimeConstants):
        cells[2:] = (decimal(s / 60.0, 1) for s in (constants.light_s, constants.temperature_s))
        notes = [CONSTANT_WORDS[constants.code], *notes]
    notes += ["up to the step"] if run.fit is not None and run.fit.step is not None else []
    heads = ("light (%/K of case)", "from-to (%/K)", "time constant of light (min)", "of case (min)")
    shown = dict(zip(heads, cells, strict=True))
    return _which(run) | shown | {"what it shows": "; ".join(dict.fromkeys(notes))}


def plain_slope_sentence(percent_per_kelvin: float, slope: Slope) -> str:
    """Return a plain slope beside the one with errors in both."""
    where = "inside" if slope.low <= percent_per_kelvin <= slope.high else "outside"
    return f"By plain least squares {decimal(percent_per_kelvin, 3)} %/K: {where} the interval."


def resistance_row(run: WarmUpRun, resistance: Measured, coverage: float) -> dict[str, str]:
    """Return a thermal resistance as a row of a table."""
    ends_of = between(*resistance.interval(coverage), 1)
    return _which(run) | {"case to ambient (K/W)": decimal(resistance.value, 1), "from-to (K/W)": ends_of}


def ambient_table(
    coefficients: Mapping[str, Measured], moved: Mapping[str, Measured], coverage: float
) -> pd.DataFrame:
    """Return corrections to the reference ambient, one row a coefficient."""
    rows = []
    for source, c in coefficients.items():
        factor, known = moved[source], f"{percent(c.value, 3)} ± {percent(c.half_width(coverage), 3)}"
        doubt = percent(factor.half_width(coverage) / factor.value, 2)
        rows.append((source, known, percent(factor.value - 1.0, 2), doubt))
    heads = ["source", "coefficient (%/K)", "moves the light by (%)", "give or take (%)"]
    return pd.DataFrame(rows, columns=heads)


def expected_sentences(found: ExpectedLight) -> str:
    """Return light expected at another ambient, which nobody measured there."""
    far = " The case would leave the temperatures that the record covers." if found.beyond_record else ""
    value, from_to = _cells(found)
    return (
        f"Extrapolation, not measured: {value} % ({from_to}) of the initial light on the bench would be left.{far} "
        "A lamp that cuts its own power would do so earlier in the heat, and nothing here would show it."
    )
