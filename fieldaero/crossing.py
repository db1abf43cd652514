"""The start line and when a ride passed it.

A crossing seen by satellite is off by about 2 m; a button press by about 1 s,
which is 12 m at racing speed; the wheel measures a lap to about 0.1 %.  Taken
together they are better than each: :func:`even_out_m` treats the true crossings
as laps of one common length that wander a little from lap to lap, and the seen
crossings as the truth plus noise,

    y_k = z_k + v_k,              v_k ~ N(0, s_v^2)
    z_k+1 = z_k + n_k L + w_k,    w_k ~ N(0, n_k s_w^2)

with L, s_v and s_w from the data by marginal likelihood (L and the first z flat,
weak log-normal priors on s_v and s_w).  Where lap lengths disagree by more than
the tolerance nothing ties the two crossings together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

from fieldaero.errors import RunSheetError
from fieldaero.track import AT_ONE_PLACE_M, LONGEST_HOLE_M, Track

__all__ = [
    "Passages",
    "StartLine",
    "angle_between_deg",
    "common_length_m",
    "even_out_m",
    "evened_out",
    "line_from_presses",
    "meeting_s",
    "passages",
]

SHORTEST_LAP_M = 150.0  # crossings closer together are one passage: jitter, standing, turning round
JITTER_M = 10.0  # ... and of one moment, if they are no further apart than this
HALF_WIDTH_M = 25.0  # half the length of the start line: road, riding side and satellite error
SAME_WAY_DEG = 60.0  # a passage within this angle of the line's heading counts
SAME_PLACE_M = 40.0  # presses meant for one line lie this close together: 1 s early and late, and some
LAPS_AGREE = 0.003  # laps are tied together if their lengths differ by no more than this share ...
LAPS_AGREE_SD = 4.0  # ... and this many sd of both crossings, and in no case by
LAPS_DIFFER = 0.03  # ... this share
CROSSING_SD_M = 2.0  # a satellite receiver on a bicycle in the open; common practice, no source
LAP_WANDER_M = 1.0  # prior median of s_w: riding line and wheel, per lap


@dataclass(frozen=True, kw_only=True)
class StartLine:
    """A point on the road and the direction in which it is crossed, clockwise from north."""

    latitude_deg: float
    longitude_deg: float
    heading_deg: float

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("latitude_deg", self.latitude_deg, -90.0, 90.0),
            ("longitude_deg", self.longitude_deg, -180.0, 180.0),
            ("heading_deg", self.heading_deg, 0.0, 360.0),
        ):
            if not low <= value <= high:
                raise RunSheetError(f"start line: {name} is {value}; allowed is {low:g} to {high:g}")


@dataclass(frozen=True, kw_only=True)
class Passages:
    """Passages of a start line, in wheel distance [m]; first and last differ where the rider hung about."""

    first_m: NDArray[np.float64]
    last_m: NDArray[np.float64]


def angle_between_deg(a_deg: NDArray[np.float64] | float, b_deg: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Angle between two headings, 0 to 180 degrees."""
    turn = np.asarray(a_deg, dtype=np.float64) - np.asarray(b_deg, dtype=np.float64)
    return np.asarray(np.abs((turn + 180.0) % 360.0 - 180.0))


def passages(track: Track, line: StartLine) -> Passages:
    """Every passage of the line in its direction, interpolated between samples.

    Crossings less than :data:`SHORTEST_LAP_M` of wheel distance apart are one
    passage: a rider who stands on the line, or turns round beside it, wanders
    across it several times and starts one lap.
    """
    if track.frame is None:
        return Passages(first_m=np.array([]), last_m=np.array([]))
    line_east, line_north = track.frame.to_metres(line.latitude_deg, line.longitude_deg)
    sin_h, cos_h = math.sin(math.radians(line.heading_deg)), math.cos(math.radians(line.heading_deg))
    known = np.isfinite(track.east_m)
    d = track.distance_m[known]
    east, north = track.east_m[known] - line_east, track.north_m[known] - line_north
    along, across = east * sin_h + north * cos_h, east * cos_h - north * sin_h

    i = np.flatnonzero((along[:-1] < 0.0) & (along[1:] >= 0.0) & (np.diff(d) < LONGEST_HOLE_M))
    share = along[i] / (along[i] - along[i + 1])
    at = d[i] + share * (d[i + 1] - d[i])
    aside = np.abs(across[i] + share * (across[i + 1] - across[i]))
    same_way = angle_between_deg(track.heading_at_deg(at), line.heading_deg) <= SAME_WAY_DEG
    at = at[(aside <= HALF_WIDTH_M) & same_way]

    first: list[float] = []
    last: list[float] = []
    for crossing in at.tolist():
        if last and crossing - last[-1] < SHORTEST_LAP_M:
            last[-1] = crossing
        else:
            first.append(crossing)
            last.append(crossing)
    first_m, last_m = np.array(first), np.array(last)
    jitter = last_m - first_m < JITTER_M
    middle = (first_m + last_m) / 2.0
    return Passages(first_m=np.where(jitter, middle, first_m), last_m=np.where(jitter, middle, last_m))


