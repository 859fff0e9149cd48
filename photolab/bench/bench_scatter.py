"""The scatter of seatings and days that the whole campaign measured, for what is read beside it: candela and beams."""

from collections.abc import Iterable

from photolab.bench import corrections as steps
from photolab.bench.columns import Columns
from photolab.bench.model import Bench
from photolab.bench.readings import clock_hours
from photolab.bench.seats import mounting_means, whole_mountings
from photolab.bench.selection import select
from photolab.bench.spreads import Spreads, campaign_spreads


def bench_spreads(bench: Bench, corrections: Iterable[str] = steps.ALL) -> Spreads | None:
    """Return the campaign's own spreads under some corrections; None where no reading enters."""
    selection = select(bench)
    if selection.readings.empty:
        return None
    table = steps.apply(selection.readings, bench, corrections).columns
    table["clock_h"] = clock_hours(table["clock"])
    seats, _ = mounting_means(table)
    return campaign_spreads(whole_mountings(Columns(seats)), bench.settings, selection.baseline)
