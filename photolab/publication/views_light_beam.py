"""What the notebook on beams shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from photolab.bench.beams import BeamResult, Beams, evaluate_beams
from photolab.bench.model import Bench
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal
from photolab.publication import words_light_beam as words
from photolab.publication.display import Table, Words, say, table

__all__ = [
    "Patterns",
    "aims",
    "answer",
    "budget",
    "cautions",
    "cutoffs",
    "look",
    "measurands",
    "second_way",
    "without_range_term",
]  # fmt: skip

NO_BEAM = "This folder has no beam.csv, so nothing is known of where the light goes: only of one place in it."
NO_PAIR = (
    "No lamp has its beam measured beside the baseline's in one housing, so there is nothing to divide by."
)


@dataclass(frozen=True, eq=False)
class Patterns:
    """The beams of one lamp beside the baseline's.

    Parameters
    ----------
    bench : Bench
        The bench.
    beams : Beams
        All its beams.
    results : tuple of BeamResult
        Those of the lamp, one a housing, with a baseline beam to be divided by; empty where there are none.
    """

    bench: Bench
    beams: Beams
    results: tuple[BeamResult, ...]

    @property
    def missing(self) -> Words:
        """Why there is nothing to show."""
        if not len(self.bench.tables["beam"]):
            return say(NO_BEAM)
        refused = [*self.beams.refusals, *(r for one in self.beams.results for r in one.refusals)]
        return say(NO_PAIR, *(f"{r.run}: {r.message}." for r in refused))


def look(bench: Bench, *, lamp: str | None = None) -> Patterns:
    """Return what the views below show.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str, optional
        Which; the first lamp with a beam beside the baseline's where it is not given.

    Returns
    -------
    Patterns
        One lamp in all housings.
    """
    beams = evaluate_beams(bench)
    known = [one for one in beams.results if one.reference is not None]
    name = lamp or (known[0].lamp if known else "")
    return Patterns(bench, beams, tuple(one for one in known if one.lamp == name))


def answer(patterns: Patterns) -> Words:
    """Return the three measurands of each housing.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Words
        One paragraph a housing.
    """
    if not patterns.results:
        return patterns.missing
    return say(*(words.result_words(one) for one in patterns.results))


def measurands(patterns: Patterns) -> Table | Words:
    """Return the three measurands of each housing with both intervals.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Table or Words
        One row a housing and measurand.
    """
    rows = [
        {
            "housing": one.housing,
            "what": words.MEASURAND_WORDS[ratio.measurand],
            "own": f"{_figure(ratio.own)} {ratio.unit}",
            "reference": f"{_figure(ratio.reference)} {ratio.unit}",
            "ratio": ratio.value,
            "seated": words.interval_words(ratio.low, ratio.high),
            "wide": words.interval_words(*ratio.seated_again.interval(ratio.coverage)),
        }
        for one in patterns.results
        for ratio in one.ratios
    ]
    if not rows:
        return patterns.missing
    lamp, base = patterns.results[0].lamp, patterns.results[0].baseline
    heads = {
        "housing": "housing",
        "what": "what",
        "own": f"{lamp}, apparent",
        "reference": f"{base}, apparent",
        "ratio": "ratio",
        "seated": f"as seated ({100.0 * patterns.bench.settings.coverage:g} %)",
        "wide": f"with seating once each ({100.0 * patterns.bench.settings.coverage:g} %)",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads, places=3)


def _figure(value: float) -> str:
    """Return a value with three figures."""
    return decimal(value, 2 - math.floor(math.log10(value))) if value > 0 else "0"


def budget(patterns: Patterns) -> Table | Words:
    """Return what may be off in each measurand, half-widths at the declared coverage, to first order.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Table or Words
        One row a cause, a column a housing and measurand.
    """
    columns = {
        f"{one.housing}, {words.MEASURAND_WORDS[ratio.measurand]}": ratio.parts
        for one in patterns.results
        for ratio in one.ratios
    }
    if not columns:
        return patterns.missing
    causes = [c for c in words.CAUSE_WORDS if any(parts.get(c, 0.0) > 5e-5 for parts in columns.values())]
    frame = pd.DataFrame({"what": [words.CAUSE_WORDS[c] for c in causes]})
    k = coverage_factor(patterns.bench.settings.coverage)
    for name, parts in columns.items():
        frame[name] = [100.0 * k * parts.get(c, 0.0) for c in causes]
    heads = {"what": "what may be off (± %)"}
    return table(frame, heads=heads, places=1)


def without_range_term(patterns: Patterns) -> Table | Words:
    """Return the measurands when only the dark reading stands for the range term.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Table or Words
        Both intervals side by side.
    """
    if not patterns.results:
        return patterns.missing
    bare = evaluate_beams(patterns.bench, range_term=False)
    rows = []
    for one in patterns.results:
        other = bare.find(one.lamp, one.housing)
        for ratio in one.ratios if other is not None else ():
            then = other.ratio(ratio.measurand) if other is not None else ratio
            ends = [words.interval_words(r.low, r.high) for r in (ratio, then)]
            what = words.MEASURAND_WORDS[ratio.measurand]
            rows.append({"housing": one.housing, "what": what, "with": ends[0], "without": ends[1]})
    if not rows:
        return patterns.missing
    heads = {
        "housing": "housing",
        "what": "what",
        "with": f"range term of the manual ({100.0 * patterns.bench.settings.coverage:g} %)",
        "without": f"dark reading alone ({100.0 * patterns.bench.settings.coverage:g} %)",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads)


def cutoffs(patterns: Patterns) -> Words:
    """Return height and sharpness of each cut-off.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Words
        One sentence a lamp and housing.
    """
    if not patterns.results:
        return patterns.missing
    pairs = [(lamp, one.housing) for one in patterns.results for lamp in (one.baseline, one.lamp)]
    found = [(lamp, housing, patterns.beams.find(lamp, housing)) for lamp, housing in pairs]
    said = [
        words.cutoff_words(lamp, housing, one.cutoff, coverage=patterns.bench.settings.coverage)
        for lamp, housing, one in found
        if one is not None
    ]
    return say(*said, bullets=True)


def aims(patterns: Patterns) -> Words:
    """Return how far each pattern is turned against the baseline's.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Words
        One paragraph a housing.
    """
    if not patterns.results:
        return patterns.missing
    return say(*(words.aim_words(one) for one in patterns.results))


def cautions(patterns: Patterns) -> Words:
    """Return what must be said with these beams.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Words
        A list; first what was noticed on these grids.
    """
    noticed = [
        f"{one.lamp} in housing {one.housing}: {words.CODE_WORDS.get(code, code)}."
        for one in patterns.results
        for code in one.codes
    ]
    refused = [f"{r.run}: {r.message}." for r in patterns.beams.refusals]
    return say(*noticed, *refused, *words.CAUTIONS, bullets=True)


def second_way(patterns: Patterns) -> Table | Words:
    """Return the intervals by the law of propagation beside those that were drawn.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Table or Words
        One row a housing and measurand, with the difference judged.
    """
    rows = []
    for one in patterns.results:
        for ratio in one.ratios:
            half = coverage_factor(ratio.coverage) * ratio.as_seated.u / ratio.value
            ends = [ratio.value * math.exp(sign * half) for sign in (-1.0, 1.0)]
            away = max(abs(math.log(a / b)) for a, b in zip(ends, (ratio.low, ratio.high), strict=True))
            judged = "agree" if away < 0.1 * half else "drawn one stands"
            rows.append(
                {
                    "housing": one.housing,
                    "what": words.MEASURAND_WORDS[ratio.measurand],
                    "linear": words.interval_words(*ends),
                    "drawn": words.interval_words(ratio.low, ratio.high),
                    "judged": judged,
                }
            )
    if not rows:
        return patterns.missing
    heads = {
        "housing": "housing",
        "what": "what",
        "linear": f"law of propagation ({100.0 * patterns.bench.settings.coverage:g} %)",
        "drawn": f"drawn, 100 000 trials ({100.0 * patterns.bench.settings.coverage:g} %)",
        "judged": "judged",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads)
