"""Sentences on beams: measurands, cut-off, aim, cautions."""

from __future__ import annotations

from photolab.bench.beam_cutoffs import CutoffReading
from photolab.bench.beam_ratios import ABOVE_HORIZONTAL, ABOVE_VERTICAL, BeamRatio
from photolab.bench.beams import BeamResult
from photolab.metrology.quantity import COVERAGE, coverage_factor
from photolab.metrology.reporting import decimal, published_ends, with_uncertainty
from photolab.photometry.beam import AimOffset
from photolab.publication import statements

__all__ = [
    "CAUSE_WORDS",
    "CAUTIONS",
    "MEASURAND_WORDS",
    "aim_words",
    "cutoff_words",
    "interval_words",
    "ratio_words",
]

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
    "tenths of a degree change the light above the cut-off more than the lamp does.",
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


def window_words() -> str:
    """Return the window above the cut-off.

    Returns
    -------
    str
        "8 deg left to 8 deg right, 0.5 to 2 deg up".
    """
    left, right = (decimal(abs(x), 0) for x in ABOVE_HORIZONTAL)
    low, high = (decimal(x, 1) for x in ABOVE_VERTICAL)
    return f"{left}° left to {right}° right, {low}° to {high}° up"


def interval_words(low: float, high: float) -> str:
    """Return an interval of a ratio in per cent, or in times from a factor of two on.

    Parameters
    ----------
    low, high : float
        Its ends. [1]

    Returns
    -------
    str
        "12 to 33 % more", or "1.1 to 3.0 times".
    """
    low, high = published_ends(low, high)
    if high >= 2.0:
        return f"{decimal(low, 2)} to {decimal(high, 2)} times"
    ends = [statements.percent_of(x, 0) for x in (low, high)]
    if ends[0].split()[-1] == ends[1].split()[-1] and "no" not in ends[0]:
        first, last = (0, 1) if low > 1 else (1, 0)
        return f"{ends[first].split()[0]} to {ends[last]}"
    return " to ".join(ends)


def ratio_words(one: BeamRatio) -> str:
    """Return one measurand with its interval as seated.

    Parameters
    ----------
    one : BeamRatio
        The ratio.

    Returns
    -------
    str
        Part of a sentence.
    """
    value = f"{decimal(one.value, 2)} times" if one.high >= 2.0 else statements.percent_of(one.value, 0)
    return f"{MEASURAND_WORDS[one.measurand]} {value} ({interval_words(one.low, one.high)})"


def result_words(result: BeamResult) -> str:
    """Return the three measurands of a lamp in a housing.

    Parameters
    ----------
    result : BeamResult
        The beam.

    Returns
    -------
    str
        One sentence, or why there is none.
    """
    where = f"{result.lamp} against {result.baseline} in housing {result.housing}"
    if not result.ratios:
        return f"{where}: no ratio. {' '.join(r.message[:1].upper() + r.message[1:] + '.' for r in result.refusals)}"
    said = "; ".join(ratio_words(one) for one in result.ratios)
    percent = f"{100.0 * result.ratios[0].coverage:g}"
    return f"{where}: {said}. At {percent} %, for these readings as seated."


def cutoff_words(lamp: str, housing: str, found: CutoffReading | None, *, coverage: float = COVERAGE) -> str:
    """Return height and sharpness of a cut-off.

    Parameters
    ----------
    lamp, housing : str
        Which.
    found : CutoffReading or None
        What was read.
    coverage : float, default COVERAGE
        Of height and sharpness. [1]

    Returns
    -------
    str
        One sentence.
    """
    where = f"{lamp} in housing {housing}"
    if found is None:
        return f"{where}: the light does not fall along the cut, so there is no cut-off to read."
    if found.code:
        return f"{where}: no sharpness; {found.message}."
    k = coverage_factor(coverage)
    height = with_uncertainty(found.height, k * found.height_uncertainty)
    sharp = with_uncertainty(found.sharpness, k * found.sharpness_uncertainty)
    fall = decimal(10.0**found.sharpness, 2)
    return (
        f"{where}: height {height}° at {decimal(found.horizontal, 1)}° to the right, sharpness G {sharp}: over a tenth "
        f"of a degree the light falls by a factor of {fall}."
    )


def aim_words(result: BeamResult) -> str:
    """Return how far a pattern is turned against the baseline's.

    Parameters
    ----------
    result : BeamResult
        The beam.

    Returns
    -------
    str
        One or two sentences.
    """
    where, aim = f"{result.lamp} in housing {result.housing}", result.aim
    if aim is None:
        return f"{where}: no aim to compare."
    across, up = (abs(x) for x in (aim.horizontal, aim.vertical))
    side, way = "right" if aim.horizontal > 0 else "left", "up" if aim.vertical > 0 else "down"
    told = _told(aim)
    left = decimal(100.0 * aim.misfit, 1)
    return (
        f"{where}: turned {decimal(across, 2)}° to the {side} and {decimal(up, 2)}° {way} against {result.baseline}; "
        f"{told} After the shift {left} % of the peak is left as a difference in shape."
    )


def _told(aim: AimOffset) -> str:
    """Return whether a shift is more than the grid can tell."""
    limits = (aim.horizontal_step / 5.0, aim.vertical_step / 5.0)
    beyond = abs(aim.horizontal) > limits[0] or abs(aim.vertical) > limits[1]
    fifth = f"{decimal(limits[0], 2)}° and {decimal(limits[1], 2)}°"
    if beyond:
        return f"a fifth of the grid's step is {fifth}, so they are aimed differently."
    return f"a fifth of the grid's step is {fifth}, so no difference of aim is shown."
