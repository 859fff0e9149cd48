"""Surface temperatures of a bench. Oracles: closed forms (T^4, rectangular limits), the values put into the demo."""

import itertools
import math
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_bench
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.folder.records import read_bench
from photolab.bench.inputs.electrical import measured_power
from photolab.bench.inputs.patches import (
    SPOT_LIMIT_K,
    emissivity_at,
    ends_from_emissivity,
    patch_emissivities,
)
from photolab.bench.inputs.surface import (
    REFLECTED_LIMIT_K,
    THERMOCOUPLE_LIMIT_K,
    camera_limit,
    in_fahrenheit,
    surface_rows,
    surfaces,
)
from photolab.bench.terms.schema import SECTIONS
from photolab.thermal.thermography import emissivity_from_patch

DEMO = Path(__file__).parent.parent / "data" / "demo"
SMALLEST = Path(__file__).parent.parent / "data" / "two-readings"
READINGS = "lamp,illuminance_lx,housing,range_lx\nB0,300,HP,400\nK1,310,HP,400\nK2,320,HP,400\n"
COLUMNS = (
    "lamp",
    "elapsed_minutes",
    "displayed_C",
    "method",
    "set_emissivity",
    "emissivity",
    "emissivity_half_width",
    "reflected_C",
    "ambient_C",
    "place",
)
TRIAL = ("K1", 30, 41.6, "bare", 0.95, 0.20, 0.05, 22, 22, "fin")


@cache
def demo():
    return demo_bench()


@cache
def truth():
    return tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["lamps"]


def made(folder, *rows, toml=METER + HOUSING):
    return bench(folder, READINGS, toml=toml, thermal=csv(",".join(COLUMNS), rows))


def only(folder, **changes):
    """One reading: the trial with changes."""
    row = [changes.get(name, value) for name, value in zip(COLUMNS, TRIAL, strict=True)]
    (one,) = surfaces(made(folder, row))
    return one


def test_demo_bare_sink_is_not_usable_and_its_tape_holds_the_truth():
    found = {(one.lamp, one.method): one for one in surfaces(demo(), at_hold=True)}
    bare, tape = found["K2", "bare"], found["K2", "tape"]
    assert "lower_bound_only" in bare.codes
    assert not bare.usable
    assert bare.displayed < 35.0 < 60.0 < bare.low
    assert tape.usable
    assert tape.low <= truth()["K2"]["case_C"] <= tape.high  # 96 degC was put into the demo
    assert tape.high - tape.low < 6.0 < 50.0 < bare.high - bare.low


@pytest.mark.parametrize(
    ("lamp", "method"), list(itertools.product(["B0", "K1", "K3", "K4", "K5", "K8"], ["bare", "tape"]))
)
def test_demo_temperatures_hold_the_truth(lamp, method):
    found = {(one.lamp, one.method): one for one in surfaces(demo(), at_hold=True)}
    one = found[lamp, method]
    assert one.usable
    assert one.low <= truth()[lamp]["case_C"] <= one.high


def test_reading_of_bare_metal_is_undone_and_called_a_lower_bound(tmp_path):
    one = only(tmp_path / "b")
    kelvin = 273.15
    seen = 0.95 * (41.6 + kelvin) ** 4 + 0.05 * (22 + kelvin) ** 4
    by_hand = ((seen - 0.8 * (22 + kelvin) ** 4) / 0.2) ** 0.25 - kelvin  # closed form of T^4
    assert_allclose(one.total_radiation, by_hand, atol=1e-9)
    assert 96.0 < one.value < 98.0  # about 97 degC over the band: 3 K above T^4 at this emissivity
    spread = one.temperature.only("model spread").u
    assert_allclose(spread, (one.value - one.total_radiation) / 2.0, rtol=1e-12)
    assert one.low < 85.5  # emissivity alone gives 85 to 115; the camera widens it
    assert 114.0 < one.high < 120.0
    assert not one.usable
    rows = surface_rows(made(tmp_path / "c", TRIAL))
    assert (
        rows["conditions"]
        .str.contains("lower bound only, not usable for ranking: use tape", regex=False)
        .all()
    )


