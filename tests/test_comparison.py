"""Families of comparisons: oracles the studentised range, scipy's tukey_hsd and dunnett, closed forms, TOST
cases."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import interpolate, stats
from statsmodels.stats.weightstats import ttost_ind

from photolab.metrology import simultaneous
from photolab.metrology.comparison import equivalence, pairwise
from photolab.metrology.estimates import Contrasts, read_estimates
from photolab.metrology.quantity import Input, Joint, limits
from photolab.metrology.ranking import rank_intervals, record_claim, shrink
from photolab.metrology.simultaneous import largest_t, widening

EXAMPLES = {
    example["id"]: example
    for example in json.loads((Path(__file__).parent / "reference" / "comparison_examples.json").read_text())
}
# a 95 % quantile of max|t| of ten values at 20 dof over 24 seeds: 0.0009 of it off at the root of the mean square;
# four of that
DRAWN = 0.0036 * 3.54


def critical(table, uncertainty):
    """Critical |t| implied by the intervals of equal uncertainty."""
    return np.log(table["high"] / table["ratio"]) / uncertainty


def groups_of_samples(sizes, rng, shift=0.0):
    """Samples of one true variance, and what a pooled analysis makes of them."""
    samples = [rng.normal(shift * k, 0.05, size) for k, size in enumerate(sizes)]
    dof = sum(sizes) - len(sizes)
    pooled = sum(((sample - sample.mean()) ** 2).sum() for sample in samples) / dof
    covariance = np.diag([pooled / size for size in sizes])
    return samples, np.array([sample.mean() for sample in samples]), covariance, dof


@pytest.mark.parametrize(("size", "dof"), [(3, 4), (10, 20), (10, np.inf), (6, 2), (45, 7)])
def test_all_pairs_of_equal_uncertainty_reach_the_studentised_range(size, dof):
    """Second implementation: scipy.stats.studentized_range at the same dof; a shared term leaves
    differences alone."""
    covariance = np.full((size, size), 0.04**2) + 0.02**2 * np.eye(size)
    values = np.linspace(0.0, 0.3, size)
    table = pairwise(values, covariance, dof=dof)
    expected = stats.studentized_range.ppf(0.95, size, dof) / np.sqrt(2.0)
    # three of what 24 seeds were off, at 2 and 4 dof
    assert_allclose(critical(table, 0.02 * np.sqrt(2.0)), expected, rtol=0.004)
    t = np.abs(np.log(table["ratio"].to_numpy()[:5])) / 0.02
    assert_allclose(table["p"][:5], stats.studentized_range.sf(t, size, dof), atol=0.006)  # likewise


def test_a_large_family_is_bounded():
    """Closed form: 1225 pairs, not spherical: Student's t at the level over 1225 (Bonferroni); 49 with one."""
    covariance = np.diag(np.linspace(1.0, 2.0, 50) ** 2)
    table = pairwise(np.linspace(0.0, 9.0, 50), covariance, dof=np.inf)
    u = np.sqrt(np.add.outer(np.diag(covariance), np.diag(covariance)))[np.triu_indices(50, 1)]
    limit = stats.norm.isf(0.025 / 1225)
    assert_allclose(critical(table, u), limit, rtol=1e-12)  # float rounding
    p = np.minimum(1225 * 2.0 * stats.norm.sf(np.abs(np.log(table["ratio"])) / u), 1.0)
    assert_allclose(table["p"], p, rtol=1e-6)
    with_it = pairwise(np.linspace(0.0, 9.0, 50), covariance, baseline=7)
    assert len(with_it) == 49
    mine = table[(table["a"] == 7) | (table["b"] == 7)]
    assert_allclose(with_it["high"] / with_it["ratio"], mine["high"] / mine["ratio"], rtol=1e-12)


def colours(*halves, own=0.01):
    """Lamps against a filament B0: one rectangular colour each, and what else is their own."""
    names = ["B0", *(f"K{k}" for k in range(1, len(halves) + 1))]
    inputs = [Input(("seating", name), own, dof=6, variance="seating") for name in names]
    inputs += [limits(("colour", name), half) for name, half in zip(names[1:], halves, strict=True)]
    matrix = np.hstack([np.eye(len(names)), np.eye(len(names))[:, 1:]])
    return Joint(names, 0.05 * np.arange(len(names)), inputs, matrix)


