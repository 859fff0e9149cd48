"""Nested variance components against published values, dense algebra, exact laws and a second
implementation.
"""

import json
import math
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology.components import component_limits, nested_components
from photolab.metrology.reml import (
    NestedGroups,
    UnweightedSquares,
    restricted_likelihood,
    unweighted_squares,
)

REFERENCE = Path(__file__).parent / "reference"
EXAMPLES = {entry["id"]: entry for entry in json.loads((REFERENCE / "precision_examples.json").read_text())}
LEVELS = ["specimen", "mounting"]


def balanced_table(shape, sds, seed, lamps=1):
    """Return lamps x specimens x mountings x readings with normal effects around 100."""
    rng = np.random.default_rng(seed)
    units, seats, readings = shape
    index = np.indices((lamps, *shape)).reshape(4, -1)
    value = (
        100.0
        + sds[0] * rng.standard_normal((lamps, units, 1, 1))
        + sds[1] * rng.standard_normal((lamps, units, seats, 1))
        + sds[2] * rng.standard_normal((lamps, units, seats, readings))
    )
    names = ["lamp", "specimen", "mounting"]
    return pd.DataFrame({name: index[i] for i, name in enumerate(names)}).assign(value=value.ravel())


def ragged_table(seed, sds=(3.0, 1.5, 0.3), units=5):
    """Return a table with 2 to 4 mountings a specimen and 1 to 3 readings a mounting."""
    rng = np.random.default_rng(seed)
    rows = []
    for unit in range(units):
        u = sds[0] * rng.standard_normal()
        for seat in range(rng.integers(2, 5)):
            m = sds[1] * rng.standard_normal()
            rows += [
                (unit, seat, 100.0 + u + m + sds[2] * rng.standard_normal())
                for _ in range(rng.integers(1, 4))
            ]
    return pd.DataFrame(rows, columns=[*LEVELS, "value"])


# Published values -----------------------------------------------------------------------------------------


def test_dyestuff_reml():
    """Oracle: lme4's Dyestuff, REML values as quoted in a secondary text (J. Stat. Soft. 67(1))."""
    result = nested_components(pd.read_csv(REFERENCE / "data/lme4_Dyestuff.csv"), "Yield", ["Batch"])
    published = EXAMPLES["lme4.dyestuff"]["published"]["REML"]
    # Half a unit in the last printed digit.
    assert_allclose(result.variances[0], float(published["var_batch"]), atol=0.005, rtol=0)
    assert_allclose(result.variances[1], float(published["var_resid"]), atol=0.005, rtol=0)
    assert_allclose(result.criterion, float(published["crit"]), atol=0.00005, rtol=0)
    assert_allclose(result.mean.value, float(published["intercept"]), atol=0.05, rtol=0)
    assert_allclose(result.mean.u, float(published["se"]), atol=0.00005, rtol=0)
    assert result.levels == ("Batch", "reading")
    assert result.method == "closed form"


def test_batches_of_the_handbook():
    """Oracle: NIST/SEMATECH e-Handbook 7.4.4, 5 batches of 3 (seen in the published text)."""
    entry = EXAMPLES["nist.prc.7.4.4"]
    rows = [(batch, y) for batch, values in enumerate(entry["inputs"]["batches"]) for y in values]
    result = nested_components(pd.DataFrame(rows, columns=["batch", "y"]), "y", "batch")
    assert_allclose(
        result.variances[0], float(entry["published"]["s2_tau"]), atol=0.005, rtol=0
    )  # 0.5 last digit
    assert_allclose(
        result.variances[1], float(entry["published"]["s2_eps"]), atol=0.005, rtol=0
    )  # 0.5 last digit


