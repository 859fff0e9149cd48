r"""Interval of remaining light over every pair of time constants that agrees with the readings.

Two exponentials are often more than a record carries: the second then has hardly any size, and straight lines
through the fit (the delta method) say nothing sound of its time constant. So all pairs of time constants are
tried. For one pair the curve is linear, and the values of :math:`R = E(h)/E(t_0)` whose sum of squares rises
by no more than :math:`q s^2` are the roots of a quadratic equation [1]_; the union over the pairs is the
likelihood interval [2]_. Where the correlation of the residuals is not known, the tail probabilities of its
possible values are averaged with their weights.

References
----------
.. [1] E. C. Fieller, "Some problems in interval estimation", Journal of the Royal Statistical Society B 16
   (1954) 175-185.
.. [2] D. M. Bates and D. G. Watts, *Nonlinear Regression Analysis and Its Applications* (Wiley 1988), chapter 6.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.linalg import solve_triangular
from scipy.optimize import brentq

from photolab.thermal.residuals import neighbour_correlation, whiten
from photolab.thermal.variable_projection import kept_apart
from photolab.thermal.warm_up_model import LEAST_GAP, Curve, fixed_columns

FloatArray = NDArray[np.float64]

GRID_SIZE = 100
SMALLEST_RATIO = 1.5  # of two time constants: closer ones draw the same curves, measured to 2
LATTICE = np.linspace(-3.3, 3.3, 13)  # standard uncertainties around the fit, in each direction
WIDEST = 1.0  # of ln(time constant): beyond it the grid is fine enough
FARTHEST = 200.0  # noise variances above the smallest sum of squares: such pairs play no part
ROUNDING = 1e-9  # of the light: residuals below it are arithmetic


@dataclass(frozen=True, eq=False)
class PairFits:
    """Least-squares curves for many pairs of time constants under one correlation of the residuals.

    Parameters
    ----------
    time_constants : ndarray, shape (2, m)
        The pairs. [s]
    sums_of_squares : ndarray, shape (m,)
        Whitened residual sums of squares. [lx2]
    noise_variance : float
        Variance of one reading. [lx2]
    level : ndarray, shape (f,)
        Fixed coefficients of the readings alone. [lx]
    amplitudes : ndarray, shape (2, m)
        Amplitudes of both exponentials at the first reading. [lx]
    shares : ndarray, shape (2, f, m)
        Fixed coefficients that each exponential takes along. [1]
    gram : ndarray, shape (3, m)
        First, second and mixed product of the exponentials. [1]
    root : ndarray, shape (f, f)
        Inverse triangle of the fixed columns. [1]
    start_s : float
        Time from which the exponentials count. [s]
    step_s : float or None
        Time of the step, where there is one. [s]
    """

    time_constants: FloatArray
    sums_of_squares: FloatArray
    noise_variance: float
    level: FloatArray
    amplitudes: FloatArray
    shares: FloatArray
    gram: FloatArray
    root: FloatArray
    start_s: float
    step_s: float | None

    def at(self, instants_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the mean light over some instants and the rows it is made of.

        Parameters
        ----------
        instants_s : ndarray, shape (k,)
            Instants. [s]

        Returns
        -------
        values : ndarray, shape (m,)
            Illuminance by each pair. [lx]
        fixed : ndarray, shape (f,)
            Row in the whitened fixed columns. [1]
        moving : ndarray, shape (2, m)
            Row in the exponentials, what the fixed columns take of it left out. [1]
        """
        steady = fixed_columns(instants_s, self.step_s).mean(axis=0)
        elapsed = (instants_s - self.start_s)[:, None, None]
        moving = np.exp(-elapsed / self.time_constants).mean(axis=0) - np.einsum(
            "f,pfm->pm", steady, self.shares
        )
        values = steady @ self.level + np.sum(moving * self.amplitudes, axis=0)
        return values, steady @ self.root, moving

    def ratio(self, later_s: FloatArray, earlier_s: FloatArray) -> "PairRatios":
        """Return what decides on the ratio of the light at two instants.

        Parameters
        ----------
        later_s, earlier_s : ndarray, shape (k,)
            Instants over which either light is the mean. [s]

        Returns
        -------
        PairRatios
            Values and covariances.
        """
        (above, *first), (below, *second) = self.at(later_s), self.at(earlier_s)
        covariance = [
            self._product(*one) for one in ((*first, *first), (*first, *second), (*second, *second))
        ]
        return PairRatios(self.sums_of_squares, self.noise_variance, above, below, np.array(covariance))

    def _product(
        self, fixed: FloatArray, moving: FloatArray, fixed_too: FloatArray, moving_too: FloatArray
    ) -> FloatArray:
        """Return the covariance of two values of the curve, in noise variances."""
        one, two, mixed = self.gram
        adjugate = two * moving[0] * moving_too[0] + one * moving[1] * moving_too[1]
        adjugate -= mixed * (moving[0] * moving_too[1] + moving[1] * moving_too[0])
        product: FloatArray = fixed @ fixed_too + adjugate / (one * two - mixed**2)
        return product


