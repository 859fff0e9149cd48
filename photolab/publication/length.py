"""How long a report is: what the readings are too few for is not printed and stands in one table at the end."""

from __future__ import annotations

import re

from photolab.bench.campaign import Campaign

_WORKING = re.compile(
    "The law|A second way|By hand|The readings|The days|How strongly|Two rates|What the interval|From which|Beyond|"
    "What would reduce|What varies|What goes in|Where the time|Ranks|From the display|How far that|The method in short|"
    "What the dark|What it would be|What blurs|Light, temperature|A run order|Does it settle|How long to hold"
)


def folded(campaign: Campaign) -> re.Pattern[str] | None:
    """Return the headings of the parts that stand in a fold and not on paper: the working of a bench of one housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    re.Pattern or None
        None where several housings were read.
    """
    return _WORKING if campaign.seats["housing"].nunique() < 2 else None


def left_out(campaign: Campaign) -> dict[str, tuple[str, str]]:
    """Return the notebooks that say nothing of this bench, although they run on it.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    dict
        Number of the notebook to what is not said and what would bring it; what another table names already is blank.
    """
    seats, bench = campaign.seats, campaign.bench
    seated = seats[["lamp", "specimen", "housing", "point", "instant"]].value_counts()
    lamps = [
        len({n[0] for n in campaign.compared() if n[1] == place})
        for place in {n[1] for n in campaign.compared()}
    ]
    colour = bench.spectra or any(
        {"mismatch_index_percent", "spectral_factor"} & {*meter.declared} for meter in bench.meters.values()
    )
    found = {}
    if seated.max() < 2:
        found["02"] = ("", "")
        found["12"] = ("what the next protocol should change", "seat lamps again; every scatter is assumed")
    if max(lamps, default=0) < 2:
        found["11"] = ("which lamps are told apart from one another", "read two lamps beside the baseline")
    if not colour:
        found["05"] = ("", "")
    return found
