"""The simulated bench: it is what its truth says, the same each time, and shown as a meter would show it."""

import json
import tomllib
from collections import Counter
from dataclasses import asdict, replace
from itertools import pairwise
from math import exp, log
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import ln_ratio

from photolab.bench.drawn.demo import HOLDS, WARM_UPS, Seat, demo_truth, seats
from photolab.bench.drawn.simulation import (
    demo,
    draw_truth,
    simulate,
    write_demo,
    write_simulation,
)
from photolab.bench.drawn.simulation_tables import (
    SeatState,
    seat_states,
    shown_lx,
    true_illuminance,
    working_range,
)
from photolab.bench.drawn.truth import truth_document
from photolab.bench.folder.records import read_bench
from photolab.errors import RecordError

DEMO = Path(__file__).parents[1] / "data" / "demo"


def still(truth):
    """The same truth with nothing that scatters, and meters that show many figures."""
    lamps = {name: replace(lamp, reading_sd=0.0, ambient_per_K=0.0) for name, lamp in truth.lamps.items()}
    housings = {name: replace(place, mounting_sd=0.0) for name, place in truth.housings.items()}
    meters = {
        name: replace(meter, resolution_lx=tuple(1e-5 for _ in meter.ranges_lx))
        for name, meter in truth.meters.items()
    }
    return replace(truth, lamps=lamps, housings=housings, meters=meters, ageing_per_h=0.0, aims={})


@pytest.fixture(scope="module")
def frozen():
    return demo()


def test_the_committed_folder_is_what_the_code_writes(tmp_path):
    """Oracle: the committed bytes; nothing else stands in the folder."""
    write_demo(tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in DEMO.iterdir()}
    for file in sorted(tmp_path.iterdir()):
        assert file.read_bytes() == (DEMO / file.name).read_bytes(), file.name


def test_the_demo_folder_says_that_it_is_invented_and_stays_small():
    """Oracle: the rule for shipped data."""
    for name in ("bench.toml", "truth.toml"):
        assert (DEMO / name).read_text(encoding="utf-8").startswith("# INVENTED")
    assert read_bench(DEMO).settings.invented
    assert sum(file.stat().st_size for file in DEMO.iterdir()) < 1_500_000


def test_the_reader_returns_what_was_simulated(frozen):
    """Oracle: the writer's own input, round trip through the reader."""
    read = read_bench(DEMO)
    for name, table in frozen.bench.tables.items():
        for column in table.columns:
            left, right = read.tables[name][column], table[column]
            if right.dtype.kind == "f":
                # cells are written with the shortest digits that give the number back
                assert_allclose(left, right, rtol=0, atol=0, equal_nan=True, err_msg=f"{name}.{column}")
            else:
                assert list(left) == list(right), f"{name}.{column}"
    assert read.settings == frozen.bench.settings
    assert read.housings == frozen.bench.housings
    # repr, because an absent number is NaN and NaN is not equal to itself
    assert {k: repr(replace(m, declared=frozenset())) for k, m in read.meters.items()} == {
        k: repr(replace(m, declared=frozenset())) for k, m in frozen.bench.meters.items()
    }


def test_one_seed_one_bench():
    """Oracle: the definition of a seeded draw."""
    one, again, other = (simulate(demo_truth(), seed=seed).bench for seed in (4, 4, 5))
    for name, table in one.tables.items():
        assert table.equals(again.tables[name]), name
    assert not one.tables["readings"].equals(other.tables["readings"])


def test_only_readings_leaves_the_readings_as_they_are():
    """Oracle: the full simulation of the same seed."""
    short = simulate(demo_truth(), seed=9, only_readings=True)
    assert short.bench.tables["readings"].equals(simulate(demo_truth(), seed=9).bench.tables["readings"])
    assert short.bench.tables["beam"].empty


