"""How repeatable a bench is: the pooled spread within groups, and whether groups scatter alike."""

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaln

from photolab.errors import demand
from photolab.metrology.arguments import Floats, finite, must_hold
from photolab.metrology.quantity import coverage_factor

Groups = Mapping[object, ArrayLike] | Iterable[ArrayLike]


class Homogeneity(NamedTuple):
    """Whether groups scatter alike.

    Attributes
    ----------
    statistic : float
        Bartlett's statistic. [1]
    p : float
        Probability of one as large when all groups scatter alike. [1]
    widest : object
        Name (or place) of the group with the largest standard deviation.
    widest_share : float
        Its share of the sum of all variances (Cochran's C). [1]
    widest_p : float
        Probability of a share as large when all groups scatter alike, at most 1. [1]
    """

    statistic: float
    p: float
    widest: object
    widest_share: float
    widest_p: float


def pooled_sd(groups: Groups) -> tuple[float, float]:
    r"""Return the standard deviation within groups, pooled over all of them.

    .. math:: s^2 = \sum_i \sum_j (y_{ij} - \bar y_i)^2 / \sum_i (n_i - 1)

    Parameters
    ----------
    groups : mapping or iterable of array_like
        Values of each group; a group of one value adds nothing. [any unit, or ln]

    Returns
    -------
    sd : float
        Pooled standard deviation. [unit of the values]
    dof : float
        Its degrees of freedom. [1]

    Raises
    ------
    ValueError
        If there is no group, a group is empty or a value is not finite.
    MethodError
        If no group holds two values (code ``no_repeats``) or no value differs from its group's others
        (``all_equal``).

    Notes
    -----
    Holds where the groups scatter alike: test with `homogeneity`.
    """
    _, arrays = _arrays(groups)
    dof = sum(len(values) - 1 for values in arrays)
    message = f"groups must hold a repeated value; got {len(arrays)} groups of one value each"
    must_hold(dof > 0, message, code="no_repeats", known={"groups": len(arrays)})
    squares = sum(_sum_of_squares(values) for values in arrays)
    message = f"all values equal those of their group ({len(arrays)} groups): they show no spread"
    must_hold(squares > 0.0, message, code="all_equal", known={"dof": dof})
    return float(np.sqrt(squares / dof)), float(dof)


def limits_by_pairs(sd: float, *, pairs: float, dof: float, coverage: float) -> tuple[float, float]:
    r"""Return where the standard deviation by pairs lies if the values are normal, given the pooled one.

    By pairs it is :math:`\sqrt{\pi}/2` times the mean absolute difference. Its ratio R to the pooled one of the same
    values is independent of that one [1]_, so that

    .. math:: \mathrm{E}R = 1/c_4(\nu), \quad \mathrm{E}R^2 = 1 + (\pi/2 - 1)/m

    Parameters
    ----------
    sd : float
        Pooled standard deviation. [any unit, or ln]
    pairs : float
        Number of pairs :math:`m`, no value in two of them. [1]
    dof : float
        Degrees of freedom :math:`\nu` of the pooled one: at least as many, as each pair brings one. [1]
    coverage : float
        Coverage probability. [1]

    Returns
    -------
    low, high : float
        Both ends. [unit of sd]

    Raises
    ------
    ValueError
        If there is no pair.

    Notes
    -----
    Taken as normal: with fewer than five pairs the tails are not.

    References
    ----------
    .. [1] Basu, "On statistics independent of a complete sufficient statistic", Sankhya 15 (1955).
    """
    demand(pairs >= 1, "pairs must be 1 or more", pairs)
    free = max(dof, pairs)
    middle = math.exp(gammaln(free / 2.0) - gammaln((free + 1.0) / 2.0)) * math.sqrt(free / 2.0)
    half = coverage_factor(coverage) * math.sqrt(max(1.0 + (math.pi / 2.0 - 1.0) / pairs - middle**2, 0.0))
    return sd * max(middle - half, 0.0), sd * (middle + half)


def homogeneity(groups: Groups, *, trials: int = 20_000, seed: int = 0) -> Homogeneity:
    """Test whether groups scatter alike, so that one pooled standard deviation serves them all.

    Parameters
    ----------
    groups : mapping or iterable of array_like
        Values of each group, at least two groups with two values. [any unit, or ln]
    trials : int, default 20000
        Simulated groups for the two probabilities. [1]
    seed : int, default 0
        Seed of the simulation. [1]

    Returns
    -------
    Homogeneity
        Bartlett's statistic, Cochran's share of the widest group, and their probabilities.

    Raises
    ------
    MethodError
        If fewer than two groups repeat (code ``no_repeats``), or a group with repeats shows one value only
        (``all_equal``).

    Notes
    -----
    Both statistics are free of the common standard deviation, so their distribution for normal readings is
    simulated with the groups' own sizes: the chi-square approximation is poor for groups of two or three
    [1]_. Both lean on normal readings.

    References
    ----------
    .. [1] M. S. Bartlett, "Properties of sufficiency and statistical tests", Proc. R. Soc. A 160 (1937)
           268-282.
    """
    names, arrays = _arrays(groups)
    kept = [(name, values) for name, values in zip(names, arrays, strict=True) if len(values) > 1]
    message = f"groups must hold at least 2 groups with repeats; got {len(kept)}"
    must_hold(len(kept) >= 2, message, code="no_repeats", known={"groups": len(kept)})
    squares = np.array([_sum_of_squares(values) for _, values in kept])
    dof = np.array([len(values) - 1.0 for _, values in kept])
    name = kept[int(np.argmin(squares))][0]
    message = f"groups[{name!r}] must scatter; got one value repeated"
    must_hold(squares.min() > 0.0, message, code="all_equal", known={"group": name})
    drawn = np.random.default_rng(seed).chisquare(dof, (trials, len(dof)))
    statistic, share = _bartlett(squares, dof), squares / dof / (squares / dof).sum()
    drawn_share = (drawn / dof).max(axis=1) / (drawn / dof).sum(axis=1)
    widest = int(np.argmax(share))
    return Homogeneity(
        statistic=float(statistic),
        p=float((1 + np.sum(_bartlett(drawn, dof) >= statistic)) / (trials + 1)),
        widest=kept[widest][0],
        widest_share=float(share[widest]),
        widest_p=float((1 + np.sum(drawn_share >= share[widest])) / (trials + 1)),
    )


def _arrays(groups: Groups) -> tuple[list[object], list[Floats]]:
    """Return the names and the checked values of the groups."""
    items = dict(groups.items() if isinstance(groups, Mapping) else enumerate(groups))
    demand(items, "groups must hold at least one group", "none")
    arrays = []
    for name, values in items.items():
        array = np.atleast_1d(finite(f"groups[{name!r}]", values, missing=False))
        row = array.ndim == 1 and array.size > 0
        demand(row, f"groups[{name!r}] must be a row of at least one value", f"shape {array.shape}")
        arrays.append(array)
    return list(items), arrays


def _sum_of_squares(values: Floats) -> float:
    """Return the sum of squares about the mean, the first value taken off for the sake of rounding."""
    shifted = values - values[0]
    return float(np.sum((shifted - shifted.mean()) ** 2))


def _bartlett(squares: Floats, dof: Floats) -> Floats:
    """Return Bartlett's statistic of sums of squares along the last axis."""
    total = dof.sum()
    spread = total * np.log(squares.sum(axis=-1) / total) - (dof * np.log(squares / dof)).sum(axis=-1)
    correction = 1.0 + ((1.0 / dof).sum() - 1.0 / total) / (3.0 * (len(dof) - 1))
    return np.asarray(spread / correction)
