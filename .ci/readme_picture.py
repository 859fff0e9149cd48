"""The picture on README's first screen, drawn from the same call that `photolab compare` makes.

`python .ci/readme_picture.py` writes it anew.
"""

import math
from pathlib import Path

import pandas as pd

from photolab.bench.results.pairs import ReadingComparison
from photolab.bench.results.two_readings import compare
from photolab.bench.terms.model import Meter
from photolab.publication.figures.bars import draw_three
from photolab.publication.figures.common import new_figure, picture

PLACE = Path(__file__).parent.parent / ".pictures" / "two-readings.png"


def comparison() -> ReadingComparison:
    """Return the comparison that README opens with.

    Returns
    -------
    ReadingComparison
        334 lx against 318 lx on a meter of ±(4 % of reading + 0.5 % of range).
    """
    meter = Meter(
        id="meter", reading_percent=(4.0,), range_percent=(0.5,), ranges_lx=(4000.0,), resolution_lx=(1.0,)
    )
    return compare(318, 334, meter=meter, technology="led", range_lx=4000.0)


def bars(pair: ReadingComparison) -> pd.DataFrame:
    """Return the three bars of a comparison as `figures.bars` draws them.

    Parameters
    ----------
    pair : ReadingComparison
        The comparison.

    Returns
    -------
    DataFrame
        label, low, high [%], kind.
    """
    lines = pair.lines
    rows = [
        ("the meter alone", lines.meter_only, "plain"),
        ("the meter and one seating each", lines.this_bench, "decides"),
        ("nothing in common (a what-if)", lines.nothing_in_common, "what_if"),
    ]
    shown = []
    for label, half, kind in rows:
        low, high = (100.0 * (pair.ratio * math.exp(end / 100.0) - 1.0) for end in (-half, half))
        shown.append((label, low, high, kind))
    return pd.DataFrame(shown, columns=["label", "low", "high", "kind"])


def image() -> bytes:
    """Return the picture.

    Returns
    -------
    bytes
        A PNG file.
    """
    pair = comparison()
    figure, (axes,) = new_figure()
    draw_three(axes, bars(pair), percent=100.0 * (pair.ratio - 1.0))
    return picture(figure, alt="334 lx against 318 lx: only the meter-alone bar clears zero").png


if __name__ == "__main__":
    PLACE.write_bytes(image())
