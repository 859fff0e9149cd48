"""What the colour of the light does on this bench: index, factors, and a comparison with and without them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.bench import corrections as steps
from photolab.bench.campaign import Campaign
from photolab.bench.evaluation import evaluate
from photolab.bench.model import Bench, Spectrum
from photolab.photometry.spectrum import (
    correction_uncertainty,
    illuminant_a,
    mismatch_index,
    photopic_efficiency,
)

WAYS = ("ignored", "declared", "corrected")
"""Colour ignored; covered by the declared index of the meter; corrected with spectra or a stated factor."""
GRID_NM = np.arange(steps.WINDOW_NM[0], steps.WINDOW_NM[1] + 1.0)
"""Grid of the integrals. [nm]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MeterColour:
    """How well a meter follows the eye.

    Attributes
    ----------
    meter : str
        The meter.
    declared_percent, computed_percent : float
        General mismatch index f1': from bench.toml, and from the responsivity on file (NaN without one). [%]
    factors : DataFrame
        One row a lamp with a factor: lamp, technology, factor (reading times factor is the corrected value), u
        (relative standard uncertainty), own_spectrum.
    """

    meter: str
    declared_percent: float
    computed_percent: float
    factors: pd.DataFrame


@dataclass(frozen=True)
class ColourRatio:
    """How much more a meter reads on one lamp than on another of equal light.

    Attributes
    ----------
    meter, lamp, against : str
        Which.
    ratio : float
        Reading ratio of two lamps that give equal light. [1]
    u : float
        Relative standard uncertainty, not less than the declared floor. [1]
    one_nm : float
        Relative change when the responsivity is moved by 1 nm; NaN without spectra. [1]
    coarse : float
        The ratio from sums over every fifth nanometre, as a check; NaN without spectra. [1]
    """

    meter: str
    lamp: str
    against: str
    ratio: float
    u: float
    one_nm: float
    coarse: float


def meter_colour(bench: Bench, meter: str) -> MeterColour:
    """Return index and factors of a meter.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter : str
        The meter.

    Returns
    -------
    MeterColour
        What the folder says about its colour.
    """
    responsivity = spectrum_of(bench, "responsivity", meter)
    computed = math.nan
    if responsivity is not None:
        computed = 100.0 * mismatch_index(GRID_NM, on_grid(responsivity))
    rows = []
    for lamp, technology in zip(
        bench.tables["lamps"]["lamp"], bench.tables["lamps"]["technology"], strict=True
    ):
        found = steps.spectral_factor(bench, meter, str(lamp), str(technology))
        if found is not None:
            rows.append((str(lamp), str(technology), *found))
    factors = pd.DataFrame(rows, columns=["lamp", "technology", "factor", "u", "own_spectrum"])
    return MeterColour(meter, bench.meters[meter].mismatch_index_percent, computed, factors)


def colour_ratio(bench: Bench, meter: str, lamp: str, against: str) -> ColourRatio | None:
    """Return how much more a meter reads on one lamp than on another of equal light.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter, lamp, against : str
        Which.

    Returns
    -------
    ColourRatio or None
        None where a factor is missing.
    """
    known = meter_colour(bench, meter).factors.set_index("lamp")
    if lamp not in known.index or against not in known.index:
        return None
    ratio = float(known["factor"][against] / known["factor"][lamp])
    u = math.hypot(float(known["u"][lamp]), float(known["u"][against]))
    head = spectrum_of(bench, "responsivity", meter)
    sources = [spectrum_of(bench, "source", name) for name in (lamp, against)]
    if head is None or sources[0] is None or sources[1] is None:
        return ColourRatio(meter, lamp, against, ratio, u, math.nan, math.nan)
    own, other = (on_grid(s) for s in sources if s is not None)
    moved = correction_uncertainty(GRID_NM, on_grid(head), own, reference_source=other, floor=0.0)
    return ColourRatio(meter, lamp, against, ratio, u, moved, _coarse(on_grid(head), own, other))


def _coarse(head: Floats, own: Floats, other: Floats) -> float:
    """Return the reading ratio of equal light from plain sums over every fifth nanometre."""
    every = slice(None, None, 5)
    eye = photopic_efficiency(GRID_NM)[every]
    seen = [float((s[every] * head[every]).sum() / (s[every] * eye).sum()) for s in (own, other)]
    return seen[0] / seen[1]


def spectrum_of(bench: Bench, kind: str, name: str) -> Spectrum | None:
    """Return a spectrum on file.

    Parameters
    ----------
    bench : Bench
        The bench.
    kind : {"source", "responsivity"}
        Of a lamp or of a meter.
    name : str
        The lamp or the meter.

    Returns
    -------
    Spectrum or None
        None where there is none.
    """
    mine = (s for s in bench.spectra.values() if s.kind == kind)
    return next((s for s in mine if name == (s.meter if kind == "responsivity" else s.lamp)), None)


def on_grid(spectrum: Spectrum) -> Floats:
    """Return a spectrum on the grid of the integrals.

    Parameters
    ----------
    spectrum : Spectrum
        As on file.

    Returns
    -------
    ndarray
        Relative values on `GRID_NM`. [1]
    """
    return np.asarray(np.interp(GRID_NM, spectrum.wavelength_nm, spectrum.value))


def colour_curves(bench: Bench, meter: str, lamps: Iterable[str]) -> pd.DataFrame:
    """Return eye, meter and lamps over wavelength.

    Parameters
    ----------
    bench : Bench
        The bench.
    meter : str
        A meter with its responsivity on file.
    lamps : iterable of str
        Lamps with their spectra on file.

    Returns
    -------
    DataFrame
        wavelength_nm, eye, meter (scaled to read alike on illuminant A), and for each lamp ``light <lamp>`` (largest 1)
        and ``excess <lamp>`` (what the meter reads too much at that wavelength; its sum over 1 nm steps is the error
        in percent [%/nm]). Empty without a responsivity.
    """
    head = spectrum_of(bench, "responsivity", meter)
    if head is None:
        return pd.DataFrame()
    eye, lit = np.asarray(photopic_efficiency(GRID_NM)), np.asarray(illuminant_a(GRID_NM))
    seen = on_grid(head)
    scaled = seen * float((lit * eye).sum() / (lit * seen).sum())
    table = pd.DataFrame({"wavelength_nm": GRID_NM, "eye": eye, "meter": scaled})
    for lamp in lamps:
        source = spectrum_of(bench, "source", lamp)
        if source is None:
            continue
        light = on_grid(source)
        table[f"light {lamp}"] = light / light.max()
        table[f"excess {lamp}"] = 100.0 * light * (scaled - eye) / float((light * eye).sum())
    return table


def colour_ways(bench: Bench) -> dict[str, Campaign]:
    """Return the campaign evaluated with the colour ignored, declared and corrected.

    Parameters
    ----------
    bench : Bench
        The bench.

    Returns
    -------
    dict
        Out of `WAYS`; ``corrected`` is there only where spectra or a stated factor exist.
    """
    left = set(steps.ALL) - {"spectral"}
    blind = {name: replace(m, mismatch_index_percent=0.0) for name, m in bench.meters.items()}
    made = {
        "ignored": evaluate(replace(bench, meters=blind), corrections=left),
        "declared": evaluate(bench, corrections=left),
    }
    if bench.spectra or any(m.spectral_factors for m in bench.meters.values()):
        made["corrected"] = evaluate(bench)
    return made
