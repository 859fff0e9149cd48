"""The campaign's own standard deviations: reading, mounting, day, specimen; assumed until measured.

All in ln. A mounting that lies far from the other mountings of its lamp is flagged and named, and stays in the SD and
in the lamp's value alike: whether it is a mistake is for the person to say (`exclude = yes` with a note), and then it
is in neither. In the value without the SD it would make false claims.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from photolab.bench.model import SPECIMEN_PRIOR_DOF, Assumption, Settings

if TYPE_CHECKING:
    from pandas.core.groupby.generic import SeriesGroupBy

Array = NDArray[np.float64]

LEAST_DOF = 4
"""An SD estimated on fewer degrees of freedom gives way to the assumed one. [1]"""
FLAG_LEVEL = 0.05
"""Chance that a campaign of sound mountings has any flagged one. [1]"""
HOUSING_PRIOR_DOF = 2.0
"""Weight of the pool of all housings beside a housing's own seatings. [1]"""
HOUSING_LEVEL = 0.2
"""Chance under which housings whose seats scatter alike are called unlike; `tests/benchmarks/spread_rules.py`. [1]"""
MODULATED_RATIO = 3.0
"""A lamp whose repeats scatter over this many pooled SDs keeps its own reading SD. [1]"""


@dataclass(frozen=True)
class Spread:
    """One standard deviation with its origin.

    Attributes
    ----------
    sd : float
        Standard deviation of the ln value. [1]
    dof : float
        Degrees of freedom; infinite where assumed. [1]
    assumed : bool
        True where the declared default stands in.
    """

    sd: float
    dof: float
    assumed: bool


@dataclass(frozen=True, eq=False)
class Spreads:
    """All four, and what was flagged.

    Attributes
    ----------
    reading : dict
        Spread of single readings by lamp.
    mounting, day, specimen : Spread
        Pooled over the campaign.
    seating, own_seating : dict
        Spread of mountings by housing: as used (drawn towards the pool where nothing speaks against it), and from
        the housing's own mountings alone (sd NaN where none was repeated).
    specimens : dict
        Spread of specimens by lamp: its own pieces with the declared SD as a prior.
    flagged : tuple of int
        Rows of the mounting means that lie far from the others; they stay in.
    """

    reading: dict[str, Spread]
    mounting: Spread
    day: Spread
    specimen: Spread
    seating: dict[str, Spread]
    own_seating: dict[str, Spread]
    specimens: dict[str, Spread]
    flagged: tuple[int, ...]

    def seating_in(self, housing: str) -> Spread:
        """Return the spread of mountings in a housing; the pool where it has none of its own."""
        return self.seating.get(str(housing), self.mounting)

    def noise(self, seats: pd.DataFrame) -> Array:
        """Return the SD of each mounting's mean from reading to reading, in ln."""
        sd = np.array([self.reading[lamp].sd for lamp in seats["lamp"]])
        return np.asarray(sd / np.sqrt(seats["n"].to_numpy(float)))


def campaign_spreads(seats: pd.DataFrame, settings: Settings, baseline: str) -> Spreads:
    """Estimate the spreads of a campaign from its mounting means.

    Parameters
    ----------
    seats : DataFrame
        Mountings with n, parts, ss (sum of squares of ln readings within), ln_value and identity.
    settings : Settings
        Declared or assumed SDs.
    baseline : str
        The lamp whose days estimate the day SD.

    Returns
    -------
    Spreads
        Estimates where they stand on at least `LEAST_DOF` degrees of freedom.
    """
    reading = reading_spreads(seats)
    first = seats[seats["instant"] == "initial"]
    declared = settings.mounting_sd_percent / 100.0
    mounting, own, flagged = mounting_spreads(first, declared, reading)
    seating = {str(h): mounting for h in dict.fromkeys(seats["housing"])} | housing_spreads(own, mounting)
    day = day_spread(first, settings.day_sd_percent / 100.0, baseline, seating)
    between = between_specimens(first, seating)
    declared = settings.specimen_sd_percent / 100.0
    specimen = specimen_spread(between, declared)
    each = {
        str(lamp): own_specimens(between.get(str(lamp)), declared) for lamp in dict.fromkeys(seats["lamp"])
    }
    return Spreads(reading, mounting, day, specimen, seating, own, each, flagged)


