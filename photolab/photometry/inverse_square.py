r"""Fits of an intensity and one shape parameter to illuminances at several distances.

The weight of a reading holds its own doubt and that of its distance (effective variance),

.. math:: u_i^2 = u(E_i)^2 + (\partial E / \partial d)^2 \, u(d_i)^2,

renewed until the parameters stand still. Errors all distances share (meter range, tape zero, meter scale) do
not enter the weights: each is one input, carried through the estimate afterwards.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats, as_floats, finite, not_negative, positive, same_length

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


_SHAPES: Mapping[str, Callable[[Floats, float], tuple[Floats, Floats, Floats]]] = {
    "point": _offset,
    "offset": _offset,
    "near_field": _near_field,
    "disc": _disc,
}


@dataclass(frozen=True, eq=False)
class InverseSquareFit:
    """An intensity and a photometric-centre offset from a distance run.

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
    standard_residuals : ndarray, shape (n,)
        Residuals over their effective standard uncertainties. [1]
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
        ``offset`` or ``point``; for competing fits also ``near_field`` and ``disc``, where `offset` holds
        the shape parameter. [m or m2]
    """

    intensity: float
    intensity_uncertainty: float
    offset: float
    offset_uncertainty: float
    covariance: Floats
    chi_square: float
    dof: int
    p_lack_of_fit: float
    residuals: Floats
    standard_residuals: Floats
    fitted: Floats
    own: Floats
    per_unit: Mapping[str, Floats]
    parts: Mapping[str, float]
    findings: tuple[str, ...]
    model: str


def fit_inverse_square(
    distance: ArrayLike,
    illuminance: ArrayLike,
    *,
    illuminance_uncertainty: ArrayLike,
    distance_uncertainty: ArrayLike,
    fit_offset: bool = True,
    common_illuminance_uncertainty: float = 0.0,
    common_distance_uncertainty: float = 0.0,
    scale_uncertainty: float = 0.0,
) -> InverseSquareFit:
    r"""Return the intensity and offset that explain illuminances at several distances.

    .. math:: E_i = I / (d_i + o)^2

    Parameters
    ----------
    distance : array_like, shape (n,)
        Distances from the reference face, one a placement. [m]
    illuminance : array_like, shape (n,)
        Illuminances, dark reading removed, repeats of a placement averaged. [lx]
    illuminance_uncertainty : array_like, scalar or shape (n,)
        Standard uncertainty of each reading by itself. [lx]
    distance_uncertainty : array_like, scalar or shape (n,)
        Standard uncertainty of each placement by itself. [m]
    fit_offset : bool, default True
        Fit the offset; otherwise it is 0 exactly.
    common_illuminance_uncertainty : float, default 0
        Standard uncertainty of an additive error of all readings: the meter's range term, stray light. [lx]
    common_distance_uncertainty : float, default 0
        Standard uncertainty of the zero of the tape. [m]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the meter's scale. [1]

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
    readings = checked_readings(distance, illuminance, illuminance_uncertainty, distance_uncertainty)
    _common("common_illuminance_uncertainty", common_illuminance_uncertainty, "lx")
    _common("common_distance_uncertainty", common_distance_uncertainty, "m")
    _common("scale_uncertainty", scale_uncertainty, "(relative)")
    common = (common_illuminance_uncertainty, common_distance_uncertainty, scale_uncertainty)
    return fit_shape("offset" if fit_offset else "point", *readings, common=common)


