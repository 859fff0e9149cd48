r"""The largest of many t statistics: what a family of comparisons has to be judged against.

Each comparison is the difference of two values of one joint result. Its statistic is the difference over
its standard uncertainty, and the variances behind that uncertainty may be estimated: one chi-square a
variance group,

.. math:: t_c = z_c \Big/ \sqrt{\textstyle\sum_g f_{gc}\, \chi^2_g / \nu_g}, \qquad z \sim N(0, R),

with R the joint correlation of the comparisons and f the share of group g in the variance of comparison c
(what is known exactly counts as a group whose chi-square is 1). Where comparisons have unlike dof, each
statistic is divided by its own t quantile first, so that none is favoured.

Where groups meet, their estimated shares are in doubt themselves. To take them as the true ones is too
bold (5.3 % family-wise error at 20 dof, 9 % at 4); to hold the estimates fixed and draw the truth, the
fiducial way, is too careful (4.7 and 4.0 %). The geometric mean of the two variance ratios, with a weight
`FIDUCIAL_PART` on the second that was found by simulation, gives 4.8 to 5.2 % from 9 dof up and 5.7 % at 4
(`tests/benchmarks/family_error.py`); with a single group the three are one.

Three ways to the distribution of the largest, each used where it is the right one:

- all pairs, equal variances of the differences, one group: the studentised range of scipy, averaged over
  the chi-square here because scipy's own average takes 0.3 s for 45 p values;
- up to `PLAIN_LIMIT` comparisons: `DRAWS` seeded draws in chunks; - beyond: draws on condition that a
comparison, chosen at random, exceeds a starting level, weighted by how many do [1]_. The
  6144 of them know a probability of 5 % to 0.06 points (u known) or 0.10 (20 dof), the plain draws to 0.05;
  44 850 pairs stay within seconds where plain draws would take minutes.

References
----------
.. [1] D. Q. Naiman, C. E. Priebe, "Computing scan statistic p values using importance sampling, with
   applications to genetics and medical image analysis", J. Comput. Graph. Stat. 10 (2001) 296-328.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import interpolate, optimize, special, stats

from photolab.metrology.estimates import Array, Contrasts, Estimates, Indices

DRAWS = 200_000
ELEMENTS_AT_ONCE = 200_000
REUSE = 16  # normal draws for each draw of the chi-squares
PLAIN_LIMIT = 1_000
STRATA, PILOT_STRATA, DRAWS_IN_STRATUM = 256, 64, 24
FIDUCIAL_PART = 2.0 / 3.0


@dataclass(frozen=True, eq=False)
class LargestT:
    """The distribution of max |t| over a family of comparisons.

    Attributes
    ----------
    critical : ndarray, shape (m,)
        Simultaneous critical value of each comparison. [1]
    exceedance : callable
        From the m statistics |t|: the probability that any comparison of the family goes as far as each. [1]
    """

    critical: Array
    exceedance: Callable[[Array], Array]


def largest_t(estimates: Estimates, family: Contrasts, *, coverage: float, seed: int) -> LargestT:
    """Return the distribution of the largest |t| of a family under the joint correlation.

    Parameters
    ----------
    estimates : Estimates
        Values and joint covariance. [1]
    family : Contrasts
        Differences compared. [1]
    coverage : float
        Simultaneous coverage probability. [1]
    seed : int
        Seed of the draws. [1]

    Returns
    -------
    LargestT
        Critical values and the adjusted p values' function. [1]
    """
    tail = 1.0 - coverage
    count = family.first.size
    if count == 1:
        critical = stats.t.isf(tail / 2.0, family.dof)
        return LargestT(critical, lambda t: np.asarray(2.0 * stats.t.sf(t, family.dof)))
    if _spherical(estimates, family):
        return _studentised_range(len(estimates.names), family, tail)
    balance = stats.t.isf(-np.expm1(np.log1p(-tail) / count) / 2.0, family.dof)
    relative, root, family = _relative(estimates.covariance, family)
    rng = np.random.default_rng(seed)
    if count <= PLAIN_LIMIT:
        pilot = np.sort(_plain_draws(root, family, balance, rng)).astype(float)
        level, largest, reach = 0.0, pilot, np.arange(DRAWS, -1, -1) / DRAWS
    else:
        pilot = _pilot(root, family, balance, rng)
        level = float(np.quantile(pilot, 1.0 - min(2.5 * tail, 0.5 * (1.0 + tail))))
        largest, weights = _conditional_draws(relative, root, family, balance, level, rng)
        reach = np.append(np.cumsum(weights[::-1])[::-1], 0.0)
    return _from_draws(family, balance, tail, (largest, reach), (level, pilot))


def _relative(covariance: Array, family: Contrasts) -> tuple[Array, Array, Contrasts]:
    """Return the covariance of what values do not all share, its root, and the family in that order.

    Values are taken relative to one of them, sorted by how well they are known: neither a term common to
    all nor the order of the rows reaches the draws.
    """
    centred = covariance - covariance.mean(axis=0)
    spread = np.diag(centred - centred.mean(axis=1)[:, None])
    order = np.argsort(np.round(spread / spread.max(), 9), kind="stable")
    matrix = covariance[np.ix_(order, order)]
    relative = matrix - matrix[0] - matrix[:, :1] + matrix[0, 0]
    relative = 0.5 * (relative + relative.T)
    root = np.zeros_like(relative)
    root[1:, 1:] = np.linalg.cholesky(relative[1:, 1:])
    place = np.argsort(order)
    return relative, root[:, 1:], replace(family, first=place[family.first], second=place[family.second])


def _spherical(estimates: Estimates, family: Contrasts) -> bool:
    size = len(estimates.names)
    if family.first.size != size * (size - 1) // 2:
        return False
    variance = family.standard_uncertainty**2
    equal = float(np.ptp(variance)) <= 1e-9 * float(variance.mean())
    whole = family.group_dof.size == 0 or (
        family.group_dof.size == 1 and bool(np.all(family.shares > 1.0 - 1e-9))
    )
    return equal and whole


@lru_cache(maxsize=16)
def _range_survival(size: int) -> Any:
    grid = np.linspace(0.0, 16.0, 257)
    return interpolate.CubicSpline(grid, stats.studentized_range.sf(grid, size, np.inf))


def _studentised_range(size: int, family: Contrasts, tail: float) -> LargestT:
    survival = _range_survival(size)
    scales, weights = np.ones(1), np.ones(1)
    if family.group_dof.size:
        nu = float(family.group_dof[0])
        nodes, weights = np.polynomial.legendre.leggauss(96)
        ends = np.sqrt(stats.chi2.ppf([1e-13, 1.0 - 1e-13], nu) / nu)
        scales = ends[0] + np.ptp(ends) * (nodes + 1.0) / 2.0
        weights = weights * stats.chi2.pdf(nu * scales**2, nu) * scales
        weights = weights / weights.sum()

    def exceedance(t: Array) -> Array:
        q = np.minimum(np.sqrt(2.0) * np.multiply.outer(np.asarray(t, dtype=float), scales), 16.0)
        single = family.first.size * 2.0 * stats.t.sf(t, family.dof)
        return np.asarray(np.clip(survival(q) @ weights, 0.0, np.minimum(single, 1.0)))

    critical = optimize.brentq(
        lambda t: float(survival(np.minimum(np.sqrt(2.0) * t * scales, 16.0)) @ weights) - tail, 0.0, 1e4
    )
    return LargestT(np.full(family.first.size, critical), exceedance)


def _from_draws(
    family: Contrasts, balance: Array, tail: float, draws: tuple[Array, Array], start: tuple[float, Array]
) -> LargestT:
    """Return quantile and p values from draws above a level, how likely each is reached, and pilot draws."""
    largest, above = draws
    level, pilot = start
    reached = int(np.searchsorted(-above, -tail, side="left"))
    critical = balance * largest[min(reached, largest.size - 1)]

    def exceedance(t: Array) -> Array:
        w = np.asarray(t, dtype=float) / balance
        position = np.searchsorted(largest, w, side="left")
        p = above[position]
        below = 1.0 - np.searchsorted(pilot, w, side="left") / pilot.size
        p = np.where(w < level, np.maximum(below, above[0]), p)
        bound = family.first.size * 2.0 * stats.t.sf(t, family.dof)
        few = (
            largest.size - position < 100
        )  # too few draws that far out: the Bonferroni bound is the better figure
        return np.asarray(np.minimum(np.where(few, bound, p), np.minimum(bound, 1.0)))

    return LargestT(critical, exceedance)


def _plain_draws(
    root: Array, family: Contrasts, balance: Array, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Return draws of the largest balanced statistic, made in chunks that stay in the cache."""
    scale = (1.0 / (family.standard_uncertainty * balance)).astype(np.float32)[:, None]
    single = root.astype(np.float32)
    chunk = REUSE * max(1, ELEMENTS_AT_ONCE // family.first.size // REUSE)
    largest = np.empty(DRAWS, dtype=np.float32)
    chi = _chi_squares(family.group_dof, DRAWS // REUSE, rng)
    for start in range(0, DRAWS, chunk):
        size = min(chunk, DRAWS - start)
        values = single @ rng.standard_normal((single.shape[1], size), dtype=np.float32)
        statistics = values.take(family.first, axis=0)
        statistics -= values.take(family.second, axis=0)
        statistics *= scale
        np.abs(statistics, out=statistics)
        if family.group_dof.size:
            ratio = _mix(family, chi[:, start // REUSE : (start + size) // REUSE])
            statistics *= np.tile(1.0 / np.sqrt(ratio), REUSE)
        largest[start : start + size] = statistics.max(axis=0)
    return largest


def _chi_squares(dof: Array, draws: int, rng: np.random.Generator) -> Array:
    """Return chi-squares over their dof, shape (groups, draws), each group spread evenly."""
    strata = max(500, 5_000 // max(dof.size, 1))
    result = np.empty((dof.size, draws))
    for group, nu in enumerate(dof):
        level = (np.arange(strata) + rng.random(strata)) / strata
        spread = np.resize(rng.permutation(special.chdtri(nu, level) / nu), draws)
        result[group] = rng.permutation(spread)
    return result


def _mix(family: Contrasts, chi: Array) -> NDArray[np.float32]:
    """Return estimated over true variance of each comparison, shape (m or 1, draws)."""
    shares = family.shares
    if np.all(np.ptp(shares, axis=1) < 1e-9):
        shares = shares[:, :1]
    known = np.maximum(1.0 - shares.sum(axis=0), 0.0)[:, None]
    truth_held = np.log((shares.T @ chi + known).astype(np.float32))
    estimate_held = -np.log((shares.T @ (1.0 / chi) + known).astype(np.float32))
    mixed = (1.0 - FIDUCIAL_PART) * truth_held + FIDUCIAL_PART * estimate_held
    return np.asarray(np.exp(mixed), dtype=np.float32)


def _stratified_ratios(
    family: Contrasts, strata: int, rng: np.random.Generator, *, low_tail: bool = False
) -> tuple[Array, Array]:
    """Return estimated over true variances, shape (m or 1, strata), at even points, and their weights.

    With `low_tail` small estimates, which make large statistics, come more often and weigh less.
    """
    count = family.group_dof.size
    if count == 0:
        return np.ones((1, strata)), np.ones(strata)
    power = 1.0 + low_tail / count
    points = np.clip(stats.qmc.Sobol(count, seed=rng).random(strata), 1e-9, 1.0 - 1e-9)
    weights = np.prod(power * points ** (power - 1.0), axis=1)
    chi = special.chdtri(family.group_dof, 1.0 - points**power) / family.group_dof
    return _mix(family, chi.T).astype(float), weights / weights.mean()


def _pilot(root: Array, family: Contrasts, balance: Array, rng: np.random.Generator) -> Array:
    """Return some plain draws of the largest balanced statistic, ascending, to choose a level from."""
    ratio, _ = _stratified_ratios(family, PILOT_STRATA, rng)
    largest = np.empty((PILOT_STRATA, DRAWS_IN_STRATUM))
    for stratum in range(PILOT_STRATA):
        values = root @ rng.standard_normal((root.shape[1], DRAWS_IN_STRATUM))
        limit = balance * np.sqrt(ratio[:, stratum]) * family.standard_uncertainty
        largest[stratum] = _compare(_centred(values), family, limit)[0]
    return np.sort(largest, axis=None)


def _conditional_draws(
    covariance: Array,
    root: Array,
    family: Contrasts,
    balance: Array,
    level: float,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Largest statistics above a level, ascending, with their probability weights."""
    ratio, share = _stratified_ratios(family, STRATA, rng, low_tail=True)
    largest = np.empty((STRATA, DRAWS_IN_STRATUM))
    weights = np.empty((STRATA, DRAWS_IN_STRATUM))
    for stratum in range(STRATA):
        limit = level * balance * np.sqrt(ratio[:, stratum])
        single = 2.0 * special.ndtr(-limit)
        cumulative = np.cumsum(single)
        chosen = np.searchsorted(cumulative, rng.random(DRAWS_IN_STRATUM) * cumulative[-1])
        chosen = np.minimum(chosen, limit.size - 1)
        values = _given_one_exceeds(covariance, root, family, chosen, (limit, single), rng)
        reach, exceeding = _compare(values, family, limit * family.standard_uncertainty)
        largest[stratum] = level * np.maximum(reach, 1.0)
        weights[stratum] = share[stratum] * cumulative[-1] / np.maximum(exceeding, 1)
    order = np.argsort(largest, axis=None)
    return largest.ravel()[order], weights.ravel()[order] / weights.size


def _compare(
    values: NDArray[np.float32], family: Contrasts, limit: Array
) -> tuple[NDArray[np.float32], Indices]:
    """Largest difference over its limit, and the number of differences beyond theirs, in each draw."""
    scale = (1.0 / limit).astype(np.float32)[:, None]
    reach = np.zeros(values.shape[1], dtype=np.float32)
    exceeding = np.zeros(values.shape[1], dtype=np.intp)
    compared_at_once = ELEMENTS_AT_ONCE // values.shape[1]
    for start in range(0, limit.size, compared_at_once):
        part = slice(start, start + compared_at_once)
        statistics = values.take(family.first[part], axis=0)
        statistics -= values.take(family.second[part], axis=0)
        statistics *= scale[part]
        np.abs(statistics, out=statistics)
        highest = statistics.max(axis=0)
        np.maximum(reach, highest, out=reach)
        if highest.max() >= 1.0:
            exceeding += np.count_nonzero(statistics >= 1.0, axis=0)
    return reach, exceeding


def _given_one_exceeds(
    covariance: Array,
    root: NDArray[np.floating[Any]],
    family: Contrasts,
    chosen: Indices,
    limits: tuple[Array, Array],
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """Values, shape (n, draws), given that the chosen comparison of each draw is beyond its limit."""
    limit, single = limits
    free = root @ rng.standard_normal((root.shape[1], chosen.size))
    first, second = family.first[chosen], family.second[chosen]
    uncertainty = family.standard_uncertainty[chosen]
    beyond = -special.ndtri(rng.random(chosen.size) * single[chosen] / 2.0)
    wanted = np.maximum(beyond, limit[chosen]) * uncertainty
    gain = (covariance[:, first] - covariance[:, second]) / uncertainty**2
    column = np.arange(chosen.size)
    moved: Array = free + gain * (wanted - (free[first, column] - free[second, column]))
    return _centred(moved)


def _centred(values: Array) -> NDArray[np.float32]:
    """Return values in single precision, without what all share: differences keep their digits."""
    return np.asarray(values - values.mean(axis=0), dtype=np.float32)
