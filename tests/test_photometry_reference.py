"""Published and computed photometric values, row by row; each row names its source."""

import re
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from photolab.bench.terms.schema import FOOTCANDLE_LX
from photolab.photometry.beam import intensity_from_wall
from photolab.photometry.cutoff import cutoff_sharpness
from photolab.photometry.distance import (
    crossover_distance,
    disc_source_ratio,
    fit_inverse_square,
    line_source_ratio,
    luminous_intensity,
)
from photolab.photometry.lamp import (
    FLUX_EXPONENT,
    FLUX_EXPONENT_UNCERTAINTY,
    claim_against_power,
    value_at_voltage,
)
from photolab.photometry.spectrum import (
    MAXIMUM_LUMINOUS_EFFICACY,
    illuminant_a,
    led_illuminant,
    luminous_efficacy_of_radiation,
    mismatch_correction,
    mismatch_index,
    photopic_efficiency,
    planckian,
)

REFERENCE = Path(__file__).parent / "reference" / "photometry"
NM = np.arange(380.0, 781.0)


def read(name):
    return pd.read_csv(REFERENCE / name)


def each_row(name, label):
    return pytest.mark.parametrize("row", read(name).to_dict("records"), ids=lambda row: row[label])


@pytest.fixture(scope="module")
def colour():
    """colour-science: a second implementation, and spectra the project does not ship."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of optional packages while it is imported
        import colour as library
    return library


def black_body_maximum():
    nm = np.unique(
        np.concatenate([np.geomspace(10, 360, 400), np.arange(360, 831.0), np.geomspace(831, 1e6, 3000)])
    )
    kelvin = np.arange(6500.0, 6790.0, 10.0)
    efficacies = [luminous_efficacy_of_radiation(nm, planckian(nm, t), window=None) for t in kelvin]
    best = int(np.argmax(efficacies))
    return efficacies[best], kelvin[best]


def offset_fit():
    d = np.array([1.0, 2.0, 3.0, 5.0, 8.0])
    fit = fit_inverse_square(
        d, 10000.0 / (d + 0.06) ** 2, illuminance_uncertainty=0.1, distance_uncertainty=0.001
    )
    return [fit.intensity**-0.5, fit.intensity, fit.offset]


def wall_angles(x_mm, metres):
    """Angles at which points on a wall are seen. [deg]"""
    return intensity_from_wall(
        x_mm, [0.0, 1.0], np.ones((2, len(x_mm))), distance=metres, sensor="faces_lamp"
    ).horizontal


def flat_wall_illuminance(metres, degrees):
    """Lux that one candela gives a head flat on the wall. [lx/cd]"""
    x = [0.0, 1e3 * metres * np.tan(np.radians(degrees))]
    grid = intensity_from_wall(x, [0.0, 1.0], np.ones((2, 2)), distance=metres, sensor="flat_wall")
    return 1.0 / grid.intensity[0, 1]


def tanh_cutoff():
    v = np.arange(-40, 41) * 0.05
    return cutoff_sharpness(v, 10.0 ** (-0.75 * np.tanh(v / 0.30))).sharpness


def per_current(quantity):
    return read("filament_exponents.csv").set_index("quantity")["exponent"][quantity]


def at_current(value, quantity):
    return value_at_voltage(value, 1.0, 1.05, exponent=per_current(quantity))  # the same law, per current


CHECKS = {  # id: (computed values, expected values as printed in the row, tolerance)
    "P01": lambda: ([MAXIMUM_LUMINOUS_EFFICACY, 683.0 / photopic_efficiency(555.016)], [683.0016] * 2, 5e-4),
    "P03": lambda: (illuminant_a([380, 500, 560, 780]), [9.7951, 59.8611, 100, 241.6754], 5e-4),
    "P04": lambda: ([luminous_efficacy_of_radiation(NM, illuminant_a(NM))], [156.196], 0.01),
    "P07": lambda: (black_body_maximum(), [95.43, 6640.0], [0.02, 30.0]),
    "P09": lambda: (
        [luminous_efficacy_of_radiation(NM, led_illuminant(NM, f"LED-B{k}")) for k in range(1, 6)],
        [311.8, 313.9, 316.9, 319.2, 305.2],
        0.2,
    ),
    "P11": lambda: (
        [mismatch_correction(NM, photopic_efficiency(NM), led_illuminant(NM, "LED-B5"))],
        [1.0],
        1e-12,
    ),
    "P13": lambda: ([100 * mismatch_index(NM, photopic_efficiency(NM - 2.0))], [3.807], 0.02),
    "P14": lambda: (
        [
            mismatch_correction(NM, photopic_efficiency(NM - 5.0), led_illuminant(NM, name))
            for name in ("LED-B5", "LED-B2")
        ],
        [1.0389, 1.0028],
        3e-4,
    ),
    "P16": lambda: ([100 * (disc_source_ratio(5.0, 1.0) - 1)], [-0.9901], 5e-5),
    "P17": lambda: (100 * (disc_source_ratio([10.0, 15.0], 1.0) - 1), [-0.24938, -0.11099], 1e-5),
    "P20": lambda: ([100 * (line_source_ratio(5.0, 1.0) - 1)], [-0.66072], 1e-4),
    "P21": lambda: ([luminous_intensity(1.0, 25.0)], [625.0], 0.0),
    "P23": lambda: ([FOOTCANDLE_LX], [10.763910], 1e-6),
    "P24": lambda: (wall_angles([10.0, 15.0, 25.0], 1.0), [0.572939, 0.859372, 1.432096], 1e-6),
    "P25": lambda: (
        wall_angles([250.0, 750.0, 1500.0], 25.0),
        [0.5729, 1.7184, 3.4336],
        1e-4,
    ),
    "P26": lambda: ([10000.0 * flat_wall_illuminance(10.0, 20.0)], [82.977], 1e-3),
    "P28": lambda: (offset_fit(), [0.0100000, 10000.0, 0.0600], [1e-6, 1e-2, 1e-6]),
    "P30": lambda: ([crossover_distance(0.035, 0.040, 0.0025)], [0.560], 1e-6),
    "P32": lambda: ([tanh_cutoff()], [0.24771], 1e-5),
    "P38": lambda: (
        [
            at_current(x, q)
            for x, q in ((1040, "luminous flux"), (1000, "life"), (65, "power"), (2900, "colour temperature"))
        ],
        [1428.0, 295.0, 74.9, 3015.0],
        [0.5, 0.5, 0.05, 0.5],
    ),
}


def test_every_photometric_row_is_checked():
    """Oracle: the table itself."""
    assert set(read("checks.csv")["id"]) == set(CHECKS)
    assert read("checks.csv")["source"].str.len().min() > 10


@pytest.mark.parametrize("row", CHECKS)
def test_check(row):
    """Oracle: checks.csv, source in the row; tolerance of the row, or half a unit in its last digit."""
    computed, expected, tolerance = CHECKS[row]()
    text = read("checks.csv").set_index("id").loc[row, "expected"]
    printed = [float(x) for x in re.findall(r"-?\d+\.?\d*", text)]
    for value in expected:  # what is typed here stands in the row
        assert any(abs(value - p) <= 1e-9 * max(abs(p), 1) for p in printed)
    for got, wanted, allowed in zip(
        computed, expected, np.broadcast_to(tolerance, len(expected)), strict=True
    ):
        assert_allclose(got, wanted, rtol=0, atol=allowed)  # tolerance of the row


def test_flux_exponent_is_the_published_one_per_voltage():
    """Oracle: chain rule on the published exponents per current; filament_exponents.csv."""
    # half a unit in the last printed digit
    assert_allclose(FLUX_EXPONENT, per_current("luminous flux") / per_current("voltage"), rtol=0, atol=5e-4)


@each_row("filament_lamps_at_two_voltages.csv", "lamp")
def test_published_lamps_imply_an_exponent_near_the_one_used(row):
    """Oracle: the row's two fluxes and voltages, source in the row; 3.2 standard uncertainties hold them all."""
    exponent = row["implied_exponent"]
    there = value_at_voltage(row["flux_lm"], row["voltage_V"], row["other_voltage_V"], exponent=exponent)
    steps = abs(np.log(row["other_voltage_V"] / row["voltage_V"]))
    # half a unit in the last digit of the exponent
    assert_allclose(there, row["other_flux_lm"], rtol=5.1e-4 * steps)
    assert abs(exponent - FLUX_EXPONENT) < 3.2 * FLUX_EXPONENT_UNCERTAINTY


