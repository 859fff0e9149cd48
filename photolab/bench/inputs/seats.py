"""Mounting means and the weights that turn them into lamp values.

*Seated once*: one time a lamp was put into a housing. The estimate is generalised least squares of mounting means on
lamp x housing x specimen with the covariance of mounting, day and noise; a lamp's value is the plain mean over its
specimens. For balanced data it is the mean of means.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from photolab.bench.terms.columns import Array, Columns, Groups, Table
from photolab.metrology.quantity import Factored

MOUNTING = ["lamp", "specimen", "housing", "day", "mounting", "meter", "range_lx", "point", "instant"]
SEAT = [*MOUNTING, "clock_h"]
SEATED = ["lamp", "specimen", "housing", "day", "mounting"]
CELL = ["lamp", "specimen", "housing", "point", "instant"]
RESULT = ["lamp", "housing", "point", "instant"]
SAME = 1e-9  # of a reading: repeats closer than this show one figure
_CARRIED = ["technology", "spectral_u", "own_spectrum", "onto", "link_u", "link_dof"]
_AVERAGED = [
    "ln_value", "volts", "ln_voltage_ratio", "exponent", "warmth_K", "led_warmth_K", "elapsed_s",
]  # fmt: skip
_FLOOR = 1e-12  # keeps the weights finite where nothing at all scatters; it cancels from them
_ROUNDING = 1e-12  # of a weight
_FULL = 2_000_000  # results times readings up to which the weights are kept in one piece


def mounting_means(readings: Columns) -> tuple[dict[str, NDArray[Any]], NDArray[np.intp]]:
    """Average the ln readings of each mounting.

    Parameters
    ----------
    readings : Columns
        Corrected readings with ln_value, net_lx and the identity columns.

    Returns
    -------
    tuple of (dict, ndarray of int)
        The mounting means by columns (identity, n, ln_value, inverse [1/lx], ss (sum of squares of the ln readings
        about their mean), one_figure), and the row of the mounting mean of each reading.
    """
    by = readings.groups(*SEAT)
    seats: dict[str, NDArray[Any]] = {c: readings[c][by.first] for c in (*SEAT, *_CARRIED)}
    seats |= {c: by.mean(readings.numbers(c)) for c in _AVERAGED}
    seats["inverse"] = by.mean(1.0 / readings.numbers("net_lx"))
    seats["n"] = by.size
    seats["ss"] = by.sum((readings.numbers("ln_value") - seats["ln_value"][by.code]) ** 2)
    shown = readings.numbers("illuminance_lx")
    most = -by.least(-shown)
    seats["one_figure"] = (most - by.least(shown) <= SAME * most) & (by.size > 1)
    return seats, by.code


def whole_mountings(seats: Columns) -> Columns:
    """Join the parts of a mounting that were read at different clock times.

    Parameters
    ----------
    seats : Columns
        Mounting means, apart by clock.

    Returns
    -------
    Columns
        One row a mounting: n, ss (scatter at one clock time only) and the mean ln value of its parts.
    """
    by = seats.groups(*MOUNTING)
    whole: dict[str, NDArray[Any]] = {c: seats[c][by.first] for c in (*MOUNTING, "technology")}
    whole["n"] = by.sum(seats["n"]).astype(np.intp)
    whole["parts"] = by.size
    whole["ss"] = by.sum(seats["ss"])
    whole["ln_value"] = by.mean(seats["ln_value"])
    return Columns(whole)


@dataclass(frozen=True, eq=False)
class Weights:
    """Linear estimator of lamp values from mounting means.

    Attributes
    ----------
    names : tuple of tuple
        (lamp, housing, point, instant) of each result.
    matrix : scipy.sparse.csr_array or Factored, shape (results, mountings)
        Each row sums to one. [1]
    seats : Columns
        The mountings.
    """

    names: tuple[tuple[str, ...], ...]
    matrix: sparse.csr_array | Factored
    seats: Columns = field(repr=False)

    @cached_property
    def places(self) -> dict[tuple[str, ...], int]:
        """Place of each result in the names."""
        return {name: k for k, name in enumerate(self.names)}

    @cached_property
    def counts(self) -> pd.DataFrame:
        """What stands behind each result: n_specimens, n_mountings, n_readings, n_days."""
        results = self.seats.groups(*RESULT)

        def different(*columns: str) -> NDArray[np.intp]:
            return np.bincount(
                results.code[self.seats.groups(*RESULT, *columns).first], minlength=len(results)
            )

        return pd.DataFrame(
            {
                "n_specimens": different("specimen"),
                "n_mountings": different(*MOUNTING),
                "n_readings": results.sum(self.seats["n"]).astype(np.int64),
                "n_days": different("day"),
            }
        )


def hours_from_middle(seats: Columns) -> Array:
    """Return the time of each part of a mounting from the middle of its day in its housing.

    Parameters
    ----------
    seats : Columns
        Mounting means with clock_h (NaN where no clock was written).

    Returns
    -------
    ndarray, shape (mountings,)
        Zero where any clock of that day, housing and instant is missing; at the hold time that of the same seating's
        initial readings, where it has any. [h]

    Notes
    -----
    The middle is that of the initial readings, so readings at the hold time do not move them, and the readings of one
    seating are as far apart as their own clocks; of the readings at the hold time where a day has no initial ones.
    """
    clock, hold = seats.numbers("clock_h"), np.asarray(seats["instant"] == "hold")
    by, at_once, seated = (
        seats.groups(*columns)
        for columns in (("day", "housing"), ("day", "housing", "instant"), (*SEATED, "point"))
    )
    late = hold & (by.sum(~hold)[by.code] > 0)
    first, last = (by.least(np.where(late, np.inf, sign * clock)) for sign in (1.0, -1.0))
    hours = clock - ((first - last) / 2.0)[by.code]
    blank = np.isnan(at_once.least(clock))[at_once.code]
    hours[blank] = 0.0
    own = seated.sum(np.where(hold, 0.0, np.nan_to_num(hours))) / np.maximum(seated.sum(~hold), 1.0)
    return np.nan_to_num(np.where(blank & late, own[seated.code], hours))


def lamp_weights(
    seats: Table, *, noise_sd: Array, mounting: float | Array, day: float, drift: float = 0.0
) -> Weights:
    r"""Return the generalised-least-squares weights of every lamp value.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means, apart by clock.
    noise_sd : ndarray, shape (mountings,)
        Standard deviation of each mean from reading to reading. [1]
    mounting : float or ndarray, shape (mountings,)
        Standard deviation of a mounting, in ln; one figure in each housing. [1]
    day : float
        Of a day in one housing, in ln. [1]
    drift : float, default 0
        Of the drift within a day, from clock to clock, in ln. [1/h]

    Returns
    -------
    Weights
        One row a lamp, housing, point and instant.

    Notes
    -----
    With cells X, days and drifts U (in units of their standard deviations) and the covariance A of what a mounting
    has for itself, the covariance is :math:`A + UU^T`. The mixed-model equations give the weights as

    .. math:: W_0 - W_0 U (1 + R^T A^{-1} R)^{-1} R^T A^{-1}, \quad W_0 = (X^T A^{-1} X)^{-1} X^T A^{-1},
        \quad R = U - X W_0 U

    R holds only days whose lamps were read on others too (Robinson, That BLUP is a good thing, Statistical Science 6,
    1991). Where there are many, and fewer cells than days tie the days together, the equations are solved the other way
    round, days first, so that time and memory follow the mountings in both cases.
    """
    seats = Columns.of(seats)
    cells, results = seats.groups(*CELL), seats.groups(*RESULT)
    shared = seats.groups(*SEATED, "point", "instant")
    inverse, own = _inverse(shared, noise_sd**2 + _FLOOR, np.broadcast_to(mounting, seats.rows) ** 2)
    plain = _incidence(cells, own / cells.sum(own)[cells.code]).T.tocsr()
    days = seats.groups("day", "housing", "point", "instant")
    values = np.column_stack((np.full(seats.rows, day), drift * hours_from_middle(seats)))
    places = (np.column_stack((2 * days.code, 2 * days.code + 1)).ravel(), np.arange(0, values.size + 1, 2))
    shape = sparse.csr_array((values.ravel(), *places), shape=(seats.rows, 2 * len(days)))
    level = plain @ shape
    rest = (shape - level[cells.code]).tocsc()
    rest.data[np.abs(rest.data) <= _ROUNDING * np.abs(shape.data).max(initial=0.0)] = 0.0
    rest.eliminate_zeros()
    told = np.flatnonzero(np.diff(rest.indptr))
    linked = np.bincount(cells.code[seats.groups(*CELL, "day").first]) > 1
    owner = results.code[cells.first]
    share = 1.0 / np.bincount(owner)[owner]
    mean = sparse.csr_array((share, (owner, np.arange(len(cells)))), shape=(len(results), len(cells)))
    large = len(results) * int(seats["n"].sum()) > _FULL
    if len(told) <= linked.sum() or not large:
        rest = rest[:, told]
        gain = (rest.T @ inverse).tocsr()
        solved = sparse.csr_array(np.linalg.inv(np.eye(len(told)) + (gain @ rest).toarray()))
        factored = Factored((mean @ plain).tocsr(), (mean @ level[:, told]).tocsr(), (solved @ gain).tocsr())
    else:
        factored = _by_linked_cells(mean, plain, shape, rest, inverse, cells, linked)
    matrix = factored if large and factored.right.shape[0] else factored.full()
    named = [seats[c][results.first].astype(str).tolist() for c in RESULT]
    return Weights(tuple(zip(*named, strict=True)), matrix, seats)


def _by_linked_cells(
    mean: sparse.csr_array,
    plain: sparse.csr_array,
    shape: sparse.csr_array,
    rest: sparse.csc_array,
    inverse: sparse.csr_array,
    cells: Groups,
    linked: NDArray[np.bool_],
) -> Factored:
    """Return the weights with a factor for each cell that was read on several days, where days are more than those.

    What the seatings of a day tell of it is solved day by day; the light of the linked cells follows without the days,
    and any other cell is its own mean less what its day was found to be, which is linear in their light.
    """
    at, ties = np.flatnonzero(linked), linked[cells.code].astype(float)
    on = _incidence(cells, ties)[:, at]
    own = sparse.diags_array(1.0 - linked) @ plain
    seen = sparse.diags_array(ties) @ shape + sparse.diags_array(1.0 - ties) @ rest
    gain = seen.T @ inverse
    known = (sparse.eye_array(shape.shape[1]) + gain @ seen).tobsr((2, 2))
    told = (sparse.bsr_array((np.linalg.inv(known.data), known.indices, known.indptr)) @ gain).tocsr()
    freed = on.T @ inverse - (gain @ on).T @ told
    light = sparse.csr_array(np.linalg.inv((freed @ on).toarray())) @ freed
    moved = mean @ own @ shape @ told
    return Factored((mean @ own - moved).tocsr(), -(moved @ on + mean[:, at]).tocsr(), light.tocsr())


def _incidence(groups: Groups, values: Array) -> sparse.csr_array:
    """Return a matrix with a value of each row in the column of its group."""
    rows = len(groups.code)
    return sparse.csr_array((values, groups.code, np.arange(rows + 1)), shape=(rows, len(groups)))


def _inverse(shared: Groups, own: Array, mounting: Array) -> tuple[sparse.csr_array, Array]:
    """Return the inverse of the covariance of mountings read in parts, and its row sums (Sherman and Morrison)."""
    alone = shared.size[shared.code] == 1
    weight = 1.0 / np.where(alone, own + mounting, own)
    together = shared.sum(weight)[shared.code]
    sums = np.where(alone, weight, weight / (1.0 + mounting * together))
    bound = np.where(alone, 0.0, mounting / (1.0 + mounting * together))[shared.first]
    parts = _incidence(shared, weight * np.sqrt(bound)[shared.code])
    every = np.arange(len(weight))
    return _incidence(Groups(every, every), weight) - parts @ parts.T, sums
