"""Oracles: synthetic truth, closed forms, lmfit as a second implementation."""

from dataclasses import FrozenInstanceError

import lmfit
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology.computed import Computed
from photolab.thermal.exponentials import fit_exponentials
from photolab.thermal.variable_projection import solve
from photolab.thermal.warm_up import ASSUMED_DRIFT, fit_warm_up
from photolab.thermal.warm_up_model import LEAST_GAP, described_fit, separable

TIME_S = np.arange(30.0, 2401.0, 30.0)


def approach(time_s, *, final=0.82, tau_s=420.0, start=1000.0):
    return start * (final + (1.0 - final) * np.exp(-(time_s - 60.0) / tau_s))


def noisy(seed, light, *, relative=0.004):
    return light * (1.0 + relative * np.random.default_rng(seed).standard_normal(light.size))


def codes(fit):
    return {finding.code for finding in fit.findings}


@pytest.mark.parametrize("seed", range(4))
def test_practitioner_trial(seed):
    # Oracle: synthetic truth E(t) = E(60 s)(0.82 + 0.18 exp(-(t - 60 s)/7 min)), 0.4 % noise.
    fit = fit_warm_up(TIME_S, noisy(seed, approach(TIME_S)))
    left = fit.remaining(1800.0)
    truth = float(approach(1800.0)) / 1000.0
    half = 50.0 * (left.high - left.low)
    assert left.low <= truth <= left.high
    assert_allclose(truth, 0.823, atol=5e-4)  # half a unit of the last digit
    assert 0.3 <= half <= 0.9
    assert left.method == "record"
    assert not left.extrapolated
    assert {"drift_assumed"} <= codes(fit)
    assert_allclose(
        fit.final().value, 0.82, atol=0.006
    )  # four SDs of a level from 80 readings of 0.4 %, lever included
    # closed form: 0.18 exp(-(t - 60)/420) = 0.0082 at 1357 s; one SD of the crossing is about 35 s
    assert_allclose(fit.settled(1.0).value_s, 1357.0, atol=140.0)
    sd = np.sqrt(fit.described.noise.covariance[-1, -1])  # of ln of the time constant
    assert_allclose(fit.time_constants, [420.0], atol=4 * 420.0 * sd)


def test_amplitudes_and_time_constants_scatter_as_stated_and_hold_the_truth():
    # Oracle: synthetic truth. 80 records know an SD to 8 %, and hold at least 69 of 80 (95 % less three SDs).
    fits = [fit_warm_up(TIME_S, noisy(seed, approach(TIME_S)), drift_relative_sd=0.0) for seed in range(80)]
    parts = [one.fading()[0] for one in fits if len(one.fading()) == 1]
    assert len(parts) > 75
    assert_allclose(
        np.std([one.share.value for one in parts]), np.mean([one.share.u for one in parts]), rtol=0.25
    )
    last = [one.time_constant for one in parts]
    logs = np.log([one.value for one in last])
    assert_allclose(np.std(logs), np.mean([one.u / one.value for one in last]), rtol=0.25)
    for ends, truth in (
        ([one.share.interval() for one in parts], 0.18),
        ([one.interval() for one in last], 420.0),
    ):
        assert sum(low <= truth <= high for low, high in ends) >= 69


def test_amplitudes_of_two_rates_are_those_of_the_curve():
    # Oracle: closed form; noise of 1e-5 of the light.
    clean = 850.0 + 90.0 * np.exp(-TIME_S / 120.0) + 60.0 * np.exp(-TIME_S / 700.0)
    found = fit_warm_up(TIME_S, noisy(3, clean, relative=1e-5), initial_window_s=0.0).fading()
    level = 850.0 + 90.0 * np.exp(-0.5) + 60.0 * np.exp(-60.0 / 700.0)
    assert_allclose([one.time_constant.value for one in found], [700.0, 120.0], rtol=1e-2)
    shares = [60.0 * np.exp(-60.0 / 700.0) / level, 90.0 * np.exp(-0.5) / level]
    assert_allclose([one.share.value for one in found], shares, rtol=1e-2)


def test_a_drift_and_the_clock_move_amplitudes_as_refitting_does():
    # Oracle: the record with the drift in it, and with its clock shifted, fitted anew; both to first order.
    light = noisy(4, approach(TIME_S))
    options = {"initial_s": 90.0, "initial_window_s": 0.0}
    plain = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, **options).fading()[0]
    drift = fit_warm_up(TIME_S, light, drift_relative_sd=0.003, **options).fading()[0]
    clock = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, elapsed_uncertainty_s=6.0, **options).fading()[
        0
    ]
    past = (TIME_S - TIME_S[0]) / np.ptp(TIME_S)
    drifted = fit_warm_up(TIME_S, light * (1.0 + 0.003 * past), drift_relative_sd=0.0, **options).fading()[0]
    late = fit_warm_up(TIME_S + 6.0, light, drift_relative_sd=0.0, **options).fading()[0]

    def added(one):
        return np.sqrt(one.share.u**2 - plain.share.u**2)

    def moved(one):
        return abs(one.share.value - plain.share.value)

    slower = abs(np.log(drifted.time_constant.value / plain.time_constant.value))
    wide, own = (one.time_constant.u / one.time_constant.value for one in (drift, plain))
    assert_allclose(np.sqrt(wide**2 - own**2), slower, rtol=0.05)
    assert_allclose(added(drift), moved(drifted), rtol=0.05)
    assert_allclose(added(clock), moved(late), rtol=0.05)
    shifted = fit_warm_up(TIME_S, light + 5.0, drift_relative_sd=0.0, **options).fading()[0]
    range_term = fit_warm_up(
        TIME_S, light, drift_relative_sd=0.0, additive_uncertainty=5.0, **options
    ).fading()
    assert_allclose(added(range_term[0]), moved(shifted), rtol=0.05)


