"""What `photolab check` says. Oracles: folders made for the purpose, each with one thing present or missing."""

import re
from pathlib import Path

import pandas as pd
import pytest
from small_benches import HOUSING, LAMPS, METER, csv, write

from photolab.bench.folder.records import read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.publication.report import readiness
from photolab.publication.sentences import statements

DATA = Path(__file__).parent.parent / "data"
ROWS = csv("lamp,illuminance_lx,housing,range_lx", [("B0", 360, "HP", 4000), ("K1", 440, "HP", 4000)])


def folder(tmp_path, **more):
    files = {"bench.toml": METER + HOUSING, "readings.csv": ROWS, "lamps.csv": LAMPS}
    return write(tmp_path / "bench", files | {f"{stem}.csv": text for stem, text in more.items()})


def test_one_seating_each_asks_for_more_seatings(tmp_path):
    lines = readiness.report(folder(tmp_path))
    assert "Best next step: seat B0 three more times." in lines
    assert any(
        line.startswith("  how lamps compare in one housing") and "yes, to about ±" in line for line in lines
    )
    assert any("candela" in line and "add distance_m" in line for line in lines)
    assert any(
        "anything about the model as sold" in line and "test 3 or more specimens" in line for line in lines
    )


def test_the_assumed_scatter_of_seatings_is_said_as_it_was_declared(tmp_path):
    """Oracle: the default of bench.toml; of single readings at both instants the budget takes their part off it."""
    rows = [(lamp, lux, "HR", s) for lamp, lux in (("B0", 300), ("K1", 333)) for s in (60, 1800)]
    lux = csv("lamp,illuminance_lx,housing,elapsed_s", rows)
    files = {"bench.toml": METER + HOUSING, "lamps.csv": LAMPS, "readings.csv": lux}
    campaign = evaluate(read_bench(write(tmp_path, files)))
    assert campaign.spreads.mounting.sd < 0.03
    assert "seat lamps again; 3 % is assumed" in [
        one.answer for one in readiness.list_abilities(campaign.bench, campaign)
    ]


def test_a_file_that_is_there_turns_a_line_over(tmp_path):
    power = "lamp,elapsed_s,power_W,per\nK1,60,25,lamp\n"
    lines = readiness.report(folder(tmp_path, electrical=power))
    able = lines[lines.index("You can say") : lines.index("You cannot say yet")]
    assert any(line.startswith("  watts at the lamp") for line in able)


@pytest.mark.parametrize(
    ("holes", "said"),
    [
        ((), "yes "),
        (("K1",), "yes, but not 1 run (see what is held back)"),
        (
            ("B0", "K1"),
            "run B0: illuminance must fill the grid of 3 rows and 3 columns once; 1 point is missing",
        ),
    ],
)
def test_a_beam_that_gives_nothing_is_not_called_an_answer(tmp_path, holes, said):
    """Oracle: the grids, whole or with their last cell left out."""
    rows = [
        (lamp, lamp, "HP", h, v, 20 + h + v, 0, 400)
        for lamp in ("B0", "K1")
        for h in (-1, 0, 1)
        for v in (-1, 0, 1)
        if (h, v) != (1, 1) or lamp not in holes
    ]
    header = "run,lamp,housing,horizontal_deg,vertical_deg,illuminance_lx,dark_lx,range_lx"
    made = folder(tmp_path, beam=csv(header, rows))
    toml = (made / "bench.toml").read_text().replace('id = "HP"', 'id = "HP"\ndistance_m = 6')
    (made / "bench.toml").write_text(toml)
    lines = readiness.report(made)
    place = lines.index("You cannot say yet")
    told = [(k < place, line) for k, line in enumerate(lines) if "where the light goes" in line]
    assert [able for able, _ in told] == [len(holes) < 2]
    assert said in told[0][1]


def test_a_report_that_matches_is_said_and_one_that_does_not_names_the_file(tmp_path):
    shown = readiness.report(DATA / "demo", published=DATA.parent / "reports" / "demo")
    assert any(line.endswith("is complete and matches these files.") for line in shown)
    broken = tmp_path / "report"
    broken.mkdir()
    lines = readiness.report(folder(tmp_path), published=broken)
    assert any("incomplete; write it anew with photolab appendix" in line for line in lines)
    assert "  provenance.json is missing" in lines


def test_without_a_report_nothing_is_said_of_one(tmp_path):
    lines = readiness.report(folder(tmp_path), published=tmp_path / "none")
    assert not any(line.startswith("Report ") for line in lines)


@pytest.mark.parametrize(("n", "words"), [(1, "1 fault"), (2, "2 faults"), (0, "0 faults")])
def test_counts_have_their_noun(n, words):
    assert statements.count(n, "fault") == words


