"""Beam runs of a bench: three measurands against the baseline's beam, cut-off, aim, and what is refused."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from small_benches import METER, bench, csv

from photolab.bench.drawn.simulation_tables import BEAM_SHAPES, beam_shape
from photolab.bench.folder.records import read_bench
from photolab.bench.inputs.corrections import spectral_factor
from photolab.bench.results.beam_grids import BeamScan, read_beams
from photolab.bench.results.beam_ratios import beam_ratio
from photolab.bench.results.beams import beam_rows, evaluate_beams
from photolab.errors import MethodError, RecordError
from photolab.publication.report.notebooks import repository_root

READINGS = "lamp,illuminance_lx,housing\nB0,300,HP\nK1,330,HP\n"
HEAD = "run,lamp,housing,horizontal_deg,vertical_deg,illuminance_lx,dark_lx,range_lx"
PLACED = METER + '[[housing]]\nid = "HP"\ndistance_m = 6\nsensor = "faces_lamp"\ntraffic = "right"\n'
TRUTH = {
    ("HP", "hot spot"): 1.249,
    ("HP", "window flux"): 1.195,
    ("HP", "above cut-off"): 1.28,
    ("HR", "hot spot"): 0.895,
    ("HR", "window flux"): 1.26,
    ("HR", "above cut-off"): 2.61,
}


@pytest.fixture(scope="module")
def demo():
    """The invented demo bench; truth.toml beside it holds what generated it."""
    return read_bench(repository_root() / "data" / "demo")


@pytest.fixture(scope="module")
def beams(demo):
    """Its beams."""
    return evaluate_beams(demo)


def pattern(lamp, level, *, skip=(), dark=0.0, top=400, across=range(-9, 10, 3)):
    """Rows of a small grid: bright below the horizon, faint above."""
    rows = []
    for v in (-2.0, -1.0, 0.0, 1.0, 2.0):
        for h in across:
            lux = level * (30.0 if v < 0 else 2.0) * math.exp(-((h / 9) ** 2))
            rows.append((f"{lamp}-grid", lamp, "HP", h, v, round(lux + dark, 1), dark, top))
    return [row for row in rows if (row[3], row[4]) not in skip]


def beams_of(folder, rows, *, toml=PLACED, header=HEAD, **how):
    """Evaluate an invented pair of grids."""
    return evaluate_beams(bench(folder, READINGS, toml=toml, beam=csv(header, rows)), **how)


def test_a_seating_counts_as_it_was_measured_in_its_housing(tmp_path):
    """Oracle: closed form: 16 seatings at ±s about the mean, less 2 lamps and a day's step: 13 dof, s sqrt(16/13)."""
    seated = [
        (lamp, f"{300 * math.exp(0.01 * (-1) ** k):.4f}", "HP", day, f"{day}{k}")
        for lamp in ("B0", "K1")
        for day in ("D1", "D2")
        for k in range(4)
    ]
    readings = csv("lamp,illuminance_lx,housing,day,mounting", seated)
    grid = csv(HEAD, [*pattern("B0", 10), *pattern("K1", 12)])
    made = bench(tmp_path / "a", readings, toml=PLACED, beam=grid)
    one = evaluate_beams(made).find("K1", "HP").ratio("hot spot")
    added = one.seated_again.only("seating")
    assert_allclose(
        added.u / added.value, math.sqrt(2) * 0.01 * math.sqrt(16 / 13), rtol=1e-3
    )  # of printed lux
    assert_allclose(added.dof, 13.0, rtol=1e-12)
    rows = beam_rows(made).query("scope == 'specimens'")
    assert not rows["assumed"].str.contains("mounting_sd_percent").any()
    once = bench(tmp_path / "b", READINGS, toml=PLACED, beam=grid)
    added = evaluate_beams(once).find("K1", "HP").ratio("hot spot").seated_again.only("seating")
    assert_allclose(added.u / added.value, math.sqrt(2) * 0.03, rtol=1e-3)  # 3 % assumed
    assert beam_rows(once).query("scope == 'specimens'")["assumed"].str.contains("mounting_sd_percent").all()


