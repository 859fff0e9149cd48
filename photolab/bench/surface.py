"""Surface temperatures from thermal.csv: what the camera displayed, and what that says about the surface.

A patch of tape or paint and a thermocouple give a temperature that lamps may be ranked by. Bare metal of low
emissivity mostly mirrors the room: its reading is a lower bound only. A temperature here is that of the place
that was read.
"""

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench.model import Bench
from photolab.errors import MethodError
from photolab.thermal.thermography import (
    EMISSIVITY_HALF_WIDTH,
    SurfaceReading,
    rise_in_fahrenheit,
    surface_reading,
    surface_temperature,
    to_fahrenheit,
)

Row = Mapping[Hashable, Any]

CAMERA_LIMIT_K, CAMERA_LIMIT_PERCENT = 2.0, 2.0
"""Limit of a handheld camera, the larger of the two (percent of the displayed degC), assumed: common
practice, no source. [K], [%]"""
THERMOCOUPLE_LIMIT_K = 2.5
"""Limit of a type K thermocouple of class 2 up to 333 degC (IEC 60584-1, from memory), assumed; without its
contact. [K]"""
REFLECTED_LIMIT_K = 2.0
"""Limit of the reflected temperature, assumed. [K]"""
AMBIENT_LIMIT_K = 1.0
"""Limit of the ambient temperature, assumed. [K]"""
PATCH_EMISSIVITY = {"tape": 0.95, "paint": 0.95}
"""Assumed where the folder states none. [1]"""
TRIALS = 5_000
"""Trials of one propagation of distributions: ends to some 0.05 K at a patch. [1]"""


@dataclass(frozen=True)
class Surface:
    """One row of thermal.csv as a surface temperature.

    Attributes
    ----------
    lamp, place, method : str
        Which lamp, where on it, and how it was read.
    elapsed_s : float
        Time since switch-on. [s]
    displayed, ambient : float
        As read; NaN where no ambient is stated. [degC]
    set_emissivity, emissivity, emissivity_half_width, reflected : float
        What the reading was worked out with; NaN for a thermocouple. [1], [1], [1], [degC]
    value, low, high : float
        Surface temperature (band radiance) with its interval; NaN where there is none. [degC]
    standard_uncertainty : float
        Standard uncertainty. [K]
    total_radiation : float
        The same by T^4. [degC]
    rise, rise_low, rise_high : float
        Above the ambient. [K]
    usable : bool
        Whether lamps may be ranked by it.
    codes : tuple of str
        What a reader must know.
    """

    lamp: str
    place: str
    method: str
    elapsed_s: float
    displayed: float
    ambient: float
    set_emissivity: float
    emissivity: float
    emissivity_half_width: float
    reflected: float
    value: float
    low: float
    high: float
    standard_uncertainty: float
    total_radiation: float
    rise: float
    rise_low: float
    rise_high: float
    usable: bool
    codes: tuple[str, ...]


def surfaces(bench: Bench, *, at_hold: bool = False) -> tuple[Surface, ...]:
    """Return the rows of thermal.csv as surface temperatures.

    Parameters
    ----------
    bench : Bench
        The bench.
    at_hold : bool, default False
        Only the reading of each lamp, place and method nearest to the hold time, within a quarter of it.

    Returns
    -------
    tuple of Surface
        In file order; empty without a thermal.csv.
    """
    table = bench.tables["thermal"]
    chosen = _at_hold(table, 60.0 * bench.settings.hold_minutes) if at_hold else table
    return tuple(_surface(bench, row) for row in chosen.to_dict("records"))


def _at_hold(table: pd.DataFrame, hold_s: float) -> pd.DataFrame:
    """Return the last row nearest to the hold time of each lamp, place and method."""
    gap = (table["elapsed_s"] - hold_s).abs()
    near = table.assign(gap=gap)[gap <= 0.25 * hold_s]
    first = near.sort_values(["gap", "line"], kind="stable").drop_duplicates(["lamp", "place", "method"])
    return first.sort_values("line", kind="stable")


