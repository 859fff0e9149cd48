"""What a distance run shows: where the law begins to hold, and how much the choice of law matters."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats
from photolab.photometry.inverse_square import (
    LACK_OF_FIT_LEVEL,
    InverseSquareFit,
    checked_readings,
    fit_shape,
)

_PARAMETERS: Mapping[str, str] = {"point": "", "offset": "m", "near_field": "m2", "disc": "m2"}


@dataclass(frozen=True, eq=False)
class FarField:
    """The distances from which the inverse square holds on this bench.

    Attributes
    ----------
    smallest_distance : float
        Nearest distance from which all readings outward agree with the law; NaN if none does. [m]
    products : ndarray, shape (n,)
        Illuminance times (distance + offset) squared, by increasing distance. [cd]
    product_uncertainties : ndarray, shape (n,)
        Their standard uncertainties, each reading by itself. [cd]
    distances : ndarray, shape (n,)
        The distances, increasing. [m]
    table : DataFrame
        One row for each start: ``from_distance`` [m], ``distances`` used, ``intensity`` [cd], ``offset`` [m],
        ``chi_square``, ``dof``, ``p``.
    fit : InverseSquareFit or None
        The fit from the smallest distance outward.
    code : str
        ``all`` (every distance is usable), ``part`` (only from the smallest distance), ``not_established``
        (not even the farthest readings agree), ``too_few`` (too few distances to tell).
    """

    smallest_distance: float
    products: Floats
    product_uncertainties: Floats
    distances: Floats
    table: pd.DataFrame
    fit: InverseSquareFit | None
    code: str


@dataclass(frozen=True, eq=False)
class FitComparison:
    """Competing laws on one distance run, and what remains uncertain because more than one explains it.

    Attributes
    ----------
    intensity : float
        Intensity by the law of smallest chi-square among those kept. [cd]
    intensity_uncertainty : float
        Standard uncertainty with the spread between the laws kept. [cd]
    model_spread : float
        Standard uncertainty from the choice of law: the largest departure of a kept law, as a rectangular
        half-width. [cd]
    model : str
        The law quoted.
    kept : tuple of str
        The laws the readings do not reject.
    table : DataFrame
        One row for each law: ``model``, ``intensity``, ``intensity_uncertainty`` [cd], ``parameter``,
        ``parameter_uncertainty``, ``unit``, ``chi_square``, ``dof``, ``p``, ``kept``.
    fits : mapping of str to InverseSquareFit
        The fits.
    """

    intensity: float
    intensity_uncertainty: float
    model_spread: float
    model: str
    kept: tuple[str, ...]
    table: pd.DataFrame
    fits: Mapping[str, InverseSquareFit]


def far_field(
    distance: ArrayLike,
    illuminance: ArrayLike,
    *,
    illuminance_uncertainty: ArrayLike,
    distance_uncertainty: ArrayLike,
    fit_offset: bool = False,
    common_illuminance_uncertainty: float = 0.0,
    common_distance_uncertainty: float = 0.0,
) -> FarField:
    """Return the smallest distance from which the readings outward follow the inverse square.

    The nearest readings are left out one after another until the chi-square of the rest no longer rejects
    the law.

    Parameters
    ----------
    distance, illuminance : array_like, shape (n,)
        The run. [m, lx]
    illuminance_uncertainty, distance_uncertainty : array_like, scalar or shape (n,)
        Standard uncertainties of each reading by itself. [lx, m]
    fit_offset : bool, default False
        Fit the photometric-centre offset as well; otherwise flatness of E d^2 is judged.
    common_illuminance_uncertainty : float, default 0
        Standard uncertainty of the range term all readings share. [lx]
    common_distance_uncertainty : float, default 0
        Standard uncertainty of the tape's zero. [m]

    Returns
    -------
    FarField
        Where the law holds.

    Raises
    ------
    ValueError
        As for `fit_inverse_square`.

    Notes
    -----
    At least 3 readings are needed for flatness, 4 with an offset. Where the law holds, one run in twenty
    loses its nearest reading by chance. A free offset can absorb a near field:
    bound it by geometry too, `smallest_distance`. The law is not shown to hold between the readings.
    """
    d, e, u_e, u_d = (
        a[np.argsort(np.asarray(distance, dtype=float), kind="stable")]
        for a in checked_readings(distance, illuminance, illuminance_uncertainty, distance_uncertainty)
    )
    common = (common_illuminance_uncertainty, common_distance_uncertainty, 0.0)
    model, least = ("offset", 4) if fit_offset else ("point", 3)
    accepted: InverseSquareFit | None = None
    reached, rows = float("nan"), []
    for start in range(d.size - least + 1):
        fit = fit_shape(model, d[start:], e[start:], u_e[start:], u_d[start:], common=common)
        rows.append(
            (d[start], d.size - start, fit.intensity, fit.offset, fit.chi_square, fit.dof, fit.p_lack_of_fit)
        )
        if not fit.p_lack_of_fit < LACK_OF_FIT_LEVEL:
            accepted, reached = fit, float(d[start])
            break
    columns = ["from_distance", "distances", "intensity", "offset", "chi_square", "dof", "p"]
    path = d + (accepted.offset if accepted is not None else 0.0)
    doubt = np.hypot(u_e * path**2, 2.0 * e * path * u_d)
    code = "too_few" if not rows else "not_established" if accepted is None else "part"
    if accepted is not None and reached == d[0]:
        code = "all"
    table = pd.DataFrame(rows, columns=columns)
    return FarField(reached, e * path**2, doubt, d, table, accepted, code)


def compare_fits(
    distance: ArrayLike,
    illuminance: ArrayLike,
    *,
    illuminance_uncertainty: ArrayLike,
    distance_uncertainty: ArrayLike,
    common_illuminance_uncertainty: float = 0.0,
    common_distance_uncertainty: float = 0.0,
    scale_uncertainty: float = 0.0,
) -> FitComparison:
    r"""Return the fits of competing laws, and the intensity with the spread between those the readings keep.

    .. math::
        \frac{I}{d^2}, \quad \frac{I}{(d + o)^2}, \quad \frac{I (1 - q/d^2)}{d^2}, \quad \frac{I}{d^2 + q}

    Parameters
    ----------
    distance, illuminance : array_like, shape (n,)
        The run, at least 3 different distances. [m, lx]
    illuminance_uncertainty, distance_uncertainty : array_like, scalar or shape (n,)
        Standard uncertainties of each reading by itself. [lx, m]
    common_illuminance_uncertainty : float, default 0
        Standard uncertainty of the range term all readings share. [lx]
    common_distance_uncertainty : float, default 0
        Standard uncertainty of the tape's zero. [m]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the meter's scale. [1]

    Returns
    -------
    FitComparison
        All fits, and what to quote.

    Raises
    ------
    ValueError
        As for `fit_inverse_square`.
    MethodError
        If there are fewer than 3 distances (code ``too_few_distances``), or the readings reject every law
        (code ``no_law_holds``, with the table in ``known``).

    Notes
    -----
    A law that is not rejected is not thereby true: the spread stays in the uncertainty instead of being
    decided by the smallest chi-square.
    """
    readings = checked_readings(distance, illuminance, illuminance_uncertainty, distance_uncertainty)
    if np.unique(readings[0]).size < 3:
        message = f"competing laws need at least 3 different distances; got {np.unique(readings[0]).size}"
        raise MethodError(message, code="too_few_distances")
    common = (common_illuminance_uncertainty, common_distance_uncertainty, scale_uncertainty)
    fits: dict[str, InverseSquareFit] = {}
    for model in _PARAMETERS:
        try:
            fits[model] = fit_shape(model, *readings, common=common)
        except MethodError as refusal:
            if refusal.code != "no_solution":
                raise
    table = _comparison_table(fits)
    kept = [fits[name] for name in table.loc[table["kept"], "model"]]
    if not kept:
        message = "the readings must agree with at least one law; chi-square rejects all four"
        raise MethodError(message, code="no_law_holds", known={"table": table})
    best = min(kept, key=lambda fit: fit.chi_square / max(fit.dof, 1))
    spread = max(abs(fit.intensity - best.intensity) for fit in kept) / np.sqrt(3.0)
    return FitComparison(
        intensity=best.intensity,
        intensity_uncertainty=float(np.hypot(best.intensity_uncertainty, spread)),
        model_spread=float(spread),
        model=best.model,
        kept=tuple(fit.model for fit in kept),
        table=table,
        fits=fits,
    )


def _comparison_table(fits: Mapping[str, InverseSquareFit]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "model": model,
                "intensity": fit.intensity,
                "intensity_uncertainty": fit.intensity_uncertainty,
                "parameter": fit.offset,
                "parameter_uncertainty": fit.offset_uncertainty,
                "unit": _PARAMETERS[model],
                "chi_square": fit.chi_square,
                "dof": fit.dof,
                "p": fit.p_lack_of_fit,
                "kept": not fit.p_lack_of_fit < LACK_OF_FIT_LEVEL,
            }
            for model, fit in fits.items()
        ]
    )