@dataclass(frozen=True, eq=False)
class PairRatios:
    """Ratios of the light at two instants by many pairs of time constants.

    Parameters
    ----------
    sums_of_squares : ndarray, shape (m,)
        Sums of squares of the pairs. [lx2]
    noise_variance : float
        Variance of one reading. [lx2]
    above, below : ndarray, shape (m,)
        Later and earlier light by each pair. [lx]
    covariance : ndarray, shape (3, m)
        Of the later light, of both, of the earlier light, in noise variances. [1]
    """

    sums_of_squares: FloatArray
    noise_variance: float
    above: FloatArray
    below: FloatArray
    covariance: FloatArray

    @property
    def best(self) -> float:
        """Ratio of the pair that fits best [1]."""
        i = int(np.argmin(self.sums_of_squares))
        return float(self.above[i] / self.below[i])

    def distance(self, ratio: float) -> float:
        """Return how far a ratio lies from the best one, signed.

        Parameters
        ----------
        ratio : float
            The ratio. [1]

        Returns
        -------
        float
            Root of the smallest rise of the sum of squares, in noise SDs. [1]
        """
        later, both, earlier = self.covariance
        spread = np.maximum(later - 2.0 * ratio * both + ratio**2 * earlier, 1e-300)
        rise = (self.above - ratio * self.below) ** 2 / spread
        smallest = float(np.min(self.sums_of_squares + rise) - self.sums_of_squares.min())
        size = float(np.sqrt(max(smallest, 0.0) / self.noise_variance))
        return float(np.copysign(size, ratio - self.best))

    def ends(self, quantile: float) -> tuple[float, float]:
        """Return the ratios a given distance away.

        Parameters
        ----------
        quantile : float
            Distance. [1]

        Returns
        -------
        low, high : float
            The ends; infinite where the earlier light is not clear of zero. [1]
        """
        slack = self.sums_of_squares.min() + quantile**2 * self.noise_variance - self.sums_of_squares
        inside = slack >= 0.0
        slack, above, below = slack[inside], self.above[inside], self.below[inside]
        later, both, earlier = self.covariance[:, inside]
        square = below**2 - slack * earlier
        if np.any(square <= 0.0):
            return -np.inf, np.inf
        middle = above * below - slack * both
        root = np.sqrt(np.maximum(middle**2 - square * (above**2 - slack * later), 0.0))
        return float(np.min((middle - root) / square)), float(np.max((middle + root) / square))


def fit_pairs(curve: Curve) -> tuple[PairFits, ...]:
    """Fit every pair of time constants to a record, once for each correlation time of its residuals.

    Parameters
    ----------
    curve : Curve
        The fitted record.

    Returns
    -------
    tuple of PairFits
        In the order of the correlation times of the noise model.
    """
    pairs = _pairs(curve)
    times = curve.start_s + curve.problem.x
    return tuple(
        _fit(curve, pairs, neighbour_correlation(times, one)) for one in curve.noise.correlation_times
    )


