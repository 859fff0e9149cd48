"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign, without_technology
from photolab.bench.electrical import lamp_power
from photolab.bench.rows import result_row
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import Measured, exp_symmetric, from_ln


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
    pairs : int
        All pairs of lamps compared in that housing. [1]
    family_verdict : str
        The verdict as one of all those pairs; the verdict by itself against another lamp than the campaign's baseline.
    """

    lamp: str
    baseline: str
    housing: str
    scope: str
    specimens: int
    pairs: int
    family_verdict: str


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
    gain = Gain(
        lamp=lamp,
        baseline=baseline,
        housing=name[1],
        scope=scope,
        specimens=int(campaign.weights.counts["n_specimens"].iloc[campaign.weights.names.index(name)]),
        pairs=1,
        family_verdict="",
        ln_ratio=ln_ratio.in_scope(scope),
        coverage=settings.coverage,
        alike_percent=settings.alike_percent,
        missing=("technology",) if without_technology(campaign.bench) & {lamp, baseline} else (),
    )
    if baseline != campaign.baseline:
        return replace(gain, family_verdict=gain.verdict)
    family = campaign.family(name[1], scope=scope)
    verdict = str(family.loc[lamp, "verdict"])
    return replace(gain, pairs=math.comb(len(family) + 1, 2), family_verdict=verdict)


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
