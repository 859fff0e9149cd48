"""Blank cells that the folder answers elsewhere: row over day over bench.toml, nothing guessed."""

import numpy as np
import pandas as pd

from photolab.bench.faults import Faults, shown
from photolab.bench.schema import TABLES
from photolab.bench.toml_reader import Declared

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
    readings = tables["readings"].copy()
    readings["point"] = readings["point"].mask(readings["point"] == "", "hot_spot")
    tables["readings"] = _from_days(readings, tables["days"])
    for name in ("readings", "warm_up", "distance", "beam"):
        if tables[name].empty:
            continue
        table = tables[name].copy()
        _fill_housing(table, name, declared, faults)
        _fill_meter(table, name, tables["days"], declared, faults)
        _fill_range(table, name, declared, faults)
        tables[name] = table
    out = tables["readings"]["exclude"] == "yes"
    excluded = tables["readings"][out].reset_index(drop=True)
    kept = tables["readings"][~out].reset_index(drop=True)
    tables["readings"] = _numbered(kept)
    return excluded


def looked_up(codes: pd.Series, known: pd.Series, words: pd.Series) -> pd.Series:
    """Return the word that belongs to each code, blank where none does.

    Parameters
    ----------
    codes : Series
        Codes to look up.
    known : Series
        Codes that have a word; the first of equal ones counts.
    words : Series
        Their words.

    Returns
    -------
    Series
        Words, on the index of the codes.
    """
    table = dict(zip(reversed(list(known)), reversed(list(words)), strict=True))
    return pd.Series([table.get(code, "") for code in codes], index=codes.index, dtype="str")


def _from_days(readings: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Take ambient and supply volts of the day where a row has none."""
    if days.empty:
        return readings
    known = days.drop_duplicates("day").set_index("day")
    ambient = readings["day"].map(known["ambient_C"]).astype("float64")
    readings["ambient_C"] = readings["ambient_C"].fillna(ambient)
    supply = readings["day"].map(known["supply_V"]).astype("float64")
    taken = readings["socket_V"].isna() & supply.notna()
    readings["socket_V"] = readings["socket_V"].fillna(supply)
    readings["measured_at"] = readings["measured_at"].mask(taken, "supply")
    return readings


def _fill_housing(table: pd.DataFrame, name: str, declared: Declared, faults: Faults) -> None:
    """Name the only housing where a row names none; with several, the row must say."""
    blank = table["housing"] == ""
    if not blank.any() or not declared.housings:
        return
    if len(declared.housings) == 1:
        table["housing"] = table["housing"].mask(blank, next(iter(declared.housings)))
    elif name == "readings":
        names = ", ".join(map(shown, declared.housings))
        for line in table.loc[blank, "line"]:
            faults.add(
                "fault 5",
                TABLES[name].file,
                f"blank; bench.toml has {names}: name one.",
                line=line,
                column="housing",
            )


def _fill_meter(
    table: pd.DataFrame, name: str, days: pd.DataFrame, declared: Declared, faults: Faults
) -> None:
    """Name the day's meter, else the only meter, where a row names none."""
    if "day" in table and not days.empty:
        of_day = looked_up(table["day"], days["day"], days["meter"])
        table["meter"] = table["meter"].mask(table["meter"] == "", of_day)
    blank = table["meter"] == ""
    if not blank.any() or not declared.meters:
        return
    if len(declared.meters) == 1:
        table["meter"] = table["meter"].mask(blank, next(iter(declared.meters)))
        return
    if name == "warm_up":  # remaining light is a ratio of one meter's readings: it needs no name
        return
    names = ", ".join(map(shown, declared.meters))
    words = f"blank; bench.toml has {names}: name one in the row or in days.csv."
    for line in table.loc[blank, "line"]:
        faults.add("fault 5", TABLES[name].file, words, line=line, column="meter")


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
        nearest = ranges[np.abs(values[rows, None] - ranges).argmin(axis=1)]
        known = np.abs(values[rows] - nearest) <= tolerance * nearest
        values[rows[known]] = nearest[known]
        listed = ", ".join(f"{top:g}" for top in meter.ranges_lx)
        for row in rows[~known]:
            words = f"{values[row]:g} lx is not a range of meter {shown(identity)} ({listed} lx)."
            faults.add(
                "fault 12", TABLES[name].file, words, line=int(table["line"].iloc[row]), column="range_lx"
            )
    table["range_lx"] = values


def _numbered(readings: pd.DataFrame) -> pd.DataFrame:
    """Give blank repeats a number by row order, past the numbers already used in their group."""
    blank = readings["repeat"].isna().to_numpy()
    if not blank.any():
        return readings
    groups = readings.groupby(REPEAT_GROUP, sort=False, dropna=False)
    if blank.all():
        readings["repeat"] = groups.cumcount().to_numpy(dtype=float) + 1.0
        return readings
    repeat = readings["repeat"].to_numpy(dtype=float, copy=True)
    for group in groups.indices.values():
        rows = np.asarray(group)
        used = set(repeat[rows][~blank[rows]].tolist())
        free = (float(n) for n in range(1, 2 * len(rows) + 2) if float(n) not in used)
        for row in rows[blank[rows]]:
            repeat[row] = next(free)
    readings["repeat"] = repeat
    return readings


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
    names = list(readings["lamp"].unique())
    data: dict[str, pd.Series] = {}
    for column in TABLES["lamps"].columns:
        filler = np.full(len(names), np.nan) if column.numeric else [""] * len(names)
        values = names if column.name == "lamp" else filler
        data[column.name] = pd.Series(values, dtype="float64" if column.numeric else "str")
    first = readings.drop_duplicates("lamp")["line"].to_numpy()
    return pd.DataFrame({**data, "line": pd.Series(first, dtype="int64")})
