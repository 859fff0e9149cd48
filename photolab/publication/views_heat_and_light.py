"""What the notebook on surface temperatures shows of heat and light: %/K, time constants, K/W, other ambients."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from photolab.bench.heat import WarmUpRun
from photolab.bench.heat_and_light import (
    RADIANT_HIGH,
    RADIANT_LOW,
    Coupling,
    ambient_corrections,
    ambient_of,
    case_to_ambient,
    coupling,
    expected_at,
    is_filament,
)
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal
from photolab.publication import words_heat as words
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import light_temperature
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.publication.views_heat import NO_SECTION, Heat, percent_of_initial

NO_CASE = (
    "The record states no case temperature (column case_C of warm_up.csv), so light cannot be set against it."
)
SOURCE_WORDS = {
    "assumed": "assumed for LED lamps",
    "own_record": "from this record, ± half of it for the way from case to room (assumed)",
}


def _of(heat: Heat, run: WarmUpRun) -> Coupling:
    """Return how light and case went together in a record."""
    return coupling(run, coverage=heat.bench.settings.coverage)


def light_against_case(heat: Heat) -> Picture | Words:
    """Return light against case temperature for the chosen record.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Picture or Words
        Readings, and the line of %/K.
    """
    run = heat.run
    if run is None:
        return say(NO_SECTION)
    record = run.record[run.record["case_C"].notna()]
    if record.empty:
        return say(NO_CASE)
    found, level = _of(heat, run), percent_of_initial(run)
    light = 100.0 * record["illuminance_lx"] / level
    shown = pd.DataFrame(
        {"case": record["case_C"], "percent": light, "used": record["elapsed_s"] <= found.until_s}
    )
    line = pd.DataFrame({"case": [], "percent": []})
    said = "no line"
    if found.slope is not None:
        used = shown[shown["used"]]
        ends = np.array([used["case"].min(), used["case"].max()])
        middle = float(np.log(used["percent"]).mean())
        tilt = found.slope.percent_per_kelvin / 100.0
        line = pd.DataFrame(
            {"case": ends, "percent": np.exp(middle + tilt * (ends - float(used["case"].mean())))}
        )
        said = f"the line falls by {decimal(-found.slope.percent_per_kelvin, 3)} % a kelvin"
    figure, (axes,) = new_figure(height=3.3)
    light_temperature.draw(axes, shown, line, initial_s=heat.bench.settings.initial_s)
    low, high = decimal(float(record["case_C"].min()), 0), decimal(float(record["case_C"].max()), 0)
    alt = (
        f"Light of {words.run_name(run)} against its case temperature, {low} to {high} °C, in % of the "
        f"initial light; {said}."
    )
    return picture(figure, alt=alt, invented=is_invented(heat.bench))


def coupling_words(heat: Heat) -> Words:
    """Return whether heat explains the loss of light of the chosen record.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Words
        %/K, time constants, and what they do and do not show.
    """
    if heat.run is None:
        return say(NO_SECTION)
    found = _of(heat, heat.run)
    said = [words.slope_sentence(found.slope)] if found.slope is not None else []
    said += [words.constants_sentence(found.constants)] if found.constants is not None else []
    said += [f"Not answered: {words.why(refused)}." for refused in found.refusals]
    if found.stepped:
        said.append(
            f"Only the readings up to {words.minutes(found.until_s)} min were used: after that the lamp stepped."
        )
    if found.slope is not None:
        said.append(_explains(found))
    return say(*said)


def _explains(found: Coupling) -> str:
    """Return how far heat explains the loss of light."""
    slope = found.slope
    if slope is None or slope.low <= 0.0 <= slope.high:
        return "No change of the light with the case temperature is told from the scatter: heat explains nothing here."
    code = found.constants.code if found.constants is not None else "not_resolved"
    tail = {
        "shared": (
            "and they settle together, so heat of the case can explain the loss; it does not prove "
            "that it does."
        ),
        "different": (
            "but they do not settle together: heat of the case alone does not explain the course of the "
            "light. The light "
            "source itself warms faster than the case, or slower parts of the lamp count too."
        ),
        "not_resolved": "and the record does not show whether they settle together: heat may explain the loss.",
    }[code]
    return f"Light falls as the case warms, {tail}"


def slopes(heat: Heat) -> Table | Words:
    """Return %/K and time constants of every record.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Table or Words
        One row a record with a case temperature.
    """
    runs = [run for run in heat.runs if run.record["case_C"].notna().any()]
    if not runs:
        return say(NO_CASE if heat.runs else NO_SECTION)
    rows = []
    for run in runs:
        found = _of(heat, run)
        s, c = found.slope, found.constants
        rows.append(
            {
                "run": run.run,
                "lamp": run.lamp,
                "housing": run.housing,
                "slope": "" if s is None else decimal(s.percent_per_kelvin, 3),
                "ends": "" if s is None else f"{decimal(s.low, 3)} to {decimal(s.high, 3)}",
                "light": "" if c is None else decimal(c.light_s / 60.0, 1),
                "case": "" if c is None else decimal(c.temperature_s / 60.0, 1),
                "said": _said(found),
            }
        )
    heads = {
        "slope": "light (%/K of case)",
        "ends": "from-to (%/K)",
        "light": "time constant of light (min)",
        "case": "of case (min)",
        "said": "what it shows",
    }
    return table(pd.DataFrame(rows), heads=heads)


def _said(found: Coupling) -> str:
    """Return what one record shows, in short."""
    said = [words.CONSTANT_WORDS[found.constants.code]] if found.constants is not None else []
    said += [words.why(refused) for refused in found.refusals]
    said += ["up to the step"] if found.stepped else []
    return "; ".join(said)


def resistances(heat: Heat) -> Table | Words:
    """Return the thermal resistance from the case to the ambient of every lamp that has one.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Table or Words
        One row a record; never of a junction.
    """
    rows = []
    for run in heat.runs:
        found = case_to_ambient(heat.bench, run)
        if found is not None:
            low, high = (decimal(x, 1) for x in found.interval(heat.bench.settings.coverage))
            rows.append((run.run, run.lamp, run.housing, decimal(found.value, 1), f"{low} to {high}"))
    if not rows:
        return say(
            "No thermal resistance: it needs case and ambient at the hold time, and watts in electrical.csv."
        )
    heads = {"value": "case to ambient (K/W)", "ends": "from-to (K/W)"}
    caption = (
        f"Assumed: {RADIANT_LOW:g} to {RADIANT_HIGH:g} of the power leaves as light. Filament lamps are "
        f"left out: most of "
        "their power leaves as radiation."
    )
    return table(
        pd.DataFrame(rows, columns=["run", "lamp", "housing", "value", "ends"]), heads=heads, caption=caption
    )


def ambient_table(heat: Heat) -> Table | Words:
    """Return the correction to the reference ambient: from the assumed coefficient, and from the record's own.

    Parameters
    ----------
    heat : Heat
        The records.

    Returns
    -------
    Table or Words
        One row a source.
    """
    run = heat.run
    if run is None:
        return say(NO_SECTION)
    if is_filament(heat.bench, run.lamp):
        return say(
            "A filament lamp is not corrected for the ambient: its filament is far hotter than any room."
        )
    rows = ambient_corrections(heat.bench, run, _of(heat, run).slope)
    if rows.empty:
        return say(
            "The record states no ambient (column ambient_C of warm_up.csv), so nothing is corrected for it."
        )
    k = coverage_factor(heat.bench.settings.coverage)
    assumed = math.sqrt(3.0) * heat.bench.settings.coverage  # a rectangle alone: within its limits
    wide = [
        u * (assumed if source == "assumed" else k)
        for source, u in zip(rows["source"], rows["u"], strict=True)
    ]
    pairs = zip(rows["percent_per_kelvin"], wide, strict=True)
    shown = pd.DataFrame(
        {
            "source": [SOURCE_WORDS[x] for x in rows["source"]],
            "coefficient": [f"{decimal(c, 3)} ± {decimal(half, 3)}" for c, half in pairs],
            "change": 100.0 * (rows["factor"] - 1.0),
            "half": rows["expanded_percent"],
        }
    )
    heads = {
        "coefficient": "coefficient (%/K)",
        "change": "moves the light by (%)",
        "half": "with a doubt of (± %)",
    }
    start, end = (decimal(float(rows[c].iloc[0]), 1) for c in ("ambient_C", "reference_C"))
    return table(shown, heads=heads, caption=f"From an ambient of {start} °C to the reference of {end} °C.")


def expected(heat: Heat, other_ambient_C: float) -> Words:
    """Return the remaining light expected at another ambient, marked as extrapolation.

    Parameters
    ----------
    heat : Heat
        The records.
    other_ambient_C : float
        The other ambient. [degC]

    Returns
    -------
    Words
        One or two sentences.
    """
    run = heat.run
    if run is None:
        return say(NO_SECTION)
    found = expected_at(heat.bench, run, _of(heat, run).slope, other_ambient_C)
    if found is None:
        reason = "a filament lamp has none" if is_filament(heat.bench, run.lamp) else _missing(run)
        return say(f"No light is expected for another ambient: {reason}.")
    there, here = decimal(other_ambient_C, 0), decimal(ambient_of(run), 1)
    ends = words.ends(found.low, found.high)
    far = " The case would leave the temperatures that the record covers." if found.beyond_record else ""
    return say(
        f"Extrapolation, not measured: at an ambient of {there} °C instead of {here} °C, "
        f"{words.percent(found.value)} % "
        f"({ends}) of the {heat.bench.settings.initial_s:g} s value on the bench would be left after "
        f"{words.minutes(heat.hold_s)} minutes.{far}",
        "It takes the case to rise as far above the warmer room as above the bench, and the %/K of the "
        "record, ± half of it (assumed), to hold there. "
        "A lamp that cuts its own power would do so earlier in the heat, and nothing here would show it.",
    )


def _missing(run: WarmUpRun) -> str:
    """Return why there is no expectation."""
    if run.remaining is None:
        return "no remaining light at the hold time is given"
    if run.fit is not None and run.fit.step is not None:
        return "the lamp cut its own power, and would do so at another time in another room"
    return "no ambient was logged" if math.isnan(ambient_of(run)) else "no %/K was found"
