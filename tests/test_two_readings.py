"""Two readings without a folder. Oracles: the printed trials of the protocol (tolerance 0.2 points) and closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from photolab.bench.inputs.shared_inputs import Loadings, add_meter
from photolab.bench.results import two_readings
from photolab.bench.results.pairs import compare_pair, variance_by_term
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.model import Certificate, Meter, SpectralFactor
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import Input, measured
from photolab.publication.sentences.statements import sentence

METER = Meter(
    id="M",
    reading_percent=(4.0,),
    range_percent=(0.5,),
    ranges_lx=(400.0, 4000.0),
    resolution_lx=(0.1, 1.0),
)
POINTS = 0.2  # the trials are stated to a tenth of a percent with this tolerance


def compare(a, b, first="led", second=None, **more):
    options = {"meter": METER, "technology": (first, second or first), "range_lx": 4000.0}
    return two_readings.compare(a, b, **(options | more))


def test_trial_two_led_lamps_one_seating_each():
    pair = compare(318, 334)
    assert_allclose(
        [pair.lines.meter_only, pair.lines.this_bench, pair.lines.nothing_in_common],
        [2.8, 8.8, 14.6],
        atol=POINTS,
    )
    assert_allclose([100 * (pair.low - 1), 100 * (pair.high - 1)], [-3.8, 14.7], atol=POINTS)
    assert pair.verdict == "inside"
    assert (pair.mountings_to_separate.even_chance, pair.mountings_to_separate.four_in_five) == (5, 18)


def test_trial_filament_against_led_is_clear_and_colour_dominates():
    pair = compare(318, 436, "filament", "led")
    assert_allclose([100 * (pair.low - 1), 100 * (pair.high - 1)], [19.4, 57.4], atol=POINTS)
    assert (pair.verdict, pair.largest_term) == ("clear", "colour")
    assert pair.budget["name"].iloc[0] == ("colour", "M", "led")


def test_trial_no_number_of_mountings_can():
    pair = compare(318, 347, "filament", "led")
    assert_allclose([100 * (pair.low - 1), 100 * (pair.high - 1)], [-4.8, 25.1], atol=POINTS)
    assert pair.verdict == "inside"
    assert pair.mountings_to_separate.even_chance is None


def test_a_dominating_colour_keeps_the_shape_of_its_limits():
    """Oracle: draws of the inputs as they were declared; the interval of a normal law holds 95.9 % of them."""
    pair = compare(318, 436, "filament", "led")
    outcomes = draws(lambda x: x, pair.result, trials=200_000)
    assert_allclose(
        interval(outcomes, 0.95), np.log([pair.low, pair.high]), atol=1.5e-3
    )  # five standard errors
    half = stats.norm.ppf(0.975) * pair.result.u
    assert np.mean(np.abs(outcomes - pair.result.value) < half) > 0.957  # 0.9593, five standard errors


def test_without_technology_the_ratio_is_shown_and_nothing_else():
    pair = compare(318, 334, None)
    assert_allclose(pair.ratio, 334 / 318, rtol=1e-12)  # float rounding
    assert pair.verdict == "no_answer"
    assert math.isnan(pair.low)
    assert pair.missing == ("technology",)


@given(st.floats(50, 3900), st.floats(50, 3900))
@settings(max_examples=25, deadline=None)
def test_swapping_gives_the_exact_reciprocal_and_the_same_verdict(a, b):
    small, large = sorted((a, b))
    up, down = compare(small, large), compare(large, small)
    assert down.ratio == 1.0 / up.ratio
    assert down.verdict == up.verdict
    for line in ("meter_only", "this_bench", "nothing_in_common"):
        assert_allclose(getattr(down.lines, line), getattr(up.lines, line), rtol=1e-13)  # order of a sum
    assert_allclose(down.low, 1.0 / up.high, rtol=1e-15)  # one rounding of a division


@given(st.floats(0.2, 5.0))
@settings(max_examples=15, deadline=None)
def test_a_scale_error_common_to_both_readings_changes_no_ratio(k):
    pair, scaled = compare(318, 334), compare(318 * k, 334 * k)
    assert_allclose(scaled.ratio, pair.ratio, rtol=1e-12)  # float rounding


def test_autorange_unshares_the_range_term_and_adds_the_gain_step():
    """The range trap. Closed form: u² of two range terms and two gains instead of one difference."""
    same = compare(318, 334).result.u
    apart = compare(318, 334, range_lx=(400.0, 4000.0))
    one_range = (20.0 * (1 / 318 - 1 / 334)) ** 2
    two_ranges = (2.0 / 318) ** 2 + (20.0 / 334) ** 2 + 2 * 0.01**2
    steps = (0.05 / 318) ** 2 - (0.5 / 318) ** 2  # the finer display of the low range
    wanted = math.sqrt(same**2 + (two_ranges - one_range + steps) / 3.0)
    assert_allclose(apart.result.u, wanted, rtol=1e-9)  # float rounding of squares
    assert apart.lines.this_bench > 1.4 * compare(318, 334).lines.meter_only


def test_the_step_between_ranges_is_named_with_what_one_range_would_give():
    """Oracle: the same readings on one range; the finer display of the low range moves less than a printed digit."""
    apart, same = compare(318, 334, range_lx=(400.0, 4000.0)), compare(318, 334)
    (step,) = [a for a in apart.assumed if a.name == "step between two ranges"]
    assert (step.value, step.unit) == (1.0, "%")
    one, two = (100 * pair.ln_expanded_uncertainty for pair in (same, apart))
    assert step.words == f"limit; both on one locked range would give ± {one:.1f} % instead of ± {two:.1f} %"
    assert one < two
    assert "step between two ranges 1 % (limit; both on one locked range" in sentence(apart)
    assert not any(a.name == "step between two ranges" for a in same.assumed)


def test_on_one_locked_range_a_lamp_of_two_ranges_has_one_range_term():
    """Oracle: closed form: loads of 0.3 and 0.2 on two ranges are 0.5 on one, which cancels from the other's 0.5."""
    names = (("range gain", "M", "400 lx"), ("range gain", "M", "4000 lx"))
    names = (*names, ("range term", "M", "400 lx"), ("range term", "M", "4000 lx"), ("mounting", "K1"))
    kinds = ("range gain", "range gain", "range term", "range term", "seating")
    sizes = (0.01, 0.01, 0.02, 0.2, 0.03)
    inputs = [Input(name, u, kind=kind) for name, u, kind in zip(names, sizes, kinds, strict=True)]
    own = measured(0.1, *zip(inputs, (0.6, 0.4, 0.3, 0.2, 1.0), strict=True))
    base = measured(0.0, (inputs[1], 1.0), (inputs[3], 0.5))
    told = compare_pair(own, base, scope="specimens", coverage=0.95, alike_percent=10.0, mounting_sd=0.03)
    assert "one locked range would give ± 5.9 %" in told.assumed[0].words  # 1.96 x 3 %: the seating alone


