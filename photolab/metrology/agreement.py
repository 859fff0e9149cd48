"""Does a result agree with somebody else's, and does a value keep a limit: ISO 13528 and JCGM 106."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from photolab.errors import demand
from photolab.metrology.arguments import Floats, finite, must_hold, positive


def normalized_error(
    x: ArrayLike,
    expanded_x: ArrayLike,
    reference: ArrayLike,
    expanded_reference: ArrayLike,
    *,
    correlation: float = 0.0,
) -> Floats:
    r"""Return the normalized error of two results with their expanded uncertainties.

    .. math:: E_n = \frac{x - X}{\sqrt{U_x^2 + U_X^2 - 2 r U_x U_X}}

    Parameters
    ----------
    x, expanded_x : array_like
        Result and its expanded uncertainty. [any]
    reference, expanded_reference : array_like
        The other result and its expanded uncertainty at the same coverage probability, which is said beside the
        score. [as x]
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
    a = positive("expanded_x", expanded_x, missing=False)
    b = positive("expanded_reference", expanded_reference, missing=False)
    demand(-1.0 <= correlation <= 1.0, "correlation must be between -1 and 1", correlation)
    square = a**2 + b**2 - 2.0 * correlation * a * b
    left = np.all(square > 1e-14 * (a**2 + b**2))
    demand(left, "correlation must leave the difference an uncertainty", correlation)
    difference = finite("x", x, missing=False) - finite("reference", reference, missing=False)
    return np.asarray(difference / np.sqrt(square))[()]


def zeta_score(x: ArrayLike, u_x: ArrayLike, reference: ArrayLike, u_reference: ArrayLike) -> Floats:
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


def conformance_probability(
    value: ArrayLike,
    standard_uncertainty: ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
) -> Floats:
    r"""Return the probability that a quantity keeps its limits, from its estimate and standard uncertainty.

    .. math:: p_c = \Phi\!\left(\frac{T_U - y}{u}\right) - \Phi\!\left(\frac{T_L - y}{u}\right)

    Parameters
    ----------
    value : array_like, shape S1
        Estimate y. [any]
    standard_uncertainty : array_like, shape S2
        Standard uncertainty u. [as value]
    lower, upper : float, optional
        Limits; at least one. [as value]

    Returns
    -------
    ndarray, shape broadcast(S1, S2)
        Conformance probability. [1]

    Raises
    ------
    ValueError
        If an uncertainty is not positive, a value is not finite, or the limits are missing or in the wrong
        order.

    Notes
    -----
    Normal distribution of what may be the true value, with nothing known of it beside the measurement.
    Where earlier items are well known, or the limit is a physical bound (nothing below zero), this is not
    the right figure.

    References
    ----------
    .. [1] JCGM 106:2012, 7.2 to 7.4.
    """
    y = finite("value", value, missing=False)
    u = positive("standard_uncertainty", standard_uncertainty, missing=False)
    low, high = _limits(lower, upper)
    # the difference is taken on the side where both terms are small, or a tail would vanish in rounding
    a, b = (low - y) / u, (high - y) / u
    swap = a > 0.0
    return np.asarray(special.ndtr(np.where(swap, -a, b)) - special.ndtr(np.where(swap, -b, a)))[()]


def values_that_conform(
    standard_uncertainty: float, *, probability: float, lower: float | None = None, upper: float | None = None
) -> tuple[float, float]:
    """Return the measured values whose conformance probability is at least as stated.

    Parameters
    ----------
    standard_uncertainty : float
        Standard uncertainty of a measured value. [any]
    probability : float
        Smallest conformance probability wanted. [1]
    lower, upper : float, optional
        Tolerance limits; at least one. [as standard_uncertainty]

    Returns
    -------
    tuple of float
        Lowest and highest such value; infinite on a side without limit. [as standard_uncertainty]

    Raises
    ------
    ValueError
        If the uncertainty is not positive or the probability is not between 0 and 1.
    MethodError
        If no measured value reaches the probability.

    References
    ----------
    .. [1] JCGM 106:2012, 7.7.
    """
    u = float(positive("standard_uncertainty", standard_uncertainty, missing=False))
    demand(0.0 < probability < 1.0, "probability must be between 0 and 1", probability)
    low, high = _limits(lower, upper)
    reach = float(special.ndtri(probability)) * u
    if np.isinf(low) or np.isinf(high):
        return low + reach, high - reach
    middle = 0.5 * (low + high)
    best = float(conformance_probability(middle, u, lower=low, upper=high))
    message = f"no value conforms with probability {probability:g}; {middle:.6g} reaches {best:.4g}"
    known = {"largest_probability": best, "value": middle}
    must_hold(best >= probability, message, code="never_conforms", known=known)

    def shortfall(value: float) -> float:
        return float(conformance_probability(value, u, lower=low, upper=high)) - probability

    outside = low - 10.0 * u - abs(reach)
    lowest = float(optimize.brentq(shortfall, outside, middle, xtol=1e-13 * max(u, abs(middle))))
    return lowest, low + high - lowest


def _limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    low = -np.inf if lower is None else float(lower)
    high = np.inf if upper is None else float(upper)
    holds = low < high and np.isfinite([low, high]).any()
    demand(holds, "lower must be below upper, one of them given", f"{lower} and {upper}")
    return low, high
