"""What the notebook on the next protocol shows of plans: forecasts, allocation, bench hours, run order.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.review import forecast, forecast_against_results
from photolab.errors import MethodError
from photolab.metrology.planning import allocate_effort, bench_hours, resolvable_ratio, run_order
from photolab.metrology.quantity import coverage_factor
from photolab.metrology.reporting import decimal
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import allocation as allocation_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.front_page import is_invented
from photolab.publication.views_protocol import NOTHING, Reviewed
from photolab.publication.words_bench import counted

__all__ = [
    "allocation",
    "allocation_said",
    "forecast_check",
    "order",
    "own_plans",
    "plans_picture",
    "plans_table",
    "resolvable",
]

Plan = tuple[int, int, int]


def resolvable(reviewed: Reviewed, seatings: Sequence[int]) -> Table | Words:
    """Return the smallest difference that so many seatings would show, before the test.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    seatings : sequence of int
        Seatings of each lamp. [1]

    Returns
    -------
    Table or Words
        One row a number of seatings.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    coverage = reviewed.campaign.bench.settings.coverage
    sd = reviewed.campaign.spreads.mounting.sd
    ends = {
        name: [
            100.0 * (resolvable_ratio(sd, n, floor=reviewed.floor, power=power, coverage=coverage) - 1.0)
            for n in seatings
        ]
        for name, power in (("even", 0.5), ("four", 0.8))
    }
    shown = pd.DataFrame({"n": list(seatings), **ends})
    heads = {
        "n": "seatings of each lamp",
        "even": "difference shown with an even chance (%)",
        "four": "shown in four cases of five (%)",
    }
    return table(shown, heads=heads, places=1)


EXAMPLE_MINUTES = {"specimen": 10.0, "mounting": 45.0, "reading": 0.5}
"""What one more of each takes, invented: it is used on an invented bench only. [min]"""
NO_MINUTES = "What one more specimen, seating and reading takes is not stated: write minutes in the settings."


def own_plans(campaign: Campaign) -> tuple[Plan, ...]:
    """Return the plan of a campaign and what twice and four times the seatings or specimens would be.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of (int, int, int)
        Specimens a lamp, seatings a specimen, readings a seating; the plan of the median lamp first. [1]
    """
    counts = campaign.weights.counts
    each = counts["n_mountings"] / counts["n_specimens"], counts["n_readings"] / counts["n_mountings"]
    a, b, r = (max(1, round(float(one.median()))) for one in (counts["n_specimens"], *each))
    return tuple(
        dict.fromkeys([(a, b, r), (1, 1, r), (a, 2 * b, r), (a, 4 * b, r), (2 * a, b, r), (4 * a, b, r)])
    )


def _times(reviewed: Reviewed, minutes: Mapping[str, float] | None) -> tuple[Mapping[str, float] | None, str]:
    """Return the minutes to plan with, None where nobody stated them, and words where they are invented."""
    if minutes is not None or not is_invented(reviewed.campaign.bench):
        return minutes, ""
    return EXAMPLE_MINUTES, "The minutes are invented, to show the use of it."


def _forecasts(reviewed: Reviewed, plans: Sequence[Plan] | None) -> pd.DataFrame:
    rows = []
    for specimens, mountings, readings in plans or own_plans(reviewed.campaign):
        one = forecast(
            reviewed.campaign,
            specimens=specimens,
            mountings=mountings,
            readings=readings,
            floor=reviewed.floor,
        )
        rows.append(
            {
                "label": f"{specimens} × {mountings} × {readings}",
                "plan": f"{counted(specimens, 'specimen')}, {counted(mountings, 'seating')}, "
                f"{counted(readings, 'reading')}",
                "specimens": 100.0 * one.half_width_specimens,
                "models": 100.0 * one.half_width_models,
            }
        )
    return pd.DataFrame(rows)


