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
from photolab.metrology.quantity import limits, measured
from photolab.thermal.thermography import (
    SECOND_RADIATION_CONSTANT,
    TRIALS,
    emissivity_from_patch,
    published_emissivities,
    radiance,
    rise_in_fahrenheit,
    surface_reading,
    surface_temperature,
    temperature_of,
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
        assert_allclose(
            found, temperature, rtol=1e-10
        )  # the spline's own: 1e-9 K to 1000 K, 3e-8 K to 4000 K


def reading(displayed, emissivity, reflected, *, camera=0.0, width=0.0, room=0.0, **settings):
    """A reading with rectangular limits."""
    return surface_reading(
        measured(displayed, limits("camera", camera, kind="scale"), unit="degC"),
        emissivity=measured(emissivity, limits("emissivity", width, kind="emissivity")),
        reflected=measured(reflected, limits("room", room, kind="reflected temperature"), unit="degC"),
        **settings,
    )


def end_error(ends):
    """Four standard errors of the end of a 95 % interval of a rectangle of these ends, `TRIALS` draws."""
    return 4 * np.sqrt(0.025 * 0.975 / TRIALS) * (ends[1] - ends[0]) / 0.95


def test_bare_metal_is_a_lower_bound():
    """Computed trial: 41.6 degC, set 0.95, metal 0.20 ± 0.05, room 22: 97 (85 to 115) by band, 94 by T^4."""
    found = reading(41.6, 0.20, 22.0, width=0.05, method="bare", set_emissivity=0.95)
    alone = found.temperature.only("emissivity")
    assert_allclose(found.temperature.value, 97.0, atol=0.5)  # printed whole degrees
    assert_allclose(found.total_radiation, 93.95, atol=0.01)
    # closed form: the law falls with emissivity, so the ends are its values at 0.2 ± 0.95 * 0.05
    ends = np.sort(surface_temperature(41.6, **(TRIAL | {"emissivity": np.array([0.2475, 0.1525])})))
    assert_allclose(ends, [85.0, 115.0], atol=0.5)  # as above
    slope = (
        np.diff(surface_temperature(41.6, **(TRIAL | {"emissivity": np.array([0.199, 0.201])})))[0] / 0.002
    )
    assert_allclose(alone.u, abs(slope) * 0.05 / np.sqrt(3), rtol=1e-3)  # of the coarser difference
    low, high = found.temperature.interval(0.95)
    assert not found.usable
    assert found.codes == ("lower_bound_only", "camera_not_considered", "reflected_not_considered")
    assert high - found.temperature.value > 1.2 * (found.temperature.value - low)
    assert found.temperature.how == "by draws"


def test_only_the_emissivity_gives_the_ends_of_its_rectangle():
    """Closed form at 0.6 ± 0.05, where band and T^4 need no spread: the law at the ends of 95 % of the limits."""
    found = reading(60.0, 0.60, 22.0, width=0.05, method="bare", set_emissivity=0.95)
    ends = np.sort(
        surface_temperature(60.0, emissivity=[0.6475, 0.5525], set_emissivity=0.95, reflected=22.0)
    )
    assert_allclose(found.temperature.interval(0.95), ends, atol=end_error(ends))
    assert found.temperature.only("model spread").u == 0.0


def test_band_and_total_radiation_enter_as_model_spread_at_low_emissivity():
    """By hand: below 0.5 either law with even odds, so with nothing else in doubt the interval is from the one to
    the other; from 0.5 on one law, and so for a camera that is known to work by T^4.
    """
    settings = {"method": "bare", "set_emissivity": 0.95}
    found = reading(41.6, 0.20, 22.0, **settings)
    apart = found.temperature.value - found.total_radiation
    assert apart > 2.5  # 97 against 94
    assert_allclose(found.temperature.only("model spread").u, apart / 2, rtol=1e-12)
    assert_allclose(
        found.temperature.interval(0.95), [found.total_radiation, found.temperature.value], rtol=1e-12
    )
    assert abs(np.mean(found.drawn == found.drawn.max()) - 0.5) < 4 * 0.5 / np.sqrt(TRIALS)
    assert reading(41.6, 0.50, 22.0, **settings).temperature.u == 0.0
    assert reading(41.6, 0.499, 22.0, **settings).temperature.u > 0.0
    assert reading(41.6, 0.20, 22.0, band_um=None, **settings).temperature.u == 0.0


def test_a_camera_by_total_radiation_is_covered_at_low_emissivity():
    """Synthetic truth: surfaces of 0.15 to 0.45 seen by a T^4 camera, read as if by the band: 95 % or more hold the
    temperature (400 of them; four standard errors below 95 % are 90.6 %); without the spread fewer do.
    """
    rng = np.random.default_rng(8)
    inside = without = 0
    for _ in range(400):
        true, emissivity, room = rng.uniform(60, 110), rng.uniform(0.15, 0.45), rng.uniform(18, 26)
        stated = emissivity + rng.uniform(-0.02, 0.02)
        seen = emissivity * (true + 273.15) ** 4 + (1 - emissivity) * (room + 273.15) ** 4
        shown = ((seen - 0.05 * (room + 273.15) ** 4) / 0.95) ** 0.25 - 273.15 + rng.uniform(-0.5, 0.5)
        found = reading(
            shown, stated, room, camera=0.5, width=0.02, room=0.5, method="bare", set_emissivity=0.95
        )
        low, high = found.temperature.interval(0.95)
        inside += low <= true <= high
        half = found.temperature.without("model spread").half_width(0.95)
        without += abs(found.temperature.value - true) <= half
    assert inside / 400 > 0.906
    assert without / 400 < 0.906


def test_a_patch_makes_the_reading_usable():
    """Closed form: tape of 0.96 ± 0.02 read at 0.95, 90 degC: within 2 K."""
    settings = {"method": "tape", "set_emissivity": 0.95}
    found = reading(90.0, 0.96, 22.0, camera=2.0, width=0.02, room=3.0, **settings)
    assert found.usable
    assert found.codes == ()
    slope = (
        surface_temperature(90.0, emissivity=0.97, set_emissivity=0.95, reflected=22.0)
        - surface_temperature(90.0, emissivity=0.95, set_emissivity=0.95, reflected=22.0)
    ) / 0.02
    u = np.sqrt(((slope * 0.02) ** 2 + 2.0**2) / 3.0)
    assert_allclose(found.temperature.u, u, rtol=0.03)  # curvature and the small reflected part
    assert_allclose(found.temperature.value, 89.4, atol=0.1)
    # the linear interval, one rectangle kept, is that of the draws here, but for 0.05 K of curvature
    linear = found.temperature.only("scale", "emissivity", "reflected temperature")
    ends = found.temperature.interval(0.95)
    assert_allclose(linear.interval(0.95), ends, atol=0.05 + end_error(ends))


def test_certain_inputs_have_no_interval():
    """Closed form: all half-widths zero."""
    found = reading(60.0, 0.9, 20.0, method="tape", set_emissivity=0.9).temperature
    assert_allclose([*found.interval(0.95), found.u], [60.0, 60.0, 0.0], atol=1e-8)


def test_reflected_hotter_than_displayed():
    """A real solution is flagged; none is refused: at 0.2 the room alone gives more than was seen."""
    found = reading(30.0, 0.96, 40.0, method="tape", set_emissivity=0.95)
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
    with pytest.raises(MethodError, match=r"patch must be 10 K or more above what is reflected; got 2.97 K"):
        emissivity_from_patch(24.0, [60.0, 25.0], patch_emissivity=0.96, set_emissivity=0.95, reflected=22.0)
    with pytest.raises(MethodError, match=r"must be above 0 and at most 1; got 1.1"):
        emissivity_from_patch(
            displayed(1.1), displayed(0.96), patch_emissivity=0.96, set_emissivity=0.95, reflected=22.0
        )


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
    """An unknown preparation is named."""
    with pytest.raises(ValueError, match="method must be one of bare, tape, paint; got 'foil'"):
        reading(40.0, 0.2, 22.0, method="foil", set_emissivity=0.95)
