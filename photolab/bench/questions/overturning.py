"""What would have to be wrong to change a result: a part of the readings, or how far an input."""

import math
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass

from photolab.bench.inputs.corrections import FILAMENT_FLUX_EXPONENT
from photolab.bench.inputs.readings import WARM_UP_SLOPE
from photolab.bench.inputs.seats import SEATED
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.pairs import variance_by_term
from photolab.bench.terms.verdicts import judge
from photolab.errors import MethodError, demand
from photolab.metrology.reporting import shortened

LEVELS = {"mounting": SEATED, "specimen": ["lamp", "specimen"], "day": ["day"]}
"""What one part is: the columns of readings.csv that name it."""
_CALLED = {"specimen": "specimen ", "mounting": "seating "}


@dataclass(frozen=True, eq=False)
class LeftOut:
    """A verdict with each part of the readings left out in turn.

    Attributes
    ----------
    level : str
        What is left out, of `LEVELS`.
    whole : str
        The verdict with everything in, as one of all pairs of its housing.
    each : mapping of str to str or None
        What was left out to the verdict without it; None where a lamp then has no reading.
    """

    level: str
    whole: str
    each: Mapping[str, str | None]

    @property
    def changing(self) -> tuple[str, ...]:
        """What changes the verdict when it is left out."""
        return tuple(part for part, verdict in self.each.items() if verdict != self.whole)


def without_each(
    campaign: Campaign, a: str, b: str, *, housing: str, level: str, instant: str = "initial"
) -> Iterator[tuple[str, Campaign | None]]:
    """Yield the whole evaluation again without each mounting, specimen or day of two lamps.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        The lamps.
    housing : str
        The housing.
    level : {"mounting", "specimen", "day"}
        What is left out.
    instant : {"initial", "hold"}
        When both must have been read.

    Yields
    ------
    tuple of (str, Campaign or None)
        What was left out, and the campaign without it; None where one of the lamps has no reading left.

    Raises
    ------
    ValueError
        If the level has another name.
    """
    demand(level in LEVELS, f"level must be one of {', '.join(LEVELS)}", repr(level))
    seats = campaign.seats
    mine = seats[seats["lamp"].isin([a, b]) & (seats["housing"] == housing)]
    for part in mine[LEVELS[level]].astype(str).drop_duplicates().to_dict("records"):
        out = {str(column): value for column, value in part.items()}
        if not any(out.values()):  # no day is stated
            continue
        again: Campaign | None = None
        with suppress(MethodError):
            made = evaluate(campaign.bench, corrections=campaign.enabled, leave_out=out)
            for lamp in (a, b):  # refused where it was not read then
                made.name(lamp, housing=housing, instant=instant)
            again = made
        yield ", ".join(f"{_CALLED.get(key, '')}{one}" for key, one in out.items() if one), again


LX = frozenset({"scale", "linearity", "range term", "resolution", "noise"})
VOLTS = frozenset({"supply voltage", "voltmeter", "supply assumed"})


@dataclass(frozen=True)
class Off:
    """By how much one sort of input would have to be off to change a verdict.

    Attributes
    ----------
    term : str
        The sort, as `pairs.variance_by_term`; "distance" for the place of the meter head, which is in no budget of a
        ratio because both lamps share it.
    stated, needed : float
        How far it may be off as stated, and how far it would have to be. [unit]
    unit : str
        The unit people argue in: lx, V, min, mm or %.
    of : float
        What it is off from, where that is known: lux or volts; NaN else. [unit]
    """

    term: str
    stated: float
    needed: float
    unit: str
    of: float = math.nan


@dataclass(frozen=True)
class Turning:
    """What would have to be off to change the verdict on a lamp against the baseline.

    Attributes
    ----------
    verdict : str
        The verdict, as one of all pairs of the housing.
    alone : tuple of Off
        Largest input first, each off by itself; then the distance, where it is known.
    together : tuple of Off
        The two largest, off at the same time, each by the same multiple of what is stated.
    """

    verdict: str
    alone: tuple[Off, ...]
    together: tuple[Off, ...]


