"""What was found as lines to paste, each with all that it applies to, so that cutting a line loses no scope.

Made from the rows that page one uses. In a line on a lamp the bench, its days and the instant come first, then what is
shown in every housing, then each figure with its range; the light before the heat comes last.
"""

import math

from photolab.bench.results.campaign import Campaign
from photolab.publication.report.front_page import days_read, how_measured, invented_words, span_of
from photolab.publication.report.page_one import BOUNDED, Line, PageOne, Row, Told, told_lines
from photolab.publication.sentences.display import escape_markdown, one_line
from photolab.publication.sentences.findings import joined, obtained_words
from photolab.publication.sentences.statements import count, in_housing

_SHOWN = {"more": "more light", "less": "less light", "not shown": "not shown which gives more light"}


def in_words(found: PageOne) -> tuple[Line, ...]:
    """Return what was found as lines to paste.

    Parameters
    ----------
    found : PageOne
        The rows.

    Returns
    -------
    tuple of Line
        What was asked, who gives more after the heat, who was not held, how it was measured; then one line a lamp.
    """
    where = f"{bench_and_days(found.campaign)}: "
    if not found.lamps:
        return ((f"{where}no lamp can be compared with another yet.",),)
    ranges = f"{where}specimens tested, ranges of {100.0 * found.settings.coverage:g} %, "
    told = [*told_lines(found, ranges=True)]
    general = []
    for line in (*found.questions, *told, *how_measured(found)[:2]):
        head = ranges if line in told and any(isinstance(one, Told) for one in line) else where
        first = str(line[0])
        general.append((head, first[:1].lower() + first[1:], *line[1:]))
    return (*general, *(lamp_line(found, lamp) for lamp in found.lamps))


def as_markdown(campaign: Campaign, lines: tuple[Line, ...]) -> str:
    """Return lines to paste as a file.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lines : tuple of Line
        As `in_words` returns them.

    Returns
    -------
    str
        Markdown, a list with one item a line.
    """
    settings = campaign.bench.settings
    head = [
        "# In words\n",
        f"**{mark}**\n" if (mark := invented_words(campaign.bench, "list")) else "",
        "Lines to paste, each whole: each names its bench, days, instant, housing, pieces and range "
        f"({100.0 * settings.coverage:g} %, all lamps of a housing compared at once). Light is lux at one place of the "
        "beam: not lumens, not the whole beam, not what an eye would notice on a road. Nothing here says that a lamp "
        "may be used on a road.\n",
    ]
    said = (escape_markdown("".join(p if isinstance(p, str) else p.text for p in line)) for line in lines)
    return "\n".join([*filter(None, head), *(f"- {one}" for one in said)]) + "\n"


def bench_and_days(campaign: Campaign, lamp: str = "") -> str:
    """Return the bench, and the days on which it or a lamp was read.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    lamp : str, optional
        One lamp.

    Returns
    -------
    str
        "Bench stone barn, 13 April 2026 to 3 June 2026".
    """
    days, seats = days_read(campaign), campaign.seats
    mine = days if not lamp else days[days["day"].isin(seats.loc[seats["lamp"] == lamp, "day"])]
    return f"Bench {one_line(campaign.bench.settings.name)}, {span_of(mine['date'])}"


def _pieces(found: PageOne, lamp: str, told: dict[str, Row]) -> str:
    """Return how many pieces of a lamp were read in each housing, and how many of them were held."""
    words = {}
    for housing, row in told.items():
        few, held = int(row["n_specimens"]), float(row["n_held"])
        fewer = row["instant"] == "hold" and held < few
        words[housing] = count(few, "specimen") + (f" ({held:g} held)" if fewer else "")
    got = obtained_words(found.known[lamp])
    whose = f" of {lamp}{f' ({got})' if got else ''}"
    first = next(iter(words))
    if len(set(words.values())) == 1:
        return words[first] + whose
    return joined(few + whose * (h == first) + in_housing(h) for h, few in words.items())


def lamp_line(found: PageOne, lamp: str) -> Line:
    """Return the line of a lamp: after the heat where it was held in any housing, else what it was at first.

    Parameters
    ----------
    found : PageOne
        The rows.
    lamp : str
        One of its lamps.

    Returns
    -------
    Line
        Bench, days, instant, specimens, what is shown in each housing, then each figure with its range.
    """
    settings, base = found.settings, found.campaign.baseline
    at = {h: found.at(lamp, h) for h in found.housings}
    late, early = ({h: at[h][i] for h in at if i in at[h]} for i in ("hold", "initial"))
    told = late or early
    start, hold = f"{settings.initial_s:g} s after switch-on", f"{settings.hold_minutes:g} min"
    alone = [h for h in early if found.alone(lamp, h)]
    if late:
        when = f"{hold} after switch-on"
    elif alone:
        why = f"{base} not known" if alone == [*early] else "not compared"
        when = f"{why} at {hold}, read {start}"
    elif any(found.refused(lamp, h) for h in early):
        when = f"record to {hold} refused, read {start}"
    else:
        when = f"not held for {hold}, read only {start}"
    known = {one for row in told.values() for one in str(row["assumed"]).split("; ") if one}
    assumed = f", {count(len(known), 'input')} assumed" if known else ""
    where: dict[str, list[str]] = {}
    for housing, row in told.items():
        where.setdefault(_SHOWN.get(found.word(row), found.word(row)), []).append(in_housing(housing).strip())
    words = [f"{word} {joined(of)}".strip() for word, of in where.items()]
    for housing in (h for h in early if h not in told):
        words.append(found.missing(lamp, housing, base) + in_housing(housing))
    head = f"{bench_and_days(found.campaign, lamp)}: {when} at one place of the beam{assumed}, "
    line: Line = (f"{head}{_pieces(found, lamp, told)} against {base}: {joined(words)}",)
    range_of = f" ({100.0 * settings.coverage:g} % range "
    for begin, rows in (("; ", told), (f"; before the heat, {start}, ", early if late else {})):
        for housing, row in rows.items():
            if not math.isnan(float(row["family_low"])):
                line += (begin, found.percent(row), range_of, *found.range(row), ")", in_housing(housing))
                line += (BOUNDED,) if found.bounded(row) else ()
                line += (f" ({apart})",) if (apart := found.apart(row)) else ()
                begin = ", "
    for place, housing in enumerate(alone):
        line += (", " if place else "; it keeps ", *found.keeps(found.kept(lamp)[housing]))
    return (*line, ".")
