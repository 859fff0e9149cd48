"""One ratio of two lamps with its three lines, its scope and what would separate them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from photolab.bench.inputs.shared_inputs import COMMON_KINDS, term_of
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.instruments import RANGE_GAIN_NAME, RANGE_GAIN_PERCENT
from photolab.bench.terms.verdicts import MountingsToSeparate, judged_cells, mountings_to_separate
from photolab.metrology.planning import resolvable_ratio
from photolab.metrology.quantity import Input, Measured, coverage_factor
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


@dataclass(frozen=True, eq=False, kw_only=True)
class JudgedRatio:
    """A ratio with its interval and its verdict.

    Attributes
    ----------
    ln_ratio : Measured
        ln of the ratio, with the inputs that count. [1]
    coverage : float
        Of the interval. [1]
    alike_percent : float
        Margin within which the two count as alike. [%]
    missing : tuple of str
        Codes of the inputs without which there is no interval.
    widening : float
        Half-width in ln of bounds that are no distribution: added to that of the interval in full. [1]
    ratio, low, high : float
        The estimate and the interval; its ends NaN where an input is missing. [1]
    ln_expanded_uncertainty : float
        Half-width of the interval in ln; NaN where an input is missing. [1]
    verdict, small
        As `verdicts.judge` has them.
    """

    ln_ratio: Measured
    coverage: float
    alike_percent: float
    missing: tuple[str, ...] = ()
    widening: float = 0.0
    ratio: float = field(init=False)
    low: float = field(init=False)
    high: float = field(init=False)
    ln_expanded_uncertainty: float = field(init=False)
    verdict: str = field(init=False)
    small: bool = field(init=False)

    def __post_init__(self) -> None:
        half = math.nan if self.missing else self.ln_ratio.half_width(self.coverage) + self.widening
        told = judged_cells(self.ln_ratio.value, half, alike_percent=self.alike_percent)
        told["ratio"] = told.pop("value")
        for name, cell in told.items():
            object.__setattr__(self, name, cell)


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReadingComparison(JudgedRatio):
    """The ratio of two lamps.

    Attributes
    ----------
    first, second : Measured
        ln of the light of the two lamps, with every input. [ln lx]
    scope : str
        "readings", "specimens" or "models".
    mounting_sd : float
        Standard deviation of one mounting in ln. [1]
    assumed : tuple of Assumption
        Declared defaults that enter.
    """

    first: Measured
    second: Measured
    scope: str
    mounting_sd: float
    assumed: tuple[Assumption, ...] = ()

    def __repr__(self) -> str:
        told = with_ends(self.ratio, self.low, self.high)
        return f"ReadingComparison({told} at {100.0 * self.coverage:g} %, {self.verdict}, {self.scope})"

    @property
    def result(self) -> Measured | None:
        """Ln of the ratio with its inputs; None where one is missing."""
        return None if self.missing else self.ln_ratio

    @property
    def coverage_factor(self) -> float:
        """Half-width of the interval in ln over the standard uncertainty, bounds apart [1]."""
        u = self.ln_ratio.u
        return self.ln_ratio.half_width(self.coverage) / u if u else coverage_factor(self.coverage)

    @property
    def lines(self) -> Lines:
        """The three half-widths; NaN where an input is missing [%]."""
        if self.missing:
            return Lines(math.nan, math.nan, math.nan)
        together = self.first - self.second
        apart = _unshared(self.first, "first") - _unshared(self.second, "second")
        scoped = (together, "readings"), (together, "specimens"), (apart, "specimens")
        return Lines(*(100.0 * one.in_scope(scope).half_width(self.coverage) for one, scope in scoped))

    @property
    def mountings_to_separate(self) -> MountingsToSeparate | None:
        """Totals; None where the verdict is not `inside`, and of the readings alone."""
        if self.verdict != "inside" or self.scope == "readings":
            return None
        seats, rest = self.ln_ratio.only("seating"), self.ln_ratio.without("seating")
        how = {"dof": seats.dof, "floor_dof": rest.dof, "coverage": self.coverage}
        return mountings_to_separate(self.ln_ratio.value, self.mounting_sd, rest.u, **how)

    @property
    def resolvable_ratio(self) -> float:
        """Smallest ratio that this pair would show in four cases of five; NaN where an input is missing [1]."""
        each, how = self.ln_ratio.u / math.sqrt(2.0), {"dof": self.ln_ratio.dof, "coverage": self.coverage}
        return math.nan if self.missing else resolvable_ratio(each, 1, **how)

    @property
    def largest_term(self) -> str:
        """What the largest input is that more mountings do not lower."""
        total = variance_by_term(self.ln_ratio.without("seating"))
        return max(total, key=lambda term: total[term]) if any(total.values()) else ""

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
        Lamps closer than that count as alike. [%]
    mounting_sd : float
        SD of one seating in ln. [1]
    assumed : tuple of Assumption
        Declared defaults that enter.
    missing : tuple of str
        What is not known; the ratio has no interval then.
    widening : float, default 0
        Half-width of bounds that stand beside the interval, in ln. [1]

    Returns
    -------
    ReadingComparison
        The comparison.

    Raises
    ------
    ValueError
        If the scope has another name.
    """
    result = (first - second).in_scope(scope)
    return ReadingComparison(
        ln_ratio=result,
        coverage=coverage,
        alike_percent=alike_percent,
        missing=missing,
        widening=widening,
        first=first,
        second=second,
        scope=scope,
        mounting_sd=mounting_sd,
        assumed=_with_gain(result, coverage, assumed),
    )


def _with_gain(result: Measured, coverage: float, assumed: tuple[Assumption, ...]) -> tuple[Assumption, ...]:
    """Return the assumptions, the step between two ranges among them where it enters, with what one range gives."""
    rest = tuple(a for a in assumed if a.key != RANGE_GAIN_NAME)
    if not any(q.kind == "range gain" and slope for q, slope in result.parts.items()):
        return rest
    one, two = (100.0 * x.half_width(coverage) for x in (_one_range(result), result))
    words = "limit"
    if round(one, 1) < round(two, 1):
        words += f"; both on one locked range would give ± {one:.1f} % instead of ± {two:.1f} %"
    return (*rest, Assumption(RANGE_GAIN_NAME, RANGE_GAIN_PERCENT, "%", words))


def _one_range(result: Measured) -> Measured:
    """Return a ratio as if each meter had stood on the highest of its ranges: no step, and one range term."""
    parts: dict[Input, float] = {}
    tops: dict[object, Input] = {}
    for q, c in result.parts.items():
        if q.kind == "range gain":
            continue
        if q.kind == "range term" and isinstance(q.name, tuple):
            top = tops.get(q.name[1], q)
            joined = parts.pop(top, 0.0) + c
            top = max(top, q, key=lambda x: x.u)
            tops[q.name[1]], parts[top] = top, joined
        else:
            parts[q] = c
    return replace(result, parts=parts, ends=None)


def _unshared(lamp: Measured, side: str) -> Measured:
    """Return a lamp whose scale and range inputs are its own."""
    parts = {
        replace(q, name=(side, q.name)) if q.kind in COMMON_KINDS else q: c for q, c in lamp.parts.items()
    }
    return replace(lamp, parts=parts)


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
