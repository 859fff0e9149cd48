"""Declared defaults that a folder leans on, each with the words it is printed with."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photolab.bench.terms.schema import SECTIONS
from photolab.metrology.quantity import Factored, Inputs, Joint, Measured
from photolab.metrology.reporting import significant

if TYPE_CHECKING:
    from photolab.bench.terms.model import Bench, Housing, Meter, Settings

CANCELS = 1e-9
"""What is left of an input that cancels is rounding of sums, smaller than this; other on another processor. [% or 1]"""
_SIZED = (
    ("mismatch", ("colour", "own colour")),
    ("spectral", ("colour",)),
    ("mounting_sd", ("mounting",)),
    ("day_sd", ("day",)),
    ("reading_sd", ("noise",)),
    ("remaining_sd", ("specimen not held", "remaining")),
    ("specimen_sd", ("specimen",)),
    ("limit_kind", ("range term",)),
    ("linearity", ("linearity",)),
    ("temperature_percent", ("meter temperature",)),
    ("voltmeter", ("voltmeter",)),
    ("supply voltage", ("supply assumed",)),
    ("voltage reading", ("supply voltage",)),
    ("ambient", ("ambient",)),
    ("step between", ("range gain",)),
    ("time since", ("elapsed time",)),
    ("drift over", ("remaining light",)),
    ("drift within", ("drift",)),
    ("drift_percent_per_year", ("scale drift",)),
    ("provisional link", ("link",)),
    ("range_percent", ("range term",)),
)
"""How the key of an assumption begins, and the inputs that it sizes by the first word of their names."""
LEAST_SHARE = 1e-6
"""Part of a variance up to which an assumption does not enter: ten times as large, it would move no published digit of
an uncertainty. [1]"""
_OF_METERS = ("range term", "linearity", "colour", "own colour", "meter temperature")
"""Inputs whose names have the meter after their first word."""
_DECIDED = {"calibration_source": ("colour",)}
"""Likewise of one that sizes no input and decides which there are."""


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
    of : tuple of str, default ()
        What the names of its inputs say after their first word; its own meter where nothing is said.
    corrects : bool, default False
        Whether values were corrected by it, so that it enters whichever inputs count.
    """

    key: str
    value: float | str
    unit: str
    words: str
    section: str = ""
    id: str = ""
    told: str = ""
    of: tuple[str, ...] = ()
    corrects: bool = False

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

    @property
    def terms(self) -> tuple[str, ...]:
        """First words of the names of the inputs that it sizes; none where no budget holds it."""
        return next((terms for word, terms in _SIZED if self.key.startswith(word)), ())

    def sizes(self, name: Hashable) -> bool:
        """Return whether it says how large the input of a name is: the one of its owner, where it has one."""
        return _term(name) in self.terms and self._owns(name)

    def share(self, result: Measured) -> float:
        """Return the part of a variance that comes from what it sizes [1]."""
        return sum((c * q.u) ** 2 for q, c in result.parts.items() if self.sizes(q.name)) / result.u**2

    def _owns(self, name: Hashable) -> bool:
        """Return whether an input is of its meter, or of what else it is of."""
        of = self.of or ((self.id,) if self.section == "meter" else ())
        return isinstance(name, tuple) and name[1 : 1 + len(of)] == of

    def _rests(self, inputs: Inputs, terms: NDArray[np.str_]) -> NDArray[np.bool_]:
        """Return which inputs tell that it enters; of one that is assumed to be nothing, the others of its meter."""
        wanted = self.terms or _DECIDED.get(self.key, ())
        found = np.isin(terms, [*(wanted if self.value else _OF_METERS)])
        places = np.flatnonzero(found)
        found[places] = [self._owns(inputs[int(k)].name) for k in places]
        return found


def _term(name: Hashable) -> str:
    """Return what an input is: the first word of its name."""
    return str(name[0] if isinstance(name, tuple) else name)


def entering(
    assumed: Iterable[Assumption], ratios: Joint, scopes: Sequence[str]
) -> list[tuple[Assumption, ...]]:
    """Return the assumptions that ratios of light rest on: those that size what has a share in the variance.

    What sizes no input is what every reading rests on; of a housing it is what candela and beams rest on.

    Parameters
    ----------
    assumed : iterable of Assumption
        Those of a campaign.
    ratios : Joint
        ln of ratios, with every input. [1]
    scopes : sequence of {"readings", "specimens", "models"}
        Which inputs count, one after the other.

    Returns
    -------
    list of tuple of Assumption
        Of each ratio in each scope.
    """
    inputs, every, whole = ratios.inputs, [*assumed], ratios.sensitivities
    # of what ties hundreds of lamps together nothing is weighed: at worst one default more is named
    whole = whole.plain if isinstance(whole, Factored) else whole
    moved = replace(ratios, sensitivities=whole).contributions()
    variance = moved.power(2) if hasattr(moved, "power") else moved**2
    terms = np.array([_term(q.name) for q in inputs.models], dtype=np.str_)[inputs.model]
    rests = np.array([one._rests(inputs, terms) for one in every] or np.empty((0, len(inputs))), dtype=float)

    def told(counted: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.asarray(variance @ (rests * counted).T > LEAST_SHARE * (variance @ counted)[:, None])

    usual = [not one.terms and one.key not in _DECIDED for one in every]
    everywhere = [one.section != "housing" for one in every]
    corrects, at_all = [one.corrects for one in every], told(np.ones(len(inputs), dtype=bool))
    of_scopes = (np.where(corrects, at_all, told(inputs.of_scope(scope))) for scope in scopes)
    enters = [np.where(usual, everywhere, found) for found in of_scopes]
    return [tuple(compress(every, row)) for rows in zip(*enters, strict=True) for row in rows]


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
