"""Beam runs of the bench: each lamp's pattern against the baseline's in the same housing.

Hot spot, window flux and mean above the cut-off stay three measurands. Cut-off height comes from the grid's
own columns or a fine scan, sharpness from a fine scan alone; aim is the shift that lays one pattern over
the other. Nothing here is a test against a regulation.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import pandas as pd

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.readings import bench_spreads
from photolab.bench.inputs.rows import result_row
from photolab.bench.inputs.selection import baseline_lamp
from photolab.bench.inputs.shared_inputs import spread_input
from photolab.bench.inputs.spreads import Spread
from photolab.bench.results.beam_cutoffs import CutoffReading, column_scan, cutoff_of, longest_scan
from photolab.bench.results.beam_grids import BeamRun, BeamScan, Refusal, read_beams
from photolab.bench.results.beam_ratios import MEASURANDS, BeamRatio, beam_ratio
from photolab.bench.results.campaign import half_widths
from photolab.bench.terms.instruments import RANGE_GAIN_NAME
from photolab.bench.terms.model import Bench
from photolab.bench.terms.verdicts import judge
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import Joint, Measured, exp_symmetric, measured
from photolab.photometry.beam import AimOffset, RatioMap, aim_offset, ratio_map
from photolab.photometry.cutoff import cutoff_line

ROW_NAMES = {
    "hot spot": "hot-spot intensity ratio",
    "window flux": "window flux ratio",
    "above cut-off": "above cut-off ratio",
}
"""Names of the three measurands in the results table."""


@dataclass(frozen=True, eq=False)
class BeamResult:
    """A lamp's beam in a housing.

    Attributes
    ----------
    lamp, housing, baseline : str
        Which.
    beam : BeamRun
        The grid.
    reference : BeamRun or None
        The baseline's grid in the same housing; None for the baseline itself and where there is none.
    ratios : tuple of BeamRatio
        The three measurands; empty without a reference.
    cutoff : CutoffReading or None
        From a scan, else from a column of the grid; None where neither falls.
    aim : AimOffset or None
        The lamp's pattern against the baseline's.
    codes : tuple of str
        What else must be said.
    refusals : tuple of Refusal
        What could not be told, and why.
    seating : Spread
        Scatter of seatings in this housing, measured or declared.
    """

    lamp: str
    housing: str
    baseline: str
    beam: BeamRun = field(repr=False)
    reference: BeamRun | None = field(repr=False)
    ratios: tuple[BeamRatio, ...]
    cutoff: CutoffReading | None
    aim: AimOffset | None
    codes: tuple[str, ...]
    refusals: tuple[Refusal, ...]
    seating: Spread = field(repr=False)

    def ratio(self, measurand: str) -> BeamRatio:
        """Return one of the three measurands.

        Parameters
        ----------
        measurand : str
            Out of `beam_ratios.MEASURANDS`.

        Returns
        -------
        BeamRatio
            Its ratio.

        Raises
        ------
        MethodError
            If there is none.
        """
        for one in self.ratios:
            if one.measurand == measurand:
                return one
        message = f"lamp {self.lamp} in housing {self.housing} has no ratio of its {measurand}"
        raise MethodError(message, code="no_ratio", known={"refusals": self.refusals})

    def map(self, *, coverage: float) -> RatioMap:
        """Return where the beam gives more and where less than the baseline's.

        Parameters
        ----------
        coverage : float
            By which a cell counts as resolved. [1]

        Returns
        -------
        RatioMap
            Cell by cell, each cell's own doubt only.

        Raises
        ------
        MethodError
            If there is no baseline beam on the same directions.
        """
        if self.reference is None:
            message = f"lamp {self.lamp} has no baseline beam in housing {self.housing} to be divided by"
            raise MethodError(message, code="no_reference")
        return ratio_map(
            self.beam.grid,
            self.reference.grid,
            cell_uncertainty=self.beam.own,
            reference_cell_uncertainty=self.reference.own,
            coverage=coverage,
        )


@dataclass(frozen=True, eq=False)
class Beams:
    """All beams of a bench.

    Attributes
    ----------
    results : tuple of BeamResult
        One a lamp and housing, in file order.
    scans : tuple of BeamScan
        The vertical scans.
    refusals : tuple of Refusal
        Runs that give no grid and no scan.
    """

    results: tuple[BeamResult, ...]
    scans: tuple[BeamScan, ...]
    refusals: tuple[Refusal, ...]

    def find(self, lamp: str, housing: str) -> BeamResult | None:
        """Return the beam of a lamp in a housing.

        Parameters
        ----------
        lamp, housing : str
            Which.

        Returns
        -------
        BeamResult or None
            None where there is no grid.
        """
        return next((r for r in self.results if (r.lamp, r.housing) == (lamp, housing)), None)

    def scan(self, lamp: str, housing: str) -> BeamScan | None:
        """Return the scan behind a cut-off: a lamp's longest one in a housing, else a column of its grid."""
        found = self.find(lamp, housing)
        return longest_scan(self.scans, lamp, housing) or (None if found is None else column_scan(found.beam))


