"""What a bench folder holds: the things a part of the method needs, and what would bring them.

One closed table. A notebook that nothing feeds stops at `Bench.need`; elsewhere a part asks `Bench.has`; the report
lists what was left out from `absent`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from photolab.bench.terms.model import Bench


class Content(NamedTuple):
    """One thing a folder may hold: what it lets the folder say, and what would bring it, as an order."""

    what: str
    bring: str


CONTENTS = {
    "two lamps": Content("how lamps compare", "read a second lamp in the same housing"),
    "days": Content(
        "whether the bench held from day to day", "name the days in days.csv and read the baseline on each"
    ),
    "links": Content("an old and a new meter side by side", "read lamps with both in links.csv"),
    "spectra": Content("the colour of the light on this meter, lamp by lamp", "add spectra.csv"),
    "distance": Content(
        "candela", "add distance.csv, or distance_m under [[housing]] in bench.toml for an apparent candela"
    ),
    "beam": Content("where the light goes", "add beam.csv"),
    "warm_up": Content("how the light settles", "add warm_up.csv, a reading every 30 s from switch-on"),
    "hold": Content(
        "how much light is left at the hold time",
        "read one seating of each specimen in each housing at the hold time too (elapsed_s in readings.csv)",
    ),
    "thermal": Content("how hot a surface is", "add thermal.csv"),
    "temperature": Content(
        "whether heat explains the loss of light", "add thermal.csv, or case_C in warm_up.csv"
    ),
    "watts": Content("watts at the lamp", "add electrical.csv"),
    "claims": Content("a claim beside what was measured", "add claimed_flux_lm in lamps.csv"),
    "price": Content("what a gained percent costs", "add price in lamps.csv"),
}
"""By the word that a notebook asks with."""


def held(bench: Bench) -> dict[str, bool]:
    """Return which things of the table a folder holds; a table by its own name where it has rows.

    Parameters
    ----------
    bench : Bench
        The folder.

    Returns
    -------
    dict
        By the words of `CONTENTS`.
    """
    readings, lamps = bench.tables["readings"], bench.tables["lamps"]
    rows = {name: len(table) > 0 for name, table in bench.tables.items()}
    met = readings[["housing", "lamp"]].drop_duplicates()
    apparent = not all(math.isnan(housing.distance_m) for housing in bench.housings.values())
    late = readings["elapsed_s"] > 30.0 * bench.settings.hold_minutes
    return rows | {
        "two lamps": bool(met["housing"].duplicated().any()),
        "days": len(readings["day"].unique()) > 1,
        "spectra": bool(bench.spectra),
        "distance": rows["distance"] or apparent,
        "hold": rows["warm_up"] or bool(late.any()),
        "temperature": rows["thermal"] or bool(bench.tables["warm_up"]["case_C"].notna().any()),
        "watts": rows["electrical"],
        "claims": bool(lamps["claimed_flux_lm"].notna().any()),
        "price": bool(lamps["price"].notna().any()),
    }


def absent(bench: Bench) -> Iterator[Content]:
    """Yield what a folder does not hold.

    Parameters
    ----------
    bench : Bench
        The folder.

    Yields
    ------
    Content
        In the order of the table.
    """
    known = held(bench)
    return (content for thing, content in CONTENTS.items() if not known[thing])
