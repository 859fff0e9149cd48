"""Watts, temperatures and distance runs drawn again with known truth, as `redraw` draws the readings of light."""

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pandas as pd

from photolab.bench import instruments
from photolab.bench.columns import Array
from photolab.bench.distance_terms import READING_SD, tape_limit
from photolab.bench.distances import DistanceResult, evaluate_distances
from photolab.bench.electrical import POWER_LIMIT_PERCENT, lamp_power
from photolab.bench.model import Bench
from photolab.bench.simulation_tables import camera_display
from photolab.bench.surface import (
    AMBIENT_LIMIT_K,
    PATCH_EMISSIVITY,
    REFLECTED_LIMIT_K,
    THERMOCOUPLE_LIMIT_K,
    Surface,
    camera_limit,
    emissivity_of,
    surfaces,
)

Stream = Callable[[str], np.random.Generator]
"""The stream of a source, by its name."""
Truth = dict[tuple[str, ...], float]
"""What is true, by measurand, lamp, housing, point and instant, as in results.csv."""

CAMERA_STEP_K = 0.1
_FINE_LX = 1e-9  # step of a display whose last figure is not declared
INSTANTS = ("initial", "hold")


def watts(bench: Bench, stream: Stream) -> tuple[pd.DataFrame, Truth]:
    """Draw electrical.csv: every reading of a lamp is off by one share within its limit.

    Parameters
    ----------
    bench : Bench
        The bench as it was read; its watts are taken as true. [W]
    stream : callable
        Gives the stream of a source.

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and the watts of each lamp. [W]
    """
    table = bench.tables["electrical"]
    limit = table["uncertainty_percent"].fillna(POWER_LIMIT_PERCENT).to_numpy() / 100.0
    lamp = pd.factorize(table["lamp"])[0]
    off = 1.0 + limit * stream("power reading").uniform(-1.0, 1.0, lamp.max(initial=0) + 1)[lamp]
    found = [(x, when, lamp_power(bench, x, when)) for x in dict.fromkeys(table["lamp"]) for when in INSTANTS]
    truth: Truth = {
        ("electrical power", str(x), "", "", when): one.watts.value
        for x, when, one in found
        if one is not None
    }
    return table.assign(power_W=table["power_W"] * off, current_A=table["current_A"] * off), truth


def temperatures(bench: Bench, stream: Stream) -> tuple[pd.DataFrame, Truth]:
    """Draw thermal.csv: what a camera shows of surfaces whose emissivity and room are within their limits.

    Parameters
    ----------
    bench : Bench
        The bench as it was read; a place has the temperature of the patch on it, else of what was read there. [degC]
    stream : callable
        Gives the stream of a source.

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and surface temperature [degC] and temperature rise [K] at the hold time.
    """
    rows = surfaces(bench)
    size = len(rows)
    away = {
        name: stream(name).uniform(-1.0, 1.0, size)
        for name in ("emissivity", "reflected", "camera", "ambient")
    }
    true = _true_temperatures(rows)
    shown = np.array([one.displayed for one in rows])
    for k, one in enumerate(rows):
        if math.isnan(true[k]):
            continue
        if one.method == "thermocouple":
            shown[k] = true[k] + THERMOCOUPLE_LIMIT_K * away["camera"][k]
            continue
        limits = emissivity_of(one.emissivity, one.emissivity_half_width, ())
        e = limits.value + math.sqrt(3.0) * limits.u * away["emissivity"][k]
        room = one.reflected + REFLECTED_LIMIT_K * away["reflected"][k]
        display = camera_display(
            true[k], e, room, set_emissivity=one.set_emissivity, set_reflected_C=one.reflected
        )
        shown[k] = display + camera_limit(display) * away["camera"][k]
    at_hold = {one.where for one in surfaces(bench, at_hold=True)}
    truth: Truth = {}
    for k, one in enumerate(rows):
        if one.where in at_hold and not math.isnan(true[k]):
            key = (one.lamp, "", ", ".join(part for part in (one.place, one.method) if part), "hold")
            truth["surface temperature", *key] = true[k]
            truth["temperature rise", *key] = true[k] - one.ambient + AMBIENT_LIMIT_K * away["ambient"][k]
    return bench.tables["thermal"].assign(displayed_C=np.round(shown / CAMERA_STEP_K) * CAMERA_STEP_K), truth


