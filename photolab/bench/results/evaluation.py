"""The joint evaluation of a campaign: every lamp x housing in ln, all ratios from one covariance; and what it notices.

What is noticed is a code with its subject; the words stand in `publication.statements`.
"""

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.corrections import ALL, Corrected
from photolab.bench.inputs.readings import DRIFT_PERCENT_PER_HOUR, ELAPSED_U_S, readings, seated
from photolab.bench.inputs.seats import CELL, SEATED, hours_from_middle, lamp_weights, whole_mountings
from photolab.bench.inputs.selection import Selection, select
from photolab.bench.inputs.shared_inputs import own_colour_likeness, term_of
from photolab.bench.inputs.spreads import Spreads, campaign_spreads
from photolab.bench.results.campaign import Campaign, Finding, without_technology
from photolab.bench.results.ratio_table import ratio_table
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.instruments import RANGE_GAIN_NAME, RANGE_GAIN_PERCENT
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import technology_name
from photolab.errors import MethodError

TERM_ASSUMPTIONS = {
    "range gain": Assumption(RANGE_GAIN_NAME, RANGE_GAIN_PERCENT, "%", "limit"),
    "supply voltage": Assumption("voltage reading", steps.VOLTMETER_U_V, "V", "standard uncertainty"),
    "drift": Assumption("drift within a day", DRIFT_PERCENT_PER_HOUR, "%/h", "standard uncertainty"),
    "elapsed time": Assumption("time since switch-on", ELAPSED_U_S, "s", "standard uncertainty"),
}
"""Defaults of inputs that no file can state, by what they are. [unit of each]"""

MEASURED = ("readings", "warm_up", "thermal", "electrical", "distance", "beam")
"""Tables of readings, from which `leave_out` takes rows."""


def evaluate(
    bench: Bench,
    *,
    corrections: Iterable[str] = ALL,
    leave_out: dict[str, str] | None = None,
    spreads: Spreads | None = None,
) -> Campaign:
    """Evaluate a campaign jointly.

    Parameters
    ----------
    bench : Bench
        A bench that was read.
    corrections : iterable of str, default `ALL`
        Corrections to apply, out of `corrections.CORRECTIONS`.
    leave_out : dict, optional
        Column to value: readings with all these values are left out, in every table of readings that has the columns;
        links between meters stay as they are.
    spreads : Spreads, optional
        Standard deviations to use; the campaign's own if not given. For readings that are not taken yet.

    Returns
    -------
    Campaign
        The joint result, the table, components, findings and what was assumed.

    Raises
    ------
    MethodError
        If no reading enters.
    """
    enabled = tuple(corrections)
    selection = select(bench, leave_out=leave_out)
    if selection.readings.empty:
        message = "no reading enters the evaluation; every row is excluded or left out"
        raise MethodError(message, code="no_readings", known={"left_out": selection.left_out})
    corrected, means, seat = seated(selection.readings, bench, enabled)
    seats = Columns(means)
    whole = whole_mountings(seats)
    spreads = spreads or campaign_spreads(whole, bench.settings, selection.baseline)
    housings = seats.groups("housing")
    mounting = np.array([spreads.seating_in(h).sd for h in seats["housing"][housings.first]])[housings.code]
    noise, drift = spreads.noise(seats), DRIFT_PERCENT_PER_HOUR / 100.0
    weights = lamp_weights(seats, noise_sd=noise, mounting=mounting, day=spreads.day.sd, drift=drift)
    _complete(seats, means, own_colour_likeness(bench.tables["lamps"]))
    shown = {"seat": seat, "net_lx": corrected.columns["net_lx"]}
    each = readings(seats, bench, spreads, shown=shown, certificate_age=certificate_ages(bench))
    joint = each.combined(weights.names, weights.matrix)
    return Campaign(
        joint=joint,
        mountings=each,
        tabled=ratio_table,
        findings=tuple(find(bench, selection, whole, spreads, seats)),
        assumed=_assumptions(
            bench, corrected, spreads, frozenset(map(term_of, joint.inputs.models)), selection
        ),
        baseline=selection.baseline,
        corrections=corrected.applied,
        selection=selection,
        means=seats,
        weights=weights,
        spreads=spreads,
        bench=_without(bench, leave_out) if leave_out else bench,
        enabled=enabled,
    )


def _without(bench: Bench, leave_out: dict[str, str]) -> Bench:
    """Return a bench without some readings, whatever was read."""
    tables = dict(bench.tables)
    for name in MEASURED:
        table = tables[name]
        if set(leave_out) <= set(table.columns):
            same = [table[column].astype(str) == str(value) for column, value in leave_out.items()]
            tables[name] = table[~np.logical_and.reduce(same)].reset_index(drop=True)
    return replace(bench, tables=tables)


def _complete(seats: Columns, means: dict[str, NDArray[Any]], likeness: dict[str, str]) -> None:
    """Add to mounting means what depends on others: colour, clock, ranges of the meter."""
    lamps = seats.groups("lamp")
    alike = [likeness.get(lamp, "like") for lamp in seats["lamp"][lamps.first].tolist()]
    means["likeness"] = np.array(alike, dtype=object)[lamps.code]
    means["number"] = np.arange(seats.rows)
    means["hours"] = hours_from_middle(seats)
    ranges, meters = seats.groups("meter", "range_lx"), seats.groups("meter")
    unknown = np.isnan(seats.numbers("range_lx"))[ranges.first]
    count = np.where(unknown, ranges.size, 1.0)  # each unknown range is one for itself
    means["several"] = (np.bincount(meters.code[ranges.first], count) > 1.0)[meters.code]


def certificate_ages(bench: Bench) -> dict[str, float]:
    """Return the years between each certificate and the last day of the campaign.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    dict
        By meter; without those that have no dated certificate. [a]
    """
    last = max(bench.tables["days"]["date"], default="")
    dated = {
        m.id: m.certificate.date
        for m in bench.meters.values()
        if m.certificate and m.certificate.date and last
    }
    day = date.fromisoformat
    return {meter: (day(last) - day(made)).days / 365.25 for meter, made in dated.items()}


def _assumptions(
    bench: Bench, corrected: Corrected, spreads: Spreads, terms: frozenset[str], selection: Selection
) -> tuple[Assumption, ...]:
    """Return the defaults that entered: the reader's, the corrections', the spreads', the instruments', the links'."""
    # the SD of specimens and of days always enters, as a prior; a meter none of whose readings entered brings nothing
    tables = (selection.readings, *(bench.tables[name] for name in ("warm_up", "distance", "beam")))
    read = {meter for table in tables for meter in table["meter"].unique()}
    told = [a for a in bench.assumed if a.section != "meter" or a.id in read]
    own = {"mounting_sd_percent": not spreads.mounting.assumed, "reading_sd_percent": not spreads.single}
    kept = [a for a in told if not own.get(a.key)]
    always = [note for term, note in TERM_ASSUMPTIONS.items() if term in terms]
    links = [
        Assumption(
            f"provisional link of {row['old_meter']} to {selection.meter} for {row['technology']} lamps",
            100.0 * row["u"],
            "%",
            f"standard uncertainty, from {row['n']} {'lamp' if row['n'] == 1 else 'lamps'}",
            of=(row["old_meter"], row["technology"]),
        )
        for row in selection.through
        if not row["established"]
    ]
    return (*kept, *corrected.assumed, *always, *links)


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
    for link in selection.through:
        lamps = f"{link['n']} {'lamp' if link['n'] == 1 else 'lamps'}"
        technology = technology_name(link["technology"])
        told = (link["old_meter"], selection.meter, technology, f"{link['entered']}", lamps)
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
