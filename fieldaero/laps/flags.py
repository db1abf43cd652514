"""What is particular about each lap, in plain sentences with the evidence.

A flag informs and never drops a lap: which laps count is the run sheet's to say.
Limits that are matters of judgement are common practice without a source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.formatting import percent
from fieldaero.basics.quantities import Floats
from fieldaero.basics.runs import runs_where
from fieldaero.laps.braking import Braking, find_braking
from fieldaero.laps.course import Course, lateral_distance_m
from fieldaero.laps.equal_laps import LAPS_DIFFER
from fieldaero.laps.lap import Flag, Lap, moment_in_words
from fieldaero.laps.sensor_dropouts import power_dropouts, speed_dropouts
from fieldaero.laps.track import AT_ONE_PLACE_M, Track, track_of
from fieldaero.physics.moist_air import USUAL_AIR_DENSITY_KG_M3
from fieldaero.physics.system import System
from fieldaero.rides.intervals import is_gap
from fieldaero.rides.ride import Pause, Ride
from fieldaero.statistics.robust_scale import NORMAL_SD_PER_MEDIAN_DEVIATION

__all__ = ["flag_laps"]

WHOLE_WITHIN_M = 60.0  # a lap that begins or ends further from where it should is not whole
STOPPED_BELOW_M_S = 1.0
STOPPED_S = 3.0
OFF_COURSE_M = 25.0
OFF_COURSE_S = 3.0
LENGTH_OFF = 0.01
SPEED_OUTSIDE = 0.05
SPEED_OUTSIDE_SD = 3.0
LEAST_OTHERS = 3


@dataclass(frozen=True, kw_only=True)
class _Evidence:
    """What all laps of a ride are judged by."""

    ride: Ride
    track: Track
    course: Course
    gaps: tuple[Pause, ...]
    aside_m: Floats
    braking: tuple[Braking, ...]


def flag_laps(
    ride: Ride,
    laps: Sequence[Lap],
    course: Course,
    *,
    system: System | None = None,
    air_density_kg_m3: float = USUAL_AIR_DENSITY_KG_M3,
    track: Track | None = None,
) -> tuple[Lap, ...]:
    """Return the laps with their flags.

    Parameters
    ----------
    ride, laps, course
        The ride, its laps, and the course they share.
    system
        Rider and bike for the force balance behind "braked"; without it one of usual mass.
    air_density_kg_m3
        For the same balance.
    track
        The track of the ride, if it is already worked out.

    Returns
    -------
    The same laps in the same order, each with ``flags`` in the order of ``FlagName``.
    """
    track = (track or track_of(ride)).in_frame(course.frame)
    evidence = _Evidence(
        ride=ride,
        track=track,
        course=course,
        gaps=_gaps(ride),
        aside_m=lateral_distance_m(track, course),
        braking=find_braking(ride, laps, course, track=track, system=system, air_density_kg_m3=air_density_kg_m3),
    )
    whole = {lap.number: course.is_whole(lap) and not _away(lap, evidence) for lap in laps}
    speeds = {lap.number: _mean_speed_m_s(lap, track) for lap in laps}
    flagged = []
    for lap in laps:
        inside = (ride.time_s >= lap.start_s) & (ride.time_s <= lap.end_s)
        others = [speed for other, speed in speeds.items() if other != lap.number and whole[other]]
        flags = [
            *_incomplete(lap, evidence),
            *_stopped(inside, evidence),
            *_braked(lap, evidence),
            *power_dropouts(ride, inside),
            *speed_dropouts(ride, inside, track),
            *_off_course(inside, evidence),
            *_length_off(lap, course),
            *_speed_outside(speeds[lap.number], others),
        ]
        flagged.append(replace(lap, flags=tuple(flags)))
    return tuple(flagged)


def _gaps(ride: Ride) -> tuple[Pause, ...]:
    """Pauses as the reader saw them, and gaps that it did not mark."""
    t = ride.time_s
    gaps = list(ride.pauses)
    for i in np.flatnonzero(is_gap(t)):
        if not any(p.start_s < t[i + 1] and p.end_s > t[i] for p in ride.pauses):
            gaps.append(Pause(start_s=float(t[i]), end_s=float(t[i + 1])))
    return tuple(sorted(gaps, key=lambda gap: gap.start_s))


def _incomplete(lap: Lap, of: _Evidence) -> list[Flag]:
    flags = []
    for gap in of.gaps:
        rolled = float(np.diff(of.track.distance_at_m(np.array([gap.start_s, gap.end_s])))[0])
        inside = gap.start_s < lap.end_s and gap.end_s > lap.start_s
        # A gap at the line belongs to no lap, unless a piece of the course was ridden in it.
        touches = gap.start_s <= lap.end_s and gap.end_s >= lap.start_s and rolled > AT_ONE_PLACE_M
        if inside or touches:
            cause = "The timer was paused" if gap.cause == "timer" else "Nothing was recorded"
            sentence = f"{cause} for {gap.end_s - gap.start_s:.0f} s from {moment_in_words(of.ride, gap.start_s)}."
            flags.append(Flag(name="incomplete", sentence=sentence, start_s=gap.start_s, end_s=gap.end_s))
    away = _away(lap, of)
    if away:
        flags.append(Flag(name="incomplete", sentence=f"Not one whole round of the course: {' and '.join(away)}."))
    elif of.track.frame is None and lap.distance_m < (1.0 - LAPS_DIFFER) * of.course.length_m:
        sentence = f"Cut short: {lap.distance_m:.0f} m of {of.course.length_m:.0f} m."
        flags.append(Flag(name="incomplete", sentence=sentence))
    return flags


def _away(lap: Lap, of: _Evidence) -> list[str]:
    """In words, how far start and end of the lap lie from where they should, if they do."""
    course = of.course
    ends = of.track.position_at(of.track.distance_at_m(np.array([lap.start_s, lap.end_s])))
    if course.closed and course.is_whole(lap):
        # A whole round may begin anywhere on the course, but has to end where it began.
        gap = float(np.hypot(np.diff(ends[0]), np.diff(ends[1]))[0])
        return [f"it ends {gap:.0f} m from where it began"] if gap > WHOLE_WITHIN_M else []
    words = []
    for k, verb, which, of_what in ((0, "begins", 0, "start line"), (1, "ends", -1, "finish")):
        gap = float(np.hypot(ends[0][k] - course.east_m[which], ends[1][k] - course.north_m[which]))
        if gap > WHOLE_WITHIN_M:
            words.append(f"it {verb} {gap:.0f} m from the {'start line' if course.closed else of_what}")
    return words


def _stopped(inside: NDArray[np.bool_], of: _Evidence) -> list[Flag]:
    t = of.ride.time_s
    slow = inside & (of.ride.column("speed_m_s") < STOPPED_BELOW_M_S)
    return [
        Flag(
            name="stopped",
            sentence=f"Stood or crept below 1 m/s for {t[j] - t[i]:.0f} s from {moment_in_words(of.ride, t[i])}.",
            start_s=float(t[i]),
            end_s=float(t[j]),
        )
        for i, j in runs_where(slow, t, least_s=STOPPED_S)
        if not of.track.moved(i, j)
    ]


def _braked(lap: Lap, of: _Evidence) -> list[Flag]:
    return [
        Flag(
            name="braked",
            sentence=(
                f"Braked at {moment_in_words(of.ride, use.start_s)}, from {use.start_speed_m_s:.1f} to "
                f"{use.end_speed_m_s:.1f} m/s in {use.end_s - use.start_s:.0f} s, about "
                f"{use.energy_lost_j / 1000.0:.1f} kJ beyond what drag, rolling and hill explain."
            ),
            start_s=use.start_s,
            end_s=use.end_s,
        )
        for use in of.braking
        if use.start_s < lap.end_s and use.end_s > lap.start_s
    ]


def _off_course(inside: NDArray[np.bool_], of: _Evidence) -> list[Flag]:
    t, aside = of.ride.time_s, of.aside_m
    return [
        Flag(
            name="off_course",
            sentence=(
                f"Up to {np.max(aside[i : j + 1]):.0f} m from the course's line for {t[j] - t[i]:.0f} s from "
                f"{moment_in_words(of.ride, t[i])}."
            ),
            start_s=float(t[i]),
            end_s=float(t[j]),
        )
        for i, j in runs_where(inside & (aside > OFF_COURSE_M), t, least_s=OFF_COURSE_S)
    ]


def _length_off(lap: Lap, course: Course) -> list[Flag]:
    off = lap.distance_m / course.length_m - 1.0
    if abs(off) <= LENGTH_OFF:
        return []
    sentence = (
        f"{lap.distance_m:.0f} m by the wheel, {percent(abs(off), places=1)} {'longer' if off > 0.0 else 'shorter'} "
        f"than the course's {course.length_m:.0f} m."
    )
    return [Flag(name="length_off", sentence=sentence)]


def _mean_speed_m_s(lap: Lap, track: Track) -> float:
    """Mean speed while the recording ran, NaN for a lap of no duration."""
    rode_s = float(np.diff(track.riding_s(np.array([lap.start_s, lap.end_s])))[0])
    return lap.distance_m / rode_s if rode_s > 0.0 else float("nan")


def _speed_outside(mean: float, others_m_s: list[float]) -> list[Flag]:
    if len(others_m_s) < LEAST_OTHERS or np.isnan(mean):
        return []
    middle = float(np.median(others_m_s))
    sd = NORMAL_SD_PER_MEDIAN_DEVIATION * float(np.median(np.abs(np.array(others_m_s) - middle)))
    if abs(mean - middle) <= max(SPEED_OUTSIDE_SD * sd, SPEED_OUTSIDE * middle):
        return []
    sentence = (
        f"Mean speed {mean:.2f} m/s, {percent(abs(mean / middle - 1.0))} {'above' if mean > middle else 'below'} the "
        f"other laps' {min(others_m_s):.2f} to {max(others_m_s):.2f} m/s."
    )
    return [Flag(name="speed_outside", sentence=sentence)]
