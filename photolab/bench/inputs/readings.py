"""The one table of who shares what: readings by columns, as estimates and what moves them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.seats import mounting_means, whole_mountings
from photolab.bench.inputs.selection import select
from photolab.bench.inputs.shared_inputs import Loadings, add_meter, spread_input
from photolab.bench.inputs.spreads import Spread, Spreads, campaign_spreads
from photolab.bench.terms import instruments
from photolab.bench.terms.columns import Columns, Table
from photolab.bench.terms.model import Bench, Meter
from photolab.metrology.quantity import Input, Joint, Measured, limits

DRIFT_PERCENT_PER_HOUR = 0.5
"""Standard uncertainty of the drift of lamp, supply and meter within a day, assumed. [%/h]"""
ELAPSED_U_S = 2.0
"""Standard uncertainty of the time since switch-on, assumed. [s]"""
WARM_UP_SLOPE = 0.0005
"""Change of light of an LED lamp a second at the initial time, assumed (0.86 of it left with 4 min: 0.0006). [1/s]"""
DRIFT = Input(("drift",), DRIFT_PERCENT_PER_HOUR / 100.0, kind="day", source="assumed")
"""Drift within one day in one housing; readings of the baseline early and late in the day tell it. [1/h]"""


def clock_hours(clock: ArrayLike) -> NDArray[np.float64]:
    """Return the clock as hours.

    Parameters
    ----------
    clock : array_like of str
        "HH:MM" or "HH:MM:SS", after midnight of an evening "24:05"; blank where unknown.

    Returns
    -------
    ndarray
        Hours since the midnight before; NaN where blank. [h]
    """
    table = Columns({"clock": np.asarray(clock, dtype=object)})
    by = table.groups("clock")
    parts = [str(text).split(":") for text in table["clock"][by.first]]
    hours = [sum(float(v) / 60**i for i, v in enumerate(p)) if p[0] else math.nan for p in parts]
    return np.array(hours)[by.code]


def readings(
    columns: Table,
    bench: Bench,
    spreads: Spreads,
    *,
    shown: Table | None = None,
    certificate_age: Mapping[str, float] | None = None,
) -> Joint:
    """Return mounting means as quantities: estimates in ln, and one sparse matrix of what moves them.

    Parameters
    ----------
    columns : DataFrame or mapping of columns
        One entry a mounting mean in each, as `Campaign.seats`: what `shared_inputs.add_meter` and
        `add_supply_and_time` name, ln_value, and hours (from the middle of the day) [h].
    bench : Bench
        Its meters and reference voltage.
    spreads : Spreads
        Standard deviations of readings, mountings, days and specimens.
    shown : DataFrame or mapping of columns, optional
        Each reading behind the means: seat (place of its mean) and net_lx; one a mean where not given. [lx]
    certificate_age : mapping, optional
        Years since the certificate, by meter. [a]

    Returns
    -------
    Joint
        Named by number. [ln lx]
    """
    seats = Columns.of(columns)
    loads = Loadings(seats)
    add_meter(loads, bench.meters, shown=shown, certificate_age=certificate_age)
    seat = ("lamp", "specimen", "housing", "day", "mounting")
    loads.add(seat, 1.0, *_pooled(seats, "mounting", "housing", spreads.seating_in))
    noise = seats.groups("lamp", "n")
    sds = spreads.noise(seats)[noise.first].tolist()
    lamps = seats["lamp"][noise.first].tolist()
    dofs = [spreads.reading[str(lamp)].dof for lamp in lamps]
    scatter = [spread_input("noise", (), sd, dof, pool=f"{dof:g}") for sd, dof in zip(sds, dofs, strict=True)]
    noisy = np.where(np.array(sds) > 0.0, 1.0, 0.0)[noise.code]
    loads.add((*seat, "point", "instant"), noisy, scatter, noise.code)
    for kind, spread in spreads.heated.items():
        hot = (seats["instant"] == "hold") & (seats["technology"] == kind) & (spread.sd > 0.0)
        loads.add((*seat, "point"), hot, [spread_input("heating", (), spread.sd, spread.dof, pool=kind)])
    loads.add(("day", "housing"), seats.numbers("hours"), [DRIFT])
    loads.add(("day", "housing"), 1.0, [spread_input("day", (), spreads.day.sd, spreads.day.dof)])
    loads.add(("lamp", "specimen"), 1.0, *_pooled(seats, "specimen", "lamp", spreads.specimens.__getitem__))
    add_supply_and_time(loads, bench.meters, bench.settings.reference_voltage_V)
    return loads.joint(seats["number"].tolist(), seats.numbers("ln_value"))


def reading(row: Mapping[str, Any], bench: Bench, spreads: Spreads) -> Measured:
    """Return one mounting mean as a quantity: the case of one row of `readings`.

    Parameters
    ----------
    row : mapping
        Column to entry, as a row of `Campaign.seats`.
    bench, spreads
        As for `readings`.

    Returns
    -------
    Measured
        ln of the reading. [ln lx]
    """
    table = {column: np.array([entry]) for column, entry in dict(row).items()}
    return readings(table, bench, spreads)[row["number"]]


def _pooled(
    seats: Columns, term: str, column: str, spread_of: Callable[[str], Spread]
) -> tuple[list[Input], NDArray[np.intp]]:
    """Return the inputs whose standard deviation was taken from one pool, and the pool of each row."""
    groups = seats.groups(column)
    pools = {label: spread_of(label) for label in map(str, seats[column][groups.first])}
    return [spread_input(term, (), s.sd, s.dof, pool=pool) for pool, s in pools.items()], groups.code


def seated(
    readings: pd.DataFrame, bench: Bench, corrections: Iterable[str]
) -> tuple[steps.Corrected, dict[str, NDArray[Any]], NDArray[np.intp]]:
    """Return readings corrected, and their mounting means.

    Parameters
    ----------
    readings : DataFrame
        Those that enter, of `selection.select`.
    bench : Bench
        The bench.
    corrections : iterable of str
        Corrections to apply.

    Returns
    -------
    tuple of (Corrected, dict, ndarray of int)
        The readings, with clock_h [h]; the means, apart by clock; and the place of the mean of each reading.
    """
    corrected = steps.apply(readings, bench, corrections)
    corrected.columns["clock_h"] = clock_hours(corrected.columns["clock"])
    return corrected, *mounting_means(corrected.columns)


def bench_spreads(bench: Bench, corrections: Iterable[str] = steps.ALL) -> Spreads | None:
    """Return the scatter that the whole campaign measured under some corrections; None where no reading enters.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str
        Corrections to apply.

    Returns
    -------
    Spreads or None
        For what is read beside it: candela and beams.
    """
    selection = select(bench)
    if selection.readings.empty:
        return None
    _, means, _ = seated(selection.readings, bench, corrections)
    return campaign_spreads(whole_mountings(Columns(means)), bench.settings, selection.baseline)


def add_supply_and_time(loads: Loadings, meters: Mapping[str, Meter], reference: float) -> None:
    """Add supply voltage, ambient, meter temperature and elapsed time.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs. Its rows: exponent, volts, ln_voltage_ratio, warmth_K, led_warmth_K, elapsed_s, identity.
    meters : mapping
        Meters by id.
    reference : float
        Voltage that filament lamps are brought to. [V]
    """
    seats = loads.seats
    exponent, volts = seats.numbers("exponent"), seats.numbers("volts")
    stated = ~np.isnan(volts)
    slope = np.where(stated, -exponent / np.where(stated, volts, 1.0), 0.0)
    loads.add(("number",), slope, [_supply(Input, "supply voltage", steps.VOLTMETER_U_V)])
    scale = _supply(limits, "voltmeter", steps.VOLTMETER_SCALE_PERCENT / 100.0)
    loads.add((), np.where(stated, -exponent, 0.0), [scale])
    supply = _supply(limits, "supply assumed", steps.ASSUMED_VOLTAGE_LIMIT_V / reference)
    loads.add((), np.where(stated, 0.0, -exponent), [supply])
    law = _supply(Input, "voltage exponent", steps.FILAMENT_EXPONENT_U)
    loads.add((), seats.numbers("ln_voltage_ratio"), [law])
    by = seats.groups("meter")
    warm = [instruments.meter_temperature_input(meters[m], "") for m in seats["meter"][by.first].tolist()]
    loads.add(("meter", "day"), seats.numbers("warmth_K"), warm, by.code)
    ambient = limits(("ambient",), steps.LED_AMBIENT_LIMIT, kind="ambient", source="assumed")
    loads.add(("lamp",), -seats.numbers("led_warmth_K"), [ambient])
    timed = ~np.isnan(seats.numbers("elapsed_s")) & (seats["technology"] != "filament")
    elapsed = Input(("elapsed time",), ELAPSED_U_S, kind="elapsed time", source="assumed")
    loads.add(("number",), WARM_UP_SLOPE * (timed & (seats["instant"] == "initial")), [elapsed])


def _supply(make: Callable[..., Input], term: str, size: float) -> Input:
    return make((term,), size, kind="supply", source="assumed")
