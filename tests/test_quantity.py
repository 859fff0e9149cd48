"""Input quantities and joint results. Oracles: closed forms, numerical integration, synthetic sharing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import sparse, stats

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.propagation import combine

INF = float("inf")


# --- InputQuantity


def test_fields_and_defaults():
    """The contract: name, value, standard uncertainty, then labels."""
    q = InputQuantity("scale", 1, 0.02)
    assert (q.distribution, q.dof, q.unit, q.shared_by, q.shared_with) == ("normal", INF, "1", "reading", "")
    assert q.variance_from is None
    assert type(q.value) is float
    with pytest.raises(AttributeError, match="cannot assign to field"):
        q.value = 2.0
    with pytest.raises(TypeError, match="positional"):
        InputQuantity("scale", 1, 0.02, "normal")


def test_labels_reach_every_constructor():
    """Labels are carried, whatever the way a quantity was evaluated; limits are a rectangle (JCGM 100:2008, 4.3.7)."""
    labels = {"unit": "lx", "shared_by": "meter", "shared_with": ("M1", 2), "variance_from": "pool"}
    for q in (
        InputQuantity.from_limits("q", 0, 1, **labels),
        InputQuantity.from_certificate("q", 0, 1, **labels),
    ):
        assert {name: getattr(q, name) for name in labels} == labels
    limit = InputQuantity.from_limits("q", 7, 2.5)
    assert (limit.value, limit.distribution) == (7.0, "rectangular")
    assert_allclose(limit.standard_uncertainty, 2.5 / np.sqrt(3), rtol=1e-14)  # float rounding


def test_certificate():
    """u = U/k; Student's t where the certificate states finite dof (JCGM 101:2008, 6.4.9.7)."""
    q = InputQuantity.from_certificate("scale", 50.0, 75.0, coverage_factor=3, dof=18)
    assert (q.standard_uncertainty, q.dof, q.distribution) == (25.0, 18, "t")
    assert InputQuantity.from_certificate("scale", 50.0, 1.0).standard_uncertainty == 0.5
    assert InputQuantity.from_certificate("scale", 50.0, 1.0).distribution == "normal"


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: InputQuantity("q", np.nan, 1), r"value\['q'\] must be finite; got nan 1"),
        (lambda: InputQuantity("q", np.inf, 1), r"value\['q'\] must be finite; got inf 1"),
        (lambda: InputQuantity("q", 1, -1, unit="lx"), r"standard_uncertainty\['q'\] .*; got -1.0 lx"),
        (lambda: InputQuantity("q", 1, np.inf), r"standard_uncertainty\['q'\] must be finite"),
        (lambda: InputQuantity("q", 1, np.nan), r"standard_uncertainty\['q'\] must be finite"),
        (lambda: InputQuantity("q", 1, 1, dof=0), r"dof\['q'\] must be more than zero; got 0"),
        (lambda: InputQuantity("q", 1, 1, dof=np.nan), r"dof\['q'\] must be more than zero; got nan"),
        (
            lambda: InputQuantity("q", 1, 1, distribution="cosine"),
            r"distribution\['q'\] must be one of normal, t, rectangular; got 'cosine'",
        ),
        (lambda: InputQuantity.from_limits("q", 0, -1), r"half_width\['q'\] .*zero or more; got -1 1"),
        (
            lambda: InputQuantity.from_certificate("q", 1, 1, coverage_factor=0),
            r"coverage_factor\['q'\] .* got 0",
        ),
        (lambda: InputQuantity.from_certificate("q", 1, -1), r"standard_uncertainty\['q'\] .* got -0.5"),
    ],
)
def test_what_is_refused(make, match):
    """The rule for messages: which quantity, what it must be, what was got."""
    with pytest.raises(ValueError, match=match):
        make()


# --- joint results


