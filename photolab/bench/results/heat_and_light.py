"""Heat and light of one warm-up record: which record is looked at, %/K of case and room, K/W.

The case temperature stands in warm_up.csv beside the light. It is the temperature of the case where it was read; of
the junction inside nothing is said. All of this describes what happened together on the bench.
"""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.inputs.corrections import LED_AMBIENT_COEFFICIENT, LED_AMBIENT_LIMIT
from photolab.bench.inputs.electrical import lamp_power
from photolab.bench.inputs.selection import instants
from photolab.bench.inputs.surface import AMBIENT_LIMIT_K, THERMOCOUPLE_LIMIT_K
from photolab.bench.results.heat import WarmUpRun, range_term, warm_up_runs
from photolab.bench.terms.model import Bench
from photolab.errors import MethodError, demand
from photolab.metrology.quantity import Input, Measured, coverage_factor, limits, measured
from photolab.thermal.coupling import (
    ExpectedLight,
    Slope,
    TimeConstants,
    light_at_ambient,
    light_per_kelvin,
    shared_time_constants,
    thermal_resistance,
)

CASE_NOISE_K = 0.5
"""Standard uncertainty of one case temperature, what all readings share left out; assumed. [K]"""
RADIANT_LOW, RADIANT_HIGH = 0.2, 0.4
"""Part of the power of a white LED lamp that leaves as light, assumed: common practice, no source. [1]"""
TRANSFER_LIMIT = 0.5
"""Limit of how far %/K of the case, as found while warming up, carries over to %/K of the room; assumed, no source. A
record alone cannot tell: its light also moves with the source, which warms faster than the case. [1]"""


def looked_at(bench: Bench, *, run: str | None = None, lamp: str | None = None) -> WarmUpRun:
    """Return the record that is looked at in depth.

    Parameters
    ----------
    bench : Bench
        The bench.
    run, lamp : str, optional
        Which; by default the first that has a curve, of the first lamp of lamps.csv that is not the baseline.

    Returns
    -------
    WarmUpRun
        Without a warm-up record the readings of one seating at both instants, as a record of their own.

    Raises
    ------
    ValueError
        If no record is of that name or lamp.
    """
    runs, lamps = warm_up_runs(bench), bench.tables["lamps"]
    order, first = list(lamps["lamp"]), set(lamps.loc[lamps["role"] == "baseline", "lamp"])
    found = [r for r in runs if (run or r.run) == r.run and (lamp or r.lamp) == r.lamp]
    if found:
        places = {r.run: order.index(r.lamp) if r.lamp in order else len(order) for r in found}
        return min(found, key=lambda r: (r.fit is None, r.lamp in first, places[r.run]))
    known = not run and not (lamp and runs)
    demand(known, "run and lamp must be those of a record in warm_up.csv", repr(run or lamp))
    return _seated_once(bench, lamp, first)


def _seated_once(bench: Bench, lamp: str | None, last: set[str]) -> WarmUpRun:
    """Return the readings of the first seating that was read at both instants; of any where none was."""
    readings = bench.tables["readings"].assign(instant=instants(bench))
    readings = readings[readings["lamp"] == (lamp or readings["lamp"])]
    at = readings["elapsed_s"].fillna(bench.settings.initial_s)
    seat = ["lamp", "specimen", "housing", "day", "mounting"]
    blocks = readings.assign(elapsed_s=at).groupby(seat, sort=False)
    (name, specimen, housing, day, _), block = max(
        blocks, key=lambda seat: (len({*seat[1]["instant"]} - {""}), seat[0][0] not in last)
    )
    record = block.groupby("elapsed_s", as_index=False).first()
    record = record.reindex(columns=bench.tables["warm_up"].columns)
    record["illuminance_lx"] = block.groupby("elapsed_s")["illuminance_lx"].mean().to_numpy()
    who = str(name), str(specimen), str(housing), str(day)
    return WarmUpRun("readings", *who, record, range_term(bench, record))


