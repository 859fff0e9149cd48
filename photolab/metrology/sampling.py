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
    joint_dof: float | None  # Student's t with one common dof: joint t; None: Gaussian copula


class Sampler:
    """Draws input quantities chunk by chunk.

    Every input has its own stream, spawned from the seed and the input's key alone. So the draws of an
    input depend neither on the size of the chunks, nor on the order of the inputs, nor on which others
    there are.

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
        self._streams = [stream(seed, key) for key in self._keys]
        self._seed = seed
        self._heavy = heavy_tails
        self._blocks = [self._block(members, matrix) for members, matrix in correlations.blocks()]
        self._chi_square = [
            stream(seed, ("joint t", *(self._keys[k] for k in block.members))) for block in self._blocks
        ]
        self._alone = sorted(set(range(len(self._keys))) - {k for b in self._blocks for k in b.members})
        self._scaling = [(_simple_scale(q, self._kind(q))) for q in self._inputs]

    @property
    def dependence(self) -> str:
        """How the inputs depend on one another: independent, joint_normal, joint_t or gaussian_copula (the weakest applies)."""
        if not self._blocks:
            return "independent"
        kinds = {self._kind(self._inputs[k]) for b in self._blocks for k in b.members}
        if kinds == {"normal"}:
            return "joint_normal"
        if all(b.joint_dof is not None for b in self._blocks):
            return "joint_t"
        return "gaussian_copula"

    def draw(self, size: int) -> dict[str, FloatArray]:
        """Draw the next values of every input.

        Parameters
        ----------
        size : int
            How many. [1]

        Returns
        -------
        dict of str to ndarray, shape (size,)
            Values by key. [unit of the input]
        """
        drawn: list[FloatArray] = [np.empty(0)] * len(self._keys)
        for k in self._alone:
            drawn[k] = self._one(k, size)
        for block, chi_square in zip(self._blocks, self._chi_square, strict=True):
            for k, values in zip(block.members, self._together(block, chi_square, size), strict=True):
                drawn[k] = values
        return dict(zip(self._keys, drawn, strict=True))

    def _kind(self, quantity: InputQuantity) -> str:
        """Return the distribution that is drawn."""
        if quantity.distribution == "t" and not (self._heavy and np.isfinite(quantity.dof)):
            return "normal"
        return quantity.distribution

    def _block(self, members: NDArray[np.int64], matrix: FloatArray) -> _Block:
        """Return a set of correlated inputs with its factor, ready to be drawn."""
        eigenvalue, eigenvector = np.linalg.eigh(matrix)
        factor = eigenvector * np.sqrt(np.maximum(eigenvalue, 0.0))
        picked = [self._inputs[k] for k in members.tolist()]
        dofs = {q.dof for q in picked}
        joint = all(self._kind(q) == "t" for q in picked) and len(dofs) == 1
        return _Block(tuple(members.tolist()), factor @ eigenvector.T, dofs.pop() if joint else None)

    def _one(self, k: int, size: int) -> FloatArray:
        """Draw one independent input."""
        quantity, rng, simple = self._inputs[k], self._streams[k], self._scaling[k]
        if simple is not None:
            centre, scale = simple
            draw = rng.random(size) if self._kind(quantity) == "rectangular" else rng.standard_normal(size)
            draw *= scale
            draw += centre
            return draw
        standard = draw_standard(
            rng, size, self._kind(quantity), dof=quantity.dof, shape=quantity.standard_shape
        )
        return quantity.value + quantity.standard_uncertainty * standard

    def _together(self, block: _Block, chi_square: np.random.Generator, size: int) -> list[FloatArray]:
        """Draw one set of correlated inputs."""
        scores = block.factor @ np.stack([self._streams[k].standard_normal(size) for k in block.members])
        if block.joint_dof is not None:
            scores = scores / np.sqrt(chi_square.chisquare(block.joint_dof, size) / block.joint_dof)
        values = []
        for k, score in zip(block.members, scores, strict=True):
            q = self._inputs[k]
            if block.joint_dof is None:
                score = standard_quantile(score, self._kind(q), dof=q.dof, shape=q.standard_shape)
            values.append(q.value + q.standard_uncertainty * score)
        return values


def _simple_scale(quantity: InputQuantity, kind: str) -> tuple[float, float] | None:
    """Return centre and scale of a normal or rectangular draw, None for the other shapes."""
    if kind == "normal":
        return quantity.value, quantity.standard_uncertainty
    if kind == "rectangular":
        width = float(np.sqrt(12.0)) * quantity.standard_uncertainty
        return quantity.value - width / 2.0, width
    return None


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
