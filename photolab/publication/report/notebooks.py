"""Where the bench is, the runner of notebooks, and the one form in which they are stored.

The notebooks stand in ``notebooks/`` with their outputs, in the form that `canonical` gives them.

``python -m photolab.publication.report.notebooks [files]`` runs the committed notebooks again on the demo bench
and writes them in place.
"""

import argparse
import ast
import asyncio
import copy
import os
import re
import sys
import time
from collections import deque
from collections.abc import Callable, Coroutine, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, TypeVar

from photolab.errors import MethodError, NotInFolder, PhotolabError, demand
from photolab.publication.report.kernels import STRICT_ENVIRONMENT, Kernel
from photolab.publication.report.report_folder import put_in_place

_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
_NOT_RUN = "\n\nNot run yet: Run > Run All Cells; the answer then stands below the law.\n\n"
_PICTURES = ("image/png", "image/svg+xml")
_TIMEOUT_S = 600
_T = TypeVar("_T")
_Ran = tuple[Any, list[tuple[int, str]]]
"""A notebook as it was run: its stored form, or why it stopped; and what it wrote to stderr, by cell."""


def repository_root() -> Path:
    """Return the folder that holds the package; in an editable install the notebooks and the data too."""
    return Path(__file__).resolve().parents[3]


def _travelling(inside: str, beside: str) -> Path:
    """Return a folder that comes with the package: inside it as built, beside it in an editable install."""
    packaged = repository_root() / "photolab" / inside
    return packaged if packaged.is_dir() else repository_root() / beside


def demo_folder() -> Path:
    """Return the invented demo bench that comes with the package.

    Returns
    -------
    Path
        An existing bench folder.

    Raises
    ------
    ValueError
        If it is not there.
    """
    demo = _travelling("demo", "data/demo")
    if not demo.is_dir():
        message = "bench must be named in the settings cell or by PHOTOLAB_BENCH; no demo bench is installed"
        raise ValueError(message)
    return demo


def studies_folder() -> Path:
    """Return the folder with the stored studies that come with the package, each simulated.

    Returns
    -------
    Path
        `claims.csv`, `families.csv` and `coverage.csv`.
    """
    return _travelling("studies", "data/studies")


def bench_folder(injected: str | os.PathLike[str] | None = None) -> Path:
    """Return the bench folder a notebook works on.

    Parameters
    ----------
    injected : path, optional
        The folder named in the settings cell of a notebook. It wins over the environment variable
        ``PHOTOLAB_BENCH``, which wins over the demo bench that comes with the package.

    Returns
    -------
    Path
        The folder; whether it can be read is for `photolab.bench.folder.records.read_bench` to say.

    Raises
    ------
    ValueError
        If nothing is named and no demo bench is installed.
    """
    typed = str(injected or "")
    named = typed if typed.strip() else os.environ.get("PHOTOLAB_BENCH", "").strip()
    return Path(named).expanduser() if named else demo_folder()


def notebooks_folder(given: str | os.PathLike[str] | None = None) -> Path:
    """Return the folder with the notebooks.

    Parameters
    ----------
    given : path, optional
        A folder named by the user; otherwise the notebooks that come with the package.

    Returns
    -------
    Path
        An existing folder.

    Raises
    ------
    ValueError
        If there is no such folder.
    """
    folder = Path(given) if given is not None else _travelling("notebooks", "notebooks")
    demand(folder.is_dir(), "notebooks must be a folder", repr(folder.name))
    return folder


def tagged(notebook: Any, tag: str) -> list[Any]:
    """Return the cells of a notebook that have a tag.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        Any notebook of format 4.
    tag : str
        The tag.

    Returns
    -------
    list
        In their order.
    """
    return [cell for cell in notebook.cells if tag in cell.metadata.get("tags", [])]


def inject(notebook: Any, parameters: Mapping[str, object]) -> Any:
    """Return a copy of a notebook with settings that replace those of its settings cell.

    Parameters
    ----------
    notebook : nbformat.NotebookNode
        A notebook with exactly one cell tagged ``parameters``.
    parameters : mapping
        Name and value of each setting; values are text, numbers, True, False or None.

    Returns
    -------
    nbformat.NotebookNode
        A copy in which the line of the settings cell that sets a name sets it to the value, and what follows in
        the cell sees it; a name that is not set there stands in a line at its end. The cells keep their places.

    Raises
    ------
    ValueError
        If there is not exactly one settings cell, or a value has no plain literal.
    """
    result = copy.deepcopy(notebook)
    if not parameters:
        return result
    cells = tagged(result, "parameters")
    demand(len(cells) == 1, "notebook must have exactly one cell tagged parameters", len(cells))
    lines = cells[0].source.split("\n")
    for name, value in parameters.items():
        fits = name.isidentifier() and isinstance(value, str | int | float | bool | None)
        must = "must be a name with text, a number, True, False or None"
        demand(fits, f"parameters[{name!r}] {must}", repr(value))
        places = [i for i, line in enumerate(lines) if re.match(rf"{name}\s*=(?!=)", line)]
        for place in places or [len(lines)]:
            lines[place : place + 1] = [f"{name} = {value!r}"]
    cells[0].source = "\n".join(lines)
    return result


