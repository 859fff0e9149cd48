"""The law stands in the cell: change it, and the answer below moves or the cell differs from the report.

Oracle: the notebook as it is. Each number and operator of a law cell is changed in turn until one moves what is said.
"""

import ast
import copy
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
from in_process import each_cell
from matplotlib.figure import Figure

from photolab.publication.report.notebooks import inject

sys.path.append(str(Path(__file__).parent / "benchmarks"))
import notebooks_in_jupyterlab

NOTEBOOKS = sorted((Path(__file__).resolve().parents[1] / "notebooks").glob("*.ipynb"))
WITH_LAW = [
    path
    for path in NOTEBOOKS
    if any("law" in cell.metadata.get("tags", []) for cell in nbformat.read(path, as_version=4).cells)
]
SWAPPED = {ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Pow: ast.Mult}
TRIED = 6
"""So many changes of one law cell are tried; the first that is seen is enough. [1]"""


def mutants(source: str) -> Iterator[str]:
    """Yield a cell's code with one number a tenth larger or one operator swapped."""
    tree = ast.parse(source)
    places = [
        number
        for number, node in enumerate(ast.walk(tree))
        if (isinstance(node, ast.BinOp) and type(node.op) in SWAPPED)
        or (isinstance(node, ast.Constant) and isinstance(node.value, float))
    ]
    for place in places:
        changed = copy.deepcopy(tree)
        node: Any = list(ast.walk(changed))[place]
        if isinstance(node, ast.BinOp):
            node.op = SWAPPED[type(node.op)]()
        else:
            node.value = 1.1 * node.value + 0.01
        yield ast.unparse(changed)


def cells(path: Path, place: int | None = None, source: str = "") -> Iterator[str]:
    """Yield what each code cell of a notebook shows, one after the other, with another source at one place."""
    notebook = inject(nbformat.read(path, as_version=4), {})
    if place is not None:
        notebook.cells[place].source = source
    for cell in each_cell(notebook, path.stem, {}):
        yield "".join(output.data["text/plain"] for output in cell.outputs)


def law_cells(path: Path) -> list[int]:
    """Return the places of the law cells among the cells of a notebook."""
    cells = nbformat.read(path, as_version=4).cells
    return [place for place, cell in enumerate(cells) if "law" in cell.metadata.get("tags", [])]


@pytest.fixture(autouse=True)
def without_drawing(monkeypatch):
    """Draw nothing; what a picture shows stands in its words too."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))


@pytest.mark.parametrize("path", WITH_LAW, ids=lambda path: path.stem)
def test_a_changed_law_is_seen(path):
    """Oracle: what the same notebook says with its law as it stands."""
    before = list(cells(path))
    for place in law_cells(path):
        moved = []
        source = nbformat.read(path, as_version=4).cells[place].source
        for mutant in list(mutants(source))[:TRIED]:
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")
                    now = cells(path, place, mutant)
                    moved.append(any(one != other for one, other in zip(now, before, strict=True)))
            except Exception:  # noqa: BLE001 - a law that no longer computes is seen too
                moved.append(True)
            if moved[-1]:
                break
        assert any(moved), f"{path.stem}: no change of the law in cell {place + 1} is seen"


@pytest.mark.parametrize("number", sorted(notebooks_in_jupyterlab.TYPED))
def test_what_is_typed_in_jupyterlab_stands_in_one_law_cell(number):
    """Oracle: the text that `tests/benchmarks/notebooks_in_jupyterlab.py` types into, found in the notebook."""
    (path,) = (one for one in NOTEBOOKS if one.name.startswith(number))
    text, _ = notebooks_in_jupyterlab.TYPED[number]
    cells = [c for c in nbformat.read(path, as_version=4).cells if c.cell_type == "code" and text in c.source]
    assert len(cells) == 1
    assert "law" in cells[0].metadata.get("tags", [])
