"""Benches of many shapes through every notebook and onto the page, in one interpreter, without drawing.

Oracles: the ratios from which a bench was drawn (`benches.make`); the lamps of its files; other readers of each file of
the report.
"""

import csv
import functools
import html
import io
import math
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from benches import make
from in_process import run_cells
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image
from pypdf import PdfReader
from scipy import stats
from shared_demo import bench_of, campaign_of, share

from photolab.bench.results import heat
from photolab.bench.results.campaign import Campaign
from photolab.publication.report import appendix, held_back
from photolab.publication.report.page import Section, notebook_blocks

HERE = Path(__file__).parent
SHAPES = make.shapes()
AS_KEPT = sorted(one.name for one in (HERE / "benches").iterdir() if (one / "bench.toml").is_file())
NAMES = [*AS_KEPT, *SHAPES]
LONGEST = 95
"""No line of a figure is longer. [1]"""
ON_PAPER = {"hostile-names", "two-clear", "feet-and-commas"}


@dataclass(frozen=True)
class Written:
    """A bench as it would be published."""

    campaign: Campaign
    said: dict[str, str]
    files: dict[str, bytes]

    @property
    def page(self) -> str:
        return self.files["appendix.html"].decode("utf-8")

    @property
    def rows(self) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.files["results.csv"].decode("utf-8"))))


@pytest.fixture(scope="module")
def folder_of(tmp_path_factory):
    """Return the folder of a bench by its name."""
    place = tmp_path_factory.mktemp("benches")

    def folder(name: str) -> Path:
        if name in AS_KEPT:
            return HERE / "benches" / name
        return place / name if (place / name).is_dir() else make.write(SHAPES[name], place / name)

    return folder


@pytest.fixture(scope="module")
def written(folder_of):
    """Return a bench as it would be published, each made once; notebooks evaluate and fit each thing once."""

    @functools.cache
    def write(name: str) -> Written:
        with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
            warnings.simplefilter("error")
            patch.setattr(Figure, "savefig", _without_drawing)
            share(patch)
            patch.setattr(heat, "fit_warm_up", _once(heat.fit_warm_up))
            if name not in ON_PAPER:
                patch.setattr(appendix, "paper", lambda page, **_: page.encode())
            folder = folder_of(name)
            campaign = campaign_of(bench_of(folder))
            notebooks = sorted((HERE.parent / "notebooks").glob("*.ipynb"))
            every = {path.stem: run_cells(path, {"bench": str(folder)}) for path in notebooks}
            ran = {stem: one for stem, one in every.items() if one is not None}
            sections = [
                Section(question, blocks, f"Working: notebook {stem}.")
                for stem, one in ran.items()
                if any("appendix" in cell.metadata.get("tags", []) for cell in one.cells)
                if stem[:2] not in held_back.left_out(campaign)
                if (question := appendix._take_question(one))
                and (blocks := notebook_blocks(one, folded=held_back.folded(campaign)))
            ]
            failed: list[Any] = []
            files = appendix._contents(campaign, sections, failed)
            assert failed == []
            return Written(campaign, {s: _said(one) for s, one in ran.items()}, files)

    return write


def _once(made):
    """Return a function that is called once for the same arguments."""
    kept: dict[Any, Any] = {}

    def by(value: Any) -> Any:
        if hasattr(value, "to_numpy"):
            return value.to_numpy().tobytes()
        if isinstance(value, list | tuple):
            return tuple(map(by, value))
        return value if isinstance(value, int | float | str | None) else id(value)

    def call(*given: Any, **named: Any) -> Any:
        key = (by(given), tuple((name, by(value)) for name, value in named.items()))
        if key not in kept:
            # the arguments are kept, so that no other gets their identity
            kept[key] = (made(*given, **named), given, named)
        return kept[key][0]

    return call


def _without_drawing(figure: Figure, stream: Any, *, dpi: float = 110.0, **_: Any) -> None:
    """Take the place of drawing, with an empty picture of the same size.

    No name in a figure may be read as an equation, or leave no room for the figure.
    """
    for text in figure.findobj(Text):
        assert not text.get_parse_math() or "$" not in text.get_text(), text.get_text()
        assert max(map(len, text.get_text().split("\n"))) <= LONGEST, text.get_text()
    rows: dict[Any, set[Any]] = {}
    for axes in figure.axes:
        assert axes.has_data() or axes.texts or axes.patches, "a panel without anything in it"
        place = axes.get_subplotspec()
        if place is not None:
            rows.setdefault((place.rowspan.start, axes.get_xlabel()), set()).add(axes.get_xlim())
    assert all(len(limits) == 1 for limits in rows.values()), "panels side by side have one scale"
    width, height = (round(float(x) * dpi) for x in figure.get_size_inches())
    Image.new("1", (width, height)).save(stream, format="png")


