"""Propagation of distributions by a Monte Carlo method, and the check of a linear result against it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.errors import MethodError
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.reporting import places_for
from photolab.metrology.results import MeasurementResult, check_coverage
from photolab.metrology.sampling import Sampler, values_of

FloatArray = NDArray[np.float64]
Model = Callable[..., Any]

_CHUNK = 10_000  # small enough for a processor's cache, large enough that calls cost little
_CHUNK_BYTES = 64_000_000
_SUMMED = 100_000  # trials summed at a time, so that no second array of all trials is needed


@dataclass(frozen=True, eq=False)
class DistributionResult:
    """The distribution of a result, summarised.

    Parameters
    ----------
    value : float
        Mean of the trials; their median where an input has no finite variance. [unit]
    standard_uncertainty : float
        Standard deviation of the trials; NaN where an input has no finite variance (Student's t, 2 dof or
        fewer). [unit]
    interval : tuple of float
        Coverage interval, low and high. [unit]
    trials : int
        Number of trials. [1]
    seed : int
        Seed of the streams.
    coverage : float
        Coverage probability. [1]
    kind : str
        "symmetric" (equal probability on both sides) or "shortest".
    outcomes : ndarray, shape (trials,)
        What the model gave, in no particular order. [unit]
    """

    value: float
    standard_uncertainty: float
    interval: tuple[float, float]
    trials: int
    seed: int
    coverage: float
    kind: str
    outcomes: FloatArray = field(default_factory=lambda: np.empty(0), repr=False)


@dataclass(frozen=True)
class Validation:
    """A linear result compared with the distribution of the same result.

    Parameters
    ----------
    d_low, d_high : float
        Distance of the two low and the two high ends of the intervals. [unit]
    tolerance : float
        Half a unit in the last of the digits asked for of the standard uncertainty. [unit]
    validated : bool
        Whether both distances are at most the tolerance.
    content : float
        Share of the trials inside the linear interval. [1]
    """

    d_low: float
    d_high: float
    tolerance: float
    validated: bool
    content: float


def propagate_distributions(
    model: Model,
    inputs: Mapping[str, InputQuantity],
    *,
    trials: int = 1_000_000,
    coverage: float = 0.95,
    interval: str = "symmetric",
    seed: int = 0,
) -> DistributionResult:
    """Propagate the distributions of input quantities through a model.

    Each input has its own stream, spawned from the seed and its argument name. The trials of an input
    depend neither on the other inputs nor on the chunks they are drawn in; more trials continue the same
    streams.

    Parameters
    ----------
    model : callable
        Measurement model; takes the inputs as keyword arguments, arrays of one length, and returns an
        array. [unit]
    inputs : mapping of str to InputQuantity
        The inputs by argument name.
    trials : int, default 1 000 000
        Number of trials, 10/(1 - coverage) or more. [1]
    coverage : float, default 0.95
        Coverage probability. [1]
    interval : {"symmetric", "shortest"}
        Interval with equal probability on both sides, or the shortest one.
    seed : int, default 0
        Seed of all streams.

    Returns
    -------
    DistributionResult
        Mean, standard deviation and coverage interval of the trials. [unit]

    Raises
    ------
    ValueError
        If an option is out of range or the model does not return one value a trial.
    MethodError
        If the model has no finite value at some trials; ``known`` holds their share.

    References
    ----------
    .. [1] JCGM 101:2008, 7.2 to 7.7 and 5.3.
    """
    _check_options(coverage, interval, trials)
    sampler = Sampler(inputs, seed=seed)
    outcomes = np.empty(trials)
    _fill(outcomes, model, sampler, len(inputs))
    return _summary(outcomes, inputs, coverage=coverage, interval=interval, seed=seed)


def validate_propagation(
    linear: MeasurementResult, distribution: DistributionResult, *, digits: int = 2
) -> Validation:
    """Compare the interval of a linear result with that of the propagation of distributions.

    Parameters
    ----------
    linear : MeasurementResult
        Result of the law of propagation. [unit]
    distribution : DistributionResult
        Distribution of the same result, same coverage. [unit]
    digits : int, default 2
        Significant digits of the standard uncertainty that matter. [1]

    Returns
    -------
    Validation
        Distances of the interval ends, tolerance, verdict, and what share of the trials the linear interval
        holds.

    Raises
    ------
    ValueError
        If the coverages differ or the linear result has no standard uncertainty to take a tolerance from.

    Notes
    -----
    The ends from trials scatter: near the tolerance the verdict may differ between seeds. Judge it by the
    content as well, and use enough trials (stable to a fifth of the tolerance).

    References
    ----------
    .. [1] JCGM 101:2008, clause 8.
    """
    if linear.coverage != distribution.coverage:
        message = f"coverage of both results must be equal; got {linear.coverage} and {distribution.coverage}"
        raise ValueError(message)
    u = linear.standard_uncertainty
    if not u > 0:
        message = f"standard_uncertainty of the linear result must be more than zero; got {u:g} {linear.unit}"
        raise ValueError(message)
    tolerance = _tolerance(u, digits)
    d_low, d_high = (abs(a - b) for a, b in zip(linear.interval, distribution.interval, strict=True))
    y = distribution.outcomes
    inside = np.count_nonzero((y >= linear.interval[0]) & (y <= linear.interval[1]))
    validated = d_low <= tolerance and d_high <= tolerance
    return Validation(d_low, d_high, tolerance, validated, inside / y.size)


def _check_options(coverage: float, interval: str, trials: int) -> None:
    """Refuse options that are out of range."""
    check_coverage(coverage)
    if interval not in ("symmetric", "shortest"):
        message = f"interval must be 'symmetric' or 'shortest'; got {interval!r}"
        raise ValueError(message)
    least = math.ceil(round(10.0 / (1.0 - coverage), 6))
    if trials < least:
        message = f"trials must be {least} or more at a coverage of {coverage:g}; got {trials}"
        raise ValueError(message)


def _fill(outcomes: FloatArray, model: Model, sampler: Sampler, inputs: int) -> None:
    """Fill an array with trials, chunk by chunk; only the outcomes are kept."""
    chunk = max(1, min(_CHUNK, _CHUNK_BYTES // (8 * max(1, inputs))))
    with np.errstate(all="ignore"):  # what is not finite is counted below
        for start in range(0, outcomes.size, chunk):
            size = min(chunk, outcomes.size - start)
            outcomes[start : start + size] = values_of(model(**sampler.draw(size)), size)
    bad = outcomes.size - int(np.count_nonzero(np.isfinite(outcomes)))
    if bad:
        message = f"model must be finite at every trial; got {bad} of {outcomes.size} trials that are not"
        raise MethodError(message, code="model_not_finite", known={"share_not_finite": bad / outcomes.size})


def _without_variance(inputs: Mapping[str, InputQuantity]) -> bool:
    """Tell whether an input is Student's t with 2 degrees of freedom or fewer."""
    return any(q.distribution == "t" and q.dof <= 2 and q.standard_uncertainty > 0 for q in inputs.values())


