"""Evaluate 300 lamps x 2 housings x 3 mountings x 3 readings jointly: seconds and memory.

    python tests/benchmarks/campaign_speed.py

Target: under 10 s and 1 GB. Measured: median 2.5 s, peak 284 MiB, on a machine at load 10 of 2 cores.
"""

import resource
import statistics
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from photolab.bench.evaluation import evaluate
from photolab.bench.model import Bench
from photolab.bench.records import read_bench

DEMO = Path(__file__).parent.parent.parent / "data" / "demo"
LAMPS = 300


def campaign(seed: int = 1) -> Bench:
    """Return an invented campaign in the settings of the demo bench."""
    rng = np.random.default_rng(seed)
    bench = read_bench(DEMO)
    index = pd.MultiIndex.from_product(
        [range(LAMPS), ["HP", "HR"], range(1, 4), range(1, 4)],
        names=["lamp", "housing", "mounting", "repeat"],
    )
    table = index.to_frame(index=False)
    n = len(table)
    mean = rng.normal(0, 0.1, LAMPS)[table["lamp"]] + np.repeat(rng.normal(0, 0.025, n // 3), 3)
    table["illuminance_lx"] = np.round(400 * np.exp(mean + rng.normal(0, 0.004, n)))
    table["day"] = [f"D{lamp // 10:02d}" for lamp in table["lamp"]]
    table["lamp"] = [f"L{lamp}" for lamp in table["lamp"]]
    constant = {"specimen": "1", "dark_lx": 3.0, "range_lx": 4000.0, "point": "hot_spot", "meter": "M1"}
    table = table.assign(line=np.arange(n) + 2, **constant).astype({"mounting": str, "repeat": str})
    template = bench.tables["readings"]
    blank = {
        c: "" if template[c].dtype.kind not in "fi" else np.nan for c in template.columns if c not in table
    }
    readings = table.assign(**blank)[list(template.columns)]
    lamps = pd.concat([bench.tables["lamps"].iloc[[0]]] * LAMPS, ignore_index=True)
    lamps = lamps.assign(
        lamp=[f"L{i}" for i in range(LAMPS)],
        technology=["filament", *["led"] * (LAMPS - 1)],
        role=["baseline", *["candidate"] * (LAMPS - 1)],
    )
    return replace(bench, tables={**bench.tables, "readings": readings, "lamps": lamps}, spectra={})


if __name__ == "__main__":
    bench = campaign()
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        result = evaluate(bench)
        seconds.append(time.perf_counter() - start)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{len(bench.tables['readings'])} readings, {len(result.joint.inputs)} inputs, "
        f"{len(result.joint.names)} results"
    )
    print(f"median {statistics.median(seconds):.2f} s, peak {memory:.0f} MiB for the whole process")
