"""Page one: what heat does, told from rows. Oracles: the rows themselves, and benches whose truth is known."""

import html
import math
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from shared_demo import campaign_of, demo_campaign, demo_rows, kept, rows_of
from small_benches import METER, bench, csv

from photolab.bench.results.evaluation import evaluate
from photolab.bench.terms.model import Question
from photolab.publication.report.front_page import front_page, how_measured, meaning
from photolab.publication.report.in_words import as_markdown, in_words, lamp_line
from photolab.publication.report.lamp_parts import lamp_parts
from photolab.publication.report.page_one import (
    KEYS,
    PageOne,
    Told,
    _money,
    drawn,
    paragraphs,
    table_html,
    told_lines,
)


@pytest.fixture(scope="module")
def demo():
    return PageOne(demo_campaign(), demo_rows())


@pytest.fixture(scope="module")
def evening():
    return kept("evening"), rows_of(kept("evening"))


def text(line):
    said = "".join(part if isinstance(part, str) else part.text for part in line)
    return said.replace("\N{NO-BREAK SPACE}", " ")


def figures(found):
    cells = [cell for row in found.table for cell in row]
    return [part for line in (*told_lines(found), *cells) for part in line if isinstance(part, Told)]


@pytest.mark.parametrize("name", ["demo", "evening", "heat-reverses", "club"])
def test_every_figure_stands_in_its_row(name):
    """Oracle: the rows of results.csv; a percentage is the ratio less one, to the digits shown."""
    campaign = demo_campaign() if name == "demo" else kept(name)
    rows = rows_of(campaign)
    known = {tuple(str(row[key] or "") for key in KEYS): row for row in rows.to_dict("records")}
    told = figures(PageOne(campaign, rows))
    assert told
    for figure in told:
        row = known[tuple(value for _, value in figure.row)]
        assert figure.value == row[figure.column]
        shown = float(re.match(r"[+-]?[0-9.]+", figure.text)[0])
        less = {"illuminance ratio": 1.0, "remaining light": 0.0}.get(row["measurand"])
        value = row[figure.column] if less is None else 100.0 * (row[figure.column] - less)
        places = len(figure.text.split()[0].partition(".")[2])
        assert abs(shown - value) <= 0.5 * 10.0**-places + 1e-9, figure


def test_the_page_marks_each_figure_with_its_row(evening):
    """Oracle: the attributes as another reader finds them, against the rows."""
    campaign, rows = evening
    page = "".join(front_page(campaign, rows, fingerprint="f"))
    marked = re.findall(r'<data value="([^"]+)" ([^>]*)>([^<]+)</data>', page)
    assert len(marked) > 4
    for value, attributes, _ in marked:
        named = {key: html.unescape(x) for key, x in re.findall(r'data-(\w+)="([^"]*)"', attributes)}
        mine, column = rows, named.pop("column", "value")
        for key, wanted in named.items():
            mine = mine[mine[key].fillna("") == wanted]
        assert len(mine) == 1
        assert float(value) == mine[column].iloc[0]


def test_no_percent_sign_of_the_page_begins_a_line(demo):
    """Oracle: the words by hand: a plain space before "%" is where a line may break; what is copied stays as it was."""
    (said,) = paragraphs([("95 %: ", Told("3.1", 3.1, (("lamp", "3 %"),)), " % <of it>")]).splitlines()
    glued = "95\N{NO-BREAK SPACE}%: ", "\N{NO-BREAK SPACE}% &lt;of it&gt;"
    assert said == f'<p>{glued[0]}<data value="3.1" data-lamp="3 %">3.1</data>{glued[1]}</p>'
    told = paragraphs([*told_lines(demo), *how_measured(demo)]) + table_html(demo)
    assert " %" not in re.sub(r"<[^>]+>", "", told)
    assert "%" in told
    assert " %" in as_markdown(demo.campaign, in_words(demo))


