"""Oracles: lmfit's profile intervals (second implementation), dense generalised least squares, closed forms."""

import lmfit
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import optimize, stats

from photolab.thermal.rate_pairs import PairFits, PairRatios, ratio_interval
from photolab.thermal.residuals import neighbour_correlation, whiten
from photolab.thermal.variable_projection import solve
from photolab.thermal.warm_up_model import Curve, separable

EARLY, LATE = 60.0, 2280.0


def light_of(time_s):
    return 850.0 + 90.0 * np.exp(-time_s / 150.0) + 60.0 * np.exp(-time_s / 720.0)


def curve_from(time_s, light, *, correlation=0.0, step_s=None):
    problem = separable(time_s, light, step_s)
    return Curve(problem, solve(problem, 2)[-1], correlation=correlation)


def interval(curve, later=LATE, earlier=EARLY, coverage=0.95):
    return ratio_interval(PairFits(curve), curve, np.array([later]), np.array([earlier]), coverage)


def record(seed, readings, noise):
    time_s = np.linspace(0.0, 2400.0, readings)
    return time_s, light_of(time_s) + noise * np.random.default_rng(seed).standard_normal(readings)


@pytest.mark.parametrize("coverage", [0.6827, 0.95])
@pytest.mark.parametrize(("readings", "noise"), [(40, 2.0), (120, 1.0)])
def test_interval_is_the_profile_interval_of_lmfit(readings, noise, coverage):
    # Oracle: lmfit.conf_interval, which refits all other parameters for each value of one and compares by F;
    # the ratio R is a parameter of the curve here: c and a from E(t0) and R E(t0) = E(h).
    time_s, light = record(3, readings, noise)

    def model(x, e0, ratio, b, p, q):
        fast, slow = (lambda t: np.exp(-t / p)), (lambda t: np.exp(-t / q))
        a = ((ratio - 1.0) * e0 - b * (slow(LATE) - slow(EARLY))) / (fast(LATE) - fast(EARLY))
        return e0 + a * (fast(x) - fast(EARLY)) + b * (slow(x) - slow(EARLY))

    start = {"e0": 965.0, "ratio": float(light_of(LATE) / light_of(EARLY)), "b": 60.0, "p": 150.0, "q": 720.0}
    fitter = lmfit.Minimizer(lambda v: model(time_s, **v.valuesdict()) - light, lmfit.create_params(**start))
    found = fitter.minimize()
    ends = lmfit.conf_interval(fitter, found, p_names=["ratio"], sigmas=[coverage])["ratio"]
    low, high = interval(curve_from(time_s, light), coverage=coverage)
    width = ends[2][1] - ends[0][1]
    # the pairs are a lattice: it may miss the farthest pair by a part of the width
    assert_allclose([low, high], [ends[0][1], ends[2][1]], atol=0.03 * width)


def test_interval_does_not_hang_on_when_the_clock_began():
    # Oracle: identity: instants count from the first reading; a record and its instants 600 s later are the same.
    time_s, light = record(3, 40, 2.0)
    again = interval(curve_from(time_s + 600.0, light), later=LATE + 600.0, earlier=EARLY + 600.0)
    assert_allclose(again, interval(curve_from(time_s, light)), rtol=1e-9)  # rounding


def test_small_noise_gives_the_delta_method():
    # Oracle: closed form, Student times the root of the linear variance, where the curve is straight.
    time_s, light = record(4, 120, 0.01)
    curve = curve_from(time_s, light)
    (later, earlier), (up, down) = (of(np.array([LATE, EARLY])) for of in (curve.light, curve.rows))
    half = stats.t.ppf(0.975, 115) * np.sqrt(curve.noise.variance(up / later - down / earlier))
    expected = later / earlier * np.exp([-half, half])
    assert_allclose(interval(curve), expected, atol=0.02 * later / earlier * half)


def test_one_pair_is_dense_generalised_least_squares():
    # Oracle: dense linear algebra with the correlation matrix, for the pair that fits best.
    time_s, light = record(5, 60, 2.0)
    curve = curve_from(time_s, light, correlation=0.5, step_s=1210.0)
    fits = PairFits(curve)
    (squares,), (noise,) = fits.sums_of_squares, fits.noise_variance
    i = int(np.argmin(squares))
    taus = fits.time_constants[fits.place[:, i]]
    rows = [np.ones(60), time_s >= 1210.0, *np.exp(-time_s / taus[:, None])]
    design = np.stack(rows, axis=1).astype(float)
    inverse = np.linalg.inv(0.5 ** (np.abs(time_s[:, None] - time_s) / (time_s[1] - time_s[0])))
    normal = design.T @ inverse @ design
    coefficients = np.linalg.solve(normal, design.T @ inverse @ light)
    left = light - design @ coefficients
    assert_allclose(squares[i], left @ inverse @ left, rtol=1e-9)  # rounding
    assert_allclose(noise, left @ inverse @ left / 54, rtol=1e-9)  # 60 less 6
    points = np.array([LATE, EARLY])
    at = np.stack([np.ones(2), points >= 1210.0, *np.exp(-points / taus[:, None])], axis=1)
    covariance = at @ np.linalg.solve(normal, at.T)
    ratios = fits.ratio(points[:1], points[1:])
    assert_allclose([ratios.above[0, i], ratios.below[0, i]], at @ coefficients, rtol=1e-10)
    assert_allclose(ratios.covariance[:, 0, i], covariance[[0, 0, 1], [0, 1, 1]], rtol=1e-8)
    assert_allclose(ratios.rises[0, i], 0.0)
    assert_allclose(ratios.distance(ratios.above[0, i] / ratios.below[0, i]), [0.0], atol=1e-7)  # rounding