def _said(notebook: Any) -> str:
    """Return every text that the cells of a notebook show."""
    outputs = (one for cell in notebook.cells if cell.cell_type == "code" for one in cell.outputs)
    return "\n".join(one.data["text/plain"] for one in outputs)


@pytest.mark.parametrize("name", NAMES)
def test_a_bench_of_this_shape_publishes(written, name):
    """Oracle: every cell ran, nothing was warned of, and other readers read each file."""
    made = written(name)
    plain = {name for name in made.files if not re.fullmatch(r"figures/[a-z0-9-]+\.(png|svg)", name)}
    assert plain == {
        "appendix.html",
        "appendix.pdf",
        "in-words.md",
        "recompute.xlsx",
        "results.csv",
        "results.xlsx",
    }
    book = openpyxl.load_workbook(io.BytesIO(made.files["results.xlsx"]))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not [cell.value for cell in cells if cell.data_type == "f"]
    for row in made.rows:
        assert None not in row, row
        low, value, high = (float(row[key] or "nan") for key in ("low", "value", "high"))
        assert not low > value, row
        assert not value > high, row


@pytest.mark.parametrize("name", NAMES)
def test_no_trace_of_the_machinery_stands_on_a_page(written, name):
    """Oracle: words that no sentence of the report has; a lamp may be called so."""
    made = written(name)
    text = _visible(made.page)
    for lamp in {"nan", "NA"} & {*made.campaign.bench.tables["readings"]["lamp"]}:
        text = re.sub(rf"(?<!\w){lamp}(?!\w)", "a lamp", text)
    trace = r"(?<![\w.])(?:nan|NaN|None(?! of)|inf(?! where)|Traceback|dtype|0x[0-9a-f]{6,})(?![\w.])"
    assert not re.findall(trace, text)


@pytest.mark.parametrize("name", NAMES)
def test_every_lamp_has_a_result_or_is_named_as_held_back(written, name):
    """Oracle: the lamps of the files."""
    made = written(name)
    bench = made.campaign.bench
    lamps = {*bench.tables["readings"]["lamp"], *bench.tables["lamps"]["lamp"]}
    held = made.said["14_methods_appendix"] + made.said["11_all_lamps"]
    rows = {row[key].removeprefix("'") for row in made.rows for key in ("lamp", "baseline")}
    assert not {lamp for lamp in lamps if lamp not in rows and lamp not in held}


def test_the_ratios_a_bench_was_drawn_from_lie_in_its_intervals(written):
    """Oracle: the generating ratios. Draws are fixed; misses at most as many as chance allows once in a thousand."""
    missed, chances = [], []
    for name, shape in SHAPES.items():
        rows = {(r["lamp"].removeprefix("'"), r["housing"]): r for r in written(name).rows if _first(r)}
        for (lamp, housing), ratio in shape.truths.items():
            row = rows.get((lamp, housing))
            if row is None or not row["low"]:
                continue
            low, high = float(row["low"]), float(row["high"])
            chances.append(1.0 - float(row["coverage"]))
            if not low <= ratio <= high:
                missed.append((name, lamp, ratio, low, high))
            half = math.log(high / low) / 2.0
            assert abs(math.log(ratio) - math.log(low * high) / 2.0) < 2.0 * half, (
                name,
                lamp,
                ratio,
                low,
                high,
            )
    assert len(chances) > 60
    assert len(missed) <= stats.binom.ppf(0.999, len(chances), sum(chances) / len(chances)), missed


def _first(row: dict[str, str]) -> bool:
    wanted = {
        "measurand": "illuminance ratio",
        "instant": "initial",
        "scope": "specimens",
        "point": "hot_spot",
    }
    return all(row[key] == value for key, value in wanted.items())


def _visible(page: str) -> str:
    """Return the text of a page and of its pictures; equations and code aside."""
    code = r'<details class="law">.*?</details>'  # of a law: None is a word of it
    plain = re.sub(rf"<style>.*?</style>|<svg .*?</svg>|{code}", " ", page, flags=re.DOTALL)
    words = re.findall(r'(?:alt|aria-label)="([^"]*)"', plain)
    return html.unescape(" ".join([re.sub(r"<[^>]*>", " ", plain), *words]))


def test_names_stand_on_the_page_as_they_are_and_are_no_markup(written):
    """Oracle: the names; an HTML reader finds no element, and the tables no formula, that the names would make."""
    made = written("hostile-names")
    assert not re.findall(r"<(?:b|i|script)>", made.page)
    text = " ".join(_visible(made.page).split())
    assert not [name for name in make.HOSTILE if name not in text]
    raw = made.files["results.csv"].decode("utf-8")
    assert not [line for line in raw.splitlines() if line.startswith(("=", "@", "+", "-"))]


