"""Published and computed photometric values, row by row; sources and standing are in the rows."""

import re
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from photolab.photometry.beam import (
    CutoffSharpness,
    angle_of_slope,
    cutoff_rules,
    cutoff_sharpness,
    reference_points,
)
from photolab.photometry.distance import (
    LUX_PER_FOOTCANDLE,
    collimated_beam_illuminance,
    crossover_distance,
    disc_source_ratio,
    fit_inverse_square,
    flat_screen_illuminance,
    line_source_ratio,
    luminous_intensity,
    screen_angle,
)
from photolab.photometry.efficacy import limits_of_efficacy
from photolab.photometry.filament import (
    exponent_per_voltage,
    implied_exponent,
    listed_lamps,
    published_exponents,
    supply_current,
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


def tanh_cutoff():
    v = np.arange(-40, 41) * 0.05
    return cutoff_sharpness(v, 10.0 ** (-0.75 * np.tanh(v / 0.30))).sharpness


def at_current(value, quantity):
    table = published_exponents()
    row = table[(table["with_respect_to"] == "current") & (table["quantity"] == quantity)]
    return value_at_voltage(value, 1.0, 1.05, exponent=float(row["exponent"].iloc[0]))


def class_b(point):
    return reference_points(lamp_class="B").set_index("point").loc[point]


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
    "P23": lambda: ([LUX_PER_FOOTCANDLE], [10.763910], 1e-6),
    "P24": lambda: (angle_of_slope([1.0, 1.5, 2.5]), [0.572939, 0.859372, 1.432096], 1e-6),
    "P25": lambda: (
        np.degrees(screen_angle([0.25, 0.75, 1.5, 2.25], 25.0)),
        [0.5729, 1.7184, 3.4336, 5.1428],
        1e-4,
    ),
    "P26": lambda: ([flat_screen_illuminance(10000.0, 10.0, np.radians(20.0))], [82.977], 1e-3),
    "P28": lambda: (offset_fit(), [0.0100000, 10000.0, 0.0600], [1e-6, 1e-2, 1e-6]),
    "P30": lambda: ([crossover_distance(0.035, 0.040, 0.0025)], [0.560], 1e-6),
    "P32": lambda: ([tanh_cutoff()], [0.24771], 1e-5),
    "P34": lambda: ([CutoffSharpness(g, 0.0).ratio for g in (0.13, 0.40)], [1.3490, 2.5119], 1e-4),
    "P35": lambda: (
        [
            class_b("75R")["min_cd"] / luminous_intensity(12.0, 25.0),
            implied_exponent(7500.0, 12.0, 10100.0, 13.2),
        ],
        [1.3467, 3.123],
        1e-3,
    ),
    "P36": lambda: ([luminous_intensity(0.60, 25.0), class_b("B50L")["max_cd"]], [375.0, 350.0], 1e-9),
    "P38": lambda: (
        [
            at_current(x, q)
            for x, q in ((1040, "luminous_flux"), (1000, "life"), (65, "power"), (2900, "colour_temperature"))
        ],
        [1428.0, 295.0, 74.9, 3015.0],
        [0.5, 0.5, 0.05, 0.5],
    ),
    "P41": lambda: (
        [
            100 * (value_at_voltage(1.0, 1.0, 1.05, exponent=3.0) - 1),
            100 * (value_at_voltage(1.0, 1.0, 1.05, exponent=1.3) - 1),
            value_at_voltage(1.0, 1.0, 1.05, exponent=-14.0),
        ],
        [15.76, 6.55, 0.505],
        [5e-3, 5e-3, 1e-3],
    ),
    "P43": lambda: (
        [implied_exponent(700, 12.0, 900, 13.2), implied_exponent(450, 12.0, 600, 13.2)],
        [2.637, 3.018],
        1e-3,
    ),
    "P44": lambda: ([implied_exponent(1350, 12.8, 1500, 13.2)], [3.424], 1e-3),
    "P45": lambda: (
        [supply_current(55, 13.2), supply_current(58, 13.2), supply_current(55, 13.2, lamps=2)],
        [4.17, 4.39, 8.33],
        0.01,
    ),
}
IN_OTHER_TESTS = {"P08", "P39"}  # below, by second implementation and as an identity
OTHER_ROOMS = {
    f"P{k}" for k in (46, 47, 48, 49, 52, 54, 56, 57)
}  # surface temperature, warm-up, meter specification


def test_every_photometric_row_is_checked():
    """Oracle: the table itself."""
    assert set(read("checks.csv")["id"]) == set(CHECKS) | IN_OTHER_TESTS | OTHER_ROOMS


@pytest.mark.parametrize("row", CHECKS)
def test_check(row):
    """Oracle: checks.csv, standing in the row; tolerance of the row, or half a unit in its last digit."""
    computed, expected, tolerance = CHECKS[row]()
    text = read("checks.csv").set_index("id").loc[row, "expected"]
    printed = [float(x) for x in re.findall(r"-?\d+\.?\d*", text)]
    for value in expected:  # what is typed here stands in the row
        assert any(abs(value - p) <= 1e-9 * max(abs(p), 1) for p in printed)
    for got, wanted, allowed in zip(
        computed, expected, np.broadcast_to(tolerance, len(expected)), strict=True
    ):
        assert_allclose(got, wanted, rtol=0, atol=allowed)  # tolerance of the row


