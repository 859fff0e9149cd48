"""Faults that need more than one cell: codes of other files, conditions, duplicates, order, ranges."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from photolab.bench.completion import looked_up
from photolab.bench.faults import Faults, closest, shown
from photolab.bench.schema import READING_KEY, TABLES
from photolab.bench.toml_reader import Declared
from photolab.bench.toml_section import FILE

Tables = dict[str, pd.DataFrame]


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
    for name, column in (("lamps", "lamp"), ("days", "day"), ("spectra", "name")):
        _unique(tables[name], name, column, faults)
    _conditions(tables, faults)
    for name in ("warm_up", "distance", "beam"):
        _one_owner(tables[name], name, faults)
    _choices(tables["beam"], faults)
    _photos(tables["readings"], faults)
    beam_key = ["run", "horizontal_deg", "vertical_deg", "x_mm", "y_mm", "elapsed_s"]
    _same_rows(tables["beam"], "beam", beam_key, pd.Series(True, index=tables["beam"].index), faults)


def check_completed(tables: Tables, typed: pd.Series, declared: Declared, faults: Faults) -> None:
    """Keep the faults of completed rows: duplicate readings, readings above their range, dark above light.

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
    _same_rows(readings, "readings", list(READING_KEY), readings["line"].isin(set(typed)), faults)
    for name in ("readings", "warm_up", "distance", "beam"):
        _above_range(tables[name], name, declared, faults)
    dark = (readings["dark_lx"] >= readings["illuminance_lx"]).to_numpy()
    for row in np.flatnonzero(dark):
        covered, open_ = readings["dark_lx"].iloc[row], readings["illuminance_lx"].iloc[row]
        words = f"{covered:g} lx is not below the reading of {open_:g} lx."
        faults.add("fault 14", "readings.csv", words, line=int(readings["line"].iloc[row]), column="dark_lx")


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
    seconds, lines = table["elapsed_s"].to_numpy(dtype=float), table["line"].to_numpy()
    for run, group in table.groupby("run", sort=False).indices.items():
        rows = np.asarray(group)
        late = np.flatnonzero(np.diff(seconds[rows]) <= 0)
        for row in late:
            words = f"{seconds[rows[row + 1]]:g} after {seconds[rows[row]]:g} in run {shown(str(run))}."
            faults.add("fault 18", file, words, line=int(lines[rows[row + 1]]), column="elapsed_s")


def _codes(tables: Tables, declared: Declared, faults: Faults) -> None:
    """Report codes that name nothing."""
    lamps = [code for code in tables["lamps"]["lamp"].unique() if code]
    days = [code for code in tables["days"]["day"].unique() if code]
    meters, housings = list(declared.meter_ids), list(declared.housings)
    for name, table in tables.items():
        if name not in {"lamps", "links"} and lamps and "lamp" in table:
            _unknown(table, name, "lamp", lamps, "lamps.csv", faults)
        if name != "days" and days and "day" in table:
            _unknown(table, name, "day", days, "days.csv", faults)
        if "meter" in table and meters:
            _unknown(table, name, "meter", meters, "a [[meter]] of bench.toml", faults)
        if "housing" in table and meters:
            _unknown(table, name, "housing", housings, "a [[housing]] of bench.toml", faults)
    for question, line in declared.questions:
        asked = lamps or [lamp for lamp in tables["readings"]["lamp"].unique() if lamp]
        if question.lamp != "any" and asked and question.lamp not in asked:
            near = closest(question.lamp, ["any", *asked])
            hint = f'closest is "{shown(near)}"' if near else 'write a lamp of it, or "any"'
            where = "lamps.csv" if lamps else "readings.csv"
            words = f'question.lamp = "{shown(question.lamp)}" is not in {where}; {hint}.'
            faults.add("fault 12", FILE, words, line=line)
    for column in ("old_meter", "new_meter"):
        if meters:
            _unknown(tables["links"], "links", column, meters, "a [[meter]] of bench.toml", faults)


