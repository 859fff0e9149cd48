"""The workbook in place of the other files. Oracle: the same campaign as CSV, rows typed in the test."""

import csv
import io
import re
import tomllib
import zipfile
from datetime import datetime, time

import bench_folders as bf
import openpyxl
import pytest
from test_records_writing import assert_same

from photolab.bench.folder import workbook
from photolab.bench.folder.records import RecordError, new_folder, read_bench
from photolab.bench.terms.schema import TABLES, unit_forms

KEYS = [
    ("", "", "schema", 1),
    ("meter", "M1", "reading_percent", 4),
    ("meter", "M1", "range_percent", 0.5),
    ("meter", "M1", "ranges_lx", "400, 4000, 40000"),
    ("meter", "M1", "resolution_lx", "0.1, 1, 10"),
]
QUESTION = [
    ("question", "1", "asked_on", "2025-04-03"),
    ("question", "1", "housing", "each"),
    ("question", "1", "instant", "hold"),
    ("question", "1", "more_than_percent", 10),
]
ROWS = [("lamp", "illuminance_lx", "range_lx", "note"), ("A1", 318, 4000, None), ("A2", 334, 4000, None)]
LAMPS = [("lamp", "technology", "role"), ("A1", "led", "baseline"), ("A2", "led", "candidate")]


def save(folder, keys=KEYS, **sheets):
    """Write bench.xlsx with these keys and sheets."""
    folder.mkdir(exist_ok=True)
    book = openpyxl.Workbook()
    book.active.title = "bench"
    for row in [workbook.KEY_HEADER, *keys]:
        book.active.append(row)
    for name, rows in ({"readings": ROWS, "lamps": LAMPS} | sheets).items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(folder / "bench.xlsx")
    return folder


def refused(folder, code, words):
    with pytest.raises(RecordError, match=re.escape(words)) as caught:
        read_bench(folder)
    assert code in {problem.code for problem in caught.value.problems}


def test_a_workbook_reads_like_the_files_it_stands_for(tmp_path):
    bench = read_bench(save(tmp_path / "b"))
    plain = read_bench(bf.make(tmp_path / "plain"))
    assert_same(bench, plain)
    readings = bench.tables["readings"]
    assert list(readings["illuminance_lx"]) == [318.0, 334.0]
    assert list(readings["line"]) == [2, 3]
    assert bf.plain(bench.meters) == bf.plain(plain.meters)
    assert list(bench.hashes) == ["bench.xlsx"]
    assert bench.files == ("bench.xlsx", "bench.toml", "readings.csv", "lamps.csv")


def typed(table, header, cell):
    """Return a cell of a CSV file as a spreadsheet holds it: numbers in number columns."""
    numeric = {c.name for c in TABLES[table].columns if c.numeric}
    numeric |= {form.header for name in numeric for form in unit_forms(name)}
    return (float(cell) if header in numeric else cell) if cell else None


def test_the_demo_campaign_as_workbook_gives_the_same_tables(tmp_path):
    demo = bf.DATA / "demo"
    given = tomllib.loads((demo / "bench.toml").read_text(encoding="utf-8"))
    keys = [("", "", "schema", 1)]
    keys += [("bench", "", name, value) for name, value in given["bench"].items()]
    for section in ("meter", "housing"):
        for entity in given[section]:
            for name, value in entity.items():
                listed = ", ".join(map(str, value)) if isinstance(value, list) else value
                keys.append((section, entity["id"], name, listed))
    for number, question in enumerate(given.get("question", []), start=1):
        keys += [("question", str(number), name, value) for name, value in question.items()]
    sheets = {}
    for name in (name for name in TABLES if (demo / f"{name}.csv").exists()):
        rows = list(csv.reader((demo / f"{name}.csv").read_text(encoding="utf-8").splitlines()))
        sheets[name] = [
            rows[0],
            *([typed(name, h, c) for h, c in zip(rows[0], row, strict=True)] for row in rows[1:]),
        ]
    folder = save(tmp_path / "demo", keys=keys, **sheets)
    for path in demo.glob("*.csv"):
        if path.stem not in TABLES:
            (folder / path.name).write_bytes(path.read_bytes())
    bench, plain = read_bench(folder), read_bench(demo)
    assert_same(bench, plain)
    assert [str(w).partition(": ")[2] for w in bench.warnings] == [
        str(w).partition(": ")[2] for w in plain.warnings
    ]


