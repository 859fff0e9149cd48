"""Evaluate campaigns: processor time and memory, beside another checkout, and at three sizes each.

    python tests/benchmarks/campaign_speed.py [ROOT_OF_ANOTHER_CHECKOUT]

Every figure is taken in an interpreter of its own on one thread; medians of processor time. The demo is read anew for
each evaluation, so that only what is kept by its content (fits of records, factors of spectra) is kept. A million
readings are 50 lamps x 2 housings x 10 seatings x 1000 repeats; the campaigns of many lamps 2 housings x 3 seatings x
3 repeats: on days of 10 lamps each, with the baseline on every day (and a clock beside each seating), each
lamp on the same three days, and so with every seventh reading missing. The demo is the other checkout's own, where one
is given.

Measured on 30 November 2026 beside the first build as the present design was begun from it (23 479 code lines,
commit 26e602e), on a slow machine, three processes of each in turn. From the second
reading of a folder on: evaluate 34 to 36 ms and 369 to 388 ms (10.6 to 11.0 times), results 467 to 486 ms and 4830 to
4999 ms (9.95, 10.6 and 10.5 times). The first reading of a process: evaluate 45 to 48 and 387 to 438 ms (8 to 9 times),
results 1.3 to 1.5 s and 5.6 to 5.8 s (3.9 to 4.2 times). What is kept by its content: fits of records, factors of
spectra, surface temperatures, draws of beams, directions of families. More in DEVELOPERS.md, "Speed and memory,
measured".
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
TOML = """schema = 1
[bench]
name = "many readings (invented)"
protocol_revision = "1"
[[meter]]
id = "M1"
reading_percent = 4
ranges_lx = [400, 4000]
resolution_lx = [0.1, 1]
digits = 5
[[housing]]
id = "HP"
[[housing]]
id = "HR"
"""
CHILD = """
import json, statistics, sys, time
from pathlib import Path
try:
    from photolab.bench.results.evaluation import evaluate
    from photolab.bench.folder.records import read_bench
    from photolab.publication.report.tables import results
except ModuleNotFoundError:  # before modules stood in rooms
    from photolab.bench.evaluation import evaluate
    from photolab.bench.records import read_bench
    from photolab.publication.tables import results
folder, times, rows = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "results"
found = {"read": [], "evaluate": [], "results": []}
for _ in range(times):
    marks = [time.process_time()]
    bench = read_bench(folder)
    marks.append(time.process_time())
    campaign = evaluate(bench)
    marks.append(time.process_time())
    results(campaign) if rows else campaign.table
    marks.append(time.process_time())
    for name, start, end in zip(found, marks, marks[1:]):
        found[name].append(end - start)
