"""Which law a distance run follows, and what may be quoted from it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from photolab.bench.distance_terms import SharedTerms
from photolab.bench.model import Housing
from photolab.errors import MethodError
from photolab.metrology.quantity import Measured, from_fit, measured
from photolab.photometry.distance import (
    FarField,
    FitComparison,
    InverseSquareFit,
    compare_fits,
    far_field,
    fit_inverse_square,
    smallest_distance,
)

NEAR_FIELD_TOLERANCE = 0.01
"""Departure from the inverse square that geometry is allowed to give, assumed. [1]"""


@dataclass(frozen=True, eq=False)
class LawsTried:
    """Laws tried on a run.

    Attributes
    ----------
    comparison : FitComparison or None
        Competing laws; None where there are too few distances or none is kept.
    table : DataFrame
        Their table.
    offset_fit : InverseSquareFit or None
        The inverse square with a free centre.
    flatness : FarField or None
        The inverse square about the declared centre, from far to near.
    refusals : tuple of str
        Codes of what could not be tried.
    """

    comparison: FitComparison | None
    table: pd.DataFrame
    offset_fit: InverseSquareFit | None
    flatness: FarField | None
    refusals: tuple[str, ...]

    @property
    def quoted(self) -> InverseSquareFit | None:
        """The law of smallest chi-square among those kept, else the free centre.

        Returns
        -------
        InverseSquareFit or None
            The fit.
        """
        return self.offset_fit if self.comparison is None else self.comparison.fits[self.comparison.model]


def try_laws(points: pd.DataFrame, shared: SharedTerms, housing: Housing) -> LawsTried:
    """Try the competing laws, and flatness about the declared centre.

    Parameters
    ----------
    points : DataFrame
        One row a distance.
    shared : SharedTerms
        What the readings have in common.
    housing : Housing
        The declared centre.

    Returns
    -------
    LawsTried
        What they give.
    """
    if points.empty:
        return LawsTried(None, pd.DataFrame(), None, None, ("no_light",))
    d, e, u = (points[c].to_numpy(float) for c in ("distance_m", "illuminance_lx", "u_lx"))
    own: dict[str, Any] = {"illuminance_uncertainty": u, "distance_uncertainty": shared.placement_m}
    own["common_illuminance_uncertainty"] = shared.additive.u
    tape: dict[str, Any] = {"common_distance_uncertainty": shared.zero.u}
    offset_fit: InverseSquareFit | None
    comparison, table, offset_fit, refusals = None, pd.DataFrame(), None, []
    try:
        comparison = compare_fits(d, e, **own, **tape, scale_uncertainty=shared.relative_u())
        table, offset_fit = comparison.table, comparison.fits.get("offset")
    except MethodError as refused:
        refusals.append("one_distance" if len(points) == 1 else refused.code)
        table = refused.known.get("table", table)
    if offset_fit is None and len(points) > 1:
        try:
            offset_fit = fit_inverse_square(d, e, **own, **tape, scale_uncertainty=shared.relative_u())
        except MethodError as refused:
            refusals.append(refused.code)
    centre = housing.offset_mm / 1000.0
    doubt = math.hypot(shared.zero.u, shared.centre.u)
    flatness = far_field(d + centre, e, **own, common_distance_uncertainty=doubt)
    return LawsTried(comparison, table, offset_fit, flatness, tuple(dict.fromkeys(refusals)))


def _settled(found: LawsTried, housing: Housing) -> bool:
    """Whether readings from the bench's distance outward follow the inverse square about the centre."""
    if found.flatness is None or found.flatness.code not in {"all", "part"}:
        return False
    centre = housing.offset_mm / 1000.0
    if math.isnan(housing.distance_m):
        return found.flatness.code == "all"
    wide = geometric_distance(housing) > housing.distance_m
    return found.flatness.smallest_distance <= housing.distance_m + centre + 1e-9 and not wide


