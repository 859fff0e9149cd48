"""Who may draw. Oracle: the rules of the contributor's guide, read off the syntax tree."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "photolab"
MODULES = sorted(PACKAGE.rglob("*.py"))
DRAWING = {"matplotlib", "seaborn"}


def name(path):
    return str(path.relative_to(PACKAGE))


def imported(path):
    """Return the top packages that a module imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


def test_only_figures_import_what_draws():
    drawing = {name(p) for p in MODULES if imported(p) & DRAWING}
    assert drawing
    assert {d.split("/")[1] for d in drawing} == {"figures"}
