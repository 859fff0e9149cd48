"""Family-wise error of simultaneous comparisons of lamps that are truly equal.

Run `python tests/benchmarks/family_error.py`. Oracle: synthetic truth. Each repetition draws every error
afresh; with 20 dof the mounting SD is drawn afresh too and the covariance, its share of the variance and
the critical values follow from the drawn one (critical values on a grid of drawn SDs, interpolated). 200
000 repetitions: standard error 0.05 points, and some 0.03 from the quantile.

Measured (% of campaigns with at least one false claim, all pairs / against the baseline):
    balanced, u known 4.96 / 4.94; 20 dof 4.99 / 4.95; 9 dof 5.01 / 4.94; 4 dof 5.05 / 4.99
    demo,     u known 4.94 / 5.01; 20 dof 4.83 / 4.99; 9 dof 4.96 / 4.95; 4 dof 5.65 / 4.67
Under the demo covariance 4 dof are too few for a closed adjustment: 5.7 % where 5 % is stated.
"""

import sys

import numpy as np
from scipy import interpolate, stats

from photolab.metrology.comparison import pairwise

REPETITIONS = 200_000


def balanced():
    """Ten lamps, three mountings each: pooled mounting SD 2.5 %, own colour and scale known."""
    mounting = 0.025**2 / 3 * np.eye(10)
    return mounting, np.full((10, 10), 0.03**2 / 3)


def demo():
    """Baseline and eight lamps with unlike numbers of mountings, own colour, one technology colour, shared
    days."""
    mountings = np.array([16.0, 14.0, 2.0, 6.0, 6.0, 7.0, 3.0, 2.0, 3.0])
    mounting = np.diag(0.025**2 / mountings)
    led = np.ones(9)
    led[0] = 0.0
    known = np.outer(led, led) * 0.08**2 / 3 + np.diag(led) * (0.08 / 5 / np.sqrt(2)) ** 2 / 3
    days = np.zeros((9, 8))
    visits = ["12345678", "12678", "278", "378", "3", "1478", "578", "5", "5"]
    for lamp, text in enumerate(visits):
        for day in text:
            days[lamp, int(day) - 1] = 1.0 / len(text)
    return mounting, known + 0.009**2 * days @ days.T + 0.03**2 / 3


def error(mounting, known, *, dof, family, seed):
    """Share of campaigns with at least one false claim. [%]"""
    size = len(mounting)
    baseline = 0 if family == "dunnett" else None
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(mounting + known)
    y = rng.standard_normal((REPETITIONS, size)) @ root.T
    spread = np.ones(1) if np.isinf(dof) else stats.chi2.ppf(np.linspace(0, 1, 42)[1:-1], dof) / dof
    if not np.isinf(dof):
        ends = stats.chi2.ppf([1e-5, 1 - 1e-5], dof) / dof
        spread = np.concatenate([ends[:1], spread, ends[1:]])

    def half_widths(scale):
        part = scale * mounting
        groups = None if np.isinf(dof) else [(part, dof)]
        options = {"family": family, "baseline": baseline, "variance_groups": groups, "seed": seed}
        table = pairwise(np.zeros(size), part + known, **options)
        return table[["a", "b"]].to_numpy(), np.log(table["high"].to_numpy())

    tables = [half_widths(scale) for scale in spread]
    pairs = tables[0][0].astype(int)
    widths = np.array([width for _, width in tables])
    if np.isinf(dof):
        limit = widths[0]
    else:
        drawn = rng.chisquare(dof, REPETITIONS) / dof
        limit = interpolate.PchipInterpolator(spread, widths)(np.clip(drawn, spread[0], spread[-1]))
    false = np.abs(y[:, pairs[:, 0]] - y[:, pairs[:, 1]]) > limit
    return 100.0 * false.any(axis=1).mean()


def main():
    """Print the table."""
    for name, (mounting, known) in {"balanced": balanced(), "demo": demo()}.items():
        for dof in (np.inf, 20, 9, 4):
            found = [
                error(mounting, known, dof=dof, family=family, seed=12) for family in ("tukey", "dunnett")
            ]
            sys.stdout.write(f"{name:9s} dof {dof:4}: {found[0]:.2f} / {found[1]:.2f}\n")


if __name__ == "__main__":
    main()
