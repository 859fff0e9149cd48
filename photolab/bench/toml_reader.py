"""bench.toml to settings, meters, housings, logs and questions: every key checked against the table of keys."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from photolab.bench.faults import Faults, closest, shown
from photolab.bench.keys import SECTIONS
from photolab.bench.model import (
    Assumption,
    Certificate,
    Housing,
    Meter,
    Question,
    Settings,
    SpectralFactor,
    default_linearity,
)
from photolab.bench.toml_section import FILE, Lines, Section, Values, typed_text


@dataclass
class Declared:
    """What bench.toml says; each question with the line that names its lamp."""

    settings: Settings = field(default_factory=Settings)
    meters: dict[str, Meter] = field(default_factory=dict)
    meter_ids: tuple[str, ...] = ()
    housings: dict[str, Housing] = field(default_factory=dict)
    logs: list[Values] = field(default_factory=list)
    questions: list[tuple[Question, int | None]] = field(default_factory=list)
    separator: str = ","
    decimal: str = "."
    assumed: list[Assumption] = field(default_factory=list)


def _syntax(text: str, error: tomllib.TOMLDecodeError, faults: Faults) -> None:
    """Keep a TOML syntax error, worded by the line it stands on."""
    place = re.search(r"\(at line (\d+), column \d+\)", str(error))
    lines = text.split("\n")
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    found = re.match(r"([A-Za-z_0-9]+)\s*=\s*(.*?)\s*(?:#.*)?$", line)
    if found:
        key, typed = found[1], found[2]
        if not typed:
            about = next(
                (k.about for keys in SECTIONS.values() for k in keys if k.name == key), "write a value"
            )
            faults.add("fault 1", FILE, f"{key} has no value; {about}.", line=number)
            return
        bare = re.fullmatch(r"[±+]?\s*([0-9]+(?:[.,][0-9]+)?)\s*(?:%|[A-Za-zµ°²/]+)?", typed)
        if (bare and bare[1] != typed) or re.fullmatch("[0-9]+,[0-9]+", typed):
            value = typed.replace(",", ".") if bare is None else bare[1].replace(",", ".")
            faults.add(
                "fault 2",
                FILE,
                f"{key} = {shown(typed)}; write the bare number: {key} = {value}.",
                line=number,
            )
            return
        if re.fullmatch(r"[“”„'’\w .()\-]*", typed) and re.search("[^0-9.]", typed):
            inner = shown(typed.strip("“”„'’ "))
            words = f'{key} = {shown(typed)}; write text in straight quotation marks: {key} = "{inner}".'
            faults.add("fault 2", FILE, words, line=number)
            return
    reason = re.sub(r" \(at .*\)$", "", str(error))
    what = f"{shown(line)}; " if line else ""
    faults.add("fault 2", FILE, f"{what}{shown(reason[:1].lower() + reason[1:])}.", line=number)


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
    declared = Declared()
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _syntax(text.replace("\r\n", "\n"), error, faults)
        declared.separator, declared.decimal = _separators(text)
        return declared
    except (ValueError, RecursionError) as error:
        faults.add("fault 2", FILE, f"cannot be understood: {shown(str(error))}.")
        return declared
    return declare(given, Lines(text), faults)


def declare(given: Values, lines: Lines, faults: Faults) -> Declared:
    """Return what a bench declares, from the values of bench.toml or of a workbook's sheet.

    Parameters
    ----------
    given : mapping
        Keys and values as TOML holds them.
    lines : Lines
        Where each key stands.
    faults : Faults
        Collects what is wrong.

    Returns
    -------
    Declared
        What they say.
    """
    declared = Declared()
    _top(given, lines, faults)
    csv = _single("csv", given, lines, faults)
    declared.separator, declared.decimal = csv["separator"], csv["decimal"]
    if declared.separator == declared.decimal:
        faults.add(
            "fault 8",
            FILE,
            '[csv] separator and decimal are both ","; a decimal comma needs separator = ";".',
        )
    bench = _single("bench", given, lines, faults)
    keys = frozenset(given["bench"]) if isinstance(given.get("bench"), dict) else frozenset()
    declared.settings = Settings(**bench, **_single("links", given, lines, faults), declared=keys)
    declared.meters = _meters(given, lines, faults)
    declared.meter_ids = tuple(
        str(section.given.get("id", "")) for section in _many("meter", given, lines, Faults())
    )
    declared.housings = _housings(given, lines, faults)
    declared.logs = [section.values() for section in _many("log", given, lines, faults)]
    declared.questions = _questions(given, declared.housings, lines, faults)
    return declared


def _separators(text: str) -> tuple[str, str]:
    """Return the separator and decimal mark of a bench.toml that cannot be read otherwise."""
    found = re.findall(r'(?m)^\s*(separator|decimal)\s*=\s*"([,.;]|\\t)"', text)
    marks = {name: mark.replace("\\t", "\t") for name, mark in found}
    return marks.get("separator", ","), marks.get("decimal", ".")


def _top(given: Values, lines: Lines, faults: Faults) -> None:
    sections = {"bench", "csv", "links", "meter", "housing", "log", "question"}
    if "schema" not in given:
        faults.add("fault 1", FILE, "no schema; write schema = 1 as the first line.")
    elif given["schema"] != 1 or isinstance(given["schema"], bool):
        words = f"schema = {typed_text(given['schema'])}; this version reads schema = 1."
        faults.add("fault 1", FILE, words, line=lines.of("", 0, "schema"))
    for name in given:
        if name not in sections | {"schema"}:
            near = closest(name, sections)
            hint = f" Did you mean {near}?" if near else _home(name)
            faults.add(
                "fault 2", FILE, f"{shown(name)} is not a section or key.{hint}", line=lines.of("", 0, name)
            )
    if not given.get("meter"):
        faults.add("fault 1", FILE, "no [[meter]]; write one with id and reading_percent.")


def _home(name: str) -> str:
    """Say in which section a stray top-level key belongs."""
    for section in ("bench", "meter", "housing", "csv", "links", "question"):
        if any(key.name == name for key in SECTIONS[section]):
            header = f"[{section}]" if section in {"bench", "csv", "links"} else f"[[{section}]]"
            return f" It belongs under {header}."
    return ""


def _single(section: str, given: Values, lines: Lines, faults: Faults) -> Values:
    table = given.get(section, {})
    if not isinstance(table, dict):
        faults.add(
            "fault 2", FILE, f"{section}: wanted one table [{section}].", line=lines.of("", 0, section)
        )
        table = {}
    return Section(section, 0, f"[{section}]", table, lines, faults).values()


def _many(section: str, given: Values, lines: Lines, faults: Faults) -> list[Section]:
    tables = given.get(section, [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        words = f"{section}: wanted [[{section}]] with two pairs of brackets."
        faults.add("fault 2", FILE, words, line=lines.of(section, 0, ""))
        return []
    found = []
    for index, table in enumerate(tables):
        name = table.get("id", table.get("file", index + 1))
        label = f'{section} "{shown(str(name))}"'
        found.append(Section(section, index, label, table, lines, faults))
    return found


def _unique(section: Section, found: Mapping[str, Any], identity: Any) -> bool:
    if identity in found:
        section.fault(
            "fault 7",
            f'{section.section}.id "{shown(str(identity))}" is used twice; give each its own.',
            "id",
        )
    return identity is not None and identity not in found


def _housings(given: Values, lines: Lines, faults: Faults) -> dict[str, Housing]:
    found: dict[str, Housing] = {}
    for section in _many("housing", given, lines, faults):
        values = section.values()
        if _unique(section, found, values["id"]):
            found[values["id"]] = Housing(**values, declared=section.declared)
    return found


def _questions(
    given: Values, housings: Mapping[str, Housing], lines: Lines, faults: Faults
) -> list[tuple[Question, int | None]]:
    """Return the questions that are whole; their housings are declared ones, their lamps are checked later."""
    found = []
    known = ["each", "any", *housings]
    for section in _many("question", given, lines, faults):
        values = section.values()
        place = values["housing"]
        if place is not None and place not in known:
            near = closest(place, known)
            names = ", ".join(f'"{shown(name)}"' for name in known)
            hint = f'; closest is "{shown(near)}"' if near else ""
            section.fault(
                "fault 12", f'question.housing = "{shown(place)}"; wanted one of {names}{hint}.', "housing"
            )
        if None not in values.values():
            found.append((Question(**values), lines.of("question", section.index, "lamp")))
    return found


def _meters(given: Values, lines: Lines, faults: Faults) -> dict[str, Meter]:
    found: dict[str, Meter] = {}
    factor_count = certificate_count = 0
    for section in _many("meter", given, lines, faults):
        values = section.values()
        factors, certificate = values.pop("spectral_factor"), values.pop("certificate")
        values["spectral_factors"] = _factors(section, factors, factor_count, lines, faults)
        values["certificate"] = _certificate(section, certificate, certificate_count, lines, faults)
        factor_count += len(factors)
        certificate_count += certificate is not None
        _check_lists(section, values)
        if values["linearity_percent"] is None and values["reading_percent"]:
            values["linearity_percent"] = default_linearity(values["reading_percent"])
        if _unique(section, found, values["id"]) and values["reading_percent"] is not None:
            found[values["id"]] = Meter(**values, declared=section.declared)
    return found


def _factors(
    meter: Section, tables: list[Values], first: int, lines: Lines, faults: Faults
) -> tuple[SpectralFactor, ...]:
    """Return the spectral factors of a meter; ``first`` counts the tables of the meters before it."""
    found = []
    for row, table in enumerate(tables):
        label = f"{meter.label} spectral_factor {row + 1}"
        part = Section("meter.spectral_factor", first + row, label, table, lines, faults).values()
        if None not in part.values():
            found.append(SpectralFactor(**part))
    if len({factor.technology for factor in found}) < len(found):
        meter.fault("fault 7", f"{meter.label} has two spectral factors for one technology; keep one.")
    return tuple(found)


def _certificate(
    meter: Section, table: Values | None, first: int, lines: Lines, faults: Faults
) -> Certificate | None:
    """Return the certificate of a meter, if it has a whole one."""
    if table is None:
        return None
    section = Section("meter.certificate", first, f"{meter.label} certificate", table, lines, faults)
    values = section.values()
    return None if None in values.values() else Certificate(**values)


def _check_lists(section: Section, values: Values) -> None:
    """Check that the lists of a specification fit together."""
    ranges, resolution = values["ranges_lx"], values["resolution_lx"]
    label = section.label
    if any(b <= a for a, b in pairwise(ranges)):
        section.fault("fault 24", f"{label}: ranges_lx must increase; got {_list(ranges)}.", "ranges_lx")
    if resolution and ranges and len(resolution) != len(ranges):
        words = (
            f"{label}: {len(resolution)} resolution_lx for {len(ranges)} ranges_lx; give one for each range."
        )
        section.fault("fault 24", words, "resolution_lx")
    if any(b < a for a, b in pairwise(resolution)):
        section.fault(
            "fault 24", f"{label}: resolution_lx must not decrease; got {_list(resolution)}.", "resolution_lx"
        )
    if any(step >= top for step, top in zip(resolution, ranges, strict=False)):
        section.fault("fault 24", f"{label}: a resolution_lx is not below its range.", "resolution_lx")
    for name in ("reading_percent", "range_percent", "digits"):
        count = len(values[name] or ())
        if count > 1 and count != len(ranges):
            section.fault(
                "fault 24",
                f"{label}: {count} values of {name} for {len(ranges)} ranges_lx; give one, or one for each.",
                name,
            )
    if {"range_percent", "digits"} <= section.declared:
        section.fault(
            "fault 8", f"{label}: both range_percent and digits; keep the one of your manual.", "digits"
        )
    if any(values["digits"]) and not resolution:
        words = f"{label}: digits need resolution_lx, the last figure that can change on each range."
        section.fault("fault 8", words, "digits")


def _list(values: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{value:g}" for value in values) + "]"
