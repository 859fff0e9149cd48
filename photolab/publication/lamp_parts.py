"""Lamp by lamp: what is shown of it in each housing, what is left, its budget, its warm-up, its claim and its price."""

from __future__ import annotations

import base64
import html
import math
from collections.abc import Iterator

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.derived import judge_gain
from photolab.bench.heat import warm_up_runs
from photolab.bench.model import Bench
from photolab.metrology.reporting import decimal
from photolab.publication.display import table
from photolab.publication.figure_tables import budgets, two_digits
from photolab.publication.figures.common import picture
from photolab.publication.findings import joined
from photolab.publication.front_page import is_invented
from photolab.publication.lamp_pictures import warm_up_figure
from photolab.publication.page import Section, clean_table, figure, photograph
from photolab.publication.page_one import FOUND, Book, Line, figure_of, lamp_anchor, paragraphs
from photolab.publication.statements import in_housing, time_of
from photolab.publication.words_lamp import claim_sentence, left_sentence, price_judgement, price_sentences

_LARGEST = 5
_MOST_PHOTOS = 4  # of one lamp


def lamp_parts(campaign: Campaign, rows: pd.DataFrame) -> Section | None:
    """Return a part for every lamp that was compared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.

    Returns
    -------
    Section or None
        The lamps in the order of page one, then photographs of those that were not compared; None without any.
    """
    book = Book(campaign, rows)
    blocks = [block for number, lamp in enumerate(book.lamps, start=1) for block in _part(book, lamp, number)]
    for lamp in dict.fromkeys(photo.lamp for photo in campaign.bench.photos if photo.lamp not in book.lamps):
        blocks += [f"<h3>{html.escape(lamp)}</h3>", *_photographs(campaign.bench, lamp)]
    note = "For the specimens on the bench, all lamps of a housing compared at once. Working: notebook 10_lamp_verdict."
    return Section("What can be said of each lamp?", tuple(blocks), note) if blocks else None


def _part(book: Book, lamp: str, number: int) -> Iterator[str]:
    """Yield the part of one lamp."""
    campaign = book.campaign
    yield f'<h3 id="{lamp_anchor(number)}">{html.escape(lamp)}</h3>'
    yield paragraphs([*_verdicts(book, lamp), *_left(book, lamp)])
    caption = f"What blurs {lamp} against {campaign.baseline} most"
    if (blurs := table(_budget(campaign, lamp), caption=caption)) is not None:
        yield clean_table(blurs)
    if (drawn := warm_up_figure(campaign, lamp)) is not None:
        shown = picture(drawn[0], alt=drawn[1], invented=is_invented(campaign.bench))
        caption = f"How the light of {lamp} settles, its longest record in each housing."
        yield figure(base64.b64encode(shown.png).decode("ascii"), shown.alt, caption)
    places = [n[1] for n in campaign.compared() if n[0] == lamp and n[2] == "hot_spot"]
    prices = [price_words(campaign, lamp, place)[1] for place in places]
    yield paragraphs([(one,) for one in (claim_sentence(campaign.bench, lamp), *prices) if one])
    yield from _photographs(campaign.bench, lamp)
    yield f'<p class="back"><a href="#{FOUND}-{number}">Back to the table of all lamps</a></p>'


def _photographs(bench: Bench, lamp: str) -> Iterator[str]:
    """Yield the photographs of one lamp, and the names of those that are too many."""
    own = [photo for photo in bench.photos if photo.lamp == lamp]
    yield from map(photograph, own[:_MOST_PHOTOS])
    if more := own[_MOST_PHOTOS:]:
        yield paragraphs([(f"In the bench folder too: {joined(photo.file for photo in more)}.",)])


