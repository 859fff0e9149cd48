"""Bracketing by clock: a day's values over the baselines that stand around them.

The public names are importable from `control`.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Bracketing:
    """Values of one day over the baseline at their instants.

    Attributes
    ----------
    ln_ratio : ndarray, shape (m,)
        Value less the baseline interpolated by clock. [1]
    covariance : ndarray, shape (m, m)
        Joint covariance of the ratios: the baselines are shared. [1]
    weights : ndarray, shape (m, b)
        Weight of each baseline in each ratio. [1]
    bracketed : ndarray of bool, shape (m,)
        Whether baselines stand on both sides; elsewhere the nearest one serves.
    """

    ln_ratio: FloatArray
    covariance: FloatArray
    weights: FloatArray
    bracketed: NDArray[np.bool_]


def bracketing_weights(clock: ArrayLike, baseline_clock: ArrayLike) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return the weights that interpolate the baseline to other instants.

    Parameters
    ----------
    clock : array_like, shape (m,)
        Instants of the values. [h]
    baseline_clock : array_like, shape (b,)
        Instants of the baselines, in any order; equal instants share their weight. [h]

    Returns
    -------
    weights : ndarray, shape (m, b)
        Rows sum to 1; linear in time between neighbours, the nearest baseline outside. [1]
    bracketed : ndarray of bool, shape (m,)
        Whether the instant lies between two baselines.

    Raises
    ------
    ValueError
        If there is no baseline or an instant is not finite.
    """
    at, known = (
        np.atleast_1d(np.asarray(clock, dtype=float)),
        np.atleast_1d(np.asarray(baseline_clock, dtype=float)),
    )
    if known.size == 0:
        message = "baseline_clock must hold at least one instant; got none"
        raise ValueError(message)
    for name, values in (("clock", at), ("baseline_clock", known)):
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            message = f"{name}[{bad[0]}] must be finite; got {values[bad[0]]} h"
            raise ValueError(message)
    instants, place, count = np.unique(known, return_inverse=True, return_counts=True)
    hats = np.array([np.interp(at, instants, unit) for unit in np.eye(len(instants))]).T
    return (hats / count)[:, place], (at >= instants[0]) & (at <= instants[-1]) & (len(instants) > 1)


def bracket_by_clock(
    clock: ArrayLike,
    ln_value: ArrayLike,
    baseline_clock: ArrayLike,
    ln_baseline: ArrayLike,
    *,
    value_sd: ArrayLike,
    baseline_sd: ArrayLike,
    wander_sd: float = 0.0,
) -> Bracketing:
    r"""Return ln ratios to the baseline at each value's instant, with their joint covariance.

    .. math:: C = \mathrm{diag}(s^2) + W \mathrm{diag}(s_b^2) W' + q^2 [I, -W] \min(t_i, t_j) [I, -W]'

    Parameters
    ----------
    clock, ln_value : array_like, shape (m,)
        Instants and ln readings of one day. [h, 1]
    baseline_clock, ln_baseline : array_like, shape (b,)
        Instants and ln readings of the day's baselines. [h, 1]
    value_sd, baseline_sd : array_like
        Standard deviations of one mounting of each, broadcast. [1]
    wander_sd : float, default 0
        Random walk of the bench in one hour :math:`q`: what interpolation cannot take off. [1/sqrt(h)]

    Returns
    -------
    Bracketing
        Ratios in ln, joint covariance, weights. [1]

    Raises
    ------
    ValueError
        If lengths differ, a value is not finite, or a standard deviation is negative.
    """
    weights, bracketed = bracketing_weights(clock, baseline_clock)
    value, baseline = (
        np.atleast_1d(np.asarray(ln_value, dtype=float)),
        np.atleast_1d(np.asarray(ln_baseline, dtype=float)),
    )
    if (len(value), len(baseline)) != weights.shape:
        message = (
            f"ln_value and ln_baseline must match their clocks {weights.shape}; "
            f"got {len(value)} and {len(baseline)} values"
        )
        raise ValueError(message)
    own, shared = np.broadcast_to(value_sd, value.shape), np.broadcast_to(baseline_sd, baseline.shape)
    for name, numbers, least in (
        ("ln_value", value, -math.inf),
        ("ln_baseline", baseline, -math.inf),
        ("value_sd", own, 0.0),
        ("baseline_sd", shared, 0.0),
        ("wander_sd", np.array([wander_sd]), 0.0),
    ):
        bad = np.flatnonzero(~np.isfinite(numbers) | (numbers < least))
        if bad.size:
            domain = "finite" if math.isinf(least) else "finite and zero or more"
            message = f"{name}[{bad[0]}] must be {domain}; got {numbers[bad[0]]}"
            raise ValueError(message)
    instants = np.concatenate(
        [
            np.atleast_1d(np.asarray(clock, dtype=float)),
            np.atleast_1d(np.asarray(baseline_clock, dtype=float)),
        ]
    )
    elapsed = instants - instants.min()
    difference = np.hstack([np.eye(len(value)), -weights])
    walk = wander_sd**2 * np.minimum.outer(elapsed, elapsed)
    covariance = np.diag(own**2) + (weights * shared**2) @ weights.T + difference @ walk @ difference.T
    return Bracketing(value - weights @ baseline, covariance, weights, bracketed)
