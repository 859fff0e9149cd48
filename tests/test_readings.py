"""The table of who shares what. Oracle: each law by hand on readings typed here; one row against the whole table."""

import math

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from shared_demo import demo_bench, demo_campaign
from small_benches import HOUSING, METER, bench, csv

from photolab.bench.inputs.corrections import apply, spectral_factor
from photolab.bench.inputs.readings import reading, readings
from photolab.bench.inputs.selection import select
from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.columns import Columns
from photolab.metrology.quantity import SCOPES

TOML = METER.replace("resolution_lx", "mismatch_index_percent = 6\nresolution_lx") + HOUSING
HEADER = "lamp,illuminance_lx,dark_lx,housing,day,clock,mounting,repeat,elapsed_s,range_lx,socket_V,ambient_C"
ROWS = [
    ("B0", 500.0, 2.0, "HP", "d1", "09:00", 1, 1, 60, 4000, 12.9, 23),
    ("B0", 502.0, 2.0, "HP", "d1", "09:00", 1, 2, 60, 4000, 12.9, 23),
    ("K1", 610.0, 2.0, "HP", "d1", "10:00", 1, 1, 60, 4000, "", 23),
    ("K1", 610.0, 2.0, "HP", "d1", "10:00", 1, 2, 60, 4000, "", 23),
    ("K2", 300.0, 2.0, "HP", "d1", "11:00", 1, 1, 60, 400, "", 23),
    ("B0", 510.0, 2.0, "HP", "d1", "12:00", 2, 1, 60, 4000, "", 18),
    ("K1", 540.0, 2.0, "HP", "d1", "10:40", 1, 1, 1800, 4000, "", 23),
]
NET = [row[1] - row[2] for row in ROWS]


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    return evaluate(bench(tmp_path_factory.mktemp("laws"), csv(HEADER, ROWS), toml=TOML))


@pytest.fixture(scope="module")
def table(campaign):
    """Return the mounting means as quantities, each reading behind them counted."""
    shown = {"seat": campaign_seats(campaign), "net_lx": np.array(NET)}
    return readings(campaign.means, campaign.bench, campaign.spreads, shown=shown)


def campaign_seats(campaign):
    return np.array([0, 0, 1, 1, 2, 3, 4])


def contributions(table, term):
    """Return input to (loading by row, standard uncertainty) of one sort, without rows it does not move."""
    found = {}
    for k, q in enumerate(table.inputs):
        if q.name[0] == term:
            acts = table.sensitivities[:, [k]].toarray().ravel()
            found[q.name[1:]] = ({int(row): float(acts[row]) for row in np.flatnonzero(acts)}, q.u)
    return found


def check(table, term, expected):
    found = contributions(table, term)
    assert set(found) == set(expected)
    for name, (loading, u) in expected.items():
        assert set(found[name][0]) == set(loading), name
        assert_allclose([found[name][0][row] for row in loading], list(loading.values()), rtol=1e-12)
        assert_allclose(found[name][1], u, rtol=1e-12)


def flat(half_width):
    return half_width / math.sqrt(3.0)


