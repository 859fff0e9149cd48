"""Lux and candela, near field and distance runs: closed forms, synthetic truth, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import integrate

from photolab.errors import MethodError
from photolab.metrology.quantity import Input, apply, limits, measured
from photolab.photometry.distance import (
    _SHAPES,
    REPORTING_DISTANCES,
    compare_fits,
    crossover_distance,
    disc_source_ratio,
    far_field,
    fit_inverse_square,
    illuminance,
    line_source_ratio,
    luminous_intensity,
    smallest_distance,
    square_source_ratio,
    tilt_loss,
)
from photolab.photometry.lamp import value_at_voltage
from photolab.thermal.coupling import thermal_resistance, to_ambient

ROOT_3 = np.sqrt(3.0)
METRES = np.array([2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0])


def run(model, rng=None, relative=0.003, tape=0.002):
    """A distance run of invented readings with known truth, and its uncertainties."""
    placed = METRES if rng is None else METRES + tape * rng.standard_normal(METRES.size)
    truth = model(placed)
    read = truth if rng is None else truth * (1 + relative * rng.standard_normal(METRES.size))
    return {
        "distance": METRES,
        "illuminance": read,
        "illuminance_uncertainty": relative * model(METRES),
        "distance_uncertainty": tape,
    }


def test_one_reading_at_eight_metres():
    """Oracle: by hand: 151 lx x (8.12 m)^2 = 9956 cd; 9664 without; 2 x 20 mm/sqrt 3/8.12 m = 0.28 %."""
    assert_allclose(luminous_intensity(151.0, 8.0, offset=0.120), 9956.1, rtol=0, atol=0.05)  # printed digit
    assert_allclose(luminous_intensity(151.0, 8.0), 9664.0, rtol=1e-14)  # float rounding
    tape = measured(8.0, limits("tape", 0.020, kind="distance"), unit="m")
    found = apply(lambda d: luminous_intensity(151.0, d, offset=0.120), tape, unit="cd")
    assert_allclose(100 * found.u / found.value, 0.28, rtol=0, atol=0.005)  # printed digit


def test_uncertainty_of_an_intensity_by_simulation():
    """Oracle: synthetic truth: scatter of intensities with every input drawn by numpy."""
    rng = np.random.default_rng(7)
    n = 400_000
    drawn = luminous_intensity(
        (300.0 + rng.normal(0, 1.0, n) + rng.normal(0, 3.0, n)) * rng.normal(1, 0.01, n),
        5.0 + rng.normal(0, 0.02, n),
        offset=0.1 + rng.normal(0, 0.03, n),
        incidence_angle=np.abs(0.3 + rng.normal(0, 0.02, n)),
    )
    tilt = tilt_loss(0.02, incidence_angle=0.3)
    found = apply(
        lambda e, d, o: luminous_intensity(e, d, offset=o, incidence_angle=0.3),
        measured(
            300.0,
            Input("reading", 1.0),
            Input("range", 3.0),
            (Input("scale", 0.01), 300.0),
            (Input("tilt", tilt), 300.0),
        ),
        measured(5.0, Input("tape", 0.02)),
        measured(0.1, Input("centre", 0.03)),
    )
    assert_allclose(found.u, drawn.std(), rtol=0.01)  # 9 Monte Carlo standard errors


@pytest.mark.parametrize(
    ("law", "unit", "arguments"),
    [
        (
            lambda e, d, a, o: luminous_intensity(e, d, incidence_angle=a, offset=o),
            "cd",
            (300.0, 5.0, 0.3, 0.1),
        ),
        (lambda i, d, a, o: illuminance(i, d, incidence_angle=a, offset=o), "lx", (8000.0, 5.0, 0.3, 0.1)),
        (disc_source_ratio, "1", (0.5, 0.2)),
        (crossover_distance, "m", (0.035, 0.040, 0.0025)),
        (lambda x, u, v, n: value_at_voltage(x, u, v, exponent=n), "", (300.0, 12.95, 13.2, 3.4)),
        (lambda x, t, o, c: to_ambient(x, t, o, coefficient=c), "", (300.0, 28.0, 20.0, -0.002)),
        (lambda k, w, f: thermal_resistance(k, w, radiant_fraction=f), "K/W", (60.0, 26.1, 0.3)),
    ],
)
def test_a_law_takes_measured_quantities_as_it_takes_numbers(law, unit, arguments):
    """Oracle: second implementation: the same law through central differences, 1 % of doubt on every argument."""
    known = [measured(x, Input(f"input {k}", 0.01 * abs(x))) for k, x in enumerate(arguments)]
    through, by_differences = law(*known), apply(law, *known, unit=unit)
    assert through.unit == unit
    assert_allclose(through.value, law(*arguments), rtol=1e-15)  # float rounding
    assert_allclose(through.u, by_differences.u, rtol=1e-6)  # truncation of the differences


def test_a_measured_quantity_out_of_range_is_refused_like_a_number():
    """Oracle: the rule on messages: quantity, value at the estimate, unit."""
    negative = measured(-300.0, Input("reading", 1.0))
    with pytest.raises(ValueError, match="illuminance must be zero or more; got -300 lx"):
        luminous_intensity(negative, 5.0)


def test_tilt_at_normal_incidence_is_not_nothing():
    """Oracle: synthetic truth: root mean square loss of cos for 3 degrees of tilt about normal incidence."""
    tilts = np.radians(3.0) * np.random.default_rng(3).standard_normal(400_000)
    # 4 Monte Carlo standard errors of a fourth moment, and the fourth order of cos
    assert_allclose(tilt_loss(np.radians(3.0)), np.sqrt(np.mean((1 - np.cos(tilts)) ** 2)), rtol=0.02)
    with pytest.raises(ValueError, match="tilt_uncertainty must be zero or more; got -1 rad"):
        tilt_loss(-1.0)


def test_common_errors_move_a_fit_as_the_fit_says():
    """Oracle: the fit of the same readings with the error put in: range 1 lx, tape zero 1 mm, scale 1 %."""
    exact = run(lambda d: 2000.0 / (d + 0.03) ** 2)
    fit = fit_inverse_square(**exact)
    for cause, error, moved in (
        ("range", 1e-3, {"illuminance": exact["illuminance"] + 1e-3}),
        ("tape_zero", 1e-4, {"illuminance": 2000.0 / (exact["distance"] + 1e-4 + 0.03) ** 2}),
        ("scale", 1e-4, {"illuminance": exact["illuminance"] * (1 + 1e-4)}),
    ):
        other = fit_inverse_square(**(exact | moved))
        shift = np.array([other.intensity - fit.intensity, other.offset - fit.offset])
        # first order in the error, and the weights move a little with it
        assert_allclose(fit.per_unit[cause] * error, shift, rtol=5e-3, atol=1e-7)
    assert_allclose(fit.own, fit.covariance, rtol=1e-12)  # nothing in common was declared


def test_what_is_common_moves_intensity_and_shape_together():
    """Oracle: law of propagation: each common error shifts both, so that covariances have signs; the zero of the tape
    lowers the intensity of a near-field law and raises its shape.
    """
    exact = run(lambda d: 2000.0 / (d + 0.03) ** 2, relative=0.05)
    doubts = {"range": 0.5, "tape_zero": 1e-3, "scale": 0.02}
    names = ("common_illuminance_uncertainty", "common_distance_uncertainty", "scale_uncertainty")
    for fit in compare_fits(**exact, **dict(zip(names, doubts.values(), strict=True))).fits.values():
        shifts = np.array([fit.per_unit[cause] * u for cause, u in doubts.items()])
        assert_allclose(fit.covariance - fit.own, shifts.T @ shifts, rtol=1e-9, atol=1e-12)
    intensity, shape = fit.per_unit["tape_zero"]
    assert fit.model == "disc"
    assert intensity < -1.0 < 1.0 < shape


LUX = st.just(0.0) | st.floats(1e-6, 1e6)  # below, a float itself runs out of digits


@given(LUX, st.floats(0.2, 50), st.floats(-1.5, 1.5), st.floats(-0.1, 1.0))
def test_candela_to_lux_and_back(lux, metres, angle, offset):
    """Oracle: symmetry: the two functions are inverses."""
    intensity = luminous_intensity(lux, metres, incidence_angle=angle, offset=offset)
    back = illuminance(intensity, metres, incidence_angle=angle, offset=offset)
    assert_allclose(back, lux, rtol=1e-13, atol=1e-300)  # float rounding; below it numbers lose digits


def test_broadcasting_floats_and_missing_values():
    """Oracle: the contract: arrays broadcast, floats stay floats, NaN stays NaN."""
    assert isinstance(luminous_intensity(1, 5), float)
    grid = luminous_intensity(np.array([[1.0], [2.0]]), [1.0, 2.0, 3.0])
    assert grid.tolist() == [[1.0, 4.0, 9.0], [2.0, 8.0, 18.0]]
    assert np.isnan(luminous_intensity([np.nan, 1.0], 2.0)).tolist() == [True, False]


def test_equivalent_illuminance():
    """Oracle: definition: 10 000 cd over 625 m2 and over (60 ft)^2."""
    assert REPORTING_DISTANCES == (25.0, 18.288)
    # float rounding
    assert_allclose(
        illuminance(10000.0, REPORTING_DISTANCES), [16.0, 10000.0 / (60 * 0.3048) ** 2], rtol=1e-14
    )


@pytest.mark.parametrize("distance", [0.3, 1.0, 4.0])
def test_near_field_ratios_by_integration(distance):
    """Oracle: numerical integration of a uniform Lambertian source, scipy.integrate."""

    def element(x, y):
        return distance**4 / (distance**2 + x**2 + y**2) ** 2

    square = integrate.dblquad(element, -0.5, 0.5, -0.5, 0.5)[0]
    assert_allclose(square_source_ratio(distance, 1.0), square, rtol=1e-7)  # quadrature
    line = integrate.quad(lambda x: element(x, 0.0), -0.5, 0.5)[0]
    assert_allclose(line_source_ratio(distance, 1.0), line, rtol=1e-9)  # quadrature
    disc = integrate.quad(lambda r: 2 * r * element(r, 0.0), 0.0, 0.5)[0] / 0.25
    assert_allclose(disc_source_ratio(distance, 1.0), disc, rtol=1e-9)  # quadrature


def test_smallest_distance_by_geometry():
    """Oracle: closed form: there the disc ratio falls short by the tolerance; or the crossover rules."""
    d = smallest_distance(0.09, tolerance=0.02)
    assert_allclose(disc_source_ratio(d, 0.18), 0.98, rtol=1e-14)  # float rounding
    assert smallest_distance(0.09, tolerance=0.02, crossover=9.0) == 9.0


def test_fit_recovers_the_truth_and_its_parts():
    """Oracle: closed form: exact readings; a scale error moves I alone, a tape error the offset alone."""
    fit = fit_inverse_square(
        **run(lambda d: 13400.0 / (d + 0.12) ** 2),
        common_illuminance_uncertainty=1.0,
        common_distance_uncertainty=0.004,
        scale_uncertainty=0.01,
    )
    assert_allclose([fit.intensity, fit.offset], [13400.0, 0.12], rtol=1e-9)  # convergence
    assert (fit.dof, fit.p_lack_of_fit, fit.findings, fit.model) == (5, 1.0, (), "offset")
    assert fit.chi_square < 1e-15
    assert_allclose(fit.parts["scale"], 134.0, rtol=1e-9)  # convergence
    assert fit.parts["tape_zero"] < 1e-6
    plain = fit_inverse_square(**run(lambda d: 13400.0 / (d + 0.12) ** 2))
    added = fit.covariance - plain.covariance
    u_range = fit.parts["range"]
    assert_allclose(added[0, 0], 134.0**2 + u_range**2, rtol=1e-8)  # convergence
    shifted = fit_inverse_square(**run(lambda d: 13400.0 / (d + 0.12) ** 2 + 1.0))
    assert_allclose(abs(shifted.intensity - plain.intensity), u_range, rtol=0.05)  # second order of 1 lx
    assert_allclose(fit.intensity_uncertainty**2, fit.covariance[0, 0], rtol=1e-14)  # definition
    assert_allclose(added[1, 1] - 0.004**2, (shifted.offset - plain.offset) ** 2, rtol=0.10)  # second order


def test_fit_against_general_least_squares():
    """Oracle: second implementation: scipy.optimize.curve_fit with the converged uncertainties."""
    from scipy.optimize import curve_fit

    readings = run(lambda d: 13400.0 / (d + 0.12) ** 2, np.random.default_rng(1))
    fit = fit_inverse_square(**readings)
    slope = 2 * fit.intensity / (METRES + fit.offset) ** 3
    sigma = np.hypot(readings["illuminance_uncertainty"], slope * 0.002)
    found, covariance = curve_fit(
        lambda d, i, o: i / (d + o) ** 2,
        METRES,
        readings["illuminance"],
        [1e4, 0.0],
        sigma,
        absolute_sigma=True,
    )
    assert_allclose([fit.intensity, fit.offset], found, rtol=1e-5)  # their stopping rule
    assert_allclose(fit.covariance, covariance, rtol=1e-3)  # their numerical Jacobian
    assert_allclose(fit.chi_square, (((readings["illuminance"] - fit.fitted) / sigma) ** 2).sum(), rtol=1e-8)
    assert_allclose(fit.residuals, readings["illuminance"] - fit.fitted, rtol=1e-12)  # definition


def test_fit_without_offset_is_the_weighted_mean():
    """Oracle: closed form: without offset and distance error, I is the weighted mean of E d^2."""
    readings = {**run(lambda d: 9000.0 / d**2, np.random.default_rng(2)), "distance_uncertainty": 0.0}
    fit = fit_inverse_square(**readings, fit_offset=False)
    product = readings["illuminance"] * METRES**2
    weight = (readings["illuminance_uncertainty"] * METRES**2) ** -2.0
    assert_allclose(fit.intensity, np.average(product, weights=weight), rtol=1e-10)  # convergence
    assert_allclose(fit.intensity_uncertainty, weight.sum() ** -0.5, rtol=1e-10)  # convergence
    assert (fit.offset, fit.offset_uncertainty, fit.dof, fit.model) == (0.0, 0.0, 6, "point")


def test_fit_scales_with_the_meter():
    """Oracle: symmetry: a meter that reads 3 % more gives 3 % more candela, the rest the same."""
    readings = run(lambda d: 9000.0 / (d - 0.05) ** 2, np.random.default_rng(5))
    more = {**readings, **{k: 1.03 * readings[k] for k in ("illuminance", "illuminance_uncertainty")}}
    a, b = fit_inverse_square(**readings), fit_inverse_square(**more)
    # convergence
    assert_allclose(
        [b.intensity / a.intensity, b.offset, b.chi_square], [1.03, a.offset, a.chi_square], rtol=1e-7
    )


@pytest.mark.parametrize("common", [0.0, 2.0])
def test_coverage_and_size(common):
    """Oracle: synthetic truth, 1500 runs, 6 distances 1-5 m; in full in benchmarks/distance_coverage.py."""
    rng = np.random.default_rng(11)
    d = np.geomspace(1.0, 5.0, 6)
    inside, rejected = np.zeros(2), 0
    for _ in range(1500):
        truth = 2000.0 / (d + 0.002 * rng.standard_normal(6) + 0.03) ** 2
        read = truth * (1 + 0.005 / np.sqrt(5) * rng.standard_normal(6)) + common * rng.standard_normal()
        fit = fit_inverse_square(
            d,
            read,
            illuminance_uncertainty=read * 0.005 / np.sqrt(5),
            distance_uncertainty=0.002,
            common_illuminance_uncertainty=common,
        )
        inside += [
            abs(fit.intensity - 2000) < 1.96 * fit.intensity_uncertainty,
            abs(fit.offset - 0.03) < 1.96 * fit.offset_uncertainty,
        ]
        rejected += "lack_of_fit" in fit.findings
    # target 94-96.5 % and 4-6 %, widened by 2 Monte Carlo standard errors of 0.56 points
    assert (inside / 15.0 > 94.0 - 1.1).all()
    assert (inside / 15.0 < 96.5 + 1.1).all()
    assert 4.0 - 1.1 < rejected / 15.0 < 6.0 + 1.1


def test_stray_light_and_a_level_beam_are_caught():
    """Oracle: synthetic truth: 2 lx of stray light on 2000 cd; a beam level inside 2 m; 200 runs each."""
    rng = np.random.default_rng(12)
    d = np.geomspace(1.0, 5.0, 6)
    for model in (lambda x: 2000.0 / (x + 0.03) ** 2 + 2.0, lambda x: 2000.0 / (x**6 + 2.0**6) ** (1 / 3)):
        flagged = 0
        for _ in range(200):
            read = model(d + 0.002 * rng.standard_normal(6)) * (1 + 0.0022 * rng.standard_normal(6))
            fit = fit_inverse_square(
                d, read, illuminance_uncertainty=0.0022 * read, distance_uncertainty=0.002
            )
            flagged += "lack_of_fit" in fit.findings
        assert flagged >= 180  # 90 %


def test_dark_correction_makes_the_difference():
    """Oracle: synthetic truth: the demo's 3 lx left on pull both off by three uncertainties."""
    corrected = fit_inverse_square(**run(lambda d: 13400.0 / (d + 0.12) ** 2))
    left = fit_inverse_square(**run(lambda d: 13400.0 / (d + 0.12) ** 2 + 3.0))
    assert abs(left.intensity - 13400.0) > 3 * left.intensity_uncertainty
    assert abs(left.offset - 0.12) > 3 * left.offset_uncertainty
    assert "lack_of_fit" in left.findings
    assert abs(corrected.offset - 0.12) < 1e-6


