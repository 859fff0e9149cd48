"""Windows of a beam: luminous flux through one, and the mean of the faint cells above the cut-off."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats, not_negative
from photolab.photometry.beam_grid import BeamGrid, Range, between, in_order, inside


@dataclass(frozen=True)
class WindowFlux:
    """Luminous flux through a window of directions.

    Attributes
    ----------
    flux : float
        Luminous flux, cells that are upper limits counted half. [lm]
    standard_uncertainty : float
        From cells, scale, common term, cells that are upper limits, and the grid's step. [lm]
    low, high : float
        Flux with upper-limit cells counted as zero and in full. [lm]
    step_uncertainty : float
        Part from the step: a third of the change on every second node. [lm]
    solid_angle : float
        Of the window. [sr]
    cells, at_most_cells : int
        Cells that count, and how many of them are upper limits. [1]
    """

    flux: float
    standard_uncertainty: float
    low: float
    high: float
    step_uncertainty: float
    solid_angle: float
    cells: int
    at_most_cells: int


@dataclass(frozen=True)
class MeanAboveCutoff:
    """Mean intensity of the cells above the cut-off.

    Attributes
    ----------
    mean : float
        Mean, cells that are upper limits counted half. [cd]
    standard_uncertainty : float
        Its standard uncertainty. [cd]
    low, high : float
        Mean with upper-limit cells counted as zero and in full. [cd]
    cells, at_most_cells : int
        Cells that count, and how many of them are upper limits. [1]
    code : str
        ``measured``, ``partly_at_most`` or ``at_most`` (every cell is an upper limit: quote `high` as at
        most).
    """

    mean: float
    standard_uncertainty: float
    low: float
    high: float
    cells: int
    at_most_cells: int
    code: str


def window_flux(
    grid: BeamGrid,
    *,
    horizontal: Range,
    vertical: Range,
    cell_uncertainty: ArrayLike = 0.0,
    common_uncertainty: ArrayLike = 0.0,
    scale_uncertainty: float = 0.0,
) -> WindowFlux:
    r"""Return the luminous flux through a window of directions.

    .. math:: \Phi = \iint I \, \frac{d\Omega}{dh\,dv} \, dh \, dv

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats
        Limits of the window, inside the grid; they may fall between cells. [deg]
    cell_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainty of each cell by itself. [cd]
    common_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainty of each cell from one error all share, such as the range term times distance
        squared. [cd]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the meter's scale. [1]

    Returns
    -------
    WindowFlux
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
    halves = grid.intensity * np.where(grid.censored, 0.5, 1.0)
    flux = float((weights * halves).sum())
    thinned = BeamGrid(
        horizontal=_every_second(grid.horizontal),
        vertical=_every_second(grid.vertical),
        intensity=_every_second(_every_second(halves, 0), 1),
        projection=grid.projection,
    )
    thin_weights = window_weights(thinned, horizontal=horizontal, vertical=vertical)
    thin = float((thin_weights * thinned.intensity).sum())
    doubt = _doubt(grid, weights, cell_uncertainty, common_uncertainty, scale_uncertainty)
    counted = weights > 0
    limits = float((weights * grid.intensity * grid.censored).sum())
    return WindowFlux(
        flux=flux,
        standard_uncertainty=float(np.hypot(doubt, abs(flux - thin) / 3.0)),
        low=flux - limits / 2.0,
        high=flux + limits / 2.0,
        step_uncertainty=abs(flux - thin) / 3.0,
        solid_angle=float(weights.sum()),
        cells=int(counted.sum()),
        at_most_cells=int((counted & grid.censored).sum()),
    )


def mean_above_cutoff(
    grid: BeamGrid,
    *,
    horizontal: Range = (-8.0, 8.0),
    vertical: Range = (0.5, 2.0),
    cell_uncertainty: ArrayLike = 0.0,
    common_uncertainty: ArrayLike = 0.0,
    scale_uncertainty: float = 0.0,
) -> MeanAboveCutoff:
    """Return the plain mean of the cells in a window above the cut-off, upper limits kept as such.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    horizontal, vertical : tuple of two floats, default (-8, 8) and (0.5, 2)
        Limits of the window, edges included. [deg]
    cell_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainty of each cell by itself. [cd]
    common_uncertainty : array_like, scalar or shape (m, n), default 0
        Standard uncertainty of each cell from one error all share: for faint cells, the range term. [cd]
    scale_uncertainty : float, default 0
        Relative standard uncertainty of the meter's scale. [1]

    Returns
    -------
    MeanAboveCutoff
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
    weights = mean_weights(grid, horizontal=horizontal, vertical=vertical)
    chosen = weights > 0.0
    limits = float((weights * grid.intensity * grid.censored).sum())
    high = float((weights * grid.intensity).sum())
    cells, flagged = int(chosen.sum()), int((chosen & grid.censored).sum())
    doubt = _doubt(grid, weights, cell_uncertainty, common_uncertainty, scale_uncertainty)
    code = "measured" if flagged == 0 else "at_most" if flagged == cells else "partly_at_most"
    return MeanAboveCutoff(high - limits / 2.0, doubt, high - limits, high, cells, flagged, code)


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
        between("vertical", grid.vertical, vertical), between("horizontal", grid.horizontal, horizontal)
    )
    if not chosen.any():
        message = f"the window must hold at least one cell; got none in {horizontal} x {vertical} deg"
        raise MethodError(message, code="no_cells")
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
    in_order("horizontal", horizontal)
    in_order("vertical", vertical)
    across = _axis_weights("horizontal", grid.horizontal, horizontal)
    up = _axis_weights("vertical", grid.vertical, vertical)
    return np.outer(up, across) * solid_angle_density(grid) * (np.pi / 180.0) ** 2


def _axis_weights(name: str, nodes: Floats, limits: Range) -> Floats:
    """Return weights that integrate the straight lines between nodes from limit to limit."""
    inside(name, nodes, limits)
    cuts = np.unique(np.concatenate([nodes[(nodes > limits[0]) & (nodes < limits[1])], limits]))
    at_cuts = np.zeros(cuts.size)
    at_cuts[:-1] += np.diff(cuts) / 2.0
    at_cuts[1:] += np.diff(cuts) / 2.0
    left = np.clip(np.searchsorted(nodes, cuts, side="right") - 1, 0, nodes.size - 2)
    share = (cuts - nodes[left]) / (nodes[left + 1] - nodes[left])
    weights = np.zeros(nodes.size)
    np.add.at(weights, left, at_cuts * (1.0 - share))
    np.add.at(weights, left + 1, at_cuts * share)
    return weights


def _every_second(values: Floats, along: int = 0) -> Floats:
    """Return every second entry along an axis, the last one kept."""
    count = values.shape[along]
    return np.take(values, np.unique(np.append(np.arange(0, count, 2), count - 1)), axis=along)


def _doubt(grid: BeamGrid, weights: Floats, cell: ArrayLike, common: ArrayLike, scale: float) -> float:
    """Return the standard uncertainty of a weighted sum of cells."""
    own = weights * not_negative("cell_uncertainty", cell, "cd")
    shared = float((weights * not_negative("common_uncertainty", common, "cd")).sum())
    scaled = float(not_negative("scale_uncertainty", scale, "(relative)")) * float(
        (weights * grid.intensity).sum()
    )
    limits = float((weights * grid.intensity * grid.censored).sum()) / np.sqrt(12.0)
    return float(np.sqrt((own**2).sum() + shared**2 + scaled**2 + limits**2))
