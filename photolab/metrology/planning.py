"""What the next protocol can resolve, how many mountings that takes, and where effort pays.

Spreads are relative standard deviations (of ln readings): 0.02 is 2 %.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photolab.errors import demand
from photolab.metrology.arguments import Floats, must_hold, not_negative, positive, require
from photolab.metrology.quantity import COVERAGE, normal_quantile

if TYPE_CHECKING:
    import pandas as pd


MOST_REPLICATES = 2**50
"""Beyond so many the floor is taken to forbid it: the power asked for is reached by rounding only."""


NORMAL_DOF = 1e6
"""Degrees of freedom above which Student's t is the normal law to seven digits."""


_MOST_TRIALS = 2_000_000


def resolvable_ratio(
    relative_sd: float,
    n: int,
    *,
    floor: float = 0.0,
    dof: float | None = math.inf,
    floor_dof: float = math.inf,
    power: float = 0.8,
    coverage: float = COVERAGE,
) -> float:
    r"""Return the smallest ratio of two lamps that a test will probably resolve.

    .. math:: r = \exp\left[(z_{(1+p)/2} + z_{\beta}) \sqrt{2 s^2/n + u_0^2}\right]

    Parameters
    ----------
    relative_sd : float
        Relative standard deviation of one mounting :math:`s`; zero where seating adds nothing. [1]
    n : int
        Mountings of each lamp. [1]
    floor : float, default 0
        Relative standard uncertainty of the ratio that more mountings do not lower :math:`u_0`. [1]
    dof : float or None, default inf
        Degrees of freedom of `relative_sd`; inf where it is known, None where it comes from these mountings
        alone, 2 (n - 1). [1]
    floor_dof : float, default inf
        Degrees of freedom of `floor`; together with those of the mountings by Welch and Satterthwaite (JCGM 100:2008,
        G.4.1), so that more mountings leave those of the floor. [1]
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
    _check_plan(relative_sd, floor, (dof, floor_dof), power, coverage)
    least = 2 if dof is None else 1
    demand(n >= least, f"n must be {least} or more", n)
    u, free = _mounted(n, relative_sd, floor, dof, floor_dof)
    return math.exp(_needed_shift(free, power, coverage) * u)


def replicates_needed(
    relative_difference: float,
    relative_sd: float,
    *,
    floor: float = 0.0,
    dof: float | None = math.inf,
    floor_dof: float = math.inf,
    power: float = 0.8,
    coverage: float = COVERAGE,
) -> int | None:
    """Return the mountings of each lamp that resolve a stated difference.

    Parameters
    ----------
    relative_difference : float
        True ratio less one, above -1 and not zero. [1]
    relative_sd : float
        Relative standard deviation of one mounting; zero where seating adds nothing. [1]
    floor : float, default 0
        Relative standard uncertainty of the ratio that more mountings do not lower. [1]
    dof : float or None, default inf
        Degrees of freedom of `relative_sd`; inf where it is known, None where it comes from these mountings
        alone, 2 (n - 1). [1]
    floor_dof : float, default inf
        Degrees of freedom of `floor`; together with those of the mountings by Welch and Satterthwaite (JCGM 100:2008,
        G.4.1), so that more mountings leave those of the floor. [1]
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
    _check_plan(relative_sd, floor, (dof, floor_dof), power, coverage)
    holds = relative_difference > -1.0 and relative_difference != 0.0
    demand(holds, "relative_difference must be above -1 and not zero", f"{relative_difference:g}")
    difference = abs(math.log1p(relative_difference))
    if floor > 0.0 and _power(difference / floor, floor_dof, coverage) <= power:
        return None

    def resolves(n: int) -> bool:
        u, free = _mounted(n, relative_sd, floor, dof, floor_dof)
        return u == 0.0 or _power(difference / u, free, coverage) >= power

    first = high = 2 if dof is None else 1
    while not resolves(high):
        high *= 2
        if high > MOST_REPLICATES:
            return None
    return bisect_left(range(high), True, lo=max(high // 2 + 1, first), key=resolves)


def planned_sd(sd_by_level: Mapping[str, float], counts: Mapping[str, int]) -> float:
    r"""Return the standard deviation of a lamp's mean under a plan.

    .. math:: s^2 = \sum_k s_k^2 / (n_1 n_2 \cdots n_k)

    Parameters
    ----------
    sd_by_level : mapping
        Standard deviation of each level, outermost first. [any unit, or ln]
    counts : mapping
        Number of each level in one of the level outside it (specimens, mountings a specimen, readings a
        mounting). [1]

    Returns
    -------
    float
        Standard deviation of the mean. [unit of the standard deviations]
    """
    _same_levels(sd_by_level, "counts", counts)
    units = np.cumprod(_each("counts", counts, lambda n: n >= 1, "1 or more"))
    return math.sqrt(sum(sd**2 / unit for sd, unit in zip(sd_by_level.values(), units.tolist(), strict=True)))


def allocate_effort(
    sd_by_level: Mapping[str, float], cost_by_level: Mapping[str, float], *, total_cost: float | None = None
) -> pd.DataFrame:
    r"""Return how many specimens, mountings and readings make the mean of a lamp best for its cost.

    Units of level k cost :math:`c_k` each; :math:`N_k = \sqrt{s_k^2/(\lambda c_k)}` of them in all minimise
    the variance, so that :math:`n_k = \sqrt{c_{k-1} s_k^2 / (c_k s_{k-1}^2)}`; where that falls below 1 the
    two levels are taken as one, with summed costs and variances.

    Parameters
    ----------
    sd_by_level : mapping
        Standard deviation of each level, outermost first, the readings last. [any unit, or ln]
    cost_by_level : mapping
        Cost of one more unit of the level, what is inside it not counted; same names, same order. [any unit]
    total_cost : float, optional
        What may be spent on one lamp; the whole plan is then found in whole numbers. Without it, the
        outermost level counts 1. [as cost]

    Returns
    -------
    DataFrame
        ``level, sd, cost, ideal, count, units, variance, spent``: ideal number in one outer unit, whole
        number chosen, number in all, contribution to the variance of the mean, and cost. The sums of the last
        two are the plan's. [as given]

    Raises
    ------
    ValueError
        If names differ, a standard deviation or cost is negative or not finite, an inner level is free, or
        the outermost level has no spread and no `total_cost` bounds the inner ones.
    MethodError
        If `total_cost` does not pay for one of each (code ``too_little``).
    """
    import pandas as pd  # heavy, and `compare` needs no table

    _same_levels(sd_by_level, "cost_by_level", cost_by_level)
    levels, wanted = list(sd_by_level), "finite and zero or more"
    sd = _each("sd_by_level", sd_by_level, lambda v: (v >= 0) & np.isfinite(v), wanted)
    cost = _each("cost_by_level", cost_by_level, lambda v: (v >= 0) & np.isfinite(v), wanted)
    inner = dict(list(cost_by_level.items())[1:]) or cost_by_level
    _each("cost_by_level", inner, lambda v: v > 0, "above zero")
    got = f"0 at every level ({', '.join(levels)})"
    demand(sd.sum() > 0.0, "sd_by_level must hold a spread above zero", got)
    ideal = _ideal_counts(sd**2, cost)
    if total_cost is None:
        wanted = f"sd_by_level[{levels[0]!r}] must be above zero without a total_cost"
        demand(np.isfinite(ideal[1:]).all(), wanted, f"{sd[0]:g}")
        counts = _round_counts(ideal, sd**2, cost)
    else:
        counts = _best_counts(sd**2, cost, total_cost)
        per_unit = float(cost @ np.cumprod(np.append(1.0, ideal[1:])))
        ideal[0] = total_cost / per_unit if math.isfinite(per_unit) else math.nan
    units = np.cumprod(counts)
    columns = {
        "level": levels,
        "sd": sd,
        "cost": cost,
        "ideal": ideal,
        "count": counts.astype(int),
        "units": units.astype(int),
        "variance": sd**2 / units,
        "spent": cost * units,
    }
    return pd.DataFrame(columns)


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
    demand(0.0 <= factor < 1.0, "factor must be zero or more and below 1", f"{factor:g}")
    given, wanted = budget["variance_fraction"], "finite and zero or more"
    fractions = require(
        "variance_fraction", given, lambda f: (f >= 0) & np.isfinite(f), wanted, missing=False
    )
    positive("the sum of variance_fraction", fractions.sum(), missing=False)
    table = budget[columns].assign(variance_fraction=fractions / fractions.sum())
    table = table.groupby(columns, sort=False)[["variance_fraction"]].sum().reset_index()
    share = table["variance_fraction"].clip(upper=1.0)
    table["uncertainty_factor"] = np.sqrt(1.0 - share * (1.0 - factor**2))
    table["floor_factor"] = np.sqrt(1.0 - share)
    if costs is None:
        return table.sort_values("uncertainty_factor", kind="stable", ignore_index=True)
    table["cost"] = table[columns[0]].map(costs)
    table["gain_per_cost"] = (1.0 - table["uncertainty_factor"]) / table["cost"]
    return table.sort_values("gain_per_cost", ascending=False, kind="stable", ignore_index=True)


def bench_hours(counts: Mapping[str, int], minutes: Mapping[str, float]) -> float:
    """Return the bench time of a plan.

    Parameters
    ----------
    counts : mapping
        Number of each level in one of the level outside it, outermost first (lamps, specimens a lamp,
        mountings, readings). [1]
    minutes : mapping
        Time each unit of the level takes by itself (rest and warm-up a mounting, one reading); same names,
        same order. [min]

    Returns
    -------
    float
        Time in all. [h]
    """
    _same_levels(counts, "minutes", minutes)
    number = _each("counts", counts, lambda n: (n >= 1) & np.isfinite(n), "finite and 1 or more")
    each = _each("minutes", minutes, lambda t: (t >= 0) & np.isfinite(t), "finite and 0 or more")
    return float(np.cumprod(number) @ each) / 60.0


def run_order(
    lamps: Sequence[Hashable],
    *,
    seed: int,
    days: int = 1,
    rounds: int = 1,
    baseline: Hashable | None = None,
    baseline_every: int = 4,
) -> pd.DataFrame:
    """Return a random run order to print and work through.

    Parameters
    ----------
    lamps : sequence
        What is mounted: lamps, or (lamp, specimen) pairs; the baseline left out.
    seed : int
        Seed of the shuffle; the same seed gives the same order. [1]
    days : int, default 1
        Bench days; every lamp is mounted on each. [1]
    rounds : int, default 1
        Mountings of every lamp a day; each round shuffles all lamps anew. [1]
    baseline : hashable, optional
        Check standard that opens and closes each day and stands after every `baseline_every` lamps.
    baseline_every : int, default 4
        Lamps between two baselines. [1]

    Returns
    -------
    DataFrame
        ``day, position, lamp, mounting``; mountings are counted for each lamp over the campaign. [1]
    """
    import pandas as pd  # heavy, and `compare` needs no table

    different = len(set(lamps))
    holds = different == len(lamps) > 0 and baseline not in lamps
    got = f"{len(lamps)} names, {different} different"
    demand(holds, "lamps must be different from one another and from the baseline", got)
    got = f"{days}, {rounds}, {baseline_every}"
    demand(min(days, rounds, baseline_every) >= 1, "days, rounds and baseline_every must be 1 or more", got)
    rng = np.random.default_rng(seed)
    rows: list[tuple[int, int, Hashable]] = []
    for day in range(1, days + 1):
        order: list[Hashable] = []
        for _ in range(rounds):
            turn = [lamps[int(place)] for place in rng.permutation(len(lamps))]
            if order and turn[0] == order[-1]:
                turn.append(turn.pop(0))
            order.extend(turn)
        if baseline is not None:
            blocks = [order[start : start + baseline_every] for start in range(0, len(order), baseline_every)]
            order = [baseline, *(lamp for block in blocks for lamp in (*block, baseline))]
        rows.extend((day, position, lamp) for position, lamp in enumerate(order, start=1))
    table = pd.DataFrame.from_records(rows, columns=["day", "position", "lamp"])
    table["mounting"] = table.groupby("lamp").cumcount() + 1
    return table


def _check_plan(
    relative_sd: float, floor: float, dofs: tuple[float | None, float], power: float, coverage: float
) -> None:
    """Refuse a plan outside its domain."""
    not_negative("relative_sd", relative_sd, missing=False)
    not_negative("floor", floor, missing=False)
    for name, dof in zip(("dof", "floor_dof"), dofs, strict=True):
        require(name, math.inf if dof is None else dof, lambda v: v > 0, "above zero", missing=False)
    for name, chance in (("power", power), ("coverage", coverage)):
        require(name, chance, lambda p: (p > 0) & (p < 1), "between 0 and 1", missing=False)


def _mounted(
    n: int, relative_sd: float, floor: float, dof: float | None, floor_dof: float
) -> tuple[float, float]:
    """Return the standard uncertainty of ln(ratio) of two lamps mounted `n` times each, and its dof."""
    seated, rest = 2.0 * relative_sd**2 / n, floor**2
    spent = seated**2 / (2.0 * (n - 1) if dof is None else dof) + rest**2 / floor_dof
    return math.sqrt(seated + rest), (seated + rest) ** 2 / spent if spent else math.inf


def _power(standardised: float, dof: float, coverage: float) -> float:
    """Return the two-sided power at a difference counted in its standard uncertainties."""
    if dof > NORMAL_DOF:
        z = normal_quantile((1.0 + coverage) / 2.0)
        return sum(math.erfc((z + x) / math.sqrt(2.0)) / 2.0 for x in (standardised, -standardised))
    from scipy import special  # a third of the time of comparing two readings, which do without

    t = float(special.stdtrit(dof, (1.0 + coverage) / 2.0))
    # far out the noncentral t is not computable (NaN): nothing is missed there, and the other side is empty
    missed, other_side = (float(np.nan_to_num(special.nctdtr(dof, standardised, x))) for x in (t, -t))
    return 1.0 - missed + other_side


def _needed_shift(dof: float, power: float, coverage: float) -> float:
    """Return the difference, in its standard uncertainties, that is found with the power asked for."""
    if power <= 1.0 - coverage:
        return 0.0
    low, upper = 0.0, 10.0
    while _power(upper, dof, coverage) < power and upper < 1e4:
        upper *= 2.0
    while upper - low > 1e-12 * upper:
        middle = (low + upper) / 2.0
        low, upper = (middle, upper) if _power(middle, dof, coverage) < power else (low, middle)
    return (low + upper) / 2.0


def _same_levels(first: Mapping[str, float], name: str, other: Mapping[str, float]) -> None:
    """Refuse two tables that do not name the same levels in the same order."""
    same = len(first) > 0 and list(first) == list(other)
    demand(same, f"{name} must name the levels {', '.join(first)} in order", ", ".join(other))


def _each(
    name: str, table: Mapping[str, float], holds: Callable[[Floats], NDArray[np.bool_]], wanted: str
) -> Floats:
    """Return the numbers of a table by level, each checked and named by its level where it does not hold."""
    for level, value in table.items():
        require(f"{name}[{level!r}]", value, holds, wanted, missing=False)
    return np.array([*table.values()], dtype=np.float64)


def _ideal_counts(variance: Floats, cost: Floats) -> Floats:
    """Return unrounded numbers in one outer unit, none below 1; the outermost is not determined (NaN)."""
    from scipy.optimize import isotonic_regression  # heavy, and `compare` plans nothing

    if cost[0] == 0.0:  # an outermost level that is free is one with the next
        return np.insert(_ideal_counts(np.append(variance[:2].sum(), variance[2:]), cost[1:]), 1, 1.0)
    # variance / cost falls where a level asks for fewer units than its outer one has: they are taken as one
    worth = isotonic_regression(variance / cost, weights=cost).x
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = np.where(worth[1:] > worth[:-1], np.sqrt(worth[1:] / worth[:-1]), 1.0)
    return np.append(math.nan, rise)


def _round_counts(ideal: Floats, variance: Floats, cost: Floats) -> Floats:
    """Return the neighbouring whole numbers with the least variance times cost, the outermost 1."""
    choices = [sorted({max(1, math.floor(one)), math.ceil(one)}) for one in ideal[1:]]
    plans = np.array([[1.0, *inner] for inner in itertools.product(*choices)])
    units = np.cumprod(plans, axis=1)
    return np.asarray(plans[np.argmin((variance / units).sum(axis=1) * (units @ cost))])


def _best_counts(variance: Floats, cost: Floats, total_cost: float) -> Floats:
    """Return the whole numbers with the least variance that the total pays for; the cheapest among equals."""
    inner, least = len(cost) - 1, float(cost.sum())
    message = f"total_cost must pay for one unit of each level ({least:g}); got {total_cost:g}"
    must_hold(total_cost >= least, message, code="too_little", known={"least_cost": least})
    most = int(_MOST_TRIALS ** (1.0 / max(inner, 1)))
    spare = total_cost - least
    reach = [np.arange(1.0, min(most, math.floor(spare / one) + 1) + 1) for one in cost[1:]]
    axes = [axis.ravel() for axis in np.meshgrid(*reach, indexing="ij")]
    grid = np.array(axes).reshape(inner, -1 if inner else 1)
    units = np.cumprod(np.vstack([np.ones((1, grid.shape[1])), grid]), axis=0)
    affordable = np.floor(total_cost / (cost @ units) * (1.0 + 1e-12))
    spread = np.where(affordable >= 1.0, (variance @ (1.0 / units)) / np.maximum(affordable, 1.0), np.inf)
    spent = affordable * (cost @ units)
    best = np.lexsort((spent, np.round(spread / spread.min(), 12)))[0]
    return np.append(affordable[best], grid[:, best])
