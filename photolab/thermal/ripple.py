r"""Ripple in a warm-up record: a swing of supply, ambient or a fan that a settling curve cannot follow.

Residuals, design and harmonics are whitened as for the step scan (`photolab.thermal.steps`), so that
correlated noise does not pass for ripple; the strongest harmonic is compared with what white noise gives
over as many frequencies. A swing as slow as a third of the record cannot be told from correlated noise
and is flagged as that.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photolab.thermal.residuals import whiten
from photolab.thermal.steps import FEWEST, whitening_correlation

FloatArray = NDArray[np.float64]

FALSE_ALARM = 0.005
LONGEST_PART = 1 / 1.5  # of the record: a longer swing cannot be told from settling
SHORTEST_SPACINGS = 4.0
MOST_PERIODS = 200


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
    phi = whitening_correlation(time_s, residual)
    shortest = SHORTEST_SPACINGS * length / (count - 1)
    frequencies = np.linspace(1.0 / (LONGEST_PART * length), 1.0 / shortest, min(count // 3, MOST_PERIODS))
    scale = np.linalg.norm(design, axis=0)
    left, singular, _ = np.linalg.svd(
        whiten(design / np.where(scale > 0, scale, 1.0), phi), full_matrices=False
    )
    basis = left[:, singular > 1e-9 * singular[0]]
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


def _without(basis: FloatArray, columns: FloatArray) -> FloatArray:
    """Return columns without what the fit can take up."""
    remainder: FloatArray = columns - basis @ (basis.T @ columns)
    return remainder
