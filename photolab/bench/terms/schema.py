"""What a bench folder may hold, as data: every column and key once, with unit, range, default, example, meaning.

Readers, writers, the starter folder, `photolab columns`, the notes of the workbook, the table in data/README.md and
the words of faults all work from the tables below. One line is one column or key::

    name | unit or kind | wanted | if absent | example | meaning

A star after the name: required. ``wanted`` is a range (``>0``, ``0..``, ``0.2..50``), or the words that may stand
there, where ``filament=halogen`` reads halogen as filament. ``!0.1`` and ``~0.1``: a value above zero and below this is
a slip of the unit, refused or said. ``if absent`` is a value of bench.toml, ``assumed`` after it where it is a declared
assumption; for a column it is words. A line with names alone takes them from the first part.
"""

import re
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from photolab.bench.terms.verdicts import ALIKE_PERCENT
from photolab.metrology.quantity import COVERAGE

Numbers = TypeVar("Numbers", float, npt.NDArray[np.float64])
FOOTCANDLE_LX = 1.0 / (0.3048 * 0.3048)  # one lumen a square foot; the foot is 0.3048 m exactly
NAN = float("nan")  # the one NaN of the defaults, so that equal records compare equal
KINDS = frozenset(["text", "code", "codes", "date", "clock", "file", "flag", "count", "table", "tables"])
TECHNOLOGIES = "filament=halogen=incandescent led discharge=xenon=hid other"
UNKNOWN = {"number": NAN, "count": None, "list": (), "codes": (), "tables": (), "table": None, "flag": False}
"""What stands for an absent value, by kind; text is blank."""


@dataclass(frozen=True)
class UnitForm:
    """How a header in another unit becomes the canonical one: (typed - zero) x factor."""

    header: str
    unit: str
    factor: float
    zero: float = 0.0

    def convert(self, value: Numbers) -> Numbers:
        """Return the canonical value of typed ones.

        Parameters
        ----------
        value : float or ndarray
            Values as typed. [unit of the header]

        Returns
        -------
        float or ndarray
            Values in canonical units. [unit of the column]
        """
        return (value - self.zero) * self.factor


def technology_name(code: str) -> str:
    """Return a technology as a sentence has it.

    Parameters
    ----------
    code : str
        Of lamps.csv; may be blank.

    Returns
    -------
    str
        "LED" for "led", the others as they are.
    """
    return "LED" if code == "led" else code


def unit_forms(column: str) -> tuple[UnitForm, ...]:
    """Return the other headers under which a canonical column may be given.

    Parameters
    ----------
    column : str
        Canonical column name.

    Returns
    -------
    tuple of UnitForm
        The other headers; empty where there is one unit only.
    """
    stem, _, ending = column.rpartition("_")
    known = {"lx": [("fc", "fc", FOOTCANDLE_LX, 0.0)], "C": [("F", "degF", 5.0 / 9.0, 32.0)]}
    known |= {name: [("in", "in", 25.4, 0.0)] for name in ("x_mm", "y_mm")}
    known["distance_m"] = [("ft", "ft", 0.3048, 0.0), ("in", "in", 0.0254, 0.0)]
    known["elapsed_s"] = [("minutes", "min", 60.0, 0.0)]
    forms = known.get(column) or known.get(ending, [])
    return tuple(UnitForm(f"{stem}_{tail}", unit, factor, zero) for tail, unit, factor, zero in forms)


