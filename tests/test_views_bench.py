"""What notebooks 02, 03 and 12 show. Oracles: figures of the results themselves, the scenario's stories in words."""

import math
from pathlib import Path

import pandas as pd
import pytest
from shared_demo import demo_campaign

from photolab.bench.evaluation import evaluate
from photolab.bench.records import read_bench
from photolab.metrology.control import Signal
from photolab.metrology.reporting import decimal
from photolab.publication import (
    views_plan,
    views_protocol,
    views_revision,
    words_bench,
)
from photolab.publication.display import Words
from photolab.publication.figures import allocation, components, control_chart, mountings_strip
from photolab.publication.figures.common import Picture, new_figure

DATA = Path(__file__).parents[1] / "data"
MINUTES = {"specimen": 10, "mounting": 45, "reading": 0.5}
PLANS = [(1, 1, 3), (3, 3, 3)]


@pytest.fixture(scope="module")
def demo():
    return demo_campaign()


@pytest.fixture(scope="module")
def two():
    return evaluate(read_bench(DATA / "two-readings"))


@pytest.fixture(scope="module")
def reviewed(demo):
    return views_protocol.review(demo)


def test_the_next_best_step_is_the_largest_cause(reviewed):
    """Oracle: halving a part f leaves sqrt(1 - 3 f/4)."""
    first = reviewed.causes.iloc[0]
    said = str(views_protocol.answer(reviewed))
    narrower = decimal(100 * (1 - math.sqrt(1 - 0.75 * first["variance_fraction"])), 0)
    assert f"halve what the seating adds, and intervals become {narrower} % narrower" in said


def test_bench_hours_of_a_plan(reviewed):
    """Oracle: by hand: 9 lamps x (10 + 45 + 1.5) min, and 9 x 3 x (10 + 3 x (45 + 1.5)) min."""
    told = views_plan.plans_table(reviewed, PLANS, minutes=MINUTES, lamps=9)
    hours = [9 * 56.5 / 60, 9 * 3 * (10 + 3 * 46.5) / 60]
    assert [row[-1] for row in told.rows] == [decimal(h, 1) for h in hours]


def test_the_run_order_opens_and_closes_with_the_baseline(reviewed):
    """Oracle: every lamp twice; the same seed gives the same order."""
    told = views_plan.order(reviewed, seed=1, rounds=2)
    seated = " · ".join(row[1] for row in told.rows).split(" · ")
    assert (seated[0], seated[-1]) == ("B0", "B0")
    assert all(seated.count(f"K{n}") == 2 for n in range(1, 9))
    assert str(told) == str(views_plan.order(reviewed, seed=1, rounds=2))
    assert str(told) != str(views_plan.order(reviewed, seed=2, rounds=2))


def test_two_protocols_in_one_cell(demo):
    """Oracle: what was typed; a narrower margin takes "alike" away from K4 in HR."""
    changes = {"bench": {"protocol_revision": "4", "alike_percent": 5}}
    revised = views_revision.revise(demo, DATA / "demo", None, changes)
    assert [row[0] for row in views_revision.changed_settings(revised).rows] == [
        "protocol_revision", "alike_percent"
    ]  # fmt: skip
    rows = views_revision.changed_verdicts(revised).rows
    assert ("K4", "HR", "initial", "for the specimens on the bench") in {row[:4] for row in rows}
    said = str(views_revision.log(revised))
    assert said.splitlines()[1] == "No number moved."
    assert "alike_percent 10 to 5" in said


def test_a_protocol_that_cannot_be_used_says_every_fault(demo):
    """Oracle: coverage 2 is no probability; M7 is no meter."""
    revised = views_revision.revise(demo, DATA / "demo", None, {"bench": {"coverage": 2}})
    assert "bench.coverage = 2" in str(views_revision.log(revised))
    revised = views_revision.revise(demo, DATA / "demo", None, {"meter M7": {"digits": 1}})
    assert "got 'meter M7'" in str(views_revision.changed_verdicts(revised))


def test_hold_and_initial_time_are_read_out(demo):
    """Oracle: scenario: K6 steps down at 18.5 min, so 10 min is too short, 20 min enough; K7's record is too short."""
    warm = views_revision.warming(demo)
    said = str(views_revision.hold_said(warm, [10, 20, 40]))
    assert said.startswith("20 min would do")
    assert "No record of K7 reaches the hold time" in said
    assert views_revision.hold(warm, [10, 20, 40]).rows[0][2] == "K6"


def test_every_picture_of_the_demo_is_called_invented(reviewed):
    """Oracle: the demo's own name."""
    pictures = [
        views_plan.plans_picture(reviewed, PLANS),
    ]
    assert all(isinstance(one, Picture) and one.alt.startswith("Invented data. ") for one in pictures)


def test_a_folder_with_two_readings_gets_sentences(two):
    """Oracle: nothing repeated, one day, no link, no record: each view is words, none an error."""
    reviewed = views_protocol.review(two)
    warm = views_revision.warming(two)
    told = [
        views_protocol.answer(reviewed), views_protocol.causes_table(reviewed), views_protocol.next_best(reviewed),
        views_plan.resolvable(reviewed, [1, 2]), views_plan.plans_picture(reviewed, PLANS),
        views_plan.plans_table(reviewed, PLANS, minutes=MINUTES, lamps=2), views_plan.forecast_check(reviewed),
        views_revision.hold(warm, [10, 20]), views_revision.hold_said(warm, [10, 20]),
        views_revision.initial(warm, [60], late_s=10),
    ]  # fmt: skip
    assert all(isinstance(one, Words) and str(one).strip() for one in told)


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
    assert axes.get_title(loc="left") == "housing HP"
    assert (axes.get_legend() is not None) == flagged


def test_figures_say_assumed_by_an_open_mark():
    """Oracle: the legend names what is drawn, no more."""
    _, (axes,) = new_figure()
    rows = pd.DataFrame(
        {"label": ["seating"], "sd": [2.0], "low": [1.0], "high": [4.0], "used": [3.0], "assumed": [True]}
    )
    components.draw(axes, rows)
    assert [t.get_text() for t in axes.get_legend().get_texts()] == [
        "component with its interval",
        "used, assumed",
    ]
    _, (axes,) = new_figure()
    plans = pd.DataFrame({"label": ["1 × 1 × 3"], "specimens": [7.0], "models": [10.0]})
    allocation.draw(axes, plans, floor=3.0)
    assert axes.get_xlim()[0] == 0.0
