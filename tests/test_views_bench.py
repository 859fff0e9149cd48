"""What notebooks 02 and 03 show. Oracles: figures of the results themselves, the scenario's stories in words."""

from pathlib import Path

import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign

from photolab.metrology.control import Signal
from photolab.publication.figures import chances, control_chart, intervals, mountings_strip
from photolab.publication.figures.common import new_figure, stored
from photolab.publication.sentences import words_bench

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def demo():
    return demo_campaign()


def test_signals_in_words():
    """Oracle: by hand: exp(0.05) - 1 = 5.1 %."""
    day = Signal("day", "D03", "D03", 0.05, 0.01, 0.09, 3.0, 2.9, 0.004)
    assert words_bench.signal_words(day) == (
        "D03 lies 5.1 % above the other days (1.0 to 9.4 % at 95 %; a steady bench shows such a sign in "
        "0.4 of 100 campaigns)"
    )
    drift = Signal("drift", "D01", "D08", -0.01, -0.018, -0.002, -4.0, 2.5, 0.0001)
    assert words_bench.signal_words(drift).startswith(
        "a slope of 1.0 % down from one day to the next (0.2 to 1.8 %)"
    )
    assert words_bench.chance(0.0001) == "under 0.1 %"


@pytest.mark.parametrize("flagged", [False, True])
def test_figures_draw_one_mark_a_row(flagged):
    """Oracle: counts of what stands on the axes."""
    _, (axes,) = new_figure()
    seats = pd.DataFrame(
        {
            "lamp": ["B0", "B0", "K1"],
            "housing": "HP",
            "percent": [1.0, -1.0, 0.5],
            "flagged": flagged,
            "label": "here",
        }
    )
    mountings_strip.draw(axes, seats, sd=2.0)
    assert [t.get_text() for t in axes.get_yticklabels()] == ["B0", "K1"]
    assert [t.get_text() for t in axes.texts] == ["here"] * 3 * flagged
    _, (axes,) = new_figure()
    days = pd.DataFrame(
        {
            "day": ["D1", "D2"],
            "percent": [0.0, -3.0],
            "low": -2.0,
            "high": 2.0,
            "out": [False, flagged],
            "group": False,
        }
    )
    control_chart.draw(axes, days, title="housing HP")
    assert axes.get_title(loc="left") == "housing HP, from the mean (%)"
    assert (axes.get_legend() is not None) == flagged


def test_figures_say_assumed_by_an_open_mark():
    """Oracle: the legend names what is drawn, no more."""
    _, (axes,) = new_figure()
    rows = pd.DataFrame(
        {"label": ["seating"], "sd": [2.0], "low": [1.0], "high": [4.0], "used": [3.0], "assumed": [True]}
    )
    intervals.draw_components(axes, rows, coverage=0.95)
    assert [t.get_text() for t in axes.get_legend().get_texts()] == [
        "component with its interval",
        "pool, assumed",
    ]
    _, (axes,) = new_figure()
    plans = pd.DataFrame({"label": ["1 × 1 × 3"], "specimens": [7.0], "models": [10.0]})
    intervals.draw_plans(axes, plans, floor=3.0)
    assert len(axes.get_legend().get_texts()) == 3
    assert axes.get_xlim()[0] == 0.0


def test_two_ways_to_foresee_share_one_scale():
    """Oracle: the points are the table's, the legend names both ways and no floor."""
    _, (axes,) = new_figure()
    rows = pd.DataFrame(
        {"label": ["as it is", "one more day"], "specimens": [6.0, 5.0], "formula": [5.5, 4.0]}
    )
    intervals.draw_plans(axes, rows, columns=intervals.WAYS)
    marked = [line.get_xdata().tolist() for line in axes.get_lines() if line.get_linestyle() == "None"]
    assert marked == [[6.0, 5.0], [5.5, 4.0]]
    assert [t.get_text() for t in axes.get_legend().get_texts()] == ["by rehearsal", "by formula"]


def test_chances_are_drawn_with_the_error_of_the_drawing():
    """Oracle: sqrt(p (1 - p) / n) of a share."""
    figure, (axes,) = new_figure(width=3.3, height=1.85)
    chances.draw(axes, {0.0: 5.0, 5.0: 50.0, 10.0: 90.0}, [(5.5, 50.0), (8.0, 80.0)], drawn=100)
    (band,) = axes.collections
    low, high = (band.get_paths()[0].vertices[:, 1].min(), band.get_paths()[0].vertices[:, 1].max())
    assert_allclose([low, high], [5 - 100 * (0.05 * 0.95 / 100) ** 0.5, 90 + 100 * (0.9 * 0.1 / 100) ** 0.5])
    assert [line.get_xydata().tolist() for line in axes.get_lines()][1] == [[5.5, 50.0], [8.0, 80.0]]
    stored(figure, "invented")
    box, whole = axes.get_legend().get_window_extent(), figure.bbox
    assert whole.x0 <= box.x0
    assert box.x1 <= whole.x1
    assert box.y1 <= whole.y1
