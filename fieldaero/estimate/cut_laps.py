"""A session's used laps cut into the segments of the joint fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.estimate.joint_fit.segments import RoadCells, Segments, road_cells
from fieldaero.estimate.session import Session, SessionLap, SessionRide

__all__ = ["cut_laps", "fittable_laps", "why_not_fittable"]

SEGMENT_S = 5.0  # shorter ones carry no more: gusts and the noise of speed are as long
MOST_SEGMENTS = 240
BETWEEN_RIDES_S = 600.0  # taken where rides have no clock to say
MOST_UNKNOWN = 0.25  # share of a lap without a balance beyond which it cannot take part
SHORTEST_SEGMENT_S = 1e-3  # a lap may pass two edges of cells at one moment
MOST_HEARD = 0.5  # share of a segment that a recorded air speed must cover to count; chosen
UNKNOWN_BELOW_S = 0.01  # of a segment: the edge of a hole that just touches it
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
    """Cut whole laps of a session into segments of about five seconds, alike for all laps.

    The session's clock begins with the first ride.
    """
    riding = float(np.median([_riding_s(session.rides[lap.ride], lap) for lap in laps]))
    count = int(np.clip(round(riding / SEGMENT_S), 1, MOST_SEGMENTS))
    course = session.course
    cells = road_cells(length_m=course.length_m, segments=count, turn_position_m=course.turn_position_m)
    offsets = _ride_offsets(session)
    running = [
        {name: np.concatenate([[0.0], np.cumsum(values)]) for name, values in _summed(session, k).items()}
        for k in range(len(session.rides))
    ]
    at = [_edge_times(session.rides[lap.ride], lap, cells, course.length_m) for lap in laps]
    total = {
        name: np.array(
            [
                np.diff(np.interp(edges, session.rides[lap.ride].balance.time_s, running[lap.ride][name]))
                for edges, lap in zip(at, laps, strict=True)
            ]
        )
        for name in running[0]
    }
    edge = np.array([edges + offsets[lap.ride] for edges, lap in zip(at, laps, strict=True)])
    duration, middle = np.maximum(np.diff(edge, axis=1), SHORTEST_SEGMENT_S), (edge[:, 1:] + edge[:, :-1]) / 2.0
    speed = total["way_m"] / np.maximum(duration - total["unknown_s"], SHORTEST_SEGMENT_S)
    heading = np.stack([total["way_east_m"], total["way_north_m"]], axis=2)
    norm = np.linalg.norm(heading, axis=2, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        air_speed = np.where(total["heard_s"] > MOST_HEARD * duration, total["air_way_m"] / total["heard_s"], np.nan)
    return Segments(
        cells=cells,
        base_m=total["work_m"] - total["kinetic_m"],
        still_air_m_per_m2=total["still_air_m_per_m2"],
        roll_m=total["way_m"],
        wind_first=np.stack([total["wind_first_east"], total["wind_first_north"]], axis=2),
        wind_second=total["wind_second"],
        work_m=total["work_m"],
        kinetic_m=total["kinetic_m"],
        duration_s=duration,
        middle_s=middle,
        speed_m_s=speed,
        heading=np.where(norm > 0.0, heading / np.maximum(norm, 1e-12), 0.0),
        braked_s=total["braked_s"],
        braked_m=total["braked_s"] * speed,
        unknown_s=np.where(total["unknown_s"] > UNKNOWN_BELOW_S, total["unknown_s"], 0.0),
        start_s=edge[:, 0],
        end_s=edge[:, -1],
        air_speed_m_s=air_speed,
        expected_wind_m_s=_expected_wind(session, laps, middle, offsets),
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


def _summed(session: Session, k: int) -> dict[str, Floats]:
    """Return what is summed over a segment, per interval between the samples of a ride."""
    ride = session.rides[k]
    b, dt = ride.balance, ride.balance.duration_s
    heading = b.heading_deg if session.course.has_headings else _round_heading_deg(session, k)
    turn, has_way = np.radians(np.nan_to_num(heading)), np.isfinite(heading)
    east, north = np.where(has_way, np.sin(turn), 0.0), np.where(has_way, np.cos(turn), 0.0)
    braked = np.zeros(len(dt))
    for lap in ride.laps:
        for flag in lap.lap.flags:
            if flag.name == "braked" and flag.start_s is not None and flag.end_s is not None:
                braked = np.maximum(braked, _overlap(b.time_s, flag.start_s, flag.end_s))
    air = ride.ride.column("air_speed_m_s")[1:]
    heard = np.where(b.known & np.isfinite(air), dt, 0.0)
    return {
        "work_m": b.work_m - b.bearings_m,
        "kinetic_m": b.kinetic_m,
        "still_air_m_per_m2": b.still_air_m_per_m2,
        "wind_first_east": b.wind_first * east,
        "wind_first_north": b.wind_first * north,
        "wind_second": b.wind_second,
        "way_m": b.distance_m,
        "way_east_m": b.distance_m * east,
        "way_north_m": b.distance_m * north,
        "braked_s": np.where(b.known, braked, 0.0),
        "unknown_s": np.where(b.known, 0.0, dt),
        "air_way_m": heard * np.nan_to_num(air),
        "heard_s": heard,
    }


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