def test_the_first_answer_is_one_line_where_nothing_was_held(tmp_path):
    lines = readiness.report(folder(tmp_path))
    assert not any(line.startswith("After ") for line in lines)
    (said,) = [line for line in lines if line.startswith("First answer")]
    assert said.startswith(
        "First answer in HP, 60 s after switch-on, ranges of 95 %: K1: 22 % more light than B0 ("
    )  # 440/360 = 1.222
    assert said.endswith(" the one specimen on the bench.") or "Not shown for the model" in said


def test_the_first_answer_names_the_coverage_of_the_folder(tmp_path):
    """Oracle: bench.toml declares 99 %; the interval is that of the campaign evaluated with it."""
    toml = (METER + HOUSING).replace("[bench]", "[bench]\ncoverage = 0.99")
    place = write(tmp_path / "b", {"bench.toml": toml, "readings.csv": ROWS, "lamps.csv": LAMPS})
    pair = evaluate(read_bench(place)).ratio("K1", "B0", housing="HP")
    (said,) = [line for line in readiness.report(place) if line.startswith("First answer")]
    assert said.startswith("First answer in HP, 60 s after switch-on, ranges of 99 %: ")
    low, high = re.search(r"\((\d+) to (\d+) % more\)", said).groups()
    assert (float(low), float(high)) == pytest.approx((100 * pair.low - 100, 100 * pair.high - 100), abs=0.51)


AGAIN = "lamp,illuminance_lx,housing,range_lx,mounting,elapsed_s"
FIRST = [("B0", 360, "HP", 4000, 1, 60), ("K1", 440, "HP", 4000, 1, 60)]


def test_the_first_answer_is_told_at_both_instants_where_the_lamp_was_held(tmp_path):
    """Oracle: the campaign's own interval at the hold time; 400/359 lies in it, 440/360 is the initial ratio."""
    held = [*FIRST, ("B0", 359, "HP", 4000, 1, 1800), ("K1", 400, "HP", 4000, 1, 1800)]
    place = folder(tmp_path, readings=csv(AGAIN, held))
    late = evaluate(read_bench(place)).ratio("K1", "B0", housing="HP", instant="hold")
    low, high = 100.0 * (late.low - 1.0), 100.0 * (late.high - 1.0)
    lines = readiness.report(place)
    (said,) = [line for line in lines if line.startswith("After 30 min in HP, ranges of 95 %: K1: ")]
    limits = r"([0-9.]+) % less to ([0-9.]+) % more light than B0, for the specimens on the bench\.$"
    found = re.search(limits, said)
    assert float(found[1]) == pytest.approx(-low, abs=0.51)  # half a unit in the last printed digit
    assert float(found[2]) == pytest.approx(high, abs=0.51)


def test_the_answer_after_the_heat_carries_the_verdict_of_its_family():
    """Oracle: the family of K1 in HP at the hold time in results.csv."""
    rows = pd.read_csv(DATA.parent / "reports" / "demo" / "results.csv")
    mine = rows[
        (rows["lamp"] == "K1") & (rows["housing"] == "HP") & (rows["measurand"] == "illuminance ratio")
    ]
    row = mine[(mine["instant"] == "hold") & (mine["scope"] == "specimens")].iloc[0]
    low, high = (100.0 * (row[end] - 1.0) for end in ("family_low", "family_high"))
    said = readiness.first_answer(evaluate(read_bench(DATA / "demo")))[1]
    found = re.search(r"compared in HP: ([0-9.]+) to ([0-9.]+) % more light, clear", said)
    assert [float(found[1]), float(found[2])] == pytest.approx([low, high], abs=0.51)  # half a printed unit
    assert row["family_verdict"] == "clear"


@pytest.mark.parametrize(
    ("rows", "files", "words"),
    [
        (FIRST, {}, "read one seating of each specimen at 30 minutes too: B0 and K1 in HP   "),
        ([*FIRST, ("B0", 359, "HP", 4000, 1, 1800), ("K1", 400, "HP", 4000, 1, 1800)], {}, "yes   "),
        ([*FIRST, ("K1", 400, "HP", 4000, 1, 1800)], {}, "yes, for 1 of 2 lamps"),
        (FIRST, {"warm_up": (10, 720)}, "a bound only for K1, whose record ends at 12 min"),
        (FIRST, {"warm_up": (10, 1800)}, "yes, for 1 of 2 lamps"),
    ],
)
def test_light_after_the_hold_time_asks_for_a_reading_and_not_for_a_log_that_is_not_needed(
    tmp_path, rows, files, words
):
    # the hold time is 30 minutes; a record that ends before it gives a bound
    ends = files.get("warm_up")
    logged = csv(
        "run,lamp,elapsed_s,illuminance_lx", [("W1", "K1", t, 440 - t / 100) for t in range(ends[0], ends[1] + 1, 10)]
    ) if ends else None  # fmt: skip
    more = {"warm_up": logged} if logged else {}
    lines = readiness.report(folder(tmp_path, readings=csv(AGAIN, rows), **more))
    said = [line for line in lines if line.startswith("  how much light is left after 30 minutes")]
    assert any(words in f"{line}   " for line in said)
    assert "warm_up.csv" not in "".join(said)


