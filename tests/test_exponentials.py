"""Oracles: NIST/ITL Statistical Reference Datasets (certified), synthetic truth, lmfit."""

import json
from pathlib import Path

import lmfit
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import curve_fit

from photolab.errors import MethodError
from photolab.thermal.exponentials import fit_exponentials

STRD = Path(__file__).parent / "reference" / "nist_strd"
# name: terms, form, certified names of offset, amplitudes and rates, rates ascending
CERTIFIED = {
    "Misra1a": (1, "rise", None, ("b1",), ("b2",)),
    "MGH17": (2, "approach", "b1", ("b2", "b3"), ("b4", "b5")),
    "Lanczos2": (3, "decay", None, ("b1", "b3", "b5"), ("b2", "b4", "b6")),
    "Lanczos3": (3, "decay", None, ("b1", "b3", "b5"), ("b2", "b4", "b6")),
}
TEN_DIGITS = 1e-10  # the certified values carry 11 digits; the last is left out


def certified(name):
    record = json.loads((STRD / f"{name}.json").read_text(encoding="utf-8"))
    x, y = (np.array(record["data"][column], dtype=float) for column in ("x", "y"))
    return x, y, record["certified"]


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_parameters_and_uncertainties(name):
    # Oracle: NIST StRD certified values; no start value is given.
    terms, form, offset, amplitudes, rates = CERTIFIED[name]
    x, y, truth = certified(name)
    fit = fit_exponentials(x, y, terms=terms, form=form)
    parameters = truth["params"]
    for names, values, uncertainties in (
        (amplitudes, fit.amplitudes, fit.amplitude_uncertainties),
        (rates, fit.rates, fit.rate_uncertainties),
    ):
        assert_allclose(values, [parameters[one]["value"] for one in names], rtol=TEN_DIGITS)
        assert_allclose(uncertainties, [parameters[one]["sd"] for one in names], rtol=TEN_DIGITS)
    if offset:
        assert_allclose(fit.offset, parameters[offset]["value"], rtol=TEN_DIGITS)
        assert_allclose(fit.offset_uncertainty, parameters[offset]["sd"], rtol=TEN_DIGITS)
    assert_allclose(fit.residual_sum_of_squares, truth["rss"], rtol=TEN_DIGITS)
    assert fit.dof == x.size - 2 * terms - (form == "approach")
    assert np.all(np.diff(fit.rates) > 0) or terms == 1


@pytest.mark.parametrize("shift", [0.0, 40.0])
def test_order_of_readings_and_origin_do_not_matter(shift):
    # Oracle: closed form; a shift of x by s multiplies amplitudes by exp(s rate) and leaves the rest.
    x, y, _ = certified("MGH17")
    here = fit_exponentials(x, y, terms=2)
    there = fit_exponentials(x[::-1] + shift, y[::-1], terms=2)
    # rounding: the two taus lie close together, which costs about six of sixteen digits
    assert_allclose(there.rates, here.rates, rtol=1e-9)
    assert_allclose(there.rate_uncertainties, here.rate_uncertainties, rtol=1e-8)
    assert_allclose(there.amplitudes, here.amplitudes * np.exp(shift * here.rates), rtol=1e-8)
    assert_allclose(there.evaluate(x + shift), here.evaluate(x), rtol=1e-11)


def curves(rng, count, readings, *, opposite=False, noise=2.0):
    x = np.sort(np.concatenate([[0.0, 40.0], rng.uniform(0.0, 40.0, readings - 2)]))
    slow = rng.uniform(8.0, 15.0, (count, 1))
    fast = slow / rng.uniform(3.0, 7.0, (count, 1))
    sign = -1.0 if opposite else 1.0
    clean = (
        850.0 + 120.0 * np.exp(-x / slow) + sign * rng.uniform(60.0, 100.0, (count, 1)) * np.exp(-x / fast)
    )
    return x, clean + noise * rng.standard_normal((count, readings))


def lmfit_squares(x, y, start):
    model = lmfit.Model(lambda x, c, a, b, p, q: c + a * np.exp(-x / p) + b * np.exp(-x / q))
    parameters = model.make_params(**dict(zip("cabpq", start, strict=True)))
    return model.fit(y, parameters, x=x, method="leastsq", fit_kws={"xtol": 1e-12, "ftol": 1e-12})


@pytest.mark.parametrize("opposite", [False, True])
def test_second_implementation_agrees(opposite):
    # Oracle: lmfit (MINPACK) started at the truth; an overshoot has amplitudes of opposite signs.
    rng = np.random.default_rng(4)
    x, table = curves(rng, 6, 80, opposite=opposite)
    for y in table:
        fit = fit_exponentials(x, y, terms=2)
        other = lmfit_squares(x, y, (850.0, 120.0, -80.0 if opposite else 80.0, 11.0, 2.5))
        order = np.argsort([-other.params[k].value for k in "pq"])
        # MINPACK stops at about 1e-7 of a parameter
        assert_allclose(fit.time_constants, np.array([other.params[k].value for k in "pq"])[order], rtol=1e-5)
        assert_allclose(fit.residual_sum_of_squares, other.chisqr, rtol=1e-9)
        stderr = np.array([other.params[k].stderr for k in "pq"])[order]
        assert_allclose(fit.time_constant_uncertainties, stderr, rtol=1e-3)  # its Jacobian is by differences


