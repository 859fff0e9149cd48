"""From the interval of a ratio to a verdict code, and what more mountings would do.

The rule (first that applies): `no_answer` an input is missing · `clear` the interval excludes 1 · `alike` it
lies within
± ln(1 + m/100) · `inside` else. Limits are symmetric in ln, so that swapping two lamps swaps the words exactly.
"""

import math
from dataclasses import dataclass

from photolab.metrology.planning import replicates_needed
from photolab.metrology.quantity import COVERAGE

EVEN_CHANCE, FOUR_IN_FIVE = 0.5, 0.8
ALIKE_PERCENT = 10.0
"""Margin of lamps that count as alike, where a caller names none. [%]"""
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


def mountings_to_separate(
    ln_ratio: float, mounting_sd: float, floor: float, *, coverage: float = COVERAGE
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
    need = [
        replicates_needed(difference, mounting_sd, floor=floor, power=power, coverage=coverage)
        for power in (EVEN_CHANCE, FOUR_IN_FIVE)
    ]
    return MountingsToSeparate(*need)
