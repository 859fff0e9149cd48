"""The one form in which notebooks are stored.

Whoever runs a notebook again on the same data, with the same versions, gets the same bytes: what differs from
one run to the next (times, identifiers, machine metadata) is left out.
"""

from __future__ import annotations

import copy
import os
import re
from pathlib import Path
from typing import Any

from photolab.publication.report_folder import put_in_place

_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
_NOT_RUN = "\n\nNot run yet: Run > Run All Cells; the answer then stands below the law.\n\n"
_OUTPUT_METADATA = ("image/png", "image/svg+xml")


def canonical(notebook: Any) -> Any:
    """Return a copy of a notebook in the form in which it is stored.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Any notebook of format 4.

    Returns
    -------
    nbformat.NotebookNode
        The same cells and outputs, without those of cells tagged ``interactive``; cell identifiers and execution
        counts follow the order, metadata holds tags only, and the kernel is named without its version.
    """
    import nbformat

    result = copy.deepcopy(notebook)
    result.metadata = nbformat.from_dict(_METADATA)
    result.nbformat, result.nbformat_minor = 4, 5
    count = 0
    for position, cell in enumerate(result.cells, start=1):
        cell.id = f"c{position:02d}"
        tags = cell.metadata.get("tags")
        cell.metadata = nbformat.from_dict({"tags": tags} if tags else {})
        cell.source = "\n".join(line.rstrip() for line in cell.source.strip("\n").split("\n"))
        if cell.cell_type != "code":
            continue
        count += 1
        cell.execution_count = count
        if "interactive" in cell.metadata.get("tags", []):
            cell.outputs = []  # what a hand moved is not kept
        for output in cell.outputs:
            _strip_output(output, count)
    return result


def _strip_output(output: Any, count: int) -> None:
    """Leave in an output only what belongs to its content."""
    if output.output_type == "execute_result":
        output.execution_count = count
    if "metadata" in output:
        output.metadata = {key: value for key, value in output.metadata.items() if key in _OUTPUT_METADATA}
    data = output.get("data", {})
    if "image/png" in data:
        data["image/png"] = data["image/png"].strip() + "\n"


def canonical_text(notebook: Any) -> str:
    """Return the text of the file in which a notebook is stored.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Any notebook of format 4.

    Returns
    -------
    str
        JSON with one line end at the end of the file.
    """
    import nbformat

    return str(nbformat.writes(canonical(notebook))).rstrip("\n") + "\n"


def write_notebook(notebook: Any, path: str | os.PathLike[str]) -> Path:
    """Write a notebook in its stored form, beside its place first.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Any notebook of format 4.
    path : path
        The file to write.

    Returns
    -------
    Path
        The file.
    """
    place = Path(path)
    return put_in_place({place.name: canonical_text(notebook).encode("utf-8")}, place.parent)[0]


def emptied(notebook: Any) -> Any:
    """Return a copy of a notebook that shows nothing yet: no outputs, and at the top no answer of another bench.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Any notebook of format 4.

    Returns
    -------
    nbformat.NotebookNode
        The copy.
    """
    result = copy.deepcopy(notebook)
    for cell in result.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
        elif "answer" in cell.metadata.get("tags", []):
            cell.pop("attachments", None)
            between = r"(?<=<!-- answer -->).*(?=<!-- end -->)"
            cell.source = re.sub(between, _NOT_RUN, cell.source, flags=re.DOTALL)
    return result


def fill_answer(notebook: Any) -> Any:
    """Return a notebook whose answer at the top shows what its working found.

    A notebook may begin with its answer before any code. The markdown cell tagged ``answer`` then ends with
    the sentences and the picture of the code cells tagged ``answer-source``, copied there below the line
    ``<!-- answer -->`` each time it is run.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        An executed notebook.

    Returns
    -------
    nbformat.NotebookNode
        The same notebook if it has no such cells.
    """
    answers, sources = (
        [cell for cell in notebook.cells if name in cell.metadata.get("tags", [])]
        for name in ("answer", "answer-source")
    )
    if not answers or not sources:
        return notebook
    words: list[str] = []
    pictures: dict[str, dict[str, str]] = {}
    for output in (output for cell in sources for output in cell.outputs):
        data = output.get("data", {})
        if "image/png" in data:
            name = f"answer{len(pictures) + 1}.png"
            pictures[name] = {"image/png": data["image/png"].strip()}
            alt = " ".join(data.get("text/plain", "").replace("[", "(").replace("]", ")").split())
            words.append(f"![{alt}](attachment:{name})")
        elif "text/markdown" in data:
            words.append(data["text/markdown"])
    cell = answers[0]
    head, _, rest = cell.source.partition("<!-- answer -->")
    tail = rest.partition("<!-- end -->")[2]
    middle = "\n\n".join(words)
    cell.source = f"{head}<!-- answer -->\n\n{middle}\n\n<!-- end -->{tail}"
    if pictures:
        cell.attachments = pictures
    return notebook
