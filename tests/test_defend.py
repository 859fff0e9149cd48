"""The answer to a doubter. Oracles: the rows of results.csv as text; a bench evaluated again with what would be off."""

import csv
import io
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from benches import make
from numpy.testing import assert_allclose
from shared_demo import BENCHES, bench_of, campaign_of, demo_campaign, demo_rows, kept, rows_of
from small_benches import METER, bench
from small_benches import csv as table

from photolab.bench.questions.overturning import LeftOut, Off, to_turn, turning
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.pairs import variance_by_term
from photolab.cli import main
from photolab.publication.commands import defend
from photolab.publication.commands.defend import MOST, answer
from photolab.publication.report.front_page import front_page
from photolab.publication.report.tables import as_csv
from photolab.publication.sentences.words_lamp import left_out_sentence

AS_KEPT = sorted(one.name for one in BENCHES.iterdir() if (one / "bench.toml").is_file())
SHAPES = make.shapes()
SIGN = r"[+-]?\d+(?:\.\d+)?"
FIGURE = re.compile(rf"({SIGN}) % \(([\d.]+) % range ({SIGN}) to ({SIGN}) %\)")


@pytest.fixture(scope="module")
def folder_of(tmp_path_factory):
    place = tmp_path_factory.mktemp("benches")

    def folder(name: str) -> Path:
        if name in AS_KEPT:
            return BENCHES / name
        return place / name if (place / name).is_dir() else make.write(SHAPES[name], place / name)

    return folder


def said(campaign, rows, lamp):
    """Return the paragraph and everything else."""
    found = answer(campaign, rows, lamp)
    (paragraph,) = next(iter(found.values()))
    assert f"({len(paragraph)} characters)" in next(iter(found))
    return paragraph, found


@pytest.fixture
def without_leaving_out(monkeypatch):
    """Leave nothing out: what that says is tested apart."""
    monkeypatch.setattr(defend, "_left_out", lambda *_: ())


@pytest.mark.parametrize("name", [*AS_KEPT, *SHAPES])
def test_every_lamp_of_every_bench_has_a_paragraph_of_its_rows(folder_of, name, without_leaving_out):
    """Oracle: the cells of results.csv to the digits printed; one figure a housing and instant, no other."""
    campaign = campaign_of(bench_of(folder_of(name)))
    rows = rows_of(campaign)
    table = list(csv.DictReader(io.StringIO(as_csv(rows))))
    for lamp in campaign.bench.tables["lamps"]["lamp"]:
        paragraph, _ = said(campaign, rows, lamp)
        assert len(paragraph) <= MOST
        mine = [
            row
            for row in table
            if row["lamp"].removeprefix("'") == lamp.removeprefix("'")
            and (row["measurand"], row["scope"], row["point"])
            == ("illuminance ratio", "specimens", "hot_spot")
            and row["family_low"]
        ]
        figures = FIGURE.findall(paragraph)
        assert len(figures) == len(mine), paragraph
        for value, coverage, low, high in figures:
            wanted = [float(coverage) / 100.0, *(1.0 + float(x) / 100.0 for x in (value, low, high))]
            half = [0.0, *(0.005 * 10.0 ** -len(x.partition(".")[2]) for x in (value, low, high))]
            keys = ("coverage", "value", "family_low", "family_high")
            assert any(
                all(
                    abs(float(row[key]) - x) <= h + 1e-9 * abs(x)
                    for key, x, h in zip(keys, wanted, half, strict=True)
                )
                for row in mine
            ), paragraph


