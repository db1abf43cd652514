"""The repeat check of a tunnel, on the road: the baseline's last lap against its first."""

from __future__ import annotations

import numpy as np

from fieldaero.answers.lap_points import NORMAL_95, lap_points
from fieldaero.answers.result import Result
from fieldaero.answers.supporting_rows import RepeatCheck

__all__ = ["RepeatCheck", "repeat_check"]


def repeat_check(result: Result) -> RepeatCheck | None:
    """Hold the baseline's last used lap against its first; None with fewer than two.

    The variance is that of the two laps in the fit, their covariance included, and twice the
    scatter from lap to lap: var = S_aa + S_bb - 2 S_ab + 2 tau^2.
    """
    estimates = result.estimates
    if estimates is None:
        return None
    own = [k for k, lap in enumerate(estimates.laps) if lap.setup == result.baseline]
    if len(own) < 2:
        return None
    a, b = own[0], own[-1]
    points = [point for point in lap_points(result) if point.used]
    S = estimates.covariance_m4
    scatter = estimates.comparison.lap_scatter_m2 or 0.0
    se = float(np.sqrt(S[a, a] + S[b, b] - 2.0 * S[a, b] + 2.0 * scatter**2))
    change = float(estimates.fit.cda_m2[b] - estimates.fit.cda_m2[a])
    low, high = change - NORMAL_95 * se, change + NORMAL_95 * se
    return RepeatCheck(
        first=estimates.laps[a].lap.number,
        last=estimates.laps[b].lap.number,
        apart_min=points[b].middle_min - points[a].middle_min,
        change_m2=change,
        se_m2=se,
        interval95_m2=(low, high),
        repeats=low <= 0.0 <= high,
    )