def test_cut_record_keeps_its_end_and_refuses_the_final_level():
    # Oracle: synthetic truth; 5 min are shorter than two time constants of 7 min.
    short = TIME_S <= 300.0
    fit = fit_warm_up(TIME_S[short], noisy(1, approach(TIME_S))[short])
    for ask in (lambda: fit.final().value, lambda: fit.settled(1.0).value_s):
        with pytest.raises(MethodError, match="record too short") as refusal:
            ask()
        assert refusal.value.code == "record_too_short"
        known = refusal.value.known["remaining_at_end"]
        assert known.low <= float(approach(300.0)) / 1000.0 <= known.high
    with pytest.raises(MethodError, match=r"within 2 times the record's end \(300 s\); got 1800 s"):
        fit.remaining(1800.0)


def test_five_points_are_refused_with_what_is_known():
    # Oracle: the contract.
    with pytest.raises(MethodError, match="needs 8 readings or more; got 5") as refusal:
        fit_warm_up(TIME_S[:5], approach(TIME_S[:5]))
    assert refusal.value.code == "too_few_readings"
    assert_allclose(refusal.value.known["last_over_first"], approach(150.0) / approach(30.0), rtol=1e-12)
    with pytest.raises(MethodError, match="got 2"):
        fit_warm_up([30.0, 60.0], [1000.0, 990.0])


def test_second_implementation_agrees_on_the_curve():
    # Oracle: lmfit (MINPACK) with two exponentials from the truth.
    fast, slow = 120.0, 700.0
    clean = 850.0 + 90.0 * np.exp(-TIME_S / fast) + 60.0 * np.exp(-TIME_S / slow)
    light = noisy(2, clean, relative=0.001)
    fit = fit_warm_up(TIME_S, light)
    model = lmfit.Model(lambda x, c, a, b, p, q: c + a * np.exp(-x / p) + b * np.exp(-x / q))
    other = model.fit(light, model.make_params(c=850, a=90, b=60, p=fast, q=slow), x=TIME_S)
    assert_allclose(
        fit.curve.light(TIME_S), other.best_fit, rtol=1e-6
    )  # MINPACK stops at about 1e-8 of the squares
    assert_allclose(fit.residuals, light - other.best_fit, atol=1e-3)
    ratio = other.eval(x=1800.0) / other.eval(x=60.0)
    assert_allclose(fit.remaining(1800.0).value, ratio, rtol=1e-6)


def test_white_noise_interval_equals_the_delta_method_of_lmfit():
    # Oracle: lmfit's covariance through its own error propagation, with the correlation declared zero and no
    # drift.
    clean = 850.0 + 90.0 * np.exp(-TIME_S / 120.0) + 60.0 * np.exp(-TIME_S / 700.0)
    light = noisy(21, clean, relative=0.001)
    fit = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, residual_correlation=0.0)
    assert "more_than_two_rates" not in codes(fit)
    model = lmfit.Model(lambda x, c, a, b, p, q: c + a * np.exp(-x / p) + b * np.exp(-x / q))
    other = model.fit(light, model.make_params(c=850, a=90, b=60, p=120.0, q=700.0), x=TIME_S)
    step = {name: 1e-5 * abs(value.value) for name, value in other.params.items()}

    def log_ratio(shifted=None):
        values = other.params.valuesdict() | (shifted or {})
        return np.log(model.eval(x=1800.0, **values) / model.eval(x=60.0, **values))

    slope = [
        (log_ratio({k: other.params[k].value + step[k]}) - log_ratio({k: other.params[k].value - step[k]}))
        / (2 * step[k])
        for k in other.var_names
    ]
    expected = np.sqrt(slope @ other.covar @ slope)
    one = fit.remaining(1800.0)
    assert_allclose(one.ln_standard_uncertainty, expected, rtol=0.01)  # covariance of lmfit by differences
    assert_allclose(one.dof, 75.0, rtol=1e-9)


def test_scale_of_the_meter_cancels():
    # Oracle: closed form; a meter reading 17 % high leaves every ratio.
    light = noisy(4, approach(TIME_S))
    one, other = (fit_warm_up(TIME_S, factor * light).remaining(1800.0) for factor in (1.0, 1.17))
    for name in ("value", "low", "high", "ln_standard_uncertainty"):
        assert_allclose(
            getattr(other, name), getattr(one, name), rtol=1e-7, err_msg=name
        )  # the search stops at 1e-12 of the squares


