"""Distance runs of a bench: what may be quoted in candela, and what is only apparent."""

import math

import pytest
from numpy.testing import assert_allclose
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.corrections import ALL
from photolab.bench.distance_laws import product_curve
from photolab.bench.distances import distance_rows, evaluate_distances
from photolab.bench.records import read_bench
from photolab.publication.notebooks import repository_root

READINGS = "lamp,illuminance_lx,housing\nB0,300,HP\nK1,330,HP\n"
HEAD = "run,lamp,housing,distance_m,illuminance_lx,dark_lx,range_lx"
PLACED = METER + '[[housing]]\nid = "HP"\ndistance_m = 6\ndistance_uncertainty_mm = 5\noffset_mm = 100\n'


@pytest.fixture(scope="module")
def demo():
    """The invented demo bench; truth.toml beside it holds what generated it."""
    return read_bench(repository_root() / "data" / "demo")


def by_housing(runs):
    return {one.housing: one for one in runs}


def run_of(folder, rows, *, toml=PLACED, header=HEAD):
    """Evaluate one invented run."""
    made = bench(folder, READINGS, toml=toml, distance=csv(header, rows))
    return evaluate_distances(made)[0]


def test_projector_gives_intensity_and_centre(demo):
    """Oracle: synthetic truth, 13 400 cd and 0.120 m behind the face, within the stated 95 % intervals."""
    one = by_housing(evaluate_distances(demo))["HP"]
    assert one.law == "inverse_square"
    assert one.quotable
    assert one.low < 13_400 < one.high
    assert abs(one.offset - 0.12) < 1.96 * one.offset_uncertainty
    assert one.shared.additive_from == "dark reading"
    assert (one.high - one.low) / one.intensity < 0.1
    assert "dark" in one.corrections


def test_projector_without_the_dark_reading_misses_the_centre(demo):
    """Oracle: synthetic truth; 3 lx left in bend the law, so no candela is quoted and 0.120 m is missed."""
    one = by_housing(evaluate_distances(demo, corrections=set(ALL) - {"dark"}, range_term=False))["HP"]
    assert one.law == ""
    assert math.isnan(one.intensity)
    assert {"no_law_holds", "only_apparent", "range_term_ignored"} <= set(one.codes)
    assert abs(one.offset_fit.offset - 0.12) > 1.96 * one.offset_fit.offset_uncertainty


def test_manual_range_term_is_honest_and_wide(demo):
    """Oracle: synthetic truth; ±20 lx of the manual hold it, at several times the width."""
    corrected = by_housing(evaluate_distances(demo))["HP"]
    plain = by_housing(evaluate_distances(demo, corrections=set(ALL) - {"dark"}))["HP"]
    assert "no_dark_reading" in plain.codes
    assert plain.low < 13_400 < plain.high
    assert plain.high - plain.low > 3 * (corrected.high - corrected.low)
    assert plain.offset_uncertainty > 5 * corrected.offset_uncertainty


def test_reflector_needs_its_near_field_term(demo):
    """Oracle: synthetic truth 17 250 cd, E = I (1 - (1.1/d)^2)/d^2, so -(1.1/6)^2 = -3.36 % at 6 m."""
    one = by_housing(evaluate_distances(demo))["HR"]
    assert one.law == "near_field"
    assert not one.quotable
    assert "near_field_term" in one.codes
    assert one.low < 17_250 < one.high
    # the parameter 1.21 m2 is known to about 0.012 m2: 0.03 % at 6 m, three times that
    assert_allclose(one.near_field_percent, -100 * (1.1 / 6) ** 2, atol=0.1)
    bare = by_housing(evaluate_distances(demo, corrections=set(ALL) - {"near_field"}))["HR"]
    assert bare.law == ""
    assert "only_apparent" in bare.codes
    assert bare.apparent < 0.98 * 17_250


