"""One bench.xlsx in place of bench.toml and the CSV files: a sheet a file, a sheet for the keys."""

import io
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time
from itertools import islice
from typing import Any

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from photolab.bench.folder.declared import FILE, INSTRUMENTS, Declared, Lines, Values, declare
from photolab.bench.folder.files import MAX_COLUMNS, WORKBOOK, Folder, Rows, as_rows
from photolab.bench.terms.cells import digits, plain_numbers
from photolab.bench.terms.faults import Faults, Problem, shown
from photolab.bench.terms.schema import FILES, SECTIONS, TABLES, Field, Table

KEY_SHEET = "bench"
KEY_HEADER = ("section", "id", "key", "value", "what it is")
MAX_ROWS = 200_000
MAX_UNPACKED_BYTES = 128 * 1024 * 1024
REPEATED = ("meter", "housing", "question", "their_figure", "our_earlier", *INSTRUMENTS)
"""Sections of the sheet of keys whose rows name an id."""
BROKEN = (
    zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, IndexError, AttributeError, EOFError,
    OSError, SyntaxError, NotImplementedError, OverflowError, RecursionError,
)  # fmt: skip


Names = tuple[str, ...]
Sheet = list[tuple[Any, ...]]
"""Cells of one sheet by row."""


def by_sheet(problem: Problem) -> Problem:
    """Return a problem with the sheet of the workbook in place of the file.

    Parameters
    ----------
    problem : Problem
        A problem of a table or of the keys.

    Returns
    -------
    Problem
        The same, by sheet.
    """
    if problem.file not in FILES:
        return problem
    files = "|".join(map(re.escape, FILES))
    words = re.sub(rf"\b(?:{files})\b", lambda found: f"sheet {found[0].partition('.')[0]}", problem.message)
    return replace(problem, file=f"{WORKBOOK} sheet {problem.file.partition('.')[0]}", message=words)


def read_workbook(folder: Folder, names: Names) -> tuple[Declared, dict[str, Rows | None], Names]:
    """Read bench.xlsx: what it declares, and the cells of its sheets as those of a CSV file each.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    names : tuple of str
        Its file names.

    Returns
    -------
    Declared
        What the sheet of keys says.
    dict
        The cells of each sheet, by the name of its table; None where it holds no row.
    tuple of str
        The workbook and the files its sheets stand for.
    """
    faults, others = folder.faults, [name for name in names if name in FILES]
    if others:
        words = f"stands beside {', '.join(others)}; keep the workbook or the other files, not both."
        faults.add("fault 25", WORKBOOK, words)
    data = folder.load(WORKBOOK)
    sheets = None if data is None else _sheets(data, faults)
    if sheets is None:
        return Declared(), {}, (WORKBOOK, *FILES)
    rows = {table.name: _rows(table, sheets.get(table.name, []), faults) for table in TABLES.values()}
    found = (one.file for one in rows.values() if one is not None)
    return _declared(sheets, faults), rows, (WORKBOOK, FILE, *found)


def _sheets(data: bytes, faults: Faults) -> dict[str, Sheet] | None:
    """Return the cells of every known sheet; a formula's stored value is used, and said."""
    values: dict[str, Sheet] = {}
    formulas: dict[str, Sheet] = {}
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as parts, warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions, which are not read
            if sum(part.file_size for part in parts.infolist()) > MAX_UNPACKED_BYTES:
                size = f"{MAX_UNPACKED_BYTES // 2**20} MB"
                words = f"unpacks to more than {size}; keep fewer rows and no pictures."
                faults.add("fault 3", WORKBOOK, words)
                return None
            with_values, with_formulas = (
                openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=only, keep_links=False)
                for only in (True, False)
            )
            for name in with_values.sheetnames:
                sheet: Any = with_values[name]
                if name not in {KEY_SHEET, *TABLES} or not hasattr(sheet, "reset_dimensions"):
                    faults.add("caution 30", WORKBOOK, f"sheet {shown(name)} is not read.")
                    continue
                values[name] = _cells(sheet, faults)
                formulas[name] = list(islice(_streamed(with_formulas[name]), len(values[name])))
                text = parts.read(sheet._worksheet_path).decode("utf-8", "replace")
                if hidden := ", ".join(_hidden(sheet, text)):
                    faults.add("caution 39", _file(name), f"hidden, and read all the same: {hidden}.")
    except BROKEN as error:
        faults.add("fault 3", WORKBOOK, f"cannot be read as a workbook: {shown(str(error))}.")
        return None
    for name, sheet in formulas.items():
        header, *_ = values[name] or [()]
        for number, (row, stored) in enumerate(zip(sheet, values[name], strict=False), start=1):
            for place, cell in enumerate(row):
                value = stored[place] if place < len(stored) else None
                formula = isinstance(cell, ArrayFormula | DataTableFormula) or str(cell).startswith("=")
                if not formula or value == cell:  # equal text is no formula
                    continue
                code, words = "caution 33", f"a formula; its stored value {shown(str(value))} is used."
                if value is None:
                    code = "fault 13"
                    words = "a formula without a stored value; save the workbook in a spreadsheet, or type the value."
                column = str(header[place]) if place < len(header) else ""
                faults.add(code, _file(name), words, line=number, column=column)
    return values


