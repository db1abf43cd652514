"""The course: the road of one lap, as the laps of a ride share it.

Everything along the course is a function of the position on it, metres since the
start line.  The position of a sample comes from the wheel, rescaled between the
crossings of the line, never from where the satellites saw the sample: 2 m of
wandering noise in every position would flatten the profile.  Positions serve, by
the thousand, to place the line, to give headings and to see who left the road.

A road ridden there and back is one road with two directions, which folds at its two turns:
one of them is found here, and the other lies half a lap later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.basics.quantities import Floats
from fieldaero.laps.course_shape import folding_position_m, median_altitude_m, median_heading_deg, median_over_laps
from fieldaero.laps.equal_laps import LAPS_DIFFER, common_length_m
from fieldaero.laps.lap import Lap
from fieldaero.laps.lap_button import SELF_MADE
from fieldaero.laps.start_line import SHORTEST_LAP_M, StartLine
from fieldaero.laps.track import Track, track_of
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.ride import Ride

__all__ = ["ONE_ROAD_M", "Course", "complete_laps", "find_course", "lap_position_m", "lateral_distance_m"]

GRID_M = 10.0
CLOSED_WITHIN_M = 30.0  # start and finish of a closed course: satellite error and riding line
FINE_M = 2.0
HEADING_WEIGHT_M = 40.0  # opposite headings count as 80 m apart when the nearest point is sought
ONE_ROAD_M = 50.0  # laps, and rides, that lie further apart in the median are not on one course
LEAST_SHIFT_M = 3.0  # less is not told from the satellites' own error between two recordings
PLACED_WITHIN_M = 25.0  # a lap of no whole length is placed only if its samples agree this well
PLACED = 0.8  # ... in this share


@dataclass(frozen=True, kw_only=True)
class Course:
    """One lap of road; arrays over ``position_m``, shape (n,).

    Unknown values are NaN; ``start_line`` and ``frame`` are None without positions.

    Attributes
    ----------
    length_m
        Median wheel length of the complete laps.
    position_m
        0 to ``length_m`` in steps of about 10 m, both ends included.
    east_m, north_m
        Median line of the laps in ``frame``.
    heading_along_deg
        Direction of travel, clockwise from north.
    altitude_m
        Median of the recorded altitude, freed of each lap's own offset.
    closed
        Whether the finish is the start, so that a lap gains no height.
    turn_position_m
        Position of the turn in the first half lap of a road ridden there and back, the
        other turn being half a lap later; None for any other course.
    start_line
        Place and direction at position 0.
    lap_numbers
        The laps it was made from.
    """

    length_m: float
    position_m: Floats
    east_m: Floats
    north_m: Floats
    heading_along_deg: Floats
    altitude_m: Floats
    closed: bool
    turn_position_m: float | None
    start_line: StartLine | None
    frame: LocalFrame | None
    lap_numbers: tuple[int, ...]

    @property
    def out_and_back(self) -> bool:
        """Whether the second half retraces the first."""
        return self.turn_position_m is not None

    @property
    def has_headings(self) -> bool:
        """Whether the direction of travel is known anywhere, which takes positions."""
        return bool(np.isfinite(self.heading_along_deg).any())

    def is_whole(self, lap: Lap) -> bool:
        """Whether a lap has the length of the course."""
        return abs(lap.distance_m / self.length_m - 1.0) <= LAPS_DIFFER

    def heading_deg_at(self, position_m: ArrayLike) -> Floats:
        """Direction of travel at positions, clockwise from north, 0 to 360, NaN where unknown."""
        p = self.wrapped_m(position_m)
        turn = np.radians(self.heading_along_deg)
        sin, cos = (np.interp(p, self.position_m, part) for part in (np.sin(turn), np.cos(turn)))
        return np.degrees(np.arctan2(sin, cos)) % 360.0

    def altitude_m_at(self, position_m: ArrayLike) -> Floats:
        """Look up the recorded altitude at positions [m], NaN where unknown."""
        return np.asarray(np.interp(self.wrapped_m(position_m), self.position_m, self.altitude_m))

    def wrapped_m(self, position_m: ArrayLike) -> Floats:
        """Positions brought back to 0 .. length on a closed course; as they are on an open one."""
        p = np.asarray(position_m, dtype=np.float64)
        # Both ends stay what they are: position length_m is the finish, not the start.
        return np.where((p < 0.0) | (p > self.length_m), p % self.length_m, p) if self.closed else p


def complete_laps(laps: Sequence[Lap]) -> tuple[Lap, ...]:
    """Return the laps of the commonest length: what most laps agree on is one round of the course.

    Where no two laps have one length, take the first lap that is neither the first nor the last of
    the ride, since those begin or end anywhere.

    Examples
    --------
    >>> laps = [Lap(number=n, start_s=0.0, end_s=1.0, distance_m=d) for n, d in enumerate([420.0, 1500.0, 1503.0], 1)]
    >>> [lap.number for lap in complete_laps(laps)]
    [2, 3]
    """
    ridden = [lap for lap in laps if lap.distance_m >= SHORTEST_LAP_M]
    if not ridden:
        return ()
    lengths = np.array([lap.distance_m for lap in ridden])
    alike = np.abs(lengths / common_length_m(lengths) - 1.0) <= LAPS_DIFFER
    if np.count_nonzero(alike) > 1:
        return tuple(lap for lap, same in zip(ridden, alike, strict=True) if same)
    return tuple(ridden[1:-1][:1] or ridden[:1])


def find_course(ride: Ride, laps: Sequence[Lap], *, track: Track | None = None) -> Course:
    """Return the course that the complete ones of these laps share.

    Parameters
    ----------
    ride
        The recorded ride; without positions the course has a length and no shape.
    laps
        Laps of that ride: all of them, or those that are used.
    track
        The track of the ride, if it is already worked out.

    Returns
    -------
    The course; its position 0 is where the laps begin.

    Raises
    ------
    CannotAnswerError
        No lap is long enough, or the laps do not follow one road.
    """
    whole = complete_laps(laps)
    if not whole:
        raise CannotAnswerError(
            f"none of the {len(laps)} laps is {SHORTEST_LAP_M:.0f} m long or longer, so there is "
            "no course. Check the wheel's distance and the lap marks.",
            where=ride.source.file,
        )
    track = track or track_of(ride)
    whole = _on_one_road(ride, track, whole)
    length = float(np.median([lap.distance_m for lap in whole]))
    position, wheel, places = _laid_out(track, whole, length)
    east, north = median_over_laps(places[:, 0]), median_over_laps(places[:, 1])
    heading = np.array([track.heading_at_deg(d) for d in wheel])
    middle = median_heading_deg(heading)
    gap = np.hypot(places[:, 0, -1] - places[:, 0, 0], places[:, 1, -1] - places[:, 1, 0])
    closed = bool(np.nanmedian(gap) <= CLOSED_WITHIN_M) if np.isfinite(gap).any() else _in_one_go(whole)
    line = None
    if track.frame is not None and np.isfinite(east[0]) and np.isfinite(middle[0]):
        latitude, longitude = (float(x) for x in track.frame.to_degrees(east[0], north[0]))
        line = StartLine(latitude_deg=latitude, longitude_deg=longitude, heading_deg=float(middle[0]))
    return Course(
        length_m=length,
        position_m=position,
        east_m=east,
        north_m=north,
        heading_along_deg=middle,
        altitude_m=median_altitude_m(ride, track, wheel),
        closed=closed,
        turn_position_m=(
            folding_position_m(position_m=position, east_m=east, north_m=north, heading_deg=middle) if closed else None
        ),
        start_line=line,
        frame=track.frame,
        lap_numbers=tuple(lap.number for lap in whole),
    )


def lap_position_m(track: Track, laps: Sequence[Lap], course: Course) -> Floats:
    """Position along the lap of every sample, shape (n,), NaN outside the laps.

    Wheel distance since the start of the lap, rescaled so that a lap has the course's
    length; several laps ridden as one count as that many.  Where a ride marked its laps
    at another place than the course's line, all its laps are shifted by what their
    samples as a whole say.  A lap of no whole length, cut short or with a detour, is
    not rescaled: it is placed by its samples as a whole, or is NaN if they disagree.
    """
    track = track.in_frame(course.frame)
    position = np.full(len(track.time_s), np.nan)
    seen = _projected_m(track, course)
    whole: list[tuple[NDArray[np.bool_], Floats]] = []
    for lap in laps:
        inside = (track.time_s >= lap.start_s) & (track.time_s <= lap.end_s)
        rolled = track.distance_m[inside] - _start_m(track, lap)
        ridden_m = max(1, round(lap.distance_m / course.length_m)) * course.length_m
        if abs(lap.distance_m / ridden_m - 1.0) <= LAPS_DIFFER:
            whole.append((inside, rolled * (ridden_m / lap.distance_m)))
        else:
            shift, agreed = _shift_m(seen[inside] - rolled, course)
            position[inside] = course.wrapped_m(rolled + shift) if agreed >= PLACED else np.nan
    if whole:
        shift, _ = _shift_m(np.concatenate([seen[inside] - rolled for inside, rolled in whole]), course)
        for inside, rolled in whole:
            position[inside] = course.wrapped_m(rolled + (shift if abs(shift) >= LEAST_SHIFT_M else 0.0))
    return position


def lateral_distance_m(track: Track, course: Course) -> Floats:
    """Distance of every sample from the course's line, shape (n,), NaN where either is unknown."""
    track = track.in_frame(course.frame)
    known = np.isfinite(course.east_m)
    away = np.full(len(track.time_s), np.nan)
    sampled = np.isfinite(track.east_m)
    if np.count_nonzero(known) < 2 or not sampled.any():
        return away
    fine = np.arange(0.0, course.length_m, FINE_M)
    line = np.column_stack(
        [np.interp(fine, course.position_m[known], c[known]) for c in (course.east_m, course.north_m)]
    )
    away[sampled], _ = cKDTree(line).query(np.column_stack([track.east_m[sampled], track.north_m[sampled]]))
    return away


