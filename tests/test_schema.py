"""The tables of files, columns, units and keys that reader, writer and data dictionary share.

Oracles: the foot is 0.3048 m and the inch 25.4 mm exactly (international yard and pound agreement, 1959);
a foot-candle is one lumen a square foot, 10.76391 lx, and degC = (degF - 32)/1.8 (NIST Special Publication
811, appendix B); the ranges are the project's own declared contract.
"""

import math

import bench_folders as bf
import pytest
from numpy.testing import assert_allclose

from photolab.bench.folder.records import read_bench
from photolab.bench.folder.write import starter_toml
from photolab.bench.terms.schema import (
    FILES,
    READING_KEY,
    SECTIONS,
    TABLES,
    Field,
    UnitForm,
    listing,
    unit_forms,
)

UNITS = {"", "1", "lx", "lm", "W", "K", "s", "min", "V", "A", "degC", "%", "m", "mm", "deg", "nm", "%/K"}
EVERY_COLUMN = [(table, column) for table in TABLES.values() for column in table.columns]
EVERY_KEY = [(section, key) for section, keys in SECTIONS.items() for key in keys]


def form(column: str, header: str) -> UnitForm:
    return next(f for f in unit_forms(column) if f.header == header)


@pytest.mark.parametrize(
    ("column", "header", "typed", "canonical"),
    [
        ("illuminance_lx", "illuminance_fc", 1.0, 10.763910416709722),
        ("dark_lx", "dark_fc", 2.0, 21.527820833419444),
        ("range_lx", "range_fc", 40.0, 430.55641666838886),
        ("distance_m", "distance_ft", 25.0, 7.62),
        ("distance_m", "distance_in", 100.0, 2.54),
        ("displayed_C", "displayed_F", 212.0, 100.0),
        ("ambient_C", "ambient_F", -40.0, -40.0),
        ("x_mm", "x_in", 2.0, 50.8),
        ("y_mm", "y_in", 1.0, 25.4),
        ("elapsed_s", "elapsed_minutes", 30.0, 1800.0),
    ],
)
def test_units_by_column_name_convert_exactly(column, header, typed, canonical):
    # tolerance: float rounding of one product
    assert_allclose(form(column, header).convert(typed), canonical, rtol=1e-15)


@pytest.mark.parametrize("column", ["socket_V", "rest_minutes", "power_W", "horizontal_deg", "lamp"])
def test_other_columns_have_one_unit(column):
    assert unit_forms(column) == ()


def test_files_of_the_folder():
    assert FILES == (
        "bench.toml", "readings.csv", "lamps.csv", "days.csv", "warm_up.csv", "thermal.csv", "electrical.csv",
        "distance.csv", "beam.csv", "spectra.csv", "links.csv", "plan.csv",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("table", "required"),
    [
        ("readings", "lamp illuminance_lx"),
        ("lamps", "lamp technology role"),
        ("days", "day date"),
        ("warm_up", "run lamp elapsed_s illuminance_lx"),
        ("thermal", "lamp elapsed_s displayed_C method"),
        ("electrical", "lamp elapsed_s per"),
        ("distance", "run lamp housing distance_m illuminance_lx"),
        ("beam", "run lamp housing illuminance_lx"),
        ("spectra", "name kind file"),
        ("links", "lamp technology old_meter new_meter old_lx new_lx"),
        ("plan", "step date lamp instant"),
    ],
)
def test_required_columns(table, required):
    assert [column.name for column in TABLES[table].columns if column.required] == required.split()


@pytest.mark.parametrize(("table", "column"), EVERY_COLUMN)
def test_every_column_is_described(table, column):
    assert table.column(column.name) is column
    assert column.about
    assert column.example
    assert column.unit in UNITS
    assert column.kind in {"number", "count", "text", "code", "date", "clock", "file"}
    assert bool(column.codes) == (column.kind == "code")
    if column.low is not None and column.high is not None:
        assert column.low < column.high


