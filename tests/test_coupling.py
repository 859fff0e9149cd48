"""Light against temperature, time constants, ambient: oracles closed forms, a published line fit, synthetic
truth."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from photolab.errors import MethodError
from photolab.thermal.coupling import (
    light_at_ambient,
    light_per_kelvin,
    shared_time_constants,
    thermal_resistance,
    to_ambient,
)

# Pearson's data with York's weights (J. Pearson 1901; D. York, Can. J. Phys. 44 (1966) 1079)
PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
WEIGHT_X = [1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0]
WEIGHT_Y = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0]


def warm_up(rng, *, rho=0.0, light_sd=0.002, temperature_sd=0.5, per_kelvin=-0.0025, readings=60):
    """A lamp whose light follows its case, AR(1) noise in the light, white noise in the temperature."""
    time_s = np.arange(readings) * 30.0
    case = 20.0 + 50.0 * (1.0 - np.exp(-time_s / 400.0))
    noise = np.empty(readings)
    noise[0] = rng.standard_normal()
    for k in range(1, readings):
        noise[k] = rho * noise[k - 1] + np.sqrt(1.0 - rho**2) * rng.standard_normal()
    light = 300.0 * np.exp(per_kelvin * (case - 20.0) + light_sd * noise)
    return time_s, light, case + temperature_sd * rng.standard_normal(readings)


def test_line_with_errors_in_both():
    """Published (York 1966, digits from memory): Pearson's data with York's weights, slope -0.4805334."""
    light = np.exp(PEARSON_Y)
    found = light_per_kelvin(
        light,
        PEARSON_X,
        light_uncertainty=light / np.sqrt(WEIGHT_Y),
        temperature_uncertainty=1.0 / np.sqrt(WEIGHT_X),
    )
    assert_allclose(found.percent_per_kelvin, -48.05334, rtol=2e-7)  # half a unit in the last printed digit


def test_slope_of_an_exact_record():
    """Closed form: light exp(-0.0025 (T - 20)) without noise: -0.25 %/K; the stated uncertainties decide
    the interval."""
    temperature = np.linspace(20.0, 70.0, 11)
    light = 300.0 * np.exp(-0.0025 * (temperature - 20.0))
    found = light_per_kelvin(light, temperature, light_uncertainty=0.01 * light, temperature_uncertainty=0.0)
    assert_allclose(found.percent_per_kelvin, -0.25, rtol=1e-9)  # float rounding
    u = 100.0 * 0.01 / np.sqrt(np.sum((temperature - 45.0) ** 2))
    assert_allclose(found.standard_uncertainty, u, rtol=1e-9)
    assert_allclose([found.low, found.high], -0.25 + u * 1.959963985 * np.array([-1.0, 1.0]), rtol=1e-8)
    assert found.dof == np.inf
    assert_allclose(found.span, 50.0, rtol=1e-12)


def test_errors_in_the_temperature_do_not_flatten_the_slope():
    """Synthetic truth: -0.25 %/K with 4 K noise on the temperature; plain least squares gives 6 % less on
    average."""
    rng = np.random.default_rng(2)
    found, plain = [], []
    for _ in range(150):
        _, light, temperature = warm_up(rng, temperature_sd=4.0)
        slope = light_per_kelvin(light, temperature, light_uncertainty=0.6, temperature_uncertainty=4.0)
        found.append(slope.percent_per_kelvin)
        plain.append(100.0 * np.polyfit(temperature, np.log(light), 1)[0])
    error = np.std(found) / np.sqrt(150)
    assert abs(np.mean(found) + 0.25) < 4.0 * error
    assert np.mean(plain) + 0.25 > 4.0 * error


@pytest.mark.parametrize(("rho", "light_sd", "temperature_sd"), [(0.0, 0.002, 0.5), (0.5, 0.004, 0.5)])
def test_coverage_of_the_slope(rho, light_sd, temperature_sd):
    """Synthetic truth: 95 % intervals hold -0.25 %/K in 95 % of 300 records, residuals white or
    correlated."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(300):
        time_s, light, temperature = warm_up(rng, rho=rho, light_sd=light_sd, temperature_sd=temperature_sd)
        slope = light_per_kelvin(
            light, temperature, light_uncertainty=0.6, temperature_uncertainty=temperature_sd, time_s=time_s
        )
        held += slope.low <= -0.25 <= slope.high
    # standard error of 300 records 1.3 points; three of them, and no more than 99.5
    assert 0.91 <= held / 300 <= 0.995


