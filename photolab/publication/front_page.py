"""Page one of the methods appendix: what was found, what it means, what was assumed, and what it is not."""

from __future__ import annotations

import base64
import html
import math
from collections.abc import Iterable, Sequence

import pandas as pd

import photolab
from photolab.bench.campaign import Campaign
from photolab.bench.model import Bench
from photolab.metrology.reporting import decimal, with_uncertainty
from photolab.publication.cautions import NOT_CLAIMED, READERS, assumed_words
from photolab.publication.display import one_line, table
from photolab.publication.figure_tables import budgets, two_digits
from photolab.publication.findings import day_words, joined
from photolab.publication.page import clean_table, figure
from photolab.publication.page_one import (
    Line,
    PageOne,
    Told,
    drawn,
    figure_of,
    page_one,
    paragraphs,
    table_html,
)
from photolab.publication.readiness import count
from photolab.publication.tables import DICTIONARY

_STEPS = {
    "dark": "the dark reading",
    "spectral": "the colour of the light",
    "voltage": "the voltage at the lamp",
    "near_field": "the near field",
    "ambient": "the room temperature",
}
_CAPTION = (
    "Each lamp against the baseline, specimens in brackets. Filled dot and thick bar: after the hold time, for the "
    "specimens tested; thin bar: the model as sold; open dot: at the initial time."
)


def is_invented(bench: Bench) -> bool:
    """Return whether a bench says of itself that its readings are invented.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    bool
        True where bench.toml declares it, or a bracket of the name begins with it; the word alone is part of a name.
    """
    return bench.settings.invented or "(invented" in bench.settings.name.casefold()


def bench_lines(bench: Bench) -> tuple[str, ...]:
    """Return which bench, protocol and days a report is about.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of str
        One sentence each.
    """
    days = bench.tables["days"]
    dates = sorted(text for text in days["date"] if text)
    lines = [f"Bench: {bench.settings.name}."]
    if bench.settings.protocol_revision:
        lines.append(f"Protocol revision {bench.settings.protocol_revision}.")
    earlier = sorted({r for r in days["protocol_revision"] if r and r != bench.settings.protocol_revision})
    if earlier:
        revisions = "protocol revision" if len(earlier) == 1 else "protocol revisions"
        lines.append(f"Earlier days follow {revisions} {' and '.join(earlier)}.")
    if dates:
        lines.append(f"{count(len(dates), 'day')} of readings, {span_of(dates)}.")
    return tuple(lines)


def span_of(dates: Iterable[str]) -> str:
    """Return the first and the last of some days.

    Parameters
    ----------
    dates : iterable of str
        ISO 8601; blank ones do not count.

    Returns
    -------
    str
        "13 April 2026 to 3 June 2026"; "date not recorded" where there is none.
    """
    known = sorted(filter(None, dates)) or [""]
    if not known[0]:
        return "date not recorded"
    return " to ".join(day_words(one) for one in dict.fromkeys([known[0], known[-1]]))


def _steps(campaign: Campaign) -> str:
    """Return what was corrected for; blank where nothing was."""
    return joined(_STEPS.get(step, step) for step in campaign.corrections) if campaign.corrections else ""


def meaning(campaign: Campaign) -> tuple[str, ...]:
    """Return what the figures mean.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of str
        One paragraph each.
    """
    settings = campaign.bench.settings
    percent = f"{100.0 * settings.coverage:g}"
    corrected = f"Corrected for: {steps}." if (steps := _steps(campaign)) else "Nothing was corrected."
    return (
        f"Each percentage is the light at one place of the beam against that of {campaign.baseline} in the same "
        f"housing, at the same instant after switch-on. It is not lumens and not the whole beam. {corrected}",
        f"The range in brackets allows for all lamps of a housing being compared at once: if the inputs are right, in "
        f"{percent} of 100 such tables every range contains the true figure. Its word says what the range shows: more "
        f"or less light, alike within {settings.alike_percent:g} %, or not shown.",
        "Whether an eye would notice is not said of a lamp: the figures known are about light looked at "
        "(people noticed 11 to 19 % of change in oncoming low beams in a laboratory, from an abstract; 25 % was "
        "proposed for signal lamps, Huey, Dekker and Lyons 1994), not about a road that is lit.",
    )


