"""Several quantities and the inputs they share, as one matrix. Oracles: closed forms, scipy.stats."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import sparse, stats

from photolab.metrology.estimates import groups_of
from photolab.metrology.quantity import (
    Factored,
    Input,
    Joint,
    Measured,
    coverage_factor,
    from_ln,
    limits,
    measured,
)

INF = float("inf")
BOTH = pytest.mark.parametrize(
    "matrix", [np.asarray, sparse.csr_array, sparse.csc_matrix], ids=["dense", "csr", "csc"]
)


def three_lamps(*, matrix=np.asarray):
    """Three lamps in ln: one meter for all, a and c on one range, own seating from one pooled variance."""
    inputs = (
        Input(("scale", "M"), 0.03, kind="scale"),
        Input(("range term", 1), 0.01, kind="range term"),
        Input(("range term", 2), 0.02, kind="range term"),
        *(Input(("mounting", k), 0.015, dof=4, variance="pool", kind="seating") for k in "abc"),
    )
    s = [[1, 1, 0, 1, 0, 0], [1, 0, 1, 0, 1, 0], [1, 1, 0, 0, 0, 1]]
    names = [("A", "H1"), ("B", "H1"), ("C", "H1")]
    return Joint(names, [0.0, 0.1, -0.2], inputs, matrix(s))


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
    assert_allclose(joint["B", "H1"].u, np.sqrt(expected[1][1]), rtol=1e-12)  # as above
    assert joint.names == (("A", "H1"), ("B", "H1"), ("C", "H1"))
    assert (len(joint.inputs), joint.position(("C", "H1"))) == (6, 2)


@BOTH
def test_ratio_leaves_out_what_is_shared(matrix):
    """Closed form: in a/c scale and range cancel exactly; interval exp(d ± t u); 4 dof of the one pooled variance."""
    joint = three_lamps(matrix=matrix)
    contrast = joint["A", "H1"] - joint["C", "H1"]
    ratio = from_ln(contrast)
    u = 0.015 * np.sqrt(2)
    t = stats.t.ppf(0.975, 4)
    assert_allclose([contrast.value, contrast.u, contrast.dof], [0.2, u, 4], rtol=1e-12)  # float rounding
    assert_allclose(contrast.interval(), (0.2 - t * u, 0.2 + t * u), rtol=1e-12)  # as above
    assert_allclose(ratio.value, np.exp(0.2), rtol=1e-14)  # as above
    assert_allclose(ratio.interval(), np.exp([0.2 - t * u, 0.2 + t * u]), rtol=1e-12)  # as above
    scale = {q.kind: c for q, c in contrast.parts.items()}
    assert (scale["scale"], scale["range term"]) == (0.0, 0.0)


@settings(deadline=None)
@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(1e-6, 0.5), st.floats(0, 0.5))
def test_swapping_a_ratio_gives_exactly_the_reciprocal(a, b, own, shared):
    """The law's symmetry, to the last bit: value and limits."""
    inputs = [Input(n, u) for n, u in (("a", own), ("b", 2 * own), ("scale", shared))]
    joint = Joint("ab", [a, b], inputs, [[1, 0, 1], [0, 1, 1]])
    one, two = from_ln(joint["a"] - joint["b"]), from_ln(joint["b"] - joint["a"])
    high, low = (one, two) if a >= b else (two, one)
    assert low.value == 1 / high.value
    for this, that in zip(one.interval(), reversed(two.interval()), strict=True):
        assert this == 1 / that or that == 1 / this
    assert one.dof == two.dof


