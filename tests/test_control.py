"""Control chart of a check standard and bracketing by clock, against closed forms and simulated charts."""

import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology.control import bracketing_weights, control_chart

PRIOR = {"day_sd": 0.005, "mounting_sd": 0.01}


def chart_table(means, mountings=2):
    """Return a table whose days have exactly these means."""
    days = [f"D{i:02d}" for i in range(1, len(means) + 1)]
    offset = np.linspace(-0.01, 0.01, mountings) if mountings > 1 else np.zeros(1)
    rows = [(day, mean + one) for day, mean in zip(days, means, strict=True) for one in offset]
    return pd.DataFrame(rows, columns=["day", "ln"])


def normal_means(rng, days=8, mountings=2):
    """Return day means of a bench that holds."""
    sd = math.sqrt(PRIOR["day_sd"] ** 2 + PRIOR["mounting_sd"] ** 2 / mountings)
    return sd * rng.standard_normal(days)


def test_day_table_closed_form():
    """Oracle: closed form of each day's mean, SD, weighted centre and standardised deviation."""
    table = chart_table([0.01, -0.02, 0.0, 0.03])
    table = table.drop(index=0)  # the first day keeps one mounting, 0.02
    chart = control_chart(table, "ln", "day", **PRIOR)
    sd = np.array([math.sqrt(2.5e-5 + 1e-4), *[math.sqrt(2.5e-5 + 5e-5)] * 3])
    mean = np.array([0.02, -0.02, 0.0, 0.03])
    weight = 1.0 / sd**2
    centre = (weight * mean).sum() / weight.sum()
    assert_allclose(chart.table["sd"], sd, rtol=1e-12)  # float rounding
    assert_allclose(chart.table["mean"], mean, atol=1e-15)  # float rounding
    assert_array_equal(chart.table["mountings"], [1, 2, 2, 2])
    assert_allclose(
        [chart.centre, chart.centre_uncertainty], [centre, weight.sum() ** -0.5], rtol=1e-12
    )  # rounding
    deviation = np.sqrt(sd**2 - 1.0 / weight.sum())
    assert_allclose(chart.table["statistic"], (mean - centre) / deviation, rtol=1e-10)  # float rounding
    assert_allclose(
        chart.table["high"] - chart.centre, chart.limits["day"] * deviation, rtol=1e-10
    )  # definition
    outside = (mean < chart.table["low"]) | (mean > chart.table["high"])
    assert_array_equal(chart.table["out"], outside)


def test_given_centre():
    """Oracle: closed form; the given centre's uncertainty adds to each day, and one day alone can be
    charted.
    """
    chart = control_chart(
        chart_table([0.04]), "ln", "day", centre=0.0, centre_uncertainty=0.003, trials=200_000, **PRIOR
    )
    sd = math.sqrt(2.5e-5 + 5e-5 + 9e-6)
    assert_allclose(chart.table["statistic"], [0.04 / sd], rtol=1e-12)  # float rounding
    # One look: the limit is the normal quantile; Monte Carlo standard error about 0.006.
    assert_allclose(chart.limits["day"], stats.norm.ppf(0.975), atol=0.02, rtol=0)
    assert chart.signals[0].kind == "day"
    assert_allclose(
        chart.signals[0].p, 2.0 * stats.norm.sf(0.04 / sd), atol=2e-5, rtol=0
    )  # 3 standard errors


def test_limit_with_estimated_spread():
    """Oracle: closed form; one look at a spread of 5 dof has Student's quantile as its limit."""
    chart = control_chart(chart_table([0.0]), "ln", "day", centre=0.0, dof=5.0, trials=200_000, **PRIOR)
    # Monte Carlo standard error of this quantile: sqrt(0.05 * 0.95 / 200000) over the density, about 0.01.
    assert_allclose(chart.limits["day"], stats.t.ppf(0.975, 5), atol=0.04, rtol=0)


