"""Drag area in watts and seconds, against an integration of the equation of motion."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.flat_road import (
    FlatRoad,
    cda_for_seconds_m2,
    cda_for_watts_m2,
    seconds_over_distance,
    watts_at_speed,
)
from fieldaero.physics.system import System

CRANK = System(mass_kg=84.0)
HUB = System(mass_kg=72.0, power_at="hub")
ROAD = FlatRoad(system=CRANK, crr=0.0045, air_density_kg_m3=1.2, gravity_m_s2=9.80665)
THIN = FlatRoad(system=HUB, crr=0.0032, air_density_kg_m3=0.95, gravity_m_s2=9.785)

CHANGES = st.floats(min_value=-0.08, max_value=0.10)
AREAS = st.floats(min_value=0.18, max_value=0.40)
POWERS = st.floats(min_value=120.0, max_value=450.0)
SPEEDS = st.floats(min_value=15.0, max_value=65.0)


def ridden_s(cda_m2: float, road: FlatRoad, distance_m: float, power_w: float) -> float:
    """Time over a flat distance by Newton's law in distance, dt/dx = 1/v, from the speed that the ride ends with.

    Written out here with the forces of Martin et al. 1998: wheel bearings 0.091 N + 0.0087 N s/m.
    """
    system, g = road.system, road.gravity_m_s2

    def rate(_x, state):
        v = state[1]
        force = (
            system.efficiency * power_w / v
            - 0.5 * road.air_density_kg_m3 * cda_m2 * v**2
            - road.crr * system.mass_kg * g
            - 0.091
            - 0.0087 * v
        )
        return [1.0 / v, force / (system.mass_kg + system.rotating_mass_kg) / v]

    def settled(start_m_s: float) -> float:
        run_up = solve_ivp(rate, (0.0, 20_000.0), [0.0, start_m_s], rtol=1e-10, atol=1e-10, method="LSODA")
        return float(run_up.y[1, -1])

    ride = solve_ivp(rate, (0.0, distance_m), [0.0, settled(10.0)], rtol=1e-10, atol=1e-10, method="LSODA")
    assert ride.success
    return float(ride.y[0, -1])


@pytest.mark.parametrize("road", [ROAD, THIN], ids=["crank at sea level", "hub in thin air"])
@pytest.mark.parametrize("delta", [-0.03, -0.002, 0.005, 0.05])
@pytest.mark.parametrize("power", [180.0, 320.0])
def test_seconds_over_forty_kilometres_are_those_of_the_equation_of_motion(road, delta, power):
    expected = ridden_s(0.25 + delta, road, 40_000.0, power) - ridden_s(0.25, road, 40_000.0, power)
    found = seconds_over_distance(delta, cda_m2=0.25, road=road, distance_km=40.0, power_w=power)
    assert float(found) == pytest.approx(expected, abs=0.01)


@given(CHANGES, SPEEDS)
def test_watts_lead_back_to_the_drag_area(delta, speed):
    watts = float(watts_at_speed(delta, road=ROAD, speed_km_h=speed))
    assert cda_for_watts_m2(watts, road=ROAD, speed_km_h=speed) == pytest.approx(delta, rel=1e-12, abs=1e-15)


@settings(max_examples=25)
@given(CHANGES, AREAS, POWERS)
def test_seconds_lead_back_to_the_drag_area(delta, cda, power):
    seconds = float(seconds_over_distance(delta, cda_m2=cda, road=ROAD, distance_km=40.0, power_w=power))
    back = cda_for_seconds_m2(seconds, cda_m2=cda, road=ROAD, distance_km=40.0, power_w=power)
    assert back == pytest.approx(delta, abs=1e-7)


@settings(max_examples=25)
@given(CHANGES, AREAS, POWERS)
def test_seconds_grow_with_the_distance_and_have_the_sign_of_the_drag(delta, cda, power):
    twenty, forty = (
        float(seconds_over_distance(delta, cda_m2=cda, road=ROAD, distance_km=km, power_w=power)) for km in (20.0, 40.0)
    )
    assert forty == pytest.approx(2.0 * twenty, rel=1e-9, abs=1e-9)
    if abs(delta) > 1e-6:
        assert np.sign(twenty) == np.sign(delta)


@settings(max_examples=25)
@given(AREAS, POWERS)
def test_two_steps_take_as_long_as_one(cda, power):
    def seconds(delta: float, onto: float) -> float:
        return float(seconds_over_distance(delta, cda_m2=onto, road=ROAD, distance_km=40.0, power_w=power))

    assert seconds(0.02, cda) + seconds(0.03, cda + 0.02) == pytest.approx(seconds(0.05, cda), abs=1e-6)


def test_the_chain_makes_watts_dearer_by_its_efficiency():
    at_the_hub = FlatRoad(system=HUB, crr=0.0045, air_density_kg_m3=1.2, gravity_m_s2=9.80665)
    crank = watts_at_speed(0.01, road=ROAD, speed_km_h=40.0)
    assert float(crank) == pytest.approx(float(watts_at_speed(0.01, road=at_the_hub, speed_km_h=40.0)) / 0.976)


def test_watts_go_with_the_cube_of_the_speed():
    one, two = (float(watts_at_speed(0.01, road=ROAD, speed_km_h=v)) for v in (20.0, 40.0))
    assert two == pytest.approx(8.0 * one, rel=1e-12)


def test_many_differences_at_once():
    deltas = np.array([[-0.01, 0.0], [0.01, 0.02]])
    watts = watts_at_speed(deltas, road=ROAD, speed_km_h=40.0)
    seconds = seconds_over_distance(deltas, cda_m2=0.25, road=ROAD, distance_km=40.0, power_w=250.0)
    assert watts.shape == seconds.shape == (2, 2)
    assert watts[0, 1] == seconds[0, 1] == 0.0
    alone = seconds_over_distance(0.02, cda_m2=0.25, road=ROAD, distance_km=40.0, power_w=250.0)
    assert seconds[1, 1] == pytest.approx(float(alone), rel=1e-12)


@pytest.mark.parametrize("delta", [-0.25, -0.3])
def test_a_drag_area_that_is_not_above_zero_is_refused(delta):
    with pytest.raises(OutOfRangeError, match="is not above zero"):
        seconds_over_distance(delta, cda_m2=0.25, road=ROAD, distance_km=40.0, power_w=250.0)


@pytest.mark.parametrize("cda", [0.22, 0.30, 0.60])
@pytest.mark.parametrize("seconds", [-3000.0, 30_000.0])
def test_more_time_than_any_drag_area_makes_is_refused(seconds, cda):
    with pytest.raises(OutOfRangeError, match=r"40 km at 250 W is more than any drag area"):
        cda_for_seconds_m2(seconds, cda_m2=cda, road=ROAD, distance_km=40.0, power_w=250.0)
