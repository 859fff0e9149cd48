"""Nested variance components: how much each level of a bench test scatters, and how well that is known.

A table of readings is grouped by whole path: mounting 1 of specimen a is not mounting 1 of specimen b.
Balanced tables are solved in closed form, others by restricted maximum likelihood on group sums (`reml`);
limits take the mean squares as independent, each with its degrees of freedom: exact for balanced tables, close for
others.
"""

import math
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special
from scipy.optimize import isotonic_regression

from photolab.errors import demand
from photolab.metrology.arguments import Floats, Indices, must_hold
from photolab.metrology.columns import finite_column, label_codes, require_columns
from photolab.metrology.computed import Computed
from photolab.metrology.quantity import COVERAGE, Input, measured
from photolab.metrology.reml import (
    NestedGroups,
    UnweightedSquares,
    maximise,
    restricted_likelihood,
    unweighted_squares,
)

_EPS = float(np.finfo(np.float64).eps)

FEW_DOF = 4
"""At or below so many degrees of freedom a spread is barely known: its 95 % limits lie a factor 4.8 apart."""

_WORDS = {
    "few_groups": "their spread is barely known",
    "at_zero": "the estimate is zero, no more than the levels inside it explain; the upper limit counts",
    "merged": "these levels do not repeat within one another and cannot be told apart",
    "no_reading_spread": "repeated readings show one figure; their spread lies below it, it is not zero",
}


class Caution(NamedTuple):
    """What a reader of a result must know, as a code.

    Attributes
    ----------
    code : str
        ``few_groups`` barely known; ``at_zero`` estimate at the bound zero; ``merged`` levels that cannot be
        told apart; ``no_reading_spread`` repeated readings show one figure.
    level : str
        The row of the table it is about.
    groups : int
        Groups of that level. [1]
    """

    code: str
    level: str
    groups: int

    def __str__(self) -> str:
        return f"{self.level} ({self.groups} groups): {_WORDS[self.code]}"


class VarianceComponents(Computed):
    """Variance components of a nested table.

    Parameters
    ----------
    groups : NestedGroups
        The table as group summaries. [unit of the value]
    names : sequence of str
        Names of the rows, outermost first, the readings last.
    coverage : float
        Coverage probability of the intervals. [1]
    silent : bool
        Whether repeated readings all showed one figure.

    Attributes
    ----------
    levels : tuple of str
        Names of the rows, outermost first, the readings last.
    variances, sds, lows, highs : ndarray
        Estimates; the last two bound the standard deviations. [unit of the value, variances squared]
    dof : ndarray
        Groups of each level less the groups that hold them. [1]
    mean : Measured
        Weighted mean; the plain average of the fixed cells where there are several. Its degrees of freedom are those of
        the outermost level. [unit of the value]
    coverage : float
        Coverage probability of the intervals. [1]
    method : str
        ``closed form`` (balanced) or ``reml``.
    criterion : float
        Minus twice the restricted log-likelihood at the estimate. [1]
    cautions : tuple of Caution
        What a reader must know.
    squares : UnweightedSquares
        The mean squares behind the intervals. [squared unit of the value]
    """

    def __init__(self, groups: NestedGroups, names: Sequence[str], coverage: float, silent: bool) -> None:
        self.levels, self.coverage, self.squares = tuple(names), coverage, unweighted_squares(groups)
        self.method, self.dof = "closed form" if groups.balanced else "reml", self.squares.dof
        if groups.balanced:
            self.variances, self.criterion = _closed_form(groups, self.squares)
            means, weights, square = groups.means, groups.counts, self.squares.squares[0]
            for parent in reversed(groups.parents):
                weights = np.bincount(parent).astype(np.float64)
                means = np.bincount(parent, means) / weights
        else:
            ratios = maximise(groups, self.squares)
            sweep = restricted_likelihood(groups, ratios)
            self.variances, self.criterion = np.append(ratios, 1.0) * sweep.reading_variance, sweep.objective
            means, weights, square = sweep.cell_means, sweep.cell_weights, sweep.mean_square
        self.sds = np.sqrt(self.variances)
        low, high = component_limits(self.squares, coverage=coverage)
        self.lows, self.highs = np.minimum(low, self.sds), np.maximum(high, self.sds)
        uncertainty = math.sqrt(square * float((1.0 / weights).sum())) / groups.cells
        scatter = Input("scatter of the groups", uncertainty, dof=float(self.dof[0]))
        self.mean = measured(groups.origin + float(means.mean()), scatter)
        found = []
        levels = zip(names, groups.sizes[1:], groups.dof, self.variances, strict=True)
        for name, size, dof, variance in levels:
            joined = "no_reading_spread" if silent and name == names[-1] else "merged"
            told = ((joined, "+" in name), ("at_zero", variance == 0.0), ("few_groups", dof <= FEW_DOF))
            found += [Caution(code, name, size) for code, holds in told if holds]
        self.cautions = tuple(found)

    @cached_property
    def table(self) -> pd.DataFrame:
        """The components as rows, ``level, variance, sd, low, high, dof``; low and high bound the sd."""
        return component_table(self.levels, self.variances, (self.lows, self.highs), self.dof)

    def sd(self, level: str) -> float:
        """Return the standard deviation of one level.

        Parameters
        ----------
        level : str
            One of `levels`.

        Returns
        -------
        float
            Its standard deviation. [unit of the value]

        Raises
        ------
        ValueError
            If there is no such level.
        """
        demand(level in self.levels, f"level must be one of {', '.join(self.levels)}", level)
        return float(self.sds[self.levels.index(level)])