def _true_temperatures(rows: tuple[Surface, ...]) -> Array:
    """Return what is taken as the true temperature of each row: one for all methods at a place and time [degC]."""
    best: dict[tuple[str, str, float], tuple[bool, float]] = {}
    for one in rows:
        found = (one.method in PATCH_EMISSIVITY, one.value)
        place = (one.lamp, one.place, one.elapsed_s)
        if not math.isnan(one.value) and found[0] >= best.get(place, (False, 0.0))[0]:
            best[place] = found
    return np.array([best.get((x.lamp, x.place, x.elapsed_s), (False, math.nan))[1] for x in rows])


_runs = lru_cache(maxsize=4)(evaluate_distances)


def intensities(bench: Bench, stream: Stream) -> tuple[pd.DataFrame, Truth]:
    """Draw distance.csv: light that falls by the inverse square from a centre within its limits.

    Parameters
    ----------
    bench : Bench
        The bench as it was read; the intensity of a run for which the inverse square holds is taken as true. [cd]
    stream : callable
        Gives the stream of a source.

    Returns
    -------
    tuple of (DataFrame, dict)
        The table, and the luminous intensity of each such run; the rows of the others are left out. [cd]
    """
    table = bench.tables["distance"]
    truth: Truth = {}
    blocks = []
    for run in _runs(bench):
        mine = (table["run"] == run.run) & (table["lamp"] == run.lamp) & (table["housing"] == run.housing)
        if run.law == "inverse_square" and run.published is not None:
            block = table[mine].reset_index(drop=True)
            blocks.append(block.assign(**_run_shown(bench, run, block, stream)))
            truth["luminous intensity", run.lamp, run.housing, "hot_spot", ""] = run.published.value
    return pd.concat(blocks, ignore_index=True) if blocks else table.iloc[:0], truth


def _run_shown(bench: Bench, run: DistanceResult, block: pd.DataFrame, stream: Stream) -> dict[str, Array]:
    """Return what the meter shows along one run, with its dark readings."""
    of = "/".join(run.key)
    size, place, meter = len(block), run.place, bench.meters[run.meter]
    level = pd.factorize(block["distance_m"])[0]

    def flat(name: str, many: int = 1) -> Array:
        return stream(f"{name} {of}").uniform(-1.0, 1.0, many)

    tape = tape_limit(place)[0] / math.sqrt(2.0)  # half of the variance common to the run
    away = block["distance_m"].to_numpy() + tape * (flat("tape zero") + flat("placement", size))
    away += run.centre.value + place.offset_uncertainty_mm / 1000.0 * flat("photometric centre")
    published = math.nan if run.published is None else run.published.value
    light = published / away**2
    for q, c in run.relative.parts.items():
        law = stream(f"{q.name} {of}")
        x = math.sqrt(3.0) * law.uniform(-1.0, 1.0) if q.law == "rectangular" else law.standard_normal()
        light = light * (1.0 + c * q.u * x)
    light = light / block["distance_m"].map(run.points.set_index("distance_m")["factor"]).to_numpy(float)
    linear = instruments.linearity_percent(meter) / 100.0 * flat("linearity", level.max() + 1)[level]
    scatter = 1.0 + READING_SD * stream(f"noise {of}").standard_normal(size)
    step = instruments.resolution_lx(meter, float(block["range_lx"].max())) or _FINE_LX
    dark = block["dark_lx"].to_numpy(float)
    between = (
        step / 2.0 * flat("dark reading", level.max() + 1)[level]
    )  # the room's light, between two figures
    room = np.where(np.isnan(dark), 0.0, dark + between)
    zero = (
        0.0
        if run.additive_from == "dark reading"
        else run.additive.u * math.sqrt(3.0) * flat("range term")[0]
    )
    shown = light * (1.0 + linear) * scatter + room + zero
    return {"illuminance_lx": np.round(shown / step) * step}


DRAWN = {"electrical": watts, "thermal": temperatures, "distance": intensities}
"""What draws a table, by its name."""
