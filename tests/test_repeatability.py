"""How repeatable a bench is. Oracles: closed forms of balanced tables, synthetic truth, counts by hand."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import demo_campaign
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.evaluation import evaluate
from photolab.bench.records import read_bench
from photolab.bench.repeatability import alike, plain_spreads, repeatability, seating_cells, specimen_spreads
from photolab.errors import MethodError

DATA = Path(__file__).parents[1] / "data"
HEADER = "lamp,illuminance_lx,housing,day,specimen,mounting,range_lx"


@pytest.fixture(scope="module")
def campaign():
    return demo_campaign()


@pytest.fixture(scope="module")
def found(campaign):
    return repeatability(campaign)


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
    told = repeatability(folder(tmp_path, rows)).table.set_index("level")
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
    told = repeatability(folder(tmp_path, rows)).table.set_index("level")
    assert told.loc["specimen", "dof"] == 2
    assert told.loc["day", "dof"] == 2  # two housings x two days, less the two housings


def test_only_repeated_readings_give_the_reading_spread(tmp_path):
    """Oracle: chi-squared limits of a pooled variance (scipy), two lamps of three readings."""
    values = {"B0": (400.0, 404.0, 402.0), "K1": (500.0, 501.0, 509.0)}
    rows = [(lamp, lux, "HP", "D01", 1, 1, 4000) for lamp, many in values.items() for lux in many]
    told = repeatability(folder(tmp_path, rows)).table.iloc[0]
    variance = np.mean([np.log(many).var(ddof=1) for many in values.values()])
    ends = np.sqrt(4 * variance / stats.chi2.ppf([0.975, 0.025], 4))
    assert told["level"] == "reading"
    assert_allclose([told["sd"], told["low"], told["high"]], [math.sqrt(variance), *ends], rtol=1e-9)


def test_nothing_repeated_is_refused():
    """Oracle: two readings of two lamps hold no repeat."""
    with pytest.raises(MethodError, match="nothing was repeated: 2 readings of 2 lamps"):
        repeatability(evaluate(read_bench(DATA / "two-readings")))


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
    assert found.apart == ("K8",)


def test_k8_mounting_two_is_flagged_and_stands_eleven_percent_low(found):
    """Oracle: scenario: aim error on HP mounting 2, -11 % within two seating SDs of the lamp's own mean."""
    flagged = found.seats[found.seats["flagged"]]
    assert [tuple(row) for row in flagged[["lamp", "housing", "day", "mounting"]].to_numpy()] == [
        ("K8", "HP", "D05", "2")
    ]
    assert abs(math.expm1(flagged["deviation"].iloc[0]) + 0.11) < 0.05


def test_specimens_of_each_lamp(campaign):
    """Oracle: truth.toml: K1's four specimens were drawn with 4 %; the plan's numbers of specimens."""
    spreads = specimen_spreads(campaign).set_index("lamp")
    assert spreads["specimens"].to_dict() == {"B0": 3, "K1": 4, "K3": 2, "K4": 2}
    assert spreads.loc["K1", "low"] <= 0.04 <= spreads.loc["K1", "high"]
    # three specimens: two degrees of freedom leave a factor of at least six (chi-squared at 2 dof: 0.52 to 6.3)
    assert spreads.loc["B0", "high"] > 6.0 * spreads.loc["B0", "sd"]


def test_pairs_in_closed_form(tmp_path):
    """Oracle: values in pairs that all differ by d have the SD d sqrt(pi)/2; half a reading's variance is taken off."""
    d, r = 0.03, 0.01
    rows = [
        ("K1", repr(400.0 * math.exp(level + m * d + n * r)), "HP", day, 1, m, 4000)
        for day, level in (("D01", 0.0), ("D02", 0.02))
        for m in (1, 2)
        for n in (0, 1)
    ]
    campaign = folder(tmp_path, rows)
    found = repeatability(campaign)
    assert list(seating_cells(found.seats)) == ["K1 1 HP D01", "K1 1 HP D02"]
    told = plain_spreads(campaign, found).set_index("level")
    reading = r * math.sqrt(math.pi) / 2
    mounting = math.sqrt(d**2 * math.pi / 4 - reading**2 / 2)
    assert_allclose(told["sd"], [reading, mounting], rtol=1e-9)  # digits of the readings in the file
    assert list(told["count"]) == [4, 2]


def test_the_second_way_agrees_on_the_demo(campaign, found):
    """Oracle: two statistics of one normal scatter; the pairs by numpy."""
    told = plain_spreads(campaign, found).set_index("level")
    cells = seating_cells(found.seats[~found.seats["flagged"] & (found.seats["lamp"] != "K8")]).values()
    gaps = [abs(v[i + 1] - v[i]) for v in cells for i in range(0, len(v) - 1, 2)]
    between = np.mean(gaps) * math.sqrt(math.pi) / 2
    expected = math.sqrt(between**2 - told.loc["reading", "sd"] ** 2 / 3)
    assert_allclose(told.loc["mounting", "sd"], expected, rtol=1e-12)
    assert ((told["low"] <= told["sd"]) & (told["sd"] <= told["high"])).all()


def test_seatings_scatter_alike_unless_one_is_planted(found):
    """Oracle: synthetic: one cell's scatter multiplied by six is found by name."""
    assert alike(found.seats[~found.seats["flagged"]]).p > 0.05
    wild = found.seats[~found.seats["flagged"]].copy()
    cell = (
        (wild["lamp"] == "K3")
        & (wild["specimen"] == "1")
        & (wild["housing"] == "HR")
        & (wild["day"] == "D03")
    )
    middle = wild.loc[cell, "ln_value"].mean()
    wild.loc[cell, "ln_value"] = middle + 6.0 * (wild.loc[cell, "ln_value"] - middle)
    told = alike(wild)
    with pytest.raises(MethodError, match="two lamps must be seated twice or more on one day"):
        alike(wild[cell])
    assert told.widest == "K3 1 HR D03"
    assert told.widest_p < 0.01


def test_a_flagged_seating_stays_in_the_components(campaign):
    """Oracle: the same readings with K8 among the others, its planted seating flagged or not: one and the same."""
    told = {}
    for name, codes in (("flagged", {"mounting_flagged"}), ("kept", set())):
        findings = tuple(f for f in campaign.findings if f.code in codes)
        told[name] = (
            repeatability(replace(campaign, findings=findings)).table.set_index("level").loc["mounting"]
        )
    pd.testing.assert_series_equal(told["kept"], told["flagged"])
