"""What bench.toml declares. Oracle: the declared table of keys and defaults."""

import math

import bench_folders as bf
import pytest

from photolab.bench.folder.records import read_bench
from photolab.bench.terms.model import Certificate, Housing, Meter, Question, Settings, SpectralFactor
from photolab.bench.terms.schema import SECTIONS

EVERYTHING = """\
schema = 1
[bench]
name = "Stone barn"
protocol_revision = "3"
invented = true
initial_s = 45
initial_window_s = 5
hold_minutes = 40
coverage = 0.9
alike_percent = 5
noticeable_percent = 20
reference_voltage_V = 12.8
reference_ambient_C = 15
currency = "dal"
also_show = ["degF", "ft"]
mounting_sd_percent = 2
specimen_sd_percent = 0
day_sd_percent = 0.5
reading_sd_percent = 0.2
remaining_sd_percent = 3

[[meter]]
id = "M1"
reading_percent = [3, 3, 4]
range_percent = 0.5
ranges_lx = [400, 4000, 40000]
resolution_lx = [0.1, 1, 10]
limit_kind = "expanded_k2"
mismatch_index_percent = 8
linearity_percent = 0.5
temperature_percent_per_K = 0.2
integration_s = 0.5
calibrated_on = 2025-02-11
calibration_source = "LED"
drift_percent_per_year = 0.8
[[meter.spectral_factor]]
technology = "led"
factor = 1.02
expanded_uncertainty = 0.01
coverage_factor = 2
[meter.certificate]
level_lx = 500
correction = 1.013
expanded_uncertainty_percent = 1.5
coverage_factor = 2.1
date = "2025-02-11"
range_lx = 4000
source = "A"

[[meter]]
id = "M2"
reading_percent = 4
digits = [10, 5]
ranges_lx = [2000, 20000]
resolution_lx = [1, 10]

[[housing]]
id = "HP"
kind = "projector"
traffic = "left"
distance_m = 6
distance_uncertainty_mm = 10
offset_mm = 120
offset_uncertainty_mm = 20
aperture_mm = 65
sensor = "flat_wall"
tilt_uncertainty_deg = 1
[[housing]]
id = "HR"

[[question]]
asked_on = 2025-04-03
lamp = "any"
housing = "each"
instant = "hold"
more_than_percent = 10
words = "does any lamp give 10 % more?"
[[question]]
asked_on = "2025-04-04"
lamp = "A2"
housing = "HP"
instant = "initial"
more_than_percent = 0
"""
ROWS = bf.readings("A1,318,M1,HP", "A2,334,M1,HP", header="lamp,illuminance_lx,meter,housing")


@pytest.fixture
def bench(tmp_path):
    return read_bench(bf.make(tmp_path / "b", bench_toml=EVERYTHING, readings_csv=ROWS))


def test_settings(bench):
    names = frozenset(key.name for key in SECTIONS["bench"])
    assert bench.settings == Settings(
        "Stone barn",
        "3",
        45.0,
        5.0,
        40.0,
        0.9,
        5.0,
        20.0,
        12.8,
        15.0,
        "dal",
        ("degF", "ft"),
        2.0,
        0.0,
        0.5,
        0.2,
        3.0,
        names,
        invented=True,
    )


def test_meter_with_everything(bench):
    given = frozenset(key.name for key in SECTIONS["meter"]) - {"digits"}
    assert bench.meters["M1"] == Meter(
        id="M1",
        reading_percent=(3.0, 3.0, 4.0),
        range_percent=(0.5,),
        ranges_lx=(400.0, 4000.0, 40000.0),
        resolution_lx=(0.1, 1.0, 10.0),
        limit_kind="expanded_k2",
        mismatch_index_percent=8.0,
        spectral_factors=(SpectralFactor("led", 1.02, 0.01, 2.0),),
        certificate=Certificate(1.013, 1.5, 2.1, 500.0, "2025-02-11", 4000.0, "A"),
        drift_percent_per_year=0.8,
        linearity_percent=0.5,
        temperature_percent_per_K=0.2,
        integration_s=0.5,
        calibrated_on="2025-02-11",
        calibration_source="LED",
        declared=given,
    )


def test_meter_defaults(bench):
    meter = bench.meters["M2"]
    assert meter.digits == (10.0, 5.0)
    assert meter.range_percent == ()
    assert (meter.limit_kind, meter.mismatch_index_percent, meter.calibration_source) == ("limit", 10.0, "A")
    assert (meter.temperature_percent_per_K, meter.drift_percent_per_year) == (0.1, 1.0)
    assert math.isnan(meter.integration_s)
    assert (meter.certificate, meter.spectral_factors, meter.calibrated_on) == (None, (), "")


def test_housings(bench):
    every = frozenset(key.name for key in SECTIONS["housing"])
    assert bench.housings["HP"] == Housing(
        "HP", "projector", "left", 6.0, 10.0, 120.0, 20.0, 65.0, "flat_wall", 1.0, every
    )
    plain = bench.housings["HR"]
    assert (plain.kind, plain.traffic, plain.sensor) == ("", "right", "faces_lamp")
    assert (plain.offset_mm, plain.offset_uncertainty_mm, plain.tilt_uncertainty_deg) == (0.0, 100.0, 3.0)
    assert math.isnan(plain.distance_m)
    assert math.isnan(plain.distance_uncertainty_mm)
    assert plain.declared == {"id"}


