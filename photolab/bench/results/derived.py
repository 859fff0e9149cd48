"""Results made of several ratios: a difference between housings, light per watt. Never one score."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from photolab.bench.inputs.electrical import lamp_power
from photolab.bench.results.campaign import Campaign, without_technology
from photolab.bench.results.pairs import JudgedRatio
from photolab.bench.terms.verdicts import judged_cells
from photolab.metrology.quantity import SCOPES, Joint, Measured


@dataclass(frozen=True, eq=False, kw_only=True)
class Gain(JudgedRatio):
    """How much more light one lamp gives than another in one housing.

    Attributes
    ----------
    lamp, baseline, housing, scope, instant : str
        Which, which inputs count, and when: "initial" or "hold".
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
    instant: str
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
    instant: str = "initial",
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
    instant : {"initial", "hold"}
        When; the family is that of this instant.

    Returns
    -------
    Gain
        With the inputs of that scope, and as one of all pairs with the half-width that the family has for it; without
        an interval where a technology is missing.
    """
    name, settings = campaign.name(lamp, housing=housing), campaign.bench.settings
    family = campaign.judged(campaign.name(baseline, housing=name[1], instant=instant), scope)
    half, alike = family[lamp]["ln_expanded_uncertainty"], settings.alike_percent
    among = judged_cells(ln_ratio.value, half, alike_percent=alike)
    return Gain(
        lamp=lamp,
        baseline=baseline,
        housing=name[1],
        scope=scope,
        instant=instant,
        specimens=int(campaign.weights.counts["n_specimens"].iloc[campaign.weights.names.index(name)]),
        pairs=math.comb(len(family) + 1, 2),
        family_low=float(among["low"]),
        family_high=float(among["high"]),
        family_verdict=str(among["verdict"]),
        ln_ratio=ln_ratio.in_scope(scope),
        coverage=settings.coverage,
        alike_percent=alike,
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
    cells = {str(column): found[column].tolist() for column in found}
    where = list(zip(*(cells[name] for name in ("housing", "point", "instant")), strict=True))
    names = ([(x, *at) for x, at in zip(cells[lamp], where, strict=True)] for lamp in ("lamp", "baseline"))
    pairs = list(zip(*names, strict=True))
    named = dict.fromkeys(name for pair in pairs for name in pair)
    read = {key: lamp_power(campaign.bench, *key) for key in dict.fromkeys((n[0], n[3]) for n in named)}
    powers = {n: one for n in named if (one := read[n[0], n[3]]) is not None}
    told = [k for k, pair in enumerate(pairs) if all(name in powers for name in pair)]
    if not told:
        return pd.DataFrame()
    light = campaign.at(pairs[0][0][3]).among(powers)
    joint = _per_watt(light, [one.watts for one in powers.values()])
    settings, scopes = campaign.bench.settings, tuple(SCOPES)
    place = {pair: k for k, pair in enumerate(dict.fromkeys(pairs[k] for k in told))}
    own, base = zip(*place, strict=True)
    every = joint.differences(own, base, scopes=scopes, coverage=settings.coverage)
    bases = dict.fromkeys(base) if families else ()
    among = {(at, scope): campaign.judged_family(joint, at, scope) for at in bases for scope in scopes}
    rows = []
    for k in told:
        ratio = {column: values[k] for column, values in cells.items()}
        pair, scope = pairs[k], str(ratio["scope"])
        ln_ratio, u, wide, dof = (float(x[place[pair], scopes.index(scope)]) for x in every)
        # bounds are no distribution: the intervals are multiplied
        bounds = campaign.widening(*pair)
        half = math.nan if math.isnan(ratio["ln_expanded_uncertainty"]) else wide + bounds
        known = u > 0.0 and half == wide
        words = "; ".join((str(ratio["assumed"]), *(powers[n].assumed for n in pair))).split("; ")
        family = among[pair[1], scope][pair[0][0]] if families else {}
        rows.append(
            ratio
            | judged_cells(ln_ratio, half, alike_percent=settings.alike_percent)
            | {
                "measurand": "illuminance per watt ratio",
                "coverage_factor": half / u if known else math.nan,
                "dof": dof if known else math.nan,
                "assumed": "; ".join(w for w in dict.fromkeys(words) if w != "nothing") or "nothing",
                **{f"family_{name}": family[name] for name in ("low", "high", "verdict") if families},
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
