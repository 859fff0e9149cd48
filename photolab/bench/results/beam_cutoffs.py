"""Height and sharpness of the cut-off of a beam on the bench."""

import math
from dataclasses import dataclass

import numpy as np

from photolab.bench.results.beam_grids import BeamRun, BeamScan
from photolab.errors import MethodError
from photolab.metrology.quantity import Input, measured
from photolab.photometry.cutoff import cutoff_sharpness

GRID_COLUMN_DEG = 2.5
"""Column in which a grid's cut-off is read where there is no scan: where sharpness is defined. [deg]"""


@dataclass(frozen=True)
class CutoffReading:
    """Height and sharpness of a cut-off from one vertical scan.

    Attributes
    ----------
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

    horizontal: float
    height: float = math.nan
    height_uncertainty: float = math.nan
    sharpness: float = math.nan
    sharpness_uncertainty: float = math.nan
    code: str = ""
    message: str = ""


def longest_scan(scans: tuple[BeamScan, ...], lamp: str, housing: str) -> BeamScan | None:
    """Return the longest of a lamp's vertical scans in a housing, if there is one."""
    mine = [scan for scan in scans if (scan.lamp, scan.housing) == (lamp, housing)]
    return max(mine, key=lambda scan: scan.vertical.size, default=None)


def cutoff_of(run: BeamRun, scans: tuple[BeamScan, ...]) -> CutoffReading | None:
    """Return the cut-off from the lamp's longest scan, else from a column of its grid; None where nothing falls."""
    return read_cutoff(longest_scan(scans, run.lamp, run.housing) or column_scan(run))


def column_scan(run: BeamRun) -> BeamScan:
    """Return the column of a grid in which a cut-off is read where there is no scan."""
    column = int(np.argmin(np.abs(run.grid.horizontal - GRID_COLUMN_DEG)))
    grid, at = run.grid, float(run.grid.horizontal[column])
    return BeamScan(
        run.run, run.lamp, run.housing, at, grid.vertical, grid.intensity[:, column], run.own[:, column]
    )


def read_cutoff(scan: BeamScan) -> CutoffReading | None:
    """Return height and sharpness of the cut-off of one scan.

    None where the light does not fall along the scan; without a sharpness, and with the reason, where the scan is too
    coarse or ends too early.
    """
    try:
        found = cutoff_sharpness(scan.vertical, scan.intensity)
    except MethodError as refused:
        height = float(refused.known.get("angle", math.nan))
        if refused.code == "no_cutoff":
            return None  # a scan across no cut-off is no failed reading of one
        return CutoffReading(scan.horizontal, height, _fifth(scan), code=refused.code, message=str(refused))
    except ValueError as refused:
        return CutoffReading(scan.horizontal, code="scan_unusable", message=str(refused))
    relative = scan.own / scan.intensity
    below, above = np.interp([found.angle - 0.05, found.angle + 0.05], scan.vertical, relative)
    ln_fall = measured(0.0, Input("reading below", float(below)), Input("reading above", float(above)))
    doubt = ln_fall.u / math.log(10.0)
    height_u = max(_steep_stretch(scan, found.sharpness - 2.0 * doubt), _fifth(scan))
    return CutoffReading(scan.horizontal, found.angle, height_u, found.sharpness, doubt)


def _fifth(scan: BeamScan) -> float:
    """Return a fifth of the scan's step. [deg]."""
    return float(np.diff(scan.vertical).max()) / 5.0


def _steep_stretch(scan: BeamScan, least: float) -> float:
    """Return the standard uncertainty of a height known to lie where the fall is at least so large. [deg]."""
    log = np.log10(scan.intensity)
    upper = np.interp(scan.vertical + 0.1, scan.vertical, log, right=math.nan)
    steep = scan.vertical[np.nan_to_num(log - upper, nan=-math.inf) >= least]
    return float(np.ptp(steep)) / math.sqrt(12.0) if steep.size else 0.0
