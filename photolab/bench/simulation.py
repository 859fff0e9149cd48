"""An invented bench with known truth, as a `Bench` and as a folder.

`simulate` draws a fresh bench, `simulate_with_truth` hands back what was drawn too. `write_demo` writes the
frozen demo, the same bytes each time::

    python -m photolab.bench.simulation data/demo
"""

import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from photolab.bench.declared import declare
from photolab.bench.demo import DEMO_SEED, bench_document, days_table, demo_truth, lamps_table
from photolab.bench.faults import Faults
from photolab.bench.model import Bench
from photolab.bench.records import write_bench
from photolab.bench.schema import TABLES
from photolab.bench.simulation_draws import day_effects, draw_truth, mounting_effects
from photolab.bench.simulation_heat import electrical_table, thermal_table, warm_up_table
from photolab.bench.simulation_light import beam_table, distance_table, links_table, spectra_of, spectra_table
from photolab.bench.simulation_plan import seats
from photolab.bench.simulation_readings import readings_table, seat_states
from photolab.bench.tables import empty_table
from photolab.bench.truth import Truth, truth_document

FROZEN_VOLTAGE_SD = 0.005
HEADING = "# INVENTED: no lamp, maker or reading in this folder is real; see data/README.md.\n"


@dataclass(frozen=True, eq=False)
class Simulation:
    """A simulated bench and what is true on it.

    Parameters
    ----------
    bench : Bench
        As the reader would return it.
    truth : Truth
        Generating values, drawn ones included.
    mountings : mapping
        Key of each mounting to its deviation. [ln]
    """

    bench: Bench
    truth: Truth
    mountings: Mapping[str, float]


def simulate(truth: Truth, *, seed: int, fresh: bool = True) -> Bench:
    """Return an invented bench drawn from a truth.

    Parameters
    ----------
    truth : Truth
        Design, generating values, declared distributions.
    seed : int
        Seed of every draw; the same seed gives the same bench.
    fresh : bool, default True
        Draw every declared Type B input afresh; otherwise keep the truth's own values and draw only mountings
        and readings.

    Returns
    -------
    Bench
        As the reader would return it.
    """
    return simulate_with_truth(truth, seed=seed, fresh=fresh).bench


def simulate_with_truth(
    truth: Truth, *, seed: int, fresh: bool = True, only_readings: bool = False
) -> Simulation:
    """Return an invented bench together with what was drawn.

    Parameters
    ----------
    truth : Truth
        Design, generating values, declared distributions.
    seed : int
        Seed of every draw.
    fresh : bool, default True
        Draw every declared Type B input afresh.
    only_readings : bool, default False
        Leave out warm-up, beam and distance tables, for studies of ratios.

    Returns
    -------
    Simulation
        Bench, drawn truth, mountings.
    """
    rng = np.random.default_rng(seed)
    drawn = draw_truth(truth, rng=rng) if fresh else truth
    return _simulation(drawn, rng, fresh=fresh, only_readings=only_readings)


def demo(seed: int = DEMO_SEED) -> Simulation:
    """Return the frozen demo bench: stated values, seeded residuals, arranged so that every story is there.

    Parameters
    ----------
    seed : int, default `DEMO_SEED`
        Of the residuals.

    Returns
    -------
    Simulation
        The same numbers each time.
    """
    rng = np.random.default_rng(seed)
    return _simulation(day_effects(demo_truth(), rng=rng), rng, arranged=True)


def _simulation(
    truth: Truth,
    rng: np.random.Generator,
    *,
    fresh: bool = False,
    arranged: bool = False,
    only_readings: bool = False,
) -> Simulation:
    told, plan = truth.declared, seats()
    voltage_sd, late_sd = (told.voltage_V, told.elapsed_s) if fresh else (FROZEN_VOLTAGE_SD, 0.0)
    effects = mounting_effects(truth, plan, rng=rng, arranged=arranged)
    states = seat_states(truth, plan, effects, rng=rng, voltage_sd=voltage_sd, late_sd=late_sd)
    tables = {
        "readings": readings_table(truth, states, rng=rng).assign(point="hot_spot"),
        "lamps": lamps_table(truth),
        "days": days_table(truth),
        "electrical": electrical_table(truth),
        "spectra": spectra_table(truth),
    }
    if not only_readings:
        tables |= {
            "warm_up": warm_up_table(truth, states, rng=rng),
            "thermal": thermal_table(truth, rng=rng),
            "distance": distance_table(truth, states, rng=rng),
            "beam": beam_table(truth, rng=rng),
            "links": links_table(truth, states, rng=rng),
        }
    return Simulation(_bench(truth, tables), truth, effects)


def _bench(truth: Truth, tables: dict[str, pd.DataFrame]) -> Bench:
    declared = declare(bench_document(truth), {}, Faults())
    whole = {name: _complete(name, tables[name]) if name in tables else _empty(name) for name in TABLES}
    return Bench(
        "simulated", declared.settings, declared.meters, declared.housings, whole, files=(),
        excluded=whole["readings"].iloc[:0], warnings=(), assumed=(), hashes={}, spectra=spectra_of(whole["spectra"]),
        questions=tuple(question for question, _ in declared.questions),
    )  # fmt: skip


@cache
def _empty(name: str) -> pd.DataFrame:
    return empty_table(TABLES[name])


def _complete(name: str, given: pd.DataFrame) -> pd.DataFrame:
    """Return a table with every column of the schema, as the reader returns it."""
    whole = empty_table(TABLES[name], len(given))
    held = {str(c): given[c].astype(whole[c].dtype) for c in whole if c in given}
    return whole.assign(line=np.arange(2, len(given) + 2), **held)


def write_simulation(simulation: Simulation, folder: Path | str) -> Path:
    """Write a simulated bench as a bench folder, with its truth.

    Parameters
    ----------
    simulation : Simulation
        Bench and truth.
    folder : path
        Where to; it must not exist, or be empty.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        If the folder holds anything, or cannot be written.
    """
    tables = dict(simulation.bench.tables)
    tables["readings"] = tables["readings"].assign(point="")  # the default point needs no column
    target = write_bench(replace(simulation.bench, tables=tables), folder)
    declared = target / "bench.toml"
    text = HEADING + declared.read_text(encoding="utf-8")
    declared.write_text(text, encoding="utf-8", newline="\n")
    truth = truth_document(simulation.truth)
    (target / "truth.toml").write_text(truth, encoding="utf-8", newline="\n")
    return target


def write_demo(folder: Path | str) -> None:
    """Write the frozen demo bench and its truth.toml, the same bytes each time.

    Parameters
    ----------
    folder : path
        Where to; made if it is not there, files of the same name are replaced.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as scratch:
        for file in sorted(write_simulation(demo(), Path(scratch) / "demo").iterdir()):
            shutil.copyfile(file, target / file.name)


if __name__ == "__main__":
    write_demo(sys.argv[1])
