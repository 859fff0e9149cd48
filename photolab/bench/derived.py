"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import sparse

from photolab.bench.campaign import Campaign, without_technology
from photolab.bench.electrical import lamp_power
from photolab.bench.families import half_widths, judged
from photolab.bench.verdicts import Verdict, judge
from photolab.metrology.quantity import SCOPES, Joint, Measured, exp_symmetric


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
    family_low, family_high : float
        Its interval as one of all those pairs. [1]
    family_verdict : str
        The verdict as one of all those pairs.
    """

    lamp: str
    baseline: str
    housing: str
    scope: str
    specimens: int
    pairs: int
    family_low: float
    family_high: float
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
    family = campaign.family(name[1], scope=scope, against=baseline)
    among = family.loc[lamp].to_dict()
    return Gain(
        lamp=lamp,
        baseline=baseline,
        housing=name[1],
        scope=scope,
        specimens=int(campaign.weights.counts["n_specimens"].iloc[campaign.weights.names.index(name)]),
        pairs=math.comb(len(family) + 1, 2),
        family_low=float(among["low"]),
        family_high=float(among["high"]),
        family_verdict=str(among["verdict"]),
        ln_ratio=ln_ratio.in_scope(scope),
        coverage=settings.coverage,
        alike_percent=settings.alike_percent,
        missing=("technology",) if without_technology(campaign.bench) & {lamp, baseline} else (),
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


def light_per_watt(campaign: Campaign, ratios: pd.DataFrame, *, families: bool = True) -> pd.DataFrame:
    """Return light per watt against the baseline, as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    ratios : DataFrame
        Rows "illuminance ratio" of the results table, of one instant.
    families : bool, default True
        Take verdicts among all pairs too, which cost more than the rest.

    Returns
    -------
    DataFrame
        measurand "illuminance per watt ratio": the ratio over the ratio of watts at the same instant, alone and as one
        of all pairs of these rows in its housing whose watts are known. One power meter reads both lamps; what it
        shares is not known, so both its errors are counted.
    """
    found = ratios[ratios["measurand"] == "illuminance ratio"]
    columns = (found[[lamp, "housing", "point", "instant"]] for lamp in ("lamp", "baseline"))
    pairs = list(zip(*(table.itertuples(index=False, name=None) for table in columns), strict=True))
    named = dict.fromkeys(name for pair in pairs for name in pair)
    read = {key: lamp_power(campaign.bench, *key) for key in dict.fromkeys((n[0], n[3]) for n in named)}
    powers = {n: one for n in named if (one := read[n[0], n[3]]) is not None}
    told = [k for k, pair in enumerate(pairs) if all(name in powers for name in pair)]
    if not told:
        return pd.DataFrame()
    light = campaign.at(pairs[0][0][3]).among(powers)
    joint = _per_watt(light, [one.watts for one in powers.values()])
    settings, scopes = campaign.bench.settings, tuple(SCOPES)
    own, base = zip(*(pairs[k] for k in told), strict=True)
    every = joint.differences(own, base, scopes=scopes, coverage=settings.coverage)
    places = dict.fromkeys(name[1:] for name in own)
    among = {
        (at, scope): _family(campaign, joint, at, scope) for at in places for scope in scopes if families
    }
    rows = []
    for at, (k, ratio) in enumerate(zip(told, found.iloc[told].to_dict("records"), strict=True)):
        scope = scopes.index(str(ratio["scope"]))
        ln_ratio, u, wide, dof = (float(part[at, scope]) for part in every)
        # bounds are no distribution: the intervals are multiplied
        bounds = campaign.held.widening(*pairs[k]) if own[at][3] == "hold" else 0.0
        half = math.nan if math.isnan(ratio["ln_expanded_uncertainty"]) else wide + bounds
        known = u > 0.0 and half == wide
        verdict = judge(ln_ratio, half, alike_percent=settings.alike_percent)
        family = among[own[at][1:], scopes[scope]].loc[own[at][0]] if families else {}
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
                **{f"family_{name}": family[name] for name in ("low", "high", "verdict") if families},
            }
        )
    return pd.DataFrame(rows)


def _family(campaign: Campaign, joint: Joint, place: tuple[str, ...], scope: str) -> pd.DataFrame:
    """Return the verdicts on light per watt among all pairs of lamps of one housing, point and instant."""
    settings, base = campaign.bench.settings, (campaign.baseline, *place)
    names = [name for name in joint.names if name[1:] == place]
    here = joint.among(names).in_scope(scope)
    here = replace(here, names=[name[0] for name in names])
    half = half_widths(here, base[0], coverage=settings.coverage, silent=without_technology(campaign.bench))
    if place[-1] == "hold":
        half = {lamp: wide + campaign.held.widening((lamp, *place), base) for lamp, wide in half.items()}
    apart = here.values - here.values[here.position(base[0])]
    values = {lamp: x for lamp, x in zip(here.names, apart.tolist(), strict=True) if lamp != base[0]}
    return judged(values, half, alike_percent=settings.alike_percent)


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
