"""What stands on page one, made from the rows of results.csv: questions, who gives more after the heat, one table.

Every figure is a `Told`: its text, and the row it stands in. A test holds each against its row.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.heat import warm_up_runs
from photolab.bench.model import Question
from photolab.metrology.reporting import decimal, with_uncertainty
from photolab.publication.figure_tables import lamp_order, signed
from photolab.publication.figures import intervals
from photolab.publication.figures.common import Figure, Picture, new_figure, picture
from photolab.publication.findings import day_words, joined, obtained_words
from photolab.publication.page import SCROLL
from photolab.publication.statements import capital, in_housing, time_of

KEYS = ("lamp", "housing", "measurand", "baseline", "point", "instant", "scope")
"""What names a row of results.csv."""
LIGHT = "illuminance ratio"
FOUND = "found"
"""Rows of the table of page one are called so, with their number."""
_GLUE = "\N{NO-BREAK SPACE}"
_PICTURED = ["lamp", "housing", "title", "specimens", "earlier", "percent", "low", "high"]
_PICTURED += ["model_low", "model_high", "word"]


@dataclass(frozen=True)
class Told:
    """A figure on the page.

    Attributes
    ----------
    text : str
        As it is read.
    value : float
        As results.csv has it. [any]
    row : mapping of str to str
        `KEYS` of the row.
    column : str, default "value"
        Column of the row.
    """

    text: str
    value: float
    row: tuple[tuple[str, str], ...]
    column: str = "value"


def figure_of(row: Mapping[Any, Any], text: str, column: str = "value") -> Told:
    """Return a figure with the row it stands in.

    Parameters
    ----------
    row : mapping
        A row of results.csv.
    text : str
        As it is read.
    column : str, default "value"
        Column of the row.

    Returns
    -------
    Told
        The figure.
    """
    return Told(text, float(row[column]), tuple((key, str(row[key] or "")) for key in KEYS), column)


Row = dict[Any, Any]
"""A row of results.csv."""
Line = tuple[str | Told, ...]
"""A sentence or a cell: words and figures in their order."""


@dataclass(frozen=True)
class PageOne:
    """What was found.

    Attributes
    ----------
    questions, sentences : tuple of Line
        What was asked before the readings with its answer; then who gives more, in both, and who was not held.
    heads : tuple of str
        Heads of the table.
    table : tuple of tuple of Line
        One row a lamp.
    pictured : DataFrame
        What `figures.intervals` draws.
    """

    questions: tuple[Line, ...]
    sentences: tuple[Line, ...]
    heads: tuple[str, ...]
    table: tuple[tuple[Line, ...], ...]
    pictured: pd.DataFrame


def page_one(campaign: Campaign, rows: pd.DataFrame) -> PageOne:
    """Return what page one says.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.

    Returns
    -------
    PageOne
        Sentences, table and picture, each from those rows.
    """
    book = Book(campaign, rows)
    questions = tuple(_answer(book, question) for question in campaign.bench.questions)
    heads = ["lamp (specimens)", *(f"{h or 'the housing'}: {book.instants}" for h in book.housings)]
    table = [_lamp_row(book, lamp) for lamp in book.lamps]
    percent = f"{100.0 * book.settings.coverage:g}"
    more: list[tuple[str, list[Line]]] = [
        (f"W (± at {percent} %)", [_watts(book, lamp) for lamp in book.lamps]),
        (f"surface (°C, ± at {percent} %)", [_surface(book, lamp) for lamp in book.lamps]),
        ("price, how obtained", [_price(book, lamp) for lamp in book.lamps]),
        ("to know", [_to_know(book, lamp) for lamp in book.lamps]),
    ]
    for head, cells in more:
        if any(part for cell in cells for part in cell):
            heads.append(head)
            for row, cell in zip(table, cells, strict=True):
                row.append(cell)
    lines = tuple(tuple(row) for row in table)
    return PageOne(questions, tuple(told_lines(book)), tuple(heads), lines, _pictured(book))


def _as_html(line: Line) -> str:
    """Return a line as HTML, each figure in a ``data`` element that names its row.

    Parameters
    ----------
    line : Line
        Words and figures.

    Returns
    -------
    str
        HTML, text escaped.
    """
    parts = []
    for part in line:
        if isinstance(part, str):
            parts.append(html.escape(part))
            continue
        keys = (*part.row, ("column", part.column if part.column != "value" else ""))
        named = " ".join(f'data-{key}="{html.escape(text, quote=True)}"' for key, text in keys if text)
        parts.append(f'<data value="{part.value:.10g}" {named}>{html.escape(part.text)}</data>')
    return "".join(parts)


def drawn(campaign: Campaign, found: PageOne, *, invented: bool) -> Picture | None:
    """Return the picture of page one; None where no lamp has an interval.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    found : PageOne
        What page one says.
    invented : bool
        Mark it as drawn from invented readings.

    Returns
    -------
    Picture or None
        A panel a housing.
    """
    table, settings = found.pictured, campaign.bench.settings
    if table.empty or table["low"].isna().all():
        return None
    rows = table.to_dict("records")
    said = "; ".join(f"{row['lamp']}{in_housing(row['housing'])}: {row['word']}" for row in rows)
    when = f"after {settings.hold_minutes:g} min" if table["earlier"].notna().any() else "at the initial time"
    alt = (
        f"Light {when} against {campaign.baseline}: a filled dot with a thick bar for the specimens tested and a "
        f"thin one for the model as sold, {100.0 * settings.coverage:g} %; an open dot at the initial time. {said}."
    )
    figure = after_heat_figure(campaign, table)
    room = 0.0175 * intervals.SIZE / figure.get_figheight()
    return picture(figure, alt=alt, invented=invented, mark_size=intervals.SIZE, room=room)


def after_heat_figure(
    campaign: Campaign, table: pd.DataFrame, *, size: tuple[float, float] | None = None
) -> Figure:
    """Return the figure of page one, or of a part of its rows.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    table : DataFrame
        Rows of `PageOne.pictured`.
    size : tuple of float, optional
        Width and height, letters to match; seven inches and as high as the rows need where not given. [in]

    Returns
    -------
    Figure
        A panel a housing.
    """
    settings = campaign.bench.settings
    counts = [intervals.lines(rows) for _, rows in table.groupby("housing", sort=False)]
    width, height = size or (7.0, 1.0 + sum(0.36 * n + 1.0 for n in counts))
    figure, panels = new_figure(len(counts), 1, width=width, height=height, share_x=True, heights=counts)
    hold = f"not held for {settings.hold_minutes:g} min: light at {settings.initial_s:g} s"
    letters = intervals.SIZE * width / 7.0
    intervals.draw_after_heat(panels, table, baseline=campaign.baseline, not_held=hold, size=letters)
    return figure


class Book:
    """The rows of a bench, found by their keys.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.

    Attributes
    ----------
    lamps, housings : list of str
        Those compared, in the order of page one.
    held : bool
        True where any lamp was read at the hold time.
    """

    def __init__(self, campaign: Campaign, rows: pd.DataFrame) -> None:
        self.campaign, self.settings = campaign, campaign.bench.settings
        self._lamps = campaign.bench.tables["lamps"].set_index("lamp")
        self._rows = {tuple(str(row[key] or "") for key in KEYS): row for row in rows.to_dict("records")}
        self.rows = rows
        light = [key for key in self._rows if (key[2], key[4], key[6]) == (LIGHT, "hot_spot", "specimens")]
        self.housings = list(dict.fromkeys(key[1] for key in light))
        self.held = any(key[5] == "hold" for key in light)
        self.instants = f"{self.settings.initial_s:g} s"
        if self.held:
            self.instants = f"{self.instants} → after {self.settings.hold_minutes:g} min"
        lamps = {key[0] for key in light}
        self.lamps = [lamp for lamp in lamp_order(campaign) if lamp in lamps]

    def lamp(self, lamp: str) -> Any:
        """Return the row of lamps.csv.

        Parameters
        ----------
        lamp : str
            The lamp.

        Returns
        -------
        Series
            The row.
        """
        return self._lamps.loc[lamp]

    def light(self, lamp: str, housing: str, instant: str, scope: str = "specimens") -> Row | None:
        """Return the row of a lamp's light against the baseline, where it was read.

        Parameters
        ----------
        lamp, housing, instant, scope : str
            Keys of the row.

        Returns
        -------
        dict or None
            The row.
        """
        return self._rows.get((lamp, housing, LIGHT, self.campaign.baseline, "hot_spot", instant, scope))

    def every(self, lamp: str, measurand: str, instant: str) -> list[Row]:
        """Return the rows of a lamp's measurand at an instant.

        Parameters
        ----------
        lamp, measurand, instant : str
            Keys of the rows.

        Returns
        -------
        list of dict
            The rows.
        """
        wanted = (lamp, measurand, instant)
        return [row for key, row in self._rows.items() if (key[0], key[2], key[5]) == wanted]

    def percent(self, row: Row) -> Told:
        """Return how much more light, as a signed percentage.

        Parameters
        ----------
        row : dict
            A row of light.

        Returns
        -------
        Told
            Without decimals where the range is wide.
        """
        return figure_of(row, signed(_more(row), places=_places(row)))

    def range(self, row: Row) -> Line:
        """Return the range that decides, of a lamp among all of its housing.

        Parameters
        ----------
        row : dict
            A row of light.

        Returns
        -------
        Line
            Both ends; "no range yet" where an input is missing.
        """
        low, high = _more(row, "family_low"), _more(row, "family_high")
        if math.isnan(low):
            return ("no range yet",)
        places = _places(row)
        while float(row["family_low"]) > 1.0 and float(decimal(low, places)) == 0.0:  # "more" shows no zero
            places += 1
        while float(row["family_high"]) < 1.0 and float(decimal(high, places)) == 0.0:
            places += 1
        first = figure_of(row, signed(low, places=places, unit=""), "family_low")
        return (first, f"{_GLUE}to{_GLUE}", figure_of(row, signed(high, places=places), "family_high"))

    def word(self, row: Row) -> str:
        """Return the word for what is shown of a lamp among all of its housing.

        Parameters
        ----------
        row : dict
            A row of light.

        Returns
        -------
        str
            "more", "less", "alike within 10 %", "not shown", "no answer yet".
        """
        alike = f"alike within {self.settings.alike_percent:g} %"
        way = "more" if float(row["value"]) > 1.0 else "less"
        words = {"clear": way, "alike": alike, "inside": "not shown"}
        return words.get(str(row["family_verdict"]), "no answer yet")


def _more(row: Row, column: str = "value") -> float:
    """Return how much more light a ratio of a row is, in per cent."""
    return 100.0 * (float(row[column]) - 1.0)


def _places(row: Row) -> int:
    """Return the decimal places of a percentage: none where its range is wide."""
    half = 50.0 * (float(row["family_high"]) - float(row["family_low"]))
    return 1 if half < 2.5 else 0


def _lamp_row(book: Book, lamp: str) -> list[Line]:
    """Return the first cells of a lamp's row: name, specimens, and its light in each housing."""
    cells: list[Line] = []
    counts = []
    for housing in book.housings:
        early, late = (book.light(lamp, housing, instant) for instant in ("initial", "hold"))
        row = late or early
        if row is None:
            cells.append(("not read",))
            continue
        counts.append(f"{int(row['n_specimens'])}")
        first: Line = (book.percent(early), f"{_GLUE}→ ") if early and late else ()
        rest = "; not held" if book.held and not late else ""
        range_ = book.range(row)
        word = book.word(row).replace(" ", _GLUE)
        cells.append((*first, book.percent(row), " (", *range_, f"), {word}{rest}"))
    return [(lamp, f" ({' and '.join(dict.fromkeys(counts))})"), *cells]


