r"""Lux at the meter and candela of the lamp: inverse square, near field, and what a distance run shows.

Angles are in radians, distances in metres from the lamp's reference face; an offset is positive where the
photometric centre lies behind the face. The near-field ratios are true illuminance over the illuminance a point
source of the same far intensity would give, for uniform Lambertian sources seen face-on, on axis. A focused lamp
is none of these: see `crossover_distance`.

In the fit of a run the weight of a reading holds its own doubt and that of its distance (effective variance),

.. math:: u_i^2 = u(E_i)^2 + (\partial E / \partial d)^2 \, u(d_i)^2,

renewed until the parameters stand still. Errors all distances share (meter range, tape zero, meter scale) do
not enter the weights: each is one input, carried through the estimate afterwards.
"""

import math
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Required, TypedDict, Unpack

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from photolab.errors import MethodError, demand
from photolab.metrology.arguments import (
    Floats,
    as_given,
    finite,
    must_hold,
    not_negative,
    positive,
    require,
    same_length,
)
from photolab.metrology.computed import Computed

REPORTING_DISTANCES = (25.0, 18.288)
"""Distances headlamp illuminance is quoted at: 25 m, and 60 ft. [m]"""


def luminous_intensity(
    illuminance: ArrayLike, distance: ArrayLike, *, incidence_angle: ArrayLike = 0.0, offset: ArrayLike = 0.0
) -> Any:
    r"""Return the luminous intensity that produces a measured illuminance.

    .. math:: I = E \, (d + o)^2 / \cos\theta

    Parameters
    ----------
    illuminance : array_like, shape S1
        Illuminance :math:`E` at the meter head, dark reading removed. [lx]
    distance : array_like, shape S2
        Distance :math:`d` from the lamp's reference face to the meter head. [m]
    incidence_angle : array_like, shape S3, default 0
        Angle :math:`\theta` between the ray and the meter-head normal. [rad]
    offset : array_like, default 0
        Photometric centre behind the reference face :math:`o`. [m]

    Returns
    -------
    float, ndarray or Measured, shape broadcast(S1, S2, S3)
        Luminous intensity :math:`I` towards the meter head; NaN where an input is NaN. [cd]

    Raises
    ------
    ValueError
        If a distance is not positive, an illuminance is negative, an angle is at or beyond grazing
        incidence, or an offset puts the photometric centre at or behind the meter head.

    Notes
    -----
    A uniform Lambertian disc of diameter D seen face-on reads low by 1/(1 + 4 d^2/D^2): 1 % at d = 5 D [1]_.
    A focused lamp may not follow the law at any bench distance: see `crossover_distance`. Without a distance
    run the result is an apparent intensity at that distance.

    References
    ----------
    .. [1] Illuminating Engineering Society, "Inverse-square law", IES Definitions.
    """
    reading = not_negative("illuminance", illuminance, "lx")
    return as_given(reading * _path(distance, offset) ** 2 / _cosine(incidence_angle), "cd")


def tilt_loss(tilt_uncertainty: float, *, incidence_angle: float = 0.0) -> float:
    r"""Return the relative standard uncertainty of a reading from the tilt of the meter head.

    .. math:: u^2 = \tan^2\theta \, u^2(\theta) + \frac{3 \, u^4(\theta)}{4 \cos^4\theta}

    Parameters
    ----------
    tilt_uncertainty : float
        Standard uncertainty of the incidence angle. [rad]
    incidence_angle : float, default 0
        Angle :math:`\theta` between the ray and the meter-head normal. [rad]

    Returns
    -------
    float
        Relative standard uncertainty. [1]

    Raises
    ------
    ValueError
        If the uncertainty is negative, or the angle is at or beyond grazing incidence.

    Notes
    -----
    At normal incidence a tilt can only lower the reading, and only to second order: the last term is that loss
    in the root mean square.
    """
    tilt = float(not_negative("tilt_uncertainty", tilt_uncertainty, "rad"))
    cosine = float(_cosine(incidence_angle))
    return float(np.sqrt(np.tan(incidence_angle) ** 2 * tilt**2 + 0.75 * tilt**4 / cosine**4))


