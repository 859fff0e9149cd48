"""Warm-up records joined to the campaign: remaining light, and the ratio at hold time.

Where no record of the lamp or of the baseline supports that ratio, it is the one of the readings taken at the hold
time in readings.csv, if there are any of both.

The ratio at hold is the initial ratio times the remaining light of the lamp over that of the baseline: of the pieces
that were held, with the spread of remaining light between pieces for those that were not, and for the model. A record's
own scale and mounting cancel from remaining light, so it is independent of the initial ratio; where bounds beyond
the record
give it, the intervals are multiplied in ln and called conservative.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.campaign import Campaign
from photolab.bench.model import Bench
from photolab.bench.ratio_table import ratio_table
from photolab.bench.shared_inputs import spread_input
from photolab.bench.spreads import Spread, between_specimens, not_held, own_specimens
from photolab.bench.supply_and_time import ELAPSED_U_S
from photolab.bench.verdicts import judge
from photolab.errors import MethodError
from photolab.metrology.quantity import Input, Measured, combine, measured
from photolab.thermal.warm_up import beside_stable, fit_warm_up
from photolab.thermal.warm_up_result import Remaining, WarmUp

LOGGED_DRIFT_FLOOR = 0.0005
"""Least drift over a record whose ambient and volts were logged, assumed. [1]"""
UNLOGGED_DRIFT = 0.003
"""Drift over a record where they were not, assumed. [1]"""


@dataclass(frozen=True, eq=False)
class WarmUpRun:
    """One run of warm_up.csv.

    Attributes
    ----------
    run, lamp, specimen, housing, day : str
        Identity.
    record : DataFrame
        Its rows.
    fit : WarmUp or None
        The fitted record; None where it was refused.
    remaining : Remaining or None
        Remaining light at hold over the initial time; None where it was refused.
    refusals : tuple of MethodError
        Why not, with what is known.
    drift : float
        Relative standard uncertainty of a drift over the record. [1]
    drift_logged : bool
        True where ambient and volts were logged.
    stable_runs : tuple of str
        Runs of lamps that no longer change, on the same meter, whose scatter was used too.
    """

    run: str
    lamp: str
    specimen: str
    housing: str
    day: str
    record: pd.DataFrame = field(repr=False)
    fit: WarmUp | None
    remaining: Remaining | None
    refusals: tuple[MethodError, ...]
    drift: float
    drift_logged: bool
    stable_runs: tuple[str, ...] = ()


@lru_cache(maxsize=4)  # many views of one bench ask for them; a bench is told from another by identity
def warm_up_runs(bench: Bench) -> tuple[WarmUpRun, ...]:
    """Fit every run of warm_up.csv; runs that show no change say how readings of their meter are correlated.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of WarmUpRun
        In file order; what a record cannot support stands in `refusals`.
    """
    table = bench.tables["warm_up"]
    blocks = {str(run): block for run, block in table.groupby("run", sort=False)}
    meters = {run: block["meter"].iloc[0] for run, block in blocks.items()}
    alone = [_fit_run(bench, run, block) for run, block in blocks.items()]
    stable = [one.run for one in alone if one.fit is not None and _is_stable(one.fit)]
    peers = ({n: blocks[n] for n in stable if n != one.run and meters[n] == meters[one.run]} for one in alone)
    return tuple(_with_remaining(bench, one, mine) for one, mine in zip(alone, peers, strict=True))


def _is_stable(fit: WarmUp) -> bool:
    """Return whether a record shows nothing but scatter."""
    codes = {finding.code for finding in fit.findings}
    disturbed = {"step", "second_step", "ripple", "outliers", "coarse_display"}
    return "no_change_resolved" in codes and not codes & disturbed


def _require_light(record: pd.DataFrame) -> None:
    """Refuse a record with readings of no light: remaining light is a share of light."""
    dark = int((record["illuminance_lx"] <= 0.0).sum())
    if dark:
        message = f"illuminance must be more than 0 lx throughout a record; {dark} of {len(record)} readings are 0 lx"
        raise MethodError(
            message, code="reading_without_light", known={"dark": dark, "readings": len(record)}
        )


def _display_step(bench: Bench, record: pd.DataFrame) -> float:
    """Return the display step of the meter of a record, 0 where it is not known [lx]."""
    meter = bench.meters.get(str(record["meter"].iloc[0]))
    return instruments.resolution_lx(meter, float(record["range_lx"].iloc[0])) if meter is not None else 0.0


def record_drift(record: pd.DataFrame, technology: str) -> tuple[float, bool]:
    """Return the relative standard uncertainty of a drift over a record.

    Parameters
    ----------
    record : DataFrame
        Rows with ambient_C and socket_V.
    technology : str
        "filament" lamps follow the volts, others the ambient.

    Returns
    -------
    tuple of (float, bool)
        What the logged ambient and volts allow for, or 0.3 % assumed; and whether both were logged. [1]
    """
    ambient, volts = record["ambient_C"].dropna(), record["socket_V"].dropna()
    if len(ambient) < 2 or len(volts) < 2:
        return UNLOGGED_DRIFT, False
    half = max(5, len(ambient) // 5)
    warmed = abs(float(ambient.iloc[-half:].mean() - ambient.iloc[:half].mean()))
    half = max(5, len(volts) // 5)
    moved = abs(float(volts.iloc[-half:].mean() / volts.iloc[:half].mean() - 1.0))
    by_volts = steps.FILAMENT_FLUX_EXPONENT * moved if technology == "filament" else 0.0
    by_ambient = 0.0 if technology == "filament" else steps.LED_AMBIENT_LIMIT * warmed / math.sqrt(3.0)
    return max(LOGGED_DRIFT_FLOOR, math.hypot(by_volts, by_ambient)), True


def _fit_run(bench: Bench, run: str, record: pd.DataFrame) -> WarmUpRun:
    """Fit one run by itself."""
    first = record.iloc[0]
    lamps = dict(zip(bench.tables["lamps"]["lamp"], bench.tables["lamps"]["technology"], strict=True))
    drift, logged = record_drift(record, lamps.get(first["lamp"], ""))
    fit: WarmUp | None = None
    refusals: tuple[MethodError, ...] = ()
    try:
        _require_light(record)
        fit = fit_warm_up(
            record["elapsed_s"],
            record["illuminance_lx"],
            initial_s=bench.settings.initial_s,
            initial_window_s=bench.settings.initial_window_s,
            resolution=_display_step(bench, record),
            drift_relative_sd=drift,
            elapsed_uncertainty_s=ELAPSED_U_S,
            coverage=bench.settings.coverage,
        )
    except MethodError as refused:
        refusals = (refused,)
    return WarmUpRun(
        run=run,
        lamp=str(first["lamp"]),
        specimen=str(first["specimen"]),
        housing=str(first["housing"]),
        day=str(first["day"]),
        record=record,
        fit=fit,
        remaining=None,
        refusals=refusals,
        drift=drift,
        drift_logged=logged,
    )


def _with_remaining(bench: Bench, alone: WarmUpRun, stable: Mapping[str, pd.DataFrame]) -> WarmUpRun:
    """Return a fitted run with stable ones beside it and its remaining light at hold."""
    if alone.fit is None:
        return replace(alone, stable_runs=tuple(stable))
    scatter = [(one["elapsed_s"], one["illuminance_lx"]) for one in stable.values()]
    fit = beside_stable(alone.fit, scatter) if scatter else alone.fit
    own = replace(alone, fit=fit, stable_runs=tuple(stable))
    try:
        return replace(own, remaining=fit.remaining(60.0 * bench.settings.hold_minutes))
    except MethodError as refused:
        return replace(own, refusals=(refused,))


def remaining_of(runs: tuple[WarmUpRun, ...], lamp: str, housing: str) -> tuple[Remaining, WarmUpRun] | None:
    """Return the remaining light of a lamp in a housing, from its longest record.

    Parameters
    ----------
    runs : tuple of WarmUpRun
        All runs.
    lamp, housing : str
        Which.

    Returns
    -------
    tuple of (Remaining, WarmUpRun) or None
        None where no record supports it.
    """
    return max(_held(runs, lamp, housing), key=lambda held: len(held[1].record), default=None)


def _held(runs: tuple[WarmUpRun, ...], lamp: str, housing: str) -> list[tuple[Remaining, WarmUpRun]]:
    """Return the remaining light of each piece of a lamp in a housing, from its longest record."""
    best: dict[str, tuple[Remaining, WarmUpRun]] = {}
    mine = [r for r in runs if (r.lamp, r.housing) == (lamp, housing)]
    for run in sorted(mine, key=lambda r: -len(r.record)):
        if run.remaining is not None:
            best.setdefault(run.specimen, (run.remaining, run))
    return list(best.values())


def _left(
    campaign: Campaign, runs: tuple[WarmUpRun, ...], lamp: str, housing: str, scope: str
) -> tuple[Measured, int]:
    """Return ln of a lamp's remaining light in a scope, the mean over its pieces held, and how many these are."""
    held = _held(runs, lamp, housing)
    if any(
        not ln_remaining(*one).parts for one in held
    ):  # intervals do not average: the longest record alone
        held = held[:1]
    left = (
        total(*((1.0 / len(held), ln_remaining(*one)) for one in held))
        if held[1:]
        else ln_remaining(*held[0])
    )
    seats = campaign.seats
    mine = (seats["lamp"] == lamp) & (seats["housing"] == housing) & (seats["instant"] == "initial")
    pieces = {run.specimen for _, run in held}
    share = {
        "readings": 0.0,
        "specimens": not_held(pieces, set(seats.loc[mine, "specimen"].astype(str))),
        "models": 1.0 / len(held),
    }[scope]
    if share > 0.0:
        spread = _remaining_spread(campaign, runs, lamp)
        level = "remaining" if scope == "models" else "specimen not held"
        u = spread.sd * math.sqrt(share)
        q = spread_input(level, (lamp, housing, scope), u, spread.dof, pool=f"remaining {lamp}")
        left = total((1.0, left), (1.0, measured(0.0, q)))
    return left, len(held)


