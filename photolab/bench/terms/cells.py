"""Rules for one cell: what is a number, a date, a clock time; anything else is said in plain words."""

import math
import re
from collections.abc import Sequence
from contextlib import suppress
from datetime import date

import numpy as np
import numpy.typing as npt

from photolab.bench.terms.faults import hint, shown
from photolab.bench.terms.schema import SPELT, Field, UnitForm

_POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
_OVERLOAD = re.compile(
    r"[+-]?(?:[o0][. ]?l\.?|ovl|ofl|over(?:load|flow|range)?|[-–—_]{2,}|1[ ._]+)", re.IGNORECASE
)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity|∞|n/?a)", re.IGNORECASE)
_UNIT = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*(?=[^0-9\s].*)[^0-9,._]+[0-9²³]?[^0-9,._]*")
_DATE_LIKE = re.compile(r"([0-9]{1,2})[/.\-]([0-9]{1,2})[/.\-]([0-9]{4})")
_CLOCK = re.compile(r"([0-3][0-9]|4[0-7]):[0-5][0-9](?::[0-5][0-9])?")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")  # fmt: skip


class CellFault(ValueError):
    """A cell that cannot be used; ``str()`` gives the words.

    Parameters
    ----------
    words : str
        What was found and what to type.
    code : str
        Fault code.
    """

    def __init__(self, words: str, *, code: str) -> None:
        self.code = code
        super().__init__(words)


def parse_number(text: str, *, decimal: str = ".") -> float:
    """Return the number a cell holds.

    Parameters
    ----------
    text : str
        The cell; spaces around it are ignored.
    decimal : str, default "."
        Decimal mark the folder declares.

    Returns
    -------
    float
        The number, finite. [unit of the column]

    Raises
    ------
    ValueError
        If the cell is blank, holds a unit, a thousands mark, an overload, a word, or a number that is not
        finite; the text says what was found.

    Notes
    -----
    Plain ASCII digits, one decimal mark, an optional sign and exponent. Nothing is repaired: ``1,240`` could
    be 1240 or 1.24.
    """
    typed = text.strip()
    value = float(plain_numbers([typed], decimal)[0])
    if math.isnan(value):
        raise _not_a_number(typed, decimal)
    return value


def plain_numbers(words: Sequence[str], decimal: str = ".") -> npt.NDArray[np.float64]:
    """Return the numbers of many cells, NaN for each that `parse_number` would refuse.

    Parameters
    ----------
    words : sequence of str
        The cells, without surrounding spaces.
    decimal : str, default "."
        Decimal mark the folder declares.

    Returns
    -------
    ndarray
        Numbers. [unit of the column]
    """
    plain = (_POINT if decimal == "." else _COMMA).fullmatch
    values = np.array([float(w.replace(",", ".")) if plain(w) else np.nan for w in words], dtype=float)
    for place in map(int, np.flatnonzero((values == 0.0) | np.isinf(values))):
        # a text that gives 0 may be a number too small for one
        if math.isinf(values[place]) or re.search("[1-9]", words[place].lower().partition("e")[0]):
            values[place] = np.nan
    return values


def digits(value: float) -> str:
    """Return a number in the shortest digits that give it back; NaN is blank.

    Parameters
    ----------
    value : float
        The number. [unit of the column]

    Returns
    -------
    str
        Its digits, without a decimal point where it is whole.
    """
    if math.isnan(value):
        return ""
    return str(int(value)) if abs(value) < 1e15 and value == int(value) else repr(value)


def _not_a_number(typed: str, decimal: str) -> CellFault:
    """Say why a cell is not a number."""
    quoted = f'"{shown(typed)}"'
    if not typed:
        return CellFault("blank; wanted a number.", code="fault 5")
    if (_POINT if decimal == "." else _COMMA).fullmatch(typed):
        size = "large" if math.isinf(float(typed.replace(",", "."))) else "small"
        return CellFault(f"{quoted} is too {size} for a number.", code="fault 14")
    if _OVERLOAD.fullmatch(typed):
        words = f"{quoted} is an overload, not a reading; leave the row out or measure again."
        return CellFault(words, code="fault 16")
    if _NOT_FINITE.fullmatch(typed):
        words = f"{quoted} is not a finite number; leave the cell blank if there is no value."
        return CellFault(words, code="fault 14")
    return CellFault(f"{quoted} {_advice(typed, decimal)}", code="fault 13")


