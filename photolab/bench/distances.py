"""Distance runs of the bench: from lux at several distances to an intensity, or why there is none.

One result a run. A reading's own doubt is its scatter and last figure; what all readings of a run share
(range term or dark reading, zero of the tape, scale, linearity, colour, supply) is one input each and enters
after the fit. Candela may be quoted at the bench's distance only where the readings outward from there
follow the inverse square about the declared photometric centre; where a near-field law explains the run, its
intensity may be quoted with that law named; else what remains is an apparent intensity at a stated distance.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench.distance_laws import (
    NEAR_FIELD_TOLERANCE,
    LawsTried,
    choose_law,
    fitted,
    geometric_distance,
    shape_ratio,
    try_laws,
)
from photolab.bench.distance_terms import SharedTerms, distance_points, reading_scatter, shared_terms
from photolab.bench.model import Bench, Housing
from photolab.bench.rows import result_row
from photolab.metrology.quantity import Input, Measured, apply, measured
from photolab.photometry.distance import FarField, FitComparison, InverseSquareFit, luminous_intensity

_SAME_PLACE_M = 0.001


@dataclass(frozen=True, eq=False)
class DistanceResult:
    """What one distance run says.

    Attributes
    ----------
    run, lamp, housing, meter : str
        Identity.
    bench_distance, declared_offset : float
        Where the bench reads, and its declared photometric centre behind the reference face. [m]
    points : DataFrame
        One row a distance: distance_m, illuminance_lx (corrected mean), u_lx, repeats, product_cd
        (illuminance times distance squared from the reference face), product_u_cd, fitted_lx,
        residual_percent.
    shared : SharedTerms
        What the readings have in common.
    comparison : FitComparison or None
        Competing laws; None where there are too few distances or no law is kept.
    laws : DataFrame
        Table of the competing laws; empty where there are too few distances.
    offset_fit : InverseSquareFit or None
        The inverse square with a free photometric centre.
    fit : InverseSquareFit or None
        The fit behind `law`; without a law the one that comes nearest.
    flatness : FarField or None
        From where outward the readings follow the inverse square about the declared centre.
    law : str
        ``inverse_square``, ``near_field`` or "" where no intensity may be quoted.
    candela : Measured or None
        Luminous intensity; None where none may be quoted. [cd]
    shape : Measured or None
        Fitted parameter of the law quoted: the photometric centre behind the face, or that of the near field;
        None where none was fitted. [m or m2]
    apparent : Measured or None
        Illuminance at the bench's distance times the squared distance to the declared centre; None where the
        run has no reading there. [cd]
    coverage : float
        Coverage probability of the bench. [1]
    near_field_percent : float
        By how much the law leaves the inverse square at the bench's distance; NaN where no law holds. [%]
    geometric_distance : float
        Smallest distance that the size of the opening allows for 1 %; NaN where it is not declared. [m]
    corrections : tuple of str
        Corrections that changed a reading or the law quoted.
    codes : tuple of str
        What else must be said.
    assumed : tuple of str
        Defaults that entered.
    """

    run: str
    lamp: str
    housing: str
    meter: str
    bench_distance: float
    declared_offset: float
    points: pd.DataFrame = field(repr=False)
    shared: SharedTerms
    comparison: FitComparison | None = field(repr=False)
    laws: pd.DataFrame = field(repr=False)
    offset_fit: InverseSquareFit | None = field(repr=False)
    fit: InverseSquareFit | None = field(repr=False)
    flatness: FarField | None = field(repr=False)
    law: str
    candela: Measured | None
    shape: Measured | None
    apparent: Measured | None
    coverage: float
    near_field_percent: float
    geometric_distance: float
    corrections: tuple[str, ...]
    codes: tuple[str, ...]
    assumed: tuple[str, ...]

    @property
    def quotable(self) -> bool:
        """Whether lux at the bench's distance may be turned into candela by the inverse square alone."""
        return self.law == "inverse_square"

    @property
    def intensity(self) -> float:
        """Luminous intensity, NaN where none may be quoted [cd]."""
        return math.nan if self.candela is None else self.candela.value

    @property
    def low(self) -> float:
        """Lower end of its interval [cd]."""
        return math.nan if self.candela is None else self.candela.interval(self.coverage)[0]

    @property
    def high(self) -> float:
        """Upper end of its interval [cd]."""
        return math.nan if self.candela is None else self.candela.interval(self.coverage)[1]

    @property
    def centre(self) -> Measured | None:
        """Fitted photometric centre behind the face; None unless the law is that of a free centre [m]."""
        return self.shape if self.fit is not None and self.fit.model == "offset" else None

    @property
    def smallest_usable(self) -> float:
        """Smallest distance of this run from which the inverse square may be used; NaN if none. [m]."""
        shown = math.nan if self.flatness is None else self.flatness.smallest_distance - self.declared_offset
        if self.law == "near_field" and self.fit is not None:
            ratios = [shape_ratio(self.fit.model, self.fit.offset, d) for d in self.points["distance_m"]]
            near = zip(self.points["distance_m"], ratios, strict=True)
            shown = min((d for d, r in near if abs(r - 1.0) <= NEAR_FIELD_TOLERANCE), default=math.nan)
        return shown if math.isnan(self.geometric_distance) else max(shown, self.geometric_distance)


