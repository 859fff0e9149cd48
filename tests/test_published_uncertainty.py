"""Published worked examples: JCGM 100 (GUM), JCGM 101, EA-4/02, with two other libraries on two of them.

`reference/uncertainty_examples.json` holds the printed digits with document, clause and standing ("seen in
the published text", "seen quoted in a secondary text", "from memory"). A printed figure is met to half a unit
in its last digit; the exceptions say why.
"""

import json
from pathlib import Path

import GTC
import numpy as np
import pytest
import uncertainties
from numpy.testing import assert_allclose
from uncertainties import umath

from photolab.metrology.monte_carlo import draws, interval, validate
from photolab.metrology.quantity import (
    Input,
    apply,
    combine,
    coverage_factor,
    flat_factor,
    from_certificate,
    from_fit,
    from_readings,
    limits,
    measured,
)

EXAMPLES = {
    example["id"]: example
    for example in json.loads((Path(__file__).parent / "reference" / "uncertainty_examples.json").read_text())
}
TRIALS = 1_000_000


def published(example, key):
    return EXAMPLES[example]["published"][key]


def assert_printed(value, printed, *, units=0.5):
    """Assert that a value gives the printed number, to `units` in its last digit (and a little for binary
    fractions).
    """
    digits = printed.lower().split("e")[0]
    step = 10.0 ** -len(digits.partition(".")[2])
    if "e" in printed.lower():
        step *= 10.0 ** int(printed.lower().split("e")[1])
    assert_allclose(value, float(printed), rtol=0, atol=units * step * (1 + 1e-9))


def quantile_error(density, probability=0.025, trials=TRIALS):
    """Standard error of a sample quantile."""
    return np.sqrt(probability * (1 - probability) / trials) / density


# --- JCGM 100


def test_type_a_mean_of_twenty_readings():
    """JCGM 100:2008, 4.4.3, Table 1."""
    scatter = from_readings("temperature", EXAMPLES["gum.4.4.3"]["inputs"]["t_degC"])
    assert_printed(scatter.u, published("gum.4.4.3", "u"))
    assert_printed(scatter.u * np.sqrt(20), published("gum.4.4.3", "s"))
    assert (scatter.dof, scatter.law, scatter.kind) == (19, "t", "reading scatter")


def test_type_b_limits():
    """JCGM 100:2008, 4.4.5 and 4.4.6: 96 to 104 degrees."""
    assert_printed(limits("t", 4).u, published("gum.4.4.5-6", "u_rect"))
    assert_printed(limits("t", 4, law="triangular").u, published("gum.4.4.5-6", "u_tri"))


def test_coverage_factors_of_table_g2():
    """JCGM 100:2008, Table G.2; the cell of 35 dof at 90 % is a misprint (1.70 printed, 1.6896 true)."""
    exact = {"68.27": 0.682689492137, "95.45": 0.954499736104, "99.73": 0.997300203937}  # k = 1, 2, 3
    checked = 0
    for dof, row in published("gum.tableG2", "t").items():
        for percent, printed in zip(EXAMPLES["gum.tableG2"]["inputs"]["p_percent"], row, strict=True):
            if (dof, percent) == ("35", "90"):
                continue
            coverage = exact.get(percent, float(percent) / 100)
            assert_printed(measured(0.0, Input("x", 1.0, dof=float(dof))).half_width(coverage), printed)
            checked += 1
    assert checked == 161


def test_effective_dof_of_a_product():
    """JCGM 100:2008, G.4.1: nu 19.0 (18.9987 at full precision), U 2.2 % with the t of 18."""
    relative, counts = EXAMPLES["gum.G.4.1"]["inputs"]["u_rel_percent"], EXAMPLES["gum.G.4.1"]["inputs"]["n"]
    x1, x2, x3 = (
        measured(1.0, Input(k, u / 100, dof=n - 1))
        for k, (u, n) in enumerate(zip(relative, counts, strict=True))
    )
    result = 7.0 * x1 * x2 * x3
    assert_printed(result.u / 7.0 * 100, "1.03")
    assert_printed(result.dof, published("gum.G.4.1", "nu_eff"))
    assert_allclose(result.dof, 18.998742314, rtol=1e-10)  # the printed digits of the recomputation
    assert_printed(coverage_factor(0.95, np.floor(result.dof)) * result.u / 7.0 * 100, "2.2")


