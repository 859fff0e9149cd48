"""Distance runs of the bench: from lux at several distances to an intensity, or why there is none.

One result a run. A reading's own doubt is its scatter and last figure; what all readings of a run share
(range term or dark reading, zero of the tape, scale, linearity, colour, supply) is one input each and enters
after the fit. Candela may be quoted at the bench's distance only where the readings outward from there
follow the inverse square about the declared photometric centre; where a near-field law explains the run, its
intensity may be quoted with that law named; else what remains is an apparent intensity at a stated distance.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs import distance_terms as terms
from photolab.bench.inputs.rows import result_row
from photolab.bench.terms import instruments
from photolab.bench.terms.model import Bench, Housing, handed_out
from photolab.errors import MethodError
from photolab.metrology.quantity import Input, Measured, from_fit, limits, measured
from photolab.photometry.distance import (
    FarField,
    FitComparison,
    InverseSquareFit,
    compare_fits,
    far_field,
    fit_inverse_square,
    luminous_intensity,
    smallest_distance,
)

NEAR_FIELD_TOLERANCE = 0.01
"""Departure from the inverse square that geometry is allowed to give, assumed. [1]"""
_SAME_PLACE_M = 0.001


@dataclass(frozen=True, eq=False)
class DistanceRun:
    """A run as it was read, corrected, and what its readings may be off by.

    Attributes
    ----------
    run, lamp, meter : str
        Identity.
    place : Housing
        The housing.
    points : DataFrame
        One row a distance: distance_m, reading_lx and dark_lx (means), factor (of the other corrections),
        illuminance_lx (corrected mean), u_lx (of the mean by itself: scatter, last figure, linearity of the level,
        dark reading), repeats, product_cd (illuminance times distance squared from the reference face), product_u_cd,
        and own_percent (u_lx with the placement, of the reading).
    additive, zero : Input
        Additive error of the range, of what the meter shows, exact where a dark reading was taken off or it is
        ignored [lx]; zero of the tape [m]: common to the run.
    centre : Measured
        Declared photometric centre behind the face. [m]
    relative : Measured
        1 with scale, colour and supply. [1]
    placement_m : float
        Standard uncertainty of each placement by itself. [m]
    additive_from : str
        ``dark reading``, ``manual`` or ``ignored``.
    coverage : float
        Coverage probability of the bench. [1]
    corrections, codes, assumed : tuple of str
        What changed a reading, what else must be said, and which defaults entered.

    Notes
    -----
    The linearity errs at each level within its limit, and a dark reading of 0 may be half a step below or
    above: both enter each reading. Taken as common and exact they refuse four sound runs in ten.
    """

    run: str
    lamp: str
    meter: str
    place: Housing
    points: pd.DataFrame = field(repr=False)
    additive: Input
    zero: Input
    centre: Measured
    relative: Measured
    placement_m: float
    additive_from: str
    coverage: float
    corrections: tuple[str, ...]
    codes: tuple[str, ...]
    assumed: tuple[str, ...]

    @property
    def housing(self) -> str:
        """Name of the housing."""
        return self.place.id

    @property
    def key(self) -> tuple[str, str, str]:
        """Identity: one name for two lamps is two runs."""
        return self.run, self.lamp, self.place.id

    @property
    def shared(self) -> tuple[float, float, float]:
        """Standard uncertainties that all readings have in common: additive, zero of the tape, relative [lx, m, 1]."""
        return self.additive.u * self.factor, self.zero.u, self.relative.u

    @property
    def factor(self) -> float:
        """Corrected light for one lux that the meter shows, dark reading removed; the mean of the run [1]."""
        return float(self.points["factor"].mean())

    @property
    def geometric_distance(self) -> float:
        """Smallest distance that the size of the opening allows for 1 %; NaN where it is not declared [m]."""
        return float(smallest_distance(self.place.aperture_mm / 2000.0, tolerance=NEAR_FIELD_TOLERANCE))


@dataclass(frozen=True, eq=False)
class LawsTried:
    """Laws tried on a run.

    Attributes
    ----------
    comparison : FitComparison or None
        Competing laws; None where there are too few distances or none is kept.
    table : DataFrame
        Their table; empty where there are too few distances.
    offset_fit : InverseSquareFit or None
        The inverse square with a free centre.
    flatness : FarField or None
        From where outward the readings follow the inverse square about the declared centre.
    refusals : tuple of str
        Codes of what could not be tried.
    """

    comparison: FitComparison | None
    table: pd.DataFrame
    offset_fit: InverseSquareFit | None
    flatness: FarField | None
    refusals: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class DistanceResult(DistanceRun):
    """A run, and what it says in candela.

    Attributes
    ----------
    laws : LawsTried
        The laws tried.
    fit : InverseSquareFit or None
        The fit behind `law`; without a law the one that comes nearest.
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
    """

    laws: LawsTried = field(repr=False)
    fit: InverseSquareFit | None = field(repr=False)
    law: str
    candela: Measured | None
    shape: Measured | None
    apparent: Measured | None

    @property
    def published(self) -> Measured | None:
        """Intensity where a law may be quoted, else the apparent one [cd]."""
        return self.candela if self.law else self.apparent

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
    def centre_found(self) -> Measured | None:
        """Fitted photometric centre behind the face; None unless the law is that of a free centre [m]."""
        return self.shape if self.fit is not None and self.fit.model == "offset" else None

    @property
    def near_field_percent(self) -> float:
        """By how much the law leaves the inverse square at the bench's distance; NaN where no law applies [%]."""
        if self.fit is None or not self.law:
            return math.nan
        return 100.0 * float(near_field_ratio(self.fit.model, self.fit.offset, self.place.distance_m) - 1.0)

    @property
    def smallest_usable(self) -> float:
        """Smallest distance of this run from which the inverse square may be used; NaN if none. [m]."""
        flat, d = self.laws.flatness, self.points["distance_m"].to_numpy(float)
        shown = math.nan if flat is None else flat.smallest_distance - self.centre.value
        if self.law == "near_field" and self.fit is not None:
            away = np.abs(near_field_ratio(self.fit.model, self.fit.offset, d) - 1.0)
            shown = float(min(d[away <= NEAR_FIELD_TOLERANCE], default=math.nan))
        return shown if math.isnan(self.geometric_distance) else max(shown, self.geometric_distance)

    def product(self, distance: ArrayLike) -> Any:
        """Return illuminance times distance squared from the face as the fitted law has it, of `fit`.

        Parameters
        ----------
        distance : array_like
            From the reference face. [m]

        Returns
        -------
        ndarray
            Apparent intensities; NaN without a fit. [cd]
        """
        d = np.asarray(distance, dtype=float)
        if self.fit is None:
            return np.full(d.shape, math.nan)
        centre = self.fit.offset if self.fit.model == "offset" else 0.0
        near = near_field_ratio(self.fit.model, self.fit.offset, d)
        return self.fit.intensity * (d / (d + centre)) ** 2 * near