def _watts(book: Book, lamp: str) -> Line:
    """Return the measured watts of a lamp, at the hold time where they were read then."""
    for instant in ("hold", "initial"):
        for row in book.every(lamp, "electrical power", instant):
            return (_plus_minus(row),)
    return ()


def _plus_minus(row: Row) -> Told:
    """Return a value with half of its interval."""
    half = 0.5 * float(row["high"] - row["low"])
    return figure_of(row, with_uncertainty(float(row["value"]), half).replace(" ", _GLUE))


def _surface(book: Book, lamp: str) -> Line:
    """Return the surface temperature that is known best at the hold time, where it was read and under which cover."""
    mine = [row for row in book.every(lamp, "surface temperature", "hold") if not math.isnan(row["high"])]
    if not mine:
        return ()
    row = min(mine, key=lambda one: float(one["high"] - one["low"]))
    place, _, method = str(row["point"]).rpartition(", ")
    thermal = book.campaign.bench.tables["thermal"]
    cover = thermal.loc[(thermal["lamp"] == lamp) & (thermal["place"] == place), "cover"]
    under = f", cover {cover.iloc[0]}" if len(cover) and cover.iloc[0] else ""
    return (_plus_minus(row), f" ({place or 'place not stated'}, {method}{under})")


def _price(book: Book, lamp: str) -> Line:
    """Return the price of a lamp and how it was obtained, as lamps.csv has them."""
    one = book.lamp(lamp)
    words = [obtained] if (obtained := obtained_words(one)) else []
    if not math.isnan(float(one["price"])):
        each = f" a {one['price_per']}" if one["price_per"] else ""
        price = " ".join(f"{one['price']:g} {book.settings.currency}{each}".split())
        words.insert(0, price.replace(" ", _GLUE))
    return (", ".join(words),) if words else ()


