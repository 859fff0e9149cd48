"""The invented demo bench: its truth, its plan, its arranged residuals, and what was written down beside the readings.

Everything here is made up. The story: a machinery ring of hill farms bench-tests drop-in LED lamps in two
scrapped housings, HP (projector, 65 mm lens) and HR (reflector, 180 x 110 mm), against its stock filament
lamp B0. The residuals are arranged so that every planted story can be found.
"""

from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from photolab.bench.drawn.truth import DayTruth, HousingTruth, LampTruth, MeterTruth, Truth

DEMO_SEED = 1958

# Mountings with a stated deviation from the lamp's light. [ln]
PINNED = {
    "K1/1/HP/D02/1": -0.014,
    "K2/1/HP/D02/1": 0.013,
    "K5/1/HP/D01/1": -0.012,
    "K8/1/HP/D05/1": 0.020,
    "K8/1/HP/D05/2": 0.006,
    "K8/1/HP/D05/3": 0.020,
    "B0/a/HP/D05/2": 0.002,
    "B0/a/HR/D05/2": -0.003,
}

# Mean deviation of all mountings of a lamp in a housing; 0 for lamps whose story is told by their mean. [ln]
GROUP_MEANS = {
    ("B0", "HP"): 0.0, ("B0", "HR"): 0.0, ("K1", "HP"): 0.0, ("K2", "HP"): 0.018, ("K3", "HP"): 0.0005,
    ("K4", "HP"): 0.0, ("K5", "HP"): 0.0, ("K1", "HR"): 0.0, ("K3", "HR"): 0.0, ("K4", "HR"): 0.0,
    ("K6", "HP"): 0.0, ("K2", "HR"): 0.0, ("K6", "HR"): 0.0,
}  # fmt: skip


def _led(hp: float, hr: float, **more: object) -> LampTruth:
    values: dict[str, object] = {"specimens": {"1": 0.0}} | more
    return LampTruth("led", "candidate", {"HP": hp, "HR": hr}, **values)  # type: ignore[arg-type]


def _lamps() -> dict[str, LampTruth]:
    return {
        "B0": LampTruth(
            "filament", "baseline", {"HP": 1.0, "HR": 1.0}, {"a": 0.0, "b": 0.012, "c": -0.012},
            specimen_sd=0.012, ambient_per_K=0.0, remaining=0.997, hold_W=61.4, case_C=142.0, emissivity=0.93,
        ),
        "K1": _led(
            1.300, 1.12, specimens={"1": -0.017, "2": 0.043, "3": -0.046, "4": 0.020}, specimen_sd=0.04,
            remaining=0.86, tau_min=4.0, hold_W=26.1, case_C=88.0, emissivity=0.77,
        ),
        "K2": _led(1.3195, 1.13, remaining=0.88, tau_min=4.5, hold_W=27.4, case_C=96.0, emissivity=0.12),
        "K3": _led(
            1.250, 0.88, specimens={"1": 0.021, "2": -0.021}, specimen_sd=0.03,
            remaining=0.90, tau_min=6.5, hold_W=22.8, case_C=79.5,
        ),
        "K4": _led(
            1.1848, 1.01, specimens={"1": -0.019, "2": 0.019}, specimen_sd=0.03,
            remaining=0.90, tau_min=6.0, hold_W=21.9, case_C=77.0,
        ),
        "K5": _led(0.985, 1.06, remaining=0.93, tau_min=3.0, hold_W=18.3, case_C=68.5),
        "K6": _led(
            1.400, 1.18, remaining=0.90, tau_min=4.2, hold_W=30.2, case_C=112.0, step_min=18.5,
            step_factor=0.86, step_W=25.6,
        ),
        "K7": _led(
            1.100, 0.97, remaining=0.64, tau_min=16.0, hold_W=11.9, power_fall=0.036, case_C=81.0,
            record_min=12.0,
        ),
        "K8": _led(1.150, 1.09, remaining=0.89, tau_min=5.0, hold_W=24.9, case_C=84.0, reading_sd=0.016),
    }  # fmt: skip


