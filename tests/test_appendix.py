"""The report of a bench folder. Oracle: toy notebooks and a small bench made here; bytes before and after."""

import csv
import io
import json
import shutil
from html.parser import HTMLParser

import nbformat
import pypdf
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from photolab.cli import main
from photolab.errors import MethodError, RecordError
from photolab.publication.report import appendix
from photolab.publication.report.appendix import publish
from photolab.publication.report.notebooks import write_notebook
from photolab.publication.report.provenance import file_hash, report_state
from photolab.publication.report.readiness import report as readiness_report

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


NAMES = [
    "appendix.html",
    "appendix.pdf",
    "in-words.md",
    "results.csv",
    "results.xlsx",
    "recompute.xlsx",
    "provenance.json",
]
SHOWN = ["light-at-first", "light-at-first-01-h1-1920x1080", "all-lamps-at-first", "budget-01-b"]
FIGURES = [f"figures/{name}.{kind}" for name in SHOWN for kind in ("png", "svg")]


def write_bench(folder, *, readings=READINGS, bench=BENCH):
    folder.mkdir(exist_ok=True)
    for name, text in (("bench.toml", bench), ("readings.csv", readings), ("lamps.csv", LAMPS)):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def write_notebooks(folder, *, bad=False):
    folder.mkdir(exist_ok=True)
    tag = {"tags": ["appendix"]}
    lines = "from pathlib import Path\nfrom photolab.publication.words import say\nname = Path(bench).name"
    for name, question, last in (
        ("03_toy", "Is it <so>?", "say(f'read {name} <i>')"),
        *([("04_bad", "Does it <stop>?", "1 / 0")] if bad else []),
    ):
        cells = [
            new_markdown_cell(f"# {question}", metadata=tag),
            new_code_cell("bench = None", metadata={"tags": ["parameters"]}),
            new_code_cell(lines),
            new_code_cell(last, metadata=tag),
            new_code_cell("2"),
        ]
        write_notebook(new_notebook(cells=cells), folder / f"{name}.ipynb")
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
    """Oracle: the names; the record comes last."""
    place, result, lines = published
    named = [path.relative_to(result.out).as_posix() for path in result.files]
    assert named == [*NAMES[:-1], *FIGURES, NAMES[-1]]
    assert sorted(contents(place / "out")) == sorted(named)
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
    assert text.count("Is it <so>?") == 1  # few parts need no contents
    assert reader.tags.count("h2") == 3  # what was found, lamp by lamp, the notebook
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
    assert ">+37\N{NO-BREAK SPACE}%</data>" in text
    assert "against A&lt;b&gt;: " in text
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
    assert record["outputs"] == {n: file_hash(place / "out" / n) for n in (*NAMES[:-1], *FIGURES)}
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
    assert report_state(place / "out", place / "bench").complete
    other = write_bench(tmp_path / "bench", readings=READINGS + "=B,436,H1,3,1,4000\n")
    state = report_state(place / "out", other)
    assert state.problems == ("readings.csv changed since the report was made",)


# ---- refusals leave the previous report


@pytest.fixture
def previous(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for name in (*NAMES, "my-notes.txt"):
        (out / name).write_text(f"previous {name}", encoding="utf-8")
    return out


def unchanged(out):
    files = {path.name: path.read_text(encoding="utf-8") for path in out.iterdir()}
    return files == {name: f"previous {name}" for name in files} and len(files) == len(NAMES) + 1


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


def test_other_files_beside_a_report_stay(previous, tmp_path, monkeypatch):
    """Oracle: a note of the user's own beside the report."""
    run_without_kernels(monkeypatch)
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, previous, notebooks=notebooks, progress=print_nothing)
    assert (previous / "my-notes.txt").read_text(encoding="utf-8") == "previous my-notes.txt"
    assert not list(previous.glob(".*"))
    assert report_state(previous).complete


@pytest.mark.parametrize("which", ["bench", "notebooks"])
def test_report_has_a_folder_of_its_own(which, tmp_path):
    """Oracle: the bench folder and the notebooks' folder as the place of the report."""
    write_bench(tmp_path / "bench")
    write_notebooks(tmp_path / "notebooks")
    with pytest.raises(ValueError, match=f"out must be a folder of its own; got '{which}'"):
        publish(tmp_path / "bench", tmp_path / which, notebooks=tmp_path / "notebooks")
    assert not (tmp_path / which / "appendix.html").exists()


