import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.basics.errors import OutOfRangeError
from fieldaero.physics.earth import LocalFrame, normal_gravity_m_s2

A, E2 = 6378137.0, 6.69437999014e-3  # WGS 84

latitudes = st.floats(-89.9, 89.9)
longitudes = st.floats(-180.0, 180.0)
metres = st.floats(-50_000.0, 50_000.0)


@given(latitude=latitudes)
def test_gravity_is_the_same_on_both_hemispheres_and_weaker_higher_up(latitude):
    g = normal_gravity_m_s2(latitude_deg=[latitude, -latitude])
    assert g[0] == g[1]
    assert normal_gravity_m_s2(latitude_deg=latitude, height_m=100.0) < g[0]


def test_gravity_refuses_a_place_that_is_not_on_earth():
    with pytest.raises(OutOfRangeError, match="latitude_deg is 95"):
        normal_gravity_m_s2(latitude_deg=95.0)
    with pytest.raises(OutOfRangeError, match="height_m is 15000"):
        normal_gravity_m_s2(latitude_deg=45.0, height_m=15000.0)


@given(latitude=latitudes, longitude=longitudes, east=metres, north=metres)
def test_metres_and_degrees_are_inverse(latitude, longitude, east, north):
    frame = LocalFrame(latitude, longitude)
    found = frame.to_metres(*frame.to_degrees(east, north))
    assert np.allclose(found, (east, north), atol=1e-6)


@given(latitude=st.floats(-85.0, 85.0), longitude=longitudes)
def test_small_steps_have_the_length_of_the_radii_of_curvature(latitude, longitude):
    s = math.sin(math.radians(latitude))
    meridian, parallel = A * (1.0 - E2) / (1.0 - E2 * s**2) ** 1.5, A / math.sqrt(1.0 - E2 * s**2)
    step = 1e-3
    frame = LocalFrame(latitude, longitude)
    _, north = frame.to_metres(latitude + step, longitude)
    east, _ = frame.to_metres(latitude, longitude + step)
    assert float(north) == pytest.approx(math.radians(step) * meridian, rel=1e-6)
    assert float(east) == pytest.approx(math.radians(step) * parallel * math.cos(math.radians(latitude)), rel=1e-6)


def test_the_origin_is_the_origin():
    east, north = LocalFrame(50.0, 8.0).to_metres(50.0, 8.0)
    assert abs(float(east)) < 1e-6
    assert abs(float(north)) < 1e-6


def test_a_course_across_the_date_line_stays_in_one_piece():
    east, _ = LocalFrame(10.0, 179.999).to_metres([10.0, 10.0], [179.9995, -179.9995])
    assert np.diff(east)[0] == pytest.approx(109.6, abs=0.2)


def test_distances_within_a_course_are_true_to_a_millimetre_per_kilometre():
    # The great circle of 10 km due east of a place at the equator is an arc of the equator itself.
    frame = LocalFrame(0.0, 0.0)
    east, north = frame.to_metres(0.0, math.degrees(10_000.0 / A))
    assert float(east) == pytest.approx(10_000.0, abs=0.005)
    assert float(north) == pytest.approx(0.0, abs=1e-9)


def test_missing_and_failed_fixes_are_missing_metres():
    east, north = LocalFrame(50.0, 8.0).to_metres([np.nan, 0.0, 50.0], [8.0, 0.0, 8.0])
    assert np.isnan(east[:2]).all()
    assert np.isnan(north[:2]).all()
    assert np.isfinite(east[2])


@pytest.mark.parametrize(("latitude", "longitude"), [(91.0, 0.0), (0.0, 400.0), (math.nan, 0.0)])
def test_a_frame_needs_a_place_on_earth(latitude, longitude):
    with pytest.raises(OutOfRangeError):
        LocalFrame(latitude, longitude)


def test_a_point_far_outside_the_frame_is_refused():
    with pytest.raises(OutOfRangeError, match="east_m is 500000"):
        LocalFrame(50.0, 8.0).to_degrees(500_000.0, 0.0)
