"""Numbers with uncertainty. Oracles: closed forms, `uncertainties`, numpy's own arithmetic, scipy's distributions.

The published worked examples stand in `test_published_uncertainty.py`. Tolerances of draws are four standard
errors unless they say otherwise; seeds are fixed.
"""

import math
import subprocess
import sys

import numpy as np
import pytest
import uncertainties
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import integrate, optimize, special, stats
from uncertainties import umath

from photolab.errors import MethodError
from photolab.metrology import monte_carlo
from photolab.metrology.computed import kept
from photolab.metrology.monte_carlo import draws, interval, validate
from photolab.metrology.quantity import (
    COVERAGE,
    KINDS,
    METER_KINDS,
    SCOPES,
    Input,
    Measured,
    apply,
    combine,
    coverage_factor,
    exp_symmetric,
    flat_factor,
    from_certificate,
    from_fit,
    from_ln,
    from_readings,
    limits,
    measured,
    normal_quantile,
)

TRIALS = 200_000


def reading(value, *, scatter=0.01):
    """A reading of the meter M1: its scale (3 %, relative) and a scatter of its own."""
    own = Input(("scatter", value), scatter * value, kind="reading scatter")
    return measured(value, (limits(("scale", "M1"), 0.03, kind="scale"), value), own, unit="lx")


# --- Input


def test_an_input_is_its_name():
    """Two typed apart are one: equal, one place in a dictionary; another name is another input."""
    one, same, other = (
        Input(("scale", "M1"), 0.02),
        Input(("scale", "M1"), 0.02),
        Input(("scale", "M2"), 0.02),
    )
    assert one == same
    assert hash(one) == hash(same)
    assert one != other
    assert one != ("scale", "M1")
    assert len({one: 1, same: 2, other: 3}) == 2


@pytest.mark.parametrize(
    ("other", "match"),
    [
        ({"u": 0.03}, r"input 'scale' must mean one thing; got it with u 0.02 and with u 0.03"),
        ({"dof": 4}, "with dof inf and with dof 4.0"),
        ({"law": "rectangular"}, "with law 'normal' and with law 'rectangular'"),
        ({"kind": "scale"}, "with kind '' and with kind 'scale'"),
        ({"variance": "pool"}, "with variance None and with variance 'pool'"),
    ],
)
def test_one_name_for_two_inputs_raises_wherever_they_meet(other, match):
    """The sketch took them for two inputs and lost the correlation in silence."""
    a = measured(318, (Input("scale", 0.02), 318))
    b = measured(334, (Input("scale", **({"u": 0.02} | other)), 334))
    for meet in (
        lambda: a + b,
        lambda: a / b,
        lambda: combine([1, -1], [a, b]),
        lambda: apply(lambda x, y: x / y, a, b),
        lambda: draws(lambda x, y: x / y, a, b),
        lambda: measured(1, *a.parts, *b.parts),
    ):
        with pytest.raises(ValueError, match=match):
            meet()


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: Input("q", -1), r"u of input 'q' must be finite and zero or more; got -1.0"),
        (lambda: Input("q", math.nan), "must be finite and zero or more; got nan"),
        (lambda: Input("q", math.inf), "must be finite and zero or more; got inf"),
        (lambda: Input("q", 1, dof=0), "dof of input 'q' must be more than zero; got 0.0"),
        (lambda: Input("q", 1, law="cosine"), "law of input 'q' must be one of normal, t, .*; got 'cosine'"),
        (lambda: Input("q", 1, kind="noise"), "kind of input 'q' must be one of ambient, .*; got 'noise'"),
        (
            lambda: Input("q", 1, law="trapezoidal", top=1.5),
            "top of input 'q' must be between 0 and 1; got 1.5",
        ),
        (lambda: limits("q", -1), "half_width of input 'q' must be finite and zero or more; got -1"),
        (lambda: limits("q", 1, law="normal"), "law of input 'q' must have limits: .*; got 'normal'"),
        (lambda: from_readings("q", [1.0]), "readings of input 'q' must be 2 or more; got 1"),
        (lambda: from_readings("q", [], pooled_sd=1, pooled_dof=2), "must be 1 or more; got 0"),
        (lambda: from_readings("q", [1, math.nan]), r"readings\[1\] of input 'q' must be finite; got nan"),
        (lambda: from_readings("q", [1, 2], pooled_sd=1), "must be given together; got one"),
        (lambda: from_certificate("q", 1, k=0), "k of input 'q' must be finite and more than zero; got 0"),
        (lambda: from_fit("ab", [1, 2], [[1, 2], [2, 1]]), r"covariance of \('a', 'b'\) must be symmetric"),
        (lambda: from_fit("ab", [1, 2], [[1, 0.5], [0.4, 1]]), "must be symmetric"),
        (
            lambda: from_fit("ab", [1], [[1]]),
            r"must have shapes \(2,\) and \(2, 2\); got \(1,\) and \(1, 1\)",
        ),
        (lambda: measured(math.nan), "value must be one finite number; got nan"),
        (lambda: measured([1.0, 2.0]), r"value must be one finite number; got \[1.0, 2.0\]"),
        (lambda: measured(1.0, (Input("q", 1), math.inf)), "sensitivity to 'q' must be finite; got inf"),
        (lambda: reading(3).only("noise"), "kind must be one of ambient, .*; got 'noise'"),
        (
            lambda: reading(3).in_scope("lamps"),
            "scope must be one of readings, specimens, models; got 'lamps'",
        ),
        (lambda: reading(3).interval(95), "coverage must be more than 0 and less than 1; got 95"),
    ],
)
def test_what_is_refused(make, match):
    """Which quantity, what it must be, what was got."""
    with pytest.raises(ValueError, match=match):
        make()