@pytest.mark.parametrize(("form", "sign"), [("approach", 1.0), ("decay", 1.0), ("rise", -1.0)])
def test_covariance_is_that_of_a_second_implementation(form, sign):
    # Oracle: scipy.optimize.curve_fit from the fit itself; its Jacobian is of differences.
    x = np.linspace(1.0, 40.0, 60)
    y = 5.0 * (form == "approach") + (form == "rise") * 9.0 + sign * 9.0 * np.exp(-x / 8.0)
    y = y + 0.05 * np.random.default_rng(9).standard_normal(60)
    fit = fit_exponentials(x, y, terms=1, form=form)
    laws = {
        "approach": lambda t, c, a, k: c + a * np.exp(-k * t),
        "decay": lambda t, a, k: a * np.exp(-k * t),
        "rise": lambda t, a, k: a * (1.0 - np.exp(-k * t)),
    }
    start = [*([fit.offset] if form == "approach" else []), *fit.amplitudes, *fit.rates]
    found, covariance = curve_fit(laws[form], x, y, p0=start)
    assert_allclose(start, found, rtol=1e-5)
    assert_allclose(fit.covariance, covariance, rtol=1e-4)


def test_weights_act_as_repeated_readings():
    # Oracle: closed form; a weight of 2 is the same as the reading twice.
    rng = np.random.default_rng(5)
    x, (y,) = curves(rng, 1, 60)
    weights = np.where(np.arange(60) % 3 == 0, 2.0, 1.0)
    twice = np.repeat(np.arange(60), weights.astype(int))
    weighted = fit_exponentials(x, y, terms=2, weights=weights)
    repeated = fit_exponentials(x[twice], y[twice], terms=2)
    assert_allclose(weighted.rates, repeated.rates, rtol=1e-8)  # rounding, magnified by close rates
    assert_allclose(weighted.residual_sum_of_squares, repeated.residual_sum_of_squares, rtol=1e-12)
    squares = [one.dof * np.diagonal(one.covariance) for one in (weighted, repeated)]  # 55 and 75 dof
    assert_allclose(*squares, rtol=1e-6)  # as of the rates
    left_out = fit_exponentials(x, np.where(np.arange(60) == 7, 1e6, y), terms=1, weights=np.arange(60) != 7)
    without = fit_exponentials(np.delete(x, 7), np.delete(y, 7), terms=1)
    assert_allclose(left_out.offset, without.offset, rtol=1e-9)
    assert_allclose(left_out.offset_uncertainty, without.offset_uncertainty, rtol=1e-6)


def test_robust_fit_is_not_pulled_by_outliers():
    # Oracle: synthetic truth; one reading in twenty is off by 10 to 40 noise SDs.
    rng = np.random.default_rng(6)
    x = np.linspace(0.0, 40.0, 120)
    truth = 850.0 + 120.0 * np.exp(-x / 8.0)
    y = truth + 2.0 * rng.standard_normal(120)
    bad = rng.choice(120, 6, replace=False)
    y[bad] += rng.uniform(20.0, 80.0, 6)
    plain, robust = (fit_exponentials(x, y, terms=1, robust=option) for option in (False, True))
    assert np.all(robust.weights[bad] < 1e-6)
    assert abs(robust.offset - 850.0) < 4 * robust.offset_uncertainty  # 4 SDs
    assert np.max(np.abs(robust.evaluate(x) - truth)) < 0.25 * np.max(np.abs(plain.evaluate(x) - truth))
    clean = fit_exponentials(x, truth + 2.0 * rng.standard_normal(120), terms=1)
    assert_allclose(
        robust.offset_uncertainty, clean.offset_uncertainty, rtol=0.4
    )  # an SD from 117 dof and 95 % efficiency


def test_robust_weights_are_tukeys_at_the_scale_of_the_residuals():
    # Oracle: definition, where the steps stand still: biweight at 4.685 s, s = 1.4826 median |r| n / (n - p).
    x = np.linspace(0.0, 40.0, 60)
    y = 850.0 + 120.0 * np.exp(-x / 8.0) + 2.0 * np.random.default_rng(7).standard_t(3, 60)
    fit = fit_exponentials(x, y, terms=1, robust=True)
    residual = np.abs(y - fit.evaluate(x))
    share = residual / (4.685 * 1.4826 * np.median(residual) * 60 / 57)
    assert_allclose(fit.weights, np.where(share < 1.0, (1.0 - share**2) ** 2, 0.0), atol=1e-4)  # 16 steps


