"""What readings say about an order: rank intervals, probability of being best, shrinkage, record claims."""

import math
from collections.abc import Hashable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import optimize

from photolab.errors import demand
from photolab.metrology.arguments import Floats
from photolab.metrology.comparison import compare_pairs
from photolab.metrology.estimates import Contrasts, Estimates, VariancePart, read_estimates
from photolab.metrology.quantity import COVERAGE
from photolab.metrology.simultaneous import largest_t


class RecordClaim(NamedTuple):
    """Whether a value may be called the highest so far.

    Attributes
    ----------
    candidate : hashable
        The value the claim is about. [text]
    record : hashable
        The highest of the others: the current record. [text]
    ratio, low, high : float
        Candidate over record with its simultaneous interval. [1]
    p : float
        p value against the record, adjusted for all pairs. [1]
    code : str
        `highest`: clear of the record and of every other; `not_separated`: above, but not clear of
        `not_clear_of`; `below`: not above the record. [text]
    not_clear_of : tuple of hashable
        Those the candidate is not clear of. [text]
    comparisons : int
        Number of comparisons adjusted for. [1]
    """

    candidate: Hashable
    record: Hashable
    ratio: float
    low: float
    high: float
    p: float
    code: str
    not_clear_of: tuple[Hashable, ...]
    comparisons: int


def rank_intervals(
    values: Any,
    covariance: ArrayLike | None = None,
    *,
    names: Sequence[Hashable] | None = None,
    dof: ArrayLike = np.inf,
    coverage: float = COVERAGE,
    seed: int = 0,
    variance_groups: Sequence[VariancePart] | None = None,
) -> pd.DataFrame:
    """Return what the readings say about the order: rank from-to, probability of being best, shrunken value.

    Parameters
    ----------
    values, covariance, names, dof, coverage, seed, variance_groups
        As in `pairwise`. [1]

    Returns
    -------
    DataFrame
        name, rank_low, rank_high (1 = highest; simultaneous for all), probability_best, shrunken (in the
        unit of the values). [1]

    Raises
    ------
    ValueError
        As in `pairwise`.

    Notes
    -----
    A rank interval counts the values that all-pairs comparisons put above and below; jointly the intervals
    cover the true ranks at least as often as stated [1]_. The highest of many values is overstated, because
    it was chosen for being highest: the shrunken value says by how much on the assumption that the true
    values scatter normally; it needs some six values before that scatter is known at all. Measuring the
    winner again is the better remedy.

    References
    ----------
    .. [1] D. Al Mohamad, J. J. Goeman, E. W. van Zwet, "Simultaneous confidence intervals for ranks with
       application to ranking institutions", Biometrics 78 (2022) 238-247 (the counting rule).
    """
    demand(0.0 < coverage < 1.0, "coverage must be between 0 and 1", coverage)
    estimates = read_estimates(values, covariance, names=names, dof=dof, variance_groups=variance_groups)
    size = len(estimates.names)
    first, second = np.triu_indices(size, 1)
    compared = Contrasts(estimates, first, second)
    critical = largest_t(estimates, compared, coverage=coverage, seed=seed).critical
    clear = np.abs(compared.difference) > critical * compared.standard_uncertainty
    pairs = np.array([first, second])[:, clear]
    lower, upper = np.where(compared.difference[clear] > 0, pairs[::-1], pairs)
    columns = {
        "name": pd.Series(list(estimates.names)),
        "rank_low": 1 + np.bincount(lower, minlength=size),
        "rank_high": size - np.bincount(upper, minlength=size),
        "probability_best": _probability_best(estimates, np.random.default_rng(seed)),
        "shrunken": shrink(estimates.values, estimates.covariance),
    }
    return pd.DataFrame(columns)