@pytest.mark.parametrize(
    ("law", "top", "variance"),
    [
        ("rectangular", 0.0, 1 / 3),
        ("triangular", 0.0, 1 / 6),
        ("arcsine", 0.0, 1 / 2),
        ("trapezoidal", 0.0, 1 / 6),  # triangular
        ("trapezoidal", 1.0, 1 / 3),  # rectangular
        ("trapezoidal", 0.5, 1.25 / 6),
    ],
)
def test_standard_deviation_of_limits(law, top, variance):
    """Closed forms: JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.2 to 6.4.6, limits 2.5 on each side."""
    assert_allclose(limits("q", 2.5, law=law, top=top).u, 2.5 * math.sqrt(variance), rtol=1e-14)  # rounding


def test_readings_and_certificates():
    """u = pooled SD / sqrt n with the pooled dof (JCGM 100:2008, 4.2.4); u = U/k."""
    pooled = from_readings("light", [318.0, 334.0], pooled_sd=3.0, pooled_dof=12, variance="pool")
    assert_allclose(pooled.u, 3.0 / math.sqrt(2), rtol=1e-15)  # float rounding
    assert (pooled.dof, pooled.law, pooled.source, pooled.variance) == (12, "t", "own readings", "pool")
    own = from_readings("light", [318.0, 334.0])
    assert_allclose((own.u, own.dof), (8.0, 1.0), rtol=1e-15)  # s = 16/sqrt 2, over sqrt 2
    stated = from_certificate("scale", 75.0, k=3, dof=18, kind="scale")
    assert (stated.u, stated.dof, stated.source, stated.kind) == (25.0, 18, "certificate", "scale")


def test_one_input_twice_counts_twice():
    """By hand: read twice through one scale, 318 and 334 of it; flat is the largest of two rectangles."""
    scale = limits("scale", 0.03)
    assert measured(0.0, (scale, 318.0), (scale, 334.0)).parts == {scale: 652.0}
    x = measured(0.0, limits("large", 2.0), limits("small", 1.0), Input("rest", 0.5))
    widened = measured(0.0, limits("large", 2.0), Input("rest", math.sqrt(0.25 + 1 / 3)))
    assert_allclose(x.half_width(0.95), widened.half_width(0.95), rtol=1e-13)  # float rounding


# --- sharing


def test_readings_of_one_meter_typed_apart_have_a_ratio_free_of_its_scale():
    """A scale is relative: it leaves the ratio exactly, and doubles in a sum (closed form)."""
    a, b = reading(318.0), reading(334.0)
    assert (b / a).only("scale").u == 0.0
    assert (np.log(b) - np.log(a)).only("scale").u == 0.0
    assert apply(lambda x, y: x / y, b, a).only("scale").u == 0.0
    assert_allclose((b / a).u, 334 / 318 * 0.01 * math.sqrt(2), rtol=1e-14)  # float rounding
    assert_allclose((a + b).only("scale").u, 0.03 / math.sqrt(3) * 652, rtol=1e-14)  # as above
    # 16 lx apart: the scale errs by 3 % of the difference alone
    assert_allclose((b - a).only("scale").u, 0.03 / math.sqrt(3) * 16, rtol=1e-13)  # as above


@settings(deadline=None)
@given(st.floats(1, 1e5), st.floats(1, 1e5), st.floats(1e-4, 0.2))
def test_swapping_a_ratio_gives_exactly_the_reciprocal(a, b, scatter):
    """The law's symmetry, to the last bit: value and both ends, at two coverages."""
    x, y = reading(a, scatter=scatter), reading(b, scatter=2 * scatter)
    assume(a != b)
    one, two = from_ln(np.log(x) - np.log(y)), from_ln(np.log(y) - np.log(x))
    high, low = (one, two) if a > b else (two, one)
    assert low.value == 1 / high.value
    for coverage in (0.9, 0.99):
        for this, that in zip(one.interval(coverage), reversed(two.interval(coverage)), strict=True):
            assert this == 1 / that or that == 1 / this
    assert_allclose(one.value, a / b, rtol=1e-12)  # rounding of two logarithms


def test_ends_of_a_ratio_are_those_of_its_logarithm():
    """Closed form: exp(d ± k u) with k of two normal parts; an infinite ratio stays one."""
    d = measured(0.2, Input("a", 0.05), Input("b", 0.02))
    ratio = from_ln(d)
    half = 1.959963984540054 * math.hypot(0.05, 0.02)
    assert_allclose(ratio.interval(0.95), np.exp([0.2 - half, 0.2 + half]), rtol=1e-13)  # float rounding
    assert_allclose(ratio.half_width(0.95), np.diff(ratio.interval(0.95))[0] / 2, rtol=1e-13)  # as above
    assert_allclose(ratio.u, math.exp(0.2) * d.u, rtol=1e-13)  # as above
    assert str(ratio) == "1.22 (1.10 to 1.36, 95 %)"
    assert (exp_symmetric(1000.0), exp_symmetric(-1000.0)) == (math.inf, 0.0)
    assert math.isnan(exp_symmetric(math.nan))


