"""Cells where one lap lies far from all others: what happened there is of another kind than gusts.

A lap that left the road for a moment, a lorry that passed, brakes that no flag saw: taken as gusts,
one such place makes the gusts of every lap large, and all drag areas uncertain.  Taken as unknown
it costs the lap five seconds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.segments import Segments
from fieldaero.statistics.robust_scale import NORMAL_SD_PER_MEDIAN_DEVIATION

__all__ = ["stray_cells"]

# Common practice, no source.
FAR_SD = 6.0  # gusts have no such tails: one cell in 10^9 if they were normal
LEAST_LAPS = 4  # fewer do not tell which of them is astray
MOST_CELLS = 0.1  # of a lap; one that strays more is no lap of this course, and is left to be called an outlier


def stray_cells(segments: Segments, *, crr: float) -> NDArray[np.bool_]:
    """Find the cells in which a lap lies far from the other laps, shape (K, n).

    Compared is the height that each lap gains in each cell, with one drag area for all and still air, against the
    median over laps.  It is far when it is :data:`FAR_SD` robust standard deviations away,
    whichever is larger: that of all cells together, or that of the place.  Braked and unknown cells are not
    among them: they are known for what they are.  ``crr`` matters little.
    """
    known = (segments.unknown_s <= 0.0) & (segments.braked_s <= 0.0)
    if segments.laps < LEAST_LAPS or not known.any():
        return np.zeros(known.shape, dtype=np.bool_)
    rest = segments.base_m - crr * segments.roll_m
    totals = np.array([np.sum(np.where(known, part, 0.0), axis=1) for part in (rest, segments.still_air_m_per_m2)])
    cda = float(np.nanmedian(totals[0] / np.where(totals[1] > 0.0, totals[1], np.nan)))
    rise = np.where(known, rest - cda * segments.still_air_m_per_m2, np.nan)
    enough = np.count_nonzero(known, axis=0) >= LEAST_LAPS
    away = np.full(known.shape, np.nan)
    away[:, enough] = rise[:, enough] - np.nanmedian(rise[:, enough], axis=0)
    if not np.isfinite(away).any():
        return np.zeros(known.shape, dtype=np.bool_)
    place = np.zeros(known.shape[1])
    place[enough] = np.nanmedian(np.abs(away[:, enough]), axis=0)
    sd = NORMAL_SD_PER_MEDIAN_DEVIATION * np.maximum(float(np.nanmedian(np.abs(away))), place)
    far = np.nan_to_num(np.abs(away)) > FAR_SD * sd
    few = np.count_nonzero(far, axis=1) <= MOST_CELLS * known.shape[1]
    return np.asarray(far & few[:, None])
