"""What a folder holds. Oracle: the files of the demo and of two readings, and the keys of bench.toml."""

from pathlib import Path

import pandas as pd
import pytest
from shared_demo import demo_bench
from small_benches import METER, bench

from photolab.bench.folder.records import read_bench
from photolab.bench.results.distances import evaluate_distances
from photolab.bench.results.heat import warm_up_runs
from photolab.bench.terms.contents import CONTENTS, absent
from photolab.errors import NotInFolder

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def demo():
    return demo_bench()


@pytest.fixture(scope="module")
def small():
    return read_bench(ROOT / "data" / "two-readings")


def test_the_demo_holds_everything(demo):
    assert [thing for thing in CONTENTS if not demo.has(thing)] == []


def test_two_readings_hold_two_lamps_and_nothing_else(small):
    assert [thing for thing in CONTENTS if small.has(thing)] == ["two lamps"]
    assert [content.what for content in absent(small)][-1] == "what a gained percent costs"


def test_what_is_not_there_stops_with_one_sentence(small):
    with pytest.raises(
        NotInFolder, match=r"does not say where the light goes yet: add beam\.csv\."
    ) as stopped:
        small.need("beam")
    assert stopped.value._render_traceback_() == [str(stopped.value)]
    assert small.need("two lamps") is small


def test_an_unknown_thing_is_refused(small):
    with pytest.raises(ValueError, match="thing must be one of two lamps"):
        small.has("lamps")


def test_changed_figures_are_declared_and_leave_the_folder(demo):
    """Oracle: the keys given; None leaves what the folder says."""
    other = demo.changed(
        coverage=0.9, hold_minutes=None, mismatch_index_percent=6.0, remaining_sd_percent=1.0
    )
    assert (other.settings.coverage, other.settings.hold_minutes) == (0.9, demo.settings.hold_minutes)
    assert {meter.mismatch_index_percent for meter in other.meters.values()} == {6.0}
    assert "coverage" in other.settings.declared
    assert "coverage" not in demo.settings.declared
    assert [a.name for a in other.assumed] == ["reading_sd_percent", "meter M1 limit_kind"]
    assert other.changed(reading_percent=2.0).meters["M1"].reading_percent == (2.0,)
    assert demo.changed(coverage=None) is demo  # nothing given: what was fitted for it serves again
    with pytest.raises(ValueError, match=r"covrage must be a key of \[bench\]"):
        demo.changed(covrage=0.9)


def test_what_is_assumed_follows_a_changed_figure(tmp_path):
    """Oracle: the rules: linearity is a third of the smallest accuracy, at most 1 %; without the heat no hold time."""
    read = bench(tmp_path, "lamp,elapsed_s,illuminance_lx\nB0,60,300\nK1,60,318\n", toml=METER)

    def assumed(made):
        return {one.name: f"{one.about} {one.figure}" for one in made.assumed}

    key, before, after = (
        "meter M1 linearity_percent",
        assumed(read),
        assumed(read.changed(reading_percent=1.5)),
    )
    assert before[key].endswith(" (M1) 1 %")
    assert after == before | {key: before[key].replace("1 %", "0.5 %")}
    assert assumed(read)["meter M1 calibration_source"] == "the light it was calibrated with (M1) A"
    assert assumed(read.changed(hold_minutes=1.0)).keys() - before.keys() == {"remaining_sd_percent"}


def test_what_is_written_into_a_table_reaches_no_other(demo):
    """Oracle: what was computed before; the tables of a bench, of a run and of a record are handed out as copies."""
    tables, runs, records = demo.tables, evaluate_distances(demo), warm_up_runs(demo)

    def seen():
        return (*demo.tables.values(), evaluate_distances(demo)[0].points, warm_up_runs(demo)[0].record)

    before = [table.copy(deep=True) for table in seen()]
    for table in (*tables.values(), runs[0].points, records[0].record):
        table.loc[:, "line"] = 7
        table.iloc[:, 0] = table.iloc[::-1, 0].to_numpy()
    for one, other in zip(seen(), before, strict=True):
        pd.testing.assert_frame_equal(one, other)
    with pytest.raises(TypeError, match="does not support item assignment"):
        demo.tables["readings"] = before[0]


@pytest.mark.parametrize(
    ("figure", "words"),
    [
        ({"coverage": 95}, r"coverage must be 0\.5 to 0\.999; got 95"),
        ({"hold_minutes": 0}, "hold_minutes must be 1 to 240 min; got 0"),
        ({"mismatch_index_percent": -1.0}, r"mismatch_index_percent must be 0 to 40 %; got -1\.0"),
        ({"aperture_mm": "60"}, "aperture_mm must be .*; got '60'"),
    ],
)
def test_a_changed_figure_keeps_to_the_range_of_its_key(demo, figure, words):
    """Oracle: the ranges of the schema, as bench.toml keeps to them."""
    with pytest.raises(ValueError, match=words):
        demo.changed(**figure)
