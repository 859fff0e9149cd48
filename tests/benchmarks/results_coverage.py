"""Coverage of the rows of results.csv, measurand by measurand, on benches drawn here and not by `simulate`.

Each world is a folder that was read once; every bench replaces its readings by ones whose truth is known. What
bench.toml or the method declares of an instrument (its law and its limits) is drawn afresh for each bench; nothing of
the package takes part in drawing. `tables.results` is the code under test: a row counts where its interval, as it is
printed, holds the truth of its key.
Run: ``python tests/benchmarks/results_coverage.py 2000`` (all worlds), or with names of worlds after the number.

Measured on 2000 benches a world (500 where marked), 95 % intervals, standard errors over benches; every interval but
0.2 % of those beyond a record was given:

==========================================  =================
row                                         coverage (%)
==========================================  =================
illuminance ratio, initial, specimens       95.5 +- 0.4
illuminance ratio, initial, models          95.5 +- 0.4
illuminance ratio, hold, specimens          95.4 +- 0.4
illuminance ratio, hold, models             95.2 +- 0.4
illuminance per watt ratio, specimens       95.3 +- 0.4
illuminance per watt ratio, models          95.5 +- 0.4
electrical power                            95.9 +- 0.3
luminous intensity, from a distance run     98.4 +- 0.2
surface temperature: bare fin; tape         95.0; 94.8 +- 0.3
temperature rise: bare fin; tape            94.7; 94.9 +- 0.4
hot-spot intensity ratio                    94.4 +- 0.5
window flux ratio                           95.7 +- 0.5
remaining light inside the record           95.6 +- 0.3
remaining light beyond the record           98.5 +- 0.2
remaining light by single readings          96.5 +- 0.2
==========================================  =================

Where what is declared is true and yet at its worst:

=================================================================  ==================
meter and voltmeter at an end of every limit, whichever (500)
illuminance ratio, initial and hold, specimens                     67.5; 67.4 +- 1.7
illuminance ratio, initial and hold, models                        83.2 +- 1.4; 85.5 +- 1.3
illuminance per watt ratio, specimens; models                      66.6 +- 1.7; 82.3 +- 1.5
electrical power                                                   0.0
remaining light, the lamp cuts 5 % after the record's end (150)    0.0
=================================================================  ==================

Any place within limits is taken as equally likely, so that an interval of 95 % leaves out their ends; no reading shows
what a lamp does later. Both are limits of the method, and said where results are published (notebook 14).

The intensity covers too much where the inverse square is exactly true: the doubt about which law bends the run stays.
Bounds beyond a record hold every sum of falling parts, and cover more than one of them needs.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import Bench
from photolab.publication.report.tables import results

Array = NDArray[np.float64]
Truth = Mapping[tuple[str, ...], float]
"""(lamp, measurand, instant, scope), each a part of a row's key or "", to what is true."""
KEY = ("lamp", "measurand", "instant", "scope")

TOML = """schema = 1
[bench]
name = "invented"
protocol_revision = "1"
hold_minutes = 40
reference_voltage_V = 13.2
reference_ambient_C = 20
day_sd_percent = 1
specimen_sd_percent = 4
remaining_sd_percent = 2
[[meter]]
id = "M1"
reading_percent = 3
range_percent = 0.5
ranges_lx = [400, 4000, 40000]
resolution_lx = [0.1, 1, 10]
mismatch_index_percent = 8
linearity_percent = 1
[[housing]]
id = "HP"
distance_m = 5
distance_uncertainty_mm = 10
offset_mm = 120
offset_uncertainty_mm = 60
tilt_uncertainty_deg = 0
"""
LAMPS = "lamp,technology,role\nB0,filament,baseline\nK1,led,candidate\nK2,led,candidate\n"
TOP, STEP = 4000.0, 1.0
SCALE, RANGE, LINEAR, F1 = 0.03, 0.005 * TOP, 0.01, 0.08
SEAT, DAY, PIECE, REMAINING, SCATTER = 0.02, 0.01, 0.04, 0.02, 0.004
VOLT, EXPONENT = 13.2, 3.42


class OnLimits(np.random.Generator):
    """A stream in which what lies within limits is always at one end of them, whichever."""

    def uniform(self, low: float, high: float, size: int | None = None) -> Array:  # type: ignore[override]
        """Return one end or the other."""
        return np.where(self.random(size) < 0.5, low, high)


