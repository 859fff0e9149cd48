"""Seatings: how far each lies from the others of its lamp, one row a lamp, one mark a seating."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, INK, PALE, RED, Look, name_rows, shown_name, styled

_SPREAD = 0.26
_LOOKS = (("blue", "o"), ("orange", "s"), ("green", "^"), ("purple", "D"), ("sky", "v"), ("black", "P"))


@styled
def draw(axes: Axes, table: pd.DataFrame, *, sd: float) -> str:
    """Draw every seating.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a seating: ``lamp``, ``housing``, ``percent`` (from the lamp's mean in that housing),
        ``flagged`` (bool), ``label`` (printed beside a flagged one). Rows of a lamp stand in the order in
        which they were read. [%]
    sd : float
        Half-width of the pale band: one standard deviation of a seating. [%]

    Returns
    -------
    str
        What it shows: one sentence with its key numbers, and one for each flagged seating.
    """
    lamps = list(dict.fromkeys(str(lamp) for lamp in table["lamp"]))
    axes.axvspan(-sd, sd, color=PALE, linewidth=0, zorder=0)
    axes.axvline(0.0, color=INK, linewidth=0.8, zorder=1)
    for number, housing in enumerate(dict.fromkeys(str(one) for one in table["housing"])):
        colour, marker = _LOOKS[number % len(_LOOKS)]
        mine = table[table["housing"].astype(str) == housing]
        words = shown_name(f"housing {housing}") if housing else "seatings"
        for lamp, rows in mine.groupby(mine["lamp"].astype(str), sort=False):
            spread = _SPREAD if len(rows) > 1 else 0.0
            height = lamps.index(str(lamp)) + np.linspace(-spread, spread, len(rows))
            look: Look = {"linestyle": "none", "marker": marker, "markersize": 5, "color": COLOURS[colour]}
            look |= {"markerfacecolor": "none", "markeredgewidth": 1.1, "zorder": 2}
            axes.plot(rows["percent"], height, label=words if lamp == mine["lamp"].iloc[0] else None, **look)
            for at, row in zip(height, rows.to_dict("records"), strict=True):
                if row["flagged"]:
                    label, point = shown_name(str(row["label"]), 50), (row["percent"], at)
                    axes.plot(*point, marker="x", markersize=11, color=RED, markeredgewidth=2)
                    axes.annotate(label, point, xytext=(9, 0), textcoords="offset points", va="center")
    what = "from the lamp's own mean in that housing (%); pale band: ± one SD of a seating"
    name_rows(axes, [shown_name(one) for one in lamps], what, margin=0.05, edge=0.55, row=0.42)
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=6, borderaxespad=0.1)
    sound = table.loc[~table["flagged"], "percent"]
    apart = "".join(
        f" Flagged: {row['lamp']} in {row['housing']}, {row['label']}, {decimal(row['percent'], 1)} %."
        for row in table[table["flagged"]].to_dict("records")
    )
    return (
        f"{len(table)} seatings of {table['lamp'].nunique()} lamps as marks on one row a lamp, by how far each lies "
        f"from the lamp's mean in its housing: {decimal(sound.min(), 1)} to {decimal(sound.max(), 1)} %; the pale band "
        f"is ± {decimal(sd, 1)} %, one standard deviation.{apart}"
    )
