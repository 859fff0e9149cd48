"""A new meter: old readings brought onto its scale in new columns, and what that does to the verdicts."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.linking import LINKED, changed_verdicts, converted, technology_links
from photolab.bench.inputs.shared_inputs import link_input
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.ratio_table import ratio_table, with_families
from photolab.bench.terms.model import Bench, Meter
from photolab.bench.terms.verdicts import NO_ANSWER
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import measured


@dataclass(frozen=True, eq=False)
class MeterChange:
    """A campaign before and after a change of meter.

    Attributes
    ----------
    old, new : str
        The meters.
    links : DataFrame
        From `linking.technology_links`, in the direction in which links.csv names the meters.
    readings : DataFrame
        The campaign's readings as typed, with net_lx (dark reading removed), linked_lx (that on the new
        meter), link_u, link and link_refused. [lx], [1]
    before, after : DataFrame
        Results table on the old meter, and of the converted readings on the new one, with the verdicts of their
        families; the link's uncertainty is in the second.
    changed : DataFrame
        Rows whose verdict among all pairs of the housing differs.
    refused : tuple of str
        Technologies without a link; their lamps are not in `after`.
    """

    old: str
    new: str
    links: pd.DataFrame
    readings: pd.DataFrame
    before: pd.DataFrame
    after: pd.DataFrame
    changed: pd.DataFrame
    refused: tuple[str, ...]


def meter_change(campaign: Campaign, *, corrections: Iterable[str] | None = None) -> MeterChange:
    """Return what changing from the campaign's meter to the one it was linked with does to its results.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign, read with the old meter.
    corrections : iterable of str, optional
        Corrections of both evaluations; the campaign's own if not given.

    Returns
    -------
    MeterChange
        Links, converted readings, and both results tables.

    Raises
    ------
    MethodError
        If there is no link of the campaign's meter (code ``no_link``), the meters are named both ways round
        (``meters_swapped``), or the new meter is not described in bench.toml (``unknown_meter``).
    """
    bench = campaign.bench
    old, new, links, readings = _conversion(campaign)
    unlinked = readings.loc[readings["linked_lx"].isna(), "lamp"]
    refused = tuple(dict.fromkeys(unlinked.map(bench.technologies)))
    enabled = campaign.enabled if corrections is None else tuple(corrections)
    first = campaign if corrections is None else evaluate(bench, corrections=enabled)
    before = with_families(first, first.table)
    after = _evaluated(bench, readings, bench.meters[new], enabled, _leading_from(old, links))
    # without a link for the baseline another lamp would take its place, which is another question
    after = after[after["baseline"] == campaign.baseline].reset_index(drop=True) if len(after) else after
    told = (table.assign(verdict=table["family_verdict"]) for table in (before, after))
    return MeterChange(old, new, links, readings, before, after, changed_verdicts(*told), refused)


def refusal(campaign: Campaign) -> str:
    """Return why the campaign cannot be brought to another meter.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    str
        What `meter_change` would raise; empty where nothing stands against it.
    """
    found = attempt(_conversion, campaign)
    return str(found) if isinstance(found, MethodError) else ""


def _conversion(campaign: Campaign) -> tuple[str, str, pd.DataFrame, pd.DataFrame]:
    """Return old and new meter, links and converted readings."""
    bench, old = campaign.bench, campaign.selection.meter
    links = technology_links(bench.tables["links"], coverage=bench.settings.coverage)
    forth = links["old_meter"] == old
    here, there = ("old_meter", "new_meter") if forth.any() else ("new_meter", "old_meter")
    links = links[links[here] == old].reset_index(drop=True)
    if links.empty:
        message = f"links.csv has no row of meter {old}, with which the campaign was read"
        raise MethodError(message, code="no_link", known={"meter": old})
    new = str(links[there].iloc[0])
    if new not in bench.meters:
        message = f"meter {new} must be described in bench.toml; got {', '.join(bench.meters)}"
        raise MethodError(message, code="unknown_meter", known={"meter": new})
    links = links[links[there] == new]
    readings = _linked(campaign, _leading_from(old, links))
    if readings["linked_lx"].isna().all():
        linked = tuple(links["technology"])
        message = f"no lamp of the campaign has a technology that was linked ({', '.join(linked)})"
        raise MethodError(message, code="no_link", known={"technologies": linked})
    return old, new, links, readings


def _leading_from(meter: str, links: pd.DataFrame) -> pd.DataFrame:
    """Return links that lead from a meter: where links.csv names it as the new one, turned round."""
    if (links["old_meter"] == meter).all():
        return links
    turned = {name: 1.0 / links[of] for name, of in (("factor", "factor"), ("low", "high"), ("high", "low"))}
    return links.assign(old_meter=links["new_meter"], new_meter=links["old_meter"], **turned)


def _linked(campaign: Campaign, links: pd.DataFrame) -> pd.DataFrame:
    """Return the campaign's readings with what the new meter would have shown beside them."""
    rows = campaign.selection.readings
    rows = rows[rows["meter"].isin([campaign.selection.meter, str(links["new_meter"].iloc[0])])]
    # links.csv holds readings without the dark reading, so that is what a factor applies to
    net = rows["illuminance_lx"] - rows["dark_lx"].fillna(0.0)
    told = converted(rows.assign(illuminance_lx=net), campaign.bench.technologies, links)[LINKED]
    own = rows["meter"] == campaign.selection.meter  # readings of the new meter stand as they are
    told = told.assign(linked_lx=told["linked_lx"].where(own, net), link_u=told["link_u"].where(own, 0.0))
    return rows.assign(net_lx=net, **told)


