"""Power, replicates, allocation, next improvement, hours and run order against published values and brute
force.
"""

import itertools
import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology.planning import (
    allocate_effort,
    bench_hours,
    improvements,
    planned_sd,
    replicates_needed,
    resolvable_ratio,
    run_order,
)

REFERENCE = Path(__file__).parent / "reference"
EXAMPLES = {entry["id"]: entry for entry in json.loads((REFERENCE / "precision_examples.json").read_text())}
SPREAD = {"specimen": 0.05, "mounting": 0.015, "reading": 0.003}
COST = {"specimen": 30.0, "mounting": 15.0, "reading": 1.0}


# Power and replicates -------------------------------------------------------------------------------------


def power_of(relative_difference, relative_sd, n, *, floor=0.0, dof=math.inf, coverage=0.95):
    """The two-sided power by scipy.stats, a second implementation of the noncentral t."""
    shift = abs(math.log1p(relative_difference)) / math.sqrt(2.0 * relative_sd**2 / n + floor**2)
    if dof == math.inf:
        z = stats.norm.ppf((1.0 + coverage) / 2.0)
        return stats.norm.sf(z - shift) + stats.norm.cdf(-z - shift)
    free = 2.0 * (n - 1) if dof is None else dof
    t = stats.t.ppf((1.0 + coverage) / 2.0, free)
    # far out the other side is not computable (NaN) and empty
    return 1.0 - stats.nct.cdf(t, free, shift) + np.nan_to_num(stats.nct.cdf(-t, free, shift))


def test_resolvable_ratios_published():
    """Oracle: R package pwr as recorded in statsmodels' tests (secondary text): at that power the ratio is exp(d).

    One mean of n readings has the standard uncertainty of two of twice the variance; one side alone, at a large
    difference, is the two-sided test of twice the size.
    """
    entry = EXAMPLES["power.pwr"]
    checked = 0
    for case, published in zip(entry["inputs"]["cases"], entry["published"]["power"], strict=True):
        if case["alt"] == "greater" and case["d"] < 1:
            continue  # there the other side counts
        n, other = case["n1"], case["n2"]
        variance = 1.0 / n + (1.0 / other if other else 0.0)
        plan = {"dof": n - 1.0 if other is None else n + other - 2.0, "power": float(published)}
        plan["coverage"] = 1.0 - case["alpha"] * (1.0 if case["alt"] == "two" else 2.0)
        found = resolvable_ratio(math.sqrt(variance / 2.0), 1, **plan)
        # 1e-9 of the power, R's own iterations, where it hardly rises any more
        assert_allclose(math.log(found), case["d"], rtol=1e-6)
        checked += 1
    assert checked == 7


def test_replicates_published():
    """Oracle: NIST 7.2.2.2 (8.567 becomes 9), R's power.t.test help page (22.02 becomes 23), Cohen 1988 table 2.4.1."""
    one_mean = 1.0 / math.sqrt(2.0)
    assert replicates_needed(math.e - 1.0, one_mean, power=0.9, coverage=0.9) == 9
    assert replicates_needed(math.e - 1.0, 1.0, dof=None, power=0.9) == 23
    for d, n in zip((0.2, 0.5, 0.8), EXAMPLES["power.cohen"]["published"]["n"], strict=True):
        # 393 is printed for 393.4 (from memory)
        assert replicates_needed(math.expm1(d), 1.0, dof=None) - float(n) in (0.0, 1.0)


def test_replicates_needed_is_the_smallest():
    """Oracle: definition, by counting up with the power of scipy.stats."""
    for options in ({}, {"floor": 0.01}, {"dof": None}, {"dof": 12.0}, {"power": 0.5}):
        target = options.get("power", 0.8)
        plan = {key: value for key, value in options.items() if key != "power"}
        n = replicates_needed(0.04, 0.02, **options)
        assert power_of(0.04, 0.02, n, **plan) >= target
        if n > (2 if plan.get("dof", 1) is None else 1):
            assert power_of(0.04, 0.02, n - 1, **plan) < target
    assert replicates_needed(0.5, 0.02) == 1
    assert replicates_needed(0.5, 0.02, dof=None) == 2


