r"""The Levenberg-Marquardt search of one or two time constants for many curves at once.

The search sees a batch only through `ReducedSums`: inner products of the exponential columns, their
derivatives and the curves, with the weighted mean removed. Where those sums come from (tables, or readings)
is the caller's matter.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.int64]

STARTS = 6
TRIAL_STEPS = 4
FINALISTS = 2


@dataclass(frozen=True, eq=False)
class BatchFit:
    """Fits of one order to many curves.

    Parameters
    ----------
    theta : ndarray, shape (curves, terms)
        Logarithms of the time constants. [1]
    offset : ndarray, shape (curves,)
        Levels. [unit of y]
    amplitudes : ndarray, shape (curves, terms)
        Amplitudes at x = 0. [unit of y]
    sum_of_squares : ndarray, shape (curves,)
        Weighted residual sums of squares. [unit of y squared]
    at_bound : ndarray of bool, shape (curves,)
        Whether a time constant stands at the end of its range.
    """

    theta: FloatArray
    offset: FloatArray
    amplitudes: FloatArray
    sum_of_squares: FloatArray
    at_bound: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ReducedSums:
    """Centred inner products at one theta a curve; e are exponentials, d their derivatives by theta.

    Parameters
    ----------
    ee, ed, dd : ndarray, shape (curves, k, k)
        Products of exponentials and derivatives. [1]
    ey, dy : ndarray, shape (curves, k)
        Products with the curve. [unit of y]
    """

    ee: FloatArray
    ed: FloatArray
    dd: FloatArray
    ey: FloatArray
    dy: FloatArray


Summing = Callable[[FloatArray, IndexArray], ReducedSums]


@dataclass(frozen=True, eq=False)
class BatchPoint:
    """State of the search: amplitudes, sums of squares and the reduced normal equations.

    Parameters
    ----------
    theta, amplitudes : ndarray, shape (curves, k)
        Logarithms of time constants [1] and amplitudes [unit of y].
    squares : ndarray, shape (curves,)
        Residual sums of squares. [unit of y squared]
    curvature : ndarray, shape (curves, k, k)
        Gauss-Newton matrix of the reduced problem. [unit of y squared]
    slope : ndarray, shape (curves, k)
        Its gradient. [unit of y squared]
    """

    theta: FloatArray
    amplitudes: FloatArray
    squares: FloatArray
    curvature: FloatArray
    slope: FloatArray

    def where(self, better: NDArray[np.bool_], other: "BatchPoint") -> "BatchPoint":
        """Return the other point where it is better.

        Parameters
        ----------
        better : ndarray of bool, shape (curves,)
            Where to take the other.
        other : BatchPoint
            The other point.

        Returns
        -------
        BatchPoint
            The mixture.
        """
        one, two = better[:, None], better[:, None, None]
        return BatchPoint(
            np.where(one, other.theta, self.theta),
            np.where(one, other.amplitudes, self.amplitudes),
            np.where(better, other.squares, self.squares),
            np.where(two, other.curvature, self.curvature),
            np.where(one, other.slope, self.slope),
        )

    def take(self, kept: NDArray[np.bool_]) -> "BatchPoint":
        """Return the curves that are kept.

        Parameters
        ----------
        kept : ndarray of bool, shape (curves,)
            Which curves.

        Returns
        -------
        BatchPoint
            Their state.
        """
        return BatchPoint(
            self.theta[kept],
            self.amplitudes[kept],
            self.squares[kept],
            self.curvature[kept],
            self.slope[kept],
        )


def solve_small(matrices: FloatArray, sides: FloatArray) -> FloatArray:
    """Solve many symmetric systems of one or two unknowns in closed form.

    Parameters
    ----------
    matrices : ndarray, shape (curves, k, k)
        Matrices. [any]
    sides : ndarray, shape (curves, k)
        Right-hand sides. [any]

    Returns
    -------
    ndarray, shape (curves, k)
        Solutions; a singular pair is held apart by 1e-14 of its diagonal. [any]
    """
    if sides.shape[1] == 1:
        single: FloatArray = sides / np.maximum(matrices[:, 0], 1e-300)
        return single
    a, b, d = matrices[:, 0, 0], matrices[:, 0, 1], matrices[:, 1, 1]
    determinant = np.maximum(a * d - b * b, 1e-14 * a * d + 1e-300)
    first = (d * sides[:, 0] - b * sides[:, 1]) / determinant
    second = (a * sides[:, 1] - b * sides[:, 0]) / determinant
    return np.stack([first, second], axis=1)


def _point(theta: FloatArray, rows: IndexArray, totals: FloatArray, summing: Summing) -> BatchPoint:
    """Evaluate the reduced problem at theta."""
    sums = summing(theta, rows)
    amplitudes = solve_small(sums.ee, sums.ey)
    squares = totals - np.einsum("bk,bk->b", amplitudes, sums.ey)
    count = theta.shape[1]
    solved = np.stack([solve_small(sums.ee, sums.ed[:, :, j]) for j in range(count)], axis=2)
    projected = sums.dd - np.einsum("bki,bkj->bij", sums.ed, solved)
    remainder = sums.dy - np.einsum("bki,bk->bi", sums.ed, amplitudes)
    curvature = projected * amplitudes[:, :, None] * amplitudes[:, None, :]
    return BatchPoint(theta, amplitudes, squares, curvature, -remainder * amplitudes)


def search_batch(
    theta: FloatArray,
    totals: FloatArray,
    limits: tuple[FloatArray, FloatArray],
    summing: Summing,
    *,
    max_steps: int = 50,
) -> tuple[FloatArray, FloatArray]:
    """Minimise the residual sum of squares of every curve over its time constants.

    Parameters
    ----------
    theta : ndarray, shape (curves, k)
        Starts. [1]
    totals : ndarray, shape (curves,)
        Centred sums of squares of the curves. [unit of y squared]
    limits : tuple of ndarray, shape (curves, 1)
        Bounds of theta. [1]
    summing : callable
        (theta, row numbers) -> ReducedSums.
    max_steps : int, default 50
        Largest number of trial steps.

    Returns
    -------
    theta, squares : ndarray
        Best points and their sums of squares. [ln, unit of y squared]
    """
    rows = np.arange(theta.shape[0])
    best_theta, best_squares = theta.copy(), np.empty(theta.shape[0])
    here = _point(theta, rows, totals, summing)
    damping = np.full(rows.size, 1e-3)
    diagonal = np.arange(theta.shape[1])
    for _ in range(max_steps):
        lifted = here.curvature.copy()
        spread = here.curvature[:, diagonal, diagonal]
        lifted[:, diagonal, diagonal] += (
            damping[:, None] * spread + 1e-13 * spread.max(axis=1)[:, None] + 1e-300
        )
        low, high = limits[0][rows], limits[1][rows]
        held = ((here.theta <= low) & (here.slope > 0)) | ((here.theta >= high) & (here.slope < 0))
        slope = np.where(held, 0.0, here.slope)
        if (
            theta.shape[1] == 2
        ):  # a time constant pressed against its bound takes no part in the step of the other
            free = ~held.any(axis=1)
            lifted[:, 0, 1] *= free
            lifted[:, 1, 0] *= free
        step = np.clip(-solve_small(lifted, slope), -1.5, 1.5)
        moved_to = np.clip(here.theta + step, low, high)
        trial = _point(moved_to, rows, totals[rows], summing)
        step = moved_to - here.theta
        better = trial.squares <= here.squares
        promised = np.abs(np.einsum("bk,bk->b", here.slope, step))
        here = here.where(better, trial)
        damping = np.where(better, np.maximum(damping * 0.1, 1e-10), np.minimum(damping * 6.0, 1e9))
        best_theta[rows], best_squares[rows] = here.theta, here.squares
        ended = (
            (np.abs(step).max(axis=1) < 1e-7)
            | (better & (promised < 1e-9 * np.abs(here.squares)))
            | (damping > 1e8)
        )
        if ended.all():
            break
        rows, here, damping = rows[~ended], here.take(~ended), damping[~ended]
    return best_theta, best_squares


def best_of_starts(
    starts: list[FloatArray],
    totals: FloatArray,
    limits: tuple[FloatArray, FloatArray],
    summing: Summing,
) -> FloatArray:
    """Search from several starts a curve and keep the best end.

    Parameters
    ----------
    starts : list of ndarray, shape (curves, k)
        Starts. [1]
    totals : ndarray, shape (curves,)
        Centred sums of squares of the curves. [unit of y squared]
    limits : tuple of ndarray, shape (curves, 1)
        Bounds of theta. [1]
    summing : callable
        (theta, row numbers) -> ReducedSums.

    Returns
    -------
    ndarray, shape (curves, k)
        Best theta, ascending. [1]
    """
    count, curves = len(starts), totals.size
    lower, upper = np.tile(limits[0], (count, 1)), np.tile(limits[1], (count, 1))

    def wrapped(theta: FloatArray, rows: IndexArray) -> ReducedSums:
        return summing(theta, rows % curves)

    if count > FINALISTS:
        theta, squares = search_batch(
            np.concatenate(starts), np.tile(totals, count), (lower, upper), wrapped, max_steps=TRIAL_STEPS
        )
        ranked = np.argsort(squares.reshape(count, curves), axis=0)[:FINALISTS]
        starts = list(theta.reshape(count, curves, -1)[ranked, np.arange(curves)])
    count = len(starts)
    limits = (lower[: count * curves], upper[: count * curves])
    theta, squares = search_batch(np.concatenate(starts), np.tile(totals, count), limits, wrapped)
    winner = squares.reshape(count, curves).argmin(axis=0)
    chosen = theta.reshape(count, curves, -1)[winner, np.arange(curves)]
    ordered: FloatArray = np.sort(chosen, axis=1)
    return ordered


def grid_pairs(
    gram: FloatArray, cross: FloatArray, grid: FloatArray, *, count: int = STARTS
) -> list[FloatArray]:
    """Return the best pairs of grid points for every curve.

    Parameters
    ----------
    gram : ndarray, shape (g, g) or (curves, g, g)
        Centred products of the grid's exponentials. [1]
    cross : ndarray, shape (curves, g)
        Their products with the curves. [unit of y]
    grid : ndarray, shape (g,) or (curves, g)
        Values of theta. [1]
    count : int, default 6
        How many separated pairs.

    Returns
    -------
    list of ndarray, shape (curves, 2)
        Starts, best first. [1]
    """
    first, second = np.triu_indices(cross.shape[1], 2)
    diagonal = np.diagonal(gram, axis1=-2, axis2=-1)
    a, d, b = diagonal[..., first], diagonal[..., second], gram[..., first, second]
    determinant = a * d - b * b
    determinant = np.where(determinant < 1e-10 * a * d, np.inf, determinant)
    left, right = cross[:, first], cross[:, second]
    gain = (
        left * left * (d / determinant)
        - 2 * left * right * (b / determinant)
        + right * right * (a / determinant)
    )
    levels = np.broadcast_to(grid, cross.shape)
    starts = []
    for _ in range(count):
        best = gain.argmax(axis=1)
        pair = np.stack([first[best], second[best]], axis=1)
        starts.append(np.take_along_axis(levels, pair, axis=1))
        near = (np.abs(first - pair[:, :1]) <= 2) & (np.abs(second - pair[:, 1:]) <= 2)
        gain[near] = -1.0
    return starts
