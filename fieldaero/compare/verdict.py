"""What an interval says against the smallest difference that matters."""

from __future__ import annotations

import math
from typing import Literal

from fieldaero.statistics import student_t

__all__ = [
    "HIGHER",
    "LOWER",
    "MOST_FURTHER_LAPS",
    "NOT_RESOLVED",
    "NO_DIFFERENCE",
    "Verdict",
    "further_laps",
    "verdict",
]

Verdict = Literal["lower drag", "higher drag", "no difference that matters", "not resolved"]

LOWER: Verdict = "lower drag"
HIGHER: Verdict = "higher drag"
NO_DIFFERENCE: Verdict = "no difference that matters"
NOT_RESOLVED: Verdict = "not resolved"

MOST_FURTHER_LAPS = 200  # beyond it the honest answer is that laps will not do


def verdict(interval_m2: tuple[float, float], *, smallest_difference_m2: float | None = None) -> Verdict:
    """Return the verdict on a difference of drag areas.

    Parameters
    ----------
    interval_m2
        Interval of the difference, low and high; negative means less drag.
    smallest_difference_m2
        What the tester calls a difference that matters, > 0; None if that was not said,
        and then "no difference that matters" is never given.

    Returns
    -------
    "no difference that matters" where the whole interval lies within the smallest
    difference of zero, also if it leaves out zero; else "lower drag" or "higher drag"
    where it leaves out zero; else "not resolved", as for an interval of NaN.

    Examples
    --------
    >>> verdict((-0.009, -0.003)), verdict((-0.004, 0.001)), verdict((-0.0009, 0.0011), smallest_difference_m2=0.002)
    ('lower drag', 'not resolved', 'no difference that matters')
    """
    low, high = interval_m2
    if math.isnan(low) or math.isnan(high):
        return NOT_RESOLVED
    if smallest_difference_m2 is not None and -smallest_difference_m2 < low and high < smallest_difference_m2:
        return NO_DIFFERENCE
    if high < 0.0:
        return LOWER
    if low > 0.0:
        return HIGHER
    return NOT_RESOLVED


def further_laps(
    *,
    delta_cda_m2: float,
    se_m2: float,
    df: float,
    laps: int,
    smallest_difference_m2: float | None = None,
    level: float = 0.95,
) -> int | None:
    """Laps that would settle an unresolved difference, if it and the scatter stay as found.

    Parameters
    ----------
    delta_cda_m2, se_m2, df
        The difference, its standard error and degrees of freedom.
    laps
        Laps of both setups together that it rests on.
    smallest_difference_m2
        As for :func:`verdict`.
    level
        Level of the difference's own interval: above 0.95 where it shares the 95 % with other differences.

    Returns
    -------
    Further laps over both setups together, half of them with each; None where more
    than 200 would be needed, or the scatter is not known.

    Notes
    -----
    The variance of the difference is taken to fall with the number of laps.  The laps
    are enough where half the interval is less than the difference itself (then zero is
    left out), or than its distance to the smallest difference that matters (then the
    difference is told from one that matters).

    Examples
    --------
    >>> further_laps(delta_cda_m2=-0.004, se_m2=0.002, df=6.0, laps=8)
    4
    """
    if not (math.isfinite(se_m2) and se_m2 > 0.0 and df > 0.0 and laps > 0):
        return None
    size = abs(delta_cda_m2)
    goal = size if smallest_difference_m2 is None else max(size, smallest_difference_m2 - size)
    for more in range(2, MOST_FURTHER_LAPS + 1, 2):
        half = float(student_t.quantile(0.5 + level / 2.0, df + more)) * se_m2 * math.sqrt(laps / (laps + more))
        if half < goal:
            return more
    return None