def test_findings_of_a_fit():
    """Oracle: the rules of the codes, by construction."""
    front = fit_inverse_square(**run(lambda d: 9000.0 / (d - 0.3) ** 2))
    assert front.findings == ("negative_offset",)
    assert_allclose(front.offset, -0.3, rtol=1e-8)  # convergence
    two = fit_inverse_square(
        [2.0, 4.0], [100.0, 26.0], illuminance_uncertainty=0.5, distance_uncertainty=0.002
    )
    assert two.findings == ("no_test",)
    assert two.dof == 0
    assert np.isnan(two.p_lack_of_fit)
    # two equations: sqrt(100) (2 + o) = sqrt(26) (4 + o)
    assert_allclose(two.offset, (4 * np.sqrt(26) - 20) / (10 - np.sqrt(26)), rtol=1e-8)
    again = fit_inverse_square(
        [2.0, 2.0, 4.0], [100.0, 100.2, 26.0], illuminance_uncertainty=0.5, distance_uncertainty=0.002
    )
    assert "equal_distances" in again.findings


def test_far_field_of_a_reflector_and_a_projector():
    """Oracle: synthetic truth: E d^2 flat from 4 m on; never with an offset, which a fit explains."""
    level = far_field(**run(lambda d: 9000.0 / np.maximum(d, 4.0) ** 2, np.random.default_rng(4)))
    assert (level.code, level.smallest_distance) == ("part", 4.0)
    assert level.fit is not None
    assert abs(level.fit.intensity - 9000.0) < 3 * level.fit.intensity_uncertainty
    assert level.table["from_distance"].tolist() == [2.0, 3.0, 4.0]
    projector = run(lambda d: 13400.0 / (d + 0.12) ** 2, np.random.default_rng(5))
    assert far_field(**projector).code == "not_established"
    explained = far_field(**projector, fit_offset=True)
    assert (explained.code, explained.smallest_distance) == ("all", 2.0)
    shuffled = {k: (v[::-1] if np.ndim(v) else v) for k, v in projector.items()}
    assert far_field(**shuffled, fit_offset=True).table.equals(explained.table)
    short = far_field([2.0, 3.0], [10.0, 5.0], illuminance_uncertainty=0.1, distance_uncertainty=0.0)
    assert (short.code, short.fit) == ("too_few", None)
    assert np.isnan(short.smallest_distance)


