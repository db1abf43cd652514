"""The mean of a setup's plain drag areas, by closure of each lap, as a check of the joint fit.

No model of the session behind it, so anybody can redo it.  It takes laps as independent and the session as
steady; where that fails, the comparison by the joint fit is the one to believe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["ClosureMean", "closure_mean"]


@dataclass(frozen=True, kw_only=True)
class ClosureMean:
    """Mean drag area of some laps with its standard error [m2], NaN for fewer than two laps."""

    cda_m2: float
    se_m2: float
    laps: int


def closure_mean(cda_m2: ArrayLike) -> ClosureMean:
    """Mean of the laps of one setup, shape (n,); laps without a drag area (NaN) do not count.

    >>> mean = closure_mean([0.250, 0.254, 0.252])
    >>> round(mean.cda_m2, 4), round(mean.se_m2, 5)
    (0.252, 0.00115)
    """
    y = np.asarray(cda_m2, dtype=np.float64)
    known = y[np.isfinite(y)]
    return ClosureMean(
        cda_m2=float(np.mean(known)) if len(known) else np.nan,
        se_m2=float(np.std(known, ddof=1) / np.sqrt(len(known))) if len(known) > 1 else np.nan,
        laps=len(known),
    )
