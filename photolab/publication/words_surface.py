"""Surface temperatures in words: the figures, and what they may be used for."""

from __future__ import annotations

import math

from photolab.bench.surface import Surface, in_fahrenheit
from photolab.metrology.reporting import decimal, published_ends
from photolab.publication.words_heat import REFUSAL_WORDS

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
    "reflected_not_considered": "the doubt of the reflected temperature is not in the interval",
    "reflected_from_ambient": "the ambient stands for the reflected temperature",
    "reflected_assumed": "the reflected temperature is assumed",
    "thermocouple_contact": "how well it touches the surface is not in the interval",
}
"""What a code of a surface temperature means."""


def temperature(figures: tuple[float, float, float], *, fahrenheit: bool = False, rise: bool = False) -> str:
    """Return a temperature, or a rise, with its interval.

    Parameters
    ----------
    figures : tuple of float
        Value, low, high. [degC], [K]
    fahrenheit : bool, default False
        Give degF in brackets too; a rise of 50 K is 90 degF.
    rise : bool, default False
        The figures are a difference of temperatures.

    Returns
    -------
    str
        The figures to the degree.
    """
    unit = "K" if rise else "°C"
    text = _figures(figures, unit)
    return f"{text} [{_figures(in_fahrenheit(figures, rise=rise), '°F')}]" if fahrenheit else text


def _figures(figures: tuple[float, ...], unit: str) -> str:
    """Return value, low and high to the degree; "at least" where only the lower end is known."""
    value, low, high = (decimal(x, 0) for x in (figures[0], *published_ends(*figures[1:])))
    if math.isnan(figures[1]):
        return "none"
    return f"at least {low} {unit}" if math.isnan(figures[0]) else f"{value} {unit} ({low} to {high})"


def surface_sentence(one: Surface, *, fahrenheit: bool = False) -> str:
    """Return a surface temperature with what it may be used for.

    Parameters
    ----------
    one : Surface
        The surface.
    fahrenheit : bool, default False
        Give degF in brackets too.

    Returns
    -------
    str
        One sentence.
    """
    how = {"bare": "bare surface", "tape": "tape patch", "paint": "painted patch"}.get(one.method, one.method)
    where = f"{one.lamp}, {one.place}, {how}" if one.place else f"{one.lamp}, {how}"
    shown = f"displayed {decimal(one.displayed, 1)} °C"
    if math.isnan(one.value) and math.isnan(one.low):
        known = "no surface temperature"
    else:
        known = f"surface {temperature((one.value, one.low, one.high), fahrenheit=fahrenheit)}"
    codes = "; ".join(SURFACE_WORDS.get(code, REFUSAL_WORDS.get(code, code)) for code in one.codes)
    return f"{where}: {shown}, {known}{'; ' + codes if codes else ''}."
