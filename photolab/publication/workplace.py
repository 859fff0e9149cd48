"""`photolab open`: JupyterLab on working copies of the notebooks, pointed at one bench folder."""

import os
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

from photolab.bench.records import read_bench
from photolab.errors import PhotolabError
from photolab.publication.notebooks import notebooks_folder

FIRST = "00_start_here.ipynb"


def working_copies(bench: Path, work: Path | None = None) -> Path:
    """Copy the notebooks that are not there yet into a working folder.

    Parameters
    ----------
    bench : Path
        The bench folder; it is read first, so that a faulty one is refused here.
    work : Path, optional
        Folder for the copies; beside the bench, `<name>-notebooks`, where not given.

    Returns
    -------
    Path
        The working folder. A notebook that stands there already is the person's own and is left as it is.
    """
    read_bench(bench)
    resolved = bench.resolve()
    place = work if work is not None else resolved.parent / f"{resolved.name}-notebooks"
    place.mkdir(parents=True, exist_ok=True)
    for source in sorted(notebooks_folder().glob("[0-9][0-9]_*.ipynb")):
        copy = place / source.name
        if not copy.exists():
            shutil.copyfile(source, copy)
    return place


def open_lab(bench: Path, *, work: Path | None = None, browser: bool = True) -> int:
    """Start JupyterLab at the first notebook, on a bench folder.

    Parameters
    ----------
    bench : Path
        The bench folder.
    work : Path, optional
        Folder for the working copies.
    browser : bool, default True
        Open a browser window.

    Returns
    -------
    int
        Exit status of JupyterLab.

    Raises
    ------
    PhotolabError
        If JupyterLab is not installed.
    """
    if find_spec("jupyterlab") is None:
        message = "JupyterLab is not installed; type: pip install 'photolab-bench[lab]'"
        raise PhotolabError(message)
    place = working_copies(bench, work)
    sys.stderr.write(f"Working copies: {place}\n")
    command = [sys.executable, "-m", "jupyterlab", str(place / FIRST), "--ServerApp.ip=127.0.0.1"]
    command += [] if browser else ["--no-browser"]
    environment = {**os.environ, "PHOTOLAB_BENCH": str(bench.resolve())}
    return subprocess.run(command, env=environment, check=False).returncode
