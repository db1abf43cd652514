"""Sessions that several tests look at, simulated once."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from fieldaero.laps.start_line import StartLine
from fieldaero.physics.earth import LocalFrame
from fieldaero.rides.ride import Ride
from fieldaero.simulator import CourseShape, Scenario, Sensors, SimulatedSession, simulate_session

ORDER = ("bare", "faired", "faired", "bare")
LOOP = CourseShape(length_m=2400.0)
OUT_AND_BACK = CourseShape(shape="out_and_back", length_m=2600.0)
ONE_WAY = CourseShape(shape="one_way", length_m=2000.0, rise_m=6.0)
LEVEL = CourseShape(length_m=2400.0, height_m=0.0)


def scenario(**changes) -> Scenario:
    """Four laps in still air by perfect sensors, unless changed."""
    usual = {"order": ORDER, "course": LOOP, "sensors": Sensors.perfect()}
    return Scenario(setups={"bare": 0.262, "faired": 0.248}, **(usual | changes))


@cache
def session(*, seed: int = 5, **changes) -> SimulatedSession:
    return simulate_session(scenario(**changes), seed=seed)


def headings_deg(ride: Ride) -> np.ndarray:
    lat, lon = ride.column("latitude_deg"), ride.column("longitude_deg")
    east, north = LocalFrame(latitude_deg=float(lat[0]), longitude_deg=float(lon[0])).to_metres(lat, lon)
    return np.degrees(np.arctan2(np.gradient(east), np.gradient(north))) % 360.0


def start_line(made: SimulatedSession) -> StartLine:
    """Where a ride without position error first passes the line."""
    ride, at = made.ride, made.truth.crossing_s[0]
    lat, lon = (float(np.interp(at, ride.time_s, ride.column(f"{name}_deg"))) for name in ("latitude", "longitude"))
    way = np.radians(headings_deg(ride))
    east, north = (float(np.interp(at, ride.time_s, part)) for part in (np.sin(way), np.cos(way)))
    return StartLine(latitude_deg=lat, longitude_deg=lon, heading_deg=math.degrees(math.atan2(east, north)) % 360.0)
