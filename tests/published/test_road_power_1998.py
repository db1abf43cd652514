"""The worked example of Martin, Milliken, Cobb, McFadden and Coggan, J. Appl. Biomech. 14(3) (1998) 276-291.

Inputs and the total of 213 W were read in a public repository's test that transcribes
the example; Crr, wheel inertia, wheel radius, efficiency and gravity are from memory
(the first three corroborated by public code comments).  The terms were recomputed from
the paper's equation in a separate script, since the paper could not be opened.

The paper squares the axial air speed.  Its drag areas of 0.2565 m2 for the rider and
0.0044 m2 for the turning wheels are therefore converted to body axes before use.
"""

import math

import numpy as np
import pytest

from fieldaero.answers.race.motion import Mover, RoadPieces, arrival, march
from fieldaero.physics.height_gain import height_gain_terms
from fieldaero.physics.road_power import power_w
from fieldaero.physics.system import System
from fieldaero.physics.wind import wind_along_across, wind_east_north_m_s
from tests.published.published_value import PublishedValue

DISTANCE_M, DURATION_S = 471.8, 56.42
START_M_S, END_M_S = 8.28, 8.45
GRADE, CRR, GRAVITY = 0.003, 0.0032, 9.81
SYSTEM = System(
    mass_kg=90.0,
    wheel_inertia_kg_m2=0.14,
    wheel_circumference_m=2.0 * math.pi * 0.311,
    power_at="crank",
    drivetrain_efficiency=0.976,
)
SPEED = DISTANCE_M / DURATION_S
EAST, NORTH = wind_east_north_m_s(wind_speed_m_s=2.94, wind_from_deg=310.0)
ALONG, ACROSS = wind_along_across(wind_east_m_s=EAST, wind_north_m_s=NORTH, heading_deg=340.0)
AXIAL_M_S = SPEED - ALONG
# u = V cos(yaw), so a drag area that belongs to u^2 is larger than one in body axes by this.
COS_SQUARED = AXIAL_M_S**2 / (AXIAL_M_S**2 + ACROSS**2)
# The rate at which the kinetic energy of the trial grows, put at its mean speed.
ACCELERATION = (END_M_S**2 - START_M_S**2) / (2.0 * DURATION_S * SPEED)
CDA = (0.2565 + 0.0044) * COS_SQUARED
WIND = {"wind_along_m_s": ALONG, "wind_across_m_s": ACROSS}


def from_example(value: float, absolute: float, what: str) -> PublishedValue:
    return PublishedValue(
        value=value,
        absolute=absolute,
        source="Martin et al. 1998, worked example",
        locator=what,
        provenance="recomputed from the transcribed example in a separate script",
    )


def at_the_road(*, cda_m2=0.0, crr=0.0, grade=0.0, acceleration_m_s2=0.0) -> float:
    power = power_w(
        speed_m_s=SPEED,
        acceleration_m_s2=acceleration_m_s2,
        grade=grade,
        cda_m2=cda_m2,
        crr=crr,
        system=SYSTEM,
        air_density_kg_m3=1.2234,
        gravity_m_s2=GRAVITY,
        **WIND,
    )
    return float(power) * SYSTEM.efficiency


BEARINGS = at_the_road()


def test_wind_along_the_road():
    from_example(2.546, 0.0005, "head wind [m/s]").check(-ALONG)


def test_axial_air_speed():
    from_example(10.908, 0.005, "air speed along the road [m/s]").check(AXIAL_M_S)


def test_yaw():
    from_example(7.67, 0.005, "yaw [deg], of either sign").check(abs(math.degrees(math.atan2(ACROSS, AXIAL_M_S))))


def test_aerodynamic_power():
    from_example(158.80, 0.1, "aerodynamic power with wheels [W]").check(at_the_road(cda_m2=CDA) - BEARINGS)


def test_aerodynamic_power_of_the_turning_wheels():
    wheels = 0.0044 * COS_SQUARED
    from_example(2.67, 0.02, "aerodynamic power of the wheels' rotation [W]").check(
        at_the_road(cda_m2=wheels) - BEARINGS
    )


def test_rolling_power():
    climbing = at_the_road(grade=GRADE)
    from_example(23.63, 0.05, "rolling power [W]").check(at_the_road(grade=GRADE, crr=CRR) - climbing)


def test_bearing_power():
    from_example(1.369, 0.01, "wheel bearings [W]").check(BEARINGS)


def test_potential_power():
    from_example(22.15, 0.05, "change of potential energy [W]").check(at_the_road(grade=GRADE) - BEARINGS)


def test_kinetic_power():
    from_example(2.30, 0.02, "change of kinetic energy [W]").check(
        at_the_road(acceleration_m_s2=ACCELERATION) - BEARINGS
    )


def test_equivalent_mass_of_the_wheels_is_inertia_over_radius_squared():
    from_example(1.447, 0.0005, "I / r^2 [kg]").check(SYSTEM.rotating_mass_kg)


def test_power_at_the_road_and_at_the_crank():
    total = at_the_road(cda_m2=CDA, crr=CRR, grade=GRADE, acceleration_m_s2=ACCELERATION)
    from_example(208.25, 0.2, "sum at the road [W]").check(total)
    PublishedValue(
        value=213.0,
        absolute=0.5,
        source="Martin et al. 1998, worked example",
        locator="total [W]",
        provenance="read in a public test script that transcribes the example and rounds to 1 W",
    ).check(total / SYSTEM.efficiency)
    from_example(213.37, 0.3, "total [W], unrounded speed").check(total / SYSTEM.efficiency)


def test_the_trial_climbs_its_grade_when_solved_for_height():
    terms = height_gain_terms(
        power_w=213.37,
        start_speed_m_s=START_M_S,
        end_speed_m_s=END_M_S,
        duration_s=DURATION_S,
        system=SYSTEM,
        air_density_kg_m3=1.2234,
        gravity_m_s2=GRAVITY,
        **WIND,
    )
    climbed = terms.base_m - CDA * terms.per_cda_m_per_m2 - CRR * terms.per_crr_m
    # The mean of both end speeds is 0.03 % above distance over time, which costs 12 mm of 1.415 m.
    assert float(climbed) == pytest.approx(DISTANCE_M * GRADE, abs=0.015)


def test_the_trial_is_ridden_in_its_time_at_its_power():
    # The example turned round: from the start speed over the printed way at the printed power, which the
    # rider is taken to have held; the trial's own power, and with it the speed at the end, wandered.
    rider = Mover(
        wheel_power_w=0.976 * 213.3,
        mass_kg=SYSTEM.mass_kg,
        inertia_kg=SYSTEM.mass_kg + SYSTEM.rotating_mass_kg,
        cda_m2=float(CDA),
        crr=CRR,
        gravity_m_s2=GRAVITY,
    )
    road = RoadPieces(
        length_m=np.array([DISTANCE_M]),
        grade=np.array([GRADE]),
        wind_along_m_s=np.array([float(ALONG)]),
        wind_across_m_s=np.array([float(ACROSS)]),
        air_density_kg_m3=np.array([1.2234]),
    )
    index, length, speed = march(rider, road, start_m_s=START_M_S)
    time, _ = arrival(rider, road.cut(index, length), start_m_s=START_M_S, guess_m_s=speed)
    from_example(DURATION_S, 0.005 * DURATION_S, "duration of the trial [s]").check(time[-1])
