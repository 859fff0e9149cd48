"""One ratio of two lamps with its three lines, its scope and what would separate them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from photolab.bench.instruments import RANGE_GAIN_NAME, RANGE_GAIN_PERCENT
from photolab.bench.model import Assumption
from photolab.bench.shared_inputs import COMMON_KINDS, term_of
from photolab.bench.verdicts import MountingsToSeparate, Verdict, judge, mountings_to_separate
from photolab.metrology.planning import resolvable_ratio
from photolab.metrology.quantity import Input, Measured, coverage_factor, exp_symmetric
from photolab.metrology.reporting import with_ends

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Lines:
    """Half-widths of the coverage interval of a ratio, in ln times 100.

    Attributes
    ----------
    meter_only : float
        Scope *readings*: what the meter brings. [%]
    this_bench : float
        Scope *specimens*: that and seating, day, supply, time. [%]
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
        Of the interval; the factor is its half-width in ln over the standard uncertainty. [1]
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
        What the largest input is that more mountings do not lower.
    result : Measured or None
        ln of the ratio with its inputs.
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
    result: Measured | None = field(default=None, repr=False)

    def __repr__(self) -> str:
        told = with_ends(self.ratio, self.low, self.high)
        return f"ReadingComparison({told} at {100.0 * self.coverage:g} %, {self.verdict}, {self.scope})"

    @property
    def budget(self) -> pd.DataFrame:
        """Uncertainty budget of the ratio, largest part first; empty without an answer."""
        import pandas as pd  # heavy, and only a table needs it

        return pd.DataFrame() if self.result is None else self.result.budget()


def compare_pair(
    first: Measured,
    second: Measured,
    *,
    scope: str,
    coverage: float,
    alike_percent: float,
    mounting_sd: float,
    assumed: tuple[Assumption, ...] = (),
    missing: tuple[str, ...] = (),
    widening: float = 0.0,
) -> ReadingComparison:
    """Return the ratio first/second with its lines and verdict.

    Parameters
    ----------
    first, second : Measured
        ln of the light of the two lamps, with every input. [ln lx]
    scope : {"readings", "specimens", "models"}
        Which inputs count.
    coverage : float
        Coverage probability. [1]
    alike_percent : float
        Alike margin. [%]
    mounting_sd : float
        Standard deviation of one mounting in ln. [1]
    assumed : tuple of Assumption
        Declared defaults that enter.
    missing : tuple of str
        Inputs without which there is no interval.
    widening : float, default 0
        Half-width in ln of bounds that are no distribution: added to that of the interval in full. [1]

    Returns
    -------
    ReadingComparison
        The comparison.

    Raises
    ------
    ValueError
        If the scope has another name.
    """
    whole = first - second
    result = whole.in_scope(scope)
    half = math.nan if missing else result.half_width(coverage) + widening
    verdict = judge(result.value, half, alike_percent=alike_percent)
    return ReadingComparison(
        ratio=exp_symmetric(result.value),
        low=exp_symmetric(result.value - half),
        high=exp_symmetric(result.value + half),
        coverage=coverage,
        coverage_factor=result.half_width(coverage) / result.u if result.u else coverage_factor(coverage),
        dof=result.dof,
        ln_expanded_uncertainty=half,
        verdict=verdict.code,
        small=verdict.small,
        lines=Lines(math.nan, math.nan, math.nan) if missing else _lines(first, second, coverage),
        scope=scope,
        assumed=_with_gain(result, coverage, assumed),
        missing=missing,
        mountings_to_separate=_separate(verdict, result, mounting_sd, coverage, scope),
        resolvable_ratio=math.nan
        if missing
        else resolvable_ratio(result.u / math.sqrt(2.0), 1, coverage=coverage),
        largest_term=_largest_term(result),
        result=None if missing else result,
    )


def _with_gain(result: Measured, coverage: float, assumed: tuple[Assumption, ...]) -> tuple[Assumption, ...]:
    """Return the assumptions, the step between two ranges among them where it enters, with what one range gives."""
    rest = tuple(a for a in assumed if a.name != RANGE_GAIN_NAME)
    if not result.only("range gain").u:
        return rest
    one, two = (100.0 * x.half_width(coverage) for x in (_one_range(result), result))
    words = f"limit; both on one locked range would give ± {one:.1f} % instead of ± {two:.1f} %"
    return (*rest, Assumption(RANGE_GAIN_NAME, RANGE_GAIN_PERCENT, "%", words))


def _one_range(result: Measured) -> Measured:
    """Return a ratio as if each meter had stood on the highest of its ranges: no step, and one range term."""
    parts: dict[Input, float] = {}
    tops: dict[object, Input] = {}
    for q, c in result.parts.items():
        if q.kind == "range gain":
            continue
        if term_of(q) == "range term" and isinstance(q.name, tuple):
            top = tops.get(q.name[1], q)
            joined = parts.pop(top, 0.0) + c
            top = max(top, q, key=lambda x: x.u)
            tops[q.name[1]], parts[top] = top, joined
        else:
            parts[q] = c
    return replace(result, parts=parts, ends=None)


def _lines(first: Measured, second: Measured, coverage: float) -> Lines:
    """Return the three half-widths."""
    apart = _unshared(first, "first") - _unshared(second, "second")
    three = (
        (first - second).in_scope("readings"),
        (first - second).in_scope("specimens"),
        apart.in_scope("specimens"),
    )
    return Lines(*(100.0 * line.half_width(coverage) for line in three))


def _unshared(lamp: Measured, side: str) -> Measured:
    """Return a lamp whose scale and range inputs are its own."""
    parts = {
        replace(q, name=(side, q.name)) if q.kind in COMMON_KINDS else q: c for q, c in lamp.parts.items()
    }
    return replace(lamp, parts=parts)


def _separate(
    verdict: Verdict, result: Measured, mounting_sd: float, coverage: float, scope: str
) -> MountingsToSeparate | None:
    """Return how many mountings would separate a pair that is inside the bench uncertainty."""
    if verdict.code != "inside" or scope == "readings":
        return None
    floor = result.without("seating").u
    return mountings_to_separate(result.value, mounting_sd, floor, coverage=coverage)


def _largest_term(result: Measured) -> str:
    """Return what the largest input is that mountings do not lower."""
    total = variance_by_term(result.without("seating"))
    return max(total, key=lambda term: total[term]) if any(total.values()) else ""


def variance_by_term(result: Measured) -> dict[str, float]:
    """Return the variance that inputs of one sort bring together.

    Parameters
    ----------
    result : Measured
        Of inputs whose names begin with what they are: ("scale", "M1").

    Returns
    -------
    dict
        By the first word of the names; zero for what cancels. [unit²]
    """
    total: dict[str, float] = {}
    for q, c in result.parts.items():
        total[term_of(q)] = total.get(term_of(q), 0.0) + (c * q.u) ** 2
    return total