def settings_of(path: Path) -> dict[str, str]:
    """Return the settings of a notebook but for the bench folder: each name, and its value as it is typed.

    Parameters
    ----------
    path : Path
        The notebook.

    Returns
    -------
    dict
        In their order.
    """
    import nbformat

    cells = [cell.source for cell in tagged(nbformat.read(path, as_version=4), "parameters")]
    found: dict[str, str] = {}
    for line in ast.parse("\n".join(cells)).body:
        if isinstance(line, ast.Assign):
            name, value = line.targets[0], line.value
            names, values = (one.elts if isinstance(one, ast.Tuple) else [one] for one in (name, value))
            pairs = zip(names, values, strict=True) if len(names) == len(values) else [(name, value)]
            found |= {ast.unparse(one): ast.unparse(typed) for one, typed in pairs}
    found.pop("bench", None)
    return found


async def _run_one(path: Path, parameters: Mapping[str, object] | None, kernel: Kernel) -> _Ran:
    """Run one notebook; what it wrote to stderr is taken out of it."""
    import nbformat

    try:
        notebook = inject(nbformat.read(path, as_version=4), parameters or {})
    except ValueError as error:
        return _stopped(path, MethodError(str(error), code="notebook_unfit", known={"cell": 0})), []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs = []
    try:
        await kernel.execute(notebook, path.resolve().parent, timeout_s=_TIMEOUT_S)
    except MethodError as error:
        return _stopped(path, error), _take_noise(notebook)
    noise = _take_noise(notebook)
    return fill_answer(canonical(notebook)), noise


def _stopped(path: Path, error: MethodError) -> MethodError:
    """Return why a notebook stopped, with its name and the place of its cell."""
    cell = error.known["cell"]
    where = f"cell {cell} stopped" if cell else "stopped before its first cell"
    message = f"{path.name}: {where}: {error}"
    known = {"notebook": path.name, "cell": cell, "reason": str(error)}
    return type(error)(message, code=error.code, known=known)


def _take_noise(notebook: Any) -> list[tuple[int, str]]:
    """Take what was written to stderr out of a notebook and return it, with the place of its cell."""
    noise = []
    for position, cell in enumerate(notebook.cells, start=1):
        loud = [output for output in cell.get("outputs", []) if output.get("name") == "stderr"]
        noise += [(position, output.text.strip()) for output in loud]
        if loud:
            cell.outputs = [output for output in cell.outputs if output not in loud]
    return noise


def run_notebook(source: str | os.PathLike[str], *, environment: Mapping[str, str] | None = None) -> Any:
    """Run one notebook as the committed ones are run and return the executed copy; the file is only read.

    Parameters
    ----------
    source : path
        The notebook; the kernel starts in its folder.
    environment : mapping, optional
        More environment variables for the kernel, beside `STRICT_ENVIRONMENT`.

    Returns
    -------
    nbformat.NotebookNode
        The executed notebook in canonical form.

    Raises
    ------
    MethodError
        If a cell stops, or writes to stderr; says which cell of which notebook and why.
    """
    path, strict = Path(source), STRICT_ENVIRONMENT | dict(environment or {})
    [(result, noise)], said = _run_all([path], None, strict, 1, lambda _: None)
    if isinstance(result, MethodError):
        raise result
    for text in filter(None, said):  # of the process itself, not of the notebook
        _to_stderr(text)
    for cell, text in noise:
        message = f"{path.name}: cell {cell} wrote to stderr: {text.split(chr(10), 1)[0]}"
        raise MethodError(message, code="notebook_noise", known={"notebook": path.name, "cell": cell})
    return result


def run(
    sources: Sequence[str | os.PathLike[str]],
    *,
    parameters: Mapping[str, object] | None = None,
    environment: Mapping[str, str] | None = None,
    jobs: int = 2,
    progress: Callable[[str], None] | None = None,
) -> tuple[Any, ...]:
    """Run notebooks in several kernel processes.

    Each process works through notebooks one after the other and is emptied before each; where one stops, a new
    process takes the next. What libraries write to stderr stops nothing: it is shown at the end, each text once.

    Parameters
    ----------
    sources : sequence of paths
        The notebooks; they are only read.
    parameters : mapping, optional
        Settings for `inject`.
    environment : mapping, optional
        More environment variables for the kernels; a warning is no error unless they make it one.
    jobs : int, default 2
        Kernel processes.
    progress : callable, optional
        Takes one line a notebook; the default writes it on stderr.

    Returns
    -------
    tuple of nbformat.NotebookNode or MethodError
        Each notebook in canonical form, or why it stopped, in the order of the sources.

    Raises
    ------
    ValueError
        If `jobs` is not 1 or more.
    """
    demand(jobs >= 1, "jobs must be 1 or more", jobs)
    say = progress or _to_stderr
    ran, said = _run_all([Path(source) for source in sources], parameters, environment, jobs, say)
    texts = [text for _, noise in ran for _, text in noise] + said
    lines = dict.fromkeys(line for text in texts for line in text.splitlines() if line.strip())
    if lines:
        shown = ("".join(c if c.isprintable() else repr(c)[1:-1] for c in line) for line in lines)
        say("\n  ".join(["Written to stderr by the notebooks, not published:", *shown]))
    return tuple(result for result, _ in ran)


