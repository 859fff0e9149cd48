"""The last digits of a fit. Oracles: a dense search by scipy, closed forms, the same record rounded otherwise."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import minimize

from photolab.thermal.variable_projection import Projection, Separable, kept_apart, settle, solve
from photolab.thermal.warm_up import fit_warm_up
from photolab.thermal.warm_up_model import LEAST_GAP, separable

TIME_S = np.arange(1, 81) * 30.0


def fitted(problem, terms):
    return solve(problem, terms, gap=LEAST_GAP)[-1]


def record(seed, amplitudes, time_constants, noise=3.0):
    light = 850.0 + sum(a * np.exp(-TIME_S / t) for a, t in zip(amplitudes, time_constants, strict=True))
    return light + noise * np.random.default_rng(seed).standard_normal(TIME_S.size)


def test_kept_apart_is_inside_and_ordered():
    # Oracle: closed form.
    far = np.array([[1.0, 4.0, 3.0, -9.0, 9.0], [3.0, 4.0, 3.01, -9.0, -9.0]])
    expected = np.array([[3.0, 4.05, 3.055, 0.1, 5.0], [1.0, 3.95, 2.955, 0.0, 0.0]])
    assert_allclose(kept_apart(far, 0.1, (0.0, 5.0)), expected, atol=1e-12)
    assert_allclose(kept_apart(np.array([7.0]), 0.1, (0.0, 5.0)), [5.0])
    three = np.array([[1.0, -9.0], [9.0, -9.0], [1.05, -9.0]])
    assert_allclose(kept_apart(three, 0.1, (0.0, 5.0)), [[5.0, 0.2], [1.05, 0.1], [0.95, 0.0]], atol=1e-12)


@pytest.mark.parametrize("rising", [False, True])
def test_a_projection_is_the_linear_solution_of_its_columns(rising):
    # Oracle: numpy's least squares on the weighted columns; of 80 readings a level, two amplitudes and two rates.
    weight = np.linspace(1.0, 2.0, TIME_S.size)
    light = record(3, (80.0, 60.0), (150.0, 700.0))
    problem = Separable(TIME_S, light, np.ones((80, 1)), weight, rising, (3.0, 9.0))
    found = Projection(problem, np.log([600.0, 160.0]))
    decay = np.exp(-TIME_S[:, None] / [600.0, 160.0])
    columns = np.column_stack([np.ones(80), 1.0 - decay if rising else decay])
    coefficients, squares, *_ = np.linalg.lstsq(columns * weight[:, None], light * weight)
    assert_allclose(found.coefficients, coefficients, rtol=1e-9)  # rounding over the condition of the columns
    assert_allclose(found.sum_of_squares, squares[0], rtol=1e-9)
    assert_allclose(found.residual_sd, np.sqrt(squares[0] / 75), rtol=1e-9)


@pytest.mark.parametrize("rising", [False, True])
def test_slope_and_curvature_are_those_of_the_sum_of_squares(rising):
    # Oracle: central differences; steps of 1e-4 leave some 1e-7 of the largest element.
    weight = np.linspace(1.0, 2.0, TIME_S.size)
    problem = Separable(
        TIME_S, record(3, (80.0, 60.0), (150.0, 700.0)), np.ones((80, 1)), weight, rising, (3.0, 9.0)
    )
    theta, moves = np.array([6.4, 5.1]), 1e-4 * np.eye(2)
    here = Projection(problem, theta)
    beside = [[Projection(problem, theta + side * move) for side in (1.0, -1.0)] for move in moves]
    slope = [(a.sum_of_squares - b.sum_of_squares) / 4e-4 for a, b in beside]
    curvature = [(a.slope - b.slope) / 2e-4 for a, b in beside]
    assert_allclose(here.slope, slope, rtol=1e-5)
    assert_allclose(here.curvature, curvature, rtol=1e-5)


@pytest.mark.parametrize("terms", [1, 2])
@pytest.mark.parametrize("seed", range(6))
def test_settled_point_is_the_constrained_minimum(seed, terms):
    # Oracle: scipy's SLSQP under the same bounds, started there and around; no start finds less.
    problem = separable(TIME_S, record(seed, (80.0, 60.0), (150.0, 700.0)), None)
    found = fitted(problem, terms)
    low, high = problem.log_range
    apart = [{"type": "ineq", "fun": lambda v: v[0] - v[1] - LEAST_GAP}] if terms == 2 else []
    for shift in (0.0, 0.1, -0.1):
        start = kept_apart(found.theta + shift, LEAST_GAP, problem.log_range)
        other = minimize(
            lambda v: Projection(problem, v).sum_of_squares,
            start,
            method="SLSQP",
            bounds=[(low, high)] * terms,
            constraints=apart,
            options={"ftol": 1e-12},
        )
        assert found.sum_of_squares <= other.fun * (1.0 + 1e-9)  # scipy stops at the digits of the sum itself


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("amplitudes", [(80.0, 60.0), (120.0, 0.0), (0.0, 0.0), (30.0, -20.0)])
def test_no_start_finds_less(seed, amplitudes):
    # Oracle: the same steps from 36 starts all over the range.
    problem = separable(TIME_S, record(seed, amplitudes, (150.0, 700.0)), None)
    found = fitted(problem, 2)
    taus = np.linspace(*problem.log_range, 9)
    ends = [
        settle(problem, np.array([slow, fast]), gap=LEAST_GAP).sum_of_squares
        for slow in taus
        for fast in taus
        if slow > fast
    ]
    assert found.sum_of_squares <= min(ends) * (1.0 + 1e-9)


@pytest.mark.parametrize("count", [80, 400])
def test_time_constants_are_sought_between_half_a_spacing_and_five_records(count):
    # Oracle: the rule: a 200th of the record, and half a spacing where that is more; a step acts from its instant on.
    time_s = 90.0 + 30.0 * np.arange(count)
    problem = separable(time_s, np.ones(count), float(time_s[40]))
    length = 30.0 * (count - 1)
    assert_allclose(np.exp(problem.log_range), [max(length / 200, 15.0), 5 * length], rtol=1e-12)
    assert problem.fixed[38:42].tolist() == [[1.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 1.0]]


def test_last_digits_do_not_hang_on_where_the_search_stopped():
    # Oracle: the same minimum from other starts, to rounding over the curvature.
    problem = separable(TIME_S, record(1, (80.0, 60.0), (150.0, 700.0)), None)
    near = fitted(problem, 2).theta
    for shift in ((1e-3, -1e-3), (0.05, 0.02), (-0.04, 0.03)):
        again = settle(problem, near + np.array(shift), gap=LEAST_GAP)
        assert_allclose(again.theta, near, atol=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_time_constants_that_run_together_stay_apart(seed):
    # Oracle: closed form; with one rate in truth the pair meets in many records, and is then exactly the gap apart,
    # with a sum of squares within 1e-4 of the closest pair's.
    problem = separable(TIME_S, record(seed, (120.0,), (240.0,)), None)
    found = fitted(problem, 2)
    gap = float(found.theta[0] - found.theta[1])
    assert gap >= LEAST_GAP - 1e-12
    closer = settle(problem, solve(problem, 2)[-1].theta, gap=1e-3)
    assert found.sum_of_squares <= closer.sum_of_squares * (1.0 + 1e-4)


def test_slope_leans_on_the_bounds():
    # Oracle: closed form; straight light wants an endless time constant, so the slower one ends on its bound.
    x = np.linspace(0.0, 1.0, 30)
    problem = Separable(x, 5.0 - x, np.ones((30, 1)), np.ones(30), False, (-5.0, 1.5))
    found = settle(problem, np.array([0.0]), gap=LEAST_GAP)
    assert_allclose(found.theta, [1.5], atol=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_intervals_do_not_hang_on_the_last_bits_of_the_readings(seed):
    # Oracle: continuity; readings times 1 + 1e-12 move no end by more than 1e-9 of itself.
    light = record(seed, (120.0,), (240.0,))
    ends = []
    for last in (0.0, 1e-12):
        shaken = light * (1.0 + last * np.random.default_rng(99).uniform(-1.0, 1.0, light.size))
        one = fit_warm_up(TIME_S, shaken).remaining(2400.0)
        ends.append((one.value, one.low, one.high, one.ln_standard_uncertainty))
    assert_allclose(ends[1][:3], ends[0][:3], rtol=1e-9)
    assert_allclose(ends[1][3], ends[0][3], rtol=1e-7)


def test_a_perfect_record_has_no_outlier():
    # Oracle: closed form; residuals of rounding have no size beside the light.
    light = np.round(850.0 + 120.0 * np.exp(-TIME_S / 240.0), 9)
    fit = fit_warm_up(TIME_S, light)
    assert "outliers" not in {finding.code for finding in fit.findings}
