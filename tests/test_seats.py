"""Weights and spreads of mounting means. Oracle: closed forms on tiny designs."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import optimize, stats

from photolab.bench.inputs import seats as seats_module
from photolab.bench.inputs.seats import CELL, RESULT, SEATED, hours_from_middle, lamp_weights
from photolab.bench.inputs.spreads import (
    Spread,
    _residuals,
    between_specimens,
    campaign_spreads,
    day_spread,
    housing_spreads,
    mounting_spreads,
    not_held,
    own_specimens,
    reading_spreads,
    reheated,
    seats_alike,
    seen_through,
    specimen_spread,
    unrepeated,
)
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import Settings
from photolab.metrology.quantity import Input, Joint, measured


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
        "technology": "led",
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
    weights = lamp_weights(table, noise_sd=np.full(3, s), mounting=m, day=d)
    ratio = weights.matrix.toarray()[1] - weights.matrix.toarray()[0]
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
    weights = lamp_weights(table, noise_sd=np.full(3, 0.004), mounting=0.02, day=0.0)
    pair, single = 0.02**2 + 0.004**2 / 2, 0.02**2 + 0.004**2
    wanted = (1 / pair) / (1 / pair + 1 / single)
    assert_allclose(weights.matrix.toarray()[0, :2].sum(), wanted, rtol=1e-6)  # the solver's floor of 1e-12


def full_weights(table, noise, mounting, day, drift):
    """Weights by the whole covariance, inverted: the plain computation."""
    columns = Columns(table)

    def belongs(*names):
        code = columns.groups(*names).code
        return np.eye(code.max() + 1)[code]

    days = belongs("day", "housing", "point", "instant")
    seat, hours = belongs(*SEATED, "point", "instant"), days * hours_from_middle(columns)[:, None]
    inside = np.diag(noise**2 + 1e-12) + mounting**2 * seat @ seat.T
    inverse = np.linalg.inv(inside + day**2 * days @ days.T + drift**2 * hours @ hours.T)
    cells, results = belongs(*CELL), belongs(*RESULT)
    mean = (results.T @ cells > 0.0) / (results.T @ cells > 0.0).sum(axis=1, keepdims=True)
    return mean @ np.linalg.solve(cells.T @ inverse @ cells, cells.T @ inverse)


@pytest.mark.parametrize("clocks", [False, True])
@pytest.mark.parametrize(("days", "candidates", "factors"), [(7, "of the day", 4), (2, "the same", 4)])
def test_weights_are_those_of_the_whole_covariance(monkeypatch, days, candidates, factors, clocks):
    """Oracle: the covariance of all mountings, inverted: the baseline on many days, and all lamps on a few.

    With lamps of their own on every day the baseline's two pieces in two housings tie the days together; on two common
    days the days (and drifts) are fewer than the lamps.
    """
    rng = np.random.default_rng(12)
    rows = []
    for housing in ("HP", "HR"):
        for day in range(days):
            owner = day if candidates == "of the day" else ""
            lamps = [("B0", "1"), ("B0", "2"), *((f"K{owner}{k}", "1") for k in range(4))]
            for lamp, specimen in rng.permutation(lamps * 2)[: rng.integers(9, 13)]:
                more = {"housing": housing, "specimen": specimen, "mounting": str(len(rows) // 2)}
                more |= {"clock_h": rng.uniform(8.0, 18.0)} if clocks else {}
                rows += [(lamp, f"D{day}", 0.0, more)] * rng.integers(1, 3)
    table, noise = seats(*rows), rng.uniform(0.002, 0.01, len(rows))
    how = {"mounting": 0.02, "day": 0.03, "drift": 0.004}
    expected = full_weights(table, noise, **how)
    monkeypatch.setattr(seats_module, "_FULL", 0)
    weights = lamp_weights(table, noise_sd=noise, **how)
    matrix = weights.matrix
    if (
        candidates == "of the day" and not clocks
    ):  # a lamp's own part: its seatings, and the baseline's of its day
        for k, (lamp, *_) in enumerate(weights.names):
            own = table.iloc[matrix.plain[[k]].indices]
            assert set(zip(own["lamp"], own["day"], strict=True)) <= {
                (x, f"D{lamp[1]}") for x in (lamp, "B0")
            }
        assert set(table["lamp"].iloc[matrix.right.indices]) == {"B0"}
    assert matrix.right.shape[0] == factors * (2 if clocks and candidates == "the same" else 1)
    assert_allclose(matrix.full().toarray(), expected, rtol=0, atol=1e-13)  # float rounding
    monkeypatch.setattr(seats_module, "_FULL", 10**6)
    full = lamp_weights(table, noise_sd=noise, **how).matrix
    assert_allclose(full.toarray(), expected, rtol=0, atol=1e-13)


def test_lamps_of_single_days_need_no_factor(monkeypatch):
    """Oracle: the covariance of all mountings, inverted; only the clocks tell of the days, each day's of its own."""
    rng = np.random.default_rng(4)
    rows = [
        (f"K{k}{day}", f"D{day}", 0.0, {"clock_h": rng.uniform(8.0, 18.0)})
        for day in range(3)
        for k in range(3)
        for _ in range(3)
    ]
    table, noise = seats(*rows), np.full(27, 0.004)
    monkeypatch.setattr(seats_module, "_FULL", 0)
    how = {"mounting": 0.02, "day": 0.03, "drift": 0.02}
    matrix = lamp_weights(table, noise_sd=noise, **how).matrix
    assert_allclose(matrix.toarray(), full_weights(table, noise, **how), rtol=0, atol=1e-13)
    assert np.ptp(matrix.data) > 0.01  # no plain means


