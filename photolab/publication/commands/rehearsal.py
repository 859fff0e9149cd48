"""`photolab rehearse`: benches of a protocol drawn, evaluated and counted, in blocks that a stopped run keeps."""

import io
import json
import math
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import joblib
import numpy as np
import pandas as pd

import photolab
from photolab.bench.drawn.redraw import Name, Protocol
from photolab.bench.drawn.redraw_tables import AS_DECLARED, World
from photolab.bench.drawn.rehearse import FOUND, LINE, RATIO, Plan, lines_of, rehearse_block, table_of
from photolab.bench.folder.records import read_bench
from photolab.bench.terms.columns import Array
from photolab.errors import MethodError, demand
from photolab.metrology.arguments import must_hold
from photolab.metrology.reporting import decimal
from photolab.publication.report.notebooks import studies_folder
from photolab.publication.report.report_folder import held, put_in_place
from photolab.publication.report.tables import as_csv, data_hash
from photolab.publication.sentences.statements import SCOPE_WORDS, capital

WHOM = SCOPE_WORDS | {"models": "for the models as sold"}
_MANY = 10_000  # draws from which on a second decimal of a percentage means something
_ROUGH = 0.05  # standard error, in the unit of the figure, from which on one decimal is enough
_AS_DONE = "generator_unordered"
_Tell = Callable[[str], object]
_Work = Callable[[range], tuple[range, Array, float]]
BLOCK = 50
"""Benches that are stored together as soon as they are counted. [1]"""


@dataclass(frozen=True, eq=False)
class Rehearsal:
    """What a rehearsal found.

    Attributes
    ----------
    table : DataFrame
        A figure a row, with the standard error that the drawing leaves; see `rehearse.table_of`.
    out : Path
        The CSV file.
    benches, seed : int
        How many were drawn, and from what.
    coverage : float
        Declared coverage probability. [1]
    seconds : float
        What one bench took one process, of those counted in this run; NaN where all were there. [s]
    not_drawn : tuple of str
        Tables of the folder that were not drawn.
    """

    table: pd.DataFrame
    out: Path
    benches: int
    seed: int
    coverage: float
    seconds: float
    not_drawn: tuple[str, ...]


def rehearse(
    folder: Path,
    *,
    benches: int = 1000,
    jobs: int | None = None,
    plan: Plan | None = None,
    world: World = AS_DECLARED,
    whole: bool = False,
    out: Path | None = None,
    tell: _Tell = lambda _: None,
) -> Rehearsal:
    """Rehearse the protocol of a bench folder.

    Parameters
    ----------
    folder : Path
        A bench folder; it is read, not changed.
    benches : int, default 1000
        How many are drawn.
    jobs : int, optional
        Processes; where none is given as `joblib.parallel_config` says, one otherwise. The result hangs on neither.
    plan, world
        What is asked, and what is true; see `rehearse.Plan`, `redraw_tables.World`.
    whole : bool, default False
        Watts, temperatures, light per watt, candela, warm-up records and beams too; slower.
    out : Path, optional
        The CSV file; ``<folder>-rehearsal.csv`` where none is given. Finished blocks stand beside it until all are
        there: the same call goes on where a stopped one ended.
    tell : callable, optional
        Takes a line of progress.

    Returns
    -------
    Rehearsal
        The figures.

    Raises
    ------
    RecordError
        If the folder has faults.
    MethodError
        If nothing can be compared, or `out` holds something else.
    """
    demand(benches >= 2, "benches must be 2 or more", benches)
    plan, out = plan or Plan(), out or Path(f"{folder.resolve().name}-rehearsal.csv")
    free = not out.exists() or out.read_bytes().startswith(",".join((*LINE, *FOUND)).encode())
    must_hold(free, f"{out.name}: it is there and is no rehearsal; name another file with --out", code="out")
    bench = read_bench(folder)
    protocol = Protocol(bench, world, whole)
    lines = lines_of(protocol, plan)
    asked = {"benches": benches, **asdict(plan), **asdict(world), "whole": whole}
    asked |= {"data": data_hash(bench.hashes), "photolab": photolab.__version__}
    asked |= {library: version(library) for library in ("numpy", "scipy")}
    store = out.with_name(f"{out.name}.blocks")
    with held(store):
        _same_as_before(store, asked)
        work, parallel = partial(_block, protocol, plan, lines), joblib.Parallel(jobs, return_as=_AS_DONE)
        total, seconds = _counted(store, benches, work, parallel, tell)
    table = table_of(total, plan, lines, bench.settings.coverage)
    said = {"seed": plan.seed, "coverage": bench.settings.coverage}
    said |= {key: asked[key] for key in ("data", "photolab", "numpy", "scipy", *asdict(world))}
    put_in_place({out.name: as_csv(table.assign(**said)).encode()}, out.parent)
    shutil.rmtree(store)
    return Rehearsal(table, out, benches, plan.seed, bench.settings.coverage, seconds, protocol.not_drawn)


