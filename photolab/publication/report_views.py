"""What the last notebook shows: every statement that is published, what is held back, and why."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from scipy import stats

from photolab.bench.beams import evaluate_beams
from photolab.bench.campaign import Campaign
from photolab.bench.distances import evaluate_distances
from photolab.bench.heat import warm_up_runs
from photolab.bench.ratio_table import with_families
from photolab.publication import front_page, readiness, statements
from photolab.publication.display import Table, Words, say, table
from photolab.publication.figures.common import Picture
from photolab.publication.words_heat import why
from photolab.publication.words_light import law_words

__all__ = ["held_back", "lamps_picture", "overview", "results", "spreads"]


def _initial(campaign: Campaign) -> pd.DataFrame:
    """Return the rows of the results table for the initial instant, scopes side by side."""
    columns = ["lamp", "housing", "value", "low", "high", "verdict", "n_specimens", "n_mountings"]
    table_ = campaign.table
    if table_.empty:
        return pd.DataFrame(columns=[*columns, "model_low", "model_high"])
    at = table_[(table_["instant"] == "initial") & (table_["point"] == "hot_spot")]
    specimens = with_families(campaign, at[at["scope"] == "specimens"])
    specimens = specimens.assign(verdict=specimens["family_verdict"])[columns]
    models = at[at["scope"] == "models"][["lamp", "housing", "low", "high"]]
    models = models.rename(columns={"low": "model_low", "high": "model_high"})
    joined = specimens.merge(models, on=["lamp", "housing"], how="left", validate="one_to_one")
    return joined.sort_values(["housing", "lamp"], kind="stable", ignore_index=True)


def overview(campaign: Campaign) -> Words:
    """Return how much a report says and how much it holds back.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Words
        Two sentences.
    """
    rows = _initial(campaign)
    answered = int(rows["low"].notna().sum())
    counts = rows["verdict"].value_counts()
    said = [
        f"{counts[code]} {code.replace('_', ' ')}" for code in ("clear", "alike", "inside") if code in counts
    ]
    held = readiness.count(len(rows) - answered, "comparison")
    out = readiness.count(len(campaign.selection.left_out), "reading")
    given = f"{readiness.count(answered, 'statement')} on {readiness.count(rows['lamp'].nunique(), 'lamp')}"
    return say(
        f"{given} against {campaign.baseline}" + (f": {', '.join(said)}." if said else "."),
        f"Held back: {held} without an interval; {out} left out of the evaluation.",
    )


def results(campaign: Campaign) -> Table | Words:
    """Return the statements of a report as a table.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Table or Words
        One row a lamp and housing.
    """
    rows = _initial(campaign)
    if rows.empty:
        return say("Nothing yet: no two lamps were read in one housing.")
    percent = {
        name: 100.0 * (rows[name] - 1.0) for name in ("value", "low", "high", "model_low", "model_high")
    }
    shown = rows.assign(**percent, verdict=rows["verdict"].str.replace("_", " "))
    heads = {
        "housing": "housing",
        "lamp": "lamp",
        "value": f"more light than {campaign.baseline} (%)",
        "low": "low (%)",
        "high": "high (%)",
        "verdict": "verdict, all pairs counted together",
        "model_low": "for the model: low (%)",
        "model_high": "high (%)",
        "n_specimens": "specimens",
        "n_mountings": "seatings",
    }
    return table(shown, columns=list(heads), heads=heads, places=1)


def lamps_picture(campaign: Campaign) -> Picture | Words:
    """Return the figure of all lamps.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Picture or Words
        A panel a housing.
    """
    return front_page.lamps_picture(campaign) or say("No picture: no lamp has an interval yet.")


def spreads(campaign: Campaign) -> Table:
    """Return how far readings scatter, level by level.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Table
        Standard deviation in percent and its interval at the declared coverage, from the chi-squared distribution.
    """
    order = {"reading": 0, "mounting": 1, "day": 2, "specimen": 3}
    rows = campaign.components.sort_values("level", key=lambda level: level.map(order), ignore_index=True)
    sd, dof = 100.0 * rows["sd"].to_numpy(float), rows["dof"].to_numpy(float)
    known = ~rows["assumed"].to_numpy(bool) & np.isfinite(dof)
    tail = 0.5 * (1.0 - campaign.bench.settings.coverage)
    ends = {
        name: [
            x * math.sqrt(n / stats.chi2.ppf(q, n)) if ok else math.nan
            for x, n, ok in zip(sd, dof, known, strict=True)
        ]
        for name, q in (("low", 1.0 - tail), ("high", tail))
    }
    shown = pd.DataFrame(
        {
            "what": rows["level"],
            "sd": sd,
            **ends,
            "known": ["own readings" if ok else "assumed" for ok in known],
        }
    )
    heads = {
        "what": "what varies",
        "sd": "SD (%)",
        "low": "from (%)",
        "high": "to (%)",
        "known": "known from",
    }
    return table(shown, heads=heads, places=2)


def held_back(campaign: Campaign) -> Words:
    """Return what a report leaves out, each with its reason.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Words
        A list.
    """
    rows = _initial(campaign)
    items = []
    for lamp, housing in rows.loc[rows["low"].isna(), ["lamp", "housing"]].itertuples(index=False):
        pair = campaign.ratio(lamp, campaign.baseline, housing=housing)
        where = f" in {housing}" if housing else ""
        items.append(f"{lamp} against {campaign.baseline}{where}: {statements.verdict_words(pair)}.")
    compared = {campaign.baseline, *campaign.table["lamp"]}
    lamps = dict.fromkeys(
        [*campaign.bench.tables["lamps"]["lamp"], *campaign.bench.tables["readings"]["lamp"]]
    )
    for lamp in lamps:
        if lamp not in compared:
            items.append(
                f"{lamp}: no comparison; no reading of it enters in a housing where {campaign.baseline} was read."
            )
    for one in readiness.list_abilities(campaign.bench, campaign):
        if not one.able:
            items.append(f"{statements.capital(one.what)}: {one.answer}.")
    items += _refused(campaign)
    items += [f"Left out: {said}" for said in readiness.left_out_words(campaign)]
    return say(*(items or ["Nothing is held back."]), bullets=True)


def _refused(campaign: Campaign) -> list[str]:
    """Return which records and runs give no result, with the reason."""
    bench = campaign.bench
    said = []
    for record in warm_up_runs(bench):
        if record.remaining is None:
            of = f"{record.lamp}{f' in {record.housing}' if record.housing else ''}, record {record.run}"
            said += [f"Remaining light of {of}: not given, because {why(e)}." for e in record.refusals[:1]]
    said += [law_words(one) for one in evaluate_distances(bench, corrections=campaign.enabled) if not one.law]
    beams = evaluate_beams(bench, corrections=campaign.enabled, baseline=campaign.baseline)
    refused = [*beams.refusals, *(one for result in beams.results for one in result.refusals)]
    said += [f"Beam of {one.lamp} in {one.housing}, run {one.run}: {one.message}." for one in refused]
    return said
