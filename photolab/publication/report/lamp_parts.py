"""Lamp by lamp: what is shown of it in each housing, what is left, its budget, its warm-up, its claim and its price.

The pictures of a page stand here too, as files of their own: each names what it shows, bench and days stand in it, and
the same bench gives the same bytes.
"""

import html
import math
import re
from collections.abc import Iterator

import numpy as np
import pandas as pd

from photolab.bench.results.campaign import Campaign
from photolab.bench.results.derived import judge_gain
from photolab.bench.results.heat import WarmUpRun, warm_up_runs
from photolab.bench.terms.model import Bench
from photolab.publication.figures import bars, intervals, records
from photolab.publication.figures.common import Figure, new_figure, picture, shown_name, stored
from photolab.publication.report import page_one
from photolab.publication.report.front_page import span_of
from photolab.publication.report.page import Section, clean_table, figure, photograph
from photolab.publication.report.page_one import Line, PageOne, paragraphs
from photolab.publication.sentences.display import one_line, table
from photolab.publication.sentences.figure_tables import all_lamps, budgets, two_digits
from photolab.publication.sentences.findings import joined
from photolab.publication.sentences.statements import count, finding_words, in_housing, time_of
from photolab.publication.sentences.words_heat import run_name
from photolab.publication.sentences.words_lamp import (
    claim_sentence,
    left_sentence,
    price_judgement,
    price_sentences,
)

_FULL_HD = (6.4, 3.6), 300.0  # inches, dots of an inch: 1920 by 1080 pixels
_LINES = 10  # of a full-HD picture, so that its letters have room
_LARGEST = 5
_MOST_PHOTOS = 4  # of one lamp


def lamp_parts(found: PageOne) -> Section | None:
    """Return a part for every lamp that was compared.

    Parameters
    ----------
    found : PageOne
        The rows.

    Returns
    -------
    Section or None
        The lamps in the order of page one, then photographs of those that were not compared; None without any.
    """
    bench = found.campaign.bench
    blocks = [block for n, lamp in enumerate(found.lamps, start=1) for block in _part(found, lamp, n)]
    for lamp in dict.fromkeys(photo.lamp for photo in bench.photos if photo.lamp not in found.lamps):
        blocks += [f"<h3>{html.escape(lamp)}</h3>", *_photographs(bench, lamp)]
    note = "For the specimens on the bench, all lamps of a housing compared at once. Working: notebook 10_lamp_verdict."
    return Section("What can be said of each lamp?", tuple(blocks), note) if blocks else None


def _part(found: PageOne, lamp: str, number: int) -> Iterator[str]:
    """Yield the part of one lamp."""
    campaign = found.campaign
    yield f'<h3 id="{page_one.lamp_anchor(number)}">{html.escape(lamp)}</h3>'
    apart = (one for one in campaign.noticed if one.code == "record_apart" and one.subject[0] == lamp)
    noticed = [(finding_words(one),) for one in apart]
    yield paragraphs([*_verdicts(found, lamp), *_left(found, lamp), *noticed])
    caption = f"What blurs {lamp} against {campaign.baseline} most"
    if (blurs := table(_budget(campaign, lamp), caption=caption)) is not None:
        yield clean_table(blurs)
    if (drawn := warm_up_figure(campaign, lamp)) is not None:
        shown = picture(drawn[0], alt=drawn[1], invented=campaign.bench.invented)
        caption = f"How the light of {lamp} settles, its longest record in each housing."
        yield figure(shown.png, shown.alt, caption)
    places = [n[1] for n in campaign.compared() if n[0] == lamp and n[2] == "hot_spot"]
    prices = [price_words(campaign, lamp, place)[1] for place in places]
    yield paragraphs([(one,) for one in (claim_sentence(campaign.bench, lamp), *prices) if one])
    yield from _photographs(campaign.bench, lamp)
    yield f'<p class="back"><a href="#{page_one.FOUND}-{number}">Back to the table of all lamps</a></p>'


def _photographs(bench: Bench, lamp: str) -> Iterator[str]:
    """Yield the photographs of one lamp, and the names of those that are too many."""
    own = [photo for photo in bench.photos if photo.lamp == lamp]
    yield from map(photograph, own[:_MOST_PHOTOS])
    if more := own[_MOST_PHOTOS:]:
        yield paragraphs([(f"In the bench folder too: {joined(photo.file for photo in more)}.",)])


