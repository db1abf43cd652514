"""Airport weather reports (METAR and SPECI) to observations.

What a report rounds away is put back as far as it is known: QNH in whole hPa and
altimeter settings in hundredths of an inch are rounded *down*, so half a step is added;
temperatures are rounded to the nearest degree, halves upwards [1]_ [2]_.  An inch group
that is cut from an altimeter setting loses 0.17 hPa on average.  The standard
uncertainties are those of the rounding alone (rectangular: step / sqrt(12)), 0.29 K or,
with tenths in the remarks, 0.03 K; 0.29 hPa for Q groups and 0.10 hPa for A groups.

The decoder, PyPI ``metar``, reads one report at a time.  Given two in one string it
mixes them silently, without month and year it guesses them from the clock, and where a
date cannot be it returns an empty object; so reports are split and dated here first.

References
----------
.. [1] WMO-No. 306, Manual on Codes, Vol. I.1 Part A, FM 15 METAR, regulations 15.11, 15.12.
.. [2] Federal Meteorological Handbook No. 1 (1995): rounding of the T, A and remark groups.
"""

from __future__ import annotations

import calendar
import math
import re
import warnings
from datetime import UTC, datetime

from metar.Metar import Metar

from fieldaero.basics.errors import OutOfRangeError, WeatherError
from fieldaero.physics.atmosphere import station_pressure_pa
from fieldaero.physics.moist_air import relative_humidity_from_dew_point, saturation_vapour_pressure_pa
from fieldaero.weather.observation import Observation

__all__ = ["parse_metar"]

INCH_OF_MERCURY_PA = 3386.389
STEP_SD = 1.0 / math.sqrt(12.0)  # standard uncertainty of rounding, in steps

# A report begins with its name, if it has one, then station and day-hour-minute;
# archives put a stamp YYYYMMDDHHMM before it.
BEGIN = re.compile(
    r"(?:\b(?P<stamp>\d{10}|\d{12})\s+)?(?:\b(?:METAR|SPECI)\s+)?(?:COR\s+)?"
    r"\b(?P<station>[A-Z][A-Z0-9]{3})\s+(?P<day>\d\d)(?P<hour>\d\d)(?P<minute>\d\d)Z\b"
)
END = re.compile(r"=|\n\s*\n")
NOT_OBSERVED = re.compile(r"\s(?:RMKS?|TEMPO|BECMG)\s")  # remarks and forecasts follow
WIND = re.compile(r"\s(?:[\dO]{3}|VRB)P?[\dO]{2,3}(?:GP?\d{2,3})?(?P<unit>KTS?|MPS|KMH)?\s")  # O: typed for 0
HECTOPASCAL = re.compile(r"\s(?:Q|QNH)(\d{4})\b")
INCHES = re.compile(r"\sA(\d{4})\b")
TENTHS = re.compile(r"\sT[01]\d{3}[01]\d{3}\b")
# A leftover that looks like wind, pressure or temperature must not be passed over.
MATTERS = re.compile(r"^(?:\d{3}|VRB)\d{2}|^Q\w|^A\d|^M?\d{1,3}/")


def parse_metar(text: str, *, year: int, month: int, elevation_m: float | None = None) -> list[Observation]:
    """Read one or more METAR or SPECI reports of one station, in order of time.

    A report ends at "=", at an empty line or where the next one begins. It says only the day of the month, so
    ``year`` and ``month`` hold for all of them; of two reports of one minute the later in the text counts.
    ``elevation_m`` is the height of the course above sea level: the pressure wanted is the one there, and an
    altimeter setting is the same for the station and for the course. Wind is the mean, not the gust, at 10 m;
    a missing wind is None, and a variable one (VRB) has no direction.

    Examples
    --------
    >>> report, = parse_metar("METAR XXXX 030720Z 24005KT 9999 18/10 Q1021=", year=2026, month=5, elevation_m=120.0)
    >>> report.time.isoformat(), report.temperature_c, round(report.pressure_pa), round(report.wind_speed_m_s, 2)
    ('2026-05-03T07:20:00+00:00', 18.0, 100707, 2.57)
    """
    if not (1 <= month <= 12 and 1900 <= year <= 2200):
        raise WeatherError(f"METAR: year {year}, month {month}; give the year in full and the month as 1 to 12")
    reports = _split(text)
    stations = sorted({begin["station"] for begin, _ in reports})
    if len(stations) > 1:
        raise WeatherError(
            f"METAR: reports of {len(stations)} stations ({', '.join(stations)}); keep one, the closest to the course"
        )
    found: dict[datetime, Observation] = {}
    for begin, report in reports:
        time = _time(begin, report, year, month)
        found[time] = _observation(report, time, elevation_m)
    return [found[time] for time in sorted(found)]


def _split(text: str) -> list[tuple[re.Match[str], str]]:
    begins = list(BEGIN.finditer(text))
    if not begins:
        raise WeatherError(
            f"METAR: no report found in {_short(text)!r}; a report begins with station and time, like 'XXXX 030720Z'"
        )
    reports, strays = [], [text[: begins[0].start()]]
    for begin, following in zip(begins, [*begins[1:], None], strict=True):
        piece = text[begin.start() : following.start() if following else len(text)]
        body, *rest = END.split(piece, maxsplit=1)
        strays += rest
        reports.append((begin, " ".join(body.split())))
    stray = " ".join(" ".join(strays).replace("=", " ").split())
    if stray:
        raise WeatherError(
            f"METAR: {_short(stray)!r} belongs to no report; a report begins with station and time, like "
            "'XXXX 030720Z', and ends with '=' or an empty line"
        )
    return reports


