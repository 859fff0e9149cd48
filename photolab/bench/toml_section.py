"""One section of bench.toml: every key checked for type, range and words, defaults handed out."""

import math
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any

from photolab.bench.cells import CellFault, parse_date
from photolab.bench.faults import Faults, closest, shown
from photolab.bench.keys import SECTIONS, Key

FILE = "bench.toml"
Values = dict[str, Any]


class Lines:
    """Finds the line of a key in the text, by section and count of its header.

    Parameters
    ----------
    text : str
        Text of bench.toml.
    """

    def __init__(self, text: str) -> None:
        self.lines: dict[tuple[str, int, str], int] = {}
        section, counts = "", {"": 0}
        for number, line in enumerate(text.split("\n"), start=1):
            header = re.match(r"\s*\[\[?\s*([A-Za-z_.]+)\s*\]\]?\s*(?:#.*)?$", line.rstrip("\r"))
            if header:
                section = header[1]
                counts[section] = counts.get(section, -1) + 1
                self.lines[section, counts[section], ""] = number
            key = re.match(r"\s*([A-Za-z0-9_'\"-]+)\s*=", line)
            if key:
                self.lines.setdefault((section, counts[section], key[1].strip("'\"")), number)

    def of(self, section: str, index: int, key: str) -> int | None:
        """Return the line of a key, or None where it stands in an inline table.

        Parameters
        ----------
        section : str
            Section.
        index : int
            Count of the section, from 0.
        key : str
            The key.

        Returns
        -------
        int or None
            Line, from 1.
        """
        return self.lines.get((section, index, key))


