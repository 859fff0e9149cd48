"""Bars: what each of three doubts leaves open of two readings, and what blurs a result, longest first."""

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from photolab.publication.figures.common import BLUE, GREY, INK, Look, name_rows, styled
from photolab.publication.sentences.figure_tables import signed


@styled
def draw_three(axes: Axes, table: pd.DataFrame | Mapping[str, Sequence[Any]], *, percent: float) -> str:
    """Draw the result and its bars on one axis of "% more or less light".

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame or mapping
        One row a bar, from top to bottom: ``label`` (text), ``low`` and ``high`` (ends of the bar [%]),
        ``kind`` (``plain``, ``decides``: heavier, ``what_if``: dashed).
    percent : float
        The result itself: so much more light (less, if negative). [%]

    Returns
    -------
    str
        What it shows: one sentence with every number of the figure.
    """
    looks = {
        "plain": {"color": GREY, "linewidth": 2.5, "linestyle": "-"},
        "decides": {"color": BLUE, "linewidth": 5.5, "linestyle": "-"},
        "what_if": {"color": GREY, "linewidth": 1.8, "linestyle": (0, (4, 3))},
    }
    axes.axvline(0.0, color=INK, linewidth=0.8, zorder=1)
    bars = []
    lines = zip(*(table[name] for name in ("label", "low", "high", "kind")), strict=True)
    for row, (label, low, high, kind) in enumerate(lines):
        look = looks[str(kind)]
        axes.plot([low, high], [row, row], solid_capstyle="butt", zorder=2, **look)  # type: ignore[arg-type]
        cap = 0.16 if kind != "decides" else 0.24
        for end in (low, high):
            axes.plot([end, end], [row - cap, row + cap], color=look["color"], linewidth=1.6, zorder=2)
        axes.plot([percent], [row], marker="o", markersize=6, color=INK, zorder=3)
        if kind == "decides":
            beside: Look = {"xytext": (7, 0), "textcoords": "offset points", "va": "center"}
            axes.annotate("decides", (high, row), weight="bold", **beside)
        ends = " to ".join(signed(end, places=1, unit="") for end in (low, high))
        bars.append(f"{label}{', which decides,' if kind == 'decides' else ''} {ends} %")
    names = [textwrap.fill(str(label), 24) for label in table["label"]]
    what = "less light   ←   % more or less light   →   more light"
    name_rows(axes, names, what, margin=0.12, edge=0.5, row=1.0 / 3.0)
    axes.spines["left"].set_visible(False)
    axes.xaxis.set_major_formatter(
        lambda x, _: f"{'+' if x > 0 else '−'}{abs(x):g} %" if round(x) else "same"
    )
    result = signed(percent, places=1, unit="")
    head = f"One axis of % more or less light with the result, {result} %, and {len(bars)} bars"
    return f"{head}: {'; '.join(bars)}."


@styled
def draw_budget(axes: Axes, table: pd.DataFrame, *, name: str) -> str:
    """Draw how far each input moves the result.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row an input: ``what`` (text), ``moves`` (how far it moves the result [± %]), ``assumed``
        (bool), ``label`` (``moves`` as printed). Drawn longest first.
    name : str
        Of the result.

    Returns
    -------
    str
        What it shows: "What blurs K1 …, longest bar first: seating 1.9, range term of the meter 1.7 (assumed)."
    """
    rows = table.sort_values("moves", ascending=False, kind="stable")
    known: Look = {"facecolor": BLUE, "edgecolor": BLUE}
    assumed = known | {"facecolor": "white", "hatch": "////"}
    for place, row in enumerate(rows.to_dict("records")):
        moves, look = row["moves"], assumed if row["assumed"] else known
        axes.barh(place, moves, height=0.62, linewidth=1.0, **look)
        axes.annotate(row["label"], (moves, place), xytext=(5, 0), textcoords="offset points", va="center")
    name_rows(axes, [str(what) for what in rows["what"]], "moves the result by (± %)", margin=0.14, row=0.28)
    names = {"known: manual, certificate or own readings": known, "assumed": assumed}
    keys = [Patch(label=name, **look) for name, look in names.items()]
    axes.legend(handles=keys, loc="lower right", labelcolor=INK)
    told = zip(rows["what"], rows["label"], rows["assumed"], strict=True)
    said = ", ".join(f"{what} {label}{' (assumed)' if assumed else ''}" for what, label, assumed in told)
    return f"What blurs {name}, in ± % of the result, longest bar first: {said}."
