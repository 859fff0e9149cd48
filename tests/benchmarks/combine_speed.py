"""Speed and memory of joining a campaign: 600 results from 13 000 inputs.

Run ``OMP_NUM_THREADS=1 python tests/benchmarks/combine_speed.py``. Forty inputs are shared by all results,
four hundred by fifteen each, the rest by one; a quarter rests on one pooled variance.

Measured (processor time of one core, the machine busy with other work): combine with its covariance 12 ms
(52 to 59 ms the first time), 10 MB beside the 116 MB of imports and inputs; 44 ms from a dense array; all 600
results 86 ms; one ratio 0.15 ms, with its budget 0.5 ms; degrees of freedom of 1000 pairs 10 ms.
"""

import resource
import statistics
import sys
import time

import numpy as np
from scipy import sparse

from photolab.metrology.quantity import Input, Joint, from_ln

RESULTS, INPUTS, SHARED, PARTLY = 600, 13_000, 40, 400


def campaign():
    """Return values, sparse sensitivities and inputs of an invented campaign."""
    rng = np.random.default_rng(1)
    rows, columns = [np.repeat(np.arange(RESULTS), SHARED)], [np.tile(np.arange(SHARED), RESULTS)]
    for k in range(SHARED, SHARED + PARTLY):
        rows.append(rng.choice(RESULTS, 15, replace=False))
        columns.append(np.full(15, k))
    own = np.arange(SHARED + PARTLY, INPUTS)
    rows.append(own % RESULTS)
    columns.append(own)
    place = np.concatenate(rows), np.concatenate(columns)
    matrix = sparse.csr_array((rng.normal(size=place[0].size), place), shape=(RESULTS, INPUTS))
    inputs = [
        Input(("reading", k), 0.01, dof=4, variance="pool") if k % 4 == 0 else Input(("reading", k), 0.02)
        for k in range(INPUTS)
    ]
    return rng.normal(size=RESULTS), matrix, inputs


def median_seconds(function, repeats=11):
    """Return median and largest processor time of some calls [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return statistics.median(times), max(times)


def main():
    """Print medians."""
    out = sys.stdout.write
    values, matrix, inputs = campaign()
    base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    median, worst = median_seconds(lambda: Joint(range(RESULTS), values, inputs, matrix).covariance)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    out(f"the matrix and its covariance, sparse: median {1e3 * median:.0f} ms, worst {1e3 * worst:.0f} ms\n")
    out(f"peak of the process {peak:.0f} MB, of which the matrix {peak - base:.0f} MB\n")
    joint = Joint(range(RESULTS), values, inputs, matrix)
    names = joint.names
    start = time.process_time()
    results = [joint[name].interval() for name in names]
    out(f"all {len(results)} results: {1e3 * (time.process_time() - start):.0f} ms\n")
    median, _ = median_seconds(lambda: from_ln(joint[0] - joint[1]).interval())
    out(f"one ratio: {1e6 * median:.0f} us\n")
    median, _ = median_seconds(lambda: (joint[0] - joint[1]).budget())
    out(f"one ratio with its budget: {1e3 * median:.1f} ms\n")
    dense = matrix.toarray()
    median, worst = median_seconds(lambda: Joint(range(RESULTS), values, inputs, dense).covariance)
    out(f"the same from a dense array: median {1e3 * median:.0f} ms, worst {1e3 * worst:.0f} ms\n")


if __name__ == "__main__":
    main()