def limit(rng: np.random.Generator, half: float, size: int | None = None) -> Array:
    """Return what is anywhere within limits."""
    return rng.uniform(-half, half, size)


@dataclass
class Meter:
    """A lux meter with the faults its manual allows, drawn once a bench."""

    rng: np.random.Generator
    dark: bool

    def __post_init__(self) -> None:
        rng = self.rng
        self.scale = float(limit(rng, SCALE))
        self.zero = 0.0 if self.dark else float(limit(rng, RANGE))
        self.led = float(limit(rng, F1))
        self.own = {lamp: float(limit(rng, F1 / (5.0 * math.sqrt(2.0)))) for lamp in ("K1", "K2")}
        self.linear = {lamp: float(limit(rng, LINEAR)) for lamp in ("B0", "K1", "K2")}

    def shows(self, lux: Array, lamp: str, *, by_level: bool = False, scatter: float = SCATTER) -> Array:
        """Return what it shows of true light; `by_level` where its linearity errs at each level anew."""
        colour = 0.0 if lamp == "B0" else self.led + self.own[lamp]
        linear = limit(self.rng, LINEAR, lux.size) if by_level else self.linear[lamp]
        away = (
            (1.0 + self.scale)
            * (1.0 + linear)
            * (1.0 + colour)
            * (1.0 + scatter * self.rng.standard_normal(lux.size))
        )
        return np.round((lux * away + self.zero) / STEP) * STEP


def supply(rng: np.random.Generator, n: int) -> tuple[Array, Array]:
    """Return what the voltmeter shows and how much light a filament lamp then gives, against 13.2 V."""
    volts = VOLT + 0.05 * rng.standard_normal(n)
    scale = limit(rng, 0.0025)
    shown = volts * (1.0 + scale) + 0.03 * rng.standard_normal(n)
    return shown, (volts / VOLT) ** (EXPONENT + 0.25 * rng.standard_normal())


# ---- worlds: each returns the tables of one bench and its truth


def ratios(rng: np.random.Generator, rows: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], Truth]:
    """Three lamps, three pieces each of K1 and K2, seated twice, read at the initial and at the hold time."""
    meter, day = Meter(rng, dark=False), DAY * rng.standard_normal()
    light = {"B0": 1000.0, "K1": 1150.0, "K2": 1250.0}
    left = {"B0": 0.0, "K1": math.log(0.86), "K2": math.log(0.93)}
    shown = np.empty(len(rows))
    volts = np.full(len(rows), np.nan)
    truth: dict[tuple[str, ...], float] = {}
    here: dict[tuple[str, str], list[float]] = defaultdict(list)
    for (lamp, _), block in rows.groupby(["lamp", "specimen"], sort=False):
        piece, fade = (PIECE, REMAINING) * rng.standard_normal(2)
        for _, seated in block.groupby("mounting", sort=False):
            seat = SEAT * rng.standard_normal()
            hold = (seated["elapsed_s"] > 1000.0).to_numpy()
            ln_true = math.log(light[lamp]) + piece + np.where(hold, left[lamp] + fade, 0.0)
            volts[seated.index], burnt = supply(rng, len(seated))
            lux = np.exp(ln_true + seat + day) * (burnt if lamp == "B0" else 1.0)
            shown[seated.index] = meter.shows(lux, lamp)
        for instant, gone in (("initial", 0.0), ("hold", left[lamp] + fade)):
            here[lamp, instant].append(math.log(light[lamp]) + piece + gone)
    for lamp in ("K1", "K2"):
        for instant, gone in (("initial", 0.0), ("hold", left[lamp])):
            own, base = (np.mean(here[x, instant]) for x in (lamp, "B0"))
            truth[lamp, "illuminance ratio", instant, "specimens"] = math.exp(own - base)
            truth[lamp, "illuminance ratio", instant, "models"] = light[lamp] * math.exp(gone) / light["B0"]
    for lamp in light:
        kept = np.subtract(here[lamp, "hold"], here[lamp, "initial"]).mean()
        truth[lamp, "remaining light", "hold", "specimens"] = math.exp(kept)
    watts = {"B0": 61.0, "K1": 27.0, "K2": 24.0}
    power = {lamp: w * (1.0 + float(limit(rng, 0.02))) for lamp, w in watts.items()}
    electrical = pd.DataFrame({"lamp": list(watts), "elapsed_s": 60.0, "power_W": list(power.values())})
    for lamp, true in watts.items():
        truth[lamp, "electrical power", "initial", "readings"] = true
        if lamp != "B0":
            for scope in ("specimens", "models"):
                ratio = truth[lamp, "illuminance ratio", "initial", scope]
                truth[lamp, "illuminance per watt ratio", "initial", scope] = ratio / true * watts["B0"]
    return {"readings": rows.assign(illuminance_lx=shown, socket_V=volts), "electrical": electrical}, truth


