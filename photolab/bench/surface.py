"""Surface temperatures from thermal.csv: what the camera displayed, and what that says about the surface.

A patch of tape or paint and a thermocouple give a temperature that lamps may be ranked by. Bare metal of low
emissivity mostly mirrors the room: its reading is a lower bound only. A temperature here is that of the place
that was read.
"""

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache, partial
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.model import Bench
from photolab.bench.rows import result_row
from photolab.errors import MethodError
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import Measured, limits, measured
from photolab.thermal.thermography import (
    EMISSIVITY_HALF_WIDTH,
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
    temperature : Measured or None
        Surface temperature (band radiance); None where there is none. [degC]
    above_ambient : Measured or None
        The same above the ambient; None where either is missing. [K]
    least : float
        Without a temperature: what it is at least, NaN where not even that can be said. [degC]
    total_radiation : float
        Surface temperature by T^4. [degC]
    coverage : float
        Coverage probability of `low` and `high`. [1]
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
    temperature: Measured | None
    above_ambient: Measured | None
    least: float
    total_radiation: float
    coverage: float
    usable: bool
    codes: tuple[str, ...]

    @property
    def value(self) -> float:
        """Surface temperature, NaN where there is none [degC]."""
        return math.nan if self.temperature is None else self.temperature.value

    @property
    def low(self) -> float:
        """Lower end of its interval [degC]."""
        return self.least if self.temperature is None else self.temperature.interval(self.coverage)[0]

    @property
    def high(self) -> float:
        """Upper end of its interval, NaN where there is none [degC]."""
        return math.nan if self.temperature is None else self.temperature.interval(self.coverage)[1]

    @property
    def rise(self) -> tuple[float, float, float]:
        """Rise above the ambient with its interval, NaN where there is none [K]."""
        found = self.above_ambient
        return (math.nan,) * 3 if found is None else (found.value, *found.interval(self.coverage))


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
    where = (str(row["lamp"]), str(row["place"]), method, f"{number['elapsed_s']:g}")
    reflected, codes = reflected_of(bench, float(row["reflected_C"]), ambient)
    emissivity, width = float(row["emissivity"]), float(row["emissivity_half_width"])
    if math.isnan(emissivity) and method in PATCH_EMISSIVITY:
        emissivity, codes = PATCH_EMISSIVITY[method], [*codes, "emissivity_assumed"]
    if math.isnan(width) and not math.isnan(emissivity) and method in EMISSIVITY_HALF_WIDTH:
        width, codes = EMISSIVITY_HALF_WIDTH[method], [*codes, "emissivity_assumed"]
    if method == "thermocouple":
        emissivity = width = reflected = math.nan
        thermometer = limits(("thermocouple", *where), THERMOCOUPLE_LIMIT_K, kind="scale", source="assumed")
        temperature = measured(shown, thermometer, unit="degC")
        found = _Found(temperature, temperature - _room(ambient, where), True, ("thermocouple_contact",))
        codes = []
    else:
        found = _seen(where, (shown, number["set_emissivity"], emissivity, width, reflected, ambient))
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
        temperature=found.temperature,
        above_ambient=None if math.isnan(ambient) else found.above_ambient,
        least=found.least,
        total_radiation=found.total_radiation,
        coverage=bench.settings.coverage,
        usable=found.usable,
        codes=tuple(dict.fromkeys([*codes, *found.codes])),
    )


@dataclass(frozen=True)
class _Found:
    """What one reading says."""

    temperature: Measured | None
    above_ambient: Measured | None
    usable: bool
    codes: tuple[str, ...]
    least: float = math.nan
    total_radiation: float = math.nan