def read_at(*rows):
    """Hours of (lamp, instant, clock), seated once each on one day."""
    more = ({"instant": instant, "clock_h": clock, "mounting": "1"} for _, instant, clock in rows)
    return hours_from_middle(
        Columns(seats(*((lamp, "D1", 0.0, one) for (lamp, *_), one in zip(rows, more, strict=True))))
    )


def test_hours_are_those_from_the_middle_of_the_initial_readings():
    """Oracle: clocks by hand. One seating is as far apart as its own clocks, whichever others were held."""
    first = [("B0", "initial", 9.0), ("K1", "initial", 10.0), ("K2", "initial", 12.0)]
    assert_allclose(read_at(*first), [-1.5, -0.5, 1.5])
    assert_allclose(read_at(*first, ("K2", "hold", 12.5)), [-1.5, -0.5, 1.5, 2.0])
    assert_allclose(read_at(*first, ("K2", "hold", 12.5), ("B0", "hold", 9.5)), [-1.5, -0.5, 1.5, 2.0, -1.0])
    assert_allclose(read_at(("B0", "hold", 9.5), ("K2", "hold", 12.5)), [-1.5, 1.5])  # nothing read before


def test_a_reading_without_a_clock_has_no_drift_of_its_own():
    """Oracle: clocks by hand. At the hold time it stands where its seating did, so that what is left has none."""
    first = [("B0", "initial", 9.0), ("K2", "initial", 12.0)]
    late = [("B0", "hold", 9.5), ("K2", "hold", np.nan), ("K3", "hold", 13.0)]
    assert_allclose(read_at(*first, *late), [-1.5, 1.5, -1.5, 1.5, 0.0])
    assert_allclose(read_at(("B0", "initial", 9.0), ("K2", "initial", np.nan), late[0]), [0.0, 0.0, 0.0])