def test_days_of_the_gum():
    """Oracle: GUM H.5 (JCGM 100:2008), 10 days x 5; readings made to have the printed daily means and SDs."""
    entry = EXAMPLES["gum.H.5"]
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    pattern /= pattern.std(ddof=1)
    rows = [
        (day, mean + s * one)
        for day, (mean, s) in enumerate(zip(entry["inputs"]["mean_uV"], entry["inputs"]["s_uV"], strict=True))
        for one in pattern
    ]
    result = nested_components(pd.DataFrame(rows, columns=["day", "v"]), "v", "day")
    # Half a unit in the last printed digit (uV).
    assert_allclose(result.mean.value, 97.0, atol=0.5, rtol=0)
    assert_allclose(result.sd("day"), 43.0, atol=0.5, rtol=0)
    assert_allclose(result.sd("reading"), 85.0, atol=0.5, rtol=0)
    assert_allclose(result.mean.u, 18.0, atol=0.5, rtol=0)
    assert result.mean.dof == 9
    # The recomputed values, to float rounding.
    assert_allclose(result.sd("day"), entry["recomputed"]["sB"], rtol=1e-12)
    assert_allclose(result.mean.u, entry["recomputed"]["sacc"], rtol=1e-12)


# Second implementation and dense algebra ------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_unbalanced_against_statsmodels(seed):
    """Oracle: statsmodels MixedLM, REML, on the same table (it stops at about 1e-4 of the criterion)."""
    table = ragged_table(seed)
    result = nested_components(table, "value", LEVELS)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = smf.mixedlm(
            "value ~ 1", table, groups="specimen", re_formula="1", vc_formula={"mounting": "0 + C(mounting)"}
        ).fit(reml=True)
    assert result.method == "reml"
    assert (
        result.criterion <= -2.0 * other.llf + 1e-7
    )  # never a worse optimum; 1e-7 is float rounding of both
    assert_allclose(result.criterion, -2.0 * other.llf, atol=2e-3, rtol=0)  # statsmodels' own stopping
    found = np.sqrt([other.cov_re.iloc[0, 0], other.vcomp[0], other.scale])
    assert_allclose(
        result.sds, found, rtol=2e-2, atol=2e-2
    )  # flat optimum: 2e-3 of the criterion moves an SD by 1 %


def dense(table, levels, fixed, variances):
    """Return minus twice the restricted log-likelihood by dense matrices."""
    y = table["value"].to_numpy()
    cell = table.groupby(fixed).ngroup().to_numpy() if fixed else np.zeros(len(y), dtype=int)
    x = np.eye(cell.max() + 1)[cell]
    v = variances[-1] * np.eye(len(y))
    for depth in range(len(levels)):
        group = table.groupby([*fixed, *levels[: depth + 1]]).ngroup().to_numpy()
        v += variances[depth] * (group[:, None] == group[None, :])
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    beta = np.linalg.solve(information, x.T @ inverse @ y)
    quadratic = (y - x @ beta) @ inverse @ (y - x @ beta)
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    return (len(y) - x.shape[1]) * np.log(2.0 * np.pi) + logs + quadratic, beta, np.linalg.inv(information)


def three_deep(seed):
    """Return an unbalanced table of lamp / specimen / day / mounting with two or three lamps' cells."""
    rng = np.random.default_rng(seed)
    rows = [
        ("AB"[lamp], s, d, m, 100.0 + 10.0 * lamp + rng.standard_normal())
        for lamp in range(2)
        for s in range(rng.integers(2, 4))
        for d in range(rng.integers(1, 4))
        for m in range(rng.integers(1, 4))
        for _ in range(rng.integers(1, 3))
    ]
    return pd.DataFrame(rows, columns=["lamp", "specimen", "day", "mounting", "value"])


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_criterion_and_mean_against_dense_matrices(seed):
    """Oracle: the restricted likelihood by its definition, dense matrices; three levels and fixed cells."""
    table, levels = three_deep(seed), ["specimen", "day", "mounting"]
    result = nested_components(table, "value", levels, fixed="lamp")
    criterion, beta, _ = dense(table, levels, ["lamp"], result.variances)
    assert_allclose(result.criterion, criterion, rtol=1e-9)  # float rounding
    assert_allclose(result.mean.value, beta.mean(), rtol=1e-9)  # float rounding
    rng = np.random.default_rng(seed)
    for _ in range(30):
        moved = result.variances * np.exp(0.2 * rng.standard_normal(4)) + 0.01 * rng.random(4)
        assert dense(table, levels, ["lamp"], moved)[0] >= criterion - 1e-9  # an optimum, to float rounding


