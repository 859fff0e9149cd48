"""What a bench folder becomes once it has been read: plain frozen records."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from photolab.bench.terms.assumptions import Assumption, assumptions
from photolab.bench.terms.cells import inside
from photolab.bench.terms.contents import CONTENTS, held
from photolab.bench.terms.faults import Problem
from photolab.bench.terms.schema import NAN, SECTIONS
from photolab.bench.terms.verdicts import ALIKE_PERCENT
from photolab.errors import NotInFolder, demand
from photolab.metrology.quantity import COVERAGE

if TYPE_CHECKING:
    import pandas as pd

#: columns that say where, when and on which range, not how much
POSITIONS = frozenset(
    {
        "range_lx",
        "elapsed_s",
        "elapsed_minutes",
        "distance_m",
        "horizontal_deg",
        "vertical_deg",
        "x_mm",
        "y_mm",
        "wavelength_nm",
    }
)


PRIOR_DOF = 6.0
"""Weight of a declared SD: of specimens beside a lamp's own pieces, of days beside those of the baseline. [1]"""


@dataclass(frozen=True)
class Settings:
    """The ``[bench]`` section of bench.toml, each key under its own name, and the key of ``[links]``.

    ``declared`` are the keys of ``[bench]`` that were given.
    """

    name: str = "unnamed"
    protocol_revision: str = ""
    initial_s: float = 60.0
    initial_window_s: float = 10.0
    hold_minutes: float = 30.0
    coverage: float = COVERAGE
    alike_percent: float = ALIKE_PERCENT
    noticeable_percent: float = 25.0
    reference_voltage_V: float = 13.2
    reference_ambient_C: float = 20.0
    currency: str = ""
    also_show: tuple[str, ...] = ()
    mounting_sd_percent: float = 3.0
    specimen_sd_percent: float = 4.0
    day_sd_percent: float = 1.0
    reading_sd_percent: float = 0.4
    remaining_sd_percent: float = 2.0
    declared: frozenset[str] = frozenset()
    accept_provisional: bool = False
    invented: bool = False


@dataclass(frozen=True)
class SpectralFactor:
    """A stated correction factor of a meter for light of one technology."""

    technology: str
    factor: float
    expanded_uncertainty: float
    coverage_factor: float = 2.0


@dataclass(frozen=True)
class Certificate:
    """A calibration certificate; ``correction`` is the true over the displayed reading, NaN is not given."""

    correction: float
    expanded_uncertainty_percent: float
    coverage_factor: float = 2.0
    level_lx: float = NAN
    date: str = ""
    range_lx: float = NAN
    source: str = ""


def default_linearity(reading_percent: tuple[float, ...]) -> float:
    """Return the linearity assumed where the manual states none: 1 %, or a third of the smallest accuracy.

    Parameters
    ----------
    reading_percent : tuple of float
        Accuracy, percent of reading, one for each range or one for all. [%]

    Returns
    -------
    float
        Linearity. [%]
    """
    return min(1.0, min(reading_percent) / 3.0)


@dataclass(frozen=True)
class Meter:
    """A lux meter as bench.toml describes it.

    Tuples have one value for each range, or one for all; empty where the folder says nothing.
    """

    id: str
    reading_percent: tuple[float, ...]
    range_percent: tuple[float, ...] = ()
    digits: tuple[float, ...] = ()
    ranges_lx: tuple[float, ...] = ()
    resolution_lx: tuple[float, ...] = ()
    limit_kind: str = "limit"
    mismatch_index_percent: float = 10.0
    spectral_factors: tuple[SpectralFactor, ...] = ()
    certificate: Certificate | None = None
    drift_percent_per_year: float = 1.0
    linearity_percent: float | None = None
    """Of one range, about a straight line; None: it follows from reading_percent. [%]"""
    temperature_percent_per_K: float = 0.1
    integration_s: float = NAN
    calibrated_on: str = ""
    calibration_source: str = "A"
    declared: frozenset[str] = frozenset()

    @property
    def states_linearity(self) -> bool:
        """Whether the linearity was stated, in bench.toml or in code, and does not follow from reading_percent."""
        follows = (None, default_linearity(self.reading_percent))
        return "linearity_percent" in self.declared or self.linearity_percent not in follows


