"""Cautions of a sound folder: what can be used, and what a reader should know before using it."""

from collections.abc import Iterable, Mapping
from datetime import date

import numpy as np
import pandas as pd

from photolab.bench.folder.checks import names_in
from photolab.bench.folder.completion import looked_up
from photolab.bench.inputs.corrections import FILAMENT_FLUX_EXPONENT
from photolab.bench.inputs.readings import bench_spreads, clock_hours
from photolab.bench.inputs.selection import instants
from photolab.bench.terms.faults import Faults, closest, hint, shown, stands_in
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import TABLES
from photolab.bench.terms.value import price_age
from photolab.photometry.lamp import value_at_voltage

SHORT_REST_MIN = 30.0
OLD_CALIBRATION_MONTHS = 24
FAR_DAYS = 366
PLAUSIBLE = ("2000-01-01", "2049-12-31")
"""First and last date of a day that nobody asks about."""
FAR_HOURS = 8.0
SCATTER_LIMIT = 3.0
SAME_MOMENT_S = 30.0
"""Readings of one mounting closer than this are repeats; further apart the light itself has moved. [s]"""
POWER_LIMIT = 0.05
MINUTES_END_S = 120.0
NOT_LIT = 0.1
"""A record whose first reading is a smaller share of the next may begin before the lamp was lit. [1]"""
HOT_C = 200.0
VOLTS_OFF = 0.2
USUAL_FACTOR = (0.8, 1.25)
USUAL_AMPERES, USUAL_LUMENS, USUAL_GRID_MM = 20.0, 100.0, 50.0
HELD_S = (300.0, 14400.0)
"""Readings so long after switch-on are of a lamp that was held. [s]"""
NAMED = 8


def cautions(bench: Bench, faults: Faults) -> None:
    """Keep every caution of a folder that was read without a fault.

    Parameters
    ----------
    bench : Bench
        The folder.
    faults : Faults
        Collects them.
    """
    for caution in (
        _ranges, _seatings, _specifications, _rests, _volts, _ages, _scatter, _baseline, _runs, _dark,
        _left_out, _asked,
    ):  # fmt: skip
        caution(bench, faults)
    for code, name, rows, column, words in _cells(bench):
        faults.where(code, f"{name}.csv", rows, column, words, reference=bench.settings.reference_voltage_V)


def listed(names: Iterable[str]) -> str:
    """Return names as a list in words, the first eight of them.

    Parameters
    ----------
    names : iterable of str
        The names.

    Returns
    -------
    str
        The list.
    """
    *kept, last = [shown(name, limit=30) for name in names] or [""]
    if len(kept) >= NAMED:
        kept, last = [*kept, last][:NAMED], f"{len(kept) + 1 - NAMED} more"
    return f"{', '.join(kept)} and {last}" if kept else last


def same_cells(tables: Mapping[str, pd.DataFrame], faults: Faults) -> None:
    """Keep a caution for rows, as typed, that repeat another one cell by cell.

    Parameters
    ----------
    tables : mapping
        The tables as read, before blank cells are filled.
    faults : Faults
        Collects them.
    """
    for name in ("readings", "distance", "electrical", "thermal", "links"):
        table = tables[name]
        columns = [column for column in table if column != "line"]
        again = table[table.duplicated(columns)]
        if again.empty:
            continue
        groups = table.groupby(columns, sort=False, dropna=False)["line"]
        first = groups.transform("first")[again.index[0]]
        more = f"; {len(again) - 1} more such rows" if len(again) > 1 else ""
        words = f"identical to line {first} in every cell{more}; was a row copied?"
        faults.at("caution 20", TABLES[name].file, again.iloc[0], words)


