"""Long-term gauge study: repeats within days, days within runs, runs.

The public names are importable from `precision`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.errors import MethodError
from photolab.metrology.columns import require_columns


@dataclass(frozen=True)
class GaugeLevels:
    """Long-term gauge study: repeats within days, days within runs, runs.

    Attributes
    ----------
    repeat_sd, day_mean_sd, run_mean_sd : float
        Level-1, level-2 and level-3 standard deviations: of repeats, of day means within a run, of run means.
        [unit of the value]
    dof : tuple of float
        Degrees of freedom of the three. [1]
    repeats, days : int
        Repeats behind a day mean and days behind a run mean. [1]
    day_sd, run_sd : float
        Days' and runs' own spread, what lies inside taken off; zero where nothing is left. [unit of the
        value]
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
        self,
        *,
        repeats: int | None = None,
        days: int = 1,
        runs: int = 1,
        others: Sequence[tuple[float, float]] = (),
    ) -> tuple[float, float]:
        r"""Return the standard uncertainty of a mean of repeats, days and runs, and its degrees of freedom.

        .. math:: u^2 = \frac{s_3^2 - s_2^2/K}{l} + \frac{s_2^2 - s_1^2/J}{l k} + \frac{s_1^2}{l k j} + \sum
        u_i^2

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
            message = (
                f"the variance of the mean asked for must be above zero; got {total:g} from these spreads"
            )
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
        Column or columns that name what was measured (the lamp, the lamp and the meter): levels are pooled
        over them.
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
        If days or runs do not repeat (code ``no_repeats``) or an artifact's day count differs
        (``missing_cells``).
    """
    things = [artifact] if isinstance(artifact, str) else list(artifact)
    require_columns(table, value, repeat_sd, run, *things)
    numbers = table[[value, repeat_sd]].to_numpy(dtype=np.float64)
    if repeats < 2 or not np.isfinite(numbers).all():
        gaps = int((~np.isfinite(numbers)).sum())
        message = f"repeats must be 2 or more and {value}, {repeat_sd} finite; got {repeats} and {gaps} gaps"
        raise ValueError(message)
    by_run = table.groupby([*things, run], sort=False)[value]
    days = by_run.size()
    runs = days.groupby(things, sort=False).size()
    if days.min() != days.max():
        least = days.idxmin()
        message = (
            f"every run must hold equally many days of each artifact; got {days.min()} for {least}, "
            f"up to {days.max()} for others"
        )
        raise MethodError(message, code="missing_cells", known={"cell": least, "days": int(days.min())})
    if days.iloc[0] < 2 or runs.max() < 2:
        message = (
            f"days and runs must repeat; got {days.iloc[0]} day(s) a run and at most {runs.max()} run(s)"
        )
        raise MethodError(
            message, code="no_repeats", known={"days": int(days.iloc[0]), "runs": int(runs.max())}
        )
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
