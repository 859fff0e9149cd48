"""Did the bench hold. Oracles: the planted supply step of the scenario, ratios by hand."""

import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.baseline_days import baseline_charts, bracketed, without
from photolab.bench.evaluation import evaluate
from photolab.errors import MethodError


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


def test_fewer_than_three_days_are_refused(tmp_path):
    """Oracle: two days."""
    rows = [
        (lamp, lux, "HP", day, 1, 4000) for day in ("D01", "D02") for lamp, lux in (("B0", 350), ("K1", 400))
    ]
    text = csv("lamp,illuminance_lx,housing,day,mounting,range_lx", rows)
    with pytest.raises(MethodError, match="must be read on 3 days in one housing; got 2"):
        baseline_charts(evaluate(bench(tmp_path, text, toml=METER + HOUSING)))


def rows_of(*seats):
    """Return readings: lamp, clock, illuminance [lx]."""
    same = {"specimen": "1", "housing": "HP", "day": "D01", "mounting": "1"}
    return pd.DataFrame(
        [
            {**same, "lamp": lamp, "clock": clock, "ln_value": math.log(lux), "mounting": str(i)}
            for i, (lamp, clock, lux) in enumerate(seats)
        ]
    )


def test_a_reading_between_two_baselines():
    """Oracle: by hand: the baseline falls from 371.0 to 362.5 lx between 09:00 and 12:00; LED 455 at 10:00.

    At 10:00 it is 371.0 (362.5/371.0)^(1/3) = 368.2 lx, the ratio 1.236; with either end 1.226 to 1.255.
    """
    told = bracketed(
        rows_of(("B0", "09:00", 371.0), ("K1", "10:00", 455.0), ("B0", "12:00", 362.5)), baseline="B0"
    ).iloc[0]
    expected = 371.0 * (362.5 / 371.0) ** (1 / 3)
    assert_allclose(told["baseline_lx"], expected, rtol=1e-12)
    assert_allclose(told["ratio"], 455.0 / expected, rtol=1e-12)
    assert [round(float(told[c]), 3) for c in ("ratio", "ratio_low", "ratio_high")] == [1.236, 1.226, 1.255]
    assert bool(told["bracketed"])


def test_a_baseline_on_one_end_only():
    """Oracle: the only baseline serves, and it is said."""
    told = bracketed(rows_of(("B0", "09:00", 371.0), ("K1", "10:00", 455.0)), baseline="B0").iloc[0]
    assert_allclose([told["ratio"], told["ratio_low"], told["ratio_high"]], [455.0 / 371.0] * 3, rtol=1e-12)
    assert not told["bracketed"]


def test_no_clock_or_no_baseline_gives_no_row():
    """Oracle: nothing to bracket with."""
    assert bracketed(rows_of(("B0", "", 371.0), ("K1", "", 455.0)), baseline="B0").empty
    assert bracketed(rows_of(("K2", "09:00", 371.0), ("K1", "10:00", 455.0)), baseline="B0").empty


def test_every_seating_of_the_demo_stands_between_two_baselines(campaign):
    """Oracle: the plan: two baselines a day in each housing, around all others."""
    from photolab.bench.repeatability import initial_readings

    rows = bracketed(initial_readings(campaign), baseline="B0")
    assert rows["bracketed"].all()
    others = campaign.seats[campaign.seats["lamp"] != "B0"]
    assert len(rows) == len(others.drop_duplicates(["lamp", "specimen", "housing", "day", "mounting"]))
    assert ((rows["ratio_low"] <= rows["ratio"]) & (rows["ratio"] <= rows["ratio_high"])).all()
    assert np.isfinite(rows["ratio"]).all()
