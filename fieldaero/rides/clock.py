"""Time stamps as text."""

from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["parse_time"]


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
