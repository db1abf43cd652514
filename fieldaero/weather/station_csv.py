"""Weather observations from a CSV file: one row per reading of a station beside the course.

Columns, in any order: time (ISO 8601 with zone), temperature_c, pressure_hpa (or
altimeter_hpa with elevation_m), relative_humidity_pct or dew_point_c; and where known
wind_speed_m_s, wind_from_deg, wind_height_m.  An empty cell is a missing reading.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from fieldaero.basics.errors import WeatherError
from fieldaero.basics.input_limits import HOW_TO_LIFT, beyond
from fieldaero.weather.observation import Observation, observation_from_readings

__all__ = ["WEATHER_COLUMNS", "is_weather_csv", "read_weather_csv", "weather_readings"]

Reading = dict[str, float | datetime]

LARGEST_BYTES = 5_000_000  # a reading every ten seconds for half a week

WEATHER_COLUMNS: tuple[str, ...] = (
    "time",
    "temperature_c",
    "pressure_hpa",
    "altimeter_hpa",
    "elevation_m",
    "relative_humidity_pct",
    "dew_point_c",
    "wind_speed_m_s",
    "wind_from_deg",
    "wind_height_m",
)
"""Columns a weather file may have."""


def read_weather_csv(path: str | os.PathLike[str]) -> list[Observation]:
    r"""Read weather observations from a CSV file: UTF-8, comma separated, decimal points, names in the first row.

    A WeatherError names file, row and column.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "station.csv")
    >>> _ = path.write_text("time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T09:00+02:00,18.2,968.4,9.5\n")
    >>> read_weather_csv(path)[0].pressure_pa
    96840.0
    """
    name = Path(path).name
    try:
        size_bytes = Path(path).stat().st_size
        content = b"" if beyond(size_bytes, LARGEST_BYTES) else Path(path).read_bytes()
    except OSError as error:
        reason = error.strerror or "unreadable"
        raise WeatherError(f"{name}: cannot be read ({reason}); check the path of the weather file") from error
    _check_size(size_bytes, name)
    return [_observation(reading, where) for where, reading in _readings(content, name)]


def weather_readings(content: bytes, *, name: str) -> list[Reading]:
    r"""Read the rows of a weather file as they stand there, for a table that people go on editing.

    Each row holds the cells that are filled, by the names of :data:`WEATHER_COLUMNS`. Rows are checked as by
    :func:`read_weather_csv`.

    Examples
    --------
    >>> weather_readings(b"time,temperature_c,pressure_hpa,dew_point_c\n2026-05-03T09:00Z,18.2,968.4,9.5\n",
    ...                  name="station.csv")[0]["pressure_hpa"]
    968.4
    """
    _check_size(len(content), name)
    found = []
    for where, reading in _readings(content, name):
        _observation(reading, where)
        found.append(reading)
    return found


def is_weather_csv(content: bytes) -> bool:
    r"""Tell a weather file from a ride by the column names in its first line.

    Examples
    --------
    >>> is_weather_csv(b"time,temperature_c,pressure_hpa\n"), is_weather_csv(b"time_s,power_w,temperature_c\n")
    (True, False)
    """
    header = content[:2000].decode("utf-8-sig", errors="replace").splitlines()[:1]
    columns = [cell.strip() for cell in header[0].split(",")] if header else []
    return {"time", "temperature_c"} <= set(columns) <= set(WEATHER_COLUMNS)


def _check_size(size_bytes: int, name: str) -> None:
    if beyond(size_bytes, LARGEST_BYTES):
        raise WeatherError(
            f"{name}: {size_bytes / 1e6:.0f} MB; weather files up to {LARGEST_BYTES / 1e6:.0f} MB are read. Keep the "
            f"hours of the test, or {HOW_TO_LIFT}"
        )


def _readings(content: bytes, name: str) -> Iterator[tuple[str, Reading]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WeatherError(f"{name}: not UTF-8 text; save it as CSV in UTF-8") from error
    if "\0" in text:
        raise WeatherError(f"{name}: holds zero bytes, so it is no text; save it as CSV in UTF-8")
    try:
        yield from _rows(text, name)
    except csv.Error as error:
        raise WeatherError(f"{name}: not readable as CSV ({error}); check quotes and delimiters") from error


def _rows(text: str, name: str) -> Iterator[tuple[str, Reading]]:
    rows = csv.reader(text.splitlines())
    header = [cell.strip() for cell in next(rows, [])]
    _check_header(header, name)
    empty = True
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        empty = False
        where = f"{name}, line {rows.line_num}"
        if len(row) != len(header):
            raise WeatherError(
                f"{where}: {len(row)} cells for {len(header)} columns; write decimals with a point, cells with a comma"
            )
        yield where, _reading(dict(zip(header, (cell.strip() for cell in row), strict=True)), where)
    if empty:
        raise WeatherError(f"{name}: no observations in it; write one per row below the column names")


def _check_header(header: list[str], name: str) -> None:
    allowed = f"allowed are {', '.join(WEATHER_COLUMNS)}"
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        raise WeatherError(f"{name}: the first line holds no comma; separate columns with commas; {allowed}")
    if unknown := [column for column in header if column not in WEATHER_COLUMNS]:
        raise WeatherError(f"{name}: unknown column {unknown[0]!r}; {allowed}")
    if twice := [column for column in WEATHER_COLUMNS if header.count(column) > 1]:
        raise WeatherError(f"{name}: column {twice[0]!r} appears twice; keep one")
    if missing := [column for column in ("time", "temperature_c") if column not in header]:
        raise WeatherError(f"{name}: column {missing[0]!r} is missing; {allowed}")


def _reading(cells: dict[str, str], where: str) -> Reading:
    reading: Reading = {}
    for column, cell in cells.items():
        if column == "time":
            reading["time"] = _time(cell, where)
        elif cell:
            try:
                reading[column] = float(cell)
            except ValueError as error:
                raise WeatherError(
                    f"{where}: {column} is {cell!r}; give a number like 18.2, or leave it empty"
                ) from error
    if "temperature_c" not in reading:
        raise WeatherError(f"{where}: temperature_c is empty; give the air temperature in degrees Celsius")
    return reading


def _observation(reading: Reading, where: str) -> Observation:
    time = reading["time"]
    numbers = {column: value for column, value in reading.items() if isinstance(value, float)}
    return observation_from_readings(time=time if isinstance(time, datetime) else None, source=where, **numbers)


def _time(cell: str, where: str) -> datetime:
    example = "give ISO 8601 with a zone, like 2026-05-03T07:10:00Z or 2026-05-03T09:10:00+02:00"
    try:
        time = datetime.fromisoformat(cell)
    except ValueError as error:
        raise WeatherError(f"{where}: time is {cell!r}; {example}") from error
    if time.tzinfo is None:
        raise WeatherError(f"{where}: time is {cell!r} without a time zone; {example}")
    return time