def _time(begin: re.Match[str], report: str, year: int, month: int) -> datetime:
    stamp = begin["stamp"]
    if stamp and stamp[:6] != f"{year}{month:02d}":
        raise WeatherError(
            f"report {_short(report)!r}: its stamp {stamp} is not of {year}-{month:02d}; "
            "give the reports of each month by themselves"
        )
    try:
        return datetime(year, month, int(begin["day"]), int(begin["hour"]), int(begin["minute"]), tzinfo=UTC)
    except ValueError as error:
        days = calendar.monthrange(year, month)[1]
        raise WeatherError(
            f"report {_short(report)!r}: day {begin['day']}, {begin['hour']}:{begin['minute']} UTC cannot be in "
            f"{year}-{month:02d}, which has {days} days of 24 hours; check the month given with the report"
        ) from error


def _observation(report: str, time: datetime, elevation_m: float | None) -> Observation:
    where = f"report {_short(report)!r}"
    decoded = _decode(re.sub(r"^\d{10,12}\s+", "", report), time, where)
    observed = NOT_OBSERVED.split(report + " ", maxsplit=1)[0] + " "

    if decoded.temp is None or decoded.dewpt is None:
        raise WeatherError(
            f"{where}: no {'temperature' if decoded.temp is None else 'dew point'} in it (a group like 18/09); "
            "take the report before or after"
        )
    # Adding 0.0 makes plain zero of the -0.0 that M00 decodes to.
    temperature_c, dew_point_c = decoded.temp.value("C") + 0.0, decoded.dewpt.value("C") + 0.0
    step_c = 0.1 if TENTHS.search(report) else 1.0

    altimeter_pa, step_pa = _altimeter_pa(observed, where)
    if elevation_m is None:
        raise WeatherError(
            f"{where}: its pressure is an altimeter setting (QNH), which holds for sea level; give elevation_m, "
            "the height of the course above sea level in metres"
        )
    try:
        pressure_pa = float(station_pressure_pa(altimeter_pa=altimeter_pa, elevation_m=elevation_m))
        one_step_up = float(station_pressure_pa(altimeter_pa=altimeter_pa + step_pa, elevation_m=elevation_m))
        humidity = float(
            relative_humidity_from_dew_point(
                temperature_c=temperature_c, dew_point_c=dew_point_c, pressure_pa=pressure_pa
            )
        )
    except OutOfRangeError as error:
        raise WeatherError(f"{where}: {error}") from error

    wind_speed_m_s, wind_from_deg = _wind(decoded, observed, where)
    relative = math.hypot(_vapour_slope_per_k(temperature_c), _vapour_slope_per_k(dew_point_c)) * step_c * STEP_SD
    return Observation(
        time=time,
        temperature_c=temperature_c,
        pressure_pa=pressure_pa,
        relative_humidity=humidity,
        wind_speed_m_s=wind_speed_m_s,
        wind_from_deg=wind_from_deg,
        wind_height_m=10.0,
        temperature_sd_c=step_c * STEP_SD,
        pressure_sd_pa=(one_step_up - pressure_pa) * STEP_SD,
        relative_humidity_sd=humidity * relative,
        source=where,
    )


def _decode(report: str, time: datetime, where: str) -> Metar:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # the leftovers are judged below
        decoded = Metar(report, month=time.month, year=time.year, strict=False)
    for group in decoded._unparsed_groups:
        if MATTERS.match(group):
            raise WeatherError(f"{where}: the group {group!r} cannot be read; correct it or take another report")
    return decoded


def _altimeter_pa(observed: str, where: str) -> tuple[float, float]:
    """Altimeter setting with half a step added, and the step it was cut to [Pa]."""
    if inches := INCHES.search(observed):  # first, as the finer one where both are given
        return (int(inches[1]) + 0.5) / 100.0 * INCH_OF_MERCURY_PA, 0.01 * INCH_OF_MERCURY_PA
    if hectopascal := HECTOPASCAL.search(observed):
        return (int(hectopascal[1]) + 0.5) * 100.0, 100.0
    raise WeatherError(f"{where}: no pressure in it (a group like Q1021 or A3015); take the report before or after")


def _wind(decoded: Metar, observed: str, where: str) -> tuple[float | None, float | None]:
    if decoded.wind_speed is None:
        return None, None
    group = WIND.search(observed)
    if group is None or group["unit"] is None:
        raise WeatherError(f"{where}: its wind has no unit; add KT, MPS or KMH to the group, like 24005KT")
    direction = None if decoded.wind_dir is None else float(decoded.wind_dir.value())
    return float(decoded.wind_speed.value("MPS")), direction


def _vapour_slope_per_k(temperature_c: float) -> float:
    """Relative change of the saturation vapour pressure per kelvin."""
    low, high = (float(saturation_vapour_pressure_pa(temperature_c=temperature_c + step)) for step in (-0.05, 0.05))
    return math.log(high / low) / 0.1


def _short(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= 60 else flat[:57] + "..."
