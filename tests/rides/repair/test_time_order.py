"""Order in time: pieces change places, stray and repeated stamps cost little."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fieldaero.rides.repair.time_order import in_order, one_outing, one_sample_per_stamp
from tests.rides.repair.samples import NAN, no_breaks, samples


def ordered(seconds):
    table, begins, notes = in_order(samples(seconds, power_w=np.arange(len(seconds))), no_breaks(seconds))
    return table["time_s"].tolist(), np.flatnonzero(begins).tolist(), notes


def test_times_in_order_are_left_alone():
    assert ordered([0, 1, 1, 2]) == ([0, 1, 1, 2], [], [])


def test_pieces_that_do_not_overlap_change_places():
    times, breaks, notes = ordered([10, 11, 12, 0, 1, 2])
    assert times == [0, 1, 2, 10, 11, 12]
    assert breaks == [3]
    assert "2 pieces put in order of time" in notes[0]


def test_one_stray_stamp_costs_one_sample():
    times, breaks, notes = ordered([*range(100), 50, *range(100, 200)])
    assert times == list(range(200))
    assert breaks == [100]
    assert "1 sample left out" in notes[0]


def test_one_stamp_far_ahead_costs_one_sample():
    assert ordered([*range(100), 10_000, *range(100, 200)])[0] == list(range(200))


def test_a_clock_set_back_by_a_little_costs_the_overlap():
    times, breaks, _ = ordered([*range(1000), *range(990, 2000)])
    assert times == sorted(times)
    assert set(times) == set(range(2000))
    assert len(times) <= 2001  # the stamp of the join may stand twice; the next repair sees to that
    assert len(breaks) == 1


def test_of_two_recordings_of_the_same_time_the_longer_is_kept():
    table, _, notes = in_order(
        samples([*range(50), *range(10, 40)], power_w=[1.0] * 50 + [2.0] * 30), no_breaks(range(80))
    )
    assert set(table["power_w"]) == {1.0}
    assert "30 samples left out" in notes[0]


@given(st.lists(st.integers(0, 60), min_size=1, max_size=60))
def test_any_order_comes_out_rising_with_a_break_at_every_join(seconds):
    table, begins, _ = in_order(samples(seconds, power_w=np.arange(len(seconds))), no_breaks(seconds))
    step = np.diff(table["time_s"])
    assert np.all(step >= 0.0)
    assert np.all(begins[1:] | (np.diff(table["power_w"]) == 1.0))


def test_samples_more_than_a_day_apart_are_not_one_ride():
    seconds = [0, 1, *range(200_000, 200_050)]
    table, _, notes = one_outing(samples(seconds), no_breaks(seconds))
    assert table["time_s"].iloc[0] == 200_000
    assert "2 samples left out" in notes[0]


def test_a_repeated_stamp_is_spread_over_the_second_that_is_missing():
    table, _, notes = one_sample_per_stamp(samples([0, 1, 1, 3, 4], power_w=range(5)), no_breaks(range(5)))
    assert table["time_s"].tolist() == [0, 1, 2, 3, 4]
    assert table["power_w"].tolist() == [0, 1, 2, 3, 4]
    assert "1 spread" in notes[0]


def test_of_a_repeated_stamp_the_fuller_sample_is_kept():
    table, _, notes = one_sample_per_stamp(
        samples([0, 1, 1, 2], power_w=[1, NAN, 3, 4], speed_m_s=[9, NAN, 9, 9], cadence_rpm=[80, 81, NAN, 80]),
        no_breaks(range(4)),
    )
    assert table["time_s"].tolist() == [0, 1, 2]
    assert table["power_w"].tolist() == [1, 3, 4]
    assert table["cadence_rpm"].tolist() == [80, 81, 80]  # what the fuller one misses comes from the other
    assert "1 left out" in notes[0]


def test_two_halves_of_one_sample_are_joined_and_not_spread():
    table, _, _ = one_sample_per_stamp(
        samples([0, 1, 1, 3, 4], power_w=[1, 2, NAN, 4, 5], speed_m_s=[9, NAN, 8, 9, 9]), no_breaks(range(5))
    )
    assert table["time_s"].tolist() == [0, 1, 3, 4]
    assert table["speed_m_s"].tolist() == [9, 8, 9, 9]