def test_the_paragraph_holds_all_that_it_applies_to(without_leaving_out):
    """Oracle: the demo: two housings, both instants, two pieces of which one was held, its bench, its last day."""
    paragraph, found = said(demo_campaign(), demo_rows(), "K3")
    for words in (
        "stone barn (invented demo)",
        "to 3 June 2026",
        "2 specimens (1 held) of K3",
        "40 min after",
    ):
        assert words in paragraph
    assert "more light in HP and less light in HR" in paragraph
    assert "before the heat, 60 s after switch-on" in paragraph
    sold = re.search(
        r"For the model as sold: not shown \((.+?) to (.+?) %\) in HP; less \((.+?) to (.+?) %\) in HR\.",
        paragraph,
    )
    rows = demo_rows()
    mine = rows[
        (rows["lamp"] == "K3") & (rows["measurand"] == "illuminance ratio") & (rows["scope"] == "models")
    ]
    mine = mine[mine["instant"] == "hold"].set_index("housing")
    ends = [100.0 * (mine.loc[h, end] - 1.0) for h in ("HP", "HR") for end in ("family_low", "family_high")]
    assert [float(one) for one in sold.groups()] == pytest.approx(ends, abs=0.51)
    assert "all lamps of its housing being compared at once" in paragraph
    assert (
        "In HP after 40 min: 1 of 2 specimens was held so long."
        in found["What these readings cannot exclude"]
    )


def test_the_rows_are_named_by_their_line(without_leaving_out):
    """Oracle: the lines of results.csv."""
    lines = as_csv(demo_rows()).splitlines()
    named = said(demo_campaign(), demo_rows(), "K5")[1]["Rows of results.csv that say so"]
    assert len(named) == 7
    for one in named:
        cells = lines[int(re.match(r"line (\d+): ", one)[1]) - 1].split(",")
        assert cells[0] == "K5"
        assert all(cell in one for cell in (cells[1], cells[2], cells[7]))


@pytest.mark.parametrize(
    ("name", "lamp", "words"),
    [
        ("heat-reverses", "stock", "stock is what the other lamps are measured against, so it has no figure"),
        (
            "heat-reverses",
            "stock",
            "in R it keeps by its record 99.9 % (95 %: 99.3 to 100.5 %) of its light at 60 s after 30 min",
        ),
        ("one-piece", "Yew", "it keeps by its readings at both instants 92.9 % (90 %: "),
        ("two-clear", "stock", "What it loses itself with heat was not read."),
        ("no-baseline", "Fern", "(no baseline was declared: it is the first read)"),
        ("odd-roles", "Gone", "there is no figure on Gone against stock yet. Gone: no comparison;"),
        ("evening", "nan", "no answer yet: technology missing; say whether"),
        ("club", "Plum", "not held for 20 min, read only 90 s after switch-on"),
    ],
)
def test_lamps_without_a_figure_or_a_heat(folder_of, name, lamp, words, without_leaving_out):
    """Oracle: what each of these benches holds of the lamp."""
    campaign = campaign_of(bench_of(folder_of(name)))
    assert words in said(campaign, rows_of(campaign), lamp)[0]


@pytest.mark.parametrize("number", [3, 14])
def test_long_names_lose_their_ends_before_any_figure_goes(tmp_path, without_leaving_out, number):
    """Oracle: three housings fit with names cut short; fourteen do not fit, and the paragraph says so."""
    lamp, base = "K" * 60, "B" * 60
    shape = make.Shape("many housings", bench={"name": "name " * 60})
    shape.lamps({base: "filament", lamp: "led"})
    for place in range(number):
        housing = f"{place:02d}{'housing' * 8}"
        shape.housings[housing] = make.HOUSING
        shape.seat({base: 500.0, lamp: 600.0}, housing=housing)
    campaign = campaign_of(bench_of(make.write(shape, tmp_path / "b")))
    paragraph, _ = said(campaign, rows_of(campaign), lamp)
    assert len(paragraph) <= MOST
    assert "KKKKK…" in paragraph
    assert len(FIGURE.findall(paragraph)) == (3 if number == 3 else 0)
    assert paragraph.endswith("; more stands in results.csv.") == (number == 14)
    assert ", in 02housi" in paragraph or number == 3


