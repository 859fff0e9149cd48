"""When a lamp comes within a percentage of its final level, with what the readings and a drift leave open."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from photolab.thermal.variable_projection import full_design
from photolab.thermal.warm_up_answers import Settled
from photolab.thermal.warm_up_model import Curve

FloatArray = NDArray[np.float64]


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
    readings = curve.noise.variance(gradient)
    design = full_design(curve.problem, curve.found.coefficients, curve.found.theta)
    drifted = curve.problem.y * curve.problem.x / curve.problem.x[-1]
    drift = drift_relative_sd * float(gradient @ np.linalg.lstsq(design, drifted)[0])
    variance = readings + drift**2 + elapsed_uncertainty_s**2
    dof = curve.noise.dof * (variance / readings) ** 2 if readings > 0.0 else np.inf
    half = float(stats.t.ppf(0.5 + 0.5 * coverage, dof)) * float(np.sqrt(variance))
    return Settled(instant, max(instant - half, curve.start_s), instant + half, percent)


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
