"""Reading sound folders. Oracle: the declared contract of the bench folder, and values typed in the test."""

import hashlib
import os
import random
import re
import shutil
import sys
from pathlib import Path

import bench_folders as bf
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shared_demo import demo_rows
from small_benches import METER, bench

from photolab.bench.folder.records import RecordError, parse_number, read_bench
from photolab.bench.folder.tables import NOT_USED
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.schema import TABLES, unit_forms
from photolab.publication.report.tables import results

DEMO = Path(__file__).parents[1] / "data" / "demo"

FULL = "lamp,illuminance_lx,housing,day,specimen,mounting,repeat,meter,range_lx"
FULL += ",socket_V,measured_at,ambient_C,point\n"


def test_smallest_folder(tmp_path):
    files = {"bench_toml": 'schema = 1\n[[meter]]\nid = "M1"\nreading_percent = 4\n', "lamps_csv": None}
    bench = read_bench(
        bf.make(tmp_path / "small", readings_csv="lamp,illuminance_lx\nA1,318\nA2,334\n", **files)
    )
    readings = bench.tables["readings"]
    assert bench.name == "small"
    assert bench.files == ("bench.toml", "readings.csv")
    assert list(readings["lamp"]) == ["A1", "A2"]
    assert list(readings["illuminance_lx"]) == [318.0, 334.0]
    assert list(readings["line"]) == [2, 3]
    assert list(readings["meter"]) == ["M1", "M1"]
    assert list(readings["point"]) == ["hot_spot", "hot_spot"]
    assert list(readings["repeat"]) == [1.0, 1.0]
    assert readings["range_lx"].isna().all()
    assert list(bench.tables["lamps"]["lamp"]) == ["A1", "A2"]
    assert set(bench.tables["lamps"]["technology"]) == {""}
    assert any(problem.code == "caution 29" for problem in bench.warnings)


@pytest.mark.parametrize("name", list(TABLES))
def test_every_table_and_column_is_there_with_its_type(tmp_path, name):
    bench = read_bench(bf.make(tmp_path / "b"))
    table = bench.tables[name]
    assert list(table.columns) == [*TABLES[name].names, "line"]
    assert len(table) == (2 if name in {"readings", "lamps"} else 0)
    for column in TABLES[name].columns:
        if column.numeric:
            assert table[column.name].dtype == np.float64
        else:
            assert all(isinstance(value, str) for value in table[column.name])
    assert table["line"].dtype == np.int64


def test_row_values_go_before_day_values_before_bench_values(tmp_path):
    toml = (
        bf.TOML
        + '[[meter]]\nid = "M2"\nreading_percent = 3\nrange_percent = 0.5\nranges_lx = [2000]\n'
        + bf.HOUSINGS
    )
    days = "day,date,ambient_C,supply_V,meter\nD1,2025-04-03,15,13.1,M2\nD2,2025-04-04,,,M1\n"
    rows = [
        "A1,318,HP,D1,a,1,1,M1,4000,12.9,socket,18,beam_left",
        "A1,319,HP,D1,a,1,,,,,,,",
        "A2,320,HR,D2,a,1,,,400,13.3,,,",
    ]
    readings = read_bench(
        bf.make(tmp_path / "b", bench_toml=toml, days_csv=days, readings_csv=FULL + "\n".join(rows) + "\n")
    ).tables["readings"]
    assert list(readings["meter"]) == ["M1", "M2", "M1"]
    assert list(readings["range_lx"]) == [4000.0, 2000.0, 400.0]
    assert list(readings["socket_V"]) == [12.9, 13.1, 13.3]
    assert list(readings["measured_at"]) == ["socket", "supply", ""]
    assert list(readings["ambient_C"].fillna(-99)) == [18.0, 15.0, -99.0]
    assert list(readings["point"]) == ["beam_left", "hot_spot", "hot_spot"]


def test_the_only_housing_is_taken_where_a_row_names_none(tmp_path):
    toml = bf.TOML + '[[housing]]\nid = "HP"\n'
    assert set(read_bench(bf.make(tmp_path / "b", bench_toml=toml)).tables["readings"]["housing"]) == {"HP"}