@settings(deadline=None)
@given(st.integers(0, 2**32), st.floats(0.1, 10))
def test_scale_of_the_meter_leaves_ratios(seed, scale):
    """Multiplying every reading and the shared input's uncertainty changes no ratio's interval."""
    rng = np.random.default_rng(seed)
    values, own = rng.normal(size=3), rng.uniform(0.01, 0.1, 3)

    def ratio(shift, shared):
        inputs = [*(Input(("noise", k), u) for k, u in enumerate(own)), Input("scale", shared)]
        joint = Joint(range(3), values + shift, inputs, np.hstack([np.eye(3), np.ones((3, 1))]))
        return from_ln(joint[0] - joint[1])

    before, after = ratio(0.0, 0.02), ratio(np.log(scale), 0.02 * scale)
    assert_allclose(after.interval(), before.interval(), rtol=1e-12)  # float rounding of the shift
    assert_allclose(after.u / after.value, before.u / before.value, rtol=1e-12)  # as above


@settings(deadline=None)
@given(st.permutations(range(6)), st.permutations(range(3)))
def test_order_does_not_matter(columns, rows):
    """Order of inputs and of results changes no result."""
    joint = three_lamps()
    moved = Joint(
        [joint.names[k] for k in rows],
        joint.values[rows],
        [joint.inputs[k] for k in columns],
        joint.sensitivities[np.ix_(rows, columns)],
    )
    for name in joint.names:
        assert_allclose(
            moved[name].interval(), joint[name].interval(), rtol=1e-12, atol=1e-15
        )  # float rounding
        assert_allclose(moved[name].dof, joint[name].dof, rtol=1e-12)  # as above


@BOTH
def test_scopes_and_a_choice_of_quantities(matrix):
    """Closed form: the meter and its ranges alone; what is left out of a choice changes nothing in it."""
    joint = three_lamps(matrix=matrix)
    meter = joint.in_scope("readings")
    assert (meter.names, len(meter.inputs)) == (joint.names, 3)
    assert_array_equal(meter.values, joint.values)
    assert_allclose(meter.covariance[1, 1], 0.03**2 + 0.02**2, rtol=1e-12)  # float rounding
    assert meter["B", "H1"].dof == INF
    assert_allclose(meter["B", "H1"].u, joint["B", "H1"].in_scope("readings").u, rtol=1e-15)  # one sum
    two = joint.among([("C", "H1"), ("A", "H1")])
    assert_array_equal(two.values, [-0.2, 0.0])
    assert_allclose(two.covariance, joint.covariance[np.ix_([2, 0], [2, 0])], rtol=1e-12)  # float rounding
    with pytest.raises(ValueError, match="scope must be one of readings, specimens, models; got 'bench'"):
        joint.in_scope("bench")


@BOTH
def test_groups_hold_what_rests_on_one_estimate(matrix):
    """Closed form: the seating part of the covariance, and its 4 dof once."""
    ((part, dof),) = groups_of(three_lamps(matrix=matrix))
    assert_allclose(part, 0.015**2 * np.eye(3), rtol=1e-12)  # float rounding
    assert dof == 4.0


@BOTH
def test_the_smallest_of_many_groups_are_taken_together(matrix):
    """Closed form: of 70 estimates the 63 largest stay apart; the rest has their sum and the smallest dof."""
    u = np.arange(1, 71) / 100.0
    inputs = [Input(k, x, dof=5.0 + k) for k, x in enumerate(u)]
    groups = groups_of(Joint("x", [0.0], inputs, matrix(np.ones((1, 70)))))
    assert [dof for _, dof in groups] == [*(5.0 + np.arange(69, 6, -1)), 5.0]
    assert_allclose(groups[-1][0], [[(u[:7] ** 2).sum()]], rtol=1e-12)  # float rounding


