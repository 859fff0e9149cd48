"""What notebooks and the report show of a campaign.

Oracles: sums worked by hand beside each test, printed tables (chi-squared), closed forms, the declared
stories of the demo.
"""

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import Mock

import pandas as pd
import pytest
from benches import make
from numpy.testing import assert_allclose
from shared_demo import demo_campaign, kept

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.two_readings import compare
from photolab.bench.terms.assumptions import Assumption
from photolab.bench.terms.model import Bench, Meter
from photolab.publication.report import front_page
from photolab.publication.report.held_back import absent_rows, held_back, overview_sentences
from photolab.publication.report.page_one import PageOne
from photolab.publication.report.tables import results
from photolab.publication.sentences import figure_tables, findings, words_lamp
from photolab.publication.sentences.cautions import assumed_words
from photolab.publication.sentences.words_lamp import claim_sentence

DATA = Path(__file__).resolve().parents[1] / "data"
METER = Meter("M", (4.0,), (0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,))


@pytest.fixture(scope="module")
def demo():
    return demo_campaign()


@pytest.fixture(scope="module")
def pair():
    return compare(318, 334, meter=METER, technology="led", range_lx=4000)


@pytest.fixture(scope="module")
def unanswered(tmp_path_factory):
    """Return a campaign of two lamps of unknown technology."""
    folder = tmp_path_factory.mktemp("unknown") / "bench"
    folder.mkdir()
    (folder / "bench.toml").write_text(
        "schema = 1\n[[meter]]\nid = 'M'\nreading_percent = 4\n", encoding="utf-8"
    )
    (folder / "readings.csv").write_text("lamp,illuminance_lx\nA,318\nB,334\n", encoding="utf-8")
    return evaluate(read_bench(folder))


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """Return a campaign of one lamp."""
    folder = tmp_path_factory.mktemp("alone") / "bench"
    folder.mkdir()
    (folder / "bench.toml").write_text(
        "schema = 1\n[[meter]]\nid = 'M'\nreading_percent = 4\n", encoding="utf-8"
    )
    (folder / "readings.csv").write_text("lamp,illuminance_lx\nA,318\nA,319\n", encoding="utf-8")
    return evaluate(read_bench(folder))


# ---- tidy tables


def test_budget_is_complete_and_says_what_is_assumed(pair, demo):
    """Oracle: seating 3 % twice is 4.2426 %, times the coverage factor; parts add up to 100 %."""
    bench = Bench("b", demo.bench.settings, {"M": METER}, {}, {}, (), pd.DataFrame(), (), (), {}, {})
    rows = figure_tables.budget(pair, bench).set_index("what")
    assert_allclose(rows["part"].sum(), 100.0, rtol=1e-9)  # float rounding
    assert_allclose(rows.loc["seating", "moves"], 4.2426407 * pair.coverage_factor, rtol=1e-7)  # its digits
    assert rows.loc["seating", "how_far"] == "±\N{NO-BREAK SPACE}6.0\N{NO-BREAK SPACE}%"
    assert rows.loc["linearity of the meter", "known_from"] == "assumed"
    assert rows.loc["range term of the meter", "known_from"] == "manual"
    stated = compare(318, 334, meter=replace(METER, linearity_percent=0.5), technology="led", range_lx=4000)
    known = figure_tables.budget(stated, replace(bench, meters={"M": replace(METER, linearity_percent=0.5)}))
    assert known.set_index("what").loc["linearity of the meter", "known_from"] == "manual"
    assert rows.loc["range term of the meter", "how_far"] == "±\N{NO-BREAK SPACE}20\N{NO-BREAK SPACE}lx"
    assert rows.loc["meter scale", "moves"] == 0.0
    assert rows.index[0] == "seating"
    assert rows["moves"].is_monotonic_decreasing


def test_stated_and_measured_inputs_are_not_called_assumed(demo):
    """Oracle: bench.toml of the demo states linearity; seating is measured; the voltmeter is not stated."""
    rows = figure_tables.budget(demo.ratio("K4", "B0", housing="HP"), demo.bench, demo.components).set_index(
        "what"
    )
    assert rows.loc["linearity of the meter", "known_from"] == "manual"
    assert rows.loc["seating", "known_from"] == "own readings"
    assert rows.loc["voltmeter scale", "assumed"]
    assert not rows.loc["seating", "assumed"]


