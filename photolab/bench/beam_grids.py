"""From rows of beam.csv to intensity distributions: dark reading, colour, the right cosine, upper limits."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.distance_terms import reading_scatter
from photolab.bench.model import Bench, Housing, Meter
from photolab.errors import MethodError
from photolab.photometry.beam import BeamGrid, intensity_from_angles, intensity_from_wall

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Refusal:
    """A run that gives no result, and why.

    Attributes
    ----------
    run, lamp, housing : str
        Which.
    code, message : str
        Why.
    """

    run: str
    lamp: str
    housing: str
    code: str
    message: str


@dataclass(frozen=True, eq=False)
class BeamRun:
    """One run as intensities, with what each cell may be off by.

    Attributes
    ----------
    run, lamp, housing, technology : str
        Identity.
    meter : Meter
        The meter.
    grid : BeamGrid
        Intensities about the declared photometric centre; apparent unless a distance run says more. [cd]
    per_lux : ndarray, shape of the grid
        Intensity for one lux at the head. [cd/lx]
    own : ndarray, shape of the grid
        Standard uncertainty of each cell by itself: scatter and last figure. [cd]
    tops : ndarray, shape of the grid
        Top of the range each cell was read on. [lx]
    colour_u, supply_u : float
        Relative standard uncertainties that all cells share: colour of the light, supply. [1]
    corrections, assumed : tuple of str
        What was corrected, and which defaults entered.
    """

    run: str
    lamp: str
    housing: str
    technology: str
    meter: Meter
    grid: BeamGrid = field(repr=False)
    per_lux: Floats = field(repr=False)
    own: Floats = field(repr=False)
    tops: Floats = field(repr=False)
    colour_u: float
    supply_u: float
    corrections: tuple[str, ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class BeamScan:
    """One vertical scan.

    Attributes
    ----------
    run, lamp, housing : str
        Identity.
    horizontal : float
        Where it was taken. [deg]
    vertical : ndarray, shape (n,)
        Angles, increasing. [deg]
    intensity, own : ndarray, shape (n,)
        Intensity, and what each reading may be off by itself. [cd]
    """

    run: str
    lamp: str
    housing: str
    horizontal: float
    vertical: Floats
    intensity: Floats
    own: Floats


def read_beams(
    bench: Bench, *, corrections: Iterable[str] = steps.ALL
) -> tuple[tuple[BeamRun, ...], tuple[BeamScan, ...], tuple[Refusal, ...]]:
    """Return grids, vertical scans and refusals of beam.csv.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str, default all
        ``dark`` and ``spectral`` count here.

    Returns
    -------
    tuple of three tuples
        One entry a run, in file order.
    """
    wanted = frozenset(corrections)
    grids: list[BeamRun] = []
    scans: list[BeamScan] = []
    refused: list[Refusal] = []
    keys = ["run", "lamp", "housing"]  # one name for two lamps is two runs
    for (run, name, place), block in bench.tables["beam"].groupby(keys, sort=False):
        lamp, housing = str(name), bench.housings[str(place)]
        try:
            across, up = _directions(block, housing)
            cells = _cells(bench, block, lamp, wanted)
            if np.unique(across).size == 1:
                scans.append(_scan(str(run), lamp, housing, across, up, cells))
            else:
                grids.append(_grid(str(run), lamp, housing, block, cells))
        except MethodError as refusal:
            refused.append(Refusal(str(run), lamp, housing.id, refusal.code, str(refusal)))
    return tuple(grids), tuple(scans), tuple(refused)


@dataclass(frozen=True, eq=False)
class _Cells:
    """Corrected readings of a run, row by row. [lx]."""

    net: Floats
    own: Floats
    tops: Floats
    at_most: NDArray[np.bool_]
    meter: Meter
    technology: str
    colour_u: float
    supply_u: float
    corrections: tuple[str, ...]
    assumed: tuple[str, ...]


def _directions(block: pd.DataFrame, housing: Housing) -> tuple[Floats, Floats]:
    """Return the angles of the rows. [deg]."""
    if math.isnan(housing.distance_m):
        message = (
            f"housing {housing.id} must state distance_m to turn lux on a wall into intensities; it does not"
        )
        raise MethodError(message, code="no_distance")
    if block["horizontal_deg"].notna().all():
        return block["horizontal_deg"].to_numpy(float), block["vertical_deg"].to_numpy(float)
    span = housing.distance_m + housing.offset_mm / 1000.0
    x, y = (block[name].to_numpy(float) / 1000.0 for name in ("x_mm", "y_mm"))
    return np.degrees(np.arctan(x / span)), np.degrees(np.arctan(y / span))


def _cells(bench: Bench, block: pd.DataFrame, lamp: str, wanted: frozenset[str]) -> _Cells:
    """Return the corrected readings of a run and what each may be off by itself."""
    if len(set(block["meter"])) > 1:
        message = f"a beam must be read with one meter; got {', '.join(sorted(set(block['meter'])))}"
        raise MethodError(message, code="several_meters")
    meter = bench.meters[str(block["meter"].iloc[0])]
    lamps = bench.tables["lamps"].set_index("lamp")["technology"]
    technology = str(lamps.get(lamp, ""))
    dark = block["dark_lx"].fillna(0.0).to_numpy(float) if "dark" in wanted else np.zeros(len(block))
    found = steps.spectral_factor(bench, meter.id, lamp, technology) if "spectral" in wanted else None
    factor = 1.0 if found is None else found[0]
    factor *= 1.0 if meter.certificate is None else meter.certificate.correction
    colour_u = instruments.colour_input(meter, technology).u if found is None else found[1]
    tops = block["range_lx"].to_numpy(float)
    ranges, which = np.unique(tops, return_inverse=True)
    step = np.array([instruments.resolution_lx(meter, top) for top in ranges.tolist()])[which]
    net = block["illuminance_lx"].to_numpy(float) - dark
    at_most = (block["censored"] == "below").to_numpy() | (net <= 0.0)
    net = np.where(at_most, np.maximum(net, step), net)
    scatter, assumed = reading_scatter(bench, pd.DataFrame({"distance_m": [], "value_lx": []}), lamp)
    own = np.where(at_most, 0.0, np.hypot(scatter * net, step / math.sqrt(12.0)))
    supply = 0.0
    if technology == "filament":
        volts = steps.ASSUMED_VOLTAGE_LIMIT_V / bench.settings.reference_voltage_V / math.sqrt(3.0)
        supply = steps.FILAMENT_FLUX_EXPONENT * volts
        assumed.append(f"supply of {lamp} within {steps.ASSUMED_VOLTAGE_LIMIT_V:g} V")
    done = {"dark": bool((dark != 0).any()), "spectral": found is not None and found[0] != 1.0}
    used = tuple(name for name, on in done.items() if on)
    return _Cells(
        net * factor, own * factor, tops, at_most, meter, technology, colour_u, supply, used, tuple(assumed)
    )


def _scan(run: str, lamp: str, housing: Housing, across: Floats, up: Floats, cells: _Cells) -> BeamScan:
    """Return a vertical scan as intensities."""
    order = np.argsort(up, kind="stable")
    span = housing.distance_m + housing.offset_mm / 1000.0
    square = span**2 * (1.0 + np.tan(np.radians(across)) ** 2 + np.tan(np.radians(up)) ** 2)
    cosine = 1.0 if housing.sensor == "faces_lamp" else span / np.sqrt(square)
    return BeamScan(
        run=run,
        lamp=lamp,
        housing=housing.id,
        horizontal=float(across[0]),
        vertical=up[order],
        intensity=(cells.net * square / cosine)[order],
        own=(cells.own * square / cosine)[order],
    )


def _grid(run: str, lamp: str, housing: Housing, block: pd.DataFrame, cells: _Cells) -> BeamRun:
    """Return a grid as intensities; the doubts and the ranges pass through the same geometry."""
    known = np.nan_to_num(cells.tops, nan=0.0)
    grid = _distribution(housing, block, cells.net, cells.at_most)
    ones, own, tops = (
        _distribution(housing, block, values).intensity for values in (np.ones(len(block)), cells.own, known)
    )
    assumed = list(cells.assumed)
    if "offset_mm" not in housing.declared:
        assumed.append("photometric centre at the reference face")
    if "sensor" not in housing.declared:
        assumed.append("meter head facing the lamp")
    return BeamRun(
        run=run,
        lamp=lamp,
        housing=housing.id,
        technology=cells.technology,
        meter=cells.meter,
        grid=grid,
        per_lux=ones,
        own=own,
        tops=np.round(tops / ones, 6),
        colour_u=cells.colour_u,
        supply_u=cells.supply_u,
        corrections=cells.corrections,
        assumed=tuple(assumed),
    )


def _distribution(
    housing: Housing, block: pd.DataFrame, values: Floats, at_most: NDArray[np.bool_] | None = None
) -> BeamGrid:
    """Return values at the head as intensities, by the housing's way of holding the head."""
    offset = housing.offset_mm / 1000.0
    angles = block["horizontal_deg"].notna().all()
    names = ("horizontal_deg", "vertical_deg") if angles else ("x_mm", "y_mm")
    first, second = (block[name].to_numpy(float) for name in names)
    make = intensity_from_angles if angles else intensity_from_wall
    return make(
        first,
        second,
        values,
        distance=housing.distance_m,
        sensor=housing.sensor,
        offset=offset,
        at_most=at_most,
    )
