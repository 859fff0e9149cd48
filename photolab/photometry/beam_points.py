"""Points on a beam: what a sparse plan of points can say."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from photolab.photometry.arguments import Floats, same_length
from photolab.photometry.beam_grid import angles


@dataclass(frozen=True)
class PointPlan:
    """What a plan of points can say about a beam.

    Attributes
    ----------
    can : tuple of str
        Of ``hot_spot``, ``aim``, ``window_flux``, ``above_cutoff``, ``row_uniformity``, ``cutoff_height``,
        ``sharpness``.
    cannot : mapping of str to str
        The others, each with a code of what is missing: ``not_surrounded``, ``no_cross``, ``no_full_grid``,
        ``no_row_above``, ``no_row``, ``no_column``, ``step_over_half_degree``, ``step_over_tenth_degree``.
    points : int
        Different points. [1]
    """

    can: tuple[str, ...]
    cannot: Mapping[str, str]
    points: int


def judge_points(horizontal: ArrayLike, vertical: ArrayLike, *, above: float = 0.0) -> PointPlan:
    """Return what a plan of points can say, before or after it is measured.

    Parameters
    ----------
    horizontal, vertical : array_like, shape (k,)
        Directions of the points, one pair a point. [deg]
    above : float, default 0
        Height from which a row counts as above the cut-off. [deg]

    Returns
    -------
    PointPlan
        What can be said, and what not and why.

    Raises
    ------
    ValueError
        If lengths differ or an angle reaches 90 degrees.

    Notes
    -----
    Common practice, no source: a hot spot needs neighbours on all four sides within 2 deg; aim needs that
    and five points along both axes; a flux needs a full block of five by five; a height needs five points in
    a column over the cut-off, steps of half a degree; sharpness steps of a tenth.
    """
    h, v = angles("horizontal", horizontal), angles("vertical", vertical)
    same_length("horizontal", h, "vertical", v)
    points = np.unique(np.column_stack([np.ravel(h), np.ravel(v)]).round(6).astype(np.float64), axis=0)
    rows = {y: np.sort(points[points[:, 1] == y, 0]) for y in np.unique(points[:, 1])}
    columns = {x: np.sort(points[points[:, 0] == x, 1]) for x in np.unique(points[:, 0])}
    surrounded = _surrounded(rows, columns)
    cross = max(map(len, rows.values())) >= 5 and max(map(len, columns.values())) >= 5
    step = min((_step_at(column, above) for column in columns.values()), default=np.inf)
    lacking = {
        "hot_spot": "" if surrounded else "not_surrounded",
        "aim": "" if surrounded and cross else "no_cross" if surrounded else "not_surrounded",
        "window_flux": "" if _has_block(points) else "no_full_grid",
        "above_cutoff": "" if any(y > above and len(x) >= 3 for y, x in rows.items()) else "no_row_above",
        "row_uniformity": "" if any(len(x) >= 5 for x in rows.values()) else "no_row",
        "cutoff_height": _lacking_step(step, 0.5, "step_over_half_degree"),
        "sharpness": _lacking_step(step, 0.1, "step_over_tenth_degree"),
    }
    return PointPlan(
        can=tuple(name for name, why in lacking.items() if not why),
        cannot={name: why for name, why in lacking.items() if why},
        points=len(points),
    )


def _surrounded(rows: Mapping[float, Floats], columns: Mapping[float, Floats]) -> bool:
    """Return whether some point has neighbours on all four sides within 2 deg."""

    def both_sides(line: Floats, at: float) -> bool:
        return bool(((line < at) & (line >= at - 2.0)).any() and ((line > at) & (line <= at + 2.0)).any())

    return any(both_sides(line, x) and both_sides(columns[x], y) for y, line in rows.items() for x in line)


def _has_block(points: Floats) -> bool:
    """Return whether five rows and five columns are there without holes."""
    columns, rows = np.unique(points[:, 0]), np.unique(points[:, 1])
    marks = np.zeros((rows.size, columns.size), dtype=bool)
    marks[np.searchsorted(rows, points[:, 1]), np.searchsorted(columns, points[:, 0])] = True
    for first in range(columns.size - 4):
        for top in range(rows.size - 4):
            if marks[top : top + 5, first : first + 5].all():
                return True
    full_rows = marks[:, marks.sum(axis=0) >= 5]
    return full_rows.shape[1] >= 5 and int(full_rows.all(axis=1).sum()) >= 5


def _step_at(column: Floats, above: float) -> float:
    """Return the largest step of a column around the cut-off's usual place; infinite where not covered."""
    near = column[(column >= above - 1.6) & (column <= above + 0.6)]
    if near.size < 5 or near[-1] < above - 1e-9 or near[0] > above - 1.0:
        return float("inf")
    return float(np.diff(near).max())


def _lacking_step(step: float, allowed: float, code: str) -> str:
    if np.isinf(step):
        return "no_column"
    return "" if step <= allowed + 1e-9 else code
