"""Files as instruments leave them, as rows of warm_up and thermal.

Oracles: the rows typed in the test, the declared mapping, and the same numbers typed into warm_up.csv or thermal.csv.
"""

import math
import re
from statistics import mean, stdev

import bench_folders as bf
import numpy as np
import pytest
from numpy.testing import assert_allclose
from pandas.testing import assert_frame_equal
from test_workbook import KEYS, save

from photolab.bench.folder.records import RecordError, read_bench
from photolab.bench.folder.write import write_bench
from photolab.bench.inputs.surface import surfaces
from photolab.bench.results.evaluation import evaluate
from photolab.publication.report.readiness import report
from photolab.publication.report.tables import results


def test_a_logger_s_file_as_it_is(tmp_path):
    folder = bf.make(tmp_path / "b", bench_toml=bf.TOML + bf.DECLARED, evening_txt=bf.LOGGER)
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
    assert (log.file, log.into, log.encoding) == ("evening.txt", "warm_up", "UTF-8")
    assert list(log.preview.columns) == ["elapsed_s", "illuminance_lx", "case_C"]
    assert list(log.preview["illuminance_lx"]) == [300.5, 298.25, 297.0]
    assert "evening.txt" in bench.hashes
    assert (folder / "evening.txt").read_text(encoding="utf-8") == bf.LOGGER


