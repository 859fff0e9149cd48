"""Distance runs, beam grids, spectra and meter links of a simulated bench."""

from functools import cache
from math import exp

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.model import Spectrum
from photolab.bench.schema import TABLES
from photolab.bench.simulation_readings import METER, SeatState, shown_lx, true_illuminance
from photolab.bench.truth import Truth
from photolab.photometry.spectrum import led_illuminant, photopic_efficiency, planckian

Array = NDArray[np.float64]

DISTANCES_M = (2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0)
PLACEMENT_SD_M = 0.002
RUN_SEATS = ("B0/a/HP/D05/2", "B0/a/HR/D05/2")
BEAM_SHAPES = {
    ("B0", "HP"): (0.31, 0.06, 0.009),
    ("K3", "HP"): (0.28, 0.07, 0.009),
    ("B0", "HR"): (0.21, 0.15, 0.0186),
    ("K3", "HR"): (0.32, 0.30, 0.057),
}
FINE_SCAN_DEG = 2.5
LOW_RANGE_FROM_DEG = 0.0
SOURCE_GRID_NM = np.arange(380.0, 781.0, 5.0)
RESPONSIVITY_GRID_NM = np.arange(380.0, 781.0, 1.0)
FILAMENT_K = 3200.0
LED_NAME = "LED-B5"