def test_replicates_needed_and_the_floor():
    """Oracle: closed form; no number of mountings beats a floor of ln(1 + d) / (z + z)."""
    difference = 0.03
    edge = math.log1p(difference) / (stats.norm.ppf(0.975) + stats.norm.ppf(0.8))
    assert replicates_needed(difference, 0.02, floor=edge * 1.0001) is None
    assert replicates_needed(difference, 0.02, floor=edge * 0.999) > 1000
    assert replicates_needed(difference, 0.02, floor=edge * 0.5) < 50
    # An even chance stands a higher floor, ln(1 + d) / z.
    even = math.log1p(difference) / stats.norm.ppf(0.975)
    assert replicates_needed(difference, 0.02, floor=0.99 * even, power=0.5) is not None
    assert replicates_needed(difference, 0.02, floor=1.01 * even, power=0.5) is None
    # Swapping the two lamps changes nothing: ln is symmetric.
    assert replicates_needed(1.0 / 1.03 - 1.0, 0.02, floor=0.005) == replicates_needed(
        0.03, 0.02, floor=0.005
    )


def test_a_seating_that_shows_no_scatter_leaves_the_floor():
    """Oracle: closed form. More seatings than the fewest lower nothing."""
    edge = math.log1p(0.1) / stats.norm.ppf([0.975, 0.8]).sum()
    assert replicates_needed(0.1, 0.0, floor=0.999 * edge) == 1
    assert replicates_needed(0.1, 0.0, floor=1.001 * edge) is None
    # the closed form leaves out the chance of the other sign, 1e-6 of the power
    assert_allclose(math.log(resolvable_ratio(0.0, 3, floor=edge)), math.log1p(0.1), rtol=1e-5)


def test_resolvable_ratio():
    """Oracle: closed form exp((z + z) sqrt(2 s^2 / n + u^2)), and the inverse of the power."""
    z = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    # The far tail of the two-sided test, 1e-6 of power, is in the power and not in the closed form.
    assert_allclose(resolvable_ratio(0.02, 3), math.exp(z * 0.02 * math.sqrt(2.0 / 3.0)), rtol=1e-6)
    u = math.sqrt(2.0 * 0.02**2 / 3.0 + 0.01**2)
    assert_allclose(resolvable_ratio(0.02, 3, floor=0.01), math.exp(z * u), rtol=1e-6)
    assert_allclose(math.log(resolvable_ratio(0.02, 3)) / (0.02 * math.sqrt(2.0 / 3.0)), 2.8, atol=0.005)
    for dof, power in ((math.inf, 0.8), (None, 0.8), (6.0, 0.5), (2.0, 0.95)):
        ratio = resolvable_ratio(0.02, 3, dof=dof, power=power)
        assert_allclose(power_of(ratio - 1.0, 0.02, 3, dof=dof), power, rtol=1e-8)  # root finding
        assert_allclose(power_of(1.0 / ratio - 1.0, 0.02, 3, dof=dof), power, rtol=1e-8)


