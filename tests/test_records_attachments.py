"""Spectrum files and loggers' files. Oracle: the rows typed in the test, and the declared mapping."""

import re

import bench_folders as bf
import numpy as np
import pytest

from photolab.bench.records import RecordError, read_bench

LOGGER = """\
Logger model, serial 1
started by hand
Time;Lux;Case
10:00:00;0,1;21
10:00:30;300,5;25
10:01:00;298,25;31
10:01:30;297;
"""
DECLARED = """\
[[log]]
file = "evening.txt"
into = "warm_up"
first_row = 3
separator = ";"
decimal = ","
run = "W7"
lamp = "A1"
switched_on = "10:00:10"
[log.columns]
elapsed_s = "Time"
illuminance_lx = "Lux"
case_C = "Case"
"""


def test_a_logger_s_file_as_it_is(tmp_path):
    folder = bf.make(tmp_path / "b", bench_toml=bf.TOML + DECLARED, evening_txt=LOGGER)
    bench = read_bench(folder)
    rows = bench.tables["warm_up"]
    assert list(rows["elapsed_s"]) == [20.0, 50.0, 80.0]
    assert list(rows["illuminance_lx"]) == [300.5, 298.25, 297.0]
    assert list(rows["case_C"].fillna(-99)) == [25.0, 31.0, -99.0]
    assert list(rows["line"]) == [5, 6, 7]
    assert set(rows["run"]) == {"W7"}
    assert set(rows["lamp"]) == {"A1"}
    assert set(rows["meter"]) == {"M1"}
    (log,) = bench.logs
    assert (log.file, log.run, log.lamp, log.first_row, log.switched_on) == (
        "evening.txt",
        "W7",
        "A1",
        3,
        "10:00:10",
    )
    assert list(log.preview.columns) == ["elapsed_s", "illuminance_lx", "case_C"]
    assert list(log.preview["illuminance_lx"]) == [300.5, 298.25, 297.0]
    assert "evening.txt" in bench.hashes
    assert (folder / "evening.txt").read_text(encoding="utf-8") == LOGGER


@pytest.mark.parametrize(
    ("times", "start", "header", "elapsed"),
    [
        ("0,30,60", "", "elapsed_s", [0.0, 30.0, 60.0]),
        ("10,40,70", "10", "elapsed_s", [0.0, 30.0, 60.0]),
        ("0.5,1,1.5", "0.5", "elapsed_minutes", [0.0, 30.0, 60.0]),
        (
            "2025-04-03 23:59:30,2025-04-03 23:59:59.5,2025-04-04T00:00:30",
            "2025-04-03 23:59:00",
            "elapsed_s",
            [30.0, 59.5, 90.0],
        ),
        ("-5,0,5", "", "elapsed_s", [0.0, 5.0]),
    ],
)
def test_times_are_counted_from_switch_on(tmp_path, times, start, header, elapsed):
    toml = bf.TOML + bf.LOG.replace("elapsed_s", header).replace(
        'lamp = "A1"', f'lamp = "A1"\nswitched_on = "{start}"'
    )
    text = "t,E\n" + "".join(f"{t},300\n" for t in times.split(","))
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, log_csv=text))
    assert list(bench.tables["warm_up"]["elapsed_s"]) == elapsed


def test_logger_rows_stand_beside_the_rows_of_warm_up(tmp_path):
    files = {"warm_up_csv": bf.WARM + "W0,A2,30,300\n", "log_csv": "t,E\n30,310\n60,305\n"}
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=bf.TOML + bf.LOG, **files))
    assert list(bench.tables["warm_up"]["run"]) == ["W0", "W1", "W1"]


