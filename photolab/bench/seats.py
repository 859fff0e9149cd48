"""Mounting means and the weights that turn them into lamp values.

*Seated once*: one time a lamp was put into a housing. The estimate is generalised least squares of mounting means on
lamp x housing x specimen with the covariance of mounting, day and noise; a lamp's value is the plain mean over its
specimens. For balanced data it is the mean of means.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg

Array = NDArray[np.float64]

MOUNTING = ["lamp", "specimen", "housing", "day", "mounting", "meter", "range_lx", "point", "instant"]
SEAT = [*MOUNTING, "clock_h"]
CELL = ["lamp", "specimen", "housing", "point", "instant"]
RESULT = ["lamp", "housing", "point", "instant"]
SAME = 1e-9  # of a reading: repeats closer than this show one figure


def mounting_means(readings: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Average the ln readings of each mounting.

    Parameters
    ----------
    readings : DataFrame
        Corrected readings with ln_value, net_lx and the identity columns.

    Returns
    -------
    tuple of DataFrame
        The mounting means (identity, n, ln_value, inverse [1/lx], variance of the ln readings, one_figure,
        lines) and the
        readings with `seat`, the row of their mounting mean.
    """
    table = readings.copy()
    grouped = table.groupby(SEAT, sort=False, dropna=False)
    table["seat"] = grouped.ngroup()
    table["inverse"] = 1.0 / table["net_lx"]
    by = table.groupby("seat", sort=True)
    carried = ["technology", "spectral_u", "own_spectrum", "likeness", "onto", "link_u", "link_dof"]
    seats = by[[*SEAT, *carried]].first()
    for column in ("spectral_u", "range_lx", "clock_h"):
        seats[column] = by[column].mean()
    averaged = [
        "ln_value", "inverse", "volts", "ln_voltage_ratio", "exponent", "warmth_K", "led_warmth_K", "elapsed_s",
        "clock_h",
    ]  # fmt: skip
    seats[averaged] = by[averaged].mean()
    seats["n"] = by.size()
    seats["ss"] = by["ln_value"].apply(lambda v: float(((v - v.mean()) ** 2).sum()))
    span = by["illuminance_lx"].max() - by["illuminance_lx"].min()
    seats["one_figure"] = (span <= SAME * by["illuminance_lx"].max()) & (seats["n"] > 1)
    return seats.reset_index(drop=True), table


def whole_mountings(seats: pd.DataFrame) -> pd.DataFrame:
    """Join the parts of a mounting that were read at different clock times.

    Parameters
    ----------
    seats : DataFrame
        Mounting means, apart by clock.

    Returns
    -------
    DataFrame
        One row a mounting: n, ss (scatter at one clock time only) and the mean ln value of its parts.
    """
    grouped = seats.groupby(MOUNTING, sort=False, dropna=False)
    whole = grouped[["technology"]].first().reset_index()
    whole["n"] = grouped["n"].sum().to_numpy()
    whole["parts"] = grouped.size().to_numpy()
    whole["ss"] = grouped["ss"].sum().to_numpy()
    whole["ln_value"] = grouped["ln_value"].mean().to_numpy()
    return whole


@dataclass(frozen=True, eq=False)
class Weights:
    """Linear estimator of lamp values from mounting means.

    Attributes
    ----------
    names : tuple of tuple
        (lamp, housing, point, instant) of each result.
    matrix : ndarray, shape (results, mountings)
        Each row sums to one. [1]
    counts : DataFrame
        n_specimens, n_mountings, n_readings, n_days of each result.
    """

    names: tuple[tuple[str, ...], ...]
    matrix: Array
    counts: pd.DataFrame


@dataclass(frozen=True)
class Scatter:
    """Standard deviations that shape the weights, in ln.

    Attributes
    ----------
    mounting : float or ndarray, shape (mountings,)
        Of a mounting; one figure in each housing. [1]
    day : float
        Of a day in one housing. [1]
    drift : float
        Of the drift within a day, from clock to clock. [1/h]
    """

    mounting: float | Array
    day: float
    drift: float = 0.0