def test_mounting_variance_is_the_residual_mean_square_less_the_noise():
    rng = np.random.default_rng(3)
    rows = [(lamp, "D1", float(v), {"n": 3}) for lamp in ("K1", "K2") for v in rng.normal(0, 0.02, 6)]
    table = seats(*rows)
    reading = {lamp: Spread(0.009, 20.0, False) for lamp in ("K1", "K2")}
    found, own, flagged = mounting_spreads(table, 0.03, reading)
    groups = [table.loc[table["lamp"] == lamp, "ln_value"] for lamp in ("K1", "K2")]
    mean_square = sum(((g - g.mean()) ** 2).sum() for g in groups) / 10
    assert flagged == ()
    assert_allclose(found.sd**2, mean_square - 0.009**2 / 3, rtol=1e-9)
    assert found.dof == 10
    assert own == {"HP": found}
    assert housing_spreads(own, found) == own  # one housing is its own pool


def test_too_few_degrees_of_freedom_keep_the_assumed_sd():
    found, own, _ = mounting_spreads(
        seats(("K1", "D1", 0.0), ("K1", "D1", 0.5)), 0.03, {"K1": Spread(0.0, np.inf, True)}
    )
    assert (found.sd, found.assumed) == (0.03, True)
    assert housing_spreads(own, found) == {"HP": found}


def test_day_sd_is_what_the_baselines_days_say_beside_the_declared():
    """Oracle: by hand: one mounting a day, variance v less the seating's s^2 on f = 5, Welch-Satterthwaite at the
    larger of found and declared: nu = l^2 / ((l + s^2)^2 / 5 + s^4 / 10).
    """
    values = [0.00, 0.02, -0.01, 0.03, 0.01, -0.02]
    table = seats(*(("B0", f"D{i}", v) for i, v in enumerate(values)))
    for seat, declared in ((0.005, 0.01), (0.018, 0.01), (0.03, 0.01), (0.005, 0.0), (0.005, 0.05)):
        found = day_spread(table, declared, "B0", {"HP": Spread(seat, 10.0, False)})
        moment = np.var(values, ddof=1) - seat**2
        level = max(moment, declared**2)
        nu = level**2 / ((level + seat**2) ** 2 / 5 + seat**4 / 10)
        assert_allclose(found.dof, nu + 6, rtol=1e-9)
        assert_allclose(found.sd**2, max(nu * moment + 6 * declared**2, 0) / (nu + 6), rtol=1e-9)
        assert not found.assumed
    assert day_spread(table.iloc[:1], 0.01, "B0", {"HP": Spread(0.005, 10.0, False)}) == Spread(
        0.01, np.inf, True
    )


def test_days_seen_through_wide_seatings_hardly_move_the_declared_sd():
    """Oracle: what is known: forty days that scatter by 2 % replace a declared 1 % seen sharply, not through 10 %."""
    rng = np.random.default_rng(3)
    for seat, low, high in ((0.001, 0.017, 0.023), (0.1, 0.009, 0.013)):
        days = 0.02 * rng.standard_normal(40)
        rows = [("B0", f"D{i}", day + seat * rng.standard_normal()) for i, day in enumerate(days)]
        assert low < day_spread(seats(*rows), 0.01, "B0", {"HP": Spread(seat, 100.0, False)}).sd < high


def test_specimen_sd_by_the_method_of_moments():
    values = [0.00, 0.05, -0.04, 0.03, 0.01]
    table = seats(*(("K1", "D1", v, {"specimen": str(i)}) for i, v in enumerate(values)))
    seating = {"HP": Spread(0.005, 10.0, False)}
    found = specimen_spread(between_specimens(table, seating), 0.04)
    assert_allclose(found.sd**2, np.var(values, ddof=1) - 0.005**2, rtol=1e-9)
    again = pd.concat([table, table.assign(day="D2")], ignore_index=True)
    twice = between_specimens(again, seating)
    assert specimen_spread(twice, 0.04).dof == 4  # the same five pieces on two days
    assert found.dof == 4
    assert specimen_spread(between_specimens(table.iloc[:3], seating), 0.04).assumed  # three say too little


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


