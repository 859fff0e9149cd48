"""Housing difference and light per watt. Oracles: closed form of the joint covariance; the demo's generating values."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign as demo

from photolab.bench.derived import housing_difference, light_per_watt
from photolab.bench.electrical import highest_power, measured_power
from photolab.errors import MethodError


def test_k3_is_better_in_one_housing_and_worse_in_the_other():
    found = housing_difference(demo(), "K3", "HP", "HR")
    assert found.low <= 1.250 / 0.88 <= found.high
    assert found.verdict.code == "clear"


def test_difference_is_the_ratio_of_ratios_and_colour_cancels():
    campaign = demo()
    pair = {h: campaign.ratio("K3", "B0", housing=h) for h in ("HP", "HR")}
    found = housing_difference(campaign, "K3", "HP", "HR")
    assert_allclose(found.value, pair["HP"].ratio / pair["HR"].ratio, rtol=1e-12)
    apart = math.hypot(pair["HP"].ln_expanded_uncertainty, pair["HR"].ln_expanded_uncertainty)
    assert math.log(found.high / found.value) < apart  # what both housings share is counted once, and cancels


def test_swapping_housings_gives_the_reciprocal():
    one, two = housing_difference(demo(), "K4", "HP", "HR"), housing_difference(demo(), "K4", "HR", "HP")
    assert_allclose([two.value, two.low, two.high], [1 / one.value, 1 / one.high, 1 / one.low], rtol=1e-12)


def test_a_lamp_in_one_housing_only_is_said():
    with pytest.raises(MethodError, match="lamp K1 has no reading in housing XX"):
        housing_difference(demo(), "K1", "HP", "XX")


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
    assert (highest.watts, round(highest.upper, 6), highest.assumed) == (25.0, 25.5, True)
    assert highest_power(read, "B0") is None
    table = measured_power(read)
    assert list(table["value"]) == [25.0, 24.0]
    assert list(table["assumed"]) == ["power reading 2 %"] * 2
    # ±2 % as a rectangle at 95 %: 1.96 x 0.02/sqrt(3)
    assert_allclose(table["ln_expanded_uncertainty"], 1.959964 * 0.02 / math.sqrt(3), rtol=1e-6)


def test_light_per_watt_divides_by_the_ratio_of_watts():
    campaign = demo()
    ratios = campaign.table.query("lamp == 'K1' and scope == 'specimens'")
    rows = light_per_watt(campaign, ratios)
    watts = measured_power(campaign.bench).query("instant == 'initial'").set_index("lamp")["value"]
    wanted = ratios["value"].to_numpy() * watts["B0"] / watts["K1"]
    assert_allclose(rows["value"].to_numpy(float), wanted, rtol=1e-12)
    assert np.all(rows["ln_expanded_uncertainty"] > ratios["ln_expanded_uncertainty"].to_numpy())