@pytest.mark.parametrize(
    ("keys", "sheets", "code", "words"),
    [
        (
            KEYS,
            {"readings": [ROWS[0], ("A1", "318", 4000, None)]},
            "fault 13",
            'bench.xlsx sheet readings:2: illuminance_lx: "318" is text that looks like a number;'
            " format the cell as a number. [fault 13]",
        ),
        (
            KEYS,
            {"readings": [ROWS[0], ("A1", "=300+18", 4000, None)]},
            "fault 13",
            "bench.xlsx sheet readings:2: illuminance_lx: a formula without a stored value",
        ),
        (
            KEYS,
            {"readings": [ROWS[0], ("A1", "334 lx", 4000, None)]},
            "fault 13",
            "write 334, the unit stands in the column name",
        ),
        (KEYS, {"readings": [ROWS[0], ("A1", True, 4000, None)]}, "fault 13", '"TRUE" is not a number'),
        (
            KEYS,
            {"readings": [ROWS[0], ("A1", -1, 4000, None)]},
            "fault 14",
            "bench.xlsx sheet readings:2: illuminance_lx: -1 lx; wanted more than 0 lx.",
        ),
        (
            KEYS,
            {"readings": [ROWS[0], ("A1", 318, 4000, None, "x")]},
            "fault 4",
            "sheet readings:2: cells beyond the last named column. [fault 4]",
        ),
        (KEYS, {"readings": [ROWS[0]]}, "fault 3", "bench.xlsx sheet readings: is not in the folder"),
        (
            KEYS,
            {"readings": [ROWS[0], ("a1", 318, 4000, None)]},
            "fault 12",
            '"a1" is not in sheet lamps; closest is "A1". [fault 12]',
        ),
        (KEYS[1:], {}, "fault 1", "bench.xlsx sheet bench: no schema; write schema = 1"),
        (
            [KEYS[0], ("meter", "M1", "reading_percent", "3 %")],
            {},
            "fault 2",
            'bench.xlsx sheet bench:3: meter.reading_percent = "3 %"; wanted a bare number: 3.',
        ),
        (
            [KEYS[0], ("meter", "M1", "reading_percent", 0.03)],
            {},
            "fault 20",
            "sheet bench:3: meter.reading_percent = 0.03; is that 3 %? Write 3. [fault 20]",
        ),
        (
            [KEYS[0], ("meter", None, "reading_percent", 3)],
            {},
            "fault 5",
            "sheet bench:3: id: blank beside reading_percent; every row of a meter names its id. [fault 5]",
        ),
        ([*KEYS, ("meter", "M1", "colour", 3)], {}, "fault 2", "sheet bench:7: meter.colour is not a key."),
        ([*KEYS, ("tent", "", "x", 3)], {}, "fault 2", "tent is not a section or key."),
        (
            [*KEYS, ("meter", "M1", "certificate.correction", 9)],
            {},
            "fault 14",
            "meter.certificate.correction = 9; wanted 0.5 to 2.",
        ),
        (
            [*KEYS, ("question", "1", "lamp", "a2"), *QUESTION],
            {},
            "fault 12",
            'sheet bench:7: question.lamp = "a2" is not in sheet lamps; closest is "A2".',
        ),
        ([*KEYS, ("question", "", "lamp", "A2")], {}, "fault 5", "every row of a question names its id."),
    ],
)
def test_the_same_faults_with_sheet_and_row(tmp_path, keys, sheets, code, words):
    refused(save(tmp_path / "b", keys=keys, **sheets), code, words)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("", "", "bench", 5), "bench: wanted one table [bench]."),
        (("", "", "meter", "x"), "meter: wanted [[meter]] with two pairs of brackets."),
        (("meter", "M1", "certificate", "yes"), "meter.certificate: wanted a table [meter.certificate]."),
        (("meter", "M1", "spectral_factor", "x"), "wanted tables [[meter.spectral_factor]]."),
        (("meter", "M1", "spectral_factor.led", 1.02), "wanted tables [[meter.spectral_factor]]."),
    ],
)
@pytest.mark.parametrize("last", [False, True])
def test_a_value_in_the_place_of_a_section_or_table_is_refused_as_in_bench_toml(tmp_path, row, words, last):
    # Oracle: the words for the same slip in bench.toml.
    inside = [("bench", "", "name", "b"), ("meter", "M1", "certificate.correction", 1.01)]
    inside += [("meter", "M1", "spectral_factor.led.factor", 1.02)]
    keys = [*KEYS, *inside, row] if last else [KEYS[0], row, *KEYS[1:], *inside]
    refused(save(tmp_path / "b", keys), "fault 2", words)


