"""Oracles: closed form of completely monotone curves, synthetic truth, linear programming."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog, nnls

from photolab.thermal.bounds import ALLOWANCE, MonotoneFit, ratio_bounds

TIME_S = np.linspace(0.0, 1800.0, 120)
WHITE = np.zeros(119)


def bounds_at(fit, at_s, *, initial_s=60.0, allowance=1.0):
    return ratio_bounds(fit, fit.row(np.array([at_s])), fit.row(np.array([initial_s])), allowance=allowance)


def test_exact_record_of_the_class_is_reproduced():
    # Oracle: closed form; a mixture of two of the allowed rates has residual zero.
    empty = MonotoneFit(TIME_S, np.ones(120), WHITE)
    fast, slow = empty.time_constants[[12, 24]]
    truth = lambda t: 850.0 + 90.0 * np.exp(-t / fast) + 60.0 * np.exp(-t / slow)  # noqa: E731
    fit = MonotoneFit(TIME_S, truth(TIME_S), WHITE)
    assert fit.sum_of_squares < 1e-8  # (1e-5 lx)^2 a reading: rounding of neighbouring exponentials
    value, low, high = bounds_at(fit, 2700.0, allowance=1e-4)
    assert low <= truth(2700.0) / truth(60.0) <= high
    assert_allclose(
        value, truth(2700.0) / truth(60.0), rtol=1e-5
    )  # neighbouring exponentials, 1e-4 lx in 1000


def test_correlated_readings_of_a_later_clock_are_generalised_least_squares():
    # Oracle: scipy's non-negative least squares on the dense inverse root of the covariance; the clock is a name.
    time_s, phi = TIME_S + 600.0, 0.6
    light = 850.0 + 120.0 * np.exp(-TIME_S / 480.0) + np.random.default_rng(6).standard_normal(120)
    fit = MonotoneFit(time_s, light, np.full(119, phi))
    root = np.linalg.cholesky(
        np.linalg.inv(phi ** np.abs(np.subtract.outer(np.arange(120), np.arange(120))))
    ).T
    taus = np.geomspace(12.0, 9000.0, 36)  # from a 150th of the record to five times its length
    design = np.column_stack([np.ones(120), np.exp(-TIME_S[:, None] / taus)])
    _, norm = nnls(root @ design, root @ light, maxiter=4000)
    assert_allclose(fit.sum_of_squares, norm**2, rtol=1e-9)
    assert_allclose(fit.row(np.array([660.0])), [1.0, *np.exp(-60.0 / taus)], rtol=1e-12)
    assert_allclose(fit.squares_with(np.zeros(37)), norm**2, rtol=1e-9)  # a condition that asks for nothing
    condition = fit.row(np.array([2700.0])) - 0.9 * fit.row(np.array([660.0]))
    rows = np.vstack([root @ design, 1e5 * np.abs(root @ design).max() * condition])
    _, held = nnls(rows, np.append(root @ light, 0.0), maxiter=4000)
    assert_allclose(fit.squares_with(condition), held**2, rtol=1e-4)  # of a row ten times and more as heavy


def test_rising_light_is_outside_the_class():
    # Oracle: closed form; the best falling curve through a rising line is its mean.
    light = 900.0 + TIME_S / 180.0
    fit = MonotoneFit(TIME_S, light, WHITE)
    assert_allclose(fit.amplitudes[0], light.mean(), rtol=1e-9)
    assert_allclose(fit.sum_of_squares, np.sum((light - light.mean()) ** 2), rtol=1e-9)
    assert_allclose(bounds_at(fit, 2700.0, allowance=1e-3)[2], 1.0, atol=1e-12)  # the ratio cannot pass 1


def test_bounds_agree_with_linear_programming():
    # Oracle: second implementation. With the largest residual bounded instead of the sum of squares the
    # extreme of the ratio is a linear programme; every point of that smaller set lies inside the bounds whose
    # allowance contains it.
    rng = np.random.default_rng(1)
    light = 850.0 + 120.0 * np.exp(-TIME_S / 480.0) + 2.0 * rng.standard_normal(120)
    fit = MonotoneFit(TIME_S, light, WHITE)
    design = np.concatenate([np.ones((120, 1)), np.exp(-TIME_S[:, None] / fit.time_constants)], axis=1)
    best = design @ fit.amplitudes
    reach = 0.05  # lx around the best curve
    earlier, later = fit.row(np.array([60.0])), fit.row(np.array([3000.0]))
    extremes = []
    for sign in (1.0, -1.0):
        solution = linprog(
            sign * later,
            A_ub=np.vstack([design, -design]),
            b_ub=np.concatenate([best + reach, reach - best]),
            A_eq=[earlier],
            b_eq=[earlier @ fit.amplitudes],
        )
        assert solution.success
        extremes.append(float(later @ solution.x / (earlier @ solution.x)))
        squares = float(np.sum((light - design @ solution.x) ** 2))
        _, low, high = ratio_bounds(fit, later, earlier, allowance=squares - fit.sum_of_squares)
        assert low - 1e-9 <= extremes[-1] <= high + 1e-9  # the programme's own digits
    assert extremes[1] - extremes[0] > 1e-4  # the programme did move


def test_bounds_sit_where_the_sum_of_squares_reaches_the_allowance():
    # Oracle: definition of the bounds.
    rng = np.random.default_rng(2)
    fit = MonotoneFit(TIME_S, 850.0 + 120.0 * np.exp(-TIME_S / 480.0) + 2.0 * rng.standard_normal(120), WHITE)
    later, earlier = fit.row(np.array([2700.0])), fit.row(np.array([60.0]))
    allowance = ALLOWANCE * 4.0
    _, low, high = ratio_bounds(fit, later, earlier, allowance=allowance)
    scale = np.linalg.norm(earlier)
    for bound in (low, high):
        rise = fit.squares_with((later - bound * earlier) / scale) - fit.sum_of_squares
        assert_allclose(rise, allowance, rtol=1e-6)  # bounds are found to 1e-13
    narrower = ratio_bounds(fit, later, earlier, allowance=allowance / 4)
    assert low < narrower[1] < narrower[2] < high


@pytest.mark.parametrize(
    ("amplitudes", "taus"),
    [
        ((120.0,), (480.0,)),
        ((90.0, 60.0), (150.0, 720.0)),
        ((60.0, 60.0, 40.0), (90.0, 360.0, 1800.0)),
        ((100.0, 30.0), (300.0, 2400.0)),
    ],
)
def test_bounds_hold_the_truth_beyond_the_record(amplitudes, taus):
    # Oracle: synthetic truth with one, two and three rates and a slow tail. At least 93 % of intervals are to
    # hold it; of 60 that is 51 or more with probability 0.999.
    rng = np.random.default_rng(3)

    def truth(t):
        return 850.0 + sum(a * np.exp(-t / tau) for a, tau in zip(amplitudes, taus, strict=True))

    held = []
    for _ in range(60):
        fit = MonotoneFit(TIME_S, truth(TIME_S) + 2.0 * rng.standard_normal(120), WHITE)
        _, low, high = bounds_at(fit, 2700.0, allowance=ALLOWANCE * 4.0)
        held.append(low <= truth(2700.0) / truth(60.0) <= high)
    assert np.sum(held) >= 51


def test_infinity_is_the_final_level():
    # Oracle: closed form.
    fit = MonotoneFit(TIME_S, 850.0 + 120.0 * np.exp(-TIME_S / 480.0), WHITE)
    assert_allclose(fit.row(np.array([np.inf])), np.eye(37)[0], atol=0)
    assert_allclose(fit.row(np.array([0.0])), np.ones(37), rtol=1e-15)


def test_row_of_several_instants_is_their_mean():
    # Oracle: definition.
    fit = MonotoneFit(TIME_S, 850.0 + 120.0 * np.exp(-TIME_S / 480.0), WHITE)
    single = [fit.row(np.array([t])) for t in (30.0, 90.0)]
    assert_allclose(fit.row(np.array([30.0, 90.0])), (single[0] + single[1]) / 2, rtol=1e-14)
