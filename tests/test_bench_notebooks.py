"""What notebooks 00 to 04 say of benches. Oracles: figures of the results, sums by hand, the demo's stories."""

import functools
import json
import math
import re
import shutil
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from benches import make
from in_process import run_cells
from matplotlib.figure import Figure
from shared_demo import demo_campaign
from small_benches import HOUSING, LAMPS, METER, csv, write

import photolab as pl
from photolab.bench.inputs.readings import DRIFT_PERCENT_PER_HOUR
from photolab.bench.questions.repeatability import initial_readings, level_spreads
from photolab.errors import MethodError
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.reporting import decimal
from photolab.publication.sentences import figure_tables, words_bench

HERE = Path(__file__).parent
NOTEBOOKS = HERE.parent / "notebooks"
TWO = str(HERE.parent / "data" / "two-readings")


@pytest.fixture(autouse=True)
def without_drawing(monkeypatch):
    """Draw nothing; what a picture shows stands in its words too."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))


@functools.cache
def said(stem: str, **settings: object) -> str:
    """Return every text that a notebook shows with some settings."""
    (path,) = NOTEBOOKS.glob(f"{stem}_*.ipynb")
    cells = run_cells(path, settings).cells
    outputs = [output for cell in cells if cell.cell_type == "code" for output in cell.outputs]
    return "\n".join(output.data["text/plain"] for output in outputs)


# ---- 00


def test_abilities_are_split():
    """Oracle: the demo holds every file, not a hold reading of every lamp; two readings tell nothing after heat."""
    (unable,) = said("00").partition("what to add\n")[2].split("\n")[:1]
    assert unable.endswith(
        "read one seating of each specimen at 40 minutes too: K2, K5, K7 and K8 in HR; K7 in HP"
    )
    unable = said("00", bench=TWO).partition("what to add")[2]
    assert "how lamps compare in one housing" in unable
    assert "how much light is left" in unable
    assert "demo: readable. 486 readings, 9 lamps, 2 housings, 8 days; meter M1." in said("00")


def test_plain_means_stand_beside_what_the_evaluation_makes_of_them():
    """Oracle: pandas, from the file: K6 over B0 in HR, dark reading off."""
    readings = pd.read_csv(HERE.parent / "data" / "demo" / "readings.csv")
    readings = readings[(readings["elapsed_s"] < 120) & (readings["housing"] == "HR")]
    net = (readings["illuminance_lx"] - readings["dark_lx"].fillna(0)).groupby(readings["lamp"]).mean()
    (row,) = re.findall(r"^K6 +HR +([\d.]+) +([\d.]+)", said("00"), re.MULTILINE)
    assert float(row[0]) == pytest.approx(net["K6"] / net["B0"], abs=6e-4)
    assert float(row[1]) == pytest.approx(demo_campaign().ratio("K6", "B0", housing="HR").ratio, abs=6e-4)


# ---- 01


def test_one_seating_each_does_not_decide():
    """Oracle: the demo's story: K2 looks about 6 % above K1 from one seating each, not shown by all of them."""
    lines = said("01").splitlines()
    first = next(line for line in lines if line.startswith("K2 against K1, one seating of each: "))
    assert 5.0 <= float(first.split(": ")[1].split(" %")[0]) <= 7.0  # +6 %, to the whole percent either way
    assert "inside the bench uncertainty" in first
    whole = next(line for line in lines if line.startswith("K2 against K1, every seating: "))
    assert "inside the bench uncertainty" in whole or "alike" in whole


def test_two_readings_agree_with_the_command_on_any_settings():
    """Oracle: `photolab compare`'s own function; a filament lamp has no colour of its own."""
    for settings in (
        {},
        {"technology": "filament"},
        {"seating_percent": 0.5, "range_lx": 400},
        {"coverage": 0.9},
    ):
        assert "give the same figure: half-width of the ratio." in said("01", **settings)


def test_three_bars_follow_the_lines():
    """Oracle: by hand from the half-widths of `compare`, ratio * exp(+-half) with the ratio 334/318."""
    meter = pl.Meter("M", (4.0,), (0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,))
    lines = pl.compare(318, 334, meter, technology="led", range_lx=4000).lines
    for half in (lines.meter_only, lines.this_bench, lines.nothing_in_common):
        low, high = (100 * (334 / 318 * math.exp(sign * half / 100) - 1) for sign in (-1, 1))
        assert f" {low:+.1f} to {high:+.1f} %" in said("01")


