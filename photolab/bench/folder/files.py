"""Finding and loading the files of a bench folder: what is refused before a cell is looked at."""

import contextlib
import csv
import hashlib
import io
import os
import re
import stat
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path

import numpy as np
import numpy.typing as npt

from photolab.bench.terms.faults import Faults, closest, shown
from photolab.bench.terms.schema import FILES, HEADERS, SPELT

WORKBOOK = "bench.xlsx"
MAX_FILE_BYTES = 64 * 1024 * 1024
MAX_COLUMNS = 200
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


def as_rows(file: str, header: list[str], rows: Mapping[int, Sequence[str]]) -> Rows:
    """Return rows, column by column, each different cell once.

    Parameters
    ----------
    file : str
        File they stand in.
    header : list of str
        Column names.
    rows : mapping
        Cells by row number, each row as long as the header.

    Returns
    -------
    Rows
        Header and cells.
    """
    found = []
    for cells in zip(*rows.values(), strict=True) if rows else [()] * len(header):
        seen: dict[str, int] = defaultdict(count().__next__)  # numbers cells as they come
        places = np.fromiter(map(seen.__getitem__, cells), np.int32, len(cells))
        found.append(Cells([word.strip() for word in seen], places))
    return Rows(file, header, found, np.fromiter(rows, np.int64, len(rows)))


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
        code, words, path = absent, "is not in the folder.", self.path / name
        if re.search(r"[/\\:]", name) or name in {"", ".", ".."} or not name.isprintable():
            code = "fault 27"
            words = "is not a plain file name inside the folder; put the file beside bench.toml."
        elif path.exists() or path.is_symlink():
            return True
        self.faults.add(code, file, f'"{shown(name)}" {words}', line=line, column=column)
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
        form = "UTF-8 text" if name.endswith(".toml") else '"CSV UTF-8"'
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            words = f"is UTF-16; save it again as {form}."
        elif not data.strip():
            words = "is empty."
        elif b"\x00" in data:
            words = f"holds zero bytes: it is not a text file, or it is UTF-16; save it as {form}."
        else:
            try:
                return data.decode("utf-8-sig")
            except UnicodeDecodeError as error:
                line = len((data[: error.start] + b".").splitlines())
                words = f"byte 0x{data[error.start]:02x} is not UTF-8; save the file again as {form}."
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
        return None if text is None else take_apart(name, text, separator, self.faults)


def split(text: str, separator: str, first_row: int = 1) -> tuple[list[tuple[str, ...]], str]:
    """Return the cells of separated values, row by row, and why the last rows could not be taken apart.

    Parameters
    ----------
    text : str
        The file, line ends as they are.
    separator : str
        What stands between cells.
    first_row : int, default 1
        Row to begin with.

    Returns
    -------
    list of tuple of str
        The rows up to the one that is broken.
    str
        What breaks that one; blank where none is.
    """
    rows: list[tuple[str, ...]] = []
    try:
        below = islice(io.StringIO(text, newline=""), first_row - 1, None)
        rows.extend(map(tuple, csv.reader(below, delimiter=separator, strict=True)))
    except csv.Error as error:
        return rows, str(error)
    return rows, ""


def take_apart(
    name: str, text: str, separator: str, faults: Faults, *, first_row: int | None = None
) -> Rows | None:
    """Return the header and cells of separated values, or None after a fault.

    Rows that are blank throughout are passed over; they keep their number.

    Parameters
    ----------
    name : str
        File name.
    text : str
        The file, line ends as they are.
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
    line = first_row or 1
    rows, broken = split(text, separator, line)
    header = [cell.strip() for cell in rows[0]] if rows else []
    while first_row and header and not header[-1]:
        header.pop()
    width = len(header)
    if width > MAX_COLUMNS:
        words = f"names {width} columns; {MAX_COLUMNS} or fewer are read."
        faults.add("fault 4", name, words, line=line)
    elif not any(header) and (rows or not broken):
        faults.add("fault 11", name, f"row {line} holds no column names.", line=line)
    elif rows and foreign(name, header, separator, faults, first_row):
        pass  # taken apart otherwise, its rows may be sound
    elif broken:
        words = f"the row cannot be taken apart ({broken}); look for a quotation mark that is not closed."
        faults.add("fault 4", name, words, line=line + len(rows))
    else:
        held = dict(enumerate(rows[1:], start=line + 1))
        sound = all(len(one) == width and one[0] for one in rows)  # as most files are
        for number, cells in [] if sound else [*held.items()]:
            if first_row and not "".join(cells[width:]).strip():
                held[number] = cells = cells[:width]
            blank = not "".join(cells).strip()
            if len(cells) != width and not blank:
                quote = f'; put a cell that holds "{shown(separator)}" in quotation marks'
                why = quote if len(cells) > width else ""
                words = f"{len(cells)} cells where the header names {width}{why}."
                faults.add("fault 4", name, words, line=number)
            if len(cells) != width or blank:
                del held[number]
        return as_rows(name, header, held)
    return None


def foreign(
    name: str, header: Sequence[str], separator: str, faults: Faults, first_row: int | None = None
) -> bool:
    """Return whether another separator than the declared one would take a header apart; then the fault is kept.

    Parameters
    ----------
    name : str
        File name.
    header : sequence of str
        Cells of the first row.
    separator : str
        What stands between cells, as declared.
    faults : Faults
        Collects what is wrong.
    first_row : int, optional
        Row of the header in an instrument's file, whose separator is declared for it alone.

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
        advice = f'write separator = "{spelt}" where bench.toml declares this file' if first_row else advice
        words = f"separated by {_SEPARATORS[mark]}; {advice}."
    if words:
        faults.add("fault 11", name, words, line=first_row or 1)
    return bool(words)
