"""The verdict on each of several lamps, as one of all pairs of lamps that were read at one place and instant."""

import math
from collections.abc import Iterable, Mapping

import pandas as pd

from photolab.bench.verdicts import judge
from photolab.metrology.comparison import pairs_of
from photolab.metrology.estimates import contrasts, read_estimates
from photolab.metrology.quantity import Joint, exp_symmetric
from photolab.metrology.simultaneous import largest_t


def half_widths(
    joint: Joint, baseline: str, *, coverage: float, silent: Iterable[str] = ()
) -> dict[str, float]:
    """Return half the width of the interval that each lamp's ratio to the baseline has among all pairs.

    Parameters
    ----------
    joint : Joint
        ln of the light of every lamp, named by lamp. [1]
    baseline : str
        The lamp that the others are divided by.
    coverage : float
        Coverage probability of all pairs together. [1]
    silent : iterable of str
        Lamps without an interval; they are in no pair.

    Returns
    -------
    dict
        Half-width in ln by lamp; without the baseline, the silent, and all where there is no pair. [1]
    """
    unknown = frozenset(silent)
    known = [name for name in joint.names if name not in unknown]
    if baseline not in known or len(known) < 2:
        return {}
    estimates = read_estimates(joint.among(known), None, names=None, dof=math.inf)
    family = contrasts(estimates, *pairs_of(estimates.names, "tukey", baseline))
    count = math.comb(len(known), 2)
    critical = largest_t(estimates, family, coverage=coverage, seed=0, comparisons=count).critical
    each = zip(family.first, family.second, critical * family.standard_uncertainty, strict=True)
    return {known[a]: float(half) for a, b, half in each if known[b] == baseline}


def judged(
    ln_ratios: Mapping[str, float], halves: Mapping[str, float], *, alike_percent: float
) -> pd.DataFrame:
    """Return the intervals and verdicts of ratios.

    Parameters
    ----------
    ln_ratios : mapping
        ln of each lamp's ratio, by lamp. [1]
    halves : mapping
        Half-width of its interval in ln; where it is missing there is no answer. [1]
    alike_percent : float
        Margin within which two lamps count as alike. [%]

    Returns
    -------
    DataFrame
        low, high, verdict and small by lamp.
    """
    rows = []
    for lamp, value in ln_ratios.items():
        half = float(halves.get(lamp, math.nan))
        verdict = judge(value, half, alike_percent=alike_percent)
        rows.append((exp_symmetric(value - half), exp_symmetric(value + half), verdict.code, verdict.small))
    return pd.DataFrame(rows, columns=["low", "high", "verdict", "small"], index=list(ln_ratios))
