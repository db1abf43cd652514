"""Riding the course: the equation of motion, integrated in small steps of time.

The rider pushes, the bike answers: power is never derived from the motion, so it is never
negative and no energy disappears but under the brakes, whose work is kept.  Per step, with
the classical Runge-Kutta scheme,

    (m + I/r^2) dv/dt = eta P / v - 1/2 rho CdA V^2 s - Crr m g cos - m g sin - (b0 + b1 v) - brake
    ds/dt = v

Near standstill P / v grows without bound while the energy does not, so there the step is one
of kinetic energy, with speed linear in time.  Positions count from the first passage of the
start line; the way to it lies before 0.

Where a ride is not recorded in one go (a road ridden one way, or pauses between laps), it
consists of several passes, each with its own way to the line; the device counts no wheel
turns in between.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.basics.errors import CannotAnswerError
from fieldaero.basics.quantities import Floats
from fieldaero.physics.earth import normal_gravity_m_s2
from fieldaero.physics.moist_air import air_density_kg_m3
from fieldaero.physics.road_power import BEARING_N, BEARING_N_S_M
from fieldaero.simulator.course_shape import RUN_OUT_M, CourseTable
from fieldaero.simulator.rider import Rider
from fieldaero.simulator.scenario import Scenario
from fieldaero.simulator.wind import PassingWind

__all__ = ["Motion", "ride_course"]

Resistance = Callable[[float, float], float]

STEP_S = 0.25
STEPS_PER_S = round(1.0 / STEP_S)
ROLLING_START_M_S = 8.0
STANDSTILL_M_S = 2.0  # below it the step is one of energy
SLOWEST_RIDE_M_S = 3.0  # a ride that is slower on average is given up
SPARE_STEPS = 2000  # for brakings and a few halts
RETURN_M_S = 6.0  # back to the start of a road that is ridden one way


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What truly happened, by step: arrays of shape (n,) unless said otherwise.

    Attributes
    ----------
    position_m
        Along the course since the first start line, a lap's length per lap.
    wheel_m
        What an errorless wheel counted since the first sample.
    lap
        Which lap's setup is ridden, from 0; the way to the line belongs to the lap after it.
    power_w, brake_work_j
        Mean power at the meter and work of the brakes over the step that ends here.
    wind_m_s
        Where the air goes, east and north, over the step that begins here, shape (n, 2).
    air_speed_m_s
        Resultant air speed.
    braking
        Whether the brakes are on over the step that begins here.
    passes
        First and last index of each stretch without a break in the recording.
    lap_cda_m2
        Drag area of each lap at no yaw, without drift, shape (laps,).
    lap_start_s, lap_end_s
        Passages of the start and finish line, shape (laps,).
    braked_laps, stopped_laps
        Numbers, 1-based, of laps with a braking for traffic, or a halt.
    """

    time_s: Floats
    speed_m_s: Floats
    position_m: Floats
    wheel_m: Floats
    lap: NDArray[np.int_]
    power_w: Floats
    brake_work_j: Floats
    wind_m_s: Floats
    air_speed_m_s: Floats
    braking: NDArray[np.bool_]
    passes: tuple[tuple[int, int], ...]
    lap_cda_m2: Floats
    lap_start_s: Floats
    lap_end_s: Floats
    braked_laps: tuple[int, ...]
    stopped_laps: tuple[int, ...]
    air_density_kg_m3: float
    gravity_m_s2: float


def ride_course(scenario: Scenario, table: CourseTable, rng: np.random.Generator) -> Motion:
    """Ride all laps of a scenario; a rider with too little power for wind and hills raises CannotAnswerError."""
    course, laps = scenario.course, len(scenario.order)
    L = course.length_m
    lap_cda = np.array([scenario.setups.get(name, scenario.spare_cda_m2) for name in scenario.order])
    lap_cda = lap_cda + scenario.cda_lap_sd_m2 * rng.normal(size=laps)
    rider = Rider(scenario, step_s=STEP_S, rng=rng)
    spans = _spans(scenario)
    way = laps * L + scenario.lead_in_m + (len(spans) - 1) * (scenario.lead_in_m + RUN_OUT_M)
    most = int(way / SLOWEST_RIDE_M_S / STEP_S) + max(SPARE_STEPS, int(2.0 * rider.halts_s / STEP_S))
    noise = rng.normal(size=(most, 5))
    wind = PassingWind(scenario.wind, noise=noise[:, :4], step_s=STEP_S, rng=rng)
    wander = noise[:, 4].tolist()

    ride = _Ride(scenario, table, rider, wind, wander, lap_cda.tolist())
    for first, last in spans:
        if first > 0:
            pause = scenario.pause_between_laps_s
            if course.shape == "one_way":
                pause += math.ceil(L / RETURN_M_S)
            ride.take_up_again(pause, rng)
        ride.one_pass(first, last)
    return ride.motion()


