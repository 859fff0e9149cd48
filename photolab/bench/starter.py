"""The smallest bench folder, with comments that say where each value is found."""

import os
from pathlib import Path

from photolab.bench.folder import write_files
from photolab.bench.keys import SECTIONS, Key
from photolab.bench.verdicts import ALIKE_PERCENT
from photolab.bench.workbook import WORKBOOK, starter_workbook
from photolab.metrology.quantity import COVERAGE

EXAMPLES: dict[str, str] = {
    "accept_provisional": "true",
    "range_percent": "0.5", "digits": "10", "ranges_lx": "[400, 4000, 40000]",
    "resolution_lx": "[0.1, 1, 10]",
    "limit_kind": '"limit"', "mismatch_index_percent": "8", "drift_percent_per_year": "1",
    "linearity_percent": "1", "temperature_percent_per_K": "0.1", "integration_s": "0.5",
    "calibrated_on": '"2025-04-03"',
    "calibration_source": '"A"', "kind": '"reflector"', "traffic": '"right"', "distance_m": "6.00",
    "distance_uncertainty_mm": "10", "offset_mm": "0", "offset_uncertainty_mm": "100", "aperture_mm": "100",
    "sensor": '"faces_lamp"', "tilt_uncertainty_deg": "3", "initial_s": "60", "initial_window_s": "10",
    "hold_minutes": "30", "coverage": f"{COVERAGE:g}", "alike_percent": f"{ALIKE_PERCENT:g}",
    "reference_voltage_V": "13.2", "reference_ambient_C": "20", "currency": '"EUR"',
    "also_show": '["degF", "fc", "ft"]',
    "mounting_sd_percent": "3", "specimen_sd_percent": "4", "day_sd_percent": "1", "remaining_sd_percent": "2",
    "id": '"H1"',
    "asked_on": "2025-04-03", "lamp": '"any"', "housing": '"each"', "instant": '"hold"',
    "more_than_percent": "10", "words": '"does any lamp give 10 % more in every housing?"',
}  # fmt: skip

HEAD = """\
# A bench folder for photolab. Lines that begin with # are notes; take the # away to use a key.
# 1. Type your meter's accuracy after reading_percent (see the table).
# 2. Type two readings into readings.csv.
# 3. Run: photolab check followed by the name of this folder.
schema = 1

[bench]
name = "my bench"
protocol_revision = "1"
"""
MANUAL = """
# your manual prints                        write
# ±(3 % rdg + 0.5 % f.s.)                   reading_percent = 3, range_percent = 0.5 (f.s. = top of the range)
# ±4 % ±10 digits (dgt, counts)             reading_percent = 4, digits = 10
# ±3 % below 10 000 lx, ±4 % above          ranges_lx = [400, 4000, 40000], reading_percent = [3, 3, 4]
# range 400.0 / 4000 / 40.00k               resolution_lx = [0.1, 1, 10]: the last figure that can change
# f1' <= 8 %, "V(lambda) match"             mismatch_index_percent = 8
# calibrated to an incandescent lamp, 2856 K   calibration_source = "A"
[[meter]]
id = "M1"
reading_percent =
"""
READINGS = "lamp,illuminance_lx\nA1,\nA2,\n"
TABLES = {"table", "tables"}


def starter_toml() -> str:
    """Return bench.toml of a new folder: every key with what it is and what holds without it."""
    lines = [HEAD.rstrip()]
    lines += [
        _commented(key)
        for key in SECTIONS["bench"]
        if key.name not in {"name", "protocol_revision", "noticeable_percent"}
    ]
    lines.append(MANUAL.rstrip())
    skipped = {"id", "reading_percent"}
    lines += [
        _commented(key) for key in SECTIONS["meter"] if key.name not in skipped and key.kind not in TABLES
    ]
    lines += ["", "# [[housing]]"]
    lines += [_commented(key) for key in SECTIONS["housing"]]
    lines += ["", "# [links]", *(_commented(key) for key in SECTIONS["links"])]
    lines += ["", "# a question you ask before the first reading", "# [[question]]"]
    lines += [_commented(key) for key in SECTIONS["question"]]
    return "\n".join(lines) + "\n"


def _commented(key: Key) -> str:
    """Return a key as a note: an example, what it is, its range and what holds without it."""
    unit = f" [{key.unit}]" if key.unit not in {"", "1"} else ""
    words = f"; one of {', '.join(key.codes)}" if key.codes else ""
    limits = f"; {key.wanted}" if key.low is not None or key.high is not None else ""
    without = f"; without it {_default(key)} is assumed" if key.assumed else ""
    return f"# {key.name} = {EXAMPLES[key.name]}    # {key.about}{unit}{words}{limits}{without}"


def _default(key: Key) -> str:
    """Return a default as it may be printed."""
    if key.default is None:
        return "1, or a third of reading_percent,"
    return f"{key.default:g}" if isinstance(key.default, float) else str(key.default)


def new_folder(folder: str | os.PathLike[str], *, workbook: bool = False) -> Path:
    """Write the smallest bench folder a beginner can fill in.

    Parameters
    ----------
    folder : str or path
        Where to; it must not exist, or be empty.
    workbook : bool, default False
        Write bench.xlsx in place of bench.toml and readings.csv.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        If the folder holds anything, or cannot be written.

    Notes
    -----
    No accuracy and no reading is made up: until both are typed, `read_bench` says what to type.
    """
    if workbook:
        return write_files({WORKBOOK: starter_workbook()}, Path(folder))
    return write_files({"bench.toml": starter_toml(), "readings.csv": READINGS}, Path(folder))
