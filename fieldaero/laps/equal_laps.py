"""Crossings of the start line, improved by the knowledge that all laps have one length.

A crossing seen by satellite is off by about 2 m; a button press by about 1 s,
which is 12 m at racing speed; the wheel measures a lap to about 0.1 %.  Taken
together they are better than each.  The true crossings are laps of one common
length that wander a little from lap to lap, the seen ones the truth plus noise,

    y_k = z_k + v_k,              v_k ~ N(0, s_v^2)
    z_k+1 = z_k + n_k L + w_k,    w_k ~ N(0, n_k s_w^2)

with L, s_v and s_w from the data by marginal likelihood (L and the first z flat,
weak log-normal priors on s_v and s_w).  Where lap lengths disagree by more than
the tolerance nothing ties the two crossings together.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

from fieldaero.basics.quantities import Floats

__all__ = ["LAPS_DIFFER", "common_length_m", "equal_lap_crossings_m"]

LAPS_AGREE = 0.003  # laps are tied together if their lengths differ by no more than this share ...
LAPS_AGREE_SD = 4.0  # ... and this many sd of both crossings, and in no case by
LAPS_DIFFER = 0.03  # ... this share
LAP_WANDER_M = 1.0  # prior median of s_w: riding line and wheel, per lap


def equal_lap_crossings_m(crossing_m: Floats, *, sd_m: float) -> Floats:
    """Return crossings [m of wheel distance], shape (n,), rising, moved so that the laps between them are alike.

    ``sd_m`` is what is believed beforehand of the standard deviation of one crossing. Where fewer than four
    crossings agree they stay as they were.

    Examples
    --------
    >>> equal_lap_crossings_m(np.array([0.0, 1003.0, 1998.0, 3001.0, 3999.0]), sd_m=3.0).round().tolist()
    [1.0, 1001.0, 2000.0, 3000.0, 3999.0]
    """
    y = np.asarray(crossing_m, dtype=np.float64)
    if len(y) < 4:
        return y
    typical = common_length_m(np.diff(y))
    chain = _chain(y, typical, sd_m=sd_m)
    n, tied = _laps_between(np.diff(y[chain]), typical, sd_m=sd_m)
    if np.count_nonzero(tied) < 3:
        return y
    log_v = math.log(sd_m) + np.linspace(-1.2, 1.2, 7)
    log_w = math.log(LAP_WANDER_M) + np.linspace(-2.4, 2.4, 9)
    best, smoothed = -np.inf, y[chain]
    for v in log_v:
        for w in log_w:
            z, likelihood = _smoothed_m(y[chain], n, tied, typical, sd_v=math.exp(v), sd_w=math.exp(w))
            likelihood -= ((v - math.log(sd_m)) / 0.5) ** 2 / 2.0 + ((w - math.log(LAP_WANDER_M)) / 0.8) ** 2 / 2.0
            if likelihood > best:
                best, smoothed = likelihood, z
    corrected = y.copy()
    corrected[chain] = smoothed
    return corrected if np.all(np.diff(corrected) > 0.0) else y


def common_length_m(steps_m: Floats) -> float:
    """Median of the largest group of steps [m], shape (n,), of about one length.

    Examples
    --------
    >>> common_length_m(np.array([420.0, 1500.0, 1503.0, 800.0, 1498.0]))
    1500.0
    """
    group = np.abs(steps_m[:, None] / steps_m - 1.0) < LAPS_DIFFER
    return float(np.median(steps_m[group[:, int(np.argmax(group.sum(axis=0)))]]))


def _laps_between(step_m: Floats, typical: float, *, sd_m: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Whole laps in each step, at least 1, and whether the step is that many laps within the noise."""
    n = np.maximum(np.round(step_m / typical), 1.0)
    tolerance = LAPS_AGREE * n * typical + LAPS_AGREE_SD * sd_m * math.sqrt(2.0)
    return n, np.abs(step_m - n * typical) <= np.minimum(tolerance, LAPS_DIFFER * n * typical)


def _chain(y: Floats, typical: float, *, sd_m: float) -> NDArray[np.intp]:
    """Crossings that tie best: a stray press is left out, a lap with a detour only breaks the chain."""
    score = np.zeros(len(y))
    before = np.full(len(y), -1)
    for j in range(1, len(y)):
        i = np.arange(max(0, j - 6), j)
        _, tied = _laps_between(y[j] - y[i], typical, sd_m=sd_m)
        reached = score[i] + np.where(tied, 1.0, -0.6)
        k = len(i) - 1 - int(np.argmax(reached[::-1]))
        if reached[k] > 0.0:
            score[j], before[j] = reached[k], i[k]
    chain = [int(np.argmax(score))]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1], dtype=np.intp)


def _smoothed_m(
    y: Floats, n: Floats, tied: NDArray[np.bool_], typical: float, *, sd_v: float, sd_w: float
) -> tuple[Floats, float]:
    """Posterior mean of the crossings and the log marginal likelihood of the noise sizes."""
    pull = np.where(tied, 1.0 / (np.maximum(n, 1.0) * sd_w**2), 0.0)
    band = np.zeros((2, len(y)))
    band[0, 1:] = -pull
    band[1] = 1.0 / sd_v**2
    band[1, :-1] += pull
    band[1, 1:] += pull
    factor = (cholesky_banded(band), False)
    # The unknown part of the lap length, as one more column beside the crossings.
    border = np.zeros(len(y))
    border[:-1] += pull * n
    border[1:] -= pull * n
    offset = pull * n * typical
    right = y / sd_v**2
    right[:-1] -= offset
    right[1:] += offset
    by_border, by_right = cho_solve_banded(factor, border), cho_solve_banded(factor, right)
    schur = float(np.sum(pull * n**2) - border @ by_border)
    length = float(-(np.sum(pull * n * n) * typical) - border @ by_right) / schur
    z = by_right - by_border * length
    wander = np.diff(z) - n * (typical + length)
    misfit = np.sum(((y - z) / sd_v) ** 2) + np.sum(pull * wander**2)
    log_det = 2.0 * np.sum(np.log(factor[0][1])) + math.log(schur)
    sizes = 2.0 * len(y) * math.log(sd_v) - np.sum(np.log(pull[tied]))
    return z, float(-0.5 * (misfit + log_det + sizes))
