"""Propagation of distributions. Oracles: closed forms, scipy's distributions, JCGM 101.

Tolerances are four standard errors of the Monte Carlo method unless they say otherwise; seeds are fixed.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology import distribution_results
from photolab.metrology.distribution_results import (
    propagate_distributions,
    validate_propagation,
)
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.propagation import combine

INF = float("inf")
TRIALS = 200_000


def normal(*names, u=1.0):
    return {name: InputQuantity(name, 0, u) for name in names}


def add(**q):
    return sum(q.values())


def linear_sum(inputs, coverage=0.95):
    """The sum of inputs by the law of propagation."""
    values = [sum(q.value for q in inputs.values())]
    return combine(values, np.ones((1, len(inputs))), list(inputs.values()), coverage=coverage).result(0)


def end_error(law, probability, trials=TRIALS):
    """Standard error of a sample quantile of a scipy distribution."""
    return np.sqrt(probability * (1 - probability) / trials) / law.pdf(law.ppf(probability))


def test_normal_sum():
    """Closed form N(3, 2² + 1²)."""
    inputs = {"a": InputQuantity("a", 3, 2), "b": InputQuantity("b", 0, 1)}
    result = propagate_distributions(add, inputs, trials=TRIALS, seed=7)
    law = stats.norm(3, np.sqrt(5))
    assert_allclose(result.value, 3, atol=4 * law.std() / np.sqrt(TRIALS))
    assert_allclose(result.standard_uncertainty, law.std(), rtol=4 / np.sqrt(2 * TRIALS))
    assert_allclose(result.interval, law.ppf([0.025, 0.975]), atol=4 * end_error(law, 0.025))
    assert (result.trials, result.seed, result.coverage, result.kind) == (TRIALS, 7, 0.95, "symmetric")


def test_value_uncertainty_and_interval_are_those_of_the_trials():
    """Oracle: numpy's mean, SD, and the order statistics of JCGM 101:2008, 7.7.2, counted by hand."""
    result = propagate_distributions(lambda a: np.exp(a), normal("a"), trials=1001, coverage=0.9, seed=1)
    y = np.sort(result.outcomes)
    assert_allclose(result.value, y.mean(), rtol=1e-13)  # float rounding
    assert_allclose(result.standard_uncertainty, y.std(ddof=1), rtol=1e-13)  # as above
    # q = int(0.9 · 1001 + 1/2) = 901, r = (1001 - 901)/2 = 50: y_(50) and y_(951), counted from 1
    assert result.interval == (y[49], y[950])
    shortest = propagate_distributions(
        lambda a: np.exp(a), normal("a"), trials=1001, coverage=0.9, interval="shortest", seed=1
    )
    width = y[901:] - y[:100]
    assert shortest.interval == (y[width.argmin()], y[width.argmin() + 901])
    assert np.diff(shortest.interval) < np.diff(result.interval)
    low = propagate_distributions(
        lambda a: np.exp(a), normal("a"), trials=1001, coverage=0.3, interval="shortest", seed=1
    )
    width = y[300:] - y[:701]  # q = int(300.3 + 1/2)
    assert low.interval == (y[width.argmin()], y[width.argmin() + 300])


def test_results_do_not_depend_on_chunks(monkeypatch):
    """The same trials in chunks of any size, to the last bit."""
    inputs = {
        "a": InputQuantity("a", 1, 0.1, distribution="t", dof=5, variance_from="pool"),
        "b": InputQuantity.from_limits("b", 2, 0.1, distribution="triangular"),
        "c": InputQuantity("c", 3, 0.1),
        "d": InputQuantity("d", 3, 0.1),
    }
    options = {"trials": 25_000, "seed": 4}
    whole = propagate_distributions(lambda a, b, c, d: a * b / c * d, inputs, **options)
    for chunk in (777, 10_001, 100_000):
        monkeypatch.setattr(distribution_results, "_CHUNK", chunk)
        other = propagate_distributions(lambda a, b, c, d: a * b / c * d, inputs, **options)
        # a matrix product over another count of columns may differ in its last bits
        assert_allclose(np.sort(other.outcomes), np.sort(whole.outcomes), rtol=1e-13)
        assert_allclose(other.interval, whole.interval, rtol=1e-13)


def test_adding_or_moving_an_input_leaves_the_others():
    """Each stream is keyed by its name: the draws of a stay, to the last bit."""
    alone = propagate_distributions(lambda a: a, normal("a"), trials=1000, seed=2)
    beside = propagate_distributions(lambda a, **_: a, normal("z", "b", "a"), trials=1000, seed=2)
    assert_array_equal(np.sort(alone.outcomes), np.sort(beside.outcomes))
    other = propagate_distributions(lambda b: b, normal("b"), trials=1000, seed=2)
    assert abs(np.corrcoef(drawn("a"), drawn("b"))[0, 1]) < 4 / np.sqrt(1000)
    assert not np.array_equal(np.sort(other.outcomes), np.sort(alone.outcomes))


