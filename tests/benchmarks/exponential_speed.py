"""Speed of fitting sums of exponentials without start values, side by side with general-purpose fitters.

    python tests/benchmarks/exponential_speed.py [curves] [speed] [squares]

Each curve is fitted with an offset and 0, 1 and 2 exponentials. `lmfit` (time constants bounded as here)
and `scipy.optimize.curve_fit` (analytic Jacobian) are started at the true parameters, which favours them:
nobody has them at the bench. Ratios are of medians of processor time.

Measured (100 curves, the other core busy):

- all three orders of a curve, with covariance: 10, 11, 13 and 25 ms for 20, 60, 200 and 2000 readings; lmfit takes 0.8,
  0.7, 0.8 and 0.4 of it, curve_fit 0.08 to 0.13.
- sums of squares behind the best known by more than 1e-6 (the best of all ways here, of 20 searches from random
  time constants and of one from the truth), 50 curves of one rate and 50 of two in each row of 20, 30, 60 and 200
  readings, each at its own order: none. Two terms asked of a curve that has one leave many nearly equal minima: 2 to
  10 % of the fits end in another one.
- a two-sided bound beyond the record with its fit 0.9 ms; certified problems 5, 5, 8 and 9 ms.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import json
import sys
import time
import warnings
from functools import partial
from pathlib import Path

import lmfit
import numpy as np
from scipy.optimize import curve_fit

from photolab.thermal.bounds import MonotoneFit, ratio_bounds
from photolab.thermal.exponentials import LONGEST_PART, SHORTEST_PART, fit_exponentials
from photolab.thermal.variable_projection import LEAST_GAP, Separable, kept_apart, settle, solve

REPEATS = 3
STRD = Path(__file__).parents[1] / "reference" / "nist_strd"


def invented(rng, curves, readings):
    """Half of the curves have one rate, half two; of these a third overshoots."""
    x = np.sort(np.concatenate([[0.0, 40.0], rng.uniform(0.0, 40.0, readings - 2)]))
    slow = np.exp(rng.uniform(np.log(6.0), np.log(16.0), curves))
    fast = slow / np.exp(rng.uniform(np.log(3.0), np.log(7.0), curves))
    large = rng.uniform(90.0, 150.0, curves)
    small = rng.uniform(50.0, 90.0, curves) * np.where(rng.random(curves) < 1 / 3, -1.0, 1.0)
    small[: curves // 2] = 0.0
    y = 850.0 + large[:, None] * np.exp(-x / slow[:, None]) + small[:, None] * np.exp(-x / fast[:, None])
    start = np.stack([np.full(curves, 850.0), large, slow, np.where(small == 0.0, 5.0, small), fast], axis=1)
    return x, y + 2.0 * rng.standard_normal(y.shape), start


def one_term(x, c, a, p):
    return c + a * np.exp(-x / p)


def two_terms(x, c, a, p, b, q):
    return c + a * np.exp(-x / p) + b * np.exp(-x / q)


def slope(x, c, *pairs):
    columns = [np.ones_like(x)]
    for a, tau in zip(pairs[::2], pairs[1::2], strict=True):
        decay = np.exp(-x / tau)
        columns += [decay, a * x / tau**2 * decay]
    return np.stack(columns, axis=1)


def by_photolab(x, y):
    return [fit_exponentials(x, y, terms=terms).residual_sum_of_squares for terms in (0, 1, 2)]


def by_lmfit(x, y, start):
    squares = [float(np.sum((y - y.mean()) ** 2))]
    for model, count in ((lmfit.Model(one_term), 3), (lmfit.Model(two_terms), 5)):
        names = model.param_names
        parameters = model.make_params(**dict(zip(names, start[:count], strict=True)))
        for name in {"p", "q"} & set(names):  # without bounds it walks to negative time constants and stops
            parameters[name].set(min=0.2, max=200.0)
        result = model.fit(y, parameters, x=x)
        squares.append(float(result.chisqr))
    return squares


def by_curve_fit(x, y, start):
    squares = [float(np.sum((y - y.mean()) ** 2))]
    for function, count in ((one_term, 3), (two_terms, 5)):
        try:
            found, _ = curve_fit(function, x, y, start[:count], jac=slope, method="lm", maxfev=2000)
            squares.append(float(np.sum((y - function(x, *found)) ** 2)))
        except (RuntimeError, ValueError):
            squares.append(np.inf)
    return squares


def seconds(action):
    taken = []
    for _ in range(REPEATS):
        begin = time.process_time()
        result = action()
        taken.append(time.process_time() - begin)
    return float(np.median(taken)), result


def compared(readings, curves, rng):
    """Return a line: seconds for all curves and orders, ratios, and how the sums of squares compare."""
    x, table, start = invented(rng, curves, readings)
    ours, fits = seconds(lambda: [by_photolab(x, y) for y in table])
    slow, by_first = seconds(lambda: [by_lmfit(x, y, one) for y, one in zip(table, start, strict=True)])
    quick, by_second = seconds(lambda: [by_curve_fit(x, y, one) for y, one in zip(table, start, strict=True)])
    pick = np.arange(curves), 1 + (np.arange(curves) >= curves // 2)  # the order each curve was made with
    squares = [np.array(one) for one in (fits, by_first, by_second)]
    best = np.min(np.stack(squares), axis=0)
    behind = [100 * np.mean(one[pick] / best[pick] - 1 > 1e-6) for one in squares]
    return (
        f"{readings:5d} readings: {1e3 * ours / curves:.1f} ms a curve;"
        f" lmfit / ours {slow / ours:.1f}, curve_fit / ours {quick / ours:.2f};"
        f" behind the best by 1e-6, right order: ours {behind[0]:.1f} %,"
        f" lmfit {behind[1]:.1f} %, curve_fit {behind[2]:.1f} %"
    )


def behind_best(readings, curves):
    """Return a line: share of fits whose sum of squares lies above the best known."""
    rng = np.random.default_rng(100 + readings)
    x, table, start = invented(rng, curves, readings)
    limits = tuple(float(np.log(np.ptp(x) * part)) for part in (SHORTEST_PART, LONGEST_PART))
    ours, best = np.empty((curves, 2)), np.empty((curves, 2))
    for i in range(curves):
        problem = Separable(x, table[i], np.ones((x.size, 1)), np.ones(x.size), False, limits)
        random = np.random.default_rng(i)
        for terms in (1, 2):
            starts = [*random.uniform(*limits, (20, terms)), np.log(start[i, [2, 4]][:terms])]
            ours[i, terms - 1] = solve(problem, terms)[-1].sum_of_squares
            apart = (kept_apart(one, LEAST_GAP, limits) for one in starts)
            best[i, terms - 1] = min(settle(problem, one).sum_of_squares for one in apart)
    share, half = 100 * (ours / np.minimum(best, ours) - 1 > 1e-6), curves // 2
    return (
        f"{readings:5d} readings, behind the best known: one {share[:half, 0].mean():.1f} %,"
        f" two {share[half:, 1].mean():.1f} %, two on one {share[:half, 1].mean():.1f} %"
    )


def certified_times():
    """Median milliseconds of the certified problems, from no start."""
    cells = []
    for name, terms, form in (
        ("Misra1a", 1, "rise"),
        ("MGH17", 2, "approach"),
        ("Lanczos2", 3, "decay"),
        ("Lanczos3", 3, "decay"),
    ):
        data = json.loads((STRD / f"{name}.json").read_text(encoding="utf-8"))["data"]
        taken, _ = seconds(partial(fit_exponentials, data["x"], data["y"], terms=terms, form=form))
        cells.append(f"{name} {1e3 * taken:.0f} ms")
    return "certified problems from no start: " + ", ".join(cells)


def bound_time(rng):
    """Median time of a two-sided bound."""
    time_s = np.linspace(0.0, 2400.0, 120)
    taken = []
    for _ in range(30):
        light = 850.0 + 120.0 * np.exp(-time_s / 480.0) + 2.0 * rng.standard_normal(120)
        begin = time.process_time()
        fit = MonotoneFit(time_s, light, np.zeros(119))
        ratio_bounds(fit, fit.row(np.array([3600.0])), fit.row(np.array([60.0])), allowance=20.0)
        taken.append(time.process_time() - begin)
    return f"two-sided bound beyond the record, fit included: {1e3 * np.median(taken):.1f} ms"


def main(arguments):
    warnings.simplefilter("ignore")  # the other fitters warn on flat directions
    curves = int(arguments[0]) if arguments else 200
    studies = arguments[1:] or ["speed", "squares"]
    sys.stdout.write(f"{curves} curves x (0, 1, 2 terms)\n")
    if "speed" in studies:
        rng = np.random.default_rng(1)
        for readings in (20, 60, 200, 2000):
            sys.stdout.write(compared(readings, curves, rng) + "\n")
            sys.stdout.flush()
        sys.stdout.write(bound_time(rng) + "\n" + certified_times() + "\n")
    if "squares" in studies:
        for readings in (20, 30, 60, 200):
            sys.stdout.write(behind_best(readings, curves) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
