"""Shapes of the probability distributions an input quantity may have, and how values are drawn from them.

Every shape is kept in standard form: mean 0 and standard deviation 1 (Student's t: scale 1), so that a
value is ``estimate + standard_uncertainty * draw``.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

FloatArray = NDArray[np.float64]

DISTRIBUTIONS = (
    "normal",
    "t",
    "rectangular",
    "triangular",
    "arcsine",
    "trapezoidal",
    "curvilinear_trapezoidal",
    "truncated_exponential",
)
NEEDS_SHAPE = ("trapezoidal", "curvilinear_trapezoidal", "truncated_exponential")


def sd_of_unit_half_width(distribution: str, shape: float | None = None) -> float:
    r"""Return the standard deviation of a symmetric distribution on -1 to 1.

    Rectangular :math:`1/\sqrt3`, triangular :math:`1/\sqrt6`, arcsine :math:`1/\sqrt2`, trapezoidal with
    top-to-base ratio :math:`\beta` :math:`\sqrt{(1+\beta^2)/6}`, curvilinear trapezoidal with inexactness
    :math:`d` of the limits :math:`\sqrt{1/3 + d^2/9}`.

    Parameters
    ----------
    distribution : str
        Name of the shape.
    shape : float, optional
        Top-to-base ratio, or inexactness of the limits over the half width. [1]

    Returns
    -------
    float
        Standard deviation. [1]

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.2 to 6.4.6.
    """
    simple = {"rectangular": 3.0, "triangular": 6.0, "arcsine": 2.0}
    if distribution in simple:
        return float(1.0 / np.sqrt(simple[distribution]))
    if distribution == "trapezoidal" and shape is not None:
        return float(np.sqrt((1.0 + shape**2) / 6.0))
    if distribution == "curvilinear_trapezoidal" and shape is not None:
        return float(np.sqrt(1.0 / 3.0 + shape**2 / 9.0))
    message = (
        f"distribution must have limits (and a shape parameter where it needs one); got {distribution!r}"
    )
    raise ValueError(message)


def exponential_rate(mean: float) -> float:
    r"""Return the rate of the exponential density on 0 to 1 that has a given mean.

    Solves :math:`1/k - 1/(e^k - 1) = m`; among all densities between two limits with a known mean this one
    has the largest entropy.

    Parameters
    ----------
    mean : float
        Mean :math:`m` between 0 and 1. [1]

    Returns
    -------
    float
        Rate :math:`k`, 0 at :math:`m = 1/2`, positive below it. [1]

    References
    ----------
    .. [1] JCGM 100:2008, 4.3.8.
    """
    offset = 0.5 - mean
    if abs(offset) < 1e-6:  # the root search cannot resolve it; series m = 1/2 - k/12
        return 12.0 * offset
    distance = 0.5 - abs(offset)  # mean of the mirrored density, below one half

    def excess(rate: float) -> float:
        return float(1.0 / rate - 1.0 / np.expm1(min(rate, 700.0)) - distance)

    rate = float(brentq(excess, 1e-9, 2.0 / distance, xtol=1e-14, rtol=1e-14))
    return rate if offset > 0 else -rate


def exponential_sd(rate: float) -> float:
    r"""Return the standard deviation of the exponential density on 0 to 1 with rate :math:`k`.

    :math:`\sigma^2 = 1/k^2 - 1/(4\sinh^2(k/2))`, which is the variance of JCGM 100:2008, 4.3.8 for limits
    one apart.

    Parameters
    ----------
    rate : float
        Rate :math:`k`. [1]

    Returns
    -------
    float
        Standard deviation. [1]
    """
    if abs(rate) < 1e-2:  # the two terms cancel; series 1/12 - k^2/240
        return float(np.sqrt(1.0 / 12.0 - rate**2 / 240.0))
    half = min(abs(rate) / 2.0, 350.0)
    return float(np.sqrt(1.0 / rate**2 - 1.0 / (4.0 * np.sinh(half) ** 2)))


def _pairs(rng: np.random.Generator, size: int) -> FloatArray:
    """Draw two numbers for each value, one after the other: chunks of any size then use a stream alike."""
    return rng.random((size, 2))


def _normal(rng: np.random.Generator, size: int, _: Any) -> FloatArray:
    return rng.standard_normal(size)


def _rectangular(rng: np.random.Generator, size: int, _: Any) -> FloatArray:
    draw = rng.random(size)
    draw -= 0.5
    draw *= np.sqrt(12.0)
    return draw


def _student(rng: np.random.Generator, size: int, dof: float) -> FloatArray:
    return rng.standard_t(dof, size)


def _triangular(rng: np.random.Generator, size: int, _: Any) -> FloatArray:
    return np.asarray((_pairs(rng, size).sum(axis=1) - 1.0) * np.sqrt(6.0))


def _arcsine(rng: np.random.Generator, size: int, _: Any) -> FloatArray:
    return np.asarray(np.sqrt(2.0) * np.sin(2.0 * np.pi * rng.random(size)))


def _trapezoidal(rng: np.random.Generator, size: int, shape: float) -> FloatArray:
    wide, narrow = (_pairs(rng, size) - 0.5).T
    draw = wide * (1.0 + shape) + narrow * (1.0 - shape)
    return np.asarray(draw / sd_of_unit_half_width("trapezoidal", shape))


def _curvilinear(rng: np.random.Generator, size: int, shape: float) -> FloatArray:
    limit, place = (2.0 * _pairs(rng, size) - 1.0).T
    draw = (1.0 - shape * limit) * place
    return np.asarray(draw / sd_of_unit_half_width("curvilinear_trapezoidal", shape))


def _exponential(rng: np.random.Generator, size: int, shape: float) -> FloatArray:
    return _exponential_at(rng.random(size), shape)


def _exponential_at(probability: FloatArray, shape: float) -> FloatArray:
    rate = exponential_rate(shape)
    if abs(rate) < 1e-9:
        return np.asarray((probability - 0.5) * np.sqrt(12.0))
    position = -np.log1p(probability * np.expm1(-rate)) / rate
    return np.asarray((position - shape) / exponential_sd(rate))


_DRAWS: dict[str, Callable[[np.random.Generator, int, Any], FloatArray]] = {
    "normal": _normal,
    "t": _student,
    "rectangular": _rectangular,
    "triangular": _triangular,
    "arcsine": _arcsine,
    "trapezoidal": _trapezoidal,
    "curvilinear_trapezoidal": _curvilinear,
    "truncated_exponential": _exponential,
}


def draw_standard(
    rng: np.random.Generator, size: int, distribution: str, *, dof: float, shape: float | None
) -> FloatArray:
    """Draw values of one input quantity in standard form.

    Parameters
    ----------
    rng : numpy.random.Generator
        The stream of this input alone.
    size : int
        How many values. [1]
    distribution : str
        Name of the shape.
    dof : float
        Degrees of freedom, used by Student's t. [1]
    shape : float or None
        Shape parameter in standard form: top-to-base ratio, inexactness over half width, or the place of
        the mean between the limits. [1]

    Returns
    -------
    ndarray, shape (size,)
        Draws of mean 0 and standard deviation 1 (Student's t: scale 1). [1]
    """
    if distribution == "t" and not np.isfinite(dof):
        distribution = "normal"
    return _DRAWS[distribution](rng, size, dof if distribution == "t" else shape)
