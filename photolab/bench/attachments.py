"""Files other tables point to: spectra, and loggers' files as they are."""

import contextlib
import math
import re
from datetime import datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from photolab.bench.cells import CellFault, parse_number
from photolab.bench.checks import check_order
from photolab.bench.declared import FILE, Declared, Values
from photolab.bench.faults import Faults, hint, shown
from photolab.bench.files import Cells, Rows, load_rows
from photolab.bench.model import Log, Spectrum
from photolab.bench.schema import SPECTRUM_FILE, TABLES, Table, UnitForm, unit_forms
from photolab.bench.tables import empty_table, read_table

LARGEST_STEP_NM = 10.0
VISIBLE_NM = (380.0, 780.0)
PREVIEW_ROWS = 5
LOGGED = Table("warm_up", "a logger's file", tuple(c for c in TABLES["warm_up"].columns if c.numeric))


def in_folder(
    folder: Path, name: str, absent: str, faults: Faults, file: str, line: int | None = None
) -> bool:
    """Return whether a name is that of a file inside the folder; a path, or no file, is kept as a fault.

    Parameters
    ----------
    folder : Path
        The bench folder.
    name : str
        As it was typed.
    absent : str
        What is said where there is no such file.
    faults : Faults
        Collects what is wrong.
    file : str
        File that names it.
    line : int, optional
        Where; None for a logger's file.

    Returns
    -------
    bool
        Whether it may be read.
    """
    if re.search(r"[/\\:]", name) or name in {"", ".", ".."} or not name.isprintable():
        words = f'"{shown(name)}" is not a plain file name inside the folder; put the file beside bench.toml.'
        faults.add("fault 27", file, words, line=line, column="file" if line else "log.file")
        return False
    if not (folder / name).exists() and not (folder / name).is_symlink():
        faults.add("fault 3", file, absent, line=line, column="file" if line else "")
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
        name = str(row["file"])
        absent = f'"{shown(name)}" is not in the folder.'
        if not name or not in_folder(folder, name, absent, faults, "spectra.csv", int(row["line"])):
            continue
        rows = load_rows(folder, name, declared.separator, faults, hashes)
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
    """Keep the faults of a spectrum: order, step, cover, nothing in it."""
    wavelength, lines = values["wavelength_nm"].to_numpy(dtype=float), values["line"].to_numpy()
    steps = np.diff(wavelength)
    for row in np.flatnonzero((steps <= 0) | (steps > LARGEST_STEP_NM)):
        code, words = (
            "fault 14",
            f"a step of {steps[row]:g} nm to {wavelength[row + 1]:g} nm; wanted 10 nm or less.",
        )
        if steps[row] <= 0:
            code = "fault 18"
            words = f"{wavelength[row + 1]:g} after {wavelength[row]:g}; wavelengths must increase."
        faults.add(code, name, words, line=int(lines[row + 1]), column="wavelength_nm")
    if len(values) < 2:
        faults.add("fault 11", name, "a spectrum needs two rows or more.")
    elif not values["value"].to_numpy(dtype=float).any():
        faults.add("fault 14", name, "every value is 0; wanted a spectrum.", column="value")
    elif wavelength[0] > VISIBLE_NM[0] or wavelength[-1] < VISIBLE_NM[1]:
        words = f"covers {wavelength[0]:g} to {wavelength[-1]:g} nm; wanted 380 to 780 nm, all that is seen."
        faults.add("caution 34", name, words, column="wavelength_nm")


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
        absent = f'log "{shown(name or "")}" is not in the folder.'
        if None in values.values() or not in_folder(folder, name, absent, faults, FILE):
            continue
        first = values["first_row"]
        rows = load_rows(folder, name, values["separator"], faults, hashes, first_row=first)
        if rows is None:
            continue
        table = _log_rows(rows, values, faults)
        check_order(table, name, faults)
        tables.append(table)
        preview = table[["elapsed_s", *(c for c in values["columns"] if c in table and c != "elapsed_s")]]
        logs.append(Log(**values, preview=preview.head(PREVIEW_ROWS)))
    return logs, pd.concat(tables, ignore_index=True) if tables else empty_table(TABLES["warm_up"])


