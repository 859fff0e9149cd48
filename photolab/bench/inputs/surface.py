"""Surface temperatures from thermal.csv: what the camera displayed, and what that says about the surface.

A patch of tape or paint and a thermocouple give a temperature that lamps may be ranked by. Bare metal of low
emissivity mostly mirrors the room: its reading is a lower bound only. A temperature here is that of the place
that was read.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property, lru_cache, partial
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.inputs.rows import result_row
from photolab.bench.terms.model import Bench
from photolab.errors import MethodError, attempt
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import Input, Measured, limits, measured
from photolab.thermal import thermography
from photolab.thermal.thermography import EMISSIVITY_HALF_WIDTH, SurfaceReading

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
_READ = {
    "displayed_C": "displayed",
    "ambient_C": "ambient",
    "reflected_C": "reflected",
    "pixel_sd_K": "pixel_sd",
}
_AS_READ = ("lamp", "place", "method", "elapsed_s", "set_emissivity", "emissivity", "emissivity_half_width")
PATCH_EMISSIVITY = {"tape": 0.95, "paint": 0.95}
"""Assumed where the folder states none. [1]"""


@dataclass(frozen=True)
class Surface:
    """One row of thermal.csv, and the surface temperature that it stands for.

    Attributes
    ----------
    lamp, place, method : str
        Which lamp, where on it, and how it was read.
    elapsed_s : float
        Time since switch-on. [s]
    displayed, ambient : float
        As read; NaN where no ambient is stated. [degC]
    set_emissivity, emissivity, emissivity_half_width, reflected : float
        What the reading is worked out with; NaN for a thermocouple. [1], [1], [1], [degC]
    pixel_sd : float
        Scatter of the pixels that `displayed` is the mean of; NaN where it is none. [K]
    coverage : float
        Coverage probability of `low` and `high`. [1]
    assumed : tuple of str
        Codes of what was not stated.
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
    pixel_sd: float
    coverage: float
    assumed: tuple[str, ...]

    @property
    def where(self) -> tuple[str, ...]:
        """Which reading it is: what only this one holds is named by it."""
        return self.lamp, self.place, self.method, f"{self.elapsed_s:g}"

    @property
    def pixels(self) -> tuple[Input, ...]:
        """The scatter of its pixels [K].

        It is not divided by their number: neighbours in a picture share optics and interpolation. It has no degrees
        of freedom: these pixels are the spot, and no sample of others.
        """
        if not self.pixel_sd > 0.0:
            return ()
        return (Input(("pixels", *self.where), self.pixel_sd, kind="reading scatter", source="own readings"),)

    @cached_property
    def reading(self) -> SurfaceReading | MethodError:
        """What it says of the surface by `surface_reading`, or why it says nothing."""
        if self.method == "thermocouple":
            limit = limits(
                ("thermocouple", *self.where), THERMOCOUPLE_LIMIT_K, kind="scale", source="assumed"
            )
            touched, contact = measured(self.displayed, limit, unit="degC"), ("thermocouple_contact",)
            return SurfaceReading(touched, np.empty(0), math.nan, True, contact, self.coverage)
        if math.isnan(self.emissivity):
            return MethodError("the emissivity must be stated", code="emissivity_missing")
        return attempt(
            thermography.surface_reading,
            camera_reading(self.displayed, camera_limit(self.displayed), self.where, self.pixels),
            method=self.method,
            emissivity=emissivity_of(self.emissivity, self.emissivity_half_width, self.where),
            set_emissivity=self.set_emissivity,
            reflected=mirrored_room(self.reflected, self.where),
            coverage=self.coverage,
        )

    @property
    def temperature(self) -> Measured | None:
        """Surface temperature (band radiance); None where there is none [degC]."""
        return None if isinstance(self.reading, MethodError) else self.reading.temperature

    @cached_property
    def above_ambient(self) -> Measured | None:
        """The same above the ambient; None where either is missing [K]."""
        if isinstance(self.reading, MethodError) or math.isnan(self.ambient):
            return None
        limit = limits(("ambient", *self.where), AMBIENT_LIMIT_K, kind="ambient", source="assumed")
        room, drawn = measured(self.ambient, limit, unit="degC"), self.reading.drawn
        rise = (self.reading.temperature - room).in_unit("K")
        if not drawn.size:
            return rise
        apart = drawn - draws(lambda kelvin: kelvin, room, trials=drawn.size)
        return replace(rise, ends=cache(partial(interval, apart)), how=self.reading.temperature.how)

    @property
    def total_radiation(self) -> float:
        """Surface temperature by T^4 [degC]."""
        return math.nan if isinstance(self.reading, MethodError) else self.reading.total_radiation

    @property
    def usable(self) -> bool:
        """Whether lamps may be ranked by it."""
        return not isinstance(self.reading, MethodError) and self.reading.usable

    @property
    def codes(self) -> tuple[str, ...]:
        """What a reader must know."""
        found = (self.reading.code,) if isinstance(self.reading, MethodError) else self.reading.codes
        return tuple(dict.fromkeys([*self.assumed, *found]))

    @property
    def seen_by_camera(self) -> bool:
        """Whether it is a camera's reading that has a surface temperature."""
        return self.temperature is not None and not math.isnan(self.emissivity)

    def is_patch_beside(self, other: "Surface") -> bool:
        """Return whether it is a patch of tape or paint that was read with another spot at one time."""
        mine, theirs = ((s.lamp, s.place, s.elapsed_s) for s in (self, other))
        return self.method in PATCH_EMISSIVITY and mine == theirs

    @property
    def value(self) -> float:
        """Surface temperature, NaN where there is none [degC]."""
        return math.nan if self.temperature is None else self.temperature.value

    @property
    def low(self) -> float:
        """Lower end of its interval; of an emissivity that is not stated the least that a surface can have [degC]."""
        # no grey surface warmer than the room is cooler than a black one
        if "emissivity_missing" in self.codes:
            told: dict[str, Any] = {"set_emissivity": self.set_emissivity, "reflected": self.reflected}
            lowest = self.displayed - camera_limit(self.displayed)
            black = thermography.surface_temperature
            return float(black(lowest, emissivity=1.0, **told)) if lowest > self.reflected else math.nan
        return math.nan if self.temperature is None else self.temperature.interval(self.coverage)[0]

    @property
    def high(self) -> float:
        """Upper end of its interval, NaN where there is none [degC]."""
        return math.nan if self.temperature is None else self.temperature.interval(self.coverage)[1]

    @property
    def rise(self) -> tuple[float, float, float]:
        """Rise above the ambient with its interval, NaN where there is none [K]."""
        found = self.above_ambient
        return (math.nan,) * 3 if found is None else (found.value, *found.interval(self.coverage))