def illuminance(
    intensity: ArrayLike, distance: ArrayLike, *, incidence_angle: ArrayLike = 0.0, offset: ArrayLike = 0.0
) -> Any:
    r"""Return the illuminance a luminous intensity gives at a distance.

    .. math:: E = I \cos\theta / (d + o)^2

    Parameters
    ----------
    intensity : array_like, shape S1
        Luminous intensity :math:`I` towards the point. [cd]
    distance : array_like, shape S2
        Distance :math:`d` from the reference face; see `REPORTING_DISTANCES`. [m]
    incidence_angle : array_like, shape S3, default 0
        Angle :math:`\theta` between the ray and the normal of the surface. [rad]
    offset : array_like, default 0
        Photometric centre behind the reference face :math:`o`. [m]

    Returns
    -------
    float, ndarray or Measured, shape broadcast(S1, S2, S3)
        Illuminance. [lx]

    Raises
    ------
    ValueError
        As for `luminous_intensity`.

    Notes
    -----
    An equivalent illuminance at 25 m is the intensity over 625 m2; it is not a reading at 25 m.
    """
    candela = not_negative("intensity", intensity, "cd")
    return as_given(candela * _cosine(incidence_angle) / _path(distance, offset) ** 2, "lx")


def _cosine(angle: ArrayLike) -> Floats:
    within = "between -pi/2 and pi/2"
    inside = require("incidence_angle", angle, lambda v: np.abs(v) < np.pi / 2, within, "rad")
    return np.cos(inside)


def _path(distance: ArrayLike, offset: ArrayLike) -> Floats:
    path = positive("distance", distance, "m") + finite("offset", offset, "m")
    return positive("distance + offset", path, "m")


