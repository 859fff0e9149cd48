"""The commands as a person types them.

Oracles: the printed first screens, exit codes, the JSON keys that other programs rely on.
"""

import contextlib
import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from photolab.cli import main
from photolab.publication.commands import compare_command
from photolab.publication.report.notebooks import write_notebook

ROOT = Path(__file__).parent.parent
TRIAL = [
    "318",
    "334",
    "--reading-percent",
    "4",
    "--range-percent",
    "0.5",
    "--range",
    "4000",
    "--resolution",
    "1",
    "--technology",
    "led",
]


def run(capsys, *argv):
    code = main([str(a) for a in argv])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_compare_prints_the_straight_answer(capsys):
    code, out, err = run(capsys, "compare", *TRIAL)
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "334 lx against 318 lx: 5.0 % more; between 4 % less and 15 % more (95 %).",
        "Inside the bench uncertainty: these readings do not show which lamp gives more.",
        "",
        "What blurs the difference (±, 95 %)",
        "   2.8 %   the meter, both lamps on one range",
        "   8.8 %   the meter and seating each lamp once        <- this one decides",
        "  14.6 %   if the two readings had no meter fault in common (a what-if)",
        "The meter alone would show this difference; with one seating each, seating hides it.",
        "To show 5 %, seat each lamp 5 times (even chance) or 18 times (4 in 5).",
        "Assumed: seating 3 % (measure this first), linearity 1 %, colour f1' 10 %, supply not considered.",
        "Applies to these two lamps, seated again on this bench; not to other specimens or housings.",
    ]


def test_compare_json_has_the_keys_other_programs_rely_on(capsys):
    code, out, _ = run(capsys, "compare", *TRIAL, "--json")
    answer = json.loads(out)
    assert code == 0
    assert set(answer) == {
        "schema", "unit", "ratio", "low", "high", "coverage", "verdict", "half_width_percent", "assumed", "missing",
        "sentence", "scope", "mountings_to_separate", "resolvable_percent",
    }  # fmt: skip
    assert answer["half_width_percent"].keys() == {"meter_only", "this_bench", "nothing_in_common"}
    assert answer["mountings_to_separate"] == {"even_chance": 5, "four_in_five": 18}
    assert "supply not considered" in answer["assumed"]
    assert answer["verdict"] == "inside"


def test_compare_without_technology_answers_with_the_ratio_only(capsys):
    code, out, _ = run(capsys, "compare", *TRIAL[:-2], "--json")
    answer = json.loads(out)
    assert code == 0
    assert (answer["verdict"], answer["low"], answer["missing"]) == ("no_answer", None, ["technology"])
    assert "no interval yet. No answer yet: technology missing; " in answer["sentence"]
    assert answer["ratio"] == 1.05031  # 334 / 318 to six digits


def test_swapping_mirrors_the_words(capsys):
    _, up, _ = run(capsys, "compare", *TRIAL)
    _, down, _ = run(capsys, "compare", "334", "318", *TRIAL[2:])
    assert down.splitlines()[0] == "318 lx against 334 lx: 4.8 % less; between 13 % less and 4 % more (95 %)."
    assert down.splitlines()[1:] == [*up.splitlines()[1:8], *down.splitlines()[8:]]