def evaluate_beams(
    bench: Bench, *, corrections: Iterable[str] = steps.ALL, range_term: bool = True, baseline: str = ""
) -> Beams:
    """Evaluate every run of beam.csv.

    Parameters
    ----------
    bench : Bench
        The bench.
    corrections : iterable of str, default all
        ``dark`` and ``spectral`` count here.
    range_term : bool, default True
        Count the additive error of the manual, even where a dark reading was taken: nothing shows that it
        is the same at faint light. False counts the last figure of the dark reading alone.
    baseline : str
        Lamp that beams are divided by; the bench's own where blank.

    Returns
    -------
    Beams
        One result a lamp and housing with a grid; of several grids the one with most cells.
    """
    return _evaluated(bench, frozenset(corrections), range_term, baseline)


@lru_cache(maxsize=4)  # a page asks for them more than once; a bench is told from another by identity
def _evaluated(bench: Bench, corrections: frozenset[str], range_term: bool, baseline: str) -> Beams:
    """Return what `evaluate_beams` does."""
    grids, scans, refusals = read_beams(bench, corrections=corrections)
    best: dict[tuple[str, str], BeamRun] = {}
    for run in grids:
        before = best.get((run.lamp, run.housing), run)
        best[run.lamp, run.housing] = max(before, run, key=lambda one: one.grid.intensity.size)
    baseline = baseline or (baseline_lamp(bench)[0] if best else "")
    spreads = bench_spreads(bench, corrections) if best else None
    declared = Spread(bench.settings.mounting_sd_percent / 100.0, math.inf, assumed=True)
    results = []
    for run in best.values():
        seating = declared if spreads is None else spreads.seating_in(run.housing)
        reference = None if run.lamp == baseline else best.get((baseline, run.housing))
        results.append(_result(bench, run, reference, scans, baseline, range_term, seating))
    return Beams(tuple(results), scans, refusals)


def _result(
    bench: Bench,
    run: BeamRun,
    reference: BeamRun | None,
    scans: tuple[BeamScan, ...],
    baseline: str,
    range_term: bool,
    seating: Spread,
) -> BeamResult:
    """Return what one beam says."""
    found: list[BeamRatio | AimOffset | MethodError] = []
    if reference is not None:
        how: dict[str, Any] = {"mounting_sd": seating.sd, "mounting_dof": seating.dof}
        how |= {"coverage": bench.settings.coverage, "range_term": range_term}
        found += [attempt(beam_ratio, run, reference, what, **how) for what in MEASURANDS]
        found.append(attempt(aim_offset, run.grid, reference.grid))
    elif run.lamp != baseline:
        message = f"no grid of the baseline {baseline} in housing {run.housing}: nothing to divide by"
        found.append(MethodError(message, code="no_reference"))
    where = (run.run, run.lamp, run.housing)
    aim = next((one for one in found if isinstance(one, AimOffset)), None)
    line = cutoff_line(run.grid, traffic=bench.housings[run.housing].traffic)
    upper = ["upper_limits"] if run.grid.censored.any() else []
    codes = tuple(dict.fromkeys([*line.codes, *(() if aim is None else aim.codes), *upper]))
    ratios = tuple(one for one in found if isinstance(one, BeamRatio))
    refusals = tuple(Refusal(*where, one.code, str(one)) for one in found if isinstance(one, MethodError))
    return BeamResult(
        lamp=run.lamp,
        housing=run.housing,
        baseline=baseline,
        beam=run,
        reference=reference,
        ratios=ratios,
        cutoff=cutoff_of(run, scans),
        aim=aim,
        codes=codes,
        refusals=refusals,
        seating=seating,
    )


