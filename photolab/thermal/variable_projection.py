r"""Least squares for sums of exponentials with the linear part eliminated.

The model is :math:`y = A(\theta) c`, where the columns of :math:`A` are fixed columns (an offset, a step)
followed by one column for each exponential, and :math:`\theta_i = \ln \tau_i`. For a given
:math:`\theta` the coefficients :math:`c` are a linear least-squares solution, so that the search runs over
:math:`\theta` alone [1]_, with the Jacobian of Kaufman [2]_. A grid of time constants, all combinations of
it in closed form, gives the start, so nobody has to guess one.

References
----------
.. [1] G. H. Golub and V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares
   problems whose variables separate", SIAM Journal on Numerical Analysis 10 (1973) 413-432.
.. [2] L. Kaufman, "A variable projection method for solving separable nonlinear least squares problems",
   BIT 15 (1975) 49-57.
"""

from dataclasses import dataclass, fields, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

GRID_SIZE = 24
TRIAL_STEPS = 8
FINALISTS = 2
LARGEST_STEP = 1.5  # in ln(time constant): a factor of 4.5 at most in one step
NEWTON_STEPS = 40
NEWTON_STEP = 0.3  # the largest, in ln(time constant)
NEWTON_PROBE = 1e-4  # in ln(time constant): how far the curvature looks to either side


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
    """

    x: FloatArray
    y: FloatArray
    fixed: FloatArray
    root_weight: FloatArray
    rising: bool
    log_range: tuple[float, float]

    def exponentials(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        r"""Return the weighted exponential columns and their derivatives by :math:`\theta`.

        Parameters
        ----------
        theta : ndarray, shape (..., k)
            Logarithms of the time constants. [1]

        Returns
        -------
        columns, derivatives : ndarray, shape (..., n, k)
            Columns of the model and their derivatives. [1]
        """
        scaled = self.x[:, None] * np.exp(-theta)[..., None, :]
        decay = np.exp(-scaled)
        weight = self.root_weight[:, None]
        if self.rising:
            return -np.expm1(-scaled) * weight, -scaled * decay * weight
        return decay * weight, scaled * decay * weight


@dataclass(frozen=True, eq=False)
class Projection:
    """The linear solution at one theta, or at each of several.

    Parameters
    ----------
    theta : ndarray, shape (..., k)
        Logarithms of the time constants. [1]
    coefficients : ndarray, shape (..., m + k)
        Linear coefficients, fixed columns first. [any]
    residual : ndarray, shape (..., n)
        Weighted residual. [any]
    jacobian : ndarray, shape (..., n, k)
        Derivative of the residual by theta, Kaufman's approximation. [any]
    sum_of_squares : float or ndarray, shape (...)
        Weighted residual sum of squares. [any]
    """

    theta: FloatArray
    coefficients: FloatArray
    residual: FloatArray
    jacobian: FloatArray
    sum_of_squares: Any

    def __getitem__(self, place: Any) -> "Projection":
        """Return the solution at one of several, or at some of them."""
        return Projection(*(getattr(self, one.name)[place] for one in fields(self)))


def _times(matrix: FloatArray, vector: FloatArray) -> FloatArray:
    """Return the product of a matrix and a vector, or of each of several."""
    return np.asarray((matrix @ vector[..., None])[..., 0])


def _project(problem: Separable, theta: FloatArray) -> Projection:
    """Solve the linear part at given theta: coefficients, residual and the reduced Jacobian."""
    columns, derivatives = problem.exponentials(theta)
    weight, count = problem.root_weight, problem.fixed.shape[1]
    fixed = np.broadcast_to(problem.fixed * weight[:, None], (*columns.shape[:-1], count))
    basis, triangle = np.linalg.qr(np.concatenate([fixed, columns], axis=-1))
    across, response = np.swapaxes(basis, -1, -2), problem.y * weight
    first = across @ response
    residual = response - _times(basis, first)
    again = _times(across, residual)  # a second pass removes the rounding of the first
    residual = residual - _times(basis, again)
    coefficients = _solve_triangle(triangle, first + again)
    slopes = derivatives * coefficients[..., None, count:]
    jacobian = basis @ (across @ slopes) - slopes
    return Projection(theta, coefficients, residual, jacobian, np.sum(residual**2, axis=-1))


def _solve_triangle(triangle: FloatArray, right: FloatArray) -> FloatArray:
    """Solve upper triangular systems whose diagonal may vanish to rounding."""
    size = np.abs(np.diagonal(triangle, axis1=-2, axis2=-1))
    floor = 1e-15 * np.maximum(size.max(axis=-1, keepdims=True), 1e-300)
    if np.any(size < floor):
        triangle = triangle + np.where(size < floor, floor, 0.0)[..., None] * np.eye(size.shape[-1])
    return np.asarray(np.linalg.solve(triangle, right[..., None])[..., 0], dtype=np.float64)


def _grid_starts(problem: Separable, terms: int, *, count: int) -> list[FloatArray]:
    """Return the best well-separated combinations of a grid of time constants, best first."""
    grid = np.linspace(*problem.log_range, GRID_SIZE)
    columns, _ = problem.exponentials(grid)
    response = problem.y * problem.root_weight
    if problem.fixed.shape[1]:
        basis, _ = np.linalg.qr(problem.fixed * problem.root_weight[:, None])
        columns = columns - basis @ (basis.T @ columns)
        response = response - basis @ (basis.T @ response)
    columns = columns / np.maximum(np.linalg.norm(columns, axis=0), 1e-300)
    chosen = np.array(list(combinations(range(GRID_SIZE), terms)))
    gain = _explained(columns.T @ columns, columns.T @ response, chosen)
    starts: list[FloatArray] = []
    for _ in range(count):
        best = int(np.argmax(gain))
        if not gain[best] > 0.0:
            break
        starts.append(grid[chosen[best]])
        gain[np.all(np.abs(chosen - chosen[best]) <= 2, axis=1)] = 0.0
    return starts or [grid[chosen[len(chosen) // 2]]]


def _explained(gram: FloatArray, cross: FloatArray, chosen: NDArray[np.int64]) -> FloatArray:
    """Return the sum of squares that each combination of grid columns explains."""
    matrices = gram[chosen[:, :, None], chosen[:, None, :]]
    sides = cross[chosen]
    usable = np.abs(np.linalg.det(matrices)) > 1e-13
    gain = np.zeros(len(chosen))
    solved = np.linalg.solve(matrices[usable], sides[usable][..., None])[..., 0]
    gain[usable] = np.sum(solved * sides[usable], axis=1)
    return gain


def _search(problem: Separable, theta: FloatArray, *, max_steps: int = 80) -> Projection:
    """Minimise over theta by the Levenberg-Marquardt method, inside the bounds, from each of several starts."""
    low, high = problem.log_range
    found = _project(problem, np.clip(theta, low, high))
    damping, going, one = np.full(len(theta), 1e-3), np.arange(len(theta)), np.eye(theta.shape[1])
    for _ in range(max_steps):
        here = found[going]
        across = np.swapaxes(here.jacobian, -1, -2)
        curvature, slope = across @ here.jacobian, _times(across, here.residual)
        diagonal = np.diagonal(curvature, axis1=-2, axis2=-1)
        lift = damping[going, None] * diagonal + 1e-14 * diagonal.max(axis=-1, keepdims=True) + 1e-300
        # a time constant pressed against its bound takes no part in the step of the others
        held = ((here.theta <= low) & (slope > 0)) | ((here.theta >= high) & (slope < 0))
        lifted = np.where(held[:, :, None] | held[:, None, :], one, curvature + lift[..., None] * one)
        slope = np.where(held, 0.0, slope)
        step = np.clip(np.linalg.solve(lifted, slope[..., None])[..., 0], -LARGEST_STEP, LARGEST_STEP)
        trial = _project(problem, np.clip(here.theta - step, low, high))
        change = trial.theta - here.theta
        better = trial.sum_of_squares <= here.sum_of_squares
        for all_of, new in zip(vars(found).values(), vars(trial).values(), strict=True):
            all_of[going[better]] = new[better]
        damping[going] = np.where(better, np.maximum(damping[going] * 0.15, 1e-12), damping[going] * 6.0)
        small = np.abs(np.sum(slope * change, axis=-1)) <= 1e-12 * trial.sum_of_squares
        ended = (better & small) | (np.abs(change).max(axis=-1) < 1e-10) | (damping[going] > 1e10)
        going = going[~ended]
        if not going.size:
            break
    return found


def _polish(problem: Separable, found: Projection, *, max_steps: int = 12) -> Projection:
    """Refine an interior minimum by undamped Gauss-Newton steps, keeping the smallest step.

    A sum of squares stops telling points apart at seven digits; the length of an undamped step does not.
    """
    count = problem.fixed.shape[1]
    coefficients, theta = found.coefficients, found.theta
    best, shortest = found, np.inf
    for _ in range(max_steps):
        design = full_design(problem, coefficients, theta)
        predicted = design[:, : count + theta.size] @ coefficients
        scale = np.maximum(np.linalg.norm(design, axis=0), 1e-300)
        basis, triangle = np.linalg.qr(design / scale)
        step = _solve_triangle(triangle, basis.T @ (problem.y * problem.root_weight - predicted)) / scale
        change = step[: count + theta.size]
        length = float(
            max(np.max(np.abs(change) / (np.abs(coefficients) + 1e-300)), np.max(np.abs(step[-theta.size :])))
        )
        if not np.isfinite(length) or length > 1e-2:
            break
        coefficients, theta = coefficients + change, theta + step[-theta.size :]
        if length < shortest:
            shortest = length
            best = replace(_project(problem, theta), coefficients=coefficients)
    low, high = problem.log_range
    inside = np.all((best.theta > low) & (best.theta < high))
    return best if inside and best.sum_of_squares <= found.sum_of_squares * (1 + 1e-9) else found


def kept_apart(theta: FloatArray, gap: float, log_range: tuple[float, float]) -> FloatArray:
    r"""Return one or two time constants inside their range, two of them no closer than a gap.

    Parameters
    ----------
    theta : ndarray, shape (1 or 2, ...)
        Logarithms of the time constants. [1]
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
    theta = np.clip(theta, low, high)
    if theta.shape[0] < 2:
        return theta
    half = 0.5 * np.clip(np.abs(theta[0] - theta[1]), gap, high - low)
    middle = np.clip(0.5 * (theta[0] + theta[1]), low + half, high - half)
    return np.stack([middle + half, middle - half])


