"""What the next protocol can resolve, how many mountings that takes, and where effort pays.

Spreads are relative standard deviations (of ln readings): 0.02 is 2 %. Allocation, hours and run order are in
`effort`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy import special

from photolab.metrology.quantity import COVERAGE

if TYPE_CHECKING:
    import pandas as pd

Alternative = Literal["two-sided", "larger", "smaller"]
MOST_REPLICATES = 2**50
"""Beyond so many the floor is taken to forbid it: the power asked for is reached by rounding only."""

NORMAL_DOF = 1e6
"""Degrees of freedom above which Student's t is the normal law to seven digits."""


def _check_plan(relative_sd: float, floor: float, dof: float | None, power: float, coverage: float) -> None:
    """Refuse a plan outside its domain."""
    if not (math.isfinite(relative_sd) and relative_sd > 0.0):
        message = f"relative_sd must be finite and above zero; got {relative_sd:g}"
        raise ValueError(message)
    if not (math.isfinite(floor) and floor >= 0.0):
        message = f"floor must be finite and zero or more; got {floor:g}"
        raise ValueError(message)
    if dof is not None and not dof > 0.0:
        message = f"dof must be above zero; got {dof:g}"
        raise ValueError(message)
    for name, chance in (("power", power), ("coverage", coverage)):
        if not 0.0 < chance < 1.0:
            message = f"{name} must lie between 0 and 1; got {chance:g}"
            raise ValueError(message)


def _ratio_sd(relative_sd: float, n: int, floor: float) -> float:
    """Return the standard uncertainty of ln(ratio) of two lamps mounted `n` times each."""
    return math.sqrt(2.0 * relative_sd**2 / n + floor**2)


def _power(standardised: float, dof: float, coverage: float) -> float:
    """Return the two-sided power at a difference counted in its standard uncertainties."""
    if dof > NORMAL_DOF:
        z = float(special.ndtri((1.0 + coverage) / 2.0))
        return float(special.ndtr(standardised - z) + special.ndtr(-standardised - z))
    t = float(special.stdtrit(dof, (1.0 + coverage) / 2.0))
    # far out the noncentral t is not computable (NaN): nothing is missed there, and the other side is empty
    missed, other_side = (float(np.nan_to_num(special.nctdtr(dof, standardised, x))) for x in (t, -t))
    return 1.0 - missed + other_side


def comparison_power(
    relative_difference: float,
    relative_sd: float,
    n: int,
    *,
    floor: float = 0.0,
    dof: float | None = math.inf,
    coverage: float = COVERAGE,
) -> float:
    """Return the chance that two lamps with a stated difference are told apart.

    Parameters
    ----------
    relative_difference : float
        True ratio less one, above -1. [1]
    relative_sd : float
        Relative standard deviation of one mounting. [1]
    n : int
        Mountings of each lamp. [1]
    floor : float, default 0
        Relative standard uncertainty of the ratio that more mountings do not lower. [1]
    dof : float or None, default inf
        Degrees of freedom of `relative_sd`; inf where it is known, None where it comes from these mountings
        alone, 2 (n - 1). [1]
    coverage : float, default COVERAGE
        Coverage probability of the interval that must not hold 1. [1]

    Returns
    -------
    float
        Power of the two-sided decision. [1]

    Raises
    ------
    ValueError
        If an argument is outside its domain.
    """
    _check_plan(relative_sd, floor, dof, 0.5, coverage)
    if not relative_difference > -1.0:
        message = f"relative_difference must be above -1; got {relative_difference:g}"
        raise ValueError(message)
    if n < 1 or (dof is None and n < 2):
        message = f"n must be {2 if dof is None else 1} or more; got {n}"
        raise ValueError(message)
    free = 2.0 * (n - 1) if dof is None else dof
    return _power(abs(math.log1p(relative_difference)) / _ratio_sd(relative_sd, n, floor), free, coverage)