def test_residuals_that_drift_as_a_whole_are_refused():
    """Synthetic truth: an unmodelled slow swing of the light is worth a few readings only."""
    time_s, light, temperature = warm_up(np.random.default_rng(4))
    light = light * (1.0 + 0.02 * np.sin(time_s / 200.0))
    with pytest.raises(MethodError, match="readings must be worth 6 independent ones; got") as caught:
        light_per_kelvin(
            light, temperature, light_uncertainty=0.6, temperature_uncertainty=0.5, time_s=time_s
        )
    assert caught.value.code == "correlated_residuals"
    assert "percent_per_kelvin" in caught.value.known


def test_shared_time_constant():
    """Synthetic truth: light and case settle with 400 s; then light with 120 s; then too noisy to tell."""
    rng = np.random.default_rng(5)
    time_s, light, temperature = warm_up(rng, readings=80)
    shared = shared_time_constants(time_s, light, temperature)
    assert shared.code == "shared"
    # the logarithm of the light bends a little more than the temperature: 400 s within 4 %
    assert_allclose([shared.light_s, shared.temperature_s], 400.0, rtol=0.06)
    assert shared.low < 1.02 < shared.high * 1.05
    fast = 300.0 * (0.88 + 0.12 * np.exp(-time_s / 120.0)) * (1.0 + 0.002 * rng.standard_normal(80))
    different = shared_time_constants(time_s, fast, temperature)
    assert different.code == "different"
    assert different.low < 0.3 < different.high
    noisy = light * (1.0 + 0.02 * rng.standard_normal(80))
    assert shared_time_constants(time_s, noisy, temperature).code == "not_resolved"


def test_a_straight_record_has_no_time_constant():
    """A record that does not bend: refused, no number."""
    time_s = np.arange(30) * 10.0
    rng = np.random.default_rng(6)
    straight = 300.0 - 0.05 * time_s + 0.3 * rng.standard_normal(30)
    with pytest.raises(MethodError, match="light must bend within its record") as caught:
        shared_time_constants(time_s, straight, 20.0 + 40.0 * (1.0 - np.exp(-time_s / 80.0)))
    assert caught.value.code == "no_time_constant"


def test_to_ambient():
    """Closed form: -0.25 %/K read at 30 degC: exp(0.025) more at 20 degC; back again exactly."""
    found = to_ambient(100.0, 30.0, 20.0, coefficient=-0.0025)
    assert_allclose(found, 100.0 * np.exp(0.025), rtol=1e-14)
    assert_allclose(to_ambient(found, 20.0, 30.0, coefficient=-0.0025), 100.0, rtol=1e-14)  # float rounding
    with pytest.raises(
        ValueError, match=r"coefficient must be within ±0.05 1/K \(a percentage\?\); got -0.25 1/K"
    ):
        to_ambient(100.0, 30.0, 20.0, coefficient=-0.25)
    with pytest.raises(ValueError, match="ambient must be finite; got nan degC"):
        to_ambient(100.0, np.nan, 20.0, coefficient=-0.0025)


