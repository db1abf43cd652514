"""A session's used laps cut into the segments of the joint fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fieldaero.estimate.joint_fit.segments import RoadCells, Segments, road_cells
from fieldaero.estimate.session import Session, SessionLap, SessionRide

__all__ = ["cut_laps", "fittable_laps", "why_not_fittable"]

Floats = NDArray[np.float64]

SEGMENT_S = 5.0  # shorter ones carry no more: gusts and the noise of speed are as long
MOST_SEGMENTS = 240
BETWEEN_RIDES_S = 600.0  # taken where rides have no clock to say
MOST_UNKNOWN = 0.25  # share of a lap without a balance beyond which it cannot take part
QUANTITIES = 13
SPARSE_S = 1.5  # between samples, beyond which the recording itself is what to mend; common practice, no source


def fittable_laps(session: Session) -> tuple[SessionLap, ...]:
    """Return the used laps that are whole and have a balance for most of their way."""
    return tuple(lap for lap in session.laps if lap.used and lap.whole and _has_balance(session, lap))


def why_not_fittable(session: Session, lap: SessionLap) -> str:
    """Return in words why :func:`fittable_laps` passes over a used lap, and the remedy where there is one."""
    if not lap.whole:
        return f"{lap.lap.distance_m:.0f} m is not a whole lap of {session.course.length_m:.0f} m"
    ride = session.rides[lap.ride]
    unknown = ride.balance.unknown_s(lap.lap.start_s, lap.lap.end_s)
    step = float(np.median(ride.balance.duration_s))
    if step > SPARSE_S:
        return (
            f"the device recorded about every {step:.0f} s, which leaves {unknown:.0f} s of it unknown; set it to "
            "record each second"
        )
    false = ride.balance.distrusted_s(lap.lap.start_s, lap.lap.end_s) > 0.0
    return f"power or speed is missing{', zero or frozen' if false else ''} for {unknown:.0f} s of it"


def _has_balance(session: Session, lap: SessionLap) -> bool:
    ride = session.rides[lap.ride]
    inside = (ride.ride.time_s >= lap.lap.start_s) & (ride.ride.time_s <= lap.lap.end_s)
    if np.count_nonzero(np.isfinite(ride.position_m[inside])) < 2:
        return False
    unknown = ride.balance.unknown_s(lap.lap.start_s, lap.lap.end_s)
    return unknown <= MOST_UNKNOWN * lap.lap.duration_s or _unknown_way(ride, lap) <= MOST_UNKNOWN * lap.lap.distance_m


def _unknown_way(ride: SessionRide, lap: SessionLap) -> float:
    """Way of a lap without a balance [m]: a long halt takes time and no way."""
    known = ride.balance.total(ride.balance.distance_m, lap.lap.start_s, lap.lap.end_s)
    return max(lap.lap.distance_m - known, 0.0)


def cut_laps(session: Session, laps: Sequence[SessionLap]) -> Segments:
    """Cut laps of a session into segments of about five seconds, alike for all laps.

    Parameters
    ----------
    session
        The session.
    laps
        K >= 1 laps of it, whole ones.

    Returns
    -------
    The segments; the session's clock begins with the first ride.
    """
    riding = float(np.median([_riding_s(session.rides[lap.ride], lap) for lap in laps]))
    count = int(np.clip(round(riding / SEGMENT_S), 1, MOST_SEGMENTS))
    course = session.course
    cells = road_cells(length_m=course.length_m, segments=count, turn_position_m=course.turn_position_m)
    offsets = _ride_offsets(session)
    columns = [_columns(session, k) for k in range(len(session.rides))]
    sums, edges_s = [], []
    for lap in laps:
        ride = session.rides[lap.ride]
        at = _edge_times(ride, lap, cells, course.length_m)
        cumulative = np.vstack([np.zeros(QUANTITIES), np.cumsum(columns[lap.ride], axis=0)])
        t = ride.balance.time_s
        sums.append(np.diff(np.column_stack([np.interp(at, t, c) for c in cumulative.T]), axis=0))
        edges_s.append(at + offsets[lap.ride])
    total, edge = np.array(sums), np.array(edges_s)
    duration = np.maximum(np.diff(edge, axis=1), 1e-3)
    way = total[:, :, 5]
    heading = total[:, :, 8:10]
    norm = np.linalg.norm(heading, axis=2, keepdims=True)
    measured = total[:, :, 12]
    with np.errstate(invalid="ignore", divide="ignore"):
        air = np.where(measured > 0.5 * duration, total[:, :, 11] / measured, np.nan)
    known = duration - total[:, :, 10]
    return Segments(
        cells=cells,
        base_m=total[:, :, 0],
        still_air_m_per_m2=total[:, :, 1],
        roll_m=way,
        wind_first=total[:, :, 2:4],
        wind_second=total[:, :, 4],
        work_m=total[:, :, 0] + total[:, :, 6],
        kinetic_m=total[:, :, 6],
        duration_s=duration,
        middle_s=(edge[:, 1:] + edge[:, :-1]) / 2.0,
        speed_m_s=way / np.maximum(known, 1e-3),
        heading=np.where(norm > 0.0, heading / np.maximum(norm, 1e-12), 0.0),
        braked_s=total[:, :, 7],
        braked_m=total[:, :, 7] * way / np.maximum(known, 1e-3),
        unknown_s=np.where(total[:, :, 10] > 0.01, total[:, :, 10], 0.0),
        start_s=edge[:, 0],
        end_s=edge[:, -1],
        air_speed_m_s=air,
        expected_wind_m_s=_expected_wind(session, laps, (edge[:, 1:] + edge[:, :-1]) / 2.0, offsets),
    )


def _riding_s(ride: SessionRide, lap: SessionLap) -> float:
    return lap.lap.duration_s - ride.balance.unknown_s(lap.lap.start_s, lap.lap.end_s)


def _ride_offsets(session: Session) -> list[float]:
    """Start of each ride on the session's clock [s]."""
    first = session.rides[0].ride.start_time
    offsets: list[float] = []
    for session_ride in session.rides:
        start = session_ride.ride.start_time
        if first is not None and start is not None:
            offsets.append((start - first).total_seconds())
        elif offsets:
            before = session.rides[len(offsets) - 1].ride
            offsets.append(offsets[-1] + before.duration_s + BETWEEN_RIDES_S)
        else:
            offsets.append(0.0)
    return offsets