def test_unknown_ranges_share_nothing():
    known, unknown = compare(318, 334), compare(318, 334, range_lx=None)
    assert unknown.lines.meter_only != known.lines.meter_only


def test_two_meters_share_no_scale():
    other = Meter(
        id="N", reading_percent=(4.0,), range_percent=(0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,)
    )
    pair = compare(318, 334, meter=(METER, other))
    # nothing in common is then what decides: scale and range terms of both count anyway
    assert pair.lines.this_bench > 14.0
    kinds = set(pair.budget["name"].str[0])
    assert {"scale", "colour", "range term"} <= kinds


def test_two_meters_of_one_name_must_be_alike():
    """Oracle: by definition: what has one name is one thing, so its accuracy cannot be two."""
    with pytest.raises(ValueError, match=r"input \('scale', 'M'\) must mean one thing; got it with u"):
        compare(318, 334, meter=(METER, replace(METER, reading_percent=(3.0,))))


def test_more_mountings_shrink_only_the_seating():
    one, four = compare(318, 334), compare(318, 334, mountings=4)
    assert four.lines.meter_only == one.lines.meter_only
    seating = (one.result.u**2 - four.result.u**2) / (2 * 0.03**2)
    assert_allclose(seating, 0.75, rtol=1e-9)  # 1 - 1/4; float rounding


def test_estimated_seating_brings_its_degrees_of_freedom():
    """One variance estimate behind both seatings: 4 dof, not 8 (Welch-Satterthwaite over variance groups)."""
    pair = compare(318, 334, mounting_sd_percent=3.0, mounting_dof=4.0)
    u2, part = pair.result.u**2, 2 * 0.03**2
    assert_allclose(pair.result.dof, 4.0 * (u2 / part) ** 2, rtol=1e-9)  # closed form


