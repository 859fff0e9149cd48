r"""The colour of the light: V(lambda), illuminants, and what a meter's colour response does to a reading.

Wavelengths are in nanometres. Integrals run over a stated window, 380-780 nm unless another is given, on a
1 nm grid with linear interpolation: print the window with every number, for the luminous efficacy of
radiation of illuminant A is 156.2 lm/W on 380-780 nm and 122.9 lm/W on 360-830 nm.
"""

import math
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from photolab.errors import demand
from photolab.metrology.arguments import Floats, as_given, must_hold, positive, require, same_length

WINDOW = (380.0, 780.0)
"""Window of the integrals unless another is given. [nm]"""


MAXIMUM_LUMINOUS_EFFICACY = 683.002
"""K_m = 683 lm/W divided by V at 540 THz in standard air, 555.016 nm. [lm/W]"""


_FIRST_RADIATION = 3.741771852e-16  # 2 pi h c^2, W m2, CODATA 2018 (exact constants)


_SECOND_RADIATION = 1.438776877e-2  # h c / k, m K, CODATA 2018 (exact constants)


_LARGEST_STEP = 10.0  # nm; a wider step can miss a line or the flank of V(lambda)


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
    grid = positive("wavelength", wavelength, "nm")
    efficiency = _published("photopic_efficiency.csv")[""]
    return as_given(np.asarray(np.interp(grid, *efficiency, left=0.0, right=0.0)))


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
    exponent = np.minimum(_SECOND_RADIATION / (metres * kelvin), 700.0)  # beyond, 0 to 300 digits
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
    published = _published("led_illuminants.csv")
    demand(name in published, f"name must be one of {', '.join(published)}", repr(name))
    grid = positive("wavelength", wavelength, "nm")
    return as_given(np.asarray(np.interp(grid, *published[name], left=np.nan, right=np.nan)))


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
    grid, (spectrum,) = _on_common_grid(window, [("power", wavelength, power)])
    in_watts = _integral(grid, spectrum)
    return MAXIMUM_LUMINOUS_EFFICACY * _integral(grid, spectrum * photopic_efficiency(grid)) / in_watts


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
    curves = [
        ("responsivity", wavelength, responsivity),
        ("calibration_source", wavelength, calibration_source),
    ]
    grid, (response, source) = _on_common_grid(window, curves)
    efficiency = photopic_efficiency(grid)
    scale = _true_over_read(grid, efficiency, source, response, "calibration_source")
    return _integral(grid, np.abs(scale * response - efficiency)) / _integral(grid, efficiency)


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
    curves = [
        ("responsivity", wavelength, responsivity),
        ("source", own, source),
        ("calibration_source", wavelength, calibration_source),
    ]
    grid, (response, lamp, calibration) = _on_common_grid(window, curves)
    eye = photopic_efficiency(grid)
    factor = _true_over_read(grid, eye, lamp, response, "source")
    return factor / _true_over_read(grid, eye, calibration, response, "calibration_source")


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
    nodes, heights = _curve("responsivity", wavelength, responsivity)
    logs = []
    for shift in (-wavelength_uncertainty, wavelength_uncertainty):
        moved = np.interp(nodes - shift, nodes, heights)
        lamps = (s for s in (source, reference_source) if s is not None)
        ln, *others = (math.log(mismatch_correction(nodes, moved, lamp, window=window)) for lamp in lamps)
        logs.append(ln - sum(others))
    return max(abs(logs[1] - logs[0]) / 2.0, floor)


@cache
def _published(table: str) -> dict[str, tuple[Floats, Floats]]:
    """Return wavelengths and values of the curves of a published table, by illuminant where it has several."""
    with (files("photolab.photometry.tables") / table).open(encoding="utf-8") as stream:
        rows = pd.read_csv(stream)
    curves = rows.groupby("illuminant") if "illuminant" in rows else [("", rows)]
    return {
        str(name): (curve["wavelength_nm"].to_numpy(float), curve["value"].to_numpy(float))
        for name, curve in curves
    }


