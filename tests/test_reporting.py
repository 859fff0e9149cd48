"""Numbers as text. Oracles: exact decimal arithmetic, and the rule (10 significant digits, then half up)."""

import math
from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from photolab.metrology.reporting import (
    decimal,
    places_for,
    published_ends,
    shortened,
    significant,
    with_ends,
    with_uncertainty,
)


@pytest.mark.parametrize(
    ("x", "places", "text"),
    [
        (2.675, 2, "2.68"),  # stored as 2.67499999999999982236431605997495353221893310546875
        (0.125, 2, "0.13"),  # exact tie, away from zero
        (-0.125, 2, "-0.13"),
        (1.005, 2, "1.01"),  # stored below the tie
        (100.145, 2, "100.15"),
        (0.1 + 0.2, 1, "0.3"),
        (-0.001, 2, "0.00"),  # no negative zero
        (-0.0, 0, "0"),
        (0.5, 0, "1"),
        (2.5, 0, "3"),
        (12345.678, -2, "12300"),
        (-12350.0, -2, "-12400"),
        (49.0, -2, "0"),
        (1e300, 0, "1" + "0" * 300),
        (1e-300, 3, "0.000"),
        (7, 3, "7.000"),
        (float("nan"), 2, "n/a"),
        (float("inf"), 2, "∞"),
        (float("-inf"), 2, "-∞"),
    ],
)
def test_decimal(x, places, text):
    """Oracle: exact decimal arithmetic by hand."""
    assert decimal(x, places) == text


def test_decimal_forgets_the_last_bits():
    """Two neighbouring floats about a tie print the same (the reason for 10 digits)."""
    below, above = math.nextafter(0.145, 0), math.nextafter(0.145, 1)
    assert below < 0.145 < above
    assert decimal(below, 2) == decimal(above, 2) == "0.15"


@settings(deadline=None)
@given(st.decimals(min_value=-99999, max_value=99999, places=4), st.integers(0, 3))
def test_decimal_is_exact_half_up(number, places):
    """Oracle: the decimal module on the exact number (9 significant digits at most, so nothing is lost)."""
    exact = number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    expected = f"{abs(exact) if exact == 0 else exact:f}"
    assert decimal(float(number), places) == expected


@settings(deadline=None)
@given(st.floats(-1e9, 1e9), st.integers(-3, 6))
def test_decimal_of_the_negative_is_the_negative(x, places):
    """Half up is symmetric about zero."""
    text = decimal(x, places)
    mirrored = text if float(text) == 0 else ("-" + text).replace("--", "")
    assert decimal(-x, places) == mirrored


@pytest.mark.parametrize(
    ("uncertainty", "digits", "places"),
    [
        (1.2, 2, 1),
        (0.0996, 2, 2),
        (0.0994, 2, 3),
        (9.96, 2, 0),
        (1234.0, 2, -2),
        (0.5, 1, 1),
        (99.5, 2, -1),
        (99.4, 2, 0),
    ],
)
def test_places_for(uncertainty, digits, places):
    """Oracle: counted by hand; a carry (0.0996 -> 0.10) takes a place away."""
    assert places_for(uncertainty, digits=digits) == places


@settings(deadline=None)
@given(st.floats(1e-12, 1e12), st.integers(1, 4))
def test_places_show_exactly_the_digits(uncertainty, digits):
    """The rounded uncertainty has `digits` significant digits."""
    places = places_for(uncertainty, digits=digits)
    shown = Decimal(decimal(uncertainty, places)).scaleb(places)
    assert 10 ** (digits - 1) <= shown < 10**digits


@pytest.mark.parametrize("uncertainty", [0.0, -1.0, float("nan"), float("inf")])
def test_places_need_an_uncertainty(uncertainty):
    """A number of digits of nothing is refused."""
    with pytest.raises(ValueError, match="uncertainty must be finite and more than zero; got"):
        places_for(uncertainty)


