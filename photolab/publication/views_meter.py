"""What the notebook on a change of meter shows: each function returns one thing to be shown.

Where a bench folder does not hold what a view needs, the view is one sentence that says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from photolab.bench.baseline_days import without
from photolab.bench.campaign import Campaign
from photolab.bench.meter_change import MeterChange, colour_prediction, meter_change
from photolab.errors import MethodError
from photolab.metrology.reporting import decimal
from photolab.publication import words_bench
from photolab.publication.display import Table, Words, say, table
from photolab.publication.statements import SCOPE_WORDS

__all__ = ["Linked", "colour_check", "converted_readings", "link", "link_table", "links_said", "verdicts"]

NOTHING = "Not from this folder: "
SHOWN = 8
"""So many rows of long tables are shown."""


@dataclass(frozen=True, eq=False)
class Linked:
    """A change of meter, or why there is none.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.
    change : MeterChange or None
        With the campaign's corrections.
    plain : MeterChange or None
        Without the correction for colour; None where none was made.
    why : str
        Reason where there is no link.
    """

    campaign: Campaign
    change: MeterChange | None
    plain: MeterChange | None
    why: str


def link(campaign: Campaign) -> Linked:
    """Return the change of meter for the views below.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    Linked
        With the reason where there is no link.
    """
    try:
        change = meter_change(campaign)
    except MethodError as refused:
        return Linked(campaign, None, None, str(refused))
    plain = None
    if "spectral" in campaign.corrections:
        plain = meter_change(campaign, corrections=without(campaign, "spectral"))
    return Linked(campaign, change, plain, "")


def links_said(linked: Linked) -> Words:
    """Return every link in words.

    Parameters
    ----------
    linked : Linked
        From `link`.

    Returns
    -------
    Words
        One item a technology.
    """
    if linked.change is None:
        return say(f"{NOTHING}{linked.why}.")
    coverage = linked.campaign.bench.settings.coverage
    said = [words_bench.link_words(row, coverage=coverage) for row in linked.change.links.to_dict("records")]
    said += [
        f"{kind or 'An unknown technology'}: no link; its lamps stay on the old meter."
        for kind in linked.change.refused
    ]
    return say(*said, bullets=True)


def link_table(linked: Linked) -> Table | Words:
    """Return the links as a table.

    Parameters
    ----------
    linked : Linked
        From `link`.

    Returns
    -------
    Table or Words
        One row a technology.
    """
    if linked.change is None:
        return say(f"No table: {linked.why}.")
    links = linked.change.links
    shown = links.assign(
        status=["established" if one else "provisional" for one in links["established"]],
        level=["constant" if one else "in doubt" for one in links["level_constant"]],
    )
    heads = {
        "technology": "technology",
        "factor": f"{linked.change.new} over {linked.change.old}",
        "low": "from",
        "high": "to",
        "n": "lamps",
        "readings": "pairs of readings",
        "status": "status",
        "level": "over level",
    }
    return table(shown, columns=list(heads), heads=heads, places=4)


def colour_check(linked: Linked) -> Words:
    """Return whether the links differ as the colour responses of the meters say they should.

    Parameters
    ----------
    linked : Linked
        From `link`.

    Returns
    -------
    Words
        One sentence a pair of technologies.
    """
    if linked.change is None:
        return say(f"{NOTHING}{linked.why}.")
    said = []
    for row in colour_prediction(linked.campaign, linked.change).to_dict("records"):
        inside = row["low"] <= row["predicted"] <= row["high"]
        end = (
            "the meters' colours explain it"
            if inside
            else "something else differs between the meters as well"
        )
        said.append(
            f"The link of {row['technology']} lamps over that of {row['against']} lamps is "
            f"{decimal(row['observed'], 4)} "
            f"({decimal(row['low'], 4)} to {decimal(row['high'], 4)}); from the spectra and the "
            "responsivities of both meters "
            f"it should be {decimal(row['predicted'], 4)}: {end}."
        )
    return say(
        *(
            said
            or [f"{NOTHING}spectra of the lamps and responsivities of both meters are needed for this check."]
        )
    )


def converted_readings(linked: Linked) -> Table | Words:
    """Return the first converted readings beside the raw ones.

    Parameters
    ----------
    linked : Linked
        From `link`.

    Returns
    -------
    Table or Words
        One row a lamp.
    """
    if linked.change is None:
        return say(f"No table: {linked.why}.")
    rows = linked.change.readings
    first = rows.drop_duplicates("lamp").head(SHOWN)
    shown = first.assign(link=[re.sub(r"\b1 lamps$", "1 lamp", link) for link in first["link"]])
    heads = {
        "lamp": "lamp",
        "housing": "housing",
        "day": "day",
        "illuminance_lx": f"as read on {linked.change.old} (lx)",
        "net_lx": "dark reading removed (lx)",
        "linked_lx": f"as on {linked.change.new} (lx)",
        "link": "by",
    }
    return table(
        shown, columns=list(heads), heads=heads, places={"illuminance_lx": 1, "net_lx": 1, "linked_lx": 1}
    )


def verdicts(linked: Linked, *, colour: bool) -> Table | Words:
    """Return which verdicts change with the meter.

    Parameters
    ----------
    linked : Linked
        From `link`.
    colour : bool
        With the correction for colour on both meters, or without it on either.

    Returns
    -------
    Table or Words
        One row a changed verdict.
    """
    if linked.change is None:
        return say(f"{NOTHING}{linked.why}.")
    change = linked.change if colour else linked.plain
    if change is None:
        return say("No reading was corrected for colour, so there is nothing to leave out.")
    if change.after.empty:
        return say(f"No verdict on {change.new}: the baseline {linked.campaign.baseline} has no link.")
    if change.changed.empty:
        return say(f"None of {len(change.after)} verdicts changes from {change.old} to {change.new}.")
    rows = change.changed
    shown = rows.assign(
        scope=[SCOPE_WORDS[scope] for scope in rows["scope"]],
        before=[words_bench.verdict_name(code) for code in rows["before"]],
        after=[words_bench.verdict_name(code) for code in rows["after"]],
    )
    heads = {
        "lamp": "lamp",
        "housing": "housing",
        "scope": "scope",
        "ratio_before": f"ratio on {change.old}",
        "before": f"verdict on {change.old}",
        "ratio_after": f"ratio on {change.new}",
        "after": f"verdict on {change.new}",
    }
    return table(shown, columns=list(heads), heads=heads, places=3)
