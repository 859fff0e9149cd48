"""Several values with one joint covariance, checked, and the estimated variances inside it.

The comparisons of `comparison` start here: from plain arrays or from a joint result, to the same small
object.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photolab.metrology.quantity import Joint

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Groups = tuple[tuple[Array, float], ...]
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

    values: Array
    covariance: Array
    names: tuple[Hashable, ...]
    groups: Groups
    joint: Joint | None = None


@dataclass(frozen=True, eq=False)
class Contrasts:
    """Differences between pairs of values, with what is known of their variances.

    Attributes
    ----------
    first, second : ndarray of int, shape (m,)
        Positions of the two values of each comparison. [1]
    standard_uncertainty : ndarray, shape (m,)
        Standard uncertainty of each difference. [1]
    shares : ndarray, shape (g, m)
        Share of each variance group of finite dof in the variance of each difference. [1]
    group_dof : ndarray, shape (g,)
        Degrees of freedom of the groups. [1]
    dof : ndarray, shape (m,)
        Effective degrees of freedom of each difference. [1]
    """

    first: Indices
    second: Indices
    standard_uncertainty: Array
    shares: Array
    group_dof: Array
    dof: Array


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
    if isinstance(values, Joint):
        if not (covariance is None and names is None and variance_groups is None and np.all(np.isinf(dof))):
            message = "a joint result carries its own covariance, names and dof; give none of them beside it"
            raise ValueError(message)
        joint = values
        if joint.values.size > 1:  # its covariance is one, and what it may lack is a density
            groups = tuple((part, nu) for part, nu in groups_of(joint) if np.isfinite(nu))
            return Estimates(joint.values, joint.covariance, tuple(joint.names), groups, joint)
        covariance, names, values = joint.covariance, tuple(joint.names), joint.values
    estimate = np.asarray(values, dtype=float)
    if estimate.ndim != 1 or estimate.size < 2:
        message = f"values must be a list of at least two; got shape {estimate.shape}"
        raise ValueError(message)
    labels = tuple(range(estimate.size)) if names is None else tuple(names)
    if len(labels) != estimate.size or len(set(labels)) != estimate.size:
        message = f"names must be {estimate.size} different labels; got {len(set(labels))} of {len(labels)}"
        raise ValueError(message)
    for label, value in zip(labels, estimate, strict=True):
        if not np.isfinite(value):
            message = f"values[{label!r}] must be finite; got {value}"
            raise ValueError(message)
    if covariance is None:
        message = "covariance must be given with plain values; got None"
        raise ValueError(message)
    matrix = check_covariance(np.asarray(covariance, dtype=float), labels)
    return Estimates(estimate, matrix, labels, _groups(matrix, labels, dof, variance_groups))


def check_covariance(covariance: Array, names: Sequence[Hashable]) -> Array:
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
    if covariance.shape != (count, count):
        message = f"covariance must have shape ({count}, {count}); got {covariance.shape}"
        raise ValueError(message)
    asymmetry = np.abs(covariance - covariance.T)
    scale = np.sqrt(np.abs(np.outer(np.diag(covariance), np.diag(covariance))))
    faulty = np.argwhere(~np.isfinite(covariance) | ~(asymmetry <= 1e-8 * scale + 1e-300))
    if faulty.size:
        row, column = faulty[0]
        message = (
            f"covariance[{names[row]!r}, {names[column]!r}] must be finite and symmetric; "
            f"got {covariance[row, column]:.6g} and {covariance[column, row]:.6g}"
        )
        raise ValueError(message)
    for label, variance in zip(names, np.diag(covariance), strict=True):
        if variance <= 0.0:
            message = f"covariance[{label!r}, {label!r}] must be more than 0; got {variance:.6g}"
            raise ValueError(message)
    correlation = covariance / scale
    _check_definite(0.5 * (correlation + correlation.T), names)
    return 0.5 * (covariance + covariance.T)


def _check_definite(correlation: Array, names: Sequence[Hashable]) -> None:
    off_diagonal = np.abs(correlation - np.diag(np.diag(correlation)))
    row, column = divmod(int(np.argmax(off_diagonal)), len(names))
    if off_diagonal[row, column] >= 1.0 - 1e-13:
        message = (
            f"covariance of the pair ({names[row]!r}, {names[column]!r}) must leave a correlation between "
            f"-1 and 1; got {correlation[row, column]:.6g}"
        )
        raise ValueError(message)
    eigenvalues, vectors = np.linalg.eigh(correlation)
    if eigenvalues[0] <= 1e-14 * len(names):
        first, second = np.argsort(-np.abs(vectors[:, 0]))[:2]
        message = (
            f"covariance must be positive definite; got the eigenvalue {eigenvalues[0]:.3g} in its "
            f"correlation, most of it from the pair ({names[first]!r}, {names[second]!r})"
        )
        raise ValueError(message)


def _groups(
    covariance: Array,
    names: Sequence[Hashable],
    dof: ArrayLike,
    variance_groups: Sequence[VariancePart] | None,
) -> Groups:
    if variance_groups is not None:
        groups = tuple((np.asarray(part, dtype=float), float(nu)) for part, nu in variance_groups)
        if any(part.shape != covariance.shape for part, _ in groups):
            message = f"variance_groups must each hold a covariance of shape {covariance.shape}"
            raise ValueError(message)
        freedom = np.array([nu for _, nu in groups])
    else:
        freedom = np.asarray(dof, dtype=float)
        if freedom.ndim == 0:
            groups = ((covariance, float(freedom)),)
        elif freedom.shape != (len(names),):
            message = f"dof must be one number or {len(names)}; got shape {freedom.shape}"
            raise ValueError(message)
        elif np.count_nonzero(covariance - np.diag(np.diag(covariance))):
            message = (
                "dof must be one number where values share inputs (or give variance_groups); got one a value"
            )
            raise ValueError(message)
        else:
            unit = np.eye(len(names))
            groups = tuple(
                (np.diag(np.diag(covariance) * unit[i]), float(nu)) for i, nu in enumerate(freedom)
            )
    if np.any(~(freedom > 0.0)):
        message = f"dof must be more than 0; got {freedom.min() if freedom.size else freedom}"
        raise ValueError(message)
    return tuple((part, nu) for part, nu in groups if np.isfinite(nu))


def groups_of(joint: Joint) -> list[tuple[Array, float]]:
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


def contrasts(estimates: Estimates, first: Indices, second: Indices) -> Contrasts:
    """Return the differences first - second with their uncertainties and dof.

    Parameters
    ----------
    estimates : Estimates
        Values and joint covariance. [1]
    first, second : ndarray of int, shape (m,)
        Positions of the values compared. [1]

    Returns
    -------
    Contrasts
        Standard uncertainties, shares of the variance groups, dof. [1]

    Raises
    ------
    ValueError
        If the difference of a pair has no variance; the pair is named.
    """
    variance = _variances(estimates.covariance, first, second)
    own = np.diag(estimates.covariance)
    least = 1e-14 * (own[first] + own[second])
    faulty = np.flatnonzero(~(variance > least))
    if estimates.joint is not None:  # a difference known exactly is one of a joint result
        variance = np.maximum(variance, least)
    elif faulty.size:
        a, b = estimates.names[first[faulty[0]]], estimates.names[second[faulty[0]]]
        message = (
            f"covariance of the pair ({a!r}, {b!r}) must leave their difference a variance above 0; got 0"
        )
        raise ValueError(message)
    parts = [_variances(part, first, second) / variance for part, _ in estimates.groups]
    shares = np.clip(np.array(parts).reshape(len(parts), first.size), 0.0, 1.0)
    group_dof = np.array([nu for _, nu in estimates.groups])
    squares = (shares**2 / group_dof[:, None]).sum(axis=0)
    with np.errstate(divide="ignore"):
        dof = np.where(squares > 0.0, 1.0 / squares, np.inf)
    return Contrasts(first, second, np.sqrt(variance), shares, group_dof, dof)


def _variances(covariance: Array, first: Indices, second: Indices) -> Array:
    diagonal = np.diag(covariance)
    result: Array = diagonal[first] + diagonal[second] - 2.0 * covariance[first, second]
    return result


def check_probability(name: str, value: float) -> None:
    """Refuse a probability that is not between 0 and 1.

    Parameters
    ----------
    name : str
        Name of the argument, for the message. [text]
    value : float
        Probability. [1]

    Raises
    ------
    ValueError
        If it is not between 0 and 1.
    """
    if not 0.0 < value < 1.0:
        message = f"{name} must be between 0 and 1; got {value}"
        raise ValueError(message)
