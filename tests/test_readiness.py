"""What `photolab check` says. Oracles: folders made for the purpose, each with one thing present or missing."""

from pathlib import Path

import pytest
from small_benches import HOUSING, LAMPS, METER, csv, write

from photolab.publication import readiness

DATA = Path(__file__).parent.parent / "data"
ROWS = csv("lamp,illuminance_lx,housing,range_lx", [("B0", 360, "HP", 4000), ("K1", 440, "HP", 4000)])


def folder(tmp_path, **more):
    files = {"bench.toml": METER + HOUSING, "readings.csv": ROWS, "lamps.csv": LAMPS}
    return write(tmp_path / "bench", files | {f"{stem}.csv": text for stem, text in more.items()})


def test_one_seating_each_asks_for_more_seatings(tmp_path):
    lines = readiness.report(folder(tmp_path))
    assert "Best next step: seat B0 three more times." in lines
    assert any(
        line.startswith("  how lamps compare in one housing") and "yes, to about ±" in line for line in lines
    )
    assert any("candela" in line and "add distance_m" in line for line in lines)
    assert any(
        "anything about the model as sold" in line and "test 3 or more specimens" in line for line in lines
    )


def test_a_file_that_is_there_turns_a_line_over(tmp_path):
    power = "lamp,elapsed_s,power_W,per\nK1,60,25,lamp\n"
    lines = readiness.report(folder(tmp_path, electrical=power))
    able = lines[lines.index("You can say") : lines.index("You cannot say yet")]
    assert any(line.startswith("  watts at the lamp") for line in able)


def test_a_report_that_matches_is_said_and_one_that_does_not_names_the_file(tmp_path):
    shown = readiness.report(DATA / "demo", published=DATA.parent / "reports" / "demo")
    assert any(line.endswith("is complete and matches these files.") for line in shown)
    broken = tmp_path / "report"
    broken.mkdir()
    lines = readiness.report(folder(tmp_path), published=broken)
    assert any("incomplete; write it anew with photolab appendix" in line for line in lines)
    assert "  provenance.json is missing" in lines


def test_without_a_report_nothing_is_said_of_one(tmp_path):
    lines = readiness.report(folder(tmp_path), published=tmp_path / "none")
    assert not any(line.startswith("Report ") for line in lines)


@pytest.mark.parametrize(("n", "words"), [(1, "1 fault"), (2, "2 faults"), (0, "0 faults")])
def test_counts_have_their_noun(n, words):
    assert readiness.count(n, "fault") == words