@settings(deadline=None)
@given(st.floats(0.1, 10), st.floats(1, 1e4), st.floats(1, 1e4))
def test_scale_of_the_meter_leaves_ratios(scale, a, b):
    """Multiplying both readings changes neither a ratio nor its interval."""
    before = reading(a) / reading(b)
    after = (scale * reading(a)) / (scale * reading(b))
    assert_allclose((after.value, after.u), (before.value, before.u), rtol=1e-12)  # float rounding


@settings(deadline=None)
@given(st.permutations(range(5)), st.lists(st.floats(-3, 3), min_size=5, max_size=5))
def test_order_does_not_matter(order, weights):
    """A weighted sum, and the same in another order."""
    quantities = [reading(100.0 + 7 * k) for k in range(5)]
    one = combine(weights, quantities)
    two = combine([weights[k] for k in order], [quantities[k] for k in order])
    assert one.value == two.value  # summed exactly
    assert_allclose(two.u, one.u, rtol=1e-12)  # float rounding


def test_a_fit_shares_its_inputs():
    """Closed form: u² of a weighted sum is w' V w, for every weight; one variance, so its dof is the fit's."""
    rng = np.random.default_rng(3)
    root = rng.normal(size=(4, 4)) * [1e-6, 1.0, 1e3, 5.0]  # parameters of unlike units
    v = root.T @ root
    parameters = from_fit([("fit", k) for k in range(4)], np.arange(4.0), v, dof=7)
    for w in rng.normal(size=(20, 4)):
        total = combine(w, parameters)
        assert_allclose(total.u, math.sqrt(w @ v @ w), rtol=1e-9)  # rounding of a covariance of unlike units
        assert_allclose(total.dof, 7, rtol=1e-12)  # float rounding
    assert {q.kind for q in parameters[3].parts} == {"fit"}


def test_a_fit_with_an_exact_parameter_and_a_fixed_sum():
    """A covariance may be singular: a held parameter, and two whose sum is known exactly."""
    a, b, held = from_fit("abh", [1.0, 2.0, 3.0], [[4, -4, 0], [-4, 4, 0], [0, 0, 0]])
    assert (a.u, b.u, held.u, (a + b).u) == (2.0, 2.0, 0.0, 0.0)


def test_two_fits_of_one_name_raise():
    """Another covariance under the same names is another fit."""
    one, two = from_fit("ab", [1, 2], np.eye(2)), from_fit("ab", [1, 2], 2 * np.eye(2))
    with pytest.raises(ValueError, match="must mean one thing"):
        one[0] + two[0]


# --- arithmetic

OPERATIONS = [
    (lambda x, y, m: x + y, True),
    (lambda x, y, m: x - y, True),
    (lambda x, y, m: -x + +y, True),
    (lambda x, y, m: 3 - x, True),
    (lambda x, y, m: 3 + x - 1.5, True),
    (lambda x, y, m: x * np.float64(2.5), True),
    (lambda x, y, m: np.float64(2.5) * x, True),
    (lambda x, y, m: x / 7, True),
    (lambda x, y, m: x * y, False),
    (lambda x, y, m: x / y, False),
    (lambda x, y, m: 7 / x, False),
    (lambda x, y, m: x**2.5, False),
    (lambda x, y, m: 2.5**x, False),
    (lambda x, y, m: x**y, False),
    (lambda x, y, m: m.exp(x), False),
    (lambda x, y, m: m.log(x * y), False),
    (lambda x, y, m: m.sqrt(x), False),
    (lambda x, y, m: m.sin(x) + m.cos(y), False),
    (lambda x, y, m: x * (y + 0.2) ** 2 / m.cos(x), False),
]


@pytest.mark.parametrize(("law", "linear"), OPERATIONS)
def test_every_operation_against_another_library(law, linear):
    """Oracle: `uncertainties` for the first order, with a shared and an own part; numpy for the value."""
    shared, own = Input("shared", 0.03), Input("own", 0.02)
    x, y = measured(1.3, (shared, 1.3), own), measured(0.7, (shared, 0.7))
    s, o = uncertainties.ufloat(0, 0.03), uncertainties.ufloat(0, 0.02)
    exact = law(1.3 * (1 + s) + o, 0.7 * (1 + s), umath)
    ours = law(x, y, np)
    assert type(ours) is Measured
    assert type(ours.value) is float
    assert_allclose(ours.value, exact.nominal_value, rtol=1e-14)  # float rounding
    assert_allclose(ours.u, exact.std_dev, rtol=1e-12, atol=1e-15)  # as above
    assert ours.linear is linear
    by_differences = apply(lambda a, b: law(a, b, np), x, y)
    assert_allclose(by_differences.u, exact.std_dev, rtol=1e-5, atol=1e-13)  # fourth order in a tenth of u


def test_a_sum_in_place():
    """x += y makes a new x and leaves the old one alone."""
    x = start = measured(2.0, Input("x", 0.1))
    x += measured(1.0, Input("y", 0.1))
    x *= 2
    assert (x.value, start.value) == (6.0, 2.0)


