"""Published curves: V(lambda), illuminant A, black bodies, CIE LED illuminants; wavelengths in nm."""

from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from photolab.photometry.arguments import Floats, as_given, positive

_FIRST_RADIATION = 3.741771852e-16  # 2 pi h c^2, W m2, CODATA 2018 (exact constants)
_SECOND_RADIATION = 1.438776877e-2  # h c / k, m K, CODATA 2018 (exact constants)


def photopic_efficiency(wavelength: ArrayLike) -> Any:
    """Return the spectral luminous efficiency for photopic vision, V(lambda).

    Parameters
    ----------
    wavelength : array_like
        Wavelength in standard air. [nm]

    Returns
    -------
    float or ndarray
        V, 1 at 555 nm; 0 outside 360-830 nm. [1]

    Raises
    ------
    ValueError
        If a wavelength is not positive.

    Notes
    -----
    The 1 nm table is interpolated linearly, as the standard asks [1]_.

    References
    ----------
    .. [1] CIE 018:2019, The Basis of Physical Photometry.
    """
    table_wavelength, efficiency = _photopic_table()
    grid = positive("wavelength", wavelength, "nm")
    return as_given(np.asarray(np.interp(grid, table_wavelength, efficiency, left=0.0, right=0.0)))


def illuminant_a(wavelength: ArrayLike) -> Any:
    r"""Return the relative spectral power of CIE illuminant A, the light meters are calibrated to.

    .. math:: S_A = 100 \left(\frac{560}{\lambda}\right)^5
              \frac{\exp(1.435\times10^7 / (2848 \times 560)) - 1}{\exp(1.435\times10^7 / (2848 \lambda)) - 1}

    Parameters
    ----------
    wavelength : array_like
        Wavelength. [nm]

    Returns
    -------
    float or ndarray
        Relative spectral power, 100 at 560 nm. [1]

    Raises
    ------
    ValueError
        If a wavelength is not positive.

    References
    ----------
    .. [1] CIE 015:2018, Colorimetry; the formula with c2 = 1.435e7 nm K and 2848 K defines the illuminant.
    """
    grid = positive("wavelength", wavelength, "nm")
    at_560 = np.expm1(1.435e7 / (2848.0 * 560.0))
    return as_given(100.0 * (560.0 / grid) ** 5 * at_560 / np.expm1(1.435e7 / (2848.0 * grid)))


def planckian(wavelength: ArrayLike, temperature: ArrayLike) -> Any:
    r"""Return the spectral radiance of a black body.

    .. math:: L = \frac{c_1}{\pi \lambda^5 \, [\exp(c_2 / \lambda T) - 1]}

    Parameters
    ----------
    wavelength : array_like, shape S1
        Wavelength in vacuum. [nm]
    temperature : array_like, shape S2
        Temperature. [K]

    Returns
    -------
    float or ndarray, shape broadcast(S1, S2)
        Spectral radiance. [W/(m2 sr nm)]

    Raises
    ------
    ValueError
        If a wavelength or temperature is not positive.

    Notes
    -----
    A filament is close to a black body at its colour temperature in the visible only.
    """
    metres = positive("wavelength", wavelength, "nm") * 1e-9
    kelvin = positive("temperature", temperature, "K")
    exponent = np.minimum(
        _SECOND_RADIATION / (metres * kelvin), 700.0
    )  # beyond, the radiance is 0 to 300 digits
    return as_given(_FIRST_RADIATION / (np.pi * metres**5) / np.expm1(exponent) * 1e-9)


def led_illuminant(wavelength: ArrayLike, name: str) -> Any:
    """Return the relative spectral power of a published CIE LED illuminant.

    Parameters
    ----------
    wavelength : array_like
        Wavelength, 380-780. [nm]
    name : str
        Name of the illuminant, such as ``"LED-B5"``.

    Returns
    -------
    float or ndarray
        Relative spectral power; NaN outside the published 380-780 nm. [1]

    Raises
    ------
    ValueError
        If a wavelength is not positive or the name is not in the table.

    References
    ----------
    .. [1] CIE 015:2018, Colorimetry, LED illuminants, 5 nm.
    """
    table = _led_table()
    known = sorted(table["illuminant"].unique())
    if name not in known:
        message = f"name must be one of {', '.join(known)}; got {name!r}"
        raise ValueError(message)
    rows = table[table["illuminant"] == name]
    grid = positive("wavelength", wavelength, "nm")
    node, value = rows["wavelength_nm"].to_numpy(float), rows["value"].to_numpy(float)
    return as_given(np.asarray(np.interp(grid, node, value, left=np.nan, right=np.nan)))


@lru_cache(maxsize=1)
def _photopic_table() -> tuple[Floats, Floats]:
    table = _read("photopic_efficiency.csv")
    return table["wavelength_nm"].to_numpy(float), table["value"].to_numpy(float)


@lru_cache(maxsize=1)
def _led_table() -> pd.DataFrame:
    return _read("led_illuminants.csv")


def _read(name: str) -> pd.DataFrame:
    with (files("photolab.photometry.tables") / name).open(encoding="utf-8") as stream:
        return pd.read_csv(stream)