@BOTH
@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_many_differences_at_once(matrix, coverage):
    """Oracle: one after the other, as measured quantities; nothing is left where all is shared."""
    rng = np.random.default_rng(3)
    inputs = [
        limits("colour", 0.2, kind="colour"),
        limits("own colour", 0.05, kind="own colour"),
        Input("scale", 0.1, kind="scale"),
        *(Input(("mounting", k), 0.02, dof=4, variance="pool", kind="seating") for k in range(3)),
        Input("noise", 0.05, dof=2.5, kind="reading scatter"),
    ]
    s = rng.normal(size=(6, 7))
    s[3], s[4] = 0.1 * s[2] * 10.0, [1, 0, 0, 0, 0, 0, 0]
    joint = Joint("abcdef", rng.normal(size=6), inputs, matrix(s))
    pairs = [("a", "b"), ("b", "a"), ("c", "d"), ("e", "f"), ("e", "a")]
    scopes = ("readings", "models")
    told = np.array(joint.differences(*zip(*pairs, strict=True), scopes=scopes, coverage=coverage))
    for k, scope in enumerate(scopes):
        found = told[:, :, k].T
        single = [(joint[a] - joint[b]).in_scope(scope) for a, b in pairs]
        expected = [(d.value, d.u, d.half_width(coverage), d.dof) for d in single]
        assert_allclose(found, expected, rtol=1e-12)  # float rounding
        assert tuple(found[2, 1:]) == (0.0, 0.0, INF)


def test_one_pooled_variance_counts_once():
    """Twelve mountings on one pooled SD of 4 dof have 4 dof, not 48 (closed form of the mean)."""
    weights = np.full((1, 12), 1 / 12)
    shared = [Input(("mounting", k), 0.02, dof=4, variance="pool") for k in range(12)]
    once = Joint("x", [0.0], shared, weights)["x"]
    apart = Joint("x", [0.0], [replace(q, variance=None) for q in shared], weights)["x"]
    assert_allclose([once.dof, apart.dof], [4, 48], rtol=1e-12)  # float rounding
    # closed form of the coverage: the mean over its estimated u is t of 4 dof, 88.5 % within the k of 48 dof
    k = coverage_factor(0.95, apart.dof)
    assert_allclose(1 - 2 * stats.t.sf(k, 4), 0.885, atol=0.0005)  # half a unit in the last digit
    assert_allclose(1 - 2 * stats.t.sf(once.half_width() / once.u, 4), 0.95, rtol=1e-12)  # float rounding


def test_dof_survives_tiny_uncertainties():
    """The ratio of fourth powers does not underflow (closed form: 9)."""
    joint = Joint("x", [0.0], [Input("q", 1e-100, dof=9)], [[1.0]])
    assert_allclose(joint["x"].dof, 9, rtol=1e-12)  # float rounding


def test_budget_of_one_quantity_names_what_acts_on_it():
    """Closed form: fractions sum to 1, the largest first; inputs of other lamps are not in it."""
    result = three_lamps()["B", "H1"]
    budget = result.budget()
    assert_allclose(budget["variance_fraction"].sum(), 1.0, rtol=1e-12)  # float rounding
    assert budget["name"].tolist() == [("scale", "M"), ("range term", 2), ("mounting", "b")]
    assert_allclose(budget["variance_fraction"].iloc[0], 9 / (9 + 4 + 2.25), rtol=1e-12)  # closed form
    assert_allclose((budget["contribution"] ** 2).sum(), result.u**2, rtol=1e-12)  # float rounding


def test_dense_and_sparse_agree():
    """Closed form S diag(u²) S' of a large matrix, mostly zero, with columns that all share."""
    rng = np.random.default_rng(5)
    m, n = 60, 20_000
    s = np.zeros((m, n))
    s[np.arange(n) % m, np.arange(n)] = rng.normal(size=n)
    s[:, :5] = rng.normal(size=(m, 5))
    inputs = [Input(("x", k), u) for k, u in enumerate(rng.uniform(0.1, 1, n))]
    u = np.array([q.u for q in inputs])
    expected = (s * u**2) @ s.T
    y = rng.normal(size=m)
    for matrix in (s, sparse.csc_matrix(s), sparse.csr_array(s)):
        joint = Joint(range(m), y, inputs, matrix)
        # rounding of sums of 20 000 terms
        assert_allclose(joint.covariance, expected, rtol=1e-10, atol=1e-12)
        difference = (s[0] - s[1]) * u
        assert_allclose((joint[0] - joint[1]).u, np.sqrt(difference @ difference), rtol=1e-11)


