"""What is fuzzed: per format a few small files to begin with, and the code that has to stand them.

A reader turns any exception of a decoder into a RideError that says "stops reading", so that
no traceback reaches anybody.  Here that counts as a fault all the same: a good error names
what is wrong with the file.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from fieldaero.basics.errors import FieldaeroError
from fieldaero.rides import read_ride_bytes
from fieldaero.run_sheet.sheet import run_sheet_from_text
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.weather.metar import parse_metar
from fieldaero.weather.station_csv import weather_readings
from tests.rides.formats.fit_files import activity, developed, lap, session, steady, timer
from tests.rides.formats.xml_files import gpx, tcx, tcx_lap, trackpoint, trkpt

__all__ = ["FORMATS", "Fault", "Format", "outcome", "real_seeds"]

REAL_CUT_BYTES = 3000


class Fault(Exception):
    """Something other than a result or a named error came out."""


@dataclass(frozen=True, kw_only=True)
class Format:
    """Small whole files of one format, and what reads them."""

    seeds: Callable[[], tuple[bytes, ...]]
    read: Callable[[bytes], object]
    text: bool


def outcome(name: str, data: bytes) -> str:
    """Read some bytes and return "result" or the class of a named error; raise Fault for anything else."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            FORMATS[name].read(data)
    except FieldaeroError as error:
        said = str(error)
        if "stops reading" in said or not said.strip():
            raise Fault(f"{type(error).__name__}: {said}") from error
        return type(error).__name__
    except Exception as error:
        raise Fault(f"{type(error).__name__}: {error}") from error
    return "result"


def _read_ride(data: bytes) -> None:
    ride = read_ride_bytes(data, name="ride", allow_indoor=True)
    t = ride.time_s
    if not (np.all(np.isfinite(t)) and np.all(np.diff(t) > 0.0)):
        raise Fault("time does not rise")
    infinite = [name for name in ride.table.columns if np.isinf(ride.column(name)).any()]
    if infinite:
        raise Fault(f"infinite values in {infinite}")
    ordered = [mark.start_s for mark in ride.lap_marks]
    if ordered != sorted(ordered) or not all(np.isfinite([(m.start_s, m.end_s) for m in ride.lap_marks]).ravel()):
        raise Fault("laps without order or end")


def _read_csv(data: bytes) -> None:
    if data.startswith(b"time,"):
        weather_readings(data, name="station.csv")
    else:
        _read_ride(data)


def _read_metar(data: bytes) -> None:
    for one in parse_metar(data.decode("utf-8", errors="replace"), year=2026, month=5, elevation_m=120.0):
        numbers = (one.temperature_c, one.pressure_pa, one.relative_humidity)
        if not np.all(np.isfinite(numbers)):
            raise Fault(f"not finite: {numbers}")


def _read_sheet(data: bytes) -> None:
    from fieldaero.basics.errors import RunSheetError

    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise RunSheetError("not UTF-8 text") from None
    sheet = run_sheet_from_text(text, path=Path("nowhere", "sheet.toml"))
    sheet.observations(date=datetime(2026, 5, 3, tzinfo=UTC))
    again = run_sheet_from_text(sheet.to_toml(), path=sheet.path)
    if again.table != sheet.table:
        raise Fault("does not come back from TOML as it was")


@cache
def _fit_seeds() -> tuple[bytes, ...]:
    laps = [lap(0, 6), lap(6, 5)]
    whole = activity(steady(range(12)), laps=laps, sessions=[session(0, 11)])
    gap = [*steady(range(5)), *steady(range(30, 35), power=None)]
    from fit_tool.profile.profile_type import EventType

    paused = activity(gap, events=[timer(0, EventType.START), timer(5, EventType.STOP_ALL)], laps_first=True, laps=laps)
    return whole, paused, developed(steady(range(8)), "Air Speed", "m/s", [9.5] * 8), whole + paused


@cache
def _tcx_seeds() -> tuple[bytes, ...]:
    points = ["".join(trackpoint(k) for k in range(4)), "".join(trackpoint(k, power="") for k in range(8, 10))]
    return (
        tcx([tcx_lap(0, points[:1], lasted=6.0), tcx_lap(8, points[1:], lasted=4.0)]).encode(),
        tcx([tcx_lap(0, points[1:])], space="", sport="Running").replace("UTF-8", "UTF-16").encode("utf-16"),
    )


