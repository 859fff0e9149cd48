"""Does a result agree with somebody else's, or with an assigned value: the scores of ISO 13528."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def normalized_error(
    x: ArrayLike,
    expanded_x: ArrayLike,
    reference: ArrayLike,
    expanded_reference: ArrayLike,
    *,
    correlation: float = 0.0,
) -> Array:
    r"""Return the normalized error of two results with their expanded uncertainties.

    .. math:: E_n = \frac{x - X}{\sqrt{U_x^2 + U_X^2 - 2 r U_x U_X}}

    Parameters
    ----------
    x, expanded_x : array_like
        Result and its expanded uncertainty. [any]
    reference, expanded_reference : array_like
        The other result and its expanded uncertainty, same coverage factor. [as x]
    correlation : float, default 0
        Correlation of the two results: what they share (a meter, a calibration) counts once. [1]

    Returns
    -------
    ndarray
        E_n; beyond -1 to 1 the two do not agree within their uncertainties. [1]

    Raises
    ------
    ValueError
        If an uncertainty is not positive, or the correlation leaves no uncertainty of the difference.

    References
    ----------
    .. [1] ISO 13528:2022, 9.7 (E_n score); the term in r is the variance of a difference.
    """
    a, b = positive("expanded_x", expanded_x), positive("expanded_reference", expanded_reference)
    if not -1.0 <= correlation <= 1.0:
        message = f"correlation must be between -1 and 1; got {correlation}"
        raise ValueError(message)
    square = a**2 + b**2 - 2.0 * correlation * a * b
    if np.any(square <= 1e-14 * (a**2 + b**2)):
        message = f"correlation must leave the difference an uncertainty; got {correlation}"
        raise ValueError(message)
    result: Array = (finite("x", x) - finite("reference", reference)) / np.sqrt(square)
    return result


def zeta_score(x: ArrayLike, u_x: ArrayLike, reference: ArrayLike, u_reference: ArrayLike) -> Array:
    r"""Return the difference of two independent results in units of its standard uncertainty.

    .. math:: \zeta = (x - X) / \sqrt{u_x^2 + u_X^2}

    Parameters
    ----------
    x, u_x : array_like
        Result and its standard uncertainty. [any]
    reference, u_reference : array_like
        The other result and its standard uncertainty. [as x]

    Returns
    -------
    ndarray
        Zeta score. [1]

    Raises
    ------
    ValueError
        If an uncertainty is not positive or a value is not finite.

    References
    ----------
    .. [1] ISO 13528:2022, 9.6.
    """
    return normalized_error(x, u_x, reference, u_reference)


def z_score(x: ArrayLike, assigned: ArrayLike, assessment_sd: ArrayLike) -> Array:
    """Return the difference from an assigned value in units of the standard deviation used to judge it.

    Parameters
    ----------
    x, assigned : array_like
        Result and assigned value. [any]
    assessment_sd : array_like
        Standard deviation for the assessment. [as x]

    Returns
    -------
    ndarray
        z. [1]

    Raises
    ------
    ValueError
        If the standard deviation is not positive or a value is not finite.

    References
    ----------
    .. [1] ISO 13528:2022, 9.4.
    """
    result: Array = (finite("x", x) - finite("assigned", assigned)) / positive("assessment_sd", assessment_sd)
    return result


def assessment_sd(reproducibility_sd: float, repeatability_sd: float, *, replicates: int) -> float:
    r"""Return the standard deviation to judge means of replicates by, from a precision experiment.

    .. math:: \sigma^2 = \sigma_R^2 - \sigma_r^2 (1 - 1/m)

    Parameters
    ----------
    reproducibility_sd, repeatability_sd : float
        Reproducibility and repeatability standard deviation. [any]
    replicates : int
        Replicates m averaged. [1]

    Returns
    -------
    float
        Standard deviation of means of m replicates between benches. [as reproducibility_sd]

    Raises
    ------
    ValueError
        If a standard deviation is not positive, the repeatability is the larger, or there is no replicate.

    References
    ----------
    .. [1] ISO 13528:2022, 8.5 and E.10 (as transcribed in a secondary text).
    """
    between = float(positive("reproducibility_sd", reproducibility_sd))
    within = float(positive("repeatability_sd", repeatability_sd))
    if within > between:
        message = f"repeatability_sd must not exceed reproducibility_sd; got {within} and {between}"
        raise ValueError(message)
    if replicates < 1:
        message = f"replicates must be 1 or more; got {replicates}"
        raise ValueError(message)
    return float(np.sqrt(between**2 - within**2 * (1.0 - 1.0 / replicates)))


def finite(name: str, value: ArrayLike) -> Array:
    """Return a quantity as an array; refuse values that are not finite.

    Parameters
    ----------
    name : str
        Name of the quantity, for the message. [text]
    value : array_like
        Quantity. [any]

    Returns
    -------
    ndarray
        The quantity. [any]

    Raises
    ------
    ValueError
        If an element is not finite.
    """
    return _checked(name, value, np.isfinite, "finite")


def positive(name: str, value: ArrayLike) -> Array:
    """Return a quantity as an array; refuse values that are not positive.

    Parameters
    ----------
    name : str
        Name of the quantity, for the message. [text]
    value : array_like
        Quantity. [any]

    Returns
    -------
    ndarray
        The quantity. [any]

    Raises
    ------
    ValueError
        If an element is not finite and more than 0.
    """
    return _checked(name, value, lambda array: np.isfinite(array) & (array > 0.0), "more than 0")


def _checked(name: str, value: ArrayLike, good: Callable[[Array], NDArray[np.bool_]], wanted: str) -> Array:
    array = np.asarray(value, dtype=float)
    fails = ~good(array)
    if np.any(fails):
        first = tuple(np.argwhere(fails)[0]) if array.ndim else ()
        place = f"[{', '.join(map(str, first))}]" if array.ndim else ""
        message = f"{name}{place} must be {wanted}; got {array[first]}"
        raise ValueError(message)
    return array
