"""Gauge studies: parts against appraisers, and the three levels of a long-term gauge study.

The public names are importable from `precision`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from photolab.errors import MethodError
from photolab.metrology.components import FEW_DOF, Caution, component_limits
from photolab.metrology.reml import UnweightedSquares

FloatArray = NDArray[np.float64]

POOLING_LEVEL = 0.05
"""The interaction is pooled with the repeats only where its F test does not object at this level (AIAG MSA 4th ed., by report)."""


@dataclass(frozen=True, eq=False)
class GaugeStudy:
    """Crossed gauge study: every appraiser measures every part equally often.

    Parameters
    ----------
    table : DataFrame
        ``level, variance, sd, low, high, dof``: part, appraiser, their interaction unless pooled, reading (``interaction+reading``
        with one reading a cell), gauge (all but the part). `low` and `high` bound the sd; dof of gauge by Welch-Satterthwaite.
        [unit of the value]
    anova : DataFrame
        ``source, ss, dof, ms, f, p``. [squared unit of the value]
    repeatability_sd, appraiser_sd, interaction_sd, gauge_sd, part_sd, total_sd : float
        Standard deviations; interaction is zero where pooled. [unit of the value]
    interaction_pooled : bool
        Whether the interaction was pooled with the repeats.
    mean : float
        Mean of all readings. [unit of the value]
    cautions : tuple of Caution
        What a reader must know.
    """

    table: pd.DataFrame
    anova: pd.DataFrame
    repeatability_sd: float
    appraiser_sd: float
    interaction_sd: float
    gauge_sd: float
    part_sd: float
    total_sd: float
    interaction_pooled: bool
    mean: float
    cautions: tuple[Caution, ...]


def gauge_study(
    table: pd.DataFrame,
    value: str,
    part: str,
    appraiser: str,
    *,
    pool_interaction: bool = True,
    coverage: float = 0.95,
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
    coverage : float, default 0.95
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
        If a part or appraiser stands alone (code ``one_group``), a cell lacks readings (``missing_cells``) or all values are equal
        (``all_equal``).

    Notes
    -----
    With one reading a cell the interaction cannot be told from the repeats. Negative components are set to zero and named in
    `cautions`. Pooling changes the repeatability (by 7 % in the AIAG example): say which was done.

    References
    ----------
    .. [1] AIAG, Measurement Systems Analysis, 4th ed., 2010, chapter III section B.
    """
    cells = _cells(table, value, part, appraiser)
    parts, appraisers, repeats = cells.shape
    names = ["part", "appraiser", "interaction", "reading"]
    ss, dof = _sums_of_squares(cells)
    error = 3 if repeats > 1 else 2
    f_interaction = (ss[2] / dof[2]) / (ss[3] / dof[3]) if repeats > 1 and ss[3] > 0.0 else math.nan
    p_interaction = float(special.fdtrc(dof[2], max(dof[3], 1.0), f_interaction))
    pooled = pool_interaction and repeats > 1 and p_interaction > POOLING_LEVEL
    if pooled:
        squares = np.array([ss[0] / dof[0], ss[1] / dof[1], (ss[2] + ss[3]) / (dof[2] + dof[3])])
        counts, rows = np.array([dof[0], dof[1], dof[2] + dof[3]]), ["part", "appraiser", "reading"]
    else:
        squares, counts = ss[: error + 1] / dof[: error + 1], dof[: error + 1]
        rows = names if repeats > 1 else ["part", "appraiser", "interaction+reading"]
    solve = _solving_matrix(parts, appraisers, repeats, len(rows))
    components, cautions = _components(squares, counts, rows, solve, coverage, (parts, appraisers))
    f = np.append(squares[:2] / squares[2], [f_interaction, math.nan])
    probability = [*special.fdtrc(dof[:2], counts[2], f[:2]).tolist(), p_interaction, math.nan]
    with np.errstate(invalid="ignore"):
        anova = pd.DataFrame({"source": names, "ss": ss, "dof": dof, "ms": ss / dof, "f": f, "p": probability})
    sd = dict(zip(components["level"], components["sd"], strict=True))
    return GaugeStudy(
        table=components,
        anova=anova[: error + 1],
        repeatability_sd=float(sd[rows[-1]]),
        appraiser_sd=float(sd["appraiser"]),
        interaction_sd=float(sd.get("interaction", 0.0)),
        gauge_sd=float(sd["gauge"]),
        part_sd=float(sd["part"]),
        total_sd=math.hypot(sd["gauge"], sd["part"]),
        interaction_pooled=pooled,
        mean=float(cells.mean()),
        cautions=cautions,
    )