def test_words_come_from_the_family_at_that_instant(demo):
    """Oracle: family_verdict and the side of one, row by row."""
    rows = demo_rows()
    light = rows[(rows["measurand"] == "illuminance ratio") & (rows["scope"] == "specimens")]
    cells = {row[0][0]: [text(cell) for cell in row[1:3]] for row in demo.table}
    for lamp, (hp, hr) in cells.items():
        for housing, cell in (("HP", hp), ("HR", hr)):
            mine = light[(light["lamp"] == lamp) & (light["housing"] == housing)].set_index("instant")
            row = mine.loc["hold"] if "hold" in mine.index else mine.loc["initial"]
            side = "more" if row["value"] > 1 else "less"
            word = {"clear": side, "inside": "not shown", "alike": "alike within 10 %"}[row["family_verdict"]]
            assert f"), {word}" in cell
            assert ("not held" in cell) == ("hold" not in mine.index)


def test_after_heat_first_and_those_not_held_last(demo):
    """Oracle: the values after the hold time in the first housing."""
    rows = demo_rows()
    hold = rows[(rows["measurand"] == "illuminance ratio") & (rows["scope"] == "specimens")]
    hold = hold[(hold["instant"] == "hold") & (hold["housing"] == "HP")]
    order = list(hold.sort_values("value", ascending=False)["lamp"])
    assert [row[0][0] for row in demo.table] == [*order, "K7"]


def test_the_question_asked_beforehand_is_answered_first(demo):
    """Oracle: the planted story: no lamp is shown to give 10 % more after the heat in both housings."""
    (question,) = (text(line) for line in demo.questions)
    assert question.startswith("Asked on 10 April 2026: Does any lamp give 10 % more light than B0")
    assert "Not shown of any lamp; readings are missing for K2, K7 and K8 (" in question
    assert question.endswith(" (specimens tested, after 40 min, ranges of 95 %).")


ASKED = [
    (
        "K1",
        "HP",
        "initial",
        10.0,
        "Yes, shown: K1 in HP (specimens tested, 60 s after switch-on, ranges of 95 %).",
    ),
    ("K1", "HP", "initial", 60.0, "No: the readings exclude it (specimens tested, 60 s after switch-on, "),
    (
        "K3",
        "HR",
        "hold",
        0.0,
        "No: the readings exclude it (specimens tested, after 40 min, ranges of 95 %).",
    ),
    ("K8", "HP", "hold", 0.0, "Not shown; not excluded for K8 (specimens tested, after 40 min, "),
    ("K8", "each", "hold", 0.0, "Not shown; readings are missing for K8 (specimens"),
    ("any", "any", "initial", 25.0, "Yes, shown: K6 in HP (specimens tested, "),
    ("any", "each", "hold", 100.0, "No"),
]


def test_answers_by_rule():
    """Oracle: the intervals of the demo, far from each limit asked for."""
    bench = demo_campaign().bench
    questions = tuple(
        replace(
            bench.questions[0],
            lamp=lamp,
            housing=housing,
            instant=instant,
            more_than_percent=percent,
            words="",
        )
        for lamp, housing, instant, percent, _ in ASKED
    )
    campaign = replace(demo_campaign(), bench=replace(bench, questions=questions))
    said = [text(line) for line in PageOne(campaign, demo_rows()).questions]
    for (*_, percent, answer), line in zip(ASKED, said, strict=True):
        assert answer in line
        assert f"{percent:g} % more light than B0" in line or "more light than B0" in line


def test_a_lower_bound_alone_is_no_temperature_of_page_one(tmp_path):
    """Oracle: results.csv: the bare spot without an emissivity has a low end and no value; the other one has both."""
    seen = "lamp,elapsed_s,displayed_C,method,set_emissivity,emissivity,place\n"
    seen += "K1,1800,45,bare,0.95,,base\nK1,1800,40,bare,0.95,0.9,fin\nK2,1800,45,bare,0.95,,base\n"
    rows = [("B0", 100), ("K1", 120), ("K2", 90)]
    made = bench(tmp_path / "b", csv("lamp,illuminance_lx", rows), toml=METER, thermal=seen)
    campaign = campaign_of(made)
    lines = {
        line[0][0]: " ".join(text(cell) for cell in line)
        for line in PageOne(campaign, rows_of(campaign)).table
    }
    assert "(fin, bare)" in lines["K1"]
    assert not any("n/a" in line or "base" in line for line in lines.values())