def _same_as_before(store: Path, asked: dict[str, object]) -> None:
    """Refuse blocks of another rehearsal; note what this one asks."""
    note = json.dumps(asked, indent=1).encode()
    file = store / "asked.json"
    if not file.exists():
        put_in_place({file.name: note}, store)
    elif file.read_bytes() != note:
        before = json.loads(file.read_bytes())
        other = ", ".join(k for k in asked if json.dumps(before.get(k)) != json.dumps(asked[k]))
        words = f"{store.name}: holds blocks of a rehearsal with another {other}"
        message = f"{words}; remove that folder, or name another file with --out"
        raise MethodError(message, code="out")


def _counted(store: Path, benches: int, work: _Work, parallel: Any, tell: _Tell) -> tuple[Array, float]:
    """Return the sum of all blocks in their order, and what a bench took; each block is stored when it is there."""
    blocks = [range(start, min(start + BLOCK, benches)) for start in range(0, benches, BLOCK)]
    files = {block: store / f"{block.start:08d}.npy" for block in blocks}
    missing = [block for block, file in files.items() if not file.exists()]
    begun, seconds, done = time.monotonic(), 0.0, benches - sum(map(len, missing))
    kept = done
    for block, sums, took in parallel(joblib.delayed(work)(block) for block in missing):
        content = io.BytesIO()
        np.save(content, sums)
        put_in_place({files[block].name: content.getvalue()}, store)
        seconds, done = seconds + took, done + len(block)
        left = (time.monotonic() - begun) / (done - kept) * (benches - done)
        tell(f"{done} of {benches} benches, {left / 60.0:.0f} min {left % 60.0:.0f} s left")
    total = np.sum([np.load(file) for file in files.values()], axis=0)
    return total, seconds / (done - kept) if done > kept else math.nan


def _block(protocol: Protocol, plan: Plan, lines: Sequence[Name], block: range) -> tuple[range, Array, float]:
    """Count one block; runs in any process."""
    begun = time.process_time()
    return block, rehearse_block(protocol, plan, lines, block), time.process_time() - begun


def words(found: Rehearsal) -> list[str]:
    """Return what a rehearsal found in words.

    Parameters
    ----------
    found : Rehearsal
        The figures.

    Returns
    -------
    list of str
        Lines to print: means over all lamps; the file has each.
    """
    table = found.table[found.table["lamp"] == "all"]
    said = {
        "coverage": f"intervals that hold the truth (stated {100.0 * found.coverage:g} %)",
        "bias": "mean error",
        "half-width": "mean half-width",
        "half-width in the family": "mean half-width in the family",
    }
    lines: list[str] = []
    heading = ""
    for row in table.to_dict("records"):
        when = f"at the {row['instant']} time, " if row["instant"] else ""
        what = "" if row["measurand"] == RATIO else f"{row['measurand']}, "
        head = capital(f"{what}{when}{WHOM[row['scope']]}")
        apart, figure = row["true_difference_percent"], row["figure"]
        text = said.get(figure, "")
        if figure == "shown":
            text = f"shown where truly {apart:g} % apart" if apart else "claimed where truly equal"
        elif row["baseline"] == "all":
            text = " of ".join(filter(None, (figure, str(row["housing"]))))
        elif figure == "refused" and row["value"]:
            text = "no interval"
        if text:
            lines += [head] * (head != heading)
            heading = head
            places = 1 if row["standard_error"] >= _ROUGH else 2
            value, error = (decimal(row[column], places) for column in ("value", "standard_error"))
            n = row["benches"]
            fewer = f", {n} bench{'es' * (n > 1)}" if n < found.benches else ""
            lines.append(f"  {text:44s} {value:>6} ± {error} {row['unit']}{fewer}")
    if found.not_drawn:
        lines.append(f"Not drawn: {', '.join(f'{name}.csv' for name in found.not_drawn)}.")
    took = f", {decimal(1000.0 * found.seconds, 0)} ms of processor time each"
    took = "" if math.isnan(found.seconds) else took
    return [*lines, f"{found.out.name}: lamp by lamp; {found.benches} benches, seed {found.seed}{took}."]


