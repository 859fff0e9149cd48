"""One set of readings under two protocols. Oracles: identity, Student's t, rules of the verdicts, synthetic truth."""

import math
import tomllib
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
import tomli_w
from numpy.testing import assert_allclose
from pandas.testing import assert_frame_equal
from scipy import stats
from shared_demo import demo_bench
from small_benches import HOUSING, METER, bench

from photolab.bench.questions.protocols import compare_campaigns, protocol_text, under_protocol
from photolab.bench.results.evaluation import evaluate
from photolab.errors import RecordError
from photolab.publication.sentences.words_protocol import change_log

DATA = Path(__file__).parents[1] / "data"
ROWS = [
    (lamp, lx, "HP", "D01", mounting, 4000)
    for mounting in (1, 2, 3)
    for lamp, lx in (("B0", 350 + mounting), ("K1", 400 + 2 * mounting), ("K2", 352))
]
READINGS = "\n".join(
    ["lamp,illuminance_lx,housing,day,mounting,range_lx", *(",".join(map(str, row)) for row in ROWS)]
)
TEXT = METER + HOUSING


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("bench"), READINGS + "\n")


@pytest.fixture(scope="module")
def demo():
    return demo_bench()


def changed(text, changes):
    """Another bench.toml: the same but for some keys of a section, or of a meter by its id."""
    document = tomllib.loads(text)
    for section, keys in changes.items():
        kind, _, identity = section.partition(" ")
        held = document.setdefault(kind, {})
        (next(one for one in held if one["id"] == identity) if identity else held).update(keys)
    return tomli_w.dumps(document)


def revised(bench, text):
    """What the notebook on the protocol compares: the bench as read, and under another bench.toml."""
    return compare_campaigns(evaluate(bench), evaluate(under_protocol(bench, text)))


def test_the_same_text_changes_nothing(small):
    """Oracle: identity."""
    same = revised(small, TEXT)
    assert same.settings.empty
    assert same.verdicts.empty
    assert same.moved.empty
    assert change_log(same)[1:] == (
        "No number moved.",
        "No verdict changed.",
        "The two protocols declare the same.",
    )


def test_what_is_left_of_a_lamp_is_named_once_in_the_log(small):
    """Oracle: rows by hand: K1 of its pieces and by the record of one, K2 by a record alone; a ratio of readings."""
    same = revised(small, TEXT)
    left, light = "remaining light", "illuminance ratio"
    rows = [("K1", left, "readings", 0.86), ("K1", left, "specimens", 0.85), ("K2", left, "readings", 0.9)]
    rows += [("K3", light, "readings", 1.1)]
    told = [(*row, 0.99 * row[3], 0.01, 0.01, "HP", "hot_spot", "hold") for row in rows]
    columns = ["lamp", "measurand", "scope", "value_before", "value_after", "half_before", "half_after"]
    moved = pd.DataFrame(told, columns=[*columns, "housing", "point", "instant"])
    said = change_log(replace(same, moved=moved))[1]
    assert said.startswith(
        "Numbers that moved: 4 results; the largest: remaining light of K1 in HP, hold, 0.850 to"
    )
    assert said.count("K1") == said.count("remaining light of K2") == 1
    assert "K3" not in said


def test_raw_readings_are_the_same_rows(small):
    """Oracle: identity of the tables; the first bench is not changed."""
    other = under_protocol(small, changed(TEXT, {"bench": {"coverage": 0.99}}))
    assert_frame_equal(other.tables["readings"], small.tables["readings"])
    assert (small.settings.coverage, other.settings.coverage) == (0.95, 0.99)


def test_coverage_scales_every_interval(small):
    """Oracle: each ratio's own quantity; between the limits of a rectangle and scipy's t at its degrees of freedom."""
    found = revised(small, changed(TEXT, {"bench": {"coverage": 0.99}}))
    table = found.before.table
    after = found.after.table
    k = [
        stats.t.ppf([0.975, 0.995], v) if math.isfinite(v) else stats.norm.ppf([0.975, 0.995])
        for v in table["dof"]
    ]
    wider = after["ln_expanded_uncertainty"] / table["ln_expanded_uncertainty"]
    assert (wider > 0.99 / 0.95).all()
    assert (wider <= [b / a * (1 + 1e-9) for a, b in k]).all()
    halves = [
        (found.before[lamp, housing, "initial", point] - found.before[baseline, housing, "initial", point])
        .in_scope(scope)
        .half_width(0.99)
        for lamp, housing, point, scope, baseline in table[
            ["lamp", "housing", "point", "scope", "baseline"]
        ].itertuples(index=False)
    ]
    # the quantiles agree to rounding; the values themselves do not move at all
    assert_allclose(after["ln_expanded_uncertainty"], halves, rtol=1e-9)
    assert_allclose(after["value"], table["value"], rtol=0)
    assert len(found.moved) == len(table)