def resolvable_ratio(
    relative_sd: float,
    n: int,
    *,
    floor: float = 0.0,
    dof: float | None = math.inf,
    power: float = 0.8,
    coverage: float = COVERAGE,
) -> float:
    r"""Return the smallest ratio of two lamps that a test will probably resolve.

    .. math:: r = \exp\left[(z_{(1+p)/2} + z_{\beta}) \sqrt{2 s^2/n + u_0^2}\right]

    Parameters
    ----------
    relative_sd : float
        Relative standard deviation of one mounting :math:`s`. [1]
    n : int
        Mountings of each lamp. [1]
    floor : float, default 0
        Relative standard uncertainty of the ratio that more mountings do not lower :math:`u_0`. [1]
    dof : float or None, default inf
        Degrees of freedom of `relative_sd`; inf where it is known, None where it comes from these mountings
        alone, 2 (n - 1). [1]
    power : float, default 0.8
        Chance of resolving it :math:`\beta`. [1]
    coverage : float, default COVERAGE
        Coverage probability of the interval that must not hold 1 :math:`p`. [1]

    Returns
    -------
    float
        Ratio above 1; its inverse is resolved as well. [1]

    Raises
    ------
    ValueError
        If an argument is outside its domain.

    Notes
    -----
    About exp(2.8 u) at 80 % power and 95 % coverage. With finite dof the noncentral t replaces the normal
    law.
    """
    _check_plan(relative_sd, floor, dof, power, coverage)
    if n < 1 or (dof is None and n < 2):
        message = f"n must be {2 if dof is None else 1} or more; got {n}"
        raise ValueError(message)
    free = 2.0 * (n - 1) if dof is None else dof
    return math.exp(_needed_shift(free, power, coverage) * _ratio_sd(relative_sd, n, floor))


def _needed_shift(dof: float, power: float, coverage: float) -> float:
    """Return the difference, in its standard uncertainties, that is found with the power asked for."""
    if power <= 1.0 - coverage:
        return 0.0
    upper = 10.0
    while _power(upper, dof, coverage) < power and upper < 1e4:
        upper *= 2.0
    low = 0.0
    while upper - low > 1e-12 * upper:
        middle = (low + upper) / 2.0
        low, upper = (middle, upper) if _power(middle, dof, coverage) < power else (low, middle)
    return (low + upper) / 2.0


def replicates_needed(
    relative_difference: float,
    relative_sd: float,
    *,
    floor: float = 0.0,
    dof: float | None = math.inf,
    power: float = 0.8,
    coverage: float = COVERAGE,
) -> int | None:
    """Return the mountings of each lamp that resolve a stated difference.

    Parameters
    ----------
    relative_difference : float
        True ratio less one, above -1 and not zero. [1]
    relative_sd : float
        Relative standard deviation of one mounting. [1]
    floor : float, default 0
        Relative standard uncertainty of the ratio that more mountings do not lower. [1]
    dof : float or None, default inf
        Degrees of freedom of `relative_sd`; inf where it is known, None where it comes from these mountings
        alone, 2 (n - 1). [1]
    power : float, default 0.8
        Chance of resolving it; 0.5 is an even chance. [1]
    coverage : float, default COVERAGE
        Coverage probability of the interval that must not hold 1. [1]

    Returns
    -------
    int or None
        Smallest number of mountings of each lamp; None where the floor alone forbids it, however many there
        are. [1]

    Raises
    ------
    ValueError
        If an argument is outside its domain.
    """
    _check_plan(relative_sd, floor, dof, power, coverage)
    if not (relative_difference > -1.0 and relative_difference != 0.0):
        message = f"relative_difference must be above -1 and not zero; got {relative_difference:g}"
        raise ValueError(message)
    difference = abs(math.log1p(relative_difference))
    limit = math.inf if dof is None else dof
    if floor > 0.0 and _power(difference / floor, limit, coverage) <= power:
        return None

    def resolves(n: int) -> bool:
        free = 2.0 * (n - 1) if dof is None else dof
        return _power(difference / _ratio_sd(relative_sd, n, floor), free, coverage) >= power

    first = 2 if dof is None else 1
    if resolves(first):
        return first
    low, high = first, 2 * first
    while not resolves(high):
        low, high = high, 2 * high
        if high > MOST_REPLICATES:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if resolves(middle) else (middle, high)
    return high


def mean_power(
    effect_size: float,
    n: float,
    n_other: float | None = None,
    *,
    alternative: Alternative = "two-sided",
    coverage: float = COVERAGE,
) -> float:
    """Return the power of a t test of one mean, or of two means.

    Parameters
    ----------
    effect_size : float
        Difference over the standard deviation of one reading. [1]
    n : float
        Readings (of the first lamp). [1]
    n_other : float, optional
        Readings of the second lamp; without it one mean against a fixed value. [1]
    alternative : {"two-sided", "larger", "smaller"}
        Which differences count.
    coverage : float, default COVERAGE
        One less the size of the test. [1]

    Returns
    -------
    float
        Power, by the noncentral t. [1]
    """
    from statsmodels.stats.power import TTestIndPower, TTestPower  # heavy, and no comparison needs it

    size = 1.0 - coverage
    if n_other is None:
        return float(TTestPower().power(effect_size, n, size, alternative=alternative))
    return float(TTestIndPower().power(effect_size, n, size, ratio=n_other / n, alternative=alternative))