@lru_cache(maxsize=8)  # many parts of one page ask for them; a bench is told from another by identity
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
    rows = chosen.rename(columns=_READ)[[*_AS_READ, *_READ.values()]].to_dict("records")
    return tuple(_surface(bench, row) for row in rows)


def _at_hold(table: pd.DataFrame, hold_s: float) -> pd.DataFrame:
    """Return the last row nearest to the hold time of each lamp, place and method."""
    gap = (table["elapsed_s"] - hold_s).abs()
    near = table.assign(gap=gap)[gap <= 0.25 * hold_s]
    first = near.sort_values(["gap", "line"], kind="stable").drop_duplicates(["lamp", "place", "method"])
    return first.sort_values("line", kind="stable")


def _surface(bench: Bench, row: dict[Any, Any]) -> Surface:
    """Return one row, with what it does not state as assumed."""
    codes, method, has_ambient = [], row["method"], not math.isnan(row["ambient"])
    if math.isnan(row["reflected"]):
        row["reflected"] = row["ambient"] if has_ambient else bench.settings.reference_ambient_C
        codes.append("reflected_from_ambient" if has_ambient else "reflected_assumed")
    if math.isnan(row["emissivity"]) and method in PATCH_EMISSIVITY:
        row["emissivity"], codes = PATCH_EMISSIVITY[method], [*codes, "emissivity_assumed"]
    known = not math.isnan(row["emissivity"]) and method in EMISSIVITY_HALF_WIDTH
    if math.isnan(row["emissivity_half_width"]) and known:
        row["emissivity_half_width"], codes = EMISSIVITY_HALF_WIDTH[method], [*codes, "emissivity_assumed"]
    if method == "thermocouple":
        row |= dict.fromkeys(("emissivity", "emissivity_half_width", "reflected"), math.nan)
        codes = []
    return Surface(**row, coverage=bench.settings.coverage, assumed=tuple(codes))


