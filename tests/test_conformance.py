"""Conformance and agreement: oracles JCGM 106, ISO 13528 (secondary text), closed forms."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from photolab.errors import MethodError
from photolab.metrology.agreement import (
    conformance_probability,
    normalized_error,
    values_that_conform,
    zeta_score,
)

EXAMPLES = {
    example["id"]: example
    for example in json.loads((Path(__file__).parent / "reference" / "comparison_examples.json").read_text())
}
HALF_DIGIT_2 = 0.5e-2  # half a unit in the last printed digit of a figure with two decimals


def test_probability_below_an_upper_limit():
    """JCGM 106:2012, 7.3 example 1: 0.92."""
    inputs = EXAMPLES["106.7.3.ex1"]["inputs"]
    found = conformance_probability(inputs["y"], inputs["u"], upper=inputs["TU"])
    assert_allclose(found, 0.92, atol=HALF_DIGIT_2)
    assert isinstance(found, float)


def test_probability_above_a_lower_limit():
    """JCGM 106:2012, 7.3 example 2: 0.99."""
    inputs = EXAMPLES["106.7.3.ex2"]["inputs"]
    assert_allclose(
        conformance_probability(inputs["y"], inputs["u"], lower=inputs["TL"]), 0.99, atol=HALF_DIGIT_2
    )


def test_distance_from_the_limit_for_a_probability():
    """JCGM 106:2012, table 1: z for 0.80 to 0.999, as printed (1.6449 is printed 1.64)."""
    example = EXAMPLES["106.table1"]
    for p, z in zip(example["inputs"]["pc"], example["published"]["z"], strict=True):
        found = values_that_conform(1.0, probability=p, upper=0.0)
        assert found[0] == -np.inf
        assert_allclose(-found[1], float(z), atol=HALF_DIGIT_2)


def test_values_that_conform_for_capability_one():
    """JCGM 106:2012, 7.7.5: C_m = 1, 95 %: 0.45 to 0.55 of the tolerance; full precision 0.4491 to 0.5509
    computed."""
    low, high = values_that_conform(0.25, probability=0.95, lower=0.0, upper=1.0)
    assert_allclose([low, high], [0.45, 0.55], atol=HALF_DIGIT_2)
    # closed form beside it: the probability at the ends is what was asked for; 1e-10 is the root's own
    # tolerance
    assert_allclose(
        conformance_probability(np.array([low, high]), 0.25, lower=0.0, upper=1.0), 0.95, atol=1e-10
    )


def test_no_value_conforms_where_the_uncertainty_is_too_large():
    """Closed form: at the middle 2 Phi(T/2u) - 1 = 0.6827 for u = T/2."""
    with pytest.raises(
        MethodError, match=r"no value conforms with probability 0.95; 0.5 reaches 0.6827"
    ) as caught:
        values_that_conform(0.5, probability=0.95, lower=0.0, upper=1.0)
    assert caught.value.code == "never_conforms"
    assert_allclose(caught.value.known["largest_probability"], 0.6826894921, atol=1e-9)  # ten printed digits


def test_values_that_conform_may_lie_outside_the_limits():
    """Closed form: below one half, one-sided, the value lies beyond its limit by z u."""
    low, high = values_that_conform(0.1, probability=0.3, lower=0.0, upper=1.0)
    assert low < 0.0 < 1.0 < high
    assert_allclose(low, -0.0524400513, atol=1e-9)  # 0.1 z(0.3); the other limit is 10 u away


def test_far_tail_of_a_conformance_probability_keeps_its_digits():
    """Closed form: Phi(-10) = 7.619853e-24, both limits above the estimate."""
    assert_allclose(
        conformance_probability(0.0, 1.0, lower=10.0, upper=50.0), 7.619853024160525e-24, rtol=1e-12
    )


def test_value_by_paired_differences_from_a_reference():
    """ISO 13528:2022, E.5 (secondary text): assigned 23.35 with u 0.35, so zeta against the reference is
    1.7275 over u's root."""
    example = EXAMPLES["iso13528.E5"]["inputs"]
    d = np.array(example["d"])
    u_mean = d.std(ddof=1) / np.sqrt(d.size)
    zeta = zeta_score(example["x_crm"] + d.mean(), u_mean, example["x_crm"], example["u_crm"])
    assert_allclose(d.mean() / zeta, 0.35, atol=HALF_DIGIT_2)  # the denominator is the published u
    assert_allclose(zeta, 1.7275 / 0.35344312, rtol=1e-7)  # recomputed at full precision, eight digits


def test_consensus_against_a_reference_value():
    """ISO 13528:2022, E.7 (secondary text): x* 0.03161, u 0.0045, difference 0.012 with u 0.0061."""
    example = EXAMPLES["iso13528.E7"]["inputs"]
    mean, u = (float(EXAMPLES["iso13528.E7"]["published"][key]) for key in ("x_star", "u"))
    difference = example["x_ref"] - mean
    assert_allclose(difference, 0.012, atol=0.5e-3)
    assert_allclose(
        -difference / zeta_score(mean, u, example["x_ref"], example["u_ref"]), 0.0061, atol=0.5e-4
    )


def test_normalized_error_with_and_without_what_is_shared():
    """Closed form: 3-4-5 triangle; with r = 0.5 the square is 9 + 16 - 12 = 13."""
    assert_allclose(normalized_error(12.0, 3.0, 7.0, 4.0), 1.0, rtol=1e-15)
    assert_allclose(normalized_error(12.0, 3.0, 7.0, 4.0, correlation=0.5), 5.0 / np.sqrt(13.0), rtol=1e-15)
    assert_allclose(zeta_score([7.0, 12.0], 3.0, 7.0, 4.0), [0.0, 1.0], rtol=1e-15)


@given(st.floats(-50, 50), st.floats(0.01, 10), st.floats(-50, 50), st.floats(0.01, 10), st.floats(-0.9, 0.9))
def test_swapping_two_results_turns_the_sign(x, u, reference, v, r):
    """Symmetry: E_n(x, X) = -E_n(X, x)."""
    swapped = normalized_error(reference, v, x, u, correlation=r)
    assert_allclose(
        normalized_error(x, u, reference, v, correlation=r), -swapped, rtol=1e-12
    )  # float rounding


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: conformance_probability(1.0, 0.0, upper=2.0),
            r"standard_uncertainty must be more than zero and finite; got 0",
        ),
        (
            lambda: conformance_probability([1.0, np.nan], 1.0, upper=2.0),
            r"value\[1\] must be finite; got nan",
        ),
        (lambda: conformance_probability(1.0, 1.0), r"one of them given; got None and None"),
        (lambda: conformance_probability(1.0, 1.0, lower=2.0, upper=2.0), r"lower must be below upper"),
        (
            lambda: values_that_conform(1.0, probability=1.0, upper=2.0),
            r"probability must be between 0 and 1; got 1.0",
        ),
        (lambda: normalized_error(1.0, 1.0, 2.0, 1.0, correlation=1.5), r"between -1 and 1; got 1.5"),
        (
            lambda: normalized_error(1.0, 1.0, 2.0, 1.0, correlation=1.0),
            r"leave the difference an uncertainty; got 1.0",
        ),
        (lambda: zeta_score(1.0, -1.0, 2.0, 1.0), r"expanded_x must be more than zero and finite; got -1"),
    ],
)
def test_refusals_name_the_quantity(call, message):
    """Each bad argument is named with its value."""
    with pytest.raises(ValueError, match=message):
        call()
