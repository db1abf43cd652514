"""A simulated session as files: ride, run sheet and truth in a folder, all of them or none."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Literal

from fieldaero.basics.errors import FieldaeroError, RunSheetError
from fieldaero.basics.output_files import write_files
from fieldaero.physics.wind import wind_at_height_m_s
from fieldaero.rides import write_csv
from fieldaero.run_sheet.schema import NOT_USED, SCHEMA
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.simulator.course_shape import CourseShape
from fieldaero.simulator.fit_file import write_fit
from fieldaero.simulator.scenario import Scenario
from fieldaero.simulator.session import simulate_session
from fieldaero.simulator.wind import Wind

__all__ = ["GUST_SHARE", "SLOW_SHARE", "mirrored_order", "run_sheet_of", "scenario_of", "write_session"]

SLOW_SHARE, GUST_SHARE = 0.25, 0.25  # of the mean wind at the rider's height; common practice, no source
SHEET = "runsheet.toml"
TRUTH = "truth.json"


def mirrored_order(names: tuple[str, ...], laps: int) -> tuple[str, ...]:
    """Order of so many laps: the setups forwards, then backwards, and so on (A B B A A B B A).

    Examples
    --------
    >>> mirrored_order(("A", "B"), 6)
    ('A', 'B', 'B', 'A', 'A', 'B')
    """
    block = names + names[::-1]
    return tuple(block[k % len(block)] for k in range(laps))


def scenario_of(
    *,
    setups: Mapping[str, float],
    laps: int,
    lap_length_m: float,
    wind_m_s: float,
    wind_from_deg: float,
    power_w: float,
) -> Scenario:
    """Return an everyday scenario: an oval, mirrored order, wind at the rider's height with its usual changes.

    A number outside what the simulator can ride is a RunSheetError.
    """
    for name, value, low, high, unit in (
        ("the number of laps", laps, 1, 200, ""),
        ("the lap length", lap_length_m, 200.0, 50_000.0, " m"),
        ("the wind", wind_m_s, 0.0, 12.0, " m/s"),
        ("the power", power_w, 60.0, 800.0, " W"),
    ):
        if not low <= value <= high:
            raise RunSheetError(f"{name} is {value:g}{unit}; allowed is {low:g} to {high:g}{unit}")
    for name, cda in setups.items():
        if not 0.1 <= cda <= 1.0:
            raise RunSheetError(f'setup "{name}": a drag area of {cda:g} m2; allowed is 0.1 to 1 m2')
    return Scenario(
        setups=setups,
        order=(NOT_USED, *mirrored_order(tuple(setups), laps), NOT_USED),
        course=CourseShape(length_m=lap_length_m),
        wind=Wind(
            speed_m_s=wind_m_s,
            from_deg=wind_from_deg,
            slow_sd_m_s=SLOW_SHARE * wind_m_s,
            gust_sd_m_s=GUST_SHARE * wind_m_s,
        ),
        power_w=power_w,
    )


def write_session(
    scenario: Scenario, folder: str | os.PathLike[str], *, seed: int, file_format: Literal["fit", "csv"] = "fit"
) -> tuple[Path, ...]:
    """Simulate a session and write ride, run sheet and truth.json into a folder.

    A file of one of these names that is there already is an error: it may be somebody's run sheet.
    """
    name = f"ride.{file_format}"
    for taken in (Path(folder, file) for file in (name, SHEET, TRUTH)):
        if taken.exists() or taken.is_symlink():
            raise FieldaeroError(f"{taken}: is there already and was left as it is; name another folder")
    made = simulate_session(scenario, seed=seed)
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch, name)
        if file_format == "fit":
            write_fit(made.ride, path)
        else:
            write_csv(made.ride, path)
        ride = path.read_bytes()
    return write_files(
        {
            name: ride,
            SHEET: toml_text(run_sheet_of(scenario, name, ridden_s=float(made.ride.time_s[-1]))).encode(),
            TRUTH: (json.dumps(made.truth.to_dict(), indent=2) + "\n").encode(),
        },
        folder,
    )


def run_sheet_of(scenario: Scenario, ride: str, *, ridden_s: float = 0.0) -> dict[str, object]:
    """Return the tables of a run sheet that fits a scenario and names a ride.

    Its weather is the scenario's mean, as a station would report it, at the start and every hour of ``ridden_s``.
    """
    system, wind = scenario.system, scenario.wind
    per_m_s = float(wind_at_height_m_s(wind_speed_m_s=1.0, measured_height_m=10.0))
    hours = range(int(ridden_s // 3600.0) + 1)
    return {
        "schema": SCHEMA,
        "title": "Simulated session (invented data)",
        "baseline": next(iter(scenario.setups)),
        "system": {
            "mass_kg": system.mass_kg,
            "wheel_inertia_kg_m2": system.wheel_inertia_kg_m2,
            "wheel_circumference_m": system.wheel_circumference_m,
            "power_at": system.power_at,
            "crr": system.crr,
            "crr_sd": system.crr_sd,
        },
        "weather": [
            {
                "time": scenario.start_time + timedelta(hours=hour),
                "temperature_c": scenario.temperature_c,
                "pressure_hpa": scenario.pressure_hpa,
                "relative_humidity_pct": 100.0 * scenario.relative_humidity,
                "wind_speed_m_s": round(wind.speed_m_s / per_m_s, 2),
                "wind_from_deg": wind.from_deg,
                "wind_height_m": 10.0,
            }
            for hour in hours
        ],
        "setups": [{"name": name} for name in scenario.setups],
        "rides": [{"file": ride, "lap_source": "button", "laps": [NOT_USED, *scenario.order, NOT_USED]}],
    }
