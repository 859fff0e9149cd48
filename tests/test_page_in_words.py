"""Lines to paste. Oracle: results.csv as it is written, and what is left of a line wherever it is cut."""

import csv
import io
import re

import pytest
from shared_demo import demo_campaign, demo_rows, kept, rows_of

from photolab.publication.report.in_words import as_markdown, in_words
from photolab.publication.report.page_one import PageOne, Told
from photolab.publication.report.tables import as_csv

BENCHES = [
    "demo",
    "feet-and-commas",
    "club",
    "heat-reverses",
]  # the second has one housing, the third no hold reading
FIGURE = re.compile(r"([+-]?[\d.]+) % \((\d+) % range ([+-]?[\d.]+) to ([+-]?[\d.]+) %\)(?: in (\w+))?")


def campaign_of(name):
    return demo_campaign() if name == "demo" else kept(name)


def lines_of(name):
    campaign = campaign_of(name)
    lines = in_words(PageOne(campaign, rows_of(campaign)))
    said = ["".join(one if isinstance(one, str) else one.text for one in line) for line in lines]
    return lines, [one.replace("\N{NO-BREAK SPACE}", " ") for one in said]


def published(name):
    text = as_csv(demo_rows() if name == "demo" else rows_of(kept(name)))
    return list(csv.DictReader(io.StringIO(text)))


def of_lamp(said):
    return [
        (re.search(r"specimens?(?: \(\d+ held\))? of (.+?)(?: \(\w+\))?(?: in .+)? against", one)[1], one)
        for one in said
        if " against " in one and "at one place of the beam" in one
    ]


@pytest.mark.parametrize("name", BENCHES)
def test_each_figure_of_a_lamp_is_that_of_results_csv(name):
    """Oracle: the row of that lamp, housing and instant; the ratio less one, to the digits shown."""
    light = {
        (r["lamp"], r["housing"], r["instant"]): r
        for r in published(name)
        if r["measurand"] == "illuminance ratio" and r["point"] == "hot_spot" and r["scope"] == "specimens"
    }
    said = of_lamp(lines_of(name)[1])
    assert {lamp for lamp, _ in said} == {lamp for lamp, *_ in light}
    seen = 0
    for lamp, line in said:
        late, _, early = line.partition("; before the heat, ")
        first = "initial" if "not held for" in line else "hold"
        for text, instant in ((late, first), (early, "initial")):
            for value, percent, low, high, housing in FIGURE.findall(text):
                row = light[lamp, housing or next(iter({h for _, h, _ in light})), instant]
                assert float(percent) == 100.0 * float(row["coverage"])
                for shown, key in ((value, "value"), (low, "family_low"), (high, "family_high")):
                    half = 0.5 * 10.0 ** -len(shown.partition(".")[2])
                    assert abs(float(shown) - 100.0 * (float(row[key]) - 1.0)) <= half + 1e-9, (line, key)
                seen += 1
    assert seen >= len(said)


@pytest.mark.parametrize("name", BENCHES)
def test_each_figure_of_every_line_names_its_row_and_column(name):
    """Oracle: results.csv; a percentage of a ratio is told as what is more, all else as it stands."""
    rows = published(name)
    told = [one for line in lines_of(name)[0] for one in line if isinstance(one, Told)]
    assert told
    for one in told:
        (row,) = (r for r in rows if all(r[key] == wanted for key, wanted in one.row))
        assert float(row[one.column]) == pytest.approx(one.value, rel=1e-9)


@pytest.mark.parametrize("name", BENCHES)
def test_no_cut_leaves_a_figure_without_its_scope(name):
    """Oracle: what a reader must know; whatever is cut from the end, it stands before the first figure."""
    campaign = campaign_of(name)
    days = sorted(filter(None, campaign.bench.tables["days"]["date"]))
    for lamp, line in of_lamp(lines_of(name)[1]):
        before = line[: FIGURE.search(line).start()]
        for wanted in (
            campaign.bench.settings.name,
            lamp,
            campaign.baseline,
            "after switch-on",
            "specimen",
            "one place",
        ):
            assert wanted in before
        assert days[0][:4] in before
        for housing in {place for *_, place in FIGURE.findall(line) if place}:
            assert f" in {housing}" in before
        if "not held for" not in line:
            read = campaign.compared()
            read = [n for n in read if n[0] == lamp and n[2] == "hot_spot"]
            gone = [n[1] for n in read if (*n[:3], "hold") not in campaign.compared("hold")]
            assert all(f"not held in {housing}" in before for housing in gone)
        if "before the heat" in line:
            assert "min after switch-on" in before
        else:
            assert "not held for" in before
        assert len(re.findall(r"(?<!alike within )\b\d[\d.]* %", line)) == 3 * len(FIGURE.findall(line))


def test_what_has_no_range_has_no_figure():
    """Oracle: a bench that states no technology has no interval."""
    said = [line for _, line in of_lamp(lines_of("evening")[1])]
    assert len(said) == 7
    assert not [line for line in said if re.search(r"[+-]\d+ %", line)]


@pytest.mark.parametrize("name", BENCHES)
def test_a_word_that_two_housings_share_stands_once(name):
    """Oracle: the verdicts of results.csv in the two housings, and the words of a line."""
    for _, line in of_lamp(lines_of(name)[1]):
        shown = line.partition("; ")[0]
        for word in ("more light in", "less light in"):
            assert shown.count(f"and {word}") <= 1
            assert shown.replace("which gives more light in", "").count(word) <= 1
        assert shown.count("not shown which gives more light") <= 1


def test_names_are_no_markup_and_invention_is_said():
    """Oracle: the marks of markdown in a name, and a bench that calls itself invented."""
    campaign = demo_campaign()
    assert "a\\_b\\*" in as_markdown(campaign, (("a_b*",),))
    assert "**INVENTED DEMO DATA: no lamp, maker or reading in this list is real.**" in as_markdown(
        campaign, ()
    )
    assert "Invented" not in as_markdown(kept("club"), ())