def _log_rows(rows: Rows, values: Values, faults: Faults) -> pd.DataFrame:
    """Return a logger's rows as rows of warm_up, by the declared columns, from switch-on."""
    log = f'log "{shown(rows.file)}"'
    headers = {header: column.name for column in LOGGED.columns for header in column.headers}
    listed = ", ".join(shown(header) for header in rows.header[:12])
    places: dict[str, int] = {}
    for ours, theirs in values["columns"].items():
        count = rows.header.count(theirs)
        if ours not in headers:
            near = hint(ours, headers, " Did you mean {}?")
            faults.add("fault 2", FILE, f"log.columns.{shown(ours)} is not a number column of warm_up.{near}")
        elif headers[ours] in (headers[other] for other in places):
            faults.add("fault 25", FILE, f"{log}: two columns for {headers[ours]}; keep one.")
        elif count != 1:
            why = "is named twice" if count else "is not there"
            words = f'column "{shown(str(theirs))}" for {ours} {why}; found {listed}.'
            faults.add("fault 10", rows.file, words)
        else:
            places[ours] = rows.header.index(theirs)
    given = {headers[ours] for ours in values["columns"] if ours in headers}
    for name in ("elapsed_s", "illuminance_lx"):
        if name not in given:
            faults.add("fault 10", FILE, f"{log}: no column of the logger is declared for {name}.")
    columns = {ours: rows.columns[place] for ours, place in places.items()}
    time = next((ours for ours in columns if headers[ours] == "elapsed_s"), "")
    seconds = _seconds(columns.pop(time), time, values, log, faults) if time else None
    if seconds is None or "illuminance_lx" not in {headers[ours] for ours in columns}:
        return empty_table(TABLES["warm_up"]).assign(log_file="")
    columns["elapsed_s"], before = seconds
    kept = ~before[columns["elapsed_s"].places]  # rows before switch-on do not belong to the run
    held = [Cells(cells.words, cells.places[kept]) for cells in columns.values()]
    theirs = {**values["columns"], "elapsed_s": values["columns"][time]}
    read = read_table(
        LOGGED,
        Rows(rows.file, list(columns), held, rows.numbers[kept]),
        faults,
        decimal=values["decimal"],
        theirs=theirs,
    )
    filled = {c: read[c] for c in (*LOGGED.names, "line")}
    named = {name: pd.Series(values[name], read.index, dtype="str") for name in ("run", "lamp")}
    return empty_table(TABLES["warm_up"], len(read)).assign(**filled, **named, log_file=rows.file)


def _seconds(
    cells: Cells, header: str, values: Values, log: str, faults: Faults
) -> tuple[Cells, npt.NDArray[np.bool_]] | None:
    """Return a logger's times as seconds from switch-on, as text, and which come before it.

    What is not a time stays as it is; None where clock times have no switch-on.
    """
    form = next((f for f in unit_forms("elapsed_s") if f.header == header), None)
    decimal, start, zero = values["decimal"], values["switched_on"], 0.0
    if start:
        try:
            zero = _instant(start, form, decimal)
        except CellFault as fault:
            faults.add(fault.code, FILE, f"log.switched_on: {fault}")
    elif cells.words and _clock_seconds(cells.words[0]) is not None:
        faults.add("fault 8", FILE, f"{log}: its times are clock times; write switched_on.")
        return None
    words, before = list(cells.words), np.zeros(len(cells.words), dtype=bool)
    for place, word in enumerate(words):
        with contextlib.suppress(CellFault):
            elapsed = _instant(word, form, decimal) - zero
            words[place], before[place] = repr(elapsed + 0.0).replace(".", decimal), elapsed < 0.0
    return Cells(words, cells.places), before


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