def near_field_ratio(model: str, shape: Any, distance: Any) -> Any:
    r"""Return the illuminance of a law over that of its own inverse square.

    .. math:: 1 - q/d^2 \;\text{(near field)}, \quad 1/(1 + q/d^2) \;\text{(disc)}

    Parameters
    ----------
    model : str
        ``near_field`` or ``disc``; any other is the inverse square itself.
    shape : float, ndarray or Measured
        Its parameter :math:`q`. [m2]
    distance : float, ndarray or Measured
        From the reference face :math:`d`. [m]

    Returns
    -------
    float, ndarray or Measured
        1 for the inverse square itself. [1]
    """
    if model not in {"near_field", "disc"}:
        return 1.0
    part = shape / distance**2
    return 1.0 - part if model == "near_field" else 1.0 / (1.0 + part)


def evaluate_distances(
    bench: Bench, *, corrections: Iterable[str] = steps.ALL, range_term: bool = True
) -> tuple[DistanceResult, ...]:
    """Evaluate every run of distance.csv.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str, default all
        As for `distance_runs`; without ``near_field`` only the inverse square is quoted.
    range_term : bool, default True
        As for `distance_runs`.

    Returns
    -------
    tuple of DistanceResult
        In file order; empty where the bench has no run.
    """
    found = _evaluated(bench, frozenset(corrections), range_term)
    return tuple(replace(one, points=handed_out(one.points)) for one in found)


@lru_cache(maxsize=4)  # a page asks for them more than once; a bench is told from another by identity
def _evaluated(bench: Bench, wanted: frozenset[str], range_term: bool) -> tuple[DistanceResult, ...]:
    """Return what `evaluate_distances` does."""
    found = []
    for run in distance_runs(bench, corrections=wanted, range_term=range_term):
        read = (run.points[c].to_numpy(float) for c in ("distance_m", "illuminance_lx", "u_lx"))
        laws = try_laws(*read, placement=run.placement_m, shared=run.shared, centre=run.centre)
        found.append(judge_run(run, laws, near_field="near_field" in wanted))
    return tuple(found)


