"""Oracles: dense linear algebra (second implementation), closed forms, synthetic truth."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.thermal import residuals
from photolab.thermal.residuals import (
    ResidualModel,
    StableScatter,
    _correlated_root,
    explained_by_both,
    neighbour_correlation,
    whiten,
)


def uneven(rng, count=30):
    return np.cumsum(rng.uniform(5.0, 40.0, count))


def dense(time_s, correlation_time):
    return np.exp(-np.abs(time_s[:, None] - time_s) / correlation_time)


def test_whitening_inverts_the_correlation_matrix():
    # Oracle: dense linear algebra; W Omega W' = 1.
    time_s = uneven(np.random.default_rng(1))
    phi = neighbour_correlation(time_s, 60.0)
    matrix = whiten(np.eye(30), phi)
    assert_allclose(matrix @ dense(time_s, 60.0) @ matrix.T, np.eye(30), atol=1e-13)  # rounding


def test_correlated_root_has_the_products_of_the_dense_matrix():
    # Oracle: dense linear algebra.
    rng = np.random.default_rng(2)
    time_s, columns = uneven(rng), rng.standard_normal((30, 3))
    roots = _correlated_root(columns, neighbour_correlation(time_s, np.array([60.0, 0.0])))
    products = roots.swapaxes(1, 2) @ roots
    assert_allclose(products[0], columns.T @ dense(time_s, 60.0) @ columns, atol=1e-12)  # rounding
    assert_allclose(products[1], columns.T @ columns, rtol=1e-15, atol=1e-14)


def test_sandwich_with_a_known_correlation():
    # Oracle: dense generalised formula (J'J)^-1 J' Omega J (J'J)^-1 s^2, s^2 from the generalised residual.
    rng = np.random.default_rng(3)
    time_s = np.arange(40) * 30.0
    design = np.stack([np.ones(40), np.exp(-time_s / 300.0), time_s / 1200.0], axis=1)
    residual = rng.standard_normal(40)
    residual -= design @ np.linalg.lstsq(design, residual)[0]
    model = ResidualModel(time_s, residual, design, correlation=0.6)
    omega = dense(time_s, -30.0 / np.log(0.6))
    inverse = np.linalg.inv(omega)
    gls = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse @ residual)
    left = residual - design @ gls
    noise = left @ inverse @ left / 37
    bread = np.linalg.inv(design.T @ design)
    gradient = np.array([1.0, -0.4, 2.0])
    expected = noise * gradient @ bread @ design.T @ omega @ design @ bread @ gradient
    assert_allclose(model.variance(gradient), expected, rtol=1e-10)  # rounding
    assert_allclose(model.correlation, 0.6, rtol=1e-12)
    assert_allclose(model.effective_readings, 40 * 0.4 / 1.6, rtol=1e-12)  # n (1 - rho) / (1 + rho)
    assert_allclose(model.dof, 40**2 / np.sum(omega**2) - 3, rtol=1e-10)


def test_white_noise_gives_the_ordinary_covariance():
    # Oracle: closed form s^2 (J'J)^-1 and n - p degrees of freedom.
    rng = np.random.default_rng(4)
    time_s = uneven(rng, 50)
    design = np.stack([np.ones(50), time_s / 1000.0], axis=1)
    residual = rng.standard_normal(50)
    residual -= design @ np.linalg.lstsq(design, residual)[0]
    model = ResidualModel(time_s, residual, design, correlation=0.0)
    covariance = residual @ residual / 48 * np.linalg.inv(design.T @ design)
    for gradient in np.eye(2):
        assert_allclose(model.variance(gradient), gradient @ covariance @ gradient, rtol=1e-11)
    assert_allclose(model.dof, 48.0, rtol=1e-12)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8])
def test_estimated_correlation_is_near_the_truth(rho):
    # Oracle: synthetic truth. The mean of 40 estimates; SD of one is about sqrt((1 - rho^2)/n) = 0.07 at
    # most, and even odds for white noise pull by less than 0.03 here.
    rng = np.random.default_rng(5)
    time_s = np.arange(200) * 10.0
    design = np.stack([np.ones(200), np.exp(-time_s / 400.0)], axis=1)
    estimates = []
    for _ in range(40):
        noise = rng.standard_normal(200)
        for i in range(1, 200):
            noise[i] = rho * noise[i - 1] + np.sqrt(1 - rho**2) * noise[i]
        residual = noise - design @ np.linalg.lstsq(design, noise)[0]
        estimates.append(ResidualModel(time_s, residual, design).correlation)
    assert_allclose(np.mean(estimates), rho, atol=0.06)


@pytest.mark.parametrize("spacing", [6.0, 60.0, 120.0])
def test_odds_of_correlation_times_before_the_readings(spacing):
    # Oracle: integral of a density that falls with the root on a logarithmic scale, from 20 s on; what lies below
    # the first time tried is white. Readings that do not tell correlations apart leave the odds as they were.
    times = np.concatenate([[0.0], np.geomspace(0.5 * spacing, 480.0, 11)])
    shortest = min(20.0, 0.5 * spacing)

    def between(low, high):
        instants = np.geomspace(low, high, 2001)
        return np.trapezoid(instants**-0.5, np.log(instants))

    borders = np.concatenate([times[1:2], np.sqrt(times[2:] * times[1:-1]), times[-1:]])
    correlated = np.array([between(a, b) for a, b in pairwise(borders)])
    correlated *= 0.5 / between(shortest, 480.0)
    assert_allclose(
        residuals._odds(times), [1.0 - correlated.sum(), *correlated], rtol=1e-5
    )  # 2000 trapezoids
    assert_allclose(residuals._odds(np.array([30.0])), [1.0], rtol=1e-15)


def test_a_direction_the_design_does_not_hold_is_left_out():
    # Oracle: closed form; doubling a column changes nothing that the readings can tell.
    time_s = np.arange(30) * 10.0
    column = np.exp(-time_s / 100.0)
    residual = np.random.default_rng(6).standard_normal(30)
    single = ResidualModel(time_s, residual, np.stack([np.ones(30), column], axis=1), correlation=0.3)
    double = ResidualModel(time_s, residual, np.stack([np.ones(30), column, column], axis=1), correlation=0.3)
    assert_allclose(
        double.variance(np.array([1.0, 0.5, 0.5])), single.variance(np.array([1.0, 0.5])), rtol=1e-9
    )


def test_two_columns_explain_what_least_squares_on_them_takes_up():
    # Oracle: numpy's least squares, pair by pair.
    rng = np.random.default_rng(9)
    (first, second), left = rng.standard_normal((2, 20, 5)) + 0.5, rng.standard_normal(20)
    remains = [
        np.linalg.lstsq(np.stack(pair, axis=1), left)[1][0] for pair in zip(first.T, second.T, strict=True)
    ]
    assert_allclose(explained_by_both(first, second, left), left @ left - np.array(remains), rtol=1e-9)


def test_stable_records_add_their_likelihood(monkeypatch):
    # Oracle: dense Gaussian restricted likelihood with the variance profiled out, of the record and of the stable
    # one, each for two correlation times of the grid.
    monkeypatch.setattr(residuals, "SMALLEST_WEIGHT", 0.0)
    rng = np.random.default_rng(31)
    time_s, quiet_s = np.arange(12) * 60.0, uneven(rng, 25)
    design = np.stack([np.ones(12), np.exp(-time_s / 200.0)], axis=1)
    residual = rng.standard_normal(12)
    residual -= design @ np.linalg.lstsq(design, residual)[0]
    light = 400.0 + 0.02 * quiet_s + rng.standard_normal(25)
    plain = ResidualModel(time_s, residual, design)
    joined = ResidualModel(time_s, residual, design, stable=[StableScatter(quiet_s, light)])

    def likelihood(correlation_time):
        omega = dense(quiet_s, correlation_time) if correlation_time else np.eye(25)
        inverse = np.linalg.inv(omega)
        line = np.stack([np.ones(25), quiet_s], axis=1)
        left = light - line @ np.linalg.solve(line.T @ inverse @ line, line.T @ inverse @ light)
        terms = 23 * np.log(left @ inverse @ left) + np.linalg.slogdet(omega)[1]
        return -0.5 * (terms + np.linalg.slogdet(line.T @ inverse @ line)[1])

    shared = np.intersect1d(plain.correlation_times, joined.correlation_times)
    assert shared.size > 3
    pick = [np.searchsorted(one.correlation_times, shared) for one in (plain, joined)]
    gained = np.log(joined.weights[pick[1]] / plain.weights[pick[0]])
    expected = np.array([likelihood(one) for one in shared])
    assert_allclose(gained - gained[0], expected - expected[0], atol=1e-9)  # rounding of dense algebra


def test_what_is_said_under_each_correlation_time(monkeypatch):
    # Oracle: dense algebra: white noise and eleven times from half the spacing to a fifth of the record; Gaussian
    # restricted likelihood with the odds; n^2 / sum Omega^2 less p degrees of freedom; the weighted sandwich.
    monkeypatch.setattr(residuals, "SMALLEST_WEIGHT", 0.0)
    time_s, rng = np.arange(30) * 20.0, np.random.default_rng(8)
    design = np.stack([np.ones(30), np.exp(-time_s / 200.0)], axis=1)
    residual = rng.standard_normal(30)
    residual -= design @ np.linalg.lstsq(design, residual)[0]
    model = ResidualModel(time_s, residual, design)
    times = [0.0, *np.geomspace(10.0, 0.2 * 580.0, 11)]
    assert_allclose(model.correlation_times, times, rtol=1e-12)
    found = []
    for one in times:
        omega = dense(time_s, one) if one else np.eye(30)
        inverse = np.linalg.inv(omega)
        inner = design.T @ inverse @ design
        left = residual - design @ np.linalg.solve(inner, design.T @ inverse @ residual)
        squares = left @ inverse @ left
        volume = np.linalg.slogdet(inner)[1] + np.linalg.slogdet(omega)[1]
        bread = np.linalg.pinv(design)
        sandwich = bread @ omega @ bread.T * squares / 28
        dof = max(2.0, 900 / np.sum(omega**2) - 2)
        found.append((squares / 28, dof, -0.5 * (28 * np.log(squares) + volume), sandwich))
    variances, dofs, likelihood, sandwiches = (np.array(part) for part in zip(*found, strict=True))
    weights = residuals._odds(np.array(times)) * np.exp(likelihood - likelihood.max())
    weights /= weights.sum()
    assert_allclose(model.noise_variances, variances, rtol=1e-9)
    assert_allclose(model.weights, weights, rtol=1e-9)
    assert_allclose(model.dofs, dofs, rtol=1e-9)
    assert_allclose(model.dof, 1.0 / np.sum(weights / dofs), rtol=1e-9)
    assert_allclose(model.covariance, np.tensordot(weights, sandwiches, 1), rtol=1e-9)
    rho = weights @ np.exp(-20.0 / np.maximum(times, 1e-9))
    assert_allclose(
        [model.correlation, model.effective_readings], [rho, 30 * (1 - rho) / (1 + rho)], rtol=1e-9
    )


def test_no_correlation_time_leaves_with_a_jump():
    # Oracle: closed form; a weight sinks to zero in proportion to what it has above the smallest one that counts.
    time_s, rng = np.arange(40) * 30.0, np.random.default_rng(5)
    design = np.ones((40, 1))
    noise = rng.standard_normal(40)
    slow = np.sin(np.arange(40) / 6.0)
    counts = []
    for share in np.linspace(0.0, 2.0, 81):
        residual = noise + share * slow
        model = ResidualModel(time_s, residual - residual.mean(), design)
        counts.append(model.correlation_times.size)
        smallest = model.weights.min()
        assert smallest > 0.0
    drops = np.flatnonzero(np.diff(counts))
    assert drops.size  # correlation times do leave and come
    step = np.linspace(0.0, 2.0, 81)[1]
    for i in drops[:3]:
        low, high = i * step, (i + 1) * step
        while high - low > 1e-9:
            middle = 0.5 * (low + high)
            residual = noise + middle * slow
            size = ResidualModel(time_s, residual - residual.mean(), design).correlation_times.size
            low, high = (middle, high) if size == counts[i] else (low, middle)
        ends = []
        for share in (low, high):
            residual = noise + share * slow
            model = ResidualModel(time_s, residual - residual.mean(), design)
            ends.append((model.correlation, model.whitened_variance))
        assert_allclose(ends[0], ends[1], rtol=1e-6)  # a thousand times the 1e-9 between the two records


def test_averages_over_the_correlation_times():
    # Oracle: closed form of the weighted mean, and dense algebra for the variance under it.
    time_s, rng = uneven(np.random.default_rng(6)), np.random.default_rng(7)
    residual = rng.standard_normal(time_s.size)
    residual -= residual.mean()
    model = ResidualModel(time_s, residual, np.ones((time_s.size, 1)))
    assert model.weights.size > 2
    phis = [neighbour_correlation(time_s, one) for one in model.correlation_times]
    mean = sum(w * p for w, p in zip(model.weights, phis, strict=True))
    assert_allclose(model.neighbours, mean, rtol=1e-12)
    along = np.concatenate([[0.0], np.cumsum(np.log(mean))])
    inverse = np.linalg.inv(np.exp(-np.abs(along[:, None] - along)))
    ones = np.ones(time_s.size)
    left = residual - ones * (ones @ inverse @ residual) / (ones @ inverse @ ones)
    assert_allclose(model.whitened_variance, left @ inverse @ left / (time_s.size - 1), rtol=1e-9)
