"""Simulated sessions written to folders, with run sheet and ride changed at will, for tests of the whole analysis."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.simulator import Scenario
from fieldaero.simulator.session_files import scenario_of, write_session

SHEET = "runsheet.toml"
Sheet = dict[str, Any]


def scenario(*, laps: int = 4, setups=None, lap_length_m: float = 1200.0, wind_m_s: float = 0.5, **changes) -> Scenario:
    """Two setups 0.010 m2 apart in light wind, in mirrored order between a lap to warm up and one to cool down."""
    usual = scenario_of(
        setups=setups or {"road bar": 0.250, "aero bar": 0.240},
        laps=laps,
        lap_length_m=lap_length_m,
        wind_m_s=wind_m_s,
        wind_from_deg=200.0,
        power_w=220.0,
    )
    return replace(usual, **changes)


def written(
    folder: Path,
    made_of: Scenario,
    *,
    seed: int = 3,
    edit: Callable[[Sheet], None] | None = None,
    spoil: Callable[[pd.DataFrame], pd.DataFrame] | None = None,
) -> Path:
    """Write a session as CSV, change its run sheet and its ride, and return the path of the run sheet."""
    write_session(made_of, folder, seed=seed, file_format="csv")
    sheet, ride = folder / SHEET, folder / "ride.csv"
    if edit is not None:
        content = tomllib.loads(sheet.read_text(encoding="utf-8"))
        edit(content)
        sheet.write_text(toml_text(content), encoding="utf-8")
    if spoil is not None:
        spoil(pd.read_csv(ride)).to_csv(ride, index=False)
    return sheet


def without_wind(sheet: Sheet) -> None:
    """Take the wind out of the weather."""
    for entry in sheet["weather"]:
        for key in ("wind_speed_m_s", "wind_from_deg", "wind_height_m"):
            del entry[key]


def later_from(ride: pd.DataFrame, row: int, seconds: float) -> pd.DataFrame:
    """The ride with nothing recorded for so long before a row."""
    time = pd.to_datetime(ride["timestamp"])
    time[row:] += pd.Timedelta(seconds=seconds)
    return ride.assign(timestamp=time.dt.strftime("%Y-%m-%dT%H:%M:%SZ"))


def held_at(ride: pd.DataFrame, row: int, seconds: int) -> pd.DataFrame:
    """The ride with one row recorded again every second for so long."""
    longer = pd.concat([ride[: row + 1], ride.loc[[row] * seconds], ride[row + 1 :]], ignore_index=True)
    clock = pd.to_datetime(ride["timestamp"])[0] + pd.to_timedelta(np.arange(len(longer)), unit="s")
    return longer.assign(timestamp=clock.strftime("%Y-%m-%dT%H:%M:%SZ"))


def halt_row(ride: pd.DataFrame) -> int:
    """A row in the middle of the first long halt after the start."""
    rows = np.flatnonzero((ride["speed_m_s"] == 0.0) & (np.arange(len(ride)) > 60))
    return int(rows[len(rows) // 2])
