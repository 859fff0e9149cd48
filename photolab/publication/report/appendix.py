"""Publish a bench folder: run the notebooks, collect what is to be published, write the report.

A part that fails does not cost the others: the rest is written, and says what is missing. Nothing of the previous
report is touched until everything has been made; then each file is put in its place, the record of where it comes
from last. A complete report is never replaced by one with missing parts.
"""

import contextlib
import os
import re
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

from photolab.bench.folder.records import read_bench
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.errors import MethodError, NotInFolder, demand
from photolab.publication.report import held_back, provenance, tables
from photolab.publication.report import notebooks as runner
from photolab.publication.report.front_page import front_page, incomplete_mark
from photolab.publication.report.in_words import as_markdown, in_words
from photolab.publication.report.lamp_parts import figure_files, lamp_parts
from photolab.publication.report.page import PUBLISHED, Section, notebook_blocks, page
from photolab.publication.report.page_one import PageOne
from photolab.publication.report.paper import paper
from photolab.publication.report.provenance import MissingPart
from photolab.publication.report.recompute import as_recomputation
from photolab.publication.report.report_folder import held, partial_folder, put_in_place, remove
from photolab.publication.report.workbook_table import as_workbook

_TITLE = "Methods appendix"
Failed = list[tuple[MissingPart, str]]


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
    missing : tuple of str
        One sentence for each part that failed, with its notebook, its cell and the reason; none where the report
        is complete.
    """

    out: Path
    files: tuple[Path, ...]
    seconds: float
    missing: tuple[str, ...] = ()


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
        Folder of the report; made where it is missing. Only the files of a report are replaced in it, and those
        of the last one removed that are not made again. A report with missing parts goes to ``<out>.partial``
        where a complete one stands here.
    jobs : int, default 2
        Notebooks that run at the same time.
    notebooks : path, optional
        Folder with the notebooks; the one beside the package otherwise.
    progress : callable, optional
        Takes one line a notebook; the default writes it on stderr.

    Returns
    -------
    Published
        Folder, files, time, and what is missing.

    Raises
    ------
    RecordError
        If the bench folder is refused.
    MethodError
        If the protocol revision is not stated, or another run is writing to `out`.
    ValueError
        If `out` is the bench folder or the notebooks' folder.
    """
    start = time.perf_counter()
    bench_path, target = Path(folder).resolve(), Path(out)
    sources_folder = runner.notebooks_folder(notebooks)
    taken = {target.resolve(), partial_folder(target).resolve()} & {bench_path, sources_folder.resolve()}
    demand(not taken, "out must be a folder of its own", repr(target.name))
    campaign = evaluate(read_bench(bench_path))
    if not campaign.bench.settings.protocol_revision:
        write = 'write protocol_revision = "1" under [bench]'
        message = f"bench.toml: publishing needs the protocol revision; {write}"
        raise MethodError(message, code="no_revision")
    silent = held_back.left_out(campaign)
    sources = [path for path in _chosen(sources_folder) if path.stem[:2] not in silent]
    failed: Failed = []
    with held(target):
        ran = runner.run(sources, parameters={"bench": str(bench_path)}, jobs=jobs, progress=progress)
        sections = _sections(dict(zip(sources, ran, strict=True)), campaign, failed)
        contents = _contents(campaign, sections, failed)
        lost, settings = [part for part, _ in failed], {path: runner.settings_of(path) for path in sources}
        record = provenance.record(campaign.bench, settings, contents, lost)
        contents[provenance.FILE_NAME] = provenance.to_json(record).encode("utf-8")
        place = _place(target, complete=not failed)
        files = put_in_place(contents, place, instead_of=provenance.listed(place))
        if not failed:
            _remove_partial(partial_folder(target))
    missing = tuple(f"{part} {reason}" for part, reason in failed)
    return Published(place, files, time.perf_counter() - start, missing)


def _place(target: Path, *, complete: bool) -> Path:
    """Return the folder that a report may go to: one with missing parts replaces no complete one."""
    if complete or not provenance.report_state(target).complete:
        return target
    place = partial_folder(target)
    if place.is_symlink():  # nobody named it, so it is not followed
        place.unlink()
    return place


