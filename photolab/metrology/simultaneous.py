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

Up to `DRAWN_LIMIT` comparisons the distribution of the largest follows from directions of the errors and levels of the
chi-squares that fill their space evenly (a scrambled Sobol sequence [1]_): along a direction the largest is the length
of the errors times a known size, and that length has a chi distribution, so that only directions are drawn. Beyond, and
where the values have no joint density, it is the bound of Bonferroni: 3 to 8 % wide with hundreds of lamps.

Where one rectangular input carries much of a difference, its interval is narrower than Student's t says
(`quantity.flat_factor`). The family's is that interval widened by the ratio of the two critical values: a family of
one is the single interval, no other is narrower, and since a rectangle has the shorter tails it is at most too wide.

References
----------
.. [1] A. Genz, F. Bretz, *Computation of Multivariate Normal and t Probabilities*, Springer, 2009.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import qmc

from photolab.metrology.arguments import Floats
from photolab.metrology.estimates import Contrasts, Estimates

DIRECTIONS = 8_192  # a power of two, as a Sobol sequence wants it
FEW_VALUES = 16  # lamps of a family; with more there are four times as many directions
LEVELS = 1_024  # of a chi-square, and of the distribution of sizes, equally likely
ELEMENTS_AT_ONCE = 60_000  # what a processor keeps at hand
DRAWN_LIMIT = 1_000
FIDUCIAL_PART = 2.0 / 3.0


class LargestT(NamedTuple):
    """The distribution of max |t| over a family of comparisons.

    Attributes
    ----------
    critical : ndarray, shape (m,)
        Simultaneous critical value of each comparison. [1]
    exceedance : callable
        From the m statistics |t|: the probability that any comparison of the family goes as far as each. [1]
    """

    critical: Floats
    exceedance: Callable[[Floats], Floats]


def single_critical(estimates: Estimates, family: Contrasts, *, coverage: float) -> Floats:
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
        return -np.asarray(special.stdtrit(family.dof, (1.0 - coverage) / 2.0))
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
    alone = -np.asarray(special.stdtrit(family.dof, tail / 2.0))
    found = _of_normal_values(estimates, family, tail, count, seed)
    narrower = single_critical(estimates, family, coverage=coverage) / alone

    def exceedance(t: Floats) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):  # a difference known exactly
            return found.exceedance(np.asarray(t, dtype=float) / narrower)

    return LargestT(np.maximum(found.critical, alone) * narrower, exceedance)


def widening(
    estimates: Estimates, family: Contrasts, *, coverage: float, seed: int, comparisons: int | None = None
) -> Floats:
    """Return by how much the interval of each comparison is wider as one of its family than alone.

    Parameters
    ----------
    estimates, family, coverage, seed, comparisons
        As of `largest_t`.

    Returns
    -------
    ndarray, shape (m,)
        Its critical value over that of `single_critical`, to the sixth decimal: directions tell it to some 1e-3, and
        the last bits differ between processors. [1]
    """
    tail, count = 1.0 - coverage, comparisons or family.first.size
    found = _of_normal_values(estimates, family, tail, count, seed)
    wider = np.maximum(found.critical / -special.stdtrit(family.dof, tail / 2.0), 1.0)
    return np.asarray(np.round(wider, 6))


def _of_normal_values(
    estimates: Estimates, family: Contrasts, tail: float, count: int, seed: int
) -> LargestT:
    """Return the distribution as if every input were normal."""
    if 1 < count <= DRAWN_LIMIT:
        balance = -special.stdtrit(family.dof, -np.expm1(np.log1p(-tail) / count) / 2.0)
        try:
            root = _root(estimates.covariance)
        except np.linalg.LinAlgError:  # values that hang together have no root: Bonferroni's bound, as beyond
            pass
        else:
            sizes = _sizes(root, family, balance, seed)
            return _from_sizes(family, balance, tail, sizes, root.shape[1] / 2.0)
    critical = -special.stdtrit(family.dof, tail / count / 2.0)
    return LargestT(
        critical, lambda t: np.asarray(np.minimum(count * 2.0 * special.stdtr(family.dof, -t), 1.0))
    )


