"""Specification lines as manuals print them.

Oracle: closed form (percent, range, counts), rectangular u = a/sqrt(3).
"""

import math

import pytest
from numpy.testing import assert_allclose
from small_benches import METER, bench

from photolab.bench.terms import instruments
from photolab.bench.terms.model import Certificate, Meter

ROUND = 1e-12  # float rounding of a few operations


def meter(**more):
    return Meter(id="M", **({"reading_percent": (4.0,)} | more))


def test_scale_is_the_percent_of_reading_as_a_rectangle():
    (scale,) = instruments.scale_inputs(meter())
    assert_allclose(scale.u, 0.04 / math.sqrt(3), rtol=ROUND)
    assert scale.law == "rectangular"


@pytest.mark.parametrize(
    ("kind", "divisor"), [("limit", math.sqrt(3)), ("expanded_k2", 2.0), ("standard", 1.0)]
)
def test_limit_kind_decides_how_a_figure_is_read(kind, divisor):
    (scale,) = instruments.scale_inputs(meter(limit_kind=kind))
    assert_allclose(scale.u, 0.04 / divisor, rtol=ROUND)
    term = instruments.range_input(meter(limit_kind=kind, range_percent=(0.5,)), 4000.0, ("4000 lx",))
    assert_allclose(term.u, 20.0 / divisor, rtol=ROUND)


def test_range_term_is_percent_of_range_plus_counts():
    # ±(5 % + 10 digits) at 1 lx a digit: 10 lx beside the percent of reading (from memory: usual hand-meter line)
    digits = meter(digits=(10.0,), ranges_lx=(2000.0, 20000.0), resolution_lx=(1.0, 10.0))
    assert instruments.range_half_width(digits, 2000.0) == 10.0
    assert instruments.range_half_width(digits, 20000.0) == 100.0
    share = meter(range_percent=(0.5,), ranges_lx=(400.0, 4000.0))
    assert instruments.range_half_width(share, 400.0) == 2.0
    assert instruments.range_half_width(share, 4000.0) == 20.0


def test_a_whole_specification_line_adds_up():
    # reading 1234 lx, ±(5 % + 10 digits, 1 lx a digit): 71.7 lx by hand
    line = meter(reading_percent=(5.0,), digits=(10.0,), ranges_lx=(2000.0,), resolution_lx=(1.0,))
    half = 1234.0 * line.reading_percent[0] / 100 + instruments.range_half_width(line, 2000.0)
    assert_allclose(half, 71.7, atol=1e-9)


def test_lists_follow_the_ranges():
    listed = meter(reading_percent=(3.0, 3.0, 4.0), ranges_lx=(400.0, 4000.0, 40000.0))
    assert instruments.per_range(listed.reading_percent, listed, 40000.0) == 4.0
    assert instruments.per_range(listed.reading_percent, listed, math.nan) == 4.0
    assert instruments.scale_loading(listed, 400.0) == 0.75
    (scale,) = instruments.scale_inputs(listed)
    assert_allclose(scale.u * 0.75, 0.03 / math.sqrt(3), rtol=ROUND)


def test_certificate_replaces_the_percent_of_reading_and_drifts():
    sheet = Certificate(correction=1.01, expanded_uncertainty_percent=1.4, coverage_factor=2.0)
    scale, drift = instruments.scale_inputs(meter(certificate=sheet), years_since_certificate=1.5)
    assert_allclose(scale.u, 0.007, rtol=ROUND)
    assert_allclose(drift.u, 0.015 / math.sqrt(3), rtol=ROUND)
    assert len(instruments.scale_inputs(meter(certificate=sheet))) == 1


@pytest.mark.parametrize(
    ("percent", "declared", "wanted"), [((4.0,), False, 1.0), ((1.5,), False, 0.5), ((4.0,), True, 0.3)]
)
def test_linearity_default(percent, declared, wanted):
    # min(1, smallest reading percent / 3) unless declared: this project's rule
    given = frozenset({"linearity_percent"}) if declared else frozenset()
    m = meter(reading_percent=percent, linearity_percent=0.3 if declared else None, declared=given)
    assert instruments.linearity_percent(m) == wanted


def test_colour_is_nothing_for_the_light_the_meter_was_calibrated_with():
    assert instruments.colour_input(meter(), "filament").u == 0.0
    led = instruments.colour_input(meter(), "led")
    assert_allclose(led.u, 0.10 / math.sqrt(3), rtol=ROUND)


@pytest.mark.parametrize(("likeness", "share"), [("like", 0.2), ("unlike", 0.5), ("far", 1.0)])
def test_own_colour_of_a_pair_adds_up_to_its_share(likeness, share):
    # a pair (this lamp, a like one) carries share x f1'; rectangular parts add in variance
    own = instruments.own_colour_input(meter(), "K1", likeness).u
    like = instruments.own_colour_input(meter(), "K2", "like").u
    assert_allclose(math.hypot(own, like), share * 0.10 / math.sqrt(3), rtol=ROUND)


def test_resolution_is_half_the_last_figure():
    assert_allclose(instruments.resolution_input(1.0, ("r",)).u, 0.5 / math.sqrt(3), rtol=ROUND)


def test_a_linearity_that_is_stated_in_code_counts():
    """Oracle: the figure stated, where it is neither the usual one nor what follows from the percent of reading."""
    assert instruments.linearity_percent(meter(reading_percent=(4.0,), linearity_percent=20.0)) == 20.0
    assert instruments.linearity_percent(meter(reading_percent=(1.5,), linearity_percent=1.0)) == 1.0
    assert instruments.linearity_percent(meter(reading_percent=(0.9,))) == pytest.approx(0.3, rel=1e-12)


@pytest.mark.parametrize(
    ("stated", "given", "wanted"), [("", {}, 0.5), (0.7, {}, 0.7), ("", {"linearity_percent": 0.6}, 0.6)]
)
def test_a_changed_accuracy_brings_the_linearity_that_follows_from_it(tmp_path, stated, given, wanted):
    """Oracle: the rule: a third of the smallest percent of reading up to 1 %, unless one is stated."""
    toml = METER.replace(
        "range_percent", f"linearity_percent = {stated}\nrange_percent" if stated else "range_percent"
    )
    made = bench(tmp_path, "lamp,illuminance_lx\nB0,300\nK1,330\n", toml=toml)
    changed = made.changed(reading_percent=1.5, **given).meters["M1"]
    assert changed.linearity_percent == pytest.approx(wanted, rel=1e-12)
    assert instruments.linearity_percent(changed) == pytest.approx(wanted, rel=1e-12)
