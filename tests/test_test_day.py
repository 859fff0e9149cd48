"""A test day on an invented bench, from an empty folder to the answer to a doubter, by the commands a person types.

Oracles: the figures that were typed and the instants of the protocol; the light of the invented lamps; the cells of
results.csv.
"""

import csv
import html
import json
import math
import re
from datetime import UTC, datetime, timedelta

import pandas as pd
from terminals import Terminal

from photolab.cli import main

DATE = "2026-03-04"
START = datetime(2026, 3, 4, 18, 0, tzinfo=UTC)
HOLD_S = 600.0
MARKS = {"initial": 60.0, "hold": HOLD_S}
LIGHT = {"arc": 820.0, "wren": 1240.0, "owl": 1010.0}
"""Light of the invented lamps a minute after switch-on, in the housing near. [lx]"""
KEPT = {"arc": 1.02, "wren": 0.93, "owl": 0.88}
"""What is left of it at the hold time. [1]"""
DECLARED = {
    'name = "my bench"': 'name = "a boat shed (invented)"',
    "# hold_minutes = 30 ": "hold_minutes = 10 ",
    "# coverage = 0.95": "coverage = 0.9",
    "reading_percent =\n": "reading_percent = 3\n",
    "# digits = 10": "digits = 5",
    "# ranges_lx": "ranges_lx",
    "# resolution_lx": "resolution_lx",
    '# [[housing]]\n# id = "H1"': '[[housing]]\nid = "near"\n[[housing]]\nid = "far"',
}
SIGN = r"[+-]?\d+(?:\.\d+)?"
FIGURE = re.compile(rf"({SIGN}) % \(([\d.]+) % range ({SIGN}) to ({SIGN}) %\) in (\w+)")
PLACES = {(lamp, housing) for lamp in LIGHT for housing in ("near", "far")}
LAMPS = "lamp,technology,role\narc,discharge,baseline\nwren,led,candidate\nowl,led,candidate\n"
COLUMNS = ["lamp", "housing", "day", "specimen", "mounting"]
COLUMNS += ["repeat", "elapsed_s", "range_lx", "dark_lx", "illuminance_lx"]
REPORT = {
    "appendix.html",
    "appendix.pdf",
    "in-words.md",
    "figures",
    "results.csv",
    "results.xlsx",
    "recompute.xlsx",
    "provenance.json",
}
LOG = """
[[log]]
file = "owl.txt"
first_row = 2
separator = ";"
decimal = ","
run = "W1"
lamp = "owl"
housing = "near"
specimen = "1"
clock = "Time"
switched_on = "23:55:00"
columns = { illuminance_lx = "Light (lx)" }
"""


def figures(step, mark):
    """Return the readings of a seating at a mark; each seating is a little off."""
    off = {"1": 1.0, "2": 1.013, "3": 0.992}[step["mounting"]] * (1.03 if step["lamp"] == "owl" else 1.0)
    light = LIGHT[step["lamp"]] * {"near": 1.0, "far": 0.61}[step["housing"]] * off
    return (
        [f"{light:.0f}", f"{light + 1:.0f}"] if mark == "initial" else [f"{light * KEPT[step['lamp']]:.0f}"]
    )


def logged():
    """Return a logger's file of owl, a row every 20 s: switched on five minutes before midnight, it loses 12 %."""
    on, rows = datetime(2026, 3, 4, 23, 55, tzinfo=UTC), ["Logger 7, started by hand", "Time;Light (lx)"]
    for s in range(20, 1201, 20):
        light = 1010.0 * (KEPT["owl"] + (1.0 - KEPT["owl"]) * math.exp((60.0 - s) / 150.0))
        rows.append(f"{on + timedelta(seconds=s):%H:%M:%S};{light:.1f}".replace(".", ","))
    return "\n".join(rows) + "\n"