def test_certificate_and_spectral_factor_have_dotted_keys(tmp_path):
    keys = [
        *KEYS,
        ("meter", "M1", "certificate.correction", 1.01),
        ("meter", "M1", "certificate.expanded_uncertainty_percent", 1.5),
        ("meter", "M1", "spectral_factor.led.factor", 1.02),
        ("meter", "M1", "spectral_factor.led.expanded_uncertainty", 0.01),
    ]
    meter = read_bench(save(tmp_path / "b", keys=keys)).meters["M1"]
    assert (meter.certificate.correction, meter.certificate.expanded_uncertainty_percent) == (1.01, 1.5)
    (factor,) = meter.spectral_factors
    assert (factor.technology, factor.factor, factor.expanded_uncertainty) == ("led", 1.02, 0.01)


def test_questions_are_numbered_on_the_sheet(tmp_path):
    keys = [
        *KEYS,
        ("question", "1", "asked_on", datetime(2025, 4, 3)),
        ("question", "1", "lamp", "any"),
        ("question", "1", "housing", "each"),
        ("question", "1", "instant", "hold"),
        ("question", "1", "more_than_percent", 10),
        ("question", "2", "asked_on", "2025-04-04"),
        ("question", "2", "lamp", "A2"),
        ("question", "2", "housing", "any"),
        ("question", "2", "instant", "initial"),
        ("question", "2", "more_than_percent", 0),
    ]
    plain = bf.TOML + bf.QUESTION.replace('"A2"', '"any"')
    plain += (
        bf.QUESTION.replace("04-03", "04-04")
        .replace("each", "any")
        .replace("hold", "initial")
        .replace("percent = 10", "percent = 0")
    )
    bench = read_bench(save(tmp_path / "b", keys=keys))
    assert len(bench.questions) == 2
    assert bench.questions == read_bench(bf.make(tmp_path / "plain", bench_toml=plain)).questions


def test_a_formula_s_stored_value_is_used_and_said(tmp_path):
    # the stored value is planted in the sheet's XML, as a spreadsheet would have saved it
    folder = save(tmp_path / "b", readings=[ROWS[0], ("A1", "=300+18", 4000, None), ROWS[2]])
    source = zipfile.ZipFile(io.BytesIO((folder / "bench.xlsx").read_bytes()))
    with zipfile.ZipFile(folder / "bench.xlsx", "w") as target:
        for part in source.infolist():
            text = source.read(part)
            target.writestr(part, re.sub(rb"(<f>300\+18</f>)<v ?/?>(</v>)?", rb"\1<v>318</v>", text))
    bench = read_bench(folder)
    assert list(bench.tables["readings"]["illuminance_lx"]) == [318.0, 334.0]
    words = (
        "bench.xlsx sheet readings:2: illuminance_lx: a formula; its stored value 318 is used. [caution 33]"
    )
    assert words in [str(problem) for problem in bench.warnings]


@pytest.mark.parametrize("name", ["readings.csv", "bench.toml"])
def test_workbook_and_files_together_are_refused(tmp_path, name):
    folder = save(tmp_path / "b")
    (folder / name).write_text("x", encoding="utf-8")
    refused(
        folder,
        "fault 25",
        f"bench.xlsx: stands beside {name}; keep the workbook or the other files, not both. [fault 25]",
    )


@pytest.mark.parametrize(
    "data", [b"", b"PK\x03\x04 no", b"lamp,illuminance_lx\n", b"PK\x05\x06" + b"\0" * 18]
)
def test_what_is_not_a_workbook_is_refused(tmp_path, data):
    (tmp_path / "bench.xlsx").write_bytes(data)
    refused(tmp_path, "fault 3", "bench.xlsx: cannot be read as a workbook")


def test_a_workbook_that_unpacks_too_large_or_runs_too_long(tmp_path, monkeypatch):
    folder = save(tmp_path / "b")
    monkeypatch.setattr(workbook, "MAX_ROWS", 2)
    refused(folder, "fault 3", "bench.xlsx: sheet readings has more than 2 rows. [fault 3]")
    with pytest.raises(RecordError, match="more than 2 rows") as caught:
        read_bench(folder)
    said = [str(problem) for problem in caught.value.problems]
    assert len(said) == len({*said}) == 4  # each sheet once, and no meter
    monkeypatch.setattr(workbook, "MAX_UNPACKED_BYTES", 100)
    refused(folder, "fault 3", "bench.xlsx: unpacks to more than")


def test_other_sheets_are_named_and_not_read(tmp_path):
    bench = read_bench(save(tmp_path / "b", scratch=[("x",)]))
    assert "bench.xlsx: sheet scratch is not read. [caution 30]" in [
        str(problem) for problem in bench.warnings
    ]


def test_date_cells_and_number_cells_in_text_columns(tmp_path):
    days = [("day", "date"), (1, datetime(2025, 4, 3))]
    rows = [("lamp", "illuminance_lx", "day", "clock", "mounting"), ("A1", 318.0, 1, time(9, 5), 2)]
    bench = read_bench(save(tmp_path / "b", days=days, readings=rows))
    assert list(bench.tables["days"]["date"]) == ["2025-04-03"]
    assert list(bench.tables["readings"][["day", "clock", "mounting"]].iloc[0]) == ["1", "09:05:00", "2"]


