"""What stands on page one, made from the rows of results.csv: questions, who gives more after the heat, one table.

Every figure is a `Told`: its text, and the row it stands in. A test holds each against its row.
"""

from __future__ import annotations

import html
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import pandas as pd

from photolab.bench.results.campaign import Campaign
from photolab.bench.results.heat import remaining_of, warm_up_runs
from photolab.bench.terms.model import Question
from photolab.metrology.reporting import decimal, with_uncertainty
from photolab.publication.figures import intervals
from photolab.publication.figures.common import Figure, Picture, new_figure, picture
from photolab.publication.report import page
from photolab.publication.sentences.figure_tables import lamp_order, signed
from photolab.publication.sentences.findings import day_words, joined, obtained_words
from photolab.publication.sentences.statements import capital, in_housing, time_of
from photolab.publication.sentences.words_heat import step_words

KEYS = ("lamp", "housing", "measurand", "baseline", "point", "instant", "scope")
"""What names a row of results.csv."""
LIGHT = "illuminance ratio"
FOUND = "found"
"""Rows of the table of page one are called so, with their number."""
BOUNDED = ", by bounds of a record that ends before"
KEPT_BY = dict.fromkeys(("record", "bounds"), "its record")
KEPT_BY |= {"readings": "its readings at both instants", "pieces": "the mean of its pieces held"}
"""What says how much of a lamp's light is left, by `PageOne.kept_by`."""
_GLUE = "\N{NO-BREAK SPACE}"
_TO = f"{_GLUE}to{_GLUE}"
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


def with_ends(row: Mapping[Any, Any], times: float = 100.0) -> Iterator[Told]:
    """Return the figure of a row and the ends of its interval, to the tenth.

    Parameters
    ----------
    row : mapping
        A row of results.csv.
    times : float, default 100.0
        What each is multiplied by. [1]

    Returns
    -------
    iterator of Told
        Value, low, high.
    """
    return (figure_of(row, decimal(times * row[key], 1), key) for key in ("value", "low", "high"))


Row = dict[Any, Any]
"""A row of results.csv."""
Line = tuple[str | Told, ...]
"""A sentence or a cell: words and figures in their order."""


