r"""Bounds beyond the end of a record for any curve that settles by completely monotone decay.

.. math:: E(t) = E_\infty + \sum_i a_i e^{-t/\tau_i}, \qquad a_i \ge 0

with many fixed :math:`\tau_i`. No order is chosen: every mixture of up to that many rates is allowed, and
the interval of :math:`E(h)/E(t_0)` holds all values for which the best such mixture still agrees with the
readings. Each value asks for one non-negative least-squares solution with a heavily weighted row
:math:`E(h) - R\,E(t_0) = 0`.
"""

import numpy as np
from scipy.optimize import brentq, nnls

from photolab.metrology.arguments import Floats
from photolab.metrology.computed import Computed
from photolab.thermal.residuals import whiten

RATES = 36
SHORTEST_PART = 1 / 150  # of the record
CEILING_PART = 5.0  # of the record: slower parts are not allowed for, and are named with the result
ALLOWANCE = 5.0  # noise variances above the minimum; the chi-square value, 3.84, is too narrow here
ALLOWANCE_COVERAGE = 0.95  # that it was found for, by simulation
ROW_WEIGHT = 1e3
MOST_STEPS = 4000


class MonotoneFit(Computed):
    """Best completely monotone curve through a record.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    light : ndarray, shape (n,)
        Illuminance. [lx]
    phi : ndarray, shape (n - 1,)
        Correlation of neighbouring residuals. [1]

    Attributes
    ----------
    time_constants : ndarray, shape (k,)
        Allowed time constants. [s]
    amplitudes : ndarray, shape (k + 1,)
        Final level, then the amplitudes at time zero of the record's first reading. [lx]
    sum_of_squares : float
        Whitened residual sum of squares. [lx2]
    """

    def __init__(self, time_s: Floats, light: Floats, phi: Floats) -> None:
        length, self._start_s = float(np.ptp(time_s)), float(time_s[0])
        self.time_constants = np.geomspace(length * SHORTEST_PART, length * CEILING_PART, RATES)
        columns = np.exp(-(time_s - self._start_s)[:, None] / self.time_constants)
        design = whiten(np.concatenate([np.ones((time_s.size, 1)), columns], axis=1), phi)
        white = whiten(light, phi)
        basis, self._triangle = np.linalg.qr(design)
        self._target = basis.T @ white
        rest = max(float(white @ white) - float(self._target @ self._target), 0.0)
        if rest < 1e-9 * float(white @ white):  # the difference above has lost its digits
            left = white - basis @ self._target
            rest = float(left @ left)
        self._rest = rest
        self.amplitudes, norm = nnls(self._triangle, self._target, maxiter=MOST_STEPS)
        self.sum_of_squares = float(norm) ** 2 + self._rest

    def row(self, at_s: Floats) -> Floats:
        """Return the mean row of the model over some instants.

        Parameters
        ----------
        at_s : ndarray, shape (m,)
            Instants; infinity is the final level. [s]

        Returns
        -------
        ndarray, shape (k + 1,)
            The row. [1]
        """
        decay = np.exp(-np.subtract(at_s, self._start_s)[:, None] / self.time_constants)
        return np.concatenate([[1.0], decay.mean(axis=0)])

    def squares_with(self, condition: Floats) -> float:
        """Return the smallest sum of squares under a linear condition on the amplitudes.

        Parameters
        ----------
        condition : ndarray, shape (k + 1,)
            Row that is to give zero. [1]

        Returns
        -------
        float
            Sum of squares. [lx2]
        """
        heavy = ROW_WEIGHT * float(np.abs(self._triangle).max())
        design = np.vstack([self._triangle, heavy * condition])
        _, norm = nnls(design, np.append(self._target, 0.0), maxiter=MOST_STEPS)
        return float(norm) ** 2 + self._rest


def ratio_bounds(
    fit: MonotoneFit, later: Floats, earlier: Floats, *, allowance: float
) -> tuple[float, float, float]:
    """Return the best ratio of two values of the curve and the bounds the readings allow.

    Parameters
    ----------
    fit : MonotoneFit
        The fit.
    later, earlier : ndarray, shape (k + 1,)
        Rows of the two values. [1]
    allowance : float
        Rise of the sum of squares that still counts as agreement. [lx2]

    Returns
    -------
    value, low, high : float
        Best ratio and bounds; a curve that only falls keeps the ratio at 1 or below. [1]
    """
    best = float(later @ fit.amplitudes) / float(earlier @ fit.amplitudes)
    scale = 1.0 / float(np.linalg.norm(earlier))
    limit = fit.sum_of_squares + allowance

    def excess(ratio: float) -> float:
        return fit.squares_with((later - ratio * earlier) * scale) - limit

    def end(limiting: float) -> float:
        """Return where the sum of squares leaves agreement, on the way from the best ratio to a limiting one."""
        if excess(best) > 0.0:
            return best
        if excess(limiting) <= 0.0:
            return limiting
        return float(brentq(excess, limiting, best, xtol=1e-13, rtol=1e-13))

    return best, end(0.0), end(1.0)
