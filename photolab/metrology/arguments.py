"""Checks of arguments: which quantity, which element, what it must be.

A law that checks its arguments here takes numbers, arrays and measured quantities alike: a `Measured` passes as it
is, checked at its estimate.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photolab.errors import MethodError, demand
from photolab.metrology.quantity import Measured

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


def require(
    name: str,
    values: ArrayLike,
    holds: Callable[[Floats], NDArray[np.bool_]],
    wanted: str,
    unit: str = "",
    *,
    missing: bool = True,
) -> Floats:
    """Return the values as floats, or say which element does not hold.

    Parameters
    ----------
    name : str
        Name of the quantity, for the message.
    values : array_like or Measured
        The values. [any unit]
    holds : callable
        Condition on the array, element by element.
    wanted : str
        The condition in words.
    unit : str, optional
        Unit, for the message.
    missing : bool, default True
        Whether NaN passes as a missing value.

    Returns
    -------
    ndarray or Measured
        The values as float64, a scalar for one number; a measured quantity as given. [any unit]

    Raises
    ------
    ValueError
        If a value is not a number, or an element does not hold; the first one is named.
    """
    if isinstance(values, Measured):
        require(name, values.value, holds, wanted, unit, missing=False)
        return values  # type: ignore[return-value]
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as fault:
        message = f"{name} must be numbers; got {values!r}"
        raise ValueError(message) from fault
    bad = ~holds(array) & ~(missing & np.isnan(array))
    if bad.any():
        index = tuple(np.argwhere(bad)[0])
        place = f"[{', '.join(map(str, index))}]" if index else ""
        got = f"{array[index]:g} {unit}".rstrip()
        count = f" ({int(bad.sum())} of {array.size} values are out of range)" if array.size > 1 else ""
        demand(False, f"{name}{place} must be {wanted}", got + count)
    return array[()]


def positive(name: str, values: ArrayLike, unit: str = "", *, missing: bool = True) -> Floats:
    """Return the values, all finite and more than zero.

    Parameters
    ----------
    name : str
        Name of the quantity.
    values : array_like
        The values. [any unit]
    unit : str, optional
        Unit, for the message.
    missing : bool, default True
        Whether NaN passes as a missing value.

    Returns
    -------
    ndarray
        The values as float64. [any unit]
    """
    wanted = "more than zero and finite"
    return require(name, values, lambda v: (v > 0) & np.isfinite(v), wanted, unit, missing=missing)


def not_negative(name: str, values: ArrayLike, unit: str = "", *, missing: bool = True) -> Floats:
    """Return the values, all finite and zero or more.

    Parameters
    ----------
    name : str
        Name of the quantity.
    values : array_like
        The values. [any unit]
    unit : str, optional
        Unit, for the message.
    missing : bool, default True
        Whether NaN passes as a missing value.

    Returns
    -------
    ndarray
        The values as float64. [any unit]
    """
    return require(name, values, lambda v: (v >= 0) & np.isfinite(v), "zero or more", unit, missing=missing)


def finite(name: str, values: ArrayLike, unit: str = "", *, missing: bool = True) -> Floats:
    """Return the values, all finite.

    Parameters
    ----------
    name : str
        Name of the quantity.
    values : array_like
        The values. [any unit]
    unit : str, optional
        Unit, for the message.
    missing : bool, default True
        Whether NaN passes as a missing value.

    Returns
    -------
    ndarray
        The values as float64. [any unit]
    """
    return require(name, values, np.isfinite, "finite", unit, missing=missing)


def must_hold(holds: object, message: str, *, code: str, known: Mapping[str, Any] | None = None) -> None:
    """Refuse an answer where a condition of its method does not hold.

    Parameters
    ----------
    holds : object
        Whether the condition holds.
    message : str
        What condition failed, with the numbers.
    code : str
        Stable code of the refusal.
    known : mapping, optional
        What can still be said, by name.

    Raises
    ------
    MethodError
        If it does not hold.
    """
    if not holds:
        raise MethodError(message, code=code, known=known)


def same_length(first: str, a: NDArray[Any], second: str, b: NDArray[Any]) -> None:
    """Refuse two lists of different lengths.

    Parameters
    ----------
    first : str
        Name of the quantity that sets the shape.
    a : ndarray
        Its values. [any unit]
    second : str
        Name of the other quantity.
    b : ndarray
        Its values. [any unit]

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    demand(a.shape == b.shape, f"{second} must have the shape of {first}, {a.shape}", b.shape)


def as_given(values: Floats, unit: str = "") -> Any:
    """Return a float for scalar arguments, a measured quantity with its unit, else the array.

    Parameters
    ----------
    values : ndarray or Measured
        A result. [any unit]
    unit : str, optional
        Unit of a measured quantity, which the law names.

    Returns
    -------
    float, ndarray or Measured
        The same numbers. [any unit]
    """
    if isinstance(values, Measured):
        return replace(values, unit=unit)
    return float(values) if np.ndim(values) == 0 else values