@pytest.mark.parametrize(
    "use",
    [
        lambda x: x < 1,
        lambda x: x == x,
        lambda x: x != 1,
        lambda x: np.greater_equal(1, x),
        lambda x: max(x, x + 1),
        lambda x: not x,
        lambda x: np.tan(x),
        lambda x: x // 2,
        lambda x: np.add.reduce(x),
    ],
)
def test_what_has_no_meaning_is_refused(use):
    """A comparison of two numbers with uncertainty is a question for their interval."""
    with pytest.raises(TypeError, match="value or its interval"):
        use(measured(2.0, Input("x", 0.1)))


@pytest.mark.parametrize("other", [np.array([1.0, 2.0]), "1", 1j, None, np.array(1.0)])
def test_arrays_and_words_never_come_inside(other):
    """What joins a quantity is a number or its like."""
    x = measured(2.0, Input("x", 0.1))
    for use in (lambda: x * other, lambda: other - x):
        with pytest.raises(TypeError, match="a measured quantity joins numbers and its like; got"):
            use()


@pytest.mark.parametrize(
    ("use", "match"),
    [
        (lambda x: np.log(x - 3), r"log must be finite, and so must its slope; got log at \[-1.0\]"),
        (lambda x: x / 0, r"got divide at \[2.0, 0.0\]"),
        (lambda x: np.sqrt(x - 2), r"got sqrt at \[0.0\]"),
        (lambda x: (x - 2) ** -1, r"got power at \[0.0, -1.0\]"),
    ],
)
def test_what_is_not_finite_is_refused(use, match):
    """The operation, and where."""
    with pytest.raises(ValueError, match=match):
        use(measured(2.0, Input("x", 0.1)))


def test_units_do_not_follow_arithmetic():
    """A law names its unit; a blank one is better than a wrong one."""
    x = measured(2.0, Input("x", 0.1), unit="lx")
    assert (x.unit, (x + x).unit, (x * 2).unit) == ("lx", "", "")
    assert (x * 4).in_unit("cd").unit == "cd"
    assert x.only().unit == "lx"
    assert combine([4], [x], unit="cd").unit == apply(lambda e: 4 * e, x, unit="cd").unit == "cd"


# --- degrees of freedom, interval, budget, words


def test_inputs_that_rest_on_one_variance_count_once():
    """Twelve mountings on one pooled SD of 4 dof have 4 dof, not 48; with as much of known u, four times that
    (JCGM 100:2008, G.4.1).
    """
    twelve = [measured(1.0, Input(("seat", k), 0.03, dof=4, variance="pool")) for k in range(12)]
    mean = combine([1 / 12] * 12, twelve)
    assert_allclose((mean.u, mean.dof), (0.03 / math.sqrt(12), 4.0), rtol=1e-14)  # float rounding
    apart = [measured(1.0, Input(("seat", k), 0.03, dof=4)) for k in range(12)]
    assert_allclose(combine([1 / 12] * 12, apart).dof, 48.0, rtol=1e-13)  # as above
    beside = mean + measured(0.0, Input("known", mean.u))
    assert_allclose(beside.dof, 16.0, rtol=1e-13)  # half of the variance: 4 times the dof
    assert measured(1.0, Input("known", 0.1)).dof == math.inf
    assert measured(1.0).dof == math.inf
    assert (mean - mean).dof == math.inf


def test_one_variance_of_two_degrees_of_freedom_is_refused():
    """A pooled estimate has one number of degrees of freedom."""
    both = measured(1.0, Input("a", 1, dof=4, variance="pool"), Input("b", 1, dof=5, variance="pool"))
    for use in (lambda: both.dof, lambda: draws(lambda x: x, both)):
        with pytest.raises(
            ValueError, match=r"dof of input 'b' must equal that of 'a', .*\('pool', 4\); got 5"
        ):
            use()


@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
def test_interval_of_student(coverage):
    """Oracle: scipy.stats, at three coverages."""
    x = measured(5.0, Input("a", 0.3, dof=3), Input("b", 0.4))
    half = stats.t.ppf(0.5 + coverage / 2, (0.25 / 0.09) ** 2 * 3) * 0.5
    assert_allclose(x.half_width(coverage), half, rtol=1e-12)  # float rounding
    assert_allclose(x.interval(coverage), (5 - half, 5 + half), rtol=1e-12)  # as above


@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.8, 0.99, 0.9999999])
def test_a_rectangular_input_keeps_its_shape(coverage, share):
    """Oracle: quantile of a rectangle blurred by a normal, by quadrature of scipy's normal distribution."""
    a, s = math.sqrt(3 * share), math.sqrt(1 - share)

    def below(y):
        def blurred(x):
            return stats.norm.cdf(y - x, scale=s) / (2 * a)

        edges = [p for p in (y - 6 * s, y, y + 6 * s) if -a < p < a]
        return integrate.quad(blurred, -a, a, points=edges or None, epsabs=1e-12, limit=200)[0]

    end = optimize.brentq(lambda y: below(y) - 0.5 - coverage / 2, 0, 10)
    x = measured(0.0, limits("flat", a), Input("rest", s))
    assert_allclose(x.half_width(coverage), end, rtol=1e-8)  # of the quadrature
    # at 90 % a little more than a normal one of that u: a flatter middle has fuller shoulders
    assert x.half_width(coverage) <= coverage_factor(coverage) * x.u * (1.0 if coverage > 0.9 else 1.001)


