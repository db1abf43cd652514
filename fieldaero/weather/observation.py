"""One weather observation: air and wind at one place and time, checked where it is made.

Most bad weather is a slip of the unit, so a value that cannot be is named together
with the unit in which it would be ordinary.

Standard uncertainties, where none are given, are those of a hand-held instrument that
was allowed to settle in the shade: 0.5 K, 1 hPa, 5 % relative humidity (common practice,
no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from fieldaero.basics.errors import OutOfRangeError, WeatherError
from fieldaero.physics.atmosphere import station_pressure_pa
from fieldaero.physics.moist_air import relative_humidity_from_dew_point

__all__ = ["Observation", "observation_from_readings"]

Slip = tuple[float, float, str]
"""Values between the first two are ordinary in the unit named by the third."""

TEMPERATURE_SLIPS: tuple[Slip, ...] = (
    (233.0, 333.0, "that looks like kelvin; subtract 273.15"),
    (60.0, 130.0, "that looks like degrees Fahrenheit; subtract 32 and divide by 1.8"),
)
PRESSURE_HPA_SLIPS: tuple[Slip, ...] = (
    (29.0, 32.0, "that looks like inches of mercury or kPa; 1 inHg is 33.86 hPa, 1 kPa is 10 hPa"),
    (30.0, 110.0, "that looks like kPa; multiply by 10"),
    (9.0, 29.0, "that looks like inches of mercury; multiply by 33.86"),
    (30000.0, 110000.0, "that looks like Pa; divide by 100"),
)
HUMIDITY_PCT_SLIPS: tuple[Slip, ...] = ((0.0, 1.0, "that looks like a fraction; multiply by 100"),)
WIND_SPEED_HINT = "give metres per second: 1 m/s is 3.6 km/h or 1.94 knots"


@dataclass(frozen=True, kw_only=True)
class Observation:
    """Air and wind at one place and moment.

    Attributes
    ----------
    time
        Aware time, or None for a single observation that holds for the whole ride.
    pressure_pa
        At the course itself.
    wind_speed_m_s, wind_from_deg, wind_height_m
        Mean wind [m/s], where it comes from [deg clockwise from north, 0 to 360], and the
        height of measurement above ground [m].  Speed None: not observed.  A speed
        with the direction None: variable.
    source
        Where it came from, in words; error messages begin with it.

    Examples
    --------
    >>> Observation(time=None, temperature_c=18.0, pressure_pa=968.2, relative_humidity=0.6)
    Traceback (most recent call last):
        ...
    fieldaero.basics.errors.WeatherError: weather: pressure_pa is 968.2; allowed is 30000 to 110000 (that looks like \
hPa; multiply by 100)
    """

    time: datetime | None
    temperature_c: float
    pressure_pa: float
    relative_humidity: float
    wind_speed_m_s: float | None = None
    wind_from_deg: float | None = None
    wind_height_m: float = 10.0
    temperature_sd_c: float = 0.5
    pressure_sd_pa: float = 100.0
    relative_humidity_sd: float = 0.05
    source: str = "weather"

    def __post_init__(self) -> None:
        where = self.source
        if self.time is not None and self.time.tzinfo is None:
            raise WeatherError(
                f"{where}: time is {self.time.isoformat()} without a time zone; add Z for UTC or an offset like +02:00"
            )
        _check(where, "temperature_c", self.temperature_c, -40.0, 60.0, TEMPERATURE_SLIPS)
        pressure_slips = (
            (300.0, 1100.0, "that looks like hPa; multiply by 100"),
            (30.0, 110.0, "that looks like kPa; multiply by 1000"),
        )
        _check(where, "pressure_pa", self.pressure_pa, 30000.0, 110000.0, pressure_slips)
        humidity_slips = ((1.0, 100.0, "that looks like per cent; divide by 100"),)
        _check(where, "relative_humidity", self.relative_humidity, 0.0, 1.0, humidity_slips)
        if self.wind_speed_m_s is not None:
            slips = ((60.0, 250.0, WIND_SPEED_HINT),)
            _check(where, "wind_speed_m_s", self.wind_speed_m_s, 0.0, 60.0, slips)
        if self.wind_from_deg is not None:
            _check(where, "wind_from_deg", self.wind_from_deg, 0.0, 360.0)
            if self.wind_speed_m_s is None:
                raise WeatherError(
                    f"{where}: wind_from_deg is {self.wind_from_deg:g} without wind_speed_m_s; give both, or neither"
                )
        _check(where, "wind_height_m", self.wind_height_m, 0.3, 300.0)
        _check(where, "temperature_sd_c", self.temperature_sd_c, 0.0, 20.0)
        _check(where, "pressure_sd_pa", self.pressure_sd_pa, 0.0, 10000.0)
        _check(where, "relative_humidity_sd", self.relative_humidity_sd, 0.0, 1.0)


def _check(where: str, name: str, value: float, low: float, high: float, slips: tuple[Slip, ...] = ()) -> None:
    if low <= value <= high:
        return
    hint = next((f" ({text})" for a, b, text in slips if a <= value <= b), "")
    raise WeatherError(f"{where}: {name} is {value:.10g}; allowed is {low:.10g} to {high:.10g}{hint}")


def observation_from_readings(
    *,
    time: datetime | None,
    temperature_c: float,
    pressure_hpa: float | None = None,
    altimeter_hpa: float | None = None,
    elevation_m: float | None = None,
    relative_humidity_pct: float | None = None,
    dew_point_c: float | None = None,
    wind_speed_m_s: float | None = None,
    wind_from_deg: float | None = None,
    wind_height_m: float | None = None,
    temperature_sd_c: float = 0.5,
    pressure_sd_pa: float = 100.0,
    relative_humidity_sd: float = 0.05,
    source: str = "weather",
) -> Observation:
    """Make an observation from readings as people write them: hPa, per cent, dew point or altimeter setting.

    Pressure is ``pressure_hpa`` at the course, or an altimeter setting (QNH) with ``elevation_m``, the height of the
    course above sea level; humidity is given or comes from a dew point over water. A wind without a height was
    measured at the 10 m of weather stations.

    Examples
    --------
    >>> air = observation_from_readings(time=None, temperature_c=18.0, altimeter_hpa=1021.0, elevation_m=120.0,
    ...                                 relative_humidity_pct=60.0)
    >>> round(air.pressure_pa), air.relative_humidity
    (100658, 0.6)
    """
    _check(source, "temperature_c", temperature_c, -40.0, 60.0, TEMPERATURE_SLIPS)
    pressure_pa = _pressure_pa(source, pressure_hpa, altimeter_hpa, elevation_m)
    return Observation(
        time=time,
        temperature_c=temperature_c,
        pressure_pa=pressure_pa,
        relative_humidity=_humidity(source, relative_humidity_pct, dew_point_c, temperature_c, pressure_pa),
        wind_speed_m_s=wind_speed_m_s,
        wind_from_deg=wind_from_deg,
        wind_height_m=10.0 if wind_height_m is None else wind_height_m,
        temperature_sd_c=temperature_sd_c,
        pressure_sd_pa=pressure_sd_pa,
        relative_humidity_sd=relative_humidity_sd,
        source=source,
    )


def _pressure_pa(
    source: str, pressure_hpa: float | None, altimeter_hpa: float | None, elevation_m: float | None
) -> float:
    if pressure_hpa is not None and altimeter_hpa is not None:
        raise WeatherError(f"{source}: pressure_hpa and altimeter_hpa are both given; give one of them")
    if pressure_hpa is not None:
        _check(source, "pressure_hpa", pressure_hpa, 300.0, 1100.0, PRESSURE_HPA_SLIPS)
        return pressure_hpa * 100.0
    if altimeter_hpa is None:
        raise WeatherError(
            f"{source}: no pressure; give pressure_hpa at the course, or altimeter_hpa with elevation_m of the course"
        )
    _check(source, "altimeter_hpa", altimeter_hpa, 870.0, 1090.0, PRESSURE_HPA_SLIPS)
    if elevation_m is None:
        raise WeatherError(
            f"{source}: altimeter_hpa is {altimeter_hpa:g} without elevation_m; an altimeter setting (QNH) holds for "
            "sea level, so give the height of the course above sea level in metres"
        )
    _check(source, "elevation_m", elevation_m, -500.0, 6000.0)
    return float(station_pressure_pa(altimeter_pa=altimeter_hpa * 100.0, elevation_m=elevation_m))


def _humidity(
    source: str,
    relative_humidity_pct: float | None,
    dew_point_c: float | None,
    temperature_c: float,
    pressure_pa: float,
) -> float:
    if relative_humidity_pct is not None and dew_point_c is not None:
        raise WeatherError(f"{source}: relative_humidity_pct and dew_point_c are both given; give one of them")
    if relative_humidity_pct is not None:
        # Below 1 % there is no natural air near the ground, but many a fraction typed as per cent.
        _check(source, "relative_humidity_pct", relative_humidity_pct, 1.0, 100.0, HUMIDITY_PCT_SLIPS)
        return relative_humidity_pct / 100.0
    if dew_point_c is None:
        raise WeatherError(f"{source}: no humidity; give relative_humidity_pct or dew_point_c")
    if math.isnan(dew_point_c):
        raise WeatherError(f"{source}: dew_point_c is not a number")
    try:
        return float(
            relative_humidity_from_dew_point(
                temperature_c=temperature_c, dew_point_c=dew_point_c, pressure_pa=pressure_pa
            )
        )
    except OutOfRangeError as error:
        raise WeatherError(f"{source}: {error}") from error