@pytest.mark.parametrize(
    ("times", "start", "header", "elapsed"),
    [
        ("0,30,60", "", "elapsed_s", [0.0, 30.0, 60.0]),
        ("10,40,70", "10", "elapsed_s", [30.0, 60.0]),
        ("0.5,1,1.5", "0.5", "elapsed_minutes", [30.0, 60.0]),
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


def test_the_row_at_switch_off_still_counts(tmp_path):
    # Oracle: the instants typed: from after switch-on at 10 s to switch-off at 70 s, that instant with them.
    stamps = 'lamp = "A1"\nswitched_on = "10"\nswitched_off = "70"'
    toml = bf.TOML + bf.LOG.replace('lamp = "A1"', stamps)
    text = "t,E\n" + "".join(f"{t},300\n" for t in (10, 40, 70, 100))
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=toml, log_csv=text))
    assert list(bench.tables["warm_up"]["elapsed_s"]) == [30.0, 60.0]


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
            'log.csv:1: column "t" for elapsed_s is not there; found time, E. [fault 10]',
        ),
        (
            bf.LOG,
            "t,E,t\n30,300,30\n",
            "fault 10",
            'log.csv:1: column "t" for elapsed_s is named twice; found t, E, t. [fault 10]',
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
            'bench.toml:12: log.lamp = "a1" is not in lamps.csv; closest is "A1". [fault 12]',
        ),
        (
            bf.LOG.replace('"A1"', '"A1"\nswitched_on = "soon"'),
            "t,E\n30,300\n",
            "fault 13",
            'bench.toml:13: log.switched_on = "soon"; wanted a number, as the logger\'s times are. [fault 13]',
        ),
        (
            bf.LOG.replace('"A1"', '"A1"\nswitched_on = "10"\nswitched_off = "10"'),
            "t,E\n30,300\n",
            "fault 18",
            'bench.toml:14: log.switched_off = "10"; wanted a time after 10, when it was switched on. [fault 18]',
        ),
        (
            bf.LOG + 'elapsed_minutes = "t"\n',
            "t,E\n30,300\n",
            "fault 25",
            'bench.toml:13: log "log.csv": elapsed_s is declared twice; keep one. [fault 25]',
        ),
        (bf.LOG + bf.LOG, "t,E\n30,300\n", "fault 7", 'log.run "W1" is also a run of another file'),
        (
            bf.LOG.replace('lamp = "A1"\n', ""),
            "t,E\n30,300\n",
            "fault 1",
            'log "log.csv" has no lamp; write lamp = …',
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


SECONDS = range(30, 2430, 30)
LIGHT = [round(1240 * (0.86 + 0.14 * math.exp(-s / 310)) + (s * 7919 % 5 - 2) * 0.3, 1) for s in SECONDS]
CASE = [round(24 + 61 * (1 - math.exp(-s / 520)), 1) for s in SECONDS]
ON_S = 23 * 3600 + 40 * 60  # switched on at 23:40: the record goes past midnight


def stamp(second, form="{:02d}:{:02d}:{:02d}"):
    whole = (ON_S + second) % 86400
    return form.format(whole // 3600, whole // 60 % 60, whole % 60)


def comma(value):
    return str(value).replace(".", ",")


EVENING = "\r\n".join(
    ['Datenlogger "Werkbank"; Gerät 7', "", "Nr;Uhrzeit;Licht (lx);Gehäuse (°C);",
     f"0;{stamp(-30)};0,2;24,0;", f"0;{stamp(-5)};0,2;24,0;"]
    + [f"{s};{stamp(s)};{comma(e)};{comma(c)};" for s, e, c in zip(SECONDS, LIGHT, CASE, strict=True)]
    + [f"98;{stamp(2440)};0,2;70,0;", ";;;;", ""]
)  # fmt: skip
MATCH = """
[[log]]
file = "evening.txt"
first_row = 3
separator = ";"
decimal = ","
run = "W7"
lamp = "A1"
housing = "HR"
specimen = "1"
meter = "M1"
range_lx = 4000
cover = "closed"
clock = "Uhrzeit"
switched_on = "23:40:00"
switched_off = "00:20:05"
[log.columns]
illuminance_lx = "Licht (lx)"
case_C = "Gehäuse (°C)"
"""
CAMPAIGN = {
    "readings_csv": bf.readings(
        "A1,HR,1,1,1240,4000", "A1,HR,1,2,1260,4000", "A2,HR,1,1,1330,4000", "A2,HR,1,2,1310,4000",
        header="lamp,housing,specimen,mounting,illuminance_lx,range_lx",
    )
}  # fmt: skip
TYPED = "run,lamp,elapsed_s,illuminance_lx,specimen,housing,meter,range_lx,case_C,cover\n" + "".join(
    f"W7,A1,{s},{e},1,HR,M1,4000,{c},closed\n" for s, e, c in zip(SECONDS, LIGHT, CASE, strict=True)
)


def published(bench):
    return results(evaluate(bench)).drop(columns="data_hash")


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        ("utf-8", "UTF-8"), ("utf-8-sig", "UTF-8"), ("latin-1", "Latin-1"), ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"), ("utf-16-be", "UTF-16"),
    ],
)  # fmt: skip
def test_a_log_gives_the_record_of_the_same_numbers_typed_into_warm_up(tmp_path, encoding, said):
    """Oracle: the same numbers in warm_up.csv."""
    data = EVENING.encode(encoding)
    logged = bf.make(tmp_path / "logged", bench_toml=bf.HOUSED + MATCH, evening_txt=data, **CAMPAIGN)
    typed = bf.make(tmp_path / "typed", bench_toml=bf.HOUSED, warm_up_csv=TYPED, **CAMPAIGN)
    of_log, of_hand = read_bench(logged), read_bench(typed)
    rows = of_log.tables["warm_up"]
    assert_frame_equal(
        rows.drop(columns=["line", "log_file"]), of_hand.tables["warm_up"].drop(columns="line")
    )
    assert list(rows["line"]) == [*range(6, 6 + len(SECONDS))]
    assert [log.encoding for log in of_log.logs] == [said]
    assert (logged / "evening.txt").read_bytes() == data
    if encoding == "utf-8":
        found, wanted = published(of_log), published(of_hand)
        assert "remaining light" in set(wanted["measurand"])
        assert_frame_equal(found, wanted)
        assert (
            read_bench(write_bench(of_log, tmp_path / "again")).tables["warm_up"]["case_C"].tolist() == CASE
        )


def test_check_shows_the_first_rows_as_understood(tmp_path):
    folder = bf.make(tmp_path / "b", bench_toml=bf.HOUSED + MATCH, evening_txt=EVENING, **CAMPAIGN)
    lines = report(folder)
    place = lines.index("  evening.txt (UTF-8) into warm_up, first rows as understood:")
    shown = [line.split() for line in lines[place + 1 : place + 4]]
    assert shown == [
        ["elapsed_s", "illuminance_lx", "case_C"],
        *([f"{s:g}", f"{e:g}", f"{c:g}"] for s, e, c in list(zip(SECONDS, LIGHT, CASE, strict=True))[:2]),
    ]


