"""Three measurands of a beam against the baseline's beam in the same housing: never one score.

The additive error of a range is one input of both beams. In faint cells it is not small, so a first-order
interval would be too short on one side: the interval comes from drawing every input from its distribution
(JCGM 101).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.bench import instruments
from photolab.bench.beam_grids import BeamRun
from photolab.errors import MethodError
from photolab.metrology.distribution_results import propagate_distributions
from photolab.metrology.inputs import InputQuantity
from photolab.photometry.beam import BeamGrid, mean_above_cutoff, peak, window_flux

MEASURANDS = ("hot spot", "window flux", "above cut-off")
ABOVE_HORIZONTAL = (-8.0, 8.0)
"""Window above the cut-off, left to right; our own choice, stated with every result. [deg]"""
ABOVE_VERTICAL = (0.5, 2.0)
"""The same, bottom to top. [deg]"""
TRIALS = 100_000
CAUSES = (
    "range term", "gain", "linearity", "scale", "scatter",
    "colour", "supply", "upper limits", "step", "seating",
)  # fmt: skip
"""What may be off, in the words of the budget."""

Floats = NDArray[np.float64]
Range = tuple[float, float]


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
    upper_limits : bool
        Cells that are only upper limits count in it.
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
    upper_limits: bool


@dataclass(frozen=True, eq=False)
class Measure:
    """A measurand as a weighted sum of a beam's cells.

    Attributes
    ----------
    grid : BeamGrid
        The beam.
    measurand : str
        Out of `MEASURANDS`.
    window : tuple of two ranges
        Of the flux: left to right, bottom to top. [deg]
    """

    grid: BeamGrid
    measurand: str
    window: tuple[Range, Range]

    def total(self, cells: Floats) -> float:
        """Return the weighted sum of values on the beam's cells.

        Parameters
        ----------
        cells : ndarray, shape of the grid
            Values, zero or more. [cd]

        Returns
        -------
        float
            The sum. [cd or lm]
        """
        if self.measurand == "hot spot":
            return float(cells.flat[int(np.argmax(self.grid.intensity))])
        other = replace(self.grid, intensity=cells, at_most=None)
        if self.measurand == "window flux":
            return window_flux(other, horizontal=self.window[0], vertical=self.window[1]).flux
        return mean_above_cutoff(other, horizontal=ABOVE_HORIZONTAL, vertical=ABOVE_VERTICAL).mean

    def spread(self, own: Floats) -> float:
        """Return the standard uncertainty of the sum when every cell errs by itself.

        Parameters
        ----------
        own : ndarray, shape of the grid
            Standard uncertainties. [cd]

        Returns
        -------
        float
            The root of the sum of squares. [cd or lm]
        """
        if self.measurand == "hot spot":
            return self.total(own)
        dark = replace(self.grid, intensity=np.zeros_like(self.grid.intensity), at_most=None)
        if self.measurand == "window flux":
            across, up = self.window
            return window_flux(
                dark, horizontal=across, vertical=up, cell_uncertainty=own
            ).standard_uncertainty
        across, up = ABOVE_HORIZONTAL, ABOVE_VERTICAL
        return mean_above_cutoff(
            dark, horizontal=across, vertical=up, cell_uncertainty=own
        ).standard_uncertainty

    @property
    def halves(self) -> Floats:
        """Intensities with upper limits counted half. [cd]."""
        return self.grid.intensity * np.where(self.grid.censored, 0.5, 1.0)


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
        If a grid does not hold the measurand, or the reference has no light there (code ``dark_reference``).
    """
    if measurand == "hot spot":
        peak(own.grid), peak(reference.grid)
    window = shared_window(own.grid, reference.grid)
    measures = [Measure(run.grid, measurand, window) for run in (own, reference)]
    values = [one.total(one.halves) for one in measures]
    if not min(values) > 0.0:
        message = f"both beams must have light for the {measurand}; got {values[0]:g} and {values[1]:g}"
        raise MethodError(message, code="dark_reference")
    acting = _inputs((own, reference), measures, range_term)
    if measurand == "window flux":
        acting["step"] = _Acting(InputQuantity("step", 0.0, _step(measures)), (("factor", 0, 1.0),))
    seat = _Acting(InputQuantity("seating", 0.0, math.sqrt(2.0) * mounting_sd), (("factor", 0, 1.0),))
    ends = []
    for used in (acting, {**acting, "seating": seat}):
        model = partial(_ln_ratio, values, used)
        inputs = {name: one.quantity for name, one in used.items()}
        drawn = propagate_distributions(model, inputs, trials=TRIALS, coverage=coverage)
        ends += [math.exp(end) for end in drawn.interval]
    lit = [one.total(one.grid.censored.astype(float)) for one in measures]
    return BeamRatio(
        measurand=measurand,
        value=values[0] / values[1],
        low=ends[0],
        high=ends[1],
        seated_low=ends[2],
        seated_high=ends[3],
        own=values[0],
        reference=values[1],
        unit="lm" if measurand == "window flux" else "cd",
        parts=_first_order(values, {**acting, "seating": seat}),
        upper_limits=max(lit) > 0.0,
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

    Raises
    ------
    MethodError
        If they cover none together (code ``no_overlap``).
    """
    ends = []
    for name in ("horizontal", "vertical"):
        axes = [getattr(g, name) for g in (grid, reference)]
        ends.append((max(float(a[0]) for a in axes), min(float(a[-1]) for a in axes)))
    if any(low >= high for low, high in ends):
        message = "both beams must cover a window together; their grids do not overlap"
        raise MethodError(message, code="no_overlap")
    return ends[0], ends[1]


@dataclass(frozen=True)
class _Acting:
    """An input and how it acts: added to a beam's sum, or as a factor; 0 is the lamp, 1 the baseline."""

    quantity: InputQuantity
    acts: tuple[tuple[str, int, float], ...]


def _inputs(runs: tuple[BeamRun, BeamRun], measures: list[Measure], range_term: bool) -> dict[str, _Acting]:
    """Return the inputs of a ratio; what both beams share has one name and acts on both."""
    found: dict[str, _Acting] = {}

    def put(name: str, quantity: InputQuantity, kind: str, side: int, by: float) -> None:
        if quantity.standard_uncertainty * abs(by) > 0.0:
            before = found[name].acts if name in found else ()
            found[name] = _Acting(quantity, (*before, (kind, side, by)))

    for side, (run, one) in enumerate(zip(runs, measures, strict=True)):
        meter = run.meter
        for top in np.unique(run.tops):
            here, place = run.tops == top, f"{meter.id} {top:g}"
            added, share = one.total(run.per_lux * here), one.total(one.halves * here)
            put(f"range term {place}", _additive(run, float(top), range_term), "add", side, added)
            if len(np.unique(np.concatenate([r.tops.ravel() for r in runs]))) > 1:
                put(f"gain {place}", instruments.gain_input(meter, (f"{top:g}",)), "add", side, share)
            linear = instruments.linearity_input(meter, (f"{top:g}", run.lamp, run.housing))
            put(f"linearity {place} {side}", linear, "add", side, share)
        for quantity in instruments.scale_inputs(meter):
            put(f"scale {meter.id} {instruments.kind_of(quantity)}", quantity, "factor", side, 1.0)
        put(f"scatter {side}", InputQuantity("scatter", 0.0, one.spread(run.own)), "add", side, 1.0)
        for name, u in (("colour", run.colour_u), ("supply", run.supply_u)):
            limits = InputQuantity.from_limits(name, 0.0, math.sqrt(3.0) * u)
            put(f"{name} {side}", limits, "factor", side, 1.0)
        limits = InputQuantity.from_limits("limits", 0.0, one.total(run.grid.intensity - one.halves))
        put(f"upper limits {side}", limits, "add", side, 1.0)
    return found


def _additive(run: BeamRun, top: float, range_term: bool) -> InputQuantity:
    """Return the additive error of a range that both beams share. [lx]."""
    if range_term:
        return instruments.range_input(run.meter, top, (f"{top:g}",))
    return instruments.resolution_input(instruments.resolution_lx(run.meter, top), (run.meter.id, f"{top:g}"))


def _ln_ratio(values: Sequence[float], acting: Mapping[str, _Acting], **drawn: Any) -> Any:
    """Return ln of the ratio when inputs err as drawn; light stays above a hundredth of itself."""
    sums: list[Any] = list(values)
    logs: list[Any] = [0.0, 0.0]
    for name, one in acting.items():
        for kind, side, by in one.acts:
            if kind == "add":
                sums[side] = sums[side] + by * drawn[name]
            else:
                logs[side] = logs[side] + np.log1p(by * drawn[name])
    floors = [np.maximum(total, 0.01 * value) for total, value in zip(sums, values, strict=True)]
    return np.log(floors[0]) + logs[0] - np.log(floors[1]) - logs[1]


def _first_order(values: Sequence[float], acting: Mapping[str, _Acting]) -> dict[str, float]:
    """Return the standard uncertainty of ln ratio by cause."""
    still = dict.fromkeys(acting, 0.0)
    parts: dict[str, float] = {}
    for name, one in acting.items():
        u = one.quantity.standard_uncertainty
        ends = [float(_ln_ratio(values, acting, **{**still, name: sign * u})) for sign in (1.0, -1.0)]
        cause = next(c for c in CAUSES if name.startswith(c))
        parts[cause] = math.hypot(parts.get(cause, 0.0), (ends[0] - ends[1]) / 2.0)
    return dict(sorted(parts.items(), key=lambda item: -item[1]))


def _step(measures: list[Measure]) -> float:
    """Return the standard uncertainty of ln ratio from the grid's step."""
    logs = []
    for one in measures:
        flux = window_flux(one.grid, horizontal=one.window[0], vertical=one.window[1])
        logs.append(flux.step_uncertainty / flux.flux)
    return abs(logs[0] - logs[1])