def drawn(name):
    """Outcomes in the order they were drawn (a result puts them in another)."""
    kept = []

    def model(**q):
        kept.append(q[name].copy())
        return q[name]

    propagate_distributions(model, normal("a", "b"), trials=1000, seed=2)
    return np.concatenate(kept)


def test_seeds():
    """One seed gives one result; another gives another."""
    first, again, other = (propagate_distributions(add, normal("a"), trials=1000, seed=s) for s in (5, 5, 6))
    assert first.interval == again.interval
    assert first.interval != other.interval


def test_more_trials_continue_the_same_streams():
    """The first thousand of two thousand trials are those of a thousand."""
    few, many = [], []
    for store, trials in ((few, 1000), (many, 20_000)):

        def model(a, store=store):
            store.append(a.copy())
            return a

        propagate_distributions(model, normal("a"), trials=trials)
    assert_array_equal(np.concatenate(many)[:1000], few[0])


def test_one_pooled_variance_is_drawn_once():
    """Closed form: the mean of twelve on one SD of 4 dof is t of 4 dof; on twelve SDs it is narrower at the
    ends.
    """
    pooled = {
        f"m{k}": InputQuantity(
            "m", 0, np.sqrt(12), distribution="t", dof=4, variance_from="pool", shared_with=k
        )
        for k in range(12)
    }
    law = stats.t(4)
    options = {"trials": TRIALS, "coverage": 0.99}
    result = propagate_distributions(lambda **q: sum(q.values()) / 12, pooled, **options)
    assert_allclose(result.interval, law.ppf([0.005, 0.995]), atol=4 * end_error(law, 0.005))
    twelve = combine([0.0], np.full((1, 12), 1 / 12), list(pooled.values()), coverage=0.99).result(0)
    assert_allclose(twelve.interval, law.ppf([0.005, 0.995]), rtol=1e-9)  # float rounding
    apart = {key: replace(q, variance_from=None) for key, q in pooled.items()}
    other = propagate_distributions(lambda **q: sum(q.values()) / 12, apart, **options)
    assert other.interval[1] < 0.85 * law.ppf(0.995)  # near normal of SD sqrt 2: 3.64 against 4.60


@pytest.mark.parametrize("dof", [1, 2])
def test_two_degrees_of_freedom_give_an_interval_only(dof):
    """Student's t of 2 dof or fewer has no variance (JCGM 101:2008, 6.4.9.4): NaN, the interval is that of
    t.
    """
    inputs = {"a": InputQuantity("a", 5, 1, distribution="t", dof=dof)}
    result = propagate_distributions(lambda a: a, inputs, trials=TRIALS)
    law = stats.t(dof, 5)
    assert np.isnan(result.standard_uncertainty)
    assert_allclose(result.value, 5, atol=4 * end_error(law, 0.5))
    assert_allclose(result.interval, law.ppf([0.025, 0.975]), atol=4 * end_error(law, 0.025))
    three = {"a": InputQuantity("a", 5, 1, distribution="t", dof=3)}
    assert np.isfinite(propagate_distributions(lambda a: a, three, trials=1000).standard_uncertainty)


def test_shortest_interval_of_an_exponential():
    """Closed form: 0 to -ln 0.05; symmetric -ln 0.975 to -ln 0.025."""
    inputs = {"a": InputQuantity.from_limits("a", 0.5, 0.5)}

    def model(a):
        return -np.log(a)

    law = stats.expon()
    symmetric = propagate_distributions(model, inputs, trials=TRIALS)
    assert_allclose(symmetric.interval[0], -np.log(0.975), atol=4 * end_error(law, 0.025))
    assert_allclose(symmetric.interval[1], -np.log(0.025), atol=4 * end_error(law, 0.975))
    shortest = propagate_distributions(model, inputs, trials=TRIALS, interval="shortest")
    assert_allclose(shortest.interval[0], 0, atol=1e-3)  # the width is flat to first order there
    assert_allclose(shortest.interval[1], -np.log(0.05), atol=4 * end_error(law, 0.95))


# --- validation


def test_validation_by_hand():
    """JCGM 101:2008, 8.1: distances, tolerance of half the last digit of u = 1.0 and 1."""
    inputs = {"a": InputQuantity.from_limits("a", 0, np.sqrt(3))}
    linear = linear_sum(inputs)
    drawn = propagate_distributions(add, inputs, trials=TRIALS)
    two = validate_propagation(linear, drawn)
    assert_allclose(two.tolerance, 0.05, rtol=1e-12)  # exact
    assert_allclose(validate_propagation(linear, drawn, digits=1).tolerance, 0.5, rtol=1e-12)  # exact
    # a rectangle of SD 1 holds 95 % within 0.95 sqrt 3 = 1.645; the linear interval is 1.960 wide
    law = stats.uniform(-np.sqrt(3), 2 * np.sqrt(3))
    assert_allclose((two.d_low, two.d_high), 1.959964 - 0.95 * np.sqrt(3), atol=4 * end_error(law, 0.025))
    assert not two.validated
    assert two.content == 1.0  # 1.96 is beyond sqrt 3
    assert validate_propagation(linear, drawn, digits=1).validated


