"""The tables of a simulated bench: readings, warm-up records, watts, camera, distance runs, beams, spectra, links."""

from dataclasses import dataclass
from functools import cache
from itertools import accumulate, product
from math import exp, log
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.drawn.demo import COVERED, HOLD_MINUTES, HOLDS, WARM_UPS, Seat
from photolab.bench.drawn.truth import LampTruth, Truth
from photolab.bench.terms.model import Spectrum
from photolab.bench.terms.schema import TABLES
from photolab.photometry.spectrum import led_illuminant, photopic_efficiency, planckian
from photolab.thermal.thermography import ZERO_CELSIUS_K, radiance, temperature_of

Array = NDArray[np.float64]

Row = dict[str, object]
INITIAL_S = 60.0
HOLD_S = 60.0 * HOLD_MINUTES
STEP_SECONDS = 20.0
METER = "M1"
"""The meter of the campaign; the others are read for the links alone."""
REPEATS = 3
RECORD_STEP_S = 30.0
RESIDUAL_CORRELATION = 0.1
CAMERA_DAY = "D07"
SURROUNDINGS_C = 22.0
SET_EMISSIVITY = 0.95
COLDEST_C = -50.0
"""What a camera shows where less than nothing is left of the signal. [degC]"""
DISTANCES_M = (2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0)
PLACEMENT_SD_M = 0.002
RUN_SEATS = ("B0/a/HP/D05/2", "B0/a/HR/D05/2")
BEAM_SHAPES = {
    ("B0", "HP"): (0.31, 0.06, 0.009),
    ("K3", "HP"): (0.28, 0.07, 0.009),
    ("B0", "HR"): (0.21, 0.15, 0.0186),
    ("K3", "HR"): (0.32, 0.30, 0.057),
}
FINE_SCAN_DEG = 2.5
LOW_RANGE_FROM_DEG = 0.0
SOURCE_GRID_NM = np.arange(380.0, 781.0, 5.0)
RESPONSIVITY_GRID_NM = np.arange(380.0, 781.0, 1.0)
FILAMENT_K = 3200.0
LED_NAME = "LED-B5"


@dataclass(frozen=True)
class SeatState:
    """What holds while a lamp sits in its housing.

    Parameters
    ----------
    seat : Seat
        Which mounting.
    mounting : float
        Deviation of the mounting. [ln]
    ambient_C, socket_V, shown_V : float
        True ambient, true voltage at the socket, voltage written down. [degC], [V], [V]
    burnt_h : float
        Hours the specimen had burnt. [h]
    late_s : float
        How much later than written the readings were taken. [s]
    """

    seat: Seat
    mounting: float
    ambient_C: float
    socket_V: float
    shown_V: float
    burnt_h: float
    late_s: float = 0.0

    @property
    def cells(self) -> dict[str, object]:
        """What the tables say of the mounting, each in its own columns."""
        conditions = {"socket_V": self.shown_V, "ambient_C": self.ambient_C}
        return vars(self.seat) | {"cover": self.seat.cover, "meter": METER} | conditions


def seat_states(
    truth: Truth,
    plan: list[Seat],
    effects: dict[str, float],
    *,
    rng: np.random.Generator,
    voltage_sd: float,
    late_sd: float = 0.0,
) -> list[SeatState]:
    """Return the conditions of every mounting.

    Parameters
    ----------
    truth : Truth
        Days and lamps.
    plan : list of Seat
        The mountings in time order.
    effects : dict
        Of `mounting_effects`. [ln]
    rng : numpy.random.Generator
        Source of randomness.
    voltage_sd : float
        SD of the true voltage about the written one. [V]
    late_sd : float
        SD of the time of the readings about the written one. [s]

    Returns
    -------
    list of SeatState
        In the same order.
    """
    burnt: dict[tuple[str, str], float] = {}
    states = []
    draws = rng.normal(0, [0.006, 0.2, voltage_sd, late_sd], (len(plan), 4)).tolist()
    for seat, (lead, air, volts, late) in zip(plan, draws, strict=True):
        day, piece = truth.days[seat.day], (seat.lamp, seat.specimen)
        shown = round(day.lead_V + min(max(lead, -0.01), 0.01), 2)
        socket = shown / (1 + truth.voltmeter_scale) + volts
        ambient, before = round(day.ambient_C + air, 1), burnt.get(piece, 0.0)
        states.append(SeatState(seat, effects[seat.key], ambient, socket, shown, before, late))
        burnt[piece] = before + seat.hold_minutes / 60
    return states


