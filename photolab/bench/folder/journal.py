"""The journal of a test day, and its rows in the tables of the folder: each exactly once, however a run ends.

A line of the journal is one JSON object (RFC 8259). It counts once it is on the disk with its line end; what a kill
leaves of a line that was being written is no entry. Rows are appended to a table when a seating is done: first the
journal says what will be written behind which bytes, then it is written, then the journal says so. A later run sees
from the bytes which of the three was reached.
"""

import contextlib
import csv
import hashlib
import io
import json
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from photolab.bench.terms.schema import TABLES, Table, UnitForm
from photolab.errors import MethodError

Entry = dict[str, Any]
Row = dict[str, str | float]
UNDONE = frozenset({"skip", "swap", "seat", "range", "dark", "on", "lux", "through", "also", "note"})
"""Entries that can be taken back."""
PLACED = ("specimen", "housing", "day", "mounting", "meter", "range_lx")
RECORD = ("run", "lamp", "elapsed_s", "illuminance_lx", *PLACED)
BEGUN = {"warm_up": RECORD, "days": ("day", "date")}
"""Columns of a table that begins with a record typed by hand, or with a first day."""


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _bytes(path: Path) -> bytes:
    return path.read_bytes() if path.exists() else b""


def put_behind(path: Path, data: bytes) -> None:
    """Put bytes behind a file and on the disk.

    Parameters
    ----------
    path : Path
        The file; made where it is missing.
    data : bytes
        The bytes.

    Raises
    ------
    MethodError
        If they cannot be written: the disk is full, the file is open elsewhere.
    """
    new = not path.exists()
    try:
        with path.open("ab") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        message = f"{path.name}: cannot be written: {reason}. Once it can be, run the same line again."
        raise MethodError(message, code="not_written") from None
    if new:
        with contextlib.suppress(OSError):  # a folder cannot be opened on every system
            descriptor = os.open(path.parent, os.O_RDONLY)
            os.fsync(descriptor)
            os.close(descriptor)


def _cut(path: Path, size: int) -> None:
    """Take from a file what stands behind some bytes."""
    with path.open("r+b") as stream:
        stream.truncate(size)


