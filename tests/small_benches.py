"""Small invented benches for tests, written as files and read back through the reader."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from photolab.bench.folder.records import read_bench
from photolab.bench.terms.model import Bench

METER = """schema = 1
[bench]
name = "invented"
protocol_revision = "1"
[[meter]]
id = "M1"
reading_percent = 4
range_percent = 0.5
ranges_lx = [400, 4000]
resolution_lx = [0.1, 1]
"""
HOUSING = '[[housing]]\nid = "HP"\n[[housing]]\nid = "HR"\n'
LAMPS = "lamp,technology,role\nB0,filament,baseline\nK1,led,candidate\nK2,led,candidate\n"


def write(folder: Path, files: Mapping[str, str]) -> Path:
    """Write the files of a bench folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def csv(header: str, rows: Iterable[Iterable[object]]) -> str:
    """Return CSV text."""
    return "\n".join([header, *(",".join(str(cell) for cell in row) for row in rows)]) + "\n"


def bench(
    folder: Path, readings: str, *, toml: str = METER + HOUSING, lamps: str = LAMPS, **more: str
) -> Bench:
    """Write and read a bench; more files by stem."""
    files = {"bench.toml": toml, "readings.csv": readings, "lamps.csv": lamps}
    files |= {f"{stem}.csv": text for stem, text in more.items()}
    return read_bench(write(folder, files))
