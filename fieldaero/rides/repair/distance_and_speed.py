"""The distance counter made rising, and speed from distance or position where none was recorded."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.formatting import counted
from fieldaero.basics.quantities import Floats
from fieldaero.physics.earth import ECCENTRICITY_SQUARED, SEMI_MAJOR_AXIS_M
from fieldaero.rides.intervals import LONGEST_SPEED_BRIDGE_S

__all__ = ["ground_step_m", "rate_m_s", "rising"]

# Limits are matters of judgement: common practice, no source.
RESET_M = 5.0  # a counter that falls by less has only wavered
FASTEST_M_S = 40.0
LEAP_M = 100.0  # a device without signal may catch up by this much
STRAY_SAMPLES = 5


def rising(distance_m: Floats, *, time_s: Floats, speed_m_s: Floats) -> tuple[Floats, list[str]]:
    """Return the distance counter without spikes, resets and wavering, and notes.

    Distance [m], time [s] and speed [m/s] are of one shape, (n,), and so is the result.
    After a reset the counter goes on from where it was, plus the speed over the step
    where that is known and the step is short.  NaN stays NaN.

    Examples
    --------
    >>> t, v = np.arange(4.0), np.full(4, 10.0)
    >>> rising(np.array([100.0, 110.0, 2.0, 12.0]), time_s=t, speed_m_s=v)[0].tolist()
    [100.0, 110.0, 120.0, 130.0]
    """
    known = np.flatnonzero(np.isfinite(distance_m))
    d, t = distance_m[known], time_s[known]
    if not _leaps(d, t).any() and not np.any(np.diff(d) < 0.0):
        return distance_m, []
    notes = []
    stray = _stray(d, t)
    if stray.any():
        notes.append(f"distance_m: {counted(int(stray.sum()), 'stray value')} taken as missing")
        known, d, t = known[~stray], d[~stray], t[~stray]
    v = speed_m_s[known]
    step, duration = np.diff(d), np.diff(t)
    rolled = np.nan_to_num(duration * (v[:-1] + v[1:]) / 2.0)
    rolled[duration > LONGEST_SPEED_BRIDGE_S] = 0.0
    leaps = _leaps(d, t)
    if leaps.any():
        notes.append(f"distance_m: the counter was reset {counted(int(leaps.sum()), 'time')}; the distance goes on")
    wavered = int(np.sum((step < 0.0) & ~leaps))
    if wavered:
        notes.append(
            f"distance_m: the counter fell by up to {RESET_M:g} m {counted(wavered, 'time')}; it was held there"
        )
    # An offset, so that a counter in order keeps its digits.
    offset = np.concatenate([[0.0], np.cumsum(np.where(leaps, rolled - step, 0.0))])
    result = np.full(distance_m.shape, np.nan)
    result[known] = np.maximum.accumulate(d + offset)
    return result, notes


def _leaps(d: Floats, t: Floats) -> NDArray[np.bool_]:
    """Tell which steps the wheel cannot have rolled: far back, or faster than any bicycle."""
    step, duration = np.diff(d), np.diff(t)
    return (step < -RESET_M) | ((step > FASTEST_M_S * duration + LEAP_M) & (duration <= LONGEST_SPEED_BRIDGE_S))


def _stray(d: Floats, t: Floats) -> NDArray[np.bool_]:
    """Short runs of values away from the counter, which then goes on as before."""
    stray = np.zeros(len(d), dtype=bool)
    leaps = (np.flatnonzero(_leaps(d, t)) + 1).tolist()
    for k in leaps:
        last = k - 1
        if stray[k] or stray[last]:
            continue
        for back in range(k + 1, min(k + 1 + STRAY_SAMPLES, len(d))):
            if -RESET_M <= d[back] - d[last] <= FASTEST_M_S * (t[back] - t[last]) + LEAP_M:
                stray[k:back] = True
                break
    return stray


def ground_step_m(latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """Length of the steps between positions on the WGS 84 ellipsoid [m], shape (n - 1,); for steps of metres to 10 km.

    Examples
    --------
    >>> ground_step_m(np.array([0.0, 0.0]), np.array([0.0, 0.001])).round(2).tolist()
    [111.32]
    """
    middle = np.radians((latitude_deg[:-1] + latitude_deg[1:]) / 2.0)
    w2 = 1.0 - ECCENTRICITY_SQUARED * np.sin(middle) ** 2
    across = SEMI_MAJOR_AXIS_M / np.sqrt(w2)
    along = across * (1.0 - ECCENTRICITY_SQUARED) / w2
    turn = (np.diff(longitude_deg) + 180.0) % 360.0 - 180.0
    return np.hypot(along * np.radians(np.diff(latitude_deg)), across * np.cos(middle) * np.radians(turn))


def rate_m_s(step_m: Floats, *, time_s: Floats, cut: NDArray[np.bool_]) -> Floats:
    """Speed at every sample from the steps between samples, leaving out those where ``cut`` holds.

    Both steps beside a sample count, weighted so that a steady acceleration comes out exact;
    one step alone at the ends of a piece. Steps and cuts have the shape (n - 1,).

    Examples
    --------
    >>> t = np.array([0.0, 1.0, 3.0, 4.0])
    >>> rate_m_s(np.diff(t**2), time_s=t, cut=np.zeros(3, dtype=bool)).tolist()
    [1.0, 2.0, 6.0, 7.0]
    """
    h = np.diff(time_s)
    v = np.where(cut, np.nan, step_m / h)
    nothing = np.array([np.nan])
    left, right = np.concatenate([nothing, v]), np.concatenate([v, nothing])
    h_left, h_right = np.concatenate([nothing, h]), np.concatenate([h, nothing])
    both = (h_right * left + h_left * right) / (h_left + h_right)
    return np.where(np.isfinite(both), both, np.where(np.isfinite(left), left, right))