def to_turn(ln_ratio: float, ln_half_width: float, verdict: str, *, alike_percent: float) -> float:
    """Return how far a ratio would have to lie elsewhere for another verdict.

    Parameters
    ----------
    ln_ratio, ln_half_width : float
        ln of the ratio, and half the width of its interval. [1]
    verdict : str
        The verdict that is to change.
    alike_percent : float
        Margin within which two lamps count as alike. [%]

    Returns
    -------
    float
        Distance in ln to the nearest other verdict; 0 where this interval gives another one already. [1]
    """
    if judge(ln_ratio, ln_half_width, alike_percent=alike_percent).code != verdict:
        return 0.0
    alike = math.log1p(alike_percent / 100.0) - ln_half_width
    borders = [ln_half_width, *([alike] if 0.0 <= alike < ln_half_width else [])]
    return min(abs(abs(ln_ratio) - border) for border in borders)


def turning(
    campaign: Campaign, lamp: str, *, housing: str, instant: str = "initial", most: int = 4
) -> Turning | None:
    """Return what would have to be off to change the verdict on a lamp, for the specimens on the bench.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    lamp, housing, instant : str
        Which figure.
    most : int, default 4
        So many inputs are looked at. [1]

    Returns
    -------
    Turning or None
        None where the figure has no interval, or nothing that could be off.

    Notes
    -----
    The range stays as wide as it is, and the ratio moves: what is allowed for is still allowed for on top of it. So one
    distance, that of the nearer end of the range from the border of the verdict, is all that is needed, and each input
    has it in its own unit: light follows volts by `corrections.FILAMENT_FLUX_EXPONENT`, the place of the head by the
    inverse square, and the time by the slope assumed for the initial time.
    """
    base, settings = campaign.baseline, campaign.bench.settings
    names = [campaign.name(one, housing=housing, instant=instant) for one in (lamp, base)]
    family = campaign.family(housing, instant=instant).loc[lamp].to_dict()
    result = campaign.ratio(lamp, base, housing=housing, instant=instant).result
    if result is None or math.isnan(family["low"]) or result.u == 0.0:
        return None
    bounds = campaign.widening(*names)
    factor = (math.log(family["high"] / family["low"]) / 2.0 - bounds) / result.u
    parts = variance_by_term(result)
    large = (term for term in parts if parts[term] > 1e-9 * result.u**2)
    terms = sorted(large, key=lambda term: -shortened(parts[term]))
    lux = math.exp(campaign.at(instant)[names[0]].value)
    verdict = str(family["verdict"])
    half = factor * result.u + bounds
    needed = to_turn(result.value, half, verdict, alike_percent=settings.alike_percent)
    stated = {term: factor * math.sqrt(parts[term]) for term in terms}

    # a figure found too low, or (elsewhere) too high
    sign = 1.0 if verdict == "clear" and result.value < 0.0 else -1.0

    def moved(ln_size: float, exponent: float = 1.0) -> float:
        return sign * math.expm1(sign * ln_size / exponent)

    def off(term: str, share: float = 1.0) -> Off:
        if term == "elapsed time":
            minutes = 1.0 / WARM_UP_SLOPE / 60.0
            return Off(term, stated[term] * minutes, share * needed * minutes, "min")
        size, exponent, unit = 100.0, 1.0, "%"
        if term in LX:
            size, unit = lux, "lx"
        elif term in VOLTS:
            size, exponent, unit = settings.reference_voltage_V, FILAMENT_FLUX_EXPONENT, "V"
        allowed, wanted = (size * moved(x, exponent) for x in (stated[term], share * needed))
        return Off(term, allowed, wanted, unit, math.nan if unit == "%" else size)

    alone = [off(term) for term in terms[:most]]
    place = campaign.bench.housings.get(names[0][1])
    if place is not None and not math.isnan(place.distance_m):
        far = 1000.0 * place.distance_m + place.offset_mm
        alone.append(Off("distance", 0.0, far * moved(needed, 2.0), "mm", far))
    two = terms[:2] if len(terms) > 1 else []
    together = [off(term, stated[term] / sum(stated[other] for other in two)) for term in two]
    return Turning(verdict, tuple(alone), tuple(together))