def test_the_lamps_and_housings_without_a_reading_at_the_hold_time_are_named(tmp_path):
    """Oracle: the folder; K1 is held in HP by a reading and in HR by nothing, B0 in HR by a record."""
    other = [("B0", 400, "HR", 4000, 1, 60), ("K1", 470, "HR", 4000, 1, 60), ("K2", 300, "HR", 4000, 1, 60)]
    rows = csv(AGAIN, [*FIRST, ("K1", 400, "HP", 4000, 1, 1800), *other])
    log = csv(
        "run,lamp,housing,elapsed_s,illuminance_lx", [("W1", "B0", "HR", t, 400) for t in range(10, 1810, 10)]
    )
    lines = readiness.report(folder(tmp_path, readings=rows, warm_up=log))
    (line,) = [line for line in lines if "read one seating of each specimen" in line]
    assert line.endswith("read one seating of each specimen at 30 minutes too: B0 in HP; K1 and K2 in HR")
    assert lines.index(line) > lines.index("You cannot say yet")


def test_the_specimens_without_a_reading_at_the_hold_time_are_named_where_their_lamp_has_one(tmp_path):
    """Oracle: the folder; K1 a is held by a reading and b by a record, c by nothing; B0 is held in HP alone."""
    early = [("B0", "a", "HP"), *(("K1", piece, "HP") for piece in "abc"), ("B0", "a", "HR")]
    rows = [(*one, 400, 4000, 60) for one in early]
    rows += [("B0", "a", "HP", 390, 4000, 1800), ("K1", "a", "HP", 390, 4000, 1800)]
    log = [("W1", "K1", "b", "HP", t, 400) for t in range(10, 1810, 10)]
    log += [("W2", "K1", "c", "HP", t, 400) for t in range(10, 1210, 10)]
    files = {
        "readings": csv("lamp,specimen,housing,illuminance_lx,range_lx,elapsed_s", rows),
        "warm_up": csv("run,lamp,specimen,housing,elapsed_s,illuminance_lx", log),
    }
    lines = readiness.report(folder(tmp_path, **files))
    (line,) = [line for line in lines if "what each specimen keeps" in line]
    assert line.endswith(
        "what each specimen keeps after 30 minutes   read these at 30 minutes too: K1 c in HP"
    )
    assert lines.index(line) > lines.index("You cannot say yet")


def test_the_next_step_names_lamps_that_have_no_technology(tmp_path):
    unsaid = write(tmp_path / "b", {"bench.toml": METER + HOUSING, "readings.csv": ROWS})
    assert "Best next step: write the technology of B0 and K1 in lamps.csv." in readiness.report(unsaid)


def test_the_next_step_says_which_lamp_to_seat_again_and_how_often():
    # the demo: seating decides, and K7, seated twice in HR, needs four for an even chance
    lines = readiness.report(DATA / "demo")
    step = next(line for line in lines if line.startswith("Best next step: "))
    assert (
        step
        == "Best next step: seat K7 2 more times in HR: then it is an even chance that it is told apart from B0."
    )


def test_two_lamps_on_two_meters_are_told_to_share_one(tmp_path):
    toml = METER + '[[meter]]\nid = "M2"\nreading_percent = 4\nrange_percent = 0.5\n' + HOUSING
    rows = csv("lamp,illuminance_lx,housing,meter", [("B0", 360, "HP", "M1"), ("K1", 440, "HP", "M2")])
    place = write(tmp_path / "b", {"bench.toml": toml, "readings.csv": rows, "lamps.csv": LAMPS})
    assert (
        "Best next step: read all lamps with M1, or three lamps of a technology with M1 and M2 (links.csv)."
        in readiness.report(place)
    )


def test_a_folder_that_takes_long_says_so_first(tmp_path, monkeypatch):
    said = []
    readiness.report(folder(tmp_path), say=said.append)
    assert said == []
    monkeypatch.setattr(readiness, "LONG_S", 0.0)
    readiness.report(folder(tmp_path), say=said.append)
    assert said[0] == "bench: reading the files will take about 0 min."
    assert said[1:] == ["bench: read. Comparing 2 seatings will take about 1 min.", "bench: compared."]