def test_robust_uncertainty_is_that_of_its_efficiency():
    # Oracle: published; the biweight at 4.685 has 95 % efficiency on normal noise (Huber and Ronchetti,
    # from memory), so that its SD is 1.026 of least squares. Mean of 12 records, whose own scatter is
    # about 0.05.
    rng = np.random.default_rng(12)
    x = np.linspace(0.0, 40.0, 200)
    ratios = []
    for _ in range(12):
        y = 850.0 + 120.0 * np.exp(-x / 8.0) + 2.0 * rng.standard_normal(200)
        plain, robust = (fit_exponentials(x, y, terms=1, robust=option) for option in (False, True))
        ratios.append(robust.offset_uncertainty / plain.offset_uncertainty)
    assert_allclose(np.mean(ratios), 1.026, atol=0.045)


def test_uncertainty_holds_on_white_noise():
    # Oracle: synthetic truth; 95 % of 150 intervals, tolerance 3.5 binomial SDs.
    rng = np.random.default_rng(7)
    x = np.linspace(0.0, 40.0, 40)
    held = []
    for _ in range(150):
        fit = fit_exponentials(x, 850 + 120 * np.exp(-x / 8) + 2 * rng.standard_normal(40), terms=1)
        held.append(abs(fit.time_constants[0] - 8.0) < 2.026 * fit.time_constant_uncertainties[0])
    assert_allclose(np.mean(held), 0.95, atol=0.062)


def test_best_known_sums_of_squares():
    # Oracle: second implementation (lmfit from the truth) on 60 records of two terms, a third with opposite
    # signs; fewer than one in two hundred may be worse, so of 60 none.
    rng = np.random.default_rng(10)
    for opposite in (False, False, True):
        x, table = curves(rng, 20, 120, opposite=opposite)
        ours = np.array([fit_exponentials(x, y, terms=2).residual_sum_of_squares for y in table])
        best = [
            lmfit_squares(x, y, (850.0, 120.0, -80.0 if opposite else 80.0, 11.0, 2.5)).chisqr for y in table
        ]
        assert np.max(ours / np.array(best)) < 1 + 1e-6  # MINPACK stops at about 1e-7 of a parameter


def test_a_straight_line_is_reported_at_the_bound():
    # Oracle: closed form; a line is the limit of infinitely slow decay.
    x = np.linspace(0.0, 10.0, 30)
    fit = fit_exponentials(x, 900.0 - 3.0 * x, terms=1)
    assert fit.at_bound
    assert_allclose(fit.time_constants, 5.0 * 10.0, rtol=1e-9)  # five times the length of x
    step = fit_exponentials(
        x, np.where(x == 0.0, 903.0, 900.0), terms=1
    )  # and a jump that of infinitely fast
    assert_allclose(step.time_constants, 10.0 / 200, rtol=1e-9)


def test_no_terms_is_the_mean():
    # Oracle: closed form.
    fit = fit_exponentials([0.0, 1.0, 2.0, 3.0], [2.0, 4.0, 4.0, 6.0], terms=0)
    assert_allclose([fit.offset, fit.offset_uncertainty], [4.0, np.sqrt(8 / 3 / 4)], rtol=1e-14)
    assert fit.rates.size == 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"y": [1.0, 2.0]}, r"one length; got \(20,\), \(2,\)"),
        ({"y": [np.nan] + [1.0] * 19}, r"y\[0\] must be finite; got nan \(1 of 20 "),
        ({"weights": [-1.0] + [1.0] * 19}, r"weights\[0\] must be zero or more; got -1"),
        ({"terms": 4}, "terms must be 0 to 3"),
        ({"form": "growth"}, "form one of approach, rise, decay; got 1, 'growth'"),
        ({"time_constant_range": (5.0, 1.0)}, r"two positive ascending numbers; got \(5, 1\)"),
        ({"x": np.arange(20) + 1.7e9}, "must start nearer to zero"),
    ],
)
def test_bad_arguments_name_the_quantity(change, message):
    # Oracle: the contract of the function.
    given = {"x": np.arange(20.0), "y": np.exp(-np.arange(20.0) / 5), "terms": 1} | change
    with pytest.raises(ValueError, match=message):
        fit_exponentials(given.pop("x"), given.pop("y"), **given)


def test_refusals_carry_what_is_known():
    # Oracle: the contract; five parameters need six readings, and a constant has no rate.
    with pytest.raises(MethodError, match="more than 5 readings at different x; got 5") as refusal:
        fit_exponentials(np.arange(5.0), [5.0, 4.0, 3.5, 3.2, 3.1], terms=2)
    assert refusal.value.code == "too_few_readings"
    with pytest.raises(MethodError, match="all 20 readings are 950") as refusal:
        fit_exponentials(np.arange(20.0), np.full(20, 950.0), terms=1)
    assert refusal.value.known == {"level": 950.0}