def test_a_lamps_specimens_are_its_own_with_the_declared_sd_as_a_prior_of_six():
    """Oracle: closed form: (6 x 0.04^2 + own dof x own variance) / (6 + own dof); a single piece: the prior alone."""
    table = seats(
        *(("K1", "D1", v, {"specimen": str(i)}) for i, v in enumerate((0.0, 0.05, -0.04))), ("K2", "D1", 0.1)
    )
    seating = {"HP": Spread(0.005, 10.0, False)}
    between = between_specimens(table, seating)
    one, single = own_specimens(between.get("K1"), 0.04), own_specimens(between.get("K2"), 0.04)
    own = np.var([0.0, 0.05, -0.04], ddof=1) - 0.005**2
    assert_allclose(one.sd**2, (6 * 0.04**2 + 2 * own) / 8, rtol=1e-9)  # float rounding
    assert (one.dof, one.assumed) == (8, False)
    assert (single.sd, single.dof, single.assumed) == (0.04, 6, True)
    alike = table.assign(
        ln_value=0.0
    )  # pieces nearer than their seatings have no variance, not a negative one
    assert_allclose(
        own_specimens(between_specimens(alike, seating)["K1"], 0.04).sd ** 2, 0.75 * 0.04**2, rtol=1e-9
    )


def test_what_pieces_not_held_add_to_remaining_light():
    """Oracle: closed form: var(mean of N - mean of n) over that of one; against 2e5 normal draws (s.e. 0.3 %)."""
    assert not_held({"1", "2"}, {"1", "2"}) == 0.0
    assert_allclose(not_held({"1"}, {"1", "2", "3"}), 1 - 1 / 3, rtol=1e-12)
    x = np.random.default_rng(4).standard_normal((200_000, 5))
    drawn = np.var(x[:, [0, 4]].mean(axis=1) - x[:, :4].mean(axis=1))
    assert_allclose(not_held({"0", "4"}, {"0", "1", "2", "3"}), drawn, rtol=0.02)


def test_seats_of_two_housings_are_drawn_together_only_where_nothing_speaks_against_it():
    """Oracle: closed form for the weights; Bartlett's statistic against scipy.stats.bartlett on the same samples."""
    pool = Spread(0.02, 20.0, False)
    near = {"HP": Spread(0.018, 10.0, False), "HR": Spread(np.sqrt(2 * 0.02**2 - 0.018**2), 10.0, False)}
    far = {"HP": Spread(0.008, 10.0, False), "HR": Spread(np.sqrt(2 * 0.02**2 - 0.008**2), 10.0, False)}
    used = housing_spreads(near, pool)["HP"]
    assert_allclose(used.sd**2, (10 * 0.018**2 + 2 * 0.02**2) / 12, rtol=1e-12)  # float rounding
    assert used.dof == 12
    assert housing_spreads(far, pool) == far
    few = {
        **far,
        "HX": Spread(np.nan, 0.0, False),
    }  # never seated again: the pool, with as few dof as an SD may have
    assert housing_spreads(few, pool)["HX"] == Spread(0.02, 4.0, False)
    rng = np.random.default_rng(2)
    told = []
    for wide in (1.0, 1.5, 1.8, 2.5):
        a, b = rng.normal(0, 1, 9), rng.normal(0, wide, 12)
        own = {"HP": Spread(a.std(ddof=1), 8.0, False), "HR": Spread(b.std(ddof=1), 11.0, False)}
        told.append((seats_alike(own), stats.bartlett(a, b).pvalue >= 0.2))
    assert all(one == other for one, other in told)
    assert len(set(told)) == 2
    edge = optimize.brentq(lambda wide: stats.bartlett(a, wide * b).pvalue - 0.2, 0.5, 1.0)
    for wide, alike in ((0.999, True), (1.001, False)):
        own = {
            "HP": Spread(a.std(ddof=1), 8.0, False),
            "HR": Spread(edge * wide * b.std(ddof=1), 11.0, False),
        }
        assert seats_alike(own) is alike