def reading_spreads(seats: pd.DataFrame) -> dict[str, Spread]:
    """Pool the SD of readings within a mounting, apart for lamps that scatter far more.

    Parameters
    ----------
    seats : DataFrame
        Mountings with n, parts and ss.

    Returns
    -------
    dict
        Spread by lamp; zero with infinite dof where nothing was repeated (the mounting SD then holds it).
    """
    ss = seats.groupby("lamp", sort=False)["ss"].sum()
    dof = (seats["n"] - seats["parts"]).groupby(seats["lamp"], sort=False).sum()
    common = dof.sum()
    if common == 0:
        return {lamp: Spread(0.0, np.inf, True) for lamp in ss.index}
    own: list[str] = []
    for lamp in ss.index:
        rest = dof.sum() - dof[lamp]
        if dof[lamp] >= LEAST_DOF and rest >= LEAST_DOF:
            others = np.sqrt((ss.sum() - ss[lamp]) / rest)
            if np.sqrt(ss[lamp] / dof[lamp]) > MODULATED_RATIO * others:
                own.append(lamp)
    pool = [lamp for lamp in ss.index if lamp not in own]
    pooled = Spread(float(np.sqrt(ss[pool].sum() / dof[pool].sum())), float(dof[pool].sum()), False)
    alone = {lamp: Spread(float(np.sqrt(ss[lamp] / dof[lamp])), float(dof[lamp]), False) for lamp in own}
    return {lamp: alone.get(lamp, pooled) for lamp in ss.index}


def mounting_spreads(
    seats: pd.DataFrame, assumed: float, reading: dict[str, Spread]
) -> tuple[Spread, dict[str, Spread], tuple[int, ...]]:
    """Pool the mounting SD over all lamps, with lamps and days as fixed effects: in all housings, and in each.

    Parameters
    ----------
    seats : DataFrame
        Mounting means of one instant.
    assumed : float
        Declared or default SD. [1]
    reading : dict
        Reading spread by lamp, whose share is taken off.

    Returns
    -------
    tuple of (Spread, dict, tuple of int)
        The spread of all, each housing's own, and the flagged rows.
    """
    if seats.empty:  # nothing was read at the initial time
        return Spread(assumed, np.inf, True), {}, ()
    noise = np.array([reading[lamp].sd ** 2 / n for lamp, n in zip(seats["lamp"], seats["n"], strict=True)])
    own, ss = {}, 0.0
    for housing, block in seats.groupby("housing", sort=False):
        residual, _, dof = _residuals(block)
        mean_square = float(residual @ residual) / dof if dof else np.nan
        ss += mean_square * dof if dof else 0.0
        part = float(noise[seats.index.get_indexer(block.index)].mean())
        own[str(housing)] = Spread(float(np.sqrt(np.maximum(mean_square - part, 0.0))), float(dof), False)
    total = sum(spread.dof for spread in own.values())
    alone = not seats_alike(own)
    blocks = [block for _, block in seats.groupby("housing", sort=False)] if alone else [seats]
    flagged = tuple(sorted(row for block in blocks for row in _far(block)))
    if total < LEAST_DOF:
        return Spread(assumed, np.inf, True), own, flagged
    variance = max(ss / total - float(noise.mean()), 0.0)
    return Spread(float(np.sqrt(variance)), total, False), own, flagged


def seats_alike(own: dict[str, Spread]) -> bool:
    """Return whether nothing speaks against one mounting SD for all housings, by Bartlett's test.

    Parameters
    ----------
    own : dict
        Each housing's own spread.

    Returns
    -------
    bool
        True where fewer than two housings have two degrees of freedom.
    """
    known = [spread for spread in own.values() if spread.dof >= 2]
    if len(known) < 2:
        return True
    dof = np.array([spread.dof for spread in known])
    variance = np.maximum([spread.sd**2 for spread in known], 1e-18)
    pooled = dof @ variance / dof.sum()
    statistic = dof.sum() * np.log(pooled) - dof @ np.log(variance)
    scale = 1.0 + ((1.0 / dof).sum() - 1.0 / dof.sum()) / (3.0 * (len(dof) - 1.0))
    return bool(stats.chi2.sf(statistic / scale, len(dof) - 1.0) >= HOUSING_LEVEL)


