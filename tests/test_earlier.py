"""Figures of others, makers' replies and earlier results.csv. Oracles: ISO 13528:2022, 9.7, by hand; the files."""

import csv
import io
import math
import shutil
from pathlib import Path

import pytest
from in_process import run_cells
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import BENCHES, bench_of, campaign_of, rows_of

from photolab.bench.folder.earlier import set_beside
from photolab.bench.folder.records import read_bench, write_bench
from photolab.errors import RecordError
from photolab.publication.report.tables import as_csv
from photolab.publication.sentences.words_lamp import beside_sentences, claim_sentence

NOTEBOOK = next((Path(__file__).resolve().parents[1] / "notebooks").glob("13_*.ipynb"))
FIGURES = """
[[their_figure]]
source = "A test on the <b>web</b>"
lamp = "Ibis"
housing = "R"
ratio = 1.2
expanded_percent = 6
[[their_figure]]
source = "A magazine"
lamp = "Jay"
baseline = "stock"
housing = "R"
instant = "hold"
ratio = 1.4
low = 1.3
high = 1.5
[[their_figure]]
source = "the maker"
lamp = "Ibis"
text = "It is meant for <i>other</i> housings."
date = 2026-03-01
"""
EARLIER = '[[our_earlier]]\nfile = "then.csv"\nlabel = "last year"\n'


def folder(place, more="", **files):
    """Copy a bench of two lamps in two housings, with more of bench.toml and more files by stem."""
    made = Path(shutil.copytree(BENCHES / "heat-reverses", place))
    with (made / "bench.toml").open("a", encoding="utf-8") as stream:
        stream.write(more)
    for stem, text in files.items():
        (made / f"{stem}.csv").write_text(text, encoding="utf-8")
    return made


