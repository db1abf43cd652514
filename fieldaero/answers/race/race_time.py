"""Time over a course at a constant power, and the time that a difference of drag area makes there.

The equation of motion is integrated along the profile (:mod:`fieldaero.answers.race.motion`), so
that speeding up, rolling over a crest and slowing down on a climb count.  Corners are not ridden
slower; a highest speed may stand for them and for a rider who brakes downhill.  Density is that
at the start and falls with height as in the standard atmosphere (ISO 2533:1975).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fieldaero.answers.race.motion import Mover, RoadPieces, arrival, march, steady_speed_m_s
from fieldaero.answers.race.profile import CourseProfile
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.basics.quantities import Floats, within
from fieldaero.physics.atmosphere import standard_atmosphere
from fieldaero.physics.flat_road import LARGEST_CDA_M2, FlatRoad
from fieldaero.physics.road_power import crr_in_range, density_in_range, gravity_in_range
from fieldaero.physics.system import System
from fieldaero.physics.wind import wind_along_across, wind_east_north_m_s

__all__ = ["CourseRun", "Race", "race_runs"]

Start = Literal["rolling", "standing"]

LARGEST_POWER_W = 3000.0


@dataclass(frozen=True, kw_only=True)
class Race:
    """A course and how it is ridden.

    Attributes
    ----------
    road
        Rider and bike, rolling resistance, gravity, and density at the start.
    power_w
        At the meter, constant.
    wind_speed_m_s, wind_from_deg
        At the rider's height (:func:`fieldaero.physics.wind.wind_at_height_m_s` brings a
        station's wind there), the same all along the course.
    highest_speed_m_s
        At which the rider brakes or stops pedalling; never if not given.
    start
        "rolling" begins with the steady speed of the first piece, "standing" from rest at full power.
        Rolling unless said: it makes a flat course agree with L / v.  From rest 40 km at 250 W
        take 11 s longer, and of 46 s saved 0.3 s are not, since the first 200 m are about mass.
    """

    profile: CourseProfile
    road: FlatRoad
    power_w: float
    wind_speed_m_s: float = 0.0
    wind_from_deg: float | None = None
    highest_speed_m_s: float | None = None
    start: Start = "rolling"

    def __post_init__(self) -> None:
        if not 0.0 < self.power_w <= LARGEST_POWER_W:
            raise OutOfRangeError(
                f"power_w is {self.power_w:g}; allowed is above 0 and up to {LARGEST_POWER_W:g} W: give the rider's "
                "mean power"
            )
        road = self.road
        mass = road.system.mass_kg
        within(mass, quantity="mass_kg", low=20.0, high=500.0, hint="rider and bike together")
        density_in_range(road.air_density_kg_m3)
        gravity_in_range(road.gravity_m_s2)
        crr_in_range(road.crr)
        within(self.wind_speed_m_s, quantity="wind_speed_m_s", low=0.0, high=40.0, hint="give metres per second")
        given = (
            mass,
            road.air_density_kg_m3,
            road.gravity_m_s2,
            road.crr,
            self.wind_speed_m_s,
            self.wind_from_deg or 0.0,
        )
        if not np.all(np.isfinite([*given, road.system.efficiency, road.system.rotating_mass_kg])):
            raise OutOfRangeError(f"{self.profile.name}: a number that describes rider, air or wind is missing (NaN)")
        if self.highest_speed_m_s is not None:
            within(self.highest_speed_m_s, quantity="highest_speed_m_s", low=2.0, high=60.0, hint="72 km/h is 20 m/s")
        if self.start not in ("rolling", "standing"):
            raise OutOfRangeError(f"start is {self.start!r}; allowed is 'rolling' or 'standing'")
        if self.wind_speed_m_s > 0.0:
            if self.wind_from_deg is None:
                raise OutOfRangeError(
                    f"wind_speed_m_s is {self.wind_speed_m_s:g} but wind_from_deg is missing; say where the "
                    "wind comes from"
                )
            if not np.isfinite(self.profile.heading_deg).any():
                raise OutOfRangeError(
                    f"{self.profile.name}: no direction of travel is known, so a wind cannot be laid along it; leave "
                    "the wind out, or give a course with positions"
                )

    def pieces(self) -> RoadPieces:
        """Return the road in pieces, with the wind and the density on each."""
        profile = self.profile
        way = np.diff(profile.distance_m)
        along, across = np.zeros_like(way), np.zeros_like(way)
        if self.wind_speed_m_s > 0.0:
            east, north = wind_east_north_m_s(
                wind_speed_m_s=self.wind_speed_m_s,
                wind_from_deg=np.nan if self.wind_from_deg is None else self.wind_from_deg,
            )
            along, across = wind_along_across(
                wind_east_m_s=east, wind_north_m_s=north, heading_deg=_filled_deg(profile.heading_deg)
            )
        middle = (profile.height_m[1:] + profile.height_m[:-1]) / 2.0
        *_, density = standard_atmosphere(geopotential_height_m=np.concatenate([profile.height_m[:1], middle]))
        return RoadPieces(
            length_m=way,
            grade=profile.grade,
            wind_along_m_s=along,
            wind_across_m_s=across,
            air_density_kg_m3=self.road.air_density_kg_m3 * density[1:] / density[0],
        )


@dataclass(frozen=True, kw_only=True)
class CourseRun:
    """How a course is ridden with each of K drag areas.

    ``distance_m`` is since the start, shape (n,), with points closer where the speed changes; time and speed there have
    the shape (K, n).
    """

    distance_m: Floats
    time_s: Floats
    speed_m_s: Floats

    @property
    def total_s(self) -> Floats:
        """Time over the course, shape (K,)."""
        return np.asarray(self.time_s[:, -1])


def race_runs(races: list[Race], *, cda_m2: list[Floats]) -> list[CourseRun]:
    """Ride one course under several conditions, on the same points all along.

    Races are alike but for power, rider and air; ``cda_m2`` holds the drag areas of each, shape (K,).
    """
    roads = [race.pieces() for race in races]
    movers = [[_mover(race, float(cda)) for cda in areas] for race, areas in zip(races, cda_m2, strict=True)]

    def start(mover: Mover, road: RoadPieces) -> float:
        return 0.0 if races[0].start == "standing" else steady_speed_m_s(mover, road)

    # The one with most drag is the slowest and needs the closest points.
    first = max(movers[0], key=lambda mover: mover.cda_m2)
    index, length, guess = march(first, roads[0], start_m_s=start(first, roads[0]))
    distance = np.concatenate([[0.0], np.cumsum(length)])
    ridden = [(first.cda_m2, guess)]  # by the first race's movers
    runs = []
    for group, road in zip(movers, roads, strict=True):
        cells = road.cut(index, length)
        found = []
        for mover in group:
            _, like = min(ridden, key=lambda one: abs(one[0] - mover.cda_m2))
            found.append(arrival(mover, cells, start_m_s=start(mover, road), guess_m_s=like))
            if group is movers[0]:
                ridden.append((mover.cda_m2, found[-1][1]))
        time, speed = (np.stack(rows) for rows in zip(*found, strict=True))
        runs.append(CourseRun(distance_m=distance, time_s=time, speed_m_s=speed))
    return runs


def _mover(race: Race, cda_m2: float) -> Mover:
    if not 0.0 < cda_m2 <= LARGEST_CDA_M2:
        raise OutOfRangeError(f"drag area is {cda_m2:g} m2; allowed is above 0 and up to {LARGEST_CDA_M2:g} m2")
    system: System = race.road.system
    return Mover(
        wheel_power_w=system.efficiency * race.power_w,
        mass_kg=system.mass_kg,
        inertia_kg=system.mass_kg + system.rotating_mass_kg,
        cda_m2=cda_m2,
        crr=race.road.crr,
        gravity_m_s2=race.road.gravity_m_s2,
        highest_speed_m_s=float("inf") if race.highest_speed_m_s is None else race.highest_speed_m_s,
    )


def _filled_deg(heading_deg: Floats) -> Floats:
    """Headings, where unknown those of the nearest stretch before or after that has one."""
    known = np.flatnonzero(np.isfinite(heading_deg))
    after = np.clip(np.searchsorted(known, np.arange(len(heading_deg))), 1, max(1, len(known) - 1))
    if len(known) == 1:
        return np.full(heading_deg.shape, heading_deg[known[0]])
    at = np.arange(len(heading_deg))
    nearer = at - known[after - 1] <= known[after] - at
    return heading_deg[np.where(nearer, known[after - 1], known[after])]
