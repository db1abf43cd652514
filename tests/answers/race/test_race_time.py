"""Time over a course, against the equation of motion integrated in time by another method."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from fieldaero.answers.race.profile import CourseProfile, flat_profile
from fieldaero.answers.race.race_time import Race
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.flat_road import FlatRoad, seconds_over_distance
from fieldaero.physics.system import System
from tests.answers.race.course_times import course_time_s, run_course, seconds_over_course

CRANK = FlatRoad(system=System(mass_kg=84.0), crr=0.0045, air_density_kg_m3=1.2, gravity_m_s2=9.80665)
HUB = FlatRoad(
    system=System(mass_kg=72.0, power_at="hub", wheel_inertia_kg_m2=0.2),
    crr=0.0032,
    air_density_kg_m3=0.95,
    gravity_m_s2=9.785,
)
FLAT = flat_profile(distance_km=40.0, heading_deg=0.0)


def hilly(*, length_m: float = 40_000.0, climb_m: float = 25.0, seed: int = 1, name: str = "hills") -> CourseProfile:
    """Sines of several lengths in pieces of 100 m, winding about."""
    rng = np.random.default_rng(seed)
    d = np.linspace(0.0, length_m, round(length_m / 100.0) + 1)
    waves = (900.0, 2300.0, 5100.0)
    z = 200.0 + sum(climb_m * (w / 5100.0) * np.sin(2 * np.pi * d / w + rng.uniform(0, 6)) for w in waves)
    heading = np.cumsum(rng.normal(scale=20.0, size=len(d) - 1)) % 360.0
    return CourseProfile(distance_m=d, height_m=z, heading_deg=heading, name=name)


def integrated_s(race: Race, cda_m2: float) -> float:
    """Time by Newton's law in time, for position and kinetic energy; forces of Martin et al. 1998, written out here."""
    system, road, profile = race.road.system, race.road, race.profile
    m, g = system.mass_kg, road.gravity_m_s2
    inertia = m + system.wheel_inertia_kg_m2 * (2 * np.pi / system.wheel_circumference_m) ** 2
    push = system.efficiency * race.power_w
    d, z = profile.distance_m, profile.height_m

    def air(height: float) -> float:
        # Standard atmosphere: density goes with T^(g/RL - 1), T = 288.15 K - 6.5 K/km.
        return (288.15 - 0.0065 * height) ** 4.255876

    def force_of(i: int):
        sin = (z[i + 1] - z[i]) / (d[i + 1] - d[i])
        fixed = m * g * (road.crr * np.sqrt(1 - sin**2) + sin) + 0.091
        rho = road.air_density_kg_m3 * air((z[i] + z[i + 1]) / 2) / air(z[0])
        head = cross = 0.0
        if race.wind_speed_m_s:
            angle = np.radians(race.wind_from_deg - profile.heading_deg[i])
            head, cross = race.wind_speed_m_s * np.cos(angle), race.wind_speed_m_s * np.sin(angle)
        return lambda v: (
            0.5 * rho * cda_m2 * np.hypot(v + head, cross) * abs(v + head) / (v + head) * np.hypot(v + head, cross)
            + fixed
            + 0.0087 * v
        )

    def rate(force):
        def of(_t, state):
            v = np.sqrt(max(2.0 * state[1] / inertia, 1e-12))
            return [v, push - v * force(v)]

        return of

    if race.start == "standing":
        energy = 0.0
    else:
        settle = solve_ivp(rate(force_of(0)), (0.0, 4000.0), [0.0, 0.5 * inertia * 25.0], rtol=1e-10, atol=1e-8)
        energy = float(settle.y[1, -1])
    total = 0.0
    for i in range(len(d) - 1):
        length = d[i + 1] - d[i]

        def there(_t, state, length=length):
            return state[0] - length

        there.terminal = True
        leg = solve_ivp(
            rate(force_of(i)), (0.0, 1e5), [0.0, energy], rtol=1e-10, atol=1e-9, method="DOP853", events=there,
            first_step=1e-4,
        )  # fmt: skip
        total += float(leg.t_events[0][0])
        energy = float(leg.y_events[0][0][1])
    return total