def candela(rng: np.random.Generator, rows: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], Truth]:
    """Distance runs of B0 and K1 from 2 to 8 m with a dark reading; the centre is up to 60 mm off."""
    meter, centre = Meter(rng, dark=True), 0.120 + limit(rng, 0.060)
    truth, shown, dark, volts = {}, np.empty(len(rows)), np.empty(len(rows)), np.empty(len(rows))
    for lamp, block in rows.groupby("lamp", sort=False):
        intensity = 13000.0
        tape = limit(rng, 0.010 / math.sqrt(2.0)) + limit(rng, 0.010 / math.sqrt(2.0), len(block))
        away = block["distance_m"].to_numpy() + tape + centre
        volts[block.index], burnt = supply(rng, len(block))
        room = rng.uniform(1.0, 4.0)
        lux = intensity / away**2 * (burnt if lamp == "B0" else 1.0)
        shown[block.index] = meter.shows(lux, lamp, by_level=True) + np.round(room)
        dark[block.index] = np.round(room + rng.uniform(-0.5, 0.5))
        truth[lamp, "luminous intensity", "", "readings"] = intensity
    return {"distance": rows.assign(illuminance_lx=shown, dark_lx=dark, socket_V=volts)}, truth


def beam_shape(h: Array, v: Array, peak: float) -> Array:
    """Return a passing beam: a hot spot below a soft cut-off, and a wide foreground. [cd]."""
    spot = np.exp(-0.5 * (h / 6.0) ** 2 - 0.5 * ((v + 1.5) / 1.2) ** 2)
    wide = 0.25 * np.exp(-0.5 * (h / 14.0) ** 2 - 0.5 * ((v + 3.0) / 2.5) ** 2)
    return peak * ((spot + wide) / (1.0 + np.exp((v + 0.3) / 0.25)) + 0.01)


def beam(rng: np.random.Generator, rows: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], Truth]:
    """Grids of B0 and K1 on 1 degree, with a dark reading; the truth is the shape itself on a fine grid."""
    meter, shown, dark = Meter(rng, dark=True), np.empty(len(rows)), np.empty(len(rows))
    peaks = {"B0": 13000.0, "K1": 15000.0}
    for lamp, block in rows.groupby("lamp", sort=False):
        seat = math.exp(0.0 * rng.standard_normal())
        h, v = block["horizontal_deg"].to_numpy(), block["vertical_deg"].to_numpy()
        lux = beam_shape(h, v, peaks[lamp]) / (5.0 + 0.120) ** 2 * seat
        burnt = (1.0 + limit(rng, 0.1) / VOLT) ** EXPONENT if lamp == "B0" else 1.0
        room = rng.uniform(1.0, 4.0)
        shown[block.index] = meter.shows(lux * burnt, lamp) + np.round(room)
        dark[block.index] = np.round(room + rng.uniform(-0.5, 0.5))
    true = peaks["K1"] / peaks["B0"]
    truth = {("K1", m, "", "readings"): true for m in ("hot-spot intensity ratio", "window flux ratio")}
    return {"beam": rows.assign(illuminance_lx=shown, dark_lx=dark)}, truth


WAVELENGTHS = np.linspace(8e-6, 14e-6, 121)


def band(celsius: Array | float) -> Array:
    """Return Planck's radiance over 8 to 14 um, up to a constant."""
    kelvin = np.asarray(celsius, float)[..., None] + 273.15
    spectral = WAVELENGTHS**-5 / np.expm1(0.01438777 / WAVELENGTHS / kelvin)
    return np.trapezoid(spectral, WAVELENGTHS, axis=-1)


TEMPERATURES = np.linspace(-50.0, 400.0, 4501)
BAND = band(TEMPERATURES)