def suppliers(bench: Bench) -> str:
    """Return who supplied the samples.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    str
        One sentence or two.
    """
    lamps = bench.tables["lamps"]
    said = []
    for how, words in (
        ("bought", "bought"),
        ("supplied", "supplied by others"),
        ("lent", "lent"),
        ("", "not stated for"),
    ):
        mine = lamps[lamps["obtained"] == how].to_dict("records")
        whence = (one_line(row["obtained_from"]) for row in mine)
        names = [row["lamp"] + (f" (from {x})" if x else "") for row, x in zip(mine, whence, strict=True)]
        if names:
            said.append(f"{joined(names)} {words}" if how else f"{words} {joined(names)}")
    return f"How the samples were obtained: {'; '.join(said)}."


def incomplete_mark(missing: Sequence[str]) -> tuple[str, ...]:
    """Return what page one begins with where parts of the report are missing, as HTML.

    Parameters
    ----------
    missing : sequence of str
        One sentence for each part.

    Returns
    -------
    tuple of str
        HTML blocks; none where nothing is missing.
    """
    if not missing:
        return ()
    return ('<p class="mark">INCOMPLETE: parts of this report could not be made.</p>', _list(missing))


def how_measured(campaign: Campaign, rows: pd.DataFrame) -> tuple[Line, ...]:
    """Return how a bench was measured, its baseline as it was, and what was assumed first.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows of results.csv.

    Returns
    -------
    tuple of Line
        Up to three paragraphs.
    """
    bench, settings = campaign.bench, campaign.bench.settings
    meter = bench.meters[campaign.selection.meter]
    accuracy = f"{meter.reading_percent[0]:g} % of reading"
    accuracy += f" + {meter.range_percent[0]:g} % of range" if meter.range_percent else ""
    accuracy += f" + {meter.digits[0]:g} digits" if meter.digits else ""
    places = {key: h.distance_m for key, h in bench.housings.items() if not math.isnan(h.distance_m)}
    far = joined(f"{metres:g} m in {key}" for key, metres in places.items()) if places else "not stated"
    if len(places) == len(bench.housings) and len(set(places.values())) == 1:
        far = f"{next(iter(places.values())):g} m"
    seatings = len(campaign.seats.drop_duplicates(["lamp", "specimen", "housing", "day", "mounting"]))
    days = len({day for day in campaign.seats["day"] if day}) or 1
    steps = _steps(campaign) or "nothing"
    covers = sorted({cover for cover in bench.tables["readings"]["cover"] if cover})
    closed = f" Rear cover: {', sometimes '.join(covers)}." if covers else ""
    how = (
        f"How it was measured: lux at one place of the beam, distance {far}; meter {meter.id} (±({accuracy})); "
        f"{count(seatings, 'seating')} on {count(days, 'day')}; corrected for {steps}.{closed}"
    )
    told: list[Line] = [(how,)]
    base = bench.tables["lamps"].set_index("lamp").loc[campaign.baseline]
    light = base["technology"] or "technology not stated"
    own: list[str | Told] = [f"The baseline {campaign.baseline}: {light}"]
    mine = rows[rows["lamp"] == campaign.baseline]
    power = mine[mine["measurand"] == "electrical power"].to_dict("records")[:1]
    if power:
        half = 0.5 * float(power[0]["high"] - power[0]["low"])
        own += [", ", figure_of(power[0], with_uncertainty(float(power[0]["value"]), half))]
        own += [f" W ({100.0 * settings.coverage:g} %)"]
    lost = f" of its light at {settings.initial_s:g} s after {settings.hold_minutes:g} min"
    for row in mine[mine["measurand"] == "remaining light"].to_dict("records"):
        place = f"in {row['housing']} " if row["housing"] else ""
        value, *ends = (
            figure_of(row, decimal(100.0 * float(row[key]), 1), key) for key in ("value", "low", "high")
        )
        own += [f"; {place}it keeps by its record ", value, " %"]
        if not math.isnan(float(row["low"])):
            own += [f" ({100.0 * settings.coverage:g} %: ", ends[0], " to ", ends[1], " %)"]
        own.append(lost)
        lost = ""
    told.append((*own, "."))
    most = [
        f"{row['input']} {row['value']} (moves {row['where']} by ± {two_digits(row['moves'])} %; touches "
        f"{row['change']})"
        for row in _assumed(campaign).head(3).to_dict("records")
        if row["moves"] > 0.0
    ]
    listed = f"Assumed, largest effect on a ratio first: {'; '.join(most)}. The whole list stands below."
    return (*told, (listed,)) if most else tuple(told)