def test_the_step_between_ranges_is_among_the_assumed_where_grids_hold_two(tmp_path):
    """Oracle: the rule; one range has no step."""
    for top, named in ((4000, True), (400, False)):
        rows = [*pattern("B0", 10), *pattern("K1", 12, top=top)]
        made = bench(tmp_path / str(top), READINGS, toml=PLACED, beam=csv(HEAD, rows))
        assumed = beam_rows(made)["assumed"]
        assert len(assumed) == 6
        assert (assumed.str.contains("step between two ranges") == named).all()


@pytest.mark.parametrize(("housing", "measurand"), list(TRUTH))
def test_ratios_hold_the_generating_values(beams, housing, measurand):
    """Oracle: synthetic truth of the scenario, inside the 95 % interval as seated and for the specimens."""
    one = beams.find("K3", housing).ratio(measurand)
    truth = TRUTH[housing, measurand]
    assert one.low < truth < one.high
    low, high = one.seated_again.interval(0.95)
    # seating adds little to a wide interval: less than the ends of the draws scatter, a thousandth of them
    assert low * (1 - 1e-3) <= one.low < one.high <= high * (1 + 1e-3)
    assert one.seated_again.u > one.as_seated.u
    # display, scatter and the meter's colour leave 2 % of the value
    assert_allclose(one.value, truth, rtol=0.02)


def test_faint_cells_have_a_wide_interval(demo, beams):
    """Oracle: closed form: ±2 lx of the 400 lx range on what the display shows of faint cells, about 2 and 3 lx."""
    wide = beams.find("K3", "HP").ratio("above cut-off")
    narrow = evaluate_beams(demo, range_term=False).find("K3", "HP").ratio("above cut-off")
    assert wide.value == narrow.value
    assert math.log(wide.high / wide.low) > 5 * math.log(narrow.high / narrow.low)
    assert next(iter(wide.parts)) == "range term"
    shown = [
        value / 6.12**2 / spectral_factor(demo, "M1", *lamp)[0]
        for value, lamp in ((wide.own, ("K3", "led")), (wide.reference, ("B0", "filament")))
    ]
    ends = [math.log((shown[0] + u) / (shown[1] + u)) for u in (-2.0 / math.sqrt(3.0), 2.0 / math.sqrt(3.0))]
    # cos and slant within the window move cd per lx by up to 2 %, alike for both lamps
    assert_allclose(wide.parts["range term"], (ends[0] - ends[1]) / 2.0, rtol=0.02)


def test_scale_of_the_meter_cancels(beams):
    """Oracle: closed form: one factor of both beams."""
    for one in beams.find("K3", "HP").ratios:
        assert one.parts["scale"] < 1e-12  # a factor and its inverse, in floats


def test_what_a_range_adds_is_corrected_with_the_light(tmp_path):
    """Oracle: closed form: beams that show the same lux keep the ratio of their factors, whatever the range adds."""
    stated = '[[meter.spectral_factor]]\ntechnology = "led"\nfactor = 0.8\nexpanded_uncertainty = 0.01\n'
    toml = PLACED.replace("[[housing]]", stated + "[[housing]]")
    found = beams_of(tmp_path, pattern("B0", 1.0) + pattern("K1", 1.0), toml=toml).find("K1", "HP")
    for one in found.ratios:
        assert_allclose(one.value, 0.8, rtol=1e-12)
        assert one.parts["range term"] < 1e-12  # floats


def test_dark_reading_is_taken_off(tmp_path):
    """Oracle: closed form: 10 lx on every cell draw the ratio 2 towards 1, and go with the dark reading."""
    rows = pattern("B0", 1.0, dark=10.0) + pattern("K1", 2.0, dark=10.0)
    done = beams_of(tmp_path, rows).find("K1", "HP").ratio("hot spot")
    left = beams_of(tmp_path, rows, corrections=()).find("K1", "HP").ratio("hot spot")
    # the display's tenth of a lux of 30 lx
    assert_allclose(done.value, 2.0, rtol=4e-3)
    assert_allclose(left.value, 70.0 / 40.0, rtol=4e-3)


def test_flat_wall_has_its_cosine(tmp_path):
    """Oracle: closed form 1/cos = sqrt(1 + tan^2 h + tan^2 v) between the two ways of holding the head."""
    rows = pattern("B0", 1.0)
    faces, flat = (
        beams_of(tmp_path, rows, toml=PLACED.replace("faces_lamp", sensor)).results[0].beam.grid
        for sensor in ("faces_lamp", "flat_wall")
    )
    h, v = np.meshgrid(np.tan(np.radians(faces.horizontal)), np.tan(np.radians(faces.vertical)))
    assert_allclose(flat.intensity / faces.intensity, np.sqrt(1 + h**2 + v**2), rtol=1e-12)