def settle(problem: Separable, found: Projection, *, gap: float) -> Projection:
    r"""Take a minimum of one or two terms to its last digits, two time constants no closer than a gap.

    Two time constants that meet have amplitudes without end, and where a search stops among them is for
    rounding to say. Kept apart, the minimum is one point: Newton steps on the exact gradient find it, along
    the bounds that press on it.

    Parameters
    ----------
    problem : Separable
        The problem.
    found : Projection
        A minimum found by `_search`.
    gap : float
        Smallest difference of :math:`\ln \tau`. [1]

    Returns
    -------
    Projection
        The minimum, slowest first.
    """
    start = theta = kept_apart(found.theta, gap, problem.log_range)
    terms, (low, high) = theta.size, problem.log_range
    bounds = np.array([[1.0, 0.0], [-1.0, 1.0], [0.0, -1.0]]) if terms == 2 else np.array([[1.0], [-1.0]])
    limits = np.array([high, -gap, -low] if terms == 2 else [high, -low])
    probes = NEWTON_PROBE * np.vstack([np.zeros(terms), np.eye(terms), -np.eye(terms)])
    for _ in range(NEWTON_STEPS):
        slope, *beside = _slope(problem, theta + probes)
        free = _free_directions(bounds[bounds @ theta >= limits - 1e-12], slope)
        if not free.size:
            break
        curvature = free.T @ np.subtract(beside[:terms], beside[terms:]) @ free / (2.0 * NEWTON_PROBE)
        value, axes = np.linalg.eigh(0.5 * (curvature + curvature.T))
        size = np.abs(value) + 1e-12 * float(np.abs(value).max()) + 1e-300
        step = -free @ (axes @ ((axes.T @ (free.T @ slope)) / size))
        step *= min(1.0, NEWTON_STEP / max(float(np.abs(step).max()), 1e-300))
        ahead, room = bounds @ step, limits - bounds @ theta
        nearing = ahead > 1e-9 * np.abs(step).max()  # along a bound that presses, rounding is no approach
        step *= min(1.0, float(np.min(room[nearing] / ahead[nearing], initial=1.0)))
        theta = theta + step
        if np.abs(step).max() < 1e-12:
            break
    settled, begun = _project(problem, theta), _project(problem, start)
    return settled if settled.sum_of_squares <= begun.sum_of_squares * (1.0 + 1e-9) else begun


