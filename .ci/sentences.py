"""Make results.csv and every sentence of the demo bench again and compare them with the committed ones.

    python .ci/sentences.py

The cells of all notebooks are run in this interpreter on one reading and evaluation of the bench, warnings as errors.
Text is compared, pictures by the text that stands for them. Whatever differs is printed; the exit status is 1 then.
"""

import ast
import difflib
import json
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from photolab.bench.folder import records
from photolab.bench.results import evaluation
from photolab.publication.report import tables

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))
from shared_demo import share  # noqa: E402


def said(cell: dict[str, Any], names: dict[str, Any], place: str) -> str:
    """Run the source of a cell and return the text of its last line, as a notebook stores it."""
    body = ast.parse("".join(cell["source"])).body
    last = body.pop() if body and isinstance(body[-1], ast.Expr) else None
    exec(compile(ast.Module(body, []), place, "exec"), names)
    shown = eval(compile(ast.Expression(last.value), place, "eval"), names) if last else None
    return "" if shown is None else repr(shown)


def stored(cell: dict[str, Any]) -> str:
    """Return the text that a notebook stores for a cell."""
    shown = [output["data"]["text/plain"] for output in cell["outputs"] if "data" in output]
    return "".join("".join(text) for text in shown)


def pairs() -> Iterator[tuple[str, str, str]]:
    """Yield what is compared: its name, the committed text, the text made now."""
    committed = (ROOT / "reports" / "demo" / "results.csv").read_text(encoding="utf-8")
    yield (
        "results.csv",
        committed,
        tables.as_csv(tables.results(evaluation.evaluate(records.read_bench(ROOT / "data" / "demo")))),
    )
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        names: dict[str, Any] = {}
        for number, cell in enumerate(json.loads(path.read_text(encoding="utf-8"))["cells"], 1):
            # what hands move is not kept
            if cell["cell_type"] == "code" and "interactive" not in cell["metadata"].get("tags", []):
                place = f"{path.stem} cell {number}"
                yield place, stored(cell), said(cell, names, place)


def main() -> int:
    """Print every difference."""
    warnings.simplefilter("error")
    share(pytest.MonkeyPatch())
    differing = compared = 0
    for name, old, new in pairs():
        compared += 1
        if old.rstrip("\n") != new.rstrip("\n"):
            differing += 1
            lines = difflib.unified_diff(
                old.splitlines(), new.splitlines(), "committed", "here", lineterm="", n=0
            )
            print(f"{name} differs", *lines, sep="\n")
    print(
        f"{compared - differing} of {compared} texts are the committed ones, Python {sys.version.split()[0]}"
    )
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
