"""Three measurands of a beam against the baseline's beam in the same housing: never one score.

The additive error of a range is one input of both beams. In faint cells it is not small, so a first-order
interval would be too short on one side: the interval comes from drawing every input from its distribution
(JCGM 101).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.bench.results.beam_grids import BeamRun
from photolab.bench.terms import instruments
from photolab.errors import MethodError
from photolab.metrology.computed import kept
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import Input, Measured, from_ln, limits, measured
from photolab.photometry.beam import BeamGrid, mean_weights, peak, weighted_sum, window_flux, window_weights

MEASURANDS = ("hot spot", "window flux", "above cut-off")
ABOVE_HORIZONTAL = (-8.0, 8.0)
"""Window above the cut-off, left to right; our own choice, stated with every result. [deg]"""
ABOVE_VERTICAL = (0.5, 2.0)
"""The same, bottom to top. [deg]"""
TRIALS = 100_000
CAUSES = {
    "range term": "range term",
    "gain": "range gain",
    "linearity": "linearity",
    "scale": "scale",
    "scatter": "reading scatter",
    "colour": "colour",
    "supply": "supply",
    "upper limits": "resolution",
    "step": "model spread",
    "seating": "seating",
}
"""What may be off, in the words of the budget, and the kind of its inputs."""

Acting = dict[Input, NDArray[np.float64]]
"""Inputs and how each acts: first row added to a sum, second as a factor; on the lamp's and on the baseline's beam."""
Act = tuple[tuple[float, float], tuple[float, float]]
"""How one input acts, as `Acting` has it."""
Floats = NDArray[np.float64]
Range = tuple[float, float]


@dataclass(frozen=True, eq=False)
class BeamRatio:
    """One measurand of a lamp's beam over that of the baseline.

    Attributes
    ----------
    measurand : str
        Out of `MEASURANDS`.
    as_seated, seated_again : Measured
        The ratio; with a seating's scatter of each lamp added. Their intervals are those of draws. [1]
    coverage : float
        Coverage probability of the bench. [1]
    own, reference : float
        The two values. [cd or lm]
    unit : str
        Theirs.
    upper_limits : bool
        Cells that are only upper limits count in it.
    window : tuple of two ranges or None
        Left to right, bottom to top; None for the hot spot. [deg]
    """

    measurand: str
    as_seated: Measured
    seated_again: Measured
    coverage: float
    own: float
    reference: float
    unit: str
    upper_limits: bool
    window: tuple[Range, Range] | None

    @property
    def value(self) -> float:
        """The ratio [1]."""
        return self.as_seated.value

    @property
    def low(self) -> float:
        """Lower end of its interval as seated [1]."""
        return self.as_seated.interval(self.coverage)[0]

    @property
    def high(self) -> float:
        """Upper end of its interval as seated [1]."""
        return self.as_seated.interval(self.coverage)[1]

    @property
    def parts(self) -> dict[str, float]:
        """Standard uncertainty of ln ratio by cause, to first order, the largest first [1]."""
        acting = {q.kind for q in self.seated_again.parts}
        found = {c: self.seated_again.only(k).u / self.value for c, k in CAUSES.items() if k in acting}
        return dict(sorted(found.items(), key=lambda item: -item[1]))


def measurand_weights(grid: BeamGrid, measurand: str, window: tuple[Range, Range] | None) -> Floats:
    """Return the weights of a measurand: it is their sum with the intensities of the cells.

    Parameters
    ----------
    grid : BeamGrid
        The beam.
    measurand : str
        Out of `MEASURANDS`.
    window : tuple of two ranges or None
        Left to right, bottom to top; None for the hot spot. [deg]

    Returns
    -------
    ndarray, shape (m, n)
        1 at the largest cell, else 0; solid angles [sr]; or alike in the window above the cut-off [1].

    Raises
    ------
    MethodError
        If the largest cell is an upper limit (code ``peak_at_most``), or the grid does not hold the window (codes
        ``outside_grid``, ``no_cells``).
    """
    if window is None:
        peak(grid)
        weights = np.zeros(grid.intensity.shape)
        weights.flat[int(np.argmax(grid.intensity))] = 1.0
        return weights
    weigh = window_weights if measurand == "window flux" else mean_weights
    return weigh(grid, horizontal=window[0], vertical=window[1])


def beam_ratio(
    own: BeamRun,
    reference: BeamRun,
    measurand: str,
    *,
    mounting_sd: float,
    coverage: float,
    range_term: bool,
    mounting_dof: float = math.inf,
    weights: tuple[Floats, Floats] | None = None,
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
    mounting_dof : float
        Degrees of freedom of the scatter; infinite where assumed. [1]
    weights : tuple of two ndarray, optional
        Weights of the cells of the two beams; those of `measurand_weights` where not given. [1 or sr]

    Returns
    -------
    BeamRatio
        The ratio, and its intervals as seated and for the specimens.

    Raises
    ------
    MethodError
        If a grid does not hold the measurand, or the reference has no light there (code ``dark_reference``).
    """
    grids = (own.grid, reference.grid)
    whole = shared_window(*grids)
    windows = {"window flux": whole, "above cut-off": (ABOVE_HORIZONTAL, ABOVE_VERTICAL)}
    window = windows.get(measurand)
    cells = weights or tuple(measurand_weights(grid, measurand, window) for grid in grids)
    sums = [weighted_sum(grid, w) for grid, w in zip(grids, cells, strict=True)]
    values = [one.value for one in sums]
    if not min(values) > 0.0:
        message = f"both beams must have light for the {measurand}; got {values[0]:g} and {values[1]:g}"
        raise MethodError(message, code="dark_reference")
    acting = _inputs((own, reference), measurand, cells, range_term)
    pair = (own.lamp, reference.lamp, own.housing)
    if measurand == "window flux":
        acting[Input(("step", *pair), _step(grids, whole), kind="model spread")] = np.array(
            [[0.0, 0.0], [1.0, 0.0]]
        )
    as_seated, seated_again = _ratios(values, acting, *_seating(pair, mounting_sd, mounting_dof))
    upper = any(one.at_most_cells > 0 for one in sums)
    unit = "lm" if measurand == "window flux" else "cd"
    return BeamRatio(measurand, as_seated, seated_again, coverage, values[0], values[1], unit, upper, window)


