"""An invented bench with known truth, as a `Bench` and as a folder.

`simulate` draws a fresh bench, `demo` the frozen one, each with what is true on it. `write_demo` writes the frozen
demo, the same bytes each time::

    python -m photolab.bench.drawn.simulation data/demo
"""

import sys
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from photolab.bench.drawn import demo as invented
from photolab.bench.drawn import simulation_tables as others
from photolab.bench.drawn.demo import GROUP_MEANS, PINNED, Seat, demo_truth
from photolab.bench.drawn.truth import Declared, LampTruth, MeterTruth, Truth, truth_document
from photolab.bench.folder.declared import declare
from photolab.bench.folder.tables import empty_table
from photolab.bench.folder.write import files_of, write_files
from photolab.bench.terms.faults import Faults
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import TABLES

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


def simulate(truth: Truth, *, seed: int, fresh: bool = True, only_readings: bool = False) -> Simulation:
    """Return an invented bench drawn from a truth, together with what was drawn.

    Parameters
    ----------
    truth : Truth
        Design, generating values, declared distributions.
    seed : int
        Seed of every draw; the same seed gives the same bench.
    fresh : bool, default True
        Draw every declared Type B input afresh; otherwise keep the truth's own values and draw only mountings
        and readings.
    only_readings : bool, default False
        Leave out warm-up, beam and distance tables, for studies of ratios.

    Returns
    -------
    Simulation
        Bench, drawn truth, mountings.
    """
    rng = np.random.default_rng(seed)
    drawn = draw_truth(truth, rng=rng) if fresh else truth
    return _simulation(drawn, rng, fresh=fresh, whole=not only_readings)


def demo(seed: int = invented.DEMO_SEED) -> Simulation:
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


def draw_truth(truth: Truth, *, rng: np.random.Generator) -> Truth:
    """Return a bench of the same design whose every declared input is drawn afresh.

    Parameters
    ----------
    truth : Truth
        Design and declared distributions; the lamps' ratios are kept.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    Truth
        The drawn truth.
    """
    told = truth.declared
    days = {
        name: replace(day, effect={key: float(rng.normal(0, truth.day_sd)) for key in truth.housings})
        for name, day in truth.days.items()
    }
    return replace(
        truth,
        lamps={name: _draw_lamp(lamp, told, rng) for name, lamp in truth.lamps.items()},
        days=days,
        meters={name: _draw_meter(meter, truth, rng) for name, meter in truth.meters.items()},
        voltage_exponent=float(rng.normal(told.exponent, told.exponent_u)),
        voltmeter_scale=float(rng.uniform(-1, 1) * told.voltmeter_scale),
        ageing_per_h=0.0,
        aims={},
    )


def _draw_lamp(lamp: LampTruth, told: Declared, rng: np.random.Generator) -> LampTruth:
    """Draw specimens and ambient coefficient; a lamp that is modulated or flat stays as it is."""
    coefficient = told.ambient_per_K + float(rng.uniform(-1, 1)) * told.ambient_half_width
    coefficient = 0.0 if lamp.technology == "filament" else coefficient
    specimens = {key: float(rng.normal(0, told.specimen)) for key in lamp.specimens}
    return replace(lamp, specimens=specimens, ambient_per_K=coefficient)


def _draw_meter(meter: MeterTruth, truth: Truth, rng: np.random.Generator) -> MeterTruth:
    told = truth.declared
    tops = meter.ranges_lx
    keys = [f"{top:g}/{lamp}/{housing}" for top in tops for lamp in truth.lamps for housing in truth.housings]
    return replace(
        meter,
        scale=float(rng.uniform(-told.scale, told.scale)),
        gain=tuple(rng.uniform(-told.gain, told.gain, len(tops)).tolist()),
        offset_lx=tuple(float(rng.uniform(-1, 1) * told.range_term * top) for top in tops),
        colour={
            key: value if key == "filament" else float(value * (1 + rng.normal(0, told.colour)))
            for key, value in meter.colour.items()
        },
        linearity={key: float(rng.uniform(-told.linearity, told.linearity)) for key in keys},
        temperature_per_K={day: float(rng.uniform(-1, 1) * told.meter_per_K) for day in truth.days},
    )