def test_limits_alone_never_give_more_than_the_limits():
    """The interval of a rectangle is its middle part, continuous as a normal part vanishes or takes over."""
    for coverage in (0.9, 0.95, 0.999):
        assert_allclose(measured(1.0, limits("p", 2.0)).half_width(coverage), 2.0 * coverage, rtol=1e-14)
        # a blurred end moves by exp(-(1 - coverage)²a²/2s²) s at most: nothing here
        near = measured(1.0, limits("p", 2.0), Input("rest", 3e-6)).half_width(coverage)
        assert_allclose(near, 2.0 * coverage, rtol=1e-10)
        assert_allclose(flat_factor(coverage, 1.0001e-4), 1.0, atol=1e-8)
    assert flat_factor(0.95, 0.0) == 1.0
    # inexact limits (finite dof) are no limits
    assert_allclose(measured(1.0, limits("p", 2.0, dof=8)).half_width(0.95), 2 / 3**0.5 * 2.306, rtol=1e-4)


def test_budget():
    """By hand: parts 3, 4 and 0 of u 5, the largest first; the fractions add to 1."""
    x = measured(
        10.0,
        (Input("small", 1.5, kind="scale", source="manual"), 2.0),
        (Input("large", 4.0, dof=3, law="t", kind="seating"), -1.0),
        (Input("none", 1.0), 0.0),
    )
    table = x.budget()
    assert list(table["name"]) == ["large", "small", "none"]
    assert_allclose(table["variance_fraction"], [0.64, 0.36, 0.0], rtol=1e-14)  # float rounding
    assert_allclose(table["contribution"], [-4.0, 3.0, 0.0], rtol=1e-14)
    assert list(table["kind"]) == ["seating", "scale", ""]
    assert list(table["distribution"]) == ["t", "normal", "normal"]
    assert list(table["source"]) == ["", "manual", ""]
    assert_allclose(table["sensitivity"] * table["standard_uncertainty"], table["contribution"], rtol=1e-14)
    assert measured(1.0, Input("exact", 0.0)).budget()["variance_fraction"].tolist() == [0.0]


def test_scopes_and_kinds():
    """Readings are the meter alone, specimens all but the specimen, models all; the list is closed."""
    x = measured(1.0, *(Input(kind, 1.0, kind=kind) for kind in sorted(KINDS)))
    assert len(KINDS) == 22
    found = {scope: {q.kind for q in x.in_scope(scope).parts} for scope in SCOPES}
    assert found["readings"] == METER_KINDS
    assert found["specimens"] == KINDS - {"specimen"}
    assert "specimen not held" in found["specimens"]
    assert found["models"] == KINDS
    assert {q.kind for q in x.only("day", "seating").parts} == {"day", "seating"}
    assert {q.kind for q in x.without("day").parts} == KINDS - {"day"}
    assert x.only("day").value == 1.0


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (measured(13_480.4, Input("a", 267.0), unit="cd"), "13 480 ± 520 cd (95 %)"),
        (measured(1234.56, Input("a", 0.5), unit="lx"), "1234.56 ± 0.98 lx (95 %)"),
        (measured(-1234567.8, Input("a", 10), unit="cd"), "-1 234 568 ± 20 cd (95 %)"),
        (measured(1.25, Input("a", 0.1), unit="1"), "1.25 ± 0.20 (95 %)"),
        (measured(5.5, unit="V"), "5.5 ± 0 V (95 %)"),
    ],
)
def test_words(quantity, text):
    """Two digits of the half width, the value to match, thousands apart from five digits on."""
    assert str(quantity) == text
    assert quantity._repr_markdown_() == text
    assert len(repr(quantity)) < 60


def test_words_of_what_has_no_end():
    """An interval that is open or unknown says so."""
    for end, word in ((math.inf, "∞"), (math.nan, "n/a")):
        assert Measured(2.0, unit="1", ends=lambda _, end=end: (1.0, end)).text() == f"2 ± {word} (95 %)"
    assert repr(measured(2.0, unit="1")) == "Measured(2, u = 0, 0 inputs)"


def test_words_at_another_coverage():
    """Half width and coverage go together: 2.5758 x 267 = 688."""
    x = measured(13_480.4, Input("a", 267.0), unit="cd")
    assert x.text(0.99) == "13 480 ± 690 cd (99 %)"
    assert x.text(0.9) == "13 480 ± 440 cd (90 %)"
    assert x.text(COVERAGE) == str(x)


# --- laws by differences


def test_a_law_that_arithmetic_does_not_reach():
    """Closed form: arctan has the slope 1/(1 + x²); a plain number is exact."""
    x = measured(0.5, Input("x", 0.01), unit="rad")
    result = apply(lambda a, b: math.atan(a) + b, x, 2.0, unit="rad")
    assert_allclose(result.value, math.atan(0.5) + 2, rtol=1e-14)  # float rounding
    assert_allclose(result.u, 0.01 / 1.25, rtol=1e-9)  # fourth order in the step
    assert result.unit == "rad"
    assert not result.linear
    assert apply(lambda a: 2 * a, measured(3.0)).u == 0.0


