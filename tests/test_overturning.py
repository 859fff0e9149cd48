"""What would overturn a result. Oracles: closed form of the tipping factor and of E_n; the demo's planted stories."""

import math

import pytest
from numpy.testing import assert_allclose
from shared_demo import demo_campaign as demo

from photolab.bench.overturning import leave_one_out, somebody_elses, tipping_points, what_if_seating


def test_tipping_factor_brings_the_interval_to_the_difference():
    pair = demo().ratio("K3", "K4", housing="HP")
    points = tipping_points(demo(), "K3", "K4", housing="HP").set_index("kind")
    row = points.loc["mounting"]
    part = (row.half_width_percent / 100) ** 2
    rest = pair.ln_expanded_uncertainty**2 - part
    assert_allclose(
        math.sqrt(rest + part * row.factor**2), abs(math.log(pair.ratio)), rtol=1e-9
    )  # closed form
    assert row.factor > 1.0  # a clear result: the doubt would have to grow
    total = math.sqrt(sum((points.half_width_percent / 100) ** 2))
    assert_allclose(total, pair.ln_expanded_uncertainty, rtol=1e-9)  # parts of one variance


def test_leaving_out_the_badly_aimed_mounting_moves_k8():
    table = leave_one_out(demo(), "K8", "B0", housing="HP", level="mounting").set_index("left_out")
    before = demo().ratio("K8", "B0", housing="HP").ratio
    assert table["ratio"].idxmax() == "K8 1 HP D05 2"  # the -0.4 degree aim error, 11 % low
    assert table["ratio"].max() > 1.02 * before
    assert len(table) >= 10


def test_leaving_out_the_only_specimen_gives_no_answer():
    table = leave_one_out(demo(), "K7", "B0", housing="HP", level="specimen").set_index("left_out")
    assert table.loc["K7 1", "verdict"] == "no_answer"
    assert math.isnan(table.loc["K7 1", "ratio"])
    assert bool(table.loc["K7 1", "changes"])
    with pytest.raises(ValueError, match="level must be one of mounting, specimen, day; got 'week'"):
        leave_one_out(demo(), "K7", "B0", housing="HP", level="week")


def test_somebody_elses_number_by_normalized_error():
    pair = demo().ratio("K1", "B0", housing="HP", scope="models")
    other = somebody_elses(demo(), "K1", "B0", housing="HP", ratio=1.2, expanded_percent=5.0)
    u2 = pair.ln_expanded_uncertainty**2 + math.log(1.05) ** 2
    assert_allclose(
        other.normalized_error, (math.log(pair.ratio) - math.log(1.2)) / math.sqrt(u2), rtol=1e-12
    )
    far = somebody_elses(demo(), "K1", "B0", housing="HP", ratio=1.0, expanded_percent=5.0)
    assert not far.agrees
    shared = somebody_elses(
        demo(), "K1", "B0", housing="HP", ratio=1.2, expanded_percent=5.0, correlation=0.5
    )
    assert abs(shared.normalized_error) > abs(
        other.normalized_error
    )  # what is shared cannot explain a difference


def test_another_seating_sd_changes_only_the_seating_part():
    """Closed form: u² less the seating part, plus that part scaled by the square of the ratio of the SDs."""
    pair = demo().ratio("K3", "K4", housing="HP")
    own = 100 * demo().spreads.seating["HP"].sd
    assert_allclose(
        what_if_seating(demo(), "K3", "K4", housing="HP", seating_percent=own)[0],
        pair.ln_expanded_uncertainty,
        rtol=1e-9,
    )
    budget = pair.budget
    seated = float((budget[budget["name"].str[0] == "mounting"]["contribution"] ** 2).sum())
    half, verdict = what_if_seating(demo(), "K3", "K4", housing="HP", seating_percent=3 * own)
    wanted = pair.coverage_factor * math.sqrt(pair.result.u**2 + 8 * seated)
    assert_allclose(half, wanted, rtol=1e-9)
    assert verdict == "inside"
    with pytest.raises(ValueError, match="seating_percent must be zero or more; got -1 %"):
        what_if_seating(demo(), "K3", "K4", housing="HP", seating_percent=-1.0)
