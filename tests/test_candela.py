"""One reading at the bench's distance to candela: the budget, the word apparent, the advice."""

import math

import pytest
from numpy.testing import assert_allclose
from small_benches import METER, bench, csv

from photolab.bench.results.candela import bench_candela
from photolab.bench.results.distances import evaluate_distances
from photolab.metrology.reporting import with_uncertainty
from photolab.publication.sentences.words_light import candela_words

HEAD = "lamp,illuminance_lx,housing,range_lx\n"
PLACE = '[[housing]]\nid = "HP"\ndistance_m = 8\ndistance_uncertainty_mm = 20\n'


def one_of(folder, *, lux=151, offset="offset_mm = 120\noffset_uncertainty_mm = 10\n", top=4000):
    """Read one lamp once at 8 m."""
    rows = f"{HEAD}B0,{lux},HP,{top}\nK1,{lux},HP,{top}\n"
    return bench_candela(bench(folder, rows, toml=METER + PLACE + offset), lamp="B0")[0]


@pytest.mark.parametrize(("offset", "kilocandela"), [("offset_mm = 120\n", 9.96), ("offset_mm = 0\n", 9.66)])
def test_reading_at_eight_metres(tmp_path, offset, kilocandela):
    """Oracle: closed form 151 lx x (8.12 m)^2 and x (8.00 m)^2, to the printed digit."""
    one = one_of(tmp_path, offset=offset)
    assert_allclose(one.intensity.value / 1000.0, kilocandela, atol=0.005)


def test_distance_part(tmp_path):
    """Oracle: closed form 2 x (20 and 10 mm/sqrt 3)/8.12 m."""
    one = one_of(tmp_path)
    part = 2 * math.hypot(0.020, 0.010) / math.sqrt(3) / 8.12
    assert_allclose(one.intensity.only("distance").u / one.intensity.value, part, rtol=1e-6)  # differences


def test_range_term_dominates_and_a_lower_range_is_advised(tmp_path):
    """Oracle: closed form 20 lx/sqrt 3 of 151 lx = 7.6 % on the 4000 lx range; 2 lx/sqrt 3 on the 400 lx range."""
    one = one_of(tmp_path)
    assert_allclose(
        one.intensity.only("range term").u / one.intensity.value, 20 / math.sqrt(3) / 151, rtol=1e-6
    )
    assert one.lower_range
    said = candela_words(one)
    assert "A lower range of the meter would narrow it" in said
    assert "the largest part of the uncertainty is the range term of the meter" in said
    low = one_of(tmp_path / "low", top=400)
    assert_allclose(
        low.intensity.only("range term").u / low.intensity.value, 2 / math.sqrt(3) / 151, rtol=1e-6
    )
    assert not low.lower_range


def seated(folder, spread, *, toml=METER + PLACE):
    """Three lamps of four seatings on two days each, alternating by a spread in ln about 151 lx."""
    rows = [
        (lamp, f"{151 * math.exp(spread * (-1) ** k):.4f}", "HP", 400, day, f"{day}{k}")
        for lamp in ("B0", "K1", "K2")
        for day in ("D1", "D2")
        for k in range(4)
    ]
    return bench(folder, csv("lamp,illuminance_lx,housing,range_lx,day,mounting", rows), toml=toml)


def test_measured_seatings_replace_the_assumed_ones(tmp_path):
    """Oracle: closed form: alternating ±s about the mean, 24 seatings less 3 lamps and the step of a day: 20 dof, SD
    s sqrt(24/20), over root 8 seatings; and the sentence no longer calls it assumed.
    """
    (one,) = bench_candela(seated(tmp_path, 0.005), lamp="B0")
    part = one.intensity.only("seating")
    assert_allclose(
        part.u / part.value, 0.005 * math.sqrt(24 / 20) / math.sqrt(8), rtol=1e-3
    )  # of printed lux
    assert_allclose(part.dof, 20.0, rtol=1e-12)
    assert not any("seatings" in text for text in one.of.assumed)
    wider = bench_candela(seated(tmp_path / "w", 0.02), lamp="B0")[0].intensity.only("seating").u
    assert_allclose(wider / part.u, 4.0, rtol=1e-3)  # as above
    assert one.intensity.only("day").u > 0
    assert any("scatter of days" in text for text in one.of.assumed)


def test_last_figure_is_averaged_over_seatings(tmp_path):
    """Oracle: closed form: a step of 0.1 lx is 0.1/sqrt 12 in each of 8 seatings, times (8 m)^2; no dark reading."""
    (one,) = bench_candela(seated(tmp_path, 0.005), lamp="B0")
    assert_allclose(one.intensity.only("resolution").u, 0.1 / math.sqrt(12) / math.sqrt(8) * 64, rtol=1e-6)


