r"""How much light is left while a lamp warms up, whether it settles, and what forbids an answer.

`fit_warm_up` fits a record and collects findings; the `WarmUp` it returns answers or refuses. The meter's
scale cancels from every ratio and is no input here.
"""

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import Floats, must_hold, not_negative, require
from photolab.metrology.quantity import COVERAGE, coverage_factor
from photolab.thermal.bounds import MonotoneFit
from photolab.thermal.exponentials import fit_exponentials
from photolab.thermal.residuals import StableScatter
from photolab.thermal.steps import THRESHOLD, THRESHOLD_COARSE, scan_ripple, scan_step
from photolab.thermal.variable_projection import Projection, Separable, solve
from photolab.thermal.warm_up_model import LEAST_GAP, ROUNDING, Curve, described_fit, locate_step, separable
from photolab.thermal.warm_up_result import Finding, Step, WarmUp

FEWEST_READINGS = 8  # two exponentials and a level take five
ASSUMED_DRIFT = 0.003
REFUSED_BELOW = 6.0  # effective readings
FLAGGED_BELOW = 15.0
CORRELATED_ABOVE = 0.3
SLOW_PART = 0.04  # of the record: a mean correlation time above it; readings show half of what it is
COARSE_BELOW = 0.4  # residual SD over the display step: below it rounding is no longer like noise
CLASS_LIMIT = 12.0  # rise of the sum of squares over the noise variance when rising parts are forbidden
# the same measure for two terms against many rates: between them two cease to describe the record
RATES_FROM, RATES_TO = 2.0, 4.0
LENGTHS_NEEDED = 2.0  # time constants that a record must span before it carries a final level
# of the change of light: how far a grid of rates may miss one rate between its points, measured
GRID_MISFIT = 4e-4
OUTLYING = 6.0  # robust SDs
EVERYTHING = ("remaining", "beyond_record", "final_level", "time_constants")
FINDINGS: Mapping[str, tuple[str, ...]] = {
    "fitted_light_not_positive": EVERYTHING,
    "second_step": EVERYTHING,
    "step": ("beyond_record", "final_level"),
    "no_change_resolved": ("final_level", "time_constants"),
    "record_too_short": ("final_level",),
    "rising_light": ("beyond_record", "final_level", "time_constants"),
    "not_one_settling_curve": ("beyond_record", "final_level", "time_constants"),
    "ripple": ("beyond_record", "final_level"),
    "too_few_independent_readings": EVERYTHING,
    "few_independent_readings": (),
    "slow_correlated_noise": (),
    "correlated_residual_or_event": (),
    "coarse_display": (),
    "gap": (),
    "outliers": ("beyond_record", "final_level"),
    "more_than_two_rates": (),
    "drift_assumed": (),
    "initial_outside_record": (),
    "readings_set_aside": (),
}
"""What can be found about a record, in the order told, and what each forbids."""
GAP_PART = 0.25  # of the record


