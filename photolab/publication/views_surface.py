"""What the notebook on surface temperatures shows: bare metal against tape, the reading-to-true curve, emissivities.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import pandas as pd

from photolab.bench.model import Bench
from photolab.bench.patches import ends_from_emissivity, patch_emissivities
from photolab.bench.surface import Surface, assumed_of, surfaces
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import words_surface as words
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import reading_to_true
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.publication.words_heat import REFUSAL_WORDS
from photolab.thermal.thermography import surface_temperature

NO_THERMAL = (
    "This folder holds no temperature near the hold time: add thermal.csv (lamp, elapsed_minutes, "
    "displayed_C, method, "
    "set_emissivity), a tape patch and the bare surface beside it."
)
BOUND = frozenset({"lower_bound_only", "emissivity_missing"})
NO_SECTION = "No temperature near the hold time in this folder, so this section has nothing to show."


def chosen(bench: Bench, lamps: Iterable[str] | None = None) -> tuple[Surface, ...]:
    """Return the temperatures at the hold time that a page is about.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps; all of them by default.

    Returns
    -------
    tuple of Surface
        In file order.
    """
    wanted = None if lamps is None else set(lamps)
    return tuple(one for one in surfaces(bench, at_hold=True) if wanted is None or one.lamp in wanted)


def answer(bench: Bench, lamps: Iterable[str] | None = None) -> Words:
    """Return which temperatures can be believed.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Words
        First what must not be used, with what its patch says; then what was assumed.
    """
    found = chosen(bench, lamps)
    if not found:
        return say(NO_THERMAL)
    also = "degF" in bench.settings.also_show
    said = []
    for one in found:
        if one.usable:
            continue
        said.append(f"{words.surface_sentence(one, fahrenheit=also)} {_quoted(one)}".strip())
        said += [
            f"The patch beside it: {words.surface_sentence(other, fahrenheit=also)}"
            for other in found
            if other.usable and (other.lamp, other.place) == (one.lamp, one.place)
        ]
    usable = [one for one in found if one.usable]
    good = f"{len(usable)} of {len(found)} readings at the hold time may be used for ranking"
    if usable:
        hottest = max(usable, key=lambda one: one.value)
        figures = (hottest.value, hottest.low, hottest.high)
        good += f"; the hottest is {hottest.lamp} ({hottest.method}), {words.temperature(figures, fahrenheit=also)}"
    assumed = "; ".join(dict.fromkeys(text for one in found for text in assumed_of(one, rise=True)))
    coverage = f"{100.0 * bench.settings.coverage:g}"
    last = f"Intervals cover {coverage} %, for these readings. Assumed: {assumed}."
    return say(*said, f"{good}.", last)


def _quoted(one: Surface) -> str:
    """Return what may be quoted of a reading that is not usable for ranking."""
    if math.isnan(one.low) or not BOUND & set(one.codes):
        return ""
    ends = [decimal(x, 0) for x in ends_from_emissivity(one)]
    alone = (
        ""
        if ends[0] == "n/a"
        else f"The doubt of its emissivity alone makes {ends[0]} to {ends[1]} °C of it. "
    )
    return f"{alone}What may be quoted: at least {decimal(one.low, 0)} °C."


def surface_table(bench: Bench, lamps: Iterable[str] | None = None) -> Table | Words:
    """Return displayed and surface temperatures side by side, bare against tape.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Table or Words
        One row a reading.
    """
    found = chosen(bench, lamps)
    if not found:
        return say(NO_SECTION)
    also = "degF" in bench.settings.also_show
    rows = [
        {
            "lamp": one.lamp,
            "place": one.place,
            "method": one.method,
            "displayed": decimal(one.displayed, 1),
            "emissivity": _emissivity(one),
            "surface": words.temperature((one.value, one.low, one.high), fahrenheit=also),
            "rise": _rise(one, also=also),
            "use": _use(one),
        }
        for one in found
    ]
    heads = {
        "displayed": "displayed (°C)",
        "surface": "surface (from-to)",
        "rise": "above ambient (from-to)",
        "use": "usable for ranking",
    }
    return table(pd.DataFrame(rows), heads=heads)


def _use(one: Surface) -> str:
    """Return whether lamps may be ranked by a reading."""
    if one.usable:
        return "yes"
    return "no: lower bound only, use tape" if BOUND & set(one.codes) else "no: use tape"


def _emissivity(one: Surface) -> str:
    """Return the emissivity of a reading with its half-width."""
    if math.isnan(one.emissivity):
        return ""
    return f"{decimal(one.emissivity, 2)} ± {decimal(one.emissivity_half_width, 2)}"


def _rise(one: Surface, *, also: bool) -> str:
    """Return the rise above the ambient, in degF too where asked for."""
    if one.above_ambient is None:
        return ""
    return words.temperature(one.rise, fahrenheit=also, rise=True)


def _shown_surfaces(bench: Bench, lamps: Iterable[str] | None) -> list[Surface]:
    """Return a patch and up to two bare surfaces, the shiniest first: one for each emissivity."""
    found = [one for one in chosen(bench, lamps) if not math.isnan(one.emissivity + one.value)]
    bare = sorted((one for one in found if one.method == "bare"), key=lambda one: one.emissivity)
    patch = [one for one in found if one.method != "bare"]
    own = [one for one in patch if bare and one.lamp == bare[0].lamp]
    kept = {one.emissivity: one for one in reversed([*(own or patch)[:1], *bare[:3]])}
    return sorted(kept.values(), key=lambda one: -one.emissivity)[:4]


def reading_picture(bench: Bench, lamps: Iterable[str] | None = None) -> Picture | Words:
    """Return the reading-to-true curve of a patch and of bare surfaces, with the band of their emissivities.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Picture or Words
        The picture.
    """
    kept = _shown_surfaces(bench, lamps)
    if not kept:
        return say(NO_SECTION)
    top = max(one.displayed for one in kept) + 15.0
    curves = pd.concat([_curve(one, top) for one in kept])
    points = pd.DataFrame(
        {
            "surface": [_label(one) for one in kept],
            "displayed": [one.displayed for one in kept],
            "true": [float(np.round(one.value, 6)) for one in kept],
            "label": [f"{one.lamp} {one.method}" for one in kept],
        }
    )
    figure, (axes,) = new_figure(height=4.2)
    limit = 1.3 * float(points["true"].max())
    reading_to_true.draw(axes, curves[curves["true"] <= limit], points)
    axes.set_ylim(top=limit)
    said = "; ".join(
        f"{one.lamp} {one.method} displays {decimal(one.displayed, 1)} °C, surface {decimal(one.value, 0)} °C "
        f"({decimal(one.low, 0)} to {decimal(one.high, 0)})"
        for one in kept
    )
    alt = f"Surface against displayed temperature, a curve with its band for each emissivity. {said}."
    return picture(figure, alt=alt, invented=is_invented(bench))


def _label(one: Surface) -> str:
    """Return the name of a kind of surface."""
    return f"{one.method}, emissivity {_emissivity(one)}"


def _curve(one: Surface, top: float) -> pd.DataFrame:
    """Return the reading-to-true curve of one kind of surface, from just above the reflected temperature."""
    shown = np.linspace(one.reflected + 0.5, top, 120)
    ends = [
        min(max(one.emissivity + sign * one.emissivity_half_width, 0.01), 1.0) for sign in (0.0, 1.0, -1.0)
    ]
    try:
        true, low, high = (
            surface_temperature(
                shown, emissivity=e, set_emissivity=one.set_emissivity, reflected=one.reflected
            )
            for e in ends
        )
    except MethodError:  # no curve to draw; the surface's own row says why
        return pd.DataFrame(columns=["surface", "displayed", "true", "low", "high"])
    drawn = {"displayed": shown, "true": true, "low": low, "high": high}
    steady = {name: np.round(values, 6) for name, values in drawn.items()}  # one picture on every processor
    return pd.DataFrame({"surface": _label(one), **steady})


def emissivities(bench: Bench, lamps: Iterable[str] | None = None) -> Table | Words:
    """Return the emissivity of each bare surface from the patch beside it, and what was declared.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Table or Words
        One row a lamp and place: the reading at the hottest patch.
    """
    found = patch_emissivities(bench)
    wanted = None if lamps is None else set(lamps)
    found = found[[wanted is None or lamp in wanted for lamp in found["lamp"]]]
    if found.empty:
        return say(
            "No bare surface was read beside a patch at the same time, so no emissivity can be had from one."
        )
    best = found.sort_values("patch_C", ascending=False, kind="stable").drop_duplicates(["lamp", "place"])
    best = best.sort_index()
    shown = pd.DataFrame(
        {
            "lamp": best["lamp"],
            "place": best["place"],
            "patch": [
                f"{patch}, {decimal(t, 0)} °C"
                for patch, t in zip(best["patch"], best["patch_C"], strict=True)
            ],
            "found": [
                _found(row.emissivity, row.low, row.high, row.code) for row in best.itertuples(index=False)
            ],
            "declared": ["" if math.isnan(x) else decimal(x, 2) for x in best["declared"]],
        }
    )
    heads = {"found": "emissivity from the patch (from-to)", "declared": "emissivity in thermal.csv"}
    return table(shown, heads=heads)


def _found(value: object, low: object, high: object, code: object) -> str:
    """Return an emissivity with its interval, or why there is none."""
    if code:
        return f"none: {REFUSAL_WORDS[str(code)]}"
    x, a, b = (decimal(float(str(each)), 2) for each in (value, low, high))
    return f"{x} ({a} to {b})"


def band_against_total(bench: Bench, lamps: Iterable[str] | None = None) -> Table | Words:
    """Return surface temperatures by the camera's band and by T^4, and whether the difference matters.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Table or Words
        One row a reading, the largest difference first.
    """
    found = [one for one in chosen(bench, lamps) if not math.isnan(one.value + one.total_radiation)]
    if not found:
        return say(NO_SECTION)
    found.sort(key=lambda one: -abs(one.value - one.total_radiation))
    rows = pd.DataFrame(
        {
            "reading": [
                f"{one.lamp}, {one.method}, emissivity {decimal(one.emissivity, 2)}" for one in found
            ],
            "band": [one.value for one in found],
            "total": [one.total_radiation for one in found],
            "apart": [one.value - one.total_radiation for one in found],
            "half": [(one.high - one.low) / 2.0 for one in found],
        }
    )
    rows = rows.head(6)
    heads = {
        "reading": "reading",
        "band": "by the band 8-14 µm (°C)",
        "total": "by T⁴ (°C)",
        "apart": "apart (K)",
        "half": "half-width of the interval (K)",
    }
    return table(rows, heads=heads, places=1)


def second_way(bench: Bench, lamps: Iterable[str] | None = None) -> Words:
    """Return whether band or T^4 matters, as words.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamps : iterable of str, optional
        Which lamps.

    Returns
    -------
    Words
        The judgement.
    """
    found = [one for one in chosen(bench, lamps) if not math.isnan(one.value + one.total_radiation)]
    if not found:
        return say(NO_SECTION)
    said = []
    for usable, name in ((True, "usable for ranking"), (False, "not usable for ranking")):
        mine = [one for one in found if one.usable is usable]
        if not mine:
            continue
        worst = max(mine, key=lambda one: abs(one.value - one.total_radiation))
        apart, half = abs(worst.value - worst.total_radiation), (worst.high - worst.low) / 2.0
        inside = worst.low <= worst.total_radiation <= worst.high
        verdict = "inside the interval" if inside else "outside the interval: use the band"
        said.append(
            f"Readings {name}: the two laws are at most {decimal(apart, 1)} K apart ({worst.lamp}, "
            f"{worst.method}), against "
            f"± {decimal(half, 1)} K; {verdict}."
        )
    return say(*said)