def test_new_workbook_says_what_to_type_and_reads_once_it_is_typed(tmp_path):
    folder = new_folder(tmp_path / "mine", workbook=True)
    assert [path.name for path in folder.iterdir()] == ["bench.xlsx"]
    refused(
        folder,
        "fault 1",
        'bench.xlsx sheet bench: meter "M1" has no reading_percent; copy it from the accuracy line',
    )
    book = openpyxl.load_workbook(folder / "bench.xlsx")
    row = next(row for row in book["bench"].iter_rows() if row[2].value == "reading_percent")
    row[3].value = 3
    book["readings"]["B2"], book["readings"]["B3"] = 318, 334
    book["lamps"]["B2"], book["lamps"]["B3"] = "halogen", "LED"
    book.save(folder / "bench.xlsx")
    bench = read_bench(folder)
    assert list(bench.tables["readings"]["illuminance_lx"]) == [318.0, 334.0]
    assert bench.settings.protocol_revision == "1"
    assert list(bench.tables["lamps"]["technology"]) == ["filament", "led"]
    assert not bench.housings


def test_new_workbook_has_a_sheet_a_table_drop_downs_and_no_formula(tmp_path):
    book = openpyxl.load_workbook(new_folder(tmp_path / "mine", workbook=True) / "bench.xlsx")
    assert book.sheetnames == ["bench", *TABLES]
    for name, table in TABLES.items():
        assert tuple(cell.value for cell in book[name][1]) == table.names
        rules = [rule.formula1 for rule in book[name].data_validations.dataValidation]
        assert rules == [f'"{",".join(c.codes)}"' for c in table.columns if c.codes]
    rules = [rule.formula1 for rule in book["bench"].data_validations.dataValidation]
    assert '"open,closed"' in rules
    assert not any(",," in rule for rule in rules)  # a comma cannot be picked from such a list
    cells = [cell.value for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not any(isinstance(cell, str) and cell.startswith("=") for cell in cells)
    assert book.vba_archive is None


def test_hidden_rows_columns_and_sheets_are_said(tmp_path):
    # openpyxl writes what a spreadsheet hides; sound neighbour: the same workbook with nothing hidden
    folder = save(tmp_path / "b")
    book = openpyxl.load_workbook(folder / "bench.xlsx")
    book["readings"].row_dimensions[3].hidden = True
    book["readings"].column_dimensions["C"].hidden = True
    book["lamps"].sheet_state = "hidden"
    book.save(folder / "bench.xlsx")
    said = [str(problem) for problem in read_bench(folder).warnings if problem.code == "caution 39"]
    assert said == [
        "bench.xlsx sheet readings: hidden, and read all the same: row 3, column C. [caution 39]",
        "bench.xlsx sheet lamps: hidden, and read all the same: the whole sheet. [caution 39]",
    ]
    assert not [p for p in read_bench(save(tmp_path / "sound")).warnings if p.code == "caution 39"]


def test_a_workbook_that_unpacks_to_two_hundred_megabytes_is_refused_before_it_is_unpacked(
    tmp_path, monkeypatch
):
    folder = save(tmp_path / "b")
    with zipfile.ZipFile(folder / "bench.xlsx", "a", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/media/long.bin", b"\0" * (200 * 2**20))
    monkeypatch.setattr(workbook.openpyxl, "load_workbook", lambda *_, **__: pytest.fail("it was opened"))
    refused(
        folder,
        "fault 3",
        "bench.xlsx: unpacks to more than 128 MB; keep fewer rows and no pictures. [fault 3]",
    )


def test_a_sheet_of_many_columns_is_refused(tmp_path):
    wide = [tuple(f"c{n}" for n in range(300))]
    refused(
        save(tmp_path / "b", readings=wide),
        "fault 3",
        "bench.xlsx: sheet readings has more than 200 columns.",
    )


def test_the_new_workbook_carries_the_meaning_of_each_column_and_key(tmp_path):
    book = openpyxl.load_workbook(new_folder(tmp_path / "mine", workbook=True) / "bench.xlsx")
    for name, table in TABLES.items():
        notes = [cell.comment.text for cell in book[name][1]]
        assert notes == [f"{column.note}. Example: {column.example}" for column in table.columns]
    said = {row[2].value: row[4].value for row in book["bench"].iter_rows(min_row=2)}
    assert said["reading_percent"] == "copy it from the accuracy line of the meter's manual; 0 to 50 %"
