"""Page one of the methods appendix: what was found, what it means, what was assumed, and what it is not."""

import html
import math
from collections.abc import Iterable, Sequence

import pandas as pd

import photolab
from photolab.bench.inputs.electrical import assumed_limit
from photolab.bench.results.campaign import Campaign
from photolab.bench.terms.model import Bench, Meter
from photolab.bench.terms.schema import technology_name
from photolab.publication.report import page_one
from photolab.publication.report.page import clean_table, figure
from photolab.publication.report.page_one import Line, PageOne, paragraphs
from photolab.publication.report.tables import DICTIONARY
from photolab.publication.sentences.cautions import NOT_CLAIMED, READERS, assumed_words
from photolab.publication.sentences.display import table
from photolab.publication.sentences.figure_tables import budgets, two_digits
from photolab.publication.sentences.findings import day_words, how_obtained, joined
from photolab.publication.sentences.statements import count, in_housing

_STEPS = {
    "dark": "the dark reading",
    "spectral": "the colour of the light",
    "voltage": "the voltage of filament lamps",
    "near_field": "the near field",
    "ambient": "the room temperature of LED lamps",
}
_CAPTION = (
    "Each lamp against the baseline, specimens in brackets. Filled dot and thick bar: {}, for the "
    "specimens tested; thin bar: the model as sold{}."
)


def invented_words(bench: Bench, where: str) -> str:
    """Return the mark of a bench whose readings are invented.

    Parameters
    ----------
    bench : Bench
        The bench.
    where : str
        What the mark stands on: "report", "workbook".

    Returns
    -------
    str
        One sentence; empty for real readings.
    """
    return f"INVENTED DEMO DATA: no lamp, maker or reading in this {where} is real." if bench.invented else ""


def bench_lines(campaign: Campaign) -> tuple[str, ...]:
    """Return which bench, protocol and days a report is about, and how many readings did not enter.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of str
        One sentence each.
    """
    bench, out = campaign.bench, len(campaign.selection.left_out)
    days, revision = days_read(campaign), bench.settings.protocol_revision
    dates = [text for text in days["date"] if text]
    earlier = sorted({*days["protocol_revision"]} - {"", revision})
    lines = [f"Bench: {bench.settings.name}."]
    if revision:
        lines.append(f"Protocol revision {revision}.")
    if earlier:
        revisions = "protocol revision" if len(earlier) == 1 else "protocol revisions"
        lines.append(f"Earlier days follow {revisions} {' and '.join(earlier)}.")
    if dates:
        lines.append(f"{count(len(dates), 'day')} of readings, {span_of(dates)}.")
    if out:
        lines.append(f"{count(out, 'reading')} left out of the evaluation: the last part says why.")
    return tuple(lines)


def days_read(campaign: Campaign) -> pd.DataFrame:
    """Return the rows of days.csv on which anything was read that entered.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        All of them where readings name no day: it may be any of them.
    """
    tables, read = campaign.bench.tables, set(campaign.selection.readings["day"])
    recorded = read.union(*(tables[name]["day"] for name in ("warm_up", "distance")))
    return tables["days"] if "" in read else tables["days"][tables["days"]["day"].isin(recorded)]


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
    known = sorted(filter(None, dates))
    ends = dict.fromkeys([*known[:1], *known[-1:]])
    return " to ".join(map(day_words, ends)) or "date not recorded"


def _steps(campaign: Campaign) -> str:
    """Return what was corrected for, in how many readings where not in all; blank where nothing was."""
    dark = campaign.selection.readings["dark_lx"]
    some = "" if dark.notna().all() else f" (in {dark.count()} of {count(len(dark), 'reading')})"
    told = _STEPS | {"dark": f"{_STEPS['dark']}{some}"}
    return joined(told.get(step, step) for step in campaign.corrections)


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
    names: dict[str, list[str]] = {"bought": [], "supplied": [], "lent": [], "": []}
    for row in bench.tables["lamps"].to_dict("records"):
        how, whence = how_obtained(row)
        names.setdefault(how, []).append(row["lamp"] + (f" ({whence})" if whence else ""))
    unknown = names.pop("")
    ways = {how: f"{joined(of)} {how}" for how, of in names.items() if of}
    if "supplied" in ways and " (from " not in ways["supplied"]:
        ways["supplied"] += " by others"
    said = [*ways.values()]
    said += [f"not stated for {joined(unknown)}"] if unknown else []
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