def test_a_turned_lamp_is_as_far_from_the_head_in_every_direction(tmp_path):
    """Oracle: closed form E (6 m)^2 in every cell; a position on a wall is refused with what to type."""
    rows = pattern("B0", 1.0)
    turned = PLACED.replace("faces_lamp", "turned_lamp")
    found = beams_of(tmp_path / "turned", rows, toml=turned).results[0].beam.grid
    facing = beams_of(tmp_path / "facing", rows).results[0].beam.grid
    square = 1 + np.tan(np.radians(found.vertical))[:, None] ** 2 + np.tan(np.radians(found.horizontal)) ** 2
    assert_allclose(found.intensity * square, facing.intensity, rtol=1e-12)
    assert found.projection == "sphere"
    header = HEAD.replace("horizontal_deg,vertical_deg", "x_mm,y_mm")
    with pytest.raises(RecordError, match=r'beam.csv:2: x_mm: .*"turned_lamp"; write horizontal_deg and'):
        bench(tmp_path / "wall", READINGS, toml=turned, beam=csv(header, rows))


def test_wall_positions_and_angles_agree(tmp_path):
    """Oracle: closed form x = D tan h with D = 6 m."""
    rows = pattern("B0", 1.0)
    wall = [(*row[:3], *(6000.0 * math.tan(math.radians(a)) for a in row[3:5]), *row[5:]) for row in rows]
    header = HEAD.replace("horizontal_deg,vertical_deg", "x_mm,y_mm")
    one, other = beams_of(tmp_path, rows), beams_of(tmp_path, wall, header=header)
    grids = [result.results[0].beam.grid for result in (one, other)]
    # doubles through tan and arctan
    assert_allclose(grids[1].horizontal, grids[0].horizontal, atol=1e-9)
    assert_allclose(grids[1].intensity, grids[0].intensity, rtol=1e-9)


def test_each_run_says_by_itself_whether_it_was_placed_by_angle_or_by_position(tmp_path):
    """Oracle: closed form x = D tan h with D = 6 m: B0 on the wall and K1 by angle, as both by angle."""
    base, lamp = pattern("B0", 1.0), pattern("K1", 1.5)
    wall = [(*row, *(6000.0 * math.tan(math.radians(a)) for a in row[3:5])) for row in base]
    both = [(*row[:3], "", "", *row[5:]) for row in wall] + [(*row, "", "") for row in lamp]
    mixed = beams_of(tmp_path / "mixed", both, header=f"{HEAD},x_mm,y_mm").results[0]
    angles = beams_of(tmp_path / "angles", base + lamp).results[0]
    # doubles through tan and arctan
    assert_allclose(mixed.beam.grid.horizontal, angles.beam.grid.horizontal, atol=1e-9)
    assert [one.measurand for one in mixed.ratios] == [one.measurand for one in angles.ratios]
    for one, other in zip(mixed.ratios, angles.ratios, strict=True):
        assert_allclose(one.value, other.value, rtol=1e-9)


def test_swapping_lamps_inverts_the_ratio(demo):
    """Oracle: closed form."""
    runs = {(r.lamp, r.housing): r for r in read_beams(demo)[0]}
    pair = [runs[lamp, "HR"] for lamp in ("K3", "B0")]
    how = {"mounting_sd": 0.02, "coverage": 0.95, "range_term": True}
    one, other = beam_ratio(*pair, "window flux", **how), beam_ratio(*reversed(pair), "window flux", **how)
    assert_allclose(one.value * other.value, 1.0, rtol=1e-12)
    # the inputs keep their streams, so the draws change their sign: the ends are one draw of 100 000 apart
    assert_allclose(math.log(one.low), -math.log(other.high), atol=2e-4)
    assert_allclose(one.as_seated.u / one.value, other.as_seated.u / other.value, rtol=1e-9)
    # a factor of the lamp moves ln of the ratio one for one, a factor of the baseline the other way
    for ratio, sign in ((one, 1.0), (other, -1.0)):
        (slope,) = (c for q, c in ratio.as_seated.parts.items() if q.name == ("colour", "beam", "K3", "HR"))
        assert_allclose(slope / ratio.value, sign, rtol=1e-3)  # ln(1 + u) over u


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_beams_have_the_coverage_that_the_bench_declares(demo, coverage):
    """Oracle: the same draws at another coverage: narrower at 90 %, wider at 99 %."""
    runs = {(r.lamp, r.housing): r for r in read_beams(demo)[0]}
    pair = [runs[lamp, "HR"] for lamp in ("K3", "B0")]
    one = beam_ratio(*pair, "hot spot", mounting_sd=0.02, coverage=coverage, range_term=True)
    assert (one.low, one.high) == one.as_seated.interval(coverage)
    usual = np.diff(one.as_seated.interval(0.95))[0]
    assert bool(one.high - one.low > usual) is (coverage > 0.95)


