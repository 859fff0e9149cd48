"""What the first notebook shows: what a folder can say, the drawings.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.publication import readiness
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures import bench_drawing, meter_display
from photolab.publication.figures.common import Picture, new_figure, picture

__all__ = ["abilities", "bench_picture", "meter_picture"]


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