@dataclass(frozen=True)
class Field:
    """One column of a CSV file or one key of bench.toml.

    Attributes
    ----------
    name : str
        Header or key, in canonical units.
    kind : str
        ``number``, ``count`` (whole), ``list`` (of numbers), ``text``, ``code`` (one of ``codes``), ``codes`` (a list
        of them), ``date``, ``clock``, ``file``, ``flag``, ``table`` or ``tables``.
    unit : str
        Unit of the canonical value; empty for text.
    about : str
        What it is, in one phrase; for a key that is required, where to find it.
    example : str
        As it may be typed.
    required : bool
        Refused without it.
    absent : str
        What holds where it is blank, in words.
    default : object
        Value of an absent key.
    assumed : bool
        The default is a declared assumption.
    low, high : float, optional
        Allowed range; None where there is no limit. [unit of the column]
    low_open : bool
        The lower limit itself is not allowed.
    codes : tuple of str
        Allowed words; the case of letters does not matter.
    also : dict
        Other words, in small letters, and the code that each is read as.
    small : float
        Values above zero and below this look like a slip. [unit of the column]
    small_refused : bool
        Such a slip is a fault and not a caution.
    one_will_do : bool
        A list may be a single number.
    forms : tuple of UnitForm
        Other units, under headers of their own.
    """

    name: str
    kind: str
    unit: str
    about: str
    example: str
    required: bool = False
    absent: str = ""
    default: object = None
    assumed: bool = False
    low: float | None = None
    high: float | None = None
    low_open: bool = False
    codes: tuple[str, ...] = ()
    also: dict[str, str] = field(default_factory=dict, hash=False)
    small: float = 0.0
    small_refused: bool = False
    one_will_do: bool = False
    forms: tuple[UnitForm, ...] = ()

    @property
    def numeric(self) -> bool:
        """Whether the values are numbers."""
        return self.kind in {"number", "count"}

    @property
    def wanted(self) -> str:
        """What may stand there, in words."""
        if self.codes:
            return ", ".join(f'"{c}"' if c in ",;.| \t" else c for c in self.codes).replace("\t", "\\t")
        if self.low is None and self.high is None:
            return "a finite number" if self.numeric else ""
        tail = f" {self.unit}" if self.unit not in {"", "1"} else ""
        if self.high is None:
            return f"more than {self.low:g}{tail}" if self.low_open else f"{self.low:g}{tail} or more"
        over = f"more than {self.low:g}, at most" if self.low_open else f"{self.low:g} to"
        return f"{over} {self.high:g}{tail}"

    @property
    def note(self) -> str:
        """One phrase that says what it is, in which unit, what may stand there and what holds without it."""
        also = {code: ", ".join(word for word in self.also if self.also[word] == code) for code in self.codes}
        spelt = {mark: word for word, mark in SPELT.items()}
        codes = ", ".join(f"{c} ({also[c]})" if also[c] else spelt.get(c, c) for c in self.codes)
        limited = self.low is not None or self.high is not None
        unit = f" [{self.unit}]" if self.unit not in {"", "1"} and not limited else ""
        parts = [self.about + unit, f"one of {codes}" if codes else self.wanted if limited else ""]
        parts += [f"or {header}" for header in self.headers[1:]]
        parts.append(f"without it: {self.absent}" if self.absent else "")
        return "; ".join(part for part in parts if part)

    @property
    def headers(self) -> tuple[str, ...]:
        """Every header under which the column may be given, its own first."""
        return (self.name, *(form.header for form in self.forms))