def _cells(table: pd.DataFrame, value: str, part: str, appraiser: str) -> FloatArray:
    """Return the readings as an array part x appraiser x repeat."""
    for column in (value, part, appraiser):
        if column not in table.columns:
            message = f"table must hold the column {column!r}; got {', '.join(map(str, table.columns))}"
            raise ValueError(message)
    readings = np.asarray(table[value], dtype=np.float64)
    bad = np.flatnonzero(~np.isfinite(readings))
    if bad.size:
        message = f"{value}[{bad[0]}] must be finite; got {readings[bad[0]]} ({bad.size} of {len(readings)} values)"
        raise ValueError(message)
    labels = []
    for column in (part, appraiser):
        code, names = pd.factorize(table[column].to_numpy())
        if len(code) and code.min() < 0:
            message = f"{column}[{int(np.argmin(code))}] must name a group; got nothing"
            raise ValueError(message)
        if len(names) < 2:
            message = f"{column} must have at least 2 groups; got {len(names)}: its spread cannot be estimated"
            raise MethodError(message, code="one_group", known={"level": column, "groups": len(names)})
        labels.append((code, names))
    (rows, parts), (columns, appraisers) = labels
    cell = rows * len(appraisers) + columns
    count = np.bincount(cell, minlength=len(parts) * len(appraisers))
    if np.ptp(count) != 0:
        few = int(np.argmin(count))
        pair = f"{part} {parts[few // len(appraisers)]}, {appraiser} {appraisers[few % len(appraisers)]}"
        message = f"every cell must hold equally many readings; got {count[few]} for {pair}, up to {count.max()} for others"
        raise MethodError(message, code="missing_cells", known={"cell": pair, "readings": int(count[few])})
    if np.ptp(readings) == 0.0:
        message = f"all {len(readings)} values are equal ({readings[0]:g}): no spread can be estimated from them"
        raise MethodError(message, code="all_equal", known={"value": float(readings[0])})
    order = np.argsort(cell, kind="stable")
    return readings[order].reshape(len(parts), len(appraisers), -1)


