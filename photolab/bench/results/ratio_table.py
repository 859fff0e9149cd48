"""One row a lamp, housing, point and scope: its ratio to the baseline at one instant; and what is left after heat."""

import math
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.inputs.rows import result_row
from photolab.bench.results.campaign import Campaign, without_technology
from photolab.bench.results.heat import (
    RECORD_DRIFT,
    WarmUpRun,
    ln_remaining,
    pieces_left,
    read_at_both,
    remaining_of,
    warm_up_runs,
)
from photolab.bench.terms.assumptions import Assumption, entering
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.verdicts import JUDGED, judged_cells
from photolab.metrology.quantity import SCOPES, Joint, Measured, coverage_factor, from_ln
from photolab.thermal.warm_up_result import Remaining


def ratio_table(campaign: Campaign, *, instant: str = "initial") -> pd.DataFrame:
    """Return the ratios of every lamp to the baseline at one instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    instant : str, default "initial"
        "initial" or "hold".

    Returns
    -------
    DataFrame
        lamp, housing, measurand, baseline, point, instant, scope, value, unit, low, high,
        ln_expanded_uncertainty, coverage,
        coverage_factor, dof, verdict, small, the counts, initial_s, hold_minutes, conditions, corrections, assumed.
    """
    compared, settings, scopes = campaign.compared(instant), campaign.bench.settings, tuple(SCOPES)
    pairs = [(name, (campaign.baseline, *name[1:])) for name in compared]
    told = campaign.at(instant).differences(
        compared, [base for _, base in pairs], scopes=scopes, coverage=settings.coverage
    )
    ln_ratio, u, wide, dof = (part.ravel() for part in told)
    more = np.repeat([campaign.widening(*pair) for pair in pairs], len(scopes))
    each = [pair for pair in pairs for _ in scopes]
    unknown = without_technology(campaign.bench)
    half = np.where([bool(unknown & {name[0], base[0]}) for name, base in each], np.nan, wide + more)
    factor = np.full_like(u, coverage_factor(settings.coverage))
    np.divide(wide, u, out=factor, where=u > 0.0)
    alike = settings.alike_percent
    rows = [judged_cells(*x, alike_percent=alike) for x in zip(ln_ratio.tolist(), half.tolist(), strict=True)]
    counted = campaign.held.counts if instant == "hold" else campaign.weights.counts
    places = [campaign.at(instant).position(n) for n in compared]
    counts = counted.iloc[np.repeat(places, len(scopes)).astype(int)]
    usual = {bounds: _conditions(campaign, instant, bounds=bounds) for bounds in (False, True)}
    table: dict[str, Any] = {
        "lamp": [name[0] for name, _ in each],
        "housing": [name[1] for name, _ in each],
        "measurand": "illuminance ratio",
        "baseline": campaign.baseline,
        "point": [name[2] for name, _ in each],
        "instant": instant,
        "scope": scopes * len(compared),
        "unit": "1",
        **{name: [row[name] for row in rows] for name in JUDGED},
        "coverage": settings.coverage,
        "coverage_factor": np.where(more > 0.0, np.nan, factor),
        "dof": np.where(more > 0.0, np.nan, dof),
        "conditions": [usual[bool(x > 0.0)] for x in more],
        "assumed": [
            "; ".join(a.name for a in told) or "nothing" for told in campaign.assumed_for(pairs, scopes)
        ],
        **{str(column): counts[column].to_numpy() for column in counts},
        "initial_s": settings.initial_s,
        "hold_minutes": settings.hold_minutes,
        "corrections": ", ".join(campaign.corrections) or "none",
    }
    return pd.DataFrame(table, index=range(len(each)))


def with_families(campaign: Campaign, table: pd.DataFrame) -> pd.DataFrame:
    """Return ratios with the interval and verdict that each has as one of all pairs of its housing and instant.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    table : DataFrame
        Its rows, from `ratio_table` or `heat_rows`.

    Returns
    -------
    DataFrame
        The same with family_low, family_high, family_verdict; blank for what is no ratio of lamps.
    """
    blank: dict[str, Any] = {"low": math.nan, "high": math.nan, "verdict": ""}
    keys = ["measurand", "lamp", "housing", "point", "instant", "scope"]
    told = []
    for measurand, lamp, housing, point, instant, scope in table[keys].itertuples(index=False, name=None):
        base = (campaign.baseline, housing, point, instant)
        told.append(campaign.judged(base, scope)[lamp] if measurand == "illuminance ratio" else blank)
    return table.assign(**{f"family_{name}": [row[name] for row in told] for name in blank})