def test_entries_that_stand_twice_add_up():
    """A sparse row may hold one column twice: closed form (1 + 2)² · 0.5²; the caller's matrix is left alone."""
    twice = sparse.csr_array((np.array([1.0, 2.0]), np.array([0, 0]), np.array([0, 2])), shape=(1, 1))
    joint = Joint("x", [0.0], [Input("a", 0.5)], twice)
    assert_allclose(joint.covariance, [[2.25]], rtol=1e-14)  # float rounding
    assert_allclose(joint["x"].u, 1.5, rtol=1e-14)  # as above
    assert twice.nnz == 2


A, B = Input("a", 1), Input("b", 1)


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (("x", [0.0], [A, B], [[1.0], [1.0]]), r"a row a value, a column an input; got \(2, 1\)"),
        (("xy", [0.0, np.nan], [A, B], np.eye(2)), r"values must be finite; got \[ +0. +nan\]"),
        (("x", [0.0], [A, B], [[1.0, np.inf]]), r"sensitivities must be finite; got \[\[ +1. +inf\]\]"),
        (("x", [0.0], [A, B], sparse.csr_array([[1.0, np.nan]])), "sensitivities must be finite; got"),
        (("xx", [0.0, 1.0], [A, B], np.eye(2)), "names must be 2 different ones; got 1"),
        (("xyz", [0.0, 1.0], [A, B], np.eye(2)), "names must be 2 different ones; got 3"),
        (("x", [0.0], [A, A], [[1.0, 1.0]]), "inputs must be 2 different ones; got 1"),
        (("x", [0.0], [A, Input("a", 2)], [[1.0, 1.0]]), "input 'a' must mean one thing"),
    ],
)
def test_what_is_refused(arguments, match):
    with pytest.raises(ValueError, match=match):
        Joint(*arguments)


def test_unknown_names_and_two_dof_of_one_variance_are_refused():
    with pytest.raises(ValueError, match="name must be one of the 3 quantities; got 'x'"):
        three_lamps()["x"]
    pool = [Input(n, 1, dof=k, variance="pool") for n, k in (("a", 4), ("b", 5))]
    joint = Joint("x", [0.0], pool, [[1.0, 1.0]])
    for asked in (lambda: joint["x"].dof, lambda: groups_of(joint)):
        with pytest.raises(
            ValueError, match=r"dof of input 'b' must equal that of 'a', .*\('pool', 4\); got 5"
        ):
            asked()


def test_a_matrix_kept_as_factors_is_the_full_one():
    """Oracle: the same matrix in one piece; one difference after the other and many at once."""
    rng = np.random.default_rng(8)
    plain, left, right = (sparse.csr_array(rng.normal(size=shape)) for shape in ((5, 7), (5, 2), (2, 7)))
    inputs = [Input(("k", k), 0.1 + 0.01 * k, dof=3.0 + k, kind="seating") for k in range(7)]
    kept = Joint("abcde", rng.normal(size=5), inputs, Factored(plain, left, right))
    full = Joint("abcde", kept.values, inputs, plain.toarray() - left.toarray() @ right.toarray())
    told, expected = (np.array(joint.differences("abc", "dde")) for joint in (kept, full))
    assert_allclose(told, expected, rtol=1e-12)
    assert_allclose(kept.covariance, full.covariance, rtol=1e-12, atol=1e-16)
    assert_allclose(kept["c"].u, full["c"].u, rtol=1e-14)
    few = kept.among("db").in_scope("specimens")
    assert_allclose(few.covariance, full.among("db").covariance, rtol=1e-12, atol=1e-16)
    assert_allclose(kept.in_scope("specimens")["e"].u, full["e"].u, rtol=1e-14)
    weights = sparse.csr_array(rng.normal(size=(3, 5)))
    sums = Joint("abcde", kept.values, inputs, plain).combined(
        "xyz", Factored(weights, weights[:, :2], right[:, :5])
    )
    assert_allclose(
        sums.sensitivities.full().toarray(),
        (weights - weights[:, :2] @ right[:, :5]).toarray() @ plain.toarray(),
    )
    assert_allclose(sums.values, (weights - weights[:, :2] @ right[:, :5]) @ kept.values)
    factors = Factored(weights, weights[:, :2], right[:, :5])
    for summed in (weights, weights.toarray(), factors):
        whole = factors.full() if summed is factors else weights
        sums, expected = kept.combined("xyz", summed), full.combined("xyz", whole)
        assert_allclose(sums.covariance, expected.covariance, rtol=1e-11, atol=1e-16)
        assert_allclose(sums["y"].u, expected["y"].u, rtol=1e-12)
        assert_allclose(sums.values, expected.values, rtol=1e-13)