def gauge_block_inputs():
    """JCGM 100:2008, H.1: end gauge, lengths in nm."""
    return {
        "standard": measured(50_000_623, from_certificate("standard", 75, k=3, dof=18)),
        "difference": measured(215, Input("difference", 13 / np.sqrt(5), law="t", dof=24)),
        "comparator": measured(0, from_certificate("comparator", 10, k=2.57, dof=5)),
        "systematic": measured(0, from_certificate("systematic", 20, k=3, dof=8)),
        "expansion": measured(11.5e-6, limits("expansion", 2e-6)),
        "mean_temperature": measured(-0.1, Input("mean_temperature", 0.2)),
        "cycle": measured(0, limits("cycle", 0.5, law="arcsine")),
        "expansion_difference": measured(0, limits("expansion_difference", 1e-6, dof=50)),
        "temperature_difference": measured(0, limits("temperature_difference", 0.05, dof=2)),
    }


def gauge_block(
    standard,
    difference,
    comparator,
    systematic,
    expansion,
    mean_temperature,
    cycle,
    expansion_difference,
    temperature_difference,
):
    thermal = expansion_difference * (mean_temperature + cycle) + expansion * temperature_difference
    return standard + difference + comparator + systematic - standard * thermal


@pytest.mark.parametrize(
    "way", [lambda q: gauge_block(**q), lambda q: apply(gauge_block, *q.values())], ids=["operators", "apply"]
)
def test_end_gauge(way):
    """JCGM 100:2008, H.1: u 32 nm, nu 16.7, t99(16) 2.92; U is 92.5 nm at full precision (printed 93 from
    rounded figures).
    """
    result = way(gauge_block_inputs())
    assert_allclose(result.value, 50_000_838, rtol=1e-14)  # float rounding
    assert_printed(result.u, "32")
    assert_allclose(result.u, 31.65826762, rtol=1e-6)  # differences of 5e7 nm; exact by operators
    assert_printed(result.dof, "16.7")
    assert_allclose(result.dof, 16.74136, rtol=1e-6)  # as above
    factor = coverage_factor(0.99, 16)
    assert_printed(factor, published("gum.H.1", "t99_16"))
    assert_allclose(factor * result.u, 92.4669, rtol=1e-5)  # as above
    # the limits of the temperature have 2 dof: they are doubtful and narrow nothing
    assert_allclose(result.half_width(0.99), coverage_factor(0.99, result.dof) * result.u, rtol=1e-12)
    size = result.budget().set_index("name")["contribution"].abs()
    assert_printed(size["standard"], "25")
    assert_printed(
        np.sqrt(size["difference"] ** 2 + size["comparator"] ** 2 + size["systematic"] ** 2), "9.7"
    )
    assert_printed(size["expansion_difference"], "2.9")
    assert_printed(size["temperature_difference"], "16.6")
    assert size["expansion"] + size["mean_temperature"] + size["cycle"] < 1e-3


def test_end_gauge_against_two_other_libraries():
    """JCGM 100:2008, H.1 by `uncertainties` (exact derivatives) and `GTC` (degrees of freedom too)."""
    inputs = gauge_block_inputs()
    ours = gauge_block(**inputs)
    exact = gauge_block(**{k: uncertainties.ufloat(q.value, q.u) for k, q in inputs.items()})
    other = gauge_block(**{k: GTC.ureal(q.value, q.u, q.dof) for k, q in inputs.items()})
    assert_allclose(ours.u, exact.std_dev, rtol=1e-12)  # float rounding
    assert_allclose(ours.u, GTC.uncertainty(other), rtol=1e-12)  # as above
    assert_allclose(ours.dof, GTC.dof(other), rtol=1e-12)  # as above


def impedance(v, i, phi):
    return {"R": v / i * np.cos(phi), "X": v / i * np.sin(phi), "Z": v / i}


def impedance_readings():
    data = EXAMPLES["gum.H.2.approach1"]["inputs"]
    return np.array([data["V"], np.array(data["I_mA"]) / 1000, data["phi"]])


def impedance_inputs():
    readings = impedance_readings()
    return from_fit(("v", "i", "phi"), readings.mean(axis=1), np.cov(readings) / 5, dof=4)