def test_a_lamp_that_heat_turns_round_is_told_so():
    """Oracle: the bench was drawn so that a lamp leads at first and gives less after the heat."""
    found = PageOne(kept("heat-reverses"), rows_of(kept("heat-reverses")))
    sentences = [*map(text, told_lines(found))]
    (cell,) = (text(row[2]) for row in found.table if row[0][0] == "Ibis")
    assert re.match(r"[+]13 % → -11 % [(]-21 to [+]1 %[)], not shown", cell)
    assert text(found.table[0][0]) == "Ibis (1)"  # by name: nobody was held in the first housing
    assert sentences[0].startswith("After 30 min in R, against stock: not shown: Ibis (-11 %)")
    assert sentences[1] == "After 30 min no lamp is shown to give more light than stock in both housings."


def test_without_a_hold_reading_the_initial_light_stands_and_says_so(evening):
    """Oracle: a bench without records and without readings at the hold time."""
    campaign = kept("two-clear")
    found = PageOne(campaign, rows_of(campaign))
    sentences = [*map(text, told_lines(found))]
    assert "what heat takes is not known" in sentences[-1]
    assert sentences[0].startswith("60 s after switch-on")
    assert found.pictured["earlier"].isna().all()
    assert "at the initial time" in drawn(found, invented=False).alt


def test_a_lamp_that_was_held_where_the_baseline_was_not_is_told_by_what_it_keeps(tmp_path):
    """Oracle: by hand: K1 reads 400 and 360 lx in one seating, 90 %; B0 and K2 were read at 60 s alone."""
    rows = [("B0", 300, 60), ("K1", 400, 60), ("K1", 360, 1800), ("K2", 330, 60)]
    lit = csv(
        "lamp,illuminance_lx,elapsed_s,housing,range_lx,mounting", [(*r, "HP", 4000, r[0]) for r in rows]
    )
    campaign = evaluate(bench(tmp_path, lit))
    table = rows_of(campaign)
    (kept_row,) = table[table["measurand"] == "remaining light"].to_dict("records")
    assert (kept_row["lamp"], kept_row["scope"], kept_row["value"]) == ("K1", "specimens", 0.9)
    assert kept_row["low"] < 0.9 < kept_row["high"]
    assert (kept_row["n_held"], kept_row["n_specimens"]) == (1, 1)
    assert (kept_row["n_mountings"], kept_row["n_readings"]) == (1, 2)
    found = PageOne(campaign, table)
    assert found.alone("K1", "HP")
    assert not found.alone("K2", "HP")
    told = [text(line) for line in told_lines(found)]
    begin = "The baseline B0 is not known at 30 min in HP, and no lamp against it then: K1 keeps 90.0 % ("
    assert any(line.startswith(begin) for line in told)
    assert "Not held for 30 min: K2 in HP." in told
    page = "\n".join(front_page(campaign, table, fingerprint="f"))
    assert "No lamp was read at 30 min" not in page
    assert "Filled dot and thick bar: at the initial time" in page
    said = text(lamp_line(found, "K1"))
    assert "B0 not known at 30 min, read 60 s after switch-on" in said
    assert "; it keeps 90.0 % (95 %: " in said
    assert "not held for 30 min, read only 60 s" in text(lamp_line(found, "K2"))
    asked = Question(asked_on="2026-01-05", lamp="K1", housing="each", instant="hold", more_than_percent=0.0)
    for lamp, wanting in (("K1", "B0"), ("K2", "B0 and K2")):
        made = replace(campaign.bench, questions=(replace(asked, lamp=lamp),))
        (told,) = PageOne(evaluate(made), table).questions
        assert f"Not shown; readings are missing for {wanting} (" in text(told)


