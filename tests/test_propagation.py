"""The law of propagation. Oracles: closed forms, `uncertainties` (exact derivatives), JCGM 100 and 102."""

import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import sparse, stats
from uncertainties import umath

from photolab.errors import MethodError
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.propagation import combine, propagate, propagate_joint

INF = float("inf")


def quantities(**pairs):
    return {name: InputQuantity(name, x, u) for name, (x, u) in pairs.items()}


def test_linear_model_is_exact():
    """Closed form: u² = 9·1 + 16·4."""
    result = propagate(lambda a, b: 3 * a - 4 * b + 7, quantities(a=(1, 1), b=(2, 2)), unit="cd")
    assert_allclose(result.value, 2, rtol=1e-14)  # float rounding
    assert_allclose(result.standard_uncertainty, np.sqrt(9 + 64), rtol=1e-11)  # rounding over a step of 0.1 u
    assert_allclose(result.coverage_factor, 1.959963984540054, rtol=1e-14)  # normal quantile
    assert_allclose(
        result.interval[1] - result.value, result.expanded_uncertainty, rtol=1e-12
    )  # float rounding
    assert (result.unit, result.dof, result.coverage, result.method) == (
        "cd",
        INF,
        0.95,
        "law_of_propagation",
    )
    assert result.second_order < 1e-12


MODELS = {
    "product": (lambda _, a, b, c: a * b / c, {"a": (1000, 30), "b": (1.1, 0.02), "c": (3, 0.01)}),
    "inverse square": (
        lambda m, a, b, c: a * b**2 / m.cos(c),
        {"a": (318, 9), "b": (3, 0.02), "c": (0.2, 0.05)},
    ),
    "logarithm": (
        lambda m, a, b, c: m.log(a) - c * m.log(b),
        {"a": (318, 16), "b": (334, 16), "c": (1, 0.02)},
    ),
    "tiny and huge": (lambda _, a, b, c: a * b + c, {"a": (1e-9, 1e-11), "b": (1e12, 1e9), "c": (5e2, 3)}),
    "exponential": (lambda m, a, b, c: a * m.exp(-b / c), {"a": (1, 0.01), "b": (60, 2), "c": (300, 30)}),
}


@pytest.mark.parametrize("name", MODELS)
def test_sensitivities_against_exact_derivatives(name):
    """Oracle: `uncertainties`, which differentiates by the chain rule."""
    model, pairs = MODELS[name]
    ours = propagate(lambda a, b, c: model(np, a, b, c), quantities(**pairs))
    values = {key: uncertainties.ufloat(*pair) for key, pair in pairs.items()}
    exact = model(umath, **values)
    assert_allclose(ours.value, exact.n, rtol=1e-13)  # float rounding
    # the Richardson step leaves (0.1 u)^4 / 480 times the fifth derivative, under 1e-6 of these slopes
    assert_allclose(ours.standard_uncertainty, exact.s, rtol=1e-6)
    expected = [exact.derivatives[values[key]] for key in pairs]
    assert_allclose(ours.sensitivities, expected, rtol=1e-6)  # as above


@settings(deadline=None)
@given(
    st.floats(1, 1e6), st.floats(1, 1e6), st.floats(1e-4, 0.1), st.floats(1e-4, 0.1), st.floats(-0.99, 0.99)
)
def test_relative_uncertainties_of_a_ratio(a, b, ra, rb, r):
    """Closed form for ln(a/b): u² = ra² + rb² - 2 r ra rb, to second order in the relative uncertainties."""
    inputs = {"a": InputQuantity("a", a, a * ra), "b": InputQuantity("b", b, b * rb)}
    result = propagate(lambda a, b: np.log(a / b), inputs, correlation={("a", "b"): r})
    variance = ra**2 + rb**2 - 2 * r * ra * rb
    if result.method == "law_of_propagation":
        # error of the differences: 2e-9 of a slope at 10 %, raised where both terms nearly cancel
        assert_allclose(result.standard_uncertainty**2, variance, rtol=1e-6, atol=1e-7 * (ra**2 + rb**2))
    else:  # the linear parts cancel almost entirely: what is left is of second order
        assert variance < (2 * max(ra, rb) ** 2) ** 2 * 4


