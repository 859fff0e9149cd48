"""bench.toml, or a workbook's sheet of keys, to settings, meters, housings, logs, questions and others' figures."""

import re
import tomllib
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from itertools import count, pairwise
from typing import Any

from photolab.bench.terms.cells import CellFault, check_number, parse_code, parse_date
from photolab.bench.terms.faults import Faults, hint, shown
from photolab.bench.terms.model import (
    Certificate,
    Housing,
    Meter,
    Question,
    Settings,
    SpectralFactor,
    TheirFigure,
    default_linearity,
)
from photolab.bench.terms.schema import SECTIONS, SINGLE, SPELT, Field

FILE = "bench.toml"
INSTRUMENTS = ("log", "heat_matrix")
"""Sections of files as instruments leave them."""
Values = dict[str, Any]


@dataclass
class Declared:
    """What bench.toml says; questions, figures and files with their section."""

    settings: Settings = field(default_factory=Settings)
    meters: dict[str, Meter] = field(default_factory=dict)
    housings: dict[str, Housing] = field(default_factory=dict)
    ids: dict[str, list[tuple[str, int]]] = field(default_factory=dict)
    """Of each meter and housing, sound or not, the id as it was typed and its line."""
    instruments: list["Section"] = field(default_factory=list)
    questions: list[tuple[Question, "Section"]] = field(default_factory=list)
    their_figures: list[tuple[TheirFigure, "Section"]] = field(default_factory=list)
    earlier: list["Section"] = field(default_factory=list)
    separator: str = ","
    decimal: str = "."


Slip = tuple[str, str, str]
"""Code, key and words of what is wrong."""
Lines = dict[tuple[str, int, str], int]
"""Line of a key by its section, the count of that section's header, and its name; of a header, without a name."""


def line_numbers(text: str) -> Lines:
    """Return where each key stands in bench.toml.

    Parameters
    ----------
    text : str
        Text of bench.toml.

    Returns
    -------
    dict
        Lines, from 1.
    """
    lines: Lines = {}
    section, counts = "", {"": 0}
    for number, line in enumerate(text.split("\n"), start=1):
        if header := re.match(r"\s*\[\[?\s*([A-Za-z_.]+)\s*\]\]?\s*(?:#.*)?$", line.rstrip("\r")):
            section = header[1]
            counts[section] = counts.get(section, -1) + 1
            lines[section, counts[section], ""] = number
            above, _, inner = section.rpartition(".")
            if above:
                lines.setdefault((above, counts.get(above, 0), inner), number)
        if key := re.match(r"\s*([A-Za-z0-9_'\"-]+)\s*=", line):
            lines.setdefault((section, counts[section], key[1].strip("'\"")), number)
    return lines


class Section:
    """One section: every key checked for type, range and words, defaults handed out.

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
    lines : dict
        Where each key stands, as from `line_numbers`.
    faults : Faults
        Collects what is wrong.
    """

    def __init__(
        self, section: str, index: int, label: str, given: Mapping[str, Any], lines: Lines, faults: Faults
    ) -> None:
        self.section, self.index, self.label = section, index, label
        self.given, self.lines, self.faults = given, lines, faults
        self.declared = frozenset(given)

    def line(self, key: str) -> int | None:
        """Return the line of a key, or None where it stands in an inline table.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        int or None
            Line, from 1.
        """
        return self.lines.get((self.section, self.index, key))

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
        self.faults.add(code, FILE, message, line=self.line(key) if key else None)

    def unknown(self, key: str, known: Collection[str], words: str, advice: str = "") -> None:
        """Keep a fault where a key names something that is not there.

        Parameters
        ----------
        key : str
            The key.
        known : collection of str
            What it may name.
        words : str
            What is wrong with another name.
        advice : str
            What to write where no known name is near.
        """
        name = self.values.get(key)
        if name and name not in known:
            words = f'{self.section}.{key} = "{shown(name)}"{words}{hint(name, known) or advice}.'
            self.fault("fault 12", words, key)

    @cached_property
    def values(self) -> Values:
        """Every key of the section; a faulty or absent one has its default."""
        keys = {key.name: key for key in SECTIONS[self.section]}
        for name in self.given:
            if name not in keys:
                near = _other_unit(name, keys) or hint(name, keys, " Did you mean {}?")
                self.fault("fault 2", f"{self._full(name)} is not a key.{near}", name)
        return {key.name: self._value(key) for key in keys.values()}

    @property
    def whole(self) -> bool:
        """Whether every key that is required has a value."""
        return None not in self.values.values()

    def _full(self, name: str) -> str:
        return f"{self.section}.{shown(name)}"

    def _value(self, key: Field) -> Any:
        full = self._full(key.name)
        if key.name not in self.given:
            if key.required:
                self.fault("fault 1", f"{self.label} has no {key.name}; {_remedy(key)}.")
            return key.default
        try:
            value = parse_value(key, self.given[key.name])
        except CellFault as fault:
            wanted = {"table": f": wanted a table [{full}].", "tables": f": wanted tables [[{full}]]."}
            self.fault(fault.code, full + wanted.get(key.kind, f" = {fault}"), key.name)
            return key.default
        if value == "" and key.required:
            self.fault("fault 1", f"{self.label} has a blank {key.name}; {_remedy(key)}.")
            return key.default
        typed = str(self.given[key.name])
        if key.kind == "code" and value.lower() not in {typed.lower(), SPELT.get(typed)}:
            self.fault("caution 35", f'{full} = "{shown(typed)}" is read as {value}.', key.name)
        for number in value if isinstance(value, tuple) else (value,):
            if key.small and isinstance(number, float) and 0.0 < number < key.small:
                said = f"{full} = {number:g} {key.unit} is very small; is it in {key.unit}?"
                self.fault("caution 23", said, key.name)
        return value


