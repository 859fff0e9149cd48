"""What is asked at a hot bench and what an answer does: `photolab take`, without its screen.

What is wanted next follows from the journal alone, so that a run that was cut off goes on where it was. A figure
belongs to a mark (the initial or the hold time since switch-on) or to a record of the warm-up. No ratio and no verdict
is shown; of the interval only how wide it is.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import pandas as pd

from photolab.bench.folder.cautions import SHORT_REST_MIN, listed
from photolab.bench.folder.checks import check_dark, check_light
from photolab.bench.folder.declared import FILE, read_toml
from photolab.bench.folder.files import WORKBOOK
from photolab.bench.folder.journal import (
    BEGUN,
    Day,
    Journal,
    Seating,
    Sheet,
    append,
    last_undoable,
    midnight,
    open_sheet,
    put_behind,
    recover,
    rows_of,
)
from photolab.bench.folder.records import read_bench
from photolab.bench.folder.write import READINGS
from photolab.bench.inputs.spreads import LEAST_DOF
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.cells import CellFault, check_number, parse_number
from photolab.bench.terms.faults import Faults, hint, shown
from photolab.bench.terms.schema import TABLES
from photolab.errors import MethodError, attempt
from photolab.metrology.reporting import decimal
from photolab.publication.sentences.cautions import DISCHARGE

TYPING_S = 30.0
"""A figure typed no later than this after a mark was read at the mark. [s]"""
CONTINUED = timedelta(hours=6)
"""A journal whose last entry is older is not gone on with: its open seating is finished, today has its own."""
FAR_SD = 6.0
"""So many reading SDs from its like within a seating, a figure is asked about. [1]"""
USUAL_SD = 0.03
"""Reading SD until the bench has told its own: none that was measured is larger, no two digits swapped smaller. [1]"""
SLIP_LN = 0.85 * math.log(10.0)
"""So far in ln from another seating a place may have slipped: ten times, give or take what lamps differ. [1]"""
MUST = ("lamp", "illuminance_lx", "elapsed_s", "specimen", "mounting", "rest_minutes", "clock")
"""Columns of readings.csv without which a row of a test day would say less than was typed."""
WORDS = (
    "words: stop, undo, note and what to note, skip, keep, swap; else what is asked for, Enter for the usual."
)
STARTER = (*MUST, "housing", "day", "repeat", "meter", "range_lx", "dark_lx", "note")
"""Columns of the readings.csv that takes the place of the untouched one of a new folder."""
ASKS = {
    "late": "{text}: typed {s:.0f} s after switch-on. keep: it was read at the mark; Enter: read just then.",
    "far": "{text}: far from its like. keep, or type it again.",
    "range": "{text}: on which range, {ranges} lx? Or undo, and type it again.",
}
"""What is asked about a figure, in order."""
SEEN = ("method", "place", "set_emissivity", "emissivity", "emissivity_half_width")
"""How a case is seen: the same as in the row of thermal.csv before, unless another row is typed there."""
CELLS = {
    "dark": ("readings", "dark_lx", "Dark reading: meter in its place, lamp covered (Enter: none)"),
    "volts": ("readings", "socket_V", "Volts at the socket of {lamp} (Enter: none)"),
    "watts": ("electrical", "power_W", "Watts of {lamp} (Enter: none)"),
    "amperes": ("electrical", "current_A", "Amperes of {lamp} (Enter: none)"),
    "case": ("thermal", "displayed_C", "Case of {lamp}, °{unit}, seen as before: {seen} (Enter: none)"),
}
"""Questions whose answer is one cell or none: its table, its column, the words; asked where the file has the column."""
ORDER = ("range", "dark", "on", "lux", "volts", "watts", "amperes", "case", "off")
"""Questions of a seating, in order."""
ENTRIES = {"on": {"": "on", "skip": "done"}, "lux": {"": "through", "skip": "through"}, "off": {"": "off"}}
"""What Enter and skip confirm at a lamp that is seated."""
WHO = ("lamp", "specimen", "housing")
PROMPTS = {
    "lamp": "Enter when it is seated; skip, swap, another lamp's code, or stop",
    "free": "Code of the lamp to seat, or stop",
    "early": "keep, or Enter",
    "housing": "Housing: {housings}",
    "specimen": "Which piece of {lamp}",
    "range": "Range of the meter, {ranges} lx",
    "on": "Enter at the moment {lamp} is switched on",
    "before": "Read at {mark}",
    "now": "READ NOW: the figure of the meter",
    "again": "Another figure, or Enter to go on",
    "late": "keep, or Enter",
    "far": "keep, or the figure again",
    "off": "Switch {lamp} off, then Enter",
} | {name: words for name, (_, _, words) in CELLS.items()}
REPEATED = {"seating", "reading scatter"}
"""Inputs that one more seating makes smaller."""
TAKEN_BACK = {"lux": "the figure", "through": "Enter", "seat": "the call", "on": "the start"}


@dataclass(frozen=True)
class Step:
    """One seating that is planned or was named; step 0 is not of the plan."""

    lamp: str
    specimen: str
    housing: str
    mounting: str = ""
    hold: bool = False
    step: int = 0

    def __str__(self) -> str:
        piece = f", piece {shown(self.specimen)}" if self.specimen else ""
        return f"{shown(self.lamp)}{piece}{', in ' + shown(self.housing) if self.housing else ''}"


@dataclass
class Figure:
    """A reading that is typed and not yet confirmed; ``doubt`` is what is asked, ``open`` what may be asked."""

    text: str
    lx: float
    at: datetime
    instant: str
    s: float
    open: set[str]
    doubt: str = ""


class View(NamedTuple):
    """What a screen shows: a title, large figures, lines, what is asked, what was said."""

    title: str
    big: str
    lines: tuple[str, ...]
    prompt: str
    said: str


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
        self.said, self.ended = "", False
        self.asked: Figure | Step | None = None
        self.named: dict[str, Any] = {}
        _refuse_unfit(folder)
        at = now()
        today = folder / f"take-{at:%Y-%m-%d}.journal"
        self.journal = Journal(max(folder.glob("take-????-??-??.journal"), default=today))
        recover(self.journal, now)
        self.load()
        last = self.journal.entries[-1:]
        if last and at - datetime.fromisoformat(last[0]["at"]) > CONTINUED:
            self._close(at)
            self.journal = Journal(today)
        readings = self.sheets["readings"].path
        if readings.read_bytes() == READINGS.encode():  # of a new folder, untouched: no figure stands in it
            self._put(readings, f"{','.join(STARTER)}\n".encode())
        head = self.day.head or self._head(at)
        self._check_columns(head)
        if not self.day.head:
            self._give_day(head["day"])
            self.journal.add("begin", at, **head)
        self._append_done()

    def load(self) -> None:
        """Read the folder as it is, and what it comes to."""
        self.bench = read_bench(self.folder, before_readings=True)
        declared = read_toml((self.folder / FILE).read_text(encoding="utf-8-sig"), Faults())
        self.decimal, self.sheets = declared.decimal, {}
        for table in ("readings", "warm_up", "electrical", "thermal"):
            path = self.folder / TABLES[table].file
            if table in {"readings", "warm_up"} or path.exists():
                sheet = open_sheet(path, table, declared.separator, declared.decimal)
                sheet.sha = self.bench.hashes.get(path.name, sheet.sha)  # as found sound
                self.sheets[table] = sheet
        found = attempt(evaluate, self.bench) if len(self.bench.tables["readings"]) else None
        self.campaign = found if isinstance(found, Campaign) else None

    @property
    def day(self) -> Day:
        """What the journal comes to."""
        return self.journal.day

    @property
    def began(self) -> datetime:
        """When the day began."""
        return datetime.fromisoformat(self.day.head["at"])

    def _head(self, at: datetime) -> dict[str, str]:
        """Return the codes of the day and its meter, or refuse where the folder does not name them."""
        days, meters, date = self.bench.tables["days"], list(self.bench.meters), f"{at:%Y-%m-%d}"
        head = {"day": date if self.sheets["readings"].holds("day") else "", "meter": ""}
        if len(days) and not self._coded_by_date:
            today = days[days["date"] == date]
            if today.empty:
                _refuse("day_missing", f"days.csv: no day of {date}; add a row with a code and this date.")
            head = {name: str(today[name].iloc[0]) for name in head}
        if not head["meter"] and len(meters) > 1:
            words = f"write the meter of {date} ({listed(meters)}) into the row of the day."
            _refuse("day_missing", f"days.csv: {words}")
        return {"day": head["day"], "meter": head["meter"] or meters[0]}

    @property
    def _coded_by_date(self) -> bool:
        """Whether days have no codes but their dates, and days.csv holds nothing else and every day of the tables."""
        days, plain = self.bench.tables["days"], self._list_of_days.header == [*BEGUN["days"]]
        used = {code for table in self.bench.tables.values() if "day" in table for code in table["day"]}
        known = used <= {"", *days["day"]} and bool((days["day"] == days["date"]).all())
        return plain and known and self.sheets["readings"].separator == ","

    @property
    def _list_of_days(self) -> Sheet:
        return open_sheet(self.folder / TABLES["days"].file, "days", ",", self.decimal)

    def _give_day(self, day: str) -> None:
        """Put a new day into days.csv where days are coded by their dates; what it held stays as it was."""
        if not day or not self._coded_by_date or day in set(self.bench.tables["days"]["day"]):
            return
        sheet = self._list_of_days
        held = sheet.path.read_bytes() if sheet.path.exists() else b""
        self._put(sheet.path, held + sheet.text([{"day": day, "date": day}], held).encode())

    def _put(self, path: Path, data: bytes) -> None:
        """Write a file in one step, and read the folder again."""
        _refuse_open(path)
        beside = path.with_name(f".{path.stem}.part")
        beside.unlink(missing_ok=True)  # of a run that was killed
        put_behind(beside, data)
        beside.replace(path)
        self.load()

    def _check_columns(self, head: Mapping[str, str]) -> None:
        """Refuse a readings.csv that cannot hold what is typed."""
        sheet = self.sheets["readings"]
        if not len(self.bench.tables["readings"]) and len(sheet.path.read_bytes().split()) > 1:
            words = "readings.csv: holds rows without lux; take them out, whole rows are put below."
            _refuse("rows_without_lux", words)
        several = {
            "housing": len(self.bench.housings) > 1,
            "day": len(self.bench.tables["days"]) > 0,
            "meter": len(self.bench.meters) > 1,
            "range_lx": len(self.bench.meters[head["meter"]].ranges_lx) > 1,
        }
        wanted = [*MUST, *(name for name, needed in several.items() if needed)]
        if lacking := [name for name in wanted if not sheet.holds(name)]:
            words = f"no column {listed(lacking)}; add to the first row what is missing, "
            _refuse("columns_missing", f"readings.csv:1: {words}and a blank cell to each row below.")

    @property
    def ranges(self) -> tuple[float, ...]:
        """Tops of the ranges of the day's meter [lx]."""
        return self.bench.meters[self.day.head["meter"]].ranges_lx

    @property
    def range_lx(self) -> float | None:
        """The range in use; None where the meter declares none [lx]."""
        return self.ranges[0] if len(self.ranges) == 1 else self.day.range_lx

    @property
    def step_lx(self) -> float:
        """The last figure of that range; 0 where none is declared [lx]."""
        meter = self.bench.meters[self.day.head["meter"]]
        return dict(zip(meter.ranges_lx, meter.resolution_lx, strict=False)).get(self.range_lx or 0.0, 0.0)

    @property
    def seating(self) -> Seating:
        """The seating that is open; a ValueError where none is."""
        [seating] = [one for one in self.day.seatings[-1:] if not one.done]
        return seating

    @property
    def marks(self) -> dict[str, float]:
        """Instants of the open seating at which the meter is read [s]."""
        settings = self.bench.settings
        hold = {"hold": 60.0 * settings.hold_minutes} if self.seating.head["hold"] else {}
        return {"initial": settings.initial_s, **hold}

    @property
    def awaited(self) -> str:
        """The instant that is read next; nothing where all were."""
        through = {e["instant"] for e in self.seating.of("through")}
        return next((name for name in self.marks if name not in through), "")

    def elapsed(self, at: datetime) -> float:
        """Return the time since switch-on; 0 where the clock of the machine was set back since [s]."""
        return max((at - self.seating.on).total_seconds(), 0.0) if self.seating.on else math.nan

    def steps(self) -> list[Step]:
        """Return what the plan still has for the day, in the order in which it will be called."""
        plan = self.bench.tables["plan"]
        plan = plan[(plan["date"] == f"{self.began:%Y-%m-%d}") & (plan["instant"] != "camera")]
        plan = plan.assign(hold=plan["instant"] == "hold").sort_values("step", kind="stable")
        of_one = plan.astype({"step": int}).groupby([*WHO, "mounting"], sort=False)
        made = of_one.agg({"hold": "any", "step": "first"}).reset_index()
        order = [Step(*row) for row in made.itertuples(index=False, name=None)]
        for swap in self.day.swapped:
            places = [i for i, step in enumerate(order) if step.step in swap]
            for i, step in zip(places, [order[i] for i in reversed(places)], strict=True):
                order[i] = step
        return [step for step in order if step.step not in self.day.passed]

    def rest_ends(self, step: Step) -> datetime | None:
        """Return when the rest of a lamp is over; None where it was not on that day."""
        piece, day = {"lamp": step.lamp, "specimen": step.specimen}, self.day.head["day"]
        off = [one.off for one in self.day.seatings if one.off and piece.items() <= one.head.items()]
        for clock in filter(None, self._read(**piece, day=day)["clock"] if day else ()):
            hour, minute = map(int, clock.split(":")[:2])
            off.append(midnight(self.began) + timedelta(hours=hour, minutes=minute))
        return max(off) + timedelta(minutes=SHORT_REST_MIN) if off else None

    @property
    def wanted(self) -> str:
        """What the next line of typing is taken for."""
        if self.asked is not None:
            return "figure" if isinstance(self.asked, Figure) else "early"
        if self.day.open is None:
            return next(name for name in WHO if name not in self.named)
        return next(name for name in ORDER if self._may(name))

    def _may(self, name: str) -> bool:
        """Whether a question is still to be asked; one whose answer is a cell once, and where a file has its column."""
        if name not in CELLS:
            unknown = len(self.ranges) > 1 and self.day.range_lx is None
            asked = {"range": unknown, "on": self.seating.on is None, "lux": bool(self.awaited)}
            return asked.get(name, True)
        table, column, _ = CELLS[name]
        if table not in self.sheets or not self.sheets[table].holds(column):
            return False
        if name == "dark":
            return (self.seating.head["housing"], self.range_lx) not in self.day.dark
        if self.seating.of("also", column=column) or (table != "readings" and "hold" not in self.marks):
            return False
        if name == "amperes":
            return bool(self._volts) and not self.sheets[table].holds("power_W")
        return name != "case" or "method" in self._seen

    @property
    def _volts(self) -> dict[str, str]:
        """The volts of the open seating as a cell, where they were typed."""
        return next((e["cells"] for e in self.seating.of("also", column="socket_V")), {})

    @property
    def _seen(self) -> dict[str, str | float]:
        """How the case of a lamp was seen before: as in its last row of thermal.csv, else in the last of all."""
        rows = self.bench.tables["thermal"]
        own = rows[rows["lamp"] == self.seating.head["lamp"]]
        last = (own if len(own) else rows).tail(1).to_dict("records")
        return {name: row[name] for row in last for name in SEEN if row[name] == row[name] != ""}

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
        self.said, wanted, asked = "", self.wanted, self.asked
        try:
            if not text.isprintable():
                self.said = "an arrow or another key without a letter came with it; type it again."
            elif text == "stop":
                self.journal.add("stop", at)
                self.ended = True
            elif text == "undo":
                self._undo(at)
            elif text == "help":
                self.said = WORDS
            elif word == "note":
                self._note(rest.strip(), at)
            elif isinstance(asked, Figure):
                self._answer(asked, text, at)
            elif isinstance(asked, Step):
                self.asked = None
                self.journal.add("answered", at, text=text)
                if text == "keep":
                    self._call(asked, at, early=True)
            elif wanted == "range":
                self._take_range(text, at)
            elif wanted in CELLS:
                self._take_cell(wanted, "" if text == "skip" else text, at)
            elif wanted in ENTRIES:
                self._take_step(wanted, text, at)
            elif wanted == "lamp" and text in {"", "skip", "swap"}:
                self._take_planned(text, at)
            else:
                self._take_code(wanted, text, at)
        except CellFault as fault:
            self.said = str(fault)

    def _ask(self, words: str, at: datetime) -> None:
        self.said = words
        self.journal.add("asked", at, text=words)

    def _undo(self, at: datetime) -> None:
        if self.asked or self.named:
            if self.asked:
                self.journal.add("answered", at, text="undo")
            self.asked, self.named = None, {}
            self.said = "taken back; nothing of it was kept."
        elif last := last_undoable(self.journal):
            self.journal.add("undo", at)
            named = last.get("column") or TAKEN_BACK.get(last["entry"], last["entry"])
            self.said = f"taken back: {named} {shown(str(last.get('text', '')))}".strip()
        else:
            self.said = 'nothing to take back: rows in readings.csv stay; write "yes" into exclude there.'

    def _note(self, text: str, at: datetime) -> None:
        self.said = "note, then what is worth remembering."
        if text:
            self.journal.add("note", at, text=text)
            kept = self.day.open is not None and self.sheets["readings"].holds("note")
            self.said = "noted." if kept else "noted, in the journal alone."

    # which lamp

    def _take_planned(self, text: str, at: datetime) -> None:
        """Take Enter, skip or swap before a step of the plan."""
        steps = self.steps()
        if len(steps) < 1 + (text == "swap"):
            self.said = f"nothing to {text}." if text else "type the code of a lamp."
        elif text == "skip":
            self.journal.add("skip", at, step=steps[0].step)
        elif text:
            self.journal.add("swap", at, steps=[steps[0].step, steps[1].step])
        else:
            self._call(steps[0], at)

    def _codes(self, name: str) -> list[str]:
        """Return what a lamp, its housing or its piece may be called, as far as that is known."""
        if name == "housing":
            return list(self.bench.housings)
        if name == "specimen":
            return list(dict.fromkeys(self._read(lamp=self.named["lamp"])["specimen"]))
        lamps, rows = self.bench.tables["lamps"], self.bench.tables["readings"]
        return list(dict.fromkeys([*lamps["lamp"], *rows["lamp"]]))

    def _take_code(self, name: str, text: str, at: datetime) -> None:
        """Take the code of a lamp, its piece or its housing, and call the lamp where no other one is open."""
        known = self._codes(name)
        if name == "specimen" and (text in {"skip", "swap", "keep"} or (not text and len(known) > 1)):
            self.said = f"{listed(known)}, or a new one?"
            return
        if name != "specimen" and text not in known:
            where = "in lamps.csv" if name == "lamp" else "a housing"
            self.said = f'"{shown(text)}" is not {where}{hint(text, known)}.'
            return
        self.named[name] = text or next(iter(known), "1")
        if len(self.bench.housings) < 2:
            self.named["housing"] = "".join(self.bench.housings)
        if self._codes("specimen") == [""]:
            self.named["specimen"] = ""
        if len(self.named) == 3:
            step, self.named = Step(**self.named), {}
            read = self._read(lamp=step.lamp, specimen=step.specimen, housing=step.housing)["elapsed_s"]
            held = (read > 30.0 * self.bench.settings.hold_minutes).any()
            self._call(replace(step, hold=not held), at)

    def _read(self, **same: str) -> pd.DataFrame:
        """Return the readings of the folder in whose rows these cells stand."""
        rows = self.bench.tables["readings"]
        return rows[(rows[list(same)] == list(same.values())).all(axis=1)]

    def _call(self, step: Step, at: datetime, *, early: bool = False) -> None:
        """Seat a lamp, or ask first where its rest is not over."""
        ends = self.rest_ends(step)
        if ends is not None and ends > at and not early:
            self.asked = step
            rests = f"{shown(step.lamp)} rests until {ends:%H:%M}."
            self._ask(f"{rests} keep: seat it all the same; Enter: another.", at)
            return
        rested = math.nan if ends is None else (at - ends).total_seconds() // 60 + SHORT_REST_MIN
        rest = int(rested) if rested >= 0 else None  # it cannot have ended later than now
        same = {name: getattr(step, name) for name in WHO}
        used = {"", *self._read(**same, day=self.day.head["day"])["mounting"]}
        used |= {one.head["mounting"] for one in self.day.seatings if same.items() <= one.head.items()}
        free = next(str(n) for n in count(1) if str(n) not in used)
        mounting = free if step.mounting in used else step.mounting
        self.journal.add("seat", at, **vars(replace(step, mounting=mounting)), rest=rest)

    # what is typed at a lamp

    def _take_range(self, text: str, at: datetime) -> None:
        value = parse_number(text, decimal=self.decimal)
        if value not in self.ranges:
            words = f"{shown(text)} is not a range of the meter; it has {self._tops} lx."
            raise CellFault(words, code="fault 12")
        self.journal.add("range", at, lx=value)

    @property
    def _tops(self) -> str:
        return ", ".join(f"{top:g}" for top in self.ranges)

    def _take_cell(self, name: str, text: str, at: datetime) -> None:
        """Take an answer of one cell; with it go the cells that its row of another table must have."""
        table, column, _ = CELLS[name]
        number = self._number(text, table, column) if text else math.nan
        if name == "dark":
            on_it = [e["lx"] for e in self.seating.of("lux", range=self.range_lx)]
            self._check_light(min(on_it, default=math.nan), number)
            self.journal.add("dark", at, housing=self.seating.head["housing"], range=self.range_lx, text=text)
            return
        beside: dict[str, Mapping[str, str | float]] = {"thermal": self._seen}
        beside["electrical"] = {"per": "lamp", **self._volts}
        cells = {column: text, **beside.get(table, {})} if text else {}
        s = round(self.elapsed(at))
        self.journal.add("also", at, table=table, column=column, text=text, s=s, cells=cells)

    def _check_light(self, lx: float, dark: float) -> None:
        """Refuse what the reader of the folder would refuse in a row with this light and dark reading [lx]."""
        cells = {"illuminance_lx": lx, "dark_lx": dark, "range_lx": self.range_lx or math.nan}
        row = pd.DataFrame([{**cells, "meter": self.day.head["meter"], "line": 0}])
        faults = Faults()
        check_light(row, "readings.csv", self.bench.meters, faults)
        check_dark(row, faults)
        for fault in faults.faults:
            words = f"dark {fault.message}" if fault.column == "dark_lx" else fault.message
            raise CellFault(words, code=fault.code)

    def _number(self, text: str, table: str = "readings", column: str = "illuminance_lx") -> float:
        """Return what was typed in the unit of a column, typed in that of its header."""
        about, form = TABLES[table].column(column), self.sheets[table].form(column)
        return check_number(parse_number(text, decimal=self.decimal), text, about, form)

    def _take_step(self, wanted: str, text: str, at: datetime) -> None:
        """Take Enter or skip at a lamp, else a figure of the meter."""
        entry, instant = ENTRIES[wanted].get(text), self.awaited
        if entry is None and wanted == "on":
            self.said = "press Enter alone at the moment the lamp is switched on."
        elif entry is None:
            self._new_figure(text, at)
        elif wanted == "lux" and not text and not self.seating.of("lux", instant=instant):
            self.said = "type the figure of the meter, or skip."
        else:
            self.journal.add(entry, at, **({"instant": instant} if wanted == "lux" else {}))
        if entry == "off":
            head = self.seating.head
            self._close(at)
            self.said = interval_words(self.campaign, head) or "in the tables."

    def _new_figure(self, text: str, at: datetime) -> None:
        s, instant, doubts = self.elapsed(at), self.awaited, {"far", "range"}
        if instant:
            mark = self.marks[instant]
            if mark <= s <= mark + TYPING_S:
                s = mark
            elif s > mark and not self.seating.of("lux", instant=instant):
                doubts.add("late")
            elif not mark - self.bench.settings.initial_window_s <= s < mark:
                instant = ""
        figure = Figure(text, self._number(text), at, instant, round(s, 1), doubts)
        if not instant and any(e["s"] >= figure.s for e in self.seating.of("lux", instant="")):
            self.said = "one figure at a time; not kept."
        else:
            self._weigh(figure, at)

    def _weigh(self, figure: Figure, at: datetime) -> None:
        """Ask about a figure that was typed, or confirm it."""
        doubts = {"late": True, "far": self._far(figure), "range": self._other_range(figure)}
        for doubt, words in ASKS.items():
            if doubts[doubt] and doubt in figure.open:
                self.asked, figure.doubt = figure, doubt
                self._ask(words.format(text=shown(figure.text), s=figure.s, ranges=self._tops), at)
                return
        self.asked = None
        dark = self.day.dark.get((self.seating.head["housing"], self.range_lx), "") if figure.instant else ""
        self._check_light(figure.lx, self._number(dark, column="dark_lx") if dark else math.nan)
        told = {"text": figure.text, "lx": figure.lx, "instant": figure.instant, "s": figure.s}
        self.journal.add("lux", figure.at, **told, range=self.range_lx)
        self.said = "kept." if figure.instant else f"kept for the warm-up, at {figure.s:.0f} s."

    def _answer(self, figure: Figure, text: str, at: datetime) -> None:
        """Take what was answered about a figure."""
        settled = text in {"keep", ""}
        if figure.doubt == "range":
            self._take_range(text, at)
            settled = figure.lx <= (self.range_lx or 0.0)
        elif figure.doubt == "late" and text == "keep":
            figure.s = self.marks[figure.instant]
        elif figure.doubt == "late" and not text:
            figure.instant = ""
        elif text != "keep":  # typed again, and asked again where it is far still
            figure.lx, figure.text = self._number(text), text
        figure.open -= {figure.doubt} if settled else set()
        self.journal.add("answered", at, text=text)
        self._weigh(figure, at)

    def _other_range(self, figure: Figure) -> bool:
        """Whether the meter cannot have shown a figure on the range in use."""
        if self.range_lx is None or len(self.ranges) < 2:
            return False
        counts = figure.lx / self.step_lx if self.step_lx else 0.0
        in_lx = self.sheets["readings"].holds("illuminance_lx") == "illuminance_lx"
        return figure.lx > self.range_lx or (in_lx and abs(counts - round(counts)) > 1e-6)

    def _far(self, figure: Figure) -> bool:
        """Whether a figure is far from its like within the seating, or about ten times that of another one."""
        head, mine = self.seating.head, self.seating.of("lux")
        value = math.log(figure.lx)
        like = [math.log(e["lx"]) for e in mine if e["instant"] == figure.instant != ""]
        spread = self.campaign.spreads.reading if like and self.campaign else {}
        told = spread.get(head["lamp"], next(iter(spread.values()), None))
        sd = told.sd if told and told.dof >= LEAST_DOF and not told.assumed else USUAL_SD
        least = self.step_lx / math.sqrt(12.0) / figure.lx
        if like and abs(value - sum(like) / len(like)) > FAR_SD * max(sd, least):
            return True
        there = self._read(housing=head["housing"])
        own = there[there["lamp"] == head["lamp"]]
        known = sorted([e["lx"] for e in mine] or (own if len(own) else there)["illuminance_lx"])
        return bool(known) and abs(value - math.log(known[len(known) // 2])) > SLIP_LN

    def _close(self, at: datetime) -> None:
        """Finish the open seating, if there is one, and put what was typed into the tables."""
        if self.day.open is not None:
            self.journal.add("done", at)
        self._append_done()

    def _append_done(self) -> None:
        entries = len(self.journal.entries)
        for number, seating in enumerate(self.day.seatings):
            made = rows_of(self.day, number) if seating.done else {}
            for table in [table for table in made if table not in seating.written]:
                _refuse_open(self.sheets[table].path)
                append(self.journal, number, self.sheets[table], made[table], self.now)
        if len(self.journal.entries) > entries:
            self.load()

    # what is shown

    def mark_reached(self, before: datetime, at: datetime) -> bool:
        """Return whether a mark of the open seating lies between two times."""
        on = self.day.open.on if self.day.open else None
        return on is not None and any(before < on + timedelta(seconds=s) <= at for s in self.marks.values())

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
        seating, wanted = self.day.open, self.wanted
        told = {"ranges": self._tops, "housings": listed(self.bench.housings)}
        if seating is None:
            title, big, lines = self._called(at)
            wanted = "free" if wanted == "lamp" and not lines else wanted
            told["lamp"] = shown(self.named.get("lamp", ""))
        else:
            head, s = seating.head, self.elapsed(at)
            title, big = f"{Step(*(head[name] for name in WHO))}, seating {head['mounting']}", _minutes(s)
            typed = {f"at {_minutes(mark)}": instant for instant, mark in self.marks.items()}
            typed["warm-up"] = ""
            lines = [
                f"{name:<9} {'  '.join(shown(e['text']) for e in seating.of('lux', instant=instant)[-8:])}".rstrip()
                for name, instant in typed.items()
            ]
            lines = lines[:-1] if lines[-1] == "warm-up" else lines
            mark = self.marks.get(self.awaited, math.nan)
            if wanted == "lux":
                first = "before" if s < mark else "now"
                wanted = "again" if seating.of("lux", instant=self.awaited) else first
            told |= {"lamp": shown(head["lamp"]), "mark": _minutes(mark)}
        wanted = self.asked.doubt if isinstance(self.asked, Figure) else wanted
        if wanted == "case":
            seen = ", ".join(shown(f"{x}") for x in self._seen.values())
            told |= {"unit": self.sheets["thermal"].holds("displayed_C")[-1], "seen": seen}
        return View(title, big, tuple(lines), PROMPTS[wanted].format(**told), self.said)

    def _called(self, at: datetime) -> tuple[str, str, list[str]]:
        """Return title, large figures and lines while no lamp is seated."""
        steps = self.steps()
        if not steps:
            return "No step of plan.csv is left for today" if len(self.bench.tables["plan"]) else "", "", []
        first, ends = steps[0], self.rest_ends(steps[0])
        if ends is not None and ends > at:
            rests = f"{shown(first.lamp)} rests until {ends:%H:%M}; swap, or another lamp's code"
            return "A rest", _minutes((ends - at).total_seconds()), [rests]
        read = "initial and hold time" if first.hold else "initial time alone"
        strikes = self.bench.technologies.get(first.lamp) == "discharge"
        return f"Step {first.step}: {first}", "", [read] + [DISCHARGE] * strikes


def _minutes(s: float) -> str:
    """Return seconds as m:ss; nothing where there are none."""
    return "" if math.isnan(s) else f"{int(s) // 60}:{int(s) % 60:02d}"


def _refuse(code: str, words: str) -> NoReturn:
    raise MethodError(words, code=code)


def _refuse_unfit(folder: Path) -> None:
    """Refuse a folder without a readings.csv that can be appended to."""
    path = folder / "readings.csv"
    if (folder / WORKBOOK).exists():
        words = "take appends to readings.csv, and this folder is a workbook; type into its sheet."
        _refuse("workbook", f"{WORKBOOK}: {words}")
    if not path.exists() and (folder / FILE).exists():
        words = f"{path.name}: is not in the folder; its first row names {', '.join(MUST)}."
        _refuse("file_missing", words)
    _refuse_open(path)


def _refuse_open(path: Path) -> None:
    """Refuse a table that is open elsewhere: what is appended would be lost when it is saved there."""
    for name in (f".~lock.{path.name}#", f"~${path.name}"):
        if path.with_name(name).exists():
            words = f"{path.name}: open in a spreadsheet ({name} lies beside it); save and close it there, then run"
            _refuse("file_open", f"{words} the same line again. If nobody has it open, delete that file.")
    try:
        if path.is_file():
            path.open("ab").close()
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        _refuse("file_open", f"{path.name}: cannot be appended to: {reason}; close it where it is open.")


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
    if campaign is None or (lamp, housing, "hot_spot", "initial") not in campaign.compared():
        return ""
    try:
        pair = campaign.ratio(lamp, campaign.baseline, housing=housing)
    except (MethodError, ValueError):  # a bench that leaves the law no answer
        return ""
    if pair.result is None or not pair.result.u:
        return ""
    repeated = ((q.name, (c * q.u) ** 2) for q, c in pair.result.parts.items() if q.kind in REPEATED)
    named = ((name, part) for name, part in repeated if isinstance(name, tuple))
    again = [(name[4:6], part) for name, part in named if name[1:4] == (lamp, specimen, housing)]
    less = sum(part for _, part in again) / (len({seating for seating, _ in again}) + 1)
    half = 100.0 * pair.ln_expanded_uncertainty
    more = half * math.sqrt(max(1.0 - less / pair.result.u**2, 0.0))
    head = f"{shown(lamp)} in {shown(housing)}: its interval is now ±{decimal(half, 1)} % ({100.0 * pair.coverage:g} %)"
    return f"{head}; one more seating would make about ±{decimal(more, 1)} %."
