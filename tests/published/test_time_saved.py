"""Seconds per kilometre and watts that the trade quotes for 0.005 m2, by arithmetic.

The rules themselves ("0.1 lb", "half a second per kilometre") are common practice, no source;
the numbers were computed in a separate script for a rider of 80 kg with Crr 0.004 at 1.225 kg/m3,
on the flat, at the power that the speed needs without the saving, chain and bearings left out.
"""

import pytest

from fieldaero.answers.cross_checks.claims import claim_results
from fieldaero.answers.rows import ComparisonResult, SetupResult
from fieldaero.physics import road_power
from fieldaero.physics.flat_road import (
    FlatRoad,
    cda_for_seconds_m2,
    cda_for_watts_m2,
    seconds_over_distance,
    watts_at_speed,
)
from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System
from tests.published.published_value import PublishedValue, each
from tests.whole_sessions import sheet

THIRTY_MPH_KM_H = 48.28032
ROAD = FlatRoad(system=System(mass_kg=80.0, power_at="hub"), crr=0.004, air_density_kg_m3=1.225, gravity_m_s2=9.80665)


@pytest.fixture(autouse=True)
def _no_bearings(monkeypatch):
    monkeypatch.setattr(road_power, "BEARING_N", 0.0)
    monkeypatch.setattr(road_power, "BEARING_N_S_M", 0.0)


def computed(value: float, what: str, *, half_a_digit: float = 0.005, **inputs: float) -> PublishedValue:
    return PublishedValue(
        inputs=inputs,
        value=value,
        absolute=half_a_digit,
        source="rule of thumb of the trade",
        locator=what,
        provenance="computed with a separate script",
    )


SECONDS_PER_KM = [
    computed(value, "0.005 m2 [s/km]", half_a_digit=0.0005, speed_km_h=speed, cda_m2=cda)
    for speed, row in [
        (40.0, (0.646, 0.572, 0.481)),
        (45.0, (0.582, 0.514, 0.431)),
        (THIRTY_MPH_KM_H, (0.546, 0.482, 0.404)),
        (50.0, (0.528, 0.467, 0.391)),
    ]
    for cda, value in zip((0.22, 0.25, 0.30), row, strict=True)
]

WATTS = [
    computed(value, "0.005 m2 [W at the road]", speed_km_h=speed)
    for speed, value in [(40.0, 4.20), (45.0, 5.98), (THIRTY_MPH_KM_H, 7.39), (50.0, 8.21)]
]


def power_at_the_wheel(speed_km_h: float, cda_m2: float) -> float:
    return float(
        power_w(
            speed_m_s=speed_km_h / 3.6,
            cda_m2=cda_m2,
            crr=ROAD.crr,
            system=ROAD.system,
            air_density_kg_m3=ROAD.air_density_kg_m3,
            gravity_m_s2=ROAD.gravity_m_s2,
        )
    )


@each(SECONDS_PER_KM)
def test_seconds_per_kilometre_of_five_thousandths_of_a_square_metre(published):
    speed, cda = published.inputs["speed_km_h"], published.inputs["cda_m2"]
    power = power_at_the_wheel(speed, cda)
    saved = -seconds_over_distance(-0.005, cda_m2=cda, road=ROAD, distance_km=1.0, power_w=power)
    published.check(float(saved))


@each(SECONDS_PER_KM)
def test_the_drag_area_behind_those_seconds(published):
    speed, cda = published.inputs["speed_km_h"], published.inputs["cda_m2"]
    power = power_at_the_wheel(speed, cda)
    found = cda_for_seconds_m2(-40.0 * published.value, cda_m2=cda, road=ROAD, distance_km=40.0, power_w=power)
    assert found == pytest.approx(-0.005, rel=published.absolute / published.value)


@each(WATTS)
def test_watts_of_five_thousandths_of_a_square_metre(published):
    published.check(float(watts_at_speed(0.005, road=ROAD, speed_km_h=published.inputs["speed_km_h"])))


def test_a_tenth_of_a_pound_at_thirty_miles_an_hour():
    watts = 0.1 * 4.4482216 * THIRTY_MPH_KM_H / 3.6
    for rho, area in ((1.225, 0.00404), (1.20, 0.00412), (1.15, 0.00430)):
        road = FlatRoad(system=ROAD.system, crr=0.004, air_density_kg_m3=rho, gravity_m_s2=9.80665)
        found = cda_for_watts_m2(watts, road=road, speed_km_h=THIRTY_MPH_KM_H)
        computed(area, "0.1 lbf at 30 mph [m2]", half_a_digit=0.000005, air_density_kg_m3=rho).check(found)


def test_five_watts_are_exact_at_42_km_h():
    computed(5.0, "0.005 m2 [W at the road] at 42.4 km/h").check(
        float(watts_at_speed(0.005, road=ROAD, speed_km_h=42.4))
    )


def claimed_delta_m2(cda_m2: float, **claim) -> float:
    (row,) = claim_results(
        sheet(claims=[{"setup": "faired", "versus": "bare"} | claim]),
        comparisons=[
            ComparisonResult(
                setup="faired",
                versus="bare",
                delta_cda_m2=-0.005,
                se_m2=0.001,
                df=9.0,
                interval95_m2=(-0.007, -0.003),
                interval95_alone_m2=(-0.007, -0.003),
                p_value=0.001,
                verdict="lower drag",
            )
        ],
        setups=[
            SetupResult(setup=name, laps=4, cda_m2=cda, se_m2=0.001, interval95_m2=(cda - 0.002, cda + 0.002))
            for name, cda in (("bare", cda_m2), ("faired", cda_m2 - 0.005))
        ],
        road=ROAD,
    )
    return row.claimed_delta_cda_m2


@each(SECONDS_PER_KM)
def test_a_claim_of_those_seconds_at_that_speed_is_that_drag_area(published):
    speed, cda = published.inputs["speed_km_h"], published.inputs["cda_m2"]
    found = claimed_delta_m2(cda, saves=40.0 * published.value, unit="s", distance_km=40, speed_km_h=speed)
    assert found == pytest.approx(-0.005, rel=min(0.005, published.absolute / published.value))


@each(WATTS)
def test_a_claim_of_those_watts_at_that_speed_is_that_drag_area(published):
    found = claimed_delta_m2(0.25, saves=published.value, unit="W", speed_km_h=published.inputs["speed_km_h"])
    assert found == pytest.approx(-0.005, rel=0.001)