def _to_know(book: Book, lamp: str) -> Line:
    """Return what the figures of a row cannot say."""
    stepped: dict[str, list[str]] = {}
    for run in (run for run in warm_up_runs(book.campaign.bench) if run.lamp == lamp):
        if run.fit is not None and run.fit.step is not None:
            what = f"lowers its own power at {decimal(run.fit.step.time_s / 60.0, 1)} min"
        elif run.remaining is None:
            last = float(run.record["elapsed_s"].iloc[-1]) / 60.0
            what = f"record of {decimal(last, 0)} min: no light at the hold time from it"
        else:
            continue
        stepped.setdefault(what, []).append(run.housing)
    words = []
    for what, places in stepped.items():
        named = [*dict.fromkeys(filter(None, places))]
        words.append(what + in_housing(joined(named) if named else ""))
    line: list[str | Told] = ["; ".join(words)]
    above = [row for row in book.every(lamp, "above cut-off ratio", "") if row["scope"] == "readings"]
    for number, row in enumerate(row for row in above if not math.isnan(row["low"])):
        first = f"{'; ' if line[0] else ''}light above the cut-off: "
        line += [", " if number else first, *_times(row), in_housing(row["housing"])]
    if len(line) > 1:
        line.append(" (seated once, aim not corrected)")
    return tuple(line)


