"""Did the bench hold: control chart of a check standard, steps and drift, bracketing by clock.

Values are ln readings where relative spreads are given: 0.02 is 2 %.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from photolab.errors import demand
from photolab.metrology.arguments import Floats, finite, must_hold, not_negative
from photolab.metrology.columns import finite_column, label_codes, require_columns

FAMILIES = ("day", "group", "step", "drift")


class Signal(NamedTuple):
    """Something on a chart that chance seldom makes.

    Attributes
    ----------
    kind : str
        ``day`` one day against the others; ``group`` consecutive days against the others; ``step`` all days
        from one on against those before; ``drift`` a slope over the days.
    first, last : object
        First and last day of it.
    size : float
        Difference, or slope a day for ``drift``. [unit of the value, or per day]
    low, high : float
        Interval that holds for all looks of its kind at once. [as size]
    statistic, limit : float
        Size over its standard uncertainty, and the limit it passed. [1]
    p : float
        Chance of any such signal on a chart that holds, all looks of all kinds counted, at most 1. [1]
    """

    kind: str
    first: Any
    last: Any
    size: float
    low: float
    high: float
    statistic: float
    limit: float
    p: float


@dataclass(frozen=True, eq=False)
class ControlChart:
    """Control chart of a check standard.

    Attributes
    ----------
    table : DataFrame
        One row a day: ``day, mountings, mean, sd`` (of a day's mean), ``low, high`` (limits for it),
        ``statistic, p, out``. [unit of the value]
    centre, centre_uncertainty : float
        Level the days are held against. [unit of the value]
    signals : tuple of Signal
        What passed its limit; of groups, steps and drift the strongest one.
    limits : dict
        Limit of the standardised size, by kind. [1]
    false_alarm : float
        Stated chance of any signal on a chart that holds. [1]
    """

    table: pd.DataFrame
    centre: float
    centre_uncertainty: float
    signals: tuple[Signal, ...]
    limits: dict[str, float]
    false_alarm: float


def control_chart(
    table: pd.DataFrame,
    value: str,
    day: str,
    *,
    day_sd: float,
    mounting_sd: float,
    mounting: str | None = None,
    reading_sd: float = 0.0,
    shared: Sequence[str] = (),
    dof: float = math.inf,
    centre: float | None = None,
    centre_uncertainty: float = 0.0,
    false_alarm: float = 0.05,
    longest_group: int = 5,
    trials: int = 20_000,
    seed: int = 0,
) -> ControlChart:
    """Return the control chart of a check standard over bench days.

    Parameters
    ----------
    table : DataFrame
        One row a mounting of the check standard, or one a reading with `mounting` naming them.
    value, day : str
        Columns of the value and of the day. Days stand in the order of their labels, of their categories where they
        have some; numbers and dates keep their spacing.
    day_sd, mounting_sd : float
        Prior standard deviations, from the components of earlier work or assumed. [unit of the value]
    mounting : str, optional
        Column of the mounting within the day; readings of one mounting are averaged first.
    reading_sd : float, default 0
        Prior standard deviation of a reading. [unit of the value]
    shared : sequence of str, default ()
        Columns of the standard uncertainty that an error common to several rows has in each, zero where it does not
        act: the link of a second meter. [unit of the value]
    dof : float, default inf
        Degrees of freedom of the prior standard deviations, taken as one estimate; inf where assumed. [1]
    centre : float, optional
        Level from earlier work; without it the weighted mean of these days. [unit of the value]
    centre_uncertainty : float, default 0
        Standard uncertainty of a given `centre`. [unit of the value]
    false_alarm : float, default 0.05
        Chance of any signal on a chart that holds. [1]
    longest_group : int, default 5
        Longest group of consecutive days looked at (steps reach to the end). [1]
    trials : int, default 20000
        Simulated charts behind the limits. [1]
    seed : int, default 0
        Seed of the simulation. [1]

    Returns
    -------
    ControlChart
        Days with their limits, and the signals. [unit of the value]

    Raises
    ------
    ValueError
        If a column is missing, a value is not finite, or an argument is outside its domain.
    MethodError
        If there are fewer than three days and no `centre` (code ``few_days``).

    Notes
    -----
    Each kind of look (days, groups, steps, drift) has one limit for its largest standardised size, set on
    simulated charts that hold, with the same days, mountings and spreads: equally likely for each kind, and
    `false_alarm` for all of them together. The rate is as good as the prior spreads: where they are half the
    true ones most charts alarm.
    """
    holds = 0.0 < false_alarm < 1.0 and longest_group >= 1 and trials >= 100 and dof > 0.0
    wanted = (
        "false_alarm must lie between 0 and 1, longest_group be 1 or more, trials 100 or more, dof above zero"
    )
    demand(holds, wanted, f"{false_alarm:g}, {longest_group}, {trials}, {dof:g}")
    days = _day_means(table, value, day, mounting)
    mean = days["mean"].to_numpy(dtype=np.float64)
    sd = _spread_of_days(days, day_sd, mounting_sd, reading_sd)
    message = f"a chart without a given centre must hold at least 3 days; got {len(mean)}"
    must_hold(centre is not None or len(mean) >= 3, message, code="few_days", known={"days": len(mean)})
    common = [_day_means(table, column, day, mounting)["mean"] for column in shared]
    loads = np.reshape(common, (len(shared), len(mean))).T
    weights = 1.0 / sd**2
    if centre is None:
        level, level_u = float(weights @ mean / weights.sum()), float(weights.sum() ** -0.5)
        spread, data = sd, mean - level
    else:
        level, level_u = centre, centre_uncertainty
        spread, data = np.append(sd, centre_uncertainty), np.append(mean - centre, 0.0)
    looks = _looks(days[day], weights, centre is not None, longest_group)
    family = np.array([kind for kind, *_ in looks])
    contrasts = np.array([contrast for *_, contrast in looks])
    # what a look takes from each day's own error, then from each common one
    taken = np.hstack([contrasts * spread, contrasts[:, : len(mean)] @ loads])
    uncertainty = np.sqrt((taken**2).sum(axis=1))
    size = contrasts @ data
    statistic = size / uncertainty
    largest = _largest(taken / uncertainty[:, None], family, dof, trials, seed)
    limits, p = _limits_and_chances(largest, family, np.abs(statistic), false_alarm)
    half = np.array([limits[kind] for kind in family]) * uncertainty
    signals: list[Signal] = []
    for i in np.argsort(-np.abs(statistic), kind="stable"):
        kind, first, last, _ = looks[i]
        # every day beyond its limit, and the strongest group, step and drift
        if abs(statistic[i]) > limits[kind] and (kind == "day" or all(kind != one.kind for one in signals)):
            numbers = (size[i], size[i] - half[i], size[i] + half[i], statistic[i], limits[kind], p[i])
            signals.append(Signal(kind, first, last, *map(float, numbers)))
    of_day = family == "day"
    away = loads - (weights @ loads / weights.sum() if centre is None else 0.0)
    # a day is part of a centre that is not given
    deviation = sd**2 + (-1.0 if centre is None else 1.0) * level_u**2 + (away**2).sum(axis=1)
    reach = limits["day"] * np.sqrt(deviation)
    days = days.assign(
        sd=sd,
        low=level - reach,
        high=level + reach,
        statistic=statistic[of_day],
        p=p[of_day],
        out=np.abs(statistic[of_day]) > limits["day"],
    ).rename(columns={day: "day"})
    return ControlChart(days, level, level_u, tuple(signals), limits, false_alarm)


def _day_means(table: pd.DataFrame, value: str, day: str, mounting: str | None) -> pd.DataFrame:
    """Return day, mountings, readings a mounting (harmonic mean) and mean, in order of the days."""
    grouped = [day, mounting] if mounting else [day]
    require_columns(table, value, *grouped)
    readings = finite_column(table, value)
    codes = [label_codes(table, column)[0] for column in grouped]
    code, labels = pd.factorize(table[day], sort=True)
    seat = codes[1] if mounting else np.arange(len(readings))
    # One number for each mounting within its day, then the days of those.
    _, first, seat = np.unique(code * (seat.max() + 1) + seat, return_index=True, return_inverse=True)
    count = np.bincount(seat).astype(np.float64)
    of_seat = code[first]
    mountings = np.bincount(of_seat)
    columns = {
        day: labels,
        "mountings": mountings,
        "mean": np.bincount(of_seat, np.bincount(seat, readings) / count) / mountings,
        "inverse_readings": np.bincount(of_seat, 1.0 / count) / mountings,
    }
    return pd.DataFrame(columns)


def _spread_of_days(days: pd.DataFrame, day_sd: float, mounting_sd: float, reading_sd: float) -> Floats:
    """Return the standard deviation of each day's mean: day, mountings and their readings together."""
    given = {"day_sd": day_sd, "mounting_sd": mounting_sd, "reading_sd": reading_sd}
    for name, sd in given.items():
        not_negative(name, sd, missing=False)
    demand(any(given.values()), "one of day_sd, mounting_sd, reading_sd must be above zero", "0 for all")
    seats, inverse = (days[name].to_numpy(dtype=np.float64) for name in ("mountings", "inverse_readings"))
    return np.asarray(np.sqrt(day_sd**2 + (mounting_sd**2 + reading_sd**2 * inverse) / seats))


def _looks(
    labels: pd.Series, weights: Floats, given: bool, longest: int
) -> list[tuple[str, Any, Any, Floats]]:
    """Return every look: kind, first and last day, and contrast on the day means (and on the given centre, last)."""
    count, names = len(weights), labels.tolist()

    def against(start: int, stop: int, outside: bool) -> Floats:
        inside = np.zeros(count)
        inside[start:stop] = weights[start:stop] / weights[start:stop].sum()
        if outside:
            rest = np.where(inside > 0.0, 0.0, weights)
            return np.append(inside - rest / rest.sum(), [0.0] * given)
        return np.append(inside, -1.0)

    lengths = range(1, max(min(longest, count if given else count - 2), 1) + 1)
    spans = [(i, i + length) for length in lengths for i in range(count - length + 1)]
    looks = [
        ("day" if j == i + 1 else "group", names[i], names[j - 1], against(i, j, not given)) for i, j in spans
    ]
    if count > 2:
        looks += [("step", names[i], names[-1], against(i, count, True)) for i in range(1, count)]
        time = _spacing(labels)
        centred = weights * (time - weights @ time / weights.sum())
        looks.append(("drift", names[0], names[-1], np.append(centred / (centred @ time), [0.0] * given)))
    return looks


def _spacing(labels: pd.Series) -> Floats:
    """Return the days as numbers: dates in days, numbers as they are, anything else by place."""
    if pd.api.types.is_datetime64_any_dtype(labels):
        return np.asarray((labels - labels.iloc[0]) / pd.Timedelta(days=1), dtype=np.float64)
    if pd.api.types.is_numeric_dtype(labels) and not pd.api.types.is_bool_dtype(labels):
        return labels.to_numpy(dtype=np.float64)
    return np.arange(len(labels), dtype=np.float64)


def _largest(
    standardised: Floats, family: NDArray[np.str_], dof: float, trials: int, seed: int
) -> dict[str, Floats]:
    """Return the largest absolute standardised size of each simulated chart that holds, by kind."""
    rng = np.random.default_rng(seed)
    found = {kind: np.empty(trials) for kind in FAMILIES if kind in family}
    chunk = max(1, min(trials, 4_000_000 // len(standardised)))
    for start in range(0, trials, chunk):
        size = min(chunk, trials - start)
        drawn = np.abs(rng.standard_normal((size, standardised.shape[1])) @ standardised.T)
        if math.isfinite(dof):
            drawn /= np.sqrt(rng.chisquare(dof, size) / dof)[:, None]
        for kind, largest in found.items():
            largest[start : start + size] = drawn[:, family == kind].max(axis=1)
    return found


def _limits_and_chances(
    largest: dict[str, Floats], family: NDArray[np.str_], size: Floats, false_alarm: float
) -> tuple[dict[str, float], Floats]:
    """Return the limit of each kind (together passed with the chance stated), and the chance of any look so rare."""
    drawn = {kind: np.sort(draws) for kind, draws in largest.items()}

    def own(kind: str, sizes: Floats) -> Floats:
        return np.asarray((len(drawn[kind]) - np.searchsorted(drawn[kind], sizes)) / len(drawn[kind]))

    least = np.sort(np.min([own(kind, draws) for kind, draws in largest.items()], axis=0))
    share = float(np.quantile(least, false_alarm, method="lower"))
    limits = {kind: float(np.quantile(x, 1.0 - share, method="higher")) for kind, x in drawn.items()}
    rare = [own(kind, one) for kind, one in zip(family, size, strict=True)]
    chance = (1.0 + np.searchsorted(least, rare, side="right")) / (1.0 + len(least))
    return limits, np.asarray(chance, dtype=np.float64)


def bracketing_weights(clock: ArrayLike, baseline_clock: ArrayLike) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the weights that interpolate the baseline to other instants.

    Parameters
    ----------
    clock : array_like, shape (m,)
        Instants of the values. [h]
    baseline_clock : array_like, shape (b,)
        Instants of the baselines, in any order; equal instants share their weight. [h]

    Returns
    -------
    weights : ndarray, shape (m, b)
        Rows sum to 1; linear in time between neighbours, the nearest baseline outside. [1]
    bracketed : ndarray of bool, shape (m,)
        Whether the instant lies between two baselines.

    Raises
    ------
    ValueError
        If there is no baseline or an instant is not finite.
    """
    at = np.atleast_1d(finite("clock", clock, "h", missing=False))
    known = np.atleast_1d(finite("baseline_clock", baseline_clock, "h", missing=False))
    demand(known.size, "baseline_clock must hold at least one instant", "none")
    instants, place, count = np.unique(known, return_inverse=True, return_counts=True)
    hats = np.array([np.interp(at, instants, unit) for unit in np.eye(len(instants))]).T
    return (hats / count)[:, place], (at >= instants[0]) & (at <= instants[-1]) & (len(instants) > 1)