def test_emissivity_alone_gives_the_ends_of_its_rectangle(tmp_path):
    one = only(tmp_path / "b")
    kelvin = 273.15
    low, high = ends_from_emissivity(one)
    assert (round(low), round(high)) == (85, 115)  # the trial, drawn from the distribution of the emissivity
    for end, e in ((low, 0.2475), (high, 0.1525)):
        seen = 0.95 * (41.6 + kelvin) ** 4 + 0.05 * (22 + kelvin) ** 4
        total = ((seen - (1.0 - e) * (22 + kelvin) ** 4) / e) ** 0.25 - kelvin  # closed form of T^4
        assert 0.0 < end - total < 6.0  # the band is some kelvin above T^4 at so low an emissivity
    assert one.low < low < one.value < high < one.high
    assert all(math.isnan(end) for end in ends_from_emissivity(only(tmp_path / "c", emissivity="")))


def test_rise_is_above_the_ambient_and_wider_than_the_temperature(tmp_path):
    one = only(tmp_path / "b", method="tape", emissivity=0.95, emissivity_half_width=0.02, displayed_C=72)
    assert_allclose(one.value, 72.0, atol=1e-6)  # set and own emissivity agree: the display is the surface
    rise, low, high = one.rise
    assert_allclose(rise, 50.0, atol=1e-6)
    u = math.hypot(one.temperature.u, 1.0 / math.sqrt(3.0))  # rectangular limit of 1 K
    assert_allclose(one.above_ambient.u, u, rtol=1e-12)
    # nearly linear: the linear interval with the largest rectangle kept; four errors of an end, 10 000 draws
    linear = one.above_ambient.only("scale", "emissivity", "reflected temperature", "ambient")
    assert_allclose((low, high), linear.interval(0.95), atol=0.15)
    assert high - low > one.high - one.low


def test_a_rise_of_50_kelvin_is_90_fahrenheit_and_50_celsius_is_122():
    assert_allclose(in_fahrenheit((50.0, 0.0), rise=True), (90.0, 0.0), rtol=1e-12)  # exact factor 1.8
    assert_allclose(in_fahrenheit((50.0, 0.0), rise=False), (122.0, 32.0), rtol=1e-12)


def test_fahrenheit_stands_in_the_conditions_only_where_asked_for(tmp_path):
    row = ("K1", 30, 72, "tape", 0.95, 0.95, 0.02, 22, 22, "fin")
    asked = METER.replace('name = "invented"', 'name = "invented"\nalso_show = ["degF"]') + HOUSING
    with_f = surface_rows(made(tmp_path / "f", row, toml=asked)).set_index("measurand")["conditions"]
    assert "162 degF" in with_f["surface temperature"]  # 72 x 1.8 + 32 = 161.6
    assert "90 degF" in with_f["temperature rise"]
    plain = surface_rows(made(tmp_path / "c", row))
    assert not plain["conditions"].str.contains("degF").any()
    feet = surface_rows(made(tmp_path / "ft", row, toml=asked.replace('"degF"', '"fc", "ft", "in"')))
    assert feet["conditions"].tolist() == plain["conditions"].tolist()
    (key,) = (one for one in SECTIONS["bench"] if one.name == "also_show")
    assert "degF; fc, ft, in show nothing" in key.about  # nothing is promised that no figure keeps


def test_thermocouple_needs_no_emissivity_and_has_the_limit_of_its_class(tmp_path):
    changes = {"set_emissivity": "", "emissivity": "", "emissivity_half_width": "", "reflected_C": ""}
    one = only(tmp_path / "b", method="thermocouple", displayed_C=80, **changes)
    half = 0.95 * THERMOCOUPLE_LIMIT_K  # that part of a rectangle
    assert_allclose((one.value, one.low, one.high), (80.0, 80.0 - half, 80.0 + half), rtol=1e-12)
    assert one.above_ambient.unit == "K"
    assert one.codes == ("thermocouple_contact",)
    assert one.usable


def test_missing_emissivity_of_bare_metal_gives_at_least_and_no_value(tmp_path):
    one = only(tmp_path / "b", emissivity="", emissivity_half_width="")
    assert math.isnan(one.value)
    assert math.isnan(one.high)
    kelvin = (
        273.15  # a black surface, by T^4 in closed form, the camera's 2 K taken off; the band is within 0.1 K
    )
    black = (0.95 * (39.6 + kelvin) ** 4 + 0.05 * (22 + kelvin) ** 4) ** 0.25 - kelvin
    assert_allclose(one.low, black, atol=0.1)
    assert one.codes[0] == "emissivity_missing"
    assert not one.usable