def test_foot_candles_give_the_same_answer(capsys):
    # 1 fc = 10.763910 lx (exact from 1 ft = 0.3048 m)
    fc = 10.763910416709722
    _, lx, _ = run(capsys, "compare", *TRIAL, "--json")
    same = [f"{318 / fc:.12f}", f"{334 / fc:.12f}", *TRIAL[2:]]
    same[same.index("4000")] = f"{4000 / fc:.12f}"
    same[same.index("1", 4)] = f"{1 / fc:.12f}"
    _, feet, _ = run(capsys, "compare", *same, "--unit", "fc", "--json")
    assert json.loads(feet)["low"] == pytest.approx(json.loads(lx)["low"], rel=1e-9)  # 12 decimals typed


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        ([], "missing: two readings; the meter's accuracy (--reading-percent, or --bench FOLDER)"),
        (["318", "334"], "A complete line to copy:\n  photolab compare 318 334"),
        (["334 lx", "318", "--reading-percent", "4"], 'A: "334 lx" is not a number'),
        (["nan", "318", "--reading-percent", "4"], "A: "),
        (["1e400", "318", "--reading-percent", "4"], "A: "),
        (["0", "318", "--reading-percent", "4"], "A: a reading must be more than 0; got 0"),
        (["-5", "318", "--reading-percent", "4"], "A: a reading must be more than 0; got -5"),
        (["318", "334", "--reading-percent", "0.04"], "--reading-percent: 0.04; is that 4 %? Write 4"),
        (["318", "334", "--reading-percent", "400"], "--reading-percent: 400 %; wanted 0 to 50 %"),
        (
            ["318", "334", "--coverage", "95", "--reading-percent", "4"],
            "--coverage: 95; wanted 0.5 to 0.999. 95 % is written 0.95",
        ),
        (
            ["318", "334", "--coverage", "95%", "--reading-percent", "4"],
            "--coverage: 95; wanted 0.5 to 0.999. 95 % is written 0.95",
        ),
        (
            ["318", "4310", "--reading-percent", "4", "--range", "4000"],
            "4310 lx cannot be read on the 4000 lx range",
        ),
        (
            ["318", "334", "--reading-percent", "4", "--technology", "bulb"],
            '--technology: "bulb" is not one of filament, led, discharge, other.',
        ),
        (
            ["318", "334", "--reading-percent", "4", "--mountings", "1.5"],
            "--mountings: 1.5; wanted a whole number",
        ),
        (["318", "334", "--reading-percent", "4", "--range-percent", "1"], "--range, the top of the range"),
        (
            ["318", "334", "--reading-percent", "4", "--digits", "3"],
            "--resolution, what one of the --digits is worth",
        ),
        (
            ["318", "334", "--bench", "x", "--digits", "3"],
            "--bench gives the meter's accuracy; leave out --digits",
        ),
    ],
)
def test_compare_refuses_in_plain_words(capsys, argv, words):
    argv = ["--", *argv] if argv[:1] == ["-5"] else argv
    if argv[:1] == ["--"]:
        argv = [*argv[3:], *argv[:3]]
    code, out, err = run(capsys, "compare", *argv)
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err


def test_compare_takes_meter_and_seating_from_a_bench(capsys):
    code, out, _ = run(
        capsys,
        "compare",
        "450",
        "475",
        "--bench",
        ROOT / "data/demo",
        "--range",
        "4000",
        "--technology",
        "led",
    )
    assert code == 0
    assert out.startswith("475 lx against 450 lx: 5.6 % more")
    assert "seating" not in out.split("Assumed:")[1]  # measured in the campaign, not assumed


@pytest.mark.parametrize(
    "pair", [("Plum", "Quince"), ("stock", "Quince")], ids=["LED lamps", "filament lamp"]
)
def test_compare_names_only_the_assumptions_that_enter_the_ratio_of_two_lamps(capsys, pair):
    """Oracle: by hand: light at one place, at once, on one meter: no head, centre or age of it; LED lamps no supply."""
    folder = ROOT / "tests/benches/club"
    _, out, _ = run(capsys, "compare", *pair, "--bench", folder)
    (said, *_) = (line for line in out.splitlines() if line.startswith("Assumed: "))
    for word in ("centre", "tilted", "head faces", "since the calibration", "between pieces", "how long"):
        assert word not in said
    for word in (
        "linearity (hand) 1 %",
        "from day to day 1 %",
        "step between two ranges 1 %",
        "initial time",
    ):
        assert word in said
    for word in ("calibrated with (hand) A", "supply voltage 0.1 V"):
        assert (word in said) == (pair[0] == "stock")
    _, out, _ = run(capsys, "compare", *pair, "--bench", folder, "--json")
    assert ", ".join(json.loads(out)["housings"][0]["assumed"]) == said[len("Assumed: ") : -1]


