"""Lap messages: any order, any trigger, and boundaries as fine as the file has them."""

from __future__ import annotations

import pytest
from fit_tool.profile.profile_type import LapTrigger

from fieldaero.rides import read_ride
from fieldaero.rides.ride import LapMark
from tests.rides.formats.fit_files import activity, lap, session, steady, written


def marks(tmp_path, laps, seconds=100, **how):
    content = activity(steady(range(seconds + 1)), laps=laps, sessions=[session(0, seconds)], **how)
    return read_ride(written(tmp_path, content)).lap_marks


@pytest.mark.parametrize("laps_first", [True, False])
def test_laps_are_ordered_by_start_wherever_they_stand(tmp_path, laps_first):
    laps = [lap(60, 40, LapTrigger.SESSION_END), lap(0, 30), lap(30, 30)]
    assert marks(tmp_path, laps, laps_first=laps_first) == (
        LapMark(start_s=0.0, end_s=30.0, trigger="button"),
        LapMark(start_s=30.0, end_s=60.0, trigger="button"),
        LapMark(start_s=60.0, end_s=100.0, trigger="session_end"),
    )


@pytest.mark.parametrize(
    ("trigger", "word"),
    [
        (LapTrigger.MANUAL, "button"),
        (LapTrigger.DISTANCE, "distance"),
        (LapTrigger.TIME, "time"),
        (LapTrigger.POSITION_START, "position"),
        (LapTrigger.POSITION_MARKED, "position"),
        (LapTrigger.SESSION_END, "session_end"),
        (LapTrigger.FITNESS_EQUIPMENT, "unknown"),
        (None, "unknown"),
    ],
)
def test_triggers_are_told_in_words(tmp_path, trigger, word):
    assert [mark.trigger for mark in marks(tmp_path, [lap(0, 50, trigger)])] == [word]


def test_boundaries_follow_the_milliseconds_of_the_durations(tmp_path):
    # True boundaries at 0, 30.4, 61.3 and 95.25 s; the start times are cut to whole seconds.
    laps = [lap(0, 30.4), lap(30.4, 30.9), lap(61.3, 33.95)]
    boundaries = [(mark.start_s, mark.end_s) for mark in marks(tmp_path, laps)]
    assert boundaries == [pytest.approx(pair) for pair in [(0.0, 30.4), (30.4, 61.3), (61.3, 95.25)]]


def test_laps_apart_from_each_other_stay_apart(tmp_path):
    assert [(mark.start_s, mark.end_s) for mark in marks(tmp_path, [lap(0, 20.5), lap(50, 20.5)])] == [
        (0.0, 20.5),
        (50.0, 70.5),
    ]


def test_a_duration_that_runs_into_the_next_lap_ends_there(tmp_path):
    assert marks(tmp_path, [lap(0, 80), lap(30, 20)])[0].end_s == 30.0


def test_a_lap_outside_the_recorded_time_is_left_out_with_a_note(tmp_path):
    content = activity(steady(range(101)), laps=[lap(0, 100), lap(500, 20)])
    ride = read_ride(written(tmp_path, content))
    assert len(ride.lap_marks) == 1
    assert any("1 lap outside the recorded time, or without length" in note for note in ride.notes)


def test_a_lap_that_is_still_open_is_left_out_with_a_note(tmp_path):
    ride = read_ride(written(tmp_path, activity(steady(range(11)), laps=[lap(0, None)])))
    assert ride.lap_marks == ()
    assert any("1 lap message" in note for note in ride.notes)


def test_a_ride_without_laps_has_none(tmp_path):
    assert marks(tmp_path, []) == ()
