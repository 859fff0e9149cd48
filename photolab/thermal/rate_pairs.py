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
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.optimize import brentq

from photolab.metrology.arguments import Floats
from photolab.metrology.computed import Computed
from photolab.thermal.residuals import neighbour_correlation
from photolab.thermal.variable_projection import kept_apart
from photolab.thermal.warm_up_model import LEAST_GAP, Curve, fixed_columns

GRID_SIZE = 100
SMALLEST_RATIO = 1.5  # of two time constants: closer ones draw the same curves, measured to 2
LATTICE = np.linspace(-3.3, 3.3, 13)  # standard uncertainties around the fit, in each direction
STEPS = np.stack(np.meshgrid(LATTICE, LATTICE)).reshape(2, -1)
WIDEST = 1.0  # of ln(time constant): beyond it the grid is fine enough
FARTHEST = 3.0  # quantiles from the best pair, at its own ratio: farther pairs play no part
ROUNDING = 1e-9  # of the light: residuals below it are arithmetic


@dataclass(frozen=True, eq=False)
class PairRatios:
    """Ratios of the light at two instants by m pairs of time constants, under each of p correlation times.

    Parameters
    ----------
    rises : ndarray, shape (p, m)
        How far the sums of squares of the pairs lie above the smallest. [lx2]
    noise_variance : ndarray, shape (p,)
        Variance of one reading. [lx2]
    above, below : ndarray, shape (p, m)
        Later and earlier light by each pair. [lx]
    covariance : ndarray, shape (3, p, m)
        Of the later light, of both, of the earlier light, in noise variances. [1]
    """

    rises: Floats
    noise_variance: Floats
    above: Floats
    below: Floats
    covariance: Floats

    def distance(self, ratio: float) -> Floats:
        """Return how far a ratio lies from that of the best pair, signed.

        Parameters
        ----------
        ratio : float
            The ratio. [1]

        Returns
        -------
        ndarray, shape (p,)
            Root of the smallest rise of the sum of squares, in noise SDs. [1]
        """
        later, both, earlier = self.covariance
        spread = np.maximum(later - 2.0 * ratio * both + ratio**2 * earlier, 1e-300)
        squares = self.rises + (self.above - ratio * self.below) ** 2 / spread
        best = np.arange(len(self.rises)), np.argmin(self.rises, axis=1)
        side = ratio - self.above[best] / self.below[best]
        return np.asarray(np.copysign(np.sqrt(squares.min(axis=1) / self.noise_variance), side))

    def ends(self, quantiles: Floats) -> Floats:
        """Return the ratios a given distance away.

        Parameters
        ----------
        quantiles : ndarray, shape (p,)
            Distances. [1]

        Returns
        -------
        ndarray, shape (2, p)
            The ends; infinite where the earlier light is not clear of zero. [1]
        """
        slack = (quantiles**2 * self.noise_variance)[:, None] - self.rises
        use = np.any(slack >= 0.0, axis=0)
        slack, above, below = slack[:, use], self.above[:, use], self.below[:, use]
        later, both, earlier = self.covariance[..., use]
        inside, square = slack >= 0.0, below**2 - slack * earlier
        clear = np.all((square > 0.0) | ~inside, axis=1)
        slack, square = np.where(inside, slack, 0.0), np.where(inside & (square > 0.0), square, 1.0)
        middle = above * below - slack * both
        root = np.sqrt(np.maximum(middle**2 - square * (above**2 - slack * later), 0.0))
        low = np.min(np.where(inside, (middle - root) / square, np.inf), axis=1)
        high = np.max(np.where(inside, (middle + root) / square, -np.inf), axis=1)
        return np.where(clear, [low, high], [[-np.inf], [np.inf]])