@dataclass(frozen=True)
class Table:
    """One CSV file: its name, what it is for, its columns."""

    name: str
    about: str
    columns: tuple[Field, ...]

    @property
    def file(self) -> str:
        """File name in the folder."""
        return f"{self.name}.csv"

    @property
    def names(self) -> tuple[str, ...]:
        """Canonical column names, in order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Field:
        """Return the column of this canonical name.

        Parameters
        ----------
        name : str
            Canonical name.

        Returns
        -------
        Field
            The column.
        """
        return next(column for column in self.columns if column.name == name)


SPELT = {"tab": "\t", "space": " ", "bar": "|"}
"""Marks that may be written as words."""


def _field(line: str) -> Field:
    """Return the field that one line describes."""
    name, kind, wanted, absent, example, about = (part.strip() for part in line.split("|"))
    unit, _, listed = kind.partition(" ")
    kind = unit if unit in KINDS else "list" if listed else "number"
    unit = "1" if unit == "count" else "" if unit in KINDS or unit == "money" else unit
    value, _, assumed = absent.partition(", ")
    default: object = value or UNKNOWN.get(kind, "")
    if value and kind in {"number", "count"}:
        default = (int if kind == "count" else float)(value) if re.fullmatch("-?[0-9.]+", value) else None
    parts = wanted.split()
    codes = [
        [SPELT.get(word, word) for word in part.split("=")] for part in parts if kind in {"code", "codes"}
    ]
    span, small, *_ = ["", ""] if codes else [*parts, "", ""]
    low, _, high = span.lstrip(">").partition("..")
    return Field(
        name.rstrip("*"), kind, unit, about, example, name.endswith("*"), absent,
        None if name.endswith("*") else default, assumed == "assumed",
        float(low) if low else None, float(high) if high else None, span.startswith(">"),
        tuple(first for first, *_ in codes), {word: first for first, *others in codes for word in others},
        float(small[1:] or 0), small.startswith("!"), listed == "list?",
    )  # fmt: skip


def _fields(text: str, *, columns: bool = False) -> tuple[Field, ...]:
    """Return the fields that a text describes, in order; a line without bars names shared ones."""
    found: list[Field] = []
    for line in text.strip().splitlines():
        if "|" in line:
            found.append(_field(line))
            continue
        shared = [replace(SHARED[name.rstrip("*")], required=name.endswith("*")) for name in line.split()]
        found += shared if columns else map(_as_key, shared)
    return tuple(replace(one, forms=unit_forms(one.name)) if columns else one for one in found)


def _as_key(column: Field) -> Field:
    """Return a shared column as a key of bench.toml: its text in quotation marks, and nothing in its place."""
    quoted = column.example if column.numeric else f'"{column.example}"'
    blank = None if column.required else UNKNOWN.get(column.kind, "")
    return replace(column, example=quoted, default=blank, absent="")


_PARTS = re.split(r"(?m)^== ?", f"""
== shared
lamp          | text  |                |                               | K1     | neutral code of the lamp
run           | text  |                |                               | W1     | code of the record
specimen      | text  |                |                               | 1      | which piece of that lamp
housing       | text  |                | the only housing              | HR     | id of a [[housing]] in bench.toml
day           | text  |                |                               | D01    | a day of days.csv
mounting      | text  |                | one seating a lamp, housing and day | 1 | one time the lamp was put in
meter         | text  |                | that of the day, else the only one | M1 | id of a [[meter]] in bench.toml
illuminance_lx | lx   | 0..            |                               | 318    | reading of the meter
elapsed_s     | s     | 0..86400       |                               | 60     | time since switch-on
range_lx      | lx    | >0             | the only range of the meter   | 4000   | range the meter stood on
dark_lx       | lx    |                |                               | 3      | reading with the lamp covered
socket_V      | V     | >0..60         |                               | 13.2   | volts at the lamp's socket
current_A     | A     | 0..100         |                               | 1.9    | current into the lamp
ambient_C     | degC  | -30..60        |                               | 20     | air near the housing
rest_minutes  | min   | 0..            |                               | 30     | how long the lamp was off before
measured_at   | code  | socket supply  |                               | socket | where the volts were measured
cover         | code  | open closed    |                               | closed | rear cover of the housing
fan_direction | text  |                |                               | down   | where the lamp's fan or fin points
repeat        | count | 1..            | numbered by row order         | 1      | repeat within one seating
date          | date  |                |                               | 2025-04-03 | day of the calendar, YYYY-MM-DD
note          | text  |                |                               | door was open | anything worth remembering
technology    | code  | {TECHNOLOGIES} | | led | kind of light source
photo         | text  |                |                               | box.jpg | file name of a picture in the folder
method        | code  | bare tape paint thermocouple | | tape | how the surface was seen
set_emissivity | 1    | 0.01..1        |                               | 0.95   | emissivity set on the camera
emissivity    | 1     | 0.01..1        |                               | 0.95   | emissivity of the surface
emissivity_half_width | 1 | 0..0.5     |                               | 0.02   | how far that may be off
reflected_C   | degC  | -60..400       |                               | 22     | reflected temperature
place         | text  |                |                               | driver | fin, driver, base
== readings.csv: one row a reading
lamp*
illuminance_lx* | lx  | >0                |          | 318      | reading of the meter
housing day
clock           | clock |                 |          | 14:05    | time of day, HH:MM or HH:MM:SS; past midnight 24:05
order           | count | 1..             |          | 3        | position in the day's sequence
specimen mounting repeat
elapsed_s       | s    | 0..20000         | the initial time | 60 | time since switch-on
rest_minutes meter range_lx dark_lx
socket_V        | V    | >0..60           | supply_V of the day | 13.2 | volts at the lamp's socket
measured_at
ambient_C       | degC | -30..60          | that of the day | 20 | air near the housing
point           | text |                  | hot_spot | hot_spot | where on the wall
point_rule      | code | fixed found_again |         | fixed    | point kept, or searched again each time
fan_direction cover
exclude         | code | yes              |          | yes      | yes leaves the row out; then say why in note
note photo
== lamps.csv: one row a lamp
lamp*
technology*
role*             | code  | baseline candidate check_standard | | candidate | what the lamp is measured for
claimed_flux_lm   | lm    | >0              | | 1600       | light flux on the box
claimed_power_W   | W     | >0              | | 25         | power on the box
claimed_per       | code  | lamp pair       | | pair       | what the claim counts
claimed_where     | text  |                 | | front of the box | where the claim is printed: box, page, photo
colour_temperature_K | K  | 1000..20000     | | 6000       | colour temperature
price             | money | 0..             | | 30         | price in bench.currency
price_date        | date  |                 | | 2025-04-03 | day of the price, YYYY-MM-DD
price_per         | code  | lamp pair       | | pair       | what the price buys
driver            | code  | internal external | | internal | where the electronics sit
specimens_bought  | count | 1..             | | 2          | pieces at hand
obtained          | code  | bought supplied lent | | bought | how the lamp came to the bench
obtained_from     | text  |                 | | a car shop | where it was bought, or by whom it was supplied or lent
photo
== days.csv: one row a day
day*              | text  |                 | | D01        | code of the day
date*
protocol_revision | text  |                 | | 1          | revision of the method used that day
ambient_C
supply_V          | V     | >0..60          | | 13.2       | volts at the supply
meter note
== warm_up.csv: light against time, one row an instant
run* lamp* elapsed_s* illuminance_lx* specimen housing day mounting meter range_lx socket_V current_A
case_C            | degC  | -40..400        | | 85         | temperature of the lamp's case
ambient_C rest_minutes cover fan_direction
== thermal.csv: thermal camera and thermocouple readings
lamp* elapsed_s*
displayed_C*      | degC  | -20..400        | | 85         | temperature the camera displays
method* set_emissivity emissivity emissivity_half_width reflected_C ambient_C
pixels            | 1     | 1..             | | 12         | pixels across the spot
place cover fan_direction
pixel_sd_K        | K     | 0..20           | | 0.3        | scatter (SD) of the pixels, if displayed_C is a mean
== electrical.csv: power into the lamp
lamp* elapsed_s*
power_W           | W     | >0..1000        | volts times amperes | 25 | electrical power
socket_V
current_A         | A     | >0..100         | | 1.9        | current into the lamp
per*              | code  | lamp pair       | | lamp       | what was measured
measured_at
uncertainty_percent | %   | 0..50           | | 2          | how far the power may be off, as a limit
cover fan_direction
== distance.csv: one lamp at several distances
run* lamp* housing*
distance_m*       | m     | 0.2..50         | | 6.00       | reference face to meter head
illuminance_lx* dark_lx meter range_lx
repeat            | count | 1..             | | 1          | repeat of one placement
day specimen mounting socket_V
== beam.csv: readings over the wall, each run by angle or by position
run* lamp* housing*
horizontal_deg    | deg   | -90..90         | | -2.5       | + is right as the lamp sees the wall
vertical_deg      | deg   | -90..90         | | -0.5       | + is up; on a wall atan(height / distance)
x_mm              | mm    | -100000..100000 | | -260       | + is right as the lamp sees the wall
y_mm              | mm    | -100000..100000 | | -50        | + is up
illuminance_lx*
censored          | code  | below           | | below      | the meter showed less than this
meter range_lx dark_lx elapsed_s
== spectra.csv: list of spectrum files
name*             | text  |                 | | S1         | code of the spectrum
kind*             | code  | source responsivity | | source | light of a lamp, or sensitivity of a meter
lamp              | text  |                 | | K1         | lamp of a source
meter             | text  |                 | | M1         | meter of a responsivity
file*             | file  |                 | | led.csv    | plain file name inside the folder
== links.csv: the same lamp on the old and the new meter
lamp*
technology*
old_meter*        | text  |                 | | M1         | id of the old meter
new_meter*        | text  |                 | | M2         | id of the new meter
old_lx*           | lx    | >0              | | 318        | reading of the old meter
new_lx*           | lx    | >0              | | 322        | reading of the new meter
specimen date housing
== plan.csv: what is to be measured, one row a step; never a reading
step*             | count | 1..             | | 3          | position in the day's sequence
date*
start_minutes     | min   | 0..             | | 45         | when its lamp is switched on, since the first one was
lamp* specimen housing mounting
instant*          | code  | initial hold camera | | hold   | light at the initial or hold time, or the camera after it
== spectrum.csv: a spectrum
wavelength_nm* | nm    | 360..830 | | 555  | wavelength
value*         | money | 0..      | | 0.87 | relative power or responsivity
== results.csv: an earlier results.csv of this program
lamp* housing
measurand*     | text |           | | illuminance ratio | what was measured
baseline       | text |           | | B0   | lamp that the ratio is taken against
point          | text |           | | hot_spot | where on the wall
instant        | text |           | | hold | initial or hold
scope*         | text |           | | specimens | readings, specimens or models
value          | 1    |           | | 1.12 | the figure
unit           | text |           | | 1    | its unit
ln_expanded_uncertainty | 1 | 0.. | | 0.05 | half-width of its interval in ln
coverage       | 1    | 0.5..0.999 | | {COVERAGE:g} | coverage probability of that interval
== []
schema* | count | 1..1 | | 1 | version of this layout
== [bench]
name              | text |           | unnamed      | "my bench" | name of the bench as published
protocol_revision | text |           |              | "1"  | revision of your method; publishing needs it
initial_s         | s    | 1..600    | 60, assumed  | 60   | instant of the initial reading after switch-on
initial_window_s  | s    | 0..60     | 10, assumed  | 10   | how far from the initial time a reading may be
hold_minutes      | min  | 1..240    | 30, assumed  | 30   | how long a lamp is kept on
invented          | flag |           |              | true | the readings are made up; every page and picture says so
coverage          | 1    | 0.5..0.999 | {COVERAGE:g} | {COVERAGE:g} | coverage probability of every interval
alike_percent     | %    | 1..50 !0.1 | {ALIKE_PERCENT:g} | {ALIKE_PERCENT:g} | lamps closer than this are called alike
noticeable_percent | %   | 1..50 !0.1 | 25          | 25   | read from older folders, not used
reference_voltage_V | V  | 6..30     | 13.2         | 13.2 | voltage the results hold for
reference_ambient_C | degC | -30..60 | 20           | 20   | ambient the results hold for
currency          | text |           |              | "EUR" | currency of the prices
also_show         | codes | degF fc ft in | | ["degF"] | second unit of temperatures: degF; fc, ft, in show nothing
mounting_sd_percent | %  | 0..30 !0.1 | 3, assumed  | 3    | scatter from seating a lamp again
specimen_sd_percent | %  | 0..30 !0.1 | 4, assumed  | 4    | scatter between pieces of one lamp
day_sd_percent    | %    | 0..30 ~0.05 | 1, assumed | 1    | scatter from day to day
reading_sd_percent | %   | 0..10 ~0.01 | 0.4, assumed | 0.4 | scatter of readings, where none is repeated
remaining_sd_percent | % | 0..30 ~0.05 | 2, assumed | 2    | scatter of remaining light between pieces of one lamp
== [csv]
separator | code | , ; tab | , | ";" | what stands between cells
decimal   | code | . ,     | . | "," | decimal mark
== [links]
accept_provisional | flag | | | true | let readings of a second meter in through a link of one or two lamps
== [meter]
id*               | text |            |              | "M1" | your code for the meter
reading_percent*  | % list? | 0..50 !0.1 |           | 4    | copy it from the accuracy line of the meter's manual
range_percent     | % list? | 0..20 ~0.05 |          | 0.5  | % of range (f.s.) of the accuracy line
digits            | 1 list? | 0..100  |              | 10   | digits (dgt, counts) of the accuracy line
ranges_lx         | lx list | >0      |              | [400, 4000, 40000] | tops of the ranges, smallest first
resolution_lx     | lx list | >0      |              | [0.1, 1, 10] | last figure that can change, for each range
limit_kind        | code | limit expanded_k2 standard | limit, assumed | "limit" | what the accuracy line means
mismatch_index_percent | % | 0..40 !0.1 | 10, assumed | 8  | f1', V(lambda) match, spectral error
spectral_factor   | tables |          |              |      | stated colour correction for a technology
certificate       | table |           |              |      | calibration certificate, if there is one
drift_percent_per_year | % | 0..20 ~0.05 | 1         | 1    | change since the calibration
linearity_percent | %    | 0..10 ~0.05 | 1 or a third of reading_percent, assumed | 1 | linearity
temperature_percent_per_K | %/K | 0..5 | 0.1, assumed | 0.1 | change with the meter's temperature
integration_s     | s    | 0.001..10  |              | 0.5  | time over which the meter averages
calibrated_on     | date |            |              | "2025-04-03" | day of the last calibration
calibration_source | text |           | A, assumed   | "A"  | the light it was calibrated with: A, LED, or words
== [meter.spectral_factor]
technology*       | code | {TECHNOLOGIES} | | "led" | light the factor is for
factor*           | 1    | 0.5..2     |              | 1.02 | true reading over displayed reading
expanded_uncertainty* | 1 | 0..1      |              | 0.01 | uncertainty printed beside it
coverage_factor   | 1    | 1..4       | 2, assumed   | 2    | k printed beside it
== [meter.certificate]
level_lx          | lx   | >0         |              | 500  | level of the calibration
correction*       | 1    | 0.5..2     |              | 1.013 | true reading over displayed reading
expanded_uncertainty_percent* | % | 0..50 ~0.05 |    | 1.5  | uncertainty on the certificate
coverage_factor   | 1    | 1..4       | 2, assumed   | 2    | k on the certificate
date              | date |            |              | "2025-04-03" | day of the calibration
range_lx          | lx   | >0         |              | 4000 | range that was calibrated
source            | text |            |              | "A"  | light source of the calibration
== [housing]
id*               | text |            |              | "H1" | your code for the housing
kind              | code | projector reflector other | | "reflector" | optics
traffic           | code | right left symmetrical | right | "right" | side of the road it is made for
distance_m        | m    | 0.2..50    |              | 6.00 | reference face to meter head
distance_uncertainty_mm | mm | 0..500 ~0.5 |         | 10   | how far the distance may be off
offset_mm         | mm   | -500..1000 | 0            | 0    | photometric centre behind the reference face
offset_uncertainty_mm | mm | 0..500 ~0.5 | 100       | 100  | how far the photometric centre may be off
aperture_mm       | mm   | 1..1000    |              | 100  | width of the lens or reflector
sensor | code | faces_lamp flat_wall turned_lamp | faces_lamp | "faces_lamp" | what the head faces: (turned) lamp, wall
tilt_uncertainty_deg | deg | 0..45    | 3            | 3    | how far the head may be tilted
== [log]
file*             | text |            |              | "log.csv" | the logger's file, as it is
into              | code | warm_up thermal | warm_up | "warm_up" | table its rows belong to
first_row         | count | 1..10000  | 1            | 1    | row that holds the logger's column names
separator         | code | , ; tab space bar | ,     | ";"  | what stands between cells
decimal           | code | . ,        | .            | ","  | decimal mark
columns*          | table |           |              |      | our column = theirs
clock             | text |            |              | "Time" | their column of clock times, in place of elapsed_s
switched_on       | text |            |              | "22:00:10" | logger's time then; the record begins after it
switched_off      | text |            |              | "22:35:00" | logger's time then; rows after it are left out
lamp* run specimen housing day mounting meter range_lx socket_V ambient_C rest_minutes cover fan_direction
method place set_emissivity emissivity emissivity_half_width reflected_C
== [heat_matrix]
file*             | text |            |              | "heat.csv" | temperatures of a picture, as the camera saves them
first_row         | count | 1..10000  | 1            | 1    | row of the picture's uppermost pixels
separator         | code | , ; tab space bar | ,     | ";"  | what stands between cells
decimal           | code | . ,        | .            | ","  | decimal mark
unit              | code | degC degF  | degC         | "degC" | unit of the temperatures
rectangle*        | 1 list | 0..      |              | [120, 80, 40, 30] | left, top, width, height in pixels
elapsed_s         | s    | 0..86400   |              | 1800 | time since switch-on
elapsed_minutes   | min  | 0..1440    |              | 30   | the same in minutes
hottest_pixels*   | count | 1..       |              | 9    | the temperature is the mean of so many of them
lamp* method* place set_emissivity emissivity emissivity_half_width reflected_C ambient_C cover
fan_direction
== [question]
asked_on*         | date |            |              | 2025-04-03 | day the question was asked, YYYY-MM-DD
lamp*             | text |            |              | "any" | a lamp of lamps.csv, or any
housing*          | text |            |              | "each" | a housing, each (all of them) or any (one of them)
instant*          | code | initial hold |            | "hold" | initial time or hold time
more_than_percent* | %   | 0..500 !0.1 |             | 10   | more light than the baseline by this much; 0 for any more
words             | text |            |              | "is any lamp 10 % up?" | the question in your own words
== [their_figure]
source*           | text |            |              | "A test on the web" | where the figure stands, or who replied
lamp*             | text |            |              | "K1" | the lamp of lamps.csv that it is about
baseline          | text |            |              | "B0" | the lamp it is divided by
housing           | text |            |              | "HR" | the housing of this bench most like theirs
ratio             | 1    | 0.05..20   |              | 1.2  | light of the lamp over light of the baseline
expanded_percent  | %    | >0..100 ~0.1 |            | 6    | its expanded uncertainty at the coverage of this bench
low               | 1    | 0.05..20   |              | 1.1  | lower end of its interval, in place of expanded_percent
high              | 1    | 0.05..20   |              | 1.3  | upper end of its interval
instant           | code | initial hold | initial    | "hold" | initial time or hold time
text              | text |            |              | "it is for other housings" | a maker's reply, in place of a ratio
date              | date |            |              | 2025-04-03 | day of the figure or reply, YYYY-MM-DD
== [our_earlier]
file*             | text |            |              | "results-2024.csv" | results.csv of a report, copied here
label*            | text |            |              | "2024" | how it is called
pieces            | code | same other | same        | "same" | whether the same pieces of the lamps were read
""")[1:]  # fmt: skip
_HELD = {head.strip(): text for head, _, text in (part.partition("\n") for part in _PARTS)}
SHARED: dict[str, Field] = {shared.name: shared for shared in _fields(_HELD["shared"])}
_FILES = {
    name: Table(name, about, _fields(_HELD[f"{name}.csv: {about}"], columns=True))
    for name, about in (head.split(".csv: ") for head in _HELD if ".csv: " in head)
}
SPECTRUM_FILE, EARLIER_FILE = _FILES.pop("spectrum"), _FILES.pop("results")
TABLES: dict[str, Table] = _FILES
SECTIONS: dict[str, tuple[Field, ...]] = {
    head.strip("[]"): _fields(text) for head, text in _HELD.items() if head.startswith("[")
}
SINGLE = ("bench", "csv", "links")
"""Sections that stand once, `[bench]`; the others stand as often as there are meters, housings, ... `[[meter]]`."""

FILES: tuple[str, ...] = ("bench.toml", *(table.file for table in TABLES.values()))
_COLUMNS = [column for table in (*TABLES.values(), SPECTRUM_FILE) for column in table.columns]
HEADERS = frozenset(header for column in _COLUMNS for header in column.headers)
READING_KEY = ("lamp", "specimen", "housing", "day", "mounting", "repeat", "point", "elapsed_s")

REFUSED_UNITS: dict[str, dict[str, str]] = {
    ending: dict(part.split(": ") for part in words.split("; "))
    for ending, words in {
        "lx": "klx: 1 klx is 1000 lx; lux: lux is written lx; mlx: 1 mlx is 0.001 lx",
        "m": "cm: 1 cm is 0.01 m; mm: 1 mm is 0.001 m; yd: 1 yd is 0.9144 m; km: 1 km is 1000 m",
        "mm": "cm: 1 cm is 10 mm; m: 1 m is 1000 mm; ft: 1 ft is 304.8 mm",
        "s": "min: write elapsed_minutes for minutes; m: write elapsed_minutes for minutes; h: 1 h is 3600 s;"
        " hours: 1 h is 3600 s; ms: 1 ms is 0.001 s",
        "minutes": "s: 1 min is 60 s; h: 1 h is 60 min; hours: 1 h is 60 min; min: min is written minutes",
        "C": "K: degC is K less 273.15; R: degC is (R - 491.67) x 5/9; degC: degC is written C;"
        " degF: degF is written F",
        "V": "mV: 1 mV is 0.001 V; kV: 1 kV is 1000 V",
        "A": "mA: 1 mA is 0.001 A",
        "W": "mW: 1 mW is 0.001 W; kW: 1 kW is 1000 W; VA: VA is not W, measure the power",
        "deg": "rad: 1 rad is 57.29577951 deg; mrad: 1 mrad is 0.05729577951 deg; grad: 1 grad is 0.9 deg;"
        " minutes: 1 minute of arc is 1/60 deg",
        "nm": "um: 1 um is 1000 nm; A: 1 angstrom is 0.1 nm; m: 1 m is 1e9 nm",
        "lm": "klm: 1 klm is 1000 lm",
        "K": "kK: 1 kK is 1000 K; mired: K is 1 000 000 divided by mired",
    }.items()
}
"""Endings nobody converts, by the ending of the canonical column: what one of them is."""


def listing(name: str = "", *, markdown: bool = False) -> list[str]:
    """Return what the folder may hold, as lines to print.

    Parameters
    ----------
    name : str, optional
        One file or section (``readings.csv``, ``readings``, ``bench.toml``, ``meter``); without it, everything.
    markdown : bool, default False
        As Markdown tables.

    Returns
    -------
    list of str
        Lines.

    Raises
    ------
    ValueError
        If there is no such file or section.
    """
    own = f"a file that spectra.csv names: {SPECTRUM_FILE.about}"
    parts = {t.file: (f"{t.file}: {t.about}", t.columns) for t in TABLES.values()}
    parts[SPECTRUM_FILE.file] = own, SPECTRUM_FILE.columns
    for section, keys in SECTIONS.items():
        title = f"[{section}]" if section in SINGLE or section == "meter.certificate" else f"[[{section}]]"
        parts[section or "bench.toml"] = (f"bench.toml {title if section else 'first line'}", keys)
    whole = {"": set(parts), "bench.toml": {part for part in parts if not part.endswith(".csv")}}
    chosen = [part for part in parts if part in whole.get(name, {name, f"{name}.csv"})]
    if not chosen:
        message = f"{name}: no such file; write one of {', '.join([*FILES, *filter(None, SECTIONS)])}"
        raise ValueError(message)
    lines = []
    for title, fields in (parts[part] for part in chosen):
        rows = [(f.name + "*" * f.required, f.example, f.note) for f in fields]
        if markdown:
            cells = [f"| `{n}` | {f'`{e}`' if e else ''} | {about} |" for n, e, about in rows]
            lines += [f"**{title}**", "", "| name | example | what it is |", "|---|---|---|"]
            lines += [cell.replace("\\t", "tab") for cell in cells]
        else:
            wide = [max(len(row[place]) for row in rows) for place in (0, 1)]
            lines += [title, *(f"  {n:<{wide[0]}}  {e:<{wide[1]}}  {about}" for n, e, about in rows)]
        lines.append("")
    return [*lines, "* required"]
