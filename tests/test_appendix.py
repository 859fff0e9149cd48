"""The report of a bench folder. Oracle: toy notebooks and a small bench made here; bytes before and after."""

import csv
import io
import json
from html.parser import HTMLParser

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from photolab.errors import MethodError, RecordError
from photolab.publication.appendix import check_report, publish
from photolab.publication.notebooks import write_notebook
from photolab.publication.provenance import file_hash

BENCH = """schema = 1

[bench]
name = "A <small> bench"
protocol_revision = "7"

[[meter]]
id = "M1"
reading_percent = 4
range_percent = 0.5
ranges_lx = [400, 4000]
resolution_lx = [0.1, 1]

[[housing]]
id = "H1"
"""
READINGS = """lamp,illuminance_lx,housing,mounting,repeat,range_lx
A<b>,318,H1,1,1,4000
A<b>,320,H1,2,1,4000
=B,434,H1,1,1,4000
=B,437,H1,2,1,4000
"""
LAMPS = """lamp,technology,role
A<b>,led,baseline
=B,led,candidate
"""


def write_bench(folder, *, readings=READINGS, bench=BENCH):
    folder.mkdir(exist_ok=True)
    for name, text in (("bench.toml", bench), ("readings.csv", readings), ("lamps.csv", LAMPS)):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def write_notebooks(folder, *, bad=False):
    folder.mkdir(exist_ok=True)
    tag = {"tags": ["appendix"]}
    lines = "from pathlib import Path\nfrom photolab.publication.display import say\nname = Path(bench).name"
    cells = [
        new_markdown_cell("# Is it <so>?", metadata=tag),
        new_code_cell("bench = None", metadata={"tags": ["parameters"]}),
        new_code_cell(lines),
        new_code_cell("1 / 0" if bad else "say(f'read {name} <i>')", metadata=tag),
    ]
    write_notebook(new_notebook(cells=cells), folder / "03_toy.ipynb")
    write_notebook(new_notebook(cells=[new_code_cell("1 / 0")]), folder / "02_not_published.ipynb")
    return folder


