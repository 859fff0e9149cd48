"""Size limits and who may draw. Oracle: the rules of the contributor's guide, read off the syntax tree."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "photolab"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST_MODULE, LONGEST_BODY = 400, 40
DRAWING = {"matplotlib", "seaborn"}


def name(path):
    return str(path.relative_to(PACKAGE))


def body_lines(function):
    """Return the lines of a function's body without its docstring."""
    body = function.body
    if ast.get_docstring(function) is not None:
        body = body[1:]
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def imported(path):
    """Return the top packages that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", MODULES, ids=name)
def test_modules_and_bodies_stay_short(path):
    text = path.read_text(encoding="utf-8")
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    long = {f.name: body_lines(f) for f in functions if body_lines(f) > LONGEST_BODY}
    assert text.count("\n") <= LONGEST_MODULE
    assert long == {}


def test_only_figures_import_what_draws():
    drawing = {name(p) for p in MODULES if imported(p) & DRAWING}
    assert drawing
    assert {d.split("/")[1] for d in drawing} == {"figures"}


def test_the_length_check_can_fail():
    tree = ast.parse("def f():\n    '''Doc.'''\n" + "    x = 1\n" * 41)
    assert body_lines(tree.body[0]) == 41