def test_cells_of_unequal_size_against_dense_matrices():
    """Oracle: dense matrices; lamps with 2 and 4 specimens, each specimen alike, keep the closed form."""
    table = balanced_table((4, 3, 2), (1.0, 1.0, 0.5), 21, lamps=2)
    table = table[(table["lamp"] == 0) | (table["specimen"] < 2)]
    result = nested_components(table, "value", LEVELS, fixed="lamp")
    assert result.method == "closed form"
    criterion, beta, covariance = dense(table, LEVELS, ["lamp"], result.variances)
    assert_allclose(result.criterion, criterion, rtol=1e-9)  # float rounding
    assert_allclose(result.mean.value, beta.mean(), rtol=1e-12)  # float rounding
    # No component is at zero, so that the likelihood's covariance of the mean is that of the mean squares.
    assert (result.variances > 0.0).all()
    assert_allclose(result.mean.u, np.sqrt(covariance.sum()) / 2.0, rtol=1e-9)  # float rounding


def groups_of(table, levels, fixed=()):
    """Return group summaries of a table, built without the package's own grouping."""
    paths = [table.groupby([*fixed, *levels[: k + 1]]).ngroup().to_numpy() for k in range(len(levels))]
    cell = table.groupby(list(fixed)).ngroup().to_numpy() if fixed else np.zeros(len(table), dtype=int)
    parents = []
    for outer, inner in zip([cell, *paths], paths, strict=False):
        parents.append(np.array([outer[inner == g][0] for g in range(inner.max() + 1)]))
    y = table["value"].to_numpy() - 100.0
    counts = np.bincount(paths[-1]).astype(float)
    means = np.bincount(paths[-1], y) / counts
    return NestedGroups(
        tuple(parents), counts, means, float(((y - means[paths[-1]]) ** 2).sum()), cell.max() + 1, 100.0
    )


def test_gradient_by_differences():
    """Oracle: central differences of the objective."""
    groups = groups_of(three_deep(3), ["specimen", "day", "mounting"], ["lamp"])
    at = np.array([0.7, 0.2, 1.5])
    gradient = restricted_likelihood(groups, at).gradient
    for level in range(3):
        step = np.zeros(3)
        step[level] = 1e-5
        high, low = restricted_likelihood(groups, at + step), restricted_likelihood(groups, at - step)
        # Truncation of the difference is about step squared, rounding about 1e-14 * 100 / step.
        assert_allclose(gradient[level], (high.objective - low.objective) / 2e-5, rtol=1e-6, atol=1e-6)


def test_closed_form_is_the_restricted_optimum():
    """Oracle: the gradient of the (dense-checked) restricted likelihood vanishes, or points outwards at
    zero.
    """
    seen_zero = False
    for seed in range(12):
        table = balanced_table((3, 3, 2), (0.3, 1.0, 1.0), seed)
        result = nested_components(table, "value", LEVELS)
        groups = groups_of(table, LEVELS)
        ratios = result.variances[:-1] / result.variances[-1]
        sweep = restricted_likelihood(groups, ratios)
        assert_allclose(sweep.objective, result.criterion, rtol=1e-12)  # float rounding
        inside = ratios > 0.0
        assert_allclose(sweep.gradient[inside], 0.0, atol=1e-9)  # float rounding of sums of order 10
        assert (sweep.gradient[~inside] >= 0.0).all()
        seen_zero |= not inside.all()
    assert seen_zero


def test_expected_squares_by_unit_vectors():
    """Oracle: E(S) = sum of S over unit effects, exact for a quadratic form; unbalanced, three levels."""
    table, levels = three_deep(4), ["specimen", "day", "mounting"]
    base = unweighted_squares(groups_of(table, levels, ["lamp"]))
    expected = np.zeros((4, 4))
    for level in range(4):
        columns = ["lamp", *levels[: level + 1]] if level < 3 else None
        group = table.groupby(columns).ngroup().to_numpy() if columns else np.arange(len(table))
        for one in range(group.max() + 1):
            unit = table.assign(value=100.0 + (group == one))
            expected[:, level] += unweighted_squares(groups_of(unit, levels, ["lamp"])).squares
    assert_allclose(base.solve @ expected, np.eye(4), atol=1e-10)  # float rounding
    assert_array_equal(
        base.dof, np.diff([2, *[table.groupby(["lamp", *levels[:k]]).ngroups for k in (1, 2, 3)], len(table)])
    )


