"""Notebooks 10 to 13, run cell by cell. Oracles: the demo's planted stories; closed forms."""

import functools
import math
import re
from copy import copy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from in_process import run_cells
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import demo_campaign as demo
from shared_demo import rows_of
from small_benches import METER, bench, csv

from photolab.bench.questions.overturning import without_each
from photolab.bench.questions.review import Forecast
from photolab.bench.results.derived import judge_gain
from photolab.bench.results.evaluation import evaluate
from photolab.metrology.comparison import Equivalence
from photolab.metrology.reporting import decimal
from photolab.publication.report.held_back import held_back
from photolab.publication.sentences.words_lamp import claim_sentence, lamp_sentence, price_sentences
from photolab.publication.sentences.words_protocol import hold_sentence, needed_words, plan_row
from photolab.publication.words import say

ROOT = Path(__file__).resolve().parents[1]


@functools.cache
def ran(stem, folder="demo", settings=()):
    """Return what the cells of a notebook made, and what they said."""
    names = {}
    path = next((ROOT / "notebooks").glob(f"{stem}_*.ipynb"))
    notebook = run_cells(path, {"bench": str(ROOT / "data" / folder), **dict(settings)}, names=names)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    said = ["\n".join(one.data["text/plain"] for one in cell.outputs) for cell in cells]
    return SimpleNamespace(**names), "\n".join(said)


def gain(lamp, baseline, housing, scope="specimens"):
    difference = demo()[lamp, housing] - demo()[baseline, housing]
    return judge_gain(demo(), difference, lamp, baseline, housing=housing, scope=scope)


# ---- 10


def test_k3_is_better_in_one_housing_and_worse_in_the_other_in_words():
    """Oracle: the planted story, 1.25 and 0.88."""
    made, said = ran("10")
    assert (made.lamp, made.housings) == ("K3", ["HP", "HR"])
    assert "In HP: K3: 23.9 % more light than B0" in said
    assert "In HR: K3: 12.8 % less light than B0" in said
    assert "more in HP than in HR; quote each housing." in said


def test_the_gain_of_the_cell_is_the_ratio_of_the_report():
    """Oracle: `Campaign.ratio`, and the row of the results."""
    made, said = ran("10", settings=(("lamp", "K4"), ("scope", "models")))
    for one in made.gains:
        pair = demo().ratio("K4", "B0", housing=one.housing, scope="models")
        assert_allclose([one.ratio, one.low, one.high], [pair.ratio, pair.low, pair.high], rtol=1e-12)
        assert one.verdict == pair.verdict
    assert "The cell and the report give the same figure" in said


def test_another_coverage_differs_from_the_report():
    """Oracle: a narrower interval has a higher lower end."""
    _, said = ran("10", settings=(("coverage", 0.8),))
    assert "the cell differs from the report by" in said


def test_a_lamp_that_is_not_there_is_named():
    with pytest.raises(Exception, match="lamp K99 was not compared with B0; compared were K2"):
        ran("10", settings=(("lamp", "K99"),))


def test_a_promise_needs_more_than_itself():
    """Oracle: ln of the figure needed = ln(1.2) + z u, the normal quantile at the declared coverage."""
    made, _ = ran("10", settings=(("lamp", "K1"), ("at_least_percent", 20)))
    needed = [math.log(1.2) + stats.norm.ppf(0.95) * u for _, u in made.known]
    assert_allclose(made.needed, needed, rtol=1e-12)
    assert_allclose(made.sure, [stats.norm.sf((math.log(1.2) - y) / u) for y, u in made.known], rtol=1e-9)


def test_every_lamp_has_its_row_its_claim_and_its_refusal():
    """Oracle: eight lamps in two housings; the record of K7 that stopped at 12 minutes."""
    made, said = ran("10")
    every = {(f"K{n}", h) for n in range(1, 9) for h in ("HP", "HR")}
    assert {(gain.lamp, gain.housing) for gain, _ in made.every} == every
    assert every <= set(re.findall(r"^(K\d) +(H[PR]) +(?:\d|no difference)", said, re.MULTILINE))
    assert "Remaining light of K7 in HP, record W08: not given, because" in said
    for n in range(1, 9):
        assert f"- K{n}: the claim of" in said


