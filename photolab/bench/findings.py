"""What the joint evaluation notices: codes with their subject; the words stand in `publication.statements`."""

import math
from collections.abc import Iterable
from itertools import groupby
from operator import itemgetter

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
        away = seats["ln_value"][row] - np.median(beside)
        yield Finding("mounting_flagged", subject, float(math.expm1(away)))
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


def _ranges(seats: Columns) -> Iterable[Finding]:
    """Yield the days on which readings were taken on several ranges."""
    tops = seats.numbers("range_lx").tolist()
    read = {(str(h), str(d), top) for h, d, top in zip(seats["housing"], seats["day"], tops, strict=True)}
    known = sorted(one for one in read if not math.isnan(one[2]))
    for (housing, day), ranges in groupby(known, key=itemgetter(0, 1)):
        used = [f"{top:g}" for _, _, top in ranges]
        if len(used) > 1:
            yield Finding("ranges_differ", (housing, day, *used))


def _unbracketed(seats: Columns, baseline: str) -> Iterable[Finding]:
    """Yield the days on which lamps were read without the baseline, or with it at one end only."""
    clocks: dict[tuple[str, str], tuple[list[float], list[float]]] = {}
    rows = zip(*(seats[c].tolist() for c in ("housing", "day", "lamp", "clock_h")), strict=True)
    for housing, day, lamp, clock in rows:
        own, others = clocks.setdefault((str(housing), str(day)), ([], []))
        (own if lamp == baseline else others).append(clock)
    absent: list[str] = []
    one_end: list[str] = []
    for (housing, day), (own, others) in sorted(clocks.items()):
        where = f"{day} in {housing}".strip() if housing else day
        timed = not any(map(math.isnan, own + others))
        if not own:
            absent.append(where)
        elif others and timed and (min(others) < min(own) or max(others) > max(own)):
            one_end.append(where)
    if absent:
        yield Finding("baseline_absent", (baseline, *absent))
    if one_end:
        yield Finding("baseline_one_end", (baseline, *one_end))