def temperature(rng: np.random.Generator, rows: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], Truth]:
    """A bare fin and a strip of tape on a lamp, seen by a camera set to 0.95."""
    shown, truth = np.empty(len(rows)), {}
    for lamp, block in rows.groupby("lamp", sort=False):
        true = rng.uniform(60.0, 150.0)
        room = 22.0 + limit(rng, 1.0)
        for place, row in block.iterrows():
            e = row["emissivity"] + limit(rng, row["emissivity_half_width"])
            mirrored = 22.0 + limit(rng, 2.0)
            signal = e * band(true) + (1.0 - e) * band(mirrored)
            seen = float(np.interp((signal - 0.05 * band(22.0)) / 0.95, BAND, TEMPERATURES))
            shown[place] = seen + limit(rng, max(2.0, 0.02 * seen))
        truth[lamp, "surface temperature", "hold", "readings"] = true
        truth[lamp, "temperature rise", "hold", "readings"] = true - room
    return {"thermal": rows.assign(displayed_C=np.round(shown, 1))}, truth


def record(
    length_s: float, *, cut: float = 0.0
) -> Callable[[np.random.Generator, pd.DataFrame], tuple[dict[str, pd.DataFrame], Truth]]:
    """Return a world of two records of so many seconds, a reading every 30 s, neighbours correlated by up to 0.5.

    `cut` is what a lamp takes from its light of its own accord at 2000 s.
    """

    def world(rng: np.random.Generator, rows: pd.DataFrame) -> tuple[dict[str, pd.DataFrame], Truth]:
        shown, truth, zero = np.empty(len(rows)), {}, float(limit(rng, RANGE))
        for lamp, block in rows.groupby("lamp", sort=False):
            fast, slow = rng.uniform(60.0, 200.0), rng.uniform(300.0, 700.0)
            parts = rng.dirichlet((1.0, 2.0)) * rng.uniform(0.05, 0.15)

            def light(t: Array, parts: Array = parts, fast: float = fast, slow: float = slow) -> Array:
                return 1.0 - parts.sum() + parts[0] * np.exp(-t / fast) + parts[1] * np.exp(-t / slow)

            t = block["elapsed_s"].to_numpy()
            rho, noise = rng.uniform(0.0, 0.5), rng.standard_normal(t.size)
            for i in range(1, t.size):
                noise[i] = rho * noise[i - 1] + math.sqrt(1.0 - rho**2) * noise[i]
            drift = 0.003 * rng.standard_normal() * (t - 60.0) / length_s
            clock = 2.0 * rng.standard_normal()
            lux = 1000.0 * light(t + clock) * (1.0 + drift + 0.002 * noise)
            shown[block.index] = np.round(lux + zero)
            ends = light(np.array([60.0, 2400.0]))
            truth[lamp, "remaining light", "hold", "readings"] = float(ends[1] / ends[0]) * (1.0 - cut)
        return {"warm_up": rows.assign(illuminance_lx=shown)}, truth

    return world


@dataclass(frozen=True)
class World:
    """A folder to be read once, and how its readings are drawn."""

    draw: Callable[[np.random.Generator, pd.DataFrame], tuple[dict[str, pd.DataFrame], Truth]]
    table: str
    rows: str
    stream: type[np.random.Generator] = np.random.Generator


def _crossed(header: str, *parts: list[str]) -> str:
    lines = [""]
    for part in parts:
        lines = [f"{line},{one}" if line else one for line in lines for one in part]
    return "\n".join([header, *lines]) + "\n"


