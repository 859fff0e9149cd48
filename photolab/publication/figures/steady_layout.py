"""A layout whose positions do not differ in the last bits from one run to the next.

The solver behind the constrained layout visits its constraints in an order that is not fixed, so that positions may
differ by a rounding of floats; a few pixels of a line then differ by one shade, and the picture by its bytes.
"""

from __future__ import annotations

from typing import Any

from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.transforms import Bbox

_DIGITS = 9  # of the figure's width: far finer than a pixel, far coarser than a float


class SteadyLayout(ConstrainedLayoutEngine):
    """Constrained layout with positions rounded to nine decimals."""

    def execute(self, fig: Figure) -> Any:
        """Lay out a figure.

        Parameters
        ----------
        fig : Figure
            The figure.

        Returns
        -------
        dict
            As the constrained layout returns it.
        """
        done = super().execute(fig)
        for axes in fig.axes:
            for which in ("original", "active"):
                corners = axes.get_position(original=which == "original").get_points()
                rounded = [[float(f"{x:.{_DIGITS}f}") for x in corner] for corner in corners]
                axes._set_position(Bbox(rounded), which=which)  # type: ignore[attr-defined]
        return done
