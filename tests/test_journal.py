"""The journal of a test day: what a kill at any byte leaves behind.

Oracle: a run that nobody cut off. The bench is invented.
"""

import contextlib
import csv
import io
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from photolab.bench.folder import journal as module
from photolab.bench.folder.journal import Journal, append, last_undoable, open_sheet, recover, replay, rows_of
from photolab.errors import MethodError

START = datetime(2026, 3, 4, 18, 0, tzinfo=UTC)
NAME = "take-2026-03-04.journal"
HEAD = "lamp,illuminance_lx,housing,day,clock,specimen,mounting,elapsed_s,rest_minutes,range_lx,dark_lx,socket_V,note"
LAYOUTS = {
    "commas, a final line end": (",", ".", (HEAD + "\nowl,301,H,d1,17:00,1,1,60,,400,,,\n").encode()),
    "semicolons, decimal commas, a byte-order mark, CRLF, no final line end": (
        ";",
        ",",
        b"\xef\xbb\xbf" + (HEAD.replace(",", ";") + "\r\nowl;301,5;H;d1;17:00;1;1;60;;400;;;").encode(),
    ),
}
DAY = [
    ({"lamp": "owl", "rest": None}, {"initial": ["302", "303"], "hold": ["280"]}, "door, open; \u00e4"),
    ({"lamp": "Wren", "rest": 45}, {"initial": ["350"], "": ["340", "330"]}, ""),
]
"""Two seatings: head, figures by instant, a note."""
OTHERS = {
    "electrical": "lamp,elapsed_s,power_W,per",
    "thermal": "lamp,elapsed_s,displayed_C,method,set_emissivity",
}
ALSO = [
    ("readings", {"socket_V": "13.2"}),
    ("electrical", {"power_W": "27.4", "per": "lamp", "socket_V": "13.2"}),
    ("thermal", {"displayed_C": "85", "method": "tape", "set_emissivity": 0.95}),
]
"""What is asked at the hold time: its table, and the cells of its row."""
MARKS = {"initial": 60.0, "hold": 1800.0, "": 300.0}


class Killed(BaseException):
    """The process is gone; nothing after it runs."""


class Disk:
    """Files in memory; after so many more bytes the process is gone. Notes what it was given."""

    def __init__(self, monkeypatch, **files):
        self.files, self.left, self.given = files, 10**9, []
        monkeypatch.setattr(module, "_bytes", lambda path: self.files.get(path.name, b""))
        monkeypatch.setattr(module, "put_behind", self.write)
        monkeypatch.setattr(module, "_cut", self.cut)

    def write(self, path, data):
        kept = data[: self.left]
        self.files[path.name] = self.files.get(path.name, b"") + kept
        self.left -= len(kept)
        self.given.append((path.name, data))
        if len(kept) < len(data):
            raise Killed

    def cut(self, path, size):
        self.files[path.name] = self.files[path.name][:size]

    @property
    def tables(self):
        return {name: self.files[name] for name in sorted(self.files) if name.endswith(".csv")}


def type_the_day(mark):
    """Type what the journal does not have yet, as a person would who sees what it has, and finish."""
    folder = Path("shed")
    journal = Journal(folder / NAME)
    recover(journal, lambda: START)
    sheets = {t: open_sheet(folder / f"{t}.csv", t, *mark) for t in ("readings", "warm_up", *OTHERS)}
    if not journal.entries:
        journal.add("begin", START, day="d1", meter="M1")
    day = journal.day
    for number, (head, figures, note) in enumerate(DAY):
        at = START + timedelta(hours=number)
        if number == len(day.seatings):
            told = {"specimen": "1", "housing": "H", "mounting": "2", "hold": True, "step": 0}
            journal.add("seat", at, **told, **head)
            day = journal.day
        seating = day.seatings[number]
        if seating.done:
            continue
        if ("H", 400.0) not in day.dark:
            journal.add("dark", at, housing="H", range=400.0, text="3")
        if seating.on is None:
            journal.add("on", at)
        for instant, texts in figures.items():
            for text in texts[len(seating.of("lux", instant=instant)) :]:
                s = MARKS[instant] + (texts.index(text) if not instant else 0)
                told = {"text": text, "lx": float(text), "instant": instant, "s": s, "range": 400.0}
                journal.add("lux", at + timedelta(seconds=s), **told)
        if note and not seating.of("note"):
            journal.add("note", at, text=note)
        for table, cells in ALSO[len(seating.of("also")) :] if note else ():
            journal.add("also", at, table=table, column=next(iter(cells)), s=1810, cells=cells)
        journal.add("done", at)
        day = journal.day
    for number, seating in enumerate(day.seatings):
        for table, rows in rows_of(day, number).items():
            if table not in seating.written:
                append(journal, number, sheets[table], rows, lambda: START)


