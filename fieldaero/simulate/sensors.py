"""What the device records of a motion."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldaero.earth import LocalFrame
from fieldaero.ride import COLUMNS
from fieldaero.simulate.course_shape import CourseTable
from fieldaero.simulate.dynamics import Motion
from fieldaero.simulate.scenario import Scenario, Sensors

__all__ = ["recorded_table"]

Floats = NDArray[np.float64]

SATELLITE_SPEED_SD_M_S, SATELLITE_SPEED_S = 0.08, 5.0
POSITION_S = 30.0
ALTITUDE_S = 600.0
BASE_HEIGHT_M = 20.0


def recorded_table(scenario: Scenario, table: CourseTable, motion: Motion, rng: np.random.Generator) -> pd.DataFrame:
    """Return the ride table: one row per ``sample_s``, columns of :data:`fieldaero.ride.COLUMNS`."""
    sensors, L = scenario.sensors, scenario.course.length_m
    step = scenario.sample_s
    t = np.arange(step, int(motion.time_s[-1]) + 1, step, dtype=np.float64)
    n = len(t)

    def at(values: Floats) -> Floats:
        return np.asarray(np.interp(t, motion.time_s, values))

    def mean_before(values: Floats, seconds: float) -> Floats:
        """Mean over the seconds before each stamp; ``values`` hold for the step that ends at their time."""
        dt = np.diff(motion.time_s, prepend=motion.time_s[0])
        total = np.cumsum(values * dt)
        return np.asarray((at(total) - np.interp(t - seconds, motion.time_s, total)) / seconds)

    s = at(motion.distance_m)
    place = s % L
    east, north = (np.interp(place, table.distance_m, part) for part in (table.east_m, table.north_m))
    if sensors.position_sd_m > 0.0:
        east = east + _lasting(n, sensors.position_sd_m, POSITION_S, step, rng)
        north = north + _lasting(n, sensors.position_sd_m, POSITION_S, step, rng)
    frame = LocalFrame(latitude_deg=scenario.course.latitude_deg, longitude_deg=scenario.course.longitude_deg)
    latitude, longitude = frame.to_degrees(east, north)
    speed, distance = _speed(sensors, at(motion.speed_m_s), s - motion.distance_m[0], step, rng)
    lagged = t - sensors.power_lag_s
    power = np.interp(lagged, t, mean_before(motion.power_w, 1.0))
    out = {
        "time_s": t - t[0],
        "power_w": _power(sensors, power, t / 3600.0, rng),
        "speed_m_s": speed,
        "distance_m": distance,
        "altitude_m": _altitude(sensors, np.interp(place, table.distance_m, table.height_m), step, rng),
        "latitude_deg": latitude,
        "longitude_deg": longitude,
        "temperature_c": np.full(n, float(round(scenario.temperature_c))),
        "cadence_rpm": np.where(power > 0.0, 88.0, 0.0),
    }
    if sensors.air_speed:
        air = mean_before(motion.air_speed_m_s, 1.0)
        out["air_speed_m_s"] = np.maximum(
            sensors.air_speed_scale * air * (1.0 + sensors.air_speed_noise * rng.normal(size=n)), 0.0
        )
    return pd.DataFrame(out).reindex(columns=list(COLUMNS)).astype(np.float64)


def _lasting(n: int, sd: float, scale_s: float, step: float, rng: np.random.Generator) -> Floats:
    """Errors that fade over a time scale."""
    keep = np.exp(-step / scale_s)
    push = rng.normal(size=n) * sd * np.sqrt(1.0 - keep**2)
    out = np.empty(n)
    value = sd * rng.normal()
    for k in range(n):
        value = keep * value + push[k]
        out[k] = value
    return out


def _speed(
    sensors: Sensors, speed: Floats, way: Floats, step: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    n = len(speed)
    moving = speed > 0.3
    if sensors.satellite_speed:
        error = _lasting(n, SATELLITE_SPEED_SD_M_S, SATELLITE_SPEED_S, step, rng)
        shown = np.maximum(speed + np.where(moving, error, 0.0), 0.0)
        return _rounded(shown, 3), _rounded(way - way[0] + np.cumsum(np.where(moving, error, 0.0)) * step, 2)
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


def _altitude(sensors: Sensors, height: Floats, step: float, rng: np.random.Generator) -> Floats:
    shown = BASE_HEIGHT_M + height
    if sensors.altitude_sd_m > 0.0:
        shown = shown + _lasting(len(height), sensors.altitude_sd_m, ALTITUDE_S, step, rng)
    if sensors.altitude_step_m > 0.0:
        shown = np.round(shown / sensors.altitude_step_m) * sensors.altitude_step_m
    return np.asarray(shown)