def test_a_question_says_that_the_baseline_is_missing_where_the_lamp_is_not(tmp_path):
    """Oracle: what was typed: K1 was read after the heat alone, B0 and K2 at first alone."""
    asked = '[[question]]\nasked_on = 2026-01-05\nlamp = "{}"\nhousing = "each"\ninstant = "{}"\n'
    asked += "more_than_percent = 0\n"
    each = (("K1", "hold", "B0"), ("K2", "hold", "B0 and K2"), ("K1", "initial", "K1"))
    rows = [("B0", 300, 60), ("K1", 360, 1800), ("K2", 330, 60)]
    lit = csv("lamp,illuminance_lx,elapsed_s,housing,range_lx", [(*r, "HP", 4000) for r in rows])
    toml = METER + '[[housing]]\nid = "HP"\n' + "".join(asked.format(*one) for one in each)
    campaign = evaluate(bench(tmp_path, lit, toml=toml))
    told = [text(line) for line in PageOne(campaign, rows_of(campaign)).questions]
    for line, (*_, missing) in zip(told, each, strict=True):
        assert f"Not shown; readings are missing for {missing} (" in line


@pytest.mark.parametrize(
    ("asked", "begins"),
    [
        ("2026-01-05", "Asked on 5 January 2026: does K1"),
        ("2026-01-06", "Asked on 6 January 2026, after the readings of 5 January 2026: does K1"),
    ],
)
def test_a_question_that_was_asked_after_the_readings_says_so(tmp_path, asked, begins):
    """Oracle: the date of the first reading in days.csv; the day before it has no reading."""
    toml = METER + f'[[question]]\nasked_on = {asked}\nlamp = "K1"\nhousing = "any"\ninstant = "initial"\n'
    lit = csv("lamp,illuminance_lx,range_lx,day", [("B0", 300, 4000, "D2"), ("K1", 360, 4000, "D2")])
    days = csv("day,date", [("D1", "2026-01-04"), ("D2", "2026-01-05")])
    campaign = evaluate(bench(tmp_path, lit, toml=toml + "more_than_percent = 0\n", days=days))
    (told,) = PageOne(campaign, rows_of(campaign)).questions
    assert text(told).startswith(begins)


def test_a_lamp_whose_record_was_refused_is_not_called_not_held(tmp_path):
    """Oracle: what was typed: K1 burned for 40 min in a record with a reading of 0 lx, K2 for 10 min, B0 in none."""
    lit = csv("lamp,illuminance_lx,range_lx", [(lamp, 300, 4000) for lamp in ("B0", "K1", "K2")])
    runs = (("K1", 40), ("K2", 10))
    log = [(x, x, 30 * n, 0 if n == 6 else 300) for x, end in runs for n in range(1, 2 * end + 1)]
    record = csv("run,lamp,elapsed_s,illuminance_lx", log)
    campaign = evaluate(bench(tmp_path, lit, toml=METER, warm_up=record))
    rows = rows_of(campaign)
    found = PageOne(campaign, rows)
    told = [text(line) for line in told_lines(found)]
    assert told[-2:] == ["Held for 30 min, but the record was refused: K1.", "Not held for 30 min: K2."]
    assert "record to 30 min refused, read 60 s" in text(lamp_line(found, "K1"))
    assert "not held for 30 min, read only 60 s" in text(lamp_line(found, "K2"))
    parts = re.sub("<[^>]*>", "", "\n".join(lamp_parts(found).blocks))
    assert parts.count("; its record to 30 min was refused.") == 1
    assert parts.count("; not held for 30 min.") == 1
    lit += csv("", [(lamp, 270, 4000, 1800) for lamp in ("B0", "K2")]).lstrip()
    lit = lit.replace("4000\n", "4000,60\n").replace("range_lx", "range_lx,elapsed_s")
    campaign = evaluate(bench(tmp_path, lit, toml=METER, warm_up=record))
    found = PageOne(campaign, rows_of(campaign))
    assert {row[0][0]: text(row[1]).partition("; ")[2] for row in found.table} == {
        "K1": "record refused",
        "K2": "",
    }
    assert dict(zip(found.pictured["lamp"], found.pictured["word"], strict=True))["K1"] == "record refused"


