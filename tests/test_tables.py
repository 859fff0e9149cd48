"""Result tables. Oracles: the reader of the same format (csv, openpyxl), and the campaign's own table."""

import csv
import io
from functools import cache

import openpyxl
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign

from photolab.publication.tables import COLUMNS, DICTIONARY, as_csv, data_hash, results
from photolab.publication.workbook_table import as_workbook


@cache
def demo():
    campaign = demo_campaign()
    return campaign, results(campaign)


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


def test_data_hash_depends_on_every_file_and_not_on_their_order():
    one = data_hash({"a.csv": "1", "b.csv": "2"})
    assert one == data_hash({"b.csv": "2", "a.csv": "1"})
    assert one != data_hash({"a.csv": "1", "b.csv": "3"})
    assert len(one) == 16
