"""The cut-off of a passing beam: how sharp, how high, and on which side it rises.

Sharpness is the largest change of the logarithm of the light over a tenth of a degree. It can only be read
from a fine scan with a small meter head; on a coarse grid it comes out far too small, so coarse scans are
refused.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator

from photolab.errors import demand
from photolab.metrology.arguments import Floats, must_hold, positive, same_length
from photolab.photometry.beam import BeamGrid, axis

_TENTH = 0.1  # deg, the step in the definition of the sharpness


_AROUND = 1.0  # deg, the stretch around the cut-off that must be scanned finely


_RISE = 0.3  # deg, difference of height between the sides that counts as a kink


_SIDES = ("right", "left", "symmetrical")


class CutoffSharpness(NamedTuple):
    """Largest sharpness of a vertical scan and where it is.

    Attributes
    ----------
    sharpness : float
        Largest G, difference of log10 of the light over 0.1 deg. [1]
    angle : float
        Middle of that tenth of a degree: the height of the cut-off. [deg]
    """

    sharpness: float
    angle: float

    @property
    def ratio(self) -> float:
        """Illuminance over that a tenth of a degree higher.

        Returns
        -------
        float
            The ratio, 10 to the power G. [1]
        """
        return float(10.0**self.sharpness)


@dataclass(frozen=True, eq=False)
class CutoffLine:
    """Height of the cut-off across a beam.

    Attributes
    ----------
    horizontal : ndarray, shape (n,)
        Columns of the grid. [deg]
    height : ndarray, shape (n,)
        Where the logarithm of the light falls fastest; NaN where a column does not fall by a factor of 2
        within half a degree. [deg]
    left_height, right_height : float
        Median height 2 to 8 deg to the left and to the right; NaN where the grid has no columns there. [deg]
    rises : str
        ``right``, ``left`` or ``none``: the side on which the line is higher by more than 0.3 deg.
    codes : tuple of str
        ``kink_on_wrong_side`` for the declared traffic, ``no_kink`` where one was declared, ``no_cutoff``.
    """

    horizontal: Floats
    height: Floats
    left_height: float
    right_height: float
    rises: str
    codes: tuple[str, ...]


def cutoff_sharpness(
    vertical_angle_deg: ArrayLike,
    intensity: ArrayLike,
    *,
    head_diameter: float | None = None,
    distance: float | None = None,
) -> CutoffSharpness:
    r"""Return the sharpness of a cut-off from one vertical scan, and its height.

    .. math:: G = \max_\beta \left[ \log_{10} I(\beta) - \log_{10} I(\beta + 0.1^\circ) \right]

    Parameters
    ----------
    vertical_angle_deg : array_like, shape (n,)
        Angles of the scan, increasing (upwards). [deg]
    intensity : array_like, shape (n,)
        Intensity or illuminance, dark reading removed, all more than zero. [cd]
    head_diameter : float, optional
        Diameter of the meter head's opening; with `distance` it is checked against the step. [m]
    distance : float, optional
        Distance to the head. [m]

    Returns
    -------
    CutoffSharpness
        Largest G and its angle.

    Raises
    ------
    ValueError
        If angles do not increase, or an intensity is not more than zero.
    MethodError
        If the scan is coarser than 0.1 deg within 1 deg of the cut-off (code ``scan_too_coarse``), the head
        covers more than 0.1 deg (code ``head_too_large``), the fall lies at the end of the scan (code
        ``at_scan_end``), or the light does not fall (code ``no_cutoff``). What was found is in ``known``.

    Notes
    -----
    Noise raises the largest of many differences: repeat the scan. Between readings the logarithm is
    interpolated by monotone cubics. UN Regulation No. 112 reads G on the line 2.5 deg from the vertical, UN
    Regulation No. 19 scans in steps of at most 0.05 deg. A value here describes this beam and is no test.
    """
    nodes = axis("vertical_angle_deg", vertical_angle_deg)
    light = positive("intensity", intensity, "cd")
    same_length("vertical_angle_deg", nodes, "intensity", light)
    span, gaps = nodes[-1] - nodes[0], int(np.isnan(light).sum())
    wanted = f"the scan must be longer than {_TENTH:g} deg and have no missing values"
    demand(span > _TENTH and not gaps, wanted, f"{span:g} deg, {gaps} missing")
    logarithm = PchipInterpolator(nodes, np.log10(light))
    fine = np.arange(nodes[0], nodes[-1] - _TENTH, min(float(np.diff(nodes).min()) / 10.0, 0.01))
    fine = np.union1d(fine, nodes[nodes <= nodes[-1] - _TENTH])
    falls = logarithm(fine) - logarithm(fine + _TENTH)
    at = int(np.argmax(falls))
    found = CutoffSharpness(float(falls[at]), float(fine[at]) + _TENTH / 2.0)
    known = {"sharpness_read": found.sharpness, "angle": found.angle}
    message = f"the light must fall somewhere along the scan; got {found.sharpness:g} per 0.1 deg"
    must_hold(found.sharpness > 0.0, message, code="no_cutoff", known=known)
    near = (nodes[1:] > found.angle - _AROUND) & (nodes[:-1] < found.angle + _AROUND)
    step, widest = float(np.diff(nodes)[near].max()), _TENTH * (1.0 + 1e-6)
    message = (
        f"the vertical step must be at most {_TENTH:g} deg within {_AROUND:g} deg of the cut-off; "
        f"got {step:g} deg. A coarser scan reads the cut-off too soft"
    )
    must_hold(step <= widest, message, code="scan_too_coarse", known={**known, "step": step})
    message = f"the scan must reach beyond the cut-off; the steepest fall is at its end, {found.angle:g} deg"
    reach = min(found.angle - nodes[0], nodes[-1] - found.angle)
    must_hold(reach >= 1.5 * _TENTH, message, code="at_scan_end", known=known)
    if head_diameter is not None and distance is not None:
        head = positive("head_diameter", head_diameter, "m") / positive("distance", distance, "m")
        width = float(np.degrees(head))
        message = f"the meter head must cover at most {_TENTH:g} deg from the lamp; got {width:.3g} deg"
        must_hold(width <= widest, message, code="head_too_large", known={**known, "head_deg": width})
    return found


def cutoff_line(grid: BeamGrid, *, traffic: str) -> CutoffLine:
    """Return the height of the cut-off in every column, and the side on which it rises.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    traffic : str
        Declared side of the road: ``right``, ``left`` or ``symmetrical``. For right-hand traffic the line
        rises to the right.

    Returns
    -------
    CutoffLine
        Heights, the side, and cautions.

    Raises
    ------
    ValueError
        If the traffic side is not one of the three.

    Notes
    -----
    Height by the inflection of the logarithm, refined by a parabola through three differences: good for aim
    and side, not for sharpness.
    """
    demand(traffic in _SIDES, f"traffic must be one of {', '.join(_SIDES)}", repr(traffic))
    heights = _heights(grid)
    left, right = (
        float(pd.Series(heights[(side * grid.horizontal >= 2.0) & (side * grid.horizontal <= 8.0)]).median())
        for side in (-1, 1)
    )
    rise = right - left
    rises = "right" if rise > _RISE else "left" if rise < -_RISE else "none"
    codes = {
        "kink_on_wrong_side": traffic != "symmetrical" and rises not in (traffic, "none"),
        "no_kink": traffic != "symmetrical" and rises == "none",
        "no_cutoff": bool(np.isnan(heights).all()),
    }
    found = tuple(code for code, holds in codes.items() if holds)
    return CutoffLine(grid.horizontal, heights, left, right, rises, found)


def _heights(grid: BeamGrid) -> Floats:
    """Return the height of the fastest fall of the logarithm in every column."""
    floor = max(float(grid.intensity.max()), 1.0) * 1e-9
    logarithm = np.log10(np.maximum(grid.intensity, floor))
    falls = -np.diff(logarithm, axis=0) / np.diff(grid.vertical)[:, None]
    middles = (grid.vertical[1:] + grid.vertical[:-1]) / 2.0
    columns = np.arange(grid.horizontal.size)
    at = np.argmax(falls, axis=0)
    heights = middles[at].copy()
    if middles.size >= 3:
        inner = np.clip(at, 1, middles.size - 2)
        before, top, after = (falls[inner + k, columns] for k in (-1, 0, 1))
        bend = before - 2.0 * top + after
        refine = (inner == at) & (bend < 0)
        shift = np.where(refine, 0.5 * (before - after) / np.where(refine, bend, 1.0), 0.0)
        heights += np.clip(shift, -0.5, 0.5) * (middles[inner + 1] - middles[inner - 1]) / 2.0
    reach = max(0.5, float(np.diff(grid.vertical).max()))
    beside = ([height - reach, height + reach] for height in heights)
    ends = [np.interp(two, grid.vertical, column) for two, column in zip(beside, logarithm.T, strict=True)]
    return np.where(-np.diff(ends)[:, 0] >= np.log10(2.0), heights, np.nan)