def fit_warm_up(
    time_s: ArrayLike,
    illuminance: ArrayLike,
    *,
    initial_s: float = 60.0,
    initial_window_s: float = 0.0,
    resolution: float = 0.0,
    drift_relative_sd: float = ASSUMED_DRIFT,
    residual_correlation: float | None = None,
    stable: Sequence[tuple[ArrayLike, ArrayLike]] = (),
    coverage: float = COVERAGE,
    elapsed_uncertainty_s: float = 0.0,
    additive_uncertainty: float = 0.0,
    robust: bool = False,
) -> WarmUp:
    r"""Fit the warm-up record of one lamp.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Time since switch-on, strictly increasing. [s]
    illuminance : array_like, shape (n,)
        Readings. [lx]
    initial_s : float, default 60
        Instant that "remaining" refers to. [s]
    initial_window_s : float, default 0
        Length of the window around it over which the initial light is the mean; 0 is the instant itself. [s]
    resolution : float, default 0
        Step of the display; where 0, one that the readings show is used. [lx]
    drift_relative_sd : float, default 0.003
        Standard uncertainty of a multiplicative drift of ambient, supply or meter over the record, which
        readings of light cannot show; grows as (t - t0)/T. The default is assumed, not measured. [1]
    residual_correlation : float, optional
        Correlation of neighbouring residuals at the median spacing, where it is known; estimated by default. [1]
    stable : sequence of (time_s, illuminance), optional
        Records, on the same meter, of lamps that no longer change: what they say of the correlation counts
        too. [s], [lx]
    coverage : float, default COVERAGE
        Coverage of the intervals. [1]
    elapsed_uncertainty_s : float, default 0
        Standard uncertainty of the zero of the clock, common to all readings. [s]
    additive_uncertainty : float, default 0
        Standard uncertainty of what a meter adds to every reading, as the range term of its manual. [lx]
    robust : bool, default False
        Set aside readings that a robust fit gives no weight.

    Returns
    -------
    WarmUp
        Answers, each with its interval, or refusals.

    Raises
    ------
    ValueError
        If the arrays disagree, times do not strictly increase, an illuminance is negative, a stable record
        is short or without scatter, or an option is out of range.
    MethodError
        If there are too few readings, all are alike, or some are of no light: what is left is a share of light.
        `known` holds what can be said.

    Notes
    -----
    Holds for light that settles as a sum of decaying exponentials with at most one step. Two exponentials
    are always fitted; the described order decides no interval inside the record. Everything else is in
    `findings`.
    """
    times, light = _checked(time_s, illuminance)
    for name, value, unit in (
        ("resolution", resolution, "lx"),
        ("initial_window_s", initial_window_s, "s"),
        ("elapsed_uncertainty_s", elapsed_uncertainty_s, "s"),
        ("additive_uncertainty", additive_uncertainty, "lx"),
    ):
        not_negative(name, value, unit, missing=False)
    correlation = residual_correlation or 0.0
    for name, value in (("drift_relative_sd", drift_relative_sd), ("residual_correlation", correlation)):
        require(name, value, lambda v: (v >= 0.0) & (v < 1.0), "at least 0 and below 1", missing=False)
    require("coverage", coverage, lambda v: (v > 0.0) & (v < 1.0), "between 0 and 1", missing=False)
    kept = np.ones(times.size, dtype=bool)
    if robust and times.size >= FEWEST_READINGS:  # where there are fewer, all are kept
        kept = fit_exponentials(times, light, terms=2, robust=True).weights >= 1e-6
    times, light, set_aside = times[kept], light[kept], tuple(int(i) for i in np.flatnonzero(~kept))
    _check_support(times, light, resolution)
    display = max(resolution, _shown_step(light))
    quiet = [_stable(number, *record) for number, record in enumerate(stable)]
    curve_from = partial(Curve, correlation=residual_correlation, stable=quiet)
    problem, fits, seen = _fit_with_step(times, light, display)
    curve, coarse = curve_from(problem, fits[2]), fits[2].residual_sd < COARSE_BELOW * display
    fit = WarmUp(
        time_s=times,
        illuminance=light,
        curve=curve,
        described=curve,
        fits=fits,
        monotone=MonotoneFit(times, light, curve.noise.neighbours),
        more_rates=0.0,
        step=None,
        findings=(),
        initial_s=float(initial_s),
        initial_window_s=float(initial_window_s),
        display_uncertainty=display / float(np.sqrt(12.0)) if coarse else 0.0,
        drift_relative_sd=float(drift_relative_sd),
        elapsed_uncertainty_s=float(elapsed_uncertainty_s),
        additive_uncertainty=float(additive_uncertainty),
        coverage=float(coverage),
        set_aside=set_aside,
    )
    return _judged(fit, curve_from, seen)


def beside_stable(fit: WarmUp, stable: Sequence[StableScatter]) -> WarmUp:
    """Return a fit with what records of lamps that no longer change say of the noise; the curve stays.

    Parameters
    ----------
    fit : WarmUp
        A fit that estimated the correlation of its residuals.
    stable : sequence of StableScatter
        Such records, on the same meter.

    Returns
    -------
    WarmUp
        As `fit_warm_up` returns it with these records.
    """
    curve_from = partial(Curve, correlation=None, stable=stable)
    curve = curve_from(fit.curve.problem, fit.curve.found)
    monotone = MonotoneFit(fit.time_s, fit.illuminance, curve.noise.neighbours)
    seen = {finding.code for finding in fit.findings}
    return _judged(replace(fit, curve=curve, monotone=monotone), curve_from, seen)


