"""A test day typed at a hot bench: `photolab take`.

Oracles: the protocol's instants counted by hand, the reader of bench folders, a bench with one more seating in it. The
benches are invented.
"""

import csv
import io
import json
import os
import re
import subprocess
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from terminals import Terminal, fast_take

from photolab.bench.folder import journal as journal_module
from photolab.bench.folder.records import new_folder, read_bench
from photolab.bench.results.evaluation import evaluate
from photolab.cli import main
from photolab.errors import MethodError
from photolab.publication.commands import take_screen
from photolab.publication.commands.take_dialogue import Take, interval_words
from photolab.publication.sentences.cautions import DISCHARGE

DATE = "2026-03-04"
START = datetime(2026, 3, 4, 18, 0, tzinfo=UTC)
TOML = """\
schema = 1
[bench]
name = "a shed (invented)"
initial_s = 60
hold_minutes = 10
[[meter]]
id = "M1"
reading_percent = 3
digits = 5
ranges_lx = [400, 4000, 40000]
resolution_lx = [0.1, 1, 10]
[[housing]]
id = "left"
"""
LAMPS = "lamp,technology,role\nstock,filament,baseline\nwren,led,candidate\nowl,led,candidate\n"
HEAD = "lamp,illuminance_lx,housing,day,clock,specimen,mounting,repeat,elapsed_s,rest_minutes,range_lx,dark_lx,note"
DAYS = "day,date\nd1,2026-03-01\nd2,2026-03-04\n"
ROWS = [
    f"{lamp},{lux + scatter},left,d1,{hour}:00,1,{seat},{repeat},60,,4000,3,"
    for hour, (lamp, lux) in enumerate([("stock", 500), ("wren", 610)], start=14)
    for seat, shift in ((1, 0), (2, 9), (3, -8))
    for repeat, scatter in ((1, shift), (2, shift + 1), (3, shift - 1))
]
PLAN = "step,date,lamp,specimen,housing,mounting,instant\n"


def shed(folder, *, readings=None, toml=TOML, **files):
    folder.mkdir(parents=True)
    texts = {"bench.toml": toml, "lamps.csv": LAMPS, "days.csv": DAYS}
    texts["readings.csv"] = "\n".join([HEAD, *ROWS]) + "\n" if readings is None else readings
    for name, text in {**texts, **{f"{k}.csv": v for k, v in files.items()}}.items():
        (folder / name).write_bytes(text.encode())
    return folder


class Bench:
    """A person at the bench: types at known moments and reads what stands there."""

    def __init__(self, folder, began=START):
        self.folder, self.t = folder, began
        self.take = Take(folder, lambda: self.t)

    def __call__(self, *lines, after=3.0):
        for line in lines:
            self.t += timedelta(seconds=after)
            self.take.enter(line, self.t)
        return self.view

    def at(self, s, *lines):
        """Type lines from so many seconds after switch-on."""
        self.t = self.take.seating.on + timedelta(seconds=s)
        return self(*lines, after=1.0)

    @property
    def view(self):
        return self.take.view(self.t)

    @property
    def rows(self):
        return list(csv.DictReader(io.StringIO((self.folder / "readings.csv").read_text(encoding="utf-8"))))

    @property
    def entries(self):
        return self.take.journal.entries

    def seat(self, lamp, *figures, hold=None, note=""):
        """Seat a lamp by its code and read it; the range is known."""
        self(lamp, "1", "")
        self.at(61, *figures, "")
        if note:
            self(f"note {note}")
        if self.take.awaited:
            self.at(601, *(hold or ["skip"]), *([""] if hold else []))
        return self("")


def ready(folder, **files):
    """Return a person who has told the range and the dark reading of the day."""
    bench = Bench(shed(folder, **files))
    bench("wren", "1", "4000", "3", "undo", "undo", "undo")
    bench("wren", "1", "4000", "3", "skip")
    return bench


def test_a_seating_becomes_rows_behind_the_others(tmp_path):
    bench = Bench(shed(tmp_path / "shed"))
    before = (bench.folder / "readings.csv").read_bytes()
    assert bench.view.prompt == "Code of the lamp to seat, or stop"
    assert bench("help").said.startswith("words: stop, undo, note and what to note, skip, keep, swap;")
    assert bench.view.prompt == "Code of the lamp to seat, or stop"
    assert bench("wren").prompt == "Which piece of wren"
    assert bench("").prompt == "Range of the meter, 400, 4000, 40000 lx"
    assert bench("4000").prompt == "Dark reading: meter in its place, lamp covered (Enter: none)"
    assert bench("3").prompt == "Enter at the moment wren is switched on"
    assert bench("").prompt == "Read at 1:00"
    assert bench.at(60.5).prompt == "READ NOW: the figure of the meter"
    assert bench.at(66, "612").said == "kept."
    assert bench("611").lines == ("at 1:00   612  611", "at 10:00")
    bench("", "note the door was open")
    assert bench.at(601, "571").big == "10:02"
    assert bench("").prompt == "Switch wren off, then Enter"
    assert (bench.folder / "readings.csv").read_bytes() == before
    bench("")
    after = (bench.folder / "readings.csv").read_bytes()
    assert after.startswith(before)
    same = {
        "lamp": "wren",
        "housing": "left",
        "day": "d2",
        "specimen": "1",
        "mounting": "1",
        "rest_minutes": "",
    }
    same |= {"range_lx": "4000", "dark_lx": "3"}
    told = [(row["illuminance_lx"], row["elapsed_s"], row["repeat"], row["clock"]) for row in bench.rows[-3:]]
    assert told == [("612", "60", "1", "18:01"), ("611", "60", "2", "18:01"), ("571", "600", "1", "18:10")]
    assert all(same.items() <= row.items() for row in bench.rows[-3:])
    assert [row["note"] for row in bench.rows[-3:]] == ["the door was open", "", ""]
    assert read_bench(bench.folder).tables["readings"]["illuminance_lx"].tolist()[-3:] == [
        612.0,
        611.0,
        571.0,
    ]


