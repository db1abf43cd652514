"""The columns of a ride CSV: the contract's, and a few more that only some rides need.

Contract: ``timestamp`` (ISO 8601) or ``time_s``, ``power_w``, ``speed_m_s``, and where
known ``distance_m``, ``altitude_m``, ``latitude_deg``, ``longitude_deg``,
``temperature_c``, ``cadence_rpm``, ``lap`` and ``air_speed_m_s``.

``east_m``, ``north_m``
    Metres east and north of the start line, instead of latitude and longitude, where a ride
    keeps its place to itself; see :mod:`fieldaero.rides.local_positions`.

``lap_trigger``
    What ended the lap of the row, written if it was not always the button.
``lap_start_s``, ``lap_end_s``
    Boundaries of the lap of the row, in seconds since the first row (on the clock of
    ``time_s`` where there is one), written if they do not fall on rows.
``pause``
    "timer" in a row whose step from the row before lies in a pause of the timer.
``speed_from``
    "distance" or "position", written if the speed was derived.
"""

from __future__ import annotations

from fieldaero.rides.ride import COLUMNS

__all__ = ["EXTRA_COLUMNS", "IN_OTHER_UNITS", "KNOWN_COLUMNS", "LOCAL_COLUMNS", "MISSING", "WRITTEN_ORDER"]

MISSING = frozenset(("", "nan", "na", "n/a", "null", "none", "-", "--"))
"""Cells that say, in lower case, that there is no value."""


EXTRA_COLUMNS: tuple[str, ...] = ("lap_trigger", "lap_start_s", "lap_end_s", "pause", "speed_from")
IN_OTHER_UNITS: dict[str, tuple[str, float]] = {
    "speed_km_h": ("speed_m_s", 1.0 / 3.6),
    "air_speed_km_h": ("air_speed_m_s", 1.0 / 3.6),
}
"""Columns that are accepted, the column they become, and the factor."""

LOCAL_COLUMNS: tuple[str, str] = ("east_m", "north_m")
WRITTEN_ORDER: tuple[str, ...] = ("timestamp", *COLUMNS[:-1], *LOCAL_COLUMNS, "lap", COLUMNS[-1], *EXTRA_COLUMNS)
KNOWN_COLUMNS: frozenset[str] = frozenset((*WRITTEN_ORDER, *IN_OTHER_UNITS))
