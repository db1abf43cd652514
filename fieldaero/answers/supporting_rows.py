"""The rows of a result that say what it rests on: system, choices, course, air, yaw, road, repeat check.

With them in the JSON a reader can follow every number that a report shows.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldaero.answers.rows import YawBin
from fieldaero.physics.system import System

__all__ = [
    "Choices",
    "Constants",
    "CourseRidden",
    "DifferencePct",
    "LapAir",
    "LapElevation",
    "RepeatCheck",
    "RoadElevation",
    "SetupFacts",
    "SupportingData",
    "YawRidden",
]


@dataclass(frozen=True, kw_only=True)
class Choices:
    """What the run sheet asked for; the smallest difference as it was given, in one of three units, or in none."""

    smallest_difference_m2: float | None
    smallest_difference_w: float | None
    smallest_difference_s: float | None
    report_speed_km_h: float
    report_distance_km: float
    report_power_w: float
    roughness_length_m: float
    drift_sd_per_h: float


@dataclass(frozen=True, kw_only=True)
class Constants:
    """Numbers of the model that no run sheet gives: bearings b0 and b1, the rider's height in the wind, the level."""

    bearing_b0_n: float
    bearing_b1_n_s_m: float
    rider_height_m: float
    level: float
    level_pct: float


@dataclass(frozen=True, kw_only=True)
class SetupFacts:
    """A setup as the run sheet describes it."""

    setup: str
    description: str
    mass_change_kg: float
    photos: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class CourseRidden:
    """The course; ``height_range_m`` is that of the fitted road profile, ``efficiency`` the drivetrain's in use."""

    length_m: float
    closed: bool
    out_and_back: bool
    height_range_m: float
    gravity_m_s2: float
    efficiency: float
    laps_used: int
    laps_recorded: int
    road_ridden_km: float


@dataclass(frozen=True, kw_only=True)
class DifferencePct:
    """A difference and its interval in per cent of the other setup's drag area, which is taken as found."""

    setup: str
    versus: str
    delta_pct: float
    interval95_pct: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class LapAir:
    """Air and wind during a lap.

    Attributes
    ----------
    temperature_c, pressure_hpa, relative_humidity_pct
        As observed, interpolated to the middle of the lap.
    observed_wind_m_s, observed_wind_from_deg, observed_wind_height_m
        Likewise; None where no wind was observed.
    wind_m_s, wind_from_deg
        Mean over the lap at the rider's height by the joint fit; None for a lap that is not used, and
        where it comes from also without positions.
    yaw_low_deg, yaw_high_deg
        The middle nine tenths of the yaw angles along the lap, the air from the rider's right positive.
    """

    ride: str
    lap: int
    setup: str
    middle_min: float
    temperature_c: float
    pressure_hpa: float
    relative_humidity_pct: float
    observed_wind_m_s: float | None
    observed_wind_from_deg: float | None
    observed_wind_height_m: float | None
    wind_m_s: float | None
    wind_from_deg: float | None
    yaw_low_deg: float | None
    yaw_high_deg: float | None


@dataclass(frozen=True, kw_only=True)
class YawRidden:
    """How much of a setup's weight was ridden at which yaw, in bins of two degrees."""

    setup: str
    bins: tuple[YawBin, ...]


@dataclass(frozen=True, kw_only=True)
class LapElevation:
    """Virtual elevation of a lap above the start line, one value per position, and where it ends."""

    ride: str
    lap: int
    setup: str
    elevation_m: tuple[float, ...]
    end_m: float
    residual_largest_m: float


@dataclass(frozen=True, kw_only=True)
class RoadElevation:
    """The road profile that all laps share, over the position along the lap, and the laps on it."""

    position_m: tuple[float, ...]
    road_m: tuple[float, ...]
    laps: tuple[LapElevation, ...]

    def residual_m(self, lap: LapElevation) -> tuple[float, ...]:
        """Return what a lap leaves of the road profile, one value per position."""
        return tuple(height - road for height, road in zip(lap.elevation_m, self.road_m, strict=True))


@dataclass(frozen=True, kw_only=True)
class RepeatCheck:
    """Last baseline lap minus first.

    ``apart_min`` is the time between their middles, ``se_m2`` holds the scatter from lap to lap, and ``repeats`` says
    whether the interval holds zero.
    """

    first: int
    last: int
    apart_min: float
    change_m2: float
    se_m2: float
    interval95_m2: tuple[float, float]
    repeats: bool


@dataclass(frozen=True, kw_only=True)
class SupportingData:
    """All of these for one result."""

    system: System
    choices: Choices
    constants: Constants
    course: CourseRidden
    setups: tuple[SetupFacts, ...]
    differences_pct: tuple[DifferencePct, ...]
    air: tuple[LapAir, ...]
    yaw_ridden: tuple[YawRidden, ...]
    elevation: RoadElevation
    repeat_check: RepeatCheck | None
