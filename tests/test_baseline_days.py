"""Did the bench hold. Oracles: the planted supply step of the scenario, ratios by hand."""

import math

import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.questions.repeatability import baseline_charts, without
from photolab.bench.results.evaluation import evaluate


@pytest.fixture(scope="module")
def campaign():
    return demo_campaign()


@pytest.mark.parametrize("housing", ["HP", "HR"])
def test_the_baseline_step_is_found_from_d06_on_as_a_group(campaign, housing):
    """Oracle: scenario: 12.95 V for 13.20 V from D06, (12.95/13.20)^3.40 = -6.3 %; its three days together."""
    charts = baseline_charts(campaign, corrections=without(campaign, "voltage"))
    chart = next(one.chart for one in charts if one.housing == housing)
    signals = {signal.kind: signal for signal in chart.signals}
    for kind in ("group", "step"):
        assert (signals[kind].first, signals[kind].last) == ("D06", "D08")
        assert signals[kind].low <= 3.40 * math.log(12.95 / 13.20) <= signals[kind].high
        assert signals[kind].p < min([one.p for one in chart.signals if one.kind == "day"], default=0.05)


def test_the_baseline_step_is_gone_after_the_voltage_correction(campaign):
    """Oracle: scenario: nothing but the supply moved."""
    charts = baseline_charts(campaign)
    assert [one.housing for one in charts] == ["HP", "HR"]
    assert all(one.specimen == "a" and len(one.chart.table) == 8 for one in charts)
    assert all(one.chart.signals == () for one in charts)


def test_means_of_the_days_are_plain_means_of_seatings(campaign):
    """Oracle: the corrected seatings of the campaign, averaged with pandas."""
    chart = next(one.chart for one in baseline_charts(campaign) if one.housing == "HR")
    seats = campaign.seats
    mine = seats[(seats["lamp"] == "B0") & (seats["specimen"] == "a") & (seats["housing"] == "HR")]
    mine = mine[mine["instant"] == "initial"]
    assert_allclose(chart.table["mean"], mine.groupby("day")["ln_value"].mean(), rtol=1e-12)  # same sums


@pytest.mark.parametrize("dated", [True, False], ids=["by dates", "by file"])
def test_days_stand_in_their_order_and_not_in_that_of_their_names(tmp_path, dated):
    """Oracle: the order by hand, by days.csv where there is one, which lists the last day first here."""
    dates = {"Tuesday": "2026-03-10", "D9": "2026-03-07", "D10": "2026-03-08"}
    rows = [
        (lamp, lux, "HP", day, 1, 4000)
        for lamp in ("B0", "K1")
        for lux, day in zip((350, 351, 353), ("D10", "Tuesday", "D9"), strict=True)
    ]
    text = csv("lamp,illuminance_lx,housing,day,mounting,range_lx", rows)
    days = {"days": csv("day,date", dates.items())} if dated else {}
    found = baseline_charts(evaluate(bench(tmp_path, text, toml=METER + HOUSING, **days)))
    order = ["D9", "D10", "Tuesday"] if dated else ["D10", "Tuesday", "D9"]
    assert found[0].chart.table["day"].to_list() == order
    assert found[0].chart.table["day"].dtype == "str"
    lux = {"D10": 350.0, "Tuesday": 351.0, "D9": 353.0}
    assert_allclose(
        found[0].chart.table["mean"], [math.log(lux[day]) for day in order], rtol=1e-12
    )  # one seating


def test_fewer_than_three_days_make_no_chart(tmp_path):
    """Oracle: two days."""
    rows = [
        (lamp, lux, "HP", day, 1, 4000) for day in ("D01", "D02") for lamp, lux in (("B0", 350), ("K1", 400))
    ]
    text = csv("lamp,illuminance_lx,housing,day,mounting,range_lx", rows)
    assert baseline_charts(evaluate(bench(tmp_path, text, toml=METER + HOUSING))) == ()
