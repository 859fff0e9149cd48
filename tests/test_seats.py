"""Weights and spreads of mounting means. Oracle: closed forms on tiny designs."""

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from photolab.bench.model import Settings
from photolab.bench.seats import Scatter, lamp_weights
from photolab.bench.spreads import (
    Spread,
    campaign_spreads,
    day_spread,
    mounting_spread,
    reading_spreads,
    specimen_spread,
)
from photolab.metrology.quantity import Input, Joint


def seats(*rows):
    columns = ["lamp", "day", "ln_value"]
    table = pd.DataFrame([r[:3] for r in rows], columns=columns)
    extra = [r[3] if len(r) > 3 else {} for r in rows]
    base = {
        "specimen": "1",
        "housing": "HP",
        "meter": "M1",
        "range_lx": 4000.0,
        "point": "hot_spot",
        "instant": "initial",
    }
    table = table.assign(
        **base, clock_h=np.nan, n=1, parts=1, ss=0.0, mounting=[str(i) for i in range(len(rows))]
    )
    for i, more in enumerate(extra):
        for key, value in more.items():
            table.loc[i, key] = value
    return table


def test_a_day_shared_with_the_baseline_outweighs_a_day_that_is_not():
    """K1 is read on D1 with B0, and on D2 alone: its ratio to B0 leans on D1 as the variances say (closed form).

    ln K1/B0 = w x (K1 - B0 on D1) + (1 - w) x (K1 on D2 - B0 on D1): the best weights of the generalised least squares,
    found here by inverting the covariance of the two differences.
    """
    s, m, d = 0.004, 0.025, 0.01
    table = seats(("B0", "D1", 0.0), ("K1", "D1", 0.1), ("K1", "D2", 0.3))
    weights = lamp_weights(table, noise_sd=np.full(3, s), scatter=Scatter(m, d))
    ratio = weights.matrix[1] - weights.matrix[0]
    v = m**2 + s**2 + 1e-12
    covariance = np.array([[2 * v, v], [v, 2 * v + 2 * d**2]])  # of the two differences; both use B0 on D1
    inverse = np.linalg.inv(covariance).sum(axis=0)
    best = inverse / inverse.sum()
    assert_allclose(ratio, [-1.0, best[0], best[1]], rtol=1e-9)  # float rounding of a 3 x 3 solve
    assert best[0] > best[1]


def test_parts_of_one_mounting_share_its_seating():
    """Two clock times of one mounting are no two seatings: the weight of the pair is that of one (closed form)."""
    table = seats(
        ("K1", "D1", 0.0, {"mounting": "a"}), ("K1", "D1", 0.0, {"mounting": "a"}), ("K1", "D1", 0.0)
    )
    weights = lamp_weights(table, noise_sd=np.full(3, 0.004), scatter=Scatter(0.02, 0.0))
    pair, single = 0.02**2 + 0.004**2 / 2, 0.02**2 + 0.004**2
    wanted = (1 / pair) / (1 / pair + 1 / single)
    assert_allclose(weights.matrix[0, :2].sum(), wanted, rtol=1e-6)  # the solver's floor of 1e-12


def test_mounting_variance_is_the_residual_mean_square_less_the_noise():
    rng = np.random.default_rng(3)
    rows = [(lamp, "D1", float(v), {"n": 3}) for lamp in ("K1", "K2") for v in rng.normal(0, 0.02, 6)]
    table = seats(*rows)
    reading = {lamp: Spread(0.009, 20.0, False) for lamp in ("K1", "K2")}
    found, flagged = mounting_spread(table, 0.03, reading)
    groups = [table.loc[table["lamp"] == lamp, "ln_value"] for lamp in ("K1", "K2")]
    mean_square = sum(((g - g.mean()) ** 2).sum() for g in groups) / 10
    assert flagged == ()
    assert_allclose(found.sd**2, mean_square - 0.009**2 / 3, rtol=1e-9)
    assert found.dof == 10