def test_correlation_enters_with_its_sign():
    """Closed form: u² of a + b with r = -1 and equal u is zero, with r = 1 is four."""
    inputs = quantities(a=(0, 1), b=(0, 1))
    plus = propagate(lambda a, b: a + b, inputs, correlation={("b", "a"): 1})
    assert_allclose(plus.standard_uncertainty, 2, rtol=1e-11)  # rounding of the differences
    minus = propagate(lambda a, b: a + b, inputs, correlation={("a", "b"): -1})
    assert minus.standard_uncertainty < 1e-10
    assert minus.method == "law_of_propagation"  # truly certain: nothing is left out
    far = propagate(
        lambda a, b: a + b, quantities(a=(1e6 / 3, 1), b=(1e6 / 7, 1)), correlation={("a", "b"): -1}
    )
    assert far.method == "law_of_propagation"  # rounding of 1e-10 is not a term beyond first order


def test_exact_inputs_give_an_exact_result():
    """An input without uncertainty has a sensitivity and brings nothing."""
    result = propagate(lambda a, b: a * b, quantities(a=(2, 0), b=(3, 0)))
    assert (result.standard_uncertainty, result.dof, result.method) == (0.0, INF, "law_of_propagation")
    assert_allclose(result.sensitivities, [3, 2], rtol=1e-8)  # step of 1e-6
    assert_array_equal(result.budget["variance_fraction"], [0, 0])


@pytest.mark.parametrize(
    ("model", "inputs"),
    [
        (lambda t: np.cos(t), {"t": (0, 0.05)}),  # tilt about normal incidence
        (lambda t: 40 * np.exp(-0.5 * (t / 0.8) ** 2), {"t": (0, 0.3)}),  # aim at the peak of a beam
        (lambda t: t**2, {"t": (0, 1)}),
        (lambda t: np.abs(t), {"t": (0, 1)}),
    ],
)
def test_zero_sensitivity_switches_and_says_so(model, inputs):
    """Oracle: moments of the model by 200-point Gauss-Hermite quadrature."""
    result = propagate(model, quantities(**inputs))
    assert result.method == "propagation_of_distributions"
    assert np.isnan(result.dof)
    (x, u) = inputs["t"]
    node, weight = np.polynomial.hermite_e.hermegauss(200)
    weight = weight / weight.sum()
    mean = weight @ model(x + u * node)
    sd = np.sqrt(weight @ (model(x + u * node) - mean) ** 2)
    # four standard errors of a million trials (kurtosis at most 15); |t| has a kink: quadrature good to 0.4 %
    assert_allclose(result.value, mean, atol=4 * sd / 1000 + 0.004 * sd)
    assert_allclose(result.standard_uncertainty, sd, rtol=4 * np.sqrt(14 / 4e6) + 0.004)
    assert_allclose(
        result.coverage_factor * result.standard_uncertainty, result.expanded_uncertainty, rtol=1e-12
    )
    assert_allclose(np.diff(result.interval)[0] / 2, result.expanded_uncertainty, rtol=1e-12)  # rounding


def test_switched_result_of_a_type_a_input_with_two_dof():
    """Student's t of 2 dof has no variance: interval only; a² of it is F(1, 2): 95 % shortest is 0 to
    t0.975².
    """
    result = propagate(lambda a: a**2, {"a": InputQuantity("a", 0, 1, distribution="t", dof=2)})
    assert result.method == "propagation_of_distributions"
    assert np.isnan(result.standard_uncertainty)
    assert np.isnan(result.coverage_factor)
    law = stats.f(1, 2)
    error = np.sqrt(0.95 * 0.05 / 1e6) / law.pdf(law.ppf(0.95))
    assert_allclose(result.interval[1], stats.t.ppf(0.975, 2) ** 2, atol=4 * error)  # four standard errors
    assert_allclose(result.interval[0], 0, atol=1e-6)  # the density is highest at zero
    assert_array_equal(result.budget["variance_fraction"], [0])


def test_what_the_linear_model_leaves_out():
    """Closed form: x² at N(0, 1) has SD sqrt 2; 2000 draws of kurtosis 15, four errors of 4.2 %."""
    result = propagate(lambda x: x**2 + 10 * x, quantities(x=(0, 1)))
    assert_allclose(result.second_order, np.sqrt(2), rtol=0.168)
    assert_allclose(result.standard_uncertainty, 10, rtol=1e-9)  # rounding of the differences


