"""The results table as a workbook: results, lamps left out, data dictionary. The same table gives the same bytes."""

import io
import math
import zipfile
from datetime import datetime
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.cell import Cell, MergedCell
from openpyxl.writer.excel import ExcelWriter

from photolab.metrology.reporting import shortened
from photolab.publication.report.tables import DICTIONARY

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
    words = [(c, DICTIONARY.get(str(c), "")) for c in table.columns]
    about = pd.DataFrame(words, columns=["column", "what it is"])
    for title, rows in {"results": table, "left out": left_out, "data dictionary": about}.items():
        sheet = book.create_sheet(title)
        for i, row in enumerate([tuple(rows.columns), *rows.itertuples(index=False, name=None)], start=1):
            for j, value in enumerate(row, start=1):
                write_cell(sheet.cell(i, j), value)
        sheet.freeze_panes = "A2"
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
    out, dated = io.BytesIO(), io.BytesIO()
    ExcelWriter(book, zipfile.ZipFile(out, "w")).save()  # `book.save` would put the clock into its properties
    with zipfile.ZipFile(out) as old, zipfile.ZipFile(dated, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            entry = zipfile.ZipInfo(name, date_time=(*stamp.timetuple()[:6],))
            new.writestr(entry, old.read(name), zipfile.ZIP_DEFLATED)
    return dated.getvalue()


def write_cell(cell: Cell | MergedCell, value: Any) -> Any:
    """Write one value: numbers to 10 digits, text as text whatever it begins with, nothing where there is none.

    Parameters
    ----------
    cell : Cell
        Where.
    value : object
        A number, a text, a truth value, NaN or None.

    Returns
    -------
    object
        What stands there now.
    """
    if isinstance(value, bool | np.bool_):
        value = "yes" if value else "no"
    elif isinstance(value, int | float | np.integer | np.floating):
        number = float(value)
        value = None if math.isnan(number) else shortened(number)
    if isinstance(value, float) and math.isfinite(value):
        cell.value = value
    elif value is not None and (text := str(value)):
        cell.value, cell.data_type = text, "s"
        if text.startswith(("=", "+", "-", "@")):
            cell.quotePrefix = True  # it stays text when somebody edits the cell
    return cell.value