def three_lamps(*, matrix=np.asarray):
    """Three lamps in ln: one meter for all, a and c on one range, own noise from one pooled variance."""
    inputs = (
        InputQuantity("scale", 0, 0.03, shared_by="meter", shared_with="M"),
        InputQuantity("range", 0, 0.01, shared_by="range", shared_with=1),
        InputQuantity("range", 0, 0.02, shared_by="range", shared_with=2),
        *(InputQuantity("noise", 0, 0.015, dof=4, variance_from="pool", shared_with=k) for k in "abc"),
    )
    s = [[1, 1, 0, 1, 0, 0], [1, 0, 1, 0, 1, 0], [1, 1, 0, 0, 0, 1]]
    names = [("A", "H1"), ("B", "H1"), ("C", "H1")]
    return combine([0.0, 0.1, -0.2], matrix(s), inputs, names=names)


BOTH = pytest.mark.parametrize(
    "matrix", [np.asarray, sparse.csr_array, sparse.csc_matrix], ids=["dense", "csr", "csc"]
)


@BOTH
def test_covariance_comes_from_what_is_shared(matrix):
    """Closed form: a and c share scale and range, b only the scale."""
    joint = three_lamps(matrix=matrix)
    own, scale, r1, r2 = 0.015**2, 0.03**2, 0.01**2, 0.02**2
    expected = [
        [scale + r1 + own, scale, scale + r1],
        [scale, scale + r2 + own, scale],
        [scale + r1, scale, scale + r1 + own],
    ]
    assert_allclose(joint.covariance, expected, rtol=1e-12)  # float rounding
    assert_allclose(joint.standard_uncertainties, np.sqrt(np.diag(expected)), rtol=1e-12)  # as above
    assert_allclose(np.diag(joint.correlation), 1.0, rtol=0)
    assert_allclose(joint.correlation[0, 1], scale / np.sqrt(expected[0][0] * expected[1][1]), rtol=1e-12)
    assert joint.names == (("A", "H1"), ("B", "H1"), ("C", "H1"))
    assert joint.sensitivities.shape == (3, 6)
    assert len(joint.inputs) == 6


@BOTH
def test_ratio_leaves_out_what_is_shared(matrix):
    """Closed form: in a/c scale and range cancel exactly; interval exp(d ± t U); 4 dof of the one pooled
    variance.
    """
    joint = three_lamps(matrix=matrix)
    ratio = joint.ratio(("A", "H1"), ("C", "H1"))
    u = 0.015 * np.sqrt(2)
    t = stats.t.ppf(0.975, 4)
    assert_allclose(ratio.value, np.exp(0.2), rtol=1e-14)  # float rounding
    assert_allclose(ratio.standard_uncertainty, u * np.exp(0.2), rtol=1e-12)  # as above
    assert_allclose(ratio.dof, 4, rtol=1e-12)  # as above
    assert_allclose(ratio.interval, np.exp([0.2 - t * u, 0.2 + t * u]), rtol=1e-12)  # as above
    assert_allclose(ratio.expanded_uncertainty, t * u * np.exp(0.2), rtol=1e-12)  # as above
    contrast = joint.contrast({("A", "H1"): 1, ("C", "H1"): -1})
    assert_allclose(contrast.interval, (0.2 - t * u, 0.2 + t * u), rtol=1e-12)  # as above
    assert_allclose(contrast.value, 0.2, rtol=1e-14)  # as above


@settings(deadline=None)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(1e-6, 0.5), st.floats(0, 0.5))
def test_swapping_a_ratio_gives_exactly_the_reciprocal(a, b, own, shared):
    """The law's symmetry, to the last bit: value and limits."""
    inputs = [InputQuantity(n, 0, u) for n, u in (("a", own), ("b", 2 * own), ("scale", shared))]
    joint = combine([a, b], [[1, 0, 1], [0, 1, 1]], inputs, names="ab")
    one, two = joint.ratio("a", "b"), joint.ratio("b", "a")
    high, low = (one, two) if a >= b else (two, one)
    assert low.value == 1 / high.value
    for this, that in zip(one.interval, reversed(two.interval), strict=True):
        assert this == 1 / that or that == 1 / this
    assert one.dof == two.dof