def light_fraction(lamp: LampTruth, time_s: Array) -> Array:
    """Return light relative to the initial time.

    Parameters
    ----------
    lamp : LampTruth
        Warm-up of the lamp; a filament lamp sinks evenly.
    time_s : ndarray
        Time since switching on. [s]

    Returns
    -------
    ndarray
        E(t)/E(60 s). [1]
    """
    if lamp.technology == "filament":
        return 1 - (1 - lamp.remaining) * np.clip((time_s - INITIAL_S) / (HOLD_S - INITIAL_S), 0, None)
    relaxed = lamp.remaining + (1 - lamp.remaining) * np.exp(-(time_s - INITIAL_S) / (60 * lamp.tau_min))
    return np.asarray(relaxed * (1 - (1 - lamp.step_factor) * folded(lamp, time_s)))


def folded(lamp: LampTruth, time_s: Array) -> Array:
    """Return how much of a foldback has happened: a ramp of 20 s from the stated time.

    Parameters
    ----------
    lamp : LampTruth
        Time of its foldback.
    time_s : ndarray
        Time since switching on. [s]

    Returns
    -------
    ndarray
        0 before, 1 after. [1]
    """
    done = np.clip((time_s - 60 * lamp.step_min) / STEP_SECONDS, 0, 1)
    return done if lamp.step_min else np.zeros_like(time_s)


def true_illuminance(truth: Truth, state: SeatState, time_s: float = INITIAL_S) -> float:
    """Return the illuminance a mounting gives at the bench distance.

    Parameters
    ----------
    truth : Truth
        Generating values.
    state : SeatState
        One mounting.
    time_s : float
        Time since switching on, as written down. [s]

    Returns
    -------
    float
        Illuminance at the meter head. [lx]
    """
    seat, lamp = state.seat, truth.lamps[state.seat.lamp]
    level = log(truth.housings[seat.housing].illuminance() * lamp.ratio[seat.housing])
    level += lamp.specimens[seat.specimen] + state.mounting + truth.days[seat.day].effect[seat.housing]
    level += log(truth.aims.get(seat.key, 1.0))
    level += log(float(light_fraction(lamp, np.array(time_s + state.late_s))))
    if lamp.technology == "filament":
        level += truth.voltage_exponent * log(state.socket_V / truth.reference_V)
        level += truth.ageing_per_h * state.burnt_h
    level += log(1 + lamp.ambient_per_K * (state.ambient_C - truth.reference_C))
    return exp(level)