def distance_runs(
    bench: Bench, *, corrections: Iterable[str] = steps.ALL, range_term: bool = True
) -> tuple[DistanceRun, ...]:
    """Return every run of distance.csv, corrected.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str, default all
        Corrections to apply, out of `corrections.CORRECTIONS`; without ``dark`` the range term of the manual
        stands for what the dark reading would have shown.
    range_term : bool, default True
        Count the additive error of the range; False shows what leaving it out does.

    Returns
    -------
    tuple of DistanceRun
        In file order; empty where the bench has no run.
    """
    wanted = frozenset(corrections)
    keys = ["run", "lamp", "housing"]
    blocks = bench.tables["distance"].groupby(keys, sort=False)
    return tuple(_read_run(bench, block, wanted, range_term) for _, block in blocks)


def _read_run(bench: Bench, block: pd.DataFrame, wanted: frozenset[str], range_term: bool) -> DistanceRun:
    """Return one run, corrected."""
    run, lamp, place = (str(block[name].iloc[0]) for name in ("run", "lamp", "housing"))
    meter, housing = bench.meters[str(block["meter"].iloc[0])], bench.housings[place]
    dark = block["dark_lx"].fillna(0.0) * ("dark" in wanted)
    lit = block["illuminance_lx"] - dark > 0.0
    corrected = steps.apply(block[lit].assign(ambient_C=math.nan), bench, wanted - {"near_field"})
    names = ("distance_m", "illuminance_lx", "range_lx", "technology", "spectral_u", "volts", "ln_value")
    rows = pd.DataFrame({name: corrected.columns[name] for name in names})
    scatter, scatter_assumed = terms.reading_scatter(bench, lamp, rows)
    top = float(block["range_lx"].max())
    seen = "dark" in wanted and bool(block["dark_lx"].notna().all())
    exact = Input(("no range term", run, lamp, place), 0.0, kind="range term")
    half, source = terms.tape_limit(housing)
    tape_u = half / math.sqrt(6.0)  # half of the variance of limits
    zero = Input(("tape zero", run, lamp, place), tape_u, kind="distance", source=source)
    dark_u = limits("dark reading", instruments.resolution_lx(meter, top) / 2.0 if seen else 0.0).u
    linear = instruments.linearity_input(meter, (f"{top:g}", "", ""))
    d, level, count = np.unique(rows["distance_m"], return_inverse=True, return_counts=True)
    step = np.zeros(len(d))
    np.maximum.at(step, level, [instruments.resolution_lx(meter, float(x)) for x in rows["range_lx"]])
    averaged = (rows["illuminance_lx"], dark[lit], np.exp(rows["ln_value"]))
    reading, dark_off, lux = (np.bincount(level, values, len(d)) / count for values in averaged)
    factor = lux / (reading - dark_off)
    # dark reading and linearity are alike for all repeats of a level; last figure and dark are of what is shown
    repeated = ((scatter * lux) ** 2 + (step * factor) ** 2 / 12.0) / count
    own = np.sqrt(repeated + (linear.u * lux) ** 2 + (dark_u * factor) ** 2)
    product, placed = lux * d**2, 2.0 * lux * d * tape_u
    alone = np.hypot(own * d**2, placed)
    points = {
        "distance_m": d,
        "reading_lx": reading,
        "dark_lx": dark_off,
        "illuminance_lx": lux,
        "repeats": count,
        "factor": factor,
        "u_lx": own,
        "product_cd": product,
        "product_u_cd": np.hypot(alone, placed),  # the zero of the tape may be off by as much
        "own_percent": 100.0 * alone / product,
    }
    split = "half of the distance's variance common to the run, half each placement's own"
    additive_from = "dark reading" if seen else "manual" if range_term else "ignored"
    additive = exact if additive_from != "manual" else instruments.range_input(meter, top, (f"{top:g}",))
    relative = terms.relative_inputs(bench, meter, rows, top, (run, lamp, place))
    of_meters = terms.assumed_of_meters(
        bench, relative + measured(0.0, linear, (additive, np.nan_to_num(1.0 / top)))
    )
    return DistanceRun(
        run=run,
        lamp=lamp,
        meter=meter.id,
        place=housing,
        points=pd.DataFrame(points),
        additive=additive,
        zero=zero,
        centre=terms.photometric_centre(housing),
        relative=relative,
        placement_m=tape_u,
        additive_from=additive_from,
        coverage=bench.settings.coverage,
        corrections=corrected.applied,
        codes=tuple(_cautions(block, lit, additive_from)),
        assumed=(split, *terms.assumed_lengths(housing), *scatter_assumed, *of_meters),
    )