def parse_value(key: Field, value: Any) -> Any:
    """Return the value of a key as the records hold it, or raise a `CellFault`.

    Parameters
    ----------
    key : Field
        The key.
    value : object
        As TOML holds it.

    Returns
    -------
    object
        Number, tuple, text, flag, table or tables.
    """
    kind, typed, words = key.kind, typed_text(value), ""
    if kind in {"number", "count"}:
        if isinstance(value, int | float) and not isinstance(value, bool):
            number = check_number(float(value) if abs(value) < 1e300 else float("inf"), typed, key)
            return int(number) if kind == "count" else number
        words = f"wanted a bare number{_bare_number(value, key.unit)}"
    elif kind in {"list", "codes"}:
        items = [value] if key.one_will_do and not isinstance(value, list) else value
        if isinstance(items, list) and (items or kind == "codes"):
            one = replace(key, kind="number" if kind == "list" else "code")
            return tuple(parse_value(one, item) for item in items)
        words = f"wanted a list, for example {key.example}"
    elif kind == "date":
        return str(value) if type(value) is date else parse_date(str(value))
    elif kind == "flag" and not isinstance(value, bool):
        meant = _FLAGS.get(str(value).strip().lower(), "true or false")
        words = f"write {key.name} = {meant}"
    elif kind in {"table", "tables"}:
        tables = [value] if kind == "table" else value
        whole = isinstance(tables, list) and all(isinstance(table, dict) for table in tables)
        words = "" if whole else f"wanted {kind}"
    elif kind == "code" and isinstance(value, str):
        return parse_code(value, key)
    elif kind in {"text", "code"} and not isinstance(value, str):
        words = f'wanted text in quotation marks: {key.name} = "{shown(typed, limit=30)}"'
    if words:
        words = f"{typed}; {words}."
        raise CellFault(words, code="fault 2")
    return value.strip() if isinstance(value, str) else value


def _remedy(key: Field) -> str:
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


def _bare_number(value: Any, unit: str) -> str:
    """Say which bare number a text holds, if it plainly holds one."""
    text = value.strip() if isinstance(value, str) else ""
    found = re.fullmatch(r"[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*[^0-9.,]*", text)
    return f": {_number_meant(text, unit) or found[1].replace(',', '.')}" if found else ""


def _other_unit(name: str, keys: Iterable[str]) -> str:
    """Say which key takes the same in lux or metres, where there is one."""
    stem, words = name[:-3], {"_fc": " Write {}_lx; 1 fc is 10.7639104 lx."}
    words |= dict.fromkeys(("_cm", "_ft", "_in"), " Write it in metres as {}_m.")
    known = any(key in {f"{stem}_lx", f"{stem}_m"} for key in keys)
    return words.get(name[-3:], "").format(stem) if known else ""