def _file(sheet: str) -> str:
    """Return the file that a sheet stands for."""
    return FILE if sheet == KEY_SHEET else f"{sheet}.csv"


def _streamed(sheet: Any) -> Iterator[tuple[Any, ...]]:
    """Return the rows of a sheet one after the other, whatever size it says it has."""
    sheet.reset_dimensions()
    return iter(sheet.iter_rows(values_only=True))


def _cells(sheet: Any, faults: Faults) -> Sheet:
    """Return the rows of a sheet, as many as are read."""
    held: Sheet = []
    for row in _streamed(sheet):
        if len(held) == MAX_ROWS or len(row) > MAX_COLUMNS:
            why = f"{MAX_ROWS} rows" if len(held) == MAX_ROWS else f"{MAX_COLUMNS} columns"
            faults.add("fault 3", WORKBOOK, f"sheet {sheet.title} has more than {why}.")
            break
        held.append(row)
    return held


def _hidden(sheet: Any, text: str) -> Iterator[str]:
    """Yield what a spreadsheet hides of a sheet; openpyxl leaves it out where it streams the rows."""
    if sheet.sheet_state != "visible":
        yield "the whole sheet"
    tags = [tag for tag in re.findall(r"<(?:row|col) [^>]*>", text) if re.search(r'\bhidden="(1|true)"', tag)]
    rows = re.findall(r'<row [^>]*?\br="(\d+)"', "".join(tags))
    columns = re.findall(r'<col [^>]*?\bmin="(\d+)"', "".join(tags))
    if rows:
        yield f"row {rows[0]}" if len(rows) == 1 else f"{len(rows)} rows from {rows[0]} to {rows[-1]}"
    yield from (f"column {get_column_letter(int(number))}" for number in columns)


def _text(cell: Any) -> str:
    """Return a cell as it would stand in a CSV file."""
    if isinstance(cell, float):
        return digits(cell)
    if isinstance(cell, datetime) and cell.time() == time(0):
        cell = cell.date()
    text = "" if cell is None else str(cell).strip()  # a date and a time in ISO form
    return text.upper() if isinstance(cell, bool) else text


def _rows(table: Table, sheet: Sheet, faults: Faults) -> Rows | None:
    """Return the rows of one sheet, or None where it holds no row below its header."""
    header = [_text(cell) for cell in sheet[0]] if sheet else []
    while header and not header[-1]:
        header.pop()
    numeric = {name for column in table.columns if column.numeric for name in column.headers}
    kept: dict[int, list[str]] = {}
    for number, cells in enumerate(sheet[1:], start=2):
        row = [_text(cell) for cell in cells]
        if not any(row):
            continue
        if any(row[len(header) :]):
            faults.add("fault 4", table.file, "cells beyond the last named column.", line=number)
        for name, cell in zip(header, cells, strict=False):
            if name in numeric and isinstance(cell, str) and _is_number(cell.strip()):
                words = "is text that looks like a number; format the cell as a number."
                said = f'"{shown(cell.strip())}" {words}'
                faults.add("fault 13", table.file, said, line=number, column=name)
        kept[number] = (row + [""] * len(header))[: len(header)]
    return as_rows(table.file, header, kept) if kept else None


def _is_number(text: str) -> bool:
    """Whether a text would pass as a number."""
    return not math.isnan(plain_numbers([text])[0])


def _declared(sheets: dict[str, Sheet], faults: Faults) -> Declared:
    """Return what the sheet of keys declares."""
    if KEY_SHEET not in sheets:
        words = "is not in the workbook; it holds section, id, key and value, one row a key."
        faults.add("fault 3", FILE, words)
        return Declared()
    given: Values = {}
    lines: Lines = {}
    for number, row in enumerate(sheets[KEY_SHEET][1:], start=2):
        section, identity, name, value = (*row, None, None, None, None)[:4]
        if value is not None and _text(value) != "":
            _place(given, lines, (_text(section), _text(identity), _text(name)), value, number, faults)
    for name in REPEATED:
        if isinstance(given.get(name), dict):
            given[name] = list(given[name].values())
            for held in given[name]:
                factors = held.get("spectral_factor")
                if isinstance(factors, dict) and all(isinstance(part, dict) for part in factors.values()):
                    held["spectral_factor"] = [{"technology": name, **part} for name, part in factors.items()]
    return declare(given, lines, faults)


