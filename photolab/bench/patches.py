"""The emissivity of bare surfaces, from a patch of tape or paint beside them read at the same time."""

import math

import pandas as pd

from photolab.bench.model import Bench
from photolab.bench.surface import (
    PATCH_EMISSIVITY,
    REFLECTED_LIMIT_K,
    Row,
    Surface,
    normal_quantile,
    reflected_of,
)
from photolab.errors import MethodError
from photolab.metrology.inputs import InputQuantity
from photolab.thermal.thermography import EMISSIVITY_HALF_WIDTH, emissivity_from_patch, surface_temperature

SPOT_LIMIT_K = 0.5
"""Limit of the difference that a camera shows between two spots of one image, assumed. [K]"""


def ends_from_emissivity(one: Surface, *, coverage: float = 0.95) -> tuple[float, float]:
    """Return what the emissivity alone makes of a surface temperature, camera and mirrored room taken as exact.

    Parameters
    ----------
    one : Surface
        A camera reading with a value.
    coverage : float, default 0.95
        Coverage probability. [1]

    Returns
    -------
    tuple of float
        Low and high end; NaN where there is none. [degC]

    Notes
    -----
    The temperature falls with the emissivity, which is rectangular: the ends lie at its estimate plus and minus the
    coverage times its half-width.
    """
    reach = coverage * one.emissivity_half_width
    if math.isnan(one.value + reach):
        return math.nan, math.nan
    low, high = (
        float(
            surface_temperature(
                one.displayed, emissivity=e, set_emissivity=one.set_emissivity, reflected=one.reflected
            )
        )
        for e in (min(one.emissivity + reach, 1.0), max(one.emissivity - reach, 1e-3))
    )
    return min(low, high), max(low, high)


def patch_emissivities(bench: Bench) -> pd.DataFrame:
    """Return the emissivity of bare surfaces that were read beside a patch at the same time.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    DataFrame
        lamp, place, patch, elapsed_s [s], patch_C [degC], emissivity, low, high [1], declared (NaN where
        none) [1], code: why a row has no value, else empty.
    """
    table = bench.tables["thermal"].reset_index(drop=True)
    patches = table[table["method"].isin(["tape", "paint"])]
    pairs = table[table["method"] == "bare"].merge(
        patches, on=["lamp", "place", "elapsed_s"], suffixes=("", "_patch")
    )
    rows = [_patch_row(bench, row) for row in pairs.to_dict("records")]
    columns = [
        "lamp",
        "place",
        "patch",
        "elapsed_s",
        "patch_C",
        "emissivity",
        "low",
        "high",
        "declared",
        "code",
    ]
    return pd.DataFrame(rows, columns=columns)


def _patch_row(bench: Bench, row: Row) -> dict[str, float | str]:
    """Return the emissivity of one bare reading beside its patch."""
    patch = str(row["method_patch"])
    stated = float(row["emissivity_patch"])
    reflected, _ = reflected_of(bench, float(row["reflected_C"]), float(row["ambient_C"]))
    point = {
        "displayed": float(row["displayed_C"]),
        "patch_displayed": float(row["displayed_C_patch"]),
        "patch_emissivity": PATCH_EMISSIVITY[patch] if math.isnan(stated) else stated,
        "reflected": reflected,
    }
    width = float(row["emissivity_half_width_patch"])
    limits = {
        "displayed": SPOT_LIMIT_K,
        "patch_displayed": SPOT_LIMIT_K,
        "patch_emissivity": EMISSIVITY_HALF_WIDTH[patch] if math.isnan(width) else width,
        "reflected": REFLECTED_LIMIT_K,
    }
    value, half, code = _patch_value(point, limits, float(row["set_emissivity"]), bench.settings.coverage)
    return {
        "lamp": row["lamp"],
        "place": row["place"],
        "patch": patch,
        "elapsed_s": row["elapsed_s"],
        "patch_C": row["displayed_C_patch"],
        "emissivity": value,
        "low": value - half,
        "high": min(value + half, 1.0),
        "declared": row["emissivity"],
        "code": code,
    }


def _patch_value(
    point: dict[str, float], limits: dict[str, float], set_emissivity: float, coverage: float
) -> tuple[float, float, str]:
    """Return an emissivity with its expanded uncertainty by sensitivities, or why there is none."""
    try:
        value = float(emissivity_from_patch(**point, set_emissivity=set_emissivity))  # type: ignore[arg-type]
        variance = 0.0
        for name, limit in limits.items():
            step = -limit / 100.0
            moved = point | {name: point[name] + step}
            shift = float(emissivity_from_patch(**moved, set_emissivity=set_emissivity)) - value  # type: ignore[arg-type]
            spread = InputQuantity.from_bounds(name, point[name] - limit, point[name] + limit)
            variance += (shift / step * spread.standard_uncertainty) ** 2
    except MethodError as refused:
        return math.nan, math.nan, refused.code
    return value, normal_quantile(coverage) * math.sqrt(variance), ""