def _days() -> dict[str, DayTruth]:
    dates = ("04-13", "04-16", "04-21", "04-27", "05-05", "05-18", "05-27", "06-03")
    effect = {"HP": 0.0, "HR": 0.0}
    days = {}
    for n, date in enumerate(dates, start=1):
        volts, where, revision = (12.95, "socket", "3") if n >= 6 else (13.20, "supply", "2")
        revision = "1" if n == 1 else revision
        air = round(14 + 10 * (n - 1) / 7, 1)
        days[f"D{n:02d}"] = DayTruth(f"2026-{date}", air, volts, where, n == 1, revision, effect)
    return days


def demo_truth() -> Truth:
    """Return the generating values of the demo bench.

    Returns
    -------
    Truth
        Stated values; day effects and mountings are drawn when the bench is simulated.
    """
    return Truth(
        lamps=_lamps(),
        housings={
            "HP": HousingTruth(13_400.0, 6.0, offset_m=0.12, mounting_sd=0.02),
            "HR": HousingTruth(17_250.0, 6.0, near_field_m=1.1, mounting_sd=0.032),
        },
        meters={
            "M1": MeterTruth(
                ranges_lx=(400.0, 4000.0, 40_000.0),
                resolution_lx=(0.1, 1.0, 10.0),
                gain=(0.008, -0.011, 0.0),
                offset_lx=(0.0, 3.0, 0.0),
                scale=0.014,
                colour={"filament": 1.0068, "led": 1.0686},
            ),
            "M2": MeterTruth(
                ranges_lx=(2000.0, 20_000.0),
                resolution_lx=(1.0, 10.0),
                gain=(0.0, 0.0),
                offset_lx=(0.0, 0.0),
                scale=-0.024,
                colour={"filament": 0.99685, "led": 0.98521},
            ),
        },
        days=_days(),
        aims={"K8/1/HP/D05/2": 0.89},
    )


SEAT_MINUTES = 2
CHANGE_MINUTES = 4
REST_MINUTES = 32
OVERNIGHT_MINUTES = 720
START_MINUTE = {"D01": 9 * 60, "D02": 8 * 60, "D03": 8 * 60, "D04": 7 * 60 + 30}


@dataclass(frozen=True)
class Seat:
    """One mounting: a lamp put into a housing once.

    Parameters
    ----------
    day, housing, lamp, specimen : str
        Where and what.
    mounting, order : int
        Number within lamp, specimen, housing and day; place in the day's sequence.
    minute : int
        Clock time of switching on, after midnight. [min]
    rest_minutes : int
        Off before. [min]
    hold_minutes : int
        Minutes kept on: long where the warm-up is recorded or the hold time is read. [min]
    """

    day: str
    housing: str
    lamp: str
    specimen: str
    mounting: int
    order: int = 0
    minute: int = 0
    rest_minutes: int = OVERNIGHT_MINUTES
    hold_minutes: int = SEAT_MINUTES

    @property
    def key(self) -> str:
        """Identity of the mounting, as text."""
        return f"{self.lamp}/{self.specimen}/{self.housing}/{self.day}/{self.mounting}"

    @property
    def cover(self) -> str:
        """Rear cover of the housing: closed for two lamps while they are held."""
        return "closed" if self.hold_minutes > SEAT_MINUTES and self.lamp in COVERED else "open"


# Mountings whose warm-up is recorded: key of the seat -> length of the record. [min]
WARM_UPS = {
    "B0/a/HP/D04/2": 40, "K1/1/HP/D07/1": 40, "K2/1/HP/D07/1": 40, "K3/1/HP/D03/3": 40, "K4/1/HP/D03/3": 40,
    "K5/1/HP/D04/6": 40, "K6/1/HP/D05/2": 40, "K7/1/HP/D05/2": 12, "K8/1/HP/D05/3": 40,
    "B0/a/HR/D04/2": 40, "K1/1/HR/D07/1": 40, "K3/1/HR/D03/3": 40, "K6/1/HR/D05/2": 40,
}  # fmt: skip
# Mountings that are read at the hold time too.
HOLDS = {
    "B0/a/HP/D04/2", "K1/1/HP/D07/1", "K1/2/HP/D02/3", "K1/3/HP/D02/3", "K1/4/HP/D02/3", "K2/1/HP/D07/1",
    "K3/1/HP/D03/3", "K4/1/HP/D03/3", "K6/1/HP/D05/2", "K8/1/HP/D05/3",
    "B0/a/HR/D04/2", "K1/1/HR/D07/1", "K3/1/HR/D03/3", "K4/1/HR/D03/3", "K6/1/HR/D05/2",
}  # fmt: skip
HOLD_MINUTES = 40
COVERED = ("K3", "K6")


