"""Invented bench folders of many shapes, each with the ratios it was drawn from.

The folders beside this file are benches as a person would keep them; the shapes below are written when they are
needed: ``python tests/benches/make.py OUT``. The same code gives the same bytes (but for the times in a workbook).
No lamp, maker or reading is real.
"""

from __future__ import annotations

import csv
import io
import json
import sys
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from math import exp
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl

Row = dict[str, Any]
Light = Mapping[str, float]
"""Lamp to its true illuminance at the initial time. [lx]"""

METER = {"reading_percent": 3, "digits": 5, "ranges_lx": [400, 4000, 40000], "resolution_lx": [0.1, 1, 10]}
HOUSING = {"kind": "reflector", "distance_m": 5.0, "distance_uncertainty_mm": 10, "offset_mm": 100}
HOSTILE = (
    "=1+1",
    'Ångström "no. 5"',
    "<b>bold</b> & more",
    "a$b$c",
    "_under_score_",
    "back\\slash",
    "W" * 100,
    r"$\frac{1}{0}$ {x} %s",
    "*star* #1 ~[a](b)",
    "@cmd|'x'!A0",
    "灯泡 🔦",
)
"""Names that one form or another of the report could take for something else."""


@dataclass
class Shape:
    """A bench folder to be written, and what is true of it.

    Attributes
    ----------
    about : str
        What is special about it.
    bench : dict
        Keys of [bench].
    meters, housings : dict
        Identity to the keys of [[meter]] and [[housing]].
    tables : dict
        Name of a CSV file to its rows.
    truths : dict
        (Lamp, housing) to the true ratio to the baseline at the initial time.
    rng : numpy.random.Generator
        Source of its scatter.
    """

    about: str
    bench: Row = field(default_factory=dict)
    meters: dict[str, Row] = field(default_factory=lambda: {"L1": METER})
    housings: dict[str, Row] = field(default_factory=lambda: {"R": HOUSING})
    tables: dict[str, list[Row]] = field(default_factory=dict)
    truths: dict[tuple[str, str], float] = field(default_factory=dict)
    rng: np.random.Generator = field(default_factory=np.random.default_rng)

    def add(self, table: str, *rows: Row) -> None:
        """Add rows to a CSV file."""
        self.tables.setdefault(table, []).extend(rows)

    def lamps(self, technologies: Mapping[str, str], **more: Mapping[str, Any]) -> None:
        """Add lamps, the first as the baseline; more columns by lamp."""
        for place, (lamp, technology) in enumerate(technologies.items()):
            row = {"lamp": lamp, "technology": technology, "role": "candidate" if place else "baseline"}
            self.add("lamps", row | {name: by.get(lamp, "") for name, by in more.items()})

    def days(self, number: int) -> None:
        """Add days d1, d2, … at room temperatures that rise."""
        self.add(
            "days",
            *(
                {"day": f"d{i}", "date": f"2026-02-{3 + i:02d}", "ambient_C": 15 + i}
                for i in range(1, number + 1)
            ),
        )

    def seat(
        self,
        light: Light,
        *,
        housing: str = "R",
        days: int = 1,
        mountings: int = 2,
        repeats: int = 1,
        seat_sd: float = 0.012,
        reading_sd: float = 0.003,
        step: float = 1.0,
        left: Mapping[float, Light] | None = None,
        **columns: Any,
    ) -> None:
        """Seat every lamp on every day and read it; ``left`` is what is left of its light, by instant [s]."""
        first = next(iter(light))
        self.truths |= {(lamp, housing): lux / light[first] for lamp, lux in light.items() if lamp != first}
        for day in range(1, days + 1):
            for mounting in range(1, mountings + 1):
                for lamp, lux in light.items():
                    seated = lux * exp(self.rng.normal(0.0, seat_sd))
                    for at, share in (left or {60.0: {}}).items():
                        shown = [
                            seated * share.get(lamp, 1.0) * exp(self.rng.normal(0.0, reading_sd))
                            for _ in range(repeats)
                        ]
                        self.add(
                            "readings",
                            *(
                                {
                                    "lamp": lamp,
                                    "illuminance_lx": f"{round(lx / step) * step:g}",
                                    "housing": housing,
                                    "day": f"d{day}" if "days" in self.tables else "",
                                    "mounting": mounting,
                                    "repeat": k,
                                    "elapsed_s": f"{at:g}",
                                    "range_lx": 4000,
                                    "socket_V": 13.2,
                                    **columns,
                                }
                                for k, lx in enumerate(shown, start=1)
                            ),
                        )

    def record(
        self, run: str, lamp: str, light: Callable[[float], float], *, minutes: float = 40.0, **columns: Any
    ) -> None:
        """Add a record every 30 s of a light over time [lx of s]."""
        for at in range(30, int(60 * minutes) + 1, 30):
            lux = light(float(at)) * exp(self.rng.normal(0.0, 0.0015))
            self.add(
                "warm_up",
                {
                    "run": run,
                    "lamp": lamp,
                    "elapsed_s": at,
                    "illuminance_lx": f"{lux:.0f}",
                    "housing": "R",
                    "range_lx": 4000,
                    **columns,
                },
            )

    def warm(self, *lamps: str) -> None:
        """Add watts and case temperatures of lamps."""
        for lamp in lamps:
            self.add(
                "electrical",
                *(
                    {"lamp": lamp, "elapsed_s": at, "power_W": watts, "per": "lamp"}
                    for at, watts in ((60, 24.0), (1800, 22.5))
                ),
            )
            self.add(
                "thermal",
                *(
                    {
                        "lamp": lamp,
                        "elapsed_s": 1800,
                        "displayed_C": shown,
                        "method": method,
                        "set_emissivity": 0.95,
                        "emissivity": e,
                        "ambient_C": 17,
                        "place": "fin",
                    }
                    for method, shown, e in (("tape", 81.0, 0.95), ("bare", 31.0, 0.12))
                ),
            )

    def files(self) -> dict[str, str]:
        """Return the text of every file."""
        sections = [("bench", {"protocol_revision": "1", **self.bench})]
        sections += [("[meter]", {"id": name, **keys}) for name, keys in self.meters.items()]
        sections += [("[housing]", {"id": name, **keys}) for name, keys in self.housings.items()]
        lines = ["schema = 1"]
        for name, keys in sections:
            lines += [f"[{name}]", *(f"{key} = {json.dumps(value)}" for key, value in keys.items())]
        return {"bench.toml": "\n".join(lines) + "\n"} | {
            f"{name}.csv": _csv(rows) for name, rows in self.tables.items()
        }