def test_two_lamps_by_name_carry_their_family_in_plain_data_too(capsys):
    """Oracle: results.csv of the demo: K5 in HR is clear alone and not among all pairs."""
    _, out, _ = run(capsys, "compare", "B0", "K5", "--bench", str(ROOT / "data/demo"), "--json")
    there = {one["housing"]: one for one in json.loads(out)["housings"]}["HR"]
    rows = pd.read_csv(ROOT / "reports/demo/results.csv")
    wanted = {"lamp": "K5", "housing": "HR", "measurand": "illuminance ratio", "instant": "initial"}
    for column, value in (wanted | {"point": "hot_spot", "scope": "specimens"}).items():
        rows = rows[rows[column] == value]
    (row,) = rows.to_dict("records")
    keys = ("low", "high", "verdict", "family_low", "family_high", "family_verdict")
    assert [there[key] for key in keys] == [row[key] for key in keys]
    assert (there["verdict"], there["family_verdict"]) == ("clear", "inside")
    assert there["scope"] == "for the specimens on the bench"


def test_compare_takes_range_and_technology_from_a_bench(capsys, tmp_path):
    """Oracle: the files written here."""
    text = (ROOT / "data/two-readings/bench.toml").read_text(encoding="utf-8")
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    lamps = "lamp,technology,role\nA1,led,baseline\nA2,led,candidate\n"
    (tmp_path / "lamps.csv").write_text(lamps, encoding="utf-8")
    rows = "lamp,illuminance_lx,range_lx\nA1,318,4000\nA2,334,4000\n"
    (tmp_path / "readings.csv").write_text(rows, encoding="utf-8")
    _, out, _ = run(capsys, "compare", "318", "334", "--bench", tmp_path)
    assert "the meter, both lamps on one range" in out
    assert "range 4000 lx (as most readings of the folder), technology led (that of every lamp" in out
    _, typed, _ = run(
        capsys, "compare", "318", "334", "--bench", tmp_path, "--range", "4000", "--technology", "led"
    )
    assert typed.splitlines()[:2] == out.splitlines()[:2]
    (tmp_path / "lamps.csv").write_text(lamps.replace("A1,led", "A1,filament"), encoding="utf-8")
    _, out, _ = run(capsys, "compare", "318", "334", "--bench", tmp_path)
    assert "technology missing" in out  # which of the two it is was not said
    *_, write, name = out.splitlines()
    assert "--technology filament,led where 318 lx is of a filament lamp and 334 lx of an LED." in write
    assert name == "Or name two of the folder's lamps in place of the readings: A1 and A2."
    assert "Assumed" not in out