@pytest.mark.parametrize(
    ("on", "begins", "ends"), [("22:40:00", 3630, 6000), ("23:38:39", 111, 2481), ("23:38:50", None, None)]
)
def test_check_says_where_the_initial_time_lies_outside_the_light_of_a_log(tmp_path, on, begins, ends):
    """Oracle: the file's clock: light from 23:40:30 to 00:20:00; the initial reading is that of 60 +- 50 s."""
    toml = bf.HOUSED + "[bench]\ninitial_window_s = 50\n" + MATCH.replace("23:40:00", on)
    lines = report(bf.make(tmp_path / "b", bench_toml=toml, evening_txt=EVENING, **CAMPAIGN))
    said = [line.strip() for line in lines if "is switched_on right?" in line]
    left = next(line.split("   ")[1].strip() for line in lines if "light is left" in line)
    if begins is None:
        assert said == []
        assert left == "yes, for 1 of 2 lamps"
        return
    begun = f"the light of run W7 begins {begins} s after switch-on and ends {ends} s after it"
    asked = "and the initial time is 60 s; is switched_on right? [caution 34]"
    assert said == [f"caution  evening.txt:6: elapsed_s: {begun}, {asked}"]
    assert left == "read one seating of each specimen at 30 minutes too: A1 and A2 in HR"


@pytest.mark.parametrize("units", ["hh:mm:ss;lx;\u00b0C", ";(lux);[degC]", "Clock;lx;"])
def test_a_row_of_units_under_the_column_names_is_skipped_and_said(tmp_path, units):
    """Oracle: the same file without that row."""
    toml = bf.TOML + bf.DECLARED
    text = bf.LOGGER.replace("Time;Lux;Case\n", f"Time;Lux;Case\n{units}\n")
    plain = read_bench(bf.make(tmp_path / "plain", bench_toml=toml, evening_txt=bf.LOGGER)).tables["warm_up"]
    folder = bf.make(tmp_path / "b", bench_toml=toml, evening_txt=text)
    assert_frame_equal(read_bench(folder).tables["warm_up"].assign(line=0), plain.assign(line=0))
    assert read_bench(folder).tables["warm_up"]["line"].tolist() == [6, 7, 8]
    shown = " ".join(filter(None, units.split(";")))
    head = f"  evening.txt (UTF-8) into warm_up, units row skipped ({shown}), first rows as understood:"
    assert head in report(folder)


@pytest.mark.parametrize(
    ("header", "units", "words"),
    [
        ("elapsed_s", "s;klx", '"klx" for illuminance_lx: 1 klx is 1000 lx. [fault 23]'),
        ("elapsed_s", "min;lx", '"min" for elapsed_s: write elapsed_minutes for minutes. [fault 23]'),
        ("elapsed_minutes", "s;lx", '"s" for elapsed_minutes: 1 min is 60 s. [fault 23]'),
        ("elapsed_s", "s;fc", '"fc" for illuminance_lx: name our column illuminance_fc. [fault 23]'),
    ],
)
def test_a_row_of_units_that_are_not_those_of_our_columns_is_refused(tmp_path, header, units, words):
    """Oracle: the exact factors of the schema; nothing is converted by guess."""
    toml = bf.TOML + bf.LOG.replace("elapsed_s", header)
    text = "t,E\n" + units.replace(";", ",") + "\n30,300\n60,299\n"
    with pytest.raises(RecordError) as caught:
        read_bench(bf.make(tmp_path / "b", bench_toml=toml, log_csv=text))
    (problem,) = caught.value.problems
    assert str(problem) == f"log.csv:2: {words}"


def test_a_first_row_with_a_figure_is_no_row_of_units(tmp_path):
    with pytest.raises(RecordError, match="overload"):
        read_bench(bf.make(tmp_path / "b", bench_toml=bf.TOML + bf.LOG, log_csv="t,E\n30,OL\n60,299\n"))


