"""Nested random effects from group summaries: sums of squares, restricted likelihood and their optimum.

A nested table is reduced once to counts and means of its innermost groups; nothing here looks at a single reading again.
`components` turns these numbers into variance components with intervals.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class NestedGroups:
    """A nested table as group summaries; level 0 is the outermost, the readings stand below the last level.

    Parameters
    ----------
    parents : tuple of ndarray
        For each level, the group one level further out of each of its groups; for level 0, its fixed cell. [1]
    counts : ndarray
        Readings in each innermost group (in each fixed cell where there is no level). [1]
    means : ndarray
        Mean of each innermost group, less the common `origin`. [unit of the value]
    within : float
        Sum of squares of the readings about the means of their innermost groups. [squared unit of the value]
    cells : int
        Number of fixed cells. [1]
    origin : float
        What was subtracted from all values. [unit of the value]
    """

    parents: tuple[IntArray, ...]
    counts: FloatArray
    means: FloatArray
    within: float
    cells: int
    origin: float

    @property
    def depth(self) -> int:
        """Number of random levels above the readings. [1]"""
        return len(self.parents)

    @property
    def readings(self) -> int:
        """Number of readings. [1]"""
        return int(self.counts.sum())

    @property
    def sizes(self) -> tuple[int, ...]:
        """Number of groups: fixed cells, then each level from outside in, then readings. [1]"""
        return (self.cells, *(len(parent) for parent in self.parents), self.readings)

    @property
    def dof(self) -> FloatArray:
        """Degrees of freedom of each level, readings last: its groups less the groups that hold them. [1]"""
        return np.diff(np.array(self.sizes, dtype=np.float64))

    @property
    def balanced(self) -> bool:
        """Whether every group of a level holds the same number of groups (fixed cells may differ)."""
        if not self.parents:
            return True
        return np.ptp(self.counts) == 0 and all(np.ptp(np.bincount(parent)) == 0 for parent in self.parents[1:])


@dataclass(frozen=True, eq=False)
class UnweightedSquares:
    """Mean squares of unweighted means, and the variances they estimate.

    Parameters
    ----------
    squares : ndarray, shape (k + 1,)
        Mean square of each level's group means about the mean of their outer group; of the readings last. [squared unit of the value]
    dof : ndarray, shape (k + 1,)
        Degrees of freedom of each. [1]
    solve : ndarray, shape (k + 1, k + 1)
        Unbiased variances are ``solve @ squares``. [1]
    """

    squares: FloatArray
    dof: FloatArray
    solve: FloatArray


def unweighted_squares(groups: NestedGroups) -> UnweightedSquares:
    r"""Return the mean squares of unweighted means and the matrix that turns them into variances.

    With :math:`S_k` the mean square of the level-k means, :math:`E(S_k) = \sigma_k^2 + \sum_{j>k} a_{kj} \sigma_j^2`. Balanced
    tables give the usual analysis of variance, each mean square divided by the readings of a group.

    Parameters
    ----------
    groups : NestedGroups
        Group summaries. [unit of the value]

    Returns
    -------
    UnweightedSquares
        Mean squares, their degrees of freedom, and the solving matrix. [squared unit of the value]
    """
    depth, dof = groups.depth, groups.dof
    squares, expected = np.zeros(depth + 1), np.eye(depth + 1)
    if dof[-1] > 0:
        squares[-1] = groups.within / dof[-1]
    mean, inner = groups.means, np.zeros((depth + 1, len(groups.means)))
    inner[-1] = 1.0 / groups.counts
    for level in range(depth - 1, -1, -1):
        parent = groups.parents[level]
        children = np.bincount(parent).astype(np.float64)
        outer = np.bincount(parent, mean) / children
        squares[level] = np.sum((mean - outer[parent]) ** 2) / dof[level]
        expected[level, level + 1 :] = inner[level + 1 :] @ (1.0 - 1.0 / children[parent]) / dof[level]
        inner = np.array([np.bincount(parent, row) for row in inner]) / children**2
        inner[level] = 1.0 / children
        mean = outer
    return UnweightedSquares(squares, dof, np.linalg.inv(expected))


def pool_adjacent(squares: FloatArray, weights: FloatArray) -> FloatArray:
    """Return the nearest non-increasing sequence in weighted least squares (pool adjacent violators).

    Parameters
    ----------
    squares : ndarray
        Mean squares, outermost first. [squared unit of the value]
    weights : ndarray
        Degrees of freedom. [1]

    Returns
    -------
    ndarray
        Pooled mean squares; nothing changes where they already fall from outside in. [squared unit of the value]
    """
    blocks: list[tuple[float, float, int]] = []
    for square, weight in zip(squares.tolist(), weights.tolist(), strict=True):
        value, total, size = square, weight, 1
        while blocks and blocks[-1][0] < value:
            outer, outer_weight, outer_size = blocks.pop()
            value = (outer * outer_weight + value * total) / (outer_weight + total)
            total, size = outer_weight + total, outer_size + size
        blocks.append((value, total, size))
    return np.repeat([value for value, _, _ in blocks], [size for _, _, size in blocks])


@dataclass(frozen=True, eq=False)
class Sweep:
    """Restricted likelihood at one point, and what the fit needs from it."""

    objective: float
    gradient: FloatArray
    reading_variance: float
    cell_means: FloatArray
    cell_weights: FloatArray
    mean_square: float


def restricted_likelihood(groups: NestedGroups, ratios: FloatArray) -> Sweep:
    r"""Return minus twice the profiled restricted log-likelihood and its gradient.

    One pass inwards to outwards adds the levels one by one,
    :math:`V_g^{-1} = V_c^{-1} - \frac{\gamma}{1 + \gamma t} V_c^{-1} 1 1' V_c^{-1}`; fixed cells are a level of infinite variance;
    one pass back collects :math:`\mathrm{tr}(P Z Z')` and :math:`Z' P y`.

    Parameters
    ----------
    groups : NestedGroups
        Group summaries. [unit of the value]
    ratios : ndarray, shape (depth,)
        Variance of each level over the variance of the readings :math:`\gamma`. [1]

    Returns
    -------
    Sweep
        Objective and gradient in the ratios, the profiled reading variance, cell means and their weights (in units of the inverse
        reading variance), and the mean square of the outermost groups about their cells. [squared unit of the value]
    """
    weight, total = groups.counts, groups.counts * groups.means
    quadratic = groups.within + float(total @ groups.means)
    log_det = 0.0
    inwards: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for level in range(groups.depth - 1, -1, -1):
        ratio, parent = ratios[level], groups.parents[level]
        shrink = 1.0 + ratio * weight
        log_det += float(np.log(shrink).sum())
        quadratic -= ratio * float((total**2 / shrink).sum())
        inwards.append((weight, total, shrink))
        weight, total = np.bincount(parent, weight / shrink), np.bincount(parent, total / shrink)
    log_det += float(np.log(weight).sum())
    quadratic -= float((total**2 / weight).sum())
    free = groups.readings - groups.cells
    variance = quadratic / free
    blup, factor = total / weight, 1.0 / weight
    means, weights = blup, weight
    gradient, mean_square = np.empty(groups.depth), variance
    for level, (t, s, shrink) in enumerate(reversed(inwards)):
        parent, ratio = groups.parents[level], ratios[level]
        own, sums = t / shrink, s / shrink
        residual = sums - own * blup[parent]
        gradient[level] = float((own - own**2 * factor[parent]).sum() - (residual**2).sum() / variance)
        if level == 0:
            mean_square = float((residual**2 / own).sum()) / groups.dof[0]
        blup, factor = (ratio * s + blup[parent]) / shrink, ratio / shrink + factor[parent] / shrink**2
    objective = free * (np.log(2.0 * np.pi * variance) + 1.0) + log_det
    return Sweep(float(objective), gradient, variance, means, weights, mean_square)


def maximise(groups: NestedGroups, start: FloatArray) -> FloatArray:
    """Return the variance ratios of the restricted maximum likelihood, none below zero.

    Parameters
    ----------
    groups : NestedGroups
        Group summaries; readings must scatter within their groups. [unit of the value]
    start : ndarray, shape (depth,)
        Ratios to start from; zeros are lifted. [1]

    Returns
    -------
    ndarray, shape (depth,)
        Variance ratios at the optimum. [1]

    Notes
    -----
    Searched in the square roots (the objective is smooth there and the bound is zero), polished by Newton steps on those that are not
    at zero, and searched again from another start where one ends at zero, because the likelihood of unequal groups may have two hills.
    """

    def objective(roots: FloatArray) -> tuple[float, FloatArray]:
        sweep = restricted_likelihood(groups, roots**2)
        return sweep.objective, 2.0 * roots * sweep.gradient

    def search(first: FloatArray) -> tuple[float, FloatArray]:
        scale = np.maximum(first, 1e-3)
        found = minimize(
            lambda x: (lambda value, slope: (value, slope * scale))(*objective(x * scale)),
            first / scale,
            jac=True,
            method="L-BFGS-B",
            bounds=[(0.0, None)] * len(first),
            options={"ftol": 1e-13, "gtol": 1e-6},
        )
        roots = _polish(groups, found.x * scale)
        return objective(roots)[0], roots

    floor = 0.3 / np.sqrt(groups.readings / np.array(groups.sizes[1:-1], dtype=np.float64))
    value, roots = search(np.maximum(np.sqrt(np.maximum(start, 0.0)), floor))
    if (roots == 0.0).any():
        other, more = search(np.ones_like(start))
        if other < value:
            roots = more
    return roots**2


def _polish(groups: NestedGroups, roots: FloatArray) -> FloatArray:
    """Take Newton steps in the log ratios of the levels above zero; set the others to exactly zero where the gradient allows."""
    ratios = roots**2
    small = ratios < 1e-7
    if small.any():
        zeroed = np.where(small, 0.0, ratios)
        slope = restricted_likelihood(groups, zeroed).gradient
        ratios = np.where(small & (slope >= 0.0), 0.0, ratios)
    free = np.flatnonzero(ratios > 0.0)

    def slopes(at: FloatArray) -> FloatArray:
        return restricted_likelihood(groups, at).gradient[free] * at[free]

    best = restricted_likelihood(groups, ratios).objective
    for _ in range(4 if free.size else 0):
        slope, step = slopes(ratios), 1e-5
        hessian = np.empty((free.size, free.size))
        for column, index in enumerate(free):
            shifted = ratios.copy()
            shifted[index] *= np.exp(step)
            hessian[column] = (slopes(shifted) - slope) / step
        hessian = (hessian + hessian.T) / 2.0
        if np.linalg.eigvalsh(hessian)[0] <= 0.0:
            break
        move = np.clip(np.linalg.solve(hessian, slope), -1.0, 1.0)
        trial = ratios.copy()
        trial[free] *= np.exp(-move)
        value = restricted_likelihood(groups, trial).objective
        if value > best + 1e-9 * abs(best):
            break
        ratios, best = trial, value
        if np.abs(move).max() < 1e-9:
            break
    return np.sqrt(ratios)
