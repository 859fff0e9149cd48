"""The number, date and clock rules of a cell.

Oracle: the declared rule (plain digits, one decimal mark, sign, exponent; nothing repaired), and Python's
own float for every text it accepts; ISO 8601 calendar dates for dates.
"""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photolab.bench.folder.records import parse_number
from photolab.bench.terms.cells import CellFault, parse_clock, parse_date


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("318", 318.0),
        (" 334.0 ", 334.0),
        ("-2.5", -2.5),
        ("+3", 3.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("1e3", 1000.0),
        ("3.2E-2", 0.032),
        ("0", 0.0),
        ("-0.0", 0.0),
        ("00318", 318.0),
        ("\u00a0318\u00a0", 318.0),
    ],
)
def test_numbers(text, value):
    assert parse_number(text) == value


@pytest.mark.parametrize(
    ("text", "words", "code"),
    [
        (
            "30O",
            '"30O" is not a number; a letter stands where a digit should be; write digits only.',
            "fault 13",
        ),
        (
            "3l8.5",
            '"3l8.5" is not a number; a letter stands where a digit should be; write digits only.',
            "fault 13",
        ),
        ("334 lx", '"334 lx" is not a number; write 334, the unit stands in the column name.', "fault 13"),
        ("4k", '"4k" is not a number; write 4000.', "fault 13"),
        ("4,5 klx", '"4,5 klx" is not a number; write 4500.', "fault 13"),
        ("334lx", "write 334, the unit", "fault 13"),
        ("12.5%", "write 12.5, the unit", "fault 13"),
        ("1,240", '"1,240" is 1240 or 1.24; write 1240.', "fault 13"),
        ("1,24", '"1,24" has a decimal comma; write 1.24', "fault 13"),
        ("0,500", '"0,500" has a decimal comma; write 0.500', "fault 13"),
        ("1,240.5", "holds a thousands mark; write 1240.5.", "fault 13"),
        ("1,240,000", "holds a thousands mark; write 1240000.", "fault 13"),
        ("1 240", "holds a thousands mark; write 1240.", "fault 13"),
        ("1_000", "holds a thousands mark; write 1000.", "fault 13"),
        ("1'240", "holds a thousands mark; write 1240.", "fault 13"),
        ("1\u202f240", "holds a thousands mark; write 1240.", "fault 13"),
        ("0x10", '"0x10" is not a number', "fault 13"),
        ("1.2.3", '"1.2.3" is not a number', "fault 13"),
        ("3 4", '"3 4" is not a number', "fault 13"),
        ("--5", '"--5" is not a number', "fault 13"),
        ("−5", "begins with a dash that is not a minus sign; write -5.", "fault 13"),
        ("<0.1", "write the bare number.", "fault 13"),
        ("~334", "write the bare number.", "fault 13"),
        ("=A1+1", "a formula has no stored value", "fault 13"),
        ("5:30", "minutes and seconds are written in seconds: 330.", "fault 13"),
        ("three", '"three" is not a number', "fault 13"),
        ("３３４", "is not a number", "fault 13"),
        ("٣", "is not a number", "fault 13"),
        ("True", "is not a number", "fault 13"),
        ("1e", '"1e" is not a number', "fault 13"),
        ("nan", '"nan" is not a finite number', "fault 14"),
        ("-inf", "is not a finite number", "fault 14"),
        ("Infinity", "is not a finite number", "fault 14"),
        ("n/a", "is not a finite number", "fault 14"),
        ("1e400", '"1e400" is too large for a number.', "fault 14"),
        ("9" * 400, "is too large for a number.", "fault 14"),
        ("1e-400", '"1e-400" is too small for a number.', "fault 14"),
        ("OL", '"OL" is an overload, not a reading; leave the row out or measure again.', "fault 16"),
        ("0L", "is an overload", "fault 16"),
        ("O.L", "is an overload", "fault 16"),
        ("over", "is an overload", "fault 16"),
        ("---", "is an overload", "fault 16"),
        ("", "blank; wanted a number.", "fault 5"),
        ("   ", "blank; wanted a number.", "fault 5"),
    ],
)
def test_what_is_not_a_number_is_said_in_words(text, words, code):
    with pytest.raises(ValueError, match=re.escape(words)) as caught:
        parse_number(text)
    assert isinstance(caught.value, CellFault)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "value"), [("1,24", 1.24), ("318", 318.0), ("-0,5", -0.5), ("1,240", 1.24), ("1,2e3", 1200.0)]
)
def test_declared_decimal_comma(text, value):
    assert parse_number(text, decimal=",") == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1.240", "has a point, and bench.toml declares the decimal comma; write 1,240 or 1240."),
        ("1.240,5", "is not a number"),
        ("1 240,5", "holds a thousands mark; write 1240,5."),
    ],
)
def test_point_under_a_declared_comma_is_refused(text, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        parse_number(text, decimal=",")


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_float_as_python_prints_it_comes_back(value):
    assert parse_number(repr(value)) == value


@given(st.text(max_size=12))
def test_any_text_is_a_finite_number_or_refused(text):
    # what is accepted must be what float() makes of it, and must hold nothing but digits, marks and signs
    try:
        value = parse_number(text)
    except CellFault as fault:
        assert fault.code in {"fault 5", "fault 13", "fault 14", "fault 16"}  # noqa: PT017 - any text may be a number
        return
    assert math.isfinite(value)
    assert value == float(text)
    assert set(text.strip()) <= set("0123456789.+-eE")


@pytest.mark.parametrize("text", ["2025-04-03", "2024-02-29", " 2025-12-31 "])
def test_iso_dates(text):
    assert parse_date(text) == text.strip()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("03/04/2025", "could be 3 April or 4 March; write 2025-04-03."),
        ("13/04/2025", "is not an ISO date; write 2025-04-13."),
        ("04/13/2025", "is not an ISO date; write 2025-04-13."),
        ("4.4.2025", "is not an ISO date; write 2025-04-04."),
        ("2025-4-3", "is not an ISO date; write YYYY-MM-DD"),
        ("2025-02-29", "is no day of the calendar"),
        ("45750", "is a spreadsheet's day number"),
        ("2025-04-03T10:00", "is not an ISO date"),
        ("20250403", "is not an ISO date"),
        ("99/99/2025", "is not an ISO date; write YYYY-MM-DD"),
    ],
)
def test_other_dates_are_refused(text, words):
    with pytest.raises(CellFault, match=re.escape(words)):
        parse_date(text)


@pytest.mark.parametrize("text", ["00:00", "23:59:59", " 09:05 ", "24:05", "47:59"])
def test_clock_times(text):
    assert parse_clock(text) == text.strip()


@pytest.mark.parametrize("text", ["48:00", "9:5", "09:60", "9.05", "9:05 PM", "09:05:60", ""])
def test_other_clock_times_are_refused(text):
    with pytest.raises(CellFault, match="is not a clock time"):
        parse_clock(text)
