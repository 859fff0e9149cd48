r"""Least squares for sums of exponentials with the linear part eliminated.

The model is :math:`y = A(\theta) c`, where the columns of :math:`A` are fixed columns (an offset, a step)
followed by one column for each exponential, and :math:`\theta_i = \ln \tau_i`. For a given
:math:`\theta` the coefficients :math:`c` are a linear least-squares solution, so that the search runs over
:math:`\theta` alone [1]_, by Newton's method with the exact second derivatives of what is left. A grid of
time constants, all combinations of it in closed form, gives the starts, so nobody has to guess one.

References
----------
.. [1] G. H. Golub and V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares
   problems whose variables separate", SIAM Journal on Numerical Analysis 10 (1973) 413-432.
"""

import math
from dataclasses import dataclass

import numpy as np

from photolab.metrology.arguments import Floats
from photolab.metrology.computed import Computed
from photolab.thermal.residuals import column_space, explained_by_both

GRID_SIZE = 60
STARTS = 4
LEAST_GAP = 1e-3  # of two fitted time constants, in ln, where nothing else is asked for
NEWTON_STEPS = 60
NEWTON_STEP = 0.5  # the largest, in ln(time constant)
HOPE = 4.0  # times what a step promises: a start that stays above another end even so is left
ALONG = 1e-9  # of a step: along a bound that presses, rounding is no approach
SMALLEST_STEP = 1e-7  # steps shrink by their square: the next one would not show
SMALLEST_PART = 1e-15  # of the largest singular value: below it a direction is rounding


@dataclass(frozen=True, eq=False)
class Separable:
    r"""A separable problem: fixed columns and exponentials.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Abscissa, shifted so that exponentials stay of order one. [any]
    y : ndarray, shape (n,)
        Response, not weighted. [any]
    fixed : ndarray, shape (n, m)
        Linear columns that carry no rate (offset, step), not weighted. [1]
    root_weight : ndarray, shape (n,)
        Square root of the weight of each squared residual. [1]
    rising : bool
        Columns are :math:`1 - e^{-x/\tau}` instead of :math:`e^{-x/\tau}`.
    log_range : tuple of float
        Bounds of :math:`\ln \tau`. [1]
    start : float, default 0
        What x is shifted by. [any]
    step : float, optional
        Where the second fixed column sets in, not shifted. [any]
    """

    x: Floats
    y: Floats
    fixed: Floats
    root_weight: Floats
    rising: bool
    log_range: tuple[float, float]
    start: float = 0.0
    step: float | None = None


class Projection(Computed):
    r"""The linear solution at one theta, and how the sum of squares changes with it.

    Parameters
    ----------
    problem : Separable
        The problem.
    theta : ndarray, shape (k,)
        Logarithms of the time constants. [1]

    Attributes
    ----------
    theta : ndarray, shape (k,)
        The same. [1]
    coefficients : ndarray, shape (m + k,)
        Linear coefficients, fixed columns first. [any]
    residual : ndarray, shape (n,)
        Weighted residual. [any]
    sum_of_squares : float
        Weighted residual sum of squares. [any]
    residual_sd : float
        Standard deviation of a residual, all parameters taken off. [any]
    design : ndarray, shape (n, m + 2 k)
        Weighted derivatives of the model by all its parameters: fixed columns, exponentials, derivatives by theta.
        [any]
    slope, curvature : ndarray, shape (k,) and (k, k)
        Half the first and second derivatives of the sum of squares by theta, coefficients following. [any]
    """

    def __init__(self, problem: Separable, theta: Floats) -> None:
        weight, count = problem.root_weight[:, None], problem.fixed.shape[1]
        scaled = problem.x[:, None] * np.exp(-theta)
        decay = np.exp(-scaled)
        columns, derivatives = decay, scaled * decay
        if problem.rising:
            columns, derivatives = -np.expm1(-scaled), -derivatives
        linear = np.concatenate([problem.fixed, columns], axis=1) * weight
        left, size, right = np.linalg.svd(linear, full_matrices=False)
        size = np.maximum(size, SMALLEST_PART * size.max(initial=1e-300))
        response = problem.y * problem.root_weight
        first = response @ left
        residual = response - left @ first
        again = residual @ left  # a second pass removes the rounding of the first
        residual = residual - left @ again
        self.theta = theta
        self.residual: Floats = residual
        self.coefficients = ((first + again) / size) @ right
        derivatives = derivatives * weight
        slopes, facing = derivatives * self.coefficients[count:], residual @ derivatives
        # the second derivative of a column is (x / tau - 1) times the first
        turning = residual @ ((scaled - 1.0) * slopes)
        across = left.T @ slopes - right[:, count:] * facing / size[:, None]
        self.slope, self.curvature = -residual @ slopes, slopes.T @ slopes - across.T @ across
        self.curvature.flat[:: theta.size + 1] -= turning
        self.design = np.concatenate([linear, slopes], axis=1)
        self.sum_of_squares = float(residual @ residual)
        self.residual_sd = math.sqrt(self.sum_of_squares / max(residual.size - self.design.shape[1], 1))


def kept_apart(theta: Floats, gap: float, log_range: tuple[float, float]) -> Floats:
    r"""Return time constants inside their range, no two of them closer than a gap.

    Parameters
    ----------
    theta : ndarray, shape (k, ...)
        Logarithms of the time constants, in any order. [1]
    gap : float
        Smallest difference. [1]
    log_range : tuple of float
        Bounds. [1]

    Returns
    -------
    ndarray, shape of theta
        Slowest first; a continuous function of theta. [1]
    """
    low, high = log_range
    theta = np.sort(np.clip(theta, low, high), axis=0)[::-1]
    if len(theta) == 2:
        half = 0.5 * np.maximum(theta[0] - theta[1], gap)
        middle = np.clip(0.5 * (theta[0] + theta[1]), low + half, high - half)
        return np.stack([middle + half, middle - half])
    for i in range(len(theta)):
        above = theta[i - 1] - gap if i else high
        theta[i] = np.clip(theta[i], low + gap * (len(theta) - 1 - i), above)
    return theta