def test_without_a_technology_there_is_a_ratio_and_no_interval():
    shown = said("01", technology=None)
    assert "5.0 % more; no interval yet." in shown
    assert "No answer yet: technology missing" in shown
    assert "the meter and the seating" not in shown


def test_a_folder_without_two_lamps_compares_the_typed_readings_alone(tmp_path):
    """Oracle: one lamp."""
    readings = csv("lamp,illuminance_lx,range_lx", [("A", 318, 4000), ("A", 320, 4000)])
    lamps = "lamp,technology,role\nA,led,baseline\n"
    folder = write(tmp_path / "one", {"bench.toml": METER, "readings.csv": readings, "lamps.csv": lamps})
    shown = said("01", bench=str(folder))
    assert "half-width of the ratio." in shown
    assert "every seating" not in shown


# ---- 02


def test_the_answer_gives_the_seating_sd_with_its_interval():
    """Oracle: the component's own figures; two seatings differ by less than 1.96 sqrt(2) SD."""
    readings = initial_readings(demo_campaign())
    table = level_spreads(readings[readings["lamp"] != "K8"]).table.set_index("level")
    row, reading = table.loc["mounting"], table.loc["reading", "sd"]
    figures = [decimal(100 * row[name], 1) for name in ("sd", "low", "high")]
    assert f"{figures[0]} % ({figures[1]} to {figures[2]} % at 95 %)" in said("02")
    limit = 100 * 1.96 * math.sqrt(2) * math.sqrt(row["sd"] ** 2 + reading**2 / 3)
    figure = f"{decimal(limit, 1)} % in 95 of 100"
    assert f"If that figure is the true one, two seatings of one lamp differ by less than {figure}" in said(
        "02"
    )


def test_spreads_by_hand_are_those_of_the_results():
    """Oracle: the campaign's own pooled spreads, on the demo and on other benches."""
    for bench in (None, str(HERE / "benches" / "club"), str(HERE / "benches" / "two-alike")):
        shown = said("02", bench=bench)
        assert "give the same figure: SD of a seating." in shown
        assert "differs from the report" not in shown


def test_the_flagged_seating_of_k8_is_named():
    """Oracle: scenario: HP seating 2 of K8 stands 11 % low, within two seating SDs; its light is modulated."""
    assert "K8 specimen 1 in HP, D05 seating 2" in said("02")
    assert "K8 scatters by 1.6 %" in said("02")
    percent = float(re.search(r"K8 in HP, seating 2, D05, (-[\d.]+) %", said("02"))[1])
    assert abs(percent + 11.0) < 5.0


def test_the_second_way_is_as_near_as_normal_scatter_gives():
    """Oracle: two statistics of one normal scatter."""
    judged = [line for line in said("02").splitlines() if line.endswith("as near as normal scatter gives")]
    assert [line.split(" to ")[0] for line in judged] == ["reading", "seating"]


def test_specimens_are_counted_and_single_pieces_take_the_declared_figure():
    """Oracle: the plan's numbers of specimens; bench.toml declares 4 %."""
    rows = [line.split() for line in said("02").splitlines() if re.match(r"[BK]\d +\d +(n/a|\d)", line)]
    assert {row[0]: int(row[1]) for row in rows} == dict.fromkeys(["K2", "K5", "K6", "K7", "K8"], 1) | {
        "B0": 3,
        "K1": 4,
        "K3": 2,
        "K4": 2,
    }
    assert all(row[2:] == ["n/a", "n/a", "n/a", "4.0"] for row in rows if row[1] == "1")


def test_a_hand_that_seats_lower_is_a_level_of_its_own(tmp_path):
    """Oracle: synthetic: the second person's seatings 6 % low, 0.5 % of scatter; the others' labels as they were."""
    rng = np.random.default_rng(7)
    rows = [
        (lamp, f"{lux * math.exp(rng.normal(0.0, 0.005) - 0.06 * (m > 2)):.2f}", "HP", "D01", 1, m, 4000)
        for lamp, lux in (("B0", 350.0), ("K1", 400.0), ("K2", 430.0))
        for m in (1, 2, 3, 4)
    ]
    header = "lamp,illuminance_lx,housing,day,specimen,mounting,range_lx"
    files = {"bench.toml": METER + HOUSING, "readings.csv": csv(header, rows), "lamps.csv": LAMPS}
    bench = str(write(tmp_path / "hands", files))
    told = {who: said("02", bench=bench, second_person=who) for who in ("3 4", "2 4")}
    spread = {who: float(re.search(r"person to person +([\d.]+)", text)[1]) for who, text in told.items()}
    assert spread["3 4"] > 3.0  # 6 %/sqrt(2) = 4.2 % between two people
    assert spread["2 4"] < 1.0


