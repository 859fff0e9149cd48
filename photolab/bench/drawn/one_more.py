"""What a single change of a protocol buys, rehearsed and by formula: one more of something, one range, spectra.

Each change is a bench with other readings, ranges or spectra, of the same light: a protocol to be drawn again and
evaluated. Its standard deviations stay those of the bench as it was, since copied readings say nothing of scatter.
"""

from collections.abc import Callable
from dataclasses import replace

import pandas as pd

from photolab.bench.drawn.redraw import Name, Protocol
from photolab.bench.drawn.rehearse import RATIO, SCOPES_DRAWN, Plan, lines_of, rehearse_block, table_of
from photolab.bench.inputs.corrections import GRID_NM, spectral_factor
from photolab.bench.inputs.selection import baseline_lamp, instants, select
from photolab.bench.inputs.spreads import Spreads
from photolab.bench.questions.review import forecast_against_results
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import Bench, Spectrum
from photolab.errors import demand
from photolab.photometry.spectrum import illuminant_a, photopic_efficiency

REPLICATES = {"mounting": ["lamp", "specimen", "housing"], "specimen": ["lamp"], "day": []}
"""What there may be one more of, and within what it is the last one."""
CHANGES = (*REPLICATES, "range", "spectrum")
"""The single changes."""
REHEARSED = {("half-width", scope): scope for scope in SCOPES_DRAWN} | {("shown", "specimens"): "shown"}
"""What is told of each change, by figure and scope of a rehearsal."""
FULL_RANGE = 0.9
"""So much of a range the level may fill. [1]"""


def one_more(bench: Bench, what: str) -> Bench | None:
    """Return a bench with a single change.

    Parameters
    ----------
    bench : Bench
        The bench as it was read.
    what : {"mounting", "specimen", "day", "range", "spectrum"}
        A seating of each specimen in each housing, a specimen of each lamp, a day, each read as the last one was; in
        each housing all lamps on the one range of a meter that holds them all; a spectrum of each lamp whose colour
        only f1' bounds (and of the meter's head), with the uncertainty that a factor from spectra has at least.

    Returns
    -------
    Bench or None
        The bench, a protocol to be drawn; None where the change does not apply: no comparison on two ranges, or no
        colour that f1' alone bounds.

    Raises
    ------
    ValueError
        If it is none of them.
    """
    demand(what in CHANGES, f"what must be one of {', '.join(CHANGES)}", repr(what))
    if what == "spectrum":
        return _with_spectra(bench)
    readings = bench.tables["readings"]
    # what stays out for want of a link may not become the main meter by being copied
    readings = readings[readings["meter"].isin(select(bench).readings["meter"])]
    made = _on_one_range(bench) if what == "range" else _replicated(readings, what)
    return None if made is None else replace(bench, tables={**bench.tables, "readings": made})


def _replicated(readings: pd.DataFrame, what: str) -> pd.DataFrame:
    """Return readings with those of the last of something once more."""
    among = REPLICATES[what]
    key = [*among, *(["day", "mounting"] if what == "mounting" else [what])]
    last = readings[key].drop_duplicates(among, keep="last") if among else readings[key].iloc[-1:]
    more = readings.merge(last, on=key).assign(**{what: f"one more {what}"})
    return pd.concat([readings, more], ignore_index=True)


def _on_one_range(bench: Bench) -> pd.DataFrame | None:
    """Return readings with one range of each meter in each comparison, None where it is so already."""
    given, baseline = bench.tables["readings"], baseline_lamp(bench)[0]
    tops = given["range_lx"].copy()
    known = given[(instants(bench) != "") & tops.notna()]
    for _, rows in known.groupby(["meter", "housing", "point"]):
        used = sorted(set(rows["range_lx"]))
        if len(used) > 1 and len({baseline, *rows["lamp"]}) == rows["lamp"].nunique() > 1:
            most = rows["illuminance_lx"].max()
            tops[rows.index] = next((top for top in used if FULL_RANGE * top >= most), used[-1])
    return None if tops.equals(given["range_lx"]) else given.assign(range_lx=tops)


