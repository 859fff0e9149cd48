"""What a beam pattern says: peak, flux through a window, light above the cut-off, evenness of a row.

Results are relative to the bench's own baseline; they are no test of a lamp against a regulation. The grid
itself, the cut-off, comparisons and plans of points live in their own modules and are importable here.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import RegularGridInterpolator

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats, as_given
from photolab.photometry.beam_compare import AimOffset, RatioMap, aim_offset, ratio_map
from photolab.photometry.beam_cutoff import (
    CutoffLine,
    CutoffSharpness,
    angle_of_slope,
    cutoff_line,
    cutoff_sharpness,
)
from photolab.photometry.beam_grid import (
    BeamGrid,
    Range,
    angles,
    between,
    inside,
    intensity_from_angles,
    intensity_from_wall,
    mirrored,
)
from photolab.photometry.beam_points import PointPlan, judge_points
from photolab.photometry.beam_window import (
    MeanAboveCutoff,
    WindowFlux,
    mean_above_cutoff,
    mean_weights,
    solid_angle_density,
    window_flux,
    window_weights,
)

__all__ = [
    "AimOffset",
    "BeamGrid",
    "CutoffLine",
    "CutoffSharpness",
    "MeanAboveCutoff",
    "Peak",
    "PointPlan",
    "RatioMap",
    "RowUniformity",
    "WindowFlux",
    "aim_offset",
    "angle_of_slope",
    "cutoff_line",
    "cutoff_sharpness",
    "intensity_at",
    "intensity_from_angles",
    "intensity_from_wall",
    "judge_points",
    "mean_above_cutoff",
    "mean_weights",
    "mirrored",
    "peak",
    "ratio_map",
    "row_uniformity",
    "solid_angle_density",
    "window_flux",
    "window_weights",
]


@dataclass(frozen=True)
class Peak:
    """The largest cell of a beam.

    Attributes
    ----------
    intensity : float
        Its luminous intensity. [cd]
    horizontal, vertical : float
        Where it is. [deg]
    point_rule : str
        ``found_again``: a peak searched anew in each pattern is biased up by noise, a fixed point is not.
    codes : tuple of str
        ``at_edge`` (the true peak may lie outside the grid), ``coarse`` (a neighbour differs by more than 10
        %).
    """

    intensity: float
    horizontal: float
    vertical: float
    point_rule: str
    codes: tuple[str, ...]


@dataclass(frozen=True)
class RowUniformity:
    """Evenness of the light along one row.

    Attributes
    ----------
    vertical : float
        The row. [deg]
    mean : float
        Mean intensity, by angle. [cd]
    minimum_over_mean, maximum_over_mean : float
        Smallest and largest cell over the mean. [1]
    steepest : float
        Largest relative change for one degree. [1/deg]
    """

    vertical: float
    mean: float
    minimum_over_mean: float
    maximum_over_mean: float
    steepest: float


def peak(grid: BeamGrid) -> Peak:
    """Return the largest cell of a beam and where it is.

    Parameters
    ----------
    grid : BeamGrid
        The beam.

    Returns
    -------
    Peak
        Intensity, direction and cautions.

    Raises
    ------
    MethodError
        If the largest cell is an upper limit (code ``peak_at_most``).
    """
    row, column = (int(i) for i in np.unravel_index(np.argmax(grid.intensity), grid.intensity.shape))
    top = float(grid.intensity[row, column])
    if grid.censored[row, column]:
        message = f"the largest cell must be a reading; {top:g} cd is an upper limit"
        raise MethodError(message, code="peak_at_most", known={"at_most": top})
    rows, columns = grid.intensity.shape
    near = grid.intensity[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    codes = {
        "at_edge": row in (0, rows - 1) or column in (0, columns - 1),
        "coarse": top > 0 and float(near.min()) < 0.9 * top,
    }
    return Peak(
        intensity=top,
        horizontal=float(grid.horizontal[column]),
        vertical=float(grid.vertical[row]),
        point_rule="found_again",
        codes=tuple(code for code, holds in codes.items() if holds),
    )


def intensity_at(grid: BeamGrid, horizontal: ArrayLike, vertical: ArrayLike) -> float | Floats:
    """Return the intensity in fixed directions, interpolated linearly between cells.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : array_like
        Directions, inside the grid. [deg]

    Returns
    -------
    float or ndarray
        Luminous intensity. [cd]

    Raises
    ------
    MethodError
        If a direction lies outside the grid (code ``outside_grid``).
    """
    h, v = np.broadcast_arrays(angles("horizontal", horizontal), angles("vertical", vertical))
    for name, nodes, wanted in (("horizontal", grid.horizontal, h), ("vertical", grid.vertical, v)):
        inside(name, nodes, (float(wanted.min()), float(wanted.max())))
    look_up = RegularGridInterpolator((grid.vertical, grid.horizontal), grid.intensity)
    found: float | Floats = as_given(look_up(np.stack([v, h], axis=-1)).reshape(h.shape))
    return found


def row_uniformity(grid: BeamGrid, *, vertical: float, horizontal: Range) -> RowUniformity:
    """Return how even the light is along one row.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    vertical : float
        The row, interpolated between cells. [deg]
    horizontal : tuple of two floats
        From where to where, edges included. [deg]

    Returns
    -------
    RowUniformity
        Smallest, largest and steepest.

    Raises
    ------
    ValueError
        If the limits are not in order.
    MethodError
        If fewer than 3 cells lie in the stretch (code ``no_cells``), the row is outside the grid (code
        ``outside_grid``), or the row is dark (code ``dark_row``).
    """
    chosen = grid.horizontal[between("horizontal", grid.horizontal, horizontal)]
    if chosen.size < 3:
        message = f"a row must have at least 3 cells to be judged; got {chosen.size} in {horizontal} deg"
        raise MethodError(message, code="no_cells")
    row = np.atleast_1d(intensity_at(grid, chosen, np.full(chosen.size, vertical)))
    mean = float(np.trapezoid(row, chosen) / (chosen[-1] - chosen[0]))
    if not mean > 0:
        message = f"a row must carry light to be judged; the mean at {vertical:g} deg is {mean:g} cd"
        raise MethodError(message, code="dark_row")
    steps = np.abs(np.diff(row)) / np.diff(chosen) / mean
    return RowUniformity(vertical, mean, float(row.min()) / mean, float(row.max()) / mean, float(steps.max()))