def _verdicts(book: Book, lamp: str) -> Iterator[Line]:
    """Yield what is shown in each housing: after the heat, as sold, and before the heat."""
    percent = f"{100.0 * book.settings.coverage:g} %"
    when = {instant: time_of(book.campaign.bench, instant) for instant in ("hold", "initial")}
    for housing in book.housings:
        at = {instant: row for instant in when if (row := book.light(lamp, housing, instant)) is not None}
        for instant, row in list(at.items())[:1]:
            place = f"In {housing}, {when[instant]}" if housing else f"{when[instant].capitalize()}"
            pieces = f"{row['n_specimens']} on the bench"
            line: Line = (f"{place} after switch-on: {book.word(row)}, ", book.percent(row), f" ({percent}: ")
            line = (*line, *book.range(row), f"; {pieces})")
            model = book.light(lamp, housing, instant, "models")
            if model is not None and not math.isnan(float(model["family_low"])):
                line = (*line, "; for the model as sold ", *book.range(model))
            if instant == "hold" and "initial" in at:
                early, ago = at["initial"], f"; at {when['initial']} it was "
                line = (*line, ago, book.percent(early), " (", *book.range(early), ")")
            yield (*line, "." if instant == "hold" else f"; not held for {when['hold']}.")


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
    gain = judge_gain(campaign, ln_ratio, lamp, base, housing=housing)
    said = price_sentences(campaign.bench, gain)
    if not said:
        return "", ""
    code = price_judgement(campaign.bench, gain).code
    if code == "given" and campaign.family(housing, instant=instant).loc[lamp, "verdict"] != "clear":
        code, where = "gain_not_resolved", in_housing(housing)
        said = (f"{lamp}{where}: no price per gained percent: as one of all lamps, more light is not shown.",)
    return code, f"{time_of(campaign.bench, instant)} after switch-on, {said[0]}"


def _left(book: Book, lamp: str) -> Iterator[Line]:
    """Yield what is left of a lamp's light at the hold time, and why that is not said of a record."""
    for row in book.every(lamp, "remaining light", "hold"):
        if not math.isnan(float(row["low"])):
            value, low, high = (
                figure_of(row, decimal(100.0 * float(row[key]), 1), key) for key in ("value", "low", "high")
            )
            first, last = (time_of(book.campaign.bench, instant) for instant in ("initial", "hold"))
            rest = f" %) of its light at {first} after {last}{in_housing(row['housing'])}."
            yield ("By its record it keeps ", value, " % (", low, " to ", high, rest)
    for run in warm_up_runs(book.campaign.bench):
        if run.lamp == lamp and run.remaining is None:
            yield (left_sentence(book.settings, run),)


def _budget(campaign: Campaign, lamp: str) -> pd.DataFrame:
    """Return the largest inputs of a lamp's ratios, a column a housing, the smaller ones put together."""
    own = {place: lines for (one, place), (_, lines) in budgets(campaign).items() if one == lamp}
    mine = {place: lines for place, lines in own.items() if len(lines)}
    if not mine:
        return pd.DataFrame()
    whole = pd.concat(mine.values())
    largest = list(whole.sort_values("moves", ascending=False, kind="stable")["what"].unique()[:_LARGEST])
    known = whole.drop_duplicates("what").set_index("what")
    far: dict[str, dict[str, list[str]]] = {w: {} for w in largest}
    for place, lines in mine.items():
        for w, how in lines.loc[lines["what"].isin(largest), ["what", "how_far"]].to_numpy():
            far[w].setdefault(how, []).append(place)
    far_off = [
        joined(f"{how} in {joined(places)}" if len(far[w]) > 1 else how for how, places in far[w].items())
        for w in largest
    ]
    shown = pd.DataFrame({"what may be off": largest, "how far off": far_off})
    shown["known from"] = [known["known_from"][w] for w in largest]
    shown.loc[len(shown)] = ["all other inputs together", "", ""]
    for place, lines in mine.items():
        moves = lines.set_index("what")["moves"]
        rest = math.sqrt(float((moves[~moves.index.isin(largest)] ** 2).sum()))
        head = f"moves it{in_housing(place)} by (± %)"
        shown[head] = [two_digits(float(moves.get(w, 0.0))) for w in largest] + [two_digits(rest)]
    return shown
