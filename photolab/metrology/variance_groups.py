"""Degrees of freedom of combined uncertainties: inputs that rest on one estimate of variance count once."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from photolab.metrology.inputs import InputQuantity

FloatArray = NDArray[np.float64]
Contributions: TypeAlias = Any  # ndarray or scipy.sparse.csr_array (which carries no types)


def is_sparse(matrix: object) -> bool:
    """Tell whether a matrix is one of scipy's sparse ones, without loading them.

    Parameters
    ----------
    matrix : object
        Any matrix.

    Returns
    -------
    bool
        True for a sparse one.
    """
    return hasattr(matrix, "tocsr")


@dataclass(frozen=True, eq=False)
class VarianceGroups:
    """Which inputs rest on one estimate of variance.

    Parameters
    ----------
    group : ndarray of int, shape (n,)
        Group of each input; -1 for inputs of infinite degrees of freedom.
    dof : ndarray, shape (g,)
        Degrees of freedom of each group. [1]
    """

    group: NDArray[np.int64]
    dof: FloatArray

    def members(self, index: int) -> NDArray[np.int64]:
        """Return the positions of the inputs of one group.

        Parameters
        ----------
        index : int
            Group; -1 for the inputs of infinite degrees of freedom.

        Returns
        -------
        ndarray of int
            Positions of its inputs.
        """
        return np.flatnonzero(self.group == index)


def group_variances(inputs: Sequence[InputQuantity], dof: FloatArray) -> VarianceGroups:
    """Sort inputs by the estimate of variance they rest on.

    Inputs with the same `variance_from` form one group.

    Parameters
    ----------
    inputs : sequence of InputQuantity
        The inputs.
    dof : ndarray, shape (n,)
        Their degrees of freedom. [1]

    Returns
    -------
    VarianceGroups
        The groups.

    Raises
    ------
    ValueError
        If inputs with one `variance_from` state different degrees of freedom.
    """
    finite = np.flatnonzero(np.isfinite(dof))
    group = np.full(dof.size, -1, dtype=np.int64)
    first_of: dict[Hashable, int] = {}
    count = 0
    for k in finite.tolist():
        label = inputs[k].variance_from
        first = k if label is None else first_of.setdefault(label, k)
        if dof[first] != dof[k]:
            message = (
                f"dof[{inputs[k].name!r}] must equal that of {inputs[first].name!r}, which rests on the same "
                f"variance ({label!r}, {dof[first]:g}); got {dof[k]:g}"
            )
            raise ValueError(message)
        if first == k:
            group[k] = count
            count += 1
        else:
            group[k] = group[first]
    labels, group[finite] = np.unique(group[finite], return_inverse=True)
    smallest = np.full(labels.size, np.inf)
    np.minimum.at(smallest, group[finite], dof[finite])
    return VarianceGroups(group, smallest)


def combined_variance(contributions: Contributions) -> FloatArray:
    r"""Return the variance of each row of contributions, :math:`u^2 = \sum_i (c_i u_i)^2`.

    Parameters
    ----------
    contributions : ndarray or scipy.sparse.csr_array, shape (k, n)
        Sensitivity times standard uncertainty. [result]

    Returns
    -------
    ndarray, shape (k,)
        Variance. [result²]

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2.
    """
    square = contributions.multiply(contributions) if is_sparse(contributions) else contributions**2
    return np.asarray(square.sum(axis=1)).ravel()


def _group_sums(
    contributions: Contributions, finite: NDArray[np.int64], groups: VarianceGroups
) -> FloatArray:
    """Return the variance each group brings to each row."""
    label = groups.group[finite]
    if not is_sparse(contributions) and contributions.shape[0] == 1:
        square = contributions[0, finite] ** 2
        sums = np.bincount(label, weights=square, minlength=groups.dof.size)
        return np.asarray(sums, dtype=np.float64)[None, :]
    from scipy import sparse  # heavy, and only a campaign needs it

    belongs = sparse.csr_array(
        (np.ones(finite.size), (finite, label)), shape=(groups.group.size, groups.dof.size)
    )
    square = contributions.multiply(contributions) if is_sparse(contributions) else contributions**2
    by_group = square @ belongs
    return np.asarray(by_group.toarray() if is_sparse(by_group) else by_group)


def effective_dof(contributions: Contributions, groups: VarianceGroups) -> FloatArray:
    r"""Return the effective degrees of freedom of each row of contributions.

    :math:`\nu = u^4 / \sum_g (u_g^4 / \nu_g)`, where :math:`u_g^2` is the variance that all inputs of group
    *g* bring together.

    Parameters
    ----------
    contributions : ndarray or scipy.sparse.csr_array, shape (k, n)
        Sensitivity times standard uncertainty. [result]
    groups : VarianceGroups
        Which inputs rest on one estimate of variance.

    Returns
    -------
    ndarray, shape (k,)
        Effective degrees of freedom, infinity where no input of finite degrees of freedom contributes. [1]

    Notes
    -----
    The formula of Welch and Satterthwaite assumes that the groups are independent of one another and each
    variance is a scaled chi-square.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1.
    """
    total = combined_variance(contributions)
    if not groups.dof.size:
        return np.full(total.shape, np.inf)
    finite = np.flatnonzero(groups.group >= 0)
    by_group = _group_sums(contributions, finite, groups)
    share = np.divide(by_group, total[:, None], out=np.zeros_like(by_group), where=total[:, None] > 0)
    below = np.sum(share**2 / groups.dof, axis=1)
    dof: FloatArray = np.divide(1.0, below, out=np.full(total.shape, np.inf), where=below > 0)
    return dof