def test_missing_emissivity_of_tape_is_assumed_and_says_so(tmp_path):
    one = only(tmp_path / "b", method="tape", emissivity="", emissivity_half_width="", displayed_C=80)
    assert (one.emissivity, one.emissivity_half_width) == (0.95, 0.02)
    assert "emissivity_assumed" in one.codes
    rows = surface_rows(made(tmp_path / "c", ("K1", 30, 80, "tape", 0.95, "", "", 22, 22, "fin")))
    assert rows["assumed"].str.contains("emissivity 0.95 ± 0.02", regex=False).all()


@pytest.mark.parametrize(
    ("ambient", "reflected", "code"), [(25, 25.0, "reflected_from_ambient"), ("", 20.0, "reflected_assumed")]
)
def test_missing_reflected_temperature_is_the_ambient_or_the_reference(tmp_path, ambient, reflected, code):
    one = only(tmp_path / "b", reflected_C="", ambient_C=ambient)
    assert one.reflected == reflected
    assert code in one.codes


def test_what_mirrors_more_than_the_camera_saw_has_no_temperature(tmp_path):
    one = only(tmp_path / "b", displayed_C=30, reflected_C=120)
    assert math.isnan(one.value)
    assert one.codes == ("no_real_temperature",)
    assert not one.usable


def test_camera_limit_enters_as_rectangular(tmp_path):
    one = only(tmp_path / "b", method="tape", emissivity=0.95, emissivity_half_width=0, displayed_C=80)
    # set and own emissivity agree, so a kelvin displayed is a kelvin, but for 0.05 of the 2 K of what is mirrored
    assert_allclose(one.temperature.only("scale").u, 2.0 / math.sqrt(3.0), rtol=1e-6)
    mirrored = one.temperature.only("reflected temperature").u
    assert 0.0 < mirrored < 1e-6 + 0.06 * REFLECTED_LIMIT_K / math.sqrt(3.0)


def test_camera_limit_is_the_larger_of_two():
    assert camera_limit(40.0) == 2.0
    assert_allclose(camera_limit(150.0), 3.0, rtol=1e-12)  # 2 % of 150


def test_hold_takes_the_nearest_reading_within_a_quarter(tmp_path):
    rows = [("K1", m, t, "tape", 0.95, 0.95, 0.02, 22, 22, "fin") for m, t in ((20, 60), (35, 75), (28, 70))]
    (one,) = surfaces(made(tmp_path / "b", *rows), at_hold=True)  # hold is 30 min: 28 is nearest, 20 too far
    assert one.displayed == 70.0
    assert surfaces(made(tmp_path / "c", rows[0]), at_hold=True) == ()


def test_rows_have_the_columns_of_the_watts_and_one_key_each():
    rows = surface_rows(demo())
    assert list(rows.columns) == list(measured_power(demo()).columns)
    assert not rows.duplicated(["lamp", "measurand", "point"]).any()
    assert set(rows["measurand"]) == {"surface temperature", "temperature rise"}
    assert set(zip(rows["measurand"], rows["unit"], strict=True)) == {
        ("surface temperature", "degC"),
        ("temperature rise", "K"),
    }
    assert "K7" not in set(rows["lamp"])  # its record stops at 12 min
    assert surface_rows(read_bench(SMALLEST)).empty


@pytest.mark.parametrize("lamp", ["B0", "K1", "K2", "K3", "K4", "K5", "K8"])
def test_demo_patch_gives_the_emissivity_that_was_put_in(lamp):
    rows = patch_emissivities(demo())
    best = rows[rows["lamp"] == lamp].sort_values("patch_C").iloc[-1]
    assert best["low"] <= truth()[lamp]["emissivity"] <= best["high"]
    assert best["high"] - best["low"] < 0.06