def read_toml(text: str, faults: Faults) -> Declared:
    """Return what bench.toml declares; faults are kept, and what cannot be used has its default.

    Parameters
    ----------
    text : str
        Text of bench.toml.
    faults : Faults
        Collects what is wrong.

    Returns
    -------
    Declared
        What it says.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _syntax(text, error, faults)
        found = re.findall(r'(?m)^\s*(separator|decimal)\s*=\s*"([,.;]|\\t|tab)"', text)
        return Declared(**{name: {"\\t": "\t", **SPELT}.get(mark, mark) for name, mark in found})
    except (ValueError, RecursionError) as error:
        faults.add("fault 2", FILE, f"cannot be understood: {shown(str(error))}.")
        return Declared()
    return declare(given, line_numbers(text), faults)


_K = {"k": 1e3, "M": 1e6}
_FLAGS = dict.fromkeys(("yes", "true", "1", "on"), "true") | dict.fromkeys(
    ("no", "false", "0", "off"), "false"
)


def _number_meant(typed: str, unit: str = "") -> str:
    """Return the number that a typed value plainly means, or nothing: 3 %, ±4, 3,5, 40k, 20 000, 1/2; 90 % of 1."""
    if re.fullmatch(r"[0-9]{1,3}([ '\u00a0\u202f][0-9]{3})+", typed):
        return re.sub("[^0-9]", "", typed)
    if part := re.fullmatch(r"([0-9]+) ?/ ?([0-9]*[1-9][0-9]*)", typed):
        return f"{int(part[1]) / int(part[2]):.6g}"
    bare = re.fullmatch(r"[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(%|[A-Za-zµ°²/]+)?", typed)
    if not bare or (bare[1] == typed and "," not in typed):
        return ""
    number = bare[1].replace(",", ".")
    scale = _K.get(bare[2], 0.01 if (bare[2], unit) == ("%", "1") else 1)
    return number if scale == 1 else f"{float(number) * scale:.12g}"


def _syntax(text: str, error: tomllib.TOMLDecodeError, faults: Faults) -> None:
    """Keep a TOML syntax error, worded by the line it stands on."""
    place = re.search(r"\(at line (\d+), column \d+\)", str(error))
    lines = text.split("\n")
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    reason = re.sub(r" \(at .*\)$", "", str(error))
    code, words = "fault 2", f"{shown(line)}; " * bool(line) + f"{shown(reason[:1].lower() + reason[1:])}."
    if found := re.match(r"([A-Za-z_0-9]+)\s*=\s*(.*?)\s*(?:#.*)?$", line):
        key, typed = found[1], found[2]
        items = [item.strip() for item in typed[1:-1].split(",")] if re.fullmatch(r"\[.*\]", typed) else []
        known = {k.name: k for keys in SECTIONS.values() for k in keys}
        meant = _number_meant(typed, known[key].unit if key in known else "")
        if any(map(_number_meant, items)):
            listed = [_number_meant(item) or item for item in items]
            words = f"{key} = {shown(typed)}; write bare numbers: {key} = [{', '.join(listed)}]."
        elif not typed:
            code = "fault 1"
            words = f"{key} has no value; {known[key].about if key in known else 'write a value'}."
        elif meant:
            words = f"{key} = {shown(typed)}; write the bare number: {key} = {meant}."
        elif re.fullmatch(r"[“”„'’\w .()\-]*", typed) and re.search("[^0-9.]", typed):
            inner = shown(typed.strip("“”„'’ "))
            words = f'{key} = {shown(typed)}; write text in straight quotation marks: {key} = "{inner}".'
        elif key in known:
            words = f"{key} = {shown(typed)}; write it as in {key} = {known[key].example}."
    faults.add(code, FILE, words, line=number)


def declare(given: Values, lines: Lines, faults: Faults) -> Declared:
    """Return what a bench declares, from the values of bench.toml or of a workbook's sheet.

    Parameters
    ----------
    given : mapping
        Keys and values as TOML holds them.
    lines : dict
        Where each key stands, as from `line_numbers`.
    faults : Faults
        Collects what is wrong.

    Returns
    -------
    Declared
        What they say.
    """
    sections = {name: _sections(name, given, lines, faults) for name in SECTIONS if "." not in name and name}
    _top(given, sections, lines, faults)
    single = {name: sections[name][0].values for name in SINGLE}
    if single["csv"]["separator"] == single["csv"]["decimal"]:
        words = '[csv] separator and decimal are both ","; a decimal comma needs separator = ";".'
        faults.add("fault 8", FILE, words)
    named = _named(sections["housing"])
    housings = {values["id"]: Housing(**values, declared=section.declared) for section, values in named}
    return Declared(
        Settings(**single["bench"], **single["links"], declared=sections["bench"][0].declared),
        _meters(sections["meter"], lines, faults),
        housings,
        {name: _ids(sections[name]) for name in ("meter", "housing")},
        [section for name in INSTRUMENTS for section in sections[name] if section.values],  # each key is read
        _questions(sections["question"], housings),
        _their_figures(sections["their_figure"], housings),
        [section for section in sections["our_earlier"] if section.values],
        **single["csv"],
    )


def _top(given: Values, sections: Mapping[str, Any], lines: Lines, faults: Faults) -> None:
    """Check what stands outside of the sections' keys."""
    line = {name: lines.get(("", 0, name)) for name in given}
    if "schema" not in given:
        faults.add("fault 1", FILE, "no schema; write schema = 1 as the first line.")
    elif given["schema"] != 1 or isinstance(given["schema"], bool):
        words = f"schema = {typed_text(given['schema'])}; this version reads schema = 1."
        faults.add("fault 1", FILE, words, line=line["schema"])
    for name in given:
        if name in sections or name == "schema":
            continue
        homes = [s for s in sections if any(key.name == name for key in SECTIONS[s])]
        home = (f"[{homes[0]}]" if homes[0] in SINGLE else f"[[{homes[0]}]]") if homes else ""
        near = hint(name, sections, " Did you mean {}?") or (f" It belongs under {home}." if home else "")
        faults.add("fault 2", FILE, f"{shown(name)} is not a section or key.{near}", line=line[name])
    if not given.get("meter"):
        faults.add("fault 1", FILE, "no [[meter]]; write one with id and reading_percent.")