def test_each_housing_has_a_seating_sd_of_its_own():
    """Oracle: closed form of one-way residuals: seats of 1 and 4 %, each housing's SD is that of its own seatings."""
    rng = np.random.default_rng(8)
    rows = [
        (f"K{i}", "D1", float(v), {"housing": housing, "n": 1})
        for housing, sd in (("HP", 0.01), ("HR", 0.04))
        for i in range(4)
        for v in rng.normal(0, sd, 3)
    ]
    table = seats(*rows)
    found = campaign_spreads(table, Settings(), "K0")
    for housing, block in table.groupby("housing"):
        squares = block.groupby("lamp")["ln_value"].apply(lambda v: ((v - v.mean()) ** 2).sum()).sum()
        assert_allclose(found.seating[housing].sd ** 2, squares / 8, rtol=1e-9)  # float rounding
        assert found.seating[housing].dof == 8
    assert found.mounting.dof == 16


def test_a_seating_sd_found_below_noise_is_as_doubtful_as_what_it_was_found_from():
    """Oracle: closed form: dof of m times the square of s^2/m, half of m at least; by hand over lamps and housings."""
    rng = np.random.default_rng(1)
    drawn, ss = rng.normal(0.0, 0.022, (3, 3)), 0.001 * rng.chisquare(9, (3, 3))  # of ten readings, SD 3.2 %
    rows = [(f"K{i}", "D1", drawn[i, k], {"n": 10, "ss": ss[i, k]}) for i in range(3) for k in range(3)]
    table = seats(*rows)
    found = campaign_spreads(table, Settings(), "K0")
    noise = table["ss"].sum() / (9 * 9) / 10
    squares = table.groupby("lamp")["ln_value"].apply(lambda v: ((v - v.mean()) ** 2).sum()).sum()
    assert 0.6 < found.mounting.sd**2 / (squares / 6) < 0.9
    assert_allclose(found.mounting.sd**2, squares / 6 - noise, rtol=1e-9)  # float rounding
    assert_allclose(found.mounting.dof, 6 * (1 - noise / (squares / 6)) ** 2, rtol=1e-9)
    assert found.seating == {"HP": found.mounting}
    assert found.own_seating["HP"].dof == 6
    mostly = Spread(0.01, 8.0, False)
    assert seen_through(mostly, np.array([0.0001, 0.0005])).dof == 8.0 / 4  # a quarter of m; half is taken
    assert seen_through(mostly, np.zeros(2)) == mostly
    declared, none = Spread(0.03, np.inf, True), Spread(0.0, 8.0, False)
    assert seen_through(declared, np.array([0.01])) == declared
    assert seen_through(none, np.array([0.01])) == none


def test_the_mean_of_a_seating_covers_better_with_the_doubt_of_a_difference():
    """Synthetic truth, 20 000 draws, s.e. 0.2 points: a fifth of m is noise, m has 4 dof; with those it is 91.2 %."""
    rng, noise = np.random.default_rng(2), 0.2
    found, of_m = [], []
    for square, away in zip(rng.chisquare(4, 20_000) / 4, rng.standard_normal(20_000), strict=True):
        seat = Spread(np.sqrt(max(square - noise, 0.0)), 4.0, False)
        for told, dof in ((found, seen_through(seat, np.array([noise])).dof), (of_m, 4.0)):
            mean = measured(away, Input("noise", np.sqrt(noise)), Input("seat", seat.sd, dof=dof))
            told.append(abs(away) <= mean.half_width())
    assert 0.93 < np.mean(found) < 0.945
    assert 0.905 < np.mean(of_m) < 0.92


def _held_twice(*kept, lamp="K1", **more):
    """Return rows of seatings read once at both instants: ln at first, and what each kept."""
    return [
        (lamp, f"D{k}", first + away, {"instant": instant, "mounting": "1", **more})
        for k, (first, left) in enumerate(kept)
        for instant, away in (("initial", 0.0), ("hold", left))
    ]


