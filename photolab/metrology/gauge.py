"""Crossed gauge studies: parts against appraisers (lamps against the people who seat and read them)."""

import math

import numpy as np
import pandas as pd
from scipy import special

from photolab.metrology.arguments import Floats, must_hold
from photolab.metrology.columns import finite_column, label_codes, require_columns
from photolab.metrology.components import FEW_DOF, Caution, component_limits, component_table
from photolab.metrology.computed import Computed
from photolab.metrology.quantity import COVERAGE
from photolab.metrology.reml import UnweightedSquares

POOLING_LEVEL = 0.05
"""The interaction is pooled only where its F test does not object at this level (AIAG MSA, by report)."""


class GaugeStudy(Computed):
    """Crossed gauge study: every appraiser measures every part equally often.

    Parameters
    ----------
    cells : ndarray, shape (parts, appraisers, repeats)
        The readings. [any unit]
    pool_interaction : bool
        Whether the interaction is pooled with the repeats where its F test does not object.
    coverage : float
        Coverage probability of the intervals. [1]

    Attributes
    ----------
    table : DataFrame
        ``level, variance, sd, low, high, dof``: part, appraiser, their interaction unless pooled, reading
        (``interaction+reading`` with one reading a cell), gauge (all but the part). `low` and `high` bound
        the sd; dof of gauge by Welch-Satterthwaite. [unit of the value]
    anova : DataFrame
        ``source, ss, dof, ms, f, p``. [squared unit of the value]
    mean : float
        Mean of all readings. [unit of the value]
    cautions : tuple of Caution
        What a reader must know.
    """

    def __init__(self, cells: Floats, pool_interaction: bool, coverage: float) -> None:
        parts, appraisers, repeats = cells.shape
        ss, dof = _sums_of_squares(cells)
        error = 3 if repeats > 1 else 2  # the row of the anova that stands for the repeats
        f_interaction = (ss[2] / dof[2]) / (ss[3] / dof[3]) if repeats > 1 and ss[3] > 0.0 else math.nan
        p_interaction = float(special.fdtrc(dof[2], max(dof[3], 1.0), f_interaction))
        if pool_interaction and repeats > 1 and p_interaction > POOLING_LEVEL:
            sums, free = (np.append(of[:2], of[2:].sum()) for of in (ss, dof))
            names = ["reading"]
        else:
            sums, free = ss[: error + 1], dof[: error + 1]
            names = ["interaction", "reading"] if repeats > 1 else ["interaction+reading"]
        squares = UnweightedSquares(sums / free, free, _solving_matrix(parts, appraisers, repeats, len(sums)))
        mean_squares, limits = squares.squares, component_limits(squares, coverage=coverage)
        variances = np.maximum(squares.solve[:-1] @ mean_squares, 0.0)  # the gauge is all but the part
        gauge = float(variances[1:].sum())
        gauge_dof = gauge**2 / float(((squares.solve[-1] * mean_squares) ** 2 / free).sum())
        levels, variances = ["part", "appraiser", *names, "gauge"], np.append(variances, gauge)
        self.table = component_table(levels, variances, limits, [*free, gauge_dof])
        self.mean = float(cells.mean())
        f = np.append(mean_squares[:2] / mean_squares[2], [f_interaction, math.nan])
        probability = [*special.fdtrc(dof[:2], free[2], f[:2]).tolist(), p_interaction, math.nan]
        with np.errstate(invalid="ignore"):
            columns = {"ss": ss, "dof": dof, "ms": ss / dof, "f": f, "p": probability}
        anova = pd.DataFrame({"source": ["part", "appraiser", "interaction", "reading"], **columns})
        self.anova = anova[: error + 1]
        groups = (parts, appraisers, parts * appraisers, parts * appraisers)
        self.cautions = tuple(
            Caution(code, level, size)
            for level, size, variance, known in zip(levels[:-1], groups, variances, free, strict=False)
            for code, holds in (("at_zero", variance == 0.0), ("few_groups", known <= FEW_DOF))
            if holds
        )