def then(change=lambda row: row, keep=None):
    """Return the results.csv of that bench with its rows changed."""
    text = as_csv(rows_of(campaign_of(bench_of(BENCHES / "heat-reverses"))))
    rows = list(csv.DictReader(io.StringIO(text)))
    names = [name for name in rows[0] if keep is None or keep(name)]
    out = io.StringIO()
    writer = csv.DictWriter(out, names, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(change(row) for row in rows)
    return out.getvalue()


def beside(made):
    campaign = campaign_of(bench_of(made))
    return campaign, set_beside(campaign, rows_of(campaign))


def refused(made):
    with pytest.raises(RecordError) as caught:
        read_bench(made)
    return [str(problem) for problem in caught.value.problems]


def test_their_figures_by_hand(tmp_path):
    """Oracle: ISO 13528, 9.7, on ln of the ratios; the interval of the model from the campaign."""
    campaign, (web, magazine) = beside(folder(tmp_path / "b", FIGURES))
    pair = campaign.ratio("Ibis", "stock", housing="R", scope="models")
    u = math.sqrt(pair.ln_expanded_uncertainty**2 + math.log(1.06) ** 2)
    assert_allclose(web.score, (math.log(pair.ratio) - math.log(1.2)) / u, rtol=1e-12)
    held = campaign.ratio("Jay", "stock", housing="R", scope="models", instant="hold")
    u = math.sqrt(held.ln_expanded_uncertainty**2 + (math.log(1.5 / 1.3) / 2.0) ** 2)
    assert {web.coverage, magazine.coverage} == {campaign.bench.settings.coverage}
    assert_allclose(magazine.score, (math.log(held.ratio) - math.log(1.4)) / u, rtol=1e-12)
    said = beside_sentences((web, magazine))
    assert "A test on the <b>web</b>, 1.200 ± 6.0 % for Ibis/stock in R at the initial time" in said[0]
    assert "they agree within both uncertainties (E_n -0.38, both ± of 95 %)" in said[0]
    assert "they differ by more than both uncertainties (E_n -1.44, both ± of 95 %)" in said[1]


def test_a_figure_that_nothing_of_ours_stands_beside(tmp_path):
    """Oracle: Jay was not read at the hold time in P; no lamp has a ratio to itself."""
    one = '[[their_figure]]\nsource = "x"\nlamp = "Jay"\nhousing = "P"\ninstant = "hold"\nratio = 2\n'
    one += "expanded_percent = 5\n"
    text = one + one.replace('"hold"', '"initial"').replace('"Jay"', '"stock"')
    _, found = beside(folder(tmp_path / "b", text))
    assert [math.isnan(one.score) for one in found] == [True, True]
    assert all("no figure with an interval to set beside it" in said for said in beside_sentences(found))


def test_a_reply_stands_beside_the_claim(tmp_path):
    bench = bench_of(folder(tmp_path / "b", FIGURES))
    said = claim_sentence(bench, "Ibis")
    assert said.startswith("Ibis: the claim of 9000 lm")
    assert said.endswith("the maker replied on 1 March 2026: “It is meant for <i>other</i> housings.”")
    assert "replied" not in claim_sentence(bench, "Jay")


def test_an_earlier_report_is_linked_by_its_rows(tmp_path):
    """Oracle: the rows of both files; E_n by hand; what is not in both is not compared."""

    def changed(row):
        if (row["lamp"], row["instant"], row["scope"]) == ("Jay", "hold", "specimens"):
            row = row | {"value": f"{1.3 * float(row['value']):.6g}"}
        return row | ({"lamp": "Old"} if row["lamp"] == "Ibis" and row["housing"] == "P" else {})

    made = folder(tmp_path / "b", EARLIER, then=then(changed))
    campaign, found = beside(made)
    ours = rows_of(campaign)
    ratios = ours[(ours["unit"] == "1") & (ours["scope"] == "specimens")]
    ratios = ratios[(ratios["lamp"] != "Ibis") | (ratios["housing"] != "P")]
    left = ours[ours["measurand"] == "remaining light"]
    assert len(found) == len(ratios) + len(left)
    assert {one.scope for one in found} == {"specimens", "readings"}
    apart = {(one.lamp, one.measurand): one for one in found if abs(one.score) > 1e-9}
    assert {key[0] for key in apart} == {"Jay"}
    u = ours[(ours["lamp"] == "Jay") & (ours["instant"] == "hold") & (ours["scope"] == "specimens")]
    half = float(u.loc[u["measurand"] == "illuminance ratio", "ln_expanded_uncertainty"].iloc[0])
    score = apart["Jay", "illuminance ratio"].score
    assert_allclose(score, -math.log(1.3) / (half * math.sqrt(2.0)), rtol=1e-4)  # six digits of the file
    (said,) = beside_sentences(found)
    assert said.startswith(
        f"last year, the same pieces: {len(found) - len(apart)} of {len(found)} figures agree"
    )
    assert "differ by more than both: Jay/stock in R at the hold time" in said
    assert "Both were read on one bench, so agreement is not independent" in said


def test_other_pieces_are_compared_for_the_models(tmp_path):
    made = folder(tmp_path / "b", EARLIER + 'pieces = "other"\n', then=then())
    found = beside(made)[1]
    assert {one.scope for one in found} == {"models"}
    assert "other pieces, so for the models" in beside_sentences(found)[0]


def test_an_older_file_and_another_coverage(tmp_path):
    """Oracle: format 1 had other scope words and no families; the normal law between two coverages."""

    def older(row):
        return row | {"scope": f"these {row['scope']}", "coverage": "0.99"}

    old = then(older, keep=lambda name: not name.startswith("family") and name != "n_held")
    found = beside(folder(tmp_path / "b", EARLIER, then=old))[1]
    now = beside(folder(tmp_path / "c", EARLIER, then=then()))[1]
    assert [one.scope for one in found] == [one.scope for one in now]
    factor = stats.norm.ppf(0.975) / stats.norm.ppf(0.995)
    for one, other in zip(found, now, strict=True):
        assert_allclose(one.theirs[1], factor * other.theirs[1], rtol=1e-9)


def test_a_name_that_was_kept_from_being_a_formula_is_found_again(tmp_path):
    text = then(lambda row: row | {"lamp": "'=J" if row["lamp"] == "Jay" else row["lamp"]})
    made = folder(tmp_path / "b", EARLIER, then=text)
    (earlier,) = read_bench(made).earlier
    assert "=J" in set(earlier.rows["lamp"])


def test_what_is_written_is_read_again(tmp_path):
    bench = read_bench(folder(tmp_path / "b", FIGURES + EARLIER, then=then()))
    again = read_bench(write_bench(bench, tmp_path / "again"))
    assert list(map(repr, again.their_figures)) == list(
        map(repr, bench.their_figures)
    )  # NaN is no equal of itself
    assert again.earlier[0].rows.drop(columns="line").equals(bench.earlier[0].rows.drop(columns="line"))


HEAD = '[[their_figure]]\nsource = "x"\nlamp = "Ibis"\nhousing = "R"\n'


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (
            HEAD.replace("Ibis", "ibis") + "ratio = 1.2\nexpanded_percent = 5",
            3,
            'closest is "Ibis". [fault 12]',
        ),
        (HEAD + 'baseline = "stck"\nratio = 1.2\nexpanded_percent = 5', 5, 'closest is "stock". [fault 12]'),
        (HEAD.replace('"R"', '"Q"') + "ratio = 1.2\nexpanded_percent = 5", 4, 'one of "R", "P". [fault 12]'),
        (HEAD.replace('housing = "R"\n', "") + "ratio = 1.2\nexpanded_percent = 5", 2, "has no housing;"),
        (HEAD + "ratio = 0\nexpanded_percent = 5", 5, "ratio = 0; wanted 0.05 to 20. [fault 14]"),
        (
            HEAD + "ratio = 140\nexpanded_percent = 5",
            5,
            "ratio = 140; wanted 0.05 to 20. 140 % is written 1.4, 140 % more is written 2.4. [fault 14]",
        ),
        (
            HEAD + "ratio = 1.2\nlow = 1.1\nhigh = 130",
            7,
            "wanted 0.05 to 20. 130 % is written 1.3, 130 % more",
        ),
        (HEAD + "ratio = 3000\nexpanded_percent = 5", 5, "ratio = 3000; wanted 0.05 to 20. [fault 14]"),
        (HEAD + "ratio = 1.2\nlow = 1.3\nhigh = 1.1", 6, "low = 1.3 is not below high = 1.1. [fault 18]"),
        (
            HEAD + "ratio = 1.5\nlow = 1.1\nhigh = 1.3",
            5,
            "ratio = 1.5 is not between low = 1.1 and high = 1.3.",
        ),
        (HEAD + "ratio = 1.2\nlow = 1.1", 2, "has no high; low and high stand together. [fault 8]"),
        (HEAD + "ratio = 1.2", 2, "has neither expanded_percent nor low and high;"),
        (
            HEAD + "ratio = 1.2\nexpanded_percent = 5\nlow = 1.1\nhigh = 1.3",
            2,
            "has both expanded_percent and low",
        ),
        (HEAD, 2, "has no ratio; write ratio = …, or text = … and date = … for a maker's reply. [fault 1]"),
        (HEAD + 'text = "no"', 2, "has a text and no date; write date = …, the day of the reply. [fault 8]"),
        (HEAD + 'text = "no"\ndate = 2026-01-01\nratio = 1.2', 7, "ratio stands beside a text;"),
        (HEAD + 'baseline = "Ibis"\nratio = 1.2\nexpanded_percent = 5', 5, "baseline is the lamp itself;"),
        (EARLIER.replace("then.csv", "../then.csv"), 2, "is not a plain file name inside the folder;"),
        (EARLIER.replace("then.csv", "gone.csv"), 2, '"gone.csv" is not in the folder'),
        (EARLIER + 'pieces = "some"', 4, "is not one of same, other;"),
    ],
)
def test_faults_of_bench_toml_say_where(tmp_path, text, line, words):
    """Oracle: the lines of the file; the first of the text comes after those of the bench."""
    before = (BENCHES / "heat-reverses" / "bench.toml").read_text(encoding="utf-8").count("\n")
    (said,) = refused(folder(tmp_path / "b", text, then=then()))
    assert said.startswith(f"bench.toml:{before + line}:")
    assert words in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "lamp,light\nJay,1\n",
            "then.csv:1: no column housing, measurand, baseline, point, instant, scope, value",
        ),
        (
            then(lambda row: row | {"scope": "all"}),
            'then.csv:2: scope: "all" is no scope; wanted one of readings',
        ),
        (then(lambda row: row | {"value": "-1"}), "then.csv:2: value: -1; a ratio is more than 0."),
        (then(lambda row: row | {"value": "much"}), 'then.csv:2: value: "much"'),
        (then(lambda row: row | {"scope": "models"}), "then.csv:8: the same figure as in a row above"),
        ("", "then.csv: is empty. [fault 11]"),
    ],
)
def test_faults_of_an_earlier_file_say_where(tmp_path, text, said):
    assert said in "\n".join(refused(folder(tmp_path / "b", EARLIER, then=text)))


def test_an_earlier_report_of_other_lamps_is_said(tmp_path):
    made = folder(tmp_path / "b", EARLIER, then=then(lambda row: row | {"lamp": f"old {row['lamp']}"}))
    (caution,) = [one for one in read_bench(made).warnings if one.file == "then.csv"]
    assert "no row is of a lamp of this bench" in caution.message


def test_notebook_13_has_the_law_the_words_and_a_picture(tmp_path, monkeypatch):
    """Oracle: the scores of the reader."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))
    made = folder(tmp_path / "b", FIGURES + EARLIER, then=then())
    names = {}
    notebook = run_cells(NOTEBOOK, {"bench": str(made)}, names=names)
    scores = [one.score for one in beside(made)[1]]
    assert_allclose(names["scores"]["E_n"], scores, rtol=1e-9, atol=1e-12)
    half = names["scores"]["E_n, partly shared"]
    assert all(abs(one) >= abs(other) for one, other in zip(half, scores, strict=True))
    shown = [one.data["text/plain"] for cell in notebook.cells for one in cell.get("outputs", [])]
    assert any("The cell and the report give the same figure: E_n of Ibis/stock" in text for text in shown)
    assert any(text.startswith("Others' figures over ours, with both uncertainties.") for text in shown)