@pytest.mark.parametrize(
    ("stamps", "on", "elapsed"),
    [
        ("10:00:30 10:01:00", "10:00:00", [30, 60]),
        ("10:00 10:01", "9:59", [60, 120]),
        ("9:59:50_PM 11:59:50_PM 12:00:10_AM", "9:59:00 PM", [50, 7250, 7270]),
        ("23:59:50,5 0:00:10,5", "23:59:00", [50.5, 70.5]),
        ("00:01:00 00:02:00", "23:59:00", [120, 180]),  # the logger was started after midnight
        ("23:58:00 00:02:00 00:03:00", "00:01:00", [60, 120]),  # the lamp was
        ("09:00:00 22:00:00 22:00:30", "22:00:10", [20]),  # the logger ran all day
        ("31/03/2025_23:59:40 01/04/2025_00:00:10", "23:59:30", [10, 40]),
        ("2025-03-31T23:59:40 2025-04-01T00:00:10", "2025-03-31 23:59:30", [10, 40]),
        ("2025-03-31T23:59:40 2025-04-01T00:00:10", "00:00:00", [10]),
    ],
)
def test_clock_times_are_counted_from_switch_on(tmp_path, stamps, on, elapsed):
    toml = bf.TOML + bf.LOG.replace('elapsed_s = "t"\n', "").replace(
        "[log.c", f'clock = "t"\nswitched_on = "{on}"\nseparator = ";"\n[log.c'
    )
    text = "t;E\n" + "".join(f"{one.replace('_', ' ')};300\n" for one in stamps.split())
    assert_allclose(
        read_bench(bf.make(tmp_path / "b", bench_toml=toml, log_csv=text)).tables["warm_up"]["elapsed_s"],
        elapsed, rtol=0, atol=1e-6,  # float rounding of seconds since 2000
    )  # fmt: skip


HOT = """
[[log]]
file = "case.txt"
into = "thermal"
separator = "\\t"
lamp = "A2"
place = "driver"
method = "thermocouple"
ambient_C = 21
columns = { elapsed_minutes = "min", displayed_F = "T1 F" }
"""


def test_a_log_of_temperatures_is_rows_of_thermal(tmp_path):
    """Oracle: degC = (degF - 32)/1.8, typed."""
    text = "min\tT1 F\n0.5\t212\n30\t302\n"
    heat = bf.HEAT + "A1,30,80,tape,0.95\n"
    for toml in (HOT, HOT.replace("\\t", "tab")):
        bench = read_bench(
            bf.make(tmp_path / "b", bench_toml=bf.TOML + toml, thermal_csv=heat, case_txt=text)
        )
        rows = bench.tables["thermal"]
        assert list(rows["lamp"]) == ["A1", "A2", "A2"]
        assert_allclose(
            rows["displayed_C"], [80.0, 100.0, 150.0], rtol=1e-14
        )  # float rounding of one product
        assert list(rows["elapsed_s"]) == [1800.0, 30.0, 1800.0]
        assert list(rows["ambient_C"].fillna(-1)) == [-1, 21.0, 21.0]
        assert set(rows["log_file"]) == {"", "case.txt"}
        last = surfaces(bench)[-1]
        assert (last.lamp, last.place, last.method) == ("A2", "driver", "thermocouple")


