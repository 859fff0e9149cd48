"""What notebooks 00 to 04 say of benches. Oracles: figures of the results, sums by hand, the demo's stories."""

import functools
from pathlib import Path

import pytest
from in_process import run_cells
from matplotlib.figure import Figure

HERE = Path(__file__).parent
NOTEBOOKS = HERE.parent / "notebooks"


@pytest.fixture(autouse=True)
def without_drawing(monkeypatch):
    """Draw nothing; what a picture shows stands in its words too."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))


@functools.cache
def said(stem: str, **settings: object) -> str:
    """Return every text that a notebook shows with some settings."""
    (path,) = NOTEBOOKS.glob(f"{stem}_*.ipynb")
    cells = run_cells(path, settings).cells
    outputs = [output for cell in cells if cell.cell_type == "code" for output in cell.outputs]
    return "\n".join(output.data["text/plain"] for output in outputs)


# ---- 01


def test_one_seating_each_does_not_decide():
    """Oracle: the demo's story: K2 looks about 6 % above K1 from one seating each, not shown by all of them."""
    lines = said("01").splitlines()
    first = next(line for line in lines if line.startswith("K2 against K1, one seating of each: "))
    assert 5.0 <= float(first.split(": ")[1].split(" %")[0]) <= 7.0  # +6 %, to the whole percent either way
    assert "inside the bench uncertainty" in first
    whole = next(line for line in lines if line.startswith("K2 against K1, every seating: "))
    assert "inside the bench uncertainty" in whole or "alike" in whole


def test_two_readings_agree_with_the_command_on_any_settings():
    """Oracle: `photolab compare`'s own function; a filament lamp has no colour of its own."""
    for settings in (
        {},
        {"technology": "filament"},
        {"seating_percent": 0.5, "range_lx": 400},
        {"coverage": 0.9},
    ):
        assert "give the same figure: half-width of the ratio." in said("01", **settings)


def test_without_a_technology_there_is_a_ratio_and_no_interval():
    shown = said("01", technology=None)
    assert "5.0 % more; no interval yet." in shown
    assert "No answer yet: technology missing" in shown


def test_a_folder_without_two_lamps_compares_the_typed_readings_alone(tmp_path):
    """Oracle: one lamp."""
    from small_benches import METER, csv, write

    readings = csv("lamp,illuminance_lx,range_lx", [("A", 318, 4000), ("A", 320, 4000)])
    lamps = "lamp,technology,role\nA,led,baseline\n"
    folder = write(tmp_path / "one", {"bench.toml": METER, "readings.csv": readings, "lamps.csv": lamps})
    shown = said("01", bench=str(folder))
    assert "half-width of the ratio." in shown
    assert "every seating" not in shown