def test_too_few_degrees_of_freedom_keep_the_assumed_sd():
    found, _ = mounting_spread(
        seats(("K1", "D1", 0.0), ("K1", "D1", 0.5)), 0.03, {"K1": Spread(0.0, np.inf, True)}
    )
    assert (found.sd, found.assumed) == (0.03, True)


def test_day_sd_by_the_method_of_moments():
    values = [0.00, 0.02, -0.01, 0.03, 0.01, -0.02]
    table = seats(*(("B0", f"D{i}", v) for i, v in enumerate(values)))
    found = day_spread(table, 0.01, "B0", Spread(0.005, 10.0, False))
    assert_allclose(found.sd**2, np.var(values, ddof=1) - 0.005**2, rtol=1e-9)  # one mounting a day
    assert found.dof == 5
    assert day_spread(table.iloc[:2], 0.01, "B0", Spread(0.005, 10.0, False)).assumed


def test_specimen_sd_by_the_method_of_moments():
    values = [0.00, 0.05, -0.04, 0.03, 0.01]
    table = seats(*(("K1", "D1", v, {"specimen": str(i)}) for i, v in enumerate(values)))
    found = specimen_spread(table, 0.04, Spread(0.005, 10.0, False))
    assert_allclose(found.sd**2, np.var(values, ddof=1) - 0.005**2, rtol=1e-9)
    again = pd.concat([table, table.assign(day="D2")], ignore_index=True)
    assert (
        specimen_spread(again, 0.04, Spread(0.005, 10.0, False)).dof == 4
    )  # the same five pieces on two days
    assert found.dof == 4
    assert specimen_spread(table.iloc[:3], 0.04, Spread(0.005, 10.0, False)).assumed  # three say too little


def test_reading_sd_is_pooled_and_a_modulated_lamp_keeps_its_own():
    table = seats(
        *((lamp, "D1", 0.0, {"n": 3, "ss": ss}) for lamp, ss in [("K1", 2e-5)] * 4 + [("K8", 2e-3)] * 4)
    )
    found = reading_spreads(table)
    assert_allclose(found["K1"].sd, math_sqrt(8e-5 / 8), rtol=1e-12)
    assert_allclose(found["K8"].sd, math_sqrt(8e-3 / 8), rtol=1e-12)
    assert reading_spreads(seats(("K1", "D1", 0.0)))["K1"].sd == 0.0


def math_sqrt(x):
    return float(np.sqrt(x))


def test_a_far_mounting_is_flagged_and_leaves_the_pool():
    rng = np.random.default_rng(5)
    rows = [(f"K{i}", "D1", float(v)) for i in range(6) for v in rng.normal(0, 0.02, 3)]
    rows[4] = (*rows[4][:2], -0.2)
    table = seats(*rows)
    found = campaign_spreads(table, Settings(), "K0")
    assert found.flagged == (4,)
    assert found.mounting.sd < 0.035


def test_twelve_mountings_on_a_pool_of_four_dof_cover_as_stated():
    """Synthetic truth, 1200 repetitions: 95 % within 3.2 standard errors (0.63 points); counted apart it is 88 %."""
    rng = np.random.default_rng(11)
    pooled, apart = [], []
    for sd in 0.02 * np.sqrt(rng.chisquare(4, 1200) / 4):
        means = rng.normal(0.0, 0.02, (2, 6)).mean(axis=1)
        for found, group in ((pooled, lambda i: "pool"), (apart, str)):
            inputs = [Input(str(i), sd, dof=4.0, variance=group(i)) for i in range(12)]
            joint = Joint("ab", means, inputs, np.kron(np.eye(2), np.full(6, 1 / 6)))
            low, high = (joint["a"] - joint["b"]).interval()
            found.append(low <= 0.0 <= high)
    assert abs(np.mean(pooled) - 0.95) < 0.02
    assert np.mean(apart) < 0.92
