"""Runs of samples for which something holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["runs_where"]


def runs_where(
    holds: NDArray[np.bool_], time_s: NDArray[np.float64], *, least_s: float = 0.0, least_samples: int = 1
) -> list[tuple[int, int]]:
    """Return the first and last index of every unbroken run of True that is long enough.

    ``holds`` and ``time_s`` have the shape (n,). A run lasts from its first sample to its last.

    Examples
    --------
    >>> runs_where(np.array([False, True, True, True, False, True]), np.arange(6.0), least_s=2.0)
    [(1, 3)]
    """
    edge = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [
        (int(first), int(after) - 1)
        for first, after in zip(edge[::2], edge[1::2], strict=True)
        if time_s[after - 1] - time_s[first] >= least_s and after - first >= least_samples
    ]