def disc_source_ratio(distance: ArrayLike, diameter: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a disc.

    .. math:: \frac{E}{I/d^2} = \frac{1}{1 + (D / 2d)^2}

    Parameters
    ----------
    distance : array_like
        Distance from the disc. [m]
    diameter : array_like
        Diameter of the disc. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance is not positive or a diameter is negative.

    Notes
    -----
    Closed form. 100/101 at five diameters.
    """
    span = positive("distance", distance, "m")
    return as_given(1.0 / (1.0 + (not_negative("diameter", diameter, "m") / (2.0 * span)) ** 2), "1")


def square_source_ratio(distance: ArrayLike, side: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a square.

    .. math:: \frac{E}{I/d^2} = \frac{q \arctan q}{t^2}, \quad t = \frac{a}{2d}, \quad q = \frac{t}{\sqrt{1 +
    t^2}}

    Parameters
    ----------
    distance : array_like
        Distance from the square, on its axis. [m]
    side : array_like
        Side :math:`a` of the square. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance or a side is not positive.

    Notes
    -----
    Four times the configuration factor of a rectangle seen from below a corner, a closed form of radiation
    heat transfer.
    """
    half = positive("side", side, "m") / (2.0 * positive("distance", distance, "m"))
    q = half / np.sqrt(1.0 + half**2)
    return as_given(q * np.arctan(q) / half**2)


def line_source_ratio(distance: ArrayLike, length: ArrayLike) -> Any:
    r"""Return true over inverse-square illuminance for a line that radiates as the cosine.

    .. math:: \frac{E}{I/d^2} = \frac{1}{2t} \left( \frac{t}{1 + t^2} + \arctan t \right), \quad t =
    \frac{l}{2d}

    Parameters
    ----------
    distance : array_like
        Distance from the middle of the line, at right angles to it. [m]
    length : array_like
        Length :math:`l` of the line. [m]

    Returns
    -------
    float or ndarray
        The ratio, 1 far away. [1]

    Raises
    ------
    ValueError
        If a distance or a length is not positive.
    """
    t = positive("length", length, "m") / (2.0 * positive("distance", distance, "m"))
    return as_given((t / (1.0 + t**2) + np.arctan(t)) / (2.0 * t))


def crossover_distance(
    aperture_radius: ArrayLike, focal_length: ArrayLike, source_half_size: ArrayLike
) -> Any:
    r"""Return the distance beyond which a collimated beam begins to follow the inverse square.

    .. math:: L_0 = R f / r

    Parameters
    ----------
    aperture_radius : array_like
        Radius :math:`R` of the lens or reflector opening. [m]
    focal_length : array_like
        Focal length :math:`f`. [m]
    source_half_size : array_like
        Half the size :math:`r` of the source at the focus. [m]

    Returns
    -------
    float or ndarray
        Crossover distance. [m]

    Raises
    ------
    ValueError
        If a length is not positive.

    Notes
    -----
    Nearer, part of the opening is dark from the axis and the illuminance stays level: a reading there times
    d^2 is not an intensity. Ideal lens, source in the focal plane.
    """
    opening = positive("aperture_radius", aperture_radius, "m")
    reach = opening * positive("focal_length", focal_length, "m")
    return as_given(reach / positive("source_half_size", source_half_size, "m"), "m")


def smallest_distance(
    aperture_radius: ArrayLike, *, tolerance: ArrayLike = 0.01, crossover: ArrayLike = 0.0
) -> Any:
    r"""Return the smallest distance at which geometry allows the inverse square.

    .. math:: d \ge \max\left(R \sqrt{(1 - p)/p}, \; L_0\right)

    Parameters
    ----------
    aperture_radius : array_like
        Half the largest dimension :math:`R` of the luminous opening. [m]
    tolerance : array_like, default 0.01
        Deviation :math:`p` from the inverse square allowed for a disc. [1]
    crossover : array_like, default 0
        Crossover distance :math:`L_0` of the beam, 0 where there is none. [m]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Raises
    ------
    ValueError
        If a length is negative or a tolerance is not between 0 and 1.

    Notes
    -----
    Necessary, not sufficient: only a distance run shows that a focused lamp follows the law.
    """
    opening = not_negative("aperture_radius", aperture_radius, "m")
    share = require("tolerance", tolerance, lambda v: (v > 0) & (v < 1), "between 0 and 1", "(relative)")
    by_size = opening * np.sqrt((1.0 - share) / share)
    return as_given(np.maximum(by_size, not_negative("crossover", crossover, "m")))


LACK_OF_FIT_LEVEL = 0.05
"""Probability below which the chi-square is called a lack of fit. [1]"""


_ITERATIONS = 200


_FAR_OFF = 100.0  # times the farthest distance: the light does not fall with distance, no offset explains it


_STANDS_STILL = 1e-10  # relative change of the parameters; ten digits are far beyond any reading


def _offset(d: Floats, o: float) -> tuple[Floats, Floats, Floats]:
    u = d + o
    return 1.0 / u**2, -2.0 / u**3, -2.0 / u**3


def _near_field(d: Floats, q: float) -> tuple[Floats, Floats, Floats]:
    return (1.0 - q / d**2) / d**2, -1.0 / d**4, -2.0 / d**3 + 4.0 * q / d**5


def _disc(d: Floats, q: float) -> tuple[Floats, Floats, Floats]:
    u = d**2 + q
    return 1.0 / u, -1.0 / u**2, -2.0 * d / u**2


_UNITS = {"point": "", "offset": "m", "near_field": "m2", "disc": "m2"}
_SHAPES = {"point": _offset, "offset": _offset, "near_field": _near_field, "disc": _disc}
_HEADS = {"offset": "parameter", "offset_uncertainty": "parameter_uncertainty", "p_lack_of_fit": "p"}


class InverseSquareFit(Computed):
    """An intensity and a photometric-centre offset from a distance run, or the like of a competing law.

    Parameters
    ----------
    model : str
        ``offset`` or ``point``; for competing fits also ``near_field`` and ``disc``, where `offset` holds
        the shape parameter. [m or m2]
    readings : sequence of ndarray, shape (n,)
        Distances, illuminances and their standard uncertainties. [m], [lx], [lx], [m]
    common : sequence of float
        Standard uncertainties of what all readings share: range, tape zero, scale. [lx], [m], [1]

    Attributes
    ----------
    intensity, intensity_uncertainty : float
        Luminous intensity and its standard uncertainty. [cd]
    offset, offset_uncertainty : float
        Photometric centre behind the reference face; 0 and 0 where not fitted. [m]
    covariance : ndarray, shape (2, 2)
        Of intensity and offset, common terms included. [cd2, cd m, m2]
    chi_square : float
        Of the residuals, errors common to all distances taken into account. [1]
    dof : int
        Readings less fitted parameters. [1]
    p_lack_of_fit : float
        Probability of a larger chi-square if the law holds; NaN without degrees of freedom. [1]
    residuals : ndarray, shape (n,)
        Illuminance less the fitted illuminance. [lx]
    fitted : ndarray, shape (n,)
        Fitted illuminance. [lx]
    own : ndarray, shape (2, 2)
        Covariance that the readings and placements bring by themselves. [cd2, cd m, m2]
    per_unit : mapping of str to ndarray, shape (2,)
        Change of intensity and offset with a common error of one unit: ``range`` [1/lx], ``tape_zero`` [1/m],
        ``scale`` (relative). [cd, m]
    parts : mapping
        Standard uncertainty of the intensity by cause: ``readings``, ``range``, ``tape_zero``, ``scale``.
        [cd]
    findings : tuple of str
        Codes: ``lack_of_fit``, ``no_test`` (no degree of freedom), ``negative_offset`` (centre in front of
        the face by more than twice its uncertainty), ``equal_distances`` (average the repeats of one
        placement first).
    model : str
        As given.
    """

    def __init__(self, model: str, readings: Sequence[Floats], common: Sequence[float]) -> None:
        free, (d, e, *_) = 1 if model == "point" else 2, readings
        different, apparent = np.unique(d).size, float(np.mean(e * d**2))
        message = (
            f"an intensity and an offset need at least 2 different distances; got {different}. "
            f"With the offset taken as 0 the apparent intensity at {d[0]:g} m is {apparent:.4g} cd"
        )
        known = {"apparent_intensity": apparent, "distance": float(d[0])}
        must_hold(different >= free, message, code="one_distance", known=known)
        parameters, jacobian, slope, weight = _solve(model, *readings)
        self.model, self.intensity, self.offset = model, float(parameters[0]), float(parameters[1])
        self.fitted = parameters[0] * jacobian[:, 0]
        self.residuals = e - self.fitted
        used = jacobian[:, :free]
        # parameters per lux of each reading
        gain = np.linalg.solve((used.T * weight) @ used, used.T * weight)
        gain = np.vstack([gain, np.zeros((2 - free, d.size))])  # a shape that is not fitted stays
        one_each = (("range", np.ones(d.size)), ("tape_zero", slope), ("scale", self.fitted))
        self.per_unit = {cause: gain @ error for cause, error in one_each}
        causes = {cause: part * u for (cause, part), u in zip(self.per_unit.items(), common, strict=True)}
        self.own = (gain / weight) @ gain.T
        self.covariance = self.own + sum(np.outer(part, part) for part in causes.values())
        spread = np.sqrt(np.diag(self.covariance))
        self.intensity_uncertainty, self.offset_uncertainty = float(spread[0]), float(spread[1])
        of_intensity = {cause: float(abs(part[0])) for cause, part in causes.items()}
        self.parts = {"readings": float(np.sqrt(self.own[0, 0])), **of_intensity}
        shared = np.column_stack([np.full(d.size, common[0]), slope * common[1]])
        self.chi_square, self.dof = _chi_square(self.residuals, used, weight, shared), d.size - free
        self.p_lack_of_fit = float(chdtrc(self.dof, self.chi_square)) if self.dof > 0 else math.nan
        codes = {
            "lack_of_fit": self.p_lack_of_fit < LACK_OF_FIT_LEVEL,
            "no_test": math.isnan(self.p_lack_of_fit),
            "negative_offset": model == "offset" and self.offset + 2.0 * self.offset_uncertainty < 0.0,
            "equal_distances": different < d.size,
        }
        self.findings = tuple(code for code, found in codes.items() if found)


@dataclass(frozen=True, eq=False)
class FarField:
    """The distances from which the inverse square holds on this bench.

    Attributes
    ----------
    smallest_distance : float
        Nearest distance from which all readings outward agree with the law; NaN if none does. [m]
    table : DataFrame
        One row for each start: ``from_distance`` [m], ``distances`` used, and the columns of `FitComparison.table`.
    fit : InverseSquareFit or None
        The fit from the smallest distance outward.
    code : str
        ``all`` (every distance is usable), ``part`` (only from the smallest distance), ``not_established``
        (not even the farthest readings agree), ``too_few`` (too few distances to tell).
    """

    smallest_distance: float
    table: pd.DataFrame
    fit: InverseSquareFit | None
    code: str


class FitComparison(Computed):
    """Competing laws on one distance run, and what remains uncertain because more than one explains it.

    Parameters
    ----------
    readings, common
        As of `InverseSquareFit`.

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

    def __init__(self, readings: Sequence[Floats], common: Sequence[float]) -> None:
        different = np.unique(readings[0]).size
        message = f"competing laws need at least 3 different distances; got {different}"
        must_hold(different >= 3, message, code="too_few_distances")
        self.fits: dict[str, InverseSquareFit] = {}
        for model in _SHAPES:
            with suppress(MethodError):  # a law with no solution
                self.fits[model] = InverseSquareFit(model, readings, common)
        self.table = _table(self.fits.values())
        self.kept = tuple(self.table.loc[self.table["kept"], "model"])
        message = "the readings must agree with at least one law; chi-square rejects all four"
        must_hold(self.kept, message, code="no_law_holds", known={"table": self.table})
        kept = [self.fits[name] for name in self.kept]
        best = min(kept, key=lambda fit: fit.chi_square / max(fit.dof, 1))
        self.model, self.intensity = best.model, best.intensity
        spread = max(abs(fit.intensity - best.intensity) for fit in kept) / math.sqrt(3.0)
        self.model_spread = spread
        self.intensity_uncertainty = float(np.hypot(best.intensity_uncertainty, spread))


class Doubts(TypedDict, total=False):
    """Standard uncertainties of readings at several distances."""

    illuminance_uncertainty: Required[ArrayLike]
    distance_uncertainty: Required[ArrayLike]
    common_illuminance_uncertainty: float
    common_distance_uncertainty: float
    scale_uncertainty: float


def fit_inverse_square(
    distance: ArrayLike, illuminance: ArrayLike, *, fit_offset: bool = True, **doubts: Unpack[Doubts]
) -> InverseSquareFit:
    r"""Return the intensity and offset that explain illuminances at several distances.

    .. math:: E_i = I / (d_i + o)^2

    Parameters
    ----------
    distance : array_like, shape (n,)
        Distances from the reference face, one a placement. [m]
    illuminance : array_like, shape (n,)
        Illuminances, dark reading removed, repeats of a placement averaged. [lx]
    fit_offset : bool, default True
        Fit the offset; otherwise it is 0 exactly.
    **doubts
        Standard uncertainties. Of each reading by itself, one for all or shape (n,): ``illuminance_uncertainty`` [lx]
        and ``distance_uncertainty`` (of a placement) [m]. Of what all readings share, 0 where not given:
        ``common_illuminance_uncertainty``, an additive error such as the meter's range term or stray light [lx],
        ``common_distance_uncertainty``, the zero of the tape [m], and ``scale_uncertainty``, the meter's scale
        (relative).

    Returns
    -------
    InverseSquareFit
        The fit.

    Raises
    ------
    ValueError
        If distances, illuminances or their uncertainties are out of range or of different lengths.
    MethodError
        If there are too few different distances (code ``one_distance``), or the readings do not settle on an
        offset (code ``no_solution``).

    Notes
    -----
    Measure stray light, do not fit it. A free offset hides a disc source: bound the near field by geometry
    too, and see `compare_fits`. The intensity of a range that is not dark-corrected is wrong by more than
    any term here shows.

    References
    ----------
    .. [1] J. Orear, "Least squares when both variables have uncertainties", Am. J. Phys. 50 (1982) 912.
    """
    readings, common = _checked_readings(distance, illuminance, **doubts)
    return InverseSquareFit("offset" if fit_offset else "point", readings, common)


def compare_fits(distance: ArrayLike, illuminance: ArrayLike, **doubts: Unpack[Doubts]) -> FitComparison:
    r"""Return the fits of competing laws, and the intensity with the spread between those the readings keep.

    .. math::
        \frac{I}{d^2}, \quad \frac{I}{(d + o)^2}, \quad \frac{I (1 - q/d^2)}{d^2}, \quad \frac{I}{d^2 + q}

    Parameters
    ----------
    distance, illuminance : array_like, shape (n,)
        The run, at least 3 different distances. [m, lx]
    **doubts
        Uncertainties of the readings and those that all share, as for `fit_inverse_square`. [lx, m, 1]

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
    return FitComparison(*_checked_readings(distance, illuminance, **doubts))


def far_field(
    distance: ArrayLike, illuminance: ArrayLike, *, fit_offset: bool = False, **doubts: Unpack[Doubts]
) -> FarField:
    """Return the smallest distance from which the readings outward follow the inverse square.

    The nearest readings are left out one after another until the chi-square of the rest no longer rejects
    the law.

    Parameters
    ----------
    distance, illuminance : array_like, shape (n,)
        The run. [m, lx]
    fit_offset : bool, default False
        Fit the photometric-centre offset as well; otherwise flatness of E d^2 is judged.
    **doubts
        Uncertainties of the readings and those that all share, as for `fit_inverse_square`. [lx, m]

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
    readings, common = _checked_readings(distance, illuminance, **doubts)
    order = np.argsort(readings[0], kind="stable")
    d = readings[0][order]
    model, least = ("offset", 4) if fit_offset else ("point", 3)
    fits: list[InverseSquareFit] = []
    accepted = False
    while not accepted and len(fits) <= d.size - least:
        fits.append(InverseSquareFit(model, [a[order[len(fits) :]] for a in readings], common))
        accepted = not fits[-1].p_lack_of_fit < LACK_OF_FIT_LEVEL
    table = _table(fits).drop(columns="model")
    table.insert(0, "from_distance", d[: len(fits)])
    table.insert(1, "distances", d.size - np.arange(len(fits)))
    if not accepted:
        return FarField(math.nan, table, None, "not_established" if fits else "too_few")
    reached = float(d[len(fits) - 1])
    return FarField(reached, table, fits[-1], "all" if reached == d[0] else "part")


def _table(fits: Iterable[InverseSquareFit]) -> pd.DataFrame:
    """Return one row a fit, and whether the readings keep it."""
    heads = ["model", "intensity", "intensity_uncertainty", "parameter", "parameter_uncertainty"]
    heads += ["unit", "chi_square", "dof", "p", "kept"]
    rows = [
        {_HEADS.get(name, name): x for name, x in vars(fit).items()}
        | {"unit": _UNITS[fit.model], "kept": not fit.p_lack_of_fit < LACK_OF_FIT_LEVEL}
        for fit in fits
    ]
    return pd.DataFrame({head: [row[head] for row in rows] for head in heads})


def _checked_readings(
    distance: ArrayLike,
    illuminance: ArrayLike,
    *,
    illuminance_uncertainty: ArrayLike,
    distance_uncertainty: ArrayLike,
    common_illuminance_uncertainty: float = 0.0,
    common_distance_uncertainty: float = 0.0,
    scale_uncertainty: float = 0.0,
) -> tuple[list[Floats], list[float]]:
    """Return readings and their doubts as arrays of one length, and what all share, or say what is wrong with them."""
    given = {
        "distance": np.atleast_1d(positive("distance", distance, "m")),
        "illuminance": np.atleast_1d(positive("illuminance", illuminance, "lx")),
        "illuminance_uncertainty": positive("illuminance_uncertainty", illuminance_uncertainty, "lx"),
        "distance_uncertainty": not_negative("distance_uncertainty", distance_uncertainty, "m"),
    }
    d = given["distance"]
    readings = [np.broadcast_to(a, d.shape) if a.ndim == 0 else a for a in given.values()]
    for name, values in zip(given, readings, strict=True):
        same_length("distance", d, name, values)
    if (missing := np.isnan(readings).any(axis=0)).any():
        where = f"NaN at [{np.argmax(missing)}]"
        demand(False, "distance and illuminance must have no missing values", where)
    common = []
    for name, unit, value in (
        ("common_illuminance_uncertainty", "lx", common_illuminance_uncertainty),
        ("common_distance_uncertainty", "m", common_distance_uncertainty),
        ("scale_uncertainty", "(relative)", scale_uncertainty),
    ):
        one = not_negative(name, value, unit).ndim == 0
        demand(one, f"{name} must be one number, one input for all distances", "an array")
        common.append(float(value))
    return readings, common


def _solve(
    model: str, d: Floats, e: Floats, u_e: Floats, u_d: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return parameters, Jacobian, slope over distance and weights, by re-weighted Gauss-Newton steps."""
    shape, intensity, second = _SHAPES[model], *_start(model, d, e)
    free, power = 1 if model == "point" else 2, 1 if model == "offset" else 2
    nearest = float(d.min()) ** power
    for _ in range(_ITERATIONS):
        g, dg, slope = shape(d, second)
        jacobian = np.column_stack([g, intensity * dg])
        weight = 1.0 / (u_e**2 + (intensity * slope * u_d) ** 2)
        root = np.sqrt(weight)
        size = np.sqrt((jacobian[:, :free] ** 2 * weight[:, None]).sum(axis=0))
        scaled = jacobian[:, :free] * root[:, None] / size
        step = np.linalg.lstsq(scaled, (e - intensity * g) * root, rcond=None)[0] / size
        change = abs(step[0]) / intensity
        intensity = max(intensity + float(step[0]), 0.2 * intensity)
        if free == 2:
            before = second
            second = max(before + float(step[1]), 0.5 * (before - 0.98 * nearest))
            change += abs(second - before) / (abs(second) + nearest)
        if abs(second) > _FAR_OFF * float(d.max()) ** power:
            break
        if change < _STANDS_STILL:
            return np.array([intensity, second]), jacobian, intensity * slope, weight
    tried = f"last try {second:g} {_UNITS[model] or 'm2'}"
    message = f"readings must fix intensity and offset; the light does not fall so ({tried})"
    raise MethodError(message, code="no_solution", known={"apparent_intensity": float(np.mean(e * d**2))})


def _start(model: str, d: Floats, e: Floats) -> tuple[float, float]:
    """Return start values: the line 1/sqrt(E) over d, or the far end."""
    far = float(e[np.argmax(d)] * d.max() ** 2)
    if model != "offset":
        return far, 0.0
    per_metre, at_face = np.polyfit(d, 1.0 / np.sqrt(e), 1).tolist()
    if per_metre <= 0:
        return far, 0.0
    return 1.0 / per_metre**2, max(at_face / per_metre, -0.5 * float(d.min()))


def _chi_square(residuals: Floats, jacobian: Floats, weight: Floats, shared: Floats) -> float:
    """Return the generalised chi-square: shared errors are free within their doubt."""
    covariance = np.diag(1.0 / weight) + shared @ shared.T
    inverse = np.linalg.inv(covariance)
    bent = jacobian.T @ inverse
    left = residuals - jacobian @ np.linalg.solve(bent @ jacobian, bent @ residuals)
    return max(float(left @ inverse @ left), 0.0)