def _columns(session: Session, k: int) -> Floats:
    """Return what is summed over a segment, per interval between samples, shape (n - 1, 13)."""
    session_ride = session.rides[k]
    b, ride = session_ride.balance, session_ride.ride
    known = b.known
    factor = np.where(known, 0.5 * b.air_density_kg_m3 / b.weight_n, 0.0)
    v = b.speed_m_s
    speed = ride.column("speed_m_s")
    # Speed changes evenly within an interval, so the mean cube exceeds the cube of the mean.
    change = np.where(known, np.nan_to_num(np.diff(speed)), 0.0)
    cube = v**3 + v * change**2 / 4.0
    square = v**2 + change**2 / 12.0
    heading = b.heading_deg if session.course.has_headings else _round_heading_deg(session, k)
    turn = np.radians(np.nan_to_num(heading))
    has_way = np.isfinite(heading)
    east, north = np.where(has_way, np.sin(turn), 0.0), np.where(has_way, np.cos(turn), 0.0)
    system = session.run_sheet.system
    inert = b.weight_n / session.gravity_m_s2 + system.rotating_mass_kg
    kinetic = np.where(known, inert * v * change / b.weight_n, 0.0)
    braked = np.zeros(len(v))
    t = b.time_s
    for lap in session_ride.laps:
        for flag in lap.lap.flags:
            if flag.name == "braked" and flag.start_s is not None and flag.end_s is not None:
                braked = np.maximum(braked, _overlap(t, flag.start_s, flag.end_s))
    air = ride.column("air_speed_m_s")[1:]
    heard = known & np.isfinite(air)
    dt = b.duration_s
    return np.column_stack(
        [
            b.base_m,
            factor * cube * dt,
            factor * square * dt * east,
            factor * square * dt * north,
            factor * v * dt,
            b.distance_m,
            kinetic,
            np.where(known, braked, 0.0),
            east * b.distance_m,
            north * b.distance_m,
            np.where(known, 0.0, dt),
            np.where(heard, np.nan_to_num(air), 0.0) * dt,
            np.where(heard, dt, 0.0),
        ]
    )


def _round_heading_deg(session: Session, k: int) -> Floats:
    """Direction of travel between samples on a round course of the lap's length, for rides without positions.

    Gusts along the way count though nobody knows where the way leads: without them, places that the wind
    made fast look like places of little drag.  A mean wind averages out as on any closed course.
    """
    course, ride = session.course, session.rides[k]
    if not course.closed:
        return np.full(len(ride.balance.duration_s), np.nan)
    before, after = ride.position_m[:-1], ride.position_m[1:]
    return np.asarray(360.0 * np.where(np.isfinite(before), before, after) / course.length_m)


def _overlap(t: Floats, start: float, end: float) -> Floats:
    """Time of each interval that lies between two moments [s]."""
    return np.asarray(np.maximum(np.minimum(t[1:], end) - np.maximum(t[:-1], start), 0.0), dtype=np.float64)


def _edge_times(ride: SessionRide, lap: SessionLap, cells: RoadCells, length_m: float) -> Floats:
    """When a lap passed the edges of the cells, on the ride's clock, shape (n + 1,)."""
    t = ride.balance.time_s
    inside = (t > lap.lap.start_s) & (t < lap.lap.end_s) & np.isfinite(ride.position_m)
    position, times = ride.position_m[inside], t[inside]
    # A start line taken elsewhere than the lap began makes positions run past the length and begin anew.
    position = np.unwrap(position, period=length_m)
    position = np.concatenate([[0.0], np.clip(np.maximum.accumulate(position), 0.0, length_m), [length_m]])
    times = np.concatenate([[lap.lap.start_s], times, [lap.lap.end_s]])
    # At a halt the position stands still: the segment keeps the whole of it.
    rising = np.concatenate([[True], np.diff(position) > 1e-9])
    at = np.interp(cells.edge_m, position[rising], times[rising])
    at[0], at[-1] = lap.lap.start_s, lap.lap.end_s
    return np.asarray(np.maximum.accumulate(at), dtype=np.float64)


def _expected_wind(session: Session, laps: Sequence[SessionLap], middle_s: Floats, offsets: Sequence[float]) -> Floats:
    """Observed wind at the rider's height, where the air goes, shape (K, n, 2); zero where unknown."""
    wind = np.zeros((*middle_s.shape, 2))
    if session.wind_east_m_s is None or not session.course.has_headings:
        return wind
    for row, lap in enumerate(laps):
        ride = session.rides[lap.ride]
        air = ride.conditions.at_rider(roughness_length_m=session.run_sheet.analysis.roughness_length_m)
        if not np.isfinite(air.wind_east_m_s).all():
            continue
        at = middle_s[row] - offsets[lap.ride]
        for i, part in enumerate((air.wind_east_m_s, air.wind_north_m_s)):
            wind[row, :, i] = np.interp(at, ride.ride.time_s, part)
    return wind
