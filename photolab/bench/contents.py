"""What a bench folder holds: the things a part of the method needs, and what would bring them.

One closed table. A notebook that nothing feeds stops at `need`; elsewhere a part asks `holds`; the report lists what
was left out from `absent`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from photolab.errors import NotInFolder

if TYPE_CHECKING:
    from photolab.bench.model import Bench


@dataclass(frozen=True)
class Content:
    """One thing a folder may hold.

    Attributes
    ----------
    what : str
        What it lets the folder say.
    bring : str
        What would bring it, as an order.
    held : callable
        Whether a bench holds it.
    """

    what: str
    bring: str
    held: Callable[[Bench], bool]


def _rows(table: str) -> Callable[[Bench], bool]:
    return lambda bench: len(bench.tables[table]) > 0


def _typed(table: str, column: str) -> Callable[[Bench], bool]:
    return lambda bench: bool(bench.tables[table][column].notna().any())


def _shared_housing(bench: Bench) -> bool:
    met = bench.tables["readings"][["housing", "lamp"]].drop_duplicates()
    return bool(met["housing"].duplicated().any())


def _hold(bench: Bench) -> bool:
    late = bench.tables["readings"]["elapsed_s"] > 30.0 * bench.settings.hold_minutes
    return bool(late.any()) or len(bench.tables["warm_up"]) > 0


CONTENTS: dict[str, Content] = {
    "two lamps": Content("how lamps compare", "read a second lamp in the same housing", _shared_housing),
    "days": Content(
        "whether the bench held from day to day",
        "name the days in days.csv and read the baseline on each",
        lambda bench: len(bench.tables["readings"]["day"].unique()) > 1,
    ),
    "links": Content(
        "an old and a new meter side by side", "read lamps with both in links.csv", _rows("links")
    ),
    "spectra": Content(
        "the colour of the light on this meter, lamp by lamp",
        "add spectra.csv",
        lambda bench: bool(bench.spectra),
    ),
    "distance": Content(
        "candela",
        "add distance.csv, or distance_m under [[housing]] in bench.toml for an apparent candela",
        lambda bench: (
            len(bench.tables["distance"]) > 0
            or any(housing.distance_m == housing.distance_m for housing in bench.housings.values())
        ),
    ),
    "beam": Content("where the light goes", "add beam.csv", _rows("beam")),
    "warm_up": Content(
        "how the light settles", "add warm_up.csv, a reading every 30 s from switch-on", _rows("warm_up")
    ),
    "hold": Content(
        "how much light is left at the hold time",
        "read one seating of each specimen in each housing at the hold time too (elapsed_s in readings.csv)",
        _hold,
    ),
    "thermal": Content("how hot a surface is", "add thermal.csv", _rows("thermal")),
    "temperature": Content(
        "whether heat explains the loss of light",
        "add thermal.csv, or case_C in warm_up.csv",
        lambda bench: len(bench.tables["thermal"]) > 0 or _typed("warm_up", "case_C")(bench),
    ),
    "watts": Content("watts at the lamp", "add electrical.csv", _rows("electrical")),
    "claims": Content(
        "a claim beside what was measured",
        "add claimed_flux_lm in lamps.csv",
        _typed("lamps", "claimed_flux_lm"),
    ),
    "price": Content("what a gained percent costs", "add price in lamps.csv", _typed("lamps", "price")),
}
"""By the word that a notebook asks with."""


def holds(bench: Bench, thing: str) -> bool:
    """Return whether a folder holds something.

    Parameters
    ----------
    bench : Bench
        The folder.
    thing : str
        A word of `CONTENTS`.

    Returns
    -------
    bool
        True where it does.

    Raises
    ------
    ValueError
        If the word is none of the table.
    """
    if thing not in CONTENTS:
        message = f"thing must be one of {', '.join(CONTENTS)}; got {thing!r}"
        raise ValueError(message)
    return CONTENTS[thing].held(bench)


def need(bench: Bench, thing: str) -> None:
    """Stop where a folder does not hold something.

    Parameters
    ----------
    bench : Bench
        The folder.
    thing : str
        A word of `CONTENTS`.

    Raises
    ------
    NotInFolder
        One sentence: what it cannot say, and what would bring it.
    """
    if not holds(bench, thing):
        content = CONTENTS[thing]
        message = f"This folder does not say {content.what} yet: {content.bring}."
        raise NotInFolder(message, code="not_in_folder", known={"thing": thing})


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
    return (content for thing, content in CONTENTS.items() if not holds(bench, thing))
