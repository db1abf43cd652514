"""The weather of a session: observations, interpolated in time to the moments of a ride.

Between two observations temperature, pressure and *vapour pressure* are linear in
time, and the wind is linear as a vector.  Vapour pressure, not relative humidity,
because an air mass keeps its vapour while it warms up through a morning: humidity then
falls as it should.  Before the first and after the last observation the air stays as it was.

Standard uncertainties are interpolated like values: an instrument that is off is off
all day, so two readings are not taken to average its error away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from fieldaero.basics.errors import WeatherError
from fieldaero.basics.quantities import Floats
from fieldaero.physics.moist_air import (
    air_density_kg_m3,
    air_density_sd_kg_m3,
    enhancement_factor,
    saturation_vapour_pressure_pa,
)
from fieldaero.physics.wind import RIDER_HEIGHT_M, wind_at_height_m_s, wind_east_north_m_s
from fieldaero.weather.observation import Observation

__all__ = ["Conditions", "Weather"]

OUTSIDE_TOLERATED = timedelta(hours=1)
GAP_TOLERATED = timedelta(hours=3)  # common practice, no source: reports are hourly, forecasts three-hourly


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Air and wind at the moments asked for; arrays of one shape.

    Attributes
    ----------
    air_density_kg_m3, air_density_sd_kg_m3
        Density by CIPM-2007 at the place of the observations, and its standard uncertainty.
    wind_east_m_s, wind_north_m_s
        Where the air goes at ``wind_height_m``; NaN where unknown, as for a variable wind.
    wind_speed_m_s
        Known for a variable wind too.
    wind_height_m
        Height above ground that the wind belongs to.
    """

    temperature_c: Floats
    pressure_pa: Floats
    relative_humidity: Floats
    air_density_kg_m3: Floats
    air_density_sd_kg_m3: Floats
    wind_east_m_s: Floats
    wind_north_m_s: Floats
    wind_speed_m_s: Floats
    wind_height_m: float

    @property
    def median_density_kg_m3(self) -> float:
        """Density that stands for all the moments, as for a whole ride."""
        return float(np.nanmedian(self.air_density_kg_m3))

    def at_rider(self, *, roughness_length_m: float) -> Conditions:
        """Return the same air with the wind at the rider's height."""
        share = float(
            wind_at_height_m_s(
                wind_speed_m_s=1.0, measured_height_m=self.wind_height_m, roughness_length_m=roughness_length_m
            )
        )
        return replace(
            self,
            wind_east_m_s=share * self.wind_east_m_s,
            wind_north_m_s=share * self.wind_north_m_s,
            wind_speed_m_s=share * self.wind_speed_m_s,
            wind_height_m=RIDER_HEIGHT_M,
        )