@pytest.mark.parametrize(
    ("name", "lamp", "words"),
    [
        ("two-alike", "Birch", "no single seating decides it: leaving out any one of 48 keeps the verdict."),
        ("two-clear", "Dune LED", ""),  # one seating of each: nothing to leave out
        (
            "heat-reverses",
            "Ibis",
            "60 s after switch-on: leaving out one seating changes the verdict: ",
        ),
    ],
)
def test_leaving_a_part_out(name, lamp, words):
    """Oracle: the seatings of the files; a range that ends at 1.000 hangs on single ones."""
    lines = said(kept(name), rows_of(kept(name)), lamp)[1]["What these readings cannot exclude"]
    told = [line for line in lines if "leaving out" in line]
    assert any(words in line for line in told) if words else not told


def held_only(place, **more):
    """Return a bench whose lamps were read after the hold time alone, three seatings of each."""
    rows = [
        (lamp, 1800, seating, lux + seating)
        for lamp, lux in (("B0", 100), ("K1", 200))
        for seating in (1, 2, 3)
    ]
    head = "lamp,elapsed_s,mounting,illuminance_lx"
    return campaign_of(bench(place, table(head, rows), toml=METER, **more))


def test_a_seating_is_left_out_at_the_instant_of_the_figure(tmp_path):
    """Oracle: twice the light in six seatings: no single one decides it, with a record in the folder or without."""
    log = table("run,lamp,elapsed_s,illuminance_lx", [("W1", "K2", t, 50) for t in range(30, 300, 30)])
    for name, more in (("b", {}), ("c", {"warm_up": log})):
        campaign = held_only(tmp_path / name, **more)
        lines = said(campaign, rows_of(campaign), "K1")[1]["What these readings cannot exclude"]
        words = "After 30 min: no single seating decides it: leaving out any one of 6 keeps the verdict."
        assert any(line.startswith(words) for line in lines)


def test_the_held_seating_alone_knows_what_is_left(tmp_path):
    """Oracle: three seatings, one of them held: without it nothing is known after the heat."""
    rows = [("B0", 60, n, 100) for n in (1, 2, 3)] + [("K1", 60, n, 200 + n) for n in (1, 2, 3)]
    rows += [("B0", 1800, 1, 100), ("K1", 1800, 2, 180)]
    head = "lamp,elapsed_s,mounting,illuminance_lx"
    campaign = campaign_of(bench(tmp_path / "b", table(head, rows), toml=METER))
    lines = said(campaign, rows_of(campaign), "K1")[1]["What these readings cannot exclude"]
    (told,) = (line for line in lines if "seating decides it" in line and line.startswith("After 30 min"))
    assert "Nothing is left to compare without" in told
    assert "K1, seating 2" in told.replace(", specimen 1", "")


def test_what_the_range_of_the_model_excludes_is_not_said_to_be_open(without_leaving_out):
    """Oracle: results.csv: the models' range of Plum lies above 1 in both housings, that of Quince does not."""
    campaign = kept("club")
    for lamp, shown in (("Plum", True), ("Quince", False)):
        rows = rows_of(campaign)
        sold = rows[
            (rows["lamp"] == lamp) & (rows["scope"] == "models") & (rows["measurand"] == "illuminance ratio")
        ]
        assert (sold["family_low"] > 1.0).all() == shown
        lines = said(campaign, rows, lamp)[1]["What these readings cannot exclude"]
        assert any("model as sold" in line for line in lines) != shown
        assert not any(line.endswith((", more.", ", less.")) for line in lines)


def test_a_part_without_which_nothing_is_left_does_not_change_a_verdict():
    """Oracle: the verdicts typed here; None where a lamp then has no reading."""
    each = {"A, specimen 1": None, "B, specimen 1": "clear", "B, specimen 2": "inside"}
    none = " Nothing is left to compare without A, specimen 1."
    words = "Leaving out one specimen changes the verdict: B, specimen 2."
    assert left_out_sentence(LeftOut("specimen", "clear", each)) == words + none
    each["B, specimen 2"] = "clear"
    words = "No single specimen decides it: leaving out any one of 2 keeps the verdict."
    assert left_out_sentence(LeftOut("specimen", "clear", each)) == words + none
    one = LeftOut("specimen", "clear", {"A, specimen 1": None, "B, specimen 1": "clear"})
    words = "Leaving out the one specimen that can be left out, B, specimen 1, keeps the verdict."
    assert left_out_sentence(one) == words + none
    only = LeftOut("specimen", "clear", {"A, specimen 1": None})
    assert left_out_sentence(only) == none.strip()