def test_mountings_of_repeated_readings():
    """Oracle: definition; five readings of one mounting weigh as one mounting, not as five."""
    rows = [("D1", "a", 0.0), *[("D1", "b", 0.02)] * 5, ("D2", "a", 0.01), ("D3", "a", 0.0)]
    table = pd.DataFrame(rows, columns=["day", "seat", "ln"])
    chart = control_chart(table, "ln", "day", mounting="seat", reading_sd=0.002, **PRIOR)
    assert_allclose(chart.table["mean"][0], 0.01, rtol=1e-12)  # mean of mountings
    assert_array_equal(chart.table["mountings"], [2, 1, 1])
    expected = math.sqrt(2.5e-5 + (1e-4 + 4e-6 * (1.0 + 0.2) / 2.0) / 2.0)
    assert_allclose(chart.table["sd"][0], expected, rtol=1e-12)  # closed form


@pytest.mark.parametrize("centre", [None, 0.0])
def test_stated_false_alarm_rate(centre):
    """Oracle: synthetic truth; charts that hold alarm as often as stated, all looks together."""
    rng = np.random.default_rng(2)
    charts, stated = 200, 0.1
    options = {"centre": centre, "false_alarm": stated, "trials": 1000, **PRIOR}
    alarms = sum(
        bool(control_chart(chart_table(normal_means(rng)), "ln", "day", seed=i, **options).signals)
        for i in range(charts)
    )
    # Three standard errors of 200 charts; the full study is in the benchmarks.
    assert_allclose(alarms / charts, stated, atol=3.0 * math.sqrt(stated * (1.0 - stated) / charts), rtol=0)


def test_false_alarm_rate_with_estimated_spread():
    """Oracle: synthetic truth; priors estimated with 8 dof, the same estimate on the whole chart."""
    rng = np.random.default_rng(4)
    alarms, charts = 0, 200
    for i in range(charts):
        factor = math.sqrt(rng.chisquare(8) / 8.0)
        prior = {name: sd * factor for name, sd in PRIOR.items()}
        chart = control_chart(
            chart_table(normal_means(rng)),
            "ln",
            "day",
            dof=8.0,
            false_alarm=0.1,
            trials=1000,
            seed=i,
            **prior,
        )
        alarms += bool(chart.signals)
    assert_allclose(
        alarms / charts, 0.1, atol=3.0 * math.sqrt(0.09 / charts), rtol=0
    )  # three standard errors


def test_step_is_found_with_its_day_and_size():
    """Oracle: synthetic truth; -3 % from the sixth of eight days, three days together."""
    found, sizes = 0, []
    for seed in range(60):
        means = normal_means(np.random.default_rng(seed))
        means[5:] -= 0.03
        chart = control_chart(chart_table(means), "ln", "day", trials=4000, **PRIOR)
        steps = [s for s in chart.signals if s.kind == "step"]
        found += bool(steps)
        sizes += [s for s in steps if s.first == "D06"]
    # 0.03 over 0.0087 sqrt(1/5 + 1/3) is 4.7 standard uncertainties, the limit about 2.9: power 96 %.
    assert found >= 52
    assert len(sizes) >= 30
    assert all(s.last == "D08" for s in sizes)
    held = np.mean([s.low <= -0.03 <= s.high for s in sizes])
    assert held >= 0.9  # simultaneous intervals hold at 95 % or more
    assert_allclose(
        np.mean([s.size for s in sizes]), -0.03, atol=0.006
    )  # chosen because large: a bias of some 10 %


def test_single_day_group_and_drift():
    """Oracle: synthetic truth, 20 mountings a day to make each unmistakable."""
    quiet = np.array([0.0, 0.001, -0.001, 0.0005, -0.0005, 0.001, -0.001, 0.0, 0.0005, -0.0005])
    prior = {"day_sd": 0.001, "mounting_sd": 0.01, "trials": 4000}
    day = quiet.copy()
    day[3] += 0.03
    chart = control_chart(chart_table(day, 20), "ln", "day", **prior)
    assert chart.signals[0].kind == "day"
    assert (chart.signals[0].first, chart.signals[0].last) == ("D04", "D04")
    # Against the mean of the other nine days, which scatter by 0.0008.
    assert_allclose(chart.signals[0].size, 0.03, atol=0.002)
    assert chart.table["out"].tolist() == [i == 3 for i in range(10)]
    group = quiet.copy()
    group[4:7] += 0.008
    chart = control_chart(chart_table(group, 20), "ln", "day", **prior)
    best = next(s for s in chart.signals if s.kind == "group")
    assert (best.first, best.last) == ("D05", "D07")
    drift = quiet + 0.0015 * np.arange(10)
    chart = control_chart(chart_table(drift, 20), "ln", "day", **prior)
    slope = next(s for s in chart.signals if s.kind == "drift")
    expected = np.polyfit(np.arange(10.0), drift, 1)[0]
    assert_allclose(slope.size, expected, rtol=1e-9)  # equal weights: ordinary least squares
    assert control_chart(chart_table(quiet, 20), "ln", "day", **prior).signals == ()