def _slope(problem: Separable, theta: FloatArray) -> FloatArray:
    """Return half the gradient of the sum of squares by theta, which is exact where the linear part is solved."""
    here = _project(problem, theta)
    return _times(np.swapaxes(here.jacobian, -1, -2), here.residual)


def _free_directions(pressing: FloatArray, slope: FloatArray) -> FloatArray:
    """Return the orthonormal directions left by the bounds that the fall of the sum of squares leans on."""
    while len(pressing):
        multipliers = np.linalg.lstsq(pressing.T, -slope)[0]
        if multipliers.min() >= 0.0:
            break
        pressing = np.delete(pressing, int(np.argmin(multipliers)), axis=0)
    if not len(pressing):
        return np.eye(slope.size)
    basis, _ = np.linalg.qr(pressing.T, mode="complete")
    return np.asarray(basis[:, len(pressing) :], dtype=np.float64)


def full_design(problem: Separable, coefficients: FloatArray, theta: FloatArray) -> FloatArray:
    """Return the weighted derivative of the model by all its parameters.

    Parameters
    ----------
    problem : Separable
        The problem.
    coefficients : ndarray, shape (m + k,)
        Linear coefficients, fixed columns first. [any]
    theta : ndarray, shape (k,)
        Logarithms of the time constants. [1]

    Returns
    -------
    ndarray, shape (n, m + 2 k)
        Fixed columns, exponentials, derivatives by theta. [any]
    """
    columns, derivatives = problem.exponentials(theta)
    count = problem.fixed.shape[1]
    fixed = problem.fixed * problem.root_weight[:, None]
    return np.concatenate([fixed, columns, derivatives * coefficients[count:]], axis=1)