def test_upper_limits_count_half_and_widen(tmp_path):
    """Oracle: closed form: cells that are all upper limits count half, with everything from 0 to 1 left open."""
    rows = [
        (*row, "below" if row[4] > 0 and row[1] == "K1" else "")
        for row in pattern("B0", 1.0) + pattern("K1", 1.0)
    ]
    found = beams_of(tmp_path, rows, header=HEAD + ",censored", range_term=False).find("K1", "HP")
    one = found.ratio("above cut-off")
    assert one.upper_limits
    assert "upper_limits" in found.codes
    assert_allclose(one.value, 0.5, rtol=1e-12)
    assert one.low < 0.1
    assert one.high > 0.9


def test_light_no_larger_than_the_dark_reading_is_an_upper_limit(tmp_path):
    """Oracle: by definition: at most the last figure, 0.1 lx, times 36 m2 straight ahead."""
    rows = [
        (*row[:5], 4.0 if row[3:5] == (0, 2.0) else row[5], *row[6:]) for row in pattern("B0", 1.0, dark=4.0)
    ]
    run = beams_of(tmp_path, rows).results[0].beam
    grid = run.grid
    at = (grid.vertical.tolist().index(2.0), grid.horizontal.tolist().index(0.0))
    assert grid.censored[at]
    assert grid.censored.sum() == 1
    slant = 1 + math.tan(math.radians(2.0)) ** 2
    assert_allclose(grid.intensity[at], 0.1 * 36.0 * slant, rtol=1e-12)
    assert (
        run.own == 0.0
    ).sum() == 1  # from nothing to the limit: it counts once, with the cells that are limits


def test_cutoff_of_the_demo(beams):
    """Oracle: closed form of the generating shapes at 2.5 deg: largest fall over 0.1 deg, and where."""
    v = np.arange(-2.0, 1.0, 0.001)
    for lamp, housing in (("B0", "HP"), ("K3", "HP"), ("K3", "HR")):
        wide, edge, stray = BEAM_SHAPES[lamp, housing]
        ln = np.log10(beam_shape(np.full(v.size, 2.5), v, wide=wide, edge=edge, stray=stray))
        falls = ln[:-100] - ln[100:]
        at = int(np.argmax(falls))
        one = beams.find(lamp, housing).cutoff
        assert one.code == ""
        # noise raises the largest of many differences by up to two of its standard uncertainties
        assert abs(one.sharpness - falls[at]) < 4 * one.sharpness_uncertainty
        # stated as a standard uncertainty: within three of them
        assert abs(one.height - (v[at] + 0.05)) < 3 * one.height_uncertainty
        assert one.height_uncertainty < 0.1


def test_coarse_grid_gives_no_sharpness(tmp_path):
    """Oracle: common practice, stated with the sharpness: steps of at most 0.1 deg around the cut-off."""
    one = beams_of(tmp_path, pattern("B0", 1.0)).results[0].cutoff
    assert one.code == "scan_too_coarse"
    assert math.isnan(one.sharpness)
    assert -1.0 <= one.height <= 0.0


def test_scan_needs_light(tmp_path):
    """Oracle: by definition: what does not fall has no cut-off."""
    rows = [("S", "B0", "HP", 2.5, v / 20, 20, 0, 400) for v in range(-20, 21)]
    made = bench(tmp_path, READINGS, toml=PLACED, beam=csv(HEAD, rows))
    grids, scans, refused = read_beams(made)
    assert (grids, refused) == ((), ())
    assert isinstance(scans[0], BeamScan)
    assert scans[0].vertical.size == 41