def test_the_model_is_judged_at_the_instant_of_the_paragraph(without_leaving_out):
    """Oracle: results.csv; K2 was held in HP and not in HR, where only its light at first is known."""
    assert re.search(
        r"For the model as sold: not shown \(.+?\) in HP\.", said(demo_campaign(), demo_rows(), "K2")[0]
    )


# ---- how far an input would have to be off


@pytest.mark.parametrize(
    ("ln_ratio", "half", "verdict", "distance"),
    [
        (0.20, 0.05, "clear", 0.15),
        (-0.20, 0.05, "clear", 0.15),
        (0.02, 0.03, "alike", 0.01),  # to clear, though small
        (0.02, 0.05, "alike", math.log(1.1) - 0.05 - 0.02),  # to not shown
        (0.00, 0.09, "alike", math.log(1.1) - 0.09),  # to not shown
        (0.08, 0.09, "inside", 0.01),  # to clear
        (0.02, 0.09, "inside", 0.02 + 0.09 - math.log(1.1)),  # to alike
        (0.05, 0.30, "inside", 0.25),
        (0.20, 0.05, "alike", 0.0),  # it is another one already
    ],
)
def test_distances_to_another_verdict(ln_ratio, half, verdict, distance):
    """Oracle: closed form, the verdict rule with a margin of 10 %."""
    assert_allclose(to_turn(ln_ratio, half, verdict, alike_percent=10.0), distance, rtol=1e-12, atol=1e-15)


def moved(campaign, lamp, column, change):
    """Evaluate a bench again with a column of one lamp's readings changed."""
    tables = dict(campaign.bench.tables)
    readings = tables["readings"].copy()
    mine = readings["lamp"] == lamp
    readings.loc[mine, column] = change(readings.loc[mine, column])
    return evaluate(replace(campaign.bench, tables=tables | {"readings": readings}))


def end(campaign, lamp, housing):
    """Return ln of the end of the range that lies nearer to no difference."""
    low, high = campaign.family(housing).loc[lamp, ["low", "high"]]
    return min(math.log(low), math.log(high), key=abs)


@pytest.mark.parametrize(("lamp", "housing"), [("K3", "HP"), ("K3", "HR")])
def test_a_lamp_read_so_much_wrong_would_turn_the_verdict(lamp, housing):
    """Oracle: the demo evaluated again, its lux lower or higher by what is said: the range then begins at 1."""
    campaign = demo_campaign()
    found = turning(campaign, lamp, housing=housing)
    assert found.verdict == "clear"
    before = end(campaign, lamp, housing)
    off = next(one for one in found.alone if one.unit == "lx")
    share = off.needed / off.of
    again = moved(campaign, lamp, "illuminance_lx", lambda lux: lux * (1.0 - math.copysign(share, before)))
    assert abs(end(again, lamp, housing)) < 0.03 * abs(before)  # additive terms weigh a little otherwise then


def test_volts_and_place_of_the_head_by_their_laws():
    """Oracle: volts of the baseline changed in the files; the inverse square."""
    campaign = demo_campaign()
    found = turning(campaign, "K3", housing="HR", most=5)
    before = end(campaign, "K3", "HR")
    volts = next(one for one in found.alone if one.unit == "V")
    again = moved(campaign, "B0", "socket_V", lambda volt: volt * (1.0 + volts.needed / volts.of))
    assert abs(end(again, "K3", "HR")) < 2e-3 * abs(before)  # a voltage acts by its logarithm
    place = next(one for one in found.alone if one.unit == "mm")
    assert_allclose(2.0 * math.log1p(place.needed / place.of), abs(before), rtol=1e-9)


