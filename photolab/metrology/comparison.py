"""Which of many values really differ: families on a joint covariance, equivalence, ranks, record claims."""

import math
from collections.abc import Hashable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW, ttost_ind, ttost_paired

from photolab.errors import demand
from photolab.metrology.arguments import Floats, Indices, finite, positive
from photolab.metrology.estimates import Contrasts, Estimates, VariancePart, read_estimates
from photolab.metrology.quantity import COVERAGE
from photolab.metrology.simultaneous import DRAWN_LIMIT, largest_t, single_critical

FAMILIES = ("tukey", "dunnett", "holm", "none")


class Equivalence(NamedTuple):
    """Two one-sided tests of a difference against a margin.

    Attributes
    ----------
    difference : float
        Mean of a minus mean of b; with `ratio` the difference of the mean logarithms. [unit of the
        readings, or ln]
    standard_uncertainty : float
        Standard uncertainty of the difference. [as difference]
    dof : float
        Its degrees of freedom. [1]
    p : float
        The larger of the two one-sided p values. [1]
    interval : tuple of float
        Interval of the difference at 1 - 2 alpha. [as difference]
    equivalent : bool
        Whether the interval lies within the margin. [bool]
    """

    difference: float
    standard_uncertainty: float
    dof: float
    p: float
    interval: tuple[float, float]
    equivalent: bool


def pairwise(
    values: Any,
    covariance: ArrayLike | None = None,
    *,
    names: Sequence[Hashable] | None = None,
    dof: ArrayLike = np.inf,
    family: str = "tukey",
    baseline: Hashable | None = None,
    coverage: float = COVERAGE,
    seed: int = 0,
    variance_groups: Sequence[VariancePart] | None = None,
) -> pd.DataFrame:
    r"""Return ratios of pairs with intervals adjusted for the family they belong to.

    Parameters
    ----------
    values : array_like, shape (n,), or Joint
        Logarithms of the values compared. [ln]
    covariance : array_like, shape (n, n), optional
        Joint covariance of the logarithms; not with a joint result. [1]
    names : sequence of hashable, optional
        Labels, 0, 1, … if not given. [text]
    dof : float or array_like, shape (n,), default inf
        Degrees of freedom of the one variance estimated, or of each value's own. [1]
    family : str, default "tukey"
        `tukey`: all pairs, or with a baseline those of all pairs that hold it; `dunnett`: each against the
        baseline; both simultaneous under the joint correlation. `holm`: step by step, with the interval at
        the level of the pair's own step; `none`: each pair alone. [text]
    baseline : hashable, optional
        Label divided by. `dunnett` needs it; with the others it restricts the pairs to those with the
        baseline, which with `tukey` stay a part of all. [text]
    coverage : float, default COVERAGE
        Coverage probability, joint for the family. [1]
    seed : int, default 0
        Seed of the draws. [1]
    variance_groups : sequence of (array_like, float), optional
        Parts of the covariance that rest on one estimated variance, with its dof; in place of `dof`. [1]

    Returns
    -------
    DataFrame
        a, b, ratio (a over b), low, high, p, resolved: one row a pair. [1]

    Raises
    ------
    ValueError
        If an argument does not fit, or a pair has no usable covariance; the pair is named.

    Notes
    -----
    The stated error rate holds for the pairs asked about here. Picking a few pairs after seeing the values
    and asking only about those again undoes it. A Holm interval agrees with its decision; its joint
    coverage is not claimed.

    References
    ----------
    .. [1] J. C. Hsu, *Multiple Comparisons: Theory and Methods*, Chapman and Hall, 1996.
    .. [2] S. Holm, "A simple sequentially rejective multiple test procedure", Scand. J. Statist. 6 (1979)
       65-70.
    """
    estimates = read_estimates(values, covariance, names=names, dof=dof, variance_groups=variance_groups)
    return compare_pairs(estimates, family, baseline, coverage, seed)


def compare_pairs(
    estimates: Estimates, family: str, baseline: Hashable | None, coverage: float, seed: int
) -> pd.DataFrame:
    """Return the table of `pairwise` from estimates that are read.

    Parameters
    ----------
    estimates : Estimates
        Values and joint covariance. [1]
    family, baseline, coverage, seed
        As in `pairwise`. [1]

    Returns
    -------
    DataFrame
        As of `pairwise`. [1]
    """
    demand(0.0 < coverage < 1.0, "coverage must be between 0 and 1", coverage)
    first, second = pairs_of(estimates.names, family, baseline)
    compared = Contrasts(estimates, first, second)
    statistic = np.abs(compared.difference) / compared.standard_uncertainty
    if family in ("tukey", "dunnett"):
        count = math.comb(len(estimates.names), 2) if family == "tukey" else first.size
        largest = largest_t(estimates, compared, coverage=coverage, seed=seed, comparisons=count)
        p, critical = largest.exceedance(statistic), largest.critical
    else:
        critical = single_critical(estimates, compared, coverage=coverage)
        narrower = critical / stats.t.isf((1.0 - coverage) / 2.0, compared.dof)
        p = 2.0 * stats.t.sf(statistic / narrower, compared.dof)
        if family == "holm":
            order = np.argsort(np.argsort(p, kind="stable"), kind="stable")
            rejected, p, *_ = multipletests(p, alpha=1.0 - coverage, method="holm")
            step = np.minimum(order, min(int(np.sum(rejected)), p.size - 1))
            critical = narrower * stats.t.isf((1.0 - coverage) / (p.size - step) / 2.0, compared.dof)
    half_width = critical * compared.standard_uncertainty
    columns = {
        "a": pd.Series([estimates.names[i] for i in first]),
        "b": pd.Series([estimates.names[i] for i in second]),
        "ratio": np.exp(compared.difference),
        "low": np.exp(compared.difference - half_width),
        "high": np.exp(compared.difference + half_width),
        "p": p,
        "resolved": statistic > critical,
    }
    table = pd.DataFrame(columns)
    if baseline is None:
        return table
    return table.take(np.flatnonzero(second == estimates.names.index(baseline))).reset_index(drop=True)


