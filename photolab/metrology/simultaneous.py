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

Up to `DRAWN_LIMIT` comparisons the distribution of the largest is that of `DRAWS` seeded draws in chunks, which equals
the studentised range where that one holds. Beyond, and where the values have no joint density, it is the bound of
Bonferroni: 3 to 8 % wide with hundreds of lamps.

Where one rectangular input carries much of a difference, its interval is narrower than Student's t says
(`quantity.flat_factor`). The family's is that interval widened by the ratio of the two critical values: a family of
one is the single interval, no other is narrower, and since a rectangle has the shorter tails it is at most too wide.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from photolab.metrology.estimates import Array, Contrasts, Estimates

DRAWS = 200_000
ELEMENTS_AT_ONCE = 200_000
REUSE = 16  # normal draws for each draw of the chi-squares
DRAWN_LIMIT = 1_000
KEPT_VALUES = 16  # lamps of a family whose draws are kept: 13 MB
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


def single_critical(estimates: Estimates, family: Contrasts, *, coverage: float) -> Array:
    """Return the critical |t| of each comparison alone: the half-width of its interval over its uncertainty.

    Parameters
    ----------
    estimates : Estimates
        Values and joint covariance. [1]
    family : Contrasts
        Differences compared. [1]
    coverage : float
        Coverage probability of each. [1]

    Returns
    -------
    ndarray, shape (m,)
        Of a joint result that of `Measured.interval`; Student's t where only a covariance is known. [1]
    """
    if estimates.joint is None:
        return np.asarray(stats.t.isf((1.0 - coverage) / 2.0, family.dof))
    pairs = ([estimates.names[i] for i in side] for side in (family.first, family.second))
    half_width = estimates.joint.differences(*pairs, coverage=coverage)[2][:, 0]
    return half_width / family.standard_uncertainty


