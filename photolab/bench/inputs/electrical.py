"""Watts of a lamp from electrical.csv: measured at a named instant, per lamp."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from photolab.bench.inputs.rows import result_row
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import Bench
from photolab.metrology.quantity import Measured, limits, measured

POWER_LIMIT_PERCENT = 2.0
"""Limit of a power reading where electrical.csv states no uncertainty_percent, assumed. [%]"""


@dataclass(frozen=True)
class Power:
    """The power of one lamp at one instant.

    Attributes
    ----------
    watts : Measured
        Power of one lamp; half of what was read for a pair. [W]
    upper : float
        Its upper limit. [W]
    elapsed_s : float
        Time since switch-on. [s]
    n_readings : int
        Readings of that instant.
    measured_at : str
        Where on the supply it was read.
    assumed : str
        What was assumed, or "nothing".
    """

    watts: Measured
    upper: float
    elapsed_s: float
    n_readings: int
    measured_at: str
    assumed: str


@lru_cache(maxsize=4)
def _table(bench: Bench) -> Columns:
    """Return the rows of electrical.csv."""
    return Columns(bench.tables["electrical"])


@lru_cache(maxsize=64)  # watts and light per watt ask for them; a bench is told from another by identity
def lamp_power(bench: Bench, lamp: str, instant: str) -> Power | None:
    """Return the power of one lamp.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.
    instant : {"initial", "hold"}
        The reading nearest to that time, if it lies within 25 % of it (15 s at least).

    Returns
    -------
    Power or None
        None where no power was read then.
    """
    wanted = bench.settings.initial_s if instant == "initial" else 60.0 * bench.settings.hold_minutes
    table = _table(bench)
    gap = np.where(table["lamp"] == lamp, np.abs(table.numbers("elapsed_s") - wanted), np.inf)
    gap[~(gap <= max(0.25 * wanted, 15.0))] = np.inf
    used = np.flatnonzero((gap == gap.min(initial=np.inf)) & np.isfinite(gap))
    return _power(lamp, table.among(used)) if len(used) else None


def _power(lamp: str, used: Columns) -> Power:
    """Return the power that some readings give.

    A stated uncertainty_percent is read as a limit (rectangular), 2 % where none is stated; repeats are averaged and
    share it.
    """
    watts, product = used.numbers("power_W"), used.numbers("socket_V") * used.numbers("current_A")
    each = np.where(np.isnan(watts), product, watts) * np.where(used["per"] == "pair", 0.5, 1.0)
    value = float(each[~np.isnan(each)].mean())
    stated = used.numbers("uncertainty_percent")
    stated = stated[~np.isnan(stated)]
    percent = float(stated.max()) if len(stated) else POWER_LIMIT_PERCENT
    source = "manual" if len(stated) else "assumed"
    meter = limits(("power reading", lamp, percent), percent / 100.0, kind="scale", source=source)
    return Power(
        measured(value, (meter, value), unit="W"),
        value * (1.0 + percent / 100.0),
        float(used["elapsed_s"][0]),
        used.rows,
        ", ".join(sorted({str(m) for m in used["measured_at"] if m})) or "place not stated",
        "nothing" if len(stated) else f"power reading {percent:g} %",
    )


def assumed_limit(bench: Bench) -> tuple[Assumption, ...]:
    """Return the limit of power readings where some that enter state none.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of Assumption
        One, or none.
    """
    lamps = dict.fromkeys(_table(bench)["lamp"].tolist())
    entered = (lamp_power(bench, lamp, instant) for lamp in lamps for instant in ("initial", "hold"))
    if all(power is None or power.assumed == "nothing" for power in entered):
        return ()
    return (Assumption("power reading", POWER_LIMIT_PERCENT, "%", "", told="limit of a power reading"),)


def highest_power(bench: Bench, lamp: str) -> Power | None:
    """Return the highest power of a lamp, which a claim on the box is set against.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    Power or None
        None where no power was read.
    """
    table = _table(bench)
    mine = np.flatnonzero(table["lamp"] == lamp)
    read = [_power(lamp, table.among(row)) for row in mine[:, None]]
    return max(read, key=lambda power: (power.watts.value, power.upper), default=None)


def measured_power(bench: Bench) -> pd.DataFrame:
    """Return the power of each lamp at the initial and the hold time.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    DataFrame
        One row a lamp and instant in the columns of the results table; a pair's power is halved. [W]
    """
    lamps = dict.fromkeys(_table(bench)["lamp"].tolist())
    found = [(lamp, when, lamp_power(bench, lamp, when)) for lamp in lamps for when in ("initial", "hold")]
    rows = [
        result_row(
            bench,
            power.watts,
            lamp=lamp,
            measurand="electrical power",
            instant=when,
            n_readings=power.n_readings,
            conditions=f"{power.elapsed_s:g} s after switch-on, measured at: {power.measured_at}",
            assumed=power.assumed,
        )
        for lamp, when, power in found
        if power is not None
    ]
    return pd.DataFrame(rows)
