r"""Correlation of the residuals of a fit, and what it does to uncertainties computed from the fit.

The noise is taken as an autoregressive process of order one in continuous time: two readings a time
:math:`d` apart have correlation :math:`e^{-d/\lambda}`. The likelihood of what the fit leaves over
(restricted maximum likelihood) is taken over a grid of :math:`\lambda`; variances are averaged with its
weights instead of trusting one :math:`\lambda`, because short records do not fix it. Before the readings
speak, white noise has even odds; beside it stand correlation times from 20 s (half the spacing, where that is
less) to a fifth of the record, whose odds on a logarithmic scale fall with the root of the time, because
readings minutes apart are correlated more rarely than readings seconds apart (no source: chosen by the coverage
of intervals). Records of a lamp that no longer changes, on the same meter, say far more of it than what a
warm-up fit leaves over; where there are any, their likelihoods count too. The fit stays
ordinary least squares; its covariance is the sandwich :math:`(J'J)^{-1} J'\Omega J (J'J)^{-1} s^2`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_banded

from photolab.metrology.arguments import Floats
from photolab.metrology.computed import Computed

GRID_SIZE = 12
# longest correlation time tried, as a part of the record: longer ones look like the curve
LONGEST_SHARE = 0.2
WHITE_ODDS = 0.5
SHORTEST_TIME_S = 20.0  # correlation times below it count as white where readings lie farther apart
ODDS_POWER = 0.5  # odds of a correlation time fall with its root
SMALLEST_WEIGHT = 1e-4  # correlation times weigh what they have above it: none leaves or comes with a jump
RANK_TOLERANCE = 1e-13  # singular values of the column-scaled design below this are rounding


def neighbour_correlation(time_s: Floats, correlation_time: ArrayLike) -> Floats:
    r"""Return the correlation of each reading with the one before it.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    correlation_time : array_like, shape (...)
        Correlation times :math:`\lambda`; 0 is white noise. [s]

    Returns
    -------
    ndarray, shape (..., n - 1)
        Correlations. [1]
    """
    return np.asarray(np.exp(-np.diff(time_s) / np.maximum(correlation_time, 1e-300)[..., None]))


def whiten(columns: Floats, phi: Floats) -> Floats:
    """Turn correlated rows into uncorrelated ones.

    Parameters
    ----------
    columns : ndarray, shape (n, ...)
        Residuals or design, one row a reading. [any]
    phi : ndarray, shape (..., n - 1)
        Correlation of neighbours, or several of them. [1]

    Returns
    -------
    ndarray, shape (..., shape of columns)
        Rows of unit covariance where the input had the correlation phi. [any]
    """
    table = columns.reshape(len(columns), -1)
    white = np.empty((*phi.shape[:-1], *table.shape))
    white[..., 0, :], later = table[0], white[..., 1:, :]
    np.multiply(phi[..., None], table[:-1], out=later)
    np.subtract(table[1:], later, out=later)
    later /= np.sqrt(1.0 - phi**2)[..., None]
    return white.reshape(*phi.shape[:-1], *columns.shape)


def _correlated_root(columns: Floats, phi: Floats) -> Floats:
    r"""Return rows whose products are those of columns through their correlation.

    Parameters
    ----------
    columns : ndarray, shape (n, p)
        The columns C. [any]
    phi : ndarray, shape (m, n - 1)
        Correlations of neighbours, each of a correlation matrix :math:`\Omega`. [1]

    Returns
    -------
    ndarray, shape (m, n, p)
        H of each, with :math:`H'H = C'\Omega C`; in linear time, all m as one chain of blocks. [any]
    """
    root = np.sqrt(1.0 - phi**2)
    apart = np.zeros((len(phi), 1))  # no block moves the next
    diagonal = np.concatenate([apart + 1.0, 1.0 / root], axis=1).ravel()
    beside = np.concatenate([apart, -phi / root], axis=1).ravel()
    half = solve_banded((0, 1), np.stack([beside, diagonal]), np.tile(columns, (len(phi), 1)))
    return np.asarray(half.reshape(len(phi), *columns.shape))


@dataclass(frozen=True, eq=False)
class StableScatter:
    """A record of a lamp that no longer changes, ready to say how its readings are correlated.

    Parameters
    ----------
    time_s, light : ndarray, shape (n,)
        Ascending times [s] and readings [unit of y].

    Attributes
    ----------
    known : dict
        Likelihoods by the correlation times that were asked for: records read alike ask for the same.
    """

    time_s: Floats
    light: Floats
    known: dict[bytes, Floats] = field(default_factory=dict, init=False, repr=False)

    def log_likelihood(self, correlation_times: Floats) -> Floats:
        """Return the restricted log likelihood of correlation times; a straight drift counts as none.

        Parameters
        ----------
        correlation_times : ndarray, shape (m,)
            The correlation times; 0 is white noise. [s]

        Returns
        -------
        ndarray, shape (m,)
            Log likelihoods up to a constant. [1]
        """
        key = correlation_times.tobytes()
        if key not in self.known:
            drifting = np.stack([np.ones(self.time_s.size), self.time_s - self.time_s.mean()], axis=1)
            space, _ = column_space(drifting)
            phi = neighbour_correlation(self.time_s, correlation_times)
            self.known[key] = _restricted(self.light - self.light.mean(), space, phi)[0]
        return self.known[key]


class ResidualModel(Computed):
    """What the residuals of a fit say about its noise, by restricted maximum likelihood, ready to give variances.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    residual : ndarray, shape (n,)
        Residuals of an unweighted least-squares fit. [unit of y]
    design : ndarray, shape (n, p)
        Derivatives of the fitted curve by its parameters. [any]
    correlation : float, optional
        Known correlation of neighbours at the median spacing. [1]
    stable : sequence of StableScatter, optional
        Records of lamps that no longer change, on the same meter.

    Attributes
    ----------
    correlation_times : ndarray, shape (m,)
        Correlation times kept. [s]
    weights : ndarray, shape (m,)
        Their weights, of sum 1. [1]
    noise_variances : ndarray, shape (m,)
        Variance of one reading under each. [unit of y squared]
    dofs : ndarray, shape (m,)
        Degrees of freedom of each variance. [1]
    dof : float
        Degrees of freedom of a variance, the harmonic mean over the correlation times. [1]
    to_space : ndarray, shape (r, p)
        Turns a gradient by the parameters into the column space of the design. [any]
    middle : ndarray, shape (r, r)
        Covariance of the readings in that space. [unit of y squared]
    covariance : ndarray, shape (p, p)
        Covariance of the parameters of the fit. [any]
    neighbours : ndarray, shape (n - 1,)
        Correlation of each reading with the one before it, averaged with the weights. [1]
    correlation : float
        Correlation of neighbours at the median spacing, averaged with the weights. [1]
    effective_readings : float
        n (1 - rho) / (1 + rho): as many independent readings carry as much. [1]
    whitened_variance : float
        Variance of one reading under the averaged correlations. [unit of y squared]
    """

    def __init__(
        self,
        time_s: Floats,
        residual: Floats,
        design: Floats,
        *,
        correlation: float | None = None,
        stable: Sequence[StableScatter] = (),
    ) -> None:
        spacing = float(np.median(np.diff(time_s)))
        space, self.to_space = column_space(design)
        if correlation is None:
            longest = max(LONGEST_SHARE * float(np.ptp(time_s)), spacing)
            times = np.concatenate([[0.0], np.geomspace(0.5 * spacing, longest, GRID_SIZE - 1)])
        else:
            times = np.array([0.0 if correlation <= 0 else -spacing / np.log(correlation)])
        phis = neighbour_correlation(time_s, times)
        likelihood, variances = _restricted(residual, space, phis)
        likelihood = likelihood + sum(record.log_likelihood(times) for record in stable)
        weights = _odds(times) * np.exp(likelihood - likelihood.max())
        weights = np.maximum(weights / weights.sum() - SMALLEST_WEIGHT, 0.0)
        kept = weights > 0.0
        times, phis, self.noise_variances = times[kept], phis[kept], variances[kept]
        self.correlation_times, self.weights = times, weights[kept] / weights[kept].sum()
        columns = np.column_stack([space, np.ones(time_s.size)])
        both = _correlated_root(columns, np.concatenate([phis, phis**2]))
        roots, squared = both[: len(phis), :, :-1], np.sum(both[len(phis) :, :, -1] ** 2, axis=1)
        self.dofs = np.maximum(2.0, time_s.size**2 / squared - space.shape[1])
        self.dof = float(1.0 / np.sum(self.weights / self.dofs))
        middles = roots.swapaxes(1, 2) @ roots
        self.middle = np.tensordot(self.weights * self.noise_variances, middles, 1)
        self.covariance = self.to_space.T @ self.middle @ self.to_space
        self.neighbours: Floats = self.weights @ phis
        rho = float(self.weights @ neighbour_correlation(np.array([0.0, spacing]), times)[:, 0])
        self.correlation, self.effective_readings = rho, time_s.size * (1.0 - rho) / (1.0 + rho)
        self.whitened_variance = float(_restricted(residual, space, self.neighbours)[1])

    def variance(self, gradient: Floats) -> float:
        """Return the variance of a quantity computed from the fit.

        Parameters
        ----------
        gradient : ndarray, shape (p,)
            Derivatives of the quantity by the parameters. [any]

        Returns
        -------
        float
            Variance. [unit of the quantity squared]
        """
        inner = self.to_space @ gradient
        return float(inner @ self.middle @ inner)


def _odds(correlation_times: Floats) -> Floats:
    """Return the odds before the readings; correlation times too short to show count as white noise."""
    if correlation_times.size == 1:
        return np.ones(1)
    shown = correlation_times[1:]
    borders = np.concatenate([shown[:1], np.sqrt(shown[1:] * shown[:-1]), shown[-1:]])
    falling = np.minimum(SHORTEST_TIME_S, shown[0]) ** -ODDS_POWER - borders**-ODDS_POWER
    correlated = (1.0 - WHITE_ODDS) * np.diff(falling) / falling[-1]
    return np.concatenate([[1.0 - correlated.sum()], correlated])


def column_space(design: Floats, *, tolerance: float = RANK_TOLERANCE) -> tuple[Floats, Floats]:
    """Return an orthonormal basis of a design and the map from a gradient by its parameters into it.

    Parameters
    ----------
    design : ndarray, shape (n, p)
        Derivatives of a curve by its parameters. [any]
    tolerance : float, optional
        Singular values of the column-scaled design below this part of the largest are rounding. [1]

    Returns
    -------
    basis, to_space : ndarray, shape (n, r) and (r, p)
        Basis [1] and map [any].
    """
    scale = np.linalg.norm(design, axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    left, singular, right = np.linalg.svd(design / scale, full_matrices=False)
    kept = singular > tolerance * singular.max(initial=0.0)
    return left[:, kept], (right[kept] / singular[kept, None]) / scale


def explained_by_both(first: Floats, second: Floats, left: Floats) -> Floats:
    """Return what two columns together explain of what is left over, for many such pairs.

    Parameters
    ----------
    first, second : ndarray, shape (n, m)
        The columns of m pairs. [1]
    left : ndarray, shape (n,)
        What is left over. [any]

    Returns
    -------
    ndarray, shape (m,)
        Sums of squares. [unit squared]
    """
    a, b, d = (np.sum(one * two, axis=0) for one, two in ((first, first), (first, second), (second, second)))
    p, q = left @ first, left @ second
    explained: Floats = (d * p**2 - 2.0 * b * p * q + a * q**2) / np.maximum(a * d - b * b, 1e-9 * a * d)
    return explained


def _restricted(residual: Floats, space: Floats, phi: Floats) -> tuple[Floats, Floats]:
    """Return the restricted log likelihood and the noise variance for each of some correlations."""
    white = whiten(np.column_stack([space, residual]), phi)
    gram = white.swapaxes(-1, -2) @ white
    inner, beside = gram[..., :-1, :-1], gram[..., :-1, -1:]
    taken = (beside.swapaxes(-1, -2) @ np.linalg.solve(inner, beside))[..., 0, 0]
    squares = np.maximum(gram[..., -1, -1] - taken, 1e-300)
    dof = residual.size - space.shape[1]
    volume = np.linalg.slogdet(inner)[1] + np.sum(np.log1p(-(phi**2)), axis=-1)
    return -0.5 * (dof * np.log(squares) + volume), squares / dof
