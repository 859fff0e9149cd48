"""Writing a bench and reading it back; the folder for a beginner. Oracle: what was read is read again."""

import re
from dataclasses import replace

import bench_folders as bf
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from test_records_toml import EVERYTHING, ROWS

from photolab.bench.folder.records import RecordError, new_folder, read_bench, write_bench

UNITS = {
    "readings_csv": "lamp,illuminance_fc,range_fc,ambient_F,elapsed_minutes,exclude,note,mine\n"
    'A1,30,,68,1,,"a ""b"", c\nd",x\nA2,29,400,50,1.5,yes,door,\nA2,31,400,50,1.5,,,=1+1\n',
    "distance_csv": "run,lamp,housing,distance_ft,illuminance_lx\nR1,A1,HP,10,30\nR1,A1,HP,20,8\n",
    "beam_csv": "run,lamp,housing,x_in,y_in,illuminance_lx\nG1,A1,HP,1,2,3\nG1,A1,HP,2,2,3\n",
    "thermal_csv": "lamp,elapsed_minutes,displayed_F,method,set_emissivity\nA1,40,140,tape,0.95\n",
    "bench_toml": bf.TOML.replace("[400, 4000, 40000]", "[430.6, 4306, 43060]") + '[[housing]]\nid = "HP"\n',
}
COVERS = {
    "warm_up_csv": "run,lamp,elapsed_s,illuminance_lx,cover,fan_direction\n"
    "W1,A1,30,318,closed,down\nW1,A1,60,317,closed,down\n",
    "electrical_csv": "lamp,elapsed_s,power_W,per,cover,fan_direction\nA1,60,25,lamp,open,\n"
    "A2,60,24,lamp,,left\n",
}
FOLDERS = {
    "smallest": {"lamps_csv": None},
    "covers": COVERS,
    "everything": {"bench_toml": EVERYTHING, "readings_csv": ROWS},
    "units": UNITS,
    "logger": {
        "bench_toml": bf.TOML + bf.DECLARED,
        "evening_txt": bf.LOGGER,
        "warm_up_csv": bf.WARM + "W0,A2,30,300\n",
    },
    "spectra": {"spectra_csv": bf.SPECTRA + "S1,source,A1,,one.csv\n", "one_csv": bf.SPECTRUM},
    "comma": {
        "bench_toml": bf.TOML.replace("schema = 1\n", 'schema = 1\n[csv]\nseparator = ";"\ndecimal = ","\n'),
        "readings_csv": "lamp;illuminance_lx\nA1;318,5\nA2;334\n",
        "lamps_csv": bf.LAMPS.replace(",", ";"),
    },
}


def assert_same(again, bench):
    """Check that two benches agree in all but row numbers, loggers' files and hashes."""
    assert again.settings == bench.settings
    assert bf.plain(again.meters) == bf.plain(bench.meters)
    assert bf.plain(again.housings) == bf.plain(bench.housings)
    assert list(again.tables) == list(bench.tables)
    for name, table in {**bench.tables, "excluded": bench.excluded}.items():
        other = again.excluded if name == "excluded" else again.tables[name]
        left = other.drop(columns=["line", "log_file"], errors="ignore")
        right = table.drop(columns=["line", "log_file"], errors="ignore")
        assert_frame_equal(left, right, check_exact=True)
    assert set(again.spectra) == set(bench.spectra)
    for name, spectrum in bench.spectra.items():
        assert list(again.spectra[name].wavelength_nm) == list(spectrum.wavelength_nm)
        assert list(again.spectra[name].value) == list(spectrum.value)
        assert (again.spectra[name].kind, again.spectra[name].lamp) == (spectrum.kind, spectrum.lamp)
    assert again.assumed == bench.assumed
    assert again.questions == bench.questions


