"""Inputs of the supply voltage, the ambient and the clock on mounting means."""

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.model import Bench
from photolab.bench.shared_inputs import Loadings
from photolab.metrology.inputs import InputQuantity

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
        "meter temperature",
        keys,
        warmth,
        lambda k: instruments.meter_temperature_input(bench.meters[k[0]], k[1]),
    )
    lamps = [(str(lamp),) for lamp in seats["lamp"]]
    loads.add("ambient", lamps, -seats["led_warmth_K"].to_numpy(float), lambda k: _ambient_input(k[0]))
    timed = seats["elapsed_s"].notna() & (seats["technology"] != "filament") & (seats["instant"] == "initial")
    each = [str(i) if ok else None for i, ok in enumerate(timed)]
    loads.add("elapsed time", each, np.full(len(seats), WARM_UP_SLOPE), _elapsed_input)


def _add_voltage(loads: Loadings, seats: pd.DataFrame, reference: float) -> None:
    """Add what the supply does to filament lamps: measured, or assumed."""
    exponent = seats["exponent"].to_numpy(float)
    volts = seats["volts"].to_numpy(float)
    stated = ~np.isnan(volts) & (exponent != 0)
    slope = np.where(stated, -exponent / np.where(stated, volts, 1.0), 0.0)
    each = [str(i) for i in range(len(seats))]
    loads.add(
        "supply voltage",
        each,
        slope,
        lambda k: InputQuantity(
            ("supply voltage", k), 0.0, steps.VOLTMETER_U_V, unit="V", shared_by="mounting"
        ),
    )
    scale = InputQuantity.from_limits(
        ("voltmeter",), 0.0, steps.VOLTMETER_SCALE_PERCENT / 100.0, shared_by="bench", shared_with="voltmeter"
    )
    loads.add_one("voltmeter", scale, np.where(stated, -exponent, 0.0))
    unstated = (exponent != 0) & ~stated
    supply = InputQuantity.from_limits(
        ("supply assumed",),
        0.0,
        steps.ASSUMED_VOLTAGE_LIMIT_V / reference,
        shared_by="bench",
        shared_with="supply",
    )
    loads.add_one("supply assumed", supply, np.where(unstated, -exponent, 0.0))
    law = InputQuantity(
        ("voltage exponent",), 0.0, steps.FILAMENT_EXPONENT_U, shared_by="bench", shared_with="filament"
    )
    loads.add_one("voltage exponent", law, seats["ln_voltage_ratio"].to_numpy(float))


def drift_input(key: tuple[str, str]) -> InputQuantity:
    """Return the drift of one day in one housing.

    Parameters
    ----------
    key : tuple of str
        Day and housing.

    Returns
    -------
    InputQuantity
        Relative drift an hour; readings of the baseline early and late in the day tell it. [1/h]
    """
    u = DRIFT_PERCENT_PER_HOUR / 100.0
    name = ("drift", *key)
    return InputQuantity(name, 0.0, u, unit="1/h", shared_by="day and housing", shared_with=" ".join(key))


def _ambient_input(lamp: str) -> InputQuantity:
    limit = steps.LED_AMBIENT_LIMIT
    return InputQuantity.from_limits(
        ("ambient", lamp), 0.0, limit, unit="1/K", shared_by="lamp", shared_with=lamp
    )


def _elapsed_input(key: str) -> InputQuantity:
    return InputQuantity(
        ("elapsed time", key), 0.0, ELAPSED_U_S, unit="s", shared_by="reading", shared_with=key
    )