def test_k7_claim_is_beyond_white_light_of_good_colour_in_neutral_words():
    said = claim_sentence(demo().bench, "K7")
    assert "9500 lm per pair" in said
    assert "12.1 W a lamp, limit 12.3 W" in said
    assert "at least 384 lm/W" in said  # 4750 lm at 12.1 W x 1.02 are 384.9: a lower bound is rounded down
    assert "at most about 370 lm/W without losses" in said
    assert "no white source" not in said


def test_price_is_refused_where_the_gain_is_not_resolved():
    (k5,) = price_sentences(demo().bench, gain("K5", "B0", "HP"))
    assert "no price per gained percent" in k5
    (k1,) = price_sentences(demo().bench, gain("K1", "B0", "HP"))
    own = gain(
        "K1", "B0", "HP"
    )  # 61 dal a pair; by the range that decides, wider than that of the lamp by itself
    dearest, cheapest = (f"{61.0 / (100.0 * (end - 1.0)):.2f}" for end in (own.family_low, own.family_high))
    assert own.family_low < own.low
    assert k1.startswith("60 s after switch-on, K1 in HP: a gained percent costs 2.03 dal a pair ")
    source = f"({cheapest} to {dearest}, by the range of the gain then, all lamps compared at once, 95 %), "
    assert source in k1
    assert k1.endswith("; the price of B0, 4.2 dal a lamp, is not subtracted.")
    lamps = demo().bench.tables["lamps"]
    lamps.loc[lamps["lamp"] == "B0", "price"] = math.nan
    unpriced = replace(demo().bench, tables={**demo().bench.tables, "lamps": lamps})
    assert price_sentences(unpriced, own)[0].endswith("; the price of B0 is not known.")
    among = gain("K5", "B0", "HR")  # clear alone, not among all: the report gives no price either
    assert (among.verdict, among.family_verdict) == ("clear", "inside")
    (k5,) = price_sentences(demo().bench, among)
    assert (
        k5
        == "60 s after switch-on, K5 in HR: no price per gained percent: as one of all lamps, more light is not shown."
    )
    less = copy(among)
    own = {"ratio": 0.88, "low": 0.78, "high": 0.98, "family_low": 0.74, "family_high": 1.05}
    for name, figure in own.items():
        object.__setattr__(less, name, figure)
    (k5,) = price_sentences(demo().bench, less)
    assert k5.endswith(
        "by itself less light than B0, and as one of all lamps it is not shown which gives more."
    )


def test_the_sentence_of_a_lamp():
    """Oracle: the ratio of the campaign; its scope and count stand in the sentence."""
    said, pair = lamp_sentence(demo(), "K1", "HP"), demo().ratio("K1", "B0", housing="HP")
    assert said.startswith(f"K1: {100 * (pair.ratio - 1):.1f} % more light than B0 (")
    assert "clear of the bench uncertainty for the 4 specimens on the bench" in said
    k5 = lamp_sentence(demo(), "K5", "HR")
    assert (
        "clear of the bench uncertainty by itself for the one specimen on the bench, but not as one of the 36"
        in k5
    )


# ---- 11


def test_highest_figure_is_not_called_the_highest_while_it_is_not_clear():
    _, said = ran("11")
    assert "K6 gives the highest figure but may not be called the highest: it is not clear of K2" in said
    assert "measure it again" in said


def test_the_pairs_of_the_cell_are_those_of_the_campaign():
    """Oracle: `Campaign.pairs`; the difference of two `Measured`."""
    made, said = ran("11")
    for housing, mine in made.told.items():
        pairs = demo().pairs(housing)
        assert list(mine["resolved"]) == list(pairs["resolved"])
        assert_allclose(mine["value"], [math.log(x) for x in pairs["ratio"]], rtol=1e-9, atol=1e-12)
    assert "In HP these are not told apart, all pairs counted together: K6 and K2; K2 and K1;" in said


def test_ranks_are_at_the_declared_coverage():
    """More coverage never makes an interval of ranks shorter, and some longer."""
    rows = [ran("11", settings=(("coverage", coverage),))[0].rows for coverage in (0.6, 0.99)]
    spans = [[high - low for *_, low, high, _ in one] for one in rows]
    assert sum(spans[0]) < sum(spans[1])


def test_alike_is_said_of_two_one_sided_tests():
    """Oracle: the interval given, in per cent."""
    told = say(Equivalence(0.0, 0.01, 9.0, 0.012, (-0.02, 0.03), True))
    assert (
        str(told)
        == "-2.0 to 3.0 %, alike within the margin (the larger of the two chances of an error: 1.2 %)."
    )


