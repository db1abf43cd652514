"""Positions that tell where on a road, but not where on the Earth.

Rides that are shared may hide their place: their positions are then metres east and north of the
start line. Everything that reads a ride works in degrees, so such metres are placed around one
agreed point, 0 deg north, 90 deg east, open sea for 500 km around, where no real ride can be. On the
equator meridians are parallel, so headings stay as they are.

Only gravity depends on the true place; the run sheet gives a latitude for it.
"""

from __future__ import annotations

from datetime import UTC, datetime

from fieldaero.physics.earth import LocalFrame

__all__ = ["LOCAL_FRAME", "RELATIVE_CLOCK", "is_local", "is_relative"]

LOCAL_FRAME = LocalFrame(0.0, 90.0)
"""Metres of local positions: east and north of the start line."""

RELATIVE_CLOCK = datetime(2000, 1, 1, tzinfo=UTC)
"""Start of a session whose clock times are hidden: they count from here."""

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
    """Whether a moment is on :data:`RELATIVE_CLOCK`, by its day.

    Examples
    --------
    >>> is_relative(datetime(2000, 1, 1, 0, 4, tzinfo=UTC)), is_relative(datetime(2026, 5, 3, tzinfo=UTC))
    (True, False)
    """
    return moment is not None and moment.astimezone(UTC).date() == RELATIVE_CLOCK.date()
