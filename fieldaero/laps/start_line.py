"""The start line, and when a ride passed it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.basics.errors import RunSheetError
from fieldaero.basics.quantities import Floats
from fieldaero.laps.equal_laps import equal_lap_crossings_m
from fieldaero.laps.track import AT_ONE_PLACE_M, LONGEST_HOLE_M, Track

__all__ = [
    "Passes",
    "StartLine",
    "angle_between_deg",
    "line_from_presses",
    "line_time_s",
    "passes_of_equal_laps",
    "passes_of_line",
]

SHORTEST_LAP_M = 150.0  # crossings closer together are one pass: jitter, standing, turning round
JITTER_M = 10.0  # ... and of one moment, if they are no further apart than this
HALF_WIDTH_M = 25.0  # half the length of the start line: road, riding side and satellite error
SAME_WAY_DEG = 60.0  # a pass within this angle of the line's heading counts
PRESSES_WITHIN_M = 40.0  # presses meant for one line lie this close together: 1 s early and late, and some
STEPS_ASIDE_M = (0.0, 40.0, -40.0, 80.0, -80.0, 120.0, -120.0)  # where else to look if the presses lie in a turn
BEND_M, STRAIGHT_DEG = 20.0, 45.0
CROSSING_SD_M = 2.0  # a satellite receiver on a bicycle in the open; common practice, no source


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
class Passes:
    """Passes of a start line, in wheel distance [m], shape (n,); first and last differ where the rider hung about."""

    first_m: Floats
    last_m: Floats


def angle_between_deg(a_deg: Floats | float, b_deg: Floats | float) -> Floats:
    """Angle between two headings [deg], 0 to 180, in the shape to which they broadcast.

    Examples
    --------
    >>> float(angle_between_deg(350.0, 20.0))
    30.0
    """
    turn = np.asarray(a_deg, dtype=np.float64) - np.asarray(b_deg, dtype=np.float64)
    return np.asarray(np.abs((turn + 180.0) % 360.0 - 180.0))


def passes_of_line(track: Track, line: StartLine) -> Passes:
    """Every pass of the line in its direction, interpolated between samples.

    Crossings less than :data:`SHORTEST_LAP_M` of wheel distance apart are one pass: a
    rider who stands on the line, or turns round beside it, wanders across it several
    times and starts one lap.
    """
    if track.frame is None:
        return Passes(first_m=np.array([]), last_m=np.array([]))
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
    return Passes(first_m=np.where(jitter, middle, first_m), last_m=np.where(jitter, middle, last_m))


def line_time_s(track: Track, arrival_m: float, departure_m: float) -> tuple[float, float]:
    """Moments at which one lap ends and the next begins.

    They are one moment, unless the rider or the recording halted within
    :data:`AT_ONE_PLACE_M` of the line: that halt belongs to neither lap.
    """
    arrival, departure = track.arrival_s(arrival_m), track.departure_s(departure_m)
    for start_s, end_s, start_m, end_m in track.halts:
        if start_m <= departure_m + AT_ONE_PLACE_M and end_m >= arrival_m - AT_ONE_PLACE_M:
            arrival, departure = min(arrival, float(start_s)), max(departure, float(end_s))
    return arrival, departure


def passes_of_equal_laps(passed: Passes) -> Passes:
    """Move passes so that laps are alike; where a rider hung about, arrival and departure stay apart."""
    events = np.unique(np.concatenate([passed.first_m, passed.last_m]))
    corrected = equal_lap_crossings_m(events, sd_m=CROSSING_SD_M)
    return Passes(
        first_m=corrected[np.searchsorted(events, passed.first_m)],
        last_m=corrected[np.searchsorted(events, passed.last_m)],
    )


def line_from_presses(track: Track, presses_s: Sequence[float]) -> tuple[StartLine, float] | None:
    """Return the start line that most button presses mean, or None if no two of them agree.

    Each press votes for where the rider was and which way the rider went; the place with
    most votes within :data:`PRESSES_WITHIN_M` wins and becomes the median of its votes, so that
    a press elsewhere moves nothing. The second value is how far ahead of the presses the line
    lies [m of wheel distance]: 0, or some steps up or down the road where the presses lie in a
    turn, in which no line is crossed cleanly.
    """
    if track.frame is None or not len(presses_s):
        return None
    pressed_m = track.distance_at_m(np.asarray(presses_s, dtype=np.float64))
    best: tuple[int, bool] = (1, True)  # one press alone agrees with no other
    found = None
    for ahead_m in STEPS_ASIDE_M:
        at = pressed_m + ahead_m
        voters = _largest_agreement(track, at)
        if not len(voters):
            continue
        bend = angle_between_deg(track.heading_at_deg(voters - BEND_M), track.heading_at_deg(voters + BEND_M))
        rank = (len(voters), bool(np.nanmedian(bend) <= STRAIGHT_DEG) if np.isfinite(bend).any() else False)
        if rank > best:
            best, found = rank, (_median_line(track, voters), ahead_m)
    return found


def _largest_agreement(track: Track, at_m: Floats) -> Floats:
    """Of some wheel distances the largest group at one place with one heading."""
    east, north = track.position_at(at_m)
    heading = track.heading_at_deg(at_m)
    known = np.isfinite(east) & np.isfinite(heading)
    if not known.any():
        return np.array([])
    at_m, east, north, heading = at_m[known], east[known], north[known], heading[known]
    apart = np.hypot(east[:, None] - east, north[:, None] - north)
    agree = (apart <= PRESSES_WITHIN_M) & (angle_between_deg(heading[:, None], heading) <= SAME_WAY_DEG)
    # Among equals the one in the middle of its crowd.
    middle = np.where(agree, apart, 0.0).sum(axis=1)
    return np.asarray(at_m[agree[int(np.lexsort((middle, -agree.sum(axis=1)))[0])]])


def _median_line(track: Track, at_m: Floats) -> StartLine:
    if track.frame is None:
        raise ValueError("a line needs positions")
    east, north = track.position_at(at_m)
    mean_heading = np.degrees(np.angle(np.exp(1j * np.radians(track.heading_at_deg(at_m))).sum())) % 360.0
    latitude, longitude = track.frame.to_degrees(float(np.median(east)), float(np.median(north)))
    return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=float(mean_heading))
