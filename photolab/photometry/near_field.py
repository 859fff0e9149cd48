"""How far the inverse square holds near a source of finite size: disc, square, line, and a collimated beam.

The ratios are true illuminance over the illuminance a point source of the same far intensity would give, for
uniform Lambertian sources seen face-on, on axis. A focused lamp is none of these: see `crossover_distance`.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.photometry.arguments import as_given, not_negative, positive, require


def disc_source_ratio(distance: ArrayLike, diameter: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a disc.

    .. math:: \frac{E}{I/d^2} = \frac{1}{1 + (D / 2d)^2}

    Parameters
    ----------
    distance : array_like
        Distance from the disc. [m]
    diameter : array_like
        Diameter of the disc. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance is not positive or a diameter is negative.

    Notes
    -----
    Closed form. 100/101 at five diameters.
    """
    span = positive("distance", distance, "m")
    return as_given(1.0 / (1.0 + (not_negative("diameter", diameter, "m") / (2.0 * span)) ** 2))


def square_source_ratio(distance: ArrayLike, side: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a square.

    .. math:: \frac{E}{I/d^2} = \frac{q \arctan q}{t^2}, \quad t = \frac{a}{2d}, \quad q = \frac{t}{\sqrt{1 +
    t^2}}

    Parameters
    ----------
    distance : array_like
        Distance from the square, on its axis. [m]
    side : array_like
        Side :math:`a` of the square. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance or a side is not positive.

    Notes
    -----
    Four times the configuration factor of a rectangle seen from below a corner, a closed form of radiation
    heat transfer.
    """
    half = positive("side", side, "m") / (2.0 * positive("distance", distance, "m"))
    q = half / np.sqrt(1.0 + half**2)
    return as_given(q * np.arctan(q) / half**2)


def line_source_ratio(distance: ArrayLike, length: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a line that radiates as the cosine.

    .. math:: \frac{E}{I/d^2} = \frac{1}{2t} \left( \frac{t}{1 + t^2} + \arctan t \right), \quad t =
    \frac{l}{2d}

    Parameters
    ----------
    distance : array_like
        Distance from the middle of the line, at right angles to it. [m]
    length : array_like
        Length :math:`l` of the line. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance or a length is not positive.
    """
    t = positive("length", length, "m") / (2.0 * positive("distance", distance, "m"))
    return as_given((t / (1.0 + t**2) + np.arctan(t)) / (2.0 * t))


def crossover_distance(
    aperture_radius: ArrayLike, focal_length: ArrayLike, source_half_size: ArrayLike
) -> Any:
    r"""Return the distance beyond which a collimated beam begins to follow the inverse square.

    .. math:: L_0 = R f / r

    Parameters
    ----------
    aperture_radius : array_like
        Radius :math:`R` of the lens or reflector opening. [m]
    focal_length : array_like
        Focal length :math:`f`. [m]
    source_half_size : array_like
        Half the size :math:`r` of the source at the focus. [m]

    Returns
    -------
    float or ndarray
        Crossover distance. [m]

    Raises
    ------
    ValueError
        If a length is not positive.

    Notes
    -----
    Nearer, part of the opening is dark from the axis and the illuminance stays level: a reading there times
    d^2 is not an intensity. Ideal lens, source in the focal plane.
    """
    opening = positive("aperture_radius", aperture_radius, "m")
    return as_given(
        opening
        * positive("focal_length", focal_length, "m")
        / positive("source_half_size", source_half_size, "m")
    )


def collimated_beam_illuminance(
    luminance: ArrayLike, distance: ArrayLike, *, aperture_radius: ArrayLike, crossover: ArrayLike
) -> Any:
    r"""Return the axial illuminance of an ideal collimated beam.

    .. math:: E = \frac{\pi L R^2}{R^2 + \max(d, L_0)^2}

    Parameters
    ----------
    luminance : array_like
        Luminance :math:`L` of the source, losses taken off. [cd/m2]
    distance : array_like
        Distance :math:`d` from the opening. [m]
    aperture_radius : array_like
        Radius :math:`R` of the opening. [m]
    crossover : array_like
        Crossover distance :math:`L_0`. [m]

    Returns
    -------
    float or ndarray
        Illuminance on the axis: level up to the crossover, the disc's law beyond. [lx]

    Raises
    ------
    ValueError
        If a length is not positive or a luminance is negative.
    """
    opening = positive("aperture_radius", aperture_radius, "m")
    reach = np.maximum(positive("distance", distance, "m"), positive("crossover", crossover, "m"))
    bright = not_negative("luminance", luminance, "cd/m2")
    return as_given(np.pi * bright * opening**2 / (opening**2 + reach**2))


def smallest_distance(
    aperture_radius: ArrayLike, *, tolerance: ArrayLike = 0.01, crossover: ArrayLike = 0.0
) -> Any:
    r"""Return the smallest distance at which geometry allows the inverse square.

    .. math:: d \ge \max\left(R \sqrt{(1 - p)/p}, \; L_0\right)

    Parameters
    ----------
    aperture_radius : array_like
        Half the largest dimension :math:`R` of the luminous opening. [m]
    tolerance : array_like, default 0.01
        Deviation :math:`p` from the inverse square allowed for a disc. [1]
    crossover : array_like, default 0
        Crossover distance :math:`L_0` of the beam, 0 where there is none. [m]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Raises
    ------
    ValueError
        If a length is negative or a tolerance is not between 0 and 1.

    Notes
    -----
    Necessary, not sufficient: only a distance run shows that a focused lamp follows the law.
    """
    opening = not_negative("aperture_radius", aperture_radius, "m")
    share = require("tolerance", tolerance, lambda v: (v > 0) & (v < 1), "between 0 and 1", "(relative)")
    by_size = opening * np.sqrt((1.0 - share) / share)
    return as_given(np.maximum(by_size, not_negative("crossover", crossover, "m")))