RACES = {
    "flat, rolling": Race(profile=FLAT, road=CRANK, power_w=250.0),
    "flat, from a standstill": Race(profile=FLAT, road=CRANK, power_w=250.0, start="standing"),
    "flat, at the hub in thin air": Race(profile=FLAT, road=HUB, power_w=320.0, start="standing"),
    "flat, head wind": Race(profile=FLAT, road=CRANK, power_w=250.0, wind_speed_m_s=4.0, wind_from_deg=30.0),
    "flat, tail wind": Race(
        profile=FLAT, road=CRANK, power_w=180.0, wind_speed_m_s=3.0, wind_from_deg=200.0, start="standing"
    ),
    "hills": Race(profile=hilly(), road=CRANK, power_w=250.0),
    "hills, from a standstill": Race(profile=hilly(seed=2), road=HUB, power_w=280.0, start="standing"),
    "hills, wind": Race(profile=hilly(seed=3), road=CRANK, power_w=300.0, wind_speed_m_s=2.5, wind_from_deg=250.0),
}


@pytest.mark.parametrize("name", RACES)
def test_time_is_that_of_an_independent_integration(name):
    assert float(course_time_s(RACES[name], cda_m2=0.25)) == pytest.approx(integrated_s(RACES[name], 0.25), abs=0.01)


@pytest.mark.parametrize("name", ["flat, from a standstill", "hills", "hills, wind"])
def test_seconds_saved_are_those_of_an_independent_integration(name):
    expected = integrated_s(RACES[name], 0.24) - integrated_s(RACES[name], 0.25)
    assert float(seconds_over_course(-0.01, cda_m2=0.25, race=RACES[name])) == pytest.approx(expected, abs=0.005)


def test_a_steep_course_too():
    # 14 % up and down every 1.6 km: from 2 m/s to more than 20 m/s and back.
    d = np.linspace(0.0, 12_000.0, 241)
    z = 36.0 * np.sin(2 * np.pi * d / 1600.0)
    race = Race(
        profile=CourseProfile(distance_m=d, height_m=z, heading_deg=np.full(240, np.nan)), road=CRANK, power_w=230.0
    )
    assert np.max(run_course(race, cda_m2=0.25).speed_m_s) > 20.0
    assert float(course_time_s(race, cda_m2=0.25)) == pytest.approx(integrated_s(race, 0.25), abs=0.01)


@given(
    st.floats(min_value=-0.05, max_value=0.08),
    st.floats(min_value=0.18, max_value=0.4),
    st.floats(min_value=120.0, max_value=450.0),
)
@settings(max_examples=30)
def test_a_flat_course_with_a_rolling_start_takes_what_steady_speed_takes(delta, cda, power):
    steady = seconds_over_distance(delta, cda_m2=cda, road=CRANK, distance_km=40.0, power_w=power)
    race = Race(profile=FLAT, road=CRANK, power_w=power)
    assert float(seconds_over_course(delta, cda_m2=cda, race=race)) == pytest.approx(float(steady), abs=1e-4)


def test_drag_areas_of_any_shape_get_each_its_own_time():
    areas = np.array([[0.2, 0.25], [0.3, 0.35]])
    together = course_time_s(RACES["hills"], cda_m2=areas)
    assert together.shape == (2, 2)
    for area, seconds in zip(areas.ravel(), together.ravel(), strict=True):
        assert seconds == pytest.approx(float(course_time_s(RACES["hills"], cda_m2=area)), abs=2e-3)


def test_less_drag_is_faster_everywhere():
    run = run_course(RACES["hills, wind"], cda_m2=[0.25, 0.22])
    assert np.all(np.diff(run.time_s[0] - run.time_s[1]) > 0.0)
    assert run.total_s.tolist() == run.time_s[:, -1].tolist()