SIDE_BY_SIDE = [("B0", "b", 1), ("B0", "c", 1), *((lamp, "1", 1) for lamp in ("K1", "K2", "K3", "K5", "K6"))]
CANDIDATES = {
    "D01": [("K1", "1", 1), ("K5", "1", 1)],
    "D02": [("K1", "1", 3), ("K1", "2", 3), ("K1", "3", 3), ("K1", "4", 3), ("K2", "1", 1)],
    "D03": [("K3", "1", 3), ("K4", "1", 3), ("K3", "2", 3), ("K4", "2", 3)],
    "D04": [("B0", "b", 1), ("B0", "c", 1), ("K5", "1", 6)],
    "D05": [("K6", "1", 2), ("K7", "1", 2), ("K8", "1", 3)],
    "D06": [("K1", "1", 2)],
    "D07": SIDE_BY_SIDE,
    "D08": SIDE_BY_SIDE,
}
"""Lamp, specimen and mountings of each day in each housing, without the two bracketing baseline mountings."""


def seats() -> list[Seat]:
    """Return the demo bench's mountings in the order they were made.

    Returns
    -------
    list of Seat
        With clock times that leave every lamp at least half an hour to cool.
    """
    found = []
    for day, lamps in CANDIDATES.items():
        # every first mounting, every second one, and so on
        rounds = sorted((n, k) for k, (_, _, count) in enumerate(lamps) for n in range(1, count + 1))
        called = [("B0", "a", 1), *((*lamps[k][:2], n) for n, k in rounds), ("B0", "a", 2)]
        places = [(place, *one) for place in ("HP", "HR") for one in called]
        if day == "D01":
            places.remove(("HR", "K5", "1", 1))
        free = START_MINUTE.get(day, 8 * 60 + 15)
        off: dict[tuple[str, str], int] = {}
        for order, (housing, lamp, specimen, mounting) in enumerate(places, start=1):
            last = off.get((lamp, specimen))
            start = free if last is None else max(free, last + REST_MINUTES)
            rest = OVERNIGHT_MINUTES if last is None else start - last
            seat = Seat(day, housing, lamp, specimen, mounting, order, start, rest)
            hold = HOLD_MINUTES if seat.key in HOLDS else WARM_UPS.get(seat.key, SEAT_MINUTES)
            found.append(replace(seat, hold_minutes=hold))
            off[lamp, specimen] = start + hold
            free = start + hold + CHANGE_MINUTES
    return found


CLAIMED = (
    *("claimed_flux_lm", "claimed_power_W", "claimed_per", "claimed_where", "price", "price_per"),
    *("driver", "specimens_bought", "obtained"),
)
CLAIMS: dict[str, tuple[float, float, str, str, float, str, str, int, str]] = {
    "B0": (1450, 58, "lamp", "box", 4.2, "lamp", "", 3, "bought"),
    "K1": (2600, 26, "lamp", "front of the box", 61.0, "pair", "internal", 4, "bought"),
    "K2": (5600, 52, "pair", "front of the box", 74.0, "pair", "internal", 1, "bought"),
    "K3": (2300, 23, "lamp", "front of the box", 48.5, "pair", "external", 2, "bought"),
    "K4": (2200, 22, "lamp", "back of the box", 39.0, "pair", "external", 2, "bought"),
    "K5": (1800, 18, "lamp", "leaflet", 27.5, "pair", "internal", 1, "lent"),
    "K6": (3400, 30, "lamp", "front of the box", 88.0, "pair", "internal", 1, "supplied"),
    "K7": (9500, 38, "pair", "page of the seller", 57.0, "pair", "external", 1, "bought"),
    "K8": (4400, 50, "pair", "front of the box", 52.0, "pair", "internal", 1, "supplied"),
}
PRICE_DATE = "2026-04-02"
COLOUR_K = {"filament": 3200.0, "led": 6600.0}


