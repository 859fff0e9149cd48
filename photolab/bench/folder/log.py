"""Files as instruments leave them: a logger's rows and a camera's picture, as rows of warm_up and thermal."""

import re
from dataclasses import replace
from datetime import datetime
from statistics import fmean, stdev

import numpy as np
import numpy.typing as npt
import pandas as pd

from photolab.bench.folder.checks import check_order
from photolab.bench.folder.declared import FILE, Declared, Section, Values
from photolab.bench.folder.files import Cells, Folder, Rows, foreign, split, take_apart
from photolab.bench.folder.tables import empty_table, read_table
from photolab.bench.terms.cells import CellFault, inside, parse_number, plain_numbers
from photolab.bench.terms.columns import Array
from photolab.bench.terms.faults import Faults, hint, shown
from photolab.bench.terms.model import Log
from photolab.bench.terms.schema import HEADERS, REFUSED_UNITS, TABLES, Table, unit_forms

PREVIEW_ROWS = 5
DAY_S = 86400.0
_CLOCK = re.compile(
    r"(?:(\S+)[T ]\s*)?(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:[.,]\d+)?))?(?:\s*([AP])M)?", re.IGNORECASE
)

Read = tuple[pd.DataFrame, list[str], str]
"""Rows, the columns of them to show, and the row of units that was skipped."""


def join_instruments(folder: Folder, declared: Declared, tables: dict[str, pd.DataFrame]) -> list[Log]:
    """Join the rows of instruments' files to warm_up and thermal, as if they had been typed there.

    Parameters
    ----------
    folder : Folder
        The bench folder; keeps what is wrong.
    declared : Declared
        What bench.toml says.
    tables : dict
        The tables as read; warm_up and thermal are replaced by longer ones, with ``log_file``.

    Returns
    -------
    list of Log
        The files, with their first rows as understood.
    """
    logs: list[Log] = []
    runs = set(tables["warm_up"]["run"].unique())
    for section in declared.instruments:
        values = section.values
        run = values.get("run")
        if run and run in runs:
            words = f'log.run "{shown(run)}" is also a run of another file; give each its own.'
            section.fault("fault 7", words, "run")
        runs.add(run)
        name, into = values["file"], values.get("into", "thermal")
        if not section.whole or not folder.holds(name, FILE, line=section.line("file")):
            continue
        text = folder.text_as_it_is(name)
        if text is None:
            continue
        fixed = _constants(section, TABLES[into])
        read = (_log if section.section == "log" else _picture)(text[0], section, fixed)
        if read is None or not fixed:
            continue
        rows, told, units = read[0].assign(log_file=name), *read[1:]
        own = tables[into].assign(log_file=tables[into].get("log_file", ""))
        tables[into] = pd.concat([own, rows], ignore_index=True) if len(own) else rows
        logs.append(Log(name, into, text[1], rows[told].head(PREVIEW_ROWS), units))
    return logs


def _constants(section: Section, table: Table) -> Values:
    """Return what holds for every row of a file, by column; nothing where a row could not be used with it."""
    own = {*table.names} - {"elapsed_s"}
    fixed = {name: value for name, value in section.values.items() if name in own and name in section.given}
    for name in section.given:
        if name in {*TABLES["warm_up"].names, *TABLES["thermal"].names} - {"elapsed_s", *table.names}:
            words = f"{section.section}.{name}: {table.name} has no such column; take the line out."
            section.fault("fault 2", words, name)
    given = {*fixed, *section.values.get("columns", {})}
    lacking = [c for c in table.columns if c.required and not c.numeric and c.name not in given]
    for column in lacking:
        words = f"{section.label} has no {column.name}; write {column.name} = …, {column.note}."
        section.fault("fault 1", words)
    camera = table.name == "thermal" and fixed.get("method", "thermocouple") != "thermocouple"
    if camera and "set_emissivity" not in given:
        section.fault("fault 8", f"{section.label} has no set_emissivity; write the one set on the camera.")
        return {}
    return {} if lacking else fixed


