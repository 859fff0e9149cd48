"""What fits one evening at the bench: which lamp is seated when, and what its readings will be able to show.

Seatings are chosen one by one, each the one that narrows the intervals of the ratios most for the minutes it takes: of
the ratios that a `[[question]]` asks about and that are still open, and once it narrows these little, of all. They are
those of all pieces at hand: one that was not read counts by what pieces differ. No lamp is seated a third time in a
housing before each piece there has a reading at the hold time, unless a question asks for it. In each housing
the baseline opens and closes; between, lamps stand in random order within a block (one seating of each).
Nothing is powered while another lamp is; a lamp rests before it is switched on again, and cools before it is taken out.

What the evening will show is the joint evaluation itself, of the folder's readings and of invented ones in the place of
those to come, with the folder's own standard deviations: invented readings say nothing of scatter. Rehearsed, all of
them are drawn again with known truth, and evaluated by what they scatter.
"""

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.drawn.one_more import FULL_RANGE, rehearsed, what_changes_buy
from photolab.bench.drawn.redraw import Protocol
from photolab.bench.drawn.rehearse import LINE, Plan
from photolab.bench.folder.cautions import SHORT_REST_MIN, listed
from photolab.bench.folder.tables import empty_table
from photolab.bench.inputs.seats import SEATED
from photolab.bench.inputs.selection import main_meter
from photolab.bench.inputs.spreads import LEAST_DOF, Spread, Spreads, not_held, own_specimens
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.heat import warm_up_runs
from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.faults import shown
from photolab.bench.terms.model import Bench, Question
from photolab.bench.terms.schema import TABLES
from photolab.bench.terms.verdicts import EVEN_CHANCE, FOUR_IN_FIVE, mountings_to_separate
from photolab.errors import MethodError, demand
from photolab.metrology.planning import allocate_effort, resolvable_ratio

SEAT_MINUTES = 5
"""Taking one lamp out, seating the next, its dark reading; common practice, no source. [min]"""
READ_MINUTES = 1
"""The readings of one instant; common practice, no source. [min]"""
CAMERA_MINUTES = 3
"""Opening the cover and one look with the camera; common practice, no source. [min]"""
COOL_MINUTES = {False: 5, True: 10}
"""Off before a lamp is taken out, by whether it was held; common practice, no source: longer where it is hot. [min]"""
HOURS, MOST_HOURS = 3.0, 12.0
USUAL_LUX = 300.0
"""Level of the readings to come where the folder has none, assumed. [lx]"""
DIFFERENCES = (5.0, 10.0)
"""True differences for which it is said how often they are shown. [%]"""
CHANGES_EVERY = 3
"""Single changes are rehearsed with one bench of so many. [1]"""
STEPS = 10
"""Steps of the picture of how often a difference is shown. [1]"""
LEAST_READINGS, MOST_READINGS = 2, 3
"""Readings at one instant: a slip shows beside a second one; the most where the folder says of none what pays. [1]"""
UNKNOWN = 1.0
"""Variance of the ln ratio to a lamp that was never read: more than any reading leaves. [1]"""

TWICE = 2
"""A lamp seated so often in a housing in one evening waits for the pieces there that were not held. [1]"""
WORTH = 0.02
"""A seating is worth its minutes where half-widths narrow by so much, relative, in sum. [1]"""

TARGET = ["lamp", "housing", "instant"]
Piece = tuple[str, str, str]
Target = tuple[str, str, str]
"""Lamp, specimen, housing; lamp, housing, instant."""


@dataclass(frozen=True)
class Seating:
    """One seating of a plan.

    Attributes
    ----------
    lamp, specimen, housing, mounting : str
        What is seated where, and its number on that day.
    held : bool
        Kept on and read at the hold time too.
    camera : bool
        Looked at with the thermal camera after that.
    start, off : int
        Switch-on and switch-off, from the start of the evening. [min]
    """

    lamp: str
    specimen: str
    housing: str
    mounting: str
    held: bool
    camera: bool
    start: int
    off: int

    @property
    def piece(self) -> str:
        """The lamp and its specimen as they are called."""
        return f"{self.lamp} {self.specimen}".strip()

    @property
    def instants(self) -> tuple[str, ...]:
        """What is read, in order."""
        return ("initial", *["hold"] * self.held, *["camera"] * self.camera)


