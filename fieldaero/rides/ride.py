"""One recorded file as the rest of fieldaero sees it: a table in SI units, and where it came from.

Readers make a :class:`Ride`, everything else only reads it.  The table always
has every column of :data:`COLUMNS`, in that order; what a device did not record
is NaN, never 0.  ``time_s`` counts seconds from ``start_time`` and rises strictly.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.basics.errors import RideError

__all__ = ["COLUMNS", "LapMark", "Pause", "Ride", "RideSource", "check_power"]

COLUMNS: tuple[str, ...] = (
    "time_s",
    "power_w",
    "speed_m_s",
    "distance_m",
    "altitude_m",
    "latitude_deg",
    "longitude_deg",
    "temperature_c",
    "cadence_rpm",
    "air_speed_m_s",
)
"""Columns of a ride table: the CSV contract's names, the lap column apart."""


@dataclass(frozen=True, kw_only=True)
class LapMark:
    """One lap as the device marked it, on the ride's clock [s since start]; trigger in words."""

    start_s: float
    end_s: float
    trigger: str = "unknown"


@dataclass(frozen=True, kw_only=True)
class Pause:
    """A stretch without recording, on the ride's clock [s]; cause is "timer" or "gap"."""

    start_s: float
    end_s: float
    cause: str = "gap"


@dataclass(frozen=True, kw_only=True)
class RideSource:
    """Where a ride came from: file name without folder, format in words, SHA-256."""

    file: str
    format: str
    sha256: str


@dataclass(frozen=True, kw_only=True)
class Ride:
    """A recorded ride.

    Attributes
    ----------
    table
        One row per sample with the columns of :data:`COLUMNS`, all float64;
        ``time_s`` is strictly increasing, missing values are NaN.
    source
        File name, format and SHA-256 of the bytes as they were read.
    start_time
        Aware UTC time at ``time_s`` = 0, or None where the file has no clock time.
    lap_marks
        Laps as marked on the device, ordered by start.
    pauses
        Timer pauses and recording gaps, ordered by start.
    device, sport
        In words where the file says so, else None.
    speed_from
        "recorded", "distance" (differentiated) or "position" (from latitude and
        longitude); says how far ``speed_m_s`` can be trusted.
    notes
        One plain sentence per thing that was repaired, dropped or is missing.
    """

    table: pd.DataFrame
    source: RideSource
    start_time: datetime | None = None
    lap_marks: tuple[LapMark, ...] = ()
    pauses: tuple[Pause, ...] = ()
    device: str | None = None
    sport: str | None = None
    speed_from: str = "recorded"
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        name = self.source.file
        if tuple(self.table.columns) != COLUMNS:
            raise RideError(
                f"{name}: the ride table has the columns {list(self.table.columns)}; needed are {list(COLUMNS)}"
            )
        if len(self.table) < 2:
            raise RideError(
                f"{name}: {len(self.table)} usable samples found; a ride needs at least 2. Record at 1 s intervals."
            )
        t = self.time_s
        if not np.all(np.isfinite(t)) or np.any(np.diff(t) <= 0.0):
            raise RideError(f"{name}: time_s must be finite and rise from sample to sample")
        if self.start_time is not None and self.start_time.tzinfo is None:
            raise RideError(f"{name}: start_time {self.start_time} has no time zone; give aware UTC")

    @cached_property  # asked for hundreds of times by an analysis
    def time_s(self) -> NDArray[np.float64]:
        """Seconds since the start of the ride, shape (n,)."""
        return self.column("time_s")

    @property
    def duration_s(self) -> float:
        """Time from first to last sample [s], pauses included."""
        t = self.time_s
        return float(t[-1] - t[0])

    def column(self, name: str) -> NDArray[np.float64]:
        """One column of the table as float64, shape (n,)."""
        return self.table[name].to_numpy(dtype=np.float64)

    def has(self, name: str) -> bool:
        """Whether the column holds at least one value."""
        return bool(np.isfinite(self.column(name)).any())

    def clock(self, time_s: float) -> datetime | None:
        """Aware UTC time at a moment on the ride's clock [s], None without clock time."""
        if self.start_time is None:
            return None
        return self.start_time.astimezone(UTC) + timedelta(seconds=float(time_s))


def check_power(ride: Ride) -> None:
    """Refuse a ride without power, which gives no drag area."""
    if not ride.has("power_w"):
        raise RideError(
            "no usable power in this file; a test of drag needs a power meter. Check that the meter was paired while "
            "recording, or that the export kept its data.",
            where=ride.source.file,
        )