@pytest.mark.parametrize(
    ("law", "x", "u"),
    [
        (np.cos, 0.0, 0.05),  # tilt about normal incidence
        (lambda t: 40 * np.exp(-0.5 * (t / 0.8) ** 2), 0.0, 0.3),  # aim at the peak of a beam
        (lambda t: t**2, 0.0, 1.0),
        (np.abs, 0.0, 1.0),
        (lambda t: t**2 + 2 * t, 0.0, 1.0),  # second order is 0.7 of the first
    ],
)
def test_zero_sensitivity_goes_to_draws_and_says_so(law, x, u):
    """Oracle: moments of the law by 200-point Gauss-Hermite quadrature."""
    result = apply(law, measured(x, Input("t", u)))
    assert result.how == "by draws"
    assert "by draws" in str(result)
    node, weight = np.polynomial.hermite_e.hermegauss(200)
    weight = weight / weight.sum()
    mean = weight @ law(x + u * node)
    sd = math.sqrt(weight @ (law(x + u * node) - mean) ** 2)
    # four standard errors (kurtosis at most 15); |t| has a kink: quadrature good to 0.4 %
    assert_allclose(result.value, mean, atol=4 * sd / math.sqrt(TRIALS) + 0.004 * sd)
    assert_allclose(result.u, sd, rtol=4 * math.sqrt(14 / 4 / TRIALS) + 0.004)
    assert result.budget()["kind"].tolist() == ["model spread"]
    # the shortest interval: that of a result at the edge of its domain has that edge for an end
    edge = max(float(law(x)), float(law(x + 1e-3)), key=lambda y: abs(y - mean))
    if law(x + 3 * u) == law(x - 3 * u):
        assert min(abs(end - edge) for end in result.interval(0.95)) < 1e-3 * sd


def test_flat_operations_go_to_draws_too():
    """cos at 0, x² at 0, and a product of two that are 0: closed-form standard deviations."""
    x, y = measured(0.0, Input("x", 0.2)), measured(0.0, Input("y", 0.3))
    for result, sd in ((x**2, math.sqrt(2) * 0.04), (x * y, 0.06), (apply(lambda a, b: a * b, x, y), 0.06)):
        assert result.how == "by draws"
        assert_allclose(result.u, sd, rtol=4 * math.sqrt(14 / 4 / TRIALS))  # four standard errors
    assert np.cos(x).how == "by draws"
    assert (x * 0).u == 0.0  # nothing is left, and nothing is hidden
    assert (x * y + 1).how == ""
    with pytest.raises(ValueError, match=r"quantity\[0\] must be read, fitted or a weighted sum"):
        np.cos(np.sin(x))


@pytest.mark.parametrize(("slope", "switches"), [(1 / (0.5 / math.sqrt(2)) * 1.01, False), (2.8, True)])
def test_where_first_order_ends(slope, switches):
    """x² + slope x at u = 1: second order sqrt 2 against a slope; half of it at 2 sqrt 2 = 2.83."""
    result = apply(lambda x: x**2 + slope * x, measured(0.0, Input("x", 1.0)))
    assert (result.how == "by draws") is switches


def test_what_cancels_is_certain():
    """A ratio of two readings of nothing but one scale is exact, and stays out of the draws."""
    a, b = (measured(v, (limits("scale", 0.03), v)) for v in (318.0, 334.0))
    for ratio in (b / a, apply(lambda x, y: x / y, b, a), b**2 / a**2):
        assert (ratio.u, ratio.how) == (0.0, "")
    constant = apply(lambda x: 5.0, a)
    assert (constant.value, constant.u, constant.how, dict(constant.parts)) == (5.0, 0.0, "", {})


@pytest.mark.parametrize("law", [lambda x: np.log(x - 2), lambda x: math.nan if x > 2 else x])
def test_a_law_without_a_value(law):
    """Refused, with what is known."""
    with pytest.raises(MethodError, match="must be finite at its estimates and beside them; got") as refused:
        apply(law, measured(2.0, Input("x", 0.1)))
    assert refused.value.code == "model_not_finite"


# --- draws


def shapes():
    return [
        (Input("q", 0.5), stats.norm(3, 0.5)),
        (Input("q", 0.5, dof=7), stats.t(7, 3, 0.5)),
        (Input("q", 0.5, law="t", dof=7, variance="pool"), stats.t(7, 3, 0.5)),
        (limits("q", 0.5), stats.uniform(2.5, 1)),
        (limits("q", 0.5, law="triangular"), stats.triang(0.5, 2.5, 1)),
        (limits("q", 0.5, law="arcsine"), stats.arcsine(2.5, 1)),
        (limits("q", 0.5, law="trapezoidal", top=0.4), stats.trapezoid(0.3, 0.7, 2.5, 1)),
    ]


@pytest.mark.parametrize(("q", "law"), shapes())
def test_draws_follow_the_law_of_the_input(q, law):
    """Oracle: scipy's distribution functions, Kolmogorov-Smirnov; one fixed seed, so p > 0.001 is no lottery."""
    drawn = draws(lambda x: x, measured(3.0, q), trials=20_000, seed=11)
    assert stats.kstest(drawn, law.cdf).pvalue > 0.001