def _remaining_spread(campaign: Campaign, runs: tuple[WarmUpRun, ...], lamp: str) -> Spread:
    """Return the spread of remaining light between pieces: from records where they hold more pieces than readings."""
    rows = [
        (lamp, housing, "", "", run.specimen, ln.value, ln.u)
        for housing in dict.fromkeys(run.housing for run in runs if run.lamp == lamp)
        for run, ln in ((run, ln_remaining(one, run)) for one, run in _held(runs, lamp, housing))
        if ln.parts
    ]
    columns = ["lamp", "housing", "point", "day", "specimen", "ln_value", "u"]
    table = pd.DataFrame(rows, columns=columns)
    noise = Spread(float(np.sqrt((table["u"] ** 2).mean())) if rows else 0.0, math.inf, assumed=False)
    between = between_specimens(table, dict.fromkeys(table["housing"], noise)).get(lamp)
    declared = campaign.bench.settings.remaining_sd_percent / 100.0
    known = (own_specimens(between, declared), campaign.spreads.remaining[lamp])
    return max(known, key=lambda spread: spread.dof)


def at_hold(light: Measured, own: Measured, base: Measured) -> Measured:
    """Return ln of a ratio at the hold time from that at the initial time; what is left of each lamp is independent.

    Parameters
    ----------
    light : Measured
        ln of the ratio at the initial time. [1]
    own, base : Measured
        ln of what is left of the lamp and of the baseline. [1]

    Returns
    -------
    Measured
        Their sum; intervals are added where what is left has only an interval. [1]
    """
    return total((1.0, light), (1.0, own), (-1.0, base))


