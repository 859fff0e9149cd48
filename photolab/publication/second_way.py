"""A ratio by a second way: the distributions of all its inputs propagated by Monte Carlo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photolab.bench.pairs import ReadingComparison
from photolab.errors import MethodError
from photolab.metrology.monte_carlo import Validation, draws, interval, validate
from photolab.metrology.quantity import measured

__all__ = ["SEED", "SecondWay", "ratio_by_monte_carlo"]

#: Seed of the streams, stated in the provenance of a report.
SEED = 20

ROUNDING = 1e-9  # of the whole: what cancels from a ratio leaves less


@dataclass(frozen=True, eq=False)
class SecondWay:
    """A ratio by propagation of distributions beside the same by the law of propagation, both in ln.

    Attributes
    ----------
    low, high : float
        Interval of the ratio from the trials. [1]
    inputs, trials : int
        Inputs that were drawn, and how often.
    validation : Validation
        How far the two intervals lie apart, and whether that matters.
    """

    low: float
    high: float
    inputs: int
    trials: int
    validation: Validation


def ratio_by_monte_carlo(pair: ReadingComparison, *, trials: int = 200_000, seed: int = SEED) -> SecondWay:
    r"""Return a ratio by Monte Carlo.

    Each input multiplies the lamp it acts on by one plus its own effect,

    .. math:: R = R_0 \prod_{c_i > 0} (1 + c_i\,\delta_i) \Big/ \prod_{c_i < 0} (1 + |c_i|\,\delta_i),

    drawn from the distribution it was declared with; nothing is linearised and no normal distribution
    is assumed
    for the result. Swapping the lamps gives the reciprocal.

    Parameters
    ----------
    pair : ReadingComparison
        Two lamps compared.
    trials : int, default 200 000
        Number of trials. [1]
    seed : int, default `SEED`
        Seed of the streams.

    Returns
    -------
    SecondWay
        The interval and its distance to that of the law of propagation.

    Raises
    ------
    MethodError
        If the pair has no interval.
    """
    linear = pair.result
    if linear is None:
        message = "a ratio without an interval has no second way"
        raise MethodError(message, code="no_answer", known={"missing": pair.missing})
    acting = [(q, c) for q, c in linear.parts.items() if abs(c) * q.u > ROUNDING * linear.u]

    def law(*deviations: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.full(deviations[0].shape, linear.value)
        for (_, effect), away in zip(acting, deviations, strict=True):
            total += np.copysign(1.0, effect) * np.log1p(abs(effect) * away)
        return total

    outcomes = draws(law, *(measured(0.0, q) for q, _ in acting), trials=trials, seed=seed)
    judged = validate(linear, outcomes, coverage=pair.coverage)
    low, high = (float(np.exp(end)) for end in interval(outcomes, pair.coverage))
    return SecondWay(low, high, len(acting), trials, judged)
