"""Where a lamp gives more and where less than the baseline, direction by direction."""

from __future__ import annotations

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import Normalize

from photolab.photometry.beam import RatioMap
from photolab.publication.figures.beam_pair import label_directions
from photolab.publication.figures.common import INK, shown_name, styled

_NAMES = {-2.0: "¼", -1.0: "½", 0.0: "same", 1.0: "2 x", 2.0: "4 x"}
"""Contours and ticks: the binary logarithm of a ratio, and the ratio."""


@styled
def draw(axes: Axes, found: RatioMap, title: str) -> None:
    """Draw the ratio of two beams.

    Parameters
    ----------
    axes : Axes
        Where to draw; the scale of the shades stands beside the last panel of a row.
    found : RatioMap
        The ratio, NaN where it cannot be told, and where it differs from 1 by more than its own uncertainty.
    title : str
        Above the panel.
    """
    h, v, steps, known = found.horizontal, found.vertical, np.log2(found.ratio), found.resolved
    mesh = axes.pcolormesh(
        h, v, np.where(known, steps, np.nan), cmap=colormaps["PuOr"], norm=Normalize(-2.0, 2.0), shading="nearest",
        rasterized=True,
    )  # fmt: skip
    levels = [level for level in _NAMES if np.nanmin(steps) < level < np.nanmax(steps)]
    if levels:
        lines = axes.contour(h, v, steps, levels=levels, colors=INK, linewidths=0.7, linestyles="solid")
        axes.clabel(lines, fmt=_NAMES, fontsize=7.5, inline_spacing=2)
    place = axes.get_subplotspec()
    if place is None or place.is_last_col():
        scale = axes.figure.colorbar(mesh, ax=axes, ticks=list(_NAMES), fraction=0.06, pad=0.02)
        scale.set_ticklabels(list(_NAMES.values()))
        scale.outline.set_visible(False)
    axes.set_title(shown_name(title, 60))
    label_directions(axes)