def seat(terminal, step):
    """Seat the lamp that is called for and switch it on when the plan says."""
    on = START + timedelta(minutes=int(step["start_minutes"]))
    terminal.put_on(on)  # the rest that take counts is over by then
    terminal.until(f"Step {step['step']}: {step['lamp']}, piece {step['specimen']}, in {step['housing']}")
    asked = terminal.enter("")[-1]
    answers = {"Range": "4000", "Dark ": "2"}
    while asked[:5] in answers:
        asked = terminal.enter(answers[asked[:5]])[-1]
    assert asked == f"Enter at the moment {step['lamp']} is switched on"
    assert terminal.enter("")[-1] == "Read at 1:00"
    return on


def read(terminal, on, after_s, figures):
    """Wait for the beep and type what the meter shows."""
    terminal.put_on(on + timedelta(seconds=after_s + 2.0))
    terminal.until("\a")
    terminal.until("READ NOW")
    for figure in figures:
        rows = terminal.enter(figure)
        assert figure in " ".join(rows[1:-1])
    return rows


def started(folder):
    """Return a folder as `new` writes it, filled in as a person fills it in."""
    assert main(["new", str(folder)]) == 0
    toml = (folder / "bench.toml").read_text(encoding="utf-8")
    for old, new in DECLARED.items():
        assert toml.count(old) == 1
        toml = toml.replace(old, new)
    (folder / "bench.toml").write_text(toml, encoding="utf-8")
    (folder / "lamps.csv").write_text(LAMPS, encoding="utf-8")


