"""What the device records of a motion: one row per sample, with the sensors' errors."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from fieldaero.basics.quantities import Floats
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.ride import COLUMNS, LapMark, Pause
from fieldaero.simulator.course_shape import CourseTable
from fieldaero.simulator.dynamics import Motion
from fieldaero.simulator.scenario import Scenario
from fieldaero.simulator.sensors import Sensors, lasting_errors

__all__ = ["button_marks", "pauses_of", "recorded_table", "sample_times_s"]


ALTITUDE_S = 600.0
BASE_HEIGHT_M = 20.0
BUTTON_WITHIN_S = 1.0
CADENCE_RPM = 88.0


def sample_times_s(scenario: Scenario, motion: Motion) -> Floats:
    """Return the samples' times on the motion's clock [s], shape (n,); none within the first second of a pass."""
    step, times = scenario.sample_s, []
    for first, last in motion.passes:
        begun, ended = motion.time_s[first], motion.time_s[last]
        grid = np.arange(step, int(ended) + 1, step, dtype=np.float64)
        times.append(grid[(grid >= begun + 1.0) & (grid <= ended)])
    return np.concatenate(times)


def recorded_table(scenario: Scenario, table: CourseTable, motion: Motion, rng: np.random.Generator) -> pd.DataFrame:
    """Return the ride table: one row per ``sample_s``, columns of :data:`fieldaero.rides.ride.COLUMNS`."""
    sensors, L, step = scenario.sensors, scenario.course.length_m, float(scenario.sample_s)
    t = sample_times_s(scenario, motion)
    n = len(t)

    def at(values: Floats) -> Floats:
        return np.asarray(np.interp(t, motion.time_s, values))

    place = at(motion.position_m) - L * _lap_at(motion, t)
    if scenario.course.shape != "one_way":
        place = place % L
    east, north = (np.interp(place, table.distance_m, part) for part in (table.east_m, table.north_m))
    if sensors.position_sd_m > 0.0:
        wandering = {"sd": sensors.position_sd_m, "scale_s": sensors.position_s, "sample_s": step}
        east = east + lasting_errors(n, **wandering, rng=rng)
        north = north + lasting_errors(n, **wandering, rng=rng)
    frame = LocalFrame(latitude_deg=scenario.course.latitude_deg, longitude_deg=scenario.course.longitude_deg)
    latitude, longitude = frame.to_degrees(east, north)
    speed, distance = _speed(sensors, at(motion.speed_m_s), at(motion.wheel_m), step, rng)
    power = _mean_before(motion, motion.power_w, t - sensors.power_lag_s)
    out = {
        "time_s": t - t[0],
        "power_w": _power(sensors, power, t / 3600.0, rng),
        "speed_m_s": speed,
        "distance_m": distance,
        "altitude_m": _altitude(sensors, np.interp(place, table.distance_m, table.height_m), t / 3600.0, step, rng),
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "temperature_c": np.full(n, float(round(scenario.temperature_c + sensors.temperature_error_c))),
        "cadence_rpm": np.where(power > 0.0, CADENCE_RPM, 0.0),
    }
    if sensors.air_speed:
        air = _mean_before(motion, motion.air_speed_m_s, t)
        out["air_speed_m_s"] = np.maximum(
            sensors.air_speed_scale * air * (1.0 + sensors.air_speed_noise * rng.normal(size=n)), 0.0
        )
    _lose(out, sensors, t, rng)
    return pd.DataFrame(out).reindex(columns=list(COLUMNS)).astype(np.float64)


def _lap_at(motion: Motion, t: Floats) -> Floats:
    """Lap in whose coordinates a moment is told; it goes with the step before the moment."""
    before = np.searchsorted(motion.time_s, t, side="right") - 1
    return np.asarray(motion.lap[before], dtype=np.float64)


def _mean_before(motion: Motion, values: Floats, t: Floats) -> Floats:
    """Mean over the second before each moment; a value holds for the step that ends at its time."""
    dt = np.diff(motion.time_s, prepend=motion.time_s[0])
    dt[[first for first, _ in motion.passes]] = 0.0
    total, lasted = np.cumsum(values * dt), np.cumsum(dt)

    def gained(sums: Floats) -> Floats:
        return np.asarray(np.interp(t, motion.time_s, sums) - np.interp(t - 1.0, motion.time_s, sums))

    # Before the first step there was nothing to be meaned: with a lag the first second is shorter.
    seconds = gained(lasted)
    return np.where(seconds > 0.0, gained(total) / np.where(seconds > 0.0, seconds, 1.0), values[1])


def _speed(
    sensors: Sensors, speed: Floats, way: Floats, step: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    n = len(speed)
    moving = speed > 0.3
    if sensors.satellite_speed:
        sd, scale = sensors.satellite_speed_sd_m_s, sensors.satellite_speed_s
        error = np.where(moving, lasting_errors(n, sd=sd, scale_s=scale, sample_s=step, rng=rng), 0.0)
        shown = np.maximum(speed + error, 0.0)
        return _rounded(shown, 3), _rounded(way - way[0] + np.cumsum(error) * step, 2)
    noise = sensors.speed_noise_m_s * rng.normal(size=n)
    shown = np.maximum(speed * sensors.wheel_scale + np.where(moving, noise, 0.0), 0.0)
    return _rounded(shown, 3), _rounded((way - way[0]) * sensors.wheel_scale, 2)


def _rounded(values: Floats, places: int) -> Floats:
    return np.asarray(np.round(values, places), dtype=np.float64)


def _power(sensors: Sensors, power: Floats, hours: Floats, rng: np.random.Generator) -> Floats:
    n = len(power)
    shown = power * sensors.power_scale * (1.0 + sensors.power_drift_per_h * hours)
    error = sensors.power_noise * power * rng.normal(size=n) + sensors.power_noise_w * rng.normal(size=n)
    # A meter at rest shows nothing, and one under load never less than nothing.
    shown = np.where(power > 0.0, np.maximum(shown + error, 0.0), 0.0)
    return np.round(shown) if sensors.whole_watts else shown


def _altitude(sensors: Sensors, height: Floats, hours: Floats, step: float, rng: np.random.Generator) -> Floats:
    shown = BASE_HEIGHT_M + height + sensors.altitude_drift_m_per_h * hours
    if sensors.altitude_sd_m > 0.0:
        shown = shown + lasting_errors(
            len(height), sd=sensors.altitude_sd_m, scale_s=ALTITUDE_S, sample_s=step, rng=rng
        )
    if sensors.altitude_step_m > 0.0:
        shown = np.round(shown / sensors.altitude_step_m) * sensors.altitude_step_m
    return np.asarray(shown)


def _lose(out: dict[str, Floats], sensors: Sensors, t: Floats, rng: np.random.Generator) -> None:
    """Blank what was lost; the wheel counter runs on and is right again afterwards."""
    for per_h, columns in (
        (sensors.power_dropouts_per_h, ("power_w", "cadence_rpm")),
        (sensors.speed_dropouts_per_h, ("speed_m_s", "distance_m")),
        (sensors.position_dropouts_per_h, ("latitude_deg", "longitude_deg")),
    ):
        if per_h <= 0.0:
            continue
        for begun in rng.uniform(t[0], t[-1], size=rng.poisson(per_h * (t[-1] - t[0]) / 3600.0)):
            lost = (t >= begun) & (t < begun + sensors.dropout_s)
            for name in columns:
                out[name] = np.where(lost, np.nan, out[name])


def button_marks(
    scenario: Scenario, crossing_s: Floats, time_s: Floats, rng: np.random.Generator
) -> tuple[LapMark, ...]:
    """Return the lap marks from the first sample to the last, each pressed near a passage of the line.

    They are stamped in whole seconds, never more than a second off.  ``crossing_s`` and ``time_s`` are passages
    and samples on the ride's clock [s].
    """
    error = scenario.sensors.button_sd_s * rng.normal(size=len(crossing_s))
    pressed = np.round(crossing_s + np.clip(error, -BUTTON_WITHIN_S, BUTTON_WITHIN_S))
    pressed = np.clip(pressed, np.ceil(crossing_s - BUTTON_WITHIN_S), np.floor(crossing_s + BUTTON_WITHIN_S))
    pressed = np.clip(pressed, time_s[0], time_s[-1])
    edges = np.concatenate([[time_s[0]], pressed, [time_s[-1]]])
    last = len(edges) - 2
    return tuple(
        LapMark(start_s=float(a), end_s=float(b), trigger="session_end" if k == last else "button")
        for k, (a, b) in enumerate(pairwise(edges.tolist()))
        if b > a
    )


def pauses_of(motion: Motion, sampled_s: Floats) -> tuple[Pause, ...]:
    """Return the breaks between passes, from sample to sample, on the ride's clock.

    ``sampled_s``, shape (n,), is on the motion's clock [s].
    """
    breaks = []
    for _, last in motion.passes[:-1]:
        k = int(np.searchsorted(sampled_s, motion.time_s[last], side="right"))
        start, end = sampled_s[k - 1 : k + 1] - sampled_s[0]
        breaks.append(Pause(start_s=float(start), end_s=float(end), cause="timer"))
    return tuple(breaks)
