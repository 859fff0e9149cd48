"""The readings of a simulated bench: mountings, their conditions, and what the meter shows."""

from dataclasses import dataclass
from math import exp, log
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.demo import HOLD_MINUTES, HOLDS, Seat
from photolab.bench.truth import LampTruth, Truth

Array = NDArray[np.float64]

INITIAL_S = 60.0
HOLD_S = 60.0 * HOLD_MINUTES
STEP_SECONDS = 20.0
METER = "M1"
"""The meter of the campaign; the others are read for the links alone."""
REPEATS = 3


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
    if lamp.step_min == 0:
        return np.zeros_like(time_s)
    return np.clip((time_s - 60 * lamp.step_min) / STEP_SECONDS, 0, 1)


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
    seat = state.seat
    lamp = truth.lamps[seat.lamp]
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


def _reading_rows(
    truth: Truth, state: SeatState, rng: np.random.Generator, time_s: float
) -> list[dict[str, object]]:
    seat, day, lamp = state.seat, truth.days[state.seat.day], truth.lamps[state.seat.lamp]
    true_lx = true_illuminance(truth, state, time_s)
    minute = seat.minute + round(time_s / 60)
    top = working_range(truth, METER, true_lx, lamp.technology, autorange=day.autorange)
    light = true_lx * np.exp(rng.normal(0, lamp.reading_sd, REPEATS))
    shown = shown_lx(truth, METER, light, top, seat)
    common: dict[str, object] = {
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