@pytest.mark.parametrize("small", [0, 10**6])
def test_some_quantities_are_what_they_were_among_all(monkeypatch, small):
    """Oracle: subtraction one by one; rows kept sparse, and as a full matrix."""
    monkeypatch.setattr("photolab.metrology.quantity._SMALL", small)
    rng = np.random.default_rng(9)
    inputs = [Input(k, 0.1, dof=4.0 + k, kind=("seating", "scale", "specimen")[k % 3]) for k in range(12)]
    inputs += [limits(("limit", k), 0.3, kind="linearity") for k in range(4)]
    matrix = sparse.random_array((5, 16), density=0.4, rng=rng, format="csr", data_sampler=rng.normal)
    joint = Joint("abcde", rng.normal(size=5), inputs, matrix)
    some = joint.among("dbe")
    assert isinstance(some.sensitivities, np.ndarray) == bool(small)
    for scope in ("readings", "specimens", "models"):
        told = np.array(some.differences("db", "eb", scopes=[scope]))[:, :, 0]
        one = (joint["d"] - joint["e"]).in_scope(scope)
        assert_allclose(told[:, 0], [one.value, one.u, one.half_width(), one.dof], rtol=1e-12)
        assert_array_equal(told[:3, 1], 0.0)  # what is subtracted from itself is known
    assert_allclose(some.covariance, joint.covariance[np.ix_([3, 1, 4], [3, 1, 4])], rtol=1e-12, atol=1e-18)


@pytest.mark.parametrize("shared", [16, 0])
def test_differences_of_factored_rows_count_what_lies_outside_their_own_inputs(monkeypatch, shared):
    """Oracle: the same matrix in one piece, input by input; with quadratic forms, and with rows in full."""
    monkeypatch.setattr("photolab.metrology.quantity._SHARED", shared)
    rng = np.random.default_rng(5)
    kinds = ("seating", "specimen", "scale")
    inputs = [
        Input(
            k,
            0.1 + 0.01 * k,
            dof=4.0 if k % 4 else INF,
            kind=kinds[k % 3],
            variance="pool" if k % 4 == 1 else None,
        )
        for k in range(30)
    ]
    # the last two act through what all share alone: one is larger than all limits of a lamp's own
    inputs += [
        limits((name, k), half, kind="linearity")
        for k in range(5)
        for name, half in (("own", 0.2), ("far", 0.9))
    ]
    plain = sparse.random_array((6, 40), density=0.15, rng=rng, format="csr", data_sampler=rng.normal).tolil()
    plain[:, 31::2] = 0.0
    left, right = (sparse.csr_array(rng.normal(size=shape)) for shape in ((6, 3), (3, 40)))
    kept = Joint("abcdef", rng.normal(size=6), inputs, Factored(plain.tocsr(), left, right))
    full = Joint("abcdef", kept.values, inputs, plain.toarray() - left.toarray() @ right.toarray())
    scopes = ("readings", "specimens", "models")
    told = np.array(kept.differences("abcda", "defba", scopes=scopes, coverage=0.9))
    for pair, (a, b) in enumerate(("ad", "be", "cf", "db", "aa")):
        for k, scope in enumerate(scopes):
            one = (full[a] - full[b]).in_scope(scope)
            assert_allclose(told[:, pair, k], [one.value, one.u, one.half_width(0.9), one.dof], rtol=1e-11)


