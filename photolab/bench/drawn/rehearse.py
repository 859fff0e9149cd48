"""A protocol rehearsed: benches drawn with known truth, evaluated as readings are, and what their intervals were worth.

Every bench gives each figure of `FIGURES` for each line (a lamp, housing, instant, scope); of a block of benches only
the number, the sum and the sum of squares are kept, so memory does not grow with the benches, and blocks add up in any
order of finishing. A true difference moves an estimate and its interval alike: whether a lamp that truly gives so much
more is shown follows from the error and the half-width of the same bench.
"""

import gc
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.drawn.redraw import Drawn, Name, Protocol
from photolab.bench.drawn.redraw_tables import LEFT
from photolab.bench.inputs.electrical import measured_power
from photolab.bench.inputs.surface import surface_rows
from photolab.bench.results.beams import beam_rows
from photolab.bench.results.campaign import Campaign, without_technology
from photolab.bench.results.derived import light_per_watt
from photolab.bench.results.distances import distance_rows
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import fading_rows, warm_up_runs
from photolab.bench.results.ratio_table import ratio_table
from photolab.bench.terms.columns import Array
from photolab.metrology.arguments import must_hold
from photolab.metrology.quantity import coverage_factor

SCOPES_DRAWN = ("specimens", "models")
RATIO, PER_WATT = "illuminance ratio", "illuminance per watt ratio"
BEYOND = " beyond the record"
"""Added to the name of remaining light that its record does not reach."""
Places = Mapping[Name, int]
ADDED = {"degC", "K", "%"}
"""Units of what errs by a sum and not by a factor."""
LINE = ("measurand", "lamp", "baseline", "housing", "point", "instant", "scope")
"""What a line is, in the words of results.csv; "all" where it is the mean of several."""
FOUND = ("figure", "true_difference_percent", "value", "standard_error", "unit", "benches")
"""What is said of each line."""
KNOWN_SDS = "half-width if every SD were known"
"""Coverage factor times the root mean square error of the benches drawn."""
FAMILY_HALF, FALSE_CLAIM = "half-width in the family", "a false claim among all pairs"
FIGURES = ("given", "coverage", "bias", "half-width", FAMILY_HALF, FALSE_CLAIM)
"""Of one bench: whether an interval was given and held the truth, estimate less truth, half-width; of the family."""


