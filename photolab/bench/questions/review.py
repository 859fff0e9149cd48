"""What the next protocol should change: where doubt comes from, what a plan resolves, when to read."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.inputs.spreads import Spread
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.heat import WarmUpRun
from photolab.bench.results.pairs import variance_by_term
from photolab.errors import MethodError
from photolab.metrology.planning import planned_sd, resolvable_ratio
from photolab.metrology.quantity import coverage_factor
from photolab.thermal.warm_up_result import WarmUp

Ratio = Callable[[WarmUp, float], float]
REPLICATED = frozenset(
    {"mounting", "noise", "heating", "specimen", "resolution", "supply voltage", "elapsed time"}
)
"""Kinds of input that more seatings, readings or specimens lower."""


def causes(campaign: Campaign) -> pd.DataFrame:
    """Return which part of the doubt each kind of input has, over all comparisons of the specimens with the baseline.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        kind, variance_fraction (mean over the comparisons), largest (in any of them), comparisons; the
        largest first. [1]
    """
    shares = [{term: v / u**2 if v else 0.0 for term, v in parts.items()} for u, parts in _parts(campaign)]
    table = pd.DataFrame(shares).fillna(0.0)
    found = pd.DataFrame({"variance_fraction": table.mean(), "largest": table.max()}, dtype=float)
    found = found.rename_axis("kind").reset_index().assign(comparisons=len(table))
    return found.sort_values("variance_fraction", ascending=False, kind="stable", ignore_index=True)


def _parts(campaign: Campaign) -> Iterator[tuple[float, dict[str, float]]]:
    """Yield the standard uncertainty of each comparison with the baseline, and its variance by term."""
    for lamp, housing, point, _ in campaign.compared():
        pair = campaign.ratio(lamp, campaign.baseline, housing=housing, point=point)
        if pair.result is not None:
            yield pair.result.u, variance_by_term(pair.result)


def shared_floor(campaign: Campaign) -> float:
    """Return the standard uncertainty of a ratio that more seatings and readings do not lower.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    float
        Median over the comparisons with the baseline, of the inputs that replication does not touch. [1]

    Raises
    ------
    MethodError
        If there is no comparison with an interval (code ``no_comparison``).
    """
    each = ([v for term, v in parts.items() if term not in REPLICATED] for _, parts in _parts(campaign))
    rest = [math.sqrt(sum(variances)) for variances in each]
    if not rest:
        message = "no comparison with the baseline has an interval yet: there is nothing to plan from"
        raise MethodError(message, code="no_comparison")
    return float(np.median(rest))


def planned_seating(campaign: Campaign) -> tuple[str, Spread]:
    """Return the seating spread to plan with: that of the housing in which lamps scatter most.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of (str, Spread)
        The housing and its spread; what is planned with it holds in the others too.
    """
    return max(campaign.spreads.seating.items(), key=lambda item: item[1].sd)


@dataclass(frozen=True)
class Forecast:
    """What a plan would give for the ratio of two lamps tested alike.

    Attributes
    ----------
    specimens, mountings, readings : int
        Of each lamp; mountings a specimen, readings a mounting.
    half_width_specimens, half_width_models : float
        Half-width of the interval in ln, for the specimens on the bench and for the models. [1]
    resolvable : float
        Smallest ratio resolved with the chance `power`, for the specimens. [1]
    power : float, default 0.8
        That chance: four cases of five. [1]
    """

    specimens: int
    mountings: int
    readings: int
    half_width_specimens: float
    half_width_models: float
    resolvable: float
    power: float = 0.8


def own_plans(campaign: Campaign) -> tuple[tuple[int, int, int], ...]:
    """Return the plan of a campaign and what twice and four times the seatings or specimens would be.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    tuple of (int, int, int)
        Specimens a lamp, seatings a specimen, readings a seating; the plan of the median lamp first. [1]
    """
    counts = campaign.weights.counts
    each = counts["n_mountings"] / counts["n_specimens"], counts["n_readings"] / counts["n_mountings"]
    a, b, r = (max(1, round(float(one.median()))) for one in (counts["n_specimens"], *each))
    more = [(a, 2 * b), (a, 4 * b), (2 * a, b), (4 * a, b)]
    return tuple((*plan, r) for plan in dict.fromkeys([(a, b), (1, 1), *more]))


def forecast(campaign: Campaign, *, specimens: int, mountings: int, readings: int, floor: float) -> Forecast:
    r"""Return the half-width that a plan would give, before the test.

    .. math:: U = k \sqrt{2\,s^2 + u_0^2}

    Parameters
    ----------
    campaign : Campaign
        Its spreads are the plan's, of seatings that of `planned_seating`.
    specimens, mountings, readings : int
        Of each lamp; mountings a specimen, readings a mounting. [1]
    floor : float
        Standard uncertainty of a ratio that replication does not lower, as `shared_floor`. [1]

    Returns
    -------
    Forecast
        Half-widths in ln and the smallest resolvable ratio.
    """
    spreads = campaign.spreads
    # a lamp whose readings scatter far more keeps its own spread; a plan is for the others
    pooled = min(spread.sd for spread in spreads.reading.values())
    levels = {"specimen": 0.0, "mounting": planned_seating(campaign)[1].sd, "reading": pooled}
    counts = {"specimen": specimens, "mounting": mountings, "reading": readings}
    coverage, own = campaign.bench.settings.coverage, planned_sd(levels, counts)
    whole = planned_sd({**levels, "specimen": spreads.specimen.sd}, counts)
    k = coverage_factor(coverage, math.inf)
    specimen, model = (k * math.sqrt(2.0 * sd**2 + floor**2) for sd in (own, whole))
    shown = resolvable_ratio(own, 1, floor=floor, coverage=coverage)
    return Forecast(specimens, mountings, readings, specimen, model, shown)


def forecast_against_results(campaign: Campaign) -> pd.DataFrame:
    """Return the forecast beside the half-width that was reached, for every lamp and its own numbers.

    Parameters
    ----------
    campaign : Campaign
        The evaluated campaign.

    Returns
    -------
    DataFrame
        lamp, housing, n_mountings; forecast, models (for the models), reached: half-widths in ln against the baseline,
        but for the models for the specimens. [1]
    """
    rows = campaign.table[campaign.table["scope"] == "specimens"]
    lamps = pd.MultiIndex.from_frame(rows[["lamp", "housing", "point", "instant"]])
    counts = campaign.weights.counts.set_axis(pd.MultiIndex.from_tuples(campaign.weights.names))
    bases = lamps.map(lambda name: (campaign.baseline, *name[1:]))
    mountings, specimens = (
        1.0 / counts.loc[lamps, n].to_numpy() + 1.0 / counts.loc[bases, n].to_numpy()
        for n in ("n_mountings", "n_specimens")
    )
    seating = np.array([campaign.spreads.seating_in(housing).sd for housing in rows["housing"]])
    own = seating**2 * mountings + shared_floor(campaign) ** 2
    k = coverage_factor(campaign.bench.settings.coverage, math.inf)
    return rows[["lamp", "housing"]].assign(
        n_mountings=counts.loc[lamps, "n_mountings"].to_numpy(),
        forecast=k * np.sqrt(own),
        models=k * np.sqrt(own + campaign.spreads.specimen.sd**2 * specimens),
        reached=rows["ln_expanded_uncertainty"],
    )


def hold_choices(
    runs: Sequence[WarmUpRun], hold_s: Sequence[float], *, filament: Sequence[str] = ()
) -> pd.DataFrame:
    """Return what each hold time would still miss of the change up to the longest one.

    Parameters
    ----------
    runs : sequence of WarmUpRun
        Fitted warm-up records.
    hold_s : sequence of float
        Hold times, increasing. [s]
    filament : sequence of str
        Lamps to leave out: they do not warm up.

    Returns
    -------
    DataFrame
        hold_s, runs (whose record supports it), still_to_come (largest change of light from that time to
        the last one, in size), lamp (whose). [s], [1]
    """

    def still_to_come(fit: WarmUp, hold: float) -> float:
        return fit.remaining(hold_s[-1]).value / fit.remaining(hold).value

    rows = _choices((run for run in runs if run.lamp not in filament), hold_s, still_to_come)
    return pd.DataFrame(rows, columns=["hold_s", "runs", "still_to_come", "lamp"])


def initial_choices(
    runs: Sequence[WarmUpRun], initial_s: Sequence[float], *, late_s: float, filament: Sequence[str] = ()
) -> pd.DataFrame:
    """Return how much a late reading costs at each initial time.

    Parameters
    ----------
    runs : sequence of WarmUpRun
        Fitted warm-up records.
    initial_s : sequence of float
        Times of the first reading after switch-on. [s]
    late_s : float
        How late a reading may be. [s]
    filament : sequence of str
        Lamps to leave out.

    Returns
    -------
    DataFrame
        initial_s, runs, lost (largest change of light over `late_s`, in size), lamp. [s], [1]
    """

    def kept(fit: WarmUp, initial: float) -> float:
        return fit.remaining(initial + late_s, initial_s=initial).value

    rows = _choices((run for run in runs if run.lamp not in filament), initial_s, kept)
    return pd.DataFrame(rows, columns=["initial_s", "runs", "lost", "lamp"])


def _choices(runs: Iterable[WarmUpRun], at: Sequence[float], ratio: Ratio) -> Iterator[tuple[object, ...]]:
    """Yield each choice of an instant, the runs whose record reaches it, the largest change it leaves, and whose."""
    fits = [(run.fit, run.lamp) for run in runs if run.fit is not None]
    for choice in at:
        changes = []
        for fit, lamp in fits:
            with suppress(MethodError):
                changes.append((abs(ratio(fit, choice) - 1.0), lamp))
        yield choice, len(changes), *max(changes, default=(math.nan, ""))