def test_rebasing_is_consistent():
    # Oracle: closed form; R(h, a) = R(h, b) R(b, a) on one curve.
    fit = fit_warm_up(TIME_S, noisy(5, approach(TIME_S)))
    with pytest.raises(MethodError, match=r"5 s") as refused:
        fit.remaining(1800.0, initial_s=5.0)
    assert refused.value.code == "initial_outside_record"
    early, late = (fit.remaining(1800.0, initial_s=start).value for start in (30.0, 180.0))
    assert_allclose(early, late * fit.remaining(180.0, initial_s=30.0).value, rtol=1e-12)
    assert_allclose(fit.remaining(60.0).value, 1.0, rtol=1e-14)
    assert fit.remaining(60.0).low == fit.remaining(60.0).high == fit.remaining(60.0).value


def test_initial_window_is_the_mean_over_it():
    # Oracle: closed form; the mean of exp(-t/tau) over a window w is the middle times sinh(x)/x, x = w/(2
    # tau).
    light = approach(TIME_S)
    point, window = (
        fit_warm_up(TIME_S, noisy(6, light, relative=1e-6), initial_s=150.0, initial_window_s=w)
        for w in (0.0, 180.0)
    )
    x = 90.0 / 420.0
    mean = 820.0 + 180.0 * np.exp(-90.0 / 420.0) * np.sinh(x) / x
    assert_allclose(
        window.remaining(1800.0).value, approach(1800.0) / mean, rtol=2e-5
    )  # 25 parts of the window, 1e-6 noise
    assert abs(point.remaining(1800.0).value / (approach(1800.0) / mean) - 1.0) > 1e-3


def test_step_is_found_sized_and_refitted():
    # Oracle: synthetic truth; 14 % lost at 18.5 min over 20 s.
    clean = (
        1000.0
        * (0.90 + 0.10 * np.exp(-(TIME_S - 60.0) / 252.0))
        * (1.0 - 0.14 * np.clip((TIME_S - 1110.0) / 20.0, 0.0, 1.0))
    )
    fit = fit_warm_up(TIME_S, noisy(7, clean, relative=0.003))
    assert_allclose(fit.step.time_s, 1110.0, atol=30.0)  # one spacing
    assert_allclose(fit.step.size, -0.14, atol=min(0.01, 4 * fit.step.size_uncertainty))
    assert_allclose(
        fit.step.size_uncertainty, 0.0013, rtol=0.5
    )  # 0.3 % sqrt(1/n1 + 1/n2) of neighbours within a minute or so
    left = fit.remaining(1800.0)
    assert left.low <= 0.86 * (0.90 + 0.10 * np.exp(-1740.0 / 252.0)) <= left.high
    assert "step" in codes(fit)
    for ask in (lambda: fit.final().value, lambda: fit.remaining(3000.0)):
        with pytest.raises(MethodError, match="step") as refusal:
            ask()
        assert refusal.value.known["remaining_at_end"].method == "record"


def test_two_steps_leave_no_interval():
    # Oracle: synthetic truth; the model holds one step.
    clean = approach(TIME_S) * np.where(TIME_S > 900.0, 0.95, 1.0) * np.where(TIME_S > 1600.0, 0.93, 1.0)
    fit = fit_warm_up(TIME_S, noisy(8, clean, relative=0.002))
    assert "second_step" in codes(fit)
    with pytest.raises(MethodError, match="cannot carry remaining: second step") as refusal:
        fit.remaining(1800.0)
    assert "remaining_at_end" not in refusal.value.known


def test_overshoot_and_rise_are_answered_inside_only():
    # Oracle: synthetic truth; light that rises first is no mixture of falling parts.
    overshoot = 850.0 + 120.0 * np.exp(-TIME_S / 480.0) - 120.0 * np.exp(-TIME_S / 60.0)
    rise = 1000.0 - 250.0 * np.exp(-TIME_S / 400.0)
    for clean, code in ((overshoot, "not_one_settling_curve"), (rise, "rising_light")):
        fit = fit_warm_up(TIME_S, noisy(9, clean, relative=0.002))
        assert code in codes(fit)
        inside = fit.remaining(1800.0)
        start = np.interp(60.0, TIME_S, clean)
        assert inside.low <= np.interp(1800.0, TIME_S, clean) / start <= inside.high
        with pytest.raises(MethodError, match="cannot carry beyond record"):
            fit.remaining(3000.0)


