"""Faults that need more than one cell: codes of other files, conditions, duplicates, order, ranges."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.completion import looked_up
from photolab.bench.declared import FILE, Declared
from photolab.bench.faults import Faults, closest, hint, shown
from photolab.bench.schema import READING_KEY
from photolab.bench.tables import varying

Tables = dict[str, pd.DataFrame]
COUNTS_BELOW_ZERO = 5.0
"""So many counts of the display a covered meter may show below zero. [1]"""
VOLTS_OFF = 0.5
"""Volts this far from the reference, as a part of it, are no volts of this bench. [1]"""
OUTSIDE = re.compile(r"^[/~]|^[A-Za-z]:|\\|(?:^|/)\.\.(?:/|$)")
"""A path that leaves the folder."""
SAME_SHAPE = str.maketrans("АВЕКМНОРСТУХаеорсухіјѕΑΒΕΖΗΙΚΜΝΟΡΤΥΧο", "ABEKMHOPCTYXaeopcyxijsABEZHIKMNOPTYXo")


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
    _alike(tables, faults)
    for name, column in (("lamps", "lamp"), ("days", "day"), ("spectra", "name")):
        table = tables[name]
        again = table[table[column].duplicated() & (table[column] != "")]
        first = looked_up(again[column], table[column], table["line"].astype(float))
        faults.where("fault 7", again.assign(first=first), f"{name}.csv", lambda row: (
            f'"{shown(row["value"])}" is already in line {row["first"]:g}; give each its own.'),
            column=column)  # fmt: skip
    for name, unmet, code, column, words in _conditions(tables, declared):
        faults.where(code, tables[name][unmet], f"{name}.csv", words, column=column)
    for name in ("warm_up", "distance", "beam"):
        _one_owner(tables[name], name, faults)
    _choices(tables["beam"], faults)
    beam_key = ["run", "horizontal_deg", "vertical_deg", "x_mm", "y_mm", "elapsed_s"]
    _same_rows(tables["beam"], "beam", beam_key, faults)


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
    whole = len(typed) == len(readings)
    _same_rows(
        readings if whole else readings[readings["line"].isin(typed)], "readings", list(READING_KEY), faults
    )
    for name in ("readings", "warm_up", "distance", "beam"):
        table = tables[name]
        if table.empty:
            continue
        limit, step = _range_and_step(table, declared)
        for column in ("illuminance_lx", "dark_lx"):
            values = table[column].to_numpy() if column in table else np.full(len(table), np.nan)
            above = values > limit * (1.0 + 1e-9)
            faults.where("fault 15", table[above].assign(limit=limit[above]), f"{name}.csv", lambda row: (
                f"{row['value']:g} lx cannot be read on the {row['limit']:g} lx range."), column=column)  # fmt: skip
            if column == "dark_lx":
                faults.where("fault 14", table[values < -COUNTS_BELOW_ZERO * step], f"{name}.csv", lambda row: (
                    f"{row['value']:g} lx; a covered meter shows 0, a few counts more or less."),
                    column=column)  # fmt: skip
    full = readings[readings["dark_lx"] >= readings["illuminance_lx"]]
    faults.where("fault 14", full, "readings.csv", lambda row: (
        f"{row['value']:g} lx is not below the reading of {row['illuminance_lx']:g} lx."),
        column="dark_lx")  # fmt: skip


def check_order(table: pd.DataFrame, file: str, faults: Faults) -> None:
    """Keep a fault for every instant that does not come after the one before it in its run.

    Parameters
    ----------
    table : DataFrame
        Rows with run, elapsed_s [s] and line.
    file : str
        Where they stand.
    faults : Faults
        Collects what is wrong.
    """
    before = table.groupby("run", sort=False)["elapsed_s"].shift()
    late = table["elapsed_s"] <= before
    faults.where("fault 18", table[late].assign(before=before[late], log_file=""), file, lambda row: (
        f"{row['elapsed_s']:g} after {row['before']:g} in run {shown(row['run'])}."), column="elapsed_s")  # fmt: skip


def _codes(tables: Tables, declared: Declared, faults: Faults) -> None:
    """Report codes that name nothing."""
    lamps, days = (names_in(tables[name][column]) for name, column in (("lamps", "lamp"), ("days", "day")))
    meters = list(declared.meter_ids)
    known = {
        "lamp": (lamps, "is not in lamps.csv"),
        "day": (days, "is not in days.csv"),
        "housing": (list(declared.housings), "is not a [[housing]] of bench.toml"),
        **dict.fromkeys(("meter", "old_meter", "new_meter"), (meters, "is not a [[meter]] of bench.toml")),
    }
    owners = {("lamps", "lamp"), ("links", "lamp"), ("days", "day")}
    for name, table in tables.items():
        for column in set(known) & set(table) - {owned for owner, owned in owners if owner == name}:
            codes, where = known[column]
            if not (codes if column in {"lamp", "day"} else meters):
                continue
            for code in names_in(table[column]):
                if code not in codes:
                    new = (
                        f'; write [[{column}]] with id = "{shown(code)}"'
                        if column in {"housing", "meter"}
                        else ""
                    )
                    words = f'"{shown(code)}" {where}{hint(code, codes) or new}.'
                    faults.where("fault 12", table[table[column] == code].assign(log_file=""), f"{name}.csv", words,
                                 column=column)  # fmt: skip
    for question, line in declared.questions:
        asked = lamps or names_in(tables["readings"]["lamp"])
        if question.lamp != "any" and asked and question.lamp not in asked:
            near = closest(question.lamp, ["any", *asked])
            advice = f'closest is "{shown(near)}"' if near else 'write a lamp of it, or "any"'
            where = "lamps.csv" if lamps else "readings.csv"
            words = f'question.lamp = "{shown(question.lamp)}" is not in {where}; {advice}.'
            faults.add("fault 12", FILE, words, line=line)


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
    if len(folded) > 1:
        folded = folded.translate(str.maketrans("oil", "011"))
    return re.sub(r"(?<![0-9.])0+(?=[0-9])|(?<=[0-9])\.0+$", "", folded)


def _alike(tables: Tables, faults: Faults) -> None:
    """Report codes of one column, in any file, that look the same and are not."""
    for column in ("lamp", "specimen", "housing", "day", "mounting", "meter", "run", "point"):
        held = {name: names_in(table[column]) for name, table in tables.items() if column in table}
        for shape, code in ((_hidden, "fault 26"), (_shape, "caution 36")):
            first: dict[str, tuple[str, str]] = {}
            for name, other in ((n, c) for n, codes in held.items() for c in codes):
                file, one = first.setdefault(shape(other), (name, other))
                if one == other or (shape is _shape and _hidden(one) == _hidden(other)):
                    continue
                first[other] = name, other
                of_one, of_other = (
                    tables[n].loc[tables[n][column] == c, "line"].iloc[0]
                    for n, c in ((file, one), (name, other))
                )
                place = f"line {of_one}" if file == name else f"{file}.csv line {of_one}"
                strange = [f"U+{ord(c):04X}" for c in one + other if not c.isascii()]
                words = f'"{shown(other)}" looks like "{shown(one)}" in {place}; are they one and the same?'
                if code == "fault 26":
                    words = f'"{shown(other)}" is not "{shown(one)}" in {place}: {", ".join(strange[:3])}; retype both.'
                faults.add(code, f"{name}.csv", words, line=int(of_other), column=column)


Condition = tuple[str, "pd.Series[bool]", str, str, str | Callable[[Any], str]]


def _conditions(tables: Tables, declared: Declared) -> Iterable[Condition]:
    """Yield what a row must hold beside a value: table, rows that do not, code, column, words."""
    readings, lamps, power = tables["readings"], tables["lamps"], tables["electrical"]
    heat, spectra, links = tables["thermal"], tables["spectra"], tables["links"]
    claim = lamps["claimed_flux_lm"].notna() | lamps["claimed_power_W"].notna()
    known = power["power_W"].notna() | (power["socket_V"].notna() & power["current_A"].notna())
    camera = ~heat["method"].isin(["thermocouple", ""])
    of_lamp = looked_up(links["lamp"], lamps["lamp"], lamps["technology"])
    other = (of_lamp != "") & (links["technology"] != "") & (of_lamp != links["technology"])
    outside = readings["photo"].isin(
        [photo for photo in names_in(readings["photo"]) if OUTSIDE.search(photo)]
    )
    yield "lamps", claim & (lamps["claimed_per"] == ""), "fault 8", "claimed_per", (
        "blank beside a claim; write lamp or pair.")  # fmt: skip
    yield "lamps", lamps["price"].notna() & (lamps["price_date"] == ""), "fault 8", "price_date", (
        "blank beside a price; write the day, YYYY-MM-DD.")  # fmt: skip
    yield "electrical", ~known, "fault 8", "power_W", "blank; write power_W, or socket_V and current_A."
    yield "thermal", camera & heat["set_emissivity"].isna(), "fault 8", "set_emissivity", (
        "blank; write the emissivity set on the camera.")  # fmt: skip
    yield "spectra", (spectra["kind"] == "source") & (spectra["lamp"] == ""), "fault 8", "lamp", (
        "blank; a source belongs to a lamp.")  # fmt: skip
    yield "spectra", (spectra["kind"] == "responsivity") & (spectra["meter"] == ""), "fault 8", "meter", (
        "blank; a responsivity belongs to a meter.")  # fmt: skip
    yield "readings", (readings["exclude"] == "yes") & (readings["note"] == ""), "fault 19", "note", (
        "the row is excluded without a reason; say why here.")  # fmt: skip
    yield "links", (links["old_meter"] == links["new_meter"]) & (links["old_meter"] != ""), "fault 8", "new_meter", (
        "the same as old_meter; a link needs two meters.")  # fmt: skip
    yield "links", other, "fault 8", "technology", "lamps.csv states another technology for this lamp."
    yield "readings", outside, "fault 27", "photo", lambda row: (
        f'"{shown(row["photo"])}" leaves the folder; put the picture into it.')  # fmt: skip
    reference = declared.settings.reference_voltage_V
    for name in ("readings", "warm_up", "distance", "days"):
        column = "supply_V" if name == "days" else "socket_V"
        off = (tables[name][column] / reference - 1.0).abs() > VOLTS_OFF
        yield name, off, "fault 14", column, lambda row: _volts_words(row, reference)


def _volts_words(row: Mapping[str, Any], reference: float) -> str:
    """Say that volts are none of this bench; where the ambient looks like volts, the two were swapped."""
    swapped = abs(row.get("ambient_C", 0.0) / reference - 1.0) < VOLTS_OFF
    why = f"{row['value']:g} V on a bench of {reference:g} V (reference_voltage_V)"
    return f"{why}; are volts and ambient in each other's column?" if swapped else f"{why}; which is right?"


def _one_owner(table: pd.DataFrame, name: str, faults: Faults) -> None:
    """Report a run that belongs to two lamps, specimens, housings or seatings."""
    columns = [column for column in ("lamp", "specimen", "housing", "mounting") if column in table]
    owners = table[["run", *columns, "line"]].drop_duplicates(["run", *columns])
    for run, group in owners[owners["run"] != ""].groupby("run", sort=False):
        first = group.iloc[0]
        for row in group.iloc[1:].to_dict("records"):
            column = next(column for column in columns if row[column] != first[column])
            stands = (
                f'"{shown(str(run))}" stands for {column} "{shown(first[column])}" in line {first["line"]}'
            )
            words = f"{stands}; give each its own run."
            faults.add("fault 7", f"{name}.csv", words, line=int(row["line"]), column="run")


def _choices(beam: pd.DataFrame, faults: Faults) -> None:
    """Report beams with both or neither of angle and wall positions."""
    pairs = (["horizontal_deg", "vertical_deg"], ["x_mm", "y_mm"])
    held = [pair for pair in pairs if beam[pair].notna().to_numpy().any()]
    names = "horizontal_deg and vertical_deg, or x_mm and y_mm"
    if len(held) == 2:
        faults.add("fault 25", "beam.csv", f"holds both angles and wall positions; keep {names}.", line=1)
    elif not held and len(beam):
        faults.add("fault 25", "beam.csv", f"says nowhere where a reading was taken; add {names}.", line=1)
    elif held:
        lacking = beam[beam[held[0]].isna().any(axis=1)]
        faults.where(
            "fault 25", lacking, "beam.csv", f"both {' and '.join(held[0])} are wanted in every row."
        )


def _same_rows(rows: pd.DataFrame, name: str, key: list[str], faults: Faults) -> None:
    """Report rows with one key."""
    telling = varying(rows, key)
    again = rows.duplicated(telling, keep="first")
    if not again.any():
        return
    first = rows.groupby(telling, sort=False, dropna=False)["line"].transform("first")

    def words(row: dict[str, Any]) -> str:
        held = [(column, row[column]) for column in key if row[column] != "" and row[column] == row[column]]
        stated = [
            f"{'at second' if column == 'elapsed_s' else column} "
            + (f"{value:g}" if isinstance(value, float) else shown(str(value), limit=20))
            for column, value in held
        ]
        return f"the same reading as line {row['first']} ({', '.join(stated)})."

    faults.where("fault 17", rows[again].assign(first=first[again]), f"{name}.csv", words)


def _range_and_step(table: pd.DataFrame, declared: Declared) -> tuple[Any, Any]:
    """Return for each row the largest reading that its range shows, and one count of the display, in lx.

    Where no range is typed: those of the meter's largest; no limit, and 1 % of the reading, where none is declared.
    """
    limit = table["range_lx"].to_numpy(dtype=float, copy=True)
    step = 0.01 * table["illuminance_lx"].to_numpy(dtype=float)
    for identity, meter in declared.meters.items():
        mine = (table["meter"] == identity).to_numpy()
        limit[mine & np.isnan(limit)] = max(meter.ranges_lx, default=np.inf)
        for top, count in zip(meter.ranges_lx, meter.resolution_lx, strict=False):
            step[mine & (limit == top)] = count
    return np.where(np.isnan(limit), np.inf, limit), step