@pytest.mark.parametrize(
    ("old", "new", "text", "code", "words"),
    [
        (
            'method = "thermocouple"',
            'method = "tape"',
            "min\tT1 F\n1\t212\n",
            "fault 8",
            'bench.toml: log "case.txt" has no set_emissivity; write the one set on the camera. [fault 8]',
        ),
        (
            'method = "thermocouple"\n',
            "",
            "min\tT1 F\n1\t212\n",
            "fault 1",
            'log "case.txt" has no method; write method',
        ),
        (
            'lamp = "A2"',
            'lamp = "A2"\nrun = "W1"',
            "min\tT1 F\n1\t212\n",
            "fault 2",
            "bench.toml:15: log.run: thermal has no such column; take the line out. [fault 2]",
        ),
        (
            'lamp = "A2"',
            'lamp = "K9"',
            "min\tT1 F\n1\t212\n",
            "fault 12",
            'bench.toml:14: log.lamp = "K9" is not in lamps.csv',
        ),
        (
            "displayed_F",
            "displayed_R",
            "min\tT1 F\n1\t212\n",
            "fault 2",
            "displayed_R is not a number column of thermal. Did",
        ),
        (
            ', displayed_F = "T1 F"',
            "",
            "min\tT1 F\n1\t212\n",
            "fault 10",
            'bench.toml:18: log "case.txt": no column of the logger is declared for displayed_C. [fault 10]',
        ),
        (
            ', displayed_F = "T1 F"',
            ', displayed_F = "T1 F", ambient_C = "min"',
            "min\tT1 F\n1\t212\n",
            "fault 25",
            "ambient_C is declared twice; keep one.",
        ),
        (
            '"T1 F"',
            '"T2 F"',
            "min\tT1 F\n1\t212\n",
            "fault 10",
            'case.txt:1: column "T2 F" for displayed_F is not there; found min, T1 F. [fault 10]',
        ),
        (
            'elapsed_minutes = "min"',
            'elapsed_s = "min"',
            "min\tT1 F\n10:00:00\t212\n",
            "fault 8",
            'log "case.txt": its times are clock times; write switched_on. [fault 8]',
        ),
        ("", "", "min\tT1 F\n1\t212\n2\thot\n", "fault 13", 'case.txt:3: T1 F: "hot" is not a number'),
        (
            "",
            "",
            "min\tT1 F\n1\t21,5\n",
            "fault 13",
            'case.txt:2: T1 F: "21,5" has a decimal comma; write 21.5, or declare',
        ),
        (
            "",
            "",
            "min\tT1 F\n1\t2000\n",
            "fault 14",
            "case.txt:2: T1 F: 2000 degF is 1093.33 degC; wanted -20 to 400",
        ),
        (
            "",
            "",
            "min\tT1 F\n2\t212\n1\t213\n",
            "fault 18",
            "case.txt:3: elapsed_s: 60 after 120; times must increase.",
        ),
        (
            "",
            "",
            "min;T1 F\n1;212\n",
            "fault 11",
            'case.txt:1: separated by semicolons; write separator = ";" where bench.toml declares',
        ),
        (
            'separator = "\\t"',
            "",
            "min\tT1 F\n1\t212\n",
            "fault 11",
            'write separator = "tab" where bench.toml declares',
        ),
        ("", "", "min\tT1 F\n", "fault 11", "case.txt: has no rows under the column names. [fault 11]"),
        ("", "", "", "fault 11", "case.txt: is empty. [fault 11]"),
        ("", "", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00", "fault 11", "case.txt: is no text"),
        (
            'lamp = "A2"',
            'lamp = "A2"\nfirst_row = 40',
            "min\tT1 F\n1\t212\n",
            "fault 11",
            "case.txt:40: row 40 holds no column",
        ),
        (
            "case.txt",
            "../case.txt",
            "x",
            "fault 27",
            'bench.toml:11: "../case.txt" is not a plain file name inside the folder',
        ),
        (
            "case.txt",
            "case2.txt",
            "x",
            "fault 3",
            'bench.toml:11: "case2.txt" is not in the folder. [fault 3]',
        ),
    ],
)
def test_a_log_that_does_not_match_is_refused_where_it_stands(tmp_path, old, new, text, code, words):
    toml = bf.TOML + HOT.replace(old, new)
    bf.assert_refused(tmp_path / "b", code, {"bench_toml": toml, "case_txt": text}, words)


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        (
            'run = "W7"\n',
            "",
            "fault 1",
            'bench.toml: log "evening.txt" has no run; write run = …, code of the record. [fault 1]',
        ),
        (
            'switched_on = "23:40:00"\n',
            "",
            "fault 8",
            'log "evening.txt": its times are clock times; write switched_on.',
        ),
        (
            '"23:40:00"',
            '"01:10:00"',
            "fault 18",
            'bench.toml:28: log.switched_on = "01:10:00"; evening.txt has no row just after it. [fault 18]',
        ),
        (
            '"00:20:05"',
            '"23:30"',
            "fault 18",
            'bench.toml:29: log.switched_off = "23:30"; wanted a time within 12 h after "23:40:00", when',
        ),
        (
            '"00:20:05"',
            '"23:40:00"',
            "fault 18",
            'bench.toml:29: log.switched_off = "23:40:00"; wanted a time within 12 h after',
        ),
        (
            '"23:40:00"',
            '"20 to 12"',
            "fault 13",
            'bench.toml:28: log.switched_on = "20 to 12"; wanted a clock time as the logger writes them. [fault 13]',
        ),
        (
            'clock = "Uhrzeit"',
            'clock = "Nr"',
            "fault 6",
            'evening.txt:4: Nr: "0" is not a clock time; wanted HH:MM:SS. The same in 82',
        ),
        (
            'housing = "HR"',
            'housing = "HX"',
            "fault 12",
            'bench.toml:22: log.housing = "HX" is not a [[housing]] of bench.toml',
        ),
        (
            "range_lx = 4000",
            "range_lx = 400",
            "fault 15",
            "evening.txt:6: illuminance_lx: 1223.4 lx cannot be read on the 400 lx",
        ),
        (
            "range_lx = 4000",
            'range_lx = "4000"',
            "fault 2",
            'bench.toml:25: log.range_lx = "4000"; wanted a bare number: 4000.',
        ),
        (
            "range_lx = 4000",
            "range_lx = -1",
            "fault 14",
            "bench.toml:25: log.range_lx = -1 lx; wanted more than 0 lx. [fault 14]",
        ),
        (
            "cover =",
            "covers =",
            "fault 2",
            "bench.toml:26: log.covers is not a key. Did you mean cover? [fault 2]",
        ),
    ],
)
def test_slips_in_what_holds_for_every_row(tmp_path, old, new, code, words):
    files = {"bench_toml": bf.HOUSED + MATCH.replace(old, new), "evening_txt": EVENING, **CAMPAIGN}
    assert old in MATCH
    problems = bf.assert_refused(tmp_path / "b", code, files, words)
    assert len(problems) == 1, "one slip is said once"


