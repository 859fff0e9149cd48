"""V(lambda), mismatch and luminous efficacy: identities, closed forms, refusals, and the demo meter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from photolab.errors import MethodError
from photolab.photometry.spectrum import (
    MAXIMUM_LUMINOUS_EFFICACY,
    correction_uncertainty,
    illuminant_a,
    led_illuminant,
    luminous_efficacy_of_radiation,
    mismatch_correction,
    mismatch_index,
    photopic_efficiency,
    planckian,
)

NM = np.arange(380.0, 781.0)
V = photopic_efficiency(NM)
NARROWED = photopic_efficiency(555 + (NM - 555) / 0.97) + 0.15 * np.exp(-(((NM - 450) / 18.0) ** 2) / 2)


def test_photopic_efficiency_at_known_wavelengths():
    """Oracle: CIE 018:2019: 1 at 555 nm, 0.503 at 510 and 610 nm; zero outside the table."""
    assert photopic_efficiency(555) == 1.0
    assert isinstance(photopic_efficiency(555), float)
    assert_allclose(photopic_efficiency([510, 610]), [0.503, 0.503], rtol=0, atol=1e-14)  # printed digits
    assert_allclose(
        photopic_efficiency(555.5), (1 + photopic_efficiency(556)) / 2, rtol=1e-14
    )  # linear between
    assert photopic_efficiency([359.0, 831.0]).tolist() == [0.0, 0.0]


def test_planckian_has_the_displacement_law():
    """Oracle: Wien's displacement law, closed form: 2897.772 um K."""
    fine = np.arange(400.0, 1200.0, 0.01)
    for kelvin in (2856.0, 3200.0, 6600.0):
        # the grid's step against the wavelength
        assert_allclose(fine[np.argmax(planckian(fine, kelvin))], 2897.772e3 / kelvin, rtol=2.5e-5)


def test_planckian_has_the_stefan_boltzmann_law():
    """Oracle: closed form: pi times the integral of the radiance is sigma T^4, 5.670374e-8 W/(m2 K4)."""
    nm = np.geomspace(50.0, 1e7, 40_000)
    emitted = np.pi * np.trapezoid(planckian(nm, 3000.0), nm)
    assert_allclose(emitted, 5.670374e-8 * 3000.0**4, rtol=2e-6)  # trapezoid on this grid


def test_planckian_at_illuminant_a_temperature_is_illuminant_a():
    """Oracle: CIE 015: illuminant A is a black body at 2848 K x 1.4388/1.435, 2855.5 K."""
    shape = planckian(NM, 2848.0 * 1.438776877 / 1.435)
    # rounding of the constants
    assert_allclose(shape / planckian(560.0, 2848.0 * 1.438776877 / 1.435) * 100, illuminant_a(NM), rtol=1e-9)


def test_luminous_efficacy_of_two_lines_is_the_mean():
    """Oracle: closed form: equal powers at 555 and 510 nm carry the mean of K_m V."""
    power = np.zeros(NM.size)
    power[[NM.tolist().index(555.0), NM.tolist().index(510.0)]] = 1.0
    wanted = MAXIMUM_LUMINOUS_EFFICACY * (1.0 + 0.503) / 2
    assert_allclose(luminous_efficacy_of_radiation(NM, power), wanted, rtol=1e-13)  # float rounding


def test_luminous_efficacy_depends_on_the_window():
    """Oracle: computed for illuminant A, printed in the module: 156.2 and 122.9 lm/W."""
    nm = np.arange(300.0, 900.0)
    a = illuminant_a(nm)
    assert_allclose(luminous_efficacy_of_radiation(nm, a), 156.2, rtol=0, atol=0.05)  # printed digit
    # printed digit
    assert_allclose(luminous_efficacy_of_radiation(nm, a, window=(360, 830)), 122.9, rtol=0, atol=0.05)
    assert luminous_efficacy_of_radiation(nm, a, window=None) < 122.0


def test_mismatch_index_of_a_meter_blind_above_a_wavelength():
    """Oracle: closed form on two lines: s = V but 0 at one of the two wavelengths of the calibration source.

    Equal energies at 510 and 610 nm (V equal) and s blind at 610: the scaled s* is 2 V up to 560 nm, so the
    index is the integral of V over the window over itself: 1.
    """
    blind = np.where(NM <= 560.0, V, 0.0)
    lines = np.zeros(NM.size)
    lines[[130, 230]] = 1.0
    assert_allclose(mismatch_index(NM, blind, calibration_source=lines), 1.0, rtol=1e-13)  # float rounding


