"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from photolab.bench.campaign import Campaign
from photolab.bench.electrical import lamp_power
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import SCOPES, Joint, Measured, exp_symmetric


@dataclass(frozen=True)
class HousingDifference:
    """How much more of a lamp's gain one housing shows than another.

    Attributes
    ----------
    lamp, baseline, first, second : str
        Which; the first housing's ratio over the second's.
    value, low, high : float
        Ratio of ratios with its interval. [1]
    coverage, dof : float
        Of the interval. [1]
    verdict : Verdict
        On that ratio.
    """

    lamp: str
    baseline: str
    first: str
    second: str
    value: float
    low: float
    high: float
    coverage: float
    dof: float
    verdict: Verdict


def housing_difference(
    campaign: Campaign, lamp: str, first: str, second: str, *, scope: str = "specimens", baseline: str = ""
) -> HousingDifference:
    """Return the ratio of a lamp's gains in two housings with its own interval.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    lamp : str
        The lamp.
    first, second : str
        Housings.
    scope : {"specimens", "readings", "models"}
        Which inputs count; what both housings share (colour, supply, specimen) cancels through the joint covariance.
    baseline : str
        The campaign's own where blank.

    Returns
    -------
    HousingDifference
        Gain in the first over gain in the second.

    Raises
    ------
    MethodError
        If the lamp or the baseline was not read in both housings.
    """
    base = baseline or campaign.baseline
    gains = [campaign[lamp, housing] - campaign[base, housing] for housing in (first, second)]
    result = (gains[0] - gains[1]).in_scope(scope)
    settings = campaign.bench.settings
    half = result.half_width(settings.coverage)
    return HousingDifference(
        lamp=lamp,
        baseline=base,
        first=first,
        second=second,
        value=math.exp(result.value),
        low=math.exp(result.value - half),
        high=math.exp(result.value + half),
        coverage=settings.coverage,
        dof=result.dof,
        verdict=judge(result.value, half, alike_percent=settings.alike_percent),
    )


def light_per_watt(campaign: Campaign, ratios: pd.DataFrame) -> pd.DataFrame:
    """Return light per watt against the baseline, as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    ratios : DataFrame
        Rows "illuminance ratio" of the results table, of one instant.

    Returns
    -------
    DataFrame
        measurand "illuminance per watt ratio": the ratio over the ratio of watts at the same instant. One power
        meter reads both lamps; what it shares is not known, so both its errors are counted.
    """
    found = ratios[ratios["measurand"] == "illuminance ratio"]
    columns = (found[[lamp, "housing", "point", "instant"]] for lamp in ("lamp", "baseline"))
    pairs = list(zip(*(table.itertuples(index=False, name=None) for table in columns), strict=True))
    named = dict.fromkeys(name for pair in pairs for name in pair)
    powers = {n: one for n in named if (one := lamp_power(campaign.bench, n[0], n[3])) is not None}
    told = [k for k, pair in enumerate(pairs) if all(name in powers for name in pair)]
    if not told:
        return pd.DataFrame()
    light = campaign.at(pairs[0][0][3]).among(powers)
    joint = _per_watt(light, [one.watts for one in powers.values()])
    settings, scopes = campaign.bench.settings, tuple(SCOPES)
    own, base = zip(*(pairs[k] for k in told), strict=True)
    every = joint.differences(own, base, scopes=scopes, coverage=settings.coverage)
    rows = []
    for at, (k, ratio) in enumerate(zip(told, found.iloc[told].to_dict("records"), strict=True)):
        scope = scopes.index(str(ratio["scope"]))
        ln_ratio, u, wide, dof = (float(part[at, scope]) for part in every)
        # bounds are no distribution: the intervals are multiplied
        bounds = campaign.held.widening(*pairs[k]) if own[at][3] == "hold" else 0.0
        half = math.nan if math.isnan(ratio["ln_expanded_uncertainty"]) else wide + bounds
        known = u > 0.0 and half == wide
        verdict = judge(ln_ratio, half, alike_percent=settings.alike_percent)
        words = "; ".join((str(ratio["assumed"]), *(powers[n].assumed for n in pairs[k]))).split("; ")
        assumed = [word for word in dict.fromkeys(words) if word != "nothing"]
        rows.append(
            {str(column): cell for column, cell in ratio.items()}
            | {
                "measurand": "illuminance per watt ratio",
                "value": exp_symmetric(ln_ratio),
                "low": exp_symmetric(ln_ratio - half),
                "high": exp_symmetric(ln_ratio + half),
                "ln_expanded_uncertainty": half,
                "coverage_factor": half / u if known else math.nan,
                "dof": dof if known else math.nan,
                "verdict": verdict.code,
                "small": verdict.small,
                "assumed": "; ".join(assumed) or "nothing",
            }
        )
    return pd.DataFrame(rows)


def _per_watt(light: Joint, watts: Sequence[Measured]) -> Joint:
    """Return ln of light less ln of the watts beside each; no reading of power is an input of light."""
    ln_watts = [np.log(one) for one in watts]
    meters = list(dict.fromkeys(q for one in ln_watts for q in one.parts))
    moved = sparse.csr_array([[-one.parts.get(q, 0.0) for q in meters] for one in ln_watts])
    lit = sparse.csr_array(light.sensitivities)
    used = np.unique(lit.indices)
    inputs = [*light.inputs.among(used), *meters]
    values = light.values - [one.value for one in ln_watts]
    return Joint(light.names, values, inputs, sparse.hstack([lit[:, used], moved]))
