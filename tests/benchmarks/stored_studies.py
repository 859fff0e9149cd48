"""The stored studies of `data/studies`: simulated, with their seed; notebooks 12 and 14 show them.

Run: ``python tests/benchmarks/stored_studies.py`` writes them again, ``... claims families`` those that are named:
100 000 draws a row of `claims.csv` and `families.csv`; 2000 benches a row of `coverage.csv` (5 min of processor time);
2000 whole benches of the demo's protocol in `whole.csv`, and 500 with stopped records (28 min). `recovery.csv` draws
nothing: it is what the demo's evaluation says of the truth that the demo was made from. `tests/test_studies.py` draws a
few of each and compares.
"""

import math
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import results_coverage
import spread_rules
from family_error import balanced, demo
from numpy.typing import NDArray
from scipy import stats

from photolab.bench.drawn.redraw import Protocol
from photolab.bench.drawn.redraw_tables import AS_DECLARED, LEFT, World
from photolab.bench.drawn.rehearse import BEYOND, Plan, lines_of, rehearse_block, table_of
from photolab.bench.drawn.simulation import demo as invented
from photolab.bench.drawn.simulation_tables import before_foldback_s
from photolab.bench.folder.records import read_bench
from photolab.bench.inputs.surface import surfaces
from photolab.bench.questions.repeatability import initial_readings, level_spreads
from photolab.bench.results.distances import evaluate_distances
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import warm_up_runs
from photolab.bench.terms.model import Bench
from photolab.metrology.comparison import pairwise
from photolab.metrology.quantity import Input, Measured, limits, measured
from photolab.publication.report.notebooks import studies_folder
from photolab.publication.report.tables import as_csv

Array = NDArray[np.float64]
SEED = 14
SCALE, RANGE_TERM, LINEAR, F1, GAIN = 0.03, 20.0, 0.01, 0.08, 0.01
SEAT, DAY, NOISE = 0.025, 0.01, 0.003


@dataclass(frozen=True)
class Situation:
    """Two lamps that truly give the same light, and how they are read."""

    words: str
    level: float = 500.0
    seatings: int = 1
    ranges: tuple[int, int] = (0, 0)
    meters: tuple[int, int] = (0, 0)
    filament: bool = False


SITUATIONS = {
    "one range": Situation("one meter, one range, each LED lamp seated once"),
    "five seatings": Situation("the same, each seated five times", seatings=5),
    "two ranges": Situation("one meter, each lamp on another range (autorange)", ranges=(0, 1)),
    "LED and filament": Situation("one meter, one range, an LED lamp against a filament lamp", filament=True),
    "two meters": Situation("each LED lamp read on a meter of its own", meters=(0, 1)),
    "low on the range": Situation("one meter, 200 lx on the range to 4000 lx", level=200.0),
}
WAYS = {
    "bars": "bars of ±3 % that do not meet",
    "independent": "the meter's specification, independent for each reading; seating not counted",
    "repeats": "ten repeats of each lamp without seating it again, t-test",
    "shared": "what is shared is one input; seating counted",
}


def inputs(way: Situation) -> list[tuple[Input, tuple[float, float]]]:
    """Return what may be off in ln of the light shown of each lamp, and how strongly in each."""
    found: list[tuple[Input, tuple[float, float]]] = []

    def add(q: Input, *on: int) -> None:
        found.append((q, (float(0 in on), float(1 in on))))

    for meter in sorted(set(way.meters)):
        mine = [k for k in (0, 1) if way.meters[k] == meter]
        add(limits(("scale", meter), SCALE), *mine)
        for top in sorted({way.ranges[k] for k in mine}):
            of = [k for k in mine if way.ranges[k] == top]
            add(limits(("range term", meter, top), RANGE_TERM / way.level), *of)
            if len(set(way.ranges)) > 1:
                add(limits(("range gain", meter, top), GAIN), *of)
        add(limits(("colour", meter), F1), *(k for k in mine if not (way.filament and k == 0)))
    for k in (0, 1):
        add(limits(("linearity", k), LINEAR), k)
        if not (way.filament and k == 0):
            add(limits(("own colour", k), F1 / (5.0 * math.sqrt(2.0))), k)
        for seat in range(way.seatings):
            q = Input(("seating", k, seat), SEAT)
            found.append((q, tuple(1.0 / way.seatings if k == j else 0.0 for j in (0, 1))))
            noise = Input(("noise", k, seat), NOISE / math.sqrt(3.0))
            found.append((noise, tuple(1.0 / way.seatings if k == j else 0.0 for j in (0, 1))))
    return found


