"""What stands beside the readings drawn again with known truth: watts, temperatures, runs, records, beams.

Each table has streams of its own, as `redraw` has for the readings of light.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.drawn.simulation_tables import camera_display, correlated
from photolab.bench.inputs.distance_terms import reading_scatter, tape_limit
from photolab.bench.inputs.electrical import POWER_LIMIT_PERCENT, lamp_power
from photolab.bench.inputs.readings import ELAPSED_U_S
from photolab.bench.inputs.surface import (
    AMBIENT_LIMIT_K,
    PATCH_EMISSIVITY,
    REFLECTED_LIMIT_K,
    THERMOCOUPLE_LIMIT_K,
    Surface,
    camera_limit,
    emissivity_of,
    surfaces,
)
from photolab.bench.results.beams import ROW_NAMES, evaluate_beams
from photolab.bench.results.distances import DistanceResult, evaluate_distances, near_field_ratio
from photolab.bench.results.heat import WarmUpRun, warm_up_runs
from photolab.bench.terms import instruments
from photolab.bench.terms.columns import Array, Columns
from photolab.bench.terms.model import Bench
from photolab.errors import demand
from photolab.metrology.quantity import Input
from photolab.thermal.warm_up_model import fixed_columns, window
from photolab.thermal.warm_up_result import WarmUp

Truth = dict[tuple[str, ...], float]
"""What is true, by measurand, lamp, housing, point and instant, as in results.csv; by scope too where it matters."""

_ROOT_3 = np.sqrt(3.0)
SHAPES: dict[str, Callable[[np.random.Generator, int], Array]] = {
    "normal": lambda rng, n: rng.standard_normal(n),
    "rectangular": lambda rng, n: rng.uniform(-_ROOT_3, _ROOT_3, n),
    "skewed": lambda rng, n: 1.0 - rng.exponential(1.0, n),  # now and then much too dark
    "limit": lambda rng, n: _ROOT_3 * rng.choice((-1.0, 1.0), n),
    "missed": lambda rng, n: -rng.exponential(1.0, n),
}
"""Draws of standard deviation 1 and mean 0, but "missed" of mean -1: what an aim off in both directions takes. [1]

