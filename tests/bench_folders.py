"""Small bench folders for the reader's tests, sound or with one planted slip."""

import io
import re
from collections.abc import Mapping
from dataclasses import astuple
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from photolab.bench.folder.records import Problem, RecordError, read_bench

DATA = Path(__file__).resolve().parent.parent / "data"
TOML = """\
schema = 1

[[meter]]
id = "M1"
reading_percent = 4
range_percent = 0.5
ranges_lx = [400, 4000, 40000]
resolution_lx = [0.1, 1, 10]
"""
HOUSINGS = """
[[housing]]
id = "HP"
[[housing]]
id = "HR"
"""
READINGS = "lamp,illuminance_lx,range_lx\nA1,318,4000\nA2,334,4000\n"
LAMPS = "lamp,technology,role\nA1,led,baseline\nA2,led,candidate\n"
DAYS = "day,date\nD01,2025-04-03\nD02,2025-04-04\n"
SOUND = {"bench.toml": TOML, "readings.csv": READINGS, "lamps.csv": LAMPS}
WAVELENGTHS = range(380, 781, 10)
SPECTRUM = "wavelength_nm,value\n" + "".join(f"{nm},{1 + (nm - 380) % 7}\n" for nm in WAVELENGTHS)

WARM = "run,lamp,elapsed_s,illuminance_lx\n"
HEAT = "lamp,elapsed_minutes,displayed_C,method,set_emissivity\n"
POWER = "lamp,elapsed_s,power_W,socket_V,current_A,per\n"
BEAM = "run,lamp,housing,horizontal_deg,vertical_deg,illuminance_lx\n"
SPECTRA = "name,kind,lamp,meter,file\n"
LINKS = "lamp,technology,old_meter,new_meter,old_lx,new_lx\n"
HOUSED = TOML + HOUSINGS
TWO_METERS = TOML + '[[meter]]\nid = "M2"\nreading_percent = 3\nrange_percent = 0.5\n'
PLAN = "step,date,lamp,housing,instant\n"
QUESTION = """\
[[question]]
asked_on = 2025-04-03
lamp = "A2"
housing = "each"
instant = "hold"
more_than_percent = 10
"""
LOG = """\
[[log]]
file = "log.csv"
run = "W1"
lamp = "A1"
[log.columns]
elapsed_s = "t"
illuminance_lx = "E"
"""

LOGGER = """\
Logger model, serial 1
started by hand
Time;Lux;Case
10:00:00;0,1;21
10:00:30;300,5;25
10:01:00;298,25;31
10:01:30;297;
"""
DECLARED = """\
[[log]]
file = "evening.txt"
into = "warm_up"
first_row = 3
separator = ";"
decimal = ","
run = "W7"
lamp = "A1"
switched_on = "10:00:10"
[log.columns]
elapsed_s = "Time"
illuminance_lx = "Lux"
case_C = "Case"
"""


def readings(*rows: str, header: str = "lamp,illuminance_lx,range_lx") -> str:
    return "\n".join([header, *rows]) + "\n"


def make(folder: Path, **changes: str | bytes | None) -> Path:
    """Write a sound folder with changes: ``readings_csv="…"`` replaces a file, None leaves it out."""
    files: dict[str, str | bytes | None] = dict(SOUND)
    for name, content in changes.items():
        stem, _, ending = name.rpartition("_")
        files[f"{stem}.{ending}"] = content
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        if content is not None:
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return folder


def picture(size: tuple[int, int] = (60, 40), form: str = "JPEG", **more: Any) -> bytes:
    """Return an invented picture: red, its upper left quarter green."""
    drawn = Image.new("RGB", size, (200, 30, 30))
    drawn.paste((30, 200, 30), (0, 0, size[0] // 2, size[1] // 2))
    stream = io.BytesIO()
    drawn.save(stream, form, **more)
    return stream.getvalue()


def plain(records: Mapping[str, Any]) -> dict[str, tuple[Any, ...]]:
    """Return records as tuples: a blank (NaN) equals itself there; from Python 3.13 on not in a dataclass."""
    return {name: astuple(record) for name, record in records.items()}


def assert_refused(
    folder: Path, code: str, changes: dict[str, str | bytes | None], words: str
) -> tuple[Problem, ...]:
    """Check that a folder is refused with this code and these words, unchanged; return the problems."""
    make(folder, **changes)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(RecordError, match=re.escape(words)) as caught:
        read_bench(folder)
    assert any(p.code == code and words in str(p) for p in caught.value.problems)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    return caught.value.problems