def _advice(typed: str, decimal: str) -> str:
    """Say what a cell holds in place of a number, and what to type instead."""
    thousands = r"[+-]?[0-9]{1,3}(([ '’_\u00a0\u202f][0-9]{3})+([.,][0-9]*)?|(,[0-9]{3})+(\.[0-9]*)?)"
    point, comma = typed.replace(",", "."), typed.replace(".", ",")
    bare = point.replace(".", "")
    if re.fullmatch("[−–‒][0-9.,]+", typed):
        return f"begins with a dash that is not a minus sign; write -{typed[1:]}."
    if decimal == "." and re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", typed):
        return f"is {bare} or {float(point):g}; write {bare}."
    if decimal == "." and re.fullmatch(r"[+-]?[0-9]*,[0-9]+", typed):
        return f'has a decimal comma; write {point}, or declare decimal = "," in bench.toml.'
    if re.fullmatch(thousands, typed):
        spaced = re.sub("[^0-9.,+-]", "", typed)
        return f"holds a thousands mark; write {typed.replace(',', '') if spaced == typed else spaced}."
    if decimal == "," and re.fullmatch(r"[+-]?[0-9]*\.[0-9]+", typed):
        return f"has a point, and bench.toml declares the decimal comma; write {comma} or {bare}."
    if minutes := re.fullmatch(r"([0-9]{1,3}):([0-5]?[0-9])", typed):
        wanted = f"minutes and seconds are written in seconds: {60 * int(minutes[1]) + int(minutes[2])}."
    elif typed.startswith(("<", ">", "≤", "≥", "~", "±")):
        wanted = "write the bare number."
    elif typed.startswith("="):
        wanted = "a formula has no stored value; write the number."
    elif re.fullmatch(r"[+-]?[0-9.,]*[OoIl|][0-9OoIl|.,]*", typed):
        wanted = "a letter stands where a digit should be; write digits only."
    elif thousand := re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?) ?k(?:lx|lux)?", typed):
        wanted = f"write {1000.0 * float(thousand[1].replace(',', '.')):.12g}."
    elif unit := _UNIT.fullmatch(typed):
        wanted = f"write {unit[1]}, the unit stands in the column name."
    else:
        wanted = "write digits with a decimal point, or leave the cell blank if the column may be blank."
    return f"is not a number; {wanted}"


def parse_date(text: str) -> str:
    """Return an ISO date (YYYY-MM-DD) as it stands, or raise a `CellFault`.

    Parameters
    ----------
    text : str
        The cell.

    Returns
    -------
    str
        The date.
    """
    typed = text.strip()
    words = _date_words(typed)
    if re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", typed):
        words = "is no day of the calendar; wanted YYYY-MM-DD."
        with suppress(ValueError):
            return str(date.fromisoformat(typed))
    words = f'"{shown(typed)}" {words}'
    raise CellFault(words, code="fault 6")


def _date_words(typed: str) -> str:
    """Say how a date that is not ISO could be meant."""
    found = _DATE_LIKE.fullmatch(typed)
    if found:
        first, second, year = int(found[1]), int(found[2]), int(found[3])
        if 1 <= first <= 12 and 1 <= second <= 12 and first != second:
            day_first, month_first = f"{first} {_MONTHS[second - 1]}", f"{second} {_MONTHS[first - 1]}"
            return f"could be {day_first} or {month_first}; write {year}-{second:02d}-{first:02d}."
        day, month = (first, second) if second <= 12 else (second, first)
        if 1 <= month <= 12 and 1 <= day <= 31:
            return f"is not an ISO date; write {year}-{month:02d}-{day:02d}."
    if re.fullmatch("[0-9]{5}", typed):
        return "is a spreadsheet's day number; format the column as YYYY-MM-DD."
    return "is not an ISO date; write YYYY-MM-DD, for example 2025-04-03."