def _run_all(
    paths: Sequence[Path],
    parameters: Mapping[str, object] | None,
    environment: Mapping[str, str] | None,
    jobs: int,
    say: Callable[[str], None],
) -> tuple[list[_Ran], list[str]]:
    """Run notebooks, each process one after the other; return each, and what the processes wrote to stderr."""
    waiting = deque(paths)
    ran: dict[Path, _Ran] = {}
    said: list[str] = []
    without_process: list[MethodError] = []

    async def work() -> None:
        while waiting:
            kernel, used = Kernel(paths[0].resolve().parent, environment), False
            try:
                async with kernel:
                    while waiting:
                        path, start = waiting.popleft(), time.perf_counter()
                        ran[path] = result, _ = await _run_one(path, parameters, kernel)
                        unfed = isinstance(result, NotInFolder)
                        stopped = isinstance(result, MethodError) and not unfed
                        if stopped and used and result.code == "kernel_ended_before":
                            waiting.appendleft(path)  # the notebook before it ended the process
                            break
                        how = "stopped after" if stopped else "done in"
                        how = "not fed by this folder," if unfed else how
                        say(f"{path.stem}: {how} {time.perf_counter() - start:.1f} s")
                        if stopped:
                            break
                        used = True
            except MethodError as error:  # no process could be started
                without_process.append(error)
                return
            finally:
                said.append(kernel.noise)

    async def work_all() -> None:
        # each ends in good order before an error of one, or Ctrl-C, goes on its way
        workers = [work() for _ in range(min(jobs, len(paths)))]
        for error in await asyncio.gather(*workers, return_exceptions=True):
            if error is not None:
                raise error

    _wait_for(work_all())
    ran |= {path: (_stopped(path, without_process[0]), []) for path in waiting}
    return [ran[path] for path in paths], said


def _wait_for(work: Coroutine[Any, Any, _T]) -> _T:
    """Run a coroutine to its end, in a thread of its own where this one runs a loop, as that of a notebook does."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return asyncio.run(work)
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


def _to_stderr(line: str) -> None:
    """Write one line of progress."""
    sys.stderr.write(line + "\n")
    sys.stderr.flush()


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
            if output.output_type == "execute_result":
                output.execution_count = count
            if "metadata" in output:  # what belongs to the content alone
                output.metadata = {key: output.metadata[key] for key in _PICTURES if key in output.metadata}
            if "image/png" in (data := output.get("data", {})):
                data["image/png"] = data["image/png"].strip() + "\n"
    return result


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
    answers, sources = tagged(notebook, "answer"), tagged(notebook, "answer-source")
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
    head, _, rest = answers[0].source.partition("<!-- answer -->")
    tail = rest.partition("<!-- end -->")[2]
    answers[0].source = "\n\n".join([f"{head}<!-- answer -->", *words, f"<!-- end -->{tail}"])
    if pictures:
        answers[0].attachments = pictures
    return notebook


def main(arguments: Sequence[str] | None = None) -> int:
    """Run committed notebooks again and write them in place.

    Parameters
    ----------
    arguments : sequence of str, optional
        Of the command line; those the program was called with if none are given.

    Returns
    -------
    int
        Exit status: 0 done, 1 some would change, 2 one stopped.
    """
    about = "Run the committed notebooks again on the demo bench and store them in place."
    name = "python -m photolab.publication.report.notebooks"
    parser = argparse.ArgumentParser(prog=name, description=about, allow_abbrev=False)
    parser.add_argument("files", nargs="*", type=Path, help="notebooks; all of them if none is named")
    only = "write nothing; say which notebooks would change"
    parser.add_argument("--check", action="store_true", help=only)
    options = parser.parse_args(arguments)
    changed = 0
    for path in options.files or sorted(notebooks_folder().glob("*.ipynb")):
        start = time.perf_counter()
        try:
            executed = run_notebook(path)
        except (OSError, PhotolabError, ValueError) as error:
            _to_stderr(str(error))
            return 2
        same = canonical_text(executed) == path.read_text(encoding="utf-8")
        changed += not same
        if not same and not options.check:
            write_notebook(executed, path)
        _to_stderr(f"{path.stem}: {'unchanged' if same else 'changed'}, {time.perf_counter() - start:.1f} s")
    return 1 if options.check and changed else 0


if __name__ == "__main__":
    raise SystemExit(main())