def test_places_need_a_digit():
    """Fewer than one digit is refused."""
    with pytest.raises(ValueError, match="digits must be 1 or more; got 0"):
        places_for(1.0, digits=0)


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (23.4123, 1.23, "23.4 ± 1.2"),
        (23.45, 1.25, "23.5 ± 1.3"),
        (12345.0, 1234.0, "12300 ± 1200"),
        (0.5, 0.0996, "0.50 ± 0.10"),
        (-0.0001, 0.5, "0.00 ± 0.50"),
        (318.0, 0.0023, "318.0000 ± 0.0023"),
        (1.23456e9, 1.2e6, "(1.2346 ± 0.0012) × 10⁹"),
        (-1.23456e9, 1.2e6, "(-1.2346 ± 0.0012) × 10⁹"),
        (1e-9, 3e-11, "(1.000 ± 0.030) × 10⁻⁹"),
        (9.9999e9, 1e8, "(1.000 ± 0.010) × 10¹⁰"),
        (0.0, 3e-11, "(0.0 ± 3.0) × 10⁻¹¹"),
        (-1e-13, 3e-11, "(0.0 ± 3.0) × 10⁻¹¹"),
        (1.23e-5, 1.2e-7, "(1.230 ± 0.012) × 10⁻⁵"),
        (5.0, 3e7, "(0.0 ± 3.0) × 10⁷"),
        (1e-5, 1e-6, "0.0000100 ± 0.0000010"),
        (12.0, 0.0, "12 ± 0"),
        (float("nan"), 0.12, "n/a ± 0.12"),
        (1.5, float("nan"), "1.5 ± n/a"),
        (1.5, float("inf"), "1.5 ± ∞"),
    ],
)
def test_with_uncertainty(value, expanded, text):
    """JCGM 100:2008, 7.2.6: two significant digits of the uncertainty, the value to match; by hand."""
    assert with_uncertainty(value, expanded) == text


@settings(deadline=None)
@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e5))
def test_with_uncertainty_keeps_the_numbers(value, expanded):
    """The printed numbers differ from the true ones by half a unit in the last place at most."""
    shown_value, shown_expanded = (float(part) for part in with_uncertainty(value, expanded).split(" ± "))
    half = 0.5 * 10.0 ** -places_for(expanded)
    shortened = 5e-10  # relative error of 10 significant digits
    assert_allclose(shown_value, value, rtol=0, atol=half * (1 + 1e-9) + shortened * abs(value))
    assert_allclose(shown_expanded, expanded, rtol=0, atol=half * (1 + 1e-9) + shortened * expanded)


def test_negative_uncertainty_is_refused():
    """An uncertainty is never negative."""
    with pytest.raises(ValueError, match="expanded uncertainty must be zero or more; got -1"):
        with_uncertainty(1.0, -1.0)


@pytest.mark.parametrize(
    ("x", "digits", "expected"),
    [
        (0.85345, 4, 0.8535),
        (13479.6, 4, 13480.0),
        (99995.0, 4, 1e5),
        (-2.6750000000001, 3, -2.68),
        (1.23456749999, 6, 1.23457),
        (0.0, 4, 0.0),
        (math.inf, 4, math.inf),
    ],
)
def test_significant_digits_round_half_up(x, digits, expected):
    # Oracle: closed form, by hand; a number 1e-11 below a half counts as the half, as in `decimal`.
    assert significant(x, digits) == expected


def test_the_last_bits_decide_nothing():
    # Oracle: by hand: the tenth digit is kept, the eleventh rounded.
    assert shortened(0.1 + 0.2) == 0.3
    assert shortened(-1.23456789012e-7) == -1.234567890e-7
    assert shortened(98765432109.0) == 98765432110.0
    assert (shortened(math.inf), shortened(0.0)) == (math.inf, 0.0)
    assert math.isnan(shortened(math.nan))


def test_nan_stays_nan():
    assert math.isnan(significant(math.nan, 4))


@pytest.mark.parametrize(
    ("ends", "expected"),
    [
        ((0.85345, 0.87912), (0.8535, 0.8791)),
        ((1.00012, 1.00312), (1.0001, 1.0031)),  # half-width 0.0015: four places
        ((12812.4, 13877.6), (12810.0, 13880.0)),
        ((-1.23456, 0.0), (-1.235, 0.0)),
        ((0.97, math.inf), (0.97, math.inf)),
    ],
)
def test_ends_of_an_interval_are_rounded_once(ends, expected):
    # Oracle: the rule, by hand: four significant digits, or two of the half-width where that is finer.
    assert published_ends(*ends) == expected


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (0.87725, 0.87318, 0.88134, "0.8773 (0.8732 to 0.8813)"),
        (1.0503, 0.962, 1.147, "1.050 (0.962 to 1.147)"),
        (13351.0, 12670.0, 14030.0, "13350 (12670 to 14030)"),
        (1.25, math.nan, math.nan, "1.25 (no interval)"),
    ],
)
def test_a_value_with_its_ends(value, low, high, text):
    """Oracle: two digits of the half-width, by hand."""
    assert with_ends(value, low, high) == text
