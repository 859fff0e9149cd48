"""The law of propagation of uncertainty: one result, several results that share inputs, whole campaigns."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from photolab.errors import MethodError
from photolab.metrology.correlation import read_correlations
from photolab.metrology.distribution_results import propagate_distributions
from photolab.metrology.inputs import InputQuantity
from photolab.metrology.joint import JointResult, Sensitivities
from photolab.metrology.linearisation import linearise
from photolab.metrology.results import PROPAGATION_OF_DISTRIBUTIONS, MeasurementResult, check_coverage

FloatArray = NDArray[np.float64]
Model = Callable[..., Any]

_RESULT = "result"


def propagate(
    model: Model,
    inputs: Mapping[str, InputQuantity],
    *,
    correlation: Mapping[tuple[Any, Any], float] | None = None,
    coverage: float = 0.95,
    unit: str = "1",
    truncate_dof: bool = False,
) -> MeasurementResult:
    r"""Propagate standard uncertainties through a model.

    .. math:: u^2(y) = \sum_i c_i^2 u_i^2 + 2 \sum_{i<j} r_{ij} c_i u_i c_j u_j

    with sensitivities from central differences, effective degrees of freedom over variance groups and
    Student's t as coverage factor [1]_. Where the terms beyond first order reach half of the linear ones
    (0.5 in standard deviation), the propagation of distributions is reported instead: ``method`` says so,
    and the interval is the shortest one.

    Parameters
    ----------
    model : callable
        Measurement model; takes the inputs as keyword arguments, arrays of one length, and returns an
        array. [unit]
    inputs : mapping of str to InputQuantity
        The inputs by argument name.
    correlation : mapping, optional
        Correlation coefficient by pair of argument names. [1]
    coverage : float, default 0.95
        Coverage probability. [1]
    unit : str, default "1"
        Unit of the result.
    truncate_dof : bool, default False
        Whether the effective degrees of freedom are cut down to a whole number, as JCGM 100:2008, G.4.1
        allows.

    Returns
    -------
    MeasurementResult
        The result; ``second_order`` is the standard deviation of what the linear model leaves out. [unit]

    Raises
    ------
    ValueError
        If a correlation or the coverage is out of range, or the model does not return one value a trial.
    MethodError
        If the model has no finite value at or beside the estimates.

    Notes
    -----
    Valid while the model is close to linear within the uncertainty of its inputs and no single bounded
    input dominates; check it with `monte_carlo.validate_propagation`.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1, 5.2, G.4.1.
    """
    check_coverage(coverage)
    correlations = read_correlations(tuple(inputs), correlation)

    def single(**quantities: FloatArray) -> dict[str, Any]:
        return {_RESULT: model(**quantities)}

    linear = linearise(single, inputs, correlations)
    joint = JointResult(
        names=linear.names,
        values=linear.values,
        inputs=tuple(inputs.values()),
        sensitivities=linear.sensitivities,
        units=(unit,),
        coverage=coverage,
        truncate_dof=truncate_dof,
        correlations=correlations,
        second_order=linear.second_order,
    )
    result = joint.result(_RESULT)
    if not linear.nonlinear(joint.standard_uncertainties).size:
        return result
    return _by_distributions(model, inputs, correlation, result)


def _by_distributions(
    model: Model,
    inputs: Mapping[str, InputQuantity],
    correlation: Mapping[tuple[Any, Any], float] | None,
    linear: MeasurementResult,
) -> MeasurementResult:
    """Return the result of the propagation of distributions in the form of a linear one."""
    drawn = propagate_distributions(
        model, inputs, correlation=correlation, coverage=linear.coverage, interval="shortest"
    )
    half = (drawn.interval[1] - drawn.interval[0]) / 2.0
    u = drawn.standard_uncertainty
    return replace(
        linear,
        value=drawn.value,
        standard_uncertainty=u,
        dof=float("nan"),
        coverage_factor=half / u if u > 0 else float("nan"),
        expanded_uncertainty=half,
        interval=drawn.interval,
        method=PROPAGATION_OF_DISTRIBUTIONS,
    )


def propagate_joint(
    model: Model,
    inputs: Mapping[str, InputQuantity],
    *,
    correlation: Mapping[tuple[Any, Any], float] | None = None,
    coverage: float = 0.95,
    units: str | Sequence[str] | Mapping[Hashable, str] = "1",
) -> JointResult:
    """Propagate standard uncertainties through a model with several results.

    Where the terms beyond first order of a result reach half of its linear ones, their mean is added to its
    value and they enter as inputs of their own ("terms beyond first order", shared_by "model"), so that no
    result is ever certain because its sensitivities are zero; ``beyond_first_order`` names those results.

    Parameters
    ----------
    model : callable
        Measurement model; takes the inputs as keyword arguments, arrays of one length, and returns a dict
        of arrays. [units]
    inputs : mapping of str to InputQuantity
        The inputs by argument name.
    correlation : mapping, optional
        Correlation coefficient by pair of argument names. [1]
    coverage : float, default 0.95
        Coverage probability. [1]
    units : str, sequence or mapping, default "1"
        Unit of all results, of each in order, or by name.

    Returns
    -------
    JointResult
        The results. [units]

    Raises
    ------
    ValueError
        If a correlation or the coverage is out of range, or the model does not return one value a trial.
    MethodError
        If the model has no finite value at or beside the estimates.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2; JCGM 102:2011, 6.2.
    """
    check_coverage(coverage)
    correlations = read_correlations(tuple(inputs), correlation)
    linear = linearise(model, inputs, correlations)
    joint = JointResult(
        names=linear.names,
        values=linear.values,
        inputs=tuple(inputs.values()),
        sensitivities=linear.sensitivities,
        units=_units(units, linear.names),
        coverage=coverage,
        correlations=correlations,
        second_order=linear.second_order,
    )
    nonlinear = linear.nonlinear(joint.standard_uncertainties)
    return _with_terms_beyond(joint, linear.left_out, nonlinear) if nonlinear.size else joint


def combine(
    values: ArrayLike,
    sensitivities: Any,
    inputs: Sequence[InputQuantity] | Mapping[Hashable, InputQuantity],
    *,
    names: Sequence[Hashable] | None = None,
    units: str | Sequence[str] | Mapping[Hashable, str] = "1",
    correlation: Mapping[tuple[Any, Any], float] | None = None,
    coverage: float = 0.95,
) -> JointResult:
    r"""Join results whose sensitivities are known.

    .. math:: V = S \, \mathrm{diag}(u) \, R \, \mathrm{diag}(u) \, S^T

    Parameters
    ----------
    values : array_like, shape (m,)
        Best estimates. [units]
    sensitivities : array_like or scipy.sparse array or matrix, shape (m, n)
        Sensitivity of each result to each input. [units/input]
    inputs : sequence or mapping of InputQuantity, length n
        The inputs, in the order of the columns.
    names : sequence of hashable, optional
        Names of the results; 0 to m - 1 if not given.
    units : str, sequence or mapping, default "1"
        Unit of all results, of each in order, or by name.
    correlation : mapping, optional
        Correlation coefficient by pair of inputs: by key of the mapping, or by the name of an input (by its
        `key` where names repeat). [1]
    coverage : float, default 0.95
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

    Notes
    -----
    Sensitivities are taken as they are given. Where a model is flat at its estimates they are zero and tell
    nothing: use `propagate` or `propagate_joint`, which look beyond first order.

    References
    ----------
    .. [1] JCGM 102:2011, 6.2.
    """
    check_coverage(coverage)
    y = np.atleast_1d(np.asarray(values, dtype=np.float64))
    quantities = tuple(inputs.values()) if isinstance(inputs, Mapping) else tuple(inputs)
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
    keys: Sequence[Hashable]
    if isinstance(inputs, Mapping):
        keys = tuple(inputs)
    else:
        _refuse_repeated(quantities)
        keys = _correlation_keys(quantities) if correlation else ()
    return JointResult(
        names=labels,
        values=y,
        inputs=quantities,
        sensitivities=matrix,
        units=_units(units, labels),
        coverage=coverage,
        correlations=read_correlations(keys, correlation),
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


def _correlation_keys(inputs: Sequence[InputQuantity]) -> tuple[Hashable, ...]:
    """Return the keys a correlation may use: the name, or the whole identity where names repeat."""
    times: dict[Hashable, int] = {}
    for q in inputs:
        times[q.name] = times.get(q.name, 0) + 1
    return tuple(q.name if times[q.name] == 1 else q.key for q in inputs)


def _checked_sensitivities(sensitivities: Any, shape: tuple[int, int]) -> Sensitivities:
    """Return sensitivities as a dense array, or as a sparse one where most are zero."""
    if sparse.issparse(sensitivities):
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
    if large and not sparse.issparse(matrix) and np.count_nonzero(matrix) < 0.1 * matrix.size:
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


def _with_terms_beyond(joint: JointResult, left_out: FloatArray, nonlinear: NDArray[np.int64]) -> JointResult:
    """Give the terms beyond first order of some results inputs of their own."""
    picked = left_out[nonlinear]
    missing = np.isnan(picked).any(axis=1)
    if missing.any():
        k = int(nonlinear[missing][0])
        message = (
            f"model result {joint.names[k]!r} must be finite within the uncertainty of its inputs; got "
            f"{np.isnan(left_out[k]).mean():.2%} of draws that are not"
        )
        raise MethodError(message, code="model_not_finite", known={"value": float(joint.values[k])})
    values = joint.values.copy()
    values[nonlinear] += picked.mean(axis=1)
    eigenvalue, eigenvector = np.linalg.eigh(np.atleast_2d(np.cov(picked)))
    extra = np.zeros((values.size, nonlinear.size))
    extra[nonlinear] = eigenvector
    sds = np.sqrt(np.maximum(eigenvalue, 0.0)).tolist()
    own = tuple(
        InputQuantity("terms beyond first order", 0.0, sd, shared_by="model", shared_with=str(k))
        for k, sd in enumerate(sds, start=1)
    )
    return replace(
        joint,
        values=values,
        inputs=joint.inputs + own,
        sensitivities=np.hstack([joint.sensitivities, extra]),
        beyond_first_order=tuple(joint.names[k] for k in nonlinear.tolist()),
    )
