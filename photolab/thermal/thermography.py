"""From what a thermal camera displays to the temperature of the surface, and how far that can be believed.

A camera turns the radiance it sees into a temperature with the emissivity and the reflected temperature
that were set. Undoing that and dividing by the surface's own emissivity gives its temperature. On bare
metal most of what is seen is the room: the answer is then a lower bound at best, and a patch of tape is the
remedy.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache, partial
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from photolab.errors import MethodError, demand
from photolab.metrology.arguments import Floats, must_hold, require
from photolab.metrology.computed import kept
from photolab.metrology.monte_carlo import draws, interval
from photolab.metrology.quantity import COVERAGE, Input, Measured, apply, measured

ZERO_CELSIUS_K = 273.15
"""0 degC, exact. [K]"""


SECOND_RADIATION_CONSTANT = 14387.768775
"""h c / k of the SI of 2019. [um K]"""


BAND_UM = (8.0, 14.0)
"""Band of most uncooled thermal cameras. [um]"""


LOW_EMISSIVITY = 0.3
"""Below it a reading without a patch is a lower bound only: common practice, no source. [1]"""


SPREAD_BELOW = 0.5
"""Emissivity below which it matters whether a camera works by its band or by T^4. [1]"""


TRIALS = 10_000
"""Draws of one temperature: ends to some 0.03 K at a patch, enough for a coverage of 0.999. [1]"""


EMISSIVITY_HALF_WIDTH = {"bare": 0.05, "tape": 0.02, "paint": 0.02}
"""Assumed half-width of an emissivity by how the surface was prepared. [1]"""


@dataclass(frozen=True, eq=False)
class SurfaceReading:
    """A surface temperature and what it may be used for.

    Attributes
    ----------
    temperature : Measured
        Surface temperature, band radiance (or T^4 where `band_um` was None); its interval is that of draws. [degC]
    drawn : ndarray
        The draws, stream by stream those of `TRIALS` and seed 0. [degC]
    total_radiation : float
        Surface temperature by T^4, for comparison. [degC]
    usable : bool
        Whether lamps may be ranked by it.
    codes : tuple of str
        `lower_bound_only` (only the low end may be quoted: "at least"), `reflected_hotter_than_displayed`,
        `camera_not_considered`, `reflected_not_considered`.
    coverage : float
        Coverage of the interval that is quoted. [1]
    """

    temperature: Measured
    drawn: Floats = field(repr=False)
    total_radiation: float
    usable: bool
    codes: tuple[str, ...]
    coverage: float = COVERAGE


def surface_temperature(
    displayed: ArrayLike,
    *,
    emissivity: ArrayLike,
    set_emissivity: ArrayLike,
    reflected: ArrayLike,
    set_reflected: ArrayLike | None = None,
    band_um: tuple[float, float] | None = BAND_UM,
) -> Floats:
    r"""Return the temperature of a surface from the displayed one.

    .. math:: f(T) = \frac{S - (1 - \varepsilon) f(T_r)}{\varepsilon}, \qquad
              S = \varepsilon_s f(T_d) + (1 - \varepsilon_s) f(T_{r,s})

    with f the Planck radiance over the camera's band, or :math:`T^4`.

    Parameters
    ----------
    displayed : array_like, shape S1
        Displayed temperature :math:`T_d`. [degC]
    emissivity : array_like, shape S2
        Emissivity of the surface :math:`\varepsilon`, above 0 to 1. [1]
    set_emissivity : array_like, shape S3
        Emissivity set in the camera :math:`\varepsilon_s`. [1]
    reflected : array_like, shape S4
        Temperature of what the surface mirrors :math:`T_r`, usually the room. [degC]
    set_reflected : array_like, shape S5, optional
        Reflected temperature set in the camera :math:`T_{r,s}`; as `reflected` if not given. [degC]
    band_um : tuple of float or None, default (8, 14)
        Band of the camera; None: total radiation, T^4. [um]

    Returns
    -------
    ndarray, shape broadcast(S1, S2, S3, S4, S5)
        Surface temperature. [degC]

    Raises
    ------
    ValueError
        If an emissivity is outside 0 to 1, a temperature is not finite or below absolute zero, or the band
        is none.
    MethodError
        If there is no real solution: what is reflected alone is more than what was seen.

    Notes
    -----
    Grey, opaque, diffuse surface; no absorption on the way; flat response over the band. The wrong
    emissivity errs in proportion to 1/emissivity, so below 0.3 the answer follows the guess and not the
    lamp. An oblique view (above 50 degrees) lowers the emissivity of most surfaces.

    References
    ----------
    .. [1] M. Vollmer, K.-P. Moellmann, *Infrared Thermal Imaging*, 2nd ed., Wiley, 2018 (the radiometric
       chain; from memory).
    """
    own = _emissivity("emissivity", emissivity)
    camera = _emissivity("set_emissivity", set_emissivity)
    shown, mirrored = _kelvin("displayed", displayed), _kelvin("reflected", reflected)
    assumed = mirrored if set_reflected is None else _kelvin("set_reflected", set_reflected)
    seen = camera * radiance(shown, band_um) + (1.0 - camera) * radiance(assumed, band_um)
    emitted = np.asarray((seen - (1.0 - own) * radiance(mirrored, band_um)) / own)
    if np.any(emitted <= 0.0):
        place = tuple(np.argwhere(np.atleast_1d(emitted) <= 0.0)[0])
        shape = np.broadcast_shapes(emitted.shape, (1,))
        at = [float(np.broadcast_to(value, shape)[place]) for value in (reflected, displayed, own)]
        message = (
            f"reflected must leave some radiance to the surface; got {at[0]:g} degC with {at[1]:g} degC "
            f"displayed and emissivity {at[2]:g}: no real temperature solves this"
        )
        raise MethodError(message, code="no_real_temperature", known={"reflected": at[0], "displayed": at[1]})
    return np.asarray(temperature_of(emitted, band_um) - ZERO_CELSIUS_K)[()]


@kept(most=256)  # a bench that is read again, or in part, has most of its surfaces still
def surface_reading(
    displayed: Measured,
    *,
    method: str,
    emissivity: Measured,
    set_emissivity: float,
    reflected: Measured,
    set_reflected: float | None = None,
    band_um: tuple[float, float] | None = BAND_UM,
    coverage: float = COVERAGE,
) -> SurfaceReading:
    """Return a surface temperature with its interval, and whether lamps may be ranked by it.

    Parameters
    ----------
    displayed : Measured
        Displayed temperature. [degC]
    method : str
        How the surface was prepared: `bare`, `tape` or `paint`. [text]
    emissivity : Measured
        Emissivity of the surface. [1]
    set_emissivity : float
        The one set. [1]
    reflected : Measured
        Temperature of what the surface mirrors. [degC]
    set_reflected, band_um
        As in `surface_temperature`. [degC, um]
    coverage : float, default COVERAGE
        Coverage of the interval that is quoted. [1]

    Returns
    -------
    SurfaceReading
        Temperature, draws, codes. [degC]

    Raises
    ------
    ValueError
        As in `surface_temperature`; or if the method is unknown.
    MethodError
        If there is no real solution at the estimates, or within their limits.

    Notes
    -----
    The interval is far from symmetric at low emissivity (metal of 0.20 ± 0.05: 12 K down, 18 K up), so it
    comes from draws and not from a sensitivity. Below an emissivity of 0.5 a camera that works by T^4 and one
    that works by its band differ by some kelvin: which one it is is not known, so the difference enters as
    *model spread*, either way.

    References
    ----------
    .. [1] JCGM 101:2008.
    """
    known = method in EMISSIVITY_HALF_WIDTH
    demand(known, f"method must be one of {', '.join(EMISSIVITY_HALF_WIDTH)}", repr(method))
    assumed = reflected.value if set_reflected is None else set_reflected

    def by_law(
        band: tuple[float, float] | None, shown: ArrayLike, own: ArrayLike, mirrored: ArrayLike
    ) -> Floats:
        settings = {"set_emissivity": set_emissivity, "set_reflected": assumed, "band_um": band}
        return surface_temperature(shown, emissivity=own, reflected=mirrored, **settings)  # type: ignore[arg-type]

    estimates = (displayed.value, emissivity.value, reflected.value)
    value, total = (float(by_law(band, *estimates)) for band in (band_um, None))
    other = abs(value - total) if band_um is not None and emissivity.value < SPREAD_BELOW else 0.0
    name = ("band or T^4", *(q.name for q in displayed.parts))
    spread = Input(name, other / 2.0, law="rectangular", kind="model spread", source="assumed")
    entering = (displayed, emissivity, reflected, measured(0.0, spread))

    def either(shown: Floats, own: Floats, mirrored: Floats, apart: Floats) -> Floats:
        one = by_law(band_um, shown, own, mirrored)
        return np.where(apart > 0.0, by_law(None, shown, own, mirrored), one) if other else one

    drawn = draws(either, *entering, trials=TRIALS)
    drawn.setflags(write=False)  # one array for all who ask
    linear = apply(lambda *q: by_law(band_um, *q[:3]) + q[3], *entering, unit="degC", arrays=True)
    temperature = replace(linear, value=value, ends=cache(partial(interval, drawn)), how="by draws")
    found = {
        "lower_bound_only": method == "bare" and emissivity.value < LOW_EMISSIVITY,
        "reflected_hotter_than_displayed": reflected.value > displayed.value,
        "camera_not_considered": displayed.u == 0.0,
        "reflected_not_considered": reflected.u == 0.0,
    }
    codes = tuple(code for code, holds in found.items() if holds)
    usable = not {"lower_bound_only", "reflected_hotter_than_displayed"} & set(codes)
    return SurfaceReading(temperature, drawn, total, usable, codes, coverage)


def emissivity_from_patch(
    displayed: ArrayLike,
    patch_displayed: ArrayLike,
    *,
    patch_emissivity: ArrayLike,
    set_emissivity: ArrayLike,
    reflected: ArrayLike,
    set_reflected: ArrayLike | None = None,
    band_um: tuple[float, float] | None = BAND_UM,
    least_contrast: float = 10.0,
) -> Floats:
    r"""Return the emissivity of a surface from a patch of known emissivity, both at one temperature.

    .. math:: \varepsilon = \frac{S - f(T_r)}{f(T) - f(T_r)}

    Parameters
    ----------
    displayed : array_like
        Displayed temperature of the bare surface. [degC]
    patch_displayed : array_like
        Displayed temperature of the patch, same settings. [degC]
    patch_emissivity : array_like
        Emissivity of the tape or paint. [1]
    set_emissivity, reflected, set_reflected, band_um
        As in `surface_temperature`. [1, degC, um]
    least_contrast : float, default 10
        Least excess of the patch over the reflected temperature; common practice, no source. [K]

    Returns
    -------
    ndarray
        Emissivity of the bare surface. [1]

    Raises
    ------
    ValueError
        As in `surface_temperature`.
    MethodError
        If the patch is not warm enough over what is reflected, or no emissivity from 0 to 1 fits.

    Notes
    -----
    The patch must have taken the temperature of the surface: thin tape, some minutes.
    """
    settings: dict[str, Any] = {"set_emissivity": set_emissivity, "set_reflected": set_reflected}
    settings |= {"reflected": reflected, "band_um": band_um}
    scene: Callable[..., Floats] = partial(surface_temperature, **settings)
    patch = scene(patch_displayed, emissivity=patch_emissivity) + ZERO_CELSIUS_K
    black = scene(displayed, emissivity=1.0) + ZERO_CELSIUS_K  # as bright as what is seen of the bare surface
    mirrored = _kelvin("reflected", reflected)
    contrast = float(np.min(patch - mirrored))
    message = f"patch must be {least_contrast:g} K or more above what is reflected; got {contrast:.3g} K"
    must_hold(contrast >= least_contrast, message, code="patch_too_cool", known={"contrast": contrast})
    seen, whole, background = (radiance(one, band_um) for one in (black, patch, mirrored))
    found = np.asarray((seen - background) / (whole - background))
    message = f"emissivity from the patch must be above 0 and at most 1; got {found.ravel()[0]:.3g}"
    within = np.all((found > 0.0) & (found <= 1.0))
    must_hold(within, message, code="no_emissivity", known={"emissivity": found})
    return found[()]


def published_emissivities() -> pd.DataFrame:
    """Return published emissivities, each row with its source.

    Returns
    -------
    DataFrame
        material, condition, temperature_C, band, emissivity_low, emissivity_high, source. [1]
    """
    with (files("photolab.thermal.tables") / "emissivity.csv").open(encoding="utf-8") as stream:
        return pd.read_csv(stream)


def to_fahrenheit(temperature: ArrayLike) -> Floats:
    """Return a temperature in degrees Fahrenheit.

    Parameters
    ----------
    temperature : array_like
        Temperature. [degC]

    Returns
    -------
    ndarray
        Temperature. [degF]
    """
    return np.asarray(np.asarray(temperature, dtype=float) * 1.8 + 32.0)[()]


def rise_in_fahrenheit(rise: ArrayLike) -> Floats:
    """Return a difference of temperatures in degrees Fahrenheit: 50 K are 90 degF, no 32 is added.

    Parameters
    ----------
    rise : array_like
        Difference of temperatures. [K]

    Returns
    -------
    ndarray
        Difference of temperatures. [degF]
    """
    return np.asarray(np.asarray(rise, dtype=float) * 1.8)[()]


def _emissivity(name: str, emissivity: ArrayLike) -> Floats:
    holds = "above 0 and at most 1"
    return require(name, emissivity, lambda v: (v > 0.0) & (v <= 1.0), holds, missing=False)


def _kelvin(name: str, celsius: ArrayLike) -> Floats:
    holds = "finite and above -273.15 degC"
    return ZERO_CELSIUS_K + require(
        name, celsius, lambda v: np.isfinite(v) & (v > -ZERO_CELSIUS_K), holds, "degC", missing=False
    )


def radiance(temperature_k: ArrayLike, band_um: tuple[float, float] | None = BAND_UM) -> Floats:
    """Return the radiance of a black body over a band, in a unit of its own.

    Parameters
    ----------
    temperature_k : array_like
        Temperature. [K]
    band_um : tuple of float or None, default (8, 14)
        Band; None: T^4. [um]

    Returns
    -------
    ndarray
        Radiance, the same unit for all temperatures of one band. [any]

    Raises
    ------
    ValueError
        If the band is not 1 um or more, ascending, up to 30 um.
    """
    t = np.asarray(temperature_k, dtype=float)
    if band_um is None:
        return t**4
    per_kelvin, weights = band_nodes((float(band_um[0]), float(band_um[1])))
    x = np.multiply.outer(1.0 / t, per_kelvin)  # c2 / (wavelength T), and in its place 1/(e^x - 1)
    with np.errstate(over="ignore"):  # too cold to shine
        np.exp(x, out=x)
    x -= 1.0  # x is 0.1 at least, so that all but one digit is kept, at half the cost of expm1
    return np.asarray(np.divide(1.0, x, out=x) @ weights)


def temperature_of(emitted: Floats, band_um: tuple[float, float] | None = BAND_UM) -> Floats:
    """Return the temperature of a black body from its radiance.

    Parameters
    ----------
    emitted : ndarray
        Radiance as `radiance` returns it, more than 0. [any]
    band_um : tuple of float or None, default (8, 14)
        Band; None: T^4. [um]

    Returns
    -------
    ndarray
        Temperature, by a cubic spline of 1/T over the logarithm, which is almost straight. [K]
    """
    if band_um is None:
        return np.asarray(emitted**0.25)
    return np.asarray(1.0 / _inverse_of((float(band_um[0]), float(band_um[1])))(np.log(emitted)))


@lru_cache(maxsize=8)
def band_nodes(band_um: tuple[float, float]) -> tuple[Floats, Floats]:
    """Return c2 over the wavelength at the nodes of a band's integral, and their weights.

    Parameters
    ----------
    band_um : tuple of float
        Shortest and longest wavelength. [um]

    Returns
    -------
    tuple of ndarray
        c2 / wavelength [K], and weights [1]; 12 nodes hold 14 digits where a band is no wider than an octave.

    Raises
    ------
    ValueError
        If the band does not ascend within 1 to 30 um.
    """
    low, high = band_um
    demand(1.0 <= low < high <= 30.0, "band_um must ascend within 1 to 30 um", f"{low:g} to {high:g} um")
    nodes, weights = np.polynomial.legendre.leggauss(12 if high <= 2.0 * low else 32)
    wavelength = low + (high - low) * (nodes + 1.0) / 2.0
    return SECOND_RADIATION_CONSTANT / wavelength, weights * (wavelength / low) ** -5


@lru_cache(maxsize=8)
def _inverse_of(band_um: tuple[float, float]) -> CubicSpline:
    """Return 1/T over the logarithm of the radiance: within 1e-9 K of its inverse from 60 to 1000 K."""
    inverse = np.geomspace(1.0 / 50.0, 1.0 / 4000.0, 1000)
    return CubicSpline(np.log(radiance(1.0 / inverse, band_um)), inverse)
