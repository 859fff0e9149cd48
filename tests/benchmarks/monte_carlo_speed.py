"""Speed and memory of the propagation of distributions, beside plain numpy in the same run.

Run ``OMP_NUM_THREADS=1 python tests/benchmarks/monte_carlo_speed.py``. The model is the ratio of two lamps
with 12 inputs (8 normal, 4 rectangular); "plain" is a person's own loop over chunks of 10 000 trials with
numpy's default generator, "one go" the same in arrays of all trials.

Measured (processor time of one core, the machine busy with other work): 10.3 million trials/s, 0.77 of the
time of plain numpy in chunks (8.0 million/s) and 0.5 to 0.7 of that in one go; two-digit adaptive 18 ms
(100 000 to 210 000 trials over 21 seeds); 1e7 trials 1.1 s, peak of the whole process 205 MB, 111 MB of it
imports.
"""

import resource
import statistics
import sys
import time

import numpy as np

from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import Input, limits, measured

CHUNK = 10_000


def lamp(name, light):
    """Return the six inputs of one lamp: reading, mounting, meter, noise, linearity, distance."""
    return [
        measured(light, limits(f"{name} reading", 0.5), unit="lx"),
        measured(1, Input(f"{name} mounting", 0.015)),
        measured(1, Input(f"{name} meter", 0.015)),
        measured(1, Input(f"{name} noise", 0.003)),
        measured(1, limits(f"{name} linearity", 0.005)),
        measured(3, Input(f"{name} distance", 0.001), unit="m"),
    ]


INPUTS = lamp("a", 1000.0) + lamp("b", 1100.0)


def model(r1, m1, g1, n1, l1, d1, r2, m2, g2, n2, l2, d2):
    """Ratio of two lamps."""
    return r2 * m2 * g2 * n2 * l2 / (r1 * m1 * g1 * n1 * l1) * (d2 / d1) ** 2


def plain_draw(rng, size):
    """Draw all inputs with numpy alone."""
    drawn = []
    for x in INPUTS:
        (q,) = x.parts
        if q.law == "normal":
            drawn.append(x.value + q.u * rng.standard_normal(size))
        else:
            drawn.append(x.value + q.u * np.sqrt(12) * (rng.random(size) - 0.5))
    return drawn


def summary(y):
    """Return mean, SD and 95 % interval with numpy alone."""
    return y.mean(), y.std(ddof=1), np.quantile(y, [0.025, 0.975])


def ours_of(trials):
    """Propagate with the package: mean, SD and interval."""
    y = draws(model, *INPUTS, trials=trials)
    return y.mean(), y.std(ddof=1), interval(y, 0.95)


def plain(trials, chunk):
    """Propagate with numpy alone."""
    rng, y = np.random.default_rng(1), np.empty(trials)
    for start in range(0, trials, chunk):
        size = min(chunk, trials - start)
        y[start : start + size] = model(*plain_draw(rng, size))
    return summary(y)


def median_seconds(function, repeats):
    """Return the median processor time of some calls [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return statistics.median(times)


def main():
    """Print medians and ratios."""
    out = sys.stdout.write
    base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    trials = 1_000_000
    ours = min(median_seconds(lambda: ours_of(trials), 3) for _ in range(5))
    numpy_chunks = min(median_seconds(lambda: plain(trials, CHUNK), 3) for _ in range(5))
    out(f"draws and interval, 1e6 trials:     {trials / ours / 1e6:.1f} million trials/s\n")
    out(f"plain numpy in chunks:               {trials / numpy_chunks / 1e6:.1f} million trials/s\n")
    out(f"time over plain numpy in chunks:     {ours / numpy_chunks:.2f}\n")
    start = time.process_time()
    ours_of(10_000_000)
    spent = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
    out(f"1e7 trials: {spent:.2f} s, peak of the process {peak:.0f} MB ({base:.0f} MB before any)\n")
    one_go = median_seconds(lambda: plain(trials, trials), 3)
    out(f"time over plain numpy in one go:     {ours / one_go:.2f}\n")


if __name__ == "__main__":
    main()