def test_nothing_repeated_leaves_what_is_assumed():
    """Oracle: two readings hold no repeat; 3 % is usual."""
    shown = said("02", bench=TWO)
    assert re.search(r"seating to seating +3\.00  assumed", shown)
    assert "Seat a lamp again" not in shown


# ---- 03


def test_the_step_is_told_before_and_denied_after_the_correction():
    """Oracle: scenario: D06 to D08 together; nothing left after the voltage correction."""
    assert said("03").count("D06 to D08 together lie 6.") == 2
    assert "Noted in days.csv for D06: new lead to the lamp" in said("03")
    assert said("03").count("no day, no group of days, no step and no drift beyond its limit") == 2
    assert "Yes: with its corrections" in said("03")


def test_the_strongest_look_by_hand_is_the_step_and_chance_makes_the_rest():
    """Oracle: scenario: the days before the step, and those from it on, are one and the same look."""
    strongest = next(line for line in said("03").splitlines() if "of 1000 campaigns" in line)
    assert strongest.startswith(("D01 to D05", "D06 to D08"))
    assert "fewer than 1 of 1000" not in said("03", corrected=True)
    for corrected in (False, True):
        assert "same figure: the largest single day" in said("03", corrected=corrected)


def test_the_second_way_to_the_step_is_the_law_of_the_lamp():
    """Oracle: (12.95/13.20)^3.42 = -6.3 %; the volts beside the readings scatter by 0.02 V, 0.5 % of light."""
    rows = re.findall(r"H[PR] D06 to D08 +(-[\d.]+) +[\d.]+ +(-[\d.]+)  the supply explains it", said("03"))
    assert len(rows) == 2
    assert all(abs(float(volts) + 6.3) < 0.5 for _, volts in rows)


def test_a_reading_between_two_baselines(tmp_path):
    """Oracle: by hand: the baseline falls from 371.0 to 362.5 lx between 09:00 and 12:00; LED 455 at 10:00.

    At 10:00 it is 371.0 (362.5/371.0)^(1/3) = 368.1 lx, the ratio 1.236; with either end 1.226 to 1.255.
    """
    rows = [
        ("B0", "09:00", 371.0, 1),
        ("K1", "10:00", 455.0, 1),
        ("B0", "12:00", 362.5, 2),
        ("K2", "12:30", 400.0, 1),
    ]
    header = "lamp,clock,illuminance_lx,mounting,housing,day,range_lx"
    toml = METER + HOUSING
    text = csv(header, [(*row, "HP", "D01", 4000) for row in rows])
    files = {"bench.toml": toml, "readings.csv": text, "lamps.csv": LAMPS.replace("filament", "led")}
    shown = said("03", bench=str(write(tmp_path / "clock", files)))
    assert re.search(r"10:00  K1 .*368\.1 +1\.236 +1\.226 +1\.255", shown)
    assert re.search(r"12:30  K2 .*362\.5 +1\.103 +1\.103 +1\.103", shown)  # after the last, it serves alone
    assert "1 of 2 seatings stand between two baselines" in shown


def test_every_seating_of_the_demo_stands_between_two_baselines():
    """Oracle: the plan: two baselines a day in each housing, around all others."""
    assert "103 of 103 seatings stand between two baselines" in said("03")


def test_links_are_called_established_or_provisional():
    """Oracle: five LED lamps; three specimens of one filament lamp."""
    assert "LED lamps: M2 shows 0.8955 of what M1 shows" in said("03")
    assert "from five lamps and 20 pairs of readings; established" in said("03")
    assert "from one lamp and 12 pairs of readings; provisional" in said("03")
    assert "the meters' colours explain it" in said("03")


@pytest.mark.parametrize("technology", ["led", "filament"])
def test_a_link_by_hand_is_that_of_the_report(technology):
    """Oracle: `technology_links`, for a link of five lamps and for one of single readings."""
    shown = said("03", technology=technology)
    assert all(f"same figure: {what} of the link" in shown for what in ("factor", "low", "high"))