def heat_rows(campaign: Campaign) -> pd.DataFrame:
    """Return remaining light and ratios at the hold time as rows of the results table.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    DataFrame
        What is left of each lamp in each housing: of its pieces as the joint result has it (scope "specimens"), where
        several were held, or one that no record tells of; of the piece of its longest record (scope "readings"); by
        the bounds of one that ends before, where nothing else is known. Then `ratio_table` at the hold time.
    """
    runs = warm_up_runs(campaign.bench)
    places = dict.fromkeys((run.lamp, run.housing) for run in runs)
    best = {place: one for place in places if (one := remaining_of(runs, *place)) is not None}
    held, counts, bounded = campaign.at("hold"), campaign.held.counts.to_dict("records"), campaign.held.slack
    both = (n for n in held.names if (*n[:3], "initial") in campaign.joint and n not in bounded)
    read = {n[:2] for n in both if n[2] == "hot_spot"}
    found = {place: one for place, one in best.items() if place not in read or ln_remaining(*one).parts}
    told = Joint.of({place: ln_remaining(*one) for place, one in found.items()})
    defaults = entering(campaign.assumed, told, ["specimens"])
    listed = [_remaining_row(campaign, *one, of) for one, of in zip(found.values(), defaults, strict=True)]
    for name, counted in zip(held.names, counts, strict=True):
        first = (*name[:3], "initial")
        several = name not in bounded and counted["n_held"] > 1
        if first in campaign.joint and (several or name[:2] not in found or name[2] != "hot_spot"):
            records = [run for left, run in pieces_left(runs, *name[:2]) if ln_remaining(left, run).parts]
            rests = counted | _read_at_both(campaign, name, records if name[2] == "hot_spot" else [])
            listed.append(_kept_row(campaign, name, held[name] - campaign.joint[first], rests))
    rows = pd.DataFrame(listed)
    parts = [part for part in (rows, ratio_table(campaign, instant="hold")) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else rows


def _remaining_row(
    campaign: Campaign, remaining: Remaining, run: WarmUpRun, rests: tuple[Assumption, ...]
) -> dict[str, object]:
    """Return what is left of the piece of one record, with the defaults it rests on, as a row of the results table."""
    settings, result = campaign.bench.settings, ln_remaining(remaining, run)
    low, high = result.interval(settings.coverage)
    half = (high - low) / 2.0
    rests += () if run.drift_logged else (RECORD_DRIFT,)
    said = f"{settings.hold_minutes:g} min after switch-on; relative to {settings.initial_s:g} s"
    of = f" of specimen {run.specimen}" if run.specimen else ""
    return result_row(
        campaign.bench,
        None,
        lamp=run.lamp,
        housing=run.housing,
        measurand="remaining light",
        point="hot_spot",
        instant="hold",
        value=math.exp(result.value),
        unit="1",
        low=math.exp(low),
        high=math.exp(high),
        ln_expanded_uncertainty=half,
        coverage_factor=half / result.u if result.u else math.nan,
        dof=result.dof if result.parts else math.nan,
        n_held=1,
        n_readings=len(run.record),
        conditions=f"{said}; record {run.run}{of}" + ("" if result.parts else "; conservative"),
        assumed="; ".join(one.name for one in rests) or "nothing",
    )


def _read_at_both(campaign: Campaign, name: tuple[str, ...], records: list[WarmUpRun]) -> dict[str, int]:
    """Return how many seatings, readings and days say what is left: records, and of other pieces both instants."""
    seats, told = campaign.seats, {run.specimen for run in records}
    mine = seats[(seats[["lamp", "housing", "point"]] == list(name[:3])).all(axis=1)]
    mine = mine[~mine["specimen"].isin(told)]
    rows = read_at_both(Columns.of(mine))
    used = mine.iloc[rows] if len(rows) or records else mine
    every = len(used[["specimen", "day", "mounting"]].drop_duplicates()) + len(records)
    read = int(used["n"].sum()) + sum(len(run.record) for run in records)
    days = {*used["day"], *(run.day for run in records)}
    return {"n_mountings": every, "n_readings": read, "n_days": max(len(days), 1)}


def _kept_row(
    campaign: Campaign, name: tuple[str, ...], ln_left: Measured, counted: dict[Any, Any]
) -> dict[str, object]:
    """Return what is left of the specimens of a lamp that was read at both instants as a row of the results table."""
    settings, (lamp, housing, point, instant) = campaign.bench.settings, name
    (rests,) = campaign.assumed_for([(name, (*name[:3], "initial"))], ["specimens"])
    return result_row(
        campaign.bench,
        from_ln(ln_left.in_scope("specimens")),
        in_ln=True,
        lamp=lamp,
        housing=housing,
        measurand="remaining light",
        point=point,
        instant=instant,
        scope="specimens",
        unit="1",
        conditions=f"{settings.hold_minutes:g} min after switch-on; relative to {settings.initial_s:g} s",
        corrections=", ".join(campaign.corrections) or "none",
        assumed="; ".join(one.name for one in rests) or "nothing",
        **{str(column): count for column, count in counted.items()},
    )


def _conditions(campaign: Campaign, instant: str, *, bounds: bool) -> str:
    """Return the conditions under which a ratio holds."""
    settings = campaign.bench.settings
    when = f"{settings.hold_minutes:g} min" if instant == "hold" else f"{settings.initial_s:g} s"
    brought = {
        "voltage": f"{settings.reference_voltage_V:g} V",
        "ambient": f"{settings.reference_ambient_C:g} degC ambient",
    }
    said = [f"{when} after switch-on", *(to for name, to in brought.items() if name in campaign.corrections)]
    said.append("one place of the meter head in each housing")
    return ", ".join(said) + ("; conservative" if bounds else "")