@dataclass(frozen=True, eq=False)
class Evening:
    """What fits an evening.

    Attributes
    ----------
    bench : Bench
        The folder it is for.
    date : str
        ISO date.
    hours : float
        Time there is. [h]
    seed : int
        Of the random order. [1]
    baseline : str
        The lamp that opens and closes.
    seatings : tuple of Seating
        In their order.
    minutes : int
        Until the last lamp has cooled. [min]
    readings : int
        Readings at one instant. [1]
    shows : DataFrame
        lamp, housing, instant, now, after, one_more (half-widths of the interval of the ratio to the baseline, in ln),
        even_chance, four_in_five (differences shown with that chance) [1], largest (input that seatings do not lower);
        rehearsed, half_width (mean, in ln) and for each true difference in percent the share of the benches in which it
        is shown, NaN for what only a record holds. [1]
    assumed : tuple of Assumption
        What these rest on that was not measured.
    questions : tuple of Question
        Those that the plan was made for.
    answered : tuple of Question
        Those of them that the folder's readings answer already.
    unheld : tuple of tuple of str
        Lamp, specimen and housing of the pieces that have no reading at the hold time after the evening either.
    spent : bool
        True where no seating would fit any more; else none is worth its minutes.
    drawn : int
        Benches drawn to rehearse it. [1]
    bought : DataFrame
        What one single change more would buy, as `one_more.what_changes_buy`, by a third as many benches each.
    """

    bench: Bench
    date: str
    hours: float
    seed: int
    baseline: str
    seatings: tuple[Seating, ...]
    minutes: int
    readings: int
    shows: pd.DataFrame
    assumed: tuple[Assumption, ...]
    questions: tuple[Question, ...]
    answered: tuple[Question, ...]
    unheld: tuple[tuple[str, str, str], ...]
    spent: bool
    drawn: int
    bought: pd.DataFrame

    @property
    def table(self) -> pd.DataFrame:
        """The rows of plan.csv."""
        steps = [(one, instant) for one in self.seatings for instant in one.instants]
        cells = [
            (n, self.date, one.start, one.lamp, one.specimen, one.housing, one.mounting, instant)
            for n, (one, instant) in enumerate(steps, start=1)
        ]
        return pd.DataFrame(cells, columns=TABLES["plan"].names)


def meter_of(bench: Bench) -> str:
    """Return the meter that an evening is read with: the one with most readings, else the first of bench.toml."""
    given = bench.tables["readings"]
    return main_meter(given) if len(given) else next(iter(bench.meters))