def geometric_distance(housing: Housing) -> float:
    """Return the smallest distance the size of the opening allows.

    Parameters
    ----------
    housing : Housing
        The housing.

    Returns
    -------
    float
        NaN where the opening is not declared. [m]
    """
    if math.isnan(housing.aperture_mm):
        return math.nan
    return float(smallest_distance(housing.aperture_mm / 2000.0, tolerance=NEAR_FIELD_TOLERANCE))


def choose_law(
    found: LawsTried, housing: Housing, *, near_field: bool
) -> tuple[str, InverseSquareFit | None, float, list[str]]:
    """Return the law that may be quoted.

    Parameters
    ----------
    found : LawsTried
        The laws tried.
    housing : Housing
        Where the bench reads.
    near_field : bool
        A near-field law may be quoted.

    Returns
    -------
    tuple
        ``inverse_square``, ``near_field`` or ""; fit; spread between the laws that are kept [cd]; codes.
    """
    settled, comparison = _settled(found, housing), found.comparison
    plain = [n for n in ("offset", "point") if comparison is not None and n in comparison.kept]
    if settled and comparison is not None and plain:
        best = comparison.fits[comparison.model if comparison.model in plain else plain[0]]
        away = max(abs(comparison.fits[n].intensity - best.intensity) for n in comparison.kept)
        return "inverse_square", best, away / math.sqrt(3.0), []
    if comparison is not None and comparison.model in {"near_field", "disc"}:
        # it explains every reading: that the far ones look flat within their doubt shows nothing against it
        if near_field:
            return (
                "near_field",
                comparison.fits[comparison.model],
                comparison.model_spread,
                ["near_field_term"],
            )
        return "", None, 0.0, ["only_apparent"]
    if settled and found.flatness is not None and found.flatness.fit is not None:
        return (
            "inverse_square",
            found.flatness.fit,
            0.0,
            ["far_part_only"] if found.flatness.code == "part" else [],
        )
    return "", None, 0.0, ["only_apparent"]


def fitted(fit: InverseSquareFit, shared: SharedTerms, run: tuple[str, ...]) -> tuple[Measured, Measured]:
    """Return the intensity and the shape of a fit as quantities that hold what the run shares.

    Parameters
    ----------
    fit : InverseSquareFit
        The fit.
    shared : SharedTerms
        What the readings have in common.
    run : tuple of str
        Identity of the run.

    Returns
    -------
    tuple of Measured
        Intensity [cd] and offset, or the parameter of a near field. [m, m2]
    """
    names = [(name, fit.model, *run) for name in ("intensity", "shape")]
    own = from_fit(names, [fit.intensity, fit.offset], fit.own)
    made = []
    for k, quantity in enumerate(own):
        common = [(shared.additive, fit.per_unit["range"][k]), (shared.zero, fit.per_unit["tape_zero"][k])]
        relative = shared.acting(float(fit.per_unit["scale"][k]))
        made.append(quantity + measured(0.0, *((q, float(c)) for q, c in (*common, *relative))))
    return made[0].in_unit("cd"), made[1]


def shape_ratio(model: str, shape: float, distance: float) -> float:
    """Return the illuminance of a law over that of its own inverse square.

    Parameters
    ----------
    model : str
        ``near_field`` or ``disc``; any other is the inverse square itself.
    shape : float
        Its parameter. [m2]
    distance : float
        From the reference face. [m]

    Returns
    -------
    float
        1 for the inverse square itself. [1]
    """
    if model == "near_field":
        return 1.0 - shape / distance**2
    return 1.0 / (1.0 + shape / distance**2) if model == "disc" else 1.0


def product_curve(fit: InverseSquareFit, distances: Sequence[float]) -> list[float]:
    """Return illuminance times distance squared from the face, as a fitted law has it.

    Parameters
    ----------
    fit : InverseSquareFit
        The fit.
    distances : sequence of float
        From the reference face. [m]

    Returns
    -------
    list of float
        Apparent intensities. [cd]
    """
    if fit.model == "offset":
        return [fit.intensity * (d / (d + fit.offset)) ** 2 for d in distances]
    return [fit.intensity * shape_ratio(fit.model, fit.offset, d) for d in distances]