def bench_document(truth: Truth) -> dict[str, Any]:
    """Return the content of bench.toml.

    Parameters
    ----------
    truth : Truth
        Days (for the revision) and meters (for their ranges); hidden faults stay hidden.

    Returns
    -------
    dict
        Ready for a TOML writer.
    """
    told, keys = truth.declared, ("id", "ranges_lx", "resolution_lx", "calibrated_on")
    calibrated = {"M1": "2025-02-11", "M2": "2026-03-03"}
    percent = {
        "reading_percent": told.scale, "range_percent": told.range_term, "mismatch_index_percent": 0.08,
        "linearity_percent": told.linearity, "temperature_percent_per_K": told.meter_per_K,
    }  # fmt: skip
    own = {
        "M1": {key: round(100 * value, 6) for key, value in percent.items()} | {"integration_s": 0.5},
        "M2": {"reading_percent": 4.0, "digits": 10, "mismatch_index_percent": 6.0},
    }
    meters = [
        dict(zip(keys, (name, [*meter.ranges_lx], [*meter.resolution_lx], calibrated[name]), strict=True))
        | {"calibration_source": "A"} | own[name]
        for name, meter in truth.meters.items()
    ]  # fmt: skip
    optics = {"HP": ("projector", 120.0, 30.0, 65.0), "HR": ("reflector", 0.0, 50.0, 180.0)}
    keys = ("kind", "offset_mm", "offset_uncertainty_mm", "aperture_mm")
    housings = [
        dict(zip(keys, optics[name], strict=True)) | {
            "id": name, "traffic": "right", "distance_m": place.distance_m, "distance_uncertainty_mm": 10.0,
            "sensor": "faces_lamp", "tilt_uncertainty_deg": 2.0,
        }
        for name, place in truth.housings.items()
    ]  # fmt: skip
    question = "Does any lamp give 10 % more light than B0 after 40 minutes in both housings?"
    return {
        "schema": 1,
        "bench": {
            "name": "Machinery ring, stone barn (invented demo)",
            "invented": True,
            "protocol_revision": list(truth.days.values())[-1].protocol_revision,
            "initial_s": 60, "initial_window_s": 10, "hold_minutes": 40,
            "reference_voltage_V": truth.reference_V, "reference_ambient_C": truth.reference_C, "currency": "dal",
            "mounting_sd_percent": 2.5, "specimen_sd_percent": 4.0, "day_sd_percent": 1.0,
        },
        "meter": meters,
        "housing": housings,
        "question": [{
            "asked_on": "2026-04-10", "lamp": "any", "housing": "each", "instant": "hold",
            "more_than_percent": 10.0, "words": question,
        }],
    }  # fmt: skip


def lamps_table(truth: Truth) -> pd.DataFrame:
    """Return the columns of lamps.csv, and more: technology, role, what the box claims, price.

    Parameters
    ----------
    truth : Truth
        Lamps.

    Returns
    -------
    DataFrame
        One row a lamp.
    """
    lamps = pd.DataFrame([
        {"lamp": name, **vars(lamp), **dict(zip(CLAIMED, CLAIMS[name], strict=True))}
        for name, lamp in truth.lamps.items()
    ])  # fmt: skip
    return lamps.assign(colour_temperature_K=lamps["technology"].map(COLOUR_K), price_date=PRICE_DATE)


def days_table(truth: Truth) -> pd.DataFrame:
    """Return the columns of days.csv, and more.

    Parameters
    ----------
    truth : Truth
        Days.

    Returns
    -------
    DataFrame
        One row a day.
    """
    notes = {
        "1": "pilot day; meter left on autorange",
        "2": "meter locked to 4000 lx",
        "3": "new lead to the lamp; volts now read at the lamp socket",
    }
    days = pd.DataFrame([{"day": name, **vars(day)} for name, day in truth.days.items()])
    again = days["protocol_revision"].duplicated()
    note = days["protocol_revision"].map(notes).mask(again, "")
    return days.assign(supply_V=truth.reference_V, meter="M1", note=note)
