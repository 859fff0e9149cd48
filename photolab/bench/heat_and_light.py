"""Heat and light of one warm-up record: a second way to the remaining light, %/K, K/W, and other ambients.

The case temperature stands in warm_up.csv beside the light. It is the temperature of the case where it was read; of
the junction inside nothing is said. All of this describes what happened together on the bench.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench.corrections import LED_AMBIENT_COEFFICIENT, LED_AMBIENT_LIMIT
from photolab.bench.electrical import lamp_power
from photolab.bench.heat import WarmUpRun
from photolab.bench.model import Bench
from photolab.bench.surface import AMBIENT_LIMIT_K, THERMOCOUPLE_LIMIT_K
from photolab.errors import MethodError
from photolab.metrology.quantity import COVERAGE, Measured, apply, limits, measured
from photolab.thermal.coupling import (
    ExpectedLight,
    Slope,
    TimeConstants,
    light_at_ambient,
    light_per_kelvin,
    shared_time_constants,
    thermal_resistance,
    to_ambient,
    to_ambient_uncertainty,
)
from photolab.thermal.exponentials import fit_exponentials

CASE_NOISE_K = 0.5
"""Standard uncertainty of one case temperature, what all readings share left out; assumed. [K]"""
RADIANT_LOW, RADIANT_HIGH = 0.2, 0.4
"""Part of the power of a white LED lamp that leaves as light, assumed: common practice, no source. [1]"""
TRANSFER_LIMIT = 0.5
"""Limit of how far %/K of the case, as found while warming up, carries over to %/K of the room; assumed, no source. A
record alone cannot tell: its light also moves with the source, which warms faster than the case. [1]"""
NEAR_READINGS = 5
"""So many readings about an instant are averaged. [1]"""


@dataclass(frozen=True)
class Coupling:
    """How light and case temperature went together in one record.

    Attributes
    ----------
    slope : Slope or None
        Light for each kelvin of the case. [%/K]
    constants : TimeConstants or None
        Whether they settle together. [s]
    until_s : float
        Last instant used: the end, or the reading before a step. [s]
    stepped : bool
        Whether a step ended it.
    refusals : tuple of MethodError
        Why a part has no answer.
    """

    slope: Slope | None
    constants: TimeConstants | None
    until_s: float
    stepped: bool
    refusals: tuple[MethodError, ...]


def with_case(run: WarmUpRun) -> pd.DataFrame:
    """Return the readings of a record that state a case temperature, up to a step.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    DataFrame
        Its rows; empty where no case temperature was logged.
    """
    step = run.fit.step if run.fit is not None else None
    before = run.record["elapsed_s"] < (math.inf if step is None else step.time_s)
    return run.record[before & run.record["case_C"].notna()]


def coupling(run: WarmUpRun, *, coverage: float = COVERAGE) -> Coupling:
    """Return how light and case temperature went together.

    Parameters
    ----------
    run : WarmUpRun
        A record that could be fitted.
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    Coupling
        %/K and time constants, or why not; what comes after a step is left out.
    """
    rows, refusals = with_case(run), []
    slope: Slope | None = None
    constants: TimeConstants | None = None
    stepped = run.fit is not None and run.fit.step is not None
    until = float(rows["elapsed_s"].max()) if len(rows) else math.nan
    if run.fit is None or rows.empty:
        missing = MethodError("the record states no case temperature", code="no_case_temperature")
        return Coupling(None, None, until, stepped, (*run.refusals, missing))
    if np.ptp(rows["illuminance_lx"].to_numpy(float)) == 0.0:
        alike = MethodError("every reading of the light is the same figure", code="constant_record")
        return Coupling(None, None, until, stepped, (alike,))
    try:
        slope = light_per_kelvin(
            rows["illuminance_lx"],
            rows["case_C"],
            light_uncertainty=reading_sd(run),
            temperature_uncertainty=CASE_NOISE_K,
            time_s=rows["elapsed_s"],
            coverage=coverage,
        )
    except MethodError as refused:
        refusals.append(refused)
    try:
        constants = shared_time_constants(
            rows["elapsed_s"], rows["illuminance_lx"], rows["case_C"], coverage=coverage
        )
    except MethodError as refused:
        refusals.append(refused)
    return Coupling(slope, constants, until, stepped, tuple(refusals))


def reading_sd(run: WarmUpRun) -> float:
    """Return the SD of one reading about the fitted curve.

    Parameters
    ----------
    run : WarmUpRun
        A record that could be fitted.

    Returns
    -------
    float
        Standard deviation, five parameters taken off. [lx]
    """
    if run.fit is None:
        return math.nan
    residual = run.fit.residuals
    return float(np.sqrt(np.sum(residual**2) / max(residual.size - 5, 1)))


def plain_ways(run: WarmUpRun, at_s: float, *, initial_s: float) -> pd.DataFrame:
    """Return remaining light in two plain ways that share nothing with the method but the readings.

    Parameters
    ----------
    run : WarmUpRun
        The record.
    at_s, initial_s : float
        Later and earlier instant. [s]

    Returns
    -------
    DataFrame
        way ("one_exponential", "near_readings"), value [1]; a way that the record does not allow is left out.

    Notes
    -----
    One exponential by ordinary least squares knows no step and no second rate. The means of the readings
    nearest to both
    instants know no curve at all; where the light bends within them, they are biased by it.
    """
    times = run.record["elapsed_s"].to_numpy(dtype=float)
    light = run.record["illuminance_lx"].to_numpy(dtype=float)
    rows: list[tuple[str, float]] = []
    try:
        later, earlier = fit_exponentials(times, light, terms=1).evaluate(np.array([at_s, initial_s]))
        rows.append(("one_exponential", float(later / earlier)))
    except (MethodError, ValueError):
        pass  # a second way alone; the view says where there is none
    if times[0] <= initial_s and at_s <= times[-1]:
        means = [float(light[np.argsort(np.abs(times - t), kind="stable")[:n]].mean())
                 for t, n in ((at_s, NEAR_READINGS), (initial_s, 3))]  # fmt: skip
        rows.append(("near_readings", means[0] / means[1]))
    return pd.DataFrame(rows, columns=["way", "value"])


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
    carried = abs(slope.percent_per_kelvin) * TRANSFER_LIMIT / math.sqrt(3.0)
    u = math.hypot(slope.standard_uncertainty, carried)
    half = float(stats.norm.ppf(0.5 + 0.5 * slope.coverage)) * u
    middle = slope.percent_per_kelvin
    return replace(slope, standard_uncertainty=u, low=middle - half, high=middle + half, dof=math.inf)


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
    lamps = bench.tables["lamps"]
    return bool((lamps.loc[lamps["lamp"] == lamp, "technology"] == "filament").any())


def ambient_of(run: WarmUpRun) -> float:
    """Return the mean ambient of a record.

    Parameters
    ----------
    run : WarmUpRun
        The record.

    Returns
    -------
    float
        NaN where none was logged. [degC]
    """
    return float(run.record["ambient_C"].mean())


def ambient_corrections(bench: Bench, run: WarmUpRun, slope: Slope | None) -> pd.DataFrame:
    """Return the factor to the reference ambient, from the assumed coefficient and from the record's own.

    Parameters
    ----------
    bench : Bench
        The bench, with its reference ambient.
    run : WarmUpRun
        The record.
    slope : Slope or None
        Light for each kelvin of the case; how far it carries over to the room is counted in (`to_room`).

    Returns
    -------
    DataFrame
        source ("assumed", "own_record"), percent_per_kelvin, its u [%/K], ambient, reference [degC], factor, and its
        expanded uncertainty [%]; empty without an ambient, and for a filament lamp.
    """
    ambient, reference = ambient_of(run), bench.settings.reference_ambient_C
    known = [("assumed", LED_AMBIENT_COEFFICIENT, LED_AMBIENT_LIMIT / math.sqrt(3.0))]
    if slope is not None:
        room = to_room(slope)
        known.append(("own_record", room.percent_per_kelvin / 100.0, room.standard_uncertainty / 100.0))
    rows = []
    skipped = math.isnan(ambient) or is_filament(bench, run.lamp)
    for source, value, u in [] if skipped else known:
        factor = float(to_ambient(1.0, ambient, reference, coefficient=value))
        left = float(
            to_ambient_uncertainty(
                ambient,
                reference,
                coefficient=value,
                coefficient_uncertainty=u,
                ambient_uncertainty=AMBIENT_LIMIT_K / math.sqrt(3.0),
            )
        )
        half = float(stats.norm.ppf(0.5 + 0.5 * bench.settings.coverage)) * 100.0 * left
        rows.append((source, 100.0 * value, 100.0 * u, ambient, reference, factor, half))
    columns = ["source", "percent_per_kelvin", "u", "ambient_C", "reference_C", "factor", "expanded_percent"]
    return pd.DataFrame(rows, columns=columns)


def case_to_ambient(bench: Bench, run: WarmUpRun) -> Measured | None:
    """Return the thermal resistance from the case to the ambient at the hold time.

    Parameters
    ----------
    bench : Bench
        The bench, with the watts of electrical.csv.
    run : WarmUpRun
        A record that reaches the hold time.

    Returns
    -------
    Measured or None
        None for a filament lamp (most of its power leaves as radiation), or where case, ambient or watts are
        missing. [K/W]
    """
    hold = 60.0 * bench.settings.hold_minutes
    power = lamp_power(bench, run.lamp, "hold")
    last = run.record[(run.record["elapsed_s"] - hold).abs() <= 0.05 * hold]
    rise = float((last["case_C"] - last["ambient_C"]).mean())
    if math.isnan(rise) or power is None or is_filament(bench, run.lamp):
        return None
    case = limits(("thermocouple", run.run), THERMOCOUPLE_LIMIT_K, kind="scale", source="assumed")
    room = limits(("ambient", run.run), AMBIENT_LIMIT_K, kind="ambient", source="assumed")
    half = (RADIANT_HIGH - RADIANT_LOW) / 2.0
    radiant = limits("radiant fraction of an LED lamp", half, kind="model spread", source="assumed")
    return apply(
        lambda kelvin, watts, part: thermal_resistance(kelvin, watts, radiant_fraction=part),
        measured(rise, case, (room, -1.0), unit="K"),
        power.watts,
        measured(RADIANT_LOW + half, radiant),
        unit="K/W",
    )


def expected_at(
    bench: Bench, run: WarmUpRun, slope: Slope | None, other_ambient: float
) -> ExpectedLight | None:
    """Return the remaining light expected at another ambient: an extrapolation, never a measurement.

    Parameters
    ----------
    bench : Bench
        The bench.
    run : WarmUpRun
        A record with remaining light at the hold time.
    slope : Slope or None
        Light for each kelvin of the case.
    other_ambient : float
        The other ambient temperature. [degC]

    Returns
    -------
    ExpectedLight or None
        None for a filament lamp, where remaining light, slope or ambient are missing, or where the lamp cut its
        own power.
    """
    ambient = ambient_of(run)
    stepped = run.fit is None or run.fit.step is not None
    if (
        run.remaining is None
        or slope is None
        or math.isnan(ambient)
        or stepped
        or is_filament(bench, run.lamp)
    ):
        return None
    return light_at_ambient(
        run.remaining.value,
        ln_standard_uncertainty=run.remaining.ln_standard_uncertainty,
        slope=to_room(slope),
        ambient=ambient,
        other_ambient=other_ambient,
        coverage=bench.settings.coverage,
    )
