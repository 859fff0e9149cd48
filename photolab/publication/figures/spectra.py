"""The eye, a meter and the light of lamps over wavelength, and where the meter sees too much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from photolab.publication.figures.common import COLOURS, GREY, INK, shown_name, styled

__all__ = ["draw"]


@styled
def draw(panels: Sequence[Axes], table: pd.DataFrame, *, lamps: Mapping[str, str], meter: str) -> None:
    """Draw three panels that share the wavelength.

    Parameters
    ----------
    panels : sequence of three Axes
        Eye and meter; light of the lamps; what the meter reads too much.
    table : DataFrame
        ``wavelength_nm`` [nm], ``eye``, ``meter``, and for each lamp ``light <lamp>`` [1] and ``excess <lamp>``
        [%/nm].
    lamps : mapping of str to str
        Lamp to the words that name it.
    meter : str
        Name of the meter.
    """
    x = table["wavelength_nm"]
    panels[0].plot(x, table["eye"], color=INK, linewidth=1.6, linestyle=(0, (5, 2)), label="the eye, V(λ)")
    panels[0].plot(
        x, table["meter"], color=COLOURS["blue"], linewidth=1.6, label=shown_name(f"meter {meter}")
    )
    panels[0].fill_between(x, table["eye"], table["meter"], color=COLOURS["sky"], alpha=0.35, linewidth=0)
    looks = zip(
        lamps.items(), ("vermilion", "orange", "green", "purple"), ("-", (0, (6, 2)), ":", "-."), strict=False
    )
    for (lamp, words), colour, line in looks:
        how: dict[str, Any] = {"color": COLOURS[colour], "linewidth": 1.6, "linestyle": line}
        panels[1].plot(x, table[f"light {lamp}"], label=shown_name(words, 40), **how)
        panels[2].plot(x, table[f"excess {lamp}"], label=shown_name(words, 40), **how)
        panels[2].fill_between(
            x, 0.0, table[f"excess {lamp}"], color=COLOURS[colour], alpha=0.15, linewidth=0
        )
    panels[2].axhline(0.0, color=GREY, linewidth=0.8)
    panels[0].set_ylabel("relative")
    panels[1].set_ylabel("relative power")
    panels[2].set_ylabel("read too much\n(% for each nm)")
    panels[2].set_xlabel("wavelength (nm)")
    for axes in panels:
        axes.set_xlim(float(x.min()), float(x.max()))
        axes.grid(axis="y")
        axes.legend(loc="center right" if axes is panels[1] else "upper right", fontsize=8.0)