EVERY = dict.fromkeys(range(5), 1.0)
INVERSE = {0: (1 / NET[0] + 1 / NET[1]) / 2, 1: 1 / NET[2], 2: 1 / NET[4], 3: 1 / NET[5], 4: 1 / NET[6]}
LOADINGS = {
    "scale": {("M1",): (EVERY, flat(0.04))},
    "range gain": {
        ("M1", "4000 lx"): (dict.fromkeys((0, 1, 3, 4), 1.0), flat(0.01)),
        ("M1", "400 lx"): ({2: 1.0}, flat(0.01)),
    },
    # half a percent of range over each reading
    "range term": {
        ("M1", "4000 lx"): ({k: INVERSE[k] for k in (0, 1, 3, 4)}, flat(20.0)),
        ("M1", "400 lx"): ({2: INVERSE[2]}, flat(2.0)),
    },
    "linearity": {
        ("M1", "4000 lx", "B0", "HP"): ({0: 1.0, 3: 1.0}, flat(0.01)),
        ("M1", "4000 lx", "K1", "HP"): ({1: 1.0, 4: 1.0}, flat(0.01)),
        ("M1", "400 lx", "K2", "HP"): ({2: 1.0}, flat(0.01)),
    },
    # two figures that differ round apart; two that agree round as one
    "resolution": {
        ("reading", "0"): ({0: 0.5 / NET[0]}, flat(0.5)),
        ("reading", "1"): ({0: 0.5 / NET[1]}, flat(0.5)),
        ("mounting", "1"): ({1: INVERSE[1]}, flat(0.5)),
        ("reading", "4"): ({2: INVERSE[2]}, flat(0.05)),
        ("reading", "5"): ({3: INVERSE[3]}, flat(0.5)),
        ("reading", "6"): ({4: INVERSE[4]}, flat(0.5)),
    },
    "colour": {("M1", "led"): ({1: 1.0, 2: 1.0, 4: 1.0}, flat(0.06))},
    "own colour": {
        ("M1", "K1"): ({1: 1.0, 4: 1.0}, flat(0.06 * 0.2 / math.sqrt(2.0))),
        ("M1", "K2"): ({2: 1.0}, flat(0.06 * 0.2 / math.sqrt(2.0))),
    },
    "meter temperature": {("M1", "d1"): ({0: 3.0, 1: 3.0, 2: 3.0, 3: -2.0, 4: 3.0}, flat(0.001))},
    "ambient": {("K1",): ({1: -3.0, 4: -3.0}, flat(0.002)), ("K2",): ({2: -3.0}, flat(0.002))},
    "supply voltage": {("0",): ({0: -3.42 / 12.9}, 0.03)},
    "voltmeter": {(): ({0: -3.42}, flat(0.0025))},
    "supply assumed": {(): ({3: -3.42}, flat(0.1 / 13.2))},
    "voltage exponent": {(): ({0: math.log(13.2 / 12.9)}, 0.25)},
    "elapsed time": {("1",): ({1: 0.0005}, 2.0), ("2",): ({2: 0.0005}, 2.0)},
    "drift": {("d1", "HP"): ({0: -1.5, 1: -0.5, 2: 0.5, 3: 1.5, 4: 1 / 6}, 0.005)},
    "day": {("d1", "HP"): (EVERY, 0.01)},
    "mounting": {
        ("B0", "", "HP", "d1", "1"): ({0: 1.0}, 0.03),
        ("K1", "", "HP", "d1", "1"): ({1: 1.0, 4: 1.0}, 0.03),
        ("K2", "", "HP", "d1", "1"): ({2: 1.0}, 0.03),
        ("B0", "", "HP", "d1", "2"): ({3: 1.0}, 0.03),
    },
    "specimen": {
        ("B0", ""): ({0: 1.0, 3: 1.0}, 0.04), ("K1", ""): ({1: 1.0, 4: 1.0}, 0.04), ("K2", ""): ({2: 1.0}, 0.04),
    },
}  # fmt: skip


@pytest.mark.parametrize("term", LOADINGS)
def test_each_input_moves_the_readings_that_share_it_by_its_law(table, term):
    """Oracle: by hand, from the specification, the readings and the documented coefficients."""
    check(table, term, LOADINGS[term])


def test_nothing_else_moves_the_readings(table):
    """Oracle: the list above, and the scatter of repeats (by hand: ln of 498 and 500 lx, 610 lx twice)."""
    assert {q.name[0] for q in table.inputs} == {*LOADINGS, "noise"}
    sd = abs(math.log(NET[1] / NET[0])) / math.sqrt(2.0) / math.sqrt(2.0)  # two mountings with a repeat
    found = contributions(table, "noise")
    expected = [sd / math.sqrt(n) for n in (2, 2, 1, 1, 1)]
    assert_allclose([u for _, u in found.values()], expected, rtol=1e-9)  # the mean is taken off the readings
    assert [loading for loading, _ in found.values()] == [{k: 1.0} for k in range(5)]


def test_the_estimates_are_the_means_of_corrected_readings(table, campaign):
    """Oracle: by hand: dark taken off, light of a filament to 13.2 V, of an LED to 20 degC."""
    assert campaign.bench.settings.reference_ambient_C == 20.0
    ln = np.log(NET)
    volts, warm = 3.42 * math.log(13.2 / 12.9), 0.002 * 3.0
    expected = [(ln[0] + ln[1]) / 2 + volts, ln[2] + warm, ln[4] + warm, ln[5], ln[6] + warm]
    assert_allclose(table.values, expected, rtol=1e-14)


@pytest.mark.parametrize("off", ["dark", "voltage", "ambient"])
def test_a_correction_left_out_changes_the_readings_by_its_law(campaign, off):
    """Oracle: by hand, reading by reading."""
    rows = select(campaign.bench).readings
    kept = [name for name in ("dark", "spectral", "voltage", "ambient") if name != off]
    change = (
        apply(rows, campaign.bench).columns["ln_value"]
        - apply(rows, campaign.bench, kept).columns["ln_value"]
    )
    shown = np.array([row[1] for row in ROWS])
    expected = {
        "dark": np.log(np.array(NET) / shown),
        "voltage": np.where(np.arange(7) < 2, 3.42 * math.log(13.2 / 12.9), 0.0),
        "ambient": np.where([row[0] == "B0" for row in ROWS], 0.0, 0.006),
    }
    assert_allclose(change, expected[off], rtol=1e-9, atol=1e-15)  # a difference of logarithms