def test_two_together_need_less_than_one_alone_and_as_much_in_all():
    """Closed form: shares of one distance, as the two inputs are stated."""
    campaign = demo_campaign()
    found = turning(campaign, "K3", housing="HP", instant="hold")
    assert [one.term for one in found.together] == [one.term for one in found.alone[:2]]
    size = {"lx": lambda one: one.of, "V": lambda one: one.of, "%": lambda _: 100.0}
    alone, together = (
        [-math.log1p(-one.needed / size[one.unit](one)) for one in many]
        for many in (found.alone[:2], found.together)
    )
    assert_allclose(sum(together), alone[0], rtol=1e-9)
    assert_allclose(alone[0], alone[1], rtol=1e-9)
    parts = variance_by_term(campaign.ratio("K3", "B0", housing="HP", instant="hold").result)
    stated = [math.sqrt(parts[one.term]) for one in found.together]
    assert_allclose(together[0] / together[1], stated[0] / stated[1], rtol=1e-9)


def test_what_was_assumed_stands_by_its_weight(folder_of, without_leaving_out):
    """Oracle: the budget of the ratio; f1' of the smallest bench is assumed and brings nearly all of it."""
    campaign = campaign_of(bench_of(folder_of("heat-reverses")))
    lines = said(campaign, rows_of(campaign), "Jay")[1]["What it rests on"]
    shares = [int(share) for line in lines for share in re.findall(r"Up to (\d+) % of the variance", line)]
    assert shares == sorted(shares, reverse=True)
    club = campaign_of(bench_of(folder_of("club")))
    others = " ".join(said(club, rows_of(club), "Plum")[1]["What it rests on"])
    several = [int(share) for share in re.findall(r"Up to (\d+) % of the variance", others)]
    assert len(several) > 2
    assert several == sorted(several, reverse=True)
    places = [("P", "initial"), ("R", "hold")]
    results = [campaign.ratio("Jay", "stock", housing=h, instant=i).result for h, i in places]
    colour = [
        (variance_by_term(one)["colour"] + variance_by_term(one)["own colour"]) / one.u**2 for one in results
    ]
    (first,) = [line for line in lines if line.startswith("Assumed: f1'")]
    assert f"{100.0 * max(colour):.0f} % of the variance" in first


# ---- the command