@pytest.mark.parametrize(("slope", "switches"), [(3.46 * 1.15, False), (3.46 * 0.85, True)])
def test_where_the_linear_result_ends(slope, switches):
    """x² + slope·x, u = 1: left out is x², rms sqrt 3; half of the linear part at slope 3.46, in 2000 draws
    ±3 %.
    """
    result = propagate(lambda x: x**2 + slope * x, quantities(x=(0, 1)))
    assert (result.method == "propagation_of_distributions") is switches


def test_type_a_degrees_of_freedom():
    """JCGM 100:2008, G.4.1 by hand: equal parts of 4 and 9 dof give 4/(1/4 + 1/9)."""
    inputs = {"a": InputQuantity("a", 0, 1, dof=4), "b": InputQuantity("b", 0, 1, dof=9)}
    result = propagate(lambda a, b: a + b, inputs)
    assert_allclose(result.dof, 4 / (1 / 4 + 1 / 9), rtol=1e-10)  # rounding of the differences
    truncated = propagate(lambda a, b: a + b, inputs, truncate_dof=True)
    assert truncated.dof == 11
    low = propagate(lambda a: a, {"a": InputQuantity("a", 0, 1, dof=0.4)}, truncate_dof=True)
    assert low.dof == 1


def test_joint_results_share_their_inputs():
    """Closed form: cov(a + s, b + s) = u(s)²."""
    inputs = quantities(a=(1, 0.1), b=(2, 0.2), s=(0, 0.3))
    joint = propagate_joint(
        lambda a, b, s: {"x": a + s, ("y", 1): b + s}, inputs, units={"x": "lx", ("y", 1): "cd"}
    )
    assert joint.names == ("x", ("y", 1))
    assert_allclose(joint.covariance, [[0.1, 0.09], [0.09, 0.13]], rtol=1e-11)  # rounding of the differences
    assert joint.result(("y", 1)).unit == "cd"
    assert joint.beyond_first_order == ()
    assert_allclose(joint.second_order, 0, atol=1e-14)  # linear model


def test_joint_result_without_sensitivity_is_never_certain():
    """JCGM 101:2008, 9.4, x1 = x2 = 0: a² + b² has mean 2 u² and SD 2 u²; a·b has SD u²; a stays linear."""
    inputs = quantities(a=(0, 0.005), b=(0, 0.005))
    joint = propagate_joint(lambda a, b: {"sum": a**2 + b**2, "product": a * b, "a": a}, inputs)
    assert joint.beyond_first_order == ("sum", "product")
    # standard deviation and mean from 2000 draws: four standard errors (kurtosis 9)
    assert_allclose(joint.standard_uncertainties[:2], [5e-5, 2.5e-5], rtol=4 * np.sqrt(8 / 8000))
    assert_allclose(joint.values[:2], [5e-5, 0], atol=4 * 5e-5 / np.sqrt(2000))
    assert_allclose(joint.standard_uncertainties[2], 0.005, rtol=1e-11)  # rounding of the differences
    assert abs(joint.correlation[0, 1]) < 4 / np.sqrt(2000) * 2  # uncorrelated; heavy tails double the error
    budget = joint.result("sum").budget
    assert set(budget["name"][budget["variance_fraction"] > 0]) == {"terms beyond first order"}
    assert joint.result("sum").standard_uncertainty > 0


def test_large_models_are_linearised_in_blocks():
    """Three thousand inputs: the mean of them, closed form u / sqrt n."""
    n = 3000
    inputs = {f"x{k}": InputQuantity(f"x{k}", k, 2.0) for k in range(n)}
    result = propagate(lambda **q: sum(q.values()) / n, inputs)
    # rounding of a sum of 4.5e6 over steps of 0.2: 1e-9, twice
    assert_allclose(result.standard_uncertainty, 2 / np.sqrt(n), rtol=1e-8)
    assert_allclose(result.value, (n - 1) / 2, rtol=1e-12)  # float rounding


def test_a_domain_far_away_does_not_matter_and_a_near_one_does():
    """ln x at 3 u from zero (0.13 % of draws below) stays linear; at 1 u (16 %) there is no honest result."""
    result = propagate(lambda x: np.log(x), quantities(x=(3.2, 1)))
    assert result.method == "law_of_propagation"
    with pytest.raises(MethodError, match=r"model must be finite at every trial; got \d+ of 1000000 trials"):
        propagate(lambda x: np.sqrt(x), quantities(x=(1, 1)))


