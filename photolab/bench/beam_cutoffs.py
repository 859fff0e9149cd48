"""Height and sharpness of the cut-off of a beam on the bench."""

import math
from dataclasses import dataclass

import numpy as np

from photolab.bench.beam_grids import BeamRun, BeamScan
from photolab.errors import MethodError
from photolab.photometry.cutoff import cutoff_sharpness

GRID_COLUMN_DEG = 2.5
"""Column in which a grid's cut-off is read where there is no scan: where sharpness is defined. [deg]"""


@dataclass(frozen=True)
class CutoffReading:
    """Height and sharpness of a cut-off from one vertical scan.

    Attributes
    ----------
    run : str
        The run it comes from.
    horizontal : float
        Where the scan was taken. [deg]
    height : float
        Where the light falls fastest; NaN where it was refused without a reading. [deg]
    height_uncertainty : float
        Standard uncertainty: the stretch over which scatter cannot tell the fall from the largest one (as the
        half-width of a rectangular distribution), at least a fifth of the step. [deg]
    sharpness, sharpness_uncertainty : float
        Largest fall of log10 of the light over 0.1 deg, and what scatter and last figures leave of it; NaN
        where the scan is too coarse. [1]
    code, message : str
        Why there is no sharpness; blank where there is.
    """

    run: str
    horizontal: float
    height: float
    height_uncertainty: float
    sharpness: float
    sharpness_uncertainty: float
    code: str = ""
    message: str = ""


def cutoff_of(run: BeamRun, scans: tuple[BeamScan, ...]) -> CutoffReading | None:
    """Return the cut-off from the lamp's scan, else from a column of its grid.

    Parameters
    ----------
    run : BeamRun
        The grid.
    scans : tuple of BeamScan
        All vertical scans; the longest of the lamp in the housing is used.

    Returns
    -------
    CutoffReading or None
        None where the light does not fall.
    """
    mine = [s for s in scans if (s.lamp, s.housing) == (run.lamp, run.housing)]
    if mine:
        scan = max(mine, key=lambda s: s.vertical.size)
        return read_cutoff(scan)
    column = int(np.argmin(np.abs(run.grid.horizontal - GRID_COLUMN_DEG)))
    return read_cutoff(
        BeamScan(
            run=run.run,
            lamp=run.lamp,
            housing=run.housing,
            horizontal=float(run.grid.horizontal[column]),
            vertical=run.grid.vertical,
            intensity=run.grid.intensity[:, column],
            own=run.own[:, column],
        )
    )


def read_cutoff(scan: BeamScan) -> CutoffReading | None:
    """Return height and sharpness of the cut-off of one scan.

    Parameters
    ----------
    scan : BeamScan
        The scan.

    Returns
    -------
    CutoffReading or None
        None where the light does not fall along the scan; without a sharpness, and with the reason, where
        the scan is too coarse or ends too early.
    """
    try:
        found = cutoff_sharpness(scan.vertical, scan.intensity)
    except MethodError as refused:
        height = float(refused.known.get("angle", math.nan))
        if refused.code == "no_cutoff":
            return None  # a scan across no cut-off is no failed reading of one
        return CutoffReading(
            scan.run, scan.horizontal, height, _fifth(scan), math.nan, math.nan, refused.code, str(refused)
        )
    except ValueError as refused:
        return CutoffReading(
            scan.run, scan.horizontal, math.nan, math.nan, math.nan, math.nan, "scan_unusable", str(refused)
        )
    relative = scan.own / scan.intensity
    ends = np.interp([found.angle - 0.05, found.angle + 0.05], scan.vertical, relative)
    doubt = float(np.hypot(*ends)) / math.log(10.0)
    return CutoffReading(
        run=scan.run,
        horizontal=scan.horizontal,
        height=found.angle,
        height_uncertainty=max(_steep_stretch(scan, found.sharpness - 2.0 * doubt), _fifth(scan)),
        sharpness=found.sharpness,
        sharpness_uncertainty=doubt,
    )


def _fifth(scan: BeamScan) -> float:
    """Return a fifth of the scan's step. [deg]."""
    return float(np.diff(scan.vertical).max()) / 5.0


def _steep_stretch(scan: BeamScan, least: float) -> float:
    """Return the standard uncertainty of a height known to lie where the fall is at least so large. [deg]."""
    log = np.log10(scan.intensity)
    upper = np.interp(scan.vertical + 0.1, scan.vertical, log, right=math.nan)
    steep = scan.vertical[np.nan_to_num(log - upper, nan=-math.inf) >= least]
    return float(np.ptp(steep)) / math.sqrt(12.0) if steep.size else 0.0