def test_usable_distances(demo):
    """Oracle: scenario: the projector follows the law from 2 m on, the reflector nowhere inside 10 m."""
    runs = by_housing(evaluate_distances(demo))
    assert runs["HP"].smallest_usable == 2.0
    assert math.isnan(runs["HR"].smallest_usable)
    # disc formula: R sqrt(99) for 1 %, R = 32.5 and 90 mm
    assert_allclose(runs["HP"].geometric_distance, 0.0325 * math.sqrt(99), rtol=1e-12)
    assert_allclose(runs["HR"].geometric_distance, 0.090 * math.sqrt(99), rtol=1e-12)


def test_rows_of_the_results_table(demo):
    """Oracle: synthetic truth inside each interval; a value without its law is called apparent."""
    rows = distance_rows(demo).set_index("housing")
    assert set(rows["measurand"]) == {"luminous intensity"}
    assert (rows["unit"] == "cd").all()
    for housing, truth in (("HP", 13_400), ("HR", 17_250)):
        assert rows.loc[housing, "low"] < truth < rows.loc[housing, "high"]
    assert "near-field law" in rows.loc["HR", "conditions"]
    bare = distance_rows(demo, results=evaluate_distances(demo, corrections=("dark", "spectral")))
    assert set(bare.set_index("housing").loc["HR", ["measurand"]]) == {"apparent luminous intensity"}


def test_exact_law_is_given_back(tmp_path):
    """Oracle: closed form E = 10 000 cd/(d + 0.1 m)^2, displayed to 0.01 lx."""
    rows = [("R", "B0", "HP", d, round(10_000 / (d + 0.1) ** 2, 2), 0, 4000) for d in (2, 3, 4, 6, 8)]
    one = run_of(tmp_path, rows)
    assert one.law == "inverse_square"
    # 0.005 lx of 152 lx moves the result by less than 1e-4
    assert_allclose(one.intensity, 10_000, rtol=2e-4)
    assert_allclose(one.offset, 0.1, atol=5e-4)
    assert_allclose(one.points["residual_percent"], 0, atol=0.02)


def test_volts_of_a_filament_lamp_are_brought_to_the_reference(tmp_path):
    """Oracle: closed form (13.2/12.95)^3.42, Arecchi et al. 2007."""
    rows = [("R", "B0", "HP", d, round(10_000 / d**2, 2), 0, 4000, 12.95) for d in (2, 3, 4, 6)]
    one = run_of(tmp_path, rows, header=HEAD + ",socket_V")
    assert "voltage" in one.corrections
    # as displayed, to 0.01 lx
    assert_allclose(one.points["product_cd"], 10_000 * (13.2 / 12.95) ** 3.42, rtol=2e-4)


def test_scale_of_the_meter_is_the_largest_term(tmp_path):
    """Oracle: closed form: 4 % as a limit is 4/sqrt(3) %, linearity 1/sqrt(3) %, of the intensity."""
    rows = [("R", "B0", "HP", d, round(10_000 / (d + 0.1) ** 2, 2), 0, 4000) for d in (2, 3, 4, 6, 8)]
    one = run_of(tmp_path, rows)
    assert_allclose(one.shared.relative["scale"], 0.04 / math.sqrt(3), rtol=1e-12)
    assert_allclose(one.shared.relative["linearity"], 0.01 / math.sqrt(3), rtol=1e-12)
    assert one.standard_uncertainty > one.intensity * math.hypot(0.04, 0.01) / math.sqrt(3)


def test_distance_uncertainty_is_split_into_zero_and_placement(tmp_path):
    """Oracle: closed form: ±5 mm as a limit, half of the variance each."""
    rows = [("R", "B0", "HP", d, round(10_000 / d**2, 2), 0, 4000) for d in (2, 3, 4, 6)]
    one = run_of(tmp_path, rows)
    assert_allclose(math.hypot(one.shared.zero_m, one.shared.placement_m), 0.005 / math.sqrt(3), rtol=1e-12)
    assert_allclose(one.shared.zero_m, one.shared.placement_m, rtol=1e-12)


@pytest.mark.parametrize("count", [1, 2])
def test_one_distance_is_only_apparent(tmp_path, count):
    """Oracle: closed form E (d + 0.1 m)^2; two readings at one distance are still one distance."""
    rows = [("R", "B0", "HP", 6, 250, 0, 4000), ("R", "B0", "HP", 6, 252, 0, 4000)][:count]
    one = run_of(tmp_path, rows)
    assert one.law == ""
    assert "one_distance" in one.codes
    assert "only_apparent" in one.codes
    assert_allclose(one.apparent, (250 + count - 1) * 6.1**2, rtol=1e-12)
    assert math.isnan(one.intensity)