def test_drift_uses_dates():
    """Oracle: closed form; the slope is per day of the calendar, labels of dates kept."""
    days = pd.to_datetime(["2024-01-01", "2024-01-02", "2024-01-12", "2024-02-01"])
    table = pd.DataFrame({"day": days, "ln": 0.01 * np.array([0.0, 1.0, 11.0, 31.0])})
    chart = control_chart(table, "ln", "day", **PRIOR)
    slope = next(s for s in chart.signals if s.kind == "drift")
    assert_allclose(slope.size, 0.01, rtol=1e-9)  # float rounding
    numbers = control_chart(table.assign(day=[1.0, 2.0, 12.0, 32.0]), "ln", "day", **PRIOR)
    assert_allclose(numbers.signals[0].statistic, chart.signals[0].statistic, rtol=1e-9)  # float rounding


def test_wrong_prior_alarms():
    """Oracle: synthetic truth; with half the true spread most charts of 12 days alarm (the note says so)."""
    alarms = 0
    for seed in range(60):
        means = 2.0 * normal_means(np.random.default_rng(seed), 12)
        alarms += bool(control_chart(chart_table(means), "ln", "day", trials=2000, **PRIOR).signals)
    assert alarms > 30


def test_row_order_and_seed():
    """Oracle: symmetry; rows in any order, and the same seed gives the same chart."""
    table = chart_table(normal_means(np.random.default_rng(1)))
    chart = control_chart(table, "ln", "day", **PRIOR)
    again = control_chart(table.sample(frac=1.0, random_state=2), "ln", "day", **PRIOR)
    assert_allclose(again.table["statistic"], chart.table["statistic"], rtol=1e-9)  # float rounding
    assert again.limits == chart.limits


def test_chart_refusals():
    """Oracle: definition."""
    holding = chart_table([0.0, 0.01, -0.01])
    with pytest.raises(ValueError, match="mounting_sd must be zero or more; got -1"):
        control_chart(holding, "ln", "day", day_sd=0.0, mounting_sd=-1.0)
    with pytest.raises(ValueError, match="one of day_sd, mounting_sd, reading_sd must be above zero"):
        control_chart(holding, "ln", "day", day_sd=0.0, mounting_sd=0.0)
    table = chart_table([0.0, 0.01])
    with pytest.raises(MethodError, match="at least 3 days; got 2") as refused:
        control_chart(table, "ln", "day", **PRIOR)
    assert refused.value.code == "few_days"
    with pytest.raises(
        ValueError, match=r"ln\[1\] must be finite; got nan \(1 of 4 values are out of range\)"
    ):
        control_chart(table.assign(ln=table["ln"].mask(table.index == 1)), "ln", "day", **PRIOR)
    with pytest.raises(ValueError, match="table must hold the column 'date'"):
        control_chart(table, "ln", "date", **PRIOR)
    with pytest.raises(ValueError, match=r"day\[0\] must name a group"):
        control_chart(table.assign(day=table["day"].mask(table.index == 0)), "ln", "day", **PRIOR)
    with pytest.raises(ValueError, match=r"false_alarm must lie between 0 and 1.*got 0, 5, 20000, inf"):
        control_chart(table, "ln", "day", false_alarm=0.0, **PRIOR)
    with pytest.raises(ValueError, match="ln must hold at least one value; got none"):
        control_chart(table.iloc[:0], "ln", "day", **PRIOR)


# Bracketing -----------------------------------------------------------------------------------------------