found = {name: statistics.median(spent) for name, spent in found.items()}
peak = Path("/proc/self/status").read_text().partition("VmHWM:")[2]
found["MiB"] = int(peak.split()[0]) / 1024
print(json.dumps(found))
"""


def measured(root: Path, folder: Path, *, times: int, rows: bool = False) -> dict[str, float]:
    """Return seconds of reading, evaluation and result rows (else ratios alone), and the peak of the process [MiB]."""
    environment = os.environ | {"PYTHONPATH": str(root), "OMP_NUM_THREADS": "1"}
    command = [
        sys.executable,
        "-W",
        "ignore",
        "-c",
        CHILD,
        str(folder),
        str(times),
        "results" if rows else "",
    ]
    done = subprocess.run(command, cwd=root, env=environment, capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def campaign(
    folder: Path, lamps: int, *, seatings: int = 3, repeats: int = 3, shape: str = "days of ten"
) -> Path:
    """Write an invented campaign of one meter and two housings."""
    rng = np.random.default_rng(1)
    sides, names = ["HP", "HR"], ["lamp", "housing", "mounting", "repeat"]
    index = pd.MultiIndex.from_product(
        [range(lamps), sides, range(seatings), range(1, repeats + 1)], names=names
    )
    table = index.to_frame(index=False)
    seated = rng.normal(0.0, 0.025, len(table) // repeats)
    table["day"] = table["mounting"] if shape.startswith("same days") else table["lamp"] // 10
    if shape.startswith("baseline daily"):
        days = table.loc[table["lamp"] == 0].assign(lamp=0)
        table = pd.concat([table, *(days.assign(day=day) for day in range(1, (lamps - 1) // 10 + 1))])
        seated = rng.normal(0.0, 0.025, len(table) // repeats)
    ln = rng.normal(0.0, 0.1, lamps)[table["lamp"]] + np.repeat(seated, repeats)
    ln += rng.normal(0.0, 0.03, table["day"].max() + 1)[table["day"]]
    table["illuminance_lx"] = np.round(400.0 * np.exp(ln + rng.normal(0.0, 0.004, len(table))), 1)
    if shape == "same days, some missing":
        table = table[rng.random(len(table)) > 1 / 7]
    if shape.endswith("clocks"):
        minutes = 480 + 4 * (table.groupby(["day", "housing"], sort=False).cumcount() // repeats)
        table["clock"] = [f"{m // 60:02d}:{m % 60:02d}" for m in minutes]
    table["lamp"], table["day"] = "L" + table["lamp"].astype(str), "D" + table["day"].astype(str)
    folder.mkdir()
    table.assign(elapsed_s=60, meter="M1", range_lx=4000, dark_lx=3).to_csv(
        folder / "readings.csv", index=False
    )
    light = ["filament", *["led"] * (lamps - 1)]
    role = ["baseline", *["candidate"] * (lamps - 1)]
    listed = pd.DataFrame({"lamp": [f"L{k}" for k in range(lamps)], "technology": light, "role": role})
    listed.to_csv(folder / "lamps.csv", index=False)
    (folder / "bench.toml").write_text(TOML, encoding="utf-8")
    return folder


def records(folder: Path, times: int) -> Path:
    """Write the demo with its warm-up records several times over."""
    folder.mkdir()
    for file in (ROOT / "data" / "demo").glob("*.*"):
        (folder / file.name).write_bytes(file.read_bytes())
    table = pd.read_csv(folder / "warm_up.csv", dtype=str, keep_default_na=False)
    copies = [table.assign(run=table["run"] + f" copy {k}") for k in range(times)]
    pd.concat(copies).to_csv(folder / "warm_up.csv", index=False)
    return folder


def compare_over_numpy(root: Path) -> float:
    """Return the processor time of `photolab compare` over that of importing numpy."""
    code = (
        "import resource, statistics, subprocess, sys\n"
        "def spent(*words):\n"
        "    taken = []\n"
        "    for _ in range(9):\n"
        "        start = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "        subprocess.run([sys.executable, *words], capture_output=True, check=True)\n"
        "        end = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "        taken.append(end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime)\n"
        "    return statistics.median(taken)\n"
        "pair = ('-m', 'photolab', 'compare', '318', '334', '--reading-percent', '4', '--technology', 'led')\n"
        "print(spent(*pair) / spent('-c', 'import numpy'))\n"
    )
    environment = os.environ | {"PYTHONPATH": str(root), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, env=environment, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def main() -> None:
    """Print medians, and ratios where another checkout is given."""
    out = sys.stdout.write
    roots = [ROOT, *map(Path, sys.argv[1:2])]
    with tempfile.TemporaryDirectory() as scratch:
        many = campaign(Path(scratch) / "million", 50, seatings=10, repeats=1000, shape="same days")
        for title, folder, times, rows in (
            ("demo", roots[-1] / "data" / "demo", 7, True),
            ("a million readings", many, 1, False),
        ):
            told = [measured(root, folder, times=times, rows=rows) for root in roots]
            for what in ("read", "evaluate", *(["results"] if rows else []), "MiB"):
                figures = [f"{one[what]:.4g}" for one in told]
                ratio = f", {told[-1][what] / told[0][what]:.1f} times as much there" if told[1:] else ""
                out(f"{title}: {what} {' and '.join(figures)}{'' if what == 'MiB' else ' s'}{ratio}\n")
        shapes = (
            "days of ten",
            "baseline daily",
            "baseline daily, clocks",
            "same days",
            "same days, some missing",
        )
        for shape in shapes:
            for lamps in (300, 1000, 3000):
                folder = campaign(Path(scratch) / f"{shape} {lamps}", lamps, shape=shape)
                one = measured(ROOT, folder, times=1)
                spent = f"evaluate {one['evaluate']:.2f} s, its ratios {one['results']:.2f} s"
                out(f"{lamps} lamps, {shape}: {spent}, {one['MiB']:.0f} MiB\n")
        for repeats in (100, 300, 1000):
            folder = campaign(
                Path(scratch) / f"repeats {repeats}", 50, seatings=10, repeats=repeats, shape="same days"
            )
            one = measured(ROOT, folder, times=1)
            out(f"{1000 * repeats} readings: read {one['read']:.2f} s, evaluate {one['evaluate']:.2f} s\n")
        for times in (1, 2, 4):
            one = measured(ROOT, records(Path(scratch) / f"records {times}", times), times=1, rows=True)
            out(f"{14 * times} records: results {one['results']:.2f} s\n")
    out(f"compare over importing numpy: {', '.join(f'{compare_over_numpy(root):.2f}' for root in roots)}\n")


if __name__ == "__main__":
    main()