@given(st.floats(min_value=0.0, max_value=360.0))
@settings(max_examples=10)
def test_turning_course_and_wind_together_changes_nothing(angle):
    race = RACES["hills, wind"]
    turned = replace(race.profile, heading_deg=(race.profile.heading_deg + angle) % 360.0)
    there = replace(race, profile=turned, wind_from_deg=(race.wind_from_deg + angle) % 360.0)
    assert float(course_time_s(there, cda_m2=0.25)) == pytest.approx(float(course_time_s(race, cda_m2=0.25)), abs=1e-6)


def test_a_road_cut_in_two_takes_as_long():
    whole = hilly(length_m=10_000.0)
    d = np.sort(np.concatenate([whole.distance_m, (whole.distance_m[1:] + whole.distance_m[:-1]) / 2.0]))
    finer = CourseProfile(
        distance_m=d,
        height_m=np.interp(d, whole.distance_m, whole.height_m),
        heading_deg=np.repeat(whole.heading_deg, 2),
    )
    coarse, fine = (course_time_s(Race(profile=p, road=CRANK, power_w=250.0), cda_m2=0.25) for p in (whole, finer))
    # Density is that of the middle of a stretch, which moves by half the stretch: some 1e-4 of the drag.
    assert float(fine) == pytest.approx(float(coarse), abs=0.01)


def test_the_rider_brakes_at_the_highest_speed():
    # Long enough a descent that braking goes on for almost all of it: 8 % down holds the limit from the start.
    d = np.array([0.0, 5000.0])
    down = CourseProfile(distance_m=d, height_m=np.array([400.0, 0.0]), heading_deg=np.array([np.nan]))
    race = Race(profile=down, road=CRANK, power_w=200.0, highest_speed_m_s=15.0)
    assert float(course_time_s(race, cda_m2=0.25)) == pytest.approx(5000.0 / 15.0, rel=1e-9)
    free = replace(race, highest_speed_m_s=None)
    assert float(course_time_s(free, cda_m2=0.25)) == pytest.approx(integrated_s(free, 0.25), abs=0.01)
    hills = replace(RACES["hills"], highest_speed_m_s=14.0)
    run = run_course(hills, cda_m2=0.25)
    assert np.max(run.speed_m_s) == pytest.approx(14.0)
    assert run.total_s[0] > float(course_time_s(RACES["hills"], cda_m2=0.25))


def test_where_both_brake_nothing_is_saved():
    d = np.array([0.0, 5000.0])
    down = CourseProfile(distance_m=d, height_m=np.array([400.0, 0.0]), heading_deg=np.array([np.nan]))
    race = Race(profile=down, road=CRANK, power_w=200.0, highest_speed_m_s=15.0)
    assert float(seconds_over_course(-0.02, cda_m2=0.25, race=race)) == pytest.approx(0.0, abs=1e-9)


def test_the_moment_of_braking_is_met():
    # On the descent the way and the time up to the limit are int M v / F dv and int M / F dv; then the limit is held.
    d = np.array([0.0, 500.0, 2500.0])
    road = CourseProfile(distance_m=d, height_m=np.array([160.0, 160.0, 0.0]), heading_deg=np.full(2, np.nan))
    race = Race(profile=road, road=CRANK, power_w=250.0, highest_speed_m_s=17.0)
    steady = brentq(lambda v: 0.976 * 250.0 - v * resistance_n(v, sin=0.0, rho=1.2), 5.0, 20.0)
    rho = 1.2 * ((288.15 - 0.0065 * 80.0) / (288.15 - 0.0065 * 160.0)) ** 4.255876
    inertia = 84.0 + 0.14 * (2.0 * np.pi / 2.105) ** 2

    def per_speed(v):
        return inertia / (0.976 * 250.0 / v - resistance_n(v, sin=-0.08, rho=rho))

    way = quad(lambda v: v * per_speed(v), steady, 17.0, epsabs=1e-10)[0]
    seconds = quad(per_speed, steady, 17.0, epsabs=1e-10)[0]
    expected = 500.0 / steady + seconds + (2000.0 - way) / 17.0
    assert float(course_time_s(race, cda_m2=0.25)) == pytest.approx(expected, abs=0.002)