def _cautions(block: pd.DataFrame, lit: "pd.Series[bool]", additive_from: str) -> list[str]:
    """Return what a run's readings call for saying."""
    taken = block["dark_lx"].notna()
    some_dark = bool(taken.any()) and not bool(taken.all())
    found = {
        "dark_in_some_rows": some_dark,
        "no_dark_reading": additive_from == "manual" and not some_dark,
        "range_term_ignored": additive_from == "ignored",
        "dark_as_large": not bool(lit.all()),
        "range_unknown": bool(block["range_lx"].isna().any()),
        "several_seatings": block.groupby(["specimen", "day", "mounting"], dropna=False).ngroups > 1,
        "several_ranges": len(set(block["range_lx"])) > 1,
        "several_meters": len(set(block["meter"])) > 1,
    }
    return [code for code, holds in found.items() if holds]


def try_laws(
    distance: ArrayLike,
    illuminance: ArrayLike,
    illuminance_u: ArrayLike,
    *,
    placement: float,
    shared: tuple[float, float, float],
    centre: Measured,
) -> LawsTried:
    """Try the competing laws on a run, and the inverse square about the declared centre.

    Parameters
    ----------
    distance, illuminance, illuminance_u : array_like, shape (n,)
        The run, and the standard uncertainty of each reading by itself. [m, lx, lx]
    placement : float
        Standard uncertainty of each placement by itself. [m]
    shared : tuple of three floats
        Standard uncertainties that all readings have in common: additive, zero of the tape, relative. [lx, m, 1]
    centre : Measured
        Declared photometric centre behind the face. [m]

    Returns
    -------
    LawsTried
        What they give, and what could not be tried; nothing is raised.
    """
    d, lux, (additive, zero, scale) = np.asarray(distance, float), np.asarray(illuminance, float), shared
    if not d.size:
        return LawsTried(None, pd.DataFrame(), None, None, ("no_light",))
    own: dict[str, Any] = {"illuminance_uncertainty": illuminance_u, "distance_uncertainty": placement}
    own["common_illuminance_uncertainty"] = additive
    both: dict[str, Any] = {**own, "common_distance_uncertainty": zero, "scale_uncertainty": scale}
    offset_fit: InverseSquareFit | None
    comparison, table, offset_fit, refusals = None, pd.DataFrame(), None, []
    try:
        comparison = compare_fits(d, lux, **both)
        table, offset_fit = comparison.table, comparison.fits.get("offset")
    except MethodError as refused:
        refusals.append("one_distance" if d.size == 1 else refused.code)
        table = refused.known.get("table", table)
    if offset_fit is None and d.size > 1:
        try:
            offset_fit = fit_inverse_square(d, lux, **both)
        except MethodError as refused:
            refusals.append(refused.code)
    path_u = measured(0.0, Input("zero of the tape", zero), Input("declared centre", centre.u)).u
    flatness = far_field(d + centre.value, lux, **own, common_distance_uncertainty=path_u)
    return LawsTried(comparison, table, offset_fit, flatness, tuple(dict.fromkeys(refusals)))


def judge_run(run: DistanceRun, laws: LawsTried, *, near_field: bool = True) -> DistanceResult:
    """Return which law may be quoted from a run, its intensity with what the run shares, or why there is none.

    Parameters
    ----------
    run : DistanceRun
        The run.
    laws : LawsTried
        The laws tried on its readings.
    near_field : bool, default True
        A near-field law may be quoted.

    Returns
    -------
    DistanceResult
        The run with its law.
    """
    law, fit, spread, code = _choose_law(run, laws, near_field=near_field)
    intensity: Measured | None = None
    shape: Measured | None = None
    if fit is not None:
        quoted, shape = _with_shared(run, fit)
        choice = Input(("choice of law", *run.key), spread, law="rectangular", kind="model spread")
        intensity = (quoted + measured(0.0, choice)).in_unit("cd")
    nearest = laws.offset_fit if laws.comparison is None else laws.comparison.fits[laws.comparison.model]
    shown = nearest if fit is None else fit
    near = ("near_field",) if law == "near_field" else ()
    said = {
        **vars(run),
        "points": _with_fit(run.points, shown),
        "corrections": (*run.corrections, *near),
        "codes": (*laws.refusals, *([code] if code else []), *run.codes),
    }
    return DistanceResult(
        **said, laws=laws, fit=shown, law=law, candela=intensity, shape=shape, apparent=_apparent(run)
    )