def test_weights():
    """Oracle: linear interpolation worked by hand; outside, the nearest baseline and not bracketed."""
    weights, bracketed = bracketing_weights([8.0, 9.0, 10.0, 13.0, 15.0], [14.0, 9.0, 12.0])
    expected = [[0, 1, 0], [0, 1, 0], [0, 2 / 3, 1 / 3], [0.5, 0, 0.5], [1, 0, 0]]
    assert_allclose(weights, expected, atol=1e-15)  # float rounding
    assert_array_equal(bracketed, [False, True, True, True, False])
    twice, _ = bracketing_weights([10.0], [9.0, 9.0, 11.0])
    assert_allclose(twice, [[0.25, 0.25, 0.5]], atol=1e-15)  # equal instants share
    alone, sides = bracketing_weights([10.0], [9.0])
    assert_allclose(alone, [[1.0]])
    assert not sides[0]
    assert not bracketing_weights([9.0], [9.0, 9.0])[1][0]  # one instant has no two sides


def test_bracketing_refusals():
    """Oracle: definition."""
    with pytest.raises(ValueError, match="baseline_clock must hold at least one instant"):
        bracketing_weights([1.0], [])
    with pytest.raises(ValueError, match=r"baseline_clock\[1\] must be finite; got nan h"):
        bracketing_weights([1.0], [1.0, math.nan])
    # a straight drift of the bench is taken off exactly: the weights are linear in time
    clock, base = np.array([9.5, 10.0, 11.7]), np.array([9.0, 11.0, 12.0])
    assert_allclose(bracketing_weights(clock, base)[0] @ base, clock, rtol=1e-14)  # float rounding


def test_an_error_that_several_days_share_raises_no_alarm_of_its_own():
    """Oracle: charts that hold, drawn with the shared error: 5 % alarm when it is told, more when it is not."""
    rng = np.random.default_rng(11)
    days = np.repeat(np.arange(8), 2)
    late = np.where(days >= 4, 0.02, 0.0)
    alarms = {(): 0, ("link",): 0}
    charts = 400
    for _ in range(charts):
        value = rng.normal(0.0, 0.01, 8)[days] + rng.normal(0.0, 0.01, 16) + late * rng.normal()
        table = pd.DataFrame({"value": value, "day": days, "link": late})
        for shared in alarms:
            chart = control_chart(
                table, "value", "day", day_sd=0.01, mounting_sd=0.01, shared=shared, trials=2000
            )
            alarms[shared] += bool(chart.signals)
    assert abs(alarms[("link",)] / charts - 0.05) < 0.035  # 3 standard errors
    assert alarms[()] / charts > 0.15


@pytest.mark.parametrize("given", [None, 0.001])
def test_limits_of_a_day_hold_what_it_shares_with_others(given):
    """Oracle: closed form: the variance of a day's mean less the weighted mean, errors of its own and common ones."""
    rows = [
        ("D1", 0.01, 0.0),
        ("D2", -0.02, 0.0),
        ("D2", -0.01, 0.0),
        ("D3", 0.0, 0.012),
        ("D4", 0.03, 0.012),
    ]
    table = pd.DataFrame(rows, columns=["day", "ln", "link"])
    more = {} if given is None else {"centre": given, "centre_uncertainty": 0.004}
    chart = control_chart(table, "ln", "day", **PRIOR, **more, shared=["link"], trials=2000)
    sd, loads = chart.table["sd"].to_numpy(), np.array([0.0, 0.0, 0.012, 0.012])
    contrasts = np.eye(4) - (0.0 if given is not None else sd**-2 / (sd**-2).sum())
    variance = contrasts**2 @ sd**2 + (contrasts @ loads) ** 2 + (0.0 if given is None else 0.004**2)
    reach = chart.limits["day"] * np.sqrt(variance)
    assert_allclose(chart.table["high"] - chart.centre, reach, rtol=1e-10)
    assert_allclose(chart.centre - chart.table["low"], reach, rtol=1e-10)


def test_groups_leave_two_days_outside_and_no_chance_is_nil():
    """Oracle: counting: all but one of three days are that one; one chart in 1001, the one at hand, is as rare."""
    chart = control_chart(chart_table([0.0, 0.0, 0.5]), "ln", "day", **PRIOR, trials=1000)
    assert set(chart.limits) == {"day", "step", "drift"}
    assert_allclose(chart.signals[0].p, 1 / 1001, rtol=1e-12)
    assert "group" in control_chart(chart_table([0.0] * 4), "ln", "day", **PRIOR, trials=1000).limits
