"""From the interval of a ratio to a verdict code, and what more mountings would do.

The rule (first that applies): `no_answer` an input is missing · `clear` the interval excludes 1 · `alike` it
lies within ± ln(1 + m/100) · `inside` else. Limits are symmetric in ln, so that swapping two lamps swaps the
words exactly.
"""

import math
from dataclasses import dataclass
from typing import Any

from photolab.metrology.planning import replicates_needed
from photolab.metrology.quantity import COVERAGE, exp_symmetric

EVEN_CHANCE, FOUR_IN_FIVE = 0.5, 0.8
ALIKE_PERCENT = 10.0
"""Margin of lamps that count as alike, where a caller names none. [%]"""
JUDGED = ["value", "low", "high", "ln_expanded_uncertainty", "verdict", "small"]
"""Cells of the results table that a verdict rests on, and its own."""
NO_ANSWER, CLEAR, ALIKE, INSIDE = "no_answer", "clear", "alike", "inside"


@dataclass(frozen=True)
class Verdict:
    """A verdict on a ratio.

    Attributes
    ----------
    code : str
        "no_answer", "clear", "alike" or "inside".
    small : bool
        True where a clear difference still lies within the alike margin.
    """

    code: str
    small: bool = False


@dataclass(frozen=True)
class MountingsToSeparate:
    """Totals of mountings of each lamp that would separate two lamps; None where no number does.

    Attributes
    ----------
    even_chance, four_in_five : int or None
        For an even chance and for four chances in five.
    """

    even_chance: int | None
    four_in_five: int | None


def judge(ln_ratio: float, ln_half_width: float, *, alike_percent: float) -> Verdict:
    """Return the verdict on a ratio.

    Parameters
    ----------
    ln_ratio : float
        Natural logarithm of the ratio. [1]
    ln_half_width : float
        Half-width of its coverage interval; NaN where an input is missing. [1]
    alike_percent : float
        Margin within which two lamps count as alike. [%]

    Returns
    -------
    Verdict
        The first rule that applies.
    """
    if math.isnan(ln_half_width) or math.isnan(ln_ratio):
        return Verdict(NO_ANSWER)
    margin = math.log1p(alike_percent / 100.0)
    within = abs(ln_ratio) + ln_half_width <= margin
    if abs(ln_ratio) > ln_half_width:
        return Verdict(CLEAR, small=within)
    return Verdict(ALIKE if within else INSIDE)


def judged_cells(ln_ratio: float, ln_half_width: float, *, alike_percent: float) -> dict[str, Any]:
    """Return a ratio, its interval and its verdict as cells of the results table.

    Parameters
    ----------
    ln_ratio, ln_half_width, alike_percent
        As of `judge`.

    Returns
    -------
    dict
        value, low, high [1], ln_expanded_uncertainty [1], verdict and small.
    """
    verdict = judge(ln_ratio, ln_half_width, alike_percent=alike_percent)
    ends = (exp_symmetric(ln_ratio + away) for away in (0.0, -ln_half_width, ln_half_width))
    return dict(zip(JUDGED, (*ends, ln_half_width, verdict.code, verdict.small), strict=True))


def mountings_to_separate(
    ln_ratio: float,
    mounting_sd: float,
    floor: float,
    *,
    dof: float = math.inf,
    floor_dof: float = math.inf,
    coverage: float = COVERAGE,
) -> MountingsToSeparate:
    """Return how many mountings of each lamp would tell two lamps apart.

    Parameters
    ----------
    ln_ratio : float
        Natural logarithm of the ratio to be shown. [1]
    mounting_sd : float
        Standard deviation of one mounting of one lamp, in ln. [1]
    floor : float
        Standard uncertainty of the ln ratio that mountings cannot lower. [1]
    dof, floor_dof : float, default inf
        Degrees of freedom of the two. [1]
    coverage : float, default COVERAGE
        Coverage probability of the interval. [1]

    Returns
    -------
    MountingsToSeparate
        Totals; None where the floor alone is too large.
    """
    if ln_ratio == 0.0:
        return MountingsToSeparate(None, None)
    difference = math.expm1(abs(ln_ratio))
    how = {"floor": floor, "dof": dof, "floor_dof": floor_dof, "coverage": coverage}
    need = [
        replicates_needed(difference, mounting_sd, power=power, **how)
        for power in (EVEN_CHANCE, FOUR_IN_FIVE)
    ]
    return MountingsToSeparate(*need)