def test_aim_of_the_demo(beams):
    """Oracle: synthetic truth: both lamps share one aim; a cut-off is known to a fifth of the step."""
    aim = beams.find("K3", "HP").aim
    assert abs(aim.vertical) < aim.vertical_step / 5
    assert abs(aim.horizontal) < aim.horizontal_step / 5


def test_map_shows_where_there_is_more(beams):
    """Oracle: scenario: in the reflector K3 gives more above the horizon and less in the hot spot."""
    found = beams.find("K3", "HR").map(coverage=0.95)
    above = found.ratio[found.vertical > 0.4][:, np.abs(found.horizontal) <= 8]
    hot = found.ratio[np.ix_(found.vertical == -1.5, found.horizontal == 1.0)]
    assert above.min() > 2.0
    assert float(hot[0, 0]) < 0.95
    with pytest.raises(MethodError, match="no baseline beam"):
        beams.find("B0", "HR").map(coverage=0.95)


def test_rows_of_the_results_table(demo, beams):
    """Oracle: synthetic truth inside each row's interval; three measurands, never one score."""
    rows = beam_rows(demo, beams=beams)
    names = {
        "hot spot": "hot-spot intensity ratio",
        "window flux": "window flux ratio",
        "above cut-off": "above cut-off ratio",
    }
    assert len(rows) == 12
    for (housing, measurand), truth in TRUTH.items():
        mine = rows[(rows["housing"] == housing) & (rows["measurand"] == names[measurand])]
        assert set(mine["scope"]) == {"readings", "specimens"}
        assert (mine["low"] < truth).all()
        assert (mine["high"] > truth).all()
    assert set(rows["baseline"]) == {"B0"}


def test_three_beams_of_a_housing_are_a_family_of_three(tmp_path):
    """Oracle: Tukey's studentised range of three alike, q/sqrt2 over the normal factor: all three beams err alike."""
    lamps = "lamp,technology,role\nB0,led,baseline\nK1,led,candidate\nK2,led,candidate\n"
    rows = [
        row
        for lamp, level in (("B0", 100), ("K1", 121.5), ("K2", 70))
        for row in pattern(lamp, level, top=4000)
    ]
    readings = "lamp,illuminance_lx,housing\nB0,380,HP\nK1,400,HP\nK2,400,HP\n"
    made = bench(tmp_path, readings, toml=PLACED, lamps=lamps, beam=csv(HEAD, rows))
    table = beam_rows(made).query("measurand == 'window flux ratio'").set_index(["lamp", "scope"])
    alone, among = (np.log(table[f"{name}high"] / table[f"{name}low"]) for name in ("", "family_"))
    wanted = stats.studentized_range.ppf(0.95, 3, np.inf) / math.sqrt(2.0) / stats.norm.ppf(0.975)
    told = among / alone
    # 200 000 draws scatter by 0.2 %, and the three do not err quite alike
    assert_allclose(told.loc[:, "specimens"].to_numpy(float), wanted, rtol=0.01)
    assert (told > 1.05).all()
    for lamp in ("K1", "K2"):
        verdicts = table.loc[(lamp, "specimens"), ["verdict", "family_verdict"]]
        assert list(verdicts) == (["clear", "inside"] if lamp == "K1" else ["clear", "clear"])


def test_grid_with_holes_is_refused(tmp_path):
    """Oracle: by definition; one cell of 35 is missing."""
    found = beams_of(tmp_path, pattern("B0", 1.0) + pattern("K1", 2.0, skip={(0, -1.0)}))
    assert [(r.lamp, r.code) for r in found.refusals] == [("K1", "grid_has_holes")]
    assert "1 point is missing" in found.refusals[0].message
    assert [r.lamp for r in found.results] == ["B0"]


def test_housing_without_a_distance_is_refused(tmp_path):
    """Oracle: by definition: lux without a distance are no candela."""
    found = beams_of(tmp_path, pattern("B0", 1.0), toml=PLACED.replace("distance_m = 6\n", ""))
    assert [r.code for r in found.refusals] == ["no_distance"]
    assert found.results == ()


