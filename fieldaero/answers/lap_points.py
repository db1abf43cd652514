"""Laps as points over time: drag area with its interval, and why a lap does not count."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from scipy.special import ndtri

from fieldaero.answers.result import LapResult, Result

__all__ = ["LapPoint", "lap_points"]

NORMAL_95 = float(ndtri(0.975))  # the fit's own error of a lap: normal, for given noise


@dataclass(frozen=True, kw_only=True)
class LapPoint:
    """One lap.

    Attributes
    ----------
    ride, lap, setup, used
        As in the result; setup "-" where none is named.
    middle_min
        Middle of the lap, minutes after the first lap began; laps of rides without a clock follow one another.
    clock
        Start as time of day, None without a clock.
    cda_m2, low_m2, high_m2
        Drag area by the joint fit and its 95 % interval; by plain closure and without an interval for a lap
        that is not used; None where there is neither.
    reason
        Why it does not count, empty for a used lap.
    """

    ride: str
    lap: int
    setup: str
    used: bool
    middle_min: float
    clock: datetime | None
    cda_m2: float | None
    low_m2: float | None
    high_m2: float | None
    reason: str


def lap_points(result: Result) -> tuple[LapPoint, ...]:
    """Return one point per lap, in order."""
    rows = result.lap_results
    clocks = [None if row.start is None else datetime.fromisoformat(row.start) for row in rows]
    first = next((c for c in clocks if c is not None), None)
    points, elapsed = [], 0.0
    for row, at in zip(rows, clocks, strict=True):
        if at is not None and first is not None:
            elapsed = (at - first).total_seconds()
        value, spread = row.cda_m2, None if row.cda_se_m2 is None else NORMAL_95 * row.cda_se_m2
        if not row.used:
            value = row.closure_cda_m2
        points.append(
            LapPoint(
                ride=row.ride,
                lap=row.lap,
                setup=row.setup,
                used=row.used,
                middle_min=(elapsed + row.duration_s / 2.0) / 60.0,
                clock=at,
                cda_m2=value,
                low_m2=None if value is None or spread is None else value - spread,
                high_m2=None if value is None or spread is None else value + spread,
                reason="" if row.used else _reason(row),
            )
        )
        elapsed += row.duration_s
    return tuple(points)


def _reason(row: LapResult) -> str:
    flags = ", ".join(flag.replace("_", " ") for flag in row.flags)
    return row.why_not or f"left out{f': {flags}' if flags else ''}"