def test_sampling_plan():
    """Oracle: the plan in words, counted by hand: 147 mountings of three readings."""
    count = Counter((seat.lamp, seat.day) for seat in seats())
    assert sum(count.values()) == 147
    assert {day: count["B0", day] for day in ("D01", "D04", "D08")} == {"D01": 4, "D04": 8, "D08": 8}
    assert count["K1", "D02"] == 24
    assert count["K2", "D02"] == 2
    assert count["K3", "D03"] == count["K4", "D03"] == 12
    assert (count["K5", "D01"], count["K5", "D04"]) == (1, 12)
    assert (count["K6", "D05"], count["K7", "D05"], count["K8", "D05"]) == (4, 4, 6)
    assert count["K1", "D06"] == 4
    assert count["K4", "D07"] == 0
    assert count["K6", "D08"] == 2
    assert len({seat.key for seat in seats()}) == 147
    assert set(WARM_UPS) <= {seat.key for seat in seats()}


def test_one_seating_of_each_named_piece_is_held():
    """Oracle: the scenario in words: which pieces are read at 40 minutes too, and under which cover."""
    held = [seat for seat in seats() if seat.key in HOLDS]
    assert sorted((seat.housing, seat.lamp, seat.specimen) for seat in held) == [
        ("HP", "B0", "a"), *(("HP", "K1", piece) for piece in "1234"), ("HP", "K2", "1"), ("HP", "K3", "1"),
        ("HP", "K4", "1"), ("HP", "K6", "1"), ("HP", "K8", "1"), ("HR", "B0", "a"), ("HR", "K1", "1"),
        ("HR", "K3", "1"), ("HR", "K4", "1"), ("HR", "K6", "1"),
    ]  # fmt: skip
    assert len(held) == len(HOLDS)
    assert {seat.hold_minutes for seat in held} == {40}
    closed = {(seat.lamp, seat.housing) for seat in seats() if seat.cover == "closed"}
    assert closed == {(lamp, housing) for lamp in ("K3", "K6") for housing in ("HP", "HR")}
    assert all(seat.key in HOLDS for seat in seats() if seat.cover == "closed")


def test_readings_at_the_hold_time_move_no_other_reading(monkeypatch):
    """Oracle: the same seed without any hold."""
    whole = simulate(demo_truth(), seed=9, only_readings=True).bench.tables["readings"]
    monkeypatch.setattr("photolab.bench.drawn.simulation_tables.HOLDS", frozenset())
    plain = simulate(demo_truth(), seed=9, only_readings=True).bench.tables["readings"]
    assert len(whole) == len(plain) + 45
    first = whole[whole["elapsed_s"] == 60].drop(columns="line").reset_index(drop=True)
    assert first.equals(plain.drop(columns="line"))


def test_seats_follow_each_other_and_lamps_cool():
    """Oracle: a lamp rests half an hour; nothing overlaps; the baseline opens and closes each housing."""
    for day in {seat.day for seat in seats()}:
        todays = [seat for seat in seats() if seat.day == day]
        assert [seat.order for seat in todays] == list(range(1, len(todays) + 1))
        for one, following in pairwise(todays):
            assert following.minute >= one.minute + one.hold_minutes
        assert max(seat.minute for seat in todays) < 24 * 60
        for housing in ("HP", "HR"):
            here = [seat for seat in todays if seat.housing == housing]
            assert here[0].lamp == here[-1].lamp == "B0"
    assert min(seat.rest_minutes for seat in seats()) >= 30


def test_readings_are_what_a_display_shows(frozen):
    """Oracle: the display: multiples of the last figure, below the range."""
    step = {400.0: 0.1, 4000.0: 1.0}
    for table in ("readings", "warm_up", "distance", "beam"):
        rows = frozen.bench.tables[table]
        figures = rows["illuminance_lx"] / rows["range_lx"].map(step)
        assert (rows["illuminance_lx"] <= rows["range_lx"]).all()
        # 1e-6 of a figure: rounding of a decimal number in binary
        assert_allclose(figures, np.round(figures), rtol=0, atol=1e-6, err_msg=table)