def _ranges(bench: Bench, faults: Faults) -> None:
    """Caution 21: ranges that are unknown, or not the same for lamps that will be compared."""
    readings = bench.tables["readings"]
    unknown = readings["range_lx"].isna()
    for name, count in readings.loc[unknown, "meter"].value_counts(sort=False).items():
        who = f"{count} readings of meter {shown(str(name))} state"
        words = f"{_of_one(who, count)} no range; its range terms are not shared."
        faults.add("caution 21", "readings.csv", words, column="range_lx")
    for (meter, housing, _), rows in readings[~unknown].groupby(["meter", "housing", "point"], sort=False):
        usual = rows["range_lx"].value_counts(sort=False).idxmax()
        for value, other in rows[rows["range_lx"] != usual].groupby("range_lx", sort=False):
            place = f" in {shown(str(housing))}" if housing else ""
            lamps, days = (listed(names_in(other[column])) for column in ("lamp", "day"))
            read = f"{lamps}{' on ' + days if days else ''} read on the {value:g} lx range"
            apart = f"other readings on {usual:g} lx; range terms are not shared across the two."
            words = f"meter {shown(str(meter))}{place}: {read}, {apart}"
            faults.add("caution 21", "readings.csv", words, column="range_lx")


def _seatings(bench: Bench, faults: Faults) -> None:
    """Caution 22: lamps that were seated once."""
    readings = bench.tables["readings"]
    seats = readings[["lamp", "specimen", "housing", "day", "mounting"]].drop_duplicates()
    counts = seats.groupby(["housing", "lamp"], sort=False).size()
    if (counts > 1).all():
        return
    percent, spreads = f"{bench.settings.mounting_sd_percent:g} %", bench_spreads(bench)
    source = "the scatter of other lamps' seatings is used"
    if spreads is None or spreads.mounting.assumed:  # too few to show any
        declared = "mounting_sd_percent" in bench.settings.declared
        source = f"the declared {percent} is used" if declared else f"{percent} is assumed"
    unlabelled = readings.loc[readings["mounting"] == "", ["lamp", "specimen", "housing", "day"]]
    several = unlabelled.duplicated().any()
    blank = "; rows without a mounting are taken as repeats of one seating" if several else ""
    for housing in seats["housing"].unique():
        once = [lamp for lamp, count in counts[housing].items() if count == 1]
        if once:
            where = f" in {shown(housing)}" if housing else ""
            verb = "was" if len(once) == 1 else "were"
            words = f"{listed(once)} {verb} seated once{where}; {source} for seating{blank}."
            faults.add("caution 22", "readings.csv", words)


def _specifications(bench: Bench, faults: Faults) -> None:
    """Caution 23: a meter whose accuracy line has one part only, and small uncertainties of the power."""
    for meter in bench.meters.values():
        name = f'meter "{shown(meter.id)}"'
        if not meter.range_percent and not meter.digits:
            words = "Most manuals print a second part (% of range, f.s., digits, counts)."
            words = f"{name} has neither range_percent nor digits; 0 is used. {words}"
            faults.add("caution 23", "bench.toml", words)
        for factor in meter.spectral_factors:
            if not USUAL_FACTOR[0] <= factor.factor <= USUAL_FACTOR[1]:
                what = f"a spectral factor of {factor.factor:g} for {factor.technology} is far from 1"
                faults.add("caution 34", "bench.toml", f"{name}: {what}; is it true over displayed reading?")
    if "noticeable_percent" in bench.settings.declared:
        why = "what an eye would notice on a lit road is not known; take the line out"
        faults.add("caution 30", "bench.toml", f"bench.noticeable_percent is not used: {why}.")


def _rests(bench: Bench, faults: Faults) -> None:
    """Caution 24: lamps switched on again too soon."""
    for name in ("readings", "warm_up"):
        table = bench.tables[name]
        short = table[table["rest_minutes"] < SHORT_REST_MIN]
        if len(short):
            off = f"off for {short['rest_minutes'].min():g} min before switch-on"
            words = f"{listed(names_in(short['lamp']))}: {off}; 30 min or more is wanted."
            faults.at("caution 24", TABLES[name].file, short.iloc[0], words, "rest_minutes")


def _of_one(words: str, count: int) -> str:
    """Return "3 readings of … state" as it is, and in the singular where there is one."""
    return words if count != 1 else words.replace("readings", "reading", 1) + "s"


def _volts(bench: Bench, faults: Faults) -> None:
    """Caution 25: filament lamps whose volts are not known."""
    lamps, readings = bench.tables["lamps"], bench.tables["readings"]
    filament = set(lamps.loc[lamps["technology"] == "filament", "lamp"])
    bare = readings[readings["lamp"].isin(filament) & readings["socket_V"].isna()]
    for lamp, count in bare["lamp"].value_counts(sort=False).items():
        who = f"{count} readings of the filament lamp {shown(str(lamp))} state"
        words = f"{_of_one(who, count)} no volts; the supply is assumed."
        faults.add("caution 25", "readings.csv", words, column="socket_V")


