"""Files other tables point to: spectra, and loggers' files as they are."""

import math
import re
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.cells import CellFault, check_range, parse_number
from photolab.bench.checks import check_order
from photolab.bench.faults import Faults, closest, shown
from photolab.bench.files import Rows, decode, load, split
from photolab.bench.model import Log, Spectrum
from photolab.bench.schema import NAN, SPECTRUM_FILE, TABLES, Column, UnitForm, unit_forms
from photolab.bench.table_reader import empty_table, read_table
from photolab.bench.toml_reader import Declared
from photolab.bench.toml_section import FILE

LARGEST_STEP_NM = 10.0
PREVIEW_ROWS = 5


def plain_name(name: str, file: str, faults: Faults, *, line: int | None = None, column: str = "") -> bool:
    """Whether a name is that of a file inside the folder; a path is kept as a fault.

    Parameters
    ----------
    name : str
        What was typed.
    file : str
        File it was typed in.
    faults : Faults
        Collects what is wrong.
    line : int, optional
        Row it was typed in.
    column : str
        Column it was typed in.

    Returns
    -------
    bool
        Whether it is.
    """
    if re.search(r"[/\\:]", name) or name in {"", ".", ".."} or not name.isprintable():
        words = f'"{shown(name)}" is not a plain file name inside the folder; put the file beside bench.toml.'
        faults.add("fault 27", file, words, line=line, column=column)
        return False
    return True


def read_spectra(
    folder: Path, table: pd.DataFrame, declared: Declared, faults: Faults, hashes: dict[str, str]
) -> dict[str, Spectrum]:
    """Return the spectra that spectra.csv lists, by name.

    Parameters
    ----------
    folder : Path
        The bench folder.
    table : DataFrame
        Rows of spectra.csv.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects what is wrong.
    hashes : dict
        Receives the SHA-256 of what is read, by file name.

    Returns
    -------
    dict
        Spectra by name.
    """
    found: dict[str, Spectrum] = {}
    for row in table.to_dict("records"):
        name, line = str(row["file"]), int(row["line"])
        if not name or not plain_name(name, "spectra.csv", faults, line=line, column="file"):
            continue
        if not (folder / name).exists() and not (folder / name).is_symlink():
            faults.add(
                "fault 3", "spectra.csv", f'"{shown(name)}" is not in the folder.', line=line, column="file"
            )
            continue
        data = load(folder, name, faults, hashes)
        text = None if data is None else decode(name, data, faults)
        rows = None if text is None else split(name, text, declared.separator, faults)
        if rows is None:
            continue
        values = read_table(SPECTRUM_FILE, rows, faults, decimal=declared.decimal)
        _check_spectrum(values, name, faults)
        found[str(row["name"])] = Spectrum(
            str(row["kind"]), str(row["lamp"]), str(row["meter"]),
            values["wavelength_nm"].to_numpy(dtype=float), values["value"].to_numpy(dtype=float),
        )  # fmt: skip
    return found


def _check_spectrum(values: pd.DataFrame, name: str, faults: Faults) -> None:
    """Keep the faults of a spectrum: order, step, nothing in it."""
    wavelength, lines = values["wavelength_nm"].to_numpy(dtype=float), values["line"].to_numpy()
    steps = np.diff(wavelength)
    for row in np.flatnonzero(steps <= 0):
        words = f"{wavelength[row + 1]:g} after {wavelength[row]:g}; wavelengths must increase."
        faults.add("fault 18", name, words, line=int(lines[row + 1]), column="wavelength_nm")
    for row in np.flatnonzero(steps > LARGEST_STEP_NM):
        words = f"a step of {steps[row]:g} nm to {wavelength[row + 1]:g} nm; wanted 10 nm or less."
        faults.add("fault 14", name, words, line=int(lines[row + 1]), column="wavelength_nm")
    if len(values) < 2:
        faults.add("fault 11", name, "a spectrum needs two rows or more.")
    elif not values["value"].to_numpy(dtype=float).any():
        faults.add("fault 14", name, "every value is 0; wanted a spectrum.", column="value")


def read_logs(
    folder: Path, declared: Declared, faults: Faults, hashes: dict[str, str]
) -> tuple[list[Log], pd.DataFrame]:
    """Return the logger files as declared, and their rows as rows of warm_up.

    Parameters
    ----------
    folder : Path
        The bench folder.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects what is wrong.
    hashes : dict
        Receives the SHA-256 of what is read, by file name.

    Returns
    -------
    list of Log
        The files as declared.
    DataFrame
        Their rows.
    """
    logs: list[Log] = []
    tables: list[pd.DataFrame] = []
    for values in declared.logs:
        name = values["file"]
        if None in values.values() or not plain_name(name, FILE, faults, column="log.file"):
            continue
        if not (folder / name).exists() and not (folder / name).is_symlink():
            faults.add("fault 3", FILE, f'log "{shown(name)}" is not in the folder.')
            continue
        data = load(folder, name, faults, hashes)
        text = None if data is None else decode(name, data, faults)
        rows = (
            None
            if text is None
            else split(name, text, values["separator"], faults, first_row=values["first_row"])
        )
        if rows is None:
            continue
        table = _log_rows(rows, values, faults)
        check_order(table, name, faults)
        tables.append(table)
        preview = table[["elapsed_s", *(c for c in values["columns"] if c in table and c != "elapsed_s")]]
        logs.append(Log(**values, preview=preview.head(PREVIEW_ROWS)))
    return logs, pd.concat(tables, ignore_index=True) if tables else empty_table(TABLES["warm_up"])