class Journal:
    """One day's entries, in the order they were confirmed.

    Parameters
    ----------
    path : Path
        The file; made with its first entry.

    Attributes
    ----------
    entries : list of dict
        All of them.
    day : Day
        What they come to.

    Raises
    ------
    MethodError
        If a line of it is no entry.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        data = _bytes(path)
        self.size = data.rfind(b"\n") + 1
        if self.size < len(data):  # a line that a kill cut off was never confirmed
            _cut(path, self.size)
        self.entries: list[Entry] = []
        for number, line in enumerate(data[: self.size].split(b"\n")[:-1], start=1):
            try:
                self.entries.append(json.loads(line))
                datetime.fromisoformat(self.entries[-1]["at"])
            except (ValueError, KeyError, TypeError):
                words = "is no entry of a journal; move the file elsewhere, its seatings are in it as they were typed"
                message = f"{path.name}:{number}: {words}."
                raise MethodError(message, code="journal_unreadable") from None
        self.day = replay(self.entries)

    def add(self, entry: str, at: datetime, **held: object) -> None:
        """Confirm an entry: it is on the disk when this returns.

        Parameters
        ----------
        entry : str
            What it is.
        at : datetime
            When, with its zone.
        **held : object
            What it says.
        """
        made = {"at": at.isoformat(timespec="milliseconds"), "entry": entry, **held}
        line = json.dumps(made).encode("ascii") + b"\n"
        try:
            put_behind(self.path, line)
        except MethodError:  # a full disk: no half line may stand before the next one
            with contextlib.suppress(FileNotFoundError):  # or a folder in which none can be made
                _cut(self.path, self.size)
            raise
        self.size += len(line)
        self.entries.append(json.loads(line))
        self.day = replay(self.entries)


@dataclass
class Seating:
    """One seating as the journal has it: what was called, what was typed, which tables have its rows."""

    head: Entry
    entries: list[Entry] = field(default_factory=list)
    done: bool = False
    written: set[str] = field(default_factory=set)

    def of(self, entry: str, **held: object) -> list[Entry]:
        """Return the entries of one sort."""
        return [e for e in self.entries if e["entry"] == entry and held.items() <= e.items()]

    @property
    def on(self) -> datetime | None:
        """When the lamp was switched on."""
        return next((datetime.fromisoformat(e["at"]) for e in self.of("on")), None)

    @property
    def off(self) -> datetime | None:
        """When it was off at the latest."""
        return next((datetime.fromisoformat(e["at"]) for e in self.of("off")), None)


@dataclass
class Day:
    """A day as its journal has it."""

    head: Entry = field(default_factory=dict)
    seatings: list[Seating] = field(default_factory=list)
    range_lx: float | None = None
    dark: dict[tuple[str, float | None], str] = field(default_factory=dict)
    passed: set[int] = field(default_factory=set)
    swapped: list[tuple[int, ...]] = field(default_factory=list)

    @property
    def open(self) -> Seating | None:
        """The seating that is not done."""
        return self.seatings[-1] if self.seatings and not self.seatings[-1].done else None


def replay(entries: Iterable[Entry]) -> Day:
    """Return what entries come to; what was undone is not among it.

    Parameters
    ----------
    entries : iterable of dict
        Entries in their order.

    Returns
    -------
    Day
        The day.
    """
    day = Day()
    for e in _kept(entries):
        what = e["entry"]
        if what == "begin":
            day.head = e
        elif what == "seat":
            day.seatings.append(Seating(e))
            day.passed.add(e["step"])
        elif what == "skip":
            day.passed.add(e["step"])
        elif what == "swap":
            day.swapped.append(tuple(e["steps"]))
        elif what == "range":
            day.range_lx = e["lx"]
        elif what == "dark":
            day.dark[e["housing"], e["range"]] = e["text"]
        elif what == "done":
            day.seatings[-1].done = True
        elif what == "written":
            day.seatings[e["seating"]].written.add(e["table"])
        elif day.open is not None:
            day.open.entries.append(e)
    return day


def _kept(entries: Iterable[Entry]) -> list[Entry]:
    """Return the entries that were not taken back."""
    kept: list[Entry] = []
    for e in entries:
        if e["entry"] != "undo":
            kept.append(e)
        elif (last := _undoable(kept)) is not None:
            del kept[last]
    return kept


def _undoable(entries: list[Entry]) -> int | None:
    """Return the place of the last entry that can be taken back: none before a seating that is done."""
    for place in reversed(range(len(entries))):
        if entries[place]["entry"] == "done":
            return None
        if entries[place]["entry"] in UNDONE:
            return place
    return None


def last_undoable(journal: Journal) -> Entry | None:
    """Return the entry that `undo` would take back.

    Parameters
    ----------
    journal : Journal
        The journal.

    Returns
    -------
    dict or None
        The entry.
    """
    kept = _kept(journal.entries)
    place = _undoable(kept)
    return None if place is None else kept[place]


def midnight(at: datetime) -> datetime:
    """Return the midnight at which the day of a time began.

    Parameters
    ----------
    at : datetime
        The time.

    Returns
    -------
    datetime
        The midnight.
    """
    return at.replace(hour=0, minute=0, second=0, microsecond=0)


def _clock(at: datetime, began: datetime) -> str:
    """Return a clock time of a day; where it ends after midnight, the hours go on: 24:05."""
    minutes = (at - midnight(began)) // timedelta(minutes=1)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def rows_of(day: Day, number: int) -> dict[str, list[Row]]:
    """Return the rows of a seating, by table.

    Parameters
    ----------
    day : Day
        The day.
    number : int
        Place of the seating in it.

    Returns
    -------
    dict
        Rows by canonical column: typed text as it was typed, numbers in the unit of the column.
    """
    seating = day.seatings[number]
    head, on = seating.head, seating.on
    if on is None:
        return {}
    began = datetime.fromisoformat(day.head["at"])
    same: Row = {c: head[c] for c in ("lamp", "specimen", "housing", "mounting")}
    same |= {c: day.head[c] for c in ("day", "meter")}
    if head["rest"] is not None:
        same["rest_minutes"] = float(head["rest"])
    readings: list[Row] = []
    record: list[Row] = []
    repeats: dict[str, int] = {}
    for e in seating.of("lux"):
        ranged = {} if e["range"] is None else {"range_lx": e["range"]}
        row: Row = same | {"illuminance_lx": e["text"], "elapsed_s": float(e["s"])} | ranged
        if e["instant"]:
            repeats[e["instant"]] = repeats.get(e["instant"], 0) + 1
            row |= {"clock": _clock(on + timedelta(seconds=e["s"]), began)}
            row |= {"dark_lx": day.dark.get((head["housing"], e["range"]), "")}
            readings.append(row | {"repeat": float(repeats[e["instant"]])})
        else:
            record.append(row | {"run": f"{began:%Y-%m-%d}-{number + 1}"})
    notes = "; ".join(e["text"] for e in seating.of("note"))
    if notes and readings:
        readings[0]["note"] = notes
    made = {"readings": readings, "warm_up": record}
    for e in seating.of("also"):
        if e["table"] == "readings":  # a cell of every row of light
            for row in (*readings, *record):
                row |= e["cells"]
        elif e["cells"]:
            made[e["table"]] = [{"lamp": head["lamp"], "elapsed_s": float(e["s"]), **e["cells"]}]
    return {table: rows for table, rows in made.items() if rows}


@dataclass
class Sheet:
    """A table of the folder that rows are put behind; what stands in it is never touched.

    Attributes
    ----------
    table : Table
        What it may hold.
    path : Path
        The file.
    separator, decimal : str
        As bench.toml declares them.
    header : list of str
        Its column names, or those it will begin with.
    end : str
        Its line end.
    sha : str
        SHA-256 of the bytes that were read; of nothing where there is no file yet.
    """

    table: Table
    path: Path
    separator: str
    decimal: str
    header: list[str]
    end: str
    sha: str

    def text(self, rows: Iterable[Row], before: bytes) -> str:
        """Return rows as they will stand behind some bytes."""
        made = io.StringIO()
        writer = csv.writer(made, delimiter=self.separator, lineterminator=self.end)
        if not before:
            writer.writerow(self.header)
        elif not before.endswith(b"\n"):
            made.write(self.end)
        writer.writerows([self._cells(row) for row in rows])
        return made.getvalue()

    def holds(self, name: str) -> str:
        """Return the header under which a canonical column stands; nothing where there is none."""
        return next((h for h in self.table.column(name).headers if h in self.header), "")

    def form(self, name: str) -> UnitForm | None:
        """Return the unit that the header of a canonical column stands for; None where it is the column's own."""
        return next((f for f in self.table.column(name).forms if f.header == self.holds(name)), None)

    def _cells(self, row: Row) -> list[str]:
        cells: dict[str, str] = {}
        for name, value in row.items():
            header, form = self.holds(name), self.form(name)
            if header and isinstance(value, str):
                cells[header] = value
            elif header:
                number = float(value) if form is None else float(value) / form.factor + form.zero
                cells[header] = f"{number:.10g}".replace(".", self.decimal)
        return [cells.get(header, "") for header in self.header]