def claim_rates(name: str, draws: int, seed: int = SEED) -> dict[str, float]:
    """Return how often each way claims a difference between two lamps that give the same light. [1]"""
    way = SITUATIONS[name]
    rng = np.random.default_rng([seed, list(SITUATIONS).index(name)])
    parts = inputs(way)
    away = np.zeros((2, draws))
    seated = np.zeros((2, draws))  # the part that stays while a lamp is not seated again
    for q, on in parts:
        x = (
            rng.uniform(-1.0, 1.0, draws) * q.u * math.sqrt(3.0)
            if q.law == "rectangular"
            else q.u * rng.standard_normal(draws)
        )
        away += np.outer(on, x)
        if q.name[0] != "noise":
            whole = np.array(on) * (way.seatings if q.name[0] == "seating" else 1.0)
            seated += np.outer(whole, x) if q.name[0] != "seating" or q.name[2] == 0 else 0.0
    ln_ratio = away[1] - away[0]
    spec = math.hypot(SCALE, RANGE_TERM / way.level) / math.sqrt(3.0)
    repeats = seated[:, :, None] + NOISE * rng.standard_normal((2, draws, 10))
    t = stats.ttest_ind(repeats[1], repeats[0], axis=1).pvalue
    light: list[Measured] = [measured(0.0, *((q, on[k]) for q, on in parts if on[k])) for k in (0, 1)]
    half = (light[1] - light[0]).half_width(0.95)
    return {
        "bars": float(np.mean(np.abs(ln_ratio) > math.log(1.03 / 0.97))),
        "independent": float(np.mean(np.abs(ln_ratio) > stats.norm.ppf(0.975) * math.sqrt(2.0) * spec)),
        "repeats": float(np.mean(t < 0.05)),
        "shared": float(np.mean(np.abs(ln_ratio) > half)),
    }


def claims(draws: int) -> Iterator[dict[str, object]]:
    """Yield a row for each situation and way."""
    for name, way in SITUATIONS.items():
        for rule, share in claim_rates(name, draws).items():
            yield row("claims", way.words, WAYS[rule], "claimed where truly equal", share, draws)


def family_rates(draws: int, seed: int = SEED) -> Iterator[tuple[str, str, float]]:
    """Yield how often any pair of ten equal lamps (nine in the demo's covariance) is falsely told apart."""
    for name, (own, common) in {
        "ten lamps, three seatings each": balanced(),
        "the nine lamps of the demo": demo(),
    }.items():
        covariance = own + common
        y = np.random.default_rng(seed).standard_normal((draws, len(own))) @ np.linalg.cholesky(covariance).T
        for rule, family in (("each pair alone", "none"), ("all pairs as one family", "tukey")):
            told = pairwise(np.zeros(len(own)), covariance, family=family)
            first, second = told[["a", "b"]].to_numpy(int).T
            away = np.abs(y[:, first] - y[:, second])
            yield name, rule, float(np.mean((away > np.log(told["high"].to_numpy())).any(axis=1)))


def families(draws: int) -> Iterator[dict[str, object]]:
    """Yield a row for each set of lamps and rule."""
    for name, rule, share in family_rates(draws):
        yield row("families", name, rule, "a false claim among all pairs", share, draws)


def row(study: str, situation: str, rule: str, figure: str, share: float, draws: int) -> dict[str, object]:
    """Return one row of a stored study, a share in percent."""
    error = math.sqrt(share * (1.0 - share) / draws)
    return {
        "study": study, "situation": situation, "rule": rule, "figure": figure, "value": 100.0 * share,
        "standard_error": 100.0 * error, "unit": "%", "draws": draws, "seed": SEED, "source": "simulated",
    }  # fmt: skip


EVENING_TOML = """schema = 1
[bench]
name = "invented: one evening, each lamp seated once"
hold_minutes = 30
[[meter]]
id = "M1"
reading_percent = 3
range_percent = 0.5
ranges_lx = [400, 4000]
resolution_lx = [0.1, 1]
mismatch_index_percent = 8
[[housing]]
id = "HP"
"""
EVENING_LAMPS = (
    "lamp,technology,role\nB0,led,baseline\nK1,led,candidate\nK2,led,candidate\nK3,led,candidate\n"
)
WORLDS = {
    "as declared": AS_DECLARED,
    "seating 3 % assumed, truly 2 %": World(seating_percent=2.0),
    "seating 3 % assumed, truly 4 %": World(seating_percent=4.0),
    "seats now and then much too dark": World(seats="skewed"),
    "the meter at an end of every limit": World(meter="limit"),
}


