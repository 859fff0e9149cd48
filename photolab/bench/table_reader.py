"""One CSV file to one table: headers matched, cells parsed, ranges checked, every fault kept."""

import math
from collections.abc import Callable
from functools import cache
from typing import TypeVar

import numpy as np
import pandas as pd

from photolab.bench.cells import CellFault, check_range, parse_clock, parse_date, parse_number
from photolab.bench.faults import Faults, closest, shown
from photolab.bench.files import Rows
from photolab.bench.schema import NAN, REFUSED_UNITS, Column, Table, UnitForm, unit_forms

T = TypeVar("T")


def empty_table(table: Table) -> pd.DataFrame:
    """Return a table without rows that has every column.

    Parameters
    ----------
    table : Table
        Which one.

    Returns
    -------
    DataFrame
        No rows, every column.
    """
    return _template(table).copy()


@cache
def _template(table: Table) -> pd.DataFrame:
    """Build an empty table once."""
    data = {c.name: pd.Series([], dtype="float64" if c.numeric else "str") for c in table.columns}
    return pd.DataFrame({**data, "line": pd.Series([], dtype="int64")})


def read_table(table: Table, rows: Rows, faults: Faults, *, decimal: str = ".") -> pd.DataFrame:
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

    Returns
    -------
    DataFrame
        Every column of the schema in canonical units, typed values in other units beside them, unknown
        columns as text, ``line``.
    """
    named = _named_columns(table, rows, faults)
    if not rows.numbers and table.name == "readings":
        faults.add("fault 11", rows.file, "has no rows under the column names.")
    cells, count = rows.columns, len(rows.numbers)
    data: dict[str, pd.Series] = {}
    for column in table.columns:
        position, form = named.get(column.name, (-1, None))
        if position < 0:
            fill = np.full(count, np.nan) if column.numeric else [""] * count
            data[column.name] = pd.Series(fill, dtype="float64" if column.numeric else "str")
            continue
        reader = _Reader(rows, column, form, faults, decimal)
        data.update(reader.series(cells[position]))
    for position, header in enumerate(rows.header):
        if header and all(position != place for place, _ in named.values()):
            data[header] = pd.Series(list(cells[position]), dtype="str")
    return pd.DataFrame({**data, "line": pd.Series(rows.numbers, dtype="int64")})


def _named_columns(table: Table, rows: Rows, faults: Faults) -> dict[str, tuple[int, UnitForm | None]]:
    """Match headers to columns: name -> (position, unit form)."""
    known: dict[str, tuple[str, UnitForm | None]] = {}
    for column in table.columns:
        known[column.name] = (column.name, None)
        known.update({form.header: (column.name, form) for form in unit_forms(column.name)})
    named: dict[str, tuple[int, UnitForm | None]] = {}
    seen: dict[str, int] = {}
    refused: set[str] = set()
    for position, header in enumerate(rows.header):
        if not header:
            if any(rows.columns[position]):
                faults.add("fault 4", rows.file, f"column {position + 1} has cells and no name.", line=1)
        elif header in seen or header == "line":
            why = (
                "is named twice"
                if header in seen
                else "is kept for the row number; give the column another name"
            )
            faults.add("fault 4", rows.file, f"{shown(header)} {why}.", line=1)
        elif header in known:
            canonical, form = known[header]
            if canonical in named:
                other = rows.header[named[canonical][0]]
                faults.add("fault 25", rows.file, f"both {other} and {header}; keep one of them.", line=1)
            named.setdefault(canonical, (position, form))
        else:
            refused |= _unknown(header, table, rows, known, faults)
        seen.setdefault(header, position)
    _missing(table, rows, known, named, refused, faults)
    return named


def _unknown(
    header: str, table: Table, rows: Rows, known: dict[str, tuple[str, UnitForm | None]], faults: Faults
) -> set[str]:
    """Report a header that is not ours; return the column it stands in for, if its unit is the fault."""
    stem, _, ending = header.rpartition("_")
    for column in table.columns:
        own_stem, _, own_ending = column.name.rpartition("_")
        words = REFUSED_UNITS.get(own_ending, {}).get(ending)
        if words and stem == own_stem and stem:
            choices = " or ".join([column.name, *(form.header for form in unit_forms(column.name))])
            faults.add(
                "fault 23",
                rows.file,
                f"{shown(header)}: {words}; convert, and name the column {choices}.",
                line=1,
            )
            return {column.name}
    near = closest(header, known)
    hint = f" Did you mean {near}?" if near else ""
    faults.add(
        "caution 30",
        rows.file,
        f"{shown(header)} is not a column of this file; kept as text, not used.{hint}",
        line=1,
    )
    return set()


def _missing(
    table: Table,
    rows: Rows,
    known: dict[str, tuple[str, UnitForm | None]],
    named: dict[str, tuple[int, UnitForm | None]],
    refused: set[str],
    faults: Faults,
) -> None:
    """Report required columns that are not there."""
    found = ", ".join(shown(header) for header in rows.header[:12] if header)
    for column in table.columns:
        if not column.required or column.name in named or column.name in refused:
            continue
        unknown = [header for header in rows.header if header and header not in known]
        forms = [column.name, *(form.header for form in unit_forms(column.name))]
        alike = any(closest(header, forms) or _same_start(header, column.name) for header in unknown)
        hint = f" Did you mean {column.name}?" if alike else ""
        name = " or ".join(forms) if column.name == "elapsed_s" else column.name
        faults.add("fault 10", rows.file, f"no column {name}; found {found}.{hint}", line=1)


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
    """Parses the cells of one column."""

    def __init__(
        self, rows: Rows, column: Column, form: UnitForm | None, faults: Faults, decimal: str
    ) -> None:
        self.rows = rows
        self.column = column
        self.form = form
        self.header = form.header if form else column.name
        self.faults = faults
        self.decimal = decimal

    def series(self, cells: tuple[str, ...]) -> dict[str, pd.Series]:
        """Return the canonical column, and the typed one where another unit was typed."""
        if not self.column.numeric:
            parse = self._text_rule()
            values = self._each(cells, parse, "")
            return {self.column.name: pd.Series(values, dtype="str")}
        pairs = self._each(cells, self._number, (NAN, NAN))
        canonical = pd.Series([pair[0] for pair in pairs], dtype="float64")
        if self.form is None:
            return {self.column.name: canonical}
        typed = pd.Series([pair[1] for pair in pairs], dtype="float64")
        return {self.column.name: canonical, self.header: typed}

    def _each(self, cells: tuple[str, ...], parse: Callable[[str], T], blank: T) -> list[T]:
        """Parse each different cell once; a fault is kept for every row that has it."""
        known: dict[str, T] = {}
        wrong: dict[str, CellFault] = {}
        for typed in dict.fromkeys(cells):
            try:
                known[typed] = parse(typed) if typed else blank
            except CellFault as fault:
                known[typed], wrong[typed] = blank, fault
        if self.column.required and "" in known:
            wrong[""] = CellFault("blank; a value is wanted in every row.", code="fault 5")
        if cells and self.column.required and set(known) == {""}:
            rows = "both rows" if len(cells) == 2 else f"all {len(cells)} rows"
            words = f"blank in {rows}; type a value into each."
            self.faults.add("fault 5", self.rows.file, words, line=self.rows.numbers[0], column=self.header)
        elif wrong:
            for typed, line in zip(cells, self.rows.numbers, strict=True):
                if typed in wrong:
                    found = wrong[typed]
                    self.faults.add(found.code, self.rows.file, str(found), line=line, column=self.header)
        return [known[typed] for typed in cells]

    def _number(self, typed: str) -> tuple[float, float]:
        value = parse_number(typed, decimal=self.decimal)
        canonical = self.form.convert(value) if self.form else value
        unit = self.form.unit if self.form else self.column.unit
        if not math.isfinite(canonical):
            words = f'"{shown(typed)}" is too large for a number.'
            raise CellFault(words, code="fault 14")
        check_range(value, typed, unit, self.column, canonical)
        return canonical, value

    def _text_rule(self) -> Callable[[str], str]:
        rules = {"date": parse_date, "clock": parse_clock, "code": self._code}
        return rules.get(self.column.kind, str)

    def _code(self, typed: str) -> str:
        if typed in self.column.codes:
            return typed
        near = closest(typed, self.column.codes)
        hint = f'; closest is "{near}"' if near else ""
        words = f'"{shown(typed)}" is not one of {", ".join(self.column.codes)}{hint}.'
        raise CellFault(words, code="fault 12")
