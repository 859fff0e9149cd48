"""Housing difference and light per watt. Oracles: closed form of the joint covariance; the demo's generating values."""

import itertools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import demo_campaign as demo

from photolab.bench.inputs.electrical import assumed_limit, highest_power, lamp_power, measured_power
from photolab.bench.results.derived import housing_difference, judge_gain, light_per_watt
from photolab.bench.results.evaluation import evaluate
from photolab.bench.results.ratio_table import heat_rows
from photolab.errors import MethodError
from photolab.metrology.quantity import flat_factor
from photolab.publication.sentences.words_lamp import price_judgement


def between(campaign, lamp, first, second):
    """Return the difference of a lamp's gains in two housings."""
    gains = [
        judge_gain(campaign, campaign[lamp, h] - campaign["B0", h], lamp, "B0", housing=h)
        for h in (first, second)
    ]
    return housing_difference(*gains)


def test_k3_is_better_in_one_housing_and_worse_in_the_other():
    found = between(demo(), "K3", "HP", "HR")
    assert found.low <= 1.250 / 0.88 <= found.high
    assert found.verdict == "clear"


def test_difference_is_the_ratio_of_ratios_and_colour_cancels():
    campaign = demo()
    pair = {h: campaign.ratio("K3", "B0", housing=h) for h in ("HP", "HR")}
    found = between(campaign, "K3", "HP", "HR")
    assert_allclose(found.ratio, pair["HP"].ratio / pair["HR"].ratio, rtol=1e-12)
    apart = math.hypot(pair["HP"].ln_expanded_uncertainty, pair["HR"].ln_expanded_uncertainty)
    assert math.log(found.high / found.ratio) < apart  # what both housings share is counted once, and cancels


def test_swapping_housings_gives_the_reciprocal():
    one, two = between(demo(), "K4", "HP", "HR"), between(demo(), "K4", "HR", "HP")
    assert_allclose([two.ratio, two.low, two.high], [1 / one.ratio, 1 / one.high, 1 / one.low], rtol=1e-12)


def test_a_lamp_in_one_housing_only_is_said():
    with pytest.raises(MethodError, match="lamp K1 has no reading in housing XX"):
        between(demo(), "K1", "HP", "XX")


@pytest.mark.parametrize(("instant", "times"), [("initial", 1.0), ("initial", 1.1), ("hold", 1.1)])
def test_a_law_changed_by_hand_moves_the_interval_among_all_lamps_and_the_price_with_it(instant, times):
    """Oracle: the half-width that the campaign's family has for the pair, about what the law gives."""
    campaign = demo()
    law = times * campaign["K3", "HP", instant] - campaign["B0", "HP", instant]
    gain = judge_gain(campaign, law, "K3", "B0", housing="HP", instant=instant)
    told = campaign.family("HP", instant=instant).loc["K3"]
    half = math.log(told["high"] / told["low"]) / 2.0
    wanted = [math.exp(law.value - half), math.exp(law.value + half)]
    assert_allclose([gain.family_low, gain.family_high], wanted, rtol=1e-12)  # float rounding
    found = price_judgement(campaign.bench, gain)
    assert found.code == "given"
    pair = 48.5  # dal, lamps.csv of the demo
    assert_allclose(found.per_percent, pair / (100.0 * (gain.ratio - 1.0)), rtol=1e-12)


def test_watts_follow_the_file_and_a_pair_is_halved(tmp_path):
    from small_benches import HOUSING, METER, bench

    power = "lamp,elapsed_s,power_W,per\nK1,60,50,pair\nK1,1800,48,pair\n"
    read = bench(
        tmp_path,
        "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n",
        toml=METER + HOUSING,
        electrical=power,
    )
    highest = highest_power(read, "K1")
    assert (highest.watts.value, round(highest.upper, 6), highest.assumed) == (
        25.0,
        25.5,
        "power reading 2 %",
    )
    assert highest_power(read, "B0") is None
    table = measured_power(read)
    assert list(table["value"]) == [25.0, 24.0]
    assert list(table["assumed"]) == ["power reading 2 %"] * 2
    # 95 % of a rectangle of ±2 %: never more than the limits
    assert_allclose(table["ln_expanded_uncertainty"], 0.95 * 0.02, rtol=1e-12)