class PairFits(Computed):
    """Least-squares curves for m pairs of time constants, under each of p correlation times of the residuals.

    Parameters
    ----------
    curve : Curve
        The fitted record.

    Attributes
    ----------
    time_constants : ndarray, shape (c,)
        Time constants tried. [s]
    place : ndarray, shape (2, m)
        Which of them are the pairs. [1]
    sums_of_squares : ndarray, shape (p, m)
        Whitened residual sums of squares, in the order of the correlation times of the noise model; infinite where a
        pair draws one curve. [lx2]
    noise_variance : ndarray, shape (p,)
        Variance of one reading. [lx2]
    level : ndarray, shape (p, f)
        Fixed coefficients of the readings alone. [lx]
    shares : ndarray, shape (p, f, c)
        Fixed coefficients that an exponential takes along. [1]
    amplitudes : ndarray, shape (p, 2, m)
        Amplitudes of both exponentials at the first reading. [lx]
    inverse : ndarray, shape (p, 3, m)
        Inverse of the products of the exponentials: first, second and mixed element. [1]
    root : ndarray, shape (p, f, f)
        Inverse triangle of the fixed columns. [1]
    """

    def __init__(self, curve: Curve) -> None:
        problem, count = curve.problem, curve.linear
        taus, place = _pairs(curve)
        self._problem, self.time_constants, self.place = problem, taus, place
        columns = np.column_stack([problem.y, np.exp(-problem.x[:, None] / taus)])
        apart = np.linalg.pinv(problem.fixed) @ columns
        columns = columns - problem.fixed @ apart
        phi = neighbour_correlation(problem.x, curve.noise.correlation_times)
        beside = phi / (1.0 - phi**2)  # the inverse of such a correlation has three diagonals
        own = np.ones((len(phi), problem.x.size))
        own[:, 1:] += phi * beside
        own[:, :-1] += phi * beside

        few = np.column_stack([problem.fixed, columns[:, : 1 + GRID_SIZE]])
        white = own[..., None] * few
        white[:, :-1] -= beside[..., None] * few[1:]
        white[:, 1:] -= beside[..., None] * few[:-1]
        white = white.swapaxes(1, 2)
        root = np.linalg.inv(np.linalg.cholesky(white[:, :count] @ problem.fixed)).swapaxes(1, 2)
        inner = root.swapaxes(1, 2) @ (white[:, :count] @ columns)
        light, parts = inner[..., :1], inner[..., 1:]
        grid = parts[..., :GRID_SIZE]
        between = white[:, 1 + count :] @ few[:, 1 + count :] - grid.swapaxes(1, 2) @ grid
        first, second = np.split(np.arange(1 + GRID_SIZE, len(taus) + 1), 2)
        # of every column with itself, then of both columns of each pair of the lattice
        a, b = (np.concatenate([np.arange(len(taus) + 1), one]) for one in (first, second))
        one, two = columns[:, a], columns[:, b]
        products = own @ (one * two) - beside @ (one[:-1] * two[1:] + one[1:] * two[:-1])
        products -= np.sum(inner[..., a] * inner[..., b], axis=1)
        squared, around = np.split(products, [len(taus) + 1], axis=1)
        flat = np.ravel_multi_index(tuple(place[:, : -first.size]), (GRID_SIZE, GRID_SIZE))
        mixed = np.concatenate([between.reshape(len(phi), -1).take(flat, axis=1), around], axis=1)
        one, two = np.moveaxis(squared.take(place + 1, axis=1), 1, 0)
        cross = white[:, count] @ columns[:, 1:] - np.sum(light * parts, axis=1)
        a, b = np.moveaxis(cross.take(place, axis=1), 1, 0)
        determinant = one * two - mixed**2
        usable = determinant > 1e-10 * one * two
        inverse = np.stack([two, one, -mixed], axis=1) / np.where(usable, determinant, 1.0)[:, None]
        sizes = inverse[:, 0] * a + inverse[:, 2] * b, inverse[:, 1] * b + inverse[:, 2] * a
        squares = squared[:, :1] - sizes[0] * a - sizes[1] * b
        squares = np.where(usable, np.maximum(squares, 0.0), np.inf)
        floor = (ROUNDING * float(np.abs(problem.y).max())) ** 2
        self.sums_of_squares, self.inverse, self.amplitudes = squares, inverse, np.stack(sizes, axis=1)
        self.noise_variance = np.maximum(squares.min(axis=1) / (problem.y.size - count - 4), floor)
        taken = root @ inner + apart
        self.level, self.shares, self.root = taken[..., 0], taken[..., 1:], root

    def ratio(self, later_s: Floats, earlier_s: Floats, *, farthest: Floats | float = np.inf) -> PairRatios:
        """Return what decides on the ratio of the light at two instants.

        Parameters
        ----------
        later_s, earlier_s : ndarray, shape (k,)
            Instants over which either light is the mean. [s]
        farthest : ndarray, shape (p,), optional
            Noise variances above the smallest sum of squares: pairs beyond play no part. [1]

        Returns
        -------
        PairRatios
            Values and covariances.
        """
        rises = self.sums_of_squares - self.sums_of_squares.min(axis=1, keepdims=True)
        near = np.flatnonzero(np.any(rises <= (farthest * self.noise_variance)[:, None], axis=0))
        place, amplitudes = self.place[:, near], self.amplitudes.take(near, axis=2)
        values, rows = [], []
        for instants_s in (later_s, earlier_s):
            steady = fixed_columns(instants_s, self._problem.step).mean(axis=0)
            decay = np.exp((self._problem.start - instants_s)[:, None] / self.time_constants).mean(axis=0)
            moving = (decay - steady @ self.shares).take(place, axis=1)
            values.append((self.level @ steady)[:, None] + np.sum(moving * amplitudes, axis=1))
            rows.append((steady @ self.root, moving[:, 0], moving[:, 1]))
        first, second, mixed = self.inverse.take(near, axis=2).swapaxes(0, 1)
        covariance = [
            np.sum(f * g, axis=1)[:, None] + first * a * c + second * b * d + mixed * (a * d + b * c)
            for (f, a, b), (g, c, d) in ((rows[0], rows[0]), (rows[0], rows[1]), (rows[1], rows[1]))
        ]
        rises = rises.take(near, axis=1)
        return PairRatios(rises, self.noise_variance, values[0], values[1], np.array(covariance))


