"""How far a model is linear within the uncertainty of its inputs: its slopes, and what they leave out."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photolab.errors import MethodError
from photolab.metrology.correlation import Correlations
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.sampling import Sampler, values_of

FloatArray = NDArray[np.float64]
Model = Callable[..., Any]

# terms beyond first order over linear ones, in standard deviation, from which a linear result is not given
NONLINEAR_LIMIT = 0.5
_OUTSIDE = 0.01  # share of draws without a finite value, from which one is not given either
_BLOCK_BYTES = 64_000_000
_STEP = 0.1  # of a standard uncertainty; with one Richardson step the error is of fourth order in it
_PROBES = 2000
_NOISE = 1e-12  # of the result: differences below this are rounding


@dataclass(frozen=True, eq=False)
class Linearisation:
    """A model with several results, made linear at the estimates of its inputs.

    Parameters
    ----------
    names : tuple of hashable, length m
        Names of the results.
    values : ndarray, shape (m,)
        Results at the estimates. [unit]
    sensitivities : ndarray, shape (m, n)
        Sensitivities. [unit/input]
    left_out : ndarray, shape (m, k)
        Model minus linear model at k seeded draws of the inputs; NaN where the model has no finite value.
        [unit]
    """

    names: tuple[Hashable, ...]
    values: FloatArray
    sensitivities: FloatArray
    left_out: FloatArray

    @property
    def second_order(self) -> FloatArray:
        """Standard deviation of what the linear model leaves out [unit]."""
        known = np.isfinite(self.left_out)
        count = np.maximum(known.sum(axis=1), 1)
        filled = np.where(known, self.left_out, 0.0)
        mean = filled.sum(axis=1) / count
        return np.asarray(np.sqrt(np.maximum((filled**2).sum(axis=1) / count - mean**2, 0.0)))

    def nonlinear(self, standard_uncertainty: FloatArray) -> NDArray[np.int64]:
        """Return the results whose terms beyond first order are not small.

        Parameters
        ----------
        standard_uncertainty : ndarray, shape (m,)
            Standard uncertainties of the linear model. [unit]

        Returns
        -------
        ndarray of int
            Their places.
        """
        known = np.isfinite(self.left_out)
        square = np.where(known, self.left_out, 0.0) ** 2
        size = np.sqrt(square.sum(axis=1) / np.maximum(known.sum(axis=1), 1))
        bent = (size > NONLINEAR_LIMIT * standard_uncertainty) & (size > _NOISE * np.abs(self.values))
        outside = (~known).mean(axis=1) > _OUTSIDE
        return np.flatnonzero(bent | outside)


def linearise(model: Model, inputs: Mapping[str, InputQuantity], correlations: Correlations) -> Linearisation:
    """Make a model linear by central differences, in blocks of at most 64 MB.

    Parameters
    ----------
    model : callable
        Takes the inputs as keyword arguments, arrays of one length, and returns a dict of arrays. [units]
    inputs : mapping of str to InputQuantity
        The inputs by argument name.
    correlations : Correlations
        Correlated pairs of inputs.

    Returns
    -------
    Linearisation
        Values, sensitivities, and what they leave out.

    Raises
    ------
    MethodError
        If the model has no finite value at or beside the estimates.
    """
    estimates = {key: np.array([q.value], dtype=np.float64) for key, q in inputs.items()}
    names, at_estimate = _evaluate(model, estimates, 1)
    values = at_estimate[:, 0]
    _refuse_not_finite(names, at_estimate, "at the estimates", values)
    slopes = np.empty((len(names), len(inputs)))
    quantities = list(inputs.items())
    size = max(1, _BLOCK_BYTES // (8 * 4 * max(1, len(inputs))))
    for start in range(0, len(inputs), size):
        block = quantities[start : start + size]
        shifted, steps = _shifted(estimates, block)
        _, moved = _evaluate(model, shifted, 4 * len(block))
        shown = ", ".join(key for key, _ in block[:3]) + (", …" if len(block) > 3 else "")
        _refuse_not_finite(names, moved, f"beside the estimates of {shown}", values)
        quad = moved.reshape(len(names), len(block), 4)
        wide, narrow = (quad[..., 0] - quad[..., 1]) / (2 * steps), (quad[..., 2] - quad[..., 3]) / steps
        slopes[:, start : start + len(block)] = narrow + (narrow - wide) / 3.0
    left_out = _left_out(model, inputs, correlations, values, slopes)
    return Linearisation(names, values, slopes, left_out)


def _shifted(
    estimates: Mapping[str, FloatArray], block: Sequence[tuple[str, InputQuantity]]
) -> tuple[dict[str, FloatArray], FloatArray]:
    """Return the inputs with each of a block moved up and down by one step and by half of one."""
    count = 4 * len(block)
    shifted: dict[str, FloatArray] = {k: np.broadcast_to(x, count) for k, x in estimates.items()}
    steps = np.empty(len(block))
    for k, (key, q) in enumerate(block):
        steps[k] = _STEP * q.standard_uncertainty or 1e-6 * max(abs(q.value), 1.0)
        column = np.full(count, q.value, dtype=np.float64)
        column[4 * k : 4 * k + 4] += steps[k] * np.array([1.0, -1.0, 0.5, -0.5])
        shifted[key] = column
    return shifted, steps


def _evaluate(
    model: Model, quantities: Mapping[str, FloatArray], size: int
) -> tuple[tuple[Hashable, ...], FloatArray]:
    """Return names and values of a model's results, one row a result."""
    with np.errstate(all="ignore"):  # what is not finite is found in the results, by name
        results = model(**quantities)
    if not isinstance(results, Mapping):
        message = f"model must return a dict of results by name; got {type(results).__name__}"
        raise ValueError(message)
    rows = [values_of(values, size) for values in results.values()]
    return tuple(results), np.array(rows, dtype=np.float64).reshape(-1, size)


def _refuse_not_finite(
    names: Sequence[Hashable], outputs: FloatArray, where: str, values: FloatArray
) -> None:
    """Refuse a model that has no finite value."""
    for name, row, value in zip(names, outputs, values, strict=True):
        bad = row[~np.isfinite(row)]
        if bad.size:
            message = f"model result {name!r} must be finite {where}; got {bad[0]}"
            raise MethodError(message, code="model_not_finite", known={"value": float(value)})


def _left_out(
    model: Model,
    inputs: Mapping[str, InputQuantity],
    correlations: Correlations,
    values: FloatArray,
    sensitivities: FloatArray,
) -> FloatArray:
    """Return model minus linear model at seeded draws, NaN where the model has no finite value."""
    sampler = Sampler(inputs, seed=0, correlations=correlations, heavy_tails=False)
    size = int(min(_PROBES, max(1, _BLOCK_BYTES // (8 * max(1, len(inputs))))))
    parts = []
    for start in range(0, _PROBES, size):
        count = min(size, _PROBES - start)
        drawn = sampler.draw(count)
        away = np.array([drawn[key] - q.value for key, q in inputs.items()]).reshape(-1, count)
        _, outputs = _evaluate(model, drawn, count)
        left = outputs - (values[:, None] + sensitivities @ away)
        parts.append(np.where(np.isfinite(left), left, np.nan))
    return np.concatenate(parts, axis=1)