def parse_clock(text: str) -> str:
    """Return a clock time (HH:MM or HH:MM:SS) as it stands, or raise a `CellFault`.

    Hours of a day that ends after midnight go on: 24:05.

    Parameters
    ----------
    text : str
        The cell.

    Returns
    -------
    str
        The clock time.
    """
    typed = text.strip()
    if _CLOCK.fullmatch(typed):
        return typed
    found = re.fullmatch(r"([0-9]):([0-5][0-9](?::[0-5][0-9])?)", typed)
    wanted = (
        f"write 0{found[1]}:{found[2]}"
        if found
        else "write HH:MM or HH:MM:SS, 00:00 to 23:59:59; after midnight of an evening go on: 24:05"
    )
    words = f'"{shown(typed)}" is not a clock time; {wanted}.'
    raise CellFault(words, code="fault 6")


def parse_code(text: str, field: Field) -> str:
    """Return the code that a word stands for, or raise a `CellFault`.

    Parameters
    ----------
    text : str
        The cell or value.
    field : Field
        With the allowed codes, and other words that are read as one of them; the case of letters does not matter.

    Returns
    -------
    str
        The code.
    """
    typed = SPELT.get(text.strip(), text.strip() or text)
    known = {code.lower(): code for code in field.codes} | dict(field.also)
    if typed.lower() in known:
        return known[typed.lower()]
    near = hint(typed, [*field.codes, *field.also])
    words = f'"{shown(typed)}" is not one of {field.wanted}{near}.'
    raise CellFault(words, code="fault 12")


def inside(values: npt.ArrayLike, field: Field) -> npt.NDArray[np.bool_]:
    """Return which numbers a column or key may hold.

    Parameters
    ----------
    values : float or array
        Numbers in canonical units. [unit of the column]
    field : Field
        The column or key.

    Returns
    -------
    ndarray of bool
        True where a number is finite and in range, and whole where that is wanted.
    """
    x: npt.NDArray[np.float64] = np.asarray(values, dtype=float)
    allowed: npt.NDArray[np.bool_] = np.isfinite(x)
    if field.low is not None:
        allowed &= x > field.low if field.low_open else x >= field.low
    if field.high is not None:
        allowed &= x <= field.high
    if field.kind == "count":
        allowed &= x == np.floor(x)
    return allowed


def check_number(value: float, typed: str, field: Field, form: UnitForm | None = None) -> float:
    """Return a number in the unit of its column or key, or raise a `CellFault` where it leaves the range.

    Parameters
    ----------
    value : float
        Number as typed. [unit of the header]
    typed : str
        As typed.
    field : Field
        The column or key, with its range in canonical units.
    form : UnitForm, optional
        The unit of the header, where it is another one.

    Returns
    -------
    float
        The number. [unit of the column]
    """
    canonical = form.convert(value) if form else value
    if 0.0 < value < field.small and field.small_refused:
        percent = f"{100 * value:g}"
        words = f"{value:g}; is that {percent} %? Write {percent}."
        raise CellFault(words, code="fault 20")
    if form and not math.isfinite(canonical):
        words = f'"{shown(typed)}" is too large for a number.'
        raise CellFault(words, code="fault 14")
    if inside(canonical, field):
        return canonical
    unit = form.unit if form else field.unit
    tail = f" {unit}" if unit not in {"", "1"} else ""
    also = f" is {canonical:.6g} {field.unit}" if form and value != canonical else ""
    in_range = field.kind == "count" and inside(np.floor(canonical), field)
    wanted = "a whole number" if in_range else field.wanted
    words = f"{shown(typed)}{tail}{also}; wanted {wanted}."
    if unit == "A" and inside(value / 1000.0, field):
        words += f" If these are mA, write {value / 1000.0:g}."
    percentage = max(field.high or math.inf, 10.0)  # a ratio below it has a slip of a digit
    if field.unit == "1" and field.kind != "count" and value > percentage:
        ratios = {f"{value:g} %": value / 100.0, f"{value:g} % more": 1.0 + value / 100.0}
        meant = [f"{said} is written {ratio:g}" for said, ratio in ratios.items() if inside(ratio, field)]
        words += f" {', '.join(meant)}." * bool(meant)
    raise CellFault(words, code="fault 14")