def test_a_fault_of_a_pair_of_rows_is_said_in_the_logger_s_file(tmp_path):
    text = TYPED.replace("W7", "W8").replace(",1,HR", ",1,HP").replace("W8,A1,60,", "W8,A2,60,")
    files = {"bench_toml": bf.HOUSED + MATCH, "evening_txt": EVENING, "warm_up_csv": text, **CAMPAIGN}
    bf.assert_refused(
        tmp_path / "b", "fault 7", files, 'warm_up.csv:3: run: "W8" stands for lamp "A1" in line 2'
    )
    short = MATCH.replace("[log.columns]", "rest_minutes = 5\n[log.columns]")
    bench = read_bench(bf.make(tmp_path / "c", bench_toml=bf.HOUSED + short, evening_txt=EVENING, **CAMPAIGN))
    words = "evening.txt:6: rest_minutes: A1: off for 5 min before switch-on; 30 min or more is wanted. [caution 24]"
    assert words in [str(problem) for problem in bench.warnings]


def test_a_workbook_declares_a_log(tmp_path):
    keys = [
        *KEYS, ("log", "1", "file", "case.txt"), ("log", "1", "into", "thermal"), ("log", "1", "separator", "tab"),
        ("log", "1", "lamp", "A2"), ("log", "1", "method", "thermocouple"), ("log", "1", "columns.displayed_C", 1),
        ("log", "1", "columns.elapsed_minutes", "min"),
        ("heat_matrix", "1", "file", "heat.csv"), ("heat_matrix", "1", "lamp", "A1"),
        ("heat_matrix", "1", "rectangle", "0, 0, 2, 1"), ("heat_matrix", "1", "hottest_pixels", 1),
        ("heat_matrix", "1", "elapsed_s", 60), ("heat_matrix", "1", "method", "tape"),
        ("heat_matrix", "1", "set_emissivity", 0.95),
    ]  # fmt: skip
    folder = save(tmp_path / "b", keys=keys)
    bf.make(
        folder,
        case_txt="min\t1\n30\t90\n",
        heat_csv="70,80\n",
        bench_toml=None,
        readings_csv=None,
        lamps_csv=None,
    )
    for name in bf.SOUND:
        (folder / name).unlink(missing_ok=True)
    bench = read_bench(folder)
    assert list(bench.tables["thermal"]["displayed_C"]) == [90.0, 80.0]
    save(folder, keys=[*keys[:-2], ("heat_matrix", "1", "method", "tape"), ("log", "2", "file", "none.txt")])
    with pytest.raises(RecordError, match="fault") as caught:
        read_bench(folder)
    said = [str(problem) for problem in caught.value.problems]
    assert (
        'bench.xlsx sheet bench: log "none.txt" has no lamp; write lamp = …, neutral code of the lamp. [fault 1]'
        in said
    )
    words = 'bench.xlsx sheet bench: heat_matrix "heat.csv" has no set_emissivity; write the one set on the camera.'
    assert f"{words} [fault 8]" in said