# Exact laws -----------------------------------------------------------------------------------------------


def test_balanced_mean_squares_and_mean():
    """Oracle: textbook analysis of variance of a balanced nested table, closed form; t with a - 1 dof."""
    table = balanced_table((4, 3, 2), (3.0, 1.0, 0.5), 1)
    result = nested_components(table, "value", LEVELS)
    y = table["value"].to_numpy().reshape(4, 3, 2)
    unit, seat = y.mean(axis=(1, 2)), y.mean(axis=2)
    ms = np.array(
        [
            6.0 * unit.var(ddof=1),
            2.0 * ((seat - unit[:, None]) ** 2).sum() / 8.0,
            ((y - seat[:, :, None]) ** 2).sum() / 12.0,
        ]
    )
    # Float rounding.
    assert_allclose(result.variances, [(ms[0] - ms[1]) / 6.0, (ms[1] - ms[2]) / 2.0, ms[2]], rtol=1e-11)
    assert_allclose(
        result.squares.solve @ result.squares.squares, result.variances, rtol=1e-11
    )  # float rounding
    assert_array_equal(result.dof, [3, 8, 12])
    assert_array_equal(result.table["dof"], [3, 8, 12])
    assert list(result.table.columns) == ["level", "variance", "sd", "low", "high", "dof"]
    half = stats.t.ppf(0.975, 3) * np.sqrt(ms[0] / 24.0)
    assert_allclose(
        result.mean.interval(0.95), [y.mean() - half, y.mean() + half], rtol=1e-12
    )  # float rounding
    # The readings' limits are exact chi-square limits.
    exact = np.sqrt(12.0 * ms[2] / stats.chi2.ppf([0.975, 0.025], 12))
    assert_allclose([result.lows[2], result.highs[2]], exact, rtol=1e-10)  # float rounding


def test_limits_are_exact_where_the_f_test_stands():
    """Oracle: a modified-large-sample limit is zero exactly where F equals its quantile (closed form)."""
    solve = np.array([[0.5, -0.5], [0.0, 1.0]])
    for coverage in (0.9, 0.95):
        f = stats.f.ppf((1.0 + coverage) / 2.0, 3, 20)
        for shift, zero in ((1e-6, False), (-1e-6, True)):
            squares = UnweightedSquares(np.array([f * (1.0 + shift), 1.0]), np.array([3.0, 20.0]), solve)
            low, _ = component_limits(squares, coverage=coverage)
            assert bool(low[0] == 0.0) is zero
    # With nothing taken off, the limits are those of chi-square.
    squares = UnweightedSquares(np.array([4.0, 1e-14]), np.array([3.0, 20.0]), solve)
    low, high = component_limits(squares, coverage=0.95)
    exact = np.sqrt(3.0 * 2.0 / stats.chi2.ppf([0.975, 0.025], 3))
    assert_allclose([low[0], high[0]], exact, rtol=1e-6)  # the subtracted square is 1e-14 of the other


def test_upper_cross_term():
    """Oracle: closed form; at the lower quantile of F the upper spread equals the estimate's size."""
    f = stats.f.ppf(0.025, 9, 20)
    # A row without a mean square of its own, so that the limit is not lifted.
    solve = np.array([[1.0, 0.0], [0.0, 1.0], [0.5, -0.5]])
    _, high = component_limits(UnweightedSquares(np.array([3.0 * f, 3.0]), np.array([9.0, 20.0]), solve))
    assert_allclose(high[2] ** 2, 1.5 * (1.0 - f), rtol=1e-9)  # float rounding


