"""Inputs of the supply voltage, the ambient and the clock on mounting means."""

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.columns import Columns
from photolab.bench.model import Meter
from photolab.bench.shared_inputs import Loadings
from photolab.metrology.quantity import Input, limits

DRIFT_PERCENT_PER_HOUR = 0.5
"""Standard uncertainty of the drift of lamp, supply and meter within a day, assumed. [%/h]"""
ELAPSED_U_S = 2.0
"""Standard uncertainty of the time since switch-on, assumed. [s]"""
WARM_UP_SLOPE = 0.0005
"""Change of light of an LED lamp a second at the initial time, assumed (0.86 of it left with 4 min: 0.0006). [1/s]"""


def clock_hours(clock: ArrayLike) -> NDArray[np.float64]:
    """Return the clock as hours.

    Parameters
    ----------
    clock : array_like of str
        "HH:MM" or "HH:MM:SS"; blank where unknown.

    Returns
    -------
    ndarray
        Hours since midnight; NaN where blank. [h]
    """
    table = Columns({"clock": np.asarray(clock, dtype=object)})
    by = table.groups("clock")
    parts = [str(text).split(":") for text in table["clock"][by.first]]
    hours = [sum(float(v) / 60**i for i, v in enumerate(p)) if p[0] else math.nan for p in parts]
    return np.array(hours)[by.code]


def add_supply_and_time(loads: Loadings, meters: Mapping[str, Meter], reference: float) -> None:
    """Add supply voltage, ambient, meter temperature and elapsed time.

    Parameters
    ----------
    loads : Loadings
        Receives the inputs. Its rows: exponent, volts, ln_voltage_ratio, warmth_K, led_warmth_K, elapsed_s, identity.
    meters : mapping
        Meters by id.
    reference : float
        Voltage that filament lamps are brought to. [V]
    """
    seats = loads.seats
    exponent, volts = seats.numbers("exponent"), seats.numbers("volts")
    stated = ~np.isnan(volts)
    slope = np.where(stated, -exponent / np.where(stated, volts, 1.0), 0.0)
    loads.add(("number",), slope, [_supply(Input, "supply voltage", steps.VOLTMETER_U_V)])
    scale = _supply(limits, "voltmeter", steps.VOLTMETER_SCALE_PERCENT / 100.0)
    loads.add((), np.where(stated, -exponent, 0.0), [scale])
    supply = _supply(limits, "supply assumed", steps.ASSUMED_VOLTAGE_LIMIT_V / reference)
    loads.add((), np.where(stated, 0.0, -exponent), [supply])
    law = _supply(Input, "voltage exponent", steps.FILAMENT_EXPONENT_U)
    loads.add((), seats.numbers("ln_voltage_ratio"), [law])
    by = seats.groups("meter")
    warm = [instruments.meter_temperature_input(meters[m], "") for m in seats["meter"][by.first].tolist()]
    loads.add(("meter", "day"), seats.numbers("warmth_K"), warm, by.code)
    ambient = limits(("ambient",), steps.LED_AMBIENT_LIMIT, kind="ambient", source="assumed")
    loads.add(("lamp",), -seats.numbers("led_warmth_K"), [ambient])
    timed = ~np.isnan(seats.numbers("elapsed_s")) & (seats["technology"] != "filament")
    elapsed = Input(("elapsed time",), ELAPSED_U_S, kind="elapsed time", source="assumed")
    loads.add(("number",), WARM_UP_SLOPE * (timed & (seats["instant"] == "initial")), [elapsed])


def _supply(make: Callable[..., Input], term: str, size: float) -> Input:
    return make((term,), size, kind="supply", source="assumed")