def test_competing_fits_on_the_demo_housings():
    """Oracle: synthetic truth of the demo: HP offset 0.12 m, HR near field 1.1 m; the true law is quoted."""
    for model, name, intensity, parameter in (
        (lambda d: 13400.0 / (d + 0.12) ** 2, "offset", 13400.0, 0.12),
        (lambda d: 17250.0 * (1 - (1.1 / d) ** 2) / d**2, "near_field", 17250.0, 1.21),
        (lambda d: 17250.0 / (d**2 + 0.64), "disc", 17250.0, 0.64),
    ):
        exact = compare_fits(**run(model))
        row = exact.table.set_index("model").loc[name]
        assert_allclose(
            [row["intensity"], row["parameter"]], [intensity, parameter], rtol=1e-7
        )  # convergence
        assert exact.model == name
        noisy = compare_fits(**run(model, np.random.default_rng(6)))
        assert name in noisy.kept
        assert abs(noisy.intensity - intensity) < 3 * noisy.intensity_uncertainty


def test_model_spread_stays_as_uncertainty():
    """Oracle: by hand from the table: largest departure of a kept law over root 3, added in squares."""
    run_far = run(lambda d: 9000.0 / (d + 0.02) ** 2, np.random.default_rng(8), relative=0.01)
    compared = compare_fits(**run_far)
    table = compared.table.set_index("model")
    kept = table[table["p"] >= 0.05]
    assert set(compared.kept) == set(kept.index)
    assert len(kept) >= 3
    spread = (kept["intensity"] - table.loc[compared.model, "intensity"]).abs().max() / ROOT_3
    assert_allclose(compared.model_spread, spread, rtol=1e-12)  # float rounding
    both = np.hypot(spread, table.loc[compared.model, "intensity_uncertainty"])
    assert_allclose(compared.intensity_uncertainty, both, rtol=1e-12)  # float rounding


