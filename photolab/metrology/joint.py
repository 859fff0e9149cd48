"""Several results that share inputs: their covariance, and what any weighted sum of them is worth."""

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.quantity import COVERAGE, exp_symmetric
from photolab.metrology.results import MeasurementResult, first_order_result
from photolab.metrology.variance_groups import (
    VarianceGroups,
    combined_variance,
    effective_dof,
    group_variances,
    is_sparse,
)

FloatArray = NDArray[np.float64]
Sensitivities: TypeAlias = Any  # ndarray or scipy.sparse.csr_array (which carries no types)


@dataclass(frozen=True, eq=False)
class JointResult:
    """Several results with the inputs they share.

    Parameters
    ----------
    names : tuple of hashable
        Name of each result.
    values : ndarray, shape (m,)
        Best estimates. [unit]
    inputs : tuple of InputQuantity, length n
        The inputs.
    sensitivities : ndarray or scipy.sparse.csr_array, shape (m, n)
        Sensitivity of each result to each input. [unit/input]
    units : tuple of str
        Unit of each result.
    coverage : float
        Coverage probability of the intervals made from this. [1]
    """

    names: tuple[Hashable, ...]
    values: FloatArray
    inputs: tuple[InputQuantity, ...]
    sensitivities: Sensitivities
    units: tuple[str, ...]
    coverage: float = COVERAGE

    @cached_property
    def covariance(self) -> FloatArray:
        """Covariance matrix of the results [unit²]."""
        return _covariance(self.sensitivities, self._uncertainties)

    @cached_property
    def correlation(self) -> FloatArray:
        """Correlation matrix of the results; zero beside a result that has no uncertainty [1]."""
        sd = np.sqrt(np.diag(self.covariance))
        scale = np.divide(1.0, sd, out=np.zeros_like(sd), where=sd > 0)
        matrix: FloatArray = np.clip(self.covariance * np.outer(scale, scale), -1.0, 1.0)
        np.fill_diagonal(matrix, 1.0)
        return matrix

    @cached_property
    def standard_uncertainties(self) -> FloatArray:
        """Standard uncertainty of each result [unit]."""
        return np.sqrt(np.diag(self.covariance))

    @cached_property
    def variance_groups(self) -> VarianceGroups:
        """Which inputs rest on one estimate of variance."""
        dof = np.fromiter((q.dof for q in self.inputs), dtype=np.float64, count=len(self.inputs))
        return group_variances(self.inputs, dof)

    @cached_property
    def _position(self) -> dict[Hashable, int]:
        return {name: k for k, name in enumerate(self.names)}

    @cached_property
    def _uncertainties(self) -> FloatArray:
        return np.fromiter(
            (q.standard_uncertainty for q in self.inputs), dtype=np.float64, count=len(self.inputs)
        )

    def position(self, name: Hashable) -> int:
        """Return the place of a result.

        Parameters
        ----------
        name : hashable
            Name of the result.

        Returns
        -------
        int
            Its place in `names`.

        Raises
        ------
        ValueError
            If there is no result of that name.
        """
        try:
            return self._position[name]
        except KeyError:
            message = f"name must be one of the {len(self.names)} results; got {name!r}"
            raise ValueError(message) from None

    def result(self, name: Hashable, *, coverage: float | None = None) -> MeasurementResult:
        """Return one result with its interval.

        Parameters
        ----------
        name : hashable
            Name of the result.
        coverage : float, optional
            Coverage probability, this joint result's own if not given. [1]

        Returns
        -------
        MeasurementResult
            The result. [unit]
        """
        k = self.position(name)
        return self._measured({name: 1.0}, unit=self.units[k], coverage=coverage)

    def contrast(
        self, weights: Mapping[Hashable, float], *, unit: str | None = None, coverage: float | None = None
    ) -> MeasurementResult:
        """Return a weighted sum of results; what they share cancels or adds as the weights say.

        Parameters
        ----------
        weights : mapping of hashable to float
            Weight by name; names left out have weight 0. [1]
        unit : str, optional
            Unit of the sum; the results' own if they have but one.
        coverage : float, optional
            Coverage probability, this joint result's own if not given. [1]

        Returns
        -------
        MeasurementResult
            The weighted sum. [unit]
        """
        if unit is None:
            units = {self.units[self.position(name)] for name in weights}
            if len(units) > 1:
                message = (
                    f"unit must be given for a contrast of results in different units; got {sorted(units)}"
                )
                raise ValueError(message)
            unit = units.pop() if units else "1"
        return self._measured(weights, unit=unit, coverage=coverage)

    def ratio(self, a: Hashable, b: Hashable, *, coverage: float | None = None) -> MeasurementResult:
        r"""Return the ratio a/b of two results whose values are natural logarithms.

        The interval is :math:`\exp(d \pm U)` with :math:`d = \ln a - \ln b`, so it is not symmetric about
        the ratio. The standard and the expanded uncertainty are those of :math:`d`, times the ratio.
        Swapping a and b gives exactly the reciprocal value and limits. The result in ln is the `contrast`
        with weights 1 and -1.

        Parameters
        ----------
        a, b : hashable
            Names of the two results.
        coverage : float, optional
            Coverage probability, this joint result's own if not given. [1]

        Returns
        -------
        MeasurementResult
            The ratio. [1]
        """
        weights: dict[Hashable, float] = {} if a == b else {a: 1.0, b: -1.0}
        for name in (a, b):
            self.position(name)
        d = self._measured(weights, unit="1", coverage=coverage)
        value = exp_symmetric(d.value)
        return MeasurementResult(
            value=value,
            standard_uncertainty=d.standard_uncertainty * value,
            dof=d.dof,
            coverage=d.coverage,
            coverage_factor=d.coverage_factor,
            expanded_uncertainty=d.expanded_uncertainty * value,
            interval=(exp_symmetric(d.interval[0]), exp_symmetric(d.interval[1])),
            inputs=d.inputs,
            sensitivities=d.sensitivities * value,
        )

    def subset(self, shared_by: str | Iterable[str]) -> "JointResult":
        """Return the same results with only the inputs shared by some kinds of things.

        Parameters
        ----------
        shared_by : str or iterable of str
            Kind, or kinds, as the inputs name them.

        Returns
        -------
        JointResult
            Same names and values; the covariance those inputs bring alone.
        """
        kinds = {shared_by} if isinstance(shared_by, str) else set(shared_by)
        keep = np.array([k for k, q in enumerate(self.inputs) if q.shared_by in kinds], dtype=np.int64)
        return replace(
            self,
            inputs=tuple(self.inputs[k] for k in keep.tolist()),
            sensitivities=self.sensitivities[:, keep],
        )

    def dof(self, weights: Mapping[Hashable, float] | FloatArray) -> float | FloatArray:
        """Return the effective degrees of freedom of weighted sums of results.

        Parameters
        ----------
        weights : mapping of hashable to float, or ndarray of shape (m,) or (k, m)
            Weights of one sum, or of k sums. [1]

        Returns
        -------
        float, or ndarray of shape (k,)
            Effective degrees of freedom. [1]
        """
        rows = self._weight_rows(weights)
        dof = effective_dof(self._contributions(rows), self.variance_groups)
        return dof if not isinstance(weights, Mapping) and np.ndim(weights) == 2 else float(dof[0])

    def _weight_rows(self, weights: Mapping[Hashable, float] | FloatArray) -> Sensitivities:
        """Return weights as rows, sparse where the sensitivities are."""
        if isinstance(weights, Mapping):
            rows = np.zeros((1, len(self.names)))
            for name, weight in weights.items():
                rows[0, self.position(name)] += weight
        else:
            rows = np.atleast_2d(np.asarray(weights, dtype=np.float64))
        if rows.shape[1] != len(self.names):
            message = (
                f"weights must have one column for each of the {len(self.names)} results; got {rows.shape[1]}"
            )
            raise ValueError(message)
        if not np.isfinite(rows).all():
            message = f"weights must be finite; got {rows[~np.isfinite(rows)][0]}"
            raise ValueError(message)
        return type(self.sensitivities)(rows) if is_sparse(self.sensitivities) else rows

    def _contributions(self, rows: Sensitivities) -> Sensitivities:
        """Return sensitivity times standard uncertainty of weighted sums."""
        summed = rows @ self.sensitivities
        if is_sparse(summed):
            return summed.multiply(self._uncertainties[None, :]).tocsr()
        return np.asarray(summed * self._uncertainties)

    def _measured(
        self, weights: Mapping[Hashable, float], *, unit: str, coverage: float | None
    ) -> MeasurementResult:
        """Return one weighted sum as a result."""
        value = float(sum(w * self.values[self.position(name)] for name, w in weights.items()))
        summed = self._summed(weights)
        contributions = (summed * self._uncertainties)[None, :]
        variance = combined_variance(contributions)
        dof = effective_dof(contributions, self.variance_groups)
        # a campaign's budget names the inputs that enter, not the thousands that do not
        enters = np.flatnonzero(summed) if is_sparse(self.sensitivities) else np.arange(summed.size)
        return first_order_result(
            value,
            float(np.sqrt(variance[0])),
            float(dof[0]),
            coverage=self.coverage if coverage is None else coverage,
            unit=unit,
            inputs=tuple(self.inputs[k] for k in enters.tolist()),
            sensitivities=summed[enters],
        )

    def _summed(self, weights: Mapping[Hashable, float]) -> FloatArray:
        """Return the sensitivities of one weighted sum."""
        summed = np.zeros(len(self.inputs))
        s = self.sensitivities
        for name, weight in weights.items():
            k = self.position(name)
            if not np.isfinite(weight):
                message = f"weights[{name!r}] must be finite; got {weight}"
                raise ValueError(message)
            if is_sparse(s):
                row = slice(s.indptr[k], s.indptr[k + 1])
                summed[s.indices[row]] += weight * s.data[row]
            else:
                summed += weight * s[k]
        return summed


def _covariance(sensitivities: Sensitivities, u: FloatArray) -> FloatArray:
    """Return S diag(u)² S' without an array of all inputs squared."""
    if not is_sparse(sensitivities):
        return np.asarray((sensitivities * u) @ (sensitivities * u).T)
    scaled = sensitivities.multiply(u[None, :]).tocsc()
    filled = np.diff(scaled.indptr)
    shared = filled > max(8, scaled.shape[0] // 16)  # what most results share is faster as a dense block
    dense = scaled[:, np.flatnonzero(shared)].toarray()
    own = scaled[:, np.flatnonzero(~shared)].tocsr()
    return np.asarray(dense @ dense.T + (own @ own.T).toarray())
