"""Warm-up and heat in words, and what notebooks 08 and 09 say. Oracles: the codes in the source of photolab.thermal,
the values put into the demo (truth.toml), and a record with a closed form."""

import math
import re
import shutil
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from in_process import run_cells
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from shared_demo import demo_bench
from small_benches import HOUSING, METER, csv, write

import photolab.thermal
from photolab.bench.folder.records import read_bench
from photolab.bench.inputs.surface import surfaces
from photolab.bench.results.heat import warm_up_runs
from photolab.bench.results.heat_and_light import looked_at
from photolab.errors import MethodError
from photolab.publication.sentences import words_heat as words
from photolab.publication.sentences import words_surface
from photolab.publication.words import say
from photolab.thermal.stabilization import PRACTICE
from photolab.thermal.warm_up import FINDINGS, fit_warm_up
from photolab.thermal.warm_up_result import Finding, Remaining, Settled, Step

ROOT = Path(__file__).parent.parent
THERMAL = Path(photolab.thermal.__file__).parent
SOURCES = "\n".join(path.read_text(encoding="utf-8") for path in sorted(THERMAL.glob("*.py")))
READINGS = "lamp,illuminance_lx,housing,range_lx\nB0,300,HP,400\nK1,310,HP,400\nK2,320,HP,400\n"
LAMPS = "lamp,technology,role\nB0,filament,baseline\nK1,led,candidate\nK2,led,candidate\n"
TIMES = np.arange(30.0, 2401.0, 30.0)


@pytest.fixture(autouse=True)
def without_drawing(monkeypatch):
    """Draw nothing; what a picture shows stands in its words too."""
    monkeypatch.setattr(Figure, "savefig", lambda figure, stream, **_: stream.write(b"picture"))


@cache
def runs():
    return {run.run: run for run in warm_up_runs(demo_bench())}


