"""Warm-up and heat as notebooks show them. Oracles: the codes in the source of photolab.thermal, the values put into
the demo (truth.toml), and a record with a closed form."""

import io
import math
import re
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image
from shared_demo import demo_bench
from small_benches import HOUSING, METER, bench, csv

import photolab.thermal
from photolab.bench.heat_and_light import coupling
from photolab.bench.records import read_bench
from photolab.errors import MethodError
from photolab.publication import (
    views_heat,
    views_heat_and_light,
    views_heat_stories,
    views_surface,
    words_surface,
)
from photolab.publication import words_heat as words
from photolab.publication.display import Words
from photolab.publication.figures.common import Picture
from photolab.thermal.warm_up import FINDINGS, fit_warm_up
from photolab.thermal.warm_up_result import Fading, Finding, Remaining, Settled, Step, log_time_uncertainties

ROOT = Path(__file__).parent.parent
THERMAL = Path(photolab.thermal.__file__).parent
SOURCES = "\n".join(path.read_text(encoding="utf-8") for path in sorted(THERMAL.glob("*.py")))
READINGS = "lamp,illuminance_lx,housing,range_lx\nB0,300,HP,400\nK1,310,HP,400\nK2,320,HP,400\n"
HEAT_VIEWS = (
    views_heat.answer,
    views_heat.records,
    views_heat.warm_up_picture,
    views_heat.residuals,
    views_heat.residual_words,
    views_heat.findings,
    views_heat_stories.rebased,
    views_heat_stories.settling,
    views_heat_stories.three_panels,
    views_heat_stories.steps_found,
    views_heat_stories.step_picture,
    views_heat_stories.step_panels,
    views_heat_stories.refusals,
    views_heat_stories.refused_picture,
    views_heat_stories.second_way,
    views_heat_and_light.light_against_case,
    views_heat_and_light.coupling_words,
    views_heat_and_light.slopes,
    views_heat_and_light.resistances,
    views_heat_and_light.ambient_table,
)
SURFACE_VIEWS = (
    views_surface.answer,
    views_surface.surface_table,
    views_surface.reading_picture,
    views_surface.emissivities,
    views_surface.band_against_total,
    views_surface.second_way,
)


@cache
def demo(lamp=None):
    return views_heat.choose(demo_bench(), lamp=lamp)


