"""Stabilization as photometric practice declares it: a spread of spaced readings, no model behind it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import MethodError


@dataclass(frozen=True)
class Criterion:
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
        If the record is too short for the criterion, or never meets it; `known` holds the smallest spread seen.

    Notes
    -----
    Readings are taken at the instants nearest to the spacing, off by a tenth of it at most. Noise of a single reading counts as
    spread: a criterion met says nothing about the final level.
    """
    times, light = np.asarray(time_s, dtype=float), np.asarray(illuminance, dtype=float)
    whole = times.ndim == 1 and times.shape == light.shape and np.all(np.isfinite(times)) and bool(np.all(light > 0))
    if not whole or np.any(np.diff(times) <= 0):
        message = f"time_s must strictly increase and illuminance be positive, of one length; got {times.shape}, {light.shape}"
        raise ValueError(message)
    span = (criterion.readings - 1) * criterion.spacing_s
    smallest = np.inf
    for i, last in enumerate(times):
        wanted = last - criterion.spacing_s * np.arange(criterion.readings)
        nearest = np.abs(times[: i + 1, None] - wanted).argmin(axis=0)
        if np.any(np.abs(times[nearest] - wanted) > 0.1 * criterion.spacing_s):
            continue
        chosen = light[nearest]
        smallest = min(smallest, 100.0 * float(np.ptp(chosen) / chosen.mean()))
        if smallest <= criterion.spread_percent:
            return float(last)
    if np.isinf(smallest):
        message = f"the criterion needs readings over {span:g} s, {criterion.spacing_s:g} s apart; the record does not hold them"
        raise MethodError(message, code="record_too_short", known={"needed_s": span})
    message = f"no {criterion.readings} readings agree within {criterion.spread_percent:g} %; the smallest spread is {smallest:.2g} %"
    raise MethodError(message, code="not_stabilized", known={"smallest_spread_percent": smallest})