def test_specimens_widen_to_the_models():
    pair = compare(318, 334, specimen_sd_percent=4.0)
    base = compare(318, 334).result.u
    assert_allclose(pair.result.u, math.hypot(base, 0.04 * math.sqrt(2)), rtol=1e-9)
    assert pair.scope == "models"


def test_stated_spectral_factor_corrects_and_replaces_f1():
    stated = Meter(
        id="M",
        reading_percent=(4.0,),
        ranges_lx=(4000.0,),
        spectral_factors=(SpectralFactor("led", 0.94, 0.02, 2.0),),
    )
    pair = compare(318, 334, "filament", "led", meter=stated)
    assert_allclose(pair.ratio, 334 / 318 * 0.94, rtol=1e-12)  # float rounding
    budget = pair.budget
    colour = budget[budget["name"] == ("colour", "M", "led", "corrected")]["standard_uncertainty"]
    assert_allclose(colour, [0.01 / 0.94], rtol=1e-12)  # float rounding


@pytest.mark.parametrize(
    ("a", "b", "more", "words"),
    [
        (0.0, 334, {}, "reading a must be more than 0 and finite; got 0 lx"),
        (318, math.nan, {}, "reading b must be more than 0 and finite; got nan lx"),
        (318, 4310, {}, "4310 lx cannot be read on the 4000 lx range"),
        (318, 334, {"first": "bulb"}, "technology of a must be one of"),
        (318, 334, {"mountings": 0}, "mountings must be 1 or more; got 0"),
        (318, 334, {"range_lx": -1.0}, "range_lx of a must be more than 0"),
    ],
)
def test_refusals_name_the_quantity(a, b, more, words):
    with pytest.raises(ValueError, match=words):
        compare(a, b, **more)


@pytest.mark.parametrize("value", [1e-9, 1e9])
def test_tiny_and_huge_readings_answer(value):
    pair = compare(value, value, meter=Meter(id="M", reading_percent=(4.0,)), range_lx=None)
    assert (pair.ratio, pair.verdict) == (1.0, "alike")


def test_loadings_are_a_row_a_reading_and_a_column_an_input():
    """Oracle: by hand."""
    loads = Loadings(Columns({"meter": np.array(["M1", "M1", "M2"]), "lamp": np.array(["a", "b", "b"])}))
    loads.add(("meter",), np.array([1.0, 0.5, 0.0]), [Input(("scale",), 0.1)])
    loads.add(("lamp",), 3.0, [Input(("own",), 0.1), Input(("own",), 0.2)], np.array([0, 1, 1]))
    joint = loads.joint("xyz", np.zeros(3))
    wanted = [[1.0, 3.0, 0.0], [0.5, 0.0, 3.0], [0.0, 0.0, 3.0]]
    assert_array_equal(joint.sensitivities.toarray(), wanted)
    assert [(q.name, q.u) for q in joint.inputs] == [
        (("scale", "M1"), 0.1),
        (("own", "a"), 0.1),
        (("own", "b"), 0.2),
    ]


SHEET = Certificate(correction=1.01, expanded_uncertainty_percent=1.2)
FACTORS = (SpectralFactor("led", 0.94, 0.02), SpectralFactor("filament", 1.01, 0.03))
TOLD = {"linearity_percent": 0.4, "mismatch_index_percent": 6.0, "limit_kind": "expanded_k2"}


@pytest.mark.parametrize("more", [{}, TOLD, {"certificate": SHEET}, {"spectral_factors": FACTORS}])
@pytest.mark.parametrize(
    "tops", [(4000.0, 4000.0), (400.0, 4000.0), (math.nan, 4000.0), (math.nan, math.nan)]
)
@pytest.mark.parametrize("lights", [("led", "led"), ("filament", "led"), ("discharge", "other")])
def test_two_typed_readings_are_two_seatings_of_a_campaign(more, tops, lights):
    """Oracle: the table of who shares what, by which every folder is evaluated."""
    meter = replace(METER, digits=(0.0, 3.0), **more)
    pair = compare(318, 334, *lights, meter=meter, range_lx=tuple(None if math.isnan(t) else t for t in tops))
    stated = {factor.technology: factor for factor in meter.spectral_factors}
    rows = {"number": [0, 1], "lamp": ["A", "B"], "technology": lights, "range_lx": tops}
    rows |= {"inverse": [1.0 / 318, 1.0 / 334]}
    rows |= {
        "spectral_u": [
            stated[t].expanded_uncertainty / 2.0 / stated[t].factor if t in stated else math.nan
            for t in lights
        ]
    }
    alike = {"meter": "M", "onto": "M", "housing": "", "link_u": 0.0, "link_dof": math.inf, "n": 1}
    alike |= {
        "several": tops[0] != tops[1],
        "one_figure": False,
        "own_spectrum": False,
        "likeness": "like",
    }
    loads = Loadings(Columns({key: np.array(cells) for key, cells in rows.items()}))
    for key, cell in alike.items():
        loads.seats[key] = np.full(2, cell)
    add_meter(loads, {"M": meter})
    loads.add(("lamp",), 1.0, [Input(("mounting",), 0.03, kind="seating", source="assumed")])
    joint = loads.joint("ab", np.zeros(2))
    for typed, row in ((pair.first, joint["b"]), (pair.second, joint["a"])):
        assert typed.parts == row.parts  # inputs of one name that differ are refused
        assert [(q.name, q.source) for q in typed.parts] == [(q.name, q.source) for q in row.parts]


