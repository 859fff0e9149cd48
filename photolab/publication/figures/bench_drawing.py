"""The bench from the side, with the names its lengths and angles have in bench.toml."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, Polygon, Rectangle

from photolab.publication.figures.common import COLOURS, GREY, INK, PALE, styled

#: The drawing in words.
ALT = (
    "The bench from the side: a lamp in its housing on the left, the meter head on the right. "
    "The distance, distance_m, runs from the housing's reference face to the meter head; the photometric "
    "centre, from which the light seems to come, lies offset_mm behind the reference face; aperture_mm is "
    "the height of the opening; the head may be tilted by up to tilt_uncertainty_deg."
)
_RED = COLOURS["vermilion"]


@styled
def draw(axes: Axes) -> None:
    """Draw the labelled bench.

    Parameters
    ----------
    axes : Axes
        Where to draw; its scales are set here.
    """
    axes.set_axis_off()
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 46)
    axes.set_aspect("equal")
    _housing(axes)
    _head(axes)
    axes.plot([18, 84], [24, 24], color=GREY, linewidth=0.9, linestyle=(0, (6, 3)))
    _length(axes, 26, 84, 8.5, "distance_m", "distance, from the reference face to the head")
    _length(axes, 18, 26, 37.5, "offset_mm", "photometric centre behind the reference face", side="left")
    _upright(axes, 30.5, 17, 31, "aperture_mm", "opening")
    axes.plot([26, 26], [6.5, 39.5], color=_RED, linewidth=1.0)
    axes.text(26, 4.6, "reference face", ha="center", va="center", fontsize=8.5, color=INK)
    axes.plot(18, 24, marker="o", markersize=6, markerfacecolor="white", color=_RED, markeredgewidth=1.5)
    axes.plot([18, 18], [25.4, 39.5], color=_RED, linewidth=0.8, linestyle=(0, (2, 2)))


def _housing(axes: Axes) -> None:
    """Draw the housing with its lamp, and the light that leaves it."""
    axes.add_patch(
        Polygon([(26, 17), (84, 20.5), (84, 27.5), (26, 31)], facecolor="#fff3c4", edgecolor="none")
    )
    axes.add_patch(
        Polygon([(26, 31), (15, 29), (11, 24), (15, 19), (26, 17)], facecolor=PALE, edgecolor=GREY)
    )
    axes.add_patch(Rectangle((6.5, 22.5), 7.5, 3, facecolor=GREY, edgecolor=GREY))
    axes.add_patch(Circle((14.6, 24), 1.1, facecolor=COLOURS["yellow"], edgecolor=GREY))
    axes.text(9.5, 20.2, "lamp", ha="center", va="center", fontsize=9)
    axes.text(9.5, 15.2, "housing", ha="center", va="center", fontsize=9)
    axes.plot([11.5, 15.5], [16.5, 19.5], color=GREY, linewidth=0.8)


def _head(axes: Axes) -> None:
    """Draw the meter head and its tilt."""
    axes.add_patch(Rectangle((84, 19.5), 2.2, 9, facecolor=INK, edgecolor=INK))
    axes.add_patch(Rectangle((86.2, 21.5), 5, 5, facecolor=PALE, edgecolor=GREY))
    axes.text(88, 16.6, "meter head", ha="center", va="center", fontsize=9)
    axes.plot([84, 84], [24, 38.2], color=GREY, linewidth=0.8)
    axes.plot([84, 80.2], [24, 37.6], color=_RED, linewidth=0.9, linestyle=(0, (2, 2)))
    axes.add_patch(Arc((84, 24), 25, 25, theta1=90, theta2=105.6, color=_RED, linewidth=1.1))
    axes.text(86, 39.8, "tilt", ha="left", va="center", fontsize=9)
    axes.text(
        86, 36.6, "tilt_\nuncertainty_deg", ha="left", va="top", fontsize=8.5, family="DejaVu Sans Mono",
        color=COLOURS["blue"], linespacing=1.1,
    )  # fmt: skip


def _length(
    axes: Axes, start: float, end: float, height: float, key: str, words: str, *, side: str = "middle"
) -> None:
    """Draw a length along the bench with its name."""
    axes.annotate(
        "",
        (start, height),
        xytext=(end, height),
        arrowprops={"arrowstyle": "<->", "color": _RED, "shrinkA": 0, "shrinkB": 0},
    )
    at = (start + end) / 2 if side == "middle" else start
    how = "center" if side == "middle" else "left"
    above = 1.8 if side == "middle" else 6.6
    axes.text(at, height + above, words, ha=how, va="center", fontsize=9)
    below = height - 2.0 if side == "middle" else height + 3.6
    axes.text(
        at, below, key, ha=how, va="center", fontsize=8.5, family="DejaVu Sans Mono", color=COLOURS["blue"]
    )


def _upright(axes: Axes, at: float, low: float, high: float, key: str, words: str) -> None:
    """Draw a height with its name."""
    axes.annotate(
        "",
        (at, low),
        xytext=(at, high),
        arrowprops={"arrowstyle": "<->", "color": _RED, "shrinkA": 0, "shrinkB": 0},
    )
    axes.text(at + 1.2, 28.2, words, ha="left", va="center", fontsize=9)
    axes.text(
        at + 1.2,
        20,
        key,
        ha="left",
        va="center",
        fontsize=8.5,
        family="DejaVu Sans Mono",
        color=COLOURS["blue"],
    )
