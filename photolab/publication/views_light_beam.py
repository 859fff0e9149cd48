"""What the notebook on beams shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.beam_grids import BeamRun
from photolab.bench.beams import BeamResult, Beams, evaluate_beams
from photolab.bench.model import Bench
from photolab.metrology.reporting import decimal
from photolab.publication import words_light_beam as words
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import beam_pair, beam_ratio, vertical_cut
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented

__all__ = [
    "Patterns",
    "aims",
    "answer",
    "budget",
    "cautions",
    "cut_picture",
    "cutoffs",
    "look",
    "map_picture",
    "measurands",
    "pair_picture",
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


def pair_picture(patterns: Patterns) -> Picture | Words:
    """Return the baseline's and the lamp's beam side by side, one row a housing.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        As the lamp sees the wall.
    """
    results = patterns.results
    if not results:
        return patterns.missing
    rows = len(results)
    figure, panels = new_figure(rows, 2, width=7.4, height=0.6 + 2.35 * rows, share_x=True, share_y=True)
    said = []
    for row, one in enumerate(results):
        for column, run in enumerate((one.reference, one.beam)):
            if run is None:
                continue
            peak = float(run.grid.intensity.max())
            title = f"{run.lamp} in {run.housing}, peak {decimal(peak / 1000.0, 1)} kcd"
            edge = (row == rows - 1, column == 0)
            beam_pair.draw(panels[2 * row + column], _beam_table(run), title=title, edge=edge)
            said.append(f"{title} apparent")
    alt = (
        "Beam patterns on white ground, darker where there is more light, contours at 1, 5, 20, 50 and 80 % of each "
        f"own peak, as the lamp sees the wall: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def _beam_table(run: BeamRun) -> pd.DataFrame:
    """Return a beam as rows, in per cent of its own peak."""
    h, v = np.meshgrid(run.grid.horizontal, run.grid.vertical)
    percent = 100.0 * run.grid.intensity / run.grid.intensity.max()
    return pd.DataFrame({"horizontal_deg": h.ravel(), "vertical_deg": v.ravel(), "percent": percent.ravel()})


def map_picture(patterns: Patterns) -> Picture | Words:
    """Return where the lamp gives more and where less than the baseline, a panel a housing.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        One map a housing; cells whose difference is within their own doubt stay white.
    """
    results = patterns.results
    if not results:
        return patterns.missing
    figure, panels = new_figure(1, len(results), width=3.8 * max(2, len(results)), height=3.0, share_y=True)
    said = []
    for number, (axes, one) in enumerate(zip(panels, results, strict=True)):
        found = one.map()
        h, v = np.meshgrid(found.horizontal, found.vertical)
        cells = {"ratio": found.ratio.ravel(), "resolved": found.resolved.ravel()}
        rows = pd.DataFrame({"horizontal_deg": h.ravel(), "vertical_deg": v.ravel(), **cells})
        title = f"{one.lamp} over {one.baseline} in {one.housing}"
        last = number == len(results) - 1
        beam_ratio.draw(axes, rows, title=title, edge=(True, number == 0), bar=last)
        ends = [decimal(float(f(found.ratio)), 2) for f in (np.nanmin, np.nanmax)]
        said.append(f"{title} from {ends[0]} to {ends[1]} times")
    alt = (
        "Maps of one beam over the other, violet where the lamp gives more and orange where it gives less, contours at "
        f"simple factors: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def cut_picture(patterns: Patterns) -> Picture | Words:
    """Return the vertical scans of both lamps, a panel a housing, cut-offs marked.

    Parameters
    ----------
    patterns : Patterns
        The beams.

    Returns
    -------
    Picture or Words
        Intensity over height on a logarithmic scale.
    """
    drawn = [(one, rows) for one in patterns.results if len(rows := _cut_table(patterns, one))]
    if not drawn:
        return (
            patterns.missing if not patterns.results else say("No vertical scan is on file: nothing to draw.")
        )
    figure, panels = new_figure(1, len(drawn), width=3.8 * max(2, len(drawn)), height=3.2, share_y=True)
    said = []
    for number, (axes, (one, rows)) in enumerate(zip(panels, drawn, strict=True)):
        vertical_cut.draw(axes, rows, title=f"housing {one.housing}", first=number == 0)
        for lamp, block in rows.groupby("lamp", sort=False):
            said.append(
                f"{lamp} in {one.housing} falls fastest at {decimal(float(block['height_deg'].iloc[0]), 2)}°"
            )
    alt = (
        f"Vertical cuts through the beams on a logarithmic scale with the cut-off marked: {'; '.join(said)}."
    )
    return picture(figure, alt=alt, invented=is_invented(patterns.bench))


def _cut_table(patterns: Patterns, one: BeamResult) -> pd.DataFrame:
    """Return the scans of the baseline and the lamp in a housing as rows."""
    parts = []
    for lamp in (one.baseline, one.lamp):
        scan = next((s for s in patterns.beams.scans if (s.lamp, s.housing) == (lamp, one.housing)), None)
        found = patterns.beams.find(lamp, one.housing)
        if scan is None or found is None:
            continue
        height = math.nan if found.cutoff is None else found.cutoff.height
        rows = {"vertical_deg": scan.vertical, "intensity_kcd": scan.intensity / 1000.0}
        parts.append(pd.DataFrame({"lamp": lamp, **rows, "height_deg": height}))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


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
            "wide": words.interval_words(ratio.seated_low, ratio.seated_high),
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
        "seated": "as seated (95 %)",
        "wide": "with seating once each (95 %)",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads, places=3)


def _figure(value: float) -> str:
    """Return a value with three figures."""
    return decimal(value, 2 - math.floor(math.log10(value))) if value > 0 else "0"


def budget(patterns: Patterns) -> Table | Words:
    """Return what may be off in each measurand, half-widths at 95 %, to first order.

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
    for name, parts in columns.items():
        frame[name] = [100.0 * 1.959964 * parts.get(c, 0.0) for c in causes]
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
    heads = {
        "housing": "housing",
        "what": "what",
        "with": "range term of the manual (95 %)",
        "without": "dark reading alone (95 %)",
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
    said = [words.cutoff_words(lamp, housing, one.cutoff) for lamp, housing, one in found if one is not None]
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
            own = [u for cause, u in ratio.parts.items() if cause != "seating"]
            half = 1.959964 * math.hypot(*own)
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
        "linear": "law of propagation (95 %)",
        "drawn": "drawn, 100 000 trials (95 %)",
        "judged": "judged",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads)
