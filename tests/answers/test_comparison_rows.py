"""Watts and seconds of a difference, and what is left of them where a drag area would not be above zero."""

import pytest

from fieldaero.answers.comparison_rows import seconds_result, smallest_difference_m2, watts_result
from fieldaero.physics.flat_road import FlatRoad
from fieldaero.physics.system import System
from fieldaero.run_sheet.schema import AnalysisChoices

ROAD = FlatRoad(system=System(mass_kg=80.0), crr=0.004, air_density_kg_m3=1.2, gravity_m_s2=9.81)
CHOICES = AnalysisChoices(report_speed_km_h=45.0, report_distance_km=40.0, report_power_w=250.0)


def seconds(delta, interval, cda=0.25):
    return seconds_result(delta, interval, choices=CHOICES, road=ROAD, cda_m2=cda)


def test_less_drag_saves_time_within_its_interval():
    found = seconds(-0.01, (-0.015, -0.005))
    low, high = found.interval95
    assert low < found.value < high < 0.0
    assert (found.distance_km, found.power_w) == (40.0, 250.0)


def test_an_interval_that_holds_no_drag_area_has_no_times_but_the_difference_has_one():
    found = seconds(-0.01, (-0.30, 0.28))
    assert found.interval95 is None
    assert found.value == pytest.approx(seconds(-0.01, (-0.015, -0.005)).value)


def test_a_difference_that_leaves_no_drag_area_has_no_time():
    assert seconds(-0.26, (-0.30, -0.22)) is None


def test_watts_go_with_the_cube_of_the_speed():
    watts = watts_result(-0.01, (-0.015, -0.005), choices=CHOICES, road=ROAD)
    assert watts.value == pytest.approx(0.5 * 1.2 * 12.5**3 * -0.01, rel=0.05)
    assert watts.interval95 == pytest.approx((1.5 * watts.value, 0.5 * watts.value))


def test_a_smallest_difference_in_watts_or_seconds_is_one_in_drag():
    watts = CHOICES.model_copy(update={"smallest_difference_w": 3.0, "report_speed_km_h": 36.0})
    in_watts = smallest_difference_m2(watts, road=ROAD, cda_m2=0.25)
    assert watts_result(in_watts, (0.0, 0.0), choices=watts, road=ROAD).value == pytest.approx(3.0)
    in_seconds = smallest_difference_m2(
        CHOICES.model_copy(update={"smallest_difference_s": 10.0}), road=ROAD, cda_m2=0.25
    )
    assert seconds(in_seconds, (0.0, 0.0)).value == pytest.approx(10.0, abs=1e-4)