@dataclass(frozen=True)
class Plan:
    """What is rehearsed.

    Parameters
    ----------
    seed : int, default 1
        Seed of all benches. [1]
    differences : tuple of float
        True differences for which it is asked how often they are shown. [%]
    lamps : tuple of str
        Two lamps, the second against the first; every lamp against the baseline where none is named.
    families_every : int, default 10
        Verdicts among all lamps are taken on every so manieth bench, for they cost more than the evaluation; on none
        where it is 0. [1]
    """

    seed: int = 1
    differences: tuple[float, ...] = (0.0, 3.0, 5.0, 10.0)
    lamps: tuple[str, ...] = ()
    families_every: int = 10

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of the figures of a line: `FIGURES`, then what is shown at each difference, alone and in the family."""
        shown = [f"shown {d:g}" for d in self.differences]
        return (*FIGURES, *shown, *(one.replace("shown", "shown in the family") for one in shown))


def lines_of(protocol: Protocol, plan: Plan) -> list[Name]:
    """Return the lines of a rehearsal.

    Parameters
    ----------
    protocol : Protocol
        The bench that is drawn.
    plan : Plan
        What is rehearsed.

    Returns
    -------
    list of tuple
        `LINE` of each: the ratios, the mean over all of them and the family of each housing, at both instants.

    Raises
    ------
    MethodError
        If there are no two lamps to compare, or one that is named was not read.
    """
    known = sorted({name[0] for name in protocol.names})
    two = len(set(plan.lamps)) == 2 and set(plan.lamps) <= set(known)
    message = f"lamps must be two of {', '.join(known)}; got {', '.join(plan.lamps)}"
    must_hold(two or not plan.lamps, message, code="lamps", known={"lamps": known})
    base = plan.lamps[0] if plan.lamps else protocol.baseline
    told: list[Name] = []
    for instant in ("initial", "hold"):
        pairs = [
            n for n in protocol.names
            if n[3] == instant and n[0] != base and (base, *n[1:]) in protocol.names and n[0] in (plan.lamps or known)
        ]  # fmt: skip
        for scope in SCOPES_DRAWN:
            told += [(RATIO, lamp, base, *place, scope) for lamp, *place in pairs]
            told += [(RATIO, "all", base, "all", "all", instant, scope)] if pairs else []
            places = dict.fromkeys(n[1:] for n in pairs if scope == SCOPES_DRAWN[0])
            told += [(RATIO, "all", "all", *place, scope) for place in places]
    others = [line for line, *_ in _other_figures(evaluate(protocol.bench), protocol.draw(plan.seed, 0))]
    for kind in dict.fromkeys((line[0], *line[5:]) for line in others):
        told += [line for line in others if (line[0], *line[5:]) == kind]
        told.append((kind[0], "all", "", "all", "all", *kind[1:]))
    message = f"a rehearsal needs two lamps read in one housing; got {', '.join(known)}"
    must_hold(told, message, code="lamps", known={"lamps": known})
    return told


def rehearse_block(protocol: Protocol, plan: Plan, lines: Sequence[Name], numbers: Iterable[int]) -> Array:
    """Draw and evaluate some benches.

    Parameters
    ----------
    protocol : Protocol
        The bench that is drawn.
    plan : Plan
        What is rehearsed.
    lines : sequence of tuple
        From `lines_of`.
    numbers : iterable of int
        Which benches.

    Returns
    -------
    ndarray, shape (lines, figures, 3)
        Number, sum and sum of squares of each figure, in ln. [1]
    """
    total = np.zeros((len(lines), len(plan.figures), 3))
    gc.freeze()  # a fifth of the time would go into looking through what libraries hold
    try:
        for number in numbers:
            judged = plan.families_every > 0 and number % plan.families_every == 0
            told = one_bench(protocol.draw(plan.seed, number), plan, lines, families=judged)
            known = ~np.isnan(told)
            filled = np.where(known, told, 0.0)
            total += np.stack((known, filled, filled**2), axis=-1)
    finally:
        gc.unfreeze()
    return total


def one_bench(drawn: Drawn, plan: Plan, lines: Sequence[Name], *, families: bool) -> Array:
    """Return the figures of one bench.

    Parameters
    ----------
    drawn : Drawn
        The bench and its truth.
    plan, lines
        As for `rehearse_block`.
    families : bool
        Whether verdicts among all lamps are taken.

    Returns
    -------
    ndarray, shape (lines, figures)
        NaN where a figure does not apply. [1]
    """
    told = np.full((len(lines), len(plan.figures)), np.nan)
    apart = np.log1p(np.array(plan.differences) / 100.0)
    first, last = len(FIGURES), len(FIGURES) + len(apart)
    campaign, p = evaluate(drawn.bench), drawn.bench.settings.coverage
    unknown = without_technology(drawn.bench)
    place = {line: k for k, line in enumerate(lines)}
    for line, k in place.items():
        if line[1] != "all":
            told[k, 0] = 0.0
    for instant in ("initial", "hold"):
        head = (instant, SCOPES_DRAWN[0])
        mine = [one for one in lines if one[0] == RATIO and one[1] != "all" and one[5:] == head]
        if not mine:  # what is left at the hold time costs more than the evaluation
            continue
        joint = campaign.at(instant)
        pairs = [((lamp, *where), (base, *where)) for _, lamp, base, *where, _ in mine]
        known = set(joint.names)
        pairs = [two for two in pairs if known.issuperset(two) and not unknown & {two[0][0], two[1][0]}]
        if not pairs:
            continue
        value, _, half, _ = joint.differences(*zip(*pairs, strict=True), scopes=SCOPES_DRAWN, coverage=p)
        for row, (name, base) in enumerate(pairs):
            more = campaign.held.widening(name, base) if instant == "hold" else 0.0
            for column, scope in enumerate(SCOPES_DRAWN):
                wide = half[row, column] + more
                error = value[row, column] - (drawn.ln_light[*name, scope] - drawn.ln_light[*base, scope])
                k = place[RATIO, name[0], base[0], *name[1:], scope]
                told[k, :4] = 1.0, abs(error) <= wide, error, wide
                told[k, first:last] = np.abs(error + apart) > wide
        if families:
            for where in dict.fromkeys(name[1:] for name, _ in pairs):
                _family(told, campaign, drawn, where, place, apart)
    if any(line[0] != RATIO for line in lines):
        for line, *figures in _other_figures(campaign, drawn):
            if line in place:
                told[place[line], :4] = figures
    for line, k in place.items():
        if line[3] == "all":
            alike = (line[0], *line[5:])
            of = [j for one, j in place.items() if one[1] != "all" and (one[0], *one[5:]) == alike]
            told[k] = np.ma.masked_where(np.isnan(told[of]), told[of]).mean(axis=0).filled(np.nan)
    return told


def _other_figures(campaign: Campaign, drawn: Drawn) -> Iterator[tuple[Any, ...]]:
    """Yield of all but ratios of light: the line; whether there is an interval, and it holds; error, half-width.

    Errors are in ln, those of temperatures and percentages in hundredths, so that one factor serves all.
    """
    if not drawn.others:
        return
    true = drawn.others
    for row in _other_rows(campaign):
        line = tuple(str(row[c]) for c in LINE)
        kind, lamp, base, *where = line
        if kind == PER_WATT and where[-1] in SCOPES_DRAWN:
            watts = [true.get(("electrical power", x, "", "", where[2]), math.nan) for x in (lamp, base)]
            light = drawn.ln_light[lamp, *where] - drawn.ln_light[base, *where]
            truth = math.exp(light) * watts[1] / watts[0]
        else:
            name = kind.removesuffix(BEYOND), lamp, *where[:3]
            truth = true.get((*name, where[-1]), true.get(name, math.nan))
        if math.isnan(truth):
            continue
        value, low, high = (float(row[c]) for c in ("value", "low", "high"))
        held = math.nan if math.isnan(low) else float(low <= truth <= high)
        if row["unit"] in ADDED:
            error, half = (value - truth) / 100.0, (high - low) / 200.0
        else:
            error, half = math.log(value / truth), math.log(high / low) / 2.0
        yield line, float(not math.isnan(low)), held, error, half


def _other_rows(campaign: Campaign) -> Iterator[Mapping[Any, Any]]:
    """Yield what stands in results.csv beside ratios of light, families left out; remaining light of every record."""
    bench = campaign.bench
    ratios = [one for one in (campaign.table, ratio_table(campaign, instant="hold")) if len(one)]
    tables = [measured_power(bench), surface_rows(bench), distance_rows(bench), fading_rows(bench)]
    tables += [light_per_watt(campaign, one, families=False) for one in ratios]
    for table in (*tables, beam_rows(bench, families=False)):
        yield from table.to_dict("records")
    for run in warm_up_runs(bench):
        if (left := run.remaining) is not None:
            name = LEFT + (BEYOND if left.extrapolated else "")
            said = (name, run.lamp, "", run.housing, f"record {run.run}")
            row = dict(zip(LINE, (*said, "hold", "readings"), strict=True)) | {"unit": "1"}
            yield row | {"value": left.value, "low": left.low, "high": left.high}


def _family(told: Array, campaign: Campaign, drawn: Drawn, where: Name, place: Places, apart: Array) -> None:
    """Fill in what all pairs of one housing say together."""
    housing, point, instant = where
    try:
        pairs = campaign.pairs(housing, point=point, instant=instant)
    except ValueError:  # a pair without a usable covariance: nothing is claimed
        return
    false = False
    for a, b, ratio, low, high in zip(*(pairs[c] for c in ("a", "b", "ratio", "low", "high")), strict=True):
        truth = drawn.ln_light[a, *where, "specimens"] - drawn.ln_light[b, *where, "specimens"]
        error, half = math.log(ratio) - truth, math.log(high / low) / 2.0
        false = false or abs(error) > half
        for one, other, sign in ((a, b, 1.0), (b, a, -1.0)):
            k = place.get((RATIO, one, other, *where, "specimens"))
            if k is not None:
                told[k, FIGURES.index(FAMILY_HALF)] = half
                told[k, len(FIGURES) + len(apart) :] = np.abs(sign * error + apart) > half
    told[place[RATIO, "all", "all", *where, "specimens"], FIGURES.index(FALSE_CLAIM)] = float(false)


def table_of(total: Array, plan: Plan, lines: Sequence[Name], coverage: float) -> pd.DataFrame:
    """Return what a rehearsal found, a figure a row.

    Parameters
    ----------
    total : ndarray, shape (lines, figures, 3)
        Sum over the blocks of `rehearse_block`. [1]
    plan, lines
        As for `rehearse_block`.
    coverage : float
        Declared coverage probability. [1]

    Returns
    -------
    DataFrame
        `LINE`, then figure, true_difference_percent, value, standard_error (of the drawing), unit, benches.
    """
    rows: list[tuple[object, ...]] = []
    factor = coverage_factor(coverage)
    for line, sums in zip(lines, total, strict=True):
        unit = "K" if "temperature" in line[0] else "%"
        for figure, (n, one, two) in zip(plan.figures, sums.tolist(), strict=True):
            if not n:
                continue
            mean = one / n
            error = math.sqrt(max(two / n - mean**2, 0.0) / max(n - 1.0, 1.0))
            sized = figure in ("bias", "half-width", FAMILY_HALF)
            if not error and not sized:
                error = 1.0 / (n + 2.0)  # a share of none or of all is not sure either
            word, _, apart = figure.rpartition(" ")
            name, difference, value = figure, math.nan, mean
            if word.startswith("shown"):
                name, difference = word, float(apart)
            elif figure == "given":
                name, value = "refused", 1.0 - mean
            own = unit if sized else "%"
            rows.append((*line, name, difference, 100.0 * value, 100.0 * error, own, int(n)))
            if figure == "bias" and line[1] != "all":
                true = 100.0 * factor * math.sqrt(two / n)
                rows.append((*line, KNOWN_SDS, math.nan, true, true / math.sqrt(2.0 * n), unit, int(n)))
    return pd.DataFrame(rows, columns=[*LINE, *FOUND])