def test_a_mark_is_beeped_once(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    on = bench.take.seating.on
    ticks = [on + timedelta(seconds=0.25 * n) for n in range(2600)]
    beeps = [one for before, one in pairwise(ticks) if bench.take.mark_reached(before, one)]
    assert [(one - on).total_seconds() for one in beeps] == [60.0, 600.0]


def test_range_and_dark_are_asked_once_a_day_and_where_the_figure_speaks_of_another_range(tmp_path):
    bench = ready(tmp_path / "shed")
    assert bench("wren", "1").prompt == "Enter at the moment wren is switched on"
    bench("")
    assert "on which range, 400, 4000, 40000 lx" in bench.at(61, "4310").said  # more than the range shows
    assert "not a range" in bench("500").said
    assert bench("40000").prompt.startswith("Dark reading")
    assert bench("20").prompt == "Another figure, or Enter to go on"
    assert "on which range" in bench("4315").said  # its steps are of 10 lx
    assert "on which range" in bench("400").said  # cannot be
    assert bench("40000").said == "kept."
    bench("", "skip", "")
    told = [(row["illuminance_lx"], row["range_lx"], row["dark_lx"]) for row in bench.rows[-2:]]
    assert told == [("4310", "40000", "20"), ("4315", "40000", "20")]


def test_light_that_the_reader_would_refuse_is_not_kept(tmp_path):
    """Oracle: the reader of bench folders, which refuses rows with such light."""
    bench = Bench(shed(tmp_path / "shed"))
    bench("wren", "1", "400")
    assert bench("612").said == "dark 612 lx cannot be read on the 400 lx range."
    bench("3", "")
    assert bench.at(61, "2", "keep").said == "dark 3 lx is not below the reading of 2 lx."
    assert bench("316").said == "kept."
    assert bench.at(70, "612", "keep", "4000").prompt.startswith("Dark reading")
    assert bench("612").said == "dark 612 lx is not below the reading of 612 lx."
    assert bench("-300").said.startswith("dark -300 lx; a covered meter shows 0")
    bench("5", "", "skip", "")
    assert [(row["illuminance_lx"], row["dark_lx"]) for row in bench.rows[-2:]] == [
        ("316", "3"),
        ("612", "5"),
    ]
    assert len(read_bench(bench.folder).tables["readings"]) == len(ROWS) + 2


@pytest.mark.parametrize(
    ("term", "refused", "kept"),
    [("digits = 8", "-9", "-8"), ("range_percent = 1", "-41", "-40"), ("digits = 2", "-6", "-5")],
)
def test_a_dark_reading_is_no_lower_than_the_accuracy_line_allows(tmp_path, term, refused, kept):
    """Oracle: by hand on the 4000 lx range of 1 lx steps: the accuracy line's part, but no less than five steps."""
    bench = Bench(shed(tmp_path / "shed", toml=TOML.replace("digits = 5", term)))
    bench("wren", "1", "4000")
    assert bench(refused).said.startswith(f"dark {refused} lx; a covered meter shows 0")
    assert bench(kept).prompt == "Enter at the moment wren is switched on"


def test_a_dark_reading_of_a_display_without_declared_steps_is_held_against_the_light(tmp_path):
    """Oracle: by hand: a step is taken as 1 % of the least reading on the range, 6120 lx: five are 306 lx."""
    toml = TOML.replace("digits = 5\n", "").replace("resolution_lx = [0.1, 1, 10]\n", "")
    bench = Bench(shed(tmp_path / "shed", toml=toml))
    bench("wren", "1", "4000")
    assert bench("-3").prompt == "Enter at the moment wren is switched on"  # nothing yet to hold it against
    bench("")
    assert bench.at(61, "6120", "keep", "40000").prompt.startswith("Dark reading")
    assert bench("-307").said.startswith("dark -307 lx; a covered meter shows 0")
    assert bench("-306").prompt == "Another figure, or Enter to go on"


def test_light_at_the_top_of_the_range_is_still_on_it(tmp_path):
    """Oracle: the reader of bench folders, which refuses light above the range alone."""
    toml = TOML.replace("[400, 4000, 40000]", "[4000]").replace("[0.1, 1, 10]", "[1]")
    bench = Bench(shed(tmp_path / "shed", toml=toml))
    bench("wren", "1", "3", "")
    bench.at(61, "4000", "keep")
    bench("", "skip", "")
    assert read_bench(bench.folder).tables["readings"]["illuminance_lx"].tolist()[-1] == 4000.0


def test_a_meter_with_one_range_shows_nothing_above_it(tmp_path):
    """Oracle: the reader of bench folders."""
    toml = TOML.replace("[400, 4000, 40000]", "[4000]").replace("[0.1, 1, 10]", "[1]")
    bench = Bench(shed(tmp_path / "shed", toml=toml))
    bench("wren", "1", "3", "")
    assert bench.at(61, "6120", "keep").said == "6120 lx cannot be read on the 4000 lx range."
    assert bench("612").said == "kept."
    bench("", "skip", "")
    assert read_bench(bench.folder).tables["readings"]["illuminance_lx"].tolist()[-1] == 612.0


def test_a_figure_far_from_its_like_is_asked_about_and_the_answer_kept(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    said = bench.at(61, "612", "642").said
    assert said == "642: far from its like. keep, or type it again."
    assert not re.search(r"%|times|ratio|more|less", said)
    assert bench("613").lines[0] == "at 1:00   612  613"
    assert bench("629").said.endswith("again.")
    assert bench("keep").lines[0] == "at 1:00   612  613  629"
    talk = [(e["entry"], e["text"]) for e in bench.entries if e["entry"] in {"asked", "answered"}]
    assert [text for entry, text in talk if entry == "answered"] == ["613", "keep"]
    assert [text.partition(":")[0] for entry, text in talk if entry == "asked"] == ["642", "629"]


def test_two_digits_swapped_are_asked_about_on_the_first_evening_too(tmp_path):
    """Oracle: by hand, ln(853/583) is 0.38; repeats of a lamp that flickers scatter by a few percent."""
    bench = Bench(shed(tmp_path / "shed", readings=HEAD + "\n"))
    bench("wren", "1", "4000", "3", "")
    assert bench.at(61, "853", "826").said == "kept."
    assert bench("583").said == "583: far from its like. keep, or type it again."


def test_six_reading_sds_are_those_of_the_bench(tmp_path):
    bench = ready(tmp_path / "shed")
    sd = bench.take.campaign.spreads.reading["wren"].sd
    bench("wren", "1", "")
    bench.at(61, "1000", "keep")
    inside, outside = (round(1000 * (1 + 6 * sd * k)) for k in (0.9, 1.15))
    assert bench(str(inside)).said == "kept."
    bench("undo")
    assert bench(str(outside)).said.endswith("again.")


def test_a_repeat_that_doubles_is_asked_about_on_a_bench_that_never_repeated(tmp_path):
    """Oracle: by hand: 620 and 340 lx against 300 lx, six times 3 % being 18 %; nobody knows the scatter."""
    bench = Bench(shed(tmp_path / "shed", readings=HEAD + "\n"))
    bench("wren", "1", "4000", "3", "")
    bench.at(61, "300")
    assert bench("620").said == "620: far from its like. keep, or type it again."
    assert bench("340").said == "kept."


@pytest.mark.parametrize(("figure", "asked"), [("6120", True), ("61", True), ("1500", False), ("200", False)])
def test_a_slip_of_one_place_is_asked_about(tmp_path, figure, asked):
    bench = ready(tmp_path / "shed")
    bench("owl", "1", "")  # never read: the other lamps of the housing are its like
    assert bench.at(61, figure).said.startswith(f"{figure}: far") is asked


def test_a_late_figure_is_read_at_the_mark_or_belongs_to_the_warm_up(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    assert bench.at(94, "612").said.startswith("612: typed 95 s after switch-on.")
    assert bench("keep").lines[0] == "at 1:00   612"
    bench("undo")
    bench.at(119, "608")
    assert bench("").lines[-1] == "warm-up   608"
    assert bench.view.prompt == "READ NOW: the figure of the meter"
    assert [e["s"] for e in bench.entries if e["entry"] == "lux"] == [60.0, 120.0]


def test_a_warm_up_by_hand_is_stamped_by_the_clock(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    bench.at(19, "640")
    bench.at(61, "612", "")
    for s in (119, 239.4, 419):
        bench.at(s, "600")
    bench.at(601, "571", "")
    bench.at(699, "570")
    bench("")
    record = read_bench(bench.folder).tables["warm_up"]
    assert record["elapsed_s"].tolist() == [20.0, 120.0, 240.4, 420.0, 700.0]
    assert record["illuminance_lx"].tolist() == [640.0, 600.0, 600.0, 600.0, 570.0]
    assert set(record["run"]) == {f"{DATE}-2"}
    assert [row["elapsed_s"] for row in bench.rows[-2:]] == ["60", "600"]


def test_a_lamp_rests_before_it_is_called(tmp_path):
    plan = (
        PLAN + f"1,{DATE},wren,1,left,1,initial\n2,{DATE},wren,1,left,2,initial\n3,{DATE},owl,1,left,1,hold\n"
    )
    bench = Bench(shed(tmp_path / "shed", plan=plan))
    assert bench.view.title == "Step 1: wren, piece 1, in left"
    bench("", "4000", "3", "")
    bench.at(61, "612", "", "")
    assert (bench.view.title, bench.view.lines[0][:22]) == ("A rest", "wren rests until 18:31")
    assert bench.view.big == "30:00"
    assert "wren rests until 18:31" in bench("").said
    bench("")
    assert bench.take.day.open is None
    assert bench("swap").title == "Step 3: owl, piece 1, in left"
    assert bench("swap").title == "A rest"
    bench.t += timedelta(minutes=30)
    assert bench.view.title == "Step 2: wren, piece 1, in left"
    shown = [bench.view, bench("wren", "1")]
    assert not any("cool" in " ".join([v.title, *v.lines, v.prompt, v.said]) for v in shown)
    bench("")
    bench.at(61, "610", "")
    bench("") if bench.take.wanted == "off" else bench("skip", "")
    assert bench.rows[-1]["rest_minutes"] == "30"
    bench("wren", "1", "keep", "undo")
    assert bench("skip").title == "Step 3: owl, piece 1, in left"


def test_a_rest_is_counted_from_rows_typed_by_hand_too(tmp_path):
    row = "owl,300,left,d2,17:45,1,1,1,600,,4000,3,\n"
    bench = Bench(shed(tmp_path / "shed", readings="\n".join([HEAD, *ROWS, row])))
    assert bench("owl", "1").said.startswith("owl rests until 18:15.")
    bench("keep")
    assert bench.take.seating.head["rest"] == 15
    assert bench.take.seating.head["mounting"] == "2"


def test_a_clock_that_was_set_back_ends_nothing(tmp_path):
    """Oracle: the reader of bench folders, which wants no negative rest; digits that a screen can draw."""
    row = "owl,300,left,d2,20:45,1,1,1,600,,4000,3,\n"  # later than now: a slip of typing
    bench = Bench(shed(tmp_path / "shed", readings="\n".join([HEAD, *ROWS, row])))
    bench("owl", "1", "keep", "4000", "3", "")
    bench.t -= timedelta(minutes=2)
    assert bench.view.big == "0:00"
    assert list(take_screen.painted(bench.view, os.terminal_size((80, 24))))
    bench.at(61, "300", "", "")
    assert bench.rows[-1]["rest_minutes"] == ""


def test_a_plan_is_followed_skipped_and_done(tmp_path):
    plan = (
        PLAN
        + f"1,{DATE},stock,1,left,1,initial\n2,{DATE},stock,1,left,1,hold\n3,{DATE},owl,1,left,1,initial\n"
    )
    plan += f"4,2026-03-05,wren,1,left,1,initial\n5,{DATE},wren,1,left,1,camera\n"
    bench = Bench(shed(tmp_path / "shed", plan=plan))
    assert bench.view.lines == ("initial and hold time",)
    bench("skip")
    assert (bench.view.title, bench.view.lines) == ("Step 3: owl, piece 1, in left", ("initial time alone",))
    bench("", "4000", "", "")
    bench.at(61, "300", "")
    assert bench("").title == "No step of plan.csv is left for today"


def test_a_discharge_lamp_is_called_with_its_caution(tmp_path):
    """Oracle: lamps.csv: the stock lamp is xenon, the owl an LED lamp."""
    plan = PLAN + f"1,{DATE},stock,1,left,1,initial\n2,{DATE},owl,1,left,1,initial\n"
    folder = shed(tmp_path / "shed", plan=plan)
    lamps = folder / "lamps.csv"
    lamps.write_text(lamps.read_text().replace("filament", "xenon").replace("halogen", "xenon"))
    bench = Bench(folder)
    assert bench.view.lines == ("initial time alone", DISCHARGE)
    bench("skip")
    assert bench.view.lines == ("initial time alone",)


def test_watts_are_asked_at_the_hold_time_where_the_folder_has_them(tmp_path):
    power = "lamp,elapsed_s,power_W,per\nstock,60,55,lamp\n"
    bench = ready(tmp_path / "shed", electrical=power)
    bench("wren", "1", "")
    bench.at(61, "612", "")
    bench.at(601, "571")
    assert bench("").prompt == "Watts of wren (Enter: none)"
    assert "wanted more than 0" in bench("0").said
    bench("27.4", "")
    assert (bench.folder / "electrical.csv").read_text().startswith(power)
    table = read_bench(bench.folder).tables["electrical"]
    assert table["power_W"].tolist() == [55.0, 27.4]
    assert table["elapsed_s"].tolist() == [60.0, 611.0]


VOLTS = HEAD.replace("dark_lx", "dark_lx,socket_V") + "\n"
POWER = "lamp,elapsed_s,power_W,per\nstock,60,55,lamp\n"
CASE = "lamp,elapsed_s,displayed_C,method,set_emissivity,emissivity,place,ambient_C\n"
CASE += "stock,600,61,bare,0.95,0.2,base,21\nowl,1800,80,tape,0.95,,fin,22\n"


def hot(folder, **files):
    """Return a person at a lamp that was read at both instants on a bench with volts."""
    bench = Bench(shed(folder, **({"readings": VOLTS} | files)))
    bench("wren", "1", "4000", "", "")
    bench.at(61, "612", "611", "")
    bench.at(601, "571", "")
    return bench


def test_volts_watts_and_case_are_asked_at_the_hold_time_and_written_as_whole_rows(tmp_path):
    """Oracle: rows typed by hand from what each answer means; the case is seen as in the row before."""
    bench = hot(tmp_path / "shed", electrical=POWER, thermal=CASE)
    assert bench.view.prompt == "Volts at the socket of wren (Enter: none)"
    assert "at most 60" in bench("571").said  # a figure of the meter is no volts
    assert bench("13.21").prompt == "Watts of wren (Enter: none)"
    assert bench("27.4").prompt == "Case of wren, °C, seen as before: tape, fin, 0.95 (Enter: none)"
    assert bench("undo").said == "taken back: power_W 27.4"
    bench("27.5", "85.5", "")
    folder = bench.folder
    assert (folder / "electrical.csv").read_text() == POWER + "wren,618,27.5,lamp\n"
    assert (folder / "thermal.csv").read_text() == CASE + "wren,621,85.5,tape,0.95,,fin,\n"
    assert [(row["socket_V"], row["elapsed_s"]) for row in bench.rows] == [
        ("13.21", s) for s in ("60", "60", "600")
    ]
    read = read_bench(folder).tables
    assert read["readings"]["socket_V"].tolist() == 3 * [13.21]
    assert read["thermal"]["displayed_C"].tolist() == [61.0, 80.0, 85.5]
    assert read["thermal"]["place"].tolist()[-1] == "fin"


@pytest.mark.parametrize(
    ("files", "answers", "asked", "table", "row"),
    [
        (
            {"electrical": "lamp,elapsed_s,socket_V,current_A,per\nstock,60,13.2,4.2,lamp\n"},
            ["13.2", "2.1"],
            ["Volts", "Amperes"],
            "electrical",
            "wren,609,13.2,2.1,lamp",
        ),
        (
            {"electrical": "lamp,elapsed_s,socket_V,current_A,per\nstock,60,13.2,4.2,lamp\n"},
            [""],
            ["Volts"],  # amperes without volts are no watts
            "electrical",
            "stock,60,13.2,4.2,lamp",
        ),
        (
            {
                "thermal": "lamp,elapsed_minutes,displayed_F,method\nwren,9,170,thermocouple\nowl,9,190,thermocouple\n"
            },
            ["skip", "180"],
            ["Volts", "Case of wren, °F, seen as before: thermocouple "],
            "thermal",
            "wren,10.15,180,thermocouple",
        ),
        (
            {"thermal": "lamp,elapsed_s,displayed_C,method\n", "readings": HEAD + "\n"},
            [],
            [],  # nobody knows yet how a case is seen
            "thermal",
            "lamp,elapsed_s,displayed_C,method",
        ),
    ],
)
def test_what_is_asked_follows_the_columns_of_the_folder(tmp_path, files, answers, asked, table, row):
    """Oracle: the columns of each file."""
    bench = hot(tmp_path / "shed", **files)
    for words, answer in zip(asked, answers, strict=True):
        assert bench.view.prompt.startswith(words)
        bench(answer)
    assert bench.view.prompt == "Switch wren off, then Enter"
    bench("")
    assert (bench.folder / f"{table}.csv").read_text().splitlines()[-1] == row


def test_volts_are_asked_in_every_seating_and_the_others_at_the_hold_time_alone(tmp_path):
    bench = hot(tmp_path / "shed", electrical=POWER)
    bench("13.2", "27", "")
    bench("wren", "1", "keep", "")
    bench.at(61, "610", "")
    assert bench.view.prompt == "Volts at the socket of wren (Enter: none)"
    assert bench("").prompt == "Switch wren off, then Enter"


def test_words_that_are_none_are_said_and_nothing_is_kept(tmp_path):
    bench = ready(tmp_path / "shed")
    known = len(bench.entries)
    assert bench("Wren").said == '"Wren" is not in lamps.csv; closest is "wren".'
    assert bench("skip").said == "nothing to skip."
    assert bench("note").said == "note, then what is worth remembering."
    assert len(bench.entries) == known
    assert bench("note fuse changed").said == "noted, in the journal alone."
    bench("wren", "1", "")
    known = len(bench.entries)
    for typed, said in (
        ("6,1", "has a decimal comma"),
        ("OL", "is an overload"),
        ("-3", "more than 0"),
        ("", "skip"),
    ):
        assert said in bench.at(61, typed).said
    assert len(bench.entries) == known


def test_a_key_without_a_letter_is_said_and_not_kept(tmp_path):
    """Oracle: the bytes of arrow keys, of Tab and of a letter of another code table, as terminals send them."""
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    known = len(bench.entries)
    for typed in ("note open\x1b[A door", "6\x1b[D12", "note a\tb", "note ros\udce9"):
        assert "type it again" in bench.at(61, typed).said
    assert len(bench.entries) == known
    assert bench("note rosé").said == "noted."


def test_undo_takes_back_a_skip_and_a_swap(tmp_path):
    plan = PLAN + "".join(
        f"{n},{DATE},{lamp},1,left,1,initial\n" for n, lamp in enumerate(["owl", "wren"], start=1)
    )
    bench = Bench(shed(tmp_path / "shed", plan=plan))
    title = "Step 1: owl, piece 1, in left"
    assert bench("skip").title == "Step 2: wren, piece 1, in left"
    assert (bench("undo").title, bench.view.said) == (title, "taken back: skip")
    assert bench("swap").title == "Step 2: wren, piece 1, in left"
    bench("")
    assert (bench("undo", "undo").title, bench.view.said) == (title, "taken back: swap")
    assert bench("undo").said.startswith("nothing to take back")


def test_undo_takes_back_the_last_entry_and_leaves_rows_alone(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    assert bench("undo").said == "taken back: the start"
    bench("")
    bench.at(61, "612", "611")
    assert bench("undo").said == "taken back: the figure 611"
    bench("", "skip", "")
    assert bench.rows[-1]["illuminance_lx"] == "612"
    assert bench("undo").said.startswith("nothing to take back: rows in readings.csv stay")


def test_of_the_interval_only_its_width_is_said(tmp_path):
    bench = ready(tmp_path / "shed")
    said = bench.seat("wren", "612", "611", "613").said
    pair = evaluate(read_bench(bench.folder)).ratio("wren", "stock", housing="left")
    half = 100 * pair.ln_expanded_uncertainty
    found = re.fullmatch(
        r"wren in left: its interval is now ±([0-9.]+) % \(95 %\); one more seating would make about ±([0-9.]+) %\.",
        said,
    )
    assert float(found[1]) == pytest.approx(half, abs=0.05001)  # half a unit in the last printed digit
    assert float(found[2]) <= float(found[1])
    assert bench.seat("stock", "501").said == "in the tables."  # the others are divided by it


@pytest.mark.parametrize(("seating", "scatter"), [(4, 1), (0.5, 30)])
def test_one_more_seating_makes_what_was_said(tmp_path, seating, scatter):
    # the SD of seatings is declared, so that one more of the same does not move it
    toml = TOML.replace("hold_minutes = 10", f"hold_minutes = 10\nmounting_sd_percent = {seating}")
    few = [
        f"{lamp},{lux + k * scatter},left,d1,{hour}:00,1,1,{k + 5},60,,4000,3,"
        for hour, lamp, lux in ((14, "stock", 500), (15, "wren", 610))
        for k in range(-4, 5)
    ]
    more = [
        *few,
        *(row.replace("left,d1,15:00,1,1", "left,d1,15:00,1,2") for row in few if row.startswith("wren")),
    ]
    said = []
    for name, rows in (("few", few), ("more", more)):
        folder = shed(tmp_path / name, toml=toml, readings="\n".join([HEAD, *rows]) + "\n")
        campaign = evaluate(read_bench(folder))
        words = interval_words(campaign, {"lamp": "wren", "specimen": "1", "housing": "left"})
        said.append([float(x) for x in re.findall(r"±([0-9.]+) %", words)])
    # the coverage factor moves with the degrees of freedom, 16 of them to 24: 2.12 to 2.06
    assert said[0][1] == pytest.approx(said[1][0], rel=0.04)
    assert said[0][1] < 0.95 * said[0][0]


def test_no_interval_no_word(tmp_path):
    folder = shed(tmp_path / "shed", readings=HEAD + "\n")
    bench = Bench(folder)
    bench("wren", "1", "4000", "", "")
    bench.at(61, "612", "", "skip")
    assert bench("").said == "in the tables."


def test_a_comma_bench_in_foot_candles_and_minutes(tmp_path):
    toml = TOML.replace("[bench]", '[csv]\nseparator = ";"\ndecimal = ","\n[bench]')
    head = "\ufefflamp;illuminance_fc;housing;clock;specimen;mounting;elapsed_minutes;rest_minutes;range_lx;note;;"
    folder = shed(
        tmp_path / "shed", toml=toml, readings=head, days="day;date\n", lamps=LAMPS.replace(",", ";")
    )
    (folder / "days.csv").unlink()
    bench = Bench(folder)
    bench("wren", "1", "400", "")
    bench.at(61, "27,9", "28,0", "", "note a; b")
    bench.at(601, "26,1", "", "")
    text = (folder / "readings.csv").read_bytes().decode()
    assert text == head + (
        '\nwren;27,9;left;18:01;1;1;1;;400;"a; b";;\nwren;28,0;left;18:01;1;1;1;;400;;;\n'
        "wren;26,1;left;18:10;1;1;10;;400;;;\n"
    )
    read = read_bench(folder).tables["readings"]
    assert read["illuminance_lx"].tolist() == pytest.approx(
        [27.9 / 0.09290304, 28 / 0.09290304, 26.1 / 0.09290304]
    )
    assert read["elapsed_s"].tolist() == [60.0, 60.0, 600.0]


def test_a_new_folder_can_be_typed_into_once_meter_and_lamps_are_known(tmp_path):
    folder = new_folder(tmp_path / "mine")
    toml = (folder / "bench.toml").read_text(encoding="utf-8")
    (folder / "bench.toml").write_text(
        toml.replace("reading_percent =\n", "reading_percent = 3\n"), encoding="utf-8"
    )
    (folder / "lamps.csv").write_text("lamp,technology,role\nA1,filament,baseline\nA2,led,candidate\n")
    bench = Bench(folder)
    for lamp, figure in (("A1", "318"), ("A2", "334")):
        bench(lamp, "", "", "")
        bench.at(61, figure, "", "skip")
        bench("")
    read = read_bench(folder)
    assert read.tables["readings"]["illuminance_lx"].tolist() == [318.0, 334.0]
    assert read.tables["readings"]["day"].tolist() == [DATE, DATE]
    assert (folder / "days.csv").read_text() == f"day,date\n{DATE},{DATE}\n"
    Take(folder, lambda: START + timedelta(days=1))
    (folder / "take-2026-03-05.journal").unlink()  # as if the power went before the journal began
    Take(folder, lambda: START + timedelta(days=1))
    assert read_bench(folder).tables["days"]["date"].tolist() == [DATE, "2026-03-05"]


@pytest.mark.parametrize(
    ("toml", "readings"),
    [
        (TOML, None),
        ('[csv]\nseparator = ";"\n[bench]'.join(TOML.split("[bench]")), HEAD.replace(",", ";") + "\n"),
    ],
)
def test_days_called_otherwise_and_files_with_other_separators_get_no_list_of_days(tmp_path, toml, readings):
    folder = shed(tmp_path / "shed", toml=toml, readings=readings)
    (folder / "days.csv").unlink()
    (folder / "lamps.csv").write_text(LAMPS.replace(",", ";" if readings else ","))
    Take(folder, lambda: START)
    assert not (folder / "days.csv").exists()


@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["plain", "a byte-order mark"])
def test_a_new_day_is_put_behind_the_others_as_they_stand(tmp_path, mark):
    """Oracle: the bytes that were there, with the line ends of a spreadsheet and none at the end."""
    days = f"{mark}day,date\r\n2026-03-01,2026-03-01"
    folder = shed(tmp_path / "shed", days=days, readings=HEAD + "\n")
    (folder / ".days.part").write_text("left by a run that was killed")
    Take(folder, lambda: START)
    assert (folder / "days.csv").read_bytes() == f"{days}\r\n2026-03-04,2026-03-04\r\n".encode()
    assert not (folder / ".days.part").exists()


def test_days_that_a_spreadsheet_has_open_are_left_alone(tmp_path):
    folder = shed(tmp_path / "shed", days="day,date\n2026-03-01,2026-03-01\n", readings=HEAD + "\n")
    (folder / "~$days.csv").write_text("x")
    with pytest.raises(MethodError, match=r"days.csv: open in a spreadsheet"):
        Take(folder, lambda: START)
    assert (folder / "days.csv").read_text() == "day,date\n2026-03-01,2026-03-01\n"


def test_days_with_more_than_a_date_are_left_to_their_owner(tmp_path):
    folder = shed(
        tmp_path / "shed", days="day,date,supply_V\n2026-03-01,2026-03-01,13.2\n", readings=HEAD + "\n"
    )
    before = (folder / "days.csv").read_bytes()
    with pytest.raises(MethodError, match=r"days.csv: no day of 2026-03-04; add a row"):
        Take(folder, lambda: START)
    assert (folder / "days.csv").read_bytes() == before


# refusals


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda f: (f / ".~lock.readings.csv#").write_text("x"),
            r"readings.csv: open in a spreadsheet \(.~lock",
        ),
        (
            lambda f: (f / "readings.csv").unlink(),
            r"readings.csv: is not in the folder; its first row names lamp",
        ),
        (lambda f: (f / "bench.xlsx").write_bytes(b"x"), r"bench.xlsx: take appends to readings.csv"),
        (
            lambda f: (f / "days.csv").write_text("day,date\nd1,2026-03-01\n"),
            r"days.csv: no day of 2026-03-04; add",
        ),
        (
            lambda f: (f / "readings.csv").write_text("lamp,illuminance_lx,day\nwren,3,d1\n"),
            r"readings.csv:1: no column elapsed_s, specimen, mounting, rest_minutes, clock and range_lx; add to the "
            r"first row what is missing, and a blank cell to each row below.",
        ),
        (lambda f: (f / "readings.csv").write_text(HEAD + "\nwren,,left,d1\n"), r"readings.csv:2: 4 cells"),
        (
            lambda f: (f / "readings.csv").write_text(HEAD + "\nwren" + 12 * "," + "\n"),
            r"holds rows without lux",
        ),
        (
            lambda f: (f / "lamps.csv").write_text("lamp,technology,role\nwren,led,lead\n"),
            r"lamps.csv:2: role",
        ),
    ],
)
def test_what_cannot_be_appended_to_is_refused_before_anything_is_written(
    tmp_path, capsys, monkeypatch, change, words
):
    folder = shed(tmp_path / "shed")
    change(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    monkeypatch.setattr(take_screen, "now", lambda: START)
    assert main(["take", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert re.search(words, err)
    assert out == ""
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_file_that_cannot_be_opened_is_refused(tmp_path, monkeypatch):
    folder = shed(tmp_path / "shed")
    opened = Path.open

    def locked(path, mode="r", **more):
        if path.name == "readings.csv" and "a" in mode:
            raise PermissionError(13, "Permission denied")
        return opened(path, mode, **more)

    monkeypatch.setattr(Path, "open", locked)
    with pytest.raises(
        MethodError, match=r"readings.csv: cannot be appended to: permission denied; close it"
    ):
        Take(folder, lambda: START)


def test_one_take_at_a_time(tmp_path, capsys):
    folder = shed(tmp_path / "shed")
    with take_screen.held(folder):
        assert main(["take", str(folder)]) == 2
    assert (
        capsys.readouterr().err == "shed: another take is running on this folder; end it there with stop.\n"
    )
    assert main(["take", str(tmp_path / "none")]) == 2
    assert capsys.readouterr().err == "none: no such folder; photolab new writes one.\n"
    assert not (tmp_path / "none").exists()


def test_a_file_that_changes_meanwhile_is_left_alone_and_the_next_start_appends(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    bench.at(61, "612", "", "skip")
    path = bench.folder / "readings.csv"
    other = path.read_text().replace("stock,500,", "stock,502,")
    path.write_text(other)
    with pytest.raises(
        MethodError, match=r"readings.csv: changed while this ran, so nothing was written to it"
    ):
        bench("")
    assert path.read_text() == other
    again = Bench(bench.folder)
    assert path.read_text().startswith(other)
    assert [row["illuminance_lx"] for row in again.rows[-1:]] == ["612"]
    assert len(Bench(bench.folder).rows) == len(again.rows)


def test_a_file_that_a_spreadsheet_opens_meanwhile_gets_its_rows_once_it_is_closed(tmp_path):
    """Oracle: what would be lost: a spreadsheet saves what it read, without the rows appended since."""
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    bench.at(61, "612", "", "skip")
    path, lock = bench.folder / "readings.csv", bench.folder / ".~lock.readings.csv#"
    held = path.read_bytes()
    lock.write_text("x")
    with pytest.raises(
        MethodError, match=r"readings.csv: open in a spreadsheet.*then run the same line again"
    ):
        bench("")
    path.write_bytes(held)  # saved there
    lock.unlink()
    assert [row["illuminance_lx"] for row in Bench(bench.folder).rows[-1:]] == ["612"]


def test_a_file_that_is_locked_meanwhile_gets_its_rows_once_it_is_not(tmp_path, monkeypatch):
    """Oracle: what Windows says of a file that a spreadsheet has open."""
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    bench.at(61, "612", "", "skip")
    opened, held = Path.open, (bench.folder / "readings.csv").read_bytes()

    def locked(path, mode="r", **more):
        if path.name == "readings.csv" and "a" in mode:
            raise PermissionError(13, "Permission denied")
        return opened(path, mode, **more)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", locked)
        with pytest.raises(
            MethodError, match=r"readings.csv: cannot be appended to: permission denied; close it"
        ):
            bench("")
    assert (bench.folder / "readings.csv").read_bytes() == held
    assert [row["illuminance_lx"] for row in Bench(bench.folder).rows[-1:]] == ["612"]


def evening(folder, began):
    """Type an evening of four seatings, twenty minutes apart, and return what it comes to."""
    bench = Bench(shed(folder, readings=HEAD + "\n"), began)
    answers = {"range": "4000", "dark": "3", "early": "keep"}
    for lamp, figure in (("stock", "500"), ("wren", "610"), ("owl", "655"), ("stock", "506")):
        bench(lamp, "1")
        while bench.take.wanted in answers:
            bench(answers[bench.take.wanted])
        bench("")
        bench.at(61, figure, "", *["skip"] * bench.take.seating.head["hold"], "")
        bench.t += timedelta(minutes=20)
    return bench


def test_an_evening_that_ends_after_midnight_comes_to_the_same(tmp_path):
    """Oracle: the same evening two hours earlier."""
    early, late = (evening(tmp_path / f"{h}", START.replace(hour=h, minute=30)) for h in (21, 23))
    assert [row["clock"] for row in early.rows] == ["21:31", "21:52", "22:13", "22:34"]
    assert [row["clock"] for row in late.rows] == ["23:31", "23:52", "24:13", "24:34"]
    rows = [evaluate(read_bench(one.folder)) for one in (early, late)]
    for lamp in ("wren", "owl"):
        a, b = (one.ratio(lamp, "stock", housing="left") for one in rows)
        assert (a.ratio, a.ln_expanded_uncertainty) == (b.ratio, b.ln_expanded_uncertainty)
    assert [one.code for one in rows[0].findings] == [one.code for one in rows[1].findings]
    row = "owl,300,left,d2,24:50,1,9,1,600,,4000,3,\n"
    (late.folder / "readings.csv").write_text((late.folder / "readings.csv").read_text() + row)
    late.take.load()
    assert late("owl", "1").said.startswith("owl rests until 01:20.")


def test_a_warm_up_after_midnight_is_no_record_of_the_next_evening(tmp_path):
    """Oracle: the reader of bench folders, which wants one lamp a record."""
    folder = shed(tmp_path / "shed", days="day,date\n2026-03-01,2026-03-01\n", readings=HEAD + "\n")
    for began, lamp in (
        (START.replace(hour=23, minute=59, second=30), "wren"),
        (START.replace(day=5), "owl"),
    ):
        bench = Bench(folder, began)
        bench(lamp, "1", "4000", "3")
        bench.t += timedelta(minutes=1)
        bench("")
        bench.at(30, "600")
        bench.at(61, "590", "", "skip", "")
    assert read_bench(folder).tables["warm_up"]["run"].tolist() == ["2026-03-04-1", "2026-03-05-1"]


def test_the_journal_of_another_day_is_closed_and_its_figures_appended(tmp_path):
    bench = ready(tmp_path / "shed")
    bench("wren", "1", "")
    bench.at(61, "612")
    (bench.folder / "days.csv").write_text(DAYS + "d3,2026-03-05\n")
    late = datetime(2026, 3, 5, 0, 30, tzinfo=UTC)
    take = Take(bench.folder, lambda: START + timedelta(hours=5))
    assert take.day.open is not None
    take = Take(bench.folder, lambda: late + timedelta(hours=9))
    assert take.day.open is None
    assert take.journal.path.name == "take-2026-03-05.journal"
    assert [(row["day"], row["illuminance_lx"]) for row in bench.rows[-1:]] == [("d2", "612")]


# kills


class Killed(BaseException):
    """The process is gone."""


def finish(bench):
    """Type what the screen asks for until the seating is in the tables, as one who sees what was kept."""
    while not any(seating.done for seating in bench.take.day.seatings):
        wanted, seating = bench.take.wanted, bench.take.day.open
        have = [e["text"] for e in seating.of("lux")] if seating else []
        instant = bench.take.awaited if wanted == "lux" else ""
        figures = {"initial": ["612", "611"], "hold": ["571"]}.get(instant, [])
        left = [figure for figure in figures if figure not in have]
        answers = {
            "lamp": "wren",
            "specimen": "1",
            "range": "4000",
            "dark": "3",
            "watts": "27.4",
            "volts": "13.2",
        }
        answers["case"] = "85"
        if seating and seating.on:
            bench.t = seating.on + timedelta(seconds=601 if instant != "initial" else 61)
        bench.take.enter(left[0] if left else answers.get(wanted, ""), bench.t)


def test_a_run_killed_at_any_write_goes_on_where_it_was(tmp_path, monkeypatch):
    monkeypatch.setattr("photolab.publication.commands.take_dialogue.evaluate", lambda bench: None)
    head = HEAD.replace("dark_lx,note", "dark_lx,note,socket_V")
    few = "\n".join([head, f"{ROWS[0]},", f"{ROWS[9]},"])
    tables = {"electrical": POWER, "thermal": CASE, "readings": few + "\n"}
    names = ("readings.csv", "electrical.csv", "thermal.csv")
    whole = Bench(shed(tmp_path / "whole", **tables))
    finish(whole)
    expected = [(whole.folder / name).read_bytes() for name in names]
    assert [text.count(b"wren") for text in expected] == [4, 1, 1]
    assert expected[0].count(b",13.2\n") == 3
    write, nth, killed = journal_module.put_behind, 0, True
    while killed:
        folder, killed, count = shed(tmp_path / f"{nth}", **tables), False, 0
        part = (0.0, 0.4, 1.0)[nth % 3]

        def cut(path, data, nth=nth, part=part):
            nonlocal count
            count += 1
            write(path, data[: round(part * len(data))] if count == nth + 1 else data)
            if count == nth + 1:
                raise Killed

        monkeypatch.setattr(journal_module, "put_behind", cut)
        try:
            finish(Bench(folder))
        except Killed:
            killed = True
        monkeypatch.setattr(journal_module, "put_behind", write)
        if killed:
            finish(Bench(folder))
        assert [(folder / name).read_bytes() for name in names] == expected
        nth += 1
    assert nth > 15


def test_the_real_command_in_a_terminal_killed_in_the_middle_and_finished(tmp_path, capsys):
    plan = PLAN + f"1,{DATE},stock,1,left,1,initial\n2,{DATE},owl,1,left,1,hold\n"
    folder = shed(tmp_path / "shed", plan=plan)
    with Terminal(folder, START, 30.0) as first:
        for words, line in [
            ("Step 1: stock, piece 1, in left", ""),
            ("Range of the meter", "4000"),
            ("Dark reading", "3"),
            ("Enter at the moment stock", ""),
            ("READ NOW", "501"),
            ("Another figure", ""),
            ("Switch stock off", ""),
            ("Step 2: owl", ""),
            ("Enter at the moment owl", ""),
            ("\a", "300"),
            ("Another figure", "302"),
        ]:
            first.until(words)
            first.type(line)
        first.until("300  302")
        first.kill()
    entries = [json.loads(line) for line in (folder / f"take-{DATE}.journal").read_text().splitlines()]
    last = datetime.fromisoformat(entries[-1]["at"])
    with Terminal(folder, last + timedelta(seconds=5), 100.0) as second:
        second.until("300  302")
        second.type("")
        for words, line in [
            ("READ NOW", "281"),
            ("Another", ""),
            ("Switch owl off", ""),
            ("No step of", "stop"),
        ]:
            second.until(words)
            second.type(line)
        second.until("keeps the day.")
        assert second.process.wait(timeout=30) == 0
    rows = read_bench(folder).tables["readings"].tail(4)
    assert rows[["lamp", "illuminance_lx", "elapsed_s"]].to_numpy().tolist() == [
        ["stock", 501.0, 60.0],
        ["owl", 300.0, 60.0],
        ["owl", 302.0, 60.0],
        ["owl", 281.0, 600.0],
    ]
    assert main(["check", str(folder)]) == 0
    assert "readable. 22 readings, 3 lamps" in capsys.readouterr().out


def test_without_a_terminal_plain_lines_are_read_and_written(tmp_path):
    folder = shed(tmp_path / "shed")
    command = fast_take(folder, START, 1)
    typed = "wren\n1\n400\nstop\n"
    done = subprocess.run(command, input=typed, capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout
    assert "Which piece of wren" in done.stdout
    last = f"take-{DATE}.journal keeps the day. wren is not finished: the same line goes on with it."
    assert done.stdout.splitlines()[-1] == last


def test_a_screen_of_fewer_rows_leaves_nothing_of_the_one_before(tmp_path):
    """Oracle: the rest of a lamp ends while nobody types: its large figures go."""
    plan = PLAN + "".join(f"{n},{DATE},wren,1,left,{n},initial\n" for n in (1, 2))
    bench = Bench(shed(tmp_path / "shed", plan=plan))
    bench("", "4000", "3", "")
    bench.at(61, "612", "", "")
    out = io.StringIO()
    screen = take_screen.Screen(out)
    screen.terminal = True
    for minutes, clears in ((0, 1), (1, 1), (30, 2)):
        bench.t += timedelta(minutes=minutes)
        screen.show(bench.view, beep=False, entered=False)
        assert out.getvalue().count("\x1b[2J") == clears
    assert bench.view.title == "Step 2: wren, piece 1, in left"


def shown_at(bench, size):
    """Return the rows of a screen of so many columns and rows, without their colours."""
    rows = take_screen.painted(bench.view, os.terminal_size(size))
    return {re.sub(r"\x1b\[[0-9;]*[mK]", "", row) for row in rows}


def test_a_letter_of_another_code_table_does_not_end_the_evening(tmp_path):
    """Oracle: the byte of é in Latin-1, which is none in UTF-8."""
    folder = shed(tmp_path / "shed")
    with Terminal(folder, START) as terminal:
        terminal.until("Code of the lamp")
        os.write(terminal.master, b"note ros\xe9\n")
        terminal.until("noted, in the journal alone")
        assert terminal.enter("wren")[-1] == "Which piece of wren"
    assert r"ros\\xe9" in (folder / f"take-{DATE}.journal").read_text()


def test_the_screen_fits_the_terminal_and_figures_are_large(tmp_path):
    bench = ready(tmp_path / "shed", lamps=LAMPS + "\x1b[31m" + "w" * 90 + ",led,candidate\n")
    bench("wren", "1", "")
    bench.at(61, "612")
    assert {bench.view.title, bench.view.big} <= shown_at(bench, (40, 12))  # blank rows go first
    for size in ((80, 24), (40, 12), (20, 5)):
        rows = list(take_screen.painted(bench.view, os.terminal_size(size)))
        plain = [re.sub(r"\x1b\[[0-9;]*[mK]", "", row) for row in rows]
        assert len(rows) <= size[1] - 2
        assert max(map(len, plain)) < size[0]
        assert " ".join(plain).endswith("Another figure, or Enter to go on")
    bars = take_screen.large("1:02")
    assert len(bars) == 5
    assert bars[0] == "  ##            ######  ######"