def open_sheet(path: Path, table: str, separator: str, decimal: str) -> Sheet:
    """Return a table of the folder as rows will be put behind it.

    Parameters
    ----------
    path : Path
        The file; where there is none, it begins with the columns of `BEGUN`.
    table : str
        Its table in the schema.
    separator, decimal : str
        As bench.toml declares them.

    Returns
    -------
    Sheet
        The table.
    """
    data = _bytes(path)
    first = data.partition(b"\n")[0]
    header = (
        next(csv.reader([first.decode("utf-8-sig")], delimiter=separator), []) if data else list(BEGUN[table])
    )
    end = "\r\n" if first.endswith(b"\r") else "\n"
    return Sheet(TABLES[table], path, separator, decimal, [h.strip() for h in header], end, _hash(data))


def append(journal: Journal, number: int, sheet: Sheet, rows: list[Row], now: Callable[[], datetime]) -> None:
    """Put the rows of a seating behind a table, once.

    Parameters
    ----------
    journal : Journal
        The journal.
    number : int
        Place of the seating in the day.
    sheet : Sheet
        The table.
    rows : list of dict
        Its rows.
    now : callable
        The clock.

    Raises
    ------
    MethodError
        If the file is not as it was read; the journal keeps the seating.
    """
    data = _bytes(sheet.path)
    if _hash(data) != sheet.sha:
        words = f"changed while this ran, so nothing was written to it. {journal.path.name} keeps every"
        then = "Save and close the file where it is open, then run the same line again: the rows are appended"
        message = f"{sheet.path.name}: {words} seating. {then} then."
        raise MethodError(message, code="file_changed")
    text = sheet.text(rows, data)
    said = {"seating": number, "table": sheet.table.name, "file": sheet.path.name}
    told = {"size": len(data), "sha": sheet.sha, "text": text, "separator": sheet.separator}
    journal.add("write", now(), **said, **told, rows=len(rows))
    put_behind(sheet.path, text.encode())
    sheet.sha = _hash(data + text.encode())
    journal.add("written", now(), **said)


