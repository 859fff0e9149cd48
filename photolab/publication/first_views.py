"""The labelled drawing of the bench, as notebooks show it."""

from __future__ import annotations

from photolab.publication.figures import bench_drawing
from photolab.publication.figures.common import Picture, new_figure, picture

__all__ = ["bench_picture"]


def bench_picture() -> Picture:
    """Return the labelled drawing of the bench.

    Returns
    -------
    Picture
        With the names its lengths have in bench.toml.
    """
    figure, (axes,) = new_figure(height=3.4)
    bench_drawing.draw(axes)
    return picture(figure, alt=bench_drawing.ALT)
