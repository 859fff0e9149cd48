"""Streams of draws of input quantities: one stream an input, keyed by its name."""

import hashlib
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.metrology.correlation import NO_CORRELATIONS, Correlations
from photolab.metrology.distributions import draw_standard, standard_quantile
from photolab.metrology.inputs import InputQuantity

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Block:
    """Correlated inputs: positions, and a factor F with F F' = their correlation matrix."""

    members: tuple[int, ...]
    factor: FloatArray
    copula: bool  # not all normal, nor all Student's t of one dof


class Sampler:
    """Draws input quantities chunk by chunk.

    Every input has its own stream, spawned from the seed and the input's key alone. So the draws of an
    input depend neither on the size of the chunks, nor on the order of the inputs, nor on which others
    there are. Inputs of Student's t with one `variance_from` share the chi-square of that variance: they
    are all too wide or all too narrow together.

    Parameters
    ----------
    inputs : mapping of str to InputQuantity
        The inputs by key.
    seed : int
        Seed of all streams.
    correlations : Correlations
        Correlated pairs. Correlated normal inputs are jointly normal; correlated Student's t of one dof are
        jointly t (one common chi-square); any other correlated set has a Gaussian copula, whose
        coefficients are those of the normal scores.
    heavy_tails : bool, default True
        Whether Student's t is drawn as such; False draws a normal of the same scale.
    """

    def __init__(
        self,
        inputs: Mapping[str, InputQuantity],
        *,
        seed: int,
        correlations: Correlations = NO_CORRELATIONS,
        heavy_tails: bool = True,
    ) -> None:
        self._keys = tuple(inputs)
        self._inputs = tuple(inputs.values())
        self._kinds = [_drawn_kind(q, heavy_tails=heavy_tails) for q in self._inputs]
        self._streams = [stream(seed, key) for key in self._keys]
        self._blocks = [self._block(members, matrix) for members, matrix in correlations.blocks()]
        self._variance = self._variance_keys()
        self._chi_square: dict[Hashable, tuple[np.random.Generator, float]] = {
            key: (stream(seed, key), self._inputs[k].dof) for k, key in self._variance.items()
        }
        self._alone = sorted(set(range(len(self._keys))) - {k for b in self._blocks for k in b.members})
        self._room = np.empty((len(self._keys), 0))

    @property
    def dependence(self) -> str:
        """How correlated inputs are drawn: independent, joint_normal, joint_t or gaussian_copula."""
        if not self._blocks:
            return "independent"
        if any(b.copula for b in self._blocks):
            return "gaussian_copula"
        kinds = {self._kinds[k] for b in self._blocks for k in b.members}
        return "joint_normal" if kinds == {"normal"} else "joint_t"

    def draw(self, size: int) -> dict[str, FloatArray]:
        """Draw the next values of every input, into arrays that the next call fills again.

        Parameters
        ----------
        size : int
            How many. [1]

        Returns
        -------
        dict of str to ndarray, shape (size,)
            Values by key. [unit of the input]
        """
        if self._room.shape[1] < size:
            self._room = np.empty((len(self._keys), size))
        drawn = [row[:size] for row in self._room]
        widths: dict[Hashable, FloatArray] = {
            key: np.sqrt(dof / rng.chisquare(dof, size)) for key, (rng, dof) in self._chi_square.items()
        }
        for k in self._alone:
            self._one(k, drawn[k], widths)
        for block in self._blocks:
            self._together(block, drawn, widths)
        return dict(zip(self._keys, drawn, strict=True))

    def _block(self, members: NDArray[np.int64], matrix: FloatArray) -> _Block:
        """Return a set of correlated inputs with its factor, ready to be drawn."""
        eigenvalue, eigenvector = np.linalg.eigh(matrix)
        factor = (eigenvector * np.sqrt(np.maximum(eigenvalue, 0.0))) @ eigenvector.T
        picked = tuple(members.tolist())
        kinds = {self._kinds[k] for k in picked}
        dofs = {self._inputs[k].dof for k in picked}
        return _Block(picked, factor, not (kinds == {"normal"} or (kinds == {"t"} and len(dofs) == 1)))

    def _variance_keys(self) -> dict[int, Hashable]:
        """Return, by position, the key of the estimated variance a Student's t shares with others."""
        keys: dict[int, Hashable] = {
            k: ("variance", q.variance_from, q.dof)
            for k, q in enumerate(self._inputs)
            if self._kinds[k] == "t" and q.variance_from is not None
        }
        for block in self._blocks:
            if block.copula or self._kinds[block.members[0]] != "t":
                continue
            labels = {self._inputs[k].variance_from for k in block.members}
            if len(labels) > 1 or None in labels:
                names = tuple(sorted(self._keys[k] for k in block.members))
                keys.update(dict.fromkeys(block.members, ("correlated", *names)))
        return keys

    def _one(self, k: int, out: FloatArray, widths: Mapping[Hashable, FloatArray]) -> None:
        """Draw one independent input into an array."""
        q, rng, kind = self._inputs[k], self._streams[k], self._kinds[k]
        centre, scale = q.value, q.standard_uncertainty
        if kind == "rectangular":
            rng.random(out=out)
            scale *= float(np.sqrt(12.0))
            centre -= scale / 2.0
        elif kind == "normal" or k in self._variance:
            rng.standard_normal(out=out)
            if k in self._variance:
                out *= widths[self._variance[k]]
        else:
            out[:] = draw_standard(rng, out.size, kind, dof=q.dof, shape=q.standard_shape)
        out *= scale
        out += centre

    def _together(
        self, block: _Block, drawn: list[FloatArray], widths: Mapping[Hashable, FloatArray]
    ) -> None:
        """Draw one set of correlated inputs into their arrays."""
        size = drawn[0].size
        scores = block.factor @ np.stack([self._streams[k].standard_normal(size) for k in block.members])
        for k, score in zip(block.members, scores, strict=True):
            q = self._inputs[k]
            if block.copula:
                standard = standard_quantile(score, self._kinds[k], dof=q.dof, shape=q.standard_shape)
            else:
                standard = score * widths[self._variance[k]] if k in self._variance else score
            drawn[k][:] = q.value + q.standard_uncertainty * standard


def _drawn_kind(quantity: InputQuantity, *, heavy_tails: bool) -> str:
    """Return the distribution that is drawn."""
    if quantity.distribution == "t" and not (heavy_tails and np.isfinite(quantity.dof)):
        return "normal"
    return quantity.distribution


def stream(seed: int, key: Hashable) -> np.random.Generator:
    """Return the stream of one key.

    Parameters
    ----------
    seed : int
        Seed of all streams, zero or more.
    key : hashable
        Key; its text decides.

    Returns
    -------
    numpy.random.Generator
        A generator independent of those of other keys.
    """
    digest = hashlib.sha256(repr(key).encode()).digest()[:16]
    words = [int.from_bytes(digest[k : k + 4], "big") for k in range(0, 16, 4)]
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=tuple(words))))


def values_of(model_output: Any, size: int) -> FloatArray:
    """Return what a model gave as one value a trial.

    Parameters
    ----------
    model_output : array_like
        Output of a model for `size` trials. [result]
    size : int
        Number of trials. [1]

    Returns
    -------
    ndarray, shape (size,)
        The values. [result]

    Raises
    ------
    ValueError
        If the output is neither one number nor one a trial.
    """
    values = np.asarray(model_output, dtype=np.float64)
    if values.ndim == 0:
        return np.full(size, float(values))
    if values.shape != (size,):
        message = f"model must return one value for each of {size} trials; got shape {values.shape}"
        raise ValueError(message)
    return values
