"""How long a report is: what the readings are too few for is not printed and stands in one table at the end."""

from __future__ import annotations

from photolab.bench.campaign import Campaign


def folded(campaign: Campaign) -> bool:
    """Return whether the working stands in a fold and not on paper, as of a bench of one housing.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    bool
        False where several housings were read.
    """
    return bool(campaign.seats["housing"].nunique() < 2)


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