PICTURE = """
[[heat_matrix]]
file = "heat.csv"
first_row = 2
separator = ";"
decimal = ","
lamp = "A1"
elapsed_minutes = 30
rectangle = [0, 1, 4, 2]
hottest_pixels = 3
method = "tape"
set_emissivity = 0.95
place = "fin"
ambient_C = 21
"""
PIXELS = """\
Wärmebild 7
20,0;20,5;21,0;22,0;99,0;
20,0;80,5;81,0;79,0;22,0;
20,0;82,5;70,0;81,5;22,0;
99,0;20,0;20,0;20,0;20,0;
"""


def test_the_hottest_pixels_of_a_rectangle_are_a_reading_of_thermal(tmp_path):
    """Oracles: mean and standard deviation of 81.0, 81.5 and 82.5 by the standard library."""
    folder = bf.make(tmp_path / "b", bench_toml=bf.TOML + PICTURE, heat_csv=PIXELS.encode("latin-1"))
    bench = read_bench(folder)
    (row,) = bench.tables["thermal"].to_dict("records")
    assert (row["lamp"], row["place"], row["method"], row["elapsed_s"]) == ("A1", "fin", "tape", 1800.0)
    assert_allclose(row["displayed_C"], mean([81.0, 81.5, 82.5]), rtol=1e-15)
    assert_allclose(row["pixel_sd_K"], stdev([81.0, 81.5, 82.5]), rtol=1e-12)
    assert (row["line"], row["log_file"]) == (3, "heat.csv")
    assert (folder / "heat.csv").read_bytes() == PIXELS.encode("latin-1")
    assert "heat.csv" in bench.hashes
    assert "  heat.csv (Latin-1) into thermal, first rows as understood:" in report(folder)
    fahrenheit = PICTURE.replace('lamp = "A1"', 'lamp = "A1"\nunit = "degF"')
    hot = bf.make(tmp_path / "f", bench_toml=bf.TOML + fahrenheit, heat_csv=PIXELS.encode("latin-1"))
    read = read_bench(hot)
    assert [one.code for one in read.warnings] == ["caution 22"], "degF is read as it is typed"
    (row_f,) = read.tables["thermal"].to_dict("records")
    assert_allclose(row_f["displayed_C"], (mean([81.0, 81.5, 82.5]) - 32.0) / 1.8, rtol=1e-14)
    assert_allclose(row_f["pixel_sd_K"], stdev([81.0, 81.5, 82.5]) / 1.8, rtol=1e-12)


def test_the_scatter_of_the_pixels_is_an_input_of_the_temperature(tmp_path):
    """Oracle: the same reading without its scatter; variances add, the law is nearly straight there."""
    wide = PIXELS.replace("82,5", "87,5")
    bench = read_bench(bf.make(tmp_path / "b", bench_toml=bf.TOML + PICTURE, heat_csv=wide))
    (one,) = surfaces(bench)
    (pixels,) = (q for q in one.temperature.parts if q.name[0] == "pixels")
    assert (pixels.kind, pixels.dof, pixels.source) == ("reading scatter", math.inf, "own readings")
    assert pixels.u == stdev([81.0, 81.5, 87.5])
    (without,) = surfaces(read_bench(write_bench(bench, tmp_path / "again")))
    assert without.pixel_sd == one.pixel_sd, "what is written is read back"
    rows = bench.tables["thermal"].assign(pixel_sd_K=np.nan)
    (bare,) = surfaces(type(bench)(**{**vars(bench), "tables": {**bench.tables, "thermal": rows}}))
    c = one.temperature.parts[pixels]
    assert 0.9 < c < 1.1, "a tape of the emissivity that is set shows its own temperature"
    assert_allclose(one.temperature.u**2 - bare.temperature.u**2, (c * pixels.u) ** 2, rtol=1e-9)
    assert one.high - one.low > bare.high - bare.low + 2 * pixels.u


