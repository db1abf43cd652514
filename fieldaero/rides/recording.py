"""What a reader found in a file, before any repair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from fieldaero.basics.errors import RideError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.rides.ride import COLUMNS, LapMark, Pause

__all__ = ["Recording", "check_laps", "check_samples", "parse_time", "table_of"]

MOST_SAMPLES = 1_000_000  # eleven days at 1 s
MOST_LAPS = 5_000  # an automatic lap every 100 m of the longest day


@dataclass(frozen=True, kw_only=True)
class Recording:
    """Samples and messages of one file, in the order of the file and on its own clock.

    Attributes
    ----------
    samples
        The columns of a ride table; ``time_s`` [s] counts from ``clock_zero``, in any
        order, NaN where the file has none.
    clock_zero
        Aware UTC time at ``time_s`` = 0, None if the file only counts seconds.
    breaks
        Row numbers at which the recording starts anew: a chained file, a track segment.
    indoor
        The file's own word for a ride that met no air (a trainer, a virtual road), else None.
    """

    format: str
    samples: pd.DataFrame
    clock_zero: datetime | None
    breaks: tuple[int, ...] = ()
    lap_marks: tuple[LapMark, ...] = ()
    timer_stops: tuple[Pause, ...] = ()
    device: str | None = None
    sport: str | None = None
    indoor: str | None = None
    speed_from: str = "recorded"
    notes: tuple[str, ...] = ()


def check_samples(count: int, name: str) -> None:
    """Refuse a file with more samples than any ride has."""
    if beyond(count, MOST_SAMPLES):
        raise RideError(
            f"{name}: more than the {MOST_SAMPLES} samples that are allowed, {MOST_SAMPLES / 86_400:.0f} days at 1 s. "
            f"Export one ride alone, or {HOW_TO_LIFT}"
        )


def check_laps(count: int, name: str, *, what: str = "laps") -> None:
    """Refuse a file with more laps, or other messages of that kind, than any ride has."""
    if beyond(count, MOST_LAPS):
        raise RideError(
            f"{name}: more than the {MOST_LAPS} {what} that are allowed. Export one ride alone, turn automatic laps "
            f"off, or {HOW_TO_LIFT}"
        )


def table_of(columns: Mapping[str, Sequence[float] | np.ndarray]) -> pd.DataFrame:
    """Ride table of the columns that were found; all others are NaN.

    Examples
    --------
    >>> table_of({"time_s": [0.0, 1.0], "power_w": [200.0, 210.0]})["speed_m_s"].tolist()
    [nan, nan]
    """
    rows = len(columns["time_s"])
    filled = {name: np.asarray(columns.get(name, np.full(rows, np.nan)), dtype=np.float64) for name in COLUMNS}
    return pd.DataFrame(filled, columns=list(COLUMNS))


def parse_time(text: str) -> tuple[datetime, bool] | None:
    """Aware UTC time of an ISO 8601 stamp, and whether it named its zone; None if it is no such stamp.

    A stamp without a zone is taken as UTC; the caller says so.

    Examples
    --------
    >>> parse_time("2026-05-03T09:10:00.5+02:00")
    (datetime.datetime(2026, 5, 3, 7, 10, 0, 500000, tzinfo=datetime.timezone.utc), True)
    >>> parse_time("3 May 2026") is None
    True
    """
    try:
        time = datetime.fromisoformat(text.strip())
        if time.tzinfo is None:
            return time.replace(tzinfo=UTC), False
        return time.astimezone(UTC), True
    except (ValueError, OverflowError):
        return None
