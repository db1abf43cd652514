"""The intervals between samples: which of them are gaps, and what power belongs to each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats

__all__ = ["LONGEST_SPEED_BRIDGE_S", "interval_power_w", "is_gap"]

# Limits are matters of judgement: common practice, no source.
NEVER_A_GAP_S = 5.0
USUAL = 0.9  # some devices record when they see fit: nine of ten steps are no longer than the usual one
USUAL_STEPS = 1.5
ALWAYS_A_GAP_S = 30.0
POWER_OF_END_UP_TO_S = 1.5
LONGEST_SPEED_BRIDGE_S = 5.0  # over a longer step or hole the speed between its ends is unknown


def is_gap(time_s: Floats) -> NDArray[np.bool_]:
    """Tell which steps between samples are gaps, shape (n - 1,): longer than 5 s and than 1.5 usual steps.

    What happened in a gap is unknown; a step that is no gap is a sample of a device that records coarsely.

    Examples
    --------
    >>> is_gap(np.array([0.0, 1.0, 9.0])).tolist()
    [False, True]
    >>> is_gap(np.array([0.0, 8.0, 16.0, 24.0])).tolist()
    [False, False, False]
    """
    step = np.diff(time_s)
    if len(step) == 0:
        return np.zeros(0, dtype=np.bool_)
    usual = float(np.quantile(step, USUAL, method="lower"))
    return np.asarray(step > np.clip(USUAL_STEPS * usual, NEVER_A_GAP_S, ALWAYS_A_GAP_S))


def interval_power_w(time_s: Floats, power_w: Floats) -> Floats:
    """Mean power of each interval [W], shape (n - 1,), from the power at the samples, shape (n,).

    Most devices write the mean over the second *before* the time stamp (common practice, no source), so up
    to 1.5 s the power at the end of an interval is that interval's power. Beyond, the mean of both ends is taken.
    """
    return np.where(np.diff(time_s) <= POWER_OF_END_UP_TO_S, power_w[1:], (power_w[:-1] + power_w[1:]) / 2.0)