def plans_table(
    reviewed: Reviewed,
    plans: Sequence[Plan] | None = None,
    *,
    minutes: Mapping[str, float] | None = None,
    lamps: int | None = None,
) -> Table | Words:
    """Return the forecast half-width and, where minutes are stated, the bench hours of plans.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    plans : sequence of (int, int, int), optional
        Specimens a lamp, seatings a specimen, readings a seating; `own_plans` where not given. [1]
    minutes : mapping, optional
        What one more specimen, mounting and reading takes. [min]
    lamps : int, optional
        Lamps in the next campaign, the baseline counted; as many as in this one where not given. [1]

    Returns
    -------
    Table or Words
        One row a plan.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    shown = _forecasts(reviewed, plans)
    heads = {
        "plan": "plan for each lamp",
        "specimens": "for the specimens (± %)",
        "models": "for the models (± %)",
    }
    times, note = _times(reviewed, minutes)
    if times is not None:
        many = lamps or len(reviewed.campaign.bench.tables["lamps"])
        shown["hours"] = [
            bench_hours(
                {"lamp": many, "specimen": s, "mounting": m, "reading": r}, {"lamp": 0.0, **dict(times)}
            )
            for s, m, r in plans or own_plans(reviewed.campaign)
        ]
        heads["hours"] = f"bench time, {counted(many, 'lamp')} (h)"
    return table(shown, columns=list(heads), heads=heads, places=1, caption=note)


def plans_picture(reviewed: Reviewed, plans: Sequence[Plan] | None = None) -> Picture | Words:
    """Return the forecast half-widths of plans as a picture.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    plans : sequence of (int, int, int), optional
        Specimens a lamp, seatings a specimen, readings a seating; `own_plans` where not given. [1]

    Returns
    -------
    Picture or Words
        One row a plan.
    """
    if reviewed.why:
        return say(f"No picture: {reviewed.why}.")
    rows = _forecasts(reviewed, plans)
    floor = 100.0 * coverage_factor(reviewed.campaign.bench.settings.coverage, math.inf) * reviewed.floor
    figure, (axes,) = new_figure(height=1.3 + 0.33 * len(rows))
    allocation_figure.draw(axes, rows, floor=floor)
    axes.set_ylabel("specimens × seatings\n× readings")
    said = "; ".join(
        f"{row['label']} ± {decimal(row['specimens'], 1)} and {decimal(row['models'], 1)}"
        for row in rows.to_dict("records")
    )
    percent = f"{100.0 * reviewed.campaign.bench.settings.coverage:g}"
    alt = (
        f"Forecast half-width of a ratio in % at {percent} %, for the specimens and for the models, by "
        "specimens × seatings × "
        f"readings of each lamp: {said}. Seatings cannot go below ± {decimal(floor, 1)}."
    )
    return picture(figure, alt=alt, invented=is_invented(reviewed.campaign.bench))


def forecast_check(reviewed: Reviewed) -> Words:
    """Return how the forecast compares with the intervals that this campaign reached.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.

    Returns
    -------
    Words
        One or two sentences.
    """
    if reviewed.why:
        return say(f"{NOTHING}{reviewed.why}.")
    rows = forecast_against_results(reviewed.campaign)
    share = (rows["reached"] / rows["forecast"]).dropna()
    if share.empty:
        return say("No comparison of this folder has an interval to set beside a forecast.")
    middle, low, high = (decimal(float(share.quantile(q)), 2) for q in (0.5, 0.0, 1.0))
    worst = decimal(100.0 * float((share - 1.0).abs().max()), 0)
    fair = 0.8 <= float(share.median()) <= 1.25
    return say(
        f"Reached half-width over forecast one, in {len(share)} comparisons: {middle} in the middle, {low} to {high}.",
        f"The two ways lie at most {worst} % apart, so a plan may be made with the forecast. It is a little bold where "
        f"specimens were seated unequally often, and where spreads are known from few differences."
        if fair
        else "The forecast does not fit this campaign: do not plan with it before the reason is known.",
    )


def allocation(
    reviewed: Reviewed, *, minutes: Mapping[str, float] | None = None, hours_a_lamp: float
) -> Table | Words:
    """Return how bench time for one lamp is best spent on specimens, seatings and readings.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    minutes : mapping, optional
        What one more specimen, mounting and reading takes. [min]
    hours_a_lamp : float
        Bench time for one lamp. [h]

    Returns
    -------
    Table or Words
        One row a level.
    """
    rows = _allocated(reviewed, minutes, hours_a_lamp)
    if isinstance(rows, Words):
        return rows
    names = {
        "specimen": "specimens of a lamp",
        "mounting": "seatings of a specimen",
        "reading": "readings of a seating",
    }
    shown = pd.DataFrame(
        {
            "what": [names[level] for level in rows["level"]],
            "sd": 100.0 * rows["sd"],
            "minutes": rows["cost"],
            "count": rows["count"],
            "variance": 100.0 * rows["variance"] / rows["variance"].sum(),
            "spent": rows["spent"] / 60.0,
        }
    )
    heads = {
        "what": "what",
        "sd": "SD (%)",
        "minutes": "one more takes (min)",
        "count": "take",
        "variance": "part of what is left (%)",
        "spent": "bench time (h)",
    }
    places = {"sd": 2, "minutes": 1, "variance": 0, "spent": 1}
    note = _times(reviewed, minutes)[1]
    return table(shown, columns=list(heads), heads=heads, places=places, caption=note)


def _allocated(
    reviewed: Reviewed, minutes: Mapping[str, float] | None, hours_a_lamp: float
) -> pd.DataFrame | Words:
    times, _ = _times(reviewed, minutes)
    if times is None:
        return say(NO_MINUTES)
    spreads = reviewed.campaign.spreads
    reading = min(spread.sd for spread in spreads.reading.values())
    sds = {"specimen": spreads.specimen.sd, "mounting": spreads.mounting.sd, "reading": reading}
    try:
        return allocate_effort(
            sds, {level: float(times[level]) for level in sds}, total_cost=60.0 * hours_a_lamp
        )
    except MethodError as refused:
        return say(f"{NOTHING}{refused}.")


def allocation_said(
    reviewed: Reviewed, *, minutes: Mapping[str, float] | None = None, hours_a_lamp: float
) -> Words:
    """Return the best plan for the time of one lamp in words.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    minutes : mapping, optional
        What one more specimen, mounting and reading takes. [min]
    hours_a_lamp : float
        Bench time for one lamp. [h]

    Returns
    -------
    Words
        One or two sentences.
    """
    rows = _allocated(reviewed, minutes, hours_a_lamp)
    if isinstance(rows, Words):
        return rows
    s, m, r = (int(one) for one in rows["count"])
    assumed = [
        name
        for name, spread in (
            ("specimens", reviewed.campaign.spreads.specimen),
            ("seatings", reviewed.campaign.spreads.mounting),
        )
        if spread.assumed
    ]
    note = f" The spread of {' and '.join(assumed)} is assumed." if assumed else ""
    return say(
        f"For a statement about the model, {decimal(hours_a_lamp, 0)} hours a lamp are best spent on "
        f"{counted(s, 'specimen')}, "
        f"{counted(m, 'seating')} of each, {counted(r, 'reading')} a seating: the mean of the lamp then scatters by "
        f"{decimal(100.0 * math.sqrt(float(rows['variance'].sum())), 2)} %.{note} For a statement about "
        "the specimens on the bench, "
        f"spend the same time on seatings of one specimen.",
        _times(reviewed, minutes)[1],
    )


def order(reviewed: Reviewed, *, seed: int, rounds: int, baseline_every: int = 4) -> Table | Words:
    """Return a random run order for one day, to print and work through.

    Parameters
    ----------
    reviewed : Reviewed
        From `review`.
    seed : int
        Seed of the shuffle. [1]
    rounds : int
        Seatings of every lamp. [1]
    baseline_every : int, default 4
        Lamps between two baselines. [1]

    Returns
    -------
    Table or Words
        One row a round of lamps.
    """
    campaign = reviewed.campaign
    lamps = [str(lamp) for lamp in campaign.bench.tables["lamps"]["lamp"] if str(lamp) != campaign.baseline]
    if not lamps:
        return say(f"{NOTHING}there is no lamp beside the baseline.")
    rows = run_order(
        lamps, seed=seed, rounds=rounds, baseline=campaign.baseline, baseline_every=baseline_every
    )
    block = (rows["lamp"] == campaign.baseline).cumsum()
    lines = [
        {"from": int(part["position"].min()), "order": " · ".join(str(one) for one in part["lamp"])}
        for _, part in rows.groupby(block, sort=False)
    ]
    return table(pd.DataFrame(lines), heads={"from": "place", "order": "seat in this order"})
