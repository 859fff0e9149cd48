"""Result tables as they are published: one row a lamp, housing, measurand, point, instant and scope."""

import hashlib
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from photolab.bench.inputs.electrical import measured_power
from photolab.bench.inputs.surface import surface_rows
from photolab.bench.results.beams import beam_rows, evaluate_beams
from photolab.bench.results.campaign import Campaign
from photolab.bench.results.derived import light_per_watt
from photolab.bench.results.distances import distance_rows, evaluate_distances
from photolab.bench.results.heat import fading_rows
from photolab.bench.results.ratio_table import heat_rows, with_families
from photolab.metrology.quantity import SCOPES
from photolab.metrology.reporting import END_DIGITS, VALUE_DIGITS, published_ends, significant

_UNCERTAINTIES = ("ln_expanded_uncertainty", "coverage_factor", "dof")
DICTIONARY = {
    "lamp": "the lamp, as lamps.csv names it",
    "housing": "the housing it was measured in; blank where the measurand does not depend on it",
    "measurand": "what was measured",
    "baseline": "the lamp that a ratio is taken against",
    "point": "place in the beam; place and method on the lamp; or a warm-up record and part of its light",
    "instant": "initial or hold: time since switch-on, see initial_s and hold_minutes",
    "scope": "readings: as seated; specimens: those on this bench; models: the kind of lamp",
    "value": "best estimate, in unit",
    "unit": "unit of value, low and high",
    "low": "lower end of the coverage interval",
    "high": "upper end of the coverage interval",
    "ln_expanded_uncertainty": "half-width of the interval in ln, or relative",
    "coverage": "coverage probability of the interval",
    "coverage_factor": "expanded over standard uncertainty",
    "dof": "effective degrees of freedom; inf where every part is known or assumed",
    "n_specimens": "specimens behind the value",
    "n_held": "specimens that were held to the hold time; blank where the value does not rest on them",
    "n_mountings": "seatings behind the value",
    "n_readings": "readings behind the value: after the hold time those at first, those of that time that say what is "
    "left, and those of records",
    "n_days": "days behind the value",
    "initial_s": "initial time since switch-on, seconds",
    "hold_minutes": "hold time since switch-on, minutes",
    "conditions": "conditions under which the value holds",
    "corrections": "corrections that changed a reading; of light, any reading of the campaign",
    "assumed": "declared defaults that entered",
    "verdict": "clear, alike, inside or no_answer; blank for values that are no comparison",
    "protocol_revision": "revision of the protocol, from bench.toml",
    "data_hash": "fingerprint of all input files",
    "family_low": "lower end of the interval as one of all pairs of lamps of that housing and instant",
    "family_high": "its upper end; blank, as the others of the family, where a value is no ratio of lamps at one place",
    "family_verdict": "verdict by that interval: the one to quote where several lamps are compared",
}
"""Columns of results.csv in their order, and what each means."""
COLUMNS = tuple(DICTIONARY)


def data_hash(hashes: Mapping[str, str]) -> str:
    """Return one fingerprint of all input files.

    Parameters
    ----------
    hashes : mapping
        File name to sha256.

    Returns
    -------
    str
        First 16 hexadecimal digits of the sha256 over names and hashes in order.
    """
    text = "".join(f"{name} {hashes[name]}\n" for name in sorted(hashes))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def results(campaign: Campaign) -> pd.DataFrame:
    """Return every result of a campaign.

    Parameters
    ----------
    campaign : Campaign
        The evaluation.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`, in the order of lamps.csv, then housing, measurand, point, instant, scope; values
        to 6 significant digits, interval ends and uncertainties to 4.
    """
    bench = campaign.bench
    heat = heat_rows(campaign)
    ratios = [part for part in (campaign.table, heat) if len(part)]
    per_watt = [light_per_watt(campaign, part) for part in ratios]
    runs = evaluate_distances(bench, corrections=campaign.enabled)
    beams = evaluate_beams(bench, corrections=campaign.enabled, baseline=campaign.baseline)
    light = (distance_rows(bench, results=runs), beam_rows(bench, beams=beams))
    other = (measured_power(bench), *per_watt, fading_rows(bench), surface_rows(bench), *light)
    parts = [part for part in (*(with_families(campaign, part) for part in ratios), *other) if len(part)]
    blank = dict.fromkeys(COLUMNS, math.nan) | {
        "protocol_revision": bench.settings.protocol_revision,
        "data_hash": data_hash(bench.hashes),
        "family_verdict": "",
    }
    cells = {
        name: [x for part in parts for x in (part[name].tolist() if name in part else [other] * len(part))]
        for name, other in blank.items()
    }
    lamps = {lamp: k for k, lamp in enumerate(bench.tables["lamps"]["lamp"])}
    measurands, scopes = [*dict.fromkeys(cells["measurand"])], [*SCOPES]
    keys = (cells[name] for name in ("lamp", "measurand", "housing", "point", "instant", "scope"))
    ranked = [
        (lamps[lamp], measurands.index(what), *where, scopes.index(scope))
        for lamp, what, *where, scope in zip(*keys, strict=True)
    ]
    order = sorted(range(len(ranked)), key=ranked.__getitem__)
    return pd.DataFrame(_rounded({name: [values[k] for k in order] for name, values in cells.items()}))


def _rounded(cells: dict[str, list[Any]]) -> dict[str, list[Any]]:
    """Return columns with their numbers as they are published."""
    digits = {"value": VALUE_DIGITS} | dict.fromkeys(_UNCERTAINTIES, END_DIGITS)
    rounded = {name: [significant(x, count) for x in cells[name]] for name, count in digits.items()}
    for low, high in (("low", "high"), ("family_low", "family_high")):
        ends = [published_ends(a, b) for a, b in zip(cells[low], cells[high], strict=True)]
        rounded |= {low: [a for a, _ in ends], high: [b for _, b in ends]}
    return cells | rounded


def as_csv(table: pd.DataFrame) -> str:
    """Return a table as CSV text that no spreadsheet evaluates.

    Parameters
    ----------
    table : DataFrame
        Any table; numbers are written with 6 significant digits.

    Returns
    -------
    str
        UTF-8 text with LF line ends; text that begins with = + - or @ gets a leading apostrophe.
    """
    return table.map(_cell).to_csv(index=False, lineterminator="\n")


def _cell(value: Any) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | np.integer):
        return str(int(value))
    if isinstance(value, float | np.floating):
        return "" if math.isnan(value) else f"{significant(float(value), VALUE_DIGITS):.7g}"
    text = "" if value is None else str(value)
    return f"'{text}" if text.startswith(("=", "+", "-", "@")) else text
