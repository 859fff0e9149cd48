"""Faults that need more than one cell: codes of other files, conditions, duplicates, order, ranges."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.folder.completion import looked_up
from photolab.bench.folder.declared import FILE, Declared
from photolab.bench.terms.columns import Array
from photolab.bench.terms.faults import Faults, hint, shown, stands_in
from photolab.bench.terms.instruments import range_half_width
from photolab.bench.terms.model import Meter
from photolab.bench.terms.schema import READING_KEY

Tables = dict[str, pd.DataFrame]
COUNTS_BELOW_ZERO = 5.0
"""So many counts of the display a covered meter may show below zero, whatever its accuracy line. [1]"""
SAME_SHAPE = str.maketrans(
    "АВЕКМНОРСТУХаеорсухіјѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧαονρυ\u2010\u2011\u2012\u2013\u2014\u2015\u2212",
    "ABEKMHOPCTYXaeopcyxijsABEZHIKMNOPTYXaovpu-------",
)


def check_tables(tables: Tables, declared: Declared, faults: Faults) -> None:
    """Keep every fault that shows only when rows and files are held side by side.

    Parameters
    ----------
    tables : dict
        The tables as read.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects them.
    """
    _codes(tables, declared, faults)
    _alike(tables, declared, faults)
    for name, column in (("lamps", "lamp"), ("days", "day"), ("spectra", "name")):
        table = tables[name]
        again = table[table[column].duplicated() & (table[column] != "")]
        first = looked_up(again[column], table[column], table["line"].astype(float))
        words = '"{value}" is already in line {first:g}; give each its own.'
        faults.where("fault 7", f"{name}.csv", again.assign(first=first), column, words)
    for name, column, unmet, words in _conditions(tables):
        code = "fault 19" if column == "note" else "fault 8"
        beside = (column, "socket_V", "current_A") if column == "power_W" else (column,)
        faults.where(
            code, f"{name}.csv", faults.sound(tables[name][unmet], f"{name}.csv", *beside), column, words
        )
    for name in ("warm_up", "distance", "beam"):
        _one_owner(tables[name], name, faults)
    _choices(tables["beam"], declared, faults)
    beam_key = ["run", "horizontal_deg", "vertical_deg", "x_mm", "y_mm", "elapsed_s"]
    _same_rows(tables["beam"], "beam", beam_key, faults)
    _same_rows(tables["plan"], "plan", ["date", "step"], faults)


def check_completed(tables: Tables, typed: pd.Series, declared: Declared, faults: Faults) -> None:
    """Keep the faults of completed rows: duplicate readings, readings above their range, dark readings that are none.

    Parameters
    ----------
    tables : dict
        The completed tables, without the excluded readings.
    typed : Series
        Row numbers of readings.csv whose repeat was typed.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects them.
    """
    readings = tables["readings"]
    told = readings if len(typed) == len(readings) else readings[readings["line"].isin(typed)]
    _same_rows(told, "readings", list(READING_KEY), faults)
    for name in ("readings", "warm_up", "distance", "beam"):
        check_light(tables[name], f"{name}.csv", declared.meters, faults)
    check_dark(readings, faults)


def check_light(table: pd.DataFrame, file: str, meters: Mapping[str, Meter], faults: Faults) -> None:
    """Keep a fault for light above its range, and for a dark reading far below zero.

    Parameters
    ----------
    table : DataFrame
        Rows with illuminance_lx, meter, range_lx and line; dark_lx, where they have one. [lx]
    file : str
        Where they stand.
    meters : mapping
        The meters by id.
    faults : Faults
        Collects what is wrong.
    """
    limit, step, adds = _of_ranges(table, meters)
    for column in table.columns.intersection(["illuminance_lx", "dark_lx"]):
        above = table[column].to_numpy() > limit * (1.0 + 1e-9)
        words = "{value:g} lx cannot be read on the {limit:g} lx range."
        faults.where("fault 15", file, table[above].assign(limit=limit[above]), column, words)
    if "dark_lx" in table:
        below = table["dark_lx"].to_numpy() < -np.maximum(COUNTS_BELOW_ZERO * step, adds)
        words = "{value:g} lx; a covered meter shows 0, give or take what its accuracy line allows."
        faults.where("fault 14", file, table[below], "dark_lx", words)


def check_dark(readings: pd.DataFrame, faults: Faults) -> None:
    """Keep a fault for a dark reading that is not below the reading beside it.

    Parameters
    ----------
    readings : DataFrame
        Rows with illuminance_lx, dark_lx and line. [lx]
    faults : Faults
        Collects what is wrong.
    """
    full = readings[readings["dark_lx"].to_numpy() >= readings["illuminance_lx"].to_numpy()]
    full = faults.sound(full, "readings.csv", "dark_lx")
    words = "{value:g} lx is not below the reading of {illuminance_lx:g} lx."
    faults.where("fault 14", "readings.csv", full, "dark_lx", words)


def check_order(table: pd.DataFrame, file: str, faults: Faults, column: str = "elapsed_s") -> None:
    """Keep a fault for every instant or wavelength that does not come after the one before it in its run.

    Parameters
    ----------
    table : DataFrame
        Rows with the column and line; run, where it holds several.
    file : str
        Where they stand.
    faults : Faults
        Collects what is wrong.
    column : str, default "elapsed_s"
        Times or wavelengths.
    """
    runs, what = "run" in table, "times" if column == "elapsed_s" else "wavelengths"
    before = (table.groupby("run", sort=False) if runs else table)[column].shift()
    late = table[column] <= before
    words = "{value:g} after {before:g}" + (" in run {run}." if runs else f"; {what} must increase.")
    faults.where("fault 18", file, table[late].assign(before=before[late]), column, words)


def _codes(tables: Tables, declared: Declared, faults: Faults) -> None:
    """Report codes that name nothing."""
    lamps, days = (list(tables[name][column]) for name, column in (("lamps", "lamp"), ("days", "day")))
    housings, meters = ([name for name, _ in declared.ids.get(of, ())] for of in ("housing", "meter"))
    known = {
        "lamp": (lamps, "is not in lamps.csv"),
        "day": (days, "is not in days.csv"),
        "housing": (housings, "is not a [[housing]] of bench.toml"),
        **dict.fromkeys(("meter", "old_meter", "new_meter"), (meters, "is not a [[meter]] of bench.toml")),
    }
    owned = {("lamps", "lamp"), ("links", "lamp"), ("days", "day")}
    for column, (codes, where) in known.items():
        held = {n: names_in(t[column]) for n, t in tables.items() if column in t and (n, column) not in owned}
        strange = {code for named in held.values() for code in named} - {*codes}
        lost = len(codes) - len({*codes} - {""}) + len(faults.lines.get((f"{column}s.csv", ""), set()) - {1})
        codes[:] = filter(None, codes)
        if len(strange) <= lost:  # each may be what a row or section with a fault was to name
            codes += strange
            continue
        for name in held if codes or (meters and column == "housing") else ():
            table = tables[name]
            rows = table[table[column].isin(strange)]
            if "log_file" in rows:  # the codes of an instrument's file stand in bench.toml: below
                rows = rows[rows["log_file"] == ""]
            new = f'; write [[{column}]] with id = "{{}}"' if column in {"housing", "meter"} else ""
            near = rows[column].map({code: hint(code, codes) or new.format(shown(code)) for code in strange})
            words = f'"{{value}}" {where}{{near}}.'
            faults.where("fault 12", f"{name}.csv", rows.assign(near=near), column, words)
    for section in declared.instruments:
        for column, (codes, where) in known.items():
            if codes:
                section.unknown(column, codes, f" {where}")
    asked, where = (lamps, "lamps.csv") if lamps else (names_in(tables["readings"]["lamp"]), "readings.csv")
    for _, section in declared.questions if asked else ():
        section.unknown("lamp", ["any", *asked], f" is not in {where}", '; write a lamp of it, or "any"')


def names_in(codes: pd.Series) -> list[str]:
    """Return the different codes of a column, by row order, without the blank.

    Parameters
    ----------
    codes : Series
        The column.

    Returns
    -------
    list of str
        The codes.
    """
    return [str(code) for code in codes.unique() if code]


def _hidden(code: str) -> str:
    """Return a code without what nobody sees: parts of letters put together, marks of no width, foreign look-alikes."""
    composed = unicodedata.normalize("NFC", code).translate(SAME_SHAPE)
    return "".join(c for c in composed if unicodedata.category(c) != "Cf")


def _shape(code: str) -> str:
    """Return what a reader may take a code for: 01 and 1.0 for 1, k1 for K1, KO for K0."""
    folded = unicodedata.normalize("NFKC", _hidden(code)).casefold()
    folded = " ".join(folded.translate(str.maketrans("oil", "011")).split())
    return re.sub(r"(?<![0-9.])0+(?=[0-9])|(?<=[0-9])\.0+$", "", folded)


def _alike(tables: Tables, declared: Declared, faults: Faults) -> None:
    """Report codes of one column, in any file, that look the same and are not."""
    for column in ("lamp", "specimen", "housing", "day", "mounting", "meter", "run", "point"):
        ids = pd.DataFrame(declared.ids.get(column, []), columns=[column, "line"])
        beside = {name: table for name, table in tables.items() if column in table}
        holding = {FILE: ids.assign(log_file=FILE), **beside}
        held = {name: names_in(table[column]) for name, table in holding.items()}
        for shape, code in ((_hidden, "fault 26"), (_shape, "caution 36")):
            first: dict[str, tuple[str, str]] = {}
            for name, other in ((n, c) for n, codes in held.items() for c in codes):
                file, one = first.setdefault(shape(other), (name, other))
                letters = {one.casefold(), other.casefold()} == {"i", "l"}  # two of an alphabet
                if one == other or (shape is _shape and (letters or _hidden(one) == _hidden(other))):
                    continue
                first[other] = name, other
                places = ((holding[file], one), (holding[name], other))
                then, now = (table[table[column] == held].iloc[0] for table, held in places)
                of_file = stands_in(then, f"{file}.csv")
                place = f"{of_file} " * (of_file != stands_in(now, f"{name}.csv")) + f"line {then['line']}"
                strange = [f"U+{ord(c):04X}" for c in one + other if not c.isascii()]
                words = f'"{shown(other)}" looks like "{shown(one)}" in {place}; are they one and the same?'
                if code == "fault 26":
                    words = f'"{shown(other)}" is not "{shown(one)}" in {place}: {", ".join(strange[:3])}; retype both.'
                faults.at(code, f"{name}.csv", now, words, column)


def _conditions(tables: Tables) -> Iterable[tuple[str, str, "pd.Series[bool]", str]]:
    """Yield what a row must hold beside a value: table, column, the rows that do not, words."""
    readings, lamps, power = tables["readings"], tables["lamps"], tables["electrical"]
    heat, spectra, links = tables["thermal"], tables["spectra"], tables["links"]
    claim = lamps[["claimed_flux_lm", "claimed_power_W"]].notna().any(axis=1) & (lamps["claimed_per"] == "")
    known = power["power_W"].notna() | (power["socket_V"].notna() & power["current_A"].notna())
    camera = ~heat["method"].isin(["thermocouple", ""])
    source, response = spectra["kind"] == "source", spectra["kind"] == "responsivity"
    silent = (readings["exclude"] == "yes") & (readings["note"] == "")
    of_lamp = looked_up(links["lamp"], lamps["lamp"], lamps["technology"])
    other = (of_lamp != "") & (links["technology"] != "") & (of_lamp != links["technology"])
    itself = (links["old_meter"] == links["new_meter"]) & (links["old_meter"] != "")
    unpriced = lamps["price"].notna() & (lamps["price_date"] == "")
    bare = camera & heat["set_emissivity"].isna()
    yield "lamps", "claimed_per", claim, "blank beside a claim; write lamp or pair."
    yield "lamps", "price_date", unpriced, "blank beside a price; write the day, YYYY-MM-DD."
    yield "electrical", "power_W", ~known, "blank; write power_W, or socket_V and current_A."
    yield "thermal", "set_emissivity", bare, "blank; write the emissivity set on the camera."
    yield "spectra", "lamp", source & (spectra["lamp"] == ""), "blank; a source belongs to a lamp."
    yield "spectra", "meter", response & (spectra["meter"] == ""), "blank; a responsivity belongs to a meter."
    yield "links", "new_meter", itself, "the same as old_meter; a link needs two meters."
    yield "links", "technology", other, "lamps.csv states another technology for this lamp."
    yield "readings", "note", silent, "the row is excluded without a reason; say why here."


def _one_owner(table: pd.DataFrame, name: str, faults: Faults) -> None:
    """Report a run that belongs to two lamps, specimens, housings or seatings; a record to two days or meters too."""
    wanted = ("lamp", "specimen", "housing", "mounting", *(("day", "meter") if name == "warm_up" else ()))
    columns = [column for column in wanted if column in table]
    table = faults.sound(table, f"{name}.csv", "run", *columns)
    owners = table[["run", *columns, "line"]].drop_duplicates(["run", *columns])
    first: dict[str, dict[Any, Any]] = {}
    for row in owners[(owners["run"] != "") & owners["run"].duplicated(keep=False)].to_dict("records"):
        held = first.setdefault(row["run"], row)
        for column in [column for column in columns if row[column] != held[column]][:1]:
            owner = f'{column} "{shown(held[column])}" in line {held["line"]}'
            words = f'"{shown(row["run"])}" stands for {owner}; give each its own run.'
            faults.at("fault 7", f"{name}.csv", row, words, "run")


def _choices(beam: pd.DataFrame, declared: Declared, faults: Faults) -> None:
    """Report runs with both or neither of angle and wall positions, or positions on a wall for a lamp that turns."""
    pairs = (["horizontal_deg", "vertical_deg"], ["x_mm", "y_mm"])
    beam = faults.sound(beam, "beam.csv", "run", *pairs[0], *pairs[1])
    angles, wall = (beam[pair].notna().any(axis=1).groupby(beam["run"]).transform("any") for pair in pairs)
    for pair, alone in zip(pairs, (angles & ~wall, wall & ~angles), strict=True):
        words = f"both {' and '.join(pair)} are wanted in every row."
        faults.where("fault 25", "beam.csv", beam[alone & beam[pair].isna().any(axis=1)], "", words)
    turned = beam["housing"].isin(
        [one.id for one in declared.housings.values() if one.sensor == "turned_lamp"]
    )
    words = 'a position on a wall, where sensor = "turned_lamp"; write horizontal_deg and vertical_deg.'
    faults.where("fault 25", "beam.csv", beam[turned & wall & ~angles & beam["x_mm"].notna()], "x_mm", words)
    begins, which = ~beam["run"].duplicated(), "horizontal_deg and vertical_deg, or x_mm and y_mm"
    words = f'"{{value}}" holds both angles and wall positions; keep {which}, or give each its own run.'
    faults.where("fault 25", "beam.csv", beam[begins & angles & wall], "run", words)
    words = f'"{{value}}" says nowhere where its readings were taken; add {which}.'
    faults.where("fault 25", "beam.csv", beam[begins & ~angles & ~wall], "run", words)


def _same_rows(rows: pd.DataFrame, name: str, key: list[str], faults: Faults) -> None:
    """Report rows with one key."""
    rows = faults.sound(rows, f"{name}.csv", *key)
    again = rows[rows.duplicated(key)]
    if again.empty:
        return
    first = rows.groupby(key, sort=False, dropna=False)["line"].transform("first")[again.index]
    told = []
    for row in again[key].to_dict("records"):
        cells = [(str(c).replace("elapsed_s", "at second"), x) for c, x in row.items() if x != "" and x == x]
        said = [f"{c} {f'{x:g}' if isinstance(x, float) else shown(x, limit=20)}" for c, x in cells]
        told.append(", ".join(said))
    words = f"the same {'step' if name == 'plan' else 'reading'} as line {{first}} ({{told}})."
    again = again.assign(first=first, told=told)
    faults.where(
        "fault 17", f"{name}.csv", again[again["told"] != ""], "", words
    )  # else blank cells are said


def _of_ranges(table: pd.DataFrame, meters: Mapping[str, Meter]) -> tuple[Array, Array, Array]:
    """Return for each row the largest reading of its range, one count of it, and what the accuracy line adds, in lx.

    Where no range is typed: those of the meter's largest, and nothing is added; no limit, and 1 % of the reading as a
    count, where none is declared.
    """
    typed = table["range_lx"].to_numpy(dtype=float)
    limit, adds = typed.copy(), np.zeros(len(table))
    step = 0.01 * table["illuminance_lx"].to_numpy(dtype=float)
    for identity, meter in meters.items():
        mine = (table["meter"] == identity).to_numpy()
        limit[mine & np.isnan(typed)] = max(meter.ranges_lx, default=np.inf)
        counts = dict(zip(meter.ranges_lx, meter.resolution_lx, strict=False))
        for top in np.unique(limit[mine]).tolist():
            here = mine & (limit == top)
            step[here] = counts.get(top, step[here])
            adds[here & (typed == top)] = np.nan_to_num(range_half_width(meter, top))
    return np.where(np.isnan(limit), np.inf, limit), step, adds