def _summary(
    outcomes: FloatArray,
    inputs: Mapping[str, InputQuantity],
    *,
    coverage: float,
    interval: str,
    seed: int,
) -> DistributionResult:
    """Return value, standard uncertainty and interval of trials; puts the trials in another order."""
    if _without_variance(inputs):
        value, u = _median(outcomes), math.nan
    else:
        value, u = _mean_sd(outcomes)
    return DistributionResult(
        value=value,
        standard_uncertainty=u,
        interval=_interval(outcomes, coverage, interval),
        trials=outcomes.size,
        seed=seed,
        coverage=coverage,
        kind=interval,
        outcomes=outcomes,
    )


def _mean_sd(y: FloatArray) -> tuple[float, float]:
    """Return mean and standard deviation without another array of the same size."""
    parts = [y[k : k + _SUMMED] for k in range(0, y.size, _SUMMED)]
    mean = math.fsum(float(part.sum()) for part in parts) / y.size
    squares = 0.0
    for part in parts:
        away = part - mean
        squares += float(np.dot(away, away))
    return mean, math.sqrt(squares / (y.size - 1))


def _median(y: FloatArray) -> float:
    """Return the median; puts the array in another order."""
    middle = y.size // 2
    y.partition((middle - 1, middle))
    return float(y[middle] if y.size % 2 else (y[middle - 1] + y[middle]) / 2.0)


def _interval(y: FloatArray, coverage: float, kind: str) -> tuple[float, float]:
    """Return the coverage interval of trials by JCGM 101:2008, 7.7; puts the array in another order."""
    inside = int(coverage * y.size + 0.5)
    outside = y.size - inside
    if kind == "symmetric":
        low = (outside + 1) // 2 - 1
        y.partition((low, low + inside))
        return float(y[low]), float(y[low + inside])
    if inside > outside:  # only both tails need an order
        y.partition((outside - 1, inside))
        y[:outside].sort()
        y[inside:].sort()
    else:
        y.sort()
    low = int(np.argmin(y[inside:] - y[:outside]))
    return float(y[low]), float(y[low + inside])


def _tolerance(u: float, digits: int) -> float:
    """Return half a unit in the last significant digit asked for (JCGM 101:2008, 7.9.2)."""
    return float(0.5 * 10.0 ** -places_for(u, digits=digits))