def test_what_the_meter_shows_is_corrected_with_the_light(tmp_path):
    """Oracle: closed form: a certificate of 0.8 brings range, last figure and light to 0.8."""
    certificate = "[meter.certificate]\ncorrection = 0.8\nexpanded_uncertainty_percent = 1.5\n"
    rows = f"{HEAD}B0,151,HP,4000\nK1,151,HP,4000\n"
    (one,) = bench_candela(bench(tmp_path, rows, toml=METER + certificate + PLACE), lamp="B0")
    assert_allclose(one.intensity.value, 0.8 * 151 * 64, rtol=1e-12)
    assert_allclose(one.intensity.only("range term").u, 0.8 * 20 / math.sqrt(3) * 64, rtol=1e-9)
    assert_allclose(one.intensity.only("resolution").u, 0.8 / math.sqrt(12) * 64, rtol=1e-9)


def test_what_the_meter_shows_is_corrected_by_the_mean_of_the_seatings(tmp_path):
    """Oracle: closed form: seatings at 13.2 V and 12.7 V are brought to 13.2 V by 1 and (13.2/12.7)^3.42; the step of
    1 lx over two seatings is worth their mean in ln.
    """
    rows = f"{HEAD.strip()},mounting,socket_V\nB0,151,HP,4000,1,13.2\nB0,140,HP,4000,2,12.7\nK1,151,HP,4000,1,13.2\n"
    (one,) = bench_candela(bench(tmp_path, rows, toml=METER + PLACE), lamp="B0")
    factor = (13.2 / 12.7) ** (3.42 / 2)
    assert_allclose(one.intensity.only("resolution").u, factor / math.sqrt(12) / math.sqrt(2) * 64, rtol=1e-9)
    assert_allclose(one.intensity.only("range term").u, factor * 20 / math.sqrt(3) * 64, rtol=1e-9)


def test_which_near_field_is_as_doubtful_here_as_in_the_run(tmp_path):
    """Oracle: the run's own spread between two laws that explain it, as a share of its intensity; and the light at
    6 m over the law's ratio there.
    """
    lux = {d: 17_250 * (1 - (1.1 / d) ** 2) / d**2 + 3 for d in (2, 3, 4, 5, 6, 7.5, 10)}
    rows = [("R", "B0", "HP", d, f"{e:.2f}", 0, 4000) for d, e in lux.items()]
    made = bench(
        tmp_path,
        f"{HEAD}B0,{lux[6]:.1f},HP,4000\nK1,300,HP,4000\n",
        toml=METER + PLACE.replace("= 8", "= 6"),
        distance=csv("run,lamp,housing,distance_m,illuminance_lx,dark_lx,range_lx", rows),
    )
    (run,) = evaluate_distances(made)
    (one,) = bench_candela(made, lamp="B0", runs=(run,))
    assert run.law == "near_field"
    assert len(run.laws.comparison.kept) > 1
    share = one.intensity.value / run.intensity
    assert abs(share - 1) > 1e-6
    assert_allclose(
        one.intensity.only("model spread").u, share * run.candela.only("model spread").u, rtol=1e-9
    )
    ratio = 1 - run.shape.value / 36 if run.fit.model == "near_field" else 1 / (1 + run.shape.value / 36)
    assert_allclose(one.intensity.value, one.of.light.value * 36 / ratio, rtol=1e-9)


def test_scatter_is_assumed_where_lamps_are_seated_once(tmp_path):
    """Oracle: by definition: nothing was seated again, so the declared default stands and is named."""
    one = one_of(tmp_path)
    part = one.intensity.only("seating")
    assert part.u > 0
    assert part.dof == math.inf
    assert any("scatter of seatings" in text for text in one.of.assumed)


def test_defaults_of_the_meter_that_enter_are_named(tmp_path):
    """Oracle: by definition: f1' and the light of the calibration enter an LED lamp's light, the linearity every
    lamp's; what bench.toml declares is no default, and the certificate's light is that of the filament lamp.
    """
    rows = f"{HEAD}B0,151,HP,4000\nK1,151,HP,4000\n"
    filament, led = bench_candela(bench(tmp_path, rows, toml=METER + PLACE))
    assert [text for text in led.of.assumed if "10 %" in text] == [
        "f1', V(lambda) match, spectral error (M1) 10 %"
    ]
    assert not any("f1'" in text or "calibrated" in text for text in filament.of.assumed)
    for one in (filament, led):
        assert "linearity (M1) 1 %" in one.of.assumed
        assert "linearity (M1) 1 %" in candela_words(one)
    stated = METER + "mismatch_index_percent = 10\nlinearity_percent = 1\n" + PLACE
    for one in bench_candela(bench(tmp_path / "stated", rows, toml=stated)):
        assert not any("f1'" in text or "linearity" in text for text in one.of.assumed)


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_words_have_the_coverage_that_the_bench_declares(tmp_path, coverage):
    """Oracle: the quantity's own half width at that coverage."""
    toml = METER.replace("[bench]", f"[bench]\ncoverage = {coverage}") + PLACE
    (one,) = bench_candela(seated(tmp_path, 0.005, toml=toml), lamp="B0")
    said = candela_words(one)
    assert f"at {100 * coverage:g} %" in said
    assert with_uncertainty(one.intensity.value, one.intensity.half_width(coverage)) in said