def test_a_certificate_multiplies_readings_by_true_over_displayed(tmp_path):
    """Oracle: by hand; a reading that shows 2 % too much is lowered by ln 1.02, and the certificate's u is shared."""
    stated = (
        "[meter.certificate]\ncorrection = 0.98\nexpanded_uncertainty_percent = 1.5\ncoverage_factor = 2\n"
    )
    found = evaluate(bench(tmp_path, csv(HEADER, ROWS), toml=TOML.replace(HOUSING, stated + HOUSING)))
    assert_allclose(found.seats["ln_value"][3], math.log(0.98 * NET[5]), rtol=1e-14)
    scale = next(q for q in found.joint.inputs if q.name == ("scale", "M1"))
    assert_allclose(scale.u, 0.0075, rtol=1e-14)


def test_scatter_of_one_pool_is_one_estimate(table, campaign):
    """Oracle: by hand: repeats of two seatings pool 2 dof, and so has a difference of two means of that pool."""
    scatter = (table[campaign.seats["number"][0]] - table[campaign.seats["number"][1]]).only(
        "reading scatter"
    )
    assert len(scatter.parts) == 2
    assert_allclose(scatter.dof, 2.0, rtol=1e-12)


def test_one_row_is_its_row_of_the_table():
    """Oracle: the whole table of the demo: estimate, inputs with all they are, sensitivities."""
    campaign, read = demo_campaign(), demo_bench()
    table = readings(campaign.means, read, campaign.spreads)
    whole = campaign.seats
    for number in range(0, len(whole), 7):
        one, same = reading(whole.iloc[number], read, campaign.spreads), table[number]
        assert one.value == same.value
        assert list(one.parts.items()) == list(
            same.parts.items()
        )  # inputs of one name that differ are refused
    assert one.in_scope("models").u == table[number].u


def test_results_are_weighted_sums_of_the_rows():
    """Oracle: numpy's dense product on the demo."""
    campaign = demo_campaign()
    table = readings(campaign.means, campaign.bench, campaign.spreads)
    sums = table.combined(campaign.weights.names, campaign.weights.matrix)
    weights = campaign.weights.matrix.toarray()
    assert_allclose(sums.values, weights @ table.values, rtol=1e-14)
    assert_allclose(
        sums.sensitivities.toarray(), weights @ table.sensitivities.toarray(), rtol=1e-13, atol=1e-15
    )
    assert_allclose(weights.sum(axis=1), 1.0, rtol=1e-12)
    assert_allclose(sums.values, campaign.joint.values, rtol=1e-14)
    assert set(SCOPES) == {"readings", "specimens", "models"}


def test_groups_are_numbered_as_they_appear():
    """Oracle: by hand; blank numbers agree with each other, means leave blank cells out."""
    table = Columns(
        {"a": ["x", "y", "x", "z"], "b": [np.nan, 2.0, np.nan, 2.0], "v": [1.0, np.nan, 4.0, np.nan]}
    )
    both = table.groups("b", "a")
    assert (both.code.tolist(), both.first.tolist()) == ([0, 1, 0, 2], [0, 1, 3])
    by = table.groups("b")
    assert (by.code.tolist(), by.size.tolist()) == ([0, 1, 0, 1], [2, 2])
    assert_array_equal(by.mean(table.numbers("v")), [2.5, np.nan])
    assert_array_equal(by.least(np.array([3.0, 5.0, 2.0, 7.0])), [2.0, 5.0])
    assert table.among(np.array([3, 0])).groups("a", "b").code.tolist() == [0, 1]
    assert len(table.groups()) == 1


def test_rows_are_grouped_as_pandas_groups_them():
    """Oracle: second implementation, `DataFrame.groupby`; random labels, numbered as they first appear."""
    rng = np.random.default_rng(5)
    labels = {c: rng.integers(0, 9, 300).astype(str).astype(object) for c in "abc"}
    found = Columns(labels).groups("a", "b", "c")
    theirs = pd.DataFrame(labels).groupby(["a", "b", "c"], sort=False).ngroup()
    assert_array_equal(found.code, theirs)
    assert_array_equal(found.first, theirs.drop_duplicates().index)


def test_a_stated_spectral_factor_has_its_relative_standard_uncertainty(tmp_path):
    """Oracle: by hand: 0.8 with U = 0.04, k = 2 is 2.5 %; another technology has none."""
    stated = '[[meter.spectral_factor]]\ntechnology = "led"\nfactor = 0.8\n'
    stated += "expanded_uncertainty = 0.04\ncoverage_factor = 2\n"
    made = bench(tmp_path, "lamp,illuminance_lx\nB0,100\nK1,100\n", toml=METER + stated)
    factor, u, own = spectral_factor(made, "M1", "K1", "led")
    assert (factor, own) == (0.8, False)
    assert_allclose(u, 0.025, rtol=1e-12)
    assert spectral_factor(made, "M1", "B0", "filament") is None
