"""Warm-up joined to the campaign. Oracles: closed form of products in ln; the generating values of the demo."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from shared_demo import demo_bench, demo_campaign
from small_benches import METER, bench, csv

from photolab.bench import heat
from photolab.bench.evaluation import evaluate
from photolab.bench.heat import at_hold, heat_rows, record_drift, warm_up_runs
from photolab.metrology.quantity import Input, Measured, limits, measured
from photolab.publication import (
    views_heat,
    views_heat_and_light,
    views_heat_stories,
    views_revision,
)
from photolab.publication.tables import results
from photolab.thermal.warm_up import beside_stable, fit_warm_up


@cache
def demo():
    return demo_campaign(), warm_up_runs(demo_bench())


def part(name, value, u, dof=math.inf):
    return measured(value, Input(name, u, dof=dof))


def bounds(value, half):
    return Measured(value, linear=False, ends=lambda _: (value - half, value + half))


def test_independent_parts_add_in_variance_with_welch_satterthwaite():
    joined = at_hold(part("a", 0.2, 0.03, 10.0), part("b", 0.1, 0.02), part("c", 0.05, 0.04, 5.0))
    variance = 0.03**2 + 0.02**2 + 0.04**2
    dof = variance**2 / (0.03**4 / 10 + 0.04**4 / 5)  # JCGM 100 G.4.1
    assert_allclose([joined.value, joined.u, joined.dof], [0.25, math.sqrt(variance), dof], rtol=1e-12)
    assert_allclose(joined.half_width(), stats.t.ppf(0.975, dof) * joined.u, rtol=1e-12)


def test_bounds_multiply_as_intervals():
    light, own, base = part("a", 0.2, 0.03), bounds(0.1, 0.04), part("c", 0.05, 0.02)
    for left, under in ((own, base), (base, own), (own, own)):
        joined = at_hold(light, left, under)
        half = light.half_width() + left.half_width() + under.half_width()
        middle = 0.2 + left.value - under.value
        assert_allclose(joined.interval(), [middle - half, middle + half], rtol=1e-9)  # float rounding
        assert not joined.parts


def test_a_ratio_at_hold_keeps_the_shape_of_a_rectangle():
    """Oracle: limits that carry all of the doubt hold 95 % in 95 % of their width."""
    wide = measured(0.2, limits("colour", 0.1))
    joined = at_hold(wide, part("b", 0.0, 1e-9), part("c", 0.0, 1e-9))
    assert_allclose(joined.half_width(0.95), 0.095, rtol=1e-6)


def test_drift_is_assumed_unless_ambient_and_volts_were_logged():
    n = 30
    logged = pd.DataFrame({"ambient_C": np.linspace(20, 22, n), "socket_V": np.full(n, 13.2)})
    assert record_drift(logged.assign(socket_V=np.nan), "led") == (0.003, False)
    drift, known = record_drift(logged, "led")
    middle = np.mean(np.linspace(20, 22, n)[-6:]) - np.mean(np.linspace(20, 22, n)[:6])
    assert known
    assert_allclose(drift, 0.002 * middle / math.sqrt(3), rtol=1e-9)  # closed form of the logged change
    steady = logged.assign(ambient_C=20.0)
    assert record_drift(steady, "filament") == (0.0005, True)


# remaining light at 40 min after E(t) = E(60 s) [R + (1 - R) exp(-(t - 60 s)/tau)]
@pytest.mark.parametrize(
    ("lamp", "r", "tau_min"),
    [
        ("K1", 0.86, 4.0),
        ("K2", 0.88, 4.5),
        ("K3", 0.90, 6.5),
        ("K4", 0.90, 6.0),
        ("K5", 0.93, 3.0),
        ("K8", 0.89, 5.0),
    ],
)
def test_demo_remaining_light_holds_the_truth(lamp, r, tau_min):
    truth = r + (1 - r) * math.exp(-39.0 / tau_min)
    _, runs = demo()
    (run,) = [x for x in runs if x.lamp == lamp and x.housing == "HP"]
    assert run.remaining.low <= truth <= run.remaining.high


def test_demo_short_record_gives_no_hold_value_and_says_why():
    _, runs = demo()
    (k7,) = [x for x in runs if x.lamp == "K7"]
    assert k7.remaining is None
    assert k7.refusals
    assert "final_level" in {block for f in k7.fit.findings for block in f.blocks}


def test_demo_hold_ratio_is_initial_ratio_times_remaining():
    campaign, runs = demo()
    rows = heat_rows(campaign, runs)
    held = rows.query(
        "lamp == 'K3' and housing == 'HP' and measurand == 'illuminance ratio' and scope == 'specimens'"
    ).iloc[0]
    remaining = {x.lamp: x.remaining.value for x in runs if x.housing == "HP" and x.remaining is not None}
    initial = campaign.ratio("K3", "B0", housing="HP")
    assert_allclose(held.value, initial.ratio * remaining["K3"] / remaining["B0"], rtol=1e-12)
    assert held.ln_expanded_uncertainty > initial.ln_expanded_uncertainty
    truth = 1.250 * (0.90 + 0.10 * math.exp(-39 / 6.5)) / 0.997
    assert held.low <= truth <= held.high


def test_a_hold_ratio_from_records_carries_the_spread_of_remaining_light():
    """Oracle: closed form: one of K3's two pieces and of B0's three has a record; 2 % assumed, or their own with it."""
    campaign, runs = demo()
    rows = heat_rows(campaign, runs)
    mine = (rows["lamp"] == "K3") & (rows["housing"] == "HP") & (rows["measurand"] == "illuminance ratio")
    row = rows[mine].set_index("scope")
    assert (row["n_specimens"].iloc[0], row["n_held"].iloc[0]) == (2, 1)
    u = row["ln_expanded_uncertainty"] / row["coverage_factor"]
    spread = {lamp: campaign.spreads.remaining[lamp].sd for lamp in ("K3", "B0")}
    share = {"readings": (0, 0), "specimens": (1 - 1 / 2, 1 - 1 / 3), "models": (1, 1)}
    for scope, (own, base) in share.items():
        initial = campaign.ratio("K3", "B0", housing="HP", scope=scope).result.u
        added = own * spread["K3"] ** 2 + base * spread["B0"] ** 2
        records = (
            u["readings"] ** 2 - campaign.ratio("K3", "B0", housing="HP", scope="readings").result.u ** 2
        )
        assert_allclose(u[scope] ** 2, initial**2 + records + added, rtol=1e-9)  # float rounding


def held_bench(folder, toml=""):
    """Three pieces of K1, two of them held; B0 held."""
    rows = [
        (lamp, piece, lux * left, seconds)
        for lamp, piece, lux, hold in (
            ("B0", 1, 100, 1),
            ("K1", 1, 120, 0.9),
            ("K1", 2, 118, 0.88),
            ("K1", 3, 121, None),
        )
        for seconds, left in ((60, 1.0), *([] if hold is None else [(1800, hold)]))
    ]
    readings = csv("lamp,specimen,illuminance_lx,elapsed_s", rows)
    return evaluate(bench(folder, readings, toml=METER.replace("[[meter]]", f"{toml}[[meter]]")))


def test_readings_at_the_hold_time_carry_the_spread_of_remaining_light(tmp_path):
    """Oracle: closed form: s^2 (1/2 - 1/3) for K1's piece that was not held, s^2/3 and s^2 more for the models."""
    campaign = held_bench(tmp_path / "a")
    row = heat_rows(campaign, ()).set_index(["lamp", "scope"]).loc[("K1", "models")]
    assert (row["n_specimens"], row["n_held"]) == (3, 2)
    told = campaign.ratio("K1", "B0", scope="models", instant="hold")
    parts = dict.fromkeys(("remaining", "specimen not held"), 0.0)
    for q, c in told.result.parts.items():
        if q.name[0] in parts:
            parts[q.name[0]] += (c * q.u) ** 2
    own, base = (campaign.spreads.remaining[lamp] for lamp in ("K1", "B0"))
    assert (base.sd, base.dof, own.dof) == (0.02, 6, 7)
    assert own.sd < 0.02
    assert_allclose(parts["specimen not held"], own.sd**2 * (1 / 2 - 1 / 3), rtol=1e-9)  # float rounding
    assert_allclose(parts["remaining"], own.sd**2 / 3 + base.sd**2, rtol=1e-9)
    mine = {q.name[0] for q in campaign.ratio("K1", "B0", instant="hold").result.parts}
    assert "specimen not held" in mine
    assert "remaining" not in mine
    first = campaign.ratio("K1", "B0", scope="models")
    assert not {"remaining", "specimen not held"} & {q.name[0] for q in first.result.parts}
    assert "remaining_sd_percent" in {a.name for a in told.assumed}
    assert "remaining_sd_percent" not in {a.name for a in first.assumed}
    stated = held_bench(tmp_path / "b", "remaining_sd_percent = 5\n")
    assert stated.spreads.remaining["B0"].sd == 0.05
    assert "remaining_sd_percent" not in {a.name for a in stated.assumed}


