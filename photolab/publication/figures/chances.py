"""How often a true difference would be shown: by rehearsal, and where the formula puts two chances."""

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from photolab.publication.figures.common import BLUE, PALE, RED, styled


@styled
def draw(
    axes: Axes, rehearsed: Mapping[float, float], formula: Sequence[tuple[float, float]], *, drawn: int
) -> None:
    """Draw the chance of showing a difference against the difference.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    rehearsed : mapping
        Difference, increasing, to the share of the benches drawn in which it is shown. [%]
    formula : sequence of tuple
        Difference, and the chance with which the formula says that it is shown. [%]
    drawn : int
        Benches drawn; a band is the standard error that they leave a share. [1]
    """
    at, share = np.array([*rehearsed.items()]).T
    error = np.sqrt(share * (100.0 - share) / drawn)
    axes.fill_between(at, share - error, share + error, color=PALE, linewidth=0.0)
    axes.plot(at, share, color=BLUE, linewidth=1.8, label="by rehearsal")
    axes.plot(
        *zip(*formula, strict=True), linestyle="none", marker="s", markersize=6, color=RED,
        markerfacecolor="white", markeredgewidth=1.5, label="by formula",
    )  # fmt: skip
    axes.set(xlim=(0.0, max(at)), ylim=(0.0, 103.0), xlabel="true difference (%)", ylabel="shown (%)")
    axes.set_yticks((0.0, 50.0, 80.0, 100.0))
    axes.grid(axis="both")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.1)