def fit_shape(
    model: str,
    distance: Floats,
    illuminance: Floats,
    illuminance_uncertainty: Floats,
    distance_uncertainty: Floats,
    *,
    common: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> InverseSquareFit:
    """Return one of the competing fits: ``point``, ``offset``, ``near_field`` or ``disc``.

    Parameters
    ----------
    model : str
        The shape.
    distance, illuminance, illuminance_uncertainty, distance_uncertainty : ndarray, shape (n,)
        Checked readings and their standard uncertainties. [m, lx, lx, m]
    common : tuple of three floats
        Standard uncertainties of range term, tape zero and relative scale. [lx, m, 1]

    Returns
    -------
    InverseSquareFit
        The fit; `offset` holds the shape parameter. [m or m2]
    """
    free = 1 if model == "point" else 2
    _enough(distance, illuminance, free)
    parameters, jacobian, slope, weight = _solve(
        model, distance, illuminance, illuminance_uncertainty, distance_uncertainty
    )
    fitted = parameters[0] * jacobian[:, 0]
    used = jacobian[:, :free]
    residuals = illuminance - fitted
    gain = np.linalg.solve((used.T * weight) @ used, used.T * weight)  # parameters per lux of each reading
    gain = np.vstack([gain, np.zeros((2 - free, distance.size))])  # a shape that is not fitted stays
    one_each = (("range", np.ones(distance.size)), ("tape_zero", slope), ("scale", fitted))
    per_unit = {cause: gain @ error for cause, error in one_each}
    causes = {cause: part * u for (cause, part), u in zip(per_unit.items(), common, strict=True)}
    own = (gain / weight) @ gain.T
    covariance = own + sum(np.outer(part, part) for part in causes.values())
    shared = np.column_stack([np.full(distance.size, common[0]), slope * common[1]])
    chi_square, dof = _chi_square(residuals, used, weight, shared), distance.size - free
    p = float(chdtrc(dof, chi_square)) if dof > 0 else float("nan")
    spread = np.sqrt(np.diag(covariance))
    return InverseSquareFit(
        intensity=float(parameters[0]),
        intensity_uncertainty=float(spread[0]),
        offset=float(parameters[1]),
        offset_uncertainty=float(spread[1]),
        covariance=covariance,
        chi_square=chi_square,
        dof=dof,
        p_lack_of_fit=p,
        residuals=residuals,
        standard_residuals=residuals * np.sqrt(weight),
        fitted=fitted,
        own=own,
        per_unit=per_unit,
        parts={"readings": float(np.sqrt(own[0, 0])), **{k: float(abs(v[0])) for k, v in causes.items()}},
        findings=_findings(model, distance, parameters[1], spread[1], p),
        model=model,
    )


def checked_readings(
    distance: ArrayLike, illuminance: ArrayLike, u_illuminance: ArrayLike, u_distance: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the readings and their uncertainties as arrays of one length, or say what is wrong with them.

    Parameters
    ----------
    distance, illuminance : array_like, shape (n,)
        The readings. [m, lx]
    u_illuminance, u_distance : array_like, scalar or shape (n,)
        Their standard uncertainties. [lx, m]

    Returns
    -------
    tuple of four ndarray, shape (n,)
        The same as floats. [m, lx, lx, m]

    Raises
    ------
    ValueError
        If a value is out of range or missing, or lengths differ.
    """
    d = np.atleast_1d(positive("distance", distance, "m"))
    e = np.atleast_1d(positive("illuminance", illuminance, "lx"))
    same_length("distance", d, "illuminance", e)
    doubts = []
    for name, given, unit in (
        ("illuminance_uncertainty", positive("illuminance_uncertainty", u_illuminance, "lx"), "lx"),
        ("distance_uncertainty", not_negative("distance_uncertainty", u_distance, "m"), "m"),
    ):
        doubts.append(np.broadcast_to(given, d.shape) if given.ndim == 0 else given)
        same_length("distance", d, name, doubts[-1])
        finite(name, doubts[-1], unit)
    missing = np.isnan(d) | np.isnan(e) | np.isnan(doubts[0]) | np.isnan(doubts[1])
    if missing.any():
        message = (
            f"distance and illuminance must have no missing values; got NaN at [{int(np.argmax(missing))}]"
        )
        raise ValueError(message)
    return d, e, doubts[0], doubts[1]


def _common(name: str, value: float, unit: str) -> None:
    if as_floats(name, value).ndim != 0:
        message = f"{name} must be one number: it is one input for all distances"
        raise ValueError(message)
    not_negative(name, value, unit)


def _enough(d: Floats, e: Floats, free: int) -> None:
    different = np.unique(d).size
    if different >= free:
        return
    apparent = float(np.mean(e * d**2))
    message = (
        f"an intensity and an offset need at least 2 different distances; got {different}. "
        f"With the offset taken as 0 the apparent intensity at {d[0]:g} m is {apparent:.4g} cd"
    )
    raise MethodError(
        message, code="one_distance", known={"apparent_intensity": apparent, "distance": float(d[0])}
    )


def _solve(
    model: str, d: Floats, e: Floats, u_e: Floats, u_d: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return parameters, Jacobian, slope over distance and weights, by re-weighted Gauss-Newton steps."""
    shape = _SHAPES[model]
    free = 1 if model == "point" else 2
    intensity, second = _start(model, d, e)
    lowest = _lowest(model, d)
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
            before, second = second, second + float(step[1])
            second = max(second, 0.5 * (before + lowest))
            change += abs(second - before) / (abs(second) + float(d.min()) ** (1 if model == "offset" else 2))
        if abs(second) > _FAR_OFF * float(d.max()) ** (1 if model == "offset" else 2):
            break
        if change < _STANDS_STILL:
            return np.array([intensity, second]), jacobian, intensity * slope, weight
    unit = "m" if model == "offset" else "m2"
    message = (
        f"readings must fix intensity and offset; the light does not fall so (last try {second:g} {unit})"
    )
    raise MethodError(message, code="no_solution", known={"apparent_intensity": float(np.mean(e * d**2))})


def _start(model: str, d: Floats, e: Floats) -> tuple[float, float]:
    """Return start values: the line 1/sqrt(E) over d, or the far end."""
    far = float(e[np.argmax(d)] * d.max() ** 2)
    if model != "offset":
        return far, 0.0
    inverse_root = 1.0 / np.sqrt(e)
    centred = d - d.mean()
    per_metre = float(centred @ inverse_root / (centred @ centred))
    if per_metre <= 0:
        return far, 0.0
    return 1.0 / per_metre**2, max(float(inverse_root.mean() / per_metre - d.mean()), -0.5 * float(d.min()))


def _lowest(model: str, d: Floats) -> float:
    nearest = float(d.min())
    return -0.98 * (nearest if model == "offset" else nearest**2)


def _chi_square(residuals: Floats, jacobian: Floats, weight: Floats, shared: Floats) -> float:
    """Return the generalised chi-square: shared errors are free within their doubt."""
    covariance = np.diag(1.0 / weight) + shared @ shared.T
    inverse = np.linalg.inv(covariance)
    bent = jacobian.T @ inverse
    left = residuals - jacobian @ np.linalg.solve(bent @ jacobian, bent @ residuals)
    return max(float(left @ inverse @ left), 0.0)


def _findings(model: str, d: Floats, second: float, u_second: float, p: float) -> tuple[str, ...]:
    codes = {
        "lack_of_fit": p < LACK_OF_FIT_LEVEL,
        "no_test": np.isnan(p),
        "negative_offset": model == "offset" and second + 2.0 * u_second < 0.0,
        "equal_distances": np.unique(d).size < d.size,
    }
    return tuple(code for code, found in codes.items() if found)