def test_beyond_the_record_bounds_hold_and_are_marked():
    # Oracle: synthetic truth with a slow tail; widths grow with the distance.
    clean = lambda t: 850.0 + 100.0 * np.exp(-t / 300.0) + 30.0 * np.exp(-t / 2400.0)  # noqa: E731
    fit = fit_warm_up(TIME_S, noisy(10, clean(TIME_S), relative=0.002), drift_relative_sd=0.0)
    near, far = fit.remaining(3000.0), fit.remaining(4800.0)
    for at_s, one in ((3000.0, near), (4800.0, far)):
        assert one.low <= clean(at_s) / clean(60.0) <= one.high
        assert one.extrapolated
        assert one.method == "bounds"
        assert_allclose(one.time_constant_ceiling_s, 5.0 * 2370.0, rtol=1e-12)
        assert_allclose(one.ln_standard_uncertainty, np.log(one.high / one.low) / 2 / 1.959964, rtol=1e-6)
    assert far.high - far.low > near.high - near.low
    with pytest.raises(MethodError, match="within 2 times") as refusal:
        fit.remaining(4801.0)
    assert refusal.value.code == "too_far_beyond_record"


def test_declared_drift_clock_and_range_term_add_in_quadrature():
    # Oracle: closed form; drift sd (h - t0)/T, clock times the difference of the logarithmic slopes, lux added to all
    # readings times the difference of their reciprocals.
    light = noisy(11, approach(TIME_S))
    plain = fit_warm_up(TIME_S, light, drift_relative_sd=0.0).remaining(1800.0).ln_standard_uncertainty
    drift = fit_warm_up(TIME_S, light, drift_relative_sd=0.01).remaining(1800.0).ln_standard_uncertainty
    assert_allclose(np.sqrt(drift**2 - plain**2), 0.01 * 1740.0 / 2370.0, rtol=1e-9)
    clock = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, elapsed_uncertainty_s=20.0).remaining(1800.0)
    slope = 0.18 / 420.0 * (1.0 - np.exp(-1740.0 / 420.0) / 0.8229)
    added = np.sqrt(clock.ln_standard_uncertainty**2 - plain**2)
    assert_allclose(added, 20.0 * slope, rtol=0.25)  # the fitted slope at 60 s is known to some 10 %
    added = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, additive_uncertainty=8.0).remaining(1800.0)
    more = np.sqrt(added.ln_standard_uncertainty**2 - plain**2)
    first = fit_warm_up(TIME_S, light, drift_relative_sd=0.0).curve.light(np.array([60.0]))[0]
    assert_allclose(more, 8.0 / first * (1.0 / added.value - 1.0), rtol=1e-9)
    assert "drift_assumed" not in codes(fit_warm_up(TIME_S, light, drift_relative_sd=0.001))
    assert ASSUMED_DRIFT == 0.003


def test_interval_widens_by_what_is_declared():
    # Oracle: closed form from the interval without drift: both arms in quadrature with the drift, degrees of
    # freedom of the sum by the share of the readings, Student's quantile at those. Few readings: the arms differ.
    time_s = np.linspace(30.0, 2400.0, 12)
    light = approach(time_s) + 3.0 * np.random.default_rng(7).standard_normal(12)
    drift, at = 0.002, 2400.0
    plain, wide = (
        fit_warm_up(time_s, light, drift_relative_sd=one, residual_correlation=0.0).remaining(at)
        for one in (0.0, drift)
    )
    arms = np.log([plain.value / plain.low, plain.high / plain.value])
    assert abs(arms[0] / arms[1] - 1.0) > 0.05
    assert_allclose(plain.dof, 7.0, rtol=1e-12)
    u = arms.mean() / stats.t.ppf(0.975, plain.dof)
    assert_allclose(plain.ln_standard_uncertainty, u, rtol=1e-12)
    declared = drift * (at - 60.0) / 2370.0
    dof = plain.dof * (1.0 + (declared / u) ** 2) ** 2
    assert_allclose(wide.dof, dof, rtol=1e-9)
    expected = stats.t.ppf(0.975, dof) * np.hypot(arms / stats.t.ppf(0.975, plain.dof), declared)
    assert_allclose(np.log([wide.value / wide.low, wide.high / wide.value]), expected, rtol=1e-9)


def test_coarse_display_counts_once():
    # Oracle: closed form q/sqrt(12) of the lower level; a step of 10 lx that the readings show is used
    # unasked.
    light = np.round(noisy(12, approach(TIME_S), relative=0.001) / 10.0) * 10.0
    fit = fit_warm_up(TIME_S, light, drift_relative_sd=0.0)
    assert "coarse_display" in codes(fit)
    assert_allclose(fit.display_uncertainty, 10.0 / np.sqrt(12.0), rtol=1e-9)
    assert fit.remaining(1800.0).ln_standard_uncertainty > fit.display_uncertainty / 830.0
    fine = fit_warm_up(TIME_S, np.round(noisy(12, approach(TIME_S)), 1), resolution=0.1)
    assert fine.display_uncertainty == 0.0


def test_constant_record_is_refused_within_its_display():
    # Oracle: closed form; two readings that show one figure differ by one display step at most.
    with pytest.raises(
        MethodError, match="must show more than one value; all 80 readings are 950 lx"
    ) as refusal:
        fit_warm_up(TIME_S, np.full(80, 950.0), resolution=1.0)
    assert refusal.value.code == "constant_record"
    assert_allclose(refusal.value.known["remaining_low"], 1.0 - 1.0 / 950.0, rtol=1e-12)
    with pytest.raises(MethodError, match="must show more than one value") as refusal:
        fit_warm_up(TIME_S, np.full(80, 950.0))
    assert "remaining_low" not in refusal.value.known


