"""The distance counter never falls, and speed comes from steps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.rides.repair.distance_and_speed import ground_step_m, rate_m_s, rising
from tests.rides.repair.samples import NAN


def counted(distance, speed=10.0, seconds=None):
    t = np.arange(len(distance), dtype=float) if seconds is None else np.asarray(seconds, dtype=float)
    result, notes = rising(np.asarray(distance, dtype=float), time_s=t, speed_m_s=np.full(len(t), speed))
    return result.tolist(), notes


def test_a_counter_in_order_keeps_its_digits():
    distance = [0.1, 0.30000000000000004, 7.7]
    assert counted(distance) == (distance, [])


def test_a_reset_is_bridged_with_the_speed():
    result, notes = counted([1000, 1010, 0, 10, 20])
    assert result == [1000, 1010, 1020, 1030, 1040]
    assert "reset 1 time" in notes[0]


def test_a_reset_over_a_long_gap_is_bridged_with_nothing():
    assert counted([1000, 1010, 0, 10], seconds=[0, 1, 60, 61])[0] == [1000, 1010, 1010, 1020]


def test_a_leap_no_bicycle_can_make_is_bridged_too():
    assert counted([0, 10, 5020, 5030])[0] == [0, 10, 20, 30]


@pytest.mark.parametrize("stray", [[0], [0, 0], [99_999], [99_999, 0, 99_999]])
def test_stray_values_become_missing_and_the_counter_goes_on(stray):
    before, after = [1000, 1010, 1020], [1020 + 10 * (len(stray) + k) for k in range(1, 4)]
    result, notes = counted([*before, *stray, *after])
    assert result[:3] == before
    assert np.isnan(result[3 : 3 + len(stray)]).all()
    assert result[3 + len(stray) :] == after
    assert "stray" in notes[0]


def test_a_counter_that_wavers_is_held():
    result, notes = counted([100, 110, 109, 120])
    assert result == [100, 110, 110, 120]
    assert "held" in notes[0]


def test_missing_distances_stay_missing():
    result, _ = counted([0, NAN, 20, 0, 10])
    assert np.isnan(result[1])
    assert result[2:] == [20, 30, 40]


@given(st.lists(st.floats(0.0, 1e6) | st.just(NAN), min_size=2, max_size=60))
def test_any_counter_comes_out_never_falling(distance):
    result = np.array(counted(distance)[0])
    assert np.all(np.diff(result[np.isfinite(result)]) >= 0.0)


@given(st.lists(st.floats(0.1, 5.0), min_size=2, max_size=20), st.floats(-1.0, 1.0), st.floats(5.0, 15.0))
def test_steady_acceleration_is_exact_inside(steps, acceleration, start):
    t = np.concatenate([[0.0], np.cumsum(steps)])
    v = rate_m_s(np.diff(start * t + acceleration * t**2 / 2.0), time_s=t, cut=np.zeros(len(steps), dtype=bool))
    assert v[1:-1] == pytest.approx((start + acceleration * t)[1:-1], abs=1e-9)


def test_no_speed_comes_from_a_step_over_a_cut():
    t = np.array([0.0, 1.0, 60.0, 61.0, 100.0])
    v = rate_m_s(np.array([10.0, 5000.0, 8.0, 900.0]), time_s=t, cut=np.array([False, True, False, True]))
    assert v[:4].tolist() == [10.0, 10.0, 8.0, 8.0]
    assert np.isnan(v[4])


def test_a_degree_on_the_ellipsoid():
    # NIMA TR8350.2 WGS 84: one degree of latitude is 110.574 km at the equator and 111.694 km at the pole; one of
    # longitude is 111.320 km at the equator (from memory).
    length = [
        float(ground_step_m(np.array([a, b]), np.array([c, d]))[0])
        for a, b, c, d in (
            (-0.005, 0.005, 0.0, 0.0),
            (89.985, 89.995, 0.0, 0.0),
            (0.0, 0.0, 0.0, 0.01),
        )
    ]
    assert length == pytest.approx([1105.74, 1116.94, 1113.20], abs=0.01)


def test_a_step_over_the_date_line_is_short():
    assert ground_step_m(np.array([0.0, 0.0]), np.array([179.9995, -179.9995]))[0] == pytest.approx(111.32, abs=0.01)
