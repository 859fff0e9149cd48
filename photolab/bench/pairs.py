"""One ratio of two lamps with its three lines, its scope and what would separate them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photolab.bench.instruments import RANGE_GAIN_NAME, RANGE_GAIN_PERCENT
from photolab.bench.model import Assumption
from photolab.bench.shared_inputs import BENCH_KINDS, COMMON_KINDS, METER_KINDS
from photolab.bench.verdicts import (
    MountingsToSeparate,
    Verdict,
    judge,
    mountings_to_separate,
)
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.planning import resolvable_ratio
from photolab.metrology.propagation import combine
from photolab.metrology.quantity import exp_symmetric
from photolab.metrology.results import MeasurementResult

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

SCOPE_KINDS = {
    "readings": METER_KINDS | {"elapsed time"},
    "specimens": BENCH_KINDS,
    "models": BENCH_KINDS | {"specimen", "remaining"},
}
"""Which kinds of input count in which scope: these readings (as seated), these specimens on this bench, the models."""


def at_instant(assumed: tuple[Assumption, ...], instant: str) -> tuple[Assumption, ...]:
    """Return the assumptions that enter at an instant: the spread of remaining light at the hold time only."""
    return tuple(a for a in assumed if instant == "hold" or a.name != "remaining_sd_percent")


@dataclass(frozen=True)
class Lines:
    """Half-widths of the coverage interval of a ratio, in ln times 100.

    Attributes
    ----------
    meter_only : float
        Scale, range, gain, linearity, resolution, noise, colour. [%]
    this_bench : float
        Those and mounting, day, voltage. [%]
    nothing_in_common : float
        This bench with scale and range terms counted once for each lamp: a what-if. [%]
    """

    meter_only: float
    this_bench: float
    nothing_in_common: float


@dataclass(frozen=True, eq=False)
class ReadingComparison:
    """The ratio of two lamps.

    Attributes
    ----------
    ratio, low, high : float
        Estimate and coverage interval; low and high NaN where an input is missing. [1]
    coverage, coverage_factor, dof : float
        Of the interval. [1]
    ln_expanded_uncertainty : float
        Half-width of the interval in ln. [1]
    verdict : str
        Code, see `verdicts`.
    small : bool
        Clear, but within the alike margin.
    lines : Lines
        The three half-widths. [%]
    scope : str
        "readings", "specimens" or "models".
    assumed : tuple of Assumption
        Declared defaults that enter.
    missing : tuple of str
        Codes of the inputs without which there is no interval.
    mountings_to_separate : MountingsToSeparate or None
        Totals; None where the verdict is not `inside`.
    resolvable_ratio : float
        Smallest ratio that this pair would show in four cases of five. [1]
    largest_term : str
        Kind of the largest input that more mountings do not lower.
    result : MeasurementResult or None
        The ratio with its inputs.
    """

    ratio: float
    low: float
    high: float
    coverage: float
    coverage_factor: float
    dof: float
    ln_expanded_uncertainty: float
    verdict: str
    small: bool
    lines: Lines
    scope: str
    assumed: tuple[Assumption, ...] = ()
    missing: tuple[str, ...] = ()
    mountings_to_separate: MountingsToSeparate | None = None
    resolvable_ratio: float = math.nan
    largest_term: str = ""
    result: MeasurementResult | None = field(default=None, repr=False)

    @property
    def budget(self) -> pd.DataFrame:
        """Uncertainty budget of the ratio, largest part first; empty without an answer."""
        import pandas as pd  # heavy, and only a table needs it

        return pd.DataFrame() if self.result is None else self.result.budget


@dataclass(frozen=True, eq=False)
class PairInputs:
    """What `compare_pair` needs of two lamps.

    Attributes
    ----------
    ln_values : tuple of float
        ln of the first and the second value. [1]
    sensitivities : ndarray, shape (2, n)
        Of both to every input. [1/unit]
    inputs : sequence of InputQuantity, length n
        The inputs.
    kinds : ndarray of str, shape (n,)
        Kind of each.
    mounting_sd : float
        Standard deviation of one mounting in ln. [1]
    """

    ln_values: tuple[float, float]
    sensitivities: Array
    inputs: Sequence[InputQuantity]
    kinds: NDArray[np.str_]
    mounting_sd: float


def compare_pair(
    pair: PairInputs,
    *,
    scope: str,
    coverage: float,
    alike_percent: float,
    coverage_factor: float | None = None,
    assumed: tuple[Assumption, ...] = (),
    missing: tuple[str, ...] = (),
) -> ReadingComparison:
    """Return the ratio first/second with its lines and verdict.

    Parameters
    ----------
    pair : PairInputs
        The two lamps.
    scope : {"readings", "specimens", "models"}
        Which inputs count.
    coverage : float
        Coverage probability. [1]
    alike_percent : float
        Alike margin. [%]
    coverage_factor : float, optional
        Simultaneous factor of a family of comparisons; Student's where not given. [1]
    assumed : tuple of Assumption
        Declared defaults that enter.
    missing : tuple of str
        Inputs without which there is no interval.

    Returns
    -------
    ReadingComparison
        The comparison.

    Raises
    ------
    ValueError
        If the scope has another name.
    """
    if scope not in SCOPE_KINDS:
        message = f"scope must be one of {', '.join(SCOPE_KINDS)}; got {scope!r}"
        raise ValueError(message)
    result = _contrast(pair, SCOPE_KINDS[scope], coverage)
    k = result.coverage_factor if coverage_factor is None else coverage_factor
    half = k * result.standard_uncertainty
    if missing:
        half = math.nan
    verdict = judge(result.value, half, alike_percent=alike_percent)
    return ReadingComparison(
        ratio=exp_symmetric(result.value),
        low=exp_symmetric(result.value - half),
        high=exp_symmetric(result.value + half),
        coverage=coverage,
        coverage_factor=k,
        dof=result.dof,
        ln_expanded_uncertainty=half,
        verdict=verdict.code,
        small=verdict.small,
        lines=_lines(pair, coverage) if not missing else Lines(math.nan, math.nan, math.nan),
        scope=scope,
        assumed=_with_gain(pair, scope, result, k, assumed),
        missing=missing,
        mountings_to_separate=_separate(pair, verdict, result, coverage, scope),
        resolvable_ratio=resolvable_ratio(result.standard_uncertainty / math.sqrt(2.0), 1, coverage=coverage)
        if not missing
        else math.nan,
        largest_term=_largest_term(pair, scope),
        result=None if missing else result,
    )


def _select(pair: PairInputs, kinds: frozenset[str] | set[str]) -> tuple[Array, list[InputQuantity]]:
    """Return the sensitivities and inputs of some kinds that act on the pair at all."""
    keep = np.isin(pair.kinds, list(kinds)) & (pair.sensitivities != 0.0).any(axis=0)
    return pair.sensitivities[:, keep], [pair.inputs[int(i)] for i in np.flatnonzero(keep)]


def _contrast(pair: PairInputs, kinds: frozenset[str] | set[str], coverage: float) -> MeasurementResult:
    sensitivities, inputs = _select(pair, kinds)
    joint = combine(list(pair.ln_values), sensitivities, inputs, names=["first", "second"], coverage=coverage)
    return joint.contrast({"first": 1.0, "second": -1.0})


def _with_gain(
    pair: PairInputs, scope: str, result: MeasurementResult, k: float, assumed: tuple[Assumption, ...]
) -> tuple[Assumption, ...]:
    """Return the assumptions, the step between two ranges among them where it enters, with what one range gives."""
    rest = tuple(a for a in assumed if a.name != RANGE_GAIN_NAME)
    gain, _ = _select(pair, SCOPE_KINDS[scope] & {"range gain"})
    if not np.ptp(gain, axis=0).any():
        return rest
    locked = _contrast(_one_range(pair), SCOPE_KINDS[scope], result.coverage).standard_uncertainty
    one, two = (100.0 * k * u for u in (locked, result.standard_uncertainty))
    words = f"limit; both on one locked range would give ± {one:.1f} % instead of ± {two:.1f} %"
    return (*rest, Assumption(RANGE_GAIN_NAME, RANGE_GAIN_PERCENT, "%", words))


def _one_range(pair: PairInputs) -> PairInputs:
    """Return a pair as if each meter had stood on the highest of its ranges: no step, and one range term."""
    terms: dict[str, list[int]] = {}
    for i in np.flatnonzero(pair.kinds == "range term"):
        terms.setdefault(str(pair.inputs[int(i)].name[1]), []).append(int(i))  # type: ignore[index]
    sensitivities, gone = pair.sensitivities.copy(), pair.kinds == "range gain"
    for columns in terms.values():
        top = max(columns, key=lambda i: pair.inputs[i].standard_uncertainty)
        sensitivities[:, top] = pair.sensitivities[:, columns].sum(axis=1)
        gone[[i for i in columns if i != top]] = True
    kept = np.flatnonzero(~gone)
    return replace(
        pair,
        sensitivities=sensitivities[:, kept],
        inputs=[pair.inputs[int(i)] for i in kept],
        kinds=pair.kinds[kept],
    )


def _lines(pair: PairInputs, coverage: float) -> Lines:
    """Return the three half-widths."""
    meter = _contrast(pair, METER_KINDS, coverage)
    bench = _contrast(pair, BENCH_KINDS, coverage)
    unshared = _contrast(pair, BENCH_KINDS - COMMON_KINDS, coverage)
    sensitivities, inputs = _select(pair, COMMON_KINDS)
    u = np.array([q.standard_uncertainty for q in inputs])
    alone = float(((sensitivities * u) ** 2).sum()) if len(inputs) else 0.0
    apart = bench.coverage_factor * math.sqrt(unshared.standard_uncertainty**2 + alone)
    return Lines(100.0 * meter.expanded_uncertainty, 100.0 * bench.expanded_uncertainty, 100.0 * apart)


def _separate(
    pair: PairInputs, verdict: Verdict, result: MeasurementResult, coverage: float, scope: str
) -> MountingsToSeparate | None:
    """Return how many mountings would separate a pair that is inside the bench uncertainty."""
    if verdict.code != "inside" or scope == "readings":
        return None
    floor = _contrast(pair, SCOPE_KINDS[scope] - {"mounting"}, coverage).standard_uncertainty
    return mountings_to_separate(result.value, pair.mounting_sd, floor, coverage=coverage)


def _largest_term(pair: PairInputs, scope: str) -> str:
    """Return the kind of input with the largest variance that mountings do not lower."""
    difference = pair.sensitivities[0] - pair.sensitivities[1]
    total: dict[str, float] = {}
    for kind, c, q in zip(pair.kinds, difference, pair.inputs, strict=True):
        if c != 0.0 and kind in SCOPE_KINDS[scope] and kind != "mounting":
            total[str(kind)] = total.get(str(kind), 0.0) + float((c * q.standard_uncertainty) ** 2)
    return max(total, key=lambda kind: total[kind]) if total else ""
