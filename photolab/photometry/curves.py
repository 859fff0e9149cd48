"""Spectral curves brought to one grid of wavelengths, or refused with the reason."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from photolab.errors import MethodError
from photolab.photometry.arguments import Floats, positive, require, same_length

_LARGEST_STEP = 10.0  # nm; a wider step can miss a line or the flank of V(lambda)


def integral(grid: Floats, values: Floats) -> float:
    """Return the trapezoidal integral over wavelength.

    Parameters
    ----------
    grid : ndarray, shape (n,)
        Wavelengths. [nm]
    values : ndarray, shape (n,)
        The curve. [any unit]

    Returns
    -------
    float
        The integral. [that unit times nm]
    """
    return float(np.trapezoid(values, grid))


def on_common_grid(
    window: tuple[float, float] | None, curves: Iterable[tuple[str, ArrayLike, ArrayLike]]
) -> tuple[Floats, list[Floats]]:
    """Return every 1 nm in the window together with the curves' own wavelengths, and the curves on it.

    Parameters
    ----------
    window : tuple of two floats or None
        Limits; None for what all curves cover. [nm]
    curves : iterable of (name, wavelength, value)
        The curves, each with its own wavelengths. [nm, any unit]

    Returns
    -------
    grid : ndarray, shape (n,)
        Wavelengths. [nm]
    values : list of ndarray, shape (n,)
        Each curve on the grid, interpolated linearly. [any unit]

    Raises
    ------
    ValueError
        If a curve is not usable: see `curve`; if it is zero in the window, or its steps exceed 10 nm.
    MethodError
        If a curve does not cover the window (code ``window_not_covered``).
    """
    checked = [(name, *curve(name, wavelength, value)) for name, wavelength, value in curves]
    if window is None:
        low, high = max(w[0] for _, w, _ in checked), min(w[-1] for _, w, _ in checked)
    else:
        low, high = window
    if not low < high:
        message = f"window must run from a lower to a higher wavelength; got {low:g} to {high:g} nm"
        raise ValueError(message)
    for name, nodes, _ in checked:
        _covers(name, nodes, low, high)
    whole = np.arange(np.ceil(max(low, 1.0)), np.floor(min(high, 1000.0)) + 1.0)
    grid = np.unique(np.concatenate([[low, high], whole, *(w for _, w, _ in checked)]))
    grid = grid[(grid >= low) & (grid <= high)]
    on_grid = [np.interp(grid, nodes, values) for _, nodes, values in checked]
    for (name, *_), values in zip(checked, on_grid, strict=True):
        if not values.any():
            message = f"{name} must not be zero everywhere in {low:g}-{high:g} nm"
            raise ValueError(message)
    return grid, on_grid


def curve(name: str, wavelength: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    """Return the wavelengths and values of one curve, or say what is wrong with them.

    Parameters
    ----------
    name : str
        Name of the curve, for the message.
    wavelength : array_like, shape (n,)
        Wavelengths. [nm]
    values : array_like, shape (n,)
        The curve. [any unit]

    Returns
    -------
    nodes, heights : ndarray, shape (n,)
        Both as floats. [nm, any unit]

    Raises
    ------
    ValueError
        If wavelengths do not increase or look like another unit, or values are negative, missing or too few.
    """
    nodes = positive("wavelength", wavelength, "nm")
    heights = require(
        name, values, lambda v: (v >= 0) & np.isfinite(v), "zero or more and finite", "(relative)"
    )
    same_length("wavelength", nodes, name, heights)
    if nodes.ndim != 1 or nodes.size < 2:
        message = f"wavelength must be a list of at least 2 values; got shape {nodes.shape}"
        raise ValueError(message)
    if np.isnan(nodes).any() or np.isnan(heights).any():
        message = f"wavelength and {name} must have no missing values; got NaN"
        raise ValueError(message)
    _in_nanometres(nodes)
    if (np.diff(nodes) <= 0).any():
        at = int(np.argmax(np.diff(nodes) <= 0)) + 1
        message = (
            f"wavelength[{at}] must be more than the one before; got {nodes[at]:g} after {nodes[at - 1]:g} nm"
        )
        raise ValueError(message)
    return nodes, heights


def _in_nanometres(nodes: Floats) -> None:
    lowest, highest = float(nodes.min()), float(nodes.max())
    looks = "micrometres" if highest < 100.0 else "angstroms" if lowest > 2000.0 else ""
    if highest < 1e-3:
        looks = "metres"
    if looks:
        message = f"wavelength must be in nanometres; {lowest:g} to {highest:g} looks like {looks}"
        raise ValueError(message)


def _covers(name: str, nodes: Floats, low: float, high: float) -> None:
    if nodes[0] > low or nodes[-1] < high:
        message = (
            f"{name} must cover the window {low:g}-{high:g} nm; it covers {nodes[0]:g}-{nodes[-1]:g} nm. "
            "Measure the rest, or state a narrower window"
        )
        raise MethodError(message, code="window_not_covered", known={"covered_nm": (nodes[0], nodes[-1])})
    steps = np.diff(nodes)
    visible = (nodes[1:] > max(low, 360.0)) & (nodes[:-1] < min(high, 830.0))
    if visible.any() and steps[visible].max() > _LARGEST_STEP:
        message = (
            f"wavelength must have steps of at most {_LARGEST_STEP:g} nm; got {steps[visible].max():g} nm"
        )
        raise ValueError(message)
