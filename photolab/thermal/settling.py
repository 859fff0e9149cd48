"""When a lamp comes near its final level, and what fades how fast, with what the readings and a drift leave open."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from photolab.thermal.variable_projection import full_design
from photolab.thermal.warm_up_answers import Fading, Settled
from photolab.thermal.warm_up_model import Curve

FloatArray = NDArray[np.float64]

LARGEST_LOG = 300.0  # an interval wider than this says nothing; its ends stay finite


def settling_time(
    curve: Curve, percent: float, *, drift_relative_sd: float, elapsed_uncertainty_s: float, coverage: float
) -> Settled:
    """Return when the light comes within a percentage of its final level for good.

    Parameters
    ----------
    curve : Curve
        The fitted curve that describes the record.
    percent : float
        Largest distance from the final level afterwards. [%]
    drift_relative_sd : float
        Standard uncertainty of a drift over the record. [1]
    elapsed_uncertainty_s : float
        Standard uncertainty of the zero of the clock. [s]
    coverage : float
        Coverage of the interval. [1]

    Returns
    -------
    Settled
        The instant; that of the first reading, without a width, where the light is near from the start.
    """
    instant = _last_crossing(curve, percent / 100.0)
    if instant <= curve.start_s:
        return Settled(curve.start_s, curve.start_s, curve.start_s, percent)
    gradient = _gradient(curve, instant - curve.start_s, percent / 100.0)
    half, _ = _half_width(curve, gradient, drift_relative_sd, elapsed_uncertainty_s, coverage)
    return Settled(instant, max(instant - half, curve.start_s), instant + half, percent)


def fading_parts(
    curve: Curve,
    instants_s: FloatArray,
    *,
    drift_relative_sd: float,
    elapsed_uncertainty_s: float,
    coverage: float,
) -> tuple[Fading, ...]:
    r"""Return what fades how fast: amplitudes at the initial time and time constants.

    .. math:: s_i = a_i e^{-t_0 / \tau_i} / E(t_0)

    Parameters
    ----------
    curve : Curve
        The fitted curve that describes the record.
    instants_s : ndarray, shape (m,)
        Instants whose mean is the initial light. [s]
    drift_relative_sd : float
        Standard uncertainty of a drift over the record. [1]
    elapsed_uncertainty_s : float
        Standard uncertainty of the zero of the clock. [s]
    coverage : float
        Coverage of the intervals. [1]

    Returns
    -------
    tuple of Fading
        One a term of the curve, slowest first.
    """
    taus, amplitudes, first = curve.time_constants, curve.found.coefficients[curve.linear :], curve.linear
    light, by_light = curve.at(instants_s)
    elapsed = (instants_s - curve.start_s)[:, None] / taus
    decay, slower = np.exp(-elapsed).mean(axis=0), (elapsed * np.exp(-elapsed)).mean(axis=0)
    shares = amplitudes * decay / light
    found = []
    for i, (share, tau) in enumerate(zip(shares, taus, strict=True)):
        by_share, by_tau = -share / light * by_light, np.zeros(by_light.size)
        by_share[first + i] += decay[i] / light
        by_share[first + taus.size + i] += amplitudes[i] * slower[i] / light
        by_tau[first + taus.size + i] = 1.0
        clock = elapsed_uncertainty_s * abs(share) * abs(1.0 / tau - float(np.sum(shares / taus)))
        half, u = _half_width(curve, by_share, drift_relative_sd, clock, coverage)
        wide, u_tau = _half_width(curve, by_tau, drift_relative_sd, 0.0, coverage)
        ends = tau * np.exp(np.array([-1.0, 1.0]) * min(wide, LARGEST_LOG))
        values = (share, share - half, share + half, u, tau, *ends, u_tau)
        found.append(Fading(*map(float, values)))
    return tuple(found)


def _half_width(
    curve: Curve, gradient: FloatArray, drift_relative_sd: float, other: float, coverage: float
) -> tuple[float, float]:
    """Return half the interval of a quantity of the curve, and its standard uncertainty."""
    readings = curve.noise.variance(gradient)
    design = full_design(curve.problem, curve.found.coefficients, curve.found.theta)
    drifted = curve.problem.y * curve.problem.x / curve.problem.x[-1]
    drift = drift_relative_sd * float(gradient @ np.linalg.lstsq(design, drifted)[0])
    variance = readings + drift**2 + other**2
    dof = curve.noise.dof * (variance / readings) ** 2 if readings > 0.0 else np.inf
    u = float(np.sqrt(variance))
    return float(stats.t.ppf(0.5 + 0.5 * coverage, dof)) * u, u


def _last_crossing(curve: Curve, part: float) -> float:
    """Return the last instant at which the light lies a part of the final level away from it [s]."""
    level = float(curve.found.coefficients[0])
    elapsed = np.concatenate([[0.0], np.geomspace(1e-4, 60.0, 4000)]) * float(curve.time_constants[0])
    decay = np.exp(-elapsed[:, None] / curve.time_constants)
    away = np.abs(decay @ curve.found.coefficients[curve.linear :]) - level * part
    outside = np.flatnonzero(away > 0.0)
    if outside.size == 0:
        return curve.start_s
    i = int(outside[-1])
    return curve.start_s + float(np.interp(0.0, [-away[i], -away[i + 1]], [elapsed[i], elapsed[i + 1]]))


def _gradient(curve: Curve, elapsed_s: float, part: float) -> FloatArray:
    """Return the derivatives of the instant by the parameters of the curve, by the implicit function."""
    taus, amplitudes = curve.time_constants, curve.found.coefficients[curve.linear :]
    decay = np.exp(-elapsed_s / taus)
    side = float(np.sign(amplitudes @ decay))
    slope = side * float(amplitudes / taus @ decay)  # of the fall: the distance shrinks by it
    fixed = np.zeros(curve.linear)
    fixed[0] = -part
    by_parameters = np.concatenate([fixed, side * decay, side * amplitudes * decay * elapsed_s / taus])
    return by_parameters / slope