def _with_spectra(bench: Bench) -> Bench | None:
    """Return a bench with the spectra that are lacking, None where none is."""
    read = select(bench).readings[["onto", "lamp"]].drop_duplicates().itertuples(index=False, name=None)
    lacking = [
        (meter, lamp)
        for meter, lamp in read
        if bench.technologies.get(lamp, "") not in ("filament", "")
        and bench.meters[meter].mismatch_index_percent > 0.0
        and spectral_factor(bench, meter, lamp, bench.technologies[lamp]) is None
    ]
    # light as the meter was calibrated with: the factor is 1, and no level moves
    light, eye = illuminant_a(GRID_NM), photopic_efficiency(GRID_NM)
    source = {lamp: Spectrum("source", lamp, "", GRID_NM, light) for _, lamp in lacking}
    head = {meter: Spectrum("responsivity", "", meter, GRID_NM, eye) for meter, _ in lacking}
    on_file = {one.lamp or one.meter for one in bench.spectra.values()}
    made = {f"{one.kind} {of}": one for of, one in (source | head).items() if of not in on_file}
    return replace(bench, spectra={**bench.spectra, **made}) if lacking else None


def rehearsed(protocol: Protocol, plan: Plan, asked: Callable[[Name], bool], benches: int) -> pd.DataFrame:
    """Return what some benches drawn show of the ratios that are asked about.

    Parameters
    ----------
    protocol : Protocol
        The bench that is drawn.
    plan : Plan
        What is rehearsed.
    asked : callable
        Takes a ratio out of `rehearse.lines_of`, says whether it is meant.
    benches : int
        How many are drawn. [1]

    Returns
    -------
    DataFrame
        As `rehearse.table_of`.
    """
    lines = [line for line in lines_of(protocol, plan) if line[0] == RATIO and asked(line)]
    sums = rehearse_block(protocol, plan, lines, range(benches))
    return table_of(sums, plan, lines, protocol.bench.settings.coverage)


def what_changes_buy(
    bench: Bench, *, benches: int, seed: int, difference_percent: float, spreads: Spreads | None = None
) -> pd.DataFrame:
    """Return what each single change that applies buys at the initial time, mean over the ratios to the baseline.

    Parameters
    ----------
    bench : Bench
        The bench as it was read.
    benches : int
        How many are drawn for each change. [1]
    seed : int
        Of all benches; each change meets the same draws. [1]
    difference_percent : float
        True difference for which it is asked how often it is shown. [%]
    spreads : Spreads, optional
        Standard deviations that are true; those that the readings show where not given.

    Returns
    -------
    DataFrame
        change (blank for the protocol as it is, then out of `CHANGES`); specimens, models (half-widths by rehearsal)
        and shown (for the specimens), each with the standard error that the drawing leaves (``_error``); formula,
        formula_models (half-widths by `review.forecast_against_results`); no row where no ratio has an interval. [%]

    Raises
    ------
    ValueError
        If fewer than two benches are drawn: their scatter says how sure the figures are.
    """
    demand(benches >= 2, "benches must be 2 or more", benches)
    campaign = evaluate(bench, spreads=spreads)
    known = spreads or replace(campaign.spreads, remaining=campaign.held.spreads)
    plan = Plan(seed=seed, differences=(difference_percent,), families_every=0)
    rows = []
    for what in ("", *CHANGES):
        made = one_more(bench, what) if what else bench
        if made is None:
            continue
        found = rehearsed(Protocol(made, spreads=known), plan, lambda line: line[5] == "initial", benches)
        mean = found[(found["lamp"] == "all") & (found["baseline"] != "all")].set_index(["figure", "scope"])
        if "half-width" not in mean.index:
            break
        told = [[mean.loc[key, column] for key in REHEARSED] for column in ("value", "standard_error")]
        formula = forecast_against_results(evaluate(made, spreads=known))[["forecast", "models"]].mean()
        rows.append((what, *told[0], *told[1], *(100.0 * formula)))
    errors = [f"{name}_error" for name in REHEARSED.values()]
    return pd.DataFrame(rows, columns=["change", *REHEARSED.values(), *errors, "formula", "formula_models"])
