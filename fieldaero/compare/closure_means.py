"""Setups compared by the laps' plain drag areas: mean, Welch interval, difference.

No model of the session behind it, so anybody can redo it: the mean of each setup's
laps, and for a difference Welch's t interval for unequal variances [1]_.  It takes
laps as independent and the session as steady; where that fails, the comparison by
the joint fit is the one to believe.

References
----------
.. [1] B. L. Welch, Biometrika 34 (1947) 28-35; degrees of freedom as in F. E.
   Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.statistics import student_t

__all__ = ["PlainDifference", "PlainMean", "setup_difference", "setup_mean"]


@dataclass(frozen=True, kw_only=True)
class PlainMean:
    """Mean drag area of some laps [m2]; the error and interval are NaN for fewer than two laps."""

    cda_m2: float
    se_m2: float
    laps: int
    dropped: int

    def interval(self, *, level: float = 0.95) -> tuple[float, float]:
        """Student's interval of the mean [m2]."""
        if self.laps < 2:
            return np.nan, np.nan
        half = float(student_t.quantile(0.5 + level / 2.0, self.laps - 1)) * self.se_m2
        return self.cda_m2 - half, self.cda_m2 + half


@dataclass(frozen=True, kw_only=True)
class PlainDifference:
    """Difference of two means [m2], with the degrees of freedom of its standard error."""

    delta_cda_m2: float
    se_m2: float
    df: float
    p_value: float

    def interval(self, *, level: float = 0.95) -> tuple[float, float]:
        """Welch's interval of the difference [m2]."""
        if not np.isfinite(self.df):
            return np.nan, np.nan
        half = float(student_t.quantile(0.5 + level / 2.0, self.df)) * self.se_m2
        return self.delta_cda_m2 - half, self.delta_cda_m2 + half


def setup_mean(cda_m2: ArrayLike) -> PlainMean:
    """Mean of the laps of one setup.

    Parameters
    ----------
    cda_m2
        Drag area of each lap [m2], shape (n,); NaN is counted and dropped.

    Examples
    --------
    >>> mean = setup_mean([0.250, 0.254, 0.252])
    >>> round(mean.cda_m2, 4), round(mean.se_m2, 5)
    (0.252, 0.00115)
    """
    y = np.asarray(cda_m2, dtype=np.float64)
    known = y[np.isfinite(y)]
    return PlainMean(
        cda_m2=float(np.mean(known)) if len(known) else np.nan,
        se_m2=float(np.std(known, ddof=1) / np.sqrt(len(known))) if len(known) > 1 else np.nan,
        laps=len(known),
        dropped=len(y) - len(known),
    )


def setup_difference(*, cda_m2: ArrayLike, versus_cda_m2: ArrayLike) -> PlainDifference:
    """Return the mean of one setup's laps minus that of another's.

    Parameters
    ----------
    cda_m2, versus_cda_m2
        Drag areas of the laps of either setup [m2], shape (laps,) each; NaN is dropped.

    Returns
    -------
    The difference; error, df and p value are NaN where a setup has a single lap.

    Examples
    --------
    >>> difference = setup_difference(cda_m2=[0.240, 0.242, 0.241], versus_cda_m2=[0.250, 0.254, 0.252])
    >>> round(difference.delta_cda_m2, 4), round(difference.df, 2)
    (-0.011, 2.94)
    """
    a, b = setup_mean(cda_m2), setup_mean(versus_cda_m2)
    delta = a.cda_m2 - b.cda_m2
    if not a.laps or not b.laps or np.isnan(a.se_m2) or np.isnan(b.se_m2):
        return PlainDifference(delta_cda_m2=delta, se_m2=np.nan, df=np.nan, p_value=np.nan)
    ua, ub = a.se_m2**2, b.se_m2**2
    se = float(np.sqrt(ua + ub))
    if se == 0.0:
        return PlainDifference(delta_cda_m2=delta, se_m2=se, df=float(a.laps + b.laps - 2), p_value=float(delta == 0.0))
    df = (ua + ub) ** 2 / (ua**2 / (a.laps - 1) + ub**2 / (b.laps - 1))
    return PlainDifference(
        delta_cda_m2=delta, se_m2=se, df=df, p_value=float(2.0 * student_t.above(abs(delta) / se, df))
    )