class Text(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.tags, self.text = [], []

    def handle_starttag(self, tag, _attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    place = tmp_path_factory.mktemp("appendix")
    bench, notebooks = write_bench(place / "bench"), write_notebooks(place / "notebooks")
    lines = []
    result = publish(bench, place / "out", notebooks=notebooks, progress=lines.append)
    return place, result, lines


def test_files_in_order_and_only_they(published):
    """Oracle: the five names; the record comes last."""
    place, result, lines = published
    assert [path.name for path in result.files] == [
        "appendix.html",
        "appendix.pdf",
        "results.csv",
        "results.xlsx",
        "provenance.json",
    ]
    assert sorted(path.name for path in (place / "out").iterdir()) == sorted(
        path.name for path in result.files
    )
    assert result.out == place / "out"
    assert result.seconds > 0
    assert [line.split(":")[0] for line in lines] == ["03_toy"]


def test_chosen_cells_stand_in_the_page(published):
    """Oracle: the question and the words typed in the toy notebook; the injected folder was read."""
    place, _, _ = published
    reader = Text()
    reader.feed((place / "out" / "appendix.html").read_text(encoding="utf-8"))
    text = "".join(reader.text)
    for words in ("Is it <so>?", "read bench <i>", "A <small> bench", "Protocol revision 7."):
        assert words in text
    assert text.count("Is it <so>?") == 2  # in the contents and above its part
    assert "i" not in reader.tags
    assert "small" not in reader.tags
    assert "script" not in reader.tags
    assert str(place) not in text


def test_page_one_tells_what_was_found(published):
    """Oracle: the mean of logarithms of 434 and 437 against 318 and 320, 36.5 % more, worked by hand.

    sqrt(434 * 437) / sqrt(318 * 320) = 435.5 / 319.0 = 1.3652.
    """
    place, _, _ = published
    text = (place / "out" / "appendix.html").read_text(encoding="utf-8")
    assert "=B: 37 % more light than A&lt;b&gt;" in text
    for part in ("What was assumed", "What this is not", "Who supplied the samples", "Check it yourself"):
        assert f"<h3>{part}</h3>" in text
    assert "INVENTED" not in text


def test_results_hold_the_ratio(published):
    """Oracle: the same ratio, 1.3652; a text that begins like a formula is disarmed."""
    place, _, _ = published
    rows = list(csv.DictReader(io.StringIO((place / "out" / "results.csv").read_text(encoding="utf-8"))))
    ratios = [row for row in rows if row["measurand"] == "illuminance ratio"]
    assert {row["scope"] for row in ratios} == {"readings", "specimens", "models"}
    for row in ratios:
        assert float(row["value"]) == pytest.approx(1.3652, abs=5e-5)  # half a unit of the last printed digit
        assert row["lamp"] == "'=B"
        assert row["protocol_revision"] == "7"


def test_record_names_inputs_notebooks_and_outputs(published):
    """Oracle: SHA-256 of the files as they are."""
    place, _, _ = published
    record = json.loads((place / "out" / "provenance.json").read_text(encoding="utf-8"))
    assert record["inputs"] == {p.name: file_hash(p) for p in (place / "bench").iterdir()}
    assert record["notebooks"] == {"03_toy.ipynb": file_hash(place / "notebooks" / "03_toy.ipynb")}
    assert record["outputs"] == {
        n: file_hash(place / "out" / n)
        for n in ("appendix.html", "appendix.pdf", "results.csv", "results.xlsx")
    }
    assert record["protocol_revision"] == "7"


def test_second_run_gives_the_same_bytes(published, tmp_path):
    """Oracle: the bytes of the first run."""
    place, result, _ = published
    again = publish(
        place / "bench", tmp_path / "out", notebooks=place / "notebooks", jobs=1, progress=print_nothing
    )
    assert [path.read_bytes() for path in again.files] == [path.read_bytes() for path in result.files]


def print_nothing(line):
    """Take a line of progress and drop it."""


def test_report_matches_its_record_until_something_changes(published, tmp_path):
    """Oracle: the report as written, then one byte more in the bench."""
    place, _, _ = published
    assert check_report(place / "out", place / "bench").complete
    other = write_bench(tmp_path / "bench", readings=READINGS + "=B,436,H1,3,1,4000\n")
    state = check_report(place / "out", other)
    assert state.problems == ("readings.csv changed since the report was made",)


# ---- refusals leave the previous report


@pytest.fixture
def previous(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for name in (
        "appendix.html",
        "appendix.pdf",
        "results.csv",
        "results.xlsx",
        "provenance.json",
        "my-notes.txt",
    ):
        (out / name).write_text(f"previous {name}", encoding="utf-8")
    return out


def unchanged(out):
    files = {path.name: path.read_text(encoding="utf-8") for path in out.iterdir()}
    return files == {name: f"previous {name}" for name in files} and len(files) == 6


def test_stopped_notebook_leaves_the_previous_report(previous, tmp_path):
    """Oracle: the bytes of the previous report."""
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks", bad=True)
    with pytest.raises(MethodError, match=r"03_toy\.ipynb: cell 5 stopped: ZeroDivisionError"):
        publish(bench, previous, notebooks=notebooks, progress=print_nothing)
    assert unchanged(previous)


def test_faulty_bench_leaves_the_previous_report(previous, tmp_path):
    """Oracle: the bytes of the previous report."""
    bench = write_bench(tmp_path / "bench", readings=READINGS.replace("318", "OL"))
    with pytest.raises(RecordError, match=r"readings.csv:2: illuminance_lx: .*\[fault 16\]"):
        publish(bench, previous, notebooks=write_notebooks(tmp_path / "notebooks"))
    assert unchanged(previous)


def test_protocol_revision_is_needed(previous, tmp_path):
    """Oracle: a bench without one."""
    bench = write_bench(tmp_path / "bench", bench=BENCH.replace('protocol_revision = "7"\n', ""))
    with pytest.raises(MethodError, match="publishing needs the protocol revision"):
        publish(bench, previous, notebooks=write_notebooks(tmp_path / "notebooks"))
    assert unchanged(previous)


def test_other_files_beside_a_report_stay(previous, tmp_path):
    """Oracle: a note of the user's own beside the report."""
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, previous, notebooks=notebooks, progress=print_nothing)
    assert (previous / "my-notes.txt").read_text(encoding="utf-8") == "previous my-notes.txt"
    assert not list(previous.glob(".*"))
    assert check_report(previous).complete


@pytest.mark.parametrize("which", ["bench", "notebooks"])
def test_report_has_a_folder_of_its_own(which, tmp_path):
    """Oracle: the bench folder and the notebooks' folder as the place of the report."""
    write_bench(tmp_path / "bench")
    write_notebooks(tmp_path / "notebooks")
    with pytest.raises(ValueError, match=f"out must be a folder of its own; got '{which}'"):
        publish(tmp_path / "bench", tmp_path / which, notebooks=tmp_path / "notebooks")
    assert not (tmp_path / which / "appendix.html").exists()


def test_interrupted_placing_is_seen(tmp_path):
    """Oracle: a run that ends after the first file is in its place; the record still names the old page."""
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    (tmp_path / "out" / "appendix.html").write_text("a newer page", encoding="utf-8")
    state = check_report(tmp_path / "out")
    assert not state.complete
    assert state.problems == ("appendix.html changed since the report was made",)


def test_failed_placing_leaves_no_parts_and_is_seen(tmp_path):
    """Oracle: a folder stands where results.csv should go, so the third of five files cannot be placed."""
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    (tmp_path / "out" / "results.csv").unlink()
    (tmp_path / "out" / "results.csv").mkdir()
    with pytest.raises(OSError, match=r"results\.csv"):
        publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    assert not list((tmp_path / "out").glob(".*"))
    assert check_report(tmp_path / "out").problems == ("results.csv is missing",)
