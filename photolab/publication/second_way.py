"""A ratio by a second way: the distributions of all its inputs propagated by Monte Carlo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photolab.bench.pairs import ReadingComparison
from photolab.errors import MethodError
from photolab.metrology.distribution_results import (
    DistributionResult,
    Validation,
    propagate_distributions,
    validate_propagation,
)

__all__ = ["SEED", "SecondWay", "ratio_by_monte_carlo"]

#: Seed of the streams, stated in the provenance of a report.
SEED = 20

_BLOCK = 10_000


@dataclass(frozen=True, eq=False)
class SecondWay:
    """A ratio by propagation of distributions beside the same by the law of propagation, both in ln.

    Attributes
    ----------
    low, high : float
        Interval of the ratio from the trials. [1]
    inputs : int
        Inputs that were drawn.
    distribution : DistributionResult
        The trials, of ln of the ratio.
    validation : Validation
        How far the two intervals lie apart, and whether that matters.
    """

    low: float
    high: float
    inputs: int
    distribution: DistributionResult
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
    chosen = np.flatnonzero(linear.sensitivities)
    effects = {f"x{i}": float(linear.sensitivities[i]) for i in chosen}
    inputs = {f"x{i}": linear.inputs[i] for i in chosen}

    def model(**drawn: NDArray[np.float64]) -> NDArray[np.float64]:
        total = np.full(len(next(iter(drawn.values()))), linear.value)
        for name, values in drawn.items():
            effect = effects[name]
            total += np.copysign(1.0, effect) * np.log1p(abs(effect) * (values - inputs[name].value))
        return total

    distribution = propagate_distributions(model, inputs, trials=trials, coverage=pair.coverage, seed=seed)
    judged = validate_propagation(linear, distribution)
    low, high = (float(np.exp(end)) for end in distribution.interval)
    return SecondWay(low, high, len(inputs), replace(distribution, outcomes=np.empty(0)), judged)
