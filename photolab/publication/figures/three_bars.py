"""Two readings: what the meter alone, the bench, and meters with nothing in common would leave open."""

from __future__ import annotations

import textwrap

import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import COLOURS, GREY, INK, Look, name_rows, styled


@styled
def draw(axes: Axes, table: pd.DataFrame, *, percent: float) -> None:
    """Draw the result and its bars on one axis of "% more or less light".

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a bar, from top to bottom: ``label`` (text), ``low`` and ``high`` (ends of the bar [%]),
        ``kind`` (``plain``, ``decides``: heavier, ``what_if``: dashed).
    percent : float
        The result itself: so much more light (less, if negative). [%]
    """
    looks = {
        "plain": {"color": GREY, "linewidth": 2.5, "linestyle": "-"},
        "decides": {"color": COLOURS["blue"], "linewidth": 5.5, "linestyle": "-"},
        "what_if": {"color": GREY, "linewidth": 1.8, "linestyle": (0, (4, 3))},
    }
    axes.axvline(0.0, color=INK, linewidth=0.8, zorder=1)
    for row, (low, high, kind) in enumerate(zip(table["low"], table["high"], table["kind"], strict=True)):
        look = looks[str(kind)]
        axes.plot([low, high], [row, row], solid_capstyle="butt", zorder=2, **look)  # type: ignore[arg-type]
        cap = 0.16 if kind != "decides" else 0.24
        for end in (low, high):
            axes.plot([end, end], [row - cap, row + cap], color=look["color"], linewidth=1.6, zorder=2)
        axes.plot([percent], [row], marker="o", markersize=6, color=INK, zorder=3)
        if kind == "decides":
            beside: Look = {"xytext": (7, 0), "textcoords": "offset points", "va": "center"}
            axes.annotate("decides", (high, row), weight="bold", **beside)
    name_rows(axes, [textwrap.fill(str(label), 24) for label in table["label"]], edge=0.5)
    axes.spines["left"].set_visible(False)
    axes.margins(x=0.12)
    axes.xaxis.set_major_formatter(_signed)
    axes.set_xlabel("less light   ←   % more or less light   →   more light")


def _signed(value: float, _position: object = None) -> str:
    """Return a tick label with its sign."""
    if round(value) == 0:
        return "same"
    sign = "+" if value > 0 else "−"
    return f"{sign}{abs(value):g} %"


def words(table: pd.DataFrame, *, percent: float) -> str:
    """Return what the figure shows.

    Parameters
    ----------
    table : DataFrame
        As for `draw`.
    percent : float
        As for `draw`. [%]

    Returns
    -------
    str
        One sentence with every number of the figure.
    """

    def signed(x: float) -> str:
        text = decimal(x, 1)
        return text if text.startswith("-") or float(text) == 0.0 else f"+{text}"

    marks = {"decides": ", which decides,"}
    bars = [
        f"{row['label']}{marks.get(row['kind'], '')} {signed(row['low'])} to {signed(row['high'])} %"
        for row in table.to_dict("records")
    ]
    head = f"One axis of % more or less light with the result, {signed(percent)} %, and {len(bars)} bars"
    return f"{head}: {'; '.join(bars)}."