def total(*terms: tuple[float, Measured]) -> Measured:
    """Return a weighted sum of independent quantities in ln.

    Parameters
    ----------
    *terms : tuple of (float, Measured)
        Weight and quantity. [1]

    Returns
    -------
    Measured
        Their sum; intervals are added where one of them has only an interval. [1]
    """
    if all(x.parts for _, x in terms):
        return combine(*zip(*terms, strict=True))

    def ends(coverage: float) -> tuple[float, float]:
        sides = [sorted(w * end for end in x.interval(coverage)) for w, x in terms]
        return sum(low for low, _ in sides), sum(high for _, high in sides)

    return Measured(sum(w * x.value for w, x in terms), linear=False, ends=ends)


def ln_remaining(remaining: Remaining, run: WarmUpRun) -> Measured:
    """Return remaining light in ln, with the interval of its record.

    Parameters
    ----------
    remaining : Remaining
        From a record or from bounds.
    run : WarmUpRun
        The record.

    Returns
    -------
    Measured
        The same; without inputs where it has only an interval. [1]
    """
    value = math.log(remaining.value)
    ends = (math.log(remaining.low) if remaining.low > 0 else -math.inf, math.log(remaining.high))
    u, parts = remaining.ln_standard_uncertainty, {}
    if remaining.method != "bounds" and math.isfinite(u):
        name = ("remaining light", run.lamp, run.housing, run.specimen)
        parts = {Input(name, u, dof=remaining.dof, kind="fit", source="own readings"): 1.0}
    return Measured(value, parts, linear=False, ends=lambda _: ends)