def _assumed(campaign: Campaign) -> pd.DataFrame:
    """Return what was assumed, by what it moves in the ratios after the heat."""
    return assumed_words(campaign.assumed, {name: lines for name, (_, lines) in budgets(campaign).items()})


def front_page(campaign: Campaign, rows: pd.DataFrame, *, fingerprint: str) -> tuple[str, ...]:
    """Return page one of the appendix as HTML.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    rows : DataFrame
        Its rows of results.csv, as `tables.results` returns them.
    fingerprint : str
        Hash that stands for the files of the bench folder.

    Returns
    -------
    tuple of str
        HTML blocks.
    """
    bench = campaign.bench
    told = page_one(campaign, rows)
    shown = drawn(campaign, told, invented=is_invented(bench))
    assumed = _assumed(campaign)
    assumed["most"] = [
        f"± {two_digits(size)} % ({where})" if size else ""
        for size, where in assumed[["moves", "where"]].to_numpy()
    ]
    heads = {
        "input": "assumed",
        "value": "value",
        "most": "moves a ratio by up to",
        "change": "what would change",
    }
    meanings = pd.DataFrame({"column": list(DICTIONARY), "meaning": list(DICTIONARY.values())})
    blocks = [
        _paragraphs([" ".join(bench_lines(bench))]),
        '<p class="mark">INVENTED DEMO DATA: no lamp, maker or reading in this report is real.</p>'
        if is_invented(bench)
        else "",
        "<h2>What was found</h2>",
        *_found(told),
        "" if shown is None else figure(base64.b64encode(shown.png).decode("ascii"), shown.alt, _CAPTION),
        paragraphs(how_measured(campaign, rows)),
        "<h3>What these figures mean</h3>",
        _paragraphs(meaning(campaign)),
        "<h3>What was assumed</h3>",
        clean_table(table(assumed, columns=list(heads), heads=heads))
        if len(assumed)
        else _paragraphs(["Nothing was assumed."]),
        "<h3>What this is not</h3>",
        _list([*NOT_CLAIMED, *READERS]),
        "<h3>Who supplied the samples</h3>",
        _paragraphs([suppliers(bench)]),
        "<h3>Check it yourself</h3>",
        f"<p>Data fingerprint: <code>{html.escape(fingerprint)}</code>. photolab {photolab.__version__}. The line to "
        "run on the same bench folder: <code>photolab appendix FOLDER</code>. It gives the same bytes under the "
        "versions named in <code>provenance.json</code>. Every figure stands in <code>results.csv</code>; "
        "<code>results.xlsx</code> says what its columns mean.</p>",
        "<details><summary>What do the columns of results.csv mean?</summary>",
        clean_table(table(meanings)),
        "</details>",
    ]
    return tuple(block for block in blocks if block)


def _paragraphs(texts: Iterable[str]) -> str:
    """Return plain text as paragraphs."""
    return "\n".join(f"<p>{html.escape(text)}</p>" for text in texts)


def _list(texts: Iterable[str]) -> str:
    """Return plain text as a list."""
    return "<ul>\n" + "\n".join(f"<li>{html.escape(text)}</li>" for text in texts) + "\n</ul>"


def _found(told: PageOne) -> list[str]:
    """Return questions, sentences and the table as HTML."""
    if not told.table:
        return [_paragraphs(["No lamp can be compared with another yet."])]
    return [paragraphs([*told.questions, *told.sentences]), table_html(told)]