def settle(problem: Separable, theta: Floats, *, gap: float = LEAST_GAP, above: float = np.inf) -> Projection:
    r"""Take a start to the minimum and to its last digits, time constants no closer than a gap.

    Two time constants that meet have amplitudes without end, and where a search stops among them is for
    rounding to say. Kept apart, the minimum is one point: Newton steps find it, along the bounds that press
    on it, downhill where the sum of squares is not hollow.

    Parameters
    ----------
    problem : Separable
        The problem.
    theta : ndarray, shape (k,)
        Logarithms of the time constants to start from, inside their range and apart, slowest first. [1]
    gap : float, optional
        Smallest difference of :math:`\ln \tau`. [1]
    above : float, optional
        Sum of squares known already; where steps promise no less, the search is left. [any]

    Returns
    -------
    Projection
        The minimum, slowest first.
    """
    low, high = problem.log_range
    found = Projection(problem, theta)
    bounds = np.eye(theta.size + 1, theta.size) - np.eye(theta.size + 1, theta.size, -1)
    limits = np.array([high, *[-gap] * (theta.size - 1), -low])
    reach = NEWTON_STEP
    for _ in range(NEWTON_STEPS):
        room = limits - bounds @ found.theta
        step = _newton_step(found, bounds[room <= 1e-12])
        if found.sum_of_squares + HOPE * float(found.slope @ step) > above:
            break
        length = float(np.abs(step).max())
        step = step * (reach / max(length, reach))
        ahead = bounds @ step
        nearing = ahead > ALONG * length
        step *= np.min(room[nearing] / ahead[nearing], initial=1.0)
        tried = Projection(problem, found.theta + step)
        if tried.sum_of_squares <= found.sum_of_squares * (1.0 + 1e-9):
            found, reach = tried, NEWTON_STEP
        else:
            reach = 0.25 * float(np.abs(step).max())
        if length < SMALLEST_STEP:
            break
    return found


def _newton_step(found: Projection, pressing: Floats) -> Floats:
    """Return the step to where the slope vanishes, downhill in every direction, along bounds that it would cross."""
    held: list[int] = []
    while len(held) < found.theta.size:
        along = np.eye(found.theta.size)
        if held:
            along = np.linalg.qr(pressing[held].T, mode="complete")[0][:, len(held) :]
        value, axes = np.linalg.eigh(along.T @ found.curvature @ along)
        axes, size = along @ axes, np.abs(value)
        step = axes @ (found.slope @ axes / -(size + 1e-12 * size.max() + 1e-300))
        ahead = pressing @ step
        if not np.any(ahead > ALONG * np.abs(step).max()):
            return np.asarray(step)
        held.append(int(np.argmax(ahead)))
    return np.zeros(found.theta.size)


def solve(problem: Separable, terms: int, *, gap: float = LEAST_GAP) -> list[Projection]:
    """Find the least-squares sums of exponentials from no start values.

    Parameters
    ----------
    problem : Separable
        The problem.
    terms : int
        Largest number of exponentials; 0 fits the fixed columns alone.
    gap : float, optional
        Smallest difference of the logarithms of two time constants. [1]

    Returns
    -------
    list of Projection
        Minima with no exponential, with one, and so on; theta in descending order (slowest first, rates ascending).
    """
    grid, weight = np.linspace(*problem.log_range, GRID_SIZE), problem.root_weight[:, None]
    scaled = problem.x[:, None] * np.exp(-grid)
    columns, derivatives = np.exp(-scaled) * weight, scaled * np.exp(-scaled) * weight
    if problem.rising:
        columns, derivatives = weight - columns, -derivatives
    level = Projection(problem, np.empty(0))
    found = [level]
    for _ in range(terms):
        last = found[-1]
        starts = np.concatenate([np.repeat(last.theta[:, None], GRID_SIZE, axis=1), grid[None]])
        basis, _ = column_space(last.design)
        beside = columns - basis @ (basis.T @ columns)
        gain = (last.residual @ beside) ** 2 / np.maximum(np.sum(beside**2, axis=0), 1e-300)
        if last.theta.size == 1:  # or two that run together anywhere, in place of the one
            basis, _ = column_space(level.design)
            both = np.concatenate([columns, derivatives], axis=1)
            pair = np.split(both - basis @ (basis.T @ both), 2, axis=1)
            together = explained_by_both(pair[0], pair[1], level.residual)
            gain = np.append(gain, together - level.sum_of_squares + last.sum_of_squares)
            starts = np.concatenate([starts, [grid, grid]], axis=1)
        either = gain.reshape(-1, GRID_SIZE)
        rows = np.pad(either, ((0, 0), (1, 1)), constant_values=-np.inf)  # no gain beyond
        tops = np.flatnonzero((rows[:, 1:-1] >= rows[:, 2:]) & (rows[:, 1:-1] >= rows[:, :-2]))
        tops = tops[np.argsort(-gain[tops])][:STARTS]
        first, *others = kept_apart(starts[:, tops], gap, problem.log_range).T
        best = settle(problem, first, gap=gap)
        for start in others:
            end = settle(problem, start, gap=gap, above=best.sum_of_squares)
            best = min(best, end, key=lambda one: one.sum_of_squares)
        found.append(best)
    return found
