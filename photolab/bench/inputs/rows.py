"""One row of the results table, from the quantity that it publishes."""

import math
from typing import Any

from photolab.bench.terms.model import Bench
from photolab.metrology.quantity import Measured


def result_row(
    bench: Bench, quantity: Measured | None, *, in_ln: bool = False, **said: object
) -> dict[str, Any]:
    """Return one row of the results table.

    Parameters
    ----------
    bench : Bench
        The bench: its coverage and times.
    quantity : Measured or None
        What is published, in its unit; None where there is no value.
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
    value = low = high = half = factor = dof = math.nan
    if quantity is not None:
        value = quantity.value
        low, high = quantity.interval(settings.coverage)
        wide = quantity.half_width(settings.coverage)
        half = math.log(high / low) / 2.0 if in_ln else wide / value if value > 0.0 else math.nan
        if quantity.u:
            factor, dof = half * value / quantity.u if in_ln else wide / quantity.u, quantity.dof
    row: dict[str, Any] = {
        **dict.fromkeys(("lamp", "housing", "measurand", "baseline", "point", "instant"), ""),
        "scope": "readings",
        "value": value,
        "unit": "" if quantity is None else quantity.unit,
        "low": low,
        "high": high,
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": factor,
        "dof": dof,
        **dict.fromkeys(("n_specimens", "n_mountings", "n_readings", "n_days"), 1),
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": "",
        "corrections": "none",
        "assumed": "nothing",
        "verdict": "",
    }
    return row | said