def _sections(name: str, given: Values, lines: Lines, faults: Faults) -> list[Section]:
    """Return the sections of one name; one that stands once is there, empty, also where it is absent."""
    held, wanted, place = given.get(name, []), f"[[{name}]] with two pairs of brackets", (name, 0, "")
    if name in SINGLE:
        held, wanted, place = [given.get(name, {})], f"one table [{name}]", ("", 0, name)
    if not isinstance(held, list) or not all(isinstance(table, dict) for table in held):
        faults.add("fault 2", FILE, f"{name}: wanted {wanted}.", line=lines.get(place))
        held = [{}] if name in SINGLE else []
    found = []
    for number, table in enumerate(held):
        label = f'{name} "{shown(str(table.get("id", table.get("file", number + 1))))}"'
        label = f"[{name}]" if name in SINGLE else label
        found.append(Section(name, number, label, table, lines, faults))
    return found


def _named(sections: list[Section]) -> list[tuple[Section, Values]]:
    """Return sections with their values, those that have an id of their own."""
    found: dict[str, tuple[Section, Values]] = {}
    for section in sections:
        name = section.values["id"]
        if name in found:
            words = f'{section.section}.id "{shown(name)}" is used twice; give each its own.'
            section.fault("fault 7", words, "id")
        elif name is not None:
            found[name] = section, dict(section.values)  # what it says stays as it was read
    return list(found.values())


def _ids(sections: list[Section]) -> list[tuple[str, int]]:
    """Return the id of each section as it was typed, blank where it has none, and its line."""
    return [(str(section.given.get("id", "")).strip(), section.line("id") or 0) for section in sections]


def _questions(sections: list[Section], housings: Collection[str]) -> list[tuple[Question, Section]]:
    """Return the questions that are whole; their housings are declared ones, their lamps are checked later."""
    known = ["each", "any", *housings]
    for section in sections:
        section.unknown("housing", known, _one_of(known))
    return [(Question(**section.values), section) for section in sections if section.whole]


def _one_of(housings: Collection[str]) -> str:
    """Say which housings could have been meant."""
    names = ", ".join(f'"{shown(name)}"' for name in housings)
    return f"; wanted one of {names or 'none, this bench names no housing'}"


def _their_figures(sections: list[Section], housings: Collection[str]) -> list[tuple[TheirFigure, Section]]:
    """Return others' figures; their lamps are checked later."""
    figures = [(TheirFigure(**section.values), section) for section in sections if section.whole]
    for figure, section in figures:
        for code, key, words in _slips(figure, section.declared, housings):
            said = f"their_figure.{words}." if key else f"{section.label} {words}."
            section.fault(code, said, key or "source")
        section.unknown("housing", housings, _one_of(housings))
    return figures