def test_verdicts_change_with_the_meter_only_where_colour_is_not_corrected():
    """Oracle: scenario: M1 favours LED lamps by 6 %."""
    number = r"(\d\.\d{3})"
    rows = re.findall(rf"^not corrected .*?{number} .*?{number} ", said("03"), re.MULTILINE)
    assert len(rows) > 5
    assert all(float(after) / float(before) < 0.95 for before, after in rows)  # by what the colours do
    assert re.search(
        r"^Colour corrected: [0-2] of 48 verdicts change", said("03"), re.MULTILINE
    )  # at their limit


def test_a_supply_that_nothing_corrects_is_asked_for(tmp_path):
    """Oracle: the demo without its volts column: the step stays, and what is missing is named."""
    shutil.copytree(HERE.parent / "data" / "demo", tmp_path / "b")
    for name, columns in (("readings.csv", ["socket_V", "measured_at"]), ("days.csv", ["supply_V"])):
        table = pd.read_csv(tmp_path / "b" / name, dtype=str)
        table.drop(columns=columns).to_csv(tmp_path / "b" / name, index=False)
    shown = said("03", bench=str(tmp_path / "b"))
    assert "No: even with its corrections" in shown
    assert shown.count("Write the volts at the lamp socket") == 2
    assert "with the voltage correction" not in shown.replace("without the voltage correction", "")


def test_meters_named_both_ways_round_are_refused_in_words(tmp_path):
    """Oracle: one row turned round by hand."""
    shutil.copytree(HERE.parent / "data" / "demo", tmp_path / "b")
    place = tmp_path / "b" / "links.csv"
    place.write_text(place.read_text(encoding="utf-8").replace("M1,M2", "M2,M1", 1), encoding="utf-8")
    shown = said("03", bench=str(tmp_path / "b"))
    assert "names the meters both ways round" in shown
    assert "verdicts change" not in shown


# ---- 04


def test_the_largest_line_is_named_first_everywhere():
    """Oracle: the budget of the comparison."""
    campaign = demo_campaign()
    pair = campaign.ratio("K4", "B0", housing="HP")
    largest = figure_tables.budget(pair, campaign.bench, campaign.components).iloc[0]
    shown = said("04", lamp="K4", housing="HP")
    assert f"What blurs it most is the {largest['what']}: {decimal(largest['part'], 0)} %" in shown
    assert f"longest bar first: {largest['what']} " in shown
    half = 100 * pair.ln_expanded_uncertainty
    without = half * math.sqrt(1 - largest["part"] / 100)  # by hand
    assert re.search(rf"{largest['what']} +{decimal(half, 2)} +{decimal(without, 2)}", shown)
    assert re.search(r"ln of the ratio +-?[\d.]+", shown)


@pytest.mark.parametrize(
    "settings",
    [{}, {"lamp": "K3", "against": "K4", "housing": "HR"}, {"scope": "models"}, {"scope": "readings"}],
)
def test_a_budget_by_hand_is_that_of_the_report(settings):
    """Oracle: the joint evaluation: its value, its uncertainty, and its sensitivities to the printed digits."""
    shown = said("04", **settings)
    assert "same figure: ln of the result" in shown
    assert "same figure: standard uncertainty" in shown
    pairs = re.findall(
        r"(?:linearity|range term|seating|day|voltmeter).* (-?\d\.\d{6}) +(-?\d\.\d{6})$",
        shown,
        re.MULTILINE,
    )
    assert len(pairs) >= 2
    assert all(hand == told for hand, told in pairs)


def test_draws_agree_where_the_law_holds():
    """Oracle: JCGM 101, 8.1, by the package's own streams of draws: five standard errors of a quantile."""
    campaign = demo_campaign()
    pair = campaign.ratio("K1", "B0", housing="HP")
    drawn = draws(lambda x: x, pair.result, trials=100_000)
    ends = [100 * math.expm1(x) for x in interval(drawn, 0.95)]
    row = re.search(r"100000 draws +(-?[\d.]+) +(-?[\d.]+)", said("04"))
    assert [float(row[1]), float(row[2])] == pytest.approx(ends, abs=0.25)
    assert "the law of propagation stands" in said("04", scope="readings")
    # few degrees of freedom: drawn as Student's t they are wider than the effective ones make them
    assert "use the interval of the draws" in said("04", scope="models")


def test_every_lamp_has_its_line():
    """Oracle: eight lamps in two housings."""
    assert len(re.findall(r"^K\d +H[PR] +\d\.\d +\w", said("04"), re.MULTILINE)) == 16


