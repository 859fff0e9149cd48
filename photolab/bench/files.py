"""Finding and loading the files of a bench folder: what is refused before a cell is looked at."""

import contextlib
import csv
import hashlib
import io
import os
import re
import stat
from collections import defaultdict, deque
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path
from typing import TextIO

import numpy as np
import numpy.typing as npt

from photolab.bench.faults import Faults, closest, shown
from photolab.bench.schema import FILES, HEADERS, SPELT

WORKBOOK = "bench.xlsx"
MAX_FILE_BYTES = 64 * 1024 * 1024
MAX_COLUMNS = 200
BLOCK = 500
"""Rows taken apart in one go; of thousands, the memory to be looked after would cost more than the reading."""
_DOUBLED = re.compile(r"(.+\.(?:csv|toml|xlsx))(?:\.(?:csv|txt|toml|xlsx|xls|tsv))+", re.IGNORECASE)
_SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}


@dataclass(frozen=True, eq=False)
class Cells:
    """One column: the different cells, without surrounding spaces, and which of them stands in each row."""

    words: list[str]
    places: npt.NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Rows:
    """The cells of one file; ``numbers`` are rows as a spreadsheet shows them."""

    file: str
    header: list[str]
    columns: list[Cells]
    numbers: npt.NDArray[np.int64]


def as_rows(file: str, header: list[str], blocks: Iterable[list[list[str]]], numbers: Iterable[int]) -> Rows:
    """Return rows, column by column, each different cell once.

    Parameters
    ----------
    file : str
        File they stand in.
    header : list of str
        Column names.
    blocks : iterable of list
        Rows, some at a time, each as long as the header.
    numbers : iterable of int
        Their row numbers; taken after the blocks.

    Returns
    -------
    Rows
        Header and cells.
    """
    seen: list[dict[str, int]] = [defaultdict(count().__next__) for _ in header]  # numbers cells as they come
    parts = [[np.empty(0, np.int32)] for _ in header]
    for block in blocks:
        for number, held, cells in zip(seen, parts, zip(*block, strict=True), strict=bool(block)):
            held.append(np.fromiter(map(number.__getitem__, cells), np.int32, len(cells)))
    columns = zip(seen, parts, strict=True)
    found = [Cells([word.strip() for word in number], np.concatenate(held)) for number, held in columns]
    return Rows(file, header, found, np.fromiter(numbers, np.int64))


def listing(folder: Path, faults: Faults) -> tuple[str, ...]:
    """Return the file names of the folder, with faults for doubled endings and near misses.

    Parameters
    ----------
    folder : Path
        The bench folder.
    faults : Faults
        Collects what is wrong.

    Returns
    -------
    tuple of str
        File names, sorted.
    """
    names = sorted(path.name for path in folder.iterdir())
    known = {*FILES, WORKBOOK}
    for name in names:
        low, doubled = name.lower(), _DOUBLED.fullmatch(name)
        if doubled and doubled[1].lower() in known:
            faults.add("fault 3", name, f"a doubled ending; rename the file {doubled[1].lower()}.")
        elif name not in known and low in known and low not in names:
            faults.add("fault 3", name, f"small letters are wanted; rename the file {low}.")
        elif low.endswith((".xlsx", ".xls", ".xlsm", ".ods")) and low != WORKBOOK and name[0] not in ".~":
            others = {"bench.toml", WORKBOOK} & set(names)
            words = f"this workbook is not read; one that stands for the files is named {WORKBOOK}."
            faults.add("caution 30" if others else "fault 3", name, words)
    return tuple(names)


def strays(names: Collection[str], read: Collection[str], faults: Faults) -> None:
    """Keep a caution for files that are not read and carry nearly the name of one that would be.

    Parameters
    ----------
    names : collection of str
        File names of the folder.
    read : collection of str
        Files that were read.
    faults : Faults
        Collects what is wrong.
    """
    for name in names:
        near = closest(name, FILES, cutoff=0.8)
        if name.lower().endswith((".csv", ".toml")) and near and near not in names and name not in read:
            faults.add("caution 30", name, f"this file is not read; did you mean {near}?")


