"""Mean speed and power of a lap."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldaero.laps.lap import Flag, Lap, mean_power_w
from tests.rides.plain_rides import ride_of


def lap(start_s: float, end_s: float, **more) -> Lap:
    return Lap(number=1, start_s=start_s, end_s=end_s, distance_m=30.0, **more)


def test_samples_at_the_ends_count_by_their_share():
    ride = ride_of(time_s=[0, 1, 2, 3, 4], power_w=[0, 100, 200, 300, 400], speed_m_s=10.0)
    # Half of the second that ends at 1 s, two whole ones, and a quarter of the one that ends at 4 s.
    assert mean_power_w(ride, lap(0.5, 3.25)) == pytest.approx((50 + 200 + 300 + 100) / 2.75)


def test_long_steps_weigh_by_their_duration():
    ride = ride_of(time_s=[0, 1, 4], power_w=[100, 100, 300], speed_m_s=10.0)
    assert mean_power_w(ride, lap(0.0, 4.0)) == pytest.approx((1 * 100 + 3 * 200) / 4)


@pytest.mark.parametrize("how", ["missing", "false", "gap"])
def test_unknown_time_is_left_out_of_work_and_time(how):
    t = np.arange(20.0)
    power = np.where(t < 10.0, 100.0, 300.0)
    lost = (t >= 10.0) & (t < 16.0)
    if how == "gap":
        ride = ride_of(time_s=t[~lost], power_w=power[~lost], speed_m_s=10.0)
    else:
        ride = ride_of(time_s=t, power_w=np.where(lost & (how == "missing"), np.nan, power), speed_m_s=10.0)
    # The last second before 16 s is known where there is a sample at 15 s, be it without power.
    known = 9 * 100 + 3 * 300 if how == "gap" else 9 * 100 + 4 * 300
    false = lost if how == "false" else None
    assert mean_power_w(ride, lap(0.0, 19.0), false_power=false) == pytest.approx(known / (12 if how == "gap" else 13))


def test_a_lap_of_no_duration_or_without_power_has_no_mean():
    ride = ride_of(time_s=[0, 1, 2], power_w=np.nan, speed_m_s=10.0)
    assert math.isnan(mean_power_w(ride, lap(0.0, 2.0)))
    assert math.isnan(lap(1.0, 1.0).speed_m_s)


def test_speed_and_names_of_flags():
    flags = tuple(Flag(name=name, sentence="") for name in ("braked", "stopped", "braked"))
    assert lap(0.0, 3.0, flags=flags).flag_names == ("braked", "stopped")
    assert lap(0.0, 3.0).speed_m_s == 10.0
