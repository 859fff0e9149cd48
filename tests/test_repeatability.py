"""How repeatable a bench is. Oracles: closed forms of balanced tables, synthetic truth, counts by hand."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import demo_campaign
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.folder.records import read_bench
from photolab.bench.questions.repeatability import initial_readings, level_spreads
from photolab.bench.results.evaluation import evaluate
from photolab.errors import MethodError
from photolab.metrology.precision import Homogeneity
from photolab.publication.sentences.words_bench import homogeneity_words, levels_words

DATA = Path(__file__).parents[1] / "data"
HEADER = "lamp,illuminance_lx,housing,day,specimen,mounting,range_lx"


@pytest.fixture(scope="module")
def campaign():
    return demo_campaign()


@pytest.fixture(scope="module")
def found(campaign):
    readings = initial_readings(campaign)
    return level_spreads(readings[readings["lamp"] != "K8"])  # its light is modulated


def folder(tmp_path, rows):
    return evaluate(bench(tmp_path, csv(HEADER, rows), toml=METER + HOUSING))


def balanced(rng, *, specimens=3, mountings=4, readings=3, housings=("HP",)):
    """Return rows of one lamp with known offsets: specimen 4 %, mounting 2 %, reading 0.5 %."""
    rows = []
    own = rng.normal(0.0, 0.04, specimens)
    for housing in housings:
        for s in range(specimens):
            for m in range(mountings):
                seat = rng.normal(0.0, 0.02)
                for _ in range(readings):
                    lux = 400.0 * math.exp(own[s] + seat + rng.normal(0.0, 0.005))
                    rows.append(("K1", f"{lux:.4f}", housing, "D01", s + 1, m + 1, 4000))
    return rows


def test_balanced_table_is_the_nested_analysis_in_closed_form(tmp_path):
    """Oracle: expected mean squares of a balanced nested table, by hand with numpy."""
    rows = balanced(np.random.default_rng(3))
    told = level_spreads(initial_readings(folder(tmp_path, rows))).table.set_index("level")
    y = np.log([float(row[1]) for row in rows]).reshape(3, 4, 3)
    within = y.var(axis=2, ddof=1).mean()
    seats = y.mean(axis=2).var(axis=1, ddof=1).mean()
    specimens = y.mean(axis=(1, 2)).var(ddof=1)
    # day has one group in each specimen and is one level with it; rounding of the sums only
    assert_allclose(told.loc["reading", "variance"], within, rtol=1e-9)
    assert_allclose(told.loc["mounting", "variance"], seats - within / 3, rtol=1e-9)
    assert_allclose(told.iloc[0]["variance"], specimens - seats / 4, rtol=1e-9)
    assert_allclose(told["part"].sum(), 1.0, rtol=1e-12)
    assert told.loc["reading", "dof"] == 24


def test_a_specimen_read_in_two_housings_is_one_specimen(tmp_path):
    """Oracle: three specimens leave two degrees of freedom, however often each was read."""
    rows = balanced(np.random.default_rng(4), housings=("HP", "HR"))
    rows += [(*row[:3], "D02", *row[4:]) for row in balanced(np.random.default_rng(5), housings=("HP", "HR"))]
    told = level_spreads(initial_readings(folder(tmp_path, rows))).table.set_index("level")
    assert told.loc["specimen", "dof"] == 2
    assert told.loc["day", "dof"] == 2  # two housings x two days, less the two housings


def test_only_repeated_readings_give_the_reading_spread(tmp_path):
    """Oracle: chi-squared limits of a pooled variance (scipy), two lamps of three readings."""
    values = {"B0": (400.0, 404.0, 402.0), "K1": (500.0, 501.0, 509.0)}
    rows = [(lamp, lux, "HP", "D01", 1, 1, 4000) for lamp, many in values.items() for lux in many]
    told = level_spreads(initial_readings(folder(tmp_path, rows))).table.iloc[0]
    variance = np.mean([np.log(many).var(ddof=1) for many in values.values()])
    ends = np.sqrt(4 * variance / stats.chi2.ppf([0.975, 0.025], 4))
    assert told["level"] == "reading"
    assert_allclose([told["sd"], told["low"], told["high"]], [math.sqrt(variance), *ends], rtol=1e-9)


def test_nothing_repeated_is_refused():
    """Oracle: two readings of two lamps hold no repeat."""
    with pytest.raises(MethodError, match="nothing was repeated: 2 readings of 2 lamps"):
        level_spreads(initial_readings(evaluate(read_bench(DATA / "two-readings"))))


def test_the_demos_generating_spreads_lie_in_the_intervals(found):
    """Oracle: scenario: mounting SD 2.0 to 2.5 %, reading 0.4 %, day 0.9 %; specimens 1.2 to 4 %."""
    table = found.table.set_index("level")
    for level, least, most in (
        ("mounting", 0.020, 0.025),
        ("reading", 0.004, 0.004),
        ("day", 0.009, 0.009),
        ("specimen", 0.012, 0.04),
    ):
        low, high = table.loc[level, ["low", "high"]]
        assert low <= most, level
        assert least <= high, level


def test_specimens_of_each_lamp(campaign):
    """Oracle: truth.toml: K1's four specimens were drawn with 4 %; three specimens leave two degrees of freedom."""
    readings = initial_readings(campaign)
    own = {lamp: level_spreads(readings[readings["lamp"] == lamp]).table.iloc[0] for lamp in ("K1", "B0")}
    assert (own["K1"]["level"], own["K1"]["dof"]) == ("specimen", 3)
    assert own["K1"]["low"] <= 0.04 <= own["K1"]["high"]
    # two degrees of freedom leave a factor of at least six (chi-squared at 2 dof: 0.52 to 6.3)
    assert own["B0"]["high"] > 6.0 * own["B0"]["sd"]


