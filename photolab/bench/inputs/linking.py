"""Link two meters: one factor a technology, from lamps read on both; readings of the one are brought to the other.

A filament lamp and an LED lamp need different factors because the meters' colour responses differ. At least
three lamps of
a technology establish a link; specimens of one lamp make it provisional, because they share that lamp's colour.
"""

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import stats

from photolab.errors import MethodError
from photolab.metrology.quantity import COVERAGE

LEAST_LAMPS = 3
SAME_RESULT = ["lamp", "housing", "measurand", "point", "instant", "scope"]
"""What a result is, whichever its verdict."""
LINKED = ["linked_lx", "link_u", "link", "link_refused"]
"""What stands beside a reading once it was converted."""
LEVEL_SIGNIFICANCE = 0.05
"""Below this chance a factor is said to depend on the level. [1]"""


def technology_links(table: pd.DataFrame, *, coverage: float = COVERAGE) -> pd.DataFrame:
    """Return the factor new/old of each technology.

    Parameters
    ----------
    table : DataFrame
        Columns of links.csv: lamp, technology, old_meter, new_meter, old_lx, new_lx; specimen and housing may be there.
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    DataFrame
        technology, old_meter, new_meter, factor, low, high, n (lamps), readings, dof, ln_standard_uncertainty,
        established,
        level_constant, level_p. The factor turns an old reading into a new one.

    Raises
    ------
    MethodError
        If there is no link at all, or the meters of one technology are named both ways round.

    Notes
    -----
    Lamp means of ln(new/old) are averaged; their scatter, t with n - 1 degrees of freedom, makes the interval.
    With one or
    two lamps the interval comes from single readings and the link is not established.
    """
    if table.empty:
        message = "links.csv has no row; read at least 3 lamps of each technology on both meters"
        raise MethodError(message, code="no_link")
    named = set(zip(table["old_meter"], table["new_meter"], strict=True))
    for old, new in named:
        if (new, old) in named:
            both = f"{old} to {new} and back"
            message = f"links.csv names the meters both ways round: {both}; write old and new"
            raise MethodError(message, code="meters_swapped")
    keys = ["technology", "old_meter", "new_meter"]
    groups = table.groupby(keys, sort=False)
    return pd.DataFrame(
        [dict(zip(keys, map(str, k), strict=True)) | _link(block, coverage) for k, block in groups]
    )


SEATED = ["lamp", "specimen", "housing", "day", "mounting", "point", "instant"]


def links_to(
    meter: str, links: pd.DataFrame, readings: pd.DataFrame, technologies: Mapping[str, str]
) -> pd.DataFrame:
    """Return what brings readings of other meters to one: from links.csv either way round, and from readings.

    Parameters
    ----------
    meter : str
        The meter that readings are brought to.
    links : DataFrame
        Columns of links.csv.
    readings : DataFrame
        Readings with `SEATED`, meter and net_lx: a seating read on both meters links them like a row of links.csv.
    technologies : mapping
        Lamp to technology.

    Returns
    -------
    DataFrame
        As `technology_links`, `new_meter` being the one; empty where nothing links to it.
    """
    turned = {"old_meter": "new_meter", "new_meter": "old_meter", "old_lx": "new_lx", "new_lx": "old_lx"}
    back = links[links["old_meter"] == meter].rename(columns=turned)
    columns = ["lamp", "technology", "old_meter", "new_meter", "old_lx", "new_lx"]
    known = pd.concat([links[links["new_meter"] == meter], back], ignore_index=True)[columns]
    means = readings.groupby([*SEATED, "meter"], sort=False)["net_lx"].mean().reset_index()
    both = means[means["meter"] != meter].merge(means[means["meter"] == meter], on=SEATED)
    names = {"meter_x": "old_meter", "net_lx_x": "old_lx", "net_lx_y": "new_lx"}
    kinds = both["lamp"].map(technologies).fillna("")
    seated = both.rename(columns=names).assign(technology=kinds, new_meter=meter)
    seated = seated.loc[seated["technology"] != "", columns]
    table = pd.concat([part for part in (known, seated) if len(part)]) if len(known) + len(seated) else known
    return technology_links(table) if len(table) else pd.DataFrame(columns=[*columns[1:4], "established"])