def _probability_best(estimates: Estimates, rng: np.random.Generator, draws: int = 100_000) -> Floats:
    """Return the share of draws, each group's part over the root of its chi-square, that a value wins."""
    size = len(estimates.names)
    known = estimates.covariance - sum((part for part, _ in estimates.groups), np.zeros((size, size)))
    parts = [(_root(known), np.inf)] + [(_root(part), nu) for part, nu in estimates.groups]
    wins = np.zeros(size)
    chunk = max(1_000, min(draws, 4_000_000 // size))
    for start in range(0, draws, chunk):
        count = min(chunk, draws - start)
        drawn = np.repeat(estimates.values[:, None], count, axis=1)
        for root, nu in parts:
            if root.shape[1] == 0:
                continue
            normal = root @ rng.standard_normal((root.shape[1], count))
            drawn += normal if np.isinf(nu) else normal * np.sqrt(nu / rng.chisquare(nu, count))
        wins += np.bincount(drawn.argmax(axis=0), minlength=size)
    return wins / draws


def _root(covariance: Floats) -> Floats:
    eigenvalues, vectors = np.linalg.eigh(covariance)
    kept = eigenvalues > 1e-12 * max(float(eigenvalues[-1]), 1e-300)
    return np.asarray(vectors[:, kept] * np.sqrt(eigenvalues[kept]))


def shrink(values: ArrayLike, covariance: ArrayLike) -> Floats:
    r"""Return values drawn towards their common mean by what part of their scatter is doubt.

    .. math:: \hat\theta = \hat\mu + \tau^2 (V + \tau^2 I)^{-1} (y - \hat\mu)

    with the scatter of true values tau² by restricted maximum likelihood on the differences.

    Parameters
    ----------
    values : array_like, shape (n,)
        Estimates y. [any]
    covariance : array_like, shape (n, n)
        Their joint covariance V. [any²]

    Returns
    -------
    ndarray, shape (n,)
        Shrunken estimates; all equal to the mean where the scatter is no more than the doubt. [any]
    """
    y, v = np.asarray(values, dtype=float), np.asarray(covariance, dtype=float)
    size = y.size
    basis = np.linalg.qr(np.column_stack([np.ones(size), np.eye(size)[:, : size - 1]]))[0][:, 1:]
    doubt, vectors = np.linalg.eigh(basis.T @ v @ basis)
    squares = (vectors.T @ (basis.T @ y)) ** 2

    def objective(log_scatter: float) -> float:
        total = doubt + np.exp(log_scatter)
        return float(np.sum(np.log(total) + squares / total))

    largest = max(float(squares.sum()), float(doubt[-1]))
    grid = np.log(largest) + np.linspace(-25.0, 2.0, 55)
    best = int(np.argmin([objective(point) for point in grid]))
    bounds = (grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)])
    found = float(np.exp(optimize.minimize_scalar(objective, bounds=bounds, method="bounded").x))
    none = float(np.sum(np.log(doubt) + squares / doubt))
    scatter = found if objective(np.log(found)) < none - 1e-12 else 0.0
    weight = np.linalg.solve(v + scatter * np.eye(size), np.column_stack([np.ones(size), y]))
    mean = float(weight[:, 1].sum() / weight[:, 0].sum())
    return np.asarray(mean + scatter * (weight[:, 1] - mean * weight[:, 0]))


def record_claim(
    values: Any,
    covariance: ArrayLike | None = None,
    *,
    candidate: Hashable,
    names: Sequence[Hashable] | None = None,
    dof: ArrayLike = np.inf,
    coverage: float = COVERAGE,
    seed: int = 0,
    variance_groups: Sequence[VariancePart] | None = None,
) -> RecordClaim:
    """Return whether a value may be called the highest so far: against the current record, for all pairs.

    Parameters
    ----------
    values, covariance
        As in `pairwise`: every value measured so far, the candidate among them. [1]
    candidate : hashable
        Label of the value the claim is about. [text]
    names, dof, coverage, seed, variance_groups
        As in `pairwise`. [1]

    Returns
    -------
    RecordClaim
        The comparison with the record and a code. [1]

    Raises
    ------
    ValueError
        If the candidate is not one of the names, or as in `pairwise`.

    Notes
    -----
    A candidate is looked at because it reads highest, out of all: the adjustment is for all pairs, not for
    one. Values left out of the list (lamps measured and not published) make the claim too strong.
    """
    estimates = read_estimates(values, covariance, names=names, dof=dof, variance_groups=variance_groups)
    demand(candidate in estimates.names, "candidate must be one of the names", repr(candidate))
    others = compare_pairs(estimates, "tukey", candidate, coverage, seed)  # each over the candidate
    unclear = tuple(others["a"][~(others["resolved"] & (others["ratio"] < 1.0))])
    record = others.iloc[int(np.argmax(others["ratio"]))]
    code = "below" if record["ratio"] >= 1.0 else "not_separated" if unclear else "highest"
    ratio, low, high = (float(1.0 / record[end]) for end in ("ratio", "high", "low"))
    pairs, p = math.comb(len(estimates.names), 2), float(record["p"])
    return RecordClaim(candidate, record["a"], ratio, low, high, p, code, unclear, pairs)
