"""Where a report comes from. Oracle: published SHA-256 values (FIPS 180-4), and changes made on purpose."""

import json
from types import SimpleNamespace

import pytest

from photolab.publication.report.provenance import (
    SEED,
    MissingPart,
    file_hash,
    record,
    report_state,
    to_json,
)

ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
EMPTY = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_file_hash(tmp_path):
    """Oracle: "abc" and the empty message, SHA-256 examples published with FIPS 180-4."""
    (tmp_path / "abc").write_bytes(b"abc")
    (tmp_path / "empty").write_bytes(b"")
    assert file_hash(tmp_path / "abc") == ABC
    assert file_hash(tmp_path / "empty") == EMPTY


@pytest.fixture
def report(tmp_path):
    bench, out = tmp_path / "bench", tmp_path / "out"
    bench.mkdir()
    out.mkdir()
    (bench / "readings.csv").write_bytes(b"abc")
    (out / "appendix.html").write_bytes(b"")
    notebook = tmp_path / "n.ipynb"
    notebook.write_bytes(b"abc")
    named = SimpleNamespace(name="b", protocol_revision="2")
    read = SimpleNamespace(settings=named, hashes={"readings.csv": ABC})
    content = record(read, {notebook: {"lamp": "'K1'"}}, {"appendix.html": b""})
    (out / "provenance.json").write_text(to_json(content), encoding="utf-8")
    return bench, out, content


def test_hidden_files_folders_and_a_plan_are_no_new_input(report):
    """Oracle: the files made here."""
    bench, out, _ = report
    for name in (".readings.csv", "notes.txt", "plan.csv"):
        (bench / name).write_bytes(b"abc")
    (bench / "days.csv").mkdir()
    assert report_state(out, bench).problems == ()
    (bench / "lamps.csv").write_bytes(b"abc")
    (bench / "beam.csv").write_bytes(b"abc")
    new = ("beam.csv is new since the report was made", "lamps.csv is new since the report was made")
    assert report_state(out, bench).problems == new


def test_record_is_plain_and_the_same_twice(report, tmp_path):
    """Oracle: the values given; JSON read back; no folder's name in it."""
    _, out, content = report
    text = (out / "provenance.json").read_text(encoding="utf-8")
    assert json.loads(text) == content
    assert to_json(json.loads(text)) == text
    assert content["inputs"] == {"readings.csv": ABC}
    assert content["outputs"] == {"appendix.html": EMPTY}
    assert content["notebooks"] == {"n.ipynb": ABC}
    assert content["settings"] == {"n.ipynb": {"lamp": "'K1'"}}
    assert content["seeds"] == {"monte_carlo": SEED}
    assert content["protocol_revision"] == "2"
    assert content["complete"] is True
    assert (content["schema"], content["format"]) == (
        1,
        2,
    )  # of the record, and of the columns of results.csv
    assert content["missing"] == []
    assert {"numpy", "pandas", "scipy"} <= set(content["packages"])
    assert str(tmp_path) not in text


def test_untouched_report_is_complete(report):
    """Oracle: nothing was changed."""
    bench, out, _ = report
    state = report_state(out, bench)
    assert state.complete
    assert state.problems == ()


def test_a_file_that_is_never_read_makes_no_difference(report):
    """Oracle: a note of the user's own in the bench folder."""
    bench, out, _ = report
    (bench / "my-notes.txt").write_bytes(b"x")
    assert report_state(out, bench).complete


def test_a_record_without_the_word_is_of_a_complete_report(report):
    """Oracle: reports were written whole or not at all before the record said so."""
    bench, out, content = report
    del content["complete"], content["missing"]
    (out / "provenance.json").write_text(to_json(content), encoding="utf-8")
    assert report_state(out, bench).complete


def test_what_is_missing_is_named(report):
    """Oracle: the words of each kind of part; only the record's own are in `missing`."""
    bench, out, content = report
    parts = [MissingPart("Is it so?", "n.ipynb", 3), MissingPart("Is it?", "m.ipynb"), MissingPart("a.pdf")]
    named = SimpleNamespace(name="b", protocol_revision="2")
    read = SimpleNamespace(settings=named, hashes=content["inputs"])
    content |= record(read, {}, {"appendix.html": b""}, parts)
    (out / "provenance.json").write_text(to_json(content), encoding="utf-8")
    (bench / "readings.csv").write_bytes(b"abd")
    state = report_state(out, bench)
    assert state.missing == (
        '"Is it so?" is missing: n.ipynb stopped at cell 3 from the top.',
        '"Is it?" is missing: m.ipynb could not be made.',
        '"a.pdf" is missing: it could not be made.',
    )
    assert state.problems == (*state.missing, "readings.csv changed since the report was made")


def change_output(bench, out):
    (out / "appendix.html").write_bytes(b"x")


def remove_output(bench, out):
    (out / "appendix.html").unlink()


def change_input(bench, out):
    (bench / "readings.csv").write_bytes(b"abd")


def add_input(bench, out):
    (bench / "beam.csv").write_bytes(b"x")


def remove_record(bench, out):
    (out / "provenance.json").unlink()


def break_record(bench, out):
    (out / "provenance.json").write_text("{", encoding="utf-8")


def incomplete_record(bench, out):
    content = json.loads((out / "provenance.json").read_text(encoding="utf-8"))
    (out / "provenance.json").write_text(json.dumps(content | {"complete": False}), encoding="utf-8")


def strange_record(bench, out):
    content = json.loads((out / "provenance.json").read_text(encoding="utf-8"))
    (out / "provenance.json").write_text(json.dumps(content | {"missing": [1]}), encoding="utf-8")


def empty_record(bench, out):
    (out / "provenance.json").write_text('{"inputs": {}, "outputs": {}}', encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        (change_output, "appendix.html changed since the report was made"),
        (remove_output, "appendix.html is missing"),
        (change_input, "readings.csv changed since the report was made"),
        (add_input, "beam.csv is new since the report was made"),
        (remove_record, "provenance.json is missing"),
        (break_record, "provenance.json cannot be read"),
        (incomplete_record, "a part is missing"),
        (strange_record, "provenance.json cannot be read"),
        (empty_record, "provenance.json names no file of the report"),
    ],
)
def test_each_difference_is_named(report, change, problem):
    """Oracle: one change made on purpose."""
    bench, out, _ = report
    change(bench, out)
    state = report_state(out, bench)
    assert not state.complete
    assert problem in state.problems


def test_a_path_in_the_record_is_not_followed(report):
    """Oracle: a name that leaves the folder."""
    _, out, content = report
    content["outputs"] = {"../n.ipynb": ABC}
    (out / "provenance.json").write_text(to_json(content), encoding="utf-8")
    assert report_state(out).problems == ("../n.ipynb is missing",)
