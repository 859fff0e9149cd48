"""Results that share inputs, from sensitivities that are known: whole campaigns."""

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.joint import JointResult, Sensitivities
from photolab.metrology.quantity import COVERAGE
from photolab.metrology.results import check_coverage
from photolab.metrology.variance_groups import is_sparse


def combine(
    values: ArrayLike,
    sensitivities: Any,
    inputs: Sequence[InputQuantity],
    *,
    names: Sequence[Hashable] | None = None,
    units: str | Sequence[str] | Mapping[Hashable, str] = "1",
    coverage: float = COVERAGE,
) -> JointResult:
    r"""Join results whose sensitivities are known.

    .. math:: V = S \, \mathrm{diag}(u)^2 \, S^T

    Parameters
    ----------
    values : array_like, shape (m,)
        Best estimates. [units]
    sensitivities : array_like or scipy.sparse array or matrix, shape (m, n)
        Sensitivity of each result to each input. [units/input]
    inputs : sequence of InputQuantity, length n
        The inputs, in the order of the columns.
    names : sequence of hashable, optional
        Names of the results; 0 to m - 1 if not given.
    units : str, sequence or mapping, default "1"
        Unit of all results, of each in order, or by name.
    coverage : float, default COVERAGE
        Coverage probability. [1]

    Returns
    -------
    JointResult
        The results. [units]

    Raises
    ------
    ValueError
        If shapes do not fit, a number is not finite, two results have one name, or two inputs one identity
        (name, shared_by, shared_with).

    References
    ----------
    .. [1] JCGM 102:2011, 6.2.
    """
    check_coverage(coverage)
    y = np.atleast_1d(np.asarray(values, dtype=np.float64))
    quantities = tuple(inputs)
    labels = tuple(range(y.size)) if names is None else tuple(names)
    matrix = _checked_sensitivities(sensitivities, (y.size, len(quantities)))
    bad = np.flatnonzero(~np.isfinite(y))
    if bad.size:
        message = f"values[{bad[0]}] must be finite; got {y[bad[0]]} ({bad.size} of {y.size} values are not)"
        raise ValueError(message)
    if len(labels) != y.size or len(set(labels)) != y.size:
        message = (
            f"names must be {y.size} different names; got {len(labels)}, {len(set(labels))} of them different"
        )
        raise ValueError(message)
    _refuse_repeated(quantities)
    return JointResult(
        names=labels,
        values=y,
        inputs=quantities,
        sensitivities=matrix,
        units=_units(units, labels),
        coverage=coverage,
    )


def _refuse_repeated(inputs: Sequence[InputQuantity]) -> None:
    """Refuse two inputs of one identity: a shared input is one column."""
    seen = {(q.name, q.shared_by, q.shared_with) for q in inputs}
    if len(seen) == len(inputs):
        return
    counted: set[Hashable] = set()
    for k, q in enumerate(inputs):
        if q.key in counted:
            message = (
                f"inputs[{k}] must differ from the others in name, shared_by or shared_with; got "
                f"{q.key!r} twice (what results share is one input with one column)"
            )
            raise ValueError(message)
        counted.add(q.key)


def _checked_sensitivities(sensitivities: Any, shape: tuple[int, int]) -> Sensitivities:
    """Return sensitivities as a dense array, or as a sparse one where most are zero."""
    if is_sparse(sensitivities):
        from scipy import sparse  # heavy, and only a campaign needs it

        matrix: Sensitivities = sparse.csr_array(sensitivities, dtype=np.float64)
        if not matrix.has_canonical_format:
            matrix = matrix.copy()
            matrix.sum_duplicates()
        numbers = matrix.data
    else:
        matrix = np.atleast_2d(np.asarray(sensitivities, dtype=np.float64))
        numbers = matrix
    if matrix.shape != shape:
        message = (
            f"sensitivities must have one row a value and one column an input, {shape}; got {matrix.shape}"
        )
        raise ValueError(message)
    if not np.isfinite(numbers).all():
        message = f"sensitivities must be finite; got {numbers[~np.isfinite(numbers)][0]}"
        raise ValueError(message)
    large = shape[0] * shape[1] > 1_000_000
    if large and not is_sparse(matrix) and np.count_nonzero(matrix) < 0.1 * matrix.size:
        from scipy import sparse  # as above

        return sparse.csr_array(matrix)
    return matrix


def _units(units: str | Sequence[str] | Mapping[Hashable, str], names: Sequence[Hashable]) -> tuple[str, ...]:
    """Return one unit a result."""
    if isinstance(units, str):
        return (units,) * len(names)
    found = tuple(units[name] for name in names) if isinstance(units, Mapping) else tuple(units)
    if len(found) != len(names):
        message = f"units must be one for each of {len(names)} results; got {len(found)}"
        raise ValueError(message)
    return found