def _slips(figure: TheirFigure, declared: frozenset[str], housings: Collection[str]) -> Iterator[Slip]:
    """Yield what is wrong with a figure or reply beyond its single keys."""
    low, high, ratio, ends = figure.low, figure.high, figure.ratio, {"low", "high"} & declared
    if figure.text:
        if not figure.date:
            yield "fault 8", "", "has a text and no date; write date = …, the day of the reply"
        for key in ("ratio", "expanded_percent", "low", "high"):
            if key in declared:
                yield "fault 25", key, f"{key} stands beside a text; give a figure and a reply apart"
    elif "ratio" not in declared:
        yield "fault 1", "", "has no ratio; write ratio = …, or text = … and date = … for a maker's reply"
    elif ("expanded_percent" in declared) == bool(ends):
        both, neither = "both expanded_percent and low or high", "neither expanded_percent nor low and high"
        yield "fault 25", "", f"has {both if ends else neither}; give the one that the source prints"
    elif len(ends) == 1:
        yield "fault 8", "", f"has no {'high' if 'low' in ends else 'low'}; low and high stand together"
    elif low >= high:
        yield "fault 18", "low", f"low = {low:g} is not below high = {high:g}"
    elif ratio < low or ratio > high:
        yield "fault 14", "ratio", f"ratio = {ratio:g} is not between low = {low:g} and high = {high:g}"
    if not figure.housing and not figure.text and len(housings) > 1:
        yield "fault 8", "", "has no housing; write the one of this bench that is most like theirs"


def _meters(sections: list[Section], lines: Lines, faults: Faults) -> dict[str, Meter]:
    """Return the meters with their factors and certificates; those without an accuracy are left out."""
    found: dict[str, Meter] = {}
    counts = {"spectral_factor": count(), "certificate": count()}  # over all meters: how `Lines` counts them

    def part(name: str, table: Values, number: str = "") -> Values | None:
        label = f"{section.label} {name}{number}"
        told = Section(f"meter.{name}", next(counts[name]), label, table, lines, faults)
        return told.values if told.whole else None

    for section, values in _named(sections):
        tables, certificate = values.pop("spectral_factor"), values.pop("certificate")
        stated = [part("spectral_factor", table, f" {n}") for n, table in enumerate(tables, start=1)]
        factors = tuple(SpectralFactor(**factor) for factor in stated if factor)
        whole = None if certificate is None else part("certificate", certificate)
        if len({factor.technology for factor in factors}) < len(factors):
            words = f"{section.label} has two spectral factors for one technology; keep one."
            section.fault("fault 7", words)
        _check_lists(section, values)
        if values["reading_percent"] is None:
            continue
        if values["linearity_percent"] is None:
            values["linearity_percent"] = default_linearity(values["reading_percent"])
        values |= {"spectral_factors": factors, "certificate": Certificate(**whole) if whole else None}
        found[values["id"]] = Meter(**values, declared=section.declared)
    return found


def _check_lists(section: Section, values: Values) -> None:
    """Check that the lists of a specification fit together."""
    ranges, steps = values["ranges_lx"], values["resolution_lx"]
    listed = [f"[{', '.join(f'{value:g}' for value in held)}]" for held in (ranges, steps)]
    slips = [
        (any(b <= a for a, b in pairwise(ranges)), "fault 24", "ranges_lx",
         f"ranges_lx must increase; got {listed[0]}"),
        (steps and ranges and len(steps) != len(ranges), "fault 24", "resolution_lx",
         f"{len(steps)} resolution_lx for {len(ranges)} ranges_lx; give one for each range"),
        (any(b < a for a, b in pairwise(steps)), "fault 24", "resolution_lx",
         f"resolution_lx must not decrease; got {listed[1]}"),
        (any(step >= top for step, top in zip(steps, ranges, strict=False)), "fault 24", "resolution_lx",
         "a resolution_lx is not below its range"),
        *((len(values[name] or ()) not in {0, 1, len(ranges)}, "fault 24", name,
           f"{len(values[name] or ())} values of {name} for {len(ranges)} ranges_lx; give one, or one for each")
          for name in ("reading_percent", "range_percent", "digits")),
        ({"range_percent", "digits"} <= section.declared, "fault 8", "digits",
         "both range_percent and digits; keep the one of your manual"),
        (any(values["digits"]) and not steps, "fault 8", "digits",
         "digits need resolution_lx, the last figure that can change on each range"),
    ]  # fmt: skip
    for slip, code, key, words in slips:
        if slip:
            section.fault(code, f"{section.label}: {words}.", key)
