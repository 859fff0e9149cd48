"""Sentences and cells on the colour of the light: plain functions of results."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.colours import ColourRatio, changed_verdicts
from photolab.bench.model import Meter
from photolab.bench.pairs import ReadingComparison
from photolab.metrology.reporting import decimal
from photolab.publication import statements
from photolab.publication.statements import in_housing

WAY_WORDS = {
    "ignored": "colour ignored",
    "declared": "not corrected, f1' of the meter counted",
    "corrected": "corrected with the spectra",
}


def colour_words(one: ColourRatio) -> str:
    """Return how a meter favours a lamp, and where that is known from."""
    against, percent = one.against or "the light it was trimmed to", f"{100.0 * one.coverage:g} %"
    half = 100.0 * one.ratio.half_width(one.coverage) / one.ratio.value
    head = f"Of equal light, meter {one.meter}"
    if one.known_from == "mismatch index":
        return (
            f"{head} may read {decimal(half, 1)} % more or less on {one.lamp} than on {against} at {percent}: no "
            f"factor is known, so its mismatch index f1' stands for one."
        )
    more = 100.0 * (one.ratio.value - 1.0)
    return (
        f"{head} reads {decimal(abs(more), 2)} % {'more' if more > 0 else 'less'} on {one.lamp} than on {against}: the "
        f"ratio is {decimal(one.ratio.value, 4)}, ± {decimal(half, 1)} % at {percent}, from "
        f"{'the spectra' if one.known_from == 'spectra' else 'the stated factor'}."
    )


def colour_cells(one: ColourRatio, technology: str) -> dict[str, str | float]:
    """Return how a meter favours a lamp as cells of a table, by their heads."""
    return {
        "lamp": one.lamp,
        "technology": {"led": "LED"}.get(technology, technology),
        f"meter {one.meter} reads more (%)": 100.0 * (one.ratio.value - 1.0),
        f"± (%, {100.0 * one.coverage:g} %)": 100.0 * one.ratio.half_width(one.coverage) / one.ratio.value,
        "than on": one.against or "the light it was trimmed to",
        "known from": one.known_from,
    }


def index_words(meter: Meter, computed: float) -> str:
    """Return the mismatch index of a meter, declared and computed (NaN without a responsivity) [1]."""
    source = "by bench.toml" if "mismatch_index_percent" in meter.declared else "assumed"
    said = f"Meter {meter.id}: f1' {decimal(meter.mismatch_index_percent, 1)} % {source}"
    if math.isnan(computed):
        return f"{said}; no responsivity on file to compute it from."
    return f"{said}, {decimal(100.0 * computed, 2)} % computed from its responsivity on 380 to 780 nm."


def pair_words(way: str, pair: ReadingComparison, lamps: str) -> str:
    """Return a comparison under one way of counting the colour."""
    scope = f"At {100.0 * pair.coverage:g} %, {statements.SCOPE_WORDS[pair.scope]}."
    return f"{lamps}: {WAY_WORDS[way]}, {_result(pair)}. {scope}"


def _result(pair: ReadingComparison) -> str:
    """Return a ratio with its interval."""
    if pair.verdict == "no_answer":
        return statements.verdict_words(pair)
    places = statements.limit_places(pair.ln_expanded_uncertainty)
    return f"{statements.percent_of(pair.ratio, places)} light ({statements.interval_words(pair)})"


def way_cells(way: str, pair: ReadingComparison, verdict: str) -> dict[str, str | float]:
    """Return a comparison under one way of counting the colour, with its verdict among all pairs, as cells by head."""
    percent = f"{100.0 * pair.coverage:g} %"
    colour = None if pair.result is None else pair.result.only("colour", "own colour")
    half = 0.0 if colour is None else 100.0 * colour.half_width(pair.coverage)
    return {
        "colour": WAY_WORDS[way],
        f"result ({percent})": _result(pair),
        "verdict, all pairs": statements.VERDICTS[verdict],
        f"of it by colour (± %, {percent})": half,
    }


def story_words(ways: Mapping[str, Campaign]) -> str:
    """Return which verdicts, each among all pairs of its housing, change once the colour is counted."""
    rows = changed_verdicts(ways)
    changed = rows[rows["verdict"] != rows["verdict_then"]].drop_duplicates(["lamp", "housing"])
    listed = ", ".join(_lamps(changed))
    turned = rows[(rows["alone"] == "clear") & (rows["value"] > 1.0) & (rows["value_then"] < 1.0)]
    none = "No verdict changes with the colour."
    said = f"Verdicts that change with the colour: {listed}." if listed else none
    if len(turned):
        said += (
            f" Taken alone, {', '.join(_lamps(turned))} would be clearly more with the colour ignored; once it is "
            "counted no gain is shown: colour alone explains what was displayed."
        )
    return said


def _lamps(rows: pd.DataFrame) -> list[str]:
    """Return the lamp of each row and where it stood."""
    return [f"{row['lamp']}{in_housing(row['housing'])}" for row in rows.to_dict("records")]


def areas_words(meter: str, areas: Mapping[str, float]) -> str:
    """Return the key numbers of the figure of spectra, for those who do not see it."""
    said = " and ".join(f"{decimal(area, 2)} % on {name}" for name, area in areas.items())
    return (
        f"Three panels over wavelength, 380 to 780 nm: the eye and meter {meter}; the light of the lamps; what the "
        f"meter reads too much at each wavelength, in all {said}."
    )
