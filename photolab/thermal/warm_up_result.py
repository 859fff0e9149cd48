r"""What a fitted warm-up record answers: remaining light, final level, settling, what fades how fast, or a refusal.

Inside the record intervals come from every pair of exponentials that agrees with the readings
(`photolab.thermal.rate_pairs`), with correlated residuals (`photolab.thermal.residuals`); beyond it from
bounds over all completely monotone curves (`photolab.thermal.bounds`). The meter's scale cancels from every
ratio here and stays out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from photolab.errors import MethodError, demand
from photolab.metrology.arguments import Floats, must_hold
from photolab.metrology.quantity import Input, Measured, combine, coverage_factor, from_fit, from_ln, measured
from photolab.metrology.reporting import decimal, with_ends
from photolab.thermal.bounds import ALLOWANCE, ALLOWANCE_COVERAGE, MonotoneFit, ratio_bounds
from photolab.thermal.rate_pairs import PairFits, ratio_interval
from photolab.thermal.variable_projection import Projection
from photolab.thermal.warm_up_model import Curve, fixed_columns, window

NOTHING_LEFT = 1e-6  # share of the initial light below which a logarithm says nothing


FARTHEST = 2.0  # times the end of the record


LARGEST_LOG = 300.0  # an interval wider than this says nothing; its ends stay finite


@dataclass(frozen=True)
class Finding:
    """Something about a record that a reader must know.

    Parameters
    ----------
    code : str
        Stable code.
    blocks : tuple of str
        What it forbids: "remaining", "beyond_record", "final_level", "time_constants".
    """

    code: str
    blocks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """A step in the record.

    Parameters
    ----------
    time_s : float
        Middle between the readings before and after. [s]
    size : float
        Change of the light over the light just before; a loss is negative. [1]
    size_uncertainty : float
        Its standard uncertainty. [1]
    """

    time_s: float
    size: float
    size_uncertainty: float


@dataclass(frozen=True)
class Remaining:
    """Remaining light at one instant, as a ratio to the light at another.

    Parameters
    ----------
    value, low, high : float
        Ratio and its coverage interval. [1]
    ln_standard_uncertainty : float
        Standard uncertainty of the logarithm of the ratio. [1]
    dof : float
        Its effective degrees of freedom. [1]
    method : {"record", "bounds"}
        From the fit inside the record, or from bounds beyond it.
    extrapolated : bool
        Whether the later instant lies beyond the record.
    time_constant_ceiling_s : float
        Slowest decay the bounds allow for; infinite inside the record, where it plays no part. [s]
    at_s, initial_s : float
        The later instant, infinite for the final level, and the one it is referred to. [s]
    """

    value: float
    low: float
    high: float
    ln_standard_uncertainty: float
    dof: float
    method: str
    extrapolated: bool
    time_constant_ceiling_s: float = np.inf
    at_s: float = np.nan
    initial_s: float = np.nan

    def __repr__(self) -> str:
        beyond = ", beyond the record" if self.extrapolated else ""
        return f"Remaining({with_ends(self.value, self.low, self.high)}{beyond})"


class Fading(NamedTuple):
    """A part of the light that fades, in the curve that describes a record.

    Parameters
    ----------
    share : Measured
        Its amplitude at the initial time, over the light then; negative where the light rises. [1]
    time_constant : Measured
        Time constant, its interval taken in ln. [s]
    """

    share: Measured
    time_constant: Measured


class Settled(NamedTuple):
    """Instant after which the light stays near its final level.

    Parameters
    ----------
    value_s, low_s, high_s : float
        Time from switch-on and its coverage interval. [s]
    percent : float
        Largest distance from the final level afterwards. [%]
    """

    value_s: float
    low_s: float
    high_s: float
    percent: float


@dataclass(frozen=True, eq=False)
class WarmUp:
    """A fitted warm-up record.

    Parameters
    ----------
    time_s, illuminance : ndarray, shape (n,)
        Record used, set-aside readings left out. [s], [lx]
    curve : Curve
        Two exponentials (and the step), the basis of every interval inside the record.
    described : Curve
        The order that describes the record: time constants, final level, settling.
    fits : sequence of Projection
        Fits of no, of one and of two exponentials.
    monotone : MonotoneFit
        Best curve of many falling parts, the basis of the bounds.
    more_rates : float
        How far two exponentials leave something that more rates explain, 0 to 1: that share of the way,
        intervals inside the record are widened to the bounds over many rates. [1]
    step : Step or None
        Foldback step, where one was found.
    findings : tuple of Finding
        What a reader must know, and what it blocks.
    initial_s, initial_window_s : float
        Instant, and length of the window around it, that "remaining" refers to. [s]
    display_uncertainty : float
        Standard uncertainty from a coarse display, counted once; 0 otherwise. [lx]
    drift_relative_sd : float
        Standard uncertainty of a multiplicative drift over the record. [1]
    elapsed_uncertainty_s : float
        Standard uncertainty of the zero of the clock. [s]
    additive_uncertainty : float
        Standard uncertainty of what the meter adds to every reading. [lx]
    coverage : float
        Coverage of the intervals. [1]
    set_aside : tuple of int
        Numbers of outlying readings left out by the robust option.
    """

    time_s: Floats
    illuminance: Floats
    curve: Curve
    described: Curve
    fits: Sequence[Projection]
    monotone: MonotoneFit
    more_rates: float
    step: Step | None
    findings: tuple[Finding, ...]
    initial_s: float
    initial_window_s: float
    display_uncertainty: float
    drift_relative_sd: float
    elapsed_uncertainty_s: float
    additive_uncertainty: float
    coverage: float
    set_aside: tuple[int, ...] = ()

    def __repr__(self) -> str:
        noticed = "".join(f", {finding.code}" for finding in self.findings)
        minutes = decimal(float(self.time_s[-1]) / 60.0, 1)
        return f"WarmUp({self.time_s.size} readings to {minutes} min{noticed})"

    @property
    def residuals(self) -> Floats:
        """Readings less fitted illuminance [lx]."""
        return self.curve.found.residual

    @property
    def residual_sd(self) -> float:
        """Standard deviation of one reading about the curve, its parameters taken off [lx]."""
        return self.curve.found.residual_sd

    @property
    def initial_illuminance(self) -> float:
        """Fitted illuminance at the initial time; NaN where the record does not hold it [lx]."""
        if not self.time_s[0] <= self.initial_s <= self.time_s[-1]:
            return float("nan")
        return float(self.curve.light(window(self.initial_s, self.initial_window_s)).mean())

    @property
    def residual_correlation(self) -> float:
        """Correlation of neighbouring residuals at the median spacing [1]."""
        return self.curve.noise.correlation

    @property
    def effective_readings(self) -> float:
        """Number of independent readings that carry as much [1]."""
        return self.curve.noise.effective_readings

    @property
    def time_constants(self) -> Floats:
        """Time constants that describe the record, slowest first [s]."""
        self._refuse("time_constants", self.initial_s)
        return self.described.time_constants

    def fading(self) -> tuple[Fading, ...]:
        """Return what fades how fast: amplitudes at the initial time and time constants, with intervals.

        Returns
        -------
        tuple of Fading
            One a term of the curve that describes the record, slowest first.

        Raises
        ------
        MethodError
            If the record cannot carry time constants, or does not hold the initial time.
        """
        self._check_inside(self.initial_s, np.inf)
        self._refuse("time_constants", self.initial_s)
        initial = window(self.initial_s, self.initial_window_s)
        fixed, amplitudes, log_taus = _parameters(self.described, self.drift_relative_sd)
        clock = measured(0.0, Input("zero of the clock", self.elapsed_uncertainty_s))
        since, parts = initial - self.described.problem.start, []
        for amplitude, log_tau in zip(amplitudes, log_taus, strict=True):
            rate = np.exp(-log_tau)
            left = np.exp(-since * rate.value)
            slopes = -rate.value * left.mean(), -(since * left).mean()
            parts.append(amplitude * (combine(slopes, [clock, rate - rate.value]) + float(left.mean())))
        steady = fixed_columns(initial, self.described.problem.step).mean(axis=0)
        added = measured(0.0, Input("what the meter adds", self.additive_uncertainty))
        light = combine([*steady, *np.ones(len(parts)), 1.0], [*fixed, *parts, added])
        both = zip(parts, log_taus, strict=True)
        return tuple(Fading(part / light, _time_constant(ln)) for part, ln in both)

    def remaining(self, at_s: float, *, initial_s: float | None = None) -> Remaining:
        """Return the light at one instant over the light at another.

        Parameters
        ----------
        at_s : float
            Later instant, up to twice the end of the record. [s]
        initial_s : float, optional
            Earlier instant; that of the fit by default. [s]

        Returns
        -------
        Remaining
            Ratio with interval.

        Raises
        ------
        ValueError
            If an instant is not a finite number.
        MethodError
            If the record cannot carry the answer; `known` holds what can be said.
        """
        initial = self.initial_s if initial_s is None else float(initial_s)
        finite = math.isfinite(at_s) and math.isfinite(initial)
        demand(finite, "at_s and initial_s must be finite", f"{at_s} s and {initial} s")
        self._check_inside(initial, at_s)
        last = float(self.time_s[-1])
        if at_s <= last:
            return self._inside(float(at_s), initial)
        if at_s > FARTHEST * last:
            message = f"at_s must be within {FARTHEST:g} times the record's end ({last:g} s); got {at_s:g} s"
            raise MethodError(message, code="too_far_beyond_record", known=self._known_at_end(initial))
        self._refuse("beyond_record", initial)
        return self._beyond(float(at_s), initial)

    def final(self, *, initial_s: float | None = None) -> Remaining:
        """Return the final level over the light at an instant.

        Parameters
        ----------
        initial_s : float, optional
            Earlier instant; that of the fit by default. [s]

        Returns
        -------
        Remaining
            Value of the described curve; interval from the bounds, slow parts up to the ceiling included.

        Raises
        ------
        MethodError
            If the record cannot carry a final level.
        """
        initial = self.initial_s if initial_s is None else float(initial_s)
        self._check_inside(initial, np.inf)
        self._refuse("final_level", initial)
        level = float(self.described.found.coefficients[0])
        value = level / float(self.described.light(window(initial, self.initial_window_s)).mean())
        bounded = self._beyond(np.inf, initial)
        low, high = min(bounded.low, value), max(bounded.high, value)
        spread = float(np.log(high / low)) / (2.0 * coverage_factor(self.coverage))
        return replace(bounded, value=value, low=low, high=high, ln_standard_uncertainty=spread)

    def settled(self, percent: float) -> Settled:
        """Return the instant after which the light stays near its final level.

        Parameters
        ----------
        percent : float
            Largest distance from the final level. [%]

        Returns
        -------
        Settled
            Time from switch-on on the described curve, with its interval.

        Raises
        ------
        ValueError
            If the percentage is not between 0 and 100.
        MethodError
            If the record cannot carry a final level.
        """
        demand(0.0 < percent < 100.0, "percent must be between 0 and 100", f"{percent} %")
        self._refuse("final_level", self.initial_s)
        curve = self.described
        instant = _last_crossing(curve, percent / 100.0)
        if instant <= curve.problem.start:
            return Settled(curve.problem.start, curve.problem.start, curve.problem.start, percent)
        fixed, amplitudes, log_taus = _parameters(curve, self.drift_relative_sd)
        rates = [np.exp(-one) for one in log_taus]
        since = curve.problem.start - instant
        parts = [a * np.exp(since * rate) for a, rate in zip(amplitudes, rates, strict=True)]
        distance = combine([1.0] * len(parts), parts)
        side = float(np.sign(distance.value))
        left = distance * side - fixed[0] * (percent / 100.0)  # to go; none at the instant
        slope = side * sum(part.value * rate.value for part, rate in zip(parts, rates, strict=True))
        found = left * (1.0 / slope) + measured(0.0, Input("zero of the clock", self.elapsed_uncertainty_s))
        half = found.half_width(self.coverage)
        return Settled(instant, max(instant - half, curve.problem.start), instant + half, percent)

    def _check_inside(self, initial: float, at_s: float) -> None:
        """Raise where an instant lies before the record or the initial one beyond it."""
        first, last = float(self.time_s[0]), float(self.time_s[-1])
        earliest = min(initial - 0.5 * self.initial_window_s, at_s)
        message = (
            f"initial_s must lie inside the record ({first:g} s to {last:g} s), its window too;"
            f" got {initial:g} s with a window of {self.initial_window_s:g} s"
        )
        known = {"first_s": first, "last_s": last}
        inside = earliest >= first and initial + 0.5 * self.initial_window_s <= last
        must_hold(inside, message, code="initial_outside_record", known=known)

    def _inside(self, at_s: float, initial: float) -> Remaining:
        """Return remaining light inside the record."""
        self._refuse("remaining", initial)
        instants = np.array([at_s]), window(initial, self.initial_window_s)
        later, earlier = (float(self.curve.light(one).mean()) for one in instants)
        value, dof, declared = later / earlier, self.curve.noise.dof, self._declared_variance(at_s, initial)
        ends = ratio_interval(self._pair_fits, self.curve, *instants, self.coverage)
        arms = np.clip([np.log(value / max(ends[0], 1e-300)), np.log(ends[1] / value)], 0.0, LARGEST_LOG)
        quantile = coverage_factor(self.coverage, dof)
        fit_variance = float(arms.mean() / quantile) ** 2
        variance = fit_variance + declared
        if 0.0 < fit_variance < variance:  # declared parts count as known
            dof *= (variance / fit_variance) ** 2
        arms = coverage_factor(self.coverage, dof) * np.sqrt((arms / quantile) ** 2 + declared)
        spread, (down, up) = float(np.sqrt(variance)), np.minimum(arms, LARGEST_LOG)
        low, high = value * float(np.exp(-down)), value * float(np.exp(up))
        if self.more_rates > 0.0:
            bounded = self._beyond(at_s, initial)
            low *= min(bounded.low / low, 1.0) ** self.more_rates
            high *= max(bounded.high / high, 1.0) ** self.more_rates
            spread = max(spread, float(np.log(high / low)) / (2.0 * coverage_factor(self.coverage)))
        dof = float(dof)
        return Remaining(value, low, high, spread, dof, "record", False, at_s=at_s, initial_s=initial)

    def _beyond(self, at_s: float, initial: float) -> Remaining:
        """Return the bounds of remaining light, as a rule beyond the record; infinity is the final level."""
        monotone, noise = self.monotone, self.curve.noise
        readings, parameters = self.curve.found.design.shape
        unit = min(noise.whitened_variance, monotone.sum_of_squares / (readings - parameters))
        later = monotone.row(np.array([at_s]))
        earlier = monotone.row(window(initial, self.initial_window_s))
        factor = coverage_factor(self.coverage, noise.dof) / coverage_factor(ALLOWANCE_COVERAGE)
        value, low, high = ratio_bounds(monotone, later, earlier, allowance=ALLOWANCE * factor**2 * unit)
        if not value > NOTHING_LEFT:
            message = f"the light must not fall to nothing; the bounds put {value:.3g} of it at {at_s:g} s"
            raise MethodError(message, code="no_light_left", known=self._known_at_end(initial))
        until = min(at_s, FARTHEST * float(self.time_s[-1]))
        extra = coverage_factor(self.coverage) * float(np.sqrt(self._declared_variance(until, initial)))
        arms = np.log([value / max(low, 1e-9), high / value])
        down, up = np.sqrt(arms**2 + extra**2)
        spread = float(down + up) / (2.0 * coverage_factor(self.coverage))
        ceiling = float(monotone.time_constants[-1])
        ends = value * float(np.exp(-down)), value * float(np.exp(up))
        return Remaining(value, *ends, spread, np.inf, "bounds", True, ceiling, at_s, initial)

    @cached_property
    def _pair_fits(self) -> PairFits:
        """Fits of all pairs of time constants, from which the intervals inside the record come."""
        return PairFits(self.curve)

    def _declared_variance(self, at_s: float, initial: float) -> float:
        """Return the variance in ln of what the record cannot show: drift, display, clock, what the meter adds."""
        curve, last = self.curve, float(self.time_s[-1])
        drift = self.drift_relative_sd * (at_s - initial) / float(np.ptp(self.time_s))
        instants = np.array([min(at_s, last), initial])
        levels, rates = curve.light(instants), np.exp(-curve.found.theta)
        falling = rates * curve.found.coefficients[curve.linear :]
        fall = np.exp((curve.problem.start - instants)[:, None] * rates) @ falling
        late, early = fall / levels
        clock = self.elapsed_uncertainty_s * float(late - early)
        added = self.additive_uncertainty * float(np.subtract(*(1.0 / levels)))
        return float(drift**2 + (self.display_uncertainty / levels.min()) ** 2 + clock**2 + added**2)

    def moved_by_a_lux(self, at_s: float, initial_s: float) -> float:
        """Return by how much ln of remaining light moves with one lux added to every reading.

        Parameters
        ----------
        at_s, initial_s : float
            Later and earlier instant; beyond the record its end stands for the later. [s]

        Returns
        -------
        float
            Difference of the reciprocals of the fitted light. [1/lx]
        """
        ends = np.array([min(at_s, float(self.time_s[-1])), initial_s])
        later, earlier = self.curve.light(ends)
        return float(1.0 / later - 1.0 / earlier)

    def _known_at_end(self, initial: float) -> dict[str, object]:
        """Return what a refusal can still say."""
        last = float(self.time_s[-1])
        known: dict[str, object] = {"first_s": float(self.time_s[0]), "last_s": last}
        if not any("remaining" in finding.blocks for finding in self.findings):
            known["remaining_at_end"] = self._inside(last, initial)
        else:
            at_end, at_initial = self.curve.light(np.array([last, initial]))
            known["fitted_ratio_at_end"] = float(at_end / at_initial)
        return known

    def _refuse(self, what: str, initial: float) -> None:
        """Raise where a finding blocks an answer."""
        for finding in self.findings:
            if what in finding.blocks:
                message = f"the record cannot carry {what}: {finding.code}".replace("_", " ")
                raise MethodError(message, code=finding.code, known=self._known_at_end(initial))


def _time_constant(ln: Measured) -> Measured:
    """Return a time constant from its logarithm, the ends of its interval finite [s]."""

    def ends(coverage: float) -> tuple[float, float]:
        wide = min(ln.half_width(coverage), LARGEST_LOG)
        return math.exp(ln.value - wide), math.exp(ln.value + wide)

    return replace(from_ln(ln, unit="s"), ends=ends)


def _parameters(
    curve: Curve, drift_relative_sd: float
) -> tuple[Sequence[Measured], Sequence[Measured], Sequence[Measured]]:
    """Return fixed coefficients [lx], amplitudes [lx] and ln of the time constants, a drift of the record in all."""
    values = np.concatenate([curve.found.coefficients, curve.found.theta])
    names = [f"parameter {k} of the curve" for k in range(values.size)]
    drifted = curve.problem.y * curve.problem.x / curve.problem.x[-1]
    moved = np.linalg.lstsq(curve.found.design, drifted)[0]
    drift = Input("drift over the record", drift_relative_sd)
    fitted = from_fit(names, values, curve.noise.covariance, dof=curve.noise.dof)
    own = [one + measured(0.0, (drift, by)) for one, by in zip(fitted, moved, strict=True)]
    first, terms = curve.linear, curve.found.theta.size
    return own[:first], own[first : first + terms], own[first + terms :]


def _last_crossing(curve: Curve, part: float) -> float:
    """Return the last instant at which the light lies a part of the final level away from it [s]."""
    level = float(curve.found.coefficients[0])
    elapsed = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 4000)]) * float(curve.time_constants[0])
    decay = np.exp(-elapsed[:, None] / curve.time_constants)
    away = np.abs(decay @ curve.found.coefficients[curve.linear :]) - level * part
    outside = np.flatnonzero(away > 0.0)
    if outside.size == 0:
        return curve.problem.start
    i = int(outside[-1])
    return curve.problem.start + float(np.interp(0.0, [-away[i], -away[i + 1]], [elapsed[i], elapsed[i + 1]]))
