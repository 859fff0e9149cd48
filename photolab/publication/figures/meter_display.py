"""A meter's display and the accuracy line of its manual, with the names they have in bench.toml."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import FancyBboxPatch, Rectangle

from photolab.publication.figures.common import COLOURS, GREY, INK, PALE, styled

#: The drawing in words.
ALT = (
    "A meter's display reading 334 lx on the 4000 lx range, and the accuracy line of its manual, "
    "plus or minus (4 % of reading + 0.5 % of range). Labels: the reading is illuminance_lx, the range "
    "is range_lx and ranges_lx, the last figure that can change, here 1 lx, is resolution_lx, 4 % is "
    "reading_percent, 0.5 % is range_percent."
)


@styled
def draw(axes: Axes) -> None:
    """Draw the labelled display.

    Parameters
    ----------
    axes : Axes
        Where to draw; its scales are set here.
    """
    axes.set_axis_off()
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 50)
    axes.set_aspect("equal")
    body = FancyBboxPatch((33, 22), 34, 20, boxstyle="round,pad=1.2", facecolor=PALE, edgecolor=GREY)
    axes.add_patch(body)
    axes.add_patch(Rectangle((35, 24), 30, 16, facecolor="white", edgecolor=GREY))
    axes.text(55, 30.5, "334", family="DejaVu Sans Mono", fontsize=30, ha="right", va="center")
    axes.text(57, 28.6, "lx", fontsize=13, ha="left", va="center")
    axes.text(37, 37.6, "range 4000", fontsize=9, ha="left", va="center")
    axes.text(50, 10.5, "accuracy  ±(4 % rdg + 0.5 % f.s.)", fontsize=12, ha="center", va="center")
    axes.text(50, 15.2, "in its manual:", fontsize=8.5, ha="center", va="center", color=GREY)
    _callout(axes, (42.8, 30.5), (27, 30.5), "the reading", "illuminance_lx", "right")
    _callout(axes, (35.8, 37.6), (27, 42.5), "its range", "range_lx, ranges_lx", "right")
    _callout(
        axes, (54.6, 27.2), (72, 24.5), "the last figure that can\nchange: here 1 lx", "resolution_lx", "left"
    )
    _callout(axes, (46.8, 8.6), (34, 3.2), "of the reading", "reading_percent", "right")
    _callout(axes, (62.5, 8.6), (69, 3.2), "of the range (f.s. = top of the range)", "range_percent", "left")


def _callout(
    axes: Axes, tip: tuple[float, float], at: tuple[float, float], words: str, key: str, side: str
) -> None:
    """Point at one place and say what it is and what it is called in bench.toml."""
    axes.annotate(
        "", tip, xytext=at, arrowprops={"arrowstyle": "-", "color": COLOURS["vermilion"], "linewidth": 1.1}
    )
    axes.plot(*tip, marker="o", markersize=3.5, color=COLOURS["vermilion"])
    shift = 1 if side == "left" else -1
    lines = words.count("\n")
    axes.text(
        at[0] + shift, at[1] + 1.4 * (1 + lines * 0.2), words, ha=side, va="center", fontsize=9, color=INK
    )
    axes.text(
        at[0] + shift, at[1] - 1.5 * (1 + lines), key, ha=side, va="center", fontsize=8.5,
        family="DejaVu Sans Mono", color=COLOURS["blue"],
    )  # fmt: skip