def _room(ambient: float, where: tuple[Hashable, ...]) -> Measured:
    """Return the ambient temperature of one reading; 0 where it is not known, and nothing is taken from it."""
    limit = limits(("ambient", *where), AMBIENT_LIMIT_K, kind="ambient", source="assumed")
    return measured(0.0 if math.isnan(ambient) else ambient, limit, unit="degC")


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
def _seen(where: tuple[Hashable, ...], given: tuple[float, ...]) -> _Found:
    """Return what a camera's reading says, where there is an answer."""
    shown, set_emissivity, emissivity, width, reflected, ambient = given
    if math.isnan(emissivity):
        least = _least(shown, set_emissivity, reflected)
        return _Found(None, None, False, ("emissivity_missing",), least)
    try:
        found = surface_reading(
            camera_reading(shown, camera_limit(shown), where),
            method=str(where[2]),
            emissivity=emissivity_of(emissivity, width, where),
            set_emissivity=set_emissivity,
            reflected=mirrored_room(reflected, where),
        )
    except MethodError as refused:
        return _Found(None, None, False, (refused.code,))
    room = _room(ambient, where)
    apart = found.drawn - draws(lambda kelvin: kelvin, room, trials=found.drawn.size)
    rise = replace(
        found.temperature - room, unit="K", ends=cache(partial(interval, apart)), how=found.temperature.how
    )
    return _Found(found.temperature, rise, found.usable, found.codes, total_radiation=found.total_radiation)


def camera_reading(shown: float, limit: float, where: tuple[Hashable, ...]) -> Measured:
    """Return a displayed temperature.

    Parameters
    ----------
    shown : float
        As displayed. [degC]
    limit : float
        Limit of the camera there, assumed. [K]
    where : tuple of hashable
        Which reading.

    Returns
    -------
    Measured
        The displayed temperature. [degC]
    """
    return measured(shown, limits(("camera", *where), limit, kind="scale", source="assumed"), unit="degC")


def emissivity_of(value: float, half_width: float, where: tuple[Hashable, ...]) -> Measured:
    """Return an emissivity within its limits, which end at 1 and just above 0: the estimate is their middle.

    Parameters
    ----------
    value, half_width : float
        As stated or assumed. [1]
    where : tuple of hashable
        Which reading.

    Returns
    -------
    Measured
        The emissivity. [1]
    """
    low, high = max(value - half_width, 1e-3), min(value + half_width, 1.0)
    middle = value if low == value - half_width and high == value + half_width else (low + high) / 2.0
    return measured(middle, limits(("emissivity", *where), (high - low) / 2.0, kind="emissivity"), unit="1")


def mirrored_room(reflected: float, where: tuple[Hashable, ...]) -> Measured:
    """Return the temperature of what a surface mirrors.

    Parameters
    ----------
    reflected : float
        As stated or assumed. [degC]
    where : tuple of hashable
        Which reading.

    Returns
    -------
    Measured
        The reflected temperature. [degC]
    """
    limit = limits(("reflected", *where), REFLECTED_LIMIT_K, kind="reflected temperature", source="assumed")
    return measured(reflected, limit, unit="degC")


def _least(shown: float, set_emissivity: float, reflected: float) -> float:
    """Return the temperature of a black surface: no grey one warmer than the room is cooler than that."""
    lowest = shown - camera_limit(shown)
    if lowest <= reflected:
        return math.nan
    return float(
        surface_temperature(lowest, emissivity=1.0, set_emissivity=set_emissivity, reflected=reflected)
    )


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
        rows.append(_row(bench, one, one.temperature, (one.value, one.low, one.high)))
        if one.above_ambient is not None:
            rows.append(_row(bench, one, one.above_ambient, one.rise, rise=True))
    return pd.DataFrame(rows)


def _row(
    bench: Bench,
    one: Surface,
    quantity: Measured | None,
    figures: tuple[float, float, float],
    *,
    rise: bool = False,
) -> dict[str, object]:
    """Return one row of the results table."""
    # a ratio to the zero of a temperature scale says nothing
    said: dict[str, Any] = (
        {} if rise else {"unit": "degC", "low": one.low, "ln_expanded_uncertainty": math.nan}
    )
    return result_row(
        bench,
        quantity,
        lamp=one.lamp,
        measurand="temperature rise" if rise else "surface temperature",
        point=", ".join(part for part in (one.place, one.method) if part),
        instant="hold",
        conditions="; ".join([*_unusable(one), *_seen_how(one), *_also(bench, figures, rise=rise)]),
        corrections="none" if one.method == "thermocouple" else "emissivity, reflected temperature",
        assumed="; ".join(assumed_of(one, rise=rise)),
        **said,
    )


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
