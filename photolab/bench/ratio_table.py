"""One row a lamp, housing, point and scope: its ratio to the baseline at one instant."""

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign, missing_inputs
from photolab.bench.pairs import at_instant
from photolab.bench.seats import RESULT
from photolab.bench.spreads import single_pieces
from photolab.bench.verdicts import judge
from photolab.metrology.quantity import SCOPES, coverage_factor, exp_symmetric


def ratio_table(campaign: Campaign, *, instant: str = "initial") -> pd.DataFrame:
    """Return the ratios of every lamp to the baseline, from the readings of one instant.

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
    at = [campaign.joint.position(name) for name in compared]
    lamps = {name[0] for name in compared}
    unknown = {lamp for lamp in lamps if missing_inputs(campaign.bench, (lamp, campaign.baseline))}
    blocks = [_scope_block(campaign, scope, compared, unknown) for scope in SCOPES]
    counts = campaign.weights.counts.iloc[at].reset_index(drop=True)
    whole = pd.concat([pd.concat([b, counts], axis=1) for b in blocks], ignore_index=True)
    order = {name: i for i, name in enumerate(compared)}
    if instant == "hold":
        read = dict(zip(campaign.weights.names, campaign.weights.counts["n_specimens"], strict=True))
        whole["n_held"] = whole["n_specimens"]
        initial = ((lamp, housing, point, "initial") for lamp, housing, point in whole[RESULT[:3]].to_numpy())
        whole["n_specimens"] = [read.get(n, held) for n, held in zip(initial, whole["n_held"], strict=True)]
    keys = [order[tuple(k)] for k in whole[["lamp", "housing", "point", "instant"]].to_numpy()]
    whole = whole.iloc[np.argsort(keys, kind="stable")].reset_index(drop=True)
    settings = campaign.bench.settings
    usual = [a.name for a in at_instant(campaign.assumed, instant)]
    assumed = []
    for lamp, scope in zip(whole["lamp"], whole["scope"], strict=True):
        single = single_pieces(campaign.spreads, lamp, campaign.baseline) if scope == "models" else ()
        assumed.append("; ".join([*usual, *(a.name for a in single)]) or "nothing")
    return whole.assign(
        initial_s=settings.initial_s,
        hold_minutes=settings.hold_minutes,
        conditions=_conditions(campaign, instant),
        corrections=", ".join(campaign.corrections) or "none",
        assumed=assumed,
    )


def _scope_block(
    campaign: Campaign, scope: str, compared: list[tuple[str, ...]], unknown: set[str]
) -> pd.DataFrame:
    """Return the ratios to the baseline in one scope."""
    settings = campaign.bench.settings
    against = [(campaign.baseline, *name[1:]) for name in compared]
    joint = campaign.joint.in_scope(scope)
    ln_ratio, u, wide, dof = joint.differences(compared, against, coverage=settings.coverage)
    half = np.where([n[0] in unknown for n in compared], np.nan, wide)
    ends = list(zip(ln_ratio, ln_ratio - half, ln_ratio + half, strict=True))
    normal = coverage_factor(settings.coverage)
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
            "coverage_factor": np.divide(wide, u, out=np.full_like(u, normal), where=u > 0.0),
            "dof": dof,
            "verdict": [v.code for v in verdicts],
            "small": [v.small for v in verdicts],
        }
    )


def _conditions(campaign: Campaign, instant: str) -> str:
    """Return the conditions under which the ratios hold."""
    settings = campaign.bench.settings
    hold = instant == "hold"
    said = [f"{f'{settings.hold_minutes:g} min' if hold else f'{settings.initial_s:g} s'} after switch-on"]
    if "voltage" in campaign.corrections:
        said.append(f"{settings.reference_voltage_V:g} V")
    if "ambient" in campaign.corrections:
        said.append(f"{settings.reference_ambient_C:g} degC ambient")
    return ", ".join([*said, "one place of the meter head in each housing"])
