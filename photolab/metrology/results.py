"""What comes out of a measurement: a value with its uncertainty, its interval and its budget."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.quantity import coverage_factor

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MeasurementResult:
    """The result of a measurement.

    Parameters
    ----------
    value : float
        Best estimate. [unit]
    standard_uncertainty : float
        Combined standard uncertainty. [unit]
    dof : float
        Effective degrees of freedom. [1]
    coverage : float
        Coverage probability of the interval. [1]
    coverage_factor : float
        Expanded over standard uncertainty. [1]
    expanded_uncertainty : float
        Half width of the interval (for a ratio: of the interval in ln, times the ratio). [unit]
    interval : tuple of float
        Coverage interval, low and high. [unit]
    unit : str
        Unit of the value.
    inputs : tuple of InputQuantity
        The inputs that enter.
    sensitivities : ndarray, shape (n,)
        Sensitivity to each of them. [unit/input]
    """

    value: float
    standard_uncertainty: float
    dof: float
    coverage: float
    coverage_factor: float
    expanded_uncertainty: float
    interval: tuple[float, float]
    unit: str = "1"
    inputs: tuple[InputQuantity, ...] = field(default=(), repr=False)
    sensitivities: FloatArray = field(default_factory=lambda: np.empty(0), repr=False)

    @cached_property
    def budget(self) -> pd.DataFrame:
        """The uncertainty budget, largest part first (columns: see `budget.budget_table`)."""
        from photolab.metrology.budget import budget_table  # heavy: it holds pandas

        return budget_table(self.inputs, self.sensitivities, self.standard_uncertainty**2)


def first_order_result(
    value: float,
    standard_uncertainty: float,
    dof: float,
    *,
    coverage: float,
    unit: str = "1",
    inputs: Sequence[InputQuantity] = (),
    sensitivities: FloatArray | None = None,
) -> MeasurementResult:
    """Return a result of the law of propagation, with the coverage factor of Student's t.

    Parameters
    ----------
    value, standard_uncertainty : float
        Estimate and combined standard uncertainty. [unit]
    dof : float
        Effective degrees of freedom. [1]
    coverage : float
        Coverage probability, between 0 and 1. [1]
    unit : str, default "1"
        Unit.
    inputs : sequence of InputQuantity
        The inputs.
    sensitivities : ndarray, shape (n,), optional
        Sensitivity to each. [unit/input]

    Returns
    -------
    MeasurementResult
        The result.
    """
    check_coverage(coverage)
    k = coverage_factor(coverage, dof)
    expanded = k * standard_uncertainty
    return MeasurementResult(
        value=value,
        standard_uncertainty=standard_uncertainty,
        dof=dof,
        coverage=coverage,
        coverage_factor=k,
        expanded_uncertainty=expanded,
        interval=(value - expanded, value + expanded),
        unit=unit,
        inputs=tuple(inputs),
        sensitivities=np.empty(0) if sensitivities is None else sensitivities,
    )


def check_coverage(coverage: float) -> None:
    """Refuse a coverage probability outside 0 to 1.

    Parameters
    ----------
    coverage : float
        Coverage probability. [1]

    Raises
    ------
    ValueError
        If it is not strictly between 0 and 1.
    """
    if not 0 < coverage < 1:
        message = f"coverage must be more than 0 and less than 1; got {coverage}"
        raise ValueError(message)
