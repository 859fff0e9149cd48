"""The bench from the side and the meter's display, with the names that things have in bench.toml."""

from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, FancyBboxPatch, Polygon, Rectangle

from photolab.publication.figures.common import BLUE, COLOURS, GREY, INK, PALE, RED, Look, styled

#: The drawing of the bench in words.
BENCH_ALT = (
    "The bench from the side: a lamp in its housing on the left, the meter head on the right. "
    "The distance, distance_m, runs from the housing's reference face to the meter head; the photometric "
    "centre, from which the light seems to come, lies offset_mm behind the reference face; aperture_mm is "
    "the height of the opening; the head may be tilted by up to tilt_uncertainty_deg."
)
#: The drawing of the display in words.
DISPLAY_ALT = (
    "A meter's display reading 334 lx on the 4000 lx range, and the accuracy line of its manual, plus or minus (4 % "
    "of reading + 0.5 % of range). Labels: the reading is illuminance_lx, the range is range_lx and ranges_lx, the "
    "last figure that can change, here 1 lx, is resolution_lx, 4 % is reading_percent, 0.5 % is range_percent."
)


@styled
def draw_bench(axes: Axes) -> None:
    """Draw the labelled bench.

    Parameters
    ----------
    axes : Axes
        Where to draw; its scales are set here.
    """
    _frame(axes, 46)
    for part in (
        Polygon([(26, 17), (84, 20.5), (84, 27.5), (26, 31)], facecolor="#fff3c4", edgecolor="none"),
        Polygon([(26, 31), (15, 29), (11, 24), (15, 19), (26, 17)], facecolor=PALE, edgecolor=GREY),
        Rectangle((6.5, 22.5), 7.5, 3, facecolor=GREY, edgecolor=GREY),
        Circle((14.6, 24), 1.1, facecolor=COLOURS["yellow"], edgecolor=GREY),
        Rectangle((84, 19.5), 2.2, 9, facecolor=INK, edgecolor=INK),
        Rectangle((86.2, 21.5), 5, 5, facecolor=PALE, edgecolor=GREY),
        Arc((84, 24), 25, 25, theta1=90, theta2=105.6, color=RED, linewidth=1.1),
    ):
        axes.add_patch(part)
    for across, up, colour, width, line in (
        ((11.5, 15.5), (16.5, 19.5), GREY, 0.8, "-"),
        ((84, 84), (24, 38.2), GREY, 0.8, "-"),
        ((84, 80.2), (24, 37.6), RED, 0.9, (0, (2, 2))),
        ((18, 84), (24, 24), GREY, 0.9, (0, (6, 3))),
        ((26, 26), (6.5, 39.5), RED, 1.0, "-"),
        ((18, 18), (25.4, 39.5), RED, 0.8, (0, (2, 2))),
    ):
        axes.plot(across, up, color=colour, linewidth=width, linestyle=line)
    axes.plot(18, 24, marker="o", markersize=6, markerfacecolor="white", color=RED, markeredgewidth=1.5)
    both_ways = {"arrowstyle": "<->", "color": RED, "shrinkA": 0, "shrinkB": 0}
    for start, end in (((26, 8.5), (84, 8.5)), ((18, 37.5), (26, 37.5)), ((30.5, 17), (30.5, 31))):
        axes.annotate("", start, xytext=end, arrowprops=both_ways)
    for x, y, words, side in (
        (9.5, 20.2, "lamp", "center"),
        (9.5, 15.2, "housing", "center"),
        (88, 16.6, "meter head", "center"),
        (86, 39.8, "tilt", "left"),
        (55, 10.3, "distance, from the reference face to the head", "center"),
        (18, 44.1, "photometric centre behind the reference face", "left"),
        (31.7, 28.2, "opening", "left"),
    ):
        axes.text(x, y, words, ha=side, va="center", fontsize=9)
    axes.text(26, 4.6, "reference face", ha="center", va="center", fontsize=8.5, color=INK)
    _key(axes, 86, 36.6, "tilt_\nuncertainty_deg", va="top", linespacing=1.1)
    _key(axes, 55, 6.5, "distance_m", ha="center")
    _key(axes, 18, 41.1, "offset_mm")
    _key(axes, 31.7, 20, "aperture_mm")


@styled
def draw_display(axes: Axes) -> None:
    """Draw the labelled display.

    Parameters
    ----------
    axes : Axes
        Where to draw; its scales are set here.
    """
    _frame(axes, 50)
    body = FancyBboxPatch((33, 22), 34, 20, boxstyle="round,pad=1.2", facecolor=PALE, edgecolor=GREY)
    axes.add_patch(body)
    axes.add_patch(Rectangle((35, 24), 30, 16, facecolor="white", edgecolor=GREY))
    axes.text(55, 30.5, "334", family="DejaVu Sans Mono", fontsize=30, ha="right", va="center")
    axes.text(57, 28.6, "lx", fontsize=13, ha="left", va="center")
    axes.text(37, 37.6, "range 4000", fontsize=9, ha="left", va="center")
    axes.text(50, 10.5, "accuracy  ±(4 % rdg + 0.5 % f.s.)", fontsize=12, ha="center", va="center")
    axes.text(50, 15.2, "in its manual:", fontsize=8.5, ha="center", va="center", color=GREY)
    for tip, at, words, key, side in (
        ((42.8, 30.5), (27, 30.5), "the reading", "illuminance_lx", "right"),
        ((35.8, 37.6), (27, 42.5), "its range", "range_lx, ranges_lx", "right"),
        ((54.6, 27.2), (72, 24.5), "the last figure that can\nchange: here 1 lx", "resolution_lx", "left"),
        ((46.8, 8.6), (34, 3.2), "of the reading", "reading_percent", "right"),
        ((62.5, 8.6), (69, 3.2), "of the range (f.s. = top of the range)", "range_percent", "left"),
    ):
        axes.annotate("", tip, xytext=at, arrowprops={"arrowstyle": "-", "color": RED, "linewidth": 1.1})
        axes.plot(*tip, marker="o", markersize=3.5, color=RED)
        x, lines = at[0] + (1 if side == "left" else -1), words.count("\n")
        axes.text(x, at[1] + 1.4 * (1 + lines * 0.2), words, ha=side, va="center", fontsize=9, color=INK)
        _key(axes, x, at[1] - 1.5 * (1 + lines), key, ha=side)


def _frame(axes: Axes, height: float) -> None:
    """Make room for a drawing 100 wide."""
    axes.set_axis_off()
    axes.set_xlim(0, 100)
    axes.set_ylim(0, height)
    axes.set_aspect("equal")


def _key(axes: Axes, x: float, y: float, key: str, **more: Any) -> None:
    """Write a key of bench.toml, at the left of its place if nothing else is asked for."""
    look: Look = {"fontsize": 8.5, "family": "DejaVu Sans Mono", "color": BLUE}
    axes.text(x, y, key, **look | {"ha": "left", "va": "center"} | more)