# ---- 12


def test_the_next_best_step_is_the_largest_cause():
    """Oracle: halving a part f leaves sqrt(1 - 3 f/4)."""
    made, said = ran("12")
    narrower = decimal(100 * (1 - math.sqrt(1 - 0.75 * made.causes["variance_fraction"].iloc[0])), 0)
    assert f"halve what seating adds, and intervals become {narrower} % narrower" in said


def test_the_plan_of_the_cell_is_the_public_forecast():
    """Oracle: `review.forecast`; with a power of 0.8 its smallest ratio as well (the far tail below 1e-5)."""
    made, said = ran("12", settings=(("coverage", 0.9),))
    assert "The cell and the report give the same figure" in said
    for mine, theirs in zip(made.forecasts[:1], made.first, strict=True):
        assert_allclose(mine.half_width_specimens, theirs.half_width_specimens, rtol=1e-12)
        assert_allclose(math.log(mine.resolvable), math.log(theirs.resolvable), rtol=1e-4)


def test_what_a_protocol_will_show_is_said_from_its_rehearsal():
    """Oracle: the table that the sentences are made from, and `what_changes_buy` again."""
    made, said = ran("12", settings=(("drawn", 3), ("coverage", 0.9), ("find_percent", 7.0)))
    table = made.bought.set_index("change")
    assert [*table.index] == [
        "",
        "mounting",
        "specimen",
        "day",
        "range",
    ]  # every lamp of the demo has its spectrum
    assert f"intervals of ± {decimal(table.loc['', 'specimens'], 1)} % for the specimens on the bench" in said
    assert "at 90 %, and shows a difference of 7 % between specimens" in said
    assert f"with a chance of {decimal(table.loc['', 'shown'], 0)} %" in said
    assert f"By the formula the protocol as it is gives ± {decimal(table.loc['', 'formula'], 1)} %" in said
    for row in table.itertuples():
        assert re.search(rf"± {decimal(row.specimens, 1)} and {decimal(row.formula, 1)}[;.]", said)
    assert "spectra of the lamps" not in said


def test_a_change_is_shown_where_it_applies_and_nothing_where_none_is_drawn():
    """Oracle: the club reads one range and has no spectra; nothing of the part is left with drawn = 0."""
    said = ran("12", "../tests/benches/club", settings=(("drawn", 2),))[1]
    assert "spectra of the lamps (factors within 0.6 %, assumed)" in said
    assert "one locked range" not in said
    made, said = ran("12", settings=(("drawn", 0),))
    assert made.bought.empty
    for words in ("benches drawn", "single change", "By rehearsal", "By the formula", "by rehearsal"):
        assert words not in said


def test_bench_hours_of_a_plan():
    """Oracle: by hand: 9 lamps x (10 + 45 + 1.5) min, and 9 x 3 x (10 + 3 x (45 + 1.5)) min."""
    minutes = {"specimen": 10, "seating": 45, "reading": 0.5}
    hours = [
        plan_row(Forecast(a, b, 3, 0.1, 0.1, 1.1), lamps=9, minutes=minutes)["hours"]
        for a, b in ((1, 1), (3, 3))
    ]
    assert_allclose(hours, [9 * 56.5 / 60, 9 * 3 * (10 + 3 * 46.5) / 60], rtol=1e-12)


def test_the_run_order_opens_and_closes_with_the_baseline_and_is_written(tmp_path):
    """Oracle: every lamp twice; the same seed gives the same order."""
    made = ran("12", settings=(("sheet", str(tmp_path / "order.csv")),))[0]
    seated = list(made.order["lamp"])
    assert (seated[0], seated[-1]) == ("B0", "B0")
    assert all(seated.count(f"K{n}") == 2 for n in range(1, 9))
    assert seated == list(ran("12")[0].order["lamp"])
    assert (tmp_path / "order.csv").read_text(encoding="utf-8").splitlines()[1].split(",")[2] == "B0"


def test_two_protocols_in_one_cell():
    """Oracle: the example: a narrower margin takes "alike" away, a shorter hold moves numbers."""
    made, said = ran("12")
    (moved,) = made.moved
    assert set(moved.settings["key"]) == {"protocol_revision", "hold_minutes", "alike_percent"}
    assert {"alike"} == set(moved.verdicts["before"])
    assert (
        "What was changed: protocol_revision 3 to invented; hold_minutes 40 to 30; alike_percent 10 to 5."
        in said
    )


