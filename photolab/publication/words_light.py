"""Sentences on candela, colour and beams: plain functions of results."""

from __future__ import annotations

import math

from photolab.bench.candela import BenchCandela
from photolab.bench.distances import DistanceResult
from photolab.metrology.reporting import decimal, places_for, with_uncertainty

__all__ = [
    "LUX_IS_NOT_CANDELA",
    "NO_LUMENS",
    "candela",
    "candela_words",
    "centre_words",
    "law_words",
    "run_words",
    "usable_words",
]  # fmt: skip

LUX_IS_NOT_CANDELA = (
    "Lux is not candela. Lux says how much light falls on the meter head where it stands; candela says how strongly "
    "the lamp shines in that direction, wherever you stand. Between the two stands the distance, squared: 1 % of "
    "distance is 2 % of light. One lux reading gives a candela figure only if the distance is known and the light has "
    "begun to spread as from one point."
)
NO_LUMENS = (
    "Why not lumens? Lumens count the light in all directions together. A reading at one place knows one direction, "
    "and a wall grid knows a window. Two lamps with equal lumens can differ several times in candela, because the "
    "housing, not the lamp, decides where the light goes. No lumens are made from one lux reading here."
)
CODE_WORDS = {
    "several_seatings": "the lamp was seated more than once within the run, and seatings differ",
    "several_ranges": "the meter changed range within the run; the step between ranges is not counted",
    "range_unknown": "the range of the meter is not stated, so its additive error is not counted",
    "several_meters": "more than one meter was used within the run",
    "dark_as_large": "readings no larger than the dark reading were left out",
    "dark_in_some_rows": "only some rows hold a dark reading; take the others too, so that it can be taken off each "
    "reading (until then the range term of the manual is counted)",
    "no_dark_reading": "no dark reading was taken off, so the range term of the manual is counted",
    "far_part_only": "only the far readings agree with the law; the near ones were left out",
}
"""What else must be said with a run."""
LAW_NAMES = {
    "point": "inverse square from the reference face",
    "offset": "inverse square from a centre behind the face",
    "near_field": "inverse square with a near-field term",
    "disc": "glowing disc",
}


def candela(value: float, half_width: float) -> str:
    """Return an intensity with its half-width, two digits of the latter.

    Parameters
    ----------
    value, half_width : float
        Intensity and expanded uncertainty. [cd]

    Returns
    -------
    str
        For example ``13340 ± 540 cd``.
    """
    return f"{with_uncertainty(value, half_width)} cd"


def run_words(one: DistanceResult) -> str:
    """Return whose run it is.

    Parameters
    ----------
    one : DistanceResult
        The run.

    Returns
    -------
    str
        "B0 in housing HP".
    """
    return f"{one.lamp} in housing {one.housing}"


def law_words(one: DistanceResult) -> str:
    """Return what the run says about candela, with its reason.

    Parameters
    ----------
    one : DistanceResult
        The run.

    Returns
    -------
    str
        One or two sentences.
    """
    noticed = [CODE_WORDS[code] for code in one.codes if code in CODE_WORDS]
    return " ".join([_law(one), *([f"Note: {'; '.join(noticed)}."] if noticed else [])])


def _law(one: DistanceResult) -> str:
    """Return what the run says about candela."""
    where, half = run_words(one), (one.high - one.low) / 2.0
    if one.law == "inverse_square":
        return (
            f"{where}: {candela(one.intensity, half)} at {_percent(one.coverage)} %, for these readings as seated. "
            f"The readings follow the inverse square, so lux at {decimal(one.bench_distance, 2)} m may be turned into "
            f"candela."
        )
    if one.law == "near_field":
        return (
            f"{where}: {candela(one.intensity, half)} at {_percent(one.coverage)} % far away, for these readings "
            f"as seated, and only with a "
            f"near-field term: at {decimal(one.bench_distance, 2)} m the light is {_off(one.near_field_percent)} of "
            f"what the inverse square gives. Without that term nothing in candela may be quoted from "
            f"{decimal(one.bench_distance, 2)} m."
        )
    return f"{where}: no candela. {_reason(one)} {_apparent(one)}"


