"""What the first notebooks show: two readings, one seating of each lamp, what a folder can say, the drawings.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.model import Meter
from photolab.bench.pairs import ReadingComparison
from photolab.bench.two_readings import compare
from photolab.publication import figure_tables, readiness, statements
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import bench_drawing, meter_display
from photolab.publication.figures import three_bars as bars_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.words_lamp import light_words

__all__ = ["abilities", "bars", "bench_picture", "meter_picture", "one_seating_each"]


def bars(
    pair: ReadingComparison, *, shared_range: bool = True, seatings: str = "once", invented: bool = True
) -> Picture | Words:
    """Return the three-bar strip of two readings.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.
    shared_range : bool, default True
        Both were read on one range of one meter.
    seatings : str, default "once"
        How often each lamp was seated, in words.
    invented : bool, default True
        Mark the figure as drawn from invented readings.

    Returns
    -------
    Picture or Words
        The strip.
    """
    rows = figure_tables.three_bars(pair, shared_range=shared_range, seatings=seatings)
    if rows.empty:
        return say(f"No bars yet: {statements.verdict_words(pair)}.")
    figure, (axes,) = new_figure(height=2.5)
    bars_figure.draw(axes, rows, percent=100.0 * (pair.ratio - 1.0))
    return picture(figure, alt=figure_tables.three_bars_words(pair), invented=invented)


def one_seating_each(campaign: Campaign, *, lamps: tuple[str, str] | None = None) -> Words:
    """Return what two lamps would look like from one seating each, beside the whole campaign.

    The seatings are the first of each lamp on the first day on which both were read in one housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamps : tuple of str, optional
        Two lamps; the first two that are not the baseline (the first two, where there are only two).

    Returns
    -------
    Words
        Both comparisons.
    """
    names = [str(lamp) for lamp in campaign.bench.tables["lamps"]["lamp"]]
    others = [lamp for lamp in names if lamp != campaign.baseline]
    first, second = lamps or tuple([*(others if len(others) > 1 else names), "", ""][:2])
    seats = campaign.seats
    seats = seats[(seats["instant"] == "initial") & (seats["point"] == "hot_spot")]
    both = [seats[seats["lamp"] == lamp] for lamp in (first, second)]
    met = both[0].merge(both[1][["housing", "day"]].drop_duplicates(), on=["housing", "day"])
    if not second or met.empty:
        return say(
            "Your bench does not hold two lamps read in one housing on one day: nothing to set beside it."
        )
    housing, day = str(met["housing"].iloc[0]), str(met["day"].iloc[0])
    a, b = (one[(one["housing"] == housing) & (one["day"] == day)].iloc[0] for one in both)
    meters: list[Meter] = [campaign.bench.meters[str(row["meter"])] for row in (a, b)]
    pair = compare(
        float(np.exp(a["ln_value"])),
        float(np.exp(b["ln_value"])),
        (meters[0], meters[1]),
        technology=(a["technology"] or None, b["technology"] or None),
        range_lx=(_range(a), _range(b)),
        mounting_sd_percent=100.0 * campaign.spreads.mounting.sd,
        mounting_dof=campaign.spreads.mounting.dof,
        coverage=campaign.bench.settings.coverage,
        alike_percent=campaign.bench.settings.alike_percent,
    )
    whole = campaign.ratio(second, first, housing=housing)
    where = (f" in housing {housing}" if housing else "") + (f" on {day}" if day else "")
    return say(
        f"{second} against {first}{where}, from the first seating of each: {_statement(pair)}",
        f"The same from every seating of the campaign: {_statement(whole)}",
    )


def _range(seat: pd.Series) -> float | None:  # type: ignore[type-arg]
    """Return the range of a seating; None where it is unknown or several were averaged."""
    top = float(seat["range_lx"])
    return None if math.isnan(top) else top


def _statement(pair: ReadingComparison) -> str:
    """Return a ratio with interval and verdict as a sentence."""
    if pair.verdict == "no_answer":
        return f"{light_words(pair.ratio, 1)}; {statements.verdict_words(pair)}."
    places = statements.limit_places(pair.ln_expanded_uncertainty)
    what = light_words(pair.ratio, places)
    verdict = {
        "clear": "clear of the bench uncertainty",
        "alike": "alike within the declared margin",
        "inside": "inside the bench uncertainty",
    }[pair.verdict]
    return f"{what} ({statements.interval_words(pair)}), {verdict}."


def abilities(campaign: Campaign, *, able: bool) -> Table | Words:
    """Return what a bench folder can say, or cannot say yet.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    able : bool
        Which of the two.

    Returns
    -------
    Table or Words
        One row a question, with the notebook that answers it or what to add.
    """
    rows = [one for one in readiness.list_abilities(campaign.bench, campaign) if one.able is able]
    if not rows:
        return say("Nothing yet." if able else "Nothing: this folder answers every question asked here.")
    frame = pd.DataFrame(
        {
            "question": [one.what for one in rows],
            "answer": [one.answer for one in rows],
            "notebook": [one.notebook for one in rows],
        }
    )
    heads = {"answer": "how well" if able else "what to add"}
    return table(
        frame, heads=heads, columns=["question", "answer", "notebook"] if able else ["question", "answer"]
    )


def bench_picture() -> Picture:
    """Return the labelled drawing of the bench.

    Returns
    -------
    Picture
        With the names its lengths have in bench.toml.
    """
    figure, (axes,) = new_figure(height=3.4)
    bench_drawing.draw(axes)
    return picture(figure, alt=bench_drawing.ALT)


def meter_picture() -> Picture:
    """Return the labelled drawing of a meter's display.

    Returns
    -------
    Picture
        With the names its figures have in bench.toml.
    """
    figure, (axes,) = new_figure(height=3.6)
    meter_display.draw(axes)
    return picture(figure, alt=meter_display.ALT)