def _spans(scenario: Scenario) -> list[tuple[int, int]]:
    """First and last lap (exclusive) of each pass."""
    laps = len(scenario.order)
    if scenario.course.shape == "one_way" or scenario.pause_between_laps_s > 0.0:
        return [(k, k + 1) for k in range(laps)]
    return [(0, laps)]


class _Ride:
    """The ride so far."""

    def __init__(
        self,
        scenario: Scenario,
        table: CourseTable,
        rider: Rider,
        wind: PassingWind,
        wander: list[float],
        lap_cda: list[float],
    ) -> None:
        self._scenario, self._rider, self._wind = scenario, rider, wind
        self._wander, self._lap_cda = wander, lap_cda
        self._road = _Road(table)
        system, course = scenario.system, scenario.course
        self._rho = float(
            air_density_kg_m3(
                temperature_c=scenario.temperature_c,
                pressure_pa=scenario.pressure_hpa * 100.0,
                relative_humidity=scenario.relative_humidity,
            )
        )
        self._g = float(normal_gravity_m_s2(latitude_deg=course.latitude_deg, height_m=0.0))
        self._inert_kg = system.mass_kg + system.rotating_mass_kg
        self._steps, self._offset_s = 0, 0.0
        self._rows: list[tuple[float, ...]] = []
        self._passes: list[tuple[int, int]] = []

    def take_up_again(self, pause_s: float, rng: np.random.Generator) -> None:
        """Go on after a break in the recording, at a whole second and in another wind."""
        self._steps += -self._steps % STEPS_PER_S
        self._offset_s += math.ceil(pause_s)
        self._wind.wait(math.ceil(pause_s), rng)

    def one_pass(self, first: int, last: int) -> None:
        """Ride from the way to the line of one lap to a little past the end of another."""
        scenario, road, rider, wind = self._scenario, self._road, self._rider, self._wind
        L, most, begun = scenario.course.length_m, len(self._wander), len(self._rows)
        s, v, P = first * L - scenario.lead_in_m, ROLLING_START_M_S, 0.0
        finish = last * L + RUN_OUT_M
        worked, braked = 0.0, 0.0
        while s < finish:
            n = self._steps
            if n >= most:
                raise CannotAnswerError(
                    f"the simulated rider has covered only {s:.0f} m of {finish:.0f} m after {n * STEP_S:.0f} s; "
                    "give more power, less wind or lower hills"
                )
            time = self._offset_s + n * STEP_S
            lap = min(max(int(s // L), first), last - 1)
            x = s - lap * L
            grade, east, north, calm = road.at(x)
            open_east, open_north = wind.now_m_s()
            we, wn = open_east * calm, open_north * calm
            cda = self._lap_cda[lap] + scenario.cda_drift_m2_per_h * time / 3600.0
            if n % STEPS_PER_S == 0:
                P = rider.power_of_second_w(position_m=s, speed_m_s=v, grade=grade, lap=lap, noise=self._wander[n])
            brake = rider.brake_m_s2(position_m=s, speed_m_s=v)
            u = v - (we * east + wn * north)
            air = math.hypot(u, wn * east - we * north)
            self._rows.append((time, s, v, lap, we, wn, air, worked, braked, brake))
            s, v, braked = self._step(s, lap * L, v, P, brake, self._resistance(cda, we, wn))
            worked = P
            wind.advance(n, u)
            self._steps += 1
        self._passes.append((begun, len(self._rows) - 1))

    def _resistance(self, cda: float, we: float, wn: float) -> Resistance:
        """Force against the rider [N] by speed and place in the lap, in a wind that goes that way."""
        table, system, rho, g = self._road, self._scenario.system, self._rho, self._g
        m, crr, per_yaw = system.mass_kg, system.crr, self._scenario.cda_per_yaw_deg2
        sqrt = math.sqrt

        def resistance(v: float, x: float) -> float:
            G, east, north = table.between(x)
            along, across = we * east + wn * north, wn * east - we * north
            u = v - along
            area = cda
            if per_yaw:
                yaw = math.degrees(math.atan2(across, u))
                area *= 1.0 + per_yaw * yaw * yaw
            drag = 0.5 * rho * area * (u * u + across * across) * (1.0 if u >= 0.0 else -1.0)
            return drag + m * g * (crr * sqrt(1.0 - G * G) + G) + BEARING_N + BEARING_N_S_M * v

        return resistance

    def _step(
        self, s: float, lap_m: float, v: float, P: float, brake: float, against: Resistance
    ) -> tuple[float, float, float]:
        """Position, speed and work of the brakes after one step."""
        M, wheel_power, h, x = self._inert_kg, self._scenario.system.efficiency * P, STEP_S, s - lap_m
        if v < STANDSTILL_M_S:
            return self._step_of_energy(s, x, v, wheel_power, brake, against)

        def pull(v: float, x: float) -> float:
            return (wheel_power / v - against(v, x)) / M - brake

        a1 = pull(v, x)
        v2 = v + a1 * h / 2.0
        a2 = pull(v2, x + v * h / 2.0)
        v3 = v + a2 * h / 2.0
        a3 = pull(v3, x + v2 * h / 2.0)
        v4 = v + a3 * h
        a4 = pull(v4, x + v3 * h)
        d = h * (v + 2.0 * v2 + 2.0 * v3 + v4) / 6.0
        return s + d, v + h * (a1 + 2.0 * a2 + 2.0 * a3 + a4) / 6.0, M * brake * d

    def _step_of_energy(
        self, s: float, x: float, v: float, wheel_power: float, brake: float, against: Resistance
    ) -> tuple[float, float, float]:
        M, h = self._inert_kg, STEP_S
        v1 = v
        for _ in range(30):  # each round brings the speed at the end of the step closer to its own cause
            d = 0.5 * (v + v1) * h
            gained = wheel_power * h - against(0.5 * (v + v1), x + 0.5 * d) * d
            v1, before = math.sqrt(max(v * v + 2.0 * (gained - M * brake * d) / M, 0.0)), v1
            if abs(v1 - before) < 1e-9:
                break
        d = 0.5 * (v + v1) * h
        # What is left over went into the brakes; without them it is the friction of a bike that stands.
        left = 0.5 * M * (v * v - v1 * v1) + wheel_power * h - against(0.5 * (v + v1), x + 0.5 * d) * d
        return s + d, v1, left if brake > 0.0 else 0.0

    def motion(self) -> Motion:
        """Return what happened."""
        rows, L, laps = np.array(self._rows), self._scenario.course.length_m, len(self._lap_cda)
        time, position, lap = rows[:, 0], rows[:, 1], rows[:, 3].astype(np.int_)
        start, end, wheel, counted = np.empty(laps), np.empty(laps), np.empty(len(time)), 0.0
        for a, b in self._passes:
            inside = slice(a, b + 1)
            ridden = np.arange(lap[a], lap[b] + 1)
            start[ridden] = np.interp(L * ridden, position[inside], time[inside])
            end[ridden] = np.interp(L * (ridden + 1), position[inside], time[inside])
            wheel[inside] = position[inside] - position[a] + counted
            counted = wheel[b]
        return Motion(
            time_s=time,
            speed_m_s=rows[:, 2],
            position_m=position,
            wheel_m=wheel,
            lap=lap,
            power_w=rows[:, 7],
            brake_work_j=rows[:, 8],
            wind_m_s=rows[:, 4:6],
            air_speed_m_s=rows[:, 6],
            braking=rows[:, 9] > 0.0,
            passes=tuple(self._passes),
            lap_cda_m2=np.array(self._lap_cda),
            lap_start_s=start,
            lap_end_s=end,
            braked_laps=self._rider.braked_laps,
            stopped_laps=self._rider.stopped_laps,
            air_density_kg_m3=self._rho,
            gravity_m_s2=self._g,
        )


class _Road:
    """The course table as lists, which a loop reads faster than arrays."""

    def __init__(self, table: CourseTable) -> None:
        self._grade, self._east, self._north, self._calm = (
            a.tolist() for a in (table.grade, table.heading_east, table.heading_north, table.shelter)
        )
        self._first_m = float(table.distance_m[0])
        self._per_m = (len(self._grade) - 1) / float(table.distance_m[-1] - table.distance_m[0])
        self._length_m = None if table.shape.shape == "one_way" else table.shape.length_m

    def _index(self, x: float) -> float:
        if self._length_m is not None:
            x %= self._length_m
        return min(max((x - self._first_m) * self._per_m, 0.0), len(self._grade) - 1.0)

    def at(self, x: float) -> tuple[float, float, float, float]:
        """Grade, heading east and north, and what is left of the wind, at the last point of the table."""
        k = int(self._index(x))
        return self._grade[k], self._east[k], self._north[k], self._calm[k]

    def between(self, x: float) -> tuple[float, float, float]:
        """Grade and heading, interpolated."""
        i = self._index(x)
        k = min(int(i), len(self._grade) - 2)
        f = i - k
        G, E, N = self._grade, self._east, self._north
        return G[k] + f * (G[k + 1] - G[k]), E[k] + f * (E[k + 1] - E[k]), N[k] + f * (N[k + 1] - N[k])
