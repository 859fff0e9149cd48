"""Figures of others and of an earlier report over those of this bench, with the interval of their quotient."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import INK, PALE, shown_name, styled


@styled
def draw(axes: Axes, table: pd.DataFrame) -> None:
    """Draw each figure over ours: a bar that leaves out the line of no difference is beyond both uncertainties.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a figure, from the top: ``what`` and ``whose`` (its name), ``ln_quotient`` (theirs over ours) and
        ``half`` (half-width of its interval). [1]
    """
    middle = table["ln_quotient"].to_numpy(dtype=float)
    half = table["half"].to_numpy(dtype=float)
    axes.axvline(0.0, color=INK, linewidth=1.0)
    for place, (x, u) in enumerate(zip(middle, half, strict=True)):
        ends = 100.0 * np.expm1([x - u, x + u])
        axes.plot(ends, [place, place], color=INK, linewidth=2.5, solid_capstyle="butt")
        apart = abs(x) > u
        axes.plot(
            100.0 * np.expm1(x), place, marker="o", markersize=7, color=INK, markeredgewidth=1.6,
            markerfacecolor="white" if apart else INK,
        )  # fmt: skip
    names = zip(table["what"], table["whose"], strict=True)
    axes.set_yticks(range(len(table)), ["\n".join(shown_name(one, 56) for one in both) for both in names])
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=PALE)
    axes.margins(x=0.08)
    axes.set_xlabel("their figure over ours, less 1 (%)")