def test_apparent_without_a_run(tmp_path):
    """Oracle: by definition: nothing shows that the inverse square holds."""
    one = one_of(tmp_path)
    assert one.apparent
    assert "apparent intensity" in candela_words(one)


def test_no_distance_no_candela(tmp_path):
    """Oracle: by definition."""
    made = bench(tmp_path, f"{HEAD}B0,151,HP,4000\nK1,151,HP,4000\n")
    assert bench_candela(made, lamp="B0") == ()


def test_seatings_of_the_lamps_own_housing_count(tmp_path):
    """Oracle: closed form: seats that scatter by 0.5 and 2 % are unlike, so each housing has its own, a factor of 4."""
    rows = [
        (lamp, f"{151 * math.exp(spread * (-1) ** k):.4f}", housing, 400, day, f"{day}{k}")
        for housing, spread in (("HP", 0.005), ("HR", 0.02))
        for lamp in ("B0", "K1", "K2")
        for day in ("D1", "D2")
        for k in range(4)
    ]
    readings = csv("lamp,illuminance_lx,housing,range_lx,day,mounting", rows)
    made = bench(tmp_path, readings, toml=METER + PLACE + PLACE.replace("HP", "HR"))
    tight, loose = bench_candela(made, lamp="B0")
    assert (tight.of.housing, loose.of.housing) == ("HP", "HR")
    parts = [one.intensity.only("seating") for one in (tight, loose)]
    assert_allclose(parts[1].u / parts[0].u, 4.0, rtol=1e-3)  # of printed lux
    assert_allclose(
        parts[0].u / parts[0].value, 0.005 * math.sqrt(24 / 20) / math.sqrt(8), rtol=1e-3
    )  # of printed lux
    assert_allclose([part.dof for part in parts], 20.0, rtol=1e-12)


def test_a_dark_reading_taken_off_has_its_own_last_figure(tmp_path):
    """Oracle: closed form: the steps of two figures of 0.1 lx, each 0.1/sqrt 12, times (8 m)^2; one where none is."""
    rows = "lamp,illuminance_lx,housing,range_lx,dark_lx\nB0,152,HP,400,{0}\nK1,152,HP,400,{0}\n"
    for dark, figures in (("1", 2), ("", 1)):
        made = bench(tmp_path / f"dark {dark}", rows.format(dark), toml=METER + PLACE)
        (one,) = bench_candela(made, lamp="B0")
        assert_allclose(one.intensity.only("resolution").u, 64 * 0.1 * math.sqrt(figures / 12), rtol=1e-6)


def test_a_link_counts_for_the_share_of_readings_that_it_carries(tmp_path):
    """Oracle: one of the three readings was taken with the second meter: a third of the doubt of its link."""
    listed = ("B0", "K1", "K2", "K3")
    rows = [
        (lamp, round(lux * factor, 1), "HP", 400, day, seat, meter)
        for lamp, lux in zip(listed, (151, 160, 170, 180), strict=True)
        for seat, day, meter, factor in ((1, "D1", "M1", 1.0), (2, "D1", "M1", 1.01), (1, "D2", "M2", 0.96))
    ]
    made = bench(
        tmp_path,
        csv("lamp,illuminance_lx,housing,range_lx,day,mounting,meter", rows),
        toml=METER + METER.partition("[[meter]]")[2].join(("[[meter]]", "")).replace("M1", "M2") + PLACE,
        lamps=csv(
            "lamp,technology,role", [(k, "led", "candidate" if k[0] == "K" else "baseline") for k in listed]
        ),
        links=csv(
            "lamp,technology,old_meter,new_meter,old_lx,new_lx",
            [(k, "led", "M1", "M2", 500, new) for k, new in zip(listed[1:], (475, 480, 485), strict=True)],
        ),
    )
    (one,) = bench_candela(made, lamp="B0")
    shares = [c / one.of.light.value for q, c in one.of.light.parts.items() if q.name[0] == "link"]
    assert_allclose(shares, [1 / 3], rtol=1e-12)


def test_a_tilted_head_loses_light_to_second_order(tmp_path):
    """Oracle: closed form: limits of 5 deg are 5 deg/sqrt 3; 1 - cos of such an angle has an RMS of sqrt(3)/2 u²."""
    one = one_of(tmp_path, offset="tilt_uncertainty_deg = 5\n")
    wanted = math.sqrt(0.75) * (math.radians(5) / math.sqrt(3)) ** 2
    assert_allclose(one.of.light.only("angle").u / one.of.light.value, wanted, rtol=1e-9)
