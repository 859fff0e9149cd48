"""Declared correlations between input quantities: checked once, kept as pairs of positions."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

FloatArray = NDArray[np.float64]
_ROUNDING = 1e-9  # eigenvalues this far below zero come from rounding (1 exactly, or printed digits)


@dataclass(frozen=True, eq=False)
class Correlations:
    """Correlated pairs of input quantities.

    Parameters
    ----------
    first, second : ndarray of int
        Positions of the two inputs of each pair.
    coefficient : ndarray
        Correlation coefficient of each pair, not zero. [1]
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    coefficient: FloatArray

    def matrix(self, size: int) -> sparse.csr_array:
        """Return the correlation matrix of `size` inputs.

        Parameters
        ----------
        size : int
            Number of inputs. [1]

        Returns
        -------
        scipy.sparse.csr_array, shape (size, size)
            Symmetric, ones on the diagonal. [1]
        """
        rows = np.concatenate([self.first, self.second, np.arange(size)])
        columns = np.concatenate([self.second, self.first, np.arange(size)])
        entries = np.concatenate([self.coefficient, self.coefficient, np.ones(size)])
        return sparse.csr_array((entries, (rows, columns)), shape=(size, size))

    def blocks(self) -> list[tuple[NDArray[np.int64], FloatArray]]:
        """Return the sets of inputs linked by correlations, each with its dense correlation matrix.

        Returns
        -------
        list of (ndarray of int, ndarray)
            Positions of the inputs, in order, and their correlation matrix. [1]
        """
        if not self.first.size:
            return []
        members = np.unique(np.concatenate([self.first, self.second]))
        a, b = np.searchsorted(members, self.first), np.searchsorted(members, self.second)
        dense = np.eye(members.size)
        dense[a, b] = dense[b, a] = self.coefficient
        links = sparse.csr_array((np.ones(a.size), (a, b)), shape=dense.shape)
        count, label = connected_components(links, directed=False)
        picked = [np.flatnonzero(label == k) for k in range(count)]
        return [(members[p], dense[np.ix_(p, p)]) for p in picked]

    def kept(self, positions: NDArray[np.int64]) -> "Correlations":
        """Return the correlations among some of the inputs, renumbered.

        Parameters
        ----------
        positions : ndarray of int
            Positions of the inputs that stay, ascending.

        Returns
        -------
        Correlations
            Pairs of which both inputs stay.
        """
        both = np.isin(self.first, positions) & np.isin(self.second, positions)
        place = [
            np.searchsorted(positions, side[both]).astype(np.int64) for side in (self.first, self.second)
        ]
        return Correlations(place[0], place[1], self.coefficient[both])


NO_CORRELATIONS = Correlations(
    np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float64)
)


def read_correlations(
    keys: Sequence[Hashable], correlation: Mapping[tuple[Any, Any], float] | None
) -> Correlations:
    """Check declared correlation coefficients.

    Parameters
    ----------
    keys : sequence of hashable
        Keys of the input quantities, in order.
    correlation : mapping or None
        Correlation coefficient by pair of keys; pairs left out are uncorrelated. [1]

    Returns
    -------
    Correlations
        The pairs that are not zero.

    Raises
    ------
    ValueError
        If a key is unknown, a pair is an input with itself or stands twice with different values, a
        coefficient is outside -1 to 1, or the matrix is not positive semidefinite (the pair that weighs
        most is named).
    """
    if not correlation:
        return NO_CORRELATIONS
    position = {key: k for k, key in enumerate(keys)}
    pairs: dict[tuple[int, int], float] = {}
    for pair, coefficient in correlation.items():
        a, b = _positions(pair, position)
        if not -1.0 <= coefficient <= 1.0:
            message = f"correlation[{pair[0]!r}, {pair[1]!r}] must be between -1 and 1; got {coefficient:g}"
            raise ValueError(message)
        place = (min(a, b), max(a, b))
        if pairs.setdefault(place, float(coefficient)) != coefficient:
            message = (
                f"correlation[{pair[0]!r}, {pair[1]!r}] must be one number; got {pairs[place]:g} and "
                f"{coefficient:g}"
            )
            raise ValueError(message)
    kept = [(a, b, r) for (a, b), r in pairs.items() if r != 0.0]
    if not kept:
        return NO_CORRELATIONS
    first, second, r = (np.array(column) for column in zip(*kept, strict=True))
    found = Correlations(first.astype(np.int64), second.astype(np.int64), r.astype(np.float64))
    for members, block in found.blocks():
        _refuse_indefinite([keys[k] for k in members], block)
    return found


def _positions(pair: tuple[Hashable, Hashable], position: Mapping[Hashable, int]) -> tuple[int, int]:
    """Return the positions of a pair of keys, or refuse it."""
    for key in pair:
        if key not in position:
            message = (
                f"correlation[{pair[0]!r}, {pair[1]!r}] must name two inputs; got {key!r}, which is not one"
            )
            raise ValueError(message)
    if pair[0] == pair[1]:
        message = f"correlation[{pair[0]!r}, {pair[1]!r}] must name two inputs; got one input twice"
        raise ValueError(message)
    return position[pair[0]], position[pair[1]]


def _refuse_indefinite(keys: Sequence[Hashable], block: FloatArray) -> None:
    """Refuse a correlation matrix that no set of quantities can have, naming the pair that weighs most."""
    eigenvalue, eigenvector = np.linalg.eigh(block)
    if eigenvalue[0] >= -_ROUNDING * block.shape[0]:
        return
    weight = block * np.outer(eigenvector[:, 0], eigenvector[:, 0])
    np.fill_diagonal(weight, 0.0)
    a, b = sorted(int(k) for k in np.unravel_index(np.argmin(weight), weight.shape))
    message = (
        f"correlation[{keys[a]!r}, {keys[b]!r}] must fit the other coefficients (no negative eigenvalue); "
        f"got {block[a, b]:g}, with a smallest eigenvalue of {eigenvalue[0]:.3g}"
    )
    raise ValueError(message)
