"""Result tables. Oracles: the reader of the same format (csv, openpyxl), and the campaign's own table."""

import csv
import io
import math
from dataclasses import replace
from functools import cache

import openpyxl
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shared_demo import DEMO, bench_of, demo_bench, demo_campaign, demo_rows, kept

from photolab.bench.inputs.corrections import ALL
from photolab.bench.results.beams import ROW_NAMES
from photolab.bench.results.candela import bench_candela
from photolab.bench.results.distances import evaluate_distances
from photolab.bench.results.evaluation import evaluate
from photolab.publication.report.tables import COLUMNS, DICTIONARY, as_csv, data_hash, results
from photolab.publication.report.workbook_table import as_workbook


@cache
def demo():
    campaign = demo_campaign()
    return campaign, demo_rows()


def test_every_column_a_result_needs_is_there_and_explained():
    _, table = demo()
    assert tuple(table.columns) == COLUMNS
    assert set(DICTIONARY) == set(COLUMNS)
    assert set(table["measurand"]) == {
        "illuminance ratio",
        "remaining light",
        "electrical power",
        "illuminance per watt ratio",
        "surface temperature",
        "temperature rise",
        "luminous intensity",
        "hot-spot intensity ratio",
        "window flux ratio",
        "above cut-off ratio",
        "warm-up amplitude",
        "warm-up time constant",
    }
    assert (table["protocol_revision"] == "3").all()
    assert table["data_hash"].nunique() == 1


def test_rows_are_one_for_each_lamp_housing_measurand_point_instant_scope():
    _, table = demo()
    keys = ["lamp", "housing", "measurand", "point", "instant", "scope"]
    assert not table.duplicated(keys).any()
    lamps = list(dict.fromkeys(table["lamp"]))
    assert lamps == [x for x in demo()[0].bench.tables["lamps"]["lamp"] if x in lamps]


def test_csv_reads_back_to_six_digits():
    _, table = demo()
    back = pd.read_csv(io.StringIO(as_csv(table)))
    assert_allclose(back["value"], table["value"].astype(float), rtol=5e-6)  # six significant digits
    assert list(back["verdict"].fillna("")) == list(table["verdict"])


def test_every_ratio_of_lamps_has_its_family():
    """Oracle: all pairs of its housing, instant and scope (`Campaign.pairs`); K5 and K8 in HR are clear alone."""
    campaign, table = demo()
    ratios = table[table["measurand"] == "illuminance ratio"]
    assert (ratios["instant"] == "hold").any()
    for (housing, instant, scope), block in ratios.groupby(["housing", "instant", "scope"]):
        pairs = campaign.pairs(housing, scope=scope, instant=instant)
        first = pairs[pairs["a"] == "B0"].set_index("b")
        assert sorted(first.index) == sorted(block["lamp"])
        told = block.set_index("lamp")
        assert_allclose(told["family_low"], 1.0 / first["high"][told.index], rtol=6e-4)  # as published
        assert_allclose(told["family_high"], 1.0 / first["low"][told.index], rtol=6e-4)  # as published
        clear = told["family_verdict"] == "clear"
        assert list(clear) == list(first["resolved"][told.index])
    assert (ratios["family_low"] <= ratios["low"]).all()
    assert (ratios["family_high"] >= ratios["high"]).all()
    at = (ratios["housing"] == "HR") & (ratios["instant"] == "initial") & (ratios["scope"] == "specimens")
    alone = ratios[at & (ratios["verdict"] == "clear") & (ratios["family_verdict"] != "clear")]
    assert set(alone["lamp"]) == {"K5", "K8"}
    compared = table["baseline"] != ""
    assert set(table.loc[compared, "measurand"]) == {
        "illuminance ratio",
        "illuminance per watt ratio",
        *ROW_NAMES.values(),
    }
    assert (table.loc[compared, "family_verdict"] != "").all()
    assert (table.loc[~compared, "family_verdict"] == "").all()
    assert table.loc[~compared, "family_low"].isna().all()


def test_two_lamps_are_a_family_of_one():
    """Oracle: the single interval and verdict; a lamp without a technology has no answer in its family either."""
    for name in ("two-clear", "two-alike"):
        ratios = results(kept(name)).query("measurand == 'illuminance ratio'")
        assert len(ratios) == 3
        assert list(ratios["family_low"]) == list(ratios["low"])
        assert list(ratios["family_high"]) == list(ratios["high"])
        assert list(ratios["family_verdict"]) == list(ratios["verdict"])
    silent = results(evaluate(bench_of(DEMO.parent / "two-readings")))
    assert set(silent["family_verdict"]) == {"no_answer"}
    assert silent["family_low"].isna().all()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-x", "@cmd"])
