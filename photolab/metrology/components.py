"""Nested variance components: how much each level of a bench test scatters, and how well that is known.

A table of readings is grouped by whole path: mounting 1 of specimen a is not mounting 1 of specimen b. Balanced tables are solved in
closed form, others by restricted maximum likelihood on group summaries (`reml`).
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from photolab.errors import MethodError
from photolab.metrology.reml import (
    NestedGroups,
    UnweightedSquares,
    maximise,
    pool_adjacent,
    restricted_likelihood,
    unweighted_squares,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_EPS = float(np.finfo(np.float64).eps)

FEW_DOF = 4
"""At or below so many degrees of freedom a standard deviation is called barely known (95 % limits a factor 4.8 apart or more)."""


@dataclass(frozen=True)
class Caution:
    """What a reader of a result must know, as a code.

    Parameters
    ----------
    code : str
        ``few_groups`` barely known; ``at_zero`` estimate at the bound zero; ``merged`` levels that cannot be told apart;
        ``no_reading_spread`` repeated readings show one figure.
    level : str
        The row of the table it is about.
    groups : int
        Groups of that level. [1]
    """

    code: str
    level: str
    groups: int

    def __str__(self) -> str:
        words = {
            "few_groups": "their spread is barely known",
            "at_zero": "the estimate is zero: the level scatters no more than the ones inside it explain; its upper limit counts",
            "merged": "these levels do not repeat within one another and cannot be told apart",
            "no_reading_spread": "repeated readings show one figure: their spread is below the resolution, not zero",
        }
        return f"{self.level} ({self.groups} groups): {words[self.code]}"


@dataclass(frozen=True, eq=False)
class VarianceComponents:
    """Variance components of a nested table.

    Parameters
    ----------
    table : DataFrame
        One row a level, outermost first, readings last: ``level, variance, sd, low, high, dof``; ``low`` and ``high`` bound the sd;
        ``dof`` counts the groups less the groups that hold them. [unit of the value]
    mean : float
        Weighted mean; the plain average of the fixed cells where there are several. [unit of the value]
    mean_interval : tuple of float
        Coverage interval of the mean, Student t on the outermost level's dof. [unit of the value]
    mean_standard_uncertainty : float
        Standard uncertainty of the mean. [unit of the value]
    mean_dof : float
        Its degrees of freedom. [1]
    coverage : float
        Coverage probability of the intervals. [1]
    method : str
        ``closed form`` (balanced) or ``reml``.
    criterion : float
        Minus twice the restricted log-likelihood at the estimate. [1]
    cautions : tuple of Caution
        What a reader must know.
    squares : UnweightedSquares
        The mean squares behind the intervals.
    """

    table: pd.DataFrame
    mean: float
    mean_interval: tuple[float, float]
    mean_standard_uncertainty: float
    mean_dof: float
    coverage: float
    method: str
    criterion: float
    cautions: tuple[Caution, ...]
    squares: UnweightedSquares

    def sd(self, level: str) -> float:
        """Return the standard deviation of one level.

        Parameters
        ----------
        level : str
            A name in ``table.level``.

        Returns
        -------
        float
            Its standard deviation. [unit of the value]
        """
        known = self.table["level"].tolist()
        if level not in known:
            message = f"level must be one of {', '.join(known)}; got {level}"
            raise ValueError(message)
        return float(self.table["sd"].iloc[known.index(level)])


def nested_components(
    table: pd.DataFrame,
    value: str,
    levels: str | Sequence[str],
    *,
    fixed: str | Sequence[str] | None = None,
    coverage: float = 0.95,
) -> VarianceComponents:
    r"""Return the variance components of a nested table.

    .. math:: y = \mu_{\mathrm{cell}} + u_{\mathrm{level\,1}} + u_{\mathrm{level\,2}} + \dots + e

    Parameters
    ----------
    table : DataFrame
        One row a reading.
    value : str
        Column of the readings. [any unit, or ln]
    levels : str or sequence of str
        Columns of the random levels, outermost first. A group is the whole path, fixed columns included.
    fixed : str or sequence of str, optional
        Columns whose cell means are removed first (lamps are chosen, not drawn).
    coverage : float, default 0.95
        Coverage probability of the intervals. [1]

    Returns
    -------
    VarianceComponents
        Components with intervals, the mean with its interval, and cautions. [unit of the value]

    Raises
    ------
    ValueError
        If a column is missing, a label or value is missing, a value is not finite, or fewer than 2 rows are given.
    MethodError
        If a level has no two groups to compare (code ``one_group``) or all values are equal (``all_equal``).

    Notes
    -----
    Balanced tables: mean squares made monotone by pooling adjacent violators, which is the restricted maximum likelihood with no
    negative variance [1]_. Others: restricted maximum likelihood. Intervals: modified large sample on the mean squares of
    unweighted means [2]_ (from memory; simulated to hold), exact for the readings; where a level's mean square falls below what
    the inner ones explain, the upper limit is taken as if it equalled it, so that no interval shrinks to nothing. Levels that do
    not repeat within one another are one row, named ``mounting+reading``. Few groups give wide intervals; that is the finding.

    References
    ----------
    .. [1] W. A. Thompson, "The problem of negative estimates of variance components", Ann. Math. Statist. 33 (1962) 273-289.
    .. [2] R. K. Burdick and F. A. Graybill, Confidence Intervals on Variance Components, Dekker, 1992.
    """
    if not 0.0 < coverage < 1.0:
        message = f"coverage must lie between 0 and 1; got {coverage:g}"
        raise ValueError(message)
    random_columns = [levels] if isinstance(levels, str) else list(levels)
    fixed_columns = [fixed] if isinstance(fixed, str) else list(fixed or ())
    readings, codes = _encode(table, value, random_columns, fixed_columns)
    groups, names = _summarise(readings, codes, random_columns)
    silent = groups.depth > 0 and groups.within <= len(readings) * (4.0 * _EPS * np.abs(readings).max()) ** 2
    if silent:
        # Repeats that all show one figure say nothing about the reading: the group means are the data.
        first = np.unique(codes[-1], return_index=True)[1]
        groups, names = _summarise(readings[first], [code[first] for code in codes], random_columns)
    _require_groups(groups, names, fixed_columns)
    return _solve(groups, names, coverage, silent=silent)


def _encode(
    table: pd.DataFrame, value: str, random_columns: list[str], fixed_columns: list[str]
) -> tuple[FloatArray, list[IntArray]]:
    """Return the readings and, for fixed cells and each level, the whole-path group of every reading."""
    if not random_columns:
        message = "levels must name at least one column; got none"
        raise ValueError(message)
    for column in (value, *random_columns, *fixed_columns):
        if column not in table.columns:
            message = f"table must hold the column {column!r}; got {', '.join(map(str, table.columns))}"
            raise ValueError(message)
    if len(table) < 2:
        message = f"table must hold at least 2 rows; got {len(table)}"
        raise ValueError(message)
    readings = np.asarray(table[value], dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(readings))
    if bad.size:
        message = f"{value}[{bad[0]}] must be finite; got {readings[bad[0]]} ({bad.size} of {len(readings)} values)"
        raise ValueError(message)
    path = np.zeros(len(readings), dtype=np.intp)
    codes = []
    for position, column in enumerate((*fixed_columns, *random_columns)):
        label, labels = pd.factorize(table[column].to_numpy())
        if label.min() < 0:
            message = f"{column}[{int(np.argmin(label))}] must name a group; got nothing"
            raise ValueError(message)
        if position == len(fixed_columns):
            codes.append(path)
        path = np.unique(path * len(labels) + label, return_inverse=True)[1]
        if position >= len(fixed_columns):
            codes.append(path)
    return readings, codes


def _summarise(
    readings: FloatArray, codes: list[IntArray], random_columns: list[str]
) -> tuple[NestedGroups, list[str]]:
    """Return group summaries and one name a row, readings last; levels that do not repeat are joined by ``+``."""
    if np.ptp(readings) == 0.0:
        message = f"all {len(readings)} values are equal ({readings[0]:g}): no level's spread can be estimated from them"
        raise MethodError(message, code="all_equal", known={"value": float(readings[0])})
    chain = [*codes, np.arange(len(readings))]
    sizes = [int(code.max()) + 1 for code in chain]
    kept, names, label = [chain[0]], [], ""
    for place, name in enumerate([*random_columns, "reading"], start=1):
        label = f"{label}+{name}" if label else name
        if place == len(random_columns) + 1 or sizes[place] != sizes[place + 1]:
            names.append(label)
            kept.append(chain[place])
            label = ""
    innermost, origin = kept[-2], float(readings[0])
    shifted = readings - origin
    counts = np.bincount(innermost).astype(np.float64)
    means = np.bincount(innermost, shifted) / counts
    within = shifted - means[innermost]
    parents = tuple(_parent(outer, inner) for outer, inner in itertools.pairwise(kept[:-1]))
    return NestedGroups(parents, counts, means, float(within @ within), sizes[0], origin), names


def _parent(outer: IntArray, inner: IntArray) -> IntArray:
    """Return the outer group of each inner group."""
    parent = np.empty(int(inner.max()) + 1, dtype=np.intp)
    parent[inner] = outer
    return parent


def _require_groups(groups: NestedGroups, names: list[str], fixed_columns: list[str]) -> None:
    """Refuse a level that has nothing to compare."""
    for name, dof, size in zip(names, groups.dof, groups.sizes[1:], strict=True):
        if dof < 1:
            held = f" in each cell of {' x '.join(fixed_columns)}" if fixed_columns else ""
            message = (
                f"level {name} must have at least 2 groups{held}; got {size} in all: "
                "its spread cannot be estimated (leave the level out, and its spread out of the statement)"
            )
            raise MethodError(message, code="one_group", known={"level": name, "groups": size})


def _solve(groups: NestedGroups, names: list[str], coverage: float, *, silent: bool) -> VarianceComponents:
    """Estimate, then put intervals, mean and cautions together."""
    squares = unweighted_squares(groups)
    ratios = None
    if groups.balanced:
        variances, criterion = _closed_form(groups, squares)
    else:
        ratios = maximise(groups, (squares.solve @ squares.squares)[:-1] / squares.squares[-1])
        sweep = restricted_likelihood(groups, ratios)
        variances, criterion = np.append(ratios, 1.0) * sweep.reading_variance, sweep.objective
    sd = np.sqrt(variances)
    low, high = component_limits(squares, coverage=coverage)
    rows = {"level": names, "variance": variances, "sd": sd, "low": np.minimum(low, sd), "high": np.maximum(high, sd)}
    mean, uncertainty = _mean(groups, squares, ratios)
    half = float(special.stdtrit(squares.dof[0], (1.0 + coverage) / 2.0)) * uncertainty
    return VarianceComponents(
        table=pd.DataFrame({**rows, "dof": squares.dof}),
        mean=mean,
        mean_interval=(mean - half, mean + half),
        mean_standard_uncertainty=uncertainty,
        mean_dof=float(squares.dof[0]),
        coverage=coverage,
        method="closed form" if ratios is None else "reml",
        criterion=criterion,
        cautions=_cautions(groups, names, variances, silent),
        squares=squares,
    )


def _cautions(groups: NestedGroups, names: list[str], variances: FloatArray, silent: bool) -> tuple[Caution, ...]:
    """Return what a reader of these components must know."""
    found = []
    for name, size, dof, variance in zip(names, groups.sizes[1:], groups.dof, variances, strict=True):
        if "+" in name:
            found.append(Caution("no_reading_spread" if silent and name == names[-1] else "merged", name, size))
        if variance == 0.0:
            found.append(Caution("at_zero", name, size))
        if dof <= FEW_DOF:
            found.append(Caution("few_groups", name, size))
    return tuple(found)


def component_limits(squares: UnweightedSquares, *, coverage: float = 0.95) -> tuple[FloatArray, FloatArray]:
    r"""Return modified-large-sample limits of the standard deviations of nested components.

    For :math:`\gamma = \sum_q c_q S_q - \sum_r c_r S_r` the limits are :math:`\gamma - \sqrt{V_L}` and
    :math:`\gamma + \sqrt{V_U}`, where :math:`V_L` and :math:`V_U` make the limits exact when either side vanishes.

    Parameters
    ----------
    squares : UnweightedSquares
        Mean squares, outermost first. [squared unit of the value]
    coverage : float, default 0.95
        Coverage probability. [1]

    Returns
    -------
    low, high : ndarray
        Limits of the standard deviations, none below zero. [unit of the value]

    Notes
    -----
    From memory of Burdick and Graybill (1992), section 3.3; cross terms between mean squares of one sign, which vanish for balanced
    tables, are left out.
    """
    tail = (1.0 - coverage) / 2.0
    dof = squares.dof
    upper, lower = special.chdtri(dof, tail) / dof, special.chdtri(dof, 1.0 - tail) / dof
    g, h = 1.0 - 1.0 / upper, 1.0 / lower - 1.0
    low, high = np.zeros(len(squares.solve)), np.zeros(len(squares.solve))
    for level, row in enumerate(squares.solve):
        terms = row * squares.squares
        plus, minus = np.flatnonzero(row > 0.0), np.flatnonzero(row < 0.0)
        g_cross, h_cross = _cross(dof, plus, minus, g, h, tail)
        taken = -terms[minus]
        estimate = terms.sum()
        spread = (g[plus] * terms[plus]) @ (g[plus] * terms[plus]) + (h[minus] * taken) @ (h[minus] * taken)
        low[level] = estimate - np.sqrt(max(0.0, spread + terms[plus] @ g_cross @ taken))
        # Where a mean square is below what the inner levels explain, the limit is taken as if it equalled that.
        if estimate < 0.0:
            terms[level] -= estimate
        spread = (h[plus] * terms[plus]) @ (h[plus] * terms[plus]) + (g[minus] * taken) @ (g[minus] * taken)
        high[level] = max(0.0, estimate) + np.sqrt(max(0.0, spread + terms[plus] @ h_cross @ taken))
    return np.sqrt(np.maximum(low, 0.0)), np.sqrt(high)


def _cross(
    dof: FloatArray, plus: IntArray, minus: IntArray, g: FloatArray, h: FloatArray, tail: float
) -> tuple[FloatArray, FloatArray]:
    """Return the cross coefficients of the lower and the upper limit for each added and each subtracted mean square."""
    first, second = dof[plus][:, None], dof[minus][None, :]
    g_plus, h_plus, g_minus, h_minus = g[plus][:, None], h[plus][:, None], g[minus][None, :], h[minus][None, :]
    high, low = special.fdtri(first, second, 1.0 - tail), special.fdtri(first, second, tail)
    lower = ((high - 1.0) ** 2 - g_plus**2 * high**2 - h_minus**2) / high
    upper = ((1.0 - low) ** 2 - h_plus**2 * low**2 - g_minus**2) / low
    return lower, upper


def fiducial_limits(
    components: VarianceComponents, *, draws: int = 20_000, seed: int = 0
) -> tuple[FloatArray, FloatArray]:
    """Return fiducial limits of the standard deviations: a second way to the intervals in the table.

    Parameters
    ----------
    components : VarianceComponents
        Result of `nested_components`. [unit of the value]
    draws : int, default 20000
        Draws of the chi-square pivots. [1]
    seed : int, default 0
        Seed of the draws. [1]

    Returns
    -------
    low, high : ndarray
        Limits of the standard deviations in the order of the table, zero where the draws are negative. [unit of the value]

    Notes
    -----
    Each mean square is replaced by ``square * dof / chi-square(dof)`` and the variances are solved again [1]_ (from memory).

    References
    ----------
    .. [1] S. Weerahandi, Exact Statistical Methods for Data Analysis, Springer, 1995.
    """
    squares = components.squares
    rng = np.random.default_rng(seed)
    pivots = squares.squares * squares.dof / rng.chisquare(squares.dof, (draws, len(squares.dof)))
    variances = np.maximum(pivots @ squares.solve.T, 0.0)
    tail = (1.0 - components.coverage) / 2.0
    low, high = np.sqrt(np.quantile(variances, [tail, 1.0 - tail], axis=0))
    return low, high


def _group_readings(groups: NestedGroups) -> FloatArray:
    """Return the readings in a group of each level of a balanced table, 1 for the readings themselves."""
    return groups.readings / np.array(groups.sizes[1:], dtype=np.float64)


def _closed_form(groups: NestedGroups, squares: UnweightedSquares) -> tuple[FloatArray, float]:
    """Return variances and criterion of a balanced table."""
    size = _group_readings(groups)
    pooled = pool_adjacent(squares.squares * size, squares.dof)
    variances = (pooled - np.append(pooled[1:], 0.0)) / size
    cell_readings = np.bincount(groups.parents[0]) * size[0] if groups.depth else groups.counts
    free = groups.readings - groups.cells
    log_det = float(squares.dof @ np.log(pooled)) + float(np.log(cell_readings).sum())
    return variances, free * (np.log(2.0 * np.pi) + 1.0) + log_det


def _mean(groups: NestedGroups, squares: UnweightedSquares, ratios: FloatArray | None) -> tuple[float, float]:
    """Return the average of the cell means and its standard uncertainty from the scatter of the outermost groups."""
    if ratios is None:
        parent, means = groups.parents, groups.means
        for inner in reversed(parent):
            means = np.bincount(inner, means) / np.bincount(inner)
        members = np.bincount(parent[0]) if parent else groups.counts
        spread = squares.squares[0] * float((1.0 / members).sum())
    else:
        # Scatter of the outermost means with their fitted weights, exact t when they are equal (Hartung and Knapp's variance).
        sweep = restricted_likelihood(groups, ratios)
        means = sweep.cell_means
        spread = sweep.mean_square * float((1.0 / sweep.cell_weights).sum())
    return groups.origin + float(means.mean()), float(np.sqrt(spread)) / groups.cells