def _laid_out(track: Track, laps: Sequence[Lap], length: float) -> tuple[Floats, list[Floats], Floats]:
    """Grid of positions, wheel distance of each lap on it, and places of shape (laps, 2, n)."""
    position = np.linspace(0.0, length, max(3, round(length / GRID_M) + 1))
    wheel = [_start_m(track, lap) + position * (lap.distance_m / length) for lap in laps]
    return position, wheel, np.array([track.position_at(d) for d in wheel])


def _on_one_road(ride: Ride, track: Track, laps: tuple[Lap, ...]) -> tuple[Lap, ...]:
    """Leave out laps of the right length on another road; refuse if that leaves no majority."""
    _, _, places = _laid_out(track, laps, float(np.median([lap.distance_m for lap in laps])))
    east, north = places[:, 0], places[:, 1]
    apart = median_over_laps(np.hypot(east - median_over_laps(east), north - median_over_laps(north)).T)
    elsewhere = apart > ONE_ROAD_M
    if 2 * np.count_nonzero(elsewhere) >= len(laps):
        raise CannotAnswerError(
            f"{np.count_nonzero(elsewhere)} of {len(laps)} laps of about "
            f"{laps[0].distance_m:.0f} m do not follow the road of the others, as with automatic laps. "
            'Use lap_source = "repeat" or "line".',
            where=ride.source.file,
        )
    return tuple(lap for lap, other in zip(laps, elsewhere, strict=True) if not other)