def _evaluated(
    bench: Bench, readings: pd.DataFrame, meter: Meter, enabled: tuple[str, ...], links: pd.DataFrame
) -> pd.DataFrame:
    """Return the results table of the converted readings on the new meter, the links' uncertainty put in."""
    kept = readings[readings["linked_lx"].notna()]
    lux = kept["linked_lx"].to_numpy(float)
    # the smallest range that holds it, where any is stated
    tops = np.array([*sorted(meter.ranges_lx), math.nan])
    ranges = np.where(kept["meter"] == meter.id, kept["range_lx"], tops[np.searchsorted(tops[:-1], lux)])
    moved = kept.assign(illuminance_lx=lux, dark_lx=0.0, meter=meter.id, range_lx=ranges).drop(
        columns=["net_lx", *LINKED, "instant"]
    )
    tables = {**bench.tables, "readings": moved.reset_index(drop=True)}
    campaign = _with_links(evaluate(replace(bench, tables=tables), corrections=enabled), links)
    table = with_families(campaign, ratio_table(campaign))
    kinds = table["lamp"].map(bench.technologies), table["baseline"].map(bench.technologies)
    unknown = set(links.loc[links["ln_standard_uncertainty"].isna(), "technology"])
    silent = (kinds[0] != kinds[1]) & (kinds[0].isin(unknown) | kinds[1].isin(unknown))
    numbers = ["low", "high", "ln_expanded_uncertainty", "family_low", "family_high"]
    table.loc[silent, numbers] = math.nan
    table.loc[silent, ["verdict", "family_verdict"]] = NO_ANSWER
    return table


def _with_links(campaign: Campaign, links: pd.DataFrame) -> Campaign:
    """Return a campaign whose lamps carry the doubt of the link of their technology; one link cancels from a ratio."""
    joint, technologies = campaign.joint, campaign.bench.technologies
    names = ["old_meter", "technology", "ln_standard_uncertainty", "dof"]
    known = links.loc[links["ln_standard_uncertainty"].notna(), names].itertuples(index=False)
    doubts = {
        str(kind): measured(0.0, link_input(str(meter), str(kind), u, dof)) for meter, kind, u, dof in known
    }
    more = {n: doubts.get(technologies.get(n[0], ""), measured(0.0)) for n in joint.names}
    return replace(campaign, joint=joint.plus(more))


def colour_prediction(campaign: Campaign, change: MeterChange) -> pd.DataFrame:
    """Return how far apart the links of two technologies should lie by the meters' own responsivities.

    A link between lamps of one technology and another differ by the ratio of spectral mismatch correction
    factors, old meter over new one, if nothing else differs between the meters than their scales.

    Parameters
    ----------
    campaign : Campaign
        The campaign, with spectra of lamps and both meters.
    change : MeterChange
        Its links.

    Returns
    -------
    DataFrame
        technology, against, observed, low, high (factor of the one over that of the other), predicted;
        empty where a spectrum is missing. [1]
    """
    predicted: dict[str, float] = {}
    meters = change.links[["old_meter", "new_meter"]].iloc[0]
    for lamp, technology in campaign.bench.technologies.items():
        old, new = (steps.spectral_factor(campaign.bench, meter, lamp, technology) for meter in meters)
        if old is not None and new is not None:
            predicted.setdefault(technology, old[0] / new[0])
    known = change.links[change.links["technology"].isin(list(predicted))].to_dict("records")
    rows = []
    for one in known[1:]:
        first = known[0]
        middle = math.log(one["factor"] / first["factor"])
        half = math.hypot(*(math.log(link["high"] / link["low"]) / 2.0 for link in (first, one)))
        observed = (math.exp(x) for x in (middle, middle - half, middle + half))
        expected = predicted[one["technology"]] / predicted[first["technology"]]
        rows.append((one["technology"], first["technology"], *observed, expected))
    return pd.DataFrame(rows, columns=["technology", "against", "observed", "low", "high", "predicted"])