def _sums_of_squares(cells: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return sums of squares and degrees of freedom of part, appraiser, interaction and reading."""
    parts, appraisers, repeats = cells.shape
    means = cells.mean(axis=2)
    centred = means - means.mean()
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    cross = centred - rows[:, None] - columns
    within = cells - means[:, :, None]
    squares = np.array(
        [
            appraisers * repeats * (rows @ rows),
            parts * repeats * (columns @ columns),
            repeats * (cross**2).sum(),
            (within**2).sum(),
        ]
    )
    free = [parts - 1, appraisers - 1, (parts - 1) * (appraisers - 1), parts * appraisers * (repeats - 1)]
    return squares, np.array(free, dtype=np.float64)


def _solving_matrix(parts: int, appraisers: int, repeats: int, rows: int) -> FloatArray:
    """Return the matrix from mean squares to variances: part, appraiser, (interaction,) reading, gauge."""
    solve = np.eye(rows)
    solve[0, [0, 2]] = np.array([1.0, -1.0]) / (appraisers * repeats)
    solve[1, [1, 2]] = np.array([1.0, -1.0]) / (parts * repeats)
    if rows == 4:
        solve[2, [2, 3]] = np.array([1.0, -1.0]) / repeats
    return np.vstack([solve, solve[1:].sum(axis=0)])


def _components(
    squares: FloatArray, dof: FloatArray, rows: list[str], solve: FloatArray, coverage: float, sizes: tuple[int, int]
) -> tuple[pd.DataFrame, tuple[Caution, ...]]:
    """Return the component table and its cautions."""
    variances = np.maximum(solve[:-1] @ squares, 0.0)
    gauge = float(variances[1:].sum())
    low, high = component_limits(UnweightedSquares(squares, dof, solve), coverage=coverage)
    terms = solve[-1] * squares
    gauge_dof = gauge**2 / float((terms**2 / dof).sum())
    sd = np.sqrt(np.append(variances, gauge))
    frame = pd.DataFrame(
        {
            "level": [*rows, "gauge"],
            "variance": [*variances, gauge],
            "sd": sd,
            "low": np.minimum(low, sd),
            "high": np.maximum(high, sd),
            "dof": [*dof, gauge_dof],
        }
    )
    groups = [*sizes, sizes[0] * sizes[1], sizes[0] * sizes[1]]
    cautions = [
        Caution(code, name, size)
        for name, size, variance, free in zip(rows, groups, variances, dof, strict=False)
        for code, holds in (("at_zero", variance == 0.0), ("few_groups", free <= FEW_DOF))
        if holds
    ]
    return frame, tuple(cautions)


@dataclass(frozen=True)
class GaugeLevels:
    """Long-term gauge study: repeats within days, days within runs, runs.

    Parameters
    ----------
    repeat_sd, day_mean_sd, run_mean_sd : float
        Level-1, level-2 and level-3 standard deviations: of repeats, of day means within a run, of run means. [unit of the value]
    dof : tuple of float
        Degrees of freedom of the three. [1]
    repeats, days : int
        Repeats behind a day mean and days behind a run mean. [1]
    day_sd, run_sd : float
        Days' and runs' own spread, what lies inside taken off; zero where nothing is left. [unit of the value]
    """

    repeat_sd: float
    day_mean_sd: float
    run_mean_sd: float
    dof: tuple[float, float, float]
    repeats: int
    days: int
    day_sd: float
    run_sd: float

    def standard_uncertainty(
        self, *, repeats: int | None = None, days: int = 1, runs: int = 1, others: Sequence[tuple[float, float]] = ()
    ) -> tuple[float, float]:
        r"""Return the standard uncertainty of a mean of some repeats, days and runs, and its degrees of freedom.

        .. math:: u^2 = \frac{s_3^2 - s_2^2/K}{l} + \frac{s_2^2 - s_1^2/J}{l k} + \frac{s_1^2}{l k j} + \sum u_i^2

        Parameters
        ----------
        repeats : int, optional
            Repeats a day :math:`j`; as in the study unless given. [1]
        days, runs : int, default 1
            Days a run :math:`k` and runs :math:`l` averaged. [1]
        others : sequence of (standard uncertainty, dof)
            Further independent inputs, such as the difference between instruments. [unit of the value, 1]

        Returns
        -------
        u, dof : float
            Standard uncertainty and Welch-Satterthwaite degrees of freedom. [unit of the value, 1]

        References
        ----------
        .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 2.5.3 and 2.6.3.2.
        """
        j = self.repeats if repeats is None else repeats
        if min(j, days, runs) < 1:
            message = f"repeats, days and runs must be 1 or more; got {j}, {days}, {runs}"
            raise ValueError(message)
        variance = np.array([self.run_mean_sd**2, self.day_mean_sd**2, self.repeat_sd**2])
        share = np.array(
            [
                1.0 / runs,
                1.0 / (runs * days) - 1.0 / (runs * self.days),
                1.0 / (runs * days * j) - 1.0 / (runs * days * self.repeats),
            ]
        )
        own = np.array([self.dof[2], self.dof[1], self.dof[0]])
        terms = np.append(share * variance, [u**2 for u, _ in others])
        free = np.append(own, [dof for _, dof in others])
        total = float(terms.sum())
        if total <= 0.0:
            message = "the day and run spread found are too small to predict the mean asked for: its variance is not positive"
            raise MethodError(message, code="no_spread", known={"variance": total})
        return math.sqrt(total), total**2 / float((terms**2 / free).sum())


def gauge_levels(
    table: pd.DataFrame, value: str, *, repeat_sd: str, run: str, artifact: str | Sequence[str], repeats: int
) -> GaugeLevels:
    """Return the three levels of a long-term gauge study from its day means.

    Parameters
    ----------
    table : DataFrame
        One row for each day mean of each artifact in each run.
    value : str
        Column of the day means. [any unit]
    repeat_sd : str
        Column of the standard deviations of the repeats behind them. [unit of the value]
    run : str
        Column of the run.
    artifact : str or sequence of str
        Column or columns that name what was measured (the lamp, the lamp and the meter): levels are pooled over them.
    repeats : int
        Repeats behind every day mean. [1]

    Returns
    -------
    GaugeLevels
        Standard deviations of the three levels with their degrees of freedom. [unit of the value]

    Raises
    ------
    ValueError
        If a column is missing, a value is not finite, or fewer than two repeats are given.
    MethodError
        If days or runs do not repeat (code ``no_repeats``) or an artifact's day count differs (``missing_cells``).
    """
    things = [artifact] if isinstance(artifact, str) else list(artifact)
    for column in (value, repeat_sd, run, *things):
        if column not in table.columns:
            message = f"table must hold the column {column!r}; got {', '.join(map(str, table.columns))}"
            raise ValueError(message)
    numbers = table[[value, repeat_sd]].to_numpy(dtype=np.float64)
    if repeats < 2 or not np.isfinite(numbers).all():
        message = f"repeats must be 2 or more and {value}, {repeat_sd} finite; got {repeats} and {int((~np.isfinite(numbers)).sum())} gaps"
        raise ValueError(message)
    by_run = table.groupby([*things, run], sort=False)[value]
    days = by_run.size()
    runs = days.groupby(things, sort=False).size()
    if days.nunique() != 1:
        least = days.idxmin()
        message = f"every run must hold equally many days of each artifact; got {days.min()} for {least}, up to {days.max()} for others"
        raise MethodError(message, code="missing_cells", known={"cell": least, "days": int(days.min())})
    if days.iloc[0] < 2 or runs.max() < 2:
        message = f"days and runs must repeat; got {days.iloc[0]} day(s) a run and at most {runs.max()} run(s)"
        raise MethodError(message, code="no_repeats", known={"days": int(days.iloc[0]), "runs": int(runs.max())})
    k = int(days.iloc[0])
    s1 = math.sqrt(float((numbers[:, 1] ** 2).mean()))
    s2 = math.sqrt(float(by_run.var(ddof=1).mean()))
    run_means = by_run.mean().groupby(things, sort=False)
    free = runs - 1
    s3 = math.sqrt(float((run_means.var(ddof=1).fillna(0.0) * free).sum() / free.sum()))
    return GaugeLevels(
        repeat_sd=s1,
        day_mean_sd=s2,
        run_mean_sd=s3,
        dof=(float(len(table) * (repeats - 1)), float((days - 1).sum()), float(free.sum())),
        repeats=repeats,
        days=k,
        day_sd=math.sqrt(max(0.0, s2**2 - s1**2 / repeats)),
        run_sd=math.sqrt(max(0.0, s3**2 - s2**2 / k)),
    )