def _start_m(track: Track, lap: Lap) -> float:
    return lap.start_m if np.isfinite(lap.start_m) else float(track.distance_at_m(lap.start_s))


def _in_one_go(laps: Sequence[Lap]) -> bool:
    """Whether laps follow each other, begun by hand: then each ends where the next begins, at one place."""
    by_hand = not any(lap.trigger.lower().startswith(SELF_MADE) for lap in laps[:-1])
    return by_hand and len(laps) > 1 and all(after.start_s - before.end_s < 1.0 for before, after in pairwise(laps))


def _projected_m(track: Track, course: Course) -> Floats:
    """Position of the nearest point of the course with like heading, NaN where unknown or far."""
    seen = np.full(len(track.time_s), np.nan)
    known = np.isfinite(course.east_m) & np.isfinite(course.heading_along_deg)
    if np.count_nonzero(known) < 2:
        return seen
    fine = np.arange(0.0, course.length_m, FINE_M)
    ahead = course.heading_deg_at(fine)
    line = [np.interp(fine, course.position_m[known], c[known]) for c in (course.east_m, course.north_m)]
    heading = track.heading_at_deg(track.distance_m)
    use = np.isfinite(track.east_m) & np.isfinite(heading)
    points = [track.east_m[use], track.north_m[use]]
    finite = np.isfinite(ahead)
    if not finite.any():
        return seen
    tree = cKDTree(np.column_stack([c[finite] for c in (*line, *_as_metres(ahead))]))
    apart, nearest = tree.query(np.column_stack([*points, *_as_metres(heading[use])]))
    seen[use] = np.where(apart <= CLOSED_WITHIN_M, fine[finite][nearest], np.nan)
    return seen


def _as_metres(heading_deg: Floats) -> tuple[Floats, Floats]:
    turn = np.radians(heading_deg)
    return HEADING_WEIGHT_M * np.sin(turn), HEADING_WEIGHT_M * np.cos(turn)


def _shift_m(ahead: Floats, course: Course) -> tuple[float, float]:
    """Median of seen minus rolled position round the course, and the share of samples near it."""
    known = ahead[np.isfinite(ahead)]
    if not len(known) or not course.closed:
        return 0.0, 0.0
    angle = np.exp(2j * np.pi * known / course.length_m)
    mean = np.angle(angle.sum())
    away = np.angle(angle * np.exp(-1j * mean))
    to_m = course.length_m / (2.0 * np.pi)
    near = np.abs(away - np.median(away)) * to_m <= PLACED_WITHIN_M
    return float((mean + np.median(away)) * to_m), float(np.count_nonzero(near) / len(ahead))
