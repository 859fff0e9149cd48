"""What the joint evaluation notices: codes with their subject; the words stand in `publication.statements`."""

import math
from collections.abc import Iterable

import pandas as pd

from photolab.bench.campaign import Finding, missing_inputs
from photolab.bench.model import Bench
from photolab.bench.selection import Selection
from photolab.bench.spreads import Spreads


def find(
    bench: Bench, selection: Selection, seats: pd.DataFrame, spreads: Spreads, parts: pd.DataFrame
) -> Iterable[Finding]:
    """Yield what the evaluation noticed.

    Parameters
    ----------
    bench : Bench
        The bench.
    selection : Selection
        What entered.
    seats : DataFrame
        Mounting means.
    spreads : Spreads
        The campaign's spreads.
    parts : DataFrame
        The same, apart by clock.

    Yields
    ------
    Finding
        One each.
    """
    if not selection.baseline_declared:
        yield Finding("baseline_by_row_order", (selection.baseline,))
    for link in selection.links.to_dict("records"):
        lamps = f"{link['n']} {'lamp' if link['n'] == 1 else 'lamps'}"
        told = (link["old_meter"], selection.meter, link["technology"], f"{link['entered']}", lamps)
        yield Finding("readings_linked", told, float(link["u"]))
    residual = seats["ln_value"] - seats.groupby(["lamp", "specimen", "housing", "point", "instant"])[
        "ln_value"
    ].transform("median")
    for row in spreads.flagged:
        seat = seats.loc[row]
        subject = tuple(str(seat[c]) for c in ("lamp", "specimen", "housing", "day", "mounting"))
        yield Finding("mounting_flagged", subject, float(math.expm1(residual[row])))
    common = max(s.dof for s in spreads.reading.values())
    for lamp, spread in spreads.reading.items():
        if not spread.assumed and spread.dof < common:
            yield Finding("lamp_scatters", (lamp,), spread.sd)
    for (housing, day), block in seats.groupby(["housing", "day"]):
        ranges = {f"{r:g}" for r in block["range_lx"].dropna()}
        if len(ranges) > 1:
            yield Finding("ranges_differ", (str(housing), str(day), *sorted(ranges, key=float)))
    yield from _unbracketed(parts, selection.baseline)
    if seats["range_lx"].isna().any():
        yield Finding("range_unknown", tuple(sorted(set(seats.loc[seats["range_lx"].isna(), "lamp"]))))
    for lamp in dict.fromkeys(seats["lamp"]):
        if missing_inputs(bench, (lamp,)):
            yield Finding("technology_missing", (lamp,))


def _unbracketed(seats: pd.DataFrame, baseline: str) -> Iterable[Finding]:
    """Yield the days on which lamps were read without the baseline, or with it at one end only."""
    absent: list[str] = []
    one_end: list[str] = []
    for (housing, day), block in seats.groupby(["housing", "day"]):
        mine = block["lamp"] == baseline
        where = f"{day} in {housing}".strip() if housing else str(day)
        if not mine.any():
            absent.append(where)
            continue
        others, clocks = block.loc[~mine, "clock_h"], block.loc[mine, "clock_h"]
        if others.isna().any() or clocks.isna().any() or others.empty:
            continue
        if others.min() < clocks.min() or others.max() > clocks.max():
            one_end.append(where)
    if absent:
        yield Finding("baseline_absent", (baseline, *absent))
    if one_end:
        yield Finding("baseline_one_end", (baseline, *one_end))