def test_what_a_fit_computed_cannot_be_set_again():
    # Oracle: the language; a fit is kept and shared by all who read the same record.
    fit, light = fit_warm_up(TIME_S, noisy(3, approach(TIME_S))), approach(TIME_S)
    kept = (
        fit,
        fit.curve,
        fit.curve.found,
        fit.curve.noise,
        fit.monotone,
        fit_exponentials(TIME_S, light, terms=1),
    )
    for one in kept:
        for name, value in list(vars(one).items()):
            with pytest.raises(FrozenInstanceError, match=f"cannot assign to field '{name}'"):
                setattr(one, name, value)
        with pytest.raises(FrozenInstanceError, match="cannot assign to field 'initial'"):
            one.initial = 30.0  # as if a name were mistaken


def test_what_is_computed_prints_itself():
    # Oracle: the form of a dataclass; what is private stays out.
    class Line(Computed):
        def __init__(self):
            self.slope, self.ends, self._points = 0.5, (1, 2), 9

    assert repr(Line()) == "Line(slope=0.5, ends=(1, 2))"
    fit = fit_exponentials(TIME_S, approach(TIME_S), terms=1)
    assert repr(fit).startswith("ExponentialFit(form='approach', offset=")


def test_flat_noise_resolves_no_change():
    # Oracle: synthetic truth; a stable lamp has no time constant.
    fit = fit_warm_up(TIME_S, noisy(13, np.full(80, 950.0)))
    assert "no_change_resolved" in codes(fit)
    with pytest.raises(MethodError, match="no change resolved"):
        fit.final()
    with pytest.raises(MethodError, match="time constants"):
        fit.time_constants  # noqa: B018
    fits = [fit_warm_up(TIME_S, noisy(seed, np.full(80, 950.0))).remaining(1800.0) for seed in range(30)]
    held = [one.low <= 1.0 <= one.high for one in fits]
    assert sum(held) >= 26  # 95 % of 30 less two binomial SDs


def correlated(seed, rho, count=80):
    rng = np.random.default_rng(seed)
    noise = rng.standard_normal(count)
    for i in range(1, count):
        noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * noise[i]
    return noise


def slow(seed, correlation_time_s):
    """Return noise of unit variance on the times above, without correlation where its time is 0."""
    rho = np.exp(-np.diff(TIME_S) / correlation_time_s) if correlation_time_s else np.zeros(TIME_S.size - 1)
    noise = np.random.default_rng(seed).standard_normal(TIME_S.size)
    for i, r in enumerate(rho, start=1):
        noise[i] = r * noise[i - 1] + np.sqrt(1 - r**2) * noise[i]
    return noise


@pytest.mark.parametrize(
    ("correlation_time_s", "least", "most"), [(0.0, 0, 0), (20.0, 0, 1), (240.0, 26, 30)]
)
def test_noise_as_slow_as_a_tenth_of_the_record_is_flagged(correlation_time_s, least, most):
    # Oracle: synthetic truth, records of 40 min; counts of 30, see tests/benchmarks/warm_up_coverage.py for 400.
    found = [
        codes(fit_warm_up(TIME_S, approach(TIME_S) + 2.0 * slow(seed, correlation_time_s)))
        for seed in range(30)
    ]
    assert least <= sum("slow_correlated_noise" in one for one in found) <= most
    assert not [one for one in found if {"slow_correlated_noise", "correlated_residual_or_event"} <= set(one)]


def test_correlated_noise_is_flagged_and_widens():
    # Oracle: synthetic truth, rho 0.7; n_eff 14 instead of 80 widens by about sqrt(5.7).
    light = approach(TIME_S) + 4.0 * correlated(14, 0.7)
    fit = fit_warm_up(TIME_S, light, drift_relative_sd=0.0)
    assert "correlated_residual_or_event" in codes(fit)
    white = fit_warm_up(TIME_S, light, drift_relative_sd=0.0, residual_correlation=0.0)
    assert (
        1.4
        < fit.remaining(1800.0).ln_standard_uncertainty / white.remaining(1800.0).ln_standard_uncertainty
        < 4.0
    )


def test_too_few_independent_readings_leave_no_interval():
    # Oracle: definition; at a declared correlation of 0.9, 80 readings count for 4.2, at 0.75 for 11.4.
    light = noisy(15, approach(TIME_S))
    refused = fit_warm_up(TIME_S, light, residual_correlation=0.9)
    assert_allclose(refused.effective_readings, 80 * 0.1 / 1.9, rtol=1e-12)
    for ask in (
        lambda: refused.remaining(1800.0),
        lambda: refused.time_constants,
        lambda: refused.final().value,
    ):
        with pytest.raises(MethodError, match=r"too few independent readings|record too short"):
            ask()
    flagged = fit_warm_up(TIME_S, light, residual_correlation=0.75)
    assert "few_independent_readings" in codes(flagged)
    assert flagged.remaining(1800.0).high > 0.8


