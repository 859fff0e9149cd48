"""Where a lamp gives more and where less than the baseline, direction by direction."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import Normalize

from photolab.publication.figures.beam_pair import label_directions
from photolab.publication.figures.common import INK, shown_name, styled

__all__ = ["draw"]

_NAMES = {-2.0: "¼", -1.0: "½", 0.0: "same", 1.0: "2 x", 2.0: "4 x"}
"""Contours and ticks: the binary logarithm of a ratio, and the ratio."""


@styled
def draw(
    axes: Axes, table: pd.DataFrame, *, title: str, edge: tuple[bool, bool] = (True, True), bar: bool = False
) -> None:
    """Draw the ratio of two beams.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a direction: ``horizontal_deg``, ``vertical_deg`` [deg], ``ratio`` [1] (NaN: cannot be told),
        ``resolved`` (differs from 1 by more than its own doubt).
    title : str
        Above the panel.
    edge : tuple of two bool, default (True, True)
        Label the axis below, and the one at the left.
    bar : bool, default False
        Put the scale of the shades beside the panel.
    """
    rows, columns = "vertical_deg", "horizontal_deg"
    ratio = table.pivot_table("ratio", rows, columns, aggfunc="first", dropna=False)
    h, v = ratio.columns.to_numpy(float), ratio.index.to_numpy(float)
    steps = np.log2(ratio.to_numpy(float))
    known = table.pivot_table("resolved", rows, columns, aggfunc="first", dropna=False).to_numpy(bool)
    mesh = axes.pcolormesh(
        h, v, np.where(known, steps, np.nan), cmap=colormaps["PuOr"], norm=Normalize(-2.0, 2.0), shading="nearest",
        rasterized=True,
    )  # fmt: skip
    levels = [level for level in _NAMES if np.nanmin(steps) < level < np.nanmax(steps)]
    if levels:
        lines = axes.contour(h, v, steps, levels=levels, colors=INK, linewidths=0.7, linestyles="solid")
        axes.clabel(lines, fmt=_NAMES, fontsize=7.5, inline_spacing=2)
    if bar:
        scale = axes.figure.colorbar(mesh, ax=axes, ticks=list(_NAMES), fraction=0.06, pad=0.02)
        scale.set_ticklabels(list(_NAMES.values()))
        scale.outline.set_visible(False)
    axes.set_title(shown_name(title, 60))
    label_directions(axes, edge)