def test_a_lamp_alone_is_taken_apart_by_itself():
    """Oracle: one lamp: nothing cancels, so the scale of the meter counts."""
    folder = str(make.write(make.shapes()["one-lamp"], Path(tempfile.mkdtemp()) / "b"))
    shown = said("04", bench=folder)
    assert shown.count("The light of ") >= 2
    assert re.search(
        r"^The light of Solo in housing R: [\d.]+ lx \([\d.]+ to [\d.]+, 95 %\)", shown, re.MULTILINE
    )
    assert re.search(r"meter scale +meter +±.* [1-9]", shown)
    assert "give the same figure: standard uncertainty" in shown


def test_a_lamp_that_is_not_in_the_folder_is_refused():
    with pytest.raises(MethodError, match="lamp K77 has no reading"):
        said("04", lamp="K77")


def _over(*rows):
    return pd.DataFrame(rows, columns=["inside", "least", "most"])


def test_the_drift_within_a_day_is_judged_by_the_seatings_between_two_baselines():
    """Oracle: by hand: one of three has 8 % between its baselines, ± 4 %; seatings of the demo scatter by 2.9 %."""
    one = (False, 1.0, 1.0)
    (said,) = words_bench.bracketed_words(demo_campaign(), _over((True, 1.0, 1.08), one, one))
    assert said.startswith("1 of 3 seatings stand between two baselines of their day and housing. Taking")
    assert "± 4.0 % (median); that is more than the 2.9 % that one seating scatters: the bench drifts" in said
    (none,) = words_bench.bracketed_words(demo_campaign(), _over(one, one))
    assert none.startswith("0 of 2 seatings stand between two baselines")
    assert "is not seen" in none
    assert "%" not in none


def test_the_report_shows_the_seating_figures_that_the_results_use():
    """Oracle: the spreads of the campaign by housing; the notebook's cells and which of them the report takes."""
    cells = json.loads((NOTEBOOKS / "02_repeatability.ipynb").read_text(encoding="utf-8"))["cells"]
    named = [cell for cell in cells if "SD used in the results (%)" in "".join(cell["source"])]
    assert [cell["metadata"].get("tags") for cell in named] == [["appendix"]]
    assert not [cell for cell in cells if "which the results rest" in "".join(cell["source"])]
    used, text = demo_campaign().spreads.seating_in, said("02")
    for housing in ("HP", "HR"):
        assert re.search(rf"^{housing} .* {100.0 * used(housing).sd:.2f} +\d+$", text, re.MULTILINE)


def test_the_method_in_short_names_the_drift_with_its_size():
    """Oracle: the constant of the evaluation."""
    text = (NOTEBOOKS / "14_methods_appendix.ipynb").read_text(encoding="utf-8")
    assert (
        f"The drift, {DRIFT_PERCENT_PER_HOUR:g} % an hour (assumed), counts from the middle of a day" in text
    )
    assert "with the covariance of seating, day, drift within a day and reading" in text


def test_the_scatter_of_single_readings_by_hand_is_that_of_the_report(tmp_path):
    """Oracle: of two seatings of each of three lamps, read once at both instants, what K1 kept differs by 1.6 %, what
    the others kept not at all: in ln s² = (0.016²/2 / 2 + 6 · 0.004²) / (3 + 6), the declared 0.4 % with six degrees
    of freedom.
    """
    rows = [
        (lamp, lux * seated * kept, "HR", seat, s)
        for lamp, lux in (("B0", 300.0), ("K1", 333.0), ("K2", 360.0))
        for seat, seated in ((1, 1.0), (2, 1.03 if lamp == "K1" else 0.98))
        for s, kept in ((60, 1.0), (1800, 0.9 * math.exp(0.016 if lamp == "K1" and seat == 2 else 0.0)))
    ]
    lux = csv("lamp,illuminance_lx,housing,mounting,elapsed_s", rows)
    folder = write(tmp_path, {"bench.toml": METER + HOUSING, "lamps.csv": LAMPS, "readings.csv": lux})
    names: dict[str, float] = {}
    text = str(run_cells(NOTEBOOKS / "02_repeatability.ipynb", {"bench": str(folder)}, names=names))
    assert names["reading_sd"] == pytest.approx(math.sqrt((0.016**2 / 4 + 6 * 0.004**2) / 9), rel=1e-6)
    assert "The cell and the report give the same figure: SD of a reading." in text
    assert "differs from the report" not in text