@pytest.mark.parametrize("family", ["tukey", "dunnett", "holm", "none"])
@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("half", [0.0, 0.02, 0.2])
def test_a_family_of_one_is_the_single_interval(family, level, half):
    """Closed form: `Measured.interval`, narrowed where a rectangular input dominates."""
    joint = colours(half)
    (row,) = pairwise(
        joint, family=family, baseline="B0" if family != "none" else None, coverage=level
    ).to_dict("records")
    single = (joint["B0"] - joint["K1"] if row["a"] == "B0" else joint["K1"] - joint["B0"]).interval(level)
    assert_allclose(np.log([row["low"], row["high"]]), single, rtol=1e-12, atol=1e-15)  # float rounding
    assert (row["p"] < 1.0 - level) == row["resolved"] == (min(single) > 0.0 or max(single) < 0.0)


@pytest.mark.parametrize("family", ["tukey", "dunnett", "holm"])
def test_a_family_is_never_narrower_than_the_single_interval(family):
    """Closed form: each single interval; a shared colour leaves the pairs of it all but one comparison."""
    shared = colours(0.2, 0.01, 0.0, 0.05, own=0.003)
    for joint in (
        shared,
        replace(shared, sensitivities=np.vstack([np.zeros(9), np.ones((4, 9))]) + 1e-4 * np.eye(5, 9)),
    ):
        table = pairwise(joint, family=family, baseline=None if family == "holm" else "B0")
        for row in table.to_dict("records"):
            single = (joint[row["a"]] - joint[row["b"]]).half_width()
            assert np.log(row["high"] / row["ratio"]) >= single * (1.0 - 1e-12)  # float rounding
        assert np.log(table["high"] / table["ratio"]).max() > 0.0


def test_all_pairs_with_the_baseline_are_a_part_of_all_pairs():
    """Symmetry: the same intervals as all pairs, the baseline divided by."""
    joint = colours(0.2, 0.01, 0.0, 0.05)
    table, part = pairwise(joint), pairwise(joint, baseline="B0")
    assert list(part["a"]) == ["K1", "K2", "K3", "K4"]
    assert set(part["b"]) == {"B0"}
    whole = table[table["a"] == "B0"]
    assert_allclose(part["high"].to_numpy(), 1.0 / whole["low"].to_numpy(), rtol=1e-12)  # float rounding
    assert_allclose(part["p"].to_numpy(), whole["p"].to_numpy(), rtol=1e-12)


def test_what_is_known_exactly_is_resolved():
    """Closed form: two values that share all they do not know differ by exactly 0.1; a third by 0.1 ± its own."""
    joint = Joint("ABC", [0.0, 0.1, 0.2], [Input("scale", 0.3), Input("own", 0.2)], [[1, 0], [1, 0], [1, 1]])
    table = pairwise(joint)
    assert list(table["resolved"]) == [True, False, False]
    assert_allclose(table["low"][0], table["ratio"][0], rtol=1e-12)
    bound = stats.norm.isf(0.025 / 3)  # no joint density: Bonferroni
    assert_allclose(np.log(table["high"] / table["ratio"])[1:], 0.2 * bound, rtol=1e-9)


def test_all_pairs_of_unequal_samples_against_tukey_hsd():
    """Second implementation on samples: scipy's tukey_hsd (Tukey-Kramer) is the wider one, and by little
    here."""
    samples, means, covariance, dof = groups_of_samples([4, 6, 5, 9], np.random.default_rng(3), shift=0.03)
    table = pairwise(means, covariance, dof=dof)
    reference = stats.tukey_hsd(*samples).confidence_interval(0.95)
    first, second = np.triu_indices(4, 1)
    mine, theirs = np.log(table["high"] / table["low"]), (reference.high - reference.low)[first, second]
    assert np.all(mine < theirs * 1.004)  # simulated quantile
    assert np.all(mine > theirs * 0.97)  # Tukey-Kramer is conservative by less than 3 % at these sizes


def test_all_pairs_of_equal_samples_equal_tukey_hsd():
    """Second implementation on samples: balanced, scipy's tukey_hsd is exact."""
    samples, means, covariance, dof = groups_of_samples([5, 5, 5, 5], np.random.default_rng(4), shift=0.03)
    table = pairwise(means, covariance, dof=dof)
    reference = stats.tukey_hsd(*samples)
    interval = reference.confidence_interval(0.95)
    first, second = np.triu_indices(4, 1)
    drawn = DRAWN * np.sqrt(2.0 * covariance[0, 0])
    assert_allclose(np.log(table["low"]), interval.low[first, second], atol=drawn)
    assert_allclose(np.log(table["high"]), interval.high[first, second], atol=drawn)
    assert_allclose(table["p"], reference.pvalue[first, second], atol=0.0055)  # as against scipy's dunnett


