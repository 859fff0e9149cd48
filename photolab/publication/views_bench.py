"""What the notebook on repeatability shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.repeatability import (
    Repeatability,
    alike,
    plain_spreads,
    repeatability,
    specimen_spreads,
)
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import statements, words_bench
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import components as components_figure
from photolab.publication.figures import mountings_strip
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented

__all__ = [
    "Measured",
    "answer",
    "beside",
    "by_housing",
    "components_picture",
    "flagged",
    "homogeneity",
    "measure",
    "seatings_picture",
    "second_way",
    "second_way_words",
    "specimens",
    "what_varies",
]  # fmt: skip

NOTHING = "Not from this folder: "


@dataclass(frozen=True, eq=False)
class Measured:
    """How repeatable a campaign is, or why that cannot be said.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    found : Repeatability or None
        None where nothing was repeated.
    why : str
        Then the reason.
    """

    campaign: Campaign
    found: Repeatability | None
    why: str


def measure(campaign: Campaign) -> Measured:
    """Return the repeatability of a campaign for the views below.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Measured
        With the reason where nothing was repeated.
    """
    try:
        return Measured(campaign, repeatability(campaign), "")
    except MethodError as refused:
        return Measured(campaign, None, str(refused))


def _nothing(measured: Measured) -> Words:
    assumed = decimal(100.0 * measured.campaign.spreads.mounting.sd, 1)
    return say(
        f"{NOTHING}{measured.why}. Until lamps are seated again, a standard deviation of {assumed} % "
        "from seating "
        f"to seating is assumed; seat one lamp five times to replace it."
    )


def answer(measured: Measured) -> Words:
    """Return how repeatable the bench is.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Words
        Two or three sentences.
    """
    found = measured.found
    if found is None:
        return _nothing(measured)
    seats = found.seats
    said = words_bench.answer_words(found, housings=seats["housing"].nunique(), days=seats["day"].nunique())
    lamps = words_bench.counted(seats["lamp"].nunique(), "lamp")
    counted = f"{words_bench.counted(len(seats), 'seating')} of {lamps}"
    return say(*said, f"It holds for this bench, these housings and hands, from {counted}.")


def what_varies(measured: Measured) -> Table | Words:
    """Return the table of components.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Table or Words
        What varies, its standard deviation with interval, its part of the variance.
    """
    if measured.found is None:
        return say(f"{NOTHING}{measured.why}.")
    rows = measured.found.table
    shown = pd.DataFrame(
        {
            "what": [words_bench.level_words(level) for level in rows["level"]],
            "sd": 100.0 * rows["sd"],
            "low": 100.0 * rows["low"],
            "high": 100.0 * rows["high"],
            "part": 100.0 * rows["part"],
        }
    )
    percent = f"{100.0 * measured.found.coverage:g}"
    heads = {
        "what": "what varies",
        "sd": "SD (%)",
        "low": f"{percent} % from (%)",
        "high": "to (%)",
        "part": "part of the variance (%)",
    }
    return table(shown, heads=heads, places={"sd": 2, "low": 2, "high": 2, "part": 0})


def beside(measured: Measured) -> Table:
    """Return the pooled standard deviations that the campaign's results rest on.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Table
        One row a level.
    """
    rows = measured.campaign.components
    shown = pd.DataFrame(
        {
            "what": [words_bench.level_words(level) for level in rows["level"]],
            "sd": 100.0 * rows["sd"].where((rows["sd"] > 0.0) | ~rows["assumed"].astype(bool)),
            "known": [
                "not repeated" if one and sd == 0.0 else "assumed" if one else "own readings"
                for sd, one in zip(rows["sd"], rows["assumed"], strict=True)
            ],
        }
    )
    heads = {"what": "what varies", "sd": "SD used in the results (%)", "known": "known from"}
    return table(shown, heads=heads, places=2)


def by_housing(measured: Measured) -> Table:
    """Return the seating scatter of each housing: its own, and the one its results rest on.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Table
        One row a housing.
    """
    spreads = measured.campaign.spreads
    rows = [
        (
            housing,
            100.0 * own.sd if own.dof else math.nan,
            own.dof,
            100.0 * used.sd,
            decimal(used.dof, 0) if math.isfinite(used.dof) else "assumed",
        )
        for housing, own in spreads.own_seating.items()
        for used in [spreads.seating_in(housing)]
    ]
    shown = pd.DataFrame(rows, columns=["housing", "own", "own_dof", "used", "dof"])
    heads = {
        "housing": "housing",
        "own": "SD of its own seatings (%)",
        "own_dof": "degrees of freedom",
        "used": "SD used in the results (%)",
        "dof": "degrees of freedom of that",
    }
    return table(shown, heads=heads, places={"own": 2, "own_dof": 0, "used": 2})


def seatings_picture(measured: Measured) -> Picture | Words:
    """Return the strip plot of seatings.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Picture or Words
        One row a lamp.
    """
    if measured.found is None:
        return say(f"No picture: {measured.why}.")
    seats = measured.found.seats
    label = "mounting " + seats["mounting"].astype(str) + ", " + seats["day"].astype(str)
    percent = 100.0 * np.expm1(seats["deviation"])
    rows = seats.assign(percent=percent, label=label).sort_values("lamp", kind="stable")
    sd = 100.0 * measured.campaign.spreads.mounting.sd
    figure, (axes,) = new_figure(height=1.3 + 0.42 * rows["lamp"].nunique())
    mountings_strip.draw(axes, rows, sd=sd)
    sound = rows[~rows["flagged"]]
    ends = f"{decimal(sound['percent'].min(), 1)} to {decimal(sound['percent'].max(), 1)} %"
    apart = "".join(
        f" Flagged: {row['lamp']} in {row['housing']}, {row['label']}, {decimal(row['percent'], 1)} %."
        for row in rows[rows["flagged"]].to_dict("records")
    )
    alt = (
        f"{len(rows)} seatings of {rows['lamp'].nunique()} lamps as marks on one row a lamp, by how far "
        "each lies from the "
        f"lamp's mean in its housing: {ends}; the pale band is ± {decimal(sd, 1)} %, one standard "
        f"deviation.{apart}"
    )
    return picture(figure, alt=alt, invented=is_invented(measured.campaign.bench))


def components_picture(measured: Measured) -> Picture | Words:
    """Return the dot-and-interval plot of components.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Picture or Words
        One row a level.
    """
    if measured.found is None:
        return say(f"No picture: {measured.why}.")
    rows = measured.found.table
    used = measured.campaign.components.set_index("level")
    shown = pd.DataFrame(
        {
            "label": [words_bench.level_words(level) for level in rows["level"]],
            **{name: 100.0 * rows[name].to_numpy(float) for name in ("sd", "low", "high")},
            "used": [100.0 * float(used["sd"].get(level, float("nan"))) for level in rows["level"]],
            "assumed": [bool(used["assumed"].get(level, False)) for level in rows["level"]],
        }
    )
    figure, (axes,) = new_figure(height=1.2 + 0.42 * len(shown))
    components_figure.draw(axes, shown)
    said = "; ".join(
        f"{row['label']} {decimal(row['sd'], 2)} ({decimal(row['low'], 2)} to {decimal(row['high'], 2)})"
        for row in shown.to_dict("records")
    )
    percent = f"{100.0 * measured.found.coverage:g}"
    alt = f"Standard deviations in % as dots with their intervals at {percent} %: {said}."
    return picture(figure, alt=alt, invented=is_invented(measured.campaign.bench))


def flagged(measured: Measured) -> Words:
    """Return the seatings and lamps that stand apart.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Words
        A list; one sentence where there are none.
    """
    if measured.found is None:
        return say(f"{NOTHING}{measured.why}.")
    codes = {"mounting_flagged", "lamp_scatters"}
    found = [statements.finding_words(f) for f in measured.campaign.findings if f.code in codes]
    if not found:
        return say("No seating lies so far from the others that chance seldom does it.")
    return say(*found, bullets=len(found) > 1)


def specimens(measured: Measured) -> Words:
    """Return how well the spread of specimens is known.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Words
        A list, one lamp each.
    """
    try:
        spreads = specimen_spreads(measured.campaign)
    except MethodError as refused:
        return say(f"{NOTHING}{refused}.")
    if spreads.empty:
        return say(
            f"{NOTHING}no lamp was tested with two specimens, so how specimens differ is not known at all."
        )
    single = [str(lamp) for lamp, spread in measured.campaign.spreads.specimens.items() if spread.assumed]
    sd = decimal(measured.campaign.bench.settings.specimen_sd_percent, 1)
    alone = f"{', '.join(single)}: a single piece says nothing of its model; the declared {sd} % stands in."
    return say(*words_bench.specimens_words(spreads), *([alone] if single else []), bullets=True)


def homogeneity(measured: Measured) -> Words:
    """Return whether seatings scatter alike.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Words
        Two or three sentences.
    """
    if measured.found is None:
        return say(f"{NOTHING}{measured.why}.")
    seats = measured.found.seats
    try:
        whole = alike(seats)
        sound = alike(seats[~seats["flagged"]]) if seats["flagged"].any() else None
    except MethodError as refused:
        return say(f"{NOTHING}{refused}.")
    return say(*words_bench.alike_words(whole, sound, noun="lamp, specimen, housing and day"))


def second_way(measured: Measured) -> Table | Words:
    """Return the spreads by plain statistics beside the components.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Table or Words
        One row a level.
    """
    rows = _plain(measured)
    if rows.empty:
        return say(f"{NOTHING}{measured.why or 'there are no repeats for a second way'}.")
    shown = rows.assign(
        what=[words_bench.level_words(level) for level in rows["level"]],
        plain=100.0 * rows["sd"],
        component=100.0 * rows["components_sd"],
    )
    heads = {
        "what": "what varies",
        "component": "component, SD (%)",
        "plain": "second way, SD (%)",
        "count": "from so many pairs",
    }
    return table(shown, columns=list(heads), heads=heads, places=3)


def _plain(measured: Measured) -> pd.DataFrame:
    if measured.found is None:
        return pd.DataFrame()
    return plain_spreads(measured.campaign, measured.found)


def second_way_words(measured: Measured) -> Words:
    """Return whether the second way agrees.

    Parameters
    ----------
    measured : Measured
        From `measure`.

    Returns
    -------
    Words
        One or two sentences.
    """
    rows = _plain(measured)
    if rows.empty:
        return say("Nothing to judge without repeats.")
    said = []
    for row in rows.to_dict("records"):
        apart = 100.0 * abs(row["sd"] / row["components_sd"] - 1.0)
        inside = row["low"] <= row["sd"] <= row["high"]
        end = (
            "inside the interval of the component"
            if inside
            else "outside the interval: the scatter is not normal"
        )
        said.append(f"{words_bench.level_words(row['level'])}: {decimal(apart, 1)} % apart, {end}")
    return say(statements.capital("; ".join(said)) + ".")