@pytest.mark.parametrize(("low", "high", "validated"), [(0, 0, True), (0.1, 0, False), (0, 0.1, False)])
def test_both_ends_must_be_within_the_tolerance(low, high, validated):
    """By hand: tolerance 0.05; one end off by 0.1 is enough to fail."""
    linear = linear_sum(normal("a"))
    drawn = propagate_distributions(add, normal("a"), trials=1000)
    ends = (linear.interval[0] - low, linear.interval[1] + high)
    check = validate_propagation(linear, replace(drawn, interval=ends))
    assert check.validated is validated
    assert_allclose((check.d_low, check.d_high), (low, high), atol=1e-12)  # float rounding


def test_content_of_a_dominating_rectangular_colour_term():
    """Closed form: rectangular of SD 3 and normal of SD 1; the ±1.96 u interval holds over 97 %."""
    inputs = {
        "colour": InputQuantity.from_limits("colour", 0, 3 * np.sqrt(3)),
        "rest": InputQuantity("rest", 0, 1),
    }
    linear = linear_sum(inputs)
    check = validate_propagation(linear, propagate_distributions(add, inputs, trials=TRIALS))
    half, a = 1.959963985 * np.sqrt(10), 3 * np.sqrt(3)
    x = np.linspace(-a, a, 20_001)
    exact = np.trapezoid(stats.norm.cdf(half - x) - stats.norm.cdf(-half - x), x) / (2 * a)
    assert exact > 0.97
    assert_allclose(check.content, exact, atol=4 * np.sqrt(0.03 * 0.97 / TRIALS))
    assert not check.validated


@settings(max_examples=30, deadline=None)
@given(st.floats(0.01, 1e4), st.floats(-1e3, 1e3))
def test_scaling_and_shifting_a_model_moves_its_interval(scale, shift):
    """The symmetry of a linear change of units: trials are the same, so is the result, changed alike."""
    plain = propagate_distributions(add, normal("a", "b"), trials=1000)
    moved = propagate_distributions(lambda **q: shift + scale * add(**q), normal("a", "b"), trials=1000)
    away = 1e-12 * (scale + abs(shift))  # float rounding
    assert_allclose(moved.interval, shift + scale * np.array(plain.interval), rtol=1e-12, atol=away)
    assert_allclose(moved.standard_uncertainty, scale * plain.standard_uncertainty, rtol=1e-9, atol=away)


def test_many_inputs_stay_within_memory():
    """Chunks shrink with the number of inputs (64 MB of draws): a thousand inputs, closed form sqrt 1000."""
    inputs = normal(*(f"x{k}" for k in range(1000)))
    sizes = []

    def model(**q):
        sizes.append(q["x0"].size)
        return sum(q.values())

    result = propagate_distributions(model, inputs, trials=16_000)
    assert max(sizes) * 1000 * 8 <= 64_000_000
    assert_allclose(result.standard_uncertainty, np.sqrt(1000), rtol=4 / np.sqrt(2 * 16_000))


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (
            lambda: propagate_distributions(add, normal("a"), trials=199),
            "trials must be 200 or more at a coverage of 0.95",
        ),
        (
            lambda: propagate_distributions(add, normal("a"), interval="short"),
            "must be 'symmetric' or 'shortest'",
        ),
        (
            lambda: propagate_distributions(add, normal("a"), coverage=95),
            "coverage must be more than 0 and less",
        ),
        (
            lambda: propagate_distributions(lambda a: a[:2], normal("a")),
            r"one value for each of 10000 trials; got shape \(2,\)",
        ),
    ],
)
def test_what_is_refused(call, match):
    """Which option, what it must be, what was got."""
    with pytest.raises(ValueError, match=match):
        call()


def test_trials_without_a_value_are_refused_with_their_share():
    """The logarithm of N(1, 1) has none in 15.9 % of trials (closed form)."""
    inputs = {"a": InputQuantity("a", 1, 1)}
    with pytest.raises(
        MethodError, match=r"model must be finite at every trial; got \d+ of 100000"
    ) as refused:
        propagate_distributions(lambda a: np.log(a), inputs, trials=100_000)
    assert refused.value.code == "model_not_finite"
    share = refused.value.known["share_not_finite"]
    assert_allclose(share, stats.norm.cdf(-1), atol=4 * np.sqrt(0.159 * 0.841 / 100_000))


def test_validation_refuses():
    """Different coverages, and a linear result without uncertainty."""
    linear = linear_sum(normal("a"), coverage=0.9)
    drawn = propagate_distributions(add, normal("a"), trials=1000)
    with pytest.raises(ValueError, match=r"coverage of both results must be equal; got 0\.9 and 0\.95"):
        validate_propagation(linear, drawn)
    certain = linear_sum({"a": InputQuantity("a", 0, 0)})
    with pytest.raises(ValueError, match=r"must be more than zero; got 0 1"):
        validate_propagation(certain, drawn)