def test_against_a_baseline_equals_scipy_dunnett():
    """Second implementation on samples: scipy.stats.dunnett, sizes unequal, six lamps against one
    baseline."""
    samples, means, covariance, dof = groups_of_samples(
        [8, 4, 5, 6, 4, 7, 5], np.random.default_rng(5), shift=0.012
    )
    names = ["B0", "K1", "K2", "K3", "K4", "K5", "K6"]
    table = pairwise(means, covariance, names=names, dof=dof, family="dunnett", baseline="B0")
    reference = stats.dunnett(*samples[1:], control=samples[0], random_state=np.random.default_rng(6))
    interval = reference.confidence_interval(0.95)
    assert list(table["a"]) == names[1:]
    assert set(table["b"]) == {"B0"}
    uncertainty = np.sqrt(np.diag(covariance)[1:] + covariance[0, 0])
    assert_allclose(
        (np.log(table["high"]) - interval.high) / uncertainty, 0.0, atol=2 * DRAWN
    )  # both are simulated
    # four standard errors of a probability of one half from 200 000 draws, and scipy's own 1e-3
    assert_allclose(table["p"], reference.pvalue, atol=0.0055)


def test_one_pair_is_a_plain_t_interval():
    """Closed form: Student's t."""
    table = pairwise([0.1, 0.0], [[0.0004, 0.0001], [0.0001, 0.0009]], names=["A", "B"], dof=7)
    half = stats.t.ppf(0.975, 7) * np.sqrt(0.0011)
    assert_allclose(table.loc[0, ["low", "high"]].astype(float), np.exp([0.1 - half, 0.1 + half]), rtol=1e-12)
    assert_allclose(table["p"][0], 2.0 * stats.t.sf(0.1 / np.sqrt(0.0011), 7), rtol=1e-12)  # float rounding
    assert table["resolved"][0]


def test_unadjusted_and_holm():
    """Closed form: t intervals; Holm by hand: p x 3, x 2, x 1, made monotone."""
    values, covariance = np.array([0.0, 0.05, 0.11]), 0.02**2 * np.eye(3)
    plain = pairwise(values, covariance, family="none")
    p = 2.0 * stats.norm.sf(np.array([0.05, 0.11, 0.06]) / (0.02 * np.sqrt(2.0)))
    assert_allclose(plain["p"], p, rtol=1e-10)  # float rounding
    holm = pairwise(values, covariance, family="holm")
    # ascending: 0.0001, 0.034, 0.077; the second step fails at 2 x 0.034
    assert_allclose(holm["p"], [p[0], 3.0 * p[1], 2.0 * p[2]], rtol=1e-10)  # float rounding
    assert list(holm["resolved"]) == [False, True, False]
    # the resolved pair at its own step, 0.05 / 3; the others at the step that failed, 0.05 / 2
    half = stats.norm.isf(np.array([0.05 / 2, 0.05 / 3, 0.05 / 2]) / 2.0) * 0.02 * np.sqrt(2.0)
    assert_allclose(np.log(holm["high"] / holm["ratio"]), half, rtol=1e-10)
    assert list(plain["resolved"]) == [False, True, True]
    assert_array_equal(holm["resolved"], (holm["low"] > 1.0) | (holm["high"] < 1.0))


def test_dof_of_a_contrast():
    """Closed form: Welch-Satterthwaite of each pair where each value has its own estimated variance."""
    values, variance, dof = np.zeros(3), np.array([1.0, 4.0, 9.0]), np.array([3.0, 8.0, np.inf])
    table = pairwise(values, np.diag(variance), dof=dof, family="none")
    effective = [25.0 / (1 / 3 + 16 / 8), 100.0 / (1 / 3), 169.0 / (16 / 8)]
    expected = stats.t.ppf(0.975, effective) * np.sqrt([5.0, 10.0, 13.0])
    assert_allclose(np.log(table["high"]), expected, rtol=1e-10)  # float rounding


