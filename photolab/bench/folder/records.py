"""Read a bench folder, write one: every fault at once, nothing repaired, nothing guessed."""

import os
from dataclasses import replace
from pathlib import Path

from photolab.bench.folder.attachments import read_photos, read_spectra
from photolab.bench.folder.cautions import cautions, same_cells
from photolab.bench.folder.checks import check_completed, check_order, check_tables
from photolab.bench.folder.completion import complete, lamps_of
from photolab.bench.folder.declared import FILE, Declared, read_toml
from photolab.bench.folder.earlier import read_earlier
from photolab.bench.folder.files import WORKBOOK, Folder, Rows, listing, strays
from photolab.bench.folder.log import join_instruments
from photolab.bench.folder.tables import read_table
from photolab.bench.folder.write import new_folder, write_bench
from photolab.bench.terms.cells import parse_number
from photolab.bench.terms.faults import Problem
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import FILES, TABLES
from photolab.errors import RecordError

Names = tuple[str, ...]
__all__ = ["Problem", "RecordError", "new_folder", "parse_number", "read_bench", "write_bench"]


def read_bench(folder: str | os.PathLike[str], *, before_readings: bool = False) -> Bench:
    """Read a bench folder.

    Parameters
    ----------
    folder : str or path
        The folder with bench.toml and readings.csv.
    before_readings : bool, default False
        Let readings.csv be absent or hold no figure yet: the bench then has no readings, and no cautions of them.

    Returns
    -------
    Bench
        Settings, meters, housings and every table in canonical units.

    Raises
    ------
    RecordError
        If anything is wrong; ``problems`` holds every fault, then every caution found on the way.

    Notes
    -----
    The folder is never changed. Each file may hold 64 MB. Line numbers are rows as a spreadsheet shows them;
    the header is row 1.
    """
    found = Folder(Path(folder))
    faults, names = found.faults, _names(found)
    if WORKBOOK in names:
        # what reads workbooks takes as long as reading a bench
        from photolab.bench.folder.workbook import read_workbook

        declared, rows, names = read_workbook(found, names)
        decimal = "."
    else:
        declared = _declared(found, names)
        rows = {t.name: found.rows(t.file, declared.separator) for t in TABLES.values() if t.file in names}
        decimal = declared.decimal
        found.hashes.pop("plan.csv", None)  # the plan is no input of a result
        readings_typed = rows.get("readings")
        if before_readings and readings_typed is not None and _unread(readings_typed):
            rows["readings"] = None
    tables = {n: read_table(t, rows.get(n), faults, decimal=decimal) for n, t in TABLES.items()}
    if "readings.csv" not in names and not before_readings:
        words = "is not in the folder; it holds lamp and illuminance_lx, one row a reading."
        faults.add("fault 3", "readings.csv", words)
    check_order(tables["warm_up"], "warm_up.csv", faults)
    logs = join_instruments(found, declared, tables)
    spectra = read_spectra(found, tables["spectra"], declared)
    whose = tables["readings" if tables["lamps"].empty else "lamps"]["lamp"]
    earlier = read_earlier(found, declared, whose)
    photos = read_photos(found, tables)
    strays(names, found.hashes, faults)
    check_tables(tables, declared, faults)
    readings = tables["readings"]
    typed = readings.loc[readings["repeat"].notna(), "line"]
    if not faults.faults:  # a cell that cannot be used is blank here: its row may only look like another
        same_cells(tables, faults)
    excluded = complete(tables, declared, faults)
    check_completed(tables, typed, declared, faults)
    if len(readings) and tables["readings"].empty:
        faults.add("fault 11", "readings.csv", "every row is excluded; nothing is left to read.")
    if tables["lamps"].empty:
        tables["lamps"] = lamps_of(tables["readings"])
    if faults.faults:
        raise RecordError(_said(faults.faults, names) + _said(faults.cautions, names))
    bench = Bench(
        found.path.resolve().name, declared.settings, declared.meters, declared.housings, tables,
        tuple(name for name in (WORKBOOK, *FILES) if name in names), excluded, (), found.hashes, spectra,
        tuple(logs), tuple(question for question, _ in declared.questions),
        tuple(figure for figure, _ in declared.their_figures), earlier, photos,
    )  # fmt: skip
    if len(bench.tables["readings"]):
        cautions(bench, faults)
    return replace(bench, warnings=tuple(_said(faults.cautions, names)))


def _names(folder: Folder) -> Names:
    """Return the file names of the folder, or raise where there is no folder to read."""
    path = folder.path
    try:
        if path.is_dir():
            return listing(path, folder.faults)
        why = "is not a folder" if path.exists() else "does not exist"
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "its name cannot be used"
        why = f"cannot be read: {reason.lower()}"
    raise RecordError([Problem("fault 3", path.name or str(path), None, "", f"this folder {why}.")])


def _declared(folder: Folder, names: tuple[str, ...]) -> Declared:
    """Return what bench.toml says; without it, nothing is declared and the fault is kept."""
    if FILE not in names:
        words = "is not in the folder; it holds the meter's accuracy line. photolab new writes one."
        folder.faults.add("fault 3", FILE, words)
        return Declared()
    text = folder.text(FILE)
    return Declared() if text is None else read_toml(text, folder.faults)


def _unread(rows: Rows) -> bool:
    """Return whether no figure stands in any row of readings.csv."""
    columns = zip(rows.header, rows.columns, strict=True)
    return not any("".join(cells.words) for header, cells in columns if header.startswith("illuminance_"))


def _said(problems: list[Problem], names: tuple[str, ...]) -> list[Problem]:
    """Return problems in the order of the files and rows they stand in, by sheet where the folder is a workbook."""
    order = {name: place for place, name in enumerate(FILES)}
    ordered = sorted(problems, key=lambda p: (order.get(p.file, len(order)), p.file, p.line or 0))
    if WORKBOOK not in names:
        return ordered
    from photolab.bench.folder.workbook import by_sheet

    return [by_sheet(problem) for problem in ordered]