def test_outliers_are_flagged_and_set_aside_on_request():
    # Oracle: synthetic truth; three readings off by 5 %.
    light = noisy(16, approach(TIME_S), relative=0.002)
    light[[20, 41, 60]] *= (1.05, 0.95, 1.05)
    assert "outliers" in codes(fit_warm_up(TIME_S, light))
    fit = fit_warm_up(TIME_S, light, robust=True)
    assert set(fit.set_aside) >= {20, 41, 60}
    assert len(fit.set_aside) <= 5
    assert "readings_set_aside" in codes(fit)
    assert "outliers" not in codes(fit)
    left = fit.remaining(1800.0)
    assert left.low <= float(approach(1800.0)) / 1000.0 <= left.high


def test_a_gross_outlier_never_gives_a_number():
    # Oracle: closed form; light is positive, and a reading a hundred times too high bends the fit below zero.
    light = noisy(23, approach(TIME_S))
    light[40] *= 100.0
    fit = fit_warm_up(TIME_S, light)
    assert {"fitted_light_not_positive", "outliers"} <= codes(fit)
    with pytest.raises(MethodError, match="cannot carry remaining: fitted light not positive"):
        fit.remaining(1800.0)
    left = fit_warm_up(TIME_S, light, robust=True).remaining(1800.0)
    assert left.low <= float(approach(1800.0)) / 1000.0 <= left.high


def test_a_perfect_record_is_not_taken_for_an_event():
    # Oracle: closed form without noise.
    fit = fit_warm_up(TIME_S, approach(TIME_S))
    assert codes(fit) == {"drift_assumed"}
    assert_allclose(
        fit.remaining(1800.0).value, approach(1800.0) / 1000.0, rtol=1e-6
    )  # search ends at 1e-12 of squares
    beyond = fit.remaining(3600.0)
    assert beyond.low <= approach(3600.0) / 1000.0 <= beyond.high
    step = fit_warm_up(TIME_S, np.where(TIME_S < 1200.0, 1.0, 0.99) * approach(TIME_S))
    assert "second_step" not in codes(step)
    assert_allclose(
        step.step.size, -0.01, rtol=0.05
    )  # the part after the step fades 1 % less than the model's


def test_gap_is_flagged():
    # Oracle: definition; 15 of 40 minutes are missing.
    kept = (TIME_S < 600.0) | (TIME_S > 1500.0)
    assert "gap" in codes(fit_warm_up(TIME_S[kept], noisy(17, approach(TIME_S))[kept]))


def test_more_than_two_rates_widen_by_the_bounds():
    # Oracle: synthetic truth with three rates; two exponentials alone miss it at the middle of the record.
    time_s = np.linspace(0.0, 2400.0, 200)
    clean = 850.0 + 60 * np.exp(-time_s / 90) + 60 * np.exp(-time_s / 360) + 40 * np.exp(-time_s / 1800)
    fits = [
        fit_warm_up(time_s, clean + np.random.default_rng(s).standard_normal(200), drift_relative_sd=0.0)
        for s in range(8)
    ]
    assert all("more_than_two_rates" in codes(fit) for fit in fits)
    truth = np.interp(1200.0, time_s, clean) / np.interp(60.0, time_s, clean)
    held = [one.low <= truth <= one.high for one in (fit.remaining(1200.0) for fit in fits)]
    assert np.sum(held) >= 6  # 95 % of 8: 6 or more with probability 0.994


def test_ripple_is_answered_inside_only():
    # Oracle: synthetic truth; a swing of 0.8 % in 5 min, as of a cycling fan.
    light = noisy(22, approach(TIME_S)) * (1.0 + 0.008 * np.sin(2 * np.pi * TIME_S / 300.0))
    fit = fit_warm_up(TIME_S, light)
    assert "ripple" in codes(fit)
    with pytest.raises(MethodError, match="cannot carry beyond record: ripple"):
        fit.remaining(3000.0)
    assert "ripple" not in codes(fit_warm_up(TIME_S, noisy(22, approach(TIME_S))))


def test_initial_instant_outside_the_record():
    # Oracle: the contract; nothing is extrapolated backwards.
    late = TIME_S >= 90.0
    fit = fit_warm_up(TIME_S[late], noisy(18, approach(TIME_S))[late])
    assert "initial_outside_record" in codes(fit)
    with pytest.raises(MethodError, match=r"inside the record \(90 s to 2400 s\), its window too; got 60 s"):
        fit.remaining(1800.0)
    assert fit.remaining(1800.0, initial_s=120.0).value < 1.0


def test_coverage_inside_the_record():
    # Oracle: synthetic truth, white and AR(1) noise; 95 % of 50 records hold it, tolerance 3 binomial SDs
    # downwards; the full study is tests/benchmarks/warm_up_coverage.py.
    rng = np.random.default_rng(19)
    truth = float(approach(1200.0) / approach(60.0))
    for rho in (0.0, 0.5):
        held = []
        for _ in range(50):
            light = approach(TIME_S) + 3.0 * correlated(int(rng.integers(1 << 31)), rho)
            one = fit_warm_up(TIME_S, light, drift_relative_sd=0.0).remaining(1200.0)
            held.append(one.low <= truth <= one.high)
        assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 50)


