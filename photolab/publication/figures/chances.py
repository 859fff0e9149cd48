"""How often a true difference would be shown: by rehearsal, and where the formula puts two chances."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, PALE, styled


@styled
def draw(
    axes: Axes, rehearsed: Sequence[tuple[float, float, float]], formula: Sequence[tuple[float, float]]
) -> None:
    """Draw the chance of showing a difference against the difference.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    rehearsed : sequence of tuple
        Difference, share of the benches drawn in which it is shown, its standard error; by difference. [%]
    formula : sequence of tuple
        Difference, and the chance with which the formula says that it is shown. [%]
    """
    at, share, error = zip(*rehearsed, strict=True)
    low, high = zip(
        *((max(s - e, 0.0), min(s + e, 100.0)) for s, e in zip(share, error, strict=True)), strict=True
    )
    axes.fill_between(at, low, high, color=PALE, linewidth=0.0)
    axes.plot(at, share, color=COLOURS["blue"], linewidth=1.8, label="by rehearsal")
    axes.plot(
        *zip(*formula, strict=True), linestyle="none", marker="s", markersize=6, color=COLOURS["vermilion"],
        markerfacecolor="white", markeredgewidth=1.5, label="by formula",
    )  # fmt: skip
    axes.set_xlim(0.0, max(at))
    axes.set_ylim(0.0, 103.0)
    axes.set_yticks((0.0, 50.0, 80.0, 100.0))
    axes.grid(axis="both")
    axes.tick_params(color=GREY)
    axes.set_xlabel("true difference (%)")
    axes.set_ylabel("shown (%)")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.1)