def test_a_reading_may_equal_the_top_of_its_range(tmp_path):
    text = bf.readings("A1,400,400", "A2,40000,", header="lamp,illuminance_lx,range_lx")
    readings = read_bench(bf.make(tmp_path / "b", readings_csv=text)).tables["readings"]
    assert list(readings["illuminance_lx"]) == [400.0, 40000.0]


def test_days_that_name_no_meter_and_rows_that_name_no_day(tmp_path):
    text = bf.readings("A1,318,", "A2,334,D01", header="lamp,illuminance_lx,day")
    readings = read_bench(bf.make(tmp_path / "b", readings_csv=text, days_csv=bf.DAYS)).tables["readings"]
    assert list(readings["meter"]) == ["M1", "M1"]
    assert readings["socket_V"].isna().all()


def test_blank_repeats_are_numbered_by_row_order_past_the_typed_ones(tmp_path):
    text = bf.readings("A1,318,", "A1,319,2", "A1,320,", "A2,330,", header="lamp,illuminance_lx,repeat")
    readings = read_bench(bf.make(tmp_path / "b", readings_csv=text)).tables["readings"]
    assert list(readings["repeat"]) == [1.0, 2.0, 3.0, 1.0]


def test_units_by_column_name_keep_the_typed_value(tmp_path):
    # 30 fc is 322.917 lx, 68 degF is 20 degC (NIST SP 811); tolerance: float rounding
    text = "lamp,illuminance_fc,ambient_F,elapsed_minutes\nA1,30,68,1\nA2,31,50,1.5\n"
    readings = read_bench(bf.make(tmp_path / "b", readings_csv=text)).tables["readings"]
    assert_allclose(readings["illuminance_lx"][0], 322.9173125012917, rtol=1e-14)
    assert_allclose(readings["ambient_C"], [20.0, 10.0], rtol=1e-14)
    assert list(readings["elapsed_s"]) == [60.0, 90.0]
    assert list(readings["illuminance_fc"]) == [30.0, 31.0]
    assert list(readings["ambient_F"]) == [68.0, 50.0]
    assert list(readings["elapsed_minutes"]) == [1.0, 1.5]


def test_a_range_typed_in_foot_candles_meets_the_range_of_the_meter(tmp_path):
    toml = bf.TOML.replace("[400, 4000, 40000]", "[430.6, 4306, 43060]")
    text = bf.readings("A1,30,40", "A2,31,40", header="lamp,illuminance_fc,range_fc")
    readings = read_bench(bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text)).tables["readings"]
    assert list(readings["range_lx"]) == [430.6, 430.6]


def test_declared_separator_and_decimal_comma(tmp_path):
    toml = '[csv]\nseparator = ";"\ndecimal = ","\n'
    toml = bf.TOML.replace("schema = 1\n", "schema = 1\n" + toml)
    text = "lamp;illuminance_lx;note\nA1;318,5;a, b\nA2;334;\n"
    lamps = bf.LAMPS.replace(",", ";")
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text, lamps_csv=lamps))
    assert list(bench.tables["readings"]["illuminance_lx"]) == [318.5, 334.0]
    assert bench.tables["readings"]["note"][0] == "a, b"


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbflamp,illuminance_lx\r\nA1,318\r\nA2,334\r\n",
        b"lamp,illuminance_lx\rA1,318\rA2,334\r",
        b'"lamp","illuminance_lx"\nA1 , 318\n A2,"334"\n',
    ],
)
def test_byte_order_mark_line_ends_quotes_and_spaces_do_not_matter(tmp_path, data):
    readings = read_bench(bf.make(tmp_path / "b", readings_csv=data)).tables["readings"]
    assert list(readings["lamp"]) == ["A1", "A2"]
    assert list(readings["illuminance_lx"]) == [318.0, 334.0]


def test_lines_are_rows_as_a_spreadsheet_shows_them(tmp_path):
    # a note over two lines is one spreadsheet row; blank rows count and hold nothing
    text = 'lamp,illuminance_lx,note\nA1,318,"two\nlines"\n\n,,\nA2,-1,\n'
    with pytest.raises(RecordError, match=re.escape("readings.csv:5: illuminance_lx: -1 lx")):
        read_bench(bf.make(tmp_path / "b", readings_csv=text))


