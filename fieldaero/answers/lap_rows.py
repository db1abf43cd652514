"""The laps of a result: what each was like and its drag area by both estimators, and the same as points over time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from scipy.special import ndtri

from fieldaero.answers.cross_checks.yaw_ridden import segment_yaw_deg
from fieldaero.answers.rows import LapResult
from fieldaero.basics.quantities import Floats
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.closure import lap_closure
from fieldaero.estimate.cut_laps import why_not_fittable
from fieldaero.estimate.session import Session, SessionLap
from fieldaero.laps.lap import flag_words, mean_power_w

__all__ = ["NORMAL_95", "LapPoint", "lap_points", "lap_results"]


NORMAL_95 = float(ndtri(0.975))  # the fit's own error of a lap: normal, for given noise


def lap_results(session: Session, estimates: Estimates) -> tuple[LapResult, ...]:
    """Return one row per lap of the session, in order."""
    place = {(lap.ride, lap.lap.number): k for k, lap in enumerate(estimates.laps)}
    yaw = segment_yaw_deg(estimates)
    return tuple(_row(session, lap, estimates, place.get((lap.ride, lap.lap.number)), yaw) for lap in session.laps)


def _row(session: Session, entry: SessionLap, estimates: Estimates, k: int | None, yaw: Floats) -> LapResult:
    sheet, lap = session.run_sheet, entry.lap
    session_ride = session.rides[entry.ride]
    balance, ride = session_ride.balance, session_ride.ride
    closure = lap_closure(
        balance,
        start_s=lap.start_s,
        end_s=lap.end_s,
        crr=sheet.system.crr,
        height_difference_m=sheet.course.height_difference_m or 0.0,
    )
    inside = (balance.time_s[:-1] >= lap.start_s) & (balance.time_s[1:] <= lap.end_s)
    clock = ride.clock(lap.start_s)
    fit = estimates.fit
    return LapResult(
        ride=ride.source.file,
        lap=lap.number,
        setup=entry.setup,
        used=k is not None,
        flags=lap.flag_names,
        start=None if clock is None else clock.isoformat(timespec="milliseconds"),
        duration_s=lap.duration_s,
        distance_m=lap.distance_m,
        speed_m_s=lap.speed_m_s,
        power_w=mean_power_w(ride, lap, false_power=session_ride.false_power),
        air_density_kg_m3=float(np.mean(balance.air_density_kg_m3[inside])) if inside.any() else math.nan,
        yaw_deg_median=None if k is None or np.isnan(yaw[k]).all() else float(np.nanmedian(np.abs(yaw[k]))),
        cda_m2=None if k is None else float(fit.cda_m2[k]),
        cda_se_m2=None if k is None else float(np.sqrt(estimates.covariance_m4[k, k])),
        closure_cda_m2=closure.cda_m2 if entry.whole and math.isfinite(closure.cda_m2) else None,
        residual_rms_m=None if k is None else float(np.sqrt(np.mean(fit.residual_m[k] ** 2))),
        outlier=k is not None and bool(estimates.comparison.influence.outlier[k]),
        flag_sentences=tuple(flag.sentence for flag in lap.flags),
        why_not=why_not_fittable(session, entry) if k is None and entry.used else "",
    )


@dataclass(frozen=True, kw_only=True)
class LapPoint:
    """One lap on the clock of the session.

    Attributes
    ----------
    setup
        "-" where none is named.
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


def lap_points(rows: Sequence[LapResult]) -> tuple[LapPoint, ...]:
    """Return one point per lap, in order."""
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
    why = row.why_not or ", ".join(flag_words(row.flags))
    return f"left out: {why}" if why else "left out"