def nested_components(
    table: pd.DataFrame,
    value: str,
    levels: str | Sequence[str],
    *,
    fixed: str | Sequence[str] | None = None,
    coverage: float = COVERAGE,
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
    coverage : float, default COVERAGE
        Coverage probability of the intervals. [1]

    Returns
    -------
    VarianceComponents
        Components with intervals, the mean with its interval, and cautions. [unit of the value]

    Raises
    ------
    ValueError
        If a column is missing, a label or value is missing, a value is not finite, or fewer than 2 rows are
        given.
    MethodError
        If a level has no two groups to compare (code ``one_group``) or all values are equal (``all_equal``).

    Notes
    -----
    Balanced tables: mean squares made monotone by pooling adjacent violators, which is the restricted maximum
    likelihood with no negative variance [1]_. Others: restricted maximum likelihood. Intervals: modified
    large sample on the mean squares of unweighted means (`component_limits`), exact for the
    readings of any table. The mean: Student t with the outermost groups less the fixed cells as dof, on their
    weighted scatter [2]_ (exact when balanced). Levels that do not repeat within one another are one row,
    named ``mounting+reading``; so is the last level where repeated readings show one figure only. Few groups
    give wide intervals; that is the finding. A level shared by several fixed cells (a day that holds many
    lamps) is taken apart by cell: its spread is right, its dof are too many.

    References
    ----------
    .. [1] W. A. Thompson, "The problem of negative estimates of variance components", Ann. Math. Statist. 33
           (1962) 273.
    .. [2] J. Hartung and G. Knapp, "On tests of the overall treatment effect in meta-analysis with normally
           distributed responses", Statist. Med. 20 (2001) 1771-1782.
    """
    demand(0.0 < coverage < 1.0, "coverage must lie between 0 and 1", f"{coverage:g}")
    random_columns = [levels] if isinstance(levels, str) else list(levels)
    fixed_columns = [fixed] if isinstance(fixed, str) else list(fixed or ())
    readings, codes = _encode(table, value, random_columns, fixed_columns)
    groups, names = _summarise(readings, codes, random_columns)
    silent = groups.depth > 0 and groups.within <= len(readings) * (4.0 * _EPS * np.abs(readings).max()) ** 2
    if silent:
        # Repeats that all show one figure say nothing about the reading: the group means are the data.
        first = np.unique(codes[-1], return_index=True)[1]
        groups, names = _summarise(readings[first], [code[first] for code in codes], random_columns)
    held = f" in a cell of {' x '.join(fixed_columns)}" if fixed_columns else ""
    for name, dof, size in zip(names, groups.dof, groups.sizes[1:], strict=True):
        message = (
            f"level {name} must have at least 2 groups{held}; got {size} in all: "
            "its spread cannot be estimated (leave the level out, and its spread out of the statement)"
        )
        must_hold(dof >= 1, message, code="one_group", known={"level": name, "groups": size})
    return VarianceComponents(groups, names, coverage, silent)


def component_table(
    levels: Sequence[str], variances: Floats, limits: tuple[Floats, Floats], dof: ArrayLike
) -> pd.DataFrame:
    """Return components as rows.

    Parameters
    ----------
    levels : sequence of str, length n
        Names of the rows.
    variances : ndarray, shape (n,)
        Estimates. [squared unit of the value]
    limits : tuple of ndarray
        Limits of the standard deviations; an estimate outside them is taken in. [unit of the value]
    dof : array_like, shape (n,)
        Degrees of freedom. [1]

    Returns
    -------
    DataFrame
        ``level, variance, sd, low, high, dof``. [unit of the value, variance squared]
    """
    sd = np.sqrt(variances)
    low, high = np.minimum(limits[0], sd), np.maximum(limits[1], sd)
    columns = {"variance": variances, "sd": sd, "low": low, "high": high, "dof": dof}
    return pd.DataFrame({"level": list(levels), **columns})


def component_limits(squares: UnweightedSquares, *, coverage: float = COVERAGE) -> tuple[Floats, Floats]:
    r"""Return modified-large-sample limits of the standard deviations that mean squares estimate.

    For :math:`\gamma = \sum_q c_q S_q - \sum_r c_r S_r` they are :math:`\gamma - \sqrt{V_L}` and
    :math:`\gamma + \sqrt{V_U}`,

    .. math::

        V_L = \sum_q G_q^2 c_q^2 S_q^2 + \sum_r H_r^2 c_r^2 S_r^2 + \sum_{q,r} G_{qr} c_q c_r S_q S_r

    and with G and H exchanged for :math:`V_U`; the coefficients make the limits exact where either sum
    vanishes.

    Parameters
    ----------
    squares : UnweightedSquares
        Mean squares and the matrix of the :math:`c`, one row a standard deviation. [squared unit of the
        value]
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    low, high : ndarray
        Limits of the standard deviations, none below zero. [unit of the value]

    Notes
    -----
    Burdick and Graybill [1]_, from memory; cross terms between mean squares of one sign are left out
    (balanced nested tables have none). Where the mean square of a level lies below what the inner levels
    explain, the upper limit is taken as if it equalled that, so that no interval shrinks to nothing.

    References
    ----------
    .. [1] R. K. Burdick and F. A. Graybill, Confidence Intervals on Variance Components, Dekker, 1992,
           section 3.3.
    """
    g, h, g_cross, h_cross = _coefficients(tuple(squares.dof.tolist()), coverage)
    terms = squares.solve * squares.squares
    estimate = terms.sum(axis=1)
    plus, minus = np.maximum(terms, 0.0), np.maximum(-terms, 0.0)
    spread = (plus * g) ** 2 + (minus * h) ** 2 + (plus @ g_cross) * minus
    low = estimate - np.sqrt(np.maximum(spread.sum(axis=1), 0.0))
    diagonal = np.arange(min(terms.shape))
    plus[diagonal, diagonal] += np.maximum(-estimate, 0.0)[: len(diagonal)]
    spread = (plus * h) ** 2 + (minus * g) ** 2 + (plus @ h_cross) * minus
    high = np.maximum(estimate, 0.0) + np.sqrt(np.maximum(spread.sum(axis=1), 0.0))
    return np.sqrt(np.maximum(low, 0.0)), np.sqrt(high)


@lru_cache(maxsize=256)
def _coefficients(dof: tuple[float, ...], coverage: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Return G, H and the cross coefficients [added, subtracted] of the lower and the upper limit."""
    tail = (1.0 - coverage) / 2.0
    free = np.array(dof)
    g = 1.0 - free / special.chdtri(free, tail)
    h = free / special.chdtri(free, 1.0 - tail) - 1.0
    added, subtracted = free[:, None], free[None, :]
    high, low = special.fdtri(added, subtracted, 1.0 - tail), special.fdtri(added, subtracted, tail)
    g_cross = ((high - 1.0) ** 2 - g[:, None] ** 2 * high**2 - h[None, :] ** 2) / high
    h_cross = ((1.0 - low) ** 2 - h[:, None] ** 2 * low**2 - g[None, :] ** 2) / low
    return g, h, g_cross, h_cross


def _encode(
    table: pd.DataFrame, value: str, random_columns: list[str], fixed_columns: list[str]
) -> tuple[Floats, list[Indices]]:
    """Return the readings and, for fixed cells and each level, the whole-path group of every reading."""
    demand(random_columns, "levels must name at least one column", "none")
    require_columns(table, value, *random_columns, *fixed_columns)
    demand(len(table) >= 2, "table must hold at least 2 rows", len(table))
    readings = finite_column(table, value)
    path, paths = np.zeros(len(readings), dtype=np.intp), 1
    codes = [path]
    for column in (*fixed_columns, *random_columns):
        label, labels = label_codes(table, column)
        if paths == 1:
            path, paths = label, len(labels)
        elif len(labels) > 1:
            path, seen = pd.factorize(path * len(labels) + label)
            paths = len(seen)
        codes.append(path)
    return readings, codes[len(fixed_columns) :]


def _summarise(
    readings: Floats, codes: list[Indices], random_columns: list[str]
) -> tuple[NestedGroups, list[str]]:
    """Return group summaries and a name a row, readings last; levels that do not repeat joined by ``+``."""
    message = (
        f"all {len(readings)} values are equal ({readings[0]:g}): "
        f"the spread of {', '.join(random_columns)} cannot be estimated from them"
    )
    must_hold(np.ptp(readings) > 0.0, message, code="all_equal", known={"value": float(readings[0])})
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
    places = [np.unique(code, return_index=True)[1] for code in kept[1:-1]]
    parents = tuple(outer[at] for outer, at in zip(kept, places, strict=False))
    return NestedGroups(parents, counts, means, float(within @ within), sizes[0], origin), names


def _closed_form(groups: NestedGroups, squares: UnweightedSquares) -> tuple[Floats, float]:
    """Return variances and criterion of a balanced table."""
    size = groups.readings / np.array(groups.sizes[1:], dtype=np.float64)
    pooled = isotonic_regression(squares.squares * size, weights=squares.dof, increasing=False).x
    variances = (pooled - np.append(pooled[1:], 0.0)) / size
    cell_readings = np.bincount(groups.parents[0]) * size[0] if groups.depth else groups.counts
    free = groups.readings - groups.cells
    with np.errstate(divide="ignore"):  # a level without any scatter: the likelihood has no bound
        log_det = float(squares.dof @ np.log(pooled)) + float(np.log(cell_readings).sum())
    return variances, free * (np.log(2.0 * np.pi) + 1.0) + log_det