def _times(row: Row) -> Line:
    """Return a ratio with its range."""
    value, low, high = (figure_of(row, decimal(float(row[key]), 1), key) for key in ("value", "low", "high"))
    return (value, " times (", low, f"{_GLUE}to{_GLUE}", high, ")")


def told_lines(book: Book, *, ranges: bool = False) -> Iterator[Line]:
    """Yield who gives more after the heat in each housing, whether any lamp does in all, and who was not held.

    Parameters
    ----------
    book : Book
        The rows.
    ranges : bool, default False
        Give each lamp's range in place of its best estimate.

    Yields
    ------
    Line
        A sentence.
    """
    instant = "hold" if book.held else "initial"
    when = capital(_when(book, instant))
    more_in: list[set[str]] = []
    for housing in book.housings:
        by_word: dict[str, list[Line]] = {}
        for lamp in book.lamps:
            row = book.light(lamp, housing, instant)
            if row is not None:
                told = book.range(row) if ranges else (book.percent(row),)
                by_word.setdefault(book.word(row), []).append((f"{lamp} (", *told, ")"))
        more_in.append({str(line[0]).removesuffix(" (") for line in by_word.get("more", [])})
        if by_word:
            head = f"{when}{in_housing(housing)}, against {book.campaign.baseline}: "
            yield (head, *_by_word(by_word), ".")
    if len(book.housings) > 1:
        both = [lamp for lamp in book.lamps if all(lamp in here for here in more_in)]
        where = "both housings" if len(book.housings) == 2 else "all housings"
        who = f"{joined(both)} {'is' if len(both) == 1 else 'are'}" if both else "no lamp is"
        yield (f"{when} {who} shown to give more light than {book.campaign.baseline} in {where}.",)
    if not book.held:
        yield (f"No lamp was read at {book.settings.hold_minutes:g} min: what heat takes is not known.",)
        return
    left = []
    for housing in book.housings:
        early, late = ({x for x in book.lamps if book.light(x, housing, i)} for i in ("initial", "hold"))
        gone = [lamp for lamp in book.lamps if lamp in early - late]
        left += [joined(gone) + in_housing(housing)] if gone else []
    if left:
        yield (f"Not held for {book.settings.hold_minutes:g} min: {'; '.join(left)}.",)


