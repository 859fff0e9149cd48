"""Benches read, evaluated and tabled once for a whole run of the tests; nobody changes what is handed out."""

import math
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import photolab
from photolab.bench.drawn.truth import Truth
from photolab.bench.folder import records
from photolab.bench.results import evaluation
from photolab.bench.results.campaign import Campaign
from photolab.bench.terms.model import Bench
from photolab.publication.report import tables

DEMO = Path(__file__).parents[1] / "data" / "demo"
BENCHES = Path(__file__).parent / "benches"
_read, _evaluate, _results = records.read_bench, evaluation.evaluate, tables.results
_AS_READ: set[Bench] = set()


def bench_of(folder: Path | str) -> Bench:
    """Return a bench as its files are now, read once."""
    files = (path for path in Path(folder).rglob("*") if path.is_file())
    state = tuple(sorted((str(path), path.stat().st_mtime_ns, path.stat().st_size) for path in files))
    return _bench(Path(folder), state)


@cache
def _bench(folder: Path, _: tuple[tuple[str, int, int], ...]) -> Bench:
    bench = _read(folder)
    _AS_READ.add(bench)
    return bench


def campaign_of(bench: Bench, **options: Any) -> Campaign:
    """Return the evaluation of a bench, made once if it is as it was read."""
    return _evaluate(bench, **options) if options or bench not in _AS_READ else _campaign(bench)


@cache
def _campaign(bench: Bench) -> Campaign:
    return _evaluate(bench)


def rows_of(campaign: Campaign) -> pd.DataFrame:
    """Return the rows of results.csv of a campaign, made once if its bench is as it was read."""
    bench = campaign.bench
    shared = bench in _AS_READ and _campaign(bench) is campaign
    return _rows(bench).copy() if shared else _results(campaign)


@cache
def _rows(bench: Bench) -> pd.DataFrame:
    return _results(_campaign(bench))


def share(patch: pytest.MonkeyPatch) -> None:
    """Let a notebook read, evaluate and table a bench as it is in its folder no more than once a run."""
    for module, name, once in (  # the names at the top first: they are loaded, and kept, as what they are
        (photolab, "read_bench", bench_of),
        (photolab, "evaluate", campaign_of),
        (records, "read_bench", bench_of),
        (evaluation, "evaluate", campaign_of),
        (tables, "results", rows_of),
    ):
        patch.setattr(module, name, once)


def demo_bench() -> Bench:
    """Return the demo bench as it is read."""
    return bench_of(DEMO)


def demo_campaign() -> Campaign:
    """Return the demo bench evaluated."""
    return campaign_of(demo_bench())


def demo_rows() -> pd.DataFrame:
    """Return the rows of results.csv of the demo bench."""
    return rows_of(demo_campaign())


def kept(name: str) -> Campaign:
    """Return a bench of `tests/benches` evaluated."""
    return campaign_of(bench_of(BENCHES / name))


def ln_ratio(
    truth: Truth, lamp: str, housing: str, *, baseline: str = "B0", scope: str = "specimens"
) -> float:
    """Return the generating ln of a ratio, for the models or for the specimens on the bench."""
    value = math.log(truth.lamps[lamp].ratio[housing] / truth.lamps[baseline].ratio[housing])
    if scope == "specimens":
        own, below = (list(truth.lamps[name].specimens.values()) for name in (lamp, baseline))
        value += sum(own) / len(own) - sum(below) / len(below)
    return value