def test_still_bench_is_the_closed_form():
    """Oracle: closed form by hand: I ratio near/(d + o)^2 x scale x gain x colour x (V/V0)^3.4 + offset."""
    rows = simulate(still(demo_truth()), seed=1, fresh=False, only_readings=True).bench.tables["readings"]
    first, held = rows[rows["elapsed_s"] == 60], rows[rows["elapsed_s"] == 2400]
    assert len(first) + len(held) == len(rows)
    got = {
        key: group["illuminance_lx"].mean()
        for key, group in first.groupby(["lamp", "specimen", "housing", "day"])
    }
    hp = 13_400 / 6.12**2
    hr = 17_250 * (1 - (1.1 / 6) ** 2) / 36
    m1 = 1.014
    expected = {
        ("K3", "1", "HP", "D03"): hp * 1.25 * exp(0.021) * m1 * 0.989 * 1.0686 + 3,
        ("K6", "1", "HR", "D05"): hr * 1.18 * m1 * 0.989 * 1.0686 + 3,
        ("K5", "1", "HP", "D01"): hp * 0.985 * m1 * 1.008 * 1.0686,
        ("K1", "1", "HP", "D01"): hp * 1.30 * exp(-0.017) * m1 * 0.989 * 1.0686 + 3,
    }
    for key, value in expected.items():
        assert_allclose(got[key], value, rtol=1e-7, err_msg=str(key))  # 1e-5 lx in 400 lx, display rounding
    # the true voltage scatters by 5 mV about the written one: 3.4 x 0.005/12.95 = 0.13 %, four times that
    lead = hr * (12.95 / 13.2) ** 3.4 * m1 * 0.989 * 1.0068 + 3
    assert_allclose(got["B0", "a", "HR", "D06"], lead, rtol=4 * 0.0013)
    warm = {
        key: group["illuminance_lx"].mean() for key, group in held.groupby(["lamp", "specimen", "housing"])
    }
    k6 = 0.86 * (0.90 + 0.10 * exp(-39 / 4.2))
    assert_allclose(warm["K6", "1", "HR"], (expected["K6", "1", "HR", "D05"] - 3) * k6 + 3, rtol=1e-7)
    k3 = 0.90 + 0.10 * exp(-39 / 6.5)
    assert_allclose(warm["K3", "1", "HP"], (expected["K3", "1", "HP", "D03"] - 3) * k3 + 3, rtol=1e-7)


SEAT = Seat("D02", "HR", "K3", "2", 1)


def test_light_of_a_mounting_term_by_term():
    """Oracle: closed form by hand, every term of a LED lamp and of a filament lamp away from zero."""
    truth = demo_truth()
    day = replace(truth.days["D02"], effect={"HP": 0.0, "HR": 0.007})
    truth = replace(truth, days={**truth.days, "D02": day}, aims={SEAT.key: 0.89})
    hr = 17_250 * (1 - (1.1 / 6) ** 2) / 36
    state = SeatState(SEAT, 0.011, ambient_C=15.0, socket_V=12.9, shown_V=13.0, burnt_h=2.0, late_s=30.0)
    warm = 0.90 + 0.10 * exp(-30 / (6.5 * 60))
    by_hand = hr * 0.88 * exp(-0.021 + 0.011 + 0.007) * 0.89 * (1 + 0.0025 * 5) * warm
    assert_allclose(true_illuminance(truth, state), by_hand, rtol=1e-12)
    filament = replace(SEAT, lamp="B0", specimen="b")
    by_hand = hr * exp(0.012 + 0.011 + 0.007 - 0.0005 * 2) * (12.9 / 13.2) ** 3.4 * (1 - 0.003 * 30 / 2340)
    assert_allclose(true_illuminance(truth, replace(state, seat=filament)), by_hand, rtol=1e-12)