def gauge_study(
    table: pd.DataFrame,
    value: str,
    part: str,
    appraiser: str,
    *,
    pool_interaction: bool = True,
    coverage: float = COVERAGE,
) -> GaugeStudy:
    r"""Return repeatability, appraiser and part spread of a crossed study.

    .. math:: y = \mu + p_i + a_j + (pa)_{ij} + e_{ijk}

    Parameters
    ----------
    table : DataFrame
        One row a reading; every part with every appraiser, equally often.
    value, part, appraiser : str
        Columns.
    pool_interaction : bool, default True
        Pool the interaction with the repeats where its F test does not object at 5 %; False keeps it apart.
    coverage : float, default COVERAGE
        Coverage probability of the intervals. [1]

    Returns
    -------
    GaugeStudy
        Components with intervals, and the analysis of variance. [unit of the value]

    Raises
    ------
    ValueError
        If a column is missing, a value is not finite or a label is missing.
    MethodError
        If a part or appraiser stands alone (code ``one_group``), a cell lacks readings (``missing_cells``) or
        all values are equal (``all_equal``).

    Notes
    -----
    With one reading a cell the interaction cannot be told from the repeats. Negative components are set to
    zero and named in `cautions`. Pooling changes the repeatability (by 7 % in the AIAG example): say which
    was done.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th ed., 2010, chapter III section B.
    """
    return GaugeStudy(_cells(table, value, part, appraiser), pool_interaction, coverage)


def _cells(table: pd.DataFrame, value: str, part: str, appraiser: str) -> Floats:
    """Return the readings as an array part x appraiser x repeat."""
    require_columns(table, value, part, appraiser)
    readings = finite_column(table, value)
    (rows, parts), (columns, appraisers) = (label_codes(table, name) for name in (part, appraiser))
    for column, groups in ((part, len(parts)), (appraiser, len(appraisers))):
        message = f"{column} must have at least 2 groups; got {groups}: its spread cannot be estimated"
        must_hold(groups >= 2, message, code="one_group", known={"level": column, "groups": groups})
    cell = rows * len(appraisers) + columns
    count = np.bincount(cell, minlength=len(parts) * len(appraisers))
    few, most = int(np.argmin(count)), count.max()
    pair = f"{part} {parts[few // len(appraisers)]}, {appraiser} {appraisers[few % len(appraisers)]}"
    got = f"{count[few]} for {pair}, up to {most} for others"
    message = f"every cell must hold equally many readings; got {got}"
    known = {"cell": pair, "readings": int(count[few])}
    must_hold(count[few] == most, message, code="missing_cells", known=known)
    same = float(readings[0])
    message = f"all {len(readings)} values are equal ({same:g}): no spread can be estimated from them"
    must_hold(np.ptp(readings) > 0.0, message, code="all_equal", known={"value": same})
    return readings[np.argsort(cell, kind="stable")].reshape(len(parts), len(appraisers), -1)


def _sums_of_squares(cells: Floats) -> tuple[Floats, Floats]:
    """Return sums of squares and degrees of freedom of part, appraiser, interaction and reading."""
    p, a, n = cells.shape
    means = cells.mean(axis=2)
    centred = means - means.mean()
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    cross, within = centred - rows[:, None] - columns, cells - means[:, :, None]
    squares = [a * n * (rows @ rows), p * n * (columns @ columns), n * (cross**2).sum(), (within**2).sum()]
    free = [p - 1, a - 1, (p - 1) * (a - 1), p * a * (n - 1)]
    return np.array(squares), np.array(free, dtype=np.float64)


def _solving_matrix(parts: int, appraisers: int, repeats: int, rows: int) -> Floats:
    """Return the matrix from mean squares to variances: part, appraiser, (interaction,) reading, gauge."""
    solve = np.eye(rows)
    solve[0, [0, 2]] = np.array([1.0, -1.0]) / (appraisers * repeats)
    solve[1, [1, 2]] = np.array([1.0, -1.0]) / (parts * repeats)
    if rows == 4:
        solve[2, [2, 3]] = np.array([1.0, -1.0]) / repeats
    return np.vstack([solve, solve[1:].sum(axis=0)])