@lru_cache(maxsize=8)  # all measurands of two beams share it
def _seating(pair: tuple[str, ...], mounting_sd: float, dof: float) -> tuple[Input, Floats]:
    """Return how two beams may be seated apart, and its draws in ln."""
    source = "assumed" if math.isinf(dof) else "own readings"
    seat = Input(("seating", *pair), math.sqrt(2.0) * mounting_sd, dof=dof, kind="seating", source=source)
    return seat, draws(np.log1p, measured(0.0, seat), trials=TRIALS)


def _ratios(values: Sequence[float], acting: Acting, seat: Input, away: Floats) -> tuple[Measured, Measured]:
    """Return the ratio of two sums with the inputs that act on them, and with a seating too; intervals by draws."""
    apart = {q: how for q, how in acting.items() if how[0].any() or how[1, 0] != how[1, 1]}  # else it cancels
    acts = tuple(((add[0], add[1]), (by[0], by[1])) for add, by in map(np.ndarray.tolist, apart.values()))
    model = partial(_ln_ratio, tuple(values), acts)
    drawn = _drawn(*model.args, *(measured(0.0, q) for q in apart))
    size = np.array([q.u for q in apart])
    up, down = (model(*(sign * np.diag(size))) for sign in (1.0, -1.0))
    slopes = np.divide(up - down, 2.0 * size, out=np.zeros(len(size)), where=size > 0.0)
    parts = dict.fromkeys(acting, 0.0) | dict(zip(apart, slopes.tolist(), strict=True))
    seated = drawn + away  # each input has a stream of its own
    moved = {seat: math.atanh(seat.u) / seat.u} if seat.u else {}

    def ratio(parts: dict[Input, float], drawn: Floats) -> Measured:
        ends = cache(partial(interval, drawn))
        ln_ratio = math.log(values[0] / values[1])
        return from_ln(Measured(ln_ratio, parts, linear=False, ends=ends, how="by draws"))

    return ratio(parts, drawn), ratio(parts | moved, seated)


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