def _link(block: pd.DataFrame, coverage: float) -> dict[str, object]:
    """Return the link of one technology."""
    ln = np.log(block["new_lx"].to_numpy(float) / block["old_lx"].to_numpy(float))
    lamps = pd.Series(ln).groupby(block["lamp"].to_numpy(), sort=False).mean()
    established = len(lamps) >= LEAST_LAMPS
    sample = lamps.to_numpy() if established else ln
    dof = len(sample) - 1
    u = float(sample.std(ddof=1) / math.sqrt(len(sample))) if dof > 0 else math.nan
    middle = float(lamps.mean())
    half = float(stats.t.ppf(0.5 + coverage / 2.0, dof)) * u if dof > 0 else math.nan
    _, p = level_slope(block)
    return {
        "factor": math.exp(middle),
        "low": math.exp(middle - half),
        "high": math.exp(middle + half),
        "n": len(lamps),
        "readings": len(block),
        "dof": dof,
        "ln_standard_uncertainty": u,
        "established": established,
        "level_constant": not p < LEVEL_SIGNIFICANCE,
        "level_p": p,
    }


def level_slope(block: pd.DataFrame) -> tuple[float, float]:
    """Return how the factor of one technology changes with the level of light.

    Parameters
    ----------
    block : DataFrame
        Rows of one technology: old_lx, new_lx.

    Returns
    -------
    tuple of float
        Slope of ln(new/old) on ln(old), by least squares, and the chance of such a slope when there is none; NaN
        where it cannot be told. [1]
    """
    x = np.log(block["old_lx"].to_numpy(float))
    y = np.log(block["new_lx"].to_numpy(float)) - x
    if len(block) < LEAST_LAMPS or np.ptp(x) < 1e-9:
        return math.nan, math.nan
    fit = stats.linregress(x, y)
    return float(fit.slope), float(fit.pvalue) if np.ptp(y) > 0 else 1.0


def converted(readings: pd.DataFrame, technologies: dict[str, str], links: pd.DataFrame) -> pd.DataFrame:
    """Return readings of an old meter on the new meter's scale, in new columns.

    Parameters
    ----------
    readings : DataFrame
        Rows of readings.csv; they are not changed.
    technologies : dict
        Lamp to technology.
    links : DataFrame
        From `technology_links`.

    Returns
    -------
    DataFrame
        The rows with linked_lx, link_u (relative standard uncertainty) and link (provenance; blank where
        nothing was linked,
        with the reason in link_refused). [lx], [1]
    """
    by = {(row["technology"], row["old_meter"]): row for row in links.to_dict("records")}
    rows = []
    for lamp, meter, lux in zip(readings["lamp"], readings["meter"], readings["illuminance_lx"], strict=True):
        technology = technologies.get(lamp, "")
        link = by.get((technology, meter))
        if link is None:
            why = f"no link for {technology or 'an unknown technology'}"
            rows.append((math.nan, math.nan, "", why if meter in {m for _, m in by} else ""))
            continue
        kind = "link" if link["established"] else "provisional link"
        lamps = f"{link['n']} {'lamp' if link['n'] == 1 else 'lamps'}"
        words = f"{kind} {link['old_meter']} to {link['new_meter']}, {technology}, {lamps}"
        rows.append((float(lux) * float(link["factor"]), float(link["ln_standard_uncertainty"]), words, ""))
    return readings.assign(**pd.DataFrame(rows, readings.index, LINKED))


def changed_verdicts(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return which verdicts differ between two evaluations.

    Parameters
    ----------
    before, after : DataFrame
        `Campaign.table` of both.

    Returns
    -------
    DataFrame
        `SAME_RESULT`, before, after, ratio_before, ratio_after; rows whose verdict changed.
    """
    first, then = (table.rename(columns={"value": "ratio"}) for table in (before, after))
    both = first.merge(then, on=SAME_RESULT, suffixes=("_before", "_after"))
    both = both[both["verdict_before"] != both["verdict_after"]]
    columns = {"verdict_before": "before", "verdict_after": "after"}
    told = both[[*SAME_RESULT, *columns, "ratio_before", "ratio_after"]]
    return told.rename(columns=columns).reset_index(drop=True)
