"""Dots with their intervals: lamps after and before the heat, levels, plans, figures of others, days."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.quantity import COVERAGE
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import BLUE, GREY, INK, RED, SKY, Look, name_rows, shown_name, styled
from photolab.publication.sentences.figure_tables import all_lamps_words
from photolab.publication.sentences.statements import SCOPE_WORDS

_APART = 0.7  # of the width of a day that its figures fill
SIZE = 15.2
"""Of every letter: 48 of 1600 pixels on a figure seven inches wide, readable where it is shown small. [pt]"""
_LONGEST = 14
SCOPES = {scope: SCOPE_WORDS[scope] for scope in ("specimens", "models")}
WAYS = {"specimens": "by rehearsal", "formula": "by formula"}


def lines(table: pd.DataFrame) -> int:
    """Return how many lines a panel has: a lamp each, and one above the lamps that are not compared then.

    Parameters
    ----------
    table : DataFrame
        Rows of one housing, see `draw_after_heat`.

    Returns
    -------
    int
        Lines. [1]
    """
    not_held = int(table["low"].isna().sum())
    return len(table) + (1 if 0 < not_held < len(table) else 0)


@styled
def draw_after_heat(
    panels: Sequence[Axes], table: pd.DataFrame, *, baseline: str, not_held: str, size: float = SIZE
) -> None:
    """Draw every lamp against the baseline.

    Parameters
    ----------
    panels : sequence of Axes
        One for each housing, in the order in which housings first stand in the table.
    table : DataFrame
        One row a lamp and housing, in the order to be drawn: ``lamp``, ``housing``, ``specimens`` (count), ``earlier``
        (light at the initial time, NaN where the main figure is that), ``percent``, ``low``, ``high``, ``model_low``,
        ``model_high`` (more light than the baseline with its intervals [%], NaN where not compared), ``title``
        and ``word`` (what stands above the panel and at the right).
    baseline : str
        Name of the baseline lamp.
    not_held : str
        What stands above the lamps that are not compared then.
    size : float, default SIZE
        Of every letter. [pt]
    """
    for axes, (_, own) in zip(panels, table.groupby("housing", sort=False), strict=True):
        first = own["low"].notna().sum()
        rows = own.sort_values("low", key=pd.Series.isna, kind="stable").to_dict("records")
        both = lines(own) > len(own)
        places = [place + (both and place >= first) for place in range(len(own))]
        words: Look = {"transform": axes.get_yaxis_transform(), "va": "center", "fontsize": size}
        axes.axvline(0.0, color=INK, linewidth=1.4)
        for place, row in zip(places, rows, strict=True):
            level = [place, place]
            axes.plot([row["percent"], row["earlier"]], level, color=GREY, linewidth=1.6, linestyle=":")
            axes.plot(row["earlier"], place, marker="o", markersize=8, color=GREY, markerfacecolor="white")
            model = [row["model_low"], row["model_high"]]
            axes.plot(model, level, color=INK, linewidth=1.2, marker="|", markersize=9)
            axes.plot([row["low"], row["high"]], level, color=INK, linewidth=5.0, solid_capstyle="butt")
            axes.plot(row["percent"], place, marker="o", markersize=9, color=INK)
            axes.text(1.02, place, row["word"], **words)
        names = [f"{shown_name(str(row['lamp']), _LONGEST)} ({row['specimens']})" for row in rows]
        axes.set_yticks(places, names, fontsize=size)
        if both:
            axes.text(0.0, first, not_held, **words, color=GREY, style="italic", backgroundcolor="white")
        axes.set_ylim(lines(own) - 0.4, -0.6)
        axes.margins(x=0.06)
        axes.tick_params(axis="y", length=0)
        axes.tick_params(axis="x", labelsize=size, labelbottom=True)
        axes.grid(axis="x")
        axes.set_title(str(own["title"].iloc[0]), fontsize=size, fontweight="bold")
    panels[-1].set_xlabel(f"more light than {shown_name(baseline)} (%)", fontsize=size)


@styled
def draw_lamps(
    panels: Sequence[Axes], table: pd.DataFrame, *, baseline: str, coverage: float = COVERAGE
) -> str:
    """Draw every lamp against the baseline.

    Parameters
    ----------
    panels : sequence of Axes
        One for each housing, in the order in which housings first stand in the table.
    table : DataFrame
        One row a lamp and housing: ``lamp``, ``housing``, ``percent``, ``low``, ``high`` (more light than the
        baseline, and its interval [%]; NaN where there is no answer), ``specimens`` (count).
    baseline : str
        Name of the baseline lamp.
    coverage : float, default COVERAGE
        Of the intervals. [1]

    Returns
    -------
    str
        What it shows, with every number of the figure.
    """
    lamps = list(dict.fromkeys(table["lamp"]))
    for axes, (housing, rows) in zip(panels, table.groupby("housing", sort=False), strict=True):
        axes.axvline(0.0, color=INK, linewidth=1.0)
        for row in rows.to_dict("records"):
            place, filling = lamps.index(row["lamp"]), BLUE if row["specimens"] > 1 else "white"
            axes.plot([row["low"], row["high"]], [place, place], color=BLUE, linewidth=2.0)
            look: Look = {"color": BLUE, "markerfacecolor": filling, "markeredgewidth": 1.6}
            axes.plot(row["percent"], place, marker="o", markersize=7, **look)
        names = [shown_name(str(one)) if axes is panels[0] else "" for one in lamps]
        name_rows(axes, names, f"more light than {shown_name(baseline)} (%)", margin=0.08, row=0.26)
        axes.set_title(shown_name(f"housing {housing!s}") if housing else "one housing")
    limits = [axes.get_xlim() for axes in panels]
    for axes in panels:
        axes.set_xlim(float(np.min(limits)), float(np.max(limits)))
    return all_lamps_words(table, baseline, coverage=coverage)


@styled
def draw_beside(axes: Axes, table: pd.DataFrame) -> None:
    """Draw each figure over ours: a bar that leaves out the line of no difference is beyond both uncertainties.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a figure, from the top: ``what`` and ``whose`` (its name), ``ln_quotient`` (theirs over ours) and
        ``half`` (half-width of its interval). [1]
    """
    axes.axvline(0.0, color=INK, linewidth=1.0)
    for place, (x, u) in enumerate(table[["ln_quotient", "half"]].to_numpy(dtype=float)):
        ends = 100.0 * np.expm1([x - u, x + u])
        axes.plot(ends, [place, place], color=INK, linewidth=2.5, solid_capstyle="butt")
        look: Look = {"color": INK, "markeredgewidth": 1.6, "markerfacecolor": "white" if abs(x) > u else INK}
        axes.plot(100.0 * np.expm1(x), place, marker="o", markersize=7, **look)
    names = zip(table["what"], table["whose"], strict=True)
    shown = ["\n".join(shown_name(one, 56) for one in both) for both in names]
    name_rows(axes, shown, "their figure over ours, less 1 (%)", margin=0.08, row=0.45)


@styled
def draw_components(axes: Axes, table: pd.DataFrame, *, coverage: float) -> str:
    """Draw the standard deviation of each level.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a level, from top to bottom: ``label`` (text), ``sd``, ``low``, ``high`` (standard deviation
        and its interval), ``used`` (the campaign's pool; NaN for none), ``assumed``
        (bool, of ``used``). [%]
    coverage : float
        Of the intervals. [1]

    Returns
    -------
    str
        What it shows: one sentence with its key numbers.
    """
    filled: Look = {"marker": "D", "markersize": 6, "color": RED, "markerfacecolor": RED}
    used = {False: filled, True: filled | {"markerfacecolor": "white"}}
    for place, row in enumerate(table.to_dict("records")):
        axes.plot([row["low"], row["high"]], [place, place], color=BLUE, linewidth=2.2)
        axes.plot(row["sd"], place, marker="o", markersize=8, color=BLUE)
        axes.plot(row["used"], place + 0.27, markeredgewidth=1.4, **used[bool(row["assumed"])])
    own: Look = {"color": BLUE, "marker": "o", "markersize": 8, "linewidth": 2.2}
    axes.plot([], [], label="component with its interval", **own)
    for assumed, words in ((False, "pool of the campaign"), (True, "pool, assumed")):
        if (table["assumed"].astype(bool) == assumed).any():
            axes.plot([], [], linestyle="none", label=words, **used[assumed])
    name_rows(axes, [str(label) for label in table["label"]], "standard deviation (%)", margin=0.0, row=0.42)
    axes.legend(loc="lower left", bbox_to_anchor=(-0.1, 1.0), ncols=3, borderaxespad=0.1, columnspacing=1.2)
    said = "; ".join(
        f"{row['label']} {decimal(row['sd'], 2)} ({decimal(row['low'], 2)} to {decimal(row['high'], 2)})"
        for row in table.to_dict("records")
    )
    return f"Standard deviations in % as dots with their intervals at {100.0 * coverage:g} %: {said}."


@styled
def draw_plans(
    axes: Axes, table: pd.DataFrame, *, floor: float | None = None, columns: Mapping[str, str] = SCOPES
) -> None:
    """Draw the forecast half-width of plans.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a plan, from top to bottom: ``label`` (text), two half-widths of the interval of a ratio [%].
    floor : float, optional
        Half-width that no number of seatings and readings goes below. [%]
    columns : mapping, default `SCOPES`
        The two columns of half-widths, and what each is, `SCOPES` or `WAYS`; the first is drawn filled.
    """
    if floor is not None:
        axes.axvline(floor, color=RED, linewidth=1.4, linestyle=(0, (4, 3)), label="floor")
    for place, row in enumerate(table.to_dict("records")):
        axes.plot([row[name] for name in columns], [place, place], color=BLUE, linewidth=1.0)
    mark: Look = {"linestyle": "none", "markersize": 7, "color": BLUE, "markeredgewidth": 1.5}
    rows = range(len(table))
    for (column, words), marker, filling in zip(columns.items(), "os", (BLUE, "white"), strict=True):
        axes.plot(table[column], rows, marker=marker, markerfacecolor=filling, label=words, **mark)
    what = "forecast half-width of a ratio of two lamps (± %)"
    name_rows(axes, [str(label) for label in table["label"]], what, margin=0.0, edge=0.5, row=0.33)
    axes.set_ylabel("specimens × seatings\n× readings" if columns is SCOPES else "")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, borderaxespad=0.1)


@styled
def draw_days(axes: Axes, table: pd.DataFrame, *, title: str = "") -> None:
    """Draw the figures of one housing, day by day.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a figure: ``day`` (text, in order), ``percent`` (seen from predicted), ``low``, ``high`` (the interval
        of what was predicted, from it), ``inside`` (bool). [%]
    title : str, default ""
        What the panel is of.
    """
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    days = list(dict.fromkeys(table["day"]))
    for place, day in enumerate(days):
        rows = table[table["day"] == day].to_dict("records")
        for number, row in enumerate(rows):
            at = place + _APART * ((number + 0.5) / len(rows) - 0.5)
            colour, mark = (BLUE, "o") if row["inside"] else (RED, "x")
            axes.plot([at, at], [row["low"], row["high"]], color=SKY, linewidth=1.4, zorder=2)
            axes.plot(at, row["percent"], color=colour, marker=mark, markersize=5, zorder=3)
    axes.set_xticks(range(len(days)), [shown_name(str(day), 12) for day in days])
    axes.grid(axis="y")
    axes.set(xlim=(-0.6, len(days) - 0.4), title=shown_name(title, 90))
