"""One vertical cut through beams, with the height of each cut-off marked."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import LogFormatter

from photolab.publication.figures.common import COLOURS, shown_name, styled

__all__ = ["draw"]


@styled
def draw(axes: Axes, table: pd.DataFrame, *, title: str, first: bool = True) -> None:
    """Draw intensity over height on a logarithmic scale.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a lamp and height: ``lamp``, ``vertical_deg`` [deg], ``intensity_kcd`` [kcd], ``height_deg`` (of the
        cut-off, the same for a lamp; NaN where there is none [deg]).
    title : str
        Above the panel.
    first : bool, default True
        The panel at the left: it carries the axis label.
    """
    looks = (("black", "-", "o"), ("vermilion", (0, (5, 2)), "s"), ("blue", ":", "^"), ("green", "-.", "v"))
    blocks = table.groupby("lamp", sort=False)
    for (lamp, block), (colour, line, marker) in zip(blocks, looks, strict=False):
        v, light = block["vertical_deg"].to_numpy(float), block["intensity_kcd"].to_numpy(float)
        axes.plot(v, light, color=COLOURS[colour], linewidth=1.6, linestyle=line, label=shown_name(str(lamp)))
        height = float(block["height_deg"].iloc[0])
        at = abs(v - height).argmin() if height == height else None
        if at is not None:
            axes.axvline(height, color=COLOURS[colour], linewidth=0.9, linestyle=line)
            axes.plot(
                [v[at]], [light[at]], marker=marker, color=COLOURS[colour], markersize=7, linestyle="none"
            )
    axes.set_yscale("log")
    axes.yaxis.set_major_formatter(_plain)
    axes.yaxis.set_minor_formatter(
        LogFormatter()
    )  # names a few ticks where the axis spans less than a decade
    axes.xaxis.set_major_formatter(_unsigned)
    axes.grid(axis="both")
    axes.set_title(shown_name(title, 60))
    axes.set_xlabel("down   ←   degrees   →   up")
    axes.legend(loc="upper right")
    if first:
        axes.set_ylabel("intensity (kcd)")


def _plain(value: float, _position: object = None) -> str:
    """Return a tick of the logarithmic axis as a plain number."""
    return f"{value:g}"


def _unsigned(value: float, _position: object = None) -> str:
    """Return a tick without its sign: the words at the axis carry it."""
    return f"{abs(value):g}"