def _true_over_read(grid: Floats, eye: Floats, source: Floats, response: Floats, name: str) -> float:
    """Return what the eye sees of a source over what the meter reads, any scale."""
    seen = _integral(grid, source * response)
    message = f"{name} and responsivity must overlap; the meter would read 0 on this light"
    must_hold(seen > 0.0, message, code="no_response")
    return _integral(grid, source * eye) / seen


def _integral(grid: Floats, values: Floats) -> float:
    """Return the trapezoidal integral over wavelength [unit of the values times nm]."""
    return float(np.diff(grid) @ (values[1:] + values[:-1])) / 2.0


def _on_common_grid(
    window: tuple[float, float] | None, curves: Iterable[tuple[str, ArrayLike, ArrayLike | None]]
) -> tuple[Floats, list[Floats]]:
    """Return every 1 nm in the window (None: what all cover) with the curves' own wavelengths, and the curves on it.

    A curve that is not given is that of illuminant A.
    """
    given = {name: None if value is None else _curve(name, nodes, value) for name, nodes, value in curves}
    known = {name: curve for name, curve in given.items() if curve is not None}
    nodes = [nodes for nodes, _ in known.values()]
    low, high = window or (max(w[0] for w in nodes), min(w[-1] for w in nodes))
    wanted = "window must run from a lower to a higher wavelength"
    demand(low < high, wanted, f"{low:g} to {high:g} nm")
    for name, (own, _) in known.items():
        message = (
            f"{name} must cover the window {low:g}-{high:g} nm; it covers {own[0]:g}-{own[-1]:g} nm. "
            "Measure the rest, or state a narrower window"
        )
        covered = own[0] <= low and own[-1] >= high
        must_hold(covered, message, code="window_not_covered", known={"covered_nm": (own[0], own[-1])})
        visible = (own[1:] > max(low, 360.0)) & (own[:-1] < min(high, 830.0))
        widest = np.diff(own)[visible].max(initial=0.0)
        wanted = f"wavelength must have steps of at most {_LARGEST_STEP:g} nm"
        demand(widest <= _LARGEST_STEP, wanted, f"{widest:g} nm")
    whole = np.arange(np.ceil(max(low, 1.0)), np.floor(min(high, 1000.0)) + 1.0)
    grid = np.unique(np.concatenate([[low, high], whole, *nodes]))
    grid = grid[(grid >= low) & (grid <= high)]
    on_grid = {n: illuminant_a(grid) if c is None else np.interp(grid, *c) for n, c in given.items()}
    for name, values in on_grid.items():
        demand(bool(values.any()), f"{name} must not be zero everywhere in {low:g}-{high:g} nm", "zeros")
    return grid, list(on_grid.values())


def _curve(name: str, wavelength: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    """Return the wavelengths [nm] and values of one curve, or say what is wrong with them."""
    nodes = positive("wavelength", wavelength, "nm")
    wanted = "zero or more and finite"
    heights = require(name, values, lambda v: (v >= 0) & np.isfinite(v), wanted, "(relative)")
    same_length("wavelength", nodes, name, heights)
    listed = nodes.ndim == 1 and nodes.size >= 2
    demand(listed, "wavelength must be a list of at least 2 values", f"shape {nodes.shape}")
    whole = not np.isnan([nodes, heights]).any()
    demand(whole, f"wavelength and {name} must have no missing values", "NaN")
    lowest, highest = float(nodes.min()), float(nodes.max())
    looks = {"metres": highest < 1e-3, "micrometres": highest < 100.0, "angstroms": lowest > 2000.0}
    unit = next((unit for unit, holds in looks.items() if holds), "")
    got = f"{lowest:g} to {highest:g}, which looks like {unit}"
    demand(not unit, "wavelength must be in nanometres", got)
    if (falls := np.diff(nodes) <= 0.0).any():
        at = 1 + int(np.argmax(falls))
        got = f"{nodes[at]:g} after {nodes[at - 1]:g} nm"
        demand(False, f"wavelength[{at}] must be more than the one before", got)
    return nodes, heights
