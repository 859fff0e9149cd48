"""Write a bench folder: whole or not at all, and the smallest one for a beginner."""

import math
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import tomli_w

from photolab.bench.folder.declared import FILE, read_toml
from photolab.bench.folder.files import WORKBOOK
from photolab.bench.folder.tables import NOT_USED
from photolab.bench.terms.cells import digits
from photolab.bench.terms.faults import Faults, Problem
from photolab.bench.terms.model import Bench, Meter
from photolab.bench.terms.schema import EARLIER_FILE, SECTIONS, SPECTRUM_FILE, TABLES, Table
from photolab.errors import RecordError


def write_bench(bench: Bench, folder: str | os.PathLike[str]) -> Path:
    """Write a bench as a folder of plain files.

    Parameters
    ----------
    bench : Bench
        What to write; rows of loggers' files become rows of warm_up.csv.
    folder : str or path
        Where to; it must not exist, or be empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        If the folder holds anything, or cannot be written.
    """
    return write_files(files_of(bench), Path(folder))


def files_of(bench: Bench) -> dict[str, str]:
    """Return a bench as the plain files of its folder.

    Parameters
    ----------
    bench : Bench
        What to write; rows of loggers' files become rows of warm_up.csv.

    Returns
    -------
    dict
        Text by file name.
    """
    files = {FILE: _toml(bench)}
    tables = dict(bench.tables)
    if len(bench.excluded):
        both = pd.concat([tables["readings"], bench.excluded], ignore_index=True)
        tables["readings"] = both.sort_values("line", kind="stable")
    if not (tables["lamps"]["technology"] != "").any():
        tables.pop("lamps")
    for name, rows in tables.items():
        if len(rows) or name == "readings":
            files[TABLES[name].file] = _csv(rows, TABLES[name])
    for row in bench.tables["spectra"].to_dict("records"):
        spectrum = bench.spectra[row["name"]]
        values = pd.DataFrame({"wavelength_nm": spectrum.wavelength_nm, "value": spectrum.value})
        files[str(row["file"])] = _csv(values, SPECTRUM_FILE)
    return files | {report.file: _csv(report.rows, EARLIER_FILE) for report in bench.earlier}