def readings_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return readings.csv of a list of mountings: at the initial time, some at the hold time too.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a reading.
    """
    (late,) = rng.spawn(1)  # a stream of their own: readings at the hold time move no other draw
    rows = []
    for state in states:
        rows += _reading_rows(truth, state, rng, INITIAL_S)
        if state.seat.key in HOLDS:
            rows += _reading_rows(truth, state, late, HOLD_S)
    return pd.DataFrame(rows)


def _reading_rows(truth: Truth, state: SeatState, rng: np.random.Generator, time_s: float) -> list[Row]:
    seat, day, lamp = state.seat, truth.days[state.seat.day], truth.lamps[state.seat.lamp]
    true_lx = true_illuminance(truth, state, time_s)
    minute = seat.minute + round(time_s / 60)
    top = working_range(truth, METER, true_lx, lamp.technology, autorange=day.autorange)
    light = true_lx * np.exp(rng.normal(0, lamp.reading_sd, REPEATS))
    shown = shown_lx(truth, METER, light, top, seat)
    common: Row = {
        "clock": f"{minute // 60:02d}:{minute % 60:02d}", "elapsed_s": time_s, "range_lx": top,
        "dark_lx": float(truth.meters[METER].display(0.0, top, 1.0)), "measured_at": day.measured_at,
    }  # fmt: skip
    figures = enumerate(shown.tolist(), start=1)
    return [state.cells | common | {"repeat": n, "illuminance_lx": figure} for n, figure in figures]


def working_range(truth: Truth, meter: str, true_lx: float, technology: str, *, autorange: bool) -> float:
    """Return the range in use: the lowest that holds the reading, or the one the protocol locks.

    Parameters
    ----------
    truth : Truth
        Meters.
    meter : str
        Which meter.
    true_lx : float
        True illuminance. [lx]
    technology : str
        Of the lamp.
    autorange : bool
        Whether the meter chooses.

    Returns
    -------
    float
        Top of the range. [lx]
    """
    kind = truth.meters[meter]
    allowed = kind.ranges_lx if autorange else kind.ranges_lx[1:]
    return next(top for top in allowed if 1.01 * kind.display(true_lx, top, kind.colour[technology]) < top)


def shown_lx(truth: Truth, meter: str, light: Any, top: float, seat: Seat) -> Any:
    """Return what a meter shows for a lamp's light.

    Parameters
    ----------
    truth : Truth
        Meters and lamps.
    meter : str
        Which meter.
    light : array_like
        True illuminance. [lx]
    top : float
        Range in use. [lx]
    seat : Seat
        The mounting.

    Returns
    -------
    ndarray
        Displayed illuminance. [lx]
    """
    kind = truth.meters[meter]
    linearity = kind.linearity.get(f"{top:g}/{seat.lamp}/{seat.housing}", 0.0)
    warmth = truth.days[seat.day].ambient_C - truth.reference_C
    linearity += kind.temperature_per_K.get(seat.day, 0.0) * warmth
    return kind.display(light, top, kind.colour[truth.lamps[seat.lamp].technology], linearity)


def power(lamp: LampTruth, time_s: Array) -> Array:
    """Return the electrical power.

    Parameters
    ----------
    lamp : LampTruth
        Its power after the hold and after a foldback.
    time_s : ndarray
        Time since switching on. [s]

    Returns
    -------
    ndarray
        Power. [W]
    """
    if lamp.technology == "filament":
        return np.full(time_s.shape, lamp.hold_W)
    late = np.exp(-60 * lamp.record_min / (60 * lamp.tau_min))
    settled = lamp.hold_W * (1 + lamp.power_fall * (np.exp(-time_s / (60 * lamp.tau_min)) - late))
    done = folded(lamp, time_s)
    return np.asarray(settled * (1 - done) + lamp.step_W * done)


def before_foldback_s(lamp: LampTruth) -> float:
    """Return the last instant at which a lamp that folds back is read before it does.

    Parameters
    ----------
    lamp : LampTruth
        Time of its foldback.

    Returns
    -------
    float
        Time since switching on. [s]
    """
    return 60 * lamp.step_min - RECORD_STEP_S


def case_temperature(lamp: LampTruth, time_s: Array, ambient_C: float, reference_C: float) -> Array:
    """Return the temperature of the lamp's case.

    Parameters
    ----------
    lamp : LampTruth
        Case temperature at the end of its record, or just before it folds back, in air of `reference_C`.
    time_s : ndarray
        Time since switching on. [s]
    ambient_C, reference_C : float
        Air now, air the lamp's case temperature is stated for. [degC]

    Returns
    -------
    ndarray
        Temperature. [degC]
    """
    tau_s = 60 * max(5.0, 1.2 * lamp.tau_min)
    reached_s = before_foldback_s(lamp) if lamp.step_min else 60 * lamp.record_min
    rise = (lamp.case_C - reference_C) / (1 - np.exp(-reached_s / tau_s))
    warm = rise * (1 - np.exp(-time_s / tau_s))
    if lamp.step_min:
        since = np.clip(time_s - 60 * lamp.step_min, 0, None)
        warm -= rise * (1 - lamp.step_W / lamp.hold_W) * (1 - np.exp(-since / tau_s))
    return np.asarray(ambient_C + warm)


def warm_up_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return warm_up.csv: one record for every mounting that was kept on.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row an instant, every 30 s.
    """
    kept = [state for state in states if state.seat.key in WARM_UPS]
    records = [_record(truth, state, f"W{n:02d}", rng) for n, state in enumerate(kept, start=1)]
    return pd.concat(records, ignore_index=True)


def _record(truth: Truth, state: SeatState, run: str, rng: np.random.Generator) -> pd.DataFrame:
    seat, lamp = state.seat, truth.lamps[state.seat.lamp]
    time_s = np.arange(RECORD_STEP_S, 60 * WARM_UPS[seat.key] + 1, RECORD_STEP_S)
    level = true_illuminance(truth, state)
    noise = np.exp(correlated(time_s.size, lamp.reading_sd, RESIDUAL_CORRELATION, rng))
    top = working_range(truth, METER, level, lamp.technology, autorange=truth.days[seat.day].autorange)
    light = level * light_fraction(lamp, time_s) * noise
    current = power(lamp, time_s) / state.socket_V * np.exp(rng.normal(0, 0.002, time_s.size))
    case = case_temperature(lamp, time_s, state.ambient_C, truth.days[CAMERA_DAY].ambient_C)
    return pd.DataFrame({
        **state.cells, "run": run, "elapsed_s": time_s, "range_lx": top,
        "illuminance_lx": shown_lx(truth, METER, light, top, seat), "current_A": np.round(current, 2),
        "case_C": np.round(case + rng.normal(0, 0.15, time_s.size), 1),
    })  # fmt: skip