def beam_rows(bench: Bench, *, beams: Beams | None = None, families: bool = True) -> pd.DataFrame:
    """Return the three measurands of every beam as rows of the results table.

    Parameters
    ----------
    bench : Bench
        The bench.
    beams : Beams, optional
        As from `evaluate_beams`; evaluated anew if not given.
    families : bool, default True
        Take intervals among all pairs too; else each is as alone.

    Returns
    -------
    DataFrame
        One row a lamp, housing, measurand and scope: "readings" as seated, "specimens" with the scatter of
        seating; alone, and as one of all pairs of beams of its housing.
    """
    found = evaluate_beams(bench) if beams is None else beams
    wider = _among_all(found, bench.settings.coverage) if families else {}
    rows = [
        _row(bench, result, one, scope, wider.get((result.lamp, result.housing, one.measurand, scope), 1.0))
        for result in found.results
        for one in result.ratios
        for scope in ("readings", "specimens")
    ]
    return pd.DataFrame(rows)


def _among_all(beams: Beams, coverage: float) -> dict[tuple[str, str, str, str], float]:
    """Return by how much each ratio's interval is wider as one of all pairs of beams of its housing.

    By lamp, housing, measurand and scope. What the pairs share is known to first order.
    """
    found: dict[tuple[str, str, str, str], float] = {}
    for housing in dict.fromkeys(one.housing for one in beams.results):
        here = [one for one in beams.results if one.housing == housing and one.ratios]
        for what in dict.fromkeys(ratio.measurand for one in here for ratio in one.ratios):
            ratios = {r.lamp: _ln(x.as_seated) for r in here for x in r.ratios if x.measurand == what}
            if len(ratios) == 1:  # a family of one
                continue
            baseline, scatter = here[0].baseline, here[0].seating
            ratios = {baseline: measured(0.0)} | ratios
            again = {
                lamp: ratio
                + measured(
                    0.0, spread_input("mounting", (lamp, housing), scatter.sd, scatter.dof, pool=housing)
                )
                for lamp, ratio in ratios.items()
            }
            for scope, family in (("readings", ratios), ("specimens", again)):
                for lamp, half in half_widths(Joint.of(family), baseline, coverage=coverage).items():
                    alone = (family[lamp] - family[baseline]).half_width(coverage)
                    found[lamp, housing, what, scope] = half / alone if alone else 1.0
    return found


def _ln(ratio: Measured) -> Measured:
    """Return ln of a ratio to first order; an input that has another size in another window is another one."""
    return measured(
        math.log(ratio.value),
        *((replace(q, name=(q.name, q.u)), c / ratio.value) for q, c in ratio.parts.items()),
    )


def _row(bench: Bench, result: BeamResult, one: BeamRatio, scope: str, wider: float) -> dict[str, object]:
    """Return one row of the results table."""
    settings = bench.settings
    ratio = one.as_seated if scope == "readings" else one.seated_again
    ends = [math.log(end) for end in ratio.interval(settings.coverage)]
    middle = math.log(ratio.value)
    family = [middle + wider * (end - middle) for end in ends]
    alone, among = (
        judge((low + high) / 2.0, (high - low) / 2.0, alike_percent=settings.alike_percent).code
        for low, high in (ends, family)
    )
    assumed = [*result.beam.assumed, *(result.reference.assumed if result.reference is not None else ())]
    if scope == "specimens" and result.seating.assumed and "mounting_sd_percent" not in settings.declared:
        assumed.append("mounting_sd_percent")
    if any(q.kind == "range gain" for q in ratio.parts):
        assumed.append(RANGE_GAIN_NAME)
    return result_row(
        bench,
        ratio,
        in_ln=True,
        lamp=result.lamp,
        housing=result.housing,
        measurand=ROW_NAMES[one.measurand],
        baseline=result.baseline,
        point="hot_spot" if one.measurand == "hot spot" else "beam",
        scope=scope,
        n_readings=2 * result.beam.grid.intensity.size,
        conditions=_conditions(one),
        corrections=", ".join(result.beam.corrections) or "none",
        assumed="; ".join(dict.fromkeys(assumed)) or "nothing",
        verdict=alone,
        family_low=exp_symmetric(family[0]),
        family_high=exp_symmetric(family[1]),
        family_verdict=among,
    )


def _conditions(one: BeamRatio) -> str:
    """Return where in the beam a ratio holds."""
    place = "largest cell of each grid"
    if one.window is not None:
        (left, right), (low, high) = one.window
        mean = "mean " if one.measurand == "above cut-off" else ""
        place = f"{mean}over {left:g} to {right:g} deg, {low:g} to {high:g} deg up"
    limits = "; some cells are upper limits" if one.upper_limits else ""
    return f"{place}; one seating each, aimed as seated{limits}"