def evening() -> Bench:
    """Return the bench of one evening: four LED lamps, seated once, three repeats at both instants."""
    rows = [
        f"{lamp},HP,1,{t},{again},{lux},4000"
        for lamp, light in (("B0", 700), ("K1", 800), ("K2", 850), ("K3", 900))
        for t, lux in ((60, light), (1800, round(0.9 * light)))
        for again in (1, 2, 3)
    ]
    head = "lamp,housing,mounting,elapsed_s,repeat,illuminance_lx,range_lx"
    with tempfile.TemporaryDirectory() as folder:
        for name, text in (
            ("bench.toml", EVENING_TOML),
            ("lamps.csv", EVENING_LAMPS),
            ("readings.csv", "\n".join([head, *rows]) + "\n"),
        ):
            (Path(folder) / name).write_text(text, encoding="utf-8")
        return read_bench(folder)


def rehearsed(
    bench: Bench, world: World, benches: int, seed: int = SEED, every: int = 5, *, whole: bool = False
) -> pd.DataFrame:
    """Return the mean figures of a rehearsal over all lamps."""
    protocol, plan = Protocol(bench, world, whole), Plan(seed=seed, families_every=every)
    lines = lines_of(protocol, plan)
    table = table_of(
        rehearse_block(protocol, plan, lines, range(benches)), plan, lines, bench.settings.coverage
    )
    return table[table["lamp"] == "all"]


def coverage(benches: int) -> Iterator[dict[str, object]]:
    """Yield rows of rehearsals: one evening in several worlds, and the demo as declared."""
    demo_bench = read_bench(Path(__file__).parents[2] / "data" / "demo")
    evening_bench = evening()
    for name, world in WORLDS.items():
        yield from _coverage_rows("one evening, seated once", name, rehearsed(evening_bench, world, benches))
    yield from _coverage_rows("the demo", "as declared", rehearsed(demo_bench, AS_DECLARED, benches))


def whole(benches: int) -> Iterator[dict[str, object]]:
    """Yield rows of the demo's whole protocol, by kind of result; and of 500 benches with its records stopped."""
    demo_bench = read_bench(Path(__file__).parents[2] / "data" / "demo")
    yield from whole_rows(rehearsed(demo_bench, AS_DECLARED, benches, every=0, whole=True))
    table = rehearsed(stopped(demo_bench), AS_DECLARED, min(benches, 500), every=0, whole=True)
    yield from whole_rows(table[table["measurand"] == LEFT + BEYOND])


STOPPED_S = 1500.0


def stopped(bench: Bench) -> Bench:
    """Return a bench whose records end after 25 min, with nothing at the hold time and nothing beside them."""
    kept = {
        "readings": bench.tables["readings"]["elapsed_s"] < STOPPED_S,
        "warm_up": bench.tables["warm_up"]["elapsed_s"] <= STOPPED_S,
    }
    tables = {
        name: table
        if name in ("lamps", "days")
        else table[kept.get(name, table["line"] < 0)].reset_index(drop=True)
        for name, table in bench.tables.items()
    }
    return replace(bench, tables=tables)


def whole_rows(table: pd.DataFrame) -> Iterator[dict[str, object]]:
    """Yield the rows of a rehearsal, a kind of result and a figure each."""
    for one in table[table["figure"].isin(["coverage", "bias", "half-width", "refused"])].to_dict("records"):
        yield {
            "study": "whole", "situation": one["measurand"], "rule": "as declared", "figure": one["figure"],
            **{key: one[key] for key in ("instant", "scope", "value", "standard_error", "unit")},
            "draws": one["benches"], "seed": SEED, "source": "simulated",
        }  # fmt: skip


def _coverage_rows(situation: str, rule: str, table: pd.DataFrame) -> Iterator[dict[str, object]]:
    for one in table.to_dict("records"):
        wanted = one["figure"] in ("coverage", "bias", "half-width", "a false claim among all pairs")
        if wanted or (one["figure"] == "shown" and one["true_difference_percent"] in (5.0, 10.0)):
            apart = one["true_difference_percent"]
            figure = one["figure"] if apart != apart else f"shown where truly {apart:g} % apart"
            where = f", {one['housing']}" if one["housing"] != "all" else ""
            yield {
                "study": "coverage", "situation": situation, "rule": rule,
                "figure": f"{figure}{where}", "instant": one["instant"], "scope": one["scope"],
                "value": one["value"], "standard_error": one["standard_error"], "unit": one["unit"],
                "draws": one["benches"], "seed": SEED, "source": "simulated",
            }  # fmt: skip


def measurands(_: int) -> Iterator[dict[str, object]]:
    """Yield the rows of the tables at the heads of the studies that measured them."""
    models = (spread_rules.__doc__ or "").partition("for the models, ")[2].partition("equal lamps, ")[0]
    yield from _measured((results_coverage.__doc__ or "").partition("\n\nWhere ")[0], "", "results_coverage")
    yield from _measured(models, "illuminance ratio, models, ", "spread_rules")


