"""The campaign's own standard deviations: reading, mounting, day, specimen; assumed until measured.

All in ln. A mounting that lies far from the other mountings of its lamp is flagged and left out of the pooled
SD, not out
of the lamp's value: whether it is a mistake is for the person to say (`exclude = yes` with a note).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from photolab.bench.model import Settings

Array = NDArray[np.float64]

LEAST_DOF = 4
"""An SD estimated on fewer degrees of freedom gives way to the assumed one. [1]"""
FLAG_LEVEL = 0.05
"""Chance that a campaign of sound mountings has any flagged one. [1]"""
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
    flagged : tuple of int
        Rows of the mounting means that were left out of the pooled mounting SD.
    """

    reading: dict[str, Spread]
    mounting: Spread
    day: Spread
    specimen: Spread
    flagged: tuple[int, ...]

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
    mounting, flagged = mounting_spread(first, settings.mounting_sd_percent / 100.0, reading)
    day = day_spread(first.drop(index=list(flagged)), settings.day_sd_percent / 100.0, baseline, mounting)
    specimen = specimen_spread(
        first.drop(index=list(flagged)), settings.specimen_sd_percent / 100.0, mounting
    )
    return Spreads(reading, mounting, day, specimen, flagged)


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


def mounting_spread(
    seats: pd.DataFrame, assumed: float, reading: dict[str, Spread]
) -> tuple[Spread, tuple[int, ...]]:
    """Pool the mounting SD over all lamps, with lamps and days as fixed effects.

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
    tuple of (Spread, tuple of int)
        The spread, and the flagged rows.
    """
    if seats.empty:  # nothing was read at the initial time
        return Spread(assumed, np.inf, True), ()
    keep = seats.index.to_numpy()
    flagged: list[int] = []
    while True:
        block = seats.loc[keep]
        residual, leverage, dof = _residuals(block)
        worst = _outlier(residual, leverage, dof)
        if worst is None:
            break
        flagged.append(int(keep[worst]))
        keep = np.delete(keep, worst)
    if dof < LEAST_DOF:
        return Spread(assumed, np.inf, True), tuple(flagged)
    noise = np.mean([reading[lamp].sd ** 2 / n for lamp, n in zip(block["lamp"], block["n"], strict=True)])
    variance = float(residual @ residual / dof - noise)
    return Spread(float(np.sqrt(max(variance, 0.0))), float(dof), False), tuple(flagged)


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


def day_spread(seats: pd.DataFrame, assumed: float, baseline: str, mounting: Spread) -> Spread:
    """Estimate the day SD from the baseline lamp once three days hold it.

    Parameters
    ----------
    seats : DataFrame
        Mounting means of one instant, flagged ones left out.
    assumed : float
        Declared or default SD. [1]
    baseline : str
        The lamp to use.
    mounting : Spread
        Mounting spread, whose share is taken off.

    Returns
    -------
    Spread
        Pooled over housings and specimens.
    """
    days = 0
    ss = n0 = dof = 0.0
    for _, block in seats[seats["lamp"] == baseline].groupby(["specimen", "housing", "point"]):
        groups = block.groupby("day")["ln_value"]
        n, mean = groups.size().to_numpy(float), groups.mean().to_numpy(float)
        if len(n) < 3:
            continue
        days = max(days, len(n))
        ss += float((n * (mean - np.average(mean, weights=n)) ** 2).sum())
        n0 += float(n.sum() - (n**2).sum() / n.sum())
        dof += len(n) - 1.0
    if days < 3 or dof < LEAST_DOF:
        return Spread(assumed, np.inf, True)
    variance = (ss - dof * mounting.sd**2) / n0
    return Spread(float(np.sqrt(max(variance, 0.0))), dof, False)


def specimen_spread(seats: pd.DataFrame, assumed: float, mounting: Spread) -> Spread:
    """Estimate the specimen SD from lamps with several specimens seated on one day.

    Parameters
    ----------
    seats : DataFrame
        Mounting means of one instant, flagged ones left out.
    assumed : float
        Declared or default SD. [1]
    mounting : Spread
        Mounting spread, whose share is taken off.

    Returns
    -------
    Spread
        Assumed where fewer than `LEAST_DOF` degrees of freedom exist or nothing is left beyond mounting.
    """
    ss = n0 = dof = 0.0
    pieces: dict[str, set[str]] = {}
    for (lamp, *_), block in seats.groupby(["lamp", "housing", "point", "day"]):
        groups = block.groupby("specimen")["ln_value"]
        n, mean = groups.size().to_numpy(float), groups.mean().to_numpy(float)
        if len(n) < 2:
            continue
        ss += float((n * (mean - np.average(mean, weights=n)) ** 2).sum())
        n0 += float(n.sum() - (n**2).sum() / n.sum())
        dof += len(n) - 1.0
        pieces.setdefault(str(lamp), set()).update(map(str, groups.groups))
    # a specimen differs in the same sense in every housing and on every day: its degrees of freedom count once
    distinct = float(sum(len(p) - 1 for p in pieces.values()))
    variance = (ss - dof * mounting.sd**2) / n0 if n0 else 0.0
    if distinct < LEAST_DOF or variance <= 0.0:
        return Spread(assumed, np.inf, True)
    return Spread(float(np.sqrt(variance)), distinct, False)
