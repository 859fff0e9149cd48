"""What would have to be wrong to change a result: the evaluation again without each part of the readings."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from photolab.bench.campaign import Campaign
from photolab.bench.derived import Gain
from photolab.bench.evaluation import evaluate
from photolab.errors import MethodError

LEVELS = {
    "mounting": ["lamp", "specimen", "housing", "day", "mounting"],
    "specimen": ["lamp", "specimen"],
    "day": ["day"],
}
"""What one part is: the columns of readings.csv that name it."""


@dataclass(frozen=True, eq=False)
class LeftOut:
    """A gain with each part of the readings left out in turn.

    Attributes
    ----------
    level : str
        What is left out, of `LEVELS`.
    whole : Gain
        With everything in.
    each : mapping of str to Gain or None
        What was left out to the gain without it; None where a lamp then has no reading.
    """

    level: str
    whole: Gain
    each: Mapping[str, Gain | None]

    @property
    def changing(self) -> tuple[str, ...]:
        """What changes the verdict when it is left out."""
        return tuple(n for n, gain in self.each.items() if gain is None or gain.verdict != self.whole.verdict)


def without_each(
    campaign: Campaign, a: str, b: str, *, housing: str, level: str
) -> Iterator[tuple[str, Campaign | None]]:
    """Yield the whole evaluation again without each mounting, specimen or day of two lamps.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        The lamps.
    housing : str
        The housing.
    level : {"mounting", "specimen", "day"}
        What is left out.

    Yields
    ------
    tuple of (str, Campaign or None)
        What was left out, and the campaign without it; None where one of the lamps has no reading left.

    Raises
    ------
    ValueError
        If the level has another name.
    """
    if level not in LEVELS:
        message = f"level must be one of {', '.join(LEVELS)}; got {level!r}"
        raise ValueError(message)
    seats = campaign.seats
    mine = seats[seats["lamp"].isin([a, b]) & (seats["housing"] == housing)]
    for part in mine[LEVELS[level]].astype(str).drop_duplicates().to_dict("records"):
        out = {str(column): value for column, value in part.items()}
        again: Campaign | None
        try:
            again = evaluate(campaign.bench, corrections=campaign.enabled, leave_out=out)
            for lamp in (a, b):
                again.name(lamp, housing=housing)
        except MethodError:
            again = None
        yield " ".join(out.values()), again
