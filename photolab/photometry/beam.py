"""What a beam pattern says: a grid of intensities, its peak, windows, ratios and the aim of a beam.

Directions are in degrees as the lamp sees the wall: + right, + up. On a wall both angles are measured in the
plane of the wall (``screen``: tan h = x/D, tan v = y/D); on a turntable they are turn and tilt (``sphere``).
Results are relative to the bench's own baseline; they are no test of a lamp against a regulation.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple, TypedDict, Unpack

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RectBivariateSpline, make_interp_spline
from scipy.optimize import least_squares

from photolab.errors import MethodError, demand
from photolab.metrology.arguments import (
    Floats,
    finite,
    must_hold,
    not_negative,
    positive,
    require,
    same_length,
)
from photolab.metrology.computed import Computed
from photolab.metrology.quantity import COVERAGE, coverage_factor

Flags = NDArray[np.bool_]


Range = tuple[float, float]


SENSORS = ("faces_lamp", "flat_wall", "turned_lamp")
"""How the meter head stood: turned to the lamp, flat on the wall, or fixed before a turned lamp."""


_NODES = 160  # nodes an axis used to find a shift; more add time, not knowledge


_DIFFERENT_SHAPES = 0.10  # rms of what a shift leaves, over the peak


_DARK = 1e-12  # share of the peak; below, a cell is dark


class BeamGrid(Computed):
    """Luminous intensity on a full grid of directions.

    Parameters
    ----------
    horizontal : array_like, shape (n,)
        Angles to the right, increasing. [deg]
    vertical : array_like, shape (m,)
        Angles up, increasing. [deg]
    intensity : array_like, shape (m, n)
        Luminous intensity. [cd]
    censored : array_like of bool, shape (m, n), optional
        Cells whose reading was below what the meter can tell: the intensity is an upper limit. None are when
        not given.
    projection : str, default "screen"
        ``screen`` or ``sphere``: what the angles mean.

    Raises
    ------
    ValueError
        If axes do not increase or reach 90 degrees, shapes disagree or an intensity is negative or missing.
    """

    def __init__(
        self,
        horizontal: ArrayLike,
        vertical: ArrayLike,
        intensity: ArrayLike,
        censored: ArrayLike | None = None,
        projection: str = "screen",
    ) -> None:
        self.horizontal, self.vertical = axis("horizontal", horizontal), axis("vertical", vertical)
        self.intensity = cells = not_negative("intensity", intensity, "cd")
        self.censored = flags = np.asarray(np.zeros(cells.shape) if censored is None else censored, bool)
        self.projection = projection
        shape, missing = (self.vertical.size, self.horizontal.size), int(np.isnan(cells).sum())
        wanted, got = f"intensity and censored must have shape {shape}", f"{cells.shape} and {flags.shape}"
        demand(cells.shape == shape == flags.shape, wanted, got)
        message = f"intensity must have no holes; {missing} of {cells.size} cells are missing"
        must_hold(missing == 0, message, code="grid_has_holes", known={"points": missing})
        demand(projection in ("screen", "sphere"), "projection must be screen or sphere", repr(projection))

    @property
    def halves(self) -> Floats:
        """Intensities with upper limits counted half [cd]."""
        return self.intensity * np.where(self.censored, 0.5, 1.0)


class Peak(NamedTuple):
    """The largest cell of a beam; searched anew in each pattern it is biased up by noise, a fixed point is not.

    Attributes
    ----------
    intensity : float
        Its luminous intensity. [cd]
    horizontal, vertical : float
        Where it is. [deg]
    codes : tuple of str
        ``at_edge`` (the true peak may lie outside the grid), ``coarse`` (a neighbour differs by more than 10
        %).
    """

    intensity: float
    horizontal: float
    vertical: float
    codes: tuple[str, ...]


class BeamSum(NamedTuple):
    """A weighted sum of the cells of a beam: a luminous flux, or a mean intensity.

    Attributes
    ----------
    value : float
        The sum, cells that are upper limits counted half. [lm or cd]
    standard_uncertainty : float
        From cells, scale, common term, cells that are upper limits, and of a flux the grid's step. [lm or cd]
    low, high : float
        Sum with upper-limit cells counted as zero and in full. [lm or cd]
    weight : float
        Sum of the weights: the solid angle of a flux, 1 of a mean. [sr or 1]
    cells, at_most_cells : int
        Cells that count, and how many of them are upper limits. [1]
    step_uncertainty : float
        Part from the step: a third of the change of a flux on every second node; 0 of a mean. [lm]
    """

    value: float
    standard_uncertainty: float
    low: float
    high: float
    weight: float
    cells: int
    at_most_cells: int
    step_uncertainty: float

    @property
    def code(self) -> str:
        """``measured``, ``partly_at_most`` or ``at_most`` (every cell is an upper limit: quote `high` as at most)."""
        if not self.at_most_cells:
            return "measured"
        return "at_most" if self.at_most_cells == self.cells else "partly_at_most"


@dataclass(frozen=True, eq=False)
class RatioMap:
    """Intensity of one beam over another, cell by cell.

    Attributes
    ----------
    horizontal, vertical : ndarray
        Axes of both beams. [deg]
    ratio : ndarray, shape (m, n)
        The ratio; NaN where either cell is an upper limit or the reference is dark. [1]
    resolved : ndarray of bool, shape (m, n)
        Cells whose interval, each by itself, leaves out 1: of cells without a difference 1 - coverage are marked.
    """

    horizontal: Floats
    vertical: Floats
    ratio: Floats
    resolved: NDArray[np.bool_]


class AimOffset(NamedTuple):
    """How far a beam is turned against a reference.

    Attributes
    ----------
    horizontal, vertical : float
        The beam lies this much to the right of and above the reference. [deg]
    scale : float
        Intensity against the reference once laid over it. [1]
    misfit : float
        Root mean square of what remains, over the peak of the reference. [1]
    horizontal_step, vertical_step : float
        Larger of the grids' steps: where a cut-off is sharper than the step, the shift across it is known to
        a fifth of the step, no better. [deg]
    codes : tuple of str
        ``shapes_differ`` (the beams do not match under any shift), ``at_limit`` (the shift reached the limit
        of the search).
    """

    horizontal: float
    vertical: float
    scale: float
    misfit: float
    horizontal_step: float
    vertical_step: float
    codes: tuple[str, ...]


def intensity_from_wall(
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    illuminance: ArrayLike,
    *,
    distance: float,
    sensor: str,
    offset: float = 0.0,
    at_most: ArrayLike | None = None,
) -> BeamGrid:
    r"""Return the intensity distribution from readings on a flat wall.

    .. math:: I = E \, r^2 / \cos\theta, \quad r^2 = D^2 + x^2 + y^2

    Parameters
    ----------
    x_mm : array_like, shape (n,) or (k,)
        Positions to the right of the lamp's axis. [mm]
    y_mm : array_like, shape (m,) or (k,)
        Positions above the lamp's axis. [mm]
    illuminance : array_like, shape (m, n) or (k,)
        Illuminances, dark reading removed; a list of k readings must fill the whole grid. [lx]
    distance : float
        Distance from the reference face to the wall. [m]
    sensor : str
        ``faces_lamp``: the head was turned to the lamp at each point, :math:`\theta = 0`. ``flat_wall``: it
        lay flat on the wall, :math:`\cos\theta = D/r`.
    offset : float, default 0
        Photometric centre behind the reference face, part of :math:`D`. [m]
    at_most : array_like of bool, shape of `illuminance`, optional
        Readings below what the meter can tell.

    Returns
    -------
    BeamGrid
        The distribution, angles in the plane of the wall.

    Raises
    ------
    ValueError
        If a position or reading is out of range, shapes disagree or the sensor is not one of the two.
    MethodError
        If readings are missing or doubled on the grid (codes ``grid_has_holes``, ``doubled_point``).

    Notes
    -----
    Mistaking one way of holding the head for the other costs 1/cos: 6 % at 20 degrees.
    """
    demand(sensor in SENSORS[:2], "sensor must be faces_lamp or flat_wall", repr(sensor))
    span = _span(distance, offset)
    x, y = finite("x_mm", x_mm, "mm"), finite("y_mm", y_mm, "mm")
    x, y, reading, flags = _full_grid(x, y, illuminance, at_most)
    h, v = (angle_on_wall(s, distance=span) for s in (x, y))
    return intensity_from_angles(h, v, reading, distance=span, sensor=sensor, at_most=flags)


def intensity_from_angles(
    horizontal_deg: ArrayLike,
    vertical_deg: ArrayLike,
    illuminance: ArrayLike,
    *,
    distance: float,
    sensor: str = "turned_lamp",
    offset: float = 0.0,
    at_most: ArrayLike | None = None,
) -> BeamGrid:
    r"""Return the intensity distribution from readings whose directions are given as angles.

    .. math:: I = E \, D^2

    Parameters
    ----------
    horizontal_deg : array_like, shape (n,) or (k,)
        Angles to the right. [deg]
    vertical_deg : array_like, shape (m,) or (k,)
        Angles up. [deg]
    illuminance : array_like, shape (m, n) or (k,)
        Illuminances, dark reading removed; a list of k readings must fill the whole grid. [lx]
    distance : float
        Distance from the reference face to the head, or to the wall. [m]
    sensor : str, default "turned_lamp"
        ``turned_lamp``: the lamp was turned before a fixed head. ``faces_lamp`` and ``flat_wall``: the
        angles mark points on a flat wall, see `intensity_from_wall`.
    offset : float, default 0
        Photometric centre behind the reference face. [m]
    at_most : array_like of bool, shape of `illuminance`, optional
        Readings below what the meter can tell.

    Returns
    -------
    BeamGrid
        The distribution.

    Raises
    ------
    ValueError
        If an angle reaches 90 degrees, a reading is negative, shapes disagree or the sensor is not one of
        the three.
    MethodError
        If readings are missing or doubled on the grid (codes ``grid_has_holes``, ``doubled_point``).
    """
    h, v = _angles("horizontal_deg", horizontal_deg), _angles("vertical_deg", vertical_deg)
    span = _span(distance, offset)
    h, v, reading, flags = _full_grid(h, v, illuminance, at_most)
    per_lux = intensity_of_a_lux(h, v[:, None], distance=span, sensor=sensor)
    return BeamGrid(h, v, reading * per_lux, flags, "sphere" if sensor == "turned_lamp" else "screen")


def angle_on_wall(position_mm: ArrayLike, *, distance: float) -> Floats:
    r"""Return the angle at which a lamp sees a position on a wall, in the plane of the wall.

    .. math:: h = \arctan(x / D)

    Parameters
    ----------
    position_mm : array_like, shape S
        Position to the right of the lamp's axis, or above it. [mm]
    distance : float
        Distance :math:`D` from the photometric centre to the wall. [m]

    Returns
    -------
    ndarray, shape S
        The angle. [deg]
    """
    return np.degrees(np.arctan(np.asarray(position_mm, float) * 1e-3 / distance))


def intensity_of_a_lux(
    horizontal_deg: ArrayLike, vertical_deg: ArrayLike, *, distance: float, sensor: str
) -> Floats:
    r"""Return the intensity in a direction where the meter reads one lux.

    .. math:: I / E = r^2 / \cos\theta, \quad r^2 = D^2 (1 + \tan^2 h + \tan^2 v)

    Parameters
    ----------
    horizontal_deg : array_like, shape S1
        Angle :math:`h` to the right. [deg]
    vertical_deg : array_like, shape S2
        Angle :math:`v` up. [deg]
    distance : float
        Distance :math:`D` from the photometric centre to the head, or to the wall. [m]
    sensor : str
        ``faces_lamp``: :math:`\theta = 0`. ``flat_wall``: :math:`\cos\theta = D/r`. ``turned_lamp``: a fixed head,
        :math:`r = D` and :math:`\theta = 0`.

    Returns
    -------
    ndarray, shape broadcast(S1, S2)
        The intensity. [cd/lx]

    Raises
    ------
    ValueError
        If the sensor is not one of the three.
    """
    demand(sensor in SENSORS, f"sensor must be one of {', '.join(SENSORS)}", repr(sensor))
    across, up = (np.tan(np.radians(angle)) for angle in (horizontal_deg, vertical_deg))
    slant = np.sqrt(1.0 + across**2 + up**2)
    power = {"turned_lamp": 0, "faces_lamp": 2, "flat_wall": 3}[sensor]
    return np.asarray(distance**2 * slant**power)


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
    message = f"the largest cell must be a reading; {top:g} cd is an upper limit"
    must_hold(not grid.censored[row, column], message, code="peak_at_most", known={"at_most": top})
    rows, columns = grid.intensity.shape
    near = grid.intensity[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
    codes = {
        "at_edge": row in (0, rows - 1) or column in (0, columns - 1),
        "coarse": top > 0 and float(near.min()) < 0.9 * top,
    }
    found = tuple(code for code, holds in codes.items() if holds)
    return Peak(top, float(grid.horizontal[column]), float(grid.vertical[row]), found)


class CellDoubts(TypedDict, total=False):
    """Standard uncertainties of the cells of a beam, as `weighted_sum` takes them."""

    cell_uncertainty: ArrayLike
    common_uncertainty: ArrayLike
    scale_uncertainty: float


def window_flux(
    grid: BeamGrid, *, horizontal: Range, vertical: Range, **doubts: Unpack[CellDoubts]
) -> BeamSum:
    r"""Return the luminous flux through a window of directions.

    .. math:: \Phi = \iint I \, \frac{d\Omega}{dh\,dv} \, dh \, dv

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats
        Limits of the window, inside the grid; they may fall between cells. [deg]
    **doubts
        Standard uncertainties, 0 where not given: ``cell_uncertainty`` of each cell by itself [cd],
        ``common_uncertainty`` of each cell from one error all share, such as the range term times distance squared
        [cd], each one for all or shape (m, n); ``scale_uncertainty`` of the meter's scale (relative).

    Returns
    -------
    BeamSum
        Flux and its uncertainty.

    Raises
    ------
    ValueError
        If a window's limits are not in order or an uncertainty is negative.
    MethodError
        If the window is not inside the grid (code ``outside_grid``).

    Notes
    -----
    Bilinear between cells. The flux holds for the window alone; a lamp's whole flux needs all directions.
    """
    weights = window_weights(grid, horizontal=horizontal, vertical=vertical)
    rows, columns = (_every_second(nodes) for nodes in (grid.vertical, grid.horizontal))
    halved = grid.halves[np.ix_(rows, columns)]
    thinned = BeamGrid(grid.horizontal[columns], grid.vertical[rows], halved, projection=grid.projection)
    thin = window_weights(thinned, horizontal=horizontal, vertical=vertical) * thinned.intensity
    step = abs(weighted_sum(grid, weights).value - float(thin.sum())) / 3.0
    return weighted_sum(grid, weights, step_uncertainty=step, **doubts)


def mean_above_cutoff(
    grid: BeamGrid,
    *,
    horizontal: Range = (-8.0, 8.0),
    vertical: Range = (0.5, 2.0),
    **doubts: Unpack[CellDoubts],
) -> BeamSum:
    """Return the plain mean of the cells in a window above the cut-off, upper limits kept as such.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats, default (-8, 8) and (0.5, 2)
        Limits of the window, edges included. [deg]
    **doubts
        As for `window_flux`; of faint cells the range term is the common one. [cd, 1]

    Returns
    -------
    BeamSum
        Mean, uncertainty, and how much of it is only an upper limit.

    Raises
    ------
    ValueError
        If a window's limits are not in order or an uncertainty is negative.
    MethodError
        If no cell lies in the window (code ``no_cells``).

    Notes
    -----
    Faint rows live on the dark correction and a low range: without both the mean is the meter's, not the
    lamp's.
    """
    return weighted_sum(grid, mean_weights(grid, horizontal=horizontal, vertical=vertical), **doubts)


def ratio_map(
    grid: BeamGrid,
    reference: BeamGrid,
    *,
    cell_uncertainty: ArrayLike = 0.0,
    reference_cell_uncertainty: ArrayLike = 0.0,
    coverage: float = COVERAGE,
) -> RatioMap:
    """Return the ratio of two beams cell by cell.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    reference : BeamGrid
        What it is divided by, on the same directions.
    cell_uncertainty, reference_cell_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainties of single cells. [cd]
    coverage : float, default COVERAGE
        Of the interval that decides whether a cell is marked. [1]

    Returns
    -------
    RatioMap
        The map.

    Raises
    ------
    ValueError
        If an uncertainty is negative.
    MethodError
        If the beams stand on different directions (code ``axes_differ``).

    Notes
    -----
    On the flank of a cut-off the ratio shows aim before it shows light: look at `aim_offset` first.
    """
    axes = ((grid.horizontal, reference.horizontal), (grid.vertical, reference.vertical))
    same = grid.intensity.shape == reference.intensity.shape and grid.projection == reference.projection
    same = same and all(np.allclose(a, b, rtol=0.0, atol=1e-6) for a, b in axes)
    message = "both beams must stand on the same directions; measure them on one plan of points"
    must_hold(same, message, code="axes_differ")
    top, bottom = grid.intensity, reference.intensity
    known = (bottom > _DARK * bottom.max()) & (top > 0) & ~grid.censored & ~reference.censored
    over = np.where(known, bottom, 1.0)
    ratio = np.where(known, top / over, np.nan)
    own = not_negative("cell_uncertainty", cell_uncertainty, "cd") / np.where(known, top, 1.0)
    other = not_negative("reference_cell_uncertainty", reference_cell_uncertainty, "cd") / over
    half = coverage_factor(coverage) * np.where(known, np.sqrt(own**2 + other**2), 0.0)
    resolved = known & (np.abs(np.log(np.where(known, ratio, 1.0))) > half)
    return RatioMap(grid.horizontal, grid.vertical, ratio, resolved)


def aim_offset(grid: BeamGrid, reference: BeamGrid, *, largest: float = 3.0) -> AimOffset:
    r"""Return the shift that lays one beam best over another.

    .. math:: \min_{\delta_h, \delta_v, s} \sum \left[ I(h + \delta_h, v + \delta_v) - s \, I_\mathrm{ref}(h,
    v) \right]^2

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    reference : BeamGrid
        The beam it is compared with; its directions may differ.
    largest : float, default 3
        Largest shift searched, along each axis. [deg]

    Returns
    -------
    AimOffset
        Shift, scale and what remains.

    Raises
    ------
    MethodError
        If the grids overlap too little for the search (code ``no_overlap``).

    Notes
    -----
    Beams of different shape have no one shift: see ``misfit``. Angles are added, which holds for a few
    degrees.
    """
    beam = _smooth(grid)
    h, v, wanted = _core(grid, reference, largest)
    top = float(wanted.max())

    def scale_of(moved: Floats) -> Floats:
        return np.asarray((moved * wanted).sum(axis=(-2, -1), keepdims=True) / (wanted * wanted).sum())

    def away(moved: Floats) -> Floats:
        scale = scale_of(moved)
        return np.asarray((moved - scale * wanted) / (top * np.maximum(scale, _DARK)))

    trials = np.linspace(-largest, largest, 2 * int(np.ceil(largest / 0.5)) + 1)
    rows, at = np.unique(np.add.outer(trials, v), return_inverse=True)  # all shifts up at once
    squares = [(away(beam(rows, h + a)[at.reshape(-1, v.size)]) ** 2).sum(axis=(1, 2)) for a in trials]
    start = trials[[*np.unravel_index(np.argmin(squares), (trials.size, trials.size))]]

    def left(shift: Floats) -> Floats:
        return away(beam(v + shift[1], h + shift[0])).ravel()

    found = least_squares(left, start, bounds=(-largest, largest), x_scale=0.1, xtol=1e-10, ftol=1e-12)
    misfit = float(np.sqrt(np.mean(found.fun**2)))
    codes = {
        "shapes_differ": misfit > _DIFFERENT_SHAPES,
        "at_limit": bool((np.abs(found.x) > 0.99 * largest).any()),
    }
    across, up = (
        max(float(np.diff(getattr(g, name)).max()) for g in (grid, reference))
        for name in ("horizontal", "vertical")
    )
    found_codes = tuple(code for code, holds in codes.items() if holds)
    right, upward = found.x.tolist()
    scale = scale_of(beam(v + upward, h + right)).item()
    return AimOffset(right, upward, scale, misfit, across, up, found_codes)


def mean_weights(grid: BeamGrid, *, horizontal: Range, vertical: Range) -> Floats:
    """Return the weights of a plain mean over the cells of a window.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats
        Limits of the window, edges included. [deg]

    Returns
    -------
    ndarray, shape (m, n)
        Weights, alike in the window and 0 outside. [1]

    Raises
    ------
    ValueError
        If the limits are not in order.
    MethodError
        If no cell lies in the window (code ``no_cells``).
    """
    chosen = np.outer(
        _between("vertical", grid.vertical, vertical), _between("horizontal", grid.horizontal, horizontal)
    )
    message = f"the window must hold at least one cell; got none in {horizontal} x {vertical} deg"
    must_hold(chosen.any(), message, code="no_cells")
    return np.asarray(chosen / chosen.sum())


def solid_angle_density(grid: BeamGrid) -> Floats:
    r"""Return the solid angle for each unit of angle squared at the nodes of a grid.

    .. math:: \frac{d\Omega}{dh\,dv} = \frac{\sec^2 h \sec^2 v}{(1 + \tan^2 h + \tan^2 v)^{3/2}}
              \;\text{(screen)}, \quad \cos v \;\text{(sphere)}

    Parameters
    ----------
    grid : BeamGrid
        The beam.

    Returns
    -------
    ndarray, shape (m, n)
        Solid angle density. [sr/rad2]
    """
    v = np.radians(grid.vertical)[:, None]
    if grid.projection == "sphere":
        return np.asarray(np.cos(v) * np.ones((1, grid.horizontal.size)))
    tan_h, tan_v = np.tan(np.radians(grid.horizontal))[None, :], np.tan(v)
    return np.asarray((1.0 + tan_h**2) * (1.0 + tan_v**2) / (1.0 + tan_h**2 + tan_v**2) ** 1.5)


def window_weights(grid: BeamGrid, *, horizontal: Range, vertical: Range) -> Floats:
    """Return the solid angle each cell stands for in a window: the flux is their sum with the intensities.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats
        Limits of the window, inside the grid; they may fall between cells. [deg]

    Returns
    -------
    ndarray, shape (m, n)
        Weights; bilinear between cells. [sr]

    Raises
    ------
    ValueError
        If the limits are not in order.
    MethodError
        If the window is not inside the grid (code ``outside_grid``).
    """
    across = _axis_weights("horizontal", grid.horizontal, horizontal)
    up = _axis_weights("vertical", grid.vertical, vertical)
    return np.outer(up, across) * solid_angle_density(grid) * (np.pi / 180.0) ** 2


def _axis_weights(name: str, nodes: Floats, limits: Range) -> Floats:
    """Return weights that integrate the straight lines between nodes from limit to limit."""
    _in_order(name, limits)
    ends = (float(nodes[0]), float(nodes[-1]))
    reach = f"{ends[0]:g} to {ends[1]:g} deg; got {limits[0]:g} to {limits[1]:g} deg"
    inside = limits[0] >= ends[0] - 1e-9 and limits[1] <= ends[1] + 1e-9
    message = f"{name} must lie in the grid, {reach}"
    must_hold(inside, message, code="outside_grid", known={"covered_deg": ends})
    cuts = np.unique([*nodes[(nodes > limits[0]) & (nodes < limits[1])], *limits])
    hats = make_interp_spline(nodes, np.eye(nodes.size), k=1)
    return np.asarray(np.trapezoid(hats(cuts), cuts, axis=0))


def _every_second(nodes: Floats) -> NDArray[np.int_]:
    """Return indices of every second node, the last one kept."""
    return np.unique([*range(0, nodes.size, 2), nodes.size - 1])


def weighted_sum(
    grid: BeamGrid,
    weights: Floats,
    *,
    cell_uncertainty: ArrayLike = 0.0,
    common_uncertainty: ArrayLike = 0.0,
    scale_uncertainty: float = 0.0,
    step_uncertainty: float = 0.0,
) -> BeamSum:
    """Return a weighted sum of the cells, and its uncertainty.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    weights : ndarray, shape (m, n)
        Weights. [1 or sr]
    cell_uncertainty, common_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainties of each cell, by itself and from one error all share. [cd]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the meter's scale. [1]
    step_uncertainty : float, default 0
        Standard uncertainty from the grid's step. [lm]

    Returns
    -------
    BeamSum
        The sum.
    """
    own = np.linalg.norm(weights * not_negative("cell_uncertainty", cell_uncertainty, "cd"))
    shared = float((weights * not_negative("common_uncertainty", common_uncertainty, "cd")).sum())
    high = float((weights * grid.intensity).sum())
    scaled = float(not_negative("scale_uncertainty", scale_uncertainty, "(relative)")) * high
    limits, counted = float((weights * grid.intensity * grid.censored).sum()), weights > 0.0
    doubt = math.hypot(own, shared, scaled, limits / math.sqrt(12.0), step_uncertainty)
    cells, upper = int(counted.sum()), int((counted & grid.censored).sum())
    value, low = high - limits / 2.0, high - limits
    return BeamSum(value, doubt, low, high, float(weights.sum()), cells, upper, step_uncertainty)


def _smooth(grid: BeamGrid) -> RectBivariateSpline:
    rows, columns = (_thin(nodes) for nodes in (grid.vertical, grid.horizontal))
    kx, ky = (min(3, index.size - 1) for index in (rows, columns))
    cells = grid.intensity[np.ix_(rows, columns)]
    return RectBivariateSpline(grid.vertical[rows], grid.horizontal[columns], cells, kx=kx, ky=ky)


def _core(grid: BeamGrid, reference: BeamGrid, largest: float) -> tuple[Floats, Floats, Floats]:
    """Return the reference where it stays inside the beam's grid under every shift."""
    chosen = []
    for own, nodes in ((grid.horizontal, reference.horizontal), (grid.vertical, reference.vertical)):
        index = _thin(nodes)
        room = (nodes[index] >= own[0] + largest - 1e-9) & (nodes[index] <= own[-1] - largest + 1e-9)
        directions = int(room.sum())
        message = (
            f"the beam's grid must reach {largest:g} deg beyond at least 3 directions of the reference "
            f"on each axis; got {directions}. Search a smaller shift, or measure a wider grid"
        )
        must_hold(directions >= 3, message, code="no_overlap", known={"directions": directions})
        chosen.append(index[room])
    cells = reference.intensity[np.ix_(chosen[1], chosen[0])]
    message = "the reference must carry light where both grids overlap; it is dark there"
    must_hold(cells.any(), message, code="no_overlap")
    return reference.horizontal[chosen[0]], reference.vertical[chosen[1]], cells


