"""The road on a plane: the track of a ride in metres, and the start line on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError
from fieldaero.basics.quantities import Floats
from fieldaero.laps.lap import Lap, moment_in_words
from fieldaero.laps.start_line import HALF_WIDTH_M, StartLine
from fieldaero.laps.track import Track, track_of
from fieldaero.rides.ride import Ride

__all__ = ["TrackMap", "place_in_words", "start_line_at", "track_map"]

POINTS = 1500
MARGIN = 1.1


@dataclass(frozen=True, kw_only=True)
class TrackMap:
    """A ride's track.

    Points in metres from the middle of the track, shape (n,), with the number of their lap, 0 outside all laps; both
    ends of the start line, shape (2,), None where there is none.
    """

    time_s: Floats
    east_m: Floats
    north_m: Floats
    lap: NDArray[np.int_]
    line_east_m: Floats | None
    line_north_m: Floats | None

    @property
    def square_m(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """West and east, south and north edge of a square that holds the track with a margin."""
        middle = [(float(part.min()) + float(part.max())) / 2.0 for part in (self.east_m, self.north_m)]
        half = MARGIN * max(float(np.ptp(self.east_m)), float(np.ptp(self.north_m)), 1.0) / 2.0
        return (middle[0] - half, middle[0] + half), (middle[1] - half, middle[1] + half)

    def index_at(self, time_s: float) -> int:
        """Return which point is the nearest in time."""
        return int(np.argmin(np.abs(self.time_s - time_s)))


def track_map(
    ride: Ride,
    laps: Sequence[Lap],
    *,
    start_line: StartLine | None = None,
    points: int = POINTS,
    track: Track | None = None,
) -> TrackMap | None:
    """Return the track, thinned evenly along the road, or None for a ride without positions."""
    track = track or track_of(ride)
    if track.frame is None:
        return None
    known = np.flatnonzero(np.isfinite(track.east_m) & np.isfinite(track.north_m))
    even = np.linspace(track.distance_m[known[0]], track.distance_m[known[-1]], points)
    at = np.unique(known[np.clip(np.searchsorted(track.distance_m[known], even), 0, len(known) - 1)])
    number = np.zeros(len(at), dtype=np.int_)
    for lap in laps:
        number[(track.time_s[at] >= lap.start_s) & (track.time_s[at] < lap.end_s)] = lap.number
    line_east = line_north = None
    if start_line is not None:
        east, north = track.frame.to_metres(start_line.latitude_deg, start_line.longitude_deg)
        across = np.radians(start_line.heading_deg + 90.0)
        reach = HALF_WIDTH_M * np.array([-1.0, 1.0])
        line_east, line_north = float(east) + reach * np.sin(across), float(north) + reach * np.cos(across)
    return TrackMap(
        time_s=track.time_s[at],
        east_m=track.east_m[at],
        north_m=track.north_m[at],
        lap=number,
        line_east_m=line_east,
        line_north_m=line_north,
    )


def start_line_at(ride: Ride, time_s: float, *, track: Track | None = None) -> StartLine:
    """Return the line across the road where the ride was at a moment, in the direction in which it went."""
    track = track or track_of(ride)
    if track.frame is not None:
        at_m = track.distance_at_m(time_s)
        east, north = track.position_at(at_m)
        heading = track.heading_at_deg(at_m)
        if np.isfinite(east) and np.isfinite(north) and np.isfinite(heading):
            latitude, longitude = track.frame.to_degrees(float(east), float(north))
            return StartLine(
                latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=float(heading) % 360.0
            )
    raise RideError(
        f"{ride.source.file}: where the ride was at {moment_in_words(ride, time_s)}, or which way it went, is not "
        "known; choose another place for the start line"
    )


def place_in_words(ride: Ride, time_s: float, *, track: Track | None = None) -> str:
    """Say when a ride was at a place and which way it went there."""
    heading = start_line_at(ride, time_s, track=track).heading_deg
    return f"the road at {moment_in_words(ride, time_s)}, heading {heading:.0f}°"