def mean_replicates(
    effect_size: float,
    *,
    groups: Literal[1, 2] = 1,
    alternative: Alternative = "two-sided",
    known_sd: bool = False,
    power: float = 0.8,
    coverage: float = COVERAGE,
) -> float:
    """Return the readings, of one mean or of each of two, that find a difference; not rounded.

    Parameters
    ----------
    effect_size : float
        Difference over the standard deviation of one reading, not zero. [1]
    groups : {1, 2}
        One mean against a fixed value, or two means.
    alternative : {"two-sided", "larger", "smaller"}
        Which differences count.
    known_sd : bool, default False
        Use the normal law (standard deviation known) instead of the noncentral t.
    power : float, default 0.8
        Chance of finding it. [1]
    coverage : float, default COVERAGE
        One less the size of the test. [1]

    Returns
    -------
    float
        Readings of each group; round up. [1]
    """
    if effect_size == 0.0 or not math.isfinite(effect_size):
        message = f"effect_size must be finite and not zero; got {effect_size:g}"
        raise ValueError(message)
    from statsmodels.stats.power import (  # heavy, as above
        TTestIndPower,
        TTestPower,
        normal_sample_size_one_tail,
    )

    size = 1.0 - coverage
    if known_sd:
        half = size / 2.0 if alternative == "two-sided" else size
        return float(normal_sample_size_one_tail(abs(effect_size), power, half, std_null=math.sqrt(groups)))
    solver = TTestPower() if groups == 1 else TTestIndPower()
    return float(solver.solve_power(effect_size, power=power, alpha=size, alternative=alternative))


def improvements(
    budget: pd.DataFrame,
    *,
    by: str | list[str] = "kind",
    factor: float = 0.5,
    costs: dict[str, float] | None = None,
) -> pd.DataFrame:
    r"""Return what each source of doubt would yield if it were made smaller, the best first.

    .. math:: u'/u = \sqrt{1 - f (1 - q^2)}

    Parameters
    ----------
    budget : DataFrame
        Budget of a result: columns ``variance_fraction`` and those named in `by`.
    by : str or list of str, default "kind"
        What makes one source: kinds of input ("scale", "seating"), or finer columns such as "name".
    factor : float, default 0.5
        By what :math:`q` the source's standard uncertainty would be multiplied. [1]
    costs : dict, optional
        Cost of that step for each source (hours, money); sources without one are left last. [any unit]

    Returns
    -------
    DataFrame
        The `by` columns; ``variance_fraction`` :math:`f`; ``uncertainty_factor`` :math:`u'/u`;
        ``floor_factor``, the same were the source gone; with costs ``cost`` and ``gain_per_cost``. First row:
        the next best step. [1]

    Raises
    ------
    ValueError
        If a column is missing, a fraction is negative or not finite, all are zero, or the factor is not in
        [0, 1).

    Notes
    -----
    Rows of one source move together and its inputs are independent of the others'. Replicates are one way to
    a factor: four times the mountings halve the mounting part.
    """
    from photolab.metrology.columns import require_columns  # heavy: it holds pandas

    columns = [by] if isinstance(by, str) else list(by)
    require_columns(budget, "variance_fraction", *columns)
    if not 0.0 <= factor < 1.0:
        message = f"factor must be zero or more and below 1; got {factor:g}"
        raise ValueError(message)
    fractions = np.asarray(budget["variance_fraction"], dtype=np.float64)
    bad = np.flatnonzero(~(fractions >= 0.0) | ~np.isfinite(fractions))
    if bad.size or fractions.sum() <= 0.0:
        where = f"variance_fraction[{bad[0]}]" if bad.size else "the sum of variance_fraction"
        got = fractions[bad[0]] if bad.size else fractions.sum()
        message = f"{where} must be finite and {'zero or more' if bad.size else 'above zero'}; got {got:g}"
        raise ValueError(message)
    table = budget[columns].assign(variance_fraction=fractions / fractions.sum())
    table = table.groupby(columns, sort=False)[["variance_fraction"]].sum().reset_index()
    share = table["variance_fraction"].clip(upper=1.0)
    table["uncertainty_factor"] = np.sqrt(1.0 - share * (1.0 - factor**2))
    table["floor_factor"] = np.sqrt(1.0 - share)
    order = "uncertainty_factor"
    if costs is not None:
        table["cost"] = table[columns[0]].map(costs)
        table["gain_per_cost"] = (1.0 - table["uncertainty_factor"]) / table["cost"]
        order = "gain_per_cost"
    return table.sort_values(order, ascending=costs is None, kind="stable", na_position="last").reset_index(
        drop=True
    )