def test_interval_of_the_patch_emissivity_agrees_with_draws():
    row = patch_emissivities(demo()).query("lamp == 'K1' and elapsed_s == 2400").iloc[0]
    rng = np.random.default_rng(20)
    centre = {"displayed": 77.6, "patch_displayed": 88.0, "patch_emissivity": 0.95, "reflected": 22.0}
    limits = {"displayed": SPOT_LIMIT_K, "patch_displayed": SPOT_LIMIT_K, "patch_emissivity": 0.02}
    limits["reflected"] = REFLECTED_LIMIT_K
    drawn = {name: value + limits[name] * rng.uniform(-1, 1, 20_000) for name, value in centre.items()}
    sd = float(np.std(emissivity_from_patch(**drawn, set_emissivity=0.95)))
    # second implementation: numpy's own draws; 2 % covers second order and 0.5 % of Monte Carlo
    low, high = np.quantile(emissivity_from_patch(**drawn, set_emissivity=0.95), [0.025, 0.975])
    assert_allclose((row["high"] - row["low"]) / 2.0, (high - low) / 2.0, rtol=0.02)
    assert (row["high"] - row["low"]) / 2.0 < 1.96 * sd  # one rectangle keeps its shape


def test_emissivity_from_a_patch_ends_at_one(tmp_path):
    """Oracle: by definition: no surface sends out more than a black one."""
    rows = [("K1", 30, t, m, 0.95, 0.95, 0.02, 22, 22, "fin") for t, m in ((81, "bare"), (79, "tape"))]
    row = patch_emissivities(made(tmp_path / "b", *rows)).iloc[0]
    assert 0.95 < row["emissivity"] < 1.0
    assert row["high"] == 1.0


def test_emissivity_at_a_spot_is_that_of_its_own_pair(tmp_path):
    """Oracle: two lamps, one patch each; a spot without a patch has none."""
    rows = [
        (lamp, 30, t, m, 0.95, e, 0.02, 22, 22, "fin")
        for lamp, t, m, e in (
            ("K1", 60, "bare", 0.5),
            ("K1", 90, "tape", 0.95),
            ("K2", 40, "bare", 0.2),
            ("K2", 90, "tape", 0.95),
            ("B0", 50, "bare", 0.9),
        )
    ]
    bench = made(tmp_path / "b", *rows)
    found = patch_emissivities(bench)
    spots = {one.lamp: one for one in surfaces(bench) if one.method == "bare"}
    assert emissivity_at(found, spots["K1"]) == found["emissivity"][0]
    assert emissivity_at(found, spots["K2"]) == found["emissivity"][1] < found["emissivity"][0]
    assert math.isnan(emissivity_at(found, spots["B0"]))


def test_patch_that_is_hardly_warm_gives_no_emissivity(tmp_path):
    rows = [
        ("K1", 30, 24, "bare", 0.95, 0.2, 0.05, 22, 22, "fin"),
        ("K1", 30, 28, "tape", 0.95, 0.95, 0.02, 22, 22, "fin"),
    ]
    row = patch_emissivities(made(tmp_path / "b", *rows)).iloc[0]
    assert row["code"] == "patch_too_cool"
    assert math.isnan(row["emissivity"])


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_temperatures_have_the_coverage_that_the_bench_declares(tmp_path, coverage):
    """Closed form: that part of the limits of a thermocouple; wider intervals of a camera."""
    toml = METER.replace("[bench]", f"[bench]\ncoverage = {coverage}") + HOUSING
    bare = ("K1", 30, 80, "thermocouple", "", "", "", "", 22, "fin")
    rows = surface_rows(made(tmp_path / "b", bare, TRIAL, toml=toml))
    assert set(rows["coverage"]) == {coverage}
    one = rows[rows["point"] == "fin, thermocouple"].iloc[0]
    assert_allclose(one["high"] - one["value"], coverage * THERMOCOUPLE_LIMIT_K, rtol=1e-12)
    drawn = rows[rows["point"] == "fin, bare"].iloc[0]
    plain = surface_rows(made(tmp_path / "c", TRIAL)).iloc[0]
    assert bool(drawn["high"] - drawn["low"] > plain["high"] - plain["low"]) is (coverage > 0.95)


def test_an_emissivity_near_its_end_keeps_within_it(tmp_path):
    """By hand: 0.99 ± 0.02 is 0.97 to 1, in the middle 0.985."""
    one = only(tmp_path / "b", method="tape", emissivity=0.99, emissivity_half_width=0.02, displayed_C=72)
    (q,) = one.temperature.only("emissivity").parts
    assert_allclose(q.u, 0.015 / math.sqrt(3.0), rtol=1e-12)
    assert math.isfinite(one.high)