def pairs_of(names: tuple[Hashable, ...], family: str, baseline: Hashable | None) -> tuple[Indices, Indices]:
    """Return the pairs that a family compares.

    Parameters
    ----------
    names : tuple of hashable, length n
        Labels. [text]
    family, baseline
        As in `pairwise`. [text]

    Returns
    -------
    first, second : ndarray of int, shape (m,)
        Positions, the baseline second; of a large family with a baseline only the pairs that hold it. [1]

    Raises
    ------
    ValueError
        As in `pairwise`.
    """
    demand(family in FAMILIES, f"family must be one of {', '.join(FAMILIES)}", repr(family))
    given = baseline is not None
    demand(given or family != "dunnett", "baseline must be given for family 'dunnett'", None)
    demand(not given or baseline in names, "baseline must be one of the names", repr(baseline))
    position = -1 if baseline is None else names.index(baseline)
    if baseline is None or (family == "tukey" and math.comb(len(names), 2) <= DRAWN_LIMIT):
        first, second = np.triu_indices(len(names), 1)
        return np.where(first == position, second, first), np.where(first == position, first, second)
    first = np.delete(np.arange(len(names)), position)
    return first, np.full(first.size, position)


def equivalence(
    a: ArrayLike,
    b: ArrayLike,
    *,
    margin: float,
    paired: bool = False,
    equal_variances: bool = False,
    ratio: bool = False,
    alpha: float = 0.05,
) -> Equivalence:
    r"""Return whether two sets of readings agree to within a margin, by two one-sided tests.

    Parameters
    ----------
    a, b : array_like, shape (n,), (m,)
        Readings. [any]
    margin : float
        Largest difference that counts as alike, in the unit of the readings; with `ratio` a fraction: 0.10
        for limits of :math:`\pm\ln 1.10`. [any, or 1]
    paired : bool, default False
        Whether a[i] and b[i] belong together. [bool]
    equal_variances : bool, default False
        One pooled variance in place of two (Welch). [bool]
    ratio : bool, default False
        Work on logarithms. [bool]
    alpha : float, default 0.05
        Level of each one-sided test; the interval has 1 - 2 alpha. [1]

    Returns
    -------
    Equivalence
        Difference, its uncertainty, dof, p, interval, and whether the interval lies within the margin. [any]

    Raises
    ------
    ValueError
        If a reading is not finite (or not positive, with `ratio`), a set is too short or without scatter,
        or the margin is not positive.

    References
    ----------
    .. [1] D. J. Schuirmann, "A comparison of the two one-sided tests procedure and the power approach for
       assessing the equivalence of average bioavailability", J. Pharmacokinet. Biopharm. 15 (1987) 657-680.
    """
    first, second = _readings("a", a, ratio), _readings("b", b, ratio)
    demand(0.0 < alpha < 0.5, "alpha must be between 0 and 0.5", alpha)
    wanted = "a fraction between 0 and 1 (0.10 for 10 %)" if ratio else "more than 0"
    demand(0.0 < margin < (1.0 if ratio else np.inf), f"margin must be {wanted}", margin)
    sizes = f"{first.size} and {second.size}"
    demand(not paired or first.size == second.size, "a and b must be of one length when paired", sizes)
    scatter = np.ptp(first - second) if paired else max(np.ptp(first), np.ptp(second))
    wanted = "a and b must scatter, or nothing is known of their uncertainty"
    demand(scatter > 0.0, wanted, "a spread of 0")
    limit = float(np.log1p(margin)) if ratio else float(margin)
    if paired:
        p, (_, _, dof), _ = ttost_paired(first, second, -limit, limit)
        described = DescrStatsW(first - second)
        error, interval = described.std_mean, described.tconfint_mean(alpha=2.0 * alpha)
    else:
        usevar = "pooled" if equal_variances else "unequal"
        p, (_, _, dof), _ = ttost_ind(first, second, -limit, limit, usevar=usevar)
        compared = CompareMeans(DescrStatsW(first), DescrStatsW(second))
        error = compared.std_meandiff_pooledvar if equal_variances else compared.std_meandiff_separatevar
        interval = compared.tconfint_diff(alpha=2.0 * alpha, usevar=usevar)
    low, high = float(interval[0]), float(interval[1])
    difference, inside = float(first.mean() - second.mean()), -limit < low and high < limit
    return Equivalence(difference, float(error), float(dof), float(p), (low, high), equivalent=inside)


def _readings(name: str, readings: ArrayLike, ratio: bool) -> Floats:
    result = np.asarray(readings, dtype=float)
    listed = result.ndim == 1 and result.size >= 2
    demand(listed, f"{name} must be a list of at least two readings", f"shape {result.shape}")
    (positive if ratio else finite)(name, result, missing=False)
    return np.log(result) if ratio else result