@pytest.mark.parametrize(
    ("old", "new", "pixels", "code", "words"),
    [
        (
            "[0, 1, 4, 2]",
            "[3, 1, 3, 2]",
            PIXELS,
            "fault 14",
            "bench.toml:17: heat_matrix.rectangle = [3, 1, 3, 2] leaves the picture, which is 5 pixels wide",
        ),
        ("[0, 1, 4, 2]", "[1, 3, 3, 2]", PIXELS, "fault 14", "leaves the picture"),
        (
            "[0, 1, 4, 2]",
            "[1, 1, 3]",
            PIXELS,
            "fault 14",
            "wanted left, top, width and height in whole pixels.",
        ),
        (
            "[0, 1, 4, 2]",
            "[1, 1, 3, 0]",
            PIXELS,
            "fault 14",
            "wanted left, top, width and height in whole pixels.",
        ),
        (
            "[0, 1, 4, 2]",
            "[1, 1.5, 3, 2]",
            PIXELS,
            "fault 14",
            "wanted left, top, width and height in whole pixels.",
        ),
        (
            "[0, 1, 4, 2]",
            "[-1, 1, 3, 2]",
            PIXELS,
            "fault 14",
            "heat_matrix.rectangle = -1; wanted 0 or more.",
        ),
        (
            "pixels = 3",
            "pixels = 9",
            PIXELS,
            "fault 14",
            "[0, 1, 4, 2] holds 8 pixels, and hottest_pixels = 9. [fault 14]",
        ),
        (
            "pixels = 3",
            "pixels = inf",
            PIXELS,
            "fault 14",
            "heat_matrix.hottest_pixels = inf; wanted 1 or more.",
        ),
        (
            "pixels = 3",
            "pixels = nan",
            PIXELS,
            "fault 14",
            "heat_matrix.hottest_pixels = nan; wanted 1 or more.",
        ),
        ("pixels = 3", "pixels = 1.5", PIXELS, "fault 14", "hottest_pixels = 1.5; wanted a whole number."),
        ("pixels = 3", "pixels = 0", PIXELS, "fault 14", "heat_matrix.hottest_pixels = 0; wanted 1 or more."),
        (
            "elapsed_minutes = 30\n",
            "",
            PIXELS,
            "fault 25",
            'heat_matrix "heat.csv": write elapsed_s or elapsed_minutes, one of',
        ),
        (
            "elapsed_minutes = 30",
            "elapsed_minutes = 30\nelapsed_s = 1800",
            PIXELS,
            "fault 25",
            "one of the two. [fault 25]",
        ),
        ('method = "tape"\n', "", PIXELS, "fault 1", 'heat_matrix "heat.csv" has no method'),
        (
            "set_emissivity = 0.95\n",
            "",
            PIXELS,
            "fault 8",
            "has no set_emissivity; write the one set on the camera.",
        ),
        (
            'lamp = "A1"',
            'lamp = "A7"',
            PIXELS,
            "fault 12",
            'bench.toml:15: heat_matrix.lamp = "A7" is not in lamps.csv',
        ),
        ('decimal = ","\n', "", PIXELS, "fault 13", 'heat.csv:2: pixel 1: "20,0" has a decimal comma'),
        ('separator = ";"', "", PIXELS, "fault 13", 'heat.csv:2: pixel 2: "0;20" is not a number'),
        ("", "", PIXELS.replace("82,5", "hot"), "fault 13", 'heat.csv:4: pixel 2: "hot" is not a number'),
        ("", "", PIXELS.replace("82,5", "OL"), "fault 16", 'heat.csv:4: pixel 2: "OL" is an overload'),
        ("", "", PIXELS.replace("82,5", ""), "fault 5", "heat.csv:4: pixel 2: blank"),
        (
            "",
            "",
            PIXELS.replace("82,5;", ""),
            "fault 4",
            "heat.csv:4: 4 pixels where the first row has 5. [fault 4]",
        ),
        (
            "",
            "",
            PIXELS.replace("8", "98"),
            "fault 14",
            "heat.csv:3: the hottest pixels are at 981.7 degC; wanted -20 to 400 degC",
        ),
        (
            "",
            "",
            PIXELS.replace("82,5", "182,5"),
            "fault 14",
            "heat.csv:3: the hottest pixels scatter by 58.46 K; wanted 0 to 20 K. [fault 14]",
        ),
        ("", "", "title\n", "fault 11", "heat.csv:2: row 2 holds no temperatures. [fault 11]"),
        (
            "heat.csv",
            "/etc/heat.csv",
            PIXELS,
            "fault 27",
            '"/etc/heat.csv" is not a plain file name inside the folder',
        ),
    ],
)
def test_a_picture_that_cannot_be_used(tmp_path, old, new, pixels, code, words):
    assert old in PICTURE
    toml = bf.TOML + PICTURE.replace(old, new)
    bf.assert_refused(tmp_path / "b", code, {"bench_toml": toml, "heat_csv": pixels}, words)