class Section:
    """Checks the keys of one section, and hands out values with defaults.

    Parameters
    ----------
    section : str
        Name of the section.
    index : int
        Count of the section, from 0.
    label : str
        How messages call it.
    given : mapping
        Keys and values as TOML holds them.
    lines : Lines
        Where each key stands.
    faults : Faults
        Collects what is wrong.
    """

    def __init__(
        self, section: str, index: int, label: str, given: Mapping[str, Any], lines: Lines, faults: Faults
    ) -> None:
        self.section = section
        self.index = index
        self.label = label
        self.given = given
        self.lines = lines
        self.faults = faults
        self.declared = frozenset(given)

    def fault(self, code: str, message: str, key: str = "") -> None:
        """Keep a fault at the line of a key.

        Parameters
        ----------
        code : str
            Fault or caution code.
        message : str
            Found, wanted, to type.
        key : str
            Where it stands.
        """
        self.faults.add(
            code, FILE, message, line=self.lines.of(self.section, self.index, key) if key else None
        )

    def values(self) -> Values:
        """Return every key of the section; a faulty or absent one has its default."""
        keys = {key.name: key for key in SECTIONS[self.section]}
        for name in self.given:
            if name not in keys:
                near = closest(name, keys)
                hint = f" Did you mean {near}?" if near else _unit_hint(name)
                self.fault("fault 2", f"{self._full(name)} is not a key.{hint}", name)
        found: Values = {}
        for key in keys.values():
            found[key.name] = key.default
            if key.name in self.given:
                value = self._checked(key, self.given[key.name])
                found[key.name] = key.default if value is None else value
            elif key.required:
                self.fault("fault 1", f"{self.label} has no {key.name}; {_remedy(key)}.")
        return found

    def _full(self, name: str) -> str:
        return f"{self.section}.{shown(name)}" if self.section else shown(name)

    def _checked(self, key: Key, value: Any) -> Any:
        rules: dict[str, Callable[[Key, Any], Any]] = {
            "number": self._number, "count": self._count, "numbers": self._numbers,
            "number_or_numbers": self._number_or_numbers, "text": self._text, "code": self._code,
            "texts": self._texts, "date": self._date, "flag": self._flag, "table": self._table, "tables": self._tables,
        }  # fmt: skip
        return rules[key.kind](key, value)

    def _number(self, key: Key, value: Any) -> float | None:
        full = self._full(key.name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            advice = _bare_number(value)
            self.fault("fault 2", f"{full} = {typed_text(value)}; wanted a bare number{advice}.", key.name)
            return None
        number = float(value) if abs(value) < 1e300 else math.inf
        outside = not math.isfinite(number) or (key.high is not None and number > key.high)
        if key.low is not None:
            outside = outside or (number <= key.low if key.low_open else number < key.low)
        if 0.0 < number < key.small and key.small_refused:
            percent = f"{100 * number:g}"
            self.fault("fault 20", f"{full} = {number:g}; is that {percent} %? Write {percent}.", key.name)
            return None
        if outside:
            unit = f" {key.unit}" if key.unit not in {"", "1"} else ""
            self.fault("fault 14", f"{full} = {typed_text(value)}{unit}; wanted {key.wanted}.", key.name)
            return None
        if 0.0 < number < key.small:
            self.fault(
                "caution 23", f"{full} = {number:g} {key.unit} is very small; is it in {key.unit}?", key.name
            )
        return number

    def _count(self, key: Key, value: Any) -> int | None:
        number = self._number(key, value)
        if number is not None and number != math.floor(number):
            self.fault("fault 2", f"{self._full(key.name)} = {number:g}; wanted a whole number.", key.name)
            return None
        return None if number is None else int(number)

    def _numbers(self, key: Key, value: Any) -> tuple[float, ...] | None:
        if not isinstance(value, list) or not value:
            typed = f"{self._full(key.name)} = {typed_text(value)}"
            words = f"{typed}; wanted a list, for example [400, 4000, 40000]."
            self.fault("fault 2", words, key.name)
            return None
        numbers = [self._number(key, item) for item in value]
        return None if None in numbers else tuple(number for number in numbers if number is not None)

    def _number_or_numbers(self, key: Key, value: Any) -> tuple[float, ...] | None:
        if isinstance(value, list):
            return self._numbers(key, value)
        number = self._number(key, value)
        return None if number is None else (number,)

    def _text(self, key: Key, value: Any) -> str | None:
        if isinstance(value, datetime | date) or not isinstance(value, str):
            typed = f"{self._full(key.name)} = {typed_text(value)}"
            words = f'{typed}; wanted text in quotation marks: {key.name} = "{_bare(value)}".'
            self.fault("fault 2", words, key.name)
            return None
        if key.required and not value.strip():
            self.fault("fault 1", f"{self.label} has a blank {key.name}; {_remedy(key)}.")
            return None
        return value.strip()

    def _code(self, key: Key, value: Any) -> str | None:
        if isinstance(value, str) and value in key.codes:
            return value
        near = closest(str(value), key.codes)
        hint = f'; closest is "{near}"' if near else ""
        names = ", ".join(f'"{shown(code)}"' for code in key.codes)
        self.fault(
            "fault 12",
            f"{self._full(key.name)} = {typed_text(value)}; wanted one of {names}{hint}.",
            key.name,
        )
        return None

    def _texts(self, key: Key, value: Any) -> tuple[str, ...] | None:
        if not isinstance(value, list):
            self.fault(
                "fault 2",
                f'{self._full(key.name)} = {typed_text(value)}; wanted a list, for example ["degF"].',
                key.name,
            )
            return None
        found = [self._code(key, item) for item in value]
        return None if None in found else tuple(item for item in found if item is not None)

    def _date(self, key: Key, value: Any) -> str | None:
        if isinstance(value, date) and not isinstance(value, datetime):
            return value.isoformat()
        try:
            return parse_date(value if isinstance(value, str) else str(value))
        except CellFault as fault:
            self.fault(fault.code, f"{self._full(key.name)}: {fault}", key.name)
            return None

    def _flag(self, key: Key, value: Any) -> bool | None:
        if isinstance(value, bool):
            return value
        meant = str(value).strip().lower() in {"yes", "true", "1", "on"}
        words = f"{self._full(key.name)} = {typed_text(value)}; write {key.name} = {str(meant).lower()}."
        self.fault("fault 2", words, key.name)
        return None

    def _table(self, key: Key, value: Any) -> Values | None:
        if isinstance(value, dict):
            return value
        self.fault("fault 2", f"{self._full(key.name)}: wanted a table [{self._full(key.name)}].", key.name)
        return None

    def _tables(self, key: Key, value: Any) -> list[Values] | None:
        if isinstance(value, list) and all(isinstance(item, dict) for item in value):
            return value
        self.fault("fault 2", f"{self._full(key.name)}: wanted tables [[{self._full(key.name)}]].", key.name)
        return None


def _remedy(key: Key) -> str:
    """Say where a required value comes from."""
    return key.about if key.about.startswith("copy") else f"write {key.name} = …, {key.about}"


def typed_text(value: Any) -> str:
    """Return a TOML value as it may have been typed.

    Parameters
    ----------
    value : object
        A TOML value.

    Returns
    -------
    str
        As it may have been typed.
    """
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{shown(value)}"' if isinstance(value, str) else shown(str(value))


def _bare(value: Any) -> str:
    return shown(str(value).lower() if isinstance(value, bool) else str(value), limit=30)


def _bare_number(value: Any) -> str:
    """Say which bare number a text holds, if it plainly holds one."""
    found = (
        re.fullmatch(r"\s*[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*[^0-9.,]*", value)
        if isinstance(value, str)
        else None
    )
    return f": {found[1].replace(',', '.')}" if found else ""


def _unit_hint(name: str) -> str:
    if name.endswith("_fc"):
        return f" Write {name[:-3]}_lx; 1 fc is 10.7639104 lx."
    if name.endswith(("_cm", "_ft", "_in")):
        return f" Write it in metres as {name[:-3]}_m."
    return ""
