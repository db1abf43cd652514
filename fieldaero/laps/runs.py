"""Stretches of samples for which something holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["stretches"]


def stretches(
    holds: NDArray[np.bool_], time_s: NDArray[np.float64], *, least_s: float = 0.0, least_samples: int = 1
) -> list[tuple[int, int]]:
    """Return first and last sample of every unbroken stretch that lasts long enough.

    Parameters
    ----------
    holds, time_s
        Whether something holds, and time [s], shape (n,) each.
    least_s, least_samples
        How long a stretch has to last, from its first sample to its last [s], and in samples.

    Returns
    -------
    Indices, both included.

    Examples
    --------
    >>> stretches(np.array([False, True, True, True, False, True]), np.arange(6.0), least_s=2.0)
    [(1, 3)]
    """
    edge = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [
        (int(first), int(after) - 1)
        for first, after in zip(edge[::2], edge[1::2], strict=True)
        if time_s[after - 1] - time_s[first] >= least_s and after - first >= least_samples
    ]