def test_a_price_without_a_currency_and_two_covers_are_told_so(tmp_path):
    """Oracle: what was typed."""
    lamps = "lamp,technology,role,price,price_date\nB0,filament,baseline,,\nK1,led,candidate,38,2026-01-02\n"
    lit = csv("lamp,illuminance_lx,housing,range_lx", [("B0", 300, "HP", 4000), ("K1", 400, "HP", 4000)])
    heat = "lamp,elapsed_minutes,displayed_C,method,set_emissivity,place,cover\n"
    heat += "K1,30,70,tape,0.95,case,open\nK1,31,71,tape,0.95,case,closed\n"
    campaign = evaluate(bench(tmp_path, lit, lamps=lamps, thermal=heat))
    told = " ".join(text(cell) for row in PageOne(campaign, rows_of(campaign)).table for cell in row)
    assert "38 (no currency)" in told
    assert [_money(price) for price in (39.9, 38.0, 0.5)] == ["39.90", "38", "0.50"]
    assert "cover open and closed" in told


def test_what_a_lamp_keeps_is_a_row_of_the_main_point_with_an_interval(evening):
    """Oracle: rows made here: one of another point, one without an interval, one by bounds."""
    campaign, rows = evening
    place = {"lamp": "Elm", "housing": "HR", "measurand": "remaining light", "instant": "hold", "unit": "1"}
    one = {
        **dict.fromkeys(rows.columns, ""),
        **place,
        "value": 0.9,
        "low": 0.88,
        "high": 0.92,
        "scope": "readings",
    }

    def kept_of(**cells):
        more = pd.DataFrame([{**one, "point": "hot_spot", "conditions": "30 min after switch-on", **cells}])
        return PageOne(campaign, pd.concat([rows, more], ignore_index=True))

    found = kept_of()
    assert [*found.kept("Elm")] == ["HR"]
    assert text(found.keeps(found.kept("Elm")["HR"])).endswith(" after 30 min in HR")
    assert kept_of(point="corner").kept("Elm") == {}
    assert kept_of(low=math.nan).kept("Elm") == {}


@pytest.mark.parametrize(
    ("until", "by", "tail"),
    [(1800, "record", " after 30 min"), (1200, "bounds", ", by bounds of a record that ends before")],
)
def test_what_says_how_much_is_left_is_told_by_its_kind(tmp_path, until, by, tail):
    """Oracle: what was typed: a record to the hold time or ending before; readings at both instants of the corner."""
    rows = [(lamp, 300, 60, point) for lamp in ("B0", "K1") for point in ("hot_spot", "corner")]
    rows += [("K1", 270, 1800, "corner")]
    lit = csv("lamp,illuminance_lx,elapsed_s,point,range_lx", [(*one, 4000) for one in rows])
    noise = np.random.default_rng(5).normal(0.0, 0.3, until)
    light = [(t, 300.0 * (0.9 + 0.1 * math.exp(-t / 300.0)) + noise[t - 1]) for t in range(30, until + 1, 15)]
    record = csv("run,lamp,elapsed_s,illuminance_lx", [("W1", "K1", t, f"{lux:.1f}") for t, lux in light])
    campaign = evaluate(bench(tmp_path, lit, toml=METER, warm_up=record))
    found = PageOne(campaign, rows_of(campaign))
    kinds = {row["point"]: found.kept_by(row) for row in found.every("K1", "remaining light")}
    assert kinds == {"hot_spot": by, "corner": "readings"}
    assert text(found.keeps(found.kept("K1")[""])).endswith(tail)