def write_files(files: Mapping[str, str | bytes], folder: Path) -> Path:
    """Write files into a new folder beside its place, then move it there in one step.

    Parameters
    ----------
    files : mapping
        Text by file name.
    folder : Path
        Where to; it must not exist, or be empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        If the folder holds anything, or cannot be written.
    """
    beside = None
    try:
        if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
            raise _refused(folder, "is already there and not an empty folder; name a new one.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        for name, content in files.items():
            (beside / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        beside.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        beside.replace(folder)
    except OSError as error:
        raise _unwritten(folder, error) from None
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
    return folder


def _refused(folder: Path, words: str) -> RecordError:
    return RecordError([Problem("fault 3", folder.name, None, "", words)])


def _unwritten(folder: Path, error: OSError) -> RecordError:
    return _refused(folder, f"cannot be written: {(error.strerror or 'unknown reason').lower()}.")


def add_plan(folder: Path, bench: Bench, rows: pd.DataFrame, sheet: str, page: bytes) -> None:
    """Add the rows of one day to plan.csv, and the page to print beside it: both or neither, nothing else touched.

    Parameters
    ----------
    folder : Path
        The bench folder.
    bench : Bench
        What it holds.
    rows : DataFrame
        Columns of plan.csv.
    sheet : str
        File name of the page.
    page : bytes
        The page.

    Raises
    ------
    RecordError
        If the page is there already, or the folder cannot be written.
    """
    file, held = TABLES["plan"].file, bench.tables["plan"]
    whole = pd.concat([held, rows], ignore_index=True) if len(held) else rows
    declared = read_toml((folder / FILE).read_text(encoding="utf-8-sig"), Faults())
    text = _csv(whole, TABLES["plan"], declared.separator, declared.decimal)
    if (folder / sheet).exists():
        raise _refused(folder, f"{sheet} is already there; delete or rename it first.")
    files = {sheet: page, file: text.encode("utf-8")}
    beside = {name: folder / f".{name}-{os.getpid()}" for name in files}
    try:
        for name, content in files.items():
            beside[name].write_bytes(content)
        beside[sheet].replace(folder / sheet)
        try:
            beside[file].replace(folder / file)
        except OSError:
            (folder / sheet).unlink()
            raise
    except OSError as error:
        raise _unwritten(folder, error) from None
    finally:
        for path in beside.values():
            path.unlink(missing_ok=True)


def _csv(rows: pd.DataFrame, table: Table, separator: str = ",", decimal: str = ".") -> str:
    """Return a table as CSV text: only columns that hold something, values as they were typed."""
    kept = []
    for column in table.columns:
        typed = [header for header in column.headers[1:] if header in rows]
        whole = [h for h in typed if not (rows[h].isna() & rows[column.name].notna()).any()]
        name = (whole or [column.name])[0]
        kept += [name] if name in rows and (column.required or _holds(rows[name])) else []
    known = {"line", "log_file", *(header for column in table.columns for header in column.headers)}
    kept += [str(name) for name in rows if name not in known and _holds(rows[name])]
    columns_of_cells = [_cells(rows[name], separator, decimal) for name in kept]
    heads = [_quoted(name.removeprefix(NOT_USED), separator) for name in kept]
    lines = [heads, *zip(*columns_of_cells, strict=True)]
    return "".join(separator.join(line) + "\n" for line in lines)


def _holds(values: pd.Series) -> bool:
    """Whether a column has a value anywhere."""
    return bool((values.notna() & (values != "")).any())


def _cells(values: pd.Series, separator: str, decimal: str) -> list[str]:
    """Return the cells of a column: the shortest digits that give the number back."""
    if pd.api.types.is_numeric_dtype(values):
        return [digits(float(value)).replace(".", decimal) for value in values]
    return [_quoted(str(value), separator) for value in values]


def _quoted(text: str, separator: str) -> str:
    """Return a cell, in quotation marks where it holds a separator, a mark or either kind of line end."""
    marked = any(mark in text for mark in (separator, '"', "\r", "\n"))
    return '"' + text.replace('"', '""') + '"' if marked else text


def _plain(value: Any) -> Any:
    """Return a value as TOML holds it: tuples as lists, whole floats as integers."""
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return int(value) if isinstance(value, float) and value == int(value) and abs(value) < 1e15 else value


def _section(section: str, record: Any) -> dict[str, Any]:
    """Return the keys of a record that are declared or differ from the default, so that what is assumed stays so."""
    found: dict[str, Any] = {}
    declared = getattr(record, "declared", {key.name for key in SECTIONS[section]})
    for key in SECTIONS[section]:
        value = getattr(record, key.name, None)
        blank = value is None or value in ("", ()) or (isinstance(value, float) and math.isnan(value))
        if not blank and (key.name in declared or key.required or value != key.default):
            single = key.one_will_do and isinstance(value, tuple) and len(value) == 1
            found[key.name] = _plain(value)[0] if single else _plain(value)
    return found


def _meter(meter: Meter) -> dict[str, Any]:
    """Return a meter as a table of bench.toml."""
    table = _section("meter", meter)
    table.pop("certificate", None)
    if not meter.states_linearity:  # it follows from reading_percent
        table.pop("linearity_percent", None)
    table["spectral_factor"] = [_section("meter.spectral_factor", one) for one in meter.spectral_factors]
    table["certificate"] = _section("meter.certificate", meter.certificate)
    return {name: value for name, value in table.items() if value not in ([], {})}


def _toml(bench: Bench) -> str:
    """Return bench.toml."""
    document: dict[str, Any] = {"schema": 1}
    document |= {name: _section(name, bench.settings) for name in ("bench", "links")}
    document["meter"] = [_meter(meter) for meter in bench.meters.values()]
    others = {"housing": bench.housings.values(), "question": bench.questions}
    others |= {"their_figure": bench.their_figures, "our_earlier": bench.earlier}
    document |= {name: [_section(name, one) for one in held] for name, held in others.items()}
    return tomli_w.dumps({name: held for name, held in document.items() if held})


HEAD = """\
# A bench folder for photolab. Lines that begin with # are notes; take the # away to use a key.
# 1. Type your meter's accuracy after reading_percent (see the table).
# 2. Type two readings into readings.csv, and what kind of lamp A1 and A2 are into lamps.csv.
# 3. Run: photolab check followed by the name of this folder.
# The standard protocol: in at least one seating of each specimen in each housing, read at the initial time and again at
# the hold time, without touching the lamp; further seatings may end after the initial time. In readings.csv that is one
# row each, told apart by elapsed_s, the seconds since switch-on (blank is the initial time):
#   lamp,illuminance_lx,elapsed_s
#   A1,318,60
#   A1,305,1800
# photolab plan followed by the name of this folder says what fits one evening, and writes a page to print; photolab
# take followed by it calls lamp after lamp and keeps what you type while the bench is hot.
schema = 1

[bench]
name = "my bench"
protocol_revision = "1"
"""
MANUAL = """
# your manual prints                        write
# ±(3 % rdg + 0.5 % f.s.)                   reading_percent = 3, range_percent = 0.5 (f.s. = top of the range)
# ±4 % ±10 digits (dgt, counts)             reading_percent = 4, digits = 10
# ±3 % below 10 000 lx, ±4 % above          ranges_lx = [400, 4000, 40000], reading_percent = [3, 3, 4]
# range 400.0 / 4000 / 40.00k               resolution_lx = [0.1, 1, 10]: the last figure that can change
# f1' <= 8 %, "V(lambda) match"             mismatch_index_percent = 8
# calibrated to an incandescent lamp, 2856 K   calibration_source = "A"
[[meter]]
id = "M1"
reading_percent =
"""
LAMPS = (
    "lamp,technology,role,claimed_flux_lm,claimed_per,claimed_where,obtained,obtained_from\n"
    "A1,,baseline,,,,,\nA2,,candidate,,,,,\n"
)
READINGS = "lamp,illuminance_lx,elapsed_s\nA1,,\nA2,,\n"


def starter_toml() -> str:
    """Return bench.toml of a new folder: every key with an example, what it is and what holds without it."""
    heads = {
        "bench": HEAD.rstrip(), "meter": MANUAL.rstrip(), "housing": "\n# [[housing]]", "links": "\n# [links]",
        "question": "\n# a question you ask before the first reading\n# [[question]]",
    }  # fmt: skip
    typed = {("bench", "name"), ("bench", "protocol_revision"), ("meter", "id"), ("meter", "reading_percent")}
    lines = []
    for section, head in heads.items():
        keys = [key for key in SECTIONS[section] if key.example and "not used" not in key.about]
        told = [key for key in keys if (section, key.name) not in typed]
        lines += [head, *(f"# {key.name} = {key.example}    # {key.note}" for key in told)]
    return "\n".join(lines) + "\n"


def new_folder(folder: str | os.PathLike[str], *, workbook: bool = False) -> Path:
    """Write the smallest bench folder a beginner can fill in.

    Parameters
    ----------
    folder : str or path
        Where to; it must not exist, or be empty.
    workbook : bool, default False
        Write bench.xlsx in place of bench.toml and the CSV files.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        If the folder holds anything, or cannot be written.

    Notes
    -----
    No accuracy, kind of lamp or reading is made up: until they are typed, `read_bench` says what to type.
    """
    if workbook:
        from photolab.bench.folder.workbook import starter_workbook

        return write_files({WORKBOOK: starter_workbook()}, Path(folder))
    files = {FILE: starter_toml(), "readings.csv": READINGS, "lamps.csv": LAMPS}
    return write_files(files, Path(folder))
