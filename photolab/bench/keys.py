"""The keys of bench.toml, as data: type, unit, allowed range, default, where to find the value."""

from dataclasses import dataclass

from photolab.bench.schema import NAN, range_words
from photolab.bench.verdicts import ALIKE_PERCENT
from photolab.metrology.quantity import COVERAGE


@dataclass(frozen=True)
class Key:
    """One key of a section of bench.toml.

    Attributes
    ----------
    name : str
        The key.
    kind : str
        ``number``, ``numbers`` (a list), ``number_or_numbers``, ``count``, ``text``, ``texts``, ``code``,
        ``date``, ``flag``, ``table`` or ``tables``.
    unit : str
        Unit of the value.
    about : str
        What it is and where to find it.
    default : object
        Value used when the key is absent.
    required : bool
        Refused without it.
    assumed : bool
        The default is a declared assumption.
    low, high : float, optional
        Allowed range. [unit of the key]
    low_open : bool
        The lower limit itself is not allowed.
    codes : tuple of str
        Allowed words.
    small : float
        Values above zero and below this look like a slip. [unit of the key]
    small_refused : bool
        Such a slip is a fault and not a caution.
    """

    name: str
    kind: str
    unit: str
    about: str
    default: object = None
    required: bool = False
    assumed: bool = False
    low: float | None = None
    high: float | None = None
    low_open: bool = False
    codes: tuple[str, ...] = ()
    small: float = 0.0
    small_refused: bool = False

    @property
    def wanted(self) -> str:
        """The allowed range in words."""
        return range_words(self.low, self.high, low_open=self.low_open, unit=self.unit)