def test_power_by_simulation():
    """Oracle: synthetic truth; two lamps, 3 mountings each, t on their own 4 dof: share of intervals
    without 1.
    """
    rng = np.random.default_rng(6)
    a, b = 0.02 * rng.standard_normal((2, 20_000, 3)) + np.array([0.0, math.log(1.05)])[:, None, None]
    pooled = (a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / 2.0
    t = (b.mean(axis=1) - a.mean(axis=1)) / np.sqrt(2.0 * pooled / 3.0)
    share = np.mean(np.abs(t) > stats.t.ppf(0.975, 4))
    assert_allclose(
        resolvable_ratio(0.02, 3, dof=None, power=power_of(0.05, 0.02, 3, dof=None)), 1.05, rtol=1e-9
    )
    power = power_of(0.05, 0.02, 3, dof=None)
    assert_allclose(
        share, power, atol=3.0 * math.sqrt(power * (1.0 - power) / 20_000), rtol=0
    )  # 3 standard errors


def test_power_far_out_is_certain_not_missing():
    """Oracle: limit of the law; the noncentral t is not computable there."""
    for dof in (None, 2.0, 50.0, 1e5, math.inf):
        for difference in (0.2, 0.6, 2.0, 1e6):
            assert replicates_needed(difference, 0.005, dof=dof, power=1.0 - 1e-9) < 60
    # at 36 standard uncertainties the library's own function gives NaN
    assert replicates_needed(math.expm1(36.0), 1.0, dof=1000.0, coverage=0.99) == 1
    # the size of the test is the power with no difference: no more is asked than the coverage leaves
    assert resolvable_ratio(0.02, 3, power=0.05) == 1.0
    assert resolvable_ratio(0.02, 3, power=0.0501) > 1.0


def test_seating_that_adds_nothing_leaves_the_floor():
    """Oracle: closed form. More mountings lower nothing: one is enough, or none are."""
    k = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert_allclose(resolvable_ratio(0.0, 5, floor=0.01), math.exp(k * 0.01), rtol=1e-4)  # far tail left out
    assert resolvable_ratio(0.0, 1) == 1.0
    assert replicates_needed(0.03, 0.0, floor=0.01) == 1
    assert replicates_needed(0.02, 0.0, floor=0.01) is None
    assert replicates_needed(0.0001, 0.0) == 1


def test_planning_refusals():
    """Oracle: definition."""
    with pytest.raises(ValueError, match=r"relative_sd must be zero or more; got -0\.02"):
        resolvable_ratio(-0.02, 3)
    with pytest.raises(ValueError, match="floor must be zero or more; got -1"):
        resolvable_ratio(0.02, 3, floor=-1.0)
    with pytest.raises(ValueError, match="n must be 2 or more; got 1"):
        resolvable_ratio(0.02, 1, dof=None)
    with pytest.raises(ValueError, match="n must be 1 or more; got 0"):
        resolvable_ratio(0.02, 0)
    with pytest.raises(ValueError, match="dof must be above zero; got 0"):
        replicates_needed(0.1, 0.02, dof=0.0)
    with pytest.raises(ValueError, match="power must be between 0 and 1; got 1"):
        replicates_needed(0.1, 0.02, power=1.0)
    with pytest.raises(ValueError, match="coverage must be between 0 and 1; got 95"):
        replicates_needed(0.1, 0.02, coverage=95)
    with pytest.raises(ValueError, match="relative_difference must be above -1 and not zero; got 0"):
        replicates_needed(0.0, 0.02)
    with pytest.raises(ValueError, match="relative_difference must be above -1 and not zero; got -1"):
        replicates_needed(-1.0, 0.02)


# Allocation -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spread", [0.0, 0.01])
def test_a_free_outermost_level_is_one_with_the_next(spread):
    # Oracle: closed form, sqrt(c1 s2^2 / (c2 s1^2)) with the variances and costs of the first two summed.
    plan = allocate_effort(
        {"specimen": spread, "mounting": 0.01, "reading": 0.02},
        {"specimen": 0.0, "mounting": 10.0, "reading": 1.0},
    )
    expected = [np.nan, 1.0, np.sqrt(10.0 * 0.02**2 / (spread**2 + 0.01**2))]
    assert_allclose(plan["ideal"], expected, rtol=1e-12)  # float rounding


def test_allocation_closed_form():
    """Oracle: b = sqrt(cU/cM sM^2/sU^2), n = sqrt(cM/ce sE^2/sM^2), textbook closed form."""
    sd, cost = {"u": 1.5, "m": 1.5, "e": 2.0}, {"u": 50.0, "m": 10.0, "e": 1.0}
    plan = allocate_effort(sd, cost)
    assert_allclose(
        plan["ideal"][1:], [math.sqrt(5.0), math.sqrt(10.0 * 4.0 / 2.25)], rtol=1e-12
    )  # closed form
    assert plan["count"][0] == 1
    # Where b clips at 1, n is worked out again with summed costs and variances.
    clipped = allocate_effort({"u": 5.0, "m": 1.0, "e": 4.0}, {"u": 10.0, "m": 10.0, "e": 1.0})
    assert_allclose(clipped["ideal"][1:], [1.0, math.sqrt(20.0 * 16.0 / 26.0)], rtol=1e-12)  # closed form


@pytest.mark.parametrize("seed", range(6))
def test_allocation_ideal_is_the_optimum(seed):
    """Oracle: brute force; no other real plan with counts of 1 or more has a smaller variance times cost."""
    rng = np.random.default_rng(seed)
    sd = dict(zip("abcd", np.exp(rng.normal(0.0, 1.0, 4)), strict=True))
    cost = dict(zip("abcd", np.exp(rng.normal(1.0, 1.0, 4)), strict=True))
    ideal = allocate_effort(sd, cost)["ideal"].to_numpy()[1:]
    variance, price = np.square([*sd.values()]), np.array([*cost.values()])

    def product(inner):
        units = np.cumprod([1.0, *inner])
        return (variance / units).sum() * (price @ units)

    best = product(ideal)
    for _ in range(400):
        assert product(np.maximum(1.0, ideal * np.exp(0.3 * rng.standard_normal(3)))) >= best * (1.0 - 1e-12)


def test_allocation_with_a_budget_is_the_best_whole_plan():
    """Oracle: brute force over all whole plans that 600 pays for."""
    for sd in (
        SPREAD,
        {"specimen": 0.015, "mounting": 0.015, "reading": 0.02},
        {"specimen": 0.0, "mounting": 1.0, "reading": 1.0},
    ):
        plan = allocate_effort(sd, COST, total_cost=600.0)
        best = min(
            planned_sd(sd, dict(zip(sd, counts, strict=True)))
            for counts in itertools.product(range(1, 20), range(1, 40), range(1, 60))
            if counts[0] * (30.0 + counts[1] * (15.0 + counts[2])) <= 600.0
        )
        assert_allclose(math.sqrt(plan["variance"].sum()), best, rtol=1e-12)  # float rounding
        assert plan["spent"].sum() <= 600.0
        counts = dict(zip(plan["level"], plan["count"], strict=True))
        assert_allclose(planned_sd(sd, counts), best, rtol=1e-12)  # float rounding
        assert list(plan.columns) == ["level", "sd", "cost", "ideal", "count", "units", "variance", "spent"]


def test_allocation_of_one_level():
    """Oracle: definition; a total buys whole readings."""
    plan = allocate_effort({"reading": 0.02}, {"reading": 4.0}, total_cost=21.0)
    assert plan["count"].tolist() == [5]
    assert_allclose(plan["variance"], [0.0004 / 5.0], rtol=1e-12)  # closed form


def test_allocation_refusals():
    """Oracle: definition."""
    with pytest.raises(MethodError, match=r"must pay for one unit of each level \(46\); got 40") as refused:
        allocate_effort(SPREAD, COST, total_cost=40.0)
    assert refused.value.known == {"least_cost": 46.0}
    assert allocate_effort(SPREAD, COST, total_cost=46.0)["count"].tolist() == [1, 1, 1]
    with pytest.raises(
        ValueError, match="cost_by_level must name the levels specimen, mounting, reading in order"
    ):
        allocate_effort(SPREAD, {"mounting": 1.0})
    with pytest.raises(
        ValueError, match=r"sd_by_level\['mounting'\] must be finite and zero or more; got -1"
    ):
        allocate_effort({**SPREAD, "mounting": -1.0}, COST)
    with pytest.raises(ValueError, match=r"cost_by_level\['reading'\] must be above zero; got 0"):
        allocate_effort(SPREAD, {**COST, "reading": 0.0})
    with pytest.raises(
        ValueError, match=r"sd_by_level\['specimen'\] must be above zero without a total_cost"
    ):
        allocate_effort({**SPREAD, "specimen": 0.0}, COST)
    with pytest.raises(ValueError, match="sd_by_level must hold a spread above zero"):
        allocate_effort(dict.fromkeys(SPREAD, 0.0), COST)
    with pytest.raises(ValueError, match="counts must name the levels specimen, mounting, reading in order"):
        planned_sd(SPREAD, {"specimen": 1})
    with pytest.raises(ValueError, match=r"counts\['mounting'\] must be 1 or more; got 0"):
        planned_sd(SPREAD, {"specimen": 1, "mounting": 0, "reading": 1})


# Next improvement, hours, run order -----------------------------------------------------------------------


def budget():
    """Return a budget of four rows whose fractions sum to 1."""
    return pd.DataFrame(
        {
            "name": ["scale", "seat 1", "seat 2", "noise"],
            "kind": ["meter", "mounting", "mounting", "reading"],
            "which": ["M1", "a", "b", ""],
            "variance_fraction": [0.3, 0.35, 0.25, 0.1],
        }
    )


def test_improvements():
    """Oracle: closed form; halving sources of 60, 30 and 10 % of the variance."""
    table = improvements(budget())
    assert table["kind"].tolist() == ["mounting", "meter", "reading"]
    assert_allclose(table["uncertainty_factor"], np.sqrt([0.55, 0.775, 0.925]), rtol=1e-12)  # float rounding
    assert_allclose(table["floor_factor"], np.sqrt([0.4, 0.7, 0.9]), rtol=1e-12)  # float rounding
    finer = improvements(budget(), by=["kind", "which"])
    assert finer[["kind", "which"]].iloc[0].tolist() == ["mounting", "a"]
    assert_allclose(
        improvements(budget(), factor=0.0)["uncertainty_factor"], table["floor_factor"], rtol=1e-12
    )


def test_improvements_by_cost():
    """Oracle: closed form gain over cost; a source without a cost stands last."""
    table = improvements(budget(), costs={"mounting": 10.0, "meter": 1.0})
    assert table["kind"].tolist() == ["meter", "mounting", "reading"]
    gains = [(1.0 - math.sqrt(0.775)), (1.0 - math.sqrt(0.55)) / 10.0]
    assert_allclose(table["gain_per_cost"][:2], gains, rtol=1e-12)  # float rounding


def test_improvements_match_a_recomputed_budget():
    """Oracle: the uncertainty recomputed with the source halved."""
    parts = np.array([0.01, 0.02, 0.015])
    fractions = parts**2 / (parts**2).sum()
    table = improvements(pd.DataFrame({"name": ["a", "b", "c"], "variance_fraction": fractions}), by="name")
    halved = math.sqrt(0.01**2 + 0.01**2 + 0.015**2) / math.sqrt((parts**2).sum())
    assert table["name"][0] == "b"
    assert_allclose(table["uncertainty_factor"][0], halved, rtol=1e-12)  # float rounding


def test_improvements_refusals():
    """Oracle: definition."""
    with pytest.raises(ValueError, match="table must hold the column 'source'"):
        improvements(budget(), by="source")
    with pytest.raises(ValueError, match="factor must be zero or more and below 1; got 1"):
        improvements(budget(), factor=1.0)
    with pytest.raises(ValueError, match=r"variance_fraction\[1\] must be finite and zero or more; got -0.1"):
        improvements(budget().assign(variance_fraction=[0.5, -0.1, 0.3, 0.3]))
    with pytest.raises(
        ValueError, match="the sum of variance_fraction must be more than zero and finite; got 0"
    ):
        improvements(budget().assign(variance_fraction=0.0))


def test_bench_hours():
    """Oracle: counted by hand: 8 lamps x 5 min + 16 specimens x 2 + 48 mountings x 70 + 144 readings x 0.5
    = 3504 min.
    """
    counts = {"lamp": 8, "specimen": 2, "mounting": 3, "reading": 3}
    minutes = {"lamp": 5.0, "specimen": 2.0, "mounting": 70.0, "reading": 0.5}
    assert_allclose(bench_hours(counts, minutes), 3504.0 / 60.0, rtol=1e-12)  # float rounding
    with pytest.raises(
        ValueError, match="minutes must name the levels lamp, specimen, mounting, reading in order"
    ):
        bench_hours(counts, {"lamp": 5.0})
    with pytest.raises(ValueError, match=r"minutes\['lamp'\] must be finite and 0 or more; got -1"):
        bench_hours(counts, {**minutes, "lamp": -1.0})
    with pytest.raises(ValueError, match=r"counts\['lamp'\] must be finite and 1 or more; got 0"):
        bench_hours({**counts, "lamp": 0}, minutes)


def test_run_order():
    """Oracle: definition: every lamp each round of each day, baseline around every block, mountings counted
    up.
    """
    lamps = [f"K{i}" for i in range(1, 9)]
    table = run_order(lamps, seed=3, days=3, rounds=2, baseline="B0", baseline_every=4)
    assert table.equals(run_order(lamps, seed=3, days=3, rounds=2, baseline="B0", baseline_every=4))
    assert not table.equals(run_order(lamps, seed=4, days=3, rounds=2, baseline="B0", baseline_every=4))
    for _, day in table.groupby("day"):
        order = day["lamp"].tolist()
        assert day["position"].tolist() == list(range(1, 22))
        assert [place for place, lamp in enumerate(order) if lamp == "B0"] == [0, 5, 10, 15, 20]
        others = [lamp for lamp in order if lamp != "B0"]
        assert sorted(others[:8]) == sorted(others[8:]) == lamps
    for _, seats in table.groupby("lamp"):
        assert seats["mounting"].tolist() == list(range(1, len(seats) + 1))
    alone = run_order(lamps, seed=3, rounds=50)["lamp"].tolist()
    assert all(one != other for one, other in itertools.pairwise(alone))


def test_run_order_is_random():
    """Oracle: symmetry; over 2000 days every lamp opens equally often (chi-square, 1 in 1000)."""
    first = run_order(list("abcde"), seed=9, days=2000).query("position == 1")["lamp"].value_counts()
    assert stats.chisquare(first.to_numpy()).pvalue > 0.001


def test_run_order_refusals():
    """Oracle: definition."""
    with pytest.raises(ValueError, match=r"lamps must be different.*got 2 names, 1 different"):
        run_order(["a", "a"], seed=1)
    with pytest.raises(ValueError, match="lamps must be different"):
        run_order(["a", "b"], seed=1, baseline="b")
    with pytest.raises(ValueError, match="days, rounds and baseline_every must be 1 or more; got 0, 1, 4"):
        run_order(["a"], seed=1, days=0)