def evaluate_distances(
    bench: Bench, *, corrections: Iterable[str] = steps.ALL, range_term: bool = True
) -> tuple[DistanceResult, ...]:
    """Evaluate every run of distance.csv.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str, default all
        Corrections to apply, out of `corrections.CORRECTIONS`; without ``dark`` the range term of the manual
        stands for what the dark reading would have shown, without ``near_field`` only the inverse square is
        quoted.
    range_term : bool, default True
        Count the additive error of the range; False shows what leaving it out does.

    Returns
    -------
    tuple of DistanceResult
        In file order; empty where the bench has no run.
    """
    table, wanted = bench.tables["distance"], frozenset(corrections)
    keys = ["run", "lamp", "housing"]  # one name for two lamps is two runs
    known = [(str(key[0]), block) for key, block in table.groupby(keys, sort=False)]
    return tuple(_evaluate_run(bench, run, block, wanted, range_term) for run, block in known)


def _evaluate_run(
    bench: Bench, run: str, block: pd.DataFrame, wanted: frozenset[str], range_term: bool
) -> DistanceResult:
    """Evaluate one run."""
    first = block.iloc[0]
    lamp, meter, housing = (
        str(first["lamp"]),
        bench.meters[str(first["meter"])],
        bench.housings[first["housing"]],
    )
    dark = block["dark_lx"].fillna(0.0) if "dark" in wanted else 0.0
    lit = block["illuminance_lx"] - dark > 0.0
    corrected = steps.apply(block[lit].assign(ambient_C=math.nan), bench, wanted - {"near_field"})
    rows = corrected.readings.assign(value_lx=np.exp(corrected.readings["ln_value"].to_numpy(float)))
    shared, assumed = shared_terms(bench, block, rows, meter, housing, wanted, range_term)
    scatter, scatter_assumed = reading_scatter(bench, rows, lamp)
    points = distance_points(rows, meter, scatter, shared)
    codes = _cautions(block, lit, shared)
    found = try_laws(points, shared, housing)
    key = (run, lamp, housing.id)
    summary = _summary(points, shared, housing, found, key, near_field="near_field" in wanted)
    return DistanceResult(
        run=run,
        lamp=lamp,
        housing=housing.id,
        meter=meter.id,
        bench_distance=housing.distance_m,
        declared_offset=housing.offset_mm / 1000.0,
        points=_with_fit(points, summary["fit"]),
        shared=shared,
        comparison=found.comparison,
        laws=found.table,
        offset_fit=found.offset_fit,
        flatness=found.flatness,
        geometric_distance=geometric_distance(housing),
        corrections=(*corrected.applied, *(["near_field"] if summary["law"] == "near_field" else [])),
        coverage=bench.settings.coverage,
        codes=(*summary.pop("codes"), *codes),
        assumed=(*assumed, *scatter_assumed),
        **summary,
    )


def _cautions(block: pd.DataFrame, lit: "pd.Series[bool]", shared: SharedTerms) -> list[str]:
    """Return what a run's readings call for saying."""
    taken = block["dark_lx"].notna()
    some_dark = bool(taken.any()) and not bool(taken.all())
    found = {
        "dark_in_some_rows": some_dark,
        "no_dark_reading": shared.additive_from == "manual" and not some_dark,
        "range_term_ignored": shared.additive_from == "ignored",
        "dark_as_large": not bool(lit.all()),
        "range_unknown": bool(block["range_lx"].isna().any()),
        "several_seatings": block.groupby(["specimen", "day", "mounting"], dropna=False).ngroups > 1,
        "several_ranges": len(set(block["range_lx"])) > 1,
        "several_meters": len(set(block["meter"])) > 1,
    }
    return [code for code, holds in found.items() if holds]


