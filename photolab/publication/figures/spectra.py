"""The eye, a meter and the light of lamps over wavelength, and where the meter sees too much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from photolab.publication.figures.common import COLOURS, GREY, INK, Look, shown_name, styled

Floats = NDArray[np.float64]


@styled
def draw(
    panels: Sequence[Axes],
    wavelength: Floats,
    eye: Floats,
    head: Floats,
    lights: Mapping[str, Floats],
    excess: Mapping[str, Floats],
    meter: str,
) -> None:
    """Draw three panels that share the wavelength.

    Parameters
    ----------
    panels : sequence of three Axes
        Eye and meter; light of the lamps; what the meter reads too much.
    wavelength, eye, head : ndarray, shape (n,)
        Wavelengths [nm]; V(lambda) and the meter, scaled to agree on the light it was trimmed to [1].
    lights, excess : mapping of str to ndarray, shape (n,)
        By the words that name a lamp: its light, any scale; what the meter reads too much at each wavelength. [1, %/nm]
    meter : str
        Name of the meter.
    """
    panels[0].plot(wavelength, eye, color=INK, linewidth=1.6, linestyle=(0, (5, 2)), label="the eye, V(λ)")
    named = shown_name(f"meter {meter}")
    panels[0].plot(wavelength, head, color=COLOURS["blue"], linewidth=1.6, label=named)
    panels[0].fill_between(wavelength, eye, head, color=COLOURS["sky"], alpha=0.35, linewidth=0)
    looks = (("vermilion", "-"), ("orange", (0, (6, 2))), ("green", ":"), ("purple", "-."))
    for (words, light), (colour, line) in zip(lights.items(), looks, strict=False):
        how: Look = {"color": COLOURS[colour], "linewidth": 1.6, "linestyle": line}
        panels[1].plot(wavelength, light / light.max(), label=shown_name(words, 40), **how)
        panels[2].plot(wavelength, excess[words], label=shown_name(words, 40), **how)
        panels[2].fill_between(wavelength, 0.0, excess[words], color=COLOURS[colour], alpha=0.15, linewidth=0)
    panels[2].axhline(0.0, color=GREY, linewidth=0.8)
    panels[0].set_ylabel("relative")
    panels[1].set_ylabel("relative power")
    panels[2].set_ylabel("read too much\n(% for each nm)")
    panels[2].set_xlabel("wavelength (nm)")
    for axes in panels:
        axes.set_xlim(float(wavelength[0]), float(wavelength[-1]))
        axes.grid(axis="y")
        axes.legend(loc="center right" if axes is panels[1] else "upper right", fontsize=8.0)