def plan_evening(
    bench: Bench,
    *,
    date: str,
    hours: float = HOURS,
    lamps: Sequence[str] = (),
    housings: Sequence[str] = (),
    seed: int = 1,
    drawn: int = 0,
) -> Evening:
    """Return what fits an evening, the best use first.

    Parameters
    ----------
    bench : Bench
        The folder; it may hold no reading yet.
    date : str
        Day of the evening, ISO 8601.
    hours : float, default `HOURS`
        Time there is. [h]
    lamps, housings : sequence of str
        To which it is confined; the baseline is always in. All candidates and all housings without it.
    seed : int, default 1
        Of the random order, and of the benches drawn. [1]
    drawn : int, default 0
        Benches drawn to rehearse what it will show. [1]

    Returns
    -------
    Evening
        The plan.

    Raises
    ------
    MethodError
        If lamps.csv names no baseline or no other lamp (code ``no_lamps``), or the time is too short for the baseline
        at both ends and one lamp (code ``too_short``).
    ValueError
        If a lamp, a housing or the hours are none.
    """
    demand(0.0 < hours <= MOST_HOURS, f"hours must be above zero and {MOST_HOURS:g} at most", f"{hours:g}")
    chosen = _Choice(bench, _lamps(bench, lamps), _housings(bench, housings), date, seed)
    pieces, spent = chosen.pieces_for(hours)
    seatings = chosen.schedule(pieces)
    shows, assumed = chosen.shows(seatings)
    if drawn and len(shows):
        shows = shows.join(chosen.rehearsed(seatings, shows, drawn), on=TARGET)
    some = drawn >= 2 * CHANGES_EVERY and len(shows)
    bought = chosen.bought(seatings, drawn // CHANGES_EVERY) if some else pd.DataFrame()
    return Evening(
        bench, date, hours, seed, chosen.baseline, seatings, _minutes(seatings), chosen.repeats, shows, assumed,
        tuple(question for question, _ in chosen.asked), chosen.answered(), chosen.unheld(pieces), spent, drawn, bought,
    )  # fmt: skip


def _lamps(bench: Bench, named: Sequence[str]) -> list[str]:
    """Return the baseline, then the lamps that are compared with it."""
    table = bench.tables["lamps"].set_index("lamp")["role"]
    _known(named, list(table.index), "lamp", "lamps.csv")
    baseline = next(iter(table.index[table == "baseline"]), "")
    wanted = table.index.isin(named) if named else table == "candidate"
    others = [lamp for lamp in table.index[wanted] if lamp != baseline]
    if not baseline or not others:
        lacking = "lamp with the role baseline" if not baseline else f"lamp to compare with {shown(baseline)}"
        message = f"lamps.csv: no {lacking}; a plan needs the baseline and one lamp more"
        raise MethodError(message, code="no_lamps")
    return [baseline, *others]


def _housings(bench: Bench, named: Sequence[str]) -> list[str]:
    """Return the housings to plan for; one without a name where bench.toml has none."""
    _known(named, list(bench.housings), "housing", "bench.toml")
    return [h for h in bench.housings if not named or h in named] or [""]


def _known(named: Iterable[str], codes: Sequence[str], what: str, where: str) -> None:
    """Refuse a code that names nothing."""
    for code in named:
        if code not in codes:
            message = f'{what} "{shown(code)}" is not in {where}, which has {listed(codes) or "none"}'
            raise ValueError(message)


def _minutes(seatings: Sequence[Seating]) -> int:
    """Return when the last lamp has cooled."""
    return max(one.off + COOL_MINUTES[one.held] for one in seatings)


class _Choice:
    """Chooses the seatings of an evening from what a folder holds."""

    def __init__(self, bench: Bench, lamps: list[str], housings: list[str], date: str, seed: int) -> None:
        self.bench, self.housings, self.date, self.seed = bench, housings, date, seed
        self.baseline, *self.lamps = lamps
        self.pieces = {lamp: self._pieces(lamp) for lamp in lamps}
        first = [(lamp, self.pieces[lamp][0], housing) for lamp in lamps for housing in housings]
        once = tuple(Seating(*piece, "1", held=False, camera=False, start=0, off=0) for piece in first)
        self.repeats, self.base = 1, evaluate(bench) if len(bench.tables["readings"]) else None
        whole = evaluate(self._with(once, stamped=False))
        self.spreads = _kept(self.base or whole, lamps)
        self.floor = {}
        for lamp, _, housing in (piece for piece in first if piece[0] != self.baseline):
            pair = whole.ratio(lamp, self.baseline, housing=housing).result
            self.floor[lamp, housing] = 0.0 if pair is None else pair.without("seating").u ** 2
        self.repeats = self._repeats()
        self.seated, self.held = Counter[Piece](), set[Piece]()
        if self.base is not None:
            self._count(self.base)
        self.labels = self._labels()
        self.camera = bool((~bench.tables["thermal"]["method"].isin(["thermocouple", ""])).any())
        self.asked = self._questions()
        self.targets = self._targets()

    def _pieces(self, lamp: str) -> list[str]:
        """Return the pieces of a lamp: those read, the one read most first; else those bought; else one."""
        read = self.bench.tables["readings"]
        counts = read.loc[read["lamp"] == lamp, "specimen"].value_counts(sort=False)
        if len(counts):
            return [str(piece) for piece in counts.sort_values(ascending=False, kind="stable").index]
        table = self.bench.tables["lamps"]
        bought = float(table.loc[table["lamp"] == lamp, "specimens_bought"].iloc[0])
        return [str(n) for n in range(1, 1 + (int(bought) if bought == bought else 1))]

    def _repeats(self) -> int:
        """Return how many readings at one instant pay, by the scatter of readings and of seatings."""
        least = min(spread.sd for spread in self.spreads.reading.values())
        levels = {"seating": self.spreads.mounting.sd, "reading": least}
        if self.base is None or self.spreads.single or min(levels.values()) == 0.0:
            return MOST_READINGS
        cost = {"seating": float(SEAT_MINUTES + READ_MINUTES + COOL_MINUTES[False]), "reading": 1.0 / 3.0}
        pays = int(allocate_effort(levels, cost)["count"].iloc[-1])
        return min(max(pays, LEAST_READINGS), MOST_READINGS)

    def _count(self, base: Campaign) -> None:
        """Count the seatings of the folder, and the pieces that were read at the hold time."""
        seats = base.seats[base.seats["point"] == "hot_spot"].drop_duplicates([*SEATED, "instant"])
        mine = seats.set_index("instant")[["lamp", "specimen", "housing"]]
        for instant, into in (("initial", self.seated), ("hold", self.held)):
            into.update(mine[mine.index == instant].itertuples(index=False, name=None))
        for run in warm_up_runs(self.bench):
            only = self.pieces.get(run.lamp, [""])
            if run.remaining is not None and run.remaining.method != "bounds":
                self.held.add((run.lamp, run.specimen or only[0], run.housing))

    def _questions(self) -> list[tuple[Question, list[Target]]]:
        """Return the questions that these lamps and housings can answer, with the ratios that each asks about."""
        found = []
        for question in self.bench.questions:
            lamps = [n for n in self.lamps if question.lamp in {n, "any"}]
            housings = [h for h in self.housings if question.housing in {h, "each", "any"}]
            found.append((question, [(n, h, question.instant) for n in lamps for h in housings]))
        return [one for one in found if one[1]]

    def _targets(self) -> dict[Target, bool]:
        """Return the ratios to narrow, and whether each is open: asked about, and not yet decided."""
        every = [(n, h, "hold") for n in self.lamps for h in self.housings]
        asked = [(t, question.more_than_percent) for question, targets in self.asked for t in targets]
        found = dict.fromkeys([*(t for t, _ in asked), *every], False)
        for target, percent in asked or [(t, 0.0) for t in every]:
            found[target] |= self._open(target, math.log1p(percent / 100.0))
        return found

    def _open(self, target: Target, limit: float) -> bool:
        """Return whether readings may still decide on which side of a limit in ln a ratio is."""
        pair = self._pair(self.base, target)
        if pair is None or pair.result is None:
            return True
        away, sd = pair.result.value - limit, self.spreads.seating_in(target[1]).sd
        floor = pair.result.without("seating").u
        need = mountings_to_separate(away, sd, floor, coverage=self.bench.settings.coverage)
        return abs(away) <= pair.ln_expanded_uncertainty and need.even_chance is not None

    def _pair(self, campaign: Campaign | None, target: Target) -> ReadingComparison | None:
        """Return a ratio to the baseline, or None where a campaign does not have it."""
        lamp, housing, instant = target
        if campaign is None or self.baseline != campaign.baseline:
            return None
        there = (lamp, housing, "hot_spot", instant) in campaign.compared(instant)
        return campaign.ratio(lamp, self.baseline, housing=housing, instant=instant) if there else None

    def answered(self) -> tuple[Question, ...]:
        """Return the questions that the folder's readings answer, as page one answers them."""
        base, found = self.base, []
        if base is None or base.baseline != self.baseline:
            return ()
        for question in self.bench.questions:
            there = [name for name in base.compared(question.instant) if name[2] == "hot_spot"]
            lamps = [n for n in dict.fromkeys(name[0] for name in there) if question.lamp in {n, "any"}]
            read = dict.fromkeys(name[1] for name in there)
            housings = [h for h in read if question.housing in {h, "each", "any"}]
            ranges: dict[str, dict[str, tuple[float, float]]] = {lamp: {} for lamp in lamps}
            for lamp, housing, *where in there:
                if lamp in ranges and housing in housings:
                    cells = base.judged((self.baseline, housing, *where), "specimens")[lamp]
                    ranges[lamp][housing] = (cells["low"], cells["high"])
            yes, undecided = question.told(ranges, housings)
            found += [question] * bool(lamps and (yes or not undecided))
        return tuple(found)

    def unheld(self, chosen: Sequence[Piece]) -> tuple[Piece, ...]:
        """Return the pieces that have no reading at the hold time after some more seatings."""
        held, known = self._after(chosen)[1], ((n, piece) for n, of in self.pieces.items() for piece in of)
        every = itertools.product(known, self.housings)
        return tuple(one for of, h in every if (one := (*of, h)) not in held)

    def pieces_for(self, hours: float) -> tuple[list[Piece], bool]:
        """Return what to seat between the baselines, the best use of the time first, and whether nothing more fits."""
        chosen: list[Piece] = []
        offered = [(n, piece, h) for n in self.lamps for piece in self.pieces[n] for h in self.housings]
        offered += [piece for piece in self.unheld(offered) if piece != self._end(piece[2])]
        spent, shortest, is_open = 0, math.inf, np.array([*self.targets.values()])
        while True:
            used = {h for *_, h in chosen}
            before, seated = self._widths(chosen), self._after(chosen)[0]
            # the first was asked for; until seatings repeat often enough to show their scatter, each is worth it
            unknown = self.spreads.mounting.assumed and seated.total() - len(seated) < LEAST_DOF
            worth = WORTH if chosen and not unknown else 0.0
            best: tuple[tuple[float, ...], Piece, int] | None = None
            fits, unheld = False, self.unheld(chosen)
            often = Counter((lamp, h) for lamp, _, h in chosen)
            for piece in [*offered, *(self._end(h) for h in self.housings if h in used)]:
                minutes = _minutes(self.schedule([*chosen, piece]))
                shortest = min(shortest, minutes)
                if minutes > 60.0 * hours:
                    continue
                fits = True
                gain = before - self._widths([*chosen, piece])
                each = [float(gain[which].sum()) for which in (is_open, slice(None))]
                asked, every = (one / max(minutes - spent, 1) if one > worth else 0.0 for one in each)
                first = piece in unheld or often[piece[0], piece[2]] < TWICE
                key = (asked if self.asked else 0.0, float(first), asked, every)
                if (piece in unheld or max(asked, every) > 0.0) and (best is None or key > best[0]):
                    best = key, piece, minutes
            if best is None:
                break
            chosen, spent = [*chosen, best[1]], best[2]
        if chosen:
            return chosen, not fits
        least = math.ceil(shortest / 6.0) / 10.0
        ends = f"{shown(self.baseline)} at both ends and one lamp"
        message = f"{hours:g} h is too short: {ends} take {least:g} h; give --hours {least:g} or more"
        raise MethodError(message, code="too_short", known={"least_hours": least})

    def _after(self, chosen: Sequence[Piece]) -> tuple[Counter[Piece], set[Piece]]:
        """Return the seatings and the pieces held after some more seatings between two of the baseline."""
        ends = [self._end(h) for h in dict.fromkeys(h for *_, h in chosen)]
        return self.seated + Counter([*chosen, *ends, *ends]), self.held | {*chosen, *ends}

    def _end(self, housing: str) -> Piece:
        """Return what opens and closes a housing."""
        return self.baseline, self.pieces[self.baseline][0], housing

    def _widths(self, chosen: Sequence[Piece]) -> NDArray[np.float64]:
        """Return ln of the standard uncertainty of each ratio after some seatings."""
        seated, held = self._after(chosen)
        return 0.5 * np.log([self._variance(target, seated, held) for target in self.targets])

    def _variance(self, target: Target, seated: Counter[Piece], held: set[Piece]) -> float:
        """Return the variance of a ln ratio: of seating, of pieces without readings, and what seatings do not lower."""
        lamp, housing, instant = target
        total = self.floor[lamp, housing]
        for one in (lamp, self.baseline):
            counts = {piece: n for (n0, piece, h), n in seated.items() if (n0, h) == (one, housing)}
            kept = {piece for n0, piece, h in held if (n0, h) == (one, housing)}
            if not counts or (instant == "hold" and not kept):
                return UNKNOWN
            share = sum(1.0 / n for n in counts.values()) / len(counts) ** 2
            total += self.spreads.seating_in(housing).sd ** 2 * share
            total += self.spreads.specimens[one].sd ** 2 * not_held(set(counts), set(self.pieces[one]))
            if instant == "hold":
                total += self.spreads.remaining[one].sd ** 2 * not_held(kept, set(counts))
        return total

    def schedule(self, pieces: Sequence[Piece]) -> tuple[Seating, ...]:
        """Return seatings in their order: of those whose turn it is, the one that can start first, then by lot."""
        settings, order = self.bench.settings, sorted(pieces)
        lot = np.random.default_rng(self.seed).permutation(len(order))
        turns: Counter[Piece] = Counter()
        waiting: list[tuple[float, int, Piece]] = []
        for rank, piece in zip(lot.tolist(), order, strict=True):
            turns[piece] += 1
            waiting.append((turns[piece], rank, piece))
        for n, housing in enumerate(h for h in self.housings if h in {piece[2] for piece in pieces}):
            waiting += [(0, n, self._end(housing)), (math.inf, len(order) + n, self._end(housing))]
        labels, held, done = self.labels.copy(), set(self.held), list[Seating]()
        empty: dict[str, int] = {}
        rested: dict[tuple[str, str], int] = {}

        def start(piece: Piece) -> int:
            free = max(done[-1].off if done else 0, empty.get(piece[2], 0)) + SEAT_MINUTES
            return max(free, rested.get(piece[:2], 0))

        while waiting:
            now = min((block for block, *_ in waiting if 0 < block < math.inf), default=0)
            least = {piece[2]: block for block, _, piece in sorted(waiting, reverse=True)}
            ready = [
                (start(piece), rank, block, piece)
                for block, rank, piece in waiting
                if block == least[piece[2]] and block in (0, now, math.inf)
            ]
            on, rank, block, piece = min(ready)
            waiting.remove((block, rank, piece))
            hold = piece not in held
            held.add(piece)
            look = self.camera and hold and piece[0] != self.baseline
            lit = math.ceil(settings.hold_minutes if hold else settings.initial_s / 60.0)
            off = on + lit + READ_MINUTES + CAMERA_MINUTES * look
            empty[piece[2]] = off + COOL_MINUTES[hold]
            rested[piece[:2]] = off + int(SHORT_REST_MIN)
            labels[piece] += 1
            done.append(Seating(*piece, str(labels[piece]), held=hold, camera=look, start=on, off=off))
        return tuple(done)

    def _labels(self) -> Counter[Piece]:
        """Return the largest number that a seating of each piece has on that day so far."""
        days, read = self.bench.tables["days"], self.bench.tables["readings"]
        mine = read[read["day"].isin(days.loc[days["date"] == self.date, "day"])]
        found = Counter[Piece]()
        seated = mine[SEATED].drop_duplicates().itertuples(index=False, name=None)
        for lamp, specimen, housing, _, label in seated:
            piece = (lamp, specimen, housing)
            found[piece] = max(found[piece] + 1, int(label) if label.isdecimal() else 0)
        return found

    def shows(self, seatings: tuple[Seating, ...]) -> tuple[pd.DataFrame, tuple[Assumption, ...]]:
        """Return what the readings of some seatings will show, and what that rests on."""
        after = evaluate(self._with(seatings), spreads=self.spreads)
        lamps = {(s.lamp, s.housing): s for s in seatings if s.lamp != self.baseline}
        again = [replace(s, mounting="once more", held=False, camera=False) for s in lamps.values()]
        more = evaluate(self._with((*seatings, *again)), spreads=self.spreads)
        coverage, rows = self.bench.settings.coverage, []
        assumed: dict[Assumption, None] = {}
        for target in self.targets:
            found = self._pair(after, target) if target[:2] in lamps else None
            if found is None or found.result is None:
                continue
            u, dof = found.result.u / math.sqrt(2.0), found.result.dof
            how = {"dof": dof, "coverage": coverage}
            chance = [resolvable_ratio(u, 1, power=p, **how) - 1.0 for p in (EVEN_CHANCE, FOUR_IN_FIVE)]
            three = [self._pair(self.base, target), found, self._pair(more, target)]
            wide = [math.nan if one is None else one.ln_expanded_uncertainty for one in three]
            rows.append((*target, *wide, *chance, found.largest_term))
            assumed |= dict.fromkeys(found.assumed)
        if self.base is None:
            assumed[Assumption("level of the readings", USUAL_LUX, "lx", "until there is one")] = None
        figures = ["now", "after", "one_more", "even_chance", "four_in_five"]
        return pd.DataFrame(rows, columns=[*TARGET, *figures, "largest"]), tuple(assumed)

    def rehearsed(self, seatings: Sequence[Seating], shows: pd.DataFrame, drawn: int) -> pd.DataFrame:
        """Return what some benches drawn, with the readings of some seatings, show of ratios."""
        most = max(math.ceil(150.0 * shows["four_in_five"].max()), *DIFFERENCES)
        apart = tuple(sorted({*DIFFERENCES, *np.linspace(0.0, most, 1 + STEPS).tolist()}))
        keys = shows[TARGET].assign(baseline=self.baseline, point="hot_spot")
        ratios = set(keys[list(LINE[1:6])].itertuples(index=False, name=None))
        protocol = Protocol(self._with(seatings), spreads=self.spreads)
        plan = Plan(self.seed, apart, families_every=0)
        found = rehearsed(protocol, plan, lambda line: line[1:6] in ratios, drawn)
        own = found[found["scope"] == "specimens"].set_index(TARGET)
        shares = own[own["figure"] == "shown"].pivot_table("value", TARGET, "true_difference_percent")
        # none was rehearsed where a record alone holds every lamp
        shares = shares.reindex(columns=np.union1d(shares.columns, DIFFERENCES))
        return shares.assign(half_width=own.loc[own["figure"] == "half-width", "value"]) / 100.0

    def bought(self, seatings: Sequence[Seating], drawn: int) -> pd.DataFrame:
        """Return what one single change buys beside the readings of some seatings, by so many benches each."""
        how: dict[str, Any] = {"benches": drawn, "seed": self.seed, "spreads": self.spreads}
        return what_changes_buy(self._with(seatings), difference_percent=DIFFERENCES[0], **how)

    def _with(self, seatings: Sequence[Seating], *, stamped: bool = True) -> Bench:
        """Return the bench as if some seatings had been read, each at the light that is expected of it."""
        settings, given = self.bench.settings, self.bench.tables["readings"]
        meter = meter_of(self.bench)
        clock = 6 * 60  # which hour does not matter: the hours between readings do
        after = {"initial": settings.initial_s, "hold": 60.0 * settings.hold_minutes}
        cells = [
            {
                "lamp": one.lamp, "specimen": one.specimen, "housing": one.housing, "mounting": one.mounting,
                "day": "evening", "clock": _clock(clock + one.start + after[instant] / 60.0) if stamped else "",
                "repeat": float(n + 1), "elapsed_s": after[instant], "meter": meter, "point": "hot_spot",
                "illuminance_lx": level, "range_lx": self._range(meter, level),
                "socket_V": settings.reference_voltage_V, "measured_at": "socket",
                "ambient_C": settings.reference_ambient_C,
            }
            for one in seatings
            for instant in one.instants
            if instant in after
            for level in [self._level(one.lamp, one.housing, instant)]
            for n in range(self.repeats)
        ]  # fmt: skip
        rows = empty_table(TABLES["readings"], len(cells)).assign(**pd.DataFrame(cells))
        both = pd.concat([given, rows], ignore_index=True) if len(given) else rows
        return replace(self.bench, tables={**self.bench.tables, "readings": both})

    def _level(self, lamp: str, housing: str, instant: str) -> float:
        """Return the light [lx] that is expected of a lamp: what it gave before, else what lamps gave there."""
        if self.base is None:
            return USUAL_LUX
        joint = self.base.joint
        light: dict[Any, float] = dict(zip(joint.names, np.exp(joint.values).tolist(), strict=True))
        there = [v for n, v in light.items() if n[1] == housing] or [*light.values()]
        initial = light.get((lamp, housing, "hot_spot", "initial"), float(np.median(there)))
        return light.get((lamp, housing, "hot_spot", instant), initial)

    def _range(self, meter: str, level: float) -> float:
        """Return the range on which a level is read: the one used most where it holds it, else the lowest that does."""
        used = self.bench.tables["readings"]["range_lx"].dropna()
        usual = used[used * FULL_RANGE >= level].mode()
        holding = (top for top in (*usual, *self.bench.meters[meter].ranges_lx) if FULL_RANGE * top >= level)
        return float(next(holding, math.nan))


def _clock(minutes: float) -> str:
    """Return minutes after midnight as a clock shows them."""
    return f"{int(minutes) // 60:02d}:{int(minutes) % 60:02d}"


def _kept(base: Campaign, lamps: Iterable[str]) -> Spreads:
    """Return the standard deviations of a campaign, with the declared ones for lamps it has not read."""
    settings, known = base.bench.settings, base.spreads
    declared = (settings.specimen_sd_percent, settings.remaining_sd_percent)
    pieces, left = (own_specimens(None, percent / 100.0) for percent in declared)
    scatter, read = min(known.reading.values(), key=lambda spread: spread.sd), known.reading
    # seatings hold that of single readings; an evening repeats its own
    if scatter.assumed and not known.single:
        scatter, read = Spread(settings.reading_sd_percent / 100.0, math.inf, assumed=True), {}
    every = dict.fromkeys([*known.reading, *lamps])
    return replace(
        known,
        reading={lamp: read.get(lamp, scatter) for lamp in every},
        specimens={lamp: known.specimens.get(lamp, pieces) for lamp in every},
        remaining={lamp: base.held.spreads.get(lamp, left) for lamp in every},
        flagged=(),
    )