def _verdicts(found: PageOne, lamp: str) -> Iterator[Line]:
    """Yield what is shown in each housing: after the heat, as sold, and before the heat."""
    when = {instant: time_of(found.campaign.bench, instant) for instant in ("hold", "initial")}
    for housing, at in ((h, at) for h in found.housings if (at := found.at(lamp, h))):
        instant, row = next(iter(at.items()))
        place = f"In {housing}, {when[instant]}" if housing else when[instant]
        line: Line = (f"{place} after switch-on: {found.word(row)}, ", found.percent(row))
        line += (f" ({100.0 * found.settings.coverage:g} %: ", *found.range(row))
        line += (f"; {count(int(row['n_specimens']), 'specimen')} on the bench)",)
        if model := found.sold(row):
            line += ("; for the model as sold ", *found.range(model))
        if len(at) > 1:
            early = at["initial"]
            line += (f"; at {when['initial']} it was ", found.percent(early), " (", *found.range(early), ")")
        hold, why = when["hold"], found.missing(lamp, housing)
        said = {"not held": f"not held for {hold}", "record refused": f"its record to {hold} was refused"}
        not_held = said.get(why, f"{found.campaign.baseline} is not known at {hold}")
        yield (*line, "." if instant == "hold" else f"; {not_held}.")


def price_words(campaign: Campaign, lamp: str, housing: str) -> tuple[str, str]:
    """Return what a gained percent costs in a housing, after the heat where the lamp was held there.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp, housing : str
        A lamp that was compared there.

    Returns
    -------
    str, str
        "given", or the code of why not, and a sentence; blank where no price is known.
    """
    base = campaign.baseline
    held = (lamp, housing, "hot_spot", "hold") in campaign.compared("hold")
    instant = "hold" if held else "initial"
    ln_ratio = campaign[lamp, housing, instant] - campaign[base, housing, instant]
    gain = judge_gain(campaign, ln_ratio, lamp, base, housing=housing, instant=instant)
    said = price_sentences(campaign.bench, gain)
    if not said:
        return "", ""
    return price_judgement(campaign.bench, gain).code, said[0]


def _left(found: PageOne, lamp: str) -> Iterator[Line]:
    """Yield what is left of a lamp's light at the hold time, and why that is not said of a record."""
    for row in found.kept(lamp).values():
        yield (f"By {page_one.KEPT_BY[found.kept_by(row)]} it keeps ", *found.keeps(row), ".")
    for run in warm_up_runs(found.campaign.bench):
        if run.lamp == lamp and run.remaining is None:
            yield (left_sentence(found.settings, run),)


def _budget(campaign: Campaign, lamp: str) -> pd.DataFrame:
    """Return the largest inputs of a lamp's ratios, a column a housing, the smaller ones put together."""
    every = budgets(campaign).items()
    own = [lines.assign(place=h) for (one, h), (_, lines) in every if one == lamp and len(lines)]
    if not own:
        return pd.DataFrame()
    whole = pd.concat(own)
    largest = [*whole.sort_values("moves", ascending=False, kind="stable")["what"].unique()[:_LARGEST]]
    rows = []
    for what in largest:
        mine = whole[whole["what"] == what]
        far = {how: joined(places) for how, places in mine.groupby("how_far", sort=False)["place"]}
        places = joined(f"{how} in {far[how]}" if len(far) > 1 else how for how in far)
        rows.append((what, places, mine["known_from"].iloc[0]))
    rows.append(("all other inputs together", "", ""))
    shown = pd.DataFrame(rows, columns=["what may be off", "how far off", "known from"])
    for place, lines in whole.groupby("place", sort=False):
        moves = lines.set_index("what")["moves"]
        rest = math.sqrt(float((moves[~moves.index.isin(largest)] ** 2).sum()))
        sizes = [*moves.reindex(largest, fill_value=0.0), rest]
        shown[f"moves it{in_housing(str(place))} by (± %)"] = [two_digits(float(size)) for size in sizes]
    return shown


