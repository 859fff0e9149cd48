"""What a reading taken at a distance may be off by: what all readings share, and each by itself."""

import math
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.inputs import corrections as steps
from photolab.bench.terms import instruments
from photolab.bench.terms.assumptions import entering
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import Bench, Housing, Meter
from photolab.metrology.precision import pooled_sd
from photolab.metrology.quantity import Input, Joint, Measured, limits, measured

TAPE_LIMIT_MM = 10.0
"""Limit of a distance where the housing states none, assumed. [mm]"""


def tape_limit(housing: Housing) -> tuple[float, str]:
    """Return the limit of a distance [m], and where it is known from: the manual, or assumed."""
    if math.isnan(housing.distance_uncertainty_mm):
        return TAPE_LIMIT_MM / 1000.0, "assumed"
    return housing.distance_uncertainty_mm / 1000.0, "manual"


def photometric_centre(housing: Housing) -> Measured:
    """Return the declared photometric centre behind the reference face, one input a housing [m]."""
    half = housing.offset_uncertainty_mm / 1000.0
    name = ("photometric centre", housing.id)
    return measured(
        housing.offset_mm / 1000.0, limits(name, half, kind="distance", source="assumed"), unit="m"
    )


def assumed_lengths(housing: Housing) -> list[str]:
    """Return which lengths of a housing are not declared."""
    assumed = []
    if tape_limit(housing)[1] == "assumed":
        assumed.append(f"distance within {TAPE_LIMIT_MM:g} mm")
    if "offset_mm" not in housing.declared:
        assumed.append(f"photometric centre at the face within {housing.offset_uncertainty_mm:g} mm")
    return assumed


def assumed_of_meters(bench: Bench, light: Measured) -> list[str]:
    """Return which defaults of meters enter a light."""
    of_meters = (one for one in bench.assumed if one.section == "meter")
    (found,) = entering(of_meters, Joint.of({"light": light}), ["readings"])
    return [f"{one.about} {one.figure}" for one in found]


def relative_inputs(
    bench: Bench, meter: Meter, rows: pd.DataFrame, top: float, who: tuple[str, ...]
) -> Measured:
    """Return 1 with what moves all readings of one lamp in proportion: scale, colour, supply.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter : Meter
        The meter.
    rows : DataFrame
        Corrected rows of the lamp.
    top : float
        Top of the range. [lx]
    who : tuple of str
        Whose supply it is.

    Returns
    -------
    Measured
        A factor. [1]
    """
    load = instruments.scale_loading(meter, top)
    light = "" if rows.empty else str(rows["technology"].iloc[0])
    supply_spread = supply_u(bench, light, rows["volts"].to_numpy(float))
    supply = Input(("supply", *who), supply_spread, kind="supply", source="assumed")
    return measured(1.0, *((q, load) for q in instruments.scale_inputs(meter)), _colour(meter, rows), supply)


def _colour(meter: Meter, rows: pd.DataFrame) -> Input:
    """Return what the colour of the light does: that of the correction, else the declared index of the meter. [1]."""
    if rows.empty:
        return Input(("colour", meter.id, ""), 0.0, kind="colour")
    technology, corrected = str(rows["technology"].iloc[0]), float(rows["spectral_u"].iloc[0])
    if math.isnan(corrected):
        return instruments.colour_input(meter, technology)
    return instruments.corrected_colour_input(meter, technology, corrected)


def supply_u(bench: Bench, technology: str, volts: NDArray[np.float64]) -> float:
    """Return the relative standard uncertainty from the supply of a filament lamp.

    Parameters
    ----------
    bench : Bench
        The bench.
    technology : str
        What kind of lamp it is.
    volts : ndarray
        As measured; where one is missing the supply lies within the assumed limit of the reference. [V]

    Returns
    -------
    float
        0 for other lamps. [1]
    """
    if technology != "filament":
        return 0.0
    reference, exponent = bench.settings.reference_voltage_V, steps.FILAMENT_FLUX_EXPONENT
    if np.isnan(volts).any():
        return exponent * steps.ASSUMED_VOLTAGE_LIMIT_V / reference / math.sqrt(3.0)
    away = float(np.log(reference / volts).mean())
    reading = Input("voltage reading", steps.VOLTMETER_U_V / reference)
    scale = limits("voltmeter", steps.VOLTMETER_SCALE_PERCENT / 100.0)
    law = Input("voltage exponent", steps.FILAMENT_EXPONENT_U)
    return measured(0.0, (reading, exponent), (scale, exponent), (law, away)).u


def reading_scatter(bench: Bench, lamp: str, run: pd.DataFrame | None = None) -> tuple[float, list[str]]:
    """Return the relative scatter of one reading: repeats of the run and of the lamp's seatings, pooled.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.
    run : DataFrame, optional
        Corrected rows of its run, where distances may be repeated.

    Returns
    -------
    tuple of (float, list of str)
        Relative standard deviation, and the default where nothing is repeated or repeats show no scatter. [1]
    """
    groups = list(_repeats(bench).get(lamp, ()))
    if run is not None:
        read = Columns(run)
        groups += [x for x in read.groups("distance_m").apart(read.numbers("ln_value")) if len(x) > 1]
    if not any(np.ptp(group) > 0.0 for group in groups):  # one figure again and again: the display is coarse
        sd, declared = bench.settings.reading_sd_percent, "reading_sd_percent" in bench.settings.declared
        return sd / 100.0, [] if declared else [f"scatter of readings {sd:g} %"]
    return float(pooled_sd(groups)[0]), []


@lru_cache(maxsize=4)  # every run of a lamp asks for them; a bench is told from another by identity
def _repeats(bench: Bench) -> dict[str, list[NDArray[np.float64]]]:
    """Return ln of the readings of each seating of readings.csv that were repeated, by lamp."""
    every = Columns(bench.tables["readings"])
    net = every.numbers("illuminance_lx") - np.nan_to_num(every.numbers("dark_lx"))
    at = np.flatnonzero((net > 0) & (every["mounting"] != ""))
    lit = every.among(at)
    seated = lit.groups(
        "lamp", "specimen", "housing", "day", "mounting", "point", "elapsed_s", "meter", "range_lx"
    )
    found: dict[str, list[NDArray[np.float64]]] = {}
    for lamp, part in zip(lit["lamp"][seated.first].tolist(), seated.apart(np.log(net[at])), strict=True):
        if len(part) > 1:
            found.setdefault(lamp, []).append(part)
    return found
