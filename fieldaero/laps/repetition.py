"""Search a track for the lap that it repeats, without lap marks and without a start line.

The path is resampled by wheel distance.  For every point the next return is
sought: the first later point at the same place with the same direction of
travel.  The distance to it is the lap, for a loop as for a road ridden there and
back, and the commonest such distance is the lap of the ride.  Approach, warm-up
and the way home return to nothing and drop out.

Where a lap begins is then free.  The place is chosen where most laps can be had
that contain no standstill and no gap, so that changing equipment at the roadside
costs no lap, and in the middle of what was ridden once more, so that no piece of approach or
way home passes for a piece of a lap.  Where every place is as good, a straight stretch is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.laps.equal_laps import LAPS_DIFFER, equal_lap_crossings_m
from fieldaero.laps.start_line import (
    CROSSING_SD_M,
    SAME_WAY_DEG,
    SHORTEST_LAP_M,
    StartLine,
    angle_between_deg,
    passes_of_line,
)
from fieldaero.laps.track import AT_ONE_PLACE_M, Track

__all__ = ["Repetition", "find_repetition"]

STEP_M = 10.0
MOST_POINTS = 8000  # keeps the search for neighbours small on rides of 80 km and more
RETURNS_WITHIN_M = 25.0
ON_ROAD_M = 15.0  # ends of a lap lie this close to the road of another: lanes, and satellites twice
RETURNS_AGREE = 0.01  # share of the lap by which returns of one lap differ: riding line, overtaking
RIDDEN_TWICE = 0.5  # at least this share of the lap must be seen to return
PHASES = 100


@dataclass(frozen=True, kw_only=True)
class Repetition:
    """What a track repeats.

    Attributes
    ----------
    line
        The place where the passes were timed.
    laps_m
        Start and end of every lap in wheel distance, shape (laps, 2).
    """

    line: StartLine
    laps_m: Floats


def find_repetition(track: Track) -> Repetition | None:
    """Return the lap that the track repeats, or None if it repeats none."""
    if track.frame is None or track.length_m < 2.0 * SHORTEST_LAP_M:
        return None
    step = max(STEP_M, track.length_m / MOST_POINTS)
    d = np.arange(0.0, track.length_m, step)
    returns = _next_return_m(track, d, step)
    length = _commonest_m(returns, step)
    if length is None:
        return None
    agree = np.abs(returns - length) <= _tolerance_m(length, step)
    if np.count_nonzero(agree) * step < RIDDEN_TWICE * length:
        return None
    line, seen = _best_line(track, d, agree, length)
    if line is None:
        return None
    crossing = equal_lap_crossings_m(seen, sd_m=CROSSING_SD_M)
    laps = _best_laps(track, crossing, length)
    return Repetition(line=line, laps_m=laps) if len(laps) else None


def _tolerance_m(length: float, step: float) -> float:
    return max(RETURNS_WITHIN_M, step, RETURNS_AGREE * length)


def _next_return_m(track: Track, d: Floats, step: float) -> Floats:
    """Wheel distance from each point to the next one at the same place in the same direction, NaN if none."""
    east, north = track.position_at(d)
    heading = track.heading_at_deg(d)
    known = np.flatnonzero(np.isfinite(east) & np.isfinite(heading))
    returns = np.full(len(d), np.nan)
    if len(known) < 2:
        return returns
    near = max(RETURNS_WITHIN_M, 0.7 * step)
    pairs = cKDTree(np.column_stack([east[known], north[known]])).query_pairs(near, output_type="ndarray")
    i, j = known[pairs.min(axis=1)], known[pairs.max(axis=1)]
    keep = ((j - i) * step >= SHORTEST_LAP_M) & (angle_between_deg(heading[i], heading[j]) <= SAME_WAY_DEG)
    i, j = i[keep], j[keep]
    apart = np.hypot(east[i] - east[j], north[i] - north[j])
    # First return: the group of neighbours around the earliest one; in it the closest.
    earliest = np.full(len(d), np.iinfo(np.int64).max)
    np.minimum.at(earliest, i, j)
    first_group = (j - earliest[i]) * step <= 3.0 * near
    i, j, apart = i[first_group], j[first_group], apart[first_group]
    order = np.lexsort((-apart, i))  # of equal i the last written, the closest, stays
    returns[i[order]] = (j[order] - i[order]) * step
    return returns


def _commonest_m(returns: Floats, step: float) -> float | None:
    """Centre of the densest cluster of returns; None without returns."""
    r = np.sort(returns[np.isfinite(returns)])
    if not len(r):
        return None
    reach = np.maximum(np.maximum(RETURNS_WITHIN_M, step), RETURNS_AGREE * r)
    low, high = np.searchsorted(r, r - reach), np.searchsorted(r, r + reach, side="right")
    best = int(np.argmax(high - low))
    return float(np.median(r[low[best] : high[best]]))


def _best_line(track: Track, d: Floats, agree: NDArray[np.bool_], length: float) -> tuple[StartLine | None, Floats]:
    """Place on the lap that is passed most often at lap distance; among equals the straightest."""
    if track.frame is None:
        return None, np.array([])
    # One lap's worth of candidates from where the repetition is densest.
    width = max(1, round(length / (d[1] - d[0])))
    dense = np.convolve(agree, np.ones(min(width, len(agree))), mode="valid")
    first = int(np.argmax(dense))
    candidates = np.flatnonzero(agree[first : first + width]) + first
    best: tuple[int, float] = (0, -np.inf)
    line, seen = None, np.array([])
    for at in d[candidates[:: max(1, len(candidates) // 40)]]:
        east, north = track.position_at(at)
        heading = track.heading_at_deg(np.array([at - 40.0, at - 20.0, at, at + 20.0, at + 40.0]))
        if not np.isfinite(heading[2]):
            continue
        bend = np.nanmax(angle_between_deg(heading, heading[2]))
        latitude, longitude = track.frame.to_degrees(float(east), float(north))
        trial = StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=float(heading[2]))
        crossing = passes_of_line(track, trial).first_m
        rank = (int(np.count_nonzero(_lap_apart(crossing, length))), -float(bend))
        if rank > best:
            best, line, seen = rank, trial, crossing
    return line, seen


def _lap_apart(crossing: Floats, length: float) -> NDArray[np.bool_]:
    return np.abs(np.diff(crossing) / length - 1.0) <= LAPS_DIFFER


def _best_laps(track: Track, crossing: Floats, length: float) -> Floats:
    """Laps at the phase where most are free of standstills; the timed line itself if every phase is as good.

    Where laps are lost at other phases, a stretch of road is ridden once more than the rest, or
    somebody halted: the laps begin in the middle of it, well away from where the approach runs
    in and the way home branches off.
    """
    runs = np.split(crossing, np.flatnonzero(~_lap_apart(crossing, length)) + 1)
    runs = [run for run in runs if len(run) > 1]
    if not runs:
        return np.empty((0, 2))
    standstills = track.halts[:, 2:].mean(axis=1)
    at_phase = [np.vstack([_laps_of_run(track, run, k / PHASES) for run in runs]) for k in range(PHASES)]
    clean = np.array([np.count_nonzero(_clean(laps, standstills)) for laps in at_phase])
    return at_phase[_middle_of_longest(clean == np.max(clean))]


def _middle_of_longest(best: NDArray[np.bool_]) -> int:
    """Index in the middle of the longest run of true on a ring; 0 where all are true."""
    if best.all():
        return 0
    first = int(np.argmin(best))  # a ring is cut where no run is
    runs = runs_where(np.roll(best, -first), np.arange(len(best), dtype=np.float64))
    i, j = max(runs, key=lambda run: run[1] - run[0])
    return (first + (i + j) // 2) % len(best)


def _laps_of_run(track: Track, run: Floats, phase: float) -> Floats:
    """Laps of an unbroken run of crossings, begun a share ``phase`` of the lap after the line.

    Before the first and after the last crossing the path is followed by the wheel as
    far as the ride goes; the positions there must be those of the lap.
    """
    typical = float(np.median(np.diff(run)))
    longer = np.concatenate([[run[0] - typical], run, [run[-1] + typical, run[-1] + 2.0 * typical]])
    begin = longer[:-1] + phase * np.diff(longer)
    laps = np.column_stack([begin[:-1], begin[1:]])
    slack = 0.5 * AT_ONE_PLACE_M
    inside = (laps[:, 0] >= -slack) & (laps[:, 1] <= track.length_m + slack)
    laps = np.clip(laps[inside], 0.0, track.length_m)
    return np.asarray(laps[_retrace(track, laps, float(run[0]), typical, phase)])


def _retrace(track: Track, laps: Floats, line_m: float, typical: float, phase: float) -> NDArray[np.bool_]:
    """Whether each lap follows the road of the lap that begins at the first crossing, shape (laps,).

    Nearly everywhere, for satellites err; but its ends lie on that road, so that no piece of
    approach or way home passes for a piece of the lap.
    """
    share = (np.arange(40.0) + 0.5) / 40.0
    there = track.position_at(laps[:, :1] + share * (laps[:, 1:] - laps[:, :1]))
    model = track.position_at(np.asarray(line_m + ((share + phase) % 1.0) * typical))
    apart = np.hypot(there[0] - model[0], there[1] - model[1])
    known = np.isfinite(apart).sum(axis=1)
    follows = (apart <= 2.0 * RETURNS_WITHIN_M).sum(axis=1) > 0.9 * np.maximum(known, 1)
    # A detour moves the ends along the road by as much as laps may differ, not off it.
    around = phase + LAPS_DIFFER * np.linspace(-1.0, 1.0, 61)
    road = track.position_at(np.asarray(line_m + (around % 1.0) * typical))
    ends = track.position_at(laps)
    aside = np.hypot(ends[0][:, :, None] - road[0], ends[1][:, :, None] - road[1])
    off_road = np.fmin.reduce(aside, axis=2) > ON_ROAD_M  # unknown positions are off no road
    return np.asarray(follows & ~off_road.any(axis=1))


def _clean(laps: Floats, standstills: Floats) -> NDArray[np.bool_]:
    inside = (standstills > laps[:, :1] + AT_ONE_PLACE_M) & (standstills < laps[:, 1:] - AT_ONE_PLACE_M)
    return np.asarray(~inside.any(axis=1))