def ratio_interval(
    fits: PairFits, curve: Curve, later_s: Floats, earlier_s: Floats, coverage: float
) -> tuple[float, float]:
    """Return the coverage interval of the light at one instant over the light at another.

    Parameters
    ----------
    fits : PairFits
        Of the record.
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
    tail = 0.5 - 0.5 * coverage
    quantiles = special.stdtrit(noise.dofs, 1.0 - tail)
    ratios = fits.ratio(later_s, earlier_s, farthest=(FARTHEST * quantiles) ** 2)

    def excess(ratio: float, side: float) -> float:
        """Return the logarithm of the averaged tail probability over the one wanted, almost straight."""
        beyond = noise.weights @ special.stdtr(noise.dofs, -side * ratios.distance(ratio))
        return float(np.log(max(beyond, 1e-300) / tail))

    ends = []
    for side, between in zip((-1.0, 1.0), ratios.ends(quantiles), strict=True):
        if not np.isfinite(between).all():
            ends.append(float(side * np.inf))
            continue
        span = float(between.min()), float(between.max())  # of the ends by the single correlation times
        try:
            ends.append(float(brentq(excess, *span, args=(side,), xtol=1e-13)))
        except ValueError:  # it is met at neither side of zero: the ends are one, to rounding
            ends.append(span[int(np.argmin([abs(excess(one, side)) for one in span]))])
    low, high = ends
    return low, high


def _pairs(curve: Curve) -> tuple[Floats, NDArray[np.intp]]:
    """Return time constants to try [s], and which are pairs: those of a grid, then a lattice around the fit."""
    low, high = curve.problem.log_range
    theta = curve.found.theta
    value, axes = np.linalg.eigh(curve.noise.covariance[-theta.size :, -theta.size :])
    reach = axes * np.sqrt(np.clip(value, 0.0, WIDEST**2))
    around = kept_apart(theta[:, None] + reach @ STEPS, LEAST_GAP, (low, high))
    apart = np.tri(GRID_SIZE, k=-ceil(np.log(SMALLEST_RATIO) * (GRID_SIZE - 1) / (high - low)))
    beside = GRID_SIZE + np.arange(around.size).reshape(around.shape)
    place = np.concatenate([np.nonzero(apart), beside], axis=1)
    return np.exp(np.concatenate([np.linspace(low, high, GRID_SIZE), *around])), place