def test_no_baseline_beam(tmp_path):
    """Oracle: by definition: nothing to divide by."""
    found = beams_of(tmp_path, pattern("K1", 2.0)).find("K1", "HP")
    assert found.ratios == ()
    assert [r.code for r in found.refusals] == ["no_reference"]
    with pytest.raises(MethodError, match="no ratio of its hot spot"):
        found.ratio("hot spot")


def test_grid_without_the_window_keeps_the_rest(tmp_path):
    """Oracle: by counting: no cell at 0.5 to 2 deg up, the other two measurands stand."""
    rows = [row for row in pattern("B0", 1.0) + pattern("K1", 2.0) if row[4] <= 0]
    found = beams_of(tmp_path, rows).find("K1", "HP")
    assert [one.measurand for one in found.ratios] == ["hot spot", "window flux"]
    assert [r.code for r in found.refusals][:1] == ["no_cells"]


def test_bench_without_beams():
    """Oracle: by definition; nothing is invented."""
    small = read_bench(repository_root() / "data" / "two-readings")
    assert evaluate_beams(small).results == ()
    assert beam_rows(small).empty


def test_a_scan_has_the_cosine_of_its_head(tmp_path):
    """Oracle: closed form: facing the lamp (D / cos v)^2 with D = 6 m, flat on the wall one cosine more, none for a
    lamp that is turned before a fixed head.
    """
    rows = [("S", "B0", "HP", 0.0, v / 20, 20, 0, 400) for v in range(-100, 101)]
    for sensor, power in (("faces_lamp", 2), ("flat_wall", 3), ("turned_lamp", 0)):
        toml = PLACED.replace("faces_lamp", sensor)
        (scan,) = read_beams(bench(tmp_path / sensor, READINGS, toml=toml, beam=csv(HEAD, rows)))[1]
        slant = np.cos(np.radians(scan.vertical)) ** -power
        assert_allclose(scan.intensity, 20 * 36.0 * slant, rtol=1e-12)


@pytest.mark.parametrize("wall", [False, True])
def test_a_grid_and_a_scan_are_of_true_lux_from_the_photometric_centre(tmp_path, wall):
    """Oracle: by hand: certificate 0.98 times 0.8 for led, (5.9 + 0.1) m, x = 6 m tan h; U = 0.04 of 0.8, k = 2."""
    stated = '[[meter.spectral_factor]]\ntechnology = "led"\nfactor = 0.8\nexpanded_uncertainty = 0.04\n'
    stated += "[meter.certificate]\ncorrection = 0.98\nexpanded_uncertainty_percent = 1.5\n"
    toml = PLACED.replace("[[housing]]", stated + "[[housing]]")
    toml = toml.replace("distance_m = 6", "distance_m = 5.9\noffset_mm = 100")
    scanned = [("S", "K1", "HP", 3.0, v, 20, 0, 400) for v in (-2.0, 0.0, 1.0)]
    rows, header = pattern("K1", 1.0) + scanned, HEAD
    if wall:
        rows = [(*row[:3], *(6000.0 * np.tan(np.radians(row[3:5]))), *row[5:]) for row in rows]
        header = header.replace("horizontal_deg,vertical_deg", "x_mm,y_mm")
    (grid,), (scan,), _ = read_beams(bench(tmp_path, READINGS, toml=toml, beam=csv(header, rows)))
    per_lux = 0.98 * 0.8 * 36.0
    assert_allclose([grid.grid.intensity[2, 3], grid.per_lux[2, 3]], [2.0 * per_lux, per_lux], rtol=1e-12)
    own = [
        math.hypot(0.004 * lux, 0.1 / math.sqrt(12.0)) / lux for lux in (2.0, 20.0)
    ]  # 0.4 % assumed, last figure
    part = (grid.own[2, 3] / grid.grid.intensity[2, 3], scan.own[1] / scan.intensity[1])
    assert_allclose(part, own, rtol=1e-12)
    assert_allclose([scan.horizontal, *scan.vertical], [3.0, -2.0, 0.0, 1.0], atol=1e-12)
    h, v = np.tan(np.radians(3.0)), np.tan(np.radians([-2.0, 0.0, 1.0]))
    assert_allclose(scan.intensity, 20.0 * per_lux * (1.0 + h**2 + v**2), rtol=1e-12)
    assert_allclose(grid.colour_u, 0.025, rtol=1e-12)