def test_display_term_by_term():
    """Oracle: closed form by hand: linearity and meter temperature add to the factor, then the offset."""
    truth = demo_truth()
    fine = replace(
        truth.meters["M1"],
        resolution_lx=(1e-9, 1e-9, 1e-9),
        linearity={"4000/K3/HR": 0.004},
        temperature_per_K={"D02": 0.001},
    )
    truth = replace(truth, meters={**truth.meters, "M1": fine})
    factor = 1.014 * 0.989 * (1 + 0.004 + 0.001 * (15.4 - 20)) * 1.0686
    # the display rounds to 1e-6 lx
    assert_allclose(shown_lx(truth, "M1", 400.0, 4000.0, SEAT), 400 * factor + 3, atol=2e-6)
    assert_allclose(
        shown_lx(demo_truth(), "M1", 400.0, 4000.0, SEAT), np.floor(400 * 1.014 * 0.989 * 1.0686 + 3 + 0.5)
    )
    assert working_range(truth, "M1", 300.0, "led", autorange=True) == 400
    assert working_range(truth, "M1", 300.0, "led", autorange=False) == 4000
    assert working_range(truth, "M1", 390.0, "led", autorange=True) == 4000


def test_a_voltmeter_that_shows_too_much():
    """Oracle: by hand: shown over 1 + scale; burnt hours are the holds of the same specimen before."""
    truth = replace(demo_truth(), voltmeter_scale=0.01)
    plan = seats()
    effects = dict.fromkeys((seat.key for seat in plan), 0.0)
    states = seat_states(truth, plan, effects, rng=np.random.default_rng(1), voltage_sd=0.0)
    assert_allclose([s.socket_V for s in states], [s.shown_V / 1.01 for s in states], rtol=1e-12)
    own = [s for s in states if (s.seat.lamp, s.seat.specimen) == ("B0", "a")]
    assert own[0].burnt_h == 0
    assert_allclose(own[3].burnt_h, 3 * 2 / 60, rtol=1e-12)
    assert_allclose(own[-1].burnt_h, sum(s.seat.hold_minutes for s in own[:-1]) / 60, rtol=1e-12)


def test_ratios_come_back_in_the_large_sample_limit():
    """Oracle: the generating ratio: the mean of 40 fresh benches within 4 standard errors of it."""
    truth = demo_truth()
    errors = []
    for seed in range(40):
        drawn = simulate(truth, seed=1000 + seed, only_readings=True)
        rows = drawn.bench.tables["readings"]
        rows = rows[(rows["housing"] == "HP") & (rows["day"] == "D03")]
        true = drawn.truth
        light = np.log(rows["illuminance_lx"] - rows["dark_lx"])
        light -= [log(true.meters["M1"].colour[true.lamps[lamp].technology]) for lamp in rows["lamp"]]
        means = light.groupby([rows["lamp"], rows["specimen"]]).mean().groupby("lamp").mean()
        errors.append(means["K3"] - means["K4"] - ln_ratio(true, "K3", "HP", baseline="K4"))
    # linearity, ambient coefficient and mountings differ between the lamps; all scatter about their estimates
    assert abs(np.mean(errors)) < 4 * np.std(errors) / np.sqrt(len(errors))
    assert (
        0.008 < np.std(errors) < 0.03
    )  # two lamps of six mountings of 2 %: 1.2 % and the specimens' coefficients


