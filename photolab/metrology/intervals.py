"""Intervals of variance components from mean squares: modified large sample, and a fiducial second way.

Both take the mean squares as independent, each with its degrees of freedom: exact for balanced tables,
close for others.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from photolab.metrology.quantity import COVERAGE
from photolab.metrology.reml import UnweightedSquares

FloatArray = NDArray[np.float64]


def component_limits(
    squares: UnweightedSquares, *, coverage: float = COVERAGE
) -> tuple[FloatArray, FloatArray]:
    r"""Return modified-large-sample limits of the standard deviations that mean squares estimate.

    For :math:`\gamma = \sum_q c_q S_q - \sum_r c_r S_r` they are :math:`\gamma - \sqrt{V_L}` and
    :math:`\gamma + \sqrt{V_U}`,

    .. math::

        V_L = \sum_q G_q^2 c_q^2 S_q^2 + \sum_r H_r^2 c_r^2 S_r^2 + \sum_{q,r} G_{qr} c_q c_r S_q S_r

    and with G and H exchanged for :math:`V_U`; the coefficients make the limits exact where either sum
    vanishes.

    Parameters
    ----------
    squares : UnweightedSquares
        Mean squares and the matrix of the :math:`c`, one row a standard deviation. [squared unit of the
        value]
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    low, high : ndarray
        Limits of the standard deviations, none below zero. [unit of the value]

    Notes
    -----
    Burdick and Graybill [1]_, from memory; cross terms between mean squares of one sign are left out
    (balanced nested tables have none). Where the mean square of a level lies below what the inner levels
    explain, the upper limit is taken as if it equalled that, so that no interval shrinks to nothing.

    References
    ----------
    .. [1] R. K. Burdick and F. A. Graybill, Confidence Intervals on Variance Components, Dekker, 1992,
           section 3.3.
    """
    g, h, g_cross, h_cross = _coefficients(tuple(squares.dof.tolist()), coverage)
    terms = squares.solve * squares.squares
    estimate = terms.sum(axis=1)
    plus, minus = np.maximum(terms, 0.0), np.maximum(-terms, 0.0)
    spread = (plus * g) ** 2 + (minus * h) ** 2 + (plus @ g_cross) * minus
    low = estimate - np.sqrt(np.maximum(spread.sum(axis=1), 0.0))
    diagonal = np.arange(min(terms.shape))
    plus[diagonal, diagonal] += np.maximum(-estimate, 0.0)[: len(diagonal)]
    spread = (plus * h) ** 2 + (minus * g) ** 2 + (plus @ h_cross) * minus
    high = np.maximum(estimate, 0.0) + np.sqrt(np.maximum(spread.sum(axis=1), 0.0))
    return np.sqrt(np.maximum(low, 0.0)), np.sqrt(high)


@lru_cache(maxsize=256)
def _coefficients(
    dof: tuple[float, ...], coverage: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return G, H and the cross coefficients [added, subtracted] of the lower and the upper limit."""
    tail = (1.0 - coverage) / 2.0
    free = np.array(dof)
    g = 1.0 - free / special.chdtri(free, tail)
    h = free / special.chdtri(free, 1.0 - tail) - 1.0
    added, subtracted = free[:, None], free[None, :]
    high, low = special.fdtri(added, subtracted, 1.0 - tail), special.fdtri(added, subtracted, tail)
    g_cross = ((high - 1.0) ** 2 - g[:, None] ** 2 * high**2 - h[None, :] ** 2) / high
    h_cross = ((1.0 - low) ** 2 - h[:, None] ** 2 * low**2 - g[None, :] ** 2) / low
    return g, h, g_cross, h_cross


def fiducial_limits(
    squares: UnweightedSquares, *, coverage: float = COVERAGE, draws: int = 20_000, seed: int = 0
) -> tuple[FloatArray, FloatArray]:
    """Return fiducial limits of the standard deviations: a second way to those of `component_limits`.

    Parameters
    ----------
    squares : UnweightedSquares
        Mean squares, as `VarianceComponents.squares`. [squared unit of the value]
    coverage : float, default COVERAGE
        Coverage probability. [1]
    draws : int, default 20000
        Draws of the chi-square pivots. [1]
    seed : int, default 0
        Seed of the draws. [1]

    Returns
    -------
    low, high : ndarray
        Limits of the standard deviations, zero where the draws are negative. [unit of the value]

    Notes
    -----
    Each mean square is replaced by ``square * dof / chi-square(dof)`` and the variances are solved again [1]_
    (from memory).

    References
    ----------
    .. [1] S. Weerahandi, Exact Statistical Methods for Data Analysis, Springer, 1995.
    """
    rng = np.random.default_rng(seed)
    pivots = squares.squares * squares.dof / rng.chisquare(squares.dof, (draws, len(squares.dof)))
    variances = np.maximum(pivots @ squares.solve.T, 0.0)
    tail = (1.0 - coverage) / 2.0
    low, high = np.sqrt(np.quantile(variances, [tail, 1.0 - tail], axis=0))
    return low, high