def test_unknown_columns_are_kept_as_text(tmp_path):
    text = bf.readings("A1,318,007", "A2,334,", header="lamp,illuminance_lx,my_code")
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert list(bench.tables["readings"][f"{NOT_USED}my_code"]) == ["007", ""]
    assert any(problem.code == "caution 30" and "my_code" in str(problem) for problem in bench.warnings)


@pytest.mark.parametrize("file", sorted(path.stem for path in DEMO.glob("*.csv") if path.stem in TABLES))
def test_a_column_of_another_file_is_not_used_whatever_it_holds(tmp_path, file):
    """Oracle: the results of the demo without it: each file with every column of all the others, as text and number."""
    foreign = {name for table in TABLES.values() for name in table.names} - set(TABLES[file].names)
    shutil.copytree(DEMO, tmp_path / "demo")
    rows = pd.read_csv(DEMO / f"{file}.csv", dtype=str, keep_default_na=False)
    added = {name: "x" if k % 2 else "3.5" for k, name in enumerate(sorted(foreign))}
    rows.assign(**added).to_csv(tmp_path / "demo" / f"{file}.csv", index=False)
    bench = read_bench(tmp_path / "demo")
    said = {problem.column or str(problem) for problem in bench.warnings if problem.code == "caution 30"}
    assert all(any(name in one for one in said) for name in foreign)
    figures = ["value", "low", "high", "family_low", "family_high"]
    pd.testing.assert_frame_equal(results(evaluate(bench))[figures], demo_rows()[figures])


def test_text_is_data_never_evaluated_never_changed(tmp_path):
    notes = [
        "=1+1",
        '=HYPERLINK("http://x")',
        "<script>alert(1)</script>",
        "a\nb",
        "{7*7}",
        "'; DROP TABLE",
        "\x1b[31m",
        "%s%n",
    ]
    cells = ['"' + note.replace('"', '""') + '"' for note in notes]
    rows = [f"A1,{318 + k},{cell}" for k, cell in enumerate(cells)]
    text = bf.readings(*rows, "A2,334,", header="lamp,illuminance_lx,note")
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert list(bench.tables["readings"]["note"])[:-1] == notes


def test_hostile_names_are_printed_escaped(tmp_path):
    text = bf.readings('"A1\x1b[2J\nx",318', header="lamp,illuminance_lx")
    with pytest.raises(RecordError, match=re.escape("A1\\x1b[2J\\nx")) as caught:
        read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert all(line.isprintable() for line in str(caught.value).split("\n"))


def test_excluded_rows_stand_apart_with_their_reason(tmp_path):
    text = bf.readings(
        "A1,318,,", "A1,290,yes,door open", "A2,334,,", header="lamp,illuminance_lx,exclude,note"
    )
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert list(bench.tables["readings"]["illuminance_lx"]) == [318.0, 334.0]
    assert list(bench.excluded["illuminance_lx"]) == [290.0]
    assert list(bench.excluded["note"]) == ["door open"]
    assert list(bench.excluded["line"]) == [3]
    assert list(bench.excluded["meter"]) == ["M1"]


def test_hashes_are_those_of_the_files(tmp_path):
    # oracle: hashlib on the bytes written
    folder = bf.make(tmp_path / "b")
    expected = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}
    assert dict(read_bench(folder).hashes) == expected


def test_all_faults_of_all_files_are_said_at_once_in_order(tmp_path):
    toml = bf.TOML.replace("reading_percent = 4", "reading_percent = 0.03")
    with pytest.raises(RecordError, match="fault 20") as caught:
        read_bench(
            bf.make(
                tmp_path / "b",
                bench_toml=toml,
                readings_csv=bf.readings("A1,nan,4000", "A9,OL,400", "A2,431,400"),
                lamps_csv="lamp,technology,role\nA1,lad,baseline\nA2,led,\n",
                days_csv="day,date\nD1,1/2/2025\n",
            )
        )
    found = [(p.file, p.line, p.code) for p in caught.value.problems]
    assert found == [
        ("bench.toml", 5, "fault 20"),
        ("readings.csv", 2, "fault 14"), ("readings.csv", 3, "fault 16"), ("readings.csv", 3, "fault 12"),
        ("readings.csv", 4, "fault 15"),
        ("lamps.csv", 2, "fault 12"), ("lamps.csv", 3, "fault 5"),
        ("days.csv", 2, "fault 6"),
    ]  # fmt: skip


