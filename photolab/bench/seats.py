"""Mounting means and the weights that turn them into lamp values.

*Seated once*: one time a lamp was put into a housing. The estimate is generalised least squares of mounting means on
lamp x housing x specimen with the covariance of mounting, day and noise; a lamp's value is the plain mean over its
specimens. For balanced data it is the mean of means.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import linalg, sparse

Array = NDArray[np.float64]

SEAT = ["lamp", "specimen", "housing", "day", "mounting", "meter", "range_lx", "point", "instant"]
CELL = ["lamp", "specimen", "housing", "point", "instant"]
RESULT = ["lamp", "housing", "point", "instant"]


def mounting_means(readings: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Average the ln readings of each mounting.

    Parameters
    ----------
    readings : DataFrame
        Corrected readings with ln_value, net_lx and the identity columns.

    Returns
    -------
    tuple of DataFrame
        The mounting means (identity, n, ln_value, inverse [1/lx], variance of the ln readings, one_figure, lines) and the
        readings with `seat`, the row of their mounting mean.
    """
    table = readings.copy()
    grouped = table.groupby(SEAT, sort=False, dropna=False)
    table["seat"] = grouped.ngroup()
    table["inverse"] = 1.0 / table["net_lx"]
    by = table.groupby("seat", sort=True)
    carried = ["technology", "spectral_u", "own_spectrum", "likeness"]
    seats = by[[*SEAT, *carried]].first()
    for column in ("spectral_u", "range_lx"):
        seats[column] = by[column].mean()
    averaged = [
        "ln_value", "inverse", "volts", "ln_voltage_ratio", "exponent", "warmth_K", "led_warmth_K", "elapsed_s",
        "clock_h",
    ]  # fmt: skip
    seats[averaged] = by[averaged].mean()
    seats["n"] = by.size()
    seats["ss"] = by["ln_value"].apply(lambda v: float(((v - v.mean()) ** 2).sum()))
    seats["one_figure"] = (by["illuminance_lx"].nunique() == 1) & (seats["n"] > 1)
    return seats.reset_index(drop=True), table


@dataclass(frozen=True, eq=False)
class Weights:
    """Linear estimator of lamp values from mounting means.

    Attributes
    ----------
    names : tuple of tuple
        (lamp, housing, point, instant) of each result.
    matrix : ndarray, shape (results, mountings)
        Each row sums to one.
    counts : DataFrame
        n_specimens, n_mountings, n_readings, n_days of each result.
    """

    names: tuple[tuple[str, ...], ...]
    matrix: Array
    counts: pd.DataFrame


def lamp_weights(seats: pd.DataFrame, *, noise_sd: Array, mounting_sd: float, day_sd: float) -> Weights:
    """Return the generalised-least-squares weights of every lamp value.

    Parameters
    ----------
    seats : DataFrame
        Mounting means.
    noise_sd : ndarray, shape (mountings,)
        Standard deviation of each mounting's ln mean from reading to reading. [1]
    mounting_sd, day_sd : float
        Standard deviations of a mounting and of a day. [1]

    Returns
    -------
    Weights
        One row a lamp, housing, point and instant.
    """
    names = list(dict.fromkeys(map(tuple, seats[RESULT].astype(str).to_numpy().tolist())))
    place = {n: i for i, n in enumerate(names)}
    matrix = np.zeros((len(names), len(seats)))
    for _, block in seats.groupby(["housing", "point", "instant"], sort=False):
        at = block.index.to_numpy()
        cell_weights, cells = _block_weights(block, noise_sd[at], mounting_sd, day_sd)
        owner = [place[tuple(map(str, (c[0], c[2], c[3], c[4])))] for c in cells]
        share = 1.0 / np.bincount(owner, minlength=len(names))[owner]
        for row, cell in zip(owner, range(len(cells)), strict=True):
            matrix[row, at] += share[cell] * cell_weights[cell]
    return Weights(tuple(names), matrix, _counts(seats, names))


def _block_weights(
    block: pd.DataFrame, noise: Array, mounting_sd: float, day_sd: float
) -> tuple[Array, list[tuple[str, ...]]]:
    """Return the weights of each lamp x specimen in one housing, point and instant."""
    keys = list(map(tuple, block[CELL].astype(str).to_numpy().tolist()))
    cells = list(dict.fromkeys(keys))
    index = {c: i for i, c in enumerate(cells)}
    design = np.zeros((len(block), len(cells)))
    design[np.arange(len(block)), [index[k] for k in keys]] = 1.0
    same_day = pd.factorize(block["day"])[0]
    variance = day_sd**2 * (same_day[:, None] == same_day[None, :])
    # a tiny floor keeps the matrix solvable where nothing at all scatters; it cancels from the weights
    variance[np.diag_indices(len(block))] += mounting_sd**2 + noise**2 + 1e-12
    factor = linalg.cho_factor(variance, lower=True)
    whitened = linalg.cho_solve(factor, design)
    return linalg.solve(design.T @ whitened, whitened.T, assume_a="pos"), cells


def _counts(seats: pd.DataFrame, names: list[tuple[str, ...]]) -> pd.DataFrame:
    """Count what stands behind each result."""
    grouped = seats.assign(**{c: seats[c].astype(str) for c in RESULT}).groupby(RESULT, sort=False)
    counts = pd.DataFrame(
        {
            "n_specimens": grouped["specimen"].nunique(),
            "n_mountings": grouped.size(),
            "n_readings": grouped["n"].sum(),
            "n_days": grouped["day"].nunique(),
        }
    )
    return counts.loc[names].reset_index(drop=True)


def design_of(columns: pd.DataFrame) -> sparse.csr_array:
    """Return the indicator matrix of the distinct rows of some columns.

    Parameters
    ----------
    columns : DataFrame
        Identity columns.

    Returns
    -------
    sparse array, shape (rows, groups)
        One 1 a row.
    """
    code = columns.astype(str).groupby(list(columns.columns), sort=False).ngroup().to_numpy()
    return sparse.csr_array((np.ones(len(code)), (np.arange(len(code)), code)))
