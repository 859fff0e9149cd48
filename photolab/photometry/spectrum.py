r"""The colour of the light: V(lambda), illuminants, and what a meter's colour response does to a reading.

Wavelengths are in nanometres. Integrals run over a stated window, 380-780 nm unless another is given, on a
1 nm grid with linear interpolation: print the window with every number, for the luminous efficacy of
radiation of illuminant A is 156.2 lm/W on 380-780 nm and 122.9 lm/W on 360-830 nm.
"""

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats, as_floats, require
from photolab.photometry.colour_terms import (
    lamp_colour_half_width,
    pair_colour_half_width,
    technology_colour_half_width,
)
from photolab.photometry.curves import curve, integral, on_common_grid
from photolab.photometry.illuminants import illuminant_a, led_illuminant, photopic_efficiency, planckian

__all__ = [
    "MAXIMUM_LUMINOUS_EFFICACY",
    "WINDOW",
    "correction_uncertainty",
    "illuminant_a",
    "lamp_colour_half_width",
    "led_illuminant",
    "luminous_efficacy_of_radiation",
    "mismatch_correction",
    "mismatch_index",
    "pair_colour_half_width",
    "photopic_efficiency",
    "planckian",
    "technology_colour_half_width",
]

WINDOW = (380.0, 780.0)
"""Window of the integrals unless another is given. [nm]"""

MAXIMUM_LUMINOUS_EFFICACY = 683.002
"""K_m = 683 lm/W divided by V at 540 THz in standard air, 555.016 nm. [lm/W]"""


def luminous_efficacy_of_radiation(
    wavelength: ArrayLike, power: ArrayLike, *, window: tuple[float, float] | None = WINDOW
) -> float:
    r"""Return the luminous flux a spectrum carries for each watt of it.

    .. math:: K = K_m \frac{\int S V \, d\lambda}{\int S \, d\lambda}

    Parameters
    ----------
    wavelength : array_like, shape (n,)
        Wavelengths, increasing, steps of at most 10 nm. [nm]
    power : array_like, shape (n,)
        Spectral power, any scale. [W/nm]
    window : tuple of two floats or None, default (380, 780)
        Limits of both integrals; None for the whole spectrum given. [nm]

    Returns
    -------
    float
        Luminous efficacy of radiation. [lm/W]

    Raises
    ------
    ValueError
        If the wavelengths do not increase or the spectrum is negative or zero everywhere.
    MethodError
        If the wavelengths do not cover the window (code ``window_not_covered``).

    Notes
    -----
    The number depends on the window: radiation outside it is not counted as power.
    """
    grid, (spectrum,) = on_common_grid(window, [("power", wavelength, power)])
    in_watts = integral(grid, spectrum)
    return MAXIMUM_LUMINOUS_EFFICACY * integral(grid, spectrum * photopic_efficiency(grid)) / in_watts


def mismatch_index(
    wavelength: ArrayLike,
    responsivity: ArrayLike,
    *,
    calibration_source: ArrayLike | None = None,
    window: tuple[float, float] = WINDOW,
) -> float:
    r"""Return the general V(lambda) mismatch index f1' of a meter.

    .. math:: f_1' = \frac{\int |s^* - V| \, d\lambda}{\int V \, d\lambda}, \quad
              s^* = s \, \frac{\int S_A V \, d\lambda}{\int S_A s \, d\lambda}

    Parameters
    ----------
    wavelength : array_like, shape (n,)
        Wavelengths, increasing, steps of at most 10 nm. [nm]
    responsivity : array_like, shape (n,)
        Relative spectral responsivity of the meter. [1]
    calibration_source : array_like, shape (n,), optional
        Spectral power of the source the scaling is done with; illuminant A when not given. [W/nm]
    window : tuple of two floats, default (380, 780)
        Limits of the integrals. [nm]

    Returns
    -------
    float
        The index, as a fraction. [1]

    Raises
    ------
    ValueError
        If the wavelengths do not increase or the responsivity is negative or zero everywhere.
    MethodError
        If the wavelengths do not cover the window (code ``window_not_covered``).

    Notes
    -----
    f1' describes the meter, not the error for one lamp: two meters of equal f1' can err in opposite
    directions.

    References
    ----------
    .. [1] CIE S 023:2013, Characterization of the performance of illuminance meters and luminance meters.
    """
    curves = [("responsivity", wavelength, responsivity)]
    if calibration_source is not None:
        curves.append(("calibration_source", wavelength, calibration_source))
    grid, (response, *given) = on_common_grid(window, curves)
    source = given[0] if given else illuminant_a(grid)
    efficiency = photopic_efficiency(grid)
    scale = integral(grid, source * efficiency) / _response(grid, source, response, "calibration_source")
    return integral(grid, np.abs(scale * response - efficiency)) / integral(grid, efficiency)