def figure_files(found: PageOne) -> dict[str, bytes]:
    """Return the pictures of a page as files.

    Parameters
    ----------
    found : PageOne
        What page one says.

    Returns
    -------
    dict
        Name, as "figures/after-heat.png", and bytes.
    """
    bench = found.campaign.bench
    invented = "Invented data. " if bench.invented else ""
    foot = f"{invented}{one_line(bench.settings.name)}, {span_of(bench.tables['days']['date'])}"
    files: dict[str, bytes] = {}
    large = {"size": intervals.SIZE * _FULL_HD[0][0] / 7.0, "dpi": _FULL_HD[1]}
    for name, drawing in _drawn(found):
        letters = large if name.endswith("1920x1080") else {"size": intervals.SIZE} if "heat" in name else {}
        files |= {f"figures/{name}.{kind}": made for kind, made in stored(drawing, foot, **letters).items()}
    return files


def _drawn(found: PageOne) -> Iterator[tuple[str, Figure]]:
    """Yield each picture by the name of its file."""
    campaign, table = found.campaign, found.pictured
    what = "light-after-heat" if table["earlier"].notna().any() else "light-at-first"
    if table["low"].notna().any():
        whole = page_one.after_heat_figure(campaign, table)
        yield what, whole
        for number, (_, rows) in enumerate(table.groupby("housing", sort=False), start=1):
            for part, begin in enumerate(range(0, len(rows), _LINES)):
                some = rows.iloc[begin : begin + _LINES]
                name = file_name(what, number, str(rows["housing"].iloc[0]), *(["more"] * part))
                panel = page_one.after_heat_figure(campaign, some, size=_FULL_HD[0])
                panel.axes[0].set_xlim(whole.axes[0].get_xlim())
                yield f"{name}-1920x1080", panel
    early = all_lamps(campaign)
    if early["low"].notna().any():
        drawing, panels = new_figure(1, early["housing"].nunique())
        intervals.draw_lamps(panels, early, baseline=campaign.baseline)
        yield "all-lamps-at-first", drawing
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
    last: dict[str, float] = {}
    for run in (run for run in warm_up_runs(campaign.bench) if run.lamp == lamp):
        dark = run.fit is None and not float(run.record["illuminance_lx"].iloc[0]) > 0.0
        end = float(np.max(run.record["elapsed_s"].to_numpy(float), initial=0.0))
        if not dark and end > last.get(run.housing, 0.0):
            longest[run.housing], last[run.housing] = run, end
    if not longest:
        return None
    width = 7.0 if len(longest) > 1 else 4.6
    drawing, panels = new_figure(1, len(longest), width=width, height=2.4, sharex=True, sharey=True)
    said, ends = [], []
    for axes, run in zip(panels, longest.values(), strict=True):
        time_s, lux = (run.record[name].to_numpy(float) for name in ("elapsed_s", "illuminance_lx"))
        fit = run.refusals[0] if run.fit is None else run.fit
        if run.fit is not None:
            time_s, lux = run.fit.time_s, run.fit.illuminance
        shown = records.draw_curve(axes, time_s, lux, fit, at_s=60.0 * campaign.bench.settings.hold_minutes)
        ends.append((*axes.get_xlim(), *axes.get_ylim()))
        axes.set_title(shown_name(run_name(run), 40))
        said.append(f"Light of {run_name(run)}. {shown}")
    (left, _, bottom, _), (_, right, _, top) = np.min(ends, axis=0), np.max(ends, axis=0)
    panels[0].set(xlim=(left, right), ylim=(bottom, top))
    return drawing, " ".join(said)


def budget_figure(campaign: Campaign, lamp: str) -> tuple[Figure, str] | None:
    """Return the budget of a lamp as bars, in the first housing in which it was compared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str
        A lamp that was compared.

    Returns
    -------
    Figure and str, or None
        The figure and its words; None where nothing blurs it.
    """
    housing, (instant, lines) = next((h, kept) for (one, h), kept in budgets(campaign).items() if one == lamp)
    rows = lines[lines["moves"] >= 0.05]
    if rows.empty:
        return None
    drawing, (axes,) = new_figure()
    where, when = in_housing(housing), time_of(campaign.bench, instant)
    shown = f"{shown_name(lamp)} against {shown_name(campaign.baseline)}{shown_name(where)}"
    axes.set_title(f"{shown}, {when} after switch-on")
    return drawing, bars.draw_budget(axes, rows, name=f"{lamp} against {campaign.baseline}{where}")