@dataclass(frozen=True)
class Housing:
    """A housing as bench.toml describes it; NaN or blank where the folder says nothing."""

    id: str
    kind: str = ""
    traffic: str = "right"
    distance_m: float = NAN
    distance_uncertainty_mm: float = NAN
    offset_mm: float = 0.0
    offset_uncertainty_mm: float = 100.0
    aperture_mm: float = NAN
    sensor: str = "faces_lamp"
    tilt_uncertainty_deg: float = 3.0
    declared: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Question:
    """A question asked of the bench: whether a lamp gives so much more light than the baseline.

    Attributes
    ----------
    asked_on : str
        ISO date.
    lamp : str
        A lamp, or ``any``.
    housing : str
        A housing, ``each`` (in all of them) or ``any`` (in one of them).
    instant : str
        ``initial`` or ``hold``.
    more_than_percent : float
        More light than the baseline by this much. [%]
    words : str
        The question as it was asked; blank where the folder gives no words.
    """

    asked_on: str
    lamp: str
    housing: str
    instant: str
    more_than_percent: float
    words: str = ""

    def told(
        self, ranges: Mapping[str, Mapping[str, tuple[float, float]]], housings: Sequence[str]
    ) -> tuple[dict[str, list[str]], list[str]]:
        """Return what ranges of the ratio to the baseline say: "yes" of which lamps, and of which neither yes nor no.

        Parameters
        ----------
        ranges : mapping
            Low and high by lamp and housing, of each lamp that is asked about, where it was read. [1]
        housings : sequence of str
            Those that are asked about.

        Returns
        -------
        tuple
            Housings in which it is shown by lamp, of the lamps that answer yes; the lamps that may still do so.
        """
        least, needed = 1.0 + self.more_than_percent / 100.0, 1 if self.housing == "any" else len(housings)
        shown = {x: [h for h, (low, _) in read.items() if low > least] for x, read in ranges.items()}
        against = {x: sum(high < least for _, high in read.values()) for x, read in ranges.items()}
        yes = {lamp: where for lamp, where in shown.items() if len(where) >= needed}
        return yes, [lamp for lamp, no in against.items() if no <= len(housings) - needed]


@dataclass(frozen=True)
class TheirFigure:
    """Somebody else's figure for a lamp of this bench, or a maker's reply about it.

    Attributes
    ----------
    source : str
        Title of where the figure stands, or who replied.
    lamp, baseline, housing : str
        Which lamp over which, in the housing of this bench most like theirs; blank is the baseline, or the only one.
    ratio : float
        Light of the lamp over that of the baseline; NaN for a reply. [1]
    expanded_percent : float
        Its expanded uncertainty; NaN where `low` and `high` are given. [%]
    low, high : float
        Its interval; NaN where `expanded_percent` is given. [1]
    instant : str
        ``initial`` or ``hold``.
    text : str
        A reply, blank for a figure.
    date : str
        ISO date, may be blank for a figure.
    """

    source: str
    lamp: str
    baseline: str = ""
    housing: str = ""
    ratio: float = NAN
    expanded_percent: float = NAN
    low: float = NAN
    high: float = NAN
    instant: str = "initial"
    text: str = ""
    date: str = ""


@dataclass(frozen=True, eq=False)
class OurEarlier:
    """An earlier results.csv of this bench.

    Attributes
    ----------
    file, label : str
        Its name in the folder, and how it is called.
    pieces : str
        ``same`` or ``other``: whether the same pieces of the lamps were read.
    rows : DataFrame
        Columns of `schema.EARLIER_FILE`, scopes by their names of today.
    """

    file: str
    label: str
    pieces: str
    rows: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Log:
    """An instrument's file: its encoding, the table its rows joined, its first rows as understood, its row of units."""

    file: str
    into: str
    encoding: str
    preview: pd.DataFrame
    units: str = ""


