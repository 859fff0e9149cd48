"""Which readings enter the joint evaluation, and why the others do not.

The exclusion rule lives here: a row that the person marked `exclude = yes` (with its note) never enters; a row read
with another meter than the campaign's main one waits for a link between the two; a row at another instant than the
initial and the hold time belongs to the warm-up. Nothing is dropped because of its value.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.model import Bench

HOLD_TOLERANCE = 0.05
"""Readings within this share of the hold time count as taken at hold. [1]"""


@dataclass(frozen=True, eq=False)
class Selection:
    """Readings that enter, and those that do not with the reason.

    Attributes
    ----------
    readings : DataFrame
        Rows of readings.csv that enter, with `instant`: "initial" or "hold".
    left_out : DataFrame
        Columns line, lamp, reason.
    meter : str
        The campaign's main meter.
    baseline : str
        The lamp that the others are divided by.
    baseline_declared : bool
        False where the first lamp in row order stands in.
    """

    readings: pd.DataFrame
    left_out: pd.DataFrame
    meter: str
    baseline: str
    baseline_declared: bool


def baseline_lamp(bench: Bench) -> tuple[str, bool]:
    """Return the baseline lamp and whether it was declared.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of (str, bool)
        The first lamp with role "baseline", else the first lamp of readings.csv.
    """
    lamps = bench.tables["lamps"]
    declared = lamps.loc[lamps["role"] == "baseline", "lamp"]
    read = set(bench.tables["readings"]["lamp"])
    for lamp in declared:
        if lamp in read:
            return str(lamp), True
    return str(bench.tables["readings"]["lamp"].iloc[0]), False


def main_meter(readings: pd.DataFrame) -> str:
    """Return the meter with the most readings; the first of equals.

    Parameters
    ----------
    readings : DataFrame
        Rows of readings.csv.

    Returns
    -------
    str
        Its id.
    """
    return str(readings["meter"].value_counts(sort=True).index[0])


def instants(bench: Bench) -> pd.Series:
    """Return for each reading "initial", "hold" or "" by its time since switch-on.

    Parameters
    ----------
    bench : Bench
        The bench; a blank elapsed_s counts as the declared initial time.

    Returns
    -------
    Series of str
        One entry a row of readings.csv.
    """
    readings, settings = bench.tables["readings"], bench.settings
    elapsed = readings["elapsed_s"]
    window = max(settings.initial_window_s, 1.0)
    initial = elapsed.isna() | ((elapsed - settings.initial_s).abs() <= window)
    hold_s = 60.0 * settings.hold_minutes
    hold = (elapsed - hold_s).abs() <= HOLD_TOLERANCE * hold_s
    return pd.Series(np.select([initial, hold], ["initial", "hold"], ""), index=readings.index)


def select(bench: Bench, *, leave_out: dict[str, str] | None = None) -> Selection:
    """Select the readings of the joint evaluation.

    Parameters
    ----------
    bench : Bench
        The bench.
    leave_out : dict, optional
        Column to value: rows with all these values are left out (``{"lamp": "K8", "mounting": "2"}``).

    Returns
    -------
    Selection
        What enters, what does not, and why.
    """
    readings = bench.tables["readings"].copy()
    readings["instant"] = instants(bench)
    meter = main_meter(readings)
    reason = pd.Series("", index=readings.index)
    reason[readings["instant"] == ""] = "not read at the initial or the hold time"
    reason[readings["meter"] != meter] = f"read with another meter than {meter}: needs a link"
    net = readings["illuminance_lx"] - readings["dark_lx"].fillna(0.0)
    reason[net <= 0] = "the dark reading is as large as the reading"
    if leave_out:
        out = pd.Series(True, index=readings.index)
        for column, value in leave_out.items():
            out &= readings[column].astype(str) == str(value)
        reason[out] = "left out on request: " + ", ".join(f"{c} {v}" for c, v in leave_out.items())
    excluded = bench.excluded
    listed = pd.DataFrame(
        {
            "line": [*readings.loc[reason != "", "line"], *excluded["line"]],
            "lamp": [*readings.loc[reason != "", "lamp"], *excluded["lamp"]],
            "reason": [*reason[reason != ""], *("excluded: " + excluded["note"].astype(str))],
        }
    )
    baseline, declared = baseline_lamp(bench)
    return Selection(readings[reason == ""].reset_index(drop=True), listed, meter, baseline, declared)