def _thin(nodes: Floats) -> NDArray[np.int_]:
    """Return indices of at most a fixed number of nodes, evenly taken."""
    return np.unique(np.linspace(0, nodes.size - 1, min(nodes.size, _NODES)).round().astype(int))


def _angles(name: str, values: ArrayLike) -> Floats:
    """Return angles in degrees, all inside plus and minus 90."""
    return require(name, values, lambda a: np.abs(a) < 90.0, "between -90 and 90", "deg")


def axis(name: str, values: ArrayLike) -> Floats:
    """Return the nodes of an axis, increasing, at least two.

    Parameters
    ----------
    name : str
        Name of the axis.
    values : array_like, shape (n,)
        Angles. [deg]

    Returns
    -------
    ndarray, shape (n,)
        The angles. [deg]

    Raises
    ------
    ValueError
        If there are fewer than two, or one is not more than the one before.
    """
    nodes = _angles(name, values)
    listed = nodes.ndim == 1 and nodes.size >= 2
    demand(listed, f"{name} must be a list of at least 2 angles", f"shape {nodes.shape}")
    if (falls := ~(np.diff(nodes) > 0.0)).any():
        at = 1 + int(np.argmax(falls))
        wanted = f"{name}[{at}] must be more than the one before"
        demand(False, wanted, f"{nodes[at]:g} after {nodes[at - 1]:g} deg")
    return nodes


