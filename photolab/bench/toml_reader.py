"""bench.toml to settings, meters, housings and logs: every key checked against the table of keys."""

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from photolab.bench.cells import CellFault, parse_date
from photolab.bench.faults import Faults, closest, shown
from photolab.bench.keys import SECTIONS, Key
from photolab.bench.model import Assumption, Certificate, Housing, Meter, Settings, SpectralFactor

FILE = "bench.toml"
Values = dict[str, Any]


@dataclass
class Declared:
    """What bench.toml says."""

    settings: Settings = field(default_factory=Settings)
    meters: dict[str, Meter] = field(default_factory=dict)
    housings: dict[str, Housing] = field(default_factory=dict)
    logs: list[Values] = field(default_factory=list)
    separator: str = ","
    decimal: str = "."
    assumed: list[Assumption] = field(default_factory=list)


class _Lines:
    """Finds the line of a key in the text, by section and count of its header."""

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
        """Return the line of a key, or None where it stands in an inline table."""
        return self.lines.get((section, index, key))


class _Section:
    """Checks the keys of one section, and hands out values with defaults."""

    def __init__(self, section: str, index: int, label: str, given: Mapping[str, Any], lines: _Lines, faults: Faults) -> None:
        self.section = section
        self.index = index
        self.label = label
        self.given = given
        self.lines = lines
        self.faults = faults
        self.declared = frozenset(given)

    def fault(self, code: str, message: str, key: str = "") -> None:
        """Keep a fault at the line of a key."""
        self.faults.add(code, FILE, message, line=self.lines.of(self.section, self.index, key) if key else None)

    def values(self) -> Values:
        """Return every key of the section; a faulty or absent one has its default."""
        keys = {key.name: key for key in SECTIONS[self.section]}
        for name in self.given:
            if name not in keys:
                near = closest(name, keys)
                hint = f" Did you mean {near}?" if near else _unit_hint(name)
                self.fault("E02", f"{self._full(name)} is not a key.{hint}", name)
        found: Values = {}
        for key in keys.values():
            found[key.name] = key.default
            if key.name in self.given:
                value = self._checked(key, self.given[key.name])
                found[key.name] = key.default if value is None else value
            elif key.required:
                self.fault("E01", f"{self.label} has no {key.name}; {_remedy(key)}.")
        return found

    def _full(self, name: str) -> str:
        return f"{self.section}.{shown(name)}" if self.section else shown(name)

    def _checked(self, key: Key, value: Any) -> Any:
        rules: dict[str, Callable[[Key, Any], Any]] = {
            "number": self._number, "count": self._count, "numbers": self._numbers,
            "number_or_numbers": self._number_or_numbers, "text": self._text, "code": self._code,
            "texts": self._texts, "date": self._date, "table": self._table, "tables": self._tables,
        }  # fmt: skip
        return rules[key.kind](key, value)

    def _number(self, key: Key, value: Any) -> float | None:
        full = self._full(key.name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            advice = _bare_number(value)
            self.fault("E02", f"{full} = {_typed(value)}; wanted a bare number{advice}.", key.name)
            return None
        number = float(value) if abs(value) < 1e300 else math.inf
        outside = not math.isfinite(number) or (key.high is not None and number > key.high)
        if key.low is not None:
            outside = outside or (number <= key.low if key.low_open else number < key.low)
        if 0.0 < number < key.small and key.small_refused:
            percent = f"{100 * number:g}"
            self.fault("E20", f"{full} = {number:g}; is that {percent} %? Write {percent}.", key.name)
            return None
        if outside:
            unit = f" {key.unit}" if key.unit not in {"", "1"} else ""
            self.fault("E14", f"{full} = {_typed(value)}{unit}; wanted {key.wanted}.", key.name)
            return None
        if 0.0 < number < key.small:
            self.fault("W23", f"{full} = {number:g} {key.unit} is very small; is it in {key.unit}?", key.name)
        return number

    def _count(self, key: Key, value: Any) -> int | None:
        number = self._number(key, value)
        if number is not None and number != math.floor(number):
            self.fault("E02", f"{self._full(key.name)} = {number:g}; wanted a whole number.", key.name)
            return None
        return None if number is None else int(number)

    def _numbers(self, key: Key, value: Any) -> tuple[float, ...] | None:
        if not isinstance(value, list) or not value:
            words = f"{self._full(key.name)} = {_typed(value)}; wanted a list, for example [400, 4000, 40000]."
            self.fault("E02", words, key.name)
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
            words = f'{self._full(key.name)} = {_typed(value)}; wanted text in quotation marks: {key.name} = "{_bare(value)}".'
            self.fault("E02", words, key.name)
            return None
        if key.required and not value.strip():
            self.fault("E01", f"{self.label} has a blank {key.name}; {_remedy(key)}.")
            return None
        return value.strip()

    def _code(self, key: Key, value: Any) -> str | None:
        if isinstance(value, str) and value in key.codes:
            return value
        near = closest(str(value), key.codes)
        hint = f'; closest is "{near}"' if near else ""
        names = ", ".join(f'"{shown(code)}"' for code in key.codes)
        self.fault("E12", f"{self._full(key.name)} = {_typed(value)}; wanted one of {names}{hint}.", key.name)
        return None

    def _texts(self, key: Key, value: Any) -> tuple[str, ...] | None:
        if not isinstance(value, list):
            self.fault("E02", f'{self._full(key.name)} = {_typed(value)}; wanted a list, for example ["degF"].', key.name)
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

    def _table(self, key: Key, value: Any) -> Values | None:
        if isinstance(value, dict):
            return value
        self.fault("E02", f"{self._full(key.name)}: wanted a table [{self._full(key.name)}].", key.name)
        return None

    def _tables(self, key: Key, value: Any) -> list[Values] | None:
        if isinstance(value, list) and all(isinstance(item, dict) for item in value):
            return value
        self.fault("E02", f"{self._full(key.name)}: wanted tables [[{self._full(key.name)}]].", key.name)
        return None


def _remedy(key: Key) -> str:
    """Say where a required value comes from."""
    return key.about if key.about.startswith("copy") else f"write {key.name} = …, {key.about}"


def _typed(value: Any) -> str:
    """Return a TOML value as it may have been typed."""
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{shown(value)}"' if isinstance(value, str) else shown(str(value))


def _bare(value: Any) -> str:
    return shown(str(value).lower() if isinstance(value, bool) else str(value), limit=30)


def _bare_number(value: Any) -> str:
    """Say which bare number a text holds, if it plainly holds one."""
    found = re.fullmatch(r"\s*[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*[^0-9.,]*", value) if isinstance(value, str) else None
    return f": {found[1].replace(',', '.')}" if found else ""


def _unit_hint(name: str) -> str:
    if name.endswith("_fc"):
        return f" Write {name[:-3]}_lx; 1 fc is 10.7639104 lx."
    if name.endswith(("_cm", "_ft", "_in")):
        return f" Write it in metres as {name[:-3]}_m."
    return ""


def _syntax(text: str, error: tomllib.TOMLDecodeError) -> tuple[str, int | None]:
    """Word a TOML syntax error by the line it stands on."""
    place = re.search(r"\(at line (\d+), column \d+\)", str(error))
    lines = text.split("\n")
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    found = re.match(r"([A-Za-z_]+)\s*=\s*(.*?)\s*(?:#.*)?$", line)
    if found:
        key, typed = found[1], found[2]
        bare = re.fullmatch(r"[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:%|[A-Za-zµ°²/]+)?", typed)
        if bare and bare[1] != typed:
            value = bare[1].replace(",", ".")
            return f"{key} = {shown(typed)}; write the bare number: {key} = {value}", number
        if re.fullmatch(r"[“”„'’\w .()\-]*", typed) and re.search("[^0-9.]", typed):
            inner = typed.strip("“”„'’ ")
            return f'{key} = {shown(typed)}; write text in straight quotation marks: {key} = "{shown(inner)}"', number
    reason = re.sub(r" \(at .*\)$", "", str(error))
    what = f"{shown(line)}; " if line else ""
    return f"{what}{shown(reason[:1].lower() + reason[1:])}", number


def read_toml(text: str, faults: Faults) -> Declared:
    """Return what bench.toml declares; faults are kept, and what cannot be used has its default."""
    declared = Declared()
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message, line = _syntax(text.replace("\r\n", "\n"), error)
        faults.add("E02", FILE, f"{message}.", line=line)
        return declared
    except (ValueError, RecursionError) as error:
        faults.add("E02", FILE, f"cannot be understood: {shown(str(error))}.")
        return declared
    lines = _Lines(text)
    _top(given, lines, faults)
    csv = _single("csv", given, lines, faults)
    declared.separator, declared.decimal = csv["separator"], csv["decimal"]
    if declared.separator == declared.decimal:
        faults.add("E08", FILE, '[csv] separator and decimal are both ","; a decimal comma needs separator = ";".')
    bench = _single("bench", given, lines, faults)
    keys = frozenset(given["bench"]) if isinstance(given.get("bench"), dict) else frozenset()
    declared.settings = Settings(**bench, declared=keys)
    declared.meters = _meters(given, lines, faults)
    declared.housings = _housings(given, lines, faults)
    declared.logs = [section.values() for section in _many("log", given, lines, faults)]
    return declared


def _top(given: Values, lines: _Lines, faults: Faults) -> None:
    sections = {"bench", "csv", "meter", "housing", "log"}
    if "schema" not in given:
        faults.add("E01", FILE, "no schema; write schema = 1 as the first line.")
    elif given["schema"] != 1 or isinstance(given["schema"], bool):
        words = f"schema = {_typed(given['schema'])}; this version reads schema = 1."
        faults.add("E01", FILE, words, line=lines.of("", 0, "schema"))
    for name in given:
        if name not in sections | {"schema"}:
            near = closest(name, sections)
            hint = f" Did you mean {near}?" if near else _home(name)
            faults.add("E02", FILE, f"{shown(name)} is not a section or key.{hint}", line=lines.of("", 0, name))
    if "meter" not in given:
        faults.add("E01", FILE, "no [[meter]]; write one with id and reading_percent.")


def _home(name: str) -> str:
    """Say in which section a stray top-level key belongs."""
    for section in ("bench", "meter", "housing", "csv"):
        if any(key.name == name for key in SECTIONS[section]):
            header = f"[[{section}]]" if section in {"meter", "housing"} else f"[{section}]"
            return f" It belongs under {header}."
    return ""


def _single(section: str, given: Values, lines: _Lines, faults: Faults) -> Values:
    table = given.get(section, {})
    if not isinstance(table, dict):
        faults.add("E02", FILE, f"{section}: wanted one table [{section}].", line=lines.of("", 0, section))
        table = {}
    return _Section(section, 0, f"[{section}]", table, lines, faults).values()


def _many(section: str, given: Values, lines: _Lines, faults: Faults) -> list[_Section]:
    tables = given.get(section, [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        words = f"{section}: wanted [[{section}]] with two pairs of brackets."
        faults.add("E02", FILE, words, line=lines.of(section, 0, ""))
        return []
    found = []
    for index, table in enumerate(tables):
        name = table.get("id", table.get("file", index + 1))
        label = f'{section} "{shown(str(name))}"'
        found.append(_Section(section, index, label, table, lines, faults))
    return found


def _unique(section: _Section, found: Mapping[str, Any], identity: Any) -> bool:
    if identity in found:
        section.fault("E07", f'{section.section}.id "{shown(str(identity))}" is used twice; give each its own.', "id")
    return identity is not None and identity not in found


def _housings(given: Values, lines: _Lines, faults: Faults) -> dict[str, Housing]:
    found: dict[str, Housing] = {}
    for section in _many("housing", given, lines, faults):
        values = section.values()
        if _unique(section, found, values["id"]):
            found[values["id"]] = Housing(**values, declared=section.declared)
    return found


def _meters(given: Values, lines: _Lines, faults: Faults) -> dict[str, Meter]:
    found: dict[str, Meter] = {}
    for index, section in enumerate(_many("meter", given, lines, faults)):
        values = section.values()
        factors = []
        for row, table in enumerate(values.pop("spectral_factor") or []):
            label = f"{section.label} spectral_factor {row + 1}"
            part = _Section("meter.spectral_factor", row, label, table, lines, faults).values()
            if None not in part.values():
                factors.append(SpectralFactor(**part))
        if len({factor.technology for factor in factors}) < len(factors):
            section.fault("E07", f"{section.label} has two spectral factors for one technology; keep one.")
        table = values.pop("certificate")
        if table is not None:
            label = f"{section.label} certificate"
            part = _Section("meter.certificate", index, label, table, lines, faults).values()
            complete = part["correction"] is not None and part["expanded_uncertainty_percent"] is not None
            table = Certificate(**part) if complete else None
        _check_lists(section, values)
        if values["linearity_percent"] is None and values["reading_percent"]:
            values["linearity_percent"] = min(1.0, min(values["reading_percent"]) / 3.0)
        if _unique(section, found, values["id"]) and values["reading_percent"] is not None:
            rest = {"spectral_factors": tuple(factors), "certificate": table, "declared": section.declared}
            found[values["id"]] = Meter(**values, **rest)
    return found


def _check_lists(section: _Section, values: Values) -> None:
    """Check that the lists of a specification fit together."""
    ranges, resolution = values["ranges_lx"], values["resolution_lx"]
    label = section.label
    if any(b <= a for a, b in zip(ranges, ranges[1:], strict=False)):
        section.fault("E24", f"{label}: ranges_lx must increase; got {_list(ranges)}.", "ranges_lx")
    if resolution and ranges and len(resolution) != len(ranges):
        words = f"{label}: {len(resolution)} resolution_lx for {len(ranges)} ranges_lx; give one for each range."
        section.fault("E24", words, "resolution_lx")
    if any(b < a for a, b in zip(resolution, resolution[1:], strict=False)):
        section.fault("E24", f"{label}: resolution_lx must not decrease; got {_list(resolution)}.", "resolution_lx")
    if any(step >= top for step, top in zip(resolution, ranges, strict=False)):
        section.fault("E24", f"{label}: a resolution_lx is not below its range.", "resolution_lx")
    for name in ("reading_percent", "range_percent", "digits"):
        count = len(values[name] or ())
        if count > 1 and count != len(ranges):
            section.fault("E24", f"{label}: {count} values of {name} for {len(ranges)} ranges_lx; give one, or one for each.", name)
    if {"range_percent", "digits"} <= section.declared:
        section.fault("E08", f"{label}: both range_percent and digits; keep the one of your manual.", "digits")
    if any(values["digits"]) and not resolution:
        words = f"{label}: digits need resolution_lx, the last figure that can change on each range."
        section.fault("E08", words, "digits")


def _list(values: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{value:g}" for value in values) + "]"
