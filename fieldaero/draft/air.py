"""The air over the rides in a draft, as far as its weather is given yet."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from fieldaero.basics.errors import CannotAnswerError, FieldaeroError, WeatherError
from fieldaero.basics.quantities import Floats
from fieldaero.draft.draft import Draft, DraftRide
from fieldaero.physics.moist_air import USUAL_AIR_DENSITY_KG_M3
from fieldaero.physics.system import USUAL_MASS_KG, System
from fieldaero.run_sheet.messages import checked
from fieldaero.run_sheet.schema import AnalysisChoices, CourseFacts, SystemTable, WeatherEntry
from fieldaero.run_sheet.sheet import entry_observations, system_of
from fieldaero.weather.conditions import Weather
from fieldaero.weather.observation import Observation

__all__ = [
    "RideAir",
    "air_density_of_ride_kg_m3",
    "air_over_rides",
    "draft_system",
    "draft_weather",
    "lap_winds_m_s",
]

STEP_S = 60.0
PER_LAP = 5  # moments of a lap at which its wind is looked up


@dataclass(frozen=True, kw_only=True)
class RideAir:
    """Air density over one ride at moments on its clock, with its standard uncertainty, shape (n,) each.

    ``clock`` are the moments as aware times, None where the ride has no clock; ``warnings`` say where the weather does
    not cover the ride.
    """

    ride: str
    clock: tuple[datetime, ...] | None
    time_s: Floats
    air_density_kg_m3: Floats
    air_density_sd_kg_m3: Floats
    warnings: tuple[str, ...]

    @property
    def low_kg_m3(self) -> Floats:
        """Density less its standard uncertainty."""
        return self.air_density_kg_m3 - self.air_density_sd_kg_m3

    @property
    def high_kg_m3(self) -> Floats:
        """Density plus its standard uncertainty."""
        return self.air_density_kg_m3 + self.air_density_sd_kg_m3


def draft_weather(draft: Draft) -> Weather:
    """Return the weather of a draft, whatever the rest of the test lacks; errors name the row of the table."""
    rows = draft.tables.weather
    if not rows:
        raise CannotAnswerError("no weather yet: give temperature, pressure and humidity at least once")
    first = draft.rides[0].ride.start_time if draft.rides else None
    course = checked(CourseFacts, draft.tables.course, where="course")
    found: list[Observation] = []
    for number, row in enumerate(rows, start=1):
        source = f"weather, row {number}"
        if "file" in row:
            raise WeatherError(f"{source}: names the file {row['file']}; add that file itself")
        entry = checked(WeatherEntry, row, where=source)
        found += entry_observations(entry, source=source, date=first, course=course)
    return Weather(found)


def air_over_rides(draft: Draft) -> tuple[RideAir, ...]:
    """Return the air density over each ride, one value a minute."""
    weather = draft_weather(draft)
    found = []
    for draft_ride in draft.rides:
        ride = draft_ride.ride
        t = np.append(np.arange(ride.time_s[0], ride.time_s[-1], STEP_S), ride.time_s[-1])
        air = weather.at(t, start_time=ride.start_time)
        moments = [ride.clock(moment) for moment in t.tolist()]
        known = tuple(moment for moment in moments if moment is not None)
        found.append(
            RideAir(
                ride=draft_ride.name,
                clock=known if len(known) == len(t) else None,
                time_s=t,
                air_density_kg_m3=air.air_density_kg_m3,
                air_density_sd_kg_m3=air.air_density_sd_kg_m3,
                warnings=weather.warnings_for(ride.clock(float(t[0])), ride.clock(float(t[-1]))),
            )
        )
    return tuple(found)


def air_density_of_ride_kg_m3(draft: Draft, ride: DraftRide) -> float:
    """Return the density as the result takes it for a whole ride; a usual one until there is weather to use."""
    try:
        air = draft_weather(draft).at(ride.ride.time_s, start_time=ride.ride.start_time)
    except FieldaeroError:
        return USUAL_AIR_DENSITY_KG_M3
    return air.median_density_kg_m3


def draft_system(draft: Draft) -> System:
    """Return rider and bike for a first look, a usual mass standing in until one is given."""
    given = {"mass_kg": USUAL_MASS_KG, **draft.tables.system}
    return system_of(checked(SystemTable, given, where="rider and bike"))


def lap_winds_m_s(draft: Draft) -> Mapping[tuple[str, int], float]:
    """Return the mean observed wind speed at the rider's height [m/s] by ride and lap number.

    Empty where the weather says nothing of the wind, or nothing that can be used yet.
    """
    try:
        weather = draft_weather(draft)
        roughness = checked(AnalysisChoices, draft.tables.analysis, where="analysis").roughness_length_m
        winds = {}
        for draft_ride in draft.rides:
            laps = draft_ride.laps
            if not laps:
                continue
            moments = np.linspace([lap.start_s for lap in laps], [lap.end_s for lap in laps], PER_LAP).ravel()
            air = weather.at(moments, start_time=draft_ride.ride.start_time)
            speed = air.at_rider(roughness_length_m=roughness).wind_speed_m_s
            means = np.mean(speed.reshape(PER_LAP, len(laps)), axis=0).tolist()
            for lap, mean in zip(laps, means, strict=True):
                if math.isfinite(mean):
                    winds[draft_ride.name, lap.number] = mean
    except FieldaeroError:
        return {}
    return winds
