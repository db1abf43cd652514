"""The rows of the lap table: what each lap was like, and its drag area by both estimators."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fieldaero.answers.result import LapResult
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.closure import lap_closure
from fieldaero.estimate.cut_laps import why_not_fittable
from fieldaero.estimate.session import Session, SessionLap
from fieldaero.laps.lap import mean_power_w

__all__ = ["lap_results", "segment_yaw_deg"]

Floats = NDArray[np.float64]


def lap_results(session: Session, estimates: Estimates) -> tuple[LapResult, ...]:
    """Return one row per lap of the session, in order."""
    place = {(lap.ride, lap.lap.number): k for k, lap in enumerate(estimates.laps)}
    yaw = segment_yaw_deg(estimates)
    return tuple(_row(session, lap, estimates, place.get((lap.ride, lap.lap.number)), yaw) for lap in session.laps)


def segment_yaw_deg(estimates: Estimates) -> Floats:
    """Yaw of the air flow in each segment [deg], from the rider's right positive, shape (K, n); NaN without heading."""
    s, wind = estimates.fit.segments, estimates.fit.wind_m_s
    along = np.sum(wind * s.heading, axis=2)
    across = wind[:, :, 1] * s.heading[:, :, 0] - wind[:, :, 0] * s.heading[:, :, 1]
    known = (np.linalg.norm(s.heading, axis=2) > 0.5) & estimates.headings_known
    return np.where(known, np.degrees(np.arctan2(across, s.speed_m_s - along)), np.nan)


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