def test_hold_and_initial_time_are_read_out():
    """Oracle: scenario: K6 steps down at 18.5 min, so 10 min is too short, 20 min enough."""
    made, said = ran("12")
    assert "From 20 min to 40 min no lamp recorded here changes by more than" in said
    assert made.until["lamp"].iloc[0] == "K6"
    assert hold_sentence(made.until, within_percent=0.1).startswith(
        "No hold time below 40 min keeps every lamp"
    )


@pytest.mark.parametrize(
    ("need", "words"), [(None, "No number of seatings shows 5 %"), (13, "seat each lamp 13 times")]
)
def test_seatings_that_show_a_difference_in_words(need, words):
    assert words in needed_words(5.0, 0.8, need)


# ---- 13


def test_the_tipping_factor_brings_the_interval_to_the_difference():
    """Oracle: the closed form of the factor; the parts are parts of one variance."""
    made, _ = ran("13")
    pair, among = (
        demo().ratio("K3", "K4", housing="HP"),
        demo().family("HP", against="K4").loc["K3"],
    )
    half = math.log(among["high"] / among["low"]) / 2.0
    assert half > pair.ln_expanded_uncertainty  # all pairs of the housing at once
    table = made.found
    factor, moves = (table[f"{name}specimens"] for name in ("factor, ", "moves the result by (± %), "))
    rest = half**2 - (moves["seating"] / 100.0) ** 2
    wide = math.sqrt(rest + (moves["seating"] / 100.0 * factor["seating"]) ** 2)
    assert_allclose(wide, abs(math.log(pair.ratio)), rtol=1e-9)
    assert factor["seating"] > 1.0  # a clear result: the uncertainty would have to grow
    assert_allclose(math.sqrt(sum((moves / 100.0) ** 2)), half, rtol=1e-9)


def test_a_verdict_put_to_the_test_is_that_of_all_pairs():
    """Oracle: the pair without one seating, by itself and by `pairwise` over all lamps of the housing."""
    made, said = ran("13")
    assert "In HP: K3: 5.5 % more light than K4" in said
    assert "No single seating decides it" not in said  # by itself no seating of the fourteen does
    parts = dict(without_each(demo(), "K3", "K4", housing="HP", level="mounting"))
    assert len(parts) == len(made.each["mounting"]) == 14
    again = parts["K3, specimen 2, HP, D03, seating 1"]
    alone = again.ratio("K3", "K4", housing="HP")
    among = again.pairs("HP").set_index(["a", "b"]).loc[("K3", "K4")]
    assert alone.verdict == "clear"
    assert not among["resolved"]
    gain = made.each["mounting"]["K3, specimen 2, HP, D03, seating 1"]
    assert gain.family_verdict == "inside"
    assert_allclose(
        [gain.family_low, gain.family_high], [among["low"], among["high"]], rtol=1e-6
    )  # families are widened to six decimals


def test_leaving_out_the_badly_aimed_seating_moves_k8():
    """Oracle: the aim error of -0.4 degree, 11 % low."""
    made, _ = ran("13", settings=(("lamp", "K8"), ("against", "B0")))
    ratios = {part: one.ratio for part, one in made.each["mounting"].items() if one is not None}
    assert max(ratios, key=ratios.get) == "K8, specimen 1, HP, D05, seating 2"
    assert max(ratios.values()) > 1.02 * made.whole[0].ratio
    assert len(ratios) >= 10


def test_leaving_out_the_only_specimen_leaves_no_answer():
    parts = dict(without_each(demo(), "K7", "B0", housing="HP", level="specimen"))
    assert parts["K7, specimen 1"] is None
    with pytest.raises(ValueError, match="level must be one of mounting, specimen, day; got 'week'"):
        next(without_each(demo(), "K7", "B0", housing="HP", level="week"))


def test_a_folder_without_days_has_none_to_leave_out(tmp_path):
    read = [("B0", 300, 1), ("B0", 303, 2), ("K1", 330, 1), ("K1", 333, 2)]
    made = evaluate(bench(tmp_path, csv("lamp,illuminance_lx,mounting", read), toml=METER))
    assert not [*without_each(made, "K1", "B0", housing="", level="day")]
    assert len([*without_each(made, "K1", "B0", housing="", level="mounting")]) == 4


