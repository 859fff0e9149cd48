"""Warm-up: readings and curve, two marked instants, and what lies beyond the record."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, INK, PALE, styled

__all__ = ["draw"]


@styled
def draw(
    axes: Axes,
    readings: pd.DataFrame,
    curve: pd.DataFrame,
    *,
    marks: Sequence[tuple[float, float, str]] = (),
    end: float,
    until: float,
    step: float | None = None,
    initial_s: float = 60.0,
) -> None:
    """Draw one record.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    readings : DataFrame
        ``minutes`` since switch-on and ``percent`` of the initial light. [min], [%]
    curve : DataFrame
        The fitted curve, same columns.
    marks : sequence of (minutes, percent, label)
        Instants to mark. [min], [%]
    end, until : float
        End of the record, and of the axis; what lies between is shaded. [min]
    step : float, optional
        Instant of a step. [min]
    initial_s : float, default 60
        Instant that the light is given in per cent of. [s]
    """
    axes.plot(
        readings["minutes"], readings["percent"], linestyle="none", marker="o", markersize=3, color=GREY,
        markerfacecolor="none", markeredgewidth=0.7, label="readings", zorder=2,
    )  # fmt: skip
    axes.plot(
        curve["minutes"], curve["percent"], color=COLOURS["blue"], linewidth=1.8, label="curve", zorder=3
    )
    span = float(readings["percent"].max() - readings["percent"].min()) or 1.0
    bottom, top = (
        float(readings["percent"].min()) - 0.12 * span,
        float(readings["percent"].max()) + 0.16 * span,
    )
    if step is not None:
        axes.axvline(step, color=COLOURS["vermilion"], linewidth=1.2, linestyle="--", zorder=1)
        axes.annotate(
            "step",
            (step, top),
            xytext=(5, -4),
            textcoords="offset points",
            va="top",
            color=COLOURS["vermilion"],
        )
    if until > end:
        axes.axvspan(end, until, facecolor=PALE, linewidth=0, hatch="//", edgecolor="white", zorder=0)
        box = {"facecolor": PALE, "edgecolor": "none", "pad": 3.0}
        middle = ((end + until) / 2.0, (bottom + top) / 2.0)
        axes.text(*middle, "beyond\nthe record", ha="center", va="center", bbox=box)
    _mark(axes, marks, until)
    axes.set_xlim(-0.01 * until, 1.01 * until)
    axes.set_ylim(bottom, top)
    axes.grid(axis="y")
    axes.set_xlabel("since switch-on (min)")
    axes.set_ylabel(f"light (% of {initial_s:g} s)")


def _mark(axes: Axes, marks: Sequence[tuple[float, float, str]], until: float) -> None:
    """Mark instants with their labels beside them."""
    for number, (minute, percent, label) in enumerate(marks):
        axes.plot(
            minute, percent, marker="D", markersize=8, color=COLOURS["orange"], markeredgecolor=INK,
            markeredgewidth=0.9, linestyle="none", zorder=4,
        )  # fmt: skip
        right = number == 0 or minute < 0.85 * until
        beside = (10, 8) if right else (-6, 14)
        axes.annotate(
            label, (minute, percent), xytext=beside, textcoords="offset points", ha="left" if right else "right",
            va="bottom", zorder=5,
        )  # fmt: skip
