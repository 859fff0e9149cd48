"""How repeatable the bench is: components of the campaign's own corrected readings, and a plain second way.

All in ln, so 0.02 is 2 %. A level counts once: a specimen that was read in two housings is one specimen, a
day of a housing is one day however many lamps shared it; their degrees of freedom say so.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from photolab.bench import corrections as steps
from photolab.bench.campaign import Campaign
from photolab.errors import MethodError
from photolab.metrology.components import Caution, component_limits, nested_components
from photolab.metrology.precision import Homogeneity, homogeneity, pooled_sd

__all__ = ["Repeatability", "alike", "plain_spreads", "repeatability", "seating_cells", "specimen_spreads"]

LEVELS = ("specimen", "day", "mounting")
CELL = ["lamp", "specimen", "housing", "day"]
SEAT = [*CELL, "mounting"]


@dataclass(frozen=True, eq=False)
class Repeatability:
    """What varies on a bench, level by level.

    Attributes
    ----------
    table : DataFrame
        level, variance, sd, low, high (they bound the sd), dof, part (of the variance), outermost first. [1]
    seats : DataFrame
        One row a seating: lamp, specimen, housing, day, mounting, readings, deviation (from the lamp's mean
        in that housing), flagged. [1]
    cautions : tuple of Caution
        What a reader must know.
    apart : tuple of str
        Lamps whose readings scatter far more; left out of the table.
    coverage : float
        Of the intervals. [1]
    method : str
        How the components were solved.
    """

    table: pd.DataFrame
    seats: pd.DataFrame
    cautions: tuple[Caution, ...]
    apart: tuple[str, ...]
    coverage: float
    method: str


def repeatability(campaign: Campaign) -> Repeatability:
    """Return the components of a campaign's corrected readings, lamps and housings fixed.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Repeatability
        Specimen, day, mounting and reading where each repeats; flagged mountings stay in, lamps whose readings
        scatter far more are left out.

    Raises
    ------
    MethodError
        If nothing was repeated (code ``no_repeats``).
    """
    readings = initial_readings(campaign)
    flagged = {f.subject for f in campaign.findings if f.code == "mounting_flagged"}
    apart = tuple(f.subject[0] for f in campaign.findings if f.code == "lamp_scatters")
    readings["flagged"] = [tuple(map(str, row)) in flagged for row in readings[SEAT].to_numpy().tolist()]
    steady = readings[~readings["lamp"].isin(apart)]
    table, cautions, method = _components(
        steady, fixed=["lamp", "housing"], coverage=campaign.bench.settings.coverage
    )
    return Repeatability(table, _seats(readings), cautions, apart, campaign.bench.settings.coverage, method)


def initial_readings(campaign: Campaign) -> pd.DataFrame:
    """Return the campaign's corrected readings of the hot spot at the initial time.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        Rows with identity and ln_value. [ln lx]
    """
    readings = steps.apply(campaign.selection.readings, campaign.bench, campaign.enabled).readings
    kept = (readings["instant"] == "initial") & (readings["point"] == "hot_spot")
    return readings[kept].reset_index(drop=True)


def _components(
    readings: pd.DataFrame, *, fixed: list[str], coverage: float
) -> tuple[pd.DataFrame, tuple[Caution, ...], str]:
    """Return the components of the levels that repeat, their cautions and the method."""
    levels = _repeating(readings, fixed)
    if not levels:
        return _readings_only(readings, fixed, coverage)
    found = nested_components(readings, "ln_value", levels, fixed=fixed, coverage=coverage)
    if not found.variances.any():
        message = "every repeat shows the same figure: the display is coarser than what varies"
        raise MethodError(message, code="all_equal", known={"readings": len(readings)})
    counted = [_distinct(readings, level) for level in found.levels]
    dof = np.minimum(found.dof, counted)
    low, high = component_limits(replace(found.squares, dof=dof), coverage=coverage)
    table = found.table.assign(
        low=np.minimum(low, found.sds),
        high=np.maximum(high, found.sds),
        dof=dof,
        part=found.variances / found.variances.sum(),
    )
    return table, found.cautions, found.method


def _repeating(readings: pd.DataFrame, fixed: list[str]) -> list[str]:
    """Return the levels from the outermost one that repeats in some cell."""
    cells = readings.groupby(fixed, sort=False, dropna=False).ngroups
    for place, level in enumerate(LEVELS):
        path = [*fixed, *LEVELS[: place + 1]]
        if readings.groupby(path, sort=False, dropna=False).ngroups > cells:
            return list(LEVELS[LEVELS.index(level) :])
    return []


def _distinct(readings: pd.DataFrame, level: str) -> float:
    """Return the degrees of freedom of a level, what is shared counted once; infinite where nothing is."""
    if level == "specimen":
        specimens = readings[["lamp", "specimen"]].drop_duplicates()
        return max(1.0, float(len(specimens) - specimens["lamp"].nunique()))
    if level == "day":
        days = readings[["housing", "day"]].drop_duplicates()
        return max(1.0, float(len(days) - days["housing"].nunique()))
    return math.inf


def _readings_only(
    readings: pd.DataFrame, fixed: list[str], coverage: float
) -> tuple[pd.DataFrame, tuple[Caution, ...], str]:
    """Return the spread of repeated readings where nothing else repeats."""
    groups = (
        dict(list(readings.groupby(fixed, sort=False, dropna=False)["ln_value"])) if len(readings) else {}
    )
    repeats = {str(key): values.to_numpy(float) for key, values in groups.items()}
    if not any(len(values) > 1 for values in repeats.values()):
        message = f"nothing was repeated: {len(readings)} readings of {len(repeats)} lamps in their housings"
        raise MethodError(message, code="no_repeats", known={"readings": len(readings)})
    sd, dof = pooled_sd(repeats)
    tail = (1.0 - coverage) / 2.0
    low, high = (sd * math.sqrt(dof / float(stats.chi2.ppf(q, dof))) for q in (1.0 - tail, tail))
    row = {"level": "reading", "variance": sd**2, "sd": sd, "low": low, "high": high, "dof": dof, "part": 1.0}
    return pd.DataFrame([row]), (), "pooled"


def _seats(readings: pd.DataFrame) -> pd.DataFrame:
    """Return the seatings with their deviation from the mean of the unflagged ones of lamp and housing."""
    grouped = readings.groupby([*SEAT, "flagged"], sort=False, dropna=False)["ln_value"]
    seats = grouped.agg(ln_value="mean", readings="size").reset_index()
    sound = seats["ln_value"].where(~seats["flagged"])
    seats["deviation"] = seats["ln_value"] - sound.groupby([seats["lamp"], seats["housing"]]).transform(
        "mean"
    )
    return seats


def specimen_spreads(campaign: Campaign) -> pd.DataFrame:
    """Return how far the specimens of each lamp lie apart.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        lamp, specimens, sd, low, high of every lamp with two specimens or more; the sd without the parts of
        day, mounting and reading; used: with the declared one as a prior. [1]
    """
    readings = initial_readings(campaign)
    rows = []
    for lamp, block in readings.groupby("lamp", sort=False):
        count = block["specimen"].nunique()
        if count < 2:
            continue
        table, _, _ = _components(block, fixed=["lamp", "housing"], coverage=campaign.bench.settings.coverage)
        first = table.iloc[0]
        used = campaign.spreads.specimens[str(lamp)].sd
        own = {c: float(first[c]) for c in ("sd", "low", "high")}
        rows.append({"lamp": lamp, "specimens": count, **own, "used": used})
    return pd.DataFrame(rows, columns=["lamp", "specimens", "sd", "low", "high", "used"])


def seating_cells(seats: pd.DataFrame) -> Mapping[str, NDArray[np.float64]]:
    """Return the seatings of one lamp, specimen, housing and day together, where there are two or more.

    Parameters
    ----------
    seats : DataFrame
        As `Repeatability.seats`.

    Returns
    -------
    mapping of str to ndarray
        ln values by "lamp specimen housing day". [ln lx]
    """
    cells = {}
    for key, block in seats.groupby(CELL, sort=False, dropna=False):
        if len(block) > 1:
            cells[" ".join(str(part) for part in key if str(part))] = block["ln_value"].to_numpy(float)
    return cells


def alike(seats: pd.DataFrame) -> Homogeneity:
    """Test whether seatings scatter alike from lamp to lamp and day to day.

    Parameters
    ----------
    seats : DataFrame
        As `Repeatability.seats`, all of them or the unflagged ones.

    Returns
    -------
    Homogeneity
        With the cell that scatters most.

    Raises
    ------
    MethodError
        If fewer than two cells hold two seatings (code ``no_repeats``).
    """
    cells = seating_cells(seats)
    if len(cells) < 2:
        message = f"two lamps must be seated twice or more on one day to be compared; got {len(cells)}"
        raise MethodError(message, code="no_repeats", known={"cells": len(cells)})
    return homogeneity(cells)


def plain_spreads(campaign: Campaign, found: Repeatability) -> pd.DataFrame:
    r"""Return the spreads of reading and mounting by a plain statistic of another kind.

    The mean absolute difference of readings of one seating, and of seatings of one day, in pairs; times
    :math:`\sqrt{\pi}/2` it is the standard deviation where scatter is normal. The readings' part is taken off
    the seatings.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    found : Repeatability
        Its components.

    Returns
    -------
    DataFrame
        level, sd, count (of pairs), components_sd, low, high. [1]
    """
    readings = initial_readings(campaign)
    readings = readings[~readings["lamp"].isin(found.apart)]
    rows, reading = [], 0.0
    gaps = _gaps(v.to_numpy(float) for _, v in readings.groupby(SEAT, sort=False, dropna=False)["ln_value"])
    if gaps and max(gaps) > 0.0:
        reading = _from_gaps(gaps)
        rows.append({"level": "reading", "sd": reading, "count": len(gaps)})
    seats = found.seats[~found.seats["lamp"].isin(found.apart)]
    gaps = _gaps(seating_cells(seats).values())
    if gaps:
        rest = _from_gaps(gaps) ** 2 - reading**2 / float(seats["readings"].mean())
        rows.append({"level": "mounting", "sd": math.sqrt(max(rest, 0.0)), "count": len(gaps)})
    told = found.table.rename(columns={"sd": "components_sd"})[["level", "components_sd", "low", "high"]]
    plain = pd.DataFrame(rows, columns=["level", "sd", "count"])
    return plain.merge(told, on="level", how="inner")


def _gaps(groups: Iterable[NDArray[np.float64]]) -> list[float]:
    """Return the absolute differences of values in pairs, each value in one pair only."""
    return [abs(b - a) for values in groups for a, b in zip(values[0::2], values[1::2], strict=False)]


def _from_gaps(gaps: list[float]) -> float:
    """Return the standard deviation of normal values whose pairs differ by these amounts on the average."""
    return float(np.mean(gaps)) * math.sqrt(math.pi) / 2.0