def camera_reading(
    shown: float, limit: float, where: tuple[Hashable, ...], pixels: Sequence[Input] = ()
) -> Measured:
    """Return a displayed temperature.

    Parameters
    ----------
    shown : float
        As displayed. [degC]
    limit : float
        Limit of the camera there, assumed. [K]
    where : tuple of hashable
        Which reading.
    pixels : sequence of Input
        Scatter of the pixels that it is the mean of. [K]

    Returns
    -------
    Measured
        The displayed temperature. [degC]
    """
    camera = limits(("camera", *where), limit, kind="scale", source="assumed")
    return measured(shown, camera, *pixels, unit="degC")


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


def mirrored_room(
    reflected: float, where: tuple[Hashable, ...], *, limit: float = REFLECTED_LIMIT_K
) -> Measured:
    """Return the temperature of what a surface mirrors.

    Parameters
    ----------
    reflected : float
        As stated or assumed. [degC]
    where : tuple of hashable
        Which reading.
    limit : float, default REFLECTED_LIMIT_K
        How far it may be off. [K]

    Returns
    -------
    Measured
        The reflected temperature. [degC]
    """
    off = limits(("reflected", *where), limit, kind="reflected temperature", source="assumed")
    return measured(reflected, off, unit="degC")


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
        rows.append(_row(bench, one, one.temperature, rise=False))
        if one.above_ambient is not None:
            rows.append(_row(bench, one, one.above_ambient, rise=True))
    return pd.DataFrame(rows)


def _row(bench: Bench, one: Surface, quantity: Measured | None, *, rise: bool) -> dict[str, object]:
    """Return one row of the results table."""
    conditions = [f"{one.elapsed_s:g} s after switch-on"]
    if not one.usable:
        bound = "lower bound only, " if {"lower_bound_only", "emissivity_missing"} & set(one.codes) else ""
        conditions.insert(0, f"{bound}not usable for ranking: use tape")
    if not math.isnan(one.emissivity):
        conditions.append(f"emissivity {one.emissivity:g} ± {one.emissivity_half_width:g}")
    temperatures = {"reflected": one.reflected, "ambient": one.ambient}
    conditions += [f"{name} {t:g} degC" for name, t in temperatures.items() if not math.isnan(t)]
    if "degF" in bench.settings.also_show:
        value, low, high = in_fahrenheit(one.rise if rise else (one.value, one.low, one.high), rise=rise)
        conditions.append(f"{value:.0f} degF ({low:.0f} to {high:.0f})")
    row = result_row(
        bench,
        quantity,
        lamp=one.lamp,
        measurand="temperature rise" if rise else "surface temperature",
        point=", ".join(part for part in (one.place, one.method) if part),
        instant="hold",
        conditions="; ".join(conditions),
        corrections="none" if one.method == "thermocouple" else "emissivity, reflected temperature",
        assumed="; ".join(assumed_of(one, rise=rise)),
    )
    # a ratio to the zero of a temperature scale says nothing
    return row if rise else row | {"unit": "degC", "low": one.low, "ln_expanded_uncertainty": math.nan}


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
    convert = thermography.rise_in_fahrenheit if rise else thermography.to_fahrenheit
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
    said = [
        f"camera ± {CAMERA_LIMIT_K:g} K or {CAMERA_LIMIT_PERCENT:g} %",
        f"reflected ± {REFLECTED_LIMIT_K:g} K",
    ]
    words = {
        "emissivity_assumed": f"emissivity {one.emissivity:g} ± {one.emissivity_half_width:g}",
        "reflected_from_ambient": "reflected is the ambient",
        "reflected_assumed": f"reflected {one.reflected:g} degC",
    }
    said += [text for code, text in words.items() if code in one.codes]
    return said + ambient