def test_interrupted_placing_is_seen(tmp_path, monkeypatch):
    """Oracle: a run that ends after the first file is in its place; the record still names the old page."""
    run_without_kernels(monkeypatch)
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    (tmp_path / "out" / "appendix.html").write_text("a newer page", encoding="utf-8")
    state = report_state(tmp_path / "out")
    assert not state.complete
    assert state.problems == ("appendix.html changed since the report was made",)


def test_failed_placing_leaves_no_parts_and_is_seen(tmp_path, monkeypatch):
    """Oracle: a folder stands where results.csv should go, so the third of five files cannot be placed."""
    run_without_kernels(monkeypatch)
    bench, notebooks = write_bench(tmp_path / "bench"), write_notebooks(tmp_path / "notebooks")
    publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    (tmp_path / "out" / "results.csv").unlink()
    (tmp_path / "out" / "results.csv").mkdir()
    with pytest.raises(OSError, match=r"results\.csv"):
        publish(bench, tmp_path / "out", notebooks=notebooks, progress=print_nothing)
    assert not list((tmp_path / "out").glob(".*"))
    assert report_state(tmp_path / "out").problems == ("results.csv is missing",)


# ---- a part that fails does not cost the report

SENTENCE = '"Does it <stop>?" is missing: 04_bad.ipynb stopped at cell 4 from the top.'


def contents(folder):
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def run_without_kernels(monkeypatch, **stopped):
    """Let the notebooks be run by nobody; those named stop at a cell."""

    def run(sources, **options):
        return tuple(
            MethodError("", known={"cell": stopped[path.stem], "reason": "why"})
            if path.stem in stopped
            else nbformat.read(path, as_version=4)
            for path in sources
        )

    monkeypatch.setattr(appendix.runner, "run", run)