def test_thermal_resistance():
    """Closed form: 60 K over 26.1 W of which 30 % leave as light: 60 / 18.27 K/W."""
    assert_allclose(thermal_resistance(60.0, 26.1, radiant_fraction=0.3), 3.284072249589, rtol=1e-12)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1.0, 20.0, 0.3), r"rise must be zero or more; got -1"),
        ((60.0, 0.0, 0.3), r"power must be more than zero and finite; got 0"),
        ((60.0, [20.0, -2.0], 0.3), r"power\[1\] must be more than zero and finite; got -2"),
        ((60.0, 20.0, 1.0), r"radiant_fraction must be from 0 to below 1; got 1"),
    ],
)
def test_thermal_resistance_refuses(arguments, message):
    """Each bad argument is named with its value."""
    with pytest.raises(ValueError, match=message):
        thermal_resistance(arguments[0], arguments[1], radiant_fraction=arguments[2])


def test_light_expected_elsewhere_is_an_extrapolation():
    """Closed form: 0.86 at 20 degC, -0.25 ± 0.02 %/K, at 60 degC: 0.86 exp(-0.1), u = 0.008 (40 K) with
    0.005."""
    temperature = np.linspace(20.0, 70.0, 11)
    light = 300.0 * np.exp(-0.0025 * (temperature - 20.0))
    scale = 0.0002 * np.sqrt(np.sum((temperature - 45.0) ** 2))
    slope = light_per_kelvin(light, temperature, light_uncertainty=scale * light, temperature_uncertainty=0.0)
    found = light_at_ambient(
        0.86, ln_standard_uncertainty=0.005, slope=slope, ambient=20.0, other_ambient=60.0
    )
    assert_allclose(found.value, 0.86 * np.exp(-0.1), rtol=1e-9)
    assert_allclose(found.ln_standard_uncertainty, np.hypot(0.008, 0.005), rtol=1e-9)
    assert_allclose(np.log(found.high / found.value), 1.959963985 * np.hypot(0.008, 0.005), rtol=1e-8)
    assert found.extrapolated
    assert found.beyond_record
    near = light_at_ambient(
        0.86, ln_standard_uncertainty=0.005, slope=slope, ambient=20.0, other_ambient=40.0
    )
    assert near.extrapolated
    assert not near.beyond_record
    with pytest.raises(ValueError, match="remaining must be more than zero and finite; got 0"):
        light_at_ambient(0.0, ln_standard_uncertainty=0.005, slope=slope, ambient=20.0, other_ambient=40.0)


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        (
            {"light": [300.0, 0.0, 1.0, 1.0, 1.0]},
            ValueError,
            r"light\[1\] must be more than zero and finite; got 0",
        ),
        (
            {"temperature": [20.0, 30.0, np.nan, 1.0, 1.0]},
            ValueError,
            r"temperature\[2\] must be finite; got nan",
        ),
        ({"temperature": [20.0, 30.0]}, ValueError, r"lists of one length; got shapes \(5,\) and \(2,\)"),
        (
            {"light_uncertainty": 0.0},
            ValueError,
            r"light_uncertainty\[0\] must be more than zero and finite; got 0",
        ),
        (
            {"temperature_uncertainty": -1.0},
            ValueError,
            r"temperature_uncertainty\[0\] must be zero or more; got -1",
        ),
        ({"time_s": [0, 1, 1, 2, 3]}, ValueError, r"time_s must be 5 ascending instants"),
        ({"temperature_uncertainty": 20.0}, MethodError, r"temperature must span more than 4 .* got 40 K"),
        (
            {"light": [1.0] * 4, "temperature": [1.0] * 4},
            MethodError,
            r"a slope needs 5 readings or more; got 4",
        ),
    ],
)
def test_slope_refuses(change, error, message):
    """Each bad argument is named with its value; too little is a refusal of the method."""
    arguments = {
        "light": [300.0, 297.0, 295.0, 292.0, 290.0],
        "temperature": [20.0, 30.0, 40.0, 50.0, 60.0],
        "light_uncertainty": 1.0,
        "temperature_uncertainty": 0.5,
    } | change
    with pytest.raises(error, match=message):
        light_per_kelvin(arguments.pop("light"), arguments.pop("temperature"), **arguments)
