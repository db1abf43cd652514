"""Riding the course: the equation of motion, integrated in small steps of time.

The rider pushes, the bike answers: power is never derived from the motion, so it is never
negative and no energy disappears but under the brakes.  Per step, with the classical
Runge-Kutta scheme,

    (m + I/r^2) dv/dt = eta P / v - 1/2 rho CdA V^2 s - Crr m g cos - m g sin - (b0 + b1 v) - brake
    ds/dt = v

The rider sets power once a second, in whole watts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldaero.air_density import air_density_kg_m3
from fieldaero.earth import normal_gravity_m_s2
from fieldaero.road_power import BEARING_N, BEARING_N_S_M
from fieldaero.simulate.course_shape import CourseTable
from fieldaero.simulate.scenario import Scenario

__all__ = ["Motion", "ride_course"]

Floats = NDArray[np.float64]

STEP_S = 0.25
SLOWEST_PUSH_M_S = 2.0  # below it the rider's force, not the power, is the limit
BRAKE_M_S2 = 1.5
TURN_SPEED_M_S = 4.5
STOP_S = 40.0
WANDER_S = 15.0
TRAFFIC_LOSS_M_S = 3.5


@dataclass(frozen=True, kw_only=True)
class Motion:
    """What truly happened, by step: arrays of shape (n,), the power that of the step before.

    ``wind_m_s`` has shape (n, 2), where the air goes; ``air_speed_m_s`` is the resultant.
    ``lap_cda_m2`` is the drag area of each lap at its start, without yaw and drift.
    """

    time_s: Floats
    distance_m: Floats
    speed_m_s: Floats
    power_w: Floats
    wind_m_s: Floats
    air_speed_m_s: Floats
    braking: NDArray[np.bool_]
    lap_cda_m2: Floats
    crossing_s: Floats
    air_density_kg_m3: float
    gravity_m_s2: float


def ride_course(scenario: Scenario, table: CourseTable, rng: np.random.Generator) -> Motion:
    """Ride all laps of a scenario on a course."""
    course, wind, system = scenario.course, scenario.wind, scenario.system
    rho = float(
        air_density_kg_m3(
            temperature_c=scenario.temperature_c,
            pressure_pa=scenario.pressure_hpa * 100.0,
            relative_humidity=scenario.relative_humidity,
        )
    )
    g = float(normal_gravity_m_s2(latitude_deg=course.latitude_deg, height_m=0.0))
    L, laps = course.length_m, len(scenario.order)
    m, inert, eta = system.mass_kg, system.mass_kg + system.rotating_mass_kg, system.efficiency
    crr = system.crr
    lap_cda = np.array([scenario.setups.get(name, scenario.spare_cda_m2) for name in scenario.order])
    lap_cda = lap_cda + scenario.cda_lap_sd_m2 * rng.normal(size=laps)
    powers = scenario.power_w if isinstance(scenario.power_w, tuple) else (scenario.power_w,)
    targets = [powers[k % len(powers)] for k in range(laps)]
    brake_at, stop_at = _events(scenario, rng)

    grade, he, hn, shelter = (a.tolist() for a in (table.grade, table.heading_east, table.heading_north, table.shelter))
    per_m = (len(grade) - 1) / L
    mean_e = -wind.speed_m_s * math.sin(math.radians(wind.from_deg))
    mean_n = -wind.speed_m_s * math.cos(math.radians(wind.from_deg))
    most = int((laps * L + scenario.lead_in_m) / 3.0 / STEP_S) + 2000
    noise = rng.normal(size=(most, 5))
    slow = (wind.slow_sd_m_s * rng.normal(size=2)).tolist()
    gust = (wind.gust_sd_m_s * rng.normal(size=2)).tolist()
    keep_slow = math.exp(-STEP_S / wind.slow_s)
    push_slow = wind.slow_sd_m_s * math.sqrt(1.0 - keep_slow**2)
    keep_power = math.exp(-1.0 / WANDER_S)
    push_power = scenario.power_wander_w * math.sqrt(1.0 - keep_power**2)
    turns = course.shape == "out_and_back"

    # Positions count from the first passage of the line; the lead-in lies before it.
    s, v, wander, P = -scenario.lead_in_m, 8.0, 0.0, 0.0
    per_second = round(1.0 / STEP_S)
    braking_until, standing = 0.0, 0
    next_brake, next_stop = 0, 0
    out: list[tuple[float, ...]] = []
    finish = laps * L + 60.0
    n = 0
    while s < finish and n < most:
        i = s % L * per_m
        j = int(i)
        lap = min(max(int(s // L), 0), laps - 1)
        calm = shelter[j]
        we, wn = (mean_e + slow[0] + gust[0]) * calm, (mean_n + slow[1] + gust[1]) * calm
        cda = float(lap_cda[lap]) + scenario.cda_drift_m2_per_h * n * STEP_S / 3600.0
        if n % per_second == 0:
            wander = keep_power * wander + push_power * noise[n, 4]
            P = float(max(0, round(targets[lap] * (1.0 + scenario.uphill_share * grade[j]) + wander)))
        brake = 0.0
        if standing > 0:
            standing -= 1
            v, brake, push = 0.0, 0.0, 0.0
        else:
            push = P
            if next_stop < len(stop_at) and s >= stop_at[next_stop] - v * v / (2.0 * BRAKE_M_S2):
                push, brake = 0.0, BRAKE_M_S2
                if v < 0.6:
                    standing, next_stop = int(STOP_S / STEP_S), next_stop + 1
            elif next_brake < len(brake_at) and s >= brake_at[next_brake]:
                if braking_until == 0.0:
                    braking_until = max(v - TRAFFIC_LOSS_M_S, 2.0)
                push, brake = 0.0, BRAKE_M_S2
                if v <= braking_until:
                    next_brake, braking_until = next_brake + 1, 0.0
            elif turns:
                ahead = L / 2.0 - (s % (L / 2.0))
                safe = math.sqrt(TURN_SPEED_M_S**2 + 2.0 * 0.8 * BRAKE_M_S2 * max(ahead - 4.0, 0.0))
                if v > safe:
                    push, brake = 0.0, BRAKE_M_S2
                elif ahead < 60.0 and v > TURN_SPEED_M_S:
                    push = 0.0

        def pull(
            speed: float,
            at: float,
            push: float = push,
            brake: float = brake,
            cda: float = cda,
            we: float = we,
            wn: float = wn,
        ) -> float:
            x = at % L * per_m
            k = int(x)
            f = x - k
            k1 = min(k + 1, len(grade) - 1)
            G = grade[k] + f * (grade[k1] - grade[k])
            e, nn = he[k] + f * (he[k1] - he[k]), hn[k] + f * (hn[k1] - hn[k])
            along, across = we * e + wn * nn, wn * e - we * nn
            u = speed - along
            V2 = u * u + across * across
            area = cda
            if scenario.cda_per_yaw_deg2:
                yaw = math.degrees(math.atan2(across, u))
                area *= 1.0 + scenario.cda_per_yaw_deg2 * yaw * yaw
            drag = 0.5 * rho * area * V2 * (1.0 if u >= 0.0 else -1.0)
            flat = math.sqrt(max(1.0 - G * G, 0.0))
            drive = eta * push / max(speed, SLOWEST_PUSH_M_S)
            force = drive - drag - m * g * (crr * flat + G) - BEARING_N - BEARING_N_S_M * speed
            return float(force / inert - brake)

        u = v - (we * he[j] + wn * hn[j])
        out.append((n * STEP_S, s, v, we, wn, math.hypot(u, wn * he[j] - we * hn[j]), push, brake))
        if standing == 0:
            a1 = pull(v, s)
            v2 = max(v + a1 * STEP_S / 2.0, 0.0)
            a2 = pull(v2, s + v * STEP_S / 2.0)
            v3 = max(v + a2 * STEP_S / 2.0, 0.0)
            a3 = pull(v3, s + v2 * STEP_S / 2.0)
            v4 = max(v + a3 * STEP_S, 0.0)
            a4 = pull(v4, s + v3 * STEP_S)
            s += STEP_S * (v + 2.0 * v2 + 2.0 * v3 + v4) / 6.0
            v = max(v + STEP_S * (a1 + 2.0 * a2 + 2.0 * a3 + a4) / 6.0, 0.0)
            if v < 0.1 and brake == 0.0:
                v = 0.3  # a push off the ground
        slow = [keep_slow * slow[k] + push_slow * noise[n, k] for k in (0, 1)]
        keep = math.exp(-STEP_S * max(u, 2.0) / wind.gust_length_m)
        push_gust = wind.gust_sd_m_s * math.sqrt(1.0 - keep * keep)
        gust = [keep * gust[k] + push_gust * noise[n, 2 + k] for k in (0, 1)]
        n += 1
    rows = np.array(out)
    time, distance = rows[:, 0], rows[:, 1]
    speed = rows[:, 2]
    # At low speed the force is the limit, and the meter shows force times speed.
    shown = rows[:, 6] * np.minimum(speed / SLOWEST_PUSH_M_S, 1.0)
    return Motion(
        time_s=time,
        distance_m=distance,
        speed_m_s=speed,
        power_w=np.concatenate([[shown[0]], shown[:-1]]),
        wind_m_s=rows[:, 3:5],
        air_speed_m_s=rows[:, 5],
        braking=rows[:, 7] > 0.0,
        lap_cda_m2=lap_cda,
        crossing_s=np.interp(L * np.arange(laps + 1), distance, time),
        air_density_kg_m3=rho,
        gravity_m_s2=g,
    )


def _events(scenario: Scenario, rng: np.random.Generator) -> tuple[list[float], list[float]]:
    L, laps = scenario.course.length_m, len(scenario.order)
    many = rng.poisson(scenario.brakings_per_lap * laps)
    brake = [*rng.uniform(0.0, laps * L, size=many).tolist()]
    brake += [(k - 1 + float(rng.uniform(0.3, 0.7))) * L for k in scenario.braked_laps]
    stop = [(k - 1 + float(rng.uniform(0.3, 0.7))) * L for k in scenario.stopped_laps]
    return sorted(brake), sorted(stop)
