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
    """Return the verdict on a difference of drag areas from its interval, low and high.

    "no difference that matters" where the whole interval lies within the smallest
    difference of zero, also if it leaves out zero; it is never given where the tester did not
    say what matters.  Else "lower drag" or "higher drag" where the interval leaves out zero; else
    "not resolved", as for an interval of NaN.

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
    """Further laps over both setups, half of them with each, that would settle an unresolved difference.

    The difference and the scatter are taken to stay as found, and the variance to fall with the number of
    ``laps`` of both setups together.  The laps are enough where half the interval is less than the difference itself
    (then zero is left out), or than its distance to the smallest difference that matters (then the
    difference is told from one that matters).  ``level`` is above 0.95 where the difference shares the 95 % with
    others.  None where more than :data:`MOST_FURTHER_LAPS` would be needed, or the scatter is not known.

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