def test_readings_never_repeated_scatter_as_what_seatings_kept_does():
    """Oracle: by hand: differences -0.10, -0.11 and -0.12 of one piece, -0.02 and -0.02 of another; prior of 6 dof."""
    one = _held_twice((0.03, -0.10), (-0.02, -0.11), (0.01, -0.12))
    other = _held_twice((0.0, -0.02), (0.05, -0.02), specimen="2")
    found = unrepeated(seats(*one, *other), 0.004)
    # 2 + 1 degrees of freedom, each difference of two readings: (0.01^2 + 0.01^2) / (3 x 2)
    assert_allclose(found.sd**2, (2e-4 / 2 + 6 * 0.004**2) / 9, rtol=1e-9)  # float rounding
    assert (found.dof, found.assumed) == (9.0, False)
    means = _held_twice(
        (0.03, -0.10), (-0.02, -0.11), (0.01, -0.12), n=3, parts=3
    )  # at three clock times each
    assert_allclose(unrepeated(seats(*means), 0.004).sd ** 2, (2e-4 * 3 / 2 + 6 * 0.004**2) / 8, rtol=1e-9)
    assert unrepeated(seats(*one[:2], *other[:2]), 0.004) == Spread(0.004, np.inf, True)
    apart = [(*row[:3], row[3] | {"range_lx": 4000.0 + 1000.0 * (k % 2)}) for k, row in enumerate(one)]
    assert unrepeated(seats(*apart), 0.004) is None  # the two instants on two ranges
    assert unrepeated(seats(*(row for row in one if row[3]["instant"] == "hold")), 0.004) is None
    assert unrepeated(seats(*one[:-1], (*one[-1][:3], one[-1][3] | {"n": 2})), 0.004) is None  # repeated once


def test_what_is_left_differs_from_one_heating_to_the_next_beyond_what_readings_scatter():
    """Oracle: closed form: variance of what seatings kept less that of two means of three readings, by technology."""
    noise = {"K1": Spread(0.003, 20.0, False), "B0": Spread(0.003, 20.0, False)}
    kept = (-0.10, -0.12, -0.14, -0.11, -0.13)
    led = _held_twice(*((0.01 * k, left) for k, left in enumerate(kept)), n=3)
    steady = _held_twice(
        *((0.01 * k, 0.001 * (k % 2)) for k in range(5)), lamp="B0", n=3, technology="filament"
    )
    found = reheated(seats(*led, *steady), noise)
    square, two = np.var(kept, ddof=1), 2 * 0.003**2 / 3
    assert_allclose(found["led"].sd ** 2, square - two, rtol=1e-9)  # float rounding
    assert_allclose(found["led"].dof, 4 * (1 - two / square) ** 2, rtol=1e-9)
    assert found["filament"] == Spread(0.0, 4.0, False)
    assert [*reheated(seats(*led[:-2], *steady), noise)] == [
        "filament"
    ]  # three degrees of freedom tell nothing


@pytest.mark.parametrize("declared", [0.0, 3.0])
def test_the_scatter_of_single_readings_is_taken_out_of_that_of_seatings(declared):
    """Oracle: closed form: a mounting mean scatters as before; what it keeps, by two readings alone."""
    rng = np.random.default_rng(7)
    settings = Settings(mounting_sd_percent=declared, reading_sd_percent=0.5)
    first = _held_twice((0.0, -0.1), lamp="K1") + _held_twice((0.0, -0.1), lamp="K2")
    alone = campaign_spreads(seats(*first), settings, "K0")
    sd = min(0.005, declared / 100.0)
    assert alone.single
    assert alone.reading["K1"] == Spread(sd, np.inf, True)
    assert_allclose(alone.seating["HP"].sd ** 2 + sd**2, (declared / 100.0) ** 2, atol=1e-18)
    assert_allclose(alone.seated_once, declared / 100.0, atol=1e-12)
    many = _held_twice(*((v, -0.1) for v in rng.normal(0.0, 0.02, 6)))
    found, without = (
        campaign_spreads(seats(*rows), settings, "K0")
        for rows in (many, [row for row in many if row[3]["instant"] == "initial"])
    )
    assert (found.single, without.single) == (True, False)
    assert without.reading["K1"].sd == 0.0
    assert found.reading["K1"].dof == 5 + 6
    total = found.seating["HP"].sd ** 2 + found.reading["K1"].sd ** 2
    assert_allclose(total, without.seating["HP"].sd ** 2, rtol=1e-9)  # float rounding
    assert_allclose(found.seated_once**2, total, rtol=1e-12)