def test_a_joint_result_brings_its_groups():
    """Second implementation: degrees of freedom of each difference, one pooled mounting SD of 4 dof beside known
    terms."""
    labels = ["A", "B", "C", "D"]
    inputs, rows = [Input("scale", 0.03)], []
    for k, label in enumerate(labels):
        inputs.append(Input(f"mounting {label}", 0.02, dof=4, variance="mounting SD"))
        inputs.append(Input(f"colour {label}", 0.01 * k + 0.005))
        rows.append([1.0, *np.repeat(np.arange(4) == k, 2)])
    joint = Joint(labels, [0.0, 0.1, 0.2, 0.3], inputs, rows)
    estimates = read_estimates(joint, None, names=None, dof=np.inf)
    first, second = np.triu_indices(4, 1)
    compared = Contrasts(estimates, first, second)
    expected = [(joint[labels[i]] - joint[labels[j]]).dof for i, j in zip(first, second, strict=True)]
    assert_allclose(compared.dof, expected, rtol=1e-10)  # float rounding
    table = pairwise(joint, family="none")
    assert list(table["a"][:3]) == ["A", "A", "A"]
    half = stats.t.ppf(0.975, expected) * compared.standard_uncertainty
    assert_allclose(np.log(table["high"] / table["ratio"]), half, rtol=1e-6)


def family_wise_error(mounting, known, dof, rng, repetitions=30_000):
    """Share of campaigns of equal lamps with a false claim, the mounting SD drawn afresh in each. [%]"""
    spread = stats.chi2.ppf([1e-5, 0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98, 1 - 1e-5], dof) / dof
    first, second = np.triu_indices(len(known), 1)
    limits = []
    for scale in spread:
        table = pairwise(
            np.zeros(len(known)), scale * mounting + known, variance_groups=[(scale * mounting, dof)]
        )
        limits.append(np.log(table["high"]))
    drawn = np.clip(rng.chisquare(dof, repetitions) / dof, spread[0], spread[-1])
    limit = interpolate.PchipInterpolator(spread, np.array(limits))(drawn)
    y = rng.standard_normal((repetitions, len(known))) @ np.linalg.cholesky(mounting + known).T
    return 100.0 * (np.abs(y[:, first] - y[:, second]) > limit).any(axis=1).mean()


def test_family_wise_error_where_two_groups_meet():
    """Synthetic truth: one estimated mounting SD of 9 dof, unlike numbers of mountings, known colours: 5 %.

    Estimated shares taken as the true ones give 6.4 % here, the estimates held fixed 4.6 %.
    """
    mounting = np.diag(0.025**2 / np.array([16.0, 14.0, 2.0, 6.0, 6.0, 7.0, 3.0, 2.0, 3.0]))
    led = np.array([0.0] + 8 * [1.0])
    known = 0.046**2 * np.outer(led, led) + np.diag(0.0065**2 * led) + 0.0003
    found = family_wise_error(mounting, known, 9, np.random.default_rng(11))
    # three standard errors (30 000 repetitions 0.13 points, drawn quantile 0.05), and 0.2 known to be left
    assert_allclose(found, 5.0, atol=0.62)


def test_equal_uncertainties_of_two_groups():
    """Closed form: half of each variance known, half with 4 dof: wider than u known, narrower than 4 dof
    for all."""
    half = 0.5 * np.eye(6)
    mixed = critical(pairwise(np.zeros(6), np.eye(6), variance_groups=[(half, 4)]), np.sqrt(2.0))
    known, poor = (stats.studentized_range.ppf(0.95, 6, dof) / np.sqrt(2.0) for dof in (np.inf, 4))
    assert np.all(mixed > 1.05 * known)
    assert np.all(mixed < 0.95 * poor)


def test_a_shared_scale_cancels():
    """Symmetry: adding a term common to all values changes nothing."""
    own = np.diag([0.01, 0.02, 0.03, 0.02]) ** 2
    values = [0.0, 0.05, 0.11, 0.02]
    alone, shared = pairwise(values, own), pairwise(np.array(values) + 1.0, own + 0.25)
    assert_allclose(
        shared[["ratio", "low", "high"]], alone[["ratio", "low", "high"]], rtol=1e-6
    )  # single precision


