"""A new meter. Oracles: the responsivities of both meters, synthetic truth, identities."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign

from photolab.bench.questions.meter_change import colour_prediction, meter_change, refusal
from photolab.bench.questions.repeatability import without
from photolab.bench.results.evaluation import evaluate
from photolab.errors import MethodError


@pytest.fixture(scope="module")
def campaign():
    return demo_campaign()


@pytest.fixture(scope="module")
def change(campaign):
    return meter_change(campaign)


def with_links(campaign, links):
    return replace(campaign, bench=replace(campaign.bench, tables={**campaign.bench.tables, "links": links}))


def response(bench, meter, lamp):
    """Return what a meter makes of a lamp's light: plain sum over 1 nm, no package formula."""
    wavelength = np.arange(380.0, 781.0)
    files = bench.spectra.values()
    own = next(s for s in files if s.kind == "responsivity" and s.meter == meter)
    light = next(s for s in files if s.kind == "source" and s.lamp == lamp)
    parts = [np.interp(wavelength, s.wavelength_nm, s.value) for s in (own, light)]
    return float((parts[0] * parts[1]).sum())


def test_led_and_filament_need_factors_of_their_own(campaign, change):
    """Oracle: both responsivities over both spectra, by plain sums: M2 over M1 for LED over filament lamps."""
    links = change.links.set_index("technology")
    assert links.loc["led", "high"] < links.loc["filament", "low"]
    assert (bool(links.loc["led", "established"]), bool(links.loc["filament", "established"])) == (
        True,
        False,
    )
    assert (links.loc["led", "n"], links.loc["filament", "n"]) == (5, 1)
    bench = campaign.bench
    led, filament = (response(bench, "M2", lamp) / response(bench, "M1", lamp) for lamp in ("K1", "B0"))
    told = colour_prediction(campaign, change).iloc[0]
    # 5 nm steps of the LED file against the package's integration: within 1e-4
    assert_allclose(told["predicted"], led / filament, rtol=1e-4)
    assert told["low"] <= led / filament <= told["high"]


def test_converted_values_stand_beside_the_raw_ones(campaign, change):
    """Oracle: identity of the raw columns; factor times net reading."""
    raw = campaign.selection.readings
    assert (change.readings["illuminance_lx"] == raw["illuminance_lx"]).all()
    row = change.readings[change.readings["lamp"] == "K2"].iloc[0]
    factor = float(change.links.set_index("technology").loc["led", "factor"])
    assert_allclose(row["linked_lx"], factor * (row["illuminance_lx"] - row["dark_lx"]), rtol=1e-12)
    assert row["link"] == "link M1 to M2, led, 5 lamps"


def test_hardly_a_verdict_changes_once_colour_is_corrected(campaign, change):
    """Oracle: truth has not moved; without the correction M1 flatters LED lamps by 6 %, M2 does not."""
    # a verdict may lie at its limit, and the link adds doubt of its own: few change, by half a per cent at most
    changed = change.changed[change.changed["scope"] != "readings"]
    assert len(changed) <= 3
    assert ((changed["ratio_after"] / changed["ratio_before"] - 1.0).abs() < 0.005).all()
    assert len(change.after) == len(campaign.table)
    plain = meter_change(campaign, corrections=without(campaign, "spectral"))
    moved = plain.changed[plain.changed["scope"] == "specimens"]
    assert set(zip(moved["lamp"], moved["housing"], strict=True)) >= {("K1", "HR"), ("K3", "HR")}
    assert (moved["ratio_after"] < moved["ratio_before"]).all()


def test_the_doubt_of_two_links_is_in_the_interval(campaign, change):
    """Oracle: by hand: standard uncertainties add in quadrature, led over filament, each link with its dof."""
    links = change.links.set_index("technology")
    own = links["ln_standard_uncertainty"]
    bare = change.readings.drop(columns=["net_lx", "linked_lx", "link_u", "link", "link_refused", "instant"])
    bare = bare.assign(illuminance_lx=change.readings["linked_lx"], dark_lx=0.0, meter="M2", range_lx=2000.0)
    tables = {**campaign.bench.tables, "readings": bare}
    plain, told = evaluate(replace(campaign.bench, tables=tables)).table, change.after
    u = [table["ln_expanded_uncertainty"] / table["coverage_factor"] for table in (plain, told)]
    variance = u[0] ** 2 + own["led"] ** 2 + own["filament"] ** 2
    assert_allclose(u[1], np.sqrt(variance), rtol=1e-9)  # same sums
    parts = [u[0] ** 4 / plain["dof"], *(own[k] ** 4 / links["dof"][k] for k in ("led", "filament"))]
    assert_allclose(told["dof"], variance**2 / sum(parts), rtol=1e-9)  # JCGM 100:2008, G.4.1
    assert (told["family_low"] <= told["low"] * (1 + 1e-12)).all()


