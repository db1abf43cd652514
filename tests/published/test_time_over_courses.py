"""Seconds per kilometre that the trade quotes for 0.005 m2, over whole courses by the equation of motion.

Values and conditions are those of ``test_time_saved.py``: 80 kg, Crr 0.004, 1.225 kg/m3, chain and bearings left out.
"""

import pytest

from fieldaero.answers.race import motion as course_motion
from fieldaero.answers.race.profile import flat_profile
from fieldaero.answers.race.race_time import Race
from fieldaero.physics import road_power
from fieldaero.physics.flat_road import seconds_over_distance
from tests.answers.race.course_times import seconds_over_course
from tests.published.published_value import each
from tests.published.test_time_saved import ROAD, SECONDS_PER_KM, computed, power_at_the_wheel


@pytest.fixture(autouse=True)
def _no_bearings(monkeypatch):
    for room in (road_power, course_motion):
        monkeypatch.setattr(room, "BEARING_N", 0.0)
        monkeypatch.setattr(room, "BEARING_N_S_M", 0.0)


@each(SECONDS_PER_KM)
@pytest.mark.parametrize("distance_km", [40.0, 90.0, 180.0])
def test_seconds_per_kilometre_over_a_flat_course_by_the_equation_of_motion(published, distance_km):
    speed, cda = published.inputs["speed_km_h"], published.inputs["cda_m2"]
    race = Race(profile=flat_profile(distance_km=distance_km), road=ROAD, power_w=power_at_the_wheel(speed, cda))
    saved = -float(seconds_over_course(-0.005, cda_m2=cda, race=race))
    published.check(saved / distance_km)
    assert saved / distance_km == pytest.approx(published.value, rel=0.005)


def test_half_a_second_per_kilometre_holds_for_larger_riders_at_45_to_50_km_h():
    # "0.4 to 0.5 s/km", 16 to 21 s over 40 km, for 0.25 to 0.30 m2: the extremes of the computed table.
    for speed, cda, per_km in ((45.0, 0.25, 0.514), (50.0, 0.30, 0.391)):
        power = power_at_the_wheel(speed, cda)
        saved = -seconds_over_distance(-0.005, cda_m2=cda, road=ROAD, distance_km=40.0, power_w=power)
        computed(40.0 * per_km, "0.005 m2 over 40 km [s]", half_a_digit=0.02).check(float(saved))
