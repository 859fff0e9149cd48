"""What the comparison of outputs does not see: images, cells never run, magics, traces, raw numbers.

Oracle of the checks themselves: a fault of each kind put into a sound toy notebook on purpose.
"""

import ast
import base64
import copy
import io
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from PIL import Image

from photolab.publication.report.notebooks import canonical_text

FOLDER = Path(__file__).resolve().parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
MAX_CODE_LINES = 12
MIN_WORDS_A_LINE = 3
TRACES = re.compile(
    r"\b0x[0-9a-f]{6,}|/home/|/Users/|/root/|/tmp/|/work/|[A-Z]:\\|ipykernel_\d+|<[\w.]+ object|<Axes|<module"
)
UNFORMATTED = re.compile(
    r"\bprint\(|\bround\(|:[,+ ]?\d*\.?\d*[fegEG%]\}|\.summary\(|\.style\b|set_printoptions"
)
ALGORITHM = re.compile(r"^\s*(class|while|try)\b", re.MULTILINE)


def tags(cell: Any) -> list[str]:
    return list(cell.metadata.get("tags", []))


def text_of(output: Any) -> str:
    """Return everything readable in an output."""
    data = output.get("data", {})
    return "\n".join(
        [str(output.get("text", "")), *(str(v) for k, v in data.items() if k.startswith("text/"))]
    )


def code_faults(number: int, cell: Any, before: Any) -> Iterator[str]:
    """Name the faults of one code cell."""
    source = cell.source
    if re.search(r"^\s*[%!]", source, re.MULTILINE):
        yield f"cell {number}: magic or shell line"
        return
    if len([line for line in source.split("\n") if line.strip()]) > MAX_CODE_LINES:
        yield f"cell {number}: more than {MAX_CODE_LINES} lines"
    if before is None or before.cell_type != "markdown":
        yield f"cell {number}: no prose before it"
    if UNFORMATTED.search(source):
        yield f"cell {number}: a number or text past the formatter"
    if ALGORITHM.search(source):
        yield f"cell {number}: an algorithm"
    body = ast.parse(source).body
    silent = "interactive" in tags(cell) or (body and isinstance(getattr(body[-1], "value", None), ast.IfExp))
    if body and isinstance(body[-1], ast.Expr) and not cell.outputs and not silent:
        yield f"cell {number}: shows nothing; was it run?"


def image_faults(number: int, output: Any) -> Iterator[str]:
    """Name the faults of an image: unreadable, empty, or without words."""
    data = output.get("data", {})
    if "image/png" not in data:
        return
    try:
        image = Image.open(io.BytesIO(base64.b64decode(data["image/png"], validate=False)))
        image.load()
    except (OSError, ValueError, SyntaxError):
        yield f"cell {number}: image cannot be read"
        return
    if image.convert("L").getextrema()[0] == image.convert("L").getextrema()[1]:
        yield f"cell {number}: image is empty"
    if "Software" in image.info:
        yield f"cell {number}: image names its program"
    alt = output.metadata.get("image/png", {}).get("alt", "")
    if len(alt.split()) < 5 or alt != data.get("text/plain"):
        yield f"cell {number}: image without its words"


def output_faults(number: int, output: Any) -> Iterator[str]:
    """Name the faults of one output."""
    if output.output_type == "error" or output.get("name") == "stderr":
        yield f"cell {number}: error or stderr"
    text = text_of(output)
    if TRACES.search(text):
        yield f"cell {number}: trace of a machine or an object"
    if re.search(r"\d\.\d{7,}", text):
        yield f"cell {number}: a number with more than six decimals"
    yield from image_faults(number, output)


def faults(raw: str) -> list[str]:
    """Return every fault of a stored notebook."""
    notebook = nbformat.reads(raw, 4)
    nbformat.validate(notebook)
    found: list[str] = []
    cells = notebook.cells
    code = [cell for cell in cells if cell.cell_type == "code"]
    if not cells or not re.match(r"# .*\?", cells[0].source):
        found.append("does not begin with its question")
    settings = [cell for cell in code if "parameters" in tags(cell)]
    if len(settings) != 1 or "bench = None" not in settings[0].source:
        found.append("settings cell")
    for number, cell in enumerate(cells, start=1):
        if cell.cell_type == "code":
            found += code_faults(number, cell, cells[number - 2] if number > 1 else None)
            for output in cell.outputs:
                found += output_faults(number, output)
        elif TRACES.search(cell.source):
            found.append(f"cell {number}: trace of a machine or an object")
    prose = " ".join(
        re.sub(r"!\[[^\]]*\]\([^)]*\)", "", c.source) for c in cells if c.cell_type == "markdown"
    )
    lines = sum(1 for cell in code for line in cell.source.split("\n") if line.strip())
    if len(prose.split()) < MIN_WORDS_A_LINE * lines:
        found.append(f"{len(prose.split())} words for {lines} lines of code")
    if canonical_text(notebook) != raw:
        found.append("not in the stored form")
    return found


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_clean(path):
    """Oracle: the rules above, each seen to fail below."""
    assert faults(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "name", ["00_start_here", "01_within_meter_error", "04_uncertainty_budget", "14_methods_appendix"]
)
def test_notebook_is_there(name):
    """Oracle: the table of notebooks in README."""
    assert (FOLDER / f"{name}.ipynb").is_file()