def test_method_refusals():
    """Oracle: the rule that a refusal carries what is known."""
    doubt = {"illuminance_uncertainty": 0.1, "distance_uncertainty": 0.002}
    for d, e in (([5.0], [10.0]), ([5.0, 5.0], [10.0, 10.0])):
        with pytest.raises(
            MethodError, match=r"at least 2 different distances; got 1\..*at 5 m is 250 cd"
        ) as refusal:
            fit_inverse_square(d, e, **doubt)
        assert refusal.value.code == "one_distance"
        assert refusal.value.known == {"apparent_intensity": 250.0, "distance": 5.0}
    for d, e in (([2.0, 4.0], [10.0, 20.0]), ([2.0, 4.0], [10.0, 10.0]), ([2.0, 4.0], [1000.0, 1e-3])):
        with pytest.raises(MethodError, match="readings must fix intensity and offset") as refusal:
            fit_inverse_square(d, e, **doubt)
        assert refusal.value.code == "no_solution"
        assert refusal.value.known["apparent_intensity"] == np.mean([e[0] * 4.0, e[1] * 16.0])
    assert fit_inverse_square([5.0], [10.0], **doubt, fit_offset=False).intensity == pytest.approx(250.0)
    with pytest.raises(MethodError, match="competing laws need at least 3 different distances; got 2"):
        compare_fits([2.0, 3.0], [10.0, 5.0], **doubt)
    with pytest.raises(MethodError, match="must agree with at least one law") as refusal:
        compare_fits(METRES, 100.0 + METRES, **doubt)
    assert refusal.value.code == "no_law_holds"
    assert not refusal.value.known["table"]["kept"].any()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ([2.0, -3.0], [1.0, 1.0]),
            r"distance\[1\] must be more than zero and finite; got -3 m \(1 of 2 values",
        ),
        (([2.0, 3.0], [1.0, 0.0]), r"illuminance\[1\] must be more than zero and finite; got 0 lx"),
        (([2.0, 3.0], [1.0]), r"illuminance must have the shape of distance, \(2,\); got \(1,\)"),
        (([2.0, np.nan], [1.0, 1.0]), r"must have no missing values; got NaN at \[1\]"),
    ],
)
def test_refused_readings(arguments, message):
    """Oracle: the rule on messages: quantity, element, value, unit."""
    with pytest.raises(ValueError, match=message):
        fit_inverse_square(*arguments, illuminance_uncertainty=0.1, distance_uncertainty=0.002)