def test_the_scatter_of_readings_is_no_scatter_of_days_or_pieces():
    """Oracle: closed form: with the noise of the means as a scatter of seatings the same is taken off."""
    rng = np.random.default_rng(6)
    rows = [
        ("B0", f"D{d}", v, {"specimen": piece})
        for d in range(4)
        for piece in "ab"
        for v in rng.normal(0.0, 0.03, 2)
    ]
    table, noise = seats(*rows), np.tile([0.0001, 0.0003], 8)
    apart, together = ({"HP": Spread(sd, np.inf, False)} for sd in (0.01, np.sqrt(0.0001 + 0.0002)))
    days = day_spread(table, 0.01, "B0", apart, noise=noise)
    assert_allclose(days.sd, day_spread(table, 0.01, "B0", together).sd, rtol=1e-9)  # float rounding
    assert days.sd < day_spread(table, 0.01, "B0", apart).sd
    pieces = between_specimens(table, apart, noise=noise)["B0"]
    assert_allclose(pieces, between_specimens(table, together)["B0"], rtol=1e-9)  # float rounding
    assert pieces[0] < between_specimens(table, apart)["B0"][0]


def test_a_far_mounting_is_flagged_and_stays_in_the_pool():
    rng = np.random.default_rng(5)
    rows = [(f"K{i}", "D1", float(v)) for i in range(6) for v in rng.normal(0, 0.02, 3)]
    rows[4] = (*rows[4][:2], -0.2)
    table = seats(*rows)
    found = campaign_spreads(table, Settings(), "K0")
    assert found.flagged == (4,)
    squares = table.groupby("lamp")["ln_value"].apply(lambda v: ((v - v.mean()) ** 2).sum()).sum()
    assert_allclose(found.mounting.sd**2, squares / 12, rtol=1e-9)  # every seating, the far one too
    assert found.mounting.sd > 0.04
    without = campaign_spreads(table.drop(index=4).reset_index(drop=True), Settings(), "K0")
    assert without.mounting.sd < 0.03  # excluded by the person


def test_a_mounting_is_flagged_from_five_per_cent_by_chance_on():
    """Oracle: closed form: t of one seating against seven others, s sqrt(1 + 1/7), 6 dof, Bonferroni over eight."""
    others = np.linspace(-0.03, 0.03, 7)
    edge = stats.t.isf(0.05 / 2 / 8, 6) * others.std(ddof=1) * np.sqrt(8 / 7)
    for times, flagged in ((0.999, ()), (1.001, (7,))):
        values = [*others, times * edge]
        assert (
            campaign_spreads(seats(*(("K1", "D1", v) for v in values)), Settings(), "K0").flagged == flagged
        )


def test_scatter_of_a_mean_falls_with_the_root_of_its_readings():
    """Oracle: closed form: s over sqrt n, with each lamp's own s."""
    table = seats(
        *((lamp, "D1", 0.0, {"n": n, "ss": ss}) for lamp, n, ss in (("K8", 5, 4.0), ("K1", 9, 8e-4)))
    )
    found = campaign_spreads(table, Settings(), "K0").noise(Columns(table))
    assert_allclose(found, [1.0 / np.sqrt(5), 0.01 / 3], rtol=1e-12)


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