def resistance_n(v: float, *, sin: float, rho: float) -> float:
    weight = 84.0 * 9.80665
    return 0.5 * rho * 0.25 * v**2 + weight * (0.0045 * np.sqrt(1.0 - sin**2) + sin) + 0.091 + 0.0087 * v


def test_thin_air_up_high_makes_a_mountain_course_faster():
    d = np.array([0.0, 10_000.0])
    low, high = (
        Race(
            profile=CourseProfile(distance_m=d, height_m=np.array([z, z + 700.0]), heading_deg=np.array([np.nan])),
            road=CRANK,
            power_w=300.0,
        )
        for z in (0.0, 1500.0)
    )
    # The same density at the start, and it thins a little faster where the air is colder (ISO 2533:1975).
    assert float(course_time_s(high, cda_m2=0.25)) < float(course_time_s(low, cda_m2=0.25))


def test_headings_that_are_missing_are_those_of_the_nearest_stretch():
    race = RACES["flat, head wind"]
    d = np.linspace(0.0, 40_000.0, 5)
    part = CourseProfile(distance_m=d, height_m=np.zeros(5), heading_deg=np.array([np.nan, 0.0, np.nan, np.nan]))
    found = course_time_s(replace(race, profile=part), cda_m2=0.25)
    assert float(found) == pytest.approx(float(course_time_s(race, cda_m2=0.25)), abs=1e-4)


def test_a_hundred_and_eighty_kilometres_take_no_time_to_work_out():
    profile = hilly(length_m=180_000.0)
    race = Race(profile=profile, road=CRANK, power_w=220.0, wind_speed_m_s=2.0, wind_from_deg=90.0)
    best = np.inf
    for _ in range(3):
        begin = time.process_time()
        course_time_s(race, cda_m2=[0.23, 0.25])
        best = min(best, time.process_time() - begin)
    assert best < 0.5


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"power_w": -10.0}, "power_w is -10; allowed is above 0"),
        ({"power_w": float("nan")}, "power_w is nan"),
        ({"wind_speed_m_s": 3.0}, "wind_from_deg is missing"),
        ({"wind_speed_m_s": float("nan")}, "missing"),
        ({"wind_speed_m_s": 3.0, "wind_from_deg": 10.0, "profile": flat_profile(distance_km=1.0)}, "no direction of"),
        ({"highest_speed_m_s": 1.0}, "highest_speed_m_s is 1"),
        ({"start": "flying"}, "allowed is 'rolling' or 'standing'"),
        ({"road": replace(CRANK, air_density_kg_m3=12.0)}, "air_density_kg_m3 is 12"),
        ({"road": replace(CRANK, crr=float("nan"))}, "missing"),
    ],
)
def test_a_race_that_cannot_be_is_refused(change, says):
    with pytest.raises(OutOfRangeError, match=says):
        replace(RACES["flat, rolling"], **change)


@pytest.mark.parametrize("cda", [0.0, -0.1, 6.0, float("nan")])
def test_an_impossible_drag_area_is_refused(cda):
    with pytest.raises(OutOfRangeError, match="drag area is"):
        course_time_s(RACES["flat, rolling"], cda_m2=cda)


@pytest.mark.parametrize("start", ["rolling", "standing"])
def test_a_wall_is_told_from_a_hill(start):
    # 100 W at the crank lift 84 kg up 30 % at 0.4 m/s; 400 W at 1.6 m/s.
    d = np.array([0.0, 1000.0, 2000.0])
    wall = CourseProfile(distance_m=d, height_m=np.array([0.0, 0.0, 280.0]), heading_deg=np.full(2, np.nan))
    race = Race(profile=wall, road=CRANK, power_w=100.0, start=start)
    with pytest.raises(OutOfRangeError, match=r"cannot be ridden at this power: 1\.\d+ km from the start.*29.2 %"):
        course_time_s(race, cda_m2=0.25)
    assert float(course_time_s(replace(race, power_w=400.0), cda_m2=0.25)) > 1000.0 / 2.0