def _log(text: str, section: Section, fixed: Values) -> Read | None:
    """Return a logger's rows by the declared columns, counted from switch-on."""
    values, faults = section.values, section.faults
    name, table = values["file"], TABLES[values["into"]]
    rows = take_apart(name, text, values["separator"], faults, first_row=values["first_row"])
    places = None if rows is None else _places(rows, section, table, fixed)
    if rows is None or places is None:
        return None
    time = places.pop("elapsed_s")
    typed = next((ours for ours in values["columns"] if ours.startswith("elapsed_")), "")
    if units := _units_row(rows, {**places, typed or "elapsed_s": time}, faults):
        columns = [Cells(column.words, column.places[1:]) for column in rows.columns]
        rows = replace(rows, columns=columns, numbers=rows.numbers[1:])
    elapsed, kept = _elapsed(rows, time, typed, section)
    if not kept.any():
        return None
    held = {"elapsed_s": elapsed, **{ours: rows.columns[place] for ours, place in places.items()}}
    theirs = {**values["columns"], "elapsed_s": rows.header[time]}
    cells = [Cells(column.words, column.places[kept]) for column in held.values()]
    numbers = Table(table.name, table.about, tuple(column for column in table.columns if column.numeric))
    rows = Rows(name, list(held), cells, rows.numbers[kept])
    read = read_table(numbers, rows, faults, decimal=values["decimal"], theirs=theirs)
    check_order(read.assign(run=values["run"]) if table.name == "warm_up" else read, name, faults)
    canonical = {header: column.name for column in numbers.columns for header in column.headers}
    own = {column: read[column] for column in (*numbers.names, "line")}
    told = list(dict.fromkeys(canonical[ours] for ours in held))
    return empty_table(table, len(read), {**own, **fixed}), told, units


def _units_row(rows: Rows, places: dict[str, int], faults: Faults) -> str:
    """Return the first row where it holds units and no figure, as text; a unit that is not of our column is a fault."""
    in_order = sorted(places, key=places.__getitem__) if len(rows.numbers) else ()
    columns = {ours: rows.columns[places[ours]] for ours in in_order}
    cells = {ours: column.words[column.places[0]] for ours, column in columns.items()}
    text = " ".join(filter(None, cells.values()))
    if any(character.isdigit() for character in text):
        return ""
    for ours, typed in cells.items():
        unit, (stem, _, ending) = typed.strip("()[] ").replace("°", "deg"), ours.rpartition("_")
        words = REFUSED_UNITS.get(ending, {}).get(unit, "")
        other = f"{stem}_{unit}" if f"{stem}_{unit}" in HEADERS and unit != ending else ""
        if other or (words and not words.endswith(f" is written {ending}")):
            said = f'"{shown(typed)}" for {ours}: {words or f"name our column {other}"}.'
            faults.add("fault 23", rows.file, said, line=int(rows.numbers[0]))
    return text


def _places(rows: Rows, section: Section, table: Table, fixed: Values) -> dict[str, int] | None:
    """Return the position of each declared column in a logger's file, by our header; that of the time as elapsed_s."""
    values = section.values
    headers = {header: column.name for column in table.columns if column.numeric for header in column.headers}
    listed = ", ".join(shown(header) for header in rows.header[:12])
    wanted = [*values["columns"].items(), *([("elapsed_s", values["clock"])] if values["clock"] else [])]
    places: dict[str, int] = {}

    def refuse(code: str, words: str) -> None:
        section.fault(code, f"{section.label}: {words}", "columns")

    for ours, theirs in wanted:
        count = rows.header.count(theirs) if isinstance(theirs, str) else 0
        column = headers.get(ours, "")
        if not column:
            near = hint(ours, headers, " Did you mean {}?")
            refuse("fault 2", f"{shown(ours)} is not a number column of {table.name}.{near}")
        elif column in fixed or column in (headers.get(other, other) for other in places):
            refuse("fault 25", f"{column} is declared twice; keep one.")
        elif count != 1:
            why = "is named twice" if count else "is not there"
            words = f'column "{shown(str(theirs))}" for {ours} {why}; found {listed}.'
            section.faults.add("fault 10", rows.file, words, line=values["first_row"])
        else:
            places["elapsed_s" if column == "elapsed_s" else ours] = rows.header.index(theirs)
    given = {headers.get(ours) for ours, _ in wanted}
    lacking = [c.name for c in table.columns if c.required and c.numeric and c.name not in given]
    for name in lacking:
        other = "; or write clock" if name == "elapsed_s" else ""
        refuse("fault 10", f"no column of the logger is declared for {name}{other}.")
    return None if lacking or len(places) < len(wanted) else places


