"""A part for every lamp, and what was assumed by its weight. Oracle: the files of benches, results.csv, the budgets."""

import html
import math
import re

import pytest
from benches import make
from shared_demo import bench_of, campaign_of, demo_campaign, kept, rows_of

from photolab.bench.results.heat import warm_up_runs
from photolab.bench.terms.assumptions import Assumption
from photolab.publication.report.front_page import front_page, how_measured
from photolab.publication.report.lamp_parts import lamp_parts, price_words
from photolab.publication.report.page_one import PageOne
from photolab.publication.sentences.cautions import assumed_words
from photolab.publication.sentences.figure_tables import all_lamps, budgets, lamp_order

BENCHES = ["demo", "club", "feet-and-commas", "all-alike", "heat-reverses"]


@pytest.fixture(scope="module")
def campaign(request, tmp_path_factory):
    name = request.param
    if name == "all-alike":  # five lamps in one housing
        return campaign_of(bench_of(make.write(make.shapes()[name], tmp_path_factory.mktemp("bench") / name)))
    return demo_campaign() if name == "demo" else kept(name)


def parts_of(campaign):
    """Return the part of each lamp by its name."""
    whole = "".join(lamp_parts(PageOne(campaign, rows_of(campaign))).blocks)
    pieces = re.split(r'<h3 id="lamp-(\d+)">', whole)[1:]
    return {
        html.unescape(text.partition("</h3>")[0]): (int(n), text)
        for n, text in zip(pieces[::2], pieces[1::2], strict=True)
    }


@pytest.mark.parametrize("campaign", BENCHES, indirect=True)
def test_every_lamp_has_its_part(campaign):
    """Oracle: lamps compared, their records, their claims and prices in lamps.csv."""
    bench, parts = campaign.bench, parts_of(campaign)
    names = [n for n in (*campaign.compared("hold"), *campaign.compared()) if n[2] == "hot_spot"]
    assert set(parts) == {name[0] for name in names}
    recorded = {run.lamp for run in warm_up_runs(bench)}
    lamps = bench.tables["lamps"].set_index("lamp")
    for lamp, (number, text) in parts.items():
        for housing in {name[1] for name in names if name[0] == lamp}:
            assert re.search(rf"In {housing}, \d+ (min|s) after switch-on: (more|less|alike|not shown)", text)
        assert f"<caption>What blurs {lamp} against {campaign.baseline} most</caption>" in text
        assert ("<figure>" in text) == (lamp in recorded)
        assert bool(re.search(" lm per |flux is claimed|the claimed flux", text)) == (
            not math.isnan(lamps.loc[lamp, "claimed_flux_lm"])
        )
        assert ("gained percent" in text) == (not math.isnan(lamps.loc[lamp, "price"]))
        assert f'<a href="#found-{number}">' in text


@pytest.mark.parametrize("campaign", ["demo", "club", "heat-reverses"], indirect=True)
def test_a_gained_percent_has_a_price_where_more_light_is_shown_after_the_heat(campaign):
    """Oracle: family_verdict and value of the row after the hold time, of the initial one where there is none."""
    rows = rows_of(campaign)
    light = rows[(rows["measurand"] == "illuminance ratio") & (rows["scope"] == "specimens")]
    light = light[light["point"] == "hot_spot"].set_index(["lamp", "housing", "instant"])
    given = []
    for lamp, housing in dict.fromkeys((x, h) for x, h, _ in light.index):
        late = (lamp, housing, "hold") in light.index
        row = light.loc[(lamp, housing, "hold" if late else "initial")]
        code, words = price_words(campaign, lamp, housing)
        assert (code == "given") == (row["family_verdict"] == "clear" and row["value"] > 1.0)
        when = f"{row['hold_minutes']:g} min" if late else f"{row['initial_s']:g} s"
        assert words.startswith(f"{when} after switch-on, {lamp} in {housing}: ")
        given.append(code == "given")
    assert any(given)
    assert not all(given)


@pytest.mark.parametrize("campaign", BENCHES, indirect=True)
def test_rows_and_parts_lead_to_one_another(campaign):
    """Oracle: the names of places and the links of the page."""
    front = "".join(front_page(campaign, rows_of(campaign), fingerprint="f"))
    parts = parts_of(campaign)
    rows = dict(re.findall(r'<tr id="found-(\d+)"><th scope="row"><a href="#lamp-(\d+)">', front))
    assert rows == {str(number): str(number) for number, _ in parts.values()}
    table = PageOne(campaign, rows_of(campaign)).table
    assert [row[0][0] for row in table] == list(parts)
    assert list(dict.fromkeys(all_lamps(campaign)["lamp"])) == [x for x in lamp_order(campaign) if x in parts]


