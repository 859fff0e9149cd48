"""Processor time of families of comparisons: 45 pairs, and all 44 850 pairs of 300 lamps.

Run `python tests/benchmarks/family_speed.py`. Medians of 9 (300 lamps: 3) after a first call, one core.

Measured with other work on both cores (45 pairs, and all pairs of 300 lamps, which are bounded and not drawn):
    equal uncertainties 4.3 ms and 63 ms; unequal 3.9 ms and 25 ms (u known), 4.1 ms and 66 ms (20 dof); two
    variance groups 5.2 ms and 68 ms; against a baseline (9 and 299 comparisons) 2.0 ms and 88 ms
"""

import sys
import time
from functools import partial

import numpy as np

from photolab.metrology.comparison import pairwise


def median_ms(call, repeats):
    """Median processor time of a call. [ms]"""
    call()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(1000.0 * (time.process_time() - start))
    return float(np.median(times))


def main():
    """Print the table; beyond 46 lamps all pairs are bounded, not drawn."""
    for size, repeats in ((10, 9), (300, 3)):
        values = np.linspace(0.0, 0.3, size)
        own = np.diag(np.linspace(0.01, 0.04, size) ** 2)
        cases = {
            "equal uncertainties, 20 dof": {"covariance": 0.02**2 * np.eye(size) + 0.01, "dof": 20},
            "unequal, u known": {"covariance": own + 0.01},
            "unequal, 20 dof": {"covariance": own + 0.01, "dof": 20},
            "two variance groups": {
                "covariance": own + 0.01 + 0.01**2 * np.eye(size),
                "variance_groups": [(own, 20), (0.01**2 * np.eye(size), 8)],
            },
            "against a baseline": {"covariance": own + 0.01, "dof": 20, "family": "dunnett", "baseline": 0},
        }
        for name, options in cases.items():
            time_ms = median_ms(partial(pairwise, values, **options), repeats)
            sys.stdout.write(f"{size:4d} lamps, {name:28s} {time_ms:8.1f} ms\n")


if __name__ == "__main__":
    main()
