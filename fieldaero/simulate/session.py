"""A simulated session: the ride as a device would have recorded it, and the truth beside it."""

from __future__ import annotations

import dataclasses
import json
import os
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldaero.result_files import write_text
from fieldaero.ride import LapMark, Ride, RideSource
from fieldaero.simulate.course_shape import course_table
from fieldaero.simulate.dynamics import Motion, ride_course
from fieldaero.simulate.scenario import Scenario
from fieldaero.simulate.sensors import recorded_table

__all__ = ["SimulatedSession", "Truth", "simulate_session", "write_truth"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What a simulated session was made with.

    Attributes
    ----------
    setup_cda_m2
        True drag area of each setup.
    lap_setup, lap_cda_m2
        Setup and drag area of each lap.
    crr, mass_kg, power_scale, wheel_scale
        True Crr and mass; recorded over true power and speed.
    air_density_kg_m3, gravity_m_s2
        Air and gravity.
    wind_speed_m_s, wind_from_deg
        Mean wind at the rider's height.
    crossing_s
        Passages of the start line on the ride's clock.
    """

    setup_cda_m2: dict[str, float]
    lap_setup: tuple[str, ...]
    lap_cda_m2: tuple[float, ...]
    crr: float
    mass_kg: float
    power_scale: float
    wheel_scale: float
    air_density_kg_m3: float
    gravity_m_s2: float
    wind_speed_m_s: float
    wind_from_deg: float
    crossing_s: tuple[float, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the truth as plain values."""
        return dataclasses.asdict(self)


@dataclass(frozen=True, kw_only=True)
class SimulatedSession:
    """A ride, its truth, and the motion behind it."""

    ride: Ride
    truth: Truth
    motion: Motion


def simulate_session(scenario: Scenario, *, seed: int) -> SimulatedSession:
    """Simulate a session; the same scenario and seed give the same session.

    Examples
    --------
    >>> session = simulate_session(Scenario(setups={"bare": 0.25}, order=("bare", "bare")), seed=1)
    >>> len(session.truth.crossing_s), session.ride.has("power_w")
    (3, True)
    """
    # One stream each, so that a change of sensors leaves the ride as it was.
    road, riding, recording = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    table = course_table(scenario.course, road)
    motion = ride_course(scenario, table, riding)
    rows = recorded_table(scenario, table, motion, recording)
    first_s = float(scenario.sample_s)
    crossing = motion.crossing_s - first_s
    ride = Ride(
        table=rows,
        source=RideSource(file="simulated", format="simulated", size_bytes=0, sha256=""),
        start_time=scenario.start_time,
        lap_marks=_marks(scenario, crossing, rows["time_s"].to_numpy(dtype=np.float64), recording),
        sport="cycling",
    )
    return SimulatedSession(
        ride=ride,
        motion=motion,
        truth=Truth(
            setup_cda_m2=dict(scenario.setups),
            lap_setup=scenario.order,
            lap_cda_m2=tuple(float(c) for c in motion.lap_cda_m2),
            crr=scenario.system.crr,
            mass_kg=scenario.system.mass_kg,
            power_scale=scenario.sensors.power_scale,
            wheel_scale=scenario.sensors.wheel_scale,
            air_density_kg_m3=motion.air_density_kg_m3,
            gravity_m_s2=motion.gravity_m_s2,
            wind_speed_m_s=scenario.wind.speed_m_s,
            wind_from_deg=scenario.wind.from_deg,
            crossing_s=tuple(float(c) for c in crossing),
        ),
    )


def _marks(scenario: Scenario, crossing: Floats, t: Floats, rng: np.random.Generator) -> tuple[LapMark, ...]:
    """Lap button pressed near each passage, stamped on the next whole sample."""
    error = scenario.sensors.button_sd_s * rng.normal(size=len(crossing))
    pressed = np.clip(np.round(crossing + np.clip(error, -1.0, 1.0)), t[0], t[-1])
    edges = np.concatenate([[t[0]], pressed, [t[-1]]])
    last = len(edges) - 2
    return tuple(
        LapMark(start_s=float(a), end_s=float(b), trigger="session_end" if k == last else "button")
        for k, (a, b) in enumerate(pairwise(edges.tolist()))
        if b > a
    )


def write_truth(truth: Truth, path: str | os.PathLike[str]) -> None:
    """Write the truth as JSON."""
    write_text(json.dumps(truth.to_dict(), indent=2) + "\n", Path(path), replace=True)
