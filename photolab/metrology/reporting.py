"""The one way numbers become text: decimal places, and a value with its expanded uncertainty."""

import math
from decimal import ROUND_HALF_UP, Context, Decimal

from photolab.errors import demand

VALUE_DIGITS = 6  # significant digits of a published estimate
END_DIGITS = 4  # of the ends of an interval, and of an uncertainty
_MOST_PLACES = 400  # beyond any float
_WIDE = Context(prec=700, rounding=ROUND_HALF_UP)  # any float to any number of places used here
_PLAIN_BELOW = 10_000_000.0  # values from here on are written with a power of ten
_PLAIN_PLACES = 7  # so are uncertainties that need more decimal places than this
_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def _exact(x: float) -> Decimal:
    """Return a number as it is printed: ten significant digits, the last bits of a float decide no digit."""
    return Decimal(f"{x:.9e}")


def shortened(x: float) -> float:
    """Return a number shortened to 10 significant digits: the last bits of a float decide no digit and no order.

    Parameters
    ----------
    x : float
        The number. [any]

    Returns
    -------
    float
        The nearest float to the shortened number; NaN and infinite numbers as they are. [any]
    """
    return float(_exact(x))


def significant(x: float, digits: int) -> float:
    """Return a number rounded half up to some significant digits.

    What is published is rounded once: estimates to `VALUE_DIGITS`, uncertainties to `END_DIGITS`, intervals by
    `published_ends`. A table and a sentence made from the rounded number say the same, and the last bits of a float,
    which differ between machines, reach neither.

    Parameters
    ----------
    x : float
        The number. [any]
    digits : int
        Significant digits. [1]

    Returns
    -------
    float
        The nearest float to the rounded number; NaN and infinite numbers as they are. [any]
    """
    if not math.isfinite(x) or x == 0.0:
        return float(x)
    exact = _exact(x)
    return float(exact.quantize(Decimal(1).scaleb(exact.adjusted() - digits + 1), context=_WIDE))


def published_ends(low: float, high: float) -> tuple[float, float]:
    """Return the ends of an interval as they are published.

    Parameters
    ----------
    low, high : float
        The ends; NaN or infinite where there is none. [any]

    Returns
    -------
    low, high : float
        Rounded half up to `END_DIGITS` significant digits, or to two digits of the half-width where that is finer:
        from 1.00012 to 1.00312 is 1.0001 to 1.0031. [any]
    """
    half = 0.5 * (high - low)
    places = places_for(half) if math.isfinite(half) and half > 0.0 else -_MOST_PLACES
    ends = ((end, places + _exact(end).adjusted() + 1) for end in (low, high))
    low, high = (significant(end, max(digits, END_DIGITS)) for end, digits in ends)
    return low, high


def decimal(x: float, places: int) -> str:
    """Return a number with a fixed count of decimal places, rounded half up.

    The number is first shortened to 10 significant digits, so that 2.675 (stored a little below) gives 2.68
    and two machines that differ in the last bit print the same.

    Parameters
    ----------
    x : float
        The number. [1]
    places : int
        Decimal places; negative rounds to tens, hundreds, … [1]

    Returns
    -------
    str
        The text, without "-0.00"; "n/a" for NaN, "∞" or "-∞" for an infinite number.
    """
    if math.isnan(x):
        return "n/a"
    if math.isinf(x):
        return "∞" if x > 0 else "-∞"
    rounded = _exact(x).quantize(Decimal(1).scaleb(-places), context=_WIDE)
    text = f"{rounded:f}"
    return text.lstrip("-") if rounded.is_zero() else text


def places_for(uncertainty: float, *, digits: int = 2) -> int:
    """Return the decimal places that show an uncertainty to some significant digits.

    Parameters
    ----------
    uncertainty : float
        Standard or expanded uncertainty, more than zero. [1]
    digits : int, default 2
        Significant digits. [1]

    Returns
    -------
    int
        Decimal places after rounding half up (0.0996 becomes 0.10: 2 places); negative for tens, hundreds,
        … [1]

    Raises
    ------
    ValueError
        If the uncertainty is not finite and more than zero, or `digits` is below 1.
    """
    demand(digits >= 1, "digits must be 1 or more", digits)
    holds = 0.0 < uncertainty < math.inf
    demand(holds, "uncertainty must be finite and more than zero", f"{uncertainty:g}")
    exact = _exact(uncertainty)
    places = digits - 1 - exact.adjusted()
    carried = exact.quantize(Decimal(1).scaleb(-places), context=_WIDE)
    return places - (carried.adjusted() - exact.adjusted())


def with_uncertainty(value: float, expanded: float) -> str:
    """Return a value with its expanded uncertainty, two significant digits of it and the value to match.

    Parameters
    ----------
    value : float
        The value. [1]
    expanded : float
        Expanded uncertainty, zero or more. [1]

    Returns
    -------
    str
        For example ``23.4 ± 1.2`` or ``12300 ± 1200``; a power of ten stands outside, ``(1.2346 ± 0.0012) ×
        10⁹``, where the larger of the two reaches ten million or more than 7 decimal places would be
        needed. An uncertainty of zero leaves the value's own digits (at most 10) and ``± 0``; NaN is "n/a".

    Raises
    ------
    ValueError
        If the expanded uncertainty is negative.
    """
    demand(not expanded < 0, "expanded uncertainty must be zero or more", f"{expanded:g}")
    if expanded == 0 or not math.isfinite(expanded):
        return f"{_own_digits(value)} ± {decimal(expanded, 0)}"
    places, largest = places_for(expanded), max(abs(value), expanded)
    if not math.isfinite(value) or (largest < _PLAIN_BELOW and places <= _PLAIN_PLACES):
        return f"{decimal(value, places)} ± {decimal(expanded, places)}"
    exponent = _exact(largest).quantize(Decimal(1).scaleb(-places), context=_WIDE).adjusted()
    shifted = [_exact(x).scaleb(-exponent, context=_WIDE) for x in (value, expanded)]
    step = Decimal(1).scaleb(-(places + exponent))
    shown = [x.quantize(step, context=_WIDE) for x in shifted]
    words = [f"{abs(x) if x.is_zero() else x:f}" for x in shown]
    return f"({words[0]} ± {words[1]}) × 10{str(exponent).translate(_SUPERSCRIPT)}"


def with_ends(value: float, low: float, high: float) -> str:
    """Return a value with the ends of its interval, to two significant digits of its half-width.

    Parameters
    ----------
    value, low, high : float
        The value and the ends; NaN or infinite ends where there is no interval. [any]

    Returns
    -------
    str
        For example ``0.877 (0.873 to 0.881)``.
    """
    half = 0.5 * (high - low)
    if not (math.isfinite(half) and half > 0.0):
        return f"{_own_digits(value)} (no interval)"
    places = places_for(half)
    return f"{decimal(value, places)} ({decimal(low, places)} to {decimal(high, places)})"


def _own_digits(value: float) -> str:
    """Return a number with the digits it has, at most 10 significant, plain between 1e-5 and 1e15."""
    if not math.isfinite(value):
        return decimal(value, 0)
    return f"{float(value) + 0.0:.10g}"