def _root(covariance: Floats) -> Floats:
    """Return the root of the covariance of what values do not all share, a row a value.

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
    root: Floats = np.zeros_like(relative)
    root[1:, 1:] = np.linalg.cholesky(relative[1:, 1:])
    return root[np.argsort(order), 1:]


def _from_sizes(family: Contrasts, balance: Floats, tail: float, sizes: Floats, half: float) -> LargestT:
    """Return quantile and p values of the largest balanced statistic; `half` is half the dimension of the errors."""

    def exceedance(t: Floats) -> Floats:
        beyond = special.gammaincc(half, ((t / balance)[:, None] / sizes) ** 2 / 2.0).mean(axis=-1)
        bound = family.first.size * 2.0 * special.stdtr(family.dof, -t)
        return np.asarray(np.minimum(beyond, np.minimum(bound, 1.0)))

    length = np.sqrt(special.chdtri(2.0 * half, tail))
    low, high = np.log(length * sizes[[0, -1]])
    at = np.log(length * sizes.mean())
    for nodes in (sizes.reshape(64, -1).mean(axis=1), sizes):  # few first: they cost little
        for _ in range(50):  # Newton on logarithms, which is almost straight
            square = (np.exp(at) / nodes) ** 2 / 2.0
            left = special.gammaincc(half, square).mean()
            fall = 2.0 * np.exp(half * np.log(square) - square - special.gammaln(half)).mean()
            before, at = at, np.clip(at + np.log(left / tail) * left / fall, low, high)
            if abs(at - before) < 1e-5:  # the next step would be its square
                break
    return LargestT(balance * np.exp(at), exceedance)


def _sizes(root: Floats, family: Contrasts, balance: Floats, seed: int) -> Floats:
    """Return nodes of the largest balanced statistic over the length of the errors, ascending."""
    scale = 1.0 / (family.standard_uncertainty * balance)
    apart = ((root[family.first] - root[family.second]) * scale[:, None]).astype(np.float32)
    alike = bool(np.all(np.ptp(family.shares, axis=1) < 1e-9))
    shares = family.shares[:, : 1 if alike else None].astype(np.float32)
    return _nodes(apart.tobytes(), shares.tobytes(), len(apart), tuple(family.group_dof.tolist()), seed)


@lru_cache(maxsize=64)  # a bench that is read again, or in part, has most of its families still
def _nodes(apart: bytes, shares: bytes, count: int, dofs: tuple[float, ...], seed: int) -> Floats:
    """Return `_sizes` of pairs by their errors and by what rests on each estimate of variance, both as bytes."""
    errors = np.frombuffer(apart, dtype=np.float32).reshape(count, -1)
    directions, places = _points(seed, errors.shape[1], len(dofs))
    levels = [_chi_squares(nu) for nu in dofs]
    parts = np.frombuffer(shares, dtype=np.float32).reshape(len(dofs), -1) if dofs else None
    largest = np.empty(directions.shape[1])
    chunk = max(1, ELEMENTS_AT_ONCE // count)
    for start in range(0, largest.size, chunk):
        here = slice(start, start + chunk)
        squares = (errors @ directions[:, here]) ** 2
        cubes = squares * squares * squares
        if parts is not None:
            cubes *= _mix_cubed(parts, np.array([x[at[here]] for x, at in zip(levels, places, strict=True)]))
        largest[here] = cubes.max(axis=0)
    logarithms = np.log(np.sort(largest)).reshape(LEVELS, -1) / 6.0
    return np.asarray(np.exp(logarithms.mean(axis=1)))


@lru_cache(maxsize=12)  # families of as many lamps and groups have the same
def _points(seed: int, values: int, groups: int) -> tuple[NDArray[np.float32], NDArray[np.uint16]]:
    """Return directions of errors, shape (values, n), and places of levels of the chi-squares, shape (groups, n)."""
    count = DIRECTIONS if values < FEW_VALUES else 4 * DIRECTIONS
    sobol = qmc.Sobol(values + groups, seed=np.random.default_rng(seed))
    even = sobol.random(count).T + 0.5 * 2.0**-sobol.bits  # never 0
    errors = special.ndtri(even[:values])
    directions = errors / np.linalg.norm(errors, axis=0)
    return directions.astype(np.float32), (even[values:] * LEVELS).astype(np.uint16)


@lru_cache(maxsize=64)
def _chi_squares(dof: float) -> NDArray[np.float32]:
    """Return levels of a chi-square over its degrees of freedom, none so small that a cube of its inverse is none."""
    levels = special.chdtri(dof, (np.arange(LEVELS) + 0.5) / LEVELS) / dof
    return np.asarray(np.maximum(levels, 1e-12), dtype=np.float32)


def _mix_cubed(shares: NDArray[np.float32], chi: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the cube of true over estimated variance of each comparison, shape (m or 1, n).

    Both ratios have whole powers in it: to draw the truth counts twice, to hold it once (`FIDUCIAL_PART`).
    """
    known = np.maximum(1.0 - shares.sum(axis=0), 0.0)[:, None]
    truth_drawn = shares.T @ (1.0 / chi) + known
    return np.asarray(truth_drawn * truth_drawn / (shares.T @ chi + known))