def test_pairs_of_the_grid_are_apart():
    # Oracle: the declared ratio of 1.5, met by one step of the grid; each pair once.
    curve = curve_from(*record(7, 60, 2.0))
    fits = PairFits(curve)
    low, high = curve.problem.log_range
    slow, fast = fits.time_constants[fits.place[:, : -(13**2)]]
    least = np.ceil(np.log(1.5) * 99 / (high - low)) * (high - low) / 99
    assert_allclose(np.min(np.log(slow / fast)), least, rtol=1e-9)  # rounding
    steps = round(least * 99 / (high - low))
    assert slow.size == (100 - steps) * (101 - steps) / 2


def test_no_pair_fits_better_than_the_search():
    # Oracle: scipy.optimize.minimize over both time constants, generalised least squares.
    time_s, light = record(6, 60, 2.0)
    curve = curve_from(time_s, light, correlation=0.6)
    fits = PairFits(curve)
    phi = neighbour_correlation(time_s, float(curve.noise.correlation_times[0]))

    def squares(theta):
        design = np.concatenate([np.ones((60, 1)), np.exp(-time_s[:, None] / np.exp(theta))], axis=1)
        white, target = whiten(design, phi), whiten(light, phi)
        left = target - white @ np.linalg.lstsq(white, target)[0]
        return float(left @ left)

    best = optimize.minimize(squares, curve.found.theta, method="Nelder-Mead", options={"xatol": 1e-8}).fun
    assert best * (1 - 1e-9) <= fits.sums_of_squares.min()
    # half a step of the lattice in both directions is 2 * 0.275**2 noise variances at most
    assert fits.sums_of_squares.min() - best <= 0.16 * fits.noise_variance[0]


def single(above, below, covariance):
    one = np.array([[above]]), np.array([[below]]), np.array(covariance)[:, None, None]
    return PairRatios(np.zeros((1, 1)), np.ones(1), *one)


def test_ends_of_one_pair_solve_the_quadratic_equation():
    # Oracle: closed form; at both ends |A - R B| is the quantile times its standard uncertainty.
    one = single(9.0, 10.0, [0.5, 0.2, 0.3])
    ends = one.ends(np.array([2.0]))[:, 0]
    for end, sign in zip(ends, (-1.0, 1.0), strict=True):
        spread = np.sqrt(0.5 - 2 * end * 0.2 + end**2 * 0.3)
        assert_allclose(abs(9.0 - 10.0 * end), 2.0 * spread, rtol=1e-12)
        assert_allclose(one.distance(end), [sign * 2.0], rtol=1e-12)
    assert ends[0] < 0.9 < ends[1]


def test_no_ends_where_the_earlier_light_is_not_clear_of_zero():
    # Oracle: Fieller's condition; B^2 must exceed q^2 times its variance.
    two = np.array([2.0])
    assert single(9.0, 1.0, [0.5, 0.0, 0.3]).ends(two).tolist() == [[-np.inf], [np.inf]]
    assert np.all(np.isfinite(single(9.0, 1.1, [0.5, 0.0, 0.3]).ends(two)))


def test_unknown_correlation_averages_the_tail_probabilities():
    # Oracle: definition; at an end the weighted mean of the tail probabilities is half of what is left out.
    rng = np.random.default_rng(8)
    time_s = np.linspace(0.0, 2400.0, 30)
    light = light_of(time_s) + 2.0 * rng.standard_normal(30)
    curve = curve_from(time_s, light, correlation=None)
    fits = PairFits(curve)
    assert len(fits.sums_of_squares) == curve.noise.weights.size > 3
    ratios = fits.ratio(np.array([LATE]), np.array([EARLY]))
    for end, side in zip(interval(curve), (-1.0, 1.0), strict=True):
        tails = stats.t.sf(side * ratios.distance(end), curve.noise.dofs)
        assert_allclose(
            curve.noise.weights @ tails, 0.025, rtol=1e-8
        )  # the root is found to 1e-13 in the ratio


def test_one_instant_over_itself_is_one():
    # Oracle: definition.
    time_s, light = record(9, 40, 2.0)
    assert interval(curve_from(time_s, light), later=60.0) == (1.0, 1.0)


def test_short_record_is_not_straight():
    # Oracle: comparison of both methods; one exponential and 20 readings leave the second without a size, and the
    # linear interval is too wide in the mean (tests/benchmarks/warm_up_coverage.py).
    time_s = np.linspace(0.0, 2400.0, 20)
    shares = []
    for seed in range(30):
        light = (
            850.0 + 120.0 * np.exp(-time_s / 480.0) + 2.0 * np.random.default_rng(seed).standard_normal(20)
        )
        curve = curve_from(time_s, light)
        (later, earlier), (up, down) = (of(np.array([LATE, EARLY])) for of in (curve.light, curve.rows))
        half = stats.t.ppf(0.975, 15) * np.sqrt(curve.noise.variance(up / later - down / earlier))
        low, high = interval(curve)
        shares.append(np.log(high / low) / (2.0 * half))
    # measured 0.90, standard error 0.04 over other seeds; slopes in place of pairs would give 1
    assert 0.8 < np.mean(shares) < 0.95