def test_published_exponents_are_consistent():
    """Oracle: P39, power is current times voltage, flux is power times luminous efficacy."""
    table = published_exponents()
    per_current = table[table["with_respect_to"] == "current"].set_index("quantity")["exponent"]
    # float rounding of one addition
    assert_allclose(per_current["power"], 1.0 + per_current["voltage"], rtol=1e-15)
    assert_allclose(
        per_current["luminous_flux"], per_current["power"] + per_current["luminous_efficacy"], rtol=1e-15
    )


def test_exponents_per_voltage_follow_from_those_per_current():
    """Oracle: chain rule on the published exponents per current; filament_exponents.csv."""
    table = published_exponents()
    per_current = table[table["with_respect_to"] == "current"].set_index("quantity")["exponent"]
    for quantity in ("luminous_flux", "power", "luminous_efficacy", "life", "colour_temperature"):
        derived = per_current[quantity] / per_current["voltage"]
        assert_allclose(exponent_per_voltage(quantity), derived, rtol=0, atol=5e-4)  # half a unit, last digit
    assert_allclose(
        exponent_per_voltage("current"), 1.0 / per_current["voltage"], rtol=0, atol=5e-4
    )  # likewise


def test_shipped_tables_are_the_reference_tables():
    """Oracle: the reference files, whose rows carry the published source."""
    shipped, reference = published_exponents(), read("filament_exponents.csv")
    assert shipped["exponent"].tolist() == reference["exponent"].tolist()
    pd.testing.assert_frame_equal(listed_lamps(), read("part564_light_sources.csv"))
    rules = pd.read_csv(REFERENCE / "cutoff_rules.csv", dtype={"value": str})
    assert (
        [float(x) for x in cutoff_rules()["value"][:3]]
        == [float(x) for x in rules["value"][:3]]
        == [0.13, 0.4, 0.2]
    )
    assert cutoff_rules()["source"].tolist() == rules["source"].tolist()


@each_row("part564_light_sources.csv", "lamp")
def test_listed_lamps_have_the_efficacy_of_their_kind(row):
    """Oracle: physics: filament lamps lie under 30 lm/W, as `claim_against_power` says, discharge over 60."""
    efficacy = row["flux_lm"] / row["max_W"]
    assert 60 < efficacy < 100 if row["lamp"].startswith("D") else 13.9 < efficacy < 29


@each_row("un_r37_h17.csv", "category")
def test_h17_sheet_implies_its_exponents(row):
    """Oracle: UN Regulation 37, sheet H17/2 (seen)."""
    flux, reference = row["objective_flux_lm_13V2"], row["reference_flux_lm_12V"]
    # half a unit in the last printed digit
    assert_allclose(
        implied_exponent(reference, 12.0, flux, 13.2), row["implied_exponent_13V2_over_12V"], atol=5e-4
    )
    assert_allclose(
        value_at_voltage(reference, 12.0, 13.2, exponent=row["implied_exponent_13V2_over_12V"]),
        flux,
        rtol=5e-5,
    )


@pytest.mark.parametrize("lamp_class", ["A", "B"])
def test_un_r112_points(lamp_class):
    """Oracle: UN Regulation 112 paragraph 6.2 (seen); positions read from the text of the row."""
    reference = read(f"un_r112_class_{lamp_class.lower()}_passing_beam.csv")
    points = reference_points(lamp_class=lamp_class)
    assert points["point"].tolist() == reference["point"].tolist()
    pd.testing.assert_frame_equal(points[["min_cd", "max_cd"]], reference[["min_cd", "max_cd"]].astype(float))
    for (_, got), text in zip(points.iterrows(), reference["h_v_position"], strict=True):
        if "polygon" in text:
            assert np.isnan(got["horizontal_deg"])
            continue
        up, side = text.split(" ")
        assert f"{abs(got['vertical_deg'])}{'U' if got['vertical_deg'] > 0 else 'D'}" == up
        letter = "" if got["horizontal_deg"] == 0 else "R" if got["horizontal_deg"] > 0 else "L"
        assert float(side.rstrip("LR")) == abs(got["horizontal_deg"])
        assert side.endswith(letter)
    assert set(points["caution"]) == {"published_reference_only"}
    assert set(points["basis_V"]) == {13.2}


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
    """Oracle: colour-science luminous_efficacy on the same 1 nm spectrum; P08 for D65."""
    spectrum = colour.SDS_ILLUMINANTS[name]
    fine = np.interp(NM, spectrum.wavelengths, spectrum.values)
    theirs = colour.luminous_efficacy(colour.SpectralDistribution(dict(zip(NM, fine, strict=True))))
    ours = luminous_efficacy_of_radiation(spectrum.wavelengths, spectrum.values)
    assert_allclose(ours, theirs, rtol=2e-5)  # 683.002 against 683, and their sum against our trapezoid
    if name == "D65":
        assert_allclose(ours, 205.15, rtol=0, atol=0.05)  # P08, its tolerance


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
    table = limits_of_efficacy().set_index("limit")["value_lm_per_W"]
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


def test_collimated_beam_is_level_up_to_the_crossover():
    """Oracle: P30: closed form, E constant below the crossover and pi L R^2/(R^2 + d^2) above."""
    crossover = crossover_distance(0.035, 0.040, 0.0025)
    e = collimated_beam_illuminance(1e7, [0.1, 0.56, 2.0], aperture_radius=0.035, crossover=crossover)
    assert e[0] == e[1]
    assert_allclose(e[2], np.pi * 1e7 * 0.035**2 / (0.035**2 + 4.0), rtol=1e-14)  # float rounding