@dataclass(frozen=True)
class Weather:
    """Observations of one session, put in order of time.

    A single one may have no time and then holds always. Two of one moment must not differ.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from fieldaero.weather.conditions import Weather
    >>> seven, nine = (datetime(2026, 5, 3, hour, tzinfo=UTC) for hour in (7, 9))
    >>> weather = Weather([Observation(time=seven, temperature_c=14.0, pressure_pa=97000.0, relative_humidity=0.8),
    ...                    Observation(time=nine, temperature_c=18.0, pressure_pa=97100.0, relative_humidity=0.6)])
    >>> air = weather.at([0.0, 3600.0], start_time=seven)
    >>> air.temperature_c.tolist(), air.air_density_kg_m3.round(4).tolist()
    ([14.0, 16.0], [1.1714, 1.164])
    """

    observations: tuple[Observation, ...]

    def __init__(self, observations: Sequence[Observation]) -> None:
        object.__setattr__(self, "observations", _in_order(observations))

    def at(self, time_s: ArrayLike, *, start_time: datetime | None = None) -> Conditions:
        """Conditions at moments on the clock of a ride, shape (n,), which began at ``start_time``.

        A ride without clock time has none, and then there may be one observation only.
        """
        t = self._seconds(np.atleast_1d(np.asarray(time_s, dtype=np.float64)), start_time)
        obs = self.observations

        def linear(values: Sequence[float]) -> Floats:
            return self._linear(t, obs, values)

        temperature_c = linear([o.temperature_c for o in obs])
        pressure_pa = linear([o.pressure_pa for o in obs])
        vapour_pa = linear([float(o.relative_humidity * _saturated_pa(o.temperature_c, o.pressure_pa)) for o in obs])
        # Mixing two nearly saturated airs ends above saturation; the rest would be fog.
        air = {
            "temperature_c": temperature_c,
            "pressure_pa": pressure_pa,
            "relative_humidity": np.minimum(vapour_pa / _saturated_pa(temperature_c, pressure_pa), 1.0),
        }
        east, north, speed, height = self._wind(t)
        return Conditions(
            **air,
            air_density_kg_m3=air_density_kg_m3(**air),
            air_density_sd_kg_m3=air_density_sd_kg_m3(
                **air,
                temperature_sd_c=linear([o.temperature_sd_c for o in obs]),
                pressure_sd_pa=linear([o.pressure_sd_pa for o in obs]),
                relative_humidity_sd=linear([o.relative_humidity_sd for o in obs]),
            ),
            wind_east_m_s=east,
            wind_north_m_s=north,
            wind_speed_m_s=speed,
            wind_height_m=height,
        )

    def warnings_for(self, start: datetime | None, end: datetime | None) -> tuple[str, ...]:
        """Return one sentence per weakness of these observations for a ride, from its first sample to its last.

        They are for a ride that leaves the observed span by more than an hour (beyond three hours they ask for a look
        at dates and zones), or that meets more than three hours without an observation.
        """
        if start is None or end is None:
            return ()
        start, end = _utc(start), _utc(end)
        times = [_utc(o.time) for o in self.observations if o.time is not None]
        if not times:
            return ()
        sentences = []
        if times[0] - start > OUTSIDE_TOLERATED:
            sentences.append(
                f"The ride starts {_duration(times[0] - start)} before the first weather observation "
                f"({_clock(times[0])}); until then the air is taken as it was at that time."
                + _mistaken(times[0] - start)
            )
        if end - times[-1] > OUTSIDE_TOLERATED:
            sentences.append(
                f"The ride ends {_duration(end - times[-1])} after the last weather observation "
                f"({_clock(times[-1])}); from then on the air is taken as it was at that time."
                + _mistaken(end - times[-1])
            )
        sentences += [
            f"No weather was observed for {_duration(after - before)} between {_clock(before)} and {_clock(after)}, "
            "while the ride was on; in between it is interpolated."
            for before, after in pairwise(times)
            if after - before > GAP_TOLERATED and before < end and after > start
        ]
        return tuple(sentences)

    def _seconds(self, seconds: Floats, start_time: datetime | None) -> Floats:
        """Moments as seconds after the first observation."""
        if start_time is None:
            if len(self.observations) > 1:
                raise WeatherError(
                    f"weather: {len(self.observations)} observations, but the ride has no clock time to choose by; "
                    "keep the one that fits the ride"
                )
            return np.where(np.isfinite(seconds), 0.0, np.nan)
        return seconds + _seconds_between(self.observations[0].time, start_time)

    def _wind(self, t: Floats) -> tuple[Floats, Floats, Floats, float]:
        """East, north and speed at one height, that of the first observation with a wind."""
        observed = [o for o in self.observations if o.wind_speed_m_s is not None]
        # A calm is a vector without needing a direction; a variable wind is none.
        vectors = [o for o in observed if o.wind_from_deg is not None or o.wind_speed_m_s == 0.0]
        unknown = np.full(t.shape, np.nan)
        if not observed:
            return unknown, unknown, unknown, self.observations[0].wind_height_m
        height = (vectors or observed)[0].wind_height_m
        if not vectors:
            return unknown, unknown, self._linear(t, observed, [_speed_at(o, height) for o in observed]), height
        parts = wind_east_north_m_s(
            wind_speed_m_s=[_speed_at(o, height) for o in vectors],
            wind_from_deg=[o.wind_from_deg or 0.0 for o in vectors],
        )
        east, north = (self._linear(t, vectors, part) for part in parts)
        return east, north, np.hypot(east, north), height

    def _linear(self, t: Floats, at: Sequence[Observation], values: ArrayLike) -> Floats:
        first = self.observations[0].time
        knots = [_seconds_between(first, o.time) for o in at]
        return np.asarray(np.interp(t, knots, np.asarray(values, dtype=np.float64)))


def _in_order(observations: Sequence[Observation]) -> tuple[Observation, ...]:
    given = tuple(observations)
    if not given:
        raise WeatherError("weather: no observation; give at least temperature, pressure and humidity once")
    if len(given) == 1:
        return given
    timed: dict[datetime, Observation] = {}
    for observation in given:
        if observation.time is None:
            raise WeatherError(
                f"{observation.source}: no time; of {len(given)} observations each needs one, like 2026-05-03T07:10:00Z"
            )
        time = _utc(observation.time)
        twin = timed.setdefault(time, observation)
        if replace(twin, source="", time=time) != replace(observation, source="", time=time):
            raise WeatherError(
                f"{twin.source} and {observation.source}: two different observations of {_clock(time)}; keep one"
            )
    return tuple(timed[time] for time in sorted(timed))


def _saturated_pa(temperature_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    """Pressure of the vapour in saturated air."""
    enhanced = enhancement_factor(temperature_c=temperature_c, pressure_pa=pressure_pa)
    return np.asarray(enhanced * saturation_vapour_pressure_pa(temperature_c=temperature_c))


def _speed_at(observation: Observation, height_m: float) -> float:
    """Wind speed of an observation at a common height, over open grass where that differs."""
    speed = observation.wind_speed_m_s or 0.0
    if observation.wind_height_m == height_m:
        return speed
    return float(
        wind_at_height_m_s(wind_speed_m_s=speed, measured_height_m=observation.wind_height_m, height_m=height_m)
    )


def _utc(time: datetime) -> datetime:
    if time.tzinfo is None:
        raise WeatherError(f"weather: the time {time.isoformat()} has no time zone; give aware times")
    return time.astimezone(UTC)


def _seconds_between(first: datetime | None, time: datetime | None) -> float:
    """Seconds from the first observation; 0 if that holds always."""
    return 0.0 if first is None or time is None else (_utc(time) - _utc(first)).total_seconds()


def _clock(time: datetime) -> str:
    return f"{time:%Y-%m-%d %H:%M} UTC"


def _mistaken(away: timedelta) -> str:
    if away <= GAP_TOLERATED:
        return ""
    return " That far apart one time is probably wrong: check date and zone of the weather, and the device's clock."


def _duration(span: timedelta) -> str:
    minutes = round(span.total_seconds() / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"
