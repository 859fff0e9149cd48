"""Oracles: dense least squares as a second implementation, synthetic truth."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.thermal.residuals import whiten
from photolab.thermal.steps import RIPPLE_TOLERANCE, _whitened, scan_ripple

TIME_S = np.linspace(0.0, 2400.0, 120)
DESIGN = np.stack([np.ones(120), np.exp(-TIME_S / 480.0), TIME_S / 480.0 * np.exp(-TIME_S / 480.0)], axis=1)


def left_over(noise):
    return noise - DESIGN @ np.linalg.lstsq(DESIGN, noise)[0]


def correlated(rng, rho):
    noise = rng.standard_normal(120)
    for i in range(1, 120):
        noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * noise[i]
    return noise


def test_statistic_is_that_of_a_dense_regression():
    # Oracle: dense least squares of the whitened residual on design, cosine and sine of the period reported.
    residual = left_over(np.random.default_rng(1).standard_normal(120))
    one = scan_ripple(TIME_S, residual, DESIGN)
    phi, *_ = _whitened(TIME_S, residual, DESIGN, RIPPLE_TOLERANCE)
    angle = 2 * np.pi * TIME_S / one.period_s
    squares = [
        np.linalg.lstsq(whiten(columns, phi), whiten(residual, phi))[1][0]
        for columns in (DESIGN, np.column_stack([DESIGN, np.cos(angle), np.sin(angle)]))
    ]
    assert_allclose(one.statistic, (squares[0] - squares[1]) / (squares[1] / 115), rtol=1e-9)  # rounding


@pytest.mark.parametrize("period_s", [150.0, 300.0])
def test_ripple_above_the_noise_is_found(period_s):
    # Oracle: synthetic truth; amplitude of 1.7 noise SDs.
    rng = np.random.default_rng(2)
    for phase in (0.0, 1.0, 2.0):
        wave = 1.7 * np.sin(2 * np.pi * TIME_S / period_s + phase)
        one = scan_ripple(TIME_S, left_over(wave + rng.standard_normal(120)), DESIGN)
        assert one.found
        assert_allclose(one.period_s, period_s, rtol=0.25)  # two steps of the frequency grid


@pytest.mark.parametrize("rho", [0.0, 0.8])
def test_false_alarms_are_rare(rho):
    # Oracle: synthetic truth; of 100 at 0.5 % to 1 %, 5 or fewer with probability 0.999.
    rng = np.random.default_rng(3)
    assert sum(scan_ripple(TIME_S, left_over(correlated(rng, rho)), DESIGN).found for _ in range(100)) <= 5


def test_short_or_perfect_records_are_not_scanned():
    # Oracle: the contract of the function.
    assert not scan_ripple(TIME_S[:15], np.ones(15), DESIGN[:15]).found
    assert not scan_ripple(TIME_S, np.zeros(120), DESIGN).found