def _remove_partial(folder: Path) -> None:
    """Remove a report with missing parts that a complete one has replaced; other files stay."""
    if provenance.report_state(folder).missing and not folder.is_symlink():
        remove(folder, provenance.listed(folder))
        with contextlib.suppress(OSError):  # other files stand in it
            folder.rmdir()


def _attempt(part: MissingPart, make: Callable[[], Any], failed: Failed) -> Any:
    """Return what is made; where that fails, keep what is missing and why."""
    try:
        return make()
    except MethodError as error:
        failed.append((part, str(error)))
    except Exception as error:  # noqa: BLE001 - not even a defect in one part may cost the others
        failed.append((part, f"{type(error).__name__}: {error}"))
    return None


def _chosen(folder: Path) -> tuple[Path, ...]:
    """Return the notebooks that have something to publish, in the order of their names."""
    import nbformat

    read = ((path, nbformat.read(path, as_version=4)) for path in sorted(folder.glob("*.ipynb")))
    return tuple(path for path, notebook in read if runner.tagged(notebook, PUBLISHED))


def _sections(ran: Mapping[Path, Any], campaign: Campaign, failed: Failed) -> list[Section]:
    """Return the chosen cells of the notebooks, one section a notebook that ran."""
    import nbformat

    sections = []
    for path, notebook in ran.items():
        if isinstance(notebook, NotInFolder):  # listed with what would bring it, in the last notebook
            continue
        stopped = isinstance(notebook, MethodError)
        question = _take_question(nbformat.read(path, as_version=4) if stopped else notebook)
        part = MissingPart(question, path.name, notebook.known["cell"] if stopped else 0)
        if stopped:
            failed.append((part, notebook.known["reason"]))
            continue
        made = partial(notebook_blocks, notebook, folded=held_back.folded(campaign))
        blocks = _attempt(part, made, failed)
        if blocks:  # none where nothing in the folder fed a part of it
            sections.append(Section(question, blocks, f"Working: notebook {path.stem}."))
    return sections


def _take_question(notebook: Any) -> str:
    """Take the question a notebook begins with out of its text and return it."""
    for cell in notebook.cells:
        if cell.cell_type == "markdown" and (found := re.search("^# (.*)\n?", cell.source, re.MULTILINE)):
            cell.source = cell.source[: found.start()] + cell.source[found.end() :]
            return found[1].strip()
    return "Working"


def _contents(campaign: Campaign, sections: Sequence[Section], failed: Failed) -> dict[str, bytes]:
    """Return the files of a report, as far as they can be made."""
    last_day = max(campaign.bench.tables["days"]["date"], default="")
    left_out, fingerprint = campaign.selection.left_out, tables.data_hash(campaign.bench.hashes)
    results = cache(partial(tables.results, campaign))
    found = cache(lambda: PageOne(campaign, results()))
    makers: dict[str, Callable[[], Any]] = {
        "What was found": lambda: front_page(campaign, results(), fingerprint=fingerprint),
        "results.csv": lambda: tables.as_csv(results()).encode("utf-8"),
        "results.xlsx": lambda: as_workbook(results(), left_out, last_day=last_day),
        "in-words.md": lambda: as_markdown(campaign, in_words(found())).encode("utf-8"),
        "figures": lambda: figure_files(found()),
        "What can be said of each lamp?": lambda: lamp_parts(found()),
        "recompute.xlsx": lambda: as_recomputation(campaign, results(), last_day=last_day),
        "appendix.pdf": lambda: paper(whole(), last_day=last_day),
    }
    made: dict[str, Any] = {}

    def whole() -> str:
        title = f"{_TITLE}: {campaign.bench.settings.name}"
        mark = incomplete_mark([str(part) for part, _ in failed])
        lamps = filter(None, [made["What can be said of each lamp?"]])
        return page(title, [*mark, *(made["What was found"] or ())], [*lamps, *sections])

    for part, make in makers.items():
        made[part] = _attempt(MissingPart(part), make, failed)
    names = ("appendix.pdf", "in-words.md", "results.csv", "results.xlsx", "recompute.xlsx")
    files = {"appendix.html": whole().encode("utf-8")} | {name: made[name] for name in names}
    return {name: content for name, content in files.items() if content is not None} | (made["figures"] or {})