@dataclass(frozen=True, eq=False)
class Photo:
    """A picture of a lamp as it is published: small, and its pixels alone.

    Attributes
    ----------
    file, lamp, note : str
        Its name in the folder, the lamp it is declared for, and what the rows that name it note.
    jpeg : bytes
        The picture.
    width : int
        Its width. [pixel]
    """

    file: str
    lamp: str
    note: str
    jpeg: bytes
    width: int


@dataclass(frozen=True, eq=False)
class Spectrum:
    """One spectrum of the folder.

    Attributes
    ----------
    kind : str
        ``source`` or ``responsivity``.
    lamp, meter : str
        What it belongs to; the other is blank.
    wavelength_nm : ndarray
        Wavelengths, increasing. [nm]
    value : ndarray
        Relative spectral power or responsivity. [1]
    """

    kind: str
    lamp: str
    meter: str
    wavelength_nm: npt.NDArray[np.float64]
    value: npt.NDArray[np.float64]


def handed_out(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table that may be written into without changing the one that is kept.

    Parameters
    ----------
    table : DataFrame
        The table that is kept.

    Returns
    -------
    DataFrame
        A copy; pandas copies a column when it is written into, before version 3 all of them at once.
    """
    import pandas as pd  # two readings do without

    return table.copy(deep=int(pd.__version__.partition(".")[0]) < 3)


class Tables(Mapping[str, "pd.DataFrame"]):
    """Tables by their names, each handed out as a copy: what was computed of them is kept, and stays true of them.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The tables.
    """

    def __init__(self, tables: Mapping[str, pd.DataFrame]) -> None:
        self._tables = dict(tables)

    def __getitem__(self, name: str) -> pd.DataFrame:
        return handed_out(self._tables[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)


@dataclass(frozen=True, eq=False)
class Bench:
    """A bench folder that was read without a fault.

    ``tables`` holds every table of the schema with every column in canonical units, empty where the
    file is missing; numbers are float (NaN = missing), words are text ("" = missing), ``line`` is the
    row a spreadsheet shows; to write into one changes no other. A value typed in another unit stays beside it
    under its own header. `POSITIONS` are taken to 10 significant digits: whether two readings share a range, a
    place or an instant does not hang on what a conversion from feet leaves in the last bits.
    """

    name: str
    settings: Settings
    meters: Mapping[str, Meter]
    housings: Mapping[str, Housing]
    tables: Mapping[str, pd.DataFrame]
    files: tuple[str, ...]
    excluded: pd.DataFrame
    warnings: tuple[Problem, ...]
    hashes: Mapping[str, str]
    spectra: Mapping[str, Spectrum]
    logs: tuple[Log, ...] = ()
    questions: tuple[Question, ...] = ()
    their_figures: tuple[TheirFigure, ...] = ()
    earlier: tuple[OurEarlier, ...] = ()
    photos: tuple[Photo, ...] = ()

    def __post_init__(self) -> None:
        tables = {}
        for name, table in self.tables.items():
            typed = {c: table[c].to_numpy() for c in POSITIONS if c in table and table[c].dtype.kind == "f"}
            digits = {c: to_ten_digits(x) for c, x in typed.items()}
            moved = {c: y for c, y in digits.items() if not np.array_equal(typed[c], y, equal_nan=True)}
            tables[name] = table.assign(**moved) if moved else table
        object.__setattr__(self, "tables", Tables(tables))

    @cached_property
    def assumed(self) -> tuple[Assumption, ...]:
        """Every declared default that is used because the folder says nothing, in the order of bench.toml."""
        return assumptions(self)

    @property
    def invented(self) -> bool:
        """Whether bench.toml declares it, or a bracket of the name begins with it; the word alone is part of a name."""
        return self.settings.invented or "(invented" in self.settings.name.casefold()

    @cached_property
    def technologies(self) -> dict[str, str]:
        """Technology of each lamp of lamps.csv; blank where it does not say."""
        lamps = self.tables["lamps"]
        return dict(zip(lamps["lamp"], lamps["technology"], strict=True))

    @property
    def first_date(self) -> str:
        """ISO date of the first reading; blank where days.csv names no day of one."""
        days = self.tables["days"]
        read = days.loc[days["day"].isin(self.tables["readings"]["day"]) & (days["date"] != ""), "date"]
        return min(read, default="")

    def has(self, thing: str) -> bool:
        """Return whether the folder holds something.

        Parameters
        ----------
        thing : str
            A word of `contents.CONTENTS`.

        Returns
        -------
        bool
            True where it does.

        Raises
        ------
        ValueError
            If the word is none of the table.
        """
        demand(thing in CONTENTS, f"thing must be one of {', '.join(CONTENTS)}", repr(thing))
        return held(self)[thing]

    def need(self, thing: str) -> Bench:
        """Return this bench, or stop where the folder does not hold something.

        Parameters
        ----------
        thing : str
            A word of `contents.CONTENTS`.

        Returns
        -------
        Bench
            This bench.

        Raises
        ------
        NotInFolder
            One sentence: what it cannot say, and what would bring it.
        """
        if not self.has(thing):
            what, bring = CONTENTS[thing]
            message = f"This folder does not say {what} yet: {bring}."
            raise NotInFolder(message, code="not_in_folder", known={"thing": thing})
        return self

    def changed(self, **figures: float | str | None) -> Bench:
        """Return a copy with other figures, each then declared, or this bench for none; the folder is not touched.

        Parameters
        ----------
        **figures : float, str or None
            Keys of ``[bench]`` (``coverage``, ``hold_minutes``, ``mounting_sd_percent``, …), or of ``[[meter]]`` and
            ``[[housing]]``, which then hold for every meter or housing; None leaves what the folder says. [as the key]

        Returns
        -------
        Bench
            The copy, or this bench.

        Raises
        ------
        ValueError
            If a key is none of them, or a figure is outside the range that bench.toml may hold.
        """
        given = {key: value for key, value in figures.items() if value is not None}
        known = {f.name: f for section in ("housing", "meter", "bench") for f in SECTIONS[section]}
        if wrong := sorted(set(given) - (set(known) - {"id", "name"})):
            message = f"{wrong[0]} must be a key of [bench], [[meter]] or [[housing]] in bench.toml"
            raise ValueError(message)
        for key, value in given.items():
            words = known[key].kind not in ("number", "count", "list")
            fits = words or (not isinstance(value, str) and inside(value, known[key]).all())
            demand(fits, f"{key} must be {known[key].wanted}", repr(value))
        if not given:
            return self  # what was fitted for it serves again

        def declare(record: Any) -> Any:
            mine: dict[str, Any] = {key: given[key] for key in vars(record) if key in given}
            for key, value in mine.items():
                if isinstance(getattr(record, key), tuple) and not isinstance(value, tuple):
                    mine[key] = (value,)
            made = replace(record, **mine, declared=record.declared | set(mine)) if mine else record
            if "reading_percent" in mine and "linearity_percent" not in made.declared:
                made = replace(made, linearity_percent=default_linearity(made.reading_percent))
            return made

        return replace(
            self,
            settings=declare(self.settings),
            meters={key: declare(meter) for key, meter in self.meters.items()},
            housings={key: declare(housing) for key, housing in self.housings.items()},
        )


def to_ten_digits(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return numbers rounded to 10 significant digits.

    Parameters
    ----------
    x : ndarray
        Numbers; NaN, infinite and zero stay. [any]

    Returns
    -------
    ndarray
        The nearest floats to the rounded numbers. [any]
    """
    size = np.abs(x)
    usual = (size > 1e-12) & (size < 1e12)
    decade = np.floor(np.log10(np.where(usual, size, 1.0)))
    up, down = 10.0 ** np.maximum(9.0 - decade, 0.0), 10.0 ** np.maximum(decade - 9.0, 0.0)
    return np.where(usual, np.round(x * up / down) / up * down, x)