"limit" is one of the two ends of a rectangular law."""
CAMERA_STEP_K = 0.1
_FINE_LX = 1e-9  # step of a display whose last figure is not declared
INSTANTS = ("initial", "hold")
LEFT = "remaining light"


@dataclass(frozen=True)
class World:
    """What is true on the benches drawn, where it is not what the folder says.

    Parameters
    ----------
    seating_percent, specimen_percent, day_percent : float, optional
        True standard deviations; where none is given what the folder's readings show, or what it declares. [%]
    seats : {"normal", "rectangular", "skewed"}
        Law of a seating.
    meter : {"anywhere", "limit"}
        Whether a meter lies anywhere within its limits, or at one of their ends.
    aim_percent : float, default 0
        Mean share of the light that a seating loses because its hot spot misses the meter head: the loss grows with
        the square of an aim that is off in both directions, so it is exponential; nothing in a folder declares it. [%]
    near_field_m : float, default 0
        A distance run of a source that is not small: its light is less by (this length / distance) squared, where the
        folder may say inverse square. [m]

    Raises
    ------
    ValueError
        If a law has another name, or a figure is out of range.
    """

    seating_percent: float | None = None
    specimen_percent: float | None = None
    day_percent: float | None = None
    seats: str = "normal"
    meter: str = "anywhere"
    aim_percent: float = 0.0
    near_field_m: float = 0.0

    def __post_init__(self) -> None:
        laws = {"seats": ("normal", "rectangular", "skewed"), "meter": ("anywhere", "limit")}
        for name, value in vars(self).items():
            if name in laws:
                fits, wanted = value in laws[name], f"one of {', '.join(laws[name])}"
            else:
                fits = value is None or 0.0 <= value < 100.0
                wanted = f"0 to 100 {'m' if name.endswith('_m') else '%'}"
            demand(fits, f"{name} must be {wanted}", repr(value))

    def shape(self, q: Input) -> str:
        """Return the law of `SHAPES` by which an input of a meter is drawn: at an end of its limits if that is true."""
        if q.law != "rectangular":
            return "normal"
        return "limit" if self.meter == "limit" else "rectangular"


AS_DECLARED = World()
"""Nothing is other than the folder says."""


@dataclass(frozen=True, eq=False)
class Known:
    """What a table is drawn from, beside its own rows.

    Parameters
    ----------
    bench : Bench
        The bench as it was read; its figures are taken as true.
    world : World
        What is true and not as declared.
    stream : callable
        Gives the stream of a source, by its name.
    left : mapping
        ln of what is truly left of a piece at the hold time, by lamp, housing and specimen, where readings know it. [1]
    seating : mapping
        True standard deviation of a seating, by housing. [1]
    zeros : mapping
        What a range adds to every reading, by meter and top of the range, where readings were taken on it. [lx]
    """

    bench: Bench
    world: World
    stream: Callable[[str], np.random.Generator]
    left: Mapping[tuple[str, str, str], float]
    seating: Mapping[str, float]
    zeros: Mapping[tuple[str, float], float]

    def away(self, q: Input) -> float:
        """Return by how much an input of a meter errs, by its declared law [its unit]."""
        return float(SHAPES[self.world.shape(q)](self.stream(str(q.name)), 1)[0]) * q.u


def watts(known: Known) -> tuple[pd.DataFrame, Truth]:
    """Draw electrical.csv: every reading of a lamp is off by one share within its limit.

    Parameters
    ----------
    known : Known
        The bench as it was read; its watts are taken as true. [W]

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and the watts of each lamp. [W]
    """
    bench, table = known.bench, known.bench.tables["electrical"]
    limit = table["uncertainty_percent"].fillna(POWER_LIMIT_PERCENT).to_numpy() / 100.0
    lamp = pd.factorize(table["lamp"])[0]
    off = 1.0 + limit * known.stream("power reading").uniform(-1.0, 1.0, lamp.max(initial=0) + 1)[lamp]
    truth: Truth = {}
    for x, when in product(dict.fromkeys(table["lamp"]), INSTANTS):
        if (one := lamp_power(bench, x, when)) is not None:
            truth["electrical power", str(x), "", "", when] = one.watts.value
    return table.assign(power_W=table["power_W"] * off, current_A=table["current_A"] * off), truth


def temperatures(known: Known) -> tuple[pd.DataFrame, Truth]:
    """Draw thermal.csv: what a camera shows of surfaces whose emissivity and room are within their limits.

    Parameters
    ----------
    known : Known
        The bench as it was read; a place has the temperature of the patch on it, else of what was read there. [degC]

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and surface temperature [degC] and temperature rise [K] at the hold time.
    """
    bench = known.bench
    rows = surfaces(bench)
    names = ("emissivity", "reflected", "camera", "ambient")
    away = np.transpose([known.stream(name).uniform(-1.0, 1.0, len(rows)) for name in names])
    shown = np.array([one.displayed for one in rows])
    at_hold = {one.where for one in surfaces(bench, at_hold=True)}
    truth: Truth = {}
    for k, (one, true) in enumerate(zip(rows, _true_temperatures(rows), strict=True)):
        e, reflected, camera, ambient = away[k].tolist()
        if math.isnan(true):
            continue
        if one.method == "thermocouple":
            shown[k] = true + THERMOCOUPLE_LIMIT_K * camera
        else:
            limits = emissivity_of(one.emissivity, one.emissivity_half_width, ())
            seen = limits.value + math.sqrt(3.0) * limits.u * e, one.reflected + REFLECTED_LIMIT_K * reflected
            told = {"set_emissivity": one.set_emissivity, "set_reflected_C": one.reflected}
            display = camera_display(true, *seen, **told)
            shown[k] = display + camera_limit(display) * camera
        if one.where in at_hold:
            key = (one.lamp, "", ", ".join(filter(None, (one.place, one.method))), "hold")
            truth["surface temperature", *key] = true
            truth["temperature rise", *key] = true - one.ambient + AMBIENT_LIMIT_K * ambient
    return bench.tables["thermal"].assign(displayed_C=np.round(shown / CAMERA_STEP_K) * CAMERA_STEP_K), truth


def _true_temperatures(rows: tuple[Surface, ...]) -> list[float]:
    """Return what is taken as the true temperature of each row: one for all methods at a place and time [degC]."""
    best: dict[tuple[str, str, float], tuple[bool, float]] = {}
    for one in rows:
        found = (one.method in PATCH_EMISSIVITY, one.value)
        place = (one.lamp, one.place, one.elapsed_s)
        if not math.isnan(one.value) and found[0] >= best.get(place, (False, 0.0))[0]:
            best[place] = found
    return [best.get((x.lamp, x.place, x.elapsed_s), (False, math.nan))[1] for x in rows]


_runs = lru_cache(maxsize=4)(evaluate_distances)


def intensities(known: Known) -> tuple[pd.DataFrame, Truth]:
    """Draw distance.csv: light that falls by the inverse square from a centre within its limits.

    With a near field it is less by the square of its length over the distance, which no row says.

    Parameters
    ----------
    known : Known
        The bench as it was read; the intensity of a run for which the inverse square holds is taken as true. [cd]

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and the luminous intensity of each such run; the rows of the others are left out. [cd]
    """
    table = known.bench.tables["distance"]
    truth: Truth = {}
    blocks = []
    for run in _runs(known.bench):
        mine = (table["run"] == run.run) & (table["lamp"] == run.lamp) & (table["housing"] == run.housing)
        if run.law == "inverse_square" and run.published is not None:
            block = table[mine].reset_index(drop=True)
            blocks.append(block.assign(**_run_shown(known, run, block)))
            truth["luminous intensity", run.lamp, run.housing, "hot_spot", ""] = run.published.value
    return pd.concat(blocks, ignore_index=True) if blocks else table.iloc[:0], truth


def _run_shown(known: Known, run: DistanceResult, block: pd.DataFrame) -> dict[str, Array]:
    """Return what the meter shows along one run, with its dark readings."""
    of = "/".join(run.key)
    size, place, meter, stream = len(block), run.place, known.bench.meters[run.meter], known.stream
    level = pd.factorize(block["distance_m"])[0]

    def flat(name: str, many: int = 1) -> Array:
        return stream(f"{name} {of}").uniform(-1.0, 1.0, many)

    def metered(name: str, many: int = 1) -> Array:  # of the meter, within its limits or at their ends
        return np.sign(flat(name, many)) if known.world.meter == "limit" else flat(name, many)

    tape = tape_limit(place)[0] / math.sqrt(2.0)  # half of the variance common to the run
    away = block["distance_m"].to_numpy() + tape * (flat("tape zero") + flat("placement", size))
    away += run.centre.value + place.offset_uncertainty_mm / 1000.0 * flat("photometric centre")
    published = math.nan if run.published is None else run.published.value
    light = published / away**2 * near_field_ratio("near_field", known.world.near_field_m**2, away)
    for q, c in run.relative.parts.items():
        law = SHAPES[known.world.shape(q)]
        light = light * (1.0 + c * q.u * law(stream(f"{q.name} {of}"), 1)[0])
    light = light / block["distance_m"].map(run.points.set_index("distance_m")["factor"]).to_numpy(float)
    linear = instruments.linearity_percent(meter) / 100.0 * metered("linearity", level.max() + 1)[level]
    noise = stream(f"noise {of}").standard_normal(size)
    scatter = 1.0 + known.bench.settings.reading_sd_percent / 100.0 * noise
    step = instruments.resolution_lx(meter, float(block["range_lx"].max())) or _FINE_LX
    dark = block["dark_lx"].to_numpy(float)
    between = flat("dark reading", level.max() + 1)[level]  # the room's light, between two figures
    shown = light * (1.0 + linear) * scatter + np.where(np.isnan(dark), 0.0, dark + step / 2.0 * between)
    if run.additive_from != "dark reading":
        shown = shown + run.additive.u * math.sqrt(3.0) * metered("range term")[0]
    return {"illuminance_lx": np.round(shown / step) * step}


_records = lru_cache(maxsize=4)(warm_up_runs)
_patterns = lru_cache(maxsize=4)(evaluate_beams)


def records(known: Known) -> tuple[pd.DataFrame, Truth]:
    """Draw warm_up.csv: the curve that describes a record, with what its readings and its clock bring.

    The scatter and its correlation are those that the fit left over, the drift is the declared one. Of a piece that
    readings know, as much is left at the hold time as they say: its slowest part takes up the difference (a part with a
    third of the record as its time constant where none was found). A record that no curve fits stays as it was. What a
    range adds to every reading it adds to records and to readings.

    Parameters
    ----------
    known : Known
        The bench as it was read; the curves of its records are taken as true.

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and of each record the remaining light [1], the amplitudes [%] and the time constants [s].
    """
    table = known.bench.tables["warm_up"]
    shown = table["illuminance_lx"].to_numpy(float, copy=True)
    pieces: dict[tuple[str, str], list[str]] = {}
    for lamp, housing, piece in known.left:
        pieces.setdefault((lamp, housing), []).append(piece)
    truth: Truth = {}
    for run in _records(known.bench):
        if run.fit is not None:
            here = pieces.get((run.lamp, run.housing), [])
            piece = here[0] if not run.specimen and len(here) == 1 else run.specimen
            left = known.left.get((run.lamp, run.housing, piece), math.nan)
            curve = _Light(known.bench, run, run.fit, left)
            shown[(table["run"] == run.run).to_numpy()] = curve.shown(known)
            truth |= curve.truth()
    return table.assign(illuminance_lx=shown), truth


class _Light:
    """The true light along a record."""

    def __init__(self, bench: Bench, run: WarmUpRun, fit: WarmUp, ln_left: float) -> None:
        self.run, self.fit, described = run, fit, fit.described
        self.initial = window(self.fit.initial_s, self.fit.initial_window_s)
        self.hold = np.array([60.0 * bench.settings.hold_minutes])
        self.step_s, self.start_s = described.problem.step, described.problem.start
        self.taus = described.time_constants
        self.fixed, self.parts = np.split(described.found.coefficients, [described.linear])
        if not self.taus.size:
            self.taus, self.parts = np.array([np.ptp(self.fit.time_s) / 3.0]), np.zeros(1)
        if not math.isnan(ln_left):
            before, after = (self.at(t).mean() for t in (self.initial, self.hold))
            slow, late = (self.fading(t)[:, 0].mean() for t in (self.initial, self.hold))
            left, slowest = math.exp(ln_left), np.arange(self.taus.size) == 0
            self.parts = self.parts + slowest * (left * before - after) / (late - left * slow)

    def fading(self, time_s: Array) -> Array:
        """Return the parts at some instants, of amplitude 1 at the first reading."""
        return np.asarray(np.exp(-(time_s[:, None] - self.start_s) / self.taus))

    def at(self, time_s: Array) -> Array:
        """Return the light at some instants [lx]."""
        return np.asarray(fixed_columns(time_s, self.step_s) @ self.fixed + self.fading(time_s) @ self.parts)

    def shown(self, known: Known) -> Array:
        """Return what the meter shows of it."""
        run, time_s = self.run, self.run.record["elapsed_s"].to_numpy(float)
        noise, first = self.fit.curve.noise, run.record.iloc[0]
        meter = known.bench.meters.get(str(first["meter"]))
        step = 0.0 if meter is None else instruments.resolution_lx(meter, float(first["range_lx"]))
        clock, drift, stream = (known.stream(f"record {x} {run.run}") for x in ("clock", "drift", "noise"))
        light = self.at(time_s + ELAPSED_U_S * clock.standard_normal())
        drifting = run.drift * drift.standard_normal() * (time_s - self.fit.initial_s) / np.ptp(time_s)
        own = math.sqrt(max(noise.whitened_variance - step**2 / 12.0, 0.0))  # the display adds its part again
        on = str(first["meter"]), float(first["range_lx"])
        light = light * (1.0 + drifting) + known.zeros.get(on, known.away(run.added))
        light = light + correlated(time_s.size, own, noise.neighbours, stream)
        return np.asarray(np.maximum(np.round(light / (step or _FINE_LX)), 1.0) * (step or _FINE_LX))

    def truth(self) -> Truth:
        """Return what is left at the hold time, and what fades how fast."""
        record, where = f"record {self.run.run}", (self.run.lamp, self.run.housing)
        before = self.at(self.initial).mean()
        told: Truth = {(LEFT, *where, record, "hold"): float(self.at(self.hold)[0] / before)}
        many = self.fit.described.found.theta.size
        for k in range(many):
            point = record + (f", part {k + 1} of {many}" if many > 1 else "")
            share = self.parts[k] * self.fading(self.initial)[:, k].mean() / before
            told["warm-up amplitude", *where, point, "initial"] = float(100.0 * share)
            told["warm-up time constant", *where, point, ""] = float(self.taus[k])
        return told


def beams(known: Known) -> tuple[pd.DataFrame, Truth]:
    """Draw beam.csv: the beams as they were read, seated anew, through a meter within its limits.

    A cell that holds an upper limit gives half of it. A seating moves the light of a whole beam, not its aim.

    Parameters
    ----------
    known : Known
        The bench as it was read; its beams are taken as true.

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and the ratios of beams to that of the baseline: as seated (scope "readings"), and without the
        seating (scope "specimens"). [1]
    """
    bench, found, table = known.bench, _patterns(known.bench), known.bench.tables["beam"]
    rows = Columns(table)
    light, below = _read_cells(bench, rows)
    tops, meters = rows.numbers("range_lx"), [bench.meters[str(one)] for one in rows["meter"]]
    who = list(zip(map(str, rows["lamp"]), map(str, rows["housing"]), strict=True))
    runs = {(one.lamp, one.housing): one.beam for one in found.results}
    at, away = [(f"{top:g}",) for top in tops.tolist()], known.away
    range_of, beam_of = ("meter", "range_lx"), ("lamp", "housing")

    def each(size: Callable[[int], float], *columns: str) -> Array:
        groups = rows.groups(*columns)
        return np.array([size(k) for k in groups.first.tolist()])[groups.code]

    def beam(name: str, shape: str, size: Callable[[tuple[str, str]], float]) -> Array:
        law = SHAPES[shape]
        return each(lambda k: size(who[k]) * law(known.stream(f"{name} {'/'.join(who[k])}"), 1)[0], *beam_of)

    seat = beam("seating", known.world.seats, lambda one: known.seating.get(one[1], 0.0))
    shares = [
        each(lambda k: sum(map(away, instruments.scale_inputs(meters[k]))), "meter"),
        each(lambda k: away(instruments.linearity_input(meters[k], (*at[k], *who[k]))), *range_of, *beam_of),
        beam("colour", "rectangular", lambda one: runs[one].colour_u if one in runs else 0.0),
        beam("supply", "rectangular", lambda one: runs[one].supply_u if one in runs else 0.0),
        each(lambda k: reading_scatter(bench, who[k][0])[0], "lamp")
        * known.stream("noise").standard_normal(len(table)),
    ]
    if len(rows.groups(*range_of)) > 1:
        shares.append(each(lambda k: away(instruments.gain_input(meters[k], at[k])), *range_of))
    zero = each(lambda k: away(instruments.range_input(meters[k], tops[k], at[k])), *range_of)
    step = each(lambda k: instruments.resolution_lx(meters[k], tops[k]) or _FINE_LX, *range_of)
    shown = light * np.exp(seat) * np.prod([1.0 + share for share in shares], axis=0)
    shown = shown + zero + np.nan_to_num(rows.numbers("dark_lx"))
    shown = np.maximum(np.round(shown / step), 0.0) * step
    shown = np.where(below, rows.numbers("illuminance_lx"), shown)
    seated = dict(zip(who, seat.tolist(), strict=True))
    truth: Truth = {}
    for one in found.results:
        apart = seated[one.lamp, one.housing] - seated.get((one.baseline, one.housing), 0.0)
        for ratio in one.ratios:
            point = "hot_spot" if ratio.measurand == "hot spot" else "beam"
            name = (ROW_NAMES[ratio.measurand], one.lamp, one.housing, point, "")
            truth |= {(*name, "readings"): ratio.value * math.exp(apart), (*name, "specimens"): ratio.value}
    return table.assign(illuminance_lx=np.round(shown, 9)), truth


def _read_cells(bench: Bench, rows: Columns) -> tuple[Array, NDArray[np.bool_]]:
    """Return the light of each cell as read, half of it where it is an upper limit [lx]; which are declared limits."""
    net = rows.numbers("illuminance_lx") - np.nan_to_num(rows.numbers("dark_lx"))
    below = np.asarray(rows["censored"] == "below")
    pairs = zip(rows["meter"], rows.numbers("range_lx").tolist(), strict=True)
    steps = np.array([instruments.resolution_lx(bench.meters[str(meter)], top) for meter, top in pairs])
    return np.where(below | (net <= 0.0), np.maximum(net, steps) / 2.0, net), below


DRAWN = {"electrical": watts, "thermal": temperatures, "distance": intensities}
DRAWN |= {"warm_up": records, "beam": beams}
"""What draws a table, by its name."""