@settings(deadline=None)
@given(st.integers(0, 2**32), st.floats(0.1, 10))
def test_scale_of_the_meter_leaves_ratios(seed, scale):
    """Multiplying every reading and the shared input's uncertainty changes no ratio's interval."""
    rng = np.random.default_rng(seed)
    values, own = rng.normal(size=3), rng.uniform(0.01, 0.1, 3)

    def joint(shift, shared):
        inputs = [
            *(InputQuantity("noise", 0, u, shared_with=k) for k, u in enumerate(own)),
            InputQuantity("scale", 0, shared),
        ]
        return combine(values + shift, np.hstack([np.eye(3), np.ones((3, 1))]), inputs)

    before, after = joint(0.0, 0.02).ratio(0, 1), joint(np.log(scale), 0.02 * scale).ratio(0, 1)
    assert_allclose(after.interval, before.interval, rtol=1e-12)  # float rounding of the shift
    assert_allclose(after.standard_uncertainty, before.standard_uncertainty, rtol=1e-12)  # as above


@settings(deadline=None)
@given(st.permutations(range(6)), st.permutations(range(3)))
def test_order_does_not_matter(columns, rows):
    """Order of inputs and of results changes no result."""
    joint = three_lamps()
    names = [joint.names[k] for k in rows]
    moved = combine(
        joint.values[rows],
        joint.sensitivities[np.ix_(rows, columns)],
        [joint.inputs[k] for k in columns],
        names=names,
    )
    for name in names:
        one, two = joint.result(name), moved.result(name)
        assert_allclose(two.interval, one.interval, rtol=1e-12, atol=1e-15)  # float rounding
        assert_allclose(two.dof, one.dof, rtol=1e-12)  # as above


@BOTH
def test_subset_keeps_inputs_by_kind(matrix):
    """Closed form: the meter alone; the meter and its ranges."""
    joint = three_lamps(matrix=matrix)
    meter = joint.subset("meter")
    assert_allclose(meter.covariance, 0.03**2, rtol=1e-12)  # float rounding
    assert meter.names == joint.names
    assert_array_equal(meter.values, joint.values)
    both = joint.subset({"meter", "range"})
    assert len(both.inputs) == 3
    assert_allclose(both.covariance[1, 1], 0.03**2 + 0.02**2, rtol=1e-12)  # as above
    assert both.result(("B", "H1")).dof == INF
    nothing = joint.subset("nobody")
    assert_array_equal(nothing.covariance, np.zeros((3, 3)))


def test_one_pooled_variance_counts_once():
    """Twelve mountings on one pooled SD of 4 dof have 4 dof, not 48 (closed form of the mean)."""
    shared = [
        InputQuantity("mounting", 0, 0.02, dof=4, variance_from="pool", shared_with=k) for k in range(12)
    ]
    apart = [InputQuantity("mounting", 0, 0.02, dof=4, shared_with=k) for k in range(12)]
    weights = np.full((1, 12), 1 / 12)
    assert_allclose(combine([0.0], weights, shared).result(0).dof, 4, rtol=1e-12)  # float rounding
    assert_allclose(combine([0.0], weights, apart).result(0).dof, 48, rtol=1e-12)  # as above
    # closed form of the coverage: the mean over its estimated u is t of 4 dof, 88.5 % within the k of 48 dof
    k = combine([0.0], weights, apart).result(0).coverage_factor
    assert_allclose(1 - 2 * stats.t.sf(k, 4), 0.885, atol=0.0005)  # half a unit in the last digit
    k = combine([0.0], weights, shared).result(0).coverage_factor
    assert_allclose(1 - 2 * stats.t.sf(k, 4), 0.95, rtol=1e-12)  # float rounding


@BOTH
def test_dof_of_many_weighted_sums_at_once(matrix):
    """An array of weights gives what one sum after the other gives."""
    joint = three_lamps(matrix=matrix)
    weights = np.array([[1.0, -1, 0], [1, 0, -1], [1, 0, 0], [0, 0, 0]])
    together = joint.dof(weights)
    one_by_one = [joint.dof(dict(zip(joint.names, row, strict=True))) for row in weights]
    assert_allclose(together, one_by_one, rtol=1e-12)  # float rounding
    assert isinstance(joint.dof(weights[0]), float)
    u2 = 0.01**2 + 0.02**2 + 2 * 0.015**2
    assert_allclose(together[0], u2**2 / ((2 * 0.015**2) ** 2 / 4), rtol=1e-12)  # closed form
    assert_allclose(together[1], 4.0, rtol=1e-12)  # as above
    assert together[3] == INF