@pytest.mark.parametrize("name", list(FOLDERS))
def test_a_written_bench_reads_back_the_same(tmp_path, name):
    bench = read_bench(bf.make(tmp_path / "b", **FOLDERS[name]))
    assert write_bench(bench, tmp_path / "copy") == tmp_path / "copy"
    assert_same(read_bench(tmp_path / "copy"), bench)


def test_the_demo_bench_written_reads_back_the_same(tmp_path):
    bench = read_bench(bf.DATA / "demo")
    write_bench(bench, tmp_path / "copy")
    assert_same(read_bench(tmp_path / "copy"), bench)


def test_covers_and_fans_are_read_where_a_lamp_is_held(tmp_path):
    bench = read_bench(bf.make(tmp_path / "b", **COVERS))
    tables = bench.tables
    assert not [warning for warning in bench.warnings if "is not a column" in warning.message]
    assert list(tables["warm_up"]["cover"]) == ["closed", "closed"]
    assert list(tables["warm_up"]["fan_direction"]) == ["down", "down"]
    assert list(tables["electrical"]["cover"]) == ["open", ""]
    assert list(tables["electrical"]["fan_direction"]) == ["", "left"]


def test_values_typed_in_other_units_are_written_as_typed(tmp_path):
    bench = read_bench(bf.make(tmp_path / "b", **UNITS))
    write_bench(bench, tmp_path / "copy")
    assert (
        (tmp_path / "copy" / "distance.csv")
        .read_text(encoding="utf-8")
        .startswith("run,lamp,housing,distance_ft,")
    )


words = st.text(st.characters(blacklist_categories=["Cs"], blacklist_characters="\x00"), max_size=20)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return read_bench(bf.make(tmp_path_factory.mktemp("w") / "b"))


@settings(max_examples=25, deadline=None)
@given(notes=st.lists(words, min_size=2, max_size=2), value=st.floats(1e-6, 4e4))
def test_any_text_and_any_reading_survive(tmp_path_factory, sound, notes, value):
    base = tmp_path_factory.mktemp("w")
    stripped = [note.strip() for note in notes]  # spaces around a cell are not part of it
    readings = sound.tables["readings"].assign(note=stripped, illuminance_lx=value, range_lx=40000.0)
    write_bench(replace(sound, tables={**sound.tables, "readings": readings}), base / "copy")
    again = read_bench(base / "copy").tables["readings"]
    assert list(again["note"]) == stripped
    assert list(again["illuminance_lx"]) == [value, value]


@pytest.mark.parametrize("kind", ["file", "folder", "link"])
def test_nothing_is_written_over(tmp_path, kind):
    bench = read_bench(bf.make(tmp_path / "b"))
    target = tmp_path / "there"
    if kind == "file":
        target.write_text("mine", encoding="utf-8")
    elif kind == "folder":
        target.mkdir()
        (target / "mine").write_text("mine", encoding="utf-8")
    else:
        target.symlink_to(tmp_path / "b")
    before = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*"))
    with pytest.raises(
        RecordError,
        match=re.escape("there: is already there and not an empty folder; name a new one. [fault 3]"),
    ):
        write_bench(bench, target)
    assert sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*")) == before


def test_an_empty_folder_and_new_parents_are_fine(tmp_path):
    bench = read_bench(bf.make(tmp_path / "b"))
    (tmp_path / "empty").mkdir()
    write_bench(bench, tmp_path / "empty")
    write_bench(bench, tmp_path / "x" / "y")
    assert len(read_bench(tmp_path / "empty").tables["readings"]) == 2
    assert len(read_bench(tmp_path / "x" / "y").tables["readings"]) == 2


def test_a_failure_on_the_way_leaves_nothing_behind(tmp_path, monkeypatch):
    bench = read_bench(bf.make(tmp_path / "b"))

    def full(path, data):
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr("pathlib.Path.write_bytes", full)
    with pytest.raises(
        RecordError, match=re.escape("copy: cannot be written: no space left on device. [fault 3]")
    ):
        write_bench(bench, tmp_path / "copy")
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