def test_two_lamps_of_a_bench_are_compared_as_the_campaign_has_them(capsys):
    """Oracle: the rows of results.csv."""
    text = (ROOT / "reports" / "demo" / "results.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    code, out, _ = run(capsys, "compare", "B0", "K1", "--bench", ROOT / "data/demo", "--json")
    answers = json.loads(out)["housings"]
    assert code == 0
    assert [answer["housing"] for answer in answers] == ["HP", "HR"]
    for answer in answers:
        key = ("K1", answer["housing"], "illuminance ratio", "initial", "specimens")
        row = next(
            r
            for r in rows
            if tuple(r[k] for k in ("lamp", "housing", "measurand", "instant", "scope")) == key
        )
        assert [answer["ratio"], answer["low"], answer["high"]] == [
            float(row[k]) for k in ("value", "low", "high")
        ]
        assert answer["verdict"] == row["verdict"]
    code, out, _ = run(capsys, "compare", "B0", "K1", "--bench", ROOT / "data/demo")
    assert out.splitlines()[0].startswith("K1 against B0 in HP: ")
    assert " ".join(out.splitlines()[:3]) == answers[0]["sentence"]
    assert (
        out.splitlines()[-1] == "Applies to the specimens on this bench, seated again, at the initial time."
    )


def test_two_lamps_among_others_carry_the_verdict_of_their_family(capsys):
    """Oracle: the family's ends and verdict in results.csv; alone the pair is clear, among 36 pairs it is not."""
    rows = pd.read_csv(ROOT / "reports" / "demo" / "results.csv")
    mine = rows[
        (rows["lamp"] == "K5") & (rows["housing"] == "HR") & (rows["measurand"] == "illuminance ratio")
    ]
    row = mine[(mine["instant"] == "initial") & (mine["scope"] == "specimens")].iloc[0]
    assert (row["verdict"], row["family_verdict"]) == ("clear", "inside")
    _, out, _ = run(capsys, "compare", "B0", "K5", "--bench", ROOT / "data/demo")
    low, high = 100.0 * (1.0 - row["family_low"]), 100.0 * (row["family_high"] - 1.0)
    said = (
        f"As one of the 36 pairs of lamps compared in HR: {low:.0f} % less to {high:.0f} % more light, inside"
    )
    assert said in out


def test_two_lamps_alone_have_no_family(capsys):
    """Oracle: one pair is its own family."""
    _, out, _ = run(capsys, "compare", "A1", "A2", "--bench", ROOT / "data/two-readings")
    assert "A2 against A1" in out
    assert "As one of" not in out


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--technology", "led"], "compared as they were read; leave out --technology"),
        (["--mountings", "3"], "leave out --mountings"),
    ],
)
def test_options_of_typed_readings_are_refused_beside_names(capsys, more, words):
    code, out, err = run(capsys, "compare", "B0", "K1", "--bench", ROOT / "data/demo", *more)
    assert (code, out) == (2, "")
    assert words in err


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        ("K1", "K1", "K1 against itself; name two lamps"),
        (
            "k2",
            "K1",
            '"k2" is no lamp with a reading on this bench; closest is "K2"; name two of its lamps, or type',
        ),
        ("K1", "334", '"334" is no lamp with a reading on this bench'),
        ("K9", "K88", '"K9" is no lamp with a reading on this bench; name two of its lamps'),
    ],
)
def test_one_lamp_alone_is_not_compared(capsys, a, b, words):
    code, out, err = run(capsys, "compare", a, b, "--bench", ROOT / "data/demo")
    assert (code, out) == (2, "")
    assert words in err


def test_the_sentence_of_json_is_the_printed_one(capsys):
    """Oracle: the two first lines that are printed."""
    _, printed, _ = run(capsys, "compare", *TRIAL)
    _, out, _ = run(capsys, "compare", *TRIAL, "--json")
    assert json.loads(out)["sentence"] == " ".join(printed.splitlines()[:2])


@pytest.mark.parametrize("folder", ["demo", "two-readings"])
def test_check_says_what_can_and_cannot_be_said(capsys, folder):
    code, out, err = run(capsys, "check", ROOT / "data" / folder)
    assert (code, err) == (0, "")
    assert out.startswith(f"{folder}: readable. ")
    assert "Best next step: " in out
    if folder == "two-readings":
        assert "You cannot say yet" in out
        assert "read one seating of each specimen at 30 minutes too: A1 and A2" in out


def test_check_prints_every_fault_and_changes_nothing(capsys, tmp_path):
    bench = tmp_path / "mybench"
    bench.mkdir()
    (bench / "bench.toml").write_text(
        'schema = 1\n[[meter]]\nid = "M1"\nreading_percent = 4\nranges_lx = [4000]\n'
    )
    rows = ["lamp,illuminance_lx", "K1,300", 'K1,"1,240"', "K2,4310"]
    (bench / "readings.csv").write_text("\n".join(rows) + "\n")
    before = {p.name: p.read_bytes() for p in bench.iterdir()}
    code, out, err = run(capsys, "check", bench)
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert lines[0].startswith("mybench: 2 faults")
    assert lines[0].endswith("Nothing was changed.")
    assert '  readings.csv:3: illuminance_lx: "1,240" is 1240 or 1.24; write 1240. [fault 13]' in lines
    assert (
        "  readings.csv:4: illuminance_lx: 4310 lx cannot be read on the 4000 lx range. [fault 15]" in lines
    )
    assert lines[-1] == "Correct these in the files, then run the same line again."
    assert before == {p.name: p.read_bytes() for p in bench.iterdir()}


def test_check_of_a_folder_that_is_not_there(capsys, tmp_path):
    code, out, err = run(capsys, "check", tmp_path / "nowhere")
    assert (code, out) == (2, "")
    assert "nowhere" in err
    assert "[fault 3]" in err


