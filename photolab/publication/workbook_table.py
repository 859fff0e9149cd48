"""The results table as a workbook: results, lamps left out, data dictionary. The same table gives the same bytes."""

import io
import math
import re
import zipfile
from datetime import datetime
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.worksheet.worksheet import Worksheet

from photolab.publication.tables import DICTIONARY

UNDATED = datetime(1980, 1, 1)
"""Date of a table whose bench names no day: the earliest a zip archive can hold."""


def as_workbook(table: pd.DataFrame, left_out: pd.DataFrame, *, last_day: str = "") -> bytes:
    """Return the results table as XLSX bytes.

    Parameters
    ----------
    table : DataFrame
        Results in the columns of `tables.COLUMNS`.
    left_out : DataFrame
        line, lamp, reason.
    last_day : str
        Last date of days.csv, ISO; the workbook is dated with it.

    Returns
    -------
    bytes
        Three sheets; text cells are text, whatever they begin with, and there is no formula.
    """
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    _fill(book.create_sheet("results"), table)
    _fill(book.create_sheet("left out"), left_out)
    words = [(c, DICTIONARY.get(str(c), "")) for c in table.columns]
    _fill(book.create_sheet("data dictionary"), pd.DataFrame(words, columns=["column", "what it is"]))
    return as_bytes(book, last_day)


def as_bytes(book: openpyxl.Workbook, last_day: str) -> bytes:
    """Return a workbook as XLSX bytes, the same for the same cells.

    Parameters
    ----------
    book : Workbook
        The workbook; its properties are set.
    last_day : str
        ISO date that it is dated with; blank where there is none.

    Returns
    -------
    bytes
        The file.
    """
    stamp = datetime.fromisoformat(last_day) if last_day else UNDATED
    book.properties.created = book.properties.modified = stamp
    book.properties.creator = "photolab"
    out = io.BytesIO()
    book.save(out)
    return _undated(out.getvalue(), stamp)


def _fill(sheet: Worksheet, table: pd.DataFrame) -> None:
    """Write a table, header first."""
    for j, name in enumerate(table.columns, start=1):
        _text(sheet, 1, j, str(name))
    for i, row in enumerate(table.itertuples(index=False), start=2):
        for j, value in enumerate(row, start=1):
            write_cell(sheet, i, j, value)
    sheet.freeze_panes = "A2"


def write_cell(sheet: Worksheet, i: int, j: int, value: Any) -> None:
    """Write one value: numbers to 10 digits, text as text, nothing where there is none.

    Parameters
    ----------
    sheet : Worksheet
        Where.
    i, j : int
        Row and column, from 1. [1]
    value : object
        A number, a text, a truth value, NaN or None.
    """
    if isinstance(value, bool | np.bool_):
        _text(sheet, i, j, "yes" if value else "no")
    elif isinstance(value, int | float | np.integer | np.floating):
        number = float(value)
        if math.isinf(number):
            _text(sheet, i, j, "inf")
        elif not math.isnan(number):
            sheet.cell(i, j).value = float(f"{number:.9e}")
    elif value is not None and str(value):
        _text(sheet, i, j, str(value))


def _text(sheet: Worksheet, i: int, j: int, text: str) -> None:
    """Write text that stays text, whatever it begins with."""
    cell = sheet.cell(i, j)
    cell.value = text
    cell.data_type = "s"
    if text.startswith(("=", "+", "-", "@")):
        cell.quotePrefix = True  # it stays text when somebody edits the cell


def _undated(data: bytes, stamp: datetime) -> bytes:
    """Return the archive with one fixed date on every member and in its properties."""
    text = stamp.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"(<dcterms:(?:created|modified)\b[^>]*>)[^<]*", rb"\g<1>" + text, content)
            entry = zipfile.ZipInfo(name, date_time=(*stamp.timetuple()[:6],))
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, content)
    return out.getvalue()
