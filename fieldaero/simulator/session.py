"""A simulated session: the ride as a device would have recorded it, and the truth beside it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldaero.basics.quantities import Floats
from fieldaero.rides.ride import Ride, RideSource
from fieldaero.simulator.course_shape import CourseTable, course_table
from fieldaero.simulator.dynamics import Motion, ride_course
from fieldaero.simulator.recording import button_marks, pauses_of, recorded_table, sample_times_s
from fieldaero.simulator.scenario import Scenario

__all__ = ["SimulatedSession", "Truth", "simulate_session"]


LONG = ("profile_", "sample_")
DIGITS = 10


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What a simulated session was made with.

    Attributes
    ----------
    lap_cda_m2
        Drag area of each lap at no yaw, without drift.
    braked_laps, stopped_laps
        Numbers, 1-based, of laps with a braking for traffic, or a halt.
    power_scale, wheel_scale
        Recorded over true power and speed.
    wind_speed_m_s, wind_from_deg, wind_east_m_s, wind_north_m_s
        Mean wind at the rider's height in the open; east and north say where it goes.
    crossing_s
        Passages of the start line (and of the finish, where that is another) on the ride's clock, in order.
    profile_position_m, profile_height_m
        Height above the start line along the lap.
    sample_wind_east_m_s, sample_wind_north_m_s
        Wind met at each sample of the ride, shelter included.
    """

    setup_cda_m2: dict[str, float]
    lap_setup: tuple[str, ...]
    lap_cda_m2: tuple[float, ...]
    braked_laps: tuple[int, ...]
    stopped_laps: tuple[int, ...]
    crr: float
    mass_kg: float
    power_scale: float
    wheel_scale: float
    air_density_kg_m3: float
    gravity_m_s2: float
    wind_speed_m_s: float
    wind_from_deg: float
    wind_east_m_s: float
    wind_north_m_s: float
    crossing_s: tuple[float, ...]
    lap_start_s: tuple[float, ...]
    lap_end_s: tuple[float, ...]
    profile_position_m: tuple[float, ...]
    profile_height_m: tuple[float, ...]
    sample_wind_east_m_s: tuple[float, ...]
    sample_wind_north_m_s: tuple[float, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the truth as plain values; what has one value per sample or metre is left to the attributes.

        Numbers have ten digits: the last ones of a float depend on the processor, and a session
        made anew has to be the same on every machine.
        """
        return {key: _rounded(value) for key, value in dataclasses.asdict(self).items() if not key.startswith(LONG)}


@dataclass(frozen=True, kw_only=True)
class SimulatedSession:
    """A ride, its truth, and the motion behind it."""

    ride: Ride
    truth: Truth
    motion: Motion


def simulate_session(scenario: Scenario, *, seed: int) -> SimulatedSession:
    """Simulate a session; the same scenario and seed give the same session.

    Parameters
    ----------
    scenario
        Rider, course, weather and sensors.
    seed
        Whole number from 0 up; road, riding and recording each draw from a stream of their own.

    Returns
    -------
    The ride as a device would have recorded it, with its truth.

    Examples
    --------
    >>> session = simulate_session(Scenario(setups={"bare": 0.25}, order=("bare", "bare")), seed=1)
    >>> len(session.truth.crossing_s), session.ride.has("power_w")
    (3, True)
    """
    # One stream each, so that a change of sensors leaves the ride as it was.
    road, riding, recording = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    table = course_table(scenario.course, road, lead_in_m=scenario.lead_in_m)
    motion = ride_course(scenario, table, riding)
    rows = recorded_table(scenario, table, motion, recording)
    sampled = sample_times_s(scenario, motion)
    truth = _truth(scenario, table, motion, sampled)
    ride = Ride(
        table=rows,
        source=RideSource(file="simulated", format="simulated", sha256=""),
        start_time=scenario.start_time,
        lap_marks=button_marks(scenario, np.array(truth.crossing_s), sampled - sampled[0], recording),
        pauses=pauses_of(motion, sampled),
        sport="cycling",
    )
    return SimulatedSession(ride=ride, motion=motion, truth=truth)


def _truth(scenario: Scenario, table: CourseTable, motion: Motion, sampled: Floats) -> Truth:
    start, end = motion.lap_start_s - sampled[0], motion.lap_end_s - sampled[0]
    inside = (table.distance_m >= 0.0) & (table.distance_m <= scenario.course.length_m)
    east, north = (np.interp(sampled, motion.time_s, motion.wind_m_s[:, k]) for k in (0, 1))
    return Truth(
        setup_cda_m2=dict(scenario.setups),
        lap_setup=scenario.order,
        lap_cda_m2=_plain(motion.lap_cda_m2),
        braked_laps=motion.braked_laps,
        stopped_laps=motion.stopped_laps,
        crr=scenario.system.crr,
        mass_kg=scenario.system.mass_kg,
        power_scale=scenario.sensors.power_scale,
        wheel_scale=scenario.sensors.wheel_scale,
        air_density_kg_m3=motion.air_density_kg_m3,
        gravity_m_s2=motion.gravity_m_s2,
        wind_speed_m_s=scenario.wind.speed_m_s,
        wind_from_deg=scenario.wind.from_deg,
        wind_east_m_s=scenario.wind.mean_m_s[0],
        wind_north_m_s=scenario.wind.mean_m_s[1],
        crossing_s=_plain(np.unique(np.concatenate([start, end]))),
        lap_start_s=_plain(start),
        lap_end_s=_plain(end),
        profile_position_m=_plain(table.distance_m[inside]),
        profile_height_m=_plain(table.height_m[inside]),
        sample_wind_east_m_s=_plain(east),
        sample_wind_north_m_s=_plain(north),
    )


def _plain(values: Floats) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    if isinstance(value, tuple):
        return tuple(_rounded(one) for one in value)
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    return value
