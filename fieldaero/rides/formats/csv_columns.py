"""The columns of a ride CSV: the contract's, a few more that only some rides need, and how laps are told by rows.

Contract: ``timestamp`` (ISO 8601) or ``time_s``, ``power_w``, ``speed_m_s``, and where
known ``distance_m``, ``altitude_m``, ``latitude_deg``, ``longitude_deg``,
``temperature_c``, ``cadence_rpm``, ``lap`` and ``air_speed_m_s``.

``east_m``, ``north_m``
    Metres east and north of the start line, instead of latitude and longitude, where the
    place stays private; see :mod:`fieldaero.rides.local_positions`.

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

from collections.abc import Iterator, Sequence

import numpy as np

from fieldaero.rides.ride import COLUMNS, LapMark, Ride

__all__ = [
    "IN_OTHER_UNITS",
    "KNOWN_COLUMNS",
    "LOCAL_COLUMNS",
    "MISSING",
    "WRITTEN_ORDER",
    "equal_cells",
    "lap_columns",
    "marks_of_rows",
]

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


def equal_cells(cells: Sequence[str]) -> Iterator[tuple[int, int, str]]:
    """Yield first row, row after the last, and content of each stretch of equal cells.

    Examples
    --------
    >>> list(equal_cells(["1", "1", "2"]))
    [(0, 2, '1'), (2, 3, '2')]
    """
    first = 0
    for row in range(1, len(cells) + 1):
        if row == len(cells) or cells[row] != cells[first]:
            yield first, row, cells[first]
            first = row


def marks_of_rows(
    laps: Sequence[str],
    time_s: Sequence[float],
    *,
    triggers: Sequence[str] | None = None,
    starts_s: Sequence[float] | None = None,
    ends_s: Sequence[float] | None = None,
) -> list[LapMark]:
    """Return one mark per stretch of rows with the same lap; it ends where the next row begins.

    Each sequence has a value for every row. The lap is empty outside all laps; start and end
    count only where both are numbers in order.

    Examples
    --------
    >>> [(mark.start_s, mark.end_s) for mark in marks_of_rows(["1", "1", "2"], [0.0, 1.0, 2.0])]
    [(0.0, 2.0), (2.0, 2.0)]
    """
    marks = []
    for first, after, lap in equal_cells(laps):
        if lap.lower() in MISSING:
            continue
        start, end = time_s[first], time_s[min(after, len(time_s) - 1)]
        if starts_s is not None and ends_s is not None and starts_s[first] < ends_s[first]:
            start, end = starts_s[first], ends_s[first]
        marks.append(LapMark(start_s=start, end_s=end, trigger=(triggers[first] if triggers else "") or "button"))
    return marks


def lap_columns(ride: Ride) -> dict[str, list[str]]:
    """Columns that tell the laps of a ride; a lap without a row of its own is lost."""
    marks, t = ride.lap_marks, ride.time_s
    if not marks:
        return {}
    lap = np.full(len(t), -1)
    for number, mark in enumerate(marks):
        # The last row belongs to the lap that ends with it.
        lap[(t >= mark.start_s) & ((t < mark.end_s) | (mark.end_s >= t[-1]))] = number
    of_row = lap.tolist()
    columns = {"lap": [str(number + 1) if number >= 0 else "" for number in of_row]}
    told = marks_of_rows(columns["lap"], t.tolist())
    if any(mark.trigger != "button" for mark in marks):
        columns["lap_trigger"] = [marks[number].trigger if number >= 0 else "" for number in of_row]
    if [(mark.start_s, mark.end_s) for mark in told] != [(mark.start_s, mark.end_s) for mark in marks]:
        begun = 0.0 if ride.start_time is None else float(t[0])
        for name, bounds in (("lap_start_s", [m.start_s for m in marks]), ("lap_end_s", [m.end_s for m in marks])):
            columns[name] = [repr(bounds[number] - begun) if number >= 0 else "" for number in of_row]
    return columns
