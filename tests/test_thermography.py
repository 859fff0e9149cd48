"""Displayed to surface temperature: oracles a computed reference table, closed forms, a second
integration."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import constants, integrate

from photolab.errors import MethodError
from photolab.thermal.radiation import SECOND_RADIATION_CONSTANT, radiance, temperature_of
from photolab.thermal.thermography import (
    emissivity_from_patch,
    published_emissivities,
    rise_in_fahrenheit,
    surface_reading,
    surface_temperature,
    to_celsius,
    to_fahrenheit,
)

EXAMPLES = pd.read_csv(
    Path(__file__).parent / "reference" / "photometry" / "surface_temperature_examples.csv"
)
TRIAL = {"emissivity": 0.20, "set_emissivity": 0.95, "reflected": 22.0}


@pytest.mark.parametrize(
    ("band_um", "column"),
    [
        (None, "T_true_total_radiation_C"),
        ((8.0, 14.0), "T_true_band_8_14um_C"),
        ((7.5, 13.0), "T_true_band_7.5_13um_C"),
    ],
)
def test_reference_table(band_um, column):
    """Computed reference (grey body, CODATA constants), every row; one unit in its fourth decimal."""
    found = surface_temperature(
        EXAMPLES["displayed_C"],
        emissivity=EXAMPLES["emissivity_true"],
        set_emissivity=EXAMPLES["emissivity_set"],
        reflected=EXAMPLES["T_reflected_true_C"],
        set_reflected=EXAMPLES["T_reflected_set_C"],
        band_um=band_um,
    )
    assert len(EXAMPLES) >= 16
    assert_allclose(found, EXAMPLES[column], rtol=0.0, atol=1e-4)


def test_right_setting_changes_nothing():
    """Closed form: set equals true, same reflected temperature."""
    found = surface_temperature(60.0, emissivity=0.8, set_emissivity=0.8, reflected=20.0)
    assert_allclose(found, 60.0, atol=1e-8)
    assert isinstance(found, float)


@given(st.floats(0.02, 1.0), st.floats(0.05, 1.0), st.floats(-20.0, 100.0))
def test_isothermal_scene_has_no_error(emissivity, set_emissivity, temperature):
    """Closed form: surface, room and display at one temperature, any emissivity."""
    found = surface_temperature(
        temperature, emissivity=emissivity, set_emissivity=set_emissivity, reflected=temperature
    )
    assert_allclose(found, temperature, atol=1e-8)


def test_sensitivity_to_the_emissivity():
    """Computed, 8-14 um, 0.95, room 20: -0.280, -0.515, -0.658 K for +0.01 at 50, 80, 100 degC."""
    t = np.array([50.0, 80.0, 100.0])
    up, down = (
        surface_temperature(t, emissivity=e, set_emissivity=0.95, reflected=20.0) for e in (0.955, 0.945)
    )
    assert_allclose(
        up - down, [-0.280, -0.515, -0.658], atol=1e-3
    )  # half a unit in the last printed digit, twice


def test_radiance_against_a_second_integration():
    """Second implementation: scipy's adaptive quadrature of Planck's law; constants from scipy (CODATA)."""
    c2 = constants.h * constants.c / constants.k * 1e6
    assert_allclose(SECOND_RADIATION_CONSTANT, c2, rtol=1e-9)  # ten digits typed

    def integral(t):
        return integrate.quad(lambda w: w**-5 / np.expm1(c2 / (w * t)), 7.5, 13.0, epsabs=0.0, epsrel=1e-12)[
            0
        ]

    ratios = radiance(np.array([250.0, 400.0, 900.0]), (7.5, 13.0)) / radiance(300.0, (7.5, 13.0))
    expected = np.array([integral(t) for t in (250.0, 400.0, 900.0)]) / integral(300.0)
    assert_allclose(ratios, expected, rtol=1e-10)  # quadrature


@given(st.floats(70.0, 3000.0))
def test_inversion_returns_the_temperature(temperature):
    """Round trip from 70 K to 3000 K, band and T^4."""
    for band in ((8.0, 14.0), (2.0, 5.0), None):
        found = temperature_of(np.asarray(radiance(temperature, band)), band)
        assert_allclose(found, temperature, rtol=1e-10)  # float rounding after Newton's method


def test_bare_metal_is_a_lower_bound():
    """Computed trial: 41.6 degC, set 0.95, metal 0.20 ± 0.05, room 22: 97 (85 to 115) by band, 94 by T^4."""
    found = surface_reading(41.6, method="bare", emissivity_half_width=0.05, **TRIAL)
    assert_allclose(
        [found.value, found.low, found.high], [97.0, 85.0, 115.0], atol=0.5
    )  # printed whole degrees
    assert_allclose(found.total_radiation, 93.95, atol=0.01)
    # closed form: the model falls with emissivity, so the ends are its values at 0.2 ± 0.95 * 0.05
    ends = surface_temperature(41.6, **(TRIAL | {"emissivity": np.array([0.2475, 0.1525])}))
    assert_allclose([found.low, found.high], ends, atol=0.35)  # four standard errors of 100 000 trials
    assert not found.usable
    assert found.codes == ("lower_bound_only", "camera_not_considered", "reflected_not_considered")
    assert found.high - found.value > 1.4 * (found.value - found.low)


def test_a_patch_makes_the_reading_usable():
    """Closed form: tape of 0.96 ± 0.02 read at 0.95, 90 degC: within 2 K, and it says what was assumed."""
    found = surface_reading(
        90.0,
        method="tape",
        emissivity=0.96,
        set_emissivity=0.95,
        reflected=22.0,
        displayed_half_width=2.0,
        reflected_half_width=3.0,
    )
    assert found.usable
    assert found.codes == ("emissivity_assumed",)
    slope = (
        surface_temperature(90.0, emissivity=0.97, set_emissivity=0.95, reflected=22.0)
        - surface_temperature(90.0, emissivity=0.95, set_emissivity=0.95, reflected=22.0)
    ) / 0.02
    u = np.sqrt(((slope * 0.02) ** 2 + 2.0**2) / 3.0)
    assert_allclose(found.standard_uncertainty, u, rtol=0.03)  # curvature and the small reflected part
    assert_allclose(found.value, 89.4, atol=0.1)


def test_certain_inputs_have_no_interval():
    """Closed form: all half-widths zero."""
    found = surface_reading(
        60.0, method="tape", emissivity_half_width=0.0, emissivity=0.9, set_emissivity=0.9, reflected=20.0
    )
    assert_allclose([found.low, found.high, found.standard_uncertainty], [60.0, 60.0, 0.0], atol=1e-8)


def test_reflected_hotter_than_displayed():
    """A real solution is flagged; none is refused: at 0.2 the room alone gives more than was seen."""
    found = surface_reading(30.0, method="tape", emissivity=0.96, set_emissivity=0.95, reflected=40.0)
    assert "reflected_hotter_than_displayed" in found.codes
    assert not found.usable
    message = r"reflected must leave some radiance .* got 60 degC with 30 degC displayed and emissivity 0.2"
    with pytest.raises(MethodError, match=message) as caught:
        surface_temperature(30.0, emissivity=0.2, set_emissivity=0.95, reflected=60.0, set_reflected=20.0)
    assert caught.value.code == "no_real_temperature"
    with pytest.raises(MethodError, match="got 70 degC with 50 degC"):
        surface_temperature([50.0, 30.0], emissivity=0.2, set_emissivity=0.95, reflected=70.0, band_um=None)


def test_emissivity_from_a_patch():
    """Round trip: what a surface of 0.12 and a tape of 0.96 at 95 degC display gives 0.12 back."""
    room = radiance(22.0 + 273.15)
    true = radiance(95.0 + 273.15)

    def displayed(emissivity):
        seen = emissivity * true + (1.0 - emissivity) * room
        return temperature_of(np.asarray((seen - 0.05 * room) / 0.95)) - 273.15

    found = emissivity_from_patch(
        displayed(0.12), displayed(0.96), patch_emissivity=0.96, set_emissivity=0.95, reflected=22.0
    )
    assert_allclose(found, 0.12, rtol=1e-9)  # float rounding
    with pytest.raises(MethodError, match=r"patch must be 10 K or more above what is reflected; got 2.97 K"):
        emissivity_from_patch(24.0, 25.0, patch_emissivity=0.96, set_emissivity=0.95, reflected=22.0)
    with pytest.raises(MethodError, match=r"emissivity from the patch must be above 0 and at most 1; got -"):
        emissivity_from_patch(20.0, 90.0, patch_emissivity=0.96, set_emissivity=0.95, reflected=22.0)


def test_published_emissivities_carry_their_source():
    """Published (as quoted in compiled tables): anodised sheet 0.55, black vinyl tape 0.96."""
    table = published_emissivities()
    assert table["source"].str.len().min() > 5
    assert (table["emissivity_low"] <= table["emissivity_high"]).all()
    assert table[["emissivity_low", "emissivity_high"]].stack().between(0.0, 1.0).all()
    anodised = table[(table["material"] == "aluminium") & (table["condition"] == "anodised sheet")]
    assert list(anodised["emissivity_low"]) == [0.55]
    tape = table[table["condition"] == "black vinyl electrical"]
    assert set(tape["emissivity_low"]) == {0.96}


def test_fahrenheit():
    """Definition: 0 degC = 32 degF, 100 degC = 212 degF; a rise of 50 K is 90 degF, never 122."""
    assert_allclose(to_fahrenheit([0.0, 100.0, -40.0]), [32.0, 212.0, -40.0], rtol=1e-15)
    assert_allclose(rise_in_fahrenheit(50.0), 90.0, rtol=1e-15)
    assert_allclose(to_celsius(to_fahrenheit([-17.3, 36.6])), [-17.3, 36.6], rtol=1e-14)  # float rounding


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"emissivity": 1.4}, r"emissivity must be above 0 and at most 1; got 1.4"),
        ({"emissivity": 0.0}, r"emissivity must be above 0 and at most 1; got 0"),
        ({"emissivity": [0.5, np.nan]}, r"emissivity\[1\] must be above 0 and at most 1; got nan"),
        ({"set_emissivity": 95.0}, r"set_emissivity must be above 0 and at most 1; got 95"),
        ({"reflected": np.inf}, r"reflected must be finite and above -273.15 degC; got inf degC"),
        ({"set_reflected": -300.0}, r"set_reflected must be finite and above -273.15 degC; got -300 degC"),
        ({"band_um": (14.0, 8.0)}, r"band_um must ascend within 1 to 30 um; got 14 to 8 um"),
    ],
)
def test_refusals_name_the_quantity(change, message):
    """Each bad argument is named with its value."""
    with pytest.raises(ValueError, match=message):
        surface_temperature(40.0, **(TRIAL | change))


def test_a_missing_set_emissivity_is_refused():
    """The camera's setting has no default: it is a required argument."""
    with pytest.raises(TypeError, match="set_emissivity"):
        surface_temperature(40.0, emissivity=0.9, reflected=20.0)


def test_refusals_of_a_reading():
    """An unknown preparation and a negative half-width are named."""
    with pytest.raises(ValueError, match="method must be one of bare, tape, paint; got 'foil'"):
        surface_reading(40.0, method="foil", **TRIAL)
    with pytest.raises(ValueError, match="reflected_half_width must be zero or more; got -1"):
        surface_reading(40.0, method="bare", reflected_half_width=-1.0, **TRIAL)