@pytest.mark.parametrize(
    ("toml", "text", "code", "words"),
    [
        (bf.LOG, "E,t\n300,30\n", "", ""),
        (
            bf.LOG,
            "time,E\n30,300\n",
            "fault 10",
            'log.csv: column "t" for elapsed_s is not there; found time, E. [fault 10]',
        ),
        (
            bf.LOG,
            "t,E,t\n30,300,30\n",
            "fault 10",
            'log.csv: column "t" for elapsed_s is named twice; found t, E, t. [fault 10]',
        ),
        (bf.LOG, "t;E\n30;300\n", "fault 11", "log.csv:1: separated by semicolons"),
        (
            bf.LOG.replace('run = "W1"', 'run = "W1"\nfirst_row = 9'),
            "t,E\n30,300\n",
            "fault 11",
            "log.csv:9: row 9 holds no column names",
        ),
        (bf.LOG, "t,E\n30,300,1\n", "fault 4", "log.csv:2: 3 cells where the header names 2"),
        (bf.LOG, "t,E\n30,-1\n", "fault 14", "log.csv:2: E: -1 lx; wanted 0 lx or more. [fault 14]"),
        (bf.LOG, "t,E\n30,\n", "fault 5", "log.csv:2: E: blank"),
        (bf.LOG, "t,E\n30,OL\n", "fault 16", 'log.csv:2: E: "OL" is an overload'),
        (
            bf.LOG,
            "t,E\n30,50000\n",
            "fault 15",
            "log.csv:2: illuminance_lx: 50000 lx cannot be read on the 40000 lx range. [fault 15]",
        ),
        (
            bf.LOG.replace('"A1"', '"a1"'),
            "t,E\n30,300\n",
            "fault 12",
            'bench.toml: log.lamp "a1" is not in lamps.csv; closest is "A1". [fault 12]',
        ),
        (
            bf.LOG.replace('"A1"', '"A1"\nswitched_on = "soon"'),
            "t,E\n30,300\n",
            "fault 13",
            'bench.toml: log.switched_on: "soon" is not a number',
        ),
        (
            bf.LOG + 'elapsed_minutes = "t"\n',
            "t,E\n30,300\n",
            "fault 25",
            "two columns for elapsed_s; keep one. [fault 25]",
        ),
        (bf.LOG + bf.LOG, "t,E\n30,300\n", "fault 7", 'log.run "W1" is also a run of another file'),
        (
            bf.LOG.replace('lamp = "A1"\n', ""),
            "t,E\n30,300\n",
            "fault 1",
            'log "log.csv" has no lamp; write lamp = …',
        ),
        (
            bf.LOG.replace('run = "W1"', 'run = "W1"\ninto = "thermal"'),
            "t,E\n30,300\n",
            "fault 12",
            'log.into = "thermal" is not one of warm_up.',
        ),
    ],
)
def test_a_logger_s_file_whose_columns_moved_or_are_wrong(tmp_path, toml, text, code, words):
    folder = bf.make(tmp_path / "b", bench_toml=bf.TOML + toml, log_csv=text)
    if not code:  # columns in another order are found by name
        assert list(read_bench(folder).tables["warm_up"]["illuminance_lx"]) == [300.0]
        return
    with pytest.raises(RecordError, match=re.escape(words)) as caught:
        read_bench(folder)
    assert code in {problem.code for problem in caught.value.problems}


def test_a_logger_s_file_needs_no_meter_where_there_are_two(tmp_path):
    toml = bf.TOML + '[[meter]]\nid = "M2"\nreading_percent = 3\n' + bf.LOG
    text = bf.readings("A1,318,M1", "A2,334,M1", header="lamp,illuminance_lx,meter")
    bench = read_bench(
        bf.make(tmp_path / "b", bench_toml=toml, readings_csv=text, log_csv="t,E\n30,310\n60,305\n")
    )
    assert set(bench.tables["warm_up"]["meter"]) == {""}


def test_spectra(tmp_path):
    listed = bf.SPECTRA + "S1,source,A1,,one.csv\nR1,responsivity,,M1,two.txt\n"
    bench = read_bench(
        bf.make(
            tmp_path / "b",
            spectra_csv=listed,
            one_csv=bf.SPECTRUM,
            two_txt="wavelength_nm,value\n500,0\n510,0.5\n",
        )
    )
    source, responsivity = bench.spectra["S1"], bench.spectra["R1"]
    assert (source.kind, source.lamp, source.meter) == ("source", "A1", "")
    assert (responsivity.kind, responsivity.lamp, responsivity.meter) == ("responsivity", "", "M1")
    np.testing.assert_array_equal(source.wavelength_nm, np.array(bf.WAVELENGTHS, dtype=float))
    np.testing.assert_array_equal(responsivity.value, [0.0, 0.5])
    assert {"one.csv", "two.txt"} <= set(bench.hashes)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        (
            "wavelength_nm,value\n500,-1\n510,1\n",
            "fault 14",
            "one.csv:2: value: -1; wanted 0 or more. [fault 14]",
        ),
        (
            "wavelength_nm,value\n350,1\n360,1\n",
            "fault 14",
            "one.csv:2: wavelength_nm: 350 nm; wanted 360 to 830 nm. [fault 14]",
        ),
        (
            "wavelength_um,value\n0.50,1\n0.51,1\n",
            "fault 23",
            "one.csv:1: wavelength_um: 1 um is 1000 nm; convert",
        ),
        ("nm,value\n500,1\n510,1\n", "fault 10", "one.csv:1: no column wavelength_nm; found nm, value."),
        (
            "wavelength_nm,value\n500,1\n500,1\n",
            "fault 18",
            "500 after 500; wavelengths must increase. [fault 18]",
        ),
        ("wavelength_nm,value\n500,x\n510,1\n", "fault 13", 'one.csv:2: value: "x" is not a number'),
        ("", "fault 11", "one.csv: is empty. [fault 11]"),
    ],
)
def test_spectrum_files_that_cannot_be_used(tmp_path, text, code, words):
    listed = bf.SPECTRA + "S1,source,A1,,one.csv\n"
    bf.assert_refused(tmp_path / "b", code, {"spectra_csv": listed, "one_csv": text}, words)
