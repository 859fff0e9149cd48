"""Light, case temperature and watts of one record: three stacked panels on one time axis."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, styled

__all__ = ["draw"]

_ROWS = (
    ("percent", "blue", "o", "light (% of {initial_s:g} s)"),
    ("case", "vermilion", "s", "case (°C)"),
    ("watts", "green", "^", "power (W)"),
)


@styled
def draw(
    panels: Sequence[Axes], table: pd.DataFrame, *, initial_s: float = 60.0, step: float | None = None
) -> None:
    """Draw one record.

    Parameters
    ----------
    panels : sequence of Axes
        Three, from the top, on one time axis.
    table : DataFrame
        ``minutes`` since switch-on, ``percent`` of the initial light, ``case`` temperature, ``watts``; NaN
        where not logged. [min], [%], [degC], [W]
    initial_s : float, default 60
        Instant that the light is given in per cent of. [s]
    step : float, optional
        Instant of a step. [min]
    """
    for axes, (name, colour, marker, label) in zip(panels, _ROWS, strict=True):
        known = table[table[name].notna()]
        axes.plot(
            known["minutes"], known[name], linestyle="none", marker=marker, markersize=3.2, color=COLOURS[colour],
            markerfacecolor="none", markeredgewidth=0.9,
        )  # fmt: skip
        if known.empty:
            axes.text(0.5, 0.5, "not logged", transform=axes.transAxes, ha="center", va="center", color=GREY)
            axes.set_yticks([])
        if step is not None:
            axes.axvline(step, color=GREY, linewidth=1.1, linestyle="--", zorder=0)
        axes.grid(axis="y")
        axes.margins(y=0.12)
        axes.set_ylabel(label.format(initial_s=initial_s))
    if step is not None:
        panels[0].annotate(
            "step", (step, 1.0), xycoords=("data", "axes fraction"), xytext=(4, -4), textcoords="offset points",
            va="top",
        )  # fmt: skip
    panels[-1].set_xlabel("since switch-on (min)")