@pytest.mark.parametrize(("section", "key"), EVERY_KEY)
def test_every_key_is_described_and_its_default_is_allowed(section, key):
    assert key.about
    assert key.unit in UNITS
    assert not (key.required and key.default is not None)
    if isinstance(key.default, float) and not math.isnan(key.default):
        assert key.low is None or key.default >= key.low
        assert key.high is None or key.default <= key.high
    if key.codes and isinstance(key.default, str) and key.default:
        assert key.default in key.codes


def test_column_names_are_unique_and_the_reading_key_is_made_of_them():
    for table in TABLES.values():
        headers = [*table.names, *(f.header for name in table.names for f in unit_forms(name))]
        assert len(set(headers)) == len(headers)
    assert set(READING_KEY) <= set(TABLES["readings"].names)


@pytest.mark.parametrize(
    ("low", "high", "low_open", "unit", "words"),
    [
        (0, None, True, "lx", "more than 0 lx"),
        (0, None, False, "min", "0 min or more"),
        (0.2, 50, False, "m", "0.2 to 50 m"),
        (0, 60, True, "V", "more than 0, at most 60 V"),
        (None, None, False, "lx", "a finite number"),
    ],
)
def test_ranges_in_words(low, high, low_open, unit, words):
    assert Field("x", "number", unit, "", "", low=low, high=high, low_open=low_open).wanted == words


def test_new_folder_explains_every_key_of_meter_bench_housing_and_question():
    text = starter_toml()
    for section in ("bench", "meter", "housing", "question"):
        for key in SECTIONS[section]:
            if key.kind not in {"table", "tables"} and "not used" not in key.about:
                assert f"{key.name} =" in text


def test_readme_of_the_data_lists_every_column_and_key_as_the_schema_has_it():
    text = (bf.DATA / "README.md").read_text(encoding="utf-8")
    written = text.partition("<!-- columns -->\n")[2].partition("\n<!-- /columns -->")[0]
    assert written.split("\n") == listing(markdown=True)


@pytest.mark.parametrize("name", [*TABLES, *FILES, *filter(None, SECTIONS)])
def test_one_file_or_section_may_be_listed(name):
    lines = "\n".join(listing(name))
    of_table = TABLES[name.removesuffix(".csv")].columns if name.removesuffix(".csv") in TABLES else ()
    fields = [*of_table, *SECTIONS.get(name, ())]
    assert all(f"  {one.name}" in lines and one.about in lines for one in fields)
    assert lines.count("\n  ") == len(fields) or name == "bench.toml"


def test_a_file_that_there_is_not_is_refused_by_name():
    with pytest.raises(ValueError, match=r"lamp\.csv: no such file; write one of bench\.toml, readings\.csv"):
        listing("lamp.csv")


@pytest.mark.parametrize("table", list(TABLES))
def test_every_example_can_be_typed(tmp_path, table):
    # one row of examples; what lies between columns (two ways to say where, a meter with itself) is left out
    skipped = {"x_mm", "y_mm", "photo", "exclude"}
    columns = [column for column in TABLES[table].columns if column.name not in skipped]
    cells = {"lamp": "A1", "housing": "H1", "file": "s1.csv"}
    row = ",".join(cells.get(column.name, column.example) for column in columns)
    files = {f"{table}_csv": ",".join(column.name for column in columns) + "\n" + row + "\n"}
    toml = bf.TWO_METERS + '[[housing]]\nid = "H1"\n'
    rest = {"readings_csv": bf.readings("A1,318,M1", "A1,319,M1", header="lamp,illuminance_lx,meter")}
    folder = bf.make(
        tmp_path / "b", **{"bench_toml": toml, "lamps_csv": None, "s1_csv": bf.SPECTRUM, **rest, **files}
    )
    assert len(read_bench(folder).tables[table]) > 0
