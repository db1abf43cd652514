"""Rides made for the tests: a road in local metres in the middle of an ocean, ridden by Newton's law.

The road is drawn as a line of points; the rider is stepped along it with the forces
of drag, rolling, gravity and brakes, and what a bicycle computer would have recorded
is written down once a second.  Independent of the code under test: own earth, own
force balance.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pandas as pd

from fieldaero.rides.ride import COLUMNS, LapMark, Pause, Ride, RideSource

EARTH_RADIUS_M = 6_371_000.0
OCEAN = (-28.0, -122.0)
MASS_KG, CDA_M2, CRR, AIR_DENSITY = 84.0, 0.30, 0.005, 1.2
SOURCE = RideSource(file="made.csv", format="CSV", sha256="")


def loop(length_m: float) -> np.ndarray:
    """A closed bend of that length without any symmetry, from its start back to it, (n, 2) east and north."""
    angle = np.linspace(0.0, 2.0 * math.pi, 4001)
    radius = 1.0 + 0.25 * np.cos(angle + 0.7) + 0.12 * np.sin(2.0 * angle)
    xy = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    return (xy - xy[0]) * length_m / path_length_m(xy)


def there_and_back(road_m: float, aside_m: float = 4.0) -> np.ndarray:
    """A slightly bent road out to its end, a tight turn, the other side back, and the turn at home."""
    s = np.linspace(0.0, road_m, 800)
    bend = 0.05 * road_m * np.sin(2.5 * s / road_m)
    out = np.column_stack([s, bend])
    half = np.column_stack([s, bend + aside_m])
    turn = np.linspace(-math.pi / 2.0, math.pi / 2.0, 12)[1:-1]
    radius = aside_m / 2.0
    far = out[-1] + [0.0, radius] + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    home = out[0] + [0.0, radius] - radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.vstack([out, far, half[::-1], home, out[:1]])


def path_length_m(xy: np.ndarray) -> float:
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def straight_to(xy: np.ndarray, length_m: float) -> np.ndarray:
    """A straight approach that runs into the first point of a line."""
    way = (xy[1] - xy[0]) / np.hypot(*(xy[1] - xy[0]))
    return xy[0] - way * np.linspace(length_m, 0.0, max(2, int(length_m / 5)))[:, None]


def straight_from(xy: np.ndarray, length_m: float) -> np.ndarray:
    """A straight way on from the last point of a line."""
    return straight_to(xy[::-1], length_m)[::-1]


def turned(xy: np.ndarray, by_deg: float) -> np.ndarray:
    """The road turned clockwise."""
    a = math.radians(by_deg)
    return xy @ np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])


@dataclass
class Rider:
    """How the road is ridden; positions in metres along the whole way."""

    power_w: Callable[[float, float], float] = lambda s, t: 240.0  # of position and time
    height_m: Callable[[np.ndarray], np.ndarray] = lambda s: 0.0 * np.asarray(s)
    brakes: list[tuple[float, float, float]] = field(default_factory=list)  # from, until speed, deceleration
    stops: list[tuple[float, float]] = field(default_factory=list)  # where, how long
    wind_m_s: float = 0.0  # against the rider
    gusts_m_s: float = 0.0  # sd about it, each lasting some 5 s
    start_speed_m_s: float = 9.0


@dataclass
class Noise:
    """Errors of the instruments."""

    seed: int = 0
    position_m: float = 0.0
    position_time_s: float = 60.0
    speed_m_s: float = 0.0
    power_share: float = 0.0
    wheel_scale: float = 1.0


def ridden(way_m: float, rider: Rider) -> dict[str, np.ndarray]:
    """Step the rider along the way; position, speed and power once a second."""
    dt, g = 0.1, 9.80665
    rng, gust, keep = np.random.default_rng(11), 0.0, math.exp(-0.1 / 5.0)
    s, v, t, waiting = 0.0, rider.start_speed_m_s, 0.0, 0.0
    stops, brakes = list(rider.stops), list(rider.brakes)
    braking: tuple[float, float] | None = None
    rows: list[tuple[float, float, float, float]] = []
    sums, k = 0.0, 0
    while s < way_m and t < 40_000.0:
        if k % 10 == 0:
            rows.append((t, s, v, sums / 10.0))
            sums = 0.0
        k += 1
        t += dt
        if waiting > 0.0:
            waiting = max(waiting - dt, 0.0)
            v = 0.0 if waiting else 0.5
            continue
        power = float(rider.power_w(s, t))
        slope = float(rider.height_m(np.array(s + 1.0)) - rider.height_m(np.array(s - 1.0))) / 2.0
        gust = keep * gust + math.sqrt(1.0 - keep * keep) * float(rng.normal()) if rider.gusts_m_s else 0.0
        air = v + rider.wind_m_s + rider.gusts_m_s * gust
        force = -0.5 * AIR_DENSITY * CDA_M2 * air * abs(air) - CRR * MASS_KG * g - MASS_KG * g * slope
        if brakes and s >= brakes[0][0]:
            braking = brakes.pop(0)[1:]
        if stops and s >= stops[0][0] - v * v / 4.0:
            braking = (0.0, 2.0)
        if braking is not None:
            power = 0.0
            force -= MASS_KG * braking[1]
            if v <= braking[0] + 0.4:
                if braking[0] == 0.0:
                    waiting, v = stops.pop(0)[1], 0.0
                braking = None
        v = max(v + dt * (force + 0.976 * power / max(v, 2.0)) / MASS_KG, 0.0 if waiting > 0.0 else 0.3)
        if waiting <= 0.0:
            s += v * dt
        sums += power
    t_s, s_m, v_m_s, p_w = np.array(rows).T
    return {"time_s": t_s, "way_m": s_m, "speed_m_s": v_m_s, "power_w": p_w}


def recorded(
    xy: np.ndarray,
    run: dict[str, np.ndarray],
    *,
    rider: Rider | None = None,
    noise: Noise | None = None,
    marks_s: list[float] | None = None,
    origin: tuple[float, float] = OCEAN,
    positions: bool = True,
    pauses: tuple[Pause, ...] = (),
    start_time_s: float = 0.0,
) -> Ride:
    """What the bicycle computer wrote down; marks_s are presses of the lap button."""
    noise = noise or Noise()
    rng = np.random.default_rng(noise.seed)
    n = len(run["time_s"])
    table = pd.DataFrame({name: np.full(n, np.nan) for name in COLUMNS})
    table["time_s"] = np.round(run["time_s"], 3) + start_time_s
    table["speed_m_s"] = np.maximum(noise.wheel_scale * run["speed_m_s"] + rng.normal(0.0, noise.speed_m_s, n), 0.0)
    table["power_w"] = np.round(run["power_w"] * (1.0 + rng.normal(0.0, noise.power_share, n)))
    table["distance_m"] = np.round(noise.wheel_scale * run["way_m"], 2)
    table["cadence_rpm"] = np.where(run["power_w"] > 0.0, 88.0, 0.0)
    if rider is not None:
        table["altitude_m"] = np.round(5.0 * (100.0 + rider.height_m(run["way_m"]))) / 5.0
    if positions:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        east, north = (np.interp(run["way_m"], along, xy[:, k]) + wandering_m(rng, n, noise) for k in (0, 1))
        table["latitude_deg"] = origin[0] + np.degrees(north / EARTH_RADIUS_M)
        east_deg = np.degrees(east / (EARTH_RADIUS_M * math.cos(math.radians(origin[0]))))
        table["longitude_deg"] = (origin[1] + east_deg + 180.0) % 360.0 - 180.0
    edges = [table["time_s"].iloc[0], *[m + start_time_s for m in marks_s or []], table["time_s"].iloc[-1]]
    marks = [LapMark(start_s=a, end_s=b, trigger="manual") for a, b in pairwise(edges)]
    return Ride(
        table=table,
        source=SOURCE,
        start_time=datetime(2030, 6, 2, 9, 0, tzinfo=UTC),
        lap_marks=tuple(marks) if marks_s is not None else (),
        pauses=pauses,
    )


def wandering_m(rng: np.random.Generator, n: int, noise: Noise) -> np.ndarray:
    """Slowly wandering position error, one coordinate, stationary with that sd."""
    keep = math.exp(-1.0 / noise.position_time_s)
    steps = rng.normal(0.0, 1.0, n)
    error = np.empty(n)
    error[0] = steps[0]
    for k in range(1, n):
        error[k] = keep * error[k - 1] + math.sqrt(1.0 - keep * keep) * steps[k]
    return noise.position_m * error


def when_at_s(run: dict[str, np.ndarray], way_m: np.ndarray | list[float]) -> np.ndarray:
    """True moments at which places on the way were reached."""
    return np.interp(way_m, run["way_m"], run["time_s"])