def with_case(run: WarmUpRun) -> pd.DataFrame:
    """Return the readings of a record that state a case temperature, up to a step.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    DataFrame
        Its rows.

    Raises
    ------
    MethodError
        If the record has no curve, states no case temperature, or its light is one figure.
    """
    if run.fit is None and run.refusals:
        raise run.refusals[0].with_traceback(None)  # one and the same, however often it is raised
    step = run.fit.step if run.fit is not None else None
    rows = run.record[run.record["elapsed_s"] < (math.inf if step is None else step.time_s)]
    rows = rows[rows["case_C"].notna()]
    if rows.empty or run.fit is None:
        message = "the record states no case temperature"
        raise MethodError(message, code="no_case_temperature")
    if np.ptp(rows["illuminance_lx"].to_numpy(float)) == 0.0:
        message = "every reading of the light is the same figure"
        raise MethodError(message, code="constant_record")
    return rows


def slope_of(run: WarmUpRun, *, coverage: float) -> Slope:
    """Return the light of a record for each kelvin of its case, up to a step.

    Parameters
    ----------
    run : WarmUpRun
        The record.
    coverage : float
        Coverage probability. [1]

    Returns
    -------
    Slope
        As `light_per_kelvin` gives it, with the scatter about the curve and `CASE_NOISE_K`. [%/K]

    Raises
    ------
    MethodError
        As `with_case` and `light_per_kelvin`.
    """
    rows = with_case(run)
    return light_per_kelvin(
        rows["illuminance_lx"],
        rows["case_C"],
        light_uncertainty=math.nan if run.fit is None else run.fit.residual_sd,
        temperature_uncertainty=CASE_NOISE_K,
        time_s=rows["elapsed_s"],
        coverage=coverage,
    )


def constants_of(run: WarmUpRun, *, coverage: float) -> TimeConstants:
    """Return whether light and case of a record settle together, up to a step.

    Parameters
    ----------
    run : WarmUpRun
        The record.
    coverage : float
        Coverage probability. [1]

    Returns
    -------
    TimeConstants
        As `shared_time_constants` gives them. [s]

    Raises
    ------
    MethodError
        As `with_case` and `shared_time_constants`.
    """
    rows = with_case(run)
    return shared_time_constants(rows["elapsed_s"], rows["illuminance_lx"], rows["case_C"], coverage=coverage)


def to_room(slope: Slope) -> Slope:
    """Return %/K of the room from %/K of the case: the same figure, with the doubt that it carries over.

    Parameters
    ----------
    slope : Slope
        Light for each kelvin of the case. [%/K]

    Returns
    -------
    Slope
        With a wider interval, half of the slope either way as an assumed limit. [%/K]
    """
    middle, u = slope.percent_per_kelvin, 100.0 * _carried_over(slope).u
    half = coverage_factor(slope.coverage) * u
    return replace(slope, standard_uncertainty=u, low=middle - half, high=middle + half, dof=math.inf)


def _carried_over(slope: Slope) -> Measured:
    """Return the light for each kelvin of the room, with the doubt of the way from case to room. [1/K]."""
    own, u = slope.percent_per_kelvin / 100.0, slope.standard_uncertainty / 100.0
    carried = limits("from case to room", TRANSFER_LIMIT * abs(own), source="assumed")
    return measured(own, Input("line", u, kind="fit", source="own readings"), carried)


def room_coefficients(slope: Slope | MethodError) -> dict[str, Measured]:
    """Return the light for each kelvin of the room, as assumed for LED lamps and as a record has it.

    Parameters
    ----------
    slope : Slope or MethodError
        Light of a record for each kelvin of the case, or why there is none; how far it carries over to the room is
        counted in, as in `to_room`.

    Returns
    -------
    dict of str to Measured
        By source. [1/K]
    """
    assumed = measured(LED_AMBIENT_COEFFICIENT, limits("LED lamps", LED_AMBIENT_LIMIT))
    found = {"assumed for LED lamps": assumed}
    if not isinstance(slope, MethodError):
        source = "from this record, ± half of it for the way from case to room (assumed)"
        found[source] = _carried_over(slope)
    return found


