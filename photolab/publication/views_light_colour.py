"""What the notebook on the colour of the light shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.colours import (
    ColourRatio,
    MeterColour,
    colour_ratio,
    colour_ways,
    meter_colour,
)
from photolab.bench.model import Bench
from photolab.bench.pairs import ReadingComparison
from photolab.bench.selection import baseline_lamp, main_meter
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal
from photolab.publication import statements
from photolab.publication.display import Table, Words, say, table

__all__ = [
    "Colour",
    "answer",
    "factors",
    "favour",
    "index",
    "look",
    "second_way",
    "story",
    "ways",
]

NO_FACTORS = (
    "This folder has neither spectra (spectra.csv) nor a stated spectral factor, so no reading is corrected for "
    "colour. The mismatch index of the meter stands for it instead."
)
WAY_WORDS = {
    "ignored": "colour ignored",
    "declared": "not corrected, f1' of the meter counted",
    "corrected": "corrected with the spectra",
}


@dataclass(frozen=True, eq=False)
class Colour:
    """One meter, one lamp and the baseline, looked at with and without colour.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter : MeterColour
        Index and factors.
    campaigns : mapping
        The campaign by way, see `colours.WAYS`.
    lamp, against, housing : str
        The comparison that is followed; blank where there is none.
    ratio : ColourRatio or None
        How much more the meter reads on the lamp than on the baseline, for equal light.
    """

    bench: Bench
    meter: MeterColour
    campaigns: Mapping[str, Campaign]
    lamp: str
    against: str
    housing: str
    ratio: ColourRatio | None

    def pair(self, way: str) -> ReadingComparison:
        """Return the comparison under one way.

        Parameters
        ----------
        way : str
            Out of `colours.WAYS`.

        Returns
        -------
        ReadingComparison
            Lamp over baseline.
        """
        return self.campaigns[way].ratio(self.lamp, self.against, housing=self.housing)


def look(
    bench: Bench, *, meter: str | None = None, lamp: str | None = None, housing: str | None = None
) -> Colour:
    """Return what the views below show.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter, lamp, housing : str, optional
        Which; where they are not given, the meter with most readings, and the lamp whose gain turns most when its
        colour is counted.

    Returns
    -------
    Colour
        One comparison with and without colour.
    """
    chosen = meter or main_meter(bench.tables["readings"])
    campaigns = colour_ways(bench)
    against = baseline_lamp(bench)[0]
    name, place = _turned(campaigns, lamp, housing)
    ratio = colour_ratio(bench, chosen, name, against) if name else None
    return Colour(bench, meter_colour(bench, chosen), campaigns, name, against, place, ratio)


def _turned(campaigns: Mapping[str, Campaign], lamp: str | None, housing: str | None) -> tuple[str, str]:
    """Return lamp and housing where the answer turns most: clearly more to less, else another verdict, else any."""
    last = campaigns.get("corrected", campaigns["declared"])
    rows = campaigns["ignored"].table
    rows = rows[
        (rows["scope"] == "specimens") & (rows["instant"] == "initial") & (rows["point"] == "hot_spot")
    ]
    rows = rows[
        ((rows["lamp"] == lamp) | (lamp is None)) & ((rows["housing"] == housing) | (housing is None))
    ]
    keys = ["lamp", "housing", "point", "instant", "scope"]
    both = rows.merge(last.table, on=keys, suffixes=("", "_then"))
    if both.empty:
        return "", ""
    other = both["verdict"] != both["verdict_then"]
    turned = (both["verdict"] == "clear") & (both["value"] > 1.0) & (both["value_then"] < 1.0)
    first = both.loc[(2 * turned + other).sort_values(ascending=False, kind="stable").index[0]]
    return str(first["lamp"]), str(first["housing"])


def _name(colour: Colour) -> str:
    """Return the comparison in words."""
    where = f" in housing {colour.housing}" if colour.housing else ""
    return f"{colour.lamp} against {colour.against}{where}"


def _said(pair: ReadingComparison) -> str:
    """Return a ratio with interval and verdict."""
    if pair.verdict == "no_answer":
        return statements.verdict_words(pair)
    places = statements.limit_places(pair.ln_expanded_uncertainty)
    return f"{statements.percent_of(pair.ratio, places)} light ({statements.interval_words(pair)})"


def favour(colour: Colour) -> Words:
    """Return by how much the meter favours the lamp against the baseline.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Words
        One or two sentences.
    """
    ratio = colour.ratio
    if ratio is None:
        return say(NO_FACTORS)
    half = 100.0 * coverage_factor(colour.bench.settings.coverage) * ratio.u
    more = 100.0 * (ratio.ratio - 1.0)
    verb = "more" if more > 0 else "less"
    return say(
        f"Of two lamps that give equal light, meter {ratio.meter} reads {decimal(abs(more), 2)} % {verb} on "
        f"{ratio.lamp} than on {ratio.against}: the ratio is {decimal(ratio.ratio, 4)}, ± "
        f"{decimal(half, 1)} % at {100.0 * colour.bench.settings.coverage:g} %.",
    )


def answer(colour: Colour) -> Words:
    """Return the answer: whether the meter favours the lamp, and what that does to the result.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Words
        Two paragraphs.
    """
    if not colour.lamp:
        return say("No lamp was read beside the baseline: nothing to compare.", *favour(colour).paragraphs)
    ways = [way for way in WAY_WORDS if way in colour.campaigns and way != "declared"]
    said = "; ".join(f"{WAY_WORDS[way]}, {_said(colour.pair(way))}" for way in ways)
    scope = f"At {100.0 * colour.bench.settings.coverage:g} %, for the specimens on the bench."
    if "corrected" not in colour.campaigns:
        return say(
            f"{_name(colour)}: {WAY_WORDS['declared']}, {_said(colour.pair('declared'))}. {scope}", NO_FACTORS
        )
    return say(*favour(colour).paragraphs, f"{_name(colour)}: {said}. {scope}")


def index(colour: Colour) -> Words:
    """Return the mismatch index of the meter, declared and computed.

    Parameters
    ----------
    colour : Colour
        The meter.

    Returns
    -------
    Words
        One or two sentences.
    """
    meter = colour.meter
    declared = "mismatch_index_percent" in colour.bench.meters[meter.meter].declared
    source = "by bench.toml" if declared else "assumed"
    own = f"Meter {meter.meter}: f1' {decimal(meter.declared_percent, 1)} % {source}"
    if math.isnan(meter.computed_percent):
        return say(f"{own}; no responsivity on file to compute it from.")
    return say(
        f"{own}, {decimal(meter.computed_percent, 2)} % computed from its responsivity on 380 to 780 nm.",
        "The index says how far the meter is from the eye over all wavelengths. It does not say in which direction a "
        "given lamp is misread: two meters of one index can err to opposite sides.",
    )


KINDS = {"led": "LED", "filament": "filament", "discharge": "discharge"}
"""Technologies as they are written."""


def factors(colour: Colour) -> Table | Words:
    """Return the correction factors of the meter, lamps of one factor in one row.

    Parameters
    ----------
    colour : Colour
        The meter.

    Returns
    -------
    Table or Words
        Reading times factor is the corrected value.
    """
    known = colour.meter.factors
    if known.empty:
        return say(NO_FACTORS)
    rows = [
        {
            "lamps": ", ".join(block["lamp"]),
            "technology": KINDS.get(str(block["technology"].iloc[0]), str(block["technology"].iloc[0])),
            "reads": 100.0 * (1.0 / float(block["factor"].iloc[0]) - 1.0),
            "factor": float(block["factor"].iloc[0]),
            "u": 100.0 * coverage_factor(colour.bench.settings.coverage) * float(block["u"].iloc[0]),
            "from": "own spectrum" if bool(block["own_spectrum"].iloc[0]) else "stated factor",
        }
        for _, block in known.groupby(["technology", "factor"], sort=False)
    ]
    heads = {
        "lamps": "lamps",
        "technology": "technology",
        "reads": "reads too much (%)",
        "factor": "correction factor",
        "u": f"± (%, {100.0 * colour.bench.settings.coverage:g} %)",
        "from": "known from",
    }
    places = {"reads": 2, "factor": 4, "u": 1}
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads, places=places)


def ways(colour: Colour) -> Table | Words:
    """Return the comparison with the colour ignored, declared and corrected.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Table or Words
        One row a way.
    """
    if not colour.lamp:
        return say("No lamp was read beside the baseline: nothing to compare.")
    rows = []
    for way, words in WAY_WORDS.items():
        if way in colour.campaigns:
            pair = colour.pair(way)
            rows.append({"way": words, "result": _said(pair), "verdict": _verdict(pair)})
    heads = {
        "way": _name(colour),
        "result": f"result ({100.0 * colour.bench.settings.coverage:g} %)",
        "verdict": "verdict",
    }
    return table(pd.DataFrame(rows), columns=list(heads), heads=heads)


def _verdict(pair: ReadingComparison) -> str:
    """Return the verdict in few words."""
    return {
        "clear": "clear of the bench uncertainty",
        "alike": "alike within the declared margin",
        "inside": "inside the bench uncertainty",
        "no_answer": "no answer yet",
    }[pair.verdict]


def story(colour: Colour) -> Words:
    """Return what the colour did to the verdict of the lamp that is followed, and to all others.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Words
        Two or three sentences.
    """
    if "corrected" not in colour.campaigns or not colour.lamp:
        return say(NO_FACTORS)
    before, after = colour.campaigns["ignored"].table, colour.campaigns["corrected"].table
    keys = ["lamp", "housing", "point", "instant", "scope"]
    both = before.merge(after, on=keys, suffixes=("", "_then"))
    both = both[both["scope"] == "specimens"]
    changed = both[both["verdict"] != both["verdict_then"]]
    listed = ", ".join(
        f"{lamp} in {housing}" if housing else str(lamp)
        for lamp, housing in zip(changed["lamp"], changed["housing"], strict=True)
    )
    tail = (
        f"Verdicts that change with the colour: {listed}."
        if listed
        else "No verdict changes with the colour."
    )
    shown, left = colour.pair("ignored").ratio > 1.0, colour.pair("corrected").ratio > 1.0
    sign = "more" if shown else "less"
    head = f"As meter {colour.meter.meter} shows it, {colour.lamp} reads {sign} than {colour.against}"
    if shown and not left:
        head += (
            "; once the colour is corrected no gain is shown: colour alone explains the gain on the display."
        )
    elif shown != left:
        head += "; once the colour is corrected it does not: what it lacked was colour."
    else:
        head += ", and still does once the colour is corrected."
    return say(f"{head} {tail}")


def second_way(colour: Colour) -> Words:
    """Return the colour ratio by a coarser sum, and its change when the responsivity is moved by 1 nm.

    Parameters
    ----------
    colour : Colour
        The comparison.

    Returns
    -------
    Words
        Two sentences with the difference judged.
    """
    ratio = colour.ratio
    if ratio is None or math.isnan(ratio.coarse):
        return say(
            "Without spectra of both lamps and of the meter there is nothing to work out a second time."
        )
    away = 100.0 * abs(ratio.coarse / ratio.ratio - 1.0)
    share = away / (100.0 * ratio.u)
    verdict = "does not matter" if share < 1.0 / 3.0 else "must be counted"
    return say(
        f"Plain sums over every fifth nanometre give {decimal(ratio.coarse, 4)} instead of {decimal(ratio.ratio, 4)}, "
        f"{decimal(away, 2)} % away; beside a standard uncertainty of {decimal(100.0 * ratio.u, 1)} % that {verdict}.",
        f"Moving the responsivity by 1 nm moves the ratio by {decimal(100.0 * ratio.one_nm, 2)} %: that, and not the "
        f"arithmetic, is what limits it.",
    )