@pytest.mark.parametrize("coverage", [0.9, 0.99])
def test_watts_have_the_coverage_that_the_bench_declares(tmp_path, coverage):
    """Closed form: that part of the limits, 3 % as stated."""
    from small_benches import HOUSING, METER, bench

    read = bench(
        tmp_path,
        "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n",
        toml=METER.replace("[bench]", f"[bench]\ncoverage = {coverage}") + HOUSING,
        electrical="lamp,elapsed_s,power_W,per,uncertainty_percent\nK1,60,25,lamp,3\nB0,60,60,lamp,3\n",
    )
    row = measured_power(read).iloc[0]
    assert_allclose([row["low"], row["high"]], [25 * (1 - 0.03 * coverage), 25 * (1 + 0.03 * coverage)])
    assert (row["coverage"], row["dof"], row["assumed"]) == (coverage, math.inf, "nothing")
    assert_allclose(row["coverage_factor"], coverage * math.sqrt(3), rtol=1e-12)
    rows = light_per_watt(evaluate(read), evaluate(read).table)
    assert set(rows["coverage"]) == {coverage}


def test_repeats_are_averaged_and_share_their_meter(tmp_path):
    """By hand: the mean of 24 and 24.5 W, with the limit of one reading; none lies near the initial time."""
    from small_benches import HOUSING, METER, bench

    light = "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n"
    watts = "lamp,elapsed_s,power_W,per\nK1,300,50,pair\nK1,1800,48,pair\nK1,1800,49,pair\n"
    read = bench(tmp_path, light, toml=METER + HOUSING, electrical=watts)
    found = lamp_power(read, "K1", "hold")
    assert (found.watts.value, found.n_readings, found.elapsed_s) == (24.25, 2, 1800.0)
    assert_allclose(found.watts.u, 0.02 * 24.25 / math.sqrt(3), rtol=1e-12)
    assert lamp_power(read, "K1", "initial") is None
    assert lamp_power(read, "B0", "hold") is None


def test_light_per_watt_divides_by_the_ratio_of_watts():
    campaign = demo()
    ratios = campaign.table.query("lamp == 'K1' and scope == 'specimens'")
    rows = light_per_watt(campaign, ratios)
    watts = measured_power(campaign.bench).query("instant == 'initial'").set_index("lamp")["value"]
    wanted = ratios["value"].to_numpy() * watts["B0"] / watts["K1"]
    assert_allclose(rows["value"].to_numpy(float), wanted, rtol=1e-12)
    assert np.all(rows["ln_expanded_uncertainty"] > ratios["ln_expanded_uncertainty"].to_numpy())


def test_light_per_watt_has_its_own_dof_and_coverage_factor():
    """By hand: u of the ratio with its dof beside two limits of 2 % (Welch-Satterthwaite, JCGM 100:2008, G.4.1), and
    the largest of the limits keeps its shape: its share of the variance narrows Student's t.
    """
    ratio = demo().table.query("lamp == 'K1' and scope == 'models'").head(1)
    row, given = light_per_watt(demo(), ratio).iloc[0], ratio.iloc[0]
    u, limit = given["ln_expanded_uncertainty"] / given["coverage_factor"], 0.02 / math.sqrt(3)
    total = math.sqrt(u**2 + 2 * limit**2)
    dof = given["dof"] * (total / u) ** 4
    assert_allclose(row["dof"], dof, rtol=1e-9)  # float rounding
    assert row["dof"] > given["dof"]
    factor = stats.t.ppf(0.975, dof) * flat_factor(0.95, (limit / total) ** 2)
    assert_allclose(row["coverage_factor"], factor, rtol=1e-9)  # as above
    assert_allclose(row["ln_expanded_uncertainty"], factor * total, rtol=1e-9)  # as above
    assert_allclose(math.log(row["high"] / row["low"]), 2 * factor * total, rtol=1e-9)  # as above


def test_light_per_watt_is_one_of_all_pairs_of_its_housing():
    """Oracle: each input drawn once for all lamps, and the largest of all pairs' |t| as it is drawn (plain numpy)."""
    campaign, scope = demo(), "specimens"
    rows = (
        light_per_watt(campaign, campaign.table)
        .query(f"housing == 'HR' and scope == '{scope}'")
        .set_index("lamp")
    )
    places = {lamp: (lamp, "HR", "hot_spot", "initial") for lamp in ["B0", *rows.index]}
    watts = {lamp: lamp_power(campaign.bench, lamp, "initial").watts for lamp in places}
    lit = {lamp: campaign.joint[name].in_scope(scope) - np.log(watts[lamp]) for lamp, name in places.items()}
    inputs = list({q: None for one in lit.values() for q in one.parts})
    loads = np.array([[one.parts.get(q, 0.0) * q.u for q in inputs] for one in lit.values()])
    cause = {name: k for k, name in enumerate(dict.fromkeys(q.estimate for q in inputs))}
    at, dof = [cause[q.estimate] for q in inputs], {cause[q.estimate]: q.dof for q in inputs}
    apart = np.array([loads[a] - loads[b] for a, b in itertools.combinations(range(len(loads)), 2)])
    freedom = np.array([dof[k] for k in range(len(cause))])
    square = np.array([np.bincount(at, one**2, len(cause)) for one in apart])
    alone = stats.t.ppf(0.975, (square.sum(1) ** 2) / (square**2 / freedom).sum(1))
    rng, trials = np.random.default_rng(8), 60_000
    drawn = apart @ rng.standard_normal((len(inputs), trials))
    seen = np.ones((len(cause), trials))  # estimated over true variance
    for k in np.flatnonzero(np.isfinite(freedom)):
        seen[k] = rng.chisquare(freedom[k], trials) / freedom[k]
    largest = (np.abs(drawn) / np.sqrt(square @ seen) / alone[:, None]).max(axis=0)
    wider = np.quantile(largest, 0.95)
    told = np.log(rows["family_high"] / rows["family_low"]) / np.log(rows["high"] / rows["low"])
    # the quantile of 60 000 draws scatters by 0.3 %; how doubt of an estimate is counted moves it more, for some lamps
    assert_allclose(told.to_numpy(float), wider, rtol=0.025)
    assert set(rows["family_verdict"]) == {"clear"}