def test_a_lamp_is_alone_only_where_no_ratio_is(demo):
    """Oracle: the rows: what K3 keeps is known, and its ratio at the hold time too."""
    assert "HR" in demo.kept("K3")
    assert demo.light("K3", "HR", "hold") is not None
    assert not demo.alone("K3", "HR")


def test_the_model_as_sold_is_told_where_it_has_a_range():
    """Oracle: the rows: the same cells but the scope, and none where the range was taken away here."""
    campaign, rows = demo_campaign(), demo_rows()
    row = next(x for x in PageOne(campaign, rows).first("K3") if x["scope"] == "specimens")
    sold = PageOne(campaign, rows).sold(row)
    assert sold == {**sold, **{key: row[key] for key in KEYS if key != "scope"}, "scope": "models"}
    blank = rows.assign(family_low=rows["family_low"].mask(rows["scope"] == "models"))
    assert PageOne(campaign, blank).sold(row) is None


def test_more_light_everywhere_is_said_of_both_or_of_all_housings(tmp_path):
    """Oracle: the housings made here; K1 gives twice the light in each."""
    for places, words in ((("HA", "HB"), "in both housings."), (("HA", "HB", "HC"), "in all housings.")):
        lit = [(lamp, lux, place, 4000) for place in places for lamp, lux in (("B0", 1000), ("K1", 2000))]
        toml = METER + "".join(f'[[housing]]\nid = "{place}"\n' for place in places)
        made = bench(tmp_path / places[-1], csv("lamp,illuminance_lx,housing,range_lx", lit), toml=toml)
        campaign = evaluate(made)
        told = [text(line) for line in told_lines(PageOne(campaign, rows_of(campaign)))]
        assert [line for line in told if line.endswith(words)] == [
            f"60 s after switch-on K1 is shown to give more light than B0 {words}"
        ]


def test_the_words_of_the_picture_are_those_of_the_table(demo):
    """Oracle: the cells."""
    alt = drawn(demo, invented=True).alt.replace("\N{NO-BREAK SPACE}", " ")
    for row in demo.table:
        for housing, cell in zip(("HP", "HR"), row[1:3], strict=True):
            words = text(cell)
            wanted = "not held" if "not held" in words else "not shown" if "not shown" in words else None
            if wanted:
                assert f"{row[0][0]} in {housing}: {wanted}" in alt


@pytest.mark.parametrize("name", ["demo", "club"])
def test_the_page_says_which_figures_stand_in_results_csv(name):
    """Oracle: the rows: what the page says stands there does, and what it says does not is no measurand."""
    campaign = demo_campaign() if name == "demo" else kept(name)
    rows = rows_of(campaign)
    page = "".join(front_page(campaign, rows, fingerprint="f"))
    told = html.unescape(re.sub("<[^>]+>", "", page))
    assert "Every figure stands in" not in told
    where = told[told.index("What was measured stands in results.csv") :].partition("What do the columns")[0]
    assert (
        "worked out from it further, a price or a rank, say, stands in the parts of this report alone"
        in where
    )
    assert not re.search("candela|temperature|watts|K/W", where)  # a bench may have none
    assert not re.search("price|claim|rank|thermal resistance", " ".join(rows["measurand"].unique()))
    assert not {"lm/W", "K/W"} & set(rows["unit"])


def test_a_dark_reading_in_some_readings_is_counted():
    """Oracle: the rows of readings.csv that enter, with all dark readings but one taken out."""
    bench = kept("club").bench
    table = bench.tables["readings"].assign(dark_lx=math.nan)
    for dark in ([1], range(len(table))):
        told = table.assign(dark_lx=[0.1 if k in dark else math.nan for k in range(len(table))])
        campaign = evaluate(replace(bench, tables=dict(bench.tables) | {"readings": told}))
        entered = campaign.selection.readings["dark_lx"]
        said = " ".join(meaning(campaign))
        assert "Corrected for: the dark reading" in said
        assert (f"the dark reading (in 1 of {len(entered)} readings)" in said) == (len(dark) == 1)
        assert "readings)" not in said or len(dark) == 1


