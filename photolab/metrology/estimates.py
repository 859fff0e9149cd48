"""Several values with one joint covariance, checked, and the estimated variances inside it.

The comparisons of `comparison` start here: from plain arrays or from a joint result, to the same small
object.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import Floats, Indices
from photolab.metrology.computed import Computed
from photolab.metrology.quantity import Joint

Groups = tuple[tuple[Floats, float], ...]
VariancePart = tuple[ArrayLike, float]

MOST_GROUPS = 64
NEGLIGIBLE = 1e-12  # of all the variance that rests on estimates: what is left of a group that cancels


@dataclass(frozen=True, eq=False)
class Estimates:
    """Values with their joint covariance and the variance groups of finite dof inside it.

    Attributes
    ----------
    values : ndarray, shape (n,)
        Estimates. [1]
    covariance : ndarray, shape (n, n)
        Their joint covariance. [1]
    names : tuple of hashable, length n
        What each value belongs to. [text]
    groups : tuple of (ndarray, float)
        Part of the covariance that rests on one estimated variance, and the dof of that estimate. [1]
    joint : Joint or None
        The joint result they were read from.
    """

    values: Floats
    covariance: Floats
    names: tuple[Hashable, ...]
    groups: Groups
    joint: Joint | None = None


class Contrasts(Computed):
    """Differences between pairs of values, with what is known of their variances.

    Parameters
    ----------
    estimates : Estimates
        Values and joint covariance. [1]
    first, second : ndarray of int, shape (m,)
        Positions of the values compared. [1]

    Attributes
    ----------
    first, second : ndarray of int, shape (m,)
        The same. [1]
    difference : ndarray, shape (m,)
        First value less second. [1]
    standard_uncertainty : ndarray, shape (m,)
        Standard uncertainty of each difference. [1]
    shares : ndarray, shape (g, m)
        Share of each variance group of finite dof in the variance of each difference. [1]
    group_dof : ndarray, shape (g,)
        Degrees of freedom of the groups. [1]
    dof : ndarray, shape (m,)
        Effective degrees of freedom of each difference. [1]

    Raises
    ------
    ValueError
        If the difference of a pair has no variance; the pair is named.
    """

    def __init__(self, estimates: Estimates, first: Indices, second: Indices) -> None:
        self.first, self.second = first, second
        self.difference = estimates.values[first] - estimates.values[second]
        variance = _variances(estimates.covariance, first, second)
        own = np.diag(estimates.covariance)
        least = 1e-14 * (own[first] + own[second])
        lost = ~(variance > least)
        if estimates.joint is None and lost.any():
            k = int(np.argmax(lost))
            pair = (estimates.names[first[k]], estimates.names[second[k]])
            demand(False, f"covariance of the pair {pair} must leave their difference a variance above 0", 0)
        variance = np.maximum(variance, least)  # a difference known exactly is one of a joint result
        self.standard_uncertainty = np.sqrt(variance)
        parts = [_variances(part, first, second) / variance for part, _ in estimates.groups]
        self.shares = np.clip(np.array(parts).reshape(len(parts), first.size), 0.0, 1.0)
        self.group_dof = np.array([nu for _, nu in estimates.groups])
        squares = (self.shares**2 / self.group_dof[:, None]).sum(axis=0)
        with np.errstate(divide="ignore"):
            self.dof = np.where(squares > 0.0, 1.0 / squares, np.inf)


def read_estimates(
    values: Any,
    covariance: ArrayLike | None,
    *,
    names: Sequence[Hashable] | None,
    dof: ArrayLike,
    variance_groups: Sequence[VariancePart] | None = None,
) -> Estimates:
    """Return checked estimates from arrays, or from a joint result that carries its own covariance.

    Parameters
    ----------
    values : array_like, shape (n,), or Joint
        Estimates. [1]
    covariance : array_like, shape (n, n), or None
        Joint covariance; None with a joint result. [1]
    names : sequence of hashable or None
        Labels; None numbers them from 0. [text]
    dof : float or array_like, shape (n,)
        Degrees of freedom of one variance common to all, or of each value's own (a diagonal covariance). [1]
    variance_groups : sequence of (array_like, float), optional
        Parts of the covariance with the dof of each, where several estimated variances meet. [1]

    Returns
    -------
    Estimates
        Values, covariance, names and groups. [1]

    Raises
    ------
    ValueError
        If shapes, labels, dof or the covariance do not fit; the pair at fault is named.
    """
    joint = values if isinstance(values, Joint) else None
    alone = covariance is None and names is None and variance_groups is None and np.all(np.isinf(dof))
    wanted = "a joint result carries its own covariance, names and dof and must stand without others"
    demand(joint is None or bool(alone), wanted, "more")
    estimate = np.asarray(values if joint is None else joint.values, dtype=float)
    listed = estimate.ndim == 1 and estimate.size >= 2
    demand(listed, "values must be a list of at least two", f"shape {estimate.shape}")
    if joint is not None:  # its covariance is one, and what it may lack is a density
        return Estimates(estimate, joint.covariance, tuple(joint.names), tuple(groups_of(joint)), joint)
    labels = tuple(range(estimate.size)) if names is None else tuple(names)
    distinct, holds = len(set(labels)), len(labels) == len(set(labels)) == estimate.size
    demand(holds, f"names must be {estimate.size} different labels", f"{distinct} of {len(labels)}")
    for label, value in zip(labels, estimate, strict=True):
        demand(np.isfinite(value), f"values[{label!r}] must be finite", value)
    demand(covariance is not None, "covariance must be given with plain values", None)
    matrix = check_covariance(np.asarray(covariance, dtype=float), labels)
    return Estimates(estimate, matrix, labels, _groups(matrix, dof, variance_groups))


def check_covariance(covariance: Floats, names: Sequence[Hashable]) -> Floats:
    """Return the covariance, symmetric; refuse one that is none and name the pair at fault.

    Parameters
    ----------
    covariance : ndarray, shape (n, n)
        Joint covariance. [1]
    names : sequence of hashable, length n
        Labels for the message. [text]

    Returns
    -------
    ndarray, shape (n, n)
        The symmetric part. [1]

    Raises
    ------
    ValueError
        If it is not square, finite, symmetric and positive definite.
    """
    count = len(names)
    square = covariance.shape == (count, count)
    demand(square, f"covariance must have shape ({count}, {count})", covariance.shape)
    asymmetry = np.abs(covariance - covariance.T)
    scale = np.sqrt(np.abs(np.outer(np.diag(covariance), np.diag(covariance))))
    for i, j in np.argwhere(~np.isfinite(covariance) | ~(asymmetry <= 1e-8 * scale + 1e-300)):
        wanted = f"covariance[{names[i]!r}, {names[j]!r}] must be finite and symmetric"
        demand(False, wanted, f"{covariance[i, j]:.6g} and {covariance[j, i]:.6g}")
    for label, variance in zip(names, np.diag(covariance), strict=True):
        demand(variance > 0.0, f"covariance[{label!r}, {label!r}] must be more than 0", f"{variance:.6g}")
    symmetric = 0.5 * (covariance + covariance.T)
    correlation = symmetric / scale
    off_diagonal = np.abs(correlation - np.diag(np.diag(correlation)))
    i, j = divmod(int(np.argmax(off_diagonal)), count)
    wanted = f"covariance of the pair ({names[i]!r}, {names[j]!r}) must leave a correlation between -1 and 1"
    demand(off_diagonal[i, j] < 1.0 - 1e-13, wanted, f"{correlation[i, j]:.6g}")
    eigenvalues, vectors = np.linalg.eigh(correlation)
    i, j = np.argsort(-np.abs(vectors[:, 0]))[:2]
    got = f"the eigenvalue {eigenvalues[0]:.3g} in its correlation, most of it from the pair"
    got = f"{got} ({names[i]!r}, {names[j]!r})"
    demand(eigenvalues[0] > 1e-14 * count, "covariance must be positive definite", got)
    return symmetric


def _groups(covariance: Floats, dof: ArrayLike, variance_groups: Sequence[VariancePart] | None) -> Groups:
    if variance_groups is not None:
        groups = tuple((np.asarray(part, dtype=float), float(nu)) for part, nu in variance_groups)
        alike = all(part.shape == covariance.shape for part, _ in groups)
        demand(alike, f"variance_groups must each hold a covariance of shape {covariance.shape}", "another")
        freedom = np.array([nu for _, nu in groups])
    else:
        freedom = np.asarray(dof, dtype=float)
        count, own = len(covariance), np.diag(covariance)
        if freedom.ndim == 0:
            groups = ((covariance, float(freedom)),)
        else:
            wanted = f"dof must be one number or {count}"
            demand(freedom.shape == (count,), wanted, f"shape {freedom.shape}")
            wanted = "dof must be one number where values share inputs (or give variance_groups)"
            demand(not np.any(covariance - np.diag(own)), wanted, "one a value")
            parts = zip(np.diag(own), freedom, strict=True)
            groups = tuple((np.diag(part), float(nu)) for part, nu in parts)
    demand(np.all(freedom > 0.0), "dof must be more than 0", freedom.min(initial=np.inf))
    return tuple((part, nu) for part, nu in groups if np.isfinite(nu))


def groups_of(joint: Joint) -> list[tuple[Floats, float]]:
    """Return the variance groups of finite dof inside a joint result.

    Parameters
    ----------
    joint : Joint
        Quantities with the inputs they share.

    Returns
    -------
    list of (ndarray, float)
        Covariance of each group and its dof; beyond 64 groups the smallest are taken together, with the
        smallest dof. [1]
    """
    estimate, freedom = joint.inputs.estimates
    doubtful = np.flatnonzero(estimate >= 0)
    whole, group = joint.contributions()[:, doubtful], estimate[doubtful]
    whole = whole.toarray() if hasattr(whole, "toarray") else whole
    # their number and order decide which draws a group takes: the last bits of a size must not
    square = np.bincount(group, np.sum(whole**2, axis=0), len(freedom))
    size = [float(f"{x:.5e}") for x in square]
    least = NEGLIGIBLE * sum(size)
    largest = sorted((g for g, x in enumerate(size) if x > least), key=lambda g: -size[g])
    blocks = [(whole[:, group == g], float(freedom[g])) for g in largest]
    kept, rest = blocks[: MOST_GROUPS - 1], blocks[MOST_GROUPS - 1 :]
    if rest:
        kept.append((np.hstack([block for block, _ in rest]), min(nu for _, nu in rest)))
    return [(block @ block.T, nu) for block, nu in kept]


def _variances(covariance: Floats, first: Indices, second: Indices) -> Floats:
    diagonal = np.diag(covariance)
    return np.asarray(diagonal[first] + diagonal[second] - 2.0 * covariance[first, second])