def _by_word(by_word: dict[str, list[Line]]) -> Iterator[str | Told]:
    """Yield the lamps of each word, words in a fixed order."""
    order = [w for w in ("more", "less") if w in by_word] + [w for w in by_word if w not in {"more", "less"}]
    for number, word in enumerate(order):
        lamps = by_word[word]
        yield f"{'; ' if number else ''}{word}: "
        for place, lamp in enumerate(lamps):
            yield "" if place == 0 else " and " if place == len(lamps) - 1 else ", "
            yield from lamp


def _answer(book: Book, question: Question) -> Line:
    """Return a question that was asked beforehand with its answer, by the range of a lamp among all of its housing."""
    least = 1.0 + question.more_than_percent / 100.0
    lamps = book.lamps if question.lamp == "any" else [question.lamp]
    housings = book.housings if question.housing in {"each", "any"} else [question.housing]
    needed = any if question.housing == "any" else all

    def end(lamp: str, housing: str, which: str) -> float:
        row = book.light(lamp, housing, question.instant)
        return math.nan if row is None else float(row[f"family_{which}"])

    def shown(lamp: str, housing: str) -> bool:
        return end(lamp, housing, "low") > least

    read = {lamp: [h for h in housings if book.light(lamp, h, question.instant)] for lamp in lamps}
    yes = [lamp for lamp in lamps if needed(shown(lamp, housing) for housing in housings)]
    least_one = all if question.housing == "any" else any
    no = [lamp for lamp in lamps if least_one(end(lamp, housing, "high") < least for housing in housings)]
    asked = question.words or _in_words(book, question)
    if yes:
        places = {lamp: joined(h for h in housings if h and shown(lamp, h)) for lamp in yes}
        each = (f"{lamp} in {places[lamp]}" if places[lamp] else lamp for lamp in yes)
        answer = f"Yes, shown: {'; '.join(each)}"
    elif len(no) == len(lamps):
        answer = "No: the readings exclude it"
    else:
        open_ = sorted(lamp for lamp in lamps if lamp not in no)
        full = [lamp for lamp in open_ if len(read[lamp]) == len(housings)]
        short = [lamp for lamp in open_ if lamp not in full]
        answer = "Not shown of any lamp" if question.lamp == "any" else "Not shown"
        answer += f"; not excluded for {joined(full)}" if full else ""
        answer += f"; readings are missing for {joined(short)}" if short else ""
    scope = (
        f"specimens tested, {_when(book, question.instant)}, ranges of {100.0 * book.settings.coverage:g} %"
    )
    return (f"Asked on {day_words(question.asked_on)}: {asked} {answer} ({scope}).",)