@dataclass(frozen=True, eq=False)
class Folder:
    """A bench folder that is being read.

    Attributes
    ----------
    path : Path
        Where it is.
    faults : Faults
        Collects what is wrong.
    hashes : dict
        SHA-256 of what was read, by file name.
    """

    path: Path
    faults: Faults = field(default_factory=Faults)
    hashes: dict[str, str] = field(default_factory=dict)

    def holds(
        self, name: str, file: str, *, line: int | None = None, column: str = "", absent: str = "fault 3"
    ) -> bool:
        """Return whether a name is that of a file inside the folder; a path, or no file, is kept as a fault.

        Parameters
        ----------
        name : str
            The name as declared.
        file : str
            Where it is declared.
        line : int, optional
            Row there.
        column : str
            Column or key there.
        absent : str, default "fault 3"
            Code of a file that is not there.

        Returns
        -------
        bool
            Whether there is something to open.
        """
        code, words, path = absent, f'"{shown(name)}" is not in the folder.', self.path / name
        if re.search(r"[/\\:]", name) or name in {"", ".", ".."} or not name.isprintable():
            words = (
                f'"{shown(name)}" is not a plain file name inside the folder; put the file beside bench.toml.'
            )
            code = "fault 27"
        elif path.exists() or path.is_symlink():
            return True
        self.faults.add(code, file, words, line=line, column=column)
        return False

    def load(self, name: str) -> bytes | None:
        """Return the bytes of one plain file of the folder and note its SHA-256, or None after a fault.

        Parameters
        ----------
        name : str
            File name.

        Returns
        -------
        bytes or None
            What the file holds.
        """
        path, words = self.path / name, ""
        try:
            status = os.lstat(path)
            if stat.S_ISLNK(status.st_mode):
                words = "is a link; put the file itself into the folder."
            elif not stat.S_ISREG(status.st_mode):
                words = "is not a plain file."
            else:
                with path.open("rb") as stream:
                    data = stream.read(MAX_FILE_BYTES + 1)
                if len(data) > MAX_FILE_BYTES:
                    found, wanted = f"{status.st_size / 2**20:.0f} MB", f"{MAX_FILE_BYTES // 2**20} MB"
                    words = f"is too large: {found}; wanted {wanted} or less."
        except OSError as error:
            words = f"cannot be read: {(error.strerror or 'unknown reason').lower()}."
        if words:
            self.faults.add("fault 3", name, words)
            return None
        self.hashes[name] = hashlib.sha256(data).hexdigest()
        return data

    def text(self, name: str) -> str | None:
        """Return the text of a file (UTF-8, a BOM is fine), or None after a fault.

        Parameters
        ----------
        name : str
            File name.

        Returns
        -------
        str or None
            The text.
        """
        data, line = self.load(name), None
        if data is None:
            return None
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            words = 'is UTF-16; save it again as "CSV UTF-8".'
        elif not data.strip():
            words = "is empty."
        elif b"\x00" in data:
            words = "holds zero bytes: it is not a text file, or it is UTF-16; save it as CSV UTF-8."
        else:
            try:
                return data.decode("utf-8-sig")
            except UnicodeDecodeError as error:
                line = data.count(b"\n", 0, error.start) + 1
                words = f'byte 0x{data[error.start]:02x} is not UTF-8; save the file again as "CSV UTF-8".'
        self.faults.add("fault 11", name, words, line=line)
        return None

    def text_as_it_is(self, name: str) -> tuple[str, str] | None:
        """Return the text of an instrument's file and how it was read, or None after a fault.

        Parameters
        ----------
        name : str
            File name.

        Returns
        -------
        tuple of str or None
            The text, and UTF-8, UTF-16 or Latin-1: bytes that are no UTF-8 are read as that.
        """
        data = self.load(name)
        if data is None:
            return None
        even, odd = (data[start:400:2].count(0) for start in (0, 1))
        tried = {"utf-8-sig": "UTF-8", "latin-1": "Latin-1"}
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            tried = {"utf-16": "UTF-16"}
        elif even + odd:  # every second byte of plain words is zero: that tells the order of bytes
            tried = {"utf-16-le" if odd > even else "utf-16-be": "UTF-16"}
        for encoding, said in tried.items():
            with contextlib.suppress(UnicodeDecodeError):
                text = data.decode(encoding)
                if text.strip() and "\x00" not in text:
                    return text, said
        words = "is no text; a file of numbers in words is wanted." if data.strip() else "is empty."
        self.faults.add("fault 11", name, words)
        return None

    def rows(self, name: str, separator: str) -> Rows | None:
        """Return the header and cells of a separated-values file, or None after a fault.

        Parameters
        ----------
        name : str
            File name.
        separator : str
            What stands between cells.

        Returns
        -------
        Rows or None
            Header and cells.
        """
        text = self.text(name)
        return (
            None if text is None else take_apart(name, io.StringIO(text, newline=""), separator, self.faults)
        )