def _choose_law(
    run: DistanceRun, found: LawsTried, *, near_field: bool
) -> tuple[str, InverseSquareFit | None, float, str]:
    """Return the law that may be quoted, its fit, the spread between the laws that are kept [cd], and a code."""
    settled, comparison = _settled(run, found), found.comparison
    plain = [n for n in ("offset", "point") if comparison is not None and n in comparison.kept]
    if settled and comparison is not None and plain:
        best = comparison.fits[comparison.model if comparison.model in plain else plain[0]]
        away = max(abs(comparison.fits[n].intensity - best.intensity) for n in comparison.kept)
        return "inverse_square", best, away / math.sqrt(3.0), ""
    if comparison is not None and comparison.model in {"near_field", "disc"} and near_field:
        # it explains every reading: that the far ones look flat within their doubt shows nothing against it
        fit = comparison.fits[comparison.model]
        return "near_field", fit, comparison.model_spread, "near_field_term"
    far = found.flatness
    if settled and comparison is None and far is not None and far.fit is not None:
        return "inverse_square", far.fit, 0.0, "far_part_only" if far.code == "part" else ""
    return "", None, 0.0, "only_apparent"


def _settled(run: DistanceRun, found: LawsTried) -> bool:
    """Whether readings from the bench's distance outward follow the inverse square about the centre."""
    if found.flatness is None or found.flatness.code not in {"all", "part"}:
        return False
    if math.isnan(run.place.distance_m):
        return found.flatness.code == "all"
    wide = run.geometric_distance > run.place.distance_m
    return found.flatness.smallest_distance <= run.place.distance_m + run.centre.value + 1e-9 and not wide


def _with_shared(run: DistanceRun, fit: InverseSquareFit) -> tuple[Measured, Measured]:
    """Return intensity and shape of a fit as quantities that hold what the run shares. [cd, m or m2]."""
    names = [(name, fit.model, *run.key) for name in ("intensity", "shape")]
    own = from_fit(names, [fit.intensity, fit.offset], fit.own)
    made = []
    for k, quantity in enumerate(own):
        additive, zero, scale = (float(fit.per_unit[c][k]) for c in ("range", "tape_zero", "scale"))
        common = measured(0.0, (run.additive, additive * run.factor), (run.zero, zero))
        made.append(quantity + common + (run.relative - 1.0) * scale)
    return made[0], made[1]


def _apparent(run: DistanceRun) -> Measured | None:
    """Return the apparent intensity at the bench's distance [cd]."""
    here = run.points[(run.points["distance_m"] - run.place.distance_m).abs() < _SAME_PLACE_M]
    if here.empty:
        return None
    lux, u = (float(here[name].iloc[0]) for name in ("illuminance_lx", "u_lx"))
    own = Input(("reading at the bench's distance", *run.key), u, kind="reading scatter")
    placed = Input(("placement at the bench's distance", *run.key), run.placement_m, kind="distance")
    light = lux * run.relative + measured(0.0, own, (run.additive, float(here["factor"].iloc[0])))
    distance = measured(run.place.distance_m, run.zero, placed, unit="m")
    intensity: Measured = luminous_intensity(light, distance, offset=run.centre)  # type: ignore[arg-type]
    return intensity


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
    return pd.DataFrame([_row(bench, one) for one in runs if one.published is not None])


def _row(bench: Bench, one: DistanceResult) -> dict[str, object]:
    """Return one row of the results table."""
    block = bench.tables["distance"]
    block = block[(block["run"] == one.run) & (block["lamp"] == one.lamp) & (block["housing"] == one.housing)]
    here, d = f"{one.place.distance_m:g} m", one.points["distance_m"]
    said = {
        "inverse_square": f"inverse square holds at {here}",
        "near_field": f"by a near-field law ({one.near_field_percent:+.1f} % at {here})",
        "": f"apparent at {here}, inverse square not shown to hold",
    }[one.law]
    return result_row(
        bench,
        one.published,
        lamp=one.lamp,
        housing=one.housing,
        measurand="luminous intensity" if one.law else "apparent luminous intensity",
        point="hot_spot",
        n_specimens=block["specimen"].nunique(),
        n_mountings=block.groupby(["specimen", "day", "mounting"], dropna=False).ngroups,
        n_readings=len(block),
        n_days=block["day"].nunique(),
        conditions=f"{said}; run {one.run} over {d.min():g} to {d.max():g} m",
        corrections=", ".join(one.corrections) or "none",
        assumed="; ".join(one.assumed) or "nothing",
    )