def test_factor_of_two_lines_in_closed_form():
    """Oracle: closed form: s = 1 everywhere, lamp at 510 nm, calibration at 555 nm: F = V(510)/V(555)."""
    at_510, at_555 = np.zeros(NM.size), np.zeros(NM.size)
    at_510[130] = at_555[175] = 1.0
    factor = mismatch_correction(NM, np.ones(NM.size), at_510, calibration_source=at_555)
    assert_allclose(factor, 0.503, rtol=1e-13)  # float rounding


def test_factor_is_one_for_the_calibration_source_and_for_a_true_meter():
    """Oracle: identities of the definition."""
    led = led_illuminant(NM, "LED-B5")
    assert_allclose(mismatch_correction(NM, NARROWED, illuminant_a(NM)), 1.0, rtol=1e-14)  # float rounding
    assert_allclose(
        mismatch_correction(NM, NARROWED, led, calibration_source=led), 1.0, rtol=1e-14
    )  # likewise
    assert_allclose(mismatch_correction(NM, 7.5 * V, led), 1.0, rtol=1e-14)  # likewise; scale falls out


def test_demo_meter():
    """Oracle: the generating values of the demo: f1' 8.0 %, filament x 1.0068, LED x 1.0686; ratio 1.0614."""
    led, filament = led_illuminant(NM, "LED-B5"), planckian(NM, 3200.0)
    assert_allclose(100 * mismatch_index(NM, NARROWED), 8.0, rtol=0, atol=0.05)  # printed digit
    reads = [1 / mismatch_correction(NM, NARROWED, s) for s in (filament, led)]
    assert_allclose(reads, [1.0068, 1.0686], rtol=0, atol=5e-5)  # printed digit
    assert_allclose(reads[1] / reads[0], 1.0614, rtol=0, atol=5e-5)  # printed digit


def test_correction_uncertainty_has_its_floor_and_follows_the_wavelength():
    """Oracle: the derivative by hand: twice the shift, twice the change; under it the declared 0.6 %."""
    led, filament = led_illuminant(NM, "LED-B5"), planckian(NM, 3200.0)
    assert correction_uncertainty(NM, NARROWED, led, reference_source=filament) == 0.006
    one, two = (
        correction_uncertainty(
            NM, NARROWED, led, reference_source=filament, wavelength_uncertainty=shift, floor=0.0
        )
        for shift in (1.0, 2.0)
    )
    assert_allclose(two / one, 2.0, rtol=0.02)  # curvature over 2 nm
    shifted = mismatch_correction(NM, photopic_efficiency(NM - 1.0), led)
    alone = correction_uncertainty(NM, V, led, floor=0.0)
    assert_allclose(alone, np.log(shifted), rtol=0.03)  # one side against both


def test_source_on_its_own_wavelengths():
    """Oracle: the same curves brought to one grid by hand."""
    coarse = np.arange(380.0, 785.0, 5.0)
    led = led_illuminant(coarse, "LED-B3")
    by_hand = mismatch_correction(NM, NARROWED, np.interp(NM, coarse, led))
    own = mismatch_correction(NM, NARROWED, led, source_wavelength=coarse)
    assert_allclose(own, by_hand, rtol=1e-13)  # float rounding


@settings(max_examples=30, deadline=None)
@given(st.floats(0.01, 100.0), st.floats(0.01, 100.0), st.floats(430.0, 700.0))
def test_scales_of_curves_fall_out(response_scale, source_scale, peak):
    """Oracle: symmetry of the definitions: any scale of a curve cancels."""
    source = np.exp(-(((NM - peak) / 40.0) ** 2) / 2)
    plain = mismatch_correction(NM, NARROWED, source)
    scaled = mismatch_correction(NM, response_scale * NARROWED, source_scale * source)
    assert_allclose(scaled, plain, rtol=1e-12)  # float rounding
    assert_allclose(
        mismatch_index(NM, response_scale * NARROWED), mismatch_index(NM, NARROWED), rtol=1e-11
    )  # likewise