@each_row("part564_light_sources.csv", "lamp")
def test_no_listed_lamp_is_doubted_by_its_own_figures(row):
    """Oracle: the row's flux and watts: a filament carries 13.9 to 29 lm/W, a discharge 60 to 100."""
    claim = claim_against_power(row["flux_lm"], row["max_W"])
    assert claim.code == "plausible"
    low, high = (60.0, 100.0) if row["lamp"].startswith("D") else (13.9, 29.0)
    assert low < claim.implied_efficacy < high


def test_published_cutoff_limits_are_read_at_the_published_step():
    """Oracle: closed form: log10 E = -a tanh(v/w) has the largest G, 2 a tanh(0.05/w); cutoff_rules.csv."""
    rules = read("cutoff_rules.csv").set_index("rule")["value"]
    vertical = np.arange(-40, 41) * rules["scan step not exceeding"]
    for name, ratio in (("sharpness G min at 2.5 deg from V-V", 1.3490), ("sharpness G max", 2.5119)):
        height = rules[name] / 2.0 / np.tanh(0.05 / 0.30)
        found = cutoff_sharpness(vertical, 10.0 ** (-height * np.tanh(vertical / 0.30)))
        assert_allclose(found.sharpness, rules[name], rtol=0, atol=1e-5)  # cubics between readings, as in P32
        assert_allclose(found.ratio, ratio, rtol=0, atol=2e-4)  # half a unit in the last digit and the above


