"""Nested random effects from group summaries: sums of squares, restricted likelihood and their optimum.

A nested table is reduced once to counts and means of its innermost groups; no reading is looked at again.
`components` turns these numbers into variance components with intervals.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize, root

from photolab.metrology.arguments import Floats, Indices, must_hold

NOTHING = 1e-9  # of the scatter from inside a level: a smaller variance is zero
SETTLED = 1e-7  # of the number of readings: the largest slope, in logarithms, at an optimum


@dataclass(frozen=True, eq=False)
class NestedGroups:
    """A nested table as group summaries; level 0 is the outermost, the readings stand below the last level.

    Attributes
    ----------
    parents : tuple of ndarray
        For each level, the group one level further out of each of its groups; for level 0, its fixed cell.
        [1]
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

    parents: tuple[Indices, ...]
    counts: Floats
    means: Floats
    within: float
    cells: int
    origin: float

    @cached_property
    def depth(self) -> int:
        """Number of random levels above the readings."""
        return len(self.parents)

    @cached_property
    def readings(self) -> int:
        """Number of readings."""
        return int(self.counts.sum())

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """Number of groups: fixed cells, then each level from outside in, then readings."""
        return (self.cells, *(len(parent) for parent in self.parents), self.readings)

    @cached_property
    def dof(self) -> Floats:
        """Degrees of freedom of each level, readings last: its groups less the groups that hold them."""
        return np.diff(np.array(self.sizes, dtype=np.float64))

    @cached_property
    def balanced(self) -> bool:
        """Whether every group of a level holds the same number of groups (fixed cells may differ)."""
        held = (self.counts, *map(np.bincount, self.parents[1:]))
        return not self.parents or all(np.ptp(counts) == 0 for counts in held)


@dataclass(frozen=True, eq=False)
class UnweightedSquares:
    """Mean squares of unweighted means, and the variances they estimate.

    Attributes
    ----------
    squares : ndarray, shape (k + 1,)
        Mean square of each level's group means about the mean of their outer group; of the readings last.
        [squared unit of the value]
    dof : ndarray, shape (k + 1,)
        Degrees of freedom of each. [1]
    solve : ndarray, shape (k + 1, k + 1)
        Unbiased variances are ``solve @ squares``. [1]
    """

    squares: Floats
    dof: Floats
    solve: Floats

    def start(self) -> tuple[Floats, Floats]:
        """Return the levels' unbiased variances over the readings', and the scatter from inside each."""
        variances = self.solve @ self.squares
        inside = self.squares - variances
        inside[:-1] = np.maximum(inside[:-1], np.linalg.inv(self.solve)[:-1, -1] * self.squares[-1])
        return variances[:-1] / self.squares[-1], inside[:-1] / self.squares[-1]