def test_limits_are_monotone_at_zero():
    """Oracle: definition; below zero the upper limit stays at the one where both mean squares agree."""
    solve, dof = np.array([[0.5, -0.5], [0.0, 1.0]]), np.array([3.0, 20.0])
    agree = component_limits(UnweightedSquares(np.array([1.0, 1.0]), dof, solve))
    below = component_limits(UnweightedSquares(np.array([0.01, 1.0]), dof, solve))
    assert_allclose(below[1][0], agree[1][0], rtol=1e-12)  # float rounding
    assert below[0][0] == 0.0
    assert below[1][0] > 0.0


def fiducial_limits(squares, *, draws, seed):
    """Return fiducial limits: each mean square over its chi-square pivot, the variances solved again.

    S. Weerahandi, Exact Statistical Methods for Data Analysis, Springer, 1995 (from memory).
    """
    rng = np.random.default_rng(seed)
    pivots = squares.squares * squares.dof / rng.chisquare(squares.dof, (draws, len(squares.dof)))
    return np.sqrt(np.quantile(np.maximum(pivots @ squares.solve.T, 0.0), [0.025, 0.975], axis=0))


def test_limits_against_fiducial():
    """Oracle: fiducial limits, an independent construction; both within a tenth for a clear component."""
    result = nested_components(balanced_table((8, 4, 3), (3.0, 1.5, 0.5), 2), "value", LEVELS)
    low, high = fiducial_limits(result.squares, draws=40_000, seed=1)
    # Two approximations of one law; Monte Carlo error of a 2.5 % quantile here is about 1 %.
    assert_allclose(result.lows, low, rtol=0.06)
    assert_allclose(result.highs, high, rtol=0.06)


# Laws of the task -----------------------------------------------------------------------------------------


def test_row_order_labels_and_units_do_not_matter():
    """Oracle: symmetry; shuffled rows, other labels, a constant added and another unit."""
    for table in (balanced_table((3, 3, 2), (2.0, 1.0, 0.5), 3), ragged_table(7)):
        result = nested_components(table, "value", LEVELS)
        shuffled = table.sample(frac=1.0, random_state=1)
        other = shuffled.assign(
            specimen=shuffled["specimen"].map({i: f"s{9 - i}" for i in range(9)}),
            mounting=shuffled["specimen"].astype(str) + "/" + shuffled["mounting"].astype(str),
            value=1000.0 * (shuffled["value"] + 5.0),
        )
        again = nested_components(other, "value", LEVELS)
        # Float rounding, and the search's stopping (1e-7) for the unbalanced table.
        assert_allclose(again.sds, 1000.0 * result.sds, rtol=1e-6)
        assert_allclose(again.highs, 1000.0 * result.highs, rtol=1e-6)
        assert_allclose(again.mean.value, 1000.0 * (result.mean.value + 5.0), rtol=1e-9)


def test_mounting_label_is_read_within_its_specimen():
    """Oracle: definition of the whole path: writing 1 on every first mounting changes nothing."""
    table = ragged_table(11)
    unique = table.assign(mounting=table["specimen"] * 10 + table["mounting"])
    assert_allclose(
        nested_components(unique, "value", LEVELS).sds, nested_components(table, "value", LEVELS).sds
    )


def test_fixed_cells_are_taken_off():
    """Oracle: symmetry; constants added to lamps change nothing, and the cells cost one dof each."""
    table = balanced_table((3, 2, 2), (2.0, 1.0, 0.5), 4, lamps=3)
    result = nested_components(table, "value", LEVELS, fixed="lamp")
    shifted = nested_components(
        table.assign(value=table["value"] + 50.0 * table["lamp"]), "value", LEVELS, fixed=["lamp"]
    )
    assert_allclose(shifted.sds, result.sds, rtol=1e-9)  # float rounding
    assert_allclose(shifted.mean.value, result.mean.value + 50.0, rtol=1e-12)  # float rounding
    assert_array_equal(result.dof, [6, 9, 18])
    y = table["value"].to_numpy().reshape(3, 3, 2, 2).mean(axis=(2, 3))
    pooled = np.mean(y.var(axis=1, ddof=1))
    assert_allclose(result.mean.u, np.sqrt(pooled / 9.0), rtol=1e-11)  # closed form, rounding


