"""Streams of draws of input quantities: one stream an input, keyed by its name."""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.metrology.distributions import draw_standard
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.monte_carlo import stream

FloatArray = NDArray[np.float64]


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
    """

    def __init__(self, inputs: Mapping[str, InputQuantity], *, seed: int) -> None:
        self._keys = tuple(inputs)
        self._inputs = tuple(inputs.values())
        self._kinds = [_drawn_kind(q) for q in self._inputs]
        self._streams = [stream(seed, key) for key in self._keys]
        self._variance: dict[int, Hashable] = {
            k: ("variance", q.variance_from, q.dof)
            for k, q in enumerate(self._inputs)
            if self._kinds[k] == "t" and q.variance_from is not None
        }
        self._chi_square: dict[Hashable, tuple[np.random.Generator, float]] = {
            key: (stream(seed, key), self._inputs[k].dof) for k, key in self._variance.items()
        }
        self._room = np.empty((len(self._keys), 0))

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
        for k, out in enumerate(drawn):
            self._one(k, out, widths)
        return dict(zip(self._keys, drawn, strict=True))

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


def _drawn_kind(quantity: InputQuantity) -> str:
    """Return the distribution that is drawn."""
    if quantity.distribution == "t" and not np.isfinite(quantity.dof):
        return "normal"
    return quantity.distribution


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
