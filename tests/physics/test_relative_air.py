import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.relative_air import axial_cda_m2, body_cda_m2, relative_air, wind_along_across

angles = st.floats(0.0, 360.0)
speeds = st.floats(0.0, 25.0)


def test_a_wind_from_behind_is_along_and_positive():
    along, across = wind_along_across(wind_speed_m_s=3.0, wind_from_deg=180.0, heading_deg=0.0)
    assert float(along) == pytest.approx(3.0)
    assert float(across) == pytest.approx(0.0, abs=1e-12)


def test_a_wind_from_the_right_is_across_and_positive():
    along, across = wind_along_across(wind_speed_m_s=3.0, wind_from_deg=90.0, heading_deg=0.0)
    assert float(along) == pytest.approx(0.0, abs=1e-12)
    assert float(across) == pytest.approx(3.0)


@given(wind=speeds, origin=angles, heading=angles)
def test_turning_the_road_round_turns_both_parts_of_the_wind_round(wind, origin, heading):
    out = wind_along_across(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading)
    back = wind_along_across(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading + 180.0)
    assert np.allclose(out, [-part for part in back], atol=1e-9)


@given(wind=speeds, origin=angles, heading=angles, turn=angles)
def test_turning_wind_and_road_together_changes_nothing(wind, origin, heading, turn):
    here = wind_along_across(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading)
    there = wind_along_across(wind_speed_m_s=wind, wind_from_deg=origin + turn, heading_deg=heading + turn)
    assert np.allclose(here, there, atol=1e-9)


@given(speed=speeds, wind=speeds, origin=angles, heading=angles)
def test_the_air_is_met_as_the_difference_of_two_vectors(speed, wind, origin, heading):
    along, across = wind_along_across(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading)
    air = relative_air(speed_m_s=speed, wind_along_m_s=along, wind_across_m_s=across)
    h, o = np.radians(heading), np.radians(origin)
    # Ground velocity minus wind velocity; the wind blows towards the opposite of its origin.
    east, north = speed * np.sin(h) + wind * np.sin(o), speed * np.cos(h) + wind * np.cos(o)
    assert float(air.air_speed_m_s) == pytest.approx(float(np.hypot(east, north)), abs=1e-9)
    if air.air_speed_m_s > 1e-6:
        bearing = np.degrees(np.arctan2(east, north))
        off = (bearing - heading - air.yaw_deg + 180.0) % 360.0 - 180.0
        assert abs(float(off)) < 1e-4


@given(speed=speeds, along=st.floats(-20.0, 20.0), across=st.floats(-20.0, 20.0), shift=st.floats(0.0, 10.0))
def test_riding_faster_is_the_same_as_less_tail_wind(speed, along, across, shift):
    faster = relative_air(speed_m_s=speed + shift, wind_along_m_s=along, wind_across_m_s=across)
    windier = relative_air(speed_m_s=speed, wind_along_m_s=along - shift, wind_across_m_s=across)
    assert float(faster.axial_m_s) == pytest.approx(float(windier.axial_m_s), abs=1e-9)
    assert float(faster.air_speed_m_s) == pytest.approx(float(windier.air_speed_m_s), abs=1e-9)


def test_still_air_is_met_at_ground_speed_without_yaw():
    air = relative_air(speed_m_s=[0.0, 11.0])
    assert air.air_speed_m_s.tolist() == [0.0, 11.0]
    assert air.yaw_deg.tolist() == [0.0, 0.0]


def test_overtaken_by_the_wind_the_air_comes_from_behind():
    air = relative_air(speed_m_s=5.0, wind_along_m_s=8.0)
    assert float(air.axial_m_s) == -3.0
    assert abs(float(air.yaw_deg)) == 180.0


@given(cda=st.floats(0.1, 0.6), yaw=st.floats(-60.0, 60.0))
def test_the_two_drag_area_conventions_are_inverse(cda, yaw):
    assert float(body_cda_m2(axial_cda_m2=axial_cda_m2(cda_m2=cda, yaw_deg=yaw), yaw_deg=yaw)) == pytest.approx(cda)


def test_the_two_drag_area_conventions_differ_by_three_per_cent_at_ten_degrees():
    assert float(axial_cda_m2(cda_m2=1.0, yaw_deg=10.0)) == pytest.approx(1.031, abs=0.0005)


@given(cda=st.floats(0.1, 0.6), speed=st.floats(3.0, 20.0), across=st.floats(-5.0, 5.0))
def test_both_conventions_are_the_same_force(cda, speed, across):
    air = relative_air(speed_m_s=speed, wind_across_m_s=across)
    axial = axial_cda_m2(cda_m2=cda, yaw_deg=air.yaw_deg)
    assert float(axial * air.axial_m_s**2) == pytest.approx(float(cda * air.air_speed_m_s**2))


def test_impossible_values_are_refused():
    with pytest.raises(OutOfRangeError, match="speed_m_s is -1"):
        relative_air(speed_m_s=-1.0)
    with pytest.raises(OutOfRangeError, match="wind_from_deg is 1000"):
        wind_along_across(wind_speed_m_s=1.0, wind_from_deg=1000.0, heading_deg=0.0)
    with pytest.raises(OutOfRangeError, match="yaw_deg is 90"):
        axial_cda_m2(cda_m2=0.3, yaw_deg=90.0)


def test_missing_values_stay_missing():
    assert np.isnan(relative_air(speed_m_s=[np.nan, 1.0]).air_speed_m_s[0])