def test_working_table_leaves_nothing_out(demo):
    """Oracle: the squares of all contributions add up to the square of the last line (JCGM 100, 5.1.2)."""
    rows = figure_tables.budget_annex(demo.ratio("K4", "B0", housing="HP"), largest=5)
    assert len(rows) == 7
    *parts, whole = rows["contribution"]
    assert_allclose(math.sqrt(sum(x * x for x in parts)), whole, rtol=1e-9)  # float rounding
    assert_allclose(
        rows["contribution"][:5], (rows["sensitivity"] * rows["standard_uncertainty"])[:5], rtol=1e-12
    )


def test_all_lamps_are_per_cent_of_the_ratios(demo):
    """Oracle: the ratio of the campaign itself, less one, with the ends among all pairs of its housing."""
    rows = figure_tables.all_lamps(demo).set_index(["housing", "lamp"])
    among = demo.family("HR", scope="specimens").loc["K3"]
    assert among["high"] > demo.ratio("K3", "B0", housing="HR").high
    expected = [
        100 * (x - 1) for x in (demo.ratio("K3", "B0", housing="HR").ratio, among["low"], among["high"])
    ]
    assert_allclose(
        rows.loc[("HR", "K3"), ["percent", "low", "high"]].astype(float), expected, atol=5e-5
    )  # drawn of four places
    assert len(rows) == 16
    words = figure_tables.all_lamps_words(figure_tables.all_lamps(demo), "B0")
    assert words.count("K3") == 2


# ---- findings


def test_sets_not_told_apart_may_overlap():
    """Oracle: by hand. Of A > B > C > D only A-C, A-D and B-D are told apart."""
    assert sets_of({"AC", "AD", "BD"}) == (("A", "B"), ("B", "C"), ("C", "D"))


def test_a_set_is_as_large_as_it_can_be():
    """Oracle: by hand. Only D is told apart, from A; so A, B, C stand together, and B, C, D."""
    assert sets_of({"AD"}) == (("A", "B", "C"), ("B", "C", "D"))
    assert sets_of({"AB", "AC", "AD", "BC", "BD", "CD"}) == ()


def sets_of(apart):
    """Return the sets of four lamps, A with most light, of which some pairs are told apart."""
    names = [("A", "B"), ("A", "C"), ("A", "D"), ("B", "C"), ("B", "D"), ("C", "D")]
    pairs = pd.DataFrame({"a": [a for a, _ in names], "b": [b for _, b in names]})
    pairs["resolved"] = [a + b in apart for a, b in names]
    light = {"A": 1.3, "B": 1.2, "C": 1.1, "D": 1.0}
    pairs["ratio"] = [light[a] / light[b] for a, b in names]
    bench = Mock(tables={"readings": pd.DataFrame({"lamp": list(light)})})
    bench.technologies = dict.fromkeys(light, "led")
    campaign = SimpleNamespace(baseline="D", bench=bench)
    return findings.not_told_apart(campaign, pairs, "H").sets


@pytest.mark.parametrize(
    ("ratio", "words"),
    [(1.05, "5.0 % more light"), (0.95, "5.0 % less light"), (1.0004, "no difference in light")],
)
def test_light_words(ratio, words):
    """Oracle: English."""
    pair = SimpleNamespace(ratio=ratio, ln_expanded_uncertainty=0.02)
    assert words_lamp.light_words(pair) == words


