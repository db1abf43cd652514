"""Run sheets over simulated rides, brought together without files, for tests of the whole path."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

import fieldaero as fa
from fieldaero.answers.result import Result
from fieldaero.estimate.session import Session, session_of
from fieldaero.rides.ride import LapMark, Ride
from fieldaero.run_sheet.sheet import RunSheet, run_sheet_from_text
from fieldaero.run_sheet.toml_text import toml_text
from fieldaero.simulator import SimulatedSession
from fieldaero.simulator.sample_folder import SAMPLE_SHEET, sample_folder
from tests.simulator.sessions import ORDER, session

START = datetime(2026, 5, 3, 7, 0, tzinfo=UTC)  # when the simulated rides start
LAPS = ("-", *ORDER, "-")
AIR = {"time": START, "temperature_c": 18.0, "pressure_hpa": 1012.0, "relative_humidity_pct": 60.0}
SYSTEM = {
    "mass_kg": 84.0,
    "crr": 0.0045,
    "crr_sd": 0.0005,
    "wheel_inertia_kg_m2": 0.14,
    "wheel_circumference_m": 2.105,
    "power_at": "crank",
}


def sheet_text(*, rides=({},), weather=(AIR,), **tables) -> str:
    """A run sheet as text; a ride is its file ride1.csv and so on with four laps by the button, unless changed."""
    usual = {"lap_source": "button", "laps": LAPS}
    content = {
        "schema": 1,
        "title": "A cover or none",
        "baseline": "bare",
        "system": SYSTEM,
        "weather": list(weather),
        "setups": [{"name": "bare"}, {"name": "faired"}],
        "rides": [{"file": f"ride{k}.csv", **usual, **ride} for k, ride in enumerate(rides, start=1)],
    }
    return toml_text(content | tables)


def sheet(**changes) -> RunSheet:
    return run_sheet_from_text(sheet_text(**changes), path=Path("test.toml"))


def brought_together(*rides: Ride, **changes) -> Session:
    """The session of these rides, with the usual run sheet unless changed."""
    named = [replace(ride, source=replace(ride.source, file=f"ride{k}.csv")) for k, ride in enumerate(rides, start=1)]
    return session_of(sheet(**({"rides": ({},) * len(rides)} | changes)), named)


@cache
def usual() -> tuple[SimulatedSession, Session]:
    """Four laps of a loop in still air by perfect sensors, and what was made of it."""
    made = session()
    return made, brought_together(made.ride)


def with_columns(ride: Ride, **columns) -> Ride:
    """The ride with other values in some columns."""
    return replace(ride, table=ride.table.assign(**columns).astype(np.float64))


def without(ride: Ride, start_s: float, end_s: float) -> Ride:
    """The ride as if the device had recorded nothing between two moments."""
    t = ride.table["time_s"]
    return replace(ride, table=ride.table[(t <= start_s) | (t >= end_s)].reset_index(drop=True))


def cut(ride: Ride, start_s: float, end_s: float) -> Ride:
    """One part of a ride as a ride of its own, with a clock and a wheel counter of its own."""
    t = ride.table["time_s"]
    table: pd.DataFrame = ride.table[(t >= start_s) & (t <= end_s)].reset_index(drop=True)
    first = float(table["time_s"].iloc[0])
    last = float(table["time_s"].iloc[-1])
    marks = [
        LapMark(start_s=max(m.start_s, first) - first, end_s=min(m.end_s, last) - first, trigger=m.trigger)
        for m in ride.lap_marks
        if m.start_s < last and m.end_s > first
    ]
    table["time_s"] -= first
    table["distance_m"] -= table["distance_m"].iloc[0]
    return replace(ride, table=table, start_time=ride.clock(first), lap_marks=tuple(marks))


@cache
def sample_result() -> Result:
    """The sample session, analysed once."""
    return fa.analyse(sample_folder() / SAMPLE_SHEET)
