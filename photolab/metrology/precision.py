"""How repeatable a bench is: pooled and robust spread, one-way analysis, gauge studies.

Nested components of any depth are in `components`, gauge studies in `gauge` and
`gauge_levels`; all are importable from here too.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from photolab.errors import MethodError
from photolab.metrology.components import VarianceComponents, nested_components
from photolab.metrology.gauge import GaugeStudy, gauge_study
from photolab.metrology.gauge_levels import GaugeLevels, gauge_levels

__all__ = [
    "GaugeLevels",
    "GaugeStudy",
    "Homogeneity",
    "OneWay",
    "VarianceComponents",
    "gauge_levels",
    "gauge_study",
    "homogeneity",
    "nested_components",
    "one_way",
    "pooled_sd",
    "robust_mean_sd",
    "robust_uncertainty",
]

FloatArray = NDArray[np.float64]
Groups = Mapping[object, ArrayLike] | Iterable[ArrayLike]


def _arrays(groups: Groups) -> tuple[list[object], list[FloatArray]]:
    """Return the names and the checked values of the groups."""
    items = list(groups.items()) if isinstance(groups, Mapping) else list(enumerate(groups))
    arrays = []
    for name, values in items:
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        if array.ndim != 1 or array.size == 0:
            message = f"groups[{name!r}] must be a row of at least one value; got shape {array.shape}"
            raise ValueError(message)
        bad = np.flatnonzero(~np.isfinite(array))
        if bad.size:
            message = f"groups[{name!r}][{bad[0]}] must be finite; got {array[bad[0]]}"
            raise ValueError(message)
        arrays.append(array)
    if not arrays:
        message = "groups must hold at least one group; got none"
        raise ValueError(message)
    return [name for name, _ in items], arrays


def _sum_of_squares(values: FloatArray) -> float:
    """Return the sum of squares about the mean, the first value taken off and rounding corrected."""
    shifted = values - values[0]
    deviation = shifted - math.fsum(shifted) / len(values)
    return math.fsum(deviation**2) - math.fsum(deviation) ** 2 / len(values)


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
    if dof == 0:
        message = f"groups must hold a repeated value; got {len(arrays)} groups of one value each"
        raise MethodError(message, code="no_repeats", known={"groups": len(arrays)})
    squares = sum(_sum_of_squares(values) for values in arrays)
    if squares <= 0.0:
        message = f"all values equal those of their group ({len(arrays)} groups): they show no spread"
        raise MethodError(message, code="all_equal", known={"dof": dof})
    return float(np.sqrt(squares / dof)), float(dof)


@dataclass(frozen=True)
class Homogeneity:
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
    if len(kept) < 2:
        message = f"groups must hold at least 2 groups with repeats; got {len(kept)}"
        raise MethodError(message, code="no_repeats", known={"groups": len(kept)})
    squares = np.array([_sum_of_squares(values) for _, values in kept])
    dof = np.array([len(values) - 1.0 for _, values in kept])
    if (squares <= 0.0).any():
        name = kept[int(np.argmin(squares))][0]
        message = f"groups[{name!r}] must scatter; got one value repeated"
        raise MethodError(message, code="all_equal", known={"group": name})
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


def _bartlett(squares: FloatArray, dof: FloatArray) -> FloatArray:
    """Return Bartlett's statistic of sums of squares along the last axis."""
    total = dof.sum()
    spread = total * np.log(squares.sum(axis=-1) / total) - (dof * np.log(squares / dof)).sum(axis=-1)
    correction = 1.0 + ((1.0 / dof).sum() - 1.0 / total) / (3.0 * (len(dof) - 1))
    return np.asarray(spread / correction)


@dataclass(frozen=True)
class OneWay:
    """One-way analysis of variance.

    Attributes
    ----------
    ss_between, ss_within : float
        Sums of squares. [squared unit of the values]
    ms_between, ms_within : float
        Mean squares. [squared unit of the values]
    f : float
        Their ratio. [1]
    p : float
        Probability of a ratio as large when all groups have one mean. [1]
    dof_between, dof_within : int
        Degrees of freedom. [1]
    sd_within, sd_between : float
        Standard deviations within groups and of the group means beyond it; the latter is zero where
        ``ms_between < ms_within`` (``between_at_zero``). [unit of the values]
    between_at_zero : bool
        Whether the spread between groups was set to zero.
    mean : float
        Mean of all values. [unit of the values]
    """

    ss_between: float
    ss_within: float
    ms_between: float
    ms_within: float
    f: float
    p: float
    dof_between: int
    dof_within: int
    sd_within: float
    sd_between: float
    between_at_zero: bool
    mean: float