def test_refused_numbers():
    """Oracle: as above."""
    with pytest.raises(
        ValueError,
        match=r"illuminance\[1\] must be zero or more; got -1 lx \(2 of 3 values are out of range\)",
    ):
        luminous_intensity([5.0, -1.0, -2.0], 3.0)
    with pytest.raises(ValueError, match="incidence_angle must be between -pi/2 and pi/2; got 90 rad"):
        luminous_intensity(5.0, 3.0, incidence_angle=90.0)
    with pytest.raises(ValueError, match=r"distance \+ offset must be more than zero and finite; got -1 m"):
        illuminance(5.0, 3.0, offset=-4.0)
    with pytest.raises(ValueError, match=r"distance_uncertainty must be zero or more; got -0\.1 m"):
        fit_inverse_square([1.0, 2.0], [4.0, 1.0], illuminance_uncertainty=0.1, distance_uncertainty=-0.1)
    with pytest.raises(ValueError, match="scale_uncertainty must be one number"):
        fit_inverse_square(
            [1.0, 2.0],
            [4.0, 1.0],
            illuminance_uncertainty=0.1,
            distance_uncertainty=0.1,
            scale_uncertainty=[0.1, 0.1],
        )
    with pytest.raises(ValueError, match=r"tolerance must be between 0 and 1; got 0 \(relative\)"):
        smallest_distance(0.1, tolerance=0.0)


