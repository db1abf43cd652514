import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.atmosphere import standard_atmosphere, station_pressure_pa


@given(height=st.floats(-500.0, 6000.0))
def test_standard_altimeter_setting_gives_the_standard_atmosphere(height):
    _, p, _ = standard_atmosphere(geopotential_height_m=height)
    assert float(station_pressure_pa(altimeter_pa=101325.0, elevation_m=height)) == pytest.approx(float(p), rel=1e-12)


@given(setting=st.floats(88000.0, 108000.0))
def test_at_sea_level_the_altimeter_setting_is_the_pressure(setting):
    assert float(station_pressure_pa(altimeter_pa=setting, elevation_m=0.0)) == pytest.approx(setting, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: station_pressure_pa(altimeter_pa=1013.25, elevation_m=0.0), "altimeter_pa is 1013.25"),
        (lambda: station_pressure_pa(altimeter_pa=101325.0, elevation_m=9000.0), "elevation_m is 9000"),
        (lambda: standard_atmosphere(geopotential_height_m=20000.0), "geopotential_height_m is 20000"),
    ],
)
def test_values_outside_the_validity_are_refused(call, message):
    with pytest.raises(OutOfRangeError, match=message):
        call()


def test_missing_values_stay_missing():
    assert math.isnan(station_pressure_pa(altimeter_pa=math.nan, elevation_m=100.0))