def _surface(bench: Bench, row: Row) -> Surface:
    """Return one row as a surface temperature."""
    number = {name: float(row[name]) for name in ("elapsed_s", "displayed_C", "ambient_C", "set_emissivity")}
    method, shown, ambient = str(row["method"]), number["displayed_C"], number["ambient_C"]
    reflected, codes = reflected_of(bench, float(row["reflected_C"]), ambient)
    emissivity, width = float(row["emissivity"]), float(row["emissivity_half_width"])
    if math.isnan(emissivity) and method in PATCH_EMISSIVITY:
        emissivity, codes = PATCH_EMISSIVITY[method], [*codes, "emissivity_assumed"]
    if math.isnan(width) and not math.isnan(emissivity) and method in EMISSIVITY_HALF_WIDTH:
        width, codes = EMISSIVITY_HALF_WIDTH[method], [*codes, "emissivity_assumed"]
    if method == "thermocouple":
        emissivity = width = reflected = math.nan
        found, codes = _thermocouple(shown, bench.settings.coverage), ["thermocouple_contact"]
    else:
        given = (shown, method, emissivity, number["set_emissivity"], reflected, width)
        found = _seen(given, bench.settings.coverage)
    rise = found.value - ambient
    half = normal_quantile(bench.settings.coverage) * AMBIENT_LIMIT_K / math.sqrt(3.0)
    return Surface(
        lamp=str(row["lamp"]),
        place=str(row["place"]),
        method=method,
        elapsed_s=number["elapsed_s"],
        displayed=shown,
        ambient=ambient,
        set_emissivity=number["set_emissivity"],
        emissivity=emissivity,
        emissivity_half_width=width,
        reflected=reflected,
        value=found.value,
        low=found.low,
        high=found.high,
        standard_uncertainty=found.standard_uncertainty,
        total_radiation=found.total_radiation,
        rise=rise,
        rise_low=rise - math.hypot(found.value - found.low, half),
        rise_high=rise + math.hypot(found.high - found.value, half),
        usable=found.usable,
        codes=tuple(dict.fromkeys([*codes, *found.codes])),
    )


def reflected_of(bench: Bench, stated: float, ambient: float) -> tuple[float, list[str]]:
    """Return the reflected temperature: stated, else the ambient, else the reference ambient.

    Parameters
    ----------
    bench : Bench
        The bench.
    stated, ambient : float
        As thermal.csv states them, NaN where it does not. [degC]

    Returns
    -------
    tuple of (float, list of str)
        Reflected temperature, and a code where it was not stated. [degC]
    """
    if not math.isnan(stated):
        return stated, []
    if not math.isnan(ambient):
        return ambient, ["reflected_from_ambient"]
    return bench.settings.reference_ambient_C, ["reflected_assumed"]


@lru_cache(maxsize=1024)
def _seen(given: tuple[float, str, float, float, float, float], coverage: float) -> SurfaceReading:
    """Return what a camera's reading says, where there is an answer."""
    shown, method, emissivity, set_emissivity, reflected, width = given
    if math.isnan(emissivity):
        least = _least(shown, set_emissivity, reflected)
        return SurfaceReading(
            math.nan, least, math.nan, math.nan, coverage, math.nan, False, ("emissivity_missing",)
        )
    try:
        return surface_reading(
            shown,
            method=method,
            emissivity=emissivity,
            set_emissivity=set_emissivity,
            reflected=reflected,
            emissivity_half_width=width,
            displayed_half_width=camera_limit(shown),
            reflected_half_width=REFLECTED_LIMIT_K,
            coverage=coverage,
            trials=TRIALS,
        )
    except MethodError as refused:
        return SurfaceReading(
            math.nan, math.nan, math.nan, math.nan, coverage, math.nan, False, (refused.code,)
        )


def _least(shown: float, set_emissivity: float, reflected: float) -> float:
    """Return the temperature of a black surface: no grey one warmer than the room is cooler than that."""
    lowest = shown - camera_limit(shown)
    if lowest <= reflected:
        return math.nan
    return float(
        surface_temperature(lowest, emissivity=1.0, set_emissivity=set_emissivity, reflected=reflected)
    )


def _thermocouple(shown: float, coverage: float) -> SurfaceReading:
    """Return the reading of a thermocouple with the limit of its class."""
    u = THERMOCOUPLE_LIMIT_K / math.sqrt(3.0)
    half = normal_quantile(coverage) * u
    return SurfaceReading(shown, shown - half, shown + half, u, coverage, math.nan, True, ())


def normal_quantile(coverage: float) -> float:
    """Return the two-sided quantile of the normal distribution.

    Parameters
    ----------
    coverage : float
        Coverage probability. [1]

    Returns
    -------
    float
        Quantile. [1]
    """
    return float(stats.norm.ppf(0.5 + 0.5 * coverage))


def camera_limit(displayed: float) -> float:
    """Return the assumed limit of a camera's reading.

    Parameters
    ----------
    displayed : float
        Displayed temperature. [degC]

    Returns
    -------
    float
        2 K or 2 % of the displayed temperature, the larger. [K]
    """
    return max(CAMERA_LIMIT_K, CAMERA_LIMIT_PERCENT / 100.0 * displayed)