def test_differences_of_factored_rows_in_a_scope_without_any_estimate():
    """Oracle: the same matrix in one piece; seatings have few degrees of freedom, and are no part of the readings."""
    rng = np.random.default_rng(6)
    inputs = [Input("scale", 0.1, kind="scale")]
    inputs += [Input(k, 0.1, dof=4.0, kind="seating", variance="pool") for k in range(5)]
    plain, left, right = (sparse.csr_array(rng.normal(size=shape)) for shape in ((3, 6), (3, 2), (2, 6)))
    kept = Joint("abc", rng.normal(size=3), inputs, Factored(plain, left, right))
    full = Joint("abc", kept.values, inputs, (plain - left @ right).toarray())
    told = np.array(kept.differences("ab", "bc", scopes=("readings", "models")))
    assert_allclose(told, full.differences("ab", "bc", scopes=("readings", "models")), rtol=1e-11)


def test_an_input_of_no_kind_counts_in_a_difference_as_in_subtraction():
    """Oracle: closed form; a blank kind is in no scope but that of all inputs."""
    joint = Joint("ab", [1.0, 2.0], [Input("x", 0.3), Input("y", 0.4, kind="seating")], np.eye(2))
    found = joint.differences("a", "b", scopes=("models", "specimens"))[1]
    assert_allclose(found, [[0.5, 0.4]], rtol=1e-12)
    assert_allclose((joint["a"] - joint["b"]).u, 0.5, rtol=1e-12)


@BOTH
def test_quantities_with_others_added_are_the_sums_of_measured_ones(matrix):
    """Second way: one at a time, by the arithmetic of measured quantities. What cancels leaves no input behind."""
    joint = three_lamps(matrix=matrix)
    seat, new = joint.inputs[3], Input("left", 0.004, dof=5)
    more = {
        "a": Measured(-0.1, {seat: -1.0, new: 0.5}),
        "b": Measured(0.2, {new: 1.0}),
        "c": measured(0.0),
    }
    found = joint.plus(more)
    assert found.names == ("a", "b", "c")
    for name, (added, one) in zip(joint.names, more.items(), strict=True):
        alone = joint[name] + one
        assert found[added].value == alone.value
        assert {q: c for q, c in found[added].parts.items() if c} == {
            q: c for q, c in alone.parts.items() if c
        }
    whole, apart = found.covariance, [found[n].u ** 2 for n in found.names]
    assert_allclose(np.diag(whole), apart, rtol=1e-12)  # float rounding
    assert whole[0, 1] == pytest.approx(joint.covariance[0, 1] + 0.5 * 0.004**2, rel=1e-12)


def test_what_rounding_leaves_of_an_input_that_cancels_is_none():
    """Closed form: 0.1 + 0.2 less 0.3 is nothing, and 5e-17 in floats."""
    q = Input("seat", 1.0)
    joint = Joint(["a"], [0.0], [q, Input("other", 1.0)], [[0.1 + 0.2, 1.0]])
    found = joint.plus({"b": Measured(0.0, {q: -0.3})})
    assert found["b"].u == 1.0
    assert q not in {q for q, c in found["b"].parts.items() if c}


def test_inputs_behind_others_keep_their_estimates():
    """Closed form: what rests on one estimate of variance stays together, what is new has its own."""
    found = three_lamps().plus({k: Measured(0.0, {Input(("new", k), 0.01, dof=7): 1.0}) for k in "abc"})
    estimate, dof = found.inputs.estimates
    assert len(set(estimate[3:6])) == 1
    assert len(set(estimate[6:])) == 3
    assert sorted(dof.tolist()) == [4.0, 7.0, 7.0, 7.0]
    assert [q.name for q in found.inputs][6:] == [("new", k) for k in "abc"]
