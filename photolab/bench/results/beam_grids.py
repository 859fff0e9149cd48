"""From rows of beam.csv to intensity distributions: dark reading, colour, the right cosine, upper limits."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.distance_terms import reading_scatter, supply_u
from photolab.bench.terms import instruments
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import Bench, Housing, Meter
from photolab.errors import MethodError
from photolab.photometry.beam import (
    BeamGrid,
    angle_on_wall,
    intensity_from_angles,
    intensity_from_wall,
    intensity_of_a_lux,
)

Floats = NDArray[np.float64]
Where = tuple[str, str, str]
"""Run, lamp and housing."""


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
    run, lamp, housing : str
        Identity.
    grid : BeamGrid
        Intensities about the declared photometric centre; apparent unless a distance run says more. [cd]
    per_lux : ndarray, shape of the grid
        Intensity for one lux that the meter shows, its factors included: what a range adds to the display is
        corrected with the light, by each lamp's own factor. [cd/lx]
    own : ndarray, shape of the grid
        Standard uncertainty of each cell by itself: scatter and last figure. [cd]
    tops : ndarray, shape of the grid
        Top of the range each cell was read on. [lx]
    meter : Meter
        The meter.
    colour_u, supply_u : float
        Relative standard uncertainties that all cells share: colour of the light, supply. [1]
    corrections, assumed : tuple of str
        What was corrected, and which defaults entered.
    """

    run: str
    lamp: str
    housing: str
    grid: BeamGrid = field(repr=False)
    per_lux: Floats = field(repr=False)
    own: Floats = field(repr=False)
    tops: Floats = field(repr=False)
    meter: Meter
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
    table = Columns(bench.tables["beam"])
    runs = table.groups("run", "lamp", "housing")  # one name for two lamps is two runs
    for rows in runs.apart(np.arange(table.rows)):
        block = table.among(rows)
        run, lamp, place = (str(block[name][0]) for name in ("run", "lamp", "housing"))
        housing, where = bench.housings[place], (run, lamp, place)
        try:
            if math.isnan(housing.distance_m):
                wanting = "must state distance_m to turn lux on a wall into intensities; it does not"
                message = f"housing {housing.id} {wanting}"
                raise MethodError(message, code="no_distance")
            cells = _cells(bench, block, lamp, housing, wanted)
            if np.unique(cells.places[0]).size == 1:
                scans.append(_scan(where, housing, cells))
            else:
                grids.append(_grid(where, housing, cells))
        except MethodError as refusal:
            refused.append(Refusal(*where, refusal.code, str(refusal)))
    return tuple(grids), tuple(scans), tuple(refused)


@dataclass(frozen=True, eq=False)
class _Cells:
    """Readings without the dark, each's own doubt and range [lx], their factor [1], and what all share."""

    net: Floats
    own: Floats
    tops: Floats
    at_most: NDArray[np.bool_]
    factor: float
    angles: bool  # whether places are angles [deg], and not on the wall [mm]
    places: Floats  # across, then up
    shared: dict[str, Any]


def _cells(bench: Bench, block: Columns, lamp: str, housing: Housing, wanted: frozenset[str]) -> _Cells:
    """Return the readings of a run."""
    meters = sorted(set(block["meter"].tolist()))
    if len(meters) > 1:
        message = f"a beam must be read with one meter; got {', '.join(meters)}"
        raise MethodError(message, code="several_meters")
    meter = bench.meters[meters[0]]
    technology = bench.technologies.get(lamp, "")
    dark = np.nan_to_num(block.numbers("dark_lx")) * ("dark" in wanted)
    found = steps.spectral_factor(bench, meter.id, lamp, technology) if "spectral" in wanted else None
    factor = 1.0 if found is None else found[0]
    factor *= 1.0 if meter.certificate is None else meter.certificate.correction
    colour_u = instruments.colour_input(meter, technology).u if found is None else found[1]
    tops = block.numbers("range_lx")
    ranges, which = np.unique(tops, return_inverse=True)
    step = np.array([instruments.resolution_lx(meter, top) for top in ranges.tolist()])[which]
    net = block.numbers("illuminance_lx") - dark
    at_most = (block["censored"] == "below") | (net <= 0.0)
    net = np.where(at_most, np.maximum(net, step), net)
    scatter, assumed = reading_scatter(bench, lamp)
    own = np.where(at_most, 0.0, np.sqrt((scatter * net) ** 2 + step**2 / 12.0))
    if technology == "filament":
        assumed.append(f"supply of {lamp} within {steps.ASSUMED_VOLTAGE_LIMIT_V:g} V")
    done = {"dark": (dark != 0).any(), "spectral": found is not None and found[0] != 1.0}
    lengths = {
        "offset_mm": "photometric centre at the reference face",
        "sensor": "meter head facing the lamp",
    }
    shared = {
        "meter": meter,
        "colour_u": colour_u,
        "supply_u": supply_u(bench, technology, np.array([math.nan])),  # beam.csv states no volts
        "corrections": tuple(name for name, on in done.items() if on),
        "assumed": (*assumed, *(said for key, said in lengths.items() if key not in housing.declared)),
    }
    angles = not np.isnan(block.numbers("horizontal_deg")).any()
    across, up = ("horizontal_deg", "vertical_deg") if angles else ("x_mm", "y_mm")
    return _Cells(
        net=net,
        own=own,
        tops=np.nan_to_num(tops, nan=0.0),
        at_most=at_most,
        factor=factor,
        angles=angles,
        places=np.array([block.numbers(across), block.numbers(up)]),
        shared=shared,
    )


def _scan(where: Where, housing: Housing, cells: _Cells) -> BeamScan:
    """Return a vertical scan as intensities."""
    span = housing.distance_m + housing.offset_mm / 1000.0
    across, up = cells.places if cells.angles else angle_on_wall(cells.places, distance=span)
    order = np.argsort(up, kind="stable")
    per_lux = cells.factor * intensity_of_a_lux(across, up, distance=span, sensor=housing.sensor)
    light, own = ((values * per_lux)[order] for values in (cells.net, cells.own))
    return BeamScan(*where, float(across[0]), up[order], light, own)


def _grid(where: Where, housing: Housing, cells: _Cells) -> BeamRun:
    """Return a grid as intensities; the uncertainties and the ranges stand on the same cells."""
    across, up = cells.places
    make = intensity_from_angles if cells.angles else intensity_from_wall
    how: dict[str, Any] = {"distance": housing.distance_m, "sensor": housing.sensor}
    how["offset"] = housing.offset_mm / 1000.0
    grid = make(across, up, cells.factor * cells.net, **how, at_most=cells.at_most)
    per_lux = make(across, up, np.full(len(up), cells.factor), **how).intensity
    order = np.lexsort((across, up))  # row by row, as the cells of a grid stand
    own, tops = (values[order].reshape(per_lux.shape) for values in (cells.own, cells.tops))
    return BeamRun(*where, grid, per_lux, own * per_lux, tops, **cells.shared)
