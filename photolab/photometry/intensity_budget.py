"""One reading at one distance to an intensity, with every term of its doubt by name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from photolab.photometry.arguments import finite, not_negative, positive, require


@dataclass(frozen=True)
class IntensityBudget:
    """A luminous intensity from one reading, and what may be off.

    Attributes
    ----------
    intensity : float
        Luminous intensity towards the meter head. [cd]
    standard_uncertainty : float
        Its standard uncertainty. [cd]
    parts : mapping
        Relative standard uncertainty by cause: ``reading``, ``dark``, ``range``, ``scale``, ``distance``,
        ``offset``, ``tilt``, ``near_field``. [1]
    largest : str
        The cause with the largest part.
    codes : tuple of str
        ``apparent`` (no distance run shows that the law holds), ``lower_range`` (the range term is the
        largest and the reading fits on a lower range).
    """

    intensity: float
    standard_uncertainty: float
    parts: Mapping[str, float]
    largest: str
    codes: tuple[str, ...]


def intensity_budget(
    illuminance: float,
    distance: float,
    *,
    incidence_angle: float = 0.0,
    offset: float = 0.0,
    reading_uncertainty: float = 0.0,
    dark_uncertainty: float = 0.0,
    range_uncertainty: float = 0.0,
    scale_uncertainty: float = 0.0,
    distance_uncertainty: float = 0.0,
    offset_uncertainty: float = 0.0,
    tilt_uncertainty: float = 0.0,
    near_field_uncertainty: float | None = None,
    lower_ranges: Sequence[float] = (),
) -> IntensityBudget:
    r"""Return the intensity one reading gives, with its budget.

    .. math::
        \frac{u^2(I)}{I^2} = \frac{u^2(E)}{E^2} + u_s^2 + \frac{4 \, [u^2(d) + u^2(o)]}{(d + o)^2}
        + \tan^2\theta \, u^2(\theta) + \frac{3 \, u^4(\theta)}{4 \cos^4\theta} + u_n^2

    Parameters
    ----------
    illuminance : float
        Illuminance :math:`E` at the meter head, dark reading removed. [lx]
    distance : float
        Distance :math:`d` from the reference face. [m]
    incidence_angle : float, default 0
        Angle :math:`\theta` between the ray and the meter-head normal. [rad]
    offset : float, default 0
        Photometric centre behind the reference face :math:`o`. [m]
    reading_uncertainty, dark_uncertainty, range_uncertainty : float, default 0
        Standard uncertainties of the reading (repeats, resolution), of the dark reading and of the range
        term. [lx]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the scale :math:`u_s`. [1]
    distance_uncertainty, offset_uncertainty : float, default 0
        Standard uncertainties of tape and offset. [m]
    tilt_uncertainty : float, default 0
        Standard uncertainty of the incidence angle. [rad]
    near_field_uncertainty : float or None, default None
        Relative standard uncertainty of the near-field correction :math:`u_n`, 0 where a distance run shows
        the law to hold; None where there is no run. [1]
    lower_ranges : sequence of float, default ()
        Tops of the meter's lower ranges. [lx]

    Returns
    -------
    IntensityBudget
        Intensity, uncertainty and its parts.

    Raises
    ------
    ValueError
        If a quantity is out of range.

    Notes
    -----
    The half-width of a rectangular term enters divided by the root of 3. At normal incidence a tilt can only
    lower the reading, and only to second order: the last tilt term is that loss in the root mean square.
    """
    reading = float(positive("illuminance", illuminance, "lx"))
    path = float(positive("distance", distance, "m") + finite("offset", offset, "m"))
    positive("distance + offset", path, "m")
    angle = float(
        require("incidence_angle", incidence_angle, lambda v: abs(v) < np.pi / 2, "under pi/2", "rad")
    )
    tilt = float(not_negative("tilt_uncertainty", tilt_uncertainty, "rad"))
    near = 0.0 if near_field_uncertainty is None else near_field_uncertainty
    parts = {
        "reading": float(not_negative("reading_uncertainty", reading_uncertainty, "lx")) / reading,
        "dark": float(not_negative("dark_uncertainty", dark_uncertainty, "lx")) / reading,
        "range": float(not_negative("range_uncertainty", range_uncertainty, "lx")) / reading,
        "scale": float(not_negative("scale_uncertainty", scale_uncertainty, "(relative)")),
        "distance": 2.0 * float(not_negative("distance_uncertainty", distance_uncertainty, "m")) / path,
        "offset": 2.0 * float(not_negative("offset_uncertainty", offset_uncertainty, "m")) / path,
        "tilt": float(np.hypot(np.tan(angle) * tilt, np.sqrt(0.75) * tilt**2 / np.cos(angle) ** 2)),
        "near_field": float(not_negative("near_field_uncertainty", near, "(relative)")),
    }
    intensity = reading * path**2 / float(np.cos(angle))
    largest = max(parts, key=lambda cause: parts[cause])
    fits_lower = any(reading <= top for top in lower_ranges)
    codes = {
        "apparent": near_field_uncertainty is None,
        "lower_range": largest == "range" and parts["range"] > 0 and fits_lower,
    }
    return IntensityBudget(
        intensity=intensity,
        standard_uncertainty=intensity * float(np.sqrt(sum(part**2 for part in parts.values()))),
        parts=parts,
        largest=largest,
        codes=tuple(code for code, holds in codes.items() if holds),
    )
