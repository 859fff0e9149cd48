"""One CSV file, sheet or logger's file to one table: headers matched, cells parsed, every fault kept.

A column is read on its different cells, all at once; only the rows of a cell that cannot be used are looked at.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.folder.files import Cells, Rows
from photolab.bench.terms.cells import (
    CellFault,
    check_number,
    inside,
    parse_clock,
    parse_code,
    parse_date,
    parse_number,
    plain_numbers,
)
from photolab.bench.terms.columns import Integers
from photolab.bench.terms.faults import Faults, closest, hint, shown
from photolab.bench.terms.schema import REFUSED_UNITS, Field, Table, UnitForm

Given = Mapping[str, Any] | pd.DataFrame
NOTHING: Given = {}
Named = dict[str, tuple[int, UnitForm | None]]
"""Position and unit of each column that a file has."""
NOT_USED = "not used: "
"""Begins the name of a column that its file may not hold: no rule takes it for a column of another file."""


def empty_table(table: Table, count: int = 0, given: Given = NOTHING) -> pd.DataFrame:
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
        Its cells, or what is the same in all of them. [unit of the column]

    Returns
    -------
    Series
        NaN for numbers, "" for text where nothing is given.
    """
    held = (np.nan if column.numeric else "") if value is None else getattr(value, "array", value)
    return pd.Series(held, range(count), dtype="float64" if column.numeric else "str")


def read_table(
    table: Table,
    rows: Rows | None,
    faults: Faults,
    *,
    decimal: str = ".",
    theirs: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Return the table a file holds; cells with a fault are NaN or blank, and the fault is kept.

    Parameters
    ----------
    table : Table
        What the file may hold.
    rows : Rows or None
        Its cells; None gives an empty table.
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
        columns as text under names that begin with `NOT_USED`, ``line``.
    """
    if rows is None:
        return empty_table(table)
    named = _named_columns(table, rows, faults)
    broken = (rows.file, "") in faults.lines  # rows there are, and what is wrong with them is said
    if not len(rows.numbers) and table.name == "readings" and not broken:
        faults.add("fault 11", rows.file, "has no rows under the column names.")
    data: dict[str, pd.Series] = {}
    for column in table.columns:
        position, form = named.get(column.name, (-1, None))
        if position < 0:
            data[column.name] = filled(column, len(rows.numbers))
            continue
        header = rows.header[position]
        say = partial(faults.add, file=rows.file, column=(theirs or {}).get(header, header))
        data |= _read_column(rows.columns[position], rows.numbers, column, form, decimal, say)
    used = {position for position, _ in named.values()}
    for position, header in enumerate(rows.header):
        if header and position not in used:
            data[NOT_USED + header] = _spread(rows.columns[position].words, rows.columns[position])
    return pd.DataFrame({**data, "line": rows.numbers}, copy=False)


def _spread(values: list[str], cells: Cells) -> "pd.Series[str]":
    """Return what belongs to the cell of each row."""
    return pd.Series(np.array(values, dtype=object)[cells.places] if values else [], dtype="str")


def _named_columns(table: Table, rows: Rows, faults: Faults) -> Named:
    """Match headers to columns."""
    known = {h: (c.name, f) for c in table.columns for h, f in zip(c.headers, (None, *c.forms), strict=True)}
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
    words = {"time": "elapsed_s", "volts": "socket_V", "bulb": "lamp"}
    words |= dict.fromkeys(("lux", "lx"), "illuminance_lx")
    start = header.casefold().partition(" ")[0].partition("(")[0].strip("_[]")
    return words.get(start) == name or (len(start) > 2 and name.startswith(start))


def _read_column(
    cells: Cells,
    numbers: Integers,
    column: Field,
    form: UnitForm | None,
    decimal: str,
    say: Callable[..., None],
) -> dict[str, pd.Series]:
    """Return a column, and beside it the typed one where another unit was typed; what cannot be used is said."""
    words, wrong = list(cells.words), dict[int, CellFault]()
    rules: dict[str, Callable[[str], Any]] = {
        "date": parse_date, "clock": parse_clock, "code": lambda word: parse_code(word, column),
    }  # fmt: skip
    tried: Iterable[int] = range(len(words)) if column.kind in rules else ()
    if column.numeric:
        typed = plain_numbers(words, decimal)
        values = form.convert(typed) if form else typed
        refused = ~inside(values, column)
        tried = np.flatnonzero(refused).tolist()
        rules[column.kind] = lambda x: check_number(parse_number(x, decimal=decimal), x, column, form)
        values[refused] = typed[refused] = np.nan
    for place in tried:
        word = words[place]
        try:
            words[place] = word and rules[column.kind](word)
        except CellFault as fault:
            words[place], wrong[place] = "", fault
        if words[place] and words[place].lower() != word.lower():
            said = f'"{shown(word)}" is read as {words[place]}.'
            say("caution 35", message=said, line=int(numbers[cells.places == place][0]))
    if column.required:
        blanks = CellFault("blank; a value is wanted in every row.", code="fault 5")
        wrong |= {place: blanks for place, word in enumerate(cells.words) if not word}
    if column.required and wrong and not any(cells.words):
        rows = "both rows" if len(numbers) == 2 else f"all {len(numbers)} rows"
        what = " or ".join(column.wanted.rsplit(", ", 1)) if column.codes else "a value"
        say("fault 5", message=f"blank in {rows}; type {what} into each.", line=int(numbers[0]))
    elif wrong:
        for row in np.flatnonzero(np.isin(cells.places, list(wrong))):
            slip = wrong[int(cells.places[row])]
            say(slip.code, message=str(slip), line=int(numbers[row]))
    if not column.numeric:
        return {column.name: _spread(words, cells)}
    found = {column.name: pd.Series(values[cells.places])}
    return found | {form.header: pd.Series(typed[cells.places])} if form else found