def ratio_interval(
    fits: tuple[PairFits, ...], curve: Curve, later_s: FloatArray, earlier_s: FloatArray, coverage: float
) -> tuple[float, float]:
    """Return the coverage interval of the light at one instant over the light at another.

    Parameters
    ----------
    fits : tuple of PairFits
        From `fit_pairs`.
    curve : Curve
        The fitted record, whose noise model weighs the fits.
    later_s, earlier_s : ndarray, shape (k,)
        Instants over which either light is the mean. [s]
    coverage : float
        Coverage. [1]

    Returns
    -------
    low, high : float
        The interval; infinite where the readings set no end. [1]
    """
    if np.array_equal(later_s, earlier_s):
        return 1.0, 1.0
    noise = curve.noise
    ratios = [one.ratio(later_s, earlier_s) for one in fits]
    tail = 0.5 - 0.5 * coverage
    ends = np.array(
        [one.ends(float(stats.t.isf(tail, dof))) for one, dof in zip(ratios, noise.dofs, strict=True)]
    )

    def excess(ratio: float, side: float) -> float:
        away = side * np.array([one.distance(ratio) for one in ratios])
        return float(noise.weights @ stats.t.sf(away, noise.dofs)) - tail

    low = _between(lambda ratio: excess(ratio, -1.0), ends[:, 0])
    return low, _between(lambda ratio: excess(ratio, 1.0), ends[:, 1])


def _between(excess: Callable[[float], float], ends: FloatArray) -> float:
    """Return where the averaged tail probability is met, between the ends of the single correlation times."""
    first, last = float(ends.min()), float(ends.max())
    if not np.isfinite(first + last):
        return first if np.isneginf(first) else last
    if last - first < 1e-14 or excess(first) * excess(last) >= 0.0:
        return first if abs(excess(first)) < abs(excess(last)) else last
    return float(brentq(excess, first, last, xtol=1e-14))


def _pairs(curve: Curve) -> FloatArray:
    """Return the logarithms of the pairs to try: a grid over all, and a lattice around the fit."""
    low, high = curve.problem.log_range
    grid = np.linspace(low, high, GRID_SIZE)
    i, j = np.nonzero(np.subtract.outer(grid, grid) >= np.log(SMALLEST_RATIO))
    chosen = np.stack([grid[i], grid[j]])
    theta = curve.found.theta
    rows = np.eye(curve.linear + 2 * theta.size)[-theta.size :]
    first, second = (curve.noise.variance(row) for row in rows)
    mixed = 0.5 * (curve.noise.variance(rows[0] + rows[1]) - first - second)
    value, axes = np.linalg.eigh(np.array([[first, mixed], [mixed, second]]))
    reach = axes * np.sqrt(np.clip(value, 0.0, WIDEST**2))
    steps = np.stack(np.meshgrid(LATTICE, LATTICE)).reshape(2, -1)
    around = kept_apart(theta[:, None] + reach @ steps, LEAST_GAP, (low, high))
    return np.concatenate([chosen, around], axis=1)


def _fit(curve: Curve, pairs: FloatArray, phi: FloatArray) -> PairFits:
    """Fit all pairs under one correlation of neighbours."""
    problem = curve.problem
    different, place = np.unique(pairs, return_inverse=True)
    place = place.reshape(pairs.shape)
    fixed, light = whiten(problem.fixed, phi), whiten(problem.y, phi)
    columns = whiten(np.exp(-problem.x[:, None] / np.exp(different)), phi)
    basis, triangle = np.linalg.qr(fixed)
    inner = basis.T @ columns
    columns, light_left = columns - basis @ inner, light - basis @ (basis.T @ light)
    shares = solve_triangular(triangle, inner)[:, place].transpose(1, 0, 2)
    products = columns.T @ columns
    one, two, mixed = products[place[0], place[0]], products[place[1], place[1]], products[place[0], place[1]]
    cross = (columns.T @ light_left)[place]
    determinant = one * two - mixed**2
    usable = determinant > 1e-10 * one * two
    determinant = np.where(usable, determinant, 1.0)
    amplitudes = (
        np.stack([two * cross[0] - mixed * cross[1], one * cross[1] - mixed * cross[0]]) / determinant
    )
    squares = float(light_left @ light_left) - np.sum(amplitudes * cross, axis=0)
    squares = np.where(usable, np.maximum(squares, 0.0), np.inf)
    floor = (ROUNDING * float(np.abs(problem.y).max())) ** 2
    noise = max(float(squares.min()) / (problem.y.size - curve.linear - 4), floor)
    near = squares <= squares.min() + FARTHEST * noise
    level = solve_triangular(triangle, basis.T @ light)
    root = np.linalg.inv(triangle)
    gram = np.stack([one, two, mixed])[:, near]
    kept = np.exp(pairs[:, near]), squares[near], noise, level, amplitudes[:, near], shares[:, :, near]
    return PairFits(*kept, gram, root, curve.start_s, curve.step_s)