def distance_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return distance.csv: the baseline lamp at several distances, two placements each, on the second range.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings; the runs follow two of them.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a placement.
    """
    top = truth.meters[METER].ranges_lx[1]
    dark = float(truth.meters[METER].display(0.0, top, 1.0))
    rows = []
    for state in (state for state in states if state.seat.key in RUN_SEATS):
        seat, sd = state.seat, truth.lamps[state.seat.lamp].reading_sd
        housing = truth.housings[seat.housing]
        level = true_illuminance(truth, state) / housing.illuminance()
        for repeat in (1, 2):
            for distance in DISTANCES_M:
                placed = distance + float(rng.normal(0, PLACEMENT_SD_M))
                light = level * housing.illuminance(placed) * exp(rng.normal(0, sd))
                rows.append({
                    **state.cells, "run": f"{seat.lamp}-{seat.housing}", "distance_m": distance, "repeat": repeat,
                    "illuminance_lx": float(shown_lx(truth, METER, light, top, seat)),
                    "dark_lx": dark, "range_lx": top,
                })  # fmt: skip
    return pd.DataFrame(rows)


def beam_shape(horizontal: Array, vertical: Array, *, wide: float, edge: float, stray: float) -> Array:
    """Return the relative intensity of the demo's passing beams.

    Parameters
    ----------
    horizontal, vertical : ndarray
        Angles, + right and + up. [deg]
    wide, edge, stray : float
        Weight of the wide part, softness of the cut-off, light above it. [1], [deg], [1]

    Returns
    -------
    ndarray
        Relative intensity, not normalised. [1]
    """
    h, v = horizontal, vertical
    hot = np.exp(-(((h - 1) / 3) ** 2) / 2 - ((v + 1.3) / 0.75) ** 2 / 2)
    spread = np.exp(-((h / 11) ** 2) / 2 - ((v + 2.2) / 2) ** 2 / 2)
    veil = np.exp(-((h / 12) ** 2) / 2 - (v / 4) ** 2 / 2)
    return np.asarray((hot + wide * spread) / (1 + np.exp((v + 0.57) / edge)) + stray * veil)


def beam_intensity(truth: Truth, lamp: str, housing: str, horizontal: Array, vertical: Array) -> Array:
    """Return the intensity distribution of a lamp in a housing, at the level of the initial time.

    Parameters
    ----------
    truth : Truth
        Hot-spot intensities.
    lamp, housing : str
        Which.
    horizontal, vertical : ndarray
        Angles. [deg]

    Returns
    -------
    ndarray
        Luminous intensity. [cd]
    """
    shape = dict(zip(("wide", "edge", "stray"), BEAM_SHAPES[lamp, housing], strict=True))
    fine_h, fine_v = np.meshgrid(np.linspace(-5, 5, 501), np.linspace(-4, 1, 501))
    largest = beam_shape(fine_h, fine_v, **shape).max()
    hot = truth.housings[housing].intensity_cd * truth.lamps[lamp].ratio[housing]
    return np.asarray(hot * beam_shape(horizontal, vertical, **shape) / largest)


def beam_table(truth: Truth, *, rng: np.random.Generator) -> pd.DataFrame:
    """Return beam.csv: a grid and a fine vertical scan for every lamp and housing with a known beam.

    The meter stands on its lowest range above the horizon, on its second one below.

    Parameters
    ----------
    truth : Truth
        Generating values.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a direction; the angles mark points on a flat wall, the head faces the lamp at each.
    """
    grid_h, grid_v = np.meshgrid(np.arange(-20.0, 21.0), np.arange(-6.0, 4.01, 0.5))
    scan_v = np.round(np.arange(-2.0, 1.001, 0.05), 2)
    pieces = []
    for lamp, housing in BEAM_SHAPES:
        for part, h, v in (
            ("grid", grid_h.ravel(), grid_v.ravel()),
            ("scan", np.full(scan_v.size, FINE_SCAN_DEG), scan_v),
        ):
            run = _beam_run(truth, lamp, housing, h, v, rng)
            pieces.append(run.assign(run=f"{lamp}-{housing}-{part}"))
    return pd.concat(pieces, ignore_index=True)


def _beam_run(
    truth: Truth, lamp: str, housing: str, h: Array, v: Array, rng: np.random.Generator
) -> pd.DataFrame:
    place, kind, model = truth.housings[housing], truth.meters[METER], truth.lamps[lamp]
    slant = 1 + np.tan(np.radians(h)) ** 2 + np.tan(np.radians(v)) ** 2
    per_candela = place.illuminance() / place.intensity_cd / slant
    scatter = np.exp(rng.normal(0, model.reading_sd, h.size))
    light = beam_intensity(truth, lamp, housing, h, v) * per_candela * scatter
    low, high = kind.ranges_lx[:2]
    colour = kind.colour[model.technology]
    shown = {top: kind.display(light, top, colour) for top in (low, high)}
    on_low = (v >= LOW_RANGE_FROM_DEG) & (shown[low] <= low)
    figure = np.where(on_low, shown[low], shown[high])
    dark = [float(kind.display(0.0, top, colour)) for top in (low, high)]
    return pd.DataFrame({
        "lamp": lamp, "housing": housing, "horizontal_deg": h, "vertical_deg": v,
        "illuminance_lx": np.maximum(figure, 0), "censored": np.where(figure < 0, "below", ""),
        "meter": METER, "range_lx": np.where(on_low, low, high), "dark_lx": np.where(on_low, *dark),
    })  # fmt: skip


@cache
def spectrum_values(name: str) -> tuple[Array, Array]:
    """Return one of the demo's spectra: ``filament``, ``led``, or the responsivity of ``M1`` or ``M2``.

    Parameters
    ----------
    name : str
        Which.

    Returns
    -------
    tuple of ndarray
        Wavelength and relative value, largest 1. [nm], [1]
    """
    if name in {"filament", "led"}:
        grid = SOURCE_GRID_NM
        value = planckian(grid, FILAMENT_K) if name == "filament" else led_illuminant(grid, LED_NAME)
    else:
        grid = RESPONSIVITY_GRID_NM
        value = _meter_1(grid) if name == "M1" else photopic_efficiency(np.maximum(grid - 2.0, 360.0))
    value = np.asarray(value) / np.max(value)
    return grid, np.array([float(f"{item:.6g}") for item in value])


def _meter_1(grid: Array) -> Array:
    """V(lambda) narrowed by 0.97 about 555 nm, with a blue leak."""
    narrowed = photopic_efficiency(np.clip(555.0 + (grid - 555.0) / 0.97, 360.0, 830.0))
    return np.asarray(narrowed + 0.15 * np.exp(-(((grid - 450.0) / 18.0) ** 2) / 2))


def spectra_table(truth: Truth) -> pd.DataFrame:
    """Return spectra.csv: every lamp's light and every meter's responsivity.

    Parameters
    ----------
    truth : Truth
        Lamps and meters.

    Returns
    -------
    DataFrame
        One row a spectrum; LED lamps share a file.
    """
    rows = [
        (f"{name}-light", "source", name, "", f"spectrum_{lamp.technology}.csv")
        for name, lamp in truth.lamps.items()
    ]
    rows += [(f"{name}-head", "responsivity", "", name, f"responsivity_{name}.csv") for name in truth.meters]
    return pd.DataFrame(rows, columns=TABLES["spectra"].names)


def spectra_of(table: pd.DataFrame) -> dict[str, Spectrum]:
    """Return the spectra of a table of them, by name."""
    found = {}
    for name, kind, lamp, meter, file in zip(*(table[c] for c in TABLES["spectra"].names), strict=True):
        values = spectrum_values(file.removesuffix(".csv").partition("_")[2])
        found[name] = Spectrum(kind, lamp, meter, *values)
    return found


def links_table(truth: Truth, states: list[SeatState], *, rng: np.random.Generator) -> pd.DataFrame:
    """Return links.csv: what both meters showed for the same mountings, dark readings removed.

    Parameters
    ----------
    truth : Truth
        Generating values.
    states : list of SeatState
        The mountings; those of the last two days count, one for each specimen and housing.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    DataFrame
        One row a mounting: means of three displayed readings a meter.
    """
    last = list(truth.days)[-2:]
    rows = []
    for state in (s for s in states if s.seat.day in last and s.seat.mounting == 1):
        seat, lamp = state.seat, truth.lamps[state.seat.lamp]
        shown = {}
        for meter, kind in truth.meters.items():
            top = kind.ranges_lx[1 if meter == METER else 0]
            light = true_illuminance(truth, state) * np.exp(rng.normal(0, lamp.reading_sd, 3))
            dark = float(kind.display(0.0, top, 1.0))
            shown[meter] = float(np.mean(shown_lx(truth, meter, light, top, seat))) - dark
        rows.append({
            **state.cells, "technology": lamp.technology, "date": truth.days[seat.day].date, "old_meter": "M1",
            "new_meter": "M2", "old_lx": round(shown["M1"], 1), "new_lx": round(shown["M2"], 1),
        })  # fmt: skip
    return pd.DataFrame(rows)