def test_light_per_watt_of_a_single_pair_is_its_own_family():
    """Oracle: by definition, row by row; bounds at the hold time widen both alike."""
    campaign = demo()
    for instant, ratios in (("initial", campaign.table), ("hold", heat_rows(campaign))):
        rows = light_per_watt(campaign, ratios)
        assert (rows["instant"] == instant).all()
        assert (rows["family_low"] <= rows["low"] * (1 + 1e-12)).all()
        assert (rows["family_high"] >= rows["high"] * (1 - 1e-12)).all()
        places = rows.groupby(["housing", "point", "scope"])["lamp"].transform("size")
        single = rows[places == 1]
        assert_allclose(single["family_low"].to_numpy(float), single["low"].to_numpy(float), rtol=1e-12)


def test_watts_are_volts_times_amperes_where_no_power_was_read(tmp_path):
    """By hand: a pair at 13.2 V and 3.8 A is 25.08 W a lamp."""
    from small_benches import HOUSING, METER, bench

    light = "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n"
    watts = "lamp,elapsed_s,socket_V,current_A,per\nK1,60,13.2,3.8,pair\n"
    found = lamp_power(bench(tmp_path, light, toml=METER + HOUSING, electrical=watts), "K1", "initial")
    assert_allclose(found.watts.value, 25.08, rtol=1e-12)


@pytest.mark.parametrize(("seconds", "counts"), [(1795, False), (1805, True), (2995, True), (3005, False)])
def test_a_power_counts_within_a_quarter_of_the_hold_time(tmp_path, seconds, counts):
    """Oracle: the rule: 40 min are 2400 s, give or take 600 s."""
    from small_benches import HOUSING, METER, bench

    light = "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n"
    watts = f"lamp,elapsed_s,power_W,per\nK1,{seconds},25,lamp\n"
    toml = METER.replace("[bench]", "[bench]\nhold_minutes = 40") + HOUSING
    made = bench(tmp_path, light, toml=toml, electrical=watts)
    assert (lamp_power(made, "K1", "hold") is not None) == counts


def test_the_assumed_limit_of_watts_is_named_where_it_enters_alone(tmp_path):
    """Oracle: by hand: rows at the initial time state 1 %, one at 2 h states none and enters no figure."""
    from small_benches import bench, csv

    lit = csv("lamp,illuminance_lx,housing,range_lx", [("B0", 300, "HP", 4000), ("K1", 400, "HP", 4000)])
    rows = "lamp,elapsed_s,power_W,per,uncertainty_percent\nK1,60,25,lamp,1\nK1,7777,24,lamp,\n"
    assert assumed_limit(bench(tmp_path / "a", lit, electrical=rows)) == ()
    (one,) = assumed_limit(bench(tmp_path / "b", lit, electrical=rows.replace("25,lamp,1", "25,lamp,")))
    assert (one.value, one.unit) == (2.0, "%")


@pytest.mark.parametrize(("limits", "assumed"), [((1, ""), True), (("", ""), True), ((1, 1.5), False)])
def test_the_limit_of_power_readings_is_assumed_where_one_states_none(tmp_path, limits, assumed):
    """Oracle: the cells typed: one blank is enough, and 2 % is the default."""
    from small_benches import bench

    power = "lamp,elapsed_s,power_W,per,uncertainty_percent\n" + "".join(
        f"K1,{s},{w},lamp,{x}\n" for s, w, x in zip((60, 1800), (25, 24), limits, strict=True)
    )
    read = bench(tmp_path, "lamp,illuminance_lx,housing\nK1,400,HP\nB0,380,HP\n", electrical=power)
    assert [(one.name, one.figure) for one in assumed_limit(read)] == [("power reading", "2 %")] * assumed
