"""Draws of measured quantities through the law that joins them: the second way to an interval (JCGM 101)."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photolab.errors import MethodError, demand
from photolab.metrology.reporting import places_for

if TYPE_CHECKING:
    from photolab.metrology.quantity import Input, Measured

FloatArray = NDArray[np.float64]

#: Seed of the draws in the notebooks.
SEED = 20
_CHUNK = 10_000  # small enough for a processor's cache, large enough that calls cost little
_SCALES = {"rectangular": math.sqrt(12.0), "arcsine": math.sqrt(2.0)}  # of a sine, and of a step one wide


class Validation(NamedTuple):
    """A linear result compared with draws of the same result.

    Parameters
    ----------
    d_low, d_high : float
        Distance of the two low and the two high ends of the intervals. [unit]
    tolerance : float
        Half a unit in the last of the digits asked for of the standard uncertainty. [unit]
    validated : bool
        Whether both distances are at most the tolerance.
    content : float
        Share of the draws inside the linear interval. [1]
    """

    d_low: float
    d_high: float
    tolerance: float
    validated: bool
    content: float


def draws(
    law: Callable[..., ArrayLike], *quantities: Measured | float, trials: int = 200_000, seed: int = 0
) -> FloatArray:
    """Return draws of a law, fed with draws of the quantities that enter it.

    Each input has its own stream, spawned from the seed and its name alone: neither another input nor the
    chunks change its draws, and more trials continue the same streams. Inputs of finite degrees of freedom
    are drawn as Student's t; those that rest on one estimate of variance share its chi-square, so that they
    are all too wide or all too narrow together.

    Parameters
    ----------
    law : callable
        The law: takes as many arrays as there are quantities, gives one value a trial. [result]
    *quantities : Measured or float
        What enters, in the order of the law's arguments: read, fitted, or a weighted sum of such. A plain
        number is exact. [any unit]
    trials : int, default 200 000
        Number of trials. [1]
    seed : int, default 0
        Seed of the streams.

    Returns
    -------
    ndarray, shape (trials,)
        Draws of the result, in the order they were made. [result]

    Raises
    ------
    ValueError
        If a quantity came out of a law that is not linear (its draws would be linearised: draw what it was
        made of), or one name stands for two inputs.
    MethodError
        If the law has no finite value at some draws; ``known`` holds their share.

    References
    ----------
    .. [1] JCGM 101:2008, 6.4 and 7.2 to 7.4.
    """
    read: list[tuple[float, Mapping[Input, float]]] = []
    for k, x in enumerate(quantities):
        if isinstance(x, (int, float)):
            read.append((float(x), {}))
        else:
            got = f"{x!r}, which a law made (draw what it was made of)"
            demand(x.linear, f"quantity[{k}] must be read, fitted or a weighted sum of such", got)
            read.append((x.value, x.parts))
    streams = {q: stream(seed, q.name) for _, parts in read for q in parts}
    dof = degrees_of_freedom(streams)
    scales = {key: stream(seed, ("variance", key)) for key in dof}
    outcomes = np.empty(trials)
    with np.errstate(all="ignore"):  # what is not finite is counted below
        for start in range(0, trials, _CHUNK):
            size = min(_CHUNK, trials - start)
            width = {key: np.sqrt(dof[key] / rng.chisquare(dof[key], size)) for key, rng in scales.items()}
            away = {q: _deviations(q, rng, size, width.get(q.estimate)) for q, rng in streams.items()}
            moved = [
                sum((away[q] * (c * q.u * _SCALES.get(q.law, 1.0)) for q, c in parts.items()), value)
                for value, parts in read
            ]
            outcomes[start : start + size] = law(*moved)
    bad = trials - int(np.count_nonzero(np.isfinite(outcomes)))
    if bad:
        message = f"the law must be finite at every draw; got {bad} of {trials} draws that are not"
        raise MethodError(message, code="model_not_finite", known={"share_not_finite": bad / trials})
    return outcomes


def _deviations(q: Input, rng: np.random.Generator, size: int, width: FloatArray | None) -> FloatArray:
    """Return draws of one input about its estimate, over its u and the scale of its law."""
    if q.law in ("normal", "t"):
        return rng.standard_normal(size) * (1.0 if width is None else width)
    if q.law == "arcsine":
        return np.sin(2.0 * np.pi * rng.random(size))
    if q.law == "rectangular":
        return rng.random(size) - 0.5
    # a trapezoid is the sum of two rectangulars, a triangle of two alike
    wide, narrow = (rng.random((size, 2)) - 0.5).T
    return np.asarray((wide * (1.0 + q.top) + narrow * (1.0 - q.top)) * math.sqrt(6.0 / (1.0 + q.top**2)))


def degrees_of_freedom(inputs: Iterable[Input]) -> dict[Hashable, float]:
    """Return the degrees of freedom of each estimate of variance that inputs rest on.

    Parameters
    ----------
    inputs : iterable of Input
        The inputs.

    Returns
    -------
    dict
        By `Input.estimate`; without those of infinite degrees of freedom. [1]

    Raises
    ------
    ValueError
        If inputs that rest on one estimate state different degrees of freedom.
    """
    found: dict[Hashable, Input] = {}
    for q in inputs:
        first = found.setdefault(q.estimate, q)
        if first.dof != q.dof:
            shared = f"which rests on the same variance ({q.variance!r}, {first.dof:g})"
            wanted = f"dof of input {q.name!r} must equal that of {first.name!r}, {shared}"
            demand(False, wanted, f"{q.dof:g}")
    return {key: q.dof for key, q in found.items() if math.isfinite(q.dof)}


def stream(seed: int, key: Hashable) -> np.random.Generator:
    """Return the stream of one key.

    Parameters
    ----------
    seed : int
        Seed of all streams, zero or more.
    key : hashable
        Key; its text decides.

    Returns
    -------
    numpy.random.Generator
        A generator independent of those of other keys.
    """
    digest = hashlib.sha256(repr(key).encode()).digest()[:16]
    words = [int.from_bytes(digest[k : k + 4], "big") for k in range(0, 16, 4)]
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=tuple(words))))


def interval(outcomes: FloatArray, coverage: float, kind: str = "symmetric") -> tuple[float, float]:
    """Return the coverage interval of draws.

    Parameters
    ----------
    outcomes : ndarray
        Draws, 10/(1 - coverage) or more. [unit]
    coverage : float
        Coverage probability, between 0 and 1. [1]
    kind : {"symmetric", "shortest"}
        Equal probability on both sides, or the shortest one.

    Returns
    -------
    low, high : float
        The interval. [unit]

    Raises
    ------
    ValueError
        If an option is out of range, or there are too few draws.

    References
    ----------
    .. [1] JCGM 101:2008, 7.7.
    """
    demand(0 < coverage < 1, "coverage must be more than 0 and less than 1", coverage)
    demand(kind in ("symmetric", "shortest"), "kind must be 'symmetric' or 'shortest'", repr(kind))
    y = np.sort(outcomes)
    least = math.ceil(round(10.0 / (1.0 - coverage), 6))
    demand(y.size >= least, f"outcomes must be {least} or more at a coverage of {coverage:g}", y.size)
    inside = int(coverage * y.size + 0.5)
    low = (y.size - inside + 1) // 2 - 1 if kind == "symmetric" else int(np.argmin(y[inside:] - y[:-inside]))
    return float(y[low]), float(y[low + inside])


def validate(linear: Measured, outcomes: FloatArray, *, coverage: float, digits: int = 2) -> Validation:
    """Compare the interval of a linear result with draws of the same result.

    Parameters
    ----------
    linear : Measured
        The result by the law of propagation. [unit]
    outcomes : ndarray
        Draws of it. [unit]
    coverage : float
        Coverage probability of the intervals compared. [1]
    digits : int, default 2
        Significant digits of the standard uncertainty that matter.

    Returns
    -------
    Validation
        Distances of the interval ends, tolerance, verdict, and the share of the draws inside.

    Notes
    -----
    The ends of draws scatter: near the tolerance the verdict may differ between seeds. Judge it by the
    content as well.

    References
    ----------
    .. [1] JCGM 101:2008, 8.1.
    """
    low, high = linear.interval(coverage)
    ends = interval(outcomes, coverage)
    tolerance = 0.5 * 10.0 ** -places_for(linear.u, digits=digits)
    d_low, d_high = abs(low - ends[0]), abs(high - ends[1])
    inside = float(np.count_nonzero((outcomes >= low) & (outcomes <= high))) / outcomes.size
    return Validation(d_low, d_high, tolerance, d_low <= tolerance and d_high <= tolerance, inside)