@pytest.mark.parametrize(
    ("reading_percent", "linearity"), [("4", 1.0), ("3", 1.0), ("1.5", 0.5), ("[3, 0.6, 4]", 0.2)]
)
def test_linearity_default_is_one_percent_or_a_third_of_the_best_accuracy(
    tmp_path, reading_percent, linearity
):
    toml = bf.TOML.replace("reading_percent = 4", f"reading_percent = {reading_percent}")
    meter = read_bench(bf.make(tmp_path / "b", bench_toml=toml)).meters["M1"]
    assert meter.linearity_percent == pytest.approx(linearity, rel=1e-15)  # float rounding of one division


def test_questions(bench):
    assert bench.questions == (
        Question("2025-04-03", "any", "each", "hold", 10.0, "does any lamp give 10 % more?"),
        Question("2025-04-04", "A2", "HP", "initial", 0.0, ""),
    )


def test_a_bench_without_a_question_has_none(tmp_path):
    assert read_bench(bf.make(tmp_path / "b")).questions == ()


def test_settings_defaults(tmp_path):
    assert read_bench(bf.make(tmp_path / "b")).settings == Settings(
        "unnamed",
        "",
        60.0,
        10.0,
        30.0,
        0.95,
        10.0,
        25.0,
        13.2,
        20.0,
        "",
        (),
        3.0,
        4.0,
        1.0,
        0.4,
        2.0,
        frozenset(),
    )


CERTIFICATE = "[meter.certificate]\ncorrection = 1.01\nexpanded_uncertainty_percent = 1.5\n"
FACTOR = '[[meter.spectral_factor]]\ntechnology = "led"\nfactor = 1.02\nexpanded_uncertainty = 0.01\n'


@pytest.mark.parametrize(
    ("toml", "code", "words"),
    [
        (
            bf.TOML + CERTIFICATE.replace("correction = 1.01\n", ""),
            "fault 1",
            'meter "M1" certificate has no correction',
        ),
        (
            bf.TOML + CERTIFICATE.replace("1.01", "1.3 lx"),
            "fault 2",
            "bench.toml:10: correction = 1.3 lx; write the bare number",
        ),
        (
            bf.TOML + CERTIFICATE.replace("1.01", "3"),
            "fault 14",
            "bench.toml:10: meter.certificate.correction = 3; wanted 0.5 to 2.",
        ),
        (
            bf.TOML + FACTOR.replace("1.02", "2.5"),
            "fault 14",
            "bench.toml:11: meter.spectral_factor.factor = 2.5; wanted 0.5 to 2.",
        ),
        (
            bf.TOML + FACTOR.replace('"led"', '"lad"'),
            "fault 12",
            'meter.spectral_factor.technology = "lad" is not one of filament, led, discharge, other; closest',
        ),
        (bf.TOML + FACTOR + FACTOR, "fault 7", "two spectral factors for one technology"),
        (
            bf.TOML + FACTOR + bf.TOML.partition("\n\n")[2].replace("M1", "M2") + FACTOR.replace("1.02", "9"),
            "fault 14",
            "bench.toml:21: meter.spectral_factor.factor = 9",
        ),
        (bf.TOML.replace("= 4\n", "= 4\n\x00"), "fault 11", "holds zero bytes"),
        ("a = [" * 3000, "fault 2", "bench.toml"),
        (
            bf.TOML + 'spectral_factor = "x"\n',
            "fault 2",
            "meter.spectral_factor: wanted tables [[meter.spectral_factor]]. [fault 2]",
        ),
        (
            bf.TOML + 'certificate = "x"\n',
            "fault 2",
            "meter.certificate: wanted a table [meter.certificate]. [fault 2]",
        ),
        (bf.TOML.replace("[400,", "[0,"), "fault 14", "meter.ranges_lx = 0 lx; wanted more than 0 lx."),
        ("schema = 1\nmeter = []\n", "fault 1", "no [[meter]]"),
        (bf.TOML.replace("= 4\n", "= 1" + "0" * 400 + "\n"), "fault 14", "wanted 0 to 50 %"),
    ],
)
def test_slips_inside_tables_of_a_meter(tmp_path, toml, code, words):
    bf.assert_refused(tmp_path / "b", code, {"bench_toml": toml}, words)


def test_certificate_brings_the_assumed_drift(tmp_path):
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=bf.TOML + CERTIFICATE))
    stated = bench.meters["M1"].certificate
    assert bf.plain({"M1": stated}) == bf.plain({"M1": Certificate(1.01, 1.5)})
    assert "meter M1 drift_percent_per_year" in {a.name for a in bench.assumed}


def test_a_faulty_meter_is_not_also_an_unknown_one(tmp_path):
    toml = bf.TOML.replace("reading_percent = 4", "reading_percent = 99")
    text = bf.readings("A1,318,M1", header="lamp,illuminance_lx,meter")
    problems = bf.assert_refused(
        tmp_path / "b", "fault 14", {"bench_toml": toml, "readings_csv": text}, "wanted 0 to 50 %"
    )
    assert [p.code for p in problems if not p.is_caution] == ["fault 14"]


@pytest.mark.parametrize(("typed", "mark"), [(";", ";"), ("\\t", "\t"), ("tab", "\t")])
def test_separators_of_an_unreadable_bench_toml_still_count(tmp_path, typed, mark):
    toml = f'[csv]\nseparator = "{typed}"\ndecimal = ","\n' + bf.TOML.replace("= 4\n", "= 4 %\n")
    files = {
        "bench_toml": toml,
        "readings_csv": f"lamp{mark}illuminance_lx\nA1{mark}318,5\n",
        "lamps_csv": None,
    }
    problems = bf.assert_refused(
        tmp_path / "b", "fault 2", files, "write the bare number: reading_percent = 4."
    )
    assert [p.code for p in problems] == ["fault 2"]
