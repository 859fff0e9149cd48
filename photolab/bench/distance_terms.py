"""What the readings of a distance run may be off by: each by itself, and all of them together."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.columns import Columns
from photolab.bench.model import Bench, Housing, Meter
from photolab.metrology.precision import pooled_sd
from photolab.metrology.quantity import Input, limits

TAPE_LIMIT_MM = 10.0
"""Limit of a distance where the housing states none, assumed. [mm]"""
READING_SD = 0.004
"""Relative scatter of a reading where nothing is repeated, assumed. [1]"""


Parts = tuple[tuple[Input, float], ...]
"""Inputs, each with its relative sensitivity."""


@dataclass(frozen=True)
class SharedTerms:
    """What all readings of a run have in common, and what each has by itself beside its scatter.

    Attributes
    ----------
    additive : Input
        Additive error of the range; exact where a dark reading was taken off or it is ignored. [lx]
    zero, centre : Input
        Zero of the tape, common to the run; the declared photometric centre. [m]
    relative : mapping of str to tuple of (Input, float)
        Relative inputs by name: ``scale``, ``colour``, ``supply``. [1]
    placement_m, dark_lx, linearity : float
        Standard uncertainties of each reading by itself: its placement [m], its dark reading [lx], and the
        linearity of its level, relative [1].
    additive_from : str
        ``dark reading``, ``manual`` or ``ignored``.
    """

    additive: Input
    zero: Input
    centre: Input
    relative: Mapping[str, Parts]
    placement_m: float
    dark_lx: float
    linearity: float
    additive_from: str

    def relative_u(self, *names: str) -> float:
        """Return the relative standard uncertainty that some of the relative inputs bring together."""
        parts = [part for name in names or self.relative for part in self.relative[name]]
        return math.sqrt(math.fsum((c * q.u) ** 2 for q, c in parts))

    def acting(self, value: float) -> Parts:
        """Return the relative inputs with their sensitivities at a value."""
        return tuple((q, c * value) for parts in self.relative.values() for q, c in parts)


def shared_terms(
    bench: Bench,
    block: pd.DataFrame,
    rows: pd.DataFrame,
    meter: Meter,
    housing: Housing,
    wanted: frozenset[str],
    range_term: bool,
) -> tuple[SharedTerms, list[str]]:
    """Return what the readings of a run share, and which of it is assumed.

    Parameters
    ----------
    bench : Bench
        The bench.
    block, rows : DataFrame
        The run as read, and its corrected rows.
    meter : Meter
        The meter.
    housing : Housing
        The housing.
    wanted : frozenset of str
        Corrections asked for.
    range_term : bool
        Count the additive error of the range.

    Returns
    -------
    tuple of (SharedTerms, list of str)
        The terms, and the defaults among them.

    Notes
    -----
    The linearity errs at each level within its limit, and a dark reading of 0 may be half a step below or
    above: both enter each reading. Taken as common and exact they refuse four sound runs in ten.
    """
    first = block.iloc[0]
    run = (str(first["run"]), str(first["lamp"]), housing.id)
    top = float(block["range_lx"].max())
    seen = "dark" in wanted and bool(block["dark_lx"].notna().all())
    manual = instruments.range_input(meter, top, (f"{top:g}",))
    exact = Input(("no range term", *run), 0.0, kind="range term")
    stated = not math.isnan(housing.distance_uncertainty_mm)
    tape = (housing.distance_uncertainty_mm if stated else TAPE_LIMIT_MM) / 1000.0 / math.sqrt(3.0)
    source = "manual" if stated else "assumed"
    terms = SharedTerms(
        additive=exact if seen or not range_term else manual,
        zero=Input(("tape zero", *run), tape / math.sqrt(2.0), kind="distance", source=source),
        centre=centre_input(housing),
        relative={
            "scale": scale_parts(meter, top),
            "colour": ((colour_input(meter, rows), 1.0),),
            "supply": (
                (Input(("supply", *run), supply_u(bench, rows), kind="supply", source="assumed"), 1.0),
            ),
        },
        placement_m=tape / math.sqrt(2.0),
        dark_lx=instruments.resolution_lx(meter, top) / math.sqrt(12.0) if seen else 0.0,
        linearity=instruments.linearity_input(meter, (f"{top:g}", "", "")).u,
        additive_from="dark reading" if seen else "manual" if range_term else "ignored",
    )
    assumed = ["half of the distance's variance common to the run, half each placement's own"]
    assumed += [] if stated else [f"distance within {TAPE_LIMIT_MM:g} mm"]
    if "offset_mm" not in housing.declared:
        assumed.append(f"photometric centre at the face within {housing.offset_uncertainty_mm:g} mm")
    return terms, assumed


def centre_input(housing: Housing) -> Input:
    """Return what the declared photometric centre may be off by.

    Parameters
    ----------
    housing : Housing
        The housing.

    Returns
    -------
    Input
        One a housing. [m]
    """
    half = housing.offset_uncertainty_mm / 1000.0
    return limits(("photometric centre", housing.id), half, kind="distance", source="assumed")


def scale_parts(meter: Meter, top: float) -> Parts:
    """Return the scale of a meter on a range, relative.

    Parameters
    ----------
    meter : Meter
        The meter.
    top : float
        Top of the range. [lx]

    Returns
    -------
    tuple of (Input, float)
        Scale, and drift with a certificate. [1]
    """
    load = instruments.scale_loading(meter, top)
    return tuple((q, load) for q in instruments.scale_inputs(meter))


def colour_input(meter: Meter, rows: pd.DataFrame) -> Input:
    """Return what the colour of the light does to a reading, relative.

    Parameters
    ----------
    meter : Meter
        The meter.
    rows : DataFrame
        Corrected rows of one lamp.

    Returns
    -------
    Input
        That of the correction, else the declared index of the meter. [1]
    """
    technology = "" if rows.empty else str(rows["technology"].iloc[0])
    corrected = math.nan if rows.empty else float(rows["spectral_u"].iloc[0])
    if not math.isnan(corrected):
        return Input(
            ("colour", meter.id, technology, f"corrected {corrected:.15g}"), corrected, kind="colour"
        )
    if rows.empty:
        return Input(("colour", meter.id, technology), 0.0, kind="colour")
    return instruments.colour_input(meter, technology)


def supply_u(bench: Bench, rows: pd.DataFrame) -> float:
    """Return the relative standard uncertainty from the supply of a filament lamp.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : DataFrame
        Corrected rows of one lamp.

    Returns
    -------
    float
        0 for other lamps. [1]
    """
    if rows.empty or rows["technology"].iloc[0] != "filament":
        return 0.0
    reference = bench.settings.reference_voltage_V
    if rows["volts"].isna().any():
        return steps.FILAMENT_FLUX_EXPONENT * steps.ASSUMED_VOLTAGE_LIMIT_V / reference / math.sqrt(3.0)
    scale = steps.VOLTMETER_SCALE_PERCENT / 100.0 / math.sqrt(3.0)
    away = abs(float(np.log(reference / rows["volts"].to_numpy(float)).mean()))
    law = steps.FILAMENT_EXPONENT_U * away
    return math.hypot(steps.FILAMENT_FLUX_EXPONENT * math.hypot(steps.VOLTMETER_U_V / reference, scale), law)


def reading_scatter(bench: Bench, rows: pd.DataFrame, lamp: str) -> tuple[float, list[str]]:
    """Return the relative scatter of one reading: repeats of the run and of the lamp's seatings, pooled.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : DataFrame
        Corrected rows of the run.
    lamp : str
        The lamp.

    Returns
    -------
    tuple of (float, list of str)
        Relative standard deviation, and the default where nothing is repeated or repeats show no scatter. [1]
    """
    groups = [np.log(g["value_lx"].to_numpy(float)) for _, g in rows.groupby("distance_m") if len(g) > 1]
    every = Columns(bench.tables["readings"])
    net = every.numbers("illuminance_lx") - np.nan_to_num(every.numbers("dark_lx"))
    at = np.flatnonzero((every["lamp"] == lamp) & (net > 0) & (every["mounting"] != ""))
    mine = every.among(at)
    seated = mine.groups("specimen", "housing", "day", "mounting", "point", "elapsed_s", "meter", "range_lx")
    parts = np.split(np.log(net[at])[np.argsort(seated.code, kind="stable")], np.cumsum(seated.size)[:-1])
    groups += [part for part in parts if len(part) > 1]
    if not any(
        np.ptp(group) > 0.0 for group in groups
    ):  # one figure again and again says how coarse the display is
        return READING_SD, [f"scatter of readings {100 * READING_SD:g} %"]
    return float(pooled_sd(groups)[0]), []


def distance_points(rows: pd.DataFrame, meter: Meter, scatter: float, shared: SharedTerms) -> pd.DataFrame:
    """Return one row a distance: the mean of its repeats and what it may be off by itself.

    Parameters
    ----------
    rows : DataFrame
        Corrected rows of the run.
    meter : Meter
        The meter.
    scatter : float
        Relative scatter of one reading. [1]
    shared : SharedTerms
        For placements, linearity and the dark reading.

    Returns
    -------
    DataFrame
        distance_m, illuminance_lx, u_lx, repeats, product_cd, product_u_cd.
    """
    made = []
    for distance, block in rows.groupby("distance_m"):
        step = max(instruments.resolution_lx(meter, float(top)) for top in block["range_lx"])
        value, count = float(block["value_lx"].mean()), len(block)
        own = math.hypot(scatter * value, step / math.sqrt(12.0)) / math.sqrt(count)
        own = math.hypot(own, shared.linearity * value, shared.dark_lx)  # alike for all repeats of a level
        d = float(distance)  # type: ignore[arg-type]
        moved = 2.0 * value * d * math.hypot(shared.placement_m, shared.zero.u)
        made.append((d, value, own, count, value * d**2, math.hypot(own * d**2, moved)))
    names = ["distance_m", "illuminance_lx", "u_lx", "repeats", "product_cd", "product_u_cd"]
    return pd.DataFrame(made, columns=names)