def test_levels_that_are_not_named_count_inside_others(tmp_path):
    """Oracle: by hand with numpy: seatings alone, specimens counted among them."""
    rows = balanced(np.random.default_rng(6))
    told = level_spreads(initial_readings(folder(tmp_path, rows)), levels=("specimen",)).table.set_index(
        "level"
    )
    y = np.log([float(row[1]) for row in rows]).reshape(3, 12)
    assert_allclose(
        told.loc["reading", "variance"], y.var(axis=1, ddof=1).mean(), rtol=1e-9
    )  # digits of the file


def test_repeats_that_all_show_one_figure_are_refused(tmp_path):
    """Oracle: four seatings, one figure."""
    rows = [("K1", "400", "HP", "D01", 1, m, 4000) for m in (1, 1, 2, 2)]
    with pytest.raises(MethodError, match="equal"):
        level_spreads(initial_readings(folder(tmp_path, rows)))


def test_counts_stand_beside_the_levels(campaign):
    """Oracle: counts of the corrected readings with pandas."""
    readings = initial_readings(campaign)
    counts = level_spreads(readings).counts
    assert counts["mounting"] == len(
        readings.groupby(["lamp", "specimen", "housing", "day", "mounting"]).size()
    )
    assert (counts["lamp"], counts["housing"], counts["reading"]) == (9, 2, len(readings))


def test_days_and_seatings_that_cannot_be_told_apart_are_told_together(tmp_path):
    """Oracle: by the folder: each lamp is seated once a day; without days in the folder no day is counted."""
    seats = [
        (lamp, 300.0 + 7.0 * k * j, f"D{k}", f"D{k}") for j, lamp in enumerate(("B0", "K1")) for k in range(4)
    ]
    rows = [
        (lamp, round(lx * (1.0 + 0.002 * n), 1), day, seat) for lamp, lx, day, seat in seats for n in (0, 1)
    ]
    days = csv("day,date", [(f"D{k}", f"2026-03-0{k + 1}") for k in range(4)])
    made = bench(tmp_path / "days", csv("lamp,illuminance_lx,day,mounting", rows), toml=METER, days=days)
    found = level_spreads(initial_readings(evaluate(made)))
    said = levels_words(found)
    assert said[0].startswith("Day and seating together scatter by ")
    assert said[0].endswith(": these readings do not tell them apart.")
    assert found.counts["day"] == 4
    none = csv("lamp,illuminance_lx,mounting", [(lamp, lx, seat) for lamp, lx, _, seat in rows])
    found = level_spreads(initial_readings(evaluate(bench(tmp_path / "none", none, toml=METER))))
    assert found.counts["day"] == 0
    assert ", no day stated. If that figure" in levels_words(found)[0]


@pytest.mark.parametrize(
    ("p", "widest", "judged"),
    [
        (0.3, 0.4, "Nothing speaks against one pooled standard deviation for all."),
        (0.001, 0.001, "One pooled standard deviation does not serve them all: look at that one by itself."),
        (
            0.001,
            0.4,
            "They do not scatter alike, and the widest alone does not explain it: look at the quietest too.",
        ),
    ],
)
def test_groups_that_scatter_unlike_are_told_by_what_makes_them_so(p, widest, judged):
    assert homogeneity_words(Homogeneity(9.0, p, "K1", 0.5, widest))[1] == judged
