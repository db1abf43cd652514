"""What a result rests on, gathered from the session and the fit for the JSON and the report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fieldaero.answers.cross_checks.yaw_ridden import ridden_yaw, yaw_bins
from fieldaero.answers.lap_elevations import lap_elevations
from fieldaero.answers.lap_points import lap_points
from fieldaero.answers.lap_rows import segment_yaw_deg
from fieldaero.answers.repeat_check import repeat_check
from fieldaero.answers.result import Result
from fieldaero.answers.supporting_rows import (
    Background,
    Choices,
    Constants,
    CourseRidden,
    DifferencePct,
    LapAir,
    LapElevation,
    RoadElevation,
    SetupFacts,
    YawRidden,
)
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.session import RIDER_HEIGHT_M, Session, SessionLap
from fieldaero.physics.road_power import BEARING_N, BEARING_N_S_M

__all__ = ["with_background"]

MIDDLE_PCT = (5.0, 95.0)
LEVEL = 0.95


def with_background(result: Result) -> Result:
    """Return the result with its background; without its fit it stays as it is."""
    session, estimates = result.session, result.estimates
    if session is None or estimates is None:
        return result
    elevation = _elevation(result)
    sheet, course = session.run_sheet, session.course
    chosen = sheet.analysis
    background = Background(
        system=sheet.system,
        choices=Choices(
            smallest_difference_m2=chosen.smallest_difference_m2,
            smallest_difference_w=chosen.smallest_difference_w,
            smallest_difference_s=chosen.smallest_difference_s,
            report_speed_km_h=chosen.report_speed_km_h,
            report_distance_km=chosen.report_distance_km,
            report_power_w=chosen.report_power_w,
            roughness_length_m=chosen.roughness_length_m,
            drift_sd_per_h=chosen.drift_sd_per_h,
        ),
        constants=Constants(
            bearing_b0_n=BEARING_N,
            bearing_b1_n_s_m=BEARING_N_S_M,
            rider_height_m=RIDER_HEIGHT_M,
            level=LEVEL,
            level_pct=100.0 * LEVEL,
        ),
        course=CourseRidden(
            length_m=course.length_m,
            closed=course.closed,
            out_and_back=course.out_and_back,
            height_range_m=float(np.ptp(elevation.road_m)),
            gravity_m_s2=session.gravity_m_s2,
            efficiency=sheet.system.efficiency,
            laps_used=len(estimates.laps),
            laps_recorded=len(session.laps),
            road_ridden_km=sum(lap.lap.distance_m for lap in estimates.laps) / 1000.0,
        ),
        setups=tuple(
            SetupFacts(
                setup=setup.name,
                description=setup.description,
                mass_change_kg=setup.mass_change_kg,
                photos=setup.photos,
            )
            for setup in sheet.setups
        ),
        differences_pct=_differences_pct(result),
        air=_air(result, session, estimates),
        yaw_ridden=_yaw(estimates, [setup.name for setup in sheet.setups]),
        elevation=elevation,
        repeat_check=repeat_check(result),
    )
    return replace(result, background=background)


def _differences_pct(result: Result) -> tuple[DifferencePct, ...]:
    base = {row.setup: row.cda_m2 for row in result.setup_results}
    found = []
    for row in result.comparison_results:
        whole, bounds = base.get(row.versus), row.interval95_m2
        if row.delta_cda_m2 is not None and whole:
            found.append(
                DifferencePct(
                    setup=row.setup,
                    versus=row.versus,
                    delta_pct=100.0 * row.delta_cda_m2 / whole,
                    interval95_pct=None if bounds is None else (100.0 * bounds[0] / whole, 100.0 * bounds[1] / whole),
                )
            )
    return tuple(found)


def _elevation(result: Result) -> RoadElevation:
    found = lap_elevations(result)
    heights = found.elevation_m
    return RoadElevation(
        position_m=tuple(found.position_m.tolist()),
        road_m=tuple(found.road_m.tolist()),
        laps=tuple(
            LapElevation(
                ride=found.ride[k],
                lap=found.lap[k],
                setup=found.setup[k],
                elevation_m=tuple(heights[k].tolist()),
                end_m=float(heights[k, -1]),
                residual_largest_m=float(np.max(np.abs(found.residual_m[k]))),
            )
            for k in range(len(heights))
        ),
    )


def _yaw(estimates: Estimates, setups: Sequence[str]) -> tuple[YawRidden, ...]:
    ridden = ((name, ridden_yaw(estimates, setup=name)) for name in setups)
    return tuple(YawRidden(setup=name, bins=yaw_bins(yaw)) for name, yaw in ridden if yaw is not None)


def _air(result: Result, session: Session, estimates: Estimates) -> tuple[LapAir, ...]:
    place = {(lap.ride, lap.lap.number): k for k, lap in enumerate(estimates.laps)}
    yaw = segment_yaw_deg(estimates)
    return tuple(
        _lap_air(session, lap, estimates, place.get((lap.ride, lap.lap.number)), yaw, point.middle_min)
        for lap, point in zip(session.laps, lap_points(result), strict=True)
    )


def _lap_air(
    session: Session, entry: SessionLap, estimates: Estimates, k: int | None, yaw: np.ndarray, minutes: float
) -> LapAir:
    of_ride = session.rides[entry.ride]
    air, lap = of_ride.conditions, entry.lap
    at = int(np.argmin(np.abs(of_ride.ride.time_s - (lap.start_s + lap.end_s) / 2.0)))
    wind = from_deg = low = high = None
    if k is not None:
        share = estimates.fit.segments.duration_s[k] / np.sum(estimates.fit.segments.duration_s[k])
        east, north = (float(share @ estimates.fit.wind_m_s[k, :, i]) for i in (0, 1))
        wind = float(np.hypot(east, north))
        if estimates.headings_known:
            from_deg = float(np.degrees(np.arctan2(-east, -north)) % 360.0)
        if np.isfinite(yaw[k]).any():
            low, high = (float(x) for x in np.nanpercentile(yaw[k], MIDDLE_PCT))
    return LapAir(
        ride=of_ride.ride.source.file,
        lap=lap.number,
        setup=entry.setup,
        middle_min=minutes,
        temperature_c=float(air.temperature_c[at]),
        pressure_hpa=float(air.pressure_pa[at]) / 100.0,
        relative_humidity_pct=100.0 * float(air.relative_humidity[at]),
        observed_wind_m_s=_known(air.wind_speed_m_s[at]),
        observed_wind_from_deg=_known(air.wind_from_deg[at]),
        observed_wind_height_m=_known(air.wind_height_m[at]) if np.isfinite(air.wind_speed_m_s[at]) else None,
        wind_m_s=wind,
        wind_from_deg=from_deg,
        yaw_low_deg=low,
        yaw_high_deg=high,
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
