"""Blank cells that the folder answers elsewhere: row over day over bench.toml, nothing guessed."""

from collections.abc import Collection

import numpy as np
import pandas as pd

from photolab.bench.folder.declared import Declared
from photolab.bench.folder.tables import empty_table
from photolab.bench.terms.faults import Faults, shown
from photolab.bench.terms.schema import TABLES

Tables = dict[str, pd.DataFrame]
REPEAT_GROUP = ["lamp", "specimen", "housing", "day", "mounting", "point", "elapsed_s"]
RANGE_TOLERANCE = 1e-3  # a range typed in foot-candles meets its lux value to the figures printed on meters


def complete(tables: Tables, declared: Declared, faults: Faults) -> pd.DataFrame:
    """Fill blank cells of the tables in place of the old ones and return the excluded readings.

    Parameters
    ----------
    tables : dict
        Tables as read; replaced by completed ones.
    declared : Declared
        What bench.toml says.
    faults : Faults
        Collects what stays open.

    Returns
    -------
    DataFrame
        Rows of readings.csv that are excluded, with the same columns.
    """
    readings = tables["readings"].copy(deep=False)
    readings["point"] = readings["point"].mask(readings["point"] == "", "hot_spot")
    tables["readings"] = _from_days(readings, tables["days"])
    for name in ("readings", "warm_up", "distance", "beam", "plan"):
        if tables[name].empty:
            continue
        tables[name] = table = tables[name].copy(deep=False)
        file = TABLES[name].file
        _name_only(table, "housing", declared.housings, faults, file if name == "readings" else "")
        if name != "plan":
            _meter_of_day(table, tables["days"])
            # in warm_up remaining light is a ratio of one meter's readings: it needs no name
            file, where = "" if name == "warm_up" else file, " in the row or in days.csv"
            _name_only(table, "meter", declared.meters, faults, file, where)
            _fill_range(table, name, declared, faults)
    out = tables["readings"]["exclude"] == "yes"
    excluded = tables["readings"][out].reset_index(drop=True)
    kept = tables["readings"][~out].reset_index(drop=True) if out.any() else tables["readings"]
    tables["readings"] = _numbered(kept)
    return excluded


def looked_up(codes: pd.Series, known: pd.Series, words: pd.Series) -> pd.Series:
    """Return what belongs to each code, blank or NaN where nothing does.

    Parameters
    ----------
    codes : Series
        Codes to look up.
    known : Series
        Codes that have a word or number; the first of equal ones counts.
    words : Series
        Their words or numbers.

    Returns
    -------
    Series
        Words or numbers, on the index of the codes.
    """
    of_code = pd.Series(words.to_numpy(), index=known)[~known.duplicated().to_numpy()]
    found = of_code.reindex(codes).set_axis(codes.index)
    return found if words.dtype.kind == "f" else found.fillna("").astype("str")


def _from_days(readings: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Take ambient and supply volts of the day where a row has none."""
    if days.empty:
        return readings
    ambient, supply = (looked_up(readings["day"], days["day"], days[c]) for c in ("ambient_C", "supply_V"))
    volts = readings["socket_V"]
    return readings.assign(
        ambient_C=readings["ambient_C"].fillna(ambient), socket_V=volts.fillna(supply),
        measured_at=readings["measured_at"].mask(volts.isna() & supply.notna(), "supply"),
    )  # fmt: skip


def _name_only(
    table: pd.DataFrame, column: str, known: Collection[str], faults: Faults, file: str, where: str = ""
) -> None:
    """Name the only housing or meter where a row names none; of several, the rows of a file must say which."""
    blank = table[column] == ""
    if len(known) == 1:
        table[column] = table[column].mask(blank, next(iter(known)))
    elif known and file:
        words = f"blank; bench.toml has {{names}}: name one{where}."
        if (
            where and "day" in table and any(of_file == "days.csv" for of_file, _ in faults.lines)
        ):  # the day's own may be lost there
            blank &= table["day"] == ""
        table = faults.sound(table[blank], file, "day")
        faults.where("fault 5", file, table, column, words, names=", ".join(map(shown, known)))


def _meter_of_day(table: pd.DataFrame, days: pd.DataFrame) -> None:
    """Name the day's meter where a row names none."""
    blank = table["meter"] == ""
    if "day" in table and blank.any() and (days["meter"] != "").any():
        table["meter"] = table["meter"].mask(blank, looked_up(table["day"], days["day"], days["meter"]))


def _fill_range(table: pd.DataFrame, name: str, declared: Declared, faults: Faults) -> None:
    """Take a meter's only range where a row has none; meet typed ranges with the meter's list."""
    values = table["range_lx"].to_numpy(dtype=float, copy=True)
    for identity, meter in declared.meters.items():
        mine = (table["meter"] == identity).to_numpy()
        if not mine.any() or not meter.ranges_lx:
            continue
        if len(meter.ranges_lx) == 1:
            values[mine & np.isnan(values)] = meter.ranges_lx[0]
        ranges = np.array(meter.ranges_lx)
        tolerance = RANGE_TOLERANCE if "range_fc" in table else 1e-9
        rows = np.flatnonzero(mine & ~np.isnan(values))
        typed, place = np.unique(values[rows], return_inverse=True)
        nearest = ranges[np.abs(typed[:, None] - ranges).argmin(axis=1)]
        known = np.abs(typed - nearest) <= tolerance * nearest
        values[rows] = np.where(known, nearest, typed)[place]
        listed = ", ".join(f"{top:g}" for top in meter.ranges_lx)
        words = "{value:g} lx is not a range of meter {identity} ({listed} lx)."
        strange = table.iloc[rows[~known[place]]]
        faults.where("fault 12", f"{name}.csv", strange, "range_lx", words, identity=identity, listed=listed)
    table["range_lx"] = values


def _numbered(readings: pd.DataFrame) -> pd.DataFrame:
    """Give blank repeats a number by row order, past the numbers already used in their group."""
    blank = readings["repeat"].isna().to_numpy()
    if not blank.any():
        return readings
    groups = readings.groupby(REPEAT_GROUP, sort=False, dropna=False)
    if blank.all():
        return readings.assign(repeat=groups.cumcount().to_numpy(dtype=float) + 1.0)
    repeat = readings["repeat"].to_numpy(dtype=float, copy=True)
    for group in groups.indices.values():
        rows = np.asarray(group)
        used = set(repeat[rows][~blank[rows]].tolist())
        free = (float(n) for n in range(1, 2 * len(rows) + 2) if float(n) not in used)
        for row in rows[blank[rows]]:
            repeat[row] = next(free)
    return readings.assign(repeat=repeat)


def lamps_of(readings: pd.DataFrame) -> pd.DataFrame:
    """Return a lamps table made of the lamps read, by row order, their technology and role blank.

    Parameters
    ----------
    readings : DataFrame
        The readings.

    Returns
    -------
    DataFrame
        One row a lamp, with the columns of lamps.csv.
    """
    first = readings.loc[~readings["lamp"].duplicated(), ["lamp", "line"]]
    return empty_table(TABLES["lamps"], len(first), first)
