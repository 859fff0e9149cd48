"""One row a lamp, housing, point and scope: its ratio to the baseline at one instant; and what is left after heat."""

import math

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign, missing_inputs
from photolab.bench.heat import RECORD_DRIFT, WarmUpRun, ln_remaining, remaining_of, warm_up_runs
from photolab.bench.verdicts import judge
from photolab.metrology.quantity import SCOPES, Joint, coverage_factor, exp_symmetric
from photolab.thermal.warm_up_result import Remaining


def ratio_table(campaign: Campaign, *, instant: str = "initial") -> pd.DataFrame:
    """Return the ratios of every lamp to the baseline at one instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    instant : str, default "initial"
        "initial" or "hold".

    Returns
    -------
    DataFrame
        lamp, housing, measurand, baseline, point, instant, scope, value, unit, low, high,
        ln_expanded_uncertainty, coverage,
        coverage_factor, dof, verdict, small, the counts, initial_s, hold_minutes, conditions, corrections, assumed.
    """
    compared = campaign.compared(instant)
    lamps = {name[0] for name in compared}
    unknown = {lamp for lamp in lamps if missing_inputs(campaign.bench, (lamp, campaign.baseline))}
    joint, known = (
        campaign.at(instant),
        campaign.held.counts if instant == "hold" else campaign.weights.counts,
    )
    counts = known.iloc[[joint.position(name) for name in compared]].reset_index(drop=True)
    blocks = [_scope_block(campaign, joint.in_scope(scope), scope, compared, unknown) for scope in SCOPES]
    whole = pd.concat([pd.concat([b, counts], axis=1) for b in blocks], ignore_index=True)
    order = {name: i for i, name in enumerate(compared)}
    keys = [order[tuple(k)] for k in whole[["lamp", "housing", "point", "instant"]].to_numpy()]
    whole = whole.iloc[np.argsort(keys, kind="stable")].reset_index(drop=True)
    settings = campaign.bench.settings
    return whole.assign(
        initial_s=settings.initial_s,
        hold_minutes=settings.hold_minutes,
        corrections=", ".join(campaign.corrections) or "none",
    )


def with_families(campaign: Campaign, table: pd.DataFrame) -> pd.DataFrame:
    """Return ratios with the interval and verdict that each has as one of all pairs of its housing and instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    table : DataFrame
        Its rows, from `ratio_table` or `heat_rows`.

    Returns
    -------
    DataFrame
        The same with family_low, family_high, family_verdict; blank for what is no ratio of lamps.
    """
    names = ("low", "high", "verdict")
    none = dict.fromkeys(names, math.nan) | {"verdict": ""}
    keys = table[["measurand", "lamp", "housing", "point", "instant", "scope"]].itertuples(
        index=False, name=None
    )
    told = [
        campaign.family(housing, scope=scope, point=point, instant=instant).loc[lamp]
        if measurand == "illuminance ratio"
        else none
        for measurand, lamp, housing, point, instant, scope in keys
    ]
    return table.assign(**{f"family_{name}": [row[name] for row in told] for name in names})


