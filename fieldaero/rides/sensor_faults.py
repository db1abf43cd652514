"""What sensors write when they do not measure: power 0 at a turning crank, and a value that stands still."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where

__all__ = ["frozen", "power_without_load"]

# Limits are matters of judgement: common practice, no source.
TURNING_RPM = 60.0
MOVING_M_S = 2.0
FROZEN_S = 8.0
FROZEN_SAMPLES = 6


def power_without_load(*, power_w: Floats, cadence_rpm: Floats, speed_m_s: Floats) -> NDArray[np.bool_]:
    """Tell the samples with 0 W while the crank turns and the bike moves, shape (n,)."""
    return np.asarray((power_w == 0.0) & (cadence_rpm >= TURNING_RPM) & (speed_m_s >= MOVING_M_S))


def frozen(values: Floats, time_s: Floats, *, steps: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return first and last sample of the runs on which a nonzero value repeats exactly for 8 s and 6 samples.

    A run goes on over the steps between samples that count, shape (n - 1,).

    Examples
    --------
    >>> frozen(np.full(10, 250.0), np.arange(10.0), steps=np.ones(9, dtype=bool))
    [(0, 9)]
    """
    repeats = (np.diff(values) == 0.0) & (values[1:] != 0.0) & steps
    runs = [(first, last + 1) for first, last in runs_where(repeats, time_s[1:], least_samples=FROZEN_SAMPLES - 1)]
    return [(first, last) for first, last in runs if time_s[last] - time_s[first] >= FROZEN_S]