@cache
def truth():
    text = (ROOT / "data" / "demo" / "truth.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)["lamps"]


def text_of(view, *args):
    return str(view(*args))


def settling_record(folder, *, until_s=2400.0, every_s=30.0, seed=7):
    """E(t) = E(60 s) (0.82 + 0.18 exp(-(t - 60 s)/7 min)) with 0.4 % noise, no ambient and no volts logged."""
    rng = np.random.default_rng(seed)
    times = np.arange(30.0, until_s + 1.0, every_s)
    light = (
        3600.0
        * (0.82 + 0.18 * np.exp(-(times - 60.0) / 420.0))
        * (1.0 + 0.004 * rng.standard_normal(times.size))
    )
    rows = [("W1", "K1", f"{t:g}", f"{e:.0f}", "HP", "M1", 4000) for t, e in zip(times, light, strict=True)]
    head = "run,lamp,elapsed_s,illuminance_lx,housing,meter,range_lx"
    return views_heat.choose(bench(folder, READINGS, toml=METER + HOUSING, warm_up=csv(head, rows)))


def test_every_finding_of_the_method_has_words():
    assert set(FINDINGS) <= set(words.FINDING_WORDS)
    assert all(words.finding_sentence(Finding(code)).endswith(".") for code in FINDINGS)


def test_every_refusal_of_the_method_has_words():
    codes = set(re.findall(r'code="(\w+)"', SOURCES))
    blocking = set(re.findall(r'Finding\(\s*"(\w+)",', SOURCES)) | {
        "rising_light",
        "not_one_settling_curve",
    }
    assert len(codes) >= 10
    assert codes | blocking <= set(words.REFUSAL_WORDS)


def test_every_code_of_a_surface_has_words():
    source = (ROOT / "photolab" / "bench" / "surface.py").read_text(encoding="utf-8")
    own = set(
        re.findall(
            r'"((?:emissivity|reflected|thermocouple)_(?:missing|assumed|contact|from_ambient))"', source
        )
    )
    thermal = set(re.findall(r'^ {8}"(\w+)": (?:method|displayed|reflected)\b', SOURCES, re.MULTILINE))
    assert len(own) == 5
    assert len(thermal) == 4
    assert own | thermal <= set(words_surface.SURFACE_WORDS)


def test_every_word_is_free_of_what_stays_in_the_annex():
    kept_out = ("REML", "sandwich", "monotone", "Welch", "variable projection", "studentised", "dof")
    said = " ".join(
        [*words.FINDING_WORDS.values(), *words.REFUSAL_WORDS.values(), *words_surface.SURFACE_WORDS.values()]
    )
    said += " ".join(text_of(view, demo()) for view in HEAT_VIEWS)
    assert not [word for word in kept_out if word.lower() in said.lower()]


def test_remaining_light_is_said_in_the_declared_form():
    one = Remaining(0.8233, 0.8171, 0.8296, 0.0037, 40.0, "record", False)
    said = words.remaining_sentence(one, initial_s=60.0, at_s=1800.0, housing="HP")
    assert said == "Remaining light: 82.3 % (81.7 to 83.0) of the 60 s value after 30 minutes, in HP."


def test_an_interval_that_may_be_too_short_is_called_so():
    """Oracle: a record whose readings drift slowly; the same one without."""
    heat = demo()
    drifting = replace(heat.run.fit, findings=(Finding("slow_correlated_noise"),))
    one = replace(heat, run=replace(heat.run, fit=drifting), runs=(replace(heat.run, fit=drifting),))
    assert "The interval may be too short" in text_of(views_heat.answer, one)
    assert "the interval may be too short" in text_of(views_heat.records, one)
    assert "the interval may be too short" in text_of(views_heat.findings, one)
    assert "may be too short" not in text_of(views_heat.answer, heat)


def test_what_fades_how_fast_is_said_with_intervals():
    """Oracle: 14 % of K1's light at 60 s fades, with the numbers of its fit."""
    one = Fading(0.14, 0.136, 0.144, 0.002, 252.0, 240.0, 264.0, 0.02)
    said = words.fading_sentence((one,), initial_s=60.0)
    assert (
        said == "Of the 60 s value fade: 14.0 % (13.6 to 14.4) with a time constant of 4.2 min (4.0 to 4.4)."
    )
    assert "Of the 60 s value fade: " in text_of(views_heat_stories.settling, demo())
    still = replace(demo(), run=next(run for run in demo().runs if run.lamp == "B0"))
    assert "No time constant is given, because no fall of the light" in text_of(
        views_heat_stories.settling, still
    )


def test_step_is_said_with_its_instant_and_size():
    said = words.step_sentence(Step(1125.0, -0.14, 0.002), spacing_s=30.0)
    assert said == "At 18.75 ± 0.25 min the light lost 14.0 ± 0.4 % of what it was just before."
    assert "the light gained 5.0 ± 0.4 %" in words.step_sentence(Step(1125.0, 0.05, 0.002), spacing_s=30.0)


def test_first_lamp_after_the_baseline_is_chosen_or_the_one_named():
    heat = demo()
    assert (heat.run.lamp, heat.run.run) == ("K1", "W11")
    assert views_heat.choose(heat.bench, run="W08").run.lamp == "K7"
    assert views_heat.choose(heat.bench, lamp="none").run is None


@pytest.mark.parametrize(("low", "high"), [(0.5, 0.6), (0.95, 0.99)])
def test_second_way_outside_either_end_is_called_outside(low, high):
    heat = demo("K1")
    moved = replace(heat.run, remaining=replace(heat.run.remaining, low=low, high=high))
    said = text_of(views_heat_stories.second_way, replace(heat, runs=(), run=moved))
    assert said.count("outside the interval") == 2


def test_trial_record_gives_the_closed_form(tmp_path):
    heat = settling_record(tmp_path / "b")
    r = heat.run.remaining
    assert r.low <= 0.82 + 0.18 * math.exp(-29.0 / 7.0) <= r.high  # 82.3 %
    assert 0.003 <= (r.high - r.low) / 2.0 <= 0.009
    settled = 1.0 + 7.0 * math.log(18.0 / 0.82)  # closed form 22.6 min; its slope by the time constant is 3.1
    u_tau = float(heat.run.fit.time_constants[0] * log_time_uncertainties(heat.run.fit.described)[0])
    spread = math.log(18.0 / 0.82) * u_tau / 60.0
    assert spread < 1.2
    assert_allclose(
        heat.run.fit.settled(1.0).value_s / 60.0, settled, atol=3.0 * spread
    )  # three standard uncertainties
    said = text_of(views_heat.answer, heat)
    assert "a drift of 0.3 % over the record (assumed)" in said
    assert "after 30 minutes, in HP." in said


def test_record_cut_at_five_minutes_is_too_short_and_says_what_is_known(tmp_path):
    heat = settling_record(tmp_path / "b", until_s=300.0)
    said = text_of(views_heat.answer, heat)
    assert "no remaining light after 30 minutes is given" in said
    assert "No final level is given" in said
    assert "settles: within" not in said
    assert "What is known all the same. Remaining light:" in said
    assert "value after 5 minutes." in said


def test_five_readings_are_refused_with_the_last_over_the_first(tmp_path):
    heat = settling_record(tmp_path / "b", every_s=500.0, until_s=2100.0)
    assert len(heat.run.record) == 5
    said = text_of(views_heat.answer, heat)
    first, last = (float(heat.run.record["illuminance_lx"].iloc[i]) for i in (0, -1))
    assert "too few readings for a curve" in said
    assert f"{100 * last / first:.1f} % of the first" in said
    assert isinstance(views_heat.warm_up_picture(heat), Words)
    assert "too few readings" in text_of(views_heat.findings, heat)


def test_demo_step_is_found_and_sized():
    runs = [run for run in demo().runs if run.lamp == "K6"]
    assert len(runs) == 2
    told = truth()["K6"]
    for run in runs:
        step = run.fit.step
        assert abs(step.time_s / 60.0 - told["step_min"]) <= 0.5  # 18.5 min, over 20 s
        assert abs(-step.size - (1.0 - told["step_factor"])) <= 0.01  # 14 %
    said = text_of(views_heat_stories.steps_found, demo())
    assert said.count("the light lost") == 2
    assert "The power went from 30.2 W to 25.6 W." in said  # 30.2 -> 25.6 W was put in
    others = [
        run for run in demo().runs if run.lamp != "K6" and run.fit is not None and run.fit.step is not None
    ]
    assert others == []


def test_demo_short_record_is_refused_as_a_result():
    said = text_of(views_heat_stories.refusals, demo())
    assert "W08, K7 specimen 1 in HP: no remaining light after 40 minutes is given" in said
    assert "no final level is given, because the record is too short for a final level" in said
    (run,) = [run for run in demo().runs if run.lamp == "K7"]
    end = run.refusals[0].known["remaining_at_end"]
    told = truth()["K7"]
    kept = told["remaining"] + (1.0 - told["remaining"]) * math.exp(-11.0 / told["tau_min"])
    assert end.low <= kept <= end.high  # what is known: the light at 12 min
    assert "shaded: beyond the record" in views_heat_stories.refused_picture(demo()).alt


def test_demo_plain_curve_fails_at_the_step_and_the_readings_do_not():
    said = text_of(views_heat_stories.second_way, demo("K6"))
    curve, readings = said.split("% by")[1:3]
    assert "outside the interval" in curve
    assert "inside the interval" in readings
    assert (
        text_of(views_heat_stories.second_way, demo("K1")).split("W07")[0].count("inside the interval") == 2
    )


def test_demo_bare_sink_is_named_not_usable():
    said = text_of(views_surface.answer, demo().bench)
    assert said.startswith("K2, fin, bare surface: displayed 34.0 °C")
    assert "not usable for ranking, use tape" in said
    assert "What may be quoted: at least 72 °C." in said
    assert "K2, fin, tape patch: displayed 96.0 °C, surface 96 °C" in said


def test_light_and_case_are_read_out_with_their_interval():
    slope = coupling(demo("K1").run).slope
    said = text_of(views_heat_and_light.coupling_words, demo("K1"))
    assert f"{slope.percent_per_kelvin:.3f} %/K ({slope.low:.3f} to {slope.high:.3f} at 95 %)" in said
    assert "junction" not in said


def test_another_ambient_is_marked_as_extrapolation():
    assert str(views_heat_and_light.expected(demo("K1"), 35.0)).startswith("Extrapolation, not measured:")
    assert "cut its own power" in str(views_heat_and_light.expected(demo("K6"), 35.0))
    assert "a filament lamp has none" in str(views_heat_and_light.expected(demo("B0"), 35.0))


def test_rebasing_refuses_an_instant_before_the_record():
    said = text_of(views_heat_stories.rebased, demo("K1")).splitlines()
    assert [line.split()[0] for line in said[1:]] == ["5", "30", "60", "180"]
    assert "not given: the record begins at 30 s" in said[1]
    fit = demo("K1").run.fit
    assert f"{100 * fit.remaining(2400.0, initial_s=180.0).value:.1f}" in said[4]


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
    rows = "K1,30,30,bare,0.95,0.2,0.05,120,22\nK2,30,20,bare,0.95,0.5,0.05,40,22\n"
    head = "lamp,elapsed_minutes,displayed_C,method,set_emissivity,emissivity,emissivity_half_width,"
    head += "reflected_C,ambient_C\n"
    made = bench(tmp_path / "b", READINGS, toml=METER + HOUSING, thermal=head + rows)
    said, shown = text_of(views_surface.answer, made), text_of(views_surface.surface_table, made)
    assert "K1, bare surface: displayed 30.0 °C, no surface temperature" in said
    assert "at least" not in said + shown
    assert shown.count("no: use tape") == 2
    assert "none" in shown


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
    ],
    ids=["rising", "two_steps", "constant"],
)
def test_odd_records_are_answered_or_refused_in_words(tmp_path, light, words_of_it):
    times = np.arange(30.0, 1801.0, 30.0)
    values = light(times, 1.0 + 0.001 * np.random.default_rng(1).standard_normal(times.size))
    rows = [("W1", "K1", f"{t:g}", f"{e:.1f}") for t, e in zip(times, values, strict=True)]
    table = csv("run,lamp,elapsed_s,illuminance_lx", rows)
    heat = views_heat.choose(bench(tmp_path / "b", READINGS, toml=METER + HOUSING, warm_up=table))
    assert words_of_it in text_of(views_heat.answer, heat)
    assert "It settles" not in text_of(views_heat.answer, heat)
    assert all(str(view(heat)) for view in HEAT_VIEWS)  # every view shows something, and none raises


