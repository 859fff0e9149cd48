"""Oracles: closed form of one exponential, lmfit's error propagation (second implementation), synthetic truth."""

from dataclasses import replace

import lmfit
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from photolab.thermal.variable_projection import solve
from photolab.thermal.warm_up import fit_warm_up
from photolab.thermal.warm_up_model import Curve, separable

TIME_S = np.arange(30.0, 2401.0, 30.0)


def light_of(time_s):
    return 820.0 + 180.0 * np.exp(-(time_s - 60.0) / 420.0)


def curve_from(light, terms):
    problem = separable(TIME_S, light, None)
    return Curve(problem, solve(problem, terms)[-1], correlation=0.0)


def settled(curve, percent=1.0, *, drift=0.0, clock=0.0, coverage=0.95):
    record = fit_warm_up(
        TIME_S, noisy(0), drift_relative_sd=drift, elapsed_uncertainty_s=clock, coverage=coverage
    )
    return replace(record, described=curve, findings=()).settled(percent)


def noisy(seed, noise=4.0):
    return light_of(TIME_S) + noise * np.random.default_rng(seed).standard_normal(TIME_S.size)


def test_instant_is_the_closed_form_of_one_exponential():
    # Oracle: closed form t = 60 s + tau ln(180 / (p 820)).
    curve = curve_from(light_of(TIME_S), 1)
    for percent in (5.0, 2.0, 1.0):
        expected = 60.0 + 420.0 * np.log(180.0 / (0.01 * percent * 820.0))
        assert_allclose(
            settled(curve, percent).value_s, expected, rtol=1e-5
        )  # straight between 4000 instants


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_interval_is_the_error_propagation_of_lmfit(sign):
    # Oracle: lmfit's covariance of c, a, tau and derivatives of the closed form; light that falls, and that rises.
    light = 820.0 + sign * (noisy(1) - 820.0)
    model = lmfit.Model(lambda x, c, a, p: c + a * np.exp(-x / p))
    found = model.fit(light, model.make_params(c=820, a=sign * 200, p=420), x=TIME_S - 30.0)
    c, a, p = (found.params[k].value for k in found.var_names)
    slope = np.array([-p / c, p / a, np.log(sign * a / (0.01 * c))])  # of p ln(|a| / (0.01 c))
    half = stats.t.ppf(0.975, 77) * np.sqrt(slope @ found.covar @ slope)
    one = settled(curve_from(light, 1))
    assert_allclose(one.value_s, 30.0 + p * np.log(sign * a / (0.01 * c)), rtol=1e-4)
    assert_allclose([one.value_s - one.low_s, one.high_s - one.value_s], [half, half], rtol=1e-3)


def test_two_rates_and_an_overshoot_by_differences():
    # Oracle: numerical derivatives of the crossing by each parameter.
    for fast in (60.0, -60.0):
        light = light_of(TIME_S) + fast * np.exp(-TIME_S / 90.0)
        curve = curve_from(light + 0.5 * np.random.default_rng(2).standard_normal(TIME_S.size), 2)
        values = np.concatenate([curve.found.coefficients, curve.found.theta])

        def crossing(values):
            times = np.linspace(600.0, 2400.0, 400_001)
            away = values[1:3] @ np.exp(-(times - 30.0) / np.exp(values[3:, None]))
            rest = np.abs(away) - 0.01 * values[0]
            i = int(np.flatnonzero(rest > 0.0)[-1])
            return times[i] + (times[i + 1] - times[i]) * rest[i] / (rest[i] - rest[i + 1])

        steps = 1e-4 * np.abs(values)
        shifts = np.diag(steps)
        pairs = zip(shifts, steps, strict=True)
        slope = np.array([(crossing(values + d) - crossing(values - d)) / (2 * h) for d, h in pairs])
        half = stats.t.ppf(0.975, curve.noise.dof) * np.sqrt(curve.noise.variance(slope))
        one = settled(curve)
        assert_allclose(one.value_s, crossing(values), rtol=1e-4)
        assert_allclose(one.high_s - one.value_s, half, rtol=1e-3)  # differences of a fine grid


def test_drift_clock_and_coverage():
    # Oracle: refit of a drifted record; quadrature; Student quantiles.
    light = noisy(3, noise=0.5)
    curve = curve_from(light, 1)
    plain, drifted = settled(curve), settled(curve, drift=0.003)
    moved = settled(curve_from(light * (1.0 + 0.0003 * (TIME_S - 30.0) / 2370.0), 1)).value_s - plain.value_s
    readings = (plain.high_s - plain.value_s) / stats.t.ppf(0.975, curve.noise.dof)
    variance = readings**2 + (10.0 * moved) ** 2
    dof = curve.noise.dof * (variance / readings**2) ** 2
    assert_allclose(
        drifted.high_s - drifted.value_s, stats.t.ppf(0.975, dof) * np.sqrt(variance), rtol=0.03
    )  # a tenth of the drift is straight to 3 %
    clocked = settled(curve, clock=20.0)
    variance = readings**2 + 20.0**2
    dof = curve.noise.dof * (variance / readings**2) ** 2
    assert_allclose(clocked.high_s - clocked.value_s, stats.t.ppf(0.975, dof) * np.sqrt(variance), rtol=1e-9)
    wide = settled(curve, coverage=0.99)
    share = stats.t.ppf(0.995, curve.noise.dof) / stats.t.ppf(0.975, curve.noise.dof)
    assert_allclose((wide.high_s - wide.value_s) / (plain.high_s - plain.value_s), share, rtol=1e-9)


def test_near_from_the_first_reading_has_no_width():
    # Oracle: definition; 189 lx at the first reading are less than 30 % of 820 lx.
    one = settled(curve_from(light_of(TIME_S), 1), 30.0)
    assert (one.value_s, one.low_s, one.high_s, one.percent) == (30.0, 30.0, 30.0, 30.0)
    early = settled(curve_from(noisy(4, noise=40.0), 1), 20.0)
    assert early.low_s >= 30.0


def test_intervals_hold_the_truth():
    # Oracle: synthetic truth; 95 % of 60 records, 3 binomial SDs downwards; the full study is
    # tests/benchmarks/warm_up_coverage.py.
    truth = 60.0 + 420.0 * np.log(180.0 / 8.2)
    records = [fit_warm_up(TIME_S, noisy(seed), drift_relative_sd=0.0).settled(1.0) for seed in range(60)]
    held = [one.low_s <= truth <= one.high_s for one in records]
    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 60)