def trials(problem: Separable, terms: int, *, starts: int = 8) -> Projection:
    """Take a few steps from the best places of a grid of time constants.

    Parameters
    ----------
    problem : Separable
        The problem.
    terms : int
        Number of exponentials, 1 to 3.
    starts : int, default 8
        How many places, apart from each other.

    Returns
    -------
    Projection
        Where the best few ended, the best first.
    """
    tried = _search(problem, np.array(_grid_starts(problem, terms, count=starts)), max_steps=TRIAL_STEPS)
    return tried[np.argsort(tried.sum_of_squares, kind="stable")[:FINALISTS]]


def solve(problem: Separable, terms: int, *, starts: int = 8, polished: bool = True) -> Projection:
    """Find the least-squares sum of exponentials from no start values.

    Parameters
    ----------
    problem : Separable
        The problem.
    terms : int
        Number of exponentials; 0 fits the fixed columns alone.
    starts : int, default 8
        How many grid starts to try; the best few are followed to the end.
    polished : bool, default True
        Refine the minimum to rounding.

    Returns
    -------
    Projection
        Minimum with theta in descending order (slowest first, rates ascending).
    """
    if terms == 0:
        return _project(problem, np.empty(0))
    ends = _search(problem, trials(problem, terms, starts=starts).theta)
    found = ends[int(np.argmin(ends.sum_of_squares))]
    if polished:
        found = _polish(problem, found)
    order = np.argsort(-found.theta)
    count = problem.fixed.shape[1]
    coefficients = np.concatenate([found.coefficients[:count], found.coefficients[count:][order]])
    return replace(
        found, theta=found.theta[order], coefficients=coefficients, jacobian=found.jacobian[:, order]
    )
