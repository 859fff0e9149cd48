"""Finding and loading the files of a bench folder: what is refused before a cell is looked at."""

import csv
import hashlib
import io
import os
import re
import stat
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from photolab.bench.faults import Faults, closest, shown
from photolab.bench.schema import FILES, HEADERS, MAX_FILE_BYTES

_DOUBLED = re.compile(r"(.+\.(?:csv|toml|xlsx))(?:\.(?:csv|txt|toml|xlsx|xls|tsv))+", re.IGNORECASE)


@dataclass(frozen=True)
class Rows:
    """The cells of one file without surrounding spaces; ``numbers`` are rows as a spreadsheet shows them."""

    file: str
    header: list[str]
    columns: list[tuple[str, ...]]
    numbers: list[int]


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
    for name in names:
        doubled = _DOUBLED.fullmatch(name)
        if doubled and doubled[1].lower() in FILES:
            faults.add("fault 3", name, f"a doubled ending; rename the file {doubled[1].lower()}.")
            continue
        if name in FILES or not name.lower().endswith((".csv", ".toml")):
            continue
        if name.lower() in FILES and name.lower() not in names:
            faults.add("fault 3", name, f"small letters are wanted; rename the file {name.lower()}.")
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


def load(folder: Path, name: str, faults: Faults, hashes: dict[str, str]) -> bytes | None:
    """Return the bytes of one plain file of the folder and note its SHA-256, or None after a fault.

    Parameters
    ----------
    folder : Path
        The bench folder.
    name : str
        File name.
    faults : Faults
        Collects what is wrong.
    hashes : dict
        Receives the SHA-256 of what is read, by file name.

    Returns
    -------
    bytes or None
        What the file holds.
    """
    path = folder / name
    try:
        status = os.lstat(path)
        if stat.S_ISLNK(status.st_mode):
            faults.add("fault 3", name, "is a link; put the file itself into the folder.")
            return None
        if not stat.S_ISREG(status.st_mode):
            faults.add("fault 3", name, "is not a plain file.")
            return None
        if status.st_size <= MAX_FILE_BYTES:
            with path.open("rb") as stream:
                data = stream.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        faults.add("fault 3", name, f"cannot be read: {(error.strerror or 'unknown reason').lower()}.")
        return None
    if status.st_size > MAX_FILE_BYTES or len(data) > MAX_FILE_BYTES:
        found = f"{status.st_size / 2**20:.0f} MB"
        faults.add("fault 3", name, f"is too large: {found}; wanted {MAX_FILE_BYTES // 2**20} MB or less.")
        return None
    hashes[name] = hashlib.sha256(data).hexdigest()
    return data


def decode(name: str, data: bytes, faults: Faults) -> str | None:
    """Return the text of a file (UTF-8, a BOM is fine), or None after a fault.

    Parameters
    ----------
    name : str
        File name.
    data : bytes
        What it holds.
    faults : Faults
        Collects what is wrong.

    Returns
    -------
    str or None
        The text.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.add("fault 11", name, 'is UTF-16; save it again as "CSV UTF-8".')
        return None
    if not data.strip():
        faults.add("fault 11", name, "is empty.")
        return None
    if b"\x00" in data:
        faults.add(
            "fault 11",
            name,
            "holds zero bytes: it is not a text file, or it is UTF-16; save it as CSV UTF-8.",
        )
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = f"byte 0x{data[error.start]:02x}"
        faults.add("fault 11", name, f'{byte} is not UTF-8; save the file again as "CSV UTF-8".', line=line)
        return None


def split(name: str, text: str, separator: str, faults: Faults, *, first_row: int = 1) -> Rows | None:
    """Return the header and cells of a separated-values text, or None after a fault.

    Rows that are blank throughout are passed over; they keep their number.

    Parameters
    ----------
    name : str
        File name.
    text : str
        What it holds.
    separator : str
        What stands between cells.
    faults : Faults
        Collects what is wrong.
    first_row : int, default 1
        Row of the column names.

    Returns
    -------
    Rows or None
        Header and cells.
    """
    header: list[str] = []
    flat: list[str] = []  # one list, cell after cell: 100 000 small lists would cost more than reading them
    numbers: list[int] = []
    number = 0
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for number, cells in enumerate(reader, start=1):
            if number <= first_row:
                header = [cell.strip() for cell in cells]
                if number == first_row and _foreign(name, header, separator, faults):
                    return None
            elif len(cells) == len(header) and (cells[0] or "".join(cells).strip()):
                flat += cells
                numbers.append(number)
            elif "".join(cells).strip():
                _wrong_count(name, number, len(cells), len(header), separator, faults)
    except csv.Error as error:
        words = f"the row cannot be taken apart ({error}); look for a quotation mark that is not closed."
        faults.add("fault 4", name, words, line=number + 1)
        return None
    if number < first_row or not any(header):
        faults.add("fault 11", name, f"row {first_row} holds no column names.", line=first_row)
        return None
    width = len(header)
    return Rows(name, header, [tuple(map(str.strip, flat[place::width])) for place in range(width)], numbers)


def _wrong_count(name: str, number: int, found: int, wanted: int, separator: str, faults: Faults) -> None:
    """Keep a fault for a row that does not match its header."""
    why = f'; put a cell that holds "{shown(separator)}" in quotation marks' if found > wanted else ""
    faults.add("fault 4", name, f"{found} cells where the header names {wanted}{why}.", line=number)


def _foreign(name: str, header: list[str], separator: str, faults: Faults) -> bool:
    """Report a header that another separator than the declared one would take apart."""
    words = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "bars"}
    joined = (separator if separator in words else " ").join(header)
    if joined.lower().startswith("sep="):
        message = f'the first row is "{shown(joined)}"; delete it, the first row names the columns.'
        faults.add("fault 11", name, message, line=1)
        return True
    others = [mark for mark in words if mark != separator and mark in joined]
    if len(header) > 2 or not others or set(header) & HEADERS:
        return False
    mark = max(others, key=joined.count)
    if mark == "," and separator != ",":
        advice = "take separator out of bench.toml, or save with the declared separator"
    elif mark == ";":
        advice = (
            'declare [csv] separator = ";" and decimal = "," in bench.toml, or save with commas and points'
        )
    else:
        advice = "save with commas and points"
    faults.add("fault 11", name, f"separated by {words[mark]}; {advice}.", line=1)
    return True
