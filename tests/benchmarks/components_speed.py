"""Speed of nested components beside statsmodels MixedLM.

Run ``python tests/benchmarks/components_speed.py``. Both get the same table (specimen / mounting / readings) and search
the restricted likelihood. Two times are set side by side, medians of each: the whole call from the table on (ours with
intervals and mean, MixedLM with its design and its default optimiser, without intervals of the components), and the
estimates alone once both have prepared their tables. Printed too: by how much minus twice the log-likelihood of
MixedLM lies above ours (a better optimum would be negative).

Measured in processor time, one thread: estimates alone, balanced 0.03 ms, ratio 480 (3x3x3), 680, 1070 and 2100
(20x4x3); unbalanced 5 to 20 specimens 1.3-2.9 ms, ratio 13-54. Whole calls, balanced 0.25 ms, ratio 85 to 355;
unbalanced 2.0-3.5 ms, ratio 14-50. MixedLM never reached a better optimum (3e-12 is rounding), and missed it by up to
2.5 where a component is zero.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
import time
import warnings

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

from photolab.metrology.components import _closed_form, _encode, _summarise, nested_components
from photolab.metrology.reml import maximise, restricted_likelihood, unweighted_squares

LEVELS = ["specimen", "mounting"]


def simulated(counts, sds, rng):
    """Return a table with the given readings of each mounting of each specimen."""
    rows = []
    for unit, seats in enumerate(counts):
        u = sds[0] * rng.standard_normal()
        for seat, n in enumerate(seats):
            m = sds[1] * rng.standard_normal()
            rows += [(unit, seat, 100.0 + u + m + sds[2] * rng.standard_normal()) for _ in range(n)]
    return pd.DataFrame(rows, columns=[*LEVELS, "value"])


def timed(call, repeats):
    """Return the median processor time of a call in seconds and its last result."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        result = call()
        times.append(time.process_time() - start)
    return float(np.median(times)), result


def prepared(table):
    """Return the table grouped, as both methods need it before they estimate."""
    readings, codes = _encode(table, "value", LEVELS, [])
    return _summarise(readings, codes, LEVELS)[0]


def estimates(groups):
    """Return variances and criterion of a grouped table."""
    squares = unweighted_squares(groups)
    if groups.balanced:
        return _closed_form(groups, squares)
    ratios = maximise(groups, squares)
    sweep = restricted_likelihood(groups, ratios)
    return np.append(ratios, 1.0) * sweep.reading_variance, sweep.objective


def model(table):
    """Return MixedLM for the same model, its design built."""
    return smf.mixedlm(
        "value ~ 1", table, groups="specimen", re_formula="1", vc_formula={"mounting": "0 + C(mounting)"}
    )


def fit(ready):
    """Fit MixedLM."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return ready.fit(reml=True)


def compare(name, make, tables=6):
    """Print one line for a design: whole calls, and the estimates alone on prepared tables."""
    whole, alone, above, ours = [], [], [], []
    for _ in range(tables):
        table = make()
        groups, ready = prepared(table), model(table)
        nested_components(table, "value", LEVELS)
        one, result = timed(lambda table=table: nested_components(table, "value", LEVELS), 15)
        core, _ = timed(lambda groups=groups: estimates(groups), 15)
        other, fitted = timed(lambda table=table: fit(model(table)), 3)
        only, _ = timed(lambda ready=ready: fit(ready), 3)
        whole.append(other / one)
        alone.append(only / core)
        ours.append((one, core, other, only))
        above.append(-2.0 * fitted.llf - result.criterion)
    one, core, other, only = 1e3 * np.median(np.array(ours), axis=0)
    sys.stdout.write(
        f"{name:>32}: whole {one:.3f} ms against {other:.0f} ms, ratio {np.median(whole):.0f}; estimates alone "
        f"{core:.3f} ms against {only:.0f} ms, ratio {np.median(alone):.0f}; MixedLM's criterion above ours by "
        f"{np.min(above):.1e} to {np.max(above):.1e}\n"
    )


def main():
    """Run all designs."""
    rng = np.random.default_rng(9)
    for a, b, n in ((3, 3, 3), (5, 3, 3), (10, 3, 3), (20, 4, 3)):
        compare(f"balanced {a}x{b}x{n}", lambda a=a, b=b, n=n: simulated([[n] * b] * a, (3.0, 1.5, 0.3), rng))
    for units in (5, 10, 20):
        for sds in ((3.0, 1.5, 0.3), (0.3, 1.5, 1.5)):

            def ragged(units=units, sds=sds):
                counts = [rng.integers(1, 4, rng.integers(2, 5)).tolist() for _ in range(units)]
                return simulated(counts, sds, rng)

            compare(f"unbalanced {units}, sd {sds}", ragged)


if __name__ == "__main__":
    main()
