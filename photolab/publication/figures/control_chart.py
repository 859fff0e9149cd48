"""The baseline over the days: the means of the days within their limits, and groups that stand apart."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from photolab.metrology.control import ControlChart
from photolab.metrology.reporting import decimal
from photolab.publication.figures.common import BLUE, GREY, INK, PALE, RED, Look, shown_name, styled


@styled
def draw(axes: Axes, table: pd.DataFrame, *, title: str) -> None:
    """Draw one chart.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    table : DataFrame
        One row a day in order: ``day`` (text), ``percent`` (mean of the day from the centre), ``low``,
        ``high`` (limits of it), ``out`` (bool: the day by itself), ``group`` (bool: one of the days that
        stand apart together). [%]
    title : str
        What the chart is of.
    """
    places = range(len(table))
    axes.fill_between(places, table["low"], table["high"], color=PALE, linewidth=0, step="mid", zorder=0)
    axes.axhline(0.0, color=INK, linewidth=0.8, zorder=1)
    axes.plot(places, table["percent"], color=GREY, linewidth=1.0, zorder=2)
    group, out = table["group"].astype(bool), table["out"].astype(bool)
    mark: Look = {"linestyle": "none", "markersize": 7, "markeredgewidth": 1.4, "zorder": 3}
    day = mark | {"marker": "o", "color": BLUE, "markerfacecolor": "white", "label": "a day"}
    together = {"marker": "s", "color": RED, "label": "days that stand apart together"}
    beyond = {"marker": "x", "color": INK, "markersize": 12, "markeredgewidth": 1.6}
    beyond |= {"label": "a day beyond its limits"}
    for chosen, look in ((~group, day), (group, mark | together), (out, mark | beyond)):
        if chosen.any():
            at = np.flatnonzero(chosen)
            axes.plot(at, table["percent"].iloc[at], **look)
    axes.set_xticks(list(places), [shown_name(str(day), 12) for day in table["day"]])
    axes.grid(axis="y")
    axes.margins(x=0.06)
    bottom, top = table[["low", "percent"]].min().min(), table[["high", "percent"]].max().max()
    axes.set(ylim=(1.15 * bottom, 2.1 * top), title=shown_name(f"{title}, from the mean (%)", 90))
    if group.any() or out.any():
        axes.legend(loc="upper right", borderaxespad=0.2)


def percent(chart: ControlChart) -> pd.DataFrame:
    """Return a chart of ln values as `draw` takes it.

    Parameters
    ----------
    chart : ControlChart
        In ln. [1]

    Returns
    -------
    DataFrame
        day, percent, low, high, out, group. [%]
    """
    days = chart.table
    together = next((s for s in chart.signals if s.kind in {"group", "step"}), None)
    at = days["day"].tolist()
    span = range(at.index(together.first), at.index(together.last) + 1) if together else range(0)
    shown: pd.DataFrame = 100.0 * (days[["mean", "low", "high"]] - chart.centre).transform(np.expm1)
    apart = pd.Series([place in span for place in range(len(days))], days.index)
    shown = shown.rename(columns={"mean": "percent"})
    return shown.assign(day=days["day"].astype(str), out=days["out"], group=apart)


def words(charts: Mapping[str, pd.DataFrame]) -> str:
    """Return what charts show.

    Parameters
    ----------
    charts : mapping of str to DataFrame
        Title to rows as for `draw`.

    Returns
    -------
    str
        Every day's mean.
    """
    said = [
        f"{title}: {', '.join(f'{day} {decimal(x, 1)}' for day, x in zip(t['day'], t['percent'], strict=True))}"
        for title, t in charts.items()
    ]
    high = max((float(table["high"].max()) for table in charts.values()), default=0.0)
    return (
        "The baseline, mean of each day in % from the mean of all days, limits of a single day at most "
        f"± {decimal(high, 1)} %. {'; '.join(said)}."
    )