def _judged(fit: WarmUp, curve_from: Callable[..., Curve], seen: Set[str]) -> WarmUp:
    """Return a fit with the curve that describes it, its findings, and with how much rates beyond two count."""
    described = curve = fit.curve
    step, more_rates, noise = None, 0.0, curve.noise
    found = described_fit(curve.problem, fit.fits, noise.effective_readings)
    if found is not curve.found:
        described = curve_from(curve.problem, found)
    if curve.problem.step is None:  # how much worse two terms fit than many rates, in noise variances
        dof = curve.problem.y.size - noise.to_space.shape[0]
        excess = dof - fit.monotone.sum_of_squares / noise.whitened_variance
        more_rates = float(np.clip((excess - RATES_FROM) / (RATES_TO - RATES_FROM), 0.0, 1.0))
    else:
        just_before = np.array([np.nextafter(curve.problem.step, 0.0)])
        (before,), (slope,) = curve.light(just_before), curve.rows(just_before)
        size = float(curve.found.coefficients[1]) / before
        gradient = -size * slope / before
        gradient[1] += 1.0 / before
        step = Step(curve.problem.step, size, float(np.sqrt(noise.variance(gradient))))
    fit = replace(fit, described=described, step=step, more_rates=more_rates)
    holds = _what_holds(fit, seen)
    findings = tuple(Finding(code, blocks) for code, blocks in FINDINGS.items() if holds[code])
    return replace(fit, findings=findings)


def _checked(time_s: ArrayLike, illuminance: ArrayLike) -> tuple[Floats, Floats]:
    """Return the record as arrays, refused where it cannot be one."""
    times = not_negative("time_s", time_s, "s", missing=False)
    light = not_negative("illuminance", illuminance, "lx", missing=False)
    dark, count = int(np.sum(light == 0.0)), light.size
    message = f"illuminance must be more than 0 lx throughout a record; {dark} of {count} readings are 0 lx"
    must_hold(not dark, message, code="reading_without_light", known={"dark": dark, "readings": count})
    alike, shapes = times.ndim == 1 and light.shape == times.shape, f"{times.shape} and {light.shape}"
    demand(alike, "time_s and illuminance must be one-dimensional and of one length", shapes)
    if (falls := np.diff(times) <= 0.0).any():
        i = 1 + int(np.argmax(falls))
        pair = f"{times[i]:g} s after {times[i - 1]:g} s"
        demand(False, f"time_s[{i}] must be later than the reading before", pair)
    return times, light


def _stable(number: int, time_s: ArrayLike, illuminance: ArrayLike) -> StableScatter:
    """Return a stable record, refused where it cannot speak of the noise."""
    try:
        times, light = _checked(time_s, illuminance)
    except ValueError as error:
        message = f"stable[{number}]: {error}"
        raise ValueError(message) from None
    values = np.unique(light).size
    wanted = f"stable[{number}] must hold {FEWEST_READINGS} readings or more that are not all alike"
    speaks = times.size >= FEWEST_READINGS and values > 1
    demand(speaks, wanted, f"{times.size} readings of {values} values")
    return StableScatter(times, light)


def _check_support(times: Floats, light: Floats, resolution: float) -> None:
    """Raise where there is nothing to fit, with what is known."""
    known: dict[str, float] = {"readings": int(times.size)}
    if times.size:
        known["last_over_first"] = float(light[-1] / light[0])
        known |= {"first_s": float(times[0]), "last_s": float(times[-1])}
    message = f"a warm-up fit needs {FEWEST_READINGS} readings or more; got {times.size}"
    must_hold(times.size >= FEWEST_READINGS, message, code="too_few_readings", known=known)
    known = {"level": float(light[0]), "display_step": resolution}
    if resolution > 0.0:
        share = resolution / light[0]
        known |= {"remaining_low": 1.0 - share, "remaining_high": 1.0 + share}
    message = f"illuminance must show more than one value; all {light.size} readings are {light[0]:g} lx"
    must_hold(np.ptp(light) > 0.0, message, code="constant_record", known=known)