def test_unbalanced_mean_reduces_to_the_balanced_one():
    """Oracle: closed form of the balanced table, approached by the unbalanced path through equal weights."""
    table = balanced_table((5, 3, 2), (3.0, 1.0, 0.5), 6)
    full = nested_components(table, "value", LEVELS)
    groups = groups_of(table, LEVELS)
    sweep = restricted_likelihood(groups, full.variances[:-1] / full.variances[-1])
    spread = sweep.mean_square / sweep.cell_weights.sum()
    assert_allclose(np.sqrt(spread), full.mean.u, rtol=1e-10)  # float rounding


def test_levels_that_do_not_repeat_are_one_row():
    """Oracle: definition; one reading a mounting, and one mounting a specimen."""
    table = balanced_table((4, 3, 1), (2.0, 1.0, 0.5), 8)
    result = nested_components(table, "value", LEVELS)
    assert result.levels == ("specimen", "mounting+reading")
    alone = nested_components(table, "value", ["specimen"])
    assert_allclose(result.sds, alone.sds, rtol=1e-12)  # the same mean squares
    single = nested_components(balanced_table((4, 1, 3), (2.0, 1.0, 0.5), 8), "value", LEVELS)
    assert single.levels == ("specimen+mounting", "reading")
    assert [c.code for c in single.cautions if c.level == "specimen+mounting"] == ["merged", "few_groups"]
    plain = nested_components(table, "value", ["mounting"], fixed=["specimen"])
    y = table["value"].to_numpy().reshape(4, 3)
    assert plain.levels == ("mounting+reading",)
    assert_allclose(plain.sds[0], np.sqrt(y.var(axis=1, ddof=1).mean()), rtol=1e-12)  # closed form
    assert_allclose(plain.mean.value, y.mean(), rtol=1e-12)  # closed form


def test_repeats_that_show_one_figure_are_not_a_zero():
    """Oracle: definition; the mounting means are the data, whatever the number of identical repeats."""
    table = balanced_table((4, 3, 1), (2.0, 1.0, 0.5), 9)
    repeated = pd.concat([table, table, table.iloc[:5]])
    result = nested_components(repeated, "value", LEVELS)
    assert result.levels == ("specimen", "mounting+reading")
    assert_allclose(result.sds, nested_components(table, "value", LEVELS).sds, rtol=1e-12)  # the same means
    assert ("no_reading_spread", "mounting+reading") in {(c.code, c.level) for c in result.cautions}
    assert (result.sds > 0.0).all()


def test_three_specimens_are_barely_known():
    """Oracle: chi-square limits of 2 dof lie a factor 12 apart; the result says so."""
    result = nested_components(balanced_table((3, 10, 3), (5.0, 0.5, 0.1), 10), "value", LEVELS)
    caution = next(c for c in result.cautions if c.level == "specimen")
    assert caution.code == "few_groups"
    assert str(caution) == "specimen (3 groups): their spread is barely known"
    factor = np.sqrt(stats.chi2.ppf(0.975, 2) / stats.chi2.ppf(0.025, 2))
    # The mountings' share widens it a little; they make up under a hundredth of the specimens' mean square.
    assert factor <= result.highs[0] / result.lows[0] < 1.1 * factor


def test_boundary_is_said():
    """Oracle: construction; specimen means made equal, so that their component must be zero with an upper
    limit.
    """
    table = balanced_table((4, 3, 2), (0.0, 1.0, 0.3), 12)
    table["value"] -= table.groupby("specimen")["value"].transform("mean")
    for drop in ([], [0]):
        result = nested_components(table.drop(index=drop), "value", LEVELS)
        assert result.sds[0] == 0.0
        assert result.lows[0] == 0.0
        assert result.highs[0] > 0.2 * result.sds[1]
        assert ("at_zero", "specimen") in {(c.code, c.level) for c in result.cautions}