def mismatch_correction(
    wavelength: ArrayLike,
    responsivity: ArrayLike,
    source: ArrayLike,
    *,
    calibration_source: ArrayLike | None = None,
    source_wavelength: ArrayLike | None = None,
    window: tuple[float, float] = WINDOW,
) -> float:
    r"""Return the spectral mismatch correction factor: corrected illuminance = reading x factor.

    .. math:: F^* = \frac{\int S V \, d\lambda \; \int S_A s \, d\lambda}
                         {\int S s \, d\lambda \; \int S_A V \, d\lambda}

    Parameters
    ----------
    wavelength : array_like, shape (n,)
        Wavelengths, increasing, steps of at most 10 nm. [nm]
    responsivity : array_like, shape (n,)
        Relative spectral responsivity :math:`s` of the meter. [1]
    source : array_like, shape (n,), or (m,) with `source_wavelength`
        Spectral power :math:`S` of the lamp. [W/nm]
    calibration_source : array_like, shape (n,), optional
        Spectral power of the source the meter was calibrated to; illuminant A when not given. [W/nm]
    source_wavelength : array_like, shape (m,), optional
        The lamp's own wavelengths, where they differ from the meter's. [nm]
    window : tuple of two floats, default (380, 780)
        Limits of the integrals. [nm]

    Returns
    -------
    float
        The factor. [1]

    Raises
    ------
    ValueError
        If wavelengths do not increase or a curve is negative or zero everywhere.
    MethodError
        If the wavelengths do not cover the window (code ``window_not_covered``), or the meter does not see
        the lamp (code ``no_response``).

    Notes
    -----
    The factor holds for the spectrum given. For LED against filament take the ratio of two factors, and
    `correction_uncertainty` for its doubt.

    References
    ----------
    .. [1] CIE S 017:2020, International Lighting Vocabulary, term 17-25-115.
    """
    own = wavelength if source_wavelength is None else source_wavelength
    curves = [("responsivity", wavelength, responsivity), ("source", own, source)]
    if calibration_source is not None:
        curves.append(("calibration_source", wavelength, calibration_source))
    grid, (response, lamp, *given) = on_common_grid(window, curves)
    calibration = given[0] if given else illuminant_a(grid)
    efficiency = photopic_efficiency(grid)
    seen = integral(grid, lamp * efficiency) / _response(grid, lamp, response, "source")
    calibrated = _response(grid, calibration, response, "calibration_source")
    return seen * calibrated / integral(grid, calibration * efficiency)


def correction_uncertainty(
    wavelength: ArrayLike,
    responsivity: ArrayLike,
    source: ArrayLike,
    *,
    reference_source: ArrayLike | None = None,
    wavelength_uncertainty: float = 1.0,
    floor: float = 0.006,
    window: tuple[float, float] = WINDOW,
) -> float:
    """Return the relative standard uncertainty of a correction factor, or of the ratio of two.

    Half the change of the factor when the responsivity is moved by plus and minus the wavelength
    uncertainty, at least the declared floor.

    Parameters
    ----------
    wavelength : array_like, shape (n,)
        Wavelengths, increasing, steps of at most 10 nm. [nm]
    responsivity : array_like, shape (n,)
        Relative spectral responsivity of the meter. [1]
    source : array_like, shape (n,)
        Spectral power of the lamp. [W/nm]
    reference_source : array_like, shape (n,), optional
        Spectral power of the lamp it is divided by; the factor of the lamp alone when not given. [W/nm]
    wavelength_uncertainty : float, default 1
        Standard uncertainty of the wavelength scale of the responsivity. [nm]
    floor : float, default 0.006
        Smallest relative standard uncertainty, for what a shift does not show. [1]
    window : tuple of two floats, default (380, 780)
        Limits of the integrals. [nm]

    Returns
    -------
    float
        Relative standard uncertainty. [1]

    Raises
    ------
    ValueError
        If an uncertainty is negative, or as for `mismatch_correction`.

    Notes
    -----
    The floor is declared practice (1 nm changes LED against filament by 0.55 % on the demo meter), not a
    measurement.
    """
    require("wavelength_uncertainty", wavelength_uncertainty, lambda v: v >= 0, "zero or more", "nm")
    require("floor", floor, lambda v: v >= 0, "zero or more", "(relative)")
    curve("responsivity", wavelength, responsivity)
    nodes = as_floats("wavelength", wavelength)
    logs = []
    for shift in (-wavelength_uncertainty, wavelength_uncertainty):
        moved = np.interp(nodes - shift, nodes, as_floats("responsivity", responsivity))
        ln = np.log(mismatch_correction(nodes, moved, source, window=window))
        if reference_source is not None:
            ln -= np.log(mismatch_correction(nodes, moved, reference_source, window=window))
        logs.append(float(ln))
    return max(abs(logs[1] - logs[0]) / 2.0, floor)


def _response(grid: Floats, source: Floats, response: Floats, name: str) -> float:
    seen = integral(grid, source * response)
    if seen > 0:
        return seen
    message = f"{name} and responsivity must overlap; the meter would read 0 on this light"
    raise MethodError(message, code="no_response")
