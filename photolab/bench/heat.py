"""Warm-up records joined to the campaign: remaining light, and the ratio at hold time.

Where no record of the lamp or of the baseline supports that ratio, it is the one of the readings taken at the hold
time in readings.csv, if there are any of both.

The ratio at hold is the initial ratio times the remaining light of the lamp over that of the baseline. The record's own
scale and mounting cancel from remaining light, so it is independent of the initial ratio; where bounds beyond
the record
give it, the intervals are multiplied in ln and called conservative.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.campaign import Campaign
from photolab.bench.model import Bench
from photolab.bench.ratio_table import ratio_table
from photolab.bench.supply_and_time import ELAPSED_U_S
from photolab.bench.verdicts import judge
from photolab.errors import MethodError
from photolab.thermal.warm_up import WarmUp, beside_stable, fit_warm_up
from photolab.thermal.warm_up_answers import Remaining

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


@dataclass(frozen=True)
class LogResult:
    """A quantity in ln with its interval.

    Attributes
    ----------
    ln_value, u, dof : float
        Estimate, standard uncertainty, degrees of freedom. [1]
    low, high : float
        Interval in ln. [1]
    conservative : bool
        True where bounds were multiplied.
    """

    ln_value: float
    u: float
    dof: float
    low: float
    high: float
    conservative: bool = False


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
    mine = [r for r in runs if r.lamp == lamp and r.housing == housing and r.remaining is not None]
    if not mine:
        return None
    best = max(mine, key=lambda r: len(r.record))
    return (best.remaining, best) if best.remaining is not None else None


def multiply(parts: list[tuple[float, LogResult]], *, coverage: float) -> LogResult:
    """Return a product of independent results in ln.

    Parameters
    ----------
    parts : list of (exponent, LogResult)
        +1 multiplies, -1 divides.
    coverage : float
        Coverage probability. [1]

    Returns
    -------
    LogResult
        Variances added with Welch-Satterthwaite; intervals added where one part has only an interval.
    """
    value = sum(sign * p.ln_value for sign, p in parts)
    if any(p.conservative for _, p in parts):
        low = sum(p.low if sign > 0 else -p.high for sign, p in parts)
        high = sum(p.high if sign > 0 else -p.low for sign, p in parts)
        return LogResult(value, math.nan, math.nan, low, high, conservative=True)
    variance = sum(p.u**2 for _, p in parts)
    spent = sum(p.u**4 / p.dof for _, p in parts if math.isfinite(p.dof))
    dof = variance**2 / spent if spent > 0 else math.inf
    half = float(stats.t.ppf(0.5 + coverage / 2.0, min(dof, 1e9))) * math.sqrt(variance)
    return LogResult(value, math.sqrt(variance), dof, value - half, value + half)


def as_log(remaining: Remaining) -> LogResult:
    """Return remaining light in ln.

    Parameters
    ----------
    remaining : Remaining
        From a record or from bounds.

    Returns
    -------
    LogResult
        The same.
    """
    low = math.log(remaining.low) if remaining.low > 0 else -math.inf
    bounds = remaining.method == "bounds"
    return LogResult(
        math.log(remaining.value),
        remaining.ln_standard_uncertainty,
        remaining.dof,
        low,
        math.log(remaining.high),
        conservative=bounds or not np.isfinite(remaining.ln_standard_uncertainty),
    )


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
        rows.append(_row(campaign, "remaining light", lamp, housing, as_log(found[0]), found[1]))
        base = remaining_of(runs, campaign.baseline, housing)
        names = campaign.weights.names
        have = all((x, housing, "hot_spot", "initial") in names for x in (lamp, campaign.baseline))
        if lamp == campaign.baseline or base is None or not have:
            continue
        for scope in ("readings", "specimens", "models"):
            ratio = campaign.ratio(lamp, campaign.baseline, housing=housing, scope=scope)
            if ratio.result is None:
                continue
            d = ratio.result
            parts = [
                (1.0, LogResult(d.value, d.standard_uncertainty, d.dof, *d.interval)),
                (1.0, as_log(found[0])),
                (-1.0, as_log(base[0])),
            ]
            joined = multiply(parts, coverage=campaign.bench.settings.coverage)
            rows.append(_row(campaign, "illuminance ratio", lamp, housing, joined, found[1], scope=scope))
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
    result: LogResult,
    run: WarmUpRun,
    *,
    scope: str = "readings",
) -> dict[str, object]:
    """Return one row of the results table."""
    settings = campaign.bench.settings
    ratio = measurand == "illuminance ratio"
    half = (result.high - result.low) / 2.0
    at = (lamp, housing, "hot_spot", "initial")
    counts = campaign.weights.counts.iloc[campaign.weights.names.index(at)] if ratio else None
    verdict = judge(result.ln_value, half, alike_percent=settings.alike_percent).code if ratio else ""
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
        "value": math.exp(result.ln_value),
        "unit": "1",
        "low": math.exp(result.low),
        "high": math.exp(result.high),
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": half / result.u if result.u and not math.isnan(result.u) else math.nan,
        "dof": result.dof,
        "n_specimens": 1 if counts is None else int(counts["n_specimens"]),
        "n_mountings": 1 if counts is None else int(counts["n_mountings"]),
        "n_readings": len(run.record) if counts is None else int(counts["n_readings"]),
        "n_days": 1 if counts is None else int(counts["n_days"]),
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": said + ("; conservative" if result.conservative else ""),
        "corrections": ", ".join(campaign.corrections) if ratio else "none",
        "assumed": "; ".join([*(a.name for a in campaign.assumed if ratio), drift]),
        "verdict": verdict,
    }