@pytest.mark.parametrize(
    ("words", "expected"), [(["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_joined(words, expected):
    """Oracle: English."""
    assert findings.joined(words) == expected


# ---- page one


def test_front_page_of_the_demo_says_invented(demo, unanswered):
    """Oracle: bench.toml of the demo; a bench that does not say so."""
    assert demo.bench.invented
    pages = [front_page.front_page(c, results(c), fingerprint="f") for c in (demo, unanswered)]
    assert any("INVENTED DEMO DATA" in block for block in pages[0])
    assert not any("INVENTED" in block for block in pages[1])


@pytest.mark.parametrize(
    ("name", "declared", "marked"),
    [
        ("Newly invented lamp rig", False, False),
        ("a shed (invented)", False, True),
        ("stone barn (Invented demo)", False, True),
        ("my garage", True, True),
        ("my garage", False, False),
    ],
)
def test_invented_is_what_a_bench_declares_and_not_a_word_of_its_name(demo, name, declared, marked):
    """Oracle: the rule: the key of bench.toml, or a bracket in the name that begins with the word."""
    bench = replace(demo.bench, settings=replace(demo.bench.settings, name=name, invented=declared))
    said = front_page.invented_words(bench, "report")
    mark = "INVENTED DEMO DATA: no lamp, maker or reading in this report is real."
    assert (bench.invented, said) == (marked, mark * marked)


def test_how_a_lamp_was_obtained_is_said_with_its_source(demo):
    """Oracle: what lamps.csv holds, typed here."""
    lamps = demo.bench.tables["lamps"].copy()
    lamps.loc[lamps["lamp"] == "K1", "obtained_from"] = "a car\nshop"
    bench = replace(demo.bench, tables={**demo.bench.tables, "lamps": lamps})
    assert "K1 (from a car shop)" in front_page.suppliers(bench)
    (row,) = [one for one in PageOne(replace(demo, bench=bench), results(demo)).table if one[0][0] == "K1"]
    assert any("bought from a car shop" in str(part) for cell in row for part in cell)


@pytest.mark.parametrize(
    ("obtained", "whence", "said", "suppliers"),
    [
        ("", "bought", "bought", "K1 bought"),
        ("bought", "Bought at a fair", "bought at a fair", "K1 (at a fair) bought"),
        ("", "borrowed from a club", "borrowed from a club", "K1 borrowed from a club"),
        ("lent", "a club", "lent by a club", "K1 (from a club) lent"),
        ("supplied", "gift of a club", "supplied, gift of a club", "K1 (gift of a club) supplied by others"),
        ("supplied", "a shop", "supplied by a shop", "K1 (from a shop) supplied"),
        ("supplied", "", "supplied", "K1 supplied by others"),
        ("", "", "", "not stated for K1"),
    ],
)
def test_a_source_that_says_how_needs_no_word_before_it(demo, obtained, whence, said, suppliers):
    """Oracle: the words by hand."""
    lamps = demo.bench.tables["lamps"].query("lamp == 'K1'")
    bench = replace(demo.bench, tables={"lamps": lamps.assign(obtained=obtained, obtained_from=whence)})
    (lamp,) = bench.tables["lamps"].to_dict("records")
    assert findings.obtained_words(lamp) == said
    assert front_page.suppliers(bench) == f"How the samples were obtained: {suppliers}."


@pytest.mark.parametrize("where", ["", "the box"])
def test_a_claim_says_where_it_is_printed(demo, where):
    """Oracle: the cell claimed_where; blank is said to be not stated."""
    lamps = demo.bench.tables["lamps"].assign(claimed_where=where)
    said = claim_sentence(replace(demo.bench, tables={**demo.bench.tables, "lamps": lamps}), "K1")
    assert f"per lamp (where claimed: {where or 'not stated'}) at the highest watts" in said


def test_bench_lines(demo):
    """Oracle: bench.toml and days.csv of the demo."""
    text = " ".join(front_page.bench_lines(demo))
    days = demo.bench.tables["days"]
    assert f"{len(days)} days of readings, 13 April 2026 to" in text
    assert "Protocol revision 3." in text
    assert "left out" not in text


def test_days_of_readings_that_did_not_enter_are_not_counted(demo):
    """Oracle: readings and days of the demo by hand: the last day is taken out, its protocol revision with it."""
    days = demo.bench.tables["days"]
    days = days.assign(protocol_revision=[*["3"] * (len(days) - 1), "4"])
    kept = demo.selection.readings[demo.selection.readings["day"] != "D08"]
    without = {
        name: table[table["day"] != "D08"] for name, table in demo.bench.tables.items() if "day" in table
    }
    tables = {**demo.bench.tables, **without, "days": days}
    some = replace(
        demo, bench=replace(demo.bench, tables=tables), selection=replace(demo.selection, readings=kept)
    )
    text = " ".join(front_page.bench_lines(some))
    assert f"{len(days) - 1} days of readings, 13 April 2026 to" in text
    assert "Earlier days" not in text
    blank = replace(some, selection=replace(some.selection, readings=kept.assign(day="")))
    assert f"{len(days)} days of readings" in " ".join(front_page.bench_lines(blank))


def test_readings_that_did_not_enter_are_counted_at_the_head():
    """Oracle: readings.csv by hand: 6 rows of the stock lamp and 12 of LED lamps with the second meter, not linked."""
    two_meters = evaluate(read_bench(Path(__file__).parent / "benches" / "two-meters"))
    assert front_page.bench_lines(two_meters)[-1] == (
        "18 readings left out of the evaluation: the last part says why."
    )


def test_assumptions_say_what_they_touch():
    """Oracle: the words typed in the table of assumptions."""
    items = (Assumption("mounting_sd_percent", 3.0, "%", ""), Assumption("something new", "so", "", ""))
    rows = assumed_words(items, {})
    assert list(rows["input"]) == ["mounting sd percent", "something new"]
    assert list(rows["value"]) == ["3 %", "so"]
    assert list(rows["change"]) == ["every ratio, most where a lamp was seated once", "every ratio"]


# ---- views


def test_missing_data_is_one_sentence(unanswered, alone):
    """Oracle: a bench without technologies, and one with a single lamp."""
    assert "technology missing" in held_page(unanswered)
    assert overview_sentences(unanswered, results(unanswered), ())[0].startswith(
        "0 statements on 0 lamps against"
    )


def test_overview_counts(demo, alone):
    """Oracle: eight lamps in two housings at the initial time; what is held back is counted by part."""
    said = overview_sentences(demo, results(demo), held_back(demo))
    count = len(
        [
            row
            for row in results(demo).to_dict("records")
            if row["scope"] == "specimens"
            and row["measurand"] == "illuminance ratio"
            and row["point"] == "hot_spot"
        ]
    )
    assert said[0].startswith(f"{count} statements on 8 lamps against B0: ")
    assert said[1] == "Held back: 1 remaining light, 11 prices; 0 readings left out of the evaluation."
    assert overview_sentences(alone, results(alone), ())[0] == "0 statements on 0 lamps against A."


def test_what_a_folder_does_not_say_is_listed_with_what_brings_it(demo, alone):
    """Oracle: the files of the folders."""
    assert ("anything about the model as sold", "test 3 or more specimens") in absent_rows(alone)
    assert ("how lamps compare", "read a second lamp in the same housing") in absent_rows(alone)
    (what, missing), (pieces, unheld) = absent_rows(demo)
    assert what == "how much light is left after 40 minutes"
    assert missing.endswith(
        "at 40 minutes too: K2, K5, K7 and K8 in HR; K7 in HP"
    )  # not held, as page one says
    assert pieces == "what each specimen keeps after 40 minutes"
    assert unheld.endswith(
        "K1 2, K1 3, K1 4, K3 2, K4 2, B0 b and B0 c in HR; K3 2, K4 2, B0 b and B0 c in HP"
    )


def held_page(campaign):
    """Return what is held back in words, one line a thing."""
    return "\n".join(one.words for one in held_back(campaign))


def test_every_thing_held_back_has_a_part_a_code_and_words(demo):
    """Oracle: the record of K7 that stopped at 12 minutes; gains of the demo that are not shown."""
    held = held_back(demo)
    assert [(one.part, one.code) for one in held[:1]] == [("remaining light", "too_far_beyond_record")]
    assert {one.code for one in held if one.part == "price"} == {
        "gain_not_resolved",
        "less_light",
        "open_among_all",
    }
    assert all(one.words.endswith(".") for one in held)


@pytest.mark.parametrize("shape", ["zero-lux", "bare-meter", "beams-alone", "odd-ends"])
def test_what_was_recorded_gives_a_row_or_is_held_back_by_name(tmp_path, shape):
    """Oracle: the records, runs and beams of the folder's own files, on benches where many give nothing."""
    campaign = evaluate(read_bench(make.write(make.shapes()[shape], tmp_path / "b")))
    table, page = results(campaign), held_page(campaign)
    tables, missing = campaign.bench.tables, 0
    for lamp, housing, run in tables["warm_up"][["lamp", "housing", "run"]].drop_duplicates().to_numpy():
        given = table[(table["measurand"] == "remaining light") & (table["lamp"] == lamp)]
        told = f"Remaining light of {lamp} in {housing}, record {run}: not given, because" in page
        missing += told
        assert told or (given["housing"] == housing).any()
    for lamp, housing in tables["distance"][["lamp", "housing"]].drop_duplicates().to_numpy():
        given = table[(table["measurand"] == "luminous intensity") & (table["lamp"] == lamp)]
        told = f"{lamp} in housing {housing}: no candela." in page
        missing += told
        assert told or len(given)
    for lamp, housing in tables["beam"][["lamp", "housing"]].drop_duplicates().to_numpy():
        given = table[(table["measurand"] == "hot-spot intensity ratio") & (table["lamp"] == lamp)]
        told = f"Beam of {lamp} in {housing}, run " in page
        missing += told
        assert told or len(given) or lamp == campaign.baseline
    assert missing


def test_a_gain_names_the_margin_as_it_is_typed():
    """Oracle: the margin typed; 12.5 % is neither 12 nor 13."""
    campaign = evaluate(kept("two-alike").bench.changed(alike_percent=12.5))
    said = words_lamp.lamp_sentence(campaign, "Birch", campaign.compared()[0][1])
    assert ", alike within 12.5 % for the one specimen on the bench." in said
