"""What the colour of the light does on this bench: how a meter favours a lamp, and a comparison with and without it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.shared_inputs import own_colour_likeness
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.results.ratio_table import with_families
from photolab.bench.terms import instruments
from photolab.bench.terms.model import Bench
from photolab.metrology.quantity import Measured, measured

WAYS = ("ignored", "declared", "corrected")
"""Colour ignored; covered by the declared index of the meter; corrected with spectra or a stated factor."""
SOURCES = ("trimmed", "spectra", "stated factor", "mismatch index")
"""Where a reading ratio is known from, the weakest last; ``trimmed``: taken as the light the meter was trimmed to."""


@dataclass(frozen=True)
class ColourRatio:
    """How much more a meter reads on one lamp than on another of equal light.

    Attributes
    ----------
    meter, lamp, against : str
        Which; `against` is blank for the light that the meter was trimmed to, illuminant A.
    ratio : Measured
        Reading ratio of two lamps that give equal light. [1]
    known_from : str
        One of `SOURCES`, the weakest of the two lamps.
    coverage : float
        Coverage probability of the bench. [1]
    """

    meter: str
    lamp: str
    against: str
    ratio: Measured
    known_from: str
    coverage: float


def colour_ratio(
    bench: Bench, meter: str, lamp: str, against: str, *, factors: Mapping[str, float]
) -> ColourRatio:
    """Return how much more a meter reads on one lamp than on another of equal light.

    Parameters
    ----------
    bench : Bench
        The bench: stated factors, mismatch index, technologies.
    meter, lamp, against : str
        Which; `against` may be blank.
    factors : mapping of str to float
        Correction factors from lamps' own spectra. [1]

    Returns
    -------
    ColourRatio
        From the factors; of a lamp without one, from the stated factor of its technology, else within the limits
        that the mismatch index sets, as the campaign counts them: what lamps of one technology share cancels. A
        filament lamp of which nothing is on file counts as the light that the meter was trimmed to.
    """
    (own, source), (other, weaker) = (
        _reads(bench, meter, name, factors) if name else (measured(1.0), "trimmed")
        for name in (lamp, against)
    )
    known_from = max(source, weaker, key=SOURCES.index)
    return ColourRatio(meter, lamp, against, own / other, known_from, bench.settings.coverage)


def _reads(bench: Bench, meter: str, lamp: str, factors: Mapping[str, float]) -> tuple[Measured, str]:
    """Return what a meter reads of a lamp for each unit of light, and where that is known from."""
    technology, owner = technology_of(bench, lamp), bench.meters[meter]
    stated = instruments.stated_factor(owner, technology)
    if lamp in factors:
        u = 0.0 if technology == "filament" else steps.SPECTRAL_FLOOR
        factor, source = factors[lamp], "spectra"
    elif stated is not None:
        (factor, u), source = stated, "stated factor"
    elif technology == "filament":
        return measured(1.0), "trimmed"
    else:
        alike = own_colour_likeness(bench.tables["lamps"]).get(lamp, "like")
        own = instruments.own_colour_input(owner, lamp, alike)
        shared = instruments.colour_input(owner, technology or f"of {lamp}")
        return measured(1.0, shared, own), "mismatch index"
    left = instruments.corrected_colour_input(owner, technology, u)
    return measured(1.0 / factor, (left, -1.0 / factor)), source


def technology_of(bench: Bench, lamp: str) -> str:
    """Return the technology of a lamp, blank where the folder does not say."""
    return bench.technologies.get(lamp, "")


def colour_ways(bench: Bench) -> dict[str, Campaign]:
    """Return the campaign evaluated with the colour ignored, declared and corrected.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    dict
        Out of `WAYS`; ``corrected`` is there only where spectra or a stated factor correct any lamp that was read.
    """
    left = set(steps.ALL) - {"spectral"}
    blind = {name: replace(m, mismatch_index_percent=0.0) for name, m in bench.meters.items()}
    made = {
        "ignored": evaluate(replace(bench, meters=blind), corrections=left),
        "declared": evaluate(bench, corrections=left),
    }
    whole = evaluate(bench)
    return made | ({"corrected": whole} if _corrected(whole) else {})


def pair_ways(
    ways: Mapping[str, Campaign], lamp: str, against: str, housing: str
) -> dict[str, ReadingComparison]:
    """Return a comparison under every way that says something of it.

    Parameters
    ----------
    ways : mapping
        As from `colour_ways`.
    lamp, against, housing : str
        Two lamps that were read in a housing.

    Returns
    -------
    dict
        Out of `WAYS`; ``corrected`` is there only where the light of one of the two is corrected.
    """
    told = (way for way, one in ways.items() if way != "corrected" or {lamp, against} & _corrected(one))
    return {way: ways[way].ratio(lamp, against, housing=housing) for way in told}


def _corrected(campaign: Campaign) -> set[str]:
    """Return the lamps whose readings are multiplied by a factor of colour, that of the meter they are brought to."""
    bench, readings = campaign.bench, campaign.selection.readings
    read = set(zip(readings["onto"], readings["lamp"], strict=True))
    return {
        name for meter, name in read if steps.spectral_factor(bench, meter, name, technology_of(bench, name))
    }


def most_turned(ways: Mapping[str, Campaign], lamp: str | None, housing: str | None) -> tuple[str, str]:
    """Return lamp and housing whose result turns most with the colour.

    Parameters
    ----------
    ways : mapping
        As from `colour_ways`.
    lamp, housing : str or None
        Which; any where None.

    Returns
    -------
    tuple of two str
        First clearly more, taken alone, that becomes less; else another verdict, else any; blank where nothing is
        compared.
    """
    rows = changed_verdicts(ways)
    wanted = {"instant": "initial", "point": "hot_spot", "lamp": lamp, "housing": housing}
    for column, which in wanted.items():
        rows = rows if which is None or rows.empty else rows[rows[column] == which]
    if rows.empty:
        return lamp or "", housing or ""
    other = rows["verdict"] != rows["verdict_then"]
    turned = (rows["alone"] == "clear") & (rows["value"] > 1.0) & (rows["value_then"] < 1.0)
    first = rows.iloc[int(np.argmax(np.where(turned, 2, other)))]
    return str(first["lamp"]), str(first["housing"])


def changed_verdicts(ways: Mapping[str, Campaign]) -> pd.DataFrame:
    """Return ratios for the specimens with the colour ignored, and what they are then (``_then``).

    Parameters
    ----------
    ways : mapping
        As from `colour_ways`.

    Returns
    -------
    DataFrame
        One row a lamp, housing, place and instant; verdict among all pairs of its housing, and ``alone``; the last way
        is the corrected one, else the declared one.
    """
    rows, last = (
        _of_families(ways[way]) for way in ("ignored", "corrected" if "corrected" in ways else "declared")
    )
    if rows.empty:
        return rows.assign(alone="", verdict_then="", value_then=math.nan)
    keys = ["lamp", "housing", "point", "instant", "scope"]
    return rows.merge(last, on=keys, suffixes=("", "_then"))


def _of_families(campaign: Campaign) -> pd.DataFrame:
    """Return the ratios for the specimens with the verdict that each has among all pairs of its housing."""
    table = campaign.table
    if table.empty:
        return table
    rows = with_families(campaign, table[table["scope"] == "specimens"])
    return rows.assign(alone=rows["verdict"], verdict=rows["family_verdict"])
