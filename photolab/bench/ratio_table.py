"""One row a lamp, housing, point and scope: its ratio to the baseline at one instant."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.campaign import Campaign, missing_inputs
from photolab.bench.pairs import SCOPE_KINDS, at_instant
from photolab.bench.seats import RESULT
from photolab.bench.spreads import single_pieces
from photolab.bench.verdicts import judge
from photolab.metrology.quantity import coverage_factor, exp_symmetric


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
    names = campaign.weights.names
    place = {name: i for i, name in enumerate(names)}
    compared = campaign.compared(instant)
    at = np.array([place[n] for n in compared], dtype=int)
    against = np.array([place[(campaign.baseline, *n[1:])] for n in compared], dtype=int)
    rows = np.arange(len(compared))
    contrast = np.zeros((len(compared), len(names)))
    contrast[rows, at], contrast[rows, against] = 1.0, -1.0
    blocks = [_scope_block(campaign, scope, compared, contrast) for scope in SCOPE_KINDS]
    counts = campaign.weights.counts.iloc[at].reset_index(drop=True)
    whole = pd.concat([pd.concat([b, counts], axis=1) for b in blocks], ignore_index=True)
    order = {name: i for i, name in enumerate(compared)}
    if instant == "hold":
        read = dict(zip(names, campaign.weights.counts["n_specimens"], strict=True))
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
    campaign: Campaign, scope: str, compared: list[tuple[str, ...]], contrast: NDArray[np.float64]
) -> pd.DataFrame:
    """Return the ratios to the baseline in one scope."""
    joint, settings = campaign.scopes[scope], campaign.bench.settings
    ln_ratio = contrast @ joint.values
    u = np.sqrt(np.einsum("ij,ij->i", contrast @ joint.covariance, contrast))
    dof = np.atleast_1d(np.asarray(joint.dof(contrast), dtype=float)) if len(compared) else np.empty(0)
    k = np.array([coverage_factor(settings.coverage, float(v)) for v in dof])
    missing = np.array(
        [bool(missing_inputs(campaign.bench, (n[0], campaign.baseline))) for n in compared], dtype=bool
    )
    half = np.where(missing, np.nan, k * u)
    verdicts = [
        judge(d, h, alike_percent=settings.alike_percent) for d, h in zip(ln_ratio, half, strict=True)
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
            "value": [exp_symmetric(d) for d in ln_ratio],
            "unit": "1",
            "low": [exp_symmetric(d - h) for d, h in zip(ln_ratio, half, strict=True)],
            "high": [exp_symmetric(d + h) for d, h in zip(ln_ratio, half, strict=True)],
            "ln_expanded_uncertainty": half,
            "coverage": settings.coverage,
            "coverage_factor": k,
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
