"""What the readings of a distance run may be off by: each by itself, and all of them together."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from photolab.bench import corrections as steps
from photolab.bench import instruments
from photolab.bench.model import Bench, Housing, Meter
from photolab.metrology.precision import pooled_sd

TAPE_LIMIT_MM = 10.0
"""Limit of a distance where the housing states none, assumed. [mm]"""
READING_SD = 0.004
"""Relative scatter of a reading where nothing is repeated, assumed. [1]"""


@dataclass(frozen=True)
class SharedTerms:
    """What all readings of a run have in common, as standard uncertainties.

    Attributes
    ----------
    additive_lx : float
        Additive error of the range, or of the dark reading where one was taken. [lx]
    zero_m, placement_m : float
        Zero of the tape, common to the run; each placement by itself. [m]
    offset_m : float
        Of the declared photometric centre. [m]
    relative : mapping
        Relative terms by name: ``scale``, ``linearity``, ``colour``, ``supply``. [1]
    additive_from : str
        ``dark reading``, ``manual`` or ``ignored``.
    """

    additive_lx: float
    zero_m: float
    placement_m: float
    offset_m: float
    relative: Mapping[str, float]
    additive_from: str

    @property
    def scale(self) -> float:
        """All relative terms together. [1]."""
        return math.sqrt(sum(u**2 for u in self.relative.values()))


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
    """
    top = float(block["range_lx"].max())
    seen = "dark" in wanted and bool(block["dark_lx"].notna().all())
    step = instruments.resolution_lx(meter, top)
    additive = instruments.range_input(meter, top, (f"{top:g}",)).standard_uncertainty
    additive = step / math.sqrt(12.0) if seen else additive if range_term else 0.0
    scale = [u.standard_uncertainty for u in instruments.scale_inputs(meter)]
    relative = {
        "scale": instruments.scale_loading(meter, top) * math.hypot(*scale),
        "linearity": instruments.linearity_input(meter, (f"{top:g}", "", "")).standard_uncertainty,
        "colour": colour_u(meter, rows),
        "supply": supply_u(bench, rows),
    }
    stated = not math.isnan(housing.distance_uncertainty_mm)
    tape = (housing.distance_uncertainty_mm if stated else TAPE_LIMIT_MM) / 1000.0 / math.sqrt(3.0)
    terms = SharedTerms(
        additive_lx=additive,
        zero_m=tape / math.sqrt(2.0),
        placement_m=tape / math.sqrt(2.0),
        offset_m=housing.offset_uncertainty_mm / 1000.0 / math.sqrt(3.0),
        relative=relative,
        additive_from="dark reading" if seen else "manual" if range_term else "ignored",
    )
    assumed = ["half of the distance's variance common to the run, half each placement's own"]
    assumed += [] if stated else [f"distance within {TAPE_LIMIT_MM:g} mm"]
    if "offset_mm" not in housing.declared:
        assumed.append(f"photometric centre at the face within {housing.offset_uncertainty_mm:g} mm")
    return terms, assumed


def colour_u(meter: Meter, rows: pd.DataFrame) -> float:
    """Return the relative standard uncertainty from the colour of the light.

    Parameters
    ----------
    meter : Meter
        The meter.
    rows : DataFrame
        Corrected rows of one lamp.

    Returns
    -------
    float
        That of the correction, else the declared index of the meter. [1]
    """
    if rows.empty:
        return 0.0
    corrected = float(rows["spectral_u"].iloc[0])
    technology = str(rows["technology"].iloc[0])
    if not math.isnan(corrected):
        return corrected
    return instruments.colour_input(meter, technology).standard_uncertainty


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
    mine = bench.tables["readings"]
    mine = mine[mine["lamp"] == lamp]
    net = mine["illuminance_lx"] - mine["dark_lx"].fillna(0.0)
    keys = ["specimen", "housing", "day", "mounting", "point", "elapsed_s", "meter", "range_lx"]
    whole = mine.assign(ln=np.log(net.where(net > 0)))[(net > 0) & (mine["mounting"] != "")]
    groups += [g["ln"].to_numpy(float) for _, g in whole.groupby(keys, dropna=False) if len(g) > 1]
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
        For the placements.

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
        d = float(distance)  # type: ignore[arg-type]
        moved = 2.0 * value * d * math.hypot(shared.placement_m, shared.zero_m)
        made.append((d, value, own, count, value * d**2, math.hypot(own * d**2, moved)))
    names = ["distance_m", "illuminance_lx", "u_lx", "repeats", "product_cd", "product_u_cd"]
    return pd.DataFrame(made, columns=names)