def correlation(a, b):
    """Correlation coefficient of two quantities, from u of both and of their sum."""
    return ((a + b).u ** 2 - a.u**2 - b.u**2) / (2 * a.u * b.u)


def correlations(results):
    return [correlation(results[a], results[b]) for a, b in ("RX", "RZ", "XZ")]


def test_simultaneous_resistance_and_reactance_first_approach():
    """JCGM 100:2008, H.2.3: means and their covariance; printed figures from other rounding, one unit in
    the last digit.
    """
    results = impedance(*impedance_inputs())
    example = EXAMPLES["gum.H.2.approach1"]
    for name, y, u in zip("RXZ", example["published"]["y"], example["published"]["u"], strict=True):
        assert_printed(results[name].value, y, units=1)
        assert_printed(results[name].u, u, units=1)
    for found, printed in zip(correlations(results), example["published"]["r_out"].values(), strict=True):
        assert_printed(found, printed, units=1)
    assert_allclose(correlations(results), example["recomputed"]["r"], rtol=1e-9)  # a difference of squares
    # all three come from the same five sets: any linear function of their means has 4 dof (closed form)
    assert_allclose([results[name].dof for name in "RXZ"], 4.0, rtol=1e-12)  # float rounding


def test_simultaneous_resistance_and_reactance_second_approach():
    """JCGM 100:2008, H.2.4: each set evaluated alone, then the mean of five."""
    sets = impedance(*impedance_readings())
    for k, name in enumerate("RXZ"):
        for value, printed in zip(sets[name], published("gum.H.2.approach2", name), strict=True):
            assert_printed(value, printed)
        assert_printed(np.mean(sets[name]), published("gum.H.2.approach2", "y")[k])
        assert_printed(from_readings(name, sets[name]).u, published("gum.H.2.approach2", "u")[k])
    rows = np.array([sets[name] for name in "RXZ"])
    means = from_fit("RXZ", rows.mean(axis=1), np.cov(rows) / 5, dof=4)
    found = correlations(dict(zip("RXZ", means, strict=True)))
    for r, printed in zip(found, published("gum.H.2.approach2", "r_out").values(), strict=True):
        assert_printed(r, printed)


def test_simultaneous_quantities_against_two_other_libraries():
    """JCGM 100:2008, H.2 by `uncertainties` and `GTC`."""
    readings = impedance_readings()
    ours = impedance(*impedance_inputs())
    v, i, phi = uncertainties.correlated_values(readings.mean(axis=1), np.cov(readings) / 5)
    ratio = v / i
    exact = {"R": ratio * umath.cos(phi), "X": ratio * umath.sin(phi), "Z": ratio}
    r = np.corrcoef(readings)
    a, b, c = GTC.multiple_ureal(readings.mean(axis=1), np.sqrt(np.diag(np.cov(readings)) / 5), 4)
    for first, second, k in ((a, b, (0, 1)), (a, c, (0, 2)), (b, c, (1, 2))):
        GTC.set_correlation(r[k], first, second)
    others = {"R": a / b * GTC.cos(c), "X": a / b * GTC.sin(c), "Z": a / b}
    for name, quantity in ours.items():
        assert_allclose(quantity.value, exact[name].nominal_value, rtol=1e-13)  # float rounding
        assert_allclose(quantity.u, exact[name].std_dev, rtol=1e-10)  # of a nearly singular covariance
        assert_allclose(quantity.u, GTC.uncertainty(others[name]), rtol=1e-10)  # as above
        assert_allclose(quantity.dof, GTC.dof(others[name]), rtol=1e-10)  # as above
    assert_allclose((ours["R"] - ours["X"]).u, (exact["R"] - exact["X"]).std_dev, rtol=1e-10)  # as above


def test_hardness():
    """JCGM 100:2008, H.6: u² 0.307, u 0.55, hardness 64.0 (depth 36 in units of 0.002 mm)."""
    x = EXAMPLES["gum.H.6"]["inputs"]
    result = 100 - measured(
        x["z"],
        Input("depth", x["s"] / np.sqrt(5)),
        limits("display", x["delta"] / 2),
        Input("machine", x["sS"] / np.sqrt(x["m"])),
        Input("block", x["sz"] / np.sqrt(x["n"])),
        limits("uniformity", x["x"] * x["z"] / 2, law="triangular"),
        Input("standard", x["uS"]),
    )
    assert_printed(result.value, "64.0")
    assert_printed(result.u**2, published("gum.H.6", "uc2"))
    assert_printed(result.u, "0.55")
    assert str(result.in_unit("HRC")) == "64.0 ± 1.1 HRC (95 %)"


