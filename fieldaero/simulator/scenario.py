"""What is simulated: rider, course, weather and sensors of one session."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from fieldaero.basics.errors import RunSheetError
from fieldaero.physics.system import USUAL_MASS_KG, System
from fieldaero.run_sheet.schema import NOT_USED
from fieldaero.simulator.course_shape import CourseShape
from fieldaero.simulator.sensors import Sensors
from fieldaero.simulator.wind import Wind

__all__ = ["Scenario"]


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One session to simulate.

    Attributes
    ----------
    system
        The TRUE rider and bike: ``system.crr`` is the true Crr.
    setups
        True drag area of each setup [m2].
    order
        Setup of each lap, "-" for a lap ridden in ``spare_cda_m2``.
    power_w
        Target power, one for all laps, or several that the laps take in turn.
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
    pause_between_laps_s
        If above 0, every lap is recorded apart: after the finish the timer is paused, the rider comes
        back, and starts it again ``lead_in_m`` before the line.  A road ridden one way is always so.
    lead_in_m
        Way before the first passage of the start line.
    sample_s
        Between samples, whole seconds.

    Examples
    --------
    >>> Scenario(setups={"bare": 0.25}, order=("bare", "bear"))
    Traceback (most recent call last):
        ...
    fieldaero.basics.errors.RunSheetError: simulated order, lap 2: "bear" is no setup; allowed are "bare" and "-"
    """

    setups: Mapping[str, float]
    order: tuple[str, ...]
    course: CourseShape = field(default_factory=CourseShape)
    wind: Wind = field(default_factory=Wind)
    sensors: Sensors = field(default_factory=Sensors)
    system: System = field(default_factory=lambda: System(mass_kg=USUAL_MASS_KG))
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
    pause_between_laps_s: float = 0.0
    lead_in_m: float = 300.0
    temperature_c: float = 18.0
    pressure_hpa: float = 1012.0
    relative_humidity: float = 0.6
    start_time: datetime = datetime(2026, 5, 3, 7, 0, tzinfo=UTC)
    sample_s: int = 1

    def __post_init__(self) -> None:
        if not self.order:
            raise RunSheetError("simulated order: it is empty; name the setup of at least one lap")
        names = ", ".join(f'"{name}"' for name in self.setups)
        for number, name in enumerate(self.order, start=1):
            if name != NOT_USED and name not in self.setups:
                raise RunSheetError(f'simulated order, lap {number}: "{name}" is no setup; allowed are {names} and "-"')
        for what, numbers in (("braked_laps", self.braked_laps), ("stopped_laps", self.stopped_laps)):
            for number in numbers:
                if not 1 <= number <= len(self.order):
                    raise RunSheetError(f"{what}: there is no lap {number}; allowed is 1 to {len(self.order)}")
        if self.sample_s < 1 or self.sample_s != int(self.sample_s):
            raise RunSheetError(f"sample_s is {self.sample_s}; allowed are whole seconds from 1 up")
