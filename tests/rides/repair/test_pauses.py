"""Where a recording was interrupted."""

from __future__ import annotations

import numpy as np

from fieldaero.rides.repair.pauses import cut_steps, find_pauses
from fieldaero.rides.ride import Pause
from tests.rides.repair.samples import no_breaks


def test_a_join_is_a_gap_even_without_a_long_step():
    begins = np.array([True, False, True])
    assert find_pauses(np.arange(3.0), begins, []) == (Pause(start_s=1.0, end_s=2.0, cause="gap"),)


def test_a_stop_between_two_samples_is_a_pause_from_the_one_to_the_other():
    t = np.array([0.0, 1.0, 4.0, 5.0])
    stop = Pause(start_s=1.4, end_s=3.2, cause="timer")
    assert find_pauses(t, no_breaks(t), [stop]) == (Pause(start_s=1.0, end_s=4.0, cause="timer"),)


def test_a_stop_within_one_stamp_is_no_pause():
    t = np.arange(5.0)
    assert find_pauses(t, no_breaks(t), [Pause(start_s=2.0, end_s=2.0, cause="timer")]) == ()


def test_stops_before_and_after_the_ride_are_none():
    t = np.arange(10.0, 15.0)
    stops = [Pause(start_s=1.0, end_s=5.0, cause="timer"), Pause(start_s=20.0, end_s=30.0, cause="timer")]
    assert find_pauses(t, no_breaks(t), stops) == ()


def test_a_coarse_recording_is_not_all_gaps():
    t = np.array([0.0, 10.0, 20.0, 30.0, 60.0])
    assert find_pauses(t, no_breaks(t), []) == (Pause(start_s=30.0, end_s=60.0, cause="gap"),)


def test_a_device_that_records_as_it_sees_fit_has_no_gaps_at_its_longer_steps():
    step = np.tile([1.0, 2.0, 3.0, 1.0, 4.0, 2.0, 6.0, 3.0, 7.0, 2.0], 30)
    step[151] = 40.0
    t = np.concatenate([[0.0], np.cumsum(step)])
    assert find_pauses(t, no_breaks(t), []) == (Pause(start_s=float(t[151]), end_s=float(t[152]), cause="gap"),)


def test_rare_gaps_in_a_recording_of_every_second_are_gaps():
    step = np.ones(1000)
    step[::50] = 8.0
    t = np.concatenate([[0.0], np.cumsum(step)])
    assert len(find_pauses(t, no_breaks(t), [])) == 20


def test_cut_steps_are_those_within_pauses():
    t = np.array([0.0, 1.0, 2.0, 9.0, 10.0])
    assert cut_steps(t, [Pause(start_s=1.0, end_s=9.0)]).tolist() == [False, True, True, False]
