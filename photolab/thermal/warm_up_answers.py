"""The answers a warm-up record gives, as numbers and codes."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Finding:
    """Something about a record that a reader must know.

    Parameters
    ----------
    code : str
        Stable code.
    blocks : tuple of str
        What it forbids: "remaining", "beyond_record", "final_level", "time_constants".
    """

    code: str
    blocks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """A step in the record.

    Parameters
    ----------
    time_s : float
        Middle between the readings before and after. [s]
    size : float
        Change of the light over the light just before; a loss is negative. [1]
    size_uncertainty : float
        Its standard uncertainty. [1]
    """

    time_s: float
    size: float
    size_uncertainty: float


@dataclass(frozen=True)
class Remaining:
    """Remaining light at one instant, as a ratio to the light at another.

    Parameters
    ----------
    value, low, high : float
        Ratio and its coverage interval. [1]
    ln_standard_uncertainty : float
        Standard uncertainty of the logarithm of the ratio. [1]
    dof : float
        Its effective degrees of freedom. [1]
    method : {"record", "bounds"}
        From the fit inside the record, or from bounds beyond it.
    extrapolated : bool
        Whether the later instant lies beyond the record.
    time_constant_ceiling_s : float
        Slowest decay the bounds allow for; infinite inside the record, where it plays no part. [s]
    at_s, initial_s : float
        The later instant, infinite for the final level, and the one it is referred to. [s]
    """

    value: float
    low: float
    high: float
    ln_standard_uncertainty: float
    dof: float
    method: str
    extrapolated: bool
    time_constant_ceiling_s: float = np.inf
    at_s: float = np.nan
    initial_s: float = np.nan


@dataclass(frozen=True)
class Fading:
    """A part of the light that fades, in the curve that describes a record.

    Parameters
    ----------
    share, share_low, share_high : float
        Its amplitude at the initial time, over the light then, and its coverage interval; negative where the light
        rises. [1]
    share_uncertainty : float
        Standard uncertainty of the share. [1]
    time_constant_s, low_s, high_s : float
        Time constant and its coverage interval. [s]
    ln_time_constant_uncertainty : float
        Standard uncertainty of the logarithm of the time constant. [1]
    """

    share: float
    share_low: float
    share_high: float
    share_uncertainty: float
    time_constant_s: float
    low_s: float
    high_s: float
    ln_time_constant_uncertainty: float


@dataclass(frozen=True)
class Settled:
    """Instant after which the light stays near its final level.

    Parameters
    ----------
    value_s, low_s, high_s : float
        Time from switch-on and its coverage interval. [s]
    percent : float
        Largest distance from the final level afterwards. [%]
    """

    value_s: float
    low_s: float
    high_s: float
    percent: float