@pytest.mark.parametrize("view", HEAT_VIEWS, ids=lambda view: view.__name__)
def test_a_folder_without_records_gets_one_sentence(view):
    heat = views_heat.choose(read_bench(ROOT / "data" / "two-readings"))
    shown = view(heat)
    assert isinstance(shown, Words)
    assert len(shown.paragraphs) == 1


@pytest.mark.parametrize("view", SURFACE_VIEWS, ids=lambda view: view.__name__)
def test_a_folder_without_temperatures_gets_one_sentence(view):
    shown = view(read_bench(ROOT / "data" / "two-readings"))
    assert isinstance(shown, Words)
    assert len(shown.paragraphs) == 1


@pytest.mark.parametrize(
    ("lamp", "view", "figures"),
    [
        ("K1", views_heat.warm_up_picture, ("60 s: 100 %", "40 min: 86.1 %")),
        ("K1", views_heat.residuals, ("one SD is 0.38 %",)),
        (
            "K6",
            views_heat_stories.three_panels,
            ("a step in all three at 18.8 min", "power from 31.5 to 25.6 W"),
        ),
        ("K1", views_heat_and_light.light_against_case, ("29 to 88 °C",)),
    ],
)
def test_pictures_have_their_figures_in_words(lamp, view, figures):
    shown = view(demo(lamp))
    assert isinstance(shown, Picture)
    image = Image.open(io.BytesIO(shown.png)).convert("L")
    assert image.getextrema()[0] < 100 < 255 == image.getextrema()[1]
    assert shown.alt.startswith("Invented data.")
    assert all(figure in shown.alt for figure in figures)


