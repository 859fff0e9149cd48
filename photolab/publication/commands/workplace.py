"""`photolab open`: JupyterLab on working copies of the notebooks, pointed at one bench folder."""

import contextlib
import os
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

import nbformat

from photolab.bench.folder.records import read_bench
from photolab.errors import MethodError, PhotolabError, demand
from photolab.publication.report.notebooks import emptied, inject, notebooks_folder, write_notebook
from photolab.publication.report.notebooks import run as run_notebooks

FIRST = "00_start_here.ipynb"
_END_S = 0.7
"""So long JupyterLab has after Ctrl-C to end with its kernels, and once more when it is told to."""


def working_copies(bench: Path, work: Path | None = None, *, run: bool = False) -> Path:
    """Copy the notebooks that are not there yet into a working folder, the bench typed in their settings.

    A copy shows nothing until it is run, so that nobody sees the answer of another bench on their own.

    Parameters
    ----------
    bench : Path
        The bench folder; it is read first, so that a faulty one is refused here.
    work : Path, optional
        Folder for the copies; beside the bench, `<name>-notebooks`, where not given.
    run : bool, default False
        Run those that were copied now, and keep what they show; one that stops stays as it was copied, and is named
        on stderr.

    Returns
    -------
    Path
        The working folder. A notebook that stands there already is the person's own and is left as it is.

    Raises
    ------
    ValueError
        If `work` is the bench folder.
    """
    read_bench(bench)
    resolved = bench.resolve()
    place = work if work is not None else resolved.parent / f"{resolved.name}-notebooks"
    demand(place.resolve() != resolved, "work must be another folder than the bench", repr(place.name))
    place.mkdir(parents=True, exist_ok=True)
    copied, safe = [], {"PYTHONSAFEPATH": "1"}  # no module is taken from the folder of the copies
    for source in sorted(notebooks_folder().glob("[0-9][0-9]_*.ipynb")):
        mine = inject(emptied(nbformat.read(source, as_version=4)), {"bench": str(resolved)})
        with contextlib.suppress(FileExistsError), (place / source.name).open("x", encoding="utf-8") as copy:
            copy.write(nbformat.writes(mine))
            copied.append(place / source.name)
    for path, shown in zip(copied, run_notebooks(copied, environment=safe) if run else (), strict=run):
        if isinstance(shown, MethodError):
            sys.stderr.write(f"{shown}\n")
        else:
            write_notebook(shown, path)
    return place


def open_lab(
    bench: Path, *, work: Path | None, run: bool = False, browser: bool = True, options: Sequence[str] = ()
) -> int:
    """Start JupyterLab at the first notebook, on a bench folder.

    No module is taken from the folder it is started in, nor from that of the notebooks: neither by JupyterLab nor
    by a kernel.

    Parameters
    ----------
    bench : Path
        The bench folder.
    work : Path, optional
        Folder for the working copies.
    run : bool, default False
        Run the new copies first.
    browser : bool, default True
        Open a browser window.
    options : sequence of str, optional
        More arguments for JupyterLab.

    Returns
    -------
    int
        Exit status of JupyterLab.

    Raises
    ------
    PhotolabError
        If JupyterLab is not installed, or the user is root and has not said that this is meant.
    """
    if find_spec("jupyterlab") is None:
        message = "JupyterLab is not installed; type: pip install 'photolab-bench[lab]'"
        raise PhotolabError(message)
    meant = any("allow-root" in option or "allow_root" in option for option in options)
    if hasattr(os, "geteuid") and os.geteuid() == 0 and not meant:
        message = (
            "JupyterLab does not run as root: whoever reaches it could do anything on this machine. Run photolab "
            f"open as an ordinary user; if you know why it must be root, type: photolab open {bench} -- --allow-root"
        )
        raise PhotolabError(message)
    place = working_copies(bench, work, run=run)
    sys.stderr.write(f"Working copies: {place}\n")
    command = [sys.executable, "-P", "-m", "jupyterlab", str(place / FIRST), "--ServerApp.ip=127.0.0.1"]
    command += ["--ServerApp.answer_yes=True"]  # Ctrl-C ends it at once
    command += [*([] if browser else ["--no-browser"]), *options]
    # kernels inherit both: the bench of a person's own notebook that names none; what -P does for JupyterLab
    environment = {**os.environ, "PHOTOLAB_BENCH": str(bench.resolve()), "PYTHONSAFEPATH": "1"}
    with subprocess.Popen(command, env=environment) as lab:
        try:
            return lab.wait()
        except KeyboardInterrupt:
            # a terminal has told JupyterLab too: told twice, it would leave its kernels
            for end in (lab.terminate, lab.kill):
                with contextlib.suppress(subprocess.TimeoutExpired):
                    lab.wait(_END_S)
                    break
                end()
            raise
