"""Where the bench is, and the runner of notebooks.

The notebooks stand in ``notebooks/`` with their outputs, in the form that `canonical` gives them.

``python -m photolab.publication.notebooks [files]`` runs the committed notebooks again on the demo bench
and writes them in place.
"""

from __future__ import annotations

import argparse
import copy
import os
import sys
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from photolab.errors import MethodError, PhotolabError
from photolab.publication.kernels import KERNEL_ENVIRONMENT, Kernel
from photolab.publication.stored_form import canonical, canonical_text, fill_answer, write_notebook

__all__ = [
    "KERNEL_ENVIRONMENT",
    "bench_folder",
    "canonical",
    "canonical_text",
    "fill_answer",
    "inject",
    "notebooks_folder",
    "repository_root",
    "run",
    "run_notebook",
    "write_notebook",
]

_TIMEOUT_S = 600


def repository_root() -> Path:
    """Return the folder that holds the package, the notebooks and the data of an editable install."""
    return Path(__file__).resolve().parents[2]


def bench_folder(injected: str | os.PathLike[str] | None = None) -> Path:
    """Return the bench folder a notebook works on.

    Parameters
    ----------
    injected : path, optional
        The folder named in the settings cell of a notebook. It wins over the environment variable
        ``PHOTOLAB_BENCH``, which wins over ``data/demo`` beside the package.

    Returns
    -------
    Path
        The folder; whether it can be read is for `photolab.bench.records.read_bench` to say.

    Raises
    ------
    ValueError
        If nothing is named and there is no demo bench beside the package.
    """
    if injected is not None and str(injected).strip():
        return Path(injected).expanduser()
    named = os.environ.get("PHOTOLAB_BENCH", "").strip()
    if named:
        return Path(named).expanduser()
    demo = repository_root() / "data" / "demo"
    if not demo.is_dir():
        message = "bench must be named in the settings cell or by PHOTOLAB_BENCH; no demo bench is installed"
        raise ValueError(message)
    return demo