def of_odds(folder, recorded="K1"):
    """Return a bench without days on which a lamp keeps 90 % by its record and 85 % by its readings."""
    t = np.arange(30, 1830, 30)
    light = 600.0 * (0.9 + 0.1 * np.exp(-(t - 60.0) / 200.0))
    (other,) = {"B0", "K1"} - {recorded}
    read = [(other, 500, 60), (other, 500, 1800), (recorded, 600, 60), (recorded, 510, 1800), ("K2", 600, 60)]
    power = [("K1", 1800, 13.2, 20, "lamp"), ("K1", 60, 13.2, 24, "lamp"), ("B0", 60, 13.2, 60, "lamp")]
    return evaluate(
        bench(
            folder,
            csv("lamp,illuminance_lx,elapsed_s,range_lx,cover", [(*row, 4000, "open") for row in read]),
            toml=METER.replace('revision = "1"', 'revision = "1"\nhold_minutes = 30'),
            warm_up=csv(
                "run,lamp,elapsed_s,illuminance_lx,range_lx,cover",
                [("W1", recorded, a, round(b), 4000, "closed") for a, b in zip(t, light, strict=True)],
            ),
            electrical=csv("lamp,elapsed_s,socket_V,power_W,per", power),
        )
    )


@pytest.fixture(scope="module")
def at_odds(tmp_path_factory):
    return of_odds(tmp_path_factory.mktemp("bench"))


def test_a_baseline_at_odds_with_its_readings_is_marked_in_every_row_that_rests_on_it(tmp_path):
    """Oracle: the generating values: 90 % over 85 % of the baseline, 6 % apart; K1 has no record."""
    campaign = of_odds(tmp_path, recorded="B0")
    found = PageOne(campaign, rows_of(campaign))
    told = dict(zip(found.lamps, map(text, found.columns["to know"]), strict=True))
    assert told == {"K1": "record and readings of B0 disagree by 6 %", "K2": ""}


def test_a_record_at_odds_with_its_readings_is_marked_where_its_ratio_is_told(at_odds):
    """Oracle: the generating values: 90 % over 85 %, 6 % apart; K2 has no record."""
    found = PageOne(at_odds, rows_of(at_odds))
    mark = "record and readings of K1 disagree by 6 %"
    assert f" ({mark})" in text(lamp_line(found, "K1"))
    assert mark not in text(lamp_line(found, "K2"))
    told = dict(zip(found.lamps, found.columns["to know"], strict=True))
    assert text(told["K1"]).startswith(mark)
    asked = Question(asked_on="2026-01-05", lamp="any", housing="any", instant="hold", more_than_percent=0.0)
    for one, tail in ((asked, f"; {mark})."), (replace(asked, instant="initial"), " ranges of 95 %).")):
        made = replace(at_odds.bench, questions=(one,))
        assert text(PageOne(evaluate(made), rows_of(at_odds)).questions[0]).endswith(tail)
    assert text(told["K2"]) == ""


def test_watts_of_two_instants_say_when(at_odds):
    """Oracle: by hand: K1 was read at both instants, the baseline at 60 s alone."""
    found = PageOne(at_odds, rows_of(at_odds))
    (column,) = (cells for head, cells in found.columns.items() if head.startswith("W ("))
    watts = text(dict(zip(found.lamps, column, strict=True))["K1"])
    assert watts.startswith("20.0")
    assert watts.endswith(" at 30 min")
    assert re.search(r"60\.\d* ± [\d.]+ W \(95 %\) at 60 s", " ".join(map(text, how_measured(found))))


def test_how_it_was_measured_covers_the_records_and_invents_no_day(at_odds):
    """Oracle: the folder: readings under an open cover, the record under a closed one, no day stated."""
    said = text(how_measured(PageOne(at_odds, rows_of(at_odds)))[0])
    assert " seatings, no day stated and so taken as one;" in said
    assert said.endswith(" Rear cover: closed, sometimes open.")
