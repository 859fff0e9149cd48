"""Sentences on beams: measurands, cut-off, aim, cautions."""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from photolab.bench.beam_grids import BeamRun
from photolab.bench.beam_ratios import BeamRatio
from photolab.bench.beams import BeamResult, Beams
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal, published_ends, with_uncertainty
from photolab.photometry.beam import RatioMap
from photolab.publication import statements

MEASURAND_WORDS = {
    "hot spot": "hot spot",
    "window flux": "light in the whole window",
    "above cut-off": "light above the cut-off",
}
CAUSE_WORDS = {
    "range term": "range term of the meter",
    "gain": "step between two ranges",
    "linearity": "linearity of the meter",
    "scale": "scale of the meter",
    "scatter": "scatter and last figure of readings",
    "colour": "colour of the light",
    "supply": "supply of the filament lamp",
    "upper limits": "cells that are only upper limits",
    "step": "step of the grid",
    "seating": "seating each lamp once",
}
CAUTIONS = (
    "The pattern is that of one lamp of each kind, seated once in this housing; another seating turns it, and a few "
    "tenths of a degree can change the light above the cut-off by a large factor.",
    "More light in the hot spot and more light above the cut-off are two results. They are not added up, and neither "
    "makes up for the other.",
    "Nothing here is a test against a regulation: no test point is read, the wall is close, and the comparison is with "
    "the bench's own baseline.",
    "The hot spot is the largest cell of each grid, searched again for each lamp. The true peak lies between cells, "
    "and the largest of many readings is a little too large.",
)
"""What must be said with every beam result."""
CODE_WORDS = {
    "no_kink": "no rise of the cut-off to one side is seen on this grid",
    "kink_on_wrong_side": "the cut-off rises on the other side than the declared traffic",
    "no_cutoff": "no column of the grid shows a cut-off",
    "shapes_differ": "the two patterns do not match under any shift",
    "at_limit": "the shift reached the limit of the search",
    "upper_limits": "some cells are only upper limits",
}


def interval_words(low: float, high: float) -> str:
    """Return an interval of a ratio: "12 to 33 % more", or from a factor of two on "1.1 to 3.0 times"."""
    ends = published_ends(low, high)
    if ends[1] >= 2.0:
        return f"{decimal(ends[0], 2)} to {decimal(ends[1], 2)} times"
    return statements.ends_words(low, high, 1.0)  # whole per cent


def _ratio_words(one: BeamRatio) -> str:
    """Return one measurand with its interval as seated, as part of a sentence."""
    value = f"{decimal(one.value, 2)} times" if one.high >= 2.0 else statements.percent_of(one.value, 0)
    return f"{MEASURAND_WORDS[one.measurand]} {value} ({interval_words(one.low, one.high)})"


def ratio_cells(result: BeamResult, one: BeamRatio) -> dict[str, str | float]:
    """Return one measurand as cells of a table, by their heads."""
    percent = f"{100.0 * one.coverage:g} %"
    return {
        "lamp": result.lamp,
        "housing": result.housing,
        "what": MEASURAND_WORDS[one.measurand],
        "apparent": f"{_figure(one.own)} {one.unit}",
        f"{result.baseline}, apparent": f"{_figure(one.reference)} {one.unit}",
        "ratio": one.value,
        f"as seated ({percent})": interval_words(one.low, one.high),
        f"with seating once each ({percent})": interval_words(*one.seated_again.interval(one.coverage)),
    }


def _figure(value: float) -> str:
    """Return a value with three figures."""
    return decimal(value, 2 - math.floor(math.log10(value))) if value > 0 else "0"


def ways_cells(
    result: BeamResult, one: BeamRatio, *, ratio: float, bare: BeamRatio
) -> dict[str, str | float]:
    """Return a measurand by other ways as cells of a table: a plain sum, no range term, the law of propagation."""
    half = coverage_factor(one.coverage) * one.as_seated.u / one.value
    ends = [one.value * math.exp(sign * half) for sign in (-1.0, 1.0)]
    away = max(abs(math.log(a / b)) for a, b in zip(ends, (one.low, one.high), strict=True))
    return {
        "housing": result.housing,
        "what": MEASURAND_WORDS[one.measurand],
        "ratio": one.value,
        "by a plain sum": ratio,
        "drawn": interval_words(one.low, one.high),
        "law of propagation": interval_words(*ends),
        "judged": "agree" if away < 0.1 * half else "drawn one stands",
        "dark reading alone": interval_words(bare.low, bare.high),
    }


