"""Positions that say where on a road, and not where on the Earth.

Rides that are handed on may keep their place to themselves: their positions are then metres
east and north of the start line.  Everything that reads a ride knows degrees, so such metres are
laid round one agreed place, 0 deg north, 90 deg east, which is open sea for 500 km around: no ride
can be there otherwise.  On the equator meridians are parallel, so that headings stay what they are.

What depends on the true place is gravity; the run sheet gives a latitude for it.
"""

from __future__ import annotations

from datetime import UTC, datetime

from fieldaero.physics.earth import LocalFrame

__all__ = ["LOCAL_FRAME", "RELATIVE_CLOCK", "is_local", "is_relative"]

LOCAL_FRAME = LocalFrame(0.0, 90.0)
"""Metres of local positions: east and north of the start line."""

RELATIVE_CLOCK = datetime(2000, 1, 1, tzinfo=UTC)
"""Start of a session whose clock times are told as time since its start."""

REACH_DEG = 2.0


def is_local(latitude_deg: float, longitude_deg: float) -> bool:
    """Whether a position is one of local metres.

    Examples
    --------
    >>> is_local(0.001, 90.002), is_local(48.1, 11.6)
    (True, False)
    """
    place = LOCAL_FRAME
    return abs(latitude_deg - place.latitude_deg) < REACH_DEG and abs(longitude_deg - place.longitude_deg) < REACH_DEG


def is_relative(moment: datetime | None) -> bool:
    """Whether a moment is on the clock that begins with the session, by its day.

    Examples
    --------
    >>> is_relative(datetime(2000, 1, 1, 0, 4, tzinfo=UTC)), is_relative(datetime(2026, 5, 3, tzinfo=UTC))
    (True, False)
    """
    return moment is not None and moment.astimezone(UTC).date() == RELATIVE_CLOCK.date()
