"""One row a lamp, housing, point and scope: its ratio to the baseline at one instant."""

from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign, without_technology
from photolab.bench.pairs import at_instant
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
    settings, scopes = campaign.bench.settings, tuple(SCOPES)
    against = [(campaign.baseline, *name[1:]) for name in compared]
    told = campaign.joint.differences(compared, against, scopes=scopes, coverage=settings.coverage)
    ln_ratio, u, wide, dof = (part.ravel() for part in told)
    named = [name for name in compared for _ in scopes]
    unknown = without_technology(campaign.bench)
    half = np.where([bool(unknown & {name[0], campaign.baseline}) for name in named], np.nan, wide)
    normal = np.full_like(u, coverage_factor(settings.coverage))
    known = list(zip(ln_ratio.tolist(), half.tolist(), strict=True))
    verdicts = [judge(d, h, alike_percent=settings.alike_percent) for d, h in known]
    at = [campaign.weights.places[name] for name in compared]
    counts = campaign.weights.counts.iloc[np.repeat(at, len(scopes))]
    table: dict[str, Any] = {
        "lamp": [n[0] for n in named],
        "housing": [n[1] for n in named],
        "measurand": "illuminance ratio",
        "baseline": campaign.baseline,
        "point": [n[2] for n in named],
        "instant": instant,
        "scope": scopes * len(compared),
        "value": [exp_symmetric(d) for d, _ in known],
        "unit": "1",
        "low": [exp_symmetric(d - h) for d, h in known],
        "high": [exp_symmetric(d + h) for d, h in known],
        "ln_expanded_uncertainty": half,
        "coverage": settings.coverage,
        "coverage_factor": np.divide(wide, u, out=normal, where=u > 0.0),
        "dof": dof,
        "verdict": [v.code for v in verdicts],
        "small": [v.small for v in verdicts],
        **{str(column): counts[column].to_numpy() for column in counts},
    }
    if instant == "hold":
        first = [campaign.weights.places.get((*name[:3], "initial")) for name in named]
        read = campaign.weights.counts["n_specimens"]
        held = table["n_held"] = table["n_specimens"]
        table["n_specimens"] = [h if k is None else read.iloc[k] for k, h in zip(first, held, strict=True)]
    usual = [a.name for a in at_instant(campaign.assumed, instant)]
    assumed = []
    for lamp, scope in zip(table["lamp"], table["scope"], strict=True):
        single = single_pieces(campaign.spreads, lamp, campaign.baseline) if scope == "models" else ()
        assumed.append("; ".join([*usual, *(a.name for a in single)]) or "nothing")
    table |= {
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "conditions": _conditions(campaign, instant),
        "corrections": ", ".join(campaign.corrections) or "none",
        "assumed": assumed,
    }
    return pd.DataFrame(table, index=range(len(named)))


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
