"""Time to evaluate a beam grid of 1001 x 501 cells.

Run: ``python tests/benchmarks/beam_speed.py``. Target: everything below together in under 0.5 s on one core.

Measured, median of 7, processor time on one core: together 99 ms; of it window flux 23 ms, aim offset 29 ms,
ratio map 18 ms, cut-off line 13 ms, mean above the cut-off 8 ms, intensity from the wall 7 ms, the rest
under 1 ms.
"""

import statistics
import time

import numpy as np

from photolab.photometry.beam import (
    aim_offset,
    intensity_from_wall,
    mean_above_cutoff,
    peak,
    ratio_map,
    window_flux,
)
from photolab.photometry.cutoff import cutoff_line, cutoff_sharpness

REPEATS = 7


def wall_readings():
    """Return a wall of 1001 x 501 points at 6 m, and two invented beams on it. [mm, mm, lx, lx]"""
    x, y = np.linspace(-2000.0, 2000.0, 1001), np.linspace(-600.0, 400.0, 501)
    h, v = np.degrees(np.arctan(x / 6000.0))[None, :], np.degrees(np.arctan(y / 6000.0))[:, None]
    pair = []
    for width, turn in ((0.06, 0.0), (0.07, 0.2)):
        spot = np.exp(-(((h - 1) / 3) ** 2) / 2 - ((v - turn + 1.3) / 0.75) ** 2 / 2)
        wide = 0.3 * np.exp(-((h / 11) ** 2) / 2 - ((v - turn + 2.2) / 2) ** 2 / 2)
        pair.append(370.0 * ((spot + wide) / (1 + np.exp((v - turn + 0.57) / width)) + 0.009))
    return x, y, *pair


def main() -> None:
    x, y, lamp, stock = wall_readings()
    one, two = (intensity_from_wall(x, y, lux, distance=6.0, sensor="flat_wall") for lux in (lamp, stock))
    column = int(np.argmin(np.abs(one.horizontal - 2.5)))
    steps = {
        "intensity from the wall": lambda: intensity_from_wall(x, y, lamp, distance=6.0, sensor="flat_wall"),
        "peak": lambda: peak(one),
        "window flux": lambda: window_flux(one, horizontal=(-10, 10), vertical=(-4, 0)),
        "mean above the cut-off": lambda: mean_above_cutoff(one),
        "ratio map": lambda: ratio_map(one, two),
        "aim offset": lambda: aim_offset(one, two, largest=2.0),
        "cut-off line": lambda: cutoff_line(one, traffic="symmetrical"),
        "sharpness": lambda: cutoff_sharpness(one.vertical, one.intensity[:, column]),
    }
    total = 0.0
    for name, step in steps.items():
        spent = []
        for _ in range(REPEATS):
            begin = time.process_time()
            step()
            spent.append(time.process_time() - begin)
        median = statistics.median(spent)
        total += median
        print(f"{name:26s} {1e3 * median:7.1f} ms")
    print(f"{'together':26s} {1e3 * total:7.1f} ms (median of {REPEATS} each)")


if __name__ == "__main__":
    main()
