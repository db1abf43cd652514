import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.wind import wind_along_across, wind_at_height_m_s, wind_east_north_m_s, wind_from_deg

angles = st.floats(0.0, 360.0)
speeds = st.floats(0.0, 25.0)


def parts(*, wind_speed_m_s, wind_from_deg, heading_deg):
    east, north = wind_east_north_m_s(wind_speed_m_s=wind_speed_m_s, wind_from_deg=wind_from_deg)
    return wind_along_across(wind_east_m_s=east, wind_north_m_s=north, heading_deg=heading_deg)


def test_a_wind_from_behind_is_along_and_positive():
    along, across = parts(wind_speed_m_s=3.0, wind_from_deg=180.0, heading_deg=0.0)
    assert float(along) == pytest.approx(3.0)
    assert float(across) == pytest.approx(0.0, abs=1e-12)


def test_a_wind_from_the_right_is_across_and_positive():
    along, across = parts(wind_speed_m_s=3.0, wind_from_deg=90.0, heading_deg=0.0)
    assert float(along) == pytest.approx(0.0, abs=1e-12)
    assert float(across) == pytest.approx(3.0)


@given(wind=speeds, origin=angles, heading=angles)
def test_turning_the_road_round_turns_both_parts_of_the_wind_round(wind, origin, heading):
    out = parts(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading)
    back = parts(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading + 180.0)
    assert np.allclose(out, [-part for part in back], atol=1e-9)


@given(wind=speeds, origin=angles, heading=angles, turn=angles)
def test_turning_wind_and_road_together_changes_nothing(wind, origin, heading, turn):
    here = parts(wind_speed_m_s=wind, wind_from_deg=origin, heading_deg=heading)
    there = parts(wind_speed_m_s=wind, wind_from_deg=origin + turn, heading_deg=heading + turn)
    assert np.allclose(here, there, atol=1e-9)


@given(wind=st.floats(0.01, 25.0), origin=angles)
def test_a_vector_and_the_direction_people_say_are_the_same_wind(wind, origin):
    east, north = wind_east_north_m_s(wind_speed_m_s=wind, wind_from_deg=origin)
    assert float(np.hypot(east, north)) == pytest.approx(wind)
    off = (wind_from_deg(wind_east_m_s=east, wind_north_m_s=north) - origin + 180.0) % 360.0 - 180.0
    assert abs(float(off)) < 1e-6


def test_a_calm_comes_from_north():
    for calm in (0.0, -0.0):
        assert float(wind_from_deg(wind_east_m_s=calm, wind_north_m_s=calm)) == 0.0


def test_without_a_heading_nothing_is_along_or_across():
    assert np.isnan(parts(wind_speed_m_s=3.0, wind_from_deg=90.0, heading_deg=np.nan)).all()


@given(speed=st.floats(0.1, 30.0), measured=st.floats(1.0, 50.0), wanted=st.floats(1.0, 50.0))
def test_wind_brought_up_and_down_again_is_the_same(speed, measured, wanted):
    there = wind_at_height_m_s(wind_speed_m_s=speed, measured_height_m=measured, height_m=wanted)
    back = wind_at_height_m_s(wind_speed_m_s=there, measured_height_m=wanted, height_m=measured)
    assert float(back) == pytest.approx(speed, rel=1e-9)


def test_wind_is_weaker_near_the_ground_and_weaker_still_over_rough_ground():
    smooth, rough = wind_at_height_m_s(wind_speed_m_s=5.0, measured_height_m=10.0, roughness_length_m=[0.005, 0.1])
    assert 5.0 > smooth > rough > 0.0


def test_a_height_within_the_roughness_is_refused():
    with pytest.raises(OutOfRangeError, match=r"height_m is 1; it must lie above roughness_length_m 1\.5"):
        wind_at_height_m_s(wind_speed_m_s=5.0, measured_height_m=10.0, roughness_length_m=1.5)


def test_impossible_values_are_refused():
    with pytest.raises(OutOfRangeError, match="wind_from_deg is 1000"):
        wind_east_north_m_s(wind_speed_m_s=1.0, wind_from_deg=1000.0)
    with pytest.raises(OutOfRangeError, match="wind_speed_m_s is -1"):
        wind_at_height_m_s(wind_speed_m_s=-1.0, measured_height_m=10.0)


def test_missing_values_stay_missing():
    assert np.isnan(wind_at_height_m_s(wind_speed_m_s=np.nan, measured_height_m=10.0))