@pytest.mark.parametrize("family", ["tukey", "holm", "none"])
@pytest.mark.parametrize("order", [(1, 0, 2, 3), (3, 2, 1, 0), (2, 0, 3, 1)])
def test_the_order_of_the_names_does_not_matter(order, family):
    """Symmetry: swapping two lamps inverts the ratio and mirrors the interval."""
    names = np.array(["A", "B", "C", "D"])
    values, covariance = np.array([0.0, 0.05, 0.11, 0.02]), np.diag([0.01, 0.02, 0.03, 0.02]) ** 2 + 0.0004
    order = list(order)
    table = pairwise(values, covariance, names=list(names), family=family).set_index(["a", "b"])
    other = pairwise(values[order], covariance[np.ix_(order, order)], names=list(names[order]), family=family)
    for row in other.itertuples():
        if (row.a, row.b) in table.index:
            expected = table.loc[(row.a, row.b), ["ratio", "low", "high"]]
        else:
            expected = 1.0 / table.loc[(row.b, row.a), ["ratio", "high", "low"]]
        assert_allclose(
            [row.ratio, row.low, row.high], expected.to_numpy(float), rtol=1e-12
        )  # float rounding


def test_same_seed_same_answer():
    """Reproducibility of the draws."""
    covariance = np.diag([0.01, 0.02, 0.03]) ** 2
    first, again = pairwise([0, 0.1, 0.2], covariance, seed=5), pairwise([0, 0.1, 0.2], covariance, seed=5)
    assert first.equals(again)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([0.1], [[1.0]]), r"values must be a list of at least two; got shape \(1,\)"),
        (([0.1, np.nan], np.eye(2)), r"values\['B'\] must be finite; got nan"),
        (([0.1, 0.2], None), r"covariance must be given with plain values"),
        (([0.1, 0.2], np.eye(3)), r"covariance must have shape \(2, 2\); got \(3, 3\)"),
        (
            ([0.1, 0.2], np.ones((2, 2))),
            r"pair \('A', 'B'\) must leave a correlation between -1 and 1; got 1",
        ),
        (([0.1, 0.2], [[1.0, 2.0], [2.0, 1.0]]), r"pair \('A', 'B'\) must leave a correlation .* got 2"),
        (
            ([0.1, 0.2], [[1.0, 0.5], [0.1, 1.0]]),
            r"covariance\['A', 'B'\] must be finite and symmetric; got 0.5 and 0.1",
        ),
        (([0.1, 0.2], [[1.0, np.nan], [np.nan, 1.0]]), r"covariance\['A', 'B'\] must be finite"),
        (([0.1, 0.2], [[1.0, 0.0], [0.0, -1.0]]), r"covariance\['B', 'B'\] must be more than 0; got -1"),
    ],
)
def test_refusals_name_the_pair(arguments, message):
    """A singular or non-positive covariance is refused with the pair at fault."""
    with pytest.raises(ValueError, match=message):
        pairwise(arguments[0], arguments[1], names=["A", "B"][: len(arguments[0])])


def test_a_matrix_that_is_no_correlation_names_the_worst_pair():
    """Closed form: correlations 0.9, 0.9, -0.9 of three cannot hold together; C and D make the negative
    direction."""
    matrix = np.eye(4)
    matrix[1, 2] = matrix[2, 1] = matrix[1, 3] = matrix[3, 1] = 0.9
    matrix[2, 3] = matrix[3, 2] = -0.9
    with pytest.raises(
        ValueError,
        match=r"covariance must be positive definite; got the eigenvalue -0.8 .* pair \('[BCD]', '[BCD]'\)",
    ):
        pairwise(np.zeros(4), matrix, names=list("ABCD"))


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"family": "bars"}, r"family must be one of tukey, dunnett, holm, none; got 'bars'"),
        ({"family": "dunnett"}, r"baseline must be given for family 'dunnett'"),
        ({"family": "dunnett", "baseline": "Z"}, r"baseline must be one of the names; got 'Z'"),
        ({"baseline": "Z"}, r"baseline must be one of the names; got 'Z'"),
        ({"coverage": 95.0}, r"coverage must be between 0 and 1; got 95.0"),
        ({"dof": 0.0}, r"dof must be more than 0; got 0.0"),
        ({"dof": [1.0, 2.0]}, r"dof must be one number or 3; got shape \(2,\)"),
        ({"names": ["A", "A", "B"]}, r"names must be 3 different labels; got 2 of 3"),
        (
            {"variance_groups": [(np.eye(2), 3)]},
            r"variance_groups must each hold a covariance of shape \(3, 3\)",
        ),
    ],
)
def test_refusals_of_options(options, message):
    """Each bad option is named with its value."""
    with pytest.raises(ValueError, match=message):
        pairwise([0.0, 0.1, 0.2], np.eye(3), **({"names": ["A", "B", "C"]} | options))