@pytest.mark.parametrize("law", _SHAPES)
def test_slopes_of_the_laws_are_those_of_their_values(law):
    """Oracle: central differences; steps of 1e-5 leave some 1e-9."""
    shape, q = _SHAPES[law], 0.3
    _, by_parameter, by_distance = shape(METRES, q)
    for found, moves in ((by_distance, (1e-5, 0.0)), (by_parameter, (0.0, 1e-5))):
        ends = [shape(METRES + side * moves[0], q + side * moves[1])[0] for side in (1.0, -1.0)]
        assert_allclose(found, (ends[0] - ends[1]) / 2e-5, rtol=1e-7)


def test_chi_square_leaves_shared_errors_free_within_their_doubt():
    """Oracle: least squares on a stack: the readings, and one row that holds each shared error to its doubt."""
    read = 9000.0 / (METRES + 0.01) ** 2 * (1.0 + 0.002 * np.random.default_rng(4).standard_normal(7))
    common = {"common_illuminance_uncertainty": 0.5, "common_distance_uncertainty": 0.02}
    own = {"illuminance_uncertainty": 0.002 * read, "distance_uncertainty": 0.003}
    fit = fit_inverse_square(METRES, read, fit_offset=False, **own, **common)
    slope = -2.0 * fit.intensity / METRES**3
    u = np.sqrt((0.002 * read) ** 2 + (0.003 * slope) ** 2)
    rows = np.column_stack([METRES**-2.0, np.ones(7), slope]) / u[:, None]
    stack = np.vstack([rows, np.diag([0.0, 1 / 0.5, 1 / 0.02])[1:]])
    _, squares, *_ = np.linalg.lstsq(stack, np.append((read - fit.intensity / METRES**2) / u, [0.0, 0.0]))
    assert_allclose(fit.chi_square, squares[0], rtol=1e-6)  # an inverse of some digits
    assert fit.dof == 6


