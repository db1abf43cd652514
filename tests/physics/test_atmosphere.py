import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import fieldaero.physics.atmosphere
import fieldaero.physics.moist_air
from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.atmosphere import (
    geopotential_height_m,
    pressure_at_height_pa,
    standard_atmosphere,
    station_pressure_pa,
    wind_at_height_m_s,
)


def test_density_is_offered_here_too():
    assert set(fieldaero.physics.moist_air.__all__) <= set(fieldaero.physics.atmosphere.__all__)


@given(height=st.floats(-500.0, 6000.0))
def test_standard_altimeter_setting_gives_the_standard_atmosphere(height):
    _, p, _ = standard_atmosphere(geopotential_height_m=height)
    assert float(station_pressure_pa(altimeter_pa=101325.0, elevation_m=height)) == pytest.approx(float(p), rel=1e-12)


@given(setting=st.floats(88000.0, 108000.0))
def test_at_sea_level_the_altimeter_setting_is_the_pressure(setting):
    assert float(station_pressure_pa(altimeter_pa=setting, elevation_m=0.0)) == pytest.approx(setting, rel=1e-12)


@pytest.mark.parametrize("height", [10.0, 100.0, 300.0])
def test_pressure_falls_by_the_weight_of_the_air_in_between(height):
    p = float(pressure_at_height_pa(pressure_pa=98000.0, height_change_m=height, temperature_c=18.0))
    rho = 98000.0 / (287.05287 * 291.15)
    assert 98000.0 - p == pytest.approx(rho * 9.80665 * height, rel=height / 7000.0)


@given(height=st.floats(-800.0, 1000.0), t=st.floats(0.0, 30.0))
def test_up_and_down_again_is_the_same_pressure(height, t):
    up = pressure_at_height_pa(pressure_pa=98000.0, height_change_m=height, temperature_c=t)
    back = pressure_at_height_pa(pressure_pa=up, height_change_m=-height, temperature_c=t - 0.0065 * height)
    assert float(back) == pytest.approx(98000.0, rel=1e-12)


def test_in_standard_air_both_ways_to_a_pressure_agree():
    t, p, _ = standard_atmosphere(geopotential_height_m=[500.0, 700.0])
    raised = pressure_at_height_pa(pressure_pa=p[0], height_change_m=200.0, temperature_c=t[0] - 273.15)
    assert float(raised) == pytest.approx(float(p[1]), rel=1e-12)


def test_geopotential_height_is_zero_at_sea_level_and_lower_above():
    heights = geopotential_height_m(geometric_height_m=[0.0, 1000.0, 3000.0])
    assert heights[0] == 0.0
    assert np.all(heights[1:] < [1000.0, 3000.0])


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


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: station_pressure_pa(altimeter_pa=1013.25, elevation_m=0.0), "altimeter_pa is 1013.25"),
        (lambda: station_pressure_pa(altimeter_pa=101325.0, elevation_m=9000.0), "elevation_m is 9000"),
        (lambda: standard_atmosphere(geopotential_height_m=20000.0), "geopotential_height_m is 20000"),
        (lambda: geopotential_height_m(geometric_height_m=-9000.0), "geometric_height_m is -9000"),
        (
            lambda: pressure_at_height_pa(pressure_pa=1e5, height_change_m=5000.0, temperature_c=15.0),
            "height_change_m is 5000",
        ),
        (lambda: wind_at_height_m_s(wind_speed_m_s=-1.0, measured_height_m=10.0), "wind_speed_m_s is -1"),
    ],
)
def test_values_outside_the_validity_are_refused(call, message):
    with pytest.raises(OutOfRangeError, match=message):
        call()


def test_missing_values_stay_missing():
    assert math.isnan(station_pressure_pa(altimeter_pa=math.nan, elevation_m=100.0))
    assert math.isnan(wind_at_height_m_s(wind_speed_m_s=math.nan, measured_height_m=10.0))
    assert math.isnan(pressure_at_height_pa(pressure_pa=1e5, height_change_m=math.nan, temperature_c=15.0))