def test_a_stable_record_tells_few_readings_their_noise():
    # Oracle: synthetic truth; 20 readings of white noise with a stable record of 80 on the same meter. Intervals of
    # 60 records hold it in 95 %, 3 binomial SDs downwards, and are narrower than from the 20 readings alone.
    rng = np.random.default_rng(23)
    time_s = np.linspace(30.0, 2400.0, 20)
    truth, held, shares = float(approach(1200.0) / approach(60.0)), [], []
    for _ in range(60):
        light = approach(time_s) + 3.0 * rng.standard_normal(20)
        quiet = (TIME_S, 900.0 + 3.0 * rng.standard_normal(TIME_S.size))
        alone, beside = (
            fit_warm_up(time_s, light, drift_relative_sd=0.0, stable=one).remaining(1200.0)
            for one in ((), [quiet])
        )
        held.append(beside.low <= truth <= beside.high)
        shares.append((beside.high - beside.low) / (alone.high - alone.low))
    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 60)
    assert np.mean(shares) < 0.97


def test_a_stable_record_is_checked_like_any_other():
    # Oracle: the contract of the function.
    good, late = (TIME_S, 900.0 + np.sin(TIME_S)), ([30.0, 0.0], [900.0, 900.0])
    with pytest.raises(ValueError, match=r"stable\[1\]: time_s\[1\] must be later .* got 0 s after 30 s"):
        fit_warm_up(TIME_S, approach(TIME_S), stable=[good, late])
    few, flat = (TIME_S[:7], 900.0 + TIME_S[:7]), (TIME_S, np.full(TIME_S.size, 900.0))
    for record, said in ((few, "7 readings of 7"), (flat, "80 readings of 1")):
        with pytest.raises(
            ValueError, match=rf"stable\[0\] must hold 8 readings or more .* got {said} values"
        ):
            fit_warm_up(TIME_S, approach(TIME_S), stable=[record])


def test_second_term_is_described_only_where_it_is():
    # Oracle: synthetic truth; a false second term in at most 2 %, of 30 none or one or two with probability
    # 0.98.
    one = [fit_warm_up(TIME_S, noisy(s, approach(TIME_S))).time_constants.size for s in range(30)]
    assert np.sum(np.array(one) == 2) <= 2
    two = 850.0 + 90.0 * np.exp(-TIME_S / 120.0) + 60.0 * np.exp(-TIME_S / 700.0)
    fit = fit_warm_up(TIME_S, noisy(1, two, relative=0.001))
    assert_allclose(fit.time_constants, [700.0, 120.0], rtol=0.35)  # 4 SDs


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"time_s": [0.0, 30.0, 30.0]},
            r"time_s\[2\] must be later than the reading before; got 30 s after 30 s",
        ),
        (
            {"time_s": [0.0, 60.0, 30.0]},
            r"time_s\[2\] must be later than the reading before; got 30 s after 60 s",
        ),
        ({"time_s": [-5.0, 30.0, 60.0]}, r"time_s\[0\] must be zero or more; got -5 s \(1 of 3 "),
        (
            {"illuminance": [1000.0, -1.0, 990.0]},
            r"illuminance\[1\] must be zero or more; got -1 lx",
        ),
        ({"illuminance": ["a", "b", "c"]}, r"illuminance must be numbers; got \['a', 'b', 'c'\]"),
        (
            {"illuminance": [1000.0, 1.0, np.nan]},
            r"illuminance\[2\] must be zero or more; got nan lx",
        ),
        ({"illuminance": [1000.0, 990.0]}, r"one length; got \(3,\) and \(2,\)"),
        ({"coverage": 1.0}, "coverage must be between 0 and 1; got 1"),
        ({"resolution": -1.0}, "resolution must be zero or more; got -1 lx"),
        ({"drift_relative_sd": -0.1}, "drift_relative_sd must be at least 0 and below 1"),
        ({"residual_correlation": 1.0}, "residual_correlation must be at least 0 and below 1; got 1"),
        ({"initial_window_s": -1.0}, "initial_window_s must be zero or more; got -1 s"),
        ({"elapsed_uncertainty_s": -2.0}, "elapsed_uncertainty_s must be zero or more; got -2 s"),
        ({"additive_uncertainty": -1.0}, "additive_uncertainty must be zero or more; got -1 lx"),
    ],
)
def test_bad_arguments_name_the_quantity(change, message):
    # Oracle: the contract of the function.
    given = {"time_s": [0.0, 30.0, 60.0], "illuminance": [1000.0, 995.0, 990.0]} | change
    with pytest.raises(ValueError, match=message):
        fit_warm_up(given.pop("time_s"), given.pop("illuminance"), **given)