def bench(folder, content):
    folder.mkdir()
    (folder / "readings.csv").write_bytes(content)
    return folder


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_kill_at_any_byte_loses_nothing_confirmed_and_doubles_nothing(monkeypatch, layout):
    *mark, content = LAYOUTS[layout]
    others = {f"{name}.csv": f"{head}\n".replace(",", mark[0]).encode() for name, head in OTHERS.items()}
    disk = Disk(monkeypatch, **{"readings.csv": content}, **others)
    type_the_day(mark)
    given, expected = tuple(disk.given), disk.tables
    assert expected["readings.csv"].startswith(content)
    row = ";".join(["owl", "1810", "85", "tape", "0,95"]) if mark[0] == ";" else "owl,1810,85,tape,0.95"
    assert expected["thermal.csv"] == others["thermal.csv"] + f"{row}\n".encode()
    row = "owl,1810,27.4,lamp".replace(",", mark[0])
    assert expected["electrical.csv"] == others["electrical.csv"] + f"{row}\n".encode()
    text = io.StringIO(expected["readings.csv"].decode("utf-8-sig"), newline="")
    rows = list(csv.reader(text, delimiter=mark[0]))
    assert [row[1] for row in rows[2:]] == ["302", "303", "280", "350"]
    assert rows[2][-1] == "door, open; ä"
    assert [row[-2] for row in rows[2:]] == ["13.2", "13.2", "13.2", ""]
    whole = Journal(Path(NAME))
    confirmed = whole.entries
    for budget in range(sum(len(data) for _, data in given) + 1):
        left, disk.files = budget, {"readings.csv": content, "warm_up.csv": b"", NAME: b"", **others}
        for name, data in given:  # what the disk holds after so many bytes
            disk.files[name] += data[:left]
            left = max(left - len(data), 0)
        lines = disk.files[NAME].count(b"\n")
        assert Journal(Path(NAME)).entries == confirmed[:lines], f"killed at byte {budget}"
        type_the_day(mark)
        assert disk.tables == expected, f"killed at byte {budget}"
        assert Journal(Path(NAME)).day == whole.day, f"killed at byte {budget}"


def test_kills_one_after_the_other_end_like_none(monkeypatch):
    *mark, content = LAYOUTS["commas, a final line end"]
    others = {f"{name}.csv": f"{head}\n".encode() for name, head in OTHERS.items()}
    disk = Disk(monkeypatch, **{"readings.csv": content}, **others)
    type_the_day(mark)
    expected = disk.tables
    for few in (37, 230, 301):
        disk.files, ended = {"readings.csv": content, **others}, False
        while not ended:
            few, disk.left = few + 5, few
            with contextlib.suppress(Killed):
                type_the_day(mark)
                ended = True
        assert disk.tables == expected


def begun(folder):
    """Return a journal that was cut off after it had said what it would write, and those rows."""
    journal = Journal(folder / NAME)
    journal.add("begin", START, day="d1", meter="M1")
    journal.add(
        "seat", START, lamp="owl", specimen="1", housing="H", mounting="2", hold=False, step=0, rest=None
    )
    journal.add("on", START)
    for text in ("302", "303.0"):
        journal.add("lux", START, text=text, lx=float(text), instant="initial", s=60.0, range=400.0)
    journal.add("done", START)
    sheet = open_sheet(folder / "readings.csv", "readings", ",", ".")
    rows = rows_of(journal.day, 0)["readings"]
    text = sheet.text(rows, sheet.path.read_bytes())
    told = {"seating": 0, "table": "readings", "file": "readings.csv", "separator": ",", "sha": sheet.sha}
    journal.add("write", START, **told, size=sheet.path.stat().st_size, text=text, rows=2)
    return journal, text


def saved_again(text):
    """Return what a spreadsheet may make of rows: other digits, other line ends."""
    return text.replace("303.0", "303").replace("60", "60.0").replace("\n", "\r\n")