def test_dof_of_each_value_needs_independent_values():
    """One dof a value says nothing about what values share."""
    with pytest.raises(ValueError, match="must be one number where values share inputs"):
        pairwise([0.0, 0.1], [[1.0, 0.2], [0.2, 1.0]], dof=[3, 4])


def test_a_joint_result_takes_nothing_beside_it():
    """Names or covariance beside a joint result are refused."""
    inputs = [Input("a", 0.1), Input("b", 0.1)]
    joint = Joint("AB", [0.0, 0.0], inputs, np.eye(2))
    with pytest.raises(ValueError, match="carries its own covariance"):
        pairwise(joint, np.eye(2))
    with pytest.raises(ValueError, match="carries its own covariance, names and dof"):
        pairwise(joint, dof=5)


def test_rank_intervals_count_what_is_clear():
    """Closed form: three groups far apart, u known."""
    values = [0.0, 0.001, 1.0, 2.0, 2.001]
    table = rank_intervals(values, 0.01**2 * np.eye(5), names=list("ABCDE"))
    assert list(table["name"]) == list("ABCDE")
    assert list(table["rank_low"]) == [4, 4, 3, 1, 1]
    assert list(table["rank_high"]) == [5, 5, 3, 2, 2]
    assert_allclose(table["probability_best"].sum(), 1.0, rtol=1e-12)
    best = stats.norm.cdf(0.001 / (0.01 * np.sqrt(2.0)))
    assert_allclose(
        table["probability_best"], [0, 0, 0, 1 - best, best], atol=0.0065
    )  # four standard errors of 100 000 draws


def test_probability_best_with_estimated_variance():
    """Closed form: two values, one group of 3 dof: Student's t at the difference."""
    covariance = 0.02**2 * np.eye(2)
    table = rank_intervals([0.0, 0.03], covariance, dof=3)
    expected = stats.t.cdf(0.03 / (0.02 * np.sqrt(2.0)), 3)
    assert_allclose(
        table["probability_best"][1], expected, atol=0.006
    )  # four standard errors of 100 000 draws


def test_ranks_cover_the_truth():
    """Synthetic truth: true ranks inside all intervals in at least 95 % of 400 campaigns (ties count as
    either rank)."""
    rng = np.random.default_rng(8)
    truth = np.array([0.0, 0.02, 0.02, 0.05, 0.09])
    low = np.array([(truth > value).sum() + 1 for value in truth])
    high = np.array([5 - (truth < value).sum() for value in truth])
    first, second = np.triu_indices(5, 1)
    estimates = read_estimates(truth, 0.02**2 * np.eye(5), names=None, dof=np.inf)
    largest = largest_t(estimates, Contrasts(estimates, first, second), coverage=0.95, seed=0)
    limit = largest.critical[0] * 0.02 * np.sqrt(2)
    held = 0
    for _ in range(400):
        y = truth + 0.02 * rng.standard_normal(5)
        ranks_low = 1 + np.array([(y > value + limit).sum() for value in y])
        ranks_high = 5 - np.array([(y < value - limit).sum() for value in y])
        held += bool(
            np.all((ranks_low <= high) & (ranks_high >= low) & (ranks_low <= low) & (ranks_high >= high))
        )
    assert held / 400 >= 0.95 - 3 * np.sqrt(0.05 * 0.95 / 400)  # three standard errors


def test_shrinkage_of_independent_values():
    """Closed form: equal variances: tau² = s² - u², weight tau²/(tau² + u²) on the deviation from the
    mean."""
    values = np.array([0.0, 0.1, 0.25, 0.4, 0.3])
    scatter = values.var(ddof=1) - 0.05**2
    expected = values.mean() + (values - values.mean()) * scatter / (scatter + 0.05**2)
    assert_allclose(shrink(values, 0.05**2 * np.eye(5)), expected, rtol=1e-5)  # one-dimensional search
    # what all share does not shrink
    assert_allclose(shrink(values, 0.05**2 * np.eye(5) + 0.3), expected, rtol=1e-5)