READ = [f"{lamp},{piece}" for lamp, n in (("B0", 1), ("K1", 3), ("K2", 3)) for piece in range(1, n + 1)]
PLACES = [f"{h},{v}" for v in range(-6, 5) for h in range(-20, 21)]
WORLDS = {
    "ratios": World(
        ratios,
        "readings",
        _crossed(
            "lamp,specimen,mounting,elapsed_s,illuminance_lx,housing,day,range_lx,socket_V,ambient_C",
            READ, ["1", "2"], ["60", "2400"], ["1000,HP,D1,4000,13.2,20"],
        ),
    ),
    "candela": World(
        candela,
        "distance",
        _crossed(
            "run,lamp,distance_m,repeat,illuminance_lx,housing,dark_lx,range_lx,socket_V",
            ["R0,B0", "R1,K1"], ["2", "3", "4", "5", "6", "8"], ["1", "2"], ["500,HP,2,4000,13.2"],
        ),
    ),
    "beam": World(
        beam,
        "beam",
        _crossed(
            "run,lamp,horizontal_deg,vertical_deg,illuminance_lx,housing,dark_lx,range_lx",
            ["R0,B0", "R1,K1"], PLACES, ["100,HP,2,4000"],
        ),
    ),
    "temperature": World(
        temperature,
        "thermal",
        _crossed(
            "lamp,elapsed_s,place,method,emissivity,emissivity_half_width,displayed_C,set_emissivity,reflected_C,ambient_C",
            ["K1", "K2"], ["2400"], ["fin,bare,0.85,0.05", "fin,tape,0.95,0.02"], ["90,0.95,22,22"],
        ),
    ),
    "record inside": World(
        record(2700.0),
        "warm_up",
        _crossed(
            "run,lamp,elapsed_s,illuminance_lx,housing,range_lx",
            ["R1,K1", "R2,K2"], [f"{t}" for t in range(30, 2701, 30)], ["1000,HP,4000"],
        ),
    ),
    "record beyond": World(
        record(1500.0),
        "warm_up",
        _crossed(
            "run,lamp,elapsed_s,illuminance_lx,housing,range_lx",
            ["R1,K1", "R2,K2"], [f"{t}" for t in range(30, 1501, 30)], ["1000,HP,4000"],
        ),
    ),
}  # fmt: skip
WORLDS["ratios, meter at its limits"] = replace(WORLDS["ratios"], stream=OnLimits)
WORLDS["record beyond, cut after its end"] = replace(WORLDS["record beyond"], draw=record(1500.0, cut=0.05))
FEW = "lamp,illuminance_lx,housing,day,range_lx,mounting\n" + "".join(
    f"{lamp},1000,HP,D1,4000,{seat}\n" for lamp in ("B0", "K1", "K2") for seat in (1, 2)
)


def template(world: World) -> Bench:
    """Read a folder of this shape once."""
    files = {"bench.toml": TOML, "lamps.csv": LAMPS, "readings.csv": FEW, f"{world.table}.csv": world.rows}
    if world.table == "readings":
        files["electrical.csv"] = "lamp,elapsed_s,power_W,per\n" + "".join(
            f"{x},60,30,lamp\n" for x in ("B0", "K1", "K2")
        )
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        return read_bench(folder)


def covered(world: World, benches: int, seed: int) -> dict[tuple[str, ...], list[float]]:
    """Return for each kind of row the share of a bench's intervals that hold the truth; NaN where none was given."""
    rng, bench = world.stream(np.random.PCG64(seed)), template(world)
    found: dict[tuple[str, ...], list[float]] = defaultdict(list)
    for _ in range(benches):
        tables, truth = world.draw(rng, bench.tables[world.table])
        whole = {
            name: table if name == world.table else _like(bench.tables[name], table)
            for name, table in tables.items()
        }
        told = results(evaluate(replace(bench, tables={**bench.tables, **whole})))
        told = told.assign(instant=told["instant"].fillna(""))
        here: dict[tuple[str, ...], list[float]] = defaultdict(list)
        for key, block in told.groupby(list(KEY), sort=False):
            if key in truth:
                for point, low, high in zip(block["point"], block["low"], block["high"], strict=True):
                    name = (key[1], key[2], key[3], point if key[1].endswith(("temperature", "rise")) else "")
                    here[name].append(np.nan if np.isnan(low) else float(low <= truth[key] <= high))
        for key in set(truth) - set(map(tuple, told[list(KEY)].to_numpy())):
            here[(*key[1:], "")].append(np.nan)
        for name, values in here.items():
            found[name].append(float(np.mean([v for v in values if v == v] or [np.nan])))
    return found


def _like(table: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    """Return a table of a folder with some of its columns replaced."""
    return table.assign(**{name: other[name].to_numpy() for name in other.columns})


def main(benches: int, names: list[str]) -> None:
    """Print each kind of row: coverage and its standard error, and how many benches gave no interval."""
    for seed, (name, world) in enumerate(WORLDS.items()):
        if names and name not in names:
            continue
        print(f"{name}, {benches} benches")
        for row, values in covered(world, benches, seed).items():
            told = np.array(values)
            given = told[~np.isnan(told)]
            share = given.mean() if given.size else math.nan
            error = given.std() / math.sqrt(
                max(given.size, 1)
            )  # over benches: lamps of one bench share its meter
            words, none = ", ".join(part for part in row if part), 1.0 - given.size / told.size
            print(
                f"    {words:60s} {100 * share:5.1f} +- {100 * error:.1f} %, {none:.1%} not given", flush=True
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, sys.argv[2:])