def _off(percent: float) -> str:
    """Return a departure as "3.4 % short"."""
    return f"{decimal(abs(percent), 1)} % {'short' if percent < 0 else 'in excess'}"


def _reason(one: DistanceResult) -> str:
    """Return why no candela is quoted."""
    reasons = {
        "no_light": "No reading is larger than the dark reading.",
        "one_distance": "One distance cannot show whether the inverse square holds.",
        "too_few_distances": "Two distances fit any law; three or more are needed.",
        "no_law_holds": "None of the laws tried agrees with the readings.",
    }
    return next(
        (words for code, words in reasons.items() if code in one.codes),
        "The readings do not follow the inverse square about the declared centre.",
    )


def _apparent(one: DistanceResult) -> str:
    """Return the apparent intensity, where there is one."""
    if one.apparent is None:
        return ""
    shown = candela(one.apparent.value, one.apparent.half_width(one.coverage))
    return f"What remains is an apparent {shown} at {decimal(one.bench_distance, 2)} m."


def centre_words(one: DistanceResult) -> str:
    """Return the fitted photometric centre beside the declared one.

    Parameters
    ----------
    one : DistanceResult
        The run.

    Returns
    -------
    str
        One sentence; empty where none was fitted.
    """
    if one.centre is None:
        return ""
    fitted = with_uncertainty(1000.0 * one.centre.value, 1000.0 * one.centre.half_width(one.coverage))
    return (
        f"{run_words(one)}: the light spreads as from a point {fitted} mm behind the reference face at "
        f"{_percent(one.coverage)} %; "
        f"bench.toml declares {decimal(1000.0 * one.declared_offset, 0)} mm."
    )


def usable_words(one: DistanceResult) -> str:
    """Return from which distance on the run allows the inverse square.

    Parameters
    ----------
    one : DistanceResult
        The run.

    Returns
    -------
    str
        One sentence.
    """
    far = decimal(float(one.points["distance_m"].max()), 2) if len(one.points) else "0"
    if one.flatness is None or one.flatness.code == "too_few":
        return f"{run_words(one)}: too few distances to tell."
    if math.isnan(one.smallest_usable):
        return (
            f"{run_words(one)}: at no distance of this run, up to {far} m, do the readings follow the inverse square "
            f"by themselves."
        )
    size = one.geometric_distance
    by_size = "" if math.isnan(size) else f" The size of the opening alone would allow {decimal(size, 2)} m."
    return f"{run_words(one)}: from {decimal(one.smallest_usable, 2)} m on, as far as measured ({far} m).{by_size}"


def candela_words(one: BenchCandela) -> str:
    """Return what the readings at the bench's distance give in candela.

    Parameters
    ----------
    one : BenchCandela
        The readings of one lamp in one housing.

    Returns
    -------
    str
        One or two sentences.
    """
    name = "apparent intensity" if one.apparent else "intensity"
    advice = " A lower range of the meter would narrow it." if one.lower_range else ""
    largest = max(PARTS, key=lambda name: one.intensity.only(*PARTS[name]).u)
    half = one.intensity.half_width(one.coverage)
    count = "one seating" if one.seatings == 1 else f"mean of {one.seatings} seatings"
    assumed = f" Assumed: {'; '.join(one.assumed)}." if one.assumed else ""
    lux = decimal(one.illuminance, places_for(one.illuminance / 100.0))
    return (
        f"{one.lamp} in housing {one.housing}: {lux} lx at {decimal(one.distance, 2)} m give an {name} of "
        f"{candela(one.intensity.value, half)} at {_percent(one.coverage)} %, {count}; the largest part of the doubt "
        f"is the {largest}.{advice}{assumed}"
    )


PARTS = {
    "scatter of seatings and days": ("seating", "day"),
    "last figure and dark reading": ("resolution",),
    "range term of the meter": ("range term",),
    "meter (scale, linearity, colour) and supply": ("scale", "linearity", "colour", "supply"),
    "distance and photometric centre": ("distance",),
    "tilt of the meter head": ("angle",),
    "near field": ("fit", "model spread"),
}
"""What may be off in a candela figure, in words, and the kinds of its inputs."""


def _percent(coverage: float) -> str:
    """Return a coverage probability in percent."""
    return f"{100.0 * coverage:g}"