def _log_rows(rows: Rows, values: dict[str, Any], faults: Faults) -> pd.DataFrame:
    """Translate a logger's rows by the declared columns."""
    table = TABLES["warm_up"]
    forms: dict[str, tuple[Column, UnitForm | None]] = {c.name: (c, None) for c in table.columns if c.numeric}
    forms.update({f.header: (c, f) for c in table.columns if c.numeric for f in unit_forms(c.name)})
    count = len(rows.numbers)
    data: dict[str, Any] = {c.name: np.full(count, NAN) if c.numeric else [""] * count for c in table.columns}
    given: set[str] = set()
    for ours, theirs in values["columns"].items():
        place = _place(ours, theirs, rows, forms, faults)
        if place is None:
            continue
        column, form = forms[ours]
        if column.name in given:
            faults.add(
                "fault 25", FILE, f'log "{shown(rows.file)}": two columns for {column.name}; keep one.'
            )
            continue
        given.add(column.name)
        cells = rows.columns[place]
        data[column.name] = _log_column(cells, rows, str(theirs), column, form, values, faults)
    for required in ("elapsed_s", "illuminance_lx"):
        if required not in given:
            faults.add(
                "fault 10",
                FILE,
                f'log "{shown(rows.file)}": no column of the logger is declared for {required}.',
            )
    data["run"], data["lamp"] = [values["run"] or ""] * count, [values["lamp"] or ""] * count
    frame = pd.DataFrame({**data, "line": rows.numbers})
    kinds = {c.name: "float64" if c.numeric else "str" for c in table.columns}
    typed = frame.astype({**kinds, "line": "int64"})
    after = ~(typed["elapsed_s"] < 0)  # rows before switch-on do not belong to the run
    return typed[after].assign(log_file=rows.file).reset_index(drop=True)


def _place(ours: str, theirs: Any, rows: Rows, forms: dict[str, Any], faults: Faults) -> int | None:
    """Return the position of a declared logger column, or None after a fault."""
    if ours not in forms:
        near = closest(ours, forms)
        hint = f" Did you mean {near}?" if near else ""
        faults.add("fault 2", FILE, f"log.columns.{shown(ours)} is not a number column of warm_up.{hint}")
        return None
    places = [place for place, header in enumerate(rows.header) if header == theirs]
    if len(places) == 1:
        return places[0]
    listed = ", ".join(shown(header) for header in rows.header[:12])
    why = "is named twice" if places else "is not there"
    faults.add("fault 10", rows.file, f'column "{shown(str(theirs))}" for {ours} {why}; found {listed}.')
    return None


def _log_column(
    cells: tuple[str, ...],
    rows: Rows,
    header: str,
    column: Column,
    form: UnitForm | None,
    values: dict[str, Any],
    faults: Faults,
) -> list[float]:
    """Parse one logger column; times are counted from switch-on."""
    is_time = column.name == "elapsed_s"
    zero = 0.0
    start = values["switched_on"]
    if is_time and start:
        try:
            zero = _instant(start, form, values["decimal"])
        except CellFault as fault:
            faults.add(fault.code, FILE, f"log.switched_on: {fault}")
    elif is_time and cells and _clock_seconds(cells[0]) is not None:
        faults.add(
            "fault 8", FILE, f'log "{shown(rows.file)}": its times are clock times; write switched_on.'
        )
        return [NAN] * len(cells)
    found = []
    for cell, line in zip(cells, rows.numbers, strict=True):
        value = NAN
        try:
            if is_time:
                value = _instant(cell, form, values["decimal"]) - zero
            elif cell or column.required:
                typed = parse_number(cell, decimal=values["decimal"])
                value = form.convert(typed) if form else typed
                check_range(typed, cell, form.unit if form else column.unit, column, value)
        except CellFault as fault:
            faults.add(fault.code, rows.file, str(fault), line=line, column=header)
        found.append(value)
    return found


def _instant(cell: str, form: UnitForm | None, decimal: str) -> float:
    """Return a logger's time in seconds: a number, a clock time, or an ISO date and time."""
    clock = _clock_seconds(cell)
    if clock is not None:
        return clock
    number = parse_number(cell, decimal=decimal)
    return form.convert(number) if form else number


def _clock_seconds(cell: str) -> float | None:
    """Return the seconds of a clock time or an ISO date and time, or None for anything else."""
    clock = re.fullmatch(r"([01]?[0-9]|2[0-3]):([0-5][0-9]):([0-5][0-9](?:\.[0-9]+)?)", cell.strip())
    if clock:
        return 3600.0 * int(clock[1]) + 60.0 * int(clock[2]) + float(clock[3])
    if not re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]", cell.strip()):
        return None
    try:
        moment = datetime.fromisoformat(cell.strip())
    except ValueError:
        return None  # no clock; where one is wanted the caller keeps a fault
    seconds = (moment.replace(tzinfo=None) - datetime(2000, 1, 1)).total_seconds()
    return seconds if math.isfinite(seconds) else None