def notebooks_folder(given: str | os.PathLike[str] | None = None) -> Path:
    """Return the folder with the notebooks.

    Parameters
    ----------
    given : path, optional
        A folder named by the user; otherwise ``notebooks`` beside the package.

    Returns
    -------
    Path
        An existing folder.

    Raises
    ------
    ValueError
        If there is no such folder.
    """
    folder = Path(given) if given is not None else repository_root() / "notebooks"
    if not folder.is_dir():
        message = f"notebooks must be a folder; {folder.name!r} is none (name one with --notebooks)"
        raise ValueError(message)
    return folder


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
        A copy with one more cell, tagged ``injected-parameters``, after the settings cell; without
        settings, a plain copy.

    Raises
    ------
    ValueError
        If there is not exactly one settings cell, or a value has no plain literal.
    """
    import nbformat

    result = copy.deepcopy(notebook)
    if not parameters:
        return result
    places = [i for i, cell in enumerate(result.cells) if "parameters" in cell.metadata.get("tags", [])]
    if len(places) != 1:
        message = f"notebook must have exactly one cell tagged parameters; got {len(places)}"
        raise ValueError(message)
    lines = []
    for name, value in parameters.items():
        if not name.isidentifier() or not isinstance(value, str | int | float | bool | None):
            message = (
                f"parameters[{name!r}] must be a name with text, a number, True, False or None; got {value!r}"
            )
            raise ValueError(message)
        lines.append(f"{name} = {value!r}")
    cell = nbformat.v4.new_code_cell("\n".join(lines), metadata={"tags": ["injected-parameters"]})
    result.cells.insert(places[0] + 1, cell)
    return result


def run_notebook(
    source: str | os.PathLike[str],
    *,
    parameters: Mapping[str, object] | None = None,
    environment: Mapping[str, str] | None = None,
    timeout_s: float = _TIMEOUT_S,
    kernel: Kernel | None = None,
) -> Any:
    """Run one notebook and return the executed copy; the file itself is only read.

    Parameters
    ----------
    source : path
        The notebook; the kernel starts in its folder.
    parameters : mapping, optional
        Settings for `inject`.
    environment : mapping, optional
        More environment variables for the kernel, beside `KERNEL_ENVIRONMENT`.
    timeout_s : float, default 600
        Longest time for one cell. [s]
    kernel : Kernel, optional
        A kernel that is running; a fresh one if none is given.

    Returns
    -------
    nbformat.NotebookNode
        The executed notebook in canonical form.

    Raises
    ------
    MethodError
        If a cell stops, or writes to stderr; says which cell of which notebook and why.
    """
    import nbformat
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    path = Path(source)
    notebook = inject(nbformat.read(path, as_version=4), parameters or {})
    folder = path.resolve().parent
    try:
        if kernel is not None:
            kernel.execute(notebook, folder, timeout_s=timeout_s)
        else:
            with Kernel(folder, environment) as fresh:
                fresh.execute(notebook, folder, timeout_s=timeout_s)
    except CellExecutionError as error:
        reason = f"{error.ename}: {error.evalue}"
        raise _stopped(path, notebook, reason) from error
    except (CellTimeoutError, DeadKernelError) as error:
        raise _stopped(path, notebook, str(error).split("\n", 1)[0]) from error
    executed = canonical(notebook)
    _refuse_noise(path, executed)
    return fill_answer(executed)


def _stopped(path: Path, notebook: Any, reason: str) -> MethodError:
    """Return the refusal for a notebook that stopped, naming the last cell that ran."""
    ran = [
        i
        for i, cell in enumerate(notebook.cells, start=1)
        if cell.get("outputs") or cell.get("execution_count")
    ]
    cell = ran[-1] if ran else 0
    message = f"{path.name}: cell {cell} stopped: {reason}"
    return MethodError(message, code="notebook_stopped", known={"notebook": path.name, "cell": cell})


def _refuse_noise(path: Path, notebook: Any) -> None:
    """Refuse error outputs and anything on stderr."""
    for position, cell in enumerate(notebook.cells, start=1):
        for output in cell.get("outputs", []):
            if output.output_type == "error" or output.get("name") == "stderr":
                text = str(output.get("text") or output.get("evalue") or "").strip().split("\n", 1)[0]
                message = f"{path.name}: cell {position} wrote to stderr: {text}"
                raise MethodError(
                    message, code="notebook_noise", known={"notebook": path.name, "cell": position}
                )


def run(
    sources: Sequence[str | os.PathLike[str]],
    out: str | os.PathLike[str],
    *,
    parameters: Mapping[str, object] | None = None,
    environment: Mapping[str, str] | None = None,
    jobs: int = 2,
    progress: Callable[[str], None] | None = None,
) -> tuple[Path, ...]:
    """Run notebooks in several kernel processes and write the executed copies.

    Each process works through notebooks one after the other and is emptied before each.

    Parameters
    ----------
    sources : sequence of paths
        The notebooks; they are only read.
    out : path
        Folder for the copies, made where it is missing; it must not be the folder of a source.
    parameters, environment : mapping, optional
        As in `run_notebook`.
    jobs : int, default 2
        Kernel processes.
    progress : callable, optional
        Takes one line a notebook; the default writes it on stderr.

    Returns
    -------
    tuple of Path
        The copies, in the order of the sources.

    Raises
    ------
    ValueError
        If `out` holds a source, or `jobs` is not 1 or more.
    MethodError
        If a notebook stops; the copies of the others may exist.
    """
    target = Path(out)
    paths = [Path(source) for source in sources]
    if any(path.resolve().parent == target.resolve() for path in paths):
        message = f"out must be another folder than the notebooks'; got {target.name!r}"
        raise ValueError(message)
    if jobs < 1:
        message = f"jobs must be 1 or more; got {jobs}"
        raise ValueError(message)
    target.mkdir(parents=True, exist_ok=True)
    say = progress or _to_stderr

    waiting = deque(paths)

    def work() -> None:
        with Kernel(paths[0].resolve().parent, environment) as kernel:
            while waiting:
                try:
                    path = waiting.popleft()
                except IndexError:  # the other process took the last one
                    return
                start = time.perf_counter()
                try:
                    executed = run_notebook(path, parameters=parameters, kernel=kernel)
                except BaseException:
                    waiting.clear()
                    raise
                write_notebook(executed, target / path.name)
                say(f"{path.stem}: done in {time.perf_counter() - start:.1f} s")

    with ThreadPoolExecutor(max_workers=jobs) as pool:
        for done in [pool.submit(work) for _ in range(min(jobs, len(paths)))]:
            done.result()
    return tuple(target / path.name for path in paths)


def _to_stderr(line: str) -> None:
    """Write one line of progress."""
    sys.stderr.write(line + "\n")
    sys.stderr.flush()


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
    parser = argparse.ArgumentParser(
        prog="python -m photolab.publication.notebooks",
        description="Run the committed notebooks again on the demo bench and store them in place.",
        allow_abbrev=False,
    )
    parser.add_argument("files", nargs="*", type=Path, help="notebooks; all of them if none is named")
    parser.add_argument(
        "--check", action="store_true", help="write nothing; say which notebooks would change"
    )
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
