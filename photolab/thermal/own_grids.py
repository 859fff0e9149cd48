"""Many curves, each on its own abscissa: sums over readings by batched matrix products."""

import numpy as np
from numpy.typing import NDArray

from photolab.thermal.batch_search import (
    BatchFit,
    IndexArray,
    ReducedSums,
    Summing,
    best_of_starts,
    grid_pairs,
)
from photolab.thermal.shared_grid import exact_fit

FloatArray = NDArray[np.float64]

GRID_SIZE = 16
BINS = 32
VALUES_A_PIECE = 60_000  # readings handled at once; larger pieces leave the processor's cache


def fit_own_grids(
    x: FloatArray, curves: FloatArray, weight: FloatArray, *, orders: tuple[int, ...]
) -> list[BatchFit]:
    """Fit offset and 0, 1 or 2 exponentials to curves on their own abscissae.

    Parameters
    ----------
    x : ndarray, shape (curves, n)
        Ascending abscissae. [any]
    curves : ndarray, shape (curves, n)
        Responses. [unit of y]
    weight : ndarray, shape (curves, n)
        Weights of the squared residuals; 0 leaves a reading out. [1]
    orders : tuple of int
        Numbers of exponentials.

    Returns
    -------
    list of BatchFit
        One an order.
    """
    rows = max(1, VALUES_A_PIECE // x.shape[1])
    pieces = [
        _fit_piece(x[i : i + rows], curves[i : i + rows], weight[i : i + rows], orders)
        for i in range(0, len(curves), rows)
    ]
    return [_joined([piece[k] for piece in pieces]) for k in range(len(orders))]


def _joined(parts: list[BatchFit]) -> BatchFit:
    """Return the pieces as one batch."""
    return BatchFit(
        np.concatenate([part.theta for part in parts]),
        np.concatenate([part.offset for part in parts]),
        np.concatenate([part.amplitudes for part in parts]),
        np.concatenate([part.sum_of_squares for part in parts]),
        np.concatenate([part.at_bound for part in parts]),
    )


def _fit_piece(
    x: FloatArray, curves: FloatArray, weight: FloatArray, orders: tuple[int, ...]
) -> list[BatchFit]:
    """Fit one piece of the batch."""
    used = weight > 0
    start = np.min(np.where(used, x, np.inf), axis=1)
    length = np.max(np.where(used, x, -np.inf), axis=1) - start
    shifted = np.where(used, x - start[:, None], 0.0)
    total = weight.sum(axis=1)
    share = weight / total[:, None]
    mean = np.sum(share * curves, axis=1)
    centred = np.where(used, curves - mean[:, None], 0.0)
    totals = np.sum(share * centred**2, axis=1)
    root = np.sqrt(share)
    limits = (np.log(length / 200.0)[:, None], np.log(length * 5.0)[:, None])
    side = centred * root

    coarse = _binned(shifted, side, root) if x.shape[1] > 2 * BINS else (shifted, side, root)
    fits = []
    for order in orders:
        theta = np.empty((len(curves), 0))
        if order:
            starts = _starts(coarse[0], coarse[2], coarse[1], limits, order)
            theta = best_of_starts(starts, totals, limits, _summing(*coarse))
            if coarse[0] is not shifted:
                theta = best_of_starts([theta], totals, limits, _summing(shifted, side, root))
        level, amplitudes, squares = exact_fit(shifted, share, centred, theta)
        bound = np.any((theta < limits[0] + 1e-6) | (theta > limits[1] - 1e-6), axis=1)
        amplitudes = amplitudes * np.exp(start[:, None] * np.exp(-theta))
        fits.append(BatchFit(theta, level + mean, amplitudes, squares * total, bound))
    return fits


def _summing(x: FloatArray, side: FloatArray, root: FloatArray) -> Summing:
    """Return the sums of the search over some readings."""

    def summing(theta: FloatArray, rows: IndexArray) -> ReducedSums:
        return _reduced(x[rows], root[rows], side[rows], theta)

    return summing


def _binned(x: FloatArray, side: FloatArray, root: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return weighted means over neighbouring readings, finer at the start: enough to find the minimum."""
    count = x.shape[1]
    growing, even = np.geomspace(1, count, BINS).astype(int), np.arange(0, count, count // BINS)
    edges = np.unique(np.concatenate([growing, even]))
    edges = edges[edges < count]
    share = np.add.reduceat(root**2, edges, axis=1)
    filled = np.where(share > 0, share, 1.0)
    middle = np.add.reduceat(root**2 * x, edges, axis=1) / filled
    height = np.add.reduceat(root * side, edges, axis=1) / filled
    return middle, height * np.sqrt(share), np.sqrt(share)


def _gram(columns: list[FloatArray], root: FloatArray, side: FloatArray) -> FloatArray:
    """Return all inner products of [columns, side], the weighted mean removed."""
    stack = np.stack([root, *columns, side], axis=1)
    gram = stack @ stack.transpose(0, 2, 1)
    mean = gram[:, 1:, 0]
    centred: FloatArray = gram[:, 1:, 1:] - mean[:, :, None] * mean[:, None, :]
    return centred


def _reduced(x: FloatArray, root: FloatArray, side: FloatArray, theta: FloatArray) -> ReducedSums:
    """Return the sums of the search at theta."""
    order = theta.shape[1]
    scaled = [x * np.exp(-theta[:, k])[:, None] for k in range(order)]
    decay = [np.exp(-one) * root for one in scaled]
    slopes = [one * two for one, two in zip(scaled, decay, strict=True)]
    gram = _gram(decay + slopes, root, side)
    e, d = slice(0, order), slice(order, 2 * order)
    return ReducedSums(gram[:, e, e], gram[:, e, d], gram[:, d, d], gram[:, e, -1], gram[:, d, -1])


def _starts(
    x: FloatArray, root: FloatArray, side: FloatArray, limits: tuple[FloatArray, FloatArray], order: int
) -> list[FloatArray]:
    """Return grid starts of every curve."""
    grid = limits[0] + (limits[1] - limits[0]) * np.linspace(0.0, 1.0, GRID_SIZE)
    columns = [np.exp(-x * np.exp(-grid[:, k])[:, None]) * root for k in range(GRID_SIZE)]
    gram = _gram(columns, root, side)
    products, cross = gram[:, :-1, :-1], gram[:, :-1, -1]
    if order == 2:
        return grid_pairs(products, cross, grid)
    best = (cross**2 / np.diagonal(products, axis1=1, axis2=2)).argmax(axis=1)
    return [np.take_along_axis(grid, best[:, None], axis=1)]
