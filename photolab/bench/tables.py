"""One CSV file, sheet or logger's file to one table: headers matched, cells parsed, every fault kept.

A column is read on its different cells, all at once; only the rows of a cell that cannot be used are looked at.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.cells import (
    CellFault,
    check_number,
    inside,
    parse_clock,
    parse_code,
    parse_date,
    parse_number,
    plain_numbers,
)
from photolab.bench.faults import Faults, closest, hint, shown
from photolab.bench.files import Cells, Rows
from photolab.bench.schema import REFUSED_UNITS, Field, Table, UnitForm

NOTHING: Mapping[str, Any] = {}
Named = dict[str, tuple[int, UnitForm | None]]
"""Position and unit of each column that a file has."""


def empty_table(
    table: Table, count: int = 0, given: Mapping[str, Any] | pd.DataFrame = NOTHING
) -> pd.DataFrame:
    """Return a table that has every column, and nothing in it but what is given.

    Parameters
    ----------
    table : Table
        Which one.
    count : int, default 0
        Rows.
    given : mapping or DataFrame, optional
        Columns, or one value for all rows of a column; those that the table does not have are left out.

    Returns
    -------
    DataFrame
        NaN for numbers, "" for text, 0 for ``line`` where nothing is given.
    """
    columns = {c.name: filled(c, count, given.get(c.name)) for c in table.columns}
    return pd.DataFrame({**columns, "line": np.asarray(given.get("line", np.zeros(count, dtype=np.int64)))})


def filled(column: Field, count: int, value: Any = None) -> "pd.Series[float] | pd.Series[str]":
    """Return a column with what it holds.

    Parameters
    ----------
    column : Field
        Which one.
    count : int
        Rows.
    value : array_like or scalar, optional
        Its cells, or what is the same in all of them.

    Returns
    -------
    Series
        NaN for numbers, "" for text where nothing is given.
    """
    held = (np.nan if column.numeric else "") if value is None else getattr(value, "array", value)
    return pd.Series(held, range(count), dtype="float64" if column.numeric else "str")


def read_table(
    table: Table, rows: Rows, faults: Faults, *, decimal: str = ".", theirs: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Return the table a file holds; cells with a fault are NaN or blank, and the fault is kept.

    Parameters
    ----------
    table : Table
        What the file may hold.
    rows : Rows
        Its cells.
    faults : Faults
        Collects what is wrong.
    decimal : str
        Decimal mark, as bench.toml declares it.
    theirs : mapping, optional
        How the file itself calls a column, by our header.

    Returns
    -------
    DataFrame
        Every column of the schema in canonical units, typed values in other units beside them, unknown
        columns as text, ``line``.
    """
    named = _named_columns(table, rows, faults)
    if not len(rows.numbers) and table.name == "readings":
        faults.add("fault 11", rows.file, "has no rows under the column names.")
    data: dict[str, pd.Series] = {}
    for column in table.columns:
        position, form = named.get(column.name, (-1, None))
        if position < 0:
            data[column.name] = filled(column, len(rows.numbers))
            continue
        header = rows.header[position]
        reader = _Reader(rows, column, form, faults, decimal, (theirs or {}).get(header, header))
        data |= reader.series(rows.columns[position])
    used = {position for position, _ in named.values()}
    for position, header in enumerate(rows.header):
        if header and position not in used:
            data[header] = _spread(rows.columns[position].words, rows.columns[position])
    return pd.DataFrame({**data, "line": rows.numbers}, copy=False)


def varying(table: pd.DataFrame, columns: Iterable[str]) -> list[str]:
    """Return the columns in which rows differ: those that tell one row from another.

    Parameters
    ----------
    table : DataFrame
        The rows.
    columns : iterable of str
        Columns to look at.

    Returns
    -------
    list of str
        Columns; the first, where there is one, if rows differ in none.
    """
    every = list(columns)
    cells = {c: table[c].to_numpy() for c in every} if len(table) else {}
    same = {c for c, x in cells.items() if (x == x[0]).all() or (pd.isna(x[0]) and pd.isna(x).all())}
    return [c for c in every if c not in same] or every[:1]


def _spread(values: list[str], cells: Cells) -> "pd.Series[str]":
    """Return what belongs to the cell of each row."""
    return pd.Series(np.array(values, dtype=object)[cells.places] if values else [], dtype="str")


def _named_columns(table: Table, rows: Rows, faults: Faults) -> Named:
    """Match headers to columns."""
    known: dict[str, tuple[str, UnitForm | None]] = {}
    for column in table.columns:
        known[column.name] = (column.name, None)
        known |= {form.header: (column.name, form) for form in column.forms}
    named: Named = {}
    refused: set[str] = set()
    for position, header in enumerate(rows.header):
        canonical, form = known.get(header, ("", None))
        code, words = "fault 4", ""
        if not header:
            filled = any(rows.columns[position].words)
            words = f"column {position + 1} has cells and no name." if filled else ""
        elif header in rows.header[:position]:
            words = f"{shown(header)} is named twice."
        elif header == "line":
            words = "line is kept for the row number; give the column another name."
        elif canonical in named:
            other = rows.header[named[canonical][0]]
            code, words = "fault 25", f"both {other} and {header}; keep one of them."
        elif canonical:
            named[canonical] = (position, form)
        else:
            column_meant, code, words = _unknown(header, table, known)
            refused.add(column_meant)
        if words:
            faults.add(code, rows.file, words, line=1)
    found = ", ".join(shown(header) for header in rows.header[:12] if header)
    strange = [header for header in rows.header if header and header not in known]
    for column in table.columns:
        if column.required and column.name not in named and column.name not in refused:
            alike = any(closest(h, column.headers) or _same_start(h, column.name) for h in strange)
            ask = f" Did you mean {column.name}?" if alike else ""
            name = " or ".join(column.headers) if column.name == "elapsed_s" else column.name
            faults.add("fault 10", rows.file, f"no column {name}; found {found}.{ask}", line=1)
    return named