def housing_spreads(own: dict[str, Spread], pool: Spread) -> dict[str, Spread]:
    """Return the mounting spread that is used in each housing.

    Parameters
    ----------
    own : dict
        Each housing's own spread.
    pool : Spread
        Of all housings.

    Returns
    -------
    dict
        A housing's own, drawn towards the pool by `HOUSING_PRIOR_DOF`, or by as many as bring it to `LEAST_DOF`; alone
        where housings scatter unlike and it has as many.
    """
    if pool.assumed:
        return dict.fromkeys(own, pool)
    alike, used = seats_alike(own), {}
    for housing, spread in own.items():
        weight = max(HOUSING_PRIOR_DOF if alike else 0.0, LEAST_DOF - spread.dof)
        weight = min(weight, pool.dof - spread.dof)  # the pool holds this housing too
        dof = spread.dof + weight
        variance = (np.nan_to_num(spread.sd) ** 2 * spread.dof + weight * pool.sd**2) / dof
        used[housing] = Spread(float(np.sqrt(variance)), dof, False)
    return used


def _far(seats: pd.DataFrame) -> list[int]:
    """Return the rows of the mountings that lie beyond chance, the farthest taken away first."""
    keep, far = seats.index.to_numpy(), []
    while (worst := _outlier(*_residuals(seats.loc[keep]))) is not None:
        far.append(int(keep[worst]))
        keep = np.delete(keep, worst)
    return far


def _residuals(seats: pd.DataFrame) -> tuple[Array, Array, int]:
    """Return residuals of mounting means on cells and days, their leverages and degrees of freedom."""
    columns = []
    for keys in (["lamp", "specimen", "housing", "point"], ["day", "housing", "point"]):
        code = seats.groupby(keys, sort=False).ngroup().to_numpy()
        columns.append(np.eye(int(code.max()) + 1)[code])
    design = np.hstack(columns)
    left, singular, _ = np.linalg.svd(design, full_matrices=False)
    basis = left[:, singular > 1e-9 * singular[0]]
    value = seats["ln_value"].to_numpy(float)
    value = value - value.mean()
    residual = value - basis @ (basis.T @ value)
    leverage = (basis**2).sum(1)
    return residual, leverage, len(seats) - basis.shape[1]


def _outlier(residual: Array, leverage: Array, dof: int) -> int | None:
    """Return the mounting whose externally studentised residual is beyond chance, if any."""
    if dof < LEAST_DOF + 1:
        return None
    free = 1.0 - leverage
    usable = free > 1e-6
    ss = residual @ residual
    rest = np.maximum(ss - np.where(usable, residual**2 / np.where(usable, free, 1.0), 0.0), 1e-18)
    t = np.where(usable, np.abs(residual) / np.sqrt(rest / (dof - 1) * np.where(usable, free, 1.0)), 0.0)
    worst = int(np.argmax(t))
    chance = 2.0 * stats.t.sf(t[worst], dof - 1) * usable.sum()
    return worst if chance < FLAG_LEVEL and abs(residual[worst]) > 1e-9 else None


def day_spread(seats: pd.DataFrame, assumed: float, baseline: str, seating: dict[str, Spread]) -> Spread:
    """Estimate the day SD from the baseline lamp once three days hold it.

    Parameters
    ----------
    seats : DataFrame
        Mounting means of one instant.
    assumed : float
        Declared or default SD. [1]
    baseline : str
        The lamp to use.
    seating : dict
        Mounting spread by housing, whose share is taken off.

    Returns
    -------
    Spread
        Pooled over housings and specimens.
    """
    days = 0
    ss = n0 = dof = 0.0
    for (_, housing, _), block in seats[seats["lamp"] == baseline].groupby(["specimen", "housing", "point"]):
        groups = block.groupby("day")["ln_value"]
        if groups.ngroups < 3:
            continue
        days = max(days, groups.ngroups)
        squares, share, free = _between(groups)
        ss += squares - free * seating[str(housing)].sd ** 2
        n0, dof = n0 + share, dof + free
    if days < 3 or dof < LEAST_DOF:
        return Spread(assumed, np.inf, True)
    return Spread(float(np.sqrt(max(ss / n0, 0.0))), dof, False)