def _measured(head: str, what: str, study: str) -> Iterator[dict[str, object]]:
    """Yield the rows of one table."""
    for line in head.split("\n"):
        words, _, told = line.partition("  ")
        value, sign, error = told.strip().partition(" +- ")
        if not sign:
            continue
        names, values = f"{what}{words}".split(": "), value.split("; ")
        each = [f"{names[0]}, {one}" for one in names[1].split("; ")] if len(names) > 1 else names
        for name, share in zip(each, values, strict=True):
            yield {
                "study": "measurands", "situation": name, "rule": "as declared", "figure": "coverage",
                "value": float(share), "standard_error": float(error), "unit": "%", "draws": 2000, "seed": math.nan,
                "source": f"simulated by tests/benchmarks/{study}.py",
            }  # fmt: skip


def recovery(_: int) -> Iterator[dict[str, object]]:
    """Yield what the demo's evaluation finds of the truth that the demo was made from, and what was wanted."""
    bench, truth = read_bench(Path(__file__).parents[2] / "data" / "demo"), invented().truth

    def told(
        quantity: str, true: float, found: float, unit: str, wanted: float, off: str = ""
    ) -> dict[str, object]:
        away = round(100.0 * (found / true - 1.0) if off == "%" else found - true, 6)
        return {
            "study": "recovery", "situation": quantity, "true": true, "value": found, "unit": unit, "low": math.nan,
            "high": math.nan, "away": away, "away_unit": off or unit, "wanted": wanted, "reached": abs(away) <= wanted,
            "source": "computed from the demo",
        }  # fmt: skip

    for run in evaluate_distances(bench):
        piece = bench.tables["distance"].query("run == @run.run")["specimen"].iloc[0]
        lamp = truth.lamps[run.lamp]
        true = truth.housings[run.housing].intensity_cd * lamp.ratio[run.housing]
        true *= math.exp(lamp.specimens[piece])
        yield told(f"intensity of {run.lamp} in {run.housing}", true, run.intensity, "cd", 1.0, "%")
        if run.centre_found is not None:
            centre = 1000.0 * truth.housings[run.housing].offset_m
            yield told(f"centre of {run.housing}", centre, 1000.0 * run.centre_found.value, "mm", 20.0)
    for one in warm_up_runs(bench):
        if one.fit is not None and one.fit.step is not None:
            lamp, which = truth.lamps[one.lamp], f"step of {one.lamp} in {one.housing}"
            yield told(f"{which}, instant", 60.0 * lamp.step_min, one.fit.step.time_s, "s", 30.0)
            yield told(
                f"{which}, size", 100.0 * (lamp.step_factor - 1.0), 100.0 * one.fit.step.size, "%", 1.0
            )
    for method in ("tape", "bare"):
        stated = [
            told(f"temperature of {x.lamp}, {method}: the farthest off", lamp.case_C, x.value, "degC", 1.0)
            for x in surfaces(bench)
            for lamp in [truth.lamps[x.lamp]]
            if x.method == method
            and x.elapsed_s == (before_foldback_s(lamp) if lamp.step_min else 60.0 * lamp.record_min)
        ]
        yield max(stated, key=lambda row: abs(float(str(row["away"]))))
    readings = initial_readings(evaluate(bench))
    readings = readings[
        readings["lamp"] != "K8"
    ]  # the scenario's modulated light, which notebook 02 sets apart
    housings = [("", readings), *((f" in {h}", block) for h, block in readings.groupby("housing"))]
    levels = {name: level_spreads(block).table.set_index("level") for name, block in housings}
    components = {
        "reading": (truth.lamps["B0"].reading_sd, levels[""].loc["reading"]),
        "day": (truth.day_sd, levels[""].loc["day"]),
    }
    components |= {
        f"seating in {h}": (truth.housings[h].mounting_sd, levels[f" in {h}"].loc["mounting"])
        for h in truth.housings
    }
    for name, (sd, level) in components.items():
        one = told(f"SD of a {name}", 100.0 * sd, 100.0 * level["sd"], "%", math.nan)
        ends = {end: 100.0 * level[end] for end in ("low", "high")}
        yield one | ends | {"reached": level["low"] <= sd <= level["high"]}


STUDIES: dict[str, tuple[Callable[[int], Iterator[dict[str, object]]], int]] = {
    "claims": (claims, 100_000),
    "families": (families, 100_000),
    "coverage": (coverage, 2000),
    "whole": (whole, 2000),
    "recovery": (recovery, 0),
    "measurands": (measurands, 0),
}


def main(names: list[str]) -> None:
    """Write the stored studies."""
    for name, (study, count) in STUDIES.items():
        if not names or name in names:
            table = pd.DataFrame(study(count))
            text = as_csv(table)
            (studies_folder() / f"{name}.csv").write_text(text, encoding="utf-8", newline="\n")
            print(table.drop(columns=["study", "source"]).to_string(), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