def test_a_centre_before_the_face_is_said_beyond_twice_its_uncertainty():
    """Oracle: the rule; the uncertainty of the offset falls with that of the readings."""
    read = 9000.0 / (METRES - 0.02) ** 2
    plain = fit_inverse_square(METRES, read, illuminance_uncertainty=1e-3 * read, distance_uncertainty=0.0)
    for times, said in ((1.9, False), (2.1, True)):
        u = 1e-3 * read * 0.02 / plain.offset_uncertainty / times
        fit = fit_inverse_square(METRES, read, illuminance_uncertainty=u, distance_uncertainty=0.0)
        assert_allclose(-fit.offset / fit.offset_uncertainty, times, rtol=1e-6)
        assert ("negative_offset" in fit.findings) is said


def test_the_law_quoted_has_the_least_chi_square_for_its_degrees_of_freedom():
    """Oracle: the table of the laws; of readings of a point source the least chi-square itself is another's."""
    found = compare_fits(**run(lambda d: 9000.0 / d**2, np.random.default_rng(3)))
    table = found.table[found.table["kept"]].set_index("model")
    assert found.model == (table["chi_square"] / table["dof"]).idxmin() == "point"
    assert table["chi_square"].idxmin() != "point"
    away = np.abs(table["intensity"] - table.loc["point", "intensity"]).max() / ROOT_3
    assert_allclose(found.model_spread, away, rtol=1e-12)


@pytest.mark.parametrize(("fit_offset", "least"), [(False, 3), (True, 4)])
def test_far_field_needs_one_reading_more_than_its_law_and_a_test(fit_offset, least):
    """Oracle: the rule: 3 readings for flatness, 4 with an offset."""
    for count, code in ((least - 1, "too_few"), (least, "all")):
        d = METRES[:count]
        doubts = {"illuminance_uncertainty": 1.0, "distance_uncertainty": 0.0}
        found = far_field(d, 9000.0 / d**2, fit_offset=fit_offset, **doubts)
        assert found.code == code
        assert found.table["distances"].tolist() == [count] * (code == "all")