def _summary(
    points: pd.DataFrame,
    shared: SharedTerms,
    housing: Housing,
    found: LawsTried,
    run: tuple[str, ...],
    *,
    near_field: bool,
) -> dict[str, Any]:
    """Return intensity, offset, what may be quoted, and why."""
    law, fit, spread, codes = choose_law(found, housing, near_field=near_field)
    intensity: Measured | None = None
    shape: Measured | None = None
    if fit is not None:
        intensity, shape = fitted(fit, shared, run)
        laws = Input(("choice of law", *run), spread, law="rectangular", kind="model spread")
        intensity = (intensity + measured(0.0, laws)).in_unit("cd")
    away = math.nan if fit is None else 100.0 * (shape_ratio(fit.model, fit.offset, housing.distance_m) - 1.0)
    return {
        "law": law,
        "fit": fit if fit is not None else found.quoted,
        "candela": intensity,
        "shape": shape,
        "apparent": _apparent(points, shared, housing, run),
        "near_field_percent": away,
        "codes": [*found.refusals, *codes],
    }


def _apparent(
    points: pd.DataFrame, shared: SharedTerms, housing: Housing, run: tuple[str, ...]
) -> Measured | None:
    """Return the apparent intensity at the bench's distance [cd]."""
    here = points[(points["distance_m"] - housing.distance_m).abs() < _SAME_PLACE_M]
    if here.empty:
        return None
    lux = float(here.iloc[0]["illuminance_lx"])
    own = Input(
        ("reading at the bench's distance", *run), float(here.iloc[0]["u_lx"]), kind="reading scatter"
    )
    placed = Input(("placement at the bench's distance", *run), shared.placement_m, kind="distance")
    per_lux = apply(
        lambda metres, centre: luminous_intensity(1.0, metres, offset=centre),
        measured(housing.distance_m, shared.zero, placed, unit="m"),
        measured(housing.offset_mm / 1000.0, shared.centre, unit="m"),
    )
    light = measured(lux, own, shared.additive, *shared.acting(lux), unit="lx")
    intensity: Measured = light * per_lux
    return intensity.in_unit("cd")


def _with_fit(points: pd.DataFrame, fit: InverseSquareFit | None) -> pd.DataFrame:
    """Return the points with the fitted illuminance and what is left in percent of it."""
    if fit is None or len(fit.fitted) != len(points):
        return points.assign(fitted_lx=math.nan, residual_percent=math.nan)
    return points.assign(fitted_lx=fit.fitted, residual_percent=100.0 * fit.residuals / fit.fitted)


def distance_rows(bench: Bench, *, results: tuple[DistanceResult, ...] | None = None) -> pd.DataFrame:
    """Return intensities as rows of the results table.

    Parameters
    ----------
    bench : Bench
        The bench.
    results : tuple of DistanceResult, optional
        As from `evaluate_distances`; evaluated anew if not given.

    Returns
    -------
    DataFrame
        measurand "luminous intensity" where it may be quoted, else "apparent luminous intensity". [cd]
    """
    runs = evaluate_distances(bench) if results is None else results
    return pd.DataFrame([_row(bench, one) for one in runs if one.law or one.apparent is not None])


def _row(bench: Bench, one: DistanceResult) -> dict[str, object]:
    """Return one row of the results table."""
    block = bench.tables["distance"]
    block = block[(block["run"] == one.run) & (block["lamp"] == one.lamp) & (block["housing"] == one.housing)]
    said = {
        "inverse_square": f"inverse square holds at {one.bench_distance:g} m",
        "near_field": f"by a near-field law ({one.near_field_percent:+.1f} % at {one.bench_distance:g} m)",
        "": f"apparent at {one.bench_distance:g} m, inverse square not shown to hold",
    }[one.law]
    return result_row(
        bench,
        one.candela if one.law else one.apparent,
        lamp=one.lamp,
        housing=one.housing,
        measurand="luminous intensity" if one.law else "apparent luminous intensity",
        point="hot_spot",
        n_specimens=block["specimen"].nunique(),
        n_mountings=block.groupby(["specimen", "day", "mounting"], dropna=False).ngroups,
        n_readings=len(block),
        n_days=block["day"].nunique(),
        conditions=f"{said}; run {one.run} over {one.points['distance_m'].min():g} to "
        f"{one.points['distance_m'].max():g} m",
        corrections=", ".join(one.corrections) or "none",
        assumed="; ".join(one.assumed) or "nothing",
    )
