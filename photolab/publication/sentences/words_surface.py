"""Surface temperatures in words: the figures, and what they may be used for."""

import math
from collections.abc import Sequence

import pandas as pd

from photolab.bench.inputs.patches import ends_from_emissivity
from photolab.bench.inputs.surface import Surface, assumed_of, in_fahrenheit
from photolab.metrology.reporting import decimal, published_ends
from photolab.publication.sentences.words_heat import REFUSAL_WORDS
from photolab.thermal.thermography import SurfaceReading

SURFACE_WORDS = {
    "lower_bound_only": "lower bound only: bare metal mirrors the room; not usable for ranking, use tape",
    "emissivity_missing": "lower bound only: its emissivity is not stated; not usable for ranking, use tape",
    "reflected_hotter_than_displayed": (
        "what it mirrors is hotter than what was displayed; not usable for ranking, use tape or move the hot source"
    ),
    "no_real_temperature": (
        "no real temperature gives this reading with the emissivity and reflected temperature stated"
    ),
    "emissivity_assumed": "its emissivity is assumed",
    "camera_not_considered": "the camera's own error is not in the interval",
    "reflected_not_considered": "the uncertainty of the reflected temperature is not in the interval",
    "reflected_from_ambient": "the ambient stands for the reflected temperature",
    "reflected_assumed": "the reflected temperature is assumed",
    "thermocouple_contact": "how well it touches the surface is not in the interval",
}
"""What a code of a surface temperature means."""
BOUND = frozenset({"lower_bound_only", "emissivity_missing"})
"""Codes of a temperature of which the low end alone may be quoted."""
METHODS = {"bare": "bare surface", "tape": "tape patch", "paint": "painted patch"}


def temperature(figures: tuple[float, float, float], *, fahrenheit: bool = False, rise: bool = False) -> str:
    """Return a temperature, or a rise, with its interval to the degree; a rise of 50 K is 90 degF."""
    text = _figures(figures, "K" if rise else "°C")
    return f"{text} [{_figures(in_fahrenheit(figures, rise=rise), '°F')}]" if fahrenheit else text


def _figures(figures: tuple[float, ...], unit: str) -> str:
    """Return value, low and high to the degree; "at least" where only the lower end is known."""
    value, low, high = (decimal(x, 0) for x in (figures[0], *published_ends(*figures[1:])))
    if math.isnan(figures[1]):
        return "none"
    return f"at least {low} {unit}" if math.isnan(figures[0]) else f"{value} {unit} ({low} to {high})"


def code_words(codes: Sequence[str]) -> str:
    """Return what the codes of a temperature mean, each after a semicolon."""
    return "".join(f"; {SURFACE_WORDS.get(code, REFUSAL_WORDS.get(code, code))}" for code in codes)


def displayed_words(one: Surface, reading: SurfaceReading) -> str:
    """Return which reading is meant, what was displayed and assumed, and what its emissivity alone makes of it."""
    assumed = code_words([code for code in one.codes if code not in reading.codes])
    return f"{name(one)}: displayed {decimal(one.displayed, 1)} °C{assumed}.{_by_emissivity(one)}"


def _by_emissivity(one: Surface) -> str:
    """Return what the emissivity of a lower bound alone allows; blank where no limits are known."""
    ends = [decimal(x, 0) for x in ends_from_emissivity(one)] if BOUND & set(one.codes) else ["n/a"]
    if ends[0] == "n/a":
        return ""
    return f" Its emissivity alone, not known better, allows {ends[0]} to {ends[1]} °C."


def reading_sentence(reading: SurfaceReading) -> str:
    """Return a surface temperature with its interval, and what it may be used for."""
    low, high = reading.temperature.interval(reading.coverage)
    quoted = f" What may be quoted: at least {decimal(low, 0)} °C." if BOUND & set(reading.codes) else ""
    figures = temperature((reading.temperature.value, low, high))
    return f"Surface {figures}, {100.0 * reading.coverage:g} %{code_words(reading.codes)}.{quoted}"


def name(one: Surface) -> str:
    """Return which reading is meant."""
    where = f"{one.lamp}, {one.place}" if one.place else one.lamp
    return f"{where}, {METHODS.get(one.method, one.method)}"


def surface_sentence(one: Surface, *, fahrenheit: bool = False) -> str:
    """Return a reading of thermal.csv with the surface temperature that it stands for, and what that is good for."""
    figures = (one.value, one.low, one.high)
    known = f"surface {temperature(figures, fahrenheit=fahrenheit)}"
    if math.isnan(one.value) and math.isnan(one.low):
        known = "no surface temperature"
    said = f"{name(one)}: displayed {decimal(one.displayed, 1)} °C, {known}{code_words(one.codes)}."
    if math.isnan(one.low) or not BOUND & set(one.codes):
        return said
    return f"{said}{_by_emissivity(one)} What may be quoted: at least {decimal(one.low, 0)} °C."