@pytest.fixture(scope="module")
def partly(tmp_path_factory):
    """Publish for a person, on the command line, with one notebook that stops; what stood there is no report."""
    place = tmp_path_factory.mktemp("partly")
    bench, notebooks = write_bench(place / "bench"), write_notebooks(place / "notebooks", bad=True)
    out = place / "out"
    out.mkdir()
    listed = ["old.csv", "../outside.csv", "appendix.html", "folder", "", "figures/old.png", "figures/../a/b"]
    outputs = dict.fromkeys(listed, "0" * 64)
    old = {"inputs": {}, "outputs": outputs}
    (out / "provenance.json").write_text(json.dumps(old), encoding="utf-8")
    (out / "folder").mkdir()
    (out / "figures").mkdir()
    (out / "figures" / "old.png").touch()
    for name in ("old.csv", "../outside.csv", "my-notes.txt"):
        (out / name).write_text("mine", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch, io.StringIO() as said, io.StringIO() as printed:
        patch.setattr(appendix.runner, "notebooks_folder", lambda given=None: notebooks)
        patch.setattr("sys.stderr", said)
        patch.setattr("sys.stdout", printed)
        status = main(["appendix", str(bench), "--out", str(out)])
        return place, status, said.getvalue(), printed.getvalue()


def test_the_rest_is_written_and_names_what_is_missing(partly):
    """Oracle: the fourth of five cells of the second notebook divides by zero."""
    place, status, said, printed = partly
    out = place / "out"
    assert status == 1
    assert f"{SENTENCE} ZeroDivisionError: division by zero" in said.splitlines()
    assert printed == f"{out}: {', '.join([*NAMES[:-1], 'figures', NAMES[-1]])}\n"
    record = json.loads((out / "provenance.json").read_text(encoding="utf-8"))
    assert record["complete"] is False
    assert record["missing"] == [{"part": "Does it <stop>?", "notebook": "04_bad.ipynb", "cell": 4}]
    reader = Text()
    reader.feed((out / "appendix.html").read_text(encoding="utf-8"))
    text = "".join(reader.text)
    assert text.index("INCOMPLETE") < text.index(SENTENCE) < text.index("What was found")
    assert "read bench <i>" in text
    assert "Does it <stop>?" not in text.replace(SENTENCE, "")
    first = " ".join(pypdf.PdfReader(out / "appendix.pdf").pages[0].extract_text().split())
    assert f"INCOMPLETE: parts of this report could not be made. • {SENTENCE}" in first
    assert (out / "results.csv").read_text(encoding="utf-8").startswith("lamp,housing")


def test_only_what_the_old_record_lists_is_removed(partly):
    """Oracle: a listed file, one outside, a listed folder, and a note that no record lists."""
    place, *_ = partly
    assert not (place / "out" / "old.csv").exists()
    assert not (place / "out" / "figures" / "old.png").exists()
    assert (place / "out" / "my-notes.txt").read_text(encoding="utf-8") == "mine"
    assert (place / "out" / "folder").is_dir()
    assert (place / "outside.csv").read_text(encoding="utf-8") == "mine"
    assert not list((place / "out").glob(".*"))


def test_check_calls_it_incomplete(partly):
    """Oracle: the sentence of the record."""
    place, *_ = partly
    assert report_state(place / "out", place / "bench").problems == (SENTENCE,)
    lines = readiness_report(place / "bench", published=place / "out")
    at = next(n for n, line in enumerate(lines) if "incomplete" in line)
    assert lines[at].startswith(f"Report {(place / 'out').as_posix()}: incomplete; write it anew")
    assert lines[at + 1] == f"  {SENTENCE}"


def test_a_complete_report_stays_until_it_is_replaced_by_one(published, partly, tmp_path, monkeypatch):
    """Oracle: the bytes of the complete report; a note beside the partial one."""
    bench = published[0] / "bench"
    out, beside = tmp_path / "out", tmp_path / "out.partial"
    shutil.copytree(published[0] / "out", out)
    before = contents(out)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    beside.symlink_to(elsewhere)
    run_without_kernels(monkeypatch, **{"04_bad": 4})
    result = publish(bench, out, notebooks=partly[0] / "notebooks")
    assert result.out == beside
    assert result.missing == (f"{SENTENCE} why",)
    assert contents(out) == before
    assert not list(elsewhere.iterdir())
    assert report_state(beside).problems == (SENTENCE,)
    lines = readiness_report(bench, published=out)
    assert f"{out.as_posix()} is complete and matches these files." in lines
    assert f"  {SENTENCE}" in lines

    (beside / "my-notes.txt").write_text("mine", encoding="utf-8")
    publish(bench, out, notebooks=published[0] / "notebooks")
    assert report_state(out).complete
    assert [path.name for path in beside.iterdir()] == ["my-notes.txt"]


def test_an_incomplete_report_is_replaced(published, partly, tmp_path, monkeypatch):
    """Oracle: a report of which a file is gone; another partial one takes its place."""
    out = tmp_path / "out"
    shutil.copytree(published[0] / "out", out)
    (out / "results.csv").unlink()
    run_without_kernels(monkeypatch, **{"04_bad": 4})
    assert publish(published[0] / "bench", out, notebooks=partly[0] / "notebooks").out == out
    assert report_state(out).problems == (SENTENCE,)


def test_a_part_that_cannot_be_set_costs_no_other(published, tmp_path, monkeypatch):
    """Oracle: a picture without words in a notebook, a page that cannot be set on paper, a table that breaks."""

    def refuse(*_, **__):
        message = "no paper"
        raise MethodError(message)

    notebooks = write_notebooks(tmp_path / "notebooks")
    notebook = nbformat.read(notebooks / "03_toy.ipynb", as_version=4)
    notebook.cells[3].outputs = [new_output("display_data", data={"image/png": "AAAA"})]
    monkeypatch.setattr(appendix.runner, "run", lambda *_, **__: (notebook,))
    monkeypatch.setattr(appendix, "paper", refuse)
    monkeypatch.setattr(appendix, "front_page", lambda *_, **__: () + [])
    out = tmp_path / "out"
    shutil.copytree(published[0] / "out", out)
    (out / "results.csv").unlink()  # incomplete, so that it is replaced
    result = publish(published[0] / "bench", out, notebooks=notebooks)
    assert result.missing == (
        '"Is it <so>?" is missing: 03_toy.ipynb could not be made. '
        "ValueError: alt must say what the figure shows; got nothing",
        '"What was found" is missing: it could not be made. '
        'TypeError: can only concatenate tuple (not "list") to tuple',
        '"appendix.pdf" is missing: it could not be made. no paper',
    )
    assert sorted(contents(out)) == sorted({*NAMES, *FIGURES} - {"appendix.pdf"})
    text = (out / "appendix.html").read_text(encoding="utf-8")
    assert "&quot;appendix.pdf&quot; is missing" in text


@pytest.mark.parametrize("name", ["bench", "notebooks"])
def test_a_partial_report_goes_to_no_folder_of_the_input(name, tmp_path):
    """Oracle: the bench folder and the notebooks' folder where a partial report would go."""
    bench = write_bench(tmp_path / ("out.partial" if name == "bench" else "bench"))
    notebooks = write_notebooks(tmp_path / ("out.partial" if name == "notebooks" else "notebooks"))
    with pytest.raises(ValueError, match="out must be a folder of its own; got 'out'"):
        publish(bench, tmp_path / "out", notebooks=notebooks)