# --- JCGM 101


def four(law):
    return [measured(0.0, Input(k, 1.0, law=law)) for k in range(4)]


def total(x1, x2, x3, x4):
    return x1 + x2 + x3 + x4


def test_sum_of_four_normals():
    """JCGM 101:2008, 9.2.2, Table 2: u 2.00, interval ±3.92 by every method."""
    linear = total(*four("normal"))
    assert_printed(linear.u, "2.00")
    assert_printed(linear.interval(0.95)[1], "3.92")
    drawn = draws(total, *four("normal"), trials=TRIALS, seed=1)
    assert_allclose(drawn.mean(), 0.0, atol=4 * 2.0 / np.sqrt(TRIALS))  # four standard errors
    assert_allclose(drawn.std(), 2.0, rtol=4 / np.sqrt(2 * TRIALS))  # four standard errors
    exact = 2 * 1.959963985  # closed form
    assert_allclose(
        np.abs(interval(drawn, 0.95)), exact, atol=4 * quantile_error(0.02922)
    )  # four; density there / 2
    check = validate(linear, drawn, coverage=0.95)
    assert_allclose(check.tolerance, 0.05, rtol=1e-12)  # printed; half of 0.1, exact
    assert check.validated
    assert_allclose(check.content, 0.95, atol=4 * np.sqrt(0.95 * 0.05 / TRIALS))  # four standard errors


def test_sum_of_four_rectangulars():
    """JCGM 101:2008, 9.2.3, Table 3: interval ±2 sqrt 3 (2 - (3/5)^(1/4)) = ±3.88; with all four taken as
    normal ±3.92 (printed); with one of them kept rectangular between the two.
    """
    exact = 2 * np.sqrt(3) * (2 - 0.6**0.25)
    assert_printed(exact, "3.88")
    drawn = draws(total, *four("rectangular"), trials=TRIALS, seed=1)
    assert_allclose(
        np.abs(interval(drawn, 0.95)), exact, atol=4 * quantile_error(0.0328)
    )  # four; closed-form density there
    linear = total(*four("rectangular"))
    assert_printed(coverage_factor(0.95) * linear.u, "3.92")
    assert exact < linear.half_width(0.95) < coverage_factor(0.95) * linear.u


def squares(x1, x2):
    return (x1**2 + x2**2) * 1e6


def microwave(x1, r=0.0):
    """JCGM 101:2008, 9.4: x1 and x2 with u 0.005 and correlation r."""
    v = 0.005**2
    return from_fit(("x1", "x2"), (x1, 0.0), [[v, r * v], [r * v, v]])


def test_zero_sensitivity_never_prints_certainty():
    """JCGM 101:2008, 9.4, Table 8, x1 = 0: first order gives u = 0; true y 50, u 50, [0, 150] (-50 ln 0.05
    = 149.79).
    """
    result = apply(squares, *microwave(0.0))
    assert result.how == "by draws"
    assert_printed(result.value, "50")
    assert_printed(result.u, "50")
    low, high = result.interval(0.95)
    assert_allclose(low, 0.0, atol=0.01)  # the shortest interval starts at the smallest draws
    # four standard errors of a 95 % quantile of an exponential of mean 50, 200 000 draws
    assert_allclose(high, -50 * np.log(0.05), atol=4 * quantile_error(0.05 / 50, 0.05, 200_000))
    assert str(result).endswith("95 %, by draws)")


def test_zero_sensitivity_with_correlation():
    """JCGM 101:2008, 9.4, Table 9, x1 = 0, r = 0.9: y 50, u 67, [0, 185]."""
    result = apply(squares, *microwave(0.0, 0.9))
    assert result.how == "by draws"
    assert_allclose(result.value, 50, atol=4 * 67.3 / np.sqrt(200_000))  # four standard errors
    assert_allclose(result.u, 67.27, rtol=4 * np.sqrt(14 / 4 / 200_000))  # four, kurtosis 15
    # printed 185, 184.7 at full precision; four standard errors of the end (density by 0.05/95 there)
    assert_allclose(result.interval(0.95)[1], 184.7, atol=4 * quantile_error(0.05 / 95, 0.05, 200_000))