@pytest.mark.parametrize("campaign", BENCHES, indirect=True)
def test_every_marked_figure_of_the_page_is_that_of_results_csv(campaign):
    """Oracle: the row that the mark names, its column; as it is read, to the digits shown."""
    rows = rows_of(campaign)
    page = "".join(
        [*front_page(campaign, rows, fingerprint="f"), *lamp_parts(PageOne(campaign, rows)).blocks]
    )
    marked = re.findall(r'<data value="([^"]+)" ([^>]*)>([^<]+)</data>', page)
    assert len(marked) > 8 * rows["lamp"].nunique()
    for value, attributes, text in marked:
        named = {key: html.unescape(x) for key, x in re.findall(r'data-(\w+)="([^"]*)"', attributes)}
        mine, column = rows, named.pop("column", "value")
        for key, wanted in named.items():
            mine = mine[mine[key].fillna("") == wanted]
        (row,) = mine.to_dict("records")
        assert float(value) == row[column]
        shown = re.match(r"[+-]?[0-9.]+", text)[0]
        scale, less = {"illuminance ratio": (100.0, 1.0), "remaining light": (100.0, 0.0)}.get(
            named["measurand"], (1.0, 0.0)
        )
        half = 0.5 * 10.0 ** -len(shown.partition(".")[2])
        assert abs(float(shown) - scale * (row[column] - less)) <= half + 1e-9, (text, named)


@pytest.mark.parametrize("campaign", BENCHES, indirect=True)
def test_budgets_of_a_part_hold_all_of_the_uncertainty(campaign):
    """Oracle: the budget itself; squares of the lines shown add up to the whole, to the digits shown."""
    for lamp, (_, text) in parts_of(campaign).items():
        mine = [lines for (one, _), (_, lines) in budgets(campaign).items() if one == lamp]
        body = re.search(r"<caption>What blurs.*?<tbody>(.*?)</tbody>", text, re.DOTALL)[1]
        cells = [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in re.findall("<tr>(.*?)</tr>", body)]
        for column, lines in enumerate(mine, start=3):
            far = dict(lines[["what", "how_far"]].to_numpy())
            assert all(far[row[0]] in row[1] for row in cells if row[0] in far)
            together = math.sqrt(sum(float(row[column]) ** 2 for row in cells))
            assert together == pytest.approx(
                math.sqrt((lines["moves"] ** 2).sum()), rel=0.045
            )  # two digits each


@pytest.mark.parametrize("campaign", BENCHES, indirect=True)
def test_what_was_assumed_stands_in_words_by_its_weight(campaign):
    """Oracle: the largest assumed line of any budget; no key of bench.toml is a word."""
    lines = {name: found for name, (_, found) in budgets(campaign).items()}
    told = assumed_words(campaign.assumed, lines)
    assert len(told) == len(campaign.assumed)
    assert list(told["moves"]) == sorted(told["moves"], reverse=True)
    assert not [words for words in told["input"] if "_" in words]
    most = max(float(one["moves"].max()) for found in lines.values() if len(one := found[found["assumed"]]))
    assert told["moves"].iloc[0] == pytest.approx(most, rel=1e-8)
    said = "".join(str(part) for part in how_measured(PageOne(campaign, rows_of(campaign)))[-1])
    assert told["input"].iloc[0] in said


def test_every_assumed_line_of_a_budget_is_in_the_list():
    """Oracle: the assumed lines of the budgets that move a ratio, bench by bench."""
    for one in (demo_campaign(), *map(kept, ("club", "feet-and-commas", "two-meters", "two-clear"))):
        lines = {name: found for name, (_, found) in budgets(one).items()}
        told = assumed_words(one.assumed, lines)
        for found in lines.values():
            for line in found[found["assumed"] & (found["moves"] > 0.05)].to_dict("records"):
                alone = {("x", ""): found[found["what"] == line["what"]]}
                assert assumed_words(one.assumed, alone)["moves"].max() > 0.0, line["what"]
        assert (told["moves"] > 0.0).any()


def test_an_assumption_is_sized_by_its_key_and_not_by_the_name_of_a_meter():
    """Oracle: the id of the meter as typed, though it has blanks and words that other assumptions are known by."""
    notes = [
        Assumption("limit_kind", "limit", "", "", "meter", meter, told="what the accuracy line means")
        for meter in ("M1", "blue spectral mismatch box", "a_b")
    ]
    told = assumed_words(notes, {})
    asked = ["M1", "blue spectral mismatch box", "a_b"]
    assert list(told["input"]) == [f"what the accuracy line means ({meter})" for meter in asked]
    assert set(told["change"]) == {"every ratio: how wide the meter's part is"}
    assert {note.terms for note in notes} == {("range term",)}
    stated = Assumption("range_percent", 0.0, "%", "second part of the accuracy line", "meter", "blue box")
    assert stated.name == "meter blue box range_percent"
    assert list(assumed_words([stated], {})["input"]) == ["range percent (blue box)"]
