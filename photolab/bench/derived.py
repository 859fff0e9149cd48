"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Hashable
from dataclasses import dataclass

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.electrical import measured_power
from photolab.bench.verdicts import Verdict, judge


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
    weights: dict[Hashable, float] = {}
    for name, housing, sign in (
        (lamp, first, 1.0),
        (base, first, -1.0),
        (lamp, second, -1.0),
        (base, second, 1.0),
    ):
        weights[campaign.name(name, housing=housing)] = sign
    result = campaign.scopes[scope].contrast(weights)
    half = result.expanded_uncertainty
    return HousingDifference(
        lamp=lamp,
        baseline=base,
        first=first,
        second=second,
        value=math.exp(result.value),
        low=math.exp(result.value - half),
        high=math.exp(result.value + half),
        coverage=result.coverage,
        dof=result.dof,
        verdict=judge(result.value, half, alike_percent=campaign.bench.settings.alike_percent),
    )


def light_per_watt(campaign: Campaign, ratios: pd.DataFrame) -> pd.DataFrame:
    """Return light per watt against the baseline, as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    ratios : DataFrame
        Rows "illuminance ratio" of the results table, at the initial and the hold time.

    Returns
    -------
    DataFrame
        measurand "illuminance per watt ratio": the ratio over the ratio of watts at the same instant. One power
        meter reads both lamps; what it shares is not known, so both its errors are counted.
    """
    power = {(row["lamp"], row["instant"]): row for row in measured_power(campaign.bench).to_dict("records")}
    rows = []
    for ratio in ratios.to_dict("records"):
        own, base = (power.get((name, ratio["instant"])) for name in (ratio["lamp"], ratio["baseline"]))
        if ratio["measurand"] != "illuminance ratio" or own is None or base is None:
            continue
        value = float(ratio["value"]) * float(base["value"]) / float(own["value"])
        half = math.sqrt(
            float(ratio["ln_expanded_uncertainty"]) ** 2
            + float(own["ln_expanded_uncertainty"]) ** 2
            + float(base["ln_expanded_uncertainty"]) ** 2
        )
        verdict = judge(math.log(value), half, alike_percent=campaign.bench.settings.alike_percent)
        rows.append(
            {
                **{str(k): v for k, v in ratio.items()},
                "measurand": "illuminance per watt ratio",
                "value": value,
                "low": value * math.exp(-half),
                "high": value * math.exp(half),
                "ln_expanded_uncertainty": half,
                "verdict": verdict.code,
                "assumed": "; ".join(
                    dict.fromkeys([str(ratio["assumed"]), str(own["assumed"]), str(base["assumed"])])
                ).replace("; nothing", ""),
            }
        )
    return pd.DataFrame(rows)
