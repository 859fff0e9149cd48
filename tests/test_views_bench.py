"""What notebooks 02, 03 and 12 show. Oracles: figures of the results themselves, the scenario's stories in words."""

import math
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from shared_demo import demo_campaign

from photolab.bench.baseline_days import without
from photolab.bench.evaluation import evaluate
from photolab.bench.records import read_bench
from photolab.metrology.control import Signal
from photolab.metrology.reporting import decimal
from photolab.publication import (
    views_baseline,
    views_bench,
    views_meter,
    views_plan,
    views_protocol,
    views_revision,
    words_bench,
)
from photolab.publication.display import Table, Words
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
def measured(demo):
    return views_bench.measure(demo)


@pytest.fixture(scope="module")
def held(demo):
    return views_baseline.hold(demo)


@pytest.fixture(scope="module")
def linked(demo):
    return views_meter.link(demo)


@pytest.fixture(scope="module")
def reviewed(demo):
    return views_protocol.review(demo)


def test_the_answer_gives_the_seating_sd_with_its_interval(measured):
    """Oracle: the component's own figures; two seatings differ by less than 1.96 sqrt(2) SD."""
    row = measured.found.table.set_index("level").loc["mounting"]
    reading = measured.found.table.set_index("level").loc["reading", "sd"]
    said = str(views_bench.answer(measured))
    figures = [decimal(100 * row[name], 1) for name in ("sd", "low", "high")]
    assert f"{figures[0]} % ({figures[1]} to {figures[2]} % at 95 %)" in said
    limit = 100 * 1.96 * math.sqrt(2) * math.sqrt(row["sd"] ** 2 + reading**2 / 3)
    assert f"less than {decimal(limit, 1)} % in 95 of 100" in said


def test_the_table_has_the_columns_of_the_words_and_adds_up(measured):
    """Oracle: the agreed heads; parts of a variance add to 100 within rounding of four whole figures."""
    told = views_bench.what_varies(measured)
    assert told.header == ("what varies", "SD (%)", "95 % from (%)", "to (%)", "part of the variance (%)")
    assert [row[0] for row in told.rows] == [
        "specimen to specimen", "day to day", "seating to seating", "reading to reading"
    ]  # fmt: skip
    assert abs(sum(int(row[4]) for row in told.rows) - 100) <= 2


def test_the_flagged_seating_of_k8_is_named(measured):
    """Oracle: scenario: HP mounting 2 of K8; its light is modulated."""
    said = str(views_bench.flagged(measured))
    assert "K8 specimen 1 in HP, D05 mounting 2" in said
    assert "K8 scatters by 1.6 %" in said
    assert "K8 in HP, mounting 2, D05" in views_bench.seatings_picture(measured).alt


def test_three_specimens_are_said_to_be_barely_known(measured):
    """Oracle: the rule of few degrees of freedom; B0 has three specimens."""
    said = str(views_bench.specimens(measured))
    assert "B0, three specimens" in said
    assert said.count("their spread is barely known") == 4
    table = pd.DataFrame(
        [{"lamp": "K1", "specimens": 12, "sd": 0.04, "low": 0.03, "high": 0.07, "used": 0.039}]
    )
    (known,) = words_bench.specimens_words(table)
    assert known == (
        "K1, 12 specimens: standard deviation 4.0 %, but anything from 3.0 % to 7.0 % would agree with the readings. "
        "The results use 3.9 %, theirs and the declared one together."
    )


def test_the_step_is_told_before_and_denied_after_the_correction(held):
    """Oracle: scenario: D06 to D08 together; nothing left after the voltage correction."""
    before = str(views_baseline.charts_said(held, corrected=False))
    assert before.count("D06 to D08 together lie 6.") == 2
    assert "new lead to the lamp" in before
    after = str(views_baseline.charts_said(held, corrected=True))
    assert after.count("no day, no group of days, no step and no drift beyond its limit") == 2
    assert str(views_baseline.answer(held)).startswith("Yes: with its corrections")


def test_the_second_way_to_the_step_is_the_law_of_the_lamp(held):
    """Oracle: (12.95/13.20)^3.42 = -6.3 %."""
    assert decimal(100 * ((12.95 / 13.20) ** 3.42 - 1), 1) == "-6.3"
    assert str(views_baseline.check_by_day_means(held)).count("law of filament lamps is -6.3 %") == 2


def test_links_are_called_established_or_provisional(linked):
    """Oracle: five LED lamps; three specimens of one filament lamp."""
    said = str(views_meter.links_said(linked))
    assert "LED lamps: M2 shows 0.8955 of what M1 shows" in said
    assert "from five lamps and 20 pairs of readings; established" in said
    assert "from one lamp and 12 pairs of readings; provisional" in said
    assert "the meters' colours explain it" in str(views_meter.colour_check(linked))