def surfaces_sentences(
    found: Sequence[Surface], *, fahrenheit: bool = False, said_of: Surface | None = None
) -> tuple[str, ...]:
    """Return which temperatures at the hold time can be believed: what must not be used, and what was assumed."""
    said = []
    for one in found:
        if not one.usable:
            beside = [x for x in found if x.usable and (x.lamp, x.place) == (one.lamp, one.place)]
            said += [surface_sentence(one, fahrenheit=fahrenheit)] if one is not said_of else []
            said += [f"The patch beside it: {surface_sentence(x, fahrenheit=fahrenheit)}" for x in beside]
    usable = [one for one in found if one.usable]
    good = f"{len(usable)} of {len(found)} readings at the hold time may be used for ranking"
    if usable:
        hottest = max(usable, key=lambda one: one.value)
        figures = temperature((hottest.value, hottest.low, hottest.high), fahrenheit=fahrenheit)
        good += f"; the hottest is {hottest.lamp} ({hottest.method}), {figures}"
    assumed = "; ".join(dict.fromkeys(text for one in found for text in assumed_of(one, rise=True)))
    counted = (
        f"Intervals cover {100.0 * found[0].coverage:g} %, for these readings alone. Assumed: {assumed}."
    )
    return (*said, f"{good}.", counted)


def budget_table(reading: SurfaceReading) -> pd.DataFrame:
    """Return what the interval of a surface temperature is made of, the largest part first."""
    parts = reading.temperature.budget()
    shown = {"what may be off": parts["kind"].replace({"scale": "camera"})}
    shown["known from"] = parts["source"].replace({"": "thermal.csv, or assumed"})
    shown["moves it by (K, standard)"] = parts["contribution"]
    return pd.DataFrame(shown | {"part (%)": 100.0 * parts["variance_fraction"]})


def surface_row(one: Surface, *, fahrenheit: bool = False) -> dict[str, str]:
    """Return a reading as a row of a table: displayed and surface temperature side by side."""
    bound = "no: lower bound only, use tape" if BOUND & set(one.codes) else "no: use tape"
    known = f"{decimal(one.emissivity, 2)} ± {decimal(one.emissivity_half_width, 2)}"
    above = "" if one.above_ambient is None else temperature(one.rise, fahrenheit=fahrenheit, rise=True)
    return {
        "lamp": one.lamp,
        "place": one.place,
        "method": one.method,
        "displayed (°C)": decimal(one.displayed, 1),
        "emissivity": "" if math.isnan(one.emissivity) else known,
        "surface (from-to)": temperature((one.value, one.low, one.high), fahrenheit=fahrenheit),
        "above ambient (from-to)": above,
        "usable for ranking": "yes" if one.usable else bound,
    }


def emissivity_table(found: pd.DataFrame) -> pd.DataFrame:
    """Return emissivities from patches in words, of each lamp and place the one at the hottest patch."""
    best = found.sort_values("patch_C", ascending=False, kind="stable").drop_duplicates(["lamp", "place"])
    best = best.sort_index()
    known = []
    for row in best.to_dict("records"):
        value, low, high = (decimal(row[key], 2) for key in ("emissivity", "low", "high"))
        known.append(f"none: {REFUSAL_WORDS[row['code']]}" if row["code"] else f"{value} ({low} to {high})")
    shown = best[["lamp", "place"]].copy()
    shown["patch"] = [f"{a}, {decimal(t, 0)} °C" for a, t in zip(best["patch"], best["patch_C"], strict=True)]
    shown["emissivity from the patch (from-to)"] = known
    declared = ["" if math.isnan(x) else decimal(x, 2) for x in best["declared"]]
    return shown.assign(**{"emissivity in thermal.csv": declared})


def laws_row(one: Surface) -> dict[str, str]:
    """Return a reading undone by the camera's band and by T^4, judged by its interval."""
    inside = one.low <= one.total_radiation <= one.high
    return {
        "reading": f"{name(one)}, emissivity {decimal(one.emissivity, 2)}",
        "by the band 8-14 µm (°C)": decimal(one.value, 1),
        "by T⁴ (°C)": decimal(one.total_radiation, 1),
        "apart (K)": decimal(one.value - one.total_radiation, 1),
        "half-width of the interval (K)": decimal((one.high - one.low) / 2.0, 1),
        "by T⁴ it lies": "inside the interval" if inside else "outside: use the band",
    }
