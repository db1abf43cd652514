"""Rides as they are handed on: in local metres and on the session's own clock, or as they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from fieldaero.estimate.session import Session
from fieldaero.laps.start_line import StartLine
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.local_positions import LOCAL_FRAME, RELATIVE_CLOCK, is_local
from fieldaero.rides.ride import Ride

__all__ = ["Disguise", "disguise_of", "ride_in"]


@dataclass(frozen=True, kw_only=True)
class Disguise:
    """How places and times are told in a pack.

    ``frame`` gives the metres of the course, None without positions; the start line in it becomes the origin. ``back``
    is taken off every clock time.
    """

    frame: LocalFrame | None
    east_m: float
    north_m: float
    back: timedelta

    def moment(self, time: datetime | None) -> datetime | None:
        """Return a clock time as it is told in the pack."""
        return None if time is None else time.astimezone(UTC) - self.back

    def metres(
        self, latitude_deg: np.ndarray | float, longitude_deg: np.ndarray | float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return east and north of the start line [m]; the frame keeps its directions."""
        assert self.frame is not None
        east, north = self.frame.to_metres(latitude_deg, longitude_deg)
        return east - self.east_m, north - self.north_m

    def line(self, line: StartLine) -> StartLine:
        """Return a start line as it is told in the pack."""
        if self.frame is None:
            return line
        latitude, longitude = LOCAL_FRAME.to_degrees(*self.metres(line.latitude_deg, line.longitude_deg))
        return StartLine(latitude_deg=float(latitude), longitude_deg=float(longitude), heading_deg=line.heading_deg)


def disguise_of(session: Session, times: Sequence[datetime]) -> Disguise:
    """Return the disguise of a session.

    ``times`` are those of the weather, which begin the session's clock where no ride has one.
    """
    course = session.course
    east = north = 0.0
    if course.frame is not None and course.start_line is not None:
        place = course.frame.to_metres(course.start_line.latitude_deg, course.start_line.longitude_deg)
        east, north = float(place[0]), float(place[1])
    starts = [ride.ride.start_time for ride in session.rides if ride.ride.start_time is not None] or list(times)
    back = min(start.astimezone(UTC) for start in starts) - RELATIVE_CLOCK if starts else timedelta()
    return Disguise(frame=course.frame, east_m=east, north_m=north, back=back)


def ride_in(ride: Ride, disguise: Disguise) -> Ride:
    """Return a ride in local metres and on the session's clock; without positions only the clock changes."""
    table = ride.table.copy()
    latitude, longitude = ride.column("latitude_deg"), ride.column("longitude_deg")
    if disguise.frame is None:
        table["latitude_deg"] = table["longitude_deg"] = np.nan
    elif np.isfinite(latitude).any() and not is_local(float(np.nanmedian(latitude)), float(np.nanmedian(longitude))):
        east, north = disguise.metres(latitude, longitude)
        table["latitude_deg"], table["longitude_deg"] = LOCAL_FRAME.to_degrees(east, north)
    return replace(ride, table=table, start_time=disguise.moment(ride.start_time), device=None, sport=None)
