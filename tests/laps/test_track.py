from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fieldaero.laps.track import track_of, wheel_distance_m
from fieldaero.rides.ride import COLUMNS, Pause, Ride
from tests.synthetic_rides import OCEAN, SOURCE, Noise, Rider, loop, recorded, ridden, straight_from

NAN = float("nan")


def ride_of(pauses: tuple[Pause, ...] = (), **columns: list[float]) -> Ride:
    n = len(next(iter(columns.values())))
    table = pd.DataFrame({name: columns.get(name, [NAN] * n) for name in COLUMNS}, dtype=np.float64)
    return Ride(table=table, source=SOURCE, pauses=pauses)


def test_recorded_distance_counts_from_the_first_sample():
    ride = ride_of(time_s=[0, 1, 2], speed_m_s=[9, 9, 9], distance_m=[500, 510, 521])
    assert wheel_distance_m(ride).tolist() == [0.0, 10.0, 21.0]


def test_speed_fills_in_where_the_counter_was_set_back():
    ride = ride_of(time_s=[0, 1, 2, 3], speed_m_s=[10, 10, 12, 12], distance_m=[500, 510, 0, 12])
    assert wheel_distance_m(ride).tolist() == [0.0, 10.0, 21.0, 33.0]


def test_a_hole_in_the_counter_keeps_what_the_counter_gained():
    ride = ride_of(time_s=[0, 1, 2, 3], speed_m_s=[10, 10, 20, 10], distance_m=[0, NAN, NAN, 40])
    d = wheel_distance_m(ride)
    assert d[-1] == pytest.approx(40.0)
    assert d[1] == pytest.approx(40.0 * 10 / 40)


def test_a_hole_in_both_is_shared_out_by_time():
    ride = ride_of(time_s=[0, 1, 3, 4], speed_m_s=[10, NAN, NAN, 10], distance_m=[0, NAN, NAN, 40])
    assert wheel_distance_m(ride).tolist() == pytest.approx([0.0, 10.0, 30.0, 40.0])


def test_a_counter_that_stands_still_is_not_believed():
    ride = ride_of(time_s=[0, 1, 2], speed_m_s=[10, 10, 10], distance_m=[0, 0, 0])
    assert wheel_distance_m(ride)[-1] == pytest.approx(20.0)


def test_a_gap_of_an_hour_throws_no_doubt_on_the_counter():
    time_s = [*range(5), *range(3604, 3609)]
    ride = ride_of(time_s=time_s, speed_m_s=[10] * 10, distance_m=[0, 10, 20, 30, 40, 55, 65, 75, 85, 95])
    assert wheel_distance_m(ride).tolist() == ride.column("distance_m").tolist()


def test_the_bike_stands_during_a_pause_of_the_timer():
    pause = Pause(start_s=1.0, end_s=61.0, cause="timer")
    ride = ride_of((pause,), time_s=[0, 1, 61, 62], speed_m_s=[10, 10, 10, 10])
    assert wheel_distance_m(ride).tolist() == [0.0, 10.0, 10.0, 20.0]


def test_arrival_and_departure_differ_only_where_the_bike_stood():
    track = track_of(ride_of(time_s=[0, 1, 2, 3, 4], speed_m_s=[10] * 5, distance_m=[0, 10, 20, 20, 30]))
    assert (track.arrival_s(20.0), track.departure_s(20.0)) == (2.0, 3.0)
    assert (track.arrival_s(15.0), track.departure_s(15.0)) == (1.5, 1.5)
    assert (track.arrival_s(-5.0), track.departure_s(99.0)) == (0.0, 4.0)


def test_headings_follow_the_road_and_not_the_wandering_of_a_standing_rider():
    xy = straight_from(np.array([[0.0, 0.0], [10.0, 10.0]]), 600.0)
    rider = Rider(stops=[(300.0, 60.0)])
    run = ridden(580.0, rider)
    track = track_of(recorded(xy, run, noise=Noise(seed=4, position_m=0.5, position_time_s=30.0)))
    heading = track.heading_at_deg(track.distance_m)
    assert np.isfinite(heading).all()
    assert np.abs(heading - 45.0).max() < 15.0


def test_positions_held_while_the_wheel_rolls_on_are_taken_as_missing():
    ride = recorded(loop(1500.0), ridden(1400.0, Rider()))
    table = ride.table.copy()
    held = slice(40, 60)
    for name in ("latitude_deg", "longitude_deg"):
        table.iloc[held, table.columns.get_loc(name)] = table[name].iloc[40]
    track = track_of(Ride(table=table, source=SOURCE))
    assert np.isnan(track.east_m[41:60]).all()
    middle_of_hole = track.distance_m[50]
    assert np.isnan(track.position_at(middle_of_hole)[0])
    assert np.isfinite(track.position_at(track.distance_m[30])[0])


def test_the_date_line_splits_no_track():
    run = ridden(1400.0, Rider())
    here, there = (track_of(recorded(loop(1500.0), run, origin=(OCEAN[0], lon))) for lon in (OCEAN[1], 179.9999))
    assert np.ptp(there.east_m) == pytest.approx(np.ptp(here.east_m), abs=0.1)


def test_a_ride_without_positions_has_no_frame():
    track = track_of(recorded(loop(1500.0), ridden(1400.0, Rider()), positions=False))
    assert track.frame is None
    assert np.isnan(track.heading_at_deg(100.0))