def _unknown(header: str, table: Table, known: Mapping[str, object]) -> tuple[str, str, str]:
    """Return the column an unknown header stands in for, if its unit is the fault, and what to say of it."""
    stem, _, ending = header.rpartition("_")
    for column in table.columns:
        own_stem, _, own_ending = column.name.rpartition("_")
        words = REFUSED_UNITS.get(own_ending, {}).get(ending)
        if words and stem == own_stem and stem:
            said = f"{shown(header)}: {words}; convert, and name the column {' or '.join(column.headers)}."
            return column.name, "fault 23", said
    ask = hint(header, known, " Did you mean {}?")
    return "", "caution 30", f"{shown(header)} is not a column of this file; kept as text, not used.{ask}"


def _same_start(header: str, name: str) -> bool:
    """Whether a foreign header begins as a known name's first or last part does (Lux (lx), Time [s])."""
    words = {
        "lux": "illuminance_lx",
        "lx": "illuminance_lx",
        "time": "elapsed_s",
        "volts": "socket_V",
        "bulb": "lamp",
    }
    start = header.casefold().partition(" ")[0].partition("(")[0].strip("_[]")
    return words.get(start) == name or (len(start) > 2 and name.startswith(start))


class _Reader:
    """Parses the different cells of one column."""

    def __init__(
        self, rows: Rows, column: Field, form: UnitForm | None, faults: Faults, decimal: str, header: str
    ) -> None:
        self.rows, self.column, self.form = rows, column, form
        self.faults, self.decimal, self.header = faults, decimal, header

    def series(self, cells: Cells) -> dict[str, pd.Series]:
        """Return the canonical column, and the typed one where another unit was typed."""
        wrong: dict[int, CellFault] = {}
        if self.column.required and "" in cells.words:
            blanks = CellFault("blank; a value is wanted in every row.", code="fault 5")
            wrong = {place: blanks for place, word in enumerate(cells.words) if not word}
        if self.column.numeric:
            found = self._numbers(cells, wrong)
        else:
            found = {self.column.name: _spread(self._texts(cells, wrong), cells)}
        if wrong:
            self._say(cells, wrong)
        return found

    def _numbers(self, cells: Cells, wrong: dict[int, CellFault]) -> dict[str, pd.Series]:
        typed = plain_numbers(cells.words, self.decimal)
        values = self.form.convert(typed) if self.form else typed
        refused = ~inside(values, self.column)
        for place in map(int, np.flatnonzero(refused)):
            word = cells.words[place]
            try:
                if word:
                    check_number(parse_number(word, decimal=self.decimal), word, self.column, self.form)
            except CellFault as fault:
                wrong[place] = fault
        values[refused] = typed[refused] = np.nan
        found = {self.column.name: pd.Series(values[cells.places])}
        return found | {self.form.header: pd.Series(typed[cells.places])} if self.form else found

    def _texts(self, cells: Cells, wrong: dict[int, CellFault]) -> list[str]:
        rules: dict[str, Callable[[str], str]] = {
            "date": parse_date, "clock": parse_clock, "code": lambda word: parse_code(word, self.column),
        }  # fmt: skip
        rule, words = rules.get(self.column.kind), list(cells.words)
        for place, word in enumerate(cells.words):
            if not word or rule is None:
                continue
            try:
                words[place] = rule(word)
            except CellFault as fault:
                words[place], wrong[place] = "", fault
            if words[place].lower() != word.lower() and words[place]:
                row = int(self.rows.numbers[cells.places == place][0])
                said = f'"{shown(word)}" is read as {words[place]}.'
                self.faults.add("caution 35", self.rows.file, said, line=row, column=self.header)
        return words

    def _say(self, cells: Cells, wrong: dict[int, CellFault]) -> None:
        """Keep a fault for every row of a cell that cannot be used."""
        count = len(cells.places)
        if self.column.required and not any(cells.words):
            rows = "both rows" if count == 2 else f"all {count} rows"
            what = " or ".join(self.column.wanted.rsplit(", ", 1)) if self.column.codes else "a value"
            words, first = f"blank in {rows}; type {what} into each.", int(self.rows.numbers[0])
            self.faults.add("fault 5", self.rows.file, words, line=first, column=self.header)
            return
        for row in np.flatnonzero(np.isin(cells.places, list(wrong))):
            fault = wrong[int(cells.places[row])]
            line = int(self.rows.numbers[row])
            self.faults.add(fault.code, self.rows.file, str(fault), line=line, column=self.header)