def _csv(rows: list[Row]) -> str:
    """Return rows as CSV; columns in the order in which they first appear."""
    stream = io.StringIO()
    writer = csv.DictWriter(
        stream, list(dict.fromkeys(key for row in rows for key in row)), lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def _settling(lux: float, left: float, tau: float) -> Callable[[float], float]:
    """Return a light that settles to a share of its value at 60 s."""
    return lambda t: lux * (left + (1.0 - left) * exp(-(t - 60.0) / tau))


def _stepped(lux: float, at: float, share: float) -> Callable[[float], float]:
    """Return a light that settles and falls at once to a share of itself."""
    settled = _settling(lux, 0.9, 240.0)
    return lambda t: settled(t) * (share if t >= at else 1.0)


def clear_winner(b: Shape) -> None:
    """One lamp clear of all others; claims and watts, no prices."""
    lamps = {"stock": "filament", "Asp": "led", "Bee": "led", "Cob": "led"}
    b.lamps(lamps, claimed_flux_lm={"Asp": 9000, "Bee": 2200}, claimed_per={"Asp": "pair", "Bee": "lamp"})
    b.days(2)
    b.seat({"stock": 520, "Asp": 832, "Bee": 572, "Cob": 561}, days=2)
    b.warm("Asp", "Bee")


def all_alike(b: Shape) -> None:
    """Five LED lamps, one of them the baseline, that give the same light."""
    b.bench = {"coverage": 0.9, "alike_percent": 15}
    lamps = [f"E{i}" for i in range(5)]
    b.lamps(dict.fromkeys(lamps, "led"))
    b.days(2)
    b.seat({lamp: 600 + i for i, lamp in enumerate(lamps)}, days=2, mountings=3)


def one_lamp(b: Shape) -> None:
    """One lamp and nothing to compare it with; every other file."""
    b.bench = {"currency": "EUR"}
    b.lamps(
        {"Solo": "led"},
        price={"Solo": 39},
        price_date={"Solo": "2026-01-04"},
        claimed_flux_lm={"Solo": 2000},
        claimed_per={"Solo": "lamp"},
    )
    b.days(1)
    b.seat({"Solo": 610}, mountings=3)
    b.record("w1", "Solo", _settling(610, 0.87, 300.0), day="d1", case_C=60, ambient_C=16)
    b.warm("Solo")
    for d in (2, 3, 4, 5, 6):
        lux = 610 * 5.1**2 / (d + 0.1) ** 2
        b.add(
            "distance",
            {"run": "r1", "lamp": "Solo", "housing": "R", "distance_m": d, "illuminance_lx": f"{lux:.0f}"},
        )


def one_reading(b: Shape) -> None:
    """One lamp, read once."""
    b.housings = {}
    b.add("readings", {"lamp": "Lone", "illuminance_lx": 318})


def one_each(b: Shape) -> None:
    """Four lamps read once each; no housing, no day, no mounting named."""
    b.housings = {}
    b.lamps({"U0": "led", "U1": "led", "U2": "led", "U3": "led"})
    light = {"U0": 410, "U1": 452, "U2": 640, "U3": 377}
    b.add("readings", *({"lamp": lamp, "illuminance_lx": lux} for lamp, lux in light.items()))
    b.truths = {(lamp, ""): lux / 410 for lamp, lux in light.items() if lamp != "U0"}


def discharge(b: Shape) -> None:
    """A filament lamp and a discharge lamp whose light rises by half; readings at the hold time."""
    b.lamps({"stock": "filament", "Arc": "discharge"})
    b.days(2)
    left = {60.0: {}, 1800.0: {"stock": 0.997, "Arc": 1.5}}
    b.seat({"stock": 500, "Arc": 700}, days=2, left=left)
    b.record("w1", "Arc", lambda t: 700 * (1.5 - 0.5 * exp(-(t - 60) / 150)), day="d1")
    b.record("w2", "stock", lambda _: 500.0, day="d1")


def stories(b: Shape) -> None:
    """Warm-up records that step, stop early, rise, stay, and a display too coarse for the scatter."""
    b.bench = {"hold_minutes": 30}
    b.lamps({"V0": "led", "Step": "led", "Short": "led", "Rise": "led", "Stay": "led", "Coarse": "led"})
    b.days(1)
    b.seat(dict.fromkeys(("V0", "Step", "Short", "Rise", "Stay", "Coarse"), 600), mountings=2)
    b.record("w0", "V0", _settling(600, 0.95, 200))
    b.record("w1", "Step", _stepped(600, 900, 0.8))
    b.record("w2", "Short", _settling(600, 0.7, 900), minutes=6)
    b.record("w3", "Rise", _settling(600, 1.12, 400))
    b.record("w4", "Stay", lambda _: 600.0)
    b.record("w5", "Coarse", lambda t: round(_settling(600, 0.9, 300)(t) / 20) * 20, minutes=31)
    b.record("w6", "Short", _settling(600, 0.7, 900), minutes=2)


def meters_linked(b: Shape) -> None:
    """A second meter from the third day on, linked by three lamps of each technology."""
    b.meters = {"L1": METER, "L2": METER | {"digits": 3}}
    b.lamps({"F1": "filament", "F2": "filament", "F3": "filament", "D1": "led", "D2": "led", "D3": "led"})
    b.days(4)
    light = {"F1": 500, "F2": 510, "F3": 490, "D1": 560, "D2": 640, "D3": 700}
    b.seat(light, days=2, meter="L1")
    late = Shape("", rng=b.rng)
    late.seat({lamp: 0.96 * lux for lamp, lux in light.items()}, days=2, mountings=1, meter="L2")
    b.add(
        "readings",
        *(
            row | {"day": f"d{3 + i * 2 // len(late.tables['readings'])}"}
            for i, row in enumerate(late.tables["readings"])
        ),
    )
    for lamp, lux in light.items():
        technology = "filament" if lamp.startswith("F") else "led"
        for _ in range(2):
            new = lux * (0.96 if technology == "filament" else 0.98) * exp(b.rng.normal(0, 0.004))
            b.add(
                "links",
                {
                    "lamp": lamp,
                    "technology": technology,
                    "old_meter": "L1",
                    "new_meter": "L2",
                    "old_lx": lux,
                    "new_lx": f"{new:.0f}",
                    "date": "2026-02-06",
                    "housing": "R",
                },
            )


def meters_apart(b: Shape) -> None:
    """Two meters without a link, one lamp read on the second alone."""
    b.meters = {"L1": METER, "L2": METER}
    b.lamps({"stock": "filament", "Near": "led", "Far": "led"})
    b.days(2)
    b.seat({"stock": 500, "Near": 560}, days=2, meter="L1")
    b.add(
        "readings",
        *(
            {
                "lamp": lamp,
                "illuminance_lx": lux,
                "housing": "R",
                "day": "d2",
                "mounting": 9,
                "elapsed_s": 60,
                "meter": "L2",
            }
            for lamp, lux in (("stock", 488), ("Far", 702))
        ),
    )


def ten_lamps(b: Shape) -> None:
    """Ten LED lamps and a filament lamp in two housings, seated once; coverage 0.99, initial 120 s, hold 10 min."""
    b.bench = {"coverage": 0.99, "initial_s": 120, "hold_minutes": 10}
    b.housings = {"R": HOUSING, "P": {"kind": "projector"}}
    names = [f"T{i}" for i in range(11)]
    b.lamps({lamp: "led" if i else "filament" for i, lamp in enumerate(names)})
    for housing, spread in (("R", 0.06), ("P", -0.04)):
        light = {lamp: 450 * (1 + spread * i) for i, lamp in enumerate(names)}
        b.seat(light, housing=housing, mountings=1, left={120.0: {}})


def hostile_names(b: Shape) -> None:
    """Names with accents, quotes, markup, formulas, signs of mathematics, a hundred characters, in every file."""
    b.bench = {"name": "<i>invented</i> $\\alpha$ & =1", "currency": "$_"}
    b.housings = {"H$_1$ <b>": HOUSING, "_P\\": HOUSING}
    b.meters = {"=M$1$": METER}
    b.lamps(
        dict.fromkeys(HOSTILE, "led"),
        price=dict.fromkeys(HOSTILE, 30),
        price_date=dict.fromkeys(HOSTILE, "2026-01-04"),
        claimed_per=dict.fromkeys(HOSTILE, "lamp"),
        claimed_flux_lm=dict.fromkeys(HOSTILE, 1800),
    )
    b.add("days", {"day": "=d1", "date": "2026-02-04", "note": "<script>alert(1)</script>"})
    for housing in b.housings:
        light = {lamp: 500 * (1 + 0.05 * i) for i, lamp in enumerate(HOSTILE)}
        b.seat(light, housing=housing, mountings=1, day="=d1", meter="=M$1$", specimen="$x$")
    for n, lamp in enumerate(HOSTILE[3:8]):
        story = _stepped(600, 900, 0.8) if n == 1 else _settling(600, 0.9, 300)
        b.record(
            f"w_{n}$",
            lamp,
            story,
            minutes=6 if n == 2 else 32,
            housing="H$_1$ <b>",
            day="=d1",
            case_C=50,
            ambient_C=16,
        )
    b.warm(*HOSTILE)
    for d in (2, 3, 4, 5, 6):
        b.add(
            "distance",
            *(
                {
                    "run": f"=r{n}$_",
                    "lamp": lamp,
                    "housing": "H$_1$ <b>",
                    "distance_m": d,
                    "illuminance_lx": f"{15600 / (d + 0.1) ** 2:.0f}",
                }
                for n, lamp in enumerate(HOSTILE[:4])
            ),
        )
    for n, lamp in enumerate(HOSTILE[:2] + HOSTILE[3:5]):
        _beam(b, f"$b{n}_", lamp, 600, housing="H$_1$ <b>")


def _beam(b: Shape, run: str, lamp: str, peak: float, *, housing: str = "R", dark: float = 0.0) -> None:
    """Add a coarse grid of a beam."""
    for v in range(-5, 4):
        for h in range(-10, 11, 2):
            lux = peak * exp(-((h / 6) ** 2) - ((v + 1.5) / 1.2) ** 2)
            b.add(
                "beam",
                {
                    "run": run,
                    "lamp": lamp,
                    "housing": housing,
                    "horizontal_deg": h,
                    "vertical_deg": v,
                    "illuminance_lx": f"{lux:.0f}",
                    "range_lx": 4000,
                    "dark_lx": dark,
                },
            )


def workbook(b: Shape) -> None:
    """Everything in one workbook."""
    b.lamps({"stock": "filament", "Wren": "led"})
    b.days(2)
    b.seat({"stock": 480, "Wren": 566}, days=2, mountings=3)


def one_figure(b: Shape) -> None:
    """A display of 1 lx at a low light: every seating reads the same."""
    b.meters = {"L1": {"reading_percent": 4, "digits": 2, "ranges_lx": [2000], "resolution_lx": [1]}}
    b.lamps({"G0": "led", "G1": "led", "G2": "led"})
    b.days(2)
    b.seat({"G0": 41, "G1": 43, "G2": 41}, days=2, repeats=2, seat_sd=0.0, reading_sd=0.0, range_lx=2000)


def zero_lux(b: Shape) -> None:
    """Distance runs, beams and records with 0 lx in part or all through."""
    b.lamps({"stock": "filament", "Dim": "led", "Dead": "led"})
    b.days(1)
    b.seat({"stock": 500, "Dim": 410, "Dead": 60}, mountings=3)
    for d in (1, 2, 3, 4, 5, 8):
        b.add(
            "distance",
            *(
                {
                    "run": run,
                    "lamp": lamp,
                    "housing": "R",
                    "distance_m": d,
                    "dark_lx": 2,
                    "illuminance_lx": lux,
                }
                for run, lamp, lux in (
                    ("r1", "stock", 0 if d == 8 else round(13000 / (d + 0.1) ** 2)),
                    ("r2", "Dead", 0),
                    ("r3", "Dim", 2),
                )
            ),
        )
    _beam(b, "b1", "stock", 500)
    _beam(b, "b2", "Dim", 0.0)
    _beam(b, "b3", "Dead", 1.0, dark=3.0)
    b.record("w1", "Dead", lambda _: 0.0)
    b.record("w2", "Dim", lambda t: 0.0 if t > 600 else 410.0)
    b.record("w3", "stock", lambda t: 0.0 if t < 300 else 500.0)


def absurd_volts(b: Shape) -> None:
    """Volts of a slip of the pen: a missing nought, another vehicle's, millivolts; a dark reading all but the light."""
    b.lamps({"stock": "filament", "Owl": "led"})
    b.days(4)
    for n, volts in enumerate((13.2, 1.32, 24.0, 0.0132), start=1):
        seated = Shape("", rng=b.rng)
        seated.seat({"stock": 500, "Owl": 600}, mountings=2, socket_V=volts, day=f"d{n}")
        b.add("readings", *seated.tables["readings"])
    b.add(
        "readings",
        {
            "lamp": "Owl",
            "illuminance_lx": 600,
            "housing": "R",
            "day": "d4",
            "mounting": 8,
            "elapsed_s": 60,
            "dark_lx": 599.9,
            "socket_V": 60,
            "range_lx": 4000,
        },
    )
    b.record("w1", "Owl", _settling(600, 0.9, 300), socket_V=1.3, current_A=0, case_C=-40, ambient_C=60)
    b.record("w2", "stock", lambda _: 500.0, socket_V=0.5)


def hold_only(b: Shape) -> None:
    """Every reading after half an hour, none at the initial time."""
    b.lamps({"stock": "filament", "Late": "led", "Later": "led"})
    b.days(2)
    b.seat({"stock": 500, "Late": 560, "Later": 610}, days=2, left={1800.0: {}})
    b.truths.clear()  # of the initial time nothing is said


def odd_roles(b: Shape) -> None:
    """Lamps of every role and technology, one never read, one excluded, some that never meet the baseline."""
    b.housings = {"R": HOUSING, "P": {}, "Q": {}}
    technologies = {
        "stock": "filament",
        "Std": "filament",
        "Oth": "other",
        "Gone": "led",
        "Out": "led",
        "Away": "led",
        "Away2": "discharge",
    }
    b.lamps(technologies)
    b.tables["lamps"][1]["role"] = "check_standard"
    b.days(2)
    b.seat({"stock": 500, "Std": 505, "Oth": 540}, days=2)
    b.seat({"Out": 580}, exclude="yes", note="=seated wrongly")
    b.seat({"Away": 600}, housing="P", mountings=1)
    b.seat({"Away2": 620}, housing="Q", mountings=1)
    b.add("readings", {"lamp": "stock", "illuminance_lx": 40, "housing": "R", "point": "left_edge"})


def one_piece(b: Shape) -> None:
    """One piece of each of two lamps, twelve seatings, read at both instants; 90 %, alike within 3 %."""
    b.bench = {"coverage": 0.9, "alike_percent": 3, "hold_minutes": 20}
    b.lamps({"Yew": "led", "Zinnia": "led"})
    b.days(3)
    left = {60.0: {}, 1200.0: {"Yew": 0.93, "Zinnia": 0.85}}
    b.seat({"Yew": 700, "Zinnia": 735}, days=3, mountings=4, left=left, specimen="a")


def beams_alone(b: Shape) -> None:
    """Beams of one lamp without the other's, a grid of three by three, a single line on the wall in millimetres."""
    b.lamps({"stock": "filament", "Ray": "led", "Tri": "led"})
    b.seat({"stock": 500, "Ray": 600, "Tri": 550})
    _beam(b, "b1", "Ray", 600)
    b.add(
        "beam",
        *(
            {
                "run": "b2",
                "lamp": "Tri",
                "housing": "R",
                "horizontal_deg": h,
                "vertical_deg": v,
                "illuminance_lx": 200 + 10 * h - 30 * v,
            }
            for v in (-1, 0, 1)
            for h in (-2, 0, 2)
        ),
    )
    b.add("spectra", {"name": "s1", "kind": "source", "lamp": "Ray", "file": "ray.csv"})


def bare_meter(b: Shape) -> None:
    """A meter of which the accuracy line alone is known: beams with a fine scan, one of them dark; a distance run."""
    b.meters = {"L1": {"reading_percent": 3}}
    b.lamps({"stock": "filament", "Dark": "led"})
    b.seat({"stock": 500, "Dark": 540}, range_lx="", socket_V="")
    for lamp, peak in (("stock", 500.0), ("Dark", 0.0)):
        _beam(b, f"g-{lamp}", lamp, peak)
        for step in range(-20, 20):
            b.add(
                "beam",
                {
                    "run": f"s-{lamp}",
                    "lamp": lamp,
                    "housing": "R",
                    "horizontal_deg": 2,
                    "vertical_deg": step / 10,
                    "illuminance_lx": round(peak / (1 + exp(0.6 * step))),
                },
            )
    for row in b.tables["beam"]:
        row["range_lx"] = ""
    b.add(
        "distance",
        *(
            {"run": "r1", "lamp": "Dark", "housing": "R", "distance_m": d, "illuminance_lx": lux}
            for d, lux in ((1, 9000), (2, 2250), (3, 1000), (4, 562), (5, 0), (8, 0))
        ),
    )


def no_doubt(b: Shape) -> None:
    """A meter without any error and a bench without any scatter, as declared."""
    b.bench = {"mounting_sd_percent": 0, "day_sd_percent": 0, "specimen_sd_percent": 0}
    zero = ("reading_percent", "mismatch_index_percent", "linearity_percent", "temperature_percent_per_K")
    b.meters = {"L1": dict.fromkeys(zero, 0)}
    b.lamps({"Z0": "led", "Z1": "led", "Z2": "led"})
    b.seat({"Z0": 500, "Z1": 500, "Z2": 510}, mountings=3, seat_sd=0.0, reading_sd=0.0, range_lx="")


def extremes(b: Shape) -> None:
    """The ends of what may be declared, and light from a tenth to thirty thousand lux."""
    b.bench = {
        "coverage": 0.999,
        "initial_s": 1,
        "initial_window_s": 0,
        "hold_minutes": 1,
        "alike_percent": 50,
    }
    b.lamps({"stock": "filament", "Sun": "led", "Glow": "discharge"})
    b.days(1)
    b.seat({"stock": 0.4, "Sun": 30000, "Glow": 1}, step=0.1, range_lx="", left={1.0: {}, 60.0: {"Sun": 0.5}})
    b.truths.clear()  # a reading of 0.4 lx on a display of 0.1 lx is not drawn as it is evaluated
    b.record("w1", "Sun", _settling(30000, 0.5, 100), range_lx="", minutes=10)


def odd_ends(b: Shape) -> None:
    """Watts, claims, prices, temperatures and distances that make no sense; records that no curve describes."""
    b.bench = {"currency": "EUR"}
    b.lamps(
        {"stock": "filament", "Odd": "led", "Even": "other"},
        claimed_flux_lm={"stock": 0.1, "Odd": 1e6},
        claimed_per={"stock": "lamp", "Odd": "pair"},
        price={"stock": 0, "Odd": 1e6},
        price_date={"stock": "2020-01-01", "Odd": "2027-01-01"},
    )
    b.seat({"stock": 500, "Odd": 520, "Even": 480})
    for lamp, watts in (("stock", 1000), ("Odd", 0.001), ("Even", 5)):
        b.add(
            "electrical",
            {"lamp": lamp, "elapsed_s": 0, "power_W": watts, "per": "pair", "uncertainty_percent": 50},
        )
    for lamp, method, shown, e, around in (
        ("stock", "bare", -20, 0.01, 20),
        ("stock", "tape", 400, 1, 60),
        ("Odd", "thermocouple", 50, "", ""),
        ("Even", "paint", 20, 0.95, 20),
        ("Even", "bare", 20, 0.95, 20),
        ("Odd", "bare", 30, 0.95, ""),
    ):
        b.add(
            "thermal",
            {
                "lamp": lamp,
                "elapsed_s": 1800,
                "displayed_C": shown,
                "method": method,
                "set_emissivity": e,
                "ambient_C": around,
                "reflected_C": around,
            },
        )
    runs: dict[str, tuple[Iterable[int], Callable[[float], float]]] = {
        "one": ([60], lambda _: 500),
        "two": ([30, 60], lambda t: 500 - t),
        "flat": (range(0, 3000, 30), lambda _: 500),
        "lift": (range(0, 3000, 60), lambda t: 500 + (t > 1000) * 0.1),
        "late": (range(2000, 6000, 60), lambda t: 500 - t / 100),
        "saw": (range(10, 2400, 40), lambda t: 500 - 100 * ((t // 400) % 2)),
        "fall": (range(10, 2400, 40), lambda t: max(1, 500 - t)),
        "spike": (range(10, 2400, 40), lambda t: 5000 if t == 610 else 450 + 50 * exp(-t / 300)),
    }
    for run, (times, light) in runs.items():
        b.add(
            "warm_up",
            *(
                {
                    "run": run,
                    "lamp": "Odd",
                    "elapsed_s": t,
                    "illuminance_lx": f"{light(t):.1f}",
                    "housing": "R",
                    "case_C": 20 + t / 100,
                    "ambient_C": 20,
                }
                for t in times
            ),
        )
    for run, points in (
        ("one", ((5, 500),)),
        ("two", ((4, 800), (5, 500))),
        ("same", ((5, 500),) * 4),
        ("up", ((1, 100), (2, 200), (5, 500), (9, 900))),
        ("far", ((0.2, 40000), (10, 20), (50, 1))),
        ("noise", ((2, 900), (3, 100), (4, 800), (5, 20), (6, 700))),
    ):
        b.add(
            "distance",
            *(
                {
                    "run": run,
                    "lamp": "Even",
                    "housing": "R",
                    "distance_m": d,
                    "illuminance_lx": lux,
                    "repeat": n,
                }
                for n, (d, lux) in enumerate(points, start=1)
            ),
        )


def baseline_apart(b: Shape) -> None:
    """A baseline that was read once, on the other meter; lamps of several specimens by clock; points named HV."""
    b.meters = {"L1": METER, "L2": METER}
    b.lamps({"stock": "filament", "Ant": "led", "Bug": "led"})
    b.days(2)
    for n, lamp in enumerate(("Ant", "Bug", "Ant", "Bug", "Ant")):
        for day in (1, 2):
            b.add(
                "readings",
                {
                    "lamp": lamp,
                    "illuminance_lx": 500 + 7 * n + day,
                    "housing": "R",
                    "day": f"d{day}",
                    "clock": f"{9 + n:02d}:00",
                    "mounting": n,
                    "specimen": 1 + n % 2,
                    "elapsed_s": 60,
                    "meter": "L1",
                    "dark_lx": 2,
                    "point": "HV" if n == 4 else "",
                },
            )
    b.add(
        "readings",
        {"lamp": "stock", "illuminance_lx": 480, "housing": "R", "day": "d1", "elapsed_s": 60, "meter": "L2"},
    )


def unlike_instants(b: Shape) -> None:
    """Two lamps called baseline; one lamp read at the hold time and, at first, elsewhere in the beam only."""
    b.lamps({"stock": "filament", "Spare": "led", "Slow": "led"})
    b.tables["lamps"][1]["role"] = "baseline"
    b.days(2)
    b.seat({"stock": 500, "Spare": 520}, days=2, left={60.0: {}, 1800.0: {"Spare": 0.9}})
    b.seat({"Slow": 600}, left={1800.0: {}})
    elsewhere = Shape("", rng=b.rng)
    elsewhere.seat({"stock": 400, "Slow": 410}, mountings=1, day="d2", point="left")
    b.add("readings", *elsewhere.tables["readings"])


SHAPES: tuple[Callable[[Shape], None], ...] = (
    clear_winner,
    all_alike,
    one_lamp,
    one_reading,
    one_each,
    discharge,
    stories,
    meters_linked,
    meters_apart,
    ten_lamps,
    hostile_names,
    workbook,
    one_figure,
    zero_lux,
    absurd_volts,
    hold_only,
    odd_roles,
    one_piece,
    beams_alone,
    bare_meter,
    no_doubt,
    extremes,
    odd_ends,
    baseline_apart,
    unlike_instants,
)


def shapes() -> dict[str, Shape]:
    """Return every shape by the name of its folder."""
    made = {}
    for draw in SHAPES:
        name = draw.__name__.replace("_", "-")
        rng = np.random.default_rng(zlib.crc32(name.encode()))
        about = (draw.__doc__ or "").strip()
        made[name] = Shape(about, {"name": f"{about} (invented)"}, rng=rng)
        draw(made[name])
        made[name].bench = {"name": f"{about} (invented)"} | made[name].bench
    return made


def write(shape: Shape, folder: Path) -> Path:
    """Write a shape as a bench folder."""
    folder.mkdir(parents=True, exist_ok=True)
    files = shape.files()
    if any(row.get("file") for row in shape.tables.get("spectra", [])):
        files["ray.csv"] = _csv(
            [
                {
                    "wavelength_nm": nm,
                    "value": exp(-(((nm - 450) / 15) ** 2)) + 0.6 * exp(-(((nm - 560) / 55) ** 2)),
                }
                for nm in range(380, 781, 5)
            ]
        )
    if shape.about.startswith("Everything in one workbook"):
        _book(shape, files).save(folder / "bench.xlsx")
        return folder
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def _book(shape: Shape, files: Mapping[str, str]) -> openpyxl.Workbook:
    """Return a shape as a workbook: a sheet of keys and a sheet a table."""
    book = openpyxl.Workbook()
    keys: Any = book.active
    keys.title = "bench"
    rows: list[tuple[Any, ...]] = [("section", "id", "key", "value"), ("", "", "schema", 1)]
    rows += [("bench", "", key, value) for key, value in ({"protocol_revision": "1"} | shape.bench).items()]
    for section, entities in (("meter", shape.meters), ("housing", shape.housings)):
        for name, entity in entities.items():
            rows += [(section, name, "id", name)]
            rows += [(section, name, key, _cell(value)) for key, value in entity.items()]
    for row in rows:
        keys.append(row)
    for name, text in files.items():
        if name.endswith(".csv"):
            sheet: Any = book.create_sheet(name.removesuffix(".csv"))
            for cells in csv.reader(io.StringIO(text)):
                sheet.append([_number(cell) for cell in cells])
    return book


def _cell(value: Any) -> Any:
    """Return a value as a sheet of keys holds it."""
    return ", ".join(map(str, value)) if isinstance(value, list) else value


def _number(text: str) -> Any:
    """Return a cell as a number where it is one."""
    try:
        return float(text)
    except ValueError:
        return text


def main(arguments: Iterable[str]) -> int:
    """Write every shape into a folder."""
    out = Path(next(iter(arguments)))
    for name, shape in shapes().items():
        write(shape, out / name)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