def test_cautions_found_before_a_refusal_are_carried_after_the_faults(tmp_path):
    text = bf.readings("A1,-1,x", header="lamp,illuminance_lx,colour")
    with pytest.raises(RecordError, match="fault 14") as caught:
        read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert [p.code for p in caught.value.problems] == ["fault 14", "caution 30"]


def test_assumed_defaults_are_declared(tmp_path):
    assumed = {a.name: (a.value, a.unit) for a in read_bench(bf.make(tmp_path / "b")).assumed}
    assert assumed == {
        "initial_s": (60.0, "s"), "initial_window_s": (10.0, "s"),
        "mounting_sd_percent": (3.0, "%"), "specimen_sd_percent": (4.0, "%"), "day_sd_percent": (1.0, "%"),
        "reading_sd_percent": (0.4, "%"), "meter M1 limit_kind": ("limit", ""),
        "meter M1 mismatch_index_percent": (10.0, "%"),
        "meter M1 linearity_percent": (1.0, "%"), "meter M1 temperature_percent_per_K": (0.1, "%/K"),
        "meter M1 calibration_source": ("A", ""),
    }  # fmt: skip


def test_what_is_declared_is_not_assumed(tmp_path):
    toml = bf.TOML.replace("schema = 1\n", "schema = 1\n[bench]\nmounting_sd_percent = 3\ninitial_s = 60\n")
    names = {
        a.name
        for a in read_bench(
            bf.make(tmp_path / "b", bench_toml=toml + "mismatch_index_percent = 10\n")
        ).assumed
    }
    assert not names & {"mounting_sd_percent", "initial_s", "meter M1 mismatch_index_percent"}


def test_a_second_meter_that_reads_nothing_assumes_nothing(tmp_path):
    toml = bf.TOML + '[[meter]]\nid = "M2"\nreading_percent = 3\n'
    text = bf.readings("A1,318,M1", "A2,334,M1", header="lamp,illuminance_lx,meter")
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text))
    assert not any("M2" in a.name for a in bench.assumed)


@pytest.mark.parametrize(
    ("toml", "files", "names"),
    [
        ('[[housing]]\nid = "HP"\n', {}, set()),
        ('[[housing]]\nid = "HP"\ndistance_m = 6\n', {},
         {"offset_mm", "offset_uncertainty_mm", "sensor", "tilt_uncertainty_deg"}),
        ('[[housing]]\nid = "HP"\n', {"beam_csv": bf.BEAM + "G1,A1,HP,0,0,3\n"}, {"traffic"}),
    ],
)  # fmt: skip
def test_housing_defaults_are_assumed_only_where_they_are_used(tmp_path, toml, files, names):
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=bf.TOML + toml, **files))
    assert {a.name for a in bench.assumed if a.name.startswith("housing")} == {
        f"housing HP {n}" for n in names
    }


def test_unlabelled_mountings_are_one_seating_and_it_says_so(tmp_path):
    text = bf.readings("A1,318", "A1,319", "A2,334", header="lamp,illuminance_lx")
    bench = read_bench(bf.make(tmp_path / "b", readings_csv=text))
    assert "mounting labels" in {a.name for a in bench.assumed}
    assert any("taken as repeats of one seating" in str(problem) for problem in bench.warnings)


@settings(max_examples=15, deadline=None)
@given(st.permutations(range(6)))
def test_row_order_of_independent_rows_changes_no_value(tmp_path_factory, order):
    rows = [f"A{1 + k % 2},{300 + k},4000,{k}" for k in range(6)]
    header = "lamp,illuminance_lx,range_lx,mounting"
    folder = bf.make(
        tmp_path_factory.mktemp("b") / "b", readings_csv=bf.readings(*(rows[k] for k in order), header=header)
    )
    readings = read_bench(folder).tables["readings"].sort_values("mounting")
    assert list(readings["illuminance_lx"]) == [300.0 + k for k in range(6)]
    assert list(readings["repeat"]) == [1.0] * 6


