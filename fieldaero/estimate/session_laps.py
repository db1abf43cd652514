"""The laps of a session's rides and the course that they share.

Both come from the rides and how their laps are to be found, and from nothing else of the run
sheet: what a former session found is taken over where these are the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldaero.basics.errors import CannotAnswerError, RunSheetError
from fieldaero.laps.course import ONE_ROAD_M, Course, complete_laps, find_course, lap_position_m, lateral_distance_m
from fieldaero.laps.find_laps import find_laps
from fieldaero.laps.lap import Lap, LapSource
from fieldaero.laps.lap_list import LapListing
from fieldaero.laps.start_line import StartLine
from fieldaero.laps.track import Track, track_of
from fieldaero.rides.ride import Ride
from fieldaero.run_sheet.sheet import RunSheet, check_lap_list

__all__ = ["FoundLaps", "found_laps"]


@dataclass(frozen=True, kw_only=True)
class FoundLaps:
    """Laps of each ride and the course that all share, with the rides and ways (per ride) that they were found by."""

    rides: tuple[Ride, ...]
    ways: tuple[tuple[LapSource, StartLine | None], ...]
    tracks: tuple[Track, ...]
    laps: tuple[tuple[Lap, ...], ...]
    course: Course


def found_laps(
    run_sheet: RunSheet,
    rides: Sequence[Ride],
    *,
    listings: Sequence[LapListing] | None = None,
    former: FoundLaps | None = None,
) -> FoundLaps:
    """Find the laps of all rides and the course that they share.

    ``listings`` are the laps of each ride, where they were found before, from the line that all rides share.
    ``former`` is what was found before with its course: taken over if it is of these very rides, their laps found the
    same way.
    """
    ways = tuple((entry.lap_source, entry.start_line) for entry in run_sheet.rides)
    if former is not None and former.ways == ways and _same(former.rides, rides):
        for k, found in enumerate(former.laps):
            check_lap_list(run_sheet, k, len(found))
        return former
    _check_rides_once(run_sheet, rides)
    if listings is None:
        tracks = [track_of(ride) for ride in rides]
        laps = _laps(run_sheet, rides, tracks)
    else:
        tracks, laps = [listing.track for listing in listings], [listing.laps for listing in listings]
        for k, found in enumerate(laps):
            check_lap_list(run_sheet, k, len(found))
    most = max(range(len(rides)), key=lambda k: len(complete_laps(laps[k])))
    course = find_course(rides[most], laps[most], track=tracks[most])
    tracks = [track.in_frame(course.frame) for track in tracks]
    for ride, track, found in zip(rides, tracks, laps, strict=True):
        why = _other_course(track, found, course)
        if why:
            raise CannotAnswerError(
                f"{ride.source.file}: its laps {why} those of {rides[most].source.file} ({course.length_m:.0f} m): two "
                "courses. Make a run sheet for each course and pool their results."
            )
    return FoundLaps(rides=tuple(rides), ways=ways, tracks=tuple(tracks), laps=tuple(laps), course=course)


def _same(before: Sequence[Ride], now: Sequence[Ride]) -> bool:
    return len(before) == len(now) and all(a is b for a, b in zip(before, now, strict=True))


def _check_rides_once(run_sheet: RunSheet, rides: Sequence[Ride]) -> None:
    """Refuse a file that stands under two rides, also as a copy: its laps would count twice."""
    seen: dict[str, int] = {}
    for k, (entry, ride) in enumerate(zip(run_sheet.rides, rides, strict=True)):
        before = seen.setdefault(ride.source.sha256, k) if ride.source.sha256 else k
        if before != k:
            raise RunSheetError(
                f"{run_sheet.path.name}: [[rides]] no. {k + 1}, {entry.file} is the same file as no. {before + 1}, "
                f"{run_sheet.rides[before].file}; its laps count once, so take one of the two out"
            )


def _laps(run_sheet: RunSheet, rides: Sequence[Ride], tracks: Sequence[Track]) -> list[tuple[Lap, ...]]:
    laps: list[tuple[Lap, ...]] = []
    line: StartLine | None = None
    for k, (entry, ride, track) in enumerate(zip(run_sheet.rides, rides, tracks, strict=True)):
        # Rides of one session share the first one's line, so that they share positions along the lap.
        found = find_laps(ride, lap_source=entry.lap_source, start_line=entry.start_line or line, track=track)
        check_lap_list(run_sheet, k, len(found))
        if line is None and len(rides) > 1 and complete_laps(found):
            line = entry.start_line or find_course(ride, found, track=track).start_line
        laps.append(found)
    return laps


def _other_course(track: Track, laps: Sequence[Lap], course: Course) -> str:
    """In what the laps differ from the course, empty where they are laps of it."""
    alike = [lap for lap in laps if course.is_whole(lap)]
    if not alike:
        whole = [lap.distance_m for lap in complete_laps(laps)]
        return f"are {np.median(whole):.0f} m long, unlike" if whole else ""
    if course.frame is None or track.frame is None:
        return ""
    position = lap_position_m(track, alike, course)
    turned = np.radians(track.heading_at_deg(track.distance_m) - course.heading_deg_at(position))
    inside = np.isfinite(position) & np.isfinite(turned)
    if inside.any() and np.nanmedian(lateral_distance_m(track, course)[inside]) > ONE_ROAD_M:
        return f"run more than {ONE_ROAD_M:.0f} m beside"
    return "go another way round than" if inside.any() and np.mean(np.cos(turned[inside])) < 0.5 else ""
