"""Which readings enter the joint evaluation, and why the others do not.

The exclusion rule lives here: a row that the person marked `exclude = yes` (with its note) never enters; a row read
with another meter than the campaign's main one enters through a link between the two (links.csv, or seatings read
on both meters), and is listed with the reason where there is none; a row at another instant than the
initial and the hold time belongs to the warm-up. Nothing is dropped because of its value.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench.inputs.linking import LEAST_LAMPS, SEATED, links_to
from photolab.bench.terms.columns import Columns
from photolab.bench.terms.instruments import own_colour_input
from photolab.bench.terms.model import Bench
from photolab.bench.terms.schema import technology_name

HOLD_TOLERANCE = 0.05
"""Readings within this share of the hold time count as taken at hold. [1]"""
LINKS = ["technology", "old_meter", "ln", "u", "dof", "n", "established"]
"""What a link through which readings enter is, before how many entered."""
NO_LINKS = pd.DataFrame(columns=[*LINKS, "entered"])
"""Of a bench of one meter."""


@dataclass(frozen=True, eq=False)
class Selection:
    """Readings that enter, and those that do not with the reason.

    Attributes
    ----------
    readings : DataFrame
        Rows of readings.csv that enter, with `instant`: "initial" or "hold", and what brings a reading of another
        meter to the main one: `onto` (the meter whose scale it is on), `link_ln`, `link_u` (in ln), `link_dof`.
    left_out : DataFrame
        Columns line, lamp, reason.
    meter : str
        The campaign's main meter.
    baseline : str
        The lamp that the others are divided by.
    baseline_declared : bool
        False where the first lamp in row order stands in.
    links : DataFrame
        The links through which readings entered: technology, old_meter, n (lamps), established, u, dof, entered.
    """

    readings: pd.DataFrame
    left_out: pd.DataFrame
    meter: str
    baseline: str
    baseline_declared: bool
    links: pd.DataFrame

    @property
    def through(self) -> list[dict[Any, Any]]:
        """The links, one by one."""
        return self.links.to_dict("records") if len(self.links) else []


def baseline_lamp(bench: Bench) -> tuple[str, bool]:
    """Return the baseline lamp and whether it was declared.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    tuple of (str, bool)
        The first lamp with role "baseline", else the first lamp of readings.csv.
    """
    lamps = bench.tables["lamps"]
    read = set(bench.tables["readings"]["lamp"].unique())
    for lamp, role in zip(lamps["lamp"], lamps["role"], strict=True):
        if role == "baseline" and lamp in read:
            return str(lamp), True
    return str(bench.tables["readings"]["lamp"].iloc[0]), False


def main_meter(readings: pd.DataFrame) -> str:
    """Return the meter with the most readings; the first of equals.

    Parameters
    ----------
    readings : DataFrame
        Rows of readings.csv.

    Returns
    -------
    str
        Its id.
    """
    by = Columns(readings).groups("meter")
    return str(readings["meter"].iloc[by.first[np.argmax(by.size)]])


def instants(bench: Bench) -> NDArray[np.str_]:
    """Return for each reading "initial", "hold" or "" by its time since switch-on.

    Parameters
    ----------
    bench : Bench
        The bench; a blank elapsed_s counts as the declared initial time.

    Returns
    -------
    ndarray of str
        One entry a row of readings.csv.
    """
    settings = bench.settings
    elapsed = bench.tables["readings"]["elapsed_s"].to_numpy(float)
    window = max(settings.initial_window_s, 1.0)
    initial = np.isnan(elapsed) | (np.abs(elapsed - settings.initial_s) <= window)
    hold_s = 60.0 * settings.hold_minutes
    hold = np.abs(elapsed - hold_s) <= HOLD_TOLERANCE * hold_s
    return np.select([initial, hold], [np.array("initial"), np.array("hold")], np.array(""))


def select(bench: Bench, *, leave_out: dict[str, str] | None = None) -> Selection:
    """Select the readings of the joint evaluation.

    Parameters
    ----------
    bench : Bench
        The bench.
    leave_out : dict, optional
        Column to value: rows with all these values are left out (``{"lamp": "K8", "mounting": "2"}``).

    Returns
    -------
    Selection
        What enters, what does not, and why.
    """
    given = bench.tables["readings"]
    meter = main_meter(given)
    instant = instants(bench)
    reason = np.full(len(given), "", dtype=object)
    reason[instant == ""] = "not read at the initial or the hold time"
    net = given["illuminance_lx"].to_numpy(float) - np.nan_to_num(given["dark_lx"].to_numpy(float))
    readings = given.assign(instant=instant, onto=given["meter"], link_ln=0.0, link_u=0.0, link_dof=math.inf)
    usable = (net > 0) & (instant != "")
    links = NO_LINKS.copy()  # a table of its own: nobody writes into that of other benches
    if (usable & (given["meter"].to_numpy() != meter)).any():
        readings, refused, links = _linked(
            bench, readings, readings[usable].assign(net_lx=net[usable]), meter
        )
        reason[refused.index] = refused
    reason[net <= 0] = "the dark reading is as large as the reading"
    if leave_out:
        same = [np.asarray(readings[c].astype(str) == str(value)) for c, value in leave_out.items()]
        named = ", ".join(f"{c} {v}" for c, v in leave_out.items())
        reason[np.logical_and.reduce(same)] = f"left out on request: {named}"
    out, excluded = reason != "", bench.excluded
    listed = pd.DataFrame(
        {
            "line": [*readings["line"].to_numpy()[out], *excluded["line"]],
            "lamp": [*readings["lamp"].to_numpy()[out], *excluded["lamp"]],
            "reason": [*reason[out], *(f"excluded: {note}" for note in excluded["note"])],
        }
    )
    baseline, declared = baseline_lamp(bench)
    entered = readings[~out].reset_index(drop=True) if out.any() else readings
    if len(links):
        through = entered[entered["onto"] != entered["meter"]]
        count = through.value_counts(["link_ln", "meter"], sort=False).rename("entered")
        links = links.join(count, on=["ln", "old_meter"], how="inner")
    return Selection(entered, listed, meter, baseline, declared, links)


def _linked(
    bench: Bench, readings: pd.DataFrame, usable: pd.DataFrame, meter: str
) -> tuple[pd.DataFrame, "pd.Series[str]", pd.DataFrame]:
    """Return the readings with what brings them to one meter, why some stay out by row, and the links."""
    other = usable[usable["meter"] != meter]
    refused = pd.Series("", index=other.index, dtype=object)
    technologies = bench.technologies
    named = usable[usable["mounting"] != ""]  # a blank mounting may be two seatings: it links nothing
    found = links_to(meter, bench.tables["links"], named, technologies)
    by = {(link["technology"], link["old_meter"]): link for link in found.to_dict("records")}
    links = []
    of_lamp = other["lamp"].map(technologies).fillna("")
    for (own, technology), block in other.groupby(["meter", of_lamp], sort=False):
        link = by.get((technology, own))
        refused[block.index] = why = _refusal(bench, link, str(own), meter, str(technology))
        if link is not None and not why:
            u, dof = _link_doubt(bench, link, str(own), meter)
            ln = math.log(link["factor"])
            readings.loc[block.index, ["link_ln", "link_u", "link_dof"]] = ln, u, dof
            readings.loc[block.index, "onto"] = meter
            links.append((technology, own, ln, u, dof, link["n"], link["established"]))
    main = pd.MultiIndex.from_frame(named.loc[named["meter"] == meter, SEATED])
    both = other.loc[pd.MultiIndex.from_frame(other[SEATED]).isin(main), "meter"]
    refused[both.index] = "read with " + both + f" in a seating read with {meter} too: it serves their link"
    return readings, refused[refused != ""], pd.DataFrame(links, columns=LINKS)


def _refusal(bench: Bench, link: Mapping[Any, Any] | None, own: str, meter: str, technology: str) -> str:
    """Return why readings of another meter stay out; blank where a link brings them in."""
    said = f"read with {own}, the others with {meter}"
    technology = technology_name(technology)
    lamps = f"{LEAST_LAMPS} {technology} lamps"
    if not technology:
        return f"{said}: write the technology of the lamp in lamps.csv, a link holds for one"
    if link is None:
        return f"{said}: no link of the two for {technology} lamps; read {lamps} with both (links.csv)"
    if link["established"]:
        return ""
    found = f"{said}: the link for {technology} lamps rests on {link['n']} of them"
    if math.isnan(link["ln_standard_uncertainty"]):
        return f"{found} and one pair of readings; read {lamps} with both (links.csv)"
    if bench.settings.accept_provisional:
        return ""
    return f"{found}; read {lamps} with both (links.csv), or write accept_provisional = true under [links]"


def _link_doubt(bench: Bench, link: Mapping[Any, Any], *meters: str) -> tuple[float, float]:
    """Return the standard uncertainty of a link in ln, and its degrees of freedom.

    The scatter between three lamps shows their own colours; fewer lamps do not, so each meter's are added.
    """
    u, dof = float(link["ln_standard_uncertainty"]), float(link["dof"])
    if link["established"] or link["technology"] == "filament":
        return u, dof
    own = [own_colour_input(bench.meters[m], "", "like").u for m in meters]
    whole = math.sqrt(u**2 + sum(one**2 for one in own) / float(link["n"]))
    return whole, dof * (whole / u) ** 4 if u > 0.0 else math.inf