def test_lamps_of_one_technology_differ_by_a_share_of_the_index():
    """Oracle: synthetic truth: LED-B5 against B4, B3, B2 on the demo meter (computed); a fifth is the share used."""
    index = mismatch_index(NM, NARROWED)
    to_b5 = mismatch_correction(NM, NARROWED, led_illuminant(NM, "LED-B5"))
    shares = [
        (mismatch_correction(NM, NARROWED, led_illuminant(NM, name)) / to_b5 - 1) / index
        for name in ("LED-B4", "LED-B3", "LED-B2")
    ]
    assert_allclose(shares, [0.20, 0.44, 0.70], rtol=0, atol=0.005)  # printed digit


REFUSED = [
    ((NM[::-1], V), r"wavelength\[1\] must be more than the one before; got 779 after 780 nm"),
    (
        (np.insert(NM, 1, 380.0), np.insert(V, 1, 0.0)),
        r"wavelength\[1\] must be more than the one before; got 380 after 380 nm",
    ),
    ((NM / 1000.0, V), "wavelength must be in nanometres; got 0.38 to 0.78, which looks like micrometres"),
    ((NM * 1e-9, V), "looks like metres"),
    ((NM * 10.0, V), "looks like angstroms"),
    ((NM, -V), r"responsivity\[0\] must be zero or more and finite; got -3.9e-05 \(relative\) \(401 of 401"),
    ((NM, 0 * V), "responsivity must not be zero everywhere in 380-780 nm"),
    ((NM, V[:-1]), r"responsivity must have the shape of wavelength, \(401,\); got \(400,\)"),
    ((NM[::20], V[::20]), "wavelength must have steps of at most 10 nm; got 20 nm"),
    ((np.append(NM, np.nan), np.append(V, 0.0)), "must have no missing values; got NaN"),
    ((555.0, 1.0), "wavelength must be a list of at least 2 values"),
    ((NM, ["dark"] * NM.size), "responsivity must be numbers"),
]


@pytest.mark.parametrize(("curve", "message"), REFUSED)
def test_refused_curves(curve, message):
    """Oracle: the rule that an argument out of range is named with its element, value and unit."""
    with pytest.raises(ValueError, match=message):
        mismatch_index(*curve)


def test_window_not_covered_carries_what_is():
    """Oracle: the rule that a method whose condition fails carries what is known."""
    with pytest.raises(
        MethodError, match="responsivity must cover the window 380-780 nm; it covers 400-780"
    ) as refusal:
        mismatch_index(NM[20:], V[20:])
    assert refusal.value.code == "window_not_covered"
    assert refusal.value.known["covered_nm"] == (400.0, 780.0)
    assert mismatch_index(NM[20:], V[20:], window=(400, 780)) < 1e-12
    with pytest.raises(MethodError, match="source must cover the window"):
        mismatch_correction(NM, V, V[:200], source_wavelength=NM[:200])


def test_refused_lights_and_names():
    """Oracle: as above."""
    far_red = np.where(NM > 700, 1.0, 0.0)
    with pytest.raises(MethodError, match="must overlap; the meter would read 0"):
        mismatch_correction(NM, np.where(NM < 600, V, 0.0), far_red)
    with pytest.raises(
        ValueError, match="window must run from a lower to a higher wavelength; got 780 to 380 nm"
    ):
        luminous_efficacy_of_radiation(NM, V, window=(780, 380))
    with pytest.raises(ValueError, match="name must be one of LED-B1"):
        led_illuminant(NM, "B5")
    with pytest.raises(ValueError, match=r"temperature must be more than zero and finite; got -5 K"):
        planckian(NM, -5.0)
    with pytest.raises(ValueError, match="wavelength_uncertainty must be zero or more; got -1 nm"):
        correction_uncertainty(NM, V, V, wavelength_uncertainty=-1.0)


def test_a_line_between_whole_nanometres_counts_in_full():
    """Oracle: closed form: of a symmetric line inside a step of V(lambda) the efficacy is K_m V at its middle."""
    nodes = np.sort([*np.arange(380.0, 781.0), 555.2, 555.5, 555.8])
    found = luminous_efficacy_of_radiation(nodes, np.where(nodes == 555.5, 1.0, 0.0))
    assert_allclose(found, 683.002 * photopic_efficiency(555.5), rtol=1e-12)


def test_an_led_illuminant_is_not_known_beyond_its_table():
    """Oracle: the published table from 380 to 780 nm, its first value 0."""
    assert_allclose(led_illuminant([300.0, 380.0, 800.0], "LED-B1"), [np.nan, 0.0, np.nan], atol=0.0)