def unweighted_squares(groups: NestedGroups) -> UnweightedSquares:
    r"""Return the mean squares of unweighted means and the matrix that turns them into variances.

    With :math:`S_k` the mean square of the level-k means, :math:`E(S_k) = \sigma_k^2 + \sum_{j>k} a_{kj}
    \sigma_j^2`. Balanced tables give the usual analysis of variance, each mean square divided by the readings
    of a group.

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
        apart = mean - outer[parent]
        squares[level] = apart @ apart / dof[level]
        mean = outer
        if groups.balanced:
            continue
        expected[level, level + 1 :] = inner[level + 1 :] @ (1.0 - 1.0 / children[parent]) / dof[level]
        inner = np.array([np.bincount(parent, row) for row in inner]) / children**2
        inner[level] = 1.0 / children
    if groups.balanced:
        shares = np.array(groups.sizes[1:], dtype=np.float64)
        return UnweightedSquares(squares, dof, expected - np.diag(shares[:-1] / shares[1:], 1))
    return UnweightedSquares(squares, dof, np.asarray(np.linalg.inv(expected), dtype=np.float64))


class Sweep(NamedTuple):
    """Restricted likelihood at one point, and what the fit needs from it."""

    objective: float
    gradient: Floats
    reading_variance: float
    cell_means: Floats
    cell_weights: Floats
    mean_square: float


def restricted_likelihood(groups: NestedGroups, ratios: Floats) -> Sweep:
    r"""Return minus twice the profiled restricted log-likelihood and its gradient.

    One pass inwards to outwards adds the levels one by one, :math:`V_g^{-1} = V_c^{-1} - \frac{\gamma}{1 +
    \gamma t} V_c^{-1} 1 1' V_c^{-1}`; fixed cells are a level of infinite variance; one pass back collects
    :math:`\mathrm{tr}(P Z Z')` and :math:`Z' P y`.

    Parameters
    ----------
    groups : NestedGroups
        Group summaries. [unit of the value]
    ratios : ndarray, shape (depth,)
        Variance of each level over the variance of the readings :math:`\gamma`. [1]

    Returns
    -------
    Sweep
        Objective and gradient in the ratios, the profiled reading variance, cell means and their weights (in
        units of the inverse reading variance), and the mean square of the outermost groups about their cells.
        [squared unit of the value]
    """
    weight: Floats = groups.counts
    total = groups.counts * groups.means
    quadratic = groups.within + float(total @ groups.means)
    log_det = 0.0
    inwards: list[tuple[Floats, Floats, Floats]] = []
    for level in range(groups.depth - 1, -1, -1):
        ratio, parent = ratios[level], groups.parents[level]
        shrink = 1.0 + ratio * weight
        log_det += float(np.log(shrink).sum())
        quadratic -= ratio * float((total**2 / shrink).sum())
        inwards.append((weight, total, shrink))
        weight, total = (np.asarray(np.bincount(parent, x / shrink), dtype=float) for x in (weight, total))
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


def maximise(groups: NestedGroups, squares: UnweightedSquares) -> Floats:
    """Return the variance ratios of the restricted maximum likelihood, none below zero.

    Parameters
    ----------
    groups : NestedGroups
        Group summaries; readings must scatter within their groups. [unit of the value]
    squares : UnweightedSquares
        Their mean squares, to start from. [squared unit of the value]

    Returns
    -------
    ndarray, shape (depth,)
        Variance ratios at the optimum. [1]

    Raises
    ------
    MethodError
        If the search does not settle (code ``no_optimum``).

    Notes
    -----
    The bounded search ends at exact zeros; what stands above zero is taken to its last digits on the gradient in
    logarithms. Searched again from another start where one search ends at zero, because the likelihood of unequal
    groups may have two hills.
    """
    start, notice = squares.start()
    best = _search(groups, np.maximum(start, 0.3 * notice), notice)
    if (best == 0.0).any():
        other = _search(groups, np.maximum(start, 3.0 * notice), notice)
        objective, lower = (restricted_likelihood(groups, one).objective for one in (best, other))
        return other if lower < objective - 1e-9 else best
    return best


def _search(groups: NestedGroups, scale: Floats, notice: Floats) -> Floats:
    """Return the ratios at the end of one search that starts at the scale."""

    def objective(share: Floats) -> tuple[float, Floats]:
        at = restricted_likelihood(groups, share * scale)
        return at.objective, at.gradient * scale

    options = {"ftol": 1e-11, "gtol": 1e-5, "maxiter": 1000}
    start, bounds = np.ones(scale.size), [(0.0, None)] * scale.size
    found = minimize(objective, start, jac=True, method="L-BFGS-B", bounds=bounds, options=options)
    ratios = np.where(found.x * scale > NOTHING * notice, found.x * scale, 0.0)
    free = ratios > 0.0
    if not free.any():
        return ratios

    def slope(logarithms: Floats) -> Floats:
        trial = ratios.copy()
        trial[free] = np.exp(logarithms)
        return np.asarray(restricted_likelihood(groups, trial).gradient[free] * trial[free])

    settled = root(slope, np.log(ratios[free]), tol=1e-12)
    done = np.abs(settled.fun).max() <= SETTLED * groups.readings
    message = f"the search for the variance components of {groups.readings} readings did not settle"
    must_hold(done, message, code="no_optimum", known={"ratios": ratios})
    ratios[free] = np.exp(settled.x)
    return ratios