def test_verdicts_change_with_the_meter_only_where_colour_is_not_corrected(linked):
    """Oracle: scenario: M1 favours LED lamps by 6 %."""
    corrected = views_meter.verdicts(linked, colour=True)
    plain = views_meter.verdicts(linked, colour=False)
    # corrected ratios move by half a per cent at most, which no verdict among all pairs feels; others by the colours
    assert str(corrected) == "None of 48 verdicts changes from M1 to M2."
    assert all(float(row[3]) / float(row[5]) - 1 > 0.05 for row in plain.rows)
    assert ("K1", "HR", "for the specimens on the bench") in {row[:3] for row in plain.rows}


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


def test_every_picture_of_the_demo_is_called_invented(measured, held, reviewed):
    """Oracle: the demo's own name."""
    pictures = [
        views_bench.seatings_picture(measured),
        views_bench.components_picture(measured),
        views_baseline.chart_pictures(held),
        views_plan.plans_picture(reviewed, PLANS),
    ]
    assert all(isinstance(one, Picture) and one.alt.startswith("Invented data. ") for one in pictures)


def test_a_folder_with_two_readings_gets_sentences(two):
    """Oracle: nothing repeated, one day, no link, no record: each view is words, none an error."""
    measured, held = views_bench.measure(two), views_baseline.hold(two)
    linked, reviewed = views_meter.link(two), views_protocol.review(two)
    warm = views_revision.warming(two)
    told = [
        *(view(measured) for view in (
            views_bench.answer, views_bench.what_varies, views_bench.seatings_picture, views_bench.flagged,
            views_bench.components_picture, views_bench.specimens, views_bench.homogeneity,
            views_bench.second_way, views_bench.second_way_words,
        )),
        *(view(held) for view in (
            views_baseline.answer, views_baseline.chart_pictures, views_baseline.brackets,
            views_baseline.beside_by_clock, views_baseline.check_by_day_means,
        )),
        *(view(linked) for view in (
            views_meter.links_said, views_meter.link_table, views_meter.colour_check, views_meter.converted_readings,
        )),
        views_meter.verdicts(linked, colour=True),
        views_protocol.answer(reviewed), views_protocol.causes_table(reviewed), views_protocol.next_best(reviewed),
        views_plan.resolvable(reviewed, [1, 2]), views_plan.plans_picture(reviewed, PLANS),
        views_plan.plans_table(reviewed, PLANS, minutes=MINUTES, lamps=2), views_plan.forecast_check(reviewed),
        views_revision.hold(warm, [10, 20]), views_revision.hold_said(warm, [10, 20]),
        views_revision.initial(warm, [60], late_s=10),
    ]  # fmt: skip
    assert all(isinstance(one, Words) and str(one).strip() for one in told)
    assert "3.0 % from seating to seating is assumed" in str(told[0])
    assert isinstance(views_bench.beside(measured), Table)


def test_signals_in_words():
    """Oracle: by hand: exp(0.05) - 1 = 5.1 %."""
    day = Signal("day", "D03", "D03", 0.05, 0.01, 0.09, 3.0, 2.9, 0.004)
    assert words_bench.signal_words(day) == (
        "D03 lies 5.1 % above the other days (1.0 to 9.4 % at 95 %; a steady bench shows such a sign with a "
        "chance of 0.4 %)"
    )
    drift = Signal("drift", "D01", "D08", -0.01, -0.018, -0.002, -4.0, 2.5, 0.0001)
    assert words_bench.signal_words(drift).startswith(
        "a slope of 1.0 % down from one day to the next (0.2 to 1.8 %)"
    )
    assert words_bench.chance(0.0001) == "under 0.1 %"


def test_no_voltage_correction_leaves_one_set_of_charts(demo):
    """Oracle: scenario: a supply step that nothing takes off stays, and does not hide in the spread of days."""
    plain = evaluate(demo.bench, corrections=without(demo, "voltage"))
    held = views_baseline.hold(plain)
    assert held.before == ()
    assert str(views_baseline.answer(held)).startswith("No: even with its corrections")
    assert "no voltage correction to take off" in str(views_baseline.charts_said(held, corrected=False))


def test_a_step_without_volts_asks_for_them(demo):
    """Oracle: scenario without its volts column: the step stays, and what is missing is named."""
    readings = demo.bench.tables["readings"].assign(socket_V=float("nan"), measured_at="")
    bench = replace(demo.bench, tables={**demo.bench.tables, "readings": readings})
    held = views_baseline.hold(evaluate(bench))
    assert "Write the volts at the lamp socket" in str(views_baseline.answer(held))
    assert "Write the volts at the lamp socket" in str(views_baseline.beside_by_clock(held))


def test_meters_named_both_ways_round_are_refused_in_words(demo):
    """Oracle: one row turned round by hand."""
    links = demo.bench.tables["links"].copy()
    links.loc[links.index[0], ["old_meter", "new_meter"]] = ["M2", "M1"]
    bench = replace(demo.bench, tables={**demo.bench.tables, "links": links})
    linked = views_meter.link(replace(demo, bench=bench))
    assert "names the meters both ways round" in str(views_meter.links_said(linked))


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