def _place(
    given: Values, lines: Lines, where: tuple[str, str, str], value: Any, row: int, faults: Faults
) -> None:
    """Put one value where bench.toml would have it."""
    section, identity, name = where
    path, index, target = section, 0, _within(given, section) if section else given
    if section in REPEATED:
        if not identity:
            words = f"blank beside {shown(name)}; every row of a {section} names its id."
            faults.add("fault 5", FILE, words, line=row, column="id")
            return
        # a section without a key of that name is told apart by its number on the sheet
        own = {"id": identity} if any(key.name == "id" for key in SECTIONS[section]) else {}
        entities, target = target, target.setdefault(identity, own)
        index = list(entities).index(identity)
    *above, part = name.split(".")
    for outer in above:
        lines.setdefault((path, index, outer), row)
        target = _within(target, outer)
        path = path if "." in path else f"{path}.{outer}"
    if part != "id" or section not in REPEATED:
        target[part] = _value(path, part, value)
    lines[path, index, part] = row


def _within(table: Values, name: str) -> Values:
    """Return the table of a name inside another one; where a value stands in its place, one that nobody reads."""
    held = table.setdefault(name, {})
    return held if isinstance(held, dict) else {}


def _value(section: str, name: str, value: Any) -> Any:
    """Return a cell as TOML would hold it: lists from text with commas, dates as dates, text as text."""
    key = next((key for key in SECTIONS.get(section, ()) if key.name == name), None)
    kind = key.kind if key else ""
    if isinstance(value, datetime) and kind == "date":
        return value.date()
    if kind == "list" and key and isinstance(value, str):
        parts = list(filter(None, re.split(r"[\s,;\[\]]+", value)))
        listed = all(map(_is_number, parts)) and len(parts) > key.one_will_do
        return [float(part) for part in parts] if listed else value
    if kind == "list" and key and not key.one_will_do and isinstance(value, int | float):
        return [value]
    if kind == "codes":
        return list(filter(None, re.split(r"[\s,;]+", _text(value))))
    if kind == "flag" and _text(value).lower() in {"yes", "true", "no", "false"}:
        return _text(value).lower() in {"yes", "true"}
    words = kind in {"text", "code"} or section.endswith(".columns")
    return _text(value) if words and not isinstance(value, bool) else value


def starter_workbook() -> bytes:
    """Return a workbook to fill in: keys with what they are, a sheet a table, notes, drop-downs for codes."""
    book = openpyxl.Workbook()
    sheet: Any = book.active
    sheet.title = KEY_SHEET
    sheet.append(KEY_HEADER)
    filled: dict[tuple[str, str], Any] = {
        ("", "schema"): 1, ("bench", "name"): "my bench", ("bench", "protocol_revision"): "1",
        ("meter", "id"): "M1",
    }  # fmt: skip
    for number, (section, identity, key) in enumerate(_keys(), start=2):
        sheet.append((section, identity, key.name, filled.get((section, key.name)), key.note))
        _drop_down(sheet, key, f"D{number}")
    for letter, width in zip("ABCDE", (10, 8, 34, 22, 90), strict=True):
        sheet.column_dimensions[letter].width = width
    _head(sheet)
    for table in TABLES.values():
        sheet = book.create_sheet(table.name)
        sheet.append(table.names)
        for place, column in enumerate(table.columns, start=1):
            letter = get_column_letter(place)
            sheet.column_dimensions[letter].width = max(10, len(column.name) + 2)
            sheet[f"{letter}1"].comment = Comment(f"{column.note}. Example: {column.example}", "photolab")
            _drop_down(sheet, column, f"{letter}2:{letter}2000")
        if table.name in {"readings", "lamps"}:
            sheet["A2"], sheet["A3"] = "A1", "A2"
        if table.name == "lamps":
            sheet["C2"], sheet["C3"] = "baseline", "candidate"
        _head(sheet)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _keys() -> Iterator[tuple[str, str, Field]]:
    """Every key a workbook may hold: section, an id to start with, the key."""
    kinds = {"": "", "bench": "", "links": "", "meter": "M1", "housing": "H1", "question": "1"}
    for section, identity in (kinds | dict.fromkeys(INSTRUMENTS, "1")).items():
        for key in SECTIONS[section]:
            if key.kind not in {"table", "tables"}:
                yield section, identity, key
    for key in SECTIONS["meter.certificate"]:
        yield "meter", "M1", replace(key, name=f"certificate.{key.name}")
    for key in SECTIONS["meter.spectral_factor"][1:]:
        yield "meter", "M1", replace(key, name=f"spectral_factor.led.{key.name}")
    for column in ("elapsed_s", "illuminance_lx", "displayed_C"):
        about = f"the logger's name of the column for {column}"
        yield "log", "1", Field(f"columns.{column}", "text", "", about, "Lux")


def _drop_down(sheet: Any, column: Field, cells: str) -> None:
    """Offer the codes of a column or key, where a list that commas part can hold them."""
    if column.kind == "code" and not {",", "\t"} & set(column.codes):
        rule = DataValidation(type="list", formula1=f'"{",".join(column.codes)}"', allow_blank=True)
        rule.add(cells)
        sheet.add_data_validation(rule)


def _head(sheet: Any) -> None:
    """Make the header stand out and stay."""
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
