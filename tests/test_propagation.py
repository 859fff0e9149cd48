"""Results joined from sensitivities that are known. Oracles: closed forms."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import sparse

from photolab.metrology.inputs import InputQuantity
from photolab.metrology.propagation import combine


def test_combine_dense_and_sparse_agree():
    """Closed form S diag(u²) S', dense, sparse, sparse with shared columns, and a large dense array that is
    mostly zero.
    """
    rng = np.random.default_rng(5)
    m, n = 60, 20_000
    s = np.zeros((m, n))
    s[np.arange(n) % m, np.arange(n)] = rng.normal(size=n)
    s[:, :5] = rng.normal(size=(m, 5))
    inputs = [InputQuantity("x", 0, u, shared_with=k) for k, u in enumerate(rng.uniform(0.1, 1, n))]
    u = np.array([q.standard_uncertainty for q in inputs])
    expected = (s * u**2) @ s.T
    y = rng.normal(size=m)
    for matrix in (s, sparse.csc_matrix(s), sparse.csr_array(s)):
        joint = combine(y, matrix, inputs)
        assert sparse.issparse(joint.sensitivities)
        assert_allclose(
            joint.covariance, expected, rtol=1e-10, atol=1e-12
        )  # rounding of sums of 20 000 terms
        assert_allclose(
            joint.contrast({0: 1, 1: -1}).standard_uncertainty,
            np.sqrt(((s[0] - s[1]) * u) @ ((s[0] - s[1]) * u)),
            rtol=1e-11,
        )


def test_combine_adds_entries_that_stand_twice():
    """A sparse row may hold one column twice: closed form (1 + 2)² · 0.5²; the caller's matrix is left
    alone.
    """
    twice = sparse.csr_array((np.array([1.0, 2.0]), np.array([0, 0]), np.array([0, 2])), shape=(1, 1))
    joint = combine([0.0], twice, [InputQuantity("a", 0, 0.5)])
    assert_allclose(joint.covariance, [[2.25]], rtol=1e-14)  # float rounding
    assert_allclose(joint.result(0).standard_uncertainty, 1.5, rtol=1e-14)  # as above
    assert twice.nnz == 2


def test_combine_refuses():
    """Shapes, numbers, names, and two inputs of one identity."""
    a, b = InputQuantity("a", 0, 1), InputQuantity("b", 0, 1)
    with pytest.raises(ValueError, match=r"one row a value and one column an input, \(1, 2\); got \(2, 1\)"):
        combine([0.0], [[1.0], [1.0]], [a, b])
    with pytest.raises(ValueError, match=r"values\[1\] must be finite; got nan \(1 of 2 values are not\)"):
        combine([0.0, np.nan], np.eye(2), [a, b])
    with pytest.raises(ValueError, match="sensitivities must be finite; got inf"):
        combine([0.0], [[1.0, np.inf]], [a, b])
    with pytest.raises(ValueError, match="sensitivities must be finite; got nan"):
        combine([0.0], sparse.csr_array([[1.0, np.nan]]), [a, b])
    with pytest.raises(ValueError, match="names must be 2 different names; got 2, 1 of them different"):
        combine([0.0, 1.0], np.eye(2), [a, b], names=["x", "x"])
    with pytest.raises(ValueError, match=r"inputs\[1\] must differ .* got \('a', 'reading', ''\) twice"):
        combine([0.0], [[1.0, 1.0]], [a, a])
    with pytest.raises(ValueError, match="units must be one for each of 1 results; got 2"):
        combine([0.0], [[1.0, 1.0]], [a, b], units=["lx", "m"])
    with pytest.raises(ValueError, match="coverage must be more than 0 and less than 1; got 95"):
        combine([0.0], [[1.0, 1.0]], [a, b], coverage=95)
    pool = [InputQuantity(n, 0, 1, dof=k, variance_from="pool") for n, k in (("a", 4), ("b", 5))]
    joint = combine([0.0], [[1.0, 1.0]], pool)
    with pytest.raises(ValueError, match=r"dof\['b'\] must equal that of 'a', .*\('pool', 4\); got 5"):
        joint.result(0)