def is_filament(bench: Bench, lamp: str) -> bool:
    """Return whether a lamp is a filament lamp by lamps.csv.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    bool
        False where lamps.csv does not say.
    """
    return bench.technologies.get(lamp) == "filament"


def at_hold_time(bench: Bench, run: WarmUpRun) -> pd.DataFrame:
    """Return the readings of a record within a twentieth of the hold time from it.

    Parameters
    ----------
    bench : Bench
        The bench.
    run : WarmUpRun
        The record.

    Returns
    -------
    DataFrame
        Its rows; none where the record ends before.
    """
    hold_s = 60.0 * bench.settings.hold_minutes
    return run.record[(run.record["elapsed_s"] - hold_s).abs() <= 0.05 * hold_s]


def case_to_ambient(bench: Bench, run: WarmUpRun) -> Measured:
    """Return the thermal resistance from the case to the ambient at the hold time.

    Parameters
    ----------
    bench : Bench
        The bench, with the watts of electrical.csv.
    run : WarmUpRun
        A record that reaches the hold time.

    Returns
    -------
    Measured
        As `thermal_resistance` gives it, with the assumed radiant part. [K/W]

    Raises
    ------
    MethodError
        For a filament lamp (most of its power leaves as radiation), or where case, ambient or watts are missing.
    """
    power, last = lamp_power(bench, run.lamp, "hold"), at_hold_time(bench, run)
    rise = float((last["case_C"] - last["ambient_C"]).mean())
    if math.isnan(rise) or power is None or is_filament(bench, run.lamp):
        message = "case, ambient and watts must be known at the hold time, of a lamp without a filament"
        raise MethodError(message, code="no_resistance")
    case = limits(("thermocouple", run.run), THERMOCOUPLE_LIMIT_K, kind="scale", source="assumed")
    room = limits(("ambient", run.run), AMBIENT_LIMIT_K, kind="ambient", source="assumed")
    half = (RADIANT_HIGH - RADIANT_LOW) / 2.0
    radiant = limits("radiant fraction of an LED lamp", half, kind="model spread", source="assumed")
    above: Any = measured(rise, case, (room, -1.0), unit="K")
    watts: Any = power.watts
    part: Any = measured(RADIANT_LOW + half, radiant)
    found: Measured = thermal_resistance(above, watts, radiant_fraction=part)
    return found


def expected_at(bench: Bench, run: WarmUpRun, slope: Slope, other_ambient: float) -> ExpectedLight:
    """Return the remaining light expected at another ambient: an extrapolation, never a measurement.

    Parameters
    ----------
    bench : Bench
        The bench.
    run : WarmUpRun
        A record with remaining light at the hold time.
    slope : Slope
        Light for each kelvin of the case.
    other_ambient : float
        The other ambient temperature. [degC]

    Returns
    -------
    ExpectedLight
        As `light_at_ambient` gives it, with the slope of the room. [1]

    Raises
    ------
    MethodError
        For a filament lamp, where remaining light or ambient are missing, or where the lamp cut its own power.
    """
    ambient = float(run.record["ambient_C"].mean())
    stepped = run.fit is None or run.fit.step is not None
    if run.remaining is None or math.isnan(ambient) or stepped or is_filament(bench, run.lamp):
        message = "remaining light and ambient must be known, of a lamp without a filament that did not cut its power"
        raise MethodError(message, code="no_expectation")
    return light_at_ambient(
        run.remaining.value,
        ln_standard_uncertainty=run.remaining.ln_standard_uncertainty,
        slope=to_room(slope),
        ambient=ambient,
        other_ambient=other_ambient,
        coverage=bench.settings.coverage,
    )