def test_text_that_a_spreadsheet_would_evaluate_is_kept_as_text(text):
    rows = list(csv.reader(io.StringIO(as_csv(pd.DataFrame({"lamp": [text], "value": [-1.5]})))))
    assert rows[1] == ["'" + text, "-1.5"]
    data = as_workbook(pd.DataFrame({"lamp": [text], "value": [-1.5]}), pd.DataFrame({"line": [1]}))
    cell = openpyxl.load_workbook(io.BytesIO(data))["results"]["A2"]
    assert (cell.value, cell.data_type) == (text, "s")


def test_workbook_has_three_sheets_the_same_numbers_and_the_same_bytes():
    campaign, table = demo()
    one = as_workbook(table, campaign.selection.left_out, last_day="2026-05-28")
    assert one == as_workbook(table, campaign.selection.left_out, last_day="2026-05-28")
    book = openpyxl.load_workbook(io.BytesIO(one))
    assert book.sheetnames == ["results", "left out", "data dictionary"]
    values = [row[COLUMNS.index("value")] for row in book["results"].iter_rows(min_row=2, values_only=True)]
    assert_allclose(values, table["value"].astype(float), rtol=1e-9)  # ten digits are written
    assert str(book.properties.created.date()) == "2026-05-28"


def test_an_end_that_no_bound_has_keeps_its_sign_in_both_files():
    # Oracle: float() of what stands there.
    table = pd.DataFrame({"low": [-math.inf], "high": [math.inf]})
    (_, written) = csv.reader(io.StringIO(as_csv(table)))
    sheet = openpyxl.load_workbook(io.BytesIO(as_workbook(table, table)))["results"]
    for cells in (written, [cell.value for cell in sheet[2]]):
        assert [float(cell.lstrip("'")) for cell in cells] == [-math.inf, math.inf]


def test_data_hash_depends_on_every_file_and_not_on_their_order():
    one = data_hash({"a.csv": "1", "b.csv": "2"})
    assert one == data_hash({"b.csv": "2", "a.csv": "1"})
    assert one != data_hash({"a.csv": "1", "b.csv": "3"})
    assert len(one) == 16


def rows_of(table, *measurands):
    found = table[table["measurand"].isin(measurands)]
    keys = ["lamp", "housing", "measurand", "point", "instant", "scope"]
    return found.set_index(keys)["value"].sort_index()


def test_corrections_reach_every_measurand():
    """Oracle: what each measurand's own function gives without the correction; what has none stays."""
    campaign, whole = demo()
    left = tuple(name for name in ALL if name != "dark")
    table = results(evaluate(campaign.bench, corrections=left))
    runs = evaluate_distances(campaign.bench, corrections=left)
    told = rows_of(table, "luminous intensity", "apparent luminous intensity").to_numpy()
    asked = sorted(one.candela.value if one.law else one.apparent.value for one in runs)
    assert_allclose(sorted(told), asked, rtol=1e-5)
    for measurand in ("luminous intensity", "hot-spot intensity ratio", "window flux ratio"):
        mine = table[table["measurand"] == measurand]
        assert not mine["corrections"].str.contains("dark").any()
        assert whole.loc[whole["measurand"] == measurand, "corrections"].str.contains("dark").any()
        before, after = (rows_of(one, measurand) for one in (whole, table))
        both = before.index.intersection(after.index)
        assert (before[both] != after[both]).any() or not len(both)
    untouched = ("electrical power", "surface temperature", "temperature rise", "remaining light")
    records = [one[one["scope"] == "readings"] for one in (table, whole)]  # a record has no dark reading
    assert rows_of(records[0], *untouched).equals(rows_of(records[1], *untouched))
    lit = [bench_candela(campaign.bench, lamp="B0", corrections=c)[0].intensity.value for c in (ALL, left)]
    assert lit[1] > 1.003 * lit[0]  # dark readings of 3 lx in some 400


def test_what_is_left_out_is_left_out_of_every_measurand():
    """Oracle: the rows of other lamps do not move; the lamp left out has none."""
    campaign, whole = demo()
    assert campaign.bench is demo_bench()  # nothing left out: records fitted once stay fitted
    measured = whole.loc[whole["lamp"] == "K3", "measurand"].nunique()
    assert measured == 11
    table = results(evaluate(campaign.bench, leave_out={"lamp": "K3"}))
    assert not (table["lamp"] == "K3").any()
    own = ("electrical power", "surface temperature", "temperature rise", "hot-spot intensity ratio",
           "window flux ratio", "luminous intensity")  # fmt: skip
    before = rows_of(whole[whole["lamp"] != "K3"], *own)
    assert_allclose(rows_of(table, *own).to_numpy(), before.to_numpy(), rtol=1e-12)
    # no other lamp takes the baseline's place, not even one with a beam
    beam = campaign.bench.tables["beam"]
    again = beam[beam["lamp"] == "B0"].assign(lamp="K1", run=lambda rows: "again " + rows["run"])
    beam = pd.concat([beam, again], ignore_index=True)
    bench = replace(campaign.bench, tables={**campaign.bench.tables, "beam": beam})
    without = results(evaluate(bench, leave_out={"lamp": "B0"}))
    assert without[without["measurand"] == "hot-spot intensity ratio"].empty