def _between(groups: SeriesGroupBy[Any, Any]) -> tuple[float, float, float]:
    """Return the sum of squares between groups, how often it holds their variance, and its degrees of freedom."""
    n, mean = groups.size().to_numpy(float), groups.mean().to_numpy(float)
    squares = float((n * (mean - np.average(mean, weights=n)) ** 2).sum())
    return squares, float(n.sum() - (n**2).sum() / n.sum()), len(n) - 1.0


def between_specimens(
    seats: pd.DataFrame, seating: dict[str, Spread]
) -> dict[str, tuple[float, float, float]]:
    """Return for each lamp what its specimens, seated on one day, say of their spread.

    Parameters
    ----------
    seats : DataFrame
        Mounting means of one instant.
    seating : dict
        Mounting spread by housing, whose share is taken off.

    Returns
    -------
    dict
        Sum of squares less the mountings' share, how often it holds the variance, and degrees of freedom; lamps with
        several specimens only.
    """
    found: dict[str, tuple[float, float, float]] = {}
    pieces: dict[str, set[str]] = {}
    for (lamp, housing, *_), block in seats.groupby(["lamp", "housing", "point", "day"]):
        groups = block.groupby("specimen")["ln_value"]
        if groups.ngroups < 2:
            continue
        squares, share, free = _between(groups)
        ss, n0, _ = found.get(str(lamp), (0.0, 0.0, 0.0))
        # a specimen differs in the same sense in every housing and on every day: its degrees of freedom count once
        distinct = pieces.setdefault(str(lamp), set())
        distinct.update(map(str, groups.groups))
        ss += squares - free * seating[str(housing)].sd ** 2
        found[str(lamp)] = (ss, n0 + share, len(distinct) - 1.0)
    return found


def not_held(held: set[str], on_bench: set[str]) -> float:
    """Return the variance that pieces not held add to remaining light, over that of one piece.

    Parameters
    ----------
    held, on_bench : set of str
        The pieces whose remaining light was read, and those whose light is spoken of.

    Returns
    -------
    float
        Of the difference of their means: 1/n - 1/N where n held ones are among the N. [1]
    """
    n, whole = len(held), len(on_bench)
    return 1.0 / n + 1.0 / whole - 2.0 * len(held & on_bench) / (n * whole)


def specimen_spread(between: dict[str, tuple[float, float, float]], assumed: float) -> Spread:
    """Pool the specimen SD over the lamps.

    Parameters
    ----------
    between : dict
        From `between_specimens`.
    assumed : float
        Declared or default SD. [1]

    Returns
    -------
    Spread
        Assumed where fewer than `LEAST_DOF` degrees of freedom exist or nothing is left beyond mounting.
    """
    ss, n0, dof = (sum(column) for column in zip(*between.values(), strict=True)) if between else (0.0,) * 3
    if dof < LEAST_DOF or ss <= 0.0:
        return Spread(assumed, np.inf, True)
    return Spread(float(np.sqrt(ss / n0)), dof, False)


def single_pieces(spreads: Spreads, *lamps: str) -> tuple[Assumption, ...]:
    """Return what stands in for the spread of pieces of lamps of which a single one was read."""
    said = "a single piece says nothing of its model"
    single = [lamp for lamp in lamps if spreads.specimens[lamp].assumed]
    return tuple(Assumption(f"pieces of {x}", 100.0 * spreads.specimens[x].sd, "%", said) for x in single)


def own_specimens(between: tuple[float, float, float] | None, declared: float) -> Spread:
    """Return the specimen spread of one lamp: its own pieces, with the declared SD as a prior of 6 dof.

    Parameters
    ----------
    between : tuple of float or None
        From `between_specimens`; None for a single piece, which says nothing of its model. [1]
    declared : float
        Declared or default SD. [1]

    Returns
    -------
    Spread
        Assumed where the lamp has a single piece.
    """
    ss, n0, dof = (0.0, 1.0, 0.0) if between is None else between
    whole = dof + SPECIMEN_PRIOR_DOF
    variance = (dof * max(ss / n0, 0.0) + SPECIMEN_PRIOR_DOF * declared**2) / whole
    return Spread(float(np.sqrt(variance)), whole, between is None)
