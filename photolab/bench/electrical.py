"""Watts of a lamp from electrical.csv: measured at a named instant, per lamp."""

import math
from dataclasses import dataclass

import pandas as pd

from photolab.bench.model import Bench

POWER_LIMIT_PERCENT = 2.0
"""Limit of a power reading where electrical.csv states no uncertainty_percent, assumed. [%]"""


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

    Notes
    -----
    The reading nearest to the instant is used if it lies within 25 % of it (15 s at least). A stated
    uncertainty_percent is
    read as a limit (rectangular), 2 % where none is stated; repeats are averaged and share it.
    """
    table, settings = bench.tables["electrical"], bench.settings
    rows = []
    for lamp, block in table.groupby("lamp", sort=False):
        for instant, wanted in (("initial", settings.initial_s), ("hold", 60.0 * settings.hold_minutes)):
            near = block[(block["elapsed_s"] - wanted).abs() <= max(0.25 * wanted, 15.0)]
            if len(near):
                rows.append(_power_row(bench, str(lamp), instant, near))
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class HighestPower:
    """The highest power reading of a lamp.

    Attributes
    ----------
    watts, upper : float
        Power of one lamp, and its upper limit. [W]
    assumed : bool
        True where the limit is the declared default.
    """

    watts: float
    upper: float
    assumed: bool


def highest_power(bench: Bench, lamp: str) -> HighestPower | None:
    """Return the highest power of a lamp, which a claim on the box is set against.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.

    Returns
    -------
    HighestPower or None
        None where no power was read.
    """
    table = bench.tables["electrical"]
    mine = table[table["lamp"] == lamp]
    if mine.empty:
        return None
    watts, limit, stated = max(_power(mine.iloc[[row]]) for row in range(len(mine)))
    return HighestPower(watts, watts * (1.0 + limit / 100.0), not stated)


def _power(used: pd.DataFrame) -> tuple[float, float, bool]:
    """Return the mean power of one lamp, its limit in percent, and whether that was stated."""
    share = used["per"].map({"pair": 0.5}).fillna(1.0)
    power = used["power_W"].fillna(used["socket_V"] * used["current_A"]) * share
    stated = used["uncertainty_percent"].dropna()
    limit = float(stated.max()) if len(stated) else POWER_LIMIT_PERCENT
    return float(power.mean()), limit, len(stated) > 0


def _power_row(bench: Bench, lamp: str, instant: str, near: pd.DataFrame) -> dict[str, object]:
    """Return one row of the results table."""
    wanted = {"initial": bench.settings.initial_s, "hold": 60.0 * bench.settings.hold_minutes}[instant]
    gap = (near["elapsed_s"] - wanted).abs()
    used = near[gap == gap.min()]
    value, limit, stated = _power(used)
    half = 1.959963984540054 * limit / 100.0 / math.sqrt(3.0)
    where = ", ".join(sorted({m for m in used["measured_at"] if m})) or "place not stated"
    return {
        "lamp": lamp,
        "housing": "",
        "measurand": "electrical power",
        "baseline": "",
        "point": "",
        "instant": instant,
        "scope": "readings",
        "value": value,
        "unit": "W",
        "low": value * (1.0 - half),
        "high": value * (1.0 + half),
        "ln_expanded_uncertainty": half,
        "coverage": 0.95,
        "coverage_factor": 1.959963984540054,
        "dof": math.inf,
        "n_specimens": 1,
        "n_mountings": 1,
        "n_readings": len(used),
        "n_days": 1,
        "initial_s": bench.settings.initial_s,
        "hold_minutes": bench.settings.hold_minutes,
        "conditions": f"{float(used['elapsed_s'].iloc[0]):g} s after switch-on, measured at: {where}",
        "corrections": "none",
        "assumed": "nothing" if stated else f"power reading {POWER_LIMIT_PERCENT:g} %",
        "verdict": "",
    }