def test_bad_questions_are_refused():
    # Oracle: the contract.
    fit = fit_warm_up(TIME_S, noisy(20, approach(TIME_S)))
    with pytest.raises(ValueError, match="at_s and initial_s must be finite; got nan s"):
        fit.remaining(np.nan)
    with pytest.raises(ValueError, match="percent must be between 0 and 100; got 0"):
        fit.settled(0.0)


def test_a_record_that_falls_to_nothing_has_no_final_level():
    """Oracle: 1000 exp(-t/60 s) leaves nothing; a ratio to nothing has no logarithm, so no final level is given."""
    t = np.arange(30.0, 1201.0, 30.0)
    light = 1000.0 * np.exp(-t / 60.0) + 1e-9
    fit = fit_warm_up(t, light, initial_s=60.0)
    with pytest.raises(MethodError, match="the light must not fall to nothing"):
        fit.final()


def test_a_record_with_readings_of_no_light_is_refused():
    """Oracle: by definition: what is left is a share of light."""
    with pytest.raises(MethodError, match="1 of 3 readings are 0 lx") as refused:
        fit_warm_up([0.0, 30.0, 60.0], [1000.0, 0.0, 990.0])
    assert (refused.value.code, refused.value.known["dark"]) == ("reading_without_light", 1)


def test_answers_name_their_instants_and_the_curve_its_level():
    """Oracle: the instants asked for; the readings of a curve without noise."""
    fit = fit_warm_up(TIME_S, noisy(20, approach(TIME_S)))
    at = float(TIME_S[-1])
    asked = fit.remaining(at, initial_s=90.0), fit.remaining(1.5 * at), fit.final()
    assert [(one.at_s, one.initial_s) for one in asked] == [(at, 90.0), (1.5 * at, 60.0), (np.inf, 60.0)]
    assert_allclose(
        fit.curve.light(TIME_S), fit.illuminance - fit.residuals, rtol=1e-9
    )  # float rounding of the design
    assert_allclose(fit.curve.light(np.array([60.0]))[0], fit.initial_illuminance, rtol=1e-12)
    squares = float(np.sum(fit.residuals**2))
    assert_allclose(fit.residual_sd, np.sqrt(squares / (TIME_S.size - 5)), rtol=1e-12)  # five parameters


def test_clock_counts_by_the_difference_of_the_slopes():
    # Oracle: central differences of the fitted curve; both instants move together with the zero of the clock.
    light = noisy(21, approach(TIME_S), relative=0.002)
    sure, unsure = (
        fit_warm_up(TIME_S, light, drift_relative_sd=0.0, elapsed_uncertainty_s=u).remaining(300.0)
        for u in (0.0, 6.0)
    )
    fit = fit_warm_up(TIME_S, light)
    ahead, behind = (np.log(fit.curve.light(np.array([300.0 + d, 60.0 + d]))) for d in (0.01, -0.01))
    moved = 6.0 * np.subtract(*(ahead - behind)) / 0.02
    added = unsure.ln_standard_uncertainty**2 - sure.ln_standard_uncertainty**2
    assert_allclose(added, moved**2, rtol=1e-5)


def test_size_of_a_step_has_the_uncertainty_of_its_ratio():
    # Oracle: derivatives of size over light before by differences, through the covariance of the fit.
    light = noisy(22, approach(TIME_S), relative=0.002)
    fit = fit_warm_up(TIME_S, np.where(TIME_S >= 1200.0, 0.9 * light, light))
    curve = fit.curve
    values = np.concatenate([curve.found.coefficients, curve.found.theta])

    def size(values):
        return values[1] / (
            values[0] + values[2:4] @ np.exp(-(fit.step.time_s - curve.problem.start) / np.exp(values[4:]))
        )

    moves = np.diag(1e-5 * np.abs(values))
    slopes = [(size(values + d) - size(values - d)) / (2.0 * d.sum()) for d in moves]
    assert_allclose(fit.step.size, size(values), rtol=1e-12)
    assert_allclose(fit.step.size_uncertainty, np.sqrt(curve.noise.variance(np.array(slopes))), rtol=1e-4)


@pytest.mark.parametrize(
    ("share", "ratio", "order"), [(0.06, 4.0, 2), (0.04, 4.0, 1), (0.3, 2.1, 2), (0.3, 1.9, 1)]
)
def test_a_second_term_is_described_where_it_is_not_small_and_apart(share, ratio, order):
    # Oracle: the rule, on exact records: 5 % of the fading part, and twice the other's time constant.
    light = 850.0 + 100.0 * (
        (1.0 - share) * np.exp(-TIME_S / 600.0) + share * np.exp(-TIME_S * ratio / 600.0)
    )
    problem = separable(TIME_S, light, None)
    from_first = (
        100.0 * np.array([1.0 - share, share]) * np.exp(-TIME_S[0] / np.array([600.0, 600.0 / ratio]))
    )
    assert (from_first.min() / from_first.sum() >= 0.05) == (share > 0.05)
    assert described_fit(problem, solve(problem, 2, gap=LEAST_GAP), 80.0).theta.size == order