def test_a_fresh_bench_draws_what_is_declared():
    """Oracle: the declared distributions, Kolmogorov-Smirnov at 1e-4 on 400 seeded draws each."""
    truth = demo_truth()
    drawn = [draw_truth(truth, rng=np.random.default_rng(seed)) for seed in range(400)]
    rectangular = {
        "scale": ([t.meters["M1"].scale for t in drawn], 0.03),
        "gain": ([t.meters["M1"].gain[1] for t in drawn], 0.01),
        "range term": ([t.meters["M1"].offset_lx[1] for t in drawn], 20.0),
        "linearity": ([t.meters["M1"].linearity["4000/K3/HP"] for t in drawn], 0.01),
        "meter temperature": ([t.meters["M1"].temperature_per_K["D02"] for t in drawn], 0.001),
        "voltmeter": ([t.voltmeter_scale for t in drawn], 0.0025),
        "ambient": ([t.lamps["K2"].ambient_per_K + 0.002 for t in drawn], 0.002),
    }
    for name, (values, half) in rectangular.items():
        assert stats.kstest(values, stats.uniform(-half, 2 * half).cdf).pvalue > 1e-4, name
    normal = {
        "colour": ([t.meters["M1"].colour["led"] / 1.0686 - 1 for t in drawn], 0.006),
        "exponent": ([t.voltage_exponent - 3.42 for t in drawn], 0.25),
        "specimen": ([t.lamps["K3"].specimens["2"] for t in drawn], 0.04),
        "day": ([t.days["D05"].effect["HR"] for t in drawn], 0.009),
    }
    for name, (values, sd) in normal.items():
        assert stats.kstest(values, stats.norm(0, sd).cdf).pvalue > 1e-4, name
    assert all(t.meters["M1"].colour["filament"] == 1.0068 for t in drawn)
    assert all(t.lamps["K3"].ratio == truth.lamps["K3"].ratio for t in drawn)


def test_mountings_and_readings_scatter_as_stated():
    """Oracle: the stated SDs, within chi-square bounds at 1e-4 on one seeded bench of 147 mountings."""
    truth = demo_truth()
    run = simulate(truth, seed=3, fresh=False, only_readings=True)
    for housing, sd, count in (("HP", 0.02, 74), ("HR", 0.032, 73)):
        effects = [effect for key, effect in run.mountings.items() if key.split("/")[2] == housing]
        assert len(effects) == count
        low, high = stats.chi2(count).ppf([5e-5, 1 - 5e-5])
        assert low < np.sum(np.square(effects)) / sd**2 < high
    rows = run.bench.tables["readings"]
    rows = rows[(rows["lamp"] == "K8") & (rows["elapsed_s"] == 60)]
    groups = np.log(rows["illuminance_lx"]).groupby([rows["housing"], rows["mounting"]])
    low, high = stats.chi2(12).ppf([5e-5, 1 - 5e-5])
    assert low < (groups.var() * 2).sum() / 0.016**2 < high


def test_scopes_of_a_generating_ratio():
    """Oracle: by hand: K1's four specimens average to 0, models and specimens agree; specimen 1 alone not."""
    truth = demo_truth()
    assert_allclose(ln_ratio(truth, "K1", "HP", scope="models"), log(1.3), rtol=1e-12)
    assert_allclose(ln_ratio(truth, "K1", "HP"), log(1.3), atol=1e-12)
    only = {
        name: replace(truth.lamps[name], specimens={"1": dev})
        for name, dev in (("K1", -0.017), ("B0", 0.004))
    }
    one = replace(truth, lamps={**truth.lamps, **only})
    assert_allclose(ln_ratio(one, "K1", "HP"), log(1.3) - 0.017 - 0.004, rtol=1e-12)
    assert_allclose(ln_ratio(truth, "K3", "HP", baseline="K4"), log(1.25 / 1.1848), atol=1e-12)


def test_truth_survives_its_file():
    """Oracle: round trip."""
    truth = demo_truth()
    told = tomllib.loads(truth_document(truth))
    assert told == json.loads(json.dumps(asdict(truth)))  # tuples are lists there
    shipped = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))
    assert shipped["lamps"] == told["lamps"]
    assert shipped["meters"] == told["meters"]
    assert shipped["days"] != told["days"]  # the shipped file holds the day effects that were drawn


def test_a_simulation_never_writes_over_a_folder(tmp_path):
    """Oracle: raw data is read-only."""
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(RecordError, match="not an empty folder"):
        write_simulation(simulate(demo_truth(), seed=2), tmp_path)
    assert [file.name for file in tmp_path.iterdir()] == ["mine.txt"]
    target = write_simulation(simulate(demo_truth(), seed=2), tmp_path / "new")
    assert read_bench(target).settings.hold_minutes == 40