def one_way(groups: Groups) -> OneWay:
    """Return the one-way analysis of variance of groups of values.

    Parameters
    ----------
    groups : mapping or iterable of array_like
        Values of each group. [any unit, or ln]

    Returns
    -------
    OneWay
        Mean squares, F, its probability, and the standard deviations within and between.

    Raises
    ------
    ValueError
        If a group is empty or a value is not finite.
    MethodError
        If there is one group only (code ``one_group``), nothing repeats (``no_repeats``), or no group
        scatters (``all_equal``).

    Notes
    -----
    One value is taken off all others before any square is formed, and sums are compensated, so that values
    with many constant leading digits keep what their binary form holds.
    """
    _, arrays = _arrays(groups)
    if len(arrays) < 2:
        message = f"groups must hold at least 2 groups; got {len(arrays)}"
        raise MethodError(message, code="one_group", known={"groups": len(arrays)})
    count = np.array([len(values) for values in arrays], dtype=np.float64)
    total, origin = float(count.sum()), float(arrays[0][0])
    dof_between, dof_within = len(arrays) - 1, int(total) - len(arrays)
    if dof_within == 0:
        message = f"groups must hold a repeated value; got {len(arrays)} groups of one value each"
        raise MethodError(message, code="no_repeats", known={"groups": len(arrays)})
    ss_within = math.fsum(_sum_of_squares(values) for values in arrays)
    if ss_within <= 0.0:
        message = f"all values equal those of their group ({len(arrays)} groups): F has no denominator"
        raise MethodError(message, code="all_equal", known={"dof_within": dof_within})
    means = np.array([math.fsum(values - origin) / len(values) for values in arrays])
    grand = math.fsum(count * means) / total
    ss_between = math.fsum(count * (means - grand) ** 2)
    ms_between, ms_within = ss_between / dof_between, ss_within / dof_within
    f = ms_between / ms_within
    size = (total - float(count @ count) / total) / dof_between
    return OneWay(
        ss_between=ss_between,
        ss_within=ss_within,
        ms_between=ms_between,
        ms_within=ms_within,
        f=f,
        p=float(special.fdtrc(dof_between, dof_within, f)),
        dof_between=dof_between,
        dof_within=dof_within,
        sd_within=math.sqrt(ms_within),
        sd_between=math.sqrt(max(0.0, (ms_between - ms_within) / size)),
        between_at_zero=bool(ms_between <= ms_within),
        mean=origin + grand,
    )


def robust_mean_sd(values: ArrayLike) -> tuple[float, float]:
    r"""Return the robust mean and standard deviation of Algorithm A.

    Values further than :math:`1.5\,s^*` from :math:`x^*` are moved to that distance; the mean and 1.134 times
    the standard deviation of the result are the next :math:`x^*, s^*`, until both stand still [1]_.

    Parameters
    ----------
    values : array_like
        At least three values. [any unit, or ln]

    Returns
    -------
    mean, sd : float
        Robust mean and standard deviation. [unit of the values]

    Raises
    ------
    ValueError
        If fewer than three values are given or one is not finite.
    MethodError
        If all values are equal (code ``all_equal``) or more than half of them are and the spread runs to zero
        (``no_spread``).

    Notes
    -----
    Tuned for normal values with up to about a fifth of strays; it halves no bias of a second group of like
    size.

    References
    ----------
    .. [1] ISO 13528:2022, Annex C.3.
    """
    array = np.sort(np.asarray(values, dtype=np.float64).ravel())
    bad = np.flatnonzero(~np.isfinite(np.asarray(values, dtype=np.float64).ravel()))
    if bad.size or len(array) < 3:
        got = f"values[{bad[0]}] must be finite" if bad.size else "values must hold at least 3"
        message = f"{got}; got {len(array)} values, {bad.size} of them not finite"
        raise ValueError(message)
    if array[0] == array[-1]:
        message = f"all {len(array)} values are equal ({array[0]:g}): they show no spread"
        raise MethodError(message, code="all_equal", known={"mean": float(array[0])})
    mean = float(np.median(array))
    sd = 1.483 * float(np.median(np.abs(array - mean))) or float(array.std(ddof=1))
    for _ in range(1000):
        moved = np.clip(array, mean - 1.5 * sd, mean + 1.5 * sd)
        following = float(moved.mean()), 1.134 * float(moved.std(ddof=1))
        step = abs(following[0] - mean) + abs(following[1] - sd)
        mean, sd = following
        if step <= 1e-12 * sd:
            break
    if sd <= 1e-12 * (array[-1] - array[0]):
        message = f"more than half of the {len(array)} values agree: the robust spread runs to zero"
        raise MethodError(message, code="no_spread", known={"mean": mean})
    return mean, sd


def robust_uncertainty(sd: float, n: int) -> float:
    r"""Return the standard uncertainty of a robust mean, :math:`1.25\,s^*/\sqrt n`.

    Parameters
    ----------
    sd : float
        Robust standard deviation. [any unit, or ln]
    n : int
        Number of values. [1]

    Returns
    -------
    float
        Standard uncertainty of the robust mean (ISO 13528:2022, 7.7.3). [unit of sd]
    """
    if n < 1:
        message = f"n must be 1 or more; got {n}"
        raise ValueError(message)
    return 1.25 * sd / math.sqrt(n)