def _ages(bench: Bench, faults: Faults) -> None:
    """Cautions 26 and 27: prices and calibrations that are old on the last day of the bench, or younger than it."""
    dates = names_in(bench.tables["days"]["date"])
    if not dates:
        return
    last, lamps = date.fromisoformat(max(dates)), bench.tables["lamps"]
    for row in lamps[lamps["price_date"] != ""].to_dict("records"):
        age, codes = price_age(row["price_date"], str(last))
        said = {
            "old_price": f"was {age} days old on the last day, {last}; look it up again.",
            "price_after_bench": f"is of {row['price_date']}, after the last day, {last}; which is right?",
        }
        for code in codes:
            words = f"the price of {shown(row['lamp'])} {said[code]}"
            faults.at("caution 26", "lamps.csv", row, words, "price_date")
    for meter in bench.meters.values():
        stated = [meter.calibrated_on, meter.certificate.date if meter.certificate else ""]
        if not any(stated):
            continue
        day = date.fromisoformat(max(stated))
        months = 12 * (last.year - day.year) + last.month - day.month - (last.day < day.day)
        when = "after" if day > last else f"{months} months before"
        if months >= OLD_CALIBRATION_MONTHS or day > last:
            words = f'meter "{shown(meter.id)}" was calibrated on {day}, {when} the last day, {last}.'
            faults.add("caution 27", "bench.toml", words)


