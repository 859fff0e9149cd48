"""The verdict rule and the numbers of mountings. Oracle: closed form."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from photolab.bench.results.campaign import half_widths
from photolab.bench.terms.verdicts import judge, judged_cells, mountings_to_separate
from photolab.metrology.quantity import Input, Joint

M = math.log(1.1)


@pytest.mark.parametrize(
    ("ln_ratio", "half", "code", "small"),
    [
        (0.05, 0.0499, "clear", False),
        (0.04, 0.0399, "clear", True),
        (0.04, 0.04, "alike", False),
        (0.05, 0.05, "inside", False),
        (0.05, 0.04, "clear", True),
        (0.2, 0.1, "clear", False),
        (0.0, M - 1e-12, "alike", False),
        (0.0, math.log1p(0.1), "alike", False),
        (0.0, M + 1e-9, "inside", False),
        (0.0, math.nan, "no_answer", False),
        (math.nan, 0.1, "no_answer", False),
    ],
)
def test_first_rule_that_applies(ln_ratio, half, code, small):
    verdict = judge(ln_ratio, half, alike_percent=10.0)
    assert (verdict.code, verdict.small) == (code, small)


def test_cells_of_a_ratio_hold_the_ends_of_its_interval():
    """Oracle: closed form."""
    cells = judged_cells(0.05, 0.04, alike_percent=10.0)
    ends = [math.exp(0.05), math.exp(0.01), math.exp(0.09)]
    assert [cells[end] for end in ("value", "low", "high")] == pytest.approx(ends, rel=1e-14)
    assert (cells["ln_expanded_uncertainty"], cells["verdict"], cells["small"]) == (0.04, "clear", True)


@given(st.floats(-1, 1), st.floats(1e-6, 1))
def test_swapping_lamps_keeps_the_verdict(ln_ratio, half):
    assert judge(ln_ratio, half, alike_percent=10.0) == judge(-ln_ratio, half, alike_percent=10.0)


@pytest.mark.parametrize("coverage", [0.95, 0.9])
def test_mountings_bring_the_interval_down_to_the_difference(coverage):
    """At n mountings the half-width (or its 4-in-5 reach) first falls to the difference."""
    need = mountings_to_separate(0.05, 0.03, 0.0143, coverage=coverage)
    half = stats.norm.ppf(0.5 + coverage / 2)
    for n, reach in ((need.even_chance, half), (need.four_in_five, half + stats.norm.ppf(0.8))):
        u = [math.sqrt(0.0143**2 + 2 * 0.03**2 / k) for k in (n, n - 1)]
        assert reach * u[0] <= 0.05 < reach * u[1]


@pytest.mark.parametrize(("dof", "floor_dof"), [(3.0, math.inf), (8.0, math.inf), (8.0, 15.0)])
def test_an_interval_of_few_degrees_of_freedom_takes_more_seatings(dof, floor_dof):
    """Oracle: the noncentral t of scipy at the number named and at one less, dof by Welch and Satterthwaite."""
    need = mountings_to_separate(0.08, 0.03, 0.0143, dof=dof, floor_dof=floor_dof)
    assert need.four_in_five > mountings_to_separate(0.08, 0.03, 0.0143).four_in_five
    for n, power in ((need.even_chance, 0.5), (need.four_in_five, 0.8)):
        shown = []
        for k in (n, n - 1):
            seats = 2 * 0.03**2 / k
            square = seats + 0.0143**2
            free = square**2 / (seats**2 / dof + 0.0143**4 / floor_dof)
            limit, away = stats.t.ppf(0.975, free), 0.08 / math.sqrt(square)
            shown.append(stats.nct.sf(limit, free, away) + stats.nct.cdf(-limit, free, away))
        assert shown[1] < power <= shown[0]


def test_few_seatings_so_far_do_not_forbid_what_many_would_show():
    """Oracle: brute force, 600 drawn benches of 21 seatings on such a meter: 82.8 +- 1.5 % show the difference."""
    need = mountings_to_separate(math.log(1.04), 0.02, 0.0125, dof=8.0)
    assert 21 <= need.four_in_five <= 24
    assert mountings_to_separate(math.log(1.04), 0.02, 0.0125, dof=8.0, floor_dof=8.0).four_in_five is None


def test_no_number_of_mountings_beats_the_floor():
    assert mountings_to_separate(0.05, 0.03, 0.06).even_chance is None
    assert mountings_to_separate(0.05, 0.03, 0.02).four_in_five is None


def test_equal_readings_need_no_number():
    need = mountings_to_separate(0.0, 0.03, 0.01)
    assert (need.even_chance, need.four_in_five) == (None, None)


def test_half_widths_are_tukeys_of_all_pairs_without_the_silent():
    """Oracle: the studentized range of scipy for three lamps alike and known by themselves, the baseline neither first
    nor last; one pair left is an interval by itself, as of a normal value.
    """
    names = ("K1", "B0", "K2", "K3")
    inputs = [Input(("scatter", name), 0.02, kind="reading scatter") for name in names]
    joint = Joint(names, [0.1, 0.0, 0.3, 0.2], inputs, np.eye(4))
    found = half_widths(joint, "B0", coverage=0.95, silent={"K3"})
    tukey = 0.02 * stats.studentized_range.ppf(0.95, 3, np.inf)
    assert list(found) == ["K1", "K2"]
    assert_allclose([*found.values()], tukey, rtol=0.01)  # of draws
    alone = half_widths(joint, "B0", coverage=0.95, silent={"K2", "K3"})
    assert alone == pytest.approx({"K1": 0.02 * math.sqrt(2) * stats.norm.ppf(0.975)}, rel=1e-9)
    assert half_widths(joint, "B0", coverage=0.95, silent={"B0"}) == {}
    assert half_widths(joint, "B0", coverage=0.95, silent={"K1", "K2", "K3"}) == {}


def test_half_widths_of_many_lamps_pay_for_all_their_pairs():
    """Oracle: closed form: of 50 lamps the bound of 1225 pairs, though 49 are told."""
    names = ["B0", *(f"K{k}" for k in range(1, 50))]
    inputs = [Input(("scatter", name), 0.02, kind="reading scatter") for name in names]
    found = half_widths(Joint(names, np.zeros(50), inputs, np.eye(50)), "B0", coverage=0.95)
    assert list(found) == names[1:]
    bound = 0.02 * math.sqrt(2.0) * stats.norm.isf(0.05 / 1225 / 2.0)
    assert_allclose([*found.values()], bound, rtol=1e-6)  # families are widened to six decimals
