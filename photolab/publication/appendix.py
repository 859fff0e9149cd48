"""Publish a bench folder: run the notebooks, collect what is to be published, write the report.

Nothing of the previous report is touched until everything has been made; then each file is put in its
place, the record of where it comes from last.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.evaluation import evaluate
from photolab.bench.records import read_bench
from photolab.errors import MethodError
from photolab.publication import notebooks as runner
from photolab.publication import provenance, tables
from photolab.publication.display import table
from photolab.publication.front_page import front_page
from photolab.publication.page import Section, clean_table, notebook_blocks, page
from photolab.publication.paper import paper
from photolab.publication.second_way import SEED
from photolab.publication.workbook_table import as_workbook

__all__ = ["Published", "check_report", "publish"]

check_report = provenance.report_state

_TITLE = "Methods appendix"
_TAG = "appendix"


@dataclass(frozen=True)
class Published:
    """A report that was written.

    Attributes
    ----------
    out : Path
        Its folder.
    files : tuple of Path
        Its files, in the order in which they were put in place.
    seconds : float
        How long it took. [s]
    """

    out: Path
    files: tuple[Path, ...]
    seconds: float


def publish(
    folder: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    jobs: int = 2,
    notebooks: str | os.PathLike[str] | None = None,
    progress: Callable[[str], None] | None = None,
) -> Published:
    """Write the report of a bench folder.

    Parameters
    ----------
    folder : path
        The bench folder; it is only read.
    out : path
        Folder of the report; made where it is missing. Only the files of a report are replaced in it.
    jobs : int, default 2
        Notebooks that run at the same time.
    notebooks : path, optional
        Folder with the notebooks; the one beside the package otherwise.
    progress : callable, optional
        Takes one line a notebook; the default writes it on stderr.

    Returns
    -------
    Published
        Folder, files and time.

    Raises
    ------
    RecordError
        If the bench folder is refused.
    MethodError
        If the protocol revision is not stated, or a notebook stops; the previous report stays as it was.
    ValueError
        If `out` is the bench folder or the notebooks' folder.
    """
    start = time.perf_counter()
    bench_path, target = Path(folder).resolve(), Path(out)
    sources_folder = runner.notebooks_folder(notebooks)
    if target.resolve() in {bench_path, sources_folder.resolve()}:
        message = f"out must be a folder of its own; got {target.name!r}"
        raise ValueError(message)
    campaign = evaluate(read_bench(bench_path))
    revision = campaign.bench.settings.protocol_revision
    if not revision:
        message = (
            'bench.toml: publishing needs the protocol revision; write protocol_revision = "1" under [bench]'
        )
        raise MethodError(message, code="no_revision")
    sources = _chosen(sources_folder)
    sections = _sections(sources, bench_path, jobs, progress)
    contents = _contents(campaign, sections)
    record = provenance.record(
        inputs=campaign.bench.hashes,
        notebooks=sources,
        outputs={name: hashlib.sha256(content).hexdigest() for name, content in contents.items()},
        bench=campaign.bench.settings.name,
        protocol_revision=revision,
        seeds={"monte_carlo": SEED},
    )
    contents[provenance.FILE_NAME] = provenance.to_json(record).encode("utf-8")
    files = _put_in_place(contents, target)
    return Published(target, files, time.perf_counter() - start)


def _chosen(folder: Path) -> tuple[Path, ...]:
    """Return the notebooks that have something to publish, in the order of their names."""
    import nbformat

    chosen = []
    for path in sorted(folder.glob("*.ipynb")):
        cells = nbformat.read(path, as_version=4).cells
        if any(_TAG in cell.metadata.get("tags", []) for cell in cells):
            chosen.append(path)
    return tuple(chosen)


def _sections(
    sources: Sequence[Path], bench_path: Path, jobs: int, progress: Callable[[str], None] | None
) -> tuple[Section, ...]:
    """Run the notebooks on the bench and return their chosen cells, one section a notebook."""
    import nbformat

    with tempfile.TemporaryDirectory(prefix="photolab-") as scratch:
        copies = runner.run(
            sources, scratch, parameters={"bench": str(bench_path)}, jobs=jobs, progress=progress
        )
        executed = [nbformat.read(path, as_version=4) for path in copies]
    return tuple(
        Section(
            _take_question(notebook), notebook_blocks(notebook, tag=_TAG), f"Working: notebook {path.stem}."
        )
        for notebook, path in zip(executed, sources, strict=True)
    )


def _take_question(notebook: Any) -> str:
    """Take the question a notebook begins with out of its text and return it."""
    for cell in notebook.cells:
        lines = cell.source.split("\n") if cell.cell_type == "markdown" else []
        for place, line in enumerate(lines):
            if line.startswith("# "):
                cell.source = "\n".join([*lines[:place], *lines[place + 1 :]])
                return str(line[2:].strip())
    return "Working"


def _contents(campaign: Campaign, sections: Sequence[Section]) -> dict[str, bytes]:
    """Return the files of a report."""
    front = front_page(campaign, fingerprint=tables.data_hash(campaign.bench.hashes))
    title = f"{_TITLE}: {campaign.bench.settings.name}"
    words = pd.DataFrame({"column": list(tables.DICTIONARY), "meaning": list(tables.DICTIONARY.values())})
    columns = Section("What do the columns of results.csv mean?", (clean_table(table(words).to_html()),))
    found = tables.results(campaign)
    dates = [day for day in campaign.bench.tables["days"]["date"] if day]
    last_day = max(dates, default="")
    workbook = as_workbook(found, campaign.selection.left_out, last_day=last_day)
    whole = page(title, front, [*sections, columns])
    return {
        "appendix.html": whole.encode("utf-8"),
        "appendix.pdf": paper(whole, last_day=last_day),
        "results.csv": tables.as_csv(found).encode("utf-8"),
        "results.xlsx": workbook,
    }


def _put_in_place(contents: Mapping[str, bytes], target: Path) -> tuple[Path, ...]:
    """Write every file beside its place, then put them there in order."""
    target.mkdir(parents=True, exist_ok=True)
    pairs = [(target / f".{name}.part", target / name) for name in contents]
    try:
        for (beside, _), content in zip(pairs, contents.values(), strict=True):
            beside.write_bytes(content)
        for beside, place in pairs:
            beside.replace(place)
    finally:
        for beside, _ in pairs:
            beside.unlink(missing_ok=True)
    return tuple(place for _, place in pairs)
