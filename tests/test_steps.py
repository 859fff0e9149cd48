"""Oracles: a dense whitened regression as a second implementation, synthetic truth."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.thermal.residuals import whiten
from photolab.thermal.steps import TRIM, scan_step
from photolab.thermal.variable_projection import solve
from photolab.thermal.warm_up_model import locate_step, separable


def record(rng, readings, *, rho=0.0, noise=2.0):
    time_s = np.linspace(0.0, 2400.0, readings)
    shaken = rng.standard_normal(readings)
    for i in range(1, readings):
        shaken[i] = rho * shaken[i - 1] + np.sqrt(1 - rho**2) * shaken[i]
    return time_s, 850.0 + 120.0 * np.exp(-time_s / 480.0) + noise * shaken


def scanned(time_s, light):
    problem = separable(time_s, light, None)
    found = solve(problem, 2)[-1]
    return found.residual, found.design


def test_cumulative_sums_equal_a_regression_at_every_change_point():
    # Oracle: dense least squares with one whitened step column more, t statistic of its coefficient.
    rng = np.random.default_rng(1)
    time_s = np.cumsum(rng.uniform(10.0, 50.0, 40))
    residual = np.convolve(
        rng.standard_normal(42), [1.0, 0.8, 0.6], mode="valid"
    )  # correlated, so that whitening counts
    design = np.stack([np.ones(40), np.exp(-time_s / 300.0)], axis=1)
    one = scan_step(time_s, residual, design)
    lag = residual[1:] @ residual[:-1] / (residual @ residual) + 2.5 / 40  # lifted by 2.5/n, as designed
    assert 0.3 < lag < 0.97
    gaps = np.diff(time_s)
    phi = lag ** (gaps / np.median(gaps))
    target = whiten(residual, phi)
    statistics = []
    for change in range(TRIM, 40 - TRIM + 1):
        columns = whiten(np.column_stack([design, np.arange(40) >= change]), phi)
        coefficients, squares, *_ = np.linalg.lstsq(columns, target)
        sd = np.sqrt(squares[0] / 37 * np.linalg.inv(columns.T @ columns)[2, 2])
        statistics.append(abs(coefficients[2]) / sd)
    assert_allclose(one.statistic, max(statistics), rtol=1e-9)  # rounding
    assert one.index == int(np.argmax(statistics)) + TRIM


@pytest.mark.parametrize("rho", [0.0, 0.6, 0.9])
def test_false_alarms_are_rare(rho):
    # Oracle: synthetic truth; at most 2 % are to alarm: of 60, 5 or fewer with probability 0.998.
    rng = np.random.default_rng(2)
    alarms = sum(
        scan_step(t, *scanned(t, y)).found for t, y in (record(rng, 100, rho=rho) for _ in range(60))
    )
    assert alarms <= 5


def test_steps_of_five_noise_deviations_are_found_and_placed():
    # Oracle: synthetic truth; 99 % are to be found: of 40, 38 or more with probability 0.993.
    rng = np.random.default_rng(3)
    found = []
    for _ in range(40):
        time_s, light = record(rng, 200)
        change = int(rng.integers(30, 170))
        light[change:] -= 10.0
        one = scan_step(time_s, *scanned(time_s, light))
        found.append(one.found and abs(one.index - change) <= 1)
    assert np.sum(found) >= 38


def test_step_is_located_between_its_neighbours():
    # Oracle: synthetic truth, 14 % step after reading 36, no noise to speak of.
    time_s, light = record(np.random.default_rng(4), 80, noise=0.2)
    light[37:] *= 0.86
    assert_allclose(locate_step(time_s, light, 38).step, 0.5 * (time_s[36] + time_s[37]), rtol=1e-12)


def test_short_or_perfect_records_are_not_scanned():
    # Oracle: the contract of the function.
    time_s = np.arange(15.0)
    design = np.ones((15, 1))
    assert scan_step(time_s, np.arange(15.0) - 7.0, design).index == -1
    assert not scan_step(np.arange(30.0), np.zeros(30), np.ones((30, 1))).found


def test_threshold_decides():
    # Oracle: definition.
    rng = np.random.default_rng(5)
    residual, design = rng.standard_normal(60), np.ones((60, 1))
    one = scan_step(np.arange(60.0), residual, design)
    below, above = (
        scan_step(np.arange(60.0), residual, design, threshold=one.statistic + d) for d in (-1e-9, 1e-9)
    )
    assert below.found
    assert not above.found


def test_statistic_of_the_default_threshold():
    # Oracle: the declared 4.4, met from both sides by steps of growing size.
    rng = np.random.default_rng(12)
    time_s, light = record(rng, 120)
    scans = []
    for size in np.linspace(0.0, 8.0, 60):
        stepped = light.copy()
        stepped[60:] -= size
        scans.append(scan_step(time_s, *scanned(time_s, stepped)))
    below = [one.statistic for one in scans if not one.found]
    above = [one.statistic for one in scans if one.found]
    # sizes 0.14 lx apart move the statistic by less than 0.12
    assert 4.28 < max(below) <= 4.4 < min(above) < 4.52
