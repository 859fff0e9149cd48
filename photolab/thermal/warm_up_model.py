"""The fitted curve of a warm-up record: two exponentials, a step where there is one, and its noise."""

from collections.abc import Sequence

import numpy as np

from photolab.metrology.arguments import Floats
from photolab.metrology.computed import Computed
from photolab.thermal.exponentials import LONGEST_PART, SHORTEST_PART
from photolab.thermal.residuals import ResidualModel, StableScatter
from photolab.thermal.variable_projection import Projection, Separable, settle, solve

SMALLEST_SHARE = 0.05  # of the fading part: a smaller second term is not described
SMALLEST_RATIO = 2.0  # of two time constants that are described apart
LEAST_GAP = 0.05  # of two fitted time constants, in ln: closer ones draw the same curve
WINDOW_PARTS = 25
ROUNDING = 1e-9  # of the light: residuals below it are arithmetic, not noise


class Curve(Computed):
    """A fitted curve with its noise model.

    Parameters
    ----------
    problem : Separable
        Record and fixed columns; times count from the first reading.
    found : Projection
        Least-squares solution.
    correlation : float, optional
        Known correlation of neighbouring residuals; estimated by default. [1]
    stable : sequence of StableScatter, optional
        Records of lamps that no longer change, on the same meter.

    Attributes
    ----------
    problem, found
        The same.
    linear : int
        Number of fixed columns.
    time_constants : ndarray, shape (k,)
        Time constants, slowest first. [s]
    noise : ResidualModel
        Correlation and variance of the residuals.
    """

    def __init__(
        self,
        problem: Separable,
        found: Projection,
        *,
        correlation: float | None = None,
        stable: Sequence[StableScatter] = (),
    ) -> None:
        self.problem, self.found, self.linear = problem, found, problem.fixed.shape[1]
        self.time_constants = np.exp(found.theta)
        self.noise = ResidualModel(
            problem.x, found.residual, found.design, correlation=correlation, stable=stable
        )

    def rows(self, instants_s: Floats) -> Floats:
        """Return the derivatives of the curve by its parameters at some instants.

        Parameters
        ----------
        instants_s : ndarray, shape (m,)
            Instants. [s]

        Returns
        -------
        ndarray, shape (m, p)
            By the coefficients [1], then by the logarithms of the time constants [lx].
        """
        scaled = (instants_s - self.problem.start)[:, None] * np.exp(-self.found.theta)
        decay = np.exp(-scaled)
        slopes = scaled * decay * self.found.coefficients[self.linear :]
        return np.concatenate([fixed_columns(instants_s, self.problem.step), decay, slopes], axis=1)

    def light(self, instants_s: Floats) -> Floats:
        """Return the light of the curve at some instants.

        Parameters
        ----------
        instants_s : ndarray, shape (m,)
            Instants. [s]

        Returns
        -------
        ndarray, shape (m,)
            Illuminance. [lx]
        """
        coefficients = self.found.coefficients
        return np.asarray(self.rows(instants_s)[:, : coefficients.size] @ coefficients)


def fixed_columns(time_s: Floats, step_s: float | None) -> Floats:
    """Return the columns of the level and of the step.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times. [s]
    step_s : float or None
        Time of the step. [s]

    Returns
    -------
    ndarray, shape (n, 1 or 2)
        Columns. [1]
    """
    after = [] if step_s is None else [time_s >= step_s]
    return np.column_stack([np.ones(time_s.size), *after])


def separable(time_s: Floats, light: Floats, step_s: float | None) -> Separable:
    """Return the problem of a record.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    light : ndarray, shape (n,)
        Illuminance. [lx]
    step_s : float or None
        Time of the step. [s]

    Returns
    -------
    Separable
        The problem, times counted from the first reading.
    """
    length = float(np.ptp(time_s))
    shortest = max(length * SHORTEST_PART, 0.5 * float(np.min(np.diff(time_s))))
    limits = (float(np.log(shortest)), float(np.log(length * LONGEST_PART)))
    fixed, first = fixed_columns(time_s, step_s), float(time_s[0])
    return Separable(time_s - first, light, fixed, np.ones(time_s.size), False, limits, first, step_s)


def locate_step(time_s: Floats, light: Floats, index: int) -> Separable:
    """Return the record with a step, its instant refined among its neighbours by refitting.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    light : ndarray, shape (n,)
        Illuminance. [lx]
    index : int
        First reading after the step, as the scan has it.

    Returns
    -------
    Separable
        The record with a step in the middle between the readings before and after.
    """
    inside = range(max(index - 2, 2), min(index + 2, time_s.size - 2) + 1)
    nearby = sorted(inside, key=lambda i: abs(i - index))
    problems = [separable(time_s, light, 0.5 * float(time_s[i - 1] + time_s[i])) for i in nearby]
    ends = solve(problems[0], 2, gap=LEAST_GAP)[-1:]
    ends += [settle(one, ends[0].theta, gap=LEAST_GAP, above=ends[0].sum_of_squares) for one in problems[1:]]
    return problems[int(np.argmin([one.sum_of_squares for one in ends]))]


def described_fit(problem: Separable, fits: Sequence[Projection], effective_readings: float) -> Projection:
    """Return the fit whose order describes a record: a description, never the basis of an interval.

    Parameters
    ----------
    problem : Separable
        The record.
    fits : sequence of Projection
        Its fits of no, of one and of two exponentials.
    effective_readings : float
        Number of independent readings that carry as much. [1]

    Returns
    -------
    Projection
        Fit of 0, 1 or 2 exponentials: lowest Bayesian information criterion with the effective number of
        readings; a second term must be apart from the first, not small, and inside its range.
    """
    count = max(effective_readings, 2.0)
    criteria = [
        count * np.log(max(fit.sum_of_squares, 1e-300)) + 2 * terms * np.log(count)
        for terms, fit in enumerate(fits)
    ]
    order, found, (low, high) = int(np.argmin(criteria)), fits[2], problem.log_range
    sizes = np.abs(found.coefficients[-2:])
    apart = found.theta[0] - found.theta[1] >= np.log(SMALLEST_RATIO)
    inside = np.all((found.theta > low + 1e-6) & (found.theta < high - 1e-6))
    if order == 2 and not (apart and inside and sizes.min() >= SMALLEST_SHARE * sizes.sum()):
        order = int(np.argmin(criteria[:2]))
    return fits[order]


def window(centre_s: float, length_s: float) -> Floats:
    """Return instants whose plain mean stands for the mean over a window.

    Parameters
    ----------
    centre_s : float
        Middle of the window. [s]
    length_s : float
        Length of the window; 0 is one instant. [s]

    Returns
    -------
    ndarray
        Middles of equal parts of the window. [s]
    """
    if length_s == 0.0:
        return np.array([centre_s])
    return centre_s + length_s * ((np.arange(WINDOW_PARTS) + 0.5) / WINDOW_PARTS - 0.5)