def test_a_pair_of_typed_inputs_has_the_lines_of_its_inputs():
    """Oracle: by hand: normal inputs; on one locked range the terms of both lamps are one error, that of its top."""
    scale = Input(("scale", "M"), 0.02, kind="scale")
    gains = [Input(("range gain", "M", top), 0.005, kind="range gain") for top in ("400 lx", "4000 lx")]
    terms = [
        Input(("range term", "M", top), u, kind="range term")
        for top, u in (("400 lx", 2.0), ("4000 lx", 20.0))
    ]
    seats = [Input(("mounting", lamp), 0.03, kind="seating") for lamp in "ab"]
    piece = Input(("specimen", "b"), 0.04, kind="specimen")
    lamps = [(math.log(300.0), 0, 1 / 300.0), (math.log(800.0), 1, 1 / 800.0)]
    a, b = (measured(ln, scale, gains[k], (terms[k], slope), seats[k]) for ln, k, slope in lamps)
    b = b + measured(0.0, piece)
    pair = compare_pair(
        a, b, scope="specimens", coverage=0.9, alike_percent=10.0, mounting_sd=0.03, widening=0.01
    )
    z = stats.norm.ppf(0.95)
    meter = 2.0 * 0.005**2 + (2.0 / 300.0) ** 2 + (20.0 / 800.0) ** 2
    seated = meter + 2.0 * 0.03**2
    lines = [pair.lines.meter_only, pair.lines.this_bench, pair.lines.nothing_in_common]
    assert_allclose(lines, 100.0 * z * np.sqrt([meter, seated, seated + 2.0 * 0.02**2]), rtol=1e-12)
    half = z * math.sqrt(seated) + 0.01
    assert_allclose([pair.low, pair.high], 300.0 / 800.0 * np.exp([-half, half]), rtol=1e-12)
    reach = (z + stats.norm.ppf(0.8)) * math.sqrt(seated)
    assert_allclose(pair.resolvable_ratio, math.exp(reach), rtol=1e-5)  # the far tail of the power
    assert pair.largest_term == "range term"
    parts = {"scale": 0.0, "range gain": 2.0 * 0.005**2, "mounting": 2.0 * 0.03**2}
    parts["range term"] = meter - parts["range gain"]
    assert variance_by_term(pair.ln_ratio) == pytest.approx(parts, rel=1e-12)
    locked = z * math.sqrt((20.0 * (1.0 / 300.0 - 1.0 / 800.0)) ** 2 + 2.0 * 0.03**2)
    assert locked > z * math.sqrt(seated)  # one range, the higher, would be worse, so it is not proposed
    assert [one.words for one in pair.assumed] == ["limit"]


def test_what_a_pair_resolves_counts_its_degrees_of_freedom():
    """Oracle: the power of Student's t by the noncentral t of scipy: four in five at the ratio that is said."""
    seats = [Input(("mounting", lamp), 0.02, dof=4.0, kind="seating", variance="pool") for lamp in "ab"]
    a, b = (measured(math.log(1000.0), q) for q in seats)
    pair = compare_pair(a, b, scope="specimens", coverage=0.95, alike_percent=10.0, mounting_sd=0.02)
    shift, t = math.log(pair.resolvable_ratio) / (0.02 * math.sqrt(2.0)), stats.t.ppf(0.975, 4)
    assert_allclose(stats.nct.sf(t, 4, shift) + stats.nct.cdf(-t, 4, shift), 0.8, rtol=1e-6)
    assert shift > 3.6  # of a known SD it would be 2.8
