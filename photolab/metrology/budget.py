"""The uncertainty budget of one result as a table, one row an input quantity."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from photolab.metrology.inputs import InputQuantity

FloatArray = NDArray[np.float64]

COLUMNS = (
    "name",
    "shared_by",
    "shared_with",
    "variance_fraction",
    "contribution",
    "sensitivity",
    "value",
    "standard_uncertainty",
    "distribution",
    "dof",
    "unit",
)


def budget_table(
    inputs: Sequence[InputQuantity], sensitivities: FloatArray, total_variance: float
) -> pd.DataFrame:
    """Return the budget of one result, the largest part first.

    Parameters
    ----------
    inputs : sequence of InputQuantity, length n
        The inputs.
    sensitivities : ndarray, shape (n,)
        Sensitivity of the result to each. [result/input]
    total_variance : float
        Variance of the result. [result²]

    Returns
    -------
    pandas.DataFrame
        Columns name, shared_by, shared_with, variance_fraction [1], contribution (sensitivity times
        standard uncertainty, with its sign) [result], sensitivity [result/input], value [input],
        standard_uncertainty [input], distribution, dof [1], unit. The fractions add up to 1: what
        correlations or terms beyond first order bring stands in a last row, named so.
    """
    u = np.array([q.standard_uncertainty for q in inputs])
    contribution = sensitivities * u
    share = contribution**2 / total_variance if total_variance > 0 else np.zeros_like(contribution)
    order = np.argsort(-share, kind="stable")
    rows: list[tuple[object, ...]] = []
    for k in order.tolist():
        q = inputs[k]
        numbers = (share[k], contribution[k], sensitivities[k], q.value, u[k])
        rows.append((q.name, q.shared_by, q.shared_with, *numbers, q.distribution, q.dof, q.unit))
    return pd.DataFrame.from_records(rows, columns=list(COLUMNS))