def test_a_narrower_margin_turns_alike_into_inside(small):
    """Oracle: the rule: alike means that the whole interval lies within the margin."""
    wide, narrow = (
        evaluate(under_protocol(small, changed(TEXT, {"bench": {"alike_percent": percent}})))
        for percent in (50, 1)
    )
    verdicts = compare_campaigns(wide, narrow).verdicts
    alike = wide.table[wide.table["verdict"] == "alike"]
    assert len(alike) > 0
    assert list(verdicts["lamp"]) == list(alike["lamp"])
    assert set(verdicts["before"]) == {"alike"}
    assert set(verdicts["after"]) == {"inside"}


def test_settings_name_the_key_with_both_values(small):
    """Oracle: what was typed."""
    other = changed(TEXT, {"bench": {"protocol_revision": "2"}, "meter M1": {"linearity_percent": 0.5}})
    found = revised(small, other).settings.set_index("key")
    assert list(found.loc["protocol_revision"]) == ["1", "2"]
    assert list(found.loc["meter M1 linearity_percent"]) == ["1", "0.5"]
    assert len(found) == 2


def test_a_default_counts_as_declared_the_same(small):
    """Oracle: 10 % is the default of alike_percent; typing it changes nothing but who said it."""
    assert revised(small, changed(TEXT, {"bench": {"alike_percent": 10}})).settings.empty


def test_a_meter_that_is_not_described_is_refused(small):
    """Oracle: readings.csv names M1."""
    with pytest.raises(RecordError, match=r'"M1" is not a \[\[meter\]\] of bench\.toml'):
        under_protocol(small, TEXT.replace('id = "M1"', 'id = "M9"'))


def test_a_fault_of_the_other_text_is_refused_as_in_reading(small):
    """Oracle: the reader's own fault."""
    with pytest.raises(RecordError, match=r"bench\.toml.*coverage"):
        under_protocol(small, changed(TEXT, {"bench": {"coverage": 2}}))
    with pytest.raises(RecordError, match="cannot be read"):
        under_protocol(small, "no_such_protocol.toml")


def test_a_meter_without_the_range_of_the_readings_is_refused(small):
    """Oracle: the readings were taken on the 4000 lx range, which the other meter does not have."""
    smaller = TEXT.replace("ranges_lx = [400, 4000]", "ranges_lx = [100, 300]")
    with pytest.raises(RecordError, match="4000 lx is not a range of meter M1"):
        under_protocol(small, smaller.replace("resolution_lx = [0.1, 1]", "resolution_lx = [0.1, 0.1]"))


def test_text_file_and_folder_are_one(tmp_path):
    """Oracle: the same characters."""
    (tmp_path / "bench.toml").write_text(TEXT, encoding="utf-8")
    assert protocol_text(tmp_path) == protocol_text(tmp_path / "bench.toml") == protocol_text(TEXT) == TEXT


def test_a_shorter_hold_moves_the_demo_by_the_truth(demo):
    """Oracle: R + (1 - R) exp(-(t - 60 s)/tau) of truth.toml for K1 (0.86, 4.0 min): 0.86010 at 30, 0.86001 at 40 min.

    K8 is modulated and its record scatters; every other lamp's remaining light moves by less than its half-width.
    """
    text = protocol_text(DATA / "demo")
    found = revised(demo, changed(text, {"bench": {"hold_minutes": 30, "protocol_revision": "4"}}))
    moved = found.moved[(found.moved["measurand"] == "remaining light")]
    assert set(found.settings["key"]) == {"hold_minutes", "protocol_revision"}
    assert (moved["instant"] == "hold").all()
    sound = moved[moved["lamp"] != "K8"]
    assert ((sound["value_after"] / sound["value_before"] - 1).abs() < sound["half_before"]).all()
    # K4 in HR has no record: its readings at 40 min are none at 30 min, so its ratio in three scopes is lost, and what
    # is left of it; of K1 in HP only the piece with a record is held then, so the row of its pieces goes
    assert (found.gained, found.lost) == (0, 5)
    initial = found.moved[found.moved["instant"] == "initial"]
    assert initial.empty
    first = replace(found, moved=found.moved[found.moved["measurand"] == "remaining light"].head(1))
    assert change_log(first)[1].startswith("Numbers that moved: 1 result; the largest: remaining light of ")
    log = change_log(found)
    assert log[0] == "Protocol revision 3 to 4, over the same 486 readings."
    assert log[1].startswith("Numbers that moved:")
    assert "hold_minutes 40 to 30" in log[3]