def test_shrinkage_goes_all_the_way_where_scatter_is_doubt():
    """Closed form: scatter below the uncertainty: every value becomes the weighted mean."""
    variance = np.array([1.0, 4.0, 9.0])
    mean = np.sum([0.1, 0.2, 0.3] / variance) / np.sum(1.0 / variance)
    assert_allclose(shrink([0.1, 0.2, 0.3], np.diag(variance)), mean, rtol=1e-9)  # float rounding


@pytest.mark.parametrize("case", ["paired", "welch", "pooled"])
def test_equivalence_of_published_cases(case):
    """Published (statsmodels' tests, from R package equivalence): difference, dof, p, 90 % interval."""
    example = EXAMPLES[f"tost.var1.{case}"]
    inputs, published = example["inputs"], example["published"]
    found = equivalence(
        inputs["a"],
        inputs["b"],
        margin=inputs["eps"],
        paired=case == "paired",
        equal_variances=case == "pooled",
    )
    numbers = [found.difference, found.standard_uncertainty, found.dof, found.p, *found.interval]
    printed = [published["mean_diff"], published["se"], published["df"], published["p"], *published["ci90"]]
    assert_allclose(numbers, [float(text) for text in printed], rtol=1e-10)  # ten of the digits printed
    assert found.equivalent


@pytest.mark.parametrize("equal", [False, True])
def test_equivalence_of_sets_of_unlike_sizes_has_the_standard_error_of_its_t(equal):
    """Oracle: second implementation, scipy.stats.ttest_ind: difference over t."""
    rng = np.random.default_rng(6)
    a, b = rng.normal(10.0, 0.1, 5), rng.normal(10.1, 0.3, 12)
    found, theirs = (
        equivalence(a, b, margin=1.0, equal_variances=equal),
        stats.ttest_ind(a, b, equal_var=equal),
    )
    assert_allclose(found.standard_uncertainty, (a.mean() - b.mean()) / theirs.statistic, rtol=1e-10)
    assert_allclose([found.dof, *found.interval], [theirs.df, *theirs.confidence_interval(0.9)], rtol=1e-10)


def test_equivalence_on_the_ratio_scale():
    """Closed form: margins ± ln(1 + m); a ratio of 1.05 exactly, alike to 10 % and not to 5 %."""
    a = np.array([1.05, 1.06, 1.04, 1.05])
    b = np.array([1.00, 1.01, 0.99, 1.00])
    alike = equivalence(a, b, margin=0.10, ratio=True)
    assert_allclose(alike.difference, np.mean(np.log(a)) - np.mean(np.log(b)), rtol=1e-12)  # float rounding
    assert alike.equivalent
    assert not equivalence(a, b, margin=0.05, ratio=True).equivalent
    # second implementation: statsmodels with its own transformation and the limits as ratios
    assert_allclose(alike.p, ttost_ind(a, b, 1 / 1.1, 1.1, usevar="unequal", transform=np.log)[0], rtol=1e-9)
    assert_allclose(
        equivalence(10 * a, 10 * b, margin=0.10, ratio=True).p, alike.p, rtol=1e-6
    )  # scale cancels
    # decision by p and by interval are one
    assert (alike.p <= 0.05) == alike.equivalent


@pytest.mark.parametrize(
    ("a", "b", "options", "message"),
    [
        ([1.0], [1.0, 2.0], {"margin": 1}, r"a must be a list of at least two readings"),
        ([1.0, 2.0], [1.0, np.nan], {"margin": 1}, r"b\[1\] must be finite; got nan"),
        (
            [1.0, 0.0],
            [1.0, 2.0],
            {"margin": 0.1, "ratio": True},
            r"a\[1\] must be more than zero and finite; got 0",
        ),
        ([1.0, 2.0], [1.0, 2.0], {"margin": 0.0}, r"margin must be more than 0; got 0.0"),
        ([1.0, 2.0], [1.0, 2.0], {"margin": 1.25, "ratio": True}, r"margin must be a fraction .* got 1.25"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], {"margin": 1, "paired": True}, r"one length when paired; got 3 and 2"),
        ([1.0, 1.0], [2.0, 2.0], {"margin": 1}, r"a and b must scatter"),
        ([1.0, 2.0], [2.0, 3.0], {"margin": 1, "paired": True}, r"a and b must scatter"),
        ([1.0, 2.0], [2.0, 3.0], {"margin": 1, "alpha": 0.6}, r"alpha must be between 0 and 0.5; got 0.6"),
    ],
)
def test_equivalence_refuses(a, b, options, message):
    """Each bad reading or option is named."""
    with pytest.raises(ValueError, match=message):
        equivalence(a, b, **options)