def show_progress(line: str) -> None:
    """Write a line over the one before, where a person sees it.

    Parameters
    ----------
    line : str
        What is done and how long the rest takes.
    """
    if sys.stderr.isatty():
        sys.stderr.write(f"{line:60s}\r")  # what comes next is written over it
        sys.stderr.flush()


def stored_study(name: str) -> pd.DataFrame:
    """Return a stored study; none of its figures is of a bench folder.

    Parameters
    ----------
    name : {"claims", "families", "coverage", "measurands", "whole", "recovery"}
        Which; `data/README.md` says what each draws.

    Returns
    -------
    DataFrame
        A figure a row: situation, rule, figure, value [unit], standard_error, draws, seed, source; of "recovery" what
        is true and what was found, its interval, how far it is off and how far it may be.
    """
    return pd.read_csv(studies_folder() / f"{name}.csv")


def study_note(study: pd.DataFrame) -> str:
    """Return what stands above a table of a stored study.

    Parameters
    ----------
    study : DataFrame
        Its rows.

    Returns
    -------
    str
        That it was simulated, with how many draws, and how sure its figures are.
    """
    least = int(study["draws"].min())
    draws = f"{least:,}".replace(",", " ") if least >= _MANY else str(least)
    error = decimal(float(study["standard_error"].max()), 1 + int(least >= _MANY))
    most = f"standard error ± {error} {study['unit'].iloc[0]} at most"
    return f"Simulated, {draws} draws or more a row; {most}."


BAND = (93.0, 97.0)
"""Coverage that is wanted of a study, two points about what its benches state; our own choice. [%]"""


def coverage_sentence(study: pd.DataFrame) -> str:
    """Return which kinds of result keep their word, and which do not.

    Parameters
    ----------
    study : DataFrame
        Rows "coverage" of a stored study, a kind of result each.

    Returns
    -------
    str
        How many lie within `BAND`, and every other one with its figure and standard error.
    """
    away = study[~study["value"].between(*BAND)]
    others = []
    for row in away.to_dict("records"):
        told = (row[c] for c in ("situation", "instant", "scope"))
        words = ", ".join(word for word in told if isinstance(word, str) and word)
        value, error = (decimal(float(row[c]), 1) for c in ("value", "standard_error"))
        others.append(f"{words}: {value} ± {error} %")
    said = f"{len(study) - len(away)} of {len(study)} kinds of interval hold the truth in {BAND[0]:g} to {BAND[1]:g} %"
    return f"{said} of the benches." + (f" Not so {'; '.join(others)}." if others else "")


def recovery_sentence(study: pd.DataFrame) -> str:
    """Return how much of the demo's truth its evaluation finds, and what it misses.

    Parameters
    ----------
    study : DataFrame
        The stored study "recovery".

    Returns
    -------
    str
        How many figures are as near as wanted, and every other one with its figures.
    """
    missed = study[study["reached"] != "yes"]
    said = f"{len(study) - len(missed)} of {len(study)} figures of the demo are found as near as wanted."
    others = []
    for row in missed.to_dict("records"):
        found, true, low, high = (decimal(float(row[c]), 2) for c in ("value", "true", "low", "high"))
        ends = "" if math.isnan(row["low"]) else f" ({low} to {high})"
        others.append(f"{row['situation']}, {found} {row['unit']}{ends} where {true} {row['unit']} is true")
    return said + (f" Missed: {'; '.join(others)}." if others else "")