def recover(journal: Journal, now: Callable[[], datetime]) -> None:
    """Finish what a killed run had begun to append: whole, and once.

    Parameters
    ----------
    journal : Journal
        The journal.
    now : callable
        The clock.

    Raises
    ------
    MethodError
        If the file was changed since and holds a part of the rows; what to do is said.
    """
    ends = [e for e in journal.entries if e["entry"] in {"write", "written", "unwritten"}]
    if not ends or ends[-1]["entry"] != "write":
        return
    e = ends[-1]
    path = journal.path.parent / e["file"]
    data, wanted = _bytes(path), e["text"].encode()
    tail = data[e["size"] :]
    same = len(data) >= e["size"] and _hash(data[: e["size"]]) == e["sha"]
    outcome = "written"
    if same and wanted.startswith(tail):
        put_behind(path, wanted[len(tail) :])
    elif not (same and tail.startswith(wanted)):
        there = _present(data, e)
        if 0 < there < e["rows"]:
            words = f"changed after a run was cut off, and holds {there} of these {e['rows']} rows"
            then = "Add those that are missing, then run the same line again."
            message = f"{e['file']}: {words}:\n{e['text'].strip()}\n{then}"
            raise MethodError(message, code="file_changed")
        outcome = "written" if there else "unwritten"
    journal.add(outcome, now(), **{key: e[key] for key in ("seating", "table", "file")})


def _present(data: bytes, e: Mapping[str, Any]) -> int:
    """Return how many rows of an entry a file holds, whatever a spreadsheet made of their digits."""

    def plain(cell: str) -> str | float:
        try:
            return float(cell.replace(",", "."))
        except ValueError:
            return cell.strip()

    texts = (io.StringIO(text, newline="") for text in (data.decode("utf-8-sig", "replace"), e["text"]))
    rows = (csv.reader(text, delimiter=e["separator"]) for text in texts)
    found, wanted = ([[plain(cell) for cell in row] for row in lines] for lines in rows)
    return sum(row in found for row in wanted[-e["rows"] :])