def test_dof_survives_tiny_uncertainties():
    """The ratio of fourth powers does not underflow (closed form: 9)."""
    joint = combine([0.0], [[1.0]], [InputQuantity("q", 0, 1e-100, dof=9)])
    assert_allclose(joint.result(0).dof, 9, rtol=1e-12)  # float rounding


@BOTH
def test_budget(matrix):
    """Columns of the contract; fractions sum to 1; the largest stands first; built when asked."""
    result = three_lamps(matrix=matrix).result(("B", "H1"))
    assert "budget" not in result.__dict__
    budget = result.budget
    assert list(budget.columns[:10]) == [
        "name",
        "shared_by",
        "shared_with",
        "variance_fraction",
        "contribution",
        "sensitivity",
        "value",
        "standard_uncertainty",
        "distribution",
        "dof",
    ]
    assert_allclose(budget["variance_fraction"].sum(), 1.0, rtol=1e-12)  # float rounding
    assert budget["variance_fraction"].is_monotonic_decreasing
    first = budget.iloc[0]
    assert (first["name"], first["shared_by"], first["shared_with"]) == ("scale", "meter", "M")
    assert_allclose(first["variance_fraction"], 9 / (9 + 4 + 2.25), rtol=1e-12)  # closed form
    assert_allclose(
        (budget["contribution"] ** 2).sum(), result.standard_uncertainty**2, rtol=1e-12
    )  # rounding


def test_budget_of_a_ratio_is_that_of_the_ratio():
    """Contributions are in units of the ratio: their squares sum to its variance."""
    ratio = three_lamps().ratio(("B", "H1"), ("A", "H1"))
    assert set(ratio.budget["shared_by"]) == {"meter", "range", "reading"}  # no row for a remainder
    size = ratio.budget.set_index(["shared_by", "shared_with"])["contribution"]
    assert_allclose(size["range", 2], 0.02 * np.exp(0.1), rtol=1e-12)  # closed form; float rounding
    assert_allclose((size**2).sum(), ratio.standard_uncertainty**2, rtol=1e-12)  # as above


def test_units_and_unknown_names():
    """A contrast of different units needs one; an unknown result is named."""
    joint = combine(
        [1.0, 2.0], np.eye(2), [InputQuantity("a", 1, 1), InputQuantity("b", 2, 1)], units=["lx", "m"]
    )
    assert joint.result(1).unit == "m"
    assert joint.contrast({0: 2.0}).unit == "lx"
    with pytest.raises(ValueError, match="unit must be given for a contrast of results in different units"):
        joint.contrast({0: 1, 1: 1})
    assert joint.contrast({0: 1, 1: 1}, unit="?").unit == "?"
    with pytest.raises(ValueError, match="name must be one of the 2 results; got 'x'"):
        joint.result("x")
    with pytest.raises(ValueError, match="name must be one of the 2 results; got 9"):
        joint.ratio(0, 9)
    with pytest.raises(ValueError, match="weights must have one column for each of the 2 results; got 3"):
        joint.dof(np.ones(3))
    with pytest.raises(ValueError, match=r"weights\[0\] must be finite; got nan"):
        joint.contrast({0: np.nan})
    with pytest.raises(ValueError, match="coverage must be more than 0 and less than 1; got 1"):
        joint.result(0, coverage=1)


def test_coverage_can_be_changed_for_one_result():
    """Closed form: normal quantiles."""
    joint = combine([0.0], [[1.0]], [InputQuantity("a", 0, 2.0)], coverage=0.9)
    assert_allclose(
        joint.result(0).expanded_uncertainty, 2 * stats.norm.ppf(0.95), rtol=1e-12
    )  # float rounding
    assert_allclose(joint.result(0, coverage=0.5).expanded_uncertainty, 2 * stats.norm.ppf(0.75), rtol=1e-12)
    assert joint.result(0).coverage == 0.9


def test_ratio_of_a_result_with_itself_is_one():
    """Closed form."""
    ratio = three_lamps().ratio(("A", "H1"), ("A", "H1"))
    assert (ratio.value, ratio.interval) == (1.0, (1.0, 1.0))