def _as_html(line: Line | str) -> str:
    """Return a line as HTML, each figure in a ``data`` element that names its row; no "%" begins a line.

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
    for part in (line,) if isinstance(line, str) else line:
        if isinstance(part, str):
            parts.append(html.escape(part).replace(" %", f"{_GLUE}%"))
            continue
        keys = (*part.row, ("column", part.column if part.column != "value" else ""))
        named = " ".join(f'data-{key}="{html.escape(text, quote=True)}"' for key, text in keys if text)
        parts.append(f'<data value="{part.value:.10g}" {named}>{html.escape(part.text)}</data>')
    return "".join(parts)


def drawn(found: PageOne, *, invented: bool) -> Picture | None:
    """Return the picture of page one; None where no lamp has an interval.

    Parameters
    ----------
    found : PageOne
        What page one says.
    invented : bool
        Mark it as drawn from invented readings.

    Returns
    -------
    Picture or None
        A panel a housing.
    """
    table, settings, campaign = found.pictured, found.settings, found.campaign
    if table.empty or table["low"].isna().all():
        return None
    rows = table.to_dict("records")
    said = "; ".join(f"{row['lamp']}{in_housing(row['housing'])}: {row['word']}" for row in rows)
    when = f"after {settings.hold_minutes:g} min" if table["earlier"].notna().any() else "at the initial time"
    alt = (
        f"Light {when} against {campaign.baseline}: a filled dot with a thick bar for the specimens tested and a "
        f"thin one for the model as sold, {100.0 * settings.coverage:g} %"
        f"{'; an open dot at the initial time' if found.held else ''}. {said}."
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
    figure, panels = new_figure(len(counts), 1, width=width, height=height, sharex=True, height_ratios=counts)
    hold = f"not compared at {settings.hold_minutes:g} min: light at {settings.initial_s:g} s"
    letters = intervals.SIZE * width / 7.0
    intervals.draw_after_heat(panels, table, baseline=campaign.baseline, not_held=hold, size=letters)
    return figure


class PageOne:
    """What page one says: the rows of a bench, found by their keys, and what is made of them.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows, as `tables.results` returns them.

    Attributes
    ----------
    known : dict
        Rows of lamps.csv, by lamp.
    lamps, housings : list of str
        Those compared, in the order of page one.
    held : bool
        True where any lamp was read at the hold time.
    """

    def __init__(self, campaign: Campaign, rows: pd.DataFrame) -> None:
        self.campaign, self.settings = campaign, campaign.bench.settings
        self.known = {row["lamp"]: row for row in campaign.bench.tables["lamps"].to_dict("records")}
        self._rows = {tuple(str(row[key] or "") for key in KEYS): row for row in rows.to_dict("records")}
        light = [key for key in self._rows if (key[2], key[4], key[6]) == (LIGHT, "hot_spot", "specimens")]
        self.housings = list(dict.fromkeys(key[1] for key in light))
        self.held = any(key[5] == "hold" for key in light)
        lamps = {key[0] for key in light}
        self.lamps = [lamp for lamp in lamp_order(campaign) if lamp in lamps]

    @property
    def questions(self) -> tuple[Line, ...]:
        """What was asked before the readings, with its answer."""
        return tuple(_answer(self, question) for question in self.campaign.bench.questions)

    @property
    def table(self) -> tuple[tuple[Line, ...], ...]:
        """The table, a row a lamp."""
        return tuple(zip(*self.columns.values(), strict=True))

    @cached_property
    def columns(self) -> dict[str, list[Line]]:
        """Columns of the table by their heads, a cell a lamp; those in which nothing stands are left out."""
        instants = ("initial", "hold")[: 1 + self.held]
        when = " → after ".join(time_of(self.campaign.bench, one) for one in instants)
        percent = f"{100.0 * self.settings.coverage:g}"
        cells: dict[str, Callable[[PageOne, str], Line]] = {"lamp (specimens)": _named}
        cells |= {f"{h or 'the housing'}: {when}": partial(_light, housing=h) for h in self.housings}
        cells |= {
            f"W (± at {percent} %)": PageOne.watts,
            f"surface (°C, ± at {percent} %)": _surface,
            "price, how obtained": _price,
            "to know": _to_know,
        }
        filled = {head: [cell_of(self, lamp) for lamp in self.lamps] for head, cell_of in cells.items()}
        return {head: cells for head, cells in filled.items() if any(itertools.chain(*cells))}

    @cached_property
    def pictured(self) -> pd.DataFrame:
        """What `figures.intervals` draws, a row a lamp and housing."""
        rows: list[Row] = []
        known = self.campaign.bench.housings
        for housing in self.housings:
            kind = known[housing].kind if housing in known else ""
            title = " ".join(f"In the {kind} housing {housing}".split())
            for lamp, at in ((lamp, at) for lamp in self.lamps if (at := self.at(lamp, housing))):
                row: Row = {"lamp": lamp, "housing": housing, "title": title}
                row["word"] = self.missing(lamp, housing)
                row["specimens"] = int(next(iter(at.values()))["n_specimens"])
                if "initial" in at and self.held:
                    row["earlier"] = _more(at["initial"])
                if main := at.get("hold" if self.held else "initial"):
                    model = self.light(lamp, housing, str(main["instant"]), "models") or main
                    word = self.word(main)
                    row["percent"] = _more(main)
                    for end in ("low", "high"):
                        row[end] = _more(main, f"family_{end}")
                        row[f"model_{end}"] = _more(model, f"family_{end}")
                    clear = word in {"more", "less"}
                    row["word"] = self.percent(main).text if clear else word.split(" within")[0]
                rows.append(row)
        return pd.DataFrame(rows, columns=_PICTURED)

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

    def sold(self, row: Row) -> Row | None:
        """Return the row of the model as sold beside one of its specimens, where it has a range.

        Parameters
        ----------
        row : dict
            A row of light.

        Returns
        -------
        dict or None
            The row.
        """
        model = self.light(row["lamp"], row["housing"], row["instant"], "models")
        return None if model is None or math.isnan(model["family_low"]) else model

    def at(self, lamp: str, housing: str) -> dict[str, Row]:
        """Return what is known of a lamp's light in a housing, for the specimens.

        Parameters
        ----------
        lamp, housing : str
            Keys of the rows.

        Returns
        -------
        dict
            Instant to row, after the heat first; empty where the lamp was not read there.
        """
        both = {instant: self.light(lamp, housing, instant) for instant in ("hold", "initial")}
        return {instant: row for instant, row in both.items() if row is not None}

    def first(self, lamp: str) -> list[Row]:
        """Return the row of a lamp in each housing that counts: after the heat where it was held, else the first.

        Parameters
        ----------
        lamp : str
            The lamp.

        Returns
        -------
        list of Row
            One a housing in which it was compared.
        """
        return [next(iter(at.values())) for h in self.housings if (at := self.at(lamp, h))]

    def every(self, lamp: str, measurand: str) -> list[Row]:
        """Return the rows of a lamp's measurand.

        Parameters
        ----------
        lamp, measurand : str
            Keys of the rows.

        Returns
        -------
        list of dict
            The rows in the order of results.csv: of one place those at the hold time first.
        """
        return [row for key, row in self._rows.items() if (key[0], key[2]) == (lamp, measurand)]

    def watts(self, lamp: str, *, blank: str = _GLUE, unit: str = "") -> Line:
        """Return the measured watts of a lamp, at the hold time where they were read then; when, where lamps differ.

        Parameters
        ----------
        lamp : str
            Key of the rows.
        blank : str, default a no-break space
            What stands on either side of the sign.
        unit : str, default ""
            What follows the figure.

        Returns
        -------
        Line
            "61.4 ± 1.2 at 60 s"; nothing where none were measured.
        """
        every = {one: row for one in self.known for row in self.every(one, "electrical power")[:1]}
        if (row := every.get(lamp)) is None:
            return ()
        alike = len({one["instant"] for one in every.values()}) == 1
        when = "" if alike else f" at {time_of(self.campaign.bench, row['instant'])}"
        return (plus_minus(row, blank), unit + when)

    def kept(self, lamp: str) -> dict[str, Row]:
        """Return what is left of a lamp's own light at the hold time.

        Parameters
        ----------
        lamp : str
            Key of the rows.

        Returns
        -------
        dict
            Housing to row, where it has an interval: that of the pieces where several were held.
        """
        rows = sorted(self.every(lamp, "remaining light"), key=lambda row: str(row["scope"]))
        return {
            row["housing"]: row for row in rows if row["point"] == "hot_spot" and not math.isnan(row["low"])
        }

    def kept_by(self, row: Row) -> str:
        """Return what says how much of a lamp's light is left.

        Parameters
        ----------
        row : dict
            A row of remaining light.

        Returns
        -------
        str
            "record", "bounds" (of a record that ends before the hold time), "readings", or "pieces", where the mean is
            of several and takes records.
        """
        left = remaining_of(warm_up_runs(self.campaign.bench), row["lamp"], row["housing"])
        bounds = bool(left and left[0].method == "bounds")
        if row["scope"] == "specimens":
            return "pieces" if left and not bounds and row["point"] == "hot_spot" else "readings"
        return "bounds" if bounds else "record"

    def bounded(self, row: Row) -> bool:
        """Return whether a ratio at the hold time rests on bounds of a record that ends before.

        Parameters
        ----------
        row : dict
            A row of results.csv.

        Returns
        -------
        bool
            True where it does: its range takes in all that the record leaves open.
        """
        names = ((row[lamp], row["housing"], row["point"], row["instant"]) for lamp in ("lamp", "baseline"))
        return any(name in self.campaign.held.slack for name in names)

    def apart(self, row: Row) -> str:
        """Return whose record and readings at both instants disagree where a ratio at the hold time rests on them.

        Parameters
        ----------
        row : dict
            A row of results.csv.

        Returns
        -------
        str
            "record and readings of K1 disagree by 6 %"; blank where they agree.
        """
        known = self.campaign.held.apart.items() if row["instant"] == "hold" else ()
        sizes = sorted((abs(size), name) for name, size in known)  # of several pieces the largest
        by = {name[0]: decimal(100.0 * size, 0) for size, name in sizes if name[1] == row["housing"]}
        who = (lamp for lamp in (row["lamp"], row["baseline"]) if lamp in by)
        return "; ".join(f"record and readings of {one} disagree by {by[one]} %" for one in who)

    def keeps(self, row: Row) -> Line:
        """Return what is left of a lamp's own light, with its range and the instant.

        Parameters
        ----------
        row : dict
            A row of remaining light.

        Returns
        -------
        Line
            "90.3 % (99 %: 88.0 to 92.6 %) of its light at 60 s after 30 min in HR".
        """
        value, low, high = with_ends(row)
        first, last = (time_of(self.campaign.bench, instant) for instant in ("initial", "hold"))
        rest = f" %) of its light at {first} after {last}{in_housing(row['housing'])}"
        rest += BOUNDED * (self.kept_by(row) == "bounds")
        return (value, f" % ({100.0 * self.settings.coverage:g} %: ", low, " to ", high, rest)

    def alone(self, lamp: str, housing: str) -> bool:
        """Return whether a lamp is known at the hold time where the baseline is not, so that no ratio is.

        Parameters
        ----------
        lamp, housing : str
            Which.

        Returns
        -------
        bool
            True where there is no ratio at the hold time, and what is left of the lamp is known.
        """
        return housing in self.kept(lamp) and self.light(lamp, housing, "hold") is None

    def refused(self, lamp: str, housing: str) -> bool:
        """Return whether a lamp burned until the hold time in a record that does not say what is left then.

        Parameters
        ----------
        lamp, housing : str
            Which.

        Returns
        -------
        bool
            True where such a record was refused.
        """
        hold_s, runs = 60.0 * self.settings.hold_minutes, warm_up_runs(self.campaign.bench)
        mine = [run for run in runs if (run.lamp, run.housing, run.remaining) == (lamp, housing, None)]
        return any(run.record["elapsed_s"].iloc[-1] >= hold_s for run in mine)

    def missing(self, lamp: str, housing: str, base: str = "baseline") -> str:
        """Return why a lamp has no ratio at the hold time.

        Parameters
        ----------
        lamp, housing : str
            Which.
        base : str, default "baseline"
            How the baseline is called.

        Returns
        -------
        str
            "baseline not known", "record refused", "not held".
        """
        if self.alone(lamp, housing):
            return f"{base} not known"
        return "record refused" if self.refused(lamp, housing) else "not held"

    def when(self, instant: str) -> str:
        """Return an instant as a sentence has it.

        Parameters
        ----------
        instant : str
            "hold" or "initial".

        Returns
        -------
        str
            "after 30 min", "30 s after switch-on".
        """
        time = time_of(self.campaign.bench, instant)
        return f"after {time}" if instant == "hold" else f"{time} after switch-on"

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
        while any(end > 0.0 and float(decimal(end, places)) == 0.0 for end in (low, -high)):
            places += 1  # "more" and "less" show no zero
        first = figure_of(row, signed(low, places=places, unit=""), "family_low")
        return (first, _TO, figure_of(row, signed(high, places=places), "family_high"))

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


def _named(found: PageOne, lamp: str) -> Line:
    """Return a lamp and how many specimens of it were read."""
    pieces = dict.fromkeys(str(int(row["n_specimens"])) for row in found.first(lamp))
    return (lamp, f" ({' and '.join(pieces)})")


def _light(found: PageOne, lamp: str, housing: str) -> Line:
    """Return the light of a lamp in a housing: before the heat, after it, its range and its word."""
    at = found.at(lamp, housing)
    if not at:
        return ("not read",)
    row = next(iter(at.values()))
    first: Line = (found.percent(at["initial"]), f"{_GLUE}→ ") if len(at) > 1 else ()
    word = found.word(row).replace(" ", _GLUE)
    if found.held and "hold" not in at:
        word += f"; {found.missing(lamp, housing)}"
    return (*first, found.percent(row), " (", *found.range(row), f"), {word}")


def plus_minus(row: Row, blank: str = _GLUE) -> Told:
    """Return a value with half of its interval.

    Parameters
    ----------
    row : dict
        A row of results.csv.
    blank : str, default a no-break space
        What stands on either side of the sign.

    Returns
    -------
    Told
        "61.4 ± 1.2".
    """
    half = 0.5 * float(row["high"] - row["low"])
    return figure_of(row, with_uncertainty(float(row["value"]), half).replace(" ", blank))


def _surface(found: PageOne, lamp: str) -> Line:
    """Return the surface temperature that is known best at the hold time, where it was read and under which cover."""
    mine = [row for row in found.every(lamp, "surface temperature") if not math.isnan(row["high"])]
    if not mine:
        return ()
    row = min(mine, key=lambda one: float(one["high"] - one["low"]))
    place, _, method = str(row["point"]).rpartition(", ")
    thermal = found.campaign.bench.tables["thermal"]
    covers = thermal.loc[(thermal["lamp"] == lamp) & (thermal["place"] == place), "cover"].unique()
    under = f", cover {joined(filter(None, covers))}" if any(covers) else ""
    return (plus_minus(row), f" ({place or 'place not stated'}, {method}{under})")


def _money(price: float) -> str:
    """Return a price as it is written: two decimals, or none."""
    return f"{price:.2f}".removesuffix(".00")


def _price(found: PageOne, lamp: str) -> Line:
    """Return the price of a lamp and how it was obtained, as lamps.csv has them."""
    one = found.known[lamp]
    each = f" a {one['price_per']}" if one["price_per"] else ""
    price = (
        ""
        if math.isnan(one["price"])
        else f"{_money(one['price'])} {found.settings.currency or '(no currency)'}{each}"
    )
    return tuple(filter(None, [", ".join(filter(None, [_GLUE.join(price.split()), obtained_words(one)]))]))


def _to_know(found: PageOne, lamp: str) -> Line:
    """Return what the figures of a row cannot say."""
    stepped: dict[str, dict[str, None]] = {}
    for run in (run for run in warm_up_runs(found.campaign.bench) if run.lamp == lamp):
        what = step_words(run)
        late, last = found.light(lamp, run.housing, "hold"), float(run.record["elapsed_s"].iloc[-1]) / 60.0
        left = run.remaining
        if not what and left is None:
            what = f"record of {decimal(last, 0)} min: no light at the hold time from it"
        elif not what and left and left.method == "bounds" and late and found.bounded(late):
            what = f"at the hold time not read: bounds of a record of {decimal(last, 0)} min"
        stepped.setdefault(what, {})[run.housing] = None
    for row in filter(None, (found.light(lamp, housing, "hold") for housing in found.housings)):
        stepped.setdefault(found.apart(row), {})[row["housing"]] = None
    words = [what + in_housing(joined(filter(None, places))) for what, places in stepped.items() if what]
    line: Line = ("; ".join(words),)
    between = f"{'; ' if words else ''}light above the cut-off: "
    for row in found.every(lamp, "above cut-off ratio"):
        if row["scope"] == "readings" and not math.isnan(row["low"]):
            value, low, high = with_ends(row, 1.0)
            line += (between, value, " times (", low, _TO, high, f"){in_housing(row['housing'])}")
            between = ", "
    return (*line, " (seated once, aim not corrected)") if line[1:] else line


def told_lines(found: PageOne, *, ranges: bool = False) -> Iterator[Line]:
    """Yield who gives more after the heat in each housing, whether any lamp does in all, and who was not held.

    Parameters
    ----------
    found : PageOne
        The rows.
    ranges : bool, default False
        Give each lamp's range in place of its best estimate.

    Yields
    ------
    Line
        A sentence.
    """
    instant = "hold" if found.held else "initial"
    when = capital(found.when(instant))
    more_in: list[list[str]] = []
    for housing in found.housings:
        by_word: dict[str, list[str]] = {"more": [], "less": []}
        read = {lamp: row for lamp in found.lamps if (row := found.light(lamp, housing, instant)) is not None}
        for lamp, row in read.items():
            by_word.setdefault(found.word(row), []).append(lamp)
        more_in.append(by_word["more"])
        line: Line = (f"{when}{in_housing(housing)}, against {found.campaign.baseline}: ",)
        for word, lamps in by_word.items():
            for place, lamp in enumerate(lamps):
                begin = " and " if place and place == len(lamps) - 1 else ", "
                if not place:
                    begin = f"{'; ' if line[1:] else ''}{word}: "
                told = found.range(read[lamp]) if ranges else (found.percent(read[lamp]),)
                line += (begin, f"{lamp} (", *told, ")")
        if read:
            yield (*line, ".")
    if len(found.housings) > 1:
        both = [lamp for lamp in found.lamps if all(lamp in here for here in more_in)]
        where = "both housings" if len(found.housings) == 2 else "all housings"
        who = f"{joined(both)} {'is' if len(both) == 1 else 'are'}" if both else "no lamp is"
        yield (f"{when} {who} shown to give more light than {found.campaign.baseline} in {where}.",)
    hold, base = f"{found.settings.hold_minutes:g} min", found.campaign.baseline
    alone = {h: [lamp for lamp in found.lamps if found.alone(lamp, h)] for h in found.housings}
    for housing, lamps in alone.items():
        line = (
            f"The baseline {base} is not known at {hold}{in_housing(housing)}, and no lamp against it then",
        )
        for place, lamp in enumerate(lamps):
            line += (f"{'; ' if place else ': '}{lamp} keeps ", *found.keeps(found.kept(lamp)[housing]))
        if lamps:
            yield (*line, ".")
    gone = {h: [lamp for lamp in found.lamps if [*found.at(lamp, h)] == ["initial"]] for h in found.housings}
    why = {(lamp, h): found.missing(lamp, h) for h, lamps in gone.items() for lamp in lamps}
    if not found.held and set(why.values()) <= {"not held"} and not any(alone.values()):
        yield (f"No lamp was read at {hold}: what heat takes is not known.",)
        return
    heads = {
        "record refused": f"Held for {hold}, but the record was refused",
        "not held": f"Not held for {hold}",
    }
    for word, head in heads.items():
        mine = {h: [lamp for lamp in lamps if why[lamp, h] == word] for h, lamps in gone.items()}
        if left := [joined(lamps) + in_housing(housing) for housing, lamps in mine.items() if lamps]:
            yield (f"{head}: {'; '.join(left)}.",)


def _answer(found: PageOne, question: Question) -> Line:
    """Return a question that was asked beforehand with its answer, by the range of a lamp among all of its housing."""
    lamps = found.lamps if question.lamp == "any" else [question.lamp]
    housings = found.housings if question.housing in {"each", "any"} else [question.housing]
    at = {x: {h: row for h in housings if (row := found.light(x, h, question.instant))} for x in lamps}
    ranges = {
        x: {h: (row["family_low"], row["family_high"]) for h, row in read.items()} for x, read in at.items()
    }
    yes, undecided = question.told(ranges, housings)
    open_ = sorted(undecided)
    answer = "No: the readings exclude it"
    if yes:
        answer = f"Yes, shown: {'; '.join(x + in_housing(joined(filter(None, where))) for x, where in yes.items())}"
    elif open_:
        full = [lamp for lamp in open_ if len(at[lamp]) == len(housings)]
        answer = "Not shown of any lamp" if question.lamp == "any" else "Not shown"
        answer += f"; not excluded for {joined(full)}" if full else ""
        base, known = found.campaign.baseline, found.campaign.at(question.instant).names
        lacking = [(x, h) for x in open_ for h in housings if h not in at[x]]
        both = [(one, h, "hot_spot", question.instant) for x, h in lacking for one in (base, x)]
        wanting = dict.fromkeys(name[0] for name in both if name not in known)
        answer += f"; readings are missing for {joined(wanting)}" if wanting else ""
    when = found.when(question.instant)
    odd = dict.fromkeys(filter(None, (found.apart(row) for read in at.values() for row in read.values())))
    scope = "; ".join([f"specimens tested, {when}, ranges of {100.0 * found.settings.coverage:g} %", *odd])
    asked = question.words or _in_words(found, question, when)
    first = found.campaign.bench.first_date
    late = f", after the readings of {day_words(first)}" if first and question.asked_on > first else ""
    return (f"Asked on {day_words(question.asked_on)}{late}: {asked} {answer} ({scope}).",)


def _in_words(found: PageOne, question: Question, when: str) -> str:
    """Return a question that was asked in keys, as a sentence."""
    who = "any lamp" if question.lamp == "any" else question.lamp
    much = f"{question.more_than_percent:g} % more" if question.more_than_percent else "more"
    where = {"each": "every housing", "any": "some housing"}.get(question.housing, question.housing)
    return f"does {who} give {much} light than {found.campaign.baseline} in {where}, {when}?"


def paragraphs(lines: Iterable[Line | str]) -> str:
    """Return lines as paragraphs of HTML.

    Parameters
    ----------
    lines : iterable of Line or str
        Sentences; those in which no figure names its row may be plain text.

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
    head = "".join(f'<th scope="col">{_as_html(one)}</th>' for one in found.columns)
    body = []
    for number, (lamp, *cells) in enumerate(found.table, start=1):
        link = f'<th scope="row"><a href="#{lamp_anchor(number)}">{_as_html(lamp)}</a></th>'
        rest = "".join(f"<td>{_as_html(one)}</td>" for one in cells)
        body.append(f'<tr id="{FOUND}-{number}">{link}{rest}</tr>')
    return page.table_html([f"<tr>{head}</tr>"], body)


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
