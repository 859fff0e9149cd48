"""Heat and light of one record. Oracles: closed forms of noiseless records, and the step put into the demo."""

import math
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_bench
from small_benches import HOUSING, LAMPS, METER, bench, csv

from photolab.bench.heat import warm_up_runs
from photolab.bench.heat_and_light import (
    TRANSFER_LIMIT,
    ambient_corrections,
    case_to_ambient,
    coupling,
    expected_at,
    plain_ways,
    reading_sd,
    to_room,
    with_case,
)

READINGS = "lamp,illuminance_lx,housing,range_lx\nB0,300,HP,400\nK1,310,HP,400\nK2,320,HP,400\n"
HEAD = "run,lamp,elapsed_s,illuminance_lx,meter,range_lx,case_C,ambient_C,socket_V,current_A"
PER_KELVIN = -0.002
AMBIENT = 25.0


def synthetic(folder, *, lamp="K1", per_kelvin=PER_KELVIN, power=True, seed=3):
    """Case rises by 60 K with 5 min, light follows it in ln; 30 min hold; a little noise."""
    rng = np.random.default_rng(seed)
    times = np.arange(30.0, 2401.0, 30.0)
    case = AMBIENT + 60.0 * (1.0 - np.exp(-times / 300.0))
    light = 350.0 * np.exp(per_kelvin * (case - AMBIENT)) * (1.0 + 0.0005 * rng.standard_normal(times.size))
    shown = case + 0.05 * rng.standard_normal(times.size)
    rows = [
        ("W1", lamp, f"{t:g}", f"{e:.2f}", "M1", 400, f"{c:.2f}", AMBIENT, 13.2, 2.0)
        for t, e, c in zip(times, light, shown, strict=True)
    ]
    more = {"warm_up": csv(HEAD, rows)}
    if power:
        more["electrical"] = f"lamp,elapsed_s,power_W,per\n{lamp},1800,24,lamp\n"
    made = bench(folder, READINGS, toml=METER + HOUSING, lamps=LAMPS, **more)
    (run,) = warm_up_runs(made)
    return made, run


@cache
def demo():
    made = demo_bench()
    return made, {run.run: run for run in warm_up_runs(made)}


def test_slope_and_time_constants_are_those_put_in(tmp_path):
    _, run = synthetic(tmp_path / "b")
    found = coupling(run)
    assert found.slope.low <= 100.0 * PER_KELVIN <= found.slope.high
    assert found.slope.high - found.slope.low < 0.02
    # ln(light) is straight in the case, so light itself is a little faster: exp bends it by half the loss, 6 %
    assert_allclose(found.constants.temperature_s, 300.0, rtol=0.01)
    assert_allclose(found.constants.light_s, 300.0, rtol=0.07)
    assert found.constants.code == "shared"
    assert not found.stepped


def test_reading_sd_is_the_noise_put_in(tmp_path):
    _, run = synthetic(tmp_path / "b")
    noise = 0.0005 * float(run.record["illuminance_lx"].mean())
    display = 0.01 / math.sqrt(12.0)
    # SD of 75 degrees of freedom: relative standard error 8 %, three of them
    assert_allclose(reading_sd(run), math.hypot(noise, display), rtol=0.25)


def test_demo_uses_only_what_lies_before_the_step():
    _, runs = demo()
    found = coupling(runs["W07"])
    assert found.stepped
    assert found.until_s == 1110.0  # the reading before 18.5 min
    assert with_case(runs["W07"])["elapsed_s"].max() == 1110.0
    assert found.slope.high < 0.0


def test_a_record_without_case_temperature_is_refused(tmp_path):
    _, run = synthetic(tmp_path / "b")
    bare = run.record.assign(case_C=math.nan)
    found = coupling(type(run)(**{**run.__dict__, "record": bare}))
    assert found.slope is None
    assert [refused.code for refused in found.refusals] == ["no_case_temperature"]


def test_plain_ways_agree_with_the_curve_put_in(tmp_path):
    _, run = synthetic(tmp_path / "b", per_kelvin=-0.0001)  # so small a loss that ln is straight
    rise = 60.0 * (np.exp(-60 / 300) - np.exp(-1800 / 300))
    ways = plain_ways(run, 1800.0, initial_s=60.0).set_index("way")["value"]
    # scatter 0.05 %: five readings against three, and the bend of three readings at 60 s (0.002 %)
    assert_allclose(ways["one_exponential"], math.exp(-0.0001 * rise), rtol=0.0006)
    assert_allclose(ways["near_readings"], math.exp(-0.0001 * rise), rtol=0.0012)


