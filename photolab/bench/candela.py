"""From the lux at the bench's distance to candela, with every term of the doubt, for one lamp in one housing."""

import math
from dataclasses import dataclass

import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.distance_laws import shape_ratio
from photolab.bench.distance_terms import TAPE_LIMIT_MM, colour_u, supply_u
from photolab.bench.distances import DistanceResult
from photolab.bench.model import Bench
from photolab.bench.selection import select
from photolab.photometry.distance import IntensityBudget, intensity_budget

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
    budget : IntensityBudget
        Intensity, uncertainty and parts; the scale holds linearity, colour and supply as well.
    assumed : tuple of str
        Defaults that entered.
    """

    lamp: str
    housing: str
    illuminance: float
    distance: float
    offset: float
    seatings: int
    budget: IntensityBudget
    assumed: tuple[str, ...] = ()

    @property
    def apparent(self) -> bool:
        """Whether nothing shows that the inverse square holds."""
        return "apparent" in self.budget.codes


def bench_candela(
    bench: Bench, *, lamp: str, runs: tuple[DistanceResult, ...] = ()
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

    Returns
    -------
    tuple of BenchCandela
        One a housing that states its distance and in which the lamp was read; empty otherwise.
    """
    chosen = select(bench).readings
    chosen = chosen[(chosen["lamp"] == lamp) & (chosen["instant"] == "initial")]
    made = []
    for housing, block in chosen.groupby("housing", sort=False):
        place = bench.housings.get(str(housing))
        if place is None or math.isnan(place.distance_m):
            continue
        run = next((r for r in runs if (r.lamp, r.housing) == (lamp, place.id) and r.law in SETTLED), None)
        made.append(_one(bench, lamp, str(housing), block, run))
    return tuple(made)


def _one(
    bench: Bench, lamp: str, housing: str, block: pd.DataFrame, run: DistanceResult | None
) -> BenchCandela:
    """Return the candela of a lamp in one housing."""
    place, meter = bench.housings[housing], bench.meters[str(block["meter"].iloc[0])]
    rows = steps.apply(block, bench).readings
    seats = rows.groupby(["specimen", "day", "mounting"], dropna=False)["ln_value"].mean()
    lux, top = math.exp(float(seats.mean())), float(block["range_lx"].max())
    dark = bool(block["dark_lx"].notna().all())
    step = instruments.resolution_lx(meter, top) / math.sqrt(12.0)
    manual = instruments.range_input(meter, top, (f"{top:g}",)).standard_uncertainty
    scatter = bench.settings.mounting_sd_percent / 100.0 / math.sqrt(len(seats))
    scale = [u.standard_uncertainty for u in instruments.scale_inputs(meter)]
    linear = instruments.linearity_input(meter, (f"{top:g}", lamp, housing)).standard_uncertainty
    shared = math.hypot(*scale, linear, colour_u(meter, rows), supply_u(bench, rows))
    ratio, near = _near_field(run, place.distance_m)
    stated = not math.isnan(place.distance_uncertainty_mm)
    tape = place.distance_uncertainty_mm if stated else TAPE_LIMIT_MM
    budget = intensity_budget(
        lux / ratio,
        place.distance_m,
        offset=place.offset_mm / 1000.0,
        reading_uncertainty=math.hypot(scatter * lux, step / math.sqrt(len(seats))),
        dark_uncertainty=step if dark else 0.0,
        range_uncertainty=0.0 if dark and run is not None else manual,
        scale_uncertainty=shared,
        distance_uncertainty=tape / 1000.0 / math.sqrt(3.0),
        offset_uncertainty=place.offset_uncertainty_mm / 1000.0 / math.sqrt(3.0),
        tilt_uncertainty=math.radians(place.tilt_uncertainty_deg) / math.sqrt(3.0),
        near_field_uncertainty=near,
        lower_ranges=[r for r in meter.ranges_lx if r < top],
    )
    assumed = [] if stated else [f"distance within {TAPE_LIMIT_MM:g} mm"]
    if "offset_mm" not in place.declared:
        assumed.append(f"photometric centre at the face within {place.offset_uncertainty_mm:g} mm")
    if "mounting_sd_percent" not in bench.settings.declared:
        assumed.append(f"scatter of seatings {bench.settings.mounting_sd_percent:g} %")
    offset = place.offset_mm / 1000.0
    return BenchCandela(lamp, housing, lux, place.distance_m, offset, len(seats), budget, tuple(assumed))


def _near_field(run: DistanceResult | None, distance: float) -> tuple[float, float | None]:
    """Return illuminance over the inverse square at a distance, and its relative doubt; None without a run."""
    if run is None:
        return 1.0, None
    if run.law == "inverse_square" or run.comparison is None:
        return 1.0, 0.0
    fit = run.comparison.fits[run.comparison.model]
    spread = fit.offset_uncertainty / distance**2
    return shape_ratio(fit, distance), math.hypot(spread, run.comparison.model_spread / run.intensity)
