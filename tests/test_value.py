"""Claims against power and the price of a gain: oracles closed forms and the rule as designed (common
practice)."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.bench.terms.value import judge_claim, judge_claimed_power, price_age, price_of_gain

BOUGHT = {"price_per": "pair", "price_date": "2025-03-01", "last_day": "2025-03-20", "currency": "EUR"}


def test_claims_of_three_boxes():
    """Closed form with published limits: 9000 lm at 17.4 W is 517 lm/W; 3000 at 27.5 plausible; 6500 at 31
    above devices."""
    impossible = judge_claim(9000.0, 17.4, claimed_per="lamp", power_per="lamp")
    assert impossible.code == "beyond_white_light"
    assert_allclose(
        impossible.claim.implied_efficacy, 517.24, atol=0.005
    )  # half a unit of the second decimal
    assert judge_claim(3000.0, 27.5, claimed_per="lamp", power_per="lamp").code == "plausible"
    assert judge_claim(6500.0, 31.0, claimed_per="lamp", power_per="lamp").code == "above_current_devices"


def test_claim_for_a_pair_against_the_power_of_one_lamp():
    """Closed form: 12 000 lm a pair at 23.6 W a lamp: 254 lm/W; the same 12 000 lm a lamp: 508 lm/W."""
    pair = judge_claim(12000.0, 23.6, claimed_per="pair", power_per="lamp")
    assert_allclose(pair.claim.implied_efficacy, 254.24, atol=0.005)
    assert judge_claim(12000.0, 23.6, claimed_per="lamp", power_per="lamp").code == "beyond_white_light"


def test_a_doubtful_wattmeter_accuses_nobody():
    """Closed form: 9000 lm at 20 W, 26 W at most: 9000 / 26 = 346 lm/W is below the limit of 370."""
    sure = judge_claim(9000.0, 20.0, claimed_per="lamp", power_per="lamp")
    doubtful = judge_claim(9000.0, 26.0, claimed_per="lamp", power_per="lamp")
    assert (sure.code, doubtful.code) == ("beyond_white_light", "above_current_devices")


@pytest.mark.parametrize(
    ("arguments", "options", "code"),
    [
        ((None, 20.0), {"claimed_per": "lamp", "power_per": "lamp"}, "no_claim"),
        ((np.nan, 20.0), {"claimed_per": "lamp", "power_per": "lamp"}, "no_claim"),
        ((9000.0, 20.0), {"power_per": "lamp"}, "claim_without_per"),
        ((9000.0, None), {"claimed_per": "lamp"}, "no_power"),
        ((9000.0, np.nan), {"claimed_per": "lamp", "power_per": "lamp"}, "no_power"),
        ((9000.0, 20.0), {"claimed_per": "lamp"}, "power_without_per"),
    ],
)
def test_what_is_missing_is_said(arguments, options, code):
    """A claim without watts, or without per, gives a code and no number."""
    found = judge_claim(*arguments, **options)
    assert found.code == code
    assert found.claim is None


def test_price_of_a_resolved_gain():
    """Closed form: 90 for a pair, +30 % (20 to 40): 3.00 a percent, 2.25 to 4.50; the price of one lamp
    counts twice."""
    found = price_of_gain(90.0, ratio=1.3, low=1.2, high=1.4, **BOUGHT)
    assert_allclose(
        [found.per_percent, found.low, found.high], [3.0, 2.25, 4.5], rtol=1e-12
    )  # float rounding
    assert (found.code, found.cautions, found.age_days) == ("given", (), 19)
    single = price_of_gain(45.0, ratio=1.3, low=1.2, high=1.4, **(BOUGHT | {"price_per": "lamp"}))
    assert_allclose(single.per_percent, 3.0, rtol=1e-12)


@pytest.mark.parametrize(
    ("interval", "code"),
    [
        ((0.98, 1.05, 1.12), "gain_not_resolved"),
        ((1.0, 1.05, 1.12), "gain_not_resolved"),
        ((0.90, 0.95, 1.0), "gain_not_resolved"),
        ((0.80, 0.85, 0.90), "less_light"),
    ],
)
def test_no_price_where_the_gain_includes_zero(interval, code):
    """The price rule: refused where the interval of the gain includes zero or lies below it."""
    low, ratio, high = interval
    found = price_of_gain(90.0, ratio=ratio, low=low, high=high, **BOUGHT)
    assert found.code == code
    assert (found.per_percent, found.low, found.high) == (None, None, None)


@pytest.mark.parametrize(
    ("price_date", "last_day", "age", "cautions"),
    [
        ("", "2025-03-20", None, ("price_without_date",)),
        ("2025-03-01", "", None, ("bench_without_date",)),
        ("2025-01-01", "2025-06-30", 180, ()),
        ("2025-01-01", "2025-07-01", 181, ("old_price",)),
        ("2025-03-21", "2025-03-20", -1, ("price_after_bench",)),
    ],
)
def test_age_of_a_price(price_date, last_day, age, cautions):
    """Closed form: days between dates; cautioned without a date and beyond 180 days, and still given."""
    assert price_age(price_date, last_day) == (age, cautions)
    options = BOUGHT | {"price_date": price_date, "last_day": last_day}
    found = price_of_gain(90.0, ratio=1.3, low=1.2, high=1.4, **options)
    assert (found.code, found.cautions, found.age_days) == ("given", cautions, age)


@pytest.mark.parametrize(
    ("price", "change", "code"),
    [
        (None, {}, "no_price"),
        (np.nan, {}, "no_price"),
        (90.0, {"currency": ""}, "no_currency"),
        (90.0, {"price_per": ""}, "price_without_per"),
    ],
)
def test_a_price_that_cannot_be_used(price, change, code):
    """What is missing is said; no number."""
    found = price_of_gain(price, ratio=1.3, low=1.2, high=1.4, **(BOUGHT | change))
    assert (found.code, found.per_percent) == (code, None)


@pytest.mark.parametrize(
    ("price", "change", "message"),
    [
        (-1.0, {}, r"price must be zero or more; got -1"),
        (90.0, {"price_per": "box"}, r"price_per must be lamp or pair; got 'box'"),
        (90.0, {"price_date": "01/03/2025"}, r"price_date must be a day, YYYY-MM-DD; got '01/03/2025'"),
        (90.0, {"last_day": "soon"}, r"last_day must be a day, YYYY-MM-DD; got 'soon'"),
        (90.0, {"low": 1.35}, r"ratio must lie within its interval, all more than 0; got 1.3 in 1.35 to 1.4"),
        (90.0, {"high": np.inf}, r"ratio must lie within its interval"),
    ],
)
def test_price_refuses(price, change, message):
    """Each bad argument is named with its value."""
    options = {"ratio": 1.3, "low": 1.2, "high": 1.4} | BOUGHT | change
    with pytest.raises(ValueError, match=message):
        price_of_gain(price, **options)


def test_claim_refuses():
    """A flux of zero is not a claim, and per is lamp or pair."""
    with pytest.raises(ValueError, match="claimed_flux must be"):
        judge_claim(0.0, 20.0, claimed_per="lamp", power_per="lamp")
    with pytest.raises(ValueError, match="claimed_per must be lamp or pair"):
        judge_claim(9000.0, 20.0, claimed_per="box", power_per="lamp")


@pytest.mark.parametrize(("per", "claimed"), [("lamp", 38.0), ("pair", 76.0)])
def test_claimed_watts_are_set_against_the_measured_ones(per, claimed):
    """Closed form: 38 W a lamp over 19 W, 16 to 20 W: twice as much, 1.9 to 2.375 times."""
    found = judge_claimed_power(claimed, 19.0, 16.0, 20.0, claimed_per=per)
    assert found.code == "given"
    assert_allclose([found.times, found.low, found.high], [2.0, 1.9, 2.375], rtol=1e-15)  # float rounding


@pytest.mark.parametrize(
    ("claimed", "power", "per", "code"),
    [
        (math.nan, 19.0, "lamp", "no_claim"),
        (38.0, 19.0, "", "claim_without_per"),
        (38.0, math.nan, "lamp", "no_power"),
    ],
)
def test_what_is_missing_beside_claimed_watts_is_named(claimed, power, per, code):
    """Closed form: nothing to divide, or nothing to divide by."""
    found = judge_claimed_power(claimed, power, power, power, claimed_per=per)
    assert found.code == code
    assert math.isnan(found.times)
