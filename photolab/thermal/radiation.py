"""Black-body radiance over the band of a camera, and the temperature that has it."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SECOND_RADIATION_CONSTANT = 14387.768775
"""h c / k of the SI of 2019. [um K]"""
BAND_UM = (8.0, 14.0)
"""Band of most uncooled thermal cameras. [um]"""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(32)


def radiance(temperature_k: ArrayLike, band_um: tuple[float, float] | None = BAND_UM) -> Array:
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
    return t**4 if band_um is None else _planck(t, band_um)[0]


def _planck(t: Array, band_um: tuple[float, float]) -> tuple[Array, Array]:
    """Return band radiance and its derivative by temperature, Gauss-Legendre over the wavelengths."""
    low, high = band_um
    if not 1.0 <= low < high <= 30.0:
        message = f"band_um must ascend within 1 to 30 um; got {low:g} to {high:g} um"
        raise ValueError(message)
    wavelength = low + (high - low) * (NODES + 1.0) / 2.0
    x = SECOND_RADIATION_CONSTANT / np.multiply.outer(t, wavelength)
    decay = np.exp(-x)
    spectral = WEIGHTS * (wavelength / low) ** -5 * decay / (1.0 - decay)
    slope = spectral * x / (1.0 - decay)
    return spectral.sum(axis=-1), slope.sum(axis=-1) / t


@lru_cache(maxsize=8)
def _start_table(band_um: tuple[float, float]) -> tuple[Array, Array]:
    inverse = np.linspace(1.0 / 4000.0, 1.0 / 60.0, 800)
    return np.log(_planck(1.0 / inverse, band_um)[0])[::-1].copy(), inverse[::-1].copy()


def temperature_of(emitted: Array, band_um: tuple[float, float] | None = BAND_UM) -> Array:
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
        Temperature, by Newton's method on the logarithm against 1/T, which is almost straight. [K]
    """
    if band_um is None:
        return np.asarray(emitted**0.25)
    logarithms, inverses = _start_table((float(band_um[0]), float(band_um[1])))
    wanted = np.log(emitted)
    inverse = np.interp(wanted, logarithms, inverses)
    for _ in range(2):
        value, slope = _planck(1.0 / inverse, band_um)
        inverse = inverse + (np.log(value) - wanted) * value * inverse**2 / slope
    return np.asarray(1.0 / inverse)
