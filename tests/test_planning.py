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
from photolab.metrology.effort import allocate_effort, bench_hours, planned_sd, run_order
from photolab.metrology.planning import (
    comparison_power,
    improvements,
    mean_power,
    mean_replicates,
    replicates_needed,
    resolvable_ratio,
)

REFERENCE = Path(__file__).parent / "reference"
EXAMPLES = {entry["id"]: entry for entry in json.loads((REFERENCE / "precision_examples.json").read_text())}
SPREAD = {"specimen": 0.05, "mounting": 0.015, "reading": 0.003}
COST = {"specimen": 30.0, "mounting": 15.0, "reading": 1.0}


# Power and replicates -------------------------------------------------------------------------------------


def test_power_published():
    """Oracle: R package pwr as recorded in statsmodels' tests (secondary text)."""
    entry = EXAMPLES["power.pwr"]
    for case, published in zip(entry["inputs"]["cases"], entry["published"]["power"], strict=True):
        alternative = "two-sided" if case["alt"] == "two" else "larger"
        found = mean_power(
            case["d"], case["n1"], case["n2"], alternative=alternative, coverage=1.0 - case["alpha"]
        )
        assert_allclose(found, float(published), atol=1e-9, rtol=0)  # R's own iterations


def test_no_difference_is_told_apart_as_often_as_the_coverage_leaves():
    """Oracle: definition of coverage, known SD and four dof: both sides count."""
    for dof in (math.inf, 4.0):
        for coverage in (0.9, 0.99):
            found = comparison_power(1e-12, 0.02, 3, dof=dof, coverage=coverage)
            assert_allclose(found, 1 - coverage, rtol=1e-9)


def test_replicates_published():
    """Oracle: R's power.t.test help page; NIST 7.2.2.2 (8.567 with rounded z, 8.564 exactly; 11 by t)."""
    two = mean_replicates(1.0, groups=2, power=0.9)
    assert_allclose(
        two, float(EXAMPLES["power.R.stats"]["published"]["n_two_sided"]), atol=2e-5, rtol=0
    )  # R's search
    options = {"alternative": "larger", "power": 0.9}
    known = mean_replicates(1.0, known_sd=True, **options)
    assert_allclose(known, EXAMPLES["nist.prc.7.2.2.2"]["recomputed"]["Nz"], rtol=1e-9)  # float rounding
    assert math.ceil(mean_replicates(1.0, **options)) == 11
    # Cohen 1988, Table 2.4.1 (from memory; 393 is printed for 393.4).
    for d, n in zip((0.2, 0.5, 0.8), EXAMPLES["power.cohen"]["published"]["n"], strict=True):
        assert_allclose(mean_replicates(d, groups=2), float(n), atol=0.5, rtol=0)
    # Known SD, two means: closed form.
    z = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert_allclose(
        mean_replicates(0.5, groups=2, known_sd=True), 2.0 * (z / 0.5) ** 2, rtol=1e-9
    )  # rounding


def test_replicates_needed_is_the_smallest():
    """Oracle: definition, by counting up with the power; R's 22.02 becomes 23 when the SD comes from the
    test itself.
    """
    assert replicates_needed(math.e - 1.0, 1.0, dof=None, power=0.9) == 23
    for options in ({}, {"floor": 0.01}, {"dof": None}, {"dof": 12.0}, {"power": 0.5}):
        target = options.get("power", 0.8)
        plan = {key: value for key, value in options.items() if key != "power"}
        n = replicates_needed(0.04, 0.02, **options)
        assert comparison_power(0.04, 0.02, n, **plan) >= target
        if n > (2 if plan.get("dof", 1) is None else 1):
            assert comparison_power(0.04, 0.02, n - 1, **plan) < target
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
        assert_allclose(comparison_power(ratio - 1.0, 0.02, 3, dof=dof), power, rtol=1e-8)  # root finding
        assert_allclose(comparison_power(1.0 / ratio - 1.0, 0.02, 3, dof=dof), power, rtol=1e-8)


def test_power_by_simulation():
    """Oracle: synthetic truth; two lamps, 3 mountings each, t on their own 4 dof: share of intervals
    without 1.
    """
    rng = np.random.default_rng(6)
    a, b = 0.02 * rng.standard_normal((2, 20_000, 3)) + np.array([0.0, math.log(1.05)])[:, None, None]
    pooled = (a.var(axis=1, ddof=1) + b.var(axis=1, ddof=1)) / 2.0
    t = (b.mean(axis=1) - a.mean(axis=1)) / np.sqrt(2.0 * pooled / 3.0)
    share = np.mean(np.abs(t) > stats.t.ppf(0.975, 4))
    power = comparison_power(0.05, 0.02, 3, dof=None)
    assert_allclose(
        share, power, atol=3.0 * math.sqrt(power * (1.0 - power) / 20_000), rtol=0
    )  # 3 standard errors


def test_power_far_out_is_certain_not_missing():
    """Oracle: limit of the law; the noncentral t is not computable there."""
    for dof in (None, 2.0, 50.0, 1e5, math.inf):
        for difference in (0.2, 0.6, 2.0, 1e6):
            assert_allclose(
                comparison_power(difference, 0.005, 20, dof=dof), 1.0, atol=1e-9
            )  # limit of the law
    far = comparison_power(math.expm1(36.0), 1.0, 2, dof=1000.0, coverage=0.99)
    assert_allclose(far, 1.0, atol=1e-9)  # limit of the law, where the library's own function gives NaN
    size = comparison_power(0.0, 0.02, 3)
    assert_allclose(size, 0.05, rtol=1e-9)  # with no difference the power is the size of the test


def test_planning_refusals():
    """Oracle: definition."""
    with pytest.raises(ValueError, match="relative_sd must be finite and above zero; got 0"):
        resolvable_ratio(0.0, 3)
    with pytest.raises(ValueError, match="floor must be finite and zero or more; got -1"):
        resolvable_ratio(0.02, 3, floor=-1.0)
    with pytest.raises(ValueError, match="n must be 2 or more; got 1"):
        resolvable_ratio(0.02, 1, dof=None)
    with pytest.raises(ValueError, match="n must be 1 or more; got 0"):
        comparison_power(0.1, 0.02, 0)
    with pytest.raises(ValueError, match="dof must be above zero; got 0"):
        replicates_needed(0.1, 0.02, dof=0.0)
    with pytest.raises(ValueError, match="power must lie between 0 and 1; got 1"):
        replicates_needed(0.1, 0.02, power=1.0)
    with pytest.raises(ValueError, match="coverage must lie between 0 and 1; got 95"):
        replicates_needed(0.1, 0.02, coverage=95)
    with pytest.raises(ValueError, match="relative_difference must be above -1 and not zero; got 0"):
        replicates_needed(0.0, 0.02)
    with pytest.raises(ValueError, match="relative_difference must be above -1; got -1"):
        comparison_power(-1.0, 0.02, 3)
    with pytest.raises(ValueError, match="effect_size must be finite and not zero; got 0"):
        mean_replicates(0.0)


# Allocation -----------------------------------------------------------------------------------------------


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
    with pytest.raises(ValueError, match="the sum of variance_fraction must be finite and above zero; got 0"):
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
