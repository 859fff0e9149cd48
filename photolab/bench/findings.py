"""What the joint evaluation notices: codes with their subject; the words stand in `publication.statements`."""

import math
from collections.abc import Iterable

import numpy as np

from photolab.bench.campaign import Finding, without_technology
from photolab.bench.columns import Columns
from photolab.bench.model import Bench
from photolab.bench.seats import CELL, SEATED
from photolab.bench.selection import Selection
from photolab.bench.spreads import Spreads


def find(
    bench: Bench, selection: Selection, seats: Columns, spreads: Spreads, parts: Columns
) -> Iterable[Finding]:
    """Yield what the evaluation noticed.

    Parameters
    ----------
    bench : Bench
        The bench.
    selection : Selection
        What entered.
    seats : Columns
        Mounting means.
    spreads : Spreads
        The campaign's spreads.
    parts : Columns
        The same, apart by clock.

    Yields
    ------
    Finding
        One each.
    """
    if not selection.baseline_declared:
        yield Finding("baseline_by_row_order", (selection.baseline,))
    for link in selection.links.to_dict("records") if len(selection.links) else ():
        lamps = f"{link['n']} {'lamp' if link['n'] == 1 else 'lamps'}"
        told = (link["old_meter"], selection.meter, link["technology"], f"{link['entered']}", lamps)
        yield Finding("readings_linked", told, float(link["u"]))
    cells = seats.groups(*CELL)
    for row in spreads.flagged:
        beside = seats["ln_value"][cells.code == cells.code[row]]
        subject = tuple(str(seats[c][row]) for c in SEATED)
        yield Finding(
            "mounting_flagged", subject, float(math.expm1(seats["ln_value"][row] - np.median(beside)))
        )
    common = max(s.dof for s in spreads.reading.values())
    for lamp, spread in spreads.reading.items():
        if not spread.assumed and spread.dof < common:
            yield Finding("lamp_scatters", (lamp,), spread.sd)
    yield from _ranges(seats)
    yield from _unbracketed(parts, selection.baseline)
    blank = np.isnan(seats.numbers("range_lx"))
    if blank.any():
        yield Finding("range_unknown", tuple(sorted(set(seats["lamp"][blank].tolist()))))
    unknown = without_technology(bench)
    for lamp in seats["lamp"][seats.groups("lamp").first].tolist():
        if lamp in unknown:
            yield Finding("technology_missing", (lamp,))


def _in_order(seats: Columns) -> list[tuple[int, str, str]]:
    """Return each day in its housing with its group, as their names are sorted."""
    first = seats.groups("housing", "day").first
    named = zip(seats["housing"][first].tolist(), seats["day"][first].tolist(), strict=True)
    return sorted(((k, str(h), str(d)) for k, (h, d) in enumerate(named)), key=lambda one: one[1:])


def _ranges(seats: Columns) -> Iterable[Finding]:
    """Yield the days on which readings were taken on several ranges."""
    days, ranges = seats.groups("housing", "day"), seats.groups("housing", "day", "range_lx")
    tops = seats.numbers("range_lx")[ranges.first]
    known = ~np.isnan(tops)
    owner = days.code[ranges.first]
    several = np.bincount(owner[known], minlength=len(days)) > 1
    for day, housing, name in _in_order(seats):
        if several[day]:
            yield Finding(
                "ranges_differ", (housing, name, *(f"{t:g}" for t in np.sort(tops[known & (owner == day)])))
            )


def _unbracketed(seats: Columns, baseline: str) -> Iterable[Finding]:
    """Yield the days on which lamps were read without the baseline, or with it at one end only."""
    absent: list[str] = []
    one_end: list[str] = []
    days = seats.groups("housing", "day")
    mine, clock = np.asarray(seats["lamp"] == baseline), seats.numbers("clock_h")
    read = np.bincount(days.code, mine, len(days))
    beside = days.size - read
    ends = [
        (days.least(np.where(mine, clock, np.inf)), -days.least(np.where(mine, -clock, np.inf))),
        (days.least(np.where(mine, np.inf, clock)), -days.least(np.where(mine, np.inf, -clock))),
    ]
    with np.errstate(invalid="ignore"):  # days on which a clock is blank
        outside = (ends[1][0] < ends[0][0]) | (ends[1][1] > ends[0][1])
    for day, housing, name in _in_order(seats):
        where = f"{name} in {housing}".strip() if housing else name
        if not read[day]:
            absent.append(where)
        elif beside[day] and outside[day] and not np.isnan(np.array(ends)[:, :, day]).any():
            one_end.append(where)
    if absent:
        yield Finding("baseline_absent", (baseline, *absent))
    if one_end:
        yield Finding("baseline_one_end", (baseline, *one_end))