def test_plain_readings_need_both_instants_inside_the_record(tmp_path):
    _, run = synthetic(tmp_path / "b")
    assert list(plain_ways(run, 3000.0, initial_s=60.0)["way"]) == ["one_exponential"]


def test_room_slope_counts_half_of_itself_as_an_assumed_limit(tmp_path):
    _, run = synthetic(tmp_path / "b")
    slope = coupling(run).slope
    room = to_room(slope)
    u = math.hypot(
        slope.standard_uncertainty, abs(slope.percent_per_kelvin) * TRANSFER_LIMIT / math.sqrt(3.0)
    )
    assert_allclose(room.standard_uncertainty, u, rtol=1e-12)
    assert_allclose(room.high - room.low, 2.0 * 1.959963984540054 * u, rtol=1e-12)


def test_demo_room_slopes_hold_the_coefficient_put_in():
    made, runs = demo()
    for name in ("W01", "W02", "W03", "W09", "W11", "W12", "W13"):
        rows = ambient_corrections(made, runs[name], coupling(runs[name]).slope).set_index("source")
        for source in ("assumed", "own_record"):
            row = rows.loc[source]
            assert abs(row["percent_per_kelvin"] + 0.25) < 1.96 * row["u"]  # -0.25 %/K was put in


def test_ambient_correction_is_exponential_with_both_uncertainties(tmp_path):
    made, run = synthetic(tmp_path / "b")
    row = ambient_corrections(made, run, None).set_index("source").loc["assumed"]
    step = 20.0 - AMBIENT
    assert_allclose(row["factor"], math.exp(-0.002 * step), rtol=1e-12)
    u = math.hypot(step * 0.002 / math.sqrt(3.0), 0.002 * 1.0 / math.sqrt(3.0))
    assert_allclose(row["expanded_percent"], 100.0 * 1.959963984540054 * u, rtol=1e-12)


def test_filament_lamps_have_no_ambient_correction_resistance_or_expectation(tmp_path):
    made, run = synthetic(tmp_path / "b", lamp="B0")
    assert ambient_corrections(made, run, coupling(run).slope).empty
    assert case_to_ambient(made, run) is None
    assert expected_at(made, run, coupling(run).slope, 35.0) is None


def test_resistance_is_rise_over_the_watts_that_stay(tmp_path):
    made, run = synthetic(tmp_path / "b")
    found = case_to_ambient(made, run)
    rise = 60.0 * (1.0 - math.exp(-1800 / 300))
    assert_allclose(found.value, rise / (24.0 * 0.7), rtol=0.002)  # noise of 7 readings of 0.05 K
    parts = [math.hypot(2.5, 1.0) / math.sqrt(3.0) / rise, 0.02 / math.sqrt(3.0), 0.1 / math.sqrt(3.0) / 0.7]
    assert_allclose(found.u / found.value, math.hypot(*parts), rtol=0.002)  # noise of the mean rise
    assert found.unit == "K/W"


def test_resistance_needs_watts(tmp_path):
    made, run = synthetic(tmp_path / "b", power=False)
    assert case_to_ambient(made, run) is None


@pytest.mark.parametrize("other", [15.0, 35.0, 60.0])
def test_expectation_moves_remaining_light_by_the_slope(tmp_path, other):
    made, run = synthetic(tmp_path / "b")
    slope = coupling(run).slope
    found = expected_at(made, run, slope, other)
    step = other - AMBIENT
    moved = run.remaining.value * math.exp(slope.percent_per_kelvin / 100.0 * step)
    assert_allclose(found.value, moved, rtol=1e-12)
    spread = math.hypot(
        run.remaining.ln_standard_uncertainty, step * to_room(slope).standard_uncertainty / 100.0
    )
    assert_allclose(found.ln_standard_uncertainty, spread, rtol=1e-12)
    assert found.extrapolated
    assert found.beyond_record == (abs(step) > slope.span / 2.0)


def test_no_expectation_after_a_step_or_without_remaining_light():
    made, runs = demo()
    assert expected_at(made, runs["W07"], coupling(runs["W07"]).slope, 35.0) is None
    assert expected_at(made, runs["W08"], coupling(runs["W08"]).slope, 35.0) is None