def test_runs_without_a_change_speak_for_their_meter():
    """Oracle: the scenario; the filament baseline settles at once, its records are W05 and W06."""
    _, runs = demo()
    used = {one.run: one.stable_runs for one in runs}
    assert {run for run, beside in used.items() if beside == ("W05", "W06")} == set(used) - {"W05", "W06"}
    assert (used["W05"], used["W06"]) == (("W06",), ("W05",))
    by_name = {one.run: one for one in runs}
    mine = by_name["W03"]
    record = mine.record
    direct = fit_warm_up(
        record["elapsed_s"],
        record["illuminance_lx"],
        initial_s=mine.fit.initial_s,
        initial_window_s=mine.fit.initial_window_s,
        resolution=1.0,
        drift_relative_sd=mine.drift,
        elapsed_uncertainty_s=mine.fit.elapsed_uncertainty_s,
        stable=[
            (by_name[n].record["elapsed_s"], by_name[n].record["illuminance_lx"]) for n in ("W05", "W06")
        ],
    )
    assert direct.residual_correlation == mine.fit.residual_correlation
    assert direct.remaining(2400.0) == mine.remaining


def test_only_runs_of_the_same_meter_speak(tmp_path):
    """Oracle: W06 moved to a second meter: it speaks for nobody, and nobody for it."""
    bench = demo_bench()
    table = bench.tables["warm_up"].copy()
    table.loc[table["run"] == "W06", "meter"] = "M2"
    used = {
        one.run: one.stable_runs
        for one in warm_up_runs(replace(bench, tables={**bench.tables, "warm_up": table}))
    }
    assert used["W06"] == ()
    assert used["W05"] == ()
    assert used["W01"] == ("W05",)