def heat_rows(campaign: Campaign, runs: tuple[WarmUpRun, ...]) -> pd.DataFrame:
    """Return remaining light and hold-time ratios as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation at the initial time.
    runs : tuple of WarmUpRun
        The warm-up records.

    Returns
    -------
    DataFrame
        One row a lamp and housing with a record that supports it; then the ratios that readings at the hold time
        alone support.
    """
    rows = []
    for lamp, housing in dict.fromkeys((r.lamp, r.housing) for r in runs):
        found = remaining_of(runs, lamp, housing)
        if found is None:
            continue
        rows.append(_row(campaign, "remaining light", lamp, housing, ln_remaining(*found), found[1]))
        base = remaining_of(runs, campaign.baseline, housing)
        names = campaign.weights.names
        have = all((x, housing, "hot_spot", "initial") in names for x in (lamp, campaign.baseline))
        if lamp == campaign.baseline or base is None or not have:
            continue
        for scope in ("readings", "specimens", "models"):
            ratio = campaign.ratio(lamp, campaign.baseline, housing=housing, scope=scope)
            if ratio.result is None:
                continue
            own, n_held = _left(campaign, runs, lamp, housing, scope)
            under, _ = _left(campaign, runs, campaign.baseline, housing, scope)
            joined = at_hold(ratio.result, own, under)
            rows.append(_row(campaign, "illuminance ratio", lamp, housing, joined, found[1], scope=scope))
            rows[-1]["n_held"] = n_held
    known = {(row["lamp"], row["housing"]) for row in rows if row["measurand"] == "illuminance ratio"}
    read = ratio_table(campaign, instant="hold").drop(columns="small")
    for row in read.to_dict("records"):
        if row["point"] != "hot_spot" or (row["lamp"], row["housing"]) not in known:
            rows.append({str(name): value for name, value in row.items()})
    return pd.DataFrame(rows)


def _row(
    campaign: Campaign,
    measurand: str,
    lamp: str,
    housing: str,
    result: Measured,
    run: WarmUpRun,
    *,
    scope: str = "readings",
) -> dict[str, object]:
    """Return one row of the results table."""
    settings = campaign.bench.settings
    ratio = measurand == "illuminance ratio"
    low, high = result.interval(settings.coverage)
    half = (high - low) / 2.0
    at = (lamp, housing, "hot_spot", "initial")
    counts = campaign.weights.counts.iloc[campaign.weights.names.index(at)] if ratio else None
    verdict = judge(result.value, half, alike_percent=settings.alike_percent).code if ratio else ""
    drift = "nothing" if run.drift_logged else f"drift over the record {100 * UNLOGGED_DRIFT:g} %"
    said = f"{settings.hold_minutes:g} min after switch-on; relative to {settings.initial_s:g} s"
    return {
        "lamp": lamp,
        "housing": housing,
        "measurand": measurand,
        "baseline": campaign.baseline if ratio else "",
        "point": "hot_spot",
        "instant": "hold",
        "scope": scope,
        "value": math.exp(result.value),
        "unit": "1",
        "low": math.exp(low),
        "high": math.exp(high),
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": half / result.u if result.u else math.nan,
        "dof": result.dof if result.parts else math.nan,
        "n_specimens": 1 if counts is None else int(counts["n_specimens"]),
        "n_held": 1,
        "n_mountings": 1 if counts is None else int(counts["n_mountings"]),
        "n_readings": len(run.record) if counts is None else int(counts["n_readings"]),
        "n_days": 1 if counts is None else int(counts["n_days"]),
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": said + ("" if result.parts else "; conservative"),
        "corrections": ", ".join(campaign.corrections) if ratio else "none",
        "assumed": "; ".join([*(a.name for a in campaign.assumed if ratio), drift]),
        "verdict": verdict,
    }