def _shown_step(light: Floats) -> float:
    """Return the display step that readings show, 0 where they show none [lx]."""
    smallest = float(np.diff(np.unique(light)).min())
    multiples = light / smallest
    return smallest if np.max(np.abs(multiples - np.round(multiples))) < 1e-3 else 0.0


def _fit_with_step(
    times: Floats, light: Floats, display: float
) -> tuple[Separable, Sequence[Projection], set[str]]:
    """Return the record with its fits, with a step where one is found, and findings about the form."""
    problem, seen = separable(times, light, None), set()
    fits = solve(problem, 2, gap=LEAST_GAP)
    threshold = THRESHOLD_COARSE if fits[2].residual_sd < display else THRESHOLD
    scan = partial(scan_step, times, threshold=threshold, rounding=ROUNDING * float(np.abs(light).max()))
    first = scan(fits[2].residual, fits[2].design)
    if first.found:
        stepped = locate_step(times, light, first.index)
        found = solve(stepped, 2, gap=LEAST_GAP)
        if _outside_class(times, light, found[2]):
            problem, fits, seen = stepped, found, {"step"}
            if scan(found[2].residual, found[2].design).found:
                seen.add("second_step")
    if problem.step is None and _outside_class(times, light, fits[2]):
        fitted = light - fits[2].residual
        seen.add("rising_light" if fitted[-1] > fitted[0] else "not_one_settling_curve")
    if scan_ripple(times, fits[2].residual, fits[2].design).found:
        seen.add("ripple")
    return problem, fits, seen


def _outside_class(times: Floats, light: Floats, free: Projection) -> bool:
    """Return whether falling parts alone fit clearly worse; unwhitened, so that no event passes for noise."""
    monotone = MonotoneFit(times, light, np.zeros(times.size - 1))
    between_rates = times.size * (GRID_MISFIT * float(np.ptp(light))) ** 2
    allowed = CLASS_LIMIT * free.residual_sd**2 + between_rates
    return bool(monotone.sum_of_squares - free.sum_of_squares > allowed)


def _what_holds(fit: WarmUp, seen: Set[str]) -> dict[str, bool]:
    """Return what a reader must know about a record, by code, and whether it holds; `seen` are those of its form."""
    times, curve, noise = fit.time_s, fit.curve, fit.curve.noise
    coarse, length, described = fit.display_uncertainty > 0.0, float(np.ptp(times)), fit.described
    fading, slowest = described.found.theta.size > 0, 0.0
    if fading:  # the upper end of the slowest time constant
        variance = float(np.diagonal(described.noise.covariance)[described.found.coefficients.size])
        arm = coverage_factor(fit.coverage, described.noise.dof) * float(np.sqrt(max(variance, 0.0)))
        slowest = float(described.time_constants[0]) * float(np.exp(min(arm, 50.0)))
    effective = noise.effective_readings
    slow = float(noise.weights @ noise.correlation_times) > SLOW_PART * length
    gaps = np.diff(times)
    residual = curve.found.residual
    scale = 1.4826 * float(np.median(np.abs(residual - np.median(residual))))
    farthest, floor = float(np.max(np.abs(residual))), ROUNDING * float(fit.illuminance.max())
    form = ("second_step", "step", "rising_light", "not_one_settling_curve", "ripple")
    return {code: code in seen for code in form} | {
        "fitted_light_not_positive": bool((fit.illuminance - residual).min() <= 0.0),
        "no_change_resolved": not fading,
        "record_too_short": length < LENGTHS_NEEDED * slowest,
        "too_few_independent_readings": effective < REFUSED_BELOW,
        "few_independent_readings": REFUSED_BELOW <= effective < FLAGGED_BELOW,
        "slow_correlated_noise": slow,
        "correlated_residual_or_event": not slow and noise.correlation > CORRELATED_ABOVE,
        "coarse_display": coarse,
        "gap": bool(gaps.max() > max(GAP_PART * length, 4.0 * np.median(gaps))),
        "outliers": not coarse and farthest > max(OUTLYING * scale, floor) and scale > 0.0,
        "more_than_two_rates": fit.more_rates >= 0.5,
        "drift_assumed": fit.drift_relative_sd == ASSUMED_DRIFT,
        "initial_outside_record": not times[0] <= fit.initial_s <= times[-1],
        "readings_set_aside": bool(fit.set_aside),
    }