@cache
def truth():
    text = (ROOT / "data" / "demo" / "truth.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)["lamps"]


@cache
def shown(stem, **settings):
    """Return what each cell of a notebook shows, one text a cell."""
    path = next((ROOT / "notebooks").glob(f"{stem}_*.ipynb"))
    ran = run_cells(path, {"bench": str(ROOT / "data" / "demo"), **settings})
    cells = [cell for cell in ran.cells if cell.cell_type == "code"]
    return [output.data["text/plain"] for cell in cells for output in cell.outputs]


def one_of(texts, part):
    """Return the one text that holds something."""
    (found,) = [text for text in texts if part in text]
    return found


def folder(place, **files):
    """Write a bench folder and return it."""
    texts = {"bench.toml": METER + HOUSING, "readings.csv": READINGS, "lamps.csv": LAMPS}
    return str(write(place, texts | {f"{stem}.csv": text for stem, text in files.items()}))


def settling_record(place, *, until_s=2400.0, every_s=30.0, seed=7):
    """E(t) = E(60 s) (0.82 + 0.18 exp(-(t - 60 s)/7 min)) with 0.4 % noise, no ambient and no volts logged."""
    rng = np.random.default_rng(seed)
    times = np.arange(30.0, until_s + 1.0, every_s)
    curve = 0.82 + 0.18 * np.exp(-(times - 60.0) / 420.0)
    light = 3600.0 * curve * (1.0 + 0.004 * rng.standard_normal(times.size))
    rows = [("W1", "K1", f"{t:g}", f"{e:.0f}", "HP", "M1", 4000) for t, e in zip(times, light, strict=True)]
    head = "run,lamp,elapsed_s,illuminance_lx,housing,meter,range_lx"
    return folder(place, warm_up=csv(head, rows))


def test_every_finding_of_the_method_has_words():
    assert set(FINDINGS) <= set(words.FINDING_WORDS)
    assert all(words.FINDING_WORDS[code].endswith(".") for code in FINDINGS)


def test_every_refusal_of_the_method_has_words():
    codes = set(re.findall(r'code="(\w+)"', SOURCES))
    blocking = {code for code, blocks in FINDINGS.items() if blocks}
    assert len(codes) >= 10
    assert codes | blocking <= set(words.REFUSAL_WORDS)


def test_every_code_of_a_surface_has_words():
    source = (ROOT / "photolab" / "bench" / "inputs" / "surface.py").read_text(encoding="utf-8")
    own = set(
        re.findall(
            r'"((?:emissivity|reflected|thermocouple)_(?:missing|assumed|contact|from_ambient))"', source
        )
    )
    thermal = set(re.findall(r'^ {8}"(\w+)": (?:method|displayed|reflected)\b', SOURCES, re.MULTILINE))
    assert len(own) == 5
    assert len(thermal) == 4
    assert own | thermal <= set(words_surface.SURFACE_WORDS)


def test_no_word_belongs_in_the_annex():
    kept_out = ("REML", "sandwich", "monotone", "Welch", "variable projection", "studentised", "dof")
    said = " ".join(
        [*words.FINDING_WORDS.values(), *words.REFUSAL_WORDS.values(), *words_surface.SURFACE_WORDS.values()]
    )
    said += " ".join([*shown("08"), *shown("09")])
    assert not [word for word in kept_out if word.lower() in said.lower()]


def test_remaining_light_is_said_in_the_declared_form():
    one = Remaining(0.8233, 0.8171, 0.8296, 0.0037, 40.0, "record", False, at_s=1800.0, initial_s=60.0)
    said = "Remaining light: 82.3 % (81.7 to 83.0) of the 60 s value after 30 minutes"
    assert str(say(one)) == f"{said}."
    beyond = Remaining(0.8233, 0.8171, 0.8296, 0.0037, 40.0, "bounds", True, at_s=1800.0, initial_s=60.0)
    cut = (
        " That instant lies beyond the record; a cut that the lamp makes after its end is not in this range."
    )
    assert str(say(beyond)) == said + "." + cut
    last = Remaining(0.81, 0.79, 0.82, 0.01, 40.0, "bounds", True, at_s=math.inf, initial_s=60.0)
    assert str(say(last)).startswith("The final level is 81.0 % (79.0 to 82.0; wider below,")


def test_an_interval_that_may_be_too_short_is_called_so():
    """Oracle: a record whose readings drift slowly; the same one without."""
    from dataclasses import replace

    run = runs()["W11"]
    drifting = replace(run, fit=replace(run.fit, findings=(Finding("slow_correlated_noise"),)))
    assert "The interval may be too short" in words.warm_up_sentences(drifting.fit)[-1]
    assert "the interval may be too short" in str(say(drifting.fit))
    assert "the interval may be too short" in words.record_row(drifting)["what to know"]
    assert "may be too short" not in str(say(run.fit))


def test_what_fades_how_fast_is_said_with_intervals():
    """Oracle: 14 % of K1's light at 60 s fades, with the numbers of its fit; the filament lamp does not fade."""
    (one,) = runs()["W11"].fit.fading()
    said = words.inside_sentences(runs()["W11"].fit)[0]
    assert said.startswith(f"Of the 60 s value fade: {100 * one.share.value:.1f} % (")
    assert f"with a time constant of {one.time_constant.value / 60:.1f} min (" in said
    assert said.endswith("A second rate is not told apart from it.")
    still = words.inside_sentences(runs()["W05"].fit)[0]
    assert still.startswith("No time constant is given, because the light does not fall by more than")


def test_volts_across_a_step_are_of_four_readings_beside_it():
    """Oracle: the figures put in: 13.0 V in the last four before, 12.5 V in the third to sixth behind."""
    from dataclasses import replace

    run = runs()["W07"]
    behind = run.record["elapsed_s"] > 1125.0
    order = np.where(behind, behind.cumsum(), (~behind)[::-1].cumsum()[::-1])  # 1 is next to the step
    volts = np.where(
        behind, np.select([order <= 2, order <= 6], [12.0, 12.5], 13.4), np.where(order <= 4, 13.0, 13.2)
    )
    stepped = replace(
        run, fit=replace(run.fit, step=Step(1125.0, -0.14, 0.002)), record=run.record.assign(socket_V=volts)
    )
    (told,) = words.run_steps(stepped)
    assert told.endswith("Meanwhile its volts went from 13.0 to 12.5 V.")


def test_step_is_said_with_its_instant_and_size():
    """Oracle: 14 % at 18.5 min were put in, over 20 s; the power fell from 30.2 W to 25.6 W."""
    from dataclasses import replace

    fit = runs()["W07"].fit
    lost = replace(fit, step=Step(1125.0, -0.14, 0.002))
    assert words.step_sentences(lost) == (
        "At 18.75 ± 0.25 min the light lost 14.0 ± 0.4 % of what it was just before.",
    )
    (gained,) = words.step_sentences(replace(fit, step=Step(1125.0, 0.05, 0.002)))
    assert "the light gained 5.0 ± 0.4 %" in gained
    stepped = {name: run for name, run in runs().items() if words.run_steps(run)}
    assert {run.lamp for run in stepped.values()} == {"K6"}
    told = truth()["K6"]
    for run in stepped.values():
        assert abs(run.fit.step.time_s / 60.0 - told["step_min"]) <= 0.5
        assert abs(-run.fit.step.size - (1.0 - told["step_factor"])) <= 0.01
        assert words.run_steps(run)[0].endswith("The power went from 30.2 W to 25.6 W.")
    said = one_of(shown("08"), "the light lost")
    assert said.count("the light lost") == len(stepped) == 2


@pytest.mark.parametrize(
    ("size", "volts", "amperes", "said"),
    [
        (-0.14, (13.2, 13.2), (2.29, 1.94), "lowers its own power at 18.8 min"),
        (
            -0.14,
            (13.2, 12.9),
            (2.29, 1.94),
            "its light falls by 14.0 % at 18.8 min while its volts went from 13.2 to 12.9 V",
        ),
        (-0.14, (13.2, 13.2), (2.29, 2.28), "its light falls by 14.0 % at 18.8 min"),  # something in the beam
        (
            -0.14,
            (13.2, 13.2),
            (2.29, 2.29 * 0.92),
            "lowers its own power at 18.8 min",
        ),  # more than half of it
        (-0.14, (13.2, 13.2), (2.29, 2.29 * 0.94), "its light falls by 14.0 % at 18.8 min"),  # less than half
        (-0.14, (13.2, 13.1), (2.29, 1.94), "lowers its own power at 18.8 min"),  # 0.8 %: held
        (0.04, (13.2, 13.2), (2.29, 2.40), "its light rises by 4.0 % at 18.8 min"),
        (
            -0.14,
            (13.2, 13.2),
            (0.0, 0.0),
            "its light falls by 14.0 % at 18.8 min",
        ),  # a current that was not read
        (-0.14, (math.nan, math.nan), (math.nan, math.nan), "its light falls by 14.0 % at 18.8 min"),
    ],
)
def test_a_step_is_the_lamps_own_only_where_watts_fell_and_volts_held(size, volts, amperes, said):
    """Oracle: the rule, case by case: down, watts down with it, the supply still."""
    from dataclasses import replace

    run = runs()["W07"]
    behind = (run.record["elapsed_s"] > 1125.0).astype(int)
    logged = {"socket_V": np.take(volts, behind), "current_A": np.take(amperes, behind)}
    fit = replace(run.fit, step=Step(1125.0, size, 0.002))
    stepped = replace(run, fit=fit, record=run.record.assign(**logged))
    assert words.step_words(stepped) == said
    (told,) = words.run_steps(stepped)
    assert told.endswith("Meanwhile its volts went from 13.2 to 12.9 V.") == (volts == (13.2, 12.9))
    assert words.step_words(runs()["W05"]) == ""


def test_first_lamp_after_the_baseline_is_looked_at_or_the_one_named():
    """Oracle: the order of lamps.csv, and the names asked for."""
    assert looked_at(demo_bench()).run == "W11"
    assert looked_at(demo_bench(), run="W08").lamp == "K7"
    assert looked_at(demo_bench(), lamp="B0").run == "W05"
    with pytest.raises(ValueError, match=r"must be those of a record in warm_up\.csv; got 'none'"):
        looked_at(demo_bench(), lamp="none")


def test_notebook_says_the_closed_form(tmp_path):
    """Oracle: 0.82 + 0.18 exp(-29/7) is 82.3 %; the record settles within 1 % at 1 + 7 ln(18/0.82) = 22.6 min."""
    texts = shown("08", bench=settling_record(tmp_path / "b"))
    said = one_of(texts, "It settles.")
    _, low, high = map(
        float, re.search(r"Remaining light: ([\d.]+) % \(([\d.]+) to ([\d.]+)\)", said).groups()
    )
    assert low <= 100.0 * (0.82 + 0.18 * math.exp(-29.0 / 7.0)) <= high
    assert 0.3 <= (high - low) / 2.0 <= 0.9
    within, first, last = map(
        float, re.search(r"1 % of its final level from ([\d.]+) min \(([\d.]+) to ([\d.]+)\)", said).groups()
    )
    assert first <= within <= last
    assert abs(within - (1.0 + 7.0 * math.log(18.0 / 0.82))) <= 1.5 * (
        last - first
    )  # three standard uncertainties
    assert "a drift of 0.30 % over the record (assumed)" in said
    assert "of the 60 s value after 30 minutes." in said
    ways = one_of(texts, "mean of the readings next to both instants")
    assert ways.count("inside") == 2
    assert "differs" not in one_of(texts, "remaining light.")


def test_record_cut_at_five_minutes_is_too_short_and_says_what_is_known(tmp_path):
    """Oracle: the hold time is six times the length of the record."""
    said = one_of(
        shown("08", bench=settling_record(tmp_path / "b", until_s=300.0)), "No answer, because the hold time"
    )
    assert "No answer, because the hold time lies beyond twice the length of the record" in said
    assert "No final level is given" in said
    assert "It settles" not in said
    assert "value after 5 minutes." in said


def test_five_readings_are_refused_with_the_last_over_the_first(tmp_path):
    """Oracle: the readings of the file; a curve needs eight."""
    place = settling_record(tmp_path / "b", every_s=500.0, until_s=2100.0)
    texts = shown("08", bench=place)
    read = (tmp_path / "b" / "warm_up.csv").read_text(encoding="utf-8").splitlines()[1:]
    light = [float(row.split(",")[3]) for row in read]
    assert len(light) == 5
    said = one_of(texts, "No answer, because too few readings for a curve.")
    assert f"{100 * light[-1] / light[0]:.1f} % of the first" in said
    assert not [text for text in texts if "It settles" in text]


def test_readings_at_both_instants_take_the_place_of_a_record(tmp_path):
    """Oracle: 290.0 lx after 300.0 lx in one seating are 96.7 %; scale and seating cancel."""
    rows = "".join(
        f"{lamp},{light},HP,400,{seat},{at}\n"
        for lamp, first in (("B0", 400.0), ("K1", 300.0))
        for seat in (1, 2)
        for at, light in ((60, first), (1800, first - 10.0))
    )
    texts = shown(
        "08",
        bench=folder(
            tmp_path / "b", readings="lamp,illuminance_lx,housing,range_lx,mounting,elapsed_s\n" + rows
        ),
    )
    said = one_of(texts, "Read at both instants in one seating: 96.7 %")
    low, high = map(float, re.search(r"\(([\d.]+) to ([\d.]+)\)", said).groups())
    assert low <= 100.0 * 290.0 / 300.0 <= high
    assert high - low < 3.0  # one seating after another would be known to some ± 8 %
    table = one_of(texts, "from-to (%)")
    assert table.splitlines()[1].split()[:4] == ["B0", "HP", "hot_spot", "97.5"]


def test_demo_short_record_is_refused_as_a_result():
    """Oracle: the fade put into K7."""
    said = one_of(shown("08"), "no remaining light at the hold time")
    assert "W08, K7 specimen 1 in HP: no remaining light at the hold time: the hold time lies beyond" in said
    assert "no final level: the record is too short for a final level" in said
    end = runs()["W08"].refusals[0].known["remaining_at_end"]
    told = truth()["K7"]
    kept = told["remaining"] + (1.0 - told["remaining"]) * math.exp(-11.0 / told["tau_min"])
    assert end.low <= kept <= end.high  # what is known: the light at 12 min
    assert "shaded: beyond the record" in one_of(shown("08"), "shaded")


def test_demo_plain_curve_fails_at_the_step_and_the_readings_do_not():
    """Oracle: the step put into K6; K1 has none."""
    ways = one_of(shown("08", run="W07"), "next to both instants").splitlines()
    assert [line.split()[-1] for line in ways[1:]] == ["outside", "inside"]
    assert one_of(shown("08", run="W11"), "next to both instants").count("inside") == 2


def test_a_way_outside_either_end_is_called_outside():
    left = Remaining(0.8, 0.79, 0.81, 0.01, 40.0, "record", False, at_s=1800.0, initial_s=60.0)
    table = words.ways_table({"a": 0.78, "b": 0.8, "c": 0.82}, left)
    assert list(table["the interval"]) == ["outside", "inside", "outside"]


def test_a_law_changed_by_hand_differs_from_the_report():
    """Oracle: another drift widens the interval, another hold time moves the figure."""
    usual = one_of(shown("08"), "It settles.")
    wide = one_of(shown("08", drift=0.02), "It settles.")
    assert "a drift of 2.00 % over the record" in wide
    assert wide.split("%")[0] == usual.split("%")[0]
    assert wide != usual
    texts = shown("08", hold_minutes=10.0)
    assert "after 10 minutes" in one_of(texts, "It settles.")
    assert "Remaining light: the cell differs from the report by" in one_of(texts, "differs")


def test_what_the_temperatures_say():
    """Oracle: 96 degC and an emissivity of 0.12 were put into K2."""
    said = one_of(shown("09"), "may be used for ranking")
    assert said.startswith("K2, fin, bare surface: displayed 34.0 °C.")
    assert "not usable for ranking, use tape" in said
    assert "What may be quoted: at least 72 °C." in said
    assert "K2, fin, tape patch: displayed 96.0 °C, surface 96 °C" in said
    assert "15 of 16 readings" in said
    assert "emissivity" in one_of(shown("09"), "part (%)").splitlines()[1]


def test_light_and_case_are_read_out_with_their_interval():
    """Oracle: the figures of the fit; the record is of a case, so nothing is said of a junction."""
    from photolab.bench.results.heat_and_light import slope_of

    slope = slope_of(runs()["W11"], coverage=0.95)
    said = one_of(shown("09"), "Light against case temperature:")
    assert f"{slope.percent_per_kelvin:.3f} %/K ({slope.low:.3f} to {slope.high:.3f} at 95 %)" in said
    assert "junction" not in said
    assert one_of(shown("09"), "By plain least squares").endswith("inside the interval.")


def test_another_ambient_is_marked_as_extrapolation():
    """Oracle: K1 has a record without a step, K6 cuts its power, B0 has a filament."""
    assert "\nExtrapolation, not measured: " in one_of(shown("09", run="W11"), "At an ambient of 35.0")
    for run in ("W07", "W05"):
        said = one_of(shown("09", run=run), "At an ambient of 35.0")
        assert "it cut its own power" in said
        assert "Extrapolation" not in said


def test_an_instant_before_the_record_is_refused():
    """Oracle: the record begins at 30 s and 10 s are averaged."""
    lines = one_of(shown("08"), "initial time, until 2400 s  ").splitlines()[1:]
    assert [line.split()[0] for line in lines] == ["5", "30", "60", "180"]
    assert "lies outside the record" in lines[0]
    assert f"{100 * runs()['W11'].fit.remaining(2400.0, initial_s=180.0).value:.1f}" in lines[3]


def test_a_table_of_instants_says_until_when_it_counts(tmp_path):
    """Oracle: the record cut at 20 min, of a hold time of 40 min: what is left then, by its own fit."""
    folder = tmp_path / "cut"
    shutil.copytree(ROOT / "data" / "demo", folder)
    table = pd.read_csv(folder / "warm_up.csv", dtype=str)
    table[table["elapsed_s"].astype(float) <= 1200.0].to_csv(folder / "warm_up.csv", index=False)
    (head, *lines) = one_of(shown("08", bench=str(folder), run="W11"), "initial time, until").splitlines()
    assert head.startswith("initial time, until 1200 s  ")
    (fit,) = [run.fit for run in warm_up_runs(read_bench(folder)) if run.run == "W11"]
    assert lines[2].split()[:3] == ["60", "s", f"{100 * fit.remaining(1200.0).value:.1f}"]


def test_temperatures_are_also_given_in_fahrenheit():
    assert (
        words_surface.temperature((96.0, 93.0, 99.0), fahrenheit=True)
        == "96 °C (93 to 99) [205 °F (199 to 210)]"
    )
    assert (
        words_surface.temperature((50.0, 45.0, 55.0), fahrenheit=True, rise=True)
        == "50 K (45 to 55) [90 °F (81 to 99)]"
    )
    assert words_surface.temperature((math.nan, 38.0, math.nan)) == "at least 38 °C"
    assert words_surface.temperature((math.nan, math.nan, math.nan)) == "none"


def test_what_mirrors_something_hotter_is_no_lower_bound(tmp_path):
    """Oracle: K1 mirrors 120 degC and shows 30; of K2 less is left than of the coldest body."""
    rows = "K1,30,30,bare,0.95,0.2,0.05,120,22\nK2,30,20,bare,0.95,0.5,0.05,40,22\n"
    head = "lamp,elapsed_minutes,displayed_C,method,set_emissivity,emissivity,emissivity_half_width,"
    head += "reflected_C,ambient_C\n"
    texts = shown("09", bench=folder(tmp_path / "b", thermal=head + rows))
    said, table = one_of(texts, "may be used for ranking"), one_of(texts, "usable for ranking\n")
    assert "K1, bare surface: displayed 30.0 °C, no surface temperature" in said
    assert "at least" not in said + table
    assert table.count("no: use tape") == 2
    assert "none" in table


@pytest.mark.parametrize(
    ("light", "words_of_it"),
    [
        (
            lambda t, noise: 350 * (1 + 0.1 * (1 - np.exp(-t / 300))) * noise,
            "the light rises over the record",
        ),
        (
            lambda t, noise: 350 * np.where(t > 600, 0.9, 1) * np.where(t > 1200, 0.9, 1) * noise,
            "stepped more than once",
        ),
        (lambda t, _: np.full(t.size, 350.0), "every reading is the same figure"),
        (lambda t, noise: np.where(t > 1000, 0.0, 350.0) * noise, "the record holds readings of 0 lx"),
    ],
    ids=["rising", "two_steps", "constant", "dark"],
)
def test_odd_records_are_answered_or_refused_in_words(tmp_path, light, words_of_it):
    """Oracle: how the records were made."""
    times = np.arange(30.0, 1801.0, 30.0)
    values = light(times, 1.0 + 0.001 * np.random.default_rng(1).standard_normal(times.size))
    rows = [("W1", "K1", f"{t:g}", f"{e:.1f}", "80") for t, e in zip(times, values, strict=True)]
    table = csv("run,lamp,elapsed_s,illuminance_lx,case_C", rows)
    texts = shown("08", bench=folder(tmp_path / "b", warm_up=table))
    assert words_of_it in "".join(texts)
    assert "It settles" not in "".join(texts)
    assert "No answer" in "".join(shown("09", bench=folder(tmp_path / "b", warm_up=table)))


@pytest.mark.parametrize("stem", ["08", "09"])
def test_a_folder_that_feeds_nothing_stops_at_once(stem):
    """Oracle: two readings hold neither a record nor a temperature."""
    path = next((ROOT / "notebooks").glob(f"{stem}_*.ipynb"))
    assert run_cells(path, {"bench": str(ROOT / "data" / "two-readings")}) is None


def test_pictures_have_their_figures_in_words():
    """Oracle: the demo's figures of record W11 and W07."""
    texts = [text for stem in ("08", "09") for text in shown(stem) if text.startswith("Invented data. ")]
    together = " ".join(texts)
    assert len(texts) == 8
    for figures in (
        "60 s: 100.0 %; 40 min: 86.1 %",
        "a step at 18.8 min",
        "power from 31.5 to 25.6 W",
        "29 to 88 °C",
    ):
        assert figures in together


def test_known_of_every_refusal_is_said(tmp_path):
    times = np.arange(30.0, 1830.0, 30.0)
    with pytest.raises(MethodError, match="must show more than one value") as constant:
        fit_warm_up(times, np.full(times.size, 350.0), resolution=1.0)
    said = words.known_sentence(constant.value.known)
    assert_allclose(constant.value.known["remaining_low"], 1.0 - 1.0 / 350.0, rtol=1e-12)
    assert said == "All readings agree within one last figure: 99.71 to 100.29 % is left."
    assert words.known_sentence({}) == ""
    spread = words.known_sentence({"smallest_spread_percent": 1.91})
    assert spread == "The smallest spread seen is 1.9 %."


def test_settling_is_said_with_its_interval():
    # Oracle: the figures typed; 60 s are one minute.
    one = Settled(1320.0, 1260.0, 1383.0, 1.0)
    assert str(say(one)) == "Within 1 % of its final level from 22.0 min (21.0 to 23.1) after switch-on."
    assert "from 0.5 min after switch-on" in str(say(Settled(30.0, 30.0, 30.0, 5.0)))


def test_a_declared_criterion_is_named_whether_met_or_not():
    # Oracle: the criterion's own figures, and the codes of its refusals.
    assert words.stabilized_sentence(1800.0).endswith("first met 30 min after switch-on.")
    assert f"within {PRACTICE.spread_percent:g} %" in words.stabilized_sentence(1800.0)
    never = MethodError("", code="not_stabilized", known={"smallest_spread_percent": 1.91})
    assert words.stabilized_sentence(never).endswith(
        "not met within the record. The smallest spread seen is 1.9 %."
    )
    short = words.stabilized_sentence(MethodError("", code="record_too_short"))
    assert short.endswith("not met within the record, which is shorter than the 30 min that it asks for.")


def test_stable_records_are_named():
    # Oracle: the names typed.
    fit = runs()["W11"].fit
    assert "Counted in" not in words.inside_sentences(fit)[1]
    assert words.inside_sentences(fit, ("A", "B"))[1].endswith(
        "A, B, without a change and read by the same meter."
    )


def test_emissivity_alone_stands_beside_a_lower_bound():
    # Oracle: 79 to 131 degC, from the limits of the emissivity of K2 alone.
    (bare,) = [s for s in surfaces(demo_bench(), at_hold=True) if s.lamp == "K2" and s.method == "bare"]
    assert "Its emissivity alone, not known better, allows 79 to 131 °C." in str(say(bare))
