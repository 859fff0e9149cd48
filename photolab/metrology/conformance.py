"""Does a value with its uncertainty keep a limit, and does it agree with somebody else's."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import integrate, optimize, special

from photolab.errors import MethodError
from photolab.metrology.agreement import (
    Array,
    assessment_sd,
    finite,
    normalized_error,
    positive,
    z_score,
    zeta_score,
)

__all__ = [
    "DecisionRisks",
    "acceptance_limits",
    "assessment_sd",
    "conformance_probability",
    "decision_risks",
    "normalized_error",
    "values_that_conform",
    "z_score",
    "zeta_score",
]


@dataclass(frozen=True)
class DecisionRisks:
    """What an acceptance rule does to a whole production.

    Attributes
    ----------
    conforming : float
        Probability that an item conforms. [1]
    accepted : float
        Probability that an item is accepted. [1]
    consumer_risk : float
        Probability that an item is accepted and does not conform. [1]
    producer_risk : float
        Probability that an item is rejected and conforms. [1]
    """

    conforming: float
    accepted: float
    consumer_risk: float
    producer_risk: float


def conformance_probability(
    value: ArrayLike,
    standard_uncertainty: ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
) -> Array:
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
    y = finite("value", value)
    u = positive("standard_uncertainty", standard_uncertainty)
    low, high = _limits(lower, upper)
    # the difference is taken on the side where both terms are small, or a tail would vanish in rounding
    a, b = (low - y) / u, (high - y) / u
    swap = a > 0.0
    result: Array = special.ndtr(np.where(swap, -a, b)) - special.ndtr(np.where(swap, -b, a))
    return result


def acceptance_limits(
    *,
    expanded_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
    multiple: float = 1.0,
) -> tuple[float, float]:
    r"""Return the limits for measured values that a guard band of :math:`w = r U` leaves.

    Parameters
    ----------
    expanded_uncertainty : float
        Expanded uncertainty U of a measured value. [any]
    lower, upper : float, optional
        Tolerance limits; at least one. [as expanded_uncertainty]
    multiple : float, default 1
        r: above 0 guards the consumer, below 0 the producer, 0 is simple acceptance. [1]

    Returns
    -------
    tuple of float
        Acceptance limits; infinite on a side without limit. [as expanded_uncertainty]

    Raises
    ------
    ValueError
        If the uncertainty is not positive.
    MethodError
        If the guard bands leave nothing between them.

    References
    ----------
    .. [1] JCGM 106:2012, 8.3.2.
    """
    guard = multiple * float(positive("expanded_uncertainty", expanded_uncertainty))
    low, high = _limits(lower, upper)
    if low + guard >= high - guard:
        message = f"guard bands of {guard:.6g} leave nothing between {low:.6g} and {high:.6g}"
        raise MethodError(message, code="no_acceptance", known={"guard_band": guard})
    return low + guard, high - guard


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
    u = float(positive("standard_uncertainty", standard_uncertainty))
    if not 0.0 < probability < 1.0:
        message = f"probability must be between 0 and 1; got {probability}"
        raise ValueError(message)
    low, high = _limits(lower, upper)
    reach = float(special.ndtri(probability)) * u
    if np.isinf(low) or np.isinf(high):
        return low + reach, high - reach
    middle = 0.5 * (low + high)
    best = float(conformance_probability(middle, u, lower=low, upper=high))
    if best < probability:
        message = f"no value conforms with probability {probability:g}; {middle:.6g} reaches {best:.4g}"
        raise MethodError(
            message, code="never_conforms", known={"largest_probability": best, "value": middle}
        )

    def shortfall(value: float) -> float:
        return float(conformance_probability(value, u, lower=low, upper=high)) - probability

    outside = low - 10.0 * u - abs(reach)
    lowest = float(optimize.brentq(shortfall, outside, middle, xtol=1e-13 * max(u, abs(middle))))
    return lowest, low + high - lowest


def decision_risks(
    *,
    process_mean: float,
    process_sd: float,
    standard_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
    acceptance_lower: float | None = None,
    acceptance_upper: float | None = None,
) -> DecisionRisks:
    """Return consumer's and producer's risk of an acceptance rule over a whole production.

    Parameters
    ----------
    process_mean, process_sd : float
        Mean and standard deviation of the items, normal. [any]
    standard_uncertainty : float
        Standard uncertainty of measuring one item, normal. [as process_mean]
    lower, upper : float, optional
        Tolerance limits; at least one. [as process_mean]
    acceptance_lower, acceptance_upper : float, optional
        Limits for the measured value; the tolerance limits if not given. [as process_mean]

    Returns
    -------
    DecisionRisks
        Shares of items that conform, are accepted, are wrongly accepted, wrongly rejected. [1]

    Raises
    ------
    ValueError
        If a standard deviation is not positive, or limits are missing or in the wrong order.

    References
    ----------
    .. [1] JCGM 106:2012, 9.5 and Annex B.
    """
    mean = float(finite("process_mean", process_mean))
    sd = float(positive("process_sd", process_sd))
    u = float(positive("standard_uncertainty", standard_uncertainty))
    low, high = _limits(lower, upper)
    accept_low, accept_high = _limits(
        lower if acceptance_lower is None else acceptance_lower,
        upper if acceptance_upper is None else acceptance_upper,
        name="acceptance ",
    )

    def density_accepted(z: float) -> float:
        item = mean + sd * z
        accepted = special.ndtr((accept_high - item) / u) - special.ndtr((accept_low - item) / u)
        return float(accepted * np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi))

    ends = np.clip((np.array([low, high]) - mean) / sd, -9.0, 9.0)
    marks = (np.array([accept_low, accept_high]) - mean) / sd
    inside = [float(mark) for mark in marks if ends[0] < mark < ends[1]]
    true_accepted = integrate.quad(
        density_accepted, ends[0], ends[1], points=inside or None, limit=400, epsabs=1e-13
    )[0]
    conforming = float(conformance_probability(mean, sd, lower=lower, upper=upper))
    accepted = float(
        special.ndtr((accept_high - mean) / np.hypot(sd, u))
        - special.ndtr((accept_low - mean) / np.hypot(sd, u))
    )
    return DecisionRisks(
        conforming,
        accepted,
        max(accepted - float(true_accepted), 0.0),
        max(conforming - float(true_accepted), 0.0),
    )


def _limits(lower: float | None, upper: float | None, *, name: str = "") -> tuple[float, float]:
    low = -np.inf if lower is None else float(lower)
    high = np.inf if upper is None else float(upper)
    if not low < high or (np.isinf(low) and np.isinf(high)):
        message = f"{name}lower must be below upper, one of them given; got {lower} and {upper}"
        raise ValueError(message)
    return low, high
