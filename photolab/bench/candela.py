"""From the lux at the bench's distance to candela, with every term of the doubt, for one lamp in one housing."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.bench_scatter import bench_spreads
from photolab.bench.distance_laws import shape_ratio
from photolab.bench.distance_terms import TAPE_LIMIT_MM, centre_input, colour_input, scale_parts, supply_u
from photolab.bench.distances import DistanceResult
from photolab.bench.model import Bench, Housing, Meter
from photolab.bench.selection import select
from photolab.bench.shared_inputs import link_input
from photolab.bench.spreads import Spread, Spreads
from photolab.metrology.quantity import Input, Measured, apply, combine, limits, measured
from photolab.photometry.distance import luminous_intensity, tilt_loss

SETTLED = frozenset({"inverse_square", "near_field"})


@dataclass(frozen=True)
class BenchCandela:
    """What the readings at the bench's distance give in candela.

    Attributes
    ----------
    lamp, housing : str
        Which.
    illuminance : float
        Mean of the seatings, corrected. [lx]
    distance, offset : float
        To the meter head, and the declared photometric centre behind the face. [m]
    seatings : int
        Seatings behind the mean.
    intensity : Measured
        Luminous intensity towards the meter head. [cd]
    coverage : float
        Coverage probability of the bench. [1]
    apparent : bool
        Whether nothing shows that the inverse square holds.
    lower_range : bool
        Whether the range term is the largest and the reading fits on a lower range.
    assumed : tuple of str
        Defaults that entered.
    """

    lamp: str
    housing: str
    illuminance: float
    distance: float
    offset: float
    seatings: int
    intensity: Measured = field(repr=False)
    coverage: float
    apparent: bool
    lower_range: bool
    assumed: tuple[str, ...] = ()


def bench_candela(
    bench: Bench,
    *,
    lamp: str,
    runs: tuple[DistanceResult, ...] = (),
    corrections: Iterable[str] = steps.ALL,
) -> tuple[BenchCandela, ...]:
    """Return the candela of one lamp from its readings at the bench's distance, in every housing.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str
        The lamp.
    runs : tuple of DistanceResult
        Distance runs; one of the lamp in the housing says whether the inverse square holds and by how much it fails.
    corrections : iterable of str, default all
        Corrections to apply, out of `corrections.CORRECTIONS`.

    Returns
    -------
    tuple of BenchCandela
        One a housing that states its distance and in which the lamp was read; empty otherwise.
    """
    chosen = select(bench).readings
    chosen = chosen[(chosen["lamp"] == lamp) & (chosen["instant"] == "initial")]
    placed = [
        (bench.housings[str(name)], block)
        for name, block in chosen.groupby("housing", sort=False)
        if str(name) in bench.housings and not math.isnan(bench.housings[str(name)].distance_m)
    ]
    wanted = frozenset(corrections)
    if not placed or (spreads := bench_spreads(bench, wanted)) is None:
        return ()
    laws = SETTLED if "near_field" in wanted else SETTLED - {"near_field"}
    made = []
    for place, block in placed:
        run = next((r for r in runs if (r.lamp, r.housing) == (lamp, place.id) and r.law in laws), None)
        made.append(_one(bench, place, block, spreads, run, wanted))
    return tuple(made)


def _one(
    bench: Bench,
    place: Housing,
    block: pd.DataFrame,
    spreads: Spreads,
    run: DistanceResult | None,
    wanted: frozenset[str],
) -> BenchCandela:
    """Return the candela of a lamp in one housing."""
    lamp, meter = str(block["lamp"].iloc[0]), bench.meters[str(block["onto"].iloc[0])]
    rows = steps.apply(block, bench, wanted).readings
    dark_off = "dark" in wanted and bool(block["dark_lx"].notna().all())
    seats = rows.groupby(["specimen", "day", "mounting"], dropna=False)["ln_value"].mean()
    lux, top = math.exp(float(seats.mean())), float(block["range_lx"].max())
    seen = dark_off and run is not None
    light = _seated(seats, (lamp, place.id), spreads) * _relative(bench, meter, rows, top, place)
    additive = [] if seen else [instruments.range_input(meter, top, (f"{top:g}",))]
    step = instruments.resolution_lx(meter, top) / 2.0
    figure = limits(("last figure", lamp, place.id), step / math.sqrt(len(seats)), kind="resolution")
    dark = limits(("dark reading", lamp, place.id), step if dark_off else 0.0, kind="resolution")
    light = light + measured(0.0, figure, dark, *additive)
    stated = not math.isnan(place.distance_uncertainty_mm)
    tape = (place.distance_uncertainty_mm if stated else TAPE_LIMIT_MM) / 1000.0
    source = "manual" if stated else "assumed"
    metres = measured(
        place.distance_m, limits(("distance", place.id), tape, kind="distance", source=source), unit="m"
    )
    centre = measured(place.offset_mm / 1000.0, centre_input(place), unit="m")
    model, shape = _near_field(run)

    def per_lux(q: float, d: float, o: float) -> float:
        return float(luminous_intensity(1.0 / shape_ratio(model, q, d), d, offset=o))

    # the law is a product: light that its range term could make negative needs no law below zero
    intensity = light * apply(per_lux, shape, metres, centre)
    if model and run is not None and run.candela is not None:  # which law bends the run is as doubtful here
        share = intensity.value / run.candela.value
        laws = [(q, share * c) for q, c in run.candela.parts.items() if q.kind == "model spread"]
        intensity = intensity + measured(0.0, *laws)
    parts = {kind: intensity.only(kind).u for kind in {q.kind for q in intensity.parts}}
    fits = any(lux <= r for r in meter.ranges_lx if r < top)
    return BenchCandela(
        lamp=lamp,
        housing=place.id,
        illuminance=lux,
        distance=place.distance_m,
        offset=place.offset_mm / 1000.0,
        seatings=len(seats),
        intensity=intensity.in_unit("cd"),
        coverage=bench.settings.coverage,
        apparent=run is None,
        lower_range=fits and max(parts, key=lambda kind: parts[kind]) == "range term",
        assumed=_assumed(bench, place, spreads, stated=stated),
    )


def _near_field(run: DistanceResult | None) -> tuple[str, Measured]:
    """Return the near-field law of a run and its parameter; the inverse square where none bends it."""
    if run is None or run.law != "near_field" or run.fit is None or run.shape is None:
        return "", measured(0.0)
    return run.fit.model, run.shape


def _seated(seats: "pd.Series[float]", where: tuple[str, str], spreads: Spreads) -> Measured:
    """Return the mean of the seatings, with the scatter of seatings and days. [lx]."""
    means = []
    for key, value in seats.items():
        specimen, day, mounting = (str(part) for part in key)  # type: ignore[attr-defined]
        lamp, housing = where
        key = (lamp, specimen, housing, day, mounting)
        seat = _scatter("seating", key, spreads.seating_in(housing), pool=housing)
        means.append(measured(float(value), seat, _scatter("day", (day, housing), spreads.day)))
    light: Measured = np.exp(combine(np.full(len(means), 1.0 / len(means)), means))
    return light


def _scatter(kind: str, key: tuple[str, ...], spread: Spread, *, pool: str = "pooled") -> Input:
    """Return an input whose standard deviation was pooled over the campaign, or assumed."""
    pooled = None if spread.assumed else (kind, pool)
    source = "assumed" if spread.assumed else "own readings"
    return Input((kind, *key), spread.sd, dof=spread.dof, kind=kind, source=source, variance=pooled)


def _relative(bench: Bench, meter: Meter, rows: pd.DataFrame, top: float, place: Housing) -> Measured:
    """Return 1 with the relative inputs of a reading: scale, link, linearity, colour, supply, tilt."""
    lamp = str(rows["lamp"].iloc[0])
    linear = instruments.linearity_input(meter, (f"{top:g}", lamp, place.id))
    tilt = tilt_loss(math.radians(place.tilt_uncertainty_deg) / math.sqrt(3.0))
    linked = rows[rows["meter"] != rows["onto"]].groupby(["meter", "technology"], sort=False)
    links = [
        (
            link_input(str(meter_id), str(kind), block["link_u"].iloc[0], block["link_dof"].iloc[0]),
            len(block) / len(rows),
        )
        for (meter_id, kind), block in linked
    ]
    return measured(
        1.0,
        *scale_parts(meter, top),
        *links,
        linear,
        colour_input(meter, rows),
        Input(("supply", lamp, place.id), supply_u(bench, rows), kind="supply", source="assumed"),
        Input(("tilt", place.id), tilt, kind="angle", source="assumed"),
    )


def _assumed(bench: Bench, place: Housing, spreads: Spreads, *, stated: bool) -> tuple[str, ...]:
    """Return the defaults that entered."""
    assumed = [] if stated else [f"distance within {TAPE_LIMIT_MM:g} mm"]
    if "offset_mm" not in place.declared:
        assumed.append(f"photometric centre at the face within {place.offset_uncertainty_mm:g} mm")
    declared = bench.settings.declared
    seating = spreads.seating_in(place.id)
    if seating.assumed and "mounting_sd_percent" not in declared:
        assumed.append(f"scatter of seatings {100.0 * seating.sd:g} %")
    if spreads.day.assumed and "day_sd_percent" not in declared:
        assumed.append(f"scatter of days {100.0 * spreads.day.sd:g} %")
    return tuple(assumed)
