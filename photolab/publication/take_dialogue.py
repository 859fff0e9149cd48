"""What is asked at a hot bench and what an answer does: `photolab take`, without its screen.

What is wanted next follows from the journal alone, so that a run that was cut off goes on where it was. A figure
belongs to a mark (the initial or the hold time since switch-on) or to a record of the warm-up. No ratio and no verdict
is shown; of the interval only how wide it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from photolab.bench.campaign import Campaign
from photolab.bench.cautions import SHORT_REST_MIN, listed
from photolab.bench.cells import CellFault, check_number, parse_code, parse_number
from photolab.bench.declared import FILE, read_toml
from photolab.bench.evaluation import evaluate
from photolab.bench.faults import Faults, hint, shown
from photolab.bench.files import WORKBOOK
from photolab.bench.journal import (
    Journal,
    Seating,
    Sheet,
    append,
    last_undoable,
    open_sheet,
    recover,
    rows_of,
)
from photolab.bench.records import read_bench
from photolab.bench.schema import TABLES
from photolab.bench.spreads import LEAST_DOF
from photolab.bench.write import READINGS
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal

TYPING_S = 30.0
"""A figure typed so long after a mark was read at the mark. [s]"""
CONTINUED = timedelta(hours=6)
"""A journal whose last entry is older is closed: another day begins another one."""
FAR_SD = 6.0
"""So many reading SDs from its like within a seating, a figure is asked about. [1]"""
SLIP_LN = 0.85 * math.log(10.0)
"""So far in ln from another seating, a place may have slipped: ten times, give or take what lamps differ. [1]"""
MUST = ("lamp", "illuminance_lx", "elapsed_s", "specimen", "mounting", "rest_minutes", "clock")
"""Columns of readings.csv without which a row of a test day would say less than was typed."""
STARTER = ("lamp", "illuminance_lx", "housing", "day", "clock", "specimen", "mounting", "repeat", "elapsed_s",
           "rest_minutes", "meter", "range_lx", "dark_lx", "note")  # fmt: skip
"""Columns of the readings.csv that takes the place of the untouched one of a new folder."""
ALSO = {"electrical": ("power_W",), "thermal": ("displayed_C", "method", "set_emissivity")}
"""What is asked while the lamp is still on after the hold time, where the folder has the table."""
WORDS = {
    "power_W": "Watts of the lamp",
    "displayed_C": "Case, °C as displayed",
    "method": "Seen how",
    "set_emissivity": "Emissivity set",
}
FIXED = {"electrical": {"per": "lamp"}, "thermal": {"place": "case"}}


@dataclass(frozen=True)
class Step:
    """One seating that is planned or was named; step 0 is not of the plan."""

    lamp: str
    specimen: str = ""
    housing: str = ""
    mounting: str = ""
    hold: bool = False
    step: int = 0


@dataclass
class Figure:
    """A reading that is typed and not yet confirmed."""

    text: str
    lx: float
    at: datetime
    instant: str
    s: float
    asks: str = ""
    settled: set[str] = field(default_factory=set)


@dataclass(frozen=True)
class View:
    """What a screen shows: a title, large figures, lines, what is asked, what was said."""

    title: str
    big: str
    lines: tuple[str, ...]
    prompt: str
    said: str


def _minutes(s: float) -> str:
    """Return seconds as m:ss."""
    whole = int(s)
    return f"{whole // 60}:{whole % 60:02d}"


def _called(lamp: str, specimen: str, housing: str) -> str:
    piece = f", piece {shown(specimen)}" if specimen else ""
    return f"{shown(lamp)}{piece}{', in ' + shown(housing) if housing else ''}"


class Take:
    """The conversation of a test day.

    Parameters
    ----------
    folder : Path
        The bench folder.
    now : callable
        The clock: the time with its zone.

    Raises
    ------
    RecordError
        If the folder has faults.
    MethodError
        If readings.csv cannot take rows as it is.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self.folder, self.now = folder, now
        self.said = ""
        self.ended = False
        self.figure: Figure | None = None
        self.named: dict[str, str | None] | None = None
        self.early: Step | None = None
        self.cells: dict[str, str] = {}
        _refuse_open_files(folder)
        at = now()
        today = folder / f"take-{at:%Y-%m-%d}.journal"
        self.journal = Journal(max(folder.glob("take-????-??-??.journal"), default=today))
        recover(self.journal, now)
        self.load()
        self.day = self.journal.day
        if self.day.head and self.journal.path != today and at - self._last() > CONTINUED:
            self._close(at)
            self.journal = Journal(today)
            self.day = self.journal.day
        head = self.day.head or self._head(at)
        self._check_columns(head)
        if not self.day.head:
            self._add("begin", at, **head)
        self._append_done()

    def _last(self) -> datetime:
        return datetime.fromisoformat(self.journal.entries[-1]["at"])

    def load(self) -> None:
        """Read the folder as it is, and what it comes to."""
        self.bench = read_bench(self.folder, begun=False)
        declared = read_toml((self.folder / FILE).read_text(encoding="utf-8-sig"), Faults())
        self.decimal = declared.decimal
        self.sheets: dict[str, Sheet] = {}
        for table in ("readings", "warm_up", *ALSO):
            path = self.folder / TABLES[table].file
            if table in {"readings", "warm_up"} or path.exists():
                sheet = open_sheet(path, table, declared.separator, declared.decimal)
                sheet.sha = self.bench.hashes.get(path.name, sheet.sha)  # what was found sound
                self.sheets[table] = sheet
        self.campaign = _evaluated(self.bench)

    def _head(self, at: datetime) -> dict[str, str]:
        """Return the codes of the day and its meter, or refuse where the folder does not name them."""
        days, date = self.bench.tables["days"], f"{at:%Y-%m-%d}"
        row: dict[Any, Any] = {"day": date if self.sheets["readings"].holds("day") else "", "meter": ""}
        if len(days):
            today = days[days["date"] == date]
            if today.empty:
                message = f"days.csv: no day of {date}; add a row with a code and this date."
                raise MethodError(message, code="day_missing")
            row = today.to_dict("records")[0]
        meters = list(self.bench.meters)
        if not row["meter"] and len(meters) > 1:
            message = f"days.csv: write the meter of {date} ({listed(meters)}) into the row of the day."
            raise MethodError(message, code="meter_missing")
        return {"day": str(row["day"]), "meter": str(row["meter"] or meters[0])}

    def _check_columns(self, head: Mapping[str, str]) -> None:
        """Refuse a readings.csv that cannot hold what is typed; give the untouched one of a new folder its columns."""
        sheet = self.sheets["readings"]
        data = sheet.path.read_bytes()
        if data == READINGS.encode():
            beside = sheet.path.with_name(".readings.part")
            beside.write_text(",".join(STARTER) + "\n", encoding="utf-8")
            beside.replace(sheet.path)
            self.load()
            return
        if not len(self.bench.tables["readings"]) and len(data.split()) > 1:
            message = "readings.csv: holds rows without lux; take them out, take appends whole rows."
            raise MethodError(message, code="rows_without_lux")
        several = {
            "housing": len(self.bench.housings) > 1,
            "day": len(self.bench.tables["days"]) > 0,
            "meter": len(self.bench.meters) > 1,
            "range_lx": len(self.bench.meters[head["meter"]].ranges_lx) > 1,
        }
        wanted = [*MUST, *(name for name, needed in several.items() if needed)]
        lacking = [name for name in wanted if not sheet.holds(name)]
        if lacking:
            message = (
                f"readings.csv:1: no column {listed(lacking)}; add {'it' if len(lacking) == 1 else 'them'} to the "
                "first row and leave the cells below blank."
            )
            raise MethodError(message, code="columns_missing")

    @property
    def ranges(self) -> tuple[float, ...]:
        """Tops of the ranges of the day's meter [lx]."""
        return self.bench.meters[self.day.head["meter"]].ranges_lx

    @property
    def marks(self) -> dict[str, float]:
        """Instants of the open seating at which the meter is read [s]."""
        settings = self.bench.settings
        seating = self.day.open
        hold = {"hold": 60.0 * settings.hold_minutes} if seating and seating.head["hold"] else {}
        return {"initial": settings.initial_s, **hold}

    @property
    def awaited(self) -> str:
        """The instant that is read next; nothing where all were."""
        seating = self.day.open
        through = {e["instant"] for e in seating.of("through")} if seating else set()
        return next((name for name in self.marks if name not in through), "")

    def elapsed(self, at: datetime) -> float:
        """Return the time since switch-on [s]."""
        seating = self.day.open
        return (at - seating.on).total_seconds() if seating and seating.on else math.nan

    def steps(self, at: datetime) -> list[Step]:
        """Return what the plan still has for the day.

        Parameters
        ----------
        at : datetime
            Now.

        Returns
        -------
        list of Step
            In the order in which they will be called.
        """
        plan = self.bench.tables["plan"]
        plan = plan[(plan["date"] == f"{self._begun(at):%Y-%m-%d}") & (plan["instant"] != "camera")]
        made: dict[tuple[str, ...], Step] = {}
        for row in plan.sort_values("step", kind="stable").to_dict("records"):
            key = tuple(str(row[c]) for c in ("lamp", "specimen", "housing", "mounting"))
            first = made.get(key)
            hold = row["instant"] == "hold" or bool(first and first.hold)
            made[key] = Step(key[0], key[1], key[2], key[3], hold, first.step if first else int(row["step"]))
        order = list(made.values())
        for one, other in self.day.swapped:
            places = [next((i for i, s in enumerate(order) if s.step == step), -1) for step in (one, other)]
            if min(places) >= 0:
                i, j = places
                order[i], order[j] = order[j], order[i]
        return [step for step in order if step.step not in self.day.passed]

    def _begun(self, at: datetime) -> datetime:
        head = self.day.head.get("at")
        return datetime.fromisoformat(head) if head else at

    def rest_ends(self, step: Step, at: datetime) -> datetime | None:
        """Return when the rest of a lamp is over; None where it was not on since."""
        off = [s.off for s in self.day.seatings if _same(s, step) and s.off]
        rows = self.bench.tables["readings"]
        mine = rows[(rows["lamp"] == step.lamp) & (rows["specimen"] == step.specimen) & (rows["clock"] != "")]
        for clock in mine.loc[mine["day"] == self.day.head["day"], "clock"] if self.day.head["day"] else ():
            hour, minute = (int(part) for part in str(clock).split(":")[:2])
            read = self._begun(at).replace(hour=hour, minute=minute, second=0, microsecond=0)
            off += [read] if read <= at else []
        return max(off) + timedelta(minutes=SHORT_REST_MIN) if off else None

    def wanted(self) -> str:
        """Return what the next line of typing is taken for."""
        seating = self.day.open
        if self.figure is not None:
            return "figure"
        if seating is None:
            if self.early:
                return "early"
            return next((n for n, v in (self.named or {}).items() if v is None), "lamp")
        if len(self.ranges) > 1 and self.day.range_lx is None:
            return "range"
        if self.sheets["readings"].holds("dark_lx") and self._dark_key(seating) not in self.day.dark:
            return "dark"
        if seating.on is None:
            return "on"
        if self.awaited:
            return "lux"
        asked = {e["table"] for e in seating.of("also")}
        left = (t for t in ALSO if t in self.sheets and t not in asked and seating.head["hold"])
        return f"also {table}" if (table := next(left, "")) else "off"

    def _dark_key(self, seating: Seating) -> tuple[str, float | None]:
        return seating.head["housing"], self.range_lx

    @property
    def range_lx(self) -> float | None:
        """The range in use; None where the meter declares none [lx]."""
        return self.ranges[0] if len(self.ranges) == 1 else self.day.range_lx

    def enter(self, typed: str, at: datetime) -> None:
        """Take one line of typing.

        Parameters
        ----------
        typed : str
            The line.
        at : datetime
            When Enter was pressed.
        """
        text = typed.strip()
        word, _, rest = text.partition(" ")
        self.said = ""
        if word == "stop" and not rest:
            self.journal.add("stop", at)
            self.ended = True
            return
        if word == "undo" and not rest:
            self._undo(at)
        elif word == "note":
            self._note(rest.strip(), at)
        else:
            wanted = self.wanted()
            answer: Callable[[str, datetime], None] = getattr(self, f"_take_{wanted.partition(' ')[0]}")
            try:
                answer(text, at)
            except CellFault as fault:
                self.said = str(fault)
        self.day = self.journal.day

    def _add(self, entry: str, at: datetime, **held: object) -> None:
        self.journal.add(entry, at, **held)
        self.day = self.journal.day

    def _ask(self, words: str, at: datetime) -> None:
        self.said = words
        self.journal.add("asked", at, text=words)

    def _undo(self, at: datetime) -> None:
        if self.figure or self.early or self.named:
            self.figure = self.early = self.named = None
            self.said = "taken back; nothing of it was kept."
            return
        last = last_undoable(self.journal)
        if last is None:
            self.said = 'nothing to take back: rows in readings.csv stay; write "yes" into exclude there.'
            return
        self._add("undo", at)
        what = {"lux": "the figure", "also": "the answer", "through": "the step", "seat": "the call"}
        self.said = (
            f"taken back: {what.get(last['entry'], last['entry'])} {shown(str(last.get('text', '')))}".strip()
        )

    def _note(self, text: str, at: datetime) -> None:
        if not text:
            self.said = "note, then what is worth remembering."
            return
        self._add("note", at, text=text)
        kept = self.day.open is not None and self.sheets["readings"].holds("note")
        self.said = "noted." if kept else "noted, in the journal alone."

    def mark_reached(self, before: datetime, at: datetime) -> bool:
        """Return whether a mark of the open seating lies between two times."""
        seating = self.day.open
        if seating is None or seating.on is None:
            return False
        marks = (seating.on + timedelta(seconds=s) for s in self.marks.values())
        return any(before < mark <= at for mark in marks)

    def view(self, at: datetime) -> View:
        """Return what a screen shows.

        Parameters
        ----------
        at : datetime
            Now.

        Returns
        -------
        View
            Lines and the large figures.
        """
        seating, wanted = self.day.open, self.wanted()
        if seating is None:
            return self._view_between(wanted, at)
        head = seating.head
        title = _called(head["lamp"], head["specimen"], head["housing"]) + f", seating {head['mounting']}"
        lines = []
        for instant, mark in [*self.marks.items(), ("", math.nan)]:
            figures = [shown(e["text"]) for e in seating.of("lux", instant=instant)]
            name = f"at {_minutes(mark)}" if instant else "warm-up"
            if instant or figures:
                lines.append(f"{name:<9} {'  '.join(figures[-8:])}".rstrip())
        s = self.elapsed(at)
        mark = self.marks.get(self.awaited, math.nan)
        have = bool(seating.of("lux", instant=self.awaited))
        prompts = {
            "figure": "?",
            "range": f"Range of the meter, {', '.join(f'{r:g}' for r in self.ranges)} lx",
            "dark": "Dark reading, meter in its place and the lamp covered (Enter: none)",
            "on": f"Enter at the moment {shown(head['lamp'])} is switched on",
            "lux": "Another figure, or Enter to go on" if have else f"Read at {_minutes(mark)}",
            "off": f"Switch {shown(head['lamp'])} off, then Enter",
        }
        if wanted == "lux" and s >= mark and not have:
            prompts["lux"] = "READ NOW: the figure of the meter"
        if table := wanted.partition(" ")[2]:
            name = self._also(table)
            codes = TABLES[table].column(name).codes
            prompts[wanted] = f"{WORDS[name]}{': ' + ', '.join(codes) if codes else ''} (Enter: none)"
        big = "" if seating.on is None else _minutes(s)
        return View(title, big, tuple(lines), prompts[wanted], self.said)

    def _view_between(self, wanted: str, at: datetime) -> View:
        """Return what a screen shows while no lamp is seated."""
        steps = self.steps(at)
        called = steps[0] if steps else None
        ends = self.rest_ends(called, at) if called else None
        wait = (ends - at).total_seconds() if ends else 0.0
        prompts = {
            "early": "keep, or Enter",
            "housing": f"Housing: {listed(self.bench.housings)}",
            "specimen": "Which piece",
            "lamp": "Enter when it is seated; skip, swap, another lamp's code, or stop",
        }
        if called is None:
            prompts["lamp"] = "Code of the lamp to seat, or stop"
            title = "No step of plan.csv is left for today" if len(self.bench.tables["plan"]) else ""
            return View(title, "", (), prompts[wanted], self.said)
        title = f"Step {called.step}: {_called(called.lamp, called.specimen, called.housing)}"
        if wait > 0.0 and ends:
            prompts["lamp"] = "swap, another lamp's code, or stop"
            lines = (f"{shown(called.lamp)} rests until {ends:%H:%M}",)
            return View("A rest", _minutes(wait), lines, prompts[wanted], self.said)
        lines = ("initial and hold time" if called.hold else "initial time alone",)
        return View(title, "", lines, prompts[wanted], self.said)

    # what is called

    def _take_lamp(self, text: str, at: datetime) -> None:
        steps = self.steps(at)
        called = steps[0] if steps else None
        if text in {"skip", "swap"}:
            if called is None or (text == "swap" and len(steps) < 2):
                self.said = f"nothing to {text}."
            elif text == "skip":
                self._add("skip", at, step=called.step)
            else:
                self._add("swap", at, step=called.step, **{"with": steps[1].step})
        elif not text:
            if called is None:
                self.said = "type the code of a lamp."
            else:
                self._call(called, at)
        else:
            self._name(text, at)

    def _name(self, text: str, at: datetime) -> None:
        lamps = list(
            dict.fromkeys([*self.bench.tables["lamps"]["lamp"], *self.bench.tables["readings"]["lamp"]])
        )
        if text not in lamps:
            self.said = f'"{shown(text)}" is not in lamps.csv{hint(text, lamps)}.'
            return
        housings, rows = list(self.bench.housings), self.bench.tables["readings"]
        pieces = list(dict.fromkeys(str(p) for p in rows.loc[rows["lamp"] == text, "specimen"]))
        self.named = {
            "lamp": text,
            "housing": None if len(housings) > 1 else next(iter(housings), ""),
            "specimen": pieces[0] if pieces == [""] else None,
        }
        self._named(at)

    def _named(self, at: datetime) -> None:
        if self.named and None not in self.named.values():
            lamp, housing, specimen = (str(self.named[k]) for k in ("lamp", "housing", "specimen"))
            self.named = None
            rows = self.bench.tables["readings"]
            late = rows["elapsed_s"] > 30.0 * self.bench.settings.hold_minutes
            keys = {"lamp": lamp, "housing": housing, "specimen": specimen}
            for name, value in keys.items():
                late &= rows[name] == value
            self._call(Step(lamp, specimen, housing, "", not late.any()), at)

    def _take_housing(self, text: str, at: datetime) -> None:
        assert self.named is not None
        if text not in self.bench.housings:
            self.said = f'"{shown(text)}" is not a housing{hint(text, self.bench.housings)}.'
            return
        self.named["housing"] = text
        self._named(at)

    def _take_specimen(self, text: str, at: datetime) -> None:
        assert self.named is not None
        rows = self.bench.tables["readings"]
        pieces = list(dict.fromkeys(str(p) for p in rows.loc[rows["lamp"] == self.named["lamp"], "specimen"]))
        if not text and len(pieces) > 1:
            self.said = f"which piece: {listed(pieces)}, or a new one?"
            return
        self.named["specimen"] = text or next(iter(pieces), "1")
        self._named(at)

    def _call(self, step: Step, at: datetime) -> None:
        ends = self.rest_ends(step, at)
        if ends is not None and ends > at:
            self.early = step
            words = (
                f"{shown(step.lamp)} rests until {ends:%H:%M}. keep: seat it all the same; Enter: another."
            )
            self._ask(words, at)
            return
        self._seat(step, at, ends)

    def _take_early(self, text: str, at: datetime) -> None:
        assert self.early is not None
        step, self.early = self.early, None
        self._add("answered", at, text=text)
        if text == "keep":
            self._seat(step, at, self.rest_ends(step, at))

    def _seat(self, step: Step, at: datetime, ends: datetime | None) -> None:
        rest = None if ends is None else int((at - ends).total_seconds() // 60 + SHORT_REST_MIN)
        rows = self.bench.tables["readings"]
        own = rows[(rows["lamp"] == step.lamp) & (rows["specimen"] == step.specimen)]
        own = own[(own["housing"] == step.housing) & (own["day"] == self.day.head["day"])]
        used = set(own["mounting"]) | {s.head["mounting"] for s in self.day.seatings if _same(s, step)}
        mounting = step.mounting
        if not mounting or mounting in used:
            mounting = next(str(n) for n in range(1, len(used) + 2) if str(n) not in used)
        told = {"lamp": step.lamp, "specimen": step.specimen, "housing": step.housing, "mounting": mounting}
        self._add("seat", at, **told, hold=step.hold, step=step.step, rest=rest)

    # what is typed at a lamp

    def _take_range(self, text: str, at: datetime) -> None:
        self._add("range", at, lx=self._range(text))

    def _range(self, text: str) -> float:
        value = parse_number(text, decimal=self.decimal)
        near = min(self.ranges, key=lambda top: abs(top - value))
        if abs(near - value) > 1e-9 * near:
            tops = ", ".join(f"{top:g}" for top in self.ranges)
            words = f"{shown(text)} is not a range of the meter; it has {tops} lx."
            raise CellFault(words, code="fault 12")
        return near

    def _take_dark(self, text: str, at: datetime) -> None:
        seating = self.day.open
        assert seating is not None
        if text:
            self._lux(text, "dark_lx")
        housing, top = self._dark_key(seating)
        self._add("dark", at, housing=housing, range=top, text=text)

    def _lux(self, text: str, column: str) -> float:
        """Return a figure of the meter in lux."""
        sheet = self.sheets["readings"]
        about = sheet.table.column(column)
        form = next((f for f in about.forms if f.header == sheet.holds(column)), None)
        return check_number(parse_number(text, decimal=self.decimal), text, about, form)

    def _take_on(self, text: str, at: datetime) -> None:
        if text == "skip":
            self._add("done", at)
        elif text:
            self.said = "press Enter alone at the moment the lamp is switched on."
        else:
            self._add("on", at)

    def _take_lux(self, text: str, at: datetime) -> None:
        seating = self.day.open
        assert seating is not None
        instant = self.awaited
        if text == "skip" or (not text and seating.of("lux", instant=instant)):
            self._add("through", at, instant=instant, skipped=text == "skip")
        elif not text:
            self.said = "type the figure of the meter, or skip."
        else:
            self._new_figure(text, at)

    def _new_figure(self, text: str, at: datetime) -> None:
        seating = self.day.open
        assert seating is not None
        s, instant = self.elapsed(at), self.awaited
        asks = ""
        if instant:
            mark = self.marks[instant]
            have = bool(seating.of("lux", instant=instant))
            if mark <= s <= mark + TYPING_S:
                s = mark
            elif s > mark and not have:
                asks = "late"
            elif not (mark - self.bench.settings.initial_window_s <= s < mark):
                instant = ""
        figure = Figure(text, self._lux(text, "illuminance_lx"), at, instant, round(s, 1), asks)
        if not instant and any(e["s"] >= figure.s for e in seating.of("lux", instant="")):
            self.said = "one figure at a time; not kept."
            return
        self.figure = figure
        self._weigh(at)

    def _weigh(self, at: datetime) -> None:
        """Ask about the figure that was typed, or confirm it."""
        figure = self.figure
        assert figure is not None
        seconds = f"{figure.s:.0f} s after switch-on"
        asks = {
            "late": f"{shown(figure.text)}: typed {seconds}. keep: it was read at the mark; Enter: read just then.",
            "range": f"{shown(figure.text)}: which range was the meter on? {', '.join(f'{r:g}' for r in self.ranges)}",
            "far": f"{shown(figure.text)}: far from its like. keep, or type it again.",
        }
        doubts = {"late": figure.asks == "late", "range": self._other_range(figure), "far": self._far(figure)}
        for doubt, words in asks.items():
            if doubts[doubt] and doubt not in figure.settled:
                figure.asks = doubt
                self._ask(words, at)
                return
        self.figure = None
        told = {"text": figure.text, "lx": figure.lx, "instant": figure.instant, "s": figure.s}
        self._add("lux", figure.at, **told, range=self.range_lx)
        self.said = "kept." if figure.instant else f"kept for the warm-up at {figure.s:.0f} s."

    def _take_figure(self, text: str, at: datetime) -> None:
        figure = self.figure
        assert figure is not None
        doubt = figure.asks
        if doubt == "range":
            self._add("range", at, lx=self._range(text))
        elif doubt == "late" and text in {"keep", ""}:
            if text:
                figure.s = self.marks[figure.instant]
            else:
                figure.instant = ""
        elif text != "keep":
            figure.lx, figure.text = self._lux(text, "illuminance_lx"), text  # typed again: asked again
            self.journal.add("answered", at, text=text)
            self._weigh(at)
            return
        self.journal.add("answered", at, text=text)
        figure.settled.add(doubt)
        self._weigh(at)

    def _other_range(self, figure: Figure) -> bool:
        """Whether the meter cannot have shown a figure on the range in use."""
        top = self.range_lx
        if top is None or len(self.ranges) < 2:
            return False
        steps = dict(zip(self.ranges, self.bench.meters[self.day.head["meter"]].resolution_lx, strict=False))
        step = steps.get(top) if self.sheets["readings"].holds("illuminance_lx") == "illuminance_lx" else None
        finer = step is not None and abs(figure.lx / step - round(figure.lx / step)) > 1e-6
        return figure.lx > top or finer

    def _far(self, figure: Figure) -> bool:
        """Whether a figure is far from its like within the seating, or about ten times that of another one."""
        seating, rows = self.day.open, self.bench.tables["readings"]
        assert seating is not None
        mine = seating.of("lux")
        like = [math.log(e["lx"]) for e in mine if figure.instant and e["instant"] == figure.instant]
        value = math.log(figure.lx)
        if like and self.campaign:
            spread = self.campaign.spreads.reading
            sd = spread.get(seating.head["lamp"]) or next(iter(spread.values()))
            steps = dict(
                zip(self.ranges, self.bench.meters[self.day.head["meter"]].resolution_lx, strict=False)
            )
            least = steps.get(self.range_lx or 0.0, 0.0) / math.sqrt(12.0) / figure.lx
            if (
                sd.dof >= LEAST_DOF
                and not sd.assumed
                and abs(value - sum(like) / len(like)) > FAR_SD * max(sd.sd, least)
            ):
                return True
        there = rows[rows["housing"] == seating.head["housing"]]
        own = there[there["lamp"] == seating.head["lamp"]]
        others = [float(x) for x in (own if len(own) else there)["illuminance_lx"]]
        known = sorted([e["lx"] for e in mine] or others)
        return bool(known) and abs(value - math.log(known[len(known) // 2])) > SLIP_LN

    def _take_also(self, text: str, at: datetime) -> None:
        table = self.wanted().partition(" ")[2]
        name = self._also(table)
        about = TABLES[table].column(name)
        if text and about.numeric:
            check_number(parse_number(text, decimal=self.decimal), text, about)
        elif text and about.codes:
            text = parse_code(text, about)
        if text or self.cells:
            self.cells[name] = text
        if not text or not self._also(table):
            whole = all(self.cells.values()) or self.cells.get("method") == "thermocouple"
            cells = {**self.cells, **FIXED[table]} if self.cells and whole else {}
            self.said = (
                "" if cells or not self.cells else f"left out: {listed(ALSO[table])} are wanted together."
            )
            self.cells = {}
            self._add("also", at, table=table, s=round(self.elapsed(at)), cells=cells)

    def _also(self, table: str) -> str:
        """Return the next column that is asked of a table."""
        if self.cells.get("method") == "thermocouple":
            return ""
        return next((name for name in ALSO[table] if name not in self.cells), "")

    def _take_off(self, text: str, at: datetime) -> None:
        seating = self.day.open
        assert seating is not None
        if text:
            self._new_figure(text, at)
            return
        self._add("off", at)
        self._close(at)
        self.said = interval_words(self.campaign, seating.head) or "in the tables."

    def _close(self, at: datetime) -> None:
        """Finish the open seating, if there is one, and put what is typed into the tables."""
        self.day = self.journal.day
        if self.day.open is not None:
            self._add("done", at)
        self._append_done()

    def _append_done(self) -> None:
        wrote = False
        for number, seating in enumerate(self.day.seatings):
            for table, rows in rows_of(self.day, number).items() if seating.done else ():
                if table not in seating.written:
                    append(self.journal, number, self.sheets[table], rows, self.now)
                    wrote = True
        if wrote:
            self.day = self.journal.day
            self.load()


def _same(seating: Seating, step: Step) -> bool:
    return (seating.head["lamp"], seating.head["specimen"]) == (step.lamp, step.specimen)


def _refuse_open_files(folder: Path) -> None:
    """Refuse a readings.csv that is not there to be appended to."""
    path = folder / "readings.csv"
    if (folder / WORKBOOK).exists():
        message = (
            f"{WORKBOOK}: take appends to readings.csv, and this folder is a workbook; type into its sheet."
        )
        raise MethodError(message, code="workbook")
    for name in (f".~lock.{path.name}#", f"~${path.name}"):
        if (folder / name).exists():
            message = (
                f"{path.name}: open in a spreadsheet ({name} lies beside it); save and close it there. "
                "If nobody has it open, delete that file."
            )
            raise MethodError(message, code="file_open")
    if path.is_file():
        try:
            path.open("ab").close()
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            message = f"{path.name}: cannot be appended to: {reason}; close it where it is open."
            raise MethodError(message, code="file_open") from None


def _evaluated(bench: Any) -> Campaign | None:
    if not len(bench.tables["readings"]):
        return None
    try:
        return evaluate(bench)
    except MethodError:
        return None


def interval_words(campaign: Campaign | None, seated: Mapping[str, Any]) -> str:
    """Return how wide the interval of a lamp against the baseline now is, and with one more seating.

    Parameters
    ----------
    campaign : Campaign or None
        The evaluation.
    seated : mapping
        lamp, specimen and housing that were seated.

    Returns
    -------
    str
        One sentence without a value or a verdict; nothing where there is no interval.
    """
    lamp, specimen, housing = (str(seated[name]) for name in ("lamp", "specimen", "housing"))
    names = (
        [n for n in campaign.compared() if n[:2] == (lamp, housing) and n[2] == "hot_spot"]
        if campaign
        else []
    )
    if campaign is None or not names:
        return ""
    pair = campaign.ratio(lamp, campaign.baseline, housing=housing)
    if pair.result is None or not pair.result.u:
        return ""
    repeated = {"seating", "reading scatter"}
    mine = {q: c for q, c in pair.result.parts.items() if q.kind in repeated}
    of = {q: q.name if isinstance(q.name, tuple) else () for q in mine}
    again = {q: c for q, c in mine.items() if of[q][1:4] == (lamp, specimen, housing)}
    seatings = len({of[q][4:6] for q in again if q.kind == "seating"})
    less = sum((c * q.u) ** 2 for q, c in again.items()) / (seatings + 1)
    half = 100.0 * pair.ln_expanded_uncertainty
    more = half * math.sqrt(max(1.0 - less / pair.result.u**2, 0.0))
    coverage = f"{100.0 * pair.coverage:g} %"
    return (
        f"{shown(lamp)} in {shown(housing)}: its interval is now ±{decimal(half, 1)} % ({coverage}); "
        f"one more seating would make about ±{decimal(more, 1)} %."
    )