def test_somebody_elses_number_by_normalized_error():
    """Oracle: ISO 13528, 9.7, by hand; what is shared cannot explain a difference."""
    given = (("lamp", "K1"), ("their_ratio", 1.2), ("their_percent", 5.0))
    made, said = ran("13", settings=given)
    alone, shared = (float(score[0]) for score in made.scores.values())
    assert "A figure typed here, 1.200 ± 5.0 % for K1/B0 in HP at the initial time: this bench has" in said
    pair = demo().ratio("K1", "B0", housing="HP", scope="models")
    u2 = pair.ln_expanded_uncertainty**2 + math.log(1.05) ** 2
    assert_allclose(alone, (math.log(pair.ratio) - math.log(1.2)) / math.sqrt(u2), rtol=1e-12)
    assert abs(shared) > abs(alone)


def test_another_seating_sd_changes_only_the_seating_part():
    """Closed form: u² less the seating part, plus that part scaled by the square of the ratio of the SDs."""
    made, _ = ran("13")
    pair, (whole,) = demo().ratio("K3", "K4", housing="HP"), made.whole
    half = math.log(whole.family_high / whole.family_low) / 2.0
    assert_allclose(made.half_width(100.0 * made.own), half, rtol=1e-9)
    seated = float((pair.budget[pair.budget["name"].str[0] == "mounting"]["contribution"] ** 2).sum())
    wanted = half / pair.result.u * math.sqrt(pair.result.u**2 + 8 * seated)
    assert_allclose(made.half_width(300.0 * made.own), wanted, rtol=1e-9)


@pytest.mark.parametrize("stem", ["10", "11", "12", "13"])
def test_two_readings_alone_are_answered_without_words_on_what_is_absent(stem):
    _, said = ran(stem, "two-readings")
    assert said
    assert not [word for word in ("No ", "Not from this folder", "was not given") if f"\n{word}" in said]


def test_claimed_watts_stand_beside_the_measured_ones():
    """Oracle: the files: K2 claims 52 W a pair, K1 26 W a lamp; the rows of electrical power, highest at first."""
    bench, rows = demo().bench, rows_of(demo())
    power = rows[(rows["measurand"] == "electrical power") & (rows["instant"] == "initial")].set_index("lamp")
    for lamp, claim, each in (("K2", "52 W per pair (26 W a lamp)", 26.0), ("K1", "26 W per lamp", 26.0)):
        row = power.loc[lamp]
        assert row["value"] == rows.loc[(rows["lamp"] == lamp) & (rows["unit"] == "W"), "value"].max()
        most = f"the highest measured were {row['value']:.1f} W a lamp, 60 s after switch-on"
        times, low, high = (each / row[end] for end in ("value", "high", "low"))
        told = f"{lamp}: {claim} are claimed; {most}: the claim is {times:.2f} times that ("
        assert f"{told}{low:.2f} to {high:.2f} at 95 %)." in claim_sentence(bench, lamp)


@pytest.mark.parametrize(
    ("claimed", "flux", "per", "code", "words"),
    [
        (
            30.0,
            math.nan,
            "pair",
            "no_power",
            "K1: watts are claimed, but were not measured: add electrical.csv.",
        ),
        (30.0, math.nan, "", "claim_without_per", "whether the claimed watts are for one lamp or a pair."),
        (30.0, 2000.0, "lamp", "no_power", "K1: a flux is claimed, but its watts were not measured"),
        (math.nan, math.nan, "lamp", "", ""),
    ],
)
def test_claimed_watts_that_were_not_measured_are_held_back(claimed, flux, per, code, words):
    """Oracle: what was typed, on the demo without electrical.csv: nothing is said of it, and once why."""
    bench = demo().bench
    lamps = bench.tables["lamps"].copy()
    cells = ["claimed_power_W", "claimed_flux_lm", "claimed_per"]
    lamps.loc[lamps["lamp"] == "K1", cells] = [claimed, flux, per]
    tables = {**bench.tables, "lamps": lamps, "electrical": bench.tables["electrical"].iloc[:0]}
    changed = replace(demo(), bench=replace(bench, tables=tables))
    told = [one for one in held_back(changed) if one.part == "claim" and one.words.startswith("K1")]
    assert [one.code for one in told] == [code] * bool(code)
    assert all(words in one.words for one in told)
    assert "are claimed" not in claim_sentence(changed.bench, "K1")
