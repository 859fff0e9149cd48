"""What would have to be wrong to change a result: leave one out, tipping points, somebody else's number."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench.campaign import Campaign
from photolab.bench.evaluation import evaluate
from photolab.bench.pairs import variance_by_term
from photolab.bench.verdicts import judge
from photolab.errors import MethodError
from photolab.metrology.agreement import normalized_error

LEVELS = {
    "mounting": ["lamp", "specimen", "housing", "day", "mounting"],
    "specimen": ["lamp", "specimen"],
    "day": ["day"],
}


def leave_one_out(campaign: Campaign, a: str, b: str, *, housing: str, level: str) -> pd.DataFrame:
    """Return a ratio with each mounting, specimen or day left out in turn.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        Lamps; the ratio is a/b.
    housing : str
        The housing.
    level : {"mounting", "specimen", "day"}
        What is left out.

    Returns
    -------
    DataFrame
        left_out, ratio, low, high, verdict, changes (True where the verdict is another); rows without an
        answer have NaN.

    Raises
    ------
    ValueError
        If the level has another name.
    """
    if level not in LEVELS:
        message = f"level must be one of {', '.join(LEVELS)}; got {level!r}"
        raise ValueError(message)
    columns = LEVELS[level]
    seats = campaign.seats
    mine = seats[seats["lamp"].isin([a, b]) & (seats["housing"] == housing)]
    before = campaign.ratio(a, b, housing=housing)
    rows = []
    for values in mine[columns].astype(str).drop_duplicates().itertuples(index=False):
        out = dict(zip(columns, values, strict=True))
        try:
            again = evaluate(campaign.bench, corrections=campaign.enabled, leave_out=out)
            pair = again.ratio(a, b, housing=housing)
            figures = (pair.ratio, pair.low, pair.high, pair.verdict)
        except MethodError:
            figures = (math.nan, math.nan, math.nan, "no_answer")
        row = dict(zip(("ratio", "low", "high", "verdict"), figures, strict=True))
        rows.append({"left_out": " ".join(values), **row, "changes": row["verdict"] != before.verdict})
    return pd.DataFrame(rows, columns=["left_out", "ratio", "low", "high", "verdict", "changes"])


def tipping_points(
    campaign: Campaign, a: str, b: str, *, housing: str, scope: str = "specimens"
) -> pd.DataFrame:
    """Return by which factor each kind of doubt would have to grow or shrink to change "clear" or "not clear".

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        Lamps; the ratio is a/b.
    housing : str
        The housing.
    scope : {"specimens", "readings", "models"}
        Which inputs count.

    Returns
    -------
    DataFrame
        kind, half_width_percent (what it alone adds, ±), factor (how many times as large or small it would
        have to be; NaN
        where this kind alone cannot change it).

    Notes
    -----
    The coverage factor is held; the half-width of the interval then equals the difference at the factor.
    """
    pair = campaign.ratio(a, b, housing=housing, scope=scope)
    if pair.result is None:
        return pd.DataFrame(columns=["kind", "half_width_percent", "factor"])
    result, k = pair.result, pair.coverage_factor
    parts, total = variance_by_term(result), result.u**2
    room = (abs(result.value) / k) ** 2
    rows = []
    for kind, part in sorted(parts.items(), key=lambda item: -item[1]):
        if part < 1e-12 * total:
            continue
        wanted = room - (total - part)
        factor = math.sqrt(wanted / part) if wanted > 0 else math.nan
        rows.append({"kind": kind, "half_width_percent": 100.0 * k * math.sqrt(part), "factor": factor})
    return pd.DataFrame(rows)


def what_if_seating(
    campaign: Campaign, a: str, b: str, *, housing: str, seating_percent: float
) -> tuple[float, str]:
    """Return the half-width and verdict of a ratio if the seating SD were another.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        Lamps; the ratio is a/b.
    housing : str
        The housing.
    seating_percent : float
        Standard deviation of seating a lamp once, in place of the campaign's. [%]

    Returns
    -------
    tuple of (float, str)
        Half-width in ln, the coverage factor held, and the verdict's code. [1]

    Raises
    ------
    ValueError
        If the SD is negative.
    MethodError
        If there is no interval.
    """
    if not seating_percent >= 0.0:
        message = f"seating_percent must be zero or more; got {seating_percent:g} %"
        raise ValueError(message)
    pair = campaign.ratio(a, b, housing=housing)
    if pair.result is None:
        message = f"no interval for {a}/{b} in {housing}: nothing to change"
        raise MethodError(message, code="no_answer", known={"ratio": pair.ratio})
    used = campaign.spreads.seating_in(housing).sd
    seated = sum(c**2 for q, c in pair.result.parts.items() if q.kind == "seating")
    variance = pair.result.u**2 + seated * ((seating_percent / 100.0) ** 2 - used**2)
    half = pair.coverage_factor * math.sqrt(variance)
    verdict = judge(math.log(pair.ratio), half, alike_percent=campaign.bench.settings.alike_percent)
    return half, verdict.code


@dataclass(frozen=True)
class OtherNumber:
    """Agreement with somebody else's ratio.

    Attributes
    ----------
    normalized_error : float
        E_n in ln; within ±1 the two agree within their expanded uncertainties (ISO 13528). [1]
    agrees : bool
        Whether they do.
    correlation : float
        Correlation that was assumed between the two results. [1]
    """

    normalized_error: float
    agrees: bool
    correlation: float


def somebody_elses(
    campaign: Campaign,
    a: str,
    b: str,
    *,
    housing: str,
    ratio: float,
    expanded_percent: float,
    correlation: float = 0.0,
) -> OtherNumber:
    """Return whether somebody else's ratio agrees with this bench.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.
    a, b : str
        Lamps; the ratio is a/b.
    housing : str
        The housing.
    ratio : float
        Somebody else's ratio. [1]
    expanded_percent : float
        Its expanded uncertainty at the same coverage. [%]
    correlation : float, default 0
        Correlation of the two results, for terms they share (the same specimen, the same kind of meter). [1]

    Returns
    -------
    OtherNumber
        E_n for the models: other specimens on another bench.
    """
    pair = campaign.ratio(a, b, housing=housing, scope="models")
    if pair.result is None:
        message = f"no interval for {a}/{b} in {housing}: nothing to compare with"
        raise MethodError(message, code="no_answer", known={"ratio": pair.ratio})
    other = math.log1p(expanded_percent / 100.0)
    e_n = float(
        np.asarray(
            normalized_error(
                math.log(pair.ratio),
                pair.ln_expanded_uncertainty,
                math.log(ratio),
                other,
                correlation=correlation,
            )
        )
    )
    return OtherNumber(e_n, abs(e_n) <= 1.0, correlation)