@pytest.mark.parametrize(("r", "example"), [(0.0, "s1.9.4.x0.05.r0"), (0.9, "s1.9.4.x0.05.r0.9")])
def test_small_sensitivity(r, example):
    """JCGM 101:2008, 9.4, Tables 8 and 9, x1 = 0.05: first order 2500, 500, [1520, 3480]; by distributions
    as printed.
    """
    linear = apply(squares, *microwave(0.05, r))
    assert linear.how == ""
    assert_printed(linear.value, "2500")
    assert_printed(linear.u, "500")
    assert_printed(linear.interval(0.95)[0], "1520")
    assert_printed(linear.interval(0.95)[1], "3480")
    drawn = draws(squares, *microwave(0.05, r), trials=TRIALS)
    analytic = EXAMPLES[example]["recomputed"]
    assert_allclose(drawn.mean(), analytic["y"], atol=4 * 505 / np.sqrt(TRIALS))  # four standard errors
    assert_allclose(drawn.std(), analytic["u"], atol=4 * 505 / np.sqrt(2 * TRIALS))  # as above
    low, high = json.loads(EXAMPLES[example]["published"]["M"]["I"])
    # ends of a shortest interval of a million trials scatter by 3 in ours and in the printed one; four of
    # sqrt(2) x 3
    assert_allclose(interval(drawn, 0.95, "shortest"), (low, high), atol=17)


def test_gauge_block_by_distributions():
    """JCGM 101:2008, 9.5, Tables 10 and 11: by distributions 838, 36, [745, 932]; GUM framework 838, 32.

    Limits that are inexact themselves (curvilinear trapezoids there) are trapezoids here, as wide and with the
    same variance: that moves no printed figure.
    """
    edge, blur = np.array([1e-6, 0.05]), np.array([0.1e-6, 0.025])
    wide, top = edge + blur / 2, np.empty(2)
    top[:] = np.sqrt(6 * (edge**2 / 3 + blur**2 / 9) / wide**2 - 1)
    inputs = {
        "standard": measured(50_000_623, Input("standard", 25, dof=18)),
        "difference": measured(215, Input("difference", 6, dof=24)),
        "comparator": measured(0, Input("comparator", 4, dof=5)),
        "systematic": measured(0, Input("systematic", 7, dof=8)),
        "expansion": measured(11.5e-6, limits("expansion", 2e-6)),
        "mean_temperature": measured(-0.1, Input("mean_temperature", 0.2)),
        "cycle": measured(0, limits("cycle", 0.5, law="arcsine")),
        "expansion_difference": measured(0, limits("alpha", wide[0], law="trapezoidal", top=top[0])),
        "temperature_difference": measured(0, limits("theta", wide[1], law="trapezoidal", top=top[1])),
    }
    drawn = draws(lambda *q: gauge_block(*q) - 50_000_000, *inputs.values(), trials=TRIALS, seed=1)
    assert_printed(drawn.mean(), "838")
    assert_printed(drawn.std(), "36")
    # ends of the shortest 99 % interval scatter by some 0.6 nm in ours and in the printed one, and are
    # printed to 1 nm
    assert_allclose(interval(drawn, 0.99, "shortest"), (745, 932), atol=0.5 + 4 * 0.6 * np.sqrt(2))
    linear = gauge_block(**inputs) - 50_000_000
    assert_printed(linear.value, "838")
    assert_printed(linear.u, "32")


def test_three_equal_rectangulars():
    """JCGM 100:2008, G.2.2: the sum of three equal rectangular distributions has k95 1.937 and k99 2.379."""
    inputs = [measured(0.0, limits(n, 1.0)) for n in "abc"]
    drawn = draws(lambda a, b, c: a + b + c, *inputs, trials=TRIALS, seed=2)
    for coverage, key, density in ((0.95, "k95", 0.0715), (0.99, "k99", 0.0244)):
        low, high = interval(drawn, coverage)
        error = quantile_error(
            density, (1 - coverage) / 2
        )  # density of the closed form at the end, four errors
        assert_allclose((high - low) / 2, float(published("gum.G.2.2", key)), atol=4 * error + 0.0005)