def test_draws_do_not_depend_on_chunks_or_on_other_inputs(monkeypatch):
    """One stream an input, from its name: to the last bit, whatever the chunks, the others, the order."""
    kinds = [(q, measured(3.0, q)) for q, _ in shapes()]
    beside = measured(0.0, Input("another", 1.0, dof=5), limits("more", 1.0))
    for q, x in kinds:
        monkeypatch.setattr(monte_carlo, "_CHUNK", 10_000)
        whole = draws(lambda x: x, x, trials=2500, seed=4)
        both = draws(lambda y, x: x, beside, x, trials=2500, seed=4)
        assert_array_equal(both, whole)
        assert_array_equal(draws(lambda x: x, x, trials=5000, seed=4)[:2500], whole)
        monkeypatch.setattr(monte_carlo, "_CHUNK", 777)
        assert_array_equal(draws(lambda x: x, x, trials=2500, seed=4), whole, err_msg=q.law)
        assert not np.array_equal(draws(lambda x: x, x, trials=2500, seed=5), whole)


def test_what_is_shared_is_drawn_once():
    """Two readings of one meter: the scale leaves every draw of the ratio."""
    a, b = (measured(v, (limits("scale", 0.03), v)) for v in (318.0, 334.0))
    assert_allclose(draws(lambda x, y: y / x, a, b, trials=1000), 334 / 318, rtol=1e-14)  # float rounding


def test_one_pooled_variance_is_drawn_once():
    """Closed form: the mean of twelve on one SD of 4 dof is t of 4 dof; so is a function of a fit of 4 dof."""
    law = stats.t(4)
    q = 0.995
    error = math.sqrt(q * (1 - q) / TRIALS) / law.pdf(law.ppf(q))
    twelve = [measured(0.0, Input(k, math.sqrt(12), dof=4, variance="pool")) for k in range(12)]
    mean = draws(lambda *x: sum(x) / 12, *twelve, trials=TRIALS)
    assert_allclose(interval(mean, 0.99), law.ppf([0.005, 0.995]), atol=4 * error)
    a, b = from_fit("ab", [0, 0], [[1, 0.5], [0.5, 1]], dof=4)
    fitted = draws(lambda x, y: (x + y) / math.sqrt(3), a, b, trials=TRIALS)
    assert_allclose(interval(fitted, 0.99), law.ppf([0.005, 0.995]), atol=4 * error)
    # two variances are two: their quotient's logarithm scatters with the SD of ln F(4, 4), sqrt(2 trigamma(2))
    x, y = (measured(0.0, Input(k, 1.0, dof=4)) for k in "xy")
    sizes = draws(lambda v, w: np.log(np.abs(v)) - np.log(np.abs(w)), x, y, trials=TRIALS)
    normal = 2 * (np.pi**2 / 2)  # variance of ln|N|, pi²/8, of the two, and of half of ln chi-square
    expected = math.sqrt(normal / 4 + 2 * special.polygamma(1, 2) / 4)
    assert_allclose(np.std(sizes), expected, rtol=0.01)  # kurtosis below 6: 0.6 % is four standard errors


def test_draws_are_made_of_what_was_read():
    """A derived quantity would be drawn linearised: refused. A weighted sum of readings is exact: drawn."""
    a, b = reading(318.0), reading(334.0)
    for derived in (a * b, a / b, np.log(a), a**2, 1 / a, apply(lambda x: x, a), from_ln(a / a), a * b + a):
        with pytest.raises(
            ValueError, match=r"quantity\[1\] must be read, fitted or a weighted sum of such; got"
        ):
            draws(lambda x, y: x + y, a, derived)
    summed = draws(np.exp, combine([0.01, -0.01], [a, b]) / 2 - 0.0, trials=1000)
    apart = draws(lambda x, y: np.exp((0.01 * x - 0.01 * y) / 2), a, b, trials=1000)
    assert_allclose(summed, apart, rtol=1e-13)  # float rounding


def test_draws_without_a_value():
    """Counted and refused: ln below zero, 15.9 % of the draws of N(1, 1)."""
    with pytest.raises(MethodError, match=r"finite at every draw; got \d+ of 10000 draws") as refused:
        draws(np.log, measured(1.0, Input("x", 1.0)), trials=10_000)
    assert_allclose(refused.value.known["share_not_finite"], stats.norm.cdf(-1), atol=4 * 0.0037)


def test_intervals_of_draws():
    """Order statistics of JCGM 101:2008, 7.7.2, counted by hand: q = int(0.9 · 1001 + 1/2) = 901, r = 50."""
    y = np.exp(np.random.default_rng(1).normal(size=1001))
    ordered = np.sort(y)
    assert interval(y, 0.9) == (ordered[49], ordered[950])
    width = ordered[901:] - ordered[:100]
    assert interval(y, 0.9, "shortest") == (ordered[width.argmin()], ordered[width.argmin() + 901])
    width = ordered[300:] - ordered[:701]
    assert interval(y, 0.3, "shortest") == (ordered[width.argmin()], ordered[width.argmin() + 300])
    for use, match in (
        (lambda: interval(y, 95), "coverage must be more than 0 and less than 1; got 95"),
        (lambda: interval(y, 0.95, "longest"), "kind must be 'symmetric' or 'shortest'; got 'longest'"),
        (lambda: interval(y, 0.999), "outcomes must be 10000 or more at a coverage of 0.999; got 1001"),
    ):
        with pytest.raises(ValueError, match=match):
            use()


