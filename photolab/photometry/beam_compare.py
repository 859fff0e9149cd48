"""Two beams side by side: where one gives more, and how far one is turned against the other."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.optimize import least_squares

from photolab.errors import MethodError
from photolab.metrology.quantity import COVERAGE, coverage_factor
from photolab.photometry.arguments import Floats, not_negative
from photolab.photometry.beam_grid import BeamGrid

_NODES = 160  # nodes an axis used to find a shift; more add time, not knowledge
_DIFFERENT_SHAPES = 0.10  # rms of what a shift leaves, over the peak
_DARK = 1e-12  # share of the peak; below, a cell is dark


@dataclass(frozen=True, eq=False)
class RatioMap:
    """Intensity of one beam over another, cell by cell.

    Attributes
    ----------
    horizontal, vertical : ndarray
        Axes of both beams. [deg]
    ratio : ndarray, shape (m, n)
        The ratio; NaN where either cell is an upper limit or the reference is dark. [1]
    ln_uncertainty : ndarray, shape (m, n)
        Standard uncertainty of its logarithm. [1]
    resolved : ndarray of bool, shape (m, n)
        Cells whose interval, each by itself, leaves out 1: of cells without a difference 1 - coverage are marked.
    """

    horizontal: Floats
    vertical: Floats
    ratio: Floats
    ln_uncertainty: Floats
    resolved: NDArray[np.bool_]


@dataclass(frozen=True)
class AimOffset:
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
    same = grid.intensity.shape == reference.intensity.shape and grid.projection == reference.projection
    if same:
        gaps = np.concatenate([grid.horizontal - reference.horizontal, grid.vertical - reference.vertical])
        same = bool(np.abs(gaps).max() < 1e-6)
    if not same:
        message = "both beams must stand on the same directions; measure them on one plan of points"
        raise MethodError(message, code="axes_differ")
    top, bottom = grid.intensity, reference.intensity
    known = (bottom > _DARK * bottom.max()) & (top > 0) & ~grid.censored & ~reference.censored
    over = np.where(known, bottom, 1.0)
    ratio = np.where(known, top / over, np.nan)
    own = not_negative("cell_uncertainty", cell_uncertainty, "cd") / np.where(known, top, 1.0)
    other = not_negative("reference_cell_uncertainty", reference_cell_uncertainty, "cd") / over
    doubt = np.where(known, np.hypot(own, other), np.nan)
    half = coverage_factor(coverage) * np.where(known, doubt, 0.0)
    resolved = known & (np.abs(np.log(np.where(known, ratio, 1.0))) > half)
    return RatioMap(grid.horizontal, grid.vertical, ratio, doubt, resolved)


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

    def left(shift: Floats) -> Floats:
        moved = beam(v + shift[1], h + shift[0])
        scale = float((moved * wanted).sum() / (wanted * wanted).sum())
        return np.asarray(((moved - scale * wanted) / (top * max(scale, _DARK))).ravel())

    trials = np.linspace(-largest, largest, 2 * int(np.ceil(largest / 0.5)) + 1)
    starts = [np.array([a, b]) for a in trials for b in trials]
    start = min(starts, key=lambda shift: float((left(shift) ** 2).sum()))
    found = least_squares(left, start, bounds=(-largest, largest), x_scale=0.1, xtol=1e-10, ftol=1e-12)
    moved = beam(v + found.x[1], h + found.x[0])
    scale = float((moved * wanted).sum() / (wanted * wanted).sum())
    misfit = float(np.sqrt(np.mean(found.fun**2)))
    codes = {
        "shapes_differ": misfit > _DIFFERENT_SHAPES,
        "at_limit": bool((np.abs(found.x) > 0.99 * largest).any()),
    }
    across, up = (
        max(float(np.diff(getattr(g, name)).max()) for g in (grid, reference))
        for name in ("horizontal", "vertical")
    )
    return AimOffset(
        horizontal=float(found.x[0]),
        vertical=float(found.x[1]),
        scale=scale,
        misfit=misfit,
        horizontal_step=across,
        vertical_step=up,
        codes=tuple(code for code, holds in codes.items() if holds),
    )


def _smooth(grid: BeamGrid) -> RectBivariateSpline:
    rows, columns = (_thin(nodes) for nodes in (grid.vertical, grid.horizontal))
    cells = grid.intensity[np.ix_(rows, columns)]
    degrees = [min(3, index.size - 1) for index in (rows, columns)]
    return RectBivariateSpline(
        grid.vertical[rows], grid.horizontal[columns], cells, kx=degrees[0], ky=degrees[1]
    )


def _core(grid: BeamGrid, reference: BeamGrid, largest: float) -> tuple[Floats, Floats, Floats]:
    """Return the reference where it stays inside the beam's grid under every shift."""
    chosen = []
    for own, nodes in ((grid.horizontal, reference.horizontal), (grid.vertical, reference.vertical)):
        index = _thin(nodes)
        room = (nodes[index] >= own[0] + largest - 1e-9) & (nodes[index] <= own[-1] - largest + 1e-9)
        if room.sum() < 3:
            message = (
                f"the beam's grid must reach {largest:g} deg beyond at least 3 directions of the reference "
                f"on each axis; got {int(room.sum())}. Search a smaller shift, or measure a wider grid"
            )
            raise MethodError(message, code="no_overlap", known={"directions": int(room.sum())})
        chosen.append(index[room])
    cells = reference.intensity[np.ix_(chosen[1], chosen[0])]
    if not cells.any():
        message = "the reference must carry light where both grids overlap; it is dark there"
        raise MethodError(message, code="no_overlap")
    return reference.horizontal[chosen[0]], reference.vertical[chosen[1]], cells


def _thin(nodes: Floats) -> NDArray[np.int_]:
    """Return indices of at most a fixed number of nodes, evenly taken."""
    return np.unique(np.linspace(0, nodes.size - 1, min(nodes.size, _NODES)).round().astype(int))
