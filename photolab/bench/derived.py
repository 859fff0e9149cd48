"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.electrical import lamp_power
from photolab.bench.rows import result_row
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import Input, Measured, from_ln, measured


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
        Rows "illuminance ratio" of the results table, at the initial and the hold time.

    Returns
    -------
    DataFrame
        measurand "illuminance per watt ratio": the ratio over the ratio of watts at the same instant. One power
        meter reads both lamps; what it shares is not known, so both its errors are counted.
    """
    bench = campaign.bench
    rows = []
    power = cache(partial(lamp_power, bench))
    for ratio in ratios[ratios["measurand"] == "illuminance ratio"].to_dict("records"):
        own, base = (power(str(ratio[which]), str(ratio["instant"])) for which in ("lamp", "baseline"))
        if own is None or base is None:
            continue
        result = from_ln(_ln_per_watt(ratio, np.log(base.watts) - np.log(own.watts)))
        row = result_row(bench, result, in_ln=True)
        half = row["ln_expanded_uncertainty"]
        verdict = judge(math.log(result.value), half, alike_percent=bench.settings.alike_percent)
        words = "; ".join((str(ratio["assumed"]), own.assumed, base.assumed)).split("; ")
        assumed = [word for word in dict.fromkeys(words) if word != "nothing"]
        rows.append(
            {str(k): v for k, v in ratio.items()}
            | {
                k: row[k]
                for k in ("value", "low", "high", "ln_expanded_uncertainty", "coverage_factor", "dof")
            }
            | {
                "measurand": "illuminance per watt ratio",
                "verdict": verdict.code,
                "assumed": "; ".join(assumed) or "nothing",
            }
        )
    return pd.DataFrame(rows)


def _ln_per_watt(ratio: Mapping[Hashable, Any], ln_watts: Measured) -> Measured:
    """Return ln of light per watt, from a row of the results table and ln of the watts it is divided by."""
    value, half = math.log(ratio["value"]), float(ratio["ln_expanded_uncertainty"])
    u = half / float(ratio["coverage_factor"])
    if math.isfinite(u):
        key = tuple(ratio[k] for k in ("lamp", "baseline", "housing", "point", "instant", "scope"))
        light = measured(value, Input(("illuminance ratio", *key), u, dof=float(ratio["dof"])))
        return light + ln_watts
    # bounds have an interval and no u: the two intervals are multiplied

    def ends(coverage: float) -> tuple[float, float]:
        apart = ln_watts.half_width(coverage)
        return math.log(ratio["low"]) + ln_watts.value - apart, math.log(
            ratio["high"]
        ) + ln_watts.value + apart

    return Measured(value + ln_watts.value, linear=False, ends=ends)
