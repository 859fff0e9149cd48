"""From the lux at the bench's distance to candela, with every term of the doubt, for one lamp in one housing."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.distance_terms import (
    assumed_lengths,
    assumed_of_meters,
    photometric_centre,
    relative_inputs,
    tape_limit,
)
from photolab.bench.inputs.readings import bench_spreads
from photolab.bench.inputs.selection import select
from photolab.bench.inputs.shared_inputs import link_input, spread_input
from photolab.bench.inputs.spreads import Spreads
from photolab.bench.results.distances import DistanceResult, near_field_ratio
from photolab.bench.terms import instruments
from photolab.bench.terms.model import Bench, Housing, Meter
from photolab.metrology.quantity import Input, Measured, combine, limits, measured
from photolab.photometry.distance import luminous_intensity, tilt_loss

SETTLED = frozenset({"inverse_square", "near_field"})


@dataclass(frozen=True)
class BenchLight:
    """The light of one lamp at the bench's distance, and the lengths that turn it into candela.

    Attributes
    ----------
    lamp, housing : str
        Which.
    light : Measured
        Mean of the seatings, corrected. [lx]
    distance, centre : Measured
        From the reference face to the meter head, and of the photometric centre behind the face. [m]
    run : DistanceResult or None
        What shows that candela may be quoted, and by which law; None where nothing does.
    seatings : int
        Seatings behind the mean.
    lower_range : bool
        Whether the reading fits on a lower range of the meter.
    coverage : float
        Coverage probability of the bench. [1]
    assumed : tuple of str
        Defaults that entered.
    """

    lamp: str
    housing: str
    light: Measured = field(repr=False)
    distance: Measured
    centre: Measured
    run: DistanceResult | None = field(repr=False)
    seatings: int
    lower_range: bool
    coverage: float
    assumed: tuple[str, ...] = ()

    @property
    def near_field(self) -> Measured | float:
        """What the near field of the run leaves of the light at this distance; 1 where no such law applies [1]."""
        run = self.run
        if run is None or run.law != "near_field" or run.fit is None or run.shape is None:
            return 1.0
        ratio: Measured = near_field_ratio(run.fit.model, run.shape, self.distance)
        # which law bends the run is as doubtful here
        spread = {} if run.candela is None else run.candela.only("model spread").parts
        return ratio * measured(1.0, *((q, -c / run.intensity) for q, c in spread.items()))


@dataclass(frozen=True)
class BenchCandela:
    """What the readings at the bench's distance give in candela.

    Attributes
    ----------
    of : BenchLight
        The readings.
    intensity : Measured
        Luminous intensity towards the meter head. [cd]
    """

    of: BenchLight
    intensity: Measured = field(repr=False)

    @property
    def apparent(self) -> bool:
        """Whether nothing shows that the inverse square applies."""
        return self.of.run is None

    @property
    def lower_range(self) -> bool:
        """Whether the range term is the largest and the reading fits on a lower range."""
        parts = {kind: self.intensity.only(kind).u for kind in {q.kind for q in self.intensity.parts}}
        return self.of.lower_range and max(parts, key=lambda kind: parts[kind]) == "range term"


def bench_candela(
    bench: Bench,
    *,
    lamp: str | None = None,
    runs: tuple[DistanceResult, ...] = (),
    corrections: Iterable[str] = steps.ALL,
) -> tuple[BenchCandela, ...]:
    r"""Return the candela of lamps from their readings at the bench's distance, in every housing.

    .. math:: I = E \, (d + o)^2 / (1 - q/d^2)

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp, runs, corrections
        As for `bench_light`.

    Returns
    -------
    tuple of BenchCandela
        One a lamp and housing that states its distance; empty otherwise.
    """
    found = []
    for at in bench_light(bench, lamp=lamp, runs=runs, corrections=corrections):
        intensity = luminous_intensity(at.light, at.distance, offset=at.centre) / at.near_field  # type: ignore[arg-type]
        found.append(BenchCandela(at, intensity.in_unit("cd")))
    return tuple(found)


def bench_light(
    bench: Bench,
    *,
    lamp: str | None = None,
    runs: tuple[DistanceResult, ...] = (),
    corrections: Iterable[str] = steps.ALL,
) -> tuple[BenchLight, ...]:
    """Return the light of lamps at the bench's distance, the mean of their seatings, in every housing.

    Parameters
    ----------
    bench : Bench
        The bench.
    lamp : str, optional
        The lamp; every lamp where not given.
    runs : tuple of DistanceResult
        Distance runs; one of the lamp in the housing says whether the inverse square applies and by how much it fails.
    corrections : iterable of str, default all
        Corrections to apply, out of `corrections.CORRECTIONS`.

    Returns
    -------
    tuple of BenchLight
        One a lamp and housing that states its distance; empty otherwise.
    """
    chosen, wanted = select(bench).readings, frozenset(corrections)
    placed = chosen["housing"].map({name: place.distance_m for name, place in bench.housings.items()}).notna()
    chosen = chosen[placed & (chosen["instant"] == "initial") & ((chosen["lamp"] == lamp) | (lamp is None))]
    if chosen.empty or (spreads := bench_spreads(bench, wanted)) is None:
        return ()
    laws = SETTLED if "near_field" in wanted else SETTLED - {"near_field"}
    made = []
    for (name, place), block in chosen.groupby(["lamp", "housing"], sort=False):
        run = next((r for r in runs if (r.lamp, r.housing) == (name, place) and r.law in laws), None)
        made.append(_at(bench, bench.housings[str(place)], block, spreads, run, wanted))
    return tuple(made)


def _at(
    bench: Bench,
    place: Housing,
    block: pd.DataFrame,
    spreads: Spreads,
    run: DistanceResult | None,
    wanted: frozenset[str],
) -> BenchLight:
    """Return the light of a lamp in one housing."""
    lamp, meter = str(block["lamp"].iloc[0]), bench.meters[str(block["onto"].iloc[0])]
    rows = steps.apply(block, bench, wanted).readings
    dark_off = "dark" in wanted and bool(block["dark_lx"].notna().all())
    seats = rows.groupby(["specimen", "day", "mounting"], dropna=False)["ln_value"].mean()
    top = float(block["range_lx"].max())
    seated = _seated(seats, (lamp, place.id), spreads)
    additive = [] if dark_off and run is not None else [instruments.range_input(meter, top, (f"{top:g}",))]
    step = instruments.resolution_lx(meter, top) / 2.0
    figure = limits(("last figure", lamp, place.id), step / math.sqrt(len(seats)), kind="resolution")
    dark = limits(("dark reading", lamp, place.id), step if dark_off else 0.0, kind="resolution")
    factor = math.exp(rows["ln_correction"].mean())  # what the meter shows is corrected with the light
    shown = measured(0.0, *((q, factor) for q in (figure, dark, *additive)))
    light = seated * _relative(bench, meter, rows, top, place) + shown
    tape, source = tape_limit(place)
    length = limits(("distance", place.id), tape, kind="distance", source=source)
    return BenchLight(
        lamp=lamp,
        housing=place.id,
        light=light.in_unit("lx"),
        distance=measured(place.distance_m, length, unit="m"),
        centre=photometric_centre(place),
        run=run,
        seatings=len(seats),
        lower_range=any(light.value <= r for r in meter.ranges_lx if r < top),
        coverage=bench.settings.coverage,
        assumed=(*assumed_lengths(place), *_assumed(bench, place, spreads), *assumed_of_meters(bench, light)),
    )


def _seated(seats: "pd.Series[float]", where: tuple[str, str], spreads: Spreads) -> Measured:
    """Return the mean of the seatings, with the scatter of seatings and days. [lx]."""
    means, (lamp, housing), of_day = [], where, spreads.day
    own = spreads.seating_in(housing)
    for key, value in seats.items():
        specimen, day, mounting = (str(part) for part in key)  # type: ignore[attr-defined]
        seat = spread_input(
            "mounting", (lamp, specimen, housing, day, mounting), own.sd, own.dof, pool=housing
        )
        means.append(measured(float(value), seat, spread_input("day", (day, housing), of_day.sd, of_day.dof)))
    light: Measured = np.exp(combine(np.full(len(means), 1.0 / len(means)), means))
    return light


def _relative(bench: Bench, meter: Meter, rows: pd.DataFrame, top: float, place: Housing) -> Measured:
    """Return 1 with the relative inputs of a reading: scale, link, linearity, colour, supply, tilt."""
    lamp = str(rows["lamp"].iloc[0])
    linear = instruments.linearity_input(meter, (f"{top:g}", lamp, place.id))
    tilt = tilt_loss(math.radians(place.tilt_uncertainty_deg) / math.sqrt(3.0))
    linked = rows[rows["meter"] != rows["onto"]].groupby(["meter", "technology"], sort=False)
    links = [
        (link_input(str(of), str(kind), one["link_u"].iloc[0], one["link_dof"].iloc[0]), len(one) / len(rows))
        for (of, kind), one in linked
    ]
    tilted = Input(("tilt", place.id), tilt, kind="angle", source="assumed")
    common = relative_inputs(bench, meter, rows, top, (lamp, place.id))
    return common + measured(0.0, *links, linear, tilted)


def _assumed(bench: Bench, place: Housing, spreads: Spreads) -> list[str]:
    """Return which spreads are assumed."""
    declared, seating = bench.settings.declared, spreads.seating_in(place.id)
    found = {
        f"scatter of seatings {bench.settings.mounting_sd_percent:g} %": seating.assumed
        and "mounting_sd_percent" not in declared,
        f"scatter of days {bench.settings.day_sd_percent:g} %": "day_sd_percent" not in declared,
    }
    return [said for said, holds in found.items() if holds]
