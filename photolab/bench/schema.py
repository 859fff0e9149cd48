"""What a bench folder may hold, as data: files, columns, units, ranges, codes.

The reader, the writer, the folder a beginner fills in and the data dictionary all work from these
tables, so that a column is described once. The keys of bench.toml stand in `photolab.bench.keys`.
"""

from dataclasses import dataclass

FOOTCANDLE_LX = 1.0 / (0.3048 * 0.3048)  # one lumen a square foot; the foot is 0.3048 m exactly
NAN = float("nan")  # the one NaN of the defaults, so that equal records compare equal
MAX_FILE_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True)
class Column:
    """One column of a CSV file.

    Attributes
    ----------
    name : str
        Header in canonical units.
    kind : str
        ``number``, ``count`` (whole, 1 or more), ``text``, ``code``, ``date``, ``clock`` or ``file``.
    unit : str
        Unit of the canonical value; empty for text.
    about : str
        What it is, in one phrase.
    required : bool
        The column must be there and no cell may be blank.
    low, high : float, optional
        Allowed range; None where there is no limit. [unit of the column]
    low_open : bool
        The lower limit itself is not allowed.
    codes : tuple of str
        Allowed words of a ``code`` column.
    """

    name: str
    kind: str
    unit: str
    about: str
    required: bool = False
    low: float | None = None
    high: float | None = None
    low_open: bool = False
    codes: tuple[str, ...] = ()

    @property
    def wanted(self) -> str:
        """The allowed range in words."""
        return range_words(self.low, self.high, low_open=self.low_open, unit=self.unit)

    @property
    def numeric(self) -> bool:
        """Whether the values are numbers."""
        return self.kind in {"number", "count"}


