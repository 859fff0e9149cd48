"""The demo bench on other paths through the processor: the same numbers to 1e-9, the same sentences, the same report.

On each path results.csv and every sentence must be the committed ones; on all of them together the whole report, byte
for byte.

Every path only switches something off, because code that a processor lacks dies with an illegal instruction: the
kernels of OpenBLAS, the loops that numpy chooses at run time, and the exp, log, sin and pow of the C library.
"""

import os
import pickle
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from filecmp import cmpfiles
from pathlib import Path

import numpy as np
from numpy._core import _multiarray_umath as core

NUMBERS = ("value", "low", "high", "ln_expanded_uncertainty", "coverage_factor", "dof")
MOST_APART = 1e-9
TOGETHER = "all of these"
COMMITTED = Path("reports/demo")
NATIVE: dict[str, np.ndarray] = {}
UNROUNDED = """
import pickle, sys
from photolab.bench.results.evaluation import evaluate
from photolab.bench.folder.records import read_bench
from photolab.publication.report import tables
tables._rounded = lambda table: table
found = tables.results(evaluate(read_bench("data/demo")))
pickle.dump({name: found[name].to_numpy(float) for name in %r}, open(sys.argv[1], "wb"))
"""


def paths() -> dict[str, dict[str, str]]:
    """Return the environment of each path by its name."""
    on = [name for name in core.__cpu_dispatch__ if core.__cpu_features__[name]]
    single = {
        "OpenBLAS for Nehalem": {"OPENBLAS_CORETYPE": "Nehalem"},
        "numpy without " + ", ".join(on): {"NPY_DISABLE_CPU_FEATURES": " ".join(on)},
        "glibc without FMA, AVX2": {"GLIBC_TUNABLES": "glibc.cpu.hwcaps=-FMA,-AVX2"},
    }
    if not on:
        del single["numpy without "]
    together = {key: value for one in single.values() for key, value in one.items()}
    return single | {TOGETHER: together}


def unrounded(environment: dict[str, str], place: Path) -> dict[str, np.ndarray]:
    """Return every number of the demo's results before it is rounded."""
    code = UNROUNDED % (NUMBERS,)
    subprocess.run([sys.executable, "-c", code, str(place)], env=os.environ | environment, check=True)
    return pickle.loads(place.read_bytes())


def apart(one: np.ndarray, other: np.ndarray) -> float:
    """Return the largest relative difference."""
    same = (one == other) | (np.isnan(one) & np.isnan(other))
    with np.errstate(invalid="ignore"):
        return float(np.max(np.where(same, 0.0, np.abs(one - other) / np.abs(one)), initial=0.0))


def tried(name: str, environment: dict[str, str], whole: bool, scratch: Path) -> tuple[float, str, bool]:
    """Return how far one path's numbers lie away, what is to be said of it, and whether its words are the same."""
    place = scratch / name.replace(" ", "_")
    place.mkdir()
    found = unrounded(environment, place / "numbers")
    difference = max(apart(NATIVE[column], found[column]) for column in NUMBERS)
    if whole:
        command = ["-m", "photolab", "appendix", "data/demo", "--out", str(place / "report")]
    else:
        command = [".ci/sentences.py"]
    made = subprocess.run(
        [sys.executable, *command], env=os.environ | environment, capture_output=True, text=True, check=False
    )
    said, same = made.stdout.strip()[-2000:], made.returncode == 0
    if whole and same:
        names = sorted(p.relative_to(COMMITTED).as_posix() for p in COMMITTED.rglob("*") if p.is_file())
        alike = cmpfiles(COMMITTED, place / "report", names, shallow=False)[0]
        said, same = (
            f"{len(alike)} of {len(names)} files of the report are the committed ones",
            alike == names,
        )
    elif not same:
        said += made.stderr[-2000:]
    return difference, f"{name}: numbers to {difference:.0e}; {said}", same


def main() -> int:
    """Compare every path with what is committed and with this processor's own numbers."""
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(2) as workers:
        scratch = Path(folder)
        NATIVE.update(unrounded({}, scratch / "native"))
        answers = [
            workers.submit(tried, name, environment, name == TOGETHER, scratch)
            for name, environment in paths().items()
        ]
        found = [answer.result() for answer in answers]
    for _, said, _ in found:
        print(said)
    if not any(difference > 0.0 for difference, _, _ in found):
        print("every path gave the same bits: none of them can have been taken")
        return 1
    return int(not all(same and difference <= MOST_APART for difference, _, same in found))


if __name__ == "__main__":
    sys.exit(main())