def test_screen_angles_are_the_printed_ones():
    """Oracle: UN Regulation No. 112 paragraph 6.2, un_r112_class_b_passing_beam.csv, two decimals."""
    printed = set(
        re.findall(r"[0-9.]+(?=[UDLR])", " ".join(read("un_r112_class_b_passing_beam.csv")["h_v_position"]))
    )
    for metres in (0.25, 0.75, 1.5):  # marks of the 25 m screen
        assert f"{wall_angles([0.0, 1e3 * metres], 25.0)[1]:.2f}" in printed


@each_row("luminous_efficacy_of_radiation.csv", "illuminant")
def test_luminous_efficacy_of_illuminants(row, colour):
    """Oracle: the row, computed from published CIE spectra; the spectra from colour-science."""
    spectrum = colour.SDS_ILLUMINANTS[row["illuminant"]]
    efficacy = luminous_efficacy_of_radiation(spectrum.wavelengths, spectrum.values)
    assert_allclose(efficacy, row["LER_1nm_380_780"], rtol=0, atol=1e-3)  # one unit in the last printed digit
    assert_allclose(
        efficacy, row["LER_native_step_380_780"], rtol=4e-4
    )  # 5 nm instead of 1 nm moves it so much


@pytest.mark.parametrize("name", ["A", "D65", "LED-B1", "LED-B5", "LED-RGB1"])
def test_luminous_efficacy_second_implementation(name, colour):
    """Oracle: colour-science luminous_efficacy on the same 1 nm spectrum."""
    spectrum = colour.SDS_ILLUMINANTS[name]
    fine = np.interp(NM, spectrum.wavelengths, spectrum.values)
    theirs = colour.luminous_efficacy(colour.SpectralDistribution(dict(zip(NM, fine, strict=True))))
    ours = luminous_efficacy_of_radiation(spectrum.wavelengths, spectrum.values)
    assert_allclose(ours, theirs, rtol=2e-5)  # 683.002 against 683, and their sum against our trapezoid


def test_tables_second_implementation(colour):
    """Oracle: colour-science: V(lambda), LED illuminants and the formula of illuminant A."""
    theirs = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    assert theirs.wavelengths.size == 471
    assert_allclose(
        photopic_efficiency(theirs.wavelengths), theirs.values, rtol=1e-13, atol=1e-14
    )  # the same digits, interpolated at a node
    for name in ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"):
        spectrum = colour.SDS_ILLUMINANTS[name]
        assert_allclose(
            led_illuminant(spectrum.wavelengths, name), spectrum.values, rtol=0, atol=1e-15
        )  # the same
    tabulated = colour.SDS_ILLUMINANTS["A"]
    # six printed digits of the published table
    assert_allclose(illuminant_a(tabulated.wavelengths), tabulated.values, rtol=5e-6, atol=5e-6)


@pytest.mark.parametrize(("name", "x", "y"), [("D65", 0.31271, 0.32901), ("LED-B5", 0.31181, 0.32364)])
def test_two_line_limits(name, x, y, colour):
    """Oracle: linear programme over all spectra of one chromaticity, CIE 1931 observer of colour-science."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].values
    total = observer.sum(axis=1)
    constraints = [observer[:, 0] - x * total, observer[:, 1] - y * total, np.ones(total.size)]
    best = linprog(-MAXIMUM_LUMINOUS_EFFICACY * observer[:, 1], A_eq=constraints, b_eq=[0.0, 0.0, 1.0])
    table = read("limits_of_efficacy.csv").set_index("limit")["value_lm_per_W"]
    # half a unit in the last printed digit
    assert_allclose(-best.fun, table[f"two spectral lines of the chromaticity of {name}"], rtol=0, atol=0.05)


def test_planckian_second_implementation(colour):
    """Oracle: colour-science planck_law at three temperatures [W/(m2 sr m)]."""
    for kelvin in (1500.0, 3200.0, 6600.0):
        theirs = colour.colorimetry.planck_law(NM * 1e-9, kelvin, c1=3.741771852e-16, c2=1.438776877e-2)
        assert_allclose(planckian(NM, kelvin), np.ravel(theirs) * 1e-9, rtol=1e-9)  # float rounding


@each_row("spectral_mismatch_synthetic.csv", "detector")
def test_mismatch_of_synthetic_detectors(row, colour):
    """Oracle: spectral_mismatch_synthetic.csv (computed, CIE e-ILV 17-25-115 and f1', 380-780 nm, 1 nm)."""
    if "shifted" in row["detector"]:
        response = photopic_efficiency(NM - float(row["detector"].split()[2]))
    else:
        response = photopic_efficiency(NM) + 0.03 * np.exp(-(((NM - 660.0) / 25.0) ** 2) / 2.0)
    assert_allclose(
        100 * mismatch_index(NM, response), row["f1prime_pct"], rtol=0, atol=2e-5
    )  # last digit and V's tail
    for column in (c for c in row if c.startswith("F_")):
        if column == "F_P3200":
            source = planckian(NM, 3200.0)
        else:
            published = colour.SDS_ILLUMINANTS[column[2:]]
            source = np.interp(NM, published.wavelengths, published.values)
        # half a unit in the last printed digit
        assert_allclose(
            mismatch_correction(NM, response, source), row[column], rtol=0, atol=5.1e-6, err_msg=column
        )