@pytest.mark.parametrize("truth", [(0.0, 1.5, 0.3), (5.0, 1.5, 0.3)])
def test_coverage_of_the_intervals(truth):
    """Oracle: synthetic truth; 400 tables 2x3x3, each level's 95 % interval (full study in benchmarks)."""
    rng = np.random.default_rng(5)
    held, mean = np.zeros(3), 0
    table = balanced_table((2, 3, 3), truth, 0)
    for _ in range(400):
        value = (
            truth[0] * rng.standard_normal((2, 1, 1))
            + truth[1] * rng.standard_normal((2, 3, 1))
            + truth[2] * rng.standard_normal((2, 3, 3))
        )
        result = nested_components(table.assign(value=value.ravel()), "value", LEVELS)
        held += (result.lows <= truth) & (truth <= result.highs)
        mean += result.mean.interval(0.95)[0] <= 0.0 <= result.mean.interval(0.95)[1]
    # 93 to 98 % wanted; three Monte Carlo standard errors of 1.1 points on either side.
    assert (held / 400.0 > 0.93 - 0.033).all()
    assert (held / 400.0 < 0.98 + 0.02).all()
    assert 0.91 < mean / 400.0 < 0.985


# Bad input ------------------------------------------------------------------------------------------------


def test_bad_columns_and_values():
    """Oracle: definition; each error names the column and the element."""
    table = balanced_table((3, 2, 2), (1.0, 1.0, 1.0), 0)
    with pytest.raises(ValueError, match="table must hold the column 'day'"):
        nested_components(table, "value", ["day", "mounting"])
    with pytest.raises(ValueError, match="levels must name at least one column"):
        nested_components(table, "value", [])
    with pytest.raises(ValueError, match="at least 2 rows; got 1"):
        nested_components(table.iloc[:1], "value", LEVELS)
    with pytest.raises(
        ValueError, match=r"value\[3\] must be finite; got nan \(1 of 12 values are out of range\)"
    ):
        nested_components(table.assign(value=table["value"].mask(table.index == 3)), "value", LEVELS)
    with pytest.raises(ValueError, match=r"mounting\[2\] must name a group"):
        nested_components(table.assign(mounting=table["mounting"].mask(table.index == 2)), "value", LEVELS)
    with pytest.raises(ValueError, match="coverage must lie between 0 and 1; got 1"):
        nested_components(table, "value", LEVELS, coverage=1.0)
    with pytest.raises(ValueError, match="level must be one of specimen, mounting, reading; got day"):
        nested_components(table, "value", LEVELS).sd("day")


def test_levels_without_comparison():
    """Oracle: definition; the level is named, no silent zero."""
    table = balanced_table((1, 3, 2), (1.0, 1.0, 1.0), 0)
    with pytest.raises(MethodError, match="level specimen must have at least 2 groups; got 1") as refused:
        nested_components(table, "value", LEVELS)
    assert refused.value.code == "one_group"
    lamps = balanced_table((1, 3, 2), (1.0, 1.0, 1.0), 0, lamps=4)
    with pytest.raises(
        MethodError, match="level specimen must have at least 2 groups in a cell of lamp; got 4"
    ):
        nested_components(lamps, "value", LEVELS, fixed="lamp")
    equal = balanced_table((3, 2, 2), (0.0, 0.0, 0.0), 0)
    with pytest.raises(MethodError, match=r"all 12 values are equal \(100\).*specimen, mounting") as refused:
        nested_components(equal, "value", LEVELS)
    assert refused.value.code == "all_equal"


@pytest.mark.parametrize(("groups", "few"), [(5, True), (6, False)])
def test_four_degrees_of_freedom_are_few(groups, few):
    """Oracle: counting: 5 days are 4 dof, whose 95 % limits lie a factor 4.8 apart."""
    assert_allclose(math.sqrt(stats.chi2.ppf(0.975, 4) / stats.chi2.ppf(0.025, 4)), 4.8, atol=0.05)
    table = pd.DataFrame({"day": np.repeat(np.arange(groups), 2)})
    table["y"] = np.random.default_rng(1).normal(0.0, 1.0, len(table)) + table["day"]
    found = nested_components(table, "y", "day")
    assert [one.groups for one in found.cautions if one.code == "few_groups" and one.level == "day"] == [
        groups
    ] * few
