"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign, missing_inputs
from photolab.bench.electrical import lamp_power
from photolab.bench.rows import result_row
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import Input, Measured, exp_symmetric, from_ln, measured


@dataclass(frozen=True, eq=False, kw_only=True)
class JudgedRatio:
    """A ratio with its interval and its verdict.

    Attributes
    ----------
    ln_ratio : Measured
        ln of the ratio, with the inputs that count. [1]
    coverage : float
        Of the interval. [1]
    alike_percent : float
        Margin within which the two count as alike. [%]
    missing : tuple of str
        Codes of the inputs without which there is no interval.
    """

    ln_ratio: Measured
    coverage: float
    alike_percent: float
    missing: tuple[str, ...] = ()

    @property
    def ln_expanded_uncertainty(self) -> float:
        """Half-width of the interval in ln; NaN where an input is missing [1]."""
        return math.nan if self.missing else self.ln_ratio.half_width(self.coverage)

    @property
    def ratio(self) -> float:
        """The estimate [1]."""
        return exp_symmetric(self.ln_ratio.value)

    @property
    def low(self) -> float:
        """Lower end of the interval [1]."""
        return exp_symmetric(self.ln_ratio.value - self.ln_expanded_uncertainty)

    @property
    def high(self) -> float:
        """Upper end of the interval [1]."""
        return exp_symmetric(self.ln_ratio.value + self.ln_expanded_uncertainty)

    @property
    def verdict(self) -> str:
        """Code of the verdict."""
        return self._judged.code

    @property
    def small(self) -> bool:
        """Clear, but within the margin."""
        return self._judged.small

    @property
    def _judged(self) -> Verdict:
        return judge(self.ln_ratio.value, self.ln_expanded_uncertainty, alike_percent=self.alike_percent)


@dataclass(frozen=True, eq=False, kw_only=True)
class Gain(JudgedRatio):
    """How much more light one lamp gives than another in one housing.

    Attributes
    ----------
    lamp, baseline, housing, scope : str
        Which, and which inputs count.
    specimens : int
        Of the lamp in that housing. [1]
    """

    lamp: str
    baseline: str
    housing: str
    scope: str
    specimens: int


@dataclass(frozen=True, eq=False, kw_only=True)
class HousingDifference(JudgedRatio):
    """How much more of a lamp's gain one housing shows than another.

    Attributes
    ----------
    first, second : Gain
        The gains in the two housings.
    """

    first: Gain
    second: Gain


def judge_gain(
    campaign: Campaign,
    ln_ratio: Measured,
    lamp: str,
    baseline: str,
    *,
    housing: str = "",
    scope: str = "specimens",
) -> Gain:
    """Return a difference of ln illuminances as a gain, judged with the coverage and margin of its bench.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    ln_ratio : Measured
        ``campaign[lamp, housing] - campaign[baseline, housing]``. [1]
    lamp, baseline, housing : str
        What it is of.
    scope : {"specimens", "readings", "models"}
        Which inputs count.

    Returns
    -------
    Gain
        With the inputs of that scope; without an interval where a technology is missing.
    """
    name, settings = campaign.name(lamp, housing=housing), campaign.bench.settings
    return Gain(
        lamp=lamp,
        baseline=baseline,
        housing=name[1],
        scope=scope,
        specimens=int(campaign.weights.counts["n_specimens"].iloc[campaign.weights.names.index(name)]),
        ln_ratio=ln_ratio.in_scope(scope),
        coverage=settings.coverage,
        alike_percent=settings.alike_percent,
        missing=missing_inputs(campaign.bench, (lamp, baseline)),
    )


def housing_difference(first: Gain, second: Gain) -> HousingDifference:
    """Return the ratio of a lamp's gains in two housings with its own interval.

    Parameters
    ----------
    first, second : Gain
        Of one lamp in two housings, in one scope; what both share (colour, supply, specimen) cancels.

    Returns
    -------
    HousingDifference
        Gain in the first over gain in the second.
    """
    return HousingDifference(
        first=first,
        second=second,
        ln_ratio=first.ln_ratio - second.ln_ratio,
        coverage=first.coverage,
        alike_percent=first.alike_percent,
        missing=first.missing,
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
    for ratio in ratios.to_dict("records"):
        names = (str(ratio["lamp"]), str(ratio["baseline"]))
        own, base = (lamp_power(bench, name, str(ratio["instant"])) for name in names)
        if ratio["measurand"] != "illuminance ratio" or own is None or base is None:
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
