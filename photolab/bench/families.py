"""The interval of each of several lamps, as one of all pairs of lamps that were read at one place and instant."""

import math
from collections.abc import Iterable

from photolab.metrology.comparison import pairs_of
from photolab.metrology.estimates import contrasts, read_estimates
from photolab.metrology.quantity import Joint
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