def surface_rows(bench: Bench) -> pd.DataFrame:
    """Return surface temperatures and rises at the hold time as rows of the results table.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    DataFrame
        measurands "surface temperature" [degC] and "temperature rise" [K], one row a lamp, place and method
        in the columns of the results table; `point` is the place and the method. Conditions say where a
        reading must not be used for ranking; empty without thermal readings near the hold time.
    """
    rows = []
    for one in surfaces(bench, at_hold=True):
        rows.append(_row(bench, one, "surface temperature", "degC", (one.value, one.low, one.high)))
        if not math.isnan(one.rise):
            rows.append(_row(bench, one, "temperature rise", "K", (one.rise, one.rise_low, one.rise_high)))
    return pd.DataFrame(rows)


def _row(
    bench: Bench, one: Surface, measurand: str, unit: str, figures: tuple[float, float, float]
) -> dict[str, object]:
    """Return one row of the results table."""
    value, low, high = figures
    rise = measurand == "temperature rise"
    ambient_u = AMBIENT_LIMIT_K / math.sqrt(3.0) if rise else 0.0
    return {
        "lamp": one.lamp,
        "housing": "",
        "measurand": measurand,
        "baseline": "",
        "point": ", ".join(part for part in (one.place, one.method) if part),
        "instant": "hold",
        "scope": "readings",
        "value": value,
        "unit": unit,
        "low": low,
        "high": high,
        "ln_expanded_uncertainty": (high - low) / (2.0 * value) if rise and value > 0.0 else math.nan,
        "coverage": bench.settings.coverage,
        "coverage_factor": (high - low) / 2.0 / math.hypot(one.standard_uncertainty, ambient_u),
        "dof": math.inf,
        "n_specimens": 1,
        "n_mountings": 1,
        "n_readings": 1,
        "n_days": 1,
        "initial_s": bench.settings.initial_s,
        "hold_minutes": bench.settings.hold_minutes,
        "conditions": "; ".join([*_unusable(one), *_seen_how(one), *_also(bench, figures, rise=rise)]),
        "corrections": "none" if one.method == "thermocouple" else "emissivity, reflected temperature",
        "assumed": "; ".join(assumed_of(one, rise=rise)),
        "verdict": "",
    }


def _unusable(one: Surface) -> list[str]:
    """Return that a reading must not be used for ranking, where it must not."""
    if one.usable:
        return []
    bound = "lower bound only, " if {"lower_bound_only", "emissivity_missing"} & set(one.codes) else ""
    return [f"{bound}not usable for ranking: use tape"]


def _seen_how(one: Surface) -> list[str]:
    """Return when and how a reading was taken."""
    taken = [f"{one.elapsed_s:g} s after switch-on"]
    if not math.isnan(one.emissivity):
        taken.append(f"emissivity {one.emissivity:g} ± {one.emissivity_half_width:g}")
    if not math.isnan(one.reflected):
        taken.append(f"reflected {one.reflected:g} degC")
    return taken if math.isnan(one.ambient) else [*taken, f"ambient {one.ambient:g} degC"]


def _also(bench: Bench, figures: tuple[float, float, float], *, rise: bool) -> list[str]:
    """Return the figures in degF, where the bench asks for them."""
    if "degF" not in bench.settings.also_show:
        return []
    value, low, high = (float(x) for x in in_fahrenheit(figures, rise=rise))
    return [f"{value:.0f} degF ({low:.0f} to {high:.0f})"]


def in_fahrenheit(figures: tuple[float, ...], *, rise: bool) -> tuple[float, ...]:
    """Return temperatures, or rises, in degrees Fahrenheit: 32 is added to a temperature and never to a rise.

    Parameters
    ----------
    figures : tuple of float
        Temperatures, or rises. [degC], [K]
    rise : bool
        Which of the two.

    Returns
    -------
    tuple of float
        The same. [degF]
    """
    convert = rise_in_fahrenheit if rise else to_fahrenheit
    return tuple(float(x) for x in np.asarray(convert(np.asarray(figures, dtype=float))))


def assumed_of(one: Surface, *, rise: bool = False) -> list[str]:
    """Return the declared defaults that entered a surface temperature.

    Parameters
    ----------
    one : Surface
        The surface.
    rise : bool, default False
        Those of its rise above the ambient.

    Returns
    -------
    list of str
        Input and value.
    """
    ambient = [f"ambient ± {AMBIENT_LIMIT_K:g} K"] if rise else []
    if one.method == "thermocouple":
        return [f"thermocouple ± {THERMOCOUPLE_LIMIT_K:g} K", *ambient]
    camera = f"camera ± {CAMERA_LIMIT_K:g} K or {CAMERA_LIMIT_PERCENT:g} %"
    said = [camera, f"reflected ± {REFLECTED_LIMIT_K:g} K"]
    if "emissivity_assumed" in one.codes:
        said.append(f"emissivity {one.emissivity:g} ± {one.emissivity_half_width:g}")
    if "reflected_from_ambient" in one.codes:
        said.append("reflected is the ambient")
    if "reflected_assumed" in one.codes:
        said.append(f"reflected {one.reflected:g} degC")
    return said + ambient
