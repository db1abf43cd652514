"""What a result rests on, gathered from the session and the fit for the JSON, the report and the figures."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldaero.answers.cross_checks.yaw_ridden import ridden_yaw, segment_yaw_deg, yaw_bins
from fieldaero.answers.lap_rows import NORMAL_95, LapPoint, lap_points
from fieldaero.answers.rows import ComparisonResult, LapResult, SetupResult
from fieldaero.answers.supporting_rows import (
    Choices,
    Constants,
    CourseRidden,
    DifferencePct,
    LapAir,
    LapElevation,
    RepeatCheck,
    RoadElevation,
    SetupFacts,
    SupportingData,
    YawRidden,
)
from fieldaero.basics.quantities import Floats
from fieldaero.compare.session_comparison import Estimates
from fieldaero.estimate.session import Session, SessionLap
from fieldaero.physics.road_power import BEARING_N, BEARING_N_S_M
from fieldaero.physics.wind import RIDER_HEIGHT_M, wind_from_deg

__all__ = ["supporting_data"]


MIDDLE_PCT = (5.0, 95.0)
LEVEL = 0.95


def supporting_data(
    session: Session,
    estimates: Estimates,
    *,
    laps: Sequence[LapResult],
    setups: Sequence[SetupResult],
    comparisons: Sequence[ComparisonResult],
) -> SupportingData:
    """Gather what the rows of the result rest on."""
    sheet, course, chosen = session.run_sheet, session.course, session.run_sheet.analysis
    points, elevation = lap_points(laps), _elevation(session, estimates)
    ridden = ((setup.name, ridden_yaw(estimates, setup=setup.name)) for setup in sheet.setups)
    return SupportingData(
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
        differences_pct=_differences_pct(setups, comparisons),
        air=_air(session, estimates, points),
        yaw_ridden=tuple(YawRidden(setup=name, bins=yaw_bins(yaw)) for name, yaw in ridden if yaw is not None),
        elevation=elevation,
        repeat_check=_repeat_check(estimates, sheet.baseline, points),
    )


def _differences_pct(
    setups: Sequence[SetupResult], comparisons: Sequence[ComparisonResult]
) -> tuple[DifferencePct, ...]:
    base = {row.setup: row.cda_m2 for row in setups}
    found = []
    for row in comparisons:
        whole, bounds = base[row.versus], row.interval95_m2
        if row.delta_cda_m2 is not None and bounds is not None and whole:
            found.append(
                DifferencePct(
                    setup=row.setup,
                    versus=row.versus,
                    delta_pct=100.0 * row.delta_cda_m2 / whole,
                    interval95_pct=(100.0 * bounds[0] / whole, 100.0 * bounds[1] / whole),
                )
            )
    return tuple(found)


def _elevation(session: Session, estimates: Estimates) -> RoadElevation:
    """Virtual elevation of every fitted lap, and the road profile they share.

    The energy equation of lap k and cell i leaves the residual r_ki beside the height z_i that
    all laps share, so that

        virtual elevation at the end of cell i  =  sum over j <= i of (z_j + r_kj),
        residual to the road profile            =  sum over j <= i of r_kj,

    with the lap's own drag area and the fitted Crr and wind.
    """
    fit = estimates.fit
    road = _from_zero(fit.cell_height_m[None, :])[0]
    residual = _from_zero(fit.residual_m)
    heights = road + residual
    return RoadElevation(
        position_m=tuple(fit.segments.cells.edge_m.tolist()),
        road_m=tuple(road.tolist()),
        laps=tuple(
            LapElevation(
                ride=session.rides[lap.ride].ride.source.file,
                lap=lap.lap.number,
                setup=lap.setup,
                elevation_m=tuple(heights[k].tolist()),
                end_m=float(heights[k, -1]),
                residual_largest_m=float(np.max(np.abs(residual[k]))),
            )
            for k, lap in enumerate(estimates.laps)
        ),
    )


def _from_zero(steps: Floats) -> Floats:
    return np.asarray(np.pad(np.cumsum(steps, axis=1), ((0, 0), (1, 0))))


def _air(session: Session, estimates: Estimates, points: Sequence[LapPoint]) -> tuple[LapAir, ...]:
    place = {(lap.ride, lap.lap.number): k for k, lap in enumerate(estimates.laps)}
    yaw = segment_yaw_deg(estimates)
    return tuple(
        _lap_air(session, lap, estimates, place.get((lap.ride, lap.lap.number)), yaw, point.middle_min)
        for lap, point in zip(session.laps, points, strict=True)
    )


def _lap_air(
    session: Session, entry: SessionLap, estimates: Estimates, k: int | None, yaw: Floats, minutes: float
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
            from_deg = float(wind_from_deg(wind_east_m_s=east, wind_north_m_s=north))
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
        observed_wind_from_deg=_known(
            wind_from_deg(wind_east_m_s=air.wind_east_m_s[at], wind_north_m_s=air.wind_north_m_s[at])
        ),
        observed_wind_height_m=air.wind_height_m if np.isfinite(air.wind_speed_m_s[at]) else None,
        wind_m_s=wind,
        wind_from_deg=from_deg,
        yaw_low_deg=low,
        yaw_high_deg=high,
    )


def _known(value: float | np.ndarray) -> float | None:
    return float(value) if np.isfinite(value) else None


def _repeat_check(estimates: Estimates, baseline: str, points: Sequence[LapPoint]) -> RepeatCheck | None:
    """Hold the baseline's last used lap against its first, as a tunnel does; None with fewer than two.

    The variance is that of the two laps in the fit, their covariance included, and twice the
    scatter from lap to lap: var = S_aa + S_bb - 2 S_ab + 2 tau^2.
    """
    own = [k for k, lap in enumerate(estimates.laps) if lap.setup == baseline]
    if len(own) < 2:
        return None
    a, b = own[0], own[-1]
    used = [point for point in points if point.used]
    S = estimates.covariance_m4
    scatter = estimates.comparison.lap_scatter_m2 or 0.0
    se = float(np.sqrt(S[a, a] + S[b, b] - 2.0 * S[a, b] + 2.0 * scatter**2))
    change = float(estimates.fit.cda_m2[b] - estimates.fit.cda_m2[a])
    low, high = change - NORMAL_95 * se, change + NORMAL_95 * se
    return RepeatCheck(
        first=estimates.laps[a].lap.number,
        last=estimates.laps[b].lap.number,
        apart_min=used[b].middle_min - used[a].middle_min,
        change_m2=change,
        se_m2=se,
        interval95_m2=(low, high),
        repeats=low <= 0.0 <= high,
    )
