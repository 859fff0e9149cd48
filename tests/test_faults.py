"""How faults are worded and collected. Oracle: the declared form `file:line: column: message [code]`."""

import re
from pathlib import Path

import pytest
import test_faults_cautions
import test_faults_tables
import test_faults_toml
import test_faults_wrong_cells
from bench_folders import make

from photolab.bench.folder.records import read_bench
from photolab.bench.terms import faults
from photolab.bench.terms.faults import Faults, Problem, closest, shown
from photolab.errors import SHOWN, RecordError


def test_every_code_is_listed_once_and_has_a_folder_that_raises_it():
    listed = re.findall(r"^    ((?:fault|caution) \d+) +\w", faults.__doc__, re.MULTILINE)
    sources = "".join(
        path.read_text(encoding="utf-8") for path in Path(faults.__file__).parents[1].rglob("*.py")
    )
    modules = (test_faults_toml, test_faults_tables, test_faults_cautions, test_faults_wrong_cells)
    from_workbooks = {"caution 33", "caution 39"}  # tests/test_workbook.py
    raised = {case[0] for module in modules for case in module.CASES} | from_workbooks
    assert sorted(listed) == sorted(raised)
    assert set(re.findall(r'"((?:fault|caution) \d+)"', sources)) == raised


@pytest.mark.parametrize(
    ("problem", "line"),
    [
        (Problem("fault 13", "a.csv", 9, "x_mm", '"1,2" is …'), 'a.csv:9: x_mm: "1,2" is … [fault 13]'),
        (Problem("fault 13", "a.csv", None, "x_mm", "m"), "a.csv: x_mm: m [fault 13]"),
        (Problem("fault 3", "a.csv", None, "", "is empty."), "a.csv: is empty. [fault 3]"),
        (Problem("caution 22", "a.csv", 0, "", "m"), "a.csv:0: m [caution 22]"),
    ],
)
def test_printed_form_leaves_out_what_is_absent(problem, line):
    assert str(problem) == line


def test_cautions_and_faults_are_kept_apart():
    kept = Faults()
    kept.add("caution 30", "a.csv", "m")
    kept.add("fault 4", "a.csv", "m", line=2)
    assert [p.code for p in kept.cautions] == ["caution 30"]
    assert [p.code for p in kept.faults] == ["fault 4"]
    assert kept.cautions[0].is_caution
    assert not kept.faults[0].is_caution


def test_control_characters_are_escaped_and_long_text_is_cut():
    # oracle: str.isprintable of the standard library decides what may reach a terminal
    hostile = "\x1b[31mred\x1b[0m\r\n\u202egnp.exe\x07"
    line = str(Problem("fault 12", "a\n.csv", 2, "b\tc", hostile))
    assert line.isprintable()
    assert "\\x1b[31mred" in line
    assert "\\u202e" in line
    assert shown("x" * 100) == "x" * 59 + "…"
    assert shown("x" * 60) == "x" * 60


@pytest.mark.parametrize(
    ("typed", "known", "found"),
    [
        ("k3", ["K1", "K3"], "K3"),
        ("illuminance", ["illuminance_lx", "lamp"], "illuminance_lx"),
        ("zebra", ["illuminance_lx", "lamp"], ""),
        ("x", [], ""),
        ("reading_percnt", ["reading_percent", "range_percent"], "reading_percent"),
    ],
)
def test_closest_name(typed, known, found):
    assert closest(typed, known) == found


@pytest.mark.parametrize("count", [SHOWN, SHOWN + 1, 1000])
def test_fifty_are_printed_then_the_count_and_all_are_carried(count):
    problems = [Problem("fault 13", "readings.csv", line, "dark_lx", "m") for line in range(count)]
    error = RecordError(problems)
    assert error.problems == tuple(problems)
    lines = str(error).split("\n")
    assert lines[:SHOWN] == [str(problem) for problem in problems[:SHOWN]]
    rest = [] if count == SHOWN else [f"… {count - SHOWN} more; {count} in all"]
    assert lines[SHOWN:] == rest
    with pytest.raises(RecordError, match=re.escape("readings.csv:0: dark_lx: m [fault 13]")):
        raise error


def test_rows_that_are_all_at_fault_are_not_said_to_be_missing(tmp_path):
    """Oracle: by hand: two rows a cell short each are two problems of one sort, and the file has rows."""
    readings = "lamp,illuminance_lx,range_lx,note\nA1,318,4000\nA2,334,4000\n"
    with pytest.raises(RecordError) as refused:
        read_bench(make(tmp_path / "b", readings_csv=readings))
    assert "readings.csv:2: 3 cells where the header names 4" in str(refused.value)
    assert "has no rows" not in str(refused.value)
