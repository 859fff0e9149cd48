"""The demo bench on other paths through the processor: the same numbers to 1e-9, and a report of the same bytes.

Every path only switches something off, because code that a processor lacks dies with an illegal instruction: the
kernels of OpenBLAS, the loops that numpy chooses at run time, and the exp, log, sin and pow of the C library.
"""

import os
import pickle
import subprocess
import sys
import tempfile
from filecmp import cmpfiles
from pathlib import Path

import numpy as np
from numpy._core import _multiarray_umath as core

NUMBERS = ("value", "low", "high", "ln_expanded_uncertainty", "coverage_factor", "dof")
MOST_APART = 1e-9
UNROUNDED = """
import pickle, sys
from photolab.bench.evaluation import evaluate
from photolab.bench.records import read_bench
from photolab.publication import tables
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
    return single | {"all of these": together}


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


def main() -> int:
    """Compare every path with the committed report and with this processor's own numbers."""
    committed, failed = Path("reports/demo"), False
    names = sorted(p.name for p in committed.iterdir())
    with tempfile.TemporaryDirectory() as scratch:
        native = unrounded({}, Path(scratch) / "native")
        largest = 0.0
        for number, (name, environment) in enumerate(paths().items()):
            found = unrounded(environment, Path(scratch) / f"{number}.pickle")
            difference = max(apart(native[column], found[column]) for column in NUMBERS)
            largest = max(largest, difference)
            out = Path(scratch) / f"report{number}"
            command = [
                str(Path(sys.executable).parent / "photolab"),
                "appendix",
                "data/demo",
                "--out",
                str(out),
            ]
            made = subprocess.run(
                command, env=os.environ | environment, capture_output=True, text=True, check=False
            )
            unlike = (
                names
                if made.returncode
                else [n for n in names if n not in cmpfiles(committed, out, names, shallow=False)[0]]
            )
            print(
                f"{name}: numbers to {difference:.0e}, {', '.join(unlike) or 'no file'} unlike the committed report"
            )
            if made.returncode:
                print(made.stderr[-2000:])
            failed |= not difference <= MOST_APART or bool(unlike)
        if largest == 0.0:
            print("every path gave the same bits: none of them can have been taken")
            failed = True
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