def test_known_of_every_refusal_is_said(tmp_path):
    times = np.arange(30.0, 1830.0, 30.0)
    with pytest.raises(MethodError, match="must show more than one value") as constant:
        fit_warm_up(times, np.full(times.size, 350.0), resolution=1.0)
    said = words.known_sentence(constant.value.known, initial_s=60.0)
    assert_allclose(constant.value.known["remaining_low"], 1.0 - 1.0 / 350.0, rtol=1e-12)
    assert said == "All readings agree within one last figure: 99.71 to 100.29 % is left."
    assert words.known_sentence({}, initial_s=60.0) == ""
    spread = words.known_sentence({"smallest_spread_percent": 1.91}, initial_s=60.0)
    assert spread == "The smallest spread seen is 1.9 %."


def test_settling_is_said_with_its_interval():
    # Oracle: the figures typed; 60 s are one minute.
    assert words.settled_phrase(Settled(1320.0, 1260.0, 1383.0, 1.0)) == "22.0 min (21.0 to 23.1)"
    assert words.settled_phrase(Settled(30.0, 30.0, 30.0, 5.0)) == "0.5 min"


def test_stable_records_are_named():
    # Oracle: the names typed.
    assert words.stable_sentence(()) == ""
    assert (
        words.stable_sentence(("W05",))
        == " Counted in: W05, a record without a change, read by the same meter."
    )
    assert "Counted in: A, B and C, records" in words.stable_sentence(("A", "B", "C"))