def test_disturbed_runs_do_not_speak():
    """Oracle: one reading of W06 raised by 5 %, far beyond a scatter of 0.4 %."""
    bench = demo_bench()
    table = bench.tables["warm_up"].copy()
    struck = table.index[table["run"] == "W06"][40]
    table.loc[struck, "illuminance_lx"] *= 1.05
    runs = {one.run: one for one in warm_up_runs(replace(bench, tables={**bench.tables, "warm_up": table}))}
    codes = {finding.code for finding in runs["W06"].fit.findings}
    assert {"no_change_resolved", "outliers"} <= codes
    assert runs["W01"].stable_runs == ("W05",)


def test_each_record_is_fitted_once_for_one_bench(monkeypatch):
    """Oracle: the runs of the file; two records of the demo show no change, and all others use what they say."""
    bench = replace(demo_bench())
    fitted = []
    fit = heat.fit_warm_up
    monkeypatch.setattr(heat, "fit_warm_up", lambda *a, **k: fitted.append(len(a[0])) or fit(*a, **k))
    campaign = evaluate(bench)
    results(campaign)
    chosen = views_heat.choose(bench)
    for view in (views_heat.answer, views_heat.records, views_heat.findings, views_heat_stories.settling):
        view(chosen)
    views_heat_and_light.coupling_words(chosen)
    views_revision.warming(campaign)
    heat_rows(campaign, warm_up_runs(bench))
    assert len(fitted) == bench.tables["warm_up"]["run"].nunique()
    assert sum(bool(one.stable_runs) for one in warm_up_runs(bench)) > 2


def test_what_stable_records_say_is_the_same_before_and_after_the_fit():
    """Oracle: the fit that is given the stable records at once."""
    time_s = np.arange(30.0, 1801.0, 30.0)
    noise = np.random.default_rng(3).standard_normal((2, time_s.size))
    light = 1000.0 * (0.85 + 0.15 * np.exp(-time_s / 300.0)) + noise[0]
    stable = [(time_s, 900.0 + np.cumsum(noise[1]) * 0.2)]
    alone, at_once = fit_warm_up(time_s, light), fit_warm_up(time_s, light, stable=stable)
    after = beside_stable(alone, stable)
    for name in ("value", "low", "high", "dof"):
        assert getattr(after.remaining(1800.0), name) == getattr(at_once.remaining(1800.0), name)
    assert after.remaining(1800.0).low != alone.remaining(1800.0).low
    assert after.findings == at_once.findings
    assert_allclose(after.time_constant_uncertainties, at_once.time_constant_uncertainties, rtol=0.0)
