r"""Many curves on one abscissa: every sum over readings replaced by a short table.

All inner products of exponential columns depend on :math:`s = 1/\tau_1 + 1/\tau_2` alone, and those with a
curve on :math:`\ln\tau` alone. Both are smooth, so Chebyshev interpolation in :math:`\ln s` and
:math:`\ln\tau` carries them: after one matrix product with the curves, a step of the search costs the same
for 20 readings as for 2000.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photolab.thermal.batch_search import (
    BatchFit,
    IndexArray,
    ReducedSums,
    best_of_starts,
    grid_pairs,
    solve_small,
)

FloatArray = NDArray[np.float64]

NODES = (
    48  # leaves an interpolation error of 1e-10, enough for the search; the squares are taken from readings
)
GRID_SIZE = 20


@dataclass(frozen=True, eq=False)
class Chebyshev:
    """Interpolation at the Chebyshev nodes of an interval.

    Parameters
    ----------
    low, high : float
        Ends of the interval. [1]
    size : int
        Number of nodes.
    """

    low: float
    high: float
    size: int

    def nodes(self) -> FloatArray:
        """Return the nodes.

        Returns
        -------
        ndarray, shape (size,)
            Nodes in the interval. [1]
        """
        angle = np.pi * (np.arange(self.size) + 0.5) / self.size
        return 0.5 * (self.low + self.high) + 0.5 * (self.high - self.low) * np.cos(angle)

    def coefficients(self, values: FloatArray) -> FloatArray:
        """Return the coefficients of the interpolating polynomials.

        Parameters
        ----------
        values : ndarray, shape (size, m)
            Values at the nodes. [any]

        Returns
        -------
        ndarray, shape (size, m)
            Coefficients of T_0 to T_(size-1). [any]
        """
        order = np.arange(self.size)
        transform = 2.0 / self.size * np.cos(np.pi * np.outer(order, order + 0.5) / self.size)
        transform[0] /= 2.0
        result: FloatArray = transform @ values
        return result

    def polynomials(self, points: FloatArray) -> FloatArray:
        """Return T_0 to T_(size-1) at points of the interval.

        Parameters
        ----------
        points : ndarray
            Where to evaluate; clipped to the interval. [1]

        Returns
        -------
        ndarray, shape (size, *points.shape)
            Polynomials. [1]
        """
        x = np.clip((2 * points - self.low - self.high) / (self.high - self.low), -1.0, 1.0)
        table = np.empty((self.size, *x.shape))
        table[0], table[1] = 1.0, x
        twice = 2 * x
        for k in range(2, self.size):
            np.multiply(twice, table[k - 1], out=table[k])
            table[k] -= table[k - 2]
        return table


@dataclass(frozen=True, eq=False)
class SharedGrid:
    """Tables of one abscissa, ready for any number of curves.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Abscissa from its first point on. [any]
    start : float
        First point. [any]
    share : ndarray, shape (n,)
        Weights, normalised to sum 1. [1]
    total : float
        Sum of the weights. [1]
    by_theta, by_rate : Chebyshev
        Interpolation in ln(tau) and in ln(1/tau + 1/tau').
    curve_tables : ndarray, shape (n, 2 size)
        Turns a curve into the coefficients of its products with exponentials and derivatives. [1]
    sum_table : ndarray, shape (size, 3)
        Coefficients of the weighted sums of e, (s x) e and (s x)^2 e. [1]
    """

    x: FloatArray
    start: float
    share: FloatArray
    total: float
    by_theta: Chebyshev
    by_rate: Chebyshev
    curve_tables: FloatArray
    sum_table: FloatArray

    @classmethod
    def build(cls, x: FloatArray, weight: FloatArray) -> "SharedGrid":
        """Build the tables.

        Parameters
        ----------
        x : ndarray, shape (n,)
            Ascending abscissa. [any]
        weight : ndarray, shape (n,)
            Weights of the squared residuals. [1]

        Returns
        -------
        SharedGrid
            The tables.
        """
        used = weight > 0
        start, length = float(x[used][0]), float(np.ptp(x[used]))
        shifted = np.where(used, x - start, 0.0)
        share = weight / weight.sum()
        low, high = float(np.log(length / 200.0)), float(np.log(length * 5.0))
        by_theta = Chebyshev(low, high, NODES)
        scaled = shifted * np.exp(-by_theta.nodes())[:, None]
        decay = np.exp(-scaled)
        curve_tables = np.concatenate(
            [(by_theta.coefficients(columns) * share).T for columns in (decay, scaled * decay)], axis=1
        )
        by_rate = Chebyshev(-high, float(np.log(2.0)) - low, NODES + 8)
        scaled = shifted * np.exp(by_rate.nodes())[:, None]
        decay = np.exp(-scaled) * share
        sums = np.stack(
            [decay.sum(axis=1), (scaled * decay).sum(axis=1), (scaled**2 * decay).sum(axis=1)], axis=1
        )
        return cls(
            shifted,
            start,
            share,
            float(weight.sum()),
            by_theta,
            by_rate,
            curve_tables,
            by_rate.coefficients(sums),
        )

    def fit(self, curves: FloatArray, *, orders: tuple[int, ...]) -> list[BatchFit]:
        """Fit offset and 0, 1 or 2 exponentials to every curve.

        Parameters
        ----------
        curves : ndarray, shape (curves, n)
            Responses. [unit of y]
        orders : tuple of int
            Numbers of exponentials.

        Returns
        -------
        list of BatchFit
            One an order.
        """
        mean = curves @ self.share
        centred = curves - mean[:, None]
        totals = np.einsum("bn,bn,n->b", centred, centred, self.share)
        products = self.curve_tables.T @ centred.T
        limits = (
            np.full((len(curves), 1), self.by_theta.low),
            np.full((len(curves), 1), self.by_theta.high),
        )

        def summing(theta: FloatArray, rows: IndexArray) -> ReducedSums:
            table = self.by_theta.polynomials(theta.T)
            coefficients = products[:, rows].reshape(2, NODES, -1)
            ey, dy = np.empty_like(theta), np.empty_like(theta)
            for k in range(theta.shape[1]):  # one column at a time runs along memory
                ey[:, k] = np.einsum("mb,mb->b", table[:, k], coefficients[0])
                dy[:, k] = np.einsum("mb,mb->b", table[:, k], coefficients[1])
            return ReducedSums(*self._products(theta), ey, dy)

        fits = []
        for order in orders:
            theta = np.empty((len(curves), 0))
            if order:
                theta = best_of_starts(self._starts(products, order), totals, limits, summing)
            fits.append(self._exact(theta, centred, mean))
        return fits

    def _products(self, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return centred products of exponentials and derivatives from the table."""
        rate = np.exp(-theta)
        single = self._sums(-theta)
        both = rate[:, :, None] + rate[:, None, :]
        first, second = np.triu_indices(theta.shape[1])
        half = self._sums(np.log(both[:, first, second]))
        double = np.empty((*both.shape, 3))
        double[:, first, second], double[:, second, first] = half, half
        left, right = rate[:, :, None] / both, rate[:, None, :] / both
        mean_e, mean_d = single[..., 0], single[..., 1]
        ee = double[..., 0] - mean_e[:, :, None] * mean_e[:, None, :]
        ed = double[..., 1] * right - mean_e[:, :, None] * mean_d[:, None, :]
        dd = double[..., 2] * left * right - mean_d[:, :, None] * mean_d[:, None, :]
        return ee, ed, dd

    def _sums(self, log_rate: FloatArray) -> FloatArray:
        """Return the weighted sums of e, (s x) e and (s x)^2 e, in the last axis."""
        table = self.by_rate.polynomials(log_rate.ravel())
        return (self.sum_table.T @ table).T.reshape(*log_rate.shape, 3)

    def _starts(self, products: FloatArray, order: int) -> list[FloatArray]:
        """Return grid starts of every curve."""
        grid = np.linspace(self.by_theta.low, self.by_theta.high, GRID_SIZE)
        gram = self._products(grid[None])[0][0]
        cross = products[:NODES].T @ self.by_theta.polynomials(grid)
        if order == 2:
            return grid_pairs(gram, cross, grid)
        return [grid[(cross**2 / np.diagonal(gram)).argmax(axis=1)][:, None]]

    def _exact(self, theta: FloatArray, centred: FloatArray, mean: FloatArray) -> BatchFit:
        """Return coefficients and sums of squares from the readings themselves, in pieces of 8 MB."""
        rows = max(1, 1_000_000 // self.x.size)
        pieces = [
            exact_fit(self.x, self.share, centred[i : i + rows], theta[i : i + rows])
            for i in range(0, len(theta), rows)
        ]
        level, amplitudes, squares = (np.concatenate(parts) for parts in zip(*pieces, strict=True))
        low, high = self.by_theta.low, self.by_theta.high
        bound = np.any((theta < low + 1e-6) | (theta > high - 1e-6), axis=1)
        shifted = amplitudes * np.exp(self.start * np.exp(-theta))
        return BatchFit(theta, level + mean, shifted, squares * self.total, bound)


def exact_fit(
    x: FloatArray, share: FloatArray, centred: FloatArray, theta: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve the linear part of every curve on its readings.

    Parameters
    ----------
    x : ndarray, shape (n,) or (curves, n)
        Abscissa from its first point on. [any]
    share : ndarray, shape of x
        Weights, normalised to sum 1. [1]
    centred : ndarray, shape (curves, n)
        Curves without their weighted means. [unit of y]
    theta : ndarray, shape (curves, k)
        Logarithms of the time constants. [1]

    Returns
    -------
    level, amplitudes, squares : ndarray
        Level above the mean, amplitudes, weighted mean square of the residual. [unit of y, unit of y squared]
    """
    if theta.shape[1] == 0:
        return np.zeros(len(theta)), theta, np.sum(centred**2 * share, axis=1)
    columns = np.exp(-x[..., None, :] * np.exp(-theta)[:, :, None])
    weight = share[..., None, :]
    means = np.sum(columns * weight, axis=2)
    columns -= means[:, :, None]
    weighted = columns * weight
    gram = weighted @ columns.transpose(0, 2, 1)
    residual = centred
    amplitudes = np.zeros(theta.shape)
    for _ in range(2):  # the second pass removes the rounding of nearly equal columns
        more = solve_small(gram, np.einsum("bkn,bn->bk", weighted, residual))
        residual = residual - np.einsum("bk,bkn->bn", more, columns)
        amplitudes = amplitudes + more
    return -np.einsum("bk,bk->b", amplitudes, means), amplitudes, np.sum(residual**2 * share, axis=1)
