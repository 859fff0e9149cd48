"""Beams side by side on white ground: one palette from little to much light, contours in per cent of the own peak."""

from __future__ import annotations

import pandas as pd
import seaborn
from matplotlib.axes import Axes
from matplotlib.colors import PowerNorm

from photolab.publication.figures.common import COLOURS, GREY, INK, shown_name, styled

__all__ = ["LEVELS", "draw"]

LEVELS = (1.0, 5.0, 20.0, 50.0, 80.0)
"""Contours. [% of own peak]"""


@styled
def draw(axes: Axes, table: pd.DataFrame, *, title: str, edge: tuple[bool, bool] = (True, True)) -> None:
    """Draw one beam as the lamp sees the wall.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a direction: ``horizontal_deg``, ``vertical_deg`` [deg], ``percent`` (of the beam's own peak [%]).
    title : str
        Above the panel.
    edge : tuple of two bool, default (True, True)
        Label the axis below, and the one at the left.
    """
    grid = table.pivot_table(
        index="vertical_deg", columns="horizontal_deg", values="percent", aggfunc="first"
    )
    h, v, percent = grid.columns.to_numpy(float), grid.index.to_numpy(float), grid.to_numpy(float)
    axes.pcolormesh(
        h,
        v,
        percent,
        cmap=seaborn.light_palette(COLOURS["blue"], as_cmap=True),
        norm=PowerNorm(0.5, 0.0, 100.0),
        shading="nearest",
        rasterized=True,
    )
    dark = [level for level in LEVELS if percent.min() < level < percent.max()]
    if dark:
        lines = axes.contour(h, v, percent, levels=dark, colors=INK, linewidths=0.7)
        axes.clabel(lines, fmt=lambda level: f"{level:g} %", fontsize=7.0, inline_spacing=2)
    axes.axhline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    axes.axvline(0.0, color=GREY, linewidth=0.6, linestyle=":")
    axes.set_title(shown_name(title, 60))
    label_directions(axes, edge)


def label_directions(axes: Axes, edge: tuple[bool, bool]) -> None:
    """Label the axes left, right, down and up.

    Parameters
    ----------
    axes : Axes
        Where to label.
    edge : tuple of two bool
        The axis below, and the one at the left.
    """
    axes.xaxis.set_major_formatter(_unsigned)
    axes.yaxis.set_major_formatter(_unsigned)
    if edge[0]:
        axes.set_xlabel("left   ←   degrees   →   right")
    if edge[1]:
        axes.set_ylabel("down  ←  degrees  →  up")
    axes.spines["left"].set_visible(True)


def _unsigned(value: float, _position: object = None) -> str:
    """Return a tick without its sign: the words at the axis carry it."""
    return f"{abs(value):g}"
