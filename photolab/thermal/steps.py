r"""What a settling curve cannot follow: a step (foldback, a disturbance of the bench), or ripple.

Both scans work on what a smooth fit leaves over. Correlated noise looks like steps and like ripple, so residuals,
design and the shape looked for are whitened first with the correlation :math:`r_1 + 2.5/n`: the lag-one
correlation of the residuals, lifted because a fit takes some of it away. All change points are then compared by
cumulative sums; the strongest harmonic is compared with what white noise gives over as many frequencies. A swing of
supply, ambient or a fan as slow as a third of the record cannot be told from correlated noise and is flagged as
that.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photolab.thermal.residuals import column_space, whiten

FloatArray = NDArray[np.float64]


THRESHOLD = 4.4  # false alarms in at most 1.5 % of records: tests/benchmarks/warm_up_coverage.py


THRESHOLD_COARSE = 5.0  # for a display whose step exceeds the noise


TRIM = 4  # readings at either end where a step cannot be told from the curve


FEWEST = 16


LARGEST_CORRELATION = 0.97


FALSE_ALARM = 0.005


LONGEST_PART = 1 / 1.5  # of the record: a longer swing cannot be told from settling


SHORTEST_SPACINGS = 4.0


MOST_PERIODS = 200


RIPPLE_TOLERANCE = 1e-9  # singular values below this part of the largest leave nothing to a harmonic


@dataclass(frozen=True)
class StepScan:
    """The likeliest step of a record.

    Parameters
    ----------
    index : int
        First reading after the step; -1 where the record is too short to scan.
    statistic : float
        Size of the step over its standard uncertainty. [1]
    found : bool
        Whether the statistic passes the threshold.
    """

    index: int
    statistic: float
    found: bool


def scan_step(
    time_s: FloatArray, residual: FloatArray, design: FloatArray, *, threshold: float = THRESHOLD
) -> StepScan:
    """Scan the residuals of a smooth fit for a step.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    residual : ndarray, shape (n,)
        Residuals. [unit of y]
    design : ndarray, shape (n, p)
        Derivatives of the fit by its parameters. [any]
    threshold : float, default 4.4
        Smallest statistic taken for a step. [1]

    Returns
    -------
    StepScan
        The likeliest change point.

    Notes
    -----
    A change that takes many readings is not a step; the check of the settling form sees it instead.
    """
    count = residual.size
    total = float(residual @ residual)
    if count < FEWEST or total == 0.0:
        return StepScan(-1, 0.0, False)
    phi = _whitening_correlation(time_s, residual)
    basis, _ = column_space(whiten(design, phi))
    white = whiten(residual, phi)
    white = white - basis @ (basis.T @ white)
    root = np.sqrt(1.0 - phi**2)
    jump, after = 1.0 / root, (1.0 - phi) / root
    with_noise = _with_steps(white[:, None], jump, after)[:, 0]
    with_basis = _with_steps(basis, jump, after)
    squared = jump**2 + _tail_sums((after**2)[:, None])[:, 0]
    length = np.maximum(squared - np.sum(with_basis**2, axis=1), 1e-12 * squared)
    explained = with_noise**2 / length
    dof = count - basis.shape[1] - 1
    left_over = np.maximum(float(white @ white) - explained, 1e-300)
    statistic = np.sqrt(explained / (left_over / dof))
    inside = statistic[TRIM - 1 : count - TRIM]
    best = int(np.argmax(inside))
    return StepScan(best + TRIM, float(inside[best]), bool(inside[best] > threshold))


@dataclass(frozen=True)
class RippleScan:
    """The strongest harmonic of the residuals.

    Parameters
    ----------
    period_s : float
        Its period. [s]
    statistic : float
        Sum of squares it explains over the noise variance. [1]
    found : bool
        Whether white noise would seldom give as much.
    """

    period_s: float
    statistic: float
    found: bool


def scan_ripple(time_s: FloatArray, residual: FloatArray, design: FloatArray) -> RippleScan:
    """Scan the residuals of a fit for one harmonic.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Ascending times. [s]
    residual : ndarray, shape (n,)
        Residuals. [unit of y]
    design : ndarray, shape (n, p)
        Derivatives of the fit by its parameters. [any]

    Returns
    -------
    RippleScan
        The strongest harmonic.
    """
    count, length = time_s.size, float(np.ptp(time_s))
    if count < FEWEST or not np.any(residual):
        return RippleScan(np.nan, 0.0, False)
    phi = _whitening_correlation(time_s, residual)
    shortest = SHORTEST_SPACINGS * length / (count - 1)
    frequencies = np.linspace(1.0 / (LONGEST_PART * length), 1.0 / shortest, min(count // 3, MOST_PERIODS))
    basis, _ = column_space(whiten(design, phi), tolerance=RIPPLE_TOLERANCE)
    angles = 2.0 * np.pi * (time_s - time_s[0])[:, None] * frequencies
    waves = [_without(basis, whiten(wave, phi)) for wave in (np.cos(angles), np.sin(angles))]
    white = _without(basis, whiten(residual, phi))
    a, d = (np.sum(wave**2, axis=0) for wave in waves)
    b = np.sum(waves[0] * waves[1], axis=0)
    p, q = (wave.T @ white for wave in waves)
    explained = (d * p**2 - 2.0 * b * p * q + a * q**2) / np.maximum(a * d - b * b, 1e-9 * a * d)
    best = int(np.argmax(explained))
    noise = max(float(white @ white) - float(explained[best]), 1e-300) / (count - basis.shape[1] - 2)
    statistic = float(explained[best]) / noise
    limit = 2.0 * float(np.log(frequencies.size / FALSE_ALARM))
    return RippleScan(float(1.0 / frequencies[best]), statistic, statistic > limit)


def _whitening_correlation(time_s: FloatArray, residual: FloatArray) -> FloatArray:
    """Return the correlation of neighbours to whiten with: lag one plus 2.5/n, spread over uneven gaps."""
    lag_one = float(residual[1:] @ residual[:-1]) / float(residual @ residual)
    rho = min(max(lag_one + 2.5 / residual.size, 0.0), LARGEST_CORRELATION)
    gaps = np.diff(time_s)
    return np.asarray(rho ** (gaps / np.median(gaps)) if rho > 0 else np.zeros(gaps.size), dtype=np.float64)


def _tail_sums(values: FloatArray) -> FloatArray:
    """Return for each row the sum of the rows behind it."""
    behind = np.cumsum(values[::-1], axis=0)[::-1]
    return np.concatenate([behind[1:], np.zeros((1, values.shape[1]))])


def _with_steps(columns: FloatArray, jump: FloatArray, after: FloatArray) -> FloatArray:
    """Return the products of whitened steps at readings 1 to n - 1 with columns."""
    body = columns[1:]
    return body * jump[:, None] + _tail_sums(body * after[:, None])


def _without(basis: FloatArray, columns: FloatArray) -> FloatArray:
    """Return columns without what the fit can take up."""
    remainder: FloatArray = columns - basis @ (basis.T @ columns)
    return remainder