def hours_from_middle(seats: pd.DataFrame) -> Array:
    """Return the time of each part of a mounting from the middle of its day in its housing, an instant at a time.

    Parameters
    ----------
    seats : DataFrame
        Mounting means with clock_h (NaN where no clock was written).

    Returns
    -------
    ndarray, shape (mountings,)
        Zero where any clock of that day, housing and instant is missing. [h]

    Notes
    -----
    Lamps are compared within one instant, so readings at the hold time do not move the initial ones.
    """
    by = seats.groupby(["day", "housing", "instant"], sort=False)["clock_h"]
    known = by.transform("count") == by.transform("size")
    middle = (by.transform("min") + by.transform("max")) / 2.0
    return np.asarray((seats["clock_h"] - middle).where(known, 0.0).fillna(0.0).to_numpy(float))


def lamp_weights(seats: pd.DataFrame, *, noise_sd: Array, scatter: Scatter) -> Weights:
    """Return the generalised-least-squares weights of every lamp value.

    Parameters
    ----------
    seats : DataFrame
        Mounting means, apart by clock.
    noise_sd : ndarray, shape (mountings,)
        Standard deviation of each mean from reading to reading. [1]
    scatter : Scatter
        Of mountings, days and the drift within a day.

    Returns
    -------
    Weights
        One row a lamp, housing, point and instant.
    """
    names = list(dict.fromkeys(map(tuple, seats[RESULT].astype(str).to_numpy().tolist())))
    place = {n: i for i, n in enumerate(names)}
    hours = hours_from_middle(seats)
    seated = np.broadcast_to(scatter.mounting, len(seats))
    matrix = np.zeros((len(names), len(seats)))
    for _, block in seats.groupby(["housing", "point", "instant"], sort=False):
        at = block.index.to_numpy()
        cell_weights, cells = _block_weights(
            block, noise_sd[at], hours[at], replace(scatter, mounting=seated[at])
        )
        owner = [place[tuple(map(str, (c[0], c[2], c[3], c[4])))] for c in cells]
        share = 1.0 / np.bincount(owner, minlength=len(names))[owner]
        for row, cell in zip(owner, range(len(cells)), strict=True):
            matrix[row, at] += share[cell] * cell_weights[cell]
    return Weights(tuple(names), matrix, _counts(seats, names))


def _block_weights(
    block: pd.DataFrame, noise: Array, hours: Array, scatter: Scatter
) -> tuple[Array, list[tuple[str, ...]]]:
    """Return the weights of each lamp x specimen in one housing, point and instant."""
    keys = list(map(tuple, block[CELL].astype(str).to_numpy().tolist()))
    cells = list(dict.fromkeys(keys))
    index = {c: i for i, c in enumerate(cells)}
    design = np.zeros((len(block), len(cells)))
    design[np.arange(len(block)), [index[k] for k in keys]] = 1.0
    same_day = _same(block, ["day"])
    same_mounting = _same(block, ["lamp", "specimen", "day", "mounting"])
    variance = same_day * (scatter.day**2 + scatter.drift**2 * np.outer(hours, hours))
    variance = variance + same_mounting * np.asarray(scatter.mounting) ** 2
    # a tiny floor keeps the matrix solvable where nothing at all scatters; it cancels from the weights
    variance[np.diag_indices(len(block))] += noise**2 + 1e-12
    factor = linalg.cho_factor(variance, lower=True)
    whitened = linalg.cho_solve(factor, design)
    return linalg.solve(design.T @ whitened, whitened.T, assume_a="pos"), cells


def _same(block: pd.DataFrame, columns: list[str]) -> NDArray[np.bool_]:
    """Return which pairs of rows agree in some columns."""
    code = block.groupby(columns, sort=False).ngroup().to_numpy()
    return np.asarray(code[:, None] == code[None, :])


def _counts(seats: pd.DataFrame, names: list[tuple[str, ...]]) -> pd.DataFrame:
    """Count what stands behind each result."""
    table = seats.assign(**{c: seats[c].astype(str) for c in RESULT})
    grouped = table.groupby(RESULT, sort=False)
    mountings = table.drop_duplicates(MOUNTING).groupby(RESULT, sort=False)
    counts = pd.DataFrame(
        {
            "n_specimens": grouped["specimen"].nunique(),
            "n_mountings": mountings.size(),
            "n_readings": grouped["n"].sum(),
            "n_days": grouped["day"].nunique(),
        }
    )
    return counts.loc[names].reset_index(drop=True)