def how_measured(found: PageOne) -> tuple[Line, ...]:
    """Return how a bench was measured, its baseline as it was, and what was assumed first.

    Parameters
    ----------
    found : PageOne
        The rows.

    Returns
    -------
    tuple of Line
        Up to three paragraphs.
    """
    campaign, bench, settings = found.campaign, found.campaign.bench, found.settings
    percent = f"{100.0 * settings.coverage:g} %"
    seats = campaign.seats.drop_duplicates(["lamp", "specimen", "housing", "day", "mounting"])
    taken = {name: int((seats["meter"] == name).sum()) for name in dict.fromkeys(seats["meter"])}
    meters = _accuracy(bench.meters[campaign.selection.meter])
    for name, some in taken.items():
        if name != campaign.selection.meter:
            meters += (
                f", in {some} of {count(len(seats), 'seating')} {_accuracy(bench.meters[name])}, linked to it"
            )
    places = {key: h.distance_m for key, h in bench.housings.items() if not math.isnan(h.distance_m)}
    far = joined(f"{metres:g} m in {key}" for key, metres in places.items()) or "not stated"
    if len(places) == len(bench.housings) and len(set(places.values())) == 1:
        far = f"{next(iter(places.values())):g} m"
    days = len({*campaign.seats["day"]} - {""})
    on = f" on {count(days, 'day')}" if days else ", no day stated and so taken as one"
    covers = sorted({*bench.tables["readings"]["cover"], *bench.tables["warm_up"]["cover"]} - {""})
    closed = f" Rear cover: {', sometimes '.join(covers)}." if covers else ""
    how = (
        f"How it was measured: lux at one place of the beam, distance {far}; meter {meters}; "
        f"{count(len(seats), 'seating')}{on}; corrected for "
        f"{_steps(campaign) or 'nothing'}.{closed}"
    )
    light = technology_name(bench.technologies[campaign.baseline]) or "technology not stated"
    own: Line = (f"The baseline {campaign.baseline}: {light}",)
    if watts := found.watts(campaign.baseline, blank=" ", unit=f" W ({percent})"):
        own += (", ", *watts)
    lost = f" of its light at {settings.initial_s:g} s after {settings.hold_minutes:g} min"
    kept = found.kept(campaign.baseline)
    for row in found.every(campaign.baseline, "remaining light"):
        if kept.get(row["housing"], row) is not row:
            continue
        value, low, high = page_one.with_ends(row)
        own += (
            f";{in_housing(row['housing'])} it keeps by {page_one.KEPT_BY[found.kept_by(row)]} ",
            value,
            " %",
        )
        own += () if math.isnan(row["low"]) else (f" ({percent}: ", low, " to ", high, " %)")
        own, lost = (*own, lost), ""
    most = [
        f"{row['input']} {row['value']} (moves {row['where']} by ± {two_digits(row['moves'])} %; touches "
        f"{row['change']})"
        for row in _assumed(campaign).head(3).to_dict("records")
        if row["moves"] > 0.0
    ]
    listed = f"Assumed, largest effect on a ratio first: {'; '.join(most)}. The whole list stands below."
    return ((how,), (*own, "."), *([(listed,)] if most else ()))


def _accuracy(meter: Meter) -> str:
    """Return a meter with its accuracy line."""
    stated = {
        "% of reading": meter.reading_percent,
        "% of range": meter.range_percent,
        "digits": meter.digits,
    }
    accuracy = " + ".join(f"{figures[0]:g} {of}" for of, figures in stated.items() if figures)
    return f"{meter.id} (±({accuracy}))"


def _assumed(campaign: Campaign) -> pd.DataFrame:
    """Return what was assumed, by what it moves in the ratios after the heat."""
    every = (*campaign.assumed, *assumed_limit(campaign.bench))
    return assumed_words(every, {name: lines for name, (_, lines) in budgets(campaign).items()})


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
    found = PageOne(campaign, rows)
    shown = page_one.drawn(found, invented=bench.invented)
    when = (
        ("after the hold time", "; open dot: at the initial time")
        if found.held
        else ("at the initial time", "")
    )
    mark = f'<p class="mark">{words}</p>' if (words := invented_words(bench, "report")) else ""
    none = ["No lamp can be compared with another yet."]
    told = [*found.questions, *page_one.told_lines(found)] if found.lamps else none
    assumed, most = _assumed(campaign), "moves a ratio by up to"
    moves = zip(assumed["moves"], assumed["where"], strict=True)
    assumed[most] = [f"± {two_digits(size)} % ({where})" if size else "" for size, where in moves]
    heads = {"input": "assumed", "value": "value", most: most, "change": "what would change"}
    meanings = table([*DICTIONARY.items()], columns=["column", "meaning"])
    blocks = [
        paragraphs([" ".join(bench_lines(campaign))]),
        mark,
        "<h2>What was found</h2>",
        paragraphs(told),
        page_one.table_html(found) if found.lamps else "",
        "" if shown is None else figure(shown.png, shown.alt, _CAPTION.format(*when)),
        paragraphs(how_measured(found)),
        "<h3>What these figures mean</h3>",
        paragraphs(meaning(campaign)),
        "<h3>What was assumed</h3>",
        clean_table(table(assumed, columns=heads)) if len(assumed) else paragraphs(["Nothing was assumed."]),
        "<h3>What this is not</h3>",
        _list([*NOT_CLAIMED, *READERS]),
        "<h3>Who supplied the samples</h3>",
        paragraphs([suppliers(bench)]),
        "<h3>Check it yourself</h3>",
        f"<p>Data fingerprint: <code>{html.escape(fingerprint)}</code>. photolab {photolab.__version__}. The line to "
        "run on the same bench folder: <code>photolab appendix FOLDER</code>. It gives the same bytes under the "
        "versions named in <code>provenance.json</code>. What was measured stands in "
        "<code>results.csv</code>; <code>results.xlsx</code> says what its columns mean. What is worked out from it "
        "further, a price or a rank, say, stands in the parts of this report alone.</p>",
        "<details><summary>What do the columns of results.csv mean?</summary>",
        clean_table(meanings),
        "</details>",
    ]
    return tuple(block for block in blocks if block)


def _list(texts: Iterable[str]) -> str:
    """Return plain text as a list."""
    return "<ul>\n" + "\n".join(f"<li>{html.escape(text)}</li>" for text in texts) + "\n</ul>"
