"""Warm-up and heat in words: what is left, whether it settles, what a record cannot carry."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from photolab.bench.heat import WarmUpRun
from photolab.errors import MethodError
from photolab.metrology.quantity import COVERAGE, coverage_factor
from photolab.metrology.reporting import decimal, published_ends
from photolab.thermal.coupling import Slope, TimeConstants
from photolab.thermal.warm_up_result import Fading, Finding, Remaining, Settled, Step

FINDING_WORDS = {
    "second_step": (
        "The light stepped more than once. One curve with one step does not describe that: no remaining "
        "light is given."
    ),
    "step": (
        "The light stepped: the lamp or the supply changed by itself. What lies inside the record stands; beyond it "
        "nothing is said, because the lamp may step again."
    ),
    "ripple": (
        "The light swings with a steady period, as a supply, a fan or the room may do. What lies inside "
        "the record stands; "
        "beyond it nothing is said."
    ),
    "no_change_resolved": (
        "No fall of the light is told from the scatter: the lamp is settled as far as this record shows, "
        "and a final level "
        "apart from it has no meaning."
    ),
    "record_too_short": (
        "The record is too short for a final level: it spans less than two of the slowest time constant "
        "it allows for."
    ),
    "rising_light": (
        "The light rises over the record. The method beyond the record takes it to fall only, so nothing "
        "is said there."
    ),
    "not_one_settling_curve": (
        "The light does not settle by falling alone: it dips, overshoots or was disturbed. Nothing is "
        "said beyond the record."
    ),
    "too_few_independent_readings": (
        "Neighbouring readings repeat one another so much that fewer than 6 independent ones are left: no "
        "interval is given."
    ),
    "few_independent_readings": (
        "Neighbouring readings may repeat one another: fewer than 15 independent ones are left. The interval rests on "
        "few and may be too narrow; a record of a lamp that no longer changes, read by the same meter, would tell more."
    ),
    "correlated_residual_or_event": (
        "What the curve leaves over goes up and down slowly: a drift of the room or the supply, or an "
        "event. The interval allows for it. A record of a lamp that no longer changes, read by the same meter, would "
        "tell more; every such record in warm_up.csv is used."
    ),
    "slow_correlated_noise": (
        "What the curve leaves over goes up and down as slowly as a tenth of the record, or nearly: such a drift looks "
        "like the curve, so the interval may be too short. A longer record would tell more, or one of a lamp that no "
        "longer changes, read by the same meter."
    ),
    "coarse_display": (
        "The display's last figure is coarser than the scatter: half a figure is counted in, and more "
        "readings do not help."
    ),
    "gap": "The record has a long gap: the curve bridges it, and what happened in it was not seen.",
    "outliers": (
        "Single readings lie far off the curve: look at them. They were not left out, and nothing is said "
        "beyond the record."
    ),
    "fitted_light_not_positive": (
        "The curve falls to no light at all within the record: it does not describe this lamp, and nothing is given."
    ),
    "readings_set_aside": "Single readings far off the curve were left out, as asked for.",
    "more_than_two_rates": (
        "The light settles at more than two rates: the interval inside the record was widened by what "
        "slower parts allow."
    ),
    "drift_assumed": (
        "Ambient and volts were not both logged: a drift of 0.3 % over the record is assumed, which light "
        "readings cannot show."
    ),
    "initial_outside_record": "The initial time lies outside the record, so nothing is referred to it.",
}
"""What a finding of `photolab.thermal.warm_up` means."""

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
    "no_change_resolved": "no fall of the light is told from the scatter",
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
    "not_stabilized": "the declared criterion is not met within the record",
    "no_real_temperature": "what is reflected alone is more than what the camera saw",
    "patch_too_cool": "the patch is hardly warmer than what is reflected",
    "no_emissivity": "no emissivity from 0 to 1 fits both readings",
}
"""Why there is no answer, by the code of the refusal."""

CONSTANT_WORDS = {
    "shared": "light and case settle together",
    "different": "light and case do not settle with one time constant",
    "not_resolved": "the record does not show whether light and case settle together",
}


def finding_sentence(finding: Finding) -> str:
    """Return a finding of a warm-up record as one or two sentences.

    Parameters
    ----------
    finding : Finding
        The finding.

    Returns
    -------
    str
        Its words.
    """
    return FINDING_WORDS[finding.code]


def why(refused: MethodError) -> str:
    """Return why there is no answer.

    Parameters
    ----------
    refused : MethodError
        The refusal.

    Returns
    -------
    str
        A clause without a full stop.
    """
    return REFUSAL_WORDS.get(refused.code, str(refused))


def percent(x: float, places: int = 1) -> str:
    """Return a fraction in percent.

    Parameters
    ----------
    x : float
        The fraction. [1]
    places : int, default 1
        Decimal places. [1]

    Returns
    -------
    str
        The figure without its sign of percent.
    """
    return decimal(100.0 * x, places)


def ends(low: float, high: float, places: int = 1) -> str:
    """Return the ends of an interval of a fraction in percent.

    Parameters
    ----------
    low, high : float
        The ends. [1]
    places : int, default 1
        Decimal places. [1]

    Returns
    -------
    str
        "83.8 to 86.4", as the table of results has it.
    """
    return " to ".join(percent(end, places) for end in published_ends(low, high))


def minutes(seconds: float) -> str:
    """Return a time in minutes.

    Parameters
    ----------
    seconds : float
        Time. [s]

    Returns
    -------
    str
        To the tenth of a minute; whole minutes without it.
    """
    text = decimal(seconds / 60.0, 1)
    return text.removesuffix(".0")


def settled_phrase(settled: Settled) -> str:
    """Return a time of settling with its interval.

    Parameters
    ----------
    settled : Settled
        The time.

    Returns
    -------
    str
        Minutes; a lamp that is near from the first reading has no interval.
    """
    value, low, high = (decimal(s / 60.0, 1) for s in (settled.value_s, settled.low_s, settled.high_s))
    return f"{value} min" if settled.low_s == settled.high_s else f"{value} min ({low} to {high})"


def remaining_sentence(remaining: Remaining, *, initial_s: float, at_s: float, housing: str = "") -> str:
    """Return remaining light as the sentence that is published.

    Parameters
    ----------
    remaining : Remaining
        Its figures.
    initial_s, at_s : float
        Both instants. [s]
    housing : str, default ""
        Where.

    Returns
    -------
    str
        One sentence.
    """
    where = f", in {housing}" if housing else ""
    return (
        f"Remaining light: {percent(remaining.value)} % ({ends(remaining.low, remaining.high)}) "
        f"of the {initial_s:g} s value after {minutes(at_s)} minutes{where}."
    )


def fading_sentence(parts: tuple[Fading, ...], *, initial_s: float) -> str:
    """Return what fades how fast.

    Parameters
    ----------
    parts : tuple of Fading
        Terms of the curve, slowest first.
    initial_s : float
        Initial time. [s]

    Returns
    -------
    str
        One sentence.
    """
    said = [
        f"{percent(one.share)} % ({ends(one.share_low, one.share_high)}) with a time constant of "
        f"{decimal(one.time_constant_s / 60.0, 1)} min "
        f"({decimal(one.low_s / 60.0, 1)} to {decimal(one.high_s / 60.0, 1)})"
        for one in parts
    ]
    return f"Of the {initial_s:g} s value fade: {'; '.join(said)}."


def stable_sentence(runs: tuple[str, ...]) -> str:
    """Return whose scatter was used beside a record's own.

    Parameters
    ----------
    runs : tuple of str
        Runs of lamps that no longer change.

    Returns
    -------
    str
        One sentence after a blank; empty where there are none.
    """
    if not runs:
        return ""
    names = runs[0] if len(runs) == 1 else f"{', '.join(runs[:-1])} and {runs[-1]}"
    what = "a record" if len(runs) == 1 else "records"
    return f" Counted in: {names}, {what} without a change, read by the same meter."


def step_sentence(step: Step, *, spacing_s: float, coverage: float = COVERAGE) -> str:
    """Return a step found in a record.

    Parameters
    ----------
    step : Step
        Its time and size.
    spacing_s : float
        Time between the readings before and after. [s]
    coverage : float, default COVERAGE
        Of the size. [1]

    Returns
    -------
    str
        One sentence.
    """
    size, doubt = percent(abs(step.size)), percent(coverage_factor(coverage) * step.size_uncertainty)
    verb = "lost" if step.size < 0 else "gained"
    when, half = decimal(step.time_s / 60.0, 2), decimal(spacing_s / 120.0, 2)
    return f"At {when} ± {half} min the light {verb} {size} ± {doubt} % of what it was just before."


def known_sentence(known: Mapping[str, Any], *, initial_s: float) -> str:
    """Return what is still known where a record cannot carry an answer.

    Parameters
    ----------
    known : mapping
        What the refusal carries.
    initial_s : float
        Initial time. [s]

    Returns
    -------
    str
        One or two sentences; empty where nothing is known.
    """
    said = []
    if "remaining_at_end" in known:
        said.append(remaining_sentence(known["remaining_at_end"], initial_s=initial_s, at_s=known["last_s"]))
        said.append("That is the end of the record.")
    elif "fitted_ratio_at_end" in known:
        said.append(
            f"The curve stands at {percent(known['fitted_ratio_at_end'])} % of the {initial_s:g} s value at the "
            f"end of the record ({minutes(known['last_s'])} min); no interval is given."
        )
    elif "last_over_first" in known:
        said.append(
            f"The last reading is {percent(known['last_over_first'])} % of the first; no interval is given."
        )
    elif "remaining_low" in known:
        left = ends(known["remaining_low"], known["remaining_high"], 2)
        said.append(f"All readings agree within one last figure: {left} % is left.")
    if "smallest_spread_percent" in known:
        said.append(f"The smallest spread seen is {decimal(known['smallest_spread_percent'], 1)} %.")
    return " ".join(said)


def run_name(run: WarmUpRun) -> str:
    """Return which record is meant.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    str
        Run, lamp, specimen and housing.
    """
    specimen = f" specimen {run.specimen}" if run.specimen else ""
    return f"{run.run}, {run.lamp}{specimen}" + (f" in {run.housing}" if run.housing else "")


def slope_sentence(slope: Slope) -> str:
    """Return the light for each kelvin of the case.

    Parameters
    ----------
    slope : Slope
        Its figures.

    Returns
    -------
    str
        One sentence.
    """
    ends = f"{decimal(slope.low, 3)} to {decimal(slope.high, 3)}"
    return (
        f"Light against case temperature: {decimal(slope.percent_per_kelvin, 3)} %/K ({ends} at "
        f"{100.0 * slope.coverage:g} %), over {decimal(slope.span, 0)} K of the case."
    )


def _tenths(seconds: float) -> str:
    """Return a time in minutes to the tenth."""
    return f"{decimal(seconds / 60.0, 1)} min"


def constants_sentence(constants: TimeConstants) -> str:
    """Return whether light and case settle together.

    Parameters
    ----------
    constants : TimeConstants
        Both time constants.

    Returns
    -------
    str
        One sentence.
    """
    both = f"{_tenths(constants.light_s)} for the light, {_tenths(constants.temperature_s)} for the case"
    ends = f"{decimal(constants.low, 2)} to {decimal(constants.high, 2)}"
    head = CONSTANT_WORDS[constants.code]
    return f"Time constants: {both}; their ratio is {decimal(constants.ratio, 2)} ({ends}): {head}."