def _elapsed(rows: Rows, place: int, typed: str, section: Section) -> tuple[Cells, npt.NDArray[np.bool_]]:
    """Return a logger's times as seconds from switch-on, as text, and which rows belong to the record.

    What is not a number stays as it is; no row belongs where nothing can be counted.
    """
    cells, values, faults = rows.columns[place], section.values, section.faults
    form = next((form for form in unit_forms("elapsed_s") if form.header == typed), None)
    first = next((word for place in cells.places if (word := cells.words[place])), "")
    stamped = bool(values["clock"]) or (not np.isnan(_stamp(first)) and first.count(":") == 2)
    nothing = cells, np.zeros(len(cells.places), dtype=bool)
    ends = {key: values[key] for key in ("switched_on", "switched_off")}
    if stamped and not ends["switched_on"]:
        section.fault("fault 8", f"{section.label}: its times are clock times; write switched_on.")
        return nothing
    times, limits = (
        np.array([_stamp(word) for word in words]) if stamped else plain_numbers(words, values["decimal"])
        for words in (cells.words, list(ends.values()))
    )
    times = times[cells.places]
    for (key, text), limit in zip(ends.items(), limits, strict=True):
        if text and np.isnan(limit):
            number = "a number, as the logger's times are"
            wanted = "a clock time as the logger writes them" if stamped else number
            section.fault("fault 13", f'log.{key} = "{shown(text)}"; wanted {wanted}.', key)
            return nothing
    kept = np.ones(len(times), dtype=bool)
    if stamped:
        kept = ~np.isnan(times) | (np.array(cells.words, dtype=object)[cells.places] == "")
        for row in np.flatnonzero(~kept):
            words = f'"{shown(cells.words[cells.places[row]])}" is not a clock time; wanted HH:MM:SS.'
            faults.add("fault 6", rows.file, words, line=int(rows.numbers[row]), column=rows.header[place])
        if not kept.any():
            return nothing
        times, limits = _past_midnight(times, *limits)
    on, off = np.nan_to_num(limits[0]), np.nan_to_num(limits[1], nan=np.inf)
    # a lamp gives no light yet at the instant itself, and has its temperature
    dark = bool(ends["switched_on"]) and values["into"] == "warm_up"
    kept &= ~(times <= on if dark else times < on)
    lit = kept & ~(times > off)
    beyond = bool(ends["switched_off"]) and not on < off <= (on + DAY_S / 2 if stamped else np.inf)
    elapsed = form.convert(times - on) if form else times - on
    if not len(times):
        faults.add("fault 11", rows.file, "has no rows under the column names.")
    elif not (kept if beyond else lit).any() or (stamped and np.nanmin(elapsed[kept]) > DAY_S / 2):
        words = f'log.switched_on = "{shown(ends["switched_on"])}"; {rows.file} has no row just after it.'
        section.fault("fault 18", words, "switched_on")
        return nothing
    elif beyond:
        after = f'within 12 h after "{shown(ends["switched_on"])}"' if stamped else f"after {on:g}"
        words = f'log.switched_off = "{shown(ends["switched_off"])}"; wanted a time {after}, when it was switched on.'
        section.fault("fault 18", words, "switched_off")
        return nothing
    texts = [cells.words[place] if np.isnan(second) else repr(float(second) + 0.0).replace(".", values["decimal"])
             for place, second in zip(cells.places, elapsed, strict=True)]  # fmt: skip
    return Cells(texts, np.arange(len(texts), dtype=np.int32)), lit


def _stamp(word: str) -> float:
    """Return a clock time in seconds of its day, after an ISO date in seconds since 2000, or NaN for anything else.

    The day of another date is left alone: 03/04 is 3 April or 4 March.
    """
    found = _CLOCK.fullmatch(word.strip())
    hour, half = (int(found[2]), (found[5] or "").upper()) if found else (24, "")
    if not found or hour > 23 or (half and not 1 <= hour <= 12):
        return np.nan
    hour = hour % 12 + 12 * (half == "P") if half else hour
    seconds = 3600.0 * hour + 60.0 * int(found[3]) + float((found[4] or "0").replace(",", "."))
    try:
        day = datetime.strptime(found[1] or "", "%Y-%m-%d")
    except ValueError:
        return seconds
    return seconds + (day - datetime(2000, 1, 1)).total_seconds()