def correlated(size: int, sd: float, correlation: float | Array, rng: np.random.Generator) -> Array:
    """Return stationary noise whose neighbours are correlated.

    Parameters
    ----------
    size : int
        How many values.
    sd : float
        Standard deviation. [1]
    correlation : float or ndarray, shape (size - 1,)
        Between neighbours, one for all or each with the one before it. [1]
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray
        First-order autoregressive noise. [1]
    """
    fresh = rng.normal(0, sd, size)
    rho = np.broadcast_to(correlation, size - 1)
    fresh[1:] *= np.sqrt(1 - rho**2)
    steps = zip([0.0, *rho.tolist()], fresh.tolist(), strict=True)
    return np.array([*accumulate(steps, lambda before, step: step[0] * before + step[1], initial=0.0)][1:])


def electrical_table(truth: Truth) -> pd.DataFrame:
    """Return electrical.csv: power at the initial time and at the end of the hold, a lamp.

    Parameters
    ----------
    truth : Truth
        Generating values.

    Returns
    -------
    DataFrame
        One row an instant; a folded lamp also just before it folds.
    """
    rows = []
    for name, lamp in truth.lamps.items():
        instants = [INITIAL_S, *([before_foldback_s(lamp)] if lamp.step_min else []), 60 * lamp.record_min]
        for time_s, watts in zip(instants, power(lamp, np.array(instants)), strict=True):
            rows.append({
                "lamp": name, "elapsed_s": time_s, "power_W": round(float(watts), 1),
                "socket_V": truth.reference_V, "current_A": round(float(watts) / truth.reference_V, 3),
                "per": "lamp", "measured_at": "socket", "uncertainty_percent": 2.0,
                "cover": "closed" if name in COVERED else "open",
            })  # fmt: skip
    return pd.DataFrame(rows)


def camera_display(
    surface_C: float,
    emissivity: float,
    reflected_C: float = SURROUNDINGS_C,
    *,
    set_emissivity: float = SET_EMISSIVITY,
    set_reflected_C: float | None = None,
) -> float:
    """Return what a camera set to one emissivity shows of a surface with another.

    Parameters
    ----------
    surface_C, reflected_C : float
        Surface and surroundings. [degC]
    emissivity, set_emissivity : float
        Of the surface, and set in the camera. [1]
    set_reflected_C : float, optional
        Surroundings set in the camera; the true ones if left out. [degC]

    Returns
    -------
    float
        Displayed temperature. [degC]
    """
    assumed_C = reflected_C if set_reflected_C is None else set_reflected_C
    kelvin = ZERO_CELSIUS_K + np.array([surface_C, reflected_C, assumed_C, COLDEST_C])
    surface, around, assumed, least = radiance(kelvin)
    signal = emissivity * surface + (1 - emissivity) * around
    seen = (signal - (1 - set_emissivity) * assumed) / set_emissivity
    return float(temperature_of(np.maximum(seen, least)) - ZERO_CELSIUS_K)


def thermal_table(truth: Truth, *, rng: np.random.Generator) -> pd.DataFrame:
    """Return thermal.csv: bare cases and tape patches seen by the camera.

    Parameters
    ----------
    truth : Truth
        Case temperatures and emissivities.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a camera reading.
    """
    rows = []
    air = truth.days[CAMERA_DAY].ambient_C
    for name, lamp in truth.lamps.items():
        # where the truth states the case temperature, the camera is read without scatter
        stated = {60 * lamp.record_min, *([before_foldback_s(lamp)] if lamp.step_min else [])}
        for time_s in sorted({t for t in (300.0, 600.0, 1200.0) if t <= 60 * lamp.record_min} | stated):
            case = float(case_temperature(lamp, np.array([time_s]), air, air)[0])
            for method, emissivity in (("bare", lamp.emissivity), ("tape", SET_EMISSIVITY)):
                scatter = 0.0 if time_s in stated else float(rng.normal(0, 0.15))
                shown = camera_display(case, emissivity) + scatter
                rows.append({
                    "lamp": name, "elapsed_s": time_s, "displayed_C": round(shown, 1), "method": method,
                    "set_emissivity": SET_EMISSIVITY, "emissivity": emissivity,
                    "emissivity_half_width": 0.05 if method == "bare" else 0.02,
                    "reflected_C": SURROUNDINGS_C, "ambient_C": air, "pixels": 12.0, "place": "fin",
                    "cover": "open", "fan_direction": "down",
                })  # fmt: skip
    return pd.DataFrame(rows)