def largest_t(
    estimates: Estimates, family: Contrasts, *, coverage: float, seed: int, comparisons: int | None = None
) -> LargestT:
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
    comparisons : int, optional
        How many the whole family has, where `family` lists a part of a large one. [1]

    Returns
    -------
    LargestT
        Critical values and the adjusted p values' function. [1]
    """
    tail, count = 1.0 - coverage, comparisons or family.first.size
    alone = np.asarray(stats.t.isf(tail / 2.0, family.dof))
    found = _of_normal_values(estimates, family, tail, count, seed)
    narrower = single_critical(estimates, family, coverage=coverage) / alone

    def exceedance(t: Array) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):  # a difference known exactly
            return found.exceedance(np.asarray(t, dtype=float) / narrower)

    return LargestT(np.maximum(found.critical, alone) * narrower, exceedance)


def _of_normal_values(
    estimates: Estimates, family: Contrasts, tail: float, count: int, seed: int
) -> LargestT:
    """Return the distribution as if every input were normal."""
    if 1 < count <= DRAWN_LIMIT:
        balance = stats.t.isf(-np.expm1(np.log1p(-tail) / count) / 2.0, family.dof)
        try:
            root, ordered = _root(estimates.covariance, family)
        except np.linalg.LinAlgError:
            pass
        else:
            draws = _draws(root, ordered, balance, seed)
            return _from_draws(family, balance, tail, np.sort(draws).astype(float))
    critical = stats.t.isf(tail / count / 2.0, family.dof)
    return LargestT(critical, lambda t: np.asarray(np.minimum(count * 2.0 * stats.t.sf(t, family.dof), 1.0)))


def _root(covariance: Array, family: Contrasts) -> tuple[Array, Contrasts]:
    """Return the root of the covariance of what values do not all share, and the family in that order.

    Values are taken relative to one of them, sorted by how well they are known: neither a term common to
    all nor the order of the rows reaches the draws.
    """
    centred = covariance - covariance.mean(axis=0)
    spread = np.diag(centred - centred.mean(axis=1)[:, None])
    with np.errstate(invalid="ignore"):  # nothing that is not shared
        order = np.argsort(np.round(spread / spread.max(), 6), kind="stable")
    matrix = covariance[np.ix_(order, order)]
    relative = matrix - matrix[0] - matrix[:, :1] + matrix[0, 0]
    relative = 0.5 * (relative + relative.T)
    root = np.zeros_like(relative)
    root[1:, 1:] = np.linalg.cholesky(relative[1:, 1:])
    place = np.argsort(order)
    return root[:, 1:], replace(family, first=place[family.first], second=place[family.second])


def _from_draws(family: Contrasts, balance: Array, tail: float, largest: Array) -> LargestT:
    """Return quantile and p values from draws of the largest balanced statistic, ascending."""
    reached = int(np.ceil((1.0 - tail) * largest.size - 1e-9))

    def exceedance(t: Array) -> Array:
        above = largest.size - np.searchsorted(largest, np.asarray(t, dtype=float) / balance, side="left")
        bound = family.first.size * 2.0 * stats.t.sf(t, family.dof)
        few = above < 100  # too few draws that far out: the Bonferroni bound is the better figure
        return np.asarray(np.minimum(np.where(few, bound, above / largest.size), np.minimum(bound, 1.0)))

    return LargestT(balance * largest[min(reached, largest.size - 1)], exceedance)


def _draws(root: Array, family: Contrasts, balance: Array, seed: int) -> NDArray[np.float32]:
    """Return draws of the largest balanced statistic, made in chunks that stay in the cache."""
    scale = 1.0 / (family.standard_uncertainty * balance)
    apart = ((root[family.first] - root[family.second]) * scale[:, None]).astype(np.float32)
    chunk = REUSE * max(1, ELEMENTS_AT_ONCE // family.first.size // REUSE)
    small = root.shape[1] <= KEPT_VALUES
    stream = (_kept_stream if small else _stream)(seed, family.group_dof.size, root.shape[1], chunk)
    wider = _widths(family, stream.spread) if family.group_dof.size else None
    alike = wider is None or len(wider) == 1
    largest = np.empty(DRAWS, dtype=np.float32)
    start = 0
    for normal in stream.normals:
        statistics = apart @ normal
        size = statistics.shape[1]
        if wider is not None and not alike:
            each = wider[:, None, start // REUSE : (start + size) // REUSE]
            statistics.reshape(len(statistics), REUSE, -1)[...] *= each
        here = largest[start : start + size]
        np.maximum(statistics.max(axis=0), -statistics.min(axis=0), out=here)
        if wider is not None and alike:
            here.reshape(REUSE, -1)[...] *= wider[:, start // REUSE : (start + size) // REUSE]
        start += size
    return largest


@dataclass(frozen=True, eq=False)
class _Stream:
    """What is drawn of a seed, whatever the family: how chi-squares are spread, and normal values in chunks."""

    spread: tuple[tuple[Array, NDArray[np.intp]], ...]
    normals: Iterable[NDArray[np.float32]]


def _stream(seed: int, groups: int, values: int, chunk: int) -> _Stream:
    """Return the draws of a seed: for each group levels and their order, then normal values as they are asked for."""
    rng = np.random.default_rng(seed)
    strata = max(500, 5_000 // max(groups, 1))
    spread = []
    for _ in range(groups):
        level = (np.arange(strata) + rng.random(strata)) / strata
        spread.append((level, rng.permutation(np.resize(rng.permutation(strata), DRAWS // REUSE))))
    sizes = (min(chunk, DRAWS - start) for start in range(0, DRAWS, chunk))
    return _Stream(tuple(spread), (rng.standard_normal((values, size), dtype=np.float32) for size in sizes))


@lru_cache(maxsize=12)  # families of as many lamps and groups have the same draws
def _kept_stream(seed: int, groups: int, values: int, chunk: int) -> _Stream:
    """Return the same, kept."""
    stream = _stream(seed, groups, values, chunk)
    return replace(stream, normals=tuple(stream.normals))


def _widths(family: Contrasts, spread: tuple[tuple[Array, NDArray[np.intp]], ...]) -> NDArray[np.float32]:
    """Return true over estimated standard uncertainty of each comparison, shape (m or 1, draws)."""
    known = zip(family.group_dof.tolist(), spread, strict=True)
    chi = np.array([(special.chdtri(nu, level) / nu)[order] for nu, (level, order) in known])
    return np.asarray(1.0 / np.sqrt(_mix(family, chi)), dtype=np.float32)


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
