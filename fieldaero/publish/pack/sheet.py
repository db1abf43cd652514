"""The run sheet of a pack: the same test, its rides and photographs named as they lie in the pack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fieldaero.answers.cross_checks.tunnel_sweep import Sweep, read_sweeps
from fieldaero.answers.race.profile import course_from_file, course_numbers
from fieldaero.laps.start_line import StartLine
from fieldaero.publish.pack.rides import Disguise
from fieldaero.run_sheet.sheet import RunSheet
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.weather.observation import Observation

__all__ = ["packed_sheet"]

PCT_DIGITS = 12  # 100 times a fraction that was made of per cent should be what it was


def packed_sheet(
    sheet: RunSheet,
    *,
    rides: Sequence[str],
    photos: Mapping[str, Sequence[str]],
    observations: Sequence[Observation],
    disguise: Disguise | None,
    latitude_deg: float | None,
) -> str:
    """Return the run sheet's text.

    Weather is given as readings, because a report would name its station.  ``latitude_deg`` is for gravity; in a
    disguise it is rounded to whole degrees.
    """
    table: dict[str, Any] = sheet.table.model_dump(by_alias=True, exclude_unset=True)
    for entry, ride, name in zip(table["rides"], sheet.rides, rides, strict=True):
        entry["file"] = name
        if disguise is not None and ride.start_line is not None:
            entry["start_line"] = _line(ride.start_line, disguise)
    for setup in table["setups"]:
        if "photos" in setup:
            setup["photos"] = list(photos.get(setup["name"], ()))
    table["weather"] = [_reading(one, disguise) for one in observations]
    course = table.setdefault("course", {})
    if latitude_deg is not None:
        course["latitude_deg"] = float(round(latitude_deg)) if disguise is not None else latitude_deg
    if table.get("tunnel"):
        table["tunnel"] = [
            _sweep(entry, points) for entry, points in zip(table["tunnel"], read_sweeps(sheet), strict=True)
        ]
    if table.get("races"):
        table["races"] = [_race(entry, sheet) for entry in table["races"]]
    return toml_text(table)


def _line(line: StartLine, disguise: Disguise) -> dict[str, float]:
    if disguise.frame is None:
        return {"east_m": 0.0, "north_m": 0.0, "heading_deg": line.heading_deg}
    east, north = disguise.metres(line.latitude_deg, line.longitude_deg)
    return {"east_m": float(east), "north_m": float(north), "heading_deg": line.heading_deg}


def _reading(one: Observation, disguise: Disguise | None) -> dict[str, Any]:
    time = one.time if disguise is None else disguise.moment(one.time)
    return {
        "time": time,
        "temperature_c": one.temperature_c,
        "pressure_hpa": one.pressure_pa / 100.0,
        "relative_humidity_pct": round(100.0 * one.relative_humidity, PCT_DIGITS),
        "wind_speed_m_s": one.wind_speed_m_s,
        "wind_from_deg": one.wind_from_deg,
        "wind_height_m": one.wind_height_m if one.wind_speed_m_s is not None else None,
        "temperature_sd_c": one.temperature_sd_c,
        "pressure_sd_hpa": one.pressure_sd_pa / 100.0,
        "relative_humidity_sd_pct": round(100.0 * one.relative_humidity_sd, PCT_DIGITS),
    }


def _sweep(entry: dict[str, Any], points: Sweep) -> dict[str, Any]:
    if entry.get("file") is None:
        return entry
    kept = {key: value for key, value in entry.items() if key not in ("file", "sd_m2")}
    return {
        **kept,
        "yaw_deg": [float(x) for x in points.yaw_deg],
        "cda_m2": [float(x) for x in points.cda_m2],
        "sd_m2": [float(x) for x in points.sd_m2] if points.sd_stated else None,
    }


def _race(entry: dict[str, Any], sheet: RunSheet) -> dict[str, Any]:
    """Give a course as numbers: its file would say where it is."""
    if entry.get("file") is None:
        return entry
    kept = {key: value for key, value in entry.items() if key != "file"}
    return {**kept, **course_numbers(course_from_file(sheet.path.parent / entry["file"]))}