def _unknown(
    table: pd.DataFrame, name: str, column: str, known: Sequence[str], where: str, faults: Faults
) -> None:
    names = set(known)
    strange = [code for code in table[column].unique() if code and code not in names]
    verb = "is not" if where.startswith("a ") else "is not in"
    for code in strange:
        near = closest(code, known)
        hint = f'; closest is "{shown(near)}"' if near else f'; write [[{column}]] with id = "{shown(code)}"'
        if not near and column not in {"housing", "meter"}:
            hint = ""
        for line in table.loc[table[column] == code, "line"]:
            words = f'"{shown(code)}" {verb} {where}{hint}.'
            faults.add("fault 12", TABLES[name].file, words, line=int(line), column=column)


def _unique(table: pd.DataFrame, name: str, column: str, faults: Faults) -> None:
    first: dict[str, int] = {}
    for code, line in zip(table[column], table["line"], strict=True):
        if code and code in first:
            words = f'"{shown(code)}" is already in line {first[code]}; give each its own.'
            faults.add("fault 7", TABLES[name].file, words, line=int(line), column=column)
        first.setdefault(code, int(line))


def _conditions(tables: Tables, faults: Faults) -> None:
    """Report values that need another one beside them."""
    readings, lamps, power = tables["readings"], tables["lamps"], tables["electrical"]
    heat, spectra = tables["thermal"], tables["spectra"]
    claim = lamps["claimed_flux_lm"].notna() | lamps["claimed_power_W"].notna()
    known = power["power_W"].notna() | (power["socket_V"].notna() & power["current_A"].notna())
    camera = ~heat["method"].isin(["thermocouple", ""])
    conditions: list[tuple[str, pd.Series, str, str]] = [
        ("lamps", claim & (lamps["claimed_per"] == ""), "claimed_per",
         "blank beside a claim; write lamp or pair."),
        ("lamps", lamps["price"].notna() & (lamps["price_date"] == ""), "price_date",
         "blank beside a price; write the day, YYYY-MM-DD."),
        ("electrical", ~known, "power_W", "blank; write power_W, or socket_V and current_A."),
        ("thermal", camera & heat["set_emissivity"].isna(), "set_emissivity",
         "blank; write the emissivity set on the camera."),
        ("spectra", (spectra["kind"] == "source") & (spectra["lamp"] == ""), "lamp",
         "blank; a source belongs to a lamp."),
        ("spectra", (spectra["kind"] == "responsivity") & (spectra["meter"] == ""), "meter",
         "blank; a responsivity belongs to a meter."),
    ]  # fmt: skip
    for name, unmet, column, words in conditions:
        _each("fault 8", tables[name][unmet], name, column, words, faults)
    silent = (readings["exclude"] == "yes") & (readings["note"] == "")
    words = "the row is excluded without a reason; say why here."
    _each("fault 19", readings[silent], "readings", "note", words, faults)
    _link_conditions(tables["links"], lamps, faults)


def _link_conditions(links: pd.DataFrame, lamps: pd.DataFrame, faults: Faults) -> None:
    """Report links of a meter with itself, and links that contradict lamps.csv."""
    same = (links["old_meter"] == links["new_meter"]) & (links["old_meter"] != "")
    _each(
        "fault 8",
        links[same],
        "links",
        "new_meter",
        "the same as old_meter; a link needs two meters.",
        faults,
    )
    of_lamp = looked_up(links["lamp"], lamps["lamp"], lamps["technology"])
    other = (of_lamp != "") & (links["technology"] != "") & (of_lamp != links["technology"])
    words = "lamps.csv states another technology for this lamp."
    _each("fault 8", links[other], "links", "technology", words, faults)


def _each(code: str, rows: pd.DataFrame, name: str, column: str, words: str, faults: Faults) -> None:
    """Keep one fault for every row."""
    for line in rows["line"]:
        faults.add(code, TABLES[name].file, words, line=int(line), column=column)