def test_the_command_prints_it_and_escapes_what_a_terminal_would_obey(tmp_path, capsys, without_leaving_out):
    made = make.write(SHAPES["clear-winner"], tmp_path / "b")
    with (made / "bench.toml").open("a", encoding="utf-8") as stream:
        stream.write(
            '[[their_figure]]\nsource = "maker"\nlamp = "Asp"\ndate = 2026-01-01\ntext = "a\\u001b[31m b"\n'
        )
    assert main(["defend", str(made), "--lamp", "Asp"]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "maker replied on 1 January 2026: “a\\x1b[31m b”" in out
    heads = [line for line in out.splitlines() if line and not line.startswith(" ")]
    assert len(heads) == 6
    assert heads[0].startswith("To paste (")


def test_a_lamp_that_is_not_there_is_refused_with_the_nearest(capsys):
    assert main(["defend", str(BENCHES / "two-alike"), "--lamp", "birch"]) == 2
    refused = capsys.readouterr()
    assert refused.out == ""
    assert 'lamp "birch" is not on this bench; closest is "Birch"; there are: Alder, Birch.' in refused.err


def test_an_assumption_of_a_meter_has_its_own_part_of_the_variance(tmp_path):
    """Oracle: by hand: f1' of M1 is stated, of M2 assumed; no reading of M2 enters, so nothing comes from it."""
    stated = METER + "mismatch_index_percent = 9\n"
    second = '[[meter]]\nid = "M2"\nreading_percent = 3\nranges_lx = [4000]\nresolution_lx = [1]\n'
    rows = [("B0", 500, "d1", 1, "M1"), ("K1", 600, "d1", 1, "M1"), ("B0", 480, "d2", 1, "M2")]
    readings = table("lamp,illuminance_lx,day,mounting,meter", rows)
    campaign = evaluate(bench(tmp_path / "b", readings, toml=stated + second))
    assert {a.name.rpartition(" ")[0] for a in campaign.assumed if a.name.startswith("meter ")} == {
        "meter M1"
    }
    assert any(a.name.startswith("meter M2 ") for a in campaign.bench.assumed)
    told = " ".join(answer(campaign, rows_of(campaign), "K1")["What it rests on"])
    assert "M2" not in told
    assert "f1'" not in told


def test_parts_of_the_variance_are_told_meter_by_meter(tmp_path):
    """Oracle: the budget, input by input: a lamp read on each of two linked meters, f1' of the second assumed."""
    toml = METER + "mismatch_index_percent = 9\nlinearity_percent = 1\n"
    toml += '[[meter]]\nid = "M2"\nreading_percent = 3\nranges_lx = [4000]\nresolution_lx = [1]\n'
    rows = [("B0", 500, "d1", 1, "M1"), ("K1", 600, "d1", 1, "M1"), ("B0", 505, "d1", 2, "M1")]
    rows += [("K1", 610, "d2", 1, "M2"), ("B0", 501, "d2", 1, "M2")]
    links = [
        (lamp, tech, "M1", "M2", 500, 500) for tech in ("filament", "led") for lamp in ("L1", "L2", "L3")
    ]
    campaign = evaluate(
        bench(
            tmp_path / "b",
            table("lamp,illuminance_lx,day,mounting,meter", rows),
            toml=toml,
            links=table("lamp,technology,old_meter,new_meter,old_lx,new_lx", links),
        )
    )
    pair = campaign.ratio("K1", "B0")
    part = sum(
        (c * q.u) ** 2
        for q, c in pair.result.parts.items()
        if q.name[0] in {"colour", "own colour"} and q.name[1] == "M2"
    )
    percent = 100.0 * part / pair.result.u**2
    told = " ".join(answer(campaign, rows_of(campaign), "K1")["What it rests on"])
    (found,) = re.findall(r"spectral error: 10 % \(meter M2\)\. Up to (\d+) % of the variance", told) or ["0"]
    assert abs(float(found) - percent) <= 0.5
    whole = sum((c * q.u) ** 2 for q, c in pair.result.parts.items() if "colour" in q.name[0])
    assert 100.0 * whole / pair.result.u**2 > percent + 20.0


def test_light_that_was_not_read_at_the_hold_time_is_told_as_bounds(tmp_path):
    """Oracle: by hand: the record of K1 ends after 20 of 30 minutes and nothing was read later; K2 was read at 30."""
    toml = METER.replace('revision = "1"', 'revision = "1"\nhold_minutes = 30')
    rows = [("B0", 500, 60), ("B0", 498, 1800), ("K1", 600, 60), ("K2", 560, 60), ("K2", 500, 1800)]
    record = [
        ("W1", "K1", t, round(600.0 * (0.9 + 0.1 * math.exp(-(t - 60) / 300)))) for t in range(30, 1230, 30)
    ]
    campaign = evaluate(
        bench(
            tmp_path / "b",
            table("lamp,illuminance_lx,elapsed_s", rows),
            toml=toml,
            warm_up=table("run,lamp,elapsed_s,illuminance_lx", record),
        )
    )
    found = rows_of(campaign)
    k1, answered = said(campaign, found, "K1")
    assert "by bounds of a record that ends before" in k1
    assert any(
        "not read then, a record ends before" in line
        for line in answered["What these readings cannot exclude"]
    )
    k2, answered = said(campaign, found, "K2")
    assert "bounds" not in k2 + " ".join(answered["What these readings cannot exclude"])
    page = " ".join(front_page(campaign, found, fingerprint="0"))
    assert page.count("at the hold time not read: bounds of a record of 20 min") == 1


def test_an_input_that_is_a_move_of_the_reading_is_called_so():
    """Oracle: 15 % are how far a reading may be off for the colour of its light, not the index f1' of a manual."""
    said = defend._off_words(Off("colour", 15.0, 12.0, "%"), allowed=True)
    assert said == "the reading of the lamp, by the colour of its light (f1'), by 12 % (allowed for: ± 15 %)"
