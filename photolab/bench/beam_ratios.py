"""Three measurands of a beam against the baseline's beam in the same housing: never one score.

The additive error of a range is one input of both beams. In faint cells it is not small, so a first-order interval
would be too short on one side: the interval comes from drawing every input from its distribution (JCGM 101).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.bench import instruments
from photolab.bench.beam_grids import BeamRun
from photolab.metrology.monte_carlo import propagate_distributions
from photolab.metrology.quantity import InputQuantity
from photolab.photometry.beam import BeamGrid, mean_above_cutoff, peak, window_flux

MEASURANDS = ("hot spot", "window flux", "above cut-off")
ABOVE_HORIZONTAL = (-8.0, 8.0)
"""Window above the cut-off, left to right; our own choice, stated with every result. [deg]"""
ABOVE_VERTICAL = (0.5, 2.0)
"""The same, bottom to top. [deg]"""
TRIALS = 100_000
_STEP_SHARE = 3.0  # a third of the change on every second node stands for the grid's step

Floats = NDArray[np.float64]
Range = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Part:
    """A measurand of one beam as a weighted sum of its cells.

    Attributes
    ----------
    value : float
        The value, upper limits counted half. [cd or lm]
    weights : ndarray, shape of the grid
        Weights of the cells. [1 or sr]
    limits : float
        Part that is upper limits, in full. [cd or lm]
    cells, at_most_cells : int
        Cells that count, and how many are upper limits. [1]
    """

    value: float
    weights: Floats
    limits: float
    cells: int
    at_most_cells: int


@dataclass(frozen=True, eq=False)
class BeamRatio:
    """One measurand of a lamp's beam over that of the baseline.

    Attributes
    ----------
    measurand : str
        Out of `MEASURANDS`.
    value, low, high : float
        The ratio and its interval. [1]
    seated_low, seated_high : float
        Interval with a seating's scatter of each lamp added. [1]
    own, reference : float
        The two values. [cd or lm]
    unit : str
        Theirs.
    parts : mapping
        Standard uncertainty of ln ratio by cause, to first order. [1]
    cells, at_most_cells : int
        Cells of the lamp's beam that count, and upper limits among both beams'. [1]
    """

    measurand: str
    value: float
    low: float
    high: float
    seated_low: float
    seated_high: float
    own: float
    reference: float
    unit: str
    parts: Mapping[str, float]
    cells: int
    at_most_cells: int


def beam_part(grid: BeamGrid, measurand: str, window: tuple[Range, Range]) -> Part:
    """Return a measurand of one beam as a weighted sum of its cells.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    measurand : str
        Out of `MEASURANDS`.
    window : tuple of two ranges
        For the flux: left to right and bottom to top. [deg]

    Returns
    -------
    Part
        Its value and weights; for the hot spot the largest cell alone.

    Raises
    ------
    MethodError
        If the grid does not hold the measurand.
    """
    if measurand == "hot spot":
        top = peak(grid)
        weights = np.zeros(grid.intensity.shape)
        at = np.unravel_index(int(np.argmax(grid.intensity)), grid.intensity.shape)
        weights[at] = 1.0
        return Part(top.intensity, weights, 0.0, 1, 0)
    if measurand == "window flux":
        flux = window_flux(grid, horizontal=window[0], vertical=window[1])
        weights = _flux_weights(grid, window)
        return Part(flux.flux, weights, flux.high - flux.low, flux.cells, flux.at_most_cells)
    mean = mean_above_cutoff(grid, horizontal=ABOVE_HORIZONTAL, vertical=ABOVE_VERTICAL)
    inside = np.outer(_within(grid.vertical, ABOVE_VERTICAL), _within(grid.horizontal, ABOVE_HORIZONTAL))
    weights = inside / inside.sum()
    return Part(mean.mean, weights, mean.high - mean.low, mean.cells, mean.at_most_cells)


def beam_ratio(
    own: BeamRun, reference: BeamRun, measurand: str, *, mounting_sd: float, coverage: float, range_term: bool
) -> BeamRatio:
    """Return one measurand of a beam over the baseline's, in the same housing.

    Parameters
    ----------
    own, reference : BeamRun
        The two beams.
    measurand : str
        Out of `MEASURANDS`.
    mounting_sd : float
        Relative scatter of a seating. [1]
    coverage : float
        Coverage probability. [1]
    range_term : bool
        Count the additive error of the manual; else only the last figure of the dark reading.

    Returns
    -------
    BeamRatio
        The ratio, and its intervals as seated and for the specimens.

    Raises
    ------
    MethodError
        If a grid does not hold the measurand.
    """
    window = shared_window(own.grid, reference.grid)
    parts = [beam_part(run.grid, measurand, window) for run in (own, reference)]
    inputs, loads = _inputs(own, reference, parts, range_term)
    step = _step(own, reference, measurand, window)
    if step:
        inputs["step"] = InputQuantity("step", 0.0, step)
        loads["step"] = (("factor", 0, 1.0),)
    seat = math.sqrt(2.0) * mounting_sd
    model = _model([p.value for p in parts], loads)
    drawn = propagate_distributions(model, inputs, trials=TRIALS, coverage=coverage)
    seated = {**inputs, "seating": InputQuantity("seating", 0.0, seat)}
    wide = propagate_distributions(
        _model([p.value for p in parts], {**loads, "seating": (("factor", 0, 1.0),)}),
        seated,
        trials=TRIALS,
        coverage=coverage,
    )
    low, high, wide_low, wide_high = (math.exp(x) for x in (*drawn.interval, *wide.interval))
    return BeamRatio(
        measurand=measurand,
        value=parts[0].value / parts[1].value,
        low=low,
        high=high,
        seated_low=wide_low,
        seated_high=wide_high,
        own=parts[0].value,
        reference=parts[1].value,
        unit="lm" if measurand == "window flux" else "cd",
        parts=_first_order(model, seated, seat),
        cells=parts[0].cells,
        at_most_cells=parts[0].at_most_cells + parts[1].at_most_cells,
    )


def shared_window(grid: BeamGrid, reference: BeamGrid) -> tuple[Range, Range]:
    """Return the window both grids cover.

    Parameters
    ----------
    grid, reference : BeamGrid
        The beams.

    Returns
    -------
    tuple of two ranges
        Left to right, bottom to top. [deg]
    """
    across, up = (
        (
            max(float(getattr(g, name)[0]) for g in (grid, reference)),
            min(float(getattr(g, name)[-1]) for g in (grid, reference)),
        )
        for name in ("horizontal", "vertical")
    )
    return across, up


Load = tuple[tuple[str, int, float], ...]
"""How an input acts: ("add" or "factor" or "share"), on which beam (0 own, 1 reference), by how much."""


def _inputs(
    own: BeamRun, reference: BeamRun, parts: list[Part], range_term: bool
) -> tuple[dict[str, InputQuantity], dict[str, Load]]:
    """Return the inputs of a ratio and how they act on the two sums."""
    inputs: dict[str, InputQuantity] = {}
    loads: dict[str, Load] = {}

    def put(name: str, quantity: InputQuantity, *acts: tuple[str, int, float]) -> None:
        if quantity.standard_uncertainty > 0 and any(by for _, _, by in acts):
            inputs[name], loads[name] = quantity, (*loads.get(name, ()), *acts)

    for side, (run, part) in enumerate(zip((own, reference), parts, strict=True)):
        counted = np.where(run.grid.censored, 0.5, 1.0) * run.grid.intensity * part.weights
        for number, top in enumerate(np.unique(run.tops[part.weights > 0])):
            here = run.tops == top
            key = f"{run.meter.id}_{number}_{top:g}".replace(".", "_").replace("-", "_")
            added = float((part.weights * run.per_lux * here).sum())
            share = float(counted[here].sum())
            additive = _additive(run, float(top), range_term)
            put(f"range_{_safe(run.meter.id, top)}", additive, ("add", side, added))
            put(f"gain_{_safe(run.meter.id, top)}", _gain(run, float(top)), ("add", side, share))
            linear = instruments.linearity_input(run.meter, (f"{top:g}", run.lamp, run.housing))
            put(f"linearity_{side}_{_safe(key, 0.0)}", linear, ("add", side, share))
        noise = float(np.sqrt(((part.weights * run.own) ** 2).sum()))
        put(f"noise_{side}", InputQuantity("noise", 0.0, noise), ("add", side, 1.0))
        colour = InputQuantity.from_limits("colour", 0.0, math.sqrt(3.0) * run.colour_u)
        put(f"colour_{side}", colour, ("factor", side, 1.0))
        supply = InputQuantity.from_limits("supply", 0.0, math.sqrt(3.0) * run.supply_u)
        put(f"supply_{side}", supply, ("factor", side, 1.0))
        put(f"limits_{side}", InputQuantity.from_limits("limits", 0.0, part.limits / 2.0), ("add", side, 1.0))
    return inputs, loads