def test_interval_and_curve_belong_to_the_fit(demo):
    """Oracle: closed form: 1.96 standard uncertainties each way; E d^2 = I (d/(d + o))^2."""
    one = by_housing(evaluate_distances(demo))["HP"]
    # 1.959964 with six digits
    assert_allclose(
        [one.intensity - one.low, one.high - one.intensity], 1.959964 * one.standard_uncertainty, rtol=1e-6
    )
    curve = product_curve(one.fit, [2.0, 6.0])
    assert_allclose(curve, [one.intensity * (d / (d + one.offset)) ** 2 for d in (2.0, 6.0)], rtol=1e-12)
    fitted = one.points.set_index("distance_m")["fitted_lx"]
    # the fit stops when it moves by less than 1e-10
    assert_allclose(curve, [fitted[2.0] * 4.0, fitted[6.0] * 36.0], rtol=1e-9)


def test_two_distances_are_too_few(tmp_path):
    """Oracle: two readings fit any two-parameter law: nothing is shown, by counting."""
    rows = [("R", "B0", "HP", d, round(10_000 / d**2, 2), 0, 4000) for d in (3, 6)]
    one = run_of(tmp_path, rows)
    assert one.law == ""
    assert "too_few_distances" in one.codes


def test_dark_as_large_as_the_light(tmp_path):
    """Oracle: by definition: a reading no larger than the dark reading holds no light."""
    rows = [("R", "B0", "HP", d, e, 30, 4000) for d, e in ((2, 2530), (3, 1141), (4, 655), (6, 308), (9, 30))]
    one = run_of(tmp_path, rows)
    assert "dark_as_large" in one.codes
    assert one.points["distance_m"].tolist() == [2, 3, 4, 6]


def test_no_light_at_all(tmp_path):
    """Oracle: by definition."""
    one = run_of(tmp_path, [("R", "B0", "HP", d, 30, 30, 4000) for d in (2, 3, 4)])
    assert one.points.empty
    assert "no_light" in one.codes
    assert one.law == ""


def test_bench_distance_unknown(tmp_path):
    """Oracle: by counting: without distance_m every distance of the run must follow the law."""
    rows = [("R", "B0", "HP", d, round(10_000 / d**2, 2), 0, 4000) for d in (2, 3, 4, 6)]
    one = run_of(tmp_path, rows, toml=METER + HOUSING)
    assert one.law == "inverse_square"
    assert math.isnan(one.apparent)
    assert any("photometric centre" in text for text in one.assumed)
    assert any("distance within 10 mm" in text for text in one.assumed)


def test_large_opening_close_by_is_refused(tmp_path):
    """Oracle: disc formula: an opening of 1 m needs 4.97 m for 1 %."""
    rows = [("R", "B0", "HP", d, round(10_000 / (d + 0.1) ** 2, 2), 0, 4000) for d in (2, 3, 4, 6, 8)]
    toml = PLACED + "aperture_mm = 1000\n"
    near = toml.replace("distance_m = 6", "distance_m = 4")
    one = run_of(tmp_path, rows, toml=near)
    assert_allclose(one.geometric_distance, 0.5 * math.sqrt(99), rtol=1e-12)
    assert not one.quotable


def test_bench_without_runs():
    """Oracle: by definition; nothing is invented."""
    small = read_bench(repository_root() / "data" / "two-readings")
    assert evaluate_distances(small) == ()
    assert distance_rows(small).empty


def test_seating_again_within_a_run_is_noticed(tmp_path):
    """Oracle: by counting."""
    rows = [("R", "B0", "HP", d, round(10_000 / (d + 0.1) ** 2, 2), 0, 4000, d) for d in (2, 3, 4, 6)]
    one = run_of(tmp_path, rows, header=HEAD + ",mounting")
    assert "several_seatings" in one.codes
