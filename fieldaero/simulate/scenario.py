"""What is simulated: rider, course, weather and sensors of one session."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from fieldaero.simulate.course_shape import CourseShape
from fieldaero.system import System

__all__ = ["Scenario", "Sensors", "Wind"]


@dataclass(frozen=True, kw_only=True)
class Wind:
    """Wind at the rider's height.

    Attributes
    ----------
    speed_m_s, from_deg
        Mean wind.
    slow_sd_m_s, slow_s
        Either component of its slow change: standard deviation and time scale.
    gust_sd_m_s, gust_length_m
        Either component of gusts, and the length over which they fade in the air that passes the rider.
    """

    speed_m_s: float = 0.0
    from_deg: float = 270.0
    slow_sd_m_s: float = 0.0
    slow_s: float = 400.0
    gust_sd_m_s: float = 0.0
    gust_length_m: float = 60.0


@dataclass(frozen=True, kw_only=True)
class Sensors:
    """Errors of what is recorded.

    Attributes
    ----------
    power_noise, power_noise_w
        Standard deviation per sample: a share of the power, and watts.
    power_scale, power_drift_per_h
        Recorded over true power at the start, and its change per hour.
    power_lag_s
        By which the recorded power comes late.
    speed_noise_m_s
        Standard deviation per sample.
    wheel_scale
        Recorded over true speed and distance.
    satellite_speed
        Speed from satellites instead of a wheel: errors of 0.08 m/s that last for 5 s.
    position_sd_m
        Error of either coordinate, lasting half a minute; 0 for none.
    altitude_sd_m, altitude_step_m
        Slow error of the altimeter, and the step in which it is recorded.
    air_speed, air_speed_noise, air_speed_scale
        Whether an air speed is recorded, its noise per sample as a share, recorded over true.
    whole_watts
        Whether power is recorded in whole watts.
    button_sd_s
        Scatter of the hand on the lap button.
    """

    power_noise: float = 0.01
    power_noise_w: float = 2.0
    power_scale: float = 1.0
    power_drift_per_h: float = 0.0
    power_lag_s: float = 0.0
    speed_noise_m_s: float = 0.02
    wheel_scale: float = 1.0
    satellite_speed: bool = False
    position_sd_m: float = 2.0
    altitude_sd_m: float = 1.0
    altitude_step_m: float = 0.2
    air_speed: bool = False
    air_speed_noise: float = 0.02
    air_speed_scale: float = 1.0
    whole_watts: bool = True
    button_sd_s: float = 0.5

    @staticmethod
    def perfect() -> Sensors:
        """Return sensors without any error."""
        return Sensors(
            power_noise=0.0,
            power_noise_w=0.0,
            speed_noise_m_s=0.0,
            position_sd_m=0.0,
            altitude_sd_m=0.0,
            altitude_step_m=0.0,
            air_speed_noise=0.0,
            button_sd_s=0.0,
        )


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One session to simulate.

    Attributes
    ----------
    course, wind, sensors, system
        The road, the air, the recording, and the TRUE rider and bike (``system.crr`` is the true Crr).
    setups
        True drag area of each setup [m2].
    order
        Setup of each lap, "-" for a lap ridden in ``spare_cda_m2``.
    power_w
        Target power, one for all laps or one each.
    power_wander_w
        Standard deviation of the rider's wandering about the target, lasting 15 s.
    uphill_share
        By how much more a rider pushes per unit of grade.
    cda_lap_sd_m2, cda_drift_m2_per_h
        Scatter of the true drag area from lap to lap, and its steady change.
    cda_per_yaw_deg2
        Relative change of the drag area per square degree of yaw.
    brakings_per_lap
        Mean number of brakings for traffic, at random places.
    braked_laps, stopped_laps
        Numbers, 1-based, of laps in which the rider certainly brakes once, or stops for 40 s.
    lead_in_m
        Way before the first passage of the start line.
    temperature_c, pressure_hpa, relative_humidity
        The air.
    start_time
        Aware time of the first sample.
    sample_s
        Between samples, whole seconds.
    """

    setups: Mapping[str, float]
    order: tuple[str, ...]
    course: CourseShape = field(default_factory=CourseShape)
    wind: Wind = field(default_factory=Wind)
    sensors: Sensors = field(default_factory=Sensors)
    system: System = field(default_factory=lambda: System(mass_kg=84.0))
    power_w: float | tuple[float, ...] = 230.0
    power_wander_w: float = 12.0
    uphill_share: float = 8.0
    spare_cda_m2: float = 0.30
    cda_lap_sd_m2: float = 0.0
    cda_drift_m2_per_h: float = 0.0
    cda_per_yaw_deg2: float = 0.0
    brakings_per_lap: float = 0.0
    braked_laps: tuple[int, ...] = ()
    stopped_laps: tuple[int, ...] = ()
    lead_in_m: float = 300.0
    temperature_c: float = 18.0
    pressure_hpa: float = 1012.0
    relative_humidity: float = 0.6
    start_time: datetime = datetime(2026, 5, 3, 7, 0, tzinfo=UTC)
    sample_s: int = 1