def _when(book: Book, instant: str) -> str:
    """Return an instant in words."""
    time = time_of(book.campaign.bench, instant)
    return f"after {time}" if instant == "hold" else f"{time} after switch-on"


def _in_words(book: Book, question: Question) -> str:
    """Return a question that was asked in keys, as a sentence."""
    who = "any lamp" if question.lamp == "any" else question.lamp
    much = f"{question.more_than_percent:g} % more" if question.more_than_percent else "more"
    where = {"each": "every housing", "any": "some housing"}.get(question.housing, question.housing)
    when = _when(book, question.instant)
    return f"does {who} give {much} light than {book.campaign.baseline} in {where}, {when}?"


def _pictured(book: Book) -> pd.DataFrame:
    """Return what the picture shows, a row a lamp and housing."""
    rows: list[Row] = []
    for housing in book.housings:
        kind = book.campaign.bench.housings[housing].kind if housing in book.campaign.bench.housings else ""
        title = " ".join(f"In the {kind} housing {housing}".split())
        for lamp in book.lamps:
            early, late = (book.light(lamp, housing, instant) for instant in ("initial", "hold"))
            main = late if book.held else early
            if not (early or late):
                continue
            row: Row = {"lamp": lamp, "housing": housing, "title": title, "word": "not held"}
            row["specimens"] = int((late or early or {})["n_specimens"])
            if early and book.held:
                row["earlier"] = _more(early)
            if main:
                model = book.light(lamp, housing, str(main["instant"]), "models") or main
                word = book.word(main)
                row["percent"] = _more(main)
                for end in ("low", "high"):
                    row[end] = _more(main, f"family_{end}")
                    row[f"model_{end}"] = _more(model, f"family_{end}")
                short = word.split(" within")[0]
                row["word"] = book.percent(main).text if word in {"more", "less"} else short
            rows.append(row)
    return pd.DataFrame(rows, columns=_PICTURED)


def paragraphs(lines: Iterable[Line]) -> str:
    """Return lines as paragraphs of HTML.

    Parameters
    ----------
    lines : iterable of Line
        Sentences.

    Returns
    -------
    str
        HTML.
    """
    return "\n".join(f"<p>{_as_html(line)}</p>" for line in lines)


def table_html(found: PageOne) -> str:
    """Return the table of page one as HTML.

    Parameters
    ----------
    found : PageOne
        What page one says.

    Returns
    -------
    str
        HTML.
    """
    head = "".join(f'<th scope="col">{html.escape(one)}</th>' for one in found.heads)
    body = []
    for number, (lamp, *cells) in enumerate(found.table, start=1):
        link = f'<th scope="row"><a href="#{lamp_anchor(number)}">{_as_html(lamp)}</a></th>'
        rest = "".join(f"<td>{_as_html(one)}</td>" for one in cells)
        body.append(f'<tr id="{FOUND}-{number}">{link}{rest}</tr>')
    inner = "\n".join(["<thead>", f"<tr>{head}</tr>", "</thead>", "<tbody>", *body, "</tbody>"])
    return f"{SCROLL}<table>\n{inner}\n</table></div>"


def lamp_anchor(number: int) -> str:
    """Return where the part of a lamp stands.

    Parameters
    ----------
    number : int
        Place of the lamp in the table of page one. [1]

    Returns
    -------
    str
        Name to link to.
    """
    return f"lamp-{number}"