def _one_owner(table: pd.DataFrame, name: str, faults: Faults) -> None:
    """Report a run that belongs to two lamps, specimens or housings."""
    if table.empty:
        return
    columns = [column for column in ("lamp", "specimen", "housing") if column in table]
    owners = table[["run", *columns, "line"]].drop_duplicates(["run", *columns])
    for run, group in owners[owners["run"] != ""].groupby("run", sort=False):
        for line in group["line"].iloc[1:]:
            row = group[group["line"] == line].iloc[0]
            first = group.iloc[0]
            column = next(column for column in columns if row[column] != first[column])
            stands = (
                f'"{shown(str(run))}" stands for {column} "{shown(first[column])}" in line {first["line"]}'
            )
            words = f"{stands}; give each its own run."
            faults.add("fault 7", TABLES[name].file, words, line=int(line), column="run")


def _photos(readings: pd.DataFrame, faults: Faults) -> None:
    """Report pictures outside the folder; a folder inside it is fine."""
    outside = readings["photo"].str.contains(r"^[/~]|^[A-Za-z]:|\\|(?:^|/)\.\.(?:/|$)", regex=True)
    for photo, line in zip(readings["photo"][outside], readings["line"][outside], strict=True):
        words = f'"{shown(photo)}" leaves the folder; put the picture into it.'
        faults.add("fault 27", "readings.csv", words, line=int(line), column="photo")


def _choices(beam: pd.DataFrame, faults: Faults) -> None:
    """Report beams with both or neither of angle and wall positions."""
    if beam.empty:
        return
    angle = beam["horizontal_deg"].notna().to_numpy() | beam["vertical_deg"].notna().to_numpy()
    wall = beam["x_mm"].notna().to_numpy() | beam["y_mm"].notna().to_numpy()
    names = "horizontal_deg and vertical_deg, or x_mm and y_mm"
    if angle.any() and wall.any():
        faults.add("fault 25", "beam.csv", f"holds both angles and wall positions; keep {names}.", line=1)
        return
    pair = ["horizontal_deg", "vertical_deg"] if angle.any() else ["x_mm", "y_mm"]
    if not angle.any() and not wall.any():
        faults.add("fault 25", "beam.csv", f"says nowhere where a reading was taken; add {names}.", line=1)
        return
    for line in beam.loc[beam[pair].isna().any(axis=1), "line"]:
        faults.add(
            "fault 25", "beam.csv", f"both {pair[0]} and {pair[1]} are wanted in every row.", line=int(line)
        )


def _same_rows(table: pd.DataFrame, name: str, key: list[str], typed: pd.Series, faults: Faults) -> None:
    """Report rows with one key; only rows whose key was typed in full count."""
    if table.empty:
        return
    rows = table[typed.to_numpy()]
    again = rows.duplicated(key, keep="first").to_numpy()
    if not again.any():
        return
    first = rows.groupby(key, sort=False, dropna=False)["line"].transform("first")
    for row in np.flatnonzero(again):
        values = rows[key].iloc[row]
        stated = [f"{_word(column)} {_value(value)}" for column, value in values.items() if not _blank(value)]
        words = f"the same reading as line {first.iloc[row]} ({', '.join(stated)})."
        faults.add("fault 17", TABLES[name].file, words, line=int(rows["line"].iloc[row]))


def _word(column: object) -> str:
    return {"elapsed_s": "at second"}.get(str(column), str(column))


def _blank(value: object) -> bool:
    return value == "" or (isinstance(value, float) and np.isnan(value))


def _value(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else shown(str(value), limit=20)


def _above_range(table: pd.DataFrame, name: str, declared: Declared, faults: Faults) -> None:
    """Report readings that their range, or the largest range of their meter, cannot show."""
    if table.empty:
        return
    largest = {identity: max(meter.ranges_lx, default=np.inf) for identity, meter in declared.meters.items()}
    limit = table["range_lx"].fillna(table["meter"].map(largest).astype("float64")).to_numpy(dtype=float)
    for column in ("illuminance_lx", "dark_lx"):
        if column not in table:
            continue
        values = table[column].to_numpy(dtype=float)
        for row in np.flatnonzero(values > limit * (1.0 + 1e-9)):
            words = f"{values[row]:g} lx cannot be read on the {limit[row]:g} lx range."
            file = (table["log_file"].iloc[row] if "log_file" in table else "") or TABLES[name].file
            faults.add("fault 15", file, words, line=int(table["line"].iloc[row]), column=column)