def _past_midnight(times: Array, on: float, off: float) -> tuple[Array, Array]:
    """Return clock times that go on past midnight, and switch-on and switch-off as the last such times before the end.

    A clock that falls back by more than half a day has begun a new one.
    """
    known = np.flatnonzero(~np.isnan(times))
    if not known.size:
        return times, np.array([on, off])
    if times[known].max() < DAY_S:
        times = times.copy()
        times[known[1:]] += DAY_S * np.cumsum(np.diff(times[known]) < -DAY_S / 2)
    if on < DAY_S:
        on += DAY_S * np.floor((times[known[-1]] - on) / DAY_S)
    if off < DAY_S:
        off += DAY_S * np.ceil((on - off) / DAY_S)
    return times, np.array([on, off])


def _picture(text: str, section: Section, fixed: Values) -> Read | None:
    """Return the mean of the hottest pixels of a rectangle, with their scatter, as one row of thermal.

    The hottest pixels are also those whose noise was upwards: a tenth of a kelvin beside a camera's two.
    """
    values, matrix = section.values, _matrix(text, section)
    sides, count = values["rectangle"], values["hottest_pixels"]
    times = [key for key in ("elapsed_s", "elapsed_minutes") if key in section.given]
    if len(times) != 1:
        said = f"{section.label}: write elapsed_s or elapsed_minutes, one of the two."
        section.fault("fault 25", said, "file")
    words = ""
    whole = len(sides) == 4 and all(side == int(side) for side in sides) and min(sides[2:]) > 0
    left, top, width, height = map(int, sides) if whole else (0, 0, 0, 0)
    if not whole:
        words = "; wanted left, top, width and height in whole pixels."
    elif matrix is not None and (left + width > matrix.shape[1] or top + height > matrix.shape[0]):
        words = f" leaves the picture, which is {matrix.shape[1]} pixels wide and {matrix.shape[0]} high."
    elif count > width * height:
        words = f" holds {width * height} pixels, and hottest_pixels = {count}."
    if words:
        rectangle = ", ".join(f"{side:g}" for side in sides)
        section.fault("fault 14", f"heat_matrix.rectangle = [{rectangle}]{words}", "rectangle")
    if words or matrix is None or len(times) != 1:
        return None
    table = TABLES["thermal"]
    hottest = np.sort(matrix[top : top + height, left : left + width], axis=None)[-count:]
    if values["unit"] == "degF":
        hottest = unit_forms("displayed_C")[0].convert(hottest)
    mean, line = fmean(hottest), values["first_row"] + top
    scatter = stdev(hottest) if count > 1 else 0.0
    for column, found, said in (("displayed_C", mean, "are at"), ("pixel_sd_K", scatter, "scatter by")):
        if not inside(found, table.column(column)):
            wanted = table.column(column)
            words = f"the hottest pixels {said} {found:.4g} {wanted.unit}; wanted {wanted.wanted}."
            section.faults.add("fault 14", values["file"], words, line=line)
    elapsed = values[times[0]]
    if times == ["elapsed_minutes"]:
        elapsed = unit_forms("elapsed_s")[0].convert(elapsed)
    own = {"elapsed_s": elapsed, "displayed_C": mean, "pixel_sd_K": scatter}
    return empty_table(table, 1, {**own, "line": [line], **fixed}), list(own), ""


def _matrix(text: str, section: Section) -> Array | None:
    """Return the temperatures of a picture, row by row, or None after a fault [as the camera saves them]."""
    values, faults = section.values, section.faults
    name, first = values["file"], values["first_row"]
    cells, broken = split(text, values["separator"], first)
    if broken:
        faults.add("fault 4", name, f"the file cannot be taken apart ({broken}).")
        return None
    while cells and not "".join(cells[-1]).strip():
        cells.pop()
    if not cells:
        faults.add("fault 11", name, f"row {first} holds no temperatures.", line=first)
        return None
    if foreign(name, cells[0], values["separator"], faults, first):
        return None
    if all(len(row) > 1 and not row[-1].strip() for row in cells):  # a separator ends every row
        cells = [row[:-1] for row in cells]
    rows, width = [], len(cells[0])
    for line, row in enumerate(cells, start=first):
        words = [cell.strip() for cell in row]
        rows.append(plain_numbers(words, values["decimal"]))
        if len(row) != width:
            faults.add("fault 4", name, f"{len(row)} pixels where the first row has {width}.", line=line)
        for place in np.flatnonzero(np.isnan(rows[-1])):
            try:
                parse_number(words[place], decimal=values["decimal"])
            except CellFault as fault:
                faults.add(fault.code, name, f"pixel {place + 1}: {fault}", line=line)
    whole = all(len(row) == width and not np.isnan(row).any() for row in rows)
    return np.array(rows) if whole else None
