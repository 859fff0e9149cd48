"""One row of the results table, from the quantity that it publishes."""

import math
from typing import Any

from photolab.bench.model import Bench
from photolab.metrology.quantity import Measured


def result_row(bench: Bench, quantity: Measured, *, in_ln: bool = False, **said: object) -> dict[str, Any]:
    """Return one row of the results table.

    Parameters
    ----------
    bench : Bench
        The bench: its coverage and times.
    quantity : Measured
        What is published, in its unit.
    in_ln : bool, default False
        Whether its interval was taken in ln, as that of a ratio.
    **said : object
        What the row says beside it, by column; what is not given is blank, "none", "nothing" or 1.

    Returns
    -------
    dict
        Column to cell, in the order of the table.
    """
    settings = bench.settings
    low, high = quantity.interval(settings.coverage)
    half = quantity.half_width(settings.coverage) / quantity.value
    if in_ln:
        half = math.log(high / low) / 2.0
    row: dict[str, Any] = {
        **dict.fromkeys(("lamp", "housing", "measurand", "baseline", "point", "instant"), ""),
        "scope": "readings",
        "value": quantity.value,
        "unit": quantity.unit,
        "low": low,
        "high": high,
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": half * quantity.value / quantity.u if quantity.u else math.nan,
        "dof": quantity.dof if quantity.u else math.nan,
        **dict.fromkeys(("n_specimens", "n_mountings", "n_readings", "n_days"), 1),
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": "",
        "corrections": "none",
        "assumed": "nothing",
        "verdict": "",
    }
    return row | said
