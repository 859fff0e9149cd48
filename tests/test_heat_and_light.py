"""Heat and light of one record. Oracles: closed forms of noiseless records, and the step put into the demo."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_bench
from small_benches import HOUSING, LAMPS, METER, bench, csv

from photolab.bench.results.heat import display_step, warm_up_runs
from photolab.bench.results.heat_and_light import (
    TRANSFER_LIMIT,
    at_hold_time,
    case_to_ambient,
    constants_of,
    expected_at,
    looked_at,
    room_coefficients,
    slope_of,
    to_room,
    with_case,
)
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import COVERAGE

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


def slope(run):
    return slope_of(run, coverage=COVERAGE)


def test_slope_and_time_constants_are_those_put_in(tmp_path):
    _, run = synthetic(tmp_path / "b")
    found, constants = slope(run), constants_of(run, coverage=COVERAGE)
    assert found.low <= 100.0 * PER_KELVIN <= found.high
    assert found.high - found.low < 0.02
    # ln(light) is straight in the case, so light itself is a little faster: exp bends it by half the loss, 6 %
    assert_allclose(constants.temperature_s, 300.0, rtol=0.01)
    assert_allclose(constants.light_s, 300.0, rtol=0.07)
    assert constants.code == "shared"


def test_reading_sd_is_the_noise_put_in(tmp_path):
    _, run = synthetic(tmp_path / "b")
    noise = 0.0005 * float(run.record["illuminance_lx"].mean())
    display = 0.01 / math.sqrt(12.0)
    # SD of 75 degrees of freedom: relative standard error 8 %, three of them
    assert_allclose(run.fit.residual_sd, math.hypot(noise, display), rtol=0.25)


def test_demo_uses_only_what_lies_before_the_step():
    _, runs = demo()
    assert with_case(runs["W07"])["elapsed_s"].max() == 1110.0  # the reading before 18.5 min
    assert slope(runs["W07"]).high < 0.0


def test_a_record_without_case_or_change_or_curve_is_refused(tmp_path):
    """Oracle: by definition: a slope needs both to change."""
    _, run = synthetic(tmp_path / "b")
    bare = replace(run, record=run.record.assign(case_C=math.nan))
    still = replace(run, record=run.record.assign(illuminance_lx=350.0))
    refused = MethodError("refused", code="too_few_readings")
    unfit = replace(run, fit=None, refusals=(refused,))
    for law in (slope_of, constants_of):
        codes = [attempt(law, one, coverage=COVERAGE).code for one in (bare, still, unfit)]
        assert codes == ["no_case_temperature", "constant_record", "too_few_readings"]


def test_room_slope_counts_half_of_itself_as_an_assumed_limit(tmp_path):
    _, run = synthetic(tmp_path / "b")
    found = slope(run)
    room = to_room(found)
    carried = abs(found.percent_per_kelvin) * TRANSFER_LIMIT / math.sqrt(3.0)
    u = math.hypot(found.standard_uncertainty, carried)
    assert_allclose(room.standard_uncertainty, u, rtol=1e-12)
    assert_allclose(room.high - room.low, 2.0 * 1.959963984540054 * u, rtol=1e-12)


def test_demo_room_coefficients_hold_the_one_put_in():
    _, runs = demo()
    for name in ("W01", "W02", "W03", "W09", "W11", "W12", "W13"):
        for one in room_coefficients(slope(runs[name])).values():
            low, high = one.interval(0.95)
            assert low < -0.0025 < high  # -0.25 %/K was put in


def test_room_coefficients_are_those_of_their_sources(tmp_path):
    """Oracle: -0.2 ± 0.2 %/K is assumed; the record's own has the u of `to_room`; without a slope there is none."""
    _, run = synthetic(tmp_path / "b")
    found = slope(run)
    assumed, own = room_coefficients(found).values()
    assert_allclose(assumed.interval(0.9), (-0.0038, -0.0002), atol=1e-12)  # 0.9 of the rectangle
    assert_allclose(own.value, found.percent_per_kelvin / 100.0, rtol=1e-12)
    assert_allclose(own.u, to_room(found).standard_uncertainty / 100.0, rtol=1e-12)
    assert len(room_coefficients(MethodError("none", code="span_too_small"))) == 1


def test_filament_lamps_have_no_resistance_and_no_expectation(tmp_path):
    made, run = synthetic(tmp_path / "b", lamp="B0")
    with pytest.raises(MethodError, match="of a lamp without a filament"):
        case_to_ambient(made, run)
    with pytest.raises(MethodError, match="of a lamp without a filament"):
        expected_at(made, run, slope(run), 35.0)


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
    with pytest.raises(MethodError, match="case, ambient and watts must be known at the hold time"):
        case_to_ambient(made, run)


def test_readings_at_the_hold_time_lie_within_a_twentieth_of_it(tmp_path):
    """Oracle: 30 min, a reading every 30 s: 1710 s to 1890 s."""
    rows = at_hold_time(*synthetic(tmp_path / "b"))
    assert (rows["elapsed_s"].min(), rows["elapsed_s"].max(), len(rows)) == (1710.0, 1890.0, 7)


@pytest.mark.parametrize("other", [15.0, 35.0, 60.0])
def test_expectation_moves_remaining_light_by_the_slope(tmp_path, other):
    made, run = synthetic(tmp_path / "b")
    line = slope(run)
    found = expected_at(made, run, line, other)
    step = other - AMBIENT
    moved = run.remaining.value * math.exp(line.percent_per_kelvin / 100.0 * step)
    assert_allclose(found.value, moved, rtol=1e-12)
    spread = math.hypot(
        run.remaining.ln_standard_uncertainty, step * to_room(line).standard_uncertainty / 100.0
    )
    assert_allclose(found.ln_standard_uncertainty, spread, rtol=1e-12)
    assert found.extrapolated
    assert found.beyond_record == (abs(step) > line.span / 2.0)


def test_no_expectation_after_a_step_or_without_remaining_light():
    made, runs = demo()
    for name in ("W07", "W08"):
        with pytest.raises(MethodError, match="that did not cut its power"):
            expected_at(made, runs[name], slope(runs[name]), 35.0)


def test_display_step_is_that_of_the_meter_on_its_range(tmp_path):
    """Oracle: resolution_lx of bench.toml."""
    made, run = synthetic(tmp_path / "b")
    assert display_step(made, run.record) == 0.1
    assert display_step(made, run.record.assign(range_lx=4000.0)) == 1.0
    assert display_step(made, run.record.assign(meter="M9")) == 0.0


def test_readings_of_one_seating_take_the_place_of_a_record(tmp_path):
    """Oracle: K1 was read at both instants in its second seating, the baseline too; no other lamp was."""
    rows = [
        ("B0", 1, 60, 290),
        ("B0", 1, 1800, 289),
        ("K1", 1, 60, 300),
        ("K1", 2, 60, 324),
        ("K1", 2, 1800, 308),
    ]
    readings = csv(
        "lamp,mounting,elapsed_s,illuminance_lx,housing,range_lx", [(*row, "HP", 400) for row in rows]
    )
    made = bench(tmp_path / "b", readings, toml=METER + HOUSING, lamps=LAMPS)
    found = looked_at(made)
    assert (found.run, found.lamp, found.fit) == ("readings", "K1", None)
    assert found.record["elapsed_s"].tolist() == [60.0, 1800.0]
    assert found.record["illuminance_lx"].tolist() == [324.0, 308.0]
    assert looked_at(made, lamp="B0").record["illuminance_lx"].tolist() == [290.0, 289.0]