def meeting_s(track: Track, arrival_m: float, departure_m: float) -> tuple[float, float]:
    """Moments at which one lap ends and the next begins.

    They are one moment, unless the rider or the recording halted within
    :data:`AT_ONE_PLACE_M` of the line: that halt belongs to neither lap.
    """
    arrival, departure = track.arrival_s(arrival_m), track.departure_s(departure_m)
    for start_s, end_s, start_m, end_m in track.halts:
        if start_m <= departure_m + AT_ONE_PLACE_M and end_m >= arrival_m - AT_ONE_PLACE_M:
            arrival, departure = min(arrival, float(start_s)), max(departure, float(end_s))
    return arrival, departure


def evened_out(passed: Passages) -> Passages:
    """Passages by satellite, evened out; where a rider hung about, arrival and departure stay apart."""
    events = np.unique(np.concatenate([passed.first_m, passed.last_m]))
    evened = even_out_m(events, sd_m=CROSSING_SD_M)
    return Passages(
        first_m=evened[np.searchsorted(events, passed.first_m)], last_m=evened[np.searchsorted(events, passed.last_m)]
    )


def line_from_presses(track: Track, presses_s: Sequence[float]) -> StartLine | None:
    """Start line that most button presses mean, or None if no two of them agree.

    Each press votes for where the rider was and which way he went; the place with
    most votes within :data:`SAME_PLACE_M` wins and becomes the median of its votes,
    so that a press elsewhere moves nothing.
    """
    if track.frame is None or not len(presses_s):
        return None
    at = track.distance_at_m(np.asarray(presses_s, dtype=np.float64))
    east, north = track.position_at(at)
    heading = track.heading_at_deg(at)
    known = np.isfinite(east) & np.isfinite(heading)
    east, north, heading = east[known], north[known], heading[known]
    if len(east) < 2:
        return None
    apart = np.hypot(east[:, None] - east, north[:, None] - north)
    agree = (apart <= SAME_PLACE_M) & (angle_between_deg(heading[:, None], heading) <= SAME_WAY_DEG)
    votes = agree.sum(axis=1)
    # Among equals the press in the middle of its crowd.
    middle = np.where(agree, apart, 0.0).sum(axis=1)
    best = int(np.lexsort((middle, -votes))[0])
    if votes[best] < 2:
        return None
    chosen = agree[best]
    mean_heading = np.degrees(np.angle(np.exp(1j * np.radians(heading[chosen])).sum())) % 360.0
    latitude, longitude = track.frame.to_degrees(float(np.median(east[chosen])), float(np.median(north[chosen])))
    return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=float(mean_heading))