def test_record_claims():
    """Closed form: all-pairs quantile 3.633 (k = 4, u known) times u root 2: clear above 0.0514, not at
    0.04."""
    covariance, names = 0.01**2 * np.eye(4), ["K1", "K2", "K3", "new"]
    limit = stats.studentized_range.ppf(0.95, 4, np.inf) * 0.01
    highest = record_claim([0.0, 0.1, 0.05, 0.1 + 1.01 * limit], covariance, names=names, candidate="new")
    assert (highest.code, highest.record, highest.not_clear_of, highest.comparisons) == (
        "highest",
        "K2",
        (),
        6,
    )
    assert_allclose(
        [highest.low, highest.ratio], np.exp([0.01 * limit, 1.01 * limit]), rtol=1e-5
    )  # quadrature
    close = record_claim([0.0, 0.1, 0.09, 0.1 + 0.99 * limit], covariance, names=names, candidate="new")
    assert (close.code, close.not_clear_of) == ("not_separated", ("K2",))
    assert close.p > 0.05 > highest.p
    below = record_claim([0.0, 0.1, 0.09, 0.08], covariance, names=names, candidate="new")
    assert (below.code, below.record) == ("below", "K2")
    assert below.ratio < 1.0


def test_record_claim_counts_all_that_were_measured():
    """Multiplicity: clear of one record alone, not clear once seven others were measured too."""
    two = record_claim([0.0, 0.03], 0.01**2 * np.eye(2), candidate=1)
    many = record_claim([0.0, 0.03] + [-0.5] * 7, 0.01**2 * np.eye(9), candidate=1)
    assert (two.code, many.code) == ("highest", "not_separated")
    with pytest.raises(ValueError, match="candidate must be one of the names; got 'Z'"):
        record_claim([0.0, 0.03], 0.01**2 * np.eye(2), candidate="Z")


def test_points_that_are_kept_are_those_made_anew():
    """Oracle: the same family, its points kept and not, before and after another of its size (bit for bit)."""
    _, means, covariance, _ = groups_of_samples([4, 6, 5, 9], np.random.default_rng(3), shift=0.03)
    parts = [(0.5 * covariance, 6.0), (np.diag(np.diag(covariance)) * 0.25, 3.0)]

    def low(other=1.0):
        return list(pairwise(means, covariance * other, variance_groups=parts)["low"])

    first, _, again = low(), low(1.7), low()
    simultaneous._nodes.cache_clear()
    simultaneous._points.cache_clear()
    simultaneous._chi_squares.cache_clear()
    assert first == again == low()


def test_widening_of_more_comparisons_than_are_drawn_is_bonferronis():
    """Oracle: closed form: the quantile of the tail shared by all comparisons over that of one."""
    estimates = read_estimates([0.0, 0.1, 0.2], 0.02**2 * np.eye(3), names=None, dof=np.inf)
    family = Contrasts(estimates, *np.triu_indices(3, 1))
    found = widening(estimates, family, coverage=0.95, seed=0, comparisons=10_000)
    expected = stats.norm.isf(0.05 / 10_000 / 2) / stats.norm.isf(0.05 / 2)
    assert_allclose(found, expected, rtol=0, atol=6e-7)  # it is given to six decimals
    tukey = stats.studentized_range.ppf(0.95, 3, np.inf) / np.sqrt(2) / stats.norm.isf(0.05 / 2)
    assert_allclose(widening(estimates, family, coverage=0.95, seed=0), tukey, rtol=0.01)  # of draws


@pytest.mark.parametrize("sds", [(0.02, 0.02, 0.02), (0.02, 0.05, 0.01, 0.03)])
def test_the_critical_value_is_where_the_tail_is_left(sds):
    """Oracle: definition: beyond the critical values lies 1 - coverage."""
    estimates = read_estimates(np.arange(len(sds)) / 10, np.diag(np.square(sds)), names=None, dof=np.inf)
    family = Contrasts(estimates, *np.triu_indices(len(sds), 1))
    found = largest_t(estimates, family, coverage=0.95, seed=0)
    assert_allclose(found.exceedance(found.critical), 0.05, rtol=1e-9)  # a step below 1e-7 leaves its square