def reading_scatter(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the pooled scatter of each lamp's repeats.

    Parameters
    ----------
    readings : DataFrame
        Rows of readings, excluded ones left out.

    Returns
    -------
    DataFrame
        ``lamp``, ``sum_of_squares`` and ``dof`` of ln(reading) about the mean of its group. A group is one
        mounting and point, and instants no more than 30 s apart.
    """
    keys = ["lamp", "specimen", "housing", "day", "mounting", "point"]
    table = readings[[*keys, "elapsed_s"]].assign(ln=np.log(readings["illuminance_lx"].to_numpy(dtype=float)))
    table["seat"] = table.groupby(keys, sort=False).ngroup()
    table = table.sort_values(["seat", "elapsed_s"], kind="stable")
    elapsed, untimed = table["elapsed_s"], table["elapsed_s"].isna()
    apart = (table["seat"].diff() != 0) | (elapsed.diff() > SAME_MOMENT_S)
    apart |= untimed != untimed.shift(fill_value=False)
    away = table["ln"] - table.groupby(apart.cumsum())["ln"].transform("mean")
    of_lamp = table.assign(sum_of_squares=away**2, dof=1 - apart).groupby("lamp", sort=False)
    return of_lamp[["sum_of_squares", "dof"]].sum().reset_index()


def _scatter(bench: Bench, faults: Faults) -> None:
    """Caution 28: a lamp whose repeats scatter far more than those of the other lamps."""
    readings = bench.tables["readings"]
    if len(readings) < 2:
        return
    reference, filament = (
        bench.settings.reference_voltage_V,
        readings["lamp"].map(bench.technologies) == "filament",
    )
    volts = readings["socket_V"].where(filament).fillna(reference)  # repeats may be read at other volts
    lit = value_at_voltage(readings["illuminance_lx"], volts, reference, exponent=FILAMENT_FLUX_EXPONENT)
    table = reading_scatter(readings.assign(illuminance_lx=lit))
    dof, squares = table["dof"].to_numpy(dtype=float), table["sum_of_squares"].to_numpy(dtype=float)
    steps = _last_figure(bench)
    levels = readings.groupby("lamp", sort=False)["illuminance_lx"].median()
    for row, lamp in enumerate(table["lamp"]):
        others = float(dof.sum() - dof[row])
        if dof[row] < 2 or others < 4:
            continue
        pooled, own = np.sqrt((squares.sum() - squares[row]) / others), np.sqrt(squares[row] / dof[row])
        if own > SCATTER_LIMIT * max(pooled, steps / np.sqrt(12.0) / float(levels[lamp])) > 0.0:
            both = f"scatter by {_percent(own)} %, those of the other lamps by {_percent(pooled)} %"
            words = f"repeats of {shown(lamp)} {both}; is its light modulated, or was something moving?"
            faults.add("caution 28", "readings.csv", words)


def _percent(relative: float) -> str:
    """Return a scatter in per cent, two digits of it, without an exponent."""
    return f"{float(f'{100.0 * relative:.2g}'):.6g}"


def _last_figure(bench: Bench) -> float:
    """Return the coarsest last figure of the ranges in use [lx]; 0 where none is declared."""
    used = bench.tables["readings"][["meter", "range_lx"]].drop_duplicates().itertuples(index=False)
    figures = {m.id: dict(zip(m.ranges_lx, m.resolution_lx, strict=False)) for m in bench.meters.values()}
    return max(figures.get(meter, {}).get(top, 0.0) for meter, top in used)


def _baseline(bench: Bench, faults: Faults) -> None:
    """Caution 29: no lamp, or more than one, that the others are divided by."""
    lamps = bench.tables["lamps"]
    names = list(lamps.loc[lamps["role"] == "baseline", "lamp"])
    measured = list(bench.tables["readings"]["lamp"].unique())
    first, words = shown(measured[0]), ""
    if not names:
        words = f"no lamp is the baseline; ratios are against the first lamp, {first}"
    elif len(names) > 1:
        words = f"{listed(names)} are all baseline; ratios are against {shown(names[0])}"
    elif names[0] not in measured:
        words = f"the baseline {shown(names[0])} has no reading; ratios are against {first}"
    if words:
        file = "lamps.csv" if "lamps.csv" in bench.files else "readings.csv"
        faults.add("caution 29", file, f"{words}, by row order.")


def _cells(bench: Bench) -> Iterable[tuple[str, str, pd.DataFrame, str, str]]:
    """Yield cautions of single cells: code, table, the rows, column, words."""
    tables, reference = bench.tables, bench.settings.reference_voltage_V
    lamps, heat, power, days = (tables[name] for name in ("lamps", "thermal", "electrical", "days"))
    small = power["uncertainty_percent"].between(0.0, 0.05, inclusive="neither")
    words = "{value:g} % is very small; is it in %?"
    yield "caution 23", "electrical", power[small], "uncertainty_percent", words
    product = power["socket_V"] * power["current_A"]
    off = power.assign(product=product)[(product / power["power_W"] - 1.0).abs() > POWER_LIMIT]
    words = "{value:g} W, and volts times amperes give {product:.4g} W; which is right?"
    yield "caution 31", "electrical", off, "power_W", words
    hot = heat[(heat["displayed_C"] > HOT_C) & ("displayed_F" not in heat)]
    words = "{value:g} degC is very hot; if it is degF, name the column displayed_F."
    yield "caution 32", "thermal", hot, "displayed_C", words
    words = "{value:g} lm is very little; if it is klm, multiply by 1000."
    yield "caution 32", "lamps", lamps[lamps["claimed_flux_lm"] < USUAL_LUMENS], "claimed_flux_lm", words
    unsaid = lamps[lamps["claimed_flux_lm"].notna() & (lamps["claimed_where"] == "")]
    yield "caution 40", "lamps", unsaid, "claimed_where", "blank beside a claim; write where it is printed."
    for name in ("electrical", "warm_up"):
        words = "{value:g} A is a lot; if these are mA, divide by 1000."
        yield "caution 32", name, tables[name][tables[name]["current_A"] > USUAL_AMPERES], "current_A", words
    for name in ("readings", "warm_up", "distance", "electrical", "days"):
        column, rows = "supply_V" if name == "days" else "socket_V", tables[name]
        far = rows[(rows[column] / reference - 1.0).abs() > VOLTS_OFF]
        if far.empty:
            continue
        ambient = far["ambient_C"] if "ambient_C" in far else far[column]
        swapped = (ambient / reference - 1.0).abs() < VOLTS_OFF
        ask = np.where(swapped, "; are volts and ambient in each other's column?", "; which is right?")
        if name in ("readings", "distance"):
            # nothing brings the light of other lamps to the volts
            as_read = ~swapped & (far["lamp"].map(bench.technologies) != "filament")
            ask = np.where(as_read, "; which is right? Its light is given as it was read.", ask)
        words = "{value:g} V on a bench of {reference:g} V (reference_voltage_V){ask}"
        yield "caution 34", name, far.assign(ask=ask), column, words
    for name in ("readings", "distance"):
        share = tables[name]["dark_lx"] / tables[name]["illuminance_lx"]
        words = "{value:g} lx is above half the reading of {illuminance_lx:g} lx; was the lamp covered?"
        yield "caution 34", name, tables[name][(share > 0.5) & (share < 1.0)], "dark_lx", words
    ordinals = [date.fromisoformat(text).toordinal() for text in days["date"]]
    gap = pd.Series(ordinals, days.index, dtype="float64").diff()
    first = looked_up(days["date"], days["date"], days["day"])
    twice = days.assign(first=first)[days["date"].duplicated()]
    yield "caution 37", "days", twice, "date", "{value} is the date of day {first} too."
    words = "{value} is before the day above it; is the year right?"
    yield "caution 37", "days", days[gap < 0], "date", words
    words = "{value} is more than a year after the day above it; is the year right?"
    yield "caution 37", "days", days[gap > FAR_DAYS], "date", words
    words = f"{{value}} is outside {PLAUSIBLE[0][:4]} to {PLAUSIBLE[1][:4]}; is the year right?"
    yield "caution 37", "days", days[~days["date"].between(*PLAUSIBLE)], "date", words
    timed = tables["readings"][["day", "order", "clock", "line"]]
    timed = timed[(timed["clock"] != "") & timed["order"].notna()]
    timed = timed.sort_values(["day", "order"], kind="stable")
    above = timed[["day", "clock"]].shift(fill_value="")
    late = (timed["day"] == above["day"]) & (timed["clock"].astype(object) < above["clock"].astype(object))
    words = "{value} comes after {above} by the order of day {day}; which is right?"
    yield "caution 37", "readings", timed.assign(above=above["clock"])[late], "clock", words
    timed = tables["readings"][["day", "clock", "line"]].drop_duplicates(["day", "clock"])
    timed = timed.assign(h=clock_hours(timed["clock"])).dropna().sort_values(["day", "h"], kind="stable")
    above = timed.groupby("day")[["clock", "h"]].shift()
    far = timed.assign(above=above["clock"], pause=timed["h"] - above["h"])
    words = "{value} is {pause:.0f} h after {above} on one day; is it right? After midnight the hours go on: 24:05."
    yield "caution 37", "readings", far[far["pause"] > FAR_HOURS], "clock", words


def beside_initial(bench: Bench) -> pd.DataFrame:
    """Return the first row with light of each logger's record whose light is not that of the initial time.

    Parameters
    ----------
    bench : Bench
        The folder.

    Returns
    -------
    DataFrame
        Rows of warm_up, with ``end``, the time of the last row with light. [s]
    """
    records, settings = bench.tables["warm_up"], bench.settings
    if "log_file" not in records:
        return records.iloc[:0]
    light = records["illuminance_lx"]
    lit = records[light >= NOT_LIT * light.groupby(records["run"]).transform("max")]
    lit = lit.assign(end=lit.groupby("run")["elapsed_s"].transform("max")).drop_duplicates("run")
    initial, window = settings.initial_s, settings.initial_window_s
    inside = (lit["elapsed_s"] <= initial + window) & (lit["end"] >= initial - window)
    return lit[~inside & (lit["log_file"] != "")]


def _runs(bench: Bench, faults: Faults) -> None:
    """Cautions 32 and 34 of whole runs: times in minutes, a wall in metres, no light yet, dark in some rows only."""
    records = bench.tables["warm_up"]
    of, then = records["run"], records["illuminance_lx"].shift(-1)
    begins = (of != of.shift()) & (of == of.shift(-1))
    unlit = records.assign(then=then)[begins & (records["illuminance_lx"] < NOT_LIT * then)]
    words = "{value:g} lx, then {then:g} lx; if the lamp was not lit yet, leave the row out."
    faults.where("caution 34", "warm_up.csv", unlit, "illuminance_lx", words)
    words = "the light of run {run} begins {elapsed_s:g} s after switch-on and ends {end:g} s after it, and the initial"
    words += " time is {initial:g} s; is switched_on right?"
    late = beside_initial(bench)
    faults.where("caution 34", "warm_up.csv", late, "elapsed_s", words, initial=bench.settings.initial_s)
    if bench.settings.hold_minutes >= 10 and "elapsed_minutes" not in records:
        for run, rows in records.groupby("run", sort=False):
            if (end := rows["elapsed_s"].max()) <= MINUTES_END_S:
                ask = "if these are minutes, name the column elapsed_minutes."
                words = f"run {shown(str(run))} ends at {end:g} s; {ask}"
                faults.add("caution 32", stands_in(rows.iloc[0], "warm_up.csv"), words, column="elapsed_s")
    for name in ("distance", "beam"):
        for run, rows in bench.tables[name].groupby("run", sort=False):
            which, named = rows["dark_lx"].isna(), shown(str(run))
            if which.any() and not which.all():
                words = f"blank in {which.sum()} of {len(rows)} rows of run {named}; there 0 is used."
                faults.at("caution 34", f"{name}.csv", rows[which].iloc[0], words, "dark_lx")
            if name == "distance" or len(rows) < 2:
                continue
            size = float(np.ptp(rows[["x_mm", "y_mm"]].to_numpy(), axis=0).max())
            if size < USUAL_GRID_MM:
                words = f"the grid of run {named} is {size:g} mm wide; if these are metres, multiply by 1000."
                faults.at("caution 32", "beam.csv", rows.iloc[0], words, "x_mm")


def _asked(bench: Bench, faults: Faults) -> None:
    """Caution 37: questions that were asked after the first reading."""
    first = bench.first_date
    for one in (one for one in bench.questions if first and one.asked_on > first):
        words = f'question about "{shown(one.lamp)}": asked_on = {one.asked_on}, after the first reading, of {first}; '
        words += "is the date right? Page one says that it was asked after the readings."
        faults.add("caution 37", "bench.toml", words)


def _dark(bench: Bench, faults: Faults) -> None:
    """Caution 34 of readings that are compared with one another, some with a dark reading and some without."""
    readings = bench.tables["readings"]
    compared = readings[instants(bench) != ""]
    blank = compared["dark_lx"].isna()
    share = blank.groupby(compared["housing"]).transform("mean")
    mixed = compared[(share > 0.0) & (share < 1.0)]
    if len(mixed):
        without = mixed[mixed["dark_lx"].isna()]
        words = f"blank in {len(without)} of {len(mixed)} readings that are compared; there 0 is used."
        faults.at("caution 34", "readings.csv", without.iloc[0], words, "dark_lx")


def _left_out(bench: Bench, faults: Faults) -> None:
    """Caution 38: readings at no instant that is compared, and points where one lamp alone was read."""
    readings, settings, when = bench.tables["readings"], bench.settings, instants(bench)
    late = readings[when == ""]
    if len(late):
        window, hold = f"{settings.initial_window_s:g} s of {settings.initial_s:g} s", settings.hold_minutes
        count = f"{len(late)} reading{'s' * (len(late) > 1)} of {listed(names_in(late['lamp']))}"
        words = f"{count}: not within {window}, nor at the hold time of {hold:g} min; compared with nothing"
        often = float(late["elapsed_s"].mode().max())
        if "hold" not in when and HELD_S[0] <= often <= HELD_S[1]:
            words += f"; if lamps are held so long, write hold_minutes = {round(often / 60.0)} in bench.toml"
        faults.at("caution 38", "readings.csv", late.iloc[0], f"{words}.", "elapsed_s")
    points = names_in(readings["point"])
    for point in points if len(names_in(readings["lamp"])) > 1 else ():
        rows = readings[readings["point"] == point]
        lamps = names_in(rows["lamp"])
        alone, others = len(lamps) == 1, sorted({*points, "hot_spot"} - {point})
        if alone or closest(point, others, cutoff=0.8) == "hot_spot":
            near = hint(point, others, "; did you mean {}?") or "."
            count = f"{len(rows)} reading{'s' * (len(rows) > 1)} of {listed(lamps)}"
            apart = " alone: compared with nothing" if alone else ": another point than hot_spot"
            words = f'"{shown(point)}" has {count}{apart}{near}'
            faults.at("caution 38", "readings.csv", rows.iloc[0], words, "point")