def mounting_effects(
    truth: Truth, plan: list[Seat], *, rng: np.random.Generator, arranged: bool
) -> dict[str, float]:
    """Return how each mounting deviates from its lamp's light.

    Parameters
    ----------
    truth : Truth
        Mounting SD of every housing.
    plan : list of Seat
        The mountings.
    rng : numpy.random.Generator
        Source of randomness.
    arranged : bool
        Pin and centre the mountings that tell a story, as in the frozen demo.

    Returns
    -------
    dict
        Key of the seat to deviation. [ln]
    """
    sds = [truth.housings[seat.housing].mounting_sd for seat in plan]
    draws = rng.normal(0, 1, len(plan))
    draws = np.clip(draws, -2, 2) if arranged else draws
    effects = dict(zip([seat.key for seat in plan], (draws * sds).tolist(), strict=True))
    if not arranged:
        return effects
    effects.update(PINNED)
    for (lamp, housing), mean in GROUP_MEANS.items():
        together = defaultdict(list)
        for seat in plan:
            if (seat.lamp, seat.housing) == (lamp, housing):
                # the baseline's seatings before and after the new lead are centred apart
                together[seat.specimen, lamp == "B0" and seat.day >= "D06"].append(seat.key)
        for keys in together.values():  # those that are not pinned give all of them the wanted mean
            free = [key for key in keys if key not in PINNED]
            shift = (mean * len(keys) - sum(effects[key] for key in keys)) / max(len(free), 1)
            effects |= {key: effects[key] + shift for key in free if len(free) > 1}
    return effects


def day_effects(truth: Truth, *, rng: np.random.Generator) -> Truth:
    """Return the truth with its days' common deviations drawn, the mean of each period kept at 0.

    Parameters
    ----------
    truth : Truth
        Day SD, days and housings.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    Truth
        With day effects; the days before and after the new lead average to 0 each.
    """
    names = list(truth.days)
    drawn = {housing: rng.normal(0, truth.day_sd, len(names)) for housing in truth.housings}
    late = np.array([truth.days[name].measured_at == "socket" for name in names])
    for values in drawn.values():
        for period in (late, ~late):
            values[period] -= values[period].mean()
    effects = [{key: round(float(v[n]), 5) for key, v in drawn.items()} for n in range(len(names))]
    days = {name: replace(truth.days[name], effect=one) for name, one in zip(names, effects, strict=True)}
    return replace(truth, days=days)


def _simulation(
    truth: Truth, rng: np.random.Generator, *, fresh: bool = False, arranged: bool = False, whole: bool = True
) -> Simulation:
    told, plan = truth.declared, invented.seats()
    voltage_sd, late_sd = (told.voltage_V, told.elapsed_s) if fresh else (FROZEN_VOLTAGE_SD, 0.0)
    effects = mounting_effects(truth, plan, rng=rng, arranged=arranged)
    states = others.seat_states(truth, plan, effects, rng=rng, voltage_sd=voltage_sd, late_sd=late_sd)
    tables = {
        "readings": others.readings_table(truth, states, rng=rng).assign(point="hot_spot"),
        "lamps": invented.lamps_table(truth),
        "days": invented.days_table(truth),
        "electrical": others.electrical_table(truth),
        "spectra": others.spectra_table(truth),
    }
    if whole:
        tables |= {
            "warm_up": others.warm_up_table(truth, states, rng=rng),
            "thermal": others.thermal_table(truth, rng=rng),
            "distance": others.distance_table(truth, states, rng=rng),
            "beam": others.beam_table(truth, rng=rng),
            "links": others.links_table(truth, states, rng=rng),
        }
    return Simulation(_bench(truth, tables), truth, effects)


def _bench(truth: Truth, tables: dict[str, pd.DataFrame]) -> Bench:
    declared = declare(invented.bench_document(truth), {}, Faults())
    given = {name: tables.get(name, pd.DataFrame()) for name in TABLES}
    rows = {name: table.assign(line=np.arange(2, len(table) + 2)) for name, table in given.items()}
    whole = {name: empty_table(TABLES[name], len(table), table) for name, table in rows.items()}
    return Bench(
        "simulated", declared.settings, declared.meters, declared.housings, whole,
        files=(), excluded=whole["readings"].iloc[:0], warnings=(), hashes={},
        spectra=others.spectra_of(whole["spectra"]),
        questions=tuple(question for question, _ in declared.questions),
    )  # fmt: skip


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
    return write_files(_files(simulation), Path(folder))


def _files(simulation: Simulation) -> dict[str, str]:
    """Return the files of a simulated bench, its truth among them."""
    tables = dict(simulation.bench.tables)
    tables["readings"] = tables["readings"].assign(point="")  # the default point needs no column
    files = files_of(replace(simulation.bench, tables=tables))
    return files | {
        "bench.toml": HEADING + files["bench.toml"],
        "truth.toml": truth_document(simulation.truth),
    }


def write_demo(folder: Path | str) -> None:
    """Write the frozen demo bench and its truth.toml, the same bytes each time.

    Parameters
    ----------
    folder : path
        Where to; made if it is not there, files of the same name are replaced.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    for name, text in _files(demo()).items():
        (target / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_demo(sys.argv[1])
