"""What is left after the hold time: warm-up records and readings at the hold time, one joint result.

A piece that was not read at the hold time enters with its initial light and what is left of the pieces that were held:

    ln light(lamp, hold) = ln light(lamp, initial) + mean over held pieces of ln(what is left)

so all pieces and seatings of the initial time count, and a seating that was read at both instants cancels. What is left
of a piece comes from its longest record, which holds many readings and its own check for steps; else from its readings,
hold over initial of the same seatings (of its seatings apart, where none has both). The two are not averaged: the
readings at the hold time are often read off while the record runs. How what is left differs from piece to piece is
counted for the pieces on the bench that were not held (scope *specimens*) and for the model.

A record that ends before the hold time gives bounds, which are no distribution: they are used where nothing else is
known, and every interval is widened by them in full (the interval product in ln, called conservative).
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from photolab.bench.inputs import corrections as steps
from photolab.bench.inputs.readings import ELAPSED_U_S
from photolab.bench.inputs.rows import result_row
from photolab.bench.inputs.seats import RESULT
from photolab.bench.inputs.spreads import FLAG_LEVEL, Spread, between_specimens, not_held, own_specimens
from photolab.bench.terms import instruments
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.columns import Columns, Groups, Table
from photolab.bench.terms.model import Bench, handed_out
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import Input, Joint, Measured, combine, measured
from photolab.thermal.residuals import StableScatter
from photolab.thermal.warm_up import beside_stable, fit_warm_up
from photolab.thermal.warm_up_result import Remaining, WarmUp

Name = tuple[str, ...]

LOGGED_DRIFT_FLOOR = 0.0005
"""Least drift over a record whose ambient and volts were logged, assumed. [1]"""
UNLOGGED_DRIFT = 0.003
"""Drift over a record where they were not, assumed. [1]"""
RECORDS_KEPT = 64
"""Fitted records that are kept, each of 1 to 2 MB, for a bench that holds the same ones. [1]"""
PIECE, SEAT = ("lamp", "housing", "point", "specimen"), ("day", "mounting")
"""Columns that name a piece at its place, and with them a seating of it."""
RECORD_DRIFT = Assumption("drift over the record", 100.0 * UNLOGGED_DRIFT, "%", "standard uncertainty")


@dataclass(frozen=True, eq=False)
class WarmUpRun:
    """One run of warm_up.csv.

    Attributes
    ----------
    run, lamp, specimen, housing, day : str
        Identity.
    record : DataFrame
        Its rows.
    added : Input
        What the range of the meter adds to every reading. [lx]
    fit : WarmUp or None
        The fitted record; None where it was refused.
    remaining : Remaining or None
        Remaining light at hold over the initial time; None where it was refused.
    refusals : tuple of MethodError
        Why not, with what is known.
    drift : float
        Relative standard uncertainty of a drift over the record. [1]
    drift_logged : bool
        True where ambient and volts were logged.
    stable_runs : tuple of str
        Runs of lamps that no longer change, on the same meter, whose scatter was used too.
    """

    run: str
    lamp: str
    specimen: str
    housing: str
    day: str
    record: pd.DataFrame = field(repr=False)
    added: Input
    fit: WarmUp | None = None
    remaining: Remaining | None = None
    refusals: tuple[MethodError, ...] = ()
    drift: float = UNLOGGED_DRIFT
    drift_logged: bool = False
    stable_runs: tuple[str, ...] = ()


def warm_up_runs(bench: Bench) -> tuple[WarmUpRun, ...]:
    """Fit every run of warm_up.csv; runs that show no change say how readings of their meter are correlated.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of WarmUpRun
        In file order; what a record cannot support stands in `refusals`.
    """
    return tuple(replace(run, record=handed_out(run.record)) for run in _runs(bench))


@lru_cache(maxsize=4)  # many views of one bench ask for them; a bench is told from another by identity
def _runs(bench: Bench) -> tuple[WarmUpRun, ...]:
    """Return what `warm_up_runs` does."""
    blocks = bench.tables["warm_up"].groupby("run", sort=False)
    alone = [_alone(bench, str(run), block) for run, block in blocks]
    quiet = {one.run: own for one in alone if one.fit is not None and (own := _stable(one.fit)) is not None}
    meters = {one.run: one.record["meter"].iloc[0] for one in alone}
    found = []
    for one in alone:
        beside = tuple(n for n in quiet if n != one.run and meters[n] == meters[one.run])
        known: dict[str, Any] = {"stable_runs": beside}
        if one.fit is not None:
            fit = _beside(one.fit, tuple(quiet[n] for n in beside)) if beside else one.fit
            left = _left(fit, 60.0 * bench.settings.hold_minutes)
            refused = isinstance(left, MethodError)
            known |= {"fit": fit} | ({"refusals": (left,)} if refused else {"remaining": left})
        found.append(replace(one, **known))
    return tuple(found)


@lru_cache(maxsize=RECORDS_KEPT)
def _fitted(time_s: bytes, illuminance: bytes, **figures: float) -> WarmUp | MethodError:
    """Return the fit of one record, which hangs on nothing else; a bench without some rows has most records still."""
    return attempt(fit_warm_up, np.frombuffer(time_s), np.frombuffer(illuminance), **figures)


_beside = lru_cache(maxsize=RECORDS_KEPT)(beside_stable)
_left = lru_cache(maxsize=RECORDS_KEPT)(partial(attempt, WarmUp.remaining))
_fading = lru_cache(maxsize=RECORDS_KEPT)(partial(attempt, WarmUp.fading))


@lru_cache(maxsize=RECORDS_KEPT)
def _stable(fit: WarmUp) -> StableScatter | None:
    """Return the readings of a record that shows nothing but scatter, one and the same for one fit."""
    codes = {finding.code for finding in fit.findings}
    disturbed = {"step", "second_step", "ripple", "outliers", "coarse_display"}
    quiet = "no_change_resolved" in codes and not codes & disturbed
    return StableScatter(fit.time_s, fit.illuminance) if quiet else None


def display_step(bench: Bench, record: pd.DataFrame) -> float:
    """Return the display step of the meter of a record; 0 where it is not known.

    Parameters
    ----------
    bench : Bench
        The bench.
    record : DataFrame
        Rows of warm_up.csv, of one meter and range.

    Returns
    -------
    float
        The step. [lx]
    """
    meter = bench.meters.get(str(record["meter"].iloc[0]))
    return instruments.resolution_lx(meter, float(record["range_lx"].iloc[0])) if meter is not None else 0.0


def range_term(bench: Bench, record: pd.DataFrame) -> Input:
    """Return what the range of a record's meter adds to every reading, the input of the readings on that range.

    Parameters
    ----------
    bench : Bench
        The bench, with its meters.
    record : DataFrame
        Rows with meter and range_lx.

    Returns
    -------
    Input
        Nothing where the manual names no such term, or the meter or its range is not known. [lx]
    """
    label, top = str(record["meter"].iloc[0]), float(record["range_lx"].iloc[0])
    meter = bench.meters.get(label)
    if meter is None:
        return Input(("range term", ""), 0.0)
    return instruments.range_input(meter, top, (f"{top:g} lx",))


def record_drift(record: pd.DataFrame, technology: str) -> tuple[float, bool]:
    """Return the relative standard uncertainty of a drift over a record.

    Parameters
    ----------
    record : DataFrame
        Rows with ambient_C and socket_V.
    technology : str
        "filament" lamps follow the volts, others the ambient.

    Returns
    -------
    tuple of (float, bool)
        What the logged ambient and volts allow for, or 0.3 % assumed; and whether both were logged. [1]
    """
    ends = []
    for column in ("ambient_C", "socket_V"):
        logged = record[column].to_numpy(float)
        logged = logged[~np.isnan(logged)]
        if logged.size < 2:
            return UNLOGGED_DRIFT, False
        part = max(5, logged.size // 5)
        ends.append((float(logged[:part].mean()), float(logged[-part:].mean())))
    (cool, warm), (before, after) = ends
    warmed, moved = abs(warm - cool), abs(after / before - 1.0)
    by_volts = steps.FILAMENT_FLUX_EXPONENT * moved if technology == "filament" else 0.0
    by_ambient = 0.0 if technology == "filament" else steps.LED_AMBIENT_LIMIT * warmed / math.sqrt(3.0)
    return max(LOGGED_DRIFT_FLOOR, math.hypot(by_volts, by_ambient)), True


def _alone(bench: Bench, run: str, record: pd.DataFrame) -> WarmUpRun:
    """Return one run, fitted by itself."""
    lamp, specimen, housing, day = (str(record[n].iloc[0]) for n in ("lamp", "specimen", "housing", "day"))
    drift, logged = record_drift(record, bench.technologies.get(lamp, ""))
    added = range_term(bench, record)
    fit = _fitted(
        *(record[name].to_numpy(float).tobytes() for name in ("elapsed_s", "illuminance_lx")),
        initial_s=bench.settings.initial_s,
        initial_window_s=bench.settings.initial_window_s,
        resolution=display_step(bench, record),
        drift_relative_sd=drift,
        elapsed_uncertainty_s=ELAPSED_U_S,
        additive_uncertainty=added.u,
        coverage=bench.settings.coverage,
    )
    return WarmUpRun(
        run=run,
        lamp=lamp,
        specimen=specimen,
        housing=housing,
        day=day,
        record=record,
        added=added,
        fit=None if isinstance(fit, MethodError) else fit,
        refusals=(fit,) if isinstance(fit, MethodError) else (),
        drift=drift,
        drift_logged=logged,
    )


def remaining_of(runs: tuple[WarmUpRun, ...], lamp: str, housing: str) -> tuple[Remaining, WarmUpRun] | None:
    """Return the remaining light of a lamp in a housing, from its longest record; bounds where it has no other.

    Parameters
    ----------
    runs : tuple of WarmUpRun
        All runs.
    lamp, housing : str
        Which.

    Returns
    -------
    tuple of (Remaining, WarmUpRun) or None
        None where no record supports it.
    """
    every = pieces_left(runs, lamp, housing)
    return max(every, key=lambda one: (one[0].method != "bounds", len(one[1].record)), default=None)


def pieces_left(runs: tuple[WarmUpRun, ...], lamp: str, housing: str) -> list[tuple[Remaining, WarmUpRun]]:
    """Return the remaining light of each piece of a lamp in a housing, from its longest record.

    Parameters
    ----------
    runs : tuple of WarmUpRun
        All runs.
    lamp, housing : str
        Which.

    Returns
    -------
    list of (Remaining, WarmUpRun)
        One a piece; the longest record first.
    """
    best: dict[str, tuple[Remaining, WarmUpRun]] = {}
    mine = [r for r in runs if (r.lamp, r.housing) == (lamp, housing)]
    for run in sorted(mine, key=lambda r: -len(r.record)):
        if run.remaining is not None:
            best.setdefault(run.specimen, (run.remaining, run))
    return list(best.values())


@dataclass(frozen=True, eq=False)
class Held:
    """The light of every lamp at the hold time.

    Attributes
    ----------
    joint : Joint
        ln of illuminance, named (lamp, housing, point, "hold"). [ln lx]
    counts : DataFrame
        n_specimens, n_held, n_mountings, n_readings, n_days of each.
    slack : dict
        Half-width in ln by which bounds widen every interval of a name; where there are bounds alone. [1]
    spreads : dict
        Spread of what is left between pieces, by lamp.
    drifting : frozenset of tuple
        Names with a record whose drift was assumed.
    apart : dict
        By (lamp, housing, piece): how much more is left by its record than by its readings at both instants, where that
        is more than both allow. [1]
    """

    joint: Joint
    counts: pd.DataFrame
    slack: dict[Name, float]
    spreads: dict[str, Spread]
    drifting: frozenset[Name]
    apart: dict[Name, float]

    def widening(self, *names: Name) -> float:
        """Return by how much bounds widen the interval of a ratio of some names, in ln."""
        return sum(self.slack.get(name, 0.0) for name in names)


def at_hold(
    bench: Bench,
    seats: Table,
    mountings: Joint,
    joint: Joint,
    counts: pd.DataFrame,
    *,
    given: Mapping[str, Spread] | None = None,
) -> Held:
    """Return the joint result at the hold time.

    Parameters
    ----------
    bench : Bench
        The bench, with its warm-up records.
    seats : DataFrame or mapping of columns
        Mounting means of both instants.
    mountings : Joint
        ln of each, in the order of `seats`. [ln lx]
    joint : Joint
        ln of every lamp's illuminance from the readings of one instant, as `Campaign.joint`. [ln lx]
    counts : DataFrame
        n_specimens, n_mountings, n_readings, n_days of each.
    given : mapping, optional
        Spread of what is left between pieces by lamp, where it is not to be estimated.

    Returns
    -------
    Held
        One result a lamp, housing and point with readings at the hold time, or with a record.
    """
    runs = warm_up_runs(bench)
    left: dict[Name, dict[str, Measured]] = {}
    for (*place, piece), one in left_of_pieces(seats, mountings).items():
        left.setdefault((*place, "hold"), {})[piece] = one
    table, pieces = Columns.of(seats), dict[Name, set[str]]()
    late = _read_late(table)
    first_of = table.groups(*RESULT, "specimen").first
    for *of, piece in zip(*(table[c][first_of].astype(str) for c in (*RESULT, "specimen")), strict=True):
        pieces.setdefault(tuple(of), set()).add(piece)
    bounds: dict[Name, Measured] = {}
    drifting: set[Name] = set()
    twice: dict[Name, Measured] = {}
    for lamp, housing in dict.fromkeys((run.lamp, run.housing) for run in runs):
        first, name = ((lamp, housing, "hot_spot", instant) for instant in ("initial", "hold"))
        only = next(iter(pieces[first])) if len(pieces.get(first, ())) == 1 else ""
        for remaining, run in pieces_left(runs, lamp, housing):
            one = ln_remaining(remaining, run)
            if one.parts:  # a record that names no piece is of the only one, where a single one was read
                piece, known = run.specimen or only, left.setdefault(name, {})
                if piece in known:
                    twice[lamp, housing, piece] = one - known[piece]
                known[piece] = one
                late[*name, piece] = len(run.record)
                drifting |= set() if run.drift_logged else {name}
            else:
                bounds.setdefault(name, one)
                late.setdefault(name, len(run.record))
    spreads = _spreads(left, {name[0] for name in joint.names}, bench.settings.remaining_sd_percent / 100.0)
    spreads |= given or {}
    behind = dict(zip(joint.names, counts.to_dict("records"), strict=True))
    found: dict[Name, tuple[Name, Measured]] = {}
    slack: dict[Name, float] = {}
    rows = []
    for lamp, housing, point in dict.fromkeys(n[:3] for n in joint.names):
        first, name = ((lamp, housing, point, instant) for instant in ("initial", "hold"))
        known = left.get(name, {}) if first in behind else {}
        if known:
            begin, gone = first, combine([1.0 / len(known)] * len(known), known.values())
            held, on_bench, counted = set(known), pieces[first], behind[first]
            more = sum(late[*name, piece] for piece in known)
        elif name in behind:  # no piece was read at both instants
            begin, gone, held, on_bench = name, measured(0.0), pieces[name], pieces[name]
            counted, more = behind[name], 0
        elif name in bounds and first in behind:
            low, high = bounds[name].interval()
            middle, slack[name] = (low + high) / 2.0, (high - low) / 2.0
            begin, gone, held, on_bench = first, measured(middle), {""}, pieces[first]
            counted, more = behind[first], late[name]
        else:
            continue
        found[name] = begin, gone + _between_pieces(name, spreads[name[0]], held, on_bench)
        counts_of = {
            "n_specimens": len(on_bench),
            "n_held": len(held),
            "n_readings": counted["n_readings"] + more,
        }
        rows.append(counted | counts_of)
    # by chance alone one campaign in twenty would have any such piece, as of seatings that are flagged
    sure = 1.0 - FLAG_LEVEL / max(len(twice), 1)
    apart = {name: math.expm1(x.value) for name, x in twice.items() if abs(x.value) > x.half_width(sure)}
    begun = joint.among(begin for begin, _ in found.values())
    light = begun.plus({name: gone for name, (_, gone) in found.items()})
    return Held(light, pd.DataFrame(rows), slack, spreads, frozenset(drifting), apart)


def _read_late(table: Columns) -> dict[Name, int]:
    """Return how many readings at the hold time say what is left, by (lamp, housing, point, "hold", specimen)."""
    used = read_at_both(table)
    mine = table.among(used[table["instant"][used] == "hold"])
    owner = mine.groups(*RESULT, "specimen")
    names = zip(*(mine[c][owner.first].astype(str).tolist() for c in (*RESULT, "specimen")), strict=True)
    return dict(zip(names, owner.sum(mine["n"]).astype(int).tolist(), strict=True))


def read_at_both(table: Columns) -> NDArray[np.intp]:
    """Return the mounting means that say what is left of each piece.

    Parameters
    ----------
    table : Columns
        Mounting means of both instants.

    Returns
    -------
    ndarray of int
        Rows of the seatings that were read at both instants; of a piece that has none, all its rows, where it was
        read at both.
    """
    hold = np.asarray(table["instant"] == "hold")

    def at_both(groups: Groups) -> NDArray[Any]:
        return ((groups.sum(hold) > 0.0) & (groups.sum(~hold) > 0.0))[groups.code]

    pieces, both = table.groups(*PIECE), at_both(table.groups(*PIECE, *SEAT))
    paired = (pieces.sum(both) > 0.0)[pieces.code]
    return np.flatnonzero(both | (at_both(pieces) & ~paired))


def left_of_pieces(seats: Table, mountings: Joint) -> dict[Name, Measured]:
    """Return ln of what is left of each piece that was read at both instants.

    Parameters
    ----------
    seats : DataFrame or mapping of columns
        Mounting means of both instants.
    mountings : Joint
        ln of each, in the order of `seats`. [ln lx]

    Returns
    -------
    dict
        By (lamp, housing, point, specimen): mean over its seatings that were read at both instants; where there is
        none, mean at the hold time less mean at the initial time. [1]
    """
    table = Columns.of(seats)
    used = read_at_both(table)
    if not len(used):
        return {}
    mine = table.among(used)
    more = ((*SEAT, "instant"), ("instant",), ())
    parts, instants, owner = (mine.groups(*PIECE, *columns) for columns in more)
    seated = np.bincount(instants.code[parts.first])[instants.code]
    weight = np.where(mine["instant"] == "hold", 1.0, -1.0) / (parts.size[parts.code] * seated)
    names = zip(*(mine[c][owner.first].astype(str).tolist() for c in PIECE), strict=True)
    at = sparse.csr_array((weight, (owner.code, used)), shape=(len(owner), table.rows))
    left = Joint(tuple(names), at @ mountings.values, mountings.inputs, at @ mountings.sensitivities)
    return {name: left[name] for name in left.names}


def _spreads(
    left: Mapping[Name, Mapping[str, Measured]], lamps: Iterable[str], declared: float
) -> dict[str, Spread]:
    """Return how what is left differs between the pieces of each lamp: those held, with the declared SD as a prior."""
    rows = [
        (*name[:3], "", piece, one.value, one.only("reading scatter").u)
        for name, known in left.items()
        for piece, one in known.items()
    ]
    columns = ["lamp", "housing", "point", "day", "specimen", "ln_value", "u"]
    table = Columns(pd.DataFrame(rows, columns=columns))
    between: dict[str, tuple[float, float, float]] = {}
    for rows_of in table.groups("lamp").apart(np.arange(table.rows)):
        block = table.among(rows_of)
        noise = Spread(float(np.sqrt((block.numbers("u") ** 2).mean())), math.inf, assumed=False)
        between |= between_specimens(block, dict.fromkeys(block["housing"].tolist(), noise))
    return {lamp: own_specimens(between.get(lamp), declared) for lamp in lamps}


def _between_pieces(name: Name, spread: Spread, held: set[str], on_bench: set[str]) -> Measured:
    """Return zero with what pieces that were not held, and pieces as sold, add to what is left of a lamp."""
    apart = not_held(held, on_bench)
    shares = {
        "specimen not held": apart,
        "specimen": 1.0 / len(held) - apart,
    }  # together that of the pieces held
    words = {"specimen": "remaining"}
    source = "assumed" if spread.assumed else "own readings"
    added = [
        Input(
            (words.get(kind, kind), *name[:3]),
            spread.sd * math.sqrt(share),
            dof=spread.dof,
            kind=kind,
            source=source,
            variance=("remaining", name[0]),
        )
        for kind, share in shares.items()
        if share > 1e-12  # what rounding leaves of a share that cancels
    ]
    return measured(0.0, *added)


def ln_remaining(remaining: Remaining, run: WarmUpRun) -> Measured:
    """Return remaining light in ln, with the interval of its record.

    Parameters
    ----------
    remaining : Remaining
        From a record or from bounds.
    run : WarmUpRun
        The record.

    Returns
    -------
    Measured
        The same; without inputs where it has only an interval. What a fit leaves open is the scatter of readings, so it
        counts in every scope; what the range adds is the input of the readings on it. [1]
    """
    value, whole = math.log(remaining.value), remaining.ln_standard_uncertainty
    ends = (math.log(remaining.low) if remaining.low > 0 else -math.inf, math.log(remaining.high))
    parts: dict[Input, float] = {}
    if remaining.method != "bounds" and math.isfinite(whole) and run.fit is not None:
        added = run.fit.moved_by_a_lux(remaining.at_s, remaining.initial_s)
        own = math.sqrt(max(whole**2 - (added * run.added.u) ** 2, 0.0))
        dof = remaining.dof * (own / whole) ** 4 if whole else math.inf
        name = ("remaining light", run.lamp, run.housing, run.specimen)
        parts = {Input(name, own, dof=dof, kind="reading scatter", source="own readings"): 1.0}
        parts |= {run.added: added} if run.added.u else {}
    return Measured(value, parts, linear=False, ends=lambda _: ends)


def fading_rows(bench: Bench) -> pd.DataFrame:
    """Return what fades how fast in each record, as rows of the results table.

    Parameters
    ----------
    bench : Bench
        The bench, with its warm-up records.

    Returns
    -------
    DataFrame
        Two rows a part of the light that fades, slowest first: its amplitude, and its time constant. Records that
        cannot carry them have none.
    """
    rows = []
    for run in warm_up_runs(bench):
        found = None if run.fit is None else _fading(run.fit)
        parts = found if isinstance(found, tuple) else ()
        for k, part in enumerate(parts):
            said: dict[str, Any] = {
                "lamp": run.lamp,
                "housing": run.housing,
                "point": f"record {run.run}" + (f", part {k + 1} of {len(parts)}" if parts[1:] else ""),
                "n_readings": len(run.record),
                "assumed": "nothing" if run.drift_logged else RECORD_DRIFT.name,
            }
            amplitude = said | {"measurand": "warm-up amplitude", "instant": "initial"}
            amplitude["conditions"] = f"relative to {bench.settings.initial_s:g} s"
            rows += [
                result_row(bench, replace(100.0 * part.share, unit="%"), **amplitude),
                result_row(bench, part.time_constant, measurand="warm-up time constant", in_ln=True, **said),
            ]
    return pd.DataFrame(rows)
