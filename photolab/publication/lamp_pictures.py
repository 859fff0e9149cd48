"""The pictures of a page as files of their own, and those of one lamp: its warm-up and its budget.

Each file names what it shows; bench and days stand in the picture. The same bench gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from photolab.bench.campaign import Campaign
from photolab.bench.heat import WarmUpRun, warm_up_runs
from photolab.publication import figure_tables
from photolab.publication.display import one_line
from photolab.publication.figures import bars, intervals, records
from photolab.publication.figures.common import Figure, new_figure, shown_name, stored
from photolab.publication.front_page import is_invented, span_of
from photolab.publication.page_one import PageOne, after_heat_figure
from photolab.publication.statements import in_housing, time_of
from photolab.publication.words_heat import run_name

_FULL_HD = (6.4, 3.6), 300.0  # inches, dots of an inch: 1920 by 1080 pixels
_LINES = 10  # of a full-HD picture, so that its letters have room


def figure_files(campaign: Campaign, found: PageOne) -> dict[str, bytes]:
    """Return the pictures of a page as files.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    found : PageOne
        What page one says.

    Returns
    -------
    dict
        Name, as "figures/after-heat.png", and bytes.
    """
    bench = campaign.bench
    invented = "Invented data. " if is_invented(bench) else ""
    foot = f"{invented}{one_line(bench.settings.name)}, {span_of(bench.tables['days']['date'])}"
    files: dict[str, bytes] = {}
    large = {"size": intervals.SIZE * _FULL_HD[0][0] / 7.0, "dpi": _FULL_HD[1]}
    for name, figure in _drawn(campaign, found):
        letters = large if name.endswith("1920x1080") else {"size": intervals.SIZE} if "heat" in name else {}
        files |= {f"figures/{name}.{kind}": made for kind, made in stored(figure, foot, **letters).items()}
    return files


def _drawn(campaign: Campaign, found: PageOne) -> Iterator[tuple[str, Figure]]:
    """Yield each picture by the name of its file."""
    table = found.pictured
    what = "light-after-heat" if table["earlier"].notna().any() else "light-at-first"
    if table["low"].notna().any():
        whole = after_heat_figure(campaign, table)
        yield what, whole
        for number, (_, rows) in enumerate(table.groupby("housing", sort=False), start=1):
            for part, begin in enumerate(range(0, len(rows), _LINES)):
                some = rows.iloc[begin : begin + _LINES]
                name = file_name(what, number, str(rows["housing"].iloc[0]), *(["more"] * part))
                panel = after_heat_figure(campaign, some, size=_FULL_HD[0])
                panel.axes[0].set_xlim(whole.axes[0].get_xlim())
                yield f"{name}-1920x1080", panel
    early = figure_tables.all_lamps(campaign)
    if early["low"].notna().any():
        height = 1.4 + 0.26 * early["lamp"].nunique()
        figure, panels = new_figure(1, early["housing"].nunique(), width=7.2, height=height)
        intervals.draw_lamps(panels, early, baseline=campaign.baseline)
        yield "all-lamps-at-first", figure
    for number, lamp in enumerate(dict.fromkeys(table["lamp"]), start=1):
        if (record := warm_up_figure(campaign, lamp)) is not None:
            yield file_name("warm-up", number, lamp), record[0]
        if number == 1 and (parts := budget_figure(campaign, lamp)) is not None:
            yield file_name("budget", number, lamp), parts[0]


def file_name(what: str, number: int, *names: str) -> str:
    """Return the name of a file about something that a folder names.

    Parameters
    ----------
    what : str
        What it shows.
    number : int
        Place of the thing, so that no two names meet. [1]
    *names : str
        Its name; of each only letters and figures are kept.

    Returns
    -------
    str
        "warm-up-02-k1".
    """
    plain = (re.sub("[^a-z0-9]+", "-", name.lower()).strip("-")[:40] for name in names)
    return "-".join([what, f"{number:02d}", *filter(None, plain)])


def warm_up_figure(campaign: Campaign, lamp: str) -> tuple[Figure, str] | None:
    """Return the warm-up of a lamp, a panel a housing, its longest record there.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.

    Returns
    -------
    Figure and str, or None
        The figure and its words; None without a record.
    """
    longest: dict[str, WarmUpRun] = {}
    for run in warm_up_runs(campaign.bench):
        dark = run.fit is None and not float(run.record["illuminance_lx"].iloc[0]) > 0.0
        before = _end(longest[run.housing]) if run.housing in longest else 0.0
        if run.lamp == lamp and not dark and _end(run) > before:
            longest[run.housing] = run
    if not longest:
        return None
    width = 7.0 if len(longest) > 1 else 4.6
    figure, panels = new_figure(1, len(longest), width=width, height=2.4, share_x=True, share_y=True)
    said, limits = [], []
    for axes, run in zip(panels, longest.values(), strict=True):
        time_s, lux = (run.record[name].to_numpy(float) for name in ("elapsed_s", "illuminance_lx"))
        fit = run.refusals[0] if run.fit is None else run.fit
        if run.fit is not None:
            time_s, lux = run.fit.time_s, run.fit.illuminance
        shown = records.draw_curve(axes, time_s, lux, fit, at_s=60.0 * campaign.bench.settings.hold_minutes)
        limits.append((axes.get_xlim(), axes.get_ylim()))
        axes.set_title(shown_name(run_name(run), 40))
        said.append(f"Light of {run_name(run)}. {shown}")
    panels[0].set_xlim(min(x[0] for x, _ in limits), max(x[1] for x, _ in limits))
    panels[0].set_ylim(min(y[0] for _, y in limits), max(y[1] for _, y in limits))
    return figure, " ".join(said)


def _end(run: WarmUpRun) -> float:
    return float(np.max(run.record["elapsed_s"].to_numpy(float), initial=0.0))


def budget_figure(campaign: Campaign, lamp: str) -> tuple[Figure, str] | None:
    """Return the budget of a lamp as bars, in the first housing in which it was compared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        The lamp.

    Returns
    -------
    Figure and str, or None
        The figure and its words; None where nothing blurs it.
    """
    mine = {place: found for (one, place), found in figure_tables.budgets(campaign).items() if one == lamp}
    if not mine:
        return None
    housing, (instant, lines) = next(iter(mine.items()))
    rows = lines[lines["moves"] >= 0.05]
    if rows.empty:
        return None
    figure, (axes,) = new_figure(height=1.4 + 0.28 * len(rows))
    bars.draw_budget(axes, rows)
    where, when = in_housing(housing), time_of(campaign.bench, instant)
    shown = f"{shown_name(lamp)} against {shown_name(campaign.baseline)}{shown_name(where)}"
    axes.set_title(f"{shown}, {when} after switch-on")
    name = f"{lamp} against {campaign.baseline}{where}"
    return figure, f"What blurs {name}, in ± % of the result, longest bar first: {bars.budget_words(rows)}."