def test_a_parent_that_is_a_file(tmp_path):
    (tmp_path / "f").write_text("x", encoding="utf-8")
    with pytest.raises(RecordError, match="cannot be written"):
        new_folder(tmp_path / "f" / "b")


def test_new_folder_says_what_to_type(tmp_path):
    folder = new_folder(tmp_path / "mine")
    with pytest.raises(
        RecordError, match="reading_percent has no value; copy it from the accuracy line"
    ) as caught:
        read_bench(folder)
    assert [str(problem).partition(": ")[2] for problem in caught.value.problems] == [
        "reading_percent has no value; copy it from the accuracy line of the meter's manual. [fault 1]",
        "illuminance_lx: blank in both rows; type a value into each. [fault 5]",
        "technology: blank in both rows; type filament, led, discharge or other into each. [fault 5]",
    ]


def test_new_folder_reads_once_accuracy_and_two_readings_are_typed(tmp_path):
    folder = new_folder(tmp_path / "mine")
    toml = (
        (folder / "bench.toml")
        .read_text(encoding="utf-8")
        .replace("reading_percent =\n", "reading_percent = 3\n")
    )
    (folder / "bench.toml").write_text(toml, encoding="utf-8")
    rows = (
        (folder / "readings.csv")
        .read_text(encoding="utf-8")
        .replace("A1,", "A1,318")
        .replace("A2,", "A2,334")
    )
    (folder / "readings.csv").write_text(rows, encoding="utf-8")
    lamps = (
        (folder / "lamps.csv")
        .read_text(encoding="utf-8")
        .replace("A1,,", "A1,led,")
        .replace("A2,,", "A2,led,")
    )
    (folder / "lamps.csv").write_text(lamps, encoding="utf-8")
    bench = read_bench(folder)
    assert list(bench.tables["lamps"]["role"]) == ["baseline", "candidate"]
    assert {"claimed_where", "obtained", "obtained_from"} <= set(lamps.splitlines()[0].split(","))
    assert bench.settings.protocol_revision == "1"
    assert list(bench.tables["readings"]["illuminance_lx"]) == [318.0, 334.0]
    assert bench.meters["M1"].reading_percent == (3.0,)


def test_every_note_of_the_new_folder_is_a_key_that_can_be_used(tmp_path):
    # take the # away from every example: the folder must still read, so none is out of range or misspelt
    folder = new_folder(tmp_path / "mine")
    text = (
        (folder / "bench.toml")
        .read_text(encoding="utf-8")
        .replace("reading_percent =\n", "reading_percent = 3\n")
    )
    used = re.sub(r"(?m)^# (\[links\]|\[\[(?:housing|question)\]\]|[a-z_A-Z]+ = .*    # .*)$", r"\1", text)
    assert used.count("\n#") < text.count("\n#") - 30
    used = re.sub(r"(?m)^digits = .*\n", "", used)  # range_percent or digits, not both
    (folder / "bench.toml").write_text(used, encoding="utf-8")
    (folder / "readings.csv").write_text("lamp,illuminance_lx\nA1,318\nA2,334\n", encoding="utf-8")
    (folder / "lamps.csv").write_text(bf.LAMPS, encoding="utf-8")
    bench = read_bench(folder)
    assert set(bench.housings) == {"H1"}
    assert [question.lamp for question in bench.questions] == ["any"]
    assert not [a for a in bench.assumed if a.name.startswith("meter")]


def test_a_bench_made_by_hand_may_be_written(tmp_path):
    bench = read_bench(bf.make(tmp_path / "b"))
    lamps = bench.tables["lamps"].assign(price=[1.5, float("nan")], price_date=["2025-01-01", ""])
    object.__setattr__(bench, "tables", {**bench.tables, "lamps": lamps})
    write_bench(bench, tmp_path / "copy")
    again = read_bench(tmp_path / "copy").tables["lamps"]
    assert again["price"][0] == 1.5
    assert pd.isna(again["price"][1])
