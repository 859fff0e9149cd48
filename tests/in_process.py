"""A notebook's cells run one after the other in this interpreter, for tests that run many."""

import ast
import contextlib
import io
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest
from shared_demo import share

from photolab.errors import NotInFolder
from photolab.publication.report.notebooks import canonical, fill_answer, inject


def run_cells(
    path: Path,
    settings: Mapping[str, object],
    change: Callable[[Any], None] | None = None,
    names: dict[str, Any] | None = None,
) -> Any | None:
    """Return a notebook with what its cells show, or None where nothing in the folder feeds it.

    `change` may alter the cells before they run; `names` receives what the cells made.
    """
    notebook = inject(nbformat.read(path, as_version=4), settings)
    if change is not None:
        change(notebook)
    try:
        for _ in each_cell(notebook, path.stem, {} if names is None else names):
            pass
    except NotInFolder:
        return None
    except Exception as error:
        error.add_note(f"with {dict(settings)}")
        raise
    return fill_answer(canonical(notebook))


def each_cell(notebook: Any, stem: str, names: dict[str, Any]) -> Iterator[Any]:
    """Yield each code cell after it ran; what its folder holds is read and evaluated once for all notebooks."""
    for number, cell in enumerate(c for c in notebook.cells if c.cell_type == "code"):
        noise, where = io.StringIO(), f"{stem}, code cell {number}"
        tree = ast.parse(cell.source)
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        try:
            with contextlib.redirect_stderr(noise), pytest.MonkeyPatch.context() as patch:
                share(patch)
                exec(compile(tree, where, "exec"), names)
                shown = (
                    None if last is None else eval(compile(ast.Expression(last.value), where, "eval"), names)
                )
                cell.outputs = [] if shown is None else [_output(shown)]
        except Exception as error:
            error.add_note(f"in {where}")
            raise
        assert not noise.getvalue(), where
        yield cell


def _output(shown: Any) -> Any:
    """Return what a cell shows as a notebook keeps it."""
    bundle = shown._repr_mimebundle_()
    data, metadata = bundle if isinstance(bundle, tuple) else (bundle, {})
    assert data["text/plain"].strip(), "a cell shows nothing"
    return nbformat.v4.new_output("execute_result", data=data, metadata=metadata, execution_count=1)
