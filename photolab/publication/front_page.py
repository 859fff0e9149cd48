"""Page one of the methods appendix: what was found, what it means, what was assumed, and what it is not."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence
from datetime import date

import photolab
from photolab.bench.campaign import Campaign
from photolab.bench.model import Bench
from photolab.metrology.reporting import decimal
from photolab.publication.cautions import CAUTIONS, NOT_CLAIMED, assumed_table
from photolab.publication.display import table
from photolab.publication.figure_tables import all_lamps, all_lamps_words
from photolab.publication.figures import all_lamps as all_lamps_figure
from photolab.publication.figures.common import Picture, new_figure, picture
from photolab.publication.findings import found, joined
from photolab.publication.page import clean_table, figure

__all__ = [
    "bench_lines",
    "front_page",
    "incomplete_mark",
    "is_invented",
    "lamps_picture",
    "meaning",
    "suppliers",
]

_STEPS = {
    "dark": "the dark reading",
    "spectral": "the colour of the light",
    "voltage": "the voltage at the lamp",
    "near_field": "the near field",
    "ambient": "the room temperature",
}
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
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
        True if its name says so.
    """
    return "invented" in bench.settings.name.casefold()


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
        lines.append(
            f"Earlier days follow protocol revision{'s' if len(earlier) > 1 else ''} {' and '.join(earlier)}."
        )
    if dates:
        span = _day(dates[0]) if dates[0] == dates[-1] else f"{_day(dates[0])} to {_day(dates[-1])}"
        lines.append(f"{len(dates)} {'day' if len(dates) == 1 else 'days'} of readings, {span}.")
    return tuple(lines)


def _day(text: str) -> str:
    """Return an ISO date as people write it."""
    day = date.fromisoformat(text)
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def lamps_picture(campaign: Campaign) -> Picture | None:
    """Return the figure of all lamps; None where no lamp can be compared.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Picture or None
        A panel a housing.
    """
    rows = all_lamps(campaign)
    if rows.empty or rows["low"].isna().all():
        return None
    housings = rows["housing"].nunique()
    height = 1.4 + 0.3 * rows["lamp"].nunique()
    canvas, panels = new_figure(1, housings, height=height, share_x=True)
    all_lamps_figure.draw(panels, rows, baseline=campaign.baseline)
    return picture(
        canvas,
        alt=all_lamps_words(rows, campaign.baseline, coverage=campaign.bench.settings.coverage),
        invented=is_invented(campaign.bench),
    )


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
    steps = joined(_STEPS.get(step, step) for step in campaign.corrections) if campaign.corrections else ""
    corrected = f"Corrected for: {steps}." if steps else "Nothing was corrected."
    return (
        f"Each figure is the light at one place of the beam, {decimal(settings.initial_s, 0)} s after "
        f"switch-on, against "
        f"that of {campaign.baseline} in the same housing. It is not lumens and not the whole beam. "
        f"{corrected}",
        "The range in brackets is the line through each dot. If the inputs are right, "
        f"{percent} of 100 such ranges contain the true figure. An open dot is one specimen.",
        "Whether an eye would notice is not said of a lamp: the figures known are about light looked at "
        "(people noticed 11 to 19 % of change in oncoming low beams in a laboratory, from an abstract; 25 % was "
        "proposed for signal lamps, Huey, Dekker and Lyons 1994), not about a road that is lit.",
        "Each line stands for its own lamp against the baseline. Two lamps count as different only if the range of "
        "their difference, widened because all pairs are compared, leaves out zero.",
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
        names = [str(lamp) for lamp, got in zip(lamps["lamp"], lamps["obtained"], strict=True) if got == how]
        if names:
            said.append(f"{words} {joined(names)}" if not how else f"{joined(names)} {words}")
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


def front_page(campaign: Campaign, *, fingerprint: str) -> tuple[str, ...]:
    """Return page one of the appendix as HTML.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    fingerprint : str
        Hash that stands for the files of the bench folder.

    Returns
    -------
    tuple of str
        HTML blocks.
    """
    bench = campaign.bench
    shown = lamps_picture(campaign)
    assumed = assumed_table(campaign.assumed)
    heads = {"input": "assumed", "value": "value", "change": "what would change"}
    blocks = [
        _paragraphs([" ".join(bench_lines(bench))]),
        '<p class="mark">INVENTED DEMO DATA: no lamp, maker or reading in this report is real.</p>'
        if is_invented(bench)
        else "",
        "<h2>What was found</h2>",
        _found_html(campaign),
        _figure_html(shown),
        "<h3>What these figures mean</h3>",
        _paragraphs(meaning(campaign)),
        "<h3>What was assumed</h3>",
        clean_table(table(assumed, heads=heads).to_html())
        if len(assumed)
        else _paragraphs(["Nothing was assumed."]),
        "<h3>What this is not</h3>",
        _list([*NOT_CLAIMED, *CAUTIONS]),
        "<h3>Who supplied the samples</h3>",
        _paragraphs([suppliers(bench)]),
        "<h3>Check it yourself</h3>",
        f"<p>Data fingerprint: <code>{html.escape(fingerprint)}</code>. photolab {photolab.__version__}. "
        f"The line "
        "to run on the same bench folder: <code>photolab appendix FOLDER</code>. It gives the same bytes "
        "under the versions "
        "named in <code>provenance.json</code>.</p>",
    ]
    return tuple(block for block in blocks if block)


def _paragraphs(texts: Iterable[str]) -> str:
    """Return plain text as paragraphs."""
    return "\n".join(f"<p>{html.escape(text)}</p>" for text in texts)


def _list(texts: Iterable[str]) -> str:
    """Return plain text as a list."""
    return "<ul>\n" + "\n".join(f"<li>{html.escape(text)}</li>" for text in texts) + "\n</ul>"


def _found_html(campaign: Campaign) -> str:
    """Return what was found as HTML, a list a housing."""
    blocks = []
    for housing, (sentences, together) in found(campaign).items():
        title = f"In housing {housing}" if housing else "In the one housing"
        blocks.append(f"<h3>{html.escape(title)}</h3>\n{_list(sentences)}")
        blocks += [_paragraphs([together])] if together else []
    return "\n".join(blocks) if blocks else _paragraphs(["No lamp can be compared with another yet."])


def _figure_html(shown: Picture | None) -> str:
    """Return the figure of all lamps as HTML."""
    if shown is None:
        return _paragraphs(["No picture: no lamp has an interval yet."])
    data, _ = shown._repr_mimebundle_()
    return figure(data["image/png"], shown.alt)