def _inputs(
    runs: tuple[BeamRun, BeamRun], measurand: str, weights: Sequence[Floats], range_term: bool
) -> Acting:
    """Return the inputs of a ratio; what both beams share is one input and acts on both."""
    found: Acting = {}
    several = len(np.unique(np.concatenate([run.tops.ravel() for run in runs]))) > 1

    def put(q: Input, kind: str, side: int, by: float) -> None:
        if q.u * abs(by) > 0.0:
            found.setdefault(q, np.zeros((2, 2)))[int(kind == "factor"), side] += by

    for side, (run, w) in enumerate(zip(runs, weights, strict=True)):
        meter, who, light = run.meter, (run.lamp, run.housing), run.grid.halves
        for top in np.unique(run.tops):
            here, key = w * (run.tops == top), (f"{top:g}",)
            share = float((here * light).sum())
            put(_additive(run, float(top), range_term), "add", side, float((here * run.per_lux).sum()))
            if several:
                put(instruments.gain_input(meter, key), "add", side, share)
            put(instruments.linearity_input(meter, (*key, *who)), "add", side, share)
        for quantity in instruments.scale_inputs(meter):
            put(quantity, "factor", side, 1.0)
        scatter = float(np.sqrt(((w * run.own) ** 2).sum()))
        put(Input(("scatter", measurand, *who), scatter, kind="reading scatter"), "add", side, 1.0)
        for name, u in (("colour", run.colour_u), ("supply", run.supply_u)):
            put(limits((name, "beam", *who), math.sqrt(3.0) * u, kind=name), "factor", side, 1.0)
        half = float((w * (run.grid.intensity - light)).sum())
        put(limits(("upper limits", measurand, *who), half, kind="resolution"), "add", side, 1.0)
    return found


def _additive(run: BeamRun, top: float, range_term: bool) -> Input:
    """Return the additive error of a range that both beams share. [lx]."""
    if range_term:
        return instruments.range_input(run.meter, top, (f"{top:g}",))
    step = instruments.resolution_lx(run.meter, top)
    return limits(("dark reading", run.meter.id, f"{top:g}"), step / 2.0, kind="range term")


@kept(most=16)  # a bench that is read again, or in part, has most of its beams still
def _drawn(values: tuple[float, ...], acts: tuple[Act, ...], *inputs: Measured) -> Floats:
    """Return draws of `_ln_ratio`."""
    return draws(partial(_ln_ratio, values, acts), *inputs, trials=TRIALS)


def _ln_ratio(values: tuple[float, ...], acts: tuple[Act, ...], *drawn: Any) -> Any:
    """Return ln of the ratio when inputs err as drawn; light stays above a hundredth of itself."""
    sides = []
    for side, value in enumerate(values):
        total, factor = value, 1.0
        for (added, by), away in zip(((add[side], by[side]) for add, by in acts), drawn, strict=True):
            total = total + added * away if added else total
            factor = factor * (1.0 + by * away) if by else factor
        sides.append(np.maximum(total, 0.01 * value) * factor)
    return np.log(sides[0] / sides[1])


def _step(grids: tuple[BeamGrid, BeamGrid], window: tuple[Range, Range]) -> float:
    """Return the standard uncertainty of ln ratio from the grids' step."""
    flux = [window_flux(grid, horizontal=window[0], vertical=window[1]) for grid in grids]
    own, other = (one.step_uncertainty / one.value for one in flux)
    return abs(own - other)