@pytest.mark.parametrize(
    ("model", "match"),
    [
        (lambda x: np.log(x - 1), "model result 'result' must be finite at the estimates; got -inf"),
        (lambda x: np.where(x > 1, np.nan, x), "must be finite beside the estimates of x; got nan"),
    ],
)
def test_a_model_without_a_value(model, match):
    """A model that has no finite value is refused and what is known is carried."""
    with pytest.raises(MethodError, match=match) as refused:
        propagate(model, quantities(x=(1, 0.1)))
    assert refused.value.code == "model_not_finite"
    assert "value" in refused.value.known


def test_joint_model_without_a_value_within_its_uncertainty():
    """The result is named, with the share of draws."""
    with pytest.raises(
        MethodError, match=r"model result 'root' must be finite within the uncertainty .* of draws"
    ):
        propagate_joint(lambda x: {"root": np.sqrt(x)}, quantities(x=(1, 1)))


def test_models_of_the_wrong_form():
    """What a model must return."""
    with pytest.raises(
        ValueError, match=r"model must return one value for each of 1 trials; got shape \(2,\)"
    ):
        propagate(lambda x: np.ones(2) + 0 * x[0], quantities(x=(1, 1)))
    with pytest.raises(ValueError, match="model must return a dict of results by name; got ndarray"):
        propagate_joint(lambda x: x, quantities(x=(1, 1)))
    constant = propagate(lambda **_: 5.0, quantities(x=(1, 1)))
    assert (constant.value, constant.standard_uncertainty) == (5.0, 0.0)


@pytest.mark.parametrize(
    ("correlation", "match"),
    [
        ({("a", "z"): 0.1}, r"correlation\['a', 'z'\] must name two inputs; got 'z', which is not one"),
        ({("a", "a"): 1.0}, r"correlation\['a', 'a'\] must name two inputs; got one input twice"),
        ({("a", "b"): 1.1}, r"correlation\['a', 'b'\] must be between -1 and 1; got 1.1"),
        ({("a", "b"): np.nan}, r"must be between -1 and 1; got nan"),
        ({("a", "b"): 0.1, ("b", "a"): 0.2}, r"correlation\['b', 'a'\] must be one number; got 0.1 and 0.2"),
        (
            {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.9},
            r"correlation\['[ab]', '[bc]'\] must fit the other coefficients .*; got -?0.9, .* of -0.8",
        ),
    ],
)
def test_correlations_that_are_refused(correlation, match):
    """No set of quantities has such correlations (the last matrix has an eigenvalue of -0.8)."""
    with pytest.raises(ValueError, match=match):
        propagate(
            lambda a, b, c: a + b + c, quantities(a=(0, 1), b=(0, 1), c=(0, 1)), correlation=correlation
        )


def test_correlation_given_twice_alike_or_zero():
    """Both orders of a pair may be given if they agree; zero is no correlation."""
    inputs = quantities(a=(0, 1), b=(0, 1))
    both = propagate(lambda a, b: a + b, inputs, correlation={("a", "b"): 0.5, ("b", "a"): 0.5})
    assert_allclose(
        both.standard_uncertainty, np.sqrt(3), rtol=1e-11
    )  # closed form; rounding of the differences
    none = propagate(lambda a, b: a + b, inputs, correlation={("a", "b"): 0})
    assert_allclose(none.standard_uncertainty, np.sqrt(2), rtol=1e-11)  # as above


# --- combine


def test_combine_dense_and_sparse_agree():
    """Closed form S diag(u²) S', dense, sparse, sparse with shared columns, and a large dense array that is
    mostly zero.
    """
    rng = np.random.default_rng(5)
    m, n = 60, 20_000
    s = np.zeros((m, n))
    s[np.arange(n) % m, np.arange(n)] = rng.normal(size=n)
    s[:, :5] = rng.normal(size=(m, 5))
    inputs = [InputQuantity("x", 0, u, shared_with=k) for k, u in enumerate(rng.uniform(0.1, 1, n))]
    u = np.array([q.standard_uncertainty for q in inputs])
    expected = (s * u**2) @ s.T
    y = rng.normal(size=m)
    for matrix in (s, sparse.csc_matrix(s), sparse.csr_array(s)):
        joint = combine(y, matrix, inputs)
        assert sparse.issparse(joint.sensitivities)
        assert_allclose(
            joint.covariance, expected, rtol=1e-10, atol=1e-12
        )  # rounding of sums of 20 000 terms
        assert_allclose(
            joint.contrast({0: 1, 1: -1}).standard_uncertainty,
            np.sqrt(((s[0] - s[1]) * u) @ ((s[0] - s[1]) * u)),
            rtol=1e-11,
        )


