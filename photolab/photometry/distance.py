"""Lux at the meter and candela of the lamp: inverse square, screens, near field, and distance runs.

Angles are in radians, distances in metres from the lamp's reference face; an offset is positive where the
photometric centre lies behind the face. Near-field geometry, and fits live in their own modules and are
importable here.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.photometry.arguments import Floats, as_given, finite, not_negative, positive, require
from photolab.photometry.distance_run import FarField, FitComparison, compare_fits, far_field
from photolab.photometry.inverse_square import InverseSquareFit, fit_inverse_square
from photolab.photometry.near_field import (
    collimated_beam_illuminance,
    crossover_distance,
    disc_source_ratio,
    line_source_ratio,
    smallest_distance,
    square_source_ratio,
)

__all__ = [
    "LUX_PER_FOOTCANDLE",
    "REPORTING_DISTANCES",
    "FarField",
    "FitComparison",
    "InverseSquareFit",
    "collimated_beam_illuminance",
    "compare_fits",
    "crossover_distance",
    "disc_source_ratio",
    "far_field",
    "fit_inverse_square",
    "flat_screen_illuminance",
    "illuminance",
    "line_source_ratio",
    "luminous_intensity",
    "screen_angle",
    "screen_displacement",
    "smallest_distance",
    "square_source_ratio",
    "tilt_loss",
]

LUX_PER_FOOTCANDLE = 1.0 / 0.3048**2
"""One lumen on a square foot, by the definition of the foot. [lx]"""

REPORTING_DISTANCES = (25.0, 18.288)
"""Distances headlamp illuminance is quoted at: 25 m, and 60 ft. [m]"""


def luminous_intensity(
    illuminance: ArrayLike, distance: ArrayLike, *, incidence_angle: ArrayLike = 0.0, offset: ArrayLike = 0.0
) -> Any:
    r"""Return the luminous intensity that produces a measured illuminance.

    .. math:: I = E \, (d + o)^2 / \cos\theta

    Parameters
    ----------
    illuminance : array_like, shape S1
        Illuminance :math:`E` at the meter head, dark reading removed. [lx]
    distance : array_like, shape S2
        Distance :math:`d` from the lamp's reference face to the meter head. [m]
    incidence_angle : array_like, shape S3, default 0
        Angle :math:`\theta` between the ray and the meter-head normal. [rad]
    offset : array_like, default 0
        Photometric centre behind the reference face :math:`o`. [m]

    Returns
    -------
    float or ndarray, shape broadcast(S1, S2, S3)
        Luminous intensity :math:`I` towards the meter head; NaN where an input is NaN. [cd]

    Raises
    ------
    ValueError
        If a distance is not positive, an illuminance is negative, an angle is at or beyond grazing
        incidence, or an offset puts the photometric centre at or behind the meter head.

    Notes
    -----
    A uniform Lambertian disc of diameter D seen face-on reads low by 1/(1 + 4 d^2/D^2): 1 % at d = 5 D [1]_.
    A focused lamp may not follow the law at any bench distance: see `crossover_distance`. Without a distance
    run the result is an apparent intensity at that distance.

    References
    ----------
    .. [1] Illuminating Engineering Society, "Inverse-square law", IES Definitions.
    """
    reading = not_negative("illuminance", illuminance, "lx")
    return as_given(reading * _path(distance, offset) ** 2 / _cosine("incidence_angle", incidence_angle))


def tilt_loss(tilt_uncertainty: float, *, incidence_angle: float = 0.0) -> float:
    r"""Return the relative standard uncertainty of a reading from the tilt of the meter head.

    .. math:: u^2 = \tan^2\theta \, u^2(\theta) + \frac{3 \, u^4(\theta)}{4 \cos^4\theta}

    Parameters
    ----------
    tilt_uncertainty : float
        Standard uncertainty of the incidence angle. [rad]
    incidence_angle : float, default 0
        Angle :math:`\theta` between the ray and the meter-head normal. [rad]

    Returns
    -------
    float
        Relative standard uncertainty. [1]

    Raises
    ------
    ValueError
        If the uncertainty is negative, or the angle is at or beyond grazing incidence.

    Notes
    -----
    At normal incidence a tilt can only lower the reading, and only to second order: the last term is that loss
    in the root mean square.
    """
    tilt = float(not_negative("tilt_uncertainty", tilt_uncertainty, "rad"))
    cosine = float(_cosine("incidence_angle", incidence_angle))
    return float(np.hypot(np.tan(incidence_angle) * tilt, np.sqrt(0.75) * tilt**2 / cosine**2))


def illuminance(
    intensity: ArrayLike, distance: ArrayLike, *, incidence_angle: ArrayLike = 0.0, offset: ArrayLike = 0.0
) -> Any:
    r"""Return the illuminance a luminous intensity gives at a distance.

    .. math:: E = I \cos\theta / (d + o)^2

    Parameters
    ----------
    intensity : array_like, shape S1
        Luminous intensity :math:`I` towards the point. [cd]
    distance : array_like, shape S2
        Distance :math:`d` from the reference face; see `REPORTING_DISTANCES`. [m]
    incidence_angle : array_like, shape S3, default 0
        Angle :math:`\theta` between the ray and the normal of the surface. [rad]
    offset : array_like, default 0
        Photometric centre behind the reference face :math:`o`. [m]

    Returns
    -------
    float or ndarray, shape broadcast(S1, S2, S3)
        Illuminance. [lx]

    Raises
    ------
    ValueError
        As for `luminous_intensity`.

    Notes
    -----
    An equivalent illuminance at 25 m is the intensity over 625 m2; it is not a reading at 25 m.
    """
    candela = not_negative("intensity", intensity, "cd")
    return as_given(candela * _cosine("incidence_angle", incidence_angle) / _path(distance, offset) ** 2)


def flat_screen_illuminance(intensity: ArrayLike, screen_distance: ArrayLike, angle: ArrayLike) -> Any:
    r"""Return the illuminance on a flat screen, off its foot point.

    .. math:: E = I \cos^3\theta / D^2

    Parameters
    ----------
    intensity : array_like, shape S1
        Luminous intensity towards the point. [cd]
    screen_distance : array_like, shape S2
        Distance :math:`D` from the photometric centre to the screen, along its normal. [m]
    angle : array_like, shape S3
        Angle :math:`\theta` between the ray and the screen's normal. [rad]

    Returns
    -------
    float or ndarray, shape broadcast(S1, S2, S3)
        Illuminance in the plane of the screen. [lx]

    Raises
    ------
    ValueError
        If an intensity is negative, a distance is not positive or an angle is at or beyond 90 degrees.

    Notes
    -----
    A meter head turned to face the lamp at the same point reads 1/cos more.
    """
    candela = not_negative("intensity", intensity, "cd")
    span = positive("screen_distance", screen_distance, "m")
    return as_given(candela * _cosine("angle", angle) ** 3 / span**2)


def screen_angle(displacement: ArrayLike, screen_distance: ArrayLike) -> Any:
    r"""Return the angle of a point on a screen.

    .. math:: \alpha = \arctan(s / D)

    Parameters
    ----------
    displacement : array_like
        Displacement from the foot point along one axis. [m]
    screen_distance : array_like
        Distance to the screen along its normal. [m]

    Returns
    -------
    float or ndarray
        Angle; times 180/pi for degrees. [rad]

    Raises
    ------
    ValueError
        If a distance is not positive.
    """
    aside = finite("displacement", displacement, "m")
    return as_given(np.arctan2(aside, positive("screen_distance", screen_distance, "m")))


def screen_displacement(angle: ArrayLike, screen_distance: ArrayLike) -> Any:
    r"""Return where on a screen an angle falls.

    .. math:: s = D \tan\alpha

    Parameters
    ----------
    angle : array_like
        Angle from the normal along one axis. [rad]
    screen_distance : array_like
        Distance to the screen along its normal. [m]

    Returns
    -------
    float or ndarray
        Displacement from the foot point. [m]

    Raises
    ------
    ValueError
        If a distance is not positive or an angle is at or beyond 90 degrees.
    """
    _cosine("angle", angle)
    return as_given(
        positive("screen_distance", screen_distance, "m") * np.tan(np.asarray(angle, dtype=float))
    )


def _cosine(name: str, angle: ArrayLike) -> Floats:
    inside = require(name, angle, lambda v: np.abs(v) < np.pi / 2, "between -pi/2 and pi/2", "rad")
    return np.cos(inside)


def _path(distance: ArrayLike, offset: ArrayLike) -> Floats:
    path = positive("distance", distance, "m") + finite("offset", offset, "m")
    return positive("distance + offset", path, "m")
