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

from photolab.metrology.arguments import Floats
from photolab.thermal.residuals import RANK_TOLERANCE, column_space, explained_by_both, whiten

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
    time_s: Floats, residual: Floats, design: Floats, *, threshold: float = THRESHOLD, rounding: float = 0.0
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
    rounding : float, default 0
        Residuals of this size are arithmetic, and not scanned. [unit of y]

    Returns
    -------
    StepScan
        The likeliest change point.

    Notes
    -----
    A change that takes many readings is not a step; the check of the settling form sees it instead.
    """
    count = residual.size
    if count < FEWEST or float(residual @ residual) <= count * rounding**2:
        return StepScan(-1, 0.0, False)
    phi, basis, white = _whitened(time_s, residual, design, RANK_TOLERANCE)
    root = np.sqrt(1.0 - phi**2)
    jump, after = 1.0 / root[:, None], ((1.0 - phi) / root)[:, None]
    columns = np.column_stack([white, basis])[1:]  # their products with whitened steps at readings 1 to n - 1
    moved = np.column_stack([columns * after, after**2])
    behind = np.cumsum(moved[::-1], axis=0)[::-1] - moved  # of each row, the sum of the rows behind it
    products, squared = columns * jump + behind[:, :-1], jump[:, 0] ** 2 + behind[:, -1]
    length = np.maximum(squared - np.sum(products[:, 1:] ** 2, axis=1), 1e-12 * squared)
    explained = products[:, 0] ** 2 / length
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


def scan_ripple(time_s: Floats, residual: Floats, design: Floats) -> RippleScan:
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
    shortest = SHORTEST_SPACINGS * length / (count - 1)
    frequencies = np.linspace(1.0 / (LONGEST_PART * length), 1.0 / shortest, min(count // 3, MOST_PERIODS))
    phi, basis, white = _whitened(time_s, residual, design, RIPPLE_TOLERANCE)
    angles = 2.0 * np.pi * (time_s - time_s[0])[:, None] * frequencies
    waves = whiten(np.concatenate([np.cos(angles), np.sin(angles)], axis=1), phi)
    waves -= basis @ (basis.T @ waves)
    cosines, sines = np.split(waves, 2, axis=1)
    explained = explained_by_both(cosines, sines, white)
    best = int(np.argmax(explained))
    noise = max(float(white @ white) - float(explained[best]), 1e-300) / (count - basis.shape[1] - 2)
    statistic = float(explained[best]) / noise
    limit = 2.0 * float(np.log(frequencies.size / FALSE_ALARM))
    return RippleScan(float(1.0 / frequencies[best]), statistic, statistic > limit)


def _whitened(
    time_s: Floats, residual: Floats, design: Floats, tolerance: float
) -> tuple[Floats, Floats, Floats]:
    """Return the correlation of neighbours to whiten with, the whitened design's basis, and the residual beside it.

    The correlation is that of lag one plus 2.5/n, spread over uneven gaps.
    """
    lag_one = float(residual[1:] @ residual[:-1]) / float(residual @ residual)
    rho = min(max(lag_one + 2.5 / residual.size, 0.0), LARGEST_CORRELATION)
    gaps = np.diff(time_s)
    phi = np.asarray(rho ** (gaps / np.median(gaps)) if rho > 0 else np.zeros(gaps.size), dtype=np.float64)
    basis, _ = column_space(whiten(design, phi), tolerance=tolerance)
    white = whiten(residual, phi)
    return phi, basis, white - basis @ (basis.T @ white)