def heat_rows(campaign: Campaign) -> pd.DataFrame:
    """Return remaining light and ratios at the hold time as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    DataFrame
        One row a lamp and housing with a record that supports it, then `ratio_table` at the hold time.
    """
    runs = warm_up_runs(campaign.bench)
    places = dict.fromkeys((run.lamp, run.housing) for run in runs)
    found = [remaining_of(runs, *place) for place in places]
    rows = pd.DataFrame([_remaining_row(campaign, *one) for one in found if one is not None])
    parts = [part for part in (rows, ratio_table(campaign, instant="hold")) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else rows


def _remaining_row(campaign: Campaign, remaining: Remaining, run: WarmUpRun) -> dict[str, object]:
    """Return what is left of the piece of one record as a row of the results table."""
    settings, result = campaign.bench.settings, ln_remaining(remaining, run)
    low, high = result.interval(settings.coverage)
    half = (high - low) / 2.0
    said = f"{settings.hold_minutes:g} min after switch-on; relative to {settings.initial_s:g} s"
    return {
        "lamp": run.lamp,
        "housing": run.housing,
        "measurand": "remaining light",
        "baseline": "",
        "point": "hot_spot",
        "instant": "hold",
        "scope": "readings",
        "value": math.exp(result.value),
        "unit": "1",
        "low": math.exp(low),
        "high": math.exp(high),
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": half / result.u if result.u else math.nan,
        "dof": result.dof if result.parts else math.nan,
        "n_specimens": 1,
        "n_held": 1,
        "n_mountings": 1,
        "n_readings": len(run.record),
        "n_days": 1,
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": said + ("" if result.parts else "; conservative"),
        "corrections": "none",
        "assumed": "nothing" if run.drift_logged else RECORD_DRIFT.name,
        "verdict": "",
    }


def _scope_block(
    campaign: Campaign, joint: Joint, scope: str, compared: list[tuple[str, ...]], unknown: set[str]
) -> pd.DataFrame:
    """Return the ratios to the baseline in one scope."""
    settings = campaign.bench.settings
    against = [(campaign.baseline, *name[1:]) for name in compared]
    ln_ratio, u, wide, dof = joint.differences(compared, against, coverage=settings.coverage)
    hold = bool(compared) and compared[0][3] == "hold"
    pairs = list(zip(compared, against, strict=True))
    more = np.array([campaign.held.widening(*pair) if hold else 0.0 for pair in pairs])
    half = np.where([n[0] in unknown for n in compared], np.nan, wide + more)
    ends = list(zip(ln_ratio, ln_ratio - half, ln_ratio + half, strict=True))
    factor = np.full_like(u, coverage_factor(settings.coverage))
    np.divide(wide, u, out=factor, where=u > 0.0)
    verdicts = [
        judge(d, h, alike_percent=settings.alike_percent) for (d, *_), h in zip(ends, half, strict=True)
    ]
    return pd.DataFrame(
        {
            "lamp": [n[0] for n in compared],
            "housing": [n[1] for n in compared],
            "measurand": "illuminance ratio",
            "baseline": campaign.baseline,
            "point": [n[2] for n in compared],
            "instant": [n[3] for n in compared],
            "scope": scope,
            "value": [exp_symmetric(d) for d, _, _ in ends],
            "unit": "1",
            "low": [exp_symmetric(low) for _, low, _ in ends],
            "high": [exp_symmetric(high) for _, _, high in ends],
            "ln_expanded_uncertainty": half,
            "coverage": settings.coverage,
            "coverage_factor": np.where(more > 0.0, np.nan, factor),
            "dof": np.where(more > 0.0, np.nan, dof),
            "verdict": [v.code for v in verdicts],
            "small": [v.small for v in verdicts],
            "conditions": [
                _conditions(campaign, n[3], bounds=x > 0.0) for n, x in zip(compared, more, strict=True)
            ],
            "assumed": [
                "; ".join(a.name for a in campaign.assumed_for(*pair, scope=scope)) or "nothing"
                for pair in pairs
            ],
        }
    )


def _conditions(campaign: Campaign, instant: str, *, bounds: bool) -> str:
    """Return the conditions under which a ratio holds."""
    settings = campaign.bench.settings
    hold = instant == "hold"
    said = [f"{f'{settings.hold_minutes:g} min' if hold else f'{settings.initial_s:g} s'} after switch-on"]
    if "voltage" in campaign.corrections:
        said.append(f"{settings.reference_voltage_V:g} V")
    if "ambient" in campaign.corrections:
        said.append(f"{settings.reference_ambient_C:g} degC ambient")
    said.append("one place of the meter head in each housing")
    return ", ".join(said) + ("; conservative" if bounds else "")