def distance_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return distance.csv: the baseline lamp at several distances, two placements each, on the second range.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings; the runs follow two of them.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a placement.
    """
    top = truth.meters[METER].ranges_lx[1]
    dark = float(truth.meters[METER].display(0.0, top, 1.0))
    rows = []
    for state in (state for state in states if state.seat.key in RUN_SEATS):
        seat, sd = state.seat, truth.lamps[state.seat.lamp].reading_sd
        housing = truth.housings[seat.housing]
        level = true_illuminance(truth, state) / housing.illuminance()
        for repeat in (1, 2):
            for distance in DISTANCES_M:
                placed = distance + float(rng.normal(0, PLACEMENT_SD_M))
                light = level * housing.illuminance(placed) * exp(rng.normal(0, sd))
                rows.append({
                    **state.cells, "run": f"{seat.lamp}-{seat.housing}", "distance_m": distance, "repeat": repeat,
                    "illuminance_lx": float(shown_lx(truth, METER, light, top, seat)),
                    "dark_lx": dark, "range_lx": top,
                })  # fmt: skip
    return pd.DataFrame(rows)


def beam_shape(horizontal: Array, vertical: Array, *, wide: float, edge: float, stray: float) -> Array:
    """Return the relative intensity of the demo's passing beams.

    Parameters
    ----------
    horizontal, vertical : ndarray
        Angles, + right and + up. [deg]
    wide, edge, stray : float
        Weight of the wide part, softness of the cut-off, light above it. [1], [deg], [1]

    Returns
    -------
    ndarray
        Relative intensity, not normalised. [1]
    """
    h, v = horizontal, vertical
    hot = np.exp(-(((h - 1) / 3) ** 2) / 2 - ((v + 1.3) / 0.75) ** 2 / 2)
    spread = np.exp(-((h / 11) ** 2) / 2 - ((v + 2.2) / 2) ** 2 / 2)
    veil = np.exp(-((h / 12) ** 2) / 2 - (v / 4) ** 2 / 2)
    return np.asarray((hot + wide * spread) / (1 + np.exp((v + 0.57) / edge)) + stray * veil)


def beam_intensity(truth: Truth, lamp: str, housing: str, horizontal: Array, vertical: Array) -> Array:
    """Return the intensity distribution of a lamp in a housing, at the level of the initial time.

    Parameters
    ----------
    truth : Truth
        Hot-spot intensities.
    lamp, housing : str
        Which.
    horizontal, vertical : ndarray
        Angles. [deg]

    Returns
    -------
    ndarray
        Luminous intensity. [cd]
    """
    shape = dict(zip(("wide", "edge", "stray"), BEAM_SHAPES[lamp, housing], strict=True))
    fine_h, fine_v = np.meshgrid(np.linspace(-5, 5, 501), np.linspace(-4, 1, 501))
    largest = beam_shape(fine_h, fine_v, **shape).max()
    hot = truth.housings[housing].intensity_cd * truth.lamps[lamp].ratio[housing]
    return np.asarray(hot * beam_shape(horizontal, vertical, **shape) / largest)


def beam_table(truth: Truth, *, rng: np.random.Generator) -> pd.DataFrame:
    """Return beam.csv: a grid and a fine vertical scan for every lamp and housing with a known beam.

    The meter stands on its lowest range above the horizon, on its second one below.

    Parameters
    ----------
    truth : Truth
        Generating values.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a direction; the angles mark points on a flat wall, the head faces the lamp at each.
    """
    grid_h, grid_v = np.meshgrid(np.arange(-20.0, 21.0), np.arange(-6.0, 4.01, 0.5))
    scan_v = np.round(np.arange(-2.0, 1.001, 0.05), 2)
    scan_h = np.full(scan_v.size, FINE_SCAN_DEG)
    parts = (("grid", grid_h.ravel(), grid_v.ravel()), ("scan", scan_h, scan_v))
    kind = truth.meters[METER]
    low, high = kind.ranges_lx[:2]
    pieces = []
    for (lamp, housing), (part, h, v) in product(BEAM_SHAPES, parts):
        place, model = truth.housings[housing], truth.lamps[lamp]
        slant = 1 + np.tan(np.radians(h)) ** 2 + np.tan(np.radians(v)) ** 2
        per_candela = place.illuminance() / place.intensity_cd / slant
        scatter = np.exp(rng.normal(0, model.reading_sd, h.size))
        light = beam_intensity(truth, lamp, housing, h, v) * per_candela * scatter
        colour = kind.colour[model.technology]
        on_low, on_high = (kind.display(light, top, colour) for top in (low, high))
        lowest = (v >= LOW_RANGE_FROM_DEG) & (on_low <= low)
        figure = np.where(lowest, on_low, on_high)
        dark = [float(kind.display(0.0, top, colour)) for top in (low, high)]
        pieces.append(pd.DataFrame({
            "run": f"{lamp}-{housing}-{part}", "lamp": lamp, "housing": housing, "horizontal_deg": h,
            "vertical_deg": v, "illuminance_lx": np.maximum(figure, 0),
            "censored": np.where(figure < 0, "below", ""), "meter": METER,
            "range_lx": np.where(lowest, low, high), "dark_lx": np.where(lowest, *dark),
        }))  # fmt: skip
    return pd.concat(pieces, ignore_index=True)


@cache
def spectrum_values(name: str) -> tuple[Array, Array]:
    """Return one of the demo's spectra: ``filament``, ``led``, or the responsivity of ``M1`` or ``M2``.

    Parameters
    ----------
    name : str
        Which.

    Returns
    -------
    tuple of ndarray
        Wavelength and relative value, largest 1. [nm], [1]
    """
    grid = SOURCE_GRID_NM if name in {"filament", "led"} else RESPONSIVITY_GRID_NM
    if name == "filament":
        value = planckian(grid, FILAMENT_K)
    elif name == "led":
        value = led_illuminant(grid, LED_NAME)
    elif name == "M1":  # V(lambda) narrowed by 0.97 about 555 nm, with a blue leak
        value = photopic_efficiency(np.clip(555.0 + (grid - 555.0) / 0.97, 360.0, 830.0))
        value = value + 0.15 * np.exp(-(((grid - 450.0) / 18.0) ** 2) / 2)
    else:
        value = photopic_efficiency(np.maximum(grid - 2.0, 360.0))
    return grid, np.array([float(f"{item:.6g}") for item in np.asarray(value) / np.max(value)])


def spectra_table(truth: Truth) -> pd.DataFrame:
    """Return spectra.csv: every lamp's light and every meter's responsivity.

    Parameters
    ----------
    truth : Truth
        Lamps and meters.

    Returns
    -------
    DataFrame
        One row a spectrum; LED lamps share a file.
    """
    lights = {name: f"spectrum_{lamp.technology}.csv" for name, lamp in truth.lamps.items()}
    rows = [(f"{name}-light", "source", name, "", file) for name, file in lights.items()]
    rows += [(f"{name}-head", "responsivity", "", name, f"responsivity_{name}.csv") for name in truth.meters]
    return pd.DataFrame(rows, columns=TABLES["spectra"].names)


def spectra_of(table: pd.DataFrame) -> dict[str, Spectrum]:
    """Return the spectra of a table of them, by name."""
    rows = zip(*(table[c] for c in TABLES["spectra"].names), strict=True)
    return {
        name: Spectrum(kind, lamp, meter, *spectrum_values(file.removesuffix(".csv").partition("_")[2]))
        for name, kind, lamp, meter, file in rows
    }


def links_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return links.csv: what both meters showed for the same mountings, dark readings removed.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings; those of the last two days count, one for each specimen and housing.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a mounting: means of three displayed readings a meter.
    """
    last = list(truth.days)[-2:]
    rows = []
    for state in (s for s in states if s.seat.day in last and s.seat.mounting == 1):
        seat, lamp = state.seat, truth.lamps[state.seat.lamp]
        shown = {}
        for meter, kind in truth.meters.items():
            top = kind.ranges_lx[1 if meter == METER else 0]
            light = true_illuminance(truth, state) * np.exp(rng.normal(0, lamp.reading_sd, 3))
            dark = float(kind.display(0.0, top, 1.0))
            shown[meter] = float(np.mean(shown_lx(truth, meter, light, top, seat))) - dark
        rows.append({
            **state.cells, "technology": lamp.technology, "date": truth.days[seat.day].date, "old_meter": "M1",
            "new_meter": "M2", "old_lx": round(shown["M1"], 1), "new_lx": round(shown["M2"], 1),
        })  # fmt: skip
    return pd.DataFrame(rows)
