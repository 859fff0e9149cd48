"""Declared defaults that a folder leans on, each with the words it is printed with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from photolab.bench.terms.schema import SECTIONS
from photolab.metrology.reporting import significant

if TYPE_CHECKING:
    from photolab.bench.terms.model import Bench, Housing, Meter, Settings


@dataclass(frozen=True)
class Assumption:
    """A declared default that is used because the folder says nothing.

    Attributes
    ----------
    key : str
        What is assumed, e.g. ``mismatch_index_percent``.
    value : float or str
        The default. [unit named by ``unit``]
    unit : str
        Unit of the value; empty for a word.
    words : str
        What else is said of it; blank where nothing is.
    section, id : str, default ""
        ``meter`` or ``housing``, and which of them it is of; blank for the bench.
    told : str, default ""
        What is assumed, in the words of its column; blank where the key says it.
    """

    key: str
    value: float | str
    unit: str
    words: str
    section: str = ""
    id: str = ""
    told: str = ""

    @property
    def name(self) -> str:
        """Whose it is and what it is: ``meter M1 mismatch_index_percent``."""
        return f"{self.section} {self.id} {self.key}".strip()

    @property
    def about(self) -> str:
        """What is assumed, without the figure: a key in the words of its column, with the id of its owner."""
        told = self.told or self.key.replace("_", " ")
        return f"{told} ({self.id})" if self.id else told

    @property
    def figure(self) -> str:
        """The value and its unit as they are printed: four digits of a number."""
        value = self.value if isinstance(self.value, str) else f"{significant(self.value, 4):g}"
        return f"{value} {self.unit}".strip()


def assumptions(bench: Bench) -> tuple[Assumption, ...]:
    """Return every declared default that is used because the folder says nothing.

    Parameters
    ----------
    bench : Bench
        The folder.

    Returns
    -------
    tuple of Assumption
        In the order of bench.toml.
    """
    tables = bench.tables
    reached = 60.0 * bench.settings.hold_minutes * 0.9
    held = (tables["readings"]["elapsed_s"] > reached).any() or not tables["warm_up"].empty
    idle = {"hold_minutes": tables["warm_up"].empty, "remaining_sd_percent": not held}
    names = [key.name for key in SECTIONS["bench"] if key.assumed and not idle.get(key.name)]
    found = _notes("bench", bench.settings, names)
    used = {
        name
        for table in ("readings", "warm_up", "distance", "beam")
        for name in tables[table]["meter"].unique()
    }
    for meter in bench.meters.values():
        if meter.id in used:
            found += _meter(meter)
    for housing in bench.housings.values():
        # candela needs a distance, a beam needs a side of the road
        names = ["offset_mm", "offset_uncertainty_mm", "sensor", "tilt_uncertainty_deg"]
        names = names if "distance_m" in housing.declared else []
        names += ["traffic"] if (tables["beam"]["housing"] == housing.id).any() else []
        found += _notes("housing", housing, names)
    readings = tables["readings"]
    blank = readings["mounting"] == ""
    if (blank & readings.duplicated(["lamp", "specimen", "housing", "day"], keep=False)).any():
        words = "rows of one lamp, housing and day without a mounting are repeats of one seating"
        found.append(Assumption("mounting labels", "one seating", "", words))
    return tuple(found)


def _meter(meter: Meter) -> list[Assumption]:
    """Return the defaults of a meter in use."""
    found = _notes("meter", meter, [key.name for key in SECTIONS["meter"] if key.assumed])
    if not meter.range_percent and not meter.digits:
        about = "second part of the accuracy line"
        found.append(Assumption("range_percent", 0.0, "%", "", "meter", meter.id, told=about))
    if meter.certificate is not None:
        found += _notes("meter", meter, ["drift_percent_per_year"])
    return found


def _notes(section: str, record: Settings | Meter | Housing, names: list[str]) -> list[Assumption]:
    """Return the defaults of some keys that a section does not declare."""
    keys = {key.name: key for key in SECTIONS[section]}
    whose = ("", "") if section == "bench" else (section, str(vars(record)["id"]))
    missing = [keys[name] for name in names if name not in record.declared]
    return [
        Assumption(
            key.name, getattr(record, key.name), key.unit, "", *whose, told=key.about.partition(":")[0]
        )
        for key in missing
    ]