# --- EA-4/02


def test_weight_of_ten_kilograms():
    """EA-4/02, S2 (2022 edition): u 29.2 mg, U 58 mg with k = 2."""
    x = EXAMPLES["ea.S2"]["inputs"]
    standard = measured(10_000_005, Input("standard", x["mS"]["u_mg"]), limits("drift", x["dmD"]["rect_mg"]))
    difference = measured(
        20,
        Input("difference", x["dm"]["u_mg"]),  # pooled 25 mg over sqrt 3
        limits("eccentricity", x["dmC"]["rect_mg"]),
        limits("buoyancy", x["dB"]["rect_mg"]),
    )
    result = standard + difference
    assert_printed(result.value / 1000, "10000.025")
    assert_printed(result.u, "29.2")
    assert_printed(2 * result.u, "58")


def test_gauge_block_of_fifty_millimetres():
    """EA-4/02, S4 (from memory): 49.999926 mm, u 36.4 nm, U 73 nm; the second-order term enters as 11.8 nm
    of its own.
    """
    x = EXAMPLES["ea.S4"]["inputs"]
    parts = [
        measured(50_000_020, Input("standard", x["lS"]["u_nm"]), limits("drift", x["dlD"]["rect_nm"])),
        measured(-94, Input("difference", 12 / np.sqrt(5)), limits("comparator", x["dlC"]["rect_nm"])),
        measured(0, limits("temperature", 0.05)),
        measured(0, Input("second order", x["dalpha_dt"]["u_nm"]), limits("variation", x["dlV"]["rect_nm"])),
    ]
    result = combine([1, 1, x["dt"]["c_nm_per_C"], 1], parts)
    assert_printed(result.value / 1e6, "49.999926")
    assert_printed(result.u, "36.4")
    assert_printed(2 * result.u, "73")


def test_caliper_with_two_dominating_rectangulars():
    """EA-4/02, S10 (from memory): trapezoid, beta 0.33, k 1.83, U 0.06 mm (u 32.3 um; 33 printed from
    rounded parts).
    """
    x = EXAMPLES["ea.S10"]["inputs"]
    result = measured(
        100,
        limits("resolution", x["res_half_um"]),
        limits("mechanical", x["mech_half_um"]),
        limits("standard", x["lS_half_um"]),
        (limits("temperature", x["dt"]["half_C"]), x["dt"]["c_um_per_C"]),
    )
    assert_allclose(result.u, 32.3378, rtol=1e-5)  # recomputed, to its printed digits
    low, high = interval(draws(lambda e: e, result, trials=TRIALS, seed=3), 0.95)
    half = (high - low) / 2
    # printed k leaves out the two small parts, which add under 0.1 um² to 32.3²; and it is printed to 0.01
    assert_allclose(half / result.u, 1.83, atol=0.01)
    assert_printed(half / 1000, "0.06")
    assert_printed(result.half_width(0.95) / 1000, "0.06")
    assert_allclose(result.half_width(0.95), half, rtol=0.02)  # the second rectangle is taken as normal
    single = measured(0, limits("both", 75, law="trapezoidal", top=1 / 3))
    closed = (1 - np.sqrt(0.05 * (1 - 1 / 9))) / np.sqrt((1 + 1 / 9) / 6)  # EA-4/02, S10.13
    assert_printed(closed, published("ea.S10", "k"))
    spread = quantile_error(
        2 * 0.025 / (np.sqrt(0.05 * 8 / 9) * 75)
    )  # density at the end of a trapezoid, closed form
    alone = interval(draws(lambda both: both, single, trials=TRIALS, seed=3), 0.95)
    assert_allclose(alone[1] / single.u, closed, atol=4 * spread / single.u)


def test_one_dominating_rectangular():
    """EA-4/02, S9.14 (from memory): one rectangular input that dominates gives k = 1.65 (0.95 sqrt 3)."""
    assert_printed(flat_factor(0.95, 1.0) * coverage_factor(0.95), "1.65")
    assert_allclose(measured(0.0, limits("a", 7.0)).half_width(0.95), 0.95 * 7.0, rtol=1e-14)  # closed form
