"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.electrical import lamp_power
from photolab.bench.rows import result_row
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import Measured, from_ln


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
    for ratio in ratios.to_dict("records"):
        if ratio["measurand"] != "illuminance ratio":
            continue
        place = tuple(str(ratio[k]) for k in ("housing", "point", "instant"))
        names = [(str(ratio[k]), *place) for k in ("lamp", "baseline")]
        own, base = (power(name[0], name[3]) for name in names)
        if own is None or base is None:
            continue
        light = [campaign[lamp, housing, instant, point] for lamp, housing, point, instant in names]
        ln_light = (light[0] - light[1]).in_scope(str(ratio["scope"]))
        bounds = campaign.held.widening(*names) if place[2] == "hold" else 0.0
        missing = math.isnan(ratio["ln_expanded_uncertainty"])
        result = ln_light + np.log(base.watts) - np.log(own.watts)
        if (
            missing or bounds
        ):  # no interval; or bounds, which are no distribution: the intervals are multiplied
            result = _plain(result, math.nan if missing else bounds)
        row = result_row(bench, from_ln(result), in_ln=True)
        half = row["ln_expanded_uncertainty"]
        verdict = judge(result.value, half, alike_percent=bench.settings.alike_percent)
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
                "small": verdict.small,
                "assumed": "; ".join(assumed) or "nothing",
            }
        )
    return pd.DataFrame(rows)


def _plain(result: Measured, more: float) -> Measured:
    """Return a result in ln by its interval alone, wider by so much on either side."""

    def ends(coverage: float) -> tuple[float, float]:
        low, high = result.interval(coverage)
        return low - more, high + more

    return Measured(result.value, linear=False, ends=ends)