def png(colour: bool = True, software: bool = False) -> str:
    """Return a tiny image as base64."""
    from PIL.PngImagePlugin import PngInfo

    image = Image.new("RGB", (2, 1), "white")
    if colour:
        image.putpixel((0, 0), (0, 0, 0))
    info = PngInfo()
    if software:
        info.add_text("Software", "some program")
    buffer = io.BytesIO()
    image.save(buffer, "PNG", pnginfo=info)
    return base64.b64encode(buffer.getvalue()).decode("ascii")


def picture(image: str, alt: str = "One bar from 1 to 2 %.") -> Any:
    return new_output(
        "execute_result", data={"image/png": image, "text/plain": alt}, metadata={"image/png": {"alt": alt}}
    )


def sound() -> Any:
    """Return a toy notebook without a fault."""
    prose = "Many words stand here so that the working can be read without the code that does it. " * 4
    settings = new_code_cell("bench = None", metadata={"tags": ["parameters"]})
    words = new_code_cell("say('so')", outputs=[new_output("execute_result", data={"text/plain": "so"})])
    figure = new_code_cell("common.picture(figure)", outputs=[picture(png())])
    cells = [new_markdown_cell("# Is it so?\n" + prose), settings, new_markdown_cell(prose), words]
    return new_notebook(cells=[*cells, new_markdown_cell(prose), figure])


def test_sound_notebook_has_no_fault():
    """Oracle: a toy notebook that follows the rules."""
    assert faults(canonical_text(sound())) == []


def code(source: str) -> Callable[[Any], None]:
    """Return a change that replaces the code of the words' cell."""

    def change(notebook: Any) -> None:
        notebook.cells[3].source = source

    return change


def shows(**output: Any) -> Callable[[Any], None]:
    """Return a change that replaces the output of the words' cell."""

    def change(notebook: Any) -> None:
        notebook.cells[3].outputs = [new_output(**output)]

    return change


def image(*args: Any) -> Callable[[Any], None]:
    """Return a change that replaces the picture."""

    def change(notebook: Any) -> None:
        notebook.cells[5].outputs = [picture(*args)]

    return change


FAULTS: list[tuple[str, Callable[[Any], None], str]] = [
    ("question", lambda n: n.cells[0].update(source=n.cells[0].source.replace("?", ".")), "question"),
    ("no settings", lambda n: n.cells[1].update(metadata={}), "settings"),
    ("settings twice", lambda n: n.cells[3].metadata.update(tags=["parameters"]), "settings"),
    ("magic", code("%matplotlib inline"), "magic"),
    ("shell", code("x = 1\n!ls"), "magic"),
    ("long cell", code("\n".join(["x = 1"] * 13) + "\nsay('so')"), "more than 12"),
    ("no prose", lambda n: n.cells.pop(2), "no prose before"),
    ("print", code("print(1)"), "past the formatter"),
    ("format", code("say(f'{x:.2f}')"), "past the formatter"),
    ("round", code("say(str(round(x, 2)))"), "past the formatter"),
    ("algorithm", code("while x:\n    x = f(x)\nsay('so')"), "an algorithm"),
    ("never run", lambda n: n.cells[3].update(outputs=[]), "was it run"),
    ("stderr", shows(output_type="stream", name="stderr", text="hm"), "stderr"),
    ("error", shows(output_type="error", ename="E", evalue="", traceback=[]), "error or stderr"),
    ("path", shows(output_type="execute_result", data={"text/plain": "/home/someone/bench"}), "trace"),
    ("object", shows(output_type="execute_result", data={"text/plain": "<Axes: xlabel='x'>"}), "trace"),
    ("address", shows(output_type="execute_result", data={"text/plain": "at 0x7f12ab34"}), "trace"),
    (
        "raw float",
        shows(output_type="execute_result", data={"text/plain": "0.30000000000000004"}),
        "six decimals",
    ),
    ("empty image", image(png(colour=False)), "image is empty"),
    ("broken image", image(png()[:40]), "cannot be read"),
    ("program in image", image(png(software=True)), "names its program"),
    ("image without words", image(png(), "a figure"), "without its words"),
    ("path in prose", lambda n: n.cells[2].update(source=n.cells[2].source + " /tmp/x"), "trace"),
    ("little prose", lambda n: n.cells[0].update(source="# Is it so?"), "words for"),
]


@pytest.mark.parametrize(("name", "change", "expected"), FAULTS, ids=[fault[0] for fault in FAULTS])
def test_fault_is_found(name, change, expected):
    """Oracle: one fault put in on purpose."""
    notebook = copy.deepcopy(sound())
    change(notebook)
    if name == "little prose":
        for cell in notebook.cells[2::2]:
            cell.source = "So."
        notebook.cells[3].source = "x = 1\n" * 9 + "say('so')"
    found = faults(canonical_text(notebook))
    assert any(expected in fault for fault in found), found


def test_another_form_is_found():
    """Oracle: the metadata a program adds when it saves a notebook."""
    notebook = sound()
    notebook.metadata["language_info"] = {"name": "python", "version": "3.11.7"}
    assert faults(nbformat.writes(notebook) + "\n") == ["not in the stored form"]