def test_combine_adds_entries_that_stand_twice():
    """A sparse row may hold one column twice: closed form (1 + 2)² · 0.5²; the caller's matrix is left
    alone.
    """
    twice = sparse.csr_array((np.array([1.0, 2.0]), np.array([0, 0]), np.array([0, 2])), shape=(1, 1))
    joint = combine([0.0], twice, [InputQuantity("a", 0, 0.5)])
    assert_allclose(joint.covariance, [[2.25]], rtol=1e-14)  # float rounding
    assert_allclose(joint.result(0).standard_uncertainty, 1.5, rtol=1e-14)  # as above
    assert twice.nnz == 2


@pytest.mark.parametrize("form", [np.asarray, sparse.csr_array], ids=["dense", "sparse"])
def test_combine_with_correlation(form):
    """Closed form S diag(u) R diag(u) S'; names, identities or keys of a mapping name the pair."""
    s, u = np.array([[1.0, 2, 0], [0, 1, -1]]), np.array([1.0, 2, 3])
    r = np.array([[1, 0.3, 0], [0.3, 1, -0.5], [0, -0.5, 1]])
    expected = (s * u) @ r @ (s * u).T
    plain = [InputQuantity(n, 0, x) for n, x in zip("abc", u, strict=True)]
    same = [InputQuantity("x", 0, x, shared_with=n) for n, x in zip("abc", u, strict=True)]
    for inputs, keys in (
        (plain, "abc"),
        (same, [q.key for q in same]),
        (dict(zip((1, 2, 3), plain, strict=True)), (1, 2, 3)),
    ):
        pairs = {(keys[0], keys[1]): 0.3, (keys[1], keys[2]): -0.5}
        joint = combine([0.0, 0.0], form(s), inputs, correlation=pairs)
        assert_allclose(joint.covariance, expected, rtol=1e-13)  # float rounding
        assert_allclose(joint.result(1).standard_uncertainty, np.sqrt(expected[1, 1]), rtol=1e-13)  # as above
    kept = combine([0.0, 0.0], form(s), plain, correlation={("b", "c"): -0.5}).subset("reading")
    assert_allclose(kept.covariance[1, 1], 4 + 9 + 2 * 0.5 * 6, rtol=1e-13)  # by hand


def test_combine_refuses():
    """Shapes, numbers, names, and two inputs of one identity."""
    a, b = InputQuantity("a", 0, 1), InputQuantity("b", 0, 1)
    with pytest.raises(ValueError, match=r"one row a value and one column an input, \(1, 2\); got \(2, 1\)"):
        combine([0.0], [[1.0], [1.0]], [a, b])
    with pytest.raises(ValueError, match=r"values\[1\] must be finite; got nan \(1 of 2 values are not\)"):
        combine([0.0, np.nan], np.eye(2), [a, b])
    with pytest.raises(ValueError, match="sensitivities must be finite; got inf"):
        combine([0.0], [[1.0, np.inf]], [a, b])
    with pytest.raises(ValueError, match="sensitivities must be finite; got nan"):
        combine([0.0], sparse.csr_array([[1.0, np.nan]]), [a, b])
    with pytest.raises(ValueError, match="names must be 2 different names; got 2, 1 of them different"):
        combine([0.0, 1.0], np.eye(2), [a, b], names=["x", "x"])
    with pytest.raises(ValueError, match=r"inputs\[1\] must differ .* got \('a', 'reading', ''\) twice"):
        combine([0.0], [[1.0, 1.0]], [a, a])
    with pytest.raises(ValueError, match="units must be one for each of 1 results; got 2"):
        combine([0.0], [[1.0, 1.0]], [a, b], units=["lx", "m"])
    with pytest.raises(ValueError, match="coverage must be more than 0 and less than 1; got 95"):
        combine([0.0], [[1.0, 1.0]], [a, b], coverage=95)
    pool = [InputQuantity(n, 0, 1, dof=k, variance_from="pool") for n, k in (("a", 4), ("b", 5))]
    joint = combine([0.0], [[1.0, 1.0]], pool)
    with pytest.raises(ValueError, match=r"dof\['b'\] must equal that of 'a', .*\('pool', 4\); got 5"):
        joint.result(0)