def test_a_link_of_one_reading_gives_no_answer(campaign):
    """Oracle: one reading has no scatter: its link has no uncertainty, and LED lamps stand against filament."""
    links = campaign.bench.tables["links"]
    first = links[links["technology"] == "filament"].index[0]
    kept = links[(links["technology"] != "filament") | (links.index == first)]
    told = meter_change(with_links(campaign, kept))
    assert len(told.after) == len(campaign.table)
    assert told.after["low"].isna().all()
    assert set(told.after["verdict"]) == set(told.after["family_verdict"]) == {"no_answer"}


def test_meters_named_both_ways_round_are_refused(campaign):
    """Oracle: one row turned round by hand."""
    links = campaign.bench.tables["links"].copy()
    links.loc[links.index[0], ["old_meter", "new_meter"]] = ["M2", "M1"]
    with pytest.raises(MethodError, match="names the meters both ways round"):
        meter_change(with_links(campaign, links))
    assert "names the meters both ways round" in refusal(with_links(campaign, links))
    assert refusal(campaign) == ""


def test_a_link_that_names_the_campaigns_meter_as_the_new_one_serves_too(campaign, change):
    """Oracle: identity: links.csv with its meters and their readings exchanged says the same; 1/factor as typed."""
    links = campaign.bench.tables["links"]
    turned = {"old_meter": "new_meter", "new_meter": "old_meter", "old_lx": "new_lx", "new_lx": "old_lx"}
    found = meter_change(with_links(campaign, links.rename(columns=turned)))
    assert (found.old, found.new, refusal(with_links(campaign, links.rename(columns=turned)))) == (
        "M1",
        "M2",
        "",
    )
    assert_allclose(found.links["factor"], 1.0 / change.links["factor"], rtol=1e-12)
    assert_allclose(found.readings["linked_lx"], change.readings["linked_lx"], rtol=1e-12)
    numbers = ["value", "low", "high", "family_low", "family_high"]
    assert_allclose(found.after[numbers], change.after[numbers], rtol=1e-9)
    (one,) = colour_prediction(campaign, change).to_dict("records")
    (other,) = colour_prediction(campaign, found).to_dict("records")
    assert_allclose(other["predicted"] * one["predicted"], 1.0, rtol=1e-12)
    assert_allclose(other["observed"] * one["observed"], 1.0, rtol=1e-12)


def test_no_link_from_the_campaigns_meter_is_refused(campaign):
    """Oracle: links of other meters, no link, a meter nobody described."""
    links = campaign.bench.tables["links"]
    with pytest.raises(MethodError, match=r"links\.csv has no row; read at least 3 lamps"):
        meter_change(with_links(campaign, links.iloc[:0]))
    with pytest.raises(MethodError, match="no row of meter M1"):
        meter_change(with_links(campaign, links.assign(old_meter="M2", new_meter="M3")))
    with pytest.raises(MethodError, match="meter M9 must be described"):
        meter_change(with_links(campaign, links.assign(new_meter="M9")))
    with pytest.raises(MethodError, match=r"no lamp .* has a technology that was linked \(discharge\)"):
        meter_change(with_links(campaign, links.assign(technology="discharge")))


def test_a_technology_without_a_link_stays_on_the_old_meter(campaign):
    """Oracle: links of LED lamps alone: the filament baseline has none, so nothing can be compared on M2."""
    links = campaign.bench.tables["links"]
    told = meter_change(with_links(campaign, links[links["technology"] == "led"]))
    assert told.refused == ("filament",)
    assert told.after.empty
    assert told.changed.empty
    assert (told.readings.loc[told.readings["lamp"] == "B0", "link_refused"] == "no link for filament").all()