def result_words(result: BeamResult) -> str:
    """Return the three measurands of a lamp in a housing, or why there are none."""
    where = f"{result.lamp} against {result.baseline} in housing {result.housing}"
    if not result.ratios:
        return f"{where}: no ratio. {' '.join(r.message[:1].upper() + r.message[1:] + '.' for r in result.refusals)}"
    said = "; ".join(_ratio_words(one) for one in result.ratios)
    percent = f"{100.0 * result.ratios[0].coverage:g}"
    return f"{where}: {said}. At {percent} %, for these readings as seated."


def cutoff_words(result: BeamResult, *, coverage: float) -> str:
    """Return height and sharpness of a lamp's cut-off."""
    found, k = result.cutoff, coverage_factor(coverage)
    if found is None:
        said = "the light does not fall along the cut, so there is no cut-off to read"
    elif found.code:
        said = f"no sharpness; {found.message}"
    else:
        height = with_uncertainty(found.height, k * found.height_uncertainty)
        sharp = with_uncertainty(found.sharpness, k * found.sharpness_uncertainty)
        said = (
            f"height {height}° at {decimal(found.horizontal, 1)}° to the right, sharpness G {sharp}: over a tenth of a "
            f"degree the light falls by a factor of {decimal(10.0**found.sharpness, 2)}"
        )
    return f"{result.lamp} in housing {result.housing}: {said}."


def aim_words(result: BeamResult) -> str:
    """Return how far a pattern is turned against the baseline's."""
    where, aim = f"{result.lamp} in housing {result.housing}", result.aim
    if aim is None:
        return f"{where}: no aim to compare."
    h, v = aim.horizontal, aim.vertical
    across, up = f"{decimal(abs(h), 2)}° to the {'right' if h > 0 else 'left'}", decimal(abs(v), 2)
    fifth = (aim.horizontal_step / 5.0, aim.vertical_step / 5.0)  # less than that a grid cannot tell
    beyond = abs(h) > fifth[0] or abs(v) > fifth[1]
    told = "they are aimed differently" if beyond else "no difference of aim is shown"
    return (
        f"{where}: turned {across} and {up}° {'up' if v > 0 else 'down'} against {result.baseline}; a fifth of the "
        f"grid's step is {decimal(fifth[0], 2)}° and {decimal(fifth[1], 2)}°, so {told}. After the shift "
        f"{decimal(100.0 * aim.misfit, 1)} % of the peak is left as a difference in shape."
    )


def caution_words(beams: Beams) -> tuple[str, ...]:
    """Return what was noticed on the grids and what was refused, then what must be said with every beam result."""
    said = [(x.lamp, x.housing, CODE_WORDS.get(code, code)) for x in beams.results for code in x.codes]
    refused = [*beams.refusals, *(r for one in beams.results for r in one.refusals)]
    said += [(one.lamp, one.housing, one.message) for one in refused]
    return (*(f"{lamp} in housing {housing}: {words}." for lamp, housing, words in said), *CAUTIONS)


def pair_words(runs: Iterable[BeamRun]) -> str:
    """Return the key numbers of the figure of beams, for those who do not see it."""
    said = "; ".join(
        f"{run.lamp} in {run.housing}, peak {decimal(float(run.grid.intensity.max()) / 1000.0, 1)} kcd apparent"
        for run in runs
    )
    return (
        f"Beam patterns on white ground, darker where there is more light, contours at 1, 5, 20, 50 and 80 % of each "
        f"own peak, as the lamp sees the wall: {said}."
    )


def map_words(maps: Mapping[str, RatioMap]) -> str:
    """Return the key numbers of the figure of ratios, for those who do not see it."""
    said = "; ".join(
        f"{title} from {decimal(float(np.nanmin(one.ratio)), 2)} to {decimal(float(np.nanmax(one.ratio)), 2)} times"
        for title, one in maps.items()
    )
    return (
        f"Maps of one beam over the other, violet where the lamp gives more and orange where it gives less, contours "
        f"at simple factors: {said}."
    )


def cut_words(cuts: Mapping[str, Mapping[str, tuple[object, object, float]]]) -> str:
    """Return the key numbers of the figure of cuts, by housing and lamp, for those who do not see it."""
    said = "; ".join(
        f"{lamp} in {housing} falls fastest at {decimal(height, 2)}°"
        for housing, lamps in cuts.items()
        for lamp, (_, _, height) in lamps.items()
    )
    return f"Vertical cuts through the beams on a logarithmic scale with the cut-off marked: {said}."