def take_apart(
    name: str, lines: TextIO, separator: str, faults: Faults, *, first_row: int | None = None
) -> Rows | None:
    """Return the header and cells of separated values, or None after a fault.

    Rows that are blank throughout are passed over; they keep their number.

    Parameters
    ----------
    name : str
        File name.
    lines : text stream
        The file from its beginning, line ends as they are.
    separator : str
        What stands between cells.
    faults : Faults
        Collects what is wrong.
    first_row : int, optional
        Row of the column names in an instrument's file: rows above it are titles, and blank cells beyond the last
        name are passed over.

    Returns
    -------
    Rows or None
        Header and cells.
    """
    instrument, first_row = first_row is not None, first_row or 1
    deque(islice(lines, first_row - 1), maxlen=0)
    reader = csv.reader(lines, delimiter=separator, strict=True)
    numbers: list[range | list[int]] = []
    before = first_row
    header: list[str] = []

    def blocks() -> Iterable[list[list[str]]]:
        nonlocal before
        width = len(header)
        while block := list(islice(reader, BLOCK)):
            kept: range | list[int] = range(before + 1, before + len(block) + 1)
            before += len(block)
            if instrument:
                block = [cells if "".join(cells[width:]).strip() else cells[:width] for cells in block]
            if not all(len(cells) == width and cells[0] for cells in block):
                held = [(n, cells) for n, cells in zip(kept, block, strict=True) if "".join(cells).strip()]
                for n, cells in held:
                    if len(cells) != width:
                        _wrong_count(name, n, len(cells), width, separator, faults)
                kept = [n for n, cells in held if len(cells) == width]
                block = [cells for _, cells in held if len(cells) == width]
            numbers.append(kept)
            yield block

    try:
        header = [cell.strip() for cell in next(reader, [])]
        while instrument and header and not header[-1]:
            header.pop()
        if not any(header):
            faults.add("fault 11", name, f"row {first_row} holds no column names.", line=first_row)
            return None
        if len(header) > MAX_COLUMNS:
            words = f"names {len(header)} columns; {MAX_COLUMNS} or fewer are read."
            faults.add("fault 4", name, words, line=first_row)
            return None
        if foreign(name, header, separator, faults, instrument=instrument, line=first_row):
            return None
        return as_rows(name, header, blocks(), (n for part in numbers for n in part))
    except csv.Error as error:
        words = f"the row cannot be taken apart ({error}); look for a quotation mark that is not closed."
        lines.seek(0)
        whole = csv.reader(islice(lines, first_row - 1, None), delimiter=separator, strict=True)
        number = first_row
        with contextlib.suppress(csv.Error):
            while next(whole, None) is not None:
                number += 1
        faults.add("fault 4", name, words, line=number)
        return None


def _wrong_count(name: str, number: int, found: int, wanted: int, separator: str, faults: Faults) -> None:
    """Keep a fault for a row that does not match its header."""
    why = f'; put a cell that holds "{shown(separator)}" in quotation marks' if found > wanted else ""
    faults.add("fault 4", name, f"{found} cells where the header names {wanted}{why}.", line=number)


def foreign(
    name: str, header: list[str], separator: str, faults: Faults, *, instrument: bool = False, line: int = 1
) -> bool:
    """Return whether another separator than the declared one would take a header apart; then the fault is kept.

    Parameters
    ----------
    name : str
        File name.
    header : list of str
        Cells of the first row.
    separator : str
        What stands between cells, as declared.
    faults : Faults
        Collects what is wrong.
    instrument : bool, default False
        The file is an instrument's, whose separator is declared for it alone.
    line : int, default 1
        Row of the header.

    Returns
    -------
    bool
        Whether it is at fault.
    """
    joined = (separator if separator in _SEPARATORS else " ").join(header)
    words = ""
    others = [mark for mark in _SEPARATORS if mark != separator and mark in joined]
    if joined.lower().startswith("sep="):
        words = f'the first row is "{shown(joined)}"; delete it, the first row names the columns.'
    elif len(header) <= 2 and others and not set(header) & HEADERS:
        mark = max(others, key=joined.count)
        spelt = {mark: word for word, mark in SPELT.items()}.get(mark, mark)
        advice = {
            ",": "take separator out of bench.toml, or save with the declared separator",
            ";": 'declare [csv] separator = ";" and decimal = "," in bench.toml, or save with commas and points',
        }.get(mark, "save with commas and points")
        advice = f'write separator = "{spelt}" where bench.toml declares this file' if instrument else advice
        words = f"separated by {_SEPARATORS[mark]}; {advice}."
    if words:
        faults.add("fault 11", name, words, line=line)
    return bool(words)