def planned(folder):
    """Return the seatings of the evening, each with its marks."""
    assert main(["plan", str(folder), "--date", DATE]) == 0
    seatings = {}
    with (folder / "plan.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            key = (row["lamp"], row["housing"], row["mounting"])
            seatings.setdefault(key, {**row, "marks": []})["marks"].append(row["instant"])
    return list(seatings.values())


def typed_in(terminal, seatings, *, cut_after=None):
    """Type the seatings of an evening as the screen asks; in the middle of one the power may go."""
    for number, step in enumerate(seatings):
        on = seat(terminal, step)
        for mark in step["marks"]:
            if number == cut_after:
                read(terminal, on, MARKS[mark], figures(step, mark)[:1])
                return terminal.kill()
            read(terminal, on, MARKS[mark], figures(step, mark))
            asked = terminal.enter("")[-1]
        assert asked == f"Switch {step['lamp']} off, then Enter"
        terminal.enter("")
    return None


def rows_told(text, rows):
    """Return the rows of ratios that a text tells, one a figure: value and ends among all lamps, in percent."""
    found = []
    for value, percent, low, high, housing in FIGURE.findall(text.replace("\N{NO-BREAK SPACE}", " ")):
        printed = {"value": value, "family_low": low, "family_high": high}
        near = (rows["housing"] == housing) & (rows["coverage"].astype(float) == float(percent) / 100.0)
        for column, shown in printed.items():
            half = 0.5 * 10.0 ** -len(shown.partition(".")[2])
            near &= (100.0 * (rows[column].astype(float) - 1.0) - float(shown)).abs() <= half + 1e-9
        found.append(tuple(rows.index[near]))
    return found


def test_a_test_day_from_an_empty_folder_to_the_answer_to_a_doubter(tmp_path, capsys):
    folder, out = tmp_path / "shed", tmp_path / "report"
    started(folder)
    seatings = planned(folder)
    said = capsys.readouterr().out
    assert "Half-widths of the 90 % interval" in said
    assert (seatings[0]["lamp"], seatings[-1]["lamp"]) == ("arc", "arc")
    assert {(s["lamp"], s["housing"]) for s in seatings if "hold" in s["marks"]} == PLACES
    assert (folder / f"plan-{DATE}.pdf").read_bytes().startswith(b"%PDF")

    # the evening: the power goes in the middle of the third seating, the same line goes on
    with Terminal(folder, START) as terminal:
        typed_in(terminal, seatings, cut_after=2)
    journal = (folder / f"take-{DATE}.journal").read_text(encoding="utf-8").splitlines()
    last = datetime.fromisoformat(json.loads(journal[-1])["at"])
    third = seatings[2]
    with Terminal(folder, last + timedelta(seconds=5)) as terminal:
        rows = terminal.screen()
        kept, more = figures(third, "initial")
        assert f"at 1:00   {kept}" in rows
        assert rows[-1] == "Another figure, or Enter to go on"
        terminal.enter(more)
        assert terminal.enter("")[-1] == "Read at 10:00"
        read(terminal, START + timedelta(minutes=int(third["start_minutes"])), HOLD_S, figures(third, "hold"))
        terminal.enter("")
        terminal.enter("")
        typed_in(terminal, seatings[3:])
        terminal.type("stop")
        terminal.until("keeps the day.")
        assert terminal.process.wait(timeout=30) == 0
    typed = [
        (
            s["lamp"],
            s["housing"],
            DATE,
            "1",
            s["mounting"],
            str(repeat),
            f"{MARKS[mark]:g}",
            "4000",
            "2",
            figure,
        )
        for s in seatings
        for mark in s["marks"]
        for repeat, figure in enumerate(figures(s, mark), start=1)
    ]
    with (folder / "readings.csv").open(encoding="utf-8") as file:
        stands = [tuple(row[name] for name in COLUMNS) for row in csv.DictReader(file)]
    assert stands == typed  # each once, in the order of the evening

    (folder / "owl.txt").write_text(logged(), encoding="utf-8")
    with (folder / "bench.toml").open("a", encoding="utf-8") as file:
        file.write(LOG)
    capsys.readouterr()
    assert main(["check", str(folder)]) == 0
    said = capsys.readouterr().out
    head = f"shed: readable. {len(typed)} readings, 3 lamps, 2 housings, 1 day; meter M1."
    assert said.splitlines()[0] == head
    found = re.search(
        r"First answer in (\w+), 60 s after switch-on, ranges of 90 %: (\w+): (\d+) % more light than arc "
        r"\((\d+) to (\d+) % more\)",
        said,
    )
    low, high = (float(figure) for figure in found.groups()[3:])
    assert "\nAfter 10 min in near, ranges of 90 %: " in said
    assert low < 100.0 * (LIGHT[found[2]] / LIGHT["arc"] - 1.0) < high
    assert re.search(r"owl.txt \(UTF-8\) into warm_up, first rows as understood:\n.*\n +20 +1047\n", said)

    assert main(["appendix", str(folder), "--out", str(out)]) == 0
    assert "missing" not in capsys.readouterr().err
    assert {path.name for path in out.iterdir()} == REPORT
    rows = pd.read_csv(out / "results.csv", keep_default_na=False, dtype=str)
    page = (out / "appendix.html").read_text(encoding="utf-8")
    marked = re.findall(r'<data value="([^"]+)" ([^>]*)>', page)
    assert len(marked) > 8
    for value, attributes in marked:
        named = {key: html.unescape(text) for key, text in re.findall(r'data-(\w+)="([^"]*)"', attributes)}
        column = named.pop("column", "value")
        (cell,) = rows.loc[(rows[list(named)] == pd.Series(named)).all(axis=1), column]
        assert float(value) == float(cell)
    words = (out / "in-words.md").read_text(encoding="utf-8")
    light = rows[(rows["measurand"] == "illuminance ratio") & (rows["scope"] == "specimens")]
    for lamp in ("wren", "owl"):
        (line,) = (line for line in words.splitlines() if f" of {lamp} against arc" in line)
        assert sorted(rows_told(line, light)) == [(row,) for row in light.index[light["lamp"] == lamp]]

    assert main(["defend", str(folder), "--lamp", "owl"]) == 0
    paragraph = re.match(r"To paste \((\d+) characters\):\n  (.*)\n", capsys.readouterr().out)
    assert len(paragraph[2]) == int(paragraph[1]) <= 700
    figures_told = rows_told(paragraph[2], light)
    assert sorted(figures_told) == [(row,) for row in light.index[light["lamp"] == "owl"]]
    assert len(figures_told) == 4  # two housings, before the heat and after it
