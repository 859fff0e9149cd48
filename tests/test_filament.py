"""A filament lamp against voltage: identities, the demo's figures, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from photolab.photometry.lamp import value_at_voltage

VOLTS = st.floats(6.0, 30.0)


def test_the_new_lead_of_the_demo_bench():
    """Oracle: the demo's own figures: 12.95 V for 13.20 V takes 6.2 % off and inflates ratios by 6.7 %."""
    assert_allclose(
        100 * (value_at_voltage(1.0, 13.20, 12.95, exponent=3.4) - 1), -6.3, rtol=0, atol=0.1
    )  # rounded
    assert_allclose(
        100 * (value_at_voltage(1.0, 12.95, 13.20, exponent=3.4) - 1), 6.7, rtol=0, atol=0.05
    )  # printed


@given(st.floats(0.1, 1e5), VOLTS, VOLTS, st.floats(-15.0, 7.0))
def test_there_and_back(value, measured, reference, exponent):
    """Oracle: symmetry: to a voltage and back changes nothing; the logarithms are in proportion."""
    there = value_at_voltage(value, measured, reference, exponent=exponent)
    back = value_at_voltage(there, reference, measured, exponent=exponent)
    assert_allclose(back, value, rtol=1e-12)  # float rounding
    if abs(np.log(reference / measured)) > 0.01:
        implied = np.log(there / value) / np.log(reference / measured)
        assert_allclose(implied, exponent, rtol=1e-9, atol=1e-10)  # float rounding over a small logarithm


def test_values_broadcast_and_floats_stay_floats():
    """Oracle: the contract."""
    assert isinstance(value_at_voltage(100.0, 12.0, 13.2, exponent=3.4), float)
    assert value_at_voltage([1.0, 2.0], 12.0, 12.0, exponent=3.4).tolist() == [1.0, 2.0]
    assert np.isnan(value_at_voltage([np.nan, 2.0], 12.0, 12.0, exponent=3.4)[0])


def test_refusals():
    """Oracle: the rule on messages: quantity, element, value, unit."""
    with pytest.raises(
        ValueError, match=r"measured_voltage\[1\] must be more than zero and finite; got 0 V \(1 of 2"
    ):
        value_at_voltage(1.0, [12.0, 0.0], 13.2, exponent=3.4)
    with pytest.raises(
        ValueError, match=r"reference_voltage must be more than zero and finite; got -13\.2 V"
    ):
        value_at_voltage(1.0, 12.0, -13.2, exponent=3.4)