def test_new_writes_a_folder_that_reads_back(capsys, tmp_path):
    code, out, _ = run(capsys, "new", tmp_path / "book", "--workbook")
    assert code == 0
    assert [one.name for one in (tmp_path / "book").iterdir()] == ["bench.xlsx"]
    assert ".toml" not in out
    assert ".csv" not in out  # it names what was written
    code, out, _ = run(capsys, "new", tmp_path / "mine")
    assert code == 0
    assert "photolab check" in out
    assert (tmp_path / "mine" / "bench.toml").exists()
    code, _, err = run(capsys, "new", tmp_path / "mine")
    assert code == 2
    assert err


def test_help_loads_no_heavy_library():
    heavy = ["pandas", "scipy", "statsmodels", "matplotlib", "numpy", "seaborn"]
    script = (
        "import sys\nfrom photolab.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as stop:\n    assert stop.code == 0\n"
        f"print(sorted(set({heavy!r}) & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    assert out.rstrip().endswith("[]")
    assert "compare" in out


def test_comparing_two_readings_loads_numpy_alone():
    """Oracle: sys.modules of a fresh interpreter after a whole answer."""
    heavy = ["pandas", "scipy", "statsmodels", "matplotlib", "seaborn"]
    script = (
        "import sys\nfrom photolab.cli import main\n"
        "main('compare 318 334 --reading-percent 4 --technology led'.split())\n"
        f"print(sorted(set({heavy!r}) & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    assert out.rstrip().endswith("[]")
    assert "Inside the bench uncertainty" in out


def test_abbreviated_options_are_refused(capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["compare", "1", "2", "--reading", "4"])
    assert "--reading" in capsys.readouterr().err


# ---- terminals that lack signs

SIGNS = {"ascii": r"\xb1", "cp1252": "\xb1", "cp437": "\xf1"}


@pytest.mark.parametrize("encoding", SIGNS)
def test_a_terminal_without_the_signs_gets_their_numbers(encoding):
    """Oracle: the plus-minus sign of each code page, and the lamp's name, which none of them has, escaped."""
    with io.TextIOWrapper(io.BytesIO(), encoding=encoding) as out, pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", out)
        assert main(["compare", *TRIAL]) == 0
        out.write("\u5149")
        out.flush()
        printed = out.buffer.getvalue().decode("latin-1")
    assert f"What blurs the difference ({SIGNS[encoding]}, 95 %)" in printed
    assert printed.rstrip().endswith(r"\u5149")


def test_a_process_of_its_own_prints_in_ascii(tmp_path):
    """Oracle: names that ASCII lacks, of a new folder and of a lamp of which `check` speaks."""
    bench = tmp_path / "bench"
    bench.mkdir()
    (bench / "bench.toml").write_bytes((ROOT / "data/two-readings/bench.toml").read_bytes())
    rows = "lamp,illuminance_lx\n\u5149,318\n\u5149,320\n"
    (bench / "readings.csv").write_text(rows, encoding="utf-8")
    lines = [["new", str(tmp_path / "b\u00e9nch")], ["check", str(bench)]]
    script = f"from photolab.cli import main\nraise SystemExit(sum(map(main, {lines!r})))"
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, env=environment)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"b\\xe9nch: written." in done.stdout
    assert b"\\u5149" in done.stdout


def test_json_holds_no_sign_that_a_terminal_could_lack(capsys, monkeypatch):
    """Oracle: a sign in the answer, escaped as JSON does it and not as a terminal would."""
    monkeypatch.setattr(compare_command, "as_json", lambda *_: {"meter": "\xb1"})
    _, out, _ = run(capsys, "compare", *TRIAL, "--json")
    assert out.isascii()
    assert json.loads(out) == {"meter": "\xb1"}


# ---- Ctrl-C, and a second run

DRIVER = """
import signal
import sys
from pathlib import Path
from photolab.publication.report import notebooks
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell lets what it starts with & ignore it
place = Path(sys.argv.pop(1))
notebooks.notebooks_folder = lambda given=None: place
from photolab.cli import main
sys.exit(main(sys.argv[1:]))
"""


def left(pid):
    """Return whether a process is still there."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.skipif(sys.platform == "win32", reason="signals of a process group")
def test_ctrl_c_ends_at_once_and_leaves_nothing_and_a_second_run_is_refused(capsys, tmp_path):
    """Oracle: two notebooks that wait for a minute in kernels that write their numbers; the clock."""
    notebooks, pids, scratch = (tmp_path / name for name in ("notebooks", "pids", "scratch"))
    for folder in (notebooks, pids, scratch):
        folder.mkdir()
    wait = f"import os, pathlib, time\npathlib.Path({str(pids)!r}, str(os.getpid())).touch()\ntime.sleep(60)"
    for name in "ab":
        cells = [
            new_code_cell("bench = None", metadata={"tags": ["parameters"]}),
            new_code_cell(wait, metadata={"tags": ["appendix"]}),
        ]
        write_notebook(new_notebook(cells=cells), notebooks / f"{name}.ipynb")
    line = ["appendix", str(ROOT / "data/two-readings"), "--out", str(tmp_path / "reports" / "out")]
    environment = {**os.environ, "TMPDIR": str(scratch), "JUPYTER_RUNTIME_DIR": str(scratch)}
    with (
        subprocess.Popen(
            [sys.executable, "-c", DRIVER, str(notebooks), *line],
            stderr=subprocess.PIPE,
            env=environment,
            start_new_session=True,
        ) as process,
        contextlib.ExitStack() as stack,
    ):
        stack.callback(process.kill)
        deadline = time.monotonic() + 60
        while len(list(pids.iterdir())) < 2 and time.monotonic() < deadline:
            time.sleep(0.05)
        kernels = [int(path.name) for path in pids.iterdir()]
        assert len(kernels) == 2
        assert all(map(left, kernels))

        code, out, err = run(capsys, *line)
        assert (code, out) == (2, "")
        assert err.startswith("out: another run is writing its report there")

        start = time.monotonic()
        os.killpg(process.pid, signal.SIGINT)
        _, said = process.communicate(timeout=20)
        assert time.monotonic() - start < 2
    assert process.returncode == 130
    assert said == b"Stopped by Ctrl-C.\n"
    assert not any(map(left, kernels))
    assert list(scratch.rglob("*")) == []
    assert not (tmp_path / "reports").exists()


def test_columns_lists_everything_or_one_file(capsys):
    code, out, err = run(capsys, "columns")
    assert (code, err) == (0, "")
    assert out.startswith("readings.csv: one row a reading\n  lamp* ")
    assert "bench.toml [[meter]]" in out
    code, out, err = run(capsys, "columns", "readings.csv")
    assert (code, out.count(".csv:")) == (0, 1)
    code, out, err = run(capsys, "columns", "lamp")
    assert (code, out) == (2, "")
    assert err.startswith("lamp: no such file; write one of bench.toml, readings.csv")


@pytest.mark.parametrize("typed", ["Halogen,LED", "INCANDESCENT,led", "filament,led"])
def test_compare_understands_technology_words_in_any_case(capsys, typed):
    plain = run(capsys, "compare", "318", "334", "--reading-percent", "4", "--technology", "filament,led")
    assert run(capsys, "compare", "318", "334", "--reading-percent", "4", "--technology", typed) == plain


def test_new_writes_lamps_too_and_check_says_what_to_type(capsys, tmp_path):
    code, _, _ = run(capsys, "new", tmp_path / "mine")
    assert code == 0
    assert sorted(path.name for path in (tmp_path / "mine").iterdir()) == [
        "bench.toml",
        "lamps.csv",
        "readings.csv",
    ]
    code, out, err = run(capsys, "check", tmp_path / "mine")
    assert (code, out) == (2, "")
    assert (
        "lamps.csv:2: technology: blank in both rows; type filament, led, discharge or other into each."
        in err
    )


def test_a_lamp_against_itself_is_refused_in_words(capsys):
    code, _, err = run(capsys, "compare", "K1", "K1", "--bench", ROOT / "data/demo")
    assert code == 2
    assert err.strip() == "K1 against itself; name two lamps"