def test_shortest_interval_of_an_exponential():
    """Closed form: 0 to -ln 0.05; symmetric -ln 0.975 to -ln 0.025."""
    drawn = draws(lambda x: -np.log(x), measured(0.5, limits("x", 0.5)), trials=TRIALS)
    law = stats.expon()

    def error(q):
        return math.sqrt(q * (1 - q) / TRIALS) / law.pdf(law.ppf(q))

    low, high = interval(drawn, 0.95)
    assert_allclose(low, -math.log(0.975), atol=4 * error(0.025))
    assert_allclose(high, -math.log(0.025), atol=4 * error(0.975))
    low, high = interval(drawn, 0.95, "shortest")
    assert_allclose(low, 0, atol=1e-3)  # the width is flat to first order there
    assert_allclose(high, -math.log(0.05), atol=4 * error(0.95))


def test_validation_by_hand():
    """JCGM 101:2008, 8.1: u = 1.0, so half of its second digit is 0.05 and of its first 0.5."""
    x = measured(0.0, limits("a", math.sqrt(3.0), law="arcsine"), Input("b", 1.0))
    unit = measured(0.0, Input("a", 1.0))
    drawn = draws(lambda v: v, x, trials=TRIALS)
    two = validate(unit, drawn, coverage=0.95)
    low, high = interval(drawn, 0.95)
    z = 1.959963984540054
    assert_allclose((two.d_low, two.d_high), (-z - low, high - z), rtol=1e-9)  # float rounding
    assert_allclose(two.tolerance, 0.05, rtol=1e-12)  # exact
    assert_allclose(validate(unit, drawn, coverage=0.95, digits=1).tolerance, 0.5, rtol=1e-12)
    assert not two.validated
    assert_allclose(two.content, np.mean(np.abs(drawn) <= z), rtol=1e-12)  # counted


# --- cost


def test_a_sum_of_many_is_linear(monkeypatch):
    """Looks at each input of each quantity a fixed number of times (repeated + would look 441 times at each)."""
    looks = 0

    def counted(q):
        nonlocal looks
        looks += 1
        return hash(q.name)

    counts = []
    for n in (441, 1764):
        many = [measured(100.0 + k, (limits("scale", 0.03), 100.0 + k), Input(k, 1.0)) for k in range(n)]
        looks = 0
        monkeypatch.setattr(Input, "__hash__", counted)
        combine([1 / n] * n, many)
        monkeypatch.undo()
        counts.append(looks / n)
    assert_allclose(counts[0], counts[1], rtol=0.01)
    assert counts[0] < 20


def test_nothing_heavy_is_loaded():
    """Oracle: sys.modules of a fresh interpreter after a quantity, its interval, its words and its draws."""
    code = (
        "import sys; from photolab.metrology.quantity import limits, measured, apply\n"
        "from photolab.metrology.monte_carlo import draws, interval\n"
        "x = measured(2.0, limits('a', 0.1)); str(x); apply(lambda v: v**3, x); draws(lambda v: v, x)\n"
        "heavy = {'pandas', 'scipy.stats', 'scipy.optimize', 'scipy.sparse', 'statsmodels', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_normal_quantile_is_that_of_scipy():
    """Oracle: scipy.special.ndtri; half of all is exceeded by zero, nothing by infinity."""
    p = np.concatenate((np.linspace(0.5005, 0.9995, 200), 1.0 - 10.0 ** -np.arange(4.0, 16.0)))
    assert_allclose([normal_quantile(float(x)) for x in p], special.ndtri(p), rtol=1e-12)  # 1 - p is rounded
    assert (normal_quantile(0.5), normal_quantile(1.0)) == (0.0, math.inf)


def test_a_law_of_arrays_is_propagated_in_one_call():
    """Second way: the same law one number at a time, to the last digit."""
    calls = []

    def law(a, b):
        calls.append(np.shape(a))
        return np.exp(a) * b**2

    a, b = (measured(x, Input(name, u)) for x, name, u in ((0.3, "a", 0.02), (2.0, "b", 0.01)))
    at_once, one_by_one = apply(law, a, b, arrays=True), apply(law, a, b)
    assert calls[0] == (9,)
    assert set(calls[1:]) == {()}
    assert at_once.content == one_by_one.content


def test_a_law_that_is_not_finite_beside_its_estimates_says_where():
    """From 0 down there is no logarithm; the estimates are 0.05 and 1, steps a tenth of the uncertainty."""
    near = measured(0.05, Input("near", 1.0))
    with pytest.raises(MethodError, match=r"got nan at -0\.05, 1$") as refused:
        apply(lambda x, y: np.log(x) * y, near, 1.0, arrays=True)
    assert refused.value.known == {"estimates": [0.05, 1.0]}


def test_a_result_is_kept_for_what_its_arguments_hold():
    """Synthetic: a count of calls. Another u, sensitivity, unit or option is another argument; the latest two stay."""
    asked = []

    @kept(most=2)
    def law(x, *, times=1.0):
        asked.append(x)
        return x, times

    def quantity(u=0.1, slope=1.0, unit=""):
        return Measured(1.0, {Input("a", u): slope}, unit)

    first = law(quantity())
    assert law(quantity()) is first
    for other in (quantity(u=0.2), quantity(slope=2.0), quantity(unit="lx")):
        assert law(other)[0].content == other.content
    assert len(asked) == 4
    assert law(quantity(unit="lx"), times=2.0)[1] == 2.0
    assert law(quantity()) is not first
    assert len(asked) == 6