def test_residuals_and_leverages_are_those_of_a_full_design():
    """Oracle: numpy's pseudo-inverse of the design of lamps and days, unbalanced, with a lamp on one day alone."""
    rng = np.random.default_rng(11)
    cell = np.array([0, 0, 0, 1, 1, 2, 2, 2, 2, 3, 3, 4, 4, 4])
    day = np.array([0, 1, 1, 0, 2, 0, 1, 2, 2, 5, 5, 1, 2, 0])
    value = rng.normal(3.0, 0.1, len(cell))
    design = np.hstack([np.eye(5)[cell], np.eye(6)[day]])
    hat = design @ np.linalg.pinv(design)
    residual, leverage, dof = _residuals(cell, day, value)
    assert_allclose(residual, value - hat @ value, atol=1e-13)
    assert_allclose(leverage, np.diag(hat), rtol=1e-12)
    assert dof == len(cell) - np.linalg.matrix_rank(design)


def test_day_sd_of_days_with_unlike_numbers_of_mountings_in_two_housings():
    """Oracle: the method of moments by hand: squares weighted by the mountings of each day; the seating SD of a housing
    is one estimate for all its pieces.
    """
    rng = np.random.default_rng(4)
    seating = {"HP": Spread(0.005, 10.0, False), "HR": Spread(0.008, 7.0, False)}
    rows, squares, share, doubts = [], 0.0, 0.0, []
    less = {"HP": 0.0, "HR": 0.0}
    for housing, piece, numbers in (
        ("HP", "a", (2, 1, 3, 1, 1)),
        ("HP", "b", (1, 2)),
        ("HR", "a", (2, 2, 3)),
    ):
        values = [rng.normal(0, 0.04) + rng.normal(0, 0.01, n) for n in numbers]
        rows += [
            ("B0", f"D{d}", v, {"housing": housing, "specimen": piece})
            for d, several in enumerate(values)
            for v in several
        ]
        n, mean = np.array(numbers), np.array([several.mean() for several in values])
        squares += (n * (mean - np.average(mean, weights=n)) ** 2).sum()
        share += n.sum() - (n**2).sum() / n.sum()
        less[housing] += (len(n) - 1) * seating[housing].sd ** 2
        doubts.append((n.sum() - (n**2).sum() / n.sum(), len(n) - 1, seating[housing].sd ** 2))
    moment = (squares - sum(less.values())) / share
    assert moment > 0.01**2
    doubt = sum((weight * moment + f * s2) ** 2 / f for weight, f, s2 in doubts)
    nu = (share * moment) ** 2 / (doubt + sum(less[h] ** 2 / seating[h].dof for h in less))
    found = day_spread(seats(*rows), 0.01, "B0", seating)
    assert_allclose(found.sd**2, (nu * moment + 6 * 0.01**2) / (nu + 6), rtol=1e-9)
    assert_allclose(found.dof, nu + 6, rtol=1e-9)


def test_a_lamp_keeps_its_own_reading_sd_from_three_times_that_of_the_others():
    """Oracle: the rule, against the others alone: 2.9 and 3.1 times their SD."""
    for times, own in ((2.9, False), (3.1, True)):
        rows = [
            ("K1", "D1", 0.0, {"n": 7, "ss": 6 * (0.01 * times) ** 2}),
            ("K2", "D1", 0.0, {"n": 7, "ss": 6 * 0.01**2}),
        ]
        assert (reading_spreads(seats(*rows))["K1"].dof == 6.0) is own


def test_columns_apart_by_group():
    """Closed form: each group's entries in their order, groups as they first appear; no row, no group."""
    table = Columns({"lamp": np.array(["K2", "K1", "K2"]), "lx": np.array([3.0, 5.0, 7.0])})
    apart = table.groups("lamp").apart(table.numbers("lx"))
    assert [part.tolist() for part in apart] == [[3.0, 7.0], [5.0]]
    nothing = table.among(np.empty(0, dtype=np.intp))
    assert nothing.groups("lamp", "lx").apart(nothing.numbers("lx")) == []