TOP = (Key("schema", "count", "1", "version of this layout", required=True, low=1, high=1),)
CSV = (
    Key("separator", "code", "", "what stands between cells", ",", codes=(",", ";", "\t")),
    Key("decimal", "code", "", "decimal mark", ".", codes=(".", ",")),
)
BENCH = (
    Key("name", "text", "", "name of the bench as published", "unnamed"),
    Key("protocol_revision", "text", "", "revision of your method; publishing needs it", ""),
    Key("initial_s", "number", "s", "instant of the initial reading after switch-on", 60.0,
        assumed=True, low=1, high=600),
    Key("initial_window_s", "number", "s", "how far from it a reading may be", 10.0, assumed=True, low=0,
        high=60),
    Key("hold_minutes", "number", "min", "how long a lamp is kept on", 30.0, assumed=True, low=1, high=240),
    Key("coverage", "number", "1", "coverage probability of every interval", COVERAGE, low=0.5, high=0.999),
    Key("alike_percent", "number", "%", "lamps closer than this are called alike", ALIKE_PERCENT,
        low=1, high=50, small=0.1, small_refused=True),
    Key("noticeable_percent", "number", "%", "read from older folders, not used", 25.0,
        low=1, high=50, small=0.1, small_refused=True),
    Key("reference_voltage_V", "number", "V", "voltage the results hold for", 13.2, low=6, high=30),
    Key("reference_ambient_C", "number", "degC", "ambient the results hold for", 20.0, low=-30, high=60),
    Key("currency", "text", "", "currency of the prices", ""),
    Key("also_show", "texts", "", "second units in brackets", (), codes=("degF", "fc", "ft", "in")),
    Key("mounting_sd_percent", "number", "%", "scatter from seating a lamp again", 3.0,
        assumed=True, low=0, high=30, small=0.1, small_refused=True),
    Key("specimen_sd_percent", "number", "%", "scatter between pieces of one lamp", 4.0,
        assumed=True, low=0, high=30, small=0.1, small_refused=True),
    Key("day_sd_percent", "number", "%", "scatter from day to day", 1.0, assumed=True, low=0, high=30,
        small=0.05),
    Key("remaining_sd_percent", "number", "%", "scatter of remaining light between pieces of one lamp", 2.0,
        assumed=True, low=0, high=30, small=0.05),
)  # fmt: skip
FACTOR = (
    Key("technology", "code", "", "light the factor is for", required=True,
        codes=("filament", "led", "discharge", "other")),
    Key("factor", "number", "1", "true reading over displayed reading", required=True, low=0.5, high=2),
    Key("expanded_uncertainty", "number", "1", "uncertainty printed beside it", required=True, low=0, high=1),
    Key("coverage_factor", "number", "1", "k printed beside it", 2.0, assumed=True, low=1, high=4),
)  # fmt: skip
CERTIFICATE = (
    Key("level_lx", "number", "lx", "level of the calibration", NAN, low=0, low_open=True),
    Key("correction", "number", "1", "true reading over displayed reading", required=True, low=0.5, high=2),
    Key("expanded_uncertainty_percent", "number", "%", "uncertainty on the certificate", required=True,
        low=0, high=50, small=0.05),
    Key("coverage_factor", "number", "1", "k on the certificate", 2.0, assumed=True, low=1, high=4),
    Key("date", "date", "", "day of the calibration", ""),
    Key("range_lx", "number", "lx", "range that was calibrated", NAN, low=0, low_open=True),
    Key("source", "text", "", "light source of the calibration", ""),
)  # fmt: skip
METER = (
    Key("id", "text", "", "your code for the meter", required=True),
    Key("reading_percent", "number_or_numbers", "%", "copy it from the accuracy line of the meter's manual",
        required=True, low=0, high=50, small=0.1, small_refused=True),
    Key("range_percent", "number_or_numbers", "%", "% of range (f.s.) of the accuracy line", (), low=0,
        high=20, small=0.05),
    Key("digits", "number_or_numbers", "1", "digits (dgt, counts) of the accuracy line", (), low=0, high=100),
    Key("ranges_lx", "numbers", "lx", "tops of the ranges, smallest first", (), low=0, low_open=True),
    Key("resolution_lx", "numbers", "lx", "last figure that can change, for each range", (), low=0,
        low_open=True),
    Key("limit_kind", "code", "", "what the accuracy line means", "limit", assumed=True,
        codes=("limit", "expanded_k2", "standard")),
    Key("mismatch_index_percent", "number", "%", "f1', V(lambda) match, spectral error", 10.0,
        assumed=True, low=0, high=40, small=0.1, small_refused=True),
    Key("spectral_factor", "tables", "", "stated colour correction for a technology", ()),
    Key("certificate", "table", "", "calibration certificate, if there is one", None),
    Key("drift_percent_per_year", "number", "%", "change since the calibration", 1.0, low=0, high=20,
        small=0.05),
    Key("linearity_percent", "number", "%", "linearity", None, assumed=True, low=0, high=10, small=0.05),
    Key("temperature_percent_per_K", "number", "%/K", "change with the meter's temperature", 0.1,
        assumed=True, low=0, high=5),
    Key("integration_s", "number", "s", "time over which the meter averages", NAN, low=0.001, high=10),
    Key("calibrated_on", "date", "", "day of the last calibration", ""),
    Key("calibration_source", "text", "", "A for an incandescent lamp of 2856 K, LED, or words", "A",
        assumed=True),
)  # fmt: skip
HOUSING = (
    Key("id", "text", "", "your code for the housing", required=True),
    Key("kind", "code", "", "optics", "", codes=("projector", "reflector", "other")),
    Key("traffic", "code", "", "side of the road it is made for", "right", codes=("right", "left",
        "symmetrical")),
    Key("distance_m", "number", "m", "reference face to meter head", NAN, low=0.2, high=50),
    Key("distance_uncertainty_mm", "number", "mm", "how far that may be off", NAN, low=0, high=500,
        small=0.5),
    Key("offset_mm", "number", "mm", "photometric centre behind the reference face", 0.0, low=-500,
        high=1000),
    Key("offset_uncertainty_mm", "number", "mm", "how far that may be off", 100.0, low=0, high=500,
        small=0.5),
    Key("aperture_mm", "number", "mm", "width of the lens or reflector", NAN, low=1, high=1000),
    Key("sensor", "code", "", "which way the head looks", "faces_lamp", codes=("faces_lamp", "flat_wall")),
    Key("tilt_uncertainty_deg", "number", "deg", "how far the head may be tilted", 3.0, low=0, high=45),
)  # fmt: skip
LOG = (
    Key("file", "text", "", "the logger's file, as it is", required=True),
    Key("into", "code", "", "table its rows belong to", "warm_up", codes=("warm_up",)),
    Key("first_row", "count", "1", "row that holds the logger's column names", 1, low=1, high=10_000),
    Key("separator", "code", "", "what stands between cells", ",", codes=(",", ";", "\t", " ", "|")),
    Key("decimal", "code", "", "decimal mark", ".", codes=(".", ",")),
    Key("run", "text", "", "code of the record", required=True),
    Key("lamp", "text", "", "lamp on the bench", required=True),
    Key("columns", "table", "", "our column = theirs", required=True),
    Key("switched_on", "text", "", "logger's time at switch-on", ""),
)  # fmt: skip
QUESTION = (
    Key("asked_on", "date", "", "day the question was asked, YYYY-MM-DD", required=True),
    Key("lamp", "text", "", "a lamp of lamps.csv, or any", required=True),
    Key("housing", "text", "", "id of a [[housing]], each (in all of them) or any (in one of them)", required=True),
    Key("instant", "code", "", "initial time or hold time", required=True, codes=("initial", "hold")),
    Key("more_than_percent", "number", "%", "more light than the baseline by this much; 0 for any more",
        required=True, low=0, high=500, small=0.1, small_refused=True),
    Key("words", "text", "", "the question in your own words", ""),
)  # fmt: skip
LINKS = (
    Key("accept_provisional", "flag", "", "let readings of a second meter in through a link of one or two lamps",
        False),
)  # fmt: skip
SECTIONS: dict[str, tuple[Key, ...]] = {
    "": TOP, "bench": BENCH, "csv": CSV, "meter": METER, "meter.spectral_factor": FACTOR,
    "meter.certificate": CERTIFICATE, "housing": HOUSING, "log": LOG,
    "question": QUESTION, "links": LINKS,
}  # fmt: skip
