"""Inputs of the supply voltage, the ambient and the clock on mounting means."""

import math
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.model import Bench
from photolab.bench.shared_inputs import Loadings
from photolab.metrology.quantity import Input, limits

DRIFT_PERCENT_PER_HOUR = 0.5
"""Standard uncertainty of the drift of lamp, supply and meter within a day, assumed. [%/h]"""
ELAPSED_U_S = 2.0
"""Standard uncertainty of the time since switch-on, assumed. [s]"""
WARM_UP_SLOPE = 0.0005
"""Change of light of an LED lamp a second at the initial time, assumed (0.86 of it left with 4 min: 0.0006). [1/s]"""


def clock_hours(clock: pd.Series) -> NDArray[np.float64]:
    """Return the clock as hours.

    Parameters
    ----------
    clock : Series of str
        "HH:MM" or "HH:MM:SS"; blank where unknown.

    Returns
    -------
    ndarray
        Hours since midnight; NaN where blank. [h]
    """
    parts = [[float(p) for p in text.split(":")] if text else [] for text in clock.astype(str)]
    return np.array([sum(v / 60**i for i, v in enumerate(p)) if p else math.nan for p in parts])


def add_supply_and_time(loads: Loadings, seats: pd.DataFrame, bench: Bench) -> None:
    """Add supply voltage, ambient, meter temperature and elapsed time.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs.
    seats : DataFrame
        Mounting means: exponent, volts, ln_voltage_ratio, warmth_K, led_warmth_K, elapsed_s, identity.
    bench : Bench
        Reference voltage and meters.
    """
    _add_voltage(loads, seats, bench.settings.reference_voltage_V)
    warmth = seats["warmth_K"].to_numpy(float)
    keys = list(zip(seats["meter"], seats["day"].astype(str), strict=True))
    loads.add(
        keys,
        warmth,
        lambda k: instruments.meter_temperature_input(bench.meters[k[0]], k[1]),
    )
    lamps = [(str(lamp),) for lamp in seats["lamp"]]
    loads.add(lamps, -seats["led_warmth_K"].to_numpy(float), lambda k: _ambient_input(k[0]))
    timed = seats["elapsed_s"].notna() & (seats["technology"] != "filament") & (seats["instant"] == "initial")
    each = [str(i) if ok else None for i, ok in enumerate(timed)]
    loads.add(each, np.full(len(seats), WARM_UP_SLOPE), _elapsed_input)


def _add_voltage(loads: Loadings, seats: pd.DataFrame, reference: float) -> None:
    """Add what the supply does to filament lamps: measured, or assumed."""
    exponent = seats["exponent"].to_numpy(float)
    volts = seats["volts"].to_numpy(float)
    stated = ~np.isnan(volts) & (exponent != 0)
    slope = np.where(stated, -exponent / np.where(stated, volts, 1.0), 0.0)
    each = [str(i) for i in range(len(seats))]
    loads.add(each, slope, lambda k: _supply(Input, ("supply voltage", k), steps.VOLTMETER_U_V))
    scale = _supply(limits, ("voltmeter",), steps.VOLTMETER_SCALE_PERCENT / 100.0)
    loads.add_one(scale, np.where(stated, -exponent, 0.0))
    unstated = (exponent != 0) & ~stated
    supply = _supply(limits, ("supply assumed",), steps.ASSUMED_VOLTAGE_LIMIT_V / reference)
    loads.add_one(supply, np.where(unstated, -exponent, 0.0))
    law = _supply(Input, ("voltage exponent",), steps.FILAMENT_EXPONENT_U)
    loads.add_one(law, seats["ln_voltage_ratio"].to_numpy(float))


def drift_input(key: tuple[str, str]) -> Input:
    """Return the drift of one day in one housing.

    Parameters
    ----------
    key : tuple of str
        Day and housing.

    Returns
    -------
    Input
        Relative drift an hour; readings of the baseline early and late in the day tell it. [1/h]
    """
    return Input(("drift", *key), DRIFT_PERCENT_PER_HOUR / 100.0, kind="day", source="assumed")


def _supply(make: Callable[..., Input], name: tuple[str, ...], size: float) -> Input:
    return make(name, size, kind="supply", source="assumed")


def _ambient_input(lamp: str) -> Input:
    return limits(("ambient", lamp), steps.LED_AMBIENT_LIMIT, kind="ambient", source="assumed")


def _elapsed_input(key: str) -> Input:
    return Input(("elapsed time", key), ELAPSED_U_S, kind="elapsed time", source="assumed")