@pytest.mark.parametrize("target", ["readings", "lamps", "electrical"])
def test_every_number_column_refuses_words_and_infinity(tmp_path, target):
    # each number column of a table in turn, with a word in its first row
    table = TABLES[target]
    for column in (c for c in table.columns if c.numeric):
        for header in (column.name, *(f.header for f in unit_forms(column.name))):
            required = [c for c in table.columns if c.required and c.name != column.name]
            cells = {c.name: (c.codes[0] if c.codes else "A1") if not c.numeric else "1" for c in required}
            text = ",".join([*cells, header]) + "\n" + ",".join([*cells.values(), "many"]) + "\n"
            with pytest.raises(RecordError, match=re.escape(f'{header}: "many" is not a number')):
                read_bench(bf.make(tmp_path / f"{header}", **{f"{target}_csv": text}))


def test_rows_are_read_by_columns(tmp_path):
    """Oracle: a count of the functions entered: ten times the rows add hardly more than one a row."""

    def entered(count):
        draw = random.Random(1)
        rows = []
        for n in range(count):
            identity = f"HP,D{n // 5000},{n // 100 % 5},{n // 500 % 20},{n // 10000 + 1}"
            rows.append(f"K{n % 100},{draw.uniform(300, 400):.1f},{identity},4000,60")
        header = "lamp,illuminance_lx,housing,day,specimen,mounting,repeat,range_lx,elapsed_s"
        toml = bf.TOML + '[[housing]]\nid = "HP"\n'
        text = bf.readings(*rows, header=header)
        folder = bf.make(tmp_path / f"{count}", bench_toml=toml, lamps_csv=None, readings_csv=text)
        calls = []
        sys.setprofile(lambda _, event, __: calls.append(event) if event == "call" else None)
        try:
            bench = read_bench(folder)
        finally:
            sys.setprofile(None)
        assert len(bench.tables["readings"]) == count
        return len(calls)

    entered(100)  # what is loaded when it is first used is loaded
    assert entered(20_000) - entered(2_000) < 1.5 * 18_000


def test_demo_bench_of_the_project_is_sound():
    bench = read_bench(bf.DATA / "demo")
    assert len(bench.tables["readings"]) > 400
    assert {"caution 21", "caution 28"} <= {problem.code for problem in bench.warnings}


def test_two_readings_bench_of_the_project(tmp_path):
    bench = read_bench(os.fspath(bf.DATA / "two-readings"))
    readings = bench.tables["readings"]
    assert list(zip(readings["lamp"], readings["illuminance_lx"], readings["range_lx"], strict=True)) == [
        ("A1", 318.0, 4000.0),
        ("A2", 334.0, 4000.0),
    ]
    meter = bench.meters["M1"]
    assert (meter.reading_percent, meter.range_percent) == ((4.0,), (0.5,))
    assert (meter.ranges_lx, meter.resolution_lx) == ((400.0, 4000.0, 40000.0), (0.1, 1.0, 10.0))
    assert "invented" in (bf.DATA / "two-readings" / "bench.toml").read_text(encoding="utf-8").lower()


def test_number_rule_is_the_reader_s_own():
    assert parse_number("318") == 318.0
    with pytest.raises(ValueError, match="the unit stands in the column name"):
        parse_number("334 lx")


def test_the_case_of_a_code_word_does_not_matter(tmp_path):
    """Oracle: the codes of the schema, in other letters, in a table and in bench.toml; nothing is said of it."""
    toml = METER.replace("reading_percent", 'limit_kind = "Limit"\nreading_percent')
    lamps = "lamp,technology,role\nB0,Filament,Baseline\nK1,LED,CANDIDATE\nK2,led,Check_Standard\n"
    read = bench(tmp_path, "lamp,illuminance_lx\nB0,300\nK1,318\nK2,400\n", toml=toml, lamps=lamps)
    assert list(read.tables["lamps"]["role"]) == ["baseline", "candidate", "check_standard"]
    assert list(read.tables["lamps"]["technology"]) == ["filament", "led", "led"]
    assert read.meters["M1"].limit_kind == "limit"
    assert not [one for one in read.warnings if one.code == "caution 35"]