def _between(name: str, nodes: Floats, limits: Range) -> Flags:
    """Return which nodes lie between two limits, edges included."""
    _in_order(name, limits)
    return (nodes >= limits[0] - 1e-9) & (nodes <= limits[1] + 1e-9)


def _in_order(name: str, limits: Range) -> None:
    """Refuse limits that do not run upwards."""
    got = f"{limits[0]:g} to {limits[1]:g} deg"
    demand(limits[0] < limits[1], f"{name} must run from a lower to a higher angle", got)


def _span(distance: float, offset: float) -> float:
    """Return the distance from the photometric centre [m]."""
    return float(positive("distance + offset", float(positive("distance", distance, "m")) + offset, "m"))


def _full_grid(
    x: Floats, y: Floats, illuminance: ArrayLike, at_most: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Flags]:
    """Return axes and readings as a full grid, from a grid or from a list of points."""
    reading = not_negative("illuminance", illuminance, "lx")
    flags = np.zeros(reading.shape, bool) if at_most is None else np.asarray(at_most, bool)
    same_length("illuminance", reading, "at_most", flags)
    if reading.ndim == 2:
        shape = (y.size, x.size)
        demand(reading.shape == shape, f"illuminance must have shape (y, x) {shape}", reading.shape)
        return x, y, reading, flags
    got = f"{x.shape}, {y.shape}, {reading.shape}"
    demand(x.shape == y.shape == reading.shape, "x, y and illuminance must have one length", got)
    columns, at_x = np.unique(x, return_inverse=True)
    rows, at_y = np.unique(y, return_inverse=True)
    count = np.zeros((rows.size, columns.size), int)
    np.add.at(count, (at_y, at_x), 1)
    for wrong, code, words in (
        (count == 0, "grid_has_holes", "missing"),
        (count > 1, "doubled_point", "doubled"),
    ):
        if wrong.any():
            (row, column), some = np.argwhere(wrong)[0], int(wrong.sum())
            message = (
                f"illuminance must fill the grid of {rows.size} rows and {columns.size} columns once; "
                f"{some} {'point is' if some == 1 else 'points are'} {words}, the first at "
                f"({columns[column]:g}, {rows[row]:g})"
            )
            raise MethodError(message, code=code, known={"points": some})
    cells, marks = np.empty(count.shape), np.empty(count.shape, bool)
    cells[at_y, at_x], marks[at_y, at_x] = reading, flags
    return columns, rows, cells, marks
