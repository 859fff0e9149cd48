"""The emissivity of bare surfaces, from a patch of tape or paint beside them read at the same time."""

import math
from functools import partial

import numpy as np
import pandas as pd

from photolab.bench.inputs.surface import Surface, camera_reading, emissivity_of, mirrored_room, surfaces
from photolab.bench.terms.model import Bench
from photolab.errors import MethodError, attempt
from photolab.metrology.quantity import Measured, apply
from photolab.thermal.thermography import emissivity_from_patch, surface_temperature

SPOT_LIMIT_K = 0.5
"""Limit of the difference that a camera shows between two spots of one image, assumed. [K]"""


def ends_from_emissivity(one: Surface) -> tuple[float, float]:
    """Return what the emissivity alone makes of a surface temperature, camera and mirrored room taken as exact.

    Parameters
    ----------
    one : Surface
        A camera reading with a value.

    Returns
    -------
    tuple of float
        Low and high end at the coverage of the bench; NaN where there is none. [degC]

    Notes
    -----
    The temperature falls with the emissivity, which is rectangular: the ends lie at its estimate plus and minus the
    coverage times its half-width.
    """
    reach = one.coverage * one.emissivity_half_width
    if math.isnan(one.value + reach):
        return math.nan, math.nan
    both = [min(one.emissivity + reach, 1.0), max(one.emissivity - reach, 1e-3)]
    ends = surface_temperature(
        one.displayed, emissivity=both, set_emissivity=one.set_emissivity, reflected=one.reflected
    )
    return float(np.min(ends)), float(np.max(ends))


def emissivity_at(found: pd.DataFrame, one: Surface) -> float:
    """Return the emissivity of a bare spot from the patch beside it, of what `patch_emissivities` found.

    Parameters
    ----------
    found : DataFrame
        As `patch_emissivities` returns it.
    one : Surface
        The bare spot.

    Returns
    -------
    float
        NaN where there is none. [1]
    """
    place = (
        (found["lamp"] == one.lamp) & (found["place"] == one.place) & (found["elapsed_s"] == one.elapsed_s)
    )
    return float(found.loc[place, "emissivity"].max())


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
    read = surfaces(bench)
    bare = [one for one in read if one.method == "bare"]
    rows = [_row(one, patch) for one in bare for patch in read if patch.is_patch_beside(one)]
    return pd.DataFrame(rows, columns=_COLUMNS)


_COLUMNS = ["lamp", "place", "patch", "elapsed_s", "patch_C", "emissivity", "low", "high", "declared", "code"]


def _row(bare: Surface, patch: Surface) -> tuple[float | str, ...]:
    """Return the emissivity of one bare reading beside its patch."""
    entering = (
        *(camera_reading(one.displayed, SPOT_LIMIT_K, one.where, one.pixels) for one in (bare, patch)),
        emissivity_of(patch.emissivity, patch.emissivity_half_width, patch.where),
        mirrored_room(bare.reflected, bare.where),
    )
    radiated = partial(emissivity_from_patch, set_emissivity=bare.set_emissivity)
    found = attempt(
        apply,
        lambda shown, spot, known, room: radiated(shown, spot, patch_emissivity=known, reflected=room),
        *entering,
    )
    refused = found.code if isinstance(found, MethodError) else ""
    value = low = high = math.nan
    if isinstance(found, Measured):
        value, (low, high) = found.value, found.interval(bare.coverage)
    where = (bare.lamp, bare.place, patch.method, bare.elapsed_s, patch.displayed)
    return (*where, value, low, min(high, 1.0), bare.emissivity, refused)