@pytest.mark.parametrize(
    ("held", "outcome"),
    [
        (lambda text: saved_again(text), "written"),
        (lambda text: "", "unwritten"),
        (lambda text: f"{saved_again(text)}Kauz\xe4,3\n", "written"),
    ],
    ids=["all of them", "none of them", "all of them, in Latin-1"],
)
def test_a_file_saved_by_a_spreadsheet_after_a_kill_is_looked_through_for_the_rows(tmp_path, held, outcome):
    content = LAYOUTS["commas, a final line end"][2]
    folder = bench(tmp_path / "b", content)
    journal, text = begun(folder)
    saved = content.decode().replace("301", "301.0") + held(text)
    (folder / "readings.csv").write_bytes(saved.encode("latin-1"))
    recover(journal, lambda: START)
    assert journal.entries[-1]["entry"] == outcome
    assert journal.day.seatings[0].written == ({"readings"} if outcome == "written" else set())


def test_a_part_of_the_rows_in_a_changed_file_is_for_the_person_to_mend(tmp_path):
    content = LAYOUTS["commas, a final line end"][2]
    folder = bench(tmp_path / "b", content)
    journal, text = begun(folder)
    first = text.splitlines()[0]
    (folder / "readings.csv").write_bytes(content.replace(b"301", b"301.0") + first.encode() + b"\n")
    with pytest.raises(
        MethodError, match=r"holds 1 of these 2 rows:\nowl,302,.*\nowl,303.0,.*\nAdd those that"
    ):
        recover(journal, lambda: START)
    assert journal.entries[-1]["entry"] == "write"


def test_rows_stay_in_the_journal_where_the_file_changed_meanwhile(tmp_path):
    folder = bench(tmp_path / "b", LAYOUTS["commas, a final line end"][2])
    journal, _ = begun(folder)
    journal.add("unwritten", START, seating=0, table="readings", file="readings.csv")
    sheet = open_sheet(folder / "readings.csv", "readings", ",", ".")
    with sheet.path.open("ab") as stream:
        stream.write(b"Wren,3\n")
    before = sheet.path.read_bytes()
    with pytest.raises(
        MethodError, match=r"readings.csv: changed while this ran.*take-2026-03-04.journal keeps"
    ):
        append(journal, 0, sheet, rows_of(journal.day, 0)["readings"], lambda: START)
    assert sheet.path.read_bytes() == before
    assert journal.entries[-1]["entry"] == "unwritten"


def test_a_full_disk_leaves_no_half_line(tmp_path, monkeypatch):
    journal = Journal(tmp_path / NAME)
    journal.add("begin", START, day="", meter="M1")

    def full(descriptor):
        os.ftruncate(descriptor, journal.size + 9)
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(module.os, "fsync", full)
        words = r"take-2026-03-04.journal: cannot be written: no space left on device. Once it can be, run the same"
        with pytest.raises(MethodError, match=words):
            journal.add("on", START)
    journal.add("on", START)
    assert [e["entry"] for e in Journal(journal.path).entries] == ["begin", "on"]


def test_a_journal_that_cannot_be_made_is_said(tmp_path):
    with pytest.raises(MethodError, match=r"take-2026-03-04.journal: cannot be written: no such file"):
        Journal(tmp_path / "none" / NAME).add("on", START)


def test_a_line_that_is_no_entry_is_refused_where_it_stands(tmp_path):
    path = tmp_path / "take-2026-03-04.journal"
    Journal(path).add("begin", START, day="", meter="M1")
    with path.open("ab") as stream:
        stream.write(b'{"at": "noon"}\n')
    with pytest.raises(MethodError, match=r"take-2026-03-04.journal:2: is no entry of a journal"):
        Journal(path)


def entries(*named):
    return [{"at": START.isoformat(), "entry": name, "step": 0, "lx": 4.0, "steps": [1, 2]} for name in named]


def test_undo_takes_back_one_entry_after_another_and_nothing_that_is_done():
    day = replay(entries("seat", "on", "lux", "lux", "undo"))
    assert [e["entry"] for e in day.open.entries] == ["on", "lux"]
    assert replay(entries("seat", "on", "undo", "undo", "undo")).open is None
    assert len(replay(entries("seat", "on", "done", "undo")).seatings) == 1
    assert replay(entries("seat", "range", "asked", "undo")).range_lx is None


def test_what_undo_would_take_back_is_known(tmp_path):
    journal = Journal(tmp_path / NAME)
    assert last_undoable(journal) is None
    journal.add("seat", START, step=0)
    journal.add("note", START, text="warm")
    journal.add("undo", START)
    assert last_undoable(journal)["entry"] == "seat"
