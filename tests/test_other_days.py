"""The bench as its own witness: each day's figures against what the other days predict. Oracles: plain numpy."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from in_process import run_cells
from small_benches import bench, csv

from photolab.publication.sentences.words_bench import other_days_words

NOTEBOOK = Path(__file__).resolve().parents[1] / "notebooks" / "03_baseline_and_meter_change.ipynb"
TOML = """schema = 1
[bench]
name = "invented"
protocol_revision = "1"
coverage = 0.9
day_sd_percent = 2
mounting_sd_percent = 1
[[meter]]
id = "M1"
reading_percent = 3
ranges_lx = [4000]
resolution_lx = [0.001]
temperature_percent_per_K = 0
[[housing]]
id = "HP"
"""
LUX = {
    ("B0", "D1"): (1000, 1012), ("B0", "D2"): (990, 1001), ("B0", "D3"): (1021,),
    ("K1", "D1"): (1300, 1288), ("K1", "D2"): (1311,), ("K1", "D3"): (1450,),
    ("K2", "D1"): (800, 804),
}  # fmt: skip


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """Run the notebook on a bench of three days in which K1 gives far too much on the last."""
    folder = tmp_path_factory.mktemp("days") / "b"
    rows = [
        (lamp, "HP", day, number, lux, 4000, 13.2)
        for (lamp, day), many in LUX.items()
        for number, lux in enumerate(many)
    ]
    days = csv("day,date", [(f"D{k}", f"2025-03-0{k}") for k in (1, 2, 3)])
    bench(
        folder,
        csv("lamp,housing,day,mounting,illuminance_lx,range_lx,socket_V", rows),
        toml=TOML,
        lamps="lamp,technology,role\nB0,filament,baseline\nK1,led,candidate\nK2,led,candidate\n",
        days=days,
    )
    names: dict[str, object] = {}
    notebook = run_cells(NOTEBOOK, {"bench": str(folder)}, names=names)
    return names, notebook


def test_each_difference_is_the_day_against_the_others(seen):
    names, _ = seen
    found = {(lamp, day): names["away"].values[k] for k, (lamp, _, _, day) in enumerate(names["pairs"])}
    assert set(found) == {(lamp, day) for lamp, day in LUX if lamp != "K2"}  # one day alone foretells nothing
    for (lamp, day), value in found.items():
        others = [x for (other, when), many in LUX.items() if other == lamp and when != day for x in many]
        assert value == pytest.approx(np.log(LUX[lamp, day]).mean() - np.log(others).mean(), abs=1e-9)


def test_the_scale_of_the_meter_cancels_and_days_and_seatings_do_not(seen):
    """Oracle: the variance written out; 3 % of reading is not in it."""
    names, _ = seen
    seat = names["campaign"].spreads.seating_in("HP").sd
    own = names["away"][("K1", "", "HP", "D3")]
    kinds = {kind: own.only(kind).u for kind in ("seating", "day")}
    assert kinds["seating"] == pytest.approx(seat * np.sqrt(1 + 1 / 3), rel=1e-6)
    # of the three seatings before, two share the first day
    day = names["campaign"].spreads.day.sd
    assert kinds["day"] == pytest.approx(day * np.sqrt(1 + (2 / 3) ** 2 + (1 / 3) ** 2), rel=1e-6)
    assert own.only("scale").u < 1e-12


def test_the_squares_are_those_of_the_free_differences(seen):
    """Oracle: the same sum over other contrasts of the same days, which span the same space."""
    names, _ = seen
    campaign = names["campaign"]
    seats = campaign.seats[campaign.seats["lamp"] != "K2"]
    rows = []
    for _, block in seats.groupby("lamp"):
        means = [np.bincount(b["number"], np.full(len(b), 1 / len(b)), 11) for _, b in block.groupby("day")]
        rows += [means[0] - means[1], means[1] - means[2]]
    joint = campaign.mountings.combined(range(4), np.array(rows))
    squares = joint.values @ np.linalg.solve(joint.covariance, joint.values)
    assert names["scatter"][0] == pytest.approx(np.sqrt(squares / 4), rel=1e-6)


def test_the_page_names_what_was_missed_at_the_declared_coverage(seen):
    _, notebook = seen
    text = "\n".join(
        output.data["text/plain"] for cell in notebook.cells for output in cell.get("outputs", [])
    )
    assert "of 6 figures lie where the other days put them; intervals at 90 %" in text
    assert "Missed: K1 in HP on D3" in text


@pytest.mark.parametrize(
    ("scatter", "word"),
    [
        ((1.1, 0.8, 1.4), "nothing speaks against them"),
        ((1.9, 1.4, 2.6), "raise day_sd_percent"),
        ((0.5, 0.4, 0.8), "smaller day_sd_percent"),
    ],
)
def test_what_it_says_about_the_spreads(scatter, word):
    row = {
        "lamp": "K1",
        "specimen": "",
        "housing": "",
        "day": "D1",
        "percent": -9.0,
        "low": -4.0,
        "high": 5.0,
    }
    table = pd.DataFrame([row | {"inside": False}, row | {"inside": True}])
    said = other_days_words(table, scatter, coverage=0.9)
    assert said[0].startswith("1 of 2 figures")
    assert (
        said[1]
        == "Missed: K1 on D1, 9.0 % less than predicted (4.0 % less to 5.0 % more was to be expected)."
    )
    assert word in said[-1]