def even_out_m(crossing_m: NDArray[np.float64], *, sd_m: float) -> NDArray[np.float64]:
    """Crossings in wheel distance, evened out by the constancy of the lap's length.

    Parameters
    ----------
    crossing_m
        Crossings as seen [m of wheel distance], shape (n,), rising.
    sd_m
        What is believed beforehand of the standard deviation of one crossing [m].

    Returns
    -------
    Evened-out crossings, shape (n,); as they were where fewer than four agree.

    Examples
    --------
    >>> even_out_m(np.array([0.0, 1003.0, 1998.0, 3001.0, 3999.0]), sd_m=3.0).round().tolist()
    [1.0, 1001.0, 2000.0, 3000.0, 3999.0]
    """
    y = np.asarray(crossing_m, dtype=np.float64)
    if len(y) < 4:
        return y
    typical = common_length_m(np.diff(y))
    chain = _chain(y, typical, sd_m=sd_m)
    n, tied = _laps_between(np.diff(y[chain]), typical, sd_m=sd_m)
    if np.count_nonzero(tied) < 3:
        return y
    log_v = math.log(sd_m) + np.linspace(-1.2, 1.2, 7)
    log_w = math.log(LAP_WANDER_M) + np.linspace(-2.4, 2.4, 9)
    best, smoothed = -np.inf, y[chain]
    for v in log_v:
        for w in log_w:
            z, likelihood = _smoothed_m(y[chain], n, tied, typical, sd_v=math.exp(v), sd_w=math.exp(w))
            likelihood -= ((v - math.log(sd_m)) / 0.5) ** 2 / 2.0 + ((w - math.log(LAP_WANDER_M)) / 0.8) ** 2 / 2.0
            if likelihood > best:
                best, smoothed = likelihood, z
    evened = y.copy()
    evened[chain] = smoothed
    return evened if np.all(np.diff(evened) > 0.0) else y


def common_length_m(steps: NDArray[np.float64]) -> float:
    """Median of the largest group of steps of about one length."""
    group = np.abs(steps[:, None] / steps - 1.0) < LAPS_DIFFER
    return float(np.median(steps[group[:, int(np.argmax(group.sum(axis=0)))]]))


def _laps_between(
    step_m: NDArray[np.float64], typical: float, *, sd_m: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Whole laps in each step, at least 1, and whether the step is that many laps within the noise."""
    n = np.maximum(np.round(step_m / typical), 1.0)
    tolerance = LAPS_AGREE * n * typical + LAPS_AGREE_SD * sd_m * math.sqrt(2.0)
    return n, np.abs(step_m - n * typical) <= np.minimum(tolerance, LAPS_DIFFER * n * typical)


def _chain(y: NDArray[np.float64], typical: float, *, sd_m: float) -> NDArray[np.intp]:
    """Crossings that tie best: a stray press is left out, a lap with a detour only breaks the chain."""
    score = np.zeros(len(y))
    before = np.full(len(y), -1)
    for j in range(1, len(y)):
        i = np.arange(max(0, j - 6), j)
        _, tied = _laps_between(y[j] - y[i], typical, sd_m=sd_m)
        reached = score[i] + np.where(tied, 1.0, -0.6)
        k = len(i) - 1 - int(np.argmax(reached[::-1]))
        if reached[k] > 0.0:
            score[j], before[j] = reached[k], i[k]
    chain = [int(np.argmax(score))]
    while before[chain[-1]] >= 0:
        chain.append(int(before[chain[-1]]))
    return np.array(chain[::-1], dtype=np.intp)


def _smoothed_m(
    y: NDArray[np.float64], n: NDArray[np.float64], tied: NDArray[np.bool_], typical: float, *, sd_v: float, sd_w: float
) -> tuple[NDArray[np.float64], float]:
    """Posterior mean of the crossings and the log marginal likelihood of the noise sizes."""
    pull = np.where(tied, 1.0 / (np.maximum(n, 1.0) * sd_w**2), 0.0)
    band = np.zeros((2, len(y)))
    band[0, 1:] = -pull
    band[1] = 1.0 / sd_v**2
    band[1, :-1] += pull
    band[1, 1:] += pull
    factor = (cholesky_banded(band), False)
    # The unknown part of the lap length, as one more column beside the crossings.
    border = np.zeros(len(y))
    border[:-1] += pull * n
    border[1:] -= pull * n
    offset = pull * n * typical
    right = y / sd_v**2
    right[:-1] -= offset
    right[1:] += offset
    by_border, by_right = cho_solve_banded(factor, border), cho_solve_banded(factor, right)
    schur = float(np.sum(pull * n**2) - border @ by_border)
    length = float(-(np.sum(pull * n * n) * typical) - border @ by_right) / schur
    z = by_right - by_border * length
    wander = np.diff(z) - n * (typical + length)
    misfit = np.sum(((y - z) / sd_v) ** 2) + np.sum(pull * wander**2)
    log_det = 2.0 * np.sum(np.log(factor[0][1])) + math.log(schur)
    sizes = 2.0 * len(y) * math.log(sd_v) - np.sum(np.log(pull[tied]))
    return z, float(-0.5 * (misfit + log_det + sizes))