@dataclass(frozen=True)
class Table:
    """One CSV file: its name, what it is for, its columns."""

    name: str
    about: str
    columns: tuple[Column, ...]

    @property
    def file(self) -> str:
        """File name in the folder."""
        return f"{self.name}.csv"

    def column(self, name: str) -> Column:
        """Return the column of this canonical name.

        Parameters
        ----------
        name : str
            Canonical name.

        Returns
        -------
        Column
            The column.
        """
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Canonical column names, in order."""
        return tuple(column.name for column in self.columns)


def range_words(low: float | None, high: float | None, *, low_open: bool = False, unit: str = "") -> str:
    """Return an allowed range in words.

    Parameters
    ----------
    low, high : float or None
        Limits. [unit given]
    low_open : bool, default False
        The lower limit itself is not allowed.
    unit : str
        Unit to print.

    Returns
    -------
    str
        The range.
    """
    tail = f" {unit}" if unit and unit != "1" else ""
    if low is None and high is None:
        return "a finite number"
    if high is None:
        return f"more than {low:g}{tail}" if low_open else f"{low:g}{tail} or more"
    if low is None:
        return f"{high:g}{tail} or less"
    return f"more than {low:g}, at most {high:g}{tail}" if low_open else f"{low:g} to {high:g}{tail}"


def _text(name: str, about: str, *, required: bool = False) -> Column:
    return Column(name, "text", "", about, required)


def _code(name: str, codes: str, about: str, *, required: bool = False) -> Column:
    return Column(name, "code", "", about, required, codes=tuple(codes.split()))


def _number(
    name: str,
    unit: str,
    about: str,
    low: float | None = None,
    high: float | None = None,
    *,
    required: bool = False,
    low_open: bool = False,
) -> Column:
    return Column(name, "number", unit, about, required, low, high, low_open)


LAMP = _text("lamp", "neutral code of the lamp", required=True)
SPECIMEN = _text("specimen", "which piece of that lamp")
HOUSING = _text("housing", "id of a [[housing]] in bench.toml")
DAY = _text("day", "a day of days.csv")
MOUNTING = _text("mounting", "one time the lamp was put into the housing")
METER = _text("meter", "id of a [[meter]] in bench.toml")
NOTE = _text("note", "anything worth remembering")
RANGE = _number("range_lx", "lx", "range the meter stood on", 0, low_open=True)
DARK = _number("dark_lx", "lx", "reading with the lamp covered, to be subtracted")
VOLTS = _number("socket_V", "V", "volts at the lamp's socket", 0, 60, low_open=True)
AMBIENT = _number("ambient_C", "degC", "air near the housing", -30, 60)
REST = _number("rest_minutes", "min", "how long the lamp was off before", 0)
AT = _code("measured_at", "socket supply", "where the volts were measured")
COVER = _code("cover", "open closed", "rear cover of the housing")
FAN = _text("fan_direction", "where the lamp's fan or fin points")
ELAPSED_WORDS = "time since switch-on"
SIDE_ABOUT = "+ is right as the lamp sees the wall"
UP_ABOUT = "+ is up"
ZERO_LUX = _number("illuminance_lx", "lx", "reading of the meter", 0, required=True)

READINGS = Table("readings", "one row a reading", (
    LAMP,
    _number("illuminance_lx", "lx", "reading of the meter", 0, required=True, low_open=True),
    HOUSING, DAY,
    Column("clock", "clock", "", "time of day, HH:MM or HH:MM:SS"),
    Column("order", "count", "1", "position in the day's sequence", low=1),
    SPECIMEN, MOUNTING,
    Column("repeat", "count", "1", "repeat within one mounting", low=1),
    _number("elapsed_s", "s", ELAPSED_WORDS, 0, 20_000),
    REST, METER, RANGE, DARK, VOLTS, AT, AMBIENT,
    _text("point", "where on the wall; blank is hot_spot"),
    _code("point_rule", "fixed found_again", "point kept, or searched again each time"),
    FAN, COVER,
    _code("exclude", "yes", "yes leaves the row out; then say why in note"),
    NOTE,
    _text("photo", "file name of a picture"),
))  # fmt: skip
LAMPS = Table("lamps", "one row a lamp", (
    LAMP,
    _code("technology", "filament led discharge other", "kind of light source", required=True),
    _code("role", "baseline candidate check_standard", "what the lamp is measured for", required=True),
    _number("claimed_flux_lm", "lm", "light flux on the box", 0, low_open=True),
    _number("claimed_power_W", "W", "power on the box", 0, low_open=True),
    _code("claimed_per", "lamp pair", "what the claim counts"),
    _number("colour_temperature_K", "K", "colour temperature", 1_000, 20_000),
    _number("price", "", "price in bench.currency", 0),
    Column("price_date", "date", "", "day of the price, YYYY-MM-DD"),
    _code("price_per", "lamp pair", "what the price buys"),
    _code("driver", "internal external", "where the electronics sit"),
    Column("specimens_bought", "count", "1", "pieces at hand", low=1),
    _code("obtained", "bought supplied lent", "how the lamp came to the bench"),
))  # fmt: skip
DAYS = Table("days", "one row a day", (
    _text("day", "code of the day", required=True),
    Column("date", "date", "", "YYYY-MM-DD", required=True),
    _text("protocol_revision", "revision of the method used that day"),
    AMBIENT,
    _number("supply_V", "V", "volts at the supply", 0, 60, low_open=True),
    METER, NOTE,
))  # fmt: skip
WARM_UP = Table("warm_up", "light against time, one row an instant", (
    _text("run", "code of the record", required=True),
    LAMP,
    _number("elapsed_s", "s", ELAPSED_WORDS, 0, 86_400, required=True),
    ZERO_LUX, SPECIMEN, HOUSING, DAY, MOUNTING, METER, RANGE, VOLTS,
    _number("current_A", "A", "current into the lamp", 0, 100),
    _number("case_C", "degC", "temperature of the lamp's case", -40, 400),
    AMBIENT, REST, COVER, FAN,
))  # fmt: skip
THERMAL = Table("thermal", "thermal camera and thermocouple readings", (
    LAMP,
    _number("elapsed_s", "s", ELAPSED_WORDS, 0, 86_400, required=True),
    _number("displayed_C", "degC", "temperature the camera displays", -20, 400, required=True),
    _code("method", "bare tape paint thermocouple", "how the surface was seen", required=True),
    _number("set_emissivity", "1", "emissivity set on the camera", 0.01, 1),
    _number("emissivity", "1", "emissivity of the surface", 0.01, 1),
    _number("emissivity_half_width", "1", "how far that may be off", 0, 0.5),
    _number("reflected_C", "degC", "reflected temperature", -60, 400),
    AMBIENT,
    _number("pixels", "1", "pixels across the spot", 1),
    _text("place", "fin, driver, base"),
    COVER, FAN,
))  # fmt: skip
ELECTRICAL = Table("electrical", "power into the lamp", (
    LAMP,
    _number("elapsed_s", "s", ELAPSED_WORDS, 0, 86_400, required=True),
    _number("power_W", "W", "electrical power", 0, 1_000, low_open=True),
    VOLTS,
    _number("current_A", "A", "current into the lamp", 0, 100, low_open=True),
    _code("per", "lamp pair", "what was measured", required=True),
    AT,
    _number("uncertainty_percent", "%", "expanded uncertainty of the power", 0, 50),
    COVER, FAN,
))  # fmt: skip
DISTANCE = Table("distance", "one lamp at several distances", (
    _text("run", "code of the run", required=True),
    LAMP,
    _text("housing", "id of a [[housing]] in bench.toml", required=True),
    _number("distance_m", "m", "reference face to meter head", 0.2, 50, required=True),
    ZERO_LUX, DARK, METER, RANGE,
    Column("repeat", "count", "1", "repeat of one placement", low=1),
    DAY, SPECIMEN, MOUNTING, VOLTS,
))  # fmt: skip
BEAM = Table("beam", "readings over the wall, by angle or by position", (
    _text("run", "code of the grid", required=True),
    LAMP,
    _text("housing", "id of a [[housing]] in bench.toml", required=True),
    _number("horizontal_deg", "deg", SIDE_ABOUT, -90, 90),
    _number("vertical_deg", "deg", UP_ABOUT, -90, 90),
    _number("x_mm", "mm", SIDE_ABOUT, -100_000, 100_000),
    _number("y_mm", "mm", UP_ABOUT, -100_000, 100_000),
    ZERO_LUX,
    _code("censored", "below", "the meter showed less than this"),
    METER, RANGE, DARK,
    _number("elapsed_s", "s", ELAPSED_WORDS, 0, 86_400),
))  # fmt: skip
SPECTRA = Table("spectra", "list of spectrum files", (
    _text("name", "code of the spectrum", required=True),
    _code("kind", "source responsivity", "light of a lamp, or sensitivity of a meter", required=True),
    _text("lamp", "lamp of a source"),
    _text("meter", "meter of a responsivity"),
    Column("file", "file", "", "plain file name inside the folder", required=True),
))  # fmt: skip
LINKS = Table("links", "the same lamp on the old and the new meter", (
    LAMP,
    _code("technology", "filament led discharge other", "kind of light source", required=True),
    _text("old_meter", "id of the old meter", required=True),
    _text("new_meter", "id of the new meter", required=True),
    _number("old_lx", "lx", "reading of the old meter", 0, required=True, low_open=True),
    _number("new_lx", "lx", "reading of the new meter", 0, required=True, low_open=True),
    SPECIMEN,
    Column("date", "date", "", "YYYY-MM-DD"),
    HOUSING,
))  # fmt: skip
SPECTRUM_FILE = Table("spectrum", "a spectrum", (
    _number("wavelength_nm", "nm", "wavelength", 360, 830, required=True),
    _number("value", "", "relative power or responsivity", 0, required=True),
))  # fmt: skip

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        READINGS,
        LAMPS,
        DAYS,
        WARM_UP,
        THERMAL,
        ELECTRICAL,
        DISTANCE,
        BEAM,
        SPECTRA,
        LINKS,
    )
}
FILES: tuple[str, ...] = ("bench.toml", *(table.file for table in TABLES.values()))
IDENTITY = ("lamp", "specimen", "housing", "day", "mounting")
READING_KEY = ("lamp", "specimen", "housing", "day", "mounting", "repeat", "point", "elapsed_s")


@dataclass(frozen=True)
class UnitForm:
    """How a header in another unit becomes the canonical one: (typed - zero) x factor."""

    header: str
    unit: str
    factor: float
    zero: float = 0.0

    def convert(self, value: float) -> float:
        """Return the canonical value of a typed one.

        Parameters
        ----------
        value : float
            Value as typed. [unit of the header]

        Returns
        -------
        float
            Value in canonical units. [unit of the column]
        """
        return (value - self.zero) * self.factor


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
    stem = column.rpartition("_")[0]
    if column.endswith("_lx"):
        return (UnitForm(f"{stem}_fc", "fc", FOOTCANDLE_LX),)
    if column == "distance_m":
        return (UnitForm("distance_ft", "ft", 0.3048), UnitForm("distance_in", "in", 0.0254))
    if column.endswith("_C"):
        return (UnitForm(f"{stem}_F", "degF", 5.0 / 9.0, 32.0),)
    if column in {"x_mm", "y_mm"}:
        return (UnitForm(f"{stem}_in", "in", 25.4),)
    if column == "elapsed_s":
        return (UnitForm("elapsed_minutes", "min", 60.0),)
    return ()


HEADERS = frozenset(
    header
    for table in (*TABLES.values(), SPECTRUM_FILE)
    for name in table.names
    for header in (name, *(form.header for form in unit_forms(name)))
)

# Endings nobody converts, by the ending of the canonical column: what one of them is.
REFUSED_UNITS: dict[str, dict[str, str]] = {
    "lx": {"klx": "1 klx is 1000 lx", "lux": "lux is written lx", "mlx": "1 mlx is 0.001 lx"},
    "m": {"cm": "1 cm is 0.01 m", "mm": "1 mm is 0.001 m", "yd": "1 yd is 0.9144 m", "km": "1 km is 1000 m"},
    "mm": {"cm": "1 cm is 10 mm", "m": "1 m is 1000 mm", "ft": "1 ft is 304.8 mm"},
    "s": {
        "min": "write elapsed_minutes for minutes", "h": "1 h is 3600 s", "hours": "1 h is 3600 s",
        "ms": "1 ms is 0.001 s", "m": "write elapsed_minutes for minutes",
    },
    "minutes": {
        "s": "1 min is 60 s", "h": "1 h is 60 min", "min": "min is written minutes", "hours": "1 h is 60 min",
    },
    "C": {"K": "degC is K less 273.15", "R": "degC is (R - 491.67) x 5/9", "degC": "degC is written C",
          "degF": "degF is written F"},
    "V": {"mV": "1 mV is 0.001 V", "kV": "1 kV is 1000 V"},
    "A": {"mA": "1 mA is 0.001 A"},
    "W": {"mW": "1 mW is 0.001 W", "kW": "1 kW is 1000 W", "VA": "VA is not W: measure the power"},
    "deg": {
        "rad": "1 rad is 57.29577951 deg", "mrad": "1 mrad is 0.05729577951 deg", "grad": "1 grad is 0.9 deg",
        "minutes": "1 minute of arc is 1/60 deg",
    },
    "nm": {"um": "1 um is 1000 nm", "A": "1 angstrom is 0.1 nm", "m": "1 m is 1e9 nm"},
    "lm": {"klm": "1 klm is 1000 lm"},
    "K": {"kK": "1 kK is 1000 K", "mired": "K is 1 000 000 divided by mired"},
}  # fmt: skip