@pytest.mark.parametrize("name", ["two-clear", "workbook", "hostile-names"])
def test_kernels_publish_the_same_words_and_results(written, folder_of, tmp_path, name):
    """Oracle: what one interpreter said; the pictures are drawn here."""
    made = written(name)
    out = appendix.publish(folder_of(name), tmp_path / "report", progress=lambda _: None).out
    assert (out / "results.csv").read_bytes() == made.files["results.csv"]
    theirs = (out / "appendix.html").read_text(encoding="utf-8")
    assert _visible(theirs) == _visible(made.page)


@pytest.mark.parametrize(
    ("name", "lamp", "record", "seatings"),
    [("clear-winner", "Asp", "Bee", 4), ("two-clear", "Dune LED", "stock", 1)],
)
def test_a_lamp_clear_of_all_others_may_be_called_the_highest(written, name, lamp, record, seatings):
    """Oracle: the generating ratios, and the seatings of the folder."""
    said = written(name).said["11_all_lamps"]
    assert f"{lamp} may be called the highest so far: it is clear of every other lamp." in said
    assert f"% more than {record}, which comes next (95 %" in said
    count = f"{seatings} seating{'s' if seatings > 1 else ''} of 1 specimen of"
    assert f"This rests on {count} {lamp}, on {count} {record}, and on " in said


@pytest.mark.parametrize("name", ["two-alike", "all-alike", "heat-reverses"])
def test_a_lamp_that_is_not_clear_of_all_others_may_not(written, name):
    """Oracle: the generating ratios, or the intervals of the results."""
    assert "may be called the highest" not in written(name).said["11_all_lamps"]


@pytest.mark.parametrize("name", [name for name in AS_KEPT if name != "evening"])  # has no intervals
def test_no_invented_plan_or_third_figure_stands_on_ones_own_bench(written, name):
    """Oracle: these folders do not call themselves invented; the settings of the notebooks name nothing."""
    said = written(name).said
    assert "An invented figure" not in said["13_what_would_overturn_it"]
    assert "Protocol revision" not in said["12_protocol_review"]
    assert "invented" not in said["12_protocol_review"]
    assert "bench time" not in said["12_protocol_review"]


@pytest.mark.parametrize("name", ["clear-winner", "all-alike", "workbook"])
def test_an_invented_bench_shows_them_and_calls_them_invented(written, name):
    """Oracle: the names of these benches say invented."""
    said = written(name).said
    assert "An invented figure to show the test, 1.200" in said["13_what_would_overturn_it"]
    assert "The minutes are invented" in said["12_protocol_review"]


@pytest.mark.parametrize(
    "name", ["two-clear", "heat-reverses", "feet-and-commas", "clear-winner", "ten-lamps"]
)
def test_a_notebook_about_one_lamp_finds_one_in_the_bench(written, name):
    """Oracle: each of these benches compares lamps."""
    made = written(name)
    lamps = "|".join(map(re.escape, made.campaign.bench.tables["lamps"]["lamp"]))
    for stem in ("10_lamp_verdict", "13_what_would_overturn_it"):
        assert "No verdict" not in made.said[stem]
        assert re.search(rf"(?m)^(?:In [^:]+: )?(?:{lamps}): .*\blight\b", made.said[stem])


@pytest.mark.parametrize(
    ("name", "called"),
    [
        ("meters-linked", ["; established"]),
        ("two-meters", ["; provisional"]),
        ("meters-apart", []),
    ],
)
def test_links_of_two_meters_are_called_what_they_are(written, name, called):
    """Oracle: links of three lamps of each technology, of one or two, of none."""
    said = written(name).said["03_baseline_and_meter_change"]
    assert [one for one in ("; established", "; provisional") if one in said] == called


@pytest.mark.parametrize("name", ["feet-and-commas", "one-piece", "ten-lamps"])
def test_every_coverage_on_a_page_is_the_one_declared(written, name):
    """Oracle: the coverages of these benches, 0.99, 0.9 and 0.99."""
    said = "".join(written(name).said.values())
    assert not re.findall(r"(?<![\d.])(?<!with a chance of )95 %", said)


# What pages say.


def test_page_one_says_that_heat_turns_the_order_round(written):
    front = _visible(written("heat-reverses").page).partition("What these figures mean")[0]
    assert "After 30 min in R, against stock: not shown: Ibis" in " ".join(front.split())


def test_page_one_compares_lamps_that_were_read_at_the_hold_time_alone(written):
    assert "No lamp can be compared" not in written("hold-only").page


@pytest.mark.parametrize(("name", "most"), [("two-clear", 4), ("feet-and-commas", 12)])
def test_length_follows_the_data(written, name, most):
    """Oracle: two readings; a garage bench of one housing. What is not printed is named at the end."""
    pages = PdfReader(io.BytesIO(written(name).files["appendix.pdf"])).pages
    assert len(pages) <= most
    end = " ".join("".join(one.extract_text() for one in pages[-2:]).split())
    assert "the working on paper laws, second ways and sensitivities, in folds of appendix.html" in end
    assert "which lamps are told apart from one another read two lamps beside the baseline" in end
    assert ("how repeatable your seating is" in end) == (name == "two-clear")
