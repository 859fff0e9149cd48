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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
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

    def within(self, first: float, last: float) -> "PairRatios":
        """Return the pairs that can decide on how far ratios between two lie from the best.

        Parameters
        ----------
        first, last : float
            The two. [1]

        Returns
        -------
        PairRatios
            Without pairs whose sum of squares alone is larger than what the farthest ratio needs.
        """
        farthest = 1.5 * max(abs(self.distance(first)), abs(self.distance(last)))
        near = self.sums_of_squares <= self.sums_of_squares.min() + farthest**2 * self.noise_variance
        values = self.above[near], self.below[near], self.covariance[:, near]
        return PairRatios(self.sums_of_squares[near], self.noise_variance, *values)

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
    log_taus, place = _pairs(curve)
    columns = np.exp(-curve.problem.x[:, None] / np.exp(log_taus))
    phis = neighbour_correlation(curve.start_s + curve.problem.x, curve.noise.correlation_times)
    return tuple(_fit(curve, np.exp(log_taus), place, columns, phi) for phi in phis)


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
    quantiles = special.stdtrit(noise.dofs, 1.0 - tail)
    ends = np.array([one.ends(q) for one, q in zip(ratios, quantiles.tolist(), strict=True)])

    def end(side: float, between: FloatArray) -> float:
        """Return where the averaged tail probability is met, between the ends of the single correlation times."""
        if not np.isfinite(between).all():
            return float(side * np.inf)
        first, last = float(between.min()), float(between.max())
        near = [one.within(first, last) for one in ratios]

        def excess(ratio: float) -> float:
            away = np.array([one.distance(ratio) for one in near])
            return float(noise.weights @ special.stdtr(noise.dofs, -side * away)) - tail

        if last - first < 1e-14 or excess(first) * excess(last) >= 0.0:
            return first if abs(excess(first)) < abs(excess(last)) else last
        return float(brentq(excess, first, last, xtol=1e-14))

    return end(-1.0, ends[:, 0]), end(1.0, ends[:, 1])


def _pairs(curve: Curve) -> tuple[FloatArray, NDArray[np.intp]]:
    """Return ln of the time constants to try, and which are pairs: those of a grid, then a lattice around the fit."""
    low, high = curve.problem.log_range
    grid = np.linspace(low, high, GRID_SIZE)
    i, j = np.nonzero(np.subtract.outer(grid, grid) >= np.log(SMALLEST_RATIO))
    theta = curve.found.theta
    rows = np.eye(curve.linear + 2 * theta.size)[-theta.size :]
    first, second = (curve.noise.variance(row) for row in rows)
    mixed = 0.5 * (curve.noise.variance(rows[0] + rows[1]) - first - second)
    value, axes = np.linalg.eigh(np.array([[first, mixed], [mixed, second]]))
    reach = axes * np.sqrt(np.clip(value, 0.0, WIDEST**2))
    steps = np.stack(np.meshgrid(LATTICE, LATTICE)).reshape(2, -1)
    around = kept_apart(theta[:, None] + reach @ steps, LEAST_GAP, (low, high))
    beside = grid.size + np.arange(around.size).reshape(around.shape)
    return np.concatenate([grid, *around]), np.concatenate([np.stack([i, j]), beside], axis=1)


def _fit(
    curve: Curve, taus: FloatArray, place: NDArray[np.intp], columns: FloatArray, phi: FloatArray
) -> PairFits:
    """Fit all pairs under one correlation of neighbours, from the column of each time constant."""
    problem = curve.problem
    fixed, light, columns = (whiten(one, phi) for one in (problem.fixed, problem.y, columns))
    basis, triangle = np.linalg.qr(fixed)
    inner = basis.T @ columns
    columns, light_left = columns - basis @ inner, light - basis @ (basis.T @ light)
    one, two = np.sum(columns**2, axis=0)[place]
    (i, j), beside = place[:, : -(LATTICE.size**2)], columns[:, GRID_SIZE:]
    within = (columns[:, :GRID_SIZE].T @ columns[:, :GRID_SIZE])[i, j]
    mixed = np.append(within, np.sum(beside[:, : LATTICE.size**2] * beside[:, LATTICE.size**2 :], axis=0))
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
    gram, place = np.stack([one, two, mixed])[:, near], place[:, near]
    shares = solve_triangular(triangle, inner)[:, place].transpose(1, 0, 2)
    kept = taus[place], squares[near], noise, level, amplitudes[:, near], shares
    return PairFits(*kept, gram, root, curve.start_s, curve.step_s)
