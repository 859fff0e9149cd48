"""The sampling plan of the invented bench: which lamp is seated when, in which housing, how often."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

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


def _rounds(lamps: list[tuple[str, str, int]]) -> list[tuple[str, str, int]]:
    """Interleave (lamp, specimen, mountings): every first mounting, every second one, and so on."""
    most = max((count for _, _, count in lamps), default=0)
    return [(lamp, specimen, n) for n in range(1, most + 1) for lamp, specimen, count in lamps if n <= count]


def _candidates(day: str, housing: str) -> list[tuple[str, str, int]]:
    """Return (lamp, specimen, mountings) of a day, without the two bracketing baseline mountings."""
    side_by_side = [("B0", "b", 1), ("B0", "c", 1)] + [(k, "1", 1) for k in ("K1", "K2", "K3", "K5", "K6")]
    plan = {
        "D01": [("K1", "1", 1)] + ([("K5", "1", 1)] if housing == "HP" else []),
        "D02": [("K1", "1", 3), ("K1", "2", 3), ("K1", "3", 3), ("K1", "4", 3), ("K2", "1", 1)],
        "D03": [("K3", "1", 3), ("K4", "1", 3), ("K3", "2", 3), ("K4", "2", 3)],
        "D04": [("B0", "b", 1), ("B0", "c", 1), ("K5", "1", 6)],
        "D05": [("K6", "1", 2), ("K7", "1", 2), ("K8", "1", 3)],
        "D06": [("K1", "1", 2)],
        "D07": side_by_side,
        "D08": side_by_side,
    }
    return plan[day]


def seats() -> list[Seat]:
    """Return the demo bench's mountings in the order they were made.

    Returns
    -------
    list of Seat
        With clock times that leave every lamp at least half an hour to cool.
    """
    return [seat for day in (f"D{n:02d}" for n in range(1, 9)) for seat in _timed(_day(day))]


def _day(day: str) -> Iterator[Seat]:
    for housing in ("HP", "HR"):
        yield Seat(day, housing, "B0", "a", 1)
        for lamp, specimen, mounting in _rounds(_candidates(day, housing)):
            yield Seat(day, housing, lamp, specimen, mounting)
        yield Seat(day, housing, "B0", "a", 2)


def _timed(day_seats: Iterator[Seat]) -> Iterator[Seat]:
    free = None
    off: dict[tuple[str, str], int] = {}
    for order, seat in enumerate(day_seats, start=1):
        free = START_MINUTE.get(seat.day, 8 * 60 + 15) if free is None else free
        last = off.get((seat.lamp, seat.specimen))
        start = free if last is None else max(free, last + REST_MINUTES)
        rest = OVERNIGHT_MINUTES if last is None else start - last
        hold = HOLD_MINUTES if seat.key in HOLDS else WARM_UPS.get(seat.key, SEAT_MINUTES)
        off[seat.lamp, seat.specimen] = start + hold
        free = start + hold + CHANGE_MINUTES
        yield replace(seat, order=order, minute=start, rest_minutes=rest, hold_minutes=hold)