@cache
def _gpx_seeds() -> tuple[bytes, ...]:
    power = "<extensions><power>210</power><x:cad xmlns:x='http://example.org/x'>88</x:cad></extensions>"
    return (
        gpx(["".join(trkpt(k, extra=power) for k in range(8)), "".join(trkpt(k) for k in range(20, 24))]).encode(),
        gpx(["".join(trkpt(k) for k in range(5))], space="").encode("utf-8-sig"),
    )


@cache
def _csv_seeds() -> tuple[bytes, ...]:
    rows = "".join(f"{k},{200 + k},{9.5 + k / 10},{10 * k},100.{k},{1 + k // 6}\n" for k in range(12))
    stamps = "".join(f"2026-05-03T07:10:{k:02d}Z;21{k % 10},5;36,{k % 10};-28,0;-122,000{k % 10}\n" for k in range(12))
    weather = "".join(f"2026-05-03T0{k}:00Z,1{k}.5,968.2,60,1.2,240,10\n" for k in range(5, 9))
    local = "".join(f"{k},200,{10 * k},0.{k}\n" for k in range(8))
    return (
        ("time_s,power_w,speed_m_s,distance_m,altitude_m,lap\n" + rows).encode(),
        ("timestamp;power_w;speed_km_h;latitude_deg;longitude_deg\n" + stamps).encode("utf-8-sig"),
        ("time_s,power_w,east_m,north_m\n" + local).encode("utf-16"),
        (
            "time,temperature_c,pressure_hpa,relative_humidity_pct,wind_speed_m_s,wind_from_deg,wind_height_m\n"
            + weather
        ).encode(),
    )


@cache
def _metar_seeds() -> tuple[bytes, ...]:
    return (
        b"METAR XXXX 030720Z 24005KT 9999 18/10 Q1021=",
        b"202605030753 KXXX 030753Z VRB03G15KT 10SM FEW025 17/M01 A3015 RMK AO2 SLP204 T01720011",
        b"SPECI XXXX 031200Z COR 00000MPS CAVOK M02/M05 Q0998 NOSIG=\nMETAR XXXX 031230Z 10003MPS M01/M05 Q0998=",
    )


@cache
def _sheet_seeds() -> tuple[bytes, ...]:
    from tests.rides.plain_rides import __file__ as beside

    sample = Path(beside).resolve().parents[2] / "sample_rides" / "bar-test.toml"
    wide = {
        "schema": 1,
        "title": "Two bars",
        "baseline": "stock bar",
        "system": {"mass_kg": 84.0, "crr": 0.0045, "crr_sd": 0.0007, "power_at": "pedal"},
        "analysis": {"smallest_difference_m2": 0.002, "report_speed_km_h": 45},
        "weather": [{"metar": "METAR XXXX 030720Z 24005KT 9999 18/10 Q1021=", "elevation_m": 120.0}],
        "setups": [{"name": "stock bar"}, {"name": "aero bar", "mass_change_kg": 0.2}],
        "rides": [
            {
                "file": "morning.fit",
                "lap_source": "line",
                "laps": ["stock bar", "aero bar", "-"],
                "start_line": {"latitude_deg": -28.0, "longitude_deg": -122.0, "heading_deg": 90.0},
            }
        ],
        "claims": [{"setup": "aero bar", "saves": 12.0, "unit": "s", "distance_km": 40, "power_w": 250}],
        "tunnel": [{"setup": "aero bar", "yaw_deg": [-5, 0, 5], "cda_m2": [0.25, 0.24, 0.25], "sd_m2": 0.001}],
    }
    return sample.read_bytes(), toml_text(wide).encode()


FORMATS: dict[str, Format] = {
    "fit": Format(seeds=_fit_seeds, read=_read_ride, text=False),
    "tcx": Format(seeds=_tcx_seeds, read=_read_ride, text=True),
    "gpx": Format(seeds=_gpx_seeds, read=_read_ride, text=True),
    "csv": Format(seeds=_csv_seeds, read=_read_csv, text=True),
    "metar": Format(seeds=_metar_seeds, read=_read_metar, text=True),
    "sheet": Format(seeds=_sheet_seeds, read=_read_sheet, text=True),
}


def real_seeds(name: str) -> tuple[bytes, ...]:
    """Beginnings of real files of a format, where there are any on this machine; none is part of the project."""
    beside = sorted(Path(__file__).resolve().parents[3].glob("*/rides/PROVENANCE.csv"))
    folder = Path(os.environ.get("FIELDAERO_REAL_RIDES") or (beside[0].parent if beside else "rides"))
    paths = sorted(folder.rglob(f"*.{name}")) if folder.is_dir() else []
    return tuple(path.read_bytes()[:REAL_CUT_BYTES] for path in paths)
