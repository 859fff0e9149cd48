"""Warm-up records, thermal camera and electrical readings of a simulated bench."""

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.simulation_plan import COVERED, WARM_UPS
from photolab.bench.simulation_readings import (
    INITIAL_S,
    SeatState,
    folded,
    light_fraction,
    shown_lx,
    true_illuminance,
    working_range,
)
from photolab.bench.truth import LampTruth, Truth

Array = NDArray[np.float64]

RECORD_STEP_S = 30.0
RESIDUAL_CORRELATION = 0.1
CAMERA_DAY = "D07"
SURROUNDINGS_C = 22.0
SET_EMISSIVITY = 0.95
BAND_UM = (8.0, 14.0)
SECOND_RADIATION_UM_K = 14387.76877
"""hc/k, exact since the SI of 2019. [um K]"""


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
    if lamp.step_min == 0:
        return np.asarray(settled)
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


def warm_up_table(
    truth: Truth, states: list[SeatState], *, rng: np.random.Generator, meter: str = "M1"
) -> pd.DataFrame:
    """Return warm_up.csv: one record for every mounting that was kept on.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings.
    rng : numpy.random.Generator
        Source of randomness.
    meter : str
        The meter that is read.

    Returns
    -------
    DataFrame
        One row an instant, every 30 s.
    """
    kept = [state for state in states if state.seat.key in WARM_UPS]
    return pd.concat(
        [_record(truth, state, f"W{n:02d}", meter, rng) for n, state in enumerate(kept, start=1)],
        ignore_index=True,
    )


def _record(truth: Truth, state: SeatState, run: str, meter: str, rng: np.random.Generator) -> pd.DataFrame:
    seat, lamp = state.seat, truth.lamps[state.seat.lamp]
    time_s = np.arange(RECORD_STEP_S, 60 * WARM_UPS[seat.key] + 1, RECORD_STEP_S)
    level = true_illuminance(truth, state)
    noise = np.exp(correlated(time_s.size, lamp.reading_sd, RESIDUAL_CORRELATION, rng))
    top = working_range(truth, meter, level, lamp.technology, autorange=truth.days[seat.day].autorange)
    light = level * light_fraction(lamp, time_s) * noise
    current = power(lamp, time_s) / state.socket_V * np.exp(rng.normal(0, 0.002, time_s.size))
    case = case_temperature(lamp, time_s, state.ambient_C, truth.days[CAMERA_DAY].ambient_C)
    return pd.DataFrame({
        "run": run, "lamp": seat.lamp, "specimen": seat.specimen, "housing": seat.housing, "day": seat.day,
        "mounting": str(seat.mounting), "elapsed_s": time_s,
        "illuminance_lx": shown_lx(truth, meter, light, top, seat),
        "meter": meter, "range_lx": top, "socket_V": state.shown_V, "current_A": np.round(current, 2),
        "case_C": np.round(case + rng.normal(0, 0.15, time_s.size), 1), "ambient_C": state.ambient_C,
        "rest_minutes": seat.rest_minutes, "cover": seat.cover,
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
    noise = np.empty(size)
    noise[0] = fresh[0]
    for n, rho in enumerate(np.broadcast_to(correlation, size - 1), 1):
        noise[n] = rho * noise[n - 1] + np.sqrt(1 - rho**2) * fresh[n]
    return noise


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


def band_radiance(temperature_C: Array) -> Array:
    """Return the radiance of a black body within the camera's band.

    Parameters
    ----------
    temperature_C : array_like
        Temperature. [degC]

    Returns
    -------
    ndarray
        Planck's law summed over 8-14 um, relative. [1]
    """
    kelvin = np.atleast_1d(np.asarray(temperature_C, dtype=float))[:, None] + 273.15
    wavelength = np.linspace(*BAND_UM, 241)
    return np.asarray(
        np.trapezoid(
            wavelength**-5 / np.expm1(SECOND_RADIATION_UM_K / (wavelength * kelvin)), wavelength, axis=1
        )
    )


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
    surface, around, assumed = band_radiance(np.array([surface_C, reflected_C, assumed_C]))
    signal = emissivity * surface + (1 - emissivity) * around
    seen = (signal - (1 - set_emissivity) * assumed) / set_emissivity
    scale, radiance = _camera_scale()
    return float(np.interp(seen, radiance, scale))


@cache
def _camera_scale() -> tuple[Array, Array]:
    """Return temperatures 0.1 K apart and their radiance; between them a line errs by under 0.001 K."""
    scale = np.linspace(-50.0, 500.0, 5501)
    return scale, band_radiance(scale)


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
                shown = camera_display(case, emissivity) + (
                    0.0 if time_s in stated else float(rng.normal(0, 0.15))
                )
                rows.append({
                    "lamp": name, "elapsed_s": time_s, "displayed_C": round(shown, 1), "method": method,
                    "set_emissivity": SET_EMISSIVITY, "emissivity": emissivity,
                    "emissivity_half_width": 0.05 if method == "bare" else 0.02,
                    "reflected_C": SURROUNDINGS_C, "ambient_C": air, "pixels": 12.0, "place": "fin",
                    "cover": "open", "fan_direction": "down",
                })  # fmt: skip
    return pd.DataFrame(rows)
