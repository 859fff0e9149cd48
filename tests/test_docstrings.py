"""Public docstrings: every quantity states its unit. Oracle: the nomenclature table of the contributor's guide."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "photolab"
NAMES = "1 % pt s min h a m mm um nm lx lx2 fc cd cd2 m2 lm V A W K degC degF deg rad rad2 sr sr2 ln "
NAMES += "currency text in ft d"
UNITS = frozenset(NAMES.split())
RELATIVE = re.compile(
    r"\bas \w+|\b(unit|units|any|as|result|input|that|squared|variances|per|day|value|values|of|the|x|y|given|"
    r"header|key|column|quantity|readings|standard|deviations|sd|deviation|sqrt|or|times|each|named|by)\b|`+\w+`+"
)


def entries(doc):
    """Yield (head, description) of what Parameters, Returns and Attributes list."""
    lines, section, base, current = doc.split("\n"), None, 0, None
    i = 0
    while i < len(lines):
        line = lines[i]
        if i + 1 < len(lines) and re.fullmatch(r"\s*-{3,}\s*", lines[i + 1]) and line.strip():
            if current:
                yield tuple(current)
            current, section, base = None, line.strip(), len(line) - len(line.lstrip())
            i += 2
            continue
        if section in ("Parameters", "Returns", "Attributes") and line.strip():
            if len(line) - len(line.lstrip()) == base:
                if current:
                    yield tuple(current)
                current = [line.strip(), ""]
            elif current:
                current[1] += " " + line.strip()
        i += 1
    if current:
        yield tuple(current)


def quantities(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        for head, description in entries(ast.get_docstring(node) or ""):
            kind = head.split(":", 1)[1] if ":" in head else head
            numeric = re.search(r"\bfloat\b|array_like|ndarray", kind)
            if numeric and not re.search(r"bool|of int|str|dict|callable|text", kind):
                yield f"{node.name}: {head}", re.findall(r"\[([^\]]+)\]", description)


def known(unit):
    tokens = [t for t in re.split(r"[\s,/()²³·]+", RELATIVE.sub(" ", unit.replace("²", " "))) if t]
    return all(t in UNITS for t in tokens)


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_quantity_has_a_known_unit(path):
    without = [name for name, units in quantities(path) if not units]
    strange = [(name, units[-1]) for name, units in quantities(path) if units and not known(units[-1])]
    assert (without, strange) == ([], [])


def test_the_check_can_fail(tmp_path):
    """A quantity without a unit, and one with an unknown unit, are found."""
    listed = ["x : float", "    Length.", "y : float", "    Length. [furlong]"]
    lines = ['"""Do.', "", "Parameters", "----------", *listed, '"""']
    text = "def f(x, y):\n" + "".join(f"    {line}\n" for line in lines)
    (tmp_path / "m.py").write_text(text)
    found = dict(quantities(tmp_path / "m.py"))
    assert found == {"f: x : float": [], "f: y : float": ["furlong"]}
    assert not known("furlong")
