"""Stabilization as photometric practice declares it: a spread of spaced readings, no model behind it."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import must_hold

LARGEST_SHIFT = 0.1


class Criterion(NamedTuple):
    """A declared criterion of stability.

    Parameters
    ----------
    readings : int
        Number of spaced readings compared.
    spacing_s : float
        Time between them. [s]
    spread_percent : float
        Largest (maximum - minimum) over their mean that counts as stable. [%]
    source : str
        Where the criterion is from.
    """

    readings: int
    spacing_s: float
    spread_percent: float
    source: str


#: Three readings a quarter of an hour apart within 0.5 %.
PRACTICE = Criterion(3, 900.0, 0.5, "IES LM-79, CIE S 025, from memory")


def stabilized_at(time_s: ArrayLike, illuminance: ArrayLike, *, criterion: Criterion = PRACTICE) -> float:
    """Return when a record first meets a declared criterion of stability.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Strictly increasing time since switch-on. [s]
    illuminance : array_like, shape (n,)
        Readings. [lx]
    criterion : Criterion, default PRACTICE
        The criterion.

    Returns
    -------
    float
        Time of the last of the first readings that agree. [s]

    Raises
    ------
    ValueError
        If the arrays disagree or are not a record.
    MethodError
        If the record is too short for the criterion, or never meets it; `known` holds the smallest spread
        seen.

    Notes
    -----
    Where no reading stands at the exact spacing, the one before is taken, a tenth of the spacing earlier at
    most. Noise of a single reading counts as spread: a criterion met says nothing about the final level.
    """
    times, light = np.asarray(time_s, dtype=float), np.asarray(illuminance, dtype=float)
    whole = times.ndim == 1 and times.shape == light.shape and np.all(np.isfinite(times) & (light > 0))
    record = "time_s must strictly increase and illuminance be positive, of one length"
    demand(whole and np.all(np.diff(times) > 0), record, f"{times.shape}, {light.shape}")
    wanted = times[:, None] - criterion.spacing_s * np.arange(criterion.readings)
    before = np.searchsorted(times, wanted + 1e-6, side="right") - 1
    near = (before >= 0) & (wanted - times[before] <= LARGEST_SHIFT * criterion.spacing_s)
    spaced, span = np.all(near, axis=1), (criterion.readings - 1) * criterion.spacing_s
    needed = f"readings over {span:g} s, {criterion.spacing_s:g} s apart"
    message = f"the criterion needs {needed}; the record has none such"
    must_hold(spaced.any(), message, code="record_too_short", known={"needed_s": span})
    chosen = light[before[spaced]]
    spread = 100.0 * (np.ptp(chosen, axis=1) / chosen.mean(axis=1))
    smallest, stable = float(spread.min()), spread <= criterion.spread_percent
    allowed = f"{criterion.readings} readings agree within {criterion.spread_percent:g} %"
    message = f"no {allowed}; the smallest spread is {smallest:.2g} %"
    must_hold(stable.any(), message, code="not_stabilized", known={"smallest_spread_percent": smallest})
    return float(times[spaced][np.argmax(stable)])
