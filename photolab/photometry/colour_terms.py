"""What the colour of a lamp may do to a reading when no spectrum is on file: declared limits from f1'.

These are conventions, stated wherever they are used: f1' bounds no single lamp's error, it is taken as the
half-width of a rectangular distribution.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.photometry.arguments import as_given, not_negative

_TECHNOLOGIES = ("filament", "led", "discharge", "other")
_LIKE, _HALF, _WHOLE = (
    0.2,
    0.5,
    1.0,
)  # share of f1' between two LED lamps: alike, over 20 % apart, over a factor of 2
_DIFFERENT, _FAR = 1.2, 2.0  # ratio of colour temperatures


def technology_colour_half_width(mismatch_index: ArrayLike, technology: str) -> Any:
    """Return the half-width of the colour term all lamps of one technology share on one meter.

    Parameters
    ----------
    mismatch_index : array_like
        The meter's f1', as a fraction. [1]
    technology : str
        ``filament``, ``led``, ``discharge`` or ``other``.

    Returns
    -------
    float or ndarray
        Half-width of a rectangular distribution, relative; 0 for filament, which is close to illuminant A.
        [1]

    Raises
    ------
    ValueError
        If the index is negative or the technology is not one of the four.

    Notes
    -----
    Common practice, no source. The technologies are independent of one another. It falls away where spectra
    or a stated spectral factor are on file: their uncertainty takes its place.
    """
    _known(technology)
    index = not_negative("mismatch_index", mismatch_index, "(fraction)")
    return as_given(index * 0.0 if technology == "filament" else index)


def lamp_colour_half_width(mismatch_index: ArrayLike, technology: str, *, pair_share: float = _LIKE) -> Any:
    r"""Return the half-width of a lamp's own colour term, beside the technology's.

    .. math:: w = \mathrm{share} \cdot f_1' / \sqrt{2}

    Parameters
    ----------
    mismatch_index : array_like
        The meter's f1', as a fraction. [1]
    technology : str
        ``filament``, ``led``, ``discharge`` or ``other``.
    pair_share : float, default 0.2
        Share of f1' that a pair of such lamps carries, see `pair_colour_half_width`. [1]

    Returns
    -------
    float or ndarray
        Half-width of a rectangular distribution, relative; 0 for filament. [1]

    Raises
    ------
    ValueError
        If the index is negative or the technology is not one of the four.
    """
    _known(technology)
    index = not_negative("mismatch_index", mismatch_index, "(fraction)")
    return as_given(index * (0.0 if technology == "filament" else pair_share / np.sqrt(2.0)))


def pair_colour_half_width(
    mismatch_index: ArrayLike,
    *,
    colour_temperature: float | None = None,
    other_colour_temperature: float | None = None,
) -> Any:
    """Return the half-width of the colour term between two lamps of one technology, not filament.

    Parameters
    ----------
    mismatch_index : array_like
        The meter's f1', as a fraction. [1]
    colour_temperature, other_colour_temperature : float, optional
        Correlated colour temperatures, as stated by the supplier or measured. [K]

    Returns
    -------
    float or ndarray
        Half-width of a rectangular distribution, relative: f1'/5 for like colour, f1'/2 where they differ by
        more than 20 % or one is unknown beside a stated one, f1' where they differ by a factor of 2 or more.
        [1]

    Raises
    ------
    ValueError
        If the index is negative or a colour temperature is not positive.

    Notes
    -----
    Computed for phosphor LED illuminants on a meter of f1' 8 %: 0.20, 0.44 and 0.70 of f1' for 6600 K
    against 5100 K, 4100 K and 3000 K.
    """
    index = not_negative("mismatch_index", mismatch_index, "(fraction)")
    stated = [t for t in (colour_temperature, other_colour_temperature) if t is not None]
    if any(not t > 0 for t in stated):
        message = f"colour_temperature must be more than zero; got {min(stated):g} K"
        raise ValueError(message)
    share = _LIKE
    if len(stated) == 1:
        share = _HALF
    elif len(stated) == 2:
        ratio = max(stated) / min(stated)
        share = _WHOLE if ratio >= _FAR else _HALF if ratio > _DIFFERENT else _LIKE
    return as_given(index * share)


def _known(technology: str) -> None:
    if technology not in _TECHNOLOGIES:
        message = f"technology must be one of {', '.join(_TECHNOLOGIES)}; got {technology!r}"
        raise ValueError(message)
